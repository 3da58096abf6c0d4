//! A new job is accepted as it stands, and every key of the format is in it.
#![allow(clippy::unwrap_used)]

mod job_common;

use job_common::{folder, job_path, outline, read, said, square};
use std::path::{Path, PathBuf};
use warpwise::job::{Job, load, parse_with, scaffold, schema_json};
use warpwise::outline::{ReadOptions, read_file};

/// Drawings that nobody has read.
fn unread(files: &[&str]) -> Vec<(PathBuf, Option<warpwise::outline::Reading>)> {
    files.iter().map(|f| (PathBuf::from(f), None)).collect()
}

fn accepted(text: &str) -> Job {
    let dir = folder();
    let (job, warnings) =
        parse_with(text, &job_path(&dir), &read).unwrap_or_else(|f| panic!("{f}\n{text}"));
    assert_eq!(said(&warnings), [] as [&str; 0]);
    job
}

#[test]
fn around_outline_files() {
    let job =
        accepted(&scaffold("bucket seat", &unread(&["seat.svg", "plates/hip.dxf", "seat.svg"])));
    assert_eq!(job.name, "bucket seat");
    let ids: Vec<&str> = job.templates.iter().map(|t| t.id.as_str()).collect();
    assert_eq!(ids, ["seat", "hip", "seat-2"]);
    assert_eq!(job.layers[0].items.len(), 3);
}

#[test]
fn without_outlines_a_strip_is_laid() {
    let job = accepted(&scaffold("", &[]));
    assert_eq!(
        (job.name.as_str(), job.templates.len(), job.templates[0].id.as_str()),
        ("new job", 1, "joint-tape")
    );
}

#[test]
fn a_name_may_hold_anything() {
    for name in ["a \"b\" \\ c", "tab\tand\nline", "'''", "ü # [x]", &"long ".repeat(100)] {
        accepted(&scaffold(name, &unread(&["seat.svg"])));
    }
}

#[test]
fn a_drawing_of_several_outlines_gets_a_template_for_each() {
    let pair = read(Path::new("pair.svg"), &ReadOptions::default()).unwrap();
    let job = accepted(&scaffold("pair", &[(PathBuf::from("pair.svg"), Some(pair))]));
    let names: Vec<(&str, &str)> =
        job.templates.iter().map(|t| (t.id.as_str(), t.outline.name())).collect();
    assert_eq!(names, [("left", "left"), ("right", "right")]);
    let text = scaffold(
        "pair",
        &[(PathBuf::from("pair.svg"), read(Path::new("pair.svg"), &ReadOptions::default()).ok())],
    );
    assert!(!text.lines().any(|l| l.starts_with("arrow =")), "the drawn arrow holds");
    assert!(outline("x", square(0.0, 0.0, 1.0, 1.0), false).arrow().is_none());
}

#[test]
fn every_key_of_the_format_is_shown() {
    let text = scaffold("all", &unread(&["seat.svg"])) + &scaffold("all", &[]);
    let schema: serde_json::Value = serde_json::from_str(&schema_json()).unwrap();
    let mut keys = Vec::new();
    for (name, section) in schema["properties"].as_object().unwrap() {
        let section = section.get("items").unwrap_or(section);
        match section["properties"].as_object() {
            Some(properties) => keys.extend(properties.keys().cloned()),
            // A key before all sections.
            None => keys.push(format!("{name} = ")),
        }
    }
    // Shown by a neighbour: the outline of a flaw or patch is an advanced form of `from` and `to`,
    // or of a size.
    let left_out = ["outline"];
    for key in keys.iter().filter(|k| !left_out.contains(&k.as_str())) {
        assert!(text.contains(key.as_str()), "{key}");
    }
}

/// A line that is commented out, taken as it would be without its mark, is accepted too.
#[test]
fn the_keys_in_comments_are_true() {
    let text: String = scaffold("all", &unread(&["seat.svg"]))
        .lines()
        .map(|line| match line.strip_prefix("# ") {
            Some(rest)
                if (rest.contains(" = ") && !rest.contains(':'))
                    || rest.starts_with('[')
                    || rest.contains("  #") =>
            {
                format!("{rest}\n")
            }
            _ => format!("{line}\n"),
        })
        .collect();
    // What only fits other drawings, or stands twice.
    let text = text
        .replace("inside = [120, 80]", "inside = [120, 90]")
        .replace("on = \"hip-plate\"", "on = \"seat\"")
        .replace("templates = [\"seat\"]\n", "")
        .replace(
            "template = \"hip-plate\", hands = \"both\", copies = 2 }]",
            "template = \"seat\", hands = \"both\", copies = 2 }, \"bolt-patch\"]",
        );
    let job = accepted(&text);
    assert_eq!(
        (job.templates.len(), job.cloths[0].flaws.len(), job.splice.is_some()),
        (2, 1, true)
    );
    assert_eq!(job.layers[0].turns.as_ref().map(Vec::len), Some(4));
}

/// With the readers themselves: what `new` writes around real drawings is loaded from disk as it
/// stands.
#[test]
fn real_drawings_are_accepted_from_disk() {
    let dir = tempfile::tempdir().unwrap();
    let drawings = Path::new(env!("CARGO_MANIFEST_DIR")).join("demo-data");
    let mut files: Vec<PathBuf> = std::fs::read_dir(&drawings)
        .unwrap()
        .map(|e| PathBuf::from(e.unwrap().file_name()))
        .collect();
    files.retain(|f| f.extension().is_some_and(|e| e == "svg" || e == "dxf" || e == "csv"));
    files.sort();
    assert!(files.len() > 5, "{files:?}");
    for file in &files {
        std::fs::copy(drawings.join(file), dir.path().join(file)).unwrap();
    }
    let readings: Vec<_> = files
        .iter()
        .map(|f| (f.clone(), read_file(&dir.path().join(f), &ReadOptions::default()).ok()))
        .collect();
    let path = dir.path().join("job.toml");
    std::fs::write(&path, scaffold("kayak", &readings)).unwrap();
    let (job, warnings) = load(&path).unwrap_or_else(|f| panic!("{f}"));
    assert_eq!(
        job.templates.len(),
        readings.iter().map(|(_, r)| r.as_ref().unwrap().outlines.len()).sum::<usize>()
    );
    assert!(warnings.iter().all(|w| !w.what.contains("arrow")), "{warnings:?}");
}
