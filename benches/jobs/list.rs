//! The jobs: 5 to 400 pieces on the cloths, rolls and offcuts that workshops have. Invented.

use super::outlines::{self, Dice, turned};
use warpwise::geometry::{Region, Ring, point};
use warpwise::nest::{Extent, Pose, Problem, Shape, Stock};

/// What a cloth permits.
#[derive(Clone, Copy, PartialEq)]
enum Weave {
    /// Plain weave: quarter turns on either face.
    Plain,
    /// Twill that is seen: half turns face up, quarter turns face down.
    Twill,
    /// One direction: half turns, one face.
    OneWay,
    /// A mat: any turn in steps of 15°, either face.
    Mat,
    /// The same mat held to quarter turns, to tell what turning brings.
    QuarterMat,
}

impl Weave {
    fn poses(self) -> Vec<Pose> {
        let of = |turns: &[f64], flip: bool| -> Vec<Pose> {
            turns.iter().map(|&turn| Pose { turn, flip }).collect()
        };
        let quarters = [0.0, 90.0, 180.0, 270.0];
        let steps: Vec<f64> = (0..24).map(|k| f64::from(k) * 15.0).collect();
        match self {
            Weave::Plain | Weave::QuarterMat => {
                [of(&quarters, false), of(&quarters, true)].concat()
            }
            Weave::Twill => [of(&[0.0, 180.0], false), of(&[90.0, 270.0], true)].concat(),
            Weave::OneWay => of(&[0.0, 180.0], false),
            Weave::Mat => [of(&steps, false), of(&steps, true)].concat(),
        }
    }
}

/// A job to be made.
struct Recipe {
    name: &'static str,
    seed: u64,
    weave: Weave,
    /// Different pieces, and of each so many.
    pieces: usize,
    sets: u32,
    /// Least and greatest length of a piece.
    sizes: (f64, f64),
    roll: f64,
    gap: f64,
    tolerance: f64,
    /// Flaws on each 2 m of the roll.
    flaws: bool,
    offcuts: usize,
    bench: Option<f64>,
    /// Layers lie at 0° and also at these.
    angles: &'static [f64],
    /// Joint tapes beside the pieces.
    tapes: u32,
}

const PLAIN: Recipe = Recipe {
    name: "",
    seed: 0,
    weave: Weave::Plain,
    pieces: 20,
    sets: 1,
    sizes: (150.0, 500.0),
    roll: 1250.0,
    gap: 2.0,
    tolerance: 0.0,
    flaws: false,
    offcuts: 0,
    bench: None,
    angles: &[0.0],
    tapes: 0,
};

fn recipes() -> Vec<Recipe> {
    use Weave::*;
    let bias: &[f64] = &[0.0, 45.0, -45.0, 90.0];
    vec![
        Recipe { name: "five-large", seed: 1, pieces: 5, sizes: (500.0, 1100.0), ..PLAIN },
        Recipe { name: "twelve", seed: 2, pieces: 12, weave: Twill, gap: 5.0, ..PLAIN },
        Recipe { name: "kit-30", seed: 3, pieces: 30, weave: Twill, angles: bias, ..PLAIN },
        Recipe { name: "kit-60", seed: 4, pieces: 60, angles: bias, gap: 5.0, ..PLAIN },
        Recipe {
            name: "kit-100",
            seed: 5,
            pieces: 100,
            weave: Twill,
            sizes: (80.0, 400.0),
            ..PLAIN
        },
        Recipe {
            name: "one-way-20",
            seed: 6,
            weave: OneWay,
            roll: 300.0,
            sizes: (80.0, 280.0),
            angles: bias,
            ..PLAIN
        },
        Recipe {
            name: "one-way-40",
            seed: 7,
            pieces: 40,
            weave: OneWay,
            roll: 600.0,
            angles: bias,
            gap: 0.0,
            ..PLAIN
        },
        Recipe {
            name: "one-way-off-2",
            seed: 8,
            weave: OneWay,
            roll: 600.0,
            tolerance: 2.0,
            ..PLAIN
        },
        Recipe { name: "twill-off-5", seed: 9, weave: Twill, pieces: 16, tolerance: 5.0, ..PLAIN },
        Recipe {
            name: "kit-off-2",
            seed: 10,
            pieces: 40,
            tolerance: 2.0,
            sizes: (100.0, 400.0),
            ..PLAIN
        },
        Recipe {
            name: "mat-8",
            seed: 11,
            weave: Mat,
            pieces: 8,
            roll: 1000.0,
            sizes: (250.0, 700.0),
            ..PLAIN
        },
        Recipe { name: "mat-27", seed: 12, weave: Mat, pieces: 27, gap: 5.0, ..PLAIN },
        Recipe {
            name: "mat-60",
            seed: 13,
            weave: Mat,
            pieces: 60,
            roll: 1500.0,
            sizes: (80.0, 400.0),
            ..PLAIN
        },
        Recipe { name: "mat-sets", seed: 14, weave: Mat, pieces: 9, sets: 4, ..PLAIN },
        Recipe { name: "flaws", seed: 15, pieces: 24, weave: Twill, flaws: true, ..PLAIN },
        Recipe { name: "benched", seed: 16, pieces: 40, bench: Some(1200.0), gap: 5.0, ..PLAIN },
        Recipe { name: "offcuts-5", seed: 17, pieces: 20, weave: Twill, offcuts: 5, ..PLAIN },
        Recipe {
            name: "offcuts-20",
            seed: 18,
            pieces: 30,
            offcuts: 20,
            sizes: (100.0, 400.0),
            ..PLAIN
        },
        Recipe {
            name: "offcuts-60",
            seed: 19,
            pieces: 40,
            offcuts: 60,
            sizes: (60.0, 300.0),
            ..PLAIN
        },
        Recipe { name: "sets-4", seed: 20, pieces: 12, sets: 4, weave: Twill, gap: 5.0, ..PLAIN },
        Recipe { name: "sets-20", seed: 21, pieces: 20, sets: 20, sizes: (80.0, 300.0), ..PLAIN },
        Recipe { name: "tapes", seed: 22, pieces: 10, tapes: 16, weave: Twill, ..PLAIN },
        Recipe {
            name: "narrow",
            seed: 23,
            pieces: 18,
            roll: 500.0,
            sizes: (120.0, 460.0),
            gap: 0.0,
            ..PLAIN
        },
        Recipe {
            name: "patches-200",
            seed: 24,
            pieces: 200,
            sizes: (40.0, 120.0),
            roll: 1000.0,
            ..PLAIN
        },
    ]
}

