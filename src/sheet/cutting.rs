//! The pieces of a plan in the order of cutting, cloth by cloth and bench segment by bench segment,
//! for who shows them one by one.

use super::face::View;
use super::measured::measured_from;
use super::placement::{places, span};
use super::title::face_in_words;
use crate::plan::Plan;

/// A cloth on the bench.
#[derive(Clone, Debug, PartialEq)]
pub struct OnBench {
    /// Id of the roll or offcut.
    pub stock: String,
    /// Bench segment, from 0, and how many there are.
    pub segment: [usize; 2],
    /// From where to where it is shown, along it, mm.
    pub along: [f64; 2],
    /// And across it, mm.
    pub across: [f64; 2],
    /// How it lies, in words: `paper side up`.
    pub face: String,
    /// From where distances are measured, in words.
    pub from: String,
    /// It was cut by an earlier plan of the kit.
    pub before: bool,
    /// Its pieces in the order of cutting.
    pub pieces: Vec<ToCut>,
}

/// A copy to cut.
#[derive(Clone, Debug, PartialEq)]
pub struct ToCut {
    /// Piece id.
    pub piece: String,
    /// Which copy, from 1.
    pub copy: u32,
    /// Its number on sheets and labels.
    pub number: String,
    /// What its label says besides.
    pub label: String,
    /// It is turned over before it is laid.
    pub face_down: bool,
    /// Where its cut line begins and ends along the cloth and across it, mm.
    pub reach: [[f64; 2]; 2],
}

pub(crate) fn in_order(plan: &Plan) -> Vec<OnBench> {
    let view = View::new(plan, None);
    let before = |id: &String| plan.drawn_from.as_ref().is_some_and(|d| d.cut_before.contains(id));
    let on_bench = |sheet: &super::laid::Sheet<'_>| OnBench {
        stock: sheet.stock.id.clone(),
        segment: [sheet.segment, sheet.segments],
        along: span(sheet),
        across: [sheet.stock_box[1], sheet.stock_box[3]],
        face: face_in_words(sheet.plan, sheet.stock, sheet.over),
        from: measured_from(sheet),
        before: before(&sheet.stock.id),
        pieces: places(sheet)
            .iter()
            .map(|place| ToCut {
                piece: place.laid.placed.piece.clone(),
                copy: place.laid.placed.copy,
                number: place.laid.facts.number.clone(),
                label: place.laid.facts.line().replace(" · FACE DOWN", ""),
                face_down: place.laid.facts.face_down,
                reach: place.reach,
            })
            .collect(),
    };
    let mut all: Vec<OnBench> = view.sheets().iter().map(|(_, sheet)| on_bench(sheet)).collect();
    // What is cut already comes last.
    all.sort_by_key(|b| b.before);
    all
}
