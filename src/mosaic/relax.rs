//! Sites moved about until every cell is a believable patch: of the size asked for, not a sliver,
//! its seams long enough.
//!
//! Method: sites at random but apart, one step towards the middle of their cells, weights at
//! random; then one site at a time is moved or its weight changed, and the change kept if the cells
//! around it do not get worse (simulated annealing at a low temperature). It stops as soon as
//! nothing is wrong, so that what chance made irregular stays so.

use super::diagram::{Cell, HalfPlane, Site, cell, stretches};
use super::random::Random;
use crate::geometry::clip::contains;
use crate::geometry::{Bounds, Point, Region, Ring, point, ring_area, ring_contains};

/// Corners where seams meet are no sharper and no blunter, degrees: a blunter one leaves the lap
/// beside it to the patch below.
const CORNERS: [f64; 2] = [48.0, 150.0];
/// Least roundness, 4π area / perimeter²: a square has 0.785, a rectangle of 1 by 3 has 0.589.
const LEAST_ROUND: f64 = 0.62;
/// How much longer than the least a seam is made.
const SPARE: f64 = 1.08;
/// Changes tried for every cell.
const TRIES: usize = 700;
/// Cells whose sites lie within so many patch sizes of a change are looked at again.
const AROUND: f64 = 3.2;

/// What the cells must be like.
#[derive(Clone, Copy, Debug)]
pub(super) struct Wanted<'a> {
    pub target: &'a Region,
    /// Side of a square as large as a patch, from and to, mm.
    pub size: [f64; 2],
    /// No seam is shorter, mm.
    pub seam: f64,
}

/// Sites whose cells keep every wish, or the best that came, and what is wrong with them (0 if
/// nothing).
pub(super) fn relax(
    wanted: &Wanted<'_>,
    count: usize,
    random: &mut Random,
) -> (Vec<Site>, Vec<Cell>, f64) {
    let b = wanted.target.bounds().unwrap_or(Bounds { min: point(0.0, 0.0), max: point(0.0, 0.0) });
    let margin = point(wanted.size[1], wanted.size[1]) * 4.0;
    let world = Bounds { min: b.min - margin, max: b.max + margin };
    let mean = (wanted.target.area() / count.max(1) as f64).sqrt();
    let mut sites = scattered(wanted.target, b, count, mean, random);
    let mut cells: Vec<Cell> = (0..sites.len()).map(|i| cell(i, &sites, world)).collect();
    for (site, c) in sites.iter_mut().zip(&cells) {
        let ring = clipped(&wanted.target.outline, c);
        site.at = site.at + (centroid(&ring) - site.at) * 0.6;
        site.weight = random.between(-0.12, 0.12) * mean * mean;
    }
    cells = (0..sites.len()).map(|i| cell(i, &sites, world)).collect();
    let mut wrong: Vec<f64> = cells.iter().map(|c| fault(c, wanted)).collect();
    let tries = TRIES * sites.len();
    for turn in 0..tries {
        let bad: Vec<usize> = (0..sites.len()).filter(|&i| wrong[i] > 0.0).collect();
        if bad.is_empty() {
            break;
        }
        let mut i = bad[random.below(bad.len())];
        if random.unit() < 0.5 {
            let beside: Vec<usize> = cells[i].across.iter().flatten().copied().collect();
            i = beside.get(random.below(beside.len())).copied().unwrap_or(i);
        }
        let before = sites[i];
        let step = mean * 0.25 * random.unit() * random.unit() + 0.5;
        if random.unit() < 0.75 {
            sites[i].at =
                before.at + point(random.between(-step, step), random.between(-step, step));
        } else {
            sites[i].weight = before.weight + random.between(-step, step) * mean * 0.5;
        }
        let reach = AROUND * mean;
        let touched: Vec<usize> =
            (0..sites.len()).filter(|&j| sites[j].at.distance(before.at) < reach).collect();
        let new: Vec<(usize, Cell, f64)> = touched
            .into_iter()
            .filter_map(|j| {
                let c = cell(j, &sites, world);
                // What did not change need not be looked at.
                (c != cells[j]).then(|| {
                    let f = fault(&c, wanted);
                    (j, c, f)
                })
            })
            .collect();
        let change: f64 = new.iter().map(|(j, _, f)| f - wrong[*j]).sum();
        let heat = 0.04 * (1.0 - turn as f64 / tries as f64);
        if change <= 0.0 || random.unit() < libm::exp(-change / heat.max(1e-9)) {
            for (j, c, f) in new {
                cells[j] = c;
                wrong[j] = f;
            }
        } else {
            sites[i] = before;
        }
    }
    let all = wrong.iter().sum();
    (sites, cells, all)
}

