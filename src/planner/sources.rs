//! What a cloth is cut from: rolls and offcuts of the stock, or the roll that the job describes.

use crate::cloth::Cloth;
use crate::fault::{Fault, Faults};
use crate::geometry::boolean::difference;
use crate::geometry::{Ring, ring_bounds};
use crate::job::Job;
use crate::stock::{Offcut, Roll, Snapshot};
use crate::units::{show_metres, show_mm, show_number};

/// One roll to cut from.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct RollSource {
    /// Name of the stock in the plan.
    pub id: String,
    /// mm, if it is known.
    pub length: Option<f64>,
    pub flaws: Vec<Ring>,
}

/// The rolls, in the order they are cut, and the offcuts of one cloth.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Sources<'s> {
    pub rolls: Vec<RollSource>,
    pub offcuts: Vec<&'s Offcut>,
    /// What a person must hear before cutting.
    pub cautions: Vec<Fault>,
    /// What must be heard if new cloth is needed, where the stock has no roll.
    pub no_roll: Option<Fault>,
}

/// The rolls of a cloth, sound ones first, then those that expire first, then the shortest.
fn rolls<'s>(stock: &'s Snapshot, cloth: &str) -> Vec<&'s Roll> {
    let mut rolls: Vec<&Roll> = stock
        .rolls
        .iter()
        .filter(|r| r.cloth() == cloth && r.facts().length != Some(0.0))
        .collect();
    let key = |r: &Roll| (!r.age().is_sound(stock.day), r.age().expiry.is_none(), r.age().expiry);
    rolls.sort_by(|a, b| {
        let length = |r: &Roll| r.facts().length.unwrap_or(f64::INFINITY);
        key(a).cmp(&key(b)).then(length(a).total_cmp(&length(b))).then(a.id().cmp(b.id()))
    });
    rolls
}

/// The name of a roll that the stock has not: the cloth's, unless a roll or an offcut bears it.
fn free_name(stock: &Snapshot, cloth: &str) -> String {
    let taken = |name: &String| {
        stock.rolls.iter().any(|r| r.id() == name) || stock.offcuts.iter().any(|o| o.id() == name)
    };
    let numbered = (2..).map(|k| format!("new roll {k} of {cloth}"));
    let mut names = [cloth.to_string(), format!("new roll of {cloth}")].into_iter().chain(numbered);
    names.find(|name| !taken(name)).unwrap_or_default()
}

/// The jobs with the width of the rolls that are there, so that splices and turns are settled for
/// the cloth at hand.
///
/// # Errors
/// A roll no wider than its selvedges; a flaw of the job's own roll, which is not cut where the
/// stock has rolls of the cloth, that none of these has too.
pub(super) fn on_rolls_at_hand(jobs: &[Job], stock: &Snapshot) -> Result<Vec<Job>, Faults> {
    let mut faults = Faults::new();
    let mut jobs = jobs.to_vec();
    for job in &mut jobs {
        let file = job.file.clone();
        for cloth in &mut job.cloths {
            let here = rolls(stock, &cloth.id);
            let Some(roll) = here.first() else { continue };
            faults.0.extend(
                cloth
                    .flaws
                    .iter()
                    .filter_map(|f| unknown_flaw(f, &here, stock))
                    .map(|f| on_cloth(f, cloth).in_file(&file)),
            );
            cloth.roll_width = roll.facts().width;
            cloth.roll_length = None;
            cloth.flaws.clear();
            if cloth.usable_width() <= 0.0 {
                let what = said!(
                    "is {} wide, and the job says a selvedge of {}",
                    show_mm(cloth.roll_width),
                    show_mm(cloth.selvedge)
                );
                faults.push(
                    Fault::new(
                        what,
                        "correct the roll's width in the stock, or the selvedge in the job",
                    )
                    .on(roll.id()),
                );
            }
        }
    }
    faults.into_result(jobs)
}

