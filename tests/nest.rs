//! The search as a whole: known optima, every constraint, and hundreds of random problems, all
//! judged by a checker of its own.
#![allow(clippy::unwrap_used, missing_docs)]

#[path = "../benches/published/exact.rs"]
mod exact;

use std::time::Duration;
use warpwise::geometry::{Region, Ring, point};
use warpwise::nest::{
    Early, Extent, Outcome, Params, Pose, Problem, Shape, Stock, least_length, solve,
};
use warpwise::run::{Cancel, Observer, Progress, Run, Stop};

const ONE_LANE: Params = Params { lanes: 1, equal: 0.0 };

fn ring(points: &[(f64, f64)]) -> Ring {
    points.iter().map(|&(x, y)| point(x, y)).collect()
}

fn rectangle(x: f64, y: f64, w: f64, h: f64) -> Ring {
    ring(&[(x, y), (x + w, y), (x + w, y + h), (x, y + h)])
}

fn turns(degrees: &[f64]) -> Vec<Pose> {
    degrees.iter().map(|&turn| Pose { turn, flip: false }).collect()
}

fn shape(name: &str, outline: Ring, degrees: &[f64], copies: u32) -> Shape {
    Shape {
        name: name.into(),
        region: Region::solid(outline),
        poses: turns(degrees),
        tolerance: 0.0,
        copies,
        may_cross: false,
    }
}

fn strip(height: f64) -> Stock {
    Stock {
        name: "roll".into(),
        extent: Extent::Open { low: 0.0, high: height, segment_max: None, length_max: None },
        keep_out: Vec::new(),
    }
}

fn offcut(name: &str, region: Region) -> Stock {
    Stock { name: name.into(), extent: Extent::Fixed { region }, keep_out: Vec::new() }
}

fn run(problem: &Problem, params: &Params, effort: u32, seed: u64) -> Outcome {
    run_on(1, problem, params, effort, seed)
}

fn run_on(threads: usize, problem: &Problem, params: &Params, effort: u32, seed: u64) -> Outcome {
    let outcome = solve(
        problem,
        params,
        &Run::new(Stop::Effort(effort)).with_seed(seed).with_threads(threads),
    );
    let faults = exact::faults(problem, &outcome);
    assert!(faults.is_empty(), "{faults:#?}");
    outcome
}

/// Solves with one lane, checks, and returns the used length of the only stock.
fn length(problem: &Problem, effort: u32) -> f64 {
    let outcome = run(problem, &ONE_LANE, effort, 1);
    assert_eq!(outcome.unplaced, vec![]);
    outcome.stocks[0].used_length
}

#[test]
fn four_squares_close_exactly() {
    let problem = Problem::new(
        vec![shape("square", rectangle(0.0, 0.0, 10.0, 10.0), &[0.0], 4)],
        vec![strip(20.0)],
        0.0,
    )
    .unwrap();
    assert_eq!(length(&problem, 10), 20.0);
}

#[test]
fn squares_with_a_gap_close_to_the_gap() {
    let problem = Problem::new(
        vec![shape("square", rectangle(0.0, 0.0, 50.0, 50.0), &[0.0], 4)],
        vec![strip(105.0)],
        5.0,
    )
    .unwrap();
    assert_eq!(length(&problem, 10), 105.0);
}

#[test]
fn two_triangles_make_a_square() {
    let half = ring(&[(0.0, 0.0), (10.0, 0.0), (0.0, 10.0)]);
    let problem =
        Problem::new(vec![shape("half", half, &[0.0, 180.0], 2)], vec![strip(10.0)], 0.0).unwrap();
    assert_eq!(length(&problem, 10), 10.0);
}

/// Squared rectangle 33 x 32 of order 9, from memory; that its squares tile it is recomputed from
/// the areas.
#[test]
fn the_squared_rectangle_closes_exactly() {
    let sides = [18.0, 15.0, 7.0, 8.0, 14.0, 4.0, 10.0, 1.0, 9.0];
    let area: f64 = sides.iter().map(|s| s * s).sum();
    assert_eq!(area, 33.0 * 32.0);
    let shapes = sides
        .iter()
        .map(|&s| shape(&format!("square {s}"), rectangle(0.0, 0.0, s, s), &[0.0], 1))
        .collect();
    let problem = Problem::new(shapes, vec![strip(32.0)], 0.0).unwrap();
    assert_eq!(least_length(&problem).0, 33.0);
    assert_eq!(length(&problem, 400), 33.0);
}

/// The tangram on a square of side 4; vertices computed, areas 4, 4, 2, 1, 2, 1, 2.
fn tangram() -> Vec<Ring> {
    vec![
        ring(&[(0.0, 0.0), (4.0, 0.0), (2.0, 2.0)]),
        ring(&[(0.0, 0.0), (2.0, 2.0), (0.0, 4.0)]),
        ring(&[(4.0, 4.0), (2.0, 4.0), (4.0, 2.0)]),
        ring(&[(4.0, 0.0), (4.0, 2.0), (3.0, 1.0)]),
        ring(&[(2.0, 2.0), (3.0, 1.0), (4.0, 2.0), (3.0, 3.0)]),
        ring(&[(2.0, 2.0), (3.0, 3.0), (1.0, 3.0)]),
        ring(&[(0.0, 4.0), (1.0, 3.0), (3.0, 3.0), (2.0, 4.0)]),
    ]
}

