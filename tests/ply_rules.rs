//! The rules of preparation on whole jobs: hands, angles, splices, patches, cuts, ids, faults.
#![allow(clippy::unwrap_used)]

mod ply_support;

use ply_support::*;
use warpwise::cloth::{Face, Permitted, Weave};
use warpwise::geometry::{Region, path_length, point, ring_area};
use warpwise::job::{Hands, LayerItem, PatchShape, Seen, TemplateSource};
use warpwise::outline::{Draft, EdgeKind};
use warpwise::ply::{Hand, prepare};

fn seat() -> Vec<warpwise::geometry::Point> {
    ring(&[(0.0, 0.0), (400.0, 20.0), (380.0, 300.0), (30.0, 330.0)])
}

#[test]
fn pieces_come_in_laying_order_with_ids_and_numbers() {
    let mut first = layer(0.0, &[0, 1]);
    first.items[1].hands = Hands::Both;
    first.items[1].copies = 3;
    let second = layer(45.0, &[1]);
    let found = prepared(&job(
        Weave::Plain,
        vec![plain_template("seat", seat()), plain_template("hip", seat())],
        vec![first, second],
    ));
    let listed: Vec<(&str, &str, usize, u32)> = found
        .pieces
        .iter()
        .map(|p| (p.id.as_str(), p.number.as_str(), p.layer, p.copies))
        .collect();
    assert_eq!(
        listed,
        vec![
            ("1-seat", "1.1", 1, 1),
            ("1-hip", "1.2", 1, 3),
            ("1-hip-mirrored", "1.3", 1, 3),
            ("2-hip", "2.1", 2, 1)
        ]
    );
    for piece in &found.pieces {
        let bounds = piece.outline.bounds().unwrap();
        assert_eq!(bounds.min, point(0.0, 0.0), "{}", piece.id);
        assert!(piece.permitted_by.starts_with("plain, strength only: 0, 90, 180 and 270"));
    }
}

#[test]
fn ids_stay_unique_when_a_layer_names_a_template_twice() {
    let found = prepared(&job(
        Weave::Plain,
        vec![plain_template("seat", seat())],
        vec![layer(0.0, &[0, 0, 0])],
    ));
    let ids: Vec<&str> = found.pieces.iter().map(|p| p.id.as_str()).collect();
    assert_eq!(ids, vec!["1-seat", "1-seat-2", "1-seat-3"]);
}

#[test]
fn hands_named_apart_are_book_matched_all_the_same() {
    let mut only = layer(20.0, &[0]);
    only.items = vec![
        LayerItem { template: 0, hands: Hands::Mirrored, copies: 1 },
        LayerItem { template: 0, hands: Hands::AsTraced, copies: 1 },
    ];
    only.seen = Seen::OtherSide;
    let found = prepared(&job(Weave::Twill44, vec![plain_template("hip", seat())], vec![only]));
    assert_eq!((piece(&found, "1-hip").angle, piece(&found, "1-hip-mirrored").angle), (20.0, 70.0));
}

#[test]
fn the_mirrored_hand_alone_or_hidden_is_laid_at_the_mirrored_angle() {
    for (hands, seen) in [(Hands::Mirrored, Seen::MouldSide), (Hands::Both, Seen::Hidden)] {
        let mut only = layer(20.0, &[0]);
        only.items[0].hands = hands;
        only.seen = seen;
        let found = prepared(&job(Weave::Twill22, vec![plain_template("hip", seat())], vec![only]));
        assert_eq!(piece(&found, "1-hip-mirrored").angle, -20.0);
    }
}

#[test]
fn a_stitched_biaxial_keeps_the_same_layer_on_top_on_the_other_hand() {
    let mut only = layer(20.0, &[0]);
    only.items[0].hands = Hands::Both;
    let found = prepared(&job(Weave::Biaxial45, vec![plain_template("hip", seat())], vec![only]));
    // On top lies +45 to the warp: at 65 on the first hand, so at -65 (or 115) on the other.
    let top = |id: &str| piece(&found, id).angle + 45.0;
    assert_eq!((top("1-hip") + top("1-hip-mirrored")).rem_euclid(180.0), 0.0);
}

