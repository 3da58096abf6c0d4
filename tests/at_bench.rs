//! Ticks at the bench: counted once, taken back, and what is spoiled cut again while the rest of the
//! plan stays as it is.
#![allow(clippy::unwrap_used)]

mod plan_schema;

use std::path::PathBuf;
use warpwise::cloth::Face;
use warpwise::geometry::point;
use warpwise::ledger::{Ledger, Moment, PieceState, PieceTick, TickTo, Trouble};
use warpwise::planner::{self, CutSoFar};
use warpwise::run::{Run, Stop};
use warpwise::stock::{Age, Day, OffcutFacts, RollFacts};
use warpwise::verify::Verified;

fn now() -> Moment {
    Moment { seconds: 1_795_608_000, day: Day::parse("2026-11-25").unwrap() }
}

fn offcut(w: f64, h: f64) -> OffcutFacts {
    OffcutFacts {
        id: String::new(),
        cloth: "twill".into(),
        outline: vec![point(0.0, 0.0), point(w, 0.0), point(w, h), point(0.0, h)],
        holes: Vec::new(),
        flaws: Vec::new(),
        face: Face::Up,
        batch: Some("B1".into()),
        age: Age::default(),
        place: None,
        added: now().day,
        parent: None,
        revision: 0,
    }
}

fn roll() -> RollFacts {
    RollFacts {
        id: String::new(),
        cloth: "twill".into(),
        width: 1000.0,
        length: Some(5000.0),
        flaws: Vec::new(),
        batch: Some("B1".into()),
        age: Age::default(),
        place: None,
        added: now().day,
        revision: 0,
    }
}

/// Two layers of three strips on one roll.
const JOB: &str = r#"stock = "../stock.sqlite"
[job]
name = "tapes"
[cutting]
gap = 5
[[cloth]]
id = "twill"
weave = "plain"
up = "paper"
roll_width = 1000
selvedge = 10
[[strip]]
id = "long"
length = 900
width = 200
[[strip]]
id = "wide"
length = 500
width = 400
[[strip]]
id = "short"
length = 250
width = 100
[[layer]]
cloth = "twill"
angle = 0
templates = ["long", "wide", "short"]
copies = 2
"#;

struct Shop {
    dir: tempfile::TempDir,
    file: PathBuf,
}

impl Shop {
    fn new(text: &str) -> Shop {
        let dir = tempfile::tempdir().unwrap();
        let file = dir.path().join("stock.sqlite");
        std::fs::create_dir(dir.path().join("tapes")).unwrap();
        std::fs::write(dir.path().join("tapes/job.toml"), text).unwrap();
        Shop { dir, file }
    }

    fn job_dir(&self) -> PathBuf {
        self.dir.path().join("tapes")
    }

    fn ledger(&self) -> Ledger {
        Ledger::write(&self.file).unwrap()
    }

    fn job(&self) -> warpwise::job::Job {
        warpwise::job::load(&self.job_dir().join("job.toml")).unwrap().0
    }
}

/// A roll, and its plan.
fn planned() -> (Shop, Ledger, Verified) {
    let shop = Shop::new(JOB);
    let mut ledger = shop.ledger();
    ledger.add_roll(roll(), false, true, &now()).unwrap();
    let run = Run::new(Stop::Effort(1)).with_threads(1);
    let stock = ledger.snapshot(&now()).unwrap();
    let plan = planner::plan_from_stock(&[shop.job()], &stock, 1, &run).unwrap();
    (shop, ledger, plan)
}

fn copies(plan: &Verified) -> Vec<(String, u32)> {
    let all = plan.plan().stocks.iter().flat_map(|s| &s.placed);
    all.map(|p| (p.piece.clone(), p.copy)).collect()
}

fn tick(key: &str, (piece, copy): &(String, u32), to: TickTo) -> PieceTick {
    PieceTick { key: format!("key-{key:0>8}"), piece: piece.clone(), copy: *copy, to }
}

