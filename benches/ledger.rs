//! A ledger of 10,000 offcuts: its list, and planning the demo's kayak among them against among
//! thirty. The bars: 0.2 s, and twice the time.
#![allow(clippy::unwrap_used, clippy::print_stdout, missing_docs)]

use criterion::{Criterion, criterion_group, criterion_main};
use rand_pcg::Pcg64Mcg;
use rand_pcg::rand_core::{Rng, SeedableRng};
use std::hint::black_box;
use std::path::Path;
use std::process::{Command, Stdio};
use std::time::Instant;
use warpwise::cloth::Face;
use warpwise::geometry::point;
use warpwise::job;
use warpwise::ledger::{Ledger, Moment};
use warpwise::planner::{self, Earlier};
use warpwise::run::{Run, Stop};
use warpwise::stock::{Age, Day, OffcutFacts};

/// Four-cornered offcuts of 0.005 to 0.15 m² of the demo's cloths, no two alike.
fn offcuts(count: usize, cloths: &[String]) -> Vec<OffcutFacts> {
    let mut dice = Pcg64Mcg::seed_from_u64(1);
    let mut between = |low: f64, high: f64| {
        low + (high - low) * ((dice.next_u64() >> 11) as f64 / (1_u64 << 53) as f64)
    };
    let offcut = |k: usize| {
        let area = 1e6 * 0.005 * libm::pow(30.0, between(0.0, 1.0));
        let aspect = between(0.4, 2.5);
        let (w, h) = ((area * aspect).sqrt(), (area / aspect).sqrt());
        let mut corner = |x: f64, y: f64| {
            point(w * (x + between(0.0, 0.1)), h * (y + between(0.0, 0.1))).snapped()
        };
        OffcutFacts {
            id: String::new(),
            cloth: cloths[k % cloths.len()].clone(),
            outline: vec![corner(0.0, 0.0), corner(0.9, 0.0), corner(0.9, 0.9), corner(0.0, 0.9)],
            holes: Vec::new(),
            flaws: Vec::new(),
            face: Face::Up,
            batch: None,
            age: Age::default(),
            place: None,
            added: Day::today(),
            parent: None,
            revision: 0,
        }
    };
    (0..count).map(offcut).collect()
}

/// A ledger of so many offcuts and no roll.
fn ledger(file: &Path, count: usize, cloths: &[String]) -> Ledger {
    let mut ledger = Ledger::write(file).unwrap();
    ledger.add_offcuts(offcuts(count, cloths), false, true, &Moment::now()).unwrap();
    ledger
}

fn ten_thousand_offcuts(c: &mut Criterion) {
    let (job, _) =
        job::load(&Path::new(env!("CARGO_MANIFEST_DIR")).join("demo-data/job.toml")).unwrap();
    let mut cloths: Vec<String> = job.cloths.iter().map(|c| c.id.clone()).collect();
    cloths.sort();
    let dir = tempfile::tempdir().unwrap();
    let many = dir.path().join("many.sqlite");
    let ledgers =
        [ledger(&dir.path().join("few.sqlite"), 30, &cloths), ledger(&many, 10_000, &cloths)];
    let mut group = c.benchmark_group("ledger");
    group.sample_size(10);
    group.bench_function("`stock list` of 10,000 offcuts, the process whole", |b| {
        b.iter(|| {
            let mut list = Command::new(env!("CARGO_BIN_EXE_warpwise"));
            let status = list
                .arg("stock")
                .arg("--ledger")
                .arg(&many)
                .arg("list")
                .stdout(Stdio::null())
                .status()
                .unwrap();
            assert!(status.success());
        });
    });
    group.bench_function("export of 10,000 offcuts with their history", |b| {
        b.iter(|| black_box(ledgers[1].export(&Moment::now()).unwrap()))
    });
    group.finish();

    // Too long for a statistic: the better of three, in turn.
    let mut best = [f64::MAX; 2];
    for seed in 1..=3 {
        for (ledger, best) in ledgers.iter().zip(&mut best) {
            let begun = Instant::now();
            let stock = ledger.snapshot(&Moment::now()).unwrap();
            let run = Run::new(Stop::Effort(1)).with_seed(seed);
            let jobs = std::slice::from_ref(&job);
            black_box(planner::go_on(jobs, &stock, &Earlier::default(), 1, &run).unwrap());
            *best = best.min(begun.elapsed().as_secs_f64());
        }
    }
    println!(
        "the demo's job planned among 30 offcuts {:.1} s, among 10,000 {:.1} s: ratio {:.2}",
        best[0],
        best[1],
        best[1] / best[0]
    );
}

criterion_group!(benches, ten_thousand_offcuts);
criterion_main!(benches);
