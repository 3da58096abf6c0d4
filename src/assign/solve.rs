//! Offcuts and roll together: assignments first, then the roll for what they leave.

use super::assignment::Assignment;
use super::search::share_out;
use crate::live::{Layout, Lying};
use crate::nest::{self, Extent, Outcome, Params, Placement, Problem, Shape, Stock, UsedStock};
use crate::run::{Phase, Run, Stop};
use std::time::Duration;

/// Shares of the time for sharing out the pieces and for exchanges.
const SHARING_OUT: f64 = 0.12;
const EXCHANGING: f64 = 0.12;
/// Share of the time for a look at what the roll needs with offcuts, and the same without any.
const LOOKING: f64 = 0.05;
/// Offcuts that take less of the pieces' area than this are held against a plan without any: chance
/// could make that one shorter.
const LITTLE: f64 = 0.15;
/// A plan without offcuts that is longer by less than this share at first sight is searched in full
/// as well.
const NEARLY: f64 = 0.02;

/// Places all shapes: on fixed stocks what is best placed there for the least length of the open
/// one, the rest on that.
///
/// The answer is that of [`nest::solve`]; `cost[stock]` is what opening a fixed stock costs, in mm²
/// of new cloth, and decides between answers of the same length. The open stock is never longer
/// than a plan without the fixed ones that was found beside it.
pub fn solve(problem: &Problem, cost: &[f64], params: &Params, run: &Run<'_>) -> Outcome {
    let fixed = problem.stocks().iter().any(|s| matches!(s.extent, Extent::Fixed { .. }));
    if !fixed || run.stop() == Stop::Effort(0) {
        return nest::solve(problem, params, run);
    }
    let part = |share: f64, least: u32| match run.stop() {
        Stop::After(all) => Stop::After(all.mul_f64(share)),
        Stop::Effort(rounds) => Stop::Effort(rounds.div_ceil(least)),
    };
    let left = |runs: f64| match run.rest() {
        Stop::After(time) => Stop::After(time.max(Duration::from_millis(1)).div_f64(runs)),
        effort => effort,
    };
    // Of the progress, the search on the roll is what is left when the pieces are shared out.
    let relay = run.about(run.on(), (SHARING_OUT + EXCHANGING, 1.0 - SHARING_OUT - EXCHANGING));
    let bare = Rest::new(problem, Assignment::default());
    let Some(found) =
        share_out(problem, cost, params, run, [part(SHARING_OUT, 1), part(EXCHANGING, 2)])
    else {
        return finished(problem, bare.solve(problem, params, &relay.part(left(1.0))), params, run);
    };
    let taken: f64 = found.placements.iter().map(|p| problem.shapes()[p.shape].region.area()).sum();
    let all: f64 = problem.shapes().iter().map(|s| s.region.area() * f64::from(s.copies)).sum();
    let rest = Rest::new(problem, found);
    let look = |rest: &Rest| rest.solve(problem, params, &run.trial(part(LOOKING, 4)));
    let mut outcomes = Vec::new();
    let mut runs = vec![&rest];
    if taken < LITTLE * all {
        outcomes.extend([look(&rest), look(&bare)]);
        let near = length(problem, &outcomes[1]) < length(problem, &outcomes[0]) * (1.0 + NEARLY);
        if near && missing(&outcomes[1]) <= missing(&outcomes[0]) {
            runs.push(&bare);
        }
    }
    let last = left(runs.len() as f64);
    outcomes.extend(runs.into_iter().map(|rest| rest.solve(problem, params, &relay.part(last))));
    let longest = outcomes.last().map_or(0.0, |o| length(problem, o));
    if taken >= LITTLE * all && longest > bare.least_length() {
        outcomes.push(look(&bare));
    }
    let rank =
        |o: &Outcome| (missing(o) + usize::from(o.placements.is_empty()), length(problem, o));
    let best = outcomes
        .into_iter()
        .min_by(|a, b| rank(a).0.cmp(&rank(b).0).then(rank(a).1.total_cmp(&rank(b).1)));
    let best = best.unwrap_or_else(|| nest::solve(problem, params, &run.part(Stop::Effort(0))));
    finished(problem, best, params, &relay.part(last))
}

/// Cells are coarser than outlines: where something found no place, the search proper has the last
/// word.
fn finished(problem: &Problem, best: Outcome, params: &Params, run: &Run<'_>) -> Outcome {
    if best.unplaced.is_empty() || run.is_stopped(Phase::Searching) {
        return best;
    }
    let exact = nest::solve(problem, params, run);
    if exact.unplaced.len() < best.unplaced.len() { exact } else { best }
}

fn missing(outcome: &Outcome) -> usize {
    outcome.unplaced.len()
}

