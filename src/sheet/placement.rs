//! The placement sheet: where each template lies, by tape measure, in an order of cutting.
//!
//! Pieces are cut in order of their far ends. What lies beyond the far end of the piece being cut is then still whole cloth, so no
//! piece is ever cut on cloth that has come loose from the roll.

use super::draw::{Laid, Sheet};
use super::face::View;
use super::label::Block;
use super::pdf::{Page, Part, pdf};
use super::room::Area;
use super::scene::{Drawn, Hold, Ink, Scene, Shape, Text};
use super::templates::references;
use super::text::{clean, decimals, fit, shorten};
use super::title::{corner_mark, face_in_words};
use crate::cloth::Face;
use crate::geometry::{Bounds, Motion, Point, point};
use crate::plan::StockKind;
use crate::units::degrees_0_360;

/// A4, lying, mm.
const SIZE: [f64; 2] = [297.0, 210.0];

/// White at each side, mm.
const MARGIN: f64 = 10.0;

/// A page: its words and lines, and a picture with its place and scale.
type Leaf = (Scene, Option<(Scene, Point, f64)>);

/// Columns of the table: heading and left edge from the margin, mm.
const COLUMNS: [(&str, f64); 8] = [
    ("cut", 0.0),
    ("no.", 9.0),
    ("template · layer · angle · hand", 24.0),
    ("A: end / selvedge", 140.0),
    ("B: end / selvedge", 170.0),
    ("from-to end", 200.0),
    ("0° to warp", 228.0),
    ("face", 262.0),
];

/// Where one piece lies; distances in mm from the cut end of the cloth on the bench, and from the named selvedge.
pub(crate) struct Place<'p> {
    /// The piece.
    pub laid: &'p Laid<'p>,
    /// Tail of its 0° arrow: from the end, from the selvedge.
    pub a: [f64; 2],
    /// Head of the arrow.
    pub b: [f64; 2],
    /// Where it begins and ends along the cloth.
    pub along: [f64; 2],
    /// The arrow against the warp, degrees anticlockwise, 0 to 360.
    pub angle: f64,
    /// The two points in the stock frame.
    points: [Point; 2],
}

/// The pieces to cut from a sheet, in an order of cutting; those that reach into the next bench segment belong to that.
pub(crate) fn places<'p>(sheet: &'p Sheet<'p>) -> Vec<Place<'p>> {
    let [_, low, _, high] = sheet.stock_box;
    let across = |p: Point| if sheet.over { high - p.y } else { p.y - low };
    let mut all: Vec<Place<'p>> = Vec::new();
    for laid in &sheet.pieces {
        let Some(piece) = laid.piece else { continue };
        // What reaches into the next segment is cut there, after the cloth was slid.
        if sheet.segment + 1 < sheet.segments && laid.bounds.max.x > sheet.to {
            continue;
        }
        let placed = laid.placed;
        let motion = Motion::new(placed.turn, placed.face == Face::Down, point(placed.x, placed.y));
        let points = piece.arrow.map(|p| motion.apply(p));
        let [a, b] = points.map(|p| [p.x - sheet.from, across(p)]);
        let along = [laid.bounds.min.x - sheet.from, laid.bounds.max.x - sheet.from];
        all.push(Place { laid, a, b, along, angle: degrees_0_360((points[1] - points[0]).direction()), points });
    }
    all.sort_by(|p, q| p.along[1].total_cmp(&q.along[1]).then(p.a[1].total_cmp(&q.a[1])));
    all
}

/// From where the distances of a sheet are measured, in words.
pub(crate) fn measured_from(sheet: &Sheet<'_>) -> String {
    let selvedge = if sheet.stock.kind == StockKind::Roll { "the selvedge at the black corner" } else { "the edge at the black corner" };
    match (sheet.stock.kind, sheet.segment) {
        (StockKind::Offcut, _) => format!("end: left edge as drawn; selvedge: {selvedge}"),
        (StockKind::Roll, 0) => format!("end: the roll's cut end; selvedge: {selvedge}"),
        (StockKind::Roll, _) => {
            format!("end: the mark at {} mm (-: before it); selvedge: {selvedge}", decimals(sheet.from, 0))
        }
    }
}

