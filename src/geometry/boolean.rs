//! Union, difference and intersection of regions, in whole micrometres.
//!
//! The input is put on the grid first and the result lies on it: crossings are rounded to the
//! nearest grid point, so a boundary may move by about a micrometre and no more. Rings come back
//! anticlockwise (holes clockwise), simple, and without points on straight lines.

use super::point::{Point, point};
use super::region::{Region, Ring, ring_area, ring_contains};
use crate::units::{GRID_PER_MM, micrometres};
use i_overlay::core::fill_rule::FillRule;
use i_overlay::core::overlay::{IntOverlayOptions, Overlay, ShapeType};
use i_overlay::core::overlay_rule::OverlayRule;
use i_overlay::core::solver::{Precision, Solver, Strategy};
use i_overlay::i_float::int::point::IntPoint;
use rayon::prelude::*;
use std::collections::BTreeMap;

/// The union of rings by winding: what lies inside more anticlockwise rings than clockwise ones (or
/// the other way about). A region goes in as its outline and its holes; the regions come back in no
/// order that has a meaning, but always the same one.
pub fn union<'a>(rings: impl IntoIterator<Item = &'a Ring>) -> Vec<Region> {
    overlay(rings, std::iter::empty(), OverlayRule::Subject)
}

/// Up to so many parts are united at once.
const AT_ONCE: usize = 4_000;
/// Of more, so many neighbours are united first.
const NEIGHBOURS: usize = 64;

/// The union of rings, among which are very many small `parts`, all anticlockwise, that overlap
/// their neighbours in the list: neighbours are united first, for the work grows with the square of
/// what overlaps.
pub fn union_with_parts<'a>(
    rings: impl IntoIterator<Item = &'a Ring>,
    parts: &[Ring],
    stop: &(dyn Fn() -> bool + Sync),
) -> Vec<Region> {
    let rings: Vec<&Ring> = rings.into_iter().collect();
    if parts.len() <= AT_ONCE {
        return union(rings.iter().copied().chain(parts));
    }
    let mut together: Vec<Vec<Ring>> = parts.iter().map(|p| vec![p.clone()]).collect();
    while together.len() > NEIGHBOURS && !stop() {
        let united = |group: &[Vec<Ring>]| -> Vec<Ring> {
            union(group.iter().flatten()).iter().flat_map(|r| r.rings().cloned()).collect()
        };
        together = together
            .par_chunks(NEIGHBOURS)
            .map(|group| if stop() { Vec::new() } else { united(group) })
            .collect();
    }
    union(rings.iter().copied().chain(together.iter().flatten()))
}

/// What of `subject` lies in none of `clip`; both by winding, as in [`union`].
pub fn difference<'a>(
    subject: impl IntoIterator<Item = &'a Ring>,
    clip: impl IntoIterator<Item = &'a Ring>,
) -> Vec<Region> {
    overlay(subject, clip, OverlayRule::Difference)
}

/// What lies in both `subject` and `clip`; both by winding, as in [`union`].
pub fn intersection<'a>(
    subject: impl IntoIterator<Item = &'a Ring>,
    clip: impl IntoIterator<Item = &'a Ring>,
) -> Vec<Region> {
    overlay(subject, clip, OverlayRule::Intersect)
}

/// Passes after which rings are taken as they are: each settles what the rounding of the one before
/// it brought together.
const PASSES: usize = 4;

/// Rounding a crossing to the grid can lay a ring's corner on another of its edges: a further pass
/// splits it there.
fn overlay<'a>(
    subject: impl IntoIterator<Item = &'a Ring>,
    clip: impl IntoIterator<Item = &'a Ring>,
    rule: OverlayRule,
) -> Vec<Region> {
    let mut regions = one_pass(subject, clip, rule);
    for _ in 1..PASSES {
        let settled = one_pass(
            regions.iter().flat_map(Region::rings),
            std::iter::empty(),
            OverlayRule::Subject,
        );
        if settled == regions {
            break;
        }
        regions = settled;
    }
    regions
}

