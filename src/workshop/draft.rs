//! A job while it is worked on: its file, the edits that led there and back. The file is the state;
//! the draft only remembers its past.

use super::edit::{Edit, edited};
use super::folder::{JOB_FILE, write_whole};
use crate::fault::{Fault, Faults, Said};
use sha2::{Digest, Sha256};
use std::fs;
use std::path::{Path, PathBuf};

/// A larger job file is not opened, bytes.
const LARGEST_FILE: u64 = 4 << 20;

/// How many steps can be undone; older ones are forgotten.
const MOST_STEPS: usize = 500;

/// What a job file held at one moment: a hash of its text.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
pub struct Revision(String);

impl Revision {
    /// The revision of a text.
    pub fn of(text: &str) -> Revision {
        Revision(Sha256::digest(text.as_bytes())[..8].iter().map(|b| format!("{b:02x}")).collect())
    }

    /// As a client handed it back.
    pub fn named(name: &str) -> Revision {
        Revision(name.into())
    }

    /// Sixteen hexadecimal digits.
    pub fn name(&self) -> &str {
        &self.0
    }
}

/// Why an edit was not made.
#[derive(Clone, Debug, PartialEq)]
pub enum Refused {
    /// The job has changed since the client looked at it: by another page, a command or an editor.
    Stale,
    /// What is wrong.
    Faults(Faults),
}

impl From<Faults> for Refused {
    fn from(faults: Faults) -> Refused {
        Refused::Faults(faults)
    }
}

impl From<Fault> for Refused {
    fn from(fault: Fault) -> Refused {
        Refused::Faults(fault.into())
    }
}

/// A job that is open.
#[derive(Clone, Debug)]
pub struct Draft {
    file: PathBuf,
    /// What it holds while it is not there; none of a file that must be.
    new: Option<&'static str>,
    text: String,
    done: Vec<String>,
    undone: Vec<String>,
}

impl Draft {
    /// Opens the job in a folder.
    ///
    /// # Errors
    /// Its file cannot be read.
    pub fn open(dir: &Path) -> Result<Draft, Faults> {
        Draft::of(dir.join(JOB_FILE), None)
    }

    /// Opens a file; with a text that it holds before it is there.
    ///
    /// # Errors
    /// It cannot be read.
    pub(super) fn of(file: PathBuf, new: Option<&'static str>) -> Result<Draft, Faults> {
        let text = read(&file, new)?;
        Ok(Draft { file, new, text, done: Vec::new(), undone: Vec::new() })
    }

    /// The text before the last step, and the one that was taken back last.
    pub(super) fn beside(&self) -> [Option<&str>; 2] {
        [self.done.last(), self.undone.last()].map(|text| text.map(String::as_str))
    }

    /// The job file.
    pub fn file(&self) -> &Path {
        &self.file
    }

    /// The folder of the job.
    pub fn dir(&self) -> &Path {
        self.file.parent().unwrap_or(Path::new("."))
    }

    /// The text of the job file.
    pub fn text(&self) -> &str {
        &self.text
    }

    /// The revision of that text.
    pub fn revision(&self) -> Revision {
        Revision::of(&self.text)
    }

    /// Whether there is something to undo, and something to do again.
    pub fn steps(&self) -> (bool, bool) {
        (!self.done.is_empty(), !self.undone.is_empty())
    }

    /// Takes over what another program wrote; true if it did. That can be undone like an edit.
    ///
    /// # Errors
    /// The file cannot be read.
    pub fn refresh(&mut self) -> Result<bool, Faults> {
        let now = read(&self.file, self.new)?;
        let changed = now != self.text;
        if changed {
            self.step(now);
        }
        Ok(changed)
    }

    /// Makes an edit of the job as the client saw it, and writes the file.
    ///
    /// # Errors
    /// [`Refused`]; then nothing is changed.
    pub fn edit(&mut self, edit: &Edit, seen: &Revision) -> Result<(), Refused> {
        self.fresh(seen)?;
        let text = edited(&self.text, edit)?;
        self.write(text)
    }

    /// Puts another text in place of the whole file, as an editor does.
    ///
    /// # Errors
    /// [`Refused`]; then nothing is changed.
    pub fn replace(&mut self, text: String, seen: &Revision) -> Result<(), Refused> {
        self.fresh(seen)?;
        self.write(text)
    }

    /// Takes the last step back.
    ///
    /// # Errors
    /// [`Refused`], also if there is none.
    pub fn undo(&mut self, seen: &Revision) -> Result<(), Refused> {
        self.fresh(seen)?;
        let before =
            self.done.last().cloned().ok_or_else(|| Fault::new("there is nothing to undo", ""))?;
        write_whole(&self.file, before.as_bytes())?;
        self.done.pop();
        self.undone.push(std::mem::replace(&mut self.text, before));
        Ok(())
    }

