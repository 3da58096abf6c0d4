//! `plan.json`: schema, round trip, and thousands of broken files without a panic.
#![allow(clippy::unwrap_used)]

mod verify_support;

use rand_pcg::Pcg64Mcg;
use rand_pcg::rand_core::{Rng, SeedableRng};
use verify_support::{rectangle, tiling};
use warpwise::plan::{from_json, schema_json, to_json};
use warpwise::verify::verify;

fn small() -> String {
    to_json(&tiling(400.0, 300.0, &[rectangle(0.0, 0.0, 300.0, 100.0), rectangle(0.0, 100.0, 100.5, 200.0)]))
}

#[test]
fn the_schema_in_the_repository_is_the_types() {
    let kept = include_str!("../src/plan/plan.schema.json");
    assert!(kept == schema_json(), "run: cargo run --example plan_schema > src/plan/plan.schema.json");
}

#[test]
fn the_file_is_short_and_keeps_the_order_of_the_model() {
    let text = small();
    assert!(text.starts_with("{\n \"schema\": 1,\n \"tool\": \"warpwise 0.1.0\",\n \"id\": \""), "{}", &text[..80]);
    assert!(text.contains("\"outline\": [[0.0, 100.0], [100.5, 100.0], [100.5, 300.0], [0.0, 300.0]]"));
    assert!(text.ends_with("}\n") && text.lines().count() < 220, "{}", text.lines().count());
}

#[test]
fn every_number_keeps_to_three_decimals_but_the_yield() {
    for line in small().lines().filter(|l| !l.contains("\"yield\"")) {
        for number in line.split(|c: char| !c.is_ascii_digit() && c != '.') {
            assert!(number.split_once('.').is_none_or(|(_, decimals)| decimals.len() <= 3), "{line}");
        }
    }
}

#[test]
fn what_is_no_plan_is_said_with_its_place() {
    for (text, words) in [
        ("", "line 1, column 1: not a plan: EOF"),
        ("[]", "not a plan"),
        ("{\"schema\": 2}", "the plan has schema 2, this version of warpwise reads schema 1"),
        ("{\"schema\": 1,\n \"tool\": 3}", "line 2, column 10: not a plan: invalid type: integer `3`, expected a string"),
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
                    let digits: Vec<usize> = (0..bytes.len()).filter(|&i| bytes[i].is_ascii_digit()).collect();
                    bytes[digits[random.next_u32() as usize % digits.len()]] = b'0' + (random.next_u32() % 10) as u8;
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
