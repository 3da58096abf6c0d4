//! Which offcuts take a piece, held against what arithmetic says of rectangles, against `geo`, which
//! knows nothing of this house, and against what a recut does.
#![allow(clippy::unwrap_used)]

use geo::{Area, BooleanOps, Coord, LineString, Polygon};
use rand_pcg::Pcg64Mcg;
use rand_pcg::rand_core::{Rng, SeedableRng};
use warpwise::geometry::{Ring, point};
use warpwise::job::{self, Job};
use warpwise::plan::{Plan, PlanPiece};
use warpwise::planner::{self, CutSoFar, takers};
use warpwise::run::{Run, Stop};
use warpwise::stock::{Day, Offcut, Snapshot};

fn job(more: &str) -> (tempfile::TempDir, Job) {
    let home = tempfile::tempdir().unwrap();
    let text = format!(
        "[job]\nname = \"tub\"\n[[cloth]]\nid = \"twill\"\nweave = \"unidirectional\"\n\
         up = \"paper\"\nroll_width = 1250\nselvedge = 0\n{more}"
    );
    std::fs::write(home.path().join("job.toml"), text).unwrap();
    let job = job::load(&home.path().join("job.toml")).unwrap().0;
    (home, job)
}

fn pieces(job: &Job) -> Plan {
    let jobs = std::slice::from_ref(job);
    planner::without_layouts(&planner::prepare(jobs, 1, &Run::default()).unwrap())
}

fn strip(length: u32, width: u32, angle: u32) -> String {
    format!(
        "[[strip]]\nid = \"rib\"\nlength = {length}\nwidth = {width}\n\
         [[layer]]\ncloth = \"twill\"\nangle = {angle}\ntemplates = [\"rib\"]\n"
    )
}

fn offcut(id: &str, outline: &Ring, flaws: &[Ring], more: &str) -> Offcut {
    let facts = serde_json::json!({
        "id": id, "cloth": "twill", "added": "2026-11-20", "outline": outline, "flaws": flaws
    });
    let mut facts = facts.as_object().unwrap().clone();
    let more: serde_json::Value = serde_json::from_str(more).unwrap();
    facts.extend(more.as_object().unwrap().clone());
    Offcut::new(serde_json::from_value(facts.into()).unwrap()).unwrap()
}

fn rectangle(w: f64, h: f64) -> Ring {
    vec![point(0.0, 0.0), point(w, 0.0), point(w, h), point(0.0, h)]
}

fn stock(offcuts: Vec<Offcut>) -> Snapshot {
    Snapshot { offcuts, ..Snapshot::empty(Day::parse("2026-11-30").unwrap()) }
}

fn names(piece: &PlanPiece, gap: f64, stock: &Snapshot) -> Vec<String> {
    let found = takers(piece, gap, stock, &|_| false, (0, 99));
    assert!(found.next.is_none());
    found.found.iter().map(|t| t.offcut.id().to_string()).collect()
}

/// A strip along the warp lies in a rectangle if it is no longer and no wider; turned by 90° it
/// would lie in more of them, but a cloth with a warp does not permit that.
#[test]
fn a_strip_lies_in_rectangles_as_long_and_wide_and_in_no_other() {
    let (_home, job) = job(&strip(300, 120, 0));
    let plan = pieces(&job);
    let mut dice = Pcg64Mcg::seed_from_u64(11);
    let mut mm = |low: u32, high: u32| f64::from(low + dice.next_u32() % (high - low));
    let sizes: Vec<[f64; 2]> = (0..300)
        .map(|_| [mm(200, 400), mm(90, 160)])
        .chain([[300.0, 120.0], [299.999, 120.0], [300.0, 119.999], [120.0, 300.0]])
        .collect();
    let offcuts = sizes.iter().enumerate();
    let offcuts =
        offcuts.map(|(i, [w, h])| offcut(&format!("o{i}"), &rectangle(*w, *h), &[], "{}"));
    let stock = stock(offcuts.collect());
    let mut want: Vec<(f64, String)> = sizes
        .iter()
        .enumerate()
        .filter(|(_, [w, h])| *w >= 300.0 && *h >= 120.0)
        .map(|(i, [w, h])| (w * h, format!("o{i}")))
        .collect();
    want.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
    let want: Vec<String> = want.into_iter().map(|w| w.1).collect();
    assert!(want.len() > 50 && want[0] == "o300", "{want:?}");
    assert_eq!(names(&plan.pieces[0], plan.rules.gap, &stock), want);
}

#[test]
fn parts_of_the_answer_are_the_whole_and_nothing_is_passed_over() {
    let (_home, job) = job(&strip(200, 100, 45));
    let plan = pieces(&job);
    let piece = &plan.pieces[0];
    let offcuts = (0..120).map(|i| {
        let side = 150.0 + 2.5 * f64::from(i);
        offcut(&format!("o{i}"), &rectangle(side, side), &[], "{}")
    });
    let stock = stock(offcuts.collect());
    let whole = names(piece, plan.rules.gap, &stock);
    // Its box at 45°: (200 + 100) · √½.
    let least = 300.0 * std::f64::consts::FRAC_1_SQRT_2;
    let first = (0..120).find(|i| 150.0 + 2.5 * f64::from(*i) >= least).unwrap();
    assert_eq!(whole[0], format!("o{first}"));
    assert_eq!(whole.len(), 120 - first as usize);
    let (mut parts, mut from) = (Vec::new(), 0);
    loop {
        let some = takers(piece, plan.rules.gap, &stock, &|_| false, (from, 7));
        assert_eq!(some.of_cloth, 120);
        parts.extend(some.found.iter().map(|t| t.offcut.id().to_string()));
        match some.next {
            Some(next) => from = next,
            None => break,
        }
    }
    assert_eq!(parts, whole);
}

