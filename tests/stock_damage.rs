//! Damage to the ledger, its backups and the clock, through the command: it is said, nothing good
//! is overwritten, and the way back works.
#![allow(clippy::unwrap_used)]

use assert_cmd::cargo::CommandCargoExt;
use std::ffi::OsString;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use warpwise::ledger::{Ledger, Moment, Record};
use warpwise::stock::Day;

fn stock(file: &Path, words: &[&str]) -> (Option<i32>, String, String) {
    let out = Command::cargo_bin("warpwise")
        .unwrap()
        .arg("stock")
        .arg("--ledger")
        .arg(file)
        .args(words)
        .output()
        .unwrap();
    let text = |bytes: &[u8]| String::from_utf8_lossy(bytes).into_owned();
    (out.status.code(), text(&out.stdout), text(&out.stderr))
}

const ADD: [&str; 9] =
    ["add", "offcut", "--cloth", "twill", "--length", "300", "--width", "200", "--new-cloth"];

fn added(file: &Path) {
    let (code, _, said) = stock(file, &ADD);
    assert_eq!(code, Some(0), "{said}");
}

/// A ledger with three changes: a roll and two offcuts.
fn ledger() -> (tempfile::TempDir, PathBuf) {
    let dir = tempfile::tempdir().unwrap();
    let file = dir.path().join("stock.sqlite");
    let (code, _, said) = stock(
        &file,
        &["add", "roll", "--cloth", "twill", "--width", "1000", "--length", "9 m", "--new-cloth"],
    );
    assert_eq!(code, Some(0), "{said}");
    added(&file);
    added(&file);
    (dir, file)
}

fn beside(file: &Path, more: &str) -> PathBuf {
    let mut name: OsString = file.as_os_str().to_owned();
    name.push(more);
    name.into()
}

fn offcuts(file: &Path) -> usize {
    Ledger::read(file).unwrap().list(None).unwrap().1.offcuts
}

/// All bytes beside the ledger, by name.
fn everything(dir: &Path) -> Vec<(OsString, Vec<u8>)> {
    let mut files: Vec<_> = fs::read_dir(dir)
        .unwrap()
        .map(|e| e.unwrap())
        .map(|e| (e.file_name(), fs::read(e.path()).unwrap()))
        .collect();
    files.sort();
    files
}

#[test]
fn an_emptied_or_deleted_ledger_is_damage_and_its_backups_stay() {
    for empty in [true, false] {
        let (dir, file) = ledger();
        if empty {
            fs::write(&file, b"").unwrap()
        } else {
            fs::remove_file(&file).unwrap()
        }
        let before = everything(dir.path());
        for words in [&["check"][..], &["list"], &ADD, &["undo"]] {
            let (code, _, said) = stock(&file, words);
            assert_eq!(code, Some(4), "{words:?}: {said}");
            assert!(said.contains("check --restore"), "{said}");
            assert_eq!(everything(dir.path()), before, "{words:?} touched a file");
        }
        let (code, _, said) = stock(&file, &["check", "--restore"]);
        assert_eq!(code, Some(0), "{said}");
        assert_eq!(offcuts(&file), 2, "nothing that was reported is lost");
    }
}

#[test]
fn a_change_is_refused_while_the_check_fails_and_the_backups_stay() {
    // Each of these left SQLite's own check content.
    for damage in [
        "UPDATE record SET width = -502 WHERE id = 'off-1'",
        "UPDATE record SET body = replace(body, '200', '240') WHERE id = 'off-1'",
        "UPDATE record SET cloth = 'twill-2' WHERE id = 'roll-1'",
        "DELETE FROM record WHERE id = 'off-2'",
        "UPDATE entry SET what = 'nothing' WHERE number = 2",
        "UPDATE entry SET undone = 1 WHERE number = 2",
        "DELETE FROM entry WHERE number = 3",
        "UPDATE about SET value = '0' WHERE name = 'off'",
        "UPDATE change SET after = replace(after, '300', '301')",
    ] {
        let (dir, file) = ledger();
        let db = rusqlite::Connection::open(&file).unwrap();
        db.pragma_update(None, "foreign_keys", false).unwrap();
        db.execute(damage, []).unwrap();
        drop(db);
        let before = everything(dir.path());
        for words in [&["check"][..], &ADD, &["undo"], &["remove", "off-1"]] {
            let (code, _, said) = stock(&file, words);
            assert_eq!(code, Some(4), "{damage}, {words:?}: {said}");
            assert!(said.contains("is damaged"), "{said}");
            assert_eq!(everything(dir.path()), before, "{damage}: {words:?} touched a file");
        }
        assert_eq!(stock(&file, &["check", "--restore"]).0, Some(0), "{damage}");
        assert_eq!((stock(&file, &["check"]).0, offcuts(&file)), (Some(0), 2), "{damage}");
        assert!(beside(&file, ".damaged-1").exists());
    }
}

