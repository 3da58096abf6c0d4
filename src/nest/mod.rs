//! The search: shapes onto stock with the least new cloth. Knows shapes, turns and stock, nothing
//! of cloth or files.
//!
//! `search` drives it, by the names of the files here:
//!
//! ```text
//! construct → land → rounds → remnant (of equal lengths the most useful left-over) → check
//! a round:    sharing gives each lane its work → every lane goes on → sharing takes over the best
//!             → history → stopping
//! sharing:    few pieces: race of starts (multi-start), begun anew by restart; many: sweep, a
//!             window for each lane
//! a lane:     shrink, or hop (kick), or a failed layout of its pool → separate (guided local
//!             search over overlap) → compact (linear programming) → land (whole micrometres)
//! ```

// The driver.
mod history;
mod race;
mod restart;
mod search;
mod sharing;
mod stopping;
mod sweep;

// A layout from nothing, and one from another.
mod construct;
mod lattice;
mod warm_start;

// One lane and its moves.
mod board;
mod compact;
mod land;
mod lane;
mod layout;
mod overlap;
mod random;
mod relocate;
mod remnant;
mod separate;
mod window;

// The problem, its bounds and its answer.
mod bound;
mod check;
mod dual;
mod outcome;
mod plates;
mod problem;
mod report;
mod section;
mod setup;

// Shapes.
mod convex;
mod cover;
mod decompose;
mod depths;
mod form;
mod judge;
mod nofit;
mod nofit_cache;
mod simplify;

pub use bound::least_length;
pub use judge::{Judge, Neighbour, Verdict};
pub use outcome::{Early, Outcome, Params, Placement, UsedStock};
pub use problem::{Extent, Pin, Pose, Problem, Shape, Stock};
pub use search::solve;