#[test]
fn the_tangram_closes_to_its_square_with_quarter_turns() {
    let pieces = tangram();
    let micro = |r: &Ring| vec![exact::placed(r, 0.0, false, 0.0, 0.0)];
    let areas: Vec<f64> = pieces.iter().map(|r| warpwise::geometry::ring_area(r)).collect();
    assert_eq!(areas, [4.0, 4.0, 2.0, 1.0, 2.0, 1.0, 2.0]);
    for (i, a) in pieces.iter().enumerate() {
        assert!(pieces[..i].iter().all(|b| !exact::overlap(&micro(a), &micro(b))));
    }
    let shapes = pieces
        .into_iter()
        .enumerate()
        .map(|(i, r)| shape(&format!("tan {i}"), r, &[0.0, 90.0, 180.0, 270.0], 1))
        .collect();
    let problem = Problem::new(shapes, vec![strip(4.0)], 0.0).unwrap();
    assert_eq!(length(&problem, 400), 4.0);
}

#[test]
fn the_checker_finds_an_overlap_of_a_micrometre() {
    let square = |x: i64| vec![vec![(x, 0), (x + 10, 0), (x + 10, 10), (x, 10)]];
    assert!(!exact::overlap(&square(0), &square(10)));
    assert!(exact::overlap(&square(0), &square(9)));
    assert!(exact::overlap(&square(0), &square(0)));
}

#[test]
fn no_shapes_are_an_empty_outcome() {
    let problem = Problem::new(vec![], vec![strip(100.0)], 0.0).unwrap();
    let outcome = run(&problem, &ONE_LANE, 5, 1);
    assert!(
        outcome.placements.is_empty() && outcome.unplaced.is_empty() && outcome.stocks.is_empty()
    );
}

#[test]
fn no_stock_leaves_everything_unplaced() {
    let problem =
        Problem::new(vec![shape("a", rectangle(0.0, 0.0, 5.0, 5.0), &[0.0], 2)], vec![], 0.0)
            .unwrap();
    let outcome = run(&problem, &ONE_LANE, 5, 1);
    assert_eq!(outcome.unplaced.len(), 2);
    assert!(outcome.unplaced[0].2.contains("no stock"));
}

#[test]
fn what_fits_no_stock_is_named_with_sizes_and_the_rest_placed() {
    let shapes = vec![
        shape("long", rectangle(0.0, 0.0, 30.0, 250.0), &[0.0, 180.0], 1),
        shape("ok", rectangle(0.0, 0.0, 30.0, 20.0), &[0.0], 2),
    ];
    let outcome = run(&Problem::new(shapes, vec![strip(100.0)], 0.0).unwrap(), &ONE_LANE, 2, 1);
    assert_eq!(outcome.placements.len(), 2);
    assert_eq!(outcome.unplaced.len(), 1);
    assert!(
        outcome.unplaced[0].2.contains("30.0 x 250.0") && outcome.unplaced[0].2.contains("100.0"),
        "{}",
        outcome.unplaced[0].2
    );
}

#[test]
fn a_turn_that_is_not_permitted_is_not_used() {
    let shapes = vec![shape("bar", rectangle(0.0, 0.0, 90.0, 20.0), &[0.0], 3)];
    let problem = Problem::new(shapes, vec![strip(50.0)], 0.0).unwrap();
    assert_eq!(length(&problem, 10), 180.0);
    let shapes = vec![shape("bar", rectangle(0.0, 0.0, 45.0, 20.0), &[0.0, 90.0], 2)];
    assert_eq!(length(&Problem::new(shapes, vec![strip(45.0)], 0.0).unwrap(), 10), 40.0);
}

#[test]
fn a_face_down_pose_is_a_mirror() {
    let l = ring(&[(0.0, 0.0), (30.0, 0.0), (30.0, 10.0), (10.0, 10.0), (10.0, 20.0), (0.0, 20.0)]);
    let mut s = shape("l", l, &[], 1);
    s.poses = vec![Pose { turn: 90.0, flip: true }];
    let outcome = run(&Problem::new(vec![s], vec![strip(40.0)], 0.0).unwrap(), &ONE_LANE, 2, 1);
    assert!(outcome.placements[0].flip);
}

#[test]
fn a_flaw_is_kept_free() {
    let mut roll = strip(20.0);
    roll.keep_out.push(rectangle(10.0, 0.0, 10.0, 20.0));
    let problem = Problem::new(
        vec![shape("square", rectangle(0.0, 0.0, 10.0, 10.0), &[0.0], 4)],
        vec![roll],
        0.0,
    )
    .unwrap();
    assert_eq!(length(&problem, 10), 30.0);
}

#[test]
fn a_small_piece_goes_into_the_hole_of_a_large_one() {
    let mut frame = shape("frame", rectangle(0.0, 0.0, 60.0, 60.0), &[0.0], 1);
    let mut hole = rectangle(10.0, 10.0, 40.0, 40.0);
    hole.reverse();
    frame.region.holes.push(hole);
    let problem = Problem::new(
        vec![frame, shape("square", rectangle(0.0, 0.0, 30.0, 30.0), &[0.0], 1)],
        vec![strip(60.0)],
        5.0,
    )
    .unwrap();
    assert_eq!(length(&problem, 5), 60.0);
}

