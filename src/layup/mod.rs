//! The order of work at the mould: what to check, lay, press, bag and cure. Pure: plan in, steps out.

mod cure;

pub use cure::{CurePoint, cure_clock};

use crate::geometry::ring_area;
use crate::job::MouldWork;
use crate::plan::{Plan, PlanLayer};
use serde::Serialize;

/// One row to tick off.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Step {
    /// What to do, in a line.
    pub what: String,
    /// The layer it is about, as an index into the plan's layers, for its picture.
    pub layer: Option<usize>,
    /// A tick box each: pieces by number, and one for each backing film.
    pub ticks: Vec<String>,
}

/// The lay-up of one job.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct LayupSheet {
    /// Job.
    pub job: String,
    /// Rolls: cloth, batch, hours it may still be out.
    pub rolls: Vec<[String; 3]>,
    /// Before the start.
    pub checks: Vec<String>,
    /// In order.
    pub steps: Vec<Step>,
    /// Bagging stack from the laminate up, with quantities.
    pub bag: Vec<[String; 2]>,
    /// The cure, point by point; empty if the job gives none.
    pub cure: Vec<CurePoint>,
    /// Hours the cloth will be out, thawing counted.
    pub hours_out: f64,
    /// After the cure, cautions.
    pub after: Vec<String>,
    /// What does not go together.
    pub warnings: Vec<String>,
}

/// The lay-up sheets of a plan, job by job.
pub fn layup(plan: &Plan) -> Vec<LayupSheet> {
    let default = MouldWork::default();
    plan.jobs.iter().enumerate().map(|(i, job)| sheet(plan, job, plan.mould_work.get(i).unwrap_or(&default))).collect()
}

fn sheet(plan: &Plan, job: &str, work: &MouldWork) -> LayupSheet {
    let w = &work.layup;
    let pieces: u32 = plan.pieces.iter().filter(|p| p.job == job).map(|p| p.copies).sum();
    let layers: Vec<(usize, &PlanLayer)> = plan.layers.iter().enumerate().filter(|(_, l)| l.job == job).collect();
    let mut steps = Vec::new();
    let mut debulks = 0;
    for (n, (index, layer)) in layers.iter().enumerate() {
        steps.push(layer_step(plan, layer, *index));
        let d = &work.debulk;
        let last = n + 1 == layers.len();
        // Counted from the first: with every = 3, after layers 3, 6 and so on.
        if (n == 0 && d.first) || (last && d.last) || (!last && (n + 1).is_multiple_of(d.every.max(1))) {
            debulks += 1;
            let what = format!(
                "Debulk {debulks}: release film and breather on, bag, full vacuum for {:.0} min, then all of it off again",
                d.minutes
            );
            steps.push(Step { what, layer: None, ticks: vec!["vacuum".into(), "film off".into()] });
        }
    }
    let hours_out = w.thaw_hours + (f64::from(pieces) * w.minutes_per_piece + f64::from(debulks) * work.debulk.minutes) / 60.0;
    let mut rolls = Vec::new();
    let mut warnings = Vec::new();
    for m in plan.materials.iter().filter(|m| layers.iter().any(|(_, l)| l.cloth == m.cloth)) {
        let left = m.out_life_hours.map_or("______ h".into(), |h| format!("{h:.0} h"));
        rolls.push([m.name.clone(), m.batch.clone().unwrap_or_else(|| "____________".into()), left]);
        if let Some(h) = m.out_life_hours.filter(|h| *h < hours_out) {
            warnings.push(format!("{}: {h:.0} h out of the freezer are left, and this work takes about {hours_out:.0} h", m.name));
        }
    }
    let agent = w.release_agent.clone().unwrap_or_else(|| "Release agent ____________".into());
    let expires = w.release_expires.clone().unwrap_or_else(|| "____________".into());
    let checks = vec![
        "Mould clean, dry and without scratches".into(),
        format!("{agent}: in date (until {expires}); {} coats, {:.0} min apart, last coat at ______", w.release_coats, w.release_minutes),
        format!("Cloth thawed in its closed bag for {:.0} h, no moisture on the bag before it is opened", w.thaw_hours),
        "Vacuum at least 74.5 kPa (22 inHg) below the air; pump shut off, it loses at most 3.4 kPa (1 inHg) in a minute".into(),
        "All pieces here, labels on the backing; count them against the list".into(),
    ];
    let start = w.start.as_deref().and_then(|s| s.parse().ok());
    LayupSheet {
        job: job.into(),
        rolls,
        checks,
        steps,
        bag: bag(plan, job, work),
        cure: cure_clock(&work.cure, w.room_temperature, start),
        hours_out,
        after: vec![
            "Hold times count from when the slowest thermocouple has reached the temperature".into(),
            "Demould when cold; trim to the net line, wet, with eye protection, respirator and extraction".into(),
            "Uncured epoxy sensitises skin: nitrile gloves, long sleeves. Cured edges cut".into(),
            "Blades: cut away from the hand, in a cut-proof glove".into(),
            "The cloth's data sheet decides about oven and vacuum, not this sheet. It does not certify strength".into(),
        ],
        warnings,
    }
}

