//! Attacks the readers, the geometry, the stock and whole jobs with mutated inputs, on any compiler
//! and the same ones for a seed.
//!
//! `cargo run --release --example attack -- [--seconds S] [--seed N] [--keep DIR] [TARGET…]`: so
//! long for each target. An input that ends in a panic, or takes longer than [`LONGEST`], is kept.
//! `--seeds DIR` writes the inputs that it begins with, for `cargo fuzz`; `--input FILE` runs one.
#![allow(clippy::print_stdout, clippy::print_stderr, clippy::exit)]

#[path = "../tests/attack_support/mod.rs"]
mod attack;

use rand_pcg::Pcg64Mcg;
use rand_pcg::rand_core::SeedableRng;
use std::collections::BTreeMap;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::{Path, PathBuf};
use std::process::ExitCode;
use std::sync::{Mutex, OnceLock};
use std::time::{Duration, Instant};

/// No input may take longer, of the processor's time where the system tells it: the machine may be
/// busy with other work.
const LONGEST: Duration = Duration::from_secs(20);

struct Asked {
    seconds: f64,
    seed: u64,
    keep: PathBuf,
    seeds: Option<PathBuf>,
    input: Option<PathBuf>,
    targets: Vec<String>,
}

fn asked() -> Option<Asked> {
    let mut asked = Asked {
        seconds: 5.0,
        seed: 1,
        keep: "target/attack".into(),
        seeds: None,
        input: None,
        targets: Vec::new(),
    };
    let mut words = std::env::args().skip(1);
    while let Some(word) = words.next() {
        match word.as_str() {
            "--seconds" => asked.seconds = words.next()?.parse().ok()?,
            "--seed" => asked.seed = words.next()?.parse().ok()?,
            "--keep" => asked.keep = words.next()?.into(),
            "--seeds" => asked.seeds = Some(words.next()?.into()),
            "--input" => asked.input = Some(words.next()?.into()),
            name => asked.targets.push(name.to_string()),
        }
    }
    let known = |name: &String| attack::TARGETS.iter().any(|t| t.0 == name);
    asked.targets.iter().all(known).then_some(asked)
}

/// What is being tried, since when: for the watch.
static NOW: Mutex<Option<(Duration, PathBuf, Vec<u8>)>> = Mutex::new(None);
/// Where the last panic was, and what it said.
static PANIC: Mutex<String> = Mutex::new(String::new());

fn main() -> ExitCode {
    let Some(asked) = asked() else {
        let names: Vec<&str> = attack::TARGETS.iter().map(|t| t.0).collect();
        eprintln!(
            "attack [--seconds S] [--seed N] [--keep DIR] [--seeds DIR | --input FILE] [TARGET…]; targets: {}",
            names.join(", ")
        );
        return ExitCode::FAILURE;
    };
    let targets = attack::TARGETS
        .iter()
        .filter(|t| asked.targets.is_empty() || asked.targets.iter().any(|name| name == t.0));
    if let Some(dir) = &asked.seeds {
        targets.for_each(|(name, _)| {
            attack::seeds::seeds(name).iter().enumerate().for_each(|(k, seed)| {
                keep(&dir.join(name), &k.to_string(), seed);
            });
        });
        return ExitCode::SUCCESS;
    }
    if let Some(file) = &asked.input {
        match std::fs::read(file) {
            Ok(bytes) => targets.for_each(|(_, run)| run(&bytes)),
            Err(why) => eprintln!("{}: {why}", file.display()),
        }
        return ExitCode::SUCCESS;
    }
    std::panic::set_hook(Box::new(|panic| {
        if let Ok(mut last) = PANIC.lock() {
            *last = panic.to_string();
        }
    }));
    std::thread::spawn(watch);
    let (mut all, mut found) = (0, 0);
    for (name, run) in targets {
        let (inputs, panics) = attacked(name, *run, &asked);
        all += inputs;
        found += panics.len();
        panics.iter().for_each(|(what, file)| println!("  {}: {what}", file.display()));
    }
    println!("{all} inputs, {found} panics; most memory {} MB", most_memory());
    if found == 0 { ExitCode::SUCCESS } else { ExitCode::FAILURE }
}

