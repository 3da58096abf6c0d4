//! What of a folder is ours: a list of the files we wrote, each with its hash, kept in the folder.
//!
//! Only files that it lists and that are unchanged may be replaced or removed. A file that someone
//! edited, or put there, is theirs.

use crate::fault::Fault;
use sha2::{Digest, Sha256};
use std::collections::{BTreeMap, BTreeSet};
use std::fs::File;
use std::io::{self, Read};
use std::path::Path;

/// Name of the list in its folder.
pub const NAME: &str = ".warpwise-files.json";

/// A larger list is none of ours, bytes.
const LARGEST: u64 = 16 << 20;

/// The files we wrote into a folder, by their paths in it (with `/` between parts), each with the
/// hashes it may have: while new files are put in place, the old and the new.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Manifest {
    files: BTreeMap<String, BTreeSet<String>>,
}

impl Manifest {
    /// The list in a folder; empty where there is none that can be read: then nothing there is
    /// ours.
    pub fn read(dir: &Path) -> Manifest {
        let mut text = String::new();
        let read =
            File::open(dir.join(NAME)).and_then(|f| f.take(LARGEST).read_to_string(&mut text));
        let value: serde_json::Value =
            read.ok().and_then(|_| serde_json::from_str(&text).ok()).unwrap_or_default();
        let hashes = |v: &serde_json::Value| {
            v.as_array()
                .into_iter()
                .flatten()
                .filter_map(|h| Some(h.as_str()?.to_string()))
                .collect()
        };
        let files = value["files"]
            .as_object()
            .into_iter()
            .flatten()
            .map(|(name, v)| (name.clone(), hashes(v)))
            .collect();
        Manifest { files }
    }

    /// As it is written.
    pub fn to_json(&self) -> Vec<u8> {
        let value = serde_json::json!({
            "about": "Files that warpwise wrote here, with their SHA-256. It replaces or removes only these, and only while they are unchanged.",
            "files": self.files,
        });
        format!("{value:#}\n").into_bytes()
    }

    /// Lists a file with the content it is about to have; one it had before stays good until
    /// [`Manifest::settle`].
    pub fn note(&mut self, name: &str, bytes: &[u8]) {
        self.files
            .entry(name.to_string())
            .or_default()
            .insert(hash_of(&mut &*bytes).unwrap_or_default());
    }

    /// Only the present content of a file counts from now on.
    pub fn settle(&mut self, name: &str, bytes: &[u8]) {
        self.files.remove(name);
        self.note(name, bytes);
    }

    /// Takes a file off the list.
    pub fn forget(&mut self, name: &str) {
        self.files.remove(name);
    }

    /// The files listed.
    pub fn names(&self) -> impl Iterator<Item = &str> {
        self.files.keys().map(String::as_str)
    }

    /// True of a file that is listed and unchanged.
    pub fn owns(&self, dir: &Path, name: &str) -> bool {
        let Some(hashes) = self.files.get(name) else {
            return false;
        };
        let path = dir.join(name);
        // A link is not what we wrote.
        path.symlink_metadata().is_ok_and(|m| m.is_file())
            && File::open(&path)
                .and_then(|mut f| hash_of(&mut f))
                .is_ok_and(|hash| hashes.contains(&hash))
    }

    /// True if a file may be written there: none is in its place, it is ours and unchanged, or it
    /// has this very content.
    pub fn may_write(&self, dir: &Path, name: &str, bytes: &[u8]) -> bool {
        let path = dir.join(name);
        match path.symlink_metadata() {
            Err(e) => e.kind() == io::ErrorKind::NotFound,
            Ok(there) => {
                there.is_file()
                    && (self.owns(dir, name)
                        || there.len() == bytes.len() as u64
                            && std::fs::read(&path).is_ok_and(|b| b == bytes))
            }
        }
    }
}

/// What to say of a file in the way.
pub fn in_the_way(file: &Path) -> Fault {
    Fault::new(
        "a file is there that warpwise did not write, or that was changed since; it stays as it is",
        "move it elsewhere, or name another folder with --out",
    )
    .in_file(file)
}

fn hash_of(from: &mut dyn Read) -> io::Result<String> {
    let mut hash = Sha256::new();
    let mut buffer = vec![0; 1 << 16];
    loop {
        match from.read(&mut buffer)? {
            0 => return Ok(hash.finalize().iter().map(|b| format!("{b:02x}")).collect()),
            n => hash.update(&buffer[..n]),
        }
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use std::fs;

    #[test]
    fn only_what_is_listed_and_unchanged_is_ours() {
        let dir = tempfile::tempdir().unwrap();
        let dir = dir.path();
        let mut list = Manifest::default();
        list.note("a.svg", b"ours");
        fs::write(dir.join(NAME), list.to_json()).unwrap();
        let list = Manifest::read(dir);
        assert!(!list.owns(dir, "a.svg"), "it is not there yet");
        assert!(list.may_write(dir, "a.svg", b"new"));
        fs::write(dir.join("a.svg"), "ours").unwrap();
        fs::write(dir.join("b.svg"), "theirs").unwrap();
        assert!(list.owns(dir, "a.svg") && !list.owns(dir, "b.svg"));
        assert!(!list.may_write(dir, "b.svg", b"new") && list.may_write(dir, "b.svg", b"theirs"));
        fs::write(dir.join("a.svg"), "ours, and a note of theirs").unwrap();
        assert!(!list.owns(dir, "a.svg") && !list.may_write(dir, "a.svg", b"new"));
        fs::remove_file(dir.join("a.svg")).unwrap();
        fs::create_dir(dir.join("a.svg")).unwrap();
        assert!(!list.may_write(dir, "a.svg", b"new"));
        fs::write(dir.join(NAME), "{ damaged").unwrap();
        assert_eq!(Manifest::read(dir), Manifest::default());
    }

    /// A kill while files are put in place left some new and some old ones: both are ours.
    #[test]
    fn while_files_are_put_in_place_the_old_and_the_new_are_ours() {
        let dir = tempfile::tempdir().unwrap();
        let mut list = Manifest::default();
        list.note("a", b"old");
        list.note("a", b"new");
        for content in ["old", "new"] {
            fs::write(dir.path().join("a"), content).unwrap();
            assert!(list.owns(dir.path(), "a"));
        }
        list.settle("a", b"new");
        fs::write(dir.path().join("a"), "old").unwrap();
        assert!(!list.owns(dir.path(), "a"));
    }
}
