//! Stick-on labels for rolls and offcuts of the stock, and for offcuts that a plan leaves.

use super::clip::hatch;
use super::code;
use super::label_grid::LabelGrid;
use super::pdf::{Page, pdf};
use super::scene::{Backing, Drawn, Ink, Scene, Shape};
use super::text::{clean, fit, text_width};
use super::title::face_in_words;
use crate::geometry::{Bounds, Ring, point, ring_bounds};
use crate::plan::{self, Plan, PlanStock};
use crate::stock::{Offcut, RollFacts, label_text};
use crate::units::{show_area, show_number};

/// White inside a label, mm.
const INSET: f64 = 3.0;

/// Words are not made smaller than this to fit, mm.
const SMALLEST: f64 = 1.9;

/// A label for each roll, then each offcut, in the order given. Returns the file and its number of
/// pages; without any one that says so.
pub(crate) fn labels(
    rolls: &[RollFacts],
    offcuts: &[Offcut],
    ledger: Option<&str>,
    grid: &LabelGrid,
) -> (Vec<u8>, usize) {
    let [columns, rows] = grid.count;
    let [width, height] = grid.sheet;
    let sheet =
        || Scene::new(Bounds { min: point(0.0, 0.0), max: point(width, height) }, String::new());
    let mut all: Vec<Scene> = rolls.iter().map(|r| roll_label(r, ledger, grid.label)).collect();
    all.extend(offcuts.iter().map(|o| label(o, ledger, grid.label)));
    let mut scenes = Vec::new();
    for chunk in all.chunks(columns * rows) {
        let mut page = sheet();
        for (i, label) in chunk.iter().enumerate() {
            let x = grid.first[0] + (i % columns) as f64 * (grid.label[0] + grid.gap);
            let y = height - grid.first[1] - (i / columns + 1) as f64 * grid.label[1];
            page.append(label.clone(), point(x, y));
        }
        scenes.push(page);
    }
    if scenes.is_empty() {
        let mut page = sheet();
        page.words(point(20.0, height - 30.0), 4.0, false, "There is no offcut to label.");
        scenes.push(page);
    }
    let pages: Vec<Page<'_>> = scenes.iter().map(Page::of).collect();
    (pdf("Stock labels", &pages), pages.len())
}

/// The label of an offcut that a plan leaves: by it the cloth is found again as the plan and the
/// ledger call it.
pub(super) fn planned_label(
    plan: &Plan,
    stock: &PlanStock,
    offcut: &plan::Offcut,
    [width, height]: [f64; 2],
) -> Scene {
    let mut s =
        Scene::new(Bounds { min: point(0.0, 0.0), max: point(width, height) }, String::new());
    let side = (height - 2.0 * INSET - 6.0).min(width * 0.34);
    let room = width - 2.0 * INSET - side - 2.0;
    let material = plan.materials.iter().find(|m| m.cloth == stock.cloth);
    let small = height / 14.0;
    let mut lines = vec![
        (clean(&offcut.id), height / 8.0, true),
        (format!("offcut off {}", clean(&stock.id)), height / 11.0, true),
        (clean(&stock.cloth), small, true),
    ];
    lines.extend(
        material
            .and_then(|m| m.batch.as_ref())
            .map(|b| (format!("batch {}", clean(b)), small, false)),
    );
    if let Some(b) = ring_bounds(&offcut.outline) {
        lines.push((
            format!(
                "{} x {} mm, the first along the warp",
                show_number(b.width(), 0),
                show_number(b.height(), 0)
            ),
            small,
            false,
        ));
    }
    lines.push((
        format!("{} · {}", show_area(offcut.area), face_in_words(plan, stock, false)),
        small,
        false,
    ));
    // The stock gives it another name, and a code, when the cut is booked.
    if plan.drawn_from.as_ref().is_some_and(|d| d.ledger.is_some()) {
        lines.push(("for now: its stock label comes with booking".into(), small * 0.85, true));
    }
    lines.push(("on the backing, never on the cloth".into(), small * 0.85, false));
    let mut y = height - INSET + 0.5;
    for (words, size, bold) in lines {
        // Smaller rather than cut short: by its name it is found again.
        let size = size.min((room / text_width(&words, 1.0, bold)).max(SMALLEST));
        y -= size * 1.2;
        s.words(point(INSET, y), size, bold, fit(&words, room, size, bold));
    }
    let rings: Vec<Ring> = std::iter::once(&offcut.outline).chain(&offcut.holes).cloned().collect();
    let base = point(width - INSET - side, height - INSET - side - 6.0);
    small_picture(
        &mut s,
        &rings,
        (0.0, "warp"),
        Bounds { min: base, max: point(width - INSET, height - INSET) },
    );
    s
}

/// An empty label with its code at the right; the room for words, and for a picture above them.
fn coded(id: &str, ledger: Option<&str>, [width, height]: [f64; 2]) -> (Scene, f64) {
    let mut s =
        Scene::new(Bounds { min: point(0.0, 0.0), max: point(width, height) }, String::new());
    // The code brings its own white.
    let side = (height - INSET).min(0.3 * width);
    let low = point(width - side - 1.0, (height - side) / 2.0);
    let squares = code::rings(&label_text(ledger, id), low, side);
    s.backings.extend(squares.into_iter().map(|ring| Backing { ring, black: true }));
    (s, width - INSET - side - 1.0)
}

