//! `pieces.csv`: one row for each placed copy.

use crate::geometry::{ring_area, ring_bounds};
use crate::plan::{Plan, words};

/// The columns, in order.
const COLUMNS: [&str; 20] = [
    "number",
    "piece",
    "job",
    "template",
    "layer",
    "layer_name",
    "hand",
    "angle",
    "cloth",
    "part",
    "copy",
    "stock",
    "segment",
    "turn",
    "face",
    "x",
    "y",
    "width",
    "height",
    "area_mm2",
];

/// The table of placed pieces as CSV (RFC 4180, but lines end in a single newline), UTF-8, with a
/// heading row.
///
/// `x` and `y` are the lower left corner of the piece's box in the stock frame, `width` along the
/// warp, all in mm; `segment` is the bench segment (from 1) in which that corner lies. A name that
/// a spreadsheet would take for a formula gets a `'` before it.
pub(super) fn pieces(plan: &Plan) -> String {
    let mut rows: Vec<Vec<String>> = vec![COLUMNS.map(String::from).to_vec()];
    for stock in &plan.stocks {
        for placed in &stock.placed {
            let piece = plan.pieces.iter().find(|p| p.piece == placed.piece);
            let text = |get: fn(&crate::plan::PlanPiece) -> &str| {
                piece.map_or_else(String::new, |p| harmless(get(p)))
            };
            let layer_name = piece
                .and_then(|p| plan.layers.iter().find(|l| l.job == p.job && l.layer == p.layer))
                .map(|l| harmless(&l.name));
            let bounds = ring_bounds(&placed.outline);
            let length =
                |mm: Option<f64>| mm.map(|v| super::text::decimals(v, 3)).unwrap_or_default();
            // Holes run clockwise: their areas are negative.
            let area: f64 =
                ring_area(&placed.outline) + placed.holes.iter().map(|h| ring_area(h)).sum::<f64>();
            let segment = bounds
                .map_or(1, |b| stock.segments.iter().take_while(|s| s[1] <= b.min.x).count() + 1);
            rows.push(vec![
                text(|p| &p.number),
                harmless(&placed.piece),
                text(|p| &p.job),
                text(|p| &p.template),
                piece.map_or_else(String::new, |p| p.layer.to_string()),
                layer_name.unwrap_or_default(),
                piece.map_or_else(String::new, |p| words::hand(p.hand).to_string()),
                length(piece.map(|p| p.angle)),
                text(|p| &p.cloth),
                piece
                    .and_then(|p| p.part)
                    .map_or_else(String::new, |p| format!("{} of {}", p.number, p.of)),
                placed.copy.to_string(),
                harmless(&stock.id),
                segment.to_string(),
                length(Some(placed.turn)),
                words::face(placed.face).into(),
                length(bounds.map(|b| b.min.x)),
                length(bounds.map(|b| b.min.y)),
                length(bounds.map(|b| b.width())),
                length(bounds.map(|b| b.height())),
                super::text::decimals(area, 1),
            ]);
        }
    }
    written(&rows)
}

/// Rows of cells as a file.
pub(super) fn written(rows: &[Vec<String>]) -> String {
    let mut writer = csv::Writer::from_writer(Vec::new());
    // Writing to memory cannot fail, and every row has as many cells as the heading.
    let written = rows.iter().try_for_each(|row| writer.write_record(row));
    debug_assert!(written.is_ok());
    writer
        .into_inner()
        .map(|bytes| String::from_utf8_lossy(&bytes).into_owned())
        .unwrap_or_default()
}

/// A name that no spreadsheet takes for a formula.
pub(super) fn harmless(name: &str) -> String {
    if name.starts_with(['=', '+', '-', '@', '\t', '\r', '\n']) {
        format!("'{name}")
    } else {
        name.to_string()
    }
}
