//! The ledger through the command and the library: what was reported done stays done, whatever
//! happens to the process or the file.
#![allow(clippy::unwrap_used)]

mod plan_schema;

use assert_cmd::cargo::CommandCargoExt;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};
use warpwise::cloth::Face;
use warpwise::geometry::point;
use warpwise::ledger::{FreezerMove, Ledger, Moment, PieceState, Trouble};
use warpwise::plan::StockKind;
use warpwise::planner::{self, Earlier};
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
        flaws: vec![vec![
            point(3000.0, 0.0),
            point(3100.0, 0.0),
            point(3100.0, 1000.0),
            point(3000.0, 1000.0),
        ]],
        batch: Some("B1".into()),
        age: Age { out_life_hours: Some(400.0), ..Age::default() },
        place: None,
        added: now().day,
        revision: 0,
    }
}

/// Three strips; the smallest fits the offcut of [`stocked`], the others do not.
const JOB: &str = r#"[job]
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
"#;

struct Shop {
    _dir: tempfile::TempDir,
    file: PathBuf,
    job: PathBuf,
}

fn shop() -> Shop {
    let dir = tempfile::tempdir().unwrap();
    let (file, job) = (dir.path().join("stock.sqlite"), dir.path().join("job.toml"));
    fs::write(&job, JOB).unwrap();
    Shop { _dir: dir, file, job }
}

/// A roll and one offcut.
fn stocked() -> (Shop, Ledger) {
    let shop = shop();
    let mut ledger = Ledger::write(&shop.file).unwrap();
    ledger.add_roll(roll(), false, true, &now()).unwrap();
    ledger.add_offcuts(vec![offcut(320.0, 180.0)], false, false, &now()).unwrap();
    (shop, ledger)
}

fn planned(shop: &Shop, ledger: &Ledger, earlier: &Earlier) -> Verified {
    let (job, _) = warpwise::job::load(&shop.job).unwrap();
    let run = Run::new(Stop::Effort(1)).with_threads(1);
    let stock = ledger.snapshot(&now()).unwrap();
    let plan = planner::go_on(&[job], &stock, earlier, 1, &run).unwrap();
    plan_schema::keeps_to_schema(plan.plan());
    plan
}

fn input(trouble: Trouble) -> String {
    match trouble {
        Trouble::Input(faults) => faults.to_string(),
        Trouble::Machine(faults) | Trouble::Damaged(faults) => panic!("{faults}"),
    }
}

fn stock(file: &Path, args: &[&str]) -> Command {
    let mut command = Command::cargo_bin("warpwise").unwrap();
    command.arg("stock").arg("--ledger").arg(file).args(args);
    command
}

fn run(file: &Path, args: &[&str]) -> Output {
    stock(file, args).output().unwrap()
}

#[test]
fn a_booked_plan_shortens_the_roll_uses_up_the_offcut_and_is_taken_back_whole() {
    let (shop, mut ledger) = stocked();
    let before = ledger.snapshot(&now()).unwrap();
    let plan = planned(&shop, &ledger, &Earlier::default());
    let on = |kind: StockKind| {
        plan.plan().stocks.iter().filter(|s| s.kind == kind).map(|s| s.placed.len()).sum::<usize>()
    };
    assert_eq!((on(StockKind::Offcut), on(StockKind::Roll)), (1, 2));
    assert!(plan.plan().drawn_from.as_ref().unwrap().saved[0].contains("1 offcut of cloth twill"));
    let used = plan.plan().stocks.iter().find(|s| s.kind == StockKind::Roll).unwrap().used_length;

    let booked = ledger.book(&plan, &[], &now()).unwrap();
    assert_eq!((booked.pieces, booked.used_up.as_slice()), (3, ["off-1".to_string()].as_slice()));
    let after = ledger.snapshot(&now()).unwrap();
    let roll = after.rolls[0].facts();
    assert!((roll.length.unwrap() - (5000.0 - used)).abs() < 1e-6);
    assert!(
        (roll.flaws[0].iter().map(|p| p.x).fold(f64::MAX, f64::min) - (3000.0 - used)).abs() < 1e-6,
        "flaws move with the free end"
    );
    assert!(!booked.added.is_empty() && after.offcuts.len() == booked.added.len());
    assert!(
        booked
            .added
            .iter()
            .all(|o| o.batch.as_deref() == Some("B1") && o.parent.is_some() && o.id != "off-1")
    );

    assert!(input(ledger.book(&plan, &[], &now()).unwrap_err()).contains("booked before"));
    ledger.undo(&now()).unwrap();
    assert_eq!(
        ledger.snapshot(&now()).unwrap(),
        before,
        "a booking is taken back to the last micrometre"
    );
}

