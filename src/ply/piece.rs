//! A prepared piece, in the cloth frame.

use crate::cloth::Permitted;
use crate::fault::Fault;
use crate::geometry::{Path, Point, Region, Ring};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Which hand of the template a ply is.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize, JsonSchema,
)]
pub enum Hand {
    /// The hand of the template frame.
    #[serde(rename = "as traced")]
    AsTraced,
    /// Mirrored about the arrow.
    #[serde(rename = "mirrored")]
    Mirrored,
}

impl Hand {
    /// The other one.
    #[must_use]
    pub fn other(self) -> Hand {
        if self == Hand::AsTraced { Hand::Mirrored } else { Hand::AsTraced }
    }
}

/// Which part of a spliced ply a piece is: `1 of 2`.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(from = "[usize; 2]", into = "[usize; 2]")]
pub struct Part {
    /// From 1 in laying order, from the low side of the splice up. Of two lapped parts the later
    /// carries the whole lap and lies over the earlier one, which ends on the splice line.
    pub number: usize,
    /// How many there are.
    pub of: usize,
}

impl From<[usize; 2]> for Part {
    fn from([number, of]: [usize; 2]) -> Self {
        Part { number, of }
    }
}

impl From<Part> for [usize; 2] {
    fn from(p: Part) -> Self {
        [p.number, p.of]
    }
}

/// What is cut: outline, marks and permitted turns, all in the cloth frame (x along the warp, up
/// face up) before any turn.
///
/// Its bounding box starts at the origin. On the 1 µm grid; the net line of a whole ply has the
/// template's points, snapped once.
#[derive(Clone, Debug, PartialEq)]
pub struct Piece {
    /// Unique within the job: ply, and part letter if spliced.
    pub id: String,
    /// Number on sheets and labels: layer, then a running number in laying order, `2.3`.
    pub number: String,
    /// Layer, from 1.
    pub layer: usize,
    /// The ply it belongs to: `2-hip-mirrored`.
    pub ply: String,
    /// Template id.
    pub template: String,
    /// Hand of the ply.
    pub hand: Hand,
    /// The ply's angle as laid, degrees: for the mirrored hand already `-a`, or `90 - a` if
    /// book-matched or stitched biaxial. A warp has no head, `-90 < angle <= 90`, unless the
    /// permitted turns tell half a turn apart: then `-180 < angle <= 180`.
    pub angle: f64,
    /// Index into the job's cloths.
    pub cloth: usize,
    /// Which part of a spliced ply it is.
    pub part: Option<Part>,
    /// Number of the patch in a mosaic.
    pub patch: Option<u32>,
    /// How many of it.
    pub copies: u32,
    /// The ways it may lie.
    pub permitted: Vec<Permitted>,
    /// Degrees off a permitted turn that are allowed.
    pub tolerance: f64,
    /// The rule that gave it its turns, in words.
    pub permitted_by: String,
    /// Where the template frame's origin comes to lie: a template point, turned so that the arrow
    /// lies along +x, mirrored about x for the mirrored hand, turned by `-angle` and moved by this
    /// is the piece's point.
    pub origin: Point,
    /// The cut line and holes.
    pub outline: Region,
    /// The part of the net line that lies in it, closed rings (outer anticlockwise, holes
    /// clockwise).
    pub net: Vec<Ring>,
    /// Relief cuts and notches.
    pub cuts: Vec<Path>,
    /// Lines to draw, not to cut: splice lines, holes too small to cut, marks.
    pub marks: Vec<Path>,
    /// The 0° arrow of the part, tail to head, inside the outline.
    pub arrow: [Point; 2],
    /// A piece longer than the bench may be cut by sliding the cloth along.
    pub may_cross_bench: bool,
}

/// All pieces of a job in laying order, with what the user should hear of.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Prepared {
    /// The pieces, by layer, then as the layer lists them.
    pub pieces: Vec<Piece>,
    /// Splice lines in the template frame, for drawings and the stagger check: (layer from 1, ply,
    /// line). Those of a mirrored hand are mirrored back onto the template.
    pub splices: Vec<(usize, String, Path)>,
    /// Relief cuts in one place through several layers or across each other, hands that do not
    /// match, turns beyond the weave and the like.
    pub warnings: Vec<Fault>,
}
