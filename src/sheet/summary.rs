//! The summary for a terminal: plies, then figures for each cloth, then what to mind. Plain text,
//! no colour.

use super::text::{angle, clean, decimals, shorten};
use crate::cloth::{Face, Permitted};
use crate::geometry::{Point, ring_bounds};
use crate::job::{Job, Side};
use crate::plan::{ClothFigures, Early, EndedEarly, Plan, StockKind, laying_order, words};
use crate::ply::{Hand, Part, Piece};
use crate::units::counted;
use unicode_width::UnicodeWidthStr;

/// Offcuts named in the summary; the rest are counted.
const OFFCUTS_SHOWN: usize = 5;

/// The plies table cannot do with less.
const NARROWEST: usize = 72;

/// One row of the plies table, for a plan as for a job that was only prepared.
#[derive(Clone, Debug, PartialEq)]
pub struct PlyRow {
    /// Number on sheets and labels.
    pub number: String,
    /// Layer, from 1.
    pub layer: usize,
    /// Template, with the part of a spliced ply.
    pub ply: String,
    /// Cloth id.
    pub cloth: String,
    /// Angle as laid, degrees.
    pub angle: f64,
    /// Hand.
    pub hand: Hand,
    /// Left or right, where the mould of its template says so.
    pub side: Option<Side>,
    /// Box of the piece in the cloth frame before any turn, along the warp and across it, mm.
    pub size: [f64; 2],
    /// How many.
    pub copies: u32,
    /// The turns it may take, in words.
    pub turns: String,
    /// The rule that gave the turns, in words.
    pub rule: String,
}

impl PlyRow {
    /// The rows of a plan, piece by piece.
    pub(super) fn of_plan(plan: &Plan) -> Vec<PlyRow> {
        let row = |p: &crate::plan::PlanPiece| PlyRow {
            number: p.number.clone(),
            layer: p.layer,
            ply: with_part(&p.template, p.part),
            cloth: p.cloth.clone(),
            angle: p.angle,
            hand: p.hand,
            side: p.side,
            size: size(&p.outline),
            copies: p.copies,
            turns: turns_in_words(&p.permitted, p.tolerance),
            rule: p.permitted_by.clone(),
        };
        laying_order(plan).into_iter().map(row).collect()
    }

    /// The rows of prepared pieces.
    pub fn of_pieces(job: &Job, pieces: &[Piece]) -> Vec<PlyRow> {
        let row = |p: &Piece| PlyRow {
            number: p.number.clone(),
            layer: p.layer,
            ply: with_part(&p.template, p.part),
            cloth: job.cloths.get(p.cloth).map_or_else(String::new, |c| c.id.clone()),
            angle: p.angle,
            hand: p.hand,
            side: job.side_of(&p.template, p.hand == Hand::Mirrored),
            size: size(&p.outline.outline),
            copies: p.copies,
            turns: turns_in_words(&p.permitted, p.tolerance),
            rule: p.permitted_by.clone(),
        };
        pieces.iter().map(row).collect()
    }
}

fn with_part(template: &str, part: Option<Part>) -> String {
    part.map_or_else(|| template.to_string(), |p| format!("{template}, {}", words::part(p)))
}

fn size(outline: &[Point]) -> [f64; 2] {
    ring_bounds(outline).map_or([0.0, 0.0], |b| [b.width(), b.height()])
}

/// Turns in words: `0, 180; face down 90, 270; ±2`.
fn turns_in_words(permitted: &[Permitted], tolerance: f64) -> String {
    if tolerance >= 180.0 {
        let down = permitted.iter().any(|p| p.face == Face::Down);
        return if down { "any, face down too".into() } else { "any".into() };
    }
    let list = |face: Face| -> Vec<String> {
        permitted.iter().filter(|p| p.face == face).map(|p| decimals(p.turn, 1)).collect()
    };
    let (up, down) = (list(Face::Up), list(Face::Down));
    let mut parts = Vec::new();
    if !up.is_empty() {
        parts.push(up.join(", "));
    }
    if !down.is_empty() {
        parts.push(if down == up {
            "face down too".into()
        } else {
            format!("face down {}", down.join(", "))
        });
    }
    if tolerance > 0.0 {
        parts.push(format!("±{}", decimals(tolerance, 2)));
    }
    parts.join("; ")
}

