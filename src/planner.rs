//! From jobs to a verified plan: prepares the pieces, lets the search place them cloth by cloth,
//! measures what came out.
//!
//! The only room that turns pieces and stock into a nesting problem and its outcome into a plan.

mod by_hand;
mod earlier;
mod ground;
mod lay;
mod mosaic;
mod recut;
mod sources;
mod takers;

use crate::cloth::Cloth;
use crate::fault::{Fault, Faults};
use crate::job::{Job, TemplateSource};
use crate::nest::{self, Params};
use crate::plan::{
    self, DrawnFrom, DrawnStock, Early, EndedEarly, LeftOver, OtherHand, Plan, PlanCloth,
    PlanLayer, PlanLayerItem, PlanPiece, PlanStock, PlanTemplate, Rules, SearchStep, SpliceFacts,
};
use crate::ply::{self, Kept, Piece, Prepared, TemplateFrame};
use crate::run::{Phase, Run, Stop, TraceRow};
use crate::stock::Snapshot;
use crate::units::snap;
use crate::verify::{self, Verified};
pub use by_hand::{CutTable, Judged, Lay, Met};
pub use earlier::Earlier;
use ground::Beside;
pub use recut::{CutSoFar, recut};
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

/// A plan holds at most so many pieces, copies counted.
const MOST_PIECES: usize = 20_000;

fn too_many(pieces: usize) -> Fault {
    let what = said!("the plan comes to {pieces} pieces or more, and holds at most {MOST_PIECES}");
    Fault::new(what, "plan fewer sets, copies or jobs at a time")
}

/// Why there is no plan.
#[derive(Clone, Debug, PartialEq)]
pub enum Refusal {
    /// The jobs are at fault.
    Input(Faults),
    /// The pieces could not be placed: which and why.
    NotPlaced(Faults),
    /// The plan failed its verification: a defect of this program, never of the job.
    NotVerified(Faults),
    /// It was asked to stop before there was a plan.
    Stopped(Fault),
}

impl Refusal {
    /// What it says.
    pub fn into_faults(self) -> Faults {
        match self {
            Refusal::Input(faults) | Refusal::NotPlaced(faults) | Refusal::NotVerified(faults) => {
                faults
            }
            Refusal::Stopped(fault) => fault.into(),
        }
    }
}

/// The pieces of one job, ready to cut.
#[derive(Clone, Debug, PartialEq)]
pub struct PreparedJob<'a> {
    /// The job.
    pub job: &'a Job,
    /// Its pieces, ids and numbers unique over all jobs of the run.
    pub prepared: Prepared,
}

/// Prepares the pieces of jobs that are to share rolls, which [`crate::job::agree`] holds to agree.
/// With several jobs, piece ids carry the job's name and numbers its letter.
///
/// # Errors
/// Every fault of preparation; that it was stopped.
pub fn prepare<'a>(
    jobs: &'a [Job],
    sets: u32,
    run: &Run<'_>,
) -> Result<Vec<PreparedJob<'a>>, Refusal> {
    prepare_keeping(jobs, sets, &Kept::default(), run)
}

/// The same with what was worked out before, which is added to.
///
/// # Errors
/// As [`prepare`].
pub fn prepare_keeping<'a>(
    jobs: &'a [Job],
    sets: u32,
    kept: &Kept,
    run: &Run<'_>,
) -> Result<Vec<PreparedJob<'a>>, Refusal> {
    let mut faults = Faults::new();
    let mut all = Vec::new();
    for (index, job) in jobs.iter().enumerate() {
        let part =
            run.about(&job.name, (index as f64 / jobs.len() as f64, 1.0 / jobs.len() as f64));
        part.tell(Phase::Preparing, Some(0.0));
        let prepared = ply::prepare_keeping(job, jobs, kept, &part);
        // What was found until then is not all there is to say.
        run.check(Phase::Preparing).map_err(Refusal::Stopped)?;
        let Some(mut prepared) = faults.keep(prepared) else {
            continue;
        };
        for piece in &mut prepared.pieces {
            piece.copies = piece.copies.saturating_mul(sets);
            if jobs.len() > 1 {
                piece.id = format!("{}/{}", job.name, piece.id);
                piece.ply = format!("{}/{}", job.name, piece.ply);
                piece.number = format!("{}{}", letters(index), piece.number);
            }
        }
        all.push(PreparedJob { job, prepared });
    }
    let mut all = faults.into_result(all).map_err(Refusal::Input)?;
    let unsaid = ply::unsaid_pairs(&all.iter().map(|p| (p.job, &p.prepared)).collect::<Vec<_>>());
    for (index, warning) in unsaid {
        all[index].prepared.warnings.push(warning);
    }
    Ok(all)
}

