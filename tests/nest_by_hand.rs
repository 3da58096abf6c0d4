//! What is laid by hand: pins, places to begin from, and the judge of a move; outcomes are judged
//! by the tests' own checker, places by `geo`.
#![allow(clippy::unwrap_used, missing_docs)]

#[path = "../benches/published/exact.rs"]
mod exact;

use geo::{BooleanOps, Distance, Euclidean, LineString, Polygon};
use warpwise::geometry::{Motion, Region, Ring, point};
use warpwise::nest::{
    Extent, Judge, Neighbour, Outcome, Params, Pin, Placement, Pose, Problem, Shape, Stock, solve,
};
use warpwise::run::{Run, Stop};

const ONE_LANE: Params = Params { lanes: 1, equal: 0.0 };

fn rectangle(x: f64, y: f64, w: f64, h: f64) -> Ring {
    vec![point(x, y), point(x + w, y), point(x + w, y + h), point(x, y + h)]
}

/// An L of four by three units of `u`, one thick.
fn angle(u: f64) -> Ring {
    [(0.0, 0.0), (4.0, 0.0), (4.0, 1.0), (1.0, 1.0), (1.0, 3.0), (0.0, 3.0)]
        .map(|(x, y)| point(u * x, u * y))
        .to_vec()
}

fn shape(outline: Ring, degrees: &[f64], copies: u32) -> Shape {
    Shape {
        name: "shape".into(),
        region: Region::solid(outline),
        poses: degrees.iter().map(|&turn| Pose { turn, flip: false }).collect(),
        tolerance: 0.0,
        copies,
        may_cross: false,
    }
}

fn strip(height: f64) -> Stock {
    let extent = Extent::Open { low: 0.0, high: height, segment_max: None, length_max: None };
    Stock { name: "roll".into(), extent, keep_out: Vec::new() }
}

fn solved(problem: &Problem, effort: u32) -> Outcome {
    let outcome =
        solve(problem, &ONE_LANE, &Run::new(Stop::Effort(effort)).with_threads(1).with_seed(7));
    assert_eq!(outcome.unplaced, vec![]);
    outcome
}

/// The same outcome with the pins as shapes of their own, held against every rule.
fn faults(problem: &Problem, outcome: &Outcome) -> Vec<String> {
    let mut shapes = problem.shapes().to_vec();
    let mut outcome = outcome.clone();
    for pin in problem.pins() {
        let stock = outcome.stocks.iter().position(|s| s.stock == pin.stock).unwrap();
        let place = Placement {
            shape: shapes.len(),
            copy: 0,
            stock,
            turn: 0.0,
            flip: false,
            x: 0.0,
            y: 0.0,
        };
        let fixed = shape(pin.region.outline.clone(), &[0.0], 1);
        shapes.push(Shape { may_cross: pin.may_cross, ..fixed });
        outcome.placements.push(place);
    }
    let whole = Problem::new(shapes, problem.stocks().to_vec(), problem.gap()).unwrap();
    exact::faults(&whole, &outcome)
}

fn pin(outline: Ring) -> Pin {
    Pin { stock: 0, region: Region::solid(outline), may_cross: false }
}

fn mixed() -> Vec<Shape> {
    vec![
        shape(angle(30.0), &[0.0, 90.0, 180.0, 270.0], 6),
        shape(rectangle(0.0, 0.0, 70.0, 45.0), &[0.0, 90.0], 5),
    ]
}

#[test]
fn what_is_pinned_stays_and_the_rest_keeps_the_gap_to_it() {
    let pins = vec![pin(rectangle(60.0, 80.0, 70.0, 45.0)), pin(rectangle(10.0, 10.0, 33.3, 20.0))];
    let problem =
        Problem::new(mixed(), vec![strip(250.0)], 5.0).unwrap().with_pins(pins.clone()).unwrap();
    let outcome = solved(&problem, 3);
    assert_eq!(faults(&problem, &outcome), Vec::<String>::new());
    // Far out a pin ends the layout, and nothing has to be squeezed.
    let far = pin(rectangle(2000.0, 0.0, 40.0, 40.0));
    let problem = Problem::new(mixed(), vec![strip(250.0)], 5.0)
        .unwrap()
        .with_pins([pins, vec![far]].concat())
        .unwrap();
    let outcome = solved(&problem, 1);
    assert_eq!(outcome.stocks[0].used_length, 2040.0);
    assert_eq!(faults(&problem, &outcome), Vec::<String>::new());
}

