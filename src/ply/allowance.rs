//! Cloth beyond the net line: every edge grows by its kind, holes shrink.

use super::Skin;
use crate::geometry::boolean::union_with_parts;
use crate::geometry::clearance::with_clearance;
use crate::geometry::offset::growth;
use crate::geometry::{Point, Region, Ring, point, ring_area, ring_contains};
use crate::outline::EdgeKind;

/// Slits narrower than this are closed, mm, so that the piece may be turned by any angle and
/// rounded again.
pub(super) const CLEARANCE: f64 = 0.01;

/// What is left of a drawn hole must be at least this large to be cut, mm². A gap smaller than this
/// is rounding.
const LEAST_HOLE: f64 = 1.0;

/// A gap that the allowance leaves where it closes a slot is cut only if it is at least this large,
/// mm²: a smaller one is filled (common practice, no source), unless a dart or a butt edge bounds
/// it, beyond which no cloth may lie.
pub(super) const LEAST_VOID: f64 = 100.0;

/// A ply with its allowances on.
#[derive(Clone, Debug)]
pub(super) struct Grown {
    /// Cut line and holes.
    pub region: Region,
    /// Holes that the allowance closes: their net lines, to be marked.
    pub closed: Vec<Ring>,
    /// Gaps too small to cut that came about where a slot closed.
    pub filled_gaps: usize,
}

/// Grows the trim edges of a skin by `trim` and the lap edges by `lap`, mm; butt edges and dart
/// legs stay; holes shrink by `trim`.
///
/// `None` if no region comes of it: an outline without area; or if `stop` says that nobody waits
/// for it.
pub(super) fn grow(
    skin: &Skin,
    trim: f64,
    lap: f64,
    stop: &(dyn Fn() -> bool + Sync),
) -> Option<Grown> {
    let amounts: Vec<f64> = skin
        .edges
        .iter()
        .map(|kind| match kind {
            EdgeKind::Trim => trim,
            EdgeKind::Lap => lap,
            EdgeKind::Butt | EdgeKind::Dart => 0.0,
        })
        .collect();
    let walls: Vec<&Ring> = skin.rings().collect();
    let mut parts = growth(&skin.net, &amounts, &walls, stop);
    for hole in &skin.holes {
        parts.extend(growth(hole, &vec![trim; hole.len()], &walls, stop));
    }
    if stop() {
        return None;
    }
    let regions = with_clearance(union_with_parts(skin.rings(), &parts, stop), CLEARANCE);
    // One region but for rounding: the growth of every edge touches the net.
    let mut region = regions.into_iter().max_by(|a, b| a.area().total_cmp(&b.area()))?;

    let net = |i: usize| [skin.net[i], skin.net[(i + 1) % skin.net.len()]];
    let still: Vec<[Point; 2]> =
        (0..amounts.len().min(skin.net.len())).filter(|&i| amounts[i] == 0.0).map(net).collect();
    let mut open = vec![false; skin.holes.len()];
    let mut filled_gaps = 0;
    region.holes.retain(|hole| {
        let area = -ring_area(hole);
        let drawn =
            just_inside(hole).and_then(|p| skin.holes.iter().position(|h| ring_contains(h, p)));
        match drawn {
            Some(i) => {
                let keep = area >= LEAST_HOLE;
                open[i] |= keep;
                keep
            }
            None => {
                let keep = area >= LEAST_VOID || area >= LEAST_HOLE && runs_along(hole, &still);
                filled_gaps += usize::from(area >= LEAST_HOLE && !keep);
                keep
            }
        }
    });
    let closed = skin
        .holes
        .iter()
        .zip(&open)
        .filter(|(_, open)| !**open)
        .map(|(hole, _)| hole.clone())
        .collect();
    Some(Grown { region, closed, filled_gaps })
}

/// True if the middle of a side of a hole lies on one of the edges, or that of an edge on a side.
fn runs_along(hole: &Ring, edges: &[[Point; 2]]) -> bool {
    let on = |[a, b]: [Point; 2], [c, d]: [Point; 2]| {
        ((a + b) * 0.5).distance_to_segment(c, d) < CLEARANCE
    };
    let sides = (0..hole.len()).map(|i| [hole[i], hole[(i + 1) % hole.len()]]);
    sides.into_iter().any(|side| edges.iter().any(|&edge| on(side, edge) || on(edge, side)))
}

