//! Printed templates, one for all equal pieces, packed on paper; what is larger than a page is
//! spread over several.

use super::alike::Alike;
use super::draw::draw_piece;
use super::equal::equal_pieces;
use super::face::View;
use super::flow::wrapped;
use super::form::Form;
use super::label::Facts;
use super::laid::Laid;
use super::paper::{FOOT, Paper};
use super::pdf::{Page, Part};
use super::reference::{Mark, References, references};
use super::scene::{Hold, Ink, Scene, Shape, Text};
use super::spread::{Tiling, spread};
use super::text::{clean, text_width};
use super::tiles::{frame, framed};
use super::written::PageCount;
use crate::cloth::Face;
use crate::geometry::{Bounds, Motion, Point, point, ring_bounds};
use crate::plan::{PlacedPiece, Plan, PlanPiece, words};

/// White between templates on a page, mm.
const GAP: f64 = 6.0;

/// Height of a line of words under a template, mm.
const CAPTION: f64 = 4.2;

/// Arm of a named point's cross, mm.
const ARM: f64 = 2.5;

/// Size of its name, mm.
const NAME: f64 = 3.4;

/// A template with its words.
struct Template {
    scene: Scene,
    /// What the foot of its pages says.
    name: String,
    /// How many pieces it serves.
    serves: usize,
}

/// A page that fills up: templates and where their lower left corners lie in the printed room.
struct Sheet {
    lying: bool,
    placed: Vec<(usize, Bounds)>,
}

/// The templates of a plan on their pages.
struct Packed {
    all: Vec<Template>,
    /// Pages that hold whole templates.
    sheets: Vec<Sheet>,
    /// Templates larger than a page.
    spreads: Vec<(usize, Tiling)>,
}

impl Packed {
    fn pages(&self) -> usize {
        self.sheets.len() + self.spreads.iter().map(|s| s.1.tiles.len()).sum::<usize>()
    }

    /// Pages that are saved by printing equal pieces once, by turning and by shifting.
    fn saved(&self) -> usize {
        self.spreads
            .iter()
            .map(|(i, t)| t.saved + (self.all[*i].serves - 1) * (t.tiles.len() + t.saved))
            .sum()
    }
}

/// The templates of a plan, one for all equal pieces, each turned so that it takes the least paper.
fn pack(plan: &Plan, face: Option<Face>, paper: &Paper) -> Packed {
    let mirrored = face == Some(Face::Down);
    let view = View::new(plan, face);
    let turned = |group: Vec<&PlanPiece>| {
        template(&view.plan, &group, mirrored, best_turn(group.first()?, mirrored, paper))
    };
    let mut all: Vec<Template> = equal_pieces(&view.plan).into_iter().filter_map(turned).collect();
    // The tall ones first: the small ones fill what they leave.
    all.sort_by(|a, b| b.scene.page.height().total_cmp(&a.scene.page.height()));
    let (mut sheets, mut large): (Vec<Sheet>, Vec<usize>) = (Vec::new(), Vec::new());
    for (i, t) in all.iter().enumerate() {
        let size = point(t.scene.page.width(), t.scene.page.height());
        if sheets.iter_mut().any(|s| s.put(i, size, paper)) {
            continue;
        }
        let sheet = [false, true].into_iter().find_map(|lying| {
            let mut sheet = Sheet { lying, placed: Vec::new() };
            sheet.put(i, size, paper).then_some(sheet)
        });
        match sheet {
            Some(sheet) => sheets.push(sheet),
            None => large.push(i),
        }
    }
    let spreads = large.into_iter().map(|i| (i, spread(&all[i].scene, paper))).collect();
    Packed { all, sheets, spreads }
}

/// How many pages the templates take.
pub(crate) fn count(plan: &Plan, face: Option<Face>, paper: &Paper) -> PageCount {
    let packed = pack(plan, face, paper);
    PageCount { name: "templates".into(), pages: packed.pages(), saved: packed.saved() }
}

