//! Sections of a shape across the strip: how much of each line across it takes.

use super::convex::Vertex;
use super::form::grid_rings;
use super::problem::Shape;
use crate::geometry::{Motion, point};
use std::cmp::Ordering;

/// A stretch along the strip in which the section grows or shrinks evenly.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Slab {
    /// Along the strip, mm.
    pub length: f64,
    /// Length of the section at its ends, mm; of what lies in pieces, the sum.
    pub ends: [f64; 2],
}

/// The slabs of a shape turned by so many degrees, as it is laid: with corners on the grid. A
/// shape that is mirrored about x has the same.
pub(super) fn slabs(shape: &Shape, turn: f64) -> Vec<Slab> {
    let rings = grid_rings(&Motion::new(turn, false, point(0.0, 0.0)).region(&shape.region));
    // At every corner a line of the section's course begins or ends. What lies to the left of an
    // edge is inside: one that runs back is an upper side, one that runs on a lower.
    let mut turns: Vec<(i64, f64, f64)> = Vec::new();
    for ring in &rings {
        for (a, b) in super::convex::edges(ring) {
            let side = match a.x.cmp(&b.x) {
                Ordering::Equal => continue,
                Ordering::Greater => 1.0,
                Ordering::Less => -1.0,
            };
            let (low, high) = if a.x < b.x { (a, b) } else { (b, a) };
            let slope = slope(low, high);
            let base = low.y as f64 - slope * low.x as f64;
            turns.push((low.x, side * base, side * slope));
            turns.push((high.x, -side * base, -side * slope));
        }
    }
    turns.sort_by_key(|t| t.0);
    let (mut base, mut slope) = (0.0, 0.0);
    let mut out = Vec::new();
    for (k, &(x, by_base, by_slope)) in turns.iter().enumerate() {
        base += by_base;
        slope += by_slope;
        let Some(&(next, ..)) = turns.get(k + 1) else { break };
        if next > x {
            let at = |x: i64| ((base + slope * x as f64) / 1000.0).max(0.0);
            out.push(Slab { length: (next - x) as f64 / 1000.0, ends: [at(x), at(next)] });
        }
    }
    out
}

fn slope(a: Vertex, b: Vertex) -> f64 {
    (b.y - a.y) as f64 / (b.x - a.x) as f64
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geometry::Region;
    use crate::nest::Pose;

    fn shape(outline: &[(f64, f64)], holes: &[&[(f64, f64)]]) -> Shape {
        let ring = |r: &[(f64, f64)]| r.iter().map(|&(x, y)| point(x, y)).collect::<Vec<_>>();
        Shape {
            name: "plate".into(),
            region: Region {
                outline: ring(outline),
                holes: holes.iter().map(|h| ring(h)).collect(),
            },
            poses: vec![Pose { turn: 0.0, flip: false }],
            tolerance: 0.0,
            copies: 1,
            may_cross: false,
        }
    }

    #[test]
    fn a_frame_has_the_section_of_its_sides_where_its_window_is() {
        let frame = shape(
            &[(0.0, 0.0), (100.0, 0.0), (100.0, 60.0), (0.0, 60.0)],
            &[&[(20.0, 10.0), (70.0, 10.0), (70.0, 40.0), (20.0, 40.0)]],
        );
        let found = slabs(&frame, 0.0);
        let expected = [(20.0, 60.0), (50.0, 30.0), (30.0, 60.0)];
        assert_eq!(found.len(), 3);
        for (slab, (length, section)) in found.iter().zip(expected) {
            assert!((slab.length - length).abs() < 1e-9);
            assert!(slab.ends.iter().all(|e| (e - section).abs() < 1e-6), "{slab:?}");
        }
    }

    #[test]
    fn the_sections_add_up_to_the_area_at_any_turn() {
        let hook = shape(
            &[(0.0, 0.0), (90.0, 5.0), (80.0, 30.0), (30.0, 25.0), (35.0, 80.0), (-5.0, 70.0)],
            &[&[(9.0, 20.0), (15.0, 8.0), (5.0, 8.0)]],
        );
        for turn in [0.0, 17.0, 90.0, 133.3, 180.0] {
            let area: f64 =
                slabs(&hook, turn).iter().map(|s| s.length * (s.ends[0] + s.ends[1]) / 2.0).sum();
            // A corner is off its place by half a grid step.
            assert!((area - hook.region.area()).abs() < 0.3, "{turn}: {area}");
        }
    }
}
