//! Convex polygons on the grid of whole micrometres: sums, offsets, hulls, separation. All
//! predicates are exact.

use crate::geometry::Point;
use crate::units::{GRID_PER_MM, micrometres};

/// A grid point, whole micrometres.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub(super) struct Vertex {
    pub x: i64,
    pub y: i64,
}

/// A convex polygon, anticlockwise, without collinear corners.
pub(super) type Convex = Vec<Vertex>;

/// Shorthand for a [`Vertex`].
pub(super) const fn vertex(x: i64, y: i64) -> Vertex {
    Vertex { x, y }
}

impl Vertex {
    pub fn of(p: Point) -> Vertex {
        vertex(micrometres(p.x), micrometres(p.y))
    }

    /// Back to mm.
    pub fn to_mm(self) -> Point {
        Point { x: self.x as f64 / GRID_PER_MM, y: self.y as f64 / GRID_PER_MM }
    }

    pub fn plus(self, o: Vertex) -> Vertex {
        vertex(self.x + o.x, self.y + o.y)
    }

    pub fn minus(self, o: Vertex) -> Vertex {
        vertex(self.x - o.x, self.y - o.y)
    }

    pub fn negated(self) -> Vertex {
        vertex(-self.x, -self.y)
    }

    /// Turned by `quarters` quarter turns, anticlockwise.
    pub fn quarter(self, quarters: u8) -> Vertex {
        match quarters & 3 {
            0 => self,
            1 => vertex(-self.y, self.x),
            2 => vertex(-self.x, -self.y),
            _ => vertex(self.y, -self.x),
        }
    }
}

/// Cross product of two vectors; exact while coordinates stay below 1.5e9 µm.
pub(super) fn cross(a: Vertex, b: Vertex) -> i64 {
    a.x * b.y - a.y * b.x
}

/// Twice the signed area of the triangle `a`, `b`, `c`: positive if `c` lies left of `a`-`b`.
pub(super) fn turn(a: Vertex, b: Vertex, c: Vertex) -> i64 {
    cross(b.minus(a), c.minus(a))
}

/// Twice the signed area of a ring.
pub(super) fn twice_area(ring: &[Vertex]) -> i128 {
    edges(ring)
        .map(|(a, b)| i128::from(a.x) * i128::from(b.y) - i128::from(a.y) * i128::from(b.x))
        .sum()
}

/// The edges of a ring, from-to.
pub(super) fn edges(ring: &[Vertex]) -> impl Iterator<Item = (Vertex, Vertex)> + '_ {
    ring.iter().copied().zip(ring.iter().copied().cycle().skip(1))
}

/// A box along the axes, whole micrometres.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Frame {
    pub min: Vertex,
    pub max: Vertex,
}

impl Frame {
    /// The box around points; of none, an empty box at the origin.
    pub fn around(points: impl IntoIterator<Item = Vertex>) -> Frame {
        let mut all = points.into_iter();
        let first = all.next().unwrap_or_default();
        all.fold(Frame { min: first, max: first }, |f, v| Frame {
            min: vertex(f.min.x.min(v.x), f.min.y.min(v.y)),
            max: vertex(f.max.x.max(v.x), f.max.y.max(v.y)),
        })
    }

    pub fn grown(self, by: i64) -> Frame {
        Frame {
            min: vertex(self.min.x - by, self.min.y - by),
            max: vertex(self.max.x + by, self.max.y + by),
        }
    }

    pub fn moved(self, by: Vertex) -> Frame {
        Frame { min: self.min.plus(by), max: self.max.plus(by) }
    }

    pub fn width(&self) -> i64 {
        self.max.x - self.min.x
    }

    pub fn height(&self) -> i64 {
        self.max.y - self.min.y
    }

    /// True if the open boxes share a point.
    pub fn overlaps(&self, o: &Frame) -> bool {
        self.min.x < o.max.x && o.min.x < self.max.x && self.min.y < o.max.y && o.min.y < self.max.y
    }
}

