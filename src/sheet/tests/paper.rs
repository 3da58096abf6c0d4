//! Where the check square goes, and that it lies on nothing. `geo` judges what overlaps.

use super::kayak;
use crate::geometry::{Point, point};
use crate::plan::Plan;
use crate::run::{Run, Stop};
use crate::sheet::paper::{FOOT, Paper};
use crate::sheet::pdf::{Page, Part};
use crate::sheet::scene::{Scene, Shape};
use crate::sheet::{face::View, form::Form, laid, spread, templates, tiles};
use geo::{Intersects, LineString, Polygon};
use std::path::Path;

/// The demo's job in its first layout.
fn demo() -> Plan {
    let (jobs, _) =
        crate::job::load_all(&[Path::new("demo-data/job.toml").to_path_buf()], &Run::default())
            .unwrap();
    let run = Run::new(Stop::Effort(0)).with_threads(1);
    crate::planner::plan(&jobs, 1, &run).unwrap().into_plan()
}

fn polygon(ring: &[Point]) -> Polygon<f64> {
    Polygon::new(LineString::from(ring.iter().map(|p| (p.x, p.y)).collect::<Vec<_>>()), vec![])
}

/// The check square of a page.
fn square(scene: &Scene) -> Vec<Point> {
    let thing =
        scene.drawn.iter().find(|d| d.id.as_deref() == Some("check-square-100-mm")).unwrap();
    let Shape::Rings(rings) = &thing.shape else { panic!() };
    rings[0].clone()
}

/// What must not lie under the square, in the frame of the sheet: pieces, offcuts, words.
fn things(sheet: &laid::Sheet<'_>, scene: &Scene) -> Vec<(String, Polygon<f64>)> {
    let pieces = sheet.pieces.iter().map(|p| (p.placed.piece.clone(), polygon(&p.placed.outline)));
    let of_segment = |ring: &[Point]| ring.iter().any(|p| p.x > sheet.from && p.x < sheet.to);
    let offcuts = sheet
        .stock
        .offcuts
        .iter()
        .filter(|o| of_segment(&o.outline))
        .map(|o| (o.id.clone(), polygon(&sheet.here(&o.outline))));
    let words = scene.texts.iter().map(|t| (t.words.clone(), polygon(&tiles::box_of(t))));
    pieces.chain(offcuts).chain(words).collect()
}

#[test]
fn the_check_square_lies_on_no_piece_no_offcut_and_no_label() {
    let mut squares = 0;
    for plan in [kayak::plan(), demo()] {
        for (name, sheet) in View::new(&plan, None).sheets() {
            let scene = sheet.layout().scene.clone();
            let things = things(&sheet, &scene);
            for paper in ["a4", "500x900"] {
                let paper = Paper::new(paper, 8.0, 10.0).unwrap();
                let tiling = spread::spread(&scene, &paper);
                for tile in &tiling.tiles {
                    let low = point(
                        paper.margin - tile.window.min.x,
                        paper.margin + FOOT - tile.window.min.y,
                    );
                    let part =
                        Part { scene: &scene, at: low, scale: 1.0, window: Some(tile.window) };
                    let frame = tiles::frame(&paper, tiling.lying, "row 1", true);
                    let under =
                        Part { scene: &frame, at: point(0.0, 0.0), scale: 1.0, window: None };
                    let page = Page { size: paper.page(tiling.lying), parts: vec![under, part] };
                    let Some(drawn) = tiles::check_square(&page, &paper, tiling.lying) else {
                        continue;
                    };
                    squares += 1;
                    let ring: Vec<Point> = square(&drawn).iter().map(|&p| p - low).collect();
                    assert!((ring[2] - ring[0]).distance(point(100.0, 100.0)) < 1e-9);
                    let on_page = |p: &Point| {
                        let w = &tile.window;
                        p.x > w.min.x && p.x < w.max.x && p.y > w.min.y && p.y < w.max.y
                    };
                    assert!(ring.iter().all(on_page), "{name}: {ring:?}");
                    let square = polygon(&ring);
                    for cross in frame.drawn.iter().filter_map(|d| {
                        if let Shape::Segments(s) = &d.shape { Some(s) } else { None }
                    }) {
                        let ends: Vec<Point> = cross.iter().flatten().map(|&p| p - low).collect();
                        assert!(
                            !square.intersects(&polygon(&ends)),
                            "{name}: the square lies over a register cross"
                        );
                    }
                    let under = things.iter().find(|(_, thing)| square.intersects(thing));
                    assert!(
                        under.is_none(),
                        "{name}, row {} column {}: {:?}",
                        tile.row,
                        tile.column,
                        under.map(|u| &u.0)
                    );
                }
            }
        }
        // In one page as large as the cloth it has a strip of its own.
        for (_, sheet) in View::new(&plan, None).sheets() {
            let mut scene = sheet.scene();
            tiles::with_square(&mut scene);
            let square = polygon(&square(&scene));
            let own = "check square: 100 mm each way";
            assert!(
                things(&sheet, &scene)
                    .iter()
                    .all(|(name, thing)| name == own || !square.intersects(thing))
            );
        }
    }
    assert!(squares > 0, "{squares} pages have room for it");
}