#[test]
fn a_plan_on_stock_that_has_changed_is_refused() {
    let (shop, mut ledger) = stocked();
    let (first, second) = (
        planned(&shop, &ledger, &Earlier::default()),
        planned(&shop, &ledger, &Earlier::default()),
    );
    assert_eq!(first.plan().id, second.plan().id, "by effort the same plan comes out");
    ledger
        .edit("roll-1", "measured", &now(), |r| {
            if let warpwise::ledger::Record::Roll(r) = r {
                r.facts.length = Some(4900.0)
            }
        })
        .unwrap();
    let refused = input(ledger.book(&first, &[], &now()).unwrap_err());
    assert!(refused.contains("roll-1") && refused.contains("changed since"), "{refused}");
    assert_eq!(ledger.records("piece").unwrap().len(), 0, "nothing of it was booked");
    ledger.remove(&["off-1".to_string()], &now()).unwrap();
    assert!(
        input(ledger.book(&first, &[], &now()).unwrap_err()).contains("no longer in the stock")
    );
    let other = shop.file.with_extension("other");
    let mut other = Ledger::write(&other).unwrap();
    assert!(input(other.book(&first, &[], &now()).unwrap_err()).contains("another ledger"));
}

#[test]
fn a_spoiled_piece_goes_to_the_smallest_offcut_that_takes_it_and_what_is_cut_stays() {
    let (shop, mut ledger) = stocked();
    let plan = planned(&shop, &ledger, &Earlier::default());
    let wide = plan.plan().pieces.iter().find(|p| p.template == "wide").unwrap().piece.clone();
    ledger.book(&plan, &[], &now()).unwrap();
    let rest: Vec<String> =
        ledger.snapshot(&now()).unwrap().offcuts.iter().map(|o| o.id().to_string()).collect();
    ledger.remove(&rest, &now()).unwrap();
    // Both take it; the smaller only at a quarter turn, which a plain weave allows.
    let ids = ledger
        .add_offcuts(vec![offcut(900.0, 700.0), offcut(430.0, 530.0)], false, false, &now())
        .unwrap();
    ledger.mark(&plan, std::slice::from_ref(&wide), PieceState::Spoiled, &now()).unwrap();
    let states = ledger.pieces_of(plan.plan()).unwrap();
    let state = |piece: &str| states.iter().find(|s| s.piece == piece).map(|s| s.state);
    let earlier = Earlier::of(plan.plan(), &|p, _| state(p) == Some(PieceState::Cut), &|p, _| {
        state(p) == Some(PieceState::Spoiled)
    });
    let again = planned(&shop, &ledger, &earlier);
    let where_is = |piece: &str| {
        again
            .plan()
            .stocks
            .iter()
            .find(|s| s.placed.iter().any(|p| p.piece == piece))
            .unwrap()
            .id
            .clone()
    };
    assert_eq!(where_is(&wide), ids[1]);
    assert!(
        again
            .plan()
            .stocks
            .iter()
            .filter(|s| s.id.contains("cut by"))
            .map(|s| s.placed.len())
            .sum::<usize>()
            == 2
    );
    let booked = ledger.book(&again, &[], &now()).unwrap();
    assert_eq!((booked.pieces, booked.used_up), (1, vec![ids[1].clone()]));
    assert!(ledger.pieces_of(again.plan()).unwrap().iter().all(|p| p.state == PieceState::Cut));
    assert!(input(ledger.book(&again, &[], &now()).unwrap_err()).contains("booked before"));
}

