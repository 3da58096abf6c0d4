//! Changes: each one transaction, with its entry in the history.

use super::moment::Moment;
use super::open::Ledger;
use super::record::{Kept, Record, read};
use super::rows::{all, get, write_record};
use super::seal;
use super::trouble::{Trouble, trouble};
use crate::fault::{Fault, Faults};
use crate::stock::{Age, Consumable, Offcut, OffcutFacts, Roll, RollFacts, Snapshot};
use crate::units::quoted;
use rusqlite::{Connection, OptionalExtension, Transaction, TransactionBehavior, params};

/// In or out of the freezer.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum FreezerMove {
    /// Taken out: the hours run, thawing included.
    Out,
    /// Put back: the hours are added up.
    In,
}

/// Why something is taken out of the stock.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Gone {
    /// It was used without a plan: what for.
    Used(String),
    /// It was thrown away: why.
    ThrownAway(String),
}

/// Names are counted on from numbers up to this one.
pub(super) const LAST_NUMBER: u32 = 1_000_000_000;

/// A transaction with its entry in the history.
pub(super) struct Change<'a> {
    tx: Transaction<'a>,
    entry: i64,
}

impl Change<'_> {
    pub fn db(&self) -> &Connection {
        &self.tx
    }

    pub fn get(&self, id: &str) -> rusqlite::Result<Option<Record>> {
        get(&self.tx, id)
    }

    /// Writes a record, or takes it away.
    pub fn put(&self, id: &str, record: Option<&Record>) -> rusqlite::Result<()> {
        let before: Option<String> = self
            .tx
            .query_row("SELECT body FROM record WHERE id = ?1", [id], |row| row.get(0))
            .optional()?;
        let after = record.map(Record::to_text);
        self.tx.execute(
            "INSERT INTO change VALUES (?1, ?2, ?3, ?4)",
            params![self.entry, id, before, after],
        )?;
        write_record(&self.tx, id, record)
    }

    /// A name that came from elsewhere, as `off-17`: new ones are counted from beyond it.
    pub fn reserve(&self, id: &str) -> rusqlite::Result<()> {
        let Some((kind, number)) =
            id.rsplit_once('-').and_then(|(kind, n)| Some((kind, n.parse::<u32>().ok()?)))
        else {
            return Ok(());
        };
        if number > LAST_NUMBER {
            return Ok(());
        }
        let raise = "UPDATE about SET value = max(CAST(value AS INTEGER), ?2) WHERE name = ?1 AND name <> 'ledger'";
        self.tx.prepare_cached(raise)?.execute(params![kind, number]).map(|_| ())
    }

    /// A revision that the thing never had: a plan made on a state that was undone does not pass
    /// for one made on the present state.
    pub fn next_revision(&self, id: &str, present: u32) -> rusqlite::Result<u32> {
        let highest = "SELECT max(coalesce(json_extract(after, '$.facts.revision'), 0)) FROM change WHERE id = ?1";
        let known: Option<u32> =
            self.tx.prepare_cached(highest)?.query_row([id], |row| row.get(0))?;
        Ok(known.unwrap_or(0).max(present).saturating_add(1))
    }

    /// A name that was never used: `off-17`.
    pub fn new_id(&self, kind: &str) -> rusqlite::Result<String> {
        loop {
            let number: i64 = self.tx.query_row(
                "UPDATE about SET value = CAST(value AS INTEGER) + 1 WHERE name = ?1 RETURNING CAST(value AS INTEGER)",
                [kind],
                |row| row.get(0),
            )?;
            let id = format!("{kind}-{number}");
            // A name too far up to count on from, that an import brought.
            if get(&self.tx, &id)?.is_none() {
                return Ok(id);
            }
        }
    }
}

/// What a change comes to: SQLite's refusal or one of ours.
pub(super) enum Stop {
    Sql(rusqlite::Error),
    Ours(Faults),
}

