//! The stock file of a ledger: export and import. Beside what lies there it carries the whole
//! ledger, so that brought into an empty one it is the same ledger again: history, freezer log, cut
//! pieces, and names that are never given twice.

use super::moment::Moment;
use super::open::Ledger;
use super::record::{Kept, Record, read};
use super::rows::{all, write_record};
use super::trouble::{Trouble, machine, trouble};
use super::write::{Change, LAST_NUMBER, Stop};
use crate::fault::{Fault, Faults};
use crate::stock::{Age, Consumable, Offcut, OffcutFacts, Roll, RollFacts, Snapshot, SnapshotFile};
use rusqlite::{Connection, TransactionBehavior, params};
use serde::de::Error as _;
use serde::{Deserialize, Deserializer, Serialize, Serializer};
use serde_json::value::{RawValue, to_raw_value};
use std::borrow::Cow;
use std::collections::{BTreeMap, BTreeSet};

/// Every table of the ledger. Its records stay texts: a history is far larger read than written.
#[derive(Debug, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct Archive<'a> {
    numbers: Numbers,
    #[serde(borrow)]
    records: Vec<RecordText<'a>>,
    entries: Vec<ArchivedEntry<'a>>,
}

/// The last number given to each kind of thing.
#[derive(Debug, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct Numbers {
    con: u32,
    off: u32,
    roll: u32,
}

/// An entry of the history with what it changed.
#[derive(Debug, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct ArchivedEntry<'a> {
    number: i64,
    at: String,
    what: String,
    undone: bool,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    tick: Option<String>,
    #[serde(borrow)]
    changes: Vec<ArchivedChange<'a>>,
}

/// One record before and after an entry.
#[derive(Debug, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct ArchivedChange<'a> {
    id: String,
    #[serde(borrow)]
    before: Option<RecordText<'a>>,
    #[serde(borrow)]
    after: Option<RecordText<'a>>,
}

/// A record as the file has it, which can be read.
#[derive(Debug)]
struct RecordText<'a>(Cow<'a, RawValue>);

impl<'a> RecordText<'a> {
    fn of(record: &Record) -> Result<RecordText<'a>, serde_json::Error> {
        Ok(RecordText(Cow::Owned(to_raw_value(record)?)))
    }

    fn read(&self) -> Result<Record, serde_json::Error> {
        serde_json::from_str(self.0.get())
    }
}

impl Serialize for RecordText<'_> {
    fn serialize<S: Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        self.0.serialize(to)
    }
}

impl<'de: 'a, 'a> Deserialize<'de> for RecordText<'a> {
    fn deserialize<D: Deserializer<'de>>(from: D) -> Result<Self, D::Error> {
        let text = RecordText(Cow::Borrowed(<&'a RawValue>::deserialize(from)?));
        text.read().map_err(D::Error::custom)?;
        Ok(text)
    }
}

/// The stock file with the whole ledger.
#[derive(Serialize)]
struct Whole<'a> {
    #[serde(flatten)]
    file: SnapshotFile,
    archive: Archive<'a>,
}

