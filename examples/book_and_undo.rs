//! Plans strips from a ledger's roll, books them as cut, and takes that back.
//!
//! `cargo run --release --example book_and_undo -- demo-data/stock.json`

use std::path::PathBuf;
use warpwise::fault::{Fault, Faults};
use warpwise::ledger::{Booked, Ledger, Moment};
use warpwise::planner;
use warpwise::run::{Run, Stop};
use warpwise::workshop::faults_of;

const JOB: &str = r#"
[job]
name = "Joint tapes"
[cutting]
gap = 2
[[cloth]]
id = "twill-204"
weave = "twill 2/2"
twill_line = 45
up = "paper"
roll_width = 1250
selvedge = 10
[[strip]]
id = "tape"
length = 600
width = 60
[[layer]]
cloth = "twill-204"
angle = 45
templates = [{ template = "tape", copies = 4 }]
"#;

/// What booking took and brought; the stock is then as it was.
///
/// # Errors
/// A stock that cannot be read, no room for the tapes, a folder that cannot be written.
pub fn booked_and_undone(stock: &str, now: &Moment) -> Result<Booked, Faults> {
    let trouble = |e: std::io::Error| {
        Fault::new(warpwise::fault::Said::came(e.to_string()), "give it a folder to write in")
    };
    let folder = tempfile::tempdir().map_err(trouble)?;
    let mut ledger = Ledger::write(&folder.path().join("stock.ledger")).map_err(faults_of)?;
    ledger.import(stock, now).map_err(faults_of)?;
    let before = ledger.snapshot(now).map_err(faults_of)?;

    let (job, _warnings) = warpwise::job::parse(JOB, &folder.path().join("job.toml"))?;
    let run = Run::new(Stop::Effort(1)).with_day(now.day);
    let plan = planner::plan_from_stock(&[job], &before, 1, &run)
        .map_err(planner::Refusal::into_faults)?;
    let booked = ledger.book(&plan, &[], now).map_err(faults_of)?;
    ledger.undo(now).map_err(faults_of)?;

    let after = ledger.snapshot(now).map_err(faults_of)?;
    let names = |s: &warpwise::stock::Snapshot| {
        s.offcuts.iter().map(|o| o.id().to_string()).collect::<Vec<_>>()
    };
    if names(&before) != names(&after) {
        return Err(Fault::new("undoing left another stock", "tell the makers").into());
    }
    Ok(booked)
}

#[allow(clippy::print_stdout, dead_code)]
fn main() -> Result<(), Faults> {
    let file = std::env::args_os().nth(1).map_or("demo-data/stock.json".into(), PathBuf::from);
    let stock = std::fs::read_to_string(&file).map_err(|e| {
        Fault::new(warpwise::said!("it cannot be read: {e}"), "name an export").in_file(&file)
    })?;
    let booked = booked_and_undone(&stock, &Moment::now())?;
    println!("{} pieces cut, {} offcuts kept; all taken back", booked.pieces, booked.added.len());
    Ok(())
}