/// The picture of one sheet: cloth, 100 mm grid, pieces with their place in the order of cutting, `across` mm wide on the page.
pub(crate) fn picture(sheet: &Sheet<'_>, places: &[Place<'_>], scale: f64) -> Scene {
    let [left, low, right, high] = sheet.stock_box;
    let page = 1.0 / scale;
    let [first, last] = span(sheet);
    let mut s = Scene::new(
        Bounds { min: point(first - 16.0 * page, low - 8.0 * page), max: point(last + 4.0 * page, high + 5.0 * page) },
        sheet.title(),
    );
    let mut grid = Vec::new();
    let number = |s: &mut Scene, at: Point, hold: Hold, words: String| {
        s.texts.push(Text { at, hold, angle: 0.0, size: 2.4 * page, bold: false, white: false, words });
    };
    let mut k = 0.0;
    while k * 100.0 <= right - left && k < 2000.0 {
        let x = left + k * 100.0;
        grid.push([point(x, low), point(x, high)]);
        if k % 2.0 == 0.0 || 100.0 * scale > 9.0 {
            number(&mut s, point(x, low - 5.0 * page), Hold::Middle, decimals(k * 100.0, 0));
        }
        k += 1.0;
    }
    k = 0.0;
    while k * 100.0 <= high - low && k < 2000.0 {
        let y = if sheet.over { high - k * 100.0 } else { low + k * 100.0 };
        grid.push([point(left, y), point(right, y)]);
        number(&mut s, point(first - 9.0 * page, y - 0.8 * page), Hold::Start, decimals(k * 100.0, 0));
        k += 1.0;
    }
    let (y, down) = if sheet.over { (high + 1.0 * page, -1.0) } else { (low - 1.0 * page, 1.0) };
    corner_mark(&mut s, point(left - 1.0 * page, y), 3.0 * page, down);
    let here = |ring: &[Point]| sheet.here(ring);
    s.draw(
        Ink::Stock,
        Shape::Rings(std::iter::once(&sheet.stock.outline).chain(&sheet.stock.holes).map(|r| here(r)).filter(|r| !r.is_empty()).collect()),
    );
    for flaw in sheet.stock.flaws.iter().map(|f| here(f)).filter(|f| !f.is_empty()) {
        s.draw(Ink::Flaw, Shape::Segments(super::clip::hatch(&[&flaw], 45.0, 2.0 * page)));
        s.draw(Ink::Flaw, Shape::Rings(vec![flaw]));
    }
    for laid in sheet.pieces.iter().filter(|l| !places.iter().any(|p| std::ptr::eq(p.laid, *l))) {
        let rings: Vec<_> = std::iter::once(&laid.placed.outline).chain(&laid.placed.holes).cloned().collect();
        s.draw(Ink::Selvedge, Shape::Rings(rings));
    }
    for (i, place) in places.iter().enumerate() {
        let placed = place.laid.placed;
        let rings: Vec<_> = std::iter::once(&placed.outline).chain(&placed.holes).cloned().collect();
        s.drawn.push(Drawn { ink: Ink::Stock, id: None, shape: Shape::Rings(rings.clone()) });
        let [a, b] = place.points;
        s.line(Ink::Arrow, &[a, b]);
        let along = (b - a) * (1.0 / a.distance(b).max(1e-9));
        let side = point(-along.y, along.x) * (0.8 * page);
        s.draw(Ink::Arrow, Shape::Solid(vec![b, b - along * (2.4 * page) + side, b - along * (2.4 * page) - side]));
        references(&mut s, place.points, 1.3 * page);
        let mut area = Area::of(rings);
        area.lines.push(vec![a, b]);
        let block = [Block::plain(&fit(&place.laid.facts.number, 12.0, 1.0, true), &[format!("cut {}", i + 1)])];
        if let Some(spot) = area.spot(&block, 4.0 * page).filter(|s| s.size >= 1.3 * page) {
            block[0].write(&mut s, spot.middle, spot.size, spot.angle);
        }
    }
    s.draw(Ink::Grid, Shape::Segments(grid));
    s
}

