//! From cells to patches: each grown under its earlier neighbours and cut to the target; and what
//! must hold then.

use super::diagram::{Cell, HalfPlane, stretches};
use crate::geometry::boolean::{difference, intersection};
use crate::geometry::{Bounds, Region, Ring, point, ring_bounds};
use std::collections::BTreeMap;

/// Added to every growth, mm: patches are rounded to the grid, and turned before that.
const SPARE: f64 = 0.01;
/// Areas smaller than this are rounding, mm².
pub(super) const NOTHING: f64 = 0.02;

/// The patches, cell by cell; `None` if one falls apart.
pub(super) fn patches(
    cells: &[Cell],
    target: &Region,
    rank: &[usize],
    lap: f64,
    growths: &BTreeMap<(usize, usize), f64>,
) -> Option<Vec<Region>> {
    (0..cells.len()).map(|i| patch(i, cells, target, rank, lap, growths)).collect()
}

fn patch(
    i: usize,
    cells: &[Cell],
    target: &Region,
    rank: &[usize],
    lap: f64,
    growths: &BTreeMap<(usize, usize), f64>,
) -> Option<Region> {
    let own = &cells[i];
    let b = ring_bounds(&own.ring)?;
    let margin = point(4.0 * lap, 4.0 * lap);
    let mut grown = Cell::world(Bounds { min: b.min - margin, max: b.max + margin });
    let n = own.ring.len();
    let shift = |k: usize| match own.across[k] {
        Some(j) if rank[j] < rank[i] => lap * growths.get(&(i, j)).copied().unwrap_or(1.0) + SPARE,
        _ => 0.0,
    };
    let outward = |k: usize| {
        let along = own.ring[(k + 1) % n] - own.ring[k];
        point(along.y, -along.x) * (1.0 / along.length().max(1e-12))
    };
    for k in 0..n {
        let normal = outward(k);
        grown.cut(HalfPlane { normal, reach: normal.dot(own.ring[k]) + shift(k) }, own.across[k]);
        // Between two grown edges the corner is cut off where the lap ends.
        let before = (k + n - 1) % n;
        let middle = normal + outward(before);
        // A sharp corner keeps more, so that what it gives in place of the patch above is not cut
        // off.
        let by = shift(k).max(shift(before)) / middle.length().clamp(0.5, 1.0);
        if shift(k) > 0.0 && shift(before) > 0.0 && middle.length() > 1e-6 {
            let normal = middle * (1.0 / middle.length());
            grown.cut(HalfPlane { normal, reach: normal.dot(own.ring[k]) + by }, None);
        }
    }
    let ring: Ring = grown.ring.iter().map(|p| p.snapped()).collect();
    one_region(intersection([&ring], target.rings()))
}

/// The only region that is more than rounding.
fn one_region(mut regions: Vec<Region>) -> Option<Region> {
    regions.retain(|r| r.area() > NOTHING);
    if regions.len() == 1 { regions.pop() } else { None }
}

/// What is seen of each patch: its cell cut to the target.
pub(super) fn seen(cells: &[Cell], target: &Region) -> Option<Vec<Region>> {
    cells
        .iter()
        .map(|c| {
            let ring: Ring = c.ring.iter().map(|p| p.snapped()).collect();
            one_region(intersection([&ring], target.rings()))
        })
        .collect()
}

/// True if no patch comes out from under the earlier ones where another should be seen.
pub(super) fn keeps_under(patches: &[Region], seen: &[Region], rank: &[usize]) -> bool {
    let boxes: Vec<Option<Bounds>> = patches.iter().map(Region::bounds).collect();
    (0..patches.len()).all(|i| {
        (0..seen.len()).filter(|&j| rank[j] > rank[i] && meet(boxes[i], seen[j].bounds())).all(
            |j| {
                let common = intersection(patches[i].rings(), seen[j].rings());
                common.iter().map(Region::area).sum::<f64>() < NOTHING + 0.004 * length(&seen[j])
            },
        )
    })
}

fn length(region: &Region) -> f64 {
    region
        .rings()
        .map(|r| (0..r.len()).map(|i| r[i].distance(r[(i + 1) % r.len()])).sum::<f64>())
        .sum()
}

fn meet(a: Option<Bounds>, b: Option<Bounds>) -> bool {
    let (Some(a), Some(b)) = (a, b) else {
        return false;
    };
    a.min.x <= b.max.x && b.min.x <= a.max.x && a.min.y <= b.max.y && b.min.y <= a.max.y
}

/// True if nowhere more than three patches lie on each other.
pub(super) fn at_most_three(patches: &[Region]) -> bool {
    let boxes: Vec<Option<Bounds>> = patches.iter().map(Region::bounds).collect();
    let later = |k: usize, all: &[Region]| -> Vec<(usize, Vec<Region>)> {
        let from = all.iter().filter_map(Region::bounds).collect::<Vec<_>>();
        (k + 1..patches.len())
            .filter(|&l| from.iter().any(|b| meet(Some(*b), boxes[l])))
            .map(|l| (l, intersection(all.iter().flat_map(Region::rings), patches[l].rings())))
            .filter(|(_, common)| common.iter().map(Region::area).sum::<f64>() > NOTHING)
            .collect()
    };
    (0..patches.len()).all(|i| {
        later(i, std::slice::from_ref(&patches[i]))
            .iter()
            .all(|(j, two)| later(*j, two).iter().all(|(k, three)| later(*k, three).is_empty()))
    })
}

/// True if all cloth within a lap of a seam lies on other patches too.
pub(super) fn keeps_lap(
    cells: &[Cell],
    patches: &[Region],
    rank: &[usize],
    lap: f64,
    target: &Region,
) -> bool {
    let boxes: Vec<Option<Bounds>> = patches.iter().map(Region::bounds).collect();
    (0..cells.len()).all(|i| {
        let later = cells[i].edges().filter(|(_, _, j)| j.is_some_and(|j| rank[j] > rank[i]));
        later.flat_map(|(a, b, _)| stretches(a, b, target)).all(|[a, b]| {
            let along = (b - a) * (1.0 / a.distance(b).max(1e-9));
            let inward = point(-along.y, along.x) * (lap - 0.002);
            let strip: Ring = [a, b, b + inward, a + inward].iter().map(|p| p.snapped()).collect();
            let near = ring_bounds(&strip);
            let own = intersection([&strip], patches[i].rings());
            let others = (0..patches.len())
                .filter(|&k| k != i && meet(near, boxes[k]))
                .flat_map(|k| patches[k].rings());
            difference(own.iter().flat_map(Region::rings), others)
                .iter()
                .map(Region::area)
                .sum::<f64>()
                < NOTHING
        })
    })
}

/// True if the patches cover the target.
pub(super) fn covers(patches: &[Region], target: &Region) -> bool {
    let left = difference(target.rings(), patches.iter().flat_map(Region::rings));
    left.iter().map(Region::area).sum::<f64>() < NOTHING
}
