//! What is printed: tiles, templates, placement, labels, cutter files, the report.

use super::kayak;
use crate::cloth::Face;
use crate::geometry::{Bounds, Point, point};
use crate::plan::Plan;
use crate::sheet::form::Form;
use crate::sheet::paper::Paper;
use crate::sheet::placement::places;
use crate::sheet::scene::{Ink, Shape};
use crate::sheet::{
    Document, LabelGrid, dxf, face::View, made, picture, placement, printed_true, spread, stickers,
    svg, templates, tiles,
};
use resvg::{tiny_skia, usvg};

fn inside(w: &Bounds, p: Point) -> bool {
    p.x >= w.min.x && p.x <= w.max.x && p.y >= w.min.y && p.y <= w.max.y
}

#[test]
fn every_point_to_cut_is_on_a_tile_and_no_tile_is_blank() {
    let view = View::new(&kayak::plan(), None);
    for (paper, overlap) in [("a4", 10.0), ("a4", 0.0), ("tabloid", 10.0), ("500x900", 25.0)] {
        let paper = Paper::new(paper, 8.0, overlap).unwrap();
        for (name, sheet) in view.sheets() {
            let scene = sheet.layout().scene.clone();
            let tiling = spread::spread(&scene, &paper);
            let rings = scene
                .drawn
                .iter()
                .filter(|d| d.ink == Ink::Cut)
                .flat_map(|d| if let Shape::Rings(r) = &d.shape { r.clone() } else { vec![] });
            let points: Vec<Point> = rings.flatten().collect();
            assert!(!points.is_empty());
            for &p in &points {
                assert!(
                    tiling.tiles.iter().any(|t| inside(&t.window, p)),
                    "{name}: {p:?} is on no page"
                );
            }
            let [room_x, room_y] = paper.room(tiling.lying);
            for t in &tiling.tiles {
                assert!(
                    (t.window.width() - room_x).abs() < 1e-9
                        && (t.window.height() - room_y).abs() < 1e-9
                );
                assert!(t.row <= tiling.grid[0] && t.column <= tiling.grid[1]);
            }
            // Neighbours in a row share the overlap.
            for pair in tiling
                .tiles
                .windows(2)
                .filter(|p| p[0].row == p[1].row && p[0].column + 1 == p[1].column)
            {
                assert!((pair[0].window.max.x - pair[1].window.min.x - overlap).abs() < 1e-9);
            }
        }
    }
}

#[test]
fn every_piece_is_cut_on_one_segment() {
    let plan = kayak::plan();
    let view = View::new(&plan, None);
    let listed: usize = view.sheets().iter().map(|(_, s)| places(s).len()).sum();
    let with_piece = plan
        .stocks
        .iter()
        .flat_map(|s| &s.placed)
        .filter(|p| plan.pieces.iter().any(|q| q.piece == p.piece))
        .count();
    assert_eq!(listed, with_piece);
}

#[test]
fn turned_over_twice_is_as_before_and_text_is_never_mirrored() {
    let plan = kayak::plan();
    let over = View::new(&plan, Some(Face::Down));
    let back = View::new(&over.plan, Some(Face::Up));
    for (a, b) in plan.stocks.iter().zip(&back.plan.stocks).filter(|(a, _)| a.face == Face::Up) {
        assert_eq!(a.placed.len(), b.placed.len());
        for (p, q) in a.placed.iter().zip(&b.placed) {
            assert!(p.outline.iter().zip(&q.outline).all(|(p, q)| p.distance(*q) < 1e-9));
            assert_eq!(p.face, q.face);
        }
    }
    for (_, sheet) in over.sheets().iter().filter(|(_, s)| s.over) {
        let text = svg::write(&sheet.scene());
        assert!(text.contains("drawn seen from the other side") && !text.contains("scale("));
    }
}

#[test]
fn the_same_plan_gives_the_same_bytes() {
    let plan = kayak::plan();
    let paper = Paper::new("a3", 8.0, 10.0).unwrap();
    let make = || {
        let view = View::new(&plan, None);
        let (_, sheet) = view.sheets().into_iter().next().unwrap();
        let grid = LabelGrid::named("3x8").unwrap();
        [
            tiles::tiled(&tiles::Drawing::of(&sheet), &paper, Form::Pdf).0,
            tiles::roll(sheet.scene(), "roll", Form::Pdf).0,
            dxf::write(&sheet),
            templates::templates(&plan, None, &paper, Form::Pdf).0,
            placement::sheets(&view, Form::Pdf).0,
            stickers::labels(&plan, &grid, Form::Pdf).0,
            stickers::bags(&plan, Form::Pdf).0,
        ]
    };
    assert_eq!(make(), make());
}

