//! Mosaic layers from job file to verified plan: from offcuts, from the roll, and what is refused.
#![allow(clippy::unwrap_used)]

mod plan_schema;

use rand_pcg::Pcg64Mcg;
use rand_pcg::rand_core::{Rng, SeedableRng};
use std::path::Path;
use warpwise::geometry::{Point, Ring, point, ring_area};
use warpwise::job::{self, Job};
use warpwise::plan::{Plan, StockKind};
use warpwise::planner::{self, Earlier, Refusal};
use warpwise::run::{Run, Stop};
use warpwise::stock::{Age, Day, Offcut, OffcutFacts, Snapshot};
use warpwise::verify::{Verified, verify};

const HATCH: &str = include_str!("../demo-data/hatch.toml");

fn demo() -> &'static Path {
    Path::new(concat!(env!("CARGO_MANIFEST_DIR"), "/demo-data/hatch.toml"))
}

fn hatch(text: &str) -> Job {
    job::parse(text, demo()).unwrap().0
}

/// The same mosaic on a target of a dozen patches.
fn small() -> String {
    let (head, layer) = HATCH.split_once("[[template]]").unwrap();
    let layer = layer.split_once("[[layer]]").unwrap().1;
    let strip = "[[strip]]\nid = \"hatch-cover\"\nlength = 260\nwidth = 190\n[[layer]]";
    format!("{head}{strip}{layer}")
}

fn run(seed: u64) -> Run<'static> {
    Run::new(Stop::Effort(1)).with_seed(seed)
}

fn unit(dice: &mut Pcg64Mcg) -> f64 {
    (dice.next_u64() >> 11) as f64 / (1_u64 << 53) as f64
}

/// A made-up box of offcuts: corners off square, trapezes, angles and five-cornered pieces, areas
/// from `low` to `high` m², small ones more often than large ones.
fn made_up_box(seed: u64, count: usize, low: f64, high: f64) -> Snapshot {
    let mut dice = Pcg64Mcg::seed_from_u64(seed);
    let mut stock = Snapshot::empty(Day::parse("2026-11-25").unwrap());
    for k in 0..count {
        let mut draw = |from: f64, to: f64| from + (to - from) * unit(&mut dice);
        let area = 1e6 * low * (high / low).powf(draw(0.0, 1.0));
        let aspect = 2.2_f64.powf(draw(-1.0, 1.0));
        let (w, h) = ((area * aspect).sqrt(), (area / aspect).sqrt());
        let corner = |x: f64, y: f64| point(x * w, y * h);
        let ring: Vec<Point> = match draw(0.0, 8.0) as usize {
            0..=3 => {
                let mut near =
                    |x: f64, y: f64| corner(x + draw(-0.12, 0.12), y + draw(-0.12, 0.12));
                vec![near(0.0, 0.0), near(1.0, 0.0), near(1.0, 1.0), near(0.0, 1.0)]
            }
            4 => vec![
                corner(0.0, 0.0),
                corner(1.3, draw(-0.1, 0.1)),
                corner(draw(0.5, 0.9), 1.2),
                corner(0.15, 1.1),
            ],
            5 => (0..5)
                .map(|i| f64::from(i) * std::f64::consts::TAU / 5.0 + draw(-0.2, 0.2))
                .map(|t| corner(0.5 + 0.56 * t.cos(), 0.5 + 0.56 * t.sin()))
                .collect(),
            _ => {
                let (c, d) = (draw(0.45, 0.7), draw(0.45, 0.7));
                vec![
                    corner(0.0, 0.0),
                    corner(1.0, 0.0),
                    corner(1.0, c),
                    corner(d, c),
                    corner(d, 1.0),
                    corner(0.0, 1.0),
                ]
            }
        };
        let scale = (area / ring_area(&ring)).sqrt();
        let outline: Ring = ring.iter().map(|p| (*p * scale).snapped()).collect();
        let facts = OffcutFacts {
            id: format!("off-{}", k + 1),
            cloth: "twill-204".into(),
            outline,
            holes: Vec::new(),
            flaws: Vec::new(),
            face: warpwise::cloth::Face::Up,
            batch: None,
            age: Age::default(),
            place: None,
            added: Day::parse("2026-10-01").unwrap(),
            parent: None,
            revision: 0,
        };
        stock.offcuts.push(Offcut::new(facts).unwrap());
    }
    stock
}

