//! Patches on offcuts: which offcuts are opened, and what lies where on them.
//!
//! The joint search of [`crate::assign`] is given a price for opening an offcut that only a well
//! filled one is worth. What it leaves is tried again at a lower price, on what is left of the
//! opened offcuts and on the others.

use super::random::Random;
use crate::assign::assign;
use crate::fault::Faults;
use crate::geometry::boolean::union;
use crate::geometry::offset::growth;
use crate::geometry::{Motion, Region, Ring, point};
use crate::nest::{Extent, Params, Placement, Pose, Problem, Shape, Stock, solve};
use crate::run::{Phase, Run, Stop};
use std::time::Duration;

/// Prices of opening an offcut, as shares of its area, round by round.
const PRICES: [f64; 4] = [0.76, 0.66, 0.5, 0.0];
/// Opened offcuts filled so well in all are left as they are.
const FULL: f64 = 0.76;
/// Exchanges in a round of effort.
const EXCHANGES: u64 = 4;
/// Lanes of a search by effort.
const LANES: usize = 2;
/// By how much better an exchange tries to fill, at the most, and how well it never hopes to.
const BETTER: f64 = 0.12;
const HOPED: f64 = 0.84;
/// Sets of offcuts that an exchange looks at.
const DRAWS: usize = 60;
/// Longest single search.
const LONGEST: Duration = Duration::from_millis(1500);
/// The same for each of its patches.
const A_PATCH: Duration = Duration::from_millis(80);
/// Shortest single search.
const SHORTEST: Duration = Duration::from_millis(60);
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

/// The ways a patch of a direction may lie: its warp along +x, `slack` degrees to either side, at
/// every turn that looks alike (`modulo` degrees apart) and, if allowed, face down.
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
            out.extend(
                off.iter()
                    .map(|o| Pose { turn: tenths((base + o).rem_euclid(360.0)) % 360.0, flip }),
            );
        }
    }
    out
}

/// Places patches on offcuts (closed stocks) so that the opened ones are well filled, the small
/// before the large: a quick look, for [`improve`] to go on from.
///
/// # Errors
/// Patches or offcuts without area, a negative gap.
pub fn pack(
    patches: &[Shape],
    offcuts: &[Stock],
    gap: f64,
    params: &Params,
    run: &Run<'_>,
) -> Result<Packed, Faults> {
    let mut work = Packing::new(patches, offcuts, gap, params, run, Packed::default());
    for price in PRICES {
        let missing: Vec<usize> = (0..patches.len())
            .filter(|i| !work.packed.placements.iter().any(|p| p.shape == *i))
            .collect();
        if missing.is_empty() || offcuts.is_empty() {
            break;
        }
        let stop = match run.rest() {
            Stop::After(left) => Stop::After(left.div_f64(2.0).max(SHORTEST)),
            Stop::Effort(_) => Stop::Effort(1),
        };
        let found = work.share_out(&missing, price, stop)?;
        work.packed.placements.extend(found);
        work.measure();
    }
    Ok(work.done())
}

/// Closes offcuts: the patches of a few are laid on others that have less area in all, by the full
/// search, until the time is over or the opened ones are full. By effort, four a round.
///
/// # Errors
/// Patches or offcuts without area, a negative gap.
pub fn improve(
    packed: Packed,
    patches: &[Shape],
    offcuts: &[Stock],
    gap: f64,
    params: &Params,
    run: &Run<'_>,
) -> Result<Packed, Faults> {
    let mut work = Packing::new(patches, offcuts, gap, params, run, packed);
    for exchange in 0.. {
        let stop = match run.rest() {
            Stop::After(left) => Stop::After(LONGEST.min(left)),
            Stop::Effort(_) => Stop::Effort(1),
        };
        let over = match stop {
            Stop::After(left) => left < SHORTEST,
            Stop::Effort(_) => {
                matches!(run.stop(), Stop::Effort(rounds) if exchange >= EXCHANGES * u64::from(rounds))
            }
        };
        if over
            || work.packed.fill() >= FULL
            || work.packed.placements.is_empty()
            || run.is_stopped(Phase::Searching)
        {
            break;
        }
        work.exchange(exchange, stop)?;
    }
    Ok(work.done())
}

