//! Cut sheets read back: by `usvg` for true size, as plain XML for what they say, and by box for
//! where the words stand.

use super::kayak;
use crate::cloth::Face;
use crate::geometry::{Point, Ring, point, ring_bounds, ring_contains};
use crate::plan::Plan;
use crate::sheet::{face::View, overview::written, svg::write, text::text_width};
use resvg::usvg::{self, roxmltree};
use std::collections::BTreeMap;

/// CSS: 96 px to the inch of 25.4 mm.
const PX_PER_MM: f64 = 96.0 / 25.4;

/// A sheet read back as plain XML, everything in the file's frame (mm, y down).
struct Read {
    page: [f64; 2],
    paths: BTreeMap<String, Vec<Ring>>,
    texts: Vec<Words>,
}

struct Words {
    words: String,
    bold: bool,
    size: f64,
    corners: Ring,
}

/// The cut sheets of a plan, name and SVG.
fn sheets(plan: &Plan) -> Vec<(String, String)> {
    View::new(plan, None)
        .sheets()
        .iter()
        .map(|(name, sheet)| (format!("{name}.svg"), write(&sheet.scene())))
        .collect()
}

fn number(node: roxmltree::Node<'_, '_>, name: &str) -> f64 {
    node.attribute(name)
        .and_then(|v| v.parse().ok())
        .unwrap_or_else(|| panic!("{name} of {node:?}"))
}

/// Reads path data of the plain kind: `M x y L x y … Z`.
fn rings(data: &str) -> Vec<Ring> {
    let ring = |part: &str| -> Ring {
        part.split('L')
            .map(|pair| {
                let mut xy = pair
                    .trim_end_matches('Z')
                    .split(' ')
                    .map(|v| v.parse::<f64>().expect("a number"));
                point(xy.next().expect("x"), xy.next().expect("y"))
            })
            .collect()
    };
    data.split('M').filter(|p| !p.is_empty()).map(ring).collect()
}

fn read(svg: &str) -> Read {
    let document = roxmltree::Document::parse(svg).expect("well-formed XML");
    let root = document.root_element();
    let view: Vec<f64> = root
        .attribute("viewBox")
        .expect("viewBox")
        .split(' ')
        .map(|v| v.parse().expect("a number"))
        .collect();
    for (name, at) in [("width", 2), ("height", 3)] {
        assert_eq!(
            root.attribute(name).expect(name).strip_suffix("mm").expect("in mm").parse(),
            Ok(view[at]),
            "one unit is one mm"
        );
    }
    let mut paths = BTreeMap::new();
    for node in root.descendants().filter(|n| n.has_tag_name("path")) {
        if let Some(id) = node.attribute("id") {
            let before = paths.insert(id.to_string(), rings(node.attribute("d").expect("d")));
            assert!(before.is_none(), "id {id} twice");
        }
    }
    let mut texts = Vec::new();
    for node in root.descendants().filter(|n| n.has_tag_name("text")) {
        let words = node.text().unwrap_or_default().to_string();
        let (x, y, size) = (number(node, "x"), number(node, "y"), number(node, "font-size"));
        let bold = node.attribute("font-weight") == Some("bold");
        let width = text_width(&words, size, bold);
        let left = if node.attribute("text-anchor") == Some("middle") { -width / 2.0 } else { 0.0 };
        // Capitals of common sans-serif fonts rise to 0.73 em, descenders fall to 0.24 em (DejaVu
        // Sans, read from the font).
        let flat = words.chars().all(|c| c.is_ascii_digit() || c == '.');
        let (top, foot) = (-0.76 * size, if flat { 0.02 } else { 0.24 } * size);
        let turn = node.attribute("transform").map_or(0.0, |t| {
            let inner =
                t.strip_prefix("rotate(").and_then(|t| t.strip_suffix(')')).expect("a rotation");
            let parts: Vec<f64> = inner.split(' ').map(|v| v.parse().expect("a number")).collect();
            assert_eq!(parts[1..], [x, y]);
            parts[0].to_radians()
        });
        let corners = [(left, top), (left + width, top), (left + width, foot), (left, foot)]
            .iter()
            .map(|&(dx, dy)| {
                point(x + dx * turn.cos() - dy * turn.sin(), y + dx * turn.sin() + dy * turn.cos())
            })
            .collect();
        texts.push(Words { words, bold, size, corners });
    }
    Read { page: [view[2], view[3]], paths, texts }
}

