//! A job file held against all rules short of planning: the job and its pieces, and every fault at
//! the key it is about.

use super::edit::{Edit, Entry};
use super::values::Values;
use crate::fault::{Fault, Faults, Place};
use crate::geometry::{point, ring_contains};
use crate::job::{self, Job};
use crate::outline::{
    EdgeKind, LARGEST_FILE, Outline, ReadOptions, Reading, Unit, read_bytes, read_file,
};
use crate::planner;
use crate::ply::{self, Prepared};
use crate::run::Run;
use sha2::{Digest, Sha256};
use std::collections::BTreeMap;
use std::path::{Component, Path, PathBuf};
use std::sync::{Mutex, PoisonError};

/// Something a person should hear of.
#[derive(Clone, Debug, PartialEq)]
pub struct Note {
    /// What, where, and what to do.
    pub fault: Fault,
    /// True if the job can be planned in spite of it.
    pub warning: bool,
    /// The key or section of the job file it is about, as a path.
    pub at: Option<String>,
    /// The edit that does what the remedy says, where one does.
    pub mend: Option<Edit>,
}

/// A template's drawing by itself, which is there even while the rest of the job is at fault.
#[derive(Clone, Debug, PartialEq)]
pub struct DrawnTemplate {
    /// Its outline, in the frame of its drawing.
    pub outline: Outline,
    /// The drawing, as the job names it.
    pub file: PathBuf,
    /// Kind of the edges to which the drawing gives none.
    pub edge: EdgeKind,
    /// Direction of the part's 0°, degrees anticlockwise from the right.
    pub arrow: f64,
}

/// What became of a job file.
#[derive(Clone, Debug, Default)]
pub struct Checked {
    /// The drawing of each template section, where it can be read and shows one outline that is
    /// meant.
    pub drawn: Vec<Option<DrawnTemplate>>,
    /// The values as they stand in the file.
    pub values: Values,
    /// The job, if every reference in it holds.
    pub job: Option<Job>,
    /// Its pieces, if they can be prepared.
    pub prepared: Option<Prepared>,
    /// Faults, then warnings.
    pub notes: Vec<Note>,
}

impl Checked {
    /// True if it can be planned.
    pub fn is_sound(&self) -> bool {
        self.prepared.is_some() && self.notes.iter().all(|n| n.warning)
    }

    /// What is to be said about a key, or about a section itself.
    pub fn about<'c>(&'c self, at: &'c str) -> impl Iterator<Item = &'c Note> {
        self.notes.iter().filter(move |n| n.at.as_deref() == Some(at))
    }
}

/// A drawing, and the way it was read.
type Key = (PathBuf, String);
/// What a drawing held, by the hash of its bytes.
type Read = ([u8; 32], Result<Reading, Faults>);

/// Drawings that were read, kept until they change: an edit of a layer reads none again.
#[derive(Debug, Default)]
pub struct Readings {
    kept: Mutex<BTreeMap<Key, Read>>,
    /// What its plies came to: an edit of one works out no other again.
    plies: ply::Kept,
}

impl Readings {
    fn read(&self, path: &Path, options: &ReadOptions) -> Result<Reading, Faults> {
        let small = std::fs::metadata(path).is_ok_and(|m| m.is_file() && m.len() <= LARGEST_FILE);
        let bytes = match small.then(|| std::fs::read(path)) {
            Some(Ok(bytes)) => bytes,
            // What cannot be read says so itself.
            _ => return read_file(path, options),
        };
        let hash: [u8; 32] = Sha256::digest(&bytes).into();
        let key = (path.to_path_buf(), format!("{options:?}"));
        let known = self
            .kept
            .lock()
            .unwrap_or_else(PoisonError::into_inner)
            .get(&key)
            .filter(|k| k.0 == hash)
            .map(|k| k.1.clone());
        known.unwrap_or_else(|| {
            let reading = read_bytes(path, &bytes, options);
            self.kept
                .lock()
                .unwrap_or_else(PoisonError::into_inner)
                .insert(key, (hash, reading.clone()));
            reading
        })
    }

