//! Offcuts and roll together: assignments first, then the roll for what they leave.

use super::search::{Assignment, assign};
use crate::geometry::{Motion, point};
use crate::nest::{self, Extent, Limits, Observer, Outcome, Params, Placement, Problem, Progress, Shape, Stock, Stop, UsedStock};
use std::sync::atomic::Ordering;
use std::time::{Duration, Instant};

/// Share of the time for sharing out the pieces.
const ASSIGNING: f64 = 0.12;
/// Share of the time for a first look at what the roll needs under each assignment.
const LOOKING: f64 = 0.1;
/// Assignments that are looked at.
const LOOKED_AT: usize = 3;
/// Offcuts that take less of the pieces' area than this are held against a plan without any: chance could make that one shorter.
const LITTLE: f64 = 0.1;

/// Places all shapes: on fixed stocks what is best placed there for the least length of the open one, the rest on that.
///
/// The answer is that of [`nest::solve`], and so are limits, seed and observer; `cost[stock]` is what opening a fixed stock costs, in
/// mm² of new cloth, and decides between answers of the same length.
pub fn solve(problem: &Problem, cost: &[f64], params: &Params, limits: &Limits<'_>, seed: u64, observer: &dyn Observer) -> Outcome {
    let fixed = problem.stocks().iter().any(|s| matches!(s.extent, Extent::Fixed { .. }));
    if !fixed || matches!(limits.stop, Stop::Effort(0)) {
        return nest::solve(problem, params, limits, seed, observer);
    }
    let start = Instant::now();
    let part = |share: f64, least: u32| match limits.stop {
        Stop::After(all) => Stop::After(all.mul_f64(share)),
        Stop::Effort(rounds) => Stop::Effort(rounds.div_ceil(least)),
    };
    let found = assign(problem, cost, params, &Limits { stop: part(ASSIGNING, 1), ..*limits }, seed, LOOKED_AT);
    let area = |shapes: &mut dyn Iterator<Item = usize>| shapes.map(|s| problem.shapes()[s].region.area()).sum::<f64>();
    let all: f64 = problem.shapes().iter().map(|s| s.region.area() * f64::from(s.copies)).sum();
    let taken = found.first().map_or(0.0, |a| area(&mut a.placements.iter().map(|p| p.shape)));
    // The plan without offcuts is a candidate where they take next to nothing.
    let mut candidates: Vec<Rest> = found.into_iter().map(|a| Rest::new(problem, a)).collect();
    let bare = (taken < LITTLE * all).then(|| Rest::new(problem, Assignment::default()));
    if candidates.len() > 1 && candidates.iter().any(|c| c.problem.is_some()) {
        let each = part(LOOKING / candidates.len() as f64, 4);
        let quiet = |rest: &Rest| rest.length(params, &Limits { stop: each, ..*limits }, seed);
        let lengths: Vec<f64> = candidates.iter().map(quiet).collect();
        let mut order: Vec<usize> = (0..lengths.len()).collect();
        // Stable: at equal length the assignment that came first, which is the better one, stays before.
        order.sort_by(|&a, &b| lengths[a].total_cmp(&lengths[b]));
        let first = order.first().copied().unwrap_or(0);
        candidates = vec![candidates.swap_remove(first)];
    }
    candidates.truncate(1);
    candidates.extend(bare);
    let count = candidates.len() as f64;
    let last = match limits.stop {
        Stop::After(all) => Stop::After(all.saturating_sub(start.elapsed()).max(Duration::from_millis(1)).div_f64(count.max(1.0))),
        effort => effort,
    };
    let begun = start.elapsed().as_secs_f64();
    let relay = Later { observer, begun, share: 1.0 - ASSIGNING - LOOKING };
    let solved = candidates.into_iter().map(|rest| rest.solve(problem, params, &Limits { stop: last, ..*limits }, seed, &relay));
    let best = solved.min_by(|a, b| missing(a).cmp(&missing(b)).then(length(problem, a).total_cmp(&length(problem, b))));
    let best = best.unwrap_or_else(|| nest::solve(problem, params, &Limits { stop: Stop::Effort(0), ..*limits }, seed, observer));
    if best.unplaced.is_empty() || limits.cancel.load(Ordering::Relaxed) {
        return best;
    }
    // Cells are coarser than outlines: where something found no place, the search proper has the last word.
    let exact = nest::solve(problem, params, &Limits { stop: last, ..*limits }, seed, observer);
    if exact.unplaced.len() < best.unplaced.len() { exact } else { best }
}

