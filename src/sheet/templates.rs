//! Each piece as its own printed template, packed on paper; what is larger than a page is spread over several.

use super::draw::{Laid, draw_piece};
use super::face::View;
use super::label::Facts;
use super::paper::{FOOT, Paper};
use super::pdf::{Page, Part, pdf};
use super::reference::{Mark, References, references};
use super::scene::{Hold, Ink, Scene, Shape, Text};
use super::text::{clean, fit, text_width};
use super::tiles::{check_square, frame, spread};
use crate::cloth::Face;
use crate::geometry::{Bounds, Point, point, ring_bounds};
use crate::plan::{PlacedPiece, Plan, PlanPiece};

/// White between templates on a page, mm.
const GAP: f64 = 6.0;

/// Height of the words under a template, mm.
const CAPTION: f64 = 5.0;

/// Arm of a named point's cross, mm.
const ARM: f64 = 2.5;

/// Size of its name, mm.
const NAME: f64 = 3.4;

/// A template with its words, drawn in the cloth frame: warp along x.
struct Template {
    scene: Scene,
    name: String,
}

/// A page that fills up row by row.
struct Sheet {
    lying: bool,
    /// Template and where its lower left corner lies in the printed room.
    placed: Vec<(usize, Point)>,
    /// Where the next goes, and how high the row is.
    x: f64,
    y: f64,
    row: f64,
}

/// All pieces as templates, one each, seen with the given face up. Returns the file and its number of pages.
pub(crate) fn templates(plan: &Plan, face: Option<Face>, paper: &Paper) -> (Vec<u8>, usize) {
    let mirrored = face == Some(Face::Down);
    let view = View::new(plan, face);
    let mut all: Vec<Template> = plan.pieces.iter().filter_map(|p| template(&view.plan, p, mirrored)).collect();
    // Rows are fullest when their templates are of like height.
    all.sort_by(|a, b| b.scene.page.height().total_cmp(&a.scene.page.height()));
    let mut sheets: Vec<Sheet> = Vec::new();
    let mut large = Vec::new();
    for (i, t) in all.iter().enumerate() {
        let (w, h) = (t.scene.page.width(), t.scene.page.height());
        if sheets.iter_mut().any(|s| s.put(i, w, h, paper)) {
            continue;
        }
        let fits = |lying: bool| w <= paper.room(lying)[0] && h <= paper.room(lying)[1];
        match [false, true].into_iter().find(|&lying| fits(lying)) {
            Some(lying) => {
                let mut sheet = Sheet { lying, placed: Vec::new(), x: 0.0, y: 0.0, row: 0.0 };
                sheet.put(i, w, h, paper);
                sheets.push(sheet);
            }
            None => large.push(i),
        }
    }
    let spreads: Vec<_> = large.iter().map(|&i| (i, spread(&all[i].scene, paper))).collect();
    let total = sheets.len() + spreads.iter().map(|s| s.1.tiles.len()).sum::<usize>();
    let side = if mirrored { "backing side down" } else { "backing side up" };
    let id: String = clean(&plan.id).chars().take(12).collect();
    let foot = |page: usize, what: &str| format!("page {page} of {total} · {what} · {side} · print at 100 % · plan {id}");
    let mut frames = Vec::new();
    for sheet in &sheets {
        frames.push(frame(paper, sheet.lying, &foot(frames.len() + 1, "whole pieces"), false));
    }
    for (i, tiling) in &spreads {
        for tile in &tiling.tiles {
            let what = format!("{}: row {} of {}, column {} of {}", all[*i].name, tile.row, tiling.grid[0], tile.column, tiling.grid[1]);
            frames.push(frame(paper, tiling.lying, &foot(frames.len() + 1, &what), true));
        }
    }
    let low = point(paper.margin, paper.margin + FOOT);
    let whole = |scene| Part { scene, at: point(0.0, 0.0), scale: 1.0, window: None, darkens: false };
    let mut pages = Vec::new();
    for sheet in &sheets {
        let parts = sheet.placed.iter().map(|&(i, at)| Part {
            scene: &all[i].scene,
            at: low + at - all[i].scene.page.min,
            scale: 1.0,
            window: Some(all[i].scene.page),
            darkens: false,
        });
        pages.push(Page { size: paper.page(sheet.lying), parts: parts.collect() });
    }
    for (i, tiling) in &spreads {
        for tile in &tiling.tiles {
            let part = Part { scene: &all[*i].scene, at: low - tile.window.min, scale: 1.0, window: Some(tile.window), darkens: false };
            pages.push(Page { size: paper.page(tiling.lying), parts: vec![part] });
        }
    }
    let lies = sheets.iter().map(|s| s.lying).chain(spreads.iter().flat_map(|(_, t)| t.tiles.iter().map(|_| t.lying)));
    let squares = [check_square(paper, false), check_square(paper, true)];
    for ((page, frame), lying) in pages.iter_mut().zip(&frames).zip(lies) {
        page.parts.insert(0, whole(frame));
        page.parts.push(Part { darkens: true, ..whole(&squares[usize::from(lying)]) });
    }
    (pdf(&format!("Templates: {}", clean(&plan.jobs.join(" + "))), &pages), total)
}