/// Points of all cut lines, copies counted.
fn points_of(prepared: &[PreparedJob<'_>]) -> u32 {
    let pieces = prepared.iter().flat_map(|p| &p.prepared.pieces);
    let points: usize =
        pieces.map(|p| p.outline.rings().map(Vec::len).sum::<usize>() * p.copies as usize).sum();
    u32::try_from(points).unwrap_or(u32::MAX)
}

/// The plan of jobs before there is any piece: templates, layers, and the work at the mould.
pub fn unplaced(jobs: &[Job], sets: u32) -> Plan {
    frame_of_plan(jobs, &[], sets, &Run::new(Stop::Effort(0)).with_seed(0))
}

/// The plan of prepared jobs before anything is placed: what figures of the laminate and pictures
/// of plies need.
pub fn without_layouts(prepared: &[PreparedJob<'_>]) -> Plan {
    let jobs: Vec<Job> = prepared.iter().map(|p| p.job.clone()).collect();
    frame_of_plan(&jobs, prepared, 1, &Run::new(Stop::Effort(0)).with_seed(0))
}

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

fn of_cloth(stocks: &[PlanStock], cloth: &Cloth) -> Vec<PlanStock> {
    stocks.iter().filter(|s| s.cloth == cloth.id).cloned().collect()
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

/// The stock as the plan remembers it, before anything is taken from it.
fn drawn_from(stock: &Snapshot, earlier: &Earlier) -> DrawnFrom {
    let cautions = stock
        .consumables
        .iter()
        .filter_map(|c| c.warning(stock.day))
        .map(|f| in_one_line(&f))
        .collect();
    let cut_before = earlier.stocks.iter().map(|s| s.id.clone()).collect();
    let (ledger, kit) = (stock.ledger.clone(), earlier.kit.clone());
    DrawnFrom {
        ledger,
        day: stock.day,
        cautions,
        saved: Vec::new(),
        stocks: Vec::new(),
        kit,
        cut_before,
    }
}

impl DrawnFrom {
    /// Notes the rolls and offcuts that a plan's stocks are, and what their dates ask for.
    fn note(&mut self, stocks: &[PlanStock], stock: &Snapshot) {
        for id in stocks.iter().map(|s| &s.id) {
            let roll = stock
                .rolls
                .iter()
                .find(|r| r.id() == id)
                .map(|r| (r.facts().revision, r.facts().batch.clone(), *r.age()));
            let offcut = || {
                stock
                    .offcuts
                    .iter()
                    .find(|o| o.id() == id)
                    .map(|o| (o.facts().revision, o.facts().batch.clone(), *o.age()))
            };
            let Some((revision, batch, age)) = roll.or_else(offcut) else {
                continue;
            };
            self.cautions.extend(age.warning(id, stock.day).map(|f| in_one_line(&f)));
            self.stocks.push(DrawnStock {
                stock: id.clone(),
                revision,
                batch,
                expiry: age.expiry,
                hours_left: age.hours_left(),
            });
        }
    }
}

/// `A` to `Z`, then `AA` and so on.
fn letters(mut index: usize) -> String {
    let mut out = String::new();
    loop {
        out.insert(0, char::from(b'A' + (index % 26) as u8));
        if index < 26 {
            return out;
        }
        index = index / 26 - 1;
    }
}

/// The cloths that pieces are cut from, in order of first use; jobs that share a cloth agree about
/// it.
fn cloths_in_use<'a>(prepared: &[PreparedJob<'a>]) -> Vec<&'a Cloth> {
    let mut cloths: Vec<&'a Cloth> = Vec::new();
    for PreparedJob { job, prepared } in prepared {
        for piece in &prepared.pieces {
            let cloth = &job.cloths[piece.cloth];
            if !cloths.iter().any(|c| c.id == cloth.id) {
                cloths.push(cloth);
            }
        }
    }
    cloths
}