#[test]
fn what_is_over_another_cloth_or_left_out_is_not_offered() {
    let (_home, job) = job(&strip(300, 120, 0));
    let plan = pieces(&job);
    let whole = rectangle(400.0, 200.0);
    let stock = stock(vec![
        offcut("sound", &whole, &[], "{}"),
        offcut("old", &whole, &[], r#"{"age":{"expiry":"2026-01-01"}}"#),
        offcut("for the look", &whole, &[], r#"{"age":{"cosmetic_only":true}}"#),
        offcut("plain", &whole, &[], r#"{"cloth":"plain"}"#),
        offcut("in use", &whole, &[], "{}"),
    ]);
    let found = takers(&plan.pieces[0], 1.0, &stock, &|id| id == "in use", (0, 9));
    let names: Vec<&str> = found.found.iter().map(|t| t.offcut.id()).collect();
    assert_eq!((names, found.of_cloth), (vec!["sound"], 1));
}

fn polygon(ring: &Ring) -> Polygon<f64> {
    let line = ring.iter().map(|p| Coord { x: p.x, y: p.y }).collect::<Vec<_>>();
    Polygon::new(LineString::from(line), Vec::new())
}

/// Offcuts of every shape: each piece lies within, off the flaws, and where a recut would lay it.
#[test]
fn each_piece_lies_inside_off_the_flaws_as_geo_sees_it_and_where_a_recut_lays_it() {
    let (_home, job) = job(&strip(180, 70, 30));
    let mut dice = Pcg64Mcg::seed_from_u64(5);
    let mut share = || f64::from(dice.next_u32()) / f64::from(u32::MAX);
    let mut offcuts = Vec::new();
    for i in 0..80 {
        let (w, h) = (150.0 + 400.0 * share(), 120.0 + 300.0 * share());
        let (x, y) = (w * (0.3 + 0.4 * share()), h * (0.3 + 0.4 * share()));
        let l =
            [point(0.0, 0.0), point(w, 0.0), point(w, y), point(x, y), point(x, h), point(0.0, h)];
        let flaw = |x: f64, y: f64| {
            vec![point(x, y), point(x + 15.0, y), point(x + 15.0, y + 9.0), point(x, y + 9.0)]
        };
        let flaws: Vec<Ring> = if i % 2 == 0 { vec![flaw(0.3 * x, 0.3 * y)] } else { Vec::new() };
        let outline: Ring = l.iter().map(|p| p.snapped()).collect();
        let flaws: Vec<Ring> =
            flaws.iter().map(|f| f.iter().map(|p| p.snapped()).collect()).collect();
        offcuts.push(offcut(&format!("o{i}"), &outline, &flaws, "{}"));
    }
    let stock = stock(offcuts);
    let (plan, gap) = (pieces(&job), 3.0);
    let piece = &plan.pieces[0];
    let found = takers(piece, gap, &stock, &|_| false, (0, 99));
    assert!(found.found.len() > 10, "{}", found.found.len());
    for taker in &found.found {
        let placed = polygon(&taker.placed.outline);
        let cloth = polygon(&taker.offcut.region().outline);
        let out = placed.difference(&cloth).unsigned_area();
        assert!(out < 0.01, "{}: {out} mm² outside", taker.offcut.id());
        for flaw in taker.offcut.flaws() {
            let on = placed.intersection(&polygon(flaw)).unsigned_area();
            assert!(on < 1e-6, "{}: {on} mm² on a flaw", taker.offcut.id());
        }
        assert!(piece.permitted.iter().any(|p| (p.turn - taker.placed.turn).abs() < 1e-9));
    }
    // The piece is planned on the job's own roll and spoiled: it is cut again from the smallest.
    let run = Run::new(Stop::Effort(0)).with_seed(1);
    let made = planner::plan(std::slice::from_ref(&job), 1, &run).unwrap();
    let id = made.plan().pieces[0].piece.clone();
    let spoiled = [(id.clone(), 1)];
    let so_far = CutSoFar { kit: "kit", spoiled: &spoiled, flaw: None, is_done: &|_| false };
    let jobs = [job.clone()];
    let again = planner::recut(made.plan(), &jobs, Some(&stock), &so_far).unwrap();
    let on = again.plan().stocks.iter().find(|s| s.placed.iter().any(|p| p.piece == id)).unwrap();
    let sought = &again.plan().pieces[0];
    let first = takers(sought, again.plan().rules.gap, &stock, &|_| false, (0, 1));
    assert_eq!(on.id, first.found[0].offcut.id());
    assert_eq!(on.placed[0].outline, first.found[0].placed.outline);
}
