//! The last good states of the ledger, whole files beside it, and putting one in the place of a
//! damaged ledger.

use super::files::{BACKUPS, Good, backups, beside, real};
use super::open::Ledger;
use super::seal;
use super::trouble::{Trouble, damaged, machine, trouble};
use crate::fault::Fault;
use std::io::{Read, Write};
use std::path::{Path, PathBuf};

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

impl Ledger {
    /// The present state, byte for byte as its file holds it.
    fn bytes(&self) -> Result<Vec<u8>, Trouble> {
        let bytes = self.db.serialize("main").map_err(|e| trouble(&self.file, &e))?;
        Ok(bytes.to_vec())
    }

    /// Finds the ledger good: by its latest backup, if it is that byte for byte, for nothing becomes
    /// one that was not looked through; else by looking through it. True if it is its backup.
    pub(super) fn check_or_recognise(&self) -> Result<bool, Trouble> {
        let [latest, ..] = BACKUPS.map(|ending| beside(&self.file, ending));
        let present = self.bytes()?;
        if !is(&latest, &present) {
            return self.check().map(|()| false);
        }
        self.good.replace(Some(Good(present)));
        Ok(true)
    }

    /// Keeps the present state as the latest backup, unless it is that already. Of the backups
    /// before, the last two good ones stay. `since` is the first entry that the caller wrote or took
    /// back: only what it and later ones changed is looked through if the latest backup is the state
    /// before.
    pub(super) fn back_up(&self, since: Option<i64>) -> Result<(), Trouble> {
        let [latest, second, third] = BACKUPS.map(|ending| beside(&self.file, ending));
        // One state of the ledger, whatever other processes change meanwhile.
        let reading = self.db.unchecked_transaction().map_err(|e| trouble(&self.file, &e))?;
        let seal = seal::of(&reading).map_err(|e| trouble(&self.file, &e))?;
        let present = self.bytes()?;
        let before = self.good.take().filter(|good| is(&latest, &good.0));
        if before.as_ref().is_some_and(|good| good.0 == present) {
            self.good.replace(before);
            return Ok(());
        }
        let (known, same) = if before.is_some() {
            (true, false)
        } else {
            let kept = Ledger::open(&latest, false).ok().filter(|kept| kept.check().is_ok());
            let its_seal = kept.as_ref().and_then(|kept| seal::of(&kept.db).ok().flatten());
            (kept.is_some(), seal.is_some() && its_seal == seal)
        };
        let since = since.filter(|_| before.is_some());
        if since.is_some() {
            let broken = seal::broken(&reading, since).map_err(|e| trouble(&self.file, &e))?;
            if !broken.is_empty() {
                return Err(damaged(&self.file, &broken));
            }
        }
        drop(reading);
        let copy = self.copy_beside(&latest, &present, since.is_none())?;
        // Only a good state may push an older one out.
        if known && !same {
            let failed =
                |e: std::io::Error| machine(&latest, said!("the backups cannot be moved on: {e}"));
            for (from, to) in [(&second, &third), (&latest, &second)] {
                match std::fs::rename(from, to) {
                    // Another process may have been quicker.
                    Err(e) if e.kind() != std::io::ErrorKind::NotFound => return Err(failed(e)),
                    _ => {}
                }
            }
        }
        put(copy, &latest)?;
        self.good.replace(Some(Good(present)));
        Ok(())
    }

    /// Keeps a copy of an older version's file, once.
    pub(super) fn keep_version(&self, version: usize) -> Result<(), Trouble> {
        let to = beside(&self.file, &format!(".version-{version}"));
        if to.exists() { Ok(()) } else { put(self.copy_beside(&to, &self.bytes()?, true)?, &to) }
    }

