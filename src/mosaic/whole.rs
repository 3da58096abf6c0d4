//! Small offcuts as patches as they are: nothing is cut where all that is too much lies under
//! earlier patches.
//!
//! Only a patch with no later neighbour may be larger than it was drawn: its every edge lies under
//! others, so it may end anywhere below them, as long as no place gets a fourth patch. What is seen
//! stays the same.

use super::divide::Division;
use super::grow::{NOTHING, at_most_three};
use crate::geometry::boolean::{difference, intersection};
use crate::geometry::clip::contains;
use crate::geometry::{Bounds, Motion, Point, Region, point};
use crate::nest::{Extent, Placement, Shape, Stock};
use std::collections::BTreeMap;

/// Least share of an offcut that the patch it stands for takes: no less than other offcuts are
/// filled.
const LEAST: f64 = 0.65;
/// Places tried along either side of the room there is.
const STEPS: usize = 7;
/// More than the patch by this, mm on every side: what rounding may take.
const SPARE: f64 = 0.01;

/// Patches that are whole offcuts, by their index.
pub type Whole = BTreeMap<usize, Laid>;

/// A whole offcut in the place of a patch.
#[derive(Clone, Debug, PartialEq)]
pub struct Laid {
    /// As it lies in the target's frame, mm.
    pub region: Region,
    /// How the patch lies on the offcut; `stock` counts the offcuts given.
    pub placement: Placement,
}

/// Finds whole offcuts for patches, the smallest first.
pub fn lay_whole(
    division: &Division,
    target: &Region,
    patches: &[Shape],
    offcuts: &[Stock],
) -> Whole {
    let mut lying = division.patches.clone();
    let mut whole = Whole::new();
    let mut order: Vec<(f64, usize)> =
        offcuts.iter().enumerate().filter_map(|(k, o)| Some((plain(o)?.area(), k))).collect();
    order.sort_by(|a, b| a.0.total_cmp(&b.0));
    for (have, k) in order {
        let Some(offcut) = plain(&offcuts[k]) else {
            continue;
        };
        let late = (0..lying.len())
            .filter(|&i| !whole.contains_key(&i) && division.seams.iter().all(|s| s[0] != i));
        let mut like: Vec<(f64, usize)> = late
            .map(|i| (division.patches[i].area(), i))
            .filter(|(need, _)| *need < have && *need >= LEAST * have)
            .collect();
        // The patch that takes the most of it.
        like.sort_by(|a, b| b.0.total_cmp(&a.0));
        if let Some((i, laid)) = like.into_iter().find_map(|(_, i)| {
            Some((i, laid(i, k, offcut, division, target, &lying, &patches[i])?))
        }) {
            lying[i] = laid.region.clone();
            whole.insert(i, laid);
        }
    }
    whole
}

/// The outline of an offcut without holes and flaws.
fn plain(stock: &Stock) -> Option<&Region> {
    match &stock.extent {
        Extent::Fixed { region } if region.holes.is_empty() && stock.keep_out.is_empty() => {
            Some(region)
        }
        _ => None,
    }
}

/// The offcut as patch `i`, if there is a place for it.
fn laid(
    i: usize,
    stock: usize,
    offcut: &Region,
    division: &Division,
    target: &Region,
    lying: &[Region],
    patch: &Shape,
) -> Option<Laid> {
    let need = lying[i].bounds()?;
    for pose in &patch.poses {
        let onto = Motion::new(pose.turn, pose.flip, point(0.0, 0.0));
        let turned = onto.inverse().region(offcut);
        let Some(have) = turned.bounds() else {
            continue;
        };
        for by in places(have, need) {
            let region = Motion::new(0.0, false, by).region(&turned);
            if reaches_around(&region, &lying[i], target)
                && stays_hidden(i, &region, division, lying)
            {
                let at = (onto.apply(by) * -1.0).snapped();
                let placement = Placement {
                    shape: i,
                    copy: 0,
                    stock,
                    turn: pose.turn,
                    flip: pose.flip,
                    x: at.x,
                    y: at.y,
                };
                return Some(Laid { region, placement });
            }
        }
    }
    None
}

/// Shifts of a box that leave another inside it, those that share their middles first.
fn places(have: Bounds, need: Bounds) -> Vec<Point> {
    let room = |have: [f64; 2], need: [f64; 2]| {
        let (from, to) = (need[1] - have[1] + SPARE, need[0] - have[0] - SPARE);
        let at = |k: usize| from + (to - from) * k as f64 / (STEPS - 1) as f64;
        if from > to { Vec::new() } else { (0..STEPS).map(at).collect() }
    };
    let xs = room([have.min.x, have.max.x], [need.min.x, need.max.x]);
    let ys = room([have.min.y, have.max.y], [need.min.y, need.max.y]);
    let from_middle = |k: usize| (2 * k).abs_diff(STEPS - 1);
    let mut all: Vec<(usize, Point)> = Vec::new();
    for (i, x) in xs.iter().enumerate() {
        all.extend(
            ys.iter()
                .enumerate()
                .map(|(j, y)| (from_middle(i).max(from_middle(j)), point(*x, *y).snapped())),
        );
    }
    all.sort_by_key(|a| a.0);
    all.into_iter().map(|a| a.1).collect()
}