#[test]
fn a_plan_is_booked_piece_by_piece() {
    let (shop, mut ledger) = stocked();
    let plan = planned(&shop, &ledger, &Earlier::default());
    let piece = |template: &str| {
        plan.plan().pieces.iter().find(|p| p.template == template).unwrap().number.clone()
    };
    let first = ledger.book(&plan, &[piece("long")], &now()).unwrap();
    assert_eq!(
        (first.pieces, first.cut_in_part, first.shortened.len()),
        (1, vec!["roll-1".to_string()], 0)
    );
    assert_eq!(
        ledger.snapshot(&now()).unwrap().rolls[0].facts().flaws.len(),
        2,
        "its place is taken"
    );
    assert!(input(ledger.book(&plan, &[piece("long")], &now()).unwrap_err()).contains("it is cut"));
    let second = ledger.book(&plan, &[piece("wide")], &now()).unwrap();
    assert_eq!(second.shortened.len(), 1, "the last piece of the roll frees the rest");
    assert_eq!(ledger.book(&plan, &[], &now()).unwrap().pieces, 1);
    assert!(
        input(ledger.book(&plan, &["nothing".to_string()], &now()).unwrap_err())
            .contains("no piece `nothing`")
    );
}

#[test]
fn hours_out_of_the_freezer_add_up() {
    let (_shop, mut ledger) = stocked();
    let later = |hours: i64| Moment { seconds: now().seconds + hours * 3600, ..now() };
    let id = ["roll-1".to_string()];
    ledger.freezer(&id, FreezerMove::Out, &later(0)).unwrap();
    assert!(
        input(ledger.freezer(&id, FreezerMove::Out, &later(1)).unwrap_err()).contains("already")
    );
    let out = |ledger: &Ledger, hours: i64| *ledger.snapshot(&later(hours)).unwrap().rolls[0].age();
    assert_eq!((out(&ledger, 10).out_hours, out(&ledger, 10).is_out), (10.0, true));
    ledger.freezer(&id, FreezerMove::In, &later(12)).unwrap();
    assert_eq!((out(&ledger, 500).out_hours, out(&ledger, 500).is_out), (12.0, false));
    ledger.freezer(&id, FreezerMove::Out, &later(500)).unwrap();
    assert!(out(&ledger, 889).is_over(now().day), "12 h and 389 h are past 400 h");
}

#[test]
fn what_is_wrong_is_refused_and_nothing_of_it_stays() {
    let (_shop, mut ledger) = stocked();
    let before = ledger.history(100).unwrap();
    let crossed = OffcutFacts {
        outline: vec![point(0.0, 0.0), point(100.0, 100.0), point(100.0, 0.0), point(0.0, 100.0)],
        ..offcut(1.0, 1.0)
    };
    assert!(
        input(
            ledger
                .add_offcuts(vec![offcut(100.0, 100.0), crossed], false, false, &now())
                .unwrap_err()
        )
        .contains("crosses itself")
    );
    let unknown = OffcutFacts { cloth: "twil".into(), ..offcut(100.0, 100.0) };
    assert!(
        input(ledger.add_offcuts(vec![unknown], false, false, &now()).unwrap_err())
            .contains("did you mean `twill`")
    );
    let negative = RollFacts { length: Some(-1.0), ..roll() };
    assert!(ledger.add_roll(negative, false, true, &now()).is_err());
    assert!(
        input(ledger.remove(&["off-1".into(), "off-99".into()], &now()).unwrap_err())
            .contains("off-99")
    );
    assert_eq!(ledger.history(100).unwrap(), before);
    assert_eq!(ledger.list(None).unwrap().1.offcuts, 1);
}

