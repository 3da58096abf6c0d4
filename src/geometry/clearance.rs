//! Boundaries kept apart, so that a region stays simple when it is turned and put on the grid once
//! more.
//!
//! Where two parallel cuts nearly coincide a union leaves slits and necks of a micrometre; turned
//! by an odd angle and rounded, their sides would cross. Nobody cuts to a hundredth of a
//! millimetre: slits are closed and necks widened to that.

use super::boolean::union;
use super::point::{Point, point};
use super::region::{Region, Ring};

/// Edges shorter than this are drawn together, mm: rounding may move each end by 0.7 µm.
const SHORT: f64 = 0.003;

/// Passes after which the region is taken as it is.
const PASSES: usize = 4;

/// The regions with a small square added wherever a corner lies nearer than `least` mm to an edge
/// that does not end in it, and without edges of a few micrometres. They grow by at most `least`,
/// nowhere shrink by more than a few micrometres, and may get tiny holes where a slit closes at its
/// mouth.
pub fn with_clearance(mut regions: Vec<Region>, least: f64) -> Vec<Region> {
    for _ in 0..PASSES {
        for region in &mut regions {
            region.outline = without_spikes(without_short_edges(&region.outline));
            region.holes.iter_mut().for_each(|h| *h = without_spikes(without_short_edges(h)));
            region.holes.retain(|h| h.len() >= 3);
        }
        regions.retain(|r| r.outline.len() >= 3);
        let squares: Vec<Ring> =
            near_misses(&regions, least).into_iter().map(|p| square(p, least)).collect();
        if squares.is_empty() {
            break;
        }
        regions = union(regions.iter().flat_map(Region::rings).chain(&squares));
    }
    regions
}

fn square(p: Point, half: f64) -> Ring {
    vec![
        p + point(-half, -half),
        p + point(half, -half),
        p + point(half, half),
        p + point(-half, half),
    ]
}

/// Corners nearer than `least` to an edge of any ring that does not end in them.
fn near_misses(regions: &[Region], least: f64) -> Vec<Point> {
    let rings: Vec<&Ring> = regions.iter().flat_map(Region::rings).collect();
    let mut corners: Vec<(Point, usize, usize)> = Vec::new();
    for (r, ring) in rings.iter().enumerate() {
        corners.extend(ring.iter().enumerate().map(|(k, &p)| (p, r, k)));
    }
    corners.sort_by(|a, b| a.0.x.total_cmp(&b.0.x));
    let mut found = Vec::new();
    for (r, ring) in rings.iter().enumerate() {
        let n = ring.len();
        for (i, &a) in ring.iter().enumerate() {
            let b = ring[(i + 1) % n];
            let (left, right) = (a.x.min(b.x) - least, a.x.max(b.x) + least);
            let (low, high) = (a.y.min(b.y) - least, a.y.max(b.y) + least);
            let from = corners.partition_point(|(p, ..)| p.x < left);
            for &(p, of, k) in corners[from..].iter().take_while(|(p, ..)| p.x <= right) {
                if p.y < low
                    || p.y > high
                    || (of == r && (k == i || k == (i + 1) % n))
                    || p.distance_to_segment(a, b) >= least
                {
                    continue;
                }
                // The far end of a short edge is near the next edge by right.
                let next_to_short = of == r
                    && ((k + 1) % n == i && p.distance(a) < least
                        || k == (i + 2) % n && p.distance(b) < least);
                if !next_to_short {
                    found.push(p);
                }
            }
        }
    }
    found
}

/// The ring with edges of a few micrometres drawn together, leaving out of their two ends the one
/// that loses least.
fn without_short_edges(ring: &Ring) -> Ring {
    let mut ring = ring.clone();
    let mut i = 0;
    while i < ring.len() && ring.len() > 2 {
        let n = ring.len();
        let at = |k: usize| ring[(i + k) % n];
        if at(0).distance(at(1)) >= SHORT {
            i += 1;
            continue;
        }
        // Of an inward corner nothing is lost.
        let lost = |a: Point, b: Point, c: Point| (b - a).cross(c - b);
        let (first, second) = (lost(at(n - 1), at(0), at(1)), lost(at(0), at(1), at(2)));
        ring.remove(if first <= second { i } else { (i + 1) % n });
        i = i.saturating_sub(2);
    }
    ring
}

/// The ring without corners where it folds back on itself: slivers thinner than a few micrometres,
/// of cloth or of nothing.
fn without_spikes(mut ring: Ring) -> Ring {
    let mut i = 0;
    while i < ring.len() && ring.len() > 2 {
        let n = ring.len();
        let (a, b, c) = (ring[(i + n - 1) % n], ring[i], ring[(i + 1) % n]);
        let folds = (a - b).dot(c - b) > 0.0
            && a.distance_to_segment(b, c).min(c.distance_to_segment(a, b)) < SHORT;
        if folds {
            ring.remove(i);
            i = i.saturating_sub(1);
        } else {
            i += 1;
        }
    }
    ring
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_slit_of_a_micrometre_is_closed() {
        let slit = vec![
            point(0.0, 0.0),
            point(50.0, 0.0),
            point(50.0, 10.0),
            point(50.001, 0.0),
            point(100.0, 0.0),
            point(100.0, 40.0),
            point(0.0, 40.0),
        ];
        let mut sound = with_clearance(vec![Region::solid(slit)], 0.01);
        assert_eq!(sound.len(), 1);
        sound[0].holes.clear();
        assert!((sound[0].area() - 4000.0).abs() < 0.01);
        assert!(
            sound[0].outline.iter().all(|p| p.y < 0.001 || p.y > 39.0),
            "{:?}",
            sound[0].outline
        );
    }

    #[test]
    fn what_has_clearance_is_left_alone() {
        let ring = vec![
            point(0.0, 0.0),
            point(50.0, 0.0),
            point(50.5, 10.0),
            point(51.0, 0.0),
            point(100.0, 0.0),
            point(30.0, 40.0),
        ];
        assert_eq!(
            with_clearance(vec![Region::solid(ring.clone())], 0.01),
            vec![Region::solid(ring)]
        );
    }

    #[test]
    fn edges_of_a_micrometre_are_drawn_together() {
        let ring = vec![point(0.0, 0.0), point(50.0, 0.0), point(50.001, 0.001), point(50.0, 40.0)];
        assert_eq!(without_short_edges(&ring).len(), 3);
    }

    /// Turned and put on the grid again, the fold crossed itself.
    #[test]
    fn a_fold_of_less_than_a_micrometre_is_taken_out() {
        let folded = vec![
            point(0.0, 0.0),
            point(368.315, 20.0),
            point(368.315, 3.643),
            point(368.325, 3.643),
            point(229.183, 0.0),
        ];
        let ring = without_spikes(folded.clone());
        assert_eq!(ring, [&folded[..3], &folded[4..]].concat());
        assert_eq!(without_spikes(ring.clone()), ring);
    }
}