#[test]
fn offcuts_are_used_before_the_roll() {
    let l = ring(&[(0.0, 0.0), (60.0, 0.0), (60.0, 20.0), (20.0, 20.0), (20.0, 60.0), (0.0, 60.0)]);
    let shapes = vec![shape("square", rectangle(0.0, 0.0, 20.0, 20.0), &[0.0], 5)];
    let problem = Problem::new(
        shapes.clone(),
        vec![offcut("offcut", Region::solid(l.clone())), strip(100.0)],
        0.0,
    )
    .unwrap();
    let outcome = run(&problem, &ONE_LANE, 20, 1);
    assert_eq!(outcome.stocks.len(), 1);
    assert_eq!(outcome.stocks[0].stock, 0);
    // Without a roll the sixth has no place.
    let mut shapes = shapes;
    shapes[0].copies = 6;
    let outcome = run(
        &Problem::new(shapes, vec![offcut("offcut", Region::solid(l))], 0.0).unwrap(),
        &ONE_LANE,
        10,
        1,
    );
    assert_eq!((outcome.placements.len(), outcome.unplaced.len()), (5, 1));
}

#[test]
fn bench_segments_are_never_crossed_and_close_up() {
    let mut roll = strip(50.0);
    let Extent::Open { segment_max, .. } = &mut roll.extent else { unreachable!() };
    *segment_max = Some(100.0);
    let shapes = vec![shape("plate", rectangle(0.0, 0.0, 60.0, 40.0), &[0.0], 3)];
    let outcome = run(&Problem::new(shapes, vec![roll.clone()], 0.0).unwrap(), &ONE_LANE, 10, 1);
    assert_eq!(outcome.stocks[0].used_length, 180.0);
    assert_eq!(outcome.stocks[0].segments.len(), 3);
    // Pieces on both sides of a segment's end keep the gap, or the least length would be too long.
    let shapes = vec![shape("plate", rectangle(0.0, 0.0, 60.0, 40.0), &[0.0], 3)];
    let problem = Problem::new(shapes, vec![roll.clone()], 8.0).unwrap();
    let used = run(&problem, &ONE_LANE, 10, 1).stocks[0].used_length;
    assert!(least_length(&problem).0 <= used, "{used}");
    let mut tape = shape("tape", rectangle(0.0, 0.0, 250.0, 10.0), &[0.0], 1);
    tape.may_cross = true;
    let shapes = vec![tape, shape("plate", rectangle(0.0, 0.0, 60.0, 40.0), &[0.0], 3)];
    let outcome = run(&Problem::new(shapes, vec![roll], 0.0).unwrap(), &ONE_LANE, 10, 1);
    assert_eq!(outcome.placements.len(), 4);
}

#[test]
fn a_strip_that_ends_leaves_the_rest_unplaced() {
    let mut roll = strip(20.0);
    let Extent::Open { length_max, .. } = &mut roll.extent else { unreachable!() };
    *length_max = Some(35.0);
    let shapes = vec![shape("s", rectangle(0.0, 0.0, 10.0, 10.0), &[0.0], 8)];
    let outcome = run(&Problem::new(shapes, vec![roll], 0.0).unwrap(), &ONE_LANE, 5, 1);
    assert_eq!((outcome.placements.len(), outcome.unplaced.len()), (6, 2));
    assert!(outcome.unplaced[0].2.contains("35.0"));
}

#[test]
fn a_tolerance_lets_a_piece_turn_a_little() {
    // A bar turned by 2° fits no strip of its own height; within the tolerance it may lie straight.
    let straight = rectangle(0.0, 0.0, 100.0, 10.0);
    let turned = warpwise::geometry::Motion::turn(2.0).ring(&straight);
    let mut s = shape("bar", turned, &[0.0], 1);
    let at = |s: &Shape| Problem::new(vec![s.clone()], vec![strip(10.1)], 0.0).unwrap();
    assert_eq!(run(&at(&s), &ONE_LANE, 2, 1).unplaced.len(), 1);
    s.tolerance = 2.0;
    assert_eq!(run(&at(&s), &ONE_LANE, 2, 1).unplaced.len(), 0);
}

#[test]
fn threads_do_not_change_a_run_by_effort() {
    let problem = random_problem(&mut Lcg(77), 14);
    let outcomes: Vec<Outcome> = [1, 2]
        .iter()
        .map(|&threads| run_on(threads, &problem, &Params { lanes: 3, equal: 0.0 }, 4, 9))
        .collect();
    assert_eq!(outcomes[0].placements, outcomes[1].placements);
    assert_eq!(outcomes[0].stocks, outcomes[1].stocks);
    assert_eq!(outcomes[0].evaluations, outcomes[1].evaluations);
}

struct CancelAfterFirst<'a>(&'a Cancel);

impl Observer for CancelAfterFirst<'_> {
    fn progress(&self, p: &Progress<'_>) {
        if p.best_length.is_some() {
            self.0.ask();
        }
    }
}

