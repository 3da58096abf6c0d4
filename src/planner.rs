//! From jobs to a verified plan: prepares the pieces, lets the search place them cloth by cloth, measures what came out.
//!
//! The only room that turns pieces and stock into a nesting problem and its outcome into a plan.

use crate::cloth::{Cloth, Face};
use crate::fault::{Fault, Faults};
use crate::geometry::{Motion, Region, point, ring_bounds};
use crate::job::{Job, SpliceKind, TemplateSource};
use crate::nest::{self, Extent, Limits, Observer, Outcome, Params, Placement, Pose, Problem, Progress, Shape, Stock, Stop};
use crate::plan::{
    self, PlacedPiece, Plan, PlanCloth, PlanLayer, PlanLayerItem, PlanPiece, PlanStock, PlanTemplate, Rules, SpliceFacts, StockKind,
};
use crate::ply::{self, Piece, Prepared, TemplateFrame};
use crate::units::{LARGEST, snap};
use crate::verify::{self, Verified};
use std::collections::BTreeMap;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;

/// How a plan is made.
#[derive(Clone, Debug, PartialEq)]
pub struct Settings {
    /// Time for the whole run, or rounds of search for each cloth.
    pub stop: Stop,
    /// Seed of every random choice.
    pub seed: u64,
    /// Worker threads; 0 means one a core.
    pub threads: usize,
    /// How many sets of everything to cut.
    pub sets: u32,
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
}

/// Hears which cloth is being searched, and how far the search is.
pub trait Watcher: Sync {
    /// `cloth` is the `index`th (from 0) of `count` cloths.
    fn searching(&self, cloth: &str, index: usize, count: usize, progress: &Progress);
}

/// A watcher that hears nothing.
pub struct Unwatched;

impl Watcher for Unwatched {
    fn searching(&self, _: &str, _: usize, _: usize, _: &Progress) {}
}

/// The pieces of one job, ready to cut.
#[derive(Clone, Debug, PartialEq)]
pub struct PreparedJob<'a> {
    /// The job.
    pub job: &'a Job,
    /// Its pieces, ids and numbers unique over all jobs of the run.
    pub prepared: Prepared,
}

/// Prepares the pieces of jobs that are to share rolls, which [`crate::job::agree`] holds to agree. With several jobs, piece ids carry the job's name and numbers its letter.
///
/// # Errors
/// Every fault of preparation.
pub fn prepare<'a>(jobs: &'a [Job], sets: u32) -> Result<Vec<PreparedJob<'a>>, Faults> {
    let mut faults = Faults::new();
    let mut all = Vec::new();
    for (index, job) in jobs.iter().enumerate() {
        let Some(mut prepared) = faults.keep(ply::prepare(job)) else { continue };
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
    faults.into_result(all)
}

/// Plans every cloth of the jobs and verifies the whole.
///
/// # Errors
/// See [`Refusal`].
///
/// A cancel ends the search: the best complete layouts are kept, and every cloth that has none yet still gets its first, which takes no
/// search. The flag is taken down then, so that setting it a second time ends that too; the plan is refused if a cloth is without a layout.
pub fn plan(jobs: &[Job], settings: &Settings, cancel: &AtomicBool, watcher: &dyn Watcher) -> Result<Verified, Refusal> {
    let prepared = prepare(jobs, settings.sets).map_err(Refusal::Input)?;
    let cloths = cloths_in_use(&prepared);
    let mut plan = frame_of_plan(jobs, &prepared, settings);
    let mut faults = Faults::new();

    let weights: Vec<f64> = cloths.iter().map(|c| f64::from(pieces_on(&prepared, c).map(|(_, p)| p.copies).sum::<u32>())).collect();
    let total: f64 = weights.iter().sum();
    let mut first_only = false;
    for (index, cloth) in cloths.iter().enumerate() {
        let pieces: Vec<(&Job, &Piece)> = pieces_on(&prepared, cloth).collect();
        let problem = match problem_of(&pieces, cloth, &jobs[0]) {
            Ok(problem) => problem,
            Err(f) => {
                faults.extend(f);
                continue;
            }
        };
        let stop = match settings.stop {
            Stop::After(all) => Stop::After(Duration::from_secs_f64(all.as_secs_f64() * weights[index] / total.max(1.0))),
            effort @ Stop::Effort(_) => effort,
        };
        let params = Params { threads: settings.threads, ..Params::default() };
        let relay = Relay { watcher, cloth: &cloth.id, index, count: cloths.len() };
        let solve = |stop| nest::solve(&problem, &params, &Limits { stop, cancel }, settings.seed, &relay);
        let mut outcome = solve(if first_only { Stop::Effort(0) } else { stop });
        plan.interrupted |= outcome.interrupted;
        if !first_only {
            if outcome.interrupted {
                cancel.store(false, Ordering::Relaxed);
                first_only = true;
            }
            // Ended before there was any layout: a first one takes no search.
            if outcome.placements.is_empty() {
                outcome = solve(Stop::Effort(0));
            }
        }
        if !outcome.unplaced.is_empty() {
            faults.extend(not_placed(&outcome, &pieces, cloth));
            continue;
        }
        if let Some(fault) = too_long(&outcome, cloth) {
            faults.push(fault);
            continue;
        }
        let stock = stock_of(&outcome, &pieces, cloth, &jobs[0]);
        let left = plan::left_over(&stock, jobs[0].cutting.least_offcut_width);
        let stock = PlanStock { offcuts: left.offcuts.clone(), ..stock };
        plan.cloths.push(plan::cloth_figures(cloth, std::slice::from_ref(&stock), &[left], nest::least_length(&problem)));
        plan.stocks.push(stock);
    }
    if !faults.is_empty() {
        return Err(Refusal::NotPlaced(faults));
    }
    verify::verify(plan.sealed()).map_err(Refusal::NotVerified)
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

/// The cloths that pieces are cut from, in order of first use; jobs that share a cloth agree about it.
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
fn pieces_on<'p, 'a>(prepared: &'p [PreparedJob<'a>], cloth: &'p Cloth) -> impl Iterator<Item = (&'a Job, &'p Piece)> {
    prepared.iter().flat_map(move |PreparedJob { job, prepared }| {
        prepared.pieces.iter().filter(move |piece| job.cloths[piece.cloth].id == cloth.id).map(move |piece| (*job, piece))
    })
}