#[test]
fn an_export_brought_into_an_empty_ledger_is_the_same_ledger() {
    let (shop, mut ledger) = stocked();
    ledger.freezer(&["roll-1".to_string()], FreezerMove::Out, &now()).unwrap();
    let plan = planned(&shop, &ledger, &Earlier::default());
    let number = |template: &str| {
        plan.plan().pieces.iter().find(|p| p.template == template).unwrap().number.clone()
    };
    ledger.book(&plan, &[number("long"), number("short")], &now()).unwrap();
    ledger.mark(&plan, &[number("short")], PieceState::Spoiled, &now()).unwrap();
    ledger.add_offcuts(vec![offcut(90.0, 80.0)], true, false, &now()).unwrap();
    ledger.undo(&now()).unwrap();
    let later = Moment { seconds: now().seconds + 7200, ..now() };
    let text = ledger.export(&later).unwrap();

    let mut moved = Ledger::write(&shop.file.with_extension("moved")).unwrap();
    let imported = moved.import(&text, &later).unwrap();
    assert!(imported.whole && !imported.left_history);
    assert_eq!(moved.export(&later).unwrap(), text);
    moved.check().unwrap();
    assert_eq!(moved.history(100).unwrap(), ledger.history(100).unwrap());
    assert_eq!(moved.pieces_of(plan.plan()).unwrap(), ledger.pieces_of(plan.plan()).unwrap());
    let rolls = |l: &Ledger, hours: i64| {
        l.snapshot(&Moment { seconds: now().seconds + 3600 * hours, ..now() }).unwrap().rolls[0]
            .clone()
    };
    assert_eq!(rolls(&moved, 9), rolls(&ledger, 9), "the hours out of the freezer run on");
    // It goes on as the first would have: the rest of the plan is booked, names go on counting,
    // changes are taken back.
    for l in [&mut ledger, &mut moved] {
        assert_eq!(l.book(&plan, &[number("wide")], &later).unwrap().shortened.len(), 1);
        let next = l.add_offcuts(vec![offcut(90.0, 80.0)], false, false, &later).unwrap();
        assert!(
            l.snapshot(&later).unwrap().offcuts.iter().filter(|o| o.id() == next[0]).count() == 1
        );
    }
    assert_eq!(moved.export(&later).unwrap(), ledger.export(&later).unwrap());
    for _ in 0..3 {
        assert_eq!(moved.undo(&later).unwrap(), ledger.undo(&later).unwrap());
    }
    assert_eq!(moved.export(&later).unwrap(), ledger.export(&later).unwrap());

    // A ledger that holds something takes only what lies there.
    let mut other = Ledger::write(&shop.file.with_extension("other")).unwrap();
    other.add_offcuts(vec![offcut(500.0, 80.0)], false, true, &now()).unwrap();
    let imported = other.import(&text, &later).unwrap();
    assert!(!imported.whole && imported.left_history);
    assert_eq!(other.records("piece").unwrap().len(), 0);
}

/// The names of an import were given to left-overs once the things that bore them were used up.
#[test]
fn names_that_an_import_brought_are_not_given_again() {
    let (shop, ledger) = stocked();
    let text = ledger.snapshot(&now()).unwrap().to_file().to_json().replace("off-1", "off-40");
    let mut second = Ledger::write(&shop.file.with_extension("second")).unwrap();
    second.import(&text, &now()).unwrap();
    second.remove(&["off-40".to_string(), "roll-1".to_string()], &now()).unwrap();
    assert_eq!(
        second.add_offcuts(vec![offcut(90.0, 80.0)], false, true, &now()).unwrap(),
        ["off-41"]
    );
    assert_eq!(second.add_roll(roll(), false, true, &now()).unwrap(), "roll-2");
    // A number at the end of all numbers is no reason to count beyond it: the export could not have
    // told of it.
    second
        .import(&text.replace("off-40", "off-4294967295").replace("roll-1", "roll-9"), &now())
        .unwrap();
    assert_eq!(
        second.add_offcuts(vec![offcut(90.0, 80.0)], false, true, &now()).unwrap(),
        ["off-42"]
    );
    second.export(&now()).unwrap();
}

