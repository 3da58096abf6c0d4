//! The terminal: how wide it is, and lines beside the results.

use std::io::Write;
use warpwise::units::printable;

/// Width of a terminal that everything fits.
pub const COLUMNS: usize = 80;

/// A line on standard error; if nobody takes it, the work goes on.
pub fn say(line: &str) {
    let _ = writeln!(std::io::stderr(), "{}", printable(line));
}
