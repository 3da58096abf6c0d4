//! The program where there is little: no home folder, no locale, no terminal, a current folder that
//! cannot be written, names with spaces and letters of any script, names that differ in case alone.
#![allow(clippy::unwrap_used)]

use std::fs;
use std::path::Path;
use std::process::{Command, Output, Stdio};

/// The program with an empty environment, and nothing to read.
fn bare(here: &Path) -> Command {
    let mut command = Command::new(assert_cmd::cargo::cargo_bin("warpwise"));
    command.env_clear().current_dir(here).stdin(Stdio::null());
    command
}

fn done(out: Output) -> String {
    let text = |bytes: &[u8]| String::from_utf8_lossy(bytes).into_owned();
    assert!(out.status.success(), "{:?}: {}", out.status, text(&out.stderr));
    assert!(!out.stderr.contains(&0x1b) && !out.stdout.contains(&0x1b), "no terminal is there");
    text(&out.stdout)
}

/// A job of one drawing, and its plan.
fn planned(here: &Path, dir: &str) {
    let drawing = Path::new(env!("CARGO_MANIFEST_DIR")).join("demo-data/hatch-cover.svg");
    done(bare(here).arg("new").arg(dir).arg(drawing).output().unwrap());
    let job = Path::new(dir).join("job.toml");
    done(bare(here).arg("nest").arg(job).args(["--effort", "1"]).output().unwrap());
}

#[test]
fn without_home_locale_and_terminal_everything_works_and_the_ledger_is_asked_for() {
    let here = tempfile::tempdir().unwrap();
    planned(here.path(), "job");
    assert!(here.path().join("job/plan/plan.json").is_file());
    // Where nobody says where the ledger is and there is no folder for it, that is said.
    let out = bare(here.path()).args(["stock", "list"]).output().unwrap();
    let said = String::from_utf8_lossy(&out.stderr).into_owned();
    assert!(matches!(out.status.code(), Some(1 | 2)) && said.contains("--ledger"), "{said}");
    let add = ["add", "roll", "--cloth", "twill", "--width", "1000", "--new-cloth"];
    done(bare(here.path()).args(["stock", "--ledger", "l.sqlite"]).args(add).output().unwrap());
    let list =
        done(bare(here.path()).args(["stock", "--ledger", "l.sqlite", "list"]).output().unwrap());
    assert!(list.contains("roll-1"), "{list}");
}

#[test]
fn names_with_spaces_and_letters_of_any_script_are_names_like_others() {
    let home = tempfile::tempdir().unwrap();
    let here = home.path().join("Möwe 海 \"a\" & 'b' %20 #1");
    fs::create_dir(&here).unwrap();
    planned(&here, "Lukendeckel ÄÖ 舱盖");
    let plan = here.join("Lukendeckel ÄÖ 舱盖/plan");
    for file in ["plan.json", "report.html", "overview.svg"] {
        assert!(plan.join(file).is_file(), "{file}");
    }
    done(bare(&here).arg("sheets").arg(&plan).args(["--out", "Blätter für A"]).output().unwrap());
    let sheets = fs::read_dir(here.join("Blätter für A")).unwrap().count();
    assert!(sheets > 1);
    // Names of files that we make are plain, whatever the names in the job.
    for entry in fs::read_dir(plan.join("sheets")).unwrap() {
        let name = entry.unwrap().file_name();
        assert!(name.to_str().is_some_and(|n| n.is_ascii() && !n.contains(' ')), "{name:?}");
    }
    let ledger = ["stock", "--ledger", "Lager 1.sqlite"];
    let add = ["add", "roll", "--cloth", "Köper 2/2", "--width", "1000", "--new-cloth"];
    for _ in 0..2 {
        done(bare(&here).args(ledger).args(add).output().unwrap());
    }
    assert!(done(bare(&here).args(ledger).arg("list").output().unwrap()).contains("Köper 2/2"));
}

/// Two stocks whose names differ in case alone are two files even where a folder takes them for one.
#[test]
fn names_of_sheets_differ_by_more_than_case() {
    let here = tempfile::tempdir().unwrap();
    let mut job = String::from("[job]\nname = \"case\"\n");
    for id in ["Twill", "twill", "TWILL"] {
        job += &format!(
            "[[cloth]]\nid = \"{id}\"\nweave = \"plain\"\nup = \"paper\"\nroll_width = 500\nselvedge = 10\n\
             [[strip]]\nid = \"s-{}\"\nlength = 300\nwidth = 50\n",
            job.len()
        );
        let strip = job.rsplit_once("id = \"s-").unwrap().1.split('"').next().unwrap().to_string();
        job += &format!("[[layer]]\ncloth = \"{id}\"\nangle = 0\ntemplates = [\"s-{strip}\"]\n");
    }
    fs::write(here.path().join("job.toml"), job).unwrap();
    let nest = ["nest", "job.toml", "--effort", "1", "--history", "search"];
    let out = bare(here.path()).args(nest).output().unwrap();
    if !out.status.success() {
        // Refused is as good: then no file is written over another.
        let said = String::from_utf8_lossy(&out.stderr).into_owned();
        assert!(said.contains("wi") && out.status.code() == Some(1), "{said}");
        return;
    }
    for folder in ["plan/sheets", "plan", "search"] {
        let names = fs::read_dir(here.path().join(folder)).unwrap();
        let mut names: Vec<String> =
            names.map(|e| e.unwrap().file_name().to_string_lossy().to_lowercase()).collect();
        names.sort();
        let count = names.len();
        names.dedup();
        assert_eq!(names.len(), count, "{folder}: {names:?}");
    }
}

