//! How old a cloth is: expiry and time out of the freezer.

use super::Day;
use crate::fault::{Fault, Faults};
use crate::job::Job;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// An expiry nearer than this many days is told.
pub const SOON: i64 = 30;
/// Out-life is short when less than this share of it is left.
pub const SHORT_OUT_LIFE: f64 = 0.25;

const OVER: &str = "do not build load-carrying plies from it: take other cloth, ask the maker about re-testing it, or mark it cosmetic only";

/// More hours than anyone logs: about eleven years.
pub(crate) const MOST_HOURS: f64 = 100_000.0;

/// Expiry and out-life of a roll or an offcut. What is `None` was not told.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields, default)]
pub struct Age {
    /// Last day of use by the label, stored as it asks.
    pub expiry: Option<Day>,
    /// Hours it may spend out of the freezer by its data sheet; thawing counts.
    pub out_life_hours: Option<f64>,
    /// Hours it has spent out of the freezer up to the snapshot (out-life used), as the ledger
    /// counts them.
    pub out_hours: f64,
    /// It lies out of the freezer.
    pub is_out: bool,
    /// Knowingly downgraded: good for the look, not for strength.
    pub cosmetic_only: bool,
}

impl Age {
    /// Hours out of the freezer that are left, never below 0; `None` if its out-life is not known.
    pub fn hours_left(&self) -> Option<f64> {
        Some((self.out_life_hours? - self.out_hours).max(0.0))
    }

    /// True if on that day it is past its expiry or has no out-life left.
    pub fn is_over(&self, today: Day) -> bool {
        self.expiry.is_some_and(|e| e < today) || self.hours_left() == Some(0.0)
    }

    /// True if it may be cut for plies that carry load: neither over nor downgraded.
    pub fn is_sound(&self, today: Day) -> bool {
        !self.cosmetic_only && !self.is_over(today)
    }

    /// What a person must hear about it, if anything: what is wrong and what to do.
    pub fn warning(&self, name: &str, today: Day) -> Option<Fault> {
        if let Some(expiry) = self.expiry.filter(|e| *e < today) {
            return Some(
                Fault::new(
                    said!("expired on {expiry}, {} days ago", expiry.days_until(today)),
                    OVER,
                )
                .on(name),
            );
        }
        if let (Some(life), Some(left)) = (self.out_life_hours, self.hours_left()) {
            if left <= 0.0 {
                let what = said!(
                    "has been out of the freezer {:.0} h, and may be {life:.0} h",
                    self.out_hours
                );
                return Some(Fault::new(what, OVER).on(name));
            }
            if left < SHORT_OUT_LIFE * life {
                let what = said!(
                    "has {left:.0} h of its {life:.0} h out of the freezer left, thawing included"
                );
                return Some(
                    Fault::new(what, "use it first, lay up and cure within that time, and put back what is left at once").on(name),
                );
            }
        }
        let soon = self.expiry.map(|e| (e, today.days_until(e))).filter(|(_, days)| *days <= SOON);
        soon.map(|(e, days)| {
            Fault::new(said!("expires on {e}, in {days} days"), "use it first").on(name)
        })
    }

    /// Refuses hours that are no hours.
    pub(super) fn check(&self, who: &str, faults: &mut Faults) {
        for (what, hours) in
            [("out-life", self.out_life_hours), ("time out of the freezer", Some(self.out_hours))]
        {
            if hours.is_some_and(|h| !(0.0..=MOST_HOURS).contains(&h)) {
                faults.push(
                    Fault::new(
                        said!("its {what} is not a number of hours from 0 to {MOST_HOURS}"),
                        "give hours of 0 or more",
                    )
                    .on(who),
                );
            }
        }
    }
}

/// What the dates that jobs give for their own rolls ask for on a day, one line for each cloth in
/// use; for planning without a stock, whose rolls have dates of their own.
pub fn cautions_of_jobs(jobs: &[Job], today: Day) -> Vec<String> {
    let mut told: Vec<&str> = Vec::new();
    let mut out = Vec::new();
    for job in jobs {
        for cloth in job.layers.iter().filter_map(|l| job.cloths.get(l.cloth)) {
            if told.contains(&cloth.id.as_str()) {
                continue;
            }
            told.push(&cloth.id);
            let batch = cloth.batch.as_ref().map_or(String::new(), |b| format!(", batch {b}"));
            let name = format!("the roll of {}{batch}", cloth.id);
            // The job tells the hours that are left, not those of the data sheet.
            let age = Age {
                expiry: cloth.expiry.as_deref().and_then(|e| Day::parse(e).ok()),
                ..Age::default()
            };
            let worn = cloth
                .out_life_hours
                .is_some_and(|h| h <= 0.0)
                .then(|| Fault::new("has no hours out of the freezer left", OVER).on(&name));
            out.extend(age.warning(&name, today).into_iter().chain(worn).map(|f| f.in_one_line()));
        }
    }
    out
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    #[test]
    fn over_soon_and_short() {
        let day = |t: &str| Day::parse(t).unwrap();
        let today = day("2026-11-25");
        let expires = |t: &str| Age { expiry: Some(day(t)), ..Age::default() };
        assert!(
            expires("2026-11-24").is_over(today) && !expires("2026-11-25").is_over(today),
            "the last day is a day of use"
        );
        let said = |a: Age| a.warning("roll-1", today).map(|f| f.what);
        assert_eq!(said(expires("2026-11-24")).unwrap(), "expired on 2026-11-24, 1 days ago");
        assert_eq!(said(expires("2026-12-20")).unwrap(), "expires on 2026-12-20, in 25 days");
        assert_eq!(said(expires("2027-12-20")), None);
        let out = |hours| Age { out_life_hours: Some(400.0), out_hours: hours, ..Age::default() };
        assert_eq!(said(out(300.0)), None);
        assert_eq!(
            said(out(301.0)).unwrap(),
            "has 99 h of its 400 h out of the freezer left, thawing included"
        );
        assert!(out(400.0).is_over(today) && said(out(500.0)).unwrap().contains("500 h"));
        assert!(!Age { cosmetic_only: true, ..Age::default() }.is_sound(today));
    }
}
