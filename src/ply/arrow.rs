//! The 0° arrow drawn on a piece.

use crate::geometry::clip::line_in;
use crate::geometry::interior::roomiest_point;
use crate::geometry::{Motion, Point, Region, point};

/// The longest arrow, mm: longer ones are harder to draw, not easier to read.
const LONGEST: f64 = 120.0;

/// Share of the stretch of cloth in its direction that an arrow takes.
const SHARE: f64 = 0.8;

/// An arrow in `direction` (degrees) that lies inside the region, tail to head, on the grid; `None`
/// of a region without area.
///
/// It runs through where the region is roomiest, in the middle of the cloth before and behind. An
/// arrow of 2 mm or more keeps its direction to 0.05° in spite of the grid.
pub(super) fn arrow_in(region: &Region, direction: f64) -> Option<[Point; 2]> {
    let (roomiest, room) = roomiest_point(region)?;
    let along = Motion::turn(direction).apply(point(1.0, 0.0));
    let stretch = line_in(roomiest, along, region).into_iter().find(|s| s[0] <= 0.0 && s[1] >= 0.0);
    let [from, to] = stretch.unwrap_or([-room, room]);
    let middle = roomiest + along * ((from + to) / 2.0);
    let half = f64::min((to - from) / 2.0 * SHARE, LONGEST / 2.0);
    Some([(middle - along * half).snapped(), (middle + along * half).snapped()])
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::geometry::clip::contains;

    #[test]
    fn the_arrow_keeps_inside_and_to_its_direction() {
        let strip = Region::solid(vec![
            point(0.0, 0.0),
            point(400.0, 0.0),
            point(400.0, 12.0),
            point(0.0, 12.0),
        ]);
        for direction in [0.0, 30.0, -45.0, 90.0, 180.0, -135.5] {
            let [tail, head] = arrow_in(&strip, direction).unwrap();
            let off = ((head - tail).direction() - direction + 540.0).rem_euclid(360.0) - 180.0;
            assert!(
                off.abs() < 0.05 && contains(&strip, tail) && contains(&strip, head),
                "{direction} {tail:?} {head:?}"
            );
        }
        let [tail, head] = arrow_in(&strip, 0.0).unwrap();
        assert!((tail.distance(head) - LONGEST).abs() < 0.01);
    }
}
