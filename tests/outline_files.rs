//! What may stand at the end of a path besides a good drawing.

#![allow(clippy::unwrap_used)]

use std::fs;
use std::path::Path;
use warpwise::outline::{ReadOptions, read_bytes, read_file};

const SVG: &str = r#"<svg xmlns="http://www.w3.org/2000/svg" width="40mm" height="30mm" viewBox="0 0 40 30"><rect width="10" height="10"/></svg>"#;

fn refused(path: &Path, what: &str) {
    let faults = read_file(path, &ReadOptions::default()).unwrap_err();
    assert_eq!(faults.0.len(), 1, "{faults}");
    assert_eq!(faults.0[0].file.as_deref(), Some(path));
    assert!(faults.0[0].what.contains(what) && !faults.0[0].remedy.is_empty(), "{faults}");
}

#[test]
fn good_files_by_any_case_of_their_ending() {
    let dir = tempfile::tempdir().unwrap();
    for name in ["seat.svg", "SEAT.SVG"] {
        let path = dir.path().join(name);
        fs::write(&path, SVG).unwrap();
        assert_eq!(read_file(&path, &ReadOptions::default()).unwrap().outlines.len(), 1);
    }
}

#[test]
fn files_that_are_none() {
    let dir = tempfile::tempdir().unwrap();
    let path = |name: &str, bytes: &[u8]| {
        let path = dir.path().join(name);
        fs::write(&path, bytes).unwrap();
        path
    };
    refused(&dir.path().join("gone.svg"), "no such file");
    refused(dir.path(), "folder");
    refused(&path("seat.png", SVG.as_bytes()), ".png are not understood");
    refused(&path("seat", SVG.as_bytes()), "without an ending");
    refused(&path("seat.svgz", SVG.as_bytes()), "compressed");
    refused(&path("empty.svg", b""), "empty");
    refused(&path("empty.csv", b"\n \n"), "empty");
    refused(&path("binary.svg", b"\x89PNG\r\n\x1a\n\x00\x00"), "not UTF-8");
    let sparse = dir.path().join("huge.svg");
    fs::File::create(&sparse).unwrap().set_len(40 << 20).unwrap();
    refused(&sparse, "more than 32 MB");
}

#[cfg(unix)]
#[test]
fn a_device_that_never_ends_is_no_file() {
    let dir = tempfile::tempdir().unwrap();
    let link = dir.path().join("zero.svg");
    std::os::unix::fs::symlink("/dev/zero", &link).unwrap();
    refused(&link, "not an ordinary file");
}

#[test]
fn tolerances_that_make_no_sense_are_refused() {
    for (chord, join) in
        [(0.0, 0.1), (f64::NAN, 0.1), (0.02, -1.0), (0.02, f64::INFINITY), (-0.5, 0.1)]
    {
        let options =
            ReadOptions { chord_tolerance: chord, join_tolerance: join, ..ReadOptions::default() };
        assert!(read_bytes(Path::new("a.svg"), SVG.as_bytes(), &options).is_err());
    }
}

#[test]
fn a_flood_of_faults_stays_readable() {
    let paths = "<path d=\"M0 0 L5\"/>".repeat(5000);
    let svg = SVG.replace("<rect", &format!("{paths}<rect"));
    let faults =
        read_bytes(Path::new("a.svg"), svg.as_bytes(), &ReadOptions::default()).unwrap_err();
    assert!(faults.0.len() <= 101, "{}", faults.0.len());
    let bows = "<path d=\"M0 0 L5 5 V0 L0 5 z\"/>".repeat(500);
    let svg = SVG.replace("<rect", &format!("{bows}<rect"));
    let faults =
        read_bytes(Path::new("a.svg"), svg.as_bytes(), &ReadOptions::default()).unwrap_err();
    assert_eq!(faults.0.len(), 101);
    assert!(faults.0[100].what.contains("more faults"));
}