/// True if the segments cross.
fn cross(a: Point, b: Point, c: Point, d: Point) -> bool {
    let side = |p: Point, q: Point, r: Point| (q - p).cross(r - p);
    side(a, b, c) * side(a, b, d) < 0.0 && side(c, d, a) * side(c, d, b) < 0.0
}

fn edges(ring: &Ring) -> impl Iterator<Item = (Point, Point)> + '_ {
    ring.iter().enumerate().map(|(i, &a)| (a, ring[(i + 1) % ring.len()]))
}

/// True if a side of one of two boxes parts them.
fn apart(a: &Ring, b: &Ring) -> bool {
    edges(a).chain(edges(b)).any(|(p, q)| {
        let along = |ring: &Ring| {
            ring.iter()
                .map(|&r| (q - p).cross(r - p))
                .fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), v| (l.min(v), h.max(v)))
        };
        let ((low, high), (other_low, other_high)) = (along(a), along(b));
        high <= other_low || other_high <= low
    })
}

/// No word leaves the page, runs over a cut line or into another word.
fn words_stand_free(name: &str, sheet: &Read) {
    let cuts: Vec<&Ring> = sheet
        .paths
        .iter()
        .filter(|(id, _)| id.starts_with("cut-"))
        .flat_map(|(_, rings)| rings)
        .collect();
    for (i, text) in sheet.texts.iter().enumerate() {
        assert!(text.size >= 2.59, "{name}: {} is too small", text.words);
        let b = ring_bounds(&text.corners).expect("corners");
        assert!(
            b.min.x >= 0.0
                && b.min.y >= 0.0
                && b.max.x <= sheet.page[0]
                && b.max.y <= sheet.page[1],
            "{name}: {} leaves the page",
            text.words
        );
        for ring in &cuts {
            let far = ring_bounds(ring).is_none_or(|r| {
                r.min.x > b.max.x || r.max.x < b.min.x || r.min.y > b.max.y || r.max.y < b.min.y
            });
            assert!(
                far || !edges(&text.corners)
                    .any(|(p, q)| edges(ring).any(|(r, s)| cross(p, q, r, s))),
                "{name}: {} runs over a cut line",
                text.words
            );
        }
        for other in &sheet.texts[..i] {
            assert!(
                apart(&text.corners, &other.corners),
                "{name}: {} runs into {}",
                text.words,
                other.words
            );
        }
    }
}

fn px_box(tree: &usvg::Tree, id: &str) -> [f64; 4] {
    let b = tree.node_by_id(id).unwrap_or_else(|| panic!("{id}")).abs_bounding_box();
    [b.x(), b.y(), b.width(), b.height()].map(|v| f64::from(v) / PX_PER_MM)
}

/// A plan of one roll of 500 x 300 mm with an F 60 mm wide and 100 mm high, its foot at (100, 40).
fn plan_of_f() -> (Plan, Ring) {
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
    let mut plan = kayak::plan();
    plan.stocks.truncate(1);
    plan.pieces.truncate(1);
    let piece = &mut plan.pieces[0];
    (piece.outline, piece.net, piece.holes, piece.cuts, piece.marks) =
        (f.clone(), vec![f.clone()], vec![], vec![], vec![]);
    piece.arrow = [point(10.0, 10.0), point(10.0, 30.0)];
    let stock = &mut plan.stocks[0];
    stock.outline =
        vec![point(0.0, 0.0), point(500.0, 0.0), point(500.0, 300.0), point(0.0, 300.0)];
    (stock.used_length, stock.segments) = (500.0, vec![[0.0, 500.0]]);
    (stock.flaws, stock.offcuts) = (vec![], vec![]);
    stock.placed.truncate(1);
    let placed = &mut stock.placed[0];
    (placed.x, placed.y, placed.turn) = (100.0, 40.0, 0.0);
    placed.outline = f.iter().map(|&p| p + point(100.0, 40.0)).collect();
    (plan, f)
}

