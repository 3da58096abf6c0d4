//! The stock from outside: jobs that name it, sheets that look at its dates, labels, and an old
//! offcut before a new one.
#![allow(clippy::unwrap_used)]

mod plan_schema;

use assert_cmd::Command;
use std::fs;
use std::path::Path;
use warpwise::geometry::point;
use warpwise::plan::{Plan, StockKind};
use warpwise::stock::OffcutFacts;

const JOB: &str = r#"stock = "kept.json"
[job]
name = "tapes"
[cutting]
gap = 5
[[cloth]]
id = "twill"
weave = "plain"
up = "paper"
roll_width = 1000
selvedge = 10
[[strip]]
id = "long"
length = 900
width = 200
[[strip]]
id = "short"
length = 250
width = 100
[[layer]]
cloth = "twill"
angle = 0
templates = ["long", "short"]
"#;

/// A stock file with a roll and two offcuts that both take the short strip.
fn stock(first: &str, second: &str, consumables: &str) -> String {
    format!(
        r#"{{ "schema": 1,
  "rolls": [ {{ "id": "roll-1", "cloth": "twill", "width": 1000, "length": 9000, "added": "2026-01-05" }} ],
  "offcuts": [ {{ "id": "off-1", "cloth": "twill", "outline": [[0,0],[320,0],[320,180],[0,180]], {first} }},
               {{ "id": "off-2", "cloth": "twill", "outline": [[0,0],[320,0],[320,180],[0,180]], {second} }} ],
  "consumables": [ {consumables} ] }}"#
    )
}

const NEW: &str = r#""added": "2026-11-20""#;
const OLD: &str = r#""added": "2025-03-02""#;

fn warpwise(dir: &Path, words: &[&str]) -> (Option<i32>, String, String) {
    let out =
        Command::cargo_bin("warpwise").unwrap().current_dir(dir).args(words).output().unwrap();
    let text = |bytes: &[u8]| String::from_utf8_lossy(bytes).into_owned();
    (out.status.code(), text(&out.stdout), text(&out.stderr))
}

fn planned(dir: &Path, words: &[&str]) -> Plan {
    let all: Vec<&str> = ["nest", "job.toml", "--effort", "1", "--threads", "1", "--quiet"]
        .iter()
        .chain(words)
        .copied()
        .collect();
    let (code, _, said) = warpwise(dir, &all);
    assert_eq!(code, Some(0), "{said}");
    let text = fs::read_to_string(dir.join("plan/plan.json")).unwrap();
    plan_schema::file_keeps_to_schema(&text);
    warpwise::plan::from_json(&text).unwrap()
}

fn opened(plan: &Plan) -> Vec<&str> {
    plan.stocks.iter().filter(|s| s.kind == StockKind::Offcut).map(|s| s.id.as_str()).collect()
}

fn shop(text: &str) -> tempfile::TempDir {
    let dir = tempfile::tempdir().unwrap();
    fs::write(dir.path().join("job.toml"), JOB).unwrap();
    fs::write(dir.path().join("kept.json"), text).unwrap();
    dir
}

#[test]
fn a_job_is_planned_from_the_stock_it_names_and_the_flag_goes_before() {
    let dir = shop(&stock(NEW, NEW, ""));
    let plan = planned(dir.path(), &[]);
    assert_eq!(opened(&plan).len(), 1);
    assert!(plan.drawn_from.unwrap().saved[0].contains("1 offcut of cloth twill"));
    let other = stock(NEW, NEW, "")
        .replace("off-1", "off-71")
        .replace("[320,180],[0,180]", "[320,18],[0,18]")
        .replace("off-2", "off-72");
    fs::write(dir.path().join("other.json"), other).unwrap();
    let plan = planned(dir.path(), &["--stock", "other.json"]);
    assert!(opened(&plan).is_empty() && plan.drawn_from.is_some(), "strips do not fit those");

    fs::remove_file(dir.path().join("kept.json")).unwrap();
    let (code, _, said) = warpwise(dir.path(), &["nest", "job.toml", "--effort", "1", "--quiet"]);
    assert!(
        code == Some(1) && said.contains("kept.json") && said.contains("cannot be read"),
        "{said}"
    );
}

#[test]
fn jobs_that_name_different_stocks_are_not_planned_together() {
    let dir = shop(&stock(NEW, NEW, ""));
    fs::write(
        dir.path().join("second.toml"),
        JOB.replace("kept", "other").replace("\"tapes\"", "\"more tapes\""),
    )
    .unwrap();
    fs::write(dir.path().join("other.json"), stock(NEW, NEW, "")).unwrap();
    let (code, _, said) =
        warpwise(dir.path(), &["nest", "job.toml", "second.toml", "--effort", "1", "--quiet"]);
    assert!(
        code == Some(1) && said.contains("different stocks") && said.contains("--stock"),
        "{said}"
    );
    let (code, _, said) = warpwise(
        dir.path(),
        &["nest", "job.toml", "second.toml", "--effort", "1", "--quiet", "--stock", "kept.json"],
    );
    assert_eq!(code, Some(0), "{said}");
}

#[test]
fn of_offcuts_alike_the_older_or_sooner_over_is_cut_first() {
    let soon = r#""added": "2026-11-20", "age": { "expiry": "2099-01-01" }"#;
    let late = r#""added": "2026-11-20", "age": { "expiry": "2099-12-01" }"#;
    for (first, second, want) in [
        (NEW, OLD, "off-2"),
        (OLD, NEW, "off-1"),
        (late, soon, "off-2"),
        (soon, late, "off-1"),
        (OLD, soon, "off-2"),
    ] {
        let dir = shop(&stock(first, second, ""));
        assert_eq!(opened(&planned(dir.path(), &[])), [want], "{first} and {second}");
    }
}

