//! Outlines of templates at true size, read from drawings and measured points.
//!
//! A reader turns a file into a [`Drawing`]: lines in mm, y up, each with the names of the layers or groups it lies in.
//! [`assemble`] makes [`Outline`]s of it. After that point an outline is valid by construction.

mod along;
mod arrow;
mod assemble;
mod chain;
mod csv;
mod drawing;
mod dxf;
mod flatten;
mod ledger;
mod model;
mod read;
mod rings;
mod roles;
mod svg;
mod validity;

pub use assemble::assemble;
pub use drawing::{Drawing, DrawnLine, NotUsed, Role};
pub use model::{Draft, EdgeKind, Outline};
pub use read::{ReadOptions, Reading, Unit, read_bytes, read_file};
