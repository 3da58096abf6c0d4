//! Jobs made at random are planned, or refused for a reason that is named; never by the program's
//! own verification. What is cut is worked out again (`random_support/judge.rs`).
//!
//! `WARPWISE_JOBS=1000` for more of them, `WARPWISE_JOBS_FROM=40` to begin elsewhere.
#![allow(clippy::unwrap_used, clippy::print_stdout)]

#[path = "random_support/mod.rs"]
mod random_support;

use random_support::judge::wrong_pieces;
use std::fs;
use std::sync::atomic::{AtomicU64, Ordering};
use warpwise::job::load;
use warpwise::planner::{self, Refusal};
use warpwise::run::{Run, Stop};
use warpwise::stock::{Day, Snapshot};

enum End {
    Planned,
    Refused(String),
    Wrong(String),
}

fn number(name: &str, default: u64) -> u64 {
    std::env::var(name).ok().and_then(|n| n.parse().ok()).unwrap_or(default)
}

#[test]
fn random_jobs_are_planned_or_refused_with_a_reason() {
    let (first, count) = (number("WARPWISE_JOBS_FROM", 0), number("WARPWISE_JOBS", 40));
    // Threads of their own: a pool that planning shares would take up a job while another waits on
    // the same stack.
    let next = AtomicU64::new(first);
    let work = || {
        let one = || Some(next.fetch_add(1, Ordering::Relaxed)).filter(|k| *k < first + count);
        std::iter::from_fn(one).map(|k| (k, unharmed(k))).collect::<Vec<_>>()
    };
    let mut ends: Vec<(u64, End)> = std::thread::scope(|scope| {
        let cores = std::thread::available_parallelism().map_or(1, usize::from);
        let workers: Vec<_> = (0..cores).map(|_| scope.spawn(work)).collect();
        workers.into_iter().flat_map(|w| w.join().unwrap()).collect()
    });
    ends.sort_by_key(|(k, _)| *k);
    let refusals = ends.iter().filter_map(|(k, e)| {
        if let End::Refused(why) = e { Some(format!("job {k}: {why}")) } else { None }
    });
    let refused = refusals.inspect(|why| println!("refused {why}")).count();
    let wrong: Vec<String> =
        ends.iter()
            .filter_map(|(k, e)| {
                if let End::Wrong(why) = e { Some(format!("job {k}: {why}")) } else { None }
            })
            .collect();
    println!(
        "{count} jobs: {} planned, {refused} refused, {} wrong",
        ends.len() - refused - wrong.len(),
        wrong.len()
    );
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
    assert!(3 * refused < ends.len(), "{refused} of {count} refused: jobs that nobody would make");
}

/// One job; a panic is told as what is wrong with it.
fn unharmed(k: u64) -> End {
    std::panic::catch_unwind(|| run(k)).unwrap_or_else(|panic| {
        let text = panic
            .downcast_ref::<String>()
            .cloned()
            .or_else(|| panic.downcast_ref::<&str>().map(|t| (*t).to_string()));
        End::Wrong(format!("panicked: {}", text.unwrap_or_default()))
    })
}

/// The same, from files to the pieces on the cloth.
fn run(k: u64) -> End {
    let folder = tempfile::tempdir().unwrap();
    random_support::write_job(folder.path(), k);
    let named = |faults: &warpwise::fault::Faults| {
        let blank = faults.0.iter().find(|f| f.what.is_empty() || f.remedy.is_empty());
        if faults.0.is_empty() || blank.is_some() {
            End::Wrong(format!("refused without a reason: {faults}"))
        } else {
            End::Refused(faults.0[0].what.to_string())
        }
    };
    let (job, _) = match load(&folder.path().join("job.toml")) {
        Ok(loaded) => loaded,
        Err(faults) => return named(&faults),
    };
    let run = Run::new(Stop::Effort(0)).with_threads(1);
    let jobs = std::slice::from_ref(&job);
    let planned = match fs::read_to_string(folder.path().join("stock.json")) {
        Ok(text) => {
            let stock = Snapshot::from_json(&text, Day::parse("2026-11-25").unwrap()).unwrap();
            planner::plan_from_stock(jobs, &stock, 1, &run)
        }
        Err(_) => planner::plan(jobs, 1, &run),
    };
    match planned {
        Ok(plan) => wrong_pieces(plan.plan()).map_or(End::Planned, End::Wrong),
        Err(Refusal::Input(faults)) => named(&faults),
        // The rolls of these jobs have no end.
        Err(Refusal::NotPlaced(faults)) => End::Wrong(format!("not placed: {faults}")),
        Err(Refusal::NotVerified(faults)) => End::Wrong(format!("not verified: {faults}")),
        Err(Refusal::Stopped(fault)) => End::Wrong(format!("stopped: {fault}")),
    }
}
