//! From a photo of a taped template to its outline at true size.
//!
//! photo → marks → cards → one fit of camera, lens and cards → the plane seen from above → light
//! and levels → patches → rings, lines → [`Template`] → a drawing that [`crate::outline`] reads,
//! and a check picture.
//!
//! Lengths are mm, y up. Nothing is guessed in silence: what is doubtful comes back as a warning,
//! what is wrong as a fault.

mod answers;
mod arrow;
mod axis;
mod belief;
mod bump;
mod camera;
pub mod card;
mod cards;
mod colour;
mod corners;
mod doubt;
mod figures;
mod find;
mod flat;
mod from_above;
mod gap;
mod grey;
mod ink;
mod inside;
mod look;
mod marks;
mod mask;
mod middle_line;
pub mod net;
mod networks;
mod on_bench;
mod options;
mod part;
mod photo;
mod picture;
mod plain;
mod plane;
mod ring;
mod solve;
mod stations;
mod template;
mod tracing;

pub use answers::{Answer, Kind, Letter};
pub use arrow::LEAST_ARROW;
pub use corners::{Between, Corner, EdgeRequest, MeasuredLength, named_corners};
pub use doubt::{Cause, Doubt};
pub use figures::Figures;
pub use from_above::{FromAbove, Scale};
pub use gap::Gap;
pub use ink::LEAST_CUT;
#[cfg(test)]
pub(crate) use on_bench::bench_view_of;
pub(crate) use on_bench::{BenchView, bench_view};
pub use options::{KnownRectangle, NetLine, Options};
pub use photo::{MOST_BYTES, MOST_PIXELS, read_photo};
pub use picture::{check_picture, plane_picture};
pub(crate) use ring::{simplified, simplified_line};
pub use stations::{is_station_table, read_stations};
pub use template::{Template, drawing};
pub use tracing::{Tracing, trace, trace_in, trace_seen};