fn one_pass<'a>(
    subject: impl IntoIterator<Item = &'a Ring>,
    clip: impl IntoIterator<Item = &'a Ring>,
    rule: OverlayRule,
) -> Vec<Region> {
    // Crossings are not drawn to ends farther off than a grid step. The library's own way of
    // splitting rings that touch themselves (its `ogc` option) turns some of the holes it splits
    // off the wrong way round in version 4.5: `regions_of` splits them here. It must leave points
    // on straight lines in place until then, for a ring may touch itself in one.
    let options =
        IntOverlayOptions { preserve_output_collinear: true, ..IntOverlayOptions::default() };
    // Its tree of edges, which it takes for many of them, goes round for ever where many rings
    // share edges (version 4.5).
    let solver =
        Solver { strategy: Strategy::List, precision: Precision::ABSOLUTE, multithreading: None };
    let mut overlay = Overlay::new_custom(256, options, solver);
    for (rings, kind) in [
        (&mut subject.into_iter() as &mut dyn Iterator<Item = &Ring>, ShapeType::Subject),
        (&mut clip.into_iter(), ShapeType::Clip),
    ] {
        for ring in rings {
            overlay.add_path_iter(ring.iter().map(to_grid), kind);
        }
    }
    overlay.overlay(rule, FillRule::NonZero).into_iter().flat_map(regions_of).collect()
}

/// The regions of one shape, its rings split where they touch themselves in a point.
fn regions_of(shape: Vec<Vec<IntPoint>>) -> Vec<Region> {
    let loops = shape.into_iter().flat_map(split_at_touches);
    let (outlines, holes): (Vec<Ring>, Vec<Ring>) = loops
        .map(|l| l.iter().map(from_grid).collect::<Ring>())
        .partition(|ring| ring_area(ring) > 0.0);
    let mut regions: Vec<Region> = outlines.into_iter().map(Region::solid).collect();
    for hole in holes {
        // The middle of an edge of a hole lies inside the outline even where its corners touch it.
        let [a, b, ..] = hole[..] else { continue };
        let around = |r: &&mut Region| ring_contains(&r.outline, (a + b) * 0.5);
        if let Some(region) = regions
            .iter_mut()
            .filter(around)
            .min_by(|r, s| ring_area(&r.outline).total_cmp(&ring_area(&s.outline)))
        {
            region.holes.push(hole);
        }
    }
    regions
}

/// A ring as loops that pass through no point twice, each begun at its lowest leftmost point and
/// without points on straight lines.
fn split_at_touches(ring: Vec<IntPoint>) -> Vec<Vec<IntPoint>> {
    let mut loops = Vec::new();
    let mut open: Vec<IntPoint> = Vec::with_capacity(ring.len());
    let mut place: BTreeMap<(i32, i32), usize> = BTreeMap::new();
    for p in ring {
        if let Some(&from) = place.get(&(p.x, p.y)) {
            let closed = open.split_off(from);
            for q in &closed {
                place.remove(&(q.x, q.y));
            }
            loops.push(closed);
        }
        place.insert((p.x, p.y), open.len());
        open.push(p);
    }
    loops.push(open);
    loops.into_iter().filter_map(tidy).collect()
}

fn tidy(mut ring: Vec<IntPoint>) -> Option<Vec<IntPoint>> {
    let mut i = 0;
    while ring.len() >= 3 && i < ring.len() {
        let n = ring.len();
        let (a, b, c) = (ring[(i + n - 1) % n], ring[i], ring[(i + 1) % n]);
        let wide = |p: i32, q: i32| i64::from(q) - i64::from(p);
        if wide(a.x, b.x) * wide(b.y, c.y) == wide(a.y, b.y) * wide(b.x, c.x) {
            ring.remove(i);
            i = i.saturating_sub(1);
        } else {
            i += 1;
        }
    }
    let first = (0..ring.len()).min_by_key(|&i| (ring[i].x, ring[i].y))?;
    ring.rotate_left(first);
    (ring.len() >= 3).then_some(ring)
}

