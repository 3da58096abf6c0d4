//! Union, difference and intersection of regions, in whole micrometres.
//!
//! The input is put on the grid first and the result lies on it: crossings are rounded to the nearest grid point, so a boundary may
//! move by about a micrometre and no more. Rings come back anticlockwise (holes clockwise), simple, and without points on straight lines.

use super::point::{Point, point};
use super::region::{Region, Ring, ring_area, ring_contains};
use crate::units::{GRID_PER_MM, micrometres};
use i_overlay::core::fill_rule::FillRule;
use i_overlay::core::overlay::{IntOverlayOptions, Overlay, ShapeType};
use i_overlay::core::overlay_rule::OverlayRule;
use i_overlay::core::solver::{Precision, Solver};
use i_overlay::i_float::int::point::IntPoint;
use std::collections::BTreeMap;

/// The union of rings by winding: what lies inside more anticlockwise rings than clockwise ones (or the other way about).
/// A region goes in as its outline and its holes; the regions come back in no order that has a meaning, but always the same one.
pub fn union<'a>(rings: impl IntoIterator<Item = &'a Ring>) -> Vec<Region> {
    overlay(rings, std::iter::empty(), OverlayRule::Subject)
}

/// What of `subject` lies in none of `clip`; both by winding, as in [`union`].
pub fn difference<'a>(subject: impl IntoIterator<Item = &'a Ring>, clip: impl IntoIterator<Item = &'a Ring>) -> Vec<Region> {
    overlay(subject, clip, OverlayRule::Difference)
}

/// What lies in both `subject` and `clip`; both by winding, as in [`union`].
pub fn intersection<'a>(subject: impl IntoIterator<Item = &'a Ring>, clip: impl IntoIterator<Item = &'a Ring>) -> Vec<Region> {
    overlay(subject, clip, OverlayRule::Intersect)
}

/// Passes after which rings are taken as they are: each settles what the rounding of the one before it brought together.
const PASSES: usize = 4;

/// Rounding a crossing to the grid can lay a ring's corner on another of its edges: a further pass splits it there.
fn overlay<'a>(subject: impl IntoIterator<Item = &'a Ring>, clip: impl IntoIterator<Item = &'a Ring>, rule: OverlayRule) -> Vec<Region> {
    let mut regions = one_pass(subject, clip, rule);
    for _ in 1..PASSES {
        let settled = one_pass(regions.iter().flat_map(Region::rings), std::iter::empty(), OverlayRule::Subject);
        if settled == regions {
            break;
        }
        regions = settled;
    }
    regions
}

fn one_pass<'a>(subject: impl IntoIterator<Item = &'a Ring>, clip: impl IntoIterator<Item = &'a Ring>, rule: OverlayRule) -> Vec<Region> {
    // The engine's own splitting of rings that touch themselves (its `ogc` option, 4.5.2) loses a hole that touches its outline in
    // a point, so it is done in `regions`. Crossings are not drawn to ends farther off than a grid step.
    let options = IntOverlayOptions::default();
    let solver = Solver { precision: Precision::ABSOLUTE, multithreading: None, ..Solver::AUTO };
    let mut overlay = Overlay::new_custom(256, options, solver);
    for (rings, kind) in
        [(&mut subject.into_iter() as &mut dyn Iterator<Item = &Ring>, ShapeType::Subject), (&mut clip.into_iter(), ShapeType::Clip)]
    {
        for ring in rings {
            overlay.add_path_iter(ring.iter().map(to_grid), kind);
        }
    }
    overlay
        .overlay(rule, FillRule::NonZero)
        .into_iter()
        .flat_map(|shape| regions(shape.iter().map(|contour| contour.iter().map(from_grid).collect())))
        .collect()
}

/// The regions bounded by contours that may touch themselves and each other in points but do not cross: every contour is split
/// into simple rings where it comes back to a point, and each hole goes to the outline around it.
fn regions(contours: impl Iterator<Item = Ring>) -> Vec<Region> {
    let (mut regions, mut holes) = (Vec::new(), Vec::new());
    for ring in contours.flat_map(simple_rings) {
        match ring_area(&ring) {
            area if area > 0.0 => regions.push(Region::solid(ring)),
            area if area < 0.0 => holes.push(ring),
            _ => {}
        }
    }
    for hole in holes {
        let around = |r: &Region| {
            // The middle of a side that is not a side of the outline is inside or outside for sure, unless it touches it by a corner.
            let sides = (0..hole.len()).map(|i| (hole[i] + hole[(i + 1) % hole.len()]) * 0.5);
            2 * sides.filter(|&p| ring_contains(&r.outline, p)).count() > hole.len()
        };
        let place = if regions.len() == 1 { Some(0) } else { regions.iter().position(around) };
        if let Some(region) = place.and_then(|i| regions.get_mut(i)) {
            region.holes.push(hole);
        }
    }
    regions
}

