//! The stock file of a ledger: export and import. Beside what lies there it carries the whole
//! ledger, so that brought into an empty one it is the same ledger again: history, freezer log, cut
//! pieces, and names that are never given twice.

use super::open::{Ledger, Trouble, machine, trouble};
use super::record::{Kept, Record};
use super::write::{Change, LAST_NUMBER, Moment, Stop, all, write_record};
use crate::fault::{Fault, Faults};
use crate::stock::{Age, Consumable, Offcut, OffcutFacts, Roll, RollFacts, Snapshot, SnapshotFile};
use rusqlite::{Connection, TransactionBehavior, params};
use serde::{Deserialize, Serialize};
use std::collections::{BTreeMap, BTreeSet};

/// Every table of the ledger.
#[derive(Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct Archive {
    /// The last number given to each kind of thing.
    numbers: BTreeMap<String, u32>,
    records: Vec<Record>,
    entries: Vec<ArchivedEntry>,
}

/// An entry of the history with what it changed.
#[derive(Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct ArchivedEntry {
    number: i64,
    at: String,
    what: String,
    undone: bool,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    tick: Option<String>,
    changes: Vec<ArchivedChange>,
}

/// One record before and after an entry.
#[derive(Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct ArchivedChange {
    id: String,
    before: Option<Record>,
    after: Option<Record>,
}

/// Kinds of things that are numbered.
const NUMBERED: [&str; 3] = ["roll", "off", "con"];
const KINDS: [&str; 5] = ["roll", "offcut", "consumable", "piece", "plan"];

/// What an import took over.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Imported {
    /// Rolls, offcuts and consumables.
    pub things: usize,
    /// History, freezer log and cut pieces came too.
    pub whole: bool,
    /// The file holds a whole ledger, of which only what lies there was taken, since this one is
    /// not empty.
    pub left_history: bool,
}

impl Ledger {
    /// The text of the stock file, with the whole ledger.
    ///
    /// # Errors
    /// A record that is unsound, which only damage can make.
    pub fn export(&self, now: &Moment) -> Result<String, Trouble> {
        let failed = |e: rusqlite::Error| trouble(&self.file, &e);
        // One state of the ledger, whatever other processes change meanwhile.
        let reading = self.db.unchecked_transaction().map_err(failed)?;
        let mut file = self.snapshot(now)?.to_file();
        let archive = Archive::of(&reading).map_err(failed)?;
        let archive = serde_json::to_value(archive)
            .map_err(|e| machine(&self.file, &format!("its archive cannot be written: {e}")))?;
        file.archive = Some(archive);
        Ok(file.to_json())
    }

    /// Takes over a stock file. If it holds a whole ledger and this one is empty, it becomes that
    /// ledger; else everything that lies there is added, and names that are taken are replaced by
    /// new ones.
    ///
    /// # Errors
    /// A text that is no stock file, and every fault in it; then nothing is taken over.
    pub fn import(&mut self, text: &str, now: &Moment) -> Result<Imported, Trouble> {
        let mut file = SnapshotFile::from_json(text)?;
        let archive = file.archive.take();
        let id = file.ledger.clone();
        let stock = Snapshot::new(file, now.day)?;
        let things = stock.rolls.len() + stock.offcuts.len() + stock.consumables.len();
        let Some(archive) = archive else {
            return Ok(Imported {
                things: self.take_over(&stock, now)?,
                whole: false,
                left_history: false,
            });
        };
        let archive: Archive =
            serde_json::from_value(archive).map_err(|e| broken(&e.to_string()))?;
        archive.check(&stock)?;
        if self.restore_archive(&archive, id.as_deref())? {
            return Ok(Imported { things, whole: true, left_history: false });
        }
        Ok(Imported { things: self.take_over(&stock, now)?, whole: false, left_history: true })
    }

    /// Becomes the archived ledger, if this one is empty.
    fn restore_archive(&mut self, archive: &Archive, id: Option<&str>) -> Result<bool, Trouble> {
        let file = self.file.clone();
        let mut run = || -> rusqlite::Result<bool> {
            let tx = self.db.transaction_with_behavior(TransactionBehavior::Immediate)?;
            let rows: i64 = tx.query_row(
                "SELECT (SELECT count(*) FROM record) + (SELECT count(*) FROM entry)",
                [],
                |row| row.get(0),
            )?;
            if rows > 0 {
                return Ok(false);
            }
            archive.write(&tx, id)?;
            super::seal::close(&tx)?;
            tx.commit()?;
            Ok(true)
        };
        let whole = run().map_err(|e| trouble(&file, &e))?;
        // As after any change: see `change`.
        let _ = self.back_up();
        Ok(whole)
    }

