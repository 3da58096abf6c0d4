//! The clock of one search: deadline or rounds, and the cancel flag.

use super::outcome::{Limits, Stop};
use std::sync::atomic::Ordering;
use std::time::{Duration, Instant};

/// Measures a search against its limits.
#[derive(Clone, Copy, Debug)]
pub(super) struct Clock<'a> {
    limits: Limits<'a>,
    start: Instant,
}

impl<'a> Clock<'a> {
    pub fn start(limits: &Limits<'a>) -> Clock<'a> {
        Clock { limits: *limits, start: Instant::now() }
    }

    pub fn seconds(&self) -> f64 {
        self.start.elapsed().as_secs_f64()
    }

    /// Ends even the first layout, which is made however short the time: without it there is no plan at all.
    pub fn cancelled(&self) -> bool {
        self.limits.cancel.load(Ordering::Relaxed)
    }

    /// True once work must end within the round: cancelled, or out of time.
    pub fn up(&self) -> bool {
        self.cancelled() || matches!(self.limits.stop, Stop::After(d) if self.start.elapsed() >= d)
    }

    /// True if no round after `rounds` may start.
    pub fn over(&self, rounds: u32) -> bool {
        self.up() || matches!(self.limits.stop, Stop::Effort(e) if rounds >= e)
    }

    /// Share of the limit used.
    pub fn share(&self, rounds: u32) -> f64 {
        let share = match self.limits.stop {
            Stop::After(d) => self.start.elapsed().as_secs_f64() / d.max(Duration::from_millis(1)).as_secs_f64(),
            Stop::Effort(e) => f64::from(rounds) / f64::from(e.max(1)),
        };
        share.clamp(0.0, 1.0)
    }

    /// Rounds that remain after `rounds`, about.
    pub fn left(&self, rounds: u32) -> f64 {
        let share = self.share(rounds);
        if share > 0.0 { f64::from(rounds) * (1.0 - share) / share } else { f64::INFINITY }
    }

    /// True for a run that must be the same on every machine.
    pub fn by_effort(&self) -> bool {
        matches!(self.limits.stop, Stop::Effort(_))
    }
}
