//! Which offcuts would take a piece: of a plan that is being cut, or of a job before it is planned.

use super::open_job::OpenJob;
use crate::fault::{Fault, Faults};
use crate::plan::{PlanPiece, StockKind};
use crate::planner::{self, PreparedJob};

/// A piece that an offcut is looked for.
#[derive(Clone, Debug, PartialEq)]
pub struct Sought {
    /// The piece.
    pub piece: PlanPiece,
    /// Least clearance to flaws and to other pieces, mm.
    pub gap: f64,
    /// Offcuts that the plan cuts other pieces from.
    pub in_use: Vec<String>,
}

impl OpenJob {
    /// A piece by its id: as it is planned, or as the job has it now.
    ///
    /// # Errors
    /// There is none, the plan cannot be read, or the job is at fault.
    pub fn sought(&mut self, id: &str, planned: bool) -> Result<Sought, Faults> {
        let plan = self.plan()?.filter(|_| planned);
        let of_offcuts = |p: &crate::plan::Plan| -> Vec<String> {
            let here = p.stocks.iter().filter(|s| s.kind == StockKind::Offcut);
            here.map(|s| s.id.clone()).collect()
        };
        let found = |p: &crate::plan::Plan, in_use: Vec<String>| {
            let piece = p.pieces.iter().find(|p| p.piece == id)?.clone();
            Some(Sought { piece, gap: p.rules.gap, in_use })
        };
        let sought = match plan {
            Some(plan) => found(plan.plan(), of_offcuts(plan.plan())),
            None => {
                let checked = self.checked();
                let (Some(job), Some(prepared)) = (&checked.job, &checked.prepared) else {
                    let what = "the pieces are not known while the job is at fault";
                    return Err(Fault::new(what, "mend what the plies' step says").into());
                };
                let jobs = [PreparedJob { job, prepared: prepared.clone() }];
                found(&planner::without_layouts(&jobs), Vec::new())
            }
        };
        sought.ok_or_else(|| {
            let what = said!("there is no piece {}", crate::units::quoted(id));
            Fault::new(what, "look at the pieces as they are now").into()
        })
    }
}