    fn take_over(&mut self, stock: &Snapshot, now: &Moment) -> Result<usize, Trouble> {
        let count = stock.rolls.len() + stock.offcuts.len() + stock.consumables.len();
        // What was out of the freezer on the file's day is taken to have been out since.
        let since = now.seconds - 86_400 * stock.day.days_until(now.day).max(0);
        let out = |age: &Age| age.is_out.then_some(since);
        self.change(now, &format!("imported {count} things"), |c| {
            for roll in &stock.rolls {
                let facts =
                    RollFacts { id: free_name(c, roll.id(), "roll")?, ..roll.facts().clone() };
                let out_since = out(&facts.age);
                c.put(
                    &facts.id.clone(),
                    Some(&Record::Roll(Kept { facts, out_since, open_plan: None })),
                )?;
            }
            for offcut in &stock.offcuts {
                let facts =
                    OffcutFacts { id: free_name(c, offcut.id(), "off")?, ..offcut.facts().clone() };
                let out_since = out(&facts.age);
                c.put(
                    &facts.id.clone(),
                    Some(&Record::Offcut(Kept { facts, out_since, open_plan: None })),
                )?;
            }
            for consumable in &stock.consumables {
                let consumable =
                    Consumable { id: free_name(c, &consumable.id, "con")?, ..consumable.clone() };
                c.put(&consumable.id.clone(), Some(&Record::Consumable(consumable)))?;
            }
            Ok(count)
        })
    }
}

/// A thing's own name, never to be given again, or a new one if that is taken.
fn free_name(c: &Change<'_>, id: &str, kind: &str) -> Result<String, Stop> {
    if c.get(id)?.is_some() {
        return Ok(c.new_id(kind)?);
    }
    c.reserve(id)?;
    Ok(id.to_string())
}

