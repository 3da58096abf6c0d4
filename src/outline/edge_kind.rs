//! What lies beyond an edge of the net line.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// What lies beyond an edge of the net line.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize, JsonSchema,
)]
#[serde(rename_all = "lowercase")]
pub enum EdgeKind {
    /// A free edge: grows by the trim allowance and is cut back after the cure.
    Trim,
    /// An edge lapped onto a neighbour: grows by the lap.
    Lap,
    /// An edge that meets a neighbour: does not grow.
    Butt,
    /// A leg of a dart: does not grow and closes on its other leg in the mould.
    Dart,
}