    /// The drawing of a template section.
    fn drawn(&self, values: &Values, index: usize, dir: &Path) -> Option<DrawnTemplate> {
        let key = |key: &str| values.get(&format!("template.{index}.{key}"));
        let file = key("file").filter(|f| {
            Path::new(f).components().all(|c| matches!(c, Component::Normal(_) | Component::CurDir))
        })?;
        let number =
            |k: &str, otherwise: f64| key(k).and_then(|v| v.parse().ok()).unwrap_or(otherwise);
        let options = ReadOptions {
            chord_tolerance: number("chord_tolerance", 0.02),
            join_tolerance: number("join_ends", 0.1),
            unit: key("unit").and_then(Unit::named),
            layer: key("layer").map(String::from),
        };
        let reading = self.read(&dir.join(file), &options).ok()?;
        let inside = values
            .get(&format!("template.{index}.inside.0"))
            .zip(values.get(&format!("template.{index}.inside.1")));
        let inside = inside.and_then(|(x, y)| Some(point(x.parse().ok()?, y.parse().ok()?)));
        let outline = match (inside, reading.outlines.as_slice()) {
            (Some(p), outlines) => outlines.iter().find(|o| ring_contains(o.net(), p))?,
            (None, [only]) => only,
            _ => return None,
        };
        let edge = match key("edge") {
            Some("lap") => EdgeKind::Lap,
            Some("butt") => EdgeKind::Butt,
            Some("dart") => EdgeKind::Dart,
            _ => EdgeKind::Trim,
        };
        let arrow = outline
            .arrow()
            .map_or_else(|| number("arrow", 0.0), |[tail, head]| (head - tail).direction());
        Some(DrawnTemplate { outline: outline.clone(), file: file.into(), edge, arrow })
    }

    /// Checks the text of a job file.
    pub fn check(&self, text: &str, file: &Path) -> Checked {
        let values = Values::of(text);
        let dir = file.parent().unwrap_or(Path::new("."));
        let drawn: Vec<_> =
            (0..values.count("template")).map(|i| self.drawn(&values, i, dir)).collect();
        let note = |fault: Fault, warning: bool| note(fault, warning, text, file, &values);
        let (job, heard) =
            match job::parse_with(text, file, &|path, options| self.read(path, options)) {
                Ok(read) => read,
                Err(faults) => {
                    let notes = faults.0.into_iter().map(|f| note(f, false)).collect();
                    return Checked { notes, values, drawn, ..Checked::default() };
                }
            };
        let mut notes: Vec<Note> = Vec::new();
        let mut warnings = heard;
        let jobs = std::slice::from_ref(&job);
        let made = planner::prepare_keeping(jobs, 1, &self.plies, &Run::default());
        let prepared = match made {
            Ok(mut prepared) => prepared.pop().map(|p| p.prepared),
            Err(refusal) => {
                let faults = refusal.into_faults().in_file(file);
                notes.extend(
                    job::placed(faults.0, &|_| Some(text.to_string()))
                        .into_iter()
                        .map(|f| note(f, false)),
                );
                None
            }
        };
        warnings.extend(prepared.iter().flat_map(|p| p.warnings.clone()));
        let warnings = Faults(warnings).in_file(file).0;
        notes.extend(
            job::placed(warnings, &|_| Some(text.to_string())).into_iter().map(|f| note(f, true)),
        );
        Checked { values, drawn, job: Some(job), prepared, notes }
    }
}

pub(super) fn note(fault: Fault, warning: bool, text: &str, file: &Path, values: &Values) -> Note {
    let at = match &fault.place {
        Place::Line { line, column } if fault.file.as_deref() == Some(file) => {
            values.key_at(text, *line, *column).map(str::to_string)
        }
        _ => None,
    };
    let mend = at.as_deref().and_then(|at| mend(at, fault.to_paste()?, values));
    Note { fault, warning, at, mend }
}

/// The edit that puts a line to paste where it belongs: into the section, or in place of the line
/// at fault.
fn mend(at: &str, line: &str, values: &Values) -> Option<Edit> {
    let line: toml::Table = line.parse().ok()?;
    let mut keys = line.into_iter();
    let (key, value) = keys.next().filter(|_| keys.next().is_none())?;
    let to = entry_of(value)?;
    if values.get(at).is_none() && values.has(at) {
        return Some(Edit::Set { at: format!("{at}.{key}"), to });
    }
    let (section, old) = at.rsplit_once('.')?;
    let set = Edit::Set { at: format!("{section}.{key}"), to: to.clone() };
    // The same value under another key: the key was misspelt.
    let same = match &to {
        Entry::Text(text) => values.get(at) == Some(text),
        Entry::Number(n) => values.get(at).and_then(|v| v.parse().ok()) == Some(*n),
        Entry::Flag(flag) => values.get(at) == Some(if *flag { "true" } else { "false" }),
        _ => false,
    };
    Some(if same && old != key { Edit::All(vec![Edit::Clear { at: at.into() }, set]) } else { set })
}

