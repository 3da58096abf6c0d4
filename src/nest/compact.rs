//! Compaction: the shortest layout that keeps every pair on the sides it is on now, by linear
//! programming.
//!
//! Each near pair of convex parts is kept apart by the edge of its sum that separates it best now;
//! positions move within a trust region; a few rounds follow the layout as its separating edges
//! change. (After Li and Milenkovic 1995.)

use super::convex::{Frame, difference_sum, edges, offset};
use super::land::turned;
use super::layout::Layout;
use super::nofit_cache::{clearance, reach};
use super::setup::{ENDLESS, Setup};
use super::window::Window;
use microlp::{ComparisonOp, OptimizationDirection, Problem, Variable};
use std::collections::BTreeSet;

/// Trust region as a share of the strip's height.
const TRUST: f64 = 0.02;
/// Rounds at most, and the share of the height below which another is not worth it.
const ROUNDS: usize = 6;
const WORTH: f64 = 2e-5;
/// Rounds of a pull at most.
const PULL_ROUNDS: usize = 8;

/// Compacts the window's items towards lesser x; what lies right of it follows. The length never
/// grows.
pub(super) fn compact(
    setup: &Setup,
    window: &Window,
    layout: &Layout,
    stop: &dyn Fn() -> bool,
) -> Layout {
    let mut best = layout.clone();
    let trust = trust(setup);
    for _ in 0..ROUNDS {
        if stop() {
            break;
        }
        let Some((next, gain)) = step(setup, window, &best, trust, Aim::Shorter) else {
            break;
        };
        best = next;
        if gain < setup.height() * WORTH {
            break;
        }
    }
    best
}

/// The layout with the given pairs moved so far apart that rounding to the grid cannot bring them
/// to overlap, at the cost of a few µm of length. (All pairs at once would be too much: pieces that
/// fill the height exactly have nowhere to go, but on the grid already.)
pub(super) fn cushioned(
    setup: &Setup,
    window: &Window,
    layout: &Layout,
    pairs: &BTreeSet<(usize, usize)>,
) -> Option<Layout> {
    step(setup, window, layout, 60.0, Aim::Apart(pairs)).map(|s| s.0)
}

/// The layout with everything on it pulled in one direction, as far as it goes in a few rounds; no
/// longer than it was.
pub(super) fn pulled(
    setup: &Setup,
    layout: &Layout,
    to: (f64, f64),
    stop: &dyn Fn() -> bool,
) -> Layout {
    let window = Window::whole(setup);
    let mut out = layout.clone();
    let trust = 2.0 * trust(setup);
    for _ in 0..PULL_ROUNDS {
        if stop() {
            break;
        }
        let Some((next, _)) = step(setup, &window, &out, trust, Aim::Pull(to)) else {
            break;
        };
        let moved: f64 = next
            .spots
            .iter()
            .zip(&out.spots)
            .map(|(a, b)| (a.x - b.x).abs() + (a.y - b.y).abs())
            .fold(0.0, f64::max);
        out = next;
        if moved < 0.1 * trust {
            break;
        }
    }
    out
}

/// What the program is to bring about.
#[derive(Clone, Copy)]
enum Aim<'p> {
    /// Less length.
    Shorter,
    /// Some pairs a little apart.
    Apart(&'p BTreeSet<(usize, usize)>),
    /// Everything moved in a direction.
    Pull((f64, f64)),
}

/// The trust region, µm.
fn trust(setup: &Setup) -> f64 {
    (setup.height().min(20.0 * setup.mean_area.sqrt()) * TRUST).max(1.0)
}

/// A body of the program: a mover with its variables, or something fixed, or something that follows
/// the window's shrinking.
#[derive(Clone, Copy)]
enum Part {
    Mover(Variable, Variable),
    Fixed,
    Follows,
}

