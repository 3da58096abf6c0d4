//! The order of laying: one for every list, map and picture.

use super::{Plan, PlanPiece};
use std::collections::BTreeMap;

/// All pieces in laying order: ply by ply as the plan lists them, the parts and patches of each ply
/// by their numbers.
pub fn laying_order(plan: &Plan) -> Vec<&PlanPiece> {
    let mut first: BTreeMap<(&str, &str), usize> = BTreeMap::new();
    for (i, p) in plan.pieces.iter().enumerate() {
        first.entry((&p.job, &p.ply)).or_insert(i);
    }
    let mut all: Vec<&PlanPiece> = plan.pieces.iter().collect();
    all.sort_by_key(|p| {
        (
            first.get(&(p.job.as_str(), p.ply.as_str())).copied(),
            p.patch,
            p.part.map(|part| part.number),
        )
    });
    all
}