fn missing(outcome: &Outcome) -> usize {
    outcome.unplaced.len()
}

/// Used length of the open stock.
fn length(problem: &Problem, outcome: &Outcome) -> f64 {
    let open = |s: &&UsedStock| matches!(problem.stocks().get(s.stock).map(|s| &s.extent), Some(Extent::Open { .. }));
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
            let on_offcuts: Vec<u32> = assignment.placements.iter().filter(|p| p.shape == index).map(|p| p.copy).collect();
            let left: Vec<u32> = (0..shape.copies).filter(|c| !on_offcuts.contains(c)).collect();
            if !left.is_empty() {
                shapes.push(Shape { copies: left.len() as u32, ..shape.clone() });
                copies.push((index, left));
            }
        }
        let stocks: Vec<Stock> = open.map(|i| problem.stocks()[i].clone()).into_iter().collect();
        // Shapes and stocks of a valid problem are valid.
        let rest = if shapes.is_empty() { None } else { Problem::new(shapes, stocks, problem.gap()).ok() };
        Rest { assignment, problem: rest, copies, open }
    }

    /// Length of the open stock after a short search, a lot more for every piece that has no place.
    fn length(&self, params: &Params, limits: &Limits<'_>, seed: u64) -> f64 {
        let Some(problem) = &self.problem else { return 0.0 };
        let outcome = nest::solve(problem, params, limits, seed, &nest::Silent);
        outcome.stocks.iter().map(|s| s.used_length).sum::<f64>() + 1e9 * outcome.unplaced.len() as f64
    }

    /// The whole outcome.
    fn solve(&self, whole: &Problem, params: &Params, limits: &Limits<'_>, seed: u64, observer: &dyn Observer) -> Outcome {
        let mut outcome = match &self.problem {
            Some(problem) => nest::solve(problem, params, limits, seed, observer),
            None => Outcome {
                placements: Vec::new(),
                stocks: Vec::new(),
                unplaced: Vec::new(),
                interrupted: limits.cancel.load(Ordering::Relaxed),
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
        let mut placements: Vec<Placement> =
            self.assignment.placements.iter().map(|p| Placement { stock: place(p.stock), ..p.clone() }).collect();
        let named = |shape: usize, copy: u32| {
            let (whole, copies) = &self.copies[shape];
            (*whole, copies.get(copy as usize).copied().unwrap_or(copy))
        };
        for p in &outcome.placements {
            let (shape, copy) = named(p.shape, p.copy);
            placements.push(Placement { shape, copy, stock: stocks.len(), ..p.clone() });
        }
        placements.sort_by_key(|p| (p.shape, p.copy));
        for (shape, copy, _) in &mut outcome.unplaced {
            (*shape, *copy) = named(*shape, *copy);
        }
        stocks.extend(outcome.stocks.iter().map(|s| UsedStock { stock: self.open.unwrap_or(0), ..s.clone() }));
        Outcome { placements, stocks, ..outcome }
    }
}

/// A fixed stock as used.
fn closed(problem: &Problem, stock: usize) -> UsedStock {
    let (from, to) = match &problem.stocks()[stock].extent {
        Extent::Fixed { region } => region.bounds().map_or((0.0, 0.0), |b| (b.min.x, b.max.x)),
        Extent::Open { .. } => (0.0, 0.0),
    };
    UsedStock { stock, used_length: to - from, segments: vec![[from, to]] }
}

/// True if a shape fits the open stock in some pose by its box.
pub(super) fn fits_open(problem: &Problem, shape: &Shape) -> bool {
    problem.stocks().iter().any(|s| {
        let Extent::Open { low, high, segment_max, length_max } = s.extent else { return false };
        let longest = segment_max.filter(|_| !shape.may_cross).into_iter().chain(length_max).fold(f64::INFINITY, f64::min);
        let turned = |p: &nest::Pose| Motion::new(p.turn, p.flip, point(0.0, 0.0)).region(&shape.region).bounds();
        shape.poses.iter().filter_map(turned).any(|b| b.height() <= high - low + 1e-6 && b.width() <= longest + 1e-6)
    })
}

/// Passes progress on as that of the last part of a longer run.
struct Later<'a> {
    observer: &'a dyn Observer,
    begun: f64,
    share: f64,
}

impl Observer for Later<'_> {
    fn progress(&self, progress: &Progress) {
        let share = 1.0 - self.share + self.share * progress.share;
        self.observer.progress(&Progress { seconds: self.begun + progress.seconds, share, ..progress.clone() });
    }
}
