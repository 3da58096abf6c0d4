//! From a file to outlines: picks the reader, then assembles.

use super::budget::Budget;
use super::{ReadOptions, Reading, assemble_in, csv, dxf, svg};
use crate::fault::{Fault, Faults};
use crate::run::{Phase, Run};
use std::io::Read;
use std::path::Path;

/// Largest drawing that is read, bytes: one of every ply of a boat has a few million.
pub const LARGEST_FILE: u64 = 32 << 20;

/// Most faults told of one file.
const MOST_FAULTS: usize = 100;

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
