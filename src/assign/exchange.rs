//! Exchanges: what lies on one to three offcuts is replaced by pieces worth more, by the full
//! search.
//!
//! Cells lose a little at every edge, and laying from a corner finds few of the layouts there are.
//! So sets of pieces that would be worth more than those that lie on a few offcuts are tried there
//! by [`nest::solve`] with exact outlines: all of them find a place, or nothing changes.

use super::assignment::Assignment;
use super::bins::Ground;
use super::trade::Random;
use crate::nest::{self, Params, Placement, Problem, Shape};
use crate::run::{Phase, Run, Stop};
use rayon::prelude::*;
use std::collections::BTreeSet;
use std::time::Duration;

/// Trials of a round, side by side.
const TRIALS: usize = 8;
/// Rounds of trials in a round of effort.
const ROUNDS: u32 = 4;
/// Sets that are drawn for a trial, of which the most promising is tried.
const DRAWS: usize = 40;
/// Time of a trial for each of its pieces.
const A_PIECE: Duration = Duration::from_millis(6);
/// How fast the chance of a trial falls with the share of the offcuts that it fills.
const FALL: f64 = 20.0;
/// How full the fullest trial is, as a share of the offcuts' free cells.
const FULLEST: (f64, f64) = (0.7, 0.94);

/// The pieces of a few offcuts, and what is tried instead.
struct Trial {
    bins: Vec<usize>,
    items: Vec<usize>,
}

struct Exchange<'a> {
    problem: &'a Problem,
    ground: &'a Ground,
    /// For every bin what lies there.
    lying: Vec<Vec<(usize, Placement)>>,
    placed: Vec<bool>,
    /// Area by kind and by bin, mm².
    area: Vec<f64>,
    room: Vec<f64>,
    failed: BTreeSet<(Vec<usize>, Vec<usize>)>,
    seed: u64,
}

/// The assignment, with more on the offcuts if that was found within the limits.
pub(super) fn exchange(
    problem: &Problem,
    ground: &Ground,
    assignment: Assignment,
    run: &Run<'_>,
) -> Assignment {
    let mut work = Exchange::new(problem, ground, &assignment, run.seed());
    for round in 0.. {
        let (over, stop) = match run.stop() {
            Stop::After(all) => (run.elapsed() + A_PIECE >= all, None),
            Stop::Effort(rounds) => {
                (round >= u64::from(rounds) * u64::from(ROUNDS), Some(Stop::Effort(1)))
            }
        };
        if over || run.is_stopped(Phase::Searching) {
            break;
        }
        let trials = work.draw(round);
        let found: Vec<Option<Vec<(usize, Placement)>>> = trials
            .par_iter()
            .enumerate()
            .map(|(k, t)| {
                let stop = stop.unwrap_or(Stop::After(A_PIECE * t.items.len() as u32));
                work.attempt(t, &run.trial(stop), round * TRIALS as u64 + k as u64)
            })
            .collect();
        for (trial, found) in trials.into_iter().zip(found) {
            work.settle(trial, found);
        }
    }
    work.done(assignment)
}

