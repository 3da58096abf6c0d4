//! The title block under the cloth: what the sheet is, which face is up, the scale bar, what the
//! lines mean, short labels in full.

use super::flow::wrapped;
use super::laid::Sheet;
use super::measured::{in_words, measured_from};
use super::placement_rows::{corners_of, offcut_name};
use super::scene::{Hold, Ink, Scene, Shape, Text};
use super::text::{clean, decimals, fit, text_width};
use super::turn_over::turn_over_sign;
use crate::geometry::{Bounds, Point, point};
use crate::plan::{Plan, PlanStock, StockKind, words};

/// One field of the block: a small drawing whose upper left corner is the origin.
struct Field {
    width: f64,
    height: f64,
    scene: Scene,
}

impl Field {
    fn new() -> Self {
        let nothing = Bounds { min: point(0.0, 0.0), max: point(0.0, 0.0) };
        Field { width: 0.0, height: 0.0, scene: Scene::new(nothing, String::new()) }
    }

    /// Adds a line of text under what is there, cut to `most` mm.
    fn line(&mut self, words: &str, size: f64, bold: bool, most: f64) {
        let words = fit(words, most, size, bold);
        self.width = self.width.max(text_width(&words, size, bold));
        self.height += size * 1.35;
        self.scene.words(point(0.0, -self.height + size * 0.3), size, bold, words);
    }
}

/// Which face of the cloth lies up, in words: `paper side up`; `over` if the stock was turned over
/// to be drawn.
pub(crate) fn face_in_words(plan: &Plan, stock: &PlanStock, over: bool) -> String {
    let seen = if over { ", drawn seen from the other side" } else { "" };
    format!("{}{seen}", words::on_the_bench(plan, stock))
}