#[test]
fn an_f_is_the_right_way_up() {
    let (plan, _) = plan_of_f();
    let sheet = read(&sheets(&plan)[0].1);
    let cloth = ring_bounds(&sheet.paths["cloth"][0]).expect("cloth");
    assert_eq!((cloth.width(), cloth.height()), (500.0, 300.0));
    // By hand: the cloth's top edge (y = 300) is its least y in the file, so y in the file is 300 -
    // y, from that edge.
    let by_hand = [
        [100, 260],
        [120, 260],
        [120, 220],
        [150, 220],
        [150, 200],
        [120, 200],
        [120, 180],
        [160, 180],
        [160, 160],
        [100, 160],
    ];
    let drawn: Vec<Point> = sheet.paths["cut-1"][0].iter().map(|&p| p - cloth.min).collect();
    assert_eq!(drawn, by_hand.map(|[x, y]| point(f64::from(x), f64::from(y))));
    // The arrow points up the F: towards the top of the sheet.
    let arrow = &sheet.paths["arrow-1"][0];
    assert!(arrow[1].y < arrow[0].y && arrow[1].x == arrow[0].x, "{arrow:?}");
}

#[test]
fn a_face_down_f_is_mirrored_about_the_warp_with_all_its_lines() {
    let (mut plan, f) = plan_of_f();
    let placed = &mut plan.stocks[0].placed[0];
    placed.face = Face::Down;
    placed.y = 200.0;
    placed.outline = f.iter().rev().map(|p| point(p.x + 100.0, 200.0 - p.y)).collect();
    let sheet = read(&sheets(&plan)[0].1);
    let arrow = &sheet.paths["arrow-1"][0];
    assert!(arrow[1].y > arrow[0].y, "the mirrored arrow points down the sheet: {arrow:?}");
    assert!(
        ring_contains(&sheet.paths["cut-1"][0], arrow[0])
            && ring_contains(&sheet.paths["cut-1"][0], arrow[1])
    );
    assert!(sheet.texts.iter().any(|t| t.words.contains("DOWN")), "and the sheet says so");
}

#[test]
fn usvg_reads_true_size() {
    for (name, svg) in sheets(&kayak::plan()) {
        let tree = usvg::Tree::from_str(&svg, &usvg::Options::default()).expect("usvg reads it");
        let page = read(&svg).page;
        for (px, mm) in [(tree.size().width(), page[0]), (tree.size().height(), page[1])] {
            assert!((f64::from(px) / PX_PER_MM - mm).abs() < 0.01, "{name}: {px} px for {mm} mm");
        }
        let bar = px_box(&tree, "bar-100-mm");
        assert!((bar[2] - 100.0).abs() < 0.05, "{name}: the 100 mm bar measures {} mm", bar[2]);
    }
    // The F is 100 mm high and 60 mm wide.
    let tree = usvg::Tree::from_str(&sheets(&plan_of_f().0)[0].1, &usvg::Options::default())
        .expect("usvg reads it");
    let f = px_box(&tree, "cut-1");
    assert!((f[2] - 60.0).abs() < 0.05 && (f[3] - 100.0).abs() < 0.05, "{f:?}");
}

