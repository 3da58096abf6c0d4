//! Jobs made at random are planned, or refused for a reason that is named; never by the program's
//! own verification. What is cut is worked out again with the `geo` crate: cut line outside the net
//! line, by no more than each edge's allowance; windows inside the cut line, each smaller by its
//! own.
//!
//! `WARPWISE_JOBS=1000` for more of them, `WARPWISE_JOBS_FROM=40` to begin elsewhere.
#![allow(clippy::unwrap_used, clippy::print_stdout)]

#[path = "random_support/mod.rs"]
mod random_support;
mod verify_support;

use geo::algorithm::buffer::{BufferStyle, LineCap, LineJoin};
use geo::{
    Area, BooleanOps, Buffer, Euclidean, Length, Line, LineString, MultiPolygon, Point, Polygon,
    Translate, unary_union,
};
use std::collections::BTreeMap;
use std::fs;
use std::sync::atomic::{AtomicU64, Ordering};
use verify_support::laid;
use warpwise::geometry::{self, Ring};
use warpwise::job::load;
use warpwise::outline::EdgeKind;
use warpwise::plan::{Plan, PlanLayer, PlanPiece, PlanTemplate};
use warpwise::planner::{self, Refusal};
use warpwise::ply::Hand;
use warpwise::run::{Run, Stop};
use warpwise::stock::{Day, Snapshot};

/// What a round join and two roundings to the grid may add, mm.
const SLACK: f64 = 0.07;
/// The farthest a mitre may reach, in allowances.
const MITRE: f64 = 1.5;
/// A gap that is left where an allowance closes a slot is cut from this area on, mm².
const GAP: f64 = 100.0;

enum End {
    Planned,
    Refused(String),
    Wrong(String),
}

fn number(name: &str, default: u64) -> u64 {
    std::env::var(name).ok().and_then(|n| n.parse().ok()).unwrap_or(default)
}

#[test]
fn random_jobs_are_planned_or_refused_with_a_reason() {
    let (first, count) = (number("WARPWISE_JOBS_FROM", 0), number("WARPWISE_JOBS", 40));
    // Threads of their own: a pool that planning shares would take up a job while another waits on
    // the same stack.
    let next = AtomicU64::new(first);
    let work = || {
        let one = || Some(next.fetch_add(1, Ordering::Relaxed)).filter(|k| *k < first + count);
        std::iter::from_fn(one).map(|k| (k, unharmed(k))).collect::<Vec<_>>()
    };
    let mut ends: Vec<(u64, End)> = std::thread::scope(|scope| {
        let cores = std::thread::available_parallelism().map_or(1, usize::from);
        let workers: Vec<_> = (0..cores).map(|_| scope.spawn(work)).collect();
        workers.into_iter().flat_map(|w| w.join().unwrap()).collect()
    });
    ends.sort_by_key(|(k, _)| *k);
    let refusals = ends.iter().filter_map(|(k, e)| {
        if let End::Refused(why) = e { Some(format!("job {k}: {why}")) } else { None }
    });
    let refused = refusals.inspect(|why| println!("refused {why}")).count();
    let wrong: Vec<String> =
        ends.iter()
            .filter_map(|(k, e)| {
                if let End::Wrong(why) = e { Some(format!("job {k}: {why}")) } else { None }
            })
            .collect();
    println!(
        "{count} jobs: {} planned, {refused} refused, {} wrong",
        ends.len() - refused - wrong.len(),
        wrong.len()
    );
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
    assert!(3 * refused < ends.len(), "{refused} of {count} refused: jobs that nobody would make");
}

/// One job; a panic is told as what is wrong with it.
fn unharmed(k: u64) -> End {
    std::panic::catch_unwind(|| run(k)).unwrap_or_else(|panic| {
        let text = panic
            .downcast_ref::<String>()
            .cloned()
            .or_else(|| panic.downcast_ref::<&str>().map(|t| (*t).to_string()));
        End::Wrong(format!("panicked: {}", text.unwrap_or_default()))
    })
}

