//! What reading a file gives.

use super::{Account, NotUsed, Outline};
use crate::fault::Fault;
use crate::geometry::Point;

/// A line that may be the arrow of an outline that has none: named as nothing, or after a
/// direction.
#[derive(Clone, Debug, PartialEq)]
pub struct MaybeArrow {
    /// Index of the outline it lies in.
    pub outline: usize,
    /// The name it lies under; may be empty.
    pub name: String,
    /// How to point at each of its lines.
    pub labels: Vec<String>,
    /// From its tail to its head if it is one, mm.
    pub ends: [Point; 2],
}

/// The outcome of reading one file.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Reading {
    /// The outlines, in file order.
    pub outlines: Vec<Outline>,
    /// Drawable entities in the file.
    pub present: usize,
    /// Entities that went into an outline.
    pub used: usize,
    /// Entities that did not, each with the reason; `used + not_used.len() == present`.
    pub not_used: Vec<NotUsed>,
    /// What became of every line and of every entity that gives none.
    pub account: Vec<Account>,
    /// What may be the arrow of an outline that has none; at most one for each.
    pub maybe_arrows: Vec<MaybeArrow>,
    /// Joined ends and other things the user should hear of.
    pub warnings: Vec<Fault>,
}