impl Sheet {
    /// Puts a template of this size on the page if it has room.
    fn put(&mut self, index: usize, width: f64, height: f64, paper: &Paper) -> bool {
        let [w, h] = paper.room(self.lying);
        let (mut x, mut y, mut row) = (self.x, self.y, self.row);
        if x + width > w {
            (x, y, row) = (0.0, y + row + GAP, 0.0);
        }
        if x + width > w || y + height > h {
            return false;
        }
        self.placed.push((index, point(x, h - y - height)));
        (self.x, self.y, self.row) = (x + width + GAP, y, row.max(height));
        true
    }
}

/// One piece with its label, its 0° arrow, the points that the placement sheet names, and a caption.
fn template(plan: &Plan, piece: &PlanPiece, mirrored: bool) -> Option<Template> {
    let over = |r: &Vec<Point>| -> Vec<Point> { if mirrored { r.iter().rev().map(|p| point(p.x, -p.y)).collect() } else { r.clone() } };
    let placed = PlacedPiece {
        piece: piece.piece.clone(),
        copy: 1,
        turn: 0.0,
        face: if mirrored { Face::Down } else { Face::Up },
        x: 0.0,
        y: 0.0,
        outline: over(&piece.outline),
        holes: piece.holes.iter().map(over).collect(),
    };
    let bounds = ring_bounds(&placed.outline)?;
    let mut facts = Facts::of(plan, Some(piece), &placed, None);
    // A template serves all its copies.
    facts.more.retain(|m| !m.starts_with("copy "));
    if piece.copies > 1 {
        facts.more.push(format!("cut {}", piece.copies));
    }
    let down = copies_face_down(plan, piece);
    facts.face_down = down.as_ref().is_some_and(Vec::is_empty);
    facts.more.extend(side_in_words(down.as_deref(), mirrored));
    let number = clean(&piece.number);
    let caption = format!("{number} · {} · {}", facts.line(), clean(&piece.cloth));
    // The named points are marks of the piece, so that its label keeps clear of them.
    let found = references(plan, piece);
    let mut marked = piece.clone();
    // The arrow that is inked on the skin, not another one beside it.
    marked.arrow = found.arrow.unwrap_or(piece.arrow);
    let points: Vec<(Mark, Point)> = named_points(&found, ring_bounds(&piece.outline)?);
    marked.marks.extend(points.iter().flat_map(|(m, name)| {
        let [width, height] = [point(text_width(&m.name, NAME, true) / 2.0, 0.0), point(0.0, NAME * 0.4)];
        [cross(m.at)[0].to_vec(), cross(m.at)[1].to_vec(), vec![*name - width - height, *name + width + height]]
    }));
    let laid = Laid { placed: &placed, piece: Some(&marked), bounds, facts };
    let mut scene = Scene::new(bounds, String::new());
    // What finds no room inside is said by the caption.
    draw_piece(&mut scene, &laid, 0, &mut Vec::new(), &mut Vec::new());
    for (m, name) in &points {
        let [at, name] = [m.at, *name].map(|p| if mirrored { point(p.x, -p.y) } else { p });
        scene.draw(Ink::Leader, Shape::Segments(cross(at).to_vec()));
        let at = name - point(0.0, 0.36 * NAME);
        scene.texts.push(Text { at, hold: Hold::Middle, angle: 0.0, size: NAME, bold: true, white: false, words: clean(&m.name) });
    }
    let width = bounds.width().max(40.0);
    let base = point(bounds.min.x, bounds.min.y - 4.0);
    scene.words(base + point(0.0, -2.5), 3.0, false, fit(&caption, width, 3.0, false));
    scene.page =
        Bounds { min: point(bounds.min.x - 1.0, bounds.min.y - 4.0 - CAPTION), max: point(bounds.min.x + width + 1.0, bounds.max.y + 1.0) };
    Some(Template { scene, name: number })
}

