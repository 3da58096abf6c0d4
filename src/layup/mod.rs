//! The order of work at the mould: what to check, lay, press, bag and cure. Pure: plan in, steps
//! out.

mod act;
mod bag;
mod cure;
mod progress;
mod steps;

pub use act::{Act, Held};
pub use bag::{Bag, GUESSED};
pub use cure::{CurePoint, cure_clock, growth};
pub use progress::{
    Clock, ClockOf, Deviation, LEAST_VACUUM, MOST_LOSS, Photo, Progress, clock_words, holds,
};
pub use steps::{Step, Tick};

use crate::job::{AssumedTime, MouldWork};
use crate::laminate::finishes;
use crate::plan::{Plan, PlanCloth, PlanLayer, PlanStock};
use crate::stock::Day;
use crate::units::counted;
use serde::Serialize;

/// One inch of mercury, kPa: 0.49116 psi (TM 1-1500-204-23-11, sheet 172), a psi being 6.894757
/// kPa.
const INCH_OF_MERCURY: f64 = 0.49116 * 6.894757;

/// A roll or offcut that the job is cut from.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct RollRow {
    /// Its id.
    pub stock: String,
    /// Name of its cloth.
    pub cloth: String,
    /// Batch, if it is known.
    pub batch: Option<String>,
    /// Last day of use, if it is known.
    pub expiry: Option<String>,
    /// Hours it may still be out of the freezer, if they are known.
    pub hours_left: Option<f64>,
}

/// The lay-up of one job.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct LayupSheet {
    /// Job.
    pub job: String,
    /// What its cloth comes from.
    pub rolls: Vec<RollRow>,
    /// What must not be overlooked: dates that are over, times that do not suffice.
    pub warnings: Vec<String>,
    /// Before the start.
    pub checks: Vec<String>,
    /// In order.
    pub steps: Vec<Step>,
    /// The bags, mould by mould; empty if the job gives nothing but an area.
    pub bags: Vec<Bag>,
    /// Bagging stack from the laminate up, with quantities.
    pub bag: Vec<[String; 2]>,
    /// How the quantities were reckoned.
    pub bag_note: String,
    /// The cure, point by point; empty if the job gives none.
    pub cure: Vec<CurePoint>,
    /// What the mould and the core stand, °C.
    pub limits: Vec<(String, f64)>,
    /// What to mind in the cure.
    pub cure_notes: Vec<String>,
    /// Hours the cloth will be out, thawing counted.
    pub hours_out: f64,
    /// How they were reckoned.
    pub hours_note: String,
    /// After the cure.
    pub after: Vec<String>,
    /// Cautions.
    pub cautions: Vec<String>,
}

/// When the work is done.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct When {
    /// The day that dates are held against where no start of the cure is chosen; without it the day
    /// of the stock counts, and without that no date is judged.
    pub today: Option<Day>,
    /// Start of the cure, as `2026-12-01 08:00`, in place of the job's own.
    pub start: Option<String>,
    /// What the dates of the stock ask for now, in place of what they asked for when the plan was
    /// made.
    pub cautions: Option<Vec<String>>,
}

/// The lay-up sheets of a plan, job by job.
pub fn layup(plan: &Plan, when: &When) -> Vec<LayupSheet> {
    let default = MouldWork::default();
    plan.jobs
        .iter()
        .enumerate()
        .map(|(i, job)| sheet(plan, job, plan.mould_work.get(i).unwrap_or(&default), when))
        .collect()
}