/// The margin has a bar of 100 mm on every page, below all that is drawn.
#[test]
fn every_page_has_a_bar_of_100_mm_in_its_foot() {
    for name in ["a4", "a3", "letter", "134x500"] {
        let paper = Paper::new(name, 4.0, 10.0).unwrap();
        for lying in [false, true] {
            let frame = tiles::frame(&paper, lying, "row 1", true);
            let bar = frame.drawn.iter().find(|d| d.id.as_deref() == Some("bar-100-mm")).unwrap();
            let Shape::Rings(rings) = &bar.shape else { panic!() };
            let [first, second, third, _] = rings[0][..] else { panic!() };
            assert!(
                (second - first).distance(point(100.0, 0.0)) < 1e-9
                    && third.y < paper.margin + FOOT
            );
            let [width, _] = paper.page(lying);
            for text in &frame.texts {
                let b = crate::geometry::ring_bounds(&tiles::box_of(text)).unwrap();
                assert!(b.max.x <= width - paper.margin + 0.01, "{}", text.words);
                assert!(!text.words.contains('…') || name == "134x500", "{}", text.words);
                assert!(
                    text.words == "row 1" || b.min.x > second.x,
                    "words on the bar: {}",
                    text.words
                );
            }
        }
    }
}

#[test]
fn equal_pieces_share_a_template_and_small_ones_a_page() {
    let plan = kayak::plan();
    let paper = Paper::new("a4", 8.0, 10.0).unwrap();
    let drawn = templates::drawings(&plan, None);
    // By hand: the hip plate lies in layers 1 and 2 of the same hand, all others are of their own.
    assert_eq!(drawn.len(), plan.pieces.len() - 1);
    let hip = &drawn.iter().find(|d| d.0.ends_with("1-2-hip-plate")).unwrap().1;
    let said: Vec<&str> = hip.texts.iter().map(|t| t.words.as_str()).collect();
    for words in [
        "cut 2 in all",
        "1.2 · hip-plate · layer 1 · 0° · as traced",
        "2.2 · hip-plate · layer 2 · +45° · as traced",
    ] {
        assert!(said.iter().any(|s| s.contains(words)), "{words} in {said:?}");
    }
    let count = templates::count(&plan, None, &paper);
    assert_eq!(count.pages, templates::templates(&plan, None, &paper, Form::Pdf).1);
    // Tab, narrow strip and eye: none of them needs a page of its own.
    let mut small = plan.clone();
    small.pieces.retain(|p| ["2.5", "2.6", "2.7"].contains(&p.number.as_str()));
    assert_eq!(templates::count(&small, None, &paper).pages, 1);
}
