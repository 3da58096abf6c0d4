//! What the layouts of a cloth are drawn on while they are searched for.

use super::frame::plan_piece;
use super::sources::Sources;
use crate::cloth::Cloth;
use crate::job::Job;
use crate::live::{Ground, GroundStock, Layout};
use crate::plan::{self, PlanPiece, PlanStock};
use crate::ply::Piece;
use crate::stock::Offcut;
use std::collections::BTreeSet;

/// What of a cloth is settled before the rest is searched for.
#[derive(Clone, Copy)]
pub(super) struct Beside<'a> {
    /// Patches of mosaics that lie on offcuts.
    pub pieces: &'a [(&'a Job, &'a Piece)],
    /// These offcuts.
    pub stocks: &'a [PlanStock],
    /// Ids and copies, from 1, of pieces that were cut by an earlier plan.
    pub cut: &'a BTreeSet<(String, u32)>,
}

impl Beside<'_> {
    /// Where they lie, on a ground where so many pieces and stocks come before them.
    pub fn layout(&self, pieces: usize, stocks: usize) -> Layout {
        let mut layout = drawn("", self.pieces, self.stocks, 0.0).1;
        for lying in &mut layout.lying {
            (lying.piece, lying.stock) = (lying.piece + pieces, lying.stock + stocks);
        }
        Layout { lying: layout.lying, ..Layout::default() }
    }
}

/// Offcuts first, then the rolls, as the plan has them; what is settled beside them last.
pub(super) fn ground(
    cloth: &Cloth,
    pieces: &[(&Job, &Piece)],
    offcuts: &[&Offcut],
    sources: &Sources<'_>,
    beside: Beside<'_>,
    least_length: f64,
) -> Ground {
    let rolls = sources.rolls.iter().map(|roll| GroundStock {
        id: roll.id.clone(),
        rings: Vec::new(),
        width: cloth.roll_width,
        length: roll.length,
        selvedge: cloth.selvedge,
        flaws: roll.flaws.iter().map(plan::line).collect(),
    });
    let all = pieces.iter().chain(beside.pieces);
    let settled = beside.stocks.iter().map(plan::drawn_stock);
    Ground {
        cloth: cloth.id.clone(),
        least_length,
        pieces: all.map(|(job, piece)| plan::drawn_piece(&plan_piece(job, piece))).collect(),
        stocks: offcuts.iter().map(|o| box_of(o)).chain(rolls).chain(settled).collect(),
    }
}

/// Pieces on stocks that are settled.
pub(super) fn drawn(
    cloth: &str,
    pieces: &[(&Job, &Piece)],
    stocks: &[PlanStock],
    least_length: f64,
) -> (Ground, Layout) {
    let pieces: Vec<PlanPiece> = pieces.iter().map(|(job, piece)| plan_piece(job, piece)).collect();
    let stocks: Vec<&PlanStock> = stocks.iter().collect();
    plan::drawn(cloth, &pieces.iter().collect::<Vec<_>>(), &stocks, least_length)
}

fn box_of(offcut: &Offcut) -> GroundStock {
    let bounds = offcut.bounds();
    GroundStock {
        id: offcut.id().to_string(),
        rings: offcut.region().rings().map(plan::line).collect(),
        width: bounds.max.y,
        length: Some(bounds.max.x),
        selvedge: 0.0,
        flaws: offcut.flaws().iter().map(plan::line).collect(),
    }
}
