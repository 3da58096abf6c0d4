//! Which pieces go to which offcut: a joint search over all offcuts, for the least new cloth.
//!
//! Knows shapes and closed regions only, like [`crate::nest`], whose problem types it shares. The
//! search for the roll stays there.

mod assignment;
mod bins;
mod choose;
mod cover;
mod exchange;
mod search;
mod solve;
mod trade;

pub use assignment::Assignment;
pub use choose::{Size, choose};
pub use search::assign;
pub use solve::solve;
