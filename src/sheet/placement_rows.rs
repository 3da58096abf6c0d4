//! The lines of the placement sheet: one for each piece, for each offcut to keep, and for an offcut
//! that is cut from.

use super::flow::{WIDTH, wrapped};
use super::laid::{Sheet, motion_of};
use super::measured::{Measured, Place, box_of, in_words, measured_marks, reach_in_words};
use super::reference::{Mark, numbered};
use super::scene::{Backing, Hold, Ink, Scene, Shape, Text};
use super::text::{clean, decimals, fit, text_width};
use super::turn_over::turn_over_sign;
use crate::geometry::{Bounds, Motion, Point, point};
use crate::outline::EdgeKind;
use crate::plan::{Offcut, Plan, PlanPiece, StockKind};

/// Left edges of the columns: number, picture, words, distances, mm.
const COLUMNS: [f64; 4] = [9.0, 22.0, 52.0, 104.0];
/// Width of the picture, mm.
const PICTURE: f64 = 28.0;
/// Size and pitch of the words, mm.
const SIZE: f64 = 2.6;
/// Size of long lists of points, mm.
const SMALL: f64 = 2.4;
const PITCH: f64 = 3.4;
/// Least height of a line, mm.
const LEAST: f64 = 12.0;
/// More points than this stand below the words, over their width too.
const MANY: usize = 8;
/// An offcut is drawn with straight lines that stay so close to its edge, mm: the first of them
/// that takes few corners.
const CLOSE: [f64; 5] = [0.8, 2.0, 4.0, 8.0, 16.0];
/// How many corners are few.
const FEW: usize = 14;

/// One line.
#[derive(Clone, Debug, Default)]
pub(crate) struct Row {
    /// Its place in the order of cutting, or what it is.
    pub order: String,
    /// The piece's number.
    pub number: String,
    /// What it is: the first line is bold.
    pub lines: Vec<String>,
    /// Its points with their distances.
    pub points: Vec<String>,
    /// What else there is to say of them.
    pub notes: Vec<String>,
    /// It lies face down: it is turned over before laying.
    pub face_down: bool,
    /// The points stand below the words, over their width too.
    below: bool,
    picture: Picture,
}

/// What a line's picture shows, stock frame.
#[derive(Clone, Debug, Default)]
struct Picture {
    rings: Vec<Vec<Point>>,
    faint: Vec<Vec<Point>>,
    arrow: Option<[Point; 2]>,
    points: Vec<Measured>,
}

/// The line of a piece.
pub(crate) fn piece_row(sheet: &Sheet<'_>, place: &Place<'_>, order: usize) -> Row {
    let facts = &place.laid.facts;
    let mut lines = vec![facts.template.clone()];
    lines.extend(facts.job.clone());
    lines.push([facts.layer.as_str(), &facts.angle, facts.hand].join(" · "));
    if !facts.more.is_empty() {
        lines.push(facts.more.join(" · "));
    }
    let mut notes: Vec<String> = place.to_ink.iter().cloned().collect();
    if let (Some(up), Some(piece)) = (place.inked_up, place.laid.piece) {
        let side = if up { "template inked side up" } else { "template INKED SIDE DOWN" };
        lines.push(side.into());
        notes.push(allowance_in_words(sheet.plan, piece));
    }
    if place.corners_of_splice {
        notes.extend(place.corners.iter().filter_map(|c| {
            Some(format!("splice: straight {}-{}", c.first()?.name, c.last()?.name))
        }));
    } else {
        notes.extend(rings_in_words(&place.corners.iter().map(Vec::len).collect::<Vec<_>>()));
    }
    notes.push(format!("cut line reaches {}", reach_in_words(place)));
    let notes = vec![notes.join("; ")];
    let placed = place.laid.placed;
    let cut: Vec<Vec<Point>> =
        std::iter::once(&placed.outline).chain(&placed.holes).cloned().collect();
    let net = |piece: &PlanPiece| {
        piece.net.iter().map(|r| r.iter().map(|&p| motion_of(placed).apply(p)).collect()).collect()
    };
    let (rings, faint) =
        match place.laid.piece.filter(|_| place.corners.is_empty() || place.corners_of_splice) {
            Some(piece) => (net(piece), cut),
            None => (cut, Vec::new()),
        };
    let shown = |m: &&Measured| place.arrow.is_none() || (m.name != "tail" && m.name != "head");
    let points: Vec<&Measured> = place.marks.iter().chain(place.corners.iter().flatten()).collect();
    Row {
        order: order.to_string(),
        number: facts.number.clone(),
        lines,
        points: points.iter().map(|m| in_words(m)).collect(),
        notes,
        face_down: facts.face_down,
        below: points.len() > MANY,
        picture: Picture {
            rings,
            faint,
            arrow: place.arrow,
            points: points.into_iter().filter(shown).cloned().collect(),
        },
    }
}

