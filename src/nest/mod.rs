//! The search: shapes onto stock with the least new cloth. Knows shapes, turns and stock, nothing of cloth or files.

mod outcome;
mod problem;

pub use outcome::{Limits, Observer, Outcome, Params, Placement, Progress, Silent, Stop, TraceRow, UsedStock};
pub use problem::{Extent, Pose, Problem, Shape, Stock};
