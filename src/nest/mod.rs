//! The search: shapes onto stock with the least new cloth. Knows shapes, turns and stock, nothing
//! of cloth or files.

mod board;
mod bound;
mod campaign;
mod check;
mod compact;
mod construct;
mod convex;
mod cover;
mod decompose;
mod dice;
mod dual;
mod fits;
mod form;
mod history;
mod judge;
mod land;
mod lane;
mod lattice;
mod layout;
mod nofit;
mod outcome;
mod overlap;
mod plates;
mod problem;
mod relocate;
mod remnant;
mod report;
mod search;
mod season;
mod section;
mod separate;
mod setup;
mod sharing;
mod simplify;
mod sweep;
mod warm;
mod window;
mod worth;

pub use bound::least_length;
pub use judge::{Judge, Neighbour, Verdict};
pub use outcome::{Early, Outcome, Params, Placement, UsedStock};
pub use problem::{Extent, Pin, Pose, Problem, Shape, Stock};
pub use search::solve;
