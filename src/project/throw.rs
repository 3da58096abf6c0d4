//! What is thrown, in the picture's pixels: lines and words, light on black.

use super::fit::Fit;
use super::grid::Grid;
use super::label::{Label, Room};
use super::windows::Window;
use crate::geometry::clip::path_in;
use crate::geometry::{Bounds, Point, Region, point, ring_bounds};
use crate::sheet::{ClothThrown, PieceThrown};
use serde::Serialize;

/// What a line is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Kind {
    /// To be cut.
    Cut,
    /// Edge of the cloth or a flaw: the cloth is laid under it.
    Edge,
    /// The mark to which the cloth is slid.
    Mark,
    /// Where the next mark is put on the cloth.
    Next,
    /// The straight cut that frees the rest of the roll.
    Across,
    /// From a label to its piece.
    Leader,
    /// The test picture's grid.
    Grid,
    /// A check mark.
    Check,
}

/// A line that is thrown.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Line {
    /// What it is.
    pub kind: Kind,
    /// Its points, pixels.
    pub points: Vec<[f64; 2]>,
}

/// Words that are thrown.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Text {
    /// Millimetres of the words' own frame (x right, y down, from the baseline's left end) →
    /// pixels, as SVG writes it.
    pub matrix: [f64; 6],
    /// Size of letters, mm.
    pub size: f64,
    /// The words are not wider, mm.
    pub width: f64,
    /// The words.
    pub words: String,
}

/// A picture to throw.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct Thrown {
    /// Lines.
    pub lines: Vec<Line>,
    /// Words.
    pub texts: Vec<Text>,
    /// Numbers of pieces whose label found no room.
    pub unlabelled: Vec<String>,
}

/// The picture of a bench.
struct Pen<'f> {
    fit: &'f Fit,
    out: Thrown,
}

impl<'f> Pen<'f> {
    fn new(fit: &'f Fit) -> Pen<'f> {
        Pen { fit, out: Thrown::default() }
    }

    fn line(&mut self, kind: Kind, points: &[Point], closed: bool) {
        let pixels = self.fit.map.line(points, closed);
        let rounded = |v: f64| (v * 100.0).round() / 100.0;
        let points: Vec<[f64; 2]> = pixels.iter().map(|p| [rounded(p.x), rounded(p.y)]).collect();
        if points.len() > 1 {
            self.out.lines.push(Line { kind, points });
        }
    }

    /// What of a line lies in the field or a little beyond: far out no map holds.
    fn clipped(&mut self, kind: Kind, points: &[Point]) {
        let field = self.fit.field;
        let more = point(field.width(), field.height()) * 0.04;
        let around = Bounds { min: field.min - more, max: field.max + more };
        let region = Region { outline: around.ring(), holes: Vec::new() };
        for part in path_in(points, &region) {
            self.line(kind, &part, false);
        }
    }

    /// Words whose baseline begins at a point of the bench.
    fn words(&mut self, at: Point, size: f64, width: f64, words: &str) {
        let map = &self.fit.map;
        let ends =
            (map.pixel(at), map.pixel(at + point(width, 0.0)), map.pixel(at + point(0.0, size)));
        if let (Some(o), Some(x), Some(y)) = ends {
            let (along, up) = ((x - o) * (1.0 / width), (y - o) * (1.0 / size));
            self.out.texts.push(Text {
                matrix: [along.x, along.y, -up.x, -up.y, o.x, o.y],
                size,
                width,
                words: words.to_string(),
            });
        }
    }

    fn label(&mut self, label: &Label) {
        let (low, wide) = (label.place.min, label.place.width());
        let [first, second] = &label.lines;
        self.words(low + point(0.0, 1.15 * label.size), label.size, wide, first);
        self.words(low + point(0.0, 0.3 * label.size), 0.6 * label.size, wide, second);
        if let Some(leader) = label.leader {
            self.line(Kind::Leader, &leader, false);
        }
    }
}

/// The check marks: two crosses, far from each other.
pub fn check_marks(fit: &Fit) -> Thrown {
    let field = fit.field;
    let size = field.width().min(field.height());
    let (inset, arm) = (0.1 * size, (0.05 * size).min(40.0));
    let mut pen = Pen::new(fit);
    let corner = point(inset, inset);
    for at in [field.min + corner, field.max - corner] {
        for way in [point(arm, 0.0), point(0.0, arm)] {
            pen.line(Kind::Check, &[at - way, at + way], false);
        }
        let round = (0..24).map(|i| f64::from(i) * std::f64::consts::TAU / 24.0);
        let ring: Vec<Point> =
            round.map(|t| at + point(libm::cos(t), libm::sin(t)) * (0.5 * arm)).collect();
        pen.line(Kind::Check, &ring, true);
    }
    pen.out
}

/// The test picture.
pub fn test_picture(fit: &Fit) -> Thrown {
    let mut pen = Pen::new(fit);
    if let Some(grid) = Grid::over(&fit.field) {
        for line in grid.lines() {
            pen.line(Kind::Grid, &line, false);
        }
        for (name, at) in grid.names() {
            // Within the field, whichever corner it is.
            let left = if at.x + 45.0 > fit.field.max.x { -44.0 } else { 4.0 };
            let low = if at.y + 24.0 > fit.field.max.y { -20.0 } else { 4.0 };
            pen.words(at + point(left, low), 16.0, 40.0, &name);
        }
    }
    pen.out
}

/// How a cloth lies under the picture.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Lie {
    /// Its free end is at the picture's right.
    pub turned: bool,
}

