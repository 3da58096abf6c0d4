//! Opening the file: schema, migration, damage, backup.

use super::write::Moment;
use crate::fault::{Fault, Faults};
use rusqlite::{Connection, ErrorCode, OpenFlags, TransactionBehavior};
use std::ffi::OsString;
use std::path::{Path, PathBuf};
use std::time::Duration;

/// Marks the file as a ledger of this program: "wrps".
const APPLICATION: i32 = 0x7772_7073;
/// How long a change waits for another process to finish its own.
const PATIENCE: Duration = Duration::from_secs(20);

/// The steps from an empty file to the present schema; the file's `user_version` counts those it has.
const STEPS: [&str; 2] = [
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
];

/// Why the ledger did not do its work.
#[derive(Clone, Debug, PartialEq)]
pub enum Trouble {
    /// The request or the data are at fault.
    Input(Faults),
    /// The file or the machine is.
    Machine(Faults),
}

impl From<Faults> for Trouble {
    fn from(faults: Faults) -> Trouble {
        Trouble::Input(faults)
    }
}

impl From<Fault> for Trouble {
    fn from(fault: Fault) -> Trouble {
        Trouble::Input(fault.into())
    }
}

/// An open ledger.
#[derive(Debug)]
pub struct Ledger {
    pub(super) db: Connection,
    pub(super) file: PathBuf,
}

/// The ledger in the user's data folder: by `XDG_DATA_HOME`, `APPDATA` or the home folder, whatever of these there is.
pub fn default_file() -> Option<PathBuf> {
    let folder = |name: &str| std::env::var_os(name).filter(|v| !v.is_empty()).map(PathBuf::from).filter(|p| p.is_absolute());
    let data = folder("XDG_DATA_HOME").or_else(|| folder("APPDATA")).or_else(|| {
        let home = folder("HOME")?;
        Some(if cfg!(target_os = "macos") { home.join("Library/Application Support") } else { home.join(".local/share") })
    })?;
    Some(data.join("warpwise").join("stock.sqlite"))
}

impl Ledger {
    /// Opens a ledger that must be there, as it is: nothing is written.
    ///
    /// # Errors
    /// No such file, a file that is no ledger or of a newer version, a damaged one (with its backup, if there is one).
    pub fn read(file: &Path) -> Result<Ledger, Trouble> {
        if !file.exists() {
            let fault = Fault::new("there is no ledger", "begin one with `warpwise stock add`, or name another with --ledger");
            return Err(fault.in_file(file).into());
        }
        let ledger = Ledger::connect(file, false)?;
        if ledger.version()? < STEPS.len() {
            // An older version is brought up first, which writes.
            drop(ledger);
            return Ledger::write(file);
        }
        Ok(ledger)
    }

    /// Opens a ledger to change it, or begins one; brings an older version up (a copy is kept) and keeps a backup of its last good state.
    ///
    /// # Errors
    /// As [`Ledger::read`], and a folder that cannot be written.
    pub fn write(file: &Path) -> Result<Ledger, Trouble> {
        if let Some(folder) = file.parent().filter(|f| !f.as_os_str().is_empty()) {
            std::fs::create_dir_all(folder).map_err(|e| machine(file, &format!("its folder cannot be made: {e}")))?;
        }
        let new = std::fs::metadata(file).map_or(true, |m| m.len() == 0);
        let mut ledger = Ledger::connect(file, true)?;
        if !new {
            ledger.check_quickly()?;
            let version = ledger.version()?;
            if version > 0 && version < STEPS.len() {
                let copy = beside(file, &format!(".version-{version}"));
                if !copy.exists() {
                    ledger.copy_to(&copy)?;
                }
            }
        }
        ledger.migrate()?;
        if !new {
            ledger.copy_to(&ledger.backup_file())?;
        }
        Ok(ledger)
    }

