//! Plane geometry on plain rings of points, in mm.
//!
//! A [`Ring`] is closed without repeating its first point. Anticlockwise rings have positive area.

pub mod boolean;
mod cells;
pub mod clearance;
pub mod clip;
pub(crate) mod homography;
mod inscribed;
pub mod interior;
mod intersect;
pub mod offset;
mod point;
mod region;
mod transform;

pub use cells::Cells;
pub use inscribed::largest_rectangle;
pub(crate) use intersect::{Chain, Meeting, meetings, meetings_unless};
pub use point::{Point, point};
pub use region::{Bounds, Path, Region, Ring, path_length, ring_area, ring_bounds, ring_contains};
pub use transform::Motion;
pub(crate) use transform::sin_cos_degrees;