fn said(trouble: Trouble) -> String {
    match trouble {
        Trouble::Input(f) | Trouble::Machine(f) | Trouble::Damaged(f) => f.to_string(),
    }
}

fn states(ledger: &Ledger, plan: &Verified) -> Vec<PieceState> {
    ledger.pieces_of(plan.plan()).unwrap().iter().map(|p| p.state).collect()
}

#[test]
fn a_tick_that_comes_twice_counts_once_even_after_it_was_taken_back() {
    let (_shop, mut ledger, plan) = planned();
    let all = copies(&plan);
    let cut = tick("1", &all[0], TickTo::Cut);
    assert!(ledger.tick(&plan, &cut, &now()).unwrap());
    let history = ledger.history(99).unwrap().len();
    assert!(!ledger.tick(&plan, &cut, &now()).unwrap(), "it is known");
    assert_eq!(ledger.history(99).unwrap().len(), history);
    assert!(ledger.tick(&plan, &tick("2", &all[0], TickTo::Back), &now()).unwrap());
    assert!(states(&ledger, &plan).is_empty());
    assert!(!ledger.tick(&plan, &cut, &now()).unwrap(), "late twins do nothing");
    assert!(states(&ledger, &plan).is_empty());
    let bad = PieceTick { key: "x'; DROP".into(), ..cut.clone() };
    assert!(said(ledger.tick(&plan, &bad, &now()).unwrap_err()).contains("key"));
    let none = tick("3", &("nothing".into(), 1), TickTo::Cut);
    assert!(said(ledger.tick(&plan, &none, &now()).unwrap_err()).contains("no piece nothing"));
    // Keys travel with an export, and are held against each other.
    let text = ledger.export(&now()).unwrap();
    let dir = tempfile::tempdir().unwrap();
    let mut other = Ledger::write(&dir.path().join("other.sqlite")).unwrap();
    assert!(other.import(&text, &now()).unwrap().whole);
    assert!(!other.tick(&plan, &cut, &now()).unwrap());
    assert_eq!(other.export(&now()).unwrap(), text);
    let twice = text.replace("key-00000002", "key-00000001");
    let mut third = Ledger::write(&dir.path().join("third.sqlite")).unwrap();
    assert!(said(third.import(&twice, &now()).unwrap_err()).contains("counted twice"));
}

/// Whatever order pieces are cut and taken back in, in the end the stock is as it was.
#[test]
fn what_was_cut_by_mistake_is_taken_back_in_any_order_to_the_last_micrometre() {
    let (_shop, mut ledger, plan) = planned();
    let facts = |ledger: &Ledger| {
        let stock = ledger.snapshot(&now()).unwrap();
        let roll = stock.rolls[0].facts();
        (roll.length, roll.flaws.clone(), stock.offcuts.len())
    };
    let before = facts(&ledger);
    let all = copies(&plan);
    let mut key = 0;
    let mut go = |ledger: &mut Ledger, at: usize, to: TickTo| {
        key += 1;
        ledger.tick(&plan, &tick(&key.to_string(), &all[at], to), &now()).unwrap();
    };
    for at in 0..6 {
        go(&mut ledger, at, TickTo::Cut);
    }
    let done = facts(&ledger);
    assert!(done.0 < before.0 && done.1.is_empty(), "the last piece frees the roll: {done:?}");
    // The second piece first: the roll is there again, with the others marked on it.
    go(&mut ledger, 1, TickTo::Back);
    let open = facts(&ledger);
    assert_eq!((open.0, open.1.len(), open.2), (before.0, 5, before.2));
    go(&mut ledger, 1, TickTo::Cut);
    assert_eq!(facts(&ledger).0, done.0, "and cut again it is freed again");
    for at in [5, 0, 3, 1, 4, 2] {
        go(&mut ledger, at, TickTo::Back);
    }
    assert_eq!(facts(&ledger), before);
    assert!(states(&ledger, &plan).is_empty());
    go(&mut ledger, 2, TickTo::Back);
    assert!(states(&ledger, &plan).is_empty(), "nothing to take back is nothing");
    ledger.check().unwrap();
}

