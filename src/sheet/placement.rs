//! The placement sheet: where each piece lies, by tape measure, in an order of cutting.
//!
//! Pieces are cut in order of their far ends. What lies beyond the far end of the piece being cut
//! is then still whole cloth, so no piece is ever cut on cloth that has come loose from the roll.

use super::alike::{Alike, origin};
use super::face::View;
use super::flow::{Flow, WIDTH};
use super::form::Form;
use super::label::Block;
use super::laid::{Sheet, motion_of};
use super::measured::{Place, in_words, measured, measured_from, measured_marks, reach_in_words};
use super::placement_rows::{heading, offcut_row, own_corners, piece_row};
use super::reference::{inked_side_up, references};
use super::room::{Area, Spot};
use super::scene::{Drawn, Hold, Ink, Scene, Shape, Text};
use super::text::{clean, decimals, fit};
use super::title::{corner_mark, face_in_words, turned_over_in_words};
use super::turn_over::turn_over_sign;
use crate::geometry::{Bounds, Point, point};
use crate::plan::StockKind;

/// Height of the picture of a roll and of an offcut, at most, mm.
const TALL: [f64; 2] = [90.0, 36.0];

/// The pieces to cut from a sheet, in an order of cutting; those that reach into the next bench
/// segment belong to that.
pub(crate) fn places<'p>(sheet: &'p Sheet<'p>) -> Vec<Place<'p>> {
    let mut all: Vec<Place<'p>> = Vec::new();
    for laid in &sheet.pieces {
        let Some(piece) = laid.piece else { continue };
        // What reaches into the next segment is cut there, after the cloth was slid.
        if sheet.segment + 1 < sheet.segments && laid.bounds.max.x > sheet.to {
            continue;
        }
        let motion = motion_of(laid.placed);
        let found = references(sheet.plan, piece);
        let (one, other) = (measured(sheet, laid.bounds.min), measured(sheet, laid.bounds.max));
        all.push(Place {
            laid,
            marks: measured_marks(sheet, &found.marks, &motion),
            to_ink: found.to_ink,
            corners: found
                .corners
                .iter()
                .map(|ring| measured_marks(sheet, ring, &motion))
                .collect(),
            corners_of_splice: found.splice_only,
            arrow: found.arrow.map(|ends| ends.map(|p| motion.apply(p))),
            inked_up: inked_side_up(sheet.plan, piece, laid.facts.face_down)
                .filter(|_| !found.marks.is_empty()),
            reach: [[one[0], other[0]], [one[1].min(other[1]), one[1].max(other[1])]],
        });
    }
    all.sort_by(|p, q| {
        p.reach[0][1].total_cmp(&q.reach[0][1]).then(p.reach[1][0].total_cmp(&q.reach[1][0]))
    });
    all
}

