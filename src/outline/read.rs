//! From a file to outlines: picks the reader, then assembles.

use super::budget::Budget;
use super::{Account, NotUsed, Outline, assemble_in, csv, dxf, svg};
use crate::fault::{Fault, Faults};
use crate::geometry::Point;
use crate::run::{Phase, Run};
use std::io::Read;
use std::path::Path;

/// Largest drawing that is read, bytes: one of every ply of a boat has a few million.
pub const LARGEST_FILE: u64 = 32 << 20;

/// Most faults told of one file.
const MOST_FAULTS: usize = 100;

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

/// Reads an outline file; the format goes by the name's ending (`.svg`, `.dxf`, `.csv`).
///
/// # Errors
/// Everything found wrong with it, each fault with the file and the place in it.
pub fn read_file(path: &Path, options: &ReadOptions) -> Result<Reading, Faults> {
    read_file_in(path, options, &Run::default())
}

/// The same as a part of a run that may be stopped.
///
/// # Errors
/// As [`read_file`]; that it was stopped.
pub fn read_file_in(path: &Path, options: &ReadOptions, run: &Run<'_>) -> Result<Reading, Faults> {
    run.tell(Phase::Reading, Some(0.0));
    let bytes = bytes_of(path).map_err(|fault| Faults::from(fault.in_file(path)))?;
    read_bytes_in(path, &bytes, options, run)
}

/// Reads an outline file from memory; `path` names it in faults and tells the format.
///
/// # Errors
/// As [`read_file`].
pub fn read_bytes(path: &Path, bytes: &[u8], options: &ReadOptions) -> Result<Reading, Faults> {
    read_bytes_in(path, bytes, options, &Run::default())
}

/// The same as a part of a run that may be stopped.
///
/// # Errors
/// As [`read_file`]; that it was stopped.
pub fn read_bytes_in(
    path: &Path,
    bytes: &[u8],
    options: &ReadOptions,
    run: &Run<'_>,
) -> Result<Reading, Faults> {
    let reading = read_unplaced(path, bytes, options, run);
    // What was found until then is not all there is to say.
    run.check(Phase::Reading)?;
    let mut reading = reading.map_err(|faults| in_file(faults, path))?;
    reading.warnings = reading
        .warnings
        .into_iter()
        .map(|w| if w.file.is_none() { w.in_file(path) } else { w })
        .collect();
    Ok(reading)
}

fn read_unplaced(
    path: &Path,
    bytes: &[u8],
    options: &ReadOptions,
    run: &Run<'_>,
) -> Result<Reading, Faults> {
    let tolerances_hold = options.chord_tolerance > 0.0
        && options.chord_tolerance.is_finite()
        && (0.0..=1000.0).contains(&options.join_tolerance);
    if !tolerances_hold {
        let what = said!(
            "tolerances of {} mm (chord) and {} mm (join) are not possible",
            options.chord_tolerance,
            options.join_tolerance
        );
        return Err(Fault::new(
            what,
            "use a chord tolerance above 0 and a join tolerance from 0 to 1000 mm",
        )
        .into());
    }
    if bytes.len() as u64 > LARGEST_FILE {
        return Err(too_large().into());
    }
    let read = match path.extension().map(|e| e.to_string_lossy().to_lowercase()).as_deref() {
        Some("svg") => svg::read,
        Some("dxf") => dxf::read,
        Some("csv" | "tsv" | "txt") => csv::read,
        Some("svgz") => {
            return Err(Fault::new("compressed SVG is not read", "save it as plain SVG").into());
        }
        ending => {
            let what = match ending {
                Some(ending) => said!("files ending in .{ending} are not understood"),
                None => "a file without an ending is not understood".into(),
            };
            return Err(Fault::new(
                what,
                "export the outline as SVG, DXF or CSV, ending in .svg, .dxf or .csv",
            )
            .into());
        }
    };
    if bytes.iter().all(u8::is_ascii_whitespace) {
        return Err(Fault::new("the file is empty", "export or copy the drawing again").into());
    }
    let budget = Budget::new(run);
    let drawing = read(bytes, options, &budget);
    // What was found until then is not all there is to say.
    budget.holds()?;
    assemble_in(drawing?, options, run)
}

/// Places faults that name no file, and keeps a flood of them readable.
fn in_file(faults: Faults, path: &Path) -> Faults {
    let all = faults.0.len();
    let mut placed: Vec<Fault> = faults
        .0
        .into_iter()
        .take(MOST_FAULTS)
        .map(|f| if f.file.is_none() { f.in_file(path) } else { f })
        .collect();
    if all > MOST_FAULTS {
        placed.push(
            Fault::new(said!("and {} more faults", all - MOST_FAULTS), "correct these first")
                .in_file(path),
        );
    }
    Faults(placed)
}

fn bytes_of(path: &Path) -> Result<Vec<u8>, Fault> {
    let cannot = |e: std::io::Error| match e.kind() {
        std::io::ErrorKind::NotFound => Fault::new(
            "there is no such file",
            "check the name; it is looked for beside the job file",
        ),
        std::io::ErrorKind::PermissionDenied => {
            Fault::new("the file may not be read", "give yourself the right to read it")
        }
        _ => Fault::new(said!("the file cannot be read: {e}"), "check the disk and the name"),
    };
    let about = std::fs::metadata(path).map_err(cannot)?;
    if about.is_dir() {
        return Err(Fault::new("this is a folder", "name the outline file in it"));
    }
    if !about.is_file() {
        return Err(Fault::new("this is not an ordinary file", "name an outline file"));
    }
    if about.len() > LARGEST_FILE {
        return Err(too_large());
    }
    let mut bytes = Vec::new();
    // One byte over the limit tells a file that grew in the meantime.
    std::fs::File::open(path)
        .and_then(|f| f.take(LARGEST_FILE + 1).read_to_end(&mut bytes))
        .map_err(cannot)?;
    Ok(bytes)
}

fn too_large() -> Fault {
    Fault::new(
        said!("the file has more than {} MB", LARGEST_FILE >> 20),
        "split the drawing, or leave out pictures and details",
    )
}