#[test]
fn a_twill_whose_line_cannot_be_mirrored_is_told() {
    let mut only = layer(0.0, &[0]);
    only.items[0].hands = Hands::Both;
    only.seen = Seen::MouldSide;
    let found = prepared(&job(Weave::Twill31, vec![plain_template("hip", seat())], vec![only]));
    assert_eq!(found.warnings.len(), 1);
    assert!(found.warnings[0].what.contains("cannot be mirrored"), "{}", found.warnings[0]);
}

#[test]
fn angles_lose_their_head_only_where_half_a_turn_is_the_same() {
    let mut job = job(Weave::Plain, vec![plain_template("seat", seat())], vec![layer(135.0, &[0])]);
    let turned = prepared(&job);
    assert_eq!(turned.pieces[0].angle, -45.0);
    job.cloths[0].one_way = true;
    let one_way = prepared(&job);
    assert_eq!(one_way.pieces[0].angle, 135.0);
    assert!((turned.pieces[0].outline.area() - one_way.pieces[0].outline.area()).abs() < 1.0);
}

#[test]
fn the_layers_own_turns_win_with_a_warning_beyond_the_weave() {
    let mut only = layer(0.0, &[0]);
    only.turns = Some(vec![Permitted { turn: 90.0, face: Face::Up }]);
    let found = prepared(&job(
        Weave::Unidirectional,
        vec![plain_template("seat", seat())],
        vec![only.clone()],
    ));
    assert_eq!(found.pieces[0].permitted, vec![Permitted { turn: 90.0, face: Face::Up }]);
    assert!(
        found.warnings[0].what.contains("go beyond the weave: 90 face up"),
        "{}",
        found.warnings[0]
    );
    only.turns = Some(Vec::new());
    let faults =
        prepare(&job(Weave::Plain, vec![plain_template("seat", seat())], vec![only])).unwrap_err();
    assert!(faults.0[0].what.contains("list of turns is empty"));
}

#[test]
fn without_a_splice_rule_an_over_wide_ply_is_named_with_its_sizes() {
    let mut wide = job(
        Weave::Plain,
        vec![plain_template("deck", rectangle(1480.0, 2310.0))],
        vec![layer(0.0, &[0])],
    );
    let faults = prepare(&wide).unwrap_err();
    assert_eq!(faults.0.len(), 1);
    let text = faults.to_string();
    for part in [
        "job.toml: 1-deck: ",
        "1530.0 x 2360.0 mm at 0",
        "2360.0 x 1530.0 mm at 90",
        "1230.0 mm of usable width",
        "splice rule",
    ] {
        assert!(text.contains(part), "{part:?} is not in {text:?}");
    }
    // Narrow enough one way round: no fault, no splice.
    wide.templates[0] = plain_template("deck", rectangle(1480.0, 1100.0));
    assert_eq!(prepared(&wide).pieces.len(), 1);
}

#[test]
fn every_ply_at_fault_is_listed() {
    let wide = rectangle(1480.0, 2310.0);
    let templates = vec![plain_template("deck", wide.clone()), plain_template("hull", wide)];
    let faults =
        prepare(&job(Weave::Plain, templates, vec![layer(0.0, &[0, 1]), layer(45.0, &[0])]))
            .unwrap_err();
    assert_eq!(faults.0.len(), 3, "{faults}");
}

#[test]
fn a_piece_longer_than_the_bench_is_at_fault_unless_it_may_cross() {
    let mut job = job(
        Weave::Unidirectional,
        vec![plain_template("keel", rectangle(3000.0, 100.0))],
        vec![layer(0.0, &[0])],
    );
    job.cutting.bench_length = Some(2400.0);
    let text = prepare(&job).unwrap_err().to_string();
    assert!(
        text.contains("3050.0 x 150.0 mm at 0") && text.contains("too long for the 2400.0 mm"),
        "{text}"
    );
    job.templates[0].may_cross_bench = true;
    assert!(prepared(&job).pieces[0].may_cross_bench);
    job.cloths[0].roll_length = Some(3000.0);
    assert!(prepare(&job).unwrap_err().to_string().contains("too long for the 3000.0 mm"));
}

