//! What the schema cannot say about the work at the mould: dates, clocks, ramps and limits.

use super::document::{Document, Findings};
use super::layup::{CureStep, Layup, MouldWork};
use super::raw::RawJob;
use crate::units::{quoted, show_number};

pub(super) fn mould_work(raw: &mut RawJob, doc: &Document<'_>, findings: &mut Findings<'_>) -> MouldWork {
    let work = MouldWork {
        layup: raw.layup.take().unwrap_or_default(),
        debulk: raw.debulk.take().unwrap_or_default(),
        cure: raw.cure.drain(..).flatten().collect(),
        consumables: raw.consumables.take().unwrap_or_default(),
        finish: raw.finish.drain(..).flatten().collect(),
    };
    dates(&work.layup, doc, findings);
    cure(&work.cure, &work.layup, doc, findings);
    work
}

fn dates(layup: &Layup, doc: &Document<'_>, findings: &mut Findings<'_>) {
    let start = layup.start.as_deref().map(|s| s.parse::<jiff::civil::DateTime>());
    if let (Some(Err(_)), Some(text)) = (&start, &layup.start) {
        let what = format!("{} is no date and time", quoted(text));
        findings.fault(doc.offset_of("layup.start"), what, "write year, month, day and time, as \"2026-12-01 08:00\"");
    }
    let expires = layup.release_expires.as_deref().map(|s| s.parse::<jiff::civil::Date>());
    if let (Some(Err(_)), Some(text)) = (&expires, &layup.release_expires) {
        let what = format!("{} is no date", quoted(text));
        findings.fault(doc.offset_of("layup.release_expires"), what, "write year, month and day, as \"2026-12-31\"");
    }
    if let (Some(Ok(start)), Some(Ok(expires))) = (start, expires)
        && expires < start.date()
    {
        let what = format!("the release agent expires on {expires}, before the cure begins on {}", start.date());
        findings.warning(doc.offset_of("layup.release_expires"), what, "use a fresh tin, or correct the dates");
    }
}

fn cure(steps: &[CureStep], layup: &Layup, doc: &Document<'_>, findings: &mut Findings<'_>) {
    let (mut clock, mut heat) = (0.0, layup.room_temperature);
    for (i, step) in steps.iter().enumerate() {
        let place = |key: &str| doc.offset_of(&format!("cure.{i}.{key}"));
        let shown = show_number(step.to, 1);
        match (step.rate, step.at) {
            (Some(_), Some(_)) => findings.fault(place("at"), "the step has both a rate and a clock time", "keep one of them"),
            (None, None) if step.to != heat => {
                let what = format!("the way to {shown} °C has no ramp");
                findings.fault(place("to"), what, "add `rate` in °C a minute, or `at` in minutes from the start");
            }
            (None, Some(at)) if at < clock || (at == clock && step.to != heat) => {
                let what = format!("the clock does not go on: {} min, after {} min", show_number(at, 1), show_number(clock, 1));
                findings.fault(place("at"), what, "give minutes from the start of the cure, each later than the step before and its hold");
            }
            (Some(rate), None) if rate > 5.0 => {
                let what = format!("{} °C a minute is a fast ramp", show_number(rate, 2));
                findings.warning(place("rate"), what, "1.7 to 2.8 °C a minute is usual; the cloth's data sheet decides");
            }
            _ => {}
        }
        clock = step.at.unwrap_or_else(|| clock + step.rate.map_or(0.0, |r| (step.to - heat).abs() / r)) + step.hold;
        heat = step.to;
        for (what, limit) in [("mould", layup.mould_limit), ("core", layup.core_limit)] {
            if let Some(limit) = limit.filter(|l| step.to > *l) {
                let said = format!("the cure goes to {shown} °C, and the {what} stands at most {} °C", show_number(limit, 1));
                findings.fault(place("to"), said, "lower the cure as the data sheet allows, or correct the limit");
            }
        }
    }
}
