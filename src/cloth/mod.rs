//! Cloths: what they are made of, how they are woven, and which turns a piece of them may take.

mod data;
mod weave;

pub use data::{Backing, Cloth, Material, Offer, Price, Weave};
pub use weave::{Face, Permitted, TurnRule, turn_rule};