/// Sites in the target, each the best of a few at random: the one farthest from the others.
fn scattered(
    target: &Region,
    b: Bounds,
    count: usize,
    mean: f64,
    random: &mut Random,
) -> Vec<Site> {
    let mut sites: Vec<Site> = Vec::new();
    for _ in 0..count {
        let mut best: Option<(f64, Point)> = None;
        let mut looks = 0;
        for _ in 0..400 {
            let p = point(random.between(b.min.x, b.max.x), random.between(b.min.y, b.max.y));
            if !contains(target, p) {
                continue;
            }
            let far = sites.iter().map(|s| s.at.distance(p)).fold(4.0 * mean, f64::min);
            if best.is_none_or(|(f, _)| far > f) {
                best = Some((far, p));
            }
            looks += 1;
            if looks == 8 {
                break;
            }
        }
        sites.extend(best.map(|(_, at)| Site { at, weight: 0.0 }));
    }
    sites
}

/// How far a cell is from a believable patch: 0 if nothing is wrong.
fn fault(c: &Cell, wanted: &Wanted<'_>) -> f64 {
    if c.ring.len() < 3 {
        return 100.0;
    }
    let mut sum = 0.0;
    let mut whole = true;
    let mut seams = 0.0;
    let least = SPARE * wanted.seam;
    for (a, b, j) in c.edges() {
        let inside = stretches(a, b, wanted.target);
        whole &= j.is_some() && inside.len() == 1 && inside[0][0] == a && inside[0][1] == b;
        // A seam in two parts is a patch in two parts, or one around a hole.
        sum += 2.0 * inside.len().saturating_sub(1) as f64;
        for s in inside {
            let long = s[0].distance(s[1]);
            let short = (least - long).max(0.0) / least;
            sum += 4.0 * short * short;
            seams += long;
        }
    }
    for (k, &v) in c.ring.iter().enumerate() {
        let n = c.ring.len();
        if ring_contains(&wanted.target.outline, v) {
            let angle = corner(c.ring[(k + n - 1) % n], v, c.ring[(k + 1) % n]);
            let off = (CORNERS[0] - angle).max(angle - CORNERS[1]).max(0.0) / 20.0;
            sum += off * off;
        }
    }
    let parts: Vec<Ring> = if whole {
        vec![c.ring.clone()]
    } else {
        wanted.target.rings().map(|r| clipped(r, c)).collect()
    };
    let area: f64 = parts.iter().map(|r| ring_area(r)).sum();
    let perimeter: f64 = parts.iter().map(|r| length(r)).sum();
    if !whole {
        // A patch that comes to the target's edge comes to it with more than a tip.
        let tip = (least - (perimeter - seams)).max(0.0) / least;
        sum += 4.0 * tip * tip;
    }
    let side = area.max(0.0).sqrt();
    let off = ((wanted.size[0] - side) / wanted.size[0])
        .max((side - wanted.size[1]) / wanted.size[1])
        .max(0.0);
    let round = 4.0 * std::f64::consts::PI * area / (perimeter * perimeter).max(1e-9);
    let thin = (LEAST_ROUND - round).max(0.0);
    sum + 30.0 * off * off + 3.0 * off + 30.0 * thin * thin + 2.0 * thin
}

/// Inner angle at `v`, degrees.
pub(super) fn corner(before: Point, v: Point, after: Point) -> f64 {
    let (u, w) = (after - v, before - v);
    libm::atan2(u.cross(w), u.dot(w)).to_degrees().rem_euclid(360.0)
}

/// A ring cut to a convex cell, by Sutherland and Hodgman (1974, from memory): parts may hang
/// together by edges without width, which count for nothing in the area.
fn clipped(ring: &Ring, cell: &Cell) -> Ring {
    let mut out = Cell { across: vec![None; ring.len()], ring: ring.clone() };
    for (a, b, j) in cell.edges() {
        if j.is_none() {
            continue;
        }
        let along = b - a;
        let normal = point(along.y, -along.x);
        out.cut(HalfPlane { normal, reach: normal.dot(a) }, None);
        if out.ring.is_empty() {
            break;
        }
    }
    out.ring
}

fn length(ring: &[Point]) -> f64 {
    (0..ring.len()).map(|i| ring[i].distance(ring[(i + 1) % ring.len()])).sum()
}

/// Centre of mass of a ring.
pub(super) fn centroid(ring: &[Point]) -> Point {
    let Some(&o) = ring.first() else {
        return point(0.0, 0.0);
    };
    let (mut sum, mut twice) = (point(0.0, 0.0), 0.0);
    for i in 0..ring.len() {
        let (a, b) = (ring[i] - o, ring[(i + 1) % ring.len()] - o);
        let cross = a.cross(b);
        sum = sum + (a + b) * cross;
        twice += cross;
    }
    if twice.abs() < 1e-12 { o } else { o + sum * (1.0 / (3.0 * twice)) }
}