/// A job.
pub struct Job {
    pub name: String,
    pub problem: Problem,
    /// Index of its roll.
    pub roll: usize,
    /// Clear width of the roll, mm.
    pub width: f64,
}

/// All jobs; of those with a mat also the same held to quarter turns.
pub fn jobs() -> Vec<Job> {
    let mut out: Vec<Job> = recipes().iter().map(made).collect();
    let mats = recipes().into_iter().filter(|r| r.weave == Weave::Mat);
    out.extend(mats.map(|r| {
        let job = made(&Recipe { weave: Weave::QuarterMat, ..r });
        Job { name: format!("{} by quarters", job.name), ..job }
    }));
    out
}

fn made(recipe: &Recipe) -> Job {
    let mut dice = Dice::new(recipe.seed);
    let poses = recipe.weave.poses();
    let shape = |name: String, region: Region, copies: u32, may_cross: bool| Shape {
        name,
        region,
        poses: poses.clone(),
        tolerance: recipe.tolerance,
        copies,
        may_cross,
    };
    let mut shapes: Vec<Shape> = (0..recipe.pieces)
        .map(|k| {
            let long = dice.between(recipe.sizes.0, recipe.sizes.1);
            let region = if k == 1 && recipe.pieces > 10 {
                outlines::rim(long, long * 0.7, long * 0.12)
            } else {
                outlines::any(&mut dice, long)
            };
            let angle = recipe.angles[k % recipe.angles.len()];
            shape(format!("piece {k}"), turned(&region, -angle), recipe.sets, false)
        })
        .collect();
    if recipe.tapes > 0 {
        let tape = outlines::strip(900.0, 60.0);
        shapes.push(shape("tape".into(), turned(&tape, 45.0), recipe.tapes, true));
    }
    let mut stocks: Vec<Stock> = (0..recipe.offcuts)
        .map(|k| {
            let long = dice.between(recipe.sizes.0, recipe.sizes.1 * 1.6);
            let region = outlines::any(&mut dice, long);
            let extent = Extent::Fixed { region: turned(&region, 0.0) };
            Stock { name: format!("offcut {k}"), extent, keep_out: Vec::new() }
        })
        .collect();
    let flaw = |dice: &mut Dice, k: usize| -> Ring {
        let (x, y) = (k as f64 * 700.0 + dice.between(0.0, 600.0), dice.between(0.0, recipe.roll));
        let r = dice.between(15.0, 60.0);
        (0..8)
            .map(|s| {
                let a = f64::from(s) * std::f64::consts::TAU / 8.0;
                point(x + r * a.cos(), y + r * 0.5 * a.sin()).snapped()
            })
            .collect()
    };
    let keep_out =
        if recipe.flaws { (0..4).map(|k| flaw(&mut dice, k)).collect() } else { Vec::new() };
    let extent =
        Extent::Open { low: 0.0, high: recipe.roll, segment_max: recipe.bench, length_max: None };
    stocks.push(Stock { name: "roll".into(), extent, keep_out });
    let roll = stocks.len() - 1;
    let problem = match Problem::new(shapes, stocks, recipe.gap) {
        Ok(problem) => problem,
        Err(faults) => panic!("{}: {faults}", recipe.name),
    };
    Job { name: recipe.name.to_string(), problem, roll, width: recipe.roll }
}
