//! Stock files and ledgers: what is taken is sound and comes out again as it is.

use std::path::PathBuf;
use warpwise::ledger::{Ledger, Moment, Trouble, box_page};
use warpwise::stock::{Day, Snapshot};

fn now() -> Moment {
    let day = Day::try_from("2026-11-25".to_string());
    Moment { seconds: 1_795_608_000, day: day.unwrap_or_else(|why| panic!("{why}")) }
}

fn heard(trouble: &Trouble) {
    let (Trouble::Input(faults) | Trouble::Machine(faults) | Trouble::Damaged(faults)) = trouble;
    assert!(!faults.is_empty(), "refused without a reason");
}

/// A folder in memory, where there is one: thousands of ledgers are written.
fn folder() -> tempfile::TempDir {
    let memory = PathBuf::from("/dev/shm");
    let made = if memory.is_dir() { tempfile::tempdir_in(memory) } else { tempfile::tempdir() };
    made.unwrap_or_else(|why| panic!("{why}"))
}

pub fn stock_file(bytes: &[u8]) {
    let text = String::from_utf8_lossy(bytes);
    if let Ok(stock) = Snapshot::from_json(&text, now().day) {
        let again = Snapshot::from_json(&stock.to_file().to_json(), now().day);
        assert!(again.as_ref() == Ok(&stock), "a stock file is not read back as it was");
        if bytes.len().is_multiple_of(16) {
            assert!(!box_page(&stock).is_empty());
        }
    }
}

/// What is imported is a sound ledger, whose export makes the same one.
pub fn import(bytes: &[u8]) {
    let text = String::from_utf8_lossy(bytes);
    // Most are no stock file at all, and a ledger on the disk is dear.
    if warpwise::stock::SnapshotFile::from_json(&text).is_err() {
        return;
    }
    let dir = folder();
    let open =
        |name: &str| Ledger::write(&dir.path().join(name)).unwrap_or_else(|why| panic!("{why:?}"));
    let mut first = open("a.sqlite");
    match first.import(&text, &now()) {
        Ok(_) => {
            first.check().unwrap_or_else(|why| panic!("it took what it calls damaged: {why:?}"));
            let out = first.export(&now()).unwrap_or_else(|why| panic!("{why:?}"));
            let mut second = open("b.sqlite");
            second.import(&out, &now()).unwrap_or_else(|why| panic!("its own export: {why:?}"));
            let again = second.export(&now()).unwrap_or_else(|why| panic!("{why:?}"));
            assert!(out == again, "export, import, export are not the same");
        }
        Err(why) => {
            heard(&why);
            let left = first.history(1).unwrap_or_else(|why| panic!("{why:?}"));
            assert!(left.is_empty(), "a refused import left something");
        }
    }
}

/// A ledger's file with anything in it: sound, or called damaged; what is called sound is listed
/// and exported.
pub fn ledger(bytes: &[u8]) {
    let dir = folder();
    let file = dir.path().join("stock.sqlite");
    std::fs::write(&file, bytes).unwrap_or_else(|why| panic!("{why}"));
    let ledger = match Ledger::read(&file) {
        Ok(ledger) => ledger,
        Err(why) => return heard(&why),
    };
    match ledger.check() {
        Ok(()) => {
            ledger.list(None).unwrap_or_else(|why| panic!("a sound ledger: {why:?}"));
            ledger.export(&now()).unwrap_or_else(|why| panic!("a sound ledger: {why:?}"));
        }
        Err(why) => {
            heard(&why);
            drop(ledger);
            assert!(Ledger::write(&file).is_err(), "a damaged ledger was changed");
        }
    }
}