#[test]
fn bench_segments_end_where_no_pin_lies() {
    let mut roll = strip(250.0);
    let Extent::Open { segment_max, .. } = &mut roll.extent else { unreachable!() };
    *segment_max = Some(200.0);
    let pins = vec![pin(rectangle(150.0, 100.0, 100.0, 45.0))];
    let problem = Problem::new(mixed(), vec![roll], 5.0).unwrap().with_pins(pins).unwrap();
    let outcome = solved(&problem, 2);
    assert!(outcome.stocks[0].segments.len() > 1);
    assert_eq!(faults(&problem, &outcome), Vec::<String>::new());
}

#[test]
fn an_offcut_with_a_pin_takes_what_fits_beside_it() {
    let fixed = |region| Stock {
        name: "offcut".into(),
        extent: Extent::Fixed { region },
        keep_out: Vec::new(),
    };
    let stocks = vec![fixed(Region::solid(rectangle(0.0, 0.0, 150.0, 100.0))), strip(250.0)];
    let pins = vec![pin(rectangle(0.0, 0.0, 70.0, 100.0))];
    let shapes = vec![shape(rectangle(0.0, 0.0, 70.0, 45.0), &[0.0], 3)];
    let problem = Problem::new(shapes, stocks, 5.0).unwrap().with_pins(pins).unwrap();
    let outcome = solved(&problem, 2);
    assert_eq!(faults(&problem, &outcome), Vec::<String>::new());
    let on_offcut = outcome.placements.iter().filter(|p| outcome.stocks[p.stock].stock == 0);
    assert_eq!(on_offcut.count(), 2);
}

/// The places of an outcome, as a start.
fn start(outcome: &Outcome) -> Vec<Placement> {
    let stock = |p: &Placement| outcome.stocks[p.stock].stock;
    outcome.placements.iter().map(|p| Placement { stock: stock(p), ..p.clone() }).collect()
}

#[test]
fn a_start_that_keeps_the_rules_is_never_made_longer() {
    let plain = Problem::new(mixed(), vec![strip(250.0)], 5.0).unwrap();
    let good = solved(&plain, 6);
    let again = plain.clone().with_start(start(&good));
    let none = solve(&again, &ONE_LANE, &Run::new(Stop::Effort(0)).with_threads(1));
    assert_eq!(none.stocks[0].used_length, good.stocks[0].used_length);
    assert_eq!(none.placements, good.placements, "what is good stays as it is");
}

/// One piece is pinned where others lie: they make room, and the layout stays about as long.
#[test]
fn a_start_with_overlaps_is_freed_of_them() {
    let plain = Problem::new(mixed(), vec![strip(250.0)], 5.0).unwrap();
    let good = solved(&plain, 4);
    let mut shapes = mixed();
    shapes[1].copies = 4;
    let moved = pin(rectangle(60.0, 60.0, 70.0, 45.0));
    let places = start(&good).into_iter().filter(|p| (p.shape, p.copy) != (1, 4)).collect();
    let problem = Problem::new(shapes, vec![strip(250.0)], 5.0)
        .unwrap()
        .with_pins(vec![moved])
        .unwrap()
        .with_start(places);
    let outcome = solved(&problem, 1);
    assert_eq!(faults(&problem, &outcome), Vec::<String>::new());
    let (before, after) = (good.stocks[0].used_length, outcome.stocks[0].used_length);
    assert!(after < 1.35 * before, "{before} {after}");
}