fn sheet(plan: &Plan, job: &str, work: &MouldWork, when: &When) -> LayupSheet {
    let w = &work.layup;
    let layers: Vec<(usize, &PlanLayer)> =
        plan.layers.iter().enumerate().filter(|(_, l)| l.job == job).collect();
    let (steps, debulks) = steps::steps(plan, job, work, &layers);
    let pieces: u32 = plan.pieces.iter().filter(|p| p.job == job).map(|p| p.copies).sum();
    let minutes =
        f64::from(pieces) * w.minutes_per_piece + f64::from(debulks) * work.debulk.minutes;
    let hours_out = w.thaw_hours + minutes / 60.0;
    let by = |time: AssumedTime| {
        if work.assumed.contains(&time) { ", which the job does not give" } else { "" }
    };
    let hours_note = format!(
        "{:.1} h thawing{}, {} at {:.0} min, {} at {:.0} min{}",
        w.thaw_hours,
        by(AssumedTime::Thaw),
        counted(pieces as usize, "piece"),
        w.minutes_per_piece,
        counted(debulks as usize, "debulk"),
        work.debulk.minutes,
        by(AssumedTime::Debulk)
    );
    let start = when.start.as_deref().or(w.start.as_deref());
    let begin = start.and_then(|s| s.get(..10)).and_then(|s| Day::parse(s).ok());
    let day = begin.or(when.today).or(plan.drawn_from.as_ref().map(|d| d.day));
    let rolls = rolls(plan, job);
    let planned = || plan.drawn_from.iter().flat_map(|d| d.cautions.clone()).collect();
    let mut warnings: Vec<String> = when.cautions.clone().unwrap_or_else(planned);
    for roll in &rolls {
        if let (Some(day), Some(expiry)) =
            (day, roll.expiry.as_deref().and_then(|e| Day::parse(e).ok()))
            && expiry < day
        {
            warnings.push(format!(
                "{} ({}) expired on {expiry}: lay nothing that carries load from it",
                roll.stock, roll.cloth
            ));
        }
        if let Some(left) = roll.hours_left.filter(|h| *h < hours_out) {
            let what = said!(
                "{} ({}): {left:.0} h out of the freezer are left, and this work takes about {hours_out:.0} h",
                roll.stock,
                roll.cloth
            );
            warnings.push(format!("{what}: take a fresher roll, or lay it up in parts"));
        }
    }
    if let (Some(day), Some(expiry)) =
        (day, w.release_expires.as_deref().and_then(|e| Day::parse(e).ok()))
        && expiry < day
    {
        warnings.push(format!(
            "the release agent expired on {expiry}: the part can bond to the mould; use a fresh tin"
        ));
    }
    let start = start.and_then(|s| s.parse().ok());
    let (bags, bag, bag_note) = bag::bag(plan, job, work);
    let limits = [("mould", w.mould_limit), ("core", w.core_limit)];
    LayupSheet {
        job: job.into(),
        rolls,
        warnings,
        checks: checks(work),
        steps,
        bags,
        bag,
        bag_note,
        cure: cure_clock(&work.cure, w.room_temperature, start),
        limits: limits
            .into_iter()
            .filter_map(|(what, limit)| Some((what.to_string(), limit?)))
            .collect(),
        cure_notes: cure_notes(work),
        hours_out,
        hours_note,
        after: vec![
            "Cold enough to touch? Only then bag off and demould, with wedges of wood or plastic"
                .into(),
            "Trim to the net line, wet, with eye protection, respirator and extraction".into(),
            finish_step(plan, job),
        ],
        cautions: vec![
            "Uncured epoxy sensitises skin: nitrile gloves, changed often, and long sleeves."
                .into(),
            "Cured edges cut and dust harms: eye protection, respirator, wet sanding, extraction."
                .into(),
            "Blades: cut away from the hand, in a cut-proof glove.".into(),
            "Oven, vacuum and cure: the cloth's data sheet decides, not this sheet.".into(),
            "This sheet plans work. It does not certify strength.".into(),
        ],
    }
}

/// What the pieces of a job are cut from, in the order of the plan.
fn rolls(plan: &Plan, job: &str) -> Vec<RollRow> {
    let of_job = |s: &&PlanStock| {
        s.placed
            .iter()
            .any(|p| plan.pieces.iter().any(|piece| piece.piece == p.piece && piece.job == job))
    };
    let row = |stock: &PlanStock| {
        let cloth: Option<&PlanCloth> = plan.materials.iter().find(|m| m.cloth == stock.cloth);
        let drawn =
            plan.drawn_from.as_ref().and_then(|d| d.stocks.iter().find(|s| s.stock == stock.id));
        // Without a stock, the job tells of the one roll it has.
        let told = cloth.filter(|_| drawn.is_none());
        RollRow {
            stock: stock.id.clone(),
            cloth: cloth.map_or_else(|| stock.cloth.clone(), |m| m.name.clone()),
            batch: drawn.and_then(|d| d.batch.clone()).or(told.and_then(|m| m.batch.clone())),
            expiry: drawn
                .and_then(|d| d.expiry.map(|e| e.to_string()))
                .or(told.and_then(|m| m.expiry.clone())),
            hours_left: drawn.and_then(|d| d.hours_left).or(told.and_then(|m| m.out_life_hours)),
        }
    };
    plan.stocks.iter().filter(of_job).map(row).collect()
}

