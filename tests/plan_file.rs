//! `plan.json`: schema, round trip, and thousands of broken files without a panic.
#![allow(clippy::unwrap_used)]

mod verify_support;

use rand_pcg::Pcg64Mcg;
use rand_pcg::rand_core::{Rng, SeedableRng};
use verify_support::{plan_schema, rectangle, tiling};
use warpwise::job::{Consumables, Layup, MouldMaterial, MouldWork};
use warpwise::plan::{from_json, schema_json, to_json};
use warpwise::verify::verify;

fn small() -> String {
    to_json(&tiling(
        400.0,
        300.0,
        &[rectangle(0.0, 0.0, 300.0, 100.0), rectangle(0.0, 100.0, 100.5, 200.0)],
    ))
}

#[test]
fn the_schema_in_the_repository_is_the_types() {
    let kept = include_str!("../src/plan/plan.schema.json");
    assert!(
        kept == schema_json(),
        "run: cargo run --example plan_schema > src/plan/plan.schema.json"
    );
}

#[test]
fn the_file_is_short_and_keeps_the_order_of_the_model() {
    let text = small();
    assert!(
        text.starts_with("{\n \"schema\": 1,\n \"tool\": \"warpwise 0.1.0\",\n \"id\": \""),
        "{}",
        &text[..80]
    );
    assert!(
        text.contains("\"outline\": [[0.0, 100.0], [100.5, 100.0], [100.5, 300.0], [0.0, 300.0]]")
    );
    assert!(text.ends_with("}\n") && text.lines().count() < 220, "{}", text.lines().count());
}

#[test]
fn every_number_keeps_to_three_decimals_but_the_yield() {
    for line in small().lines().filter(|l| !l.contains("\"yield\"")) {
        for number in line.split(|c: char| !c.is_ascii_digit() && c != '.') {
            assert!(
                number.split_once('.').is_none_or(|(_, decimals)| decimals.len() <= 3),
                "{line}"
            );
        }
    }
}

#[test]
fn what_is_no_plan_is_said_with_its_place() {
    for (text, words) in [
        ("", "line 1, column 1: not a plan: EOF"),
        ("[]", "not a plan"),
        ("{\"schema\": 2}", "the plan has schema 2, this version of warpwise reads schema 1"),
        (
            "{\"schema\": 1,\n \"tool\": 3}",
            "line 2, column 10: not a plan: invalid type: integer `3`, expected a string",
        ),
        ("{\"schema\": 1}", "missing field"),
        ("\u{0}\u{1}binary", "not a plan"),
    ] {
        let faults = from_json(text).unwrap_err().to_string();
        assert!(faults.contains(words), "{text:?}: {faults}");
    }
    assert!(from_json(&"[".repeat(100_000)).is_err(), "deep nesting");
    let text = small();
    for end in (0..text.len()).step_by(97) {
        assert!(from_json(&text[..end]).is_err(), "cut off at {end}");
    }
}

#[test]
fn thousands_of_mutated_files_bring_no_panic() {
    let text = small();
    assert!(verify(from_json(&text).unwrap()).is_ok());
    let mut random = Pcg64Mcg::seed_from_u64(20);
    let mut read = 0;
    for _ in 0..4000 {
        let mut bytes = text.clone().into_bytes();
        for _ in 0..=random.next_u32() % 3 {
            let at = random.next_u32() as usize % bytes.len();
            match random.next_u32() % 5 {
                0 => bytes[at] = random.next_u32() as u8,
                1 => drop(bytes.remove(at)),
                2 => bytes.insert(at, b"0123456789-.e,[]{}\""[random.next_u32() as usize % 19]),
                // Digits for digits: most of these still read as a plan.
                _ => {
                    let digits: Vec<usize> =
                        (0..bytes.len()).filter(|&i| bytes[i].is_ascii_digit()).collect();
                    bytes[digits[random.next_u32() as usize % digits.len()]] =
                        b'0' + (random.next_u32() % 10) as u8;
                }
            }
        }
        if let Ok(plan) = from_json(&String::from_utf8_lossy(&bytes)) {
            read += 1;
            let same = plan == from_json(&text).unwrap();
            assert_eq!(verify(plan.clone()).is_ok(), same, "{}", String::from_utf8_lossy(&bytes));
            // Sealed anew, only what it says can betray it.
            let _ = verify(plan.sealed());
        }
    }
    assert!(read > 500, "{read}");
}

/// Values that a job may leave out stood as `null` where the schema wanted text or a length.
#[test]
fn a_plan_keeps_to_its_schema_whatever_is_left_out() {
    let mut plan = tiling(400.0, 300.0, &[rectangle(0.0, 0.0, 300.0, 100.0)]);
    plan.mould_work.push(MouldWork::default());
    let all_left_out = plan.sealed();
    plan_schema::keeps_to_schema(&all_left_out);
    let mut all_given = all_left_out.clone();
    let work = &mut all_given.mould_work[0];
    work.layup = Layup {
        start: Some("2026-12-01 08:00".into()),
        release_agent: Some("mould wax".into()),
        release_expires: Some("2026-12-31".into()),
        mould_material: Some(MouldMaterial::Steel),
        mould_limit: Some(120.0),
        core_limit: Some(90.0),
        ..Layup::default()
    };
    work.consumables =
        Consumables { area: Some(1.5), perimeter: Some(4000.0), ..Consumables::default() };
    plan_schema::keeps_to_schema(&all_given.sealed());
    // The checker can say no.
    let value: serde_json::Value = serde_json::from_str(&to_json(&all_left_out)).unwrap();
    let breaks: [(&str, serde_json::Value); 5] = [
        ("/mould_work/0/layup/start", 3.into()),
        ("/mould_work/0/consumables/perimeter", "".into()),
        ("/stocks/0/kind", "heap".into()),
        ("/pieces/0/outline/1", serde_json::json!([1.0])),
        ("/seed", (-1).into()),
    ];
    for (at, wrong) in breaks {
        let mut broken = value.clone();
        *broken.pointer_mut(at).unwrap() = wrong;
        assert!(
            plan_schema::faults(&broken).iter().any(|f| f.contains(at)),
            "{at}: {:?}",
            plan_schema::faults(&broken)
        );
    }
    let mut lacking = value;
    lacking.as_object_mut().unwrap().remove("pieces");
    assert!(!plan_schema::faults(&lacking).is_empty());
}
