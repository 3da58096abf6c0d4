//! Writers: a plan as drawings, tables and words. Pure: verified plan in, text out; the caller writes it to disk.

pub mod summary;

mod clip;
mod csv;
mod draw;
mod grid;
mod label;
mod mosaic;
mod overview;
mod room;
mod scene;
mod svg;
#[cfg(test)]
mod tests;
mod text;
mod title;

use crate::verify::Verified;

/// The cut sheets at true scale, file name and SVG: one for each stock, or for each bench segment of a stock cut in several.
pub fn cut_sheets(plan: &Verified) -> Vec<(String, String)> {
    svg::sheets(plan.plan())
}

/// `pieces.csv`: a row for each placed piece.
pub fn pieces_table(plan: &Verified) -> String {
    csv::pieces(plan.plan())
}

/// The drawings of the mosaic layers, file name and SVG: for each a patch map at true scale and a picture of the finished look.
pub fn mosaic_sheets(plan: &Verified) -> Vec<(String, String)> {
    let plan = plan.plan();
    let name = |k: usize, ply: &str, what: &str| format!("mosaic-{:02}-{}-{what}.svg", k + 1, svg::file_name(ply));
    let both = |(k, m): (usize, &crate::plan::PlanMosaic)| {
        [(name(k, &m.ply, "map"), mosaic::map(plan, m)), (name(k, &m.ply, "look"), mosaic::look(plan, m))]
    };
    plan.mosaics.iter().enumerate().flat_map(both).collect()
}

/// `patches.csv`: a row for each patch of the mosaic layers; `None` if there are none.
pub fn patches_table(plan: &Verified) -> Option<String> {
    (!plan.plan().mosaics.is_empty()).then(|| mosaic::table(plan.plan()))
}

/// All layouts in one small picture, SVG.
pub fn overview(plan: &Verified) -> String {
    overview::overview(plan.plan())
}

/// The whole summary for a terminal, no line wider than `columns` (at least 72 are used).
pub fn summary(plan: &Verified, columns: usize) -> String {
    summary::text(plan.plan(), columns)
}
