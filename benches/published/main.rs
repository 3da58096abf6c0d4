//! Runs the search on published strip-packing instances and compares the densities.
//!
//! `cargo bench --bench published -- [--instances DIR] [--jigsaws] (--seconds S | --effort N)
//! [--seeds K] [--first SEED] [--threads N] [--only a,b] [--json]`
//!
//! Seeds are SEED (1) and those after it: a search tuned on some seeds is to be judged on others.
//! `--jigsaws` adds the tilings of `jigsaws.rs`. DIR holds instances as JSON (`name`, `width`,
//! `pieces` of `id`, `quantity`, `turns`, `outline`) and, if there, `published.csv`
//! (`instance,pieces,best_density_percent,source`). Every layout is verified by `exact.rs`, which
//! shares nothing with the search.
#![allow(
    clippy::unwrap_used,
    clippy::print_stdout,
    clippy::print_stderr,
    clippy::exit,
    missing_docs
)]

mod exact;
mod jigsaws;

use serde::Deserialize;
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::time::Duration;
use warpwise::geometry::{Region, point, ring_area};
use warpwise::nest::{Extent, Outcome, Params, Pose, Problem, Shape, Stock, solve};
use warpwise::run::{Run, Stop};

#[derive(Deserialize)]
struct Instance {
    name: String,
    width: f64,
    pieces: Vec<Piece>,
}

#[derive(Deserialize)]
struct Piece {
    id: String,
    quantity: u32,
    turns: Vec<f64>,
    /// May also lie face down.
    #[serde(default)]
    flips: bool,
    outline: Vec<[f64; 2]>,
}

struct Options {
    instances: Option<PathBuf>,
    jigsaws: bool,
    seconds: f64,
    effort: Option<u32>,
    seeds: u64,
    first: u64,
    threads: usize,
    lanes: usize,
    repeat: u32,
    only: Vec<String>,
    json: bool,
    trace: bool,
}

fn main() {
    let options = match options() {
        Ok(o) => o,
        Err(why) => {
            eprintln!(
                "published: {why}\nusage: cargo bench --bench published -- [--instances DIR] [--jigsaws] (--seconds S | --effort N) [--seeds K] [--first SEED] [--threads N] [--only a,b] [--json]"
            );
            std::process::exit(2);
        }
    };
    let (mut instances, mut published) = (Vec::new(), BTreeMap::new());
    if let Some(dir) = &options.instances {
        published = read_published(dir);
        let mut files: Vec<PathBuf> = match std::fs::read_dir(dir) {
            Ok(dir) => dir
                .filter_map(|e| Some(e.ok()?.path()))
                .filter(|p| p.extension().is_some_and(|e| e == "json"))
                .collect(),
            Err(e) => {
                eprintln!("published: {}: {e}", dir.display());
                std::process::exit(1);
            }
        };
        files.sort();
        instances.extend(files.iter().map(|f| {
            serde_json::from_str::<Instance>(&std::fs::read_to_string(f).unwrap()).unwrap()
        }));
    }
    if options.jigsaws {
        instances.extend(jigsaws::jigsaws());
        published.extend(jigsaws::jigsaws().into_iter().map(|j| (j.name, 100.0)));
    }
    if !options.json {
        println!(
            "{:<12} {:>4} {:>6} {:>12} {:>8} {:>9} {:>7} {:>8} {:>8} {:>8}",
            "instance",
            "seed",
            "pieces",
            "length",
            "density",
            "published",
            "ratio",
            "first s",
            "best s",
            "Mev/s"
        );
    }
    let mut ratios: BTreeMap<String, Vec<f64>> = BTreeMap::new();
    for instance in instances {
        if !options.only.is_empty() && !options.only.contains(&instance.name) {
            continue;
        }
        for seed in options.first..options.first.saturating_add(options.seeds) {
            let ratio = run(&instance, seed, &options, published.get(&instance.name).copied());
            if let Some(r) = ratio {
                ratios.entry(instance.name.clone()).or_default().push(r);
            }
        }
    }
    let jigsaw = |name: &str| published.get(name) == Some(&100.0);
    let means: Vec<f64> = ratios
        .iter()
        .filter(|(n, _)| !jigsaw(n))
        .map(|(_, r)| r.iter().sum::<f64>() / r.len() as f64)
        .collect();
    if !options.json && means.len() > 1 {
        let worst = means.iter().copied().fold(f64::INFINITY, f64::min);
        println!(
            "mean ratio without jigsaws {:.4}, worst instance mean {worst:.4}",
            means.iter().sum::<f64>() / means.len() as f64
        );
    }
}

