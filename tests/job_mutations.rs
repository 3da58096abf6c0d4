//! Thousands of spoiled job files: the reader answers each with a job or with faults, and never
//! panics.
#![allow(clippy::unwrap_used)]

mod job_common;

use job_common::{SOUND, folder, job_path, read};
use rand_pcg::Pcg32;
use rand_pcg::rand_core::Rng;
use std::path::PathBuf;
use warpwise::fault::Place;
use warpwise::job::{parse_with, scaffold};

/// What is put in place of values, keys and lines.
const NASTY: &[&str] = &[
    "nan",
    "-inf",
    "inf",
    "1e400",
    "-1",
    "0",
    "0.0",
    "1e-320",
    "99999999999999999999",
    "0xffffffffffffffff",
    "\"\"",
    "\" \"",
    "\"1 m\"",
    "\"-3 in\"",
    "\"45°\"",
    "\"42 %\"",
    "[]",
    "[[]]",
    "[0, 1]",
    "[nan, 1]",
    "[[0, 0], [1, 0], [0, 1]]",
    "[[0,0],[1,1],[0,0],[1,1]]",
    "{}",
    "{ a = 1 }",
    "true",
    "2024-05-01",
    "\"../x\"",
    "\"plates\"",
    "\"\\u0000\"",
    "'''\n'''",
    "\"ß\u{301}\"",
    "\"twill 2/2\"",
    "\"both\"",
    "seat",
    "\"",
    "[",
    "}",
    "=",
    "#",
    "[[cloth]]",
    "[job]",
    "[[cloth.flaw]]",
    "[[layer]]",
    "a.b.c = 1",
    "\u{feff}",
    "\r\n",
    "\u{1b}",
];

/// All that a job may hold, so that mutations reach every rule.
fn full() -> String {
    SOUND
        .replacen("selvedge = 10", "selvedge = 10\none_way = false\nroll_length = 9000\nareal_mass = 200\nresin_content = 0.4\nfibre_density = 1.8\nprice_per_metre = 4\nflaw = [{ from = 1, to = 2 }, { outline = [[0, 0], [9, 0], [9, 9]] }]", 1)
        .replacen("file = \"seat.svg\"", "file = \"pair.svg\"\ninside = [210, 10]\nunit = \"mm\"\nchord_tolerance = 0.1", 1)
        .replacen("step_back = 5", "along = 30\ncorner = 3\nshape = \"rectangle\"\nstep_back = 5", 1)
}

fn below(rng: &mut Pcg32, n: usize) -> usize {
    rng.next_u32() as usize % n.max(1)
}

/// A place between two characters.
fn place(rng: &mut Pcg32, text: &str) -> usize {
    let mut at = below(rng, text.len() + 1);
    while !text.is_char_boundary(at) {
        at -= 1;
    }
    at
}

fn spoil(text: &str, rng: &mut Pcg32) -> String {
    let nasty = NASTY[below(rng, NASTY.len())];
    let mut lines: Vec<String> = text.lines().map(str::to_string).collect();
    let line = below(rng, lines.len());
    match below(rng, 9) {
        0 => lines[line] = nasty.into(),
        1 => drop(lines.remove(line)),
        2 => lines.insert(line, lines[below(rng, lines.len())].clone()),
        3 => {
            let other = below(rng, lines.len());
            lines.swap(line, other);
        }
        4 | 5 => {
            if let Some((key, _)) = lines[line].split_once('=') {
                lines[line] = format!("{key}= {nasty}");
            }
        }
        6 => {
            let at = place(rng, text);
            return format!("{}{nasty}{}", &text[..at], &text[at..]);
        }
        7 => {
            let (a, b) = (place(rng, text), place(rng, text));
            let (a, b) = (a.min(b), a.max(b).min(a.min(b) + 40));
            let b = (b..=text.len()).find(|i| text.is_char_boundary(*i)).unwrap_or(text.len());
            return format!("{}{}", &text[..a], &text[b..]);
        }
        _ => {
            if below(rng, 10) == 0 {
                return text[..place(rng, text)].to_string();
            }
            let at = place(rng, text);
            let c = char::from_u32(rng.next_u32() % 0x300).unwrap_or('x');
            return format!("{}{c}{}", &text[..at], text[at..].chars().skip(1).collect::<String>());
        }
    }
    lines.join("\n")
}

#[test]
fn spoiled_job_files_end_in_faults_at_places_that_exist() {
    let dir = folder();
    let path = job_path(&dir);
    let sources = [
        SOUND.to_string(),
        full(),
        scaffold(
            "seat",
            &[(PathBuf::from("seat.svg"), None), (PathBuf::from("plates/hip.dxf"), None)],
        ),
    ];
    for source in &sources {
        assert!(parse_with(source, &path, &read).is_ok());
    }
    let mut rng = Pcg32::new(0x5eed, 11);
    let (mut refused, mut accepted) = (0, 0);
    for round in 0..4000 {
        let mut text = sources[round % sources.len()].clone();
        for _ in 0..=below(&mut rng, 3) {
            text = spoil(&text, &mut rng);
        }
        let faults = match parse_with(&text, &path, &read) {
            Ok((job, warnings)) => {
                accepted += 1;
                assert!(!job.layers.is_empty() && !job.cloths.is_empty());
                for layer in &job.layers {
                    assert!(
                        layer.cloth < job.cloths.len()
                            && layer.items.iter().all(|i| i.template < job.templates.len())
                    );
                }
                warnings
            }
            Err(faults) => {
                refused += 1;
                assert!(!faults.is_empty(), "{text}");
                faults.0
            }
        };
        for fault in &faults {
            assert!(
                !fault.what.is_empty() && !fault.what.chars().any(char::is_control),
                "{fault:?}"
            );
            assert!(
                !fault.what.contains("cannot be understood"),
                "schema and types disagree: {fault}\n{text}"
            );
            if let Place::Line { line, column } = fault.place {
                let source = text
                    .split('\n')
                    .nth(line - 1)
                    .unwrap_or_else(|| panic!("line {line} of\n{text}"));
                assert!(column >= 1 && column <= source.chars().count() + 1, "{fault} in\n{text}");
            }
        }
    }
    assert!(
        refused > 2000 && accepted > 200,
        "{refused} refused, {accepted} accepted: the mutations are too weak or too strong"
    );
}