/// Lines of words, the first at the top; smaller rather than cut short: by its name it is found.
fn write_lines(s: &mut Scene, lines: Vec<(String, f64, bool)>, room: f64, height: f64) {
    let mut y = height - INSET + 0.5;
    for (words, size, bold) in lines {
        let size = size.min((room / text_width(&words, 1.0, bold)).max(SMALLEST));
        y -= size * 1.2;
        s.words(point(INSET, y), size, bold, fit(&words, room, size, bold));
    }
}

/// The label of a roll.
fn roll_label(roll: &RollFacts, ledger: Option<&str>, [width, height]: [f64; 2]) -> Scene {
    let (mut s, room) = coded(&roll.id, ledger, [width, height]);
    let small = height / 14.0;
    let mut lines =
        vec![(clean(&roll.id), height / 5.0, true), (clean(&roll.cloth), height / 11.0, true)];
    let mut plain = |words: String| lines.push((words, small, false));
    if let Some(batch) = &roll.batch {
        plain(format!("batch {}", clean(batch)));
    }
    if let Some(expiry) = roll.age.expiry {
        plain(format!("use by {expiry}"));
    }
    plain(format!("{} mm wide", show_number(roll.width, 0)));
    plain(format!("came in on {}", roll.added));
    if roll.age.cosmetic_only {
        lines.push(("FOR THE LOOK ONLY".into(), small, true));
    }
    lines.push(("on the core or the bag, never on the cloth".into(), small * 0.85, false));
    write_lines(&mut s, lines, room - INSET, height);
    s
}

/// The label of an offcut, its lower left corner the origin: name, cloth, batch, date, size, the up
/// face with the warp to the right, and the code.
fn label(offcut: &Offcut, ledger: Option<&str>, [width, height]: [f64; 2]) -> Scene {
    let (mut s, left) = coded(offcut.id(), ledger, [width, height]);
    let (facts, b) = (offcut.facts(), offcut.bounds());
    let side = (height - 2.0 * INSET - 6.0).min(width * 0.2);
    let room = left - INSET - side - 2.0;
    let mut lines = vec![
        (clean(offcut.id()), height / 5.0, true),
        (clean(offcut.cloth()), height / 11.0, true),
    ];
    let small = height / 14.0;
    let mut plain = |words: String| lines.push((words, small, false));
    if let Some(batch) = &facts.batch {
        plain(format!("batch {}", clean(batch)));
    }
    if let Some(expiry) = facts.age.expiry {
        plain(format!("use by {expiry}"));
    }
    plain(format!(
        "{} along the warp x {} mm",
        show_number(b.width(), 0),
        show_number(b.height(), 0)
    ));
    let from = facts.parent.as_ref().map_or(String::new(), |p| format!(" · from {}", clean(p)));
    plain(format!("{} · {}{from}", show_area(offcut.area()), facts.added));
    if facts.age.cosmetic_only {
        lines.push(("FOR THE LOOK ONLY".into(), small, true));
    }
    lines.push(("on the backing, never on the cloth".into(), small * 0.85, false));
    write_lines(&mut s, lines, room, height);
    let rings: Vec<Ring> = offcut.region().rings().cloned().collect();
    let base = point(left - side, height - INSET - side - 6.0);
    small_picture(
        &mut s,
        &rings,
        (0.0, "warp"),
        Bounds { min: base, max: point(left, height - INSET) },
    );
    s
}

/// An outline and holes with the warp (degrees) as fine lines, and an arrow to the right under it.
pub(super) fn small_picture(
    s: &mut Scene,
    rings: &[Ring],
    (warp, arrow): (f64, &str),
    room: Bounds,
) {
    let Some(b) = rings.first().and_then(|r| ring_bounds(r)) else {
        return;
    };
    let scale = (room.width() / b.width().max(1.0)).min(room.height() * 0.8 / b.height().max(1.0));
    let middle = point((room.min.x + room.max.x) / 2.0, room.max.y - b.height() * scale / 2.0);
    let place = |p: crate::geometry::Point| middle + (p - (b.min + b.max) * 0.5) * scale;
    let rings: Vec<Vec<_>> = rings.iter().map(|r| r.iter().map(|&p| place(p)).collect()).collect();
    let views: Vec<&[_]> = rings.iter().map(Vec::as_slice).collect();
    s.draw(Ink::OffcutHatch, Shape::Segments(hatch(&views, warp, 1.2)));
    for ring in &rings {
        s.line(Ink::Leader, &ring.iter().chain(ring.first()).copied().collect::<Vec<_>>());
    }
    let y = room.max.y - b.height() * scale - 2.2;
    let (tail, head) = (point(middle.x - 6.0, y), point(middle.x + 4.0, y));
    s.line(Ink::Leader, &[tail, head]);
    s.drawn.push(Drawn {
        ink: Ink::Leader,
        id: None,
        shape: Shape::Solid(vec![
            head + point(1.6, 0.0),
            head + point(0.0, 0.6),
            head - point(0.0, 0.6),
        ]),
    });
    s.words(point(head.x + 2.0, y - 0.8), 2.4, false, arrow);
}
