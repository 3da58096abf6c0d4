//! The ledger: an SQLite file of what lies in the workshop, every change of it, and which pieces are cut.
//!
//! Every change is one transaction with an entry in the history that can be taken back. Everything in the ledger is a [`Record`]: a named
//! thing with its facts as JSON; the history keeps what each was before and after.

mod archive;
mod book;
mod labels;
mod open;
mod pages;
mod record;
mod stocktake;
mod write;

pub use archive::Imported;
pub use book::{Booked, PieceState};
pub use labels::labels;
pub use open::{Ledger, Trouble, default_file};
pub use pages::box_page;
pub use record::{Kept, PieceRecord, PlanRecord, Record, StockRow};
pub use stocktake::{Counts, Entry};
pub use write::{FreezerMove, Moment};
