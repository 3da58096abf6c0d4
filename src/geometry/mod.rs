//! Plane geometry on plain rings of points, in mm.
//!
//! A [`Ring`] is closed without repeating its first point. Anticlockwise rings have positive area.
//!
//! A polygon of `geo-types` becomes a [`Region`] by `Region::try_from(&polygon)`, and a region a
//! polygon by `Polygon::from(&region)`; both in mm.

pub mod boolean;
mod cells;
pub mod clearance;
pub mod clip;
mod geo_border;
pub(crate) mod homography;
mod inscribed;
pub mod interior;
mod intersect;
pub mod offset;
mod point;
mod reach;
mod region;
mod transform;

pub use cells::Cells;
pub(crate) use geo_border::{polygon_of, ring_of};
pub use inscribed::largest_rectangle;
pub(crate) use intersect::{Chain, Meeting, meetings, meetings_unless};
pub use point::{Point, point};
pub(crate) use reach::within_reach;
pub use region::{Bounds, Path, Region, Ring, path_length, ring_area, ring_bounds, ring_contains};
pub use transform::Motion;
pub(crate) use transform::sin_cos_degrees;