impl From<rusqlite::Error> for Stop {
    fn from(e: rusqlite::Error) -> Stop {
        Stop::Sql(e)
    }
}

impl From<Faults> for Stop {
    fn from(f: Faults) -> Stop {
        Stop::Ours(f)
    }
}

impl From<Fault> for Stop {
    fn from(f: Fault) -> Stop {
        Stop::Ours(f.into())
    }
}

impl Ledger {
    /// Runs a change as one transaction; `what` names it in the history. It is durable once this
    /// returns, and nothing of it stays if it fails.
    pub(super) fn change<T>(
        &mut self,
        now: &Moment,
        what: &str,
        run: impl FnOnce(&Change<'_>) -> Result<T, Stop>,
    ) -> Result<T, Trouble> {
        match self.change_once(now, what, None, run)? {
            Some(value) => Ok(value),
            // Only what has a key is known from before.
            None => Err(Trouble::Input(Faults::new())),
        }
    }

    /// The same of what has a key, such as a tick, and is counted once: nothing is done and nothing
    /// comes back if the ledger knows the key.
    pub(super) fn change_once<T>(
        &mut self,
        now: &Moment,
        what: &str,
        tick: Option<&str>,
        run: impl FnOnce(&Change<'_>) -> Result<T, Stop>,
    ) -> Result<Option<T>, Trouble> {
        let file = self.file.clone();
        let made = (|| -> Result<Option<(T, i64)>, Stop> {
            let tx = self.db.transaction_with_behavior(TransactionBehavior::Immediate)?;
            let known = "SELECT count(*) FROM entry WHERE tick = ?1";
            if tx.query_row(known, [tick], |row| row.get::<_, i64>(0))? > 0 {
                return Ok(None);
            }
            tx.execute(
                "INSERT INTO entry (at, what, tick) VALUES (?1, ?2, ?3)",
                params![now.text(), what, tick],
            )?;
            let change = Change { entry: tx.last_insert_rowid(), tx };
            let value = run(&change)?;
            seal::close(&change.tx)?;
            let entry = change.entry;
            change.tx.commit()?;
            Ok(Some((value, entry)))
        })();
        let made = made.map_err(|stop| match stop {
            Stop::Sql(e) => trouble(&file, &e),
            Stop::Ours(faults) => Trouble::Input(faults),
        })?;
        let Some((value, entry)) = made else { return Ok(None) };
        // The change holds. If the disk does not take its backup, the next change says so and is
        // not made.
        let _ = self.back_up(Some(entry));
        Ok(Some(value))
    }

    /// Adds a roll; its `id` is given by the ledger. `new_cloth` allows a cloth of which the ledger
    /// has nothing yet.
    ///
    /// # Errors
    /// Every fault of the roll, and an unknown cloth.
    pub fn add_roll(
        &mut self,
        roll: RollFacts,
        out: bool,
        new_cloth: bool,
        now: &Moment,
    ) -> Result<String, Trouble> {
        Roll::new(RollFacts { id: "the roll".into(), ..roll.clone() })?;
        self.change(now, &format!("added a roll of {}", roll.cloth), |c| {
            known_cloth(c, &roll.cloth, new_cloth)?;
            let id = c.new_id("roll")?;
            let facts = Roll::new(RollFacts { id: id.clone(), ..roll })?.facts().clone();
            c.put(
                &id,
                Some(&Record::Roll(Kept {
                    facts,
                    out_since: out.then_some(now.seconds),
                    open_plan: None,
                })),
            )?;
            Ok(id)
        })
    }

    /// Adds offcuts; their `id`s are given by the ledger.
    ///
    /// # Errors
    /// Every fault of any of them, and an unknown cloth; then none is added.
    pub fn add_offcuts(
        &mut self,
        offcuts: Vec<OffcutFacts>,
        out: bool,
        new_cloth: bool,
        now: &Moment,
    ) -> Result<Vec<String>, Trouble> {
        Ok(self.offcuts_in(offcuts, out, new_cloth, None, now)?.unwrap_or_default())
    }

    /// Adds an offcut once only: `key` tells where it came from. Gives its name, and whether it
    /// was added now; if the ledger knows the key, nothing is added, even if that was undone.
    ///
    /// # Errors
    /// As of [`Ledger::add_offcuts`].
    pub fn add_offcut_once(
        &mut self,
        key: &str,
        offcut: OffcutFacts,
        out: bool,
        new_cloth: bool,
        now: &Moment,
    ) -> Result<(String, bool), Trouble> {
        let added = self.offcuts_in(vec![offcut], out, new_cloth, Some(key), now)?;
        if let Some(id) = added.and_then(|ids| ids.into_iter().next()) {
            return Ok((id, true));
        }
        let known = "SELECT id FROM change JOIN entry ON number = entry WHERE tick = ?1 LIMIT 1";
        let id = self.db.query_row(known, [key], |row| row.get(0));
        Ok((id.map_err(|e| trouble(&self.file, &e))?, false))
    }

    fn offcuts_in(
        &mut self,
        offcuts: Vec<OffcutFacts>,
        out: bool,
        new_cloth: bool,
        key: Option<&str>,
        now: &Moment,
    ) -> Result<Option<Vec<String>>, Trouble> {
        let mut faults = Faults::new();
        for (i, offcut) in offcuts.iter().enumerate() {
            let name = if offcuts.len() == 1 {
                "the offcut".to_string()
            } else {
                format!("offcut {}", i + 1)
            };
            faults.keep(Offcut::new(OffcutFacts { id: name, ..offcut.clone() }));
        }
        faults.into_result(())?;
        let cloth = offcuts.first().map_or("", |o| o.cloth.as_str());
        let what = said!("added {} of {cloth}", crate::units::counted(offcuts.len(), "offcut"));
        self.change_once(now, &what, key, |c| {
            let mut ids = Vec::new();
            for offcut in offcuts {
                known_cloth(c, &offcut.cloth, new_cloth)?;
                let id = c.new_id("off")?;
                let facts = Offcut::new(OffcutFacts { id: id.clone(), ..offcut })?.facts().clone();
                c.put(
                    &id,
                    Some(&Record::Offcut(Kept {
                        facts,
                        out_since: out.then_some(now.seconds),
                        open_plan: None,
                    })),
                )?;
                ids.push(id);
            }
            Ok(ids)
        })
    }

    /// Adds a dated consumable; its `id` is given by the ledger.
    ///
    /// # Errors
    /// Texts that fit no label.
    pub fn add_consumable(
        &mut self,
        consumable: Consumable,
        now: &Moment,
    ) -> Result<String, Trouble> {
        self.change(now, &format!("added {} {}", consumable.kind.words(), consumable.name), |c| {
            let id = c.new_id("con")?;
            let consumable = Consumable { id: id.clone(), ..consumable };
            consumable.sound()?;
            c.put(&id, Some(&Record::Consumable(consumable)))?;
            Ok(id)
        })
    }

    /// Takes things out of the stock: thrown away, given away, used without a plan.
    ///
    /// # Errors
    /// A name the ledger does not know; then nothing is taken out.
    pub fn remove(&mut self, ids: &[String], now: &Moment) -> Result<(), Trouble> {
        self.take_out(ids, None, now)
    }

    /// The same with what it was taken out for, which stands in the history.
    ///
    /// # Errors
    /// The same, and words that fit in no line.
    pub fn take_out(
        &mut self,
        ids: &[String],
        gone: Option<&Gone>,
        now: &Moment,
    ) -> Result<(), Trouble> {
        let list = ids.join(", ");
        let (name, reason, what) = match gone {
            None => ("", None, format!("removed {list}")),
            Some(Gone::Used(reason)) => {
                ("what it is used for", Some(reason), format!("used {list} for {reason}"))
            }
            Some(Gone::ThrownAway(reason)) => {
                ("the reason", Some(reason), format!("threw away {list}: {reason}"))
            }
        };
        let fault = reason.and_then(|r| crate::stock::name_fault(name, r));
        fault.map_or(Ok(()), |f| Err(Trouble::Input(f.into())))?;
        self.change(now, &what, |c| {
            each_known(c, ids, |id, record| match record {
                Record::Piece(_) | Record::Plan(_) => Err(unknown(id).into()),
                _ => Ok(c.put(id, None)?),
            })
        })
    }

    /// Corrects a roll or offcut: what `edit` does to its facts. A change of what can be cut from
    /// it makes plans on it stale.
    ///
    /// # Errors
    /// A name the ledger does not know, and every fault of what it would become.
    pub fn edit(
        &mut self,
        id: &str,
        what: &str,
        now: &Moment,
        edit: impl FnOnce(&mut Record),
    ) -> Result<(), Trouble> {
        self.change(now, what, |c| {
            let Some(before) = c.get(id)? else {
                return Err(unknown(id).into());
            };
            let mut after = before.clone();
            edit(&mut after);
            match (&before, &mut after) {
                (Record::Roll(b), Record::Roll(a)) => {
                    if (b.facts.width, b.facts.length, &b.facts.flaws)
                        != (a.facts.width, a.facts.length, &a.facts.flaws)
                    {
                        a.facts.revision = c.next_revision(id, b.facts.revision)?;
                    }
                    a.facts = Roll::new(a.facts.clone())?.facts().clone();
                }
                (Record::Offcut(b), Record::Offcut(a)) => {
                    let cut = |o: &OffcutFacts| {
                        (o.outline.clone(), o.holes.clone(), o.flaws.clone(), o.face)
                    };
                    if cut(&b.facts) != cut(&a.facts) {
                        a.facts.revision = c.next_revision(id, b.facts.revision)?;
                    }
                    Offcut::new(a.facts.clone())?;
                }
                (_, Record::Consumable(a)) => a.sound()?,
                _ => {}
            }
            Ok(c.put(id, Some(&after))?)
        })
    }

    /// Logs things taken out of the freezer or put back. Hours out count from one to the other,
    /// thawing included.
    ///
    /// # Errors
    /// A name that is no roll or offcut, or one that is there already; then nothing is logged.
    pub fn freezer(
        &mut self,
        ids: &[String],
        way: FreezerMove,
        now: &Moment,
    ) -> Result<(), Trouble> {
        let list = ids.join(", ");
        let what = match way {
            FreezerMove::Out => said!("out of the freezer: {list}"),
            _ => said!("back in the freezer: {list}"),
        };
        self.change(now, &what, |c| {
            each_known(c, ids, |id, mut record| {
                let moved = match &mut record {
                    Record::Roll(r) => shift(&mut r.out_since, &mut r.facts.age, way, now),
                    Record::Offcut(o) => shift(&mut o.out_since, &mut o.facts.age, way, now),
                    _ => {
                        return Err(Fault::new(
                            "is not kept in a freezer",
                            "name rolls and offcuts",
                        )
                        .on(id)
                        .into());
                    }
                };
                if !moved {
                    let what = if way == FreezerMove::Out {
                        "is out of the freezer already"
                    } else {
                        "is in the freezer already"
                    };
                    return Err(Fault::new(what, "look at it with `warpwise stock show`")
                        .on(id)
                        .into());
                }
                Ok(c.put(id, Some(&record))?)
            })
        })
    }

    /// The stock at a moment, as planning reads it: hours out of the freezer counted up to it.
    ///
    /// # Errors
    /// A record that is unsound, which only damage can make.
    pub fn snapshot(&self, now: &Moment) -> Result<Snapshot, Trouble> {
        let failed = |e: rusqlite::Error| trouble(&self.file, &e);
        let mut file = Snapshot::empty(now.day).to_file();
        file.ledger = Some(self.ask("SELECT value FROM about WHERE name = 'ledger'")?);
        for kind in ["roll", "offcut", "consumable"] {
            for record in all(&self.db, kind).map_err(failed)? {
                match record {
                    Record::Roll(mut r) => {
                        r.facts.age = aged(&r.facts.age, r.out_since, now);
                        file.rolls.push(r.facts);
                    }
                    Record::Offcut(mut o) => {
                        o.facts.age = aged(&o.facts.age, o.out_since, now);
                        file.offcuts.push(o.facts);
                    }
                    Record::Consumable(c) => file.consumables.push(c),
                    _ => {}
                }
            }
        }
        Ok(Snapshot::new(file, now.day)?)
    }
}

/// The age with the hours up to now.
pub(super) fn aged(age: &Age, out_since: Option<i64>, now: &Moment) -> Age {
    let running = out_since.map_or(0.0, |since| (now.seconds - since).max(0) as f64 / 3600.0);
    // A clock that jumped by years counts as the longest time there is, which is over in any case.
    Age {
        out_hours: (age.out_hours + running).min(crate::stock::MOST_HOURS),
        is_out: out_since.is_some(),
        ..*age
    }
}

/// Starts or stops the hours; false if they ran, or stood, already.
fn shift(out_since: &mut Option<i64>, age: &mut Age, way: FreezerMove, now: &Moment) -> bool {
    match (way, *out_since) {
        (FreezerMove::Out, None) => {
            *out_since = Some(now.seconds);
            age.is_out = true;
            true
        }
        (FreezerMove::In, Some(_)) => {
            *age = Age { is_out: false, ..aged(age, *out_since, now) };
            *out_since = None;
            true
        }
        _ => false,
    }
}

/// Runs over records by name, and says of all unknown names at once that they are.
fn each_known(
    c: &Change<'_>,
    ids: &[String],
    mut run: impl FnMut(&str, Record) -> Result<(), Stop>,
) -> Result<(), Stop> {
    let mut faults = Faults::new();
    for id in ids {
        match c.get(id)? {
            Some(record) => match run(id, record) {
                Err(Stop::Ours(f)) => faults.extend(f),
                other => other?,
            },
            None => faults.push(unknown(id)),
        }
    }
    Ok(faults.into_result(())?)
}

pub(super) fn unknown(id: &str) -> Fault {
    Fault::new(
        said!("there is no {} in the stock", quoted(id)),
        "`warpwise stock list` shows what there is",
    )
}

fn known_cloth(c: &Change<'_>, cloth: &str, new_cloth: bool) -> Result<(), Stop> {
    let mut known: Vec<String> = Vec::new();
    for kind in ["roll", "offcut"] {
        let mut select = c.tx.prepare_cached(
            "SELECT DISTINCT cloth FROM record WHERE kind = ?1 AND cloth IS NOT NULL",
        )?;
        known.extend(
            select
                .query_map([kind], |row| row.get(0))?
                .collect::<rusqlite::Result<Vec<String>>>()?,
        );
    }
    if new_cloth || known.iter().any(|k| k == cloth) {
        return Ok(());
    }
    let near =
        known.iter().map(|k| (strsim::osa_distance(k, cloth), k)).filter(|(d, _)| *d <= 3).min();
    let remedy = match near {
        Some((_, k)) => said!("did you mean {}? Say --new-cloth if it is new", quoted(k)),
        None => "write its id as the jobs do, and say --new-cloth the first time".into(),
    };
    Err(Fault::new(said!("the stock has no cloth {} yet", quoted(cloth)), remedy).into())
}

/// Writes a record as it was before a change.
pub(super) fn put_back(db: &Connection, id: &str, before: Option<&str>) -> rusqlite::Result<()> {
    let record = before.map(read).transpose()?;
    write_record(db, id, record.as_ref())
}
