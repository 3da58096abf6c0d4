//! The worked case: an F with its arrow at 20°, a ply at 30°, both hands, both faces, every
//! permitted turn, against coordinates computed outside the crate by `.ci/reference/worked_case.py`
//! from the rules alone.
#![allow(clippy::unwrap_used)]

mod ply_support;

use ply_support::{job, layer, piece, plain_template, prepared, ring_difference};
use serde_json::Value;
use std::path::Path;
use warpwise::cloth::{Face, Permitted, Weave};
use warpwise::geometry::{Motion, Point, point};
use warpwise::job::{Hands, Seen, TakenOff};
use warpwise::outline::{ReadOptions, read_bytes};
use warpwise::ply::{Hand, Piece};

fn reference() -> Value {
    serde_json::from_str(include_str!("data/worked_case.json")).unwrap()
}

fn points(value: &Value) -> Vec<Point> {
    serde_json::from_value(value.clone()).unwrap()
}

fn number(value: &Value) -> f64 {
    value.as_f64().unwrap()
}

/// The two plies (as traced, mirrored) of the F, its net line as given, at 30°.
fn plies(net: Vec<Point>, reference: &Value, plug: bool, visible: bool) -> [Piece; 2] {
    let mut f = plain_template("f", net);
    f.arrow = number(&reference["arrow"]);
    f.taken_off = if plug { TakenOff::Plug } else { TakenOff::Mould };
    let mut only = layer(number(&reference["angle"]), &[0]);
    only.items[0].hands = Hands::Both;
    only.seen = if visible { Seen::MouldSide } else { Seen::Hidden };
    let found = prepared(&job(Weave::Twill22, vec![f], vec![only]));
    [piece(&found, "1-f").clone(), piece(&found, "1-f-mirrored").clone()]
}

/// The F as the importer reads it from the reference's SVG document.
fn from_svg(reference: &Value) -> Vec<Point> {
    let svg = reference["svg"].as_str().unwrap().as_bytes();
    let reading = read_bytes(Path::new("f.svg"), svg, &ReadOptions::default())
        .unwrap_or_else(|faults| panic!("{faults}"));
    assert_eq!(reading.outlines.len(), 1);
    reading.outlines[0].net().clone()
}

#[test]
fn every_hand_face_and_turn_of_the_f() {
    let reference = reference();
    let cases = reference["cases"].as_array().unwrap();
    assert_eq!(cases.len(), 2 * 2 * (8 + 4));
    // As drawn with y up, and as an SVG drawing, whose y runs down, read by the importer.
    for net in [points(&reference["net"]), from_svg(&reference)] {
        for plug in [false, true] {
            for visible in [false, true] {
                let pieces = plies(net.clone(), &reference, plug, visible);
                let of_these: Vec<&Value> = cases
                    .iter()
                    .filter(|c| (c["taken_off"] == "plug") == plug && c["visible"] == visible)
                    .collect();
                for piece in &pieces {
                    let hand = if piece.hand == Hand::Mirrored { "mirrored" } else { "as traced" };
                    let expected: Vec<&&Value> =
                        of_these.iter().filter(|c| c["hand"] == hand).collect();
                    // Every permitted way is expected, and every expected way permitted.
                    assert_eq!(piece.permitted.len(), expected.len(), "{plug} {visible} {hand}");
                    for case in expected {
                        let face = if case["face"] == "down" { Face::Down } else { Face::Up };
                        let turn = number(&case["turn"]);
                        assert!(piece.permitted.contains(&Permitted { turn, face }), "{case}");
                        assert_eq!(piece.angle, number(&case["laid_angle"]), "{case}");
                        let lies = Motion::new(turn, face == Face::Down, point(0.0, 0.0));
                        let off = ring_difference(&lies.ring(&piece.net[0]), &points(&case["net"]));
                        assert!(off < 0.002, "{off} mm off: {case}");
                        let [tail, head] = piece.arrow;
                        let direction = (lies.apply(head) - lies.apply(tail)).direction();
                        let off = (direction - number(&case["arrow_direction"]) + 540.0)
                            .rem_euclid(360.0)
                            - 180.0;
                        assert!(off.abs() < 0.05, "arrow {off}° off: {case}");
                    }
                }
            }
        }
    }
}

#[test]
fn y_forgotten_would_show() {
    let reference = reference();
    let [piece, _] = plies(points(&reference["net_y_down"]), &reference, false, false);
    let case = reference["cases"]
        .as_array()
        .unwrap()
        .iter()
        .find(|c| c["turn"] == 0 && c["face"] == "up")
        .unwrap();
    assert!(ring_difference(&piece.net[0], &points(&case["net"])) > 1.0);
}

/// The line of a twill on both hands at 0, 30, 45 and 90; the expected warps were found by trial in
/// the reference script.
#[test]
fn the_twill_line_on_both_hands() {
    let reference = reference();
    for case in reference["twill"].as_array().unwrap() {
        for book_match in [true, false] {
            let mut only = layer(number(&case["angle"]), &[0]);
            only.items[0].hands = Hands::Both;
            only.seen = Seen::MouldSide;
            only.book_match = book_match;
            let found = prepared(&job(
                Weave::Twill22,
                vec![plain_template("f", points(&reference["net"]))],
                vec![only],
            ));
            let right = piece(&found, "1-f-mirrored").angle;
            let expected = number(&case[if book_match { "book_matched" } else { "same_line" }]);
            assert_eq!(right, expected, "{case} {book_match}");
            let left_line = number(&case["line"]);
            let shown = if book_match { -left_line } else { left_line };
            assert_eq!((right + 45.0 - shown).rem_euclid(180.0), 0.0, "{case} {book_match}");
            // A warning exactly where the same line costs the mirror image of the structure.
            let harmless = book_match || case["same_line_is_mirror_image"] == true;
            assert_eq!(
                found.warnings.is_empty(),
                harmless,
                "{case} {book_match} {:?}",
                found.warnings
            );
        }
    }
}
