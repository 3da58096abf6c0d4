//! A point well inside a region: where there is most room for a label or an arrow.

use super::clip::{contains, line_in};
use super::point::{Point, point};
use super::region::Region;

/// Lines across the region each way in the first look.
const LINES: usize = 14;

/// Cells along each side of the finer looks around the best place so far, and how many looks.
const CELLS: usize = 6;
const LOOKS: usize = 3;

/// A point of the region that is about as far from its boundary as any, with that distance in mm;
/// `None` of a region without area.
///
/// Method: the middles of what lies in the region of lines across it each way, then grids of cells
/// around the best.
pub fn roomiest_point(region: &Region) -> Option<(Point, f64)> {
    let bounds = region.bounds()?;
    let mut best: Option<(Point, f64)> = None;
    let mut look_at = |p: Point| {
        if let Some(square) = room_beyond(region, p, best.map_or(0.0, |b| b.1)) {
            best = Some((p, square));
        }
        best.map(|b| b.0)
    };
    let mut centre = None;
    for k in 0..LINES {
        let share = (k as f64 + 0.5) / LINES as f64;
        let on_line =
            point(bounds.min.x + share * bounds.width(), bounds.min.y + share * bounds.height());
        for along in [point(1.0, 0.0), point(0.0, 1.0)] {
            for [from, to] in line_in(on_line, along, region) {
                centre = look_at(on_line + along * ((from + to) / 2.0));
            }
        }
    }
    let (mut width, mut height) =
        (2.0 * bounds.width() / LINES as f64, 2.0 * bounds.height() / LINES as f64);
    for _ in 0..LOOKS {
        let Some(middle) = centre else { break };
        let (dx, dy) = (width / CELLS as f64, height / CELLS as f64);
        for i in 0..CELLS {
            for j in 0..CELLS {
                let cell = point(
                    (i as f64 + 0.5) * dx - width / 2.0,
                    (j as f64 + 0.5) * dy - height / 2.0,
                );
                centre = look_at(middle + cell);
            }
        }
        (width, height) = (2.0 * dx, 2.0 * dy);
    }
    best.map(|(p, square)| (p, square.sqrt()))
}

/// The square of the distance to the boundary, if `p` lies inside and the square is larger than
/// `least`.
fn room_beyond(region: &Region, p: Point, least: f64) -> Option<f64> {
    let mut nearest = f64::INFINITY;
    for ring in region.rings() {
        let mut a = *ring.last()?;
        for &b in ring {
            let (ab, ap) = (b - a, p - a);
            let length2 = ab.dot(ab);
            let t = if length2 > 0.0 { (ap.dot(ab) / length2).clamp(0.0, 1.0) } else { 0.0 };
            let off = ap - ab * t;
            nearest = nearest.min(off.dot(off));
            if nearest <= least {
                return None;
            }
            a = b;
        }
    }
    contains(region, p).then_some(nearest)
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    #[test]
    fn the_middle_of_a_rectangle_has_half_its_height_around_it() {
        let region = Region::solid(vec![
            point(0.0, 0.0),
            point(200.0, 0.0),
            point(200.0, 40.0),
            point(0.0, 40.0),
        ]);
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