/// How the numbers of several rings hang together: `corners 1-8 its edge, 9-12 a window`.
fn rings_in_words(lengths: &[usize]) -> Option<String> {
    let mut first = 1;
    let mut words = Vec::new();
    for (i, n) in lengths.iter().enumerate() {
        words.push(format!(
            "{first}-{} {}",
            first + n - 1,
            if i == 0 { "its edge" } else { "a window" }
        ));
        first += n;
    }
    (lengths.len() > 1).then(|| format!("corners {}", words.join(", ")))
}

/// How far outside the template the cut line runs.
fn allowance_in_words(plan: &Plan, piece: &PlanPiece) -> String {
    let layer = plan.layers.iter().find(|l| l.layer == piece.layer && l.job == piece.job);
    let template =
        plan.templates.iter().find(|t| t.template == piece.template && t.job == piece.job);
    let (Some(layer), Some(template)) = (layer, template) else {
        return "add the allowance".into();
    };
    let has = |kinds: &[EdgeKind]| template.edges.iter().any(|e| kinds.contains(e));
    let mm = |v: f64| decimals(v, 1);
    let mut all = Vec::new();
    if has(&[EdgeKind::Trim]) {
        all.push(format!("{} at trim edges", mm(layer.trim)));
    }
    if has(&[EdgeKind::Lap]) {
        all.push(format!("{} at lap edges", mm(layer.lap)));
    }
    if has(&[EdgeKind::Butt]) {
        all.push("nothing at butt edges".into());
    }
    if has(&[EdgeKind::Dart]) {
        all.push("nothing at darts".into());
    }
    let words = match all.as_slice() {
        [only] if has(&[EdgeKind::Trim]) => {
            format!("add {} all round", only.trim_end_matches(" at trim edges"))
        }
        _ => format!("add {}", all.join(", ")),
    };
    if piece.holes.is_empty() {
        words
    } else {
        format!("{words}; windows {} smaller all round", mm(layer.trim))
    }
}

/// The line of an offcut to keep; its part on this sheet.
pub(crate) fn offcut_row(sheet: &Sheet<'_>, offcut: &Offcut) -> Option<Row> {
    let rings: Vec<Vec<Point>> = std::iter::once(&offcut.outline)
        .chain(&offcut.holes)
        .map(|r| sheet.here(r))
        .filter(|r| r.len() > 2)
        .collect();
    let (points, close) = corners_of(sheet, &rings)?;
    let [_, _, w, h] = offcut.largest_rectangle;
    Some(Row {
        order: "keep".into(),
        lines: vec![offcut_name(sheet, offcut)],
        below: true,
        points: points.iter().flatten().map(in_words).collect(),
        notes: rings_in_words(&points.iter().map(Vec::len).collect::<Vec<_>>())
            .into_iter()
            .chain([format!(
                "rectangle {} × {} mm, {} m²; true to {} mm",
                decimals(w, 0),
                decimals(h, 0),
                decimals(offcut.area / 1e6, 3),
                decimals(close, 1)
            )])
            .collect(),
        picture: Picture { rings, points: points.concat(), ..Picture::default() },
        ..Row::default()
    })
}

/// An offcut's name: what it is called in the plan, and what it comes off.
pub(crate) fn offcut_name(sheet: &Sheet<'_>, offcut: &Offcut) -> String {
    format!("offcut {} off {}", clean(&offcut.id), clean(&sheet.stock.id))
}

