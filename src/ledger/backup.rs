//! The last good states of the ledger, whole files beside it, and putting one in the place of a
//! damaged ledger.

use super::open::{Ledger, Trouble, beside, machine, trouble};
use super::seal;
use crate::fault::Fault;
use std::path::{Path, PathBuf};
use std::time::Duration;

/// Endings of the backups, the latest first.
const BACKUPS: [&str; 3] = [".backup", ".backup-2", ".backup-3"];
/// Pages copied at a time, and how long another process is waited for between two tries.
const PAGES: i32 = 4096;
const PAUSE: Duration = Duration::from_millis(10);
/// How unfinished copies begin.
const COPYING: &str = ".copying-ledger-";

/// What a restore did.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Restored {
    /// The backup that is in place now.
    pub from: PathBuf,
    /// Where the damaged file lies, if there was one.
    pub aside: Option<PathBuf>,
    /// Later backups that are damaged themselves.
    pub passed_over: Vec<PathBuf>,
}

/// Backups that lie beside a ledger, the latest first.
pub(super) fn backups(file: &Path) -> Vec<PathBuf> {
    BACKUPS.iter().map(|ending| beside(file, ending)).filter(|p| p.exists()).collect()
}

impl Ledger {
    /// Keeps the present state as the latest backup, unless it is that already. Of the backups
    /// before, the last two good ones stay.
    pub(super) fn back_up(&self) -> Result<(), Trouble> {
        let [latest, second, third] = BACKUPS.map(|ending| beside(&self.file, ending));
        let known = Ledger::open(&latest, false).ok();
        let same = |kept: &Ledger| {
            seal::of(&kept.db)
                .ok()
                .flatten()
                .is_some_and(|s| seal::of(&self.db).ok().flatten() == Some(s))
        };
        let known = known.filter(|k| k.check().is_ok());
        if known.as_ref().is_some_and(same) {
            return Ok(());
        }
        let copy = self.copy_beside(&latest)?;
        // Only a good state may push an older one out.
        if known.is_some() {
            let failed = |e: std::io::Error| {
                machine(&latest, &format!("the backups cannot be moved on: {e}"))
            };
            for (from, to) in [(&second, &third), (&latest, &second)] {
                match std::fs::rename(from, to) {
                    // Another process may have been quicker.
                    Err(e) if e.kind() != std::io::ErrorKind::NotFound => return Err(failed(e)),
                    _ => {}
                }
            }
        }
        put(copy, &latest)
    }

    /// Keeps a copy of an older version's file, once.
    pub(super) fn keep_version(&self, version: usize) -> Result<(), Trouble> {
        let to = beside(&self.file, &format!(".version-{version}"));
        if to.exists() { Ok(()) } else { put(self.copy_beside(&to)?, &to) }
    }

    /// A whole copy in the folder of `to`, read again and found good, with the rights of the
    /// ledger's file.
    fn copy_beside(&self, to: &Path) -> Result<tempfile::NamedTempFile, Trouble> {
        let folder = to.parent().filter(|f| !f.as_os_str().is_empty()).unwrap_or(Path::new("."));
        let failed = |e: &dyn std::fmt::Display| {
            machine(to, &format!("the copy of the ledger cannot be written: {e}"))
        };
        clear_old_copies(folder);
        let copy =
            tempfile::Builder::new().prefix(COPYING).tempfile_in(folder).map_err(|e| failed(&e))?;
        self.copy_pages(copy.path()).map_err(|e| trouble(&self.file, &e))?;
        if let Ok(known) = std::fs::metadata(&self.file) {
            std::fs::set_permissions(copy.path(), known.permissions()).map_err(|e| failed(&e))?;
        }
        copy.as_file().sync_all().map_err(|e| failed(&e))?;
        Ledger::open(copy.path(), false)?
            .check()
            .map_err(|_| failed(&"it reads back otherwise than it was written"))?;
        Ok(copy)
    }

    /// Page by page into a file whose name need not be text, as that of SQL's own copy must.
    fn copy_pages(&self, to: &Path) -> rusqlite::Result<()> {
        let mut copy = rusqlite::Connection::open(to)?;
        rusqlite::backup::Backup::new(&self.db, &mut copy)?
            .run_to_completion(PAGES, PAUSE, None)?;
        copy.close().map_err(|(_, e)| e)
    }

    /// Puts the latest good backup in the place of a damaged, empty or missing ledger, whose file
    /// is kept beside it.
    ///
    /// # Errors
    /// A ledger that is sound, of a newer version or in use; no good backup; a folder that cannot
    /// be written. Then nothing is changed.
    pub fn restore(file: &Path) -> Result<Restored, Trouble> {
        match Ledger::read(file).and_then(|ledger| ledger.check()) {
            Ok(()) => {
                return Err(Fault::new("the ledger is sound", "restore only a damaged one")
                    .in_file(file)
                    .into());
            }
            Err(Trouble::Damaged(_)) => {}
            Err(other) => return Err(other),
        }
        let file = &super::open::real(file);
        let mut passed_over = Vec::new();
        let mut good = None;
        for backup in backups(file) {
            match Ledger::open(&backup, false).and_then(|ledger| ledger.check().map(|()| ledger)) {
                Ok(ledger) => {
                    good = Some((backup, ledger));
                    break;
                }
                Err(_) => passed_over.push(backup),
            }
        }
        let Some((from, ledger)) = good else {
            let what = if passed_over.is_empty() {
                "there is no backup of the ledger"
            } else {
                "every backup of the ledger is damaged too"
            };
            let remedy = "import an export with `warpwise stock --ledger NEW import FILE`, or begin a new ledger under another name";
            return Err(Fault::new(what, remedy).in_file(file).into());
        };
        // The copy is whole before anything is moved: a full disk leaves all as it was.
        let copy = ledger.copy_beside(file)?;
        let failed =
            |e: std::io::Error| machine(file, &format!("the backup cannot be put in place: {e}"));
        let mut number = 1_u32;
        while beside(file, &format!(".damaged-{number}")).exists() {
            number += 1;
        }
        let aside = beside(file, &format!(".damaged-{number}"));
        // A journal of the damaged file must not be played into the backup.
        for ending in ["-journal", "-wal", "-shm"] {
            let left = beside(file, ending);
            if left.exists() {
                std::fs::rename(&left, beside(&aside, ending)).map_err(failed)?;
            }
        }
        let there = file.exists();
        if there {
            std::fs::rename(file, &aside).map_err(failed)?;
        }
        put(copy, file)?;
        Ok(Restored { from, aside: there.then_some(aside), passed_over })
    }
}

/// Puts a whole copy in its place, in one step.
fn put(copy: tempfile::NamedTempFile, to: &Path) -> Result<(), Trouble> {
    copy.persist(to).map(|_| ()).map_err(|e| {
        machine(to, &format!("the copy of the ledger cannot be put in place: {}", e.error))
    })
}

/// Copies that a kill left unfinished.
fn clear_old_copies(folder: &Path) {
    for entry in std::fs::read_dir(folder).into_iter().flatten().flatten() {
        let old = || {
            entry
                .metadata()
                .and_then(|m| m.modified())
                .ok()
                .and_then(|t| t.elapsed().ok())
                .is_some_and(|t| t.as_secs() > 600)
        };
        if entry.file_name().to_string_lossy().starts_with(COPYING) && old() {
            // Whoever else clears it was quicker.
            let _ = std::fs::remove_file(entry.path());
        }
    }
}
