//! The driver: lanes that ruin and refill offcuts, and the best of what they found.

use super::assignment::Assignment;
use super::bins::Ground;
use super::exchange::exchange;
use super::trade::{Lane, Random, State};
use crate::nest::{Params, Placement, Problem};
use crate::run::{Phase, Run, Stop};
use rayon::prelude::*;

/// Refills of a lane in one round.
const ROUND: u32 = 400;
/// Refills of a lane between two looks at the clock.
const LOOK: u32 = 20;

/// Searches for assignments of the problem's shapes to its fixed stocks that leave the least for
/// the roll; among those that save the same, for the least cost of opened stocks. At most `most`
/// different ones come back, the best first; there may be none.
///
/// `cost[stock]` is in mm² and only weighs between equals. By effort (rounds of refills in every
/// lane) the answer is the same on every machine and thread count. Open stocks are passed over, and
/// so are tolerances of turns.
pub fn assign(
    problem: &Problem,
    cost: &[f64],
    params: &Params,
    run: &Run<'_>,
    most: usize,
) -> Vec<Assignment> {
    run.pooled(|| search(&Ground::new(problem, cost), params, run, most))
}

/// The best assignment, after exchanges by the full search; the two limits are for these steps of
/// the run.
pub(super) fn share_out(
    problem: &Problem,
    cost: &[f64],
    params: &Params,
    run: &Run<'_>,
    limits: [Stop; 2],
) -> Option<Assignment> {
    let sharing = run.trial(limits[0]);
    run.pooled(|| {
        let ground = Ground::new(problem, cost);
        let best = search(&ground, params, &sharing, 1).into_iter().next()?;
        Some(exchange(problem, &ground, best, &run.trial(limits[1])))
    })
}

fn search(ground: &Ground, params: &Params, run: &Run<'_>, most: usize) -> Vec<Assignment> {
    if ground.bins.is_empty() {
        return Vec::new();
    }
    let lanes = if run.is_by_effort() { params.lanes } else { rayon::current_num_threads() };
    let mut lanes: Vec<Lane<'_>> =
        (0..lanes.max(1)).map(|k| Lane::new(ground, Random::new(run.seed(), k as u64))).collect();
    lanes.par_iter_mut().for_each(|lane| {
        let mut done = 0_u32;
        loop {
            let share = match run.stop() {
                Stop::After(d) => run.seconds() / d.as_secs_f64().max(1e-3),
                Stop::Effort(rounds) => {
                    f64::from(done) / f64::from(rounds.max(1).saturating_mul(ROUND))
                }
            };
            // However late it is, each lane has a first look: a slow machine would leave every
            // offcut in its box.
            if share >= 1.0 && done > 0 || run.is_stopped(Phase::Searching) {
                break;
            }
            for _ in 0..LOOK {
                lane.refill(share.min(1.0));
            }
            done = done.saturating_add(LOOK);
        }
    });
    let mut best: Vec<&State> = lanes.iter().flat_map(Lane::found).collect();
    // The sort is stable: of equals the lower lane's stands first.
    best.sort_by(|a, b| b.value().total_cmp(&a.value()));
    let mut sets: Vec<Vec<usize>> = Vec::new();
    let mut out = Vec::new();
    for state in best {
        let set = state.placed_items();
        if out.len() < most && !set.is_empty() && !sets.contains(&set) {
            out.push(report(ground, state));
            sets.push(set);
        }
    }
    out
}