#[test]
fn woven_plies_are_lapped_and_staggered_over_the_layers() {
    let deck = plain_template("deck", rectangle(1500.0, 2200.0));
    let mut job = job(Weave::Satin, vec![deck], (0..3).map(|_| layer(0.0, &[0])).collect());
    job.splice = Some(splice_rule());
    let found = prepared(&job);
    let ids: Vec<&str> = found.pieces.iter().map(|p| p.id.as_str()).collect();
    assert_eq!(ids, vec!["1-deck-a", "1-deck-b", "2-deck-a", "2-deck-b", "3-deck-a", "3-deck-b"]);
    for pair in found.pieces.chunks(2) {
        let heights: f64 = pair.iter().map(|p| p.outline.bounds().unwrap().height()).sum();
        assert!((heights - (2250.0 + 25.0)).abs() < 1e-6);
        assert_eq!((pair[0].part.unwrap().number, pair[1].part.unwrap().of), (1, 2));
        assert!(
            pair.iter().all(|p| p.outline.bounds().unwrap().height() <= 1230.0 && p.net.len() == 1)
        );
        // The net of both overlaps by the lap, too.
        let nets: f64 = pair.iter().map(|p| ring_area(&p.net[0])).sum();
        assert!((nets - 1500.0 * (2200.0 + 25.0)).abs() < 1e-3);
    }
    // The splice lines in the template frame: bands of 25 mm (lap below the line), at least 50 mm
    // apart, edge to edge.
    let mut heights: Vec<f64> = found.splices.iter().map(|(_, _, line)| line[0].y).collect();
    heights.sort_by(f64::total_cmp);
    assert_eq!(heights.len(), 3);
    assert!(heights.windows(2).all(|w| w[1] - 25.0 - w[0] >= 50.0 - 1e-6), "{heights:?}");
}

/// The heights of a template's splices, rising.
fn heights(found: &warpwise::ply::Prepared, ply: &str) -> Vec<f64> {
    let mut heights: Vec<f64> =
        found.splices.iter().filter(|s| s.1.ends_with(ply)).map(|(_, _, line)| line[0].y).collect();
    heights.sort_by(f64::total_cmp);
    heights
}

/// Layers of other templates in between counted as plies over this one, and splices lay over each
/// other.
#[test]
fn splices_are_staggered_over_the_plies_that_lie_on_one_another() {
    let templates = vec![
        plain_template("deck", rectangle(1500.0, 2000.0)),
        plain_template("hatch", rectangle(300.0, 200.0)),
    ];
    let between = |other: &[usize]| {
        let layers = [&[0usize][..], other, other, other, &[0]].map(|items| layer(0.0, items));
        let mut job = job(Weave::Satin, templates.clone(), layers.to_vec());
        job.splice = Some(splice_rule());
        heights(&prepared(&job), "deck")
    };
    let found = between(&[1]);
    assert!(found[1] - 25.0 - found[0] >= 50.0 - 1e-6, "{found:?}");
    // Three plies of its own in between: no more stagger is asked of the first and the fifth.
    assert_eq!(between(&[0]).len(), 5);
    let found = between(&[0]);
    assert!(found.windows(2).any(|w| w[0] == w[1]), "{found:?}");
}

