//! What the search reports while it runs, and the trace it leaves.

use super::bound::least_length;
use super::lane::Lane;
use super::layout::Layout;
use super::outcome::Outcome;
use super::problem::Problem;
use super::report::drawn;
use super::setup::Setup;
use crate::run::{Phase, Run, TraceRow};
use crate::units::GRID_PER_MM;
use std::sync::Arc;

/// Seconds between reports when nothing new is found.
const EVERY: f64 = 0.2;
/// Rows without news, at most, about.
const MOST_ROWS: f64 = 1000.0;

/// Trace and counts of a run.
pub(super) struct History<'a> {
    run: &'a Run<'a>,
    setup: &'a Setup,
    /// The layout that was told of last.
    told: Option<Arc<Layout>>,
    /// No layout can be shorter, µm.
    pub bound: f64,
    /// Of what is pinned on the roll, µm².
    pinned: f64,
    height: f64,
    /// Whether the layout is complete only once the overflow strip is empty.
    overflow: bool,
    rows: Vec<TraceRow>,
    first: Option<f64>,
    reported: f64,
    evaluations: u64,
}

impl<'a> History<'a> {
    pub fn new(problem: &Problem, setup: &'a Setup, run: &'a Run<'a>) -> History<'a> {
        // Pieces that fit nowhere are not in the search, so the bound may only be used if all are.
        let bound = if setup.unplaced.is_empty() && !setup.overflow() {
            least_length(problem).0 * GRID_PER_MM
        } else {
            0.0
        };
        let strip = setup.bins[setup.strip()].stock;
        let pins = problem.pins().iter().filter(|p| Some(p.stock) == strip);
        let pinned: f64 = pins.map(|p| p.region.area()).sum();
        History {
            run,
            setup,
            told: None,
            bound: (bound - 1e-6).ceil().max(setup.fixed_end as f64),
            pinned: pinned * GRID_PER_MM * GRID_PER_MM,
            height: setup.height(),
            overflow: setup.overflow(),
            rows: Vec::new(),
            first: None,
            reported: f64::NEG_INFINITY,
            evaluations: 0,
        }
    }

    /// Notes the best layout after a round.
    pub fn note(&mut self, best: &Arc<Layout>, lanes: &[Lane<'_>], round: u32) {
        let seconds = self.run.seconds();
        if self.first.is_none() && (!self.overflow || best.length == 0.0) {
            self.first = Some(seconds);
        }
        self.evaluations = lanes.iter().map(Lane::evaluations).sum();
        let length = best.length / GRID_PER_MM;
        let news = self.rows.last().is_none_or(|r| r.length != length);
        if news || seconds - self.reported >= EVERY.max(seconds / MOST_ROWS) {
            self.reported = seconds;
            let moves = lanes.iter().map(Lane::moves).sum();
            let overlap =
                lanes.iter().filter_map(Lane::overlap).fold(f64::INFINITY, f64::min) / GRID_PER_MM;
            let overlap = if overlap.is_finite() { overlap } else { 0.0 };
            self.rows.push(TraceRow {
                seconds,
                length,
                overlap,
                moves,
                evaluations: self.evaluations,
            });
            let shown = (!self.overflow).then_some(length);
            let density = shown
                .filter(|l| *l > 0.0)
                .map(|_| self.area_on_roll(best) / (self.height * best.length));
            self.run.tell_best(Phase::Searching, Some(self.run.share(round)), shown, density);
        }
        // One that nobody wanted to see when it was found is told of as soon as somebody does.
        let is_told = self.told.as_ref().is_some_and(|told| Arc::ptr_eq(told, best));
        if !is_told && self.run.wants_layout() {
            self.run.tell_layout(&drawn(self.setup, best));
            self.told = Some(best.clone());
        }
    }

    /// Area of all that lies on the roll, µm²: what lies on offcuts takes none of it.
    fn area_on_roll(&self, layout: &Layout) -> f64 {
        let strip = self.setup.strip();
        let items = self.setup.items.iter().zip(&layout.spots);
        let on_roll = items.filter(|(_, spot)| usize::from(spot.bin) == strip);
        self.pinned + on_roll.map(|(item, _)| self.setup.kinds[item.kind].area).sum::<f64>()
    }

    /// Puts the history into the outcome.
    pub fn write(self, outcome: &mut Outcome) {
        outcome.trace = self.rows;
        outcome.first_layout_seconds = self.first;
        outcome.evaluations = self.evaluations;
    }
}
