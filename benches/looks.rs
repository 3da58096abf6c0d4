//! How long work goes on without looking whether it was asked to stop, on jobs that are hard on it:
//! the longest stretches of the processor's time between two looks, and what came after them.
//!
//! `RAYON_NUM_THREADS=1 cargo bench --bench looks -- [--seconds S] [--threads N] [JOB…]`: on one thread the
//! process's time is that of the work, however busy the machine is.
#![allow(clippy::unwrap_used, clippy::print_stdout, missing_docs)]

use std::backtrace::Backtrace;
use std::fmt::Write;
use std::path::Path;
use std::sync::Mutex;
use std::time::{Duration, Instant};
use warpwise::planner;
use warpwise::run::{Observer, Phase, Run, Stop};
use warpwise::{job, workshop};

/// Stretches from here on are told.
const TOLD: Duration = Duration::from_millis(100);

struct Last {
    wall: Instant,
    /// When the processor's time was read last, and what it was: at most [`READ`] before the look.
    read: Instant,
    busy: Duration,
    phase: &'static str,
}

/// Reading the processor's time takes longer than the wall's.
const READ: Duration = Duration::from_millis(5);

struct Looks {
    last: Mutex<Last>,
    longest: Mutex<Vec<(Duration, String)>>,
}

/// What the process has had of the processor, in hundredths of a second.
fn busy() -> Duration {
    let stat = std::fs::read_to_string("/proc/self/stat").unwrap_or_default();
    let fields = stat.rsplit(')').next().unwrap_or_default().split_whitespace().skip(11).take(2);
    Duration::from_millis(10) * fields.filter_map(|f| f.parse::<u32>().ok()).sum()
}

impl Looks {
    fn look(&self, phase: &'static str) {
        let mut last = self.last.lock().unwrap();
        if last.wall.elapsed() >= TOLD {
            let taken = busy().saturating_sub(last.busy);
            if taken >= TOLD {
                let at = format!("{} to {phase}: {}", last.phase, place());
                self.longest.lock().unwrap().push((taken, at));
            }
        }
        if last.read.elapsed() >= READ {
            (last.busy, last.read) = (busy(), Instant::now());
        }
        (last.wall, last.phase) = (Instant::now(), phase);
    }
}

impl Observer for Looks {
    fn looked(&self, phase: Phase) {
        self.look(phase.in_words());
    }
}

/// The innermost functions of ours that led to a look.
fn place() -> String {
    let trace = Backtrace::force_capture().to_string();
    let names = trace.lines().filter_map(|l| l.split_once(": ").map(|n| n.1.trim()));
    let ours = names.filter(|n| n.contains("warpwise::") && !n.contains("run::Run"));
    ours.take(3).collect::<Vec<_>>().join(" < ")
}

const HEAD: &str = "[job]\nname = \"looks\"\n[[cloth]]\nid = \"twill\"\nweave = \"twill 2/2\"\ntwill_line = 45\nup = \"paper\"\nroll_width = 1250\nselvedge = 10\n";

/// A wavy outline of so many points as a table.
fn table(points: usize, size: f64, k: usize) -> String {
    let mut text = String::from("x_mm,y_mm\n");
    for i in 0..points {
        let a = i as f64 / points as f64 * std::f64::consts::TAU;
        let r = size
            * (1.0
                + 0.2 * libm::cos(2.0 * a + k as f64)
                + 0.004 * libm::sin(a * points as f64 / 9.0));
        let _ = writeln!(text, "{:.3},{:.3}", r * libm::cos(a), 0.7 * r * libm::sin(a));
    }
    text
}

/// `count` templates of so many points, each in every one of `layers` at another angle.
fn templates(dir: &Path, count: usize, points: usize, size: f64, layers: usize) {
    let mut text = String::from(HEAD);
    let mut names = Vec::new();
    for k in 0..count {
        std::fs::write(dir.join(format!("t{k}.csv")), table(points, size, k)).unwrap();
        let _ = write!(
            text,
            "[[template]]\nid = \"t{k}\"\nfile = \"t{k}.csv\"\narrow = 0\ntaken_off = \"mould\"\ninked_side = \"up\"\n"
        );
        names.push(format!("\"t{k}\""));
    }
    for layer in 0..layers {
        let names = names.join(", ");
        let _ = write!(
            text,
            "[[layer]]\ncloth = \"twill\"\nangle = {}\ntemplates = [{names}]\n",
            layer * 15
        );
    }
    std::fs::write(dir.join("job.toml"), text).unwrap();
}