#[test]
fn every_placed_piece_is_drawn_and_named() {
    let plan = kayak::plan();
    let files = sheets(&plan);
    let names: Vec<&str> = files.iter().map(|(n, _)| n.as_str()).collect();
    assert_eq!(names, ["01-r1-segment-1.svg", "01-r1-segment-2.svg", "02-8c1e2f-7.svg"]);
    let spans = [(0, 0.0, 1200.0), (0, 1200.0, 2175.0), (1, 0.0, 700.0)];
    for ((name, svg), (stock, from, to)) in files.iter().zip(spans) {
        let sheet = read(svg);
        words_stand_free(name, &sheet);
        let mut expected: BTreeMap<&str, usize> = BTreeMap::new();
        let mut pieces = 0;
        for placed in &plan.stocks[stock].placed {
            let b = ring_bounds(&placed.outline).expect("an outline");
            if b.max.x > from && b.min.x < to {
                let piece =
                    plan.pieces.iter().find(|p| p.piece == placed.piece).expect("its piece");
                *expected.entry(&piece.number).or_default() += 1;
                pieces += 1;
            }
        }
        assert_eq!(
            sheet.paths.keys().filter(|id| id.starts_with("cut-")).count(),
            pieces,
            "{name}"
        );
        for (number, copies) in expected {
            let labels = sheet.texts.iter().take_while(|t| t.words != "short labels in full:");
            let said = labels.filter(|t| t.words == number && t.bold).count();
            assert_eq!(said, copies, "{name}: number {number}");
        }
        // Net lines lie within their cut lines: they were turned and mirrored along.
        for (id, net) in sheet.paths.iter().filter(|(id, _)| id.starts_with("net-")) {
            let cut = &sheet.paths[&id.replace("net-", "cut-")][0];
            assert!(net.iter().flatten().all(|&p| ring_contains(cut, p)), "{name}: {id}");
        }
    }
    let words = |file: usize| -> Vec<String> {
        read(&files[file].1).texts.into_iter().map(|t| t.words).collect()
    };
    let first = words(0);
    for needed in [
        "PAPER SIDE UP",
        "FACE DOWN",
        "flaw",
        "offcut 3fa29b-2",
        "100 mm: measure me",
        "scale 1:1",
        "copy 2 of 3",
        "across segments 1-2",
        "+45°",
    ] {
        assert!(first.iter().any(|w| w.contains(needed)), "{needed} in {first:?}");
    }
    assert!(words(1).iter().any(|w| w == "cut across here: 2175 mm from the free end"));
    assert!(
        first
            .iter()
            .any(|w| w == "segment 1 ends here, 1200 mm from the free end: slide the cloth")
    );
    assert!(words(2).iter().any(|w| w == "FILM SIDE DOWN"));
    assert!(!words(2).iter().any(|w| w.contains("cut across")), "an offcut is not cut across");
}

#[test]
fn awkward_names_never_break_a_sheet() {
    let long = "keel-band-under-the-seat-".repeat(12);
    let names = [
        "<b>&amp;\"'",
        "a\u{0}b\u{1b}c\n\td",
        "מושב-אחורי",
        "座席の左側の板",
        "🛶🛶 seat",
        &long,
        "]]>",
        "\u{202e}reversed",
        "",
    ];
    for name in names {
        let mut plan = kayak::plan();
        plan.jobs = vec![name.into(), "other".into()];
        plan.id = name.into();
        for piece in &mut plan.pieces {
            piece.template = name.into();
            piece.job = name.into();
        }
        for stock in &mut plan.stocks {
            stock.id = name.into();
            stock.offcuts.iter_mut().for_each(|o| o.id = name.into());
        }
        plan.materials.iter_mut().for_each(|m| m.name = name.into());
        let files = sheets(&plan);
        assert_eq!(files.len(), 3);
        for (file, svg) in &files {
            assert!(file.is_ascii() && file.len() < 80 && !file.contains(['/', '\\']), "{file}");
            words_stand_free(&format!("{name:?}"), &read(svg));
        }
        let distinct: std::collections::BTreeSet<&String> = files.iter().map(|(f, _)| f).collect();
        assert_eq!(distinct.len(), 3, "no file overwrites another");
        roxmltree::Document::parse(&written(&plan)).expect("well-formed XML");
    }
    let mut plan = kayak::plan();
    plan.pieces[0].template = "座席".into();
    plan.pieces[1].template = "a\u{1b}b".into();
    let words: Vec<String> = read(&sheets(&plan)[0].1).texts.into_iter().map(|t| t.words).collect();
    assert!(
        words.iter().any(|w| w == "座席") && words.iter().any(|w| w == "a\u{fffd}b"),
        "{words:?}"
    );
}

