//! Path data to flattened lines (SVG 1.1, 8.3; arcs by its appendix F.6).

use super::affine::Affine;
use super::size::shortened;
use crate::fault::Fault;
use crate::geometry::{Path, Point, point, sin_cos_degrees};
use crate::outline::budget::Budget;
use crate::outline::flatten;
use svgtypes::{Error, PathParser, PathSegment};

/// One subpath in mm.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Line {
    pub points: Path,
    pub closed: bool,
}

/// Collects lines in mm from commands in user units.
pub(super) struct Pen<'a> {
    to_mm: &'a Affine,
    tolerance: f64,
    budget: &'a Budget<'a>,
    start: Point,
    at: Point,
    points: Path,
    lines: Vec<Line>,
}

impl<'a> Pen<'a> {
    pub(super) fn new(to_mm: &'a Affine, tolerance: f64, budget: &'a Budget<'a>) -> Self {
        Pen {
            to_mm,
            tolerance,
            budget,
            start: Point::default(),
            at: Point::default(),
            points: Path::new(),
            lines: Vec::new(),
        }
    }

    pub(super) fn move_to(&mut self, p: Point) {
        self.lift();
        (self.start, self.at) = (p, p);
    }

    pub(super) fn line_to(&mut self, p: Point) {
        self.draw(&[self.to_mm.point(p)], p);
    }

    pub(super) fn cubic_to(&mut self, c1: Point, c2: Point, p: Point) {
        let [p0, p1, p2, p3] = [self.at, c1, c2, p].map(|q| self.to_mm.point(q));
        let points = flatten::cubic(p0, p1, p2, p3, self.tolerance);
        self.draw(points.get(1..).unwrap_or(&[]), p);
    }

    pub(super) fn quadratic_to(&mut self, c: Point, p: Point) {
        let [p0, p1, p2] = [self.at, c, p].map(|q| self.to_mm.point(q));
        let points = flatten::quadratic(p0, p1, p2, self.tolerance);
        self.draw(points.get(1..).unwrap_or(&[]), p);
    }

    /// An elliptical arc by its end, as in path data.
    pub(super) fn arc_to(&mut self, radii: Point, turn: f64, large: bool, sweep: bool, p: Point) {
        let Some(arc) = Arc::by_ends(self.at, radii, turn, large, sweep, p) else {
            if p != self.at {
                self.line_to(p);
            }
            return;
        };
        let mut points = self.flat(&arc);
        // The rounding of the centre must not open a path that its file closes.
        if let Some(last) = points.last_mut() {
            *last = self.to_mm.point(p);
        }
        self.draw(points.get(1..).unwrap_or(&[]), p);
    }

    /// A whole ellipse with sides along the axes.
    pub(super) fn ellipse(&mut self, centre: Point, radii: Point) {
        self.move_to(centre + point(radii.x, 0.0));
        let arc =
            Arc { centre, u: point(radii.x, 0.0), v: point(0.0, radii.y), from: 0.0, sweep: 360.0 };
        self.points = self.flat(&arc);
        self.budget.points(self.points.len());
        self.points.pop();
        self.close();
    }

    pub(super) fn close(&mut self) {
        if self.points.is_empty() {
            return;
        }
        let mut points = std::mem::take(&mut self.points);
        if points.len() > 1 && points.first() == points.last() {
            points.pop();
        }
        self.lines.push(Line { points, closed: true });
        self.at = self.start;
    }

    pub(super) fn finish(mut self) -> Vec<Line> {
        self.lift();
        self.lines
    }

    fn lift(&mut self) {
        if !self.points.is_empty() {
            self.lines.push(Line { points: std::mem::take(&mut self.points), closed: false });
        }
    }

    fn draw(&mut self, points: &[Point], to: Point) {
        if self.points.is_empty() {
            self.points.push(self.to_mm.point(self.at));
        }
        self.budget.points(points.len() + 1);
        self.points.extend_from_slice(points);
        self.at = to;
    }

    fn flat(&self, arc: &Arc) -> Path {
        let (centre, u, v) = (
            self.to_mm.point(arc.centre),
            self.to_mm.direction(arc.u),
            self.to_mm.direction(arc.v),
        );
        flatten::ellipse_arc(centre, u, v, arc.from, arc.sweep, self.tolerance)
    }
}