    /// A state in a file in the folder of `to`, read again and found to be it, with the rights of the
    /// ledger's file; looked through as well, if it was not.
    fn copy_beside(
        &self,
        to: &Path,
        state: &[u8],
        look_through: bool,
    ) -> Result<tempfile::NamedTempFile, Trouble> {
        let folder = to.parent().filter(|f| !f.as_os_str().is_empty()).unwrap_or(Path::new("."));
        let failed = |e: &dyn std::fmt::Display| {
            machine(to, said!("the copy of the ledger cannot be written: {e}"))
        };
        clear_old_copies(folder);
        let mut copy =
            tempfile::Builder::new().prefix(COPYING).tempfile_in(folder).map_err(|e| failed(&e))?;
        copy.write_all(state).map_err(|e| failed(&e))?;
        if let Ok(known) = std::fs::metadata(&self.file) {
            std::fs::set_permissions(copy.path(), known.permissions()).map_err(|e| failed(&e))?;
        }
        copy.as_file().sync_all().map_err(|e| failed(&e))?;
        let sound =
            || !look_through || Ledger::open(copy.path(), false).and_then(|l| l.check()).is_ok();
        if !is(copy.path(), state) || !sound() {
            return Err(failed(&"it reads back otherwise than it was written"));
        }
        Ok(copy)
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
        let file = &real(file);
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
        let copy = ledger.copy_beside(file, &ledger.bytes()?, true)?;
        let failed =
            |e: std::io::Error| machine(file, said!("the backup cannot be put in place: {e}"));
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

/// Whether a file holds these bytes and no others.
fn is(file: &Path, bytes: &[u8]) -> bool {
    // A pipe would be waited for without end.
    if !std::fs::metadata(file).is_ok_and(|m| m.is_file() && m.len() == bytes.len() as u64) {
        return false;
    }
    let Ok(mut file) = std::fs::File::open(file) else { return false };
    let (mut rest, mut part) = (bytes, vec![0; 1 << 18]);
    loop {
        match file.read(&mut part) {
            Ok(0) => return rest.is_empty(),
            Ok(n) if rest.starts_with(&part[..n]) => rest = &rest[n..],
            Err(e) if e.kind() == std::io::ErrorKind::Interrupted => {}
            _ => return false,
        }
    }
}

/// Puts a whole copy in its place, in one step.
fn put(copy: tempfile::NamedTempFile, to: &Path) -> Result<(), Trouble> {
    copy.persist(to).map(|_| ()).map_err(|e| {
        machine(to, said!("the copy of the ledger cannot be put in place: {}", e.error))
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

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::ledger::Moment;
    use crate::stock::{Age, Day, RollFacts};

    fn now() -> Moment {
        Moment { seconds: 1_796_000_000, day: Day::parse("2026-11-29").unwrap() }
    }

    fn add(ledger: &mut Ledger) {
        let roll = RollFacts {
            id: String::new(),
            cloth: "twill".into(),
            width: 1000.0,
            length: Some(5000.0),
            flaws: Vec::new(),
            batch: None,
            age: Age::default(),
            place: None,
            added: now().day,
            revision: 0,
        };
        ledger.add_roll(roll, false, true, &now()).unwrap();
    }

    fn looked<T>(run: impl FnOnce() -> T) -> (u32, T) {
        let before = seal::LOOKED.with(std::cell::Cell::get);
        let made = run();
        (seal::LOOKED.with(std::cell::Cell::get) - before, made)
    }

    /// Each change looked through the whole file and its backups: the five thousandth took a second.
    #[test]
    fn a_change_looks_through_what_it_changed_and_no_more_however_long_the_history_is() {
        let dir = tempfile::tempdir().unwrap();
        let file = dir.path().join("stock.sqlite");
        for k in 0..40 {
            let (looked, _) = looked(|| {
                let mut ledger = Ledger::write(&file).unwrap();
                add(&mut ledger);
                if k % 5 == 4 {
                    ledger.undo(&now()).unwrap();
                }
            });
            assert!(k == 0 || looked <= 3, "{k}: {looked} records");
        }
        Ledger::read(&file).unwrap().check().unwrap();
    }

    /// A bit that flips in the ledger or in its backup makes the two differ: then everything is
    /// looked through.
    #[test]
    fn a_ledger_that_is_not_its_backup_is_looked_through() {
        let dir = tempfile::tempdir().unwrap();
        let file = dir.path().join("stock.sqlite");
        (0..9).for_each(|_| add(&mut Ledger::write(&file).unwrap()));
        let backup = beside(&file, ".backup");
        for spoiled in [&file, &backup] {
            let sound = std::fs::read(spoiled).unwrap();
            let mut bytes = sound.clone();
            let at = bytes.windows(5).rposition(|w| w == b"5000.").unwrap();
            bytes[at] ^= 1;
            std::fs::write(spoiled, &bytes).unwrap();
            let (looked, opened) = looked(|| Ledger::write(&file).map(|_| ()));
            assert!(looked >= 9, "{}: {looked} records", spoiled.display());
            assert_eq!(opened.is_err(), spoiled == &file, "{opened:?}");
            if spoiled == &file {
                assert_eq!(std::fs::read(&file).unwrap(), bytes, "nothing is touched");
                std::fs::write(&file, &sound).unwrap();
            }
        }
        assert!(is(&backup, &Ledger::read(&file).unwrap().bytes().unwrap()), "made anew");
    }
}
