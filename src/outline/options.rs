//! How a drawing is read.

/// A unit of length that a drawing may be in.
#[derive(
    Clone,
    Copy,
    Debug,
    PartialEq,
    Eq,
    Hash,
    serde::Serialize,
    serde::Deserialize,
    schemars::JsonSchema,
)]
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
    /// The unit that a word names: its symbol, or its English name.
    pub fn named(word: &str) -> Option<Unit> {
        Some(match word.trim().to_lowercase().as_str() {
            "mm" | "millimetre" | "millimetres" | "millimeter" | "millimeters" => Unit::Millimetre,
            "cm" | "centimetre" | "centimetres" | "centimeter" | "centimeters" => Unit::Centimetre,
            "m" | "metre" | "metres" | "meter" | "meters" => Unit::Metre,
            "in" | "inch" | "inches" | "\"" => Unit::Inch,
            "ft" | "foot" | "feet" | "'" => Unit::Foot,
            _ => return None,
        })
    }

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
    /// Only what lies in the group (SVG id or label), layer or block (DXF) or part (CSV) of this
    /// name.
    pub layer: Option<String>,
}

impl Default for ReadOptions {
    fn default() -> Self {
        ReadOptions { chord_tolerance: 0.02, join_tolerance: 0.1, unit: None, layer: None }
    }
}
