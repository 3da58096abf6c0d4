//! A plan before anything is placed: templates, layers, pieces, materials, as it says them.

use super::prepared::{PreparedJob, cloths_in_use};
use crate::cloth::Cloth;
use crate::fault::Fault;
use crate::job::{Job, TemplateSource};
use crate::nest::Params;
use crate::plan::{
    OtherHand, Plan, PlanCloth, PlanLayer, PlanLayerItem, PlanPiece, PlanTemplate, Rules,
    SpliceFacts,
};
use crate::ply::{self, Piece, TemplateFrame};
use crate::run::{Run, Stop};

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

/// The plan before anything is placed.
pub(super) fn frame_of_plan(
    jobs: &[Job],
    prepared: &[PreparedJob<'_>],
    sets: u32,
    run: &Run<'_>,
) -> Plan {
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
pub(super) fn in_one_line(warning: &Fault) -> String {
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

pub(super) fn plan_piece(job: &Job, piece: &Piece) -> PlanPiece {
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
