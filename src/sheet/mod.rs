//! Writers: a plan as drawings, tables and words. Pure: verified plan in, text out; the caller writes it to disk.

pub mod summary;

mod card;
mod clip;
mod csv;
mod draw;
mod grid;
mod label;
mod overview;
mod room;
mod scene;
mod svg;
#[cfg(test)]
mod tests;
mod text;
mod title;

pub use card::{CardPaper, card_svgs};

use crate::verify::Verified;

/// The cut sheets at true scale, file name and SVG: one for each stock, or for each bench segment of a stock cut in several.
pub fn cut_sheets(plan: &Verified) -> Vec<(String, String)> {
    svg::sheets(plan.plan())
}

/// `pieces.csv`: a row for each placed piece.
pub fn pieces_table(plan: &Verified) -> String {
    csv::pieces(plan.plan())
}

/// All layouts in one small picture, SVG.
pub fn overview(plan: &Verified) -> String {
    overview::overview(plan.plan())
}

/// The whole summary for a terminal, no line wider than `columns` (at least 72 are used).
pub fn summary(plan: &Verified, columns: usize) -> String {
    summary::text(plan.plan(), columns)
}
