//! The whole stock at one day, and its plain JSON file.

use super::{Age, Day, Offcut, OffcutFacts, Roll, RollFacts, name_fault};
use crate::fault::{Fault, Faults};
use crate::json::holds_no_more_than_is_read;
use crate::units::quoted;
use rayon::prelude::*;
use schemars::JsonSchema;
use serde::de::IgnoredAny;
use serde::{Deserialize, Serialize};
use std::collections::BTreeSet;

/// Version of the stock file.
pub const FILE_SCHEMA: u32 = 1;
/// Largest stock file that is read, bytes.
pub const LARGEST_FILE: u64 = 256 << 20;
/// Most rolls, offcuts and consumables in a file: more than a workshop has shelves for.
const MOST_THINGS: usize = 100_000;

/// What a dated consumable is for.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize, JsonSchema,
)]
#[serde(rename_all = "kebab-case")]
pub enum ConsumableKind {
    /// Keeps the part from bonding to the mould.
    ReleaseAgent,
    /// Resin or hardener.
    Resin,
    /// Tape that seals the bag.
    SealantTape,
    /// Bag or release film.
    Film,
    /// Anything else with a date.
    Other,
}

impl ConsumableKind {
    /// In words.
    pub fn words(self) -> &'static str {
        match self {
            ConsumableKind::ReleaseAgent => "release agent",
            ConsumableKind::Resin => "resin",
            ConsumableKind::SealantTape => "sealant tape",
            ConsumableKind::Film => "film",
            ConsumableKind::Other => "consumable",
        }
    }
}

/// A can, roll or bag with a date on it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Consumable {
    /// Its name in the stock: `con-3`.
    pub id: String,
    /// What it is for.
    pub kind: ConsumableKind,
    /// Its name for people.
    pub name: String,
    /// Last day of use by its label.
    #[serde(default)]
    pub expiry: Option<Day>,
    /// When it was opened.
    #[serde(default)]
    pub opened: Option<Day>,
    /// Days it lasts once opened.
    #[serde(default)]
    pub days_after_opening: Option<u32>,
    /// Where it lies.
    #[serde(default)]
    pub place: Option<String>,
}

impl Consumable {
    /// Its last day of use: by its label, or by its time since opening if that ends earlier.
    pub fn last_day(&self) -> Option<Day> {
        let after_opening =
            self.opened.zip(self.days_after_opening).map(|(day, keeps)| day.plus_days(keeps));
        [self.expiry, after_opening].into_iter().flatten().min()
    }

    /// What a person must hear about it, if anything.
    pub fn warning(&self, today: Day) -> Option<Fault> {
        let last = self.last_day()?;
        let who = format!("{} {} ({})", self.kind.words(), self.name, self.id);
        let spoils = match self.kind {
            ConsumableKind::ReleaseAgent => "an old one can bond the part to the mould",
            ConsumableKind::Resin => "an old one may not cure",
            ConsumableKind::SealantTape => "old tape leaks",
            _ => "it may fail in the cure",
        };
        let days = today.days_until(last);
        if days < 0 {
            let remedy =
                said!("do not use it: {spoils}; take a fresh one and remove this from the stock");
            Some(Fault::new(said!("its last day was {last}, {} days ago", -days), remedy).on(who))
        } else {
            (days <= super::SOON).then(|| {
                Fault::new(
                    said!("its last day is {last}, in {days} days"),
                    "use it first, or order more",
                )
                .on(who)
            })
        }
    }

    /// Refuses names that fit no label.
    ///
    /// # Errors
    /// Every such name.
    pub fn sound(&self) -> Result<(), Faults> {
        let mut faults = Faults::new();
        self.check(&mut faults);
        faults.into_result(())
    }

    fn check(&self, faults: &mut Faults) {
        let texts = [
            ("its id", Some(self.id.as_str())),
            ("its name", Some(&self.name)),
            ("its place", self.place.as_deref()),
        ];
        faults.0.extend(
            texts
                .into_iter()
                .filter_map(|(what, text)| name_fault(what, text?))
                .map(|f| f.on(&self.id)),
        );
    }
}

/// The stock file: what `stock export` writes, `stock import` reads and `nest --stock` plans from.
/// Lengths mm, times hours.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct SnapshotFile {
    /// Version of this format: 1.
    pub schema: u32,
    /// Which ledger it is of: plans made from it can be booked there.
    #[serde(default)]
    pub ledger: Option<String>,
    /// The day it tells of; ages are counted from it. Today if left out.
    #[serde(default)]
    pub day: Option<Day>,
    /// The rolls.
    #[serde(default)]
    pub rolls: Vec<RollFacts>,
    /// The offcuts.
    #[serde(default)]
    pub offcuts: Vec<OffcutFacts>,
    /// The dated consumables.
    #[serde(default)]
    pub consumables: Vec<Consumable>,
    /// The whole ledger behind it, which only a ledger reads: history, freezer log, cut pieces.
    #[serde(default, skip_serializing)]
    #[schemars(with = "Option<serde_json::Value>")]
    pub archive: Option<IgnoredAny>,
}