/// What is turned over before it is laid, as the cloth lies on this sheet.
pub(crate) fn turned_over_in_words(sheet: &Sheet<'_>) -> &'static str {
    if sheet.pieces.iter().any(|p| p.facts.face_down) {
        "turn the pieces marked FACE DOWN over before laying; sign:"
    } else {
        "no piece is turned over before laying"
    }
}

/// The black corner that tells the face: a triangle whose right angle is at `corner`, legs to the
/// left and down (up if `down` is -1).
pub(crate) fn corner_mark(scene: &mut Scene, corner: Point, leg: f64, down: f64) {
    scene.draw(
        Ink::Frame,
        Shape::Solid(vec![corner, corner - point(leg, 0.0), corner - point(0.0, leg * down)]),
    );
}

/// Draws the title block with its upper left corner at `at`, not wider than `width`; `scale` is the
/// size of its words against the smallest. Returns its height.
pub(crate) fn title_block(
    scene: &mut Scene,
    sheet: &Sheet<'_>,
    key: &[(String, String)],
    at: Point,
    width: f64,
    scale: f64,
) -> f64 {
    let inner = width - 2.0 * PADDING * scale;
    let drawn: Vec<Ink> =
        Ink::ALL.into_iter().filter(|ink| scene.drawn.iter().any(|d| d.ink == *ink)).collect();
    let fields = [
        identity(sheet, scale, inner),
        face(sheet, scale, inner),
        figures(sheet, scale, inner),
        bar(scale),
        lines(&drawn, scale),
    ];
    let gap = 12.0 * scale;
    let (mut x, mut y, mut row) = (0.0, 0.0, 0.0f64);
    let origin = at + point(PADDING * scale, -PADDING * scale);
    for field in fields {
        if x > 0.0 && x + field.width > inner {
            y += row + gap / 2.0;
            x = 0.0;
            row = 0.0;
        }
        scene.append(field.scene, origin + point(x, -y));
        x += field.width + gap;
        row = row.max(field.height);
    }
    y += row;
    if !key.is_empty() {
        y += gap / 2.0;
        scene.line(
            Ink::Frame,
            &[origin + point(-PADDING * scale, -y), origin + point(inner + PADDING * scale, -y)],
        );
        y += gap / 2.0;
        y += key_list(scene, key, origin + point(0.0, -y), inner, scale);
    }
    if !sheet.stock.offcuts.is_empty() {
        y += gap / 2.0;
        scene.line(
            Ink::Frame,
            &[origin + point(-PADDING * scale, -y), origin + point(inner + PADDING * scale, -y)],
        );
        y += gap / 2.0;
        y += offcut_list(scene, sheet, origin + point(0.0, -y), inner, scale);
    }
    let height = y + 2.0 * PADDING * scale;
    let frame =
        vec![at, at + point(width, 0.0), at + point(width, -height), at + point(0.0, -height)];
    scene.draw(Ink::Frame, Shape::Path([frame, vec![at]].concat()));
    height
}

/// White inside the frame, at scale 1, mm.
const PADDING: f64 = 6.0;

fn identity(sheet: &Sheet<'_>, scale: f64, most: f64) -> Field {
    let (plan, stock) = (sheet.plan, sheet.stock);
    let most = most.min(240.0 * scale);
    let mut f = Field::new();
    f.line(&clean(&plan.jobs.join(" + ")), 8.0 * scale, true, most);
    let name =
        plan.materials.iter().find(|m| m.cloth == stock.cloth).map_or(&stock.cloth, |m| &m.name);
    f.line(&clean(name), 5.0 * scale, false, most);
    let kind = match stock.kind {
        StockKind::Roll => "roll",
        StockKind::Offcut => "offcut",
    };
    f.line(&format!("{kind} {}", clean(&stock.id)), 5.0 * scale, false, most);
    if sheet.segments > 1 {
        let words = format!(
            "bench segment {} of {}: {} to {} mm from the free end",
            sheet.segment + 1,
            sheet.segments,
            decimals(sheet.from, 1),
            decimals(sheet.to, 1)
        );
        f.line(&words, 5.0 * scale, true, most);
    }
    f
}

fn face(sheet: &Sheet<'_>, scale: f64, most: f64) -> Field {
    let mut f = Field::new();
    f.line(
        &face_in_words(sheet.plan, sheet.stock, sheet.over).to_uppercase(),
        8.0 * scale,
        true,
        most,
    );
    let end = match (sheet.stock.kind, sheet.segment) {
        (StockKind::Offcut, _) if sheet.over => "black corner: upper left as drawn here",
        (StockKind::Offcut, _) => "black corner: lower left as drawn here",
        (StockKind::Roll, 0) if sheet.over => {
            "black corner: free end, upper selvedge as drawn here"
        }
        (StockKind::Roll, _) if sheet.over => {
            "black corner: upper selvedge as drawn here, towards the free end"
        }
        (StockKind::Roll, 0) => "black corner: free end, lower selvedge",
        (StockKind::Roll, _) => "black corner: lower selvedge, towards the free end",
    };
    let size = 4.2 * scale;
    let before = f.height;
    let indent = size * 1.2;
    f.height += size * 1.35;
    f.width = f.width.max(indent + text_width(end, size, false));
    f.scene.words(point(indent, -f.height + size * 0.3), size, false, end);
    corner_mark(&mut f.scene, point(size * 0.85, -before - size * 0.25), size * 0.85, 1.0);
    f.line("labels go on the backing, never on the cloth", size, false, most);
    let before = f.height;
    let down = sheet.pieces.iter().any(|p| p.facts.face_down);
    f.line(turned_over_in_words(sheet), size, down, most);
    if down {
        // The sign stands behind the words.
        let words = text_width(turned_over_in_words(sheet), size, down).min(most);
        let middle = point(words + size * 0.9, -before - size * 0.75);
        turn_over_sign(&mut f.scene, middle, size * 1.3, None);
        f.width = f.width.max(words + size * 1.8);
    }
    f
}

fn figures(sheet: &Sheet<'_>, scale: f64, most: f64) -> Field {
    let (plan, stock) = (sheet.plan, sheet.stock);
    let mut f = Field::new();
    let size = 4.2 * scale;
    f.line("scale 1:1", 5.0 * scale, true, most);
    let [_, low, _, high] = sheet.stock_box;
    if stock.kind == StockKind::Roll {
        f.line(&format!("used length {} mm", decimals(stock.used_length, 1)), size, false, most);
        let usable = decimals(high - low - 2.0 * stock.selvedge, 1);
        f.line(
            &format!("usable {usable} of {} mm width", decimals(high - low, 1)),
            size,
            false,
            most,
        );
    }
    let count = sheet.pieces.len();
    let pieces = if count == 1 { "piece" } else { "pieces" };
    f.line(
        &format!("gap {} mm · {count} {pieces} here", decimals(plan.rules.gap, 2)),
        size,
        false,
        most,
    );
    let id: String = clean(&plan.id).chars().take(12).collect();
    f.line(&format!("plan {id}"), size, false, most);
    f
}

/// Warp arrow and the 100 mm bar: the bar at true size whatever the scale of the words.
fn bar(scale: f64) -> Field {
    let mut f = Field::new();
    let s = &mut f.scene;
    let size = (6.0 * scale).min(12.0);
    let middle = -size * 0.6;
    let tip = point(100.0, middle);
    s.words(point(0.0, -size), size, true, "warp");
    s.line(
        Ink::Frame,
        &[point(text_width("warp", size, true) + 4.0, middle), tip - point(size, 0.0)],
    );
    s.draw(
        Ink::Frame,
        Shape::Solid(vec![
            tip,
            tip + point(-size * 1.2, size * 0.45),
            tip + point(-size * 1.2, -size * 0.45),
        ]),
    );
    let (top, foot) = (-size - 6.0, -size - 11.0);
    for i in (0..10).step_by(2) {
        let (left, right) = (f64::from(i) * 10.0, f64::from(i) * 10.0 + 10.0);
        s.draw(
            Ink::Frame,
            Shape::Solid(vec![
                point(left, foot),
                point(right, foot),
                point(right, top),
                point(left, top),
            ]),
        );
    }
    let edge = vec![
        point(0.0, foot),
        point(100.0, foot),
        point(100.0, top),
        point(0.0, top),
        point(0.0, foot),
    ];
    s.drawn.push(super::scene::Drawn {
        ink: Ink::Frame,
        id: Some("bar-100-mm".into()),
        shape: Shape::Path(edge),
    });
    for x in [0.0, 50.0, 100.0] {
        s.line(Ink::Frame, &[point(x, top + 3.0), point(x, foot - 2.0)]);
    }
    let words = "100 mm: measure me";
    let size = (4.5 * scale).min(7.5);
    let at = point(50.0, foot - 3.0 - size);
    s.texts.push(Text {
        at,
        hold: Hold::Middle,
        angle: 0.0,
        size,
        bold: true,
        white: false,
        words: words.into(),
    });
    f.width = 102.0;
    f.height = 4.0 + size * 1.3 - foot;
    f
}

/// What the lines mean, two columns.
fn lines(drawn: &[Ink], scale: f64) -> Field {
    let size = 3.8 * scale;
    let known = [
        (Ink::Cut, "cut line"),
        (Ink::Net, "net line (do not cut)"),
        (Ink::Relief, "relief cut"),
        (Ink::Mark, "mark (do not cut)"),
        (Ink::Arrow, "0° of the part"),
        (Ink::Offcut, "offcut: keep"),
        (Ink::Rectangle, "its largest rectangle"),
        (Ink::Flaw, "flaw: cut nothing here"),
    ];
    let shown: Vec<_> = known.into_iter().filter(|(ink, _)| drawn.contains(ink)).collect();
    let rows = shown.len().div_ceil(2).max(1);
    let mut f = Field::new();
    let sample = 20.0 * scale;
    let mut left = 0.0;
    for column in shown.chunks(rows) {
        let mut widest = 0.0f64;
        for (row, (ink, words)) in column.iter().enumerate() {
            let foot = -(row as f64 + 1.0) * size * 1.55 + size * 0.4;
            let y = foot + size * 0.3;
            f.scene.draw(*ink, Shape::Segments(vec![[point(left, y), point(left + sample, y)]]));
            if *ink == Ink::Arrow {
                let tip = point(left + sample, y);
                f.scene.draw(
                    *ink,
                    Shape::Solid(vec![
                        tip,
                        tip - point(4.0, -1.4) * scale,
                        tip - point(4.0, 1.4) * scale,
                    ]),
                );
            }
            f.scene.words(point(left + sample + size, foot), size, false, *words);
            widest = widest.max(sample + size + text_width(words, size, false));
        }
        left += widest + 6.0 * scale;
    }
    f.width = (left - 6.0 * scale).max(0.0);
    f.height = rows as f64 * size * 1.55;
    f
}

/// Each offcut to keep with the distances of its corners; returns the height.
fn offcut_list(scene: &mut Scene, sheet: &Sheet<'_>, at: Point, width: f64, scale: f64) -> f64 {
    let size = 3.8 * scale;
    let pitch = size * 1.45;
    let mut lines = vec![(
        format!("offcuts to keep, corners along/across in mm; {}:", measured_from(sheet)),
        true,
    )];
    for offcut in &sheet.stock.offcuts {
        let rings: Vec<_> = std::iter::once(&offcut.outline)
            .chain(&offcut.holes)
            .map(|r| sheet.here(r))
            .filter(|r| r.len() > 2)
            .collect();
        let Some((corners, close)) = corners_of(sheet, &rings) else {
            continue;
        };
        let points: Vec<String> = corners.iter().flatten().map(in_words).collect();
        let words = format!(
            "{}, true to {} mm: {}",
            offcut_name(sheet, offcut),
            decimals(close, 1),
            points.join(", ")
        );
        lines.push((words, false));
    }
    let mut y = 0.0;
    for (words, bold) in lines {
        for line in wrapped(&words, width, size, bold) {
            y += pitch;
            scene.words(at + point(0.0, -y), size, bold, line);
        }
    }
    y + pitch * 0.3
}

/// The pieces whose label was cut short, in columns; returns the height.
fn key_list(scene: &mut Scene, key: &[(String, String)], at: Point, width: f64, scale: f64) -> f64 {
    let size = 3.8 * scale;
    let pitch = size * 1.45;
    scene.words(at + point(0.0, -size), size, true, "short labels in full:");
    let number =
        key.iter().map(|(n, _)| text_width(n, size, true)).fold(0.0, f64::max).min(width * 0.4)
            + size * 0.8;
    let words = key.iter().map(|(_, w)| text_width(w, size, false)).fold(0.0, f64::max);
    let most = number + words + 3.0 * size;
    let columns = ((width / most).floor() as usize).max(1);
    let room = (width / columns as f64).min(most);
    let rows = key.len().div_ceil(columns);
    for (i, (n, w)) in key.iter().enumerate() {
        let corner =
            at + point((i / rows) as f64 * room, -((i % rows) as f64 + 1.0) * pitch - size);
        scene.words(corner, size, true, fit(n, number - size * 0.5, size, true));
        scene.words(
            corner + point(number, 0.0),
            size,
            false,
            fit(w, room - number - size, size, false),
        );
    }
    (rows as f64 + 1.0) * pitch
}