struct Packing<'a> {
    patches: &'a [Shape],
    offcuts: &'a [Stock],
    area: Vec<f64>,
    /// What opening an offcut costs, mm².
    dear: Vec<f64>,
    gap: f64,
    params: Params,
    run: &'a Run<'a>,
    packed: Packed,
}

impl<'a> Packing<'a> {
    fn new(
        patches: &'a [Shape],
        offcuts: &'a [Stock],
        gap: f64,
        params: &'a Params,
        run: &'a Run<'a>,
        packed: Packed,
    ) -> Packing<'a> {
        let area: Vec<f64> = offcuts.iter().map(Stock::area).collect();
        let largest = area.iter().copied().fold(1.0, f64::max);
        let dear = area.iter().map(|a| a * (1.0 + LARGE * a / largest)).collect();
        let params = Params { lanes: LANES, ..params.clone() };
        Packing { patches, offcuts, area, dear, gap, params, run, packed }
    }

    fn opened(&self, k: usize) -> bool {
        self.packed.placements.iter().any(|p| p.stock == k)
    }

    fn measure(&mut self) {
        self.packed.placed_area =
            self.packed.placements.iter().map(|p| self.patches[p.shape].region.area()).sum();
        self.packed.opened_area =
            (0..self.offcuts.len()).filter(|&k| self.opened(k)).map(|k| self.area[k]).sum();
    }

    /// Share of an opened offcut that is taken.
    fn fill(&self, k: usize) -> f64 {
        let taken: f64 = self
            .packed
            .placements
            .iter()
            .filter(|p| p.stock == k)
            .map(|p| self.patches[p.shape].region.area())
            .sum();
        taken / self.area[k].max(1.0)
    }

    /// Places for some of the patches on what is left of the offcuts.
    fn share_out(&self, which: &[usize], price: f64, stop: Stop) -> Result<Vec<Placement>, Faults> {
        let shapes: Vec<Shape> = which.iter().map(|&i| self.patches[i].clone()).collect();
        let (mut stocks, mut cost) = (Vec::new(), Vec::new());
        for (k, offcut) in self.offcuts.iter().enumerate() {
            let taken = self.packed.placements.iter().filter(|p| p.stock == k);
            let taken: Vec<Ring> = taken
                .map(|p| {
                    grown(
                        &Motion::new(p.turn, p.flip, point(p.x, p.y))
                            .region(&self.patches[p.shape].region),
                        self.gap,
                    )
                })
                .collect();
            let dear = self.dear[k] * price * PER_MM2 + self.area[k];
            cost.push(if taken.is_empty() { dear } else { 0.0 });
            stocks.push(Stock {
                keep_out: offcut.keep_out.iter().cloned().chain(taken).collect(),
                ..offcut.clone()
            });
        }
        // An endless roll beside them: what finds no offcut is not worth any price.
        stocks.push(Stock {
            name: String::new(),
            extent: Extent::Open { low: 0.0, high: 1e4, segment_max: None, length_max: None },
            keep_out: Vec::new(),
        });
        let problem = Problem::new(shapes, stocks, self.gap)?;
        let found = assign(&problem, &cost, &self.params, &self.run.trial(stop), 1);
        let placements = found.into_iter().next().map(|a| a.placements).unwrap_or_default();
        Ok(placements.into_iter().map(|p| Placement { shape: which[p.shape], ..p }).collect())
    }

    /// The patches of a few opened offcuts, the badly filled rather than the well filled, on others
    /// that cost less.
    fn exchange(&mut self, turn: u64, stop: Stop) -> Result<(), Faults> {
        let mut random = Random::new(self.run.seed(), 0xe8c4 + turn);
        let mut order: Vec<(f64, usize)> = (0..self.offcuts.len())
            .filter(|&k| self.opened(k))
            .map(|k| (self.fill(k) + random.between(0.0, 0.4), k))
            .collect();
        order.sort_by(|a, b| a.0.total_cmp(&b.0));
        let group: Vec<usize> = order.iter().take(2 + random.below(3)).map(|o| o.1).collect();
        let which: Vec<usize> = self
            .packed
            .placements
            .iter()
            .filter(|p| group.contains(&p.stock))
            .map(|p| p.shape)
            .collect();
        let need: f64 = which.iter().map(|&i| self.patches[i].region.area()).sum();
        let Some(others) = self.cheaper(&group, need, &mut random) else {
            return Ok(());
        };
        let shapes = which.iter().map(|&i| straight(&self.patches[i])).collect();
        let stocks = others.iter().map(|&k| self.offcuts[k].clone()).collect();
        let problem = Problem::new(shapes, stocks, self.gap)?;
        let stop = match stop {
            Stop::After(most) => Stop::After(most.min(A_PATCH * which.len() as u32)),
            effort => effort,
        };
        let found = solve(
            &problem,
            &self.params,
            &self.run.trial(stop).with_seed(self.run.seed().wrapping_add(turn)),
        );
        if found.placements.len() == which.len() {
            self.packed.placements.retain(|p| !which.contains(&p.shape));
            let used: Vec<usize> = found.stocks.iter().map(|s| others[s.stock]).collect();
            let placed = found.placements.into_iter().map(|p| Placement {
                shape: which[p.shape],
                stock: used[p.stock],
                ..p
            });
            self.packed.placements.extend(placed);
            self.measure();
        }
        Ok(())
    }

    /// Offcuts that cost less than those of the group in all, at random, of which `need` mm² fills
    /// a share that can be hoped for.
    fn cheaper(&self, group: &[usize], need: f64, random: &mut Random) -> Option<Vec<usize>> {
        let now: f64 = group.iter().map(|&k| self.dear[k]).sum();
        let had: f64 = group.iter().map(|&k| self.area[k]).sum();
        let share = (need / had + random.between(0.0, BETTER)).min(HOPED);
        let mut pool: Vec<usize> =
            (0..self.offcuts.len()).filter(|k| group.contains(k) || !self.opened(*k)).collect();
        let mut best: Option<(f64, Vec<usize>)> = None;
        for _ in 0..DRAWS {
            for i in (1..pool.len()).rev() {
                pool.swap(i, random.below(i + 1));
            }
            if random.unit() < 0.5 {
                pool.sort_by_key(|k| !group.contains(k));
            }
            let (mut sum, mut cost, mut set) = (0.0, 0.0, Vec::new());
            for &k in &pool {
                if sum < need / share && set.len() < group.len() + 2 && cost + self.dear[k] < now {
                    sum += self.area[k];
                    cost += self.dear[k];
                    set.push(k);
                }
            }
            // The nearer to the share, the better.
            if sum >= need / share && best.as_ref().is_none_or(|b| sum < b.0) {
                best = Some((sum, set));
            }
        }
        best.map(|b| b.1)
    }

    fn done(mut self) -> Packed {
        self.packed.placements.sort_by_key(|p| p.shape);
        self.packed
    }
}

