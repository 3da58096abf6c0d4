//! Opening the file: schema, migration, damage.

use super::files::{Good, backups, real};
use super::moment::Moment;
use super::rows::fill_columns;
use super::seal;
use super::trouble::{PATIENCE, Trouble, damaged, machine, trouble};
use crate::fault::Fault;
use rusqlite::{Connection, OpenFlags, TransactionBehavior};
use std::cell::RefCell;
use std::path::{Path, PathBuf};

/// Marks the file as a ledger of this program: "wrps".
const APPLICATION: i32 = 0x7772_7073;

/// The steps from an empty file to the present schema; the file's `user_version` counts those it
/// has.
const STEPS: [&str; 5] = [
    "CREATE TABLE about (name TEXT PRIMARY KEY, value TEXT NOT NULL) STRICT;
     INSERT INTO about VALUES ('ledger', lower(hex(randomblob(8)))), ('roll', '0'), ('off', '0'), ('con', '0');
     CREATE TABLE record (id TEXT PRIMARY KEY, kind TEXT NOT NULL, body TEXT NOT NULL) STRICT;
     CREATE TABLE entry (number INTEGER PRIMARY KEY AUTOINCREMENT, at TEXT NOT NULL, what TEXT NOT NULL, undone INTEGER NOT NULL DEFAULT 0) STRICT;
     CREATE TABLE change (entry INTEGER NOT NULL REFERENCES entry, id TEXT NOT NULL, before TEXT, after TEXT) STRICT;",
    "ALTER TABLE record ADD COLUMN cloth TEXT;
     ALTER TABLE record ADD COLUMN area REAL;
     ALTER TABLE record ADD COLUMN width REAL;
     ALTER TABLE record ADD COLUMN height REAL;
     ALTER TABLE record ADD COLUMN batch TEXT;
     ALTER TABLE record ADD COLUMN place TEXT;
     ALTER TABLE record ADD COLUMN added TEXT;
     ALTER TABLE record ADD COLUMN expiry TEXT;
     CREATE INDEX record_of_cloth ON record (kind, cloth);
     CREATE INDEX change_of_entry ON change (entry);",
    "ALTER TABLE record ADD COLUMN hash TEXT;
     ALTER TABLE entry ADD COLUMN hash TEXT;",
    "ALTER TABLE entry ADD COLUMN tick TEXT;
     CREATE UNIQUE INDEX entry_of_tick ON entry (tick);",
    "CREATE INDEX change_of_thing ON change (id);",
];

/// From this version on, everything has a hash.
const SEALED: usize = 3;

/// An open ledger.
#[derive(Debug)]
pub struct Ledger {
    pub(super) db: Connection,
    pub(super) file: PathBuf,
    /// The latest backup as it was last found, or put there, good by this process.
    pub(super) good: RefCell<Option<Good>>,
}

/// The ledger in the user's data folder: by `XDG_DATA_HOME`, `APPDATA` or the home folder, whatever
/// of these there is.
pub fn default_file() -> Option<PathBuf> {
    let folder = |name: &str| {
        std::env::var_os(name)
            .filter(|v| !v.is_empty())
            .map(PathBuf::from)
            .filter(|p| p.is_absolute())
    };
    let data = folder("XDG_DATA_HOME").or_else(|| folder("APPDATA")).or_else(|| {
        let home = folder("HOME")?;
        Some(if cfg!(target_os = "macos") {
            home.join("Library/Application Support")
        } else {
            home.join(".local/share")
        })
    })?;
    Some(data.join("warpwise").join("stock.sqlite"))
}

impl Ledger {
    /// Opens a ledger that must be there, as it is: nothing is written.
    ///
    /// # Errors
    /// No such file, a file that is no ledger or of a newer version, a damaged one (with its
    /// backups, if there are any).
    pub fn read(file: &Path) -> Result<Ledger, Trouble> {
        let file = real(file);
        if is_empty(&file) {
            lost(&file)?;
            let fault = Fault::new(
                "there is no ledger",
                "begin one with `warpwise stock add`, or name another with --ledger",
            );
            return Err(fault.in_file(&file).into());
        }
        let ledger = Ledger::open(&file, false)?;
        if ledger.version()? < STEPS.len() {
            // An older version is brought up first, which writes.
            drop(ledger);
            return Ledger::write(&file);
        }
        Ok(ledger)
    }

    /// Opens a ledger to change it, or begins one; brings an older version up (a copy is kept) and
    /// keeps backups of its last good states.
    ///
    /// # Errors
    /// As [`Ledger::read`], any damage, and a folder that cannot be written.
    pub fn write(file: &Path) -> Result<Ledger, Trouble> {
        let file = &real(file);
        if let Some(folder) = file.parent().filter(|f| !f.as_os_str().is_empty()) {
            std::fs::create_dir_all(folder)
                .map_err(|e| machine(file, said!("its folder cannot be made: {e}")))?;
        }
        let new = is_empty(file);
        if new {
            lost(file)?;
        }
        let mut ledger = Ledger::open(file, true)?;
        if !new {
            let known = ledger.check_or_recognise()?;
            let version = ledger.version()?;
            if known && version == STEPS.len() {
                return Ok(ledger);
            }
            if version > 0 && version < STEPS.len() {
                ledger.keep_version(version)?;
            }
        }
        ledger.migrate()?;
        ledger.back_up(None)?;
        Ok(ledger)
    }