/// Five thousand strips of a hundred sizes.
fn pieces(dir: &Path) {
    let mut text = String::from(HEAD);
    let mut names = Vec::new();
    for k in 0..100 {
        let (length, width) = (60 + k * 3, 20 + k % 37);
        let _ = writeln!(text, "[[strip]]\nid = \"s{k}\"\nlength = {length}\nwidth = {width}");
        names.push(format!("{{ template = \"s{k}\", copies = 50 }}"));
    }
    let names = names.join(", ");
    let _ = write!(text, "[[layer]]\ncloth = \"twill\"\nangle = 0\ntemplates = [{names}]\n");
    std::fs::write(dir.join("job.toml"), text).unwrap();
}

/// Two hundred and fifty copies of each of twenty blobs, as wide as a hand, on a wide roll.
fn blobs(dir: &Path) {
    let mut text = HEAD.replace("1250", "1270");
    let mut names = Vec::new();
    for k in 0..20 {
        std::fs::write(dir.join(format!("b{k}.csv")), table(36 + k, 26.0 + 2.0 * k as f64, k))
            .unwrap();
        let _ = write!(
            text,
            "[[template]]\nid = \"b{k}\"\nfile = \"b{k}.csv\"\narrow = 0\ntaken_off = \"mould\"\ninked_side = \"up\"\n"
        );
        names.push(format!("{{ template = \"b{k}\", copies = 250 }}"));
    }
    let names = names.join(", ");
    let _ = write!(text, "[[layer]]\ncloth = \"twill\"\nangle = 0\ntemplates = [{names}]\n");
    std::fs::write(dir.join("job.toml"), text).unwrap();
}

type Job = (&'static str, fn(&Path));

const JOBS: [Job; 5] = [
    ("ply of 19,000 points", |dir| templates(dir, 1, 19_000, 400.0, 1)),
    ("4 plies of 19,000 points", |dir| templates(dir, 1, 19_000, 400.0, 4)),
    ("100 plies of 2,000 points", |dir| templates(dir, 100, 2_000, 120.0, 1)),
    ("5,000 pieces", pieces),
    ("5,000 blobs", blobs),
];

fn main() {
    let words: Vec<String> = std::env::args().skip(1).filter(|w| w != "--bench").collect();
    let seconds =
        words.windows(2).find(|w| w[0] == "--seconds").map_or(3.0, |w| w[1].parse().unwrap());
    let threads =
        words.windows(2).find(|w| w[0] == "--threads").map_or(1, |w| w[1].parse().unwrap());
    for (name, write) in JOBS {
        if words.iter().any(|w| JOBS.iter().any(|j| j.0 == w)) && !words.iter().any(|w| w == name) {
            continue;
        }
        let dir = tempfile::tempdir().unwrap();
        write(dir.path());
        let looks = Looks {
            last: Mutex::new(Last {
                wall: Instant::now(),
                read: Instant::now(),
                busy: busy(),
                phase: "beginning",
            }),
            longest: Mutex::default(),
        };
        let run = Run::new(Stop::After(Duration::from_secs_f64(seconds)))
            .with_observer(&looks)
            .with_threads(threads);
        let (begun, wall, mut told) = (busy(), Instant::now(), String::new());
        let mut since = begun;
        let mut tell = |what: &str| {
            let _ = write!(told, ", {what} {:.1} s", (busy() - since).as_secs_f64());
            since = busy();
        };
        let job = job::load_in(&dir.path().join("job.toml"), &run).unwrap().0;
        looks.look("loaded");
        tell("reading");
        let planned = planner::plan(&[job], 1, &run);
        looks.look("planned");
        tell("planning");
        match planned {
            Ok(plan) => {
                workshop::plan_files(&plan, &run).unwrap();
                looks.look("written");
                tell("files");
            }
            Err(why) => println!("{}", why.into_faults()),
        }
        println!(
            "{name}: {:.1} s by the clock, {:.1} s of the processor{told}",
            wall.elapsed().as_secs_f64(),
            (busy() - begun).as_secs_f64()
        );
        let mut longest = std::mem::take(&mut *looks.longest.lock().unwrap());
        longest.sort_by_key(|l| std::cmp::Reverse(l.0));
        let all = longest.len();
        for (taken, at) in longest.into_iter().take(12) {
            println!("  {:.2} s, {at}", taken.as_secs_f64());
        }
        println!("  {all} stretches of {} s and more", TOLD.as_secs_f64());
    }
}