/// The picture of one sheet: cloth, 100 mm grid, pieces with their place in the order of cutting;
/// `scale` is that of the page.
pub(crate) fn picture(sheet: &Sheet<'_>, places: &[Place<'_>], scale: f64) -> Scene {
    let [left, low, right, high] = sheet.stock_box;
    let page = 1.0 / scale;
    let [first, last] = span(sheet);
    let mut s = Scene::new(
        Bounds {
            min: point(first - 16.0 * page, low - 8.0 * page),
            max: point(last + 4.0 * page, high + 5.0 * page),
        },
        sheet.title(),
    );
    let mut grid = Vec::new();
    let number = |s: &mut Scene, at: Point, hold: Hold, words: String| {
        s.texts.push(Text {
            at,
            hold,
            angle: 0.0,
            size: 2.4 * page,
            bold: false,
            white: false,
            words,
        });
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
        if k % 2.0 == 0.0 || 100.0 * scale > 3.5 {
            number(
                &mut s,
                point(first - 9.0 * page, y - 0.8 * page),
                Hold::Start,
                decimals(k * 100.0, 0),
            );
        }
        k += 1.0;
    }
    let (y, down) = if sheet.over { (high + 1.0 * page, -1.0) } else { (low - 1.0 * page, 1.0) };
    corner_mark(&mut s, point(left - 1.0 * page, y), 3.0 * page, down);
    let here = |ring: &[Point]| sheet.here(ring);
    s.draw(
        Ink::Stock,
        Shape::Rings(
            std::iter::once(&sheet.stock.outline)
                .chain(&sheet.stock.holes)
                .map(|r| here(r))
                .filter(|r| !r.is_empty())
                .collect(),
        ),
    );
    for flaw in sheet.stock.flaws.iter().map(|f| here(f)).filter(|f| !f.is_empty()) {
        s.draw(Ink::Flaw, Shape::Segments(super::clip::hatch(&[&flaw], 45.0, 2.0 * page)));
        s.draw(Ink::Flaw, Shape::Rings(vec![flaw]));
    }
    for offcut in &sheet.stock.offcuts {
        let rings: Vec<_> = std::iter::once(&offcut.outline)
            .chain(&offcut.holes)
            .map(|r| here(r))
            .filter(|r| !r.is_empty())
            .collect();
        let views: Vec<&[Point]> = rings.iter().map(Vec::as_slice).collect();
        s.draw(Ink::OffcutHatch, Shape::Segments(super::clip::hatch(&views, 45.0, 2.5 * page)));
        s.draw(Ink::Offcut, Shape::Rings(rings));
    }
    for laid in sheet.pieces.iter().filter(|l| !places.iter().any(|p| std::ptr::eq(p.laid, *l))) {
        let rings: Vec<_> =
            std::iter::once(&laid.placed.outline).chain(&laid.placed.holes).cloned().collect();
        s.draw(Ink::Selvedge, Shape::Rings(rings));
    }
    let alike = Alike::default();
    for (i, place) in places.iter().enumerate() {
        let placed = place.laid.placed;
        let rings: Vec<_> =
            std::iter::once(&placed.outline).chain(&placed.holes).cloned().collect();
        s.drawn.push(Drawn { ink: Ink::Stock, id: None, shape: Shape::Rings(rings) });
        let number = fit(&place.laid.facts.number, 12.0, 1.0, true);
        let cut = format!("cut {}", i + 1);
        let blocks = [
            Block::plain(&number, std::slice::from_ref(&cut)),
            Block::plain(&format!("{number} · {cut}"), &[]),
            Block::plain(&number, &[]),
        ];
        let home = origin(placed);
        let (sign, label) = alike.find(placed, blocks.iter(), |rings| {
            let good = 2.4 * page;
            let mut area = Area { good, ..Area::one_of(rings, sheet.pieces.len()) };
            let near = place.laid.bounds.min - home;
            let sign = place.laid.facts.face_down.then(|| sign_in(&mut area, near, page)).flatten();
            (sign, label_in(&area, &blocks, page))
        });
        if let Some((size, middle)) = sign {
            turn_over_sign(&mut s, home + middle, size, None);
        }
        if let Some(spot) = label {
            blocks[spot.block].write(&mut s, home + spot.middle, spot.size, spot.angle);
        }
    }
    s.draw(Ink::Grid, Shape::Segments(grid));
    s
}

/// Size and middle of the sign of a piece that is turned over, near a point; its place is taken.
fn sign_in(area: &mut Area, near: Point, page: f64) -> Option<(f64, Point)> {
    let most = 3.0 * page;
    let sums = area.grid(0.0, true)?.summed();
    let (size, at) = sums.largest(1.0, 1.0, 0.3 * page, most * 0.4, most, near)?;
    let half = point(size, size) * 0.6;
    let (right, left) = (point(at.x + half.x, at.y - half.y), point(at.x - half.x, at.y + half.y));
    area.taken.push(vec![vec![at - half, right, at + half, left]]);
    Some((size, at))
}

/// The spot of one of the blocks: the last, the number alone, where there is no room for both: the
/// rows below have the order.
fn label_in(area: &Area, blocks: &[Block; 3], page: f64) -> Option<Spot> {
    let finder = area.finder()?;
    let spot = |blocks: &[Block]| finder.spot(blocks, 3.6 * page).filter(|s| s.size >= 1.5 * page);
    spot(&blocks[..2]).or_else(|| spot(&blocks[2..]).map(|s| Spot { block: 2, ..s }))
}

/// Where what is drawn begins and ends along the cloth: pieces may reach over the ends of a
/// segment.
pub(crate) fn span(sheet: &Sheet<'_>) -> [f64; 2] {
    let [left, _, right, _] = sheet.stock_box;
    let boxes = || sheet.pieces.iter().map(|p| p.bounds);
    [boxes().map(|b| b.min.x).fold(left, f64::min), boxes().map(|b| b.max.x).fold(right, f64::max)]
}

/// The placement sheets of a plan: for each cloth on the bench a picture and a line for each piece.
/// Returns the file and its number of pages.
pub(crate) fn sheets(view: &View, form: Form) -> (Vec<u8>, usize) {
    let names: Vec<String> = view.plan.jobs.iter().map(|j| clean(j)).collect();
    let title = format!("Placement: {}", names.join(" + "));
    let id: String = clean(&view.plan.id).chars().take(12).collect();
    let mut flow = Flow::new();
    flow.words(&title, 5.0, true);
    for words in HOW {
        flow.words(words, 3.0, false);
    }
    for (_, sheet) in view.sheets() {
        cloth(&mut flow, &sheet);
    }
    flow.finish(&title, &format!("placement sheet · plan {id}"), form)
}