/// The templates as drawings, each with a name for its file; the warp runs along x.
pub(crate) fn drawings(plan: &Plan, face: Option<Face>) -> Vec<(String, Scene)> {
    let plan = &View::new(plan, face).plan;
    let made = equal_pieces(plan).into_iter().filter_map(|group| {
        let first = group.first()?;
        let name = crate::file_name::made_of(&format!("{}-{}", first.number, first.template));
        Some((name, template(plan, &group, face == Some(Face::Down), 0.0)?.scene))
    });
    made.enumerate()
        .map(|(i, (name, scene))| (format!("template-{:02}-{name}", i + 1), scene))
        .collect()
}

/// All pieces as templates, seen with the given face up. Returns the file and its number of pages.
pub(crate) fn templates(
    plan: &Plan,
    face: Option<Face>,
    paper: &Paper,
    form: Form,
) -> (Vec<u8>, usize) {
    let packed = pack(plan, face, paper);
    let Packed { all, sheets, spreads } = &packed;
    let total = packed.pages();
    let id: String = clean(&plan.id).chars().take(12).collect();
    let foot = |page: usize, what: &str| format!("page {page} of {total} · {what} · plan {id}");
    let mut frames = Vec::new();
    for sheet in sheets {
        frames.push(frame(paper, sheet.lying, &foot(frames.len() + 1, "whole templates"), false));
    }
    for (i, tiling) in spreads {
        for tile in &tiling.tiles {
            let what = said!(
                "row {} of {}, column {} of {} of {}",
                tile.row,
                tiling.grid[0],
                tile.column,
                tiling.grid[1],
                all[*i].name
            );
            frames.push(frame(paper, tiling.lying, &foot(frames.len() + 1, &what), true));
        }
    }
    let low = point(paper.margin, paper.margin + FOOT);
    let mut pages = Vec::new();
    for sheet in sheets {
        let parts = sheet.placed.iter().map(|(i, room)| {
            let scene = &all[*i].scene;
            Part {
                scene,
                at: low + room.min - scene.page.min,
                scale: 1.0,
                window: Some(scene.page),
            }
        });
        pages.push(Page { size: paper.page(sheet.lying), parts: parts.collect() });
    }
    for (i, tiling) in spreads {
        for tile in &tiling.tiles {
            let part = Part {
                scene: &all[*i].scene,
                at: low - tile.window.min,
                scale: 1.0,
                window: Some(tile.window),
            };
            pages.push(Page { size: paper.page(tiling.lying), parts: vec![part] });
        }
    }
    (
        framed(
            &format!("Templates: {}", clean(&plan.jobs.join(" + "))),
            Vec::new(),
            pages,
            &frames,
            paper,
            form,
        ),
        total,
    )
}

impl Sheet {
    /// Puts a template of this size on the page, as low and as far left as it goes, if it has room.
    fn put(&mut self, index: usize, size: Point, paper: &Paper) -> bool {
        let [width, height] = paper.room(self.lying);
        let after = |edge: &dyn Fn(&Bounds) -> f64| -> Vec<f64> {
            let mut all: Vec<f64> =
                std::iter::once(0.0).chain(self.placed.iter().map(|p| edge(&p.1) + GAP)).collect();
            all.sort_by(f64::total_cmp);
            all
        };
        let (xs, ys) = (after(&|b| b.max.x), after(&|b| b.max.y));
        let free = |b: &Bounds| {
            let clear = |o: &Bounds| {
                o.max.x + GAP <= b.min.x + 1e-9
                    || b.max.x + GAP <= o.min.x + 1e-9
                    || o.max.y + GAP <= b.min.y + 1e-9
                    || b.max.y + GAP <= o.min.y + 1e-9
            };
            b.max.x <= width && b.max.y <= height && self.placed.iter().all(|p| clear(&p.1))
        };
        let places = ys.iter().flat_map(|&y| {
            xs.iter().map(move |&x| Bounds { min: point(x, y), max: point(x, y) + size })
        });
        let Some(place) = places.into_iter().find(free) else {
            return false;
        };
        self.placed.push((index, place));
        true
    }
}