fn run(instance: &Instance, seed: u64, options: &Options, published: Option<f64>) -> Option<f64> {
    // A unit of the instance becomes a whole number of millimetres, so that a micrometre is small
    // beside the pieces.
    let scale = (1000.0 / instance.width).ceil().max(1.0);
    let problem = problem(instance, scale, options.repeat);
    let stop =
        options.effort.map_or(Stop::After(Duration::from_secs_f64(options.seconds)), Stop::Effort);
    let begun = std::time::Instant::now();
    let outcome = solve(
        &problem,
        &Params { lanes: options.lanes, equal: 0.0 },
        &Run::new(stop).with_seed(seed).with_threads(options.threads),
    );
    let took = begun.elapsed().as_secs_f64();
    verify(&problem, &outcome);
    let length = outcome.stocks[0].used_length / scale;
    let area: f64 = problem
        .shapes()
        .iter()
        .map(|s| ring_area(&s.region.outline) * f64::from(s.copies))
        .sum::<f64>()
        / (scale * scale);
    let density = 100.0 * area / (instance.width * length);
    let pieces = outcome.placements.len();
    let ratio = published.map(|p| density / p);
    let per_second = outcome.evaluations as f64 / took;
    let first = outcome.first_layout_seconds.unwrap_or(f64::NAN);
    let best = outcome
        .trace
        .iter()
        .find(|r| r.length <= outcome.stocks[0].used_length)
        .map_or(f64::NAN, |r| r.seconds);
    if options.json {
        let line = serde_json::json!({
            "name": instance.name, "seed": seed, "pieces": pieces, "used_length": length, "density": density, "published": published,
            "ratio": ratio, "first_layout_s": first, "best_layout_s": best, "evaluations_per_s": per_second, "peak_memory_mb": peak_memory_mb(),
        });
        println!("{line}");
    } else {
        let show =
            |v: Option<f64>, digits: usize| v.map_or("-".to_string(), |v| format!("{v:.digits$}"));
        println!(
            "{:<12} {seed:>4} {pieces:>6} {length:>12.4} {density:>8.3} {:>9} {:>7} {first:>8.3} {best:>8.3} {:>8.2}",
            instance.name,
            show(published, 2),
            show(ratio, 4),
            per_second / 1e6
        );
    }
    if options.trace {
        for r in &outcome.trace {
            eprintln!(
                "{:.2},{:.4},{:.3},{},{}",
                r.seconds,
                r.length / scale,
                100.0 * area / (instance.width * r.length / scale),
                r.moves,
                r.evaluations
            );
        }
    }
    ratio
}

fn problem(instance: &Instance, scale: f64, repeat: u32) -> Problem {
    let shape = |p: &Piece| Shape {
        name: p.id.clone(),
        region: Region::solid(
            p.outline.iter().map(|q| point(q[0] * scale, q[1] * scale).snapped()).collect(),
        ),
        poses: p
            .turns
            .iter()
            .flat_map(|&turn| [false, true].map(|flip| Pose { turn, flip }))
            .filter(|q| p.flips || !q.flip)
            .collect(),
        tolerance: 0.0,
        copies: p.quantity * repeat,
        may_cross: false,
    };
    let extent = Extent::Open {
        low: 0.0,
        high: instance.width * scale,
        segment_max: None,
        length_max: None,
    };
    let strip = Stock { name: "strip".into(), extent, keep_out: Vec::new() };
    Problem::new(instance.pieces.iter().map(shape).collect(), vec![strip], 0.0).unwrap()
}

/// Stops the bench if a layout breaks a rule.
fn verify(problem: &Problem, outcome: &Outcome) {
    assert!(outcome.unplaced.is_empty(), "{:?}", outcome.unplaced);
    let faults = exact::faults(problem, outcome);
    assert!(faults.is_empty(), "{faults:?}");
}

fn read_published(dir: &Path) -> BTreeMap<String, f64> {
    let Ok(text) = std::fs::read_to_string(dir.join("published.csv")) else {
        return BTreeMap::new();
    };
    let row = |line: &str| {
        let mut cells = line.split(',');
        let name = cells.next()?.to_string();
        Some((name, cells.nth(1)?.parse().ok()?))
    };
    text.lines().skip(1).filter_map(row).collect()
}

/// The process's greatest resident memory so far, where the system says so.
fn peak_memory_mb() -> Option<f64> {
    let status = std::fs::read_to_string("/proc/self/status").ok()?;
    let line = status.lines().find(|l| l.starts_with("VmHWM:"))?;
    Some(line.split_whitespace().nth(1)?.parse::<f64>().ok()? / 1024.0)
}

fn options() -> Result<Options, String> {
    let mut o = Options {
        instances: None,
        jigsaws: false,
        seconds: 10.0,
        effort: None,
        seeds: 1,
        first: 1,
        threads: 0,
        lanes: 2,
        repeat: 1,
        only: Vec::new(),
        json: false,
        trace: false,
    };
    let mut args = std::env::args().skip(1);
    while let Some(arg) = args.next() {
        let mut value = || args.next().ok_or(format!("{arg} needs a value"));
        let number = |v: String| {
            v.parse::<f64>().ok().filter(|n| *n >= 0.0).ok_or(format!("{v} is not a number"))
        };
        match arg.as_str() {
            "--instances" => o.instances = Some(value()?.into()),
            "--jigsaws" => o.jigsaws = true,
            "--seconds" => o.seconds = number(value()?)?,
            "--effort" => o.effort = Some(number(value()?)? as u32),
            "--seeds" => o.seeds = number(value()?)? as u64,
            "--first" => o.first = number(value()?)? as u64,
            "--threads" => o.threads = number(value()?)? as usize,
            "--lanes" => o.lanes = number(value()?)? as usize,
            "--repeat" => o.repeat = number(value()?)?.max(1.0) as u32,
            "--only" => o.only = value()?.split(',').map(str::to_string).collect(),
            "--json" => o.json = true,
            "--trace" => o.trace = true,
            "--bench" => {}
            other => return Err(format!("unknown argument {other}")),
        }
    }
    if o.instances.is_none() && !o.jigsaws {
        Err("--instances or --jigsaws is missing".into())
    } else {
        Ok(o)
    }
}