/// `centre + u cos t + v sin t` from `from` over `sweep`, degrees.
struct Arc {
    centre: Point,
    u: Point,
    v: Point,
    from: f64,
    sweep: f64,
}

impl Arc {
    /// From the ends to the centre (F.6.5), radii enlarged if they cannot reach (F.6.6); `None` for
    /// a straight line.
    fn by_ends(
        a: Point,
        radii: Point,
        turn: f64,
        large: bool,
        sweep: bool,
        b: Point,
    ) -> Option<Arc> {
        let (mut rx, mut ry) = (radii.x.abs(), radii.y.abs());
        if a == b || rx == 0.0 || ry == 0.0 {
            return None;
        }
        let (sin, cos) = sin_cos_degrees(turn);
        let half = (a - b) * 0.5;
        let p = point(cos * half.x + sin * half.y, -sin * half.x + cos * half.y);
        let reach = (p.x / rx) * (p.x / rx) + (p.y / ry) * (p.y / ry);
        if reach > 1.0 {
            rx *= reach.sqrt();
            ry *= reach.sqrt();
        }
        // In the circle of radius 1 that the ellipse becomes: the chord's half, and the centre
        // square to it.
        let q = point(p.x / rx, p.y / ry);
        let q2 = q.dot(q);
        let off = if reach >= 1.0 { 0.0 } else { ((1.0 - q2) / q2).max(0.0).sqrt() };
        let side = if large == sweep { -off } else { off };
        let c = point(q.y * side, -q.x * side);
        let (from, to) = ((q - c).direction(), (-q - c).direction());
        let mut span = (to - from).rem_euclid(360.0);
        if !sweep {
            span -= 360.0;
        }
        let centre =
            point(cos * c.x * rx - sin * c.y * ry, sin * c.x * rx + cos * c.y * ry) + (a + b) * 0.5;
        Some(Arc {
            centre,
            u: point(cos * rx, sin * rx),
            v: point(-sin * ry, cos * ry),
            from,
            sweep: span,
        })
    }
}

/// The lines of a `d` attribute.
///
/// # Errors
/// Where the data stops making sense; viewers draw it up to there in silence, which here would be a
/// spoiled ply.
pub(super) fn lines_of(
    data: &str,
    to_mm: &Affine,
    tolerance: f64,
    budget: &Budget<'_>,
) -> Result<Vec<Line>, Fault> {
    let mut pen = Pen::new(to_mm, tolerance, budget);
    // Control points for the smooth commands: of the last cubic and of the last quadratic curve.
    let (mut cubic, mut quad): (Option<Point>, Option<Point>) = (None, None);
    for (count, segment) in PathParser::from(data).enumerate() {
        let segment = segment.map_err(|e| broken(data, count, &e))?;
        budget.holds()?;
        let at = pen.at;
        let base = if segment.is_abs() { Point::default() } else { at };
        let to = |x: f64, y: f64| base + point(x, y);
        let mirrored = |c: Option<Point>| c.map_or(at, |c| at * 2.0 - c);
        let (mut next_cubic, mut next_quad) = (None, None);
        match segment {
            PathSegment::MoveTo { x, y, .. } => pen.move_to(to(x, y)),
            PathSegment::LineTo { x, y, .. } => pen.line_to(to(x, y)),
            PathSegment::HorizontalLineTo { x, .. } => pen.line_to(point(base.x + x, at.y)),
            PathSegment::VerticalLineTo { y, .. } => pen.line_to(point(at.x, base.y + y)),
            PathSegment::CurveTo { x1, y1, x2, y2, x, y, .. } => {
                pen.cubic_to(to(x1, y1), to(x2, y2), to(x, y));
                next_cubic = Some(to(x2, y2));
            }
            PathSegment::SmoothCurveTo { x2, y2, x, y, .. } => {
                pen.cubic_to(mirrored(cubic), to(x2, y2), to(x, y));
                next_cubic = Some(to(x2, y2));
            }
            PathSegment::Quadratic { x1, y1, x, y, .. } => {
                pen.quadratic_to(to(x1, y1), to(x, y));
                next_quad = Some(to(x1, y1));
            }
            PathSegment::SmoothQuadratic { x, y, .. } => {
                let c = mirrored(quad);
                pen.quadratic_to(c, to(x, y));
                next_quad = Some(c);
            }
            PathSegment::EllipticalArc {
                rx, ry, x_axis_rotation, large_arc, sweep, x, y, ..
            } => {
                pen.arc_to(point(rx, ry), x_axis_rotation, large_arc, sweep, to(x, y));
            }
            PathSegment::ClosePath { .. } => pen.close(),
        }
        (cubic, quad) = (next_cubic, next_quad);
    }
    Ok(pen.finish())
}

