//! Whole jobs: files drawn by the bytes, planned, verified, and every ply worked out again.

#[path = "../random_support/mod.rs"]
pub mod random_support;

use random_support::judge;
use warpwise::planner::{self, Refusal};
use warpwise::run::{Run, Stop};
use warpwise::stock::{Day, Snapshot};
use warpwise::{job, plan};

pub fn whole_job(bytes: &[u8]) {
    let memory = std::path::Path::new("/dev/shm");
    let made = if memory.is_dir() { tempfile::tempdir_in(memory) } else { tempfile::tempdir() };
    let folder = made.unwrap_or_else(|why| panic!("{why}"));
    random_support::write_job_by(folder.path(), bytes);
    let reasons = |faults: &warpwise::fault::Faults| {
        let mute = faults.0.is_empty() || faults.0.iter().any(|f| f.what.is_empty());
        assert!(!mute, "refused without a reason: {faults}");
    };
    let job = match job::load(&folder.path().join("job.toml")) {
        Ok((job, _)) => job,
        Err(faults) => return reasons(&faults),
    };
    let run = Run::new(Stop::Effort(1)).with_threads(1);
    let jobs = std::slice::from_ref(&job);
    let planned = match std::fs::read_to_string(folder.path().join("stock.json")) {
        Ok(text) => {
            let day = Day::parse("2026-11-25").unwrap_or_else(|why| panic!("{why}"));
            let stock = Snapshot::from_json(&text, day).unwrap_or_else(|why| panic!("{why}"));
            planner::plan_from_stock(jobs, &stock, 1, &run)
        }
        Err(_) => planner::plan(jobs, 1, &run),
    };
    match planned {
        Ok(verified) => {
            let plan = verified.plan();
            assert!(plan::from_json(&plan::to_json(plan)).as_ref() == Ok(plan));
            if let Some(why) = judge::wrong_pieces(plan) {
                panic!("{why}");
            }
        }
        Err(Refusal::Input(faults)) => reasons(&faults),
        // The rolls of these jobs have no end.
        Err(Refusal::NotPlaced(faults)) => panic!("not placed: {faults}"),
        Err(Refusal::NotVerified(faults)) => panic!("not verified: {faults}"),
        Err(Refusal::Stopped(fault)) => panic!("stopped: {fault}"),
    }
}