/// Used length of the open stock.
fn length(problem: &Problem, outcome: &Outcome) -> f64 {
    let open = |s: &&UsedStock| {
        matches!(problem.stocks().get(s.stock).map(|s| &s.extent), Some(Extent::Open { .. }))
    };
    outcome.stocks.iter().filter(open).map(|s| s.used_length).sum()
}

/// What an assignment leaves for the open stock.
struct Rest {
    assignment: Assignment,
    /// The shapes left and the open stock; `None` if nothing is left.
    problem: Option<Problem>,
    /// For each shape left: its index in the whole problem and its copies.
    copies: Vec<(usize, Vec<u32>)>,
    /// Index of the open stock in the whole problem.
    open: Option<usize>,
}

impl Rest {
    fn new(problem: &Problem, assignment: Assignment) -> Rest {
        let open = problem.stocks().iter().position(|s| matches!(s.extent, Extent::Open { .. }));
        let mut copies: Vec<(usize, Vec<u32>)> = Vec::new();
        let mut shapes: Vec<Shape> = Vec::new();
        for (index, shape) in problem.shapes().iter().enumerate() {
            let on_offcuts: Vec<u32> =
                assignment.placements.iter().filter(|p| p.shape == index).map(|p| p.copy).collect();
            let left: Vec<u32> = (0..shape.copies).filter(|c| !on_offcuts.contains(c)).collect();
            if !left.is_empty() {
                shapes.push(Shape { copies: left.len() as u32, ..shape.clone() });
                copies.push((index, left));
            }
        }
        let stocks: Vec<Stock> = open.map(|i| problem.stocks()[i].clone()).into_iter().collect();
        // Shapes and stocks of a valid problem are valid.
        let rest =
            if shapes.is_empty() { None } else { Problem::new(shapes, stocks, problem.gap()).ok() };
        Rest { assignment, problem: rest, copies, open }
    }

    /// What the open stock cannot go under, mm.
    fn least_length(&self) -> f64 {
        self.problem.as_ref().map_or(0.0, |p| nest::least_length(p).0)
    }

    /// The whole outcome.
    fn solve(&self, whole: &Problem, params: &Params, run: &Run<'_>) -> Outcome {
        let named = |shape: usize, copy: u32| {
            let (whole, copies) = &self.copies[shape];
            (*whole, copies.get(copy as usize).copied().unwrap_or(copy))
        };
        let put = |rest: &Layout| {
            let roll = self.open.unwrap_or(0);
            let on_roll = rest.lying.iter().map(|l| {
                let (piece, copy) = named(l.piece, l.copy);
                Lying { piece, copy, stock: roll, ..*l }
            });
            Layout {
                lying: self.assignment.placements.iter().map(lying).chain(on_roll).collect(),
                ends: rest.ends.iter().map(|end| (roll, end.1)).collect(),
                left: Vec::new(),
            }
        };
        let relay = run.relay(&put);
        let run = &run.with_observer(&relay);
        let mut outcome = match &self.problem {
            Some(problem) => nest::solve(problem, params, run),
            None => Outcome {
                placements: Vec::new(),
                stocks: Vec::new(),
                unplaced: Vec::new(),
                interrupted: run.is_asked(),
                early: None,
                first_layout_seconds: None,
                evaluations: 0,
                trace: Vec::new(),
            },
        };
        let mut used: Vec<usize> = self.assignment.placements.iter().map(|p| p.stock).collect();
        used.sort_unstable();
        used.dedup();
        let mut stocks: Vec<UsedStock> = used.iter().map(|&s| closed(whole, s)).collect();
        let place = |stock: usize| used.iter().position(|&u| u == stock).unwrap_or(0);
        let mut placements: Vec<Placement> = self
            .assignment
            .placements
            .iter()
            .map(|p| Placement { stock: place(p.stock), ..p.clone() })
            .collect();
        for p in &outcome.placements {
            let (shape, copy) = named(p.shape, p.copy);
            placements.push(Placement { shape, copy, stock: stocks.len(), ..p.clone() });
        }
        placements.sort_by_key(|p| (p.shape, p.copy));
        for (shape, copy, _) in &mut outcome.unplaced {
            (*shape, *copy) = named(*shape, *copy);
        }
        stocks.extend(
            outcome.stocks.iter().map(|s| UsedStock { stock: self.open.unwrap_or(0), ..s.clone() }),
        );
        Outcome { placements, stocks, ..outcome }
    }
}

/// A placement as it is drawn.
fn lying(p: &Placement) -> Lying {
    let (piece, copy, stock) = (p.shape, p.copy, p.stock);
    Lying { piece, copy, stock, turn: p.turn, down: p.flip, x: p.x, y: p.y }
}

