//! Writing a plan folder: all of it or nothing.
//!
//! The files go into a new folder beside the old one, everything is forced to the disk, and then
//! the two folders change places in one step (on Linux; elsewhere, and on file systems that cannot
//! do it, by two renames of which the first is undone if the second fails). A full disk or a kill
//! at any moment leaves the old plan whole; what a kill can leave is a folder beside it whose name
//! begins with a dot, the plan folder's name and `.writing-`, which may be deleted.
//!
//! Of an old plan folder only the files go that its list ([`crate::manifest`]) names and that are
//! unchanged. Anything else is the user's and is carried over: where it lies, or into a folder
//! `kept` if the new plan has a file of that name, or if it was a file of the old plan that someone
//! changed: nobody shall cut by it. Folders of versions that wrote no list have all files of their
//! plan kept so.

use crate::fault::{Fault, Faults};
use crate::manifest::{self, Manifest};
use std::ffi::OsStr;
use std::fs::{self, File};
use std::io::{self, Read, Write};
use std::path::{Component, Path, PathBuf};

/// Files of a plan in a folder without a list.
const OWN: [&str; 5] = ["plan.json", "report.html", "pieces.csv", "patches.csv", "overview.svg"];
/// The folder of the cut sheets, and which of its files were sheets in a folder without a list.
const SHEETS: &str = "sheets";
const SHEET_KINDS: [&str; 3] = ["svg", "pdf", "dxf"];
/// Where files of the user go that would stand among those of the new plan.
const KEPT: &str = "kept";
/// A user's folders nested deeper than this inside a plan folder are not followed.
const DEEPEST: usize = 32;

/// Writes `files` (paths relative to `dir`) as the folder `dir`, all or nothing.
///
/// `dir` may be new, empty, or an old plan folder, whose own files are replaced; its parent folders
/// are made as needed. What comes back are the files in it that had to make way and where they are
/// now, by their paths in it.
///
/// # Errors
/// A path that leaves the folder; a folder with something else in it; a file in its place; anything
/// the disk refuses, with the path and the system's own words. The old folder is then as it was.
pub fn write(dir: &Path, files: &[(PathBuf, Vec<u8>)]) -> Result<Vec<[PathBuf; 2]>, Faults> {
    let mut faults = Faults::new();
    for (path, _) in files {
        if path.as_os_str().is_empty()
            || !path.components().all(|c| matches!(c, Component::Normal(_)))
        {
            faults.push(
                Fault::new("the path leaves the plan folder", "give a path inside it")
                    .in_file(path),
            );
        }
    }
    faults.into_result(())?;
    // A link to a folder stays a link: what it points to is replaced.
    let target = fs::canonicalize(dir).unwrap_or_else(|_| dir.to_path_buf());
    let old = old_folder(&target)?;
    let parent = match target.parent() {
        Some(p) if !p.as_os_str().is_empty() => p.to_path_buf(),
        _ => PathBuf::from("."),
    };
    let name = target.file_name().ok_or_else(|| {
        Fault::new("this name cannot be used for a plan folder", "name a folder with --out")
            .in_file(dir)
    })?;
    fs::create_dir_all(&parent).map_err(|e| refused("could not make the folder", &parent, &e))?;
    not_under_our_feet(&target)?;
    let new = Beside::make(&parent, name)?;
    let mut list = Manifest::default();
    for (path, bytes) in files {
        list.note(&listed(path), bytes);
        let path = new.path.join(path);
        write_file(&path, bytes).map_err(|e| refused("could not write", &path, &e))?;
    }
    let path = new.path.join(manifest::NAME);
    write_file(&path, &list.to_json()).map_err(|e| refused("could not write", &path, &e))?;
    let mut kept = Vec::new();
    if old {
        let had = Manifest::read(&target);
        carry_over(&Folders { old: &target, new: &new.path, had }, Path::new(""), 0, &mut kept)?;
    }
    sync_folders(&new.path, 0).map_err(|e| refused("could not write", &new.path, &e))?;
    if old {
        exchange(&new.path, &target)?
    } else {
        fs::rename(&new.path, &target)
            .map_err(|e| refused("could not put in place", &target, &e))?
    }
    // The plan is in place. Whether the new name has reached the disk already is for the file
    // system to say; some cannot.
    let _ = sync_folder(&parent);
    Ok(kept)
}

