//! A first layout is found for whatever fits: short benches, flaws near the free end, pieces that
//! may turn by any step.
#![allow(clippy::unwrap_used, missing_docs)]

#[path = "../benches/published/exact.rs"]
mod exact;

use rand_pcg::Pcg64Mcg;
use rand_pcg::rand_core::{Rng, SeedableRng};
use warpwise::geometry::{Motion, Region, Ring, point};
use warpwise::nest::{Extent, Outcome, Params, Pose, Problem, Shape, Stock, solve};
use warpwise::run::{Run, Stop};

/// Random numbers as people write measures: whole or half mm, sometimes inches.
struct Random(Pcg64Mcg);

impl Random {
    fn below(&mut self, n: u32) -> u32 {
        self.0.next_u32() % n
    }

    fn between(&mut self, low: u32, high: u32) -> f64 {
        f64::from(low + self.below(high - low + 1))
    }

    fn mm(&mut self, low: u32, high: u32) -> f64 {
        let whole = self.between(low, high);
        match self.below(6) {
            0 => whole + 0.5,
            1 => (whole / 25.4).round().max(1.0) * 25.4,
            2 => (whole / 50.0).round().max(1.0) * 50.0,
            3 => whole + f64::from(self.below(1000)) / 1000.0,
            _ => whole,
        }
    }
}

fn rectangle(x: f64, y: f64, w: f64, h: f64) -> Ring {
    vec![point(x, y), point(x + w, y), point(x + w, y + h), point(x, y + h)]
}

/// A rectangle, an L, a wedge or a rounded blob.
fn outline(r: &mut Random) -> Ring {
    let (w, h) = (r.mm(40, 420), r.mm(30, 260));
    match r.below(4) {
        0 => rectangle(0.0, 0.0, w, h),
        1 => [(0.0, 0.0), (w, 0.0), (w, 0.4 * h), (0.3 * w, 0.4 * h), (0.3 * w, h), (0.0, h)]
            .map(|(x, y)| point(x, y).snapped())
            .to_vec(),
        2 => [(0.0, 0.0), (w, 0.1 * h), (0.8 * w, h)].map(|(x, y)| point(x, y).snapped()).to_vec(),
        _ => (0..24)
            .map(|k| f64::from(k) * 15.0_f64.to_radians())
            .map(|a| {
                point(0.5 * w * a.cos() * (1.0 + 0.1 * (3.0 * a).sin()), 0.5 * h * a.sin())
                    .snapped()
            })
            .collect(),
    }
}

/// Shorter side of the box in the best of the poses, and its length there.
fn least_box(shape: &Shape) -> (f64, f64) {
    let sizes = shape.poses.iter().map(|p| {
        Motion::new(p.turn, p.flip, point(0.0, 0.0)).region(&shape.region).bounds().unwrap()
    });
    sizes.map(|b| (b.width(), b.height())).min_by(|a, b| a.0.total_cmp(&b.0)).unwrap()
}

/// Pieces of a cloth without weave (any turn of 15°, both faces) or with one, a bench hardly longer
/// than the longest of them, and up to three flaws near the free end. Every piece fits an empty
/// bench.
fn family(seed: u64) -> Problem {
    let mut r = Random(Pcg64Mcg::seed_from_u64(seed));
    let any_turn = r.below(4) > 0;
    let poses: Vec<Pose> = match any_turn {
        true => (0..24)
            .flat_map(|k| [false, true].map(|flip| Pose { turn: 15.0 * f64::from(k), flip }))
            .collect(),
        false => [0.0, 180.0].map(|turn| Pose { turn, flip: false }).to_vec(),
    };
    let count = 1 + r.below(7);
    let shapes: Vec<Shape> = (0..count)
        .map(|k| Shape {
            name: format!("piece {k}"),
            region: Region::solid(outline(&mut r)),
            poses: poses.clone(),
            tolerance: if r.below(4) == 0 { 3.0 } else { 0.0 },
            copies: 1 + r.below(4),
            may_cross: r.below(12) == 0,
        })
        .collect();
    let boxes: Vec<(f64, f64)> = shapes.iter().map(least_box).collect();
    let longest = boxes.iter().map(|b| b.0).fold(0.0, f64::max);
    let width = boxes.iter().map(|b| b.1).fold(0.0, f64::max) + 10.0 + r.mm(1, 300);
    // As long as the longest piece to the micrometre, or a little longer.
    let bench = if r.below(5) == 0 { longest.ceil() } else { longest + r.mm(1, 200) };
    let flaws = (0..r.below(4)).map(|_| {
        let (w, h) = (r.mm(5, 200), r.mm(5, 400));
        rectangle(r.mm(0, 300) * f64::from(r.below(2)), r.mm(0, 250), w, h)
    });
    let keep_out = flaws.collect();
    let extent = Extent::Open {
        low: 10.0,
        high: 10.0 + width,
        segment_max: (r.below(6) > 0).then_some(bench),
        length_max: None,
    };
    let gap = [0.0, 2.0, 5.0][r.below(3) as usize];
    Problem::new(shapes, vec![Stock { name: "roll".into(), extent, keep_out }], gap).unwrap()
}

