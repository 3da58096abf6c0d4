//! What a stranger's file, a full disk or a hurried user may not do: drive the terminal, hang the
//! command, overwrite or lose anything.
#![allow(clippy::unwrap_used)]

use assert_cmd::Command;
use std::fs;
use std::path::Path;

fn warpwise() -> Command {
    let mut command = Command::cargo_bin("warpwise").unwrap();
    command.timeout(std::time::Duration::from_secs(300));
    command
}

fn text(bytes: &[u8]) -> String {
    String::from_utf8_lossy(bytes).into_owned()
}

/// A small job and its plan in a folder.
fn planned(dir: &Path) {
    let done = |out: std::process::Output| assert!(out.status.success(), "{}", text(&out.stderr));
    done(warpwise().arg("new").arg(dir).arg("demo-data/hatch-cover.svg").output().unwrap());
    done(
        warpwise()
            .arg("nest")
            .arg(dir.join("job.toml"))
            .args(["--effort", "1", "--quiet"])
            .output()
            .unwrap(),
    );
}

fn obeyed(shown: &str) -> bool {
    shown.chars().any(|c| c.is_control() && c != '\n' || ('\u{202a}'..='\u{202e}').contains(&c))
}

/// Keys, station cells, names of files: all of it reached the terminal as it stood.
#[test]
fn text_out_of_files_cannot_drive_the_terminal() {
    let dir = tempfile::tempdir().unwrap();
    let evil = "\u{1b}[2J\u{9b}31m\u{202e}\u{7}";
    let write = |name: &str, content: String| {
        let path = dir.path().join(name);
        fs::write(&path, content).unwrap();
        path
    };
    let job = write(
        &format!("job{evil}.toml"),
        format!("[job]\nname = \"x\"\n\"{}\" = 1\n[[{}]]\n", "\\u001b[2J\\u202e", "cloth"),
    );
    let plan = write(
        "plan.json",
        format!("{{\"schema\": 1, \"{}\": 1, \"tool\": \"{}\"}}", "\\u001b[2J", "\\u202ex"),
    );
    let stock = write("stock.json", format!("{{\"schema\": 1, \"\\u001b[2J{}\": []}}", "\\u202e"));
    let stations =
        write("stations.csv", format!("station_mm,left_mm,right_mm\n0,1,{evil}\n5,{evil},2\n"));
    let csv = write("points.csv", format!("x_mm,y_mm,line\n0,{evil},{evil}\n"));
    let svg = write(
        "a.svg",
        format!("<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"9{evil}\"/>")
            .replace(['\u{1b}', '\u{7}'], "\u{85}"),
    );
    let ledger = dir.path().join("l.sqlite");
    let runs: [&[&std::ffi::OsStr]; 6] = [
        &["check".as_ref(), job.as_ref()],
        &["sheets".as_ref(), plan.as_ref()],
        &[
            "stock".as_ref(),
            "--ledger".as_ref(),
            ledger.as_ref(),
            "import".as_ref(),
            stock.as_ref(),
        ],
        &["trace".as_ref(), "points".as_ref(), stations.as_ref()],
        &["trace".as_ref(), "points".as_ref(), csv.as_ref()],
        &["new".as_ref(), dir.path().as_ref(), svg.as_ref()],
    ];
    for arguments in runs {
        let out = warpwise().args(arguments).output().unwrap();
        let shown = text(&out.stdout) + &text(&out.stderr);
        assert!(!shown.is_empty() && !obeyed(&shown), "{arguments:?}: {shown:?}");
    }
}

/// A pipe that nobody writes into, and a device without an end, given as files.
#[cfg(target_os = "linux")]
#[test]
fn pipes_devices_and_folders_given_as_files_are_refused_at_once() {
    let dir = tempfile::tempdir().unwrap();
    let pipe = dir.path().join("pipe.csv");
    assert!(std::process::Command::new("mkfifo").arg(&pipe).status().unwrap().success());
    let kinds = [pipe.clone(), "/dev/zero".into(), dir.path().to_path_buf()];
    for file in &kinds {
        let file = file.to_str().unwrap();
        let runs: [&[&str]; 8] = [
            &["check", file],
            &["nest", file],
            &["sheets", file],
            &["new", "made", file],
            &["trace", "points", file],
            &["trace", "photo", file, "--net", "edge", "--inked", "up", "--off", "mould"],
            &["stock", "--ledger", file, "list"],
            &["stock", "--ledger", file, "out", "roll-1"],
        ];
        for arguments in runs {
            let out = warpwise().current_dir(dir.path()).args(arguments).output().unwrap();
            assert!(
                matches!(out.status.code(), Some(1 | 2 | 4)),
                "{arguments:?}: {:?} {}",
                out.status,
                text(&out.stderr)
            );
        }
    }
}

