//! A job begun from an old one: its layers, cloths, moulds and templates with their drawings, and
//! nothing of what was done with them.

use super::draft::Draft;
use super::edit::{Edit, edited};
use super::folder::{Folder, JOB_FILE, unwritable, write_whole};
use super::outline_file::PhotoUnder;
use super::values::Values;
use crate::fault::{Fault, Faults};
use crate::job::LIBRARY_FILE;
use crate::units::quoted;
use std::fs;
use std::path::{Component, Path, PathBuf};

/// What came into a job from the old one.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct CameAlong {
    /// Layers.
    pub layers: usize,
    /// Cloths.
    pub cloths: usize,
    /// Templates, strips and patches.
    pub templates: usize,
    /// Files that were copied.
    pub files: Vec<String>,
    /// Files that the old job names and that could not be had.
    pub missing: Vec<String>,
    /// Keys that are of the old job's rolls, with their cloths.
    pub of_rolls: Vec<String>,
}

/// Keys of a cloth that are of one roll.
const OF_ROLL: [&str; 4] = ["roll_length", "batch", "expiry", "flaw"];

/// Begins a job from another of the workshop; a cloth library of its own comes along. Plan, ticks and records stay behind.
///
/// # Errors
/// The name is taken or no name, there is no such job, its file cannot be read or edited, or the
/// machine's; then nothing is there.
pub fn begin_from(folder: &Folder, name: &str, from: &str) -> Result<CameAlong, Faults> {
    let new = folder.free(name)?;
    let old = folder.job(from)?;
    let draft = Draft::open(&old)?;
    let values = Values::of(draft.text());
    let set = |at: &str, to: &str| Edit::Set { at: at.into(), to: to.into() };
    let mut edits = vec![
        set("job.name", name),
        set("job.begun_from", if from.is_empty() { "." } else { from }),
    ];
    // The new folder lies elsewhere: what was beside the old job file is not beside this one.
    if let Some(stock) = values.get("stock").filter(|s| !Path::new(s).is_absolute()) {
        let above = Path::new(stock).strip_prefix("..");
        let way = match (from.is_empty(), above) {
            (true, _) => Path::new("..").join(stock),
            (false, Ok(_)) => PathBuf::from(stock),
            (false, Err(_)) => Path::new("..").join(from).join(stock),
        };
        edits.push(set("stock", &way.to_string_lossy()));
    }
    let text = edited(draft.text(), &Edit::All(edits)).map_err(|f| f.in_file(draft.file()))?;

    let count = |kinds: &[&str]| kinds.iter().map(|k| values.count(k)).sum();
    let mut came = CameAlong {
        layers: count(&["layer"]),
        cloths: count(&["cloth"]),
        templates: count(&["template", "strip", "patch"]),
        ..CameAlong::default()
    };
    for i in 0..came.cloths {
        let at = format!("cloth.{i}");
        let keys: Vec<&str> =
            OF_ROLL.into_iter().filter(|key| values.has(&format!("{at}.{key}"))).collect();
        if !keys.is_empty() {
            let id = values.get(&format!("{at}.id")).unwrap_or("?");
            came.of_rolls.push(format!("{id}: {}", keys.join(", ")));
        }
    }
    // Made aside and put in place at once: a job is there whole or not at all.
    let aside = tempfile::Builder::new()
        .prefix(".begin-")
        .tempdir_in(folder.root())
        .map_err(|e| unwritable(folder.root(), &e))?;
    for file in named_files(&values, &old) {
        if copied(&old, &file, aside.path())? {
            came.files.push(file);
        } else {
            came.missing.push(file);
        }
    }
    // Its own library goes before the workshop's, in which the same ids are other cloths.
    let library = old.join(LIBRARY_FILE);
    if !from.is_empty() && library.symlink_metadata().is_ok() {
        if !copied(&old, LIBRARY_FILE, aside.path())? {
            let what = "the job's own cloth library is no ordinary file in its folder";
            let remedy = "put an ordinary file there, or take it away: then the workshop's counts";
            return Err(Fault::new(what, remedy).in_file(&library).into());
        }
        came.files.push(LIBRARY_FILE.into());
        // A data sheet that is not there is said where the library is looked at.
        for sheet in of(&Values::of(Draft::of(library, None)?.text()), "cloth", "data_sheet") {
            if !came.files.contains(&sheet) && copied(&old, &sheet, aside.path())? {
                came.files.push(sheet);
            }
        }
    }
    write_whole(&aside.path().join(JOB_FILE), text.as_bytes())?;
    let about = fs::metadata(&old).map_err(|e| unwritable(&old, &e))?;
    fs::set_permissions(aside.path(), about.permissions()).map_err(|e| unwritable(&new, &e))?;
    // A rename takes the place of an empty folder in silence.
    if new.symlink_metadata().is_ok() {
        let what = said!("there is something called {} in the workshop already", quoted(name));
        return Err(Fault::new(what, "take another name").into());
    }
    fs::rename(aside.path(), &new).map_err(|e| unwritable(&new, &e))?;
    // It is not there any more to be cleared away.
    let _ = aside.keep();
    Ok(came)
}

/// A key of all sections of a kind.
fn of(values: &Values, section: &str, key: &str) -> Vec<String> {
    let one = |i| values.get(&format!("{section}.{i}.{key}")).map(String::from);
    (0..values.count(section)).filter_map(one).collect()
}

/// The files that a job names: drawings, photos under them and of moulds.
fn named_files(values: &Values, dir: &Path) -> Vec<String> {
    let mut files = of(values, "template", "file");
    files.extend(of(values, "mould", "photo"));
    let under = files.iter().filter(|f| f.to_lowercase().ends_with(".svg")).filter_map(|file| {
        let photo = PhotoUnder::of(&fs::read_to_string(dir.join(file)).ok()?)?.file;
        Some(Path::new(file).with_file_name(photo).to_string_lossy().into_owned())
    });
    let under: Vec<String> = under.filter(|photo| dir.join(photo).exists()).collect();
    files.extend(under);
    files.sort();
    files.dedup();
    files
}

/// Copies a file of a job, if it is one within its folder.
fn copied(old: &Path, file: &str, new: &Path) -> Result<bool, Faults> {
    let below =
        Path::new(file).components().all(|c| matches!(c, Component::Normal(_) | Component::CurDir));
    let real = fs::canonicalize(old.join(file)).ok().zip(fs::canonicalize(old).ok());
    let Some((real, _)) = real.filter(|(f, dir)| below && f.starts_with(dir) && f.is_file()) else {
        return Ok(false);
    };
    let to = new.join(file);
    if let Some(dir) = to.parent() {
        fs::create_dir_all(dir).map_err(|e| unwritable(dir, &e))?;
    }
    fs::copy(&real, &to).map_err(|e| unwritable(&to, &e))?;
    Ok(true)
}
