//! Why the ledger did not do its work, and what to do about it.

use super::files::backups;
use crate::fault::{Fault, Faults, Said};
use rusqlite::ErrorCode;
use std::path::Path;
use std::time::Duration;

/// How long a change waits for another process to finish its own.
pub(super) const PATIENCE: Duration = Duration::from_secs(20);

/// Why the ledger did not do its work.
#[derive(Clone, Debug, PartialEq)]
pub enum Trouble {
    /// The request or the data are at fault.
    Input(Faults),
    /// The machine is: a disk, a permission, another process.
    Machine(Faults),
    /// The file is: it is damaged, empty or gone where its backups lie.
    Damaged(Faults),
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

/// Damage: what was found, and how to get back.
pub(super) fn damaged(file: &Path, found: &[String]) -> Trouble {
    let remedy = match backups(file).first().map(|b| (b, std::fs::metadata(b).and_then(|m| m.modified()))) {
        Some((backup, at)) => {
            let at = at.ok().and_then(|t| jiff::Timestamp::try_from(t).ok()).map_or(String::new(), |t| format!(" of {t:.0}"));
            said!("its last good backup{at} is {}: put it in place with `warpwise stock check --restore`", backup.display())
        }
        None => "there is no backup: import an export with `warpwise stock import`, or begin a new ledger".into(),
    };
    let faults = found
        .iter()
        .map(|how| Fault::new(said!("the ledger is damaged ({how})"), &remedy).in_file(file));
    Trouble::Damaged(Faults(faults.collect()))
}

/// The machine would not.
pub(super) fn machine(file: &Path, what: impl Into<Said>) -> Trouble {
    Trouble::Machine(Fault::new(what, "check the disk and the permissions").in_file(file).into())
}

/// What a failure of SQLite means.
pub(super) fn trouble(file: &Path, error: &rusqlite::Error) -> Trouble {
    match error.sqlite_error_code() {
        Some(ErrorCode::NotADatabase) => {
            damaged(file, &["it is not a ledger, or its beginning is lost".into()])
        }
        Some(ErrorCode::DatabaseCorrupt) => damaged(file, &[error.to_string()]),
        Some(ErrorCode::DatabaseBusy | ErrorCode::DatabaseLocked) => {
            let what =
                said!("another process has been changing the ledger for {} s", PATIENCE.as_secs());
            Trouble::Machine(Fault::new(what, "let it finish, and try again").in_file(file).into())
        }
        _ => machine(file, said!("the ledger: {error}")),
    }
}
