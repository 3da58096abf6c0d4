//! Plans changed by hand: every one that comes out is verified, and what was not touched stays.
#![allow(clippy::unwrap_used, missing_docs)]

use std::path::Path;
use std::sync::Arc;
use std::time::Duration;
use warpwise::cloth::Face;
use warpwise::geometry::ring_bounds;
use warpwise::job::{self, Job};
use warpwise::ledger::Moment;
use warpwise::plan::{self, PlacedPiece, Plan, StockKind};
use warpwise::planner::{self, CutTable, Lay, Met};
use warpwise::run::{Run, Stop};
use warpwise::stock::{Day, Offcut, Snapshot};
use warpwise::verify::{self, Verified};
use warpwise::workshop::{FlawOn, OpenJob, Phase, Planning, Refused, Settings};

const JOB: &str = "[job]\nname = \"tapes\"\n[[cloth]]\nid = \"tape\"\nweave = \"plain\"\nup = \"paper\"\n\
                   roll_width = 400\nselvedge = 10\n[cutting]\ngap = 5\n\
                   [[strip]]\nid = \"rail\"\nlength = 260\nwidth = 45\n\
                   [[strip]]\nid = \"rim\"\nlength = 120\nwidth = 70\n\
                   [[layer]]\ncloth = \"tape\"\nangle = 0\ntemplates = [\"rail\", \"rim\"]\ncopies = 4\n";

fn jobs(dir: &Path, text: &str) -> Vec<Job> {
    std::fs::write(dir.join("job.toml"), text).unwrap();
    vec![job::load(&dir.join("job.toml")).unwrap().0]
}

fn run() -> Run<'static> {
    Run::new(Stop::Effort(1)).with_threads(1)
}

fn table() -> CutTable {
    let home = tempfile::tempdir().unwrap();
    let jobs = jobs(home.path(), JOB);
    let plan = planner::plan(&jobs, 1, &run()).unwrap();
    CutTable::new(Arc::new(plan), jobs, None).unwrap()
}

fn placed(plan: &Plan) -> Vec<(String, PlacedPiece)> {
    let of = |s: &plan::PlanStock| {
        s.placed.iter().map(|p| (s.id.clone(), p.clone())).collect::<Vec<_>>()
    };
    plan.stocks.iter().flat_map(of).collect()
}

/// A wish for a placed piece to lie somewhere else on its stock.
fn moved((stock, p): &(String, PlacedPiece), dx: f64, dy: f64) -> Lay {
    Lay {
        piece: p.piece.clone(),
        copy: p.copy,
        stock: stock.clone(),
        turn: p.turn,
        face: p.face,
        x: p.x + dx,
        y: p.y + dy,
    }
}

/// What comes out of a file is judged anew.
fn as_read(plan: &Verified) -> Plan {
    let read = plan::from_json(&plan::to_json(plan.plan())).unwrap();
    verify::verify(read).unwrap().plan().clone()
}

#[test]
fn a_piece_is_laid_where_it_is_free_and_nothing_else_moves() {
    let mut table = table();
    let before = placed(table.plan().plan());
    let (first, second) = (before[0].clone(), before[1].clone());
    let corner = |p: &PlacedPiece| ring_bounds(&p.outline).unwrap().min;
    let by = corner(&second.1) - corner(&first.1);
    let onto = moved(&first, by.x + 1.0, by.y);
    let judged = table.judge(&onto).unwrap();
    assert!(judged.overlaps.iter().any(|(met, by)| matches!(met, Met::Piece(..)) && *by > 1.0));
    let refused = table.lay(&onto).unwrap_err();
    assert!(refused.to_string().contains("does not keep clear of piece"), "{refused}");
    let [x, y] = table.nearest(&onto).unwrap().unwrap();
    let made = table.lay(&Lay { x, y, ..onto }).unwrap();
    let plan = as_read(&made);
    let after = placed(&plan);
    for (stock, p) in &before {
        let is_it = p.piece == first.1.piece && p.copy == first.1.copy;
        let now = after.iter().find(|(_, q)| (&q.piece, q.copy) == (&p.piece, p.copy)).unwrap();
        assert_eq!(&now.0, stock);
        assert_eq!((now.1.x, now.1.y) == (p.x, p.y), !is_it, "{}", p.piece);
    }
    let end = after.iter().map(|(_, p)| ring_bounds(&p.outline).unwrap().max.x);
    assert_eq!(plan.stocks[0].used_length, end.fold(0.0, f64::max));
    assert_eq!(plan.cloths[0].used_length, plan.stocks[0].used_length);
}