    /// Does the step again that was taken back last.
    ///
    /// # Errors
    /// [`Refused`], also if there is none.
    pub fn redo(&mut self, seen: &Revision) -> Result<(), Refused> {
        self.fresh(seen)?;
        let after = self
            .undone
            .last()
            .cloned()
            .ok_or_else(|| Fault::new("there is nothing to do again", ""))?;
        write_whole(&self.file, after.as_bytes())?;
        self.undone.pop();
        self.done.push(std::mem::replace(&mut self.text, after));
        Ok(())
    }

    pub(super) fn fresh(&mut self, seen: &Revision) -> Result<(), Refused> {
        self.refresh()?;
        if self.revision() == *seen { Ok(()) } else { Err(Refused::Stale) }
    }

    pub(super) fn write(&mut self, text: String) -> Result<(), Refused> {
        if text != self.text {
            write_whole(&self.file, text.as_bytes())?;
            self.step(text);
        }
        Ok(())
    }

    fn step(&mut self, text: String) {
        self.done.push(std::mem::replace(&mut self.text, text));
        if self.done.len() > MOST_STEPS {
            self.done.remove(0);
        }
        self.undone.clear();
    }
}

fn read(file: &Path, new: Option<&'static str>) -> Result<String, Faults> {
    if let Some(new) = new
        && file.symlink_metadata().is_err_and(|e| e.kind() == std::io::ErrorKind::NotFound)
    {
        return Ok(new.into());
    }
    let fault =
        |what: Said, remedy: &'static str| Faults::from(Fault::new(what, remedy).in_file(file));
    let about = fs::metadata(file).map_err(|e| {
        fault(said!("the file cannot be read: {e}"), "put it back, or undo what moved it")
    })?;
    if !about.is_file() {
        return Err(fault(
            "this is not an ordinary file".into(),
            "put an ordinary file in its place",
        ));
    }
    if about.len() > LARGEST_FILE {
        return Err(fault(said!("the file has more than {} MB", LARGEST_FILE >> 20), "split it"));
    }
    let bytes = fs::read(file)
        .map_err(|e| fault(said!("the file cannot be read: {e}"), "check its permissions"))?;
    String::from_utf8(bytes)
        .map_err(|_| fault("the file is not text in UTF-8".into(), "save it as UTF-8"))
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::workshop::Entry;

    fn opened() -> (tempfile::TempDir, Draft) {
        let home = tempfile::tempdir().unwrap();
        fs::write(home.path().join(JOB_FILE), "[job]\nname = \"seat\"  # ours\n").unwrap();
        let draft = Draft::open(home.path()).unwrap();
        (home, draft)
    }

    fn named(name: &str) -> Edit {
        Edit::Set { at: "job.name".into(), to: Entry::Text(name.into()) }
    }

    #[test]
    fn edits_are_on_disk_and_can_be_undone_and_done_again() {
        let (home, mut draft) = opened();
        let on_disk = || fs::read_to_string(home.path().join(JOB_FILE)).unwrap();
        let first = draft.text().to_string();
        draft.edit(&named("hatch"), &draft.revision()).unwrap();
        assert_eq!(on_disk(), "[job]\nname = \"hatch\"  # ours\n");
        draft.undo(&draft.revision()).unwrap();
        assert_eq!((on_disk(), draft.steps()), (first, (false, true)));
        draft.redo(&draft.revision()).unwrap();
        assert_eq!(on_disk(), "[job]\nname = \"hatch\"  # ours\n");
        assert!(matches!(draft.redo(&draft.revision()), Err(Refused::Faults(_))));
    }

    #[test]
    fn an_edit_of_what_another_has_changed_is_refused_and_loses_nothing() {
        let (home, mut draft) = opened();
        let seen = draft.revision();
        fs::write(home.path().join(JOB_FILE), "[job]\nname = \"by hand\"\n").unwrap();
        assert_eq!(draft.edit(&named("hatch"), &seen), Err(Refused::Stale));
        assert_eq!(
            fs::read_to_string(home.path().join(JOB_FILE)).unwrap(),
            "[job]\nname = \"by hand\"\n"
        );
        draft.edit(&named("hatch"), &draft.revision()).unwrap();
        draft.undo(&draft.revision()).unwrap();
        assert_eq!(draft.text(), "[job]\nname = \"by hand\"\n");
        draft.undo(&draft.revision()).unwrap();
        assert!(draft.text().contains("ours"), "what the other program replaced is not lost");
    }

    #[test]
    fn a_file_that_breaks_the_rules_of_toml_is_not_edited_but_can_be_undone() {
        let (home, mut draft) = opened();
        fs::write(home.path().join(JOB_FILE), "[job\n").unwrap();
        assert!(draft.refresh().unwrap());
        assert!(matches!(draft.edit(&named("x"), &draft.revision()), Err(Refused::Faults(_))));
        draft.undo(&draft.revision()).unwrap();
        assert!(draft.text().contains("ours"));
        fs::remove_file(home.path().join(JOB_FILE)).unwrap();
        assert!(draft.refresh().is_err());
    }
}