#[test]
fn a_name_given_for_a_template_stays_in_its_folder() {
    let dir = tempfile::tempdir().unwrap();
    let inner = dir.path().join("a/b/c");
    fs::create_dir_all(&inner).unwrap();
    fs::write(inner.join("p.csv"), "x_mm,y_mm\n0,0\n100,0\n100,100\n").unwrap();
    for name in ["../../../x", "/tmp/x", ".hidden", "-x", "con", "a\nb"] {
        let out = warpwise()
            .arg("trace")
            .arg("points")
            .arg(inner.join("p.csv"))
            .arg(format!("--name={name}"))
            .output()
            .unwrap();
        assert_eq!(out.status.code(), Some(2), "{name}: {}", text(&out.stderr));
    }
    assert!(!dir.path().join("x.svg").exists());
    assert!(
        warpwise()
            .args(["trace", "points"])
            .arg(inner.join("p.csv"))
            .output()
            .unwrap()
            .status
            .success()
    );
    assert!(inner.join("p.svg").is_file());
}

/// Tracing again overwrote a drawing that had been corrected by hand, and sheets deleted files that
/// only looked like theirs.
#[test]
fn files_of_the_user_are_neither_replaced_nor_removed() {
    let dir = tempfile::tempdir().unwrap();
    fs::write(dir.path().join("p.csv"), "x_mm,y_mm\n0,0\n100,0\n100,100\n").unwrap();
    let trace =
        || warpwise().args(["trace", "points"]).arg(dir.path().join("p.csv")).output().unwrap();
    assert!(trace().status.success());
    assert!(trace().status.success(), "what is unchanged is replaced");
    let drawing = dir.path().join("p.svg");
    fs::write(&drawing, "corrected by hand").unwrap();
    let out = trace();
    assert_eq!(out.status.code(), Some(2));
    assert!(text(&out.stderr).contains("stays as it is"), "{}", text(&out.stderr));
    assert_eq!(fs::read_to_string(&drawing).unwrap(), "corrected by hand");

    planned(&dir.path().join("demo"));
    let (plan, sheets) = (dir.path().join("demo/plan"), dir.path().join("sheets"));
    let write = || warpwise().arg("sheets").arg(&plan).arg("--out").arg(&sheets).output().unwrap();
    assert!(write().status.success());
    fs::write(sheets.join("99-mine.svg"), "<!-- warpwise: Cut sheet: --> mine").unwrap();
    let out = write();
    assert!(out.status.success(), "{}", text(&out.stderr));
    assert!(fs::read_to_string(sheets.join("99-mine.svg")).unwrap().contains("mine"));
    // A sheet of an earlier plan goes, unless someone wrote on it.
    let list = fs::read_to_string(sheets.join(warpwise::manifest::NAME)).unwrap();
    let mut list: serde_json::Value = serde_json::from_str(&list).unwrap();
    let known = list["files"]
        .as_object()
        .unwrap()
        .iter()
        .find(|(n, _)| n.ends_with(".svg"))
        .map(|(n, h)| (n.clone(), h.clone()))
        .unwrap();
    for name in ["98-old.svg", "97-old.svg"] {
        list["files"][name] = known.1.clone();
        fs::copy(sheets.join(&known.0), sheets.join(name)).unwrap();
    }
    fs::write(sheets.join(warpwise::manifest::NAME), list.to_string()).unwrap();
    fs::write(sheets.join("97-old.svg"), "written on").unwrap();
    let out = write();
    assert!(
        out.status.success() && text(&out.stderr).contains("97-old.svg"),
        "{}",
        text(&out.stderr)
    );
    assert!(!sheets.join("98-old.svg").exists() && sheets.join("97-old.svg").exists());
}