#[test]
fn an_archive_that_was_tampered_with_is_refused_whole() {
    let (shop, mut ledger) = stocked();
    let plan = planned(&shop, &ledger, &Earlier::default());
    ledger.book(&plan, &[], &now()).unwrap();
    let text = ledger.export(&now()).unwrap();
    let mut empty = Ledger::write(&shop.file.with_extension("empty")).unwrap();
    let archive = |edit: &dyn Fn(&mut serde_json::Value)| {
        let mut file: serde_json::Value = serde_json::from_str(&text).unwrap();
        edit(&mut file["archive"]);
        file.to_string()
    };
    let gone = |a: &mut serde_json::Value| {
        a["records"].as_array_mut().unwrap().retain(|r| r["record"] != "roll")
    };
    let twice = |a: &mut serde_json::Value| {
        let first = a["records"][0].clone();
        a["records"].as_array_mut().unwrap().push(first);
    };
    let crossed = |a: &mut serde_json::Value| {
        a["entries"][1]["changes"][0]["after"]["facts"]["outline"][2] = serde_json::json!([0, 90])
    };
    let backwards = |a: &mut serde_json::Value| a["entries"][0]["number"] = 7.into();
    let unknown = |a: &mut serde_json::Value| a["numbers"]["film"] = 1.into();
    let negative = |a: &mut serde_json::Value| a["numbers"]["off"] = (-1).into();
    let nonsense = |a: &mut serde_json::Value| *a = "nothing".into();
    for (edit, says) in [
        (&gone as &dyn Fn(&mut serde_json::Value), "roll-1"),
        (&twice, "two records"),
        (&crossed, "off-1"),
        (&backwards, "numbered upwards"),
        (&unknown, "film"),
        (&negative, "as it was written"),
        (&nonsense, "as it was written"),
    ] {
        let said = input(empty.import(&archive(edit), &now()).unwrap_err());
        assert!(said.contains(says), "{says} in {said}");
    }
    assert_eq!(
        (empty.history(9).unwrap().len(), empty.records("offcut").unwrap().len()),
        (0, 0),
        "nothing of them stays"
    );
    assert!(empty.import(&text, &now()).unwrap().whole && !empty.history(9).unwrap().is_empty());
}

/// Kills the command at moments spread over its whole run, two hundred times: what it reported done
/// is there, nothing is there by half.
///
/// How long a run takes is learnt as the kills go on: one that was over before its kill makes the
/// next ones sooner, one killed near the end makes them later. Measured once, by the first run,
/// most of the later ones could be over before their kill on another machine.
#[test]
fn a_kill_at_any_moment_loses_nothing_reported_and_leaves_no_half_change() {
    let shop = shop();
    let three = [
        "add",
        "offcut",
        "--cloth",
        "twill",
        "--length",
        "300",
        "--width",
        "200",
        "--count",
        "3",
        "--new-cloth",
    ];
    let begun = std::time::Instant::now();
    assert!(run(&shop.file, &three).status.success());
    let mut whole = begun.elapsed();
    let (mut reported, mut killed, mut runs) = (1, 0, 0_u32);
    while killed < 200 {
        let moment = f64::from(runs % 60) / 50.0;
        let mut child =
            stock(&shop.file, &three).stdout(Stdio::piped()).stderr(Stdio::null()).spawn().unwrap();
        std::thread::sleep(whole.mul_f64(moment));
        child.kill().unwrap();
        let hit = !child.wait().unwrap().success();
        killed += usize::from(hit);
        whole = match hit {
            false if moment < 1.0 => whole.mul_f64(0.95),
            true if moment > 1.0 => whole.mul_f64(1.05),
            _ => whole,
        };
        let output = child.wait_with_output().unwrap();
        reported += usize::from(String::from_utf8_lossy(&output.stdout).starts_with("added "));
        runs += 1;
        if runs.is_multiple_of(10) || killed == 200 {
            let ledger = Ledger::read(&shop.file).unwrap();
            ledger.check().unwrap();
            let there = ledger.list(None).unwrap().1.offcuts;
            assert!(
                there.is_multiple_of(3) && there >= 3 * reported,
                "{there} offcuts, {reported} changes reported"
            );
        }
        assert!(runs < 12_000, "{killed} of {runs} processes were killed");
    }
}

#[test]
fn processes_that_change_it_at_once_wait_for_each_other() {
    let shop = shop();
    assert!(
        run(&shop.file, &["add", "roll", "--cloth", "twill", "--width", "1000", "--new-cloth"])
            .status
            .success()
    );
    let add = ["add", "offcut", "--cloth", "twill", "--length", "300", "--width", "200"];
    let children: Vec<_> =
        (0..12).map(|_| stock(&shop.file, &add).stdout(Stdio::piped()).spawn().unwrap()).collect();
    let names: Vec<String> = children
        .into_iter()
        .map(|c| String::from_utf8(c.wait_with_output().unwrap().stdout).unwrap())
        .collect();
    let mut distinct = names.clone();
    distinct.sort();
    distinct.dedup();
    assert_eq!(distinct.len(), 12, "{names:?}");
    assert_eq!(Ledger::read(&shop.file).unwrap().list(None).unwrap().1.offcuts, 12);
}