/// The corners of an offcut, measured, and how close to its edge the straight lines between them
/// stay.
pub(crate) fn corners_of(
    sheet: &Sheet<'_>,
    rings: &[Vec<Point>],
) -> Option<(Vec<Vec<Measured>>, f64)> {
    let still = Motion::new(0.0, false, point(0.0, 0.0));
    let count = |rings: &Vec<Vec<Mark>>| rings.iter().map(Vec::len).sum::<usize>();
    let mut tried = CLOSE.iter().map(|&close| (numbered(rings.iter(), close, 0.0), close));
    let (mut marks, mut close) = tried.next()?;
    for coarser in tried {
        if count(&marks) <= FEW {
            break;
        }
        (marks, close) = coarser;
    }
    let found: Vec<Vec<Measured>> =
        marks.iter().map(|ring| measured_marks(sheet, ring, &still)).collect();
    (!found.is_empty()).then_some((found, close))
}

/// The line of an offcut that is cut from: its own corners tell from where it is measured.
pub(crate) fn own_corners(sheet: &Sheet<'_>) -> Option<Row> {
    if sheet.stock.kind != StockKind::Offcut {
        return None;
    }
    let rings: Vec<Vec<Point>> =
        std::iter::once(&sheet.stock.outline).chain(&sheet.stock.holes).cloned().collect();
    let (points, _) = corners_of(sheet, &rings)?;
    Some(Row {
        order: "cloth".into(),
        lines: vec![format!("offcut {}: its own corners", clean(&sheet.stock.id))],
        below: true,
        points: points.iter().flatten().map(in_words).collect(),
        notes: rings_in_words(&points.iter().map(Vec::len).collect::<Vec<_>>())
            .into_iter()
            .collect(),
        picture: Picture { rings, points: points.concat(), ..Picture::default() },
        ..Row::default()
    })
}

/// The headings over the lines.
pub(crate) fn heading() -> Scene {
    let mut s = blank(5.0);
    let words = [
        (0.0, "cut"),
        (COLUMNS[0], "piece"),
        (COLUMNS[2], "what"),
        (COLUMNS[3], "point along/across, mm"),
    ];
    for (x, words) in words {
        s.words(point(x, 1.6), SIZE, true, words);
    }
    s.line(Ink::Stock, &[point(0.0, 0.2), point(WIDTH, 0.2)]);
    s
}

fn blank(height: f64) -> Scene {
    Scene::new(Bounds { min: point(0.0, 0.0), max: point(WIDTH, height) }, String::new())
}

impl Row {
    /// The line drawn, and its height; origin at its lower left.
    pub(crate) fn drawn(&self) -> (Scene, f64) {
        let many = self.below;
        let words: Vec<(String, bool)> = self
            .lines
            .iter()
            .enumerate()
            .flat_map(|(i, l)| {
                let width = if many { WIDTH - COLUMNS[2] } else { COLUMNS[3] - COLUMNS[2] - 2.0 };
                wrapped(&clean(l), width, SIZE, i == 0).into_iter().map(move |w| (w, i == 0))
            })
            .collect();
        let width = if self.below { WIDTH - COLUMNS[2] } else { WIDTH - COLUMNS[3] };
        let notes: Vec<String> =
            self.notes.iter().flat_map(|n| wrapped(&clean(n), width, SIZE, false)).collect();
        // Named points stand two in a line, numbered corners, which are shorter, three.
        let left = if many { COLUMNS[2] } else { COLUMNS[3] };
        let size = if many { SMALL } else { SIZE };
        let cell = self.points.iter().map(|p| text_width(p, size, true)).fold(10.0, f64::max) + 1.6;
        let across = (((WIDTH - left) / cell).floor() as usize).max(1);
        let point_lines = self.points.len().div_ceil(across);
        let down = usize::from(self.face_down);
        let count = if many {
            words.len() + down + point_lines + notes.len()
        } else {
            (words.len() + down).max(point_lines + notes.len())
        };
        let height = (count as f64 * PITCH + 2.2).max(LEAST);
        let mut s = blank(height);
        let at = |x: f64, line: usize| point(x, height - 0.4 - (line as f64 + 1.0) * PITCH + 0.6);
        s.words(at(0.0, 0), 3.0, true, self.order.as_str());
        s.words(
            at(COLUMNS[0], 0),
            3.0,
            true,
            fit(&self.number, COLUMNS[1] - COLUMNS[0] - 1.0, 3.0, true),
        );
        for (i, (words, bold)) in words.iter().enumerate() {
            s.words(at(COLUMNS[2], i), SIZE, *bold, words.as_str());
        }
        if self.face_down {
            loud(&mut s, at(COLUMNS[2], words.len()), "FACE DOWN: turn over");
        }
        let first = if many { words.len() + down } else { 0 };
        for (i, words) in self.points.iter().enumerate() {
            s.words(
                at(left + (i % across) as f64 * cell, first + i / across),
                size,
                true,
                words.as_str(),
            );
        }
        for (i, words) in notes.iter().enumerate() {
            s.words(at(left, first + point_lines + i), SIZE, false, words.as_str());
        }
        let room =
            Bounds { min: point(COLUMNS[1], 1.0), max: point(COLUMNS[1] + PICTURE, height - 1.0) };
        self.picture.draw(&mut s, &room, self.face_down);
        s.line(Ink::Grid, &[point(0.0, 0.0), point(WIDTH, 0.0)]);
        (s, height)
    }
}

