//! Polygons of `geo-types` on their way in and out.
//!
//! `geo-types` knows no unit and repeats the first point of a ring as its last. Here its
//! coordinates are mm, in whatever frame the region lies in: nothing is turned, moved or mirrored.

use super::{Point, Region, Ring, point, within_reach};
use crate::fault::{Fault, Faults};
use crate::units::micrometres;
use geo_types::{LineString, Polygon};

/// The outline becomes the exterior (anticlockwise), the holes become the interiors (clockwise);
/// mm, same frame. No coordinate changes.
impl From<&Region> for Polygon<f64> {
    fn from(region: &Region) -> Self {
        polygon_of(&region.outline, &region.holes)
    }
}

/// The exterior becomes the outline, the interiors become the holes; mm, same frame. Every point is
/// put on the 1 µm grid, repeated ones are left out, and each ring is turned the way a region has
/// it, whichever way it came.
///
/// Whether rings cross themselves or each other is not looked at:
/// [`union`](crate::geometry::boolean::union) settles that, `Outline::new` refuses it.
///
/// # Errors
/// A fault for each ring with a coordinate that is no number or farther out than
/// [`crate::units::LARGEST`], and for each that encloses no area, as one of fewer than three
/// different points.
impl TryFrom<&Polygon<f64>> for Region {
    type Error = Faults;

    fn try_from(polygon: &Polygon<f64>) -> Result<Region, Faults> {
        let mut faults = Faults::new();
        let mut taken = |what: String, line: &LineString<f64>, is_hole: bool| {
            faults.keep(snapped(what, line, is_hole).map_err(Faults::from))
        };
        let outline = taken("the polygon".to_string(), polygon.exterior(), false);
        let lines = polygon.interiors().iter().enumerate();
        let hole = |(i, line)| taken(format!("hole {}", i + 1), line, true);
        let holes = lines.filter_map(hole).collect();
        faults.into_result(Region { outline: outline.unwrap_or_default(), holes })
    }
}

/// Rings as a polygon.
pub(crate) fn polygon_of(outline: &Ring, holes: &[Ring]) -> Polygon<f64> {
    let line = |ring: &Ring| LineString::from_iter(ring.iter().map(|p| (p.x, p.y)));
    Polygon::new(line(outline), holes.iter().map(line).collect())
}

/// The points of a closed line, the first not repeated.
pub(crate) fn ring_of(line: &LineString<f64>) -> Ring {
    let mut ring: Ring = line.coords().map(|c| point(c.x, c.y)).collect();
    if ring.len() > 1 && ring.first() == ring.last() {
        ring.pop();
    }
    ring
}

/// A closed line as a ring of a region.
fn snapped(what: String, line: &LineString<f64>, is_hole: bool) -> Result<Ring, Fault> {
    let mut ring = ring_of(line);
    within_reach(&what, &ring)?;
    ring.iter_mut().for_each(|p| *p = p.snapped());
    ring.dedup();
    if ring.len() > 1 && ring.first() == ring.last() {
        ring.pop();
    }
    let area = exact_area(&ring);
    if area == 0 {
        let fault =
            Fault::new("encloses no area", "draw it as a closed line around an area, or delete it");
        return Err(match ring.first() {
            Some(p) => fault.at(what, p.x, p.y),
            None => fault.on(what),
        });
    }
    // The first point stays the first.
    if (area > 0) == is_hole {
        ring[1..].reverse();
    }
    Ok(ring)
}

/// Twice the area of a ring on the grid, square micrometres: a thin ring far out keeps its sign.
fn exact_area(ring: &[Point]) -> i128 {
    let whole = |p: &Point| (i128::from(micrometres(p.x)), i128::from(micrometres(p.y)));
    let next = ring.iter().cycle().skip(1);
    let crossed = ring.iter().zip(next).map(|(a, b)| {
        let ((ax, ay), (bx, by)) = (whole(a), whole(b));
        ax * by - ay * bx
    });
    crossed.sum()
}
