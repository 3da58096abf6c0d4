//! Sheets of labels to stick on.

use super::text::{clean, shorten};
use crate::fault::{Fault, Faults};

/// A sheet of labels: all lengths mm.
#[derive(Clone, Debug, PartialEq)]
pub struct LabelGrid {
    /// Columns and rows.
    pub count: [usize; 2],
    /// Width and height of the sheet.
    pub sheet: [f64; 2],
    /// Width and height of a label.
    pub label: [f64; 2],
    /// White to the left of the first and above it.
    pub first: [f64; 2],
    /// White between columns.
    pub gap: f64,
}

/// Grids in common use, by columns x rows: sheet, label, first, gap (from memory).
#[rustfmt::skip]
const GRIDS: [(&str, LabelGrid); 4] = [
    ("3x8", LabelGrid { count: [3, 8], sheet: [210.0, 297.0], label: [70.0, 37.0], first: [0.0, 0.5], gap: 0.0 }),
    ("3x7", LabelGrid { count: [3, 7], sheet: [210.0, 297.0], label: [63.5, 38.1], first: [7.25, 15.15], gap: 2.5 }),
    ("2x7", LabelGrid { count: [2, 7], sheet: [210.0, 297.0], label: [99.1, 38.1], first: [4.65, 15.15], gap: 2.5 }),
    ("3x10", LabelGrid { count: [3, 10], sheet: [215.9, 279.4], label: [66.675, 25.4], first: [4.7625, 12.7], gap: 3.175 }),
];

impl LabelGrid {
    /// Two columns of seven on A4.
    pub(super) fn two_by_seven() -> LabelGrid {
        GRIDS[2].1.clone()
    }

    /// A grid by its columns and rows: `3x8`, `3x7` and `2x7` on A4, `3x10` on Letter.
    ///
    /// # Errors
    /// A grid that is not among them.
    pub fn named(name: &str) -> Result<LabelGrid, Faults> {
        let wanted = name.trim().to_lowercase();
        GRIDS.iter().find(|g| g.0 == wanted).map(|g| g.1.clone()).ok_or_else(|| {
            let what = said!("there is no grid of labels `{}`", shorten(&clean(name), 40));
            Fault::new(what, "give 3x8, 3x7 or 2x7 (columns x rows on A4) or 3x10 (on Letter)")
                .into()
        })
    }
}
