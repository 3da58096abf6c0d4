//! What the job tests share: a folder with drawings that are read by a stand-in, and a sound job
//! around them.
#![allow(dead_code, clippy::unwrap_used)]

use std::fs;
use std::path::{Path, PathBuf};
use warpwise::fault::{Fault, Faults, Place};
use warpwise::geometry::{Ring, point};
use warpwise::job::{Job, parse_with};
use warpwise::outline::{Draft, Outline, ReadOptions, Reading};

/// A sound job on the drawings of [`folder`].
pub const SOUND: &str = r#"[job]
name = "bucket seat"

[cutting]
gap = 2
bench_length = "2.4 m"

[splice]

[[cloth]]
id = "twill"
weave = "twill 2/2"
twill_line = 45
up = "paper"
roll_width = 1250
selvedge = 10

[[cloth]]
id = "tape-cloth"
weave = "plain"
up = "film"
roll_width = "12 in"
selvedge = 0

[[template]]
id = "seat"
file = "seat.svg"
taken_off = "mould"
inked_side = "up"

[[template]]
id = "hip-plate"
file = "plates/hip.dxf"
arrow = 20
taken_off = "plug"
inked_side = "up"
hands = "both"

[[strip]]
id = "tape"
length = 1800
width = 50

[[patch]]
id = "bolt"
on = "hip-plate"
centre = [50, 30]
length = 40
width = 20
step_back = 5

[[layer]]
cloth = "twill"
angle = 45
templates = ["seat", { template = "hip-plate", copies = 2 }]
seen = "mould side"

[[layer]]
name = "tapes"
cloth = "tape-cloth"
angle = "45°"
templates = ["tape", "bolt"]
hands = "both"
turns = [0, 180, 360]
faces = ["up", "down"]
"#;

pub fn square(x: f64, y: f64, w: f64, h: f64) -> Ring {
    vec![point(x, y), point(x + w, y), point(x + w, y + h), point(x, y + h)]
}

pub fn outline(name: &str, net: Ring, arrow: bool) -> Outline {
    let arrow = arrow.then(|| [net[0], net[1]]);
    Outline::new(Draft { name: name.into(), net, arrow, ..Draft::default() }).unwrap()
}

fn reading(outlines: Vec<Outline>) -> Reading {
    Reading { present: outlines.len(), used: outlines.len(), outlines, ..Reading::default() }
}

/// Stands in for the readers of drawings: the outlines go by the name of the file.
pub fn read(path: &Path, options: &ReadOptions) -> Result<Reading, Faults> {
    let many = || {
        vec![
            outline("left", square(0.0, 0.0, 100.0, 60.0), true),
            outline("right", square(200.0, 0.0, 100.0, 60.0), true),
        ]
    };
    match path.file_name().and_then(|n| n.to_str()).unwrap_or_default() {
        "seat.svg" => Ok(reading(vec![outline("seat", square(0.0, 0.0, 600.0, 400.0), true)])),
        "hip.dxf" => Ok(reading(vec![outline("hip", square(0.0, 0.0, 100.0, 60.0), false)])),
        "pair.svg" => Ok(reading(
            many()
                .into_iter()
                .filter(|o| options.layer.as_deref().is_none_or(|l| l == o.name()))
                .collect(),
        )),
        "empty.svg" => Ok(reading(Vec::new())),
        _ => Err(Faults::from(
            Fault::new("the outline crosses itself", "draw it anew")
                .in_file(path)
                .at("net line", 1.0, 2.0),
        )),
    }
}

/// A folder with empty files for every drawing.
pub fn folder() -> tempfile::TempDir {
    let dir = tempfile::tempdir().unwrap();
    fs::create_dir(dir.path().join("plates")).unwrap();
    for file in ["seat.svg", "plates/hip.dxf", "pair.svg", "empty.svg", "broken.svg"] {
        fs::write(dir.path().join(file), "").unwrap();
    }
    dir
}

pub fn job_path(dir: &tempfile::TempDir) -> PathBuf {
    dir.path().join("job.toml")
}

pub fn parse(text: &str) -> Result<(Job, Vec<Fault>), Faults> {
    let dir = folder();
    parse_with(text, &job_path(&dir), &read)
}

/// `line:column what / remedy` of each, without the folder.
pub fn said(faults: &[Fault]) -> Vec<String> {
    let place = |f: &Fault| match &f.place {
        Place::Line { line, column } => format!("{line}:{column} "),
        Place::At { what, x, y } => format!("{what} ({x}, {y}) "),
        Place::Named(name) => format!("{name} "),
        Place::Whole => String::new(),
    };
    faults.iter().map(|f| format!("{}{} / {}", place(f), f.what, f.remedy)).collect()
}

/// The faults of the sound job with one text replaced by another.
pub fn faults_with(old: &str, new: &str) -> Vec<String> {
    assert!(SOUND.contains(old), "{old}");
    said(&parse(&SOUND.replacen(old, new, 1)).expect_err("this job is at fault").0)
}

/// The warnings of the sound job with one text replaced by another.
pub fn warnings_with(old: &str, new: &str) -> Vec<String> {
    assert!(SOUND.contains(old), "{old}");
    said(&parse(&SOUND.replacen(old, new, 1)).unwrap_or_else(|f| panic!("{f}")).1)
}
