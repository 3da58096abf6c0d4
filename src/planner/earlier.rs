//! What is cut already of a kit that is planned again.

use crate::geometry::Region;
use crate::job::Job;
use crate::plan::{PlacedPiece, Plan, PlanMosaic, PlanPiece, PlanStock};
use crate::ply::Piece;
use std::collections::BTreeSet;

/// The part of an earlier plan that stays: pieces that are cut, on the cloth they were cut from.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Earlier {
    /// Id of the kit's first plan.
    pub kit: Option<String>,
    pub(super) stocks: Vec<PlanStock>,
    mosaics: Vec<PlanMosaic>,
    patches: Vec<PlanPiece>,
}

impl Earlier {
    /// Keeps the copies of a plan's pieces for which `cut` says so; the places of those for which
    /// `spoiled` does are used cloth. Both are given piece id and copy.
    pub fn of(
        plan: &Plan,
        cut: &dyn Fn(&str, u32) -> bool,
        spoiled: &dyn Fn(&str, u32) -> bool,
    ) -> Earlier {
        let before = |id: &str| {
            plan.drawn_from.as_ref().is_some_and(|d| d.cut_before.iter().any(|c| c == id))
        };
        let short: String = plan.id.chars().take(8).collect();
        let mut stocks = Vec::new();
        for stock in &plan.stocks {
            let (kept, rest): (Vec<PlacedPiece>, Vec<PlacedPiece>) =
                stock.placed.iter().cloned().partition(|p| cut(&p.piece, p.copy));
            let lost = rest.into_iter().filter(|p| spoiled(&p.piece, p.copy)).map(|p| p.outline);
            let flaws: Vec<_> = stock.flaws.iter().cloned().chain(lost).collect();
            if kept.is_empty() && flaws.len() == stock.flaws.len() && !before(&stock.id) {
                continue;
            }
            let id = if before(&stock.id) {
                stock.id.clone()
            } else {
                format!("{} cut by {short}", stock.id)
            };
            // What was left over is in the stock by now, or will be when the rest is cut: this plan
            // lists none of it.
            stocks.push(PlanStock {
                id,
                placed: kept,
                flaws,
                offcuts: Vec::new(),
                ..stock.clone()
            });
        }
        let kit =
            plan.drawn_from.as_ref().and_then(|d| d.kit.clone()).unwrap_or_else(|| plan.id.clone());
        let patches = plan.pieces.iter().filter(|p| p.patch.is_some()).cloned().collect();
        Earlier { kit: Some(kit), stocks, mosaics: plan.mosaics.clone(), patches }
    }

    /// The mosaic of a ply as it was divided, with its patches: a patch cut for one division fits
    /// no other.
    pub(super) fn mosaic(
        &self,
        job: &Job,
        ply: &str,
        cloth: usize,
    ) -> Option<(PlanMosaic, Vec<Piece>)> {
        let mosaic = self.mosaics.iter().find(|m| m.job == job.name && m.ply == ply)?;
        let patches = self
            .patches
            .iter()
            .filter(|p| mosaic.patches.contains(&p.piece))
            .map(|p| piece(p, cloth));
        Some((mosaic.clone(), patches.collect()))
    }

    /// The copies that stay: piece id and copy, from 1.
    pub(super) fn copies(&self) -> BTreeSet<(String, u32)> {
        self.stocks.iter().flat_map(|s| &s.placed).map(|p| (p.piece.clone(), p.copy)).collect()
    }
}

fn piece(p: &PlanPiece, cloth: usize) -> Piece {
    let p = p.clone();
    Piece {
        id: p.piece,
        number: p.number,
        layer: p.layer,
        ply: p.ply,
        template: p.template,
        hand: p.hand,
        angle: p.angle,
        cloth,
        part: p.part,
        patch: p.patch,
        copies: p.copies,
        permitted: p.permitted,
        tolerance: p.tolerance,
        permitted_by: p.permitted_by,
        origin: p.origin,
        outline: Region { outline: p.outline, holes: p.holes },
        net: p.net,
        cuts: p.cuts,
        marks: p.marks,
        arrow: p.arrow,
        may_cross_bench: p.may_cross_bench,
    }
}