/// The nesting problem of one cloth: its pieces on its roll.
fn problem_of(pieces: &[(&Job, &Piece)], cloth: &Cloth, job: &Job) -> Result<Problem, Faults> {
    let shapes = pieces
        .iter()
        .map(|(_, piece)| Shape {
            name: piece.id.clone(),
            region: piece.outline.clone(),
            poses: piece.permitted.iter().map(|p| Pose { turn: p.turn, flip: p.face == Face::Down }).collect(),
            tolerance: piece.tolerance,
            copies: piece.copies,
            may_cross: piece.may_cross_bench,
        })
        .collect();
    let roll = Stock {
        name: cloth.id.clone(),
        extent: Extent::Open {
            low: cloth.selvedge,
            high: cloth.roll_width - cloth.selvedge,
            segment_max: job.cutting.bench_length,
            length_max: cloth.roll_length,
        },
        keep_out: cloth.flaws.clone(),
    };
    Problem::new(shapes, vec![roll], job.cutting.gap)
}

/// Faults that name the pieces without a place and what was reached, one for each reason.
fn not_placed(outcome: &Outcome, pieces: &[(&Job, &Piece)], cloth: &Cloth) -> Faults {
    let mut copies: BTreeMap<(&str, usize), u32> = BTreeMap::new();
    for (shape, _, why) in &outcome.unplaced {
        *copies.entry((why, *shape)).or_default() += 1;
    }
    let mut names: BTreeMap<&str, Vec<String>> = BTreeMap::new();
    for ((why, shape), missing) in copies {
        let piece = pieces[shape].1;
        let copies = if piece.copies > 1 { format!(", {missing} of {} copies", piece.copies) } else { String::new() };
        names.entry(why).or_default().push(format!("{} ({}{copies})", piece.number, piece.id));
    }
    let placed = outcome.placements.len();
    let all = placed + outcome.unplaced.len();
    let faults = names.into_iter().map(|(why, names)| {
        let piece = if names.len() == 1 { "piece" } else { "pieces" };
        Fault::new(format!("{why}; {placed} of {all} found a place"), "allow more search time, more turns, a splice, or more cloth")
            .on(format!("{}: {piece} {}", cloth.id, names.join(", ")))
    });
    Faults(faults.collect())
}

/// A layout longer than any length of a plan may be.
fn too_long(outcome: &Outcome, cloth: &Cloth) -> Option<Fault> {
    let used = outcome.stocks.first()?.used_length;
    let what = || format!("the layout takes {:.1} m of it, and a plan holds at most {:.0} m of a cloth", used / 1000.0, LARGEST / 1000.0);
    let remedy = "plan fewer sets or jobs at a time, and look whether a flaw was given in the wrong unit";
    (used > LARGEST).then(|| Fault::new(what(), remedy).on(format!("cloth {}", cloth.id)))
}