#[test]
fn cancelling_keeps_the_best_layout() {
    let l = ring(&[(0.0, 0.0), (30.0, 0.0), (30.0, 9.0), (8.0, 9.0), (8.0, 31.0), (0.0, 31.0)]);
    let problem =
        Problem::new(vec![shape("l", l, &[0.0, 180.0], 40)], vec![strip(117.0)], 2.0).unwrap();
    let cancel = Cancel::new();
    let observer = CancelAfterFirst(&cancel);
    let run = Run::new(Stop::After(Duration::from_secs(600)))
        .with_threads(1)
        .with_cancel(&cancel)
        .with_observer(&observer);
    let outcome = solve(&problem, &ONE_LANE, &run);
    assert!(outcome.interrupted, "the cancel ended it, not the time");
    assert_eq!(outcome.placements.len(), 40);
    assert!(exact::faults(&problem, &outcome).is_empty());
}

#[test]
fn odd_sizes_neither_panic_nor_fail() {
    let needle = ring(&[(0.0, 0.0), (500.0, 0.0), (500.0, 0.002), (0.0, 0.001)]);
    let tiny = rectangle(0.0, 0.0, 0.1, 0.1);
    let huge = rectangle(0.0, 0.0, 50_000.0, 900.0);
    let doubled = ring(&[
        (0.0, 0.0),
        (0.0, 0.0),
        (9.0, 0.0),
        (9.0, 0.0),
        (9.0, 9.0),
        (4.0, 9.0),
        (4.0, 9.0),
        (0.0, 9.0),
    ]);
    let shapes = vec![
        shape("needle", needle, &[0.0, 33.0], 2),
        shape("tiny", tiny, &[0.0, 45.0], 3),
        shape("huge", huge, &[0.0], 1),
        shape("doubled", doubled, &[0.0], 2),
    ];
    let outcome = run(&Problem::new(shapes, vec![strip(1000.0)], 0.5).unwrap(), &ONE_LANE, 1, 1);
    assert_eq!(outcome.placements.len(), 8);
}

#[test]
fn the_bound_is_never_above_what_is_reached() {
    for seed in 0..20 {
        let problem = random_problem(&mut Lcg(500 + seed), 8);
        let outcome = run(&problem, &ONE_LANE, 1, seed);
        let open = outcome
            .stocks
            .iter()
            .find(|s| matches!(problem.stocks()[s.stock].extent, Extent::Open { .. }));
        if outcome.unplaced.is_empty() {
            let (bound, _) = least_length(&problem);
            assert!(open.map_or(0.0, |s| s.used_length) >= bound - 1e-6);
        }
    }
}

#[test]
fn wide_pieces_raise_the_bound() {
    let shapes = vec![shape("plate", rectangle(0.0, 0.0, 10.0, 60.0), &[0.0], 5)];
    let (bound, by) = least_length(&Problem::new(shapes, vec![strip(100.0)], 0.0).unwrap());
    assert!((bound - 50.0).abs() < 0.1 && by.contains("side by side"), "{bound} {by}");
}

/// Plates of which only two lie side by side however wide the third is: eight take four lengths,
/// where their area takes three and a quarter.
#[test]
fn plates_that_lie_two_by_two_raise_the_bound_and_end_the_search() {
    let plates = |copies: u32, gap: f64| {
        let plate = shape("plate", rectangle(0.0, 0.0, 30.0, 40.0 - gap), &[0.0], copies);
        Problem::new(vec![plate], vec![strip(100.0)], gap).unwrap()
    };
    let (bound, by) = least_length(&plates(8, 0.0));
    assert!((bound - 120.0).abs() < 1e-6 && by.contains("across the roll"), "{bound} {by}");
    // Of few, the gaps along the roll are counted too.
    let (bound, by) = least_length(&plates(8, 2.0));
    assert!((bound - 126.0).abs() < 0.05 && by.contains("rectangles"), "{bound} {by}");
    let (bound, _) = least_length(&plates(40, 2.0));
    assert!((bound - 600.0).abs() < 1e-6, "{bound}");
    let outcome = run(&plates(8, 0.0), &ONE_LANE, 9, 1);
    assert_eq!(outcome.early.map(|e| e.0), Some(Early::Least));
}

/// Plates on a few sizes, so that they often fit exactly, and a gap that is nearer at corners than
/// along both ways.
#[test]
fn the_bound_of_few_plates_is_never_above_what_is_reached() {
    let mut dice = Lcg(77);
    let mut closed = 0;
    for seed in 0..30 {
        let gap = [0.0, 2.0, 30.0][dice.below(3) as usize];
        let turned: &[f64] = if dice.below(2) == 0 { &[0.0] } else { &[0.0, 90.0] };
        let shapes: Vec<Shape> = (0..2 + dice.below(6))
            .map(|k| {
                let mut side =
                    || (1 + dice.below(8)) as f64 * 50.0 + [0.0, 7.3][dice.below(2) as usize];
                let plate = rectangle(0.0, 0.0, side(), side());
                shape(&format!("plate {k}"), plate, turned, 1 + dice.below(2) as u32)
            })
            .collect();
        let problem = Problem::new(shapes, vec![strip(500.0)], gap).unwrap();
        let (bound, _) = least_length(&problem);
        let reached = run(&problem, &ONE_LANE, 4, seed).stocks[0].used_length;
        assert!(reached >= bound - 1e-6, "{reached} {bound}");
        closed += u32::from(reached < bound * 1.0005 + 0.05);
    }
    assert!(closed >= 10, "closed: {closed} of 30");
}