/// The whole summary of a plan, no line wider than `columns` (at least 72 are used).
pub(super) fn text(plan: &Plan, columns: usize) -> String {
    let columns = columns.max(NARROWEST);
    let mut out = of_dates(plan, columns);
    out.push_str(&plies(&PlyRow::of_plan(plan), columns));
    for figures in &plan.cloths {
        out.push('\n');
        out.push_str(&cloth(plan, figures, columns));
    }
    for saved in plan.drawn_from.iter().flat_map(|d| &d.saved) {
        out.push('\n');
        out.push_str(&wrap(&clean(saved), columns, 2));
    }
    let notes = warnings(&plan.warnings, columns);
    if !notes.is_empty() {
        out.push('\n');
        out.push_str(&notes);
    }
    if plan.interrupted {
        out.push_str("\nThe search was stopped early: this is the best complete plan it had.\n");
    }
    out
}

/// What the dates in the stock ask for, before everything else; nothing if all is well.
fn of_dates(plan: &Plan, columns: usize) -> String {
    plan.drawn_from.as_ref().map_or(String::new(), |d| cautions(&d.cautions, columns))
}

/// What dates ask for, to stand before everything else; nothing if all is well.
pub fn cautions(list: &[String], columns: usize) -> String {
    if list.is_empty() {
        return String::new();
    }
    let mut out = "!!! LOOK AT THIS BEFORE CUTTING\n".to_string();
    list.iter().for_each(|c| out.push_str(&wrap(&format!("!!! {}", clean(c)), columns, 4)));
    out.push('\n');
    out
}

/// The plies table, and under it each set of turns with the rule that gave it.
pub fn plies(rows: &[PlyRow], columns: usize) -> String {
    let columns = columns.max(NARROWEST);
    // Rules are long and few: rows name them by a letter.
    let mut rules: Vec<(&str, &str)> = Vec::new();
    let mut cells: Vec<[String; 8]> = Vec::new();
    for row in rows {
        let rule = (row.turns.as_str(), row.rule.as_str());
        let at = rules.iter().position(|r| *r == rule).unwrap_or_else(|| {
            rules.push(rule);
            rules.len() - 1
        });
        cells.push([
            clean(&row.number),
            clean(&row.ply),
            clean(&row.cloth),
            angle(row.angle),
            row.side.map_or(words::hand(row.hand), Side::name).to_string(),
            format!("{} × {}", decimals(row.size[0], 0), decimals(row.size[1], 0)),
            row.copies.to_string(),
            letter(at),
        ]);
    }
    let headings =
        ["no.", "ply", "cloth", "angle", "hand", "size mm", "n", "turns"].map(String::from);
    let right = [false, false, false, true, false, true, true, false];
    let mut widths: [usize; 8] = std::array::from_fn(|i| {
        cells.iter().chain([&headings]).map(|c| c[i].width()).max().unwrap_or(0)
    });
    // The names give way, the longer first.
    widths[0] = widths[0].min(10);
    let spare = columns.saturating_sub(2 * 7);
    while widths.iter().sum::<usize>() > spare && widths[1].max(widths[2]) > 6 {
        let longer = if widths[1] >= widths[2] { 1 } else { 2 };
        widths[longer] -= 1;
    }
    let mut out = String::new();
    for row in std::iter::once(&headings).chain(&cells) {
        let mut line = String::new();
        for i in 0..8 {
            if i > 0 {
                line.push_str("  ");
            }
            line.push_str(&pad(&shorten(&row[i], widths[i]), widths[i], right[i]));
        }
        out.push_str(line.trim_end());
        out.push('\n');
    }
    for (i, (turns, rule)) in rules.iter().enumerate() {
        let why = if rule.is_empty() { String::new() } else { format!(" ({})", clean(rule)) };
        out.push_str(&wrap(&format!("turns {}: {turns}{why}", letter(i)), columns, 9));
    }
    out
}

/// Warnings, one after another, wrapped; nothing if there are none.
pub(super) fn warnings(list: &[String], columns: usize) -> String {
    let columns = columns.max(NARROWEST);
    let mut out = String::new();
    for warning in list {
        // A warning may bring its remedy on a line of its own.
        let words: Vec<String> = warning.lines().map(|l| clean(l.trim())).collect();
        out.push_str(&wrap(&format!("warning: {}", words.join(": ")), columns, 9));
    }
    out
}

/// Why a search ended before its limit.
pub(super) fn in_words(early: &EndedEarly) -> String {
    let why = match early.why {
        Early::Least => "no layout can be 0.1 % shorter",
        Early::Again => "it came to the same length again and again",
        Early::Slow => "the rest of its time promised less than 0.1 %",
    };
    format!("ended after {} s: {why}", decimals(early.seconds, 1))
}