/// Tells whether [`write()`] would accept `dir`, so that a long run need not end in a refusal.
///
/// # Errors
/// A folder with something else in it, or a file in its place; the folder that the process stands
/// in.
pub fn check(dir: &Path) -> Result<(), Faults> {
    let target = fs::canonicalize(dir).unwrap_or_else(|_| dir.to_path_buf());
    old_folder(&target)?;
    not_under_our_feet(&target)?;
    Ok(())
}

/// Tries whether the disk takes a folder there. Leaves nothing behind but the folders above it.
///
/// # Errors
/// What the disk says.
pub fn try_disk(dir: &Path) -> Result<(), Faults> {
    let target = fs::canonicalize(dir).unwrap_or_else(|_| dir.to_path_buf());
    let parent = target.parent().filter(|p| !p.as_os_str().is_empty()).unwrap_or(Path::new("."));
    fs::create_dir_all(parent).map_err(|e| refused("could not make the folder", parent, &e))?;
    let name = target.file_name().unwrap_or(OsStr::new("plan"));
    Beside::make(parent, name).map(|_| ())
}

/// The folder is replaced as a whole: whoever stands in the old one would stand in a deleted
/// folder.
fn not_under_our_feet(target: &Path) -> Result<(), Fault> {
    let here = std::env::current_dir().and_then(fs::canonicalize);
    if here.is_ok_and(|here| here.starts_with(target)) {
        let what = "the plan folder is replaced as a whole, and you stand in it";
        return Err(Fault::new(
            what,
            "go to the folder above it, or name another folder with --out",
        )
        .in_file(target));
    }
    Ok(())
}

/// A path in the folder as the list has it.
fn listed(inside: &Path) -> String {
    inside.iter().map(|part| part.to_string_lossy()).collect::<Vec<_>>().join("/")
}

/// A folder beside the target that is removed when it goes out of use, whether it holds a failed
/// new plan or the old one.
struct Beside {
    path: PathBuf,
}

impl Beside {
    fn make(parent: &Path, name: &OsStr) -> Result<Beside, Faults> {
        for attempt in 0..1000_u32 {
            let mut hidden = std::ffi::OsString::from(".");
            hidden.push(name);
            hidden.push(format!(".writing-{}-{attempt}", std::process::id()));
            let path = parent.join(hidden);
            match fs::create_dir(&path) {
                Ok(()) => return Ok(Beside { path }),
                Err(e) if e.kind() == io::ErrorKind::AlreadyExists => {}
                Err(e) => return Err(refused("could not make the folder", &path, &e)),
            }
        }
        Err(Fault::new(
            "many unfinished plan folders lie here",
            "delete those whose names end in .writing and numbers",
        )
        .in_file(parent)
        .into())
    }
}

impl Drop for Beside {
    fn drop(&mut self) {
        // After a rename into place nothing is left here; a left-over that cannot be removed harms
        // nothing.
        let _ = fs::remove_dir_all(&self.path);
    }
}

/// True if there is a folder to replace: empty or a plan folder.
fn old_folder(dir: &Path) -> Result<bool, Faults> {
    match fs::metadata(dir) {
        Err(e) if e.kind() == io::ErrorKind::NotFound => return Ok(false),
        Err(e) => return Err(refused("could not look at", dir, &e)),
        Ok(m) if !m.is_dir() => {
            return Err(Fault::new(
                "there is a file where the plan folder should be",
                "name another folder with --out",
            )
            .in_file(dir)
            .into());
        }
        Ok(_) => {}
    }
    let mut entries =
        fs::read_dir(dir).map_err(|e| refused("could not read the folder", dir, &e))?;
    if entries.next().is_some() && !is_ours(&dir.join("plan.json")) {
        let what = "the folder is not empty and holds no plan of warpwise";
        return Err(Fault::new(
            what,
            "name another folder with --out; nothing in this one was touched",
        )
        .in_file(dir)
        .into());
    }
    Ok(true)
}