#[test]
fn a_patchs_splices_keep_away_from_those_of_what_it_lies_on() {
    let mut patch = plain_template("doubler", rectangle(1400.0, 2100.0));
    patch.source = TemplateSource::Patch {
        on: "deck".into(),
        shape: PatchShape::Polygon(rectangle(1400.0, 2100.0)),
        step_back: 0.0,
    };
    let small = ring(&[(200.0, 200.0), (400.0, 200.0), (400.0, 2000.0), (200.0, 2000.0)]);
    let mut strap = plain_template("strap", small.clone());
    strap.source = TemplateSource::Patch {
        on: "deck".into(),
        shape: PatchShape::Polygon(small),
        step_back: 0.0,
    };
    let templates = vec![plain_template("deck", rectangle(1500.0, 2200.0)), patch, strap];
    let mut job =
        job(Weave::Satin, templates, vec![layer(0.0, &[0]), layer(0.0, &[1]), layer(90.0, &[2])]);
    job.splice = Some(splice_rule());
    let found = prepared(&job);
    let (deck, doubler) = (heights(&found, "deck")[0], heights(&found, "doubler")[0]);
    assert!((deck - doubler).abs() >= 75.0 - 1e-6, "{deck} {doubler}");
    let told: Vec<String> = found.warnings.iter().map(|w| w.to_string()).collect();
    assert!(
        told.iter()
            .any(|w| w.contains("2-doubler")
                && w.contains("the patch lies over the splice of 1-deck\n")),
        "{told:?}"
    );
    assert!(
        told.iter()
            .any(|w| w.contains("3-strap") && w.contains("over the splice of 1-deck, 2-doubler")),
        "{told:?}"
    );
}

#[test]
fn unidirectional_plies_are_butted_along_the_fibre() {
    let deck = plain_template("deck", rectangle(1500.0, 2300.0));
    let mut job = job(Weave::Unidirectional, vec![deck], vec![layer(90.0, &[0]), layer(0.0, &[0])]);
    job.layers[0].turns = Some(vec![
        Permitted { turn: 90.0, face: Face::Up },
        Permitted { turn: 0.0, face: Face::Up },
    ]);
    job.splice = Some(splice_rule());
    let found = prepared(&job);
    for (layer, ply, line) in &found.splices {
        // Along the fibre: at 90 from the arrow in layer 1, along it in layer 2.
        let direction = (line[1] - line[0]).direction().rem_euclid(180.0);
        assert!(
            (direction - if *layer == 1 { 90.0 } else { 0.0 }).abs() < 1e-6,
            "{ply} {direction}"
        );
        let area: f64 =
            found.pieces.iter().filter(|p| p.ply == *ply).map(|p| p.outline.area()).sum();
        assert!((area - 1550.0 * 2350.0).abs() < 1e-3, "no overlap: {area}");
    }
    // The two splices cross at a right angle.
    assert!(
        found.warnings.iter().any(|w| w.what.contains("crosses 1 splice of")),
        "{:?}",
        found.warnings
    );
}

#[test]
fn a_stagger_that_cannot_be_kept_is_at_fault_and_says_what_could_be() {
    let deck = plain_template("deck", rectangle(1000.0, 2380.0));
    let mut job = job(Weave::Satin, vec![deck], vec![layer(0.0, &[0]), layer(0.0, &[0])]);
    job.splice = Some(warpwise::job::SpliceRule { stagger: 1500.0, ..splice_rule() });
    let text = prepare(&job).unwrap_err().to_string();
    assert!(
        text.contains("2-deck")
            && text.contains("within 1500 mm")
            && text.contains("could be kept"),
        "{text}"
    );
}

#[test]
fn the_mirrored_hands_splice_lies_on_the_template_mirrored_back() {
    // A wedge, so that the shortest seam is not in the middle.
    let mut deck =
        plain_template("deck", ring(&[(0.0, 0.0), (1500.0, 0.0), (900.0, 1600.0), (0.0, 1600.0)]));
    deck.arrow = 0.0;
    let mut only = layer(0.0, &[0]);
    only.items[0].hands = Hands::Both;
    let mut job = job(Weave::Satin, vec![deck], vec![only]);
    job.splice = Some(warpwise::job::SpliceRule { lap: 0.0, ..splice_rule() });
    let found = prepared(&job);
    assert_eq!(found.splices.len(), 2);
    assert!(
        (found.splices[0].2[0].y - found.splices[1].2[0].y).abs() < 0.002,
        "{:?}",
        found.splices
    );
}