fn plan(job: &Job, stock: &Snapshot, seed: u64) -> Result<Verified, Refusal> {
    planner::plan_from_stock(std::slice::from_ref(job), stock, 1, &run(seed))
}

#[test]
fn the_hatch_is_cut_from_a_box_of_forty_offcuts_that_are_filled_well() {
    for seed in 1..=2 {
        let run = Run::new(Stop::Effort(8)).with_seed(seed);
        let stock = made_up_box(seed, 40, 0.005, 0.15);
        let plan = planner::plan_from_stock(&[hatch(HATCH)], &stock, 1, &run).unwrap();
        plan_schema::keeps_to_schema(plan.plan());
        // Verified: covered, lapped, three thick at most, directions apart, inside the offcuts.
        let m = &plan.plan().mosaics[0];
        let used: f64 = plan
            .plan()
            .stocks
            .iter()
            .map(|s| s.used_length * f64::from(u8::from(s.kind == StockKind::Roll)))
            .sum();
        assert_eq!(used, 0.0, "no new cloth");
        assert!(m.from_offcuts >= 0.65 * m.opened, "seed {seed}: {:.3}", m.from_offcuts / m.opened);
        assert!(m.resultant < 0.25 && m.drift < 0.4 && m.two_ways < 0.6, "{m:?}");
    }
}

/// Seeds 22 and 37 had a patch whose growth under the second next was cut off beside a corner: some
/// mm² of the lap were missing.
#[test]
fn laps_are_whole_beside_corners_whatever_the_seed_lap_and_size() {
    let stock = Snapshot::empty(Day::parse("2026-11-25").unwrap());
    for seed in [22, 37, 1, 2, 3, 4, 5, 6] {
        let lap = if seed > 20 { 10 } else { 6 + seed };
        let text =
            HATCH.replace("seam_lap = 10", &format!("mosaic_seed = {seed}\nseam_lap = {lap}"));
        let run = Run::new(Stop::Effort(0));
        let plan = planner::plan_from_stock(&[hatch(&text)], &stock, 1, &run);
        plan_schema::keeps_to_schema(plan.unwrap_or_else(|f| panic!("seed {seed}: {f:?}")).plan());
    }
}

#[test]
fn the_same_seed_gives_the_same_mosaic() {
    let stock = made_up_box(3, 12, 0.006, 0.05);
    let job = hatch(&small());
    let first = plan(&job, &stock, 5).unwrap().into_plan();
    assert_eq!(first, plan(&job, &stock, 5).unwrap().into_plan());
    assert_ne!(first.pieces, plan(&job, &stock, 6).unwrap().into_plan().pieces);
}

#[test]
fn patches_that_are_cut_keep_their_mosaic_when_the_kit_goes_on_with_other_stock() {
    let (job, stock) = (hatch(&small()), made_up_box(3, 20, 0.006, 0.05));
    let first = plan(&job, &stock, 1).unwrap().into_plan();
    let drawn = first.drawn_from.as_ref().unwrap();
    assert!(
        first
            .stocks
            .iter()
            .all(|s| s.kind == StockKind::Roll || drawn.stocks.iter().any(|d| d.stock == s.id)),
        "booked by its name"
    );
    let cut = first.mosaics[0].patches[..3].to_vec();
    let spoiled = &first.mosaics[0].patches[3];
    let earlier = Earlier::of(&first, &|p, _| cut.iter().any(|c| c == p), &|p, _| p == spoiled);
    let other = made_up_box(9, 30, 0.006, 0.08);
    let second = planner::go_on(&[job], &other, &earlier, 1, &run(2)).unwrap().into_plan();
    plan_schema::keeps_to_schema(&second);
    assert_eq!(second.mosaics[0].patches, first.mosaics[0].patches);
    assert_eq!(second.pieces, first.pieces);
    for id in &cut {
        let on = second.stocks.iter().find(|s| s.placed.iter().any(|p| p.piece == *id)).unwrap();
        assert!(on.id.contains(" cut by "), "{id} is cut again from {}", on.id);
    }
}

