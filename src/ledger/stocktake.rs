//! Looking: lists, history, undo.

use super::moment::Moment;
use super::open::Ledger;
use super::record::{Record, StockRow};
use super::rows::all;
use super::trouble::{Trouble, trouble};
use crate::fault::Fault;
use rusqlite::{TransactionBehavior, params};
use serde::Serialize;

/// A change in the history.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Entry {
    /// Its number.
    pub number: i64,
    /// When, UTC, as ISO 8601 writes it.
    pub at: String,
    /// What.
    pub what: String,
    /// It was taken back.
    pub undone: bool,
}

/// How much there is.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize)]
pub struct Counts {
    /// Rolls.
    pub rolls: usize,
    /// Offcuts.
    pub offcuts: usize,
    /// Area of the offcuts, mm².
    pub offcuts_area: f64,
}

impl Ledger {
    /// Rolls, then offcuts, by their number; of one cloth, if asked. Only what a list shows is
    /// read.
    ///
    /// # Errors
    /// SQLite's own.
    pub fn list(&self, cloth: Option<&str>) -> Result<(Vec<StockRow>, Counts), Trouble> {
        let run = || -> rusqlite::Result<Vec<StockRow>> {
            let mut select = self.db.prepare(
                "SELECT id, kind, cloth, width, height, area, batch, place, added, expiry FROM record
                 WHERE kind IN ('roll', 'offcut') AND (?1 IS NULL OR cloth = ?1) ORDER BY kind DESC, length(id), id",
            )?;
            let row = |r: &rusqlite::Row<'_>| {
                Ok(StockRow {
                    id: r.get(0)?,
                    kind: r.get(1)?,
                    cloth: r.get(2)?,
                    width: r.get(3)?,
                    height: r.get(4)?,
                    area: r.get(5)?,
                    batch: r.get(6)?,
                    place: r.get(7)?,
                    added: r.get(8)?,
                    expiry: r.get(9)?,
                })
            };
            select.query_map([cloth], row)?.collect()
        };
        let rows = run().map_err(|e| trouble(&self.file, &e))?;
        let mut counts = Counts::default();
        for row in &rows {
            if row.kind == "roll" {
                counts.rolls += 1;
            } else {
                counts.offcuts += 1;
                counts.offcuts_area += row.area.unwrap_or(0.0);
            }
        }
        Ok((rows, counts))
    }

    /// All records of a kind: `roll`, `offcut`, `consumable`, `piece` or `plan`.
    ///
    /// # Errors
    /// SQLite's own.
    pub fn records(&self, kind: &str) -> Result<Vec<Record>, Trouble> {
        all(&self.db, kind).map_err(|e| trouble(&self.file, &e))
    }

    /// The latest changes, the last first; at most `most`.
    ///
    /// # Errors
    /// SQLite's own.
    pub fn history(&self, most: usize) -> Result<Vec<Entry>, Trouble> {
        let most = i64::try_from(most).unwrap_or(i64::MAX);
        self.entries(
            "SELECT number, at, what, undone FROM entry ORDER BY number DESC LIMIT ?1",
            most,
        )
    }

    /// The change that [`Ledger::undo`] would take back.
    ///
    /// # Errors
    /// SQLite's own.
    pub fn last_change(&self) -> Result<Option<Entry>, Trouble> {
        let last = "SELECT number, at, what, undone FROM entry WHERE undone = 0 ORDER BY number DESC LIMIT ?1";
        Ok(self.entries(last, 1)?.pop())
    }

    /// The changes of one thing, the last first.
    ///
    /// # Errors
    /// SQLite's own.
    pub fn history_of(&self, id: &str) -> Result<Vec<Entry>, Trouble> {
        let changed = "SELECT entry FROM change WHERE id = ?1";
        self.entries(&format!("SELECT number, at, what, undone FROM entry WHERE number IN ({changed}) ORDER BY number DESC"), id)
    }

    fn entries(&self, sql: &str, with: impl rusqlite::ToSql) -> Result<Vec<Entry>, Trouble> {
        let run = || -> rusqlite::Result<Vec<Entry>> {
            let mut select = self.db.prepare(sql)?;
            let row = |r: &rusqlite::Row<'_>| {
                Ok(Entry { number: r.get(0)?, at: r.get(1)?, what: r.get(2)?, undone: r.get(3)? })
            };
            select.query_map([with], row)?.collect()
        };
        run().map_err(|e| trouble(&self.file, &e))
    }

    /// Takes the last change back that was not taken back yet, and says what it was.
    ///
    /// # Errors
    /// There is none.
    pub fn undo(&mut self, _now: &Moment) -> Result<String, Trouble> {
        let file = self.file.clone();
        let mut run = || -> rusqlite::Result<Option<(i64, String)>> {
            let tx = self.db.transaction_with_behavior(TransactionBehavior::Immediate)?;
            let last: Option<(i64, String)> = {
                let mut select = tx.prepare(
                    "SELECT number, what FROM entry WHERE undone = 0 ORDER BY number DESC LIMIT 1",
                )?;
                let mut rows = select.query_map([], |r| Ok((r.get(0)?, r.get(1)?)))?;
                rows.next().transpose()?
            };
            let Some((number, what)) = last else {
                return Ok(None);
            };
            let changes: Vec<(String, Option<String>)> = {
                let mut select = tx.prepare(
                    "SELECT id, before FROM change WHERE entry = ?1 ORDER BY rowid DESC",
                )?;
                select
                    .query_map([number], |r| Ok((r.get(0)?, r.get(1)?)))?
                    .collect::<rusqlite::Result<_>>()?
            };
            for (id, before) in changes {
                super::write::put_back(&tx, &id, before.as_deref())?;
            }
            tx.execute("UPDATE entry SET undone = 1 WHERE number = ?1", params![number])?;
            super::seal::close(&tx)?;
            tx.commit()?;
            Ok(Some((number, what)))
        };
        let nothing = || {
            Fault::new("there is nothing to undo", "`warpwise stock history` shows what was done")
        };
        let (number, what) = run().map_err(|e| trouble(&file, &e))?.ok_or_else(nothing)?;
        // As after any change: see `change`.
        let _ = self.back_up(Some(number));
        Ok(what)
    }
}
