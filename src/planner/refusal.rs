//! Why there is no plan.

use crate::fault::{Fault, Faults};

/// Why there is no plan.
#[derive(Clone, Debug, PartialEq)]
pub enum Refusal {
    /// The jobs are at fault.
    Input(Faults),
    /// The pieces could not be placed: which and why.
    NotPlaced(Faults),
    /// The plan failed its verification: a defect of this program, never of the job.
    NotVerified(Faults),
    /// It was asked to stop before there was a plan.
    Stopped(Fault),
}

impl Refusal {
    /// What it says.
    pub fn into_faults(self) -> Faults {
        match self {
            Refusal::Input(faults) | Refusal::NotPlaced(faults) | Refusal::NotVerified(faults) => {
                faults
            }
            Refusal::Stopped(fault) => fault.into(),
        }
    }
}

/// A plan holds at most so many pieces, copies counted.
pub(super) const MOST_PIECES: usize = 20_000;

pub(super) fn too_many(pieces: usize) -> Fault {
    let what = said!("the plan comes to {pieces} pieces or more, and holds at most {MOST_PIECES}");
    Fault::new(what, "plan fewer sets, copies or jobs at a time")
}