#[test]
fn without_a_stock_the_patches_come_off_the_roll() {
    let job = hatch(
        &HATCH
            .replace("weave = \"twill 2/2\"\ntwill_line = 45", "weave = \"unidirectional\"")
            .replace("least_difference = 18", "least_difference = 40"),
    );
    let plan = planner::plan(&[job], 1, &run(1)).unwrap();
    let m = &plan.plan().mosaics[0];
    assert_eq!((m.modulo, m.opened, plan.plan().stocks.len()), (180.0, 0.0, 1));
    assert_eq!(plan.plan().stocks[0].placed.len(), m.patches.len());
}

#[test]
fn over_a_plug_the_last_patch_is_the_one_seen_and_each_hand_has_its_own() {
    let text = HATCH.replace("seen = \"mould side\"", "seen = \"other side\"\nhands = \"both\"");
    let (stock, run) = (made_up_box(4, 16, 0.01, 0.1), Run::new(Stop::Effort(0)).with_seed(1));
    let plan = planner::plan_from_stock(&[hatch(&text)], &stock, 1, &run).unwrap();
    let mosaics = &plan.plan().mosaics;
    assert_eq!(mosaics.len(), 2);
    assert!(mosaics.iter().all(|m| !m.earlier_on_top));
}

/// Every rule is broken once; the verifier must tell.
#[test]
fn a_wrong_mosaic_is_found_out() {
    let good = plan(&hatch(HATCH), &made_up_box(1, 16, 0.01, 0.1), 1).unwrap().into_plan();
    let told = |change: &dyn Fn(&mut Plan)| {
        let mut bad = good.clone();
        change(&mut bad);
        verify(bad.sealed()).unwrap_err().to_string()
    };
    let says = |text: String, part: &str| assert!(text.contains(part), "{part} in {text}");
    says(told(&|p| p.mosaics[0].lap = 14.0), "lies on a later patch by less than 14 mm");
    says(told(&|p| p.mosaics[0].least_difference = 44.0), "their directions differ by");
    says(told(&|p| p.mosaics[0].lap = 40.0), "shorter than two laps");
    says(told(&|p| p.mosaics[0].modulo = 180.0), "its directions repeat otherwise");
    says(told(&|p| p.mosaics[0].patches.truncate(5)), "bare");
    says(told(&|p| p.mosaics[0].patches.swap(0, 1)), "is not patch 1");
    says(told(&|p| p.mosaics.clear()), "is a patch, but not of exactly one mosaic");
    says(told(&|p| p.layers[0].trim = 30.0), "has less than its allowance");
    says(
        told(&|p| {
            let m = &mut p.mosaics[0];
            let far = m.target.iter().map(|q| *q + point(300.0, 0.0)).collect();
            m.target = far;
        }),
        "beyond the target",
    );
    // A patch moved on the mould: its origin says where it lies.
    says(told(&|p| p.pieces[0].origin = p.pieces[0].origin + point(0.0, 30.0)), "mm²");
}

