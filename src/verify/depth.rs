//! How deep regions reach into each other, in mm: for messages, and for checks that state a
//! tolerance. Rounded, unlike `exact`.

use super::exact::{Edge, Extent, Shape, near_edges};
use crate::geometry::Point;
use crate::units::GRID_PER_MM;

/// How deep two regions reach into each other, mm, and where: the largest distance from the
/// boundary of one to a corner (or the middle between two crossings) of the other inside it. For
/// messages, and for checks that state a tolerance.
pub(super) fn overlap_depth(a: &Shape, b: &Shape) -> Option<(f64, Point)> {
    let mut deepest: Option<(f64, Point)> = None;
    let mut look = |s: &Shape, o: &Shape, stops: &[(usize, f64)]| {
        // Only edges at the height of `s` and not left of it count for what lies in `o`.
        let level = |e: &&Edge| {
            let e = e.extent();
            e.max.y >= s.extent().min.y
                && e.min.y <= s.extent().max.y
                && e.max.x >= s.extent().min.x
        };
        let bands = Bands::new(o.edges().iter().filter(level), s.extent());
        let mut next = 0;
        for (i, e) in s.edges().iter().enumerate() {
            let first = next;
            while next < stops.len() && stops[next].0 == i {
                next += 1;
            }
            if !o.is_outside() && !e.extent().near(&o.extent(), 0) {
                continue;
            }
            let mut at: Vec<f64> = stops[first..next].iter().map(|c| c.1).collect();
            at.extend([0.0, 1.0]);
            at.sort_by(f64::total_cmp);
            let (a, b) = (e.a.mm(), e.b.mm());
            let middles: Vec<f64> = at.windows(2).map(|w| (w[0] + w[1]) / 2.0).collect();
            // Its end is the next edge's start.
            at.pop();
            for t in at.into_iter().chain(middles) {
                let p = a + (b - a) * t;
                let beside = bands.at(p);
                if even_odd(beside, p) != o.is_outside() {
                    // Most points lie on the other boundary or next to it; the edges at their
                    // height tell so at once.
                    let reached = deepest.map_or(-1.0, |d| d.0);
                    if distance_mm(beside, p) > reached {
                        let d = distance_mm(o.edges(), p);
                        if d > reached {
                            deepest = Some((d, p));
                        }
                    }
                }
            }
        }
    };
    let (mut on_a, mut on_b) = (Vec::new(), Vec::new());
    near_edges(a, b, 0, |i, j| {
        let (e, o) = (&a.edges()[i], &b.edges()[j]);
        let (da, db) = (e.b.minus(e.a), o.b.minus(o.a));
        let det = da.cross(db) as f64;
        if det != 0.0 && e.touches(o) {
            let w = o.a.minus(e.a);
            on_a.push((i, (w.cross(db) as f64 / det).clamp(0.0, 1.0)));
            on_b.push((j, (w.cross(da) as f64 / det).clamp(0.0, 1.0)));
        }
    });
    on_a.sort_by(|x, y| x.0.cmp(&y.0).then(x.1.total_cmp(&y.1)));
    on_b.sort_by(|x, y| x.0.cmp(&y.0).then(x.1.total_cmp(&y.1)));
    look(a, b, &on_a);
    look(b, a, &on_b);
    deepest
}

impl Shape {
    /// Distance from a point (mm) to the boundary, mm.
    pub fn boundary_distance_mm(&self, p: Point) -> f64 {
        distance_mm(self.edges(), p)
    }

    /// Even-odd test for a point in mm; near the boundary either answer may come.
    pub fn contains_mm(&self, p: Point) -> bool {
        even_odd(self.edges(), p) != self.is_outside()
    }
}

/// Edges by height, so that a point is held only against those it can be level with.
struct Bands {
    low: i64,
    height: i64,
    edges: Vec<Vec<Edge>>,
}

impl Bands {
    const COUNT: i64 = 64;

    fn new<'a>(edges: impl Iterator<Item = &'a Edge>, extent: Extent) -> Bands {
        let (low, height) = (extent.min.y, (extent.max.y - extent.min.y) / Bands::COUNT + 1);
        let mut bands = Bands { low, height, edges: vec![Vec::new(); Bands::COUNT as usize] };
        for edge in edges {
            let e = edge.extent();
            // One more on each side, for points between grid lines.
            for band in bands.index(e.min.y - 1)..=bands.index(e.max.y + 1) {
                bands.edges[band].push(*edge);
            }
        }
        bands
    }

    fn index(&self, y: i64) -> usize {
        ((y - self.low) / self.height).clamp(0, Bands::COUNT - 1) as usize
    }

    fn at(&self, p: Point) -> &[Edge] {
        &self.edges[self.index((p.y * GRID_PER_MM).floor() as i64)]
    }
}

/// Distance from `p`, mm, to the nearest of the edges, mm.
fn distance_mm(edges: &[Edge], p: Point) -> f64 {
    let p = Point { x: p.x * GRID_PER_MM, y: p.y * GRID_PER_MM };
    let mut least = f64::INFINITY;
    for e in edges {
        let (a, b) = (e.a.as_f64(), e.b.as_f64());
        let off_box = (a.x.min(b.x) - p.x)
            .max(p.x - a.x.max(b.x))
            .max((a.y.min(b.y) - p.y).max(p.y - a.y.max(b.y)));
        if off_box < least {
            least = least.min(p.distance_to_segment(a, b));
        }
    }
    least / GRID_PER_MM
}

fn even_odd(edges: &[Edge], p: Point) -> bool {
    let p = Point { x: p.x * GRID_PER_MM, y: p.y * GRID_PER_MM };
    let mut inside = false;
    for e in edges {
        let (a, b) = (e.a.as_f64(), e.b.as_f64());
        if (a.y > p.y) != (b.y > p.y) && p.x < a.x + (b.x - a.x) * (p.y - a.y) / (b.y - a.y) {
            inside = !inside;
        }
    }
    inside
}

#[cfg(test)]
mod tests {
    use super::super::exact::P;
    use super::*;

    fn square(x: i64, y: i64, side: i64) -> Shape {
        Shape::rectangle(P { x, y }, P { x: x + side, y: y + side })
    }

    #[test]
    fn depth_of_an_overlap_is_told() {
        let (depth, _) =
            overlap_depth(&square(0, 0, 1000), &square(900, 0, 1000)).expect("they overlap");
        assert!((depth - 0.05).abs() < 1e-9 || (depth - 0.1).abs() < 1e-9, "{depth}");
        assert!(overlap_depth(&square(0, 0, 1000), &square(2000, 0, 1000)).is_none());
    }
}
