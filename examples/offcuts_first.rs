//! Holds the joint search for offcuts against filling them one by one and against none: 60 pieces,
//! 30 offcuts, several seeds.
//!
//! `cargo run --release --example offcuts_first -- SECONDS SEEDS`
#![allow(clippy::print_stdout, clippy::unwrap_used)]

use rand_pcg::Pcg64Mcg;
use rand_pcg::rand_core::{Rng, SeedableRng};
use std::time::{Duration, Instant};
use warpwise::assign;
use warpwise::geometry::{Region, Ring, point};
use warpwise::nest::{self, Extent, Outcome, Params, Pose, Problem, Shape, Stock};
use warpwise::run::{Run, Stop};

struct Dice(Pcg64Mcg);

impl Dice {
    fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * ((self.0.next_u64() >> 11) as f64 / (1_u64 << 53) as f64)
    }
}

/// A blob of a piece or an offcut: an ellipse with a wave on it.
fn blob(dice: &mut Dice, width: f64, height: f64, corners: usize, wave: f64) -> Ring {
    let phase = dice.between(0.0, 6.0);
    let turn = |i: usize| i as f64 / corners as f64 * std::f64::consts::TAU;
    let radius = |a: f64| 1.0 + wave * libm::cos(3.0 * a + phase);
    (0..corners)
        .map(turn)
        .map(|a| {
            point(0.5 * width * radius(a) * libm::cos(a), 0.5 * height * radius(a) * libm::sin(a))
                .snapped()
        })
        .collect()
}

fn rectangle(w: f64, h: f64) -> Ring {
    vec![point(0.0, 0.0), point(w, 0.0), point(w, h), point(0.0, h)]
        .into_iter()
        .map(|p| p.snapped())
        .collect()
}

/// Pieces of 0.01 to 0.12 m² and offcuts of 0.005 to 0.15 m², half of either with straight sides.
fn instance(seed: u64) -> (Vec<Shape>, Vec<Stock>) {
    let mut dice = Dice(Pcg64Mcg::seed_from_u64(seed));
    let sized = |dice: &mut Dice, low: f64, high: f64, straight: bool| {
        let area = 1e6 * low * libm::pow(high / low, dice.between(0.0, 1.0));
        let aspect = dice.between(0.5, 2.0);
        let (w, h) = ((area * aspect).sqrt(), (area / aspect).sqrt());
        if straight { rectangle(w, h) } else { blob(dice, 1.13 * w, 1.13 * h, 24, 0.12) }
    };
    let shapes = (0..60).map(|i| Shape {
        name: format!("p{i}"),
        region: Region::solid(sized(&mut dice, 0.01, 0.12, i % 2 == 0)),
        poses: [0.0, 90.0, 180.0, 270.0].map(|turn| Pose { turn, flip: false }).to_vec(),
        tolerance: 0.0,
        copies: 1,
        may_cross: false,
    });
    let shapes: Vec<Shape> = shapes.collect();
    let offcuts = (0..30).map(|i| Stock {
        name: format!("o{i}"),
        extent: Extent::Fixed { region: Region::solid(sized(&mut dice, 0.005, 0.15, i % 2 == 0)) },
        keep_out: Vec::new(),
    });
    (shapes, offcuts.collect())
}

fn roll() -> Stock {
    let extent = Extent::Open { low: 0.0, high: 1230.0, segment_max: None, length_max: None };
    Stock { name: "roll".into(), extent, keep_out: Vec::new() }
}

/// Length of the roll, and the share of the pieces' area that lies on offcuts.
fn measure(outcome: &Outcome, problem: &Problem) -> (f64, f64) {
    assert!(outcome.unplaced.is_empty());
    let open =
        |s: usize| matches!(problem.stocks()[outcome.stocks[s].stock].extent, Extent::Open { .. });
    let length = outcome
        .stocks
        .iter()
        .enumerate()
        .filter(|(i, _)| open(*i))
        .map(|(_, s)| s.used_length)
        .sum();
    let area = |p: &nest::Placement| problem.shapes()[p.shape].region.area();
    let all: f64 = outcome.placements.iter().map(area).sum();
    (length, outcome.placements.iter().filter(|p| !open(p.stock)).map(area).sum::<f64>() / all)
}

fn main() {
    let mut args = std::env::args().skip(1).map(|a| a.parse::<f64>().unwrap());
    let (seconds, seeds) = (args.next().unwrap_or(10.0), args.next().unwrap_or(10.0) as u64);
    let run = |seed: u64| Run::new(Stop::After(Duration::from_secs_f64(seconds))).with_seed(seed);
    println!("seed  none mm  greedy mm (on offcuts)  joint mm (on offcuts)  joint against greedy");
    let (mut ratios, mut worse) = (Vec::new(), 0);
    for seed in 1..=seeds {
        let (shapes, offcuts) = instance(seed);
        let none = Problem::new(shapes.clone(), vec![roll()], 5.0).unwrap();
        let none = measure(&nest::solve(&none, &Params::default(), &run(seed)), &none).0;
        let greedy = greedy(&shapes, &offcuts, seconds, seed);
        let all: Vec<Stock> = offcuts.iter().cloned().chain([roll()]).collect();
        let cost: Vec<f64> = all.iter().map(Stock::area).collect();
        let problem = Problem::new(shapes, all, 5.0).unwrap();
        let joint =
            measure(&assign::solve(&problem, &cost, &Params::default(), &run(seed)), &problem);
        let ratio = joint.0 / greedy.0;
        ratios.push(ratio);
        worse += usize::from(joint.0 > none);
        println!(
            "{seed:4} {none:8.1} {:10.1} ({:4.1} %) {:14.1} ({:4.1} %) {:14.3}",
            greedy.0,
            100.0 * greedy.1,
            joint.0,
            100.0 * joint.1,
            ratio
        );
    }
    let mean = ratios.iter().sum::<f64>() / ratios.len() as f64;
    println!(
        "mean {mean:.4}, worst {:.4}; more than without offcuts: {worse}",
        ratios.iter().copied().fold(0.0, f64::max)
    );
}

/// One offcut after the other, the smallest first, each filled with the largest pieces that fit,
/// then the roll for the rest.
fn greedy(shapes: &[Shape], offcuts: &[Stock], seconds: f64, seed: u64) -> (f64, f64) {
    let start = Instant::now();
    let mut order: Vec<&Stock> = offcuts.iter().collect();
    order.sort_by(|a, b| a.area().total_cmp(&b.area()));
    let mut left: Vec<Shape> = shapes.to_vec();
    let all: f64 = shapes.iter().map(|s| s.region.area()).sum();
    for offcut in order {
        let problem = Problem::new(left.clone(), vec![offcut.clone()], 5.0).unwrap();
        let outcome =
            nest::solve(&problem, &Params::default(), &Run::new(Stop::Effort(0)).with_seed(seed));
        let mut here = vec![false; left.len()];
        outcome.placements.iter().for_each(|p| here[p.shape] = true);
        let mut keep = here.iter().map(|h| !h);
        left.retain(|_| keep.next().unwrap());
    }
    let share = 1.0 - left.iter().map(|s| s.region.area()).sum::<f64>() / all;
    let problem = Problem::new(left, vec![roll()], 5.0).unwrap();
    let rest = Duration::from_secs_f64(seconds).saturating_sub(start.elapsed());
    let outcome =
        nest::solve(&problem, &Params::default(), &Run::new(Stop::After(rest)).with_seed(seed));
    (outcome.stocks.iter().map(|s| s.used_length).sum(), share)
}