/// The shell was left in a deleted folder.
#[test]
fn the_folder_one_stands_in_is_not_replaced() {
    let dir = tempfile::tempdir().unwrap();
    planned(dir.path());
    let plan = dir.path().join("plan");
    let before = fs::read(plan.join("plan.json")).unwrap();
    for (here, out) in [(plan.clone(), "."), (plan.join("sheets"), "..")] {
        let run = warpwise()
            .current_dir(&here)
            .arg("nest")
            .arg(dir.path().join("job.toml"))
            .args(["--effort", "1", "--out", out])
            .output()
            .unwrap();
        assert_eq!(run.status.code(), Some(2), "{}", text(&run.stderr));
        assert!(text(&run.stderr).contains("you stand in it"), "{}", text(&run.stderr));
    }
    assert_eq!(fs::read(plan.join("plan.json")).unwrap(), before);
}

/// A finished plan was lost because its history could not be written.
#[test]
fn folders_that_cannot_be_written_are_told_before_the_search() {
    let dir = tempfile::tempdir().unwrap();
    planned(dir.path());
    let file = dir.path().join("a-file");
    fs::write(&file, "mine").unwrap();
    let nest = |extra: &[&str]| {
        warpwise()
            .arg("nest")
            .arg(dir.path().join("job.toml"))
            .args(["--seconds", "100000"])
            .args(extra)
            .output()
            .unwrap()
    };
    let below = file.join("below");
    for (flag, place) in [("--history", &file), ("--history", &below), ("--out", &below)] {
        let out = nest(&[flag, place.to_str().unwrap()]);
        assert!(matches!(out.status.code(), Some(2 | 4)), "{flag}: {}", text(&out.stderr));
    }
}

/// Standard error is a full disk: the work is done all the same.
#[cfg(target_os = "linux")]
#[test]
fn nobody_at_standard_error_changes_nothing() {
    let dir = tempfile::tempdir().unwrap();
    planned(dir.path());
    let full = || fs::OpenOptions::new().write(true).open("/dev/full").unwrap();
    let program = assert_cmd::cargo::cargo_bin("warpwise");
    let job = dir.path().join("job.toml");
    let mut nest = std::process::Command::new(&program);
    let done = nest
        .arg("nest")
        .arg(&job)
        .args(["--effort", "1"])
        .stderr(full())
        .stdout(std::process::Stdio::null())
        .status()
        .unwrap();
    assert_eq!(done.code(), Some(0));
    let bad = dir.path().join("bad.toml");
    fs::write(&bad, "x = ").unwrap();
    let done = std::process::Command::new(&program)
        .arg("check")
        .arg(&bad)
        .stderr(full())
        .status()
        .unwrap();
    assert_eq!(done.code(), Some(1));
    let done = std::process::Command::new(&program)
        .arg("check")
        .arg(&job)
        .stdout(full())
        .stderr(full())
        .status()
        .unwrap();
    assert_eq!(done.code(), Some(4), "what was asked for could not be given");
}

/// The disk fails when the search is done: the plan was lost.
#[cfg(target_os = "linux")]
#[test]
fn a_plan_whose_folder_cannot_be_written_is_saved_elsewhere() {
    let dir = tempfile::tempdir().unwrap();
    planned(dir.path());
    let size = |name: &str| fs::metadata(dir.path().join("plan").join(name)).unwrap().len();
    // No file may be larger than the plan itself; the report is.
    let blocks = size("plan.json") / 512 + 4;
    assert!(size("report.html") > blocks * 512, "{} of {}", size("report.html"), size("plan.json"));
    let program = assert_cmd::cargo::cargo_bin("warpwise");
    let script = format!(
        "trap '' XFSZ; ulimit -f {blocks}; exec \"$0\" nest job.toml --effort 1 --quiet --out new"
    );
    let out = std::process::Command::new("sh")
        .args(["-c", &script])
        .arg(&program)
        .current_dir(dir.path())
        .output()
        .unwrap();
    assert_eq!(out.status.code(), Some(4), "{}", text(&out.stderr));
    assert!(
        text(&out.stderr).contains("the plan is whole and saved here"),
        "{}",
        text(&out.stderr)
    );
    assert!(!dir.path().join("new").exists());
    let names = fs::read_dir(dir.path())
        .unwrap()
        .map(|e| e.unwrap().file_name().to_string_lossy().into_owned());
    let saved = names.into_iter().find(|n| n.starts_with("plan-") && n.ends_with(".json")).unwrap();
    let drawn = warpwise().current_dir(dir.path()).args(["sheets", &saved]).output().unwrap();
    assert!(drawn.status.success(), "{}", text(&drawn.stderr));
}