/// What to put on the part, and on which faces.
fn finish_step(plan: &Plan, job: &str) -> String {
    let index = plan.jobs.iter().position(|j| j == job).unwrap_or(usize::MAX);
    let words: Vec<String> =
        finishes(plan, index).iter().map(|f| format!("{} on {}", f.name, f.faces)).collect();
    let put_on = if words.is_empty() {
        "Weigh".to_string()
    } else {
        format!("Put on {}; weigh", words.join(", then "))
    };
    format!("{put_on}, and write the mass below")
}

fn checks(work: &MouldWork) -> Vec<String> {
    let w = &work.layup;
    let expires = w.release_expires.clone().unwrap_or_else(|| "____________".into());
    let wait = format!("{:.0} min apart", w.release_minutes);
    let coats: Vec<String> = (1..=w.release_coats).map(|n| format!("{n}: ______")).collect();
    let mut out = vec![
        "Mould clean, dry and without scratches".into(),
        match &w.release_agent {
            Some(agent) => format!("{agent}, last day of use {expires}: in date"),
            None => format!("release agent ____________, last day of use {expires}: in date"),
        },
    ];
    if w.release_coats > 0 {
        out.push(format!("Coats of it, {wait}; write the times:  {}", coats.join("   ")));
    }
    let thawed = if work.assumed.contains(&AssumedTime::Thaw) {
        "Cloth thawed in its closed bag as long as its data sheet says: the job gives no time; no moisture on the bag when it is opened. Out of the freezer at ______".to_string()
    } else {
        format!(
            "Cloth thawed in its closed bag for {:.0} h; no moisture on the bag when it is opened. Out of the freezer at ______",
            w.thaw_hours
        )
    };
    out.extend([
        thawed,
        format!(
            "Vacuum at least {:.1} kPa (22 inHg) below the air; with the pump shut off it loses at most {:.1} kPa (1 inHg) in a minute",
            22.0 * INCH_OF_MERCURY,
            INCH_OF_MERCURY
        ),
        "Every piece is here, counted against the steps below; labels sit on the backing".into(),
        "Thermocouples, bag, film, breather and tape are at hand".into(),
    ]);
    out
}

fn cure_notes(work: &MouldWork) -> Vec<String> {
    let w = &work.layup;
    let mut out = Vec::new();
    if work.cure.is_empty() {
        return out;
    }
    out.push("A hold counts from when the slowest thermocouple has reached the temperature: the clock times are the earliest.".into());
    let hottest = work.cure.iter().map(|s| s.to).fold(w.room_temperature, f64::max);
    if let Some(material) = w.mould_material {
        let degrees = hottest - w.room_temperature;
        out.push(format!(
            "From {:.0} to {hottest:.0} °C an {} mould grows by {:.2} mm a metre, a carbon laminate with fibres all ways by about {:.2} mm.",
            w.room_temperature,
            material.in_words(),
            growth(1000.0, material.growth(), degrees),
            growth(1000.0, crate::job::MouldMaterial::Carbon.growth(), degrees)
        ));
    }
    for (what, limit) in [("mould", w.mould_limit), ("core", w.core_limit)] {
        match limit {
            Some(limit) => out.push(format!(
                "The {what} withstands {limit:.0} °C; the hottest step is {hottest:.0} °C."
            )),
            None => out.push(format!(
                "The job gives no limit for the {what}: check that it withstands {hottest:.0} °C."
            )),
        }
    }
    out
}

/// Whether a text is a date and time at which a cure can begin.
pub fn is_start(text: &str) -> bool {
    text.contains(':') && text.parse::<jiff::civil::DateTime>().is_ok()
}