/// What goes into no offcut needs the roll, however much room the offcuts have.
#[test]
fn pieces_too_large_for_every_offcut_bound_the_roll() {
    let shapes = vec![
        shape("long", rectangle(0.0, 0.0, 300.0, 60.0), &[0.0, 90.0], 2),
        shape("small", rectangle(0.0, 0.0, 20.0, 20.0), &[0.0], 5),
    ];
    let room = Region::solid(rectangle(0.0, 0.0, 250.0, 500.0));
    let stocks = vec![offcut("a", room.clone()), offcut("b", room), strip(100.0)];
    let (bound, _) = least_length(&Problem::new(shapes.clone(), stocks, 0.0).unwrap());
    assert!(bound.abs() < 1e-6, "turned, the long one goes into an offcut: {bound}");
    let room = Region::solid(rectangle(0.0, 0.0, 250.0, 290.0));
    let stocks = vec![offcut("a", room.clone()), offcut("b", room), strip(100.0)];
    let (bound, _) = least_length(&Problem::new(shapes, stocks, 0.0).unwrap());
    assert!((bound - 600.0).abs() < 1e-6, "{bound}");
}

#[test]
fn a_search_of_few_pieces_ends_when_it_no_longer_pays() {
    let mut dice = Lcg(31);
    let shapes: Vec<Shape> = (0..4)
        .map(|k| shape(&format!("blob {k}"), blob(&mut dice, 60.0), &[0.0, 180.0], 1))
        .collect();
    let problem = Problem::new(shapes, vec![strip(130.0)], 2.0).unwrap();
    let week = Stop::After(Duration::from_secs(7 * 24 * 3600));
    let outcome = solve(&problem, &ONE_LANE, &Run::new(week).with_threads(1).while_it_pays());
    assert!(exact::faults(&problem, &outcome).is_empty());
    assert!(matches!(outcome.early, Some((Early::Again | Early::Slow, _))), "{:?}", outcome.early);
    // By effort it goes on, so that it is the same on every machine.
    let run = Run::new(Stop::Effort(3)).with_threads(1).while_it_pays();
    assert_eq!(solve(&problem, &ONE_LANE, &run).early, None);
}

/// A small generator for the random problems, independent of the search's own.
struct Lcg(u64);

impl Lcg {
    fn below(&mut self, n: u64) -> u64 {
        self.0 =
            self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (self.0 >> 33) % n
    }

    fn real(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.below(1 << 20) as f64 / (1 << 20) as f64
    }
}

/// A star-shaped polygon around the origin.
fn blob(dice: &mut Lcg, size: f64) -> Ring {
    let n = 3 + dice.below(8) as usize;
    (0..n)
        .map(|k| {
            let a = (k as f64 + dice.real(-0.3, 0.3)) / n as f64 * std::f64::consts::TAU;
            let r = size * dice.real(0.35, 1.0);
            point(r * libm::cos(a), r * libm::sin(a)).snapped()
        })
        .collect()
}

fn snapped(ring: Ring) -> Ring {
    ring.into_iter().map(|p| p.snapped()).collect()
}

/// A problem with every constraint mixed in.
fn random_problem(dice: &mut Lcg, pieces: u64) -> Problem {
    let mut shapes = Vec::new();
    for k in 0..1 + dice.below(pieces) {
        let size = dice.real(5.0, 40.0);
        let outline = if dice.below(3) == 0 {
            rectangle(0.0, 0.0, size, dice.real(3.0, 50.0))
        } else {
            blob(dice, size)
        };
        let mut region = Region::solid(snapped(outline));
        if dice.below(4) == 0 {
            let w = dice.real(20.0, 60.0);
            region = Region::solid(snapped(rectangle(0.0, 0.0, w, w)));
            let mut hole = snapped(rectangle(4.0, 4.0, w - 8.0, w - 9.0));
            hole.reverse();
            region.holes.push(hole);
        }
        let all = [
            (0.0, false),
            (90.0, false),
            (180.0, false),
            (270.0, true),
            (0.0, true),
            (30.0, false),
            (17.3, true),
        ];
        let poses = (0..1 + dice.below(3))
            .map(|_| all[dice.below(7) as usize])
            .map(|(turn, flip)| Pose { turn, flip })
            .collect();
        shapes.push(Shape {
            name: format!("shape {k}"),
            region,
            poses,
            tolerance: if dice.below(5) == 0 { 1.5 } else { 0.0 },
            copies: 1 + dice.below(3) as u32,
            may_cross: dice.below(6) == 0,
        });
    }
    let mut stocks = Vec::new();
    for k in 0..dice.below(3) {
        let region = match dice.below(3) {
            0 => Region::solid(rectangle(0.0, -20.0, 90.0, 70.0)),
            1 => Region::solid(ring(&[
                (-10.0, 0.0),
                (100.0, 10.0),
                (90.0, 90.0),
                (40.0, 50.0),
                (5.0, 80.0),
            ])),
            _ => {
                let mut hole = rectangle(30.0, 30.0, 20.0, 25.0);
                hole.reverse();
                Region { outline: rectangle(0.0, 0.0, 110.0, 100.0), holes: vec![hole] }
            }
        };
        stocks.push(offcut(&format!("offcut {k}"), region));
    }
    if dice.below(6) > 0 {
        let mut roll = strip(100.0);
        roll.extent = Extent::Open {
            low: dice.real(0.0, 10.0),
            high: dice.real(70.0, 150.0),
            segment_max: (dice.below(3) == 0).then(|| dice.real(60.0, 140.0)),
            length_max: (dice.below(5) == 0).then(|| dice.real(50.0, 300.0)),
        };
        stocks.push(roll);
    }
    for stock in &mut stocks {
        if dice.below(3) == 0 {
            let (x, y) = (dice.real(0.0, 80.0), dice.real(0.0, 80.0));
            stock
                .keep_out
                .push(blob(dice, 12.0).iter().map(|p| point(p.x + x, p.y + y).snapped()).collect());
        }
    }
    let gap = [0.0, 0.0, 2.0, 5.0, 0.3333][dice.below(5) as usize];
    Problem::new(shapes, stocks, gap).unwrap()
}

