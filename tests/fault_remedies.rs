//! Faults show the line of the job they are about, and what their remedy gives to paste mends them.
#![allow(clippy::unwrap_used)]

mod job_common;

use assert_cmd::Command;
use job_common::{SOUND, parse};
use std::fs;
use warpwise::fault::{Fault, Place};

/// The job with the pasted line in place of the one at fault, and with it below that one.
fn pasted(text: &str, fault: &Fault) -> [String; 2] {
    let (Place::Line { line, .. }, Some(paste)) = (&fault.place, fault.to_paste()) else {
        panic!("nothing to paste: {fault}")
    };
    let lines: Vec<&str> = text.lines().collect();
    let [before, after] = [&lines[..line - 1], &lines[*line..]].map(|l| l.join("\n"));
    [
        format!("{before}\n{paste}\n{after}\n"),
        format!("{before}\n{}\n{paste}\n{after}\n", lines[line - 1]),
    ]
}

#[test]
fn what_a_remedy_gives_to_paste_mends_the_job() {
    for (old, new) in [
        ("gap = 2", "gpa = 2"),
        ("[splice]", "[splices]"),
        ("taken_off = \"plug\"", "taken_of = \"plug\""),
        ("taken_off = \"plug\"", "taken_off = \"plugg\""),
        ("templates = [\"seat\", {", "templates = [\"seatt\", {"),
        ("template = \"hip-plate\", copies", "template = \"hip-plat\", copies"),
        ("copies = 2", "copies = \"2\""),
        ("copies = 2", "copies = 2.0"),
        ("copies = 2", "copis = 2"),
        ("file = \"seat.svg\"", "file = \"seet.svg\""),
        ("file = \"plates/hip.dxf\"", "file = \"plates/hipp.dxf\""),
        ("file = \"seat.svg\"", "file = \"pair.svg\""),
        ("arrow = 20\n", ""),
        ("selvedge = 0\n", ""),
        ("name = \"bucket seat\"\n", ""),
        ("inked_side = \"up\"\n\n", "\n"),
        ("twill_line = 45\n", ""),
        ("selvedge = 0\n", "selvedge = 0\nmaterial = \"core\"\n"),
        ("[[layer]]\nname", "[[cure]]\nto = 80\n\n[[layer]]\nname"),
    ] {
        assert!(SOUND.contains(old), "{old}");
        let text = SOUND.replacen(old, new, 1);
        let faults = parse(&text).expect_err(new).0;
        let fault = faults
            .iter()
            .find(|f| f.to_paste().is_some())
            .unwrap_or_else(|| panic!("{new}: {faults:?}"));
        let mended = pasted(&text, fault).iter().any(|t| parse(t).is_ok());
        assert!(
            mended,
            "{new}: {fault}\n{}",
            pasted(&text, fault)
                .map(|t| parse(&t).map_or_else(|f| f.to_string(), |_| String::new()))
                .join("\n")
        );
    }
}

/// The demo in a folder of its own, with one text of its job replaced; what `check` says on
/// standard error.
fn check(old: &str, new: &str) -> (Option<i32>, String, usize) {
    let dir = tempfile::tempdir().unwrap();
    for entry in fs::read_dir("demo-data").unwrap() {
        let entry = entry.unwrap();
        fs::copy(entry.path(), dir.path().join(entry.file_name())).unwrap();
    }
    let job = dir.path().join("job.toml");
    let text = fs::read_to_string(&job).unwrap();
    assert!(text.contains(old), "{old}");
    let line = text[..text.find(old).unwrap()].lines().count() + 1;
    fs::write(&job, text.replacen(old, new, 1)).unwrap();
    let out = Command::cargo_bin("warpwise").unwrap().arg("check").arg(&job).output().unwrap();
    (out.status.code(), String::from_utf8(out.stderr).unwrap(), line)
}

#[test]
fn faults_of_rules_and_of_preparation_show_their_line() {
    // A rule that no schema knows: the value is shown with a caret under it.
    let (code, said, line) = check("twill_line = 45  ", "twill_line = 30  ");
    assert_eq!(code, Some(1));
    assert!(
        said.contains(&format!("job.toml:{line}:14:"))
            && said.contains(&format!("\n    {line} | twill_line = 30")),
        "{said}"
    );
    assert!(said.lines().any(|l| l.trim() == "^"), "{said}");
    // A ply that no roll is wide enough for comes out of preparation, which knows nothing of lines.
    let (code, said, line) = check(
        "[splice]                   # without this section no ply may be made of two pieces\nlap = 25\nstagger = 50\nplies_apart = 4\n",
        "\n\n\n\n",
    );
    assert_eq!(code, Some(1));
    let floor =
        said.lines().find(|l| l.contains("-floor: is ")).unwrap_or_else(|| panic!("{said}"));
    let at: usize = floor.split(':').nth(1).unwrap().parse().unwrap();
    assert!(
        at > line && said.contains(&format!("\n    {at} | templates = [\"seat\", \"floor\"")),
        "{said}"
    );
}

#[test]
fn cloth_that_does_not_suffice_is_told_at_its_section() {
    let dir = tempfile::tempdir().unwrap();
    let job = dir.path().join("job.toml");
    let text = "[job]\nname = \"keel strip\"\n\n[[cloth]]\nid = \"plain-160\"\nweave = \"plain\"\nup = \"film\"\nroll_width = 1000\nselvedge = 10\n\
                roll_length = 100\n\n[[strip]]\nid = \"keel\"\nlength = 90\nwidth = 50\n\n[[layer]]\ncloth = \"plain-160\"\nangle = 0\n\
                templates = [{ template = \"keel\", copies = 80 }]\n";
    fs::write(&job, text).unwrap();
    let out = Command::cargo_bin("warpwise")
        .unwrap()
        .arg("nest")
        .arg(&job)
        .args(["--effort", "1", "--quiet"])
        .output()
        .unwrap();
    let said = String::from_utf8(out.stderr).unwrap();
    assert_eq!(out.status.code(), Some(3), "{said}");
    assert!(
        said.contains("job.toml:5:6: ") && said.contains("\n    5 | id = \"plain-160\"\n"),
        "{said}"
    );
}

#[test]
fn warnings_show_their_line_too() {
    let (code, said, line) = check("gap = 5 ", "trim_ = 5");
    assert!(code == Some(1) && said.contains(&format!("    {line} | trim_ = 5")), "{said}");
    assert!(said.contains("    to paste:\n        trim = 5"), "{said}");
    let (code, said, line) =
        check("trim = 25                  # cloth beyond free edges", "trim = 4");
    assert!(
        code == Some(0)
            && said.contains("warning: ")
            && said.contains(&format!("\n    {line} | trim = 4\n")),
        "{said}"
    );
}
