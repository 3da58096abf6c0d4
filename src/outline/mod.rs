//! Outlines of templates at true size, read from drawings and measured points.
//!
//! A reader turns a file into a [`Drawing`]: lines in mm, y up, each with the names of the layers
//! or groups it lies in. [`assemble()`] makes [`Outline`]s of it. After that point an outline is
//! valid by construction. A polygon of `geo-types`, in mm, becomes one by
//! `Outline::new(Draft::from(&polygon))`.
//!
//! # What names mean
//!
//! The name of a group, layer, block or element ends in the role of its lines, whatever comes
//! before (`seat-arrow`, `Arrow 2`):
//!
//! | name | its lines are |
//! |---|---|
//! | `arrow`, `zero`, `0°` | the part's 0° direction: one arrow an outline, from tail to head |
//! | `cut`, `relief`, `notch` | relief cuts and notches |
//! | `mark`, `text`, `note` | only carried along |
//! | `trim`, `lap`, `butt`, `dart` | edges of that [`EdgeKind`]: drawn along the net line, or the net line itself, piece by piece |
//! | `no-splice` | closed zones that no splice may enter |
//! | `hole`, `cut-out` | holes |
//! | `net`, `outline`, and every other name | net lines, or holes if they lie inside one |
//!
//! Every line is accounted for ([`Reading::account`]); one that is in no outline is never dropped
//! in silence. A line that ends within 2 mm of where it begins is closed there, with a warning; one
//! that nearly closes otherwise is refused.
//!
//! Of several names the innermost that means something wins. An outline takes the lines that lie in
//! it or along it, and is named after its innermost group or layer that is no role.

mod account;
mod assemble;
mod budget;
mod csv;
mod drawing;
mod dxf;
mod edge_kind;
mod flatten;
mod geo_border;
mod model;
mod options;
mod read;
mod reading;
mod roles;
mod svg;
mod validity;

pub use account::{Account, AccountRow, Taken, account_rows, merged};
pub use assemble::{assemble, assemble_in};
pub use drawing::{Drawing, DrawnLine, NotUsed, Role};
pub use edge_kind::EdgeKind;
pub use model::{Draft, Outline};
pub use options::{ReadOptions, Unit};
pub use read::{LARGEST_FILE, read_bytes, read_bytes_in, read_file, read_file_in};
pub use reading::{MaybeArrow, Reading};