/// Inputs tried, and each panic (by its place) with a kept input.
fn attacked(name: &str, run: fn(&[u8]), asked: &Asked) -> (u64, BTreeMap<String, PathBuf>) {
    let seeds = attack::seeds::seeds(name);
    let mut dice = Pcg64Mcg::seed_from_u64(asked.seed);
    let (mut inputs, mut slowest) = (0_u64, Duration::ZERO);
    let mut panics: BTreeMap<String, PathBuf> = BTreeMap::new();
    let begun = Instant::now();
    while begun.elapsed().as_secs_f64() < asked.seconds {
        let bytes = match seeds.get(inputs as usize) {
            Some(seed) => seed.clone(),
            None => attack::mutate::mutated(&seeds, &mut dice),
        };
        let (start, since) = (Instant::now(), busy());
        set(Some((since, asked.keep.join(name), bytes.clone())));
        let ended = catch_unwind(AssertUnwindSafe(|| run(&bytes)));
        set(None);
        slowest = slowest.max(start.elapsed().min(busy().saturating_sub(since) + TICK));
        inputs += 1;
        if ended.is_err() {
            let said = PANIC.lock().map(|last| last.clone()).unwrap_or_default();
            let place: String = said.lines().next().unwrap_or_default().into();
            let what: String = said.chars().take(400).collect();
            if panics.keys().all(|known| !known.starts_with(&place)) {
                let file = keep(&asked.keep.join(name), &format!("panic-{inputs}"), &bytes);
                panics.insert(what, file);
            }
        }
    }
    let rate = inputs as f64 / begun.elapsed().as_secs_f64();
    println!(
        "{name}: {inputs} inputs, {rate:.0} a second, the slowest {:.3} s, {} panics",
        slowest.as_secs_f64(),
        panics.len()
    );
    (inputs, panics)
}

/// The least that the system tells apart.
const TICK: Duration = Duration::from_millis(10);

/// What this process has had of the processor's time; on some systems, how long it has run.
fn busy() -> Duration {
    static BEGUN: OnceLock<Instant> = OnceLock::new();
    let begun = BEGUN.get_or_init(Instant::now);
    let stat = std::fs::read_to_string("/proc/self/stat").unwrap_or_default();
    // User and system time stand eleventh and twelfth behind the name, in hundredths of a second.
    let fields = stat.rsplit(')').next().unwrap_or_default().split_whitespace().skip(11).take(2);
    let ticks: Vec<u32> = fields.filter_map(|f| f.parse().ok()).collect();
    if ticks.len() == 2 { TICK * ticks.iter().sum::<u32>() } else { begun.elapsed() }
}

fn set(now: Option<(Duration, PathBuf, Vec<u8>)>) {
    if let Ok(mut at) = NOW.lock() {
        *at = now;
    }
}

/// Ends everything at an input that takes too long.
fn watch() {
    loop {
        std::thread::sleep(Duration::from_millis(500));
        let Ok(now) = NOW.lock() else { return };
        let taken = |since: Duration| busy().saturating_sub(since);
        if let Some((_, dir, bytes)) = now.as_ref().filter(|n| taken(n.0) > LONGEST) {
            let file = keep(dir, "slow", bytes);
            println!("{}: takes more than {} s", file.display(), LONGEST.as_secs());
            std::process::exit(1);
        }
    }
}

fn keep(dir: &Path, name: &str, bytes: &[u8]) -> PathBuf {
    let file = dir.join(name);
    let kept = std::fs::create_dir_all(dir).and_then(|()| std::fs::write(&file, bytes));
    if let Err(why) = kept {
        eprintln!("{}: {why}", file.display());
    }
    file
}

/// Most memory that this process ever had, MB, where the system tells.
fn most_memory() -> u64 {
    let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    let line = status.lines().find_map(|l| l.strip_prefix("VmHWM:"));
    line.and_then(|l| l.trim().trim_end_matches(" kB").parse::<u64>().ok()).unwrap_or(0) / 1024
}