#[test]
fn cuts_marks_and_closed_holes_go_with_their_parts() {
    let net = rectangle(800.0, 2300.0);
    let cuts = vec![vec![point(400.0, 0.0), point(400.0, 2300.0)]];
    let holes = vec![ring(&[(100.0, 100.0), (100.0, 130.0), (130.0, 130.0), (130.0, 100.0)])];
    let marks = vec![vec![point(10.0, 2200.0), point(60.0, 2200.0)]];
    let deck = template("deck", Draft { net, cuts, holes, marks, ..Draft::default() });
    let mut job = job(Weave::Satin, vec![deck], vec![layer(0.0, &[0])]);
    job.splice = Some(splice_rule());
    let found = prepared(&job);
    let (a, b) = (piece(&found, "1-deck-a"), piece(&found, "1-deck-b"));
    let lengths: f64 = [a, b].iter().flat_map(|p| &p.cuts).map(|c| path_length(c)).sum();
    assert!((lengths - (2300.0 + 25.0)).abs() < 0.01, "{lengths}");
    // a: the closed hole and where b's edge will lie; b: the mark and the splice line.
    assert_eq!((a.marks.len(), b.marks.len()), (2, 2));
    assert_eq!((a.net.len(), b.net.len()), (2, 1));
    assert!(a.outline.holes.is_empty());
}

#[test]
fn a_local_patch_steps_back_layer_by_layer_and_lies_in_its_hosts_frame() {
    let mut host = plain_template("hip", seat());
    host.arrow = 30.0;
    host.taken_off = warpwise::job::TakenOff::Plug;
    let mut patch = plain_template("hip-patch", rectangle(100.0, 60.0));
    patch.source = TemplateSource::Patch {
        on: "hip".into(),
        shape: PatchShape::Polygon(rectangle(100.0, 60.0)),
        step_back: 10.0,
    };
    patch.edge = EdgeKind::Butt;
    let layers = vec![layer(0.0, &[1]), layer(0.0, &[0]), layer(0.0, &[1]), layer(0.0, &[1])];
    let found = prepared(&job(Weave::Plain, vec![host, patch], layers));
    let areas: Vec<f64> = found
        .pieces
        .iter()
        .filter(|p| p.template == "hip-patch")
        .map(|p| p.outline.area())
        .collect();
    for (found, expected) in areas.iter().zip([6000.0, 80.0 * 40.0, 60.0 * 20.0]) {
        assert!((found - expected).abs() < 1.0, "{areas:?}");
    }
    // Its arrow is the host's, on the mirrored drawing: the long side lies 30° the other way.
    let net = &found.pieces[0].net[0];
    let long = (0..4)
        .map(|i| net[(i + 1) % 4] - net[i])
        .max_by(|a, b| a.length().total_cmp(&b.length()))
        .unwrap();
    assert!((long.direction().rem_euclid(180.0) - 30.0).abs() < 0.01, "{}", long.direction());
}

#[test]
fn a_patch_stepped_back_to_nothing_is_at_fault() {
    let mut patch = plain_template("patch", rectangle(100.0, 30.0));
    patch.source = TemplateSource::Patch {
        on: "hip".into(),
        shape: PatchShape::Polygon(rectangle(100.0, 30.0)),
        step_back: 20.0,
    };
    let layers = vec![layer(0.0, &[1]), layer(0.0, &[1])];
    let faults = prepare(&job(Weave::Plain, vec![plain_template("hip", seat()), patch], layers))
        .unwrap_err();
    assert!(
        faults.to_string().contains(
            "patch stepped back 1 time leaves nothing of the patch: at its roomiest place"
        ),
        "{faults}"
    );
}