#[test]
fn spoiled_goes_back_to_what_it_was_and_laid_to_cut() {
    let (_shop, mut ledger, plan) = planned();
    let all = copies(&plan);
    let mut key = 0;
    let mut go = |to: TickTo| {
        key += 1;
        ledger.tick(&plan, &tick(&key.to_string(), &all[0], to), &now()).unwrap();
        states(&ledger, &plan).first().copied()
    };
    use PieceState::{Cut, Laid, Spoiled};
    assert_eq!(go(TickTo::Spoiled), Some(Spoiled), "one tap books and spoils");
    assert_eq!(go(TickTo::Back), None, "and one takes both back");
    assert_eq!(
        [go(TickTo::Cut), go(TickTo::Spoiled), go(TickTo::Back)],
        [Some(Cut), Some(Spoiled), Some(Cut)]
    );
    assert_eq!([go(TickTo::Laid), go(TickTo::Back)], [Some(Laid), Some(Cut)]);
    assert_eq!(go(TickTo::Laid), Some(Laid));
    assert_eq!(
        [go(TickTo::Spoiled), go(TickTo::Back), go(TickTo::Back), go(TickTo::Back)],
        [Some(Spoiled), Some(Laid), Some(Cut), None]
    );
    assert_eq!(go(TickTo::Laid), Some(Laid), "what is laid was cut");
}

#[test]
fn cloth_that_was_used_further_is_not_put_back_under_it() {
    let (_shop, mut ledger, plan) = planned();
    let all = copies(&plan);
    for (at, piece) in all.iter().enumerate() {
        ledger.tick(&plan, &tick(&at.to_string(), piece, TickTo::Cut), &now()).unwrap();
    }
    ledger
        .edit("roll-1", "measured", &now(), |r| {
            if let warpwise::ledger::Record::Roll(r) = r {
                r.facts.length = Some(100.0);
            }
        })
        .unwrap();
    let before = ledger.snapshot(&now()).unwrap();
    let refused = ledger.tick(&plan, &tick("99", &all[0], TickTo::Back), &now()).unwrap_err();
    assert!(said(refused).contains("roll-1"));
    assert_eq!(ledger.snapshot(&now()).unwrap(), before, "nothing is half done");
}

fn again(shop: &Shop, ledger: &Ledger, plan: &Verified, spoiled: &[(String, u32)]) -> Verified {
    assert!(ledger.changed_since(plan.plan()).unwrap().is_empty());
    let finished = ledger.finished(plan.plan()).unwrap();
    let so_far = CutSoFar {
        kit: plan.plan().drawn_from.as_ref().unwrap().kit.as_deref().unwrap_or(&plan.plan().id),
        spoiled,
        flaw: None,
        is_done: &|id| finished.iter().any(|f| f == id),
    };
    let stock = ledger.snapshot(&now()).unwrap();
    let made = planner::recut(plan.plan(), &[shop.job()], Some(&stock), &so_far).unwrap();
    plan_schema::keeps_to_schema(made.plan());
    made
}

