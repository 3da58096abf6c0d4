//! A point well inside a region: where there is most room for a label or an arrow.

use super::clip::contains;
use super::point::{Point, point};
use super::region::Region;

/// Cells along each side of the first look, and of each finer look around the best place so far.
const COARSE: usize = 14;
const FINE: usize = 6;
const LOOKS: usize = 3;

/// A point of the region that is about as far from its boundary as any, with that distance in mm.
///
/// Method: the middles of a grid of cells over the bounding box, then of finer grids around the best; `None` if no cell's middle
/// lies inside at the third look, as in a sliver thinner than a thousandth of its length.
pub fn roomiest_point(region: &Region) -> Option<(Point, f64)> {
    let bounds = region.bounds()?;
    let (mut centre, mut width, mut height) = (bounds.centre(), bounds.width(), bounds.height());
    let mut best = (centre, signed_distance(region, centre));
    for look in 0..=LOOKS {
        let cells = if look == 0 { COARSE } else { FINE };
        let (dx, dy) = (width / cells as f64, height / cells as f64);
        let corner = centre - point(width / 2.0, height / 2.0);
        for i in 0..cells {
            for j in 0..cells {
                let p = corner + point((i as f64 + 0.5) * dx, (j as f64 + 0.5) * dy);
                let distance = signed_distance(region, p);
                if distance > best.1 {
                    best = (p, distance);
                }
            }
        }
        (centre, width, height) = (best.0, 2.0 * dx, 2.0 * dy);
    }
    (best.1 > 0.0).then_some(best)
}

/// Distance to the boundary, mm, negative outside.
fn signed_distance(region: &Region, p: Point) -> f64 {
    let mut nearest = f64::INFINITY;
    for ring in region.rings() {
        for (i, &a) in ring.iter().enumerate() {
            nearest = nearest.min(p.distance_to_segment(a, ring[(i + 1) % ring.len()]));
        }
    }
    if contains(region, p) { nearest } else { -nearest }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    #[test]
    fn the_middle_of_a_rectangle_has_half_its_height_around_it() {
        let region = Region::solid(vec![point(0.0, 0.0), point(200.0, 0.0), point(200.0, 40.0), point(0.0, 40.0)]);
        assert!(roomiest_point(&region).unwrap().1 > 19.5);
    }

    #[test]
    fn the_point_of_a_horseshoe_lies_in_the_shoe() {
        let region = Region::solid(vec![
            point(0.0, 0.0),
            point(100.0, 0.0),
            point(100.0, 100.0),
            point(90.0, 100.0),
            point(90.0, 10.0),
            point(10.0, 10.0),
            point(10.0, 100.0),
            point(0.0, 100.0),
        ]);
        let (p, room) = roomiest_point(&region).unwrap();
        assert!(contains(&region, p) && room > 4.5, "{p:?} {room}");
    }
}
