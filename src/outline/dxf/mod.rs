//! Reader of DXF files, R12 to the present, text and binary.
//!
//! What counts: every entity written in the file, once, whether it stands in the drawing itself or
//! in the definition of a block. The vertices of a polyline and the attributes of an insert belong
//! to it and do not count. An entity in a block is used if at least one insertion of the block
//! draws it; an `INSERT` is used if it draws anything at all; what lies in a block that nothing
//! inserts is not used. So `used + not_used.len() == present` holds however often blocks are
//! inserted, and `present` is counted from the file by the first pass ([`scan`]), not by the
//! parser.
//!
//! The flow: [`tags`] → [`scan`] and its [`clean`] copy → the `dxf` crate → [`blocks`], which asks
//! [`entities`] for each line and [`layers`] for its role.
//!
//! Only what lies flat in a plane parallel to the drawing's is drawn, at any height.

mod blocks;
mod clean;
mod entities;
mod frame;
mod header;
mod layers;
mod refusal;
mod scan;
mod spline;
mod tags;
#[cfg(test)]
mod tests;

use super::budget::Budget;
use super::{Drawing, ReadOptions};
use crate::fault::{Fault, Faults};

/// Reads a DXF file into lines in mm.
///
/// Memory is bounded by the size of the file and the limits in [`scan`], [`refusal`] and
/// [`blocks`].
///
/// # Errors
/// Everything found wrong with it, at most one fault for each entity.
pub(super) fn read(
    bytes: &[u8],
    options: &ReadOptions,
    budget: &Budget<'_>,
) -> Result<Drawing, Faults> {
    let mut faults = Faults::new();
    let drawing = drawing(bytes, options, budget, &mut faults).unwrap_or_else(|fault| {
        faults.push(fault);
        Drawing::default()
    });
    faults.into_result(drawing)
}

fn drawing(
    bytes: &[u8],
    options: &ReadOptions,
    budget: &Budget<'_>,
    faults: &mut Faults,
) -> Result<Drawing, Fault> {
    let scan = scan::scan(bytes, faults)?;
    if scan.records.is_empty() {
        return Err(Fault::new(
            "the drawing holds no entities",
            "draw the outlines in it, or name another file",
        ));
    }
    let millimetres = scan.header.millimetres_per_unit(options).unwrap_or_else(|fault| {
        faults.push(fault);
        1.0
    });
    budget.holds()?;
    let parsed = dxf::Drawing::load(&mut scan.clean.as_bytes()).map_err(|error| {
        Fault::new(
            said!("the drawing cannot be read: {error}"),
            "save it again, best as DXF of the 2000 release",
        )
    })?;
    let mut by_record = vec![None; scan.records.len()];
    for entity in parsed.entities() {
        let record = usize::try_from(entity.common.handle.0)
            .ok()
            .and_then(|number| by_record.get_mut(number.checked_sub(1)?));
        if let Some(slot) = record {
            *slot = Some(&entity.specific);
        }
    }
    let shown = scan.records.iter().filter(|record| !record.paper && record.kind != "INSERT");
    let pattern = layers::are_of_pattern_standard(shown.map(|record| record.layer.as_str()));
    let (drawing, wrong) =
        blocks::Walk::new(&scan, &by_record, options, pattern, budget).run(millimetres);
    faults.extend(wrong);
    Ok(drawing)
}