/// The drawing of a template alone.
#[cfg(test)]
pub(crate) fn template_scene(plan: &Plan, piece: &PlanPiece, mirrored: bool) -> Option<Scene> {
    template(plan, piece, mirrored).map(|t| t.scene)
}

/// The copies that lie face down as the cloth lies, if any: an empty list means all of them.
fn copies_face_down(plan: &Plan, piece: &PlanPiece) -> Option<Vec<u32>> {
    let copies = || plan.stocks.iter().flat_map(|s| &s.placed).filter(|p| p.piece == piece.piece);
    let mut down: Vec<u32> = copies().filter(|p| p.face == Face::Down).map(|p| p.copy).collect();
    down.sort_unstable();
    match down.len() {
        0 => None,
        n if n == copies().count() => Some(Vec::new()),
        _ => Some(down),
    }
}

/// Which side of the print lies up on the cloth, and which copies are turned over, where that is not the same for all.
fn side_in_words(down: Option<&[u32]>, mirrored: bool) -> Vec<String> {
    const UNDER: &str = "lay it printed side down";
    match (down, mirrored) {
        (None, false) => Vec::new(),
        (Some([]), false) | (None, true) => vec![UNDER.into()],
        (Some([]), true) => Vec::new(),
        (Some(some), _) => {
            let list = some.iter().map(u32::to_string).collect::<Vec<_>>().join(", ");
            let (copy, others) = if some.len() == 1 { ("copy", "the others") } else { ("copies", "the others") };
            let who = if mirrored { others.to_string() } else { format!("{copy} {list}") };
            vec![format!("{copy} {list} FACE DOWN"), format!("for {who} {UNDER}")]
        }
    }
}

/// The points that the placement sheet names, each with the middle of its name: beside it, towards the middle of the piece for the corners of the
/// cut line, away from it for points of the net line. Of crowded corners those are left out that have no room.
fn named_points(found: &References, bounds: Bounds) -> Vec<(Mark, Point)> {
    let middle = bounds.centre();
    let beside = |m: &Mark, by: f64| m.at + (m.at - middle) * (by / m.at.distance(middle).max(1e-9));
    let mut all: Vec<(Mark, Point)> = found.marks.iter().map(|m| (m.clone(), beside(m, 1.6 * ARM))).collect();
    for (i, m) in found.corners.iter().flatten().enumerate() {
        let name = beside(m, -1.6 * ARM);
        if i < 2 || all.iter().all(|(_, other)| other.distance(name) > 1.6 * NAME) {
            all.push((m.clone(), name));
        }
    }
    all
}

/// The cross at a point.
fn cross(p: Point) -> [[Point; 2]; 2] {
    [[p - point(ARM, 0.0), p + point(ARM, 0.0)], [p - point(0.0, ARM), p + point(0.0, ARM)]]
}