/// Bits flipped anywhere in the file: what the check calls sound lists, exports and holds what was
/// reported.
#[test]
fn a_flipped_bit_is_found_or_harmless() {
    let (_dir, file) = ledger();
    let sound = fs::read(&file).unwrap();
    let export = |file: &Path| {
        let (code, said, fault) = stock(file, &["export"]);
        assert_eq!(code, Some(0), "{fault}");
        said
    };
    let (rows, whole) = (Ledger::read(&file).unwrap().list(None).unwrap().0, export(&file));
    let mut found = 0;
    // Of the bytes of so small a file nine tenths hold nothing.
    for k in 0..600_usize {
        let mut bytes = sound.clone();
        let at = (k * 7919 + 104_729 * (k % 13)) % bytes.len();
        bytes[at] ^= 1 << (k % 8);
        fs::write(&file, &bytes).unwrap();
        let ledger = match Ledger::read(&file).and_then(|l| l.check().map(|()| l)) {
            Ok(ledger) => ledger,
            Err(_) => {
                found += 1;
                continue;
            }
        };
        assert_eq!(ledger.list(None).unwrap().0, rows, "byte {at}");
        if k % 20 == 0 {
            drop(ledger);
            assert_eq!(export(&file), whole, "byte {at}");
        }
    }
    assert!(found > 40, "only {found} of 600 were found");
}

#[test]
fn three_good_states_are_kept_and_a_damaged_backup_pushes_none_out() {
    let (_dir, file) = ledger();
    added(&file);
    let offcuts_in = |ending: &str| offcuts(&beside(&file, ending));
    assert_eq!([".backup", ".backup-2", ".backup-3"].map(offcuts_in), [3, 2, 1]);
    fs::write(beside(&file, ".backup"), b"spoiled").unwrap();
    added(&file);
    assert_eq!(
        [".backup", ".backup-2", ".backup-3"].map(offcuts_in),
        [4, 3, 2],
        "the spoiled one was made anew, not moved on"
    );
    // With the latest spoiled, the one before comes in place.
    fs::write(beside(&file, ".backup"), b"spoiled").unwrap();
    fs::write(&file, b"spoiled").unwrap();
    let (code, out, said) = stock(&file, &["check", "--restore"]);
    assert_eq!(code, Some(0), "{said}");
    assert!(out.contains(".backup-2") && out.contains("damaged itself"), "{out}");
    assert_eq!(offcuts(&file), 3);
}

#[test]
fn restore_leaves_a_sound_a_newer_and_a_locked_ledger_alone() {
    let (dir, file) = ledger();
    let unchanged = |why: &str, before: &[(OsString, Vec<u8>)]| {
        let (code, _, said) = stock(&file, &["check", "--restore"]);
        assert_ne!(code, Some(0), "{why}");
        assert_eq!(everything(dir.path()), before, "{why}");
        said
    };
    assert!(unchanged("sound", &everything(dir.path())).contains("sound"));
    let db = rusqlite::Connection::open(&file).unwrap();
    db.pragma_update(None, "user_version", 99).unwrap();
    drop(db);
    assert!(unchanged("newer", &everything(dir.path())).contains("version 99"));
}

#[test]
fn a_link_to_a_ledger_is_followed_on_restore() {
    let (dir, file) = ledger();
    let link = dir.path().join("link.sqlite");
    #[cfg(unix)]
    std::os::unix::fs::symlink(&file, &link).unwrap();
    fs::write(&file, b"").unwrap();
    let (code, _, said) = stock(&link, &["check", "--restore"]);
    assert_eq!(code, Some(0), "{said}");
    assert!(fs::symlink_metadata(&link).unwrap().is_symlink() && offcuts(&file) == 2);
}

fn moment(day: &str, seconds: i64) -> Moment {
    Moment { seconds, day: Day::try_from(day.to_string()).unwrap() }
}

#[test]
fn a_clock_that_jumps_is_said_and_never_fatal() {
    let (_dir, file) = ledger();
    let mut ledger = Ledger::write(&file).unwrap();
    let facts = ledger.records("roll").unwrap();
    let Record::Roll(roll) = &facts[0] else { panic!("a roll") };
    // At 1980 the roll comes in and is taken out.
    let then = moment("1980-01-01", 315_532_800);
    let mut facts = roll.facts.clone();
    facts.added = then.day;
    let id = ledger.add_roll(facts, true, false, &then).unwrap();
    let now = moment("2026-11-25", 1_795_608_000);
    ledger.check().unwrap();
    let doubts: Vec<String> =
        ledger.clock_doubts(&now).unwrap().iter().map(ToString::to_string).collect();
    assert!(doubts.iter().any(|d| d.contains(&id) && d.contains("--out-hours")), "{doubts:?}");
    ledger.freezer(std::slice::from_ref(&id), warpwise::ledger::FreezerMove::In, &now).unwrap();
    ledger.snapshot(&now).expect("a record with impossible hours would make every command fail");
    drop(ledger);
    let (code, _, said) = stock(&file, &["set", &id, "--added", "2026-11-20", "--out-hours", "3"]);
    assert_eq!(code, Some(0), "{said}");
    let ledger = Ledger::read(&file).unwrap();
    let doubts = ledger.clock_doubts(&moment("2026-11-30", 4_102_444_800)).unwrap();
    assert!(doubts.iter().all(|d| !d.to_string().contains(&id)), "{doubts:?}");
    assert!(ledger.history(1).unwrap()[0].what.contains(&id), "the correction is in the history");
    // A clock set back: the last change seems to lie ahead.
    let said = ledger.clock_doubts(&moment("2020-01-01", 1_577_836_800)).unwrap();
    assert!(said[0].what.contains("2020-01-01"), "{said:?}");
    let beyond = moment("9999-12-30", 253_402_207_200);
    assert!(ledger.clock_doubts(&beyond).unwrap()[0].what.contains("9999"));
}