/// The turn in which a piece takes the least paper, degrees: one page if it fits any, else the
/// fewest.
fn best_turn(piece: &PlanPiece, mirrored: bool, paper: &Paper) -> f64 {
    let words = point(2.0, 10.0 + CAPTION);
    let mut best = ((usize::MAX, f64::INFINITY), 0.0);
    for turn in (0..12).map(|k| f64::from(k) * 15.0) {
        let motion = Motion::new(turn, mirrored, point(0.0, 0.0));
        let Some(b) = ring_bounds(&motion.ring(&piece.outline)) else {
            continue;
        };
        let size = point(b.width(), b.height()) + words;
        let fits = |lying: bool| size.x <= paper.room(lying)[0] && size.y <= paper.room(lying)[1];
        let pages = if fits(false) || fits(true) {
            1
        } else {
            let mut s = Scene::new(b, String::new());
            s.draw(
                Ink::Cut,
                Shape::Rings(
                    std::iter::once(&piece.outline)
                        .chain(&piece.holes)
                        .map(|r| motion.ring(r))
                        .collect(),
                ),
            );
            piece
                .net
                .iter()
                .chain(&piece.cuts)
                .chain(&piece.marks)
                .for_each(|l| s.line(Ink::Mark, &motion.path(l)));
            spread(&s, paper).tiles.len()
        };
        // A little less room is no reason to turn it.
        let cost = (pages, if pages == 1 { (size.x * size.y / 500.0).round() } else { 0.0 });
        if cost.0 < best.0.0 || (cost.0 == best.0.0 && cost.1 < best.0.1) {
            best = (cost, turn);
        }
    }
    best.1
}

/// One template for a group of equal pieces, drawn as the first lies in the cloth frame and turned:
/// label, 0° arrow, the points that the placement sheet names, and a caption that tells every piece
/// it serves.
fn template(plan: &Plan, group: &[&PlanPiece], mirrored: bool, turn: f64) -> Option<Template> {
    let piece = *group.first()?;
    let motion = Motion::new(turn, mirrored, point(0.0, 0.0));
    let placed = PlacedPiece {
        piece: piece.piece.clone(),
        copy: 1,
        turn,
        face: if mirrored { Face::Down } else { Face::Up },
        x: 0.0,
        y: 0.0,
        outline: motion.ring(&piece.outline),
        holes: piece.holes.iter().map(|h| motion.ring(h)).collect(),
        pinned: false,
    };
    let bounds = ring_bounds(&placed.outline)?;
    let sided = |piece: &PlanPiece, facts: &mut Facts| {
        let down = copies_face_down(plan, piece);
        facts.face_down = down.as_ref().is_some_and(Vec::is_empty);
        facts.more.extend(side_in_words(down.as_deref(), mirrored));
    };
    let facts_of = |piece: &PlanPiece| {
        let mut facts = Facts::of(plan, Some(piece), &placed, None);
        // A template serves all its copies.
        facts.more = words::which(piece);
        if piece.copies > 1 {
            facts.more.push(format!("cut {}", piece.copies));
        }
        facts.face_down = false;
        facts
    };
    let copies: u32 = group.iter().map(|p| p.copies).sum();
    let others: Vec<String> = group.iter().skip(1).map(|p| clean(&p.number)).collect();
    let mut facts = facts_of(piece);
    if !others.is_empty() {
        facts.more.push(format!("also {}", others.join(", ")));
        facts.more.push(format!("cut {copies} in all"));
    }
    if group.iter().all(|p| copies_face_down(plan, p) == copies_face_down(plan, piece)) {
        sided(piece, &mut facts);
    } else {
        facts.more.push("face: see the list below".into());
    }
    let number = clean(&piece.number);
    let width = bounds.width().max(50.0);
    let caption = group.iter().flat_map(|p| {
        let mut facts = facts_of(p);
        sided(p, &mut facts);
        let line = format!(
            "{} · {} · {}, {} up",
            clean(&p.number),
            facts.line(),
            clean(&p.cloth),
            words::side(plan, &p.cloth)
        );
        wrapped(&line, width, 3.0, false)
    });
    let mut caption: Vec<String> = caption.collect();
    if !others.is_empty() {
        caption.push(format!("cut {copies} in all"));
    }
    // The named points are marks of the piece, so that its label keeps clear of them.
    let found = references(plan, piece);
    let mut marked = piece.clone();
    // The arrow that is inked on the skin, not another one beside it.
    marked.arrow = found.arrow.unwrap_or(piece.arrow);
    let points: Vec<(Mark, Point)> = named_points(&found, ring_bounds(&piece.outline)?);
    marked.marks.extend(points.iter().flat_map(|(m, name)| {
        let [width, height] =
            [point(text_width(&m.name, NAME, true) / 2.0, 0.0), point(0.0, NAME * 0.4)];
        [
            cross(m.at)[0].to_vec(),
            cross(m.at)[1].to_vec(),
            vec![*name - width - height, *name + width + height],
        ]
    }));
    let laid = Laid { placed: &placed, piece: Some(&marked), bounds, facts, many: 1 };
    let mut scene = Scene::new(bounds, String::new());
    // What finds no room inside is said by the caption.
    draw_piece(&mut scene, &laid, 0, &Alike::default(), &mut Vec::new(), &mut Vec::new());
    for (m, name) in &points {
        scene.draw(Ink::Leader, Shape::Segments(cross(motion.apply(m.at)).to_vec()));
        let at = motion.apply(*name) - point(0.0, 0.36 * NAME);
        scene.texts.push(Text {
            at,
            hold: Hold::Middle,
            angle: 0.0,
            size: NAME,
            bold: true,
            white: false,
            words: clean(&m.name),
        });
    }
    let mut base = point(bounds.min.x, bounds.min.y - 2.5);
    for line in &caption {
        base = base - point(0.0, CAPTION);
        scene.words(base + point(0.0, 1.0), 3.0, false, line.clone());
    }
    scene.page = Bounds {
        min: point(bounds.min.x - 1.0, base.y),
        max: point(bounds.min.x + width + 1.0, bounds.max.y + 1.0),
    };
    let all = std::iter::once(number).chain(others).collect::<Vec<_>>().join(", ");
    let name =
        format!("{all} {}, {} · cut {copies}", clean(&piece.template), words::hand_of(piece));
    Some(Template { scene, name, serves: group.len() })
}