/// The answer is the same whether lines end as on Unix or as on Windows.
#[test]
fn files_with_the_line_ends_of_windows_are_read_the_same() {
    let here = tempfile::tempdir().unwrap();
    let drawing = "x_mm,y_mm,line\n0,0,\n300,0,\n280,150,\n0,150,\n";
    let job = "[job]\nname = \"ends\"\n[[cloth]]\nid = \"twill\"\nweave = \"plain\"\nup = \"paper\"\n\
               roll_width = 500\nselvedge = 10\n[[template]]\nid = \"t\"\nfile = \"t.csv\"\narrow = 0\n\
               taken_off = \"mould\"\ninked_side = \"up\"\n[[layer]]\ncloth = \"twill\"\nangle = 0\n\
               templates = [\"t\"]\n";
    let mut plans = Vec::new();
    for (name, end) in [("unix", "\n"), ("windows", "\r\n")] {
        let dir = here.path().join(name);
        fs::create_dir(&dir).unwrap();
        fs::write(dir.join("t.csv"), drawing.replace('\n', end)).unwrap();
        fs::write(dir.join("job.toml"), job.replace('\n', end)).unwrap();
        done(bare(&dir).args(["nest", "job.toml", "--effort", "1", "--quiet"]).output().unwrap());
        plans.push(fs::read(dir.join("plan/plan.json")).unwrap());
    }
    assert!(plans[0] == plans[1]);
}

/// Root may write anywhere: the folder is one that nobody can write.
#[cfg(target_os = "linux")]
#[test]
fn from_a_folder_that_cannot_be_written_plans_go_where_they_are_told() {
    let here = tempfile::tempdir().unwrap();
    planned(here.path(), "job");
    let out = here.path().join("elsewhere");
    let read_only = Path::new("/proc/self");
    let job = here.path().join("job/job.toml");
    let mut nest = bare(read_only);
    nest.arg("nest").arg(&job).args(["--effort", "1"]).arg("--out").arg(&out);
    done(nest.output().unwrap());
    assert!(out.join("plan.json").is_file());
    // Told nothing, it says what it cannot write.
    let refused = bare(read_only).args(["new", "made"]).output().unwrap();
    let said = String::from_utf8_lossy(&refused.stderr).into_owned();
    assert!(matches!(refused.status.code(), Some(2 | 4)) && said.contains("made"), "{said}");
}

/// What a shell and `man` are to read is made of the command's own definitions.
#[test]
fn completions_and_man_pages_name_every_command() {
    let here = tempfile::tempdir().unwrap();
    let help = done(bare(here.path()).arg("--help").output().unwrap());
    let commands: Vec<&str> = help
        .lines()
        .skip_while(|l| !l.starts_with("Commands:"))
        .skip(1)
        .take_while(|l| !l.trim().is_empty())
        .filter(|l| l.starts_with("  ") && !l.starts_with("   "))
        .filter_map(|l| l.split_whitespace().next())
        .collect();
    assert!(commands.contains(&"nest") && commands.contains(&"stock"), "{help}");
    for shell in ["bash", "zsh", "fish", "powershell"] {
        let script = done(bare(here.path()).args(["completions", shell]).output().unwrap());
        let missing = commands.iter().find(|c| !script.contains(**c));
        assert!(missing.is_none(), "{shell}: {missing:?}");
    }
    done(bare(here.path()).args(["man", "pages"]).output().unwrap());
    let page = |name: &str| fs::read_to_string(here.path().join("pages").join(name)).unwrap();
    assert!(page("warpwise.1").starts_with(".ie") || page("warpwise.1").contains(".TH"));
    for command in commands {
        assert!(page(&format!("warpwise-{command}.1")).contains(".SH NAME"), "{command}");
    }
    assert!(page("warpwise-stock-book.1").contains("book"));
    let version = done(bare(here.path()).arg("--version").output().unwrap());
    assert!(version.contains(env!("CARGO_PKG_VERSION")) && version.contains("built in"));
}
