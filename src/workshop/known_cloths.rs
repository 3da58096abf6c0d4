//! The cloths that a workshop knows by name, so that a slip of the pen is not taken for a new one.

use super::draft::Draft;
use super::folder::Folder;
use super::library::{Library, ids};
use crate::job::nearest;
use crate::stock::Snapshot;
use std::collections::BTreeSet;

/// Names of the cloths of the library, of the stock and of the jobs. What cannot be read says so
/// where it is worked on; here it has no names.
pub fn known_cloths(folder: &Folder, stock: Option<&Snapshot>) -> BTreeSet<String> {
    let library = Library::open(folder).map(|l| ids(l.draft.text())).unwrap_or_default();
    let rolls = stock.iter().flat_map(|s| &s.rolls).map(|r| r.cloth().to_string());
    let offcuts = stock.iter().flat_map(|s| &s.offcuts).map(|o| o.cloth().to_string());
    let jobs = folder.jobs().unwrap_or_default();
    let drafts = jobs.iter().filter_map(|j| Draft::open(&folder.root().join(&j.folder)).ok());
    let of_jobs: Vec<String> = drafts.flat_map(|job| ids(job.text())).collect();
    library.into_iter().chain(rolls).chain(offcuts).chain(of_jobs).collect()
}

/// The known name that was meant, if one is near to what was typed.
pub fn nearest_cloth<'k>(known: &'k BTreeSet<String>, typed: &str) -> Option<&'k str> {
    nearest(typed, known.iter().map(String::as_str))
}