/// The stock on one day, every part of it valid, names unique.
#[derive(Clone, Debug, PartialEq)]
pub struct Snapshot {
    /// Which ledger it is of, if of any.
    pub ledger: Option<String>,
    /// The day.
    pub day: Day,
    /// The rolls.
    pub rolls: Vec<Roll>,
    /// The offcuts.
    pub offcuts: Vec<Offcut>,
    /// The dated consumables.
    pub consumables: Vec<Consumable>,
}

impl SnapshotFile {
    /// Reads a stock file's text, of which nothing is checked yet.
    ///
    /// # Errors
    /// A text that is no such file, with line and column.
    pub fn from_json(text: &str) -> Result<SnapshotFile, Fault> {
        const REMEDY: &str = "name a file that `warpwise stock export` wrote, or a ledger";
        holds_no_more_than_is_read(text, REMEDY)?;
        let file: SnapshotFile = serde_json::from_str(text).map_err(|e| {
            let what = e.to_string();
            let what =
                what.split(" at line ").next().unwrap_or("it is not a stock file").to_string();
            let fault = Fault::new(said!("this is not a stock file: {what}"), REMEDY);
            if e.line() > 0 { fault.at_line(e.line(), e.column().max(1)) } else { fault }
        })?;
        let things = file.rolls.len() + file.offcuts.len() + file.consumables.len();
        if things > MOST_THINGS {
            let what = said!(
                "the file holds {things} rolls, offcuts and consumables; at most {MOST_THINGS} are taken"
            );
            return Err(Fault::new(what, "take out what is not there any more"));
        }
        Ok(file)
    }

    /// Its text, ending in a line feed.
    pub fn to_json(&self) -> String {
        let mut text = serde_json::to_string_pretty(self).unwrap_or_default();
        text.push('\n');
        text
    }
}

impl Snapshot {
    /// An empty stock.
    pub fn empty(day: Day) -> Snapshot {
        Snapshot {
            ledger: None,
            day,
            rolls: Vec::new(),
            offcuts: Vec::new(),
            consumables: Vec::new(),
        }
    }

    /// Checks everything in a stock file; `today` where it names no day.
    ///
    /// # Errors
    /// Every fault of every roll, offcut and consumable, and names that stand for two things.
    pub fn new(file: SnapshotFile, today: Day) -> Result<Snapshot, Faults> {
        let mut faults = Faults::new();
        if file.schema != FILE_SCHEMA {
            let what = said!(
                "the stock file has schema {}, and this version reads schema {FILE_SCHEMA}",
                file.schema
            );
            return Err(Fault::new(what, "export it again with this version of warpwise").into());
        }
        let names = file.rolls.iter().map(|r| &r.id).chain(file.offcuts.iter().map(|o| &o.id));
        let mut seen = BTreeSet::new();
        for name in names.chain(file.consumables.iter().map(|c| &c.id)) {
            if !seen.insert(name.as_str()) {
                faults.push(
                    Fault::new(
                        "stands for two things",
                        "give every roll, offcut and consumable a name of its own",
                    )
                    .on(name),
                );
            }
        }
        let rolls = file.rolls.into_iter().filter_map(|r| faults.keep(Roll::new(r))).collect();
        // Each is looked at whole, and there may be thousands.
        let offcuts: Vec<_> = file.offcuts.into_par_iter().map(Offcut::new).collect();
        let offcuts = offcuts.into_iter().filter_map(|o| faults.keep(o)).collect();
        file.consumables.iter().for_each(|c| c.check(&mut faults));
        let day = file.day.unwrap_or(today);
        faults.into_result(Snapshot {
            ledger: file.ledger,
            day,
            rolls,
            offcuts,
            consumables: file.consumables,
        })
    }

    /// Reads a stock file's text; `today` where it names no day.
    ///
    /// # Errors
    /// A text that is no such file, with line and column, or every fault in it.
    pub fn from_json(text: &str, today: Day) -> Result<Snapshot, Faults> {
        Snapshot::new(SnapshotFile::from_json(text)?, today)
    }