/// Whole micrometres, held to ±1 km so that products of differences stay in range: a hundred times
/// the largest supported size is never met, but nothing may panic.
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

    /// A ply of twenty thousand points took half a minute to grow.
    #[test]
    fn very_many_parts_come_to_the_same_region_as_all_at_once() {
        let ring = |x: f64| square(x, 0.0, 30.0);
        let parts: Vec<Ring> =
            (0..9_000).map(|i| square(0.1 * f64::from(i), 20.0, 20.0 + f64::from(i % 7))).collect();
        let mut hole = square(10.0, 10.0, 15.0);
        hole.reverse();
        let rings = [ring(0.0), hole];
        let (once, grouped) =
            (union(rings.iter().chain(&parts)), union_with_parts(&rings, &parts, &|| false));
        let area = |regions: &[Region]| regions.iter().map(Region::area).sum::<f64>();
        assert_eq!((once.len(), once[0].holes.len()), (grouped.len(), grouped[0].holes.len()));
        assert!((area(&once) - area(&grouped)).abs() < 1e-6);
        let asked = std::sync::atomic::AtomicUsize::new(0);
        union_with_parts(&rings, &parts, &|| {
            asked.fetch_add(1, std::sync::atomic::Ordering::Relaxed);
            false
        });
        assert!(asked.into_inner() > 9_000 / NEIGHBOURS, "it looks whether to stop all along");
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

    /// A hole that touched the outline in a corner came back the wrong way round, and was lost.
    #[test]
    fn holes_that_touch_the_outline_or_each_other_stay_holes() {
        let cloth = square(0.0, 0.0, 100.0);
        let diamond = |x: f64, y: f64| {
            vec![point(x - 10.0, y), point(x, y - 10.0), point(x + 10.0, y), point(x, y + 10.0)]
        };
        // One touches the outline, the next touches it, a third stands alone.
        let taken = [diamond(10.0, 50.0), diamond(30.0, 50.0), diamond(70.0, 70.0)];
        let left = difference([&cloth], &taken);
        assert_eq!((left.len(), left[0].holes.len()), (1, 3));
        assert_eq!(left[0].outline.len(), 4);
        assert!(left[0].holes.iter().all(|h| ring_area(h) == -200.0));
        // From side to side they part the cloth.
        let taken: Vec<Ring> = (0..5).map(|k| diamond(10.0 + 20.0 * f64::from(k), 50.0)).collect();
        let left = difference([&cloth], &taken);
        assert_eq!(
            left.iter().map(|r| (r.area(), r.holes.len())).collect::<Vec<_>>(),
            vec![(4500.0, 0); 2]
        );
    }

    /// An outline that touched one of its own straight sides was not split there.
    #[test]
    fn an_outline_that_touches_its_own_side_is_split() {
        // A hook whose tip comes back to the side of its shank.
        let parts = [
            vec![point(0.0, 0.0), point(10.0, 0.0), point(10.0, 100.0), point(0.0, 100.0)],
            vec![point(10.0, 0.0), point(60.0, 0.0), point(60.0, 10.0), point(10.0, 10.0)],
            vec![point(50.0, 10.0), point(60.0, 10.0), point(60.0, 60.0), point(10.0, 50.0)],
        ];
        let hook = union(&parts);
        assert_eq!((hook.len(), hook[0].holes.len()), (1, 1));
        let mut corners: Vec<Point> = hook[0].outline.clone();
        corners.sort_by(|a, b| {
            (a.x, a.y).partial_cmp(&(b.x, b.y)).unwrap_or(std::cmp::Ordering::Equal)
        });
        corners.dedup();
        assert_eq!(corners.len(), hook[0].outline.len());
    }

    #[test]
    fn difference_and_intersection_share_the_area() {
        let (a, b) = (square(0.0, 0.0, 10.0), square(3.0, -1.0, 4.0));
        let area = |regions: Vec<Region>| regions.iter().map(Region::area).sum::<f64>();
        assert!((area(difference([&a], [&b])) - 88.0).abs() < 1e-9);
        assert!((area(intersection([&a], [&b])) - 12.0).abs() < 1e-9);
    }

    /// The library's tree of edges went round for ever: a layout without gaps of a thousand pieces
    /// was never measured.
    #[test]
    fn thousands_of_rings_that_share_edges_come_to_an_end() {
        // Columns of twelve tiles, every fifth of them five-cornered.
        let cloth =
            vec![point(0.0, 0.0), point(61_000.0, 0.0), point(61_000.0, 260.0), point(0.0, 260.0)];
        let kite = [(0.0, 0.0), (60.0, 0.0), (80.0, 10.0), (40.0, 20.0), (0.007, 18.0)];
        let tile = [(0.0, 0.0), (80.0, 0.0), (80.0, 20.0), (0.0, 20.0)];
        let ring = |k: usize| -> Ring {
            let corner = point(80.0 * (k / 12) as f64, 10.0 + 20.0 * (k % 12) as f64);
            let shape: &[(f64, f64)] = if k % 5 == 3 { &kite } else { &tile };
            shape.iter().map(|&(x, y)| corner + point(x, y)).collect()
        };
        let tiles: Vec<Ring> = (0..9_000).map(ring).collect();
        let taken: f64 = tiles.iter().map(|t| ring_area(t)).sum();
        let left: f64 = difference([&cloth], &tiles).iter().map(Region::area).sum();
        assert!((left - (61_000.0 * 260.0 - taken)).abs() < 1e-3, "{left}");
    }
}