/// How the sheet is used.
const HOW: [&str; 4] = [
    "Distances are mm, along the warp / across it. Cut in the order given: no piece is then cut on loose cloth.",
    "Points with letters are on the template: lay it so that each lies at its distances, draw round it, add the allowance.",
    "Points with numbers are corners of the cut line: mark them and join them in their order with a straight edge.",
    "Offcuts to keep are marked the same way. Names and labels go on the backing only. Pictures are not to scale.",
];

/// Everything about one cloth on the bench.
fn cloth(flow: &mut Flow, sheet: &Sheet<'_>) {
    let places = places(sheet);
    let [_, low, _, high] = sheet.stock_box;
    let [left, right] = span(sheet);
    let tall = if sheet.stock.kind == StockKind::Roll { TALL[0] } else { TALL[1] };
    let scale = ((WIDTH - 20.0) / (right - left).max(1.0)).min(tall / (high - low).max(1.0));
    let segment = if sheet.segments > 1 {
        format!(", bench segment {} of {}", sheet.segment + 1, sheet.segments)
    } else {
        String::new()
    };
    let kind = if sheet.stock.kind == StockKind::Roll { "Roll" } else { "Offcut" };
    // Heading, picture and a few rows stay together.
    if !flow.fits((high - low) * scale + 58.0) {
        flow.page();
    }
    flow.heading(&format!("{kind} {}{segment}", clean(&sheet.stock.id)));
    let face = face_in_words(sheet.plan, sheet.stock, sheet.over).to_uppercase();
    flow.words(&format!("{face}. {}.", capital(&measured_from(sheet))), 3.2, true);
    let turned = turned_over_in_words(sheet).trim_end_matches("; sign:");
    flow.words(&format!("As the cloth lies here: {turned}."), 3.2, turned.starts_with("turn"));
    flow.gap(2.0);
    flow.scaled(picture(sheet, &places, scale), scale);
    flow.gap(2.0);
    let mut rows = Vec::new();
    rows.extend(own_corners(sheet));
    rows.extend(places.iter().enumerate().map(|(i, place)| piece_row(sheet, place, i + 1)));
    rows.extend(sheet.stock.offcuts.iter().filter_map(|offcut| offcut_row(sheet, offcut)));
    flow.drawing(heading(), 5.0);
    for row in rows {
        let (scene, height) = row.drawn();
        if !flow.fits(height) {
            flow.page();
            flow.words(
                &format!(
                    "{kind} {}{segment}, continued, {}",
                    clean(&sheet.stock.id),
                    measured_from(sheet)
                ),
                2.8,
                true,
            );
            flow.gap(1.0);
            flow.drawing(heading(), 5.0);
        }
        flow.drawing(scene, height);
    }
    flow.gap(1.5);
    let end = |x: f64| decimals(x, 1);
    if sheet.segment + 1 < sheet.segments {
        flow.words(
            &format!(
                "Then mark the cloth {} mm from the roll's cut end and slide it; dashed pieces are cut in the next segment, which starts there.",
                end(sheet.to)
            ),
            3.2,
            true,
        );
    } else if sheet.stock.kind == StockKind::Roll {
        let used = sheet.stock.used_length;
        let from = if sheet.segment > 0 {
            format!(" ({} mm from where this bench length starts)", end(used - sheet.from))
        } else {
            String::new()
        };
        flow.words(
            &format!(
                "Last of all: cut straight across {} mm from the roll's cut end{from}.",
                end(used)
            ),
            3.2,
            true,
        );
    }
}

fn capital(words: &str) -> String {
    let mut chars = words.chars();
    chars.next().map_or_else(String::new, |c| c.to_uppercase().chain(chars).collect())
}

/// The words of one row of the report's table.
pub(crate) fn cells(place: &Place<'_>, order: usize) -> [String; 6] {
    let facts = &place.laid.facts;
    let points = place.marks.iter().chain(place.corners.iter().flatten());
    [
        order.to_string(),
        facts.number.clone(),
        facts.line().replace(" · FACE DOWN", ""),
        points.map(in_words).collect::<Vec<_>>().join(", "),
        reach_in_words(place),
        if facts.face_down { "DOWN".into() } else { "up".into() },
    ]
}

/// The headings of that table.
pub(crate) const HEADINGS: [&str; 6] =
    ["cut", "no.", "piece", "points: along / across", "reaches", "face"];