#[test]
fn what_cannot_be_is_refused_with_what_would_work() {
    let refused = |from: &str, to: &str| {
        assert!(HATCH.contains(from), "{from}");
        job::parse(&HATCH.replace(from, to), demo()).unwrap_err().to_string()
    };
    let text = refused("least_difference = 18", "least_difference = 25");
    assert!(
        text.contains("cannot all differ by 25°") && text.contains("22.5° at the most"),
        "{text}"
    );
    let text = refused("seam_lap = 10", "seam_lap = 40");
    assert!(
        text.contains("a lap of 40 mm does not suit patches of 50 mm")
            && text.contains("16 mm here"),
        "{text}"
    );
    let text = refused("patch_to = 105", "patch_to = 52");
    assert!(text.contains("all of one size"), "{text}");
    let text = refused("kind = \"mosaic\"", "angle = 0");
    assert!(text.contains("`patch_from` is for mosaic layers"), "{text}");
    let text = refused("kind = \"mosaic\"", "kind = \"mosaik\"");
    assert!(text.contains("did you mean `mosaic`?"), "{text}");
    let text = refused("kind = \"mosaic\"", "kind = \"mosaic\"\nturns = [0]");
    assert!(text.contains("`turns` has no meaning in a mosaic layer"), "{text}");

    let large = hatch(
        &HATCH
            .replace("patch_from = 50", "patch_from = 900")
            .replace("patch_to = 105", "patch_to = 2000"),
    );
    let Err(Refusal::NotPlaced(faults)) = plan(&large, &made_up_box(1, 4, 0.01, 0.1), 1) else {
        panic!("planned")
    };
    let text = faults.to_string();
    assert!(
        text.contains("do not divide a target") && text.contains("ask for smaller patches"),
        "{text}"
    );
}

#[test]
fn small_offcuts_are_laid_whole_where_all_that_is_too_much_is_hidden() {
    let mut whole = 0;
    for seed in 1..=2 {
        // Verified: nothing of them is seen that should not be, no place is four thick, none
        // reaches beyond the target.
        let stock = made_up_box(seed, 90, 0.007, 0.02);
        let run = Run::new(Stop::Effort(0)).with_seed(seed);
        let plan = planner::plan_from_stock(&[hatch(HATCH)], &stock, 1, &run).unwrap().into_plan();
        for s in plan.stocks.iter().filter(|s| s.is_laid_whole()) {
            let offcut = stock.offcuts.iter().find(|o| o.id() == s.id).unwrap();
            assert!(
                s.placed[0].outline.iter().all(|p| offcut.region().outline.contains(p)),
                "its very outline"
            );
            whole += 1;
        }
    }
    assert!(whole > 0, "none of two boxes of 90 small offcuts has one");
}

/// On a slow or busy machine the time was over before the first look at the offcuts, and everything
/// was planned on new cloth.
#[test]
fn offcuts_come_first_however_short_the_time() {
    let stock = made_up_box(1, 40, 0.005, 0.15);
    let run = Run::new(Stop::After(std::time::Duration::ZERO));
    let plan = planner::plan_from_stock(&[hatch(HATCH)], &stock, 1, &run).unwrap().into_plan();
    let offcuts = plan.stocks.iter().filter(|s| s.kind == StockKind::Offcut);
    let placed: usize = offcuts.map(|s| s.placed.len()).sum();
    assert!(
        2 * placed > plan.mosaics[0].patches.len(),
        "{placed} of {} patches",
        plan.mosaics[0].patches.len()
    );
}

/// Sets beyond 200 were not planned, without a word, and the plan was refused for the patches it
/// lacked.
#[test]
fn the_two_hundred_and_first_set_of_a_mosaic_is_planned_too_and_too_many_are_a_fault() {
    // A small target of a few patches, so that hundreds of them take no time.
    let job = hatch(&small().replace("260", "120").replace("190", "90"));
    let sets =
        |sets: u32| planner::plan(std::slice::from_ref(&job), sets, &Run::new(Stop::Effort(0)));
    let plan = sets(201).unwrap();
    plan_schema::keeps_to_schema(plan.plan());
    assert_eq!(plan.plan().mosaics.len(), 201);
    let Err(Refusal::NotPlaced(faults)) = sets(30_000) else {
        panic!("planned, or refused otherwise")
    };
    assert!(
        faults.to_string().contains("at most 20000") && faults.to_string().contains("fewer sets"),
        "{faults}"
    );
}