/// The drawing of a template alone.
#[cfg(test)]
pub(crate) fn template_scene(plan: &Plan, piece: &PlanPiece, mirrored: bool) -> Option<Scene> {
    template(plan, &[piece], mirrored, 0.0).map(|t| t.scene)
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

/// Which side of the print lies up on the cloth, and which copies are turned over, where that is
/// not the same for all.
fn side_in_words(down: Option<&[u32]>, mirrored: bool) -> Vec<String> {
    const UNDER: &str = "lay it printed side down";
    match (down, mirrored) {
        (None, false) => Vec::new(),
        (Some([]), false) | (None, true) => vec![UNDER.into()],
        (Some([]), true) => Vec::new(),
        (Some(some), _) => {
            let list = some.iter().map(u32::to_string).collect::<Vec<_>>().join(", ");
            let (copy, others) =
                if some.len() == 1 { ("copy", "the others") } else { ("copies", "the others") };
            let who = if mirrored { others.to_string() } else { format!("{copy} {list}") };
            vec![format!("{copy} {list} {}", words::FACE_DOWN), format!("for {who} {UNDER}")]
        }
    }
}

/// The points that the placement sheet names, each with the middle of its name: beside it, towards
/// the middle of the piece for the corners of the cut line, away from it for points of the net
/// line. Of crowded corners those are left out that have no room.
fn named_points(found: &References, bounds: Bounds) -> Vec<(Mark, Point)> {
    let middle = bounds.centre();
    let beside =
        |m: &Mark, by: f64| m.at + (m.at - middle) * (by / m.at.distance(middle).max(1e-9));
    let mut all: Vec<(Mark, Point)> =
        found.marks.iter().map(|m| (m.clone(), beside(m, 1.6 * ARM))).collect();
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
