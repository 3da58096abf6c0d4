//! Polygons of `geo-types` on their way to an outline and back; mm, y up, the drawing's frame.

use super::{Draft, Outline};
use crate::geometry::{polygon_of, ring_of};
use geo_types::Polygon;

/// The exterior becomes the net line, the interiors become the holes; mm, y up. Nothing is checked
/// yet, and nothing is on the grid: that is the work of [`Outline::new`], with a name or an arrow
/// put in first: `Outline::new(Draft { name, ..Draft::from(&polygon) })`.
impl From<&Polygon<f64>> for Draft {
    fn from(polygon: &Polygon<f64>) -> Self {
        Draft {
            net: ring_of(polygon.exterior()),
            holes: polygon.interiors().iter().map(ring_of).collect(),
            ..Draft::default()
        }
    }
}

/// The net line becomes the exterior (anticlockwise), the holes become the interiors (clockwise);
/// mm, y up. Name, kinds of edges, cuts, marks, arrow and zones have no place in a polygon.
impl From<&Outline> for Polygon<f64> {
    fn from(outline: &Outline) -> Self {
        polygon_of(outline.net(), outline.holes())
    }
}