fn simple_rings(contour: Ring) -> Vec<Ring> {
    let key = |p: &Point| (micrometres(p.x), micrometres(p.y));
    let (mut rings, mut path) = (Vec::new(), Ring::new());
    let mut at: BTreeMap<(i64, i64), usize> = BTreeMap::new();
    for p in contour {
        if let Some(&start) = at.get(&key(&p)) {
            let ring = path.split_off(start);
            for q in &ring {
                at.remove(&key(q));
            }
            rings.push(ring);
        }
        at.insert(key(&p), path.len());
        path.push(p);
    }
    rings.push(path);
    rings
}

/// Whole micrometres, held to ±1 km so that products of differences stay in range: a hundred times the largest supported size is
/// never met, but nothing may panic.
fn to_grid(p: &Point) -> IntPoint {
    let whole = |mm: f64| micrometres(mm).clamp(-1_000_000_000, 1_000_000_000) as i32;
    IntPoint::new(whole(p.x), whole(p.y))
}

fn from_grid(p: &IntPoint) -> Point {
    point(f64::from(p.x) / GRID_PER_MM, f64::from(p.y) / GRID_PER_MM)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn square(x: f64, y: f64, side: f64) -> Ring {
        vec![point(x, y), point(x + side, y), point(x + side, y + side), point(x, y + side)]
    }

    #[test]
    fn union_of_two_squares_has_the_area_of_both_less_the_overlap() {
        let result = union(&[square(0.0, 0.0, 10.0), square(5.0, 5.0, 10.0)]);
        assert_eq!(result.len(), 1);
        assert!((result[0].area() - 175.0).abs() < 1e-9);
        assert!(ring_area(&result[0].outline) > 0.0);
    }

    #[test]
    fn a_hole_is_a_clockwise_ring_going_in_and_coming_out() {
        let mut hole = square(4.0, 4.0, 2.0);
        hole.reverse();
        let result = union(&[square(0.0, 0.0, 10.0), hole]);
        assert_eq!((result.len(), result[0].holes.len()), (1, 1));
        assert!((result[0].area() - 96.0).abs() < 1e-9);
        assert!(ring_area(&result[0].holes[0]) < 0.0);
    }

    #[test]
    fn what_touches_in_a_point_is_two_regions() {
        assert_eq!(union(&[square(0.0, 0.0, 1.0), square(1.0, 1.0, 1.0)]).len(), 2);
    }

    #[test]
    fn difference_and_intersection_share_the_area() {
        let (a, b) = (square(0.0, 0.0, 10.0), square(3.0, -1.0, 4.0));
        let area = |regions: Vec<Region>| regions.iter().map(Region::area).sum::<f64>();
        assert!((area(difference([&a], [&b])) - 88.0).abs() < 1e-9);
        assert!((area(intersection([&a], [&b])) - 12.0).abs() < 1e-9);
    }

    /// A piece that touches the selvedge in a point vanished from what was left of the cloth.
    #[test]
    fn a_hole_that_touches_its_outline_in_a_point_is_kept() {
        let cloth = vec![point(0.0, 0.0), point(200.0, 0.0), point(200.0, 100.0), point(0.0, 100.0)];
        let strip = vec![point(0.0, 0.0), point(200.0, 0.0), point(200.0, 10.0), point(0.0, 10.0)];
        let diamond = |x: f64| vec![point(x, 10.0), point(x + 20.0, 30.0), point(x, 50.0), point(x - 20.0, 30.0)];
        let left = difference([&cloth], [&strip, &diamond(50.0), &diamond(130.0)]);
        assert_eq!((left.len(), left[0].holes.len()), (1, 2));
        assert!((left[0].area() - (18_000.0 - 1600.0)).abs() < 1e-9);
        // And once more through: what came out goes in.
        let same = intersection([&cloth], left.iter().flat_map(Region::rings));
        assert!((same.iter().map(Region::area).sum::<f64>() - 16_400.0).abs() < 1e-9);
    }

    #[test]
    fn holes_go_to_the_outline_around_them() {
        // Two frames that touch at a corner.
        let rings = [square(0.0, 0.0, 10.0), square(10.0, 10.0, 10.0)];
        let holes = [square(4.0, 4.0, 2.0), square(13.0, 13.0, 4.0)];
        let mut frames = difference(&rings, &holes);
        frames.sort_by(|a, b| a.area().total_cmp(&b.area()));
        assert_eq!(frames.iter().map(|f| (f.holes.len(), f.area())).collect::<Vec<_>>(), [(1, 84.0), (1, 96.0)]);
    }
}