/// Of a stock file only the whole ledger.
#[derive(Deserialize)]
struct OnlyArchive<'a> {
    #[serde(borrow)]
    archive: Option<&'a RawValue>,
}

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
        let file = self.snapshot(now)?.to_file();
        let whole = Whole { file, archive: Archive::of(&reading).map_err(failed)? };
        let text = serde_json::to_string_pretty(&whole)
            .map_err(|e| machine(&self.file, said!("its archive cannot be written: {e}")))?;
        Ok(text + "\n")
    }

    /// Takes over a stock file. If it holds a whole ledger and this one is empty, it becomes that
    /// ledger; else everything that lies there is added, and names that are taken are replaced by
    /// new ones.
    ///
    /// # Errors
    /// A text that is no stock file, and every fault in it; then nothing is taken over.
    pub fn import(&mut self, text: &str, now: &Moment) -> Result<Imported, Trouble> {
        let file = SnapshotFile::from_json(text)?;
        let id = file.ledger.clone();
        let stock = Snapshot::new(file, now.day)?;
        let things = stock.rolls.len() + stock.offcuts.len() + stock.consumables.len();
        let only: OnlyArchive<'_> =
            serde_json::from_str(text).map_err(|e| broken(&e.to_string()))?;
        let Some(archive) = only.archive else {
            return Ok(Imported {
                things: self.take_over(&stock, now)?,
                whole: false,
                left_history: false,
            });
        };
        let archive: Archive<'_> =
            serde_json::from_str(archive.get()).map_err(|e| broken(&e.to_string()))?;
        archive.check(&stock)?;
        if self.restore_archive(&archive, id.as_deref())? {
            return Ok(Imported { things, whole: true, left_history: false });
        }
        Ok(Imported { things: self.take_over(&stock, now)?, whole: false, left_history: true })
    }

    /// Becomes the archived ledger, if this one is empty.
    fn restore_archive(
        &mut self,
        archive: &Archive<'_>,
        id: Option<&str>,
    ) -> Result<bool, Trouble> {
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
        let _ = self.back_up(None);
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

impl Archive<'_> {
    fn of(db: &Connection) -> rusqlite::Result<Self> {
        let number = |kind: &str| {
            let select = "SELECT CAST(value AS INTEGER) FROM about WHERE name = ?1";
            db.query_row(select, [kind], |row| row.get(0))
        };
        let numbers = Numbers { con: number("con")?, off: number("off")?, roll: number("roll")? };
        // As it is written today, whatever fields an older version wrote.
        let text = |record: &Record| {
            RecordText::of(record).map_err(|e| rusqlite::Error::ToSqlConversionFailure(e.into()))
        };
        let mut records = Vec::new();
        for kind in KINDS {
            for record in all(db, kind)? {
                records.push(text(&record)?);
            }
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
        let record =
            |body: Option<String>| body.map(|b| read(&b).and_then(|r| text(&r))).transpose();
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
        let Numbers { con, off, roll } = self.numbers;
        for (kind, number) in [("con", con), ("off", off), ("roll", roll)] {
            db.execute(
                "UPDATE about SET value = ?2 WHERE name = ?1",
                params![kind, number.to_string()],
            )?;
        }
        if let Some(id) = id {
            db.execute("UPDATE about SET value = ?1 WHERE name = 'ledger'", [id])?;
        }
        for record in &self.records {
            let record = read(record.0.get())?;
            write_record(db, &record.id(), Some(&record))?;
        }
        let mut write_entry = db.prepare(
            "INSERT INTO entry (number, at, what, undone, tick) VALUES (?1, ?2, ?3, ?4, ?5)",
        )?;
        let mut write_change = db.prepare("INSERT INTO change VALUES (?1, ?2, ?3, ?4)")?;
        for entry in &self.entries {
            let ArchivedEntry { number, at, what, undone, tick, .. } = entry;
            write_entry.execute(params![number, at, what, undone, tick])?;
            for change in &entry.changes {
                let text = |record: &Option<RecordText<'_>>| {
                    let read = record.as_ref().map(|r| read(r.0.get()));
                    read.transpose().map(|r| r.as_ref().map(Record::to_text))
                };
                write_change.execute(params![
                    entry.number,
                    change.id,
                    text(&change.before)?,
                    text(&change.after)?
                ])?;
            }
        }
        Ok(())
    }

    /// Holds it against itself and against the lists of the same file.
    fn check(&self, stock: &Snapshot) -> Result<(), Faults> {
        let mut faults = Faults::new();
        let Numbers { con, off, roll } = self.numbers;
        if con.max(off).max(roll) > LAST_NUMBER {
            faults.push(broken("its numbers are not those of rolls, offcuts and consumables"));
        }
        let mut seen = BTreeSet::new();
        let mut read = |text: &RecordText<'_>| -> Option<Record> {
            let record = text.read().map_err(|e| Faults::from(broken(&e.to_string())));
            let record = faults.keep(record)?;
            faults.keep(record.sound());
            Some(record)
        };
        let mut archived = BTreeMap::new();
        let mut twice = Vec::new();
        for text in &self.records {
            let Some(record) = read(text) else { continue };
            if !seen.insert(record.id()) {
                twice.push(broken("two records have this name").on(record.id()));
            }
            archived.extend(plain(record));
        }
        let changes = self.entries.iter().flat_map(|e| &e.changes);
        changes.flat_map(|c| c.before.iter().chain(&c.after)).for_each(|text| {
            read(text);
        });
        faults.0.extend(twice);
        if !self.entries.is_sorted_by(|a, b| a.number < b.number)
            || self.entries.first().is_some_and(|e| e.number < 1)
        {
            faults.push(broken("its entries are not numbered upwards"));
        }
        let mut ticks = BTreeSet::new();
        if !self.entries.iter().filter_map(|e| e.tick.as_ref()).all(|tick| ticks.insert(tick)) {
            faults.push(broken("a tick is counted twice"));
        }
        faults.0.extend(differences(&archived, stock));
        faults.into_result(())
    }
}

fn ageless(facts: RollFacts) -> Record {
    let facts = RollFacts { age: Age::default(), ..facts };
    Record::Roll(Kept { facts, out_since: None, open_plan: None })
}

fn ageless_offcut(facts: OffcutFacts) -> Record {
    let facts = OffcutFacts { age: Age::default(), ..facts };
    Record::Offcut(Kept { facts, out_since: None, open_plan: None })
}

/// A record as the lists of the file tell it, with its name; `None` of what they do not tell.
fn plain(record: Record) -> Option<(String, Record)> {
    let id = record.id();
    let plain = match record {
        Record::Roll(r) => ageless(Roll::new(r.facts).ok()?.facts().clone()),
        Record::Offcut(o) => ageless_offcut(Offcut::new(o.facts).ok()?.facts().clone()),
        Record::Consumable(c) => Record::Consumable(c),
        Record::Piece(_) | Record::Plan(_) => return None,
    };
    Some((id, plain))
}

/// Things that the lists of the file tell otherwise than the archive, their ages apart: those run
/// on.
fn differences(archived: &BTreeMap<String, Record>, stock: &Snapshot) -> Vec<Fault> {
    let mut listed = BTreeMap::new();
    listed.extend(stock.rolls.iter().map(|r| (r.id().to_string(), ageless(r.facts().clone()))));
    listed.extend(
        stock.offcuts.iter().map(|o| (o.id().to_string(), ageless_offcut(o.facts().clone()))),
    );
    listed.extend(stock.consumables.iter().map(|c| (c.id.clone(), Record::Consumable(c.clone()))));
    let names: BTreeSet<&String> = listed.keys().chain(archived.keys()).collect();
    let differing = names.into_iter().filter(|id| listed.get(*id) != archived.get(*id));
    differing
        .map(|id| broken("the lists of the file tell it otherwise than its `archive`").on(id))
        .collect()
}

fn broken(what: &str) -> Fault {
    let remedy = "export it again; or take `archive` out of the file to import only the rolls, offcuts and consumables";
    Fault::new(said!("the archive in the stock file is not as it was written: {what}"), remedy)
}