/// The roll with the pieces where the search put them.
fn stock_of(outcome: &Outcome, pieces: &[(&Job, &Piece)], cloth: &Cloth, job: &Job) -> PlanStock {
    let (used_length, segments) = outcome.stocks.first().map_or((0.0, Vec::new()), |s| (s.used_length, s.segments.clone()));
    let mut placed: Vec<PlacedPiece> = outcome.placements.iter().map(|p| placed_piece(p, pieces[p.shape].1)).collect();
    if job.cutting.bench_length.is_some() {
        // Sheets follow the bench: pieces of the first segment first.
        placed.sort_by_key(|p| segments.iter().position(|s| ring_bounds(&p.outline).is_some_and(|b| b.min.x < s[1])));
    }
    let flaws = cloth.flaws.iter().filter(|f| ring_bounds(f).is_some_and(|b| b.min.x < used_length)).cloned().collect();
    PlanStock {
        id: cloth.id.clone(),
        cloth: cloth.id.clone(),
        kind: StockKind::Roll,
        face: Face::Up,
        outline: vec![point(0.0, 0.0), point(used_length, 0.0), point(used_length, cloth.roll_width), point(0.0, cloth.roll_width)],
        holes: Vec::new(),
        flaws,
        selvedge: cloth.selvedge,
        segments,
        used_length,
        placed,
        offcuts: Vec::new(),
    }
}

/// A piece where it lies.
fn placed_piece(placement: &Placement, piece: &Piece) -> PlacedPiece {
    let motion = Motion::new(placement.turn, placement.flip, point(placement.x, placement.y));
    let Region { outline, holes } = motion.region(&piece.outline);
    PlacedPiece {
        piece: piece.id.clone(),
        copy: placement.copy + 1,
        turn: placement.turn,
        face: if placement.flip { Face::Down } else { Face::Up },
        x: snap(placement.x),
        y: snap(placement.y),
        outline,
        holes,
    }
}

/// The plan before anything is placed.
fn frame_of_plan(jobs: &[Job], prepared: &[PreparedJob<'_>], settings: &Settings) -> Plan {
    let (effort, seconds) = match settings.stop {
        Stop::Effort(rounds) => (Some(rounds), None),
        Stop::After(time) => (None, Some(time.as_secs_f64())),
    };
    let cutting = jobs.first().map(|j| &j.cutting);
    Plan {
        schema: 1,
        tool: concat!("warpwise ", env!("CARGO_PKG_VERSION")).to_string(),
        id: String::new(),
        jobs: jobs.iter().map(|j| j.name.clone()).collect(),
        seed: settings.seed,
        effort,
        lanes: effort.map(|_| Params::default().lanes),
        seconds,
        interrupted: false,
        currency: jobs.first().map_or(String::new(), |j| j.currency.clone()),
        rules: Rules {
            gap: cutting.map_or(0.0, |c| c.gap),
            angle_tolerance: prepared.iter().flat_map(|p| &p.prepared.pieces).map(|p| p.tolerance).fold(0.0, f64::max),
            bench_length: cutting.and_then(|c| c.bench_length),
            least_offcut_width: cutting.map_or(0.0, |c| c.least_offcut_width),
        },
        templates: jobs.iter().flat_map(templates_of).collect(),
        layers: jobs.iter().flat_map(|job| layers_of(job, settings.sets)).collect(),
        pieces: prepared.iter().flat_map(|p| p.prepared.pieces.iter().map(|piece| plan_piece(p.job, piece))).collect(),
        stocks: Vec::new(),
        cloths: Vec::new(),
        materials: cloths_in_use(prepared).into_iter().map(material_of).collect(),
        warnings: prepared.iter().flat_map(|p| &p.prepared.warnings).map(in_one_line).collect(),
        mould_work: jobs.iter().map(|j| j.mould_work.clone()).collect(),
    }
}

/// A warning without its file, so that the same job gives the same plan wherever it lies.
fn in_one_line(warning: &Fault) -> String {
    Fault { file: None, ..warning.clone() }.to_string().replace("\n    ", ": ")
}

fn templates_of(job: &Job) -> Vec<PlanTemplate> {
    job.templates
        .iter()
        .enumerate()
        .filter_map(|(index, template)| {
            let TemplateFrame { skin, arrow } = ply::template_frame(job, index)?;
            Some(PlanTemplate {
                template: template.id.clone(),
                job: job.name.clone(),
                arrow,
                net: skin.net,
                edges: skin.edges,
                holes: skin.holes,
                cuts: skin.cuts,
                no_splice: skin.no_splice,
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
        patch: None,
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
    let kind = ply::splice_kind(job.cloths[piece.cloth].weave);
    Some(SpliceFacts {
        kind,
        lap: if kind == SpliceKind::Lap { rule.lap } else { 0.0 },
        stagger: rule.stagger,
        plies_apart: rule.plies_apart,
    })
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
    }
}

/// Passes the search's progress on with the cloth it is about.
struct Relay<'a> {
    watcher: &'a dyn Watcher,
    cloth: &'a str,
    index: usize,
    count: usize,
}

impl Observer for Relay<'_> {
    fn progress(&self, progress: &Progress) {
        self.watcher.searching(self.cloth, self.index, self.count, progress);
    }
}
