//! What lies in the workshop, as planning reads it: rolls, offcuts and dated consumables at one
//! day. Pure data; the ledger fills it.

mod age;
mod item;
mod label;
mod name;
mod snapshot;

pub use crate::day::Day;
pub use age::{Age, SHORT_OUT_LIFE, SOON, cautions_of_jobs};
pub use item::{Offcut, OffcutFacts, Roll, RollFacts};
pub use label::{label_text, read_label};
pub use snapshot::{Consumable, ConsumableKind, FILE_SCHEMA, LARGEST_FILE, Snapshot, SnapshotFile};

pub(crate) use age::MOST_HOURS;
pub(crate) use item::can_be_flaw;
pub(crate) use name::name_fault;
