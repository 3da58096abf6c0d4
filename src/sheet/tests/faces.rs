//! Every kind of sheet with either face of the cloth up, read back: what is marked to be turned
//! over is what must be turned over as the cloth lies now.

use super::kayak;
use crate::cloth::Face;
use crate::geometry::{Point, Ring, point, ring_area, ring_bounds, ring_contains};
use crate::plan::{Plan, StockKind};
use crate::sheet::scene::{Ink, Scene, Shape};
use crate::sheet::{dxf, face::View, form::Form, svg, tiles};
use resvg::usvg::roxmltree;
use std::collections::BTreeSet;

/// A sheet as its file says: cut lines and signs by the piece's place on the sheet, words, and
/// where leaders start.
struct Read {
    cuts: Vec<Vec<Ring>>,
    signs: Vec<(usize, Point)>,
    words: Vec<(String, Point)>,
    anchors: Vec<(Point, Point)>,
}

fn rings(data: &str) -> Vec<Ring> {
    let point_of = |pair: &str| {
        let xy: Vec<f64> =
            pair.trim_end_matches('Z').split(' ').map(|v| v.parse().unwrap()).collect();
        point(xy[0], xy[1])
    };
    data.split('M')
        .filter(|p| !p.is_empty())
        .map(|part| part.split('L').map(point_of).collect())
        .collect()
}

fn read(svg: &str) -> Read {
    let document = roxmltree::Document::parse(svg).unwrap();
    let mut read =
        Read { cuts: Vec::new(), signs: Vec::new(), words: Vec::new(), anchors: Vec::new() };
    for node in document.descendants().filter(|n| n.has_tag_name("path")) {
        let rings = rings(node.attribute("d").unwrap());
        match node.attribute("id").map(|id| id.rsplit_once('-').unwrap_or((id, ""))) {
            Some(("cut", k)) => {
                assert_eq!(k.parse(), Ok(read.cuts.len() + 1));
                read.cuts.push(rings);
            }
            Some(("turn-over", k)) => read
                .signs
                .push((k.parse::<usize>().unwrap() - 1, ring_bounds(&rings[0]).unwrap().centre())),
            _ if node.parent().unwrap().attribute("id") == Some("leader")
                && rings[0].len() == 2 =>
            {
                read.anchors.push((rings[0][0], rings[0][1]));
            }
            _ => {}
        }
    }
    for node in document.descendants().filter(|n| n.has_tag_name("text")) {
        let number = |name: &str| node.attribute(name).unwrap().parse::<f64>().unwrap();
        let words = node.text().unwrap_or_default().to_string();
        // Into the middle of the words, whatever their angle.
        let (size, turn) = (
            number("font-size"),
            node.attribute("transform")
                .map_or(0.0, |t| t[7..].split(' ').next().unwrap().parse().unwrap()),
        );
        let width = crate::sheet::text::text_width(
            &words,
            size,
            node.attribute("font-weight") == Some("bold"),
        );
        let along = if node.attribute("text-anchor") == Some("middle") { 0.0 } else { width / 2.0 };
        let (s, c) = f64::to_radians(turn).sin_cos();
        let middle = point(
            number("x") + along * c + 0.36 * size * s,
            number("y") + along * s - 0.36 * size * c,
        );
        read.words.push((words, middle));
    }
    read
}

fn inside(rings: &[Ring], p: Point) -> bool {
    rings.iter().filter(|r| ring_contains(r, p)).count() % 2 == 1
}

/// Whether what is drawn is the mirror image of the piece: by the sense in which its points run, in
/// a drawing whose y runs down.
fn is_mirrored(drawn: &Ring, piece: &Ring) -> bool {
    // The same points in the same order: the first corner's turn tells. A mirrored ring is written
    // backwards.
    let n = piece.len();
    let far = |ring: &Ring, at: usize| {
        (0..n).map(|k| ring[at].distance(ring[(at + k) % n])).collect::<Vec<f64>>()
    };
    let same = |a: &[f64], b: &[f64]| a.iter().zip(b).all(|(a, b)| (a - b).abs() < 0.01);
    let wanted = far(piece, 0);
    let backwards: Ring = drawn.iter().rev().copied().collect();
    // y down: what runs anticlockwise on the cloth is written clockwise, so the forward match is
    // the piece as it is.
    let forward = (0..n).any(|k| same(&far(drawn, k), &wanted));
    let back = (0..n).any(|k| same(&far(&backwards, k), &wanted));
    assert!(forward != back, "the outline must tell its two sides apart");
    back
}