#[test]
fn hundreds_of_random_problems_break_no_rule() {
    for seed in 0..700 {
        let problem = random_problem(&mut Lcg(seed * 7919 + 13), 6);
        let outcome = solve(&problem, &ONE_LANE, &Run::default().with_seed(seed).with_threads(1));
        let faults = exact::faults(&problem, &outcome);
        assert!(faults.is_empty(), "seed {seed}: {faults:#?}");
        assert!(
            !outcome.unplaced.iter().any(|u| u.2.contains("ended before")),
            "seed {seed}: no first layout"
        );
    }
}

/// Pieces whose corners lie on a lattice of 10 mm and whose edges run along, across or midway
/// between.
fn random_on_lattice(dice: &mut Lcg) -> Problem {
    let shapes = (0..2 + dice.below(3)).map(|k| {
        let mut side = |least: u64| 10.0 * (least + dice.below(4)) as f64;
        let (w, h) = (side(3), side(3));
        let outline = match k % 3 {
            0 => ring(&[(0.0, 0.0), (w, 0.0), (w, 10.0), (10.0, 10.0), (10.0, h), (0.0, h)]),
            1 => {
                ring(&[(10.0, 0.0), (w, 0.0), (w, h - 10.0), (w - 10.0, h), (0.0, h), (0.0, 10.0)])
            }
            _ => ring(&[
                (0.0, 0.0),
                (w, 0.0),
                (w, h),
                (w - 10.0, h),
                (w - 10.0, 20.0),
                (10.0, 20.0),
                (10.0, h),
                (0.0, h),
            ]),
        };
        let turns = [&[0.0, 90.0][..], &[0.0], &[0.0, 180.0, 270.0]][dice.below(3) as usize];
        let both = dice.below(2) == 0;
        let poses = turns
            .iter()
            .flat_map(|&turn| [false, true].map(|flip| Pose { turn, flip }))
            .filter(|p| both || !p.flip)
            .collect();
        Shape { poses, copies: 1 + dice.below(3) as u32, ..shape("plate", outline, turns, 1) }
    });
    Problem::new(
        shapes.collect(),
        vec![strip(90.0 + 5.0 * dice.below(4) as f64)],
        [0.0, 0.0, 10.0][dice.below(3) as usize],
    )
    .unwrap()
}

/// On a coarse lattice the search looks at every place instead of samples.
#[test]
fn random_problems_on_a_lattice_break_no_rule() {
    for seed in 0..200 {
        let problem = random_on_lattice(&mut Lcg(seed * 7907 + 3));
        let outcome = run(&problem, &ONE_LANE, 2, seed);
        assert!(outcome.unplaced.is_empty(), "seed {seed}");
        assert!(outcome.stocks[0].used_length >= least_length(&problem).0 - 1e-6, "seed {seed}");
    }
}

/// Few pieces: what the lanes work on stands still soon, and they begin anew in groups within the
/// run.
#[test]
fn raced_starts_break_no_rule_and_do_not_depend_on_threads() {
    let mut problems: Vec<Problem> =
        (0..8).map(|seed| random_problem(&mut Lcg(seed * 104_729 + 5), 3)).collect();
    for seed in 0..3 {
        let mut flawed = strip(500.0);
        flawed.keep_out.push(rectangle(200.0, 100.0, 60.0, 40.0));
        problems.push(Problem::new(plies(seed, 4, 1), vec![flawed], 5.0).unwrap());
    }
    for (k, problem) in problems.iter().enumerate() {
        let outcomes = [1, 2]
            .map(|threads| run_on(threads, problem, &Params { lanes: 4, equal: 0.002 }, 12, 1));
        assert_eq!(outcomes[0].placements, outcomes[1].placements, "problem {k}");
        assert_eq!(outcomes[0].evaluations, outcomes[1].evaluations, "problem {k}");
    }
}