/// True if the file begins as a plan of ours does.
fn is_ours(plan: &Path) -> bool {
    let mut start = Vec::new();
    let read = File::open(plan).and_then(|f| f.take(4096).read_to_end(&mut start));
    let bare: String = String::from_utf8_lossy(&start).split_whitespace().collect();
    read.is_ok() && bare.starts_with('{') && bare.contains("\"tool\":\"warpwise")
}

/// Whether a file at this path inside a folder without a list was one of the plan.
fn is_own(inside: &Path) -> bool {
    let parts: Vec<_> = inside.iter().collect();
    match parts[..] {
        [file] => OWN.iter().any(|o| file == *o),
        [folder, file] => {
            folder == SHEETS
                && Path::new(file).extension().is_some_and(|e| SHEET_KINDS.iter().any(|k| e == *k))
        }
        _ => false,
    }
}

/// The old folder, the new one, and what of the old one was ours.
struct Folders<'a> {
    old: &'a Path,
    new: &'a Path,
    had: Manifest,
}

impl Folders<'_> {
    /// Where a file of the old folder goes; `None` if it is ours and unchanged.
    fn goal(&self, inside: &Path) -> Option<PathBuf> {
        let name = listed(inside);
        if inside == Path::new(manifest::NAME) || self.had.owns(self.old, &name) {
            return None;
        }
        let has_list = self.had != Manifest::default();
        let of_the_plan =
            if has_list { self.had.names().any(|n| n == name) } else { is_own(inside) };
        let is_free = |path: &Path| self.new.join(path).symlink_metadata().is_err();
        if !of_the_plan && is_free(inside) {
            return Some(inside.to_path_buf());
        }
        let aside = |k: u32| {
            PathBuf::from(if k == 1 { KEPT.to_string() } else { format!("{KEPT}-{k}") })
                .join(inside)
        };
        (1..)
            .map(aside)
            .find(|path| is_free(path) && self.old.join(path).symlink_metadata().is_err())
    }
}

/// Brings the user's own files from the old folder into the new one; those that had to make way are
/// noted.
fn carry_over(
    folders: &Folders<'_>,
    inside: &Path,
    depth: usize,
    kept: &mut Vec<[PathBuf; 2]>,
) -> Result<(), Faults> {
    let from = folders.old.join(inside);
    if depth > DEEPEST {
        return Err(Fault::new(
            said!("folders nested more than {DEEPEST} deep in the plan folder"),
            "move them elsewhere",
        )
        .in_file(&from)
        .into());
    }
    for entry in fs::read_dir(&from).map_err(|e| refused("could not read the folder", &from, &e))? {
        let entry = entry.map_err(|e| refused("could not read the folder", &from, &e))?;
        let inside = inside.join(entry.file_name());
        let source = folders.old.join(&inside);
        let kind = entry.file_type().map_err(|e| refused("could not look at", &source, &e))?;
        if kind.is_dir() {
            let goal = folders.new.join(&inside);
            if goal.symlink_metadata().is_ok_and(|m| !m.is_dir()) {
                return Err(Fault::new(
                    "a folder lies where the plan needs a file",
                    "move it elsewhere",
                )
                .in_file(&source)
                .into());
            }
            // The sheets' folder comes along only if something of the user's lies in it.
            let made = goal.is_dir() || (inside == Path::new(SHEETS));
            if !made {
                fs::create_dir(&goal)
                    .map_err(|e| refused("could not make the folder", &goal, &e))?;
            }
            carry_over(folders, &inside, depth + 1, kept)?;
        } else if let Some(goal) = folders.goal(&inside) {
            let to = folders.new.join(&goal);
            if let Some(folder) = to.parent() {
                fs::create_dir_all(folder)
                    .map_err(|e| refused("could not make the folder", folder, &e))?;
            }
            // A second name for the same file costs nothing and is whole at once; where there are
            // none, and for links, a copy.
            let linked = fs::hard_link(&source, &to);
            linked
                .or_else(|_| fs::copy(&source, &to).map(|_| ()))
                .map_err(|e| refused("could not carry over", &source, &e))?;
            if goal != inside {
                kept.push([inside, goal]);
            }
        }
    }
    Ok(())
}