fn layer_step(plan: &Plan, layer: &PlanLayer, index: usize) -> Step {
    let mut ticks = Vec::new();
    let mut spliced = Vec::new();
    for piece in plan.pieces.iter().filter(|p| p.job == layer.job && p.layer == layer.layer) {
        let copies = if piece.copies > 1 { format!(" ×{}", piece.copies) } else { String::new() };
        ticks.push(format!("{} {}{copies}", piece.number, piece.template));
        if let (Some(part), Some(splice)) = (piece.part, &piece.splice)
            && part.number == 1
        {
            let how = if splice.lap > 0.0 { format!("lap {:.0} mm", splice.lap) } else { "butt".into() };
            spliced.push(format!("{} in {} parts, {how}, {:.0} mm off its neighbours' splices", piece.template, part.of, splice.stagger));
        }
    }
    ticks.push("backing off every piece".into());
    let seen = match layer.seen {
        crate::job::Seen::Hidden => "",
        crate::job::Seen::MouldSide => ", seen from the mould side",
        crate::job::Seen::OtherSide => ", seen from the other side",
    };
    let splices = if spliced.is_empty() { String::new() } else { format!(". Spliced: {}", spliced.join("; ")) };
    let what = format!(
        "Layer {} {}: {}, warp at {:.0}°{seen}, faces as the labels say{splices}",
        layer.layer, layer.name, layer.cloth, layer.angle
    );
    Step { what, layer: Some(index), ticks }
}

/// The stack over the laminate. The area is the job's word, or that of the largest layer; its seal that of a square with the overhang.
fn bag(plan: &Plan, job: &str, work: &MouldWork) -> Vec<[String; 2]> {
    let c = &work.consumables;
    let layer_area = |l: &PlanLayer| -> f64 {
        let mine = plan.pieces.iter().filter(|p| p.job == job && p.layer == l.layer);
        mine.map(|p| p.net.iter().map(|r| ring_area(r)).sum::<f64>() * f64::from(p.copies)).sum::<f64>() / 1e6
    };
    let area = c.area.unwrap_or_else(|| plan.layers.iter().filter(|l| l.job == job).map(layer_area).fold(0.0, f64::max));
    let side = area.sqrt() * 1000.0 + 2.0 * c.overhang;
    let perimeter = c.perimeter.unwrap_or(4.0 * side);
    let over = side * side / 1e6;
    let m2 = |a: f64| format!("{a:.2} m²");
    let mut out = Vec::new();
    if c.peel_ply {
        out.push(["peel ply".into(), m2(over)]);
    }
    out.push([
        if c.perforated_film {
            "perforated release film (resin bleeds: the masses assume none)"
        } else {
            "plain release film, lets no resin through"
        }
        .into(),
        m2(over),
    ]);
    out.push(["breather".into(), m2(over)]);
    out.push([format!("bag film, {:.0} % over", c.bag_oversize), m2(over * (1.0 + c.bag_oversize / 100.0))]);
    out.push([
        format!("sealing tape, {:.0} % for pleats", c.tape_pleats),
        format!("{:.1} m", perimeter * (1.0 + c.tape_pleats / 100.0) / 1000.0),
    ]);
    out
}
