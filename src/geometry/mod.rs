//! Plane geometry on plain rings of points, in mm.
//!
//! A [`Ring`] is closed without repeating its first point. Anticlockwise rings have positive area.

mod intersect;
mod point;
mod region;
mod transform;

pub(crate) use intersect::{Chain, Meeting, TooTangled, meetings};
pub use point::{Point, point};
pub use region::{Bounds, Path, Region, Ring, path_length, ring_area, ring_bounds, ring_contains};
pub use transform::Motion;
pub(crate) use transform::sin_cos_degrees;
