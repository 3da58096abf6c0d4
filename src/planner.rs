//! From jobs to a verified plan: prepares the pieces, lets the search place them cloth by cloth,
//! measures what came out.
//!
//! The only room that turns pieces and stock into a nesting problem and its outcome into a plan.

mod by_hand;
mod drawn_from;
mod earlier;
mod frame;
mod ground;
mod lay;
mod mosaic;
mod prepared;
mod recut;
mod refusal;
mod sources;
mod takers;

use crate::fault::Faults;
use crate::job::Job;
use crate::nest::{self, Params};
use crate::plan::{self, Early, EndedEarly, LeftOver, PlanPiece, PlanStock, SearchStep};
use crate::ply::Piece;
use crate::run::{Phase, Run, TraceRow};
use crate::stock::Snapshot;
use crate::units::snap;
use crate::verify::{self, Verified};
pub use by_hand::{CutTable, Judged, Lay, Met};
use drawn_from::drawn_from;
pub use earlier::Earlier;
pub use frame::{changed_cloths, unplaced, without_layouts};
use frame::{frame_of_plan, in_one_line};
use ground::Beside;
use mosaic::of_cloth;
pub use prepared::{PreparedJob, prepare, prepare_keeping};
use prepared::{cloths_in_use, pieces_on, points_of};
pub use recut::{CutSoFar, recut};
pub use refusal::Refusal;
use refusal::{MOST_PIECES, too_many};
use sources::Sources;
use std::time::Duration;
pub use takers::{Taker, Takers, takers};

/// Layouts whose lengths differ by less than this share count as equally long: the one that leaves
/// the larger rectangle is taken.
const EQUAL: f64 = 0.002;

/// About what the check of a plan takes for each point of a cut line: a timed search ends so much
/// earlier.
const CHECKING: Duration = Duration::from_micros(15);

/// About what it takes to find what a piece leaves over, where there are very many.
const LEAVING: Duration = Duration::from_micros(700);

/// Plans every cloth of the jobs on the rolls that the jobs describe, and verifies the whole.
///
/// # Errors
/// See [`Refusal`].
///
/// Asked to stop once, it ends at once while it prepares; a search keeps its best layouts, and
/// every cloth that has none yet still gets its first, which takes no search. Asked twice, all
/// ends.
pub fn plan(jobs: &[Job], sets: u32, run: &Run<'_>) -> Result<Verified, Refusal> {
    plan_all(jobs, None, sets, run)
}

/// The same on the rolls and offcuts of a stock: offcuts first, then the rolls that expire first.
///
/// # Errors
/// As [`plan()`].
pub fn plan_from_stock(
    jobs: &[Job],
    stock: &Snapshot,
    sets: u32,
    run: &Run<'_>,
) -> Result<Verified, Refusal> {
    go_on(jobs, stock, &Earlier::default(), sets, run)
}

/// The same for a kit that is cut in part: what is cut stays as it is, the rest and what was
/// spoiled is planned on what the stock has now.
///
/// # Errors
/// As [`plan()`]; a piece that is cut and no longer as the jobs want it fails the verification.
pub fn go_on(
    jobs: &[Job],
    stock: &Snapshot,
    earlier: &Earlier,
    sets: u32,
    run: &Run<'_>,
) -> Result<Verified, Refusal> {
    let jobs = sources::on_rolls_at_hand(jobs, stock).map_err(Refusal::Input)?;
    plan_all(&jobs, Some((stock, earlier)), sets, run)
}

