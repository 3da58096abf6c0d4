//! Runs the search on jobs like those of workshops and says how far it stays above the shortest
//! roll ever reached for each.
//!
//! `cargo bench --bench jobs -- (--seconds S | --effort N) [--seeds K] [--first SEED]
//! [--threads N] [--only a,b] [--keep]`
//!
//! `best.csv` holds the shortest lengths (`job,length_mm,seed,limit,date`); `--keep` writes those
//! that are shorter into it. Every layout is verified by `exact.rs`, which shares nothing with the
//! search.
#![allow(
    clippy::unwrap_used,
    clippy::print_stdout,
    clippy::print_stderr,
    clippy::exit,
    clippy::panic,
    missing_docs
)]

#[path = "../published/exact.rs"]
mod exact;
mod list;
mod outlines;

use list::{Job, jobs};
use std::collections::BTreeMap;
use std::fmt::Write;
use std::path::PathBuf;
use std::time::Duration;
use warpwise::nest::{Params, least_length, solve};
use warpwise::run::{Run, Stop};

struct Options {
    seconds: f64,
    effort: Option<u32>,
    seeds: u64,
    first: u64,
    threads: usize,
    only: Vec<String>,
    keep: bool,
}

fn options() -> Result<Options, String> {
    let mut o = Options {
        seconds: 20.0,
        effort: None,
        seeds: 1,
        first: 1,
        threads: 0,
        only: Vec::new(),
        keep: false,
    };
    let mut args = std::env::args().skip(1);
    while let Some(arg) = args.next() {
        let mut value = || args.next().ok_or(format!("{arg} needs a value"));
        let number = |v: String| v.parse::<f64>().map_err(|_| format!("{v} is not a number"));
        match arg.as_str() {
            "--seconds" => o.seconds = number(value()?)?.max(0.0),
            "--effort" => o.effort = Some(number(value()?)? as u32),
            "--seeds" => o.seeds = number(value()?)? as u64,
            "--first" => o.first = number(value()?)? as u64,
            "--threads" => o.threads = number(value()?)? as usize,
            "--only" => o.only = value()?.split(',').map(str::to_string).collect(),
            "--keep" => o.keep = true,
            "--bench" => {}
            other => return Err(format!("unknown argument {other}")),
        }
    }
    Ok(o)
}

/// The shortest length of a job, and the line that says how it came about.
type Best = BTreeMap<String, (f64, String)>;

fn best_file() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("benches/jobs/best.csv")
}

fn read_best() -> Best {
    let text = std::fs::read_to_string(best_file()).unwrap_or_default();
    let row = |line: &str| {
        let mut cells = line.split(',');
        let name = cells.next()?.to_string();
        Some((name, (cells.next()?.parse().ok()?, line.to_string())))
    };
    text.lines().skip(1).filter_map(row).collect()
}

fn write_best(best: &Best) {
    let mut text = String::from("job,length_mm,seed,limit,date\n");
    for (_, line) in best.values() {
        writeln!(text, "{line}").unwrap();
    }
    std::fs::write(best_file(), text).unwrap();
}

/// Processor time of this process so far, where the system says so.
fn processor_seconds() -> f64 {
    let stat = std::fs::read_to_string("/proc/self/stat").unwrap_or_default();
    let fields = stat.rsplit(") ").next().unwrap_or_default().split(' ');
    fields.skip(11).take(2).filter_map(|f| f.parse::<f64>().ok()).sum::<f64>() / 100.0
}

/// The process's greatest resident memory so far, MB.
fn peak_memory() -> f64 {
    let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    let line = status.lines().find(|l| l.starts_with("VmHWM:")).unwrap_or_default();
    line.split_whitespace().nth(1).and_then(|n| n.parse::<f64>().ok()).unwrap_or(f64::NAN) / 1024.0
}

fn main() {
    let options = match options() {
        Ok(o) => o,
        Err(why) => {
            eprintln!("jobs: {why}");
            std::process::exit(2);
        }
    };
    let mut best = read_best();
    println!(
        "{:<22} {:>4} {:>6} {:>9} {:>9} {:>8} {:>8} {:>8} {:>7} {:>8} {:>6}",
        "job",
        "seed",
        "pieces",
        "length",
        "least",
        "yield %",
        "excess %",
        "first s",
        "cpu s",
        "Mev",
        "MB"
    );
    let mut excesses: BTreeMap<String, Vec<f64>> = BTreeMap::new();
    for job in jobs() {
        if !options.only.is_empty() && !options.only.contains(&job.name) {
            continue;
        }
        for seed in options.first..options.first + options.seeds {
            let length = run(&job, seed, &options, best.get(&job.name).map(|b| b.0));
            let shorter = best.get(&job.name).is_none_or(|b| length < b.0);
            if let Some(known) = best.get(&job.name) {
                let of = excesses.entry(job.name.clone()).or_default();
                of.push(100.0 * (length / known.0 - 1.0));
            }
            if options.keep && shorter {
                let limit = options
                    .effort
                    .map_or(format!("{} s", options.seconds), |e| format!("effort {e}"));
                let today = warpwise::day::Day::today();
                let line = format!("{},{length:.3},{seed},{limit},{today}", job.name);
                best.insert(job.name.clone(), (length, line));
                write_best(&best);
            }
        }
    }
    let means: Vec<f64> =
        excesses.values().map(|e| e.iter().sum::<f64>() / e.len() as f64).collect();
    if means.len() > 1 {
        println!(
            "mean excess {:.2} %, worst job's mean {:.2} %",
            means.iter().sum::<f64>() / means.len() as f64,
            means.iter().copied().fold(f64::NEG_INFINITY, f64::max)
        );
    }
}

/// One run; the length of roll it took, mm.
fn run(job: &Job, seed: u64, options: &Options, best: Option<f64>) -> f64 {
    let stop =
        options.effort.map_or(Stop::After(Duration::from_secs_f64(options.seconds)), Stop::Effort);
    let before = processor_seconds();
    let outcome = solve(
        &job.problem,
        &Params::default(),
        &Run::new(stop).with_seed(seed).with_threads(options.threads),
    );
    let spent = processor_seconds() - before;
    assert!(outcome.unplaced.is_empty(), "{}: {:?}", job.name, outcome.unplaced);
    let faults = exact::faults(&job.problem, &outcome);
    assert!(faults.is_empty(), "{}: {faults:?}", job.name);
    let used = outcome.stocks.iter().find(|s| s.stock == job.roll);
    let length = used.map_or(0.0, |s| s.used_length);
    let on_roll: f64 = outcome
        .placements
        .iter()
        .filter(|p| outcome.stocks[p.stock].stock == job.roll)
        .map(|p| job.problem.shapes()[p.shape].region.area())
        .sum();
    let (least, _) = least_length(&job.problem);
    println!(
        "{:<22} {seed:>4} {:>6} {length:>9.1} {least:>9.1} {:>8.2} {:>8} {:>8.3} {spent:>7.1} {:>8.1} {:>6.0}",
        job.name,
        outcome.placements.len(),
        100.0 * on_roll / (length * job.width).max(1.0),
        best.map_or("-".into(), |b| format!("{:.2}", 100.0 * (length / b - 1.0))),
        outcome.first_layout_seconds.unwrap_or(f64::NAN),
        outcome.evaluations as f64 / 1e6,
        peak_memory(),
    );
    length
}