/// Where what is drawn begins and ends along the cloth: pieces may reach over the ends of a segment.
pub(crate) fn span(sheet: &Sheet<'_>) -> [f64; 2] {
    let [left, _, right, _] = sheet.stock_box;
    let boxes = || sheet.pieces.iter().map(|p| p.bounds);
    [boxes().map(|b| b.min.x).fold(left, f64::min), boxes().map(|b| b.max.x).fold(right, f64::max)]
}

/// The placement sheets of a plan: for each cloth on the bench a picture and a table. Returns the file and its number of pages.
pub(crate) fn sheets(view: &View) -> (Vec<u8>, usize) {
    let sheets = view.sheets();
    let mut pages: Vec<Leaf> = Vec::new();
    let names: Vec<String> = view.plan.jobs.iter().map(|j| clean(j)).collect();
    for (_, sheet) in &sheets {
        let places = places(sheet);
        let [_, low, _, high] = sheet.stock_box;
        let [left, right] = span(sheet);
        let room = [SIZE[0] - 2.0 * MARGIN - 20.0, SIZE[1] - 2.0 * MARGIN - 42.0];
        let scale = (room[0] / (right - left).max(1.0)).min(room[1] / (high - low).max(1.0));
        let drawing = picture(sheet, &places, scale);
        let mut front = blank();
        let mut y = SIZE[1] - MARGIN;
        let line = |s: &mut Scene, y: &mut f64, words: &str, size: f64, bold: bool| {
            *y -= size * 1.4;
            s.words(point(MARGIN, *y), size, bold, fit(words, SIZE[0] - 2.0 * MARGIN, size, bold));
        };
        let face = face_in_words(sheet.plan, sheet.stock, sheet.over).to_uppercase();
        let segment =
            if sheet.segments > 1 { format!(", bench segment {} of {}", sheet.segment + 1, sheet.segments) } else { String::new() };
        line(&mut front, &mut y, &format!("Placement: {} · {}{segment}", names.join(" + "), clean(&sheet.stock.id)), 5.0, true);
        line(&mut front, &mut y, &format!("{face}. Distances in mm. {}.", capital(&measured_from(sheet))), 3.4, true);
        line(
            &mut front,
            &mut y,
            "A is the tail of the template's 0° arrow, B its head. Grid 100 mm. Lay the template so that A and B measure right, draw round it, cut in the order given.",
            3.2,
            false,
        );
        line(&mut front, &mut y, "Labels go on the backing only, never on the cloth. This picture is not at true scale.", 3.2, false);
        let at = point(MARGIN + 16.0 - left * scale, y - 6.0 - high * scale);
        let mut foot = y - 6.0 - (high - low) * scale - 10.0;
        if sheet.segment + 1 < sheet.segments {
            let words = format!(
                "Then mark the cloth {} mm from the roll's cut end and slide it; dashed pieces are cut in the next segment, which starts there.",
                decimals(sheet.to, 0)
            );
            line(&mut front, &mut foot, &words, 3.4, true);
        } else if sheet.stock.kind == StockKind::Roll {
            let words = format!(
                "Last of all: cut straight across {} mm from the roll's cut end ({} mm from where this bench length starts).",
                decimals(sheet.stock.used_length, 0),
                decimals(sheet.stock.used_length - sheet.from, 0)
            );
            line(&mut front, &mut foot, &words, 3.4, true);
        }
        pages.push((front, Some((drawing, at, scale))));
        table(&mut pages, sheet, &places);
    }
    let total = pages.len();
    for (i, (page, _)) in pages.iter_mut().enumerate() {
        let id: String = clean(&view.plan.id).chars().take(12).collect();
        page.words(point(MARGIN, MARGIN - 4.0), 2.8, false, format!("placement sheet, page {} of {total} · plan {id}", i + 1));
    }
    let whole = |scene| Part { scene, at: point(0.0, 0.0), scale: 1.0, window: None, darkens: false };
    let made: Vec<Page<'_>> = pages
        .iter()
        .map(|(page, picture)| {
            let mut parts: Vec<Part<'_>> =
                picture.iter().map(|(scene, at, scale)| Part { scene, at: *at, scale: *scale, window: None, darkens: false }).collect();
            parts.push(whole(page));
            Page { size: SIZE, parts }
        })
        .collect();
    (pdf(&format!("Placement: {}", names.join(" + ")), &made), total)
}

