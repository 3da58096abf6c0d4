//! The weave table: which turns and faces keep a ply's strength and its look. One small rule, tested against the weaves' own grids.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// How a cloth is made.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize, JsonSchema)]
pub enum Weave {
    /// All fibres along the warp.
    #[serde(rename = "unidirectional")]
    Unidirectional,
    /// One over, one under.
    #[serde(rename = "plain")]
    Plain,
    /// Two over, two under.
    #[serde(rename = "twill 2/2")]
    Twill22,
    /// Four over, four under.
    #[serde(rename = "twill 4/4")]
    Twill44,
    /// Two over, one under: a warp face and a weft face.
    #[serde(rename = "twill 2/1")]
    Twill21,
    /// Three over, one under: a warp face and a weft face.
    #[serde(rename = "twill 3/1")]
    Twill31,
    /// Satin of any harness: a warp face and a weft face.
    #[serde(rename = "satin")]
    Satin,
    /// Two stitched layers at +45 and -45.
    #[serde(rename = "biaxial 45")]
    Biaxial45,
    /// Chopped strands or mat: no direction.
    #[serde(rename = "mat")]
    Mat,
    /// A core, film or other sheet without fibres to mind.
    #[serde(rename = "none")]
    None,
}

/// Which side of a piece lies up on the bench, against the cloth's own up face.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum Face {
    /// As prepared.
    Up,
    /// Turned over: mirrored about the warp.
    Down,
}

/// One way a piece may lie on its cloth.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Permitted {
    /// Degrees anticlockwise from the prepared position.
    pub turn: f64,
    /// Face up or face down; the mirror about x comes after the turn.
    pub face: Face,
}