/// A fixed stock as used.
fn closed(problem: &Problem, stock: usize) -> UsedStock {
    let (from, to) = match &problem.stocks()[stock].extent {
        Extent::Fixed { region } => region.bounds().map_or((0.0, 0.0), |b| (b.min.x, b.max.x)),
        Extent::Open { .. } => (0.0, 0.0),
    };
    UsedStock { stock, used_length: to - from, segments: vec![[from, to]] }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::geometry::{Region, Ring, point};
    use crate::nest::Pose;

    fn rectangle(w: f64, h: f64) -> Ring {
        vec![point(0.0, 0.0), point(w, 0.0), point(w, h), point(0.0, h)]
    }

    fn shape(w: f64, h: f64, copies: u32) -> Shape {
        Shape {
            name: format!("{w} x {h}"),
            region: Region::solid(rectangle(w, h)),
            poses: vec![Pose { turn: 0.0, flip: false }],
            tolerance: 0.0,
            copies,
            may_cross: false,
        }
    }

    fn offcut(w: f64, h: f64) -> Stock {
        Stock {
            name: String::new(),
            extent: Extent::Fixed { region: Region::solid(rectangle(w, h)) },
            keep_out: Vec::new(),
        }
    }

    fn roll(height: f64) -> Stock {
        let extent = Extent::Open { low: 0.0, high: height, segment_max: None, length_max: None };
        Stock { name: "roll".into(), extent, keep_out: Vec::new() }
    }

    fn solved(problem: &Problem, cost: &[f64]) -> Outcome {
        solve(
            problem,
            cost,
            &Params { lanes: 2, equal: 0.0 },
            &Run::new(Stop::Effort(2)).with_threads(1),
        )
    }

    fn used(problem: &Problem, outcome: &Outcome) -> Vec<usize> {
        let fixed =
            |s: &&UsedStock| matches!(problem.stocks()[s.stock].extent, Extent::Fixed { .. });
        outcome.stocks.iter().filter(fixed).map(|s| s.stock).collect()
    }

    /// Of three offcuts that each hold the one piece, the cheapest is opened: the caller makes the
    /// small and the old cheap.
    #[test]
    fn at_equal_new_cloth_the_cheapest_offcut_is_opened_and_the_large_one_left_whole() {
        let stocks =
            vec![offcut(400.0, 400.0), offcut(110.0, 90.0), offcut(100.0, 100.0), roll(500.0)];
        let problem = Problem::new(vec![shape(90.0, 80.0, 1)], stocks, 5.0).unwrap();
        let outcome = solved(&problem, &[160_000.0, 9_900.0, 13_000.0, 0.0]);
        assert_eq!((used(&problem, &outcome), length(&problem, &outcome)), (vec![1], 0.0));
        let outcome = solved(&problem, &[160_000.0, 12_900.0, 10_000.0, 0.0]);
        assert_eq!(used(&problem, &outcome), vec![2]);
    }

    #[test]
    fn two_pieces_go_to_two_small_offcuts_rather_than_to_one_large() {
        let stocks =
            vec![offcut(300.0, 300.0), offcut(100.0, 90.0), offcut(100.0, 90.0), roll(500.0)];
        let problem = Problem::new(vec![shape(90.0, 80.0, 2)], stocks, 5.0).unwrap();
        let outcome = solved(&problem, &[90_000.0, 9_000.0, 9_000.0, 0.0]);
        assert_eq!((used(&problem, &outcome), length(&problem, &outcome)), (vec![1, 2], 0.0));
    }

    /// Six pieces fill the roll's width in threes; the offcut takes one, and five need the same two
    /// rows.
    #[test]
    fn never_more_new_cloth_than_without_offcuts() {
        for copies in 1..=8 {
            let shapes = || vec![shape(140.0, 160.0, copies), shape(70.0, 45.0, copies)];
            let with =
                Problem::new(shapes(), vec![offcut(150.0, 165.0), roll(500.0)], 5.0).unwrap();
            let without = Problem::new(shapes(), vec![roll(500.0)], 5.0).unwrap();
            let (a, b) = (solved(&with, &[20_000.0, 0.0]), solved(&without, &[0.0]));
            assert!(a.unplaced.is_empty() && b.unplaced.is_empty());
            assert!(
                length(&with, &a) <= length(&without, &b),
                "{copies}: {} {}",
                length(&with, &a),
                length(&without, &b)
            );
        }
    }

    #[test]
    fn an_outcome_is_the_same_on_any_number_of_threads() {
        let stocks =
            vec![offcut(200.0, 150.0), offcut(150.0, 110.0), offcut(90.0, 60.0), roll(400.0)];
        let shapes = vec![shape(70.0, 45.0, 9), shape(33.0, 20.0, 12), shape(120.0, 90.0, 3)];
        let problem = Problem::new(shapes, stocks, 5.0).unwrap();
        let cost = [30_000.0, 16_500.0, 5_400.0, 0.0];
        let of = |threads| {
            solve(
                &problem,
                &cost,
                &Params { lanes: 2, equal: 0.0 },
                &Run::default().with_threads(threads),
            )
            .placements
        };
        assert_eq!(of(1), of(3));
    }
}