#[test]
fn a_spoiled_piece_is_cut_from_the_smallest_offcut_and_all_else_stays_where_it_lies() {
    let (shop, mut ledger, plan) = planned();
    let of = |template: &str| {
        let id = &plan.plan().pieces.iter().find(|p| p.template == template).unwrap().piece;
        (id.clone(), 1)
    };
    let (short, long, wide) = (of("short"), of("long"), of("wide"));
    let ids = ledger
        .add_offcuts(vec![offcut(900.0, 700.0), offcut(110.0, 262.0)], false, false, &now())
        .unwrap();
    ledger.tick(&plan, &tick("1", &long, TickTo::Cut), &now()).unwrap();
    ledger.tick(&plan, &tick("2", &short, TickTo::Spoiled), &now()).unwrap();
    let second = again(&shop, &ledger, &plan, std::slice::from_ref(&short));
    let lies = |plan: &Verified, at: &(String, u32)| {
        let all = plan.plan().stocks.iter().flat_map(|s| s.placed.iter().map(move |p| (s, p)));
        let mut mine = all.filter(|(_, p)| (&p.piece, p.copy) == (&at.0, at.1));
        mine.next().map(|(s, p)| (s.id.clone(), p.x, p.y)).unwrap()
    };
    assert_eq!(lies(&second, &short).0, ids[1], "the smaller one takes it at a quarter turn");
    for at in copies(&plan).iter().filter(|at| **at != short) {
        assert_eq!(lies(&second, at), lies(&plan, at));
    }
    // The kit goes on by the second plan, to its end.
    for (i, at) in copies(&plan).iter().enumerate() {
        ledger.tick(&second, &tick(&format!("1{i}"), at, TickTo::Cut), &now()).unwrap();
    }
    assert_eq!(states(&ledger, &second), vec![PieceState::Cut; 6]);
    let stock = ledger.snapshot(&now()).unwrap();
    assert!(!stock.offcuts.iter().any(|o| o.id() == ids[1]), "the small offcut is used up");
    assert!(
        stock.rolls[0].facts().length < Some(5000.0) && stock.rolls[0].facts().flaws.is_empty()
    );
    // One that is spoiled after its roll is done with: what the roll left takes it, or the roll.
    ledger.tick(&second, &tick("77", &wide, TickTo::Spoiled), &now()).unwrap();
    let third = again(&shop, &ledger, &second, std::slice::from_ref(&wide));
    let set_aside: Vec<&str> =
        third.plan().drawn_from.as_ref().unwrap().cut_before.iter().map(String::as_str).collect();
    assert!(set_aside.iter().any(|id| id.starts_with("roll-1 cut by ")), "{set_aside:?}");
    assert!(!lies(&third, &wide).0.contains("cut by"));
    // What the kit left over is known as its own, so that a recut from it opens no new cloth.
    let left = ledger.left_by_kit(third.plan()).unwrap();
    let stock = ledger.snapshot(&now()).unwrap();
    let there: Vec<&str> = stock.offcuts.iter().map(|o| o.id()).collect();
    assert!(!left.is_empty() && !left.contains(&ids[0]) && !left.contains(&ids[1]), "{left:?}");
    assert!(there.iter().all(|id| *id == ids[0] || left.iter().any(|l| l == id)), "{there:?}");
    ledger.tick(&third, &tick("78", &wide, TickTo::Cut), &now()).unwrap();
    assert_eq!(states(&ledger, &third), vec![PieceState::Cut; 6]);
    // Taken back, it is spoiled again, as it was before.
    ledger.tick(&third, &tick("79", &wide, TickTo::Back), &now()).unwrap();
    assert_eq!(states(&ledger, &third).iter().filter(|s| **s == PieceState::Spoiled).count(), 1);
    ledger.check().unwrap();
}