/// Figures of one cloth and its stocks.
fn cloth(plan: &Plan, f: &ClothFigures, columns: usize) -> String {
    let name = plan.materials.iter().find(|m| m.cloth == f.cloth).map_or("", |m| m.name.as_str());
    let title = if name.is_empty() || name == f.cloth {
        clean(&f.cloth)
    } else {
        format!("{}: {}", clean(&f.cloth), clean(name))
    };
    let mut out = format!("{}\n", shorten(&title, columns));
    let mut line = |label: &str, words: String| {
        out.push_str(&wrap(&format!("  {label:<16}{words}"), columns, 18))
    };
    let mm = |v: f64| format!("{} mm", decimals(v, 1));
    line("used length", format!("{} of {} wide roll", mm(f.used_length), mm(f.roll_width)));
    if let Some(early) = &f.early {
        line("search", in_words(early));
    }
    line("least possible", format!("{} ({})", mm(f.least_length), clean(&f.least_length_by)));
    line("yield", format!("{:.1} %", f.yield_ * 100.0));
    let share = |area: f64| {
        let percent = if f.consumed_area > 0.0 { area / f.consumed_area * 100.0 } else { 0.0 };
        format!("{:.3} m²  {percent:5.1} %", area / 1e6)
    };
    line("pieces", share(f.pieces_area));
    line("offcuts", share(f.offcuts_area));
    line("waste", share(f.waste_area));
    if let Some(cost) = f.cost {
        line("cost", format!("{cost:.2} {}", clean(&plan.currency)));
    }
    if let Some(mass) = f.mass {
        line("mass", format!("{} g", decimals(mass, 0)));
    }
    for stock in plan.stocks.iter().filter(|s| s.cloth == f.cloth) {
        let kind = if stock.kind == StockKind::Roll { "roll" } else { "offcut" };
        let segments = if stock.segments.len() > 1 {
            format!(", {} bench segments", stock.segments.len())
        } else {
            String::new()
        };
        line(
            kind,
            format!(
                "{}: {}{segments}",
                shorten(&clean(&stock.id), 30),
                counted(stock.placed.len(), "piece")
            ),
        );
    }
    let mut offcuts: Vec<_> =
        plan.stocks.iter().filter(|s| s.cloth == f.cloth).flat_map(|s| &s.offcuts).collect();
    offcuts.sort_by(|a, b| b.area.total_cmp(&a.area));
    for offcut in offcuts.iter().take(OFFCUTS_SHOWN) {
        let [_, _, w, h] = offcut.largest_rectangle;
        let words = format!(
            "{}: {:.3} m², rectangle {} × {} mm",
            shorten(&clean(&offcut.id), 24),
            offcut.area / 1e6,
            decimals(w, 0),
            decimals(h, 0)
        );
        line("keep offcut", words);
    }
    if offcuts.len() > OFFCUTS_SHOWN {
        line("", format!("and {} smaller", offcuts.len() - OFFCUTS_SHOWN));
    }
    out
}

/// `a` to `z`, then `a1`, `b1` and so on.
fn letter(index: usize) -> String {
    let first = char::from(b'a' + (index % 26) as u8);
    if index < 26 { first.to_string() } else { format!("{first}{}", index / 26) }
}

/// Filled up with blanks to a width in columns.
fn pad(text: &str, width: usize, right: bool) -> String {
    let blanks = " ".repeat(width.saturating_sub(text.width()));
    if right { format!("{blanks}{text}") } else { format!("{text}{blanks}") }
}

/// Lines of at most `columns`, all but the first indented; a word too long for a line is shortened.
/// Ends with a newline.
pub fn wrap(text: &str, columns: usize, indent: usize) -> String {
    let mut lines: Vec<String> = Vec::new();
    // Leading blanks and aligned columns stay as they are while the text fits.
    if text.width() <= columns {
        return format!("{}\n", text.trim_end());
    }
    let start: String = text.chars().take_while(|c| *c == ' ').collect();
    let mut line = start;
    for word in text.split_whitespace() {
        let word = shorten(word, columns - indent);
        if !line.trim().is_empty() && line.width() + 1 + word.width() > columns {
            lines.push(std::mem::replace(&mut line, " ".repeat(indent)));
        }
        if !line.trim().is_empty() {
            line.push(' ');
        }
        line.push_str(&word);
    }
    lines.push(line);
    lines.iter().map(|l| format!("{}\n", l.trim_end())).collect()
}