impl<'a> Exchange<'a> {
    fn new(
        problem: &'a Problem,
        ground: &'a Ground,
        assignment: &Assignment,
        seed: u64,
    ) -> Exchange<'a> {
        let mut lying: Vec<Vec<(usize, Placement)>> = vec![Vec::new(); ground.bins.len()];
        let mut placed = vec![false; ground.items.len()];
        for p in &assignment.placements {
            let item = ground.items.iter().position(|i| *i == (p.shape, p.copy));
            let bin = ground.bins.iter().position(|b| b.stock == p.stock);
            if let (Some(item), Some(bin)) = (item, bin) {
                lying[bin].push((item, p.clone()));
                placed[item] = true;
            }
        }
        let area = problem.shapes().iter().map(|s| s.region.area()).collect();
        let room =
            ground.bins.iter().map(|b| b.empty.free as f64 * ground.cell * ground.cell).collect();
        Exchange { problem, ground, lying, placed, area, room, failed: BTreeSet::new(), seed }
    }

    fn weight(&self, item: usize) -> f64 {
        self.ground.kinds[self.ground.items[item].0].weight
    }

    fn area_of(&self, item: usize) -> f64 {
        self.area[self.ground.items[item].0]
    }

    /// Trials for one round, no two of which share an offcut or a piece.
    fn draw(&self, round: u64) -> Vec<Trial> {
        let mut random = Random::new(self.seed, 0x9c41 + round);
        let (mut bins, mut items): (Vec<usize>, Vec<usize>) = (Vec::new(), Vec::new());
        let mut out = Vec::new();
        for _ in 0..TRIALS {
            if let Some(trial) = self.promising(&bins, &items, &mut random) {
                bins.extend(&trial.bins);
                items.extend(&trial.items);
                out.push(trial);
            }
        }
        out
    }

    fn promising(&self, busy: &[usize], taken: &[usize], random: &mut Random) -> Option<Trial> {
        let mut best: Option<(f64, Trial)> = None;
        for _ in 0..DRAWS {
            let count = [1, 1, 1, 2, 2, 3][random.below(6)].min(self.lying.len());
            let mut bins: Vec<usize> = Vec::new();
            for _ in 0..count {
                let b = random.below(self.lying.len());
                if !bins.contains(&b) && !busy.contains(&b) {
                    bins.push(b);
                }
            }
            if bins.is_empty() {
                continue;
            }
            bins.sort_unstable();
            let room: f64 = bins.iter().map(|&b| self.room[b]).sum();
            let mut here: Vec<usize> =
                bins.iter().flat_map(|&b| self.lying[b].iter().map(|l| l.0)).collect();
            let before: f64 = here.iter().map(|&i| self.weight(i)).sum();
            for _ in 0..[0, 1, 1, 2, 2, 3][random.below(6)].min(here.len()) {
                here.swap_remove(random.below(here.len()));
            }
            let fits = |i: usize| {
                let kind = self.ground.items[i].0;
                bins.iter().any(|&b| !self.ground.bins[b].fits[kind].is_empty())
            };
            let gone = |i: &usize| {
                !self.placed[*i] || bins.iter().any(|&b| self.lying[b].iter().any(|l| l.0 == *i))
            };
            let mut pool: Vec<usize> = (0..self.placed.len())
                .filter(gone)
                .filter(|i| !here.contains(i) && !taken.contains(i) && fits(*i))
                .collect();
            let most = room * (FULLEST.0 + (FULLEST.1 - FULLEST.0) * random.unit());
            let mut area: f64 = here.iter().map(|&i| self.area_of(i)).sum();
            while !pool.is_empty() {
                let i = pool.swap_remove(random.below(pool.len()));
                if area + self.area_of(i) <= most {
                    area += self.area_of(i);
                    here.push(i);
                }
            }
            here.sort_unstable();
            let gain = here.iter().map(|&i| self.weight(i)).sum::<f64>() - before;
            if gain <= 1.0 {
                continue;
            }
            let fill = area / room;
            let score = gain * libm::exp(-FALL * fill);
            if best.as_ref().is_none_or(|b| score > b.0)
                && !self.failed.contains(&(bins.clone(), here.clone()))
            {
                best = Some((score, Trial { bins, items: here }));
            }
        }
        best.map(|b| b.1)
    }

    /// Places for all pieces of a trial.
    fn attempt(
        &self,
        trial: &Trial,
        run: &Run<'_>,
        stream: u64,
    ) -> Option<Vec<(usize, Placement)>> {
        let shapes: Vec<Shape> = trial
            .items
            .iter()
            .map(|&i| Shape { copies: 1, ..self.problem.shapes()[self.ground.items[i].0].clone() })
            .collect();
        let stocks = trial
            .bins
            .iter()
            .map(|&b| self.problem.stocks()[self.ground.bins[b].stock].clone())
            .collect();
        let problem = Problem::new(shapes, stocks, self.problem.gap()).ok()?;
        let params = Params { lanes: 1, ..Params::default() };
        let found = nest::solve(
            &problem,
            &params,
            &run.with_threads(1).with_seed(self.seed.wrapping_add(stream)),
        );
        if found.placements.len() < trial.items.len() {
            return None;
        }
        let used: Vec<usize> =
            found.stocks.iter().map(|s| self.ground.bins[trial.bins[s.stock]].stock).collect();
        let place = |p: Placement| {
            let item = trial.items[p.shape];
            let (shape, copy) = self.ground.items[item];
            (item, Placement { shape, copy, stock: used[p.stock], ..p })
        };
        Some(found.placements.into_iter().map(place).collect())
    }

    fn settle(&mut self, trial: Trial, found: Option<Vec<(usize, Placement)>>) {
        let Some(found) = found else {
            self.failed.insert((trial.bins, trial.items));
            return;
        };
        for &b in &trial.bins {
            for (item, _) in std::mem::take(&mut self.lying[b]) {
                self.placed[item] = false;
            }
        }
        for (item, p) in found {
            self.placed[item] = true;
            if let Some(b) = trial.bins.iter().find(|&&b| self.ground.bins[b].stock == p.stock) {
                self.lying[*b].push((item, p));
            }
        }
    }

    fn done(self, before: Assignment) -> Assignment {
        let mut placements: Vec<Placement> =
            self.lying.into_iter().flatten().map(|l| l.1).collect();
        placements.sort_by_key(|p| (p.shape, p.copy));
        Assignment { placements, new_cloth: self.ground.new_cloth(&self.placed), ..before }
    }
}