/// The convex hull, anticlockwise, without collinear corners (Andrew's monotone chain).
pub(super) fn hull(points: &[Vertex]) -> Convex {
    let mut sorted = points.to_vec();
    sorted.sort_unstable();
    sorted.dedup();
    if sorted.len() < 3 {
        return sorted;
    }
    let mut out: Convex = Vec::with_capacity(sorted.len() + 1);
    for pass in 0..2 {
        let floor = out.len().max(1);
        let push = |out: &mut Convex, v: Vertex| {
            while out.len() > floor && turn(out[out.len() - 2], out[out.len() - 1], v) <= 0 {
                out.pop();
            }
            out.push(v);
        };
        if pass == 0 {
            for &v in &sorted {
                push(&mut out, v);
            }
        } else {
            for &v in sorted.iter().rev().skip(1) {
                push(&mut out, v);
            }
        }
    }
    out.pop();
    out
}

/// The Minkowski sum of `p` and `-q`: where the origin of `q` may not be, if the interiors are to
/// stay apart.
pub(super) fn difference_sum(p: &[Vertex], q: &[Vertex]) -> Convex {
    let minus_q: Convex = q.iter().map(|v| v.negated()).collect();
    let low =
        |ring: &[Vertex]| (0..ring.len()).min_by_key(|&i| (ring[i].y, ring[i].x)).unwrap_or(0);
    let (n, m) = (p.len(), minus_q.len());
    let (i0, j0) = (low(p), low(&minus_q));
    let (mut i, mut j) = (0, 0);
    let mut out: Convex = Vec::with_capacity(n + m);
    while i < n || j < m {
        out.push(p[(i0 + i) % n].plus(minus_q[(j0 + j) % m]));
        let e = p[(i0 + i + 1) % n].minus(p[(i0 + i) % n]);
        let f = minus_q[(j0 + j + 1) % m].minus(minus_q[(j0 + j) % m]);
        let c = if i == n {
            -1
        } else if j == m {
            1
        } else {
            cross(e, f)
        };
        if c >= 0 {
            i += 1;
        }
        if c <= 0 {
            j += 1;
        }
    }
    out
}

/// Slack put on slanting edges of an offset, µm: covers the rounding of its corners to the grid
/// (0.71) and of two positions (1.42).
const SLANT_SLACK: f64 = 3.0;

/// A convex polygon that holds every point nearer than `by` µm to `p`, even after its corners are
/// put on the grid and both placements are rounded. Edges along the axes are offset by exactly
/// `by`; corners are mitred up to 60° and cut by tangents beyond.
pub(super) fn offset(p: &[Vertex], by: i64) -> Convex {
    let line = |nx: f64, ny: f64, at: Vertex| {
        let slack = if nx == 0.0 || ny == 0.0 { 0.0 } else { SLANT_SLACK };
        (nx, ny, nx * at.x as f64 + ny * at.y as f64 + by as f64 + slack)
    };
    let normal = |a: Vertex, b: Vertex| unit((b.y - a.y) as f64, (a.x - b.x) as f64);
    let n = p.len();
    let mut lines = Vec::with_capacity(2 * n);
    for i in 0..n {
        let (a, b, c) = (p[i], p[(i + 1) % n], p[(i + 2) % n]);
        let (n1, n2) = (normal(a, b), normal(b, c));
        lines.push(line(n1.0, n1.1, b));
        tangents(n1, n2, 4, &mut |m| lines.push(line(m.0, m.1, b)));
    }
    let mut corners = Vec::with_capacity(lines.len());
    for (k, &(ax, ay, ac)) in lines.iter().enumerate() {
        let (bx, by, bc) = lines[(k + 1) % lines.len()];
        let det = ax * by - ay * bx;
        if det.abs() > 1e-9 {
            corners.push(vertex(
                ((ac * by - bc * ay) / det).round() as i64,
                ((ax * bc - bx * ac) / det).round() as i64,
            ));
        } else {
            // Parallel within rounding: any point of the line near the corner will do.
            let at = p[(k + 1) % n];
            corners.push(at);
        }
    }
    hull(&corners)
}

