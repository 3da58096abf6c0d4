//! Slow and exact: rings of whole micrometres by integer arithmetic alone.

use warpwise::geometry::{Point, Ring};

/// A corner, µm.
pub type Corner = (i64, i64);

pub fn corner(p: Point) -> Corner {
    ((p.x * 1000.0).round() as i64, (p.y * 1000.0).round() as i64)
}

pub fn corners(ring: &Ring) -> Vec<Corner> {
    ring.iter().map(|&p| corner(p)).collect()
}

pub fn edges(ring: &[Corner]) -> impl Iterator<Item = (Corner, Corner)> + '_ {
    (0..ring.len()).map(|i| (ring[i], ring[(i + 1) % ring.len()]))
}

/// Twice the area to the left of a to b as seen from p, µm².
fn turn(a: Corner, b: Corner, p: Corner) -> i128 {
    let d = |u: i64, v: i64| i128::from(u) - i128::from(v);
    d(b.0, a.0) * d(p.1, a.1) - d(b.1, a.1) * d(p.0, a.0)
}

/// How often a ring runs round a point that is not on it.
pub fn winding(ring: &[Corner], p: Corner) -> i32 {
    edges(ring)
        .map(|(a, b)| {
            let up = a.1 <= p.1 && p.1 < b.1;
            let down = b.1 <= p.1 && p.1 < a.1;
            match turn(a, b, p) {
                t if up && t > 0 => 1,
                t if down && t < 0 => -1,
                _ => 0,
            }
        })
        .sum()
}

/// Distance to the nearest edge, µm.
pub fn distance(ring: &[Corner], p: Corner) -> f64 {
    edges(ring)
        .map(|(a, b)| {
            let (ux, uy) = ((b.0 - a.0) as f64, (b.1 - a.1) as f64);
            let (px, py) = ((p.0 - a.0) as f64, (p.1 - a.1) as f64);
            let t = ((px * ux + py * uy) / (ux * ux + uy * uy).max(1.0)).clamp(0.0, 1.0);
            (px - ux * t).hypot(py - uy * t)
        })
        .fold(f64::INFINITY, f64::min)
}

/// True if the interiors of two edges cross in one point.
pub fn cross(a: (Corner, Corner), b: (Corner, Corner)) -> bool {
    let side = |e: (Corner, Corner), p| turn(e.0, e.1, p).signum();
    side(a, b.0) * side(a, b.1) < 0 && side(b, a.0) * side(b, a.1) < 0
}

/// True if any two edges of the rings cross.
pub fn crosses_itself(rings: &[Vec<Corner>]) -> bool {
    let all: Vec<_> = rings.iter().flat_map(|r| edges(r)).collect();
    (0..all.len()).any(|i| (i + 1..all.len()).any(|j| cross(all[i], all[j])))
}
