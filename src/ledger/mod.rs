//! The ledger: an SQLite file of what lies in the workshop, every change of it, and which pieces
//! are cut.
//!
//! Every change, a booking too, is one transaction (`write.rs`, `Ledger::change`) with an entry in
//! the history that can be taken back; it is on the disk when it returns (`open.rs`: `synchronous`). Everything
//! in the ledger is a [`Record`]: a named thing with its facts as JSON; the history keeps what each
//! was before and after. Records, entries and states carry hashes, the last three good states lie
//! beside the file, and nothing is changed while anything in it is not as it was written.

mod archive;
mod backup;
mod book;
mod clock;
mod files;
mod labels;
mod marks;
mod moment;
mod open;
mod pages;
mod record;
mod rows;
mod seal;
mod stocktake;
mod tick;
mod trouble;
mod write;

pub use archive::Imported;
pub use backup::Restored;
pub use book::Booked;
pub use labels::labels;
pub use marks::{MarkedPlace, OpenRoll};
pub use moment::Moment;
pub use open::{Ledger, default_file};
pub use pages::box_page;
pub use record::{Kept, PieceRecord, PieceState, PlanRecord, Record, StockRow};
pub use stocktake::{Counts, Entry};
pub(crate) use tick::placed;
pub use tick::{PieceTick, TickTo};
pub use trouble::Trouble;
pub use write::{FreezerMove, Gone};
