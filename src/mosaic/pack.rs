//! Patches on offcuts: which offcuts are opened, and what lies where on them.
//!
//! The joint search of [`crate::assign`] is given a price for opening an offcut that only a well filled one is worth. What it leaves is
//! tried again at a lower price, on what is left of the opened offcuts and on the others.

use crate::assign::assign;
use crate::fault::Faults;
use crate::geometry::boolean::union;
use crate::geometry::offset::growth;
use crate::geometry::{Motion, Region, Ring, point};
use crate::nest::{Extent, Limits, Params, Placement, Pose, Problem, Shape, Stock, Stop};
use std::time::{Duration, Instant};

/// Prices of opening an offcut, as shares of its area, round by round.
const PRICES: [f64; 4] = [0.80, 0.72, 0.5, 0.0];
/// The assignment counts opening in ten-thousandths of a mm².
const PER_MM2: f64 = 1e4;
/// How much dearer the largest offcut is than a tiny one: large ones stay whole.
const LARGE: f64 = 0.12;

/// Patches on their offcuts.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Packed {
    /// Where each patch lies; those without a place are not here. `stock` counts the offcuts given.
    pub placements: Vec<Placement>,
    /// Area of the patches placed, mm².
    pub placed_area: f64,
    /// Area of the offcuts opened, flaws and holes not counted, mm².
    pub opened_area: f64,
}

impl Packed {
    /// Share of the opened offcuts that is taken, 0 to 1.
    pub fn fill(&self) -> f64 {
        if self.opened_area > 0.0 { self.placed_area / self.opened_area } else { 0.0 }
    }
}

/// The ways a patch of a direction may lie: its warp along +x, `slack` degrees to either side, at every turn that looks alike (`modulo`
/// degrees apart) and, if allowed, face down.
pub fn poses(direction: f64, slack: f64, modulo: f64, face_down: bool) -> Vec<Pose> {
    let tenths = |d: f64| (d * 10.0).round() / 10.0;
    let slack = (slack * 10.0 - 1e-6).floor() / 10.0;
    let mut off = vec![0.0];
    let steps = if slack >= 4.0 { 2 } else { usize::from(slack >= 0.4) };
    for k in 1..=steps {
        let by = (slack * k as f64 / steps as f64 * 10.0).floor() / 10.0;
        off.extend([by, -by]);
    }
    let mut out = Vec::new();
    for flip in [false, true].into_iter().filter(|f| !f || face_down) {
        for turn in 0..(360.0 / modulo).round() as u32 {
            let base = f64::from(turn) * modulo - direction;
            out.extend(off.iter().map(|o| Pose { turn: tenths((base + o).rem_euclid(360.0)) % 360.0, flip }));
        }
    }
    out
}

/// Places patches on offcuts (closed stocks) so that the opened ones are well filled, the small before the large.
///
/// # Errors
/// Patches or offcuts without area, a negative gap.
pub fn pack(patches: &[Shape], offcuts: &[Stock], gap: f64, params: &Params, limits: &Limits<'_>, seed: u64) -> Result<Packed, Faults> {
    let area: Vec<f64> = offcuts.iter().map(area).collect();
    let largest = area.iter().copied().fold(1.0, f64::max);
    let mut packed = Packed::default();
    let mut opened = vec![false; offcuts.len()];
    let mut taken: Vec<Vec<Ring>> = vec![Vec::new(); offcuts.len()];
    let start = Instant::now();
    for (round, price) in PRICES.iter().enumerate() {
        let missing: Vec<usize> = (0..patches.len()).filter(|i| !packed.placements.iter().any(|p| p.shape == *i)).collect();
        if missing.is_empty() || offcuts.is_empty() {
            break;
        }
        let shapes: Vec<Shape> = missing.iter().map(|&i| patches[i].clone()).collect();
        let mut stocks: Vec<Stock> = Vec::new();
        for (stock, taken) in offcuts.iter().zip(&taken) {
            stocks.push(Stock { keep_out: stock.keep_out.iter().chain(taken).cloned().collect(), ..stock.clone() });
        }
        let cost: Vec<f64> = (0..offcuts.len())
            .map(|k| if opened[k] { 0.0 } else { area[k] * (price * (1.0 + LARGE * area[k] / largest) * PER_MM2 + 1.0) })
            .collect();
        // An endless roll beside them: what finds no offcut is not worth any price.
        stocks.push(Stock {
            name: String::new(),
            extent: Extent::Open { low: 0.0, high: 1e4, segment_max: None, length_max: None },
            keep_out: Vec::new(),
        });
        let stop = match limits.stop {
            // Half of what is left for the first rounds, all for the last.
            Stop::After(all) => {
                let left = all.saturating_sub(start.elapsed());
                Stop::After(if round + 1 == PRICES.len() { left } else { left.mul_f64(0.5) }.max(Duration::from_millis(50)))
            }
            effort => effort,
        };
        let problem = Problem::new(shapes, stocks, gap)?;
        let found = assign(&problem, &cost, params, &Limits { stop, ..*limits }, seed.wrapping_add(round as u64), 1);
        for p in found.into_iter().next().map(|a| a.placements).unwrap_or_default() {
            let shape = missing[p.shape];
            let placed = Motion::new(p.turn, p.flip, point(p.x, p.y)).region(&patches[shape].region);
            packed.placed_area += placed.area();
            taken[p.stock].push(grown(&placed, gap));
            if !opened[p.stock] {
                opened[p.stock] = true;
                packed.opened_area += area[p.stock];
            }
            packed.placements.push(Placement { shape, ..p });
        }
    }
    packed.placements.sort_by_key(|p| p.shape);
    Ok(packed)
}

fn area(stock: &Stock) -> f64 {
    match &stock.extent {
        Extent::Fixed { region } => region.area(),
        Extent::Open { .. } => 0.0,
    }
}

/// The outline with the gap around it.
fn grown(region: &Region, gap: f64) -> Ring {
    let ring = &region.outline;
    let parts = growth(ring, &vec![gap; ring.len()], &[ring]);
    let all = union(std::iter::once(ring).chain(&parts));
    all.into_iter().max_by(|a, b| a.area().total_cmp(&b.area())).map_or_else(|| ring.clone(), |r| r.outline)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_quarter_turn_looks_alike_only_where_it_should() {
        let turns = |p: Vec<Pose>| p.into_iter().map(|p| p.turn).collect::<Vec<_>>();
        assert_eq!(turns(poses(30.0, 0.0, 90.0, false)), vec![330.0, 60.0, 150.0, 240.0]);
        assert_eq!(turns(poses(30.0, 2.0, 180.0, false)), vec![330.0, 332.0, 328.0, 150.0, 152.0, 148.0]);
        assert_eq!(poses(0.0, 0.0, 90.0, true).len(), 8);
    }
}
