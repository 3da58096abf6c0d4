//! Thousands of damaged files per reader: whatever comes, there is an answer or a list of faults,
//! never a panic, and an answer accounts for every entity. Seeded, so that a failure comes back.

#![allow(clippy::unwrap_used)]

#[path = "attack_support/mutate.rs"]
mod mutate;

use rand_pcg::Pcg64Mcg;
use rand_pcg::rand_core::{Rng, SeedableRng};
use std::path::Path;
use warpwise::geometry::ring_area;
use warpwise::outline::{ReadOptions, Unit, read_bytes};

const SVG: &str = r##"<?xml version="1.0" encoding="UTF-8"?>
<!DOCTYPE svg [<!ENTITY ns "http://www.w3.org/2000/svg">]>
<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink" width="400mm" height="300mm" viewBox="0 0 400 300">
<style>.c { fill: none; stroke: #000 } g > path:first-child { display: inline }</style>
<title>bucket seat</title><defs><g id="plate"><rect x="1" y="2" width="30" height="20" rx="4"/></g><symbol id="s" viewBox="0 0 10 10"><circle r="4" cx="5" cy="5"/></symbol></defs>
<g id="seat" class="c" transform="translate(5 6) rotate(3, 100 100)">
<path id="net" d="M100 50 H300 C310 90 320 120 300 250 s-80 -12 -100 3 Q150 260 100 250 A30 60 10 0 1 100 50 Z"/>
<g id="seat-arrow"><path d="M150 200 L250 200"/><polyline points="240,195 250,200 240,205"/></g>
<g id="cuts"><path d="m300 100 l-50 10"/><line x1="120" y1="150" x2="150" y2="155"/></g>
<path id="hole" d="M180 100 h20 v20 h-20 z"/><ellipse id="no-splice" cx="170" cy="75" rx="20" ry="10"/>
<g id="lap"><path d="M100 50 H300"/></g><text x="5" y="6">left</text></g>
<use href="#plate" x="330" y="10"/><use xlink:href="#s" x="330" y="100" width="50" height="40"/>
<svg x="330" y="200" width="40" height="40" viewBox="0 0 4 4"><polygon points="0,0 4,0 2,3"/></svg>
</svg>
"##;

const CSV: &str = "# unit: mm
part;line;x;y;edge
seat;outline;0;0;lap
seat;outline;100,5;0;
seat;outline;100;100;dart
seat;outline;50;60;dart
seat;outline;0;100;lap
seat;hole 1;10;10;
seat;hole 1;20;10;
seat;hole 1;20;20;
seat;relief cut;100;50;
seat;relief cut;80;50;
seat;arrow;20;50;
seat;arrow;70;50;
seat;no-splice;60;30;
seat;no-splice;80;30;
seat;no-splice;80;40;
\"hatch, fore\";;200;0;
\"hatch, fore\";;250;0;
\"hatch, fore\";;250;50;
";

/// Reads many mutations of a file; how many still gave outlines.
fn survive(name: &str, original: &str, rounds: usize, seed: u64) -> usize {
    let whole = read_bytes(Path::new(name), original.as_bytes(), &ReadOptions::default())
        .unwrap_or_else(|f| panic!("{f}"));
    assert!(!whole.outlines.is_empty());
    let seeds = [original.as_bytes().to_vec()];
    let mut dice = Pcg64Mcg::seed_from_u64(seed);
    let mut good = 0;
    for round in 0..rounds {
        let bytes = mutate::mutated(&seeds, &mut dice);
        let options = ReadOptions {
            unit: dice.next_u64().is_multiple_of(4).then_some(Unit::Inch),
            layer: dice.next_u64().is_multiple_of(6).then(|| "seat".to_string()),
            ..ReadOptions::default()
        };
        match read_bytes(Path::new(name), &bytes, &options) {
            Ok(r) => {
                good += 1;
                assert_eq!(
                    r.used + r.not_used.len(),
                    r.present,
                    "round {round}:\n{}",
                    String::from_utf8_lossy(&bytes)
                );
                assert!(!r.outlines.is_empty(), "round {round}");
                for o in &r.outlines {
                    assert!(ring_area(o.net()) > 0.0 && o.edges().len() == o.net().len());
                    assert!(o.net().iter().all(|p| p.snapped() == *p));
                }
            }
            Err(faults) => {
                assert!(!faults.is_empty(), "round {round}");
                assert!(
                    faults.0.iter().all(|f| !f.what.is_empty() && f.file.is_some()),
                    "round {round}: {faults}"
                );
            }
        }
    }
    good
}

#[test]
fn damaged_svg_gives_faults_not_panics() {
    let good = survive("seat.svg", SVG, 6_000, 20);
    assert!(good > 200, "only {good} mutations were read: the others test little");
}

#[test]
fn damaged_csv_gives_faults_not_panics() {
    let good = survive("seat.csv", CSV, 6_000, 21);
    assert!(good > 200, "only {good} mutations were read: the others test little");
}

#[test]
fn every_truncation_of_a_file_is_read_or_refused() {
    for (name, text) in [("a.svg", SVG), ("a.csv", CSV)] {
        for end in 0..text.len() {
            if let Ok(r) =
                read_bytes(Path::new(name), &text.as_bytes()[..end], &ReadOptions::default())
            {
                assert_eq!(r.used + r.not_used.len(), r.present);
                // XML that breaks off is never well-formed: only the newline after the end may be
                // missing.
                assert!(name.ends_with("csv") || end + 1 == text.len(), "{end}");
            }
        }
    }
}