    fn connect(file: &Path, may_write: bool) -> Result<Ledger, Trouble> {
        let flags = if may_write {
            OpenFlags::SQLITE_OPEN_READ_WRITE | OpenFlags::SQLITE_OPEN_CREATE | OpenFlags::SQLITE_OPEN_NO_MUTEX
        } else {
            // A journal left by a kill is played back when the file is next opened, which writes.
            OpenFlags::SQLITE_OPEN_READ_WRITE | OpenFlags::SQLITE_OPEN_NO_MUTEX
        };
        let open = Connection::open_with_flags(file, flags)
            .or_else(|e| if may_write { Err(e) } else { Connection::open_with_flags(file, OpenFlags::SQLITE_OPEN_READ_ONLY) });
        let ledger = Ledger { db: open.map_err(|e| trouble(file, &e))?, file: file.to_path_buf() };
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
            let what = format!("the ledger is of version {version}, and this program knows {}", STEPS.len());
            return Err(Fault::new(what, "use the newer warpwise that wrote it").in_file(file).into());
        }
        let tables: i64 = ledger.ask("SELECT count(*) FROM sqlite_master")?;
        if application != APPLICATION && tables > 0 {
            let what = "this is a database of something else, not a ledger";
            return Err(Fault::new(what, "name the ledger, or another place for a new one").in_file(file).into());
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
                super::write::fill_columns(&tx)?;
            }
            tx.commit()
        };
        run(&mut self.db).map_err(|e| trouble(&file, &e))
    }

    fn check_quickly(&self) -> Result<(), Trouble> {
        let answer: String = self.ask("PRAGMA quick_check(1)")?;
        if answer == "ok" { Ok(()) } else { Err(damaged(&self.file, &answer)) }
    }

    /// Looks through the whole file: its pages, and every record by its own rules.
    ///
    /// # Errors
    /// Damage, and every record that is unsound.
    pub fn check(&self) -> Result<(), Trouble> {
        let answer: String = self.ask("PRAGMA integrity_check(20)")?;
        if answer != "ok" {
            return Err(damaged(&self.file, &answer));
        }
        self.snapshot(&Moment::now()).map(|_| ())
    }

    /// Where the backup of the last good state lies.
    pub fn backup_file(&self) -> PathBuf {
        beside(&self.file, ".backup")
    }

    /// A whole copy, there in full or not at all.
    fn copy_to(&self, to: &Path) -> Result<(), Trouble> {
        let folder = to.parent().filter(|f| !f.as_os_str().is_empty()).unwrap_or(Path::new("."));
        let failed = |e: &dyn std::fmt::Display| machine(to, &format!("the copy of the ledger cannot be written: {e}"));
        clear_old_copies(folder);
        let copy = tempfile::Builder::new().prefix(COPYING).tempfile_in(folder).map_err(|e| failed(&e))?;
        self.db.execute("VACUUM INTO ?1", [copy.path().to_string_lossy()]).map_err(|e| trouble(&self.file, &e))?;
        copy.as_file().sync_all().map_err(|e| failed(&e))?;
        copy.persist(to).map_err(|e| failed(&e.error))?;
        Ok(())
    }

    /// Puts the backup in the place of a damaged ledger, which is kept beside it. Returns where the damaged file lies now.
    ///
    /// # Errors
    /// No backup, a backup that is itself damaged, or a folder that cannot be written.
    pub fn restore(file: &Path) -> Result<PathBuf, Trouble> {
        let backup = beside(file, ".backup");
        if !backup.exists() {
            let what = "there is no backup of the ledger";
            return Err(Fault::new(what, "import an export with `warpwise stock import`, or begin a new ledger").in_file(&backup).into());
        }
        Ledger::connect(&backup, false)?.check()?;
        let failed = |e: std::io::Error| machine(file, &format!("the backup cannot be put in place: {e}"));
        let aside = (1..).map(|n| beside(file, &format!(".damaged-{n}"))).find(|p| !p.exists()).unwrap_or_else(|| beside(file, ".damaged"));
        // A journal of the damaged file must not be played into the backup.
        for ending in ["-journal", "-wal", "-shm"] {
            let left = beside(file, ending);
            if left.exists() {
                std::fs::rename(&left, beside(&aside, ending)).map_err(failed)?;
            }
        }
        if file.exists() {
            std::fs::rename(file, &aside).map_err(failed)?;
        }
        std::fs::copy(&backup, file).map_err(failed)?;
        std::fs::File::open(file).and_then(|f| f.sync_all()).map_err(failed)?;
        Ok(aside)
    }
}

/// How unfinished copies begin.
const COPYING: &str = ".copying-ledger-";

/// Copies that a kill left unfinished.
fn clear_old_copies(folder: &Path) {
    for entry in std::fs::read_dir(folder).into_iter().flatten().flatten() {
        let old = || entry.metadata().and_then(|m| m.modified()).ok().and_then(|t| t.elapsed().ok()).is_some_and(|t| t.as_secs() > 600);
        if entry.file_name().to_string_lossy().starts_with(COPYING) && old() {
            // Whoever else clears it was quicker.
            let _ = std::fs::remove_file(entry.path());
        }
    }
}

/// A name with more at its end.
fn beside(file: &Path, more: &str) -> PathBuf {
    let mut name: OsString = file.as_os_str().to_os_string();
    name.push(more);
    PathBuf::from(name)
}

fn damaged(file: &Path, how: &str) -> Trouble {
    let backup = beside(file, ".backup");
    let remedy = match std::fs::metadata(&backup).and_then(|m| m.modified()) {
        Ok(at) => {
            let at = jiff::Timestamp::try_from(at).map_or(String::new(), |t| format!(" of {t:.0}"));
            format!("its last good backup{at} is {}: put it in place with `warpwise stock check --restore`", backup.display())
        }
        Err(_) => "there is no backup: import an export with `warpwise stock import`, or begin a new ledger".to_string(),
    };
    let first = how.lines().next().unwrap_or("").to_string();
    Trouble::Machine(Fault::new(format!("the ledger is damaged ({first})"), remedy).in_file(file).into())
}

/// The machine would not.
pub(super) fn machine(file: &Path, what: &str) -> Trouble {
    Trouble::Machine(Fault::new(what, "check the disk and the permissions").in_file(file).into())
}

/// What a failure of SQLite means.
pub(super) fn trouble(file: &Path, error: &rusqlite::Error) -> Trouble {
    match error.sqlite_error_code() {
        Some(ErrorCode::NotADatabase) => damaged(file, "it is no ledger, or its beginning is lost"),
        Some(ErrorCode::DatabaseCorrupt) => damaged(file, &error.to_string()),
        Some(ErrorCode::DatabaseBusy | ErrorCode::DatabaseLocked) => {
            let what = format!("another process has been changing the ledger for {} s", PATIENCE.as_secs());
            Trouble::Machine(Fault::new(what, "let it finish, and try again").in_file(file).into())
        }
        _ => machine(file, &format!("the ledger: {error}")),
    }
}