/// What lies last on the roll goes elsewhere, off a flaw: the roll is cut where the rest ends.
#[test]
fn a_roll_is_used_no_further_than_what_lies_on_it_after_a_flaw() {
    let (shop, mut ledger, plan) = planned();
    let right = |p: &warpwise::plan::PlacedPiece| {
        p.outline.iter().map(|c| c.x).fold(f64::NEG_INFINITY, f64::max)
    };
    let roll = &plan.plan().stocks[0];
    assert_eq!(roll.used_length, roll.placed.iter().map(right).fold(0.0, f64::max));
    let last: Vec<(String, u32)> = roll
        .placed
        .iter()
        .filter(|p| right(p) > roll.used_length - 1.0)
        .map(|p| (p.piece.clone(), p.copy))
        .collect();
    ledger.add_offcuts(vec![offcut(1000.0, 500.0); last.len()], false, false, &now()).unwrap();
    let stock = ledger.snapshot(&now()).unwrap();
    let rest = roll.placed.iter().filter(|p| right(p) <= roll.used_length - 1.0);
    let from = rest.map(right).fold(0.0, f64::max) + 1.0;
    let ring = vec![
        point(from, 10.0),
        point(from + 60.0, 10.0),
        point(from + 60.0, 990.0),
        point(from, 990.0),
    ];
    let so_far = CutSoFar {
        kit: &plan.plan().id,
        spoiled: &last,
        flaw: Some((&roll.id, &ring)),
        is_done: &|_| false,
    };
    let made = planner::recut(plan.plan(), &[shop.job()], Some(&stock), &so_far).unwrap();
    let now = made.plan().stocks.iter().find(|s| s.id == roll.id).unwrap();
    assert_eq!(now.used_length, now.placed.iter().map(right).fold(0.0, f64::max));
    assert!(now.used_length < roll.used_length && now.flaws.is_empty(), "{now:?}");
    let figures = &made.plan().cloths[0];
    assert_eq!(figures.used_length, now.used_length);
}

/// The job's own flaw, which the roll had too, went with the length that was cut off.
#[test]
fn a_flaw_that_is_cut_off_by_now_is_in_nobodys_way() {
    let flaw = "flaw = [{ from = 0, to = 30, low = 0, high = 30 }]\n[[strip]]\nid = \"long\"";
    let shop = Shop::new(&JOB.replace("[[strip]]\nid = \"long\"", flaw));
    let mut ledger = shop.ledger();
    let square = vec![point(0.0, 0.0), point(30.0, 0.0), point(30.0, 30.0), point(0.0, 30.0)];
    let flawed = RollFacts { flaws: vec![square], ..roll() };
    ledger.add_roll(flawed, false, true, &now()).unwrap();
    let run = Run::new(Stop::Effort(1)).with_threads(1);
    let stock = ledger.snapshot(&now()).unwrap();
    let plan = planner::plan_from_stock(&[shop.job()], &stock, 1, &run).unwrap();
    for (i, at) in copies(&plan).iter().enumerate() {
        ledger.tick(&plan, &tick(&i.to_string(), at, TickTo::Cut), &now()).unwrap();
    }
    let at = copies(&plan)[0].clone();
    ledger.tick(&plan, &tick("99", &at, TickTo::Spoiled), &now()).unwrap();
    let next = again(&shop, &ledger, &plan, std::slice::from_ref(&at));
    assert_ne!(next.plan().id, plan.plan().id);
}

#[test]
fn where_no_offcut_takes_a_spoiled_piece_the_roll_is_cut_further() {
    let (shop, mut ledger, plan) = planned();
    // As long as the roll is wide, so that nothing between the pieces takes it.
    let long = plan.plan().pieces.iter().find(|p| p.template == "long").unwrap();
    let at = (long.piece.clone(), 2);
    let used = |plan: &Verified| plan.plan().stocks.iter().map(|s| s.used_length).sum::<f64>();
    let mut last = plan;
    for round in 0..3 {
        let key = format!("{round}");
        ledger.tick(&last, &tick(&key, &at, TickTo::Spoiled), &now()).unwrap();
        let next = again(&shop, &ledger, &last, std::slice::from_ref(&at));
        assert_eq!(next.plan().stocks.len(), 1);
        assert!(used(&next) >= used(&last), "{} then {}", used(&last), used(&next));
        assert_eq!(next.plan().stocks[0].flaws.len(), round + 1, "what was spoiled is used cloth");
        last = next;
    }
    for (i, at) in copies(&last).iter().enumerate() {
        ledger.tick(&last, &tick(&format!("2{i}"), at, TickTo::Cut), &now()).unwrap();
    }
    let left = ledger.snapshot(&now()).unwrap().rolls[0].facts().length.unwrap();
    assert!((left - (5000.0 - used(&last))).abs() < 1e-6);
}