/// As the builds before pins and starts laid them out (2026-11-29): without any, nothing changed.
#[test]
fn a_plan_without_pins_is_the_very_one_it_was() {
    let plan = table();
    let lies = |(_, p): &(String, PlacedPiece)| (p.copy, p.turn, p.x, p.y);
    let all: Vec<_> = placed(plan.plan().plan()).iter().map(lies).collect();
    let rails =
        [(1, 0.0, 0.0, 345.0), (2, 90.0, 245.0, 30.0), (3, 0.0, 0.0, 295.0), (4, 90.0, 45.0, 30.0)];
    let rims = [
        (1, 90.0, 120.0, 170.0),
        (2, 90.0, 195.0, 45.0),
        (3, 90.0, 195.0, 170.0),
        (4, 90.0, 120.0, 45.0),
    ];
    assert_eq!(all, [rails, rims].concat());
}

#[test]
fn what_may_not_be_is_refused_with_its_reason() {
    let mut table = table();
    let first = placed(table.plan().plan())[0].clone();
    let good = moved(&first, 0.0, 0.0);
    for (lay, why) in [
        (Lay { turn: 45.0, ..good.clone() }, "may not lie turned by 45"),
        (Lay { x: f64::NAN, ..good.clone() }, "no place"),
        (Lay { y: 1e12, ..good.clone() }, "no place"),
        (Lay { piece: "none".into(), ..good.clone() }, "no piece none"),
        (Lay { copy: 0, ..good.clone() }, "with a copy 0"),
        (Lay { stock: "off-9".into(), ..good.clone() }, "cannot be cut from off-9"),
        (Lay { y: -100.0, ..good.clone() }, "edge of the cloth"),
    ] {
        let fault = table.lay(&lay).unwrap_err().to_string();
        assert!(fault.contains(why), "{fault}");
    }
    assert!(table.lay(&good).is_ok(), "where it lies it may lie");
    assert!(table.pin("none", 1, true).is_err());
}

#[test]
fn the_rest_is_nested_around_what_is_pinned() {
    let mut first = table();
    let before = placed(first.plan().plan());
    let shortest = first.plan().plan().cloths[0].used_length;
    // Far out on the roll, and pinned there.
    let wish = moved(&before[0], 2000.0, 0.0);
    let far = Arc::new(first.lay(&wish).unwrap());
    let table = |plan: &Arc<Verified>| {
        let home = tempfile::tempdir().unwrap();
        CutTable::new(Arc::clone(plan), jobs(home.path(), JOB), None).unwrap()
    };
    let pinned = Arc::new(table(&far).pin(&wish.piece, wish.copy, true).unwrap());
    let around = as_read(&table(&pinned).around("tape", &run()).unwrap());
    let held = placed(&around).into_iter().find(|(_, p)| p.pinned).unwrap();
    assert_eq!((held.1.x, held.1.y), (wish.x, wish.y), "what is pinned stays");
    let end = ring_bounds(&held.1.outline).unwrap().max.x;
    assert_eq!(around.cloths[0].used_length, end);
    // Free again it comes back, and nothing is lost by having begun from there.
    let free = Arc::new(
        table(&Arc::new(verify::verify(around).unwrap()))
            .pin(&wish.piece, wish.copy, false)
            .unwrap(),
    );
    let back = as_read(&table(&free).around("tape", &run()).unwrap());
    assert!(back.cloths[0].used_length <= shortest * 1.02, "{}", back.cloths[0].used_length);
    assert!(table(&free).around("none", &run()).is_err());
}