/// Pieces of a window, one or all of them, with the edges of the cloth; `next` is the window after.
pub fn window_thrown(
    fit: &Fit,
    cloth: &ClothThrown,
    (window, next): (&Window, Option<&Window>),
    shown: &[usize],
    lie: Lie,
) -> Thrown {
    let field = fit.field;
    let put = |p: &Point| {
        let d = *p - window.from;
        if lie.turned { field.max - d } else { field.min + d }
    };
    let all = |points: &[Point]| -> Vec<Point> { points.iter().map(put).collect() };
    let placed: Vec<PieceThrown> = shown
        .iter()
        .filter_map(|i| cloth.pieces.get(*i))
        .map(|p| {
            let rings: Vec<Vec<Point>> = p.rings.iter().map(|r| all(r)).collect();
            PieceThrown {
                bounds: rings.first().and_then(|r| ring_bounds(r)).unwrap_or(p.bounds),
                rings,
                cuts: p.cuts.iter().map(|c| all(c)).collect(),
                ..p.clone()
            }
        })
        .collect();
    let mut pen = Pen::new(fit);
    let mut lines: Vec<[Point; 2]> = Vec::new();
    for ring in &cloth.edges {
        let mut closed = all(ring);
        closed.extend(closed.first().copied());
        pen.clipped(Kind::Edge, &closed);
        lines.extend(closed.windows(2).map(|w| [w[0], w[1]]));
    }
    let (low, high) = (cloth.bounds.min.y, cloth.bounds.max.y);
    let across = |x: f64| [point(x, low), point(x, high)];
    let marks = [
        window.mark.map(|x| (Kind::Mark, across(x))),
        next.and_then(|n| n.mark)
            .filter(|x| window.mark != Some(*x))
            .map(|x| (Kind::Next, across(x))),
        cloth.across.map(|ends| (Kind::Across, ends)),
    ];
    for (kind, ends) in marks.into_iter().flatten() {
        let ends = all(&ends);
        pen.clipped(kind, &ends);
        lines.push([ends[0], ends[1]]);
    }
    let pieces: Vec<&PieceThrown> = placed.iter().collect();
    let mut room = Room::new(field, &pieces, lines);
    for piece in &placed {
        for ring in &piece.rings {
            pen.line(Kind::Cut, ring, true);
        }
        for cut in &piece.cuts {
            pen.line(Kind::Cut, cut, false);
        }
        match room.place(piece) {
            Some(label) => pen.label(&label),
            None => pen.out.unlabelled.push(piece.number.clone()),
        }
    }
    pen.out
}
