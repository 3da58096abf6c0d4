//! The files of a ledger: its own, and the last good states beside it.

use std::ffi::OsString;
use std::path::{Path, PathBuf};

/// Endings of the backups, the latest first.
pub(super) const BACKUPS: [&str; 3] = [".backup", ".backup-2", ".backup-3"];

/// Backups that lie beside a ledger, the latest first.
pub(super) fn backups(file: &Path) -> Vec<PathBuf> {
    BACKUPS.iter().map(|ending| beside(file, ending)).filter(|p| p.exists()).collect()
}

/// A whole state, byte for byte, in which everything was found as it was written.
pub(super) struct Good(pub(super) Vec<u8>);

impl std::fmt::Debug for Good {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "Good({} bytes)", self.0.len())
    }
}

/// The file that a name leads to: through a link, if it is one.
pub(super) fn real(file: &Path) -> PathBuf {
    std::fs::canonicalize(file).unwrap_or_else(|_| file.to_path_buf())
}

/// A name with more at its end.
pub(super) fn beside(file: &Path, more: &str) -> PathBuf {
    let mut name: OsString = file.as_os_str().to_os_string();
    name.push(more);
    PathBuf::from(name)
}