fn step(
    setup: &Setup,
    window: &Window,
    layout: &Layout,
    trust: f64,
    aim: Aim<'_>,
) -> Option<(Layout, f64)> {
    let strip = setup.strip();
    let mut lp = Problem::new(OptimizationDirection::Maximize);
    // All variables are in units of the trust region, so that the solver's absolute tolerances mean
    // the same everywhere.
    let (pairs, pull) = match aim {
        Aim::Shorter => (None, (-1e-5, 0.0)),
        Aim::Apart(pairs) => (Some(pairs), (-1e-5, 0.0)),
        Aim::Pull(to) => (None, to),
    };
    let gain = match aim {
        Aim::Shorter => lp.add_var(1.0, (0.0, 1.0)),
        Aim::Apart(_) => lp.add_var(1.0, (-1.0, 1.0)),
        Aim::Pull(_) => lp.add_var(0.0, (0.0, 0.0)),
    };
    let mut bodies = Vec::new();
    for &i in &window.movers {
        let spot = layout.spots[i];
        let tight = layout.stance(setup, i).tight;
        let frame = setup.bins[usize::from(spot.bin)].frame;
        let on_strip = usize::from(spot.bin) == strip;
        let low_x = if on_strip { window.low.max(0.0) } else { frame.min.x as f64 };
        let span = |low: f64, high: f64, at: f64| {
            (((low - at) / trust).clamp(-1.0, 0.0), ((high - at) / trust).clamp(0.0, 1.0))
        };
        let high_x =
            if frame.max.x == ENDLESS { f64::INFINITY } else { (frame.max.x - tight.max.x) as f64 };
        let x = lp.add_var(pull.0, span(low_x - tight.min.x as f64, high_x, spot.x));
        let y = lp.add_var(
            pull.1,
            span((frame.min.y - tight.min.y) as f64, (frame.max.y - tight.max.y) as f64, spot.y),
        );
        if on_strip {
            // Right end + dx + gain <= the window's end.
            let end = spot.x + tight.max.x as f64;
            let limit = window.high(layout);
            lp.add_constraint(
                [(x, 1.0), (gain, 1.0)],
                ComparisonOp::Le,
                ((limit - end) / trust).max(0.0),
            );
        }
        bodies.push((i, Part::Mover(x, y)));
    }
    let right: BTreeSet<usize> = window.right.iter().copied().collect();
    bodies.extend(
        window
            .context
            .iter()
            .map(|&i| (i, if right.contains(&i) { Part::Follows } else { Part::Fixed })),
    );
    let ends = walls(setup, window, layout, trust, &mut lp, gain, &bodies);
    for a in 0..window.movers.len() {
        for b in a + 1..bodies.len() {
            let (i, j) = (bodies[a].0, bodies[b].0);
            if layout.spots[i].bin == layout.spots[j].bin {
                let cushion = if pairs.is_some_and(|p| p.contains(&(i.min(j), i.max(j)))) {
                    1.0
                } else {
                    0.0
                };
                keep_apart(setup, layout, (trust, cushion), &mut lp, gain, bodies[a], bodies[b]);
            }
        }
        let cushion = if pairs.is_some() { 1.0 } else { 0.0 };
        keep_off_blocks(setup, layout, (trust, cushion), &mut lp, bodies[a]);
    }
    let solution = lp.solve().ok()?.into_solution().ok()?;
    let mut next = layout.clone();
    for (i, part) in bodies {
        if let Part::Mover(x, y) = part {
            next.spots[i].x += solution.var_value(x) * trust;
            next.spots[i].y += solution.var_value(y) * trust;
        }
    }
    let gained = solution.var_value(gain) * trust;
    for &i in &window.right {
        next.spots[i].x -= gained;
    }
    for (wall, end) in next.walls.iter_mut().zip(ends) {
        *wall += solution.var_value(end) * trust;
    }
    next.length = next.measured(setup);
    Some((next, gained))
}

/// Both parts' difference stays on the outer side of the best separating edge of every near pair of
/// convex parts.
fn keep_apart(
    setup: &Setup,
    layout: &Layout,
    (trust, cushion): (f64, f64),
    lp: &mut Problem,
    gain: Variable,
    a: (usize, Part),
    b: (usize, Part),
) {
    let (ta, tb) = (turned(setup, layout, a.0), turned(setup, layout, b.0));
    let (sa, sb) = (layout.spots[a.0], layout.spots[b.0]);
    let d = (sb.x - sa.x, sb.y - sa.y);
    if !near(&reach(setup, ta, tb), d, 2.0 * trust) {
        return;
    }
    let by = clearance(setup, ta.0, tb.0);
    for p in &setup.bases[ta.0 as usize].turned[usize::from(ta.1)] {
        for q in &setup.bases[tb.0 as usize].turned[usize::from(tb.1)] {
            let Some((n, slack)) = separating(p, q, by, d, 3.0 * trust) else {
                continue;
            };
            let mut row: Vec<(Variable, f64)> = Vec::with_capacity(4);
            if let Part::Mover(x, y) = a.1 {
                row.extend([(x, -n.0), (y, -n.1)]);
            }
            match b.1 {
                Part::Mover(x, y) => row.extend([(x, n.0), (y, n.1)]),
                Part::Follows => row.push((gain, -n.0)),
                Part::Fixed => {}
            }
            row.retain(|r| r.1.abs() > 1e-7);
            lp.add_constraint(row, ComparisonOp::Ge, room(n, slack, cushion) / trust);
        }
    }
}

fn keep_off_blocks(
    setup: &Setup,
    layout: &Layout,
    (trust, cushion): (f64, f64),
    lp: &mut Problem,
    a: (usize, Part),
) {
    let Part::Mover(x, y) = a.1 else { return };
    let (ta, sa) = (turned(setup, layout, a.0), layout.spots[a.0]);
    for block in &setup.bins[usize::from(sa.bin)].blocks {
        let tb = (block.base, block.quarter);
        let d = (block.at.x as f64 - sa.x, block.at.y as f64 - sa.y);
        if !near(&reach(setup, ta, tb), d, trust) {
            continue;
        }
        let by = clearance(setup, ta.0, tb.0);
        for p in &setup.bases[ta.0 as usize].turned[usize::from(ta.1)] {
            for q in &setup.bases[tb.0 as usize].turned[usize::from(tb.1)] {
                if let Some((n, slack)) = separating(p, q, by, d, 2.0 * trust) {
                    let row: Vec<_> =
                        [(x, -n.0), (y, -n.1)].into_iter().filter(|r| r.1.abs() > 1e-7).collect();
                    lp.add_constraint(row, ComparisonOp::Ge, room(n, slack, cushion) / trust);
                }
            }
        }
    }
}

