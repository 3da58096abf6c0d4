//! The search's own parts: time to the first complete layout, and a fixed amount of improvement.
#![allow(clippy::unwrap_used, missing_docs)]

use criterion::{Criterion, criterion_group, criterion_main};
use warpwise::geometry::{Region, point};
use warpwise::nest::{Extent, Outcome, Params, Pose, Problem, Shape, Stock, solve};
use warpwise::run::{Run, Stop};

/// So many star-shaped plies, all different, on a roll 1230 mm wide with a gap of 5 mm.
fn plies(count: u32) -> Problem {
    let mut state = 12_345_u64;
    let mut real = |low: f64, high: f64| {
        state =
            state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        low + (high - low) * (state >> 40) as f64 / (1 << 24) as f64
    };
    let shapes = (0..count)
        .map(|k| {
            let (n, size) = (8 + k % 17, real(60.0, 320.0));
            let outline = (0..n)
                .map(|i| {
                    let a = f64::from(i) / f64::from(n) * std::f64::consts::TAU;
                    let r = size * real(0.6, 1.0);
                    point(r * libm::cos(a), 0.7 * r * libm::sin(a)).snapped()
                })
                .collect();
            let poses = [0.0, 180.0].map(|turn| Pose { turn, flip: false }).to_vec();
            Shape {
                name: format!("ply {k}"),
                region: Region::solid(outline),
                poses,
                tolerance: 0.0,
                copies: 1,
                may_cross: false,
            }
        })
        .collect();
    let extent = Extent::Open { low: 10.0, high: 1240.0, segment_max: None, length_max: None };
    Problem::new(shapes, vec![Stock { name: "roll".into(), extent, keep_out: Vec::new() }], 5.0)
        .unwrap()
}

fn run(problem: &Problem, rounds: u32) -> Outcome {
    solve(problem, &Params::default(), &Run::new(Stop::Effort(rounds)))
}

fn search(c: &mut Criterion) {
    let mut group = c.benchmark_group("search");
    group.sample_size(10);
    for count in [100, 1000] {
        let problem = plies(count);
        group.bench_function(format!("first layout of {count} different plies"), |b| {
            b.iter(|| run(&problem, 0))
        });
    }
    let problem = plies(100);
    group.bench_function("two rounds of 100 different plies", |b| b.iter(|| run(&problem, 2)));
    group.finish();
}

criterion_group!(benches, search);
criterion_main!(benches);
