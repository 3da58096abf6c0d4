//! Records as rows of the file.

use super::record::{Record, read};
use super::seal;
use rayon::prelude::*;
use rusqlite::{Connection, OptionalExtension, params};

pub(super) fn get(db: &Connection, id: &str) -> rusqlite::Result<Option<Record>> {
    let body: Option<String> = db
        .prepare_cached("SELECT body FROM record WHERE id = ?1")?
        .query_row([id], |row| row.get(0))
        .optional()?;
    body.map(|text| read(&text)).transpose()
}

pub(super) fn all(db: &Connection, kind: &str) -> rusqlite::Result<Vec<Record>> {
    let mut select =
        db.prepare_cached("SELECT body FROM record WHERE kind = ?1 ORDER BY length(id), id")?;
    let rows = select.query_map([kind], |row| row.get::<_, String>(0))?;
    // There may be thousands, each long.
    let texts = rows.collect::<rusqlite::Result<Vec<String>>>()?;
    texts.par_iter().map(|text| read(text)).collect()
}

pub(super) fn write_record(
    db: &Connection,
    id: &str,
    record: Option<&Record>,
) -> rusqlite::Result<()> {
    let Some(record) = record else {
        db.execute("DELETE FROM record WHERE id = ?1", [id])?;
        return Ok(());
    };
    let (c, body) = (record.columns(), record.to_text());
    db.prepare_cached(
        "INSERT OR REPLACE INTO record VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12)",
    )?
    .execute(params![
        id,
        record.kind(),
        body,
        c.cloth,
        c.area,
        c.width,
        c.height,
        c.batch,
        c.place,
        c.added,
        c.expiry,
        seal::of_record(id, record.kind(), &body)
    ])?;
    Ok(())
}

/// Fills the columns of records that an older version wrote without them.
pub(super) fn fill_columns(db: &Connection) -> rusqlite::Result<()> {
    let bodies: Vec<String> = db
        .prepare("SELECT body FROM record")?
        .query_map([], |row| row.get(0))?
        .collect::<rusqlite::Result<_>>()?;
    for body in bodies {
        let record = read(&body)?;
        write_record(db, &record.id(), Some(&record))?;
    }
    Ok(())
}