/// The fixture, its second stock lying face up too, so that one face is asked of both.
fn plan() -> Plan {
    let mut plan = kayak::plan();
    plan.stocks[1].face = Face::Up;
    plan.stocks[1].placed[0].face = Face::Down;
    let placed = &mut plan.stocks[1].placed[0];
    let sum = ring_bounds(&placed.outline).map(|b| b.min.y + b.max.y).unwrap();
    placed.outline.iter_mut().for_each(|p| p.y = sum - p.y);
    placed.outline.reverse();
    placed.y = sum - placed.y;
    plan
}

#[test]
fn with_the_cloth_the_other_way_up_the_other_pieces_are_turned_over() {
    let plan = plan();
    for face in [None, Some(Face::Up), Some(Face::Down)] {
        let view = View::new(&plan, face);
        for (name, sheet) in view.sheets() {
            let read = read(&svg::write(&sheet.scene()));
            assert_eq!(read.cuts.len(), sheet.pieces.len());
            let planned = plan.stocks.iter().find(|s| s.id == sheet.stock.id).unwrap();
            let marked: BTreeSet<usize> = read.signs.iter().map(|s| s.0).collect();
            let wanted: BTreeSet<usize> = (0..sheet.pieces.len())
                .filter(|&k| {
                    let laid = sheet.pieces[k].placed;
                    let as_planned = planned
                        .placed
                        .iter()
                        .find(|p| p.piece == laid.piece && p.copy == laid.copy)
                        .unwrap();
                    // Turned over with its cloth, a piece that lay right lies wrong, and the other
                    // way round.
                    (as_planned.face == Face::Down) != (face == Some(Face::Down))
                })
                .collect();
            assert_eq!(marked, wanted, "{name} {face:?}");
            for (k, at) in &read.signs {
                assert!(
                    inside(&read.cuts[*k], *at),
                    "{name}: the sign of piece {k} lies outside it"
                );
            }
            // Words on a piece: its own number, and FACE DOWN if it is to be turned over and only
            // then.
            let on = |at: Point| (0..read.cuts.len()).find(|&k| inside(&read.cuts[k], at));
            let numbers: BTreeSet<&str> =
                sheet.pieces.iter().map(|p| p.facts.number.as_str()).collect();
            let mut named = BTreeSet::new();
            for (words, at) in &read.words {
                let Some(k) = on(*at) else { continue };
                if numbers.contains(words.as_str()) {
                    assert_eq!(
                        *words, sheet.pieces[k].facts.number,
                        "{name}: a number on the wrong piece"
                    );
                    named.insert(k);
                }
                if words == "FACE DOWN" || words == "DOWN" {
                    assert!(
                        wanted.contains(&k),
                        "{name} {face:?}: piece {} is not to be turned over",
                        sheet.pieces[k].facts.number
                    );
                }
            }
            for (anchor, _) in &read.anchors {
                named.extend(on(*anchor));
            }
            for k in (0..sheet.pieces.len()).filter(|k| !named.contains(k)) {
                let number = &sheet.pieces[k].facts.number;
                assert!(
                    read.words.iter().any(|(w, _)| w == number),
                    "{name}: piece {number} is named neither on it nor in the key"
                );
            }
            let says = if wanted.is_empty() {
                "no piece is turned over before laying"
            } else {
                "turn the pieces marked FACE DOWN over before laying"
            };
            assert!(read.words.iter().any(|(w, _)| w.starts_with(says)), "{name} {face:?}");
        }
    }
}