#[test]
fn a_piece_goes_from_the_roll_to_an_offcut_and_back() {
    let home = tempfile::tempdir().unwrap();
    let jobs = jobs(home.path(), JOB);
    let mut stock = Snapshot::empty(Day::parse("2026-11-29").unwrap());
    let plan = planner::plan_from_stock(&jobs, &stock, 1, &run()).unwrap();
    // The offcut comes in after the plan was made.
    let facts = serde_json::json!({
        "id": "off-1", "cloth": "tape", "added": "2026-11-29",
        "outline": [[0, 0], [300, 0], [300, 150], [0, 150]],
    });
    stock.offcuts.push(Offcut::new(serde_json::from_value(facts).unwrap()).unwrap());
    let stock = Arc::new(stock);
    let mut table = CutTable::new(Arc::new(plan), jobs.clone(), Some(Arc::clone(&stock))).unwrap();
    let before = placed(table.plan().plan());
    let drawn = table.drawn("tape").unwrap();
    assert!(drawn.0.stocks.iter().any(|s| s.id == "off-1"), "it can be dragged to");
    let rim = before.iter().find(|(_, p)| p.outline.len() == 4 && p.piece.contains("rim")).unwrap();
    let mut wish = Lay { stock: "off-1".into(), x: 400.0, y: 40.0, ..moved(rim, 0.0, 0.0) };
    let judged = table.judge(&wish).unwrap();
    assert_eq!(judged.overlaps[0].0, Met::Edge);
    [wish.x, wish.y] = table.nearest(&wish).unwrap().unwrap();
    let on_offcut = Arc::new(table.lay(&wish).unwrap());
    let plan = as_read(&on_offcut);
    let offcut = plan.stocks.iter().find(|s| s.id == "off-1").unwrap();
    assert_eq!((offcut.kind, offcut.placed.len()), (StockKind::Offcut, 1));
    let drawn = plan.drawn_from.as_ref().unwrap();
    assert!(drawn.stocks.iter().any(|s| s.stock == "off-1") && drawn.saved.len() == 1);
    // Nested around, it stays on the offcut, which costs nothing.
    let mut table =
        CutTable::new(Arc::clone(&on_offcut), jobs.clone(), Some(Arc::clone(&stock))).unwrap();
    let around = as_read(&table.around("tape", &run()).unwrap());
    assert!(around.stocks.iter().any(|s| s.id == "off-1"));
    assert!(around.cloths[0].used_length <= plan.cloths[0].used_length);
    let back = as_read(&table.lay(&moved(rim, 0.0, 0.0)).unwrap());
    assert!(back.stocks.iter().all(|s| s.id != "off-1"), "nothing is left on it");
    assert!(back.drawn_from.unwrap().stocks.iter().all(|s| s.stock != "off-1"));
}

fn settings() -> Settings {
    Settings { stop: Stop::Effort(1), early: false, seed: 1, threads: 1, sets: 1, day: now().day }
}

fn now() -> Moment {
    Moment { seconds: 1_796_000_000, day: Day::parse("2026-11-29").unwrap() }
}

fn done(planning: &Planning) {
    while planning.is_running() {
        std::thread::sleep(Duration::from_millis(2));
    }
    assert_eq!(planning.news().phase, Phase::Done, "{}", planning.news().faults);
}