/// Plies of believable shape: `n` blobs, all different.
fn plies(seed: u64, n: u32, copies: u32) -> Vec<Shape> {
    let mut dice = Lcg(seed);
    (0..n)
        .map(|k| {
            let size = dice.real(40.0, 160.0);
            shape(&format!("ply {k}"), blob(&mut dice, size), &[0.0, 180.0], copies)
        })
        .collect()
}

/// An ellipse of so many corners whose radius swells and shrinks by a share.
fn lobed((a, b): (f64, f64), lobes: f64, by: f64, corners: u32) -> Ring {
    let angles = (0..corners).map(|i| f64::from(i) / f64::from(corners) * std::f64::consts::TAU);
    angles
        .map(|t| {
            let r = 1.0 + by * libm::sin(lobes * t);
            point(a * r * libm::cos(t), b * r * libm::sin(t)).snapped()
        })
        .collect()
}

/// Segments of whole raster cells were longer than the bench, so that after some metres no bench
/// end was to be had; segments were closed up by outlines that the search's own reach beyond; a run
/// of cells begun below the stock missed what lies above its edge.
#[test]
fn hundreds_of_pieces_on_a_short_bench_have_a_first_layout() {
    for seed in 0..6 {
        let mut dice = Lcg(4_000 + seed);
        let mut shapes: Vec<Shape> = (0..12)
            .map(|k| {
                // Many corners, so that the search simplifies them.
                let (a, b, lobes) =
                    (dice.real(80.0, 330.0), dice.real(60.0, 280.0), dice.real(2.0, 5.0).floor());
                shape(
                    &format!("ply {k}"),
                    lobed((a, b), lobes, 0.2, 160),
                    &[0.0, 90.0, 180.0, 270.0],
                    45,
                )
            })
            .collect();
        if seed % 2 == 1 {
            let mut tape = shape("tape", rectangle(0.0, 0.0, 3_000.0, 60.0), &[0.0], 4);
            tape.may_cross = true;
            shapes.push(tape);
        }
        let mut roll = strip(1_250.0);
        roll.extent =
            Extent::Open { low: 10.0, high: 1_240.0, segment_max: Some(2_399.5), length_max: None };
        let problem = Problem::new(shapes, vec![roll], 5.0).unwrap();
        let outcome =
            solve(&problem, &ONE_LANE, &Run::new(Stop::Effort(0)).with_seed(seed).with_threads(1));
        assert_eq!(outcome.unplaced, vec![], "seed {seed}");
    }
}

#[test]
fn hundreds_of_pieces_are_shortened_window_by_window() {
    for seed in 0..4 {
        let mut dice = Lcg(7_000 + seed);
        let mut shapes: Vec<Shape> = (0..9)
            .map(|k| {
                let (a, b, lobes) =
                    (dice.real(30.0, 90.0), dice.real(25.0, 80.0), dice.real(2.0, 5.0).floor());
                let corners = if k % 3 == 0 { 90 } else { 5 + k };
                shape(&format!("ply {k}"), lobed((a, b), lobes, 0.25, corners), &[0.0, 180.0], 40)
            })
            .collect();
        let mut roll = strip(600.0);
        if seed % 2 == 1 {
            roll.extent = Extent::Open {
                low: 10.0,
                high: 590.0,
                segment_max: Some(1_500.0),
                length_max: None,
            };
            shapes[1].may_cross = true;
        }
        if seed >= 2 {
            roll.keep_out.push(rectangle(400.0, 200.0, 90.0, 70.0));
        }
        let problem =
            Problem::new(shapes, vec![roll], [0.0, 4.0][(seed / 2 % 2) as usize]).unwrap();
        let at = |effort: u32| {
            let outcome = run_on(0, &problem, &Params { lanes: 3, equal: 0.0 }, effort, seed);
            assert_eq!(outcome.unplaced, vec![], "seed {seed}");
            outcome.stocks[0].used_length
        };
        // Past the first sweep, so that windows have lain two ways.
        let (first, later) = (at(0), at(40));
        assert!(later < 0.985 * first, "seed {seed}: {first} mm came to {later} mm");
    }
}

/// The largest rectangle along the strip without a piece, by points every `step` mm: for every pair
/// of rows the longest free run of columns.
fn largest_free(problem: &Problem, outcome: &Outcome, height: f64, step: f64) -> f64 {
    let rings: Vec<Ring> = outcome
        .placements
        .iter()
        .map(|p| {
            warpwise::geometry::Motion::new(p.turn, p.flip, point(p.x, p.y))
                .ring(&problem.shapes()[p.shape].region.outline)
        })
        .collect();
    let inside = |ring: &Ring, x: f64, y: f64| {
        (0..ring.len())
            .filter(|&i| {
                let (a, b) = (ring[i], ring[(i + 1) % ring.len()]);
                (a.y > y) != (b.y > y) && x < a.x + (b.x - a.x) * (y - a.y) / (b.y - a.y)
            })
            .count()
            % 2
            == 1
    };
    let (rows, columns) =
        ((height / step) as usize, (outcome.stocks[0].used_length / step) as usize);
    let free: Vec<Vec<bool>> = (0..rows)
        .map(|r| {
            (0..columns)
                .map(|c| {
                    !rings
                        .iter()
                        .any(|g| inside(g, (c as f64 + 0.5) * step, (r as f64 + 0.5) * step))
                })
                .collect()
        })
        .collect();
    let mut best = 0;
    for low in 0..rows {
        let mut all = vec![true; columns];
        for (high, row) in free.iter().enumerate().skip(low) {
            all.iter_mut().zip(row).for_each(|(a, f)| *a &= f);
            let longest = all.split(|a| !a).map(<[bool]>::len).max().unwrap_or(0);
            best = best.max(longest * (high + 1 - low));
        }
    }
    best as f64 * step * step
}

