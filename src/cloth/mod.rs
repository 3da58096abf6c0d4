//! Cloths: what they are made of, how they are woven, and which turns a piece of them may take.

mod data;
mod weave;

pub use data::{Backing, Cloth, Material, Offer, Price};
pub use weave::{Face, Permitted, TurnRule, Weave, turn_rule};