#[test]
fn a_revision_that_was_undone_is_never_given_again() {
    let (_dir, file) = ledger();
    let now = moment("2026-11-25", 1_795_608_000);
    let mut ledger = Ledger::write(&file).unwrap();
    let revision = |ledger: &Ledger| match &ledger.records("roll").unwrap()[0] {
        Record::Roll(r) => r.facts.revision,
        _ => panic!("a roll"),
    };
    let shorten = |ledger: &mut Ledger, to: f64| {
        let edit = |r: &mut Record| {
            if let Record::Roll(r) = r {
                r.facts.length = Some(to)
            }
        };
        ledger.edit("roll-1", "measured", &now, edit).unwrap();
    };
    let first = revision(&ledger);
    shorten(&mut ledger, 8000.0);
    let undone = revision(&ledger);
    ledger.undo(&now).unwrap();
    assert_eq!(revision(&ledger), first, "the same cloth as at first");
    shorten(&mut ledger, 7000.0);
    assert!(
        revision(&ledger) > undone,
        "a plan made on the undone state must not pass for one made on this"
    );
}

#[test]
fn standard_error_that_nobody_reads_is_no_panic() {
    let (_dir, file) = ledger();
    let mut child = Command::cargo_bin("warpwise")
        .unwrap()
        .args(["stock", "--ledger"])
        .arg(&file)
        .args(["remove", "off-99"])
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    drop(child.stderr.take());
    assert_eq!(child.wait().unwrap().code(), Some(1));
    #[cfg(target_os = "linux")]
    {
        let full = fs::OpenOptions::new().write(true).open("/dev/full").unwrap();
        let status = Command::cargo_bin("warpwise")
            .unwrap()
            .args(["stock", "--ledger"])
            .arg(&file)
            .args(["remove", "off-99"])
            .stderr(full)
            .status()
            .unwrap();
        assert_eq!(status.code(), Some(1));
    }
}

#[test]
fn labels_that_cannot_be_written_are_known_before_the_booking() {
    let dir = tempfile::tempdir().unwrap();
    let (file, job) = (dir.path().join("stock.sqlite"), dir.path().join("job.toml"));
    let (code, _, said) = stock(
        &file,
        &["add", "roll", "--cloth", "twill", "--width", "1000", "--length", "9 m", "--new-cloth"],
    );
    assert_eq!(code, Some(0), "{said}");
    fs::write(
        &job,
        "[job]\nname = \"tapes\"\n[[cloth]]\nid = \"twill\"\nweave = \"plain\"\nup = \"paper\"\nroll_width = 1000\nselvedge = 10\n\
         [[strip]]\nid = \"s\"\nlength = 900\nwidth = 200\n[[layer]]\ncloth = \"twill\"\nangle = 0\ntemplates = [\"s\"]\n",
    )
    .unwrap();
    let plan = dir.path().join("plan");
    let mut nest = Command::cargo_bin("warpwise").unwrap();
    nest.args(["nest", "--effort", "1", "--quiet", "--stock"])
        .arg(&file)
        .arg(&job)
        .arg("--out")
        .arg(&plan);
    assert!(nest.output().unwrap().status.success());
    let before = Ledger::read(&file).unwrap().history(9).unwrap();
    let nowhere = dir.path().join("no-such-folder/labels.html");
    let (code, _, said) =
        stock(&file, &["book", plan.to_str().unwrap(), "--labels", nowhere.to_str().unwrap()]);
    assert_eq!(code, Some(4), "{said}");
    assert_eq!(Ledger::read(&file).unwrap().history(9).unwrap(), before, "nothing was booked");
}

/// Waits as long as a command does for another process.
#[test]
fn a_locked_ledger_is_not_restored() {
    let (dir, file) = ledger();
    let db = rusqlite::Connection::open(&file).unwrap();
    db.execute_batch("BEGIN EXCLUSIVE").unwrap();
    let (code, _, said) = stock(&file, &["check", "--restore"]);
    assert!(code == Some(4) && said.contains("another process"), "{said}");
    db.execute_batch("ROLLBACK").unwrap();
    drop(db);
    assert!(!beside(&file, ".damaged-1").exists() && offcuts(&file) == 2);
    drop(dir);
}
