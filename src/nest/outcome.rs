//! What the search answers, and what steers it beside its limits.

use crate::run::TraceRow;

/// Settings of the search that are not limits.
#[derive(Clone, Debug, PartialEq)]
pub struct Params {
    /// Logical lanes of an effort run; threads only execute lanes.
    pub lanes: usize,
    /// Layouts longer than the shortest by no more than this share of it count as equally long: the
    /// one that leaves the largest free rectangle along the strip, less what its length costs, is
    /// taken (up to 150 pieces). 0: the shortest, whatever it leaves.
    pub equal: f64,
}

impl Default for Params {
    fn default() -> Self {
        Params { lanes: 8, equal: 0.0 }
    }
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
    /// The bench segments, from-to in x, mm; one if the bench has no end. Contiguous from 0 to
    /// `used_length`.
    pub segments: Vec<[f64; 2]>,
}

/// Why a search ended before its limit.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Early {
    /// No layout can be shorter, or only by less than anyone would wait for (0.1 %).
    Least,
    /// The same length was reached again and again from random places.
    Again,
    /// Too little is to be expected of the rest of the time.
    Slow,
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
    /// Whether it was asked to stop.
    pub interrupted: bool,
    /// Why it ended before its limit, if it did, and after how many seconds.
    pub early: Option<(Early, f64)>,
    /// Seconds to the first complete layout.
    pub first_layout_seconds: Option<f64>,
    /// Evaluations in all.
    pub evaluations: u64,
    /// The history.
    pub trace: Vec<TraceRow>,
}