/// The verifier knows the net line of a patch that stepped back from the piece alone: in parts it
/// refused what preparation had made.
#[test]
fn a_patch_that_has_stepped_back_is_not_cut_in_parts() {
    let mut patch = plain_template("doubler", rectangle(1400.0, 2100.0));
    patch.source = TemplateSource::Patch {
        on: "deck".into(),
        shape: PatchShape::Polygon(rectangle(1400.0, 2100.0)),
        step_back: 3.0,
    };
    let templates = vec![plain_template("deck", rectangle(1500.0, 2200.0)), patch];
    let mut job = job(Weave::Satin, templates, vec![layer(0.0, &[1]), layer(0.0, &[1])]);
    job.splice = Some(splice_rule());
    let faults = prepare(&job).unwrap_err();
    assert_eq!(faults.0.len(), 1, "the first layer of it is spliced: {faults}");
    assert!(
        faults.to_string().contains("a patch that has stepped back is not cut in parts"),
        "{faults}"
    );
}

#[test]
fn darts_and_relief_cuts_over_each_other_are_told_by_layer() {
    let net = ring(&[
        (0.0, 0.0),
        (195.0, 0.0),
        (200.0, 60.0),
        (205.0, 0.0),
        (400.0, 0.0),
        (400.0, 300.0),
        (0.0, 300.0),
    ]);
    let mut edges = vec![None; 7];
    edges[1] = Some(EdgeKind::Dart);
    edges[2] = Some(EdgeKind::Dart);
    let cuts = vec![
        vec![point(100.0, 300.0), point(100.0, 200.0)],
        vec![point(0.0, 100.0), point(8.0, 100.0)],
    ];
    let bucket = template("bucket", Draft { net, edges, cuts, ..Draft::default() });
    let found =
        prepared(&job(Weave::Plain, vec![bucket], (0..6).map(|_| layer(0.0, &[0])).collect()));
    let told: Vec<String> = found.warnings.iter().map(|w| w.to_string()).collect();
    assert_eq!(told.len(), 5, "{told:?}");
    assert!(
        told[0].starts_with(
            "job.toml: layer 2: bucket has 1 relief cut and 1 dart over those of layer 1:"
        ),
        "{}",
        told[0]
    );
    // Layer 6 is four layers from layer 2: too far to count.
    assert!(told[4].contains("layer 6: ") && told[4].contains("layers 3, 4 and 5:"), "{}", told[4]);
    assert_eq!(found.pieces[0].cuts.len(), 2);
}

#[test]
fn a_relief_cut_that_overlapped_when_flattened_is_missing_area() {
    let cuts = vec![
        vec![point(100.0, 250.0), point(150.0, 100.0)],
        vec![point(150.0, 250.0), point(100.0, 100.0)],
    ];
    let saddle =
        template("saddle", Draft { net: rectangle(300.0, 250.0), cuts, ..Draft::default() });
    let found = prepared(&job(Weave::Plain, vec![saddle], vec![layer(0.0, &[0])]));
    assert_eq!(found.warnings.len(), 1);
    let text = found.warnings[0].to_string();
    assert!(
        text.contains("saddle.svg")
            && text.contains("(125.00, 175.00) mm")
            && text.contains("missing"),
        "{text}"
    );
}

#[test]
fn lap_and_trim_of_the_layer_are_used() {
    let net = rectangle(400.0, 300.0);
    let edges = vec![Some(EdgeKind::Lap), None, Some(EdgeKind::Butt), None];
    let mut t = template("hatch", Draft { net, edges, ..Draft::default() });
    t.edge = EdgeKind::Trim;
    let mut only = layer(0.0, &[0]);
    (only.trim, only.lap) = (20.0, 12.0);
    let found = prepared(&job(Weave::Plain, vec![t], vec![only]));
    let bounds = found.pieces[0].outline.bounds().unwrap();
    assert_eq!((bounds.width(), bounds.height()), (440.0, 312.0));
    assert_eq!(found.pieces[0].outline, Region::solid(found.pieces[0].outline.outline.clone()));
    assert_eq!(found.pieces[0].hand, Hand::AsTraced);
}