#[test]
fn what_is_done_by_hand_is_on_disk_verified_and_can_be_taken_back() {
    let home = tempfile::tempdir().unwrap();
    std::fs::write(home.path().join("job.toml"), JOB).unwrap();
    let mut open = OpenJob::open(home.path()).unwrap();
    assert!(open.table(&now()).is_err(), "there is no plan yet");
    done(&open.begin(settings(), &now()).unwrap());
    let on_disk = || {
        let text = std::fs::read_to_string(home.path().join("plan/plan.json")).unwrap();
        verify::verify(plan::from_json(&text).unwrap()).unwrap().plan().clone()
    };
    let first = on_disk();
    let piece = placed(&first)[0].clone();
    let wish = moved(&piece, 900.0, 0.0);
    open.lay(&wish, &first.id, &now()).unwrap();
    let second = on_disk();
    assert_ne!(first.id, second.id);
    assert_eq!(open.plan().unwrap().unwrap().plan(), &second, "what is in hand is what is on disk");
    let report = std::fs::read_to_string(home.path().join("plan/report.html")).unwrap();
    assert!(report.contains(&second.id[..8]), "the sheets follow");
    // Another page saw the first plan only.
    assert_eq!(open.lay(&wish, &first.id, &now()), Err(Refused::Stale));
    open.pin((&wish.piece, wish.copy), true, &second.id, &now()).unwrap();
    let third = on_disk();
    done(&open.around("tape", settings(), &third.id, &now()).unwrap());
    let fourth = on_disk();
    assert!(placed(&fourth).iter().any(|(_, p)| p.pinned && p.x == wish.x));
    for plan in [third, second, first] {
        let seen = on_disk().id;
        // A search that changed nothing is no step.
        if seen != plan.id {
            open.take_back(&seen, &now()).unwrap();
        }
        assert_eq!(on_disk(), plan);
    }
    assert!(!open.can_take_back());
    let seen = on_disk().id;
    assert!(open.take_back(&seen, &now()).is_err());
}

#[test]
fn a_plan_from_a_stock_that_the_job_does_not_name_says_so() {
    let home = tempfile::tempdir().unwrap();
    let jobs = jobs(home.path(), JOB);
    let stock = Snapshot::empty(now().day);
    let plan = planner::plan_from_stock(&jobs, &stock, 1, &run()).unwrap();
    std::fs::create_dir(home.path().join("plan")).unwrap();
    std::fs::write(home.path().join("plan/plan.json"), plan::to_json(plan.plan())).unwrap();
    let mut open = OpenJob::open(home.path()).unwrap();
    let refused = open.table(&now()).map(|_| ()).unwrap_err().to_string();
    assert!(refused.contains("does not name"), "{refused}");
}

#[test]
fn a_flaw_drawn_on_the_roll_is_recorded_and_the_plan_mends_itself() {
    let home = tempfile::tempdir().unwrap();
    std::fs::write(home.path().join("job.toml"), JOB).unwrap();
    let mut open = OpenJob::open(home.path()).unwrap();
    done(&open.begin(settings(), &now()).unwrap());
    let before = open.plan().unwrap().unwrap();
    let flaw = |along, across| FlawOn { stock: "tape".into(), along, across };
    let seen = &before.plan().id;
    let nowhere = flaw([50.0, 50.0], [0.0, 400.0]);
    assert!(matches!(open.mend(&nowhere, settings(), seen, &now()), Err(Refused::Faults(_))));
    let found = flaw([100.0, 130.0], [120.0, 500.0]);
    done(&open.mend(&found, settings(), seen, &now()).unwrap().unwrap());
    let text = std::fs::read_to_string(home.path().join("job.toml")).unwrap();
    assert!(text.contains("[[cloth.flaw]]") && text.contains("from = 100"), "{text}");
    let after = open.plan().unwrap().unwrap();
    let on_flaw = |p: &PlacedPiece| {
        let b = ring_bounds(&p.outline).unwrap();
        b.min.x < 130.0 && b.max.x > 100.0 && b.max.y > 120.0
    };
    assert!(placed(before.plan()).iter().any(|(_, p)| on_flaw(p)), "it was in the way");
    assert!(!placed(after.plan()).iter().any(|(_, p)| on_flaw(p)));
    assert_eq!(after.plan().stocks[0].flaws.len(), 1);
    assert!(!open.can_take_back(), "plans of before do not know of the flaw");
    assert_eq!(placed(after.plan()).iter().filter(|p| p.1.face == Face::Down).count(), 0);
}
