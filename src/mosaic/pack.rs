//! Patches on offcuts: which offcuts are opened, and what lies where on them.
//!
//! The joint search of [`crate::assign`] is given a price for opening an offcut that only a well filled one is worth. What it leaves is
//! tried again at a lower price, on what is left of the opened offcuts and on the others.

use super::dice::Dice;
use crate::assign::assign;
use crate::fault::Faults;
use crate::geometry::boolean::union;
use crate::geometry::offset::growth;
use crate::geometry::{Motion, Region, Ring, point};
use crate::nest::{Extent, Limits, Params, Placement, Pose, Problem, Shape, Stock, Stop};
use std::sync::atomic::Ordering;
use std::time::{Duration, Instant};

/// Prices of opening an offcut, as shares of its area, round by round.
const PRICES: [f64; 4] = [0.76, 0.66, 0.5, 0.0];
/// Rounds of emptying offcuts, at the most.
const TRADES: u64 = 60;
/// Offcuts filled so well are left alone.
const FULL: f64 = 0.76;
/// Longest single search.
const LONGEST: Duration = Duration::from_millis(1500);
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
    let start = Instant::now();
    let mut run = Run { patches, offcuts, area, gap, params, limits, seed, packed: Packed::default() };
    for (round, price) in PRICES.iter().enumerate() {
        let missing: Vec<usize> = (0..patches.len()).filter(|i| !run.packed.placements.iter().any(|p| p.shape == *i)).collect();
        if missing.is_empty() || offcuts.is_empty() {
            break;
        }
        let share = if round + 1 == PRICES.len() { 0.5 } else { 0.3 };
        let found = run.share_out(&missing, &|_| true, *price, part(limits.stop, start, share))?;
        run.packed.placements.extend(found);
        run.measure();
    }
    // Then a few offcuts at a time are emptied, and their patches shared out anew over them and all that are not opened.
    for trade in 0..TRADES {
        if run.packed.fill() >= FULL
            || limits.cancel.load(Ordering::Relaxed)
            || matches!(limits.stop, Stop::After(all) if start.elapsed() >= all)
        {
            break;
        }
        run.trade(trade, part(limits.stop, start, 0.12))?;
    }
    run.packed.placements.sort_by_key(|p| p.shape);
    Ok(run.packed)
}

/// A share of the time that is left, or one round of effort.
fn part(stop: Stop, start: Instant, share: f64) -> Stop {
    match stop {
        Stop::After(all) => Stop::After(all.saturating_sub(start.elapsed()).mul_f64(share).clamp(Duration::from_millis(40), LONGEST)),
        Stop::Effort(_) => Stop::Effort(1),
    }
}

struct Run<'a> {
    patches: &'a [Shape],
    offcuts: &'a [Stock],
    area: Vec<f64>,
    gap: f64,
    params: &'a Params,
    limits: &'a Limits<'a>,
    seed: u64,
    packed: Packed,
}

impl Run<'_> {
    fn opened(&self, k: usize) -> bool {
        self.packed.placements.iter().any(|p| p.stock == k)
    }

    fn measure(&mut self) {
        self.packed.placed_area = self.packed.placements.iter().map(|p| self.patches[p.shape].region.area()).sum();
        self.packed.opened_area = (0..self.offcuts.len()).filter(|&k| self.opened(k)).map(|k| self.area[k]).sum();
    }

    /// Share of an opened offcut that is taken.
    fn fill(&self, k: usize) -> f64 {
        let taken: f64 = self.packed.placements.iter().filter(|p| p.stock == k).map(|p| self.patches[p.shape].region.area()).sum();
        taken / self.area[k].max(1.0)
    }

    /// Places for some of the patches on what is left of the offcuts that `may` be used.
    fn share_out(&self, which: &[usize], may: &dyn Fn(usize) -> bool, price: f64, stop: Stop) -> Result<Vec<Placement>, Faults> {
        let largest = self.area.iter().copied().fold(1.0, f64::max);
        let shapes: Vec<Shape> = which.iter().map(|&i| self.patches[i].clone()).collect();
        let (mut stocks, mut cost, mut names) = (Vec::new(), Vec::new(), Vec::new());
        for k in (0..self.offcuts.len()).filter(|&k| may(k)) {
            let taken = self.packed.placements.iter().filter(|p| p.stock == k && !which.contains(&p.shape));
            let taken: Vec<Ring> = taken
                .map(|p| grown(&Motion::new(p.turn, p.flip, point(p.x, p.y)).region(&self.patches[p.shape].region), self.gap))
                .collect();
            let dear = self.area[k] * (price * (1.0 + LARGE * self.area[k] / largest) * PER_MM2 + 1.0);
            cost.push(if taken.is_empty() { dear } else { 0.0 });
            stocks.push(Stock { keep_out: self.offcuts[k].keep_out.iter().cloned().chain(taken).collect(), ..self.offcuts[k].clone() });
            names.push(k);
        }
        // An endless roll beside them: what finds no offcut is not worth any price.
        stocks.push(Stock {
            name: String::new(),
            extent: Extent::Open { low: 0.0, high: 1e4, segment_max: None, length_max: None },
            keep_out: Vec::new(),
        });
        let problem = Problem::new(shapes, stocks, self.gap)?;
        let found = assign(&problem, &cost, self.params, &Limits { stop, ..*self.limits }, self.seed, 1);
        let placements = found.into_iter().next().map(|a| a.placements).unwrap_or_default();
        Ok(placements.into_iter().map(|p| Placement { shape: which[p.shape], stock: names[p.stock], ..p }).collect())
    }

    /// Empties one to three opened offcuts, the badly filled rather than the well filled, and keeps what comes if less is opened then.
    fn trade(&mut self, trade: u64, stop: Stop) -> Result<(), Faults> {
        let mut dice = Dice::new(self.seed, 0x7ade + trade);
        let mut order: Vec<(f64, usize)> =
            (0..self.offcuts.len()).filter(|&k| self.opened(k)).map(|k| (self.fill(k) + dice.between(0.0, 0.35), k)).collect();
        order.sort_by(|a, b| a.0.total_cmp(&b.0));
        let group: Vec<usize> = order.iter().take(1 + dice.below(3)).map(|o| o.1).collect();
        let which: Vec<usize> = self.packed.placements.iter().filter(|p| group.contains(&p.stock)).map(|p| p.shape).collect();
        if which.is_empty() {
            return Ok(());
        }
        let most: f64 = group.iter().map(|&k| self.area[k]).sum();
        let may = |k: usize| group.contains(&k) || (self.opened(k) && looked_at(k, trade)) || (!self.opened(k) && self.area[k] < most);
        let found = self.share_out(&which, &may, PRICES[2], stop)?;
        if found.len() < which.len() {
            return Ok(());
        }
        let before = self.packed.clone();
        self.packed.placements.retain(|p| !which.contains(&p.shape));
        self.packed.placements.extend(found);
        self.measure();
        if self.packed.opened_area > before.opened_area {
            self.packed = before;
        }
        Ok(())
    }
}

/// Every third time what is left of other opened offcuts is looked at too.
fn looked_at(k: usize, trade: u64) -> bool {
    (k as u64 + trade).is_multiple_of(3)
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
        assert_eq!(turns(poses(30.0, 2.05, 180.0, false)), vec![330.0, 332.0, 328.0, 150.0, 152.0, 148.0]);
        assert_eq!(poses(0.0, 0.0, 90.0, true).len(), 8);
    }
}