/// White words on black.
fn loud(s: &mut Scene, at: Point, words: &str) {
    let width = text_width(words, SIZE, true);
    let (low, high) = (at - point(0.6, 0.7), at + point(width + 0.6, SIZE * 0.85));
    s.backings.push(Backing {
        ring: vec![low, point(high.x, low.y), high, point(low.x, high.y)],
        black: true,
    });
    s.texts.push(Text {
        at,
        hold: Hold::Start,
        angle: 0.0,
        size: SIZE,
        bold: true,
        white: true,
        words: words.into(),
    });
}

impl Picture {
    /// Draws it into a box, as large as it goes, its points with their names.
    fn draw(&self, s: &mut Scene, room: &Bounds, face_down: bool) {
        const NAME: f64 = 2.1;
        let whole: Vec<Vec<Point>> = self
            .rings
            .iter()
            .chain(&self.faint)
            .cloned()
            .chain([self.points.iter().map(|p| p.at).collect()])
            .collect();
        let Some(b) = box_of(&whole) else { return };
        // Names stand outside.
        let (width, height) = (room.width() - 4.5 * NAME, room.height() - 2.4 * NAME);
        let scale = (width / b.width().max(1e-6)).min(height / b.height().max(1e-6));
        let place = |p: Point| room.centre() + (p - b.centre()) * scale;
        let moved = |line: &Vec<Point>| -> Vec<Point> {
            line.iter().chain(line.first()).map(|&p| place(p)).collect()
        };
        self.faint.iter().for_each(|l| s.line(Ink::Grid, &moved(l)));
        self.rings.iter().for_each(|l| s.line(Ink::Leader, &moved(l)));
        if let Some([tail, head]) = self.arrow.map(|ends| ends.map(place)) {
            let along = (head - tail) * (1.0 / tail.distance(head).max(1e-9));
            let side = point(-along.y, along.x) * 0.6;
            s.line(Ink::Leader, &[tail, head]);
            s.draw(
                Ink::Leader,
                Shape::Solid(vec![head, head - along * 1.8 + side, head - along * 1.8 - side]),
            );
        }
        let mut taken: Vec<Point> = Vec::new();
        for (i, p) in self.points.iter().enumerate() {
            let at = place(p.at);
            let dot = (0..8)
                .map(|k| Motion::new(f64::from(k) * 45.0, false, at).apply(point(0.45, 0.0)))
                .collect();
            s.draw(Ink::Leader, Shape::Solid(dot));
            let away = at - room.centre();
            let name = at + away * (1.7 / away.length().max(1e-9));
            // The first two tell which way the numbers run; of the others those that have room.
            if i < 2 || taken.iter().all(|t| t.distance(name) > 1.5 * NAME) {
                let words = fit(&clean(&p.name), 5.0, NAME, true);
                let at = name - point(0.0, 0.36 * NAME);
                s.texts.push(Text {
                    at,
                    hold: Hold::Middle,
                    angle: 0.0,
                    size: NAME,
                    bold: true,
                    white: false,
                    words,
                });
                taken.push(name);
            }
        }
        if face_down {
            turn_over_sign(s, point(room.max.x - 1.4, room.max.y - 1.4), 2.8, None);
        }
    }
}
