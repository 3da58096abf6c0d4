//! What an open job keeps of its plan on the cutting table.

use crate::planner::CutTable;
use crate::verify::Verified;
use std::sync::Arc;

/// How many changes can be taken back; older ones are forgotten.
const MOST_STEPS: usize = 200;

/// The table that a plan lies on, and what it was made of: the plan's id, the job's text, when the
/// stock was written.
#[derive(Default)]
pub(super) struct OnTable {
    pub table: Option<(String, String, Option<CutTable>)>,
    /// Plans that can be had back, the latest last.
    pub before: Vec<Arc<Verified>>,
}

impl std::fmt::Debug for OnTable {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{} plans before", self.before.len())
    }
}

impl OnTable {
    /// Keeps a plan that another takes the place of.
    pub fn remember(&mut self, plan: Arc<Verified>) {
        self.before.push(plan);
        let many = self.before.len().saturating_sub(MOST_STEPS);
        self.before.drain(..many);
    }
}