#[test]
fn a_damaged_file_is_found_out_and_its_backup_put_in_place() {
    let shop = shop();
    let add = [
        "add",
        "offcut",
        "--cloth",
        "twill",
        "--length",
        "300",
        "--width",
        "200",
        "--count",
        "200",
        "--new-cloth",
    ];
    assert!(run(&shop.file, &add).status.success() && run(&shop.file, &add).status.success());
    let mut bytes = fs::read(&shop.file).unwrap();
    let middle = bytes.len() / 2;
    bytes[middle..middle + 8192].fill(0x5a);
    fs::write(&shop.file, &bytes).unwrap();
    for args in [vec!["check"], add.to_vec()] {
        let output = run(&shop.file, &args);
        let said = String::from_utf8(output.stderr).unwrap();
        assert_eq!(output.status.code(), Some(4), "{said}");
        assert!(said.contains("is damaged") && said.contains(".backup"), "{said}");
    }
    assert!(run(&shop.file, &["check", "--restore"]).status.success());
    assert!(run(&shop.file, &["check"]).status.success());
    assert_eq!(
        Ledger::read(&shop.file).unwrap().list(None).unwrap().1.offcuts,
        400,
        "nothing that was reported is lost"
    );
    fs::write(&shop.file, b"no ledger at all, but long enough to look like a file of something")
        .unwrap();
    assert_eq!(run(&shop.file, &["list"]).status.code(), Some(4));
}

/// A file as the first version wrote it: its tables without the columns that lists are made from.
#[test]
fn an_old_version_is_brought_up_and_a_copy_of_it_kept() {
    let shop = shop();
    let db = rusqlite::Connection::open(&shop.file).unwrap();
    db.execute_batch(
        r#"CREATE TABLE about (name TEXT PRIMARY KEY, value TEXT NOT NULL) STRICT;
           INSERT INTO about VALUES ('ledger', '0123456789abcdef'), ('roll', '0'), ('off', '1'), ('con', '0');
           CREATE TABLE record (id TEXT PRIMARY KEY, kind TEXT NOT NULL, body TEXT NOT NULL) STRICT;
           CREATE TABLE entry (number INTEGER PRIMARY KEY AUTOINCREMENT, at TEXT NOT NULL, what TEXT NOT NULL, undone INTEGER NOT NULL DEFAULT 0) STRICT;
           CREATE TABLE change (entry INTEGER NOT NULL REFERENCES entry, id TEXT NOT NULL, before TEXT, after TEXT) STRICT;
           INSERT INTO record VALUES ('off-1', 'offcut', '{"record":"offcut","facts":{"id":"off-1","cloth":"twill","outline":[[0,0],[300,0],[300,200],[0,200]],"added":"2026-01-05"}}');
           PRAGMA application_id = 0x77727073; PRAGMA user_version = 1;"#,
    )
    .unwrap();
    drop(db);
    let ledger = Ledger::read(&shop.file).unwrap();
    let (rows, counts) = ledger.list(Some("twill")).unwrap();
    assert_eq!(
        (rows[0].id.as_str(), rows[0].width, counts.offcuts_area),
        ("off-1", Some(300.0), 60_000.0)
    );
    let mut kept = shop.file.as_os_str().to_os_string();
    kept.push(".version-1");
    assert!(Path::new(&kept).exists());
    let newer = rusqlite::Connection::open(&shop.file).unwrap();
    newer.pragma_update(None, "user_version", 99).unwrap();
    assert!(input(Ledger::read(&shop.file).unwrap_err()).contains("version 99"));
}

#[test]
fn ten_thousand_offcuts_are_listed_exported_and_taken_over_again() {
    let shop = shop();
    let mut ledger = Ledger::write(&shop.file).unwrap();
    ledger.add_roll(roll(), false, true, &now()).unwrap();
    let many =
        (0..10_000).map(|k| offcut(60.0 + f64::from(k % 300), 50.0 + f64::from(k % 211))).collect();
    ledger.add_offcuts(many, false, false, &now()).unwrap();
    let output = run(&shop.file, &["list"]);
    let text = String::from_utf8(output.stdout).unwrap();
    assert_eq!(text.lines().count(), 10_002);
    assert!(
        text.lines().nth(1).unwrap().starts_with("off-1 ")
            && text.lines().nth(10_000).unwrap().starts_with("off-10000")
    );
    let export = ledger.snapshot(&now()).unwrap();
    let mut second = Ledger::write(&shop.file.with_extension("second")).unwrap();
    let taken = second.import(&export.to_file().to_json(), &now()).unwrap();
    assert_eq!((taken.things, taken.whole, taken.left_history), (10_001, false, false));
    let mut again = second.snapshot(&now()).unwrap();
    again.ledger = export.ledger.clone();
    assert_eq!(again, export);
    // Planning among them finds the small strip a small home.
    let plan = planned(&shop, &ledger, &Earlier::default());
    let opened: Vec<_> =
        plan.plan().stocks.iter().filter(|s| s.kind == StockKind::Offcut).collect();
    assert!(
        opened.iter().any(|s| s.used_length * s.outline[2].y < 45_000.0),
        "{:?}",
        opened.iter().map(|s| &s.outline).collect::<Vec<_>>()
    );
}

