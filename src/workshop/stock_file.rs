//! The file that a job's stock is in: a ledger, or an export of one.

use crate::fault::{Fault, Faults, Said};
use crate::ledger::{Ledger, Moment, Trouble};
use crate::stock::Snapshot;
use std::path::Path;

/// The stock in a ledger, or in an export of one.
///
/// # Errors
/// It cannot be read, or what is wrong with it.
pub fn read_stock(file: &Path, now: &Moment) -> Result<Snapshot, Faults> {
    let fault = |what: Said| {
        Faults::from(
            Fault::new(what, "name a ledger or an export of one, or take `stock` out of the job")
                .in_file(file),
        )
    };
    let about =
        std::fs::metadata(file).map_err(|e| fault(said!("the stock cannot be read: {e}")))?;
    if !about.is_file() {
        return Err(fault("this is not an ordinary file".into()));
    }
    let mut head = [0; 16];
    let is_ledger = std::fs::File::open(file)
        .and_then(|mut f| std::io::Read::read_exact(&mut f, &mut head))
        .is_ok()
        && head.starts_with(b"SQLite format 3\0");
    if is_ledger {
        return Ledger::read(file).and_then(|ledger| ledger.snapshot(now)).map_err(faults_of);
    }
    if about.len() > crate::stock::LARGEST_FILE {
        return Err(fault(said!("the file has more than {} MB", crate::stock::LARGEST_FILE >> 20)));
    }
    let text = std::fs::read_to_string(file)
        .map_err(|e| fault(said!("this is neither a ledger nor text in UTF-8: {e}")))?;
    Snapshot::from_json(&text, now.day).map_err(|faults| faults.in_file(file))
}

/// What is wrong, whoever is at fault.
pub fn faults_of(trouble: Trouble) -> Faults {
    match trouble {
        Trouble::Input(faults) | Trouble::Machine(faults) | Trouble::Damaged(faults) => faults,
    }
}