fn write_file(path: &Path, bytes: &[u8]) -> io::Result<()> {
    if let Some(folder) = path.parent() {
        fs::create_dir_all(folder)?;
    }
    let mut file = File::create_new(path)?;
    file.write_all(bytes)?;
    file.sync_all()
}

/// Forces the names in a folder and those below it to the disk.
fn sync_folders(dir: &Path, depth: usize) -> io::Result<()> {
    for entry in fs::read_dir(dir)? {
        let entry = entry?;
        if entry.file_type()?.is_dir() && depth <= DEEPEST + 1 {
            sync_folders(&entry.path(), depth + 1)?;
        }
    }
    sync_folder(dir)
}

#[cfg(unix)]
fn sync_folder(dir: &Path) -> io::Result<()> {
    File::open(dir)?.sync_all()
}

/// Elsewhere a folder cannot be opened as a file.
#[cfg(not(unix))]
fn sync_folder(_: &Path) -> io::Result<()> {
    Ok(())
}

/// The new folder takes the old one's place, and the other way about.
#[cfg(target_os = "linux")]
fn exchange(new: &Path, old: &Path) -> Result<(), Faults> {
    use rustix::fs::{CWD, RenameFlags, renameat_with};
    use rustix::io::Errno;
    match renameat_with(CWD, new, CWD, old, RenameFlags::EXCHANGE) {
        Ok(()) => Ok(()),
        // Not every file system can.
        Err(Errno::INVAL | Errno::NOSYS | Errno::OPNOTSUPP) => exchange_by_renames(new, old),
        Err(e) => Err(refused("could not put in place", old, &e.into())),
    }
}

#[cfg(not(target_os = "linux"))]
fn exchange(new: &Path, old: &Path) -> Result<(), Faults> {
    exchange_by_renames(new, old)
}

/// The same by renames, with the old folder put back if the new one cannot take its place.
fn exchange_by_renames(new: &Path, old: &Path) -> Result<(), Faults> {
    let mut aside = new.as_os_str().to_os_string();
    aside.push("-old");
    let aside = PathBuf::from(aside);
    fs::rename(old, &aside).map_err(|e| refused("could not move aside", old, &e))?;
    if let Err(e) = fs::rename(new, old) {
        let mut faults = refused("could not put in place", old, &e);
        if let Err(e) = fs::rename(&aside, old) {
            faults.extend(refused(
                "the old plan is safe but could not be put back from",
                &aside,
                &e,
            ));
        }
        return Err(faults);
    }
    // The caller removes what lies at `new`.
    fs::rename(&aside, new)
        .map_err(|e| refused("the new plan is in place, but could not clear away", &aside, &e))
}

/// A fault of the machine: what could not be done, on what, in the system's words.
fn refused(what: &str, path: &Path, error: &io::Error) -> Faults {
    Fault::new(
        said!("{what}: {error}"),
        "check space and permissions, or name another folder with --out",
    )
    .in_file(path)
    .into()
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    #[test]
    fn exchange_by_renames_swaps_and_rolls_back() {
        let home = tempfile::tempdir().unwrap();
        let (new, old) = (home.path().join("new"), home.path().join("old"));
        for (dir, text) in [(&new, "new"), (&old, "old")] {
            fs::create_dir(dir).unwrap();
            fs::write(dir.join("f"), text).unwrap();
        }
        exchange_by_renames(&new, &old).unwrap();
        assert_eq!(
            (
                fs::read_to_string(old.join("f")).unwrap(),
                fs::read_to_string(new.join("f")).unwrap()
            ),
            ("new".into(), "old".into())
        );
        fs::remove_dir_all(&new).unwrap();
        assert!(exchange_by_renames(&new, &old).is_err(), "nothing to put in place");
        assert_eq!(fs::read_to_string(old.join("f")).unwrap(), "new", "the old folder is back");
    }

    #[test]
    fn the_tools_own_files_are_known_by_name() {
        for own in
            ["plan.json", "report.html", "pieces.csv", "sheets/roll-1.svg", "sheets/roll-1.pdf"]
        {
            assert!(is_own(Path::new(own)), "{own}");
        }
        for other in ["notes.txt", "sheets/notes.txt", "photos/roll.svg", "sheets/old/a.svg"] {
            assert!(!is_own(Path::new(other)), "{other}");
        }
    }
}