/// A point in a hole, beside the middle of its longest side.
fn just_inside(hole: &Ring) -> Option<Point> {
    let side = |i: usize| (hole[i], hole[(i + 1) % hole.len()]);
    let length = |i: usize| side(i).0.distance(side(i).1);
    let longest = (0..hole.len()).max_by(|&i, &j| length(i).total_cmp(&length(j)))?;
    let (a, b) = side(longest);
    let along = (b - a) * (1.0 / a.distance(b).max(1e-9));
    Some((a + b) * 0.5 + point(along.y, -along.x) * 0.003)
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    fn skin(holes: Vec<Ring>, kinds: [EdgeKind; 4]) -> Skin {
        Skin {
            net: vec![point(0.0, 0.0), point(300.0, 0.0), point(300.0, 200.0), point(0.0, 200.0)],
            edges: kinds.to_vec(),
            holes,
            cuts: Vec::new(),
            marks: Vec::new(),
            no_splice: Vec::new(),
        }
    }

    fn hole(x: f64, y: f64, side: f64) -> Ring {
        vec![point(x, y), point(x, y + side), point(x + side, y + side), point(x + side, y)]
    }

    #[test]
    fn each_edge_grows_by_its_kind() {
        let grown = grow(
            &skin(Vec::new(), [EdgeKind::Trim, EdgeKind::Lap, EdgeKind::Butt, EdgeKind::Trim]),
            25.0,
            10.0,
            &|| false,
        )
        .unwrap();
        let bounds = grown.region.bounds().unwrap();
        assert_eq!((bounds.min, bounds.max), (point(-25.0, -25.0), point(310.0, 200.0)));
        assert_eq!(grown.region.outline.len(), 4);
    }

    #[test]
    fn a_hole_shrinks_by_the_trim_and_one_that_would_close_is_only_marked() {
        let (large, small) = (hole(40.0, 60.0, 80.0), hole(200.0, 60.0, 40.0));
        let grown =
            grow(&skin(vec![large, small.clone()], [EdgeKind::Trim; 4]), 25.0, 10.0, &|| false)
                .unwrap();
        assert_eq!(grown.closed, vec![small]);
        assert_eq!(grown.region.holes.len(), 1);
        assert!((ring_area(&grown.region.holes[0]) + 900.0).abs() < 1e-6);
        assert_eq!(grown.filled_gaps, 0);
    }

    #[test]
    fn without_allowance_the_cut_line_is_the_net_line() {
        let s = skin(vec![hole(40.0, 60.0, 5.0)], [EdgeKind::Trim; 4]);
        let grown = grow(&s, 0.0, 0.0, &|| false).unwrap();
        assert!((grown.region.area() - (60_000.0 - 25.0)).abs() < 1e-6);
        assert!(grown.closed.is_empty());
    }

    #[test]
    fn a_slot_that_closes_at_its_mouth_leaves_a_hole_if_it_is_worth_one() {
        // A keyhole: mouth 10 wide and 60 deep, widening to 90 x 90; trim 25 closes the mouth and
        // leaves 40 x 40 of the chamber.
        let mut s = skin(Vec::new(), [EdgeKind::Trim; 4]);
        s.net = vec![
            point(0.0, 0.0),
            point(300.0, 0.0),
            point(300.0, 200.0),
            point(155.0, 200.0),
            point(155.0, 140.0),
            point(195.0, 140.0),
            point(195.0, 50.0),
            point(105.0, 50.0),
            point(105.0, 140.0),
            point(145.0, 140.0),
            point(145.0, 200.0),
            point(0.0, 200.0),
        ];
        s.edges = vec![EdgeKind::Trim; 12];
        let grown = grow(&s, 25.0, 0.0, &|| false).unwrap();
        assert_eq!((grown.region.holes.len(), grown.filled_gaps), (1, 0));
        assert!((ring_area(&grown.region.holes[0]) + 1600.0).abs() < 1.0);
        let grown = grow(&s, 42.0, 0.0, &|| false).unwrap();
        assert_eq!((grown.region.holes.len(), grown.filled_gaps), (0, 1));
    }

    /// The allowance of the slot beside it closed the mouth of a narrow dart, and what was left of
    /// it was filled as too small to cut.
    #[test]
    fn a_dart_beside_a_slot_that_closes_stays_cut() {
        let mut s = skin(Vec::new(), [EdgeKind::Trim; 4]);
        // A slot 10 wide and 60 deep from the upper edge; a dart of 3 by 20 runs off it.
        s.net = vec![
            point(0.0, 0.0),
            point(300.0, 0.0),
            point(300.0, 200.0),
            point(155.0, 200.0),
            point(155.0, 181.5),
            point(175.0, 180.0),
            point(155.0, 178.5),
            point(155.0, 140.0),
            point(145.0, 140.0),
            point(145.0, 200.0),
            point(0.0, 200.0),
        ];
        s.edges = vec![EdgeKind::Trim; 11];
        (s.edges[4], s.edges[5]) = (EdgeKind::Dart, EdgeKind::Dart);
        let grown = grow(&s, 6.0, 0.0, &|| false).unwrap();
        // Nothing of the triangle of 30 mm² is covered.
        let dart: Ring = vec![point(155.0, 181.5), point(155.0, 178.5), point(175.0, 180.0)];
        let mut ply = vec![grown.region.outline.clone()];
        ply.extend(grown.region.holes.iter().cloned());
        let covered: f64 = crate::geometry::boolean::intersection([&dart], ply.iter())
            .iter()
            .map(Region::area)
            .sum();
        assert!(covered < 0.5, "{covered} mm² of the dart are covered");
        assert_eq!(grown.filled_gaps, 0);
    }
}
