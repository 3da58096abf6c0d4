//! A sound plan is accepted; with any single thing changed it is refused, for that reason.
#![allow(clippy::unwrap_used)]

mod verify_support;

use proptest::prelude::*;
use verify_support::*;
use warpwise::cloth::{Cloth, Face, Permitted, Weave};
use warpwise::geometry::{Point, Ring, point};
use warpwise::job::{Hands, Seen};
use warpwise::plan::{Plan, from_json, to_json};
use warpwise::ply::Hand;
use warpwise::verify::verify;

/// An F with unequal arms: no symmetry hides a mistake.
fn letter_f() -> Ring {
    [
        (0., 0.),
        (30., 0.),
        (30., 60.),
        (80., 60.),
        (80., 90.),
        (30., 90.),
        (30., 130.),
        (110., 130.),
        (110., 160.),
        (0., 160.),
    ]
    .iter()
    .map(|&(x, y)| point(x, y))
    .collect()
}

fn the_cloth() -> Cloth {
    cloth(Weave::Plain, 500.0, 10.0)
}

/// Arrow at 20°, ply at 30°, both hands, every turn on both faces: eight copies of each hand. A
/// hole and a relief cut are carried along.
fn worked_case() -> Plan {
    let mut plan = empty(&the_cloth(), 1820.0, 2.0);
    let hole: Ring =
        vec![point(10.0, 10.0), point(10.0, 30.0), point(20.0, 30.0), point(20.0, 10.0)];
    let cut = vec![point(30.0, 100.0), point(5.0, 100.0)];
    let mut f = template("f", letter_f(), 20.0);
    (f.holes, f.cuts) = (vec![hole.clone()], vec![cut.clone()]);
    plan.templates.push(f);
    let mut only = layer(1, 30.0, 0.0);
    only.items.push(item("f", Hands::Both, 8));
    plan.layers.push(only);
    for (hand, angle, row) in [(Hand::AsTraced, 30.0, 20.0), (Hand::Mirrored, -30.0, 250.0)] {
        let origin = point(200.0, 300.0);
        let lay = |p: Point| laid(p, 20.0, hand, angle, origin);
        let mut p = piece(1, "f", laid_ring(&letter_f(), 20.0, hand, angle, origin));
        if hand == Hand::Mirrored {
            (p.piece, p.ply) = ("1-f-mirrored".into(), "1-f-mirrored".into());
        }
        p.holes = vec![laid_ring(&hole, 20.0, hand, angle, origin)];
        p.net.push(p.holes[0].clone());
        p.cuts = vec![cut.iter().map(|&q| lay(q)).collect()];
        (p.hand, p.angle, p.origin, p.copies) = (hand, angle, origin, 8);
        p.permitted = [up(&[0.0, 90.0, 180.0, 270.0]), down(&[0.0, 90.0, 180.0, 270.0])].concat();
        let way = point((-angle).to_radians().cos(), (-angle).to_radians().sin());
        p.arrow = [point(50.0, 50.0), (point(50.0, 50.0) + way * 60.0).snapped()];
        for (i, way) in p.permitted.iter().enumerate() {
            let placed =
                place_at(&p, i as u32 + 1, way.turn, way.face, 10.0 + 225.0 * i as f64, row);
            plan.stocks[0].placed.push(placed);
        }
        plan.pieces.push(p);
    }
    plan.warnings.push("none worth the name".into());
    finish(plan, &the_cloth())
}