impl Archive {
    fn of(db: &Connection) -> rusqlite::Result<Archive> {
        let mut numbers = BTreeMap::new();
        for kind in NUMBERED {
            let number = db.query_row(
                "SELECT CAST(value AS INTEGER) FROM about WHERE name = ?1",
                [kind],
                |row| row.get(0),
            )?;
            numbers.insert(kind.to_string(), number);
        }
        let mut records = Vec::new();
        for kind in KINDS {
            records.extend(all(db, kind)?);
        }
        let mut select =
            db.prepare("SELECT number, at, what, undone, tick FROM entry ORDER BY number")?;
        let entry = |r: &rusqlite::Row<'_>| {
            Ok(ArchivedEntry {
                number: r.get(0)?,
                at: r.get(1)?,
                what: r.get(2)?,
                undone: r.get(3)?,
                tick: r.get(4)?,
                changes: Vec::new(),
            })
        };
        let mut entries: Vec<ArchivedEntry> =
            select.query_map([], entry)?.collect::<rusqlite::Result<_>>()?;
        let mut select =
            db.prepare("SELECT id, before, after FROM change WHERE entry = ?1 ORDER BY rowid")?;
        let record = |text: Option<String>| text.map(|t| super::write::read(&t)).transpose();
        for entry in &mut entries {
            let change = |r: &rusqlite::Row<'_>| {
                Ok(ArchivedChange {
                    id: r.get(0)?,
                    before: record(r.get(1)?)?,
                    after: record(r.get(2)?)?,
                })
            };
            entry.changes =
                select.query_map([entry.number], change)?.collect::<rusqlite::Result<_>>()?;
        }
        Ok(Archive { numbers, records, entries })
    }

    /// Writes every table of an empty ledger.
    fn write(&self, db: &Connection, id: Option<&str>) -> rusqlite::Result<()> {
        for (kind, number) in &self.numbers {
            db.execute(
                "UPDATE about SET value = ?2 WHERE name = ?1",
                params![kind, number.to_string()],
            )?;
        }
        if let Some(id) = id {
            db.execute("UPDATE about SET value = ?1 WHERE name = 'ledger'", [id])?;
        }
        for record in &self.records {
            write_record(db, &record.id(), Some(record))?;
        }
        let mut write_entry = db.prepare(
            "INSERT INTO entry (number, at, what, undone, tick) VALUES (?1, ?2, ?3, ?4, ?5)",
        )?;
        let mut write_change = db.prepare("INSERT INTO change VALUES (?1, ?2, ?3, ?4)")?;
        for entry in &self.entries {
            let ArchivedEntry { number, at, what, undone, tick, .. } = entry;
            write_entry.execute(params![number, at, what, undone, tick])?;
            for change in &entry.changes {
                let text = |record: &Option<Record>| record.as_ref().map(Record::to_text);
                write_change.execute(params![
                    entry.number,
                    change.id,
                    text(&change.before),
                    text(&change.after)
                ])?;
            }
        }
        Ok(())
    }

    /// Holds it against itself and against the lists of the same file.
    fn check(&self, stock: &Snapshot) -> Result<(), Faults> {
        let mut faults = Faults::new();
        if !self.numbers.keys().map(String::as_str).eq(["con", "off", "roll"])
            || self.numbers.values().any(|n| *n > LAST_NUMBER)
        {
            faults.push(broken("its numbers are not those of rolls, offcuts and consumables"));
        }
        let mut seen = BTreeSet::new();
        for record in &self.records {
            if !seen.insert(record.id()) {
                faults.push(broken("two records have this name").on(record.id()));
            }
        }
        let changed = self
            .entries
            .iter()
            .flat_map(|e| &e.changes)
            .flat_map(|c| c.before.iter().chain(&c.after));
        self.records.iter().chain(changed).for_each(|record| {
            faults.keep(record.sound());
        });
        if !self.entries.is_sorted_by(|a, b| a.number < b.number)
            || self.entries.first().is_some_and(|e| e.number < 1)
        {
            faults.push(broken("its entries are not numbered upwards"));
        }
        let mut ticks = BTreeSet::new();
        if !self.entries.iter().filter_map(|e| e.tick.as_ref()).all(|tick| ticks.insert(tick)) {
            faults.push(broken("a tick is counted twice"));
        }
        faults.0.extend(self.differences(stock));
        faults.into_result(())
    }

    /// Things that the lists of the file tell otherwise than the archive, their ages apart: those
    /// run on.
    fn differences(&self, stock: &Snapshot) -> Vec<Fault> {
        let mut listed = BTreeMap::new();
        let ageless = |facts: RollFacts| {
            Record::Roll(Kept {
                facts: RollFacts { age: Age::default(), ..facts },
                out_since: None,
                open_plan: None,
            })
        };
        let ageless_offcut = |facts: OffcutFacts| {
            Record::Offcut(Kept {
                facts: OffcutFacts { age: Age::default(), ..facts },
                out_since: None,
                open_plan: None,
            })
        };
        listed.extend(stock.rolls.iter().map(|r| (r.id().to_string(), ageless(r.facts().clone()))));
        listed.extend(
            stock.offcuts.iter().map(|o| (o.id().to_string(), ageless_offcut(o.facts().clone()))),
        );
        listed.extend(
            stock.consumables.iter().map(|c| (c.id.clone(), Record::Consumable(c.clone()))),
        );
        let mut archived = BTreeMap::new();
        for record in &self.records {
            let plain = match record.clone() {
                Record::Roll(r) => Roll::new(r.facts).ok().map(|r| ageless(r.facts().clone())),
                Record::Offcut(o) => {
                    Offcut::new(o.facts).ok().map(|o| ageless_offcut(o.facts().clone()))
                }
                Record::Consumable(c) => Some(Record::Consumable(c)),
                Record::Piece(_) | Record::Plan(_) => None,
            };
            archived.extend(plain.map(|p| (record.id(), p)));
        }
        let names: BTreeSet<&String> = listed.keys().chain(archived.keys()).collect();
        let differing = names.into_iter().filter(|id| listed.get(*id) != archived.get(*id));
        differing
            .map(|id| broken("the lists of the file tell it otherwise than its `archive`").on(id))
            .collect()
    }
}

fn broken(what: &str) -> Fault {
    let remedy = "export it again; or take `archive` out of the file to import only the rolls, offcuts and consumables";
    Fault::new(format!("the archive in the stock file is not as it was written: {what}"), remedy)
}
