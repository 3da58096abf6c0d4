//! What the search answers, and the arguments that steer it.

use std::sync::atomic::AtomicBool;
use std::time::Duration;

/// Settings of the search that are not limits.
#[derive(Clone, Debug, PartialEq)]
pub struct Params {
    /// Logical lanes of an effort run; threads only execute lanes.
    pub lanes: usize,
    /// Worker threads of a timed run; 0 means one a core.
    pub threads: usize,
    /// Layouts longer than the shortest by no more than this share of it count as equally long: the one that leaves the largest free
    /// rectangle along the strip, less what its length costs, is taken (up to 150 pieces). 0: the shortest, whatever it leaves.
    pub equal: f64,
}

impl Default for Params {
    fn default() -> Self {
        Params { lanes: 8, threads: 0, equal: 0.0 }
    }
}

/// When to stop.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Stop {
    /// After this much time; the first layout alone may take up to two minutes more.
    After(Duration),
    /// After this many synchronous rounds: the same answer on every machine and thread count.
    Effort(u32),
}

/// The end of a search: by time or effort, or at any moment by the flag.
#[derive(Clone, Copy, Debug)]
pub struct Limits<'a> {
    /// Time or effort.
    pub stop: Stop,
    /// Set from outside to end the search within 100 ms, keeping the best so far.
    pub cancel: &'a AtomicBool,
}

/// What an observer hears.
#[derive(Clone, Debug, PartialEq)]
pub struct Progress {
    /// Seconds since the start.
    pub seconds: f64,
    /// Share of the limit used, 0 to 1.
    pub share: f64,
    /// Used length of the best complete layout so far, mm.
    pub best_length: Option<f64>,
    /// Area of the shapes over width times used length, 0 to 1.
    pub density: Option<f64>,
}

/// Hears of progress; called from worker threads, so it must be quick.
pub trait Observer: Sync {
    /// Called a few times a second and whenever a better layout is found.
    fn progress(&self, progress: &Progress);
}

/// An observer that hears nothing.
pub struct Silent;

impl Observer for Silent {
    fn progress(&self, _: &Progress) {}
}

/// A shape placed: turned, mirrored about x if `flip`, then moved by (x, y); on the 1 µm grid.
#[derive(Clone, Debug, PartialEq)]
pub struct Placement {
    /// Index into the problem's shapes.
    pub shape: usize,
    /// Which copy, from 0.
    pub copy: u32,
    /// Index into [`Outcome::stocks`].
    pub stock: usize,
    /// Degrees anticlockwise.
    pub turn: f64,
    /// Mirrored about x after the turn.
    pub flip: bool,
    /// mm.
    pub x: f64,
    /// mm.
    pub y: f64,
}

/// A stock that took pieces.
#[derive(Clone, Debug, PartialEq)]
pub struct UsedStock {
    /// Index into the problem's stocks.
    pub stock: usize,
    /// Length used from x = 0, mm (of a fixed stock: its whole extent).
    pub used_length: f64,
    /// The bench segments, from-to in x, mm; one if the bench has no end. Contiguous from 0 to `used_length`.
    pub segments: Vec<[f64; 2]>,
}

/// One row of the search's history.
#[derive(Clone, Debug, PartialEq)]
pub struct TraceRow {
    /// Seconds since the start.
    pub seconds: f64,
    /// Used length of the best layout, mm. The last row is of the layout taken, which may count as equally long and be a little longer.
    pub length: f64,
    /// Least overlap that the layouts under way have come to, mm.
    pub overlap: f64,
    /// Moves made so far.
    pub moves: u64,
    /// Placements evaluated so far.
    pub evaluations: u64,
}

/// What the search found.
#[derive(Clone, Debug, PartialEq)]
pub struct Outcome {
    /// Every copy of every shape, in shape order, unless `unplaced` says otherwise.
    pub placements: Vec<Placement>,
    /// The stocks that took pieces.
    pub stocks: Vec<UsedStock>,
    /// Copies without a place: (shape, copy, why).
    pub unplaced: Vec<(usize, u32, String)>,
    /// Whether the cancel flag ended it.
    pub interrupted: bool,
    /// Seconds to the first complete layout.
    pub first_layout_seconds: Option<f64>,
    /// Evaluations in all.
    pub evaluations: u64,
    /// The history.
    pub trace: Vec<TraceRow>,
}
