//! What the schema cannot say about the work at the mould: dates, clocks, ramps and limits.

use super::document::{Document, Findings};
use super::layup::{AssumedTime, CureStep, Layup, MouldWork};
use super::raw::RawJob;
use crate::units::{quoted, show_number};

/// Whether the text is a calendar day that cloth or a tin may bear.
pub(super) fn is_day(text: &str, offset: usize, findings: &mut Findings<'_>) -> bool {
    const YEARS: std::ops::RangeInclusive<i16> = 1990..=2199;
    let day = text
        .parse::<jiff::civil::Date>()
        .ok()
        .filter(|d| text.len() == 10 && YEARS.contains(&d.year()));
    if day.is_none() {
        findings.fault(
            offset,
            said!("{} is not a date", quoted(text)),
            "write year, month and day of 1990 to 2199, as \"2026-12-31\"",
        );
    }
    day.is_some()
}

pub(super) fn mould_work(
    raw: &mut RawJob,
    doc: &Document<'_>,
    findings: &mut Findings<'_>,
) -> MouldWork {
    let times = [("layup.thaw_hours", AssumedTime::Thaw), ("debulk.minutes", AssumedTime::Debulk)];
    let work = MouldWork {
        assumed: times.into_iter().filter(|t| !doc.has(t.0)).map(|t| t.1).collect(),
        layup: raw.layup.take().unwrap_or_default(),
        debulk: raw.debulk.take().unwrap_or_default(),
        cure: raw.cure.drain(..).flatten().collect(),
        consumables: raw.consumables.take().unwrap_or_default(),
        finish: raw.finish.drain(..).flatten().collect(),
    };
    dates(&work.layup, doc, findings);
    cure(&work.cure, &work.layup, doc, findings);
    if work.consumables.area.is_some() && !work.consumables.bag.is_empty() {
        let what = "the area under the bag stands beside bags with girths";
        findings.fault(
            doc.offset_of("consumables.area"),
            what,
            "keep the girths, and delete this line",
        );
    }
    work
}

fn dates(layup: &Layup, doc: &Document<'_>, findings: &mut Findings<'_>) {
    let start = layup
        .start
        .as_deref()
        .map(|s| s.parse::<jiff::civil::DateTime>().ok().filter(|_| s.contains(':')));
    if let (Some(None), Some(text)) = (&start, &layup.start) {
        let what = said!("{} is not a date and time", quoted(text));
        findings.fault(
            doc.offset_of("layup.start"),
            what,
            "write year, month, day and time, as \"2026-12-01 08:00\"",
        );
    }
    let Some(text) = &layup.release_expires else {
        return;
    };
    let place = doc.offset_of("layup.release_expires");
    if let (true, Some(Some(start)), Ok(expires)) =
        (is_day(text, place, findings), start, text.parse::<jiff::civil::Date>())
        && expires < start.date()
    {
        let what = said!(
            "the release agent expires on {expires}, before the cure begins on {}",
            start.date()
        );
        findings.warning(place, what, "use a fresh tin, or correct the dates");
    }
}

fn cure(steps: &[CureStep], layup: &Layup, doc: &Document<'_>, findings: &mut Findings<'_>) {
    let (mut clock, mut heat) = (0.0, layup.room_temperature);
    for (i, step) in steps.iter().enumerate() {
        let place = |key: &str| doc.offset_of(&format!("cure.{i}.{key}"));
        let shown = show_number(step.to, 1);
        match (step.rate, step.at) {
            (Some(_), Some(_)) => findings.fault(
                place("at"),
                "the step has both a rate and a clock time",
                "keep one of them",
            ),
            (None, None) if step.to != heat => {
                let what = said!("the way to {shown} °C has no ramp");
                let remedy = "add `rate` in °C a minute, or `at` in minutes from the start";
                findings.fault_to_paste(
                    place("to"),
                    what,
                    remedy,
                    "rate = 2                         # CHECK: °C a minute",
                );
            }
            (None, Some(at)) if at < clock || (at == clock && step.to != heat) => {
                let what = said!(
                    "the clock does not go on: {} min, after {} min",
                    show_number(at, 1),
                    show_number(clock, 1)
                );
                findings.fault(place("at"), what, "give minutes from the start of the cure, each later than the step before and its hold");
            }
            (Some(rate), None) if rate > 5.0 => {
                let what = said!("{} °C a minute is a fast ramp", show_number(rate, 2));
                findings.warning(
                    place("rate"),
                    what,
                    "1.7 to 2.8 °C a minute is usual; the cloth's data sheet decides",
                );
            }
            _ => {}
        }
        clock = step
            .at
            .unwrap_or_else(|| clock + step.rate.map_or(0.0, |r| (step.to - heat).abs() / r))
            + step.hold;
        heat = step.to;
        for (what, limit) in [("mould", layup.mould_limit), ("core", layup.core_limit)] {
            if let Some(limit) = limit.filter(|l| step.to > *l) {
                let said = said!(
                    "the cure goes to {shown} °C, and the {what} withstands at most {} °C",
                    show_number(limit, 1)
                );
                findings.fault(
                    place("to"),
                    said,
                    "lower the cure as the data sheet allows, or correct the limit",
                );
            }
        }
    }
}