#[test]
fn a_crowd_of_tiny_pieces_is_all_named() {
    let (mut plan, _) = plan_of_f();
    let square: Ring = vec![point(0.0, 0.0), point(12.0, 0.0), point(12.0, 12.0), point(0.0, 12.0)];
    (plan.pieces[0].outline, plan.pieces[0].net) = (square.clone(), vec![square.clone()]);
    plan.pieces[0].arrow = [point(2.0, 6.0), point(10.0, 6.0)];
    (plan.pieces, plan.stocks[0].placed) = (0..10 * 34)
        .map(|i| {
            let (mut piece, mut placed) =
                (plan.pieces[0].clone(), plan.stocks[0].placed[0].clone());
            piece.piece = format!("p{i}");
            piece.number = format!("1.{}", i + 1);
            placed.piece = piece.piece.clone();
            (placed.x, placed.y) =
                (f64::from(i % 34) * 14.0 + 5.0, f64::from(i / 34) * 14.0 + 10.0);
            placed.outline = square.iter().map(|&p| p + point(placed.x, placed.y)).collect();
            (piece, placed)
        })
        .unzip();
    let sheet = read(&sheets(&plan)[0].1);
    words_stand_free("crowd", &sheet);
    for piece in &plan.pieces {
        assert!(
            sheet.texts.iter().any(|t| t.words == piece.number),
            "{} is named on the sheet or in its key",
            piece.number
        );
    }
}

#[test]
fn nonsense_is_drawn_as_far_as_it_goes() {
    let mut plan = kayak::plan();
    plan.materials.clear();
    plan.pieces.clear();
    plan.stocks[0].segments = vec![[0.0, 0.0], [5000.0, 100.0]];
    plan.stocks[1].outline.clear();
    for (_, svg) in sheets(&plan) {
        read(&svg);
    }
    let mut plan = kayak::plan();
    plan.stocks.truncate(1);
    plan.stocks[0].segments.clear();
    plan.stocks[0].placed[0].outline =
        vec![point(f64::NAN, 1e300), point(-1e300, f64::INFINITY), point(0.0, 0.0)];
    plan.stocks[0].offcuts[0].outline = vec![point(f64::NAN, 0.0); 3];
    plan.stocks[0].flaws[0] = vec![point(1.0, 1.0)];
    for (_, svg) in sheets(&plan) {
        roxmltree::Document::parse(&svg).expect("well-formed XML");
    }
    plan.stocks.clear();
    assert!(sheets(&plan).is_empty());
    roxmltree::Document::parse(&written(&plan)).expect("well-formed XML");
}

#[test]
fn the_same_plan_gives_the_same_bytes() {
    assert_eq!(sheets(&kayak::plan()), sheets(&kayak::plan()));
}

#[test]
fn the_overview_shows_every_layout() {
    let mut plan = kayak::plan();
    let svg = written(&plan);
    let document = roxmltree::Document::parse(&svg).expect("well-formed XML");
    assert_eq!(document.root_element().attribute("width"), Some("1000"));
    let words: Vec<&str> = document
        .descendants()
        .filter(|n| n.has_tag_name("text"))
        .filter_map(|n| n.text())
        .collect();
    for needed in [
        "roll R1: 19 pieces on 2175 × 1250 mm",
        "offcut 8c1e2f-7: 2 pieces on 700 × 620 mm",
        "1.1",
        "4.2",
    ] {
        assert!(words.contains(&needed), "{needed} in {words:?}");
    }
    plan.stocks.iter_mut().for_each(|stock| stock.placed.truncate(1));
    assert!(
        written(&plan).contains("offcut 8c1e2f-7: 1 piece on 700"),
        "one piece is told in the singular"
    );
}
