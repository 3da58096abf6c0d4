//! How lanes share their work: on small layouts they race starts, on large ones each has a window
//! of its own.

use super::lane::{Lane, ROUND};
use super::layout::Layout;
use super::restart::Restarts;
use super::setup::Setup;
use super::sweep::Sweeps;
use std::sync::Arc;

/// What the lanes of a search work on.
#[derive(Debug)]
pub(super) enum Sharing {
    Restarts(Restarts),
    Sweeps(Sweeps),
}

impl Sharing {
    pub fn new(setup: &Setup, seed: u64) -> Sharing {
        if setup.shared() {
            Sharing::Restarts(Restarts::new(seed))
        } else {
            Sharing::Sweeps(Sweeps::default())
        }
    }

    /// Before a round: lanes whose work is over get other work. `left` are the rounds that remain.
    pub fn assign(
        &mut self,
        setup: &Setup,
        best: &Arc<Layout>,
        lanes: &mut [Lane<'_>],
        left: f64,
        stop: &dyn Fn() -> bool,
    ) {
        match self {
            Sharing::Restarts(s) => s.assign(setup, best, lanes, left * ROUND as f64, stop),
            Sharing::Sweeps(s) => s.assign(setup, best, lanes),
        }
    }

    /// After a round: lanes on the same work take over the best of theirs. Returns the best layout
    /// of all.
    pub fn merge(
        &mut self,
        setup: &Setup,
        best: &Arc<Layout>,
        lanes: &mut [Lane<'_>],
    ) -> Arc<Layout> {
        match self {
            Sharing::Restarts(s) => s.merge(setup, best, lanes),
            Sharing::Sweeps(s) => s.merge(setup, best, lanes),
        }
    }
}