#[test]
fn dates_are_told_before_everything_else() {
    let (shop, mut ledger) = stocked();
    let old = Age { expiry: Some(Day::parse("2026-10-01").unwrap()), ..Age::default() };
    ledger
        .add_offcuts(vec![OffcutFacts { age: old, ..offcut(270.0, 120.0) }], false, false, &now())
        .unwrap();
    ledger
        .edit("roll-1", "label", &now(), |r| {
            if let warpwise::ledger::Record::Roll(r) = r {
                r.facts.age = old
            }
        })
        .unwrap();
    let wax = warpwise::stock::Consumable {
        id: String::new(),
        kind: warpwise::stock::ConsumableKind::ReleaseAgent,
        name: "wax".into(),
        expiry: old.expiry,
        opened: None,
        days_after_opening: None,
        place: None,
    };
    ledger.add_consumable(wax, &now()).unwrap();
    let plan = planned(&shop, &ledger, &Earlier::default());
    let said = warpwise::sheet::summary(&plan, 100);
    assert!(said.starts_with("!!! LOOK AT THIS BEFORE CUTTING"), "{said}");
    for part in [
        "release agent wax",
        "expired on 2026-10-01",
        "offcuts past their time were left out: off-2",
        "ask the maker",
    ] {
        assert!(said.replace("\n    ", " ").contains(part), "{part} in {said}");
    }
    assert!(plan.plan().stocks.iter().all(|s| s.id != "off-2"), "an expired offcut is not cut");
}

/// The plan of a half-cut kit listed what is left round the pieces cut before as offcuts to keep,
/// and booking brought in none of them: that cloth is on the roll still. Its figures counted the
/// cloth twice.
#[test]
fn every_offcut_that_a_plan_lists_comes_in_when_it_is_booked() {
    let (shop, mut ledger) = stocked();
    let first = planned(&shop, &ledger, &Earlier::default());
    let long = first.plan().pieces.iter().find(|p| p.template == "long").unwrap().piece.clone();
    ledger.book(&first, std::slice::from_ref(&long), &now()).unwrap();
    let earlier = Earlier::of(first.plan(), &|p, _| p == long, &|_, _| false);
    let second = planned(&shop, &ledger, &earlier);
    let plan = second.plan();
    let before: Vec<&str> =
        plan.drawn_from.iter().flat_map(|d| &d.cut_before).map(String::as_str).collect();
    assert_eq!(before.len(), 1);
    let still_to_cut: f64 = plan
        .stocks
        .iter()
        .filter(|s| s.kind == StockKind::Roll && !before.contains(&s.id.as_str()))
        .map(|s| s.used_length)
        .sum();
    assert!(
        (plan.cloths[0].used_length - still_to_cut).abs() < 1e-6,
        "the roll's length is counted once"
    );
    let listed: Vec<String> =
        plan.stocks.iter().flat_map(|s| &s.offcuts).map(|o| o.id.clone()).collect();
    let booked = ledger.book(&second, &[], &now()).unwrap();
    let came_in: Vec<&str> = booked.added.iter().filter_map(|o| o.parent.as_deref()).collect();
    assert_eq!(came_in.len(), listed.len());
    assert!(
        !listed.is_empty()
            && listed.iter().all(|id| came_in.iter().any(|p| p.contains(id.as_str()))),
        "{listed:?} {came_in:?}"
    );
}