/// A mutation, and words of the fault it must bring.
type Mutation = (fn(&mut Plan), &'static str);

const MUTATIONS: &[Mutation] = &[
    // Placement.
    (|p| p.stocks[0].placed[0].x += 0.001, "is not its piece turned"),
    (|p| p.stocks[0].placed[0].turn = 90.0, "is not its piece turned"),
    (|p| p.stocks[0].placed[0].face = Face::Down, "is not its piece turned"),
    (|p| p.stocks[0].placed[0].outline[3].y += 0.001, "is not its piece turned"),
    (|p| p.stocks[0].placed[0].holes[0][0].x += 0.001, "is not its piece turned"),
    (|p| p.stocks[0].placed[0].holes.clear(), "holes where its piece has"),
    (|p| p.stocks[0].placed[0].outline.reverse(), "wrong way round"),
    (|p| drop(p.stocks[0].placed.remove(3)), "are not placed"),
    (|p| p.stocks[0].placed[0].copy = 2, "more than once"),
    (|p| p.stocks[0].placed[0].copy = 9, "is not one of the 8 copies"),
    (|p| p.stocks[0].placed[0].piece = "nobody".into(), "no such piece"),
    (|p| p.pieces[0].copies = 9, "are not placed"),
    (|p| p.stocks[0].cloth = "glass".into(), "lies on cloth glass"),
    (
        |p| p.pieces[0].permitted.retain(|w| w.face == Face::Up),
        "lies face down, which is not permitted",
    ),
    (|p| p.pieces[0].permitted.retain(|w| w.turn != 90.0), "outside its permitted turns"),
    (|p| p.pieces[0].tolerance = 1.0, "tolerance is 1"),
    // Cloth.
    (|p| p.stocks[0].flaws.push(rectangle(100.0, 60.0, 5.0, 5.0)), "a flaw of the cloth"),
    (|p| p.stocks[0].selvedge = 100.0, "into the lower selvedge"),
    (|p| p.stocks[0].used_length = 1700.0, "must be the rectangle of its used length"),
    (|p| p.stocks[0].segments = vec![[0.0, 300.0], [300.0, 1820.0]], "within one bench segment"),
    (|p| p.stocks[0].segments = vec![[0.0, 460.0], [461.0, 1820.0]], "do not follow each other"),
    (|p| p.stocks[0].segments = vec![[0.0, 1810.0]], "bench segments end at"),
    (|p| p.rules.bench_length = Some(1500.0), "320.000 mm longer than the bench"),
    (|p| p.rules.gap = 40.0, "less than the gap of 40 mm"),
    // Preparation.
    (|p| p.pieces[0].angle = 31.0, "is laid at 31 degrees"),
    (|p| p.layers[0].angle = 31.0, "is laid at"),
    (|p| p.pieces[1].angle = 30.0, "is laid at 30 degrees"),
    (|p| p.pieces[0].hand = Hand::Mirrored, "is laid at 30 degrees"),
    (|p| p.templates[0].arrow = 21.0, "net line is not its template's"),
    (|p| p.templates[0].net[2].x += 0.01, "net line is not its template's"),
    (|p| p.pieces[0].net[0][2].x += 0.01, "net line is not its template's"),
    (|p| p.pieces[0].origin.x += 0.01, "net line is not its template's"),
    (|p| p.pieces[0].arrow.reverse(), "arrow points 180.00 degrees off"),
    (|p| p.pieces[0].cuts.clear(), "lacks a relief cut"),
    (|p| p.pieces[0].cuts[0][1].x += 0.01, "relief cut where its template has none"),
    (|p| p.pieces[0].outline[0].x += 0.1, "cut line runs"),
    (|p| p.layers[0].trim = 5.0, "has less than its allowance of 5 mm"),
    (|p| p.layers[0].items[0].copies = 7, "asks for 7 of template f"),
    (|p| p.layers[0].items[0].hands = Hands::AsTraced, "asks for 0 of template f mirrored"),
    (|p| p.layers[0].items.push(item("g", Hands::AsTraced, 1)), "which the plan lacks"),
    (|p| p.layers[0].layer = 2, "has no such layer"),
    (|p| p.templates.clear(), "lacks its template"),
    (|p| p.pieces[0].permitted.push(Permitted { turn: 45.0, face: Face::Up }), "its weave forbids"),
    (|p| p.materials[0].balanced = false, "it is not balanced"),
    (|p| p.materials[0].weave = Weave::Unidirectional, "its weave forbids"),
    (|p| p.pieces[0].patch = Some(1), "but not of exactly one mosaic"),
    // Figures and identity.
    (|p| p.cloths[0].pieces_area += 0.1, "the area of the pieces"),
    (|p| p.cloths[0].offcuts_area += 0.1, "the area of the offcuts"),
    (|p| p.cloths[0].waste_area += 100.0, "the area of the waste"),
    (|p| p.cloths[0].consumed_area -= 0.1, "the area consumed"),
    (|p| p.cloths[0].yield_ += 0.001, "the yield"),
    (|p| p.cloths[0].used_length -= 1.0, "the used length"),
    (|p| p.cloths[0].mass = p.cloths[0].mass.map(|m| m + 1.0), "the mass (g)"),
    (|p| p.cloths[0].mass = None, "without an areal mass"),
    (|p| p.cloths[0].least_length = 1821.0, "is more than the used length"),
    (|p| p.cloths[0].roll_width = 499.0, "differ from the figures"),
    (|p| p.cloths.clear(), "no figures"),
    (|p| p.stocks[0].offcuts[0].area += 1.0, "its area is"),
    (|p| p.stocks[0].offcuts[0].largest_rectangle[2] += 1.0, "largest rectangle reaches"),
    (|p| shift(&mut p.stocks[0].offcuts[0].outline, -1.0), "reaches"),
    // Numbers and rings.
    (|p| p.pieces[0].outline[0].x = f64::NAN, "too large or not a whole number"),
    (|p| p.stocks[0].placed[0].x = f64::INFINITY, "too large or not a whole number"),
    (|p| p.rules.gap = -1.0, "gap is -1"),
    (|p| p.rules.gap = 0.0005, "not a whole number of micrometres"),
    (|p| p.pieces[0].outline.truncate(2), "fewer than three points"),
    (|p| p.pieces[0].outline.clear(), "empty ring"),
    (|p| p.pieces[0].outline.swap(1, 5), "crosses or touches itself"),
    (|p| p.pieces[0].copies = 0, "number of copies is 0"),
    (|p| p.pieces[0].copies = u32::MAX, "number of copies"),
    (|p| p.pieces[1].piece = "1-f".into(), "appears more than once"),
    (|p| p.templates[0].edges.truncate(1), "edge kinds"),
];

fn shift(ring: &mut Ring, by: f64) {
    ring.iter_mut().for_each(|p| p.x += by);
}

#[test]
fn the_worked_case_is_accepted() {
    accepted(&worked_case());
}

#[test]
fn every_single_mutation_is_refused_for_its_reason() {
    let plan = worked_case();
    assert!(!plan.stocks[0].offcuts.is_empty());
    for &(mutate, words) in MUTATIONS {
        let mut wrong = plan.clone();
        mutate(&mut wrong);
        refused(wrong.sealed(), words);
    }
}

#[test]
fn a_plan_changed_after_planning_is_known_by_its_id() {
    let mut plan = worked_case();
    plan.warnings.clear();
    refused(plan, "it was changed after planning");
    let mut plan = worked_case();
    plan.stocks[0].offcuts[0].id = "other-1".into();
    refused(plan, "should be named");
}

#[test]
fn an_overridden_layer_may_widen_its_weave() {
    let mut plan = worked_case();
    plan.pieces[0].permitted.push(Permitted { turn: 45.0, face: Face::Up });
    plan.layers[0].turns_overridden = true;
    accepted(&plan.sealed());
}

/// The hand laid the wrong way round: congruent to nothing the job asked for, though every number
/// agrees with every other.
#[test]
fn a_mirror_image_in_place_of_a_hand_is_refused() {
    let mut plan = worked_case();
    let (traced, mirrored) = (plan.pieces[0].clone(), plan.pieces[1].clone());
    for (p, o) in [(0, &mirrored), (1, &traced)] {
        let p = &mut plan.pieces[p];
        (p.outline, p.holes, p.net, p.cuts) =
            (o.outline.clone(), o.holes.clone(), o.net.clone(), o.cuts.clone());
    }
    for (i, placed) in plan.stocks[0].placed.iter_mut().enumerate() {
        placed.piece = if i < 8 { "1-f-mirrored".into() } else { "1-f".into() };
    }
    refused(plan.sealed(), "net line is not its template's");
}

/// Visible twill: the book-matched hand lies at 90 - a, and only the table's turns hold.
#[test]
fn book_matched_twill_is_laid_at_90_less_the_angle() {
    let mut plan = worked_case();
    plan.materials[0].weave = Weave::Twill22;
    plan.layers[0].seen = Seen::MouldSide;
    let faults = verify(plan.sealed()).unwrap_err().to_string();
    assert!(faults.contains("is laid at -30 degrees, 90.000 off the 60"), "{faults}");
    assert!(
        faults.contains(
            "may lie at 90 face up, which its weave forbids: its line would run the other way"
        ),
        "{faults}"
    );
    assert!(faults.contains("may lie at 180 face down"), "{faults}");
    assert!(
        !faults.contains("may lie at 270 face down") && !faults.contains("may lie at 180 face up"),
        "{faults}"
    );
}

/// Angle tolerance: 2 degrees off is right under a tolerance of 2 and wrong under less; congruence
/// holds at odd angles.
#[test]
fn odd_angles_hold_within_their_tolerance() {
    let with = |tolerance: f64, turn: f64| {
        let mut plan = worked_case();
        (plan.rules.angle_tolerance, plan.pieces[0].tolerance) = (tolerance, tolerance);
        let p = plan.pieces[0].clone();
        plan.stocks[0].placed[0] = place_at(&p, 1, turn, Face::Up, 12.0, 20.0);
        plan.stocks[0].offcuts.clear();
        finish(plan, &the_cloth())
    };
    accepted(&with(2.0, 2.0));
    accepted(&with(2.0, 358.0));
    refused(with(1.5, 2.0), "0.500 degrees outside its permitted turns");
    let mut off = with(2.0, 2.0);
    off.stocks[0].placed[0].outline[4].x += 0.004;
    refused(off.sealed(), "is not its piece turned by 2");
}

#[test]
fn the_file_gives_back_the_plan_to_the_last_bit() {
    let mut plan = worked_case();
    plan.seconds = Some(0.1 + 0.2);
    let plan = plan.sealed();
    let text = to_json(&plan);
    let back = from_json(&text).unwrap();
    assert_eq!(back, plan);
    assert_eq!(to_json(&back), text);
    accepted(&back);
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 100, failure_persistence: None, ..ProptestConfig::default() })]

    /// Two rectangles side by side at the gap: the second moved by any whole micrometres is refused
    /// if and only if it comes too near.
    #[test]
    fn the_gap_is_kept_to_the_micrometre(gap in 0_i32..8000, dx in -3_i32..4, dy in -20_000_i32..20_000) {
        let gap = f64::from(gap) / 1000.0;
        let cloth = cloth(Weave::Plain, 400.0, 0.0);
        let mut plan = empty(&cloth, 600.0, gap);
        let mut only = layer(1, 0.0, 0.0);
        only.items.push(item("t", Hands::AsTraced, 2));
        plan.layers.push(only);
        plan.templates.push(template("t", rectangle(0.0, 0.0, 200.0, 100.0), 0.0));
        let mut p = piece(1, "t", rectangle(0.0, 0.0, 200.0, 100.0));
        p.copies = 2;
        plan.stocks[0].placed.push(place(&p, 1, 0.0, Face::Up, 10.0, 100.0));
        let to = (point(210.0 + gap, 120.0) + point(f64::from(dx), f64::from(dy)) * 0.001).snapped();
        plan.stocks[0].placed.push(place(&p, 2, 0.0, Face::Up, to.x, to.y));
        plan.pieces.push(p);
        let plan = finish(plan, &cloth);
        prop_assert_eq!(verify(plan).is_ok(), dx >= 0);
    }

    /// Any single number of a sound plan, replaced, is never a panic.
    #[test]
    fn no_number_brings_it_down(place in 0_usize..4000, what in 0_usize..10) {
        let value = [0.0, -0.0, 1.0, -1.0, 1e-9, 0.0005, 99_999.999, 1e18, -1e300, 1e300][what];
        static TEXT: std::sync::LazyLock<String> = std::sync::LazyLock::new(|| to_json(&worked_case()));
        let mut json: serde_json::Value = serde_json::from_str(&TEXT).unwrap();
        let mut count = place;
        replace_number(&mut json, &mut count, value);
        if let Ok(plan) = from_json(&json.to_string()) {
            let _ = verify(plan.clone().sealed());
            let _ = verify(plan);
        }
    }
}

fn replace_number(json: &mut serde_json::Value, count: &mut usize, value: f64) {
    match json {
        serde_json::Value::Number(n) => {
            if *count == 0 {
                *json = if value.fract() == 0.0 && value.abs() < 1e15 && !n.is_f64() {
                    (value as i64).into()
                } else {
                    value.into()
                };
            }
            *count = count.wrapping_sub(1);
        }
        serde_json::Value::Array(list) => {
            list.iter_mut().for_each(|v| replace_number(v, count, value))
        }
        serde_json::Value::Object(map) => {
            map.values_mut().for_each(|v| replace_number(v, count, value))
        }
        _ => {}
    }
}
