//! Dates that a job gives for its own roll are held against today by every command that plans from
//! it, without a ledger.
#![allow(clippy::unwrap_used)]

use assert_cmd::Command;
use std::fs;
use std::path::{Path, PathBuf};

/// A job of one strip on a cloth with these lines.
fn job(dir: &Path, lines: &str) -> PathBuf {
    let text = format!(
        "[job]\nname = \"keel strip\"\n\n[[cloth]]\nid = \"plain-160\"\nweave = \"plain\"\nup = \"film\"\nroll_width = 1000\nselvedge = 10\n{lines}\n\
         [[strip]]\nid = \"keel\"\nlength = 600\nwidth = 50\n\n[[layer]]\ncloth = \"plain-160\"\nangle = 0\ntemplates = [\"keel\"]\n"
    );
    let file = dir.join("job.toml");
    fs::write(&file, text).unwrap();
    file
}

fn shown(command: &[&str], job: &Path) -> String {
    let out = Command::cargo_bin("warpwise")
        .unwrap()
        .arg(command[0])
        .arg(job)
        .args(&command[1..])
        .output()
        .unwrap();
    assert!(out.status.success(), "{}", String::from_utf8_lossy(&out.stderr));
    String::from_utf8(out.stdout).unwrap()
}

const COMMANDS: [&[&str]; 3] = [
    &["check"],
    &["nest", "--effort", "1", "--quiet"],
    &["estimate", "--effort", "1", "--seeds", "1", "--quiet"],
];

#[test]
fn expired_cloth_is_said_at_the_top_without_a_ledger() {
    let dir = tempfile::tempdir().unwrap();
    let file =
        job(dir.path(), "batch = \"P160-07\"\nexpiry = \"2001-03-31\"\nout_life_hours = 0\n");
    for command in COMMANDS {
        let shown = shown(command, &file).split_whitespace().collect::<Vec<_>>().join(" ");
        let at = shown
            .find("the roll of plain-160, batch P160-07: expired on 2001-03-31")
            .unwrap_or_else(|| panic!("{command:?}: {shown}"));
        assert!(at < 60, "{command:?}: not at the top: {shown}");
        assert!(shown.contains("has no hours out of the freezer left"), "{command:?}: {shown}");
    }
    let json: serde_json::Value =
        serde_json::from_str(&shown(&["check", "--json"], &file)).unwrap();
    assert!(json["cautions"][0].as_str().unwrap().contains("expired on 2001-03-31"));
}

#[test]
fn cloth_in_date_and_cloth_without_dates_are_not_spoken_of() {
    let dir = tempfile::tempdir().unwrap();
    for lines in ["", "batch = \"P160-07\"\nexpiry = \"2199-12-31\"\nout_life_hours = 400\n"] {
        let file = job(dir.path(), lines);
        for command in COMMANDS {
            let shown = shown(command, &file);
            assert!(
                !shown.contains("expire") && !shown.contains("LOOK AT THIS"),
                "{command:?}: {shown}"
            );
        }
    }
}