/// Beside two panels too wide to lie side by side there is room: where the small pieces go is for
/// what is left to say.
#[test]
fn layouts_of_equal_length_leave_the_larger_rectangle() {
    let panel = ring(&[
        (0.0, 0.0),
        (301.0, 0.0),
        (301.0, 190.0),
        (160.0, 190.0),
        (150.0, 170.0),
        (140.0, 190.0),
        (0.0, 190.0),
    ]);
    let mut shapes = plies(5, 6, 1);
    shapes.push(shape("panel", panel, &[0.0, 180.0], 2));
    let problem = Problem::new(shapes, vec![strip(300.0)], 2.0).unwrap();
    let (mut plain, mut useful) = (0.0, 0.0);
    for seed in 1..=4 {
        let of = |equal: f64| run_on(2, &problem, &Params { lanes: 2, equal }, 6, seed);
        let (shortest, chosen) = (of(0.0), of(0.002));
        let (a, b) = (shortest.stocks[0].used_length, chosen.stocks[0].used_length);
        assert!(b <= a * 1.002 + 1e-9, "seed {seed}: {a} and {b} mm");
        // A longer layout must be worth its length.
        let (before, after) = (
            largest_free(&problem, &shortest, 300.0, 2.0),
            largest_free(&problem, &chosen, 300.0, 2.0),
        );
        plain += before;
        useful += after - (b - a) * 300.0;
    }
    assert!(useful > 1.2 * plain, "free rectangles of {useful} against {plain} mm² in all");
}

/// What is left of a roll narrower than its selvedges was measured as if it had endless rows.
#[test]
fn a_roll_narrower_than_its_selvedges_takes_nothing_and_leaves_nothing() {
    let problem = Problem::new(
        vec![shape("ply", rectangle(0.0, 0.0, 50.0, 50.0), &[0.0], 2)],
        vec![strip(-5.0)],
        2.0,
    )
    .unwrap();
    let outcome = run(&problem, &Params { lanes: 1, equal: 0.002 }, 1, 1);
    assert_eq!((outcome.placements.len(), outcome.unplaced.len()), (0, 2));
}

/// A guard against a search that quietly gets worse: fixed effort and seed, so the length is the
/// same on every machine. Worse fails; when it gets better by more than 0.2 %, record the new
/// length here.
#[test]
fn the_recorded_lengths_are_still_reached() {
    let quarter = [0.0, 90.0, 180.0, 270.0];
    let l = ring(&[(0.0, 0.0), (60.0, 0.0), (60.0, 20.0), (20.0, 20.0), (20.0, 50.0), (0.0, 50.0)]);
    let t = ring(&[
        (0.0, 0.0),
        (70.0, 0.0),
        (70.0, 18.0),
        (45.0, 18.0),
        (45.0, 60.0),
        (25.0, 60.0),
        (25.0, 18.0),
        (0.0, 18.0),
    ]);
    let blocks = vec![
        shape("l", l, &quarter, 8),
        shape("t", t, &quarter, 6),
        shape("bar", rectangle(0.0, 0.0, 15.0, 80.0), &quarter, 5),
    ];
    let mut benched = strip(600.0);
    let Extent::Open { segment_max, .. } = &mut benched.extent else { unreachable!() };
    *segment_max = Some(700.0);
    let mut flawed = strip(500.0);
    flawed.keep_out.push(rectangle(200.0, 100.0, 60.0, 40.0));
    let guards = [
        ("blocks", Problem::new(blocks, vec![strip(160.0)], 0.0).unwrap(), BLOCKS),
        ("plies round a flaw", Problem::new(plies(3, 14, 2), vec![flawed], 5.0).unwrap(), FLAWED),
        (
            "many plies on a bench",
            Problem::new(plies(4, 40, 4), vec![benched], 2.0).unwrap(),
            BENCHED,
        ),
    ];
    let mut faults = Vec::new();
    for (name, problem, recorded) in guards {
        let outcome = run_on(2, &problem, &Params { lanes: 2, equal: 0.0 }, 20, 1);
        let length = outcome.stocks[0].used_length;
        if length > recorded + 1e-9 {
            faults.push(format!("{name}: {length} mm, recorded {recorded} mm"));
        } else if length < recorded * 0.998 {
            faults.push(format!(
                "{name}: {length} mm is better than the recorded {recorded} mm: record it"
            ));
        }
    }
    assert!(faults.is_empty(), "{faults:#?}");
}

const BLOCKS: f64 = 238.0;
const FLAWED: f64 = 1398.453;
const BENCHED: f64 = 4714.123;
