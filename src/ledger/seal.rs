//! Hashes over everything the ledger holds: a bit that flipped where SQLite's own check cannot see
//! it is found, and named.
//!
//! Each record and each entry of the history carries its SHA-256. One seal over all of them, and
//! over the seal of the state before, stands for the whole state: two files with the same seal hold
//! the same ledger.

use super::record::{Columns, read};
use rusqlite::{Connection, OptionalExtension, params};
use sha2::{Digest, Sha256};

/// A hash of texts in their order, each with its length: no two lists of texts run together.
#[derive(Default)]
struct Texts(Sha256);

impl Texts {
    fn add(mut self, text: Option<&str>) -> Texts {
        match text {
            Some(text) => {
                self.0.update((text.len() as u64).to_le_bytes());
                self.0.update(text.as_bytes());
            }
            None => self.0.update(u64::MAX.to_le_bytes()),
        }
        self
    }

    fn hex(self) -> String {
        self.0.finalize().iter().map(|b| format!("{b:02x}")).collect()
    }
}

/// The hash of a record.
pub(super) fn of_record(id: &str, kind: &str, body: &str) -> String {
    Texts::default().add(Some(id)).add(Some(kind)).add(Some(body)).hex()
}

/// The hash of an entry with what it changed, and its tick if it is one. Whether it was undone
/// since is in the seal.
fn of_entry(
    db: &Connection,
    number: i64,
    [at, what]: [&str; 2],
    tick: Option<&str>,
) -> rusqlite::Result<String> {
    let mut hash = Texts::default().add(Some(&number.to_string())).add(Some(at)).add(Some(what));
    let mut select =
        db.prepare_cached("SELECT id, before, after FROM change WHERE entry = ?1 ORDER BY rowid")?;
    let mut rows = select.query([number])?;
    while let Some(row) = rows.next()? {
        let (id, before, after): (String, Option<String>, Option<String>) =
            (row.get(0)?, row.get(1)?, row.get(2)?);
        hash = hash.add(Some(&id)).add(before.as_deref()).add(after.as_deref());
    }
    if tick.is_some() {
        hash = hash.add(tick);
    }
    Ok(hash.hex())
}

/// The hash of the state, taken from the hashes of its parts, the names given so far and the seal
/// of the state before.
fn of_state(db: &Connection) -> rusqlite::Result<String> {
    let mut hash = Texts::default();
    for list in [
        "SELECT name || '=' || value FROM about WHERE name <> 'seal' ORDER BY name",
        "SELECT hash FROM record ORDER BY id",
        "SELECT number || ' ' || undone || ' ' || coalesce(hash, '') FROM entry ORDER BY number",
    ] {
        let mut select = db.prepare_cached(list)?;
        let mut rows = select.query([])?;
        while let Some(row) = rows.next()? {
            hash = hash.add(row.get::<_, Option<String>>(0)?.as_deref());
        }
        hash = hash.add(None);
    }
    Ok(hash.hex())
}

/// The seal of the present state; `None` before the first.
pub(super) fn of(db: &Connection) -> rusqlite::Result<Option<String>> {
    db.query_row("SELECT value FROM about WHERE name = 'seal'", [], |row| row.get(0)).optional()
}

/// Seals the state at the end of a change: entries that have no hash yet get theirs.
pub(super) fn close(db: &Connection) -> rusqlite::Result<()> {
    let open: Vec<(i64, String, String, Option<String>)> = db
        .prepare("SELECT number, at, what, tick FROM entry WHERE hash IS NULL")?
        .query_map([], |row| Ok((row.get(0)?, row.get(1)?, row.get(2)?, row.get(3)?)))?
        .collect::<rusqlite::Result<_>>()?;
    for (number, at, what, tick) in open {
        let hash = of_entry(db, number, [&at, &what], tick.as_deref())?;
        db.execute("UPDATE entry SET hash = ?2 WHERE number = ?1", params![number, hash])?;
    }
    let before = of(db)?.unwrap_or_default();
    db.execute("INSERT OR REPLACE INTO about VALUES ('seal before', ?1)", [before])?;
    let seal = of_state(db)?;
    db.execute("INSERT OR REPLACE INTO about VALUES ('seal', ?1)", [seal]).map(|_| ())
}

#[cfg(test)]
thread_local! {
    /// Records looked through so far.
    pub(super) static LOOKED: std::cell::Cell<u32> = const { std::cell::Cell::new(0) };
}

/// What is not as it was written, each thing by its name; of the entries from one on and what they
/// changed, where all before them is known to be good.
pub(super) fn broken(db: &Connection, since: Option<i64>) -> rusqlite::Result<Vec<String>> {
    let mut found = Vec::new();
    let mut select = db.prepare(
        "SELECT id, kind, body, hash, cloth, area, width, height, batch, place, added, expiry FROM record
         WHERE ?1 IS NULL OR id IN (SELECT id FROM change WHERE entry >= ?1) ORDER BY length(id), id",
    )?;
    let mut rows = select.query([since])?;
    while let Some(row) = rows.next()? {
        #[cfg(test)]
        LOOKED.with(|n| n.set(n.get() + 1));
        let (id, kind, body): (String, String, String) = (row.get(0)?, row.get(1)?, row.get(2)?);
        let hash: Option<String> = row.get(3)?;
        if hash.as_deref() != Some(&of_record(&id, &kind, &body)) {
            found.push(format!("{id} is not as it was written"));
            continue;
        }
        let shown = Columns {
            cloth: row.get(4)?,
            area: row.get(5)?,
            width: row.get(6)?,
            height: row.get(7)?,
            batch: row.get(8)?,
            place: row.get(9)?,
            added: row.get(10)?,
            expiry: row.get(11)?,
        };
        match read(&body) {
            Ok(record) if record.columns() == shown && record.id() == id => {}
            Ok(_) => found.push(format!("the list does not show {id} as it is")),
            Err(_) => found.push(format!("{id} cannot be read")),
        }
    }
    // Version 3 had no ticks.
    let version: i64 = db.query_row("PRAGMA user_version", [], |row| row.get(0))?;
    let tick = if version > 3 { "tick" } else { "NULL" };
    let mut select = db.prepare(&format!(
        "SELECT number, at, what, hash, {tick} FROM entry WHERE number >= ?1 ORDER BY number"
    ))?;
    let mut rows = select.query([since.unwrap_or(i64::MIN)])?;
    while let Some(row) = rows.next()? {
        let (number, at, what): (i64, String, String) = (row.get(0)?, row.get(1)?, row.get(2)?);
        let (hash, tick): (Option<String>, Option<String>) = (row.get(3)?, row.get(4)?);
        if hash.as_deref() != Some(&of_entry(db, number, [&at, &what], tick.as_deref())?) {
            found.push(format!("entry {number} of the history is not as it was written"));
        }
    }
    let strays: i64 = db.query_row(
        "SELECT count(*) FROM change WHERE entry >= ?1 AND entry NOT IN (SELECT number FROM entry)",
        [since.unwrap_or(i64::MIN)],
        |row| row.get(0),
    )?;
    if strays > 0 {
        found.push(format!("{strays} changes belong to no entry of the history"));
    }
    if found.is_empty() && of(db)? != Some(of_state(db)?) {
        found.push("records or entries are missing, or an entry's undo mark or a counter is not as it was written".into());
    }
    Ok(found)
}