/// The mark held against the drawing itself: a piece is turned over if and only if it is drawn as
/// its own mirror image.
#[test]
fn what_is_drawn_mirrored_is_marked_and_nothing_else() {
    let mut plan = plan();
    let f: Ring = [
        [0, 0],
        [20, 0],
        [20, 40],
        [50, 40],
        [50, 60],
        [20, 60],
        [20, 80],
        [60, 80],
        [60, 100],
        [0, 100],
    ]
    .iter()
    .map(|&[x, y]| point(f64::from(x), f64::from(y)))
    .collect();
    plan.stocks.truncate(1);
    plan.pieces.truncate(2);
    for piece in &mut plan.pieces {
        (piece.outline, piece.net, piece.cuts, piece.marks, piece.holes) =
            (f.clone(), vec![f.clone()], vec![], vec![], vec![]);
        piece.arrow = [point(10.0, 10.0), point(10.0, 30.0)];
    }
    let stock = &mut plan.stocks[0];
    (stock.segments, stock.flaws, stock.offcuts) = (vec![[0.0, 2175.0]], vec![], vec![]);
    stock.placed.truncate(2);
    for (k, placed) in stock.placed.iter_mut().enumerate() {
        placed.piece = plan.pieces[k].piece.clone();
        placed.face = if k == 0 { Face::Up } else { Face::Down };
        (placed.copy, placed.turn, placed.x, placed.y) = (1, 0.0, 300.0 + 200.0 * k as f64, 400.0);
        let (x, y) = (placed.x, placed.y);
        let flip = if k == 0 { 1.0 } else { -1.0 };
        placed.outline = f.iter().map(|p| point(p.x + x, flip * p.y + y)).collect();
        if k == 1 {
            placed.outline.reverse();
        }
        assert!(ring_area(&placed.outline) > 0.0);
    }
    for face in [Face::Up, Face::Down] {
        let view = View::new(&plan, Some(face));
        let (_, sheet) = view.sheets().into_iter().next().unwrap();
        let read = read(&svg::write(&sheet.scene()));
        for k in 0..2 {
            let marked = read.signs.iter().any(|s| s.0 == k);
            assert_eq!(marked, is_mirrored(&read.cuts[k][0], &f), "{face:?}, piece {k}");
        }
        // The cutter's file and the printed layouts are drawn from the same scene.
        let cutter = String::from_utf8(dxf::write(&sheet)).unwrap();
        assert_eq!(cutter.matches("FACE DOWN").count() + cutter.matches("\r\nDOWN\r\n").count(), 1);
        assert_eq!(tiles::roll(sheet.scene(), "roll", Form::Pdf).1, 1);
    }
}

/// Words of a scene, to be looked at as a whole.
fn words(scene: &Scene) -> String {
    scene.texts.iter().map(|t| t.words.as_str()).collect::<Vec<_>>().join("\n")
}

#[test]
fn a_printed_template_says_which_side_of_the_print_lies_up() {
    let plan = plan();
    for mirrored in [false, true] {
        let view = View::new(&plan, mirrored.then_some(Face::Down));
        for piece in &plan.pieces {
            let scene =
                crate::sheet::templates::template_scene(&view.plan, piece, mirrored).unwrap();
            let copies: Vec<bool> = view
                .plan
                .stocks
                .iter()
                .flat_map(|s| &s.placed)
                .filter(|p| p.piece == piece.piece)
                .map(|p| p.face == Face::Down)
                .collect();
            // A print shows the piece as it is, or mirrored; a copy wants the one or the other.
            let under = copies.iter().filter(|down| **down != mirrored).count();
            let said = words(&scene).contains("printed side down");
            assert_eq!(said, under > 0, "{} {mirrored}", piece.number);
            let sign = scene
                .drawn
                .iter()
                .any(|d| d.ink == Ink::Frame && matches!(d.shape, Shape::Rings(_)));
            assert_eq!(sign, copies.iter().all(|down| *down), "{} {mirrored}", piece.number);
        }
    }
    assert!(plan.stocks.iter().any(|s| s.kind == StockKind::Offcut));
}