    /// The stock file of it.
    pub fn to_file(&self) -> SnapshotFile {
        SnapshotFile {
            schema: FILE_SCHEMA,
            ledger: self.ledger.clone(),
            day: Some(self.day),
            rolls: self.rolls.iter().map(|r| r.facts().clone()).collect(),
            offcuts: self.offcuts.iter().map(|o| o.facts().clone()).collect(),
            consumables: self.consumables.clone(),
            archive: None,
        }
    }

    /// What the dates ask for on a day, one line each: every consumable, and the rolls and offcuts
    /// that `concerned` (by name and cloth) picks.
    pub fn cautions(&self, day: Day, concerned: &dyn Fn(&str, &str) -> bool) -> Vec<String> {
        let rolls = self.rolls.iter().map(|r| (r.id(), r.cloth(), r.age()));
        let ages = rolls.chain(self.offcuts.iter().map(|o| (o.id(), o.cloth(), o.age())));
        let of_cloth = ages
            .filter(|(id, cloth, _)| concerned(id, cloth))
            .filter_map(|(id, _, age)| age.warning(id, day));
        let all = self.consumables.iter().filter_map(|c| c.warning(day)).chain(of_cloth);
        all.map(|f| f.in_one_line()).collect()
    }

    /// Offcuts of a cloth that may be cut: not over; those for the look only if `cosmetic` says so.
    pub fn offcuts_of<'a, 'c>(
        &'a self,
        cloth: &'c str,
        cosmetic: bool,
    ) -> impl Iterator<Item = &'a Offcut> + use<'a, 'c> {
        let usable = move |a: &Age| {
            if cosmetic { a.cosmetic_only || a.is_sound(self.day) } else { a.is_sound(self.day) }
        };
        self.offcuts.iter().filter(move |o| o.cloth() == cloth && usable(o.age()))
    }

    /// The same stock without the offcuts named.
    #[must_use]
    pub fn without_offcuts(mut self, names: &BTreeSet<String>) -> Snapshot {
        self.offcuts.retain(|o| !names.contains(o.id()));
        self
    }

    /// The nearest known cloth to a name that is none, as a remedy.
    pub fn nearest_cloth(&self, name: &str) -> Option<String> {
        let known: BTreeSet<&str> = self
            .rolls
            .iter()
            .map(Roll::cloth)
            .chain(self.offcuts.iter().map(Offcut::cloth))
            .collect();
        known
            .into_iter()
            .map(|k| (strsim::osa_distance(k, name), k))
            .filter(|(d, _)| *d <= 3)
            .min()
            .map(|(_, k)| quoted(k))
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::fault::Place;

    const FILE: &str = r#"{ "schema": 1, "rolls": [ { "id": "roll-1", "cloth": "twill", "width": 1250, "length": 9000, "added": "2026-01-05" } ],
        "offcuts": [ { "id": "off-1", "cloth": "twill", "outline": [[0,0],[300,0],[300,200],[0,200]], "added": "2026-01-05" } ],
        "consumables": [ { "id": "con-1", "kind": "release-agent", "name": "wax", "opened": "2026-05-01", "days_after_opening": 180 } ] }"#;

    #[test]
    fn a_stock_file_survives_its_own_writing() {
        let today = Day::parse("2026-11-25").unwrap();
        let read = Snapshot::from_json(FILE, today).unwrap();
        assert_eq!(Snapshot::from_json(&read.to_file().to_json(), today).unwrap(), read);
        assert_eq!(read.offcuts_of("twill", false).count(), 1);
        // 180 days from 1 May: 30 in May, 30+31+31+30 to the end of September, 28 in October.
        assert_eq!(read.consumables[0].last_day().unwrap().to_string(), "2026-10-28");
        assert!(read.consumables[0].warning(today).unwrap().remedy.contains("bond the part"));
    }

    #[test]
    fn what_is_no_stock_file_is_told_by_line_and_every_fault_in_one_go() {
        let today = Day::parse("2026-11-25").unwrap();
        let broken = FILE.replace("\"width\"", "\"wdth\"");
        let fault = &Snapshot::from_json(&broken, today).unwrap_err().0[0];
        assert!(
            matches!(fault.place, Place::Line { line: 1, .. }) && fault.what.contains("wdth"),
            "{fault}"
        );
        let broken = FILE
            .replace("off-1", "roll-1")
            .replace("1250", "-1")
            .replace("[300,200]", "[100,-200]");
        assert!(Snapshot::from_json(&broken, today).unwrap_err().0.len() >= 2);
        assert!(
            Snapshot::from_json(&FILE.replace("2026-01-05", "2026-02-30"), today)
                .unwrap_err()
                .to_string()
                .contains("is not a date")
        );
        assert!(
            Snapshot::from_json("", today).is_err() && Snapshot::from_json("{}", today).is_err()
        );
    }
}