#[test]
fn the_lay_up_sheet_looks_at_the_dates_in_the_stock_of_today() {
    let dir = shop(&stock(NEW, NEW, ""));
    planned(dir.path(), &[]);
    let (_, shown, _) = warpwise(dir.path(), &["layup", "plan", "--stock", "kept.json"]);
    assert!(!shown.contains("WARNING"), "{shown}");
    // Since then the wax was found to be past its date, and so the roll; an offcut that the plan
    // does not cut is nobody's business.
    let wax =
        r#"{ "id": "con-1", "kind": "release-agent", "name": "wax", "expiry": "2026-06-01" }"#;
    let text = stock(NEW, NEW, wax)
        .replace(r#""length": 9000,"#, r#""length": 9000, "age": { "expiry": "2026-10-01" },"#);
    fs::write(dir.path().join("kept.json"), text).unwrap();
    let (code, shown, said) = warpwise(dir.path(), &["layup", "plan", "--stock", "kept.json"]);
    assert_eq!(code, Some(0), "{said}");
    for part in ["WARNING: release agent wax", "2026-06-01", "roll-1", "2026-10-01"] {
        assert!(shown.contains(part), "{part} in {shown}");
    }
    assert_eq!(warpwise(dir.path(), &["layup", "plan", "--stock", "nowhere.json"]).0, Some(1));
}

#[test]
fn labels_of_offcuts_fill_sheets_of_fourteen() {
    let facts: OffcutFacts =
        serde_json::from_str(r#"{ "id": "off-1", "cloth": "twill", "outline": [[0,0],[320,0],[320,180],[0,180]], "added": "2026-01-05" }"#)
            .unwrap();
    for (count, pages) in [(1, 1), (14, 1), (15, 2), (29, 3)] {
        let offcuts: Vec<OffcutFacts> =
            (1..=count).map(|k| OffcutFacts { id: format!("off-{k}"), ..facts.clone() }).collect();
        let written = warpwise::sheet::stock_labels(&[], &offcuts, None);
        assert!(
            written.bytes.starts_with(b"%PDF") && written.pages == pages,
            "{count}: {} pages",
            written.pages
        );
    }
}

#[test]
fn one_thing_is_shown_in_words_with_what_was_done_with_it() {
    let dir = shop(&stock(
        NEW,
        r#""added": "2026-11-20", "holes": [[[60,100],[60,140],[100,140],[100,100]]], "parent": "roll-1""#,
        "",
    ));
    let stock = |words: &[&str]| {
        let all: Vec<&str> =
            ["stock", "--ledger", "stock.sqlite"].iter().chain(words).copied().collect();
        let (code, shown, said) = warpwise(dir.path(), &all);
        assert_eq!(code, Some(0), "{said}");
        shown
    };
    stock(&["import", "kept.json"]);
    stock(&["out", "off-2"]);
    let shown = stock(&["show", "off-2"]);
    for part in [
        "offcut of",
        "320 mm along the warp × 180 mm, 0.056 m², 4 corners",
        "left over from",
        "is out now",
        "imported 3 things",
    ] {
        assert!(shown.contains(part), "{part} in {shown}");
    }
    assert!(shown.lines().last().unwrap().ends_with("out of the freezer: off-2"), "{shown}");
    assert!(!stock(&["show", "off-1"]).contains("out of the freezer: off-2"));
    let json: OffcutFacts = serde_json::from_str(&stock(&["show", "off-2", "--json"])).unwrap();
    assert!(json.age.is_out && json.holes.len() == 1);
}

#[test]
fn a_flaw_of_the_job_is_not_ignored_because_the_stock_has_a_roll() {
    let dir = tempfile::tempdir().unwrap();
    let dir = dir.path();
    let job =
        JOB.replace("stock = \"kept.json\"\n", "").replace("[[strip]]\nid = \"long\"", FLAWED);
    fs::write(dir.join("job.toml"), job).unwrap();
    let add = [
        "stock",
        "--ledger",
        "s.sqlite",
        "add",
        "roll",
        "--cloth",
        "twill",
        "--new-cloth",
        "--width",
        "1000",
        "--length",
        "9000",
    ];
    assert_eq!(warpwise(dir, &add).0, Some(0));
    let nest = ["nest", "job.toml", "--effort", "1", "--quiet", "--stock", "s.sqlite"];
    let (code, _, said) = warpwise(dir, &nest);
    assert_eq!(code, Some(1), "{said}");
    assert!(said.contains("cloth twill") && said.contains("job.toml"), "{said}");
    // What it advises is what helps.
    let advice = "stock set roll-1 --flaw 0..250,100..990";
    assert!(said.contains(advice), "{said}");
    let set: Vec<&str> =
        ["stock", "--ledger", "s.sqlite"].into_iter().chain(advice.split(' ').skip(1)).collect();
    let (code, shown, said) = warpwise(dir, &set);
    assert_eq!(code, Some(0), "{said}");
    assert!(shown.contains("flaw"), "{shown}");
    // Now the roll has it: the job may leave it in or take it out.
    let with = planned(dir, &["--stock", "s.sqlite"]);
    assert_eq!(
        with.stocks[0].flaws,
        [[[0.0, 100.0], [250.0, 100.0], [250.0, 990.0], [0.0, 990.0]]
            .map(|[x, y]| point(x, y))
            .to_vec()]
    );
    // The job's own roll has the flaw too, and without a stock that is the roll.
    assert_eq!(planned(dir, &[]).stocks[0].flaws, with.stocks[0].flaws);
}

const FLAWED: &str =
    "[[cloth.flaw]]\nfrom = 0\nto = 250\nlow = 100\nhigh = 990\n[[strip]]\nid = \"long\"";