/// A flaw of the job that no roll of the stock has: nobody knows which of them it is on.
fn unknown_flaw(flaw: &Ring, rolls: &[&Roll], stock: &Snapshot) -> Option<Fault> {
    let known = |r: &&Roll| difference([flaw], &r.facts().flaws).is_empty();
    let b = ring_bounds(flaw).filter(|_| !rolls.iter().any(known))?;
    let place = [b.min.x, b.max.x, b.min.y, b.max.y].map(|v| show_number(v, 3));
    let [from, to, low, high] = &place;
    let roll = rolls.first()?.id();
    let what = said!(
        "the job has a flaw from {from} to {to} mm along its own roll, {low} to {high} mm across, but the plan is cut from the stock's rolls, \
         {roll} first, and none of them has this flaw"
    );
    let write = match &stock.ledger {
        Some(_) => format!(
            "if it is on {roll}: `warpwise stock set {roll} --flaw {from}..{to},{low}..{high}`"
        ),
        None => "write it under `flaws` of its roll in the stock file".to_string(),
    };
    Some(Fault::new(
        what,
        said!(
            "{write}; then take it out of the job. To cut the job's own roll, plan without --stock"
        ),
    ))
}

fn on_cloth(fault: Fault, cloth: &Cloth) -> Fault {
    fault.on(format!("cloth {}", cloth.id))
}

impl<'s> Sources<'s> {
    /// The roll of the job alone.
    pub fn of_job(cloth: &Cloth) -> Sources<'s> {
        let roll = RollSource {
            id: cloth.id.clone(),
            length: cloth.roll_length,
            flaws: cloth.flaws.clone(),
        };
        Sources { rolls: vec![roll], offcuts: Vec::new(), cautions: Vec::new(), no_roll: None }
    }

    /// What the stock has of a cloth. Cloth that is over is cut only if there is nothing else, and
    /// never without a word.
    pub fn of_stock(stock: &'s Snapshot, cloth: &'s Cloth) -> Sources<'s> {
        let mut out = Sources::of_job(cloth);
        let here = rolls(stock, &cloth.id);
        let sound: Vec<&Roll> =
            here.iter().copied().filter(|r| r.age().is_sound(stock.day)).collect();
        let over = sound.is_empty() && !here.is_empty();
        let taken = if over { &here } else { &sound };
        let fits = |r: &&&Roll| r.facts().width == cloth.roll_width;
        if here.is_empty() {
            let known = stock.offcuts.iter().any(|o| o.cloth() == cloth.id);
            let other = if known { None } else { stock.nearest_cloth(&cloth.id) };
            let meant = other.map_or(String::new(), |o| format!("; did you mean {o}?"));
            let what = said!("the stock has no roll of it{meant}");
            let remedy = "what the offcuts do not hold is planned on a new roll as the job describes it: buy it first";
            out.no_roll = Some(Fault::new(what, remedy).on(format!("cloth {}", cloth.id)));
            out.rolls[0].id = free_name(stock, &cloth.id);
        } else {
            out.rolls = taken
                .iter()
                .filter(fits)
                .map(|r| RollSource {
                    id: r.id().to_string(),
                    length: r.facts().length,
                    flaws: r.facts().flaws.clone(),
                })
                .collect();
        }
        for roll in taken.iter().filter(|r| r.facts().width != cloth.roll_width) {
            let what = said!(
                "was left out: it is {} wide, and the plan is for {}",
                show_mm(roll.facts().width),
                show_mm(cloth.roll_width)
            );
            out.cautions.push(
                Fault::new(what, "use up or remove the other rolls first to plan on it")
                    .on(roll.id()),
            );
        }
        for roll in here.iter().filter(|r| !over && !r.age().is_sound(stock.day)) {
            let left = roll
                .facts()
                .length
                .map_or(String::new(), |l| format!(" ({} left)", show_metres(l)));
            let why = if roll.age().cosmetic_only {
                "it is for cosmetic use only"
            } else {
                "it is past its time"
            };
            out.cautions.push(
                Fault::new(
                    said!("was left out{left}: {why}"),
                    "remove it, or keep it for a mosaic layer",
                )
                .on(roll.id()),
            );
        }
        out.offcuts = stock.offcuts_of(&cloth.id, false).collect();
        let past: Vec<&str> = stock
            .offcuts
            .iter()
            .filter(|o| o.cloth() == cloth.id && o.age().is_over(stock.day))
            .map(Offcut::id)
            .collect();
        if let Some(first) = past.first() {
            let more = if past.len() > 1 {
                format!(" and {} more", past.len() - 1)
            } else {
                String::new()
            };
            let what = said!("offcuts past their time were left out: {first}{more}");
            out.cautions.push(
                Fault::new(what, "throw them away, or mark them cosmetic only for a mosaic layer")
                    .on(format!("cloth {}", cloth.id)),
            );
        }
        out
    }
}
