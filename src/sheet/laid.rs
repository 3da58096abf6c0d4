//! A sheet of a plan before it is drawn: a stock, or a bench segment of one, with what lies on it.

use super::clip::ring_between;
use super::label::Facts;
use super::scene::Scene;
use crate::cloth::Face;
use crate::geometry::{Bounds, Motion, Point, Ring, point, ring_bounds};
use crate::plan::{PlacedPiece, Plan, PlanPiece, PlanStock};
use crate::run::Run;
use std::sync::OnceLock;

/// A piece as it lies on a sheet.
pub(crate) struct Laid<'p> {
    /// What was placed.
    pub placed: &'p PlacedPiece,
    /// The piece it is a copy of.
    pub piece: Option<&'p PlanPiece>,
    /// Its box.
    pub bounds: Bounds,
    /// What its label says.
    pub facts: Facts,
    /// How many lie on the sheet's stock.
    pub many: usize,
}

/// One sheet to be drawn.
pub(crate) struct Sheet<'p> {
    /// The plan.
    pub plan: &'p Plan,
    /// The stock.
    pub stock: &'p PlanStock,
    /// Bench segment, from 0.
    pub segment: usize,
    /// How many there are.
    pub segments: usize,
    /// Start of the segment, mm from the free end.
    pub from: f64,
    /// Its end.
    pub to: f64,
    /// Box of the stock over this segment: left, low, right, high.
    pub stock_box: [f64; 4],
    /// The pieces on it, those that reach over its ends included.
    pub pieces: Vec<Laid<'p>>,
    /// Seen from the other side of the cloth than the plan sees it: everything is drawn the other
    /// way round across the warp.
    pub over: bool,
    /// Its drawing, made once.
    pub drawn: &'p OnceLock<Layout>,
    /// What it is drawn in.
    pub run: &'p Run<'p>,
}

/// The drawing of a cloth with its pieces, without the title block.
pub(crate) struct Layout {
    /// The drawing; its page is the cloth with what lies close round it.
    pub scene: Scene,
    /// Pieces whose label was cut short: number and all words.
    pub key: Vec<(String, String)>,
    /// Leftmost and rightmost x of cloth and pieces.
    pub span: [f64; 2],
}

/// The sheets of a stock.
///
/// `over` tells that the stock was turned over (see [`super::face`]) to be seen from its other
/// side.
pub(crate) fn sheets_of<'p>(
    plan: &'p Plan,
    stock: &'p PlanStock,
    over: bool,
    drawn: &'p [OnceLock<Layout>],
    run: &'p Run<'p>,
) -> Vec<Sheet<'p>> {
    let Some(whole) = ring_bounds(&stock.outline) else {
        return Vec::new();
    };
    let spans = if stock.segments.len() > 1 {
        stock.segments.clone()
    } else {
        vec![[whole.min.x, whole.max.x]]
    };
    let mut sheets = Vec::new();
    for ((segment, &[from, to]), drawn) in spans.iter().enumerate().zip(drawn) {
        let mut pieces = Vec::new();
        for placed in &stock.placed {
            let Some(bounds) = ring_bounds(&placed.outline) else {
                continue;
            };
            if spans.len() > 1 && (bounds.max.x <= from || bounds.min.x >= to) {
                continue;
            }
            let piece = plan.pieces.iter().find(|p| p.piece == placed.piece);
            let facts = Facts::of(plan, piece, placed, crossing(&spans, &bounds));
            pieces.push(Laid { placed, piece, bounds, facts, many: stock.placed.len() });
        }
        sheets.push(Sheet {
            plan,
            stock,
            segment,
            segments: spans.len(),
            from,
            to,
            stock_box: [from, whole.min.y, to, whole.max.y],
            pieces,
            over,
            drawn,
            run,
        });
    }
    sheets
}

/// Which bench segments a piece lies across, in words, if it is more than one.
fn crossing(spans: &[[f64; 2]], bounds: &Bounds) -> Option<String> {
    let touched: Vec<usize> = (0..spans.len())
        .filter(|&i| bounds.max.x > spans[i][0] && bounds.min.x < spans[i][1])
        .collect();
    match (touched.first(), touched.last()) {
        (Some(a), Some(b)) if a != b => Some(format!("across segments {}-{}", a + 1, b + 1)),
        _ => None,
    }
}

impl Sheet<'_> {
    /// The part of a ring on this sheet.
    pub(crate) fn here(&self, ring: &[Point]) -> Ring {
        if self.segments > 1 { ring_between(ring, self.from, self.to) } else { ring.to_vec() }
    }
}

/// From the piece's frame to the stock.
pub(crate) fn motion_of(placed: &PlacedPiece) -> Motion {
    Motion::new(placed.turn, placed.face == Face::Down, point(placed.x, placed.y))
}