/// The same, from files to the pieces on the cloth.
fn run(k: u64) -> End {
    let folder = tempfile::tempdir().unwrap();
    random_support::write_job(folder.path(), k);
    let named = |faults: &warpwise::fault::Faults| {
        let blank = faults.0.iter().find(|f| f.what.is_empty() || f.remedy.is_empty());
        if faults.0.is_empty() || blank.is_some() {
            End::Wrong(format!("refused without a reason: {faults}"))
        } else {
            End::Refused(faults.0[0].what.clone())
        }
    };
    let (job, _) = match load(&folder.path().join("job.toml")) {
        Ok(loaded) => loaded,
        Err(faults) => return named(&faults),
    };
    let run = Run::new(Stop::Effort(0)).with_threads(1);
    let jobs = std::slice::from_ref(&job);
    let planned = match fs::read_to_string(folder.path().join("stock.json")) {
        Ok(text) => {
            let stock = Snapshot::from_json(&text, Day::parse("2026-11-25").unwrap()).unwrap();
            planner::plan_from_stock(jobs, &stock, 1, &run)
        }
        Err(_) => planner::plan(jobs, 1, &run),
    };
    match planned {
        Ok(plan) => wrong_pieces(plan.plan()).map_or(End::Planned, End::Wrong),
        Err(Refusal::Input(faults)) => named(&faults),
        // The rolls of these jobs have no end.
        Err(Refusal::NotPlaced(faults)) => End::Wrong(format!("not placed: {faults}")),
        Err(Refusal::NotVerified(faults)) => End::Wrong(format!("not verified: {faults}")),
        Err(Refusal::Stopped(fault)) => End::Wrong(format!("stopped: {fault}")),
    }
}

fn ring(points: &[geometry::Point]) -> LineString<f64> {
    LineString::from_iter(points.iter().map(|p| (p.x, p.y)))
}

fn polygon(outline: &Ring, holes: &[Ring]) -> Polygon<f64> {
    Polygon::new(ring(outline), holes.iter().map(|h| ring(h)).collect())
}

/// The first ply that is not what its template and layer ask for.
fn wrong_pieces(plan: &Plan) -> Option<String> {
    for placed in plan.stocks.iter().flat_map(|s| &s.placed) {
        let piece = plan.pieces.iter().find(|p| p.piece == placed.piece)?;
        let (there, wanted) = (
            polygon(&placed.outline, &placed.holes).unsigned_area(),
            polygon(&piece.outline, &piece.holes).unsigned_area(),
        );
        if (there - wanted).abs() > 0.01 + 1e-3 * Euclidean.length(&ring(&piece.outline)) {
            return Some(format!("{}: {there:.2} mm² where it lies, not {wanted:.2}", piece.piece));
        }
    }
    let mut plies: BTreeMap<(usize, &str), Vec<&PlanPiece>> = BTreeMap::new();
    plan.pieces.iter().for_each(|p| plies.entry((p.layer, &p.ply)).or_default().push(p));
    plies.values().find_map(|pieces| {
        let layer = plan.layers.iter().find(|l| l.layer == pieces[0].layer)?;
        let template = plan.templates.iter().find(|t| t.template == pieces[0].template)?;
        wrong_ply(plan, pieces, layer, template).map(|why| format!("{}: {why}", pieces[0].ply))
    })
}

/// An edge of the net line where its ply lies on the cloth, and the cloth beyond it.
struct Edge {
    line: Line<f64>,
    amount: f64,
}

fn edges(ring: &Ring, amounts: &[f64], reversed: bool) -> Vec<Edge> {
    let n = ring.len();
    let edge = |i: usize| {
        let (a, b) = (ring[i], ring[(i + 1) % n]);
        let (a, b) = if reversed { (b, a) } else { (a, b) };
        Edge { line: Line::new((a.x, a.y), (b.x, b.y)), amount: amounts[i] }
    };
    if reversed { (0..n).rev().map(edge).collect() } else { (0..n).map(edge).collect() }
}

/// Everything as far from a growing edge as its allowance, and as a mitre may reach at corners that
/// turn outward.
fn reached(edges: &[Edge]) -> MultiPolygon<f64> {
    let round = |r: f64| {
        BufferStyle::new(r).line_join(LineJoin::Round(0.05)).line_cap(LineCap::Round(0.05))
    };
    let mut parts: Vec<MultiPolygon<f64>> = Vec::new();
    for (i, edge) in edges.iter().enumerate() {
        let next = &edges[(i + 1) % edges.len()];
        let amount = edge.amount.max(next.amount);
        if edge.amount > 0.0 {
            parts.push(edge.line.buffer_with_style(round(edge.amount + SLACK)));
        }
        let (a, b) = (edge.line.delta(), next.line.delta());
        let turn = (a.x * b.y - a.y * b.x).atan2(a.x * b.x + a.y * b.y);
        // Beside an edge that does not grow nothing reaches round the corner, unless that corner is
        // acute.
        if amount > 0.0
            && (edge.amount.min(next.amount) > 0.0 && turn > 0.0
                || turn > std::f64::consts::FRAC_PI_2)
        {
            parts.push(Point::from(edge.line.end).buffer_with_style(round(MITRE * amount + SLACK)));
        }
    }
    unary_union(&parts.iter().flat_map(|m| m.0.clone()).collect::<Vec<_>>())
}

