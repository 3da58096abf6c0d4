//! The mosaic layer: a target divided into patches, which lies over which, their directions, and
//! their places on offcuts.
//!
//! Cells of a power diagram, sites moved until every cell is a believable patch; an order in which
//! every later patch grows under the earlier ones; directions by annealing. Knows shapes only,
//! nothing of cloth or files.

mod diagram;
mod directions;
mod divide;
mod grow;
mod order;
mod pack;
mod random;
mod relax;
mod whole;

pub use directions::{Mix, difference, directions, mix, slack};
pub use divide::{Brief, Division, MOST_PATCHES, divide};
pub use pack::{Packed, improve, pack, poses};
pub use whole::{Laid, Whole, lay_whole};