pub(super) fn entry_of(value: toml::Value) -> Option<Entry> {
    Some(match value {
        toml::Value::String(text) => Entry::Text(text),
        toml::Value::Integer(n) => Entry::Number(n as f64),
        toml::Value::Float(n) => Entry::Number(n),
        toml::Value::Boolean(flag) => Entry::Flag(flag),
        toml::Value::Array(list) => {
            Entry::List(list.into_iter().map(entry_of).collect::<Option<_>>()?)
        }
        toml::Value::Table(table) => Entry::Keys(
            table.into_iter().map(|(k, v)| Some((k, entry_of(v)?))).collect::<Option<_>>()?,
        ),
        toml::Value::Datetime(_) => return None,
    })
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::workshop::edited;

    const JOB: &str = r#"[job]
name = "tapes"
[cutting]
gpa = 4
[[cloth]]
id = "twill"
weave = "plain"
up = "paper"
roll_width = 1000
[[strip]]
id = "tape"
length = 900
width = 50
[[layer]]
cloth = "twil"
angle = 0
templates = ["tape"]
"#;

    fn check(text: &str) -> Checked {
        Readings::default().check(text, Path::new("job.toml"))
    }

    #[test]
    fn every_fault_is_beside_its_key_and_its_remedy_is_an_edit() {
        let mut text = JOB.to_string();
        let checked = check(&text);
        let at: Vec<&str> = checked.notes.iter().filter_map(|n| n.at.as_deref()).collect();
        assert_eq!(at, ["cutting.gpa", "cloth.0", "layer.0.cloth"], "{:?}", checked.notes);
        while let Some(mend) = check(&text).notes.iter().find_map(|n| n.mend.clone()) {
            let next = edited(&text, &mend).unwrap();
            assert_ne!(next, text, "{mend:?}");
            text = next;
        }
        let checked = check(&text);
        assert!(checked.is_sound(), "{text}\n{:?}", checked.notes);
        assert!(
            text.contains("gap = 4")
                && text.contains("cloth = \"twill\"")
                && text.contains("selvedge = "),
            "{text}"
        );
        assert_eq!(checked.prepared.unwrap().pieces.len(), 1);
    }

    #[test]
    fn a_fault_of_preparation_stands_beside_what_it_names() {
        let text = JOB
            .replace("gpa", "gap")
            .replace("twil\"", "twill\"")
            .replace("roll_width = 1000", "roll_width = 40\nselvedge = 0");
        let checked = check(&text);
        assert!(!checked.is_sound());
        assert!(
            checked.notes.iter().any(|n| !n.warning
                && n.at
                    .as_deref()
                    .is_some_and(|at| at.starts_with("layer.0") || at.starts_with("strip.0"))),
            "{:?}",
            checked.notes
        );
    }

    #[test]
    fn a_drawing_is_read_again_when_it_has_changed() {
        let home = tempfile::tempdir().unwrap();
        let square = |side: u32| {
            format!(
                "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"500mm\" height=\"500mm\" viewBox=\"0 0 500 500\"><rect x=\"9\" y=\"9\" width=\"{side}\" height=\"{side}\"/></svg>"
            )
        };
        let file = home.path().join("a.svg");
        let readings = Readings::default();
        let area = || {
            crate::geometry::ring_area(
                &readings.read(&file, &ReadOptions::default()).unwrap().outlines[0].net().clone(),
            )
        };
        std::fs::write(&file, square(100)).unwrap();
        assert_eq!((area(), area()), (10_000.0, 10_000.0));
        std::fs::write(&file, square(200)).unwrap();
        assert_eq!(area(), 40_000.0);
        std::fs::remove_file(&file).unwrap();
        assert!(readings.read(&file, &ReadOptions::default()).is_err());
    }
}