/// Normals strictly between `a` and `b` so that no step exceeds 60°.
fn tangents(a: (f64, f64), b: (f64, f64), depth: u32, push: &mut impl FnMut((f64, f64))) {
    let dot = a.0 * b.0 + a.1 * b.1;
    if dot >= 0.499 || depth == 0 {
        return;
    }
    // At a half turn the sum vanishes; the normal between is then `a` turned a quarter.
    let (sx, sy) = (a.0 + b.0, a.1 + b.1);
    let mid = if sx * sx + sy * sy < 1e-12 { (-a.1, a.0) } else { unit(sx, sy) };
    tangents(a, mid, depth - 1, push);
    push(mid);
    tangents(mid, b, depth - 1, push);
}

fn unit(x: f64, y: f64) -> (f64, f64) {
    let l = (x * x + y * y).sqrt();
    (x / l, y / l)
}

/// True if `v` lies strictly inside.
pub(super) fn holds(p: &[Vertex], v: Vertex) -> bool {
    edges(p).all(|(a, b)| turn(a, b, v) > 0)
}

/// True if the open convex polygons share no point: some edge of one has the other on its outer
/// side.
pub(super) fn apart(p: &[Vertex], q: &[Vertex]) -> bool {
    let parts =
        |p: &[Vertex], q: &[Vertex]| edges(p).any(|(a, b)| q.iter().all(|&v| turn(a, b, v) <= 0));
    parts(p, q) || parts(q, p)
}

/// How far a clearance can reach at a mitred corner.
pub(super) fn clearance_margin(by: i64) -> i64 {
    if by > 0 { by + by / 5 + 8 } else { 0 }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn rectangle(w: i64, h: i64) -> Convex {
        vec![vertex(0, 0), vertex(w, 0), vertex(w, h), vertex(0, h)]
    }

    #[test]
    fn the_sum_of_two_rectangles_is_a_rectangle() {
        // No-fit area of rectangles: (a + c)(b + d), computed.
        let sum = difference_sum(&rectangle(30, 20), &rectangle(7, 5));
        assert_eq!(twice_area(&sum), 2 * 37 * 25);
        assert_eq!(sum.len(), 4);
    }

    #[test]
    fn a_triangle_and_its_half_turn_sum_to_six_times_its_area() {
        // Triangle plus its own negative: area 6A (mathematical fact, computed).
        let t = vec![vertex(0, 0), vertex(50, 10), vertex(20, 40)];
        assert_eq!(twice_area(&difference_sum(&t, &t)), 6 * twice_area(&t));
    }

    #[test]
    fn an_offset_rectangle_keeps_exact_sides() {
        let o = offset(&rectangle(1000, 500), 100);
        assert_eq!(
            Frame::around(o.iter().copied()),
            Frame { min: vertex(-100, -100), max: vertex(1100, 600) }
        );
    }

    #[test]
    fn an_offset_holds_the_disc_round_every_corner() {
        let p = vec![vertex(0, 0), vertex(10_000, 300), vertex(4_000, 7_000)];
        let o = offset(&p, 1000);
        for &corner in &p {
            for k in 0..720 {
                let a = f64::from(k) * std::f64::consts::PI / 360.0;
                let v = vertex(
                    corner.x + (999.0 * libm::cos(a)) as i64,
                    corner.y + (999.0 * libm::sin(a)) as i64,
                );
                assert!(holds(&o, v), "{v:?}");
            }
        }
    }

    #[test]
    fn touching_polygons_are_apart() {
        let right: Convex = rectangle(5, 5).iter().map(|v| v.plus(vertex(10, 3))).collect();
        assert!(apart(&rectangle(10, 10), &right));
        assert!(!apart(&rectangle(11, 10), &right));
    }
}
