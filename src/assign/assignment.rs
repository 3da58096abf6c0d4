//! Pieces on offcuts: what a search answers.

use crate::nest::Placement;

/// Pieces on offcuts.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Assignment {
    /// Where they lie, `stock` being an index into the problem's stocks; by shape and copy.
    pub placements: Vec<Placement>,
    /// About the new cloth that the rest takes, mm².
    pub new_cloth: f64,
    /// What the opened offcuts cost, as the caller counts it.
    pub cost: f64,
}
