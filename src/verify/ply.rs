//! A ply as it is checked.

use crate::plan::{PlanCloth, PlanLayer, PlanTemplate};
use crate::ply::Hand;

/// The pieces of one ply with what they were made from.
pub(super) struct Ply<'a> {
    pub name: String,
    pub layer: &'a PlanLayer,
    pub template: &'a PlanTemplate,
    pub cloth: &'a PlanCloth,
    /// Indices into the plan's pieces, in order of their part.
    pub pieces: Vec<usize>,
    pub hand: Hand,
    /// How many layers of the job before this one lay the template: how often a local patch has
    /// stepped back.
    pub steps: usize,
}