    pub(super) fn open(file: &Path, may_write: bool) -> Result<Ledger, Trouble> {
        // A pipe would be waited for without end.
        if std::fs::metadata(file).is_ok_and(|m| !m.is_file()) {
            let fault = Fault::new(
                "this is not an ordinary file",
                "name a ledger with --ledger, or a place for a new one",
            );
            return Err(fault.in_file(file).into());
        }
        let flags = if may_write {
            OpenFlags::SQLITE_OPEN_READ_WRITE
                | OpenFlags::SQLITE_OPEN_CREATE
                | OpenFlags::SQLITE_OPEN_NO_MUTEX
        } else {
            // A journal left by a kill is played back when the file is next opened, which writes.
            OpenFlags::SQLITE_OPEN_READ_WRITE | OpenFlags::SQLITE_OPEN_NO_MUTEX
        };
        let open = Connection::open_with_flags(file, flags).or_else(|e| {
            if may_write {
                Err(e)
            } else {
                Connection::open_with_flags(file, OpenFlags::SQLITE_OPEN_READ_ONLY)
            }
        });
        let ledger = Ledger {
            db: open.map_err(|e| trouble(file, &e))?,
            file: file.to_path_buf(),
            good: RefCell::default(),
        };
        let set = |db: &Connection| {
            db.busy_timeout(PATIENCE)?;
            // Every commit is on the disk, journal and folder included, before it is reported.
            db.pragma_update(None, "synchronous", "EXTRA")?;
            db.pragma_update(None, "foreign_keys", true)?;
            db.pragma_query_value(None, "application_id", |row| row.get::<_, i32>(0))
        };
        let application = set(&ledger.db).map_err(|e| trouble(file, &e))?;
        let version = ledger.version()?;
        if version > STEPS.len() {
            let what =
                said!("the ledger is of version {version}, and this program knows {}", STEPS.len());
            return Err(Fault::new(what, "use the newer warpwise that wrote it")
                .in_file(file)
                .into());
        }
        let tables: i64 = ledger.ask("SELECT count(*) FROM sqlite_master")?;
        if application != APPLICATION && tables > 0 {
            let what = "this is a database of something else, not a ledger";
            return Err(Fault::new(what, "name the ledger, or another place for a new one")
                .in_file(file)
                .into());
        }
        Ok(ledger)
    }

    fn version(&self) -> Result<usize, Trouble> {
        let version: i64 = self.ask("PRAGMA user_version")?;
        Ok(usize::try_from(version).unwrap_or(usize::MAX))
    }

    /// One number or text.
    pub(super) fn ask<T: rusqlite::types::FromSql>(&self, sql: &str) -> Result<T, Trouble> {
        self.db.query_row(sql, [], |row| row.get(0)).map_err(|e| trouble(&self.file, &e))
    }

    fn migrate(&mut self) -> Result<(), Trouble> {
        if self.version()? == STEPS.len() {
            return Ok(());
        }
        let file = self.file.clone();
        let run = |db: &mut Connection| -> rusqlite::Result<()> {
            let tx = db.transaction_with_behavior(TransactionBehavior::Immediate)?;
            // Another process may have been quicker.
            let from: i64 = tx.query_row("PRAGMA user_version", [], |row| row.get(0))?;
            for step in STEPS.iter().skip(usize::try_from(from).unwrap_or(0)) {
                tx.execute_batch(step)?;
            }
            if from < STEPS.len() as i64 {
                tx.pragma_update(None, "application_id", APPLICATION)?;
                tx.pragma_update(None, "user_version", STEPS.len() as i64)?;
                // From then on every record has its columns and its hash, which is not to hide damage.
                if from < SEALED as i64 {
                    fill_columns(&tx)?;
                }
                seal::close(&tx)?;
            }
            tx.commit()
        };
        run(&mut self.db).map_err(|e| trouble(&file, &e))
    }

    /// Looks through the whole file: its pages, and every record and entry by its hash and by its
    /// own rules.
    ///
    /// # Errors
    /// Damage, everything of it by name.
    pub fn check(&self) -> Result<(), Trouble> {
        // One state of the ledger, whatever other processes change meanwhile.
        let reading = self.db.unchecked_transaction().map_err(|e| trouble(&self.file, &e))?;
        let answer: String = self.ask("PRAGMA integrity_check(20)")?;
        if answer != "ok" {
            return Err(damaged(&self.file, &[answer.lines().next().unwrap_or("").to_string()]));
        }
        if self.version()? >= SEALED {
            let broken =
                seal::broken(&reading, None).map_err(|e| damaged(&self.file, &[e.to_string()]))?;
            if !broken.is_empty() {
                return Err(damaged(&self.file, &broken));
            }
        }
        match self.snapshot(&Moment::now()) {
            Ok(_) => Ok(()),
            Err(Trouble::Input(faults)) => Err(damaged(
                &self.file,
                &faults.0.iter().map(ToString::to_string).collect::<Vec<_>>(),
            )),
            Err(other) => Err(other),
        }
    }
}

/// True if there is no file, or nothing in it.
fn is_empty(file: &Path) -> bool {
    std::fs::metadata(file).map_or(true, |m| m.is_file() && m.len() == 0)
}

/// Refuses an empty or missing file where a ledger was: its backups lie there.
fn lost(file: &Path) -> Result<(), Trouble> {
    if backups(file).is_empty() {
        return Ok(());
    }
    let how = if file.exists() {
        "the file is empty, and its backup is not"
    } else {
        "the file is gone, and its backup is here"
    };
    Err(damaged(file, &[how.to_string()]))
}