#[test]
fn a_pin_on_no_stock_or_without_area_is_a_fault() {
    let problem = || Problem::new(mixed(), vec![strip(250.0)], 5.0).unwrap();
    let nowhere = Pin { stock: 1, ..pin(rectangle(0.0, 0.0, 9.0, 9.0)) };
    assert!(problem().with_pins(vec![nowhere]).is_err());
    assert!(problem().with_pins(vec![pin(vec![point(0.0, 0.0); 3])]).is_err());
}

/// With more than 150 pieces stretches of the roll are worked on, and what lies right of one moves
/// along as it shrinks: once it came to lie on flaws.
#[test]
fn pieces_right_of_a_stretch_keep_off_flaws() {
    let mut roll = strip(400.0);
    roll.keep_out = (1..8).map(|k| rectangle(140.0 * f64::from(k), 100.0, 12.0, 160.0)).collect();
    let shapes =
        vec![shape(angle(13.0), &[0.0, 180.0], 120), shape(angle(11.0), &[0.0, 90.0], 120)];
    let problem = Problem::new(shapes, vec![roll], 2.0).unwrap();
    let outcome = solved(&problem, 4);
    assert_eq!(faults(&problem, &outcome), Vec::<String>::new());
}

fn polygon(ring: &Ring) -> Polygon {
    let line = |r: &Ring| LineString::from_iter(r.iter().map(|p| (p.x, p.y)));
    Polygon::new(line(ring), Vec::new())
}

fn at(shape: usize, copy: u32, x: f64, y: f64) -> Placement {
    Placement { shape, copy, stock: 0, turn: 0.0, flip: false, x, y }
}

#[test]
fn a_place_is_free_near_or_overlapping_and_with_whom() {
    let shapes = vec![shape(rectangle(0.0, 0.0, 50.0, 40.0), &[0.0], 3)];
    let mut stock = strip(200.0);
    stock.keep_out = vec![rectangle(300.0, 0.0, 20.0, 200.0)];
    let mut judge = Judge::new(&shapes, &[stock], 5.0);
    judge.put(&at(0, 0, 100.0, 100.0));
    judge.put(&at(0, 1, 0.0, 0.0));
    let free = judge.judge(&at(0, 2, 155.0, 100.0)).unwrap();
    assert!(free.is_free(), "{free:?}");
    assert_eq!(judge.nearest(&at(0, 2, 155.0, 100.0)), Some((155.0, 100.0)));
    // Where it lies itself is no obstacle to it.
    assert!(judge.judge(&at(0, 0, 101.0, 100.0)).unwrap().is_free());
    let near = judge.judge(&at(0, 2, 153.0, 100.0)).unwrap();
    assert_eq!(near.touches, [(Neighbour::Shape(0, 0), 2.0)]);
    assert_eq!(near.overlaps, []);
    assert_eq!(judge.nearest(&at(0, 2, 153.0, 100.0)), Some((155.0, 100.0)));
    let over = judge.judge(&at(0, 2, 140.0, 100.0)).unwrap();
    assert_eq!(over.overlaps, [(Neighbour::Shape(0, 0), 15.0)]);
    assert_eq!(judge.nearest(&at(0, 2, 140.0, 100.0)), Some((155.0, 100.0)));
    let on_flaw = judge.judge(&at(0, 2, 260.0, 100.0)).unwrap();
    assert_eq!(on_flaw.overlaps, [(Neighbour::KeepOut(0), 10.0)]);
    let beside = judge.nearest(&at(0, 2, 260.0, 100.0));
    assert_eq!(beside, Some((250.0, 100.0)), "no gap is kept to a flaw");
    let out = judge.judge(&at(0, 2, 200.0, 163.0)).unwrap();
    assert_eq!(out.overlaps, [(Neighbour::Edge, 3.0)]);
    assert_eq!(judge.nearest(&at(0, 2, 200.0, 163.0)), Some((200.0, 160.0)));
}