/// The patch with its direction kept exactly: turned a little it would fit better, but all ways to
/// lie cost the search more than they gain.
fn straight(patch: &Shape) -> Shape {
    let mut out = patch.clone();
    let base = out.poses.first().map_or(0.0, |p| p.turn);
    out.poses.retain(|p| ((p.turn - base).rem_euclid(90.0) + 1e-6).rem_euclid(90.0) < 1e-3);
    out
}

/// The outline with the gap around it.
fn grown(region: &Region, gap: f64) -> Ring {
    let ring = &region.outline;
    let parts = growth(ring, &vec![gap; ring.len()], &[ring], &|| false);
    let all = union(std::iter::once(ring).chain(&parts));
    all.into_iter()
        .max_by(|a, b| a.area().total_cmp(&b.area()))
        .map_or_else(|| ring.clone(), |r| r.outline)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_quarter_turn_looks_alike_only_where_it_should() {
        let turns = |p: Vec<Pose>| p.into_iter().map(|p| p.turn).collect::<Vec<_>>();
        assert_eq!(turns(poses(30.0, 0.0, 90.0, false)), vec![330.0, 60.0, 150.0, 240.0]);
        assert_eq!(
            turns(poses(30.0, 2.05, 180.0, false)),
            vec![330.0, 332.0, 328.0, 150.0, 152.0, 148.0]
        );
        assert_eq!(poses(0.0, 0.0, 90.0, true).len(), 8);
    }
}
