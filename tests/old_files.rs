//! Files of earlier builds of 0.1.0: what the first build with a ledger wrote is read, planned on,
//! booked and taken back by today's. `tests/data/0.1.0` holds them as that build left them, its
//! ledger (schema 2) as SQL, with the records' tag named as builds half an hour younger have it.
#![allow(clippy::unwrap_used)]

use std::fs;
use std::path::{Path, PathBuf};
use warpwise::ledger::{Ledger, Moment, PieceState, Record, Trouble};
use warpwise::planner;
use warpwise::run::{Run, Stop};
use warpwise::stock::{Day, Snapshot};
use warpwise::{job, plan, sheet, verify};

fn old(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/data/0.1.0").join(name)
}

fn text(name: &str) -> String {
    fs::read_to_string(old(name)).unwrap()
}

fn now() -> Moment {
    Moment { seconds: 1_796_000_000, day: Day::parse("2026-11-29").unwrap() }
}

/// The old ledger's file.
fn ledger(dir: &Path) -> PathBuf {
    ledger_of(dir, &text("ledger.sql"))
}

fn ledger_of(dir: &Path, text: &str) -> PathBuf {
    let file = dir.join("stock.sqlite");
    let db = rusqlite::Connection::open(&file).unwrap();
    db.execute_batch(text).unwrap();
    file
}

/// Version 3 had hashes and no ticks, version 4 no index of what changed a thing: what was damaged
/// before it is brought up is found out.
#[test]
fn a_ledger_before_ticks_is_brought_up_and_its_damage_is_not_sealed_in() {
    brought_up("ledger-3.sql", ".version-3");
    brought_up("ledger-4.sql", ".version-4");
}

fn brought_up(name: &str, as_it_was: &str) {
    let old = text(name);
    let dir = tempfile::tempdir().unwrap();
    let file = ledger_of(dir.path(), &old);
    let mut ledger = Ledger::write(&file).unwrap();
    ledger.check().unwrap();
    let mut version = file.as_os_str().to_os_string();
    version.push(as_it_was);
    assert!(Path::new(&version).exists(), "the file as it was is kept");
    assert!(ledger.history(99).unwrap().iter().any(|e| e.undone));
    ledger.undo(&now()).unwrap();
    ledger.check().unwrap();
    let damaged = old.replace("\"length\":5000.0", "\"length\":6000.0");
    assert_ne!(damaged, old);
    let dir = tempfile::tempdir().unwrap();
    let file = ledger_of(dir.path(), &damaged);
    for _ in 0..2 {
        let found = Ledger::write(&file).map(|_| ()).unwrap_err();
        assert!(matches!(found, Trouble::Damaged(_)), "{found:?}");
    }
}

#[test]
fn an_old_ledger_is_brought_up_with_all_that_was_in_it() {
    let dir = tempfile::tempdir().unwrap();
    let file = ledger(dir.path());
    let records = {
        let db = rusqlite::Connection::open(&file).unwrap();
        db.query_row("SELECT count(*) FROM record", [], |r| r.get::<_, i64>(0)).unwrap()
    };
    let mut ledger = Ledger::read(&file).unwrap();
    ledger.check().unwrap();
    let kinds = ["roll", "offcut", "consumable", "piece", "plan"];
    let kept: usize = kinds.iter().map(|kind| ledger.records(kind).unwrap().len()).sum();
    assert_eq!(kept as i64, records);
    let mut version = file.as_os_str().to_os_string();
    version.push(".version-2");
    assert!(Path::new(&version).exists(), "the file as it was is kept");
    let history = ledger.history(usize::MAX).unwrap();
    assert!(history.len() > 5 && history.iter().any(|e| e.undone));
    // It goes on: a change, undo of the old build's last change, export and import.
    let before: Vec<Record> = ledger.records("roll").unwrap();
    ledger.remove(&[before[0].id()], &now()).unwrap();
    ledger.undo(&now()).unwrap();
    assert_eq!(ledger.records("roll").unwrap(), before);
    ledger.undo(&now()).unwrap();
    ledger.check().unwrap();
    let text = ledger.export(&now()).unwrap();
    let mut second = Ledger::write(&dir.path().join("second.sqlite")).unwrap();
    assert!(second.import(&text, &now()).unwrap().whole);
    assert_eq!(second.export(&now()).unwrap(), text);
}

#[test]
fn an_old_export_becomes_the_same_ledger() {
    let dir = tempfile::tempdir().unwrap();
    let mut ledger = Ledger::write(&dir.path().join("stock.sqlite")).unwrap();
    ledger.import(&text("stock.json"), &now()).unwrap();
    ledger.check().unwrap();
    let stock = Snapshot::from_json(&text("stock.json"), now().day).unwrap();
    let (_, counts) = ledger.list(None).unwrap();
    assert_eq!((counts.rolls, counts.offcuts), (stock.rolls.len(), stock.offcuts.len()));
}

#[test]
fn an_old_plan_is_drawn_and_booked_on_the_old_ledger() {
    let dir = tempfile::tempdir().unwrap();
    let read = plan::from_json(&text("plan.json")).unwrap_or_else(|f| panic!("{f}"));
    assert!(read.id != read.content_id() && read.is_as_planned(), "it has fewer fields");
    let edited = text("plan.json").replace("\"seed\": 1", "\"seed\": 2");
    let changed = plan::from_json(&edited).unwrap_or_else(|f| panic!("{f}"));
    assert!(!changed.is_as_planned(), "a plan that was edited is known as one");
    let verified = verify::verify(read).unwrap_or_else(|f| panic!("{f}"));
    assert!(!sheet::cut_sheets(&verified, None).is_empty());
    assert!(sheet::report(&verified, &[]).contains("</html>"));
    let mut ledger = Ledger::write(&ledger(dir.path())).unwrap();
    let booked = ledger.book(&verified, &[], &now()).unwrap();
    assert!(booked.pieces > 0);
    let cut = ledger.pieces_of(verified.plan()).unwrap();
    assert!(cut.iter().all(|p| p.state == PieceState::Cut));
}

#[test]
fn an_old_job_is_planned() {
    let (job, _) = job::load(&old("job.toml")).unwrap_or_else(|f| panic!("{f}"));
    let run = Run::new(Stop::Effort(1)).with_threads(1);
    let verified = planner::plan(&[job], 1, &run).unwrap();
    // The same pieces as in the old build's plan.
    let then = plan::from_json(&text("plan.json")).unwrap_or_else(|f| panic!("{f}"));
    let area = |p: &plan::Plan| p.cloths.iter().map(|c| c.pieces_area).sum::<f64>();
    let (now, then) = (area(verified.plan()), area(&then));
    assert!((now - then).abs() < 1.0, "{now} mm² of pieces, {then} then");
}