/// Least move along the normal `n` for a pair `slack` apart: none that brings overlap, and the
/// cushion if the edge slants.
fn room(n: (f64, f64), slack: f64, cushion: f64) -> f64 {
    let slants = n.0.abs().min(n.1.abs()) > 1e-12;
    if slants && cushion > 0.0 {
        cushion * (n.0.abs() + n.1.abs()) - slack
    } else {
        (-slack).min(0.0)
    }
}

fn near(f: &Frame, d: (f64, f64), by: f64) -> bool {
    d.0 > f.min.x as f64 - by
        && d.0 < f.max.x as f64 + by
        && d.1 > f.min.y as f64 - by
        && d.1 < f.max.y as f64 + by
}

/// The outward normal of the edge of the parts' sum that `d` is furthest outside of, and by how
/// much; `None` beyond `far`.
fn separating(
    p: &[super::convex::Vertex],
    q: &[super::convex::Vertex],
    by: i64,
    d: (f64, f64),
    far: f64,
) -> Option<((f64, f64), f64)> {
    let sum = difference_sum(p, q);
    let sum = if by > 0 { offset(&sum, by) } else { sum };
    let mut best: Option<((f64, f64), f64)> = None;
    for (a, b) in edges(&sum) {
        let (ex, ey) = ((b.x - a.x) as f64, (b.y - a.y) as f64);
        let l = (ex * ex + ey * ey).sqrt();
        let n = (ey / l, -ex / l);
        let out = n.0 * (d.0 - a.x as f64) + n.1 * (d.1 - a.y as f64);
        if best.is_none_or(|b| out > b.1) {
            best = Some((n, out));
        }
    }
    best.filter(|b| b.1 < far)
}

/// Bench ends: every piece stays on its side of those next to it; they may move, no segment growing
/// too long. Returns their moves.
fn walls(
    setup: &Setup,
    window: &Window,
    layout: &Layout,
    trust: f64,
    lp: &mut Problem,
    gain: Variable,
    bodies: &[(usize, Part)],
) -> Vec<Variable> {
    let Some(segment) = setup.segment.filter(|_| !layout.walls.is_empty()) else {
        return Vec::new();
    };
    let ends: Vec<Variable> = layout.walls.iter().map(|_| lp.add_var(0.0, (-1.0, 1.0))).collect();
    for (w, &at) in layout.walls.iter().enumerate() {
        let before = if w == 0 { 0.0 } else { layout.walls[w - 1] };
        let mut row = vec![(ends[w], 1.0)];
        if w > 0 {
            row.push((ends[w - 1], -1.0));
        }
        lp.add_constraint(
            row,
            ComparisonOp::Le,
            ((segment as f64 - (at - before)) / trust).max(0.0),
        );
    }
    if let (Some(&last), Some(&at)) = (ends.last(), layout.walls.last()) {
        lp.add_constraint(
            [(last, -1.0), (gain, -1.0)],
            ComparisonOp::Le,
            ((segment as f64 - (layout.length - at)) / trust).max(0.0),
        );
    }
    let all_right: BTreeSet<usize> = window.right.iter().copied().collect();
    let others = (0..layout.spots.len()).filter(|i| !bodies.iter().any(|b| b.0 == *i));
    let others: Vec<(usize, Part)> = others
        .map(|i| (i, if all_right.contains(&i) { Part::Follows } else { Part::Fixed }))
        .collect();
    for &(i, part) in bodies.iter().chain(&others) {
        if usize::from(layout.spots[i].bin) != setup.strip() || setup.kind(i).may_cross {
            continue;
        }
        let (x, tight) = (layout.spots[i].x, layout.stance(setup, i).tight);
        let (from, to) = (x + tight.min.x as f64, x + tight.max.x as f64);
        let next = layout.walls.partition_point(|&w| w < (from + to) / 2.0);
        let mine = |sign: f64| match part {
            Part::Mover(x, _) => vec![(x, sign)],
            Part::Follows => vec![(gain, -sign)],
            Part::Fixed => Vec::new(),
        };
        if let Some(&wall) = layout.walls.get(next) {
            let mut row = mine(1.0);
            row.push((ends[next], -1.0));
            lp.add_constraint(row, ComparisonOp::Le, ((wall - to) / trust).max(0.0));
        }
        if next > 0 {
            let mut row = mine(1.0);
            row.push((ends[next - 1], -1.0));
            lp.add_constraint(
                row,
                ComparisonOp::Ge,
                ((layout.walls[next - 1] - from) / trust).min(0.0),
            );
        }
    }
    ends
}