fn broken(data: &str, count: usize, error: &Error) -> Fault {
    let place = match error {
        Error::UnexpectedEndOfStream => Some(data.chars().count()),
        Error::UnexpectedData(at)
        | Error::InvalidNumber(at)
        | Error::InvalidChar(_, at)
        | Error::InvalidString(_, at) => Some(*at),
        _ => None,
    };
    let near = place.map_or(String::new(), |at| {
        let tail: String = data.chars().skip(at.saturating_sub(12)).collect();
        format!(", near character {at}: \"{}\"", shortened(tail.trim()))
    });
    let what = if matches!(error, Error::UnexpectedEndOfStream) {
        "the path data is cut short"
    } else {
        "the path data is not understood"
    };
    Fault::new(
        said!("{what} after {count} commands{near}"),
        "correct the d attribute, or export the drawing again",
    )
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::geometry::ring_area;
    use crate::run::Run;

    fn lines(data: &str) -> Vec<Line> {
        lines_of(data, &Affine::IDENTITY, 0.01, &Budget::new(&Run::default())).unwrap()
    }

    fn corners(data: &str) -> Vec<(f64, f64)> {
        lines(data).remove(0).points.iter().map(|p| (p.x, p.y)).collect()
    }

    #[test]
    fn straight_commands_absolute_and_relative() {
        let expected = [(10.0, 20.0), (30.0, 20.0), (30.0, 50.0), (15.0, 40.0)];
        assert_eq!(corners("M10 20 H30 V50 L15 40"), expected);
        assert_eq!(corners("m10 20 h20 v30 l-15-10"), expected);
        assert_eq!(corners("M10,20 30,20 30,50 15,40"), expected);
        assert_eq!(corners("m10,20 20,0 0,30 -15,-10"), expected);
    }

    #[test]
    fn a_closed_subpath_begins_the_next_at_its_start() {
        // SVG 1.1, 8.3.3: after a close, the next subpath starts where the last did.
        let two = lines("M10 10 h20 v20 z l-5 -5 h-3");
        assert_eq!((two[0].closed, two[1].closed), (true, false));
        assert_eq!(two[1].points, [point(10.0, 10.0), point(5.0, 5.0), point(2.0, 5.0)]);
        let relative = lines("m10 10 h20 v20 z m100 0 h1");
        assert_eq!(relative[1].points[0], point(110.0, 10.0));
        assert!(lines("M1 1 M2 2").is_empty());
        assert_eq!(lines("M0 0 H5 V5 L0 0 Z")[0].points.len(), 3);
    }

    #[test]
    fn the_four_arcs_between_two_points() {
        // From (0, 0) to (20, 0) with radius 12.5: by Pythagoras the centres are at y = ±7.5 (10² +
        // 7.5² = 12.5²). In SVG y runs down and a positive sweep turns with increasing angle
        // (F.6.2): the farthest points are at -5, 5, -20 and 20.
        for (large, sweep, farthest) in [(0, 1, -5.0), (0, 0, 5.0), (1, 1, -20.0), (1, 0, 20.0)] {
            let pts = corners(&format!("M0 0 A12.5 12.5 0 {large} {sweep} 20 0"));
            let extreme =
                pts.iter().map(|p| p.1).fold(0.0_f64, |a, b| if b.abs() > a.abs() { b } else { a });
            assert!((extreme - farthest).abs() < 0.011, "{large} {sweep}: {extreme}");
            assert_eq!(*pts.last().unwrap(), (20.0, 0.0));
            let centre_y = if (large == 1) == (sweep == 1) { -7.5 } else { 7.5 };
            let off = pts
                .iter()
                .map(|p| (point(p.0, p.1).distance(point(10.0, centre_y)) - 12.5).abs())
                .fold(0.0, f64::max);
            assert!(off < 1e-9, "{large} {sweep}: {off}");
        }
    }

    #[test]
    fn small_radii_grow_and_zero_radii_are_lines() {
        // F.6.6: too small radii are enlarged until the arc just reaches; then it is a half circle.
        let pts = corners("M0 0 A1 1 0 0 1 20 0");
        assert!(
            pts.iter().all(|&(x, y)| (point(x, y).distance(point(10.0, 0.0)) - 10.0).abs() < 1e-9)
        );
        assert_eq!(corners("M0 0 A0 5 0 0 1 20 0"), [(0.0, 0.0), (20.0, 0.0)]);
        assert_eq!(corners("M0 0 A5 5 0 0 1 0 0 L3 0"), [(0.0, 0.0), (3.0, 0.0)]);
        // Flags need no separators.
        assert_eq!(corners("M0 0A12.5 12.5 0 0120 0"), corners("M0 0 A12.5 12.5 0 0 1 20 0"));
    }

    #[test]
    fn a_turned_ellipse_lies_on_its_equation() {
        // Half-axes 30 and 10, turned 30 degrees, between two points of that very ellipse about (0,
        // 0).
        let (sin, cos) = (0.5, 3.0_f64.sqrt() / 2.0);
        let on = |t: f64| {
            point(
                30.0 * t.cos() * cos - 10.0 * t.sin() * sin,
                30.0 * t.cos() * sin + 10.0 * t.sin() * cos,
            )
        };
        let (a, b) = (on(0.3), on(2.0));
        let data = format!("M{} {} A30 10 30 0 1 {} {}", a.x, a.y, b.x, b.y);
        for (x, y) in corners(&data) {
            let (u, v) = (x * cos + y * sin, -x * sin + y * cos);
            let f = (u / 30.0) * (u / 30.0) + (v / 10.0) * (v / 10.0);
            assert!((f - 1.0).abs() < 1e-9, "{f}");
        }
    }

    #[test]
    fn smooth_commands_mirror_the_last_control_point() {
        assert_eq!(
            lines("M0 0 C0 10 10 10 10 0 S20 -10 20 0"),
            lines("M0 0 C0 10 10 10 10 0 C10 -10 20 -10 20 0")
        );
        assert_eq!(lines("M0 0 Q5 10 10 0 T20 0"), lines("M0 0 Q5 10 10 0 Q15 -10 20 0"));
        // Without a curve of their kind before, the control point is the current point.
        assert_eq!(lines("M0 0 L10 0 S20 -10 20 0"), lines("M0 0 L10 0 C10 0 20 -10 20 0"));
        assert_eq!(lines("M0 0 C0 10 10 10 10 0 T20 5"), lines("M0 0 C0 10 10 10 10 0 Q10 0 20 5"));
    }

    #[test]
    fn areas_of_curved_shapes_are_known() {
        // A stadium: 40 x 20 with two half circles of radius 10; flattening only takes away, at
        // most perimeter x tolerance.
        let ring = &lines("M0 0 H40 A10 10 0 0 1 40 20 H0 A10 10 0 0 1 0 0 Z")[0];
        let exact = 800.0 + std::f64::consts::PI * 100.0;
        let short = exact - ring_area(&ring.points).abs();
        assert!(short > 0.0 && short < 0.01 * std::f64::consts::TAU * 10.0, "{short}");
    }

    #[test]
    fn broken_data_is_a_fault_that_says_where() {
        for (data, what) in [
            ("M0 0 L10 10 L20", "after 2 commands"),
            ("M0 0 L10 10 C1 2 3 4 5", "cut short"),
            ("M0 0 L10 NaN", "not understood"),
            ("L10 10", "after 0 commands"),
            ("M0 0 h10 z5", "near character"),
            ("M0 0 A5 5 0 2 1 9 9", "not understood"),
            ("M0 0 # L5 5", "not understood"),
            ("M0 0 L 1é 5", "not understood"),
        ] {
            let fault =
                lines_of(data, &Affine::IDENTITY, 0.01, &Budget::new(&Run::default())).unwrap_err();
            assert!(fault.what.contains(what), "{data}: {fault}");
        }
    }
}
