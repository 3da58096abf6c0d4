//! The list of what is wrong, bounded so that a file of nonsense cannot fill the memory with
//! complaints.

use crate::fault::{Fault, Faults, Said};
use crate::geometry::Point;
use crate::run::{Phase, Run};

/// More than this are counted, not kept.
const KEPT: usize = 1000;

const REMEDY: &str =
    "plan the job again; a plan.json that was edited or damaged is not drawn or booked";

/// Collects faults.
pub(super) struct Findings<'a> {
    run: &'a Run<'a>,
    faults: Faults,
    dropped: usize,
}

impl<'a> Findings<'a> {
    pub fn new(run: &'a Run<'a>) -> Findings<'a> {
        Findings { run, faults: Faults::new(), dropped: 0 }
    }

    /// Something wrong with a named thing.
    pub fn add(&mut self, who: &str, what: impl Into<Said>) {
        self.push(Fault::new(what, REMEDY).on(who));
    }

    /// Something wrong at a place, mm.
    pub fn add_at(&mut self, who: &str, at: Point, what: impl Into<Said>) {
        self.push(Fault::new(what, REMEDY).at(who, at.x, at.y));
    }

    fn push(&mut self, fault: Fault) {
        if self.is_full() { self.dropped += 1 } else { self.faults.push(fault) }
    }

    pub fn is_empty(&self) -> bool {
        self.faults.is_empty()
    }

    fn is_full(&self) -> bool {
        self.faults.0.len() >= KEPT
    }

    /// True when no more are kept, or nobody waits for them any longer: long searches for further
    /// ones may stop.
    pub fn full(&self) -> bool {
        self.is_full() || self.run.is_stopped(Phase::Verifying)
    }

    pub fn into_faults(mut self) -> Faults {
        if self.is_full() {
            self.faults.push(Fault::new(
                said!("more faults than the {KEPT} listed (at least {})", KEPT + self.dropped),
                REMEDY,
            ));
        }
        self.faults
    }
}
