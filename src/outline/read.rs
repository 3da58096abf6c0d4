//! From a file to outlines: picks the reader, then assembles.

use super::{Drawing, NotUsed, Outline, assemble};
use crate::fault::{Fault, Faults};
use std::path::Path;

/// A unit of length that a drawing may be in.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, serde::Serialize, serde::Deserialize, schemars::JsonSchema)]
pub enum Unit {
    /// Millimetre.
    #[serde(rename = "mm")]
    Millimetre,
    /// Centimetre.
    #[serde(rename = "cm")]
    Centimetre,
    /// Metre.
    #[serde(rename = "m")]
    Metre,
    /// Inch, 25.4 mm.
    #[serde(rename = "in")]
    Inch,
    /// Foot, 304.8 mm.
    #[serde(rename = "ft")]
    Foot,
}

impl Unit {
    /// How many mm one of it is.
    pub fn millimetres(self) -> f64 {
        match self {
            Unit::Millimetre => 1.0,
            Unit::Centimetre => 10.0,
            Unit::Metre => 1000.0,
            Unit::Inch => 25.4,
            Unit::Foot => 304.8,
        }
    }
}

/// How to read a drawing.
#[derive(Clone, Debug, PartialEq)]
pub struct ReadOptions {
    /// Largest distance of a flattened curve from the true one, mm.
    pub chord_tolerance: f64,
    /// Ends nearer than this are joined, and the join reported, mm.
    pub join_tolerance: f64,
    /// The unit of a drawing that does not say its own (or whose own is to be overruled).
    pub unit: Option<Unit>,
    /// Only what lies in the group (SVG id or label), layer or block (DXF) or part (CSV) of this name.
    pub layer: Option<String>,
}

impl Default for ReadOptions {
    fn default() -> Self {
        ReadOptions { chord_tolerance: 0.02, join_tolerance: 0.1, unit: None, layer: None }
    }
}

/// The outcome of reading one file.
#[derive(Clone, Debug, PartialEq)]
pub struct Reading {
    /// The outlines, in file order.
    pub outlines: Vec<Outline>,
    /// Drawable entities in the file.
    pub present: usize,
    /// Entities that went into an outline.
    pub used: usize,
    /// Entities that did not, each with the reason; `used + not_used.len() == present`.
    pub not_used: Vec<NotUsed>,
    /// Joined ends and other things the user should hear of.
    pub warnings: Vec<Fault>,
}

/// Reads an outline file; the format goes by the name's ending (`.svg`, `.dxf`, `.csv`).
///
/// # Errors
/// Everything found wrong with it, each fault with the file and the place in it.
pub fn read_file(path: &Path, options: &ReadOptions) -> Result<Reading, Faults> {
    let _ = (path, options);
    Err(Fault::new("not yet", "").into())
}

/// Reads an outline file from memory; `path` names it in faults and tells the format.
///
/// # Errors
/// As [`read_file`].
pub fn read_bytes(path: &Path, bytes: &[u8], options: &ReadOptions) -> Result<Reading, Faults> {
    let _ = (path, bytes, options);
    let drawing = Drawing::default();
    assemble(drawing, options)
}
