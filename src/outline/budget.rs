//! What a drawing may come to, however small its file: points, work and text, counted while it is
//! read.
//!
//! A few hundred bytes can ask for thousands of millions of points: a curve in a block inserted
//! again and again, a chain of `use`. So what comes out is limited, and a reader stops as soon as
//! it is spent.

use crate::fault::Fault;
use crate::run::{Phase, Run};
use std::cell::Cell;

/// Most points of a drawing.
pub(super) const MOST_POINTS: usize = 2_000_000;
/// Most work on its curves, in mixes of two points: some seconds.
const MOST_WORK: u64 = 50_000_000;
/// Most bytes of names and labels, spelt out for every line and for everything that is none.
const MOST_TEXT: usize = 96 << 20;

/// What is left for one drawing, and the run it is read in.
pub(super) struct Budget<'a> {
    run: &'a Run<'a>,
    points: Cell<usize>,
    work: Cell<u64>,
    text: Cell<usize>,
}

impl<'a> Budget<'a> {
    pub(super) fn new(run: &'a Run<'a>) -> Self {
        Budget { run, points: Cell::new(0), work: Cell::new(0), text: Cell::new(0) }
    }

    /// Takes points off.
    pub(super) fn points(&self, count: usize) {
        self.points.set(self.points.get().saturating_add(count));
    }

    /// Takes work off.
    pub(super) fn work(&self, mixes: u64) {
        self.work.set(self.work.get().saturating_add(mixes));
    }

    /// Takes off what a line or an entity is told by.
    pub(super) fn told(&self, names: &[String], label: &str) {
        // Besides their letters texts take room themselves.
        let bytes = names.iter().map(|n| n.len() + 32).sum::<usize>() + label.len() + 96;
        self.text.set(self.text.get().saturating_add(bytes));
    }

    /// True once the reader must stop: nothing is left, or nobody waits any longer.
    pub(super) fn is_spent(&self) -> bool {
        self.too_much().is_some() || self.run.is_stopped(Phase::Reading)
    }

    /// The fault of a drawing that came to too much.
    ///
    /// # Errors
    /// What it came to; that the run was stopped.
    pub(super) fn holds(&self) -> Result<(), Fault> {
        self.run.check(Phase::Reading)?;
        self.too_much().map_or(Ok(()), Err)
    }

    fn too_much(&self) -> Option<Fault> {
        let remedy = "save a drawing of the outlines alone, or give a coarser chord tolerance";
        if self.points.get() > MOST_POINTS {
            return Some(Fault::new(
                said!(
                    "the drawing comes to more than {MOST_POINTS} points once its curves and copies are drawn"
                ),
                remedy,
            ));
        }
        if self.work.get() > MOST_WORK {
            let what = "the drawing's splines of high degree take too long to draw";
            return Some(Fault::new(what, "save them as polylines, or as splines of degree 3"));
        }
        let what = || {
            said!(
                "what the drawing holds comes to more than {} MB of names once its copies are drawn",
                MOST_TEXT >> 20
            )
        };
        (self.text.get() > MOST_TEXT)
            .then(|| Fault::new(what(), "save a drawing of the outlines alone"))
    }
}
