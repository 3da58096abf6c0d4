//! What a job file says in one word out of few: hands, sides, kinds of mould.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// What the skin was taken off.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum TakenOff {
    /// The female mould the part is laid up in: the worker's side faces away from the mould.
    Mould,
    /// A male plug of the part: the other hand.
    Plug,
}

/// Which side of the skin the drawing shows.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum InkedSide {
    /// Drawn or photographed with the inked (worker's) side up.
    Up,
    /// Lying inked side down: the other hand.
    Down,
}

/// What a mould is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum MouldKind {
    /// A female mould: the part is laid up in it.
    Female,
    /// A male plug of the part.
    Plug,
}

/// Which parts a mould makes.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum MouldHands {
    /// Parts that have no other hand.
    Single,
    /// Left parts.
    Left,
    /// Right parts.
    Right,
    /// Left and right parts, in a mould for each.
    Pair,
}

/// A side of the boat or body that a part is for.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum Side {
    /// The left part.
    Left,
    /// The right part.
    Right,
}

impl Side {
    /// `left` or `right`.
    pub fn name(self) -> &'static str {
        match self {
            Side::Left => "left",
            Side::Right => "right",
        }
    }
}

/// Which hands of a template a layer wants.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub enum Hands {
    /// The hand of the template itself.
    #[serde(rename = "as traced")]
    AsTraced,
    /// The other hand only.
    #[serde(rename = "mirrored")]
    Mirrored,
    /// One of each.
    #[serde(rename = "both")]
    Both,
}

/// From which side a layer is seen on the finished part.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub enum Seen {
    /// Not seen: strength alone counts.
    #[serde(rename = "hidden")]
    Hidden,
    /// Seen from the mould side: normally layer 1.
    #[serde(rename = "mould side")]
    MouldSide,
    /// Seen from the other side: the last layer of a part made over a plug.
    #[serde(rename = "other side")]
    OtherSide,
}