fn report(ground: &Ground, state: &State) -> Assignment {
    let mut placements: Vec<Placement> = state
        .spots()
        .map(|(b, spot)| {
            let (shape, copy) = ground.items[spot.item];
            let (stance, bin) =
                (&ground.kinds[shape].stances[usize::from(spot.stance)], &ground.bins[b]);
            let at = |cells: i32, low: f64, own: f64| {
                crate::units::snap(low + f64::from(cells) * ground.cell - own)
            };
            Placement {
                shape,
                copy,
                stock: bin.stock,
                turn: stance.turn,
                flip: stance.flip,
                x: at(spot.at.0, bin.low.x, stance.low.x),
                y: at(spot.at.1, bin.low.y, stance.low.y),
            }
        })
        .collect();
    placements.sort_by_key(|p| (p.shape, p.copy));
    Assignment { placements, new_cloth: state.new_cloth, cost: state.cost }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::geometry::{Motion, Region, Ring, point, ring_bounds};
    use crate::nest::{Extent, Pose, Shape, Stock};

    fn rectangle(w: f64, h: f64) -> Ring {
        vec![point(0.0, 0.0), point(w, 0.0), point(w, h), point(0.0, h)]
    }

    fn shape(w: f64, h: f64, copies: u32, turns: &[f64]) -> Shape {
        Shape {
            name: format!("{w} x {h}"),
            region: Region::solid(rectangle(w, h)),
            poses: turns.iter().map(|&turn| Pose { turn, flip: false }).collect(),
            tolerance: 0.0,
            copies,
            may_cross: false,
        }
    }

    fn offcut(w: f64, h: f64) -> Stock {
        let region = Region::solid(rectangle(w, h).iter().map(|p| *p + point(7.0, 3.0)).collect());
        Stock { name: format!("{w} x {h}"), extent: Extent::Fixed { region }, keep_out: Vec::new() }
    }

    fn solve(shapes: Vec<Shape>, stocks: Vec<Stock>, gap: f64, threads: usize) -> Vec<Assignment> {
        let cost: Vec<f64> = (0..stocks.len()).map(|k| 1.0 + k as f64).collect();
        let problem = Problem::new(shapes, stocks, gap).unwrap();
        let run = Run::new(Stop::Effort(2));
        assign(&problem, &cost, &Params::default(), &run.with_threads(threads), 3)
    }

    /// Filling one offcut after the other, large pieces first, takes the first offcut for the
    /// middle piece and loses the large one.
    #[test]
    fn pieces_are_shared_out_over_all_offcuts_at_once() {
        let shapes = vec![
            shape(100.0, 100.0, 1, &[0.0]),
            shape(60.0, 60.0, 1, &[0.0]),
            shape(40.0, 60.0, 1, &[0.0]),
        ];
        let stocks = vec![offcut(104.0, 63.0), offcut(103.0, 103.0)];
        let found = solve(shapes, stocks, 0.0, 1);
        let on =
            |shape: usize| found[0].placements.iter().find(|p| p.shape == shape).map(|p| p.stock);
        assert_eq!((on(0), on(1), on(2)), (Some(1), Some(0), Some(0)));
        let first = &found[0].placements[0];
        assert_eq!((first.x, first.y), (7.0, 3.0), "in the offcut's own frame");
    }

    #[test]
    fn what_fits_one_small_offcut_leaves_the_large_one_whole() {
        let found = solve(
            vec![shape(90.0, 50.0, 1, &[0.0, 90.0])],
            vec![offcut(60.0, 100.0), offcut(400.0, 400.0)],
            5.0,
            1,
        );
        assert_eq!((found[0].placements[0].stock, found[0].placements[0].turn), (0, 90.0));
    }

    #[test]
    fn the_same_on_any_number_of_threads_and_never_nearer_than_the_gap() {
        let shapes =
            || vec![shape(70.0, 45.0, 9, &[0.0, 90.0, 30.0]), shape(33.0, 20.0, 12, &[0.0, 90.0])];
        let stocks = || vec![offcut(200.0, 150.0), offcut(150.0, 110.0), offcut(90.0, 60.0)];
        let found = solve(shapes(), stocks(), 5.0, 1);
        assert_eq!(found, solve(shapes(), stocks(), 5.0, 3));
        let (shapes, stocks) = (shapes(), stocks());
        let boxes: Vec<(usize, Ring)> = found[0]
            .placements
            .iter()
            .map(|p| {
                (
                    p.stock,
                    Motion::new(p.turn, p.flip, point(p.x, p.y))
                        .ring(&shapes[p.shape].region.outline),
                )
            })
            .collect();
        assert!(boxes.len() >= 8, "{}", boxes.len());
        for (i, (stock, ring)) in boxes.iter().enumerate() {
            let Extent::Fixed { region } = &stocks[*stock].extent else { panic!("an open stock") };
            let (inner, outer) = (ring_bounds(ring).unwrap(), region.bounds().unwrap());
            assert!(
                inner.min.x >= outer.min.x
                    && inner.max.x <= outer.max.x
                    && inner.min.y >= outer.min.y
                    && inner.max.y <= outer.max.y
            );
            for (other, r) in &boxes[i + 1..] {
                let near = |a: &Ring, b: &Ring| {
                    let edge = |k: usize| (b[k], b[(k + 1) % b.len()]);
                    a.iter()
                        .flat_map(|p| {
                            (0..b.len()).map(move |k| p.distance_to_segment(edge(k).0, edge(k).1))
                        })
                        .fold(f64::MAX, f64::min)
                };
                assert!(stock != other || near(ring, r).min(near(r, ring)) >= 5.0);
            }
        }
    }
}
