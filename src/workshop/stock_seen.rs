//! The stock as it was last read: a page of thousands of offcuts is asked for in parts, and each
//! needs all of them.

use super::folder::about;
use super::stock_file::read_stock;
use crate::fault::Faults;
use crate::ledger::Moment;
use crate::stock::Snapshot;
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, PoisonError};
use std::time::{Duration, SystemTime};

/// Hours out of the freezer are counted up to within this, s.
const HOURS_WITHIN: i64 = 600;

/// A file written so short a time ago may be written again without its time telling, s.
const TOO_NEW: u64 = 3;

struct Seen {
    file: PathBuf,
    stamp: (SystemTime, u64),
    at: i64,
    stock: Arc<Snapshot>,
}

/// The stock as it was last read from a ledger. Whoever holds it reads through it.
#[derive(Default)]
pub struct StockSeen(Mutex<Option<Seen>>);

impl std::fmt::Debug for StockSeen {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str("StockSeen")
    }
}

impl StockSeen {
    /// The stock in a ledger, read anew only if the file has changed or time has passed. Whoever asks
    /// while it is being read waits for that.
    ///
    /// # Errors
    /// As [`read_stock`].
    pub fn read(&self, file: &Path, now: &Moment) -> Result<Arc<Snapshot>, Faults> {
        let stamp = about(file);
        // Jobs name it by ways of their own.
        let whole = file.canonicalize().unwrap_or_else(|_| file.to_path_buf());
        let mut last = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        if let (Some(seen), Some(stamp)) = (&*last, stamp)
            && seen.file == whole
            && seen.stamp == stamp
            && seen.stock.day == now.day
            && (seen.at..seen.at + HOURS_WITHIN).contains(&now.seconds)
        {
            return Ok(Arc::clone(&seen.stock));
        }
        let stock = Arc::new(read_stock(file, now)?);
        let seconds = u64::try_from(now.seconds).unwrap_or(0);
        let old = |(at, _): &(SystemTime, u64)| {
            *at + Duration::from_secs(TOO_NEW)
                < SystemTime::UNIX_EPOCH + Duration::from_secs(seconds)
        };
        *last = stamp.filter(old).map(|stamp| Seen {
            file: whole,
            stamp,
            at: now.seconds,
            stock: Arc::clone(&stock),
        });
        Ok(stock)
    }
}