fn plan_all(
    jobs: &[Job],
    from: Option<(&Snapshot, &Earlier)>,
    sets: u32,
    run: &Run<'_>,
) -> Result<Verified, Refusal> {
    let nothing = Earlier::default();
    let (stock, earlier) = (from.map(|f| f.0), from.map_or(&nothing, |f| f.1));
    let mut prepared = prepare(jobs, sets, run)?;
    // What preparing took is taken off.
    let (whole, run) = (run, &run.part(run.rest()).in_time());
    let mosaics =
        mosaic::plan(&mut prepared, stock, earlier, sets, run).map_err(Refusal::NotPlaced)?;
    let pieces: u64 =
        prepared.iter().flat_map(|p| &p.prepared.pieces).map(|p| u64::from(p.copies)).sum();
    if pieces > MOST_PIECES as u64 {
        return Err(Refusal::Input(too_many(pieces as usize).into()));
    }
    let pieces = u32::try_from(pieces).unwrap_or(u32::MAX);
    let run = &run.sparing(CHECKING * points_of(&prepared) + LEAVING * pieces);
    // Each offcut is opened once: for patches or for whole plies.
    let for_plies = stock.map(|s| s.clone().without_offcuts(&mosaics.opened()));
    let cloths = cloths_in_use(&prepared);
    let mut plan = frame_of_plan(jobs, &prepared, sets, whole);
    let mut drawn = stock.map(|s| drawn_from(s, earlier));
    let kept = earlier.copies();
    let mut faults = Faults::new();

    let on_offcut = |(_, piece): &(&Job, &Piece)| mosaics.placed.contains(&piece.id);
    let weights: Vec<f64> = cloths
        .iter()
        .map(|c| {
            f64::from(
                pieces_on(&prepared, c)
                    .filter(|p| !on_offcut(p))
                    .map(|(_, p)| p.copies)
                    .sum::<u32>(),
            )
        })
        .collect();
    plan.interrupted = !mosaics.plans.is_empty() && run.is_asked();
    for (index, cloth) in cloths.iter().enumerate() {
        let pieces: Vec<(&Job, &Piece)> =
            pieces_on(&prepared, cloth).filter(|p| !on_offcut(p)).collect();
        let sources = for_plies
            .as_ref()
            .map_or_else(|| Sources::of_job(cloth), |s| Sources::of_stock(s, cloth));
        // What a search that ended early leaves of its time is for the others.
        let to_come: f64 = weights[index..].iter().sum();
        let stop = run.rest().share(weights[index] / to_come.max(1.0));
        let part = run
            .about(&cloth.id, (index as f64 / cloths.len() as f64, 1.0 / cloths.len() as f64))
            .part(stop);
        let params = Params { equal: EQUAL, ..Params::default() };
        let patches: Vec<(&Job, &Piece)> = pieces_on(&prepared, cloth).filter(on_offcut).collect();
        let of_mosaics = of_cloth(&mosaics.stocks, cloth);
        let beside = Beside { pieces: &patches, stocks: &of_mosaics, cut: &kept };
        let laid = lay::lay(&pieces, cloth, &jobs[0], &sources, beside, &params, &part);
        run.check(Phase::FirstLayout).map_err(Refusal::Stopped)?;
        let laid = match laid {
            Ok(laid) => laid,
            Err(f) => {
                faults.extend(f);
                continue;
            }
        };
        plan.interrupted |= laid.interrupted;
        let laid_stocks = [of_mosaics, laid.stocks].concat();
        let (width, stop) =
            (jobs[0].cutting.least_offcut_width, || run.is_stopped(Phase::FirstLayout));
        let left: Vec<LeftOver> = run.pooled(|| {
            laid_stocks.iter().map(|s| plan::left_over_unless(s, width, &stop)).collect()
        });
        run.check(Phase::FirstLayout).map_err(Refusal::Stopped)?;
        let offcuts = |(stock, left): (PlanStock, &LeftOver)| PlanStock {
            offcuts: left.offcuts.clone(),
            ..stock
        };
        let stocks: Vec<PlanStock> = laid_stocks.into_iter().zip(&left).map(offcuts).collect();
        run.tell_history(&cloth.id, &laid.trace);
        run.tell_settled(&|| {
            let pieces: Vec<&PlanPiece> =
                plan.pieces.iter().filter(|p| p.cloth == cloth.id).collect();
            plan::drawn(&cloth.id, &pieces, &stocks.iter().collect::<Vec<_>>(), laid.least.0)
        });
        let figures = plan::cloth_figures(cloth, &stocks, &left, laid.least.clone());
        // A plan by effort is the same however long it took.
        let early = laid.early.filter(|_| !run.is_by_effort()).map(ended_early);
        plan.cloths.push(plan::ClothFigures { history: steps(&laid.trace), early, ..figures });
        if let (Some(drawn), Some(snapshot)) = (&mut drawn, stock) {
            drawn.saved.extend(lay::savings(&stocks, cloth));
            drawn.cautions.extend(sources.cautions.iter().chain(&laid.caution).map(in_one_line));
            let new_cloth =
                stocks.iter().any(|s| s.kind == plan::StockKind::Roll && !s.placed.is_empty());
            drawn.cautions.extend(sources.no_roll.iter().filter(|_| new_cloth).map(in_one_line));
            drawn.note(&stocks, snapshot);
        }
        plan.stocks.extend(stocks);
        plan.stocks.extend(of_cloth(&earlier.stocks, cloth));
    }
    if !faults.is_empty() {
        return Err(Refusal::NotPlaced(faults));
    }
    plan.drawn_from = drawn;
    plan.mosaics = mosaics.plans;
    mosaic::measure(&mut plan.mosaics, &plan.stocks);
    let verified = verify::verify_in(plan.sealed(), run);
    run.check(Phase::Verifying).map_err(Refusal::Stopped)?;
    verified.map_err(Refusal::NotVerified)
}

/// As the plan says it.
fn ended_early((why, seconds): (nest::Early, f64)) -> EndedEarly {
    let why = match why {
        nest::Early::Least => Early::Least,
        nest::Early::Again => Early::Again,
        nest::Early::Slow => Early::Slow,
    };
    EndedEarly { why, seconds: (seconds * 10.0).round() / 10.0 }
}

/// The rows of a history that brought another layout.
fn steps(trace: &[TraceRow]) -> Vec<SearchStep> {
    let mut out: Vec<SearchStep> = Vec::new();
    for row in trace {
        let length = snap(row.length);
        if out.last().is_none_or(|s| length != s.length) {
            out.push(SearchStep { evaluations: row.evaluations, length });
        }
    }
    out
}
