//! Points and pieces as a tape measures them on the cloth.

use super::laid::{Laid, Sheet};
use super::reference::Mark;
use super::text::{clean, decimals};
use crate::geometry::{Bounds, Motion, Point, ring_bounds};
use crate::plan::StockKind;

/// A point of a piece, measured on the cloth.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Measured {
    /// Its name.
    pub name: String,
    /// Where it lies, stock frame.
    pub at: Point,
    /// Distance from the end and from the selvedge that the sheet is measured from, mm.
    pub from: [f64; 2],
}

/// Where one piece lies; distances in mm from the end of the cloth on the bench, and from the named
/// selvedge.
pub(crate) struct Place<'p> {
    /// The piece.
    pub laid: &'p Laid<'p>,
    /// Points found on its template.
    pub marks: Vec<Measured>,
    /// What must be inked on the template first.
    pub to_ink: Option<String>,
    /// Corners of its cut line, ring by ring, if it is drawn by them.
    pub corners: Vec<Vec<Measured>>,
    /// They are the ends of its splices alone: the template gives the rest.
    pub corners_of_splice: bool,
    /// The inked arrow, stock frame.
    pub arrow: Option<[Point; 2]>,
    /// Its template lies inked side up; `None` if it has no skin.
    pub inked_up: Option<bool>,
    /// Where its cut line begins and ends along the cloth and across it.
    pub reach: [[f64; 2]; 2],
}

/// The distances of a point from the end and from the selvedge that a sheet is measured from.
pub(crate) fn measured(sheet: &Sheet<'_>, p: Point) -> [f64; 2] {
    let [_, low, _, high] = sheet.stock_box;
    [p.x - sheet.from, if sheet.over { high - p.y } else { p.y - low }]
}

/// Named points measured, moved onto the cloth first.
pub(crate) fn measured_marks(sheet: &Sheet<'_>, marks: &[Mark], motion: &Motion) -> Vec<Measured> {
    let on_cloth = |m: &Mark| {
        let at = motion.apply(m.at);
        Measured { name: m.name.clone(), at, from: measured(sheet, at) }
    };
    marks.iter().map(on_cloth).collect()
}

/// From where the distances of a sheet are measured, in words.
pub(crate) fn measured_from(sheet: &Sheet<'_>) -> String {
    let selvedge = "the selvedge at the black corner";
    match (sheet.stock.kind, sheet.segment) {
        (StockKind::Offcut, _) => {
            let low = if sheet.over { "highest" } else { "lowest" };
            format!("along from its leftmost point as drawn here, across from its {low}")
        }
        (StockKind::Roll, 0) => format!("along from the roll's cut end, across from {selvedge}"),
        (StockKind::Roll, _) => {
            format!(
                "along from the mark at {} mm (-: before it), across from {selvedge}",
                decimals(sheet.from, 1)
            )
        }
    }
}

/// A measured point: `A 612.3/45.1`.
pub(crate) fn in_words(m: &Measured) -> String {
    format!("{} {}/{}", clean(&m.name), decimals(m.from[0], 1), decimals(m.from[1], 1))
}

/// From where to where the cut line reaches.
pub(crate) fn reach_in_words(place: &Place<'_>) -> String {
    let [along, across] =
        place.reach.map(|[from, to]| format!("{}-{}", decimals(from, 0), decimals(to, 0)));
    format!("{along} / {across}")
}

/// The box around rings of points, if there are any.
pub(crate) fn box_of(rings: &[Vec<Point>]) -> Option<Bounds> {
    ring_bounds(&rings.iter().flatten().copied().collect::<Vec<_>>())
}