/// Names with markup, quotes, other scripts, emoji, control characters and of great length.
fn hostile() -> Plan {
    let mut plan = kayak::plan();
    let names = [
        "<script>alert(1)</script>",
        "\"'&]]>",
        "מושב\u{202e}",
        "座席",
        "🛶🛶",
        "a\u{0}b\nc",
        &"W".repeat(300),
        "%%c^J\\P",
    ];
    for (i, piece) in plan.pieces.iter_mut().enumerate() {
        piece.template = names[i % names.len()].into();
    }
    plan.jobs = vec![names[0].into(), names[2].into()];
    let jobs = plan.jobs.clone();
    plan.pieces.iter_mut().enumerate().for_each(|(i, p)| p.job = jobs[i % 2].clone());
    plan.stocks.iter_mut().enumerate().for_each(|(i, s)| s.id = names[i % names.len()].into());
    plan.warnings = names.map(String::from).to_vec();
    plan
}

#[test]
fn no_name_breaks_a_file() {
    let plan = hostile();
    let view = View::new(&plan, None);
    let html = crate::sheet::report::of_plan(&View::new(&plan, None), &[]);
    assert!(!html.contains("<script>alert") && html.contains("&lt;script&gt;alert"));
    assert!(!html.contains('\u{0}') && !html.contains('\u{202e}'));
    for (name, sheet) in view.sheets() {
        assert!(name.bytes().all(|b| b.is_ascii_alphanumeric() || b == b'-'));
        let text = String::from_utf8(dxf::write(&sheet)).unwrap();
        let back = ::dxf::Drawing::load(&mut text.as_bytes()).unwrap();
        let cuts = back.entities().filter(|e| e.common.layer == "CUT").count();
        assert!(cuts >= sheet.pieces.len());
        assert!(text.is_ascii());
        assert!(
            tiles::tiled(
                &tiles::Drawing::of(&sheet),
                &Paper::new("a3", 8.0, 10.0).unwrap(),
                Form::Pdf
            )
            .0
            .starts_with(b"%PDF-1.7")
        );
    }
    let grid = LabelGrid::named("3x10").unwrap();
    assert!(
        stickers::labels(&plan, &grid, Form::Pdf).1 > 0 && stickers::bags(&plan, Form::Pdf).1 > 0
    );
}

/// A PDF page may not be longer than 14,400 units.
#[test]
fn a_roll_longer_than_a_pdf_page_is_split() {
    let mut plan = kayak::plan();
    let stock = &mut plan.stocks[0];
    stock.segments = vec![[0.0, 12_000.0]];
    stock.outline =
        vec![point(0.0, 0.0), point(12_000.0, 0.0), point(12_000.0, 1250.0), point(0.0, 1250.0)];
    let view = View::new(&plan, None);
    assert_eq!(tiles::roll(view.sheets()[0].1.scene(), "roll", Form::Pdf).1, 3);
}

/// The judge is another program's drawing of the picture: where a page shows the check square, ink
/// stands at the place and size where the PDF has it.
#[test]
fn every_page_can_be_looked_at_as_it_is_printed() {
    let plan = kayak::plan();
    let a4 = || Paper::new("a4", 8.0, 10.0).unwrap();
    let grid = LabelGrid::named("3x8").unwrap();
    for document in [
        Document::Check(a4()),
        Document::Placement,
        Document::LayUp,
        Document::Labels(grid),
        Document::Cards,
        Document::Templates(a4()),
        Document::Layout(0, Some(a4())),
        Document::Layout(0, None),
    ] {
        let file = made(&plan, None, &document, Form::Pdf).unwrap();
        assert!(file.bytes.starts_with(b"%PDF"));
        for page in 0..file.pages {
            let picture = picture(&plan, None, &document, page).unwrap();
            assert_eq!(picture.pages, file.pages, "{document:?}");
            let tree = usvg::Tree::from_data(&picture.bytes, &usvg::Options::default()).unwrap();
            let size = tree.size();
            let (across, up) = ((size.width() as f64).ceil(), (size.height() as f64).ceil());
            assert!(across > 100.0 && up > 100.0, "{document:?}, page {page}");
            // Words are not drawn here: that page has nothing else.
            if page == 0 && !matches!(document, Document::Cards) {
                assert!(has_ink(&tree), "{document:?}, page {page} is blank");
            }
        }
        assert!(picture(&plan, None, &document, file.pages).is_none());
    }
    assert!(made(&plan, None, &Document::Layout(99, None), Form::Pdf).is_none());
}

fn has_ink(tree: &usvg::Tree) -> bool {
    let mut map = tiny_skia::Pixmap::new(400, 400).unwrap();
    resvg::render(tree, tiny_skia::Transform::from_scale(0.3, 0.3), &mut map.as_mut());
    map.pixels().iter().any(|p| p.alpha() == 255 && p.red() < 128)
}

#[test]
fn a_check_square_that_is_off_says_by_how_much() {
    assert!(printed_true(100.0, 100.0).is_ok() && printed_true(99.6, 100.4).is_ok());
    assert!(printed_true(97.0, 97.1).unwrap_err().what.contains("97.0 %"));
    assert!(printed_true(100.0, 98.0).unwrap_err().what.contains("-2.0 %"));
    for nonsense in [f64::NAN, 0.0, -100.0, 1e9] {
        assert!(printed_true(nonsense, 100.0).is_err());
    }
}