fn first_layout(problem: &Problem) -> Outcome {
    let params = Params { lanes: 1, equal: 0.0 };
    let outcome = solve(problem, &params, &Run::new(Stop::Effort(0)).with_threads(1));
    let faults = exact::faults(problem, &outcome);
    assert!(faults.is_empty(), "{faults:#?}");
    outcome
}

/// A piece nudged off a flaw by micrometres came to lie across the end of the bench, and the whole
/// layout was given up.
#[test]
fn whatever_fits_a_short_bench_with_flaws_near_the_free_end_finds_a_place() {
    let mut failed = Vec::new();
    for seed in 0..600 {
        let outcome = first_layout(&family(seed));
        failed.extend(outcome.unplaced.first().map(|u| format!("seed {seed}: {}", u.2)));
    }
    assert!(failed.is_empty(), "{} of 600: {failed:#?}", failed.len());
}

/// The search's outline of a piece with many corners reaches a little beyond the true one, at the
/// edge of an offcut into what is no cloth: then all of the layout was given up, what lies on the
/// roll with it.
#[test]
fn pieces_of_many_corners_find_a_place_beside_offcuts_of_any_form() {
    let mut failed = Vec::new();
    for seed in 0..150 {
        let mut r = Random(Pcg64Mcg::seed_from_u64(9_000 + seed));
        let lobed = |r: &mut Random| -> Ring {
            let (a, b, lobes) = (r.between(40, 160), r.between(30, 120), f64::from(2 + r.below(4)));
            let angles = (0..160).map(|i| f64::from(i) / 160.0 * std::f64::consts::TAU);
            angles
                .map(|t| (t, 1.0 + 0.2 * (lobes * t).sin()))
                .map(|(t, s)| point(a * s * t.cos(), b * s * t.sin()).snapped())
                .collect()
        };
        let turned = |r: &mut Random| {
            if r.below(2) == 0 {
                vec![0.0, 180.0]
            } else {
                (0..24).map(|k| 15.0 * f64::from(k)).collect()
            }
        };
        let turns = turned(&mut r);
        let shapes: Vec<Shape> = (0..2 + r.below(5))
            .map(|k| Shape {
                name: format!("ply {k}"),
                region: Region::solid(lobed(&mut r)),
                poses: turns.iter().map(|&turn| Pose { turn, flip: false }).collect(),
                tolerance: 0.0,
                copies: 1 + r.below(4),
                may_cross: false,
            })
            .collect();
        let offcuts = (0..1 + r.below(5)).map(|k| {
            let (w, h) = (r.mm(150, 600), r.mm(120, 500));
            let cut = [
                (0.0, 0.0),
                (w, 0.05 * h),
                (w, 0.5 * h),
                (0.6 * w, 0.5 * h),
                (0.55 * w, h),
                (0.1 * w, 0.95 * h),
            ];
            let region = Region::solid(cut.map(|(x, y)| point(x, y).snapped()).to_vec());
            Stock {
                name: format!("off-{k}"),
                extent: Extent::Fixed { region },
                keep_out: Vec::new(),
            }
        });
        let mut stocks: Vec<Stock> = offcuts.collect();
        let extent = Extent::Open { low: 10.0, high: 610.0, segment_max: None, length_max: None };
        stocks.push(Stock { name: "roll".into(), extent, keep_out: Vec::new() });
        let outcome = first_layout(
            &Problem::new(shapes, stocks, [0.0, 2.0, 5.0][r.below(3) as usize]).unwrap(),
        );
        failed.extend(outcome.unplaced.first().map(|u| format!("seed {seed}: {}", u.2)));
    }
    assert!(failed.is_empty(), "{} of 150: {failed:#?}", failed.len());
}
