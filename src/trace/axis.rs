//! The line through points.

use crate::geometry::{Point, point};

/// Mean of the points and direction (radians) of the line that lies nearest to all of them, by
/// least squares across it.
pub(super) fn axis(points: &[Point]) -> (Point, f64) {
    let mean =
        points.iter().fold(point(0.0, 0.0), |a, &p| a + p) * (1.0 / points.len().max(1) as f64);
    let (mut xx, mut xy, mut yy) = (0.0, 0.0, 0.0);
    for p in points {
        let d = *p - mean;
        xx += d.x * d.x;
        xy += d.x * d.y;
        yy += d.y * d.y;
    }
    (mean, 0.5 * libm::atan2(2.0 * xy, xx - yy))
}