/// A plan made before left-overs were parted where they touch: each comes in, if only with its
/// largest rectangle.
#[test]
fn a_left_over_that_touches_itself_is_not_let_go() {
    let (shop, mut ledger) = stocked();
    let mut plan = planned(&shop, &ledger, &Earlier::default()).into_plan();
    let roll = plan.stocks.iter_mut().find(|s| s.kind == StockKind::Roll).unwrap();
    let whole = roll.offcuts.len();
    let o = &mut roll.offcuts[0];
    let [x, y, w, h] = o.largest_rectangle;
    // A hole that touches the outline in a corner.
    let (a, b) = (point(x, y), point(x + w, y + h));
    o.outline = vec![a, point(b.x, a.y), b, point(a.x, b.y)];
    o.holes = vec![vec![
        a + point(0.0, h / 2.0),
        point(a.x + 8.0, b.y - h / 2.0 + 9.0),
        point(a.x + 9.0, b.y - h / 2.0),
    ]];
    let taken = warpwise::geometry::ring_area(&o.holes[0]);
    assert!(taken < 0.0, "clockwise");
    o.area = ((w * h + taken) * 1000.0).round() / 1000.0;
    o.largest_rectangle = [x + 9.0, y, w - 9.0, h];
    plan.cloths[0].offcuts_area = plan.stocks.iter().flat_map(|s| &s.offcuts).map(|o| o.area).sum();
    plan.cloths[0].waste_area =
        plan.cloths[0].consumed_area - plan.cloths[0].pieces_area - plan.cloths[0].offcuts_area;
    let plan = warpwise::verify::verify(plan.sealed()).unwrap_or_else(|f| panic!("{f}"));
    let booked = ledger.book(&plan, &[], &now()).unwrap();
    assert!(booked.added.len() >= whole, "{} of {whole}", booked.added.len());
    assert_eq!(booked.cut_down.len(), 1, "it is said");
}

/// The backup of the second change was written under another name, and the change refused.
#[cfg(target_os = "linux")]
#[test]
fn a_ledger_in_a_folder_whose_name_is_no_text_takes_a_second_change() {
    use std::os::unix::ffi::OsStrExt;
    let home = tempfile::tempdir().unwrap();
    let dir = home.path().join(std::ffi::OsStr::from_bytes(b"work\xffshop"));
    std::fs::create_dir(&dir).unwrap();
    let file = dir.join("stock.sqlite");
    for _ in 0..3 {
        let mut ledger = Ledger::write(&file).unwrap();
        ledger.add_offcuts(vec![offcut(320.0, 180.0)], false, true, &now()).unwrap();
    }
    assert_eq!(Ledger::read(&file).unwrap().snapshot(&now()).unwrap().offcuts.len(), 3);
    assert_eq!(
        std::fs::read_dir(home.path()).unwrap().count(),
        1,
        "nothing went to another folder"
    );
}

/// Pieces of several jobs begin with the job's name: what stood before its `#` was taken for the
/// piece, what stood behind for a copy.
#[test]
fn a_piece_of_a_job_with_a_hash_in_its_name_is_booked_in_part() {
    let (shop, mut ledger) = stocked();
    let (job, _) = warpwise::job::load(&shop.job).unwrap();
    let named = |name: &str| warpwise::job::Job { name: name.into(), ..job.clone() };
    let jobs = [named("Boat #1"), named("Boat #2")];
    let stock = ledger.snapshot(&now()).unwrap();
    let plan = planner::go_on(
        &jobs,
        &stock,
        &Earlier::default(),
        1,
        &Run::new(Stop::Effort(1)).with_threads(1),
    )
    .unwrap();
    let on_roll = plan.plan().stocks.iter().find(|s| s.kind == StockKind::Roll).unwrap();
    let ids: Vec<String> = on_roll.placed.iter().take(2).map(|p| p.piece.clone()).collect();
    assert!(ids[0].contains('#'), "{ids:?}");
    assert_eq!(ledger.book(&plan, &ids[..1], &now()).unwrap().pieces, 1);
    let copy = format!("{}#1", ids[1]);
    assert_eq!(ledger.book(&plan, std::slice::from_ref(&copy), &now()).unwrap().pieces, 1);
    assert!(
        input(ledger.book(&plan, &["Boat #9".to_string()], &now()).unwrap_err())
            .contains("no piece")
    );
}