fn blank() -> Scene {
    Scene::new(Bounds { min: point(0.0, 0.0), max: point(SIZE[0], SIZE[1]) }, String::new())
}

fn capital(words: &str) -> String {
    let mut chars = words.chars();
    chars.next().map_or_else(String::new, |c| c.to_uppercase().chain(chars).collect())
}

/// The table of one sheet, on as many pages as it takes.
fn table(pages: &mut Vec<Leaf>, sheet: &Sheet<'_>, places: &[Place<'_>]) {
    const PITCH: f64 = 5.2;
    const SIZE_OF_WORDS: f64 = 2.8;
    let rows = ((SIZE[1] - 2.0 * MARGIN - 22.0) / PITCH) as usize;
    for (n, chunk) in places.chunks(rows).enumerate() {
        let mut s = blank();
        let segment =
            if sheet.segments > 1 { format!(", bench segment {} of {}", sheet.segment + 1, sheet.segments) } else { String::new() };
        let title = format!("{}{segment}: distances in mm; {}", clean(&sheet.stock.id), measured_from(sheet));
        s.words(point(MARGIN, SIZE[1] - MARGIN - 4.0), 3.4, true, fit(&title, SIZE[0] - 2.0 * MARGIN, 3.4, true));
        let mut y = SIZE[1] - MARGIN - 14.0;
        for (heading, x) in COLUMNS {
            s.words(point(MARGIN + x, y), SIZE_OF_WORDS, true, heading);
        }
        y -= 2.0;
        s.line(Ink::Frame, &[point(MARGIN, y), point(SIZE[0] - MARGIN, y)]);
        for (i, place) in chunk.iter().enumerate() {
            y -= PITCH;
            let cells = cells(place, n * rows + i + 1);
            for (k, (words, (_, x))) in cells.iter().zip(COLUMNS).enumerate() {
                let width = COLUMNS.get(k + 1).map_or(SIZE[0] - 2.0 * MARGIN, |c| c.1) - x - 2.0;
                s.words(point(MARGIN + x, y + 1.4), SIZE_OF_WORDS, k == 1, fit(words, width, SIZE_OF_WORDS, k == 1));
            }
            // A small arrow shows how the 0° lies, warp to the right.
            let middle = point(MARGIN + 255.0, y + 2.3);
            let turned = Motion::new(place.angle, false, middle);
            let at = |x: f64, y: f64| turned.apply(point(x, y));
            s.line(Ink::Leader, &[at(-2.0, 0.0), at(1.0, 0.0)]);
            s.draw(Ink::Leader, Shape::Solid(vec![at(2.2, 0.0), at(0.7, 0.7), at(0.7, -0.7)]));
            s.line(Ink::Grid, &[point(MARGIN, y), point(SIZE[0] - MARGIN, y)]);
        }
        pages.push((s, None));
    }
}

/// The words of one row, in the order of the columns.
pub(crate) fn cells(place: &Place<'_>, order: usize) -> [String; 8] {
    let facts = &place.laid.facts;
    let pair = |[x, y]: [f64; 2]| format!("{} / {}", decimals(x, 0), decimals(y, 0));
    [
        order.to_string(),
        shorten(&facts.number, 12),
        facts.line().replace(" · FACE DOWN", ""),
        pair(place.a),
        pair(place.b),
        format!("{} to {}", decimals(place.along[0], 0), decimals(place.along[1], 0)),
        format!("{}°", decimals(place.angle, 1)),
        if facts.face_down { "DOWN".into() } else { "up".into() },
    ]
}