fn wrong_ply(
    plan: &Plan,
    pieces: &[&PlanPiece],
    layer: &PlanLayer,
    template: &PlanTemplate,
) -> Option<String> {
    let parts: Vec<Polygon<f64>> = pieces
        .iter()
        .map(|p| polygon(&p.outline, &p.holes).translate(-p.origin.x, -p.origin.y))
        .collect();
    let cut = unary_union(&parts);
    let first = pieces[0];
    let origin = geometry::point(0.0, 0.0);
    let mirrored = first.hand == Hand::Mirrored;
    let put = |ring: &Ring| {
        ring.iter()
            .map(|&p| laid(p, template.arrow, first.hand, first.angle, origin))
            .collect::<Ring>()
    };
    let amount = |kind: &EdgeKind| match kind {
        EdgeKind::Trim => layer.trim,
        EdgeKind::Lap => layer.lap,
        EdgeKind::Butt | EdgeKind::Dart => 0.0,
    };
    let before = plan
        .layers
        .iter()
        .filter(|l| {
            l.layer < layer.layer && l.items.iter().any(|i| i.template == template.template)
        })
        .count();
    let step = template.on.as_ref().map_or(0.0, |(_, step)| step * before as f64);
    let mut amounts: Vec<f64> = template.edges.iter().map(amount).collect();
    let mut outer = put(&template.net);
    let mut reversed = mirrored;
    if step > 0.0 {
        // Stepped back: the net line in the piece, held against an inward buffer. All edges of a
        // patch are of one kind.
        let expected = polygon(&outer, &[])
            .buffer_with_style(BufferStyle::new(-step).line_join(LineJoin::Miter(0.5)))
            .unsigned_area();
        let net = polygon(first.net.first()?, &[]);
        if pieces.len() == 1
            && (net.unsigned_area() - expected).abs() > 0.01 * expected + 4.0 * step
        {
            return Some(format!(
                "stepped back {step} mm it has {:.1} mm², not {expected:.1}",
                net.unsigned_area()
            ));
        }
        if pieces.len() > 1 {
            return None;
        }
        outer = first.net[0].iter().map(|&p| p - first.origin).collect();
        amounts = vec![amounts[0]; outer.len()];
        reversed = false;
    }
    let holes: Vec<Ring> =
        if step > 0.0 { Vec::new() } else { template.holes.iter().map(put).collect() };
    let (whole, net) = (polygon(&outer, &[]), polygon(&outer, &holes));
    let rim = Euclidean.length(&ring(&outer))
        + holes.iter().map(|h| Euclidean.length(&ring(h))).sum::<f64>()
        + 10.0;
    // Two roundings to the grid, and slits that are closed: hundredths of a millimetre at most,
    // here and there.
    let rounding = 0.004 * rim;

    let uncovered = MultiPolygon::from(net).difference(&cut).unsigned_area();
    if uncovered > rounding {
        return Some(format!("its cut line runs inside the net line: {uncovered:.3} mm²"));
    }
    let outside = cut.difference(&MultiPolygon::from(whole.clone()));
    let own = edges(&outer, &amounts, reversed);
    let reach = reached(&own);
    // Gaps of less than 100 mm² that the allowance leaves where it closes a slot are not cut.
    let closed = reach.union(&MultiPolygon::from(whole.clone()));
    let gaps = closed
        .iter()
        .flat_map(|p| p.interiors())
        .map(|g| Polygon::new(g.clone(), Vec::new()))
        .filter(|g| g.unsigned_area() < GAP);
    let allowed = gaps.fold(reach, |all, gap| all.union(&MultiPolygon::from(gap)));
    let beyond = outside.difference(&allowed).unsigned_area();
    if beyond > rounding {
        return Some(format!("{beyond:.3} mm² of cloth lie farther out than any edge's allowance"));
    }
    let same = amounts.iter().all(|a| *a == amounts[0]);
    if same && amounts[0] > 0.0 && holes.is_empty() {
        let style = BufferStyle::new(amounts[0]).line_join(LineJoin::Round(0.05));
        let short = whole.buffer_with_style(style).difference(&cut).unsigned_area();
        // Gaps under 100 mm² where a slot closes are filled, never left.
        if short > rounding {
            return Some(format!("{short:.3} mm² of its allowance are missing"));
        }
    }
    for hole in &holes {
        let window = polygon(hole, &[]);
        let smaller = |by: f64, join: LineJoin<f64>| {
            window.buffer_with_style(BufferStyle::new(-by).line_join(join))
        };
        let void = MultiPolygon::from(window.clone()).difference(&cut);
        let most = smaller(layer.trim - 0.02, LineJoin::Round(0.05));
        let least = smaller(MITRE * layer.trim + SLACK, LineJoin::Round(0.05));
        let (too_large, missing) =
            (void.difference(&most).unsigned_area(), least.difference(&void).unsigned_area());
        // Less than 1 mm² is not cut.
        if too_large > rounding || missing > 1.0 + rounding {
            return Some(format!(
                "a window is {too_large:.3} mm² too large, {missing:.3} mm² too small"
            ));
        }
    }
    None
}