#[test]
fn where_nothing_is_free_no_place_is_named_and_nonsense_is_none() {
    let shapes = vec![shape(rectangle(0.0, 0.0, 50.0, 40.0), &[0.0, 90.0], 3)];
    let fixed = |w, h| Stock {
        name: "offcut".into(),
        extent: Extent::Fixed { region: Region::solid(rectangle(0.0, 0.0, w, h)) },
        keep_out: Vec::new(),
    };
    let mut judge = Judge::new(&shapes, &[fixed(90.0, 60.0), fixed(45.0, 55.0)], 5.0);
    judge.put(&at(0, 0, 20.0, 10.0));
    assert!(!judge.judge(&at(0, 1, 0.0, 0.0)).unwrap().is_free());
    assert_eq!(judge.nearest(&at(0, 1, 0.0, 0.0)), None);
    let narrow = Placement { stock: 1, ..at(0, 1, 0.0, 0.0) };
    assert_eq!(judge.nearest(&narrow), None, "too long in this turn");
    let turned = Placement { turn: 90.0, x: 60.0, ..narrow.clone() };
    assert_eq!(judge.nearest(&turned), Some((45.0, 0.0)));
    for nonsense in [
        at(0, 1, f64::NAN, 0.0),
        at(0, 1, f64::INFINITY, 0.0),
        at(0, 1, 1e9, 0.0),
        at(7, 0, 0.0, 0.0),
        Placement { stock: 9, ..narrow },
        Placement { turn: f64::NAN, ..turned },
    ] {
        assert!(judge.judge(&nonsense).is_none(), "{nonsense:?}");
        assert!(judge.nearest(&nonsense).is_none(), "{nonsense:?}");
        judge.put(&nonsense);
    }
}

/// What the search lays out is free, piece by piece; and the nearest place that is named is free by
/// `geo` and no further than any of a raster.
#[test]
fn the_nearest_place_is_free_and_none_is_nearer() {
    let shapes = mixed();
    let (gap, high) = (5.0, 250.0);
    let problem = Problem::new(shapes.clone(), vec![strip(high)], gap).unwrap();
    let outcome = solved(&problem, 2);
    let mut judge = Judge::new(&shapes, &[strip(high)], gap);
    outcome.placements.iter().for_each(|p| judge.put(p));
    let placed = |p: &Placement| {
        polygon(&Motion::new(p.turn, p.flip, point(p.x, p.y)).ring(&shapes[p.shape].region.outline))
    };
    for p in &outcome.placements {
        assert!(judge.judge(p).unwrap().is_free(), "{p:?}");
    }
    let free = |p: &Placement, gap: f64| {
        let mine = placed(p);
        let inside = mine.exterior().coords().all(|c| c.x >= -1e-6 && c.y >= -1e-6 && c.y <= high);
        inside
            && outcome.placements.iter().all(|o| {
                (o.shape, o.copy) == (p.shape, p.copy) || {
                    let other = placed(o);
                    let meet = mine.intersection(&other);
                    meet.0.is_empty() && Euclidean.distance(&mine, &other) >= gap
                }
            })
    };
    for (k, p) in outcome.placements.iter().enumerate() {
        // Dragged onto another.
        let onto = &outcome.placements[(k + 3) % outcome.placements.len()];
        let dragged = Placement { x: onto.x + 7.0, y: onto.y - 3.0, ..p.clone() };
        let (x, y) = judge.nearest(&dragged).unwrap();
        let found = Placement { x, y, ..p.clone() };
        assert!(free(&found, gap - 1e-6), "{found:?}");
        let far = (x - dragged.x).hypot(y - dragged.y);
        let reach = far - 1.0;
        let steps = (reach / 4.0).ceil() as i32;
        for i in -steps..=steps {
            for j in -steps..=steps {
                let (dx, dy) = (4.0 * f64::from(i), 4.0 * f64::from(j));
                // Simplified outlines are wider by up to 0.4 % of 120 mm; these are plain enough
                // to stay as they are.
                if dx.hypot(dy) < reach {
                    let nearer = Placement { x: dragged.x + dx, y: dragged.y + dy, ..p.clone() };
                    assert!(!free(&nearer, gap), "{nearer:?} is nearer than {found:?}");
                }
            }
        }
    }
}