/// True if the offcut holds the patch and stays within the target.
fn reaches_around(offcut: &Region, patch: &Region, target: &Region) -> bool {
    let quickly = patch.outline.iter().all(|p| contains(offcut, *p))
        && offcut.outline.iter().all(|p| contains(target, *p));
    let beyond = |what: &Region, of: &Region| {
        difference(what.rings(), of.rings()).iter().map(Region::area).sum::<f64>()
    };
    quickly && beyond(patch, offcut) == 0.0 && beyond(offcut, target) == 0.0
}

/// True if nothing more of it is seen, and no place gets a fourth patch.
fn stays_hidden(i: usize, offcut: &Region, division: &Division, lying: &[Region]) -> bool {
    let seen = |j: usize| {
        intersection(offcut.rings(), division.seen[j].rings()).iter().map(Region::area).sum::<f64>()
    };
    if (i + 1..lying.len()).any(|j| seen(j) > NOTHING) {
        return false;
    }
    let mut with = lying.to_vec();
    with[i] = offcut.clone();
    at_most_three(&with)
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::super::divide::{Brief, divide};
    use super::*;
    use crate::nest::Pose;

    /// The pose of every patch here.
    const POSE: Pose = Pose { turn: 30.0, flip: true };

    struct Case {
        target: Region,
        division: Division,
        shapes: Vec<Shape>,
        /// A patch in the middle without a later neighbour.
        last: usize,
    }

    fn case() -> Case {
        let target = Region::solid(vec![
            point(0.0, 0.0),
            point(400.0, 0.0),
            point(400.0, 400.0),
            point(0.0, 400.0),
        ]);
        let division = divide(
            &Brief { target: target.clone(), size: [50.0, 105.0], lap: 10.0, seed: 3 },
            75.0,
        )
        .unwrap();
        let inside = |r: &Region| {
            r.bounds().is_some_and(|b| {
                b.min.x > 20.0 && b.min.y > 20.0 && b.max.x < 380.0 && b.max.y < 380.0
            })
        };
        let last = (0..division.patches.len())
            .filter(|&i| division.seams.iter().all(|s| s[0] != i) && inside(&division.patches[i]))
            .max_by(|&a, &b| division.patches[a].area().total_cmp(&division.patches[b].area()))
            .unwrap();
        let shape = |(i, region): (usize, &Region)| Shape {
            name: format!("patch {i}"),
            region: region.clone(),
            poses: vec![POSE],
            tolerance: 0.0,
            copies: 1,
            may_cross: false,
        };
        let shapes = division.patches.iter().enumerate().map(shape).collect();
        Case { target, division, shapes, last }
    }

    impl Case {
        /// The patch so many times as large across, as an offcut that lies as [`POSE`] wants it.
        fn offcut(&self, times: f64) -> Stock {
            let middle = self.division.middles[self.last];
            let ring = self.division.patches[self.last]
                .outline
                .iter()
                .map(|p| middle + (*p - middle) * times)
                .collect();
            let region =
                Motion::new(POSE.turn, POSE.flip, point(700.0, 90.0)).region(&Region::solid(ring));
            Stock { name: "offcut".into(), extent: Extent::Fixed { region }, keep_out: Vec::new() }
        }

        fn laid(&self, offcuts: &[Stock]) -> Whole {
            lay_whole(&self.division, &self.target, &self.shapes, offcuts)
        }
    }

    #[test]
    fn an_offcut_a_little_larger_than_a_late_patch_is_laid_whole() {
        let case = case();
        let offcuts = [case.offcut(1.09), case.offcut(1.06)];
        let Laid { region: lying, placement: p } = &case.laid(&offcuts)[&case.last];
        assert_eq!((p.shape, p.stock), (case.last, 1), "the smaller one that does");
        assert!(difference(case.division.patches[case.last].rings(), lying.rings()).is_empty());
        let on_stock = Motion::new(p.turn, p.flip, point(p.x, p.y)).region(lying);
        let Extent::Fixed { region } = &offcuts[1].extent else { unreachable!() };
        let same = |q: &Point| region.outline.iter().any(|r| r.distance(*q) < 0.003);
        assert!(
            on_stock.outline.len() == region.outline.len() && on_stock.outline.iter().all(same)
        );
    }

    #[test]
    fn an_offcut_that_would_be_seen_or_lie_four_thick_or_has_a_hole_is_not() {
        let case = case();
        let mut spiked = case.offcut(1.06);
        let mut holed = case.offcut(1.06);
        let mut flawed = case.offcut(1.06);
        let Extent::Fixed { region } = &mut spiked.extent else { unreachable!() };
        // One corner drawn out across the whole target.
        let middle = region.bounds().map(|b| (b.min + b.max) * 0.5).unwrap();
        region.outline[0] = middle + (region.outline[0] - middle) * 4.0;
        let small = vec![middle, middle + point(0.0, 5.0), middle + point(5.0, 0.0)];
        let Extent::Fixed { region } = &mut holed.extent else { unreachable!() };
        region.holes.push(small.clone());
        flawed.keep_out.push(small);
        let of_last = |offcut: Stock| case.laid(&[offcut]).contains_key(&case.last);
        assert!(of_last(case.offcut(1.06)));
        assert!(!of_last(spiked) && !of_last(holed) && !of_last(flawed));
    }
}
