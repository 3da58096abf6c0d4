//! A clock that jumped: dates and hours out of the freezer hang on it, so that it is said, and
//! never fatal.

use super::moment::Moment;
use super::open::Ledger;
use super::record::Record;
use super::trouble::Trouble;
use crate::fault::Fault;
use crate::stock::Day;

/// A change may be dated so far ahead of the clock, seconds: two machines are never quite together.
const TOGETHER: i64 = 3600;

impl Ledger {
    /// What speaks against the computer's clock, now or when a record was made; each with what to
    /// do.
    ///
    /// # Errors
    /// SQLite's own.
    pub fn clock_doubts(&self, now: &Moment) -> Result<Vec<Fault>, Trouble> {
        let mut doubts = Vec::new();
        if !now.day.is_plausible() {
            let remedy = "set the clock: dates and hours out of the freezer are counted by it";
            doubts.push(Fault::new(said!("the computer's clock says {}", now.day), remedy));
        }
        let last = self.history(1)?.into_iter().next();
        if let Some(last) = last.filter(|last| {
            last.at
                .parse::<jiff::Timestamp>()
                .is_ok_and(|at| at.as_second() > now.seconds + TOGETHER)
        }) {
            let what = said!(
                "the last change ({}) is dated {}, and the computer's clock says {}",
                last.what,
                last.at,
                now.text()
            );
            doubts.push(Fault::new(what, "set the clock; if that change was dated wrongly, go on"));
        }
        for record in ["roll", "offcut"]
            .map(|kind| self.records(kind))
            .into_iter()
            .collect::<Result<Vec<_>, _>>()?
            .into_iter()
            .flatten()
        {
            let (added, out_since) = match &record {
                Record::Roll(r) => (r.facts.added, r.out_since),
                Record::Offcut(o) => (o.facts.added, o.out_since),
                _ => continue,
            };
            doubts.extend(doubt(&record.id(), added, out_since, now));
        }
        Ok(doubts)
    }
}

fn doubt(id: &str, added: Day, out_since: Option<i64>, now: &Moment) -> Option<Fault> {
    let ahead = out_since.is_some_and(|since| since > now.seconds + TOGETHER);
    let long_ago = out_since.is_some_and(|since| {
        since < 0 || (now.seconds - since) as f64 / 3600.0 > crate::stock::MOST_HOURS
    });
    if ahead || long_ago {
        let what =
            "was taken out of the freezer by a clock that was wrong, so its hours are not known";
        return Some(
            Fault::new(
                what,
                said!("`warpwise stock set {id} --out-hours HOURS`, with the hours so far"),
            )
            .on(id),
        );
    }
    let remedy = || said!("`warpwise stock set {id} --added DAY`, with the day it came in");
    (!added.is_plausible()).then(|| {
        Fault::new(said!("was added on {added} by a clock that was wrong"), remedy()).on(id)
    })
}