/// The pieces of all jobs that are cut from a cloth, in laying order job by job.
fn pieces_on<'p, 'a>(
    prepared: &'p [PreparedJob<'a>],
    cloth: &'p Cloth,
) -> impl Iterator<Item = (&'a Job, &'p Piece)> {
    prepared.iter().flat_map(move |PreparedJob { job, prepared }| {
        prepared
            .pieces
            .iter()
            .filter(move |piece| job.cloths[piece.cloth].id == cloth.id)
            .map(move |piece| (*job, piece))
    })
}

/// The plan before anything is placed.
fn frame_of_plan(jobs: &[Job], prepared: &[PreparedJob<'_>], sets: u32, run: &Run<'_>) -> Plan {
    let (effort, seconds) = match run.stop() {
        Stop::Effort(rounds) => (Some(rounds), None),
        Stop::After(time) => (None, Some(time.as_secs_f64())),
    };
    let cutting = jobs.first().map(|j| &j.cutting);
    Plan {
        schema: 1,
        tool: concat!("warpwise ", env!("CARGO_PKG_VERSION")).to_string(),
        id: String::new(),
        jobs: jobs.iter().map(|j| j.name.clone()).collect(),
        seed: run.seed(),
        effort,
        lanes: effort.map(|_| Params::default().lanes),
        seconds,
        interrupted: false,
        currency: jobs.first().map_or(String::new(), |j| j.currency.clone()),
        rules: Rules {
            gap: cutting.map_or(0.0, |c| c.gap),
            angle_tolerance: prepared
                .iter()
                .flat_map(|p| &p.prepared.pieces)
                .map(|p| p.tolerance)
                .fold(0.0, f64::max),
            bench_length: cutting.and_then(|c| c.bench_length),
            least_offcut_width: cutting.map_or(0.0, |c| c.least_offcut_width),
        },
        templates: jobs.iter().flat_map(templates_of).collect(),
        layers: jobs.iter().flat_map(|job| layers_of(job, sets)).collect(),
        pieces: prepared
            .iter()
            .flat_map(|p| p.prepared.pieces.iter().map(|piece| plan_piece(p.job, piece)))
            .collect(),
        stocks: Vec::new(),
        cloths: Vec::new(),
        materials: cloths_in_use(prepared).into_iter().map(material_of).collect(),
        warnings: prepared.iter().flat_map(|p| &p.prepared.warnings).map(in_one_line).collect(),
        mosaics: Vec::new(),
        drawn_from: None,
        other_hands: jobs
            .iter()
            .filter_map(|j| Some(OtherHand { job: j.name.clone(), of: j.other_hand_of.clone()? }))
            .filter(|o| jobs.iter().any(|j| j.name == o.of))
            .collect(),
        mould_work: jobs.iter().map(|j| j.mould_work.clone()).collect(),
        hash_today: None,
    }
}

/// A warning without its file, so that the same job gives the same plan wherever it lies.
fn in_one_line(warning: &Fault) -> String {
    Fault { file: None, ..warning.clone() }.in_one_line()
}

fn templates_of(job: &Job) -> Vec<PlanTemplate> {
    job.templates
        .iter()
        .enumerate()
        .filter_map(|(index, template)| {
            let TemplateFrame { skin, arrow, inked } = ply::template_frame(job, index)?;
            Some(PlanTemplate {
                template: template.id.clone(),
                job: job.name.clone(),
                arrow,
                net: skin.net,
                edges: skin.edges,
                holes: skin.holes,
                cuts: skin.cuts,
                no_splice: skin.no_splice,
                inked,
                other_hand_of: template.other_hand_of.clone(),
                strip: matches!(template.source, TemplateSource::Strip { .. }),
                on: match &template.source {
                    TemplateSource::Patch { on, step_back, .. } => Some((on.clone(), *step_back)),
                    _ => None,
                },
            })
        })
        .collect()
}

fn layers_of(job: &Job, sets: u32) -> Vec<PlanLayer> {
    job.layers
        .iter()
        .enumerate()
        .map(|(index, layer)| PlanLayer {
            job: job.name.clone(),
            layer: index + 1,
            name: layer.name.clone(),
            cloth: job.cloths[layer.cloth].id.clone(),
            angle: layer.angle,
            seen: layer.seen,
            book_match: layer.book_match,
            turns_overridden: layer.turns.is_some(),
            trim: layer.trim,
            lap: layer.lap,
            items: layer
                .items
                .iter()
                .map(|item| PlanLayerItem {
                    template: job.templates[item.template].id.clone(),
                    hands: item.hands,
                    copies: item.copies.saturating_mul(sets),
                })
                .collect(),
        })
        .collect()
}

fn plan_piece(job: &Job, piece: &Piece) -> PlanPiece {
    PlanPiece {
        side: job.side_of(&piece.template, piece.hand == ply::Hand::Mirrored),
        piece: piece.id.clone(),
        number: piece.number.clone(),
        job: job.name.clone(),
        layer: piece.layer,
        ply: piece.ply.clone(),
        template: piece.template.clone(),
        hand: piece.hand,
        angle: piece.angle,
        cloth: job.cloths[piece.cloth].id.clone(),
        part: piece.part,
        splice: piece.part.and(splice_facts(job, piece)),
        patch: piece.patch,
        copies: piece.copies,
        permitted: piece.permitted.clone(),
        tolerance: piece.tolerance,
        permitted_by: piece.permitted_by.clone(),
        may_cross_bench: piece.may_cross_bench,
        origin: piece.origin,
        outline: piece.outline.outline.clone(),
        holes: piece.outline.holes.clone(),
        net: piece.net.clone(),
        cuts: piece.cuts.clone(),
        marks: piece.marks.clone(),
        arrow: piece.arrow,
    }
}

fn splice_facts(job: &Job, piece: &Piece) -> Option<SpliceFacts> {
    let rule = job.splice.as_ref()?;
    let (kind, lap) = ply::splice_of(job.cloths[piece.cloth].weave, rule.lap);
    Some(SpliceFacts { kind, lap, stagger: rule.stagger, plies_apart: rule.plies_apart })
}

/// The cloths of a plan that a job has other values of by now: the id, and the keys that differ.
/// What a plan of an earlier build does not say is not held against the job.
pub fn changed_cloths(plan: &Plan, job: &Job) -> Vec<(String, Vec<String>)> {
    let keys = |cloth: &PlanCloth| match serde_json::to_value(cloth) {
        Ok(serde_json::Value::Object(keys)) => keys,
        _ => serde_json::Map::new(),
    };
    let mut out = Vec::new();
    for cloth in &job.cloths {
        let Some(then) = plan.materials.iter().find(|m| m.cloth == cloth.id) else { continue };
        let (then, now) = (keys(then), keys(&material_of(cloth)));
        let has_all = then.contains_key("roll_width");
        let later = ["roll_width", "selvedge", "price", "library"];
        let mut changed: Vec<String> = then.keys().chain(now.keys()).cloned().collect();
        changed.retain(|key| {
            // Where a cloth is taken from changes nothing by itself, and a plan from the stock has
            // the widths of its rolls.
            let of_stock =
                plan.drawn_from.is_some() && ["roll_width", "selvedge"].contains(&key.as_str());
            key != "library"
                && !of_stock
                && then.get(key) != now.get(key)
                && (has_all || !later.contains(&key.as_str()))
        });
        changed.sort();
        changed.dedup();
        if !changed.is_empty() {
            out.push((cloth.id.clone(), changed));
        }
    }
    out
}

fn material_of(cloth: &Cloth) -> PlanCloth {
    PlanCloth {
        cloth: cloth.id.clone(),
        name: cloth.name.clone(),
        weave: cloth.weave,
        balanced: cloth.balanced,
        one_way: cloth.one_way,
        twill_line: cloth.twill_line,
        up: cloth.up,
        areal_mass: cloth.areal_mass,
        resin_content: cloth.resin_content,
        fibre_density: cloth.fibre_density,
        material: cloth.material,
        thickness: cloth.thickness,
        resin_density: cloth.resin_density,
        batch: cloth.batch.clone(),
        out_life_hours: cloth.out_life_hours,
        expiry: cloth.expiry.clone(),
        library: cloth.library.clone(),
        roll_width: Some(cloth.roll_width),
        selvedge: Some(cloth.selvedge),
        price: cloth.price,
    }
}
