//! Open lines cut to what of them lies in a region, and the stretches of a straight line inside a
//! region.

use super::point::Point;
use super::region::{Path, Region, ring_contains};

/// What of an open line lies in the region, as open lines in the order of the run, snapped to the
/// grid. Stretches along the boundary may fall either way.
pub fn path_in(path: &[Point], region: &Region) -> Vec<Path> {
    let mut out: Vec<Path> = Vec::new();
    let mut open = false;
    for pair in path.windows(2) {
        let (a, b) = (pair[0], pair[1]);
        let mut at: Vec<f64> =
            crossings(a, b - a, region).into_iter().filter(|t| *t > 0.0 && *t < 1.0).collect();
        at.push(1.0);
        let mut from = 0.0;
        for to in at {
            let middle = a + (b - a) * ((from + to) / 2.0);
            if contains(region, middle) {
                let (p, q) = ((a + (b - a) * from).snapped(), (a + (b - a) * to).snapped());
                match out.last_mut() {
                    Some(last) if open => last.push(q),
                    _ => out.push(vec![p, q]),
                }
                open = true;
            } else {
                open = false;
            }
            from = to;
        }
    }
    for line in &mut out {
        line.dedup();
    }
    out.retain(|line| line.len() >= 2);
    out
}

/// The stretches of the line `at + t * along` inside the region, as pairs of `t`, rising.
pub fn line_in(at: Point, along: Point, region: &Region) -> Vec<[f64; 2]> {
    let mut out: Vec<[f64; 2]> = Vec::new();
    for pair in crossings(at, along, region).windows(2) {
        if pair[1] - pair[0] > 1e-9 && contains(region, at + along * ((pair[0] + pair[1]) / 2.0)) {
            match out.last_mut() {
                Some(last) if last[1] == pair[0] => last[1] = pair[1],
                _ => out.push([pair[0], pair[1]]),
            }
        }
    }
    out
}

/// True if `p` lies in the region; on its boundary either answer may come.
pub fn contains(region: &Region, p: Point) -> bool {
    ring_contains(&region.outline, p) && !region.holes.iter().any(|h| ring_contains(h, p))
}

/// Where the line `at + t * along` meets the region's boundary, rising; edges along the line give
/// their ends.
fn crossings(at: Point, along: Point, region: &Region) -> Vec<f64> {
    let mut out = Vec::new();
    let square = along.dot(along);
    if square <= 0.0 {
        return out;
    }
    for ring in region.rings() {
        for (i, &a) in ring.iter().enumerate() {
            let b = ring[(i + 1) % ring.len()];
            let (sa, sb) = (along.cross(a - at), along.cross(b - at));
            if sa == 0.0 {
                out.push((a - at).dot(along) / square);
            }
            if (sa < 0.0 && sb > 0.0) || (sa > 0.0 && sb < 0.0) {
                let p = a + (b - a) * (sa / (sa - sb));
                out.push((p - at).dot(along) / square);
            }
        }
    }
    out.sort_by(f64::total_cmp);
    out.dedup();
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geometry::point;

    fn frame() -> Region {
        Region {
            outline: vec![point(0.0, 0.0), point(10.0, 0.0), point(10.0, 10.0), point(0.0, 10.0)],
            holes: vec![vec![point(4.0, 4.0), point(4.0, 6.0), point(6.0, 6.0), point(6.0, 4.0)]],
        }
    }

    #[test]
    fn a_line_through_a_hole_falls_in_two() {
        let lines = path_in(&[point(-5.0, 5.0), point(2.0, 5.0), point(20.0, 5.0)], &frame());
        assert_eq!(
            lines,
            vec![
                vec![point(0.0, 5.0), point(2.0, 5.0), point(4.0, 5.0)],
                vec![point(6.0, 5.0), point(10.0, 5.0)]
            ]
        );
    }

    #[test]
    fn a_line_through_corners_is_one_stretch() {
        let along = line_in(point(0.0, 8.0), point(1.0, -1.0), &frame());
        assert_eq!(along.len(), 1, "touches a corner of the hole: {along:?}");
        assert_eq!(
            line_in(point(0.0, 5.0), point(1.0, 0.0), &frame()),
            vec![[0.0, 4.0], [6.0, 10.0]]
        );
    }
}
