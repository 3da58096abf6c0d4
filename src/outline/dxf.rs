//! Reader of DXF files.

use super::{Drawing, ReadOptions};
use crate::fault::{Fault, Faults};

/// Reads a DXF file.
pub(super) fn read(bytes: &[u8], options: &ReadOptions) -> Result<Drawing, Faults> {
    let _ = (bytes, options);
    Err(Fault::new("DXF is not read yet", "save the drawing as SVG").into())
}
