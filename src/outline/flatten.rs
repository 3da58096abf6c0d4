//! Curves to chains of straight segments.
//!
//! Every function takes the largest distance a curve may lie from its chords, in the unit of the
//! points, and keeps to it; points lie on the curve, so a flattened disc is a little small, never
//! too big. Both ends are included.

use crate::geometry::{Point, sin_cos_degrees};

/// Most segments that one curve is cut into: far beyond any tolerance that makes sense on cloth,
/// and a bound on memory.
const MOST_SEGMENTS: f64 = 16_384.0;

/// Halvings of one Bézier curve: 2^14 segments.
const MOST_HALVINGS: u32 = 14;

/// A finer tolerance than this (a tenth of the 1 µm grid, in mm) would only cost points.
const FINEST_TOLERANCE: f64 = 1e-4;

/// The curve `centre + u cos t + v sin t`, `t` from `from_deg` over `sweep_deg`: an arc of an
/// ellipse with the conjugate half-diameters `u` and `v`, which need be neither equal nor square to
/// each other (any affine image of a circle is such a curve).
///
/// Steps in `t` are equal. A chord over the step `h` leaves a unit circle by `1 - cos(h/2)`, and an
/// affine map lengthens no distance by more than its larger singular value, the longer half-axis.
pub(super) fn ellipse_arc(
    centre: Point,
    u: Point,
    v: Point,
    from_deg: f64,
    sweep_deg: f64,
    tolerance: f64,
) -> Vec<Point> {
    let steps = ellipse_steps(longer_half_axis(u, v), sweep_deg, tolerance);
    (0..=steps)
        .map(|i| {
            let (sin, cos) =
                sin_cos_degrees(from_deg + sweep_deg * (f64::from(i) / f64::from(steps)));
            centre + u * cos + v * sin
        })
        .collect()
}

/// A cubic Bézier curve.
///
/// Halved until flat. The distance to a chord is a convex function, so along the curve it is at
/// most the control points' distances weighted by their Bernstein terms: at most 3/4 of the larger
/// one.
pub(super) fn cubic(p0: Point, p1: Point, p2: Point, p3: Point, tolerance: f64) -> Vec<Point> {
    let mut out = vec![p0];
    if [p0, p1, p2, p3].iter().all(|p| p.x.is_finite() && p.y.is_finite()) {
        halve([p0, p1, p2, p3], tolerance.max(FINEST_TOLERANCE), MOST_HALVINGS, &mut out);
    } else {
        out.extend([p1, p2, p3]);
    }
    out
}

/// A quadratic Bézier curve, as the cubic that is the same curve.
pub(super) fn quadratic(p0: Point, p1: Point, p2: Point, tolerance: f64) -> Vec<Point> {
    cubic(p0, p0 + (p1 - p0) * (2.0 / 3.0), p2 + (p1 - p2) * (2.0 / 3.0), p2, tolerance)
}

fn halve(c: [Point; 4], tolerance: f64, left: u32, out: &mut Vec<Point>) {
    let [p0, p1, p2, p3] = c;
    let far = p1.distance_to_segment(p0, p3).max(p2.distance_to_segment(p0, p3));
    if left == 0 || 0.75 * far <= tolerance {
        out.push(p3);
        return;
    }
    let mid = |a: Point, b: Point| (a + b) * 0.5;
    let (a, b, c) = (mid(p0, p1), mid(p1, p2), mid(p2, p3));
    let (ab, bc) = (mid(a, b), mid(b, c));
    let m = mid(ab, bc);
    halve([p0, a, ab, m], tolerance, left - 1, out);
    halve([m, bc, c, p3], tolerance, left - 1, out);
}

fn ellipse_steps(half_axis: f64, sweep_deg: f64, tolerance: f64) -> u16 {
    // At most an eighth turn a step, so that even a tiny circle stays an octagon with area.
    let widest = std::f64::consts::FRAC_PI_4;
    let step = 2.0 * libm::acos(1.0 - (tolerance.max(FINEST_TOLERANCE) / half_axis).min(1.0));
    let steps = (sweep_deg.abs().to_radians() / step.min(widest)).ceil();
    if steps.is_finite() { steps.clamp(1.0, MOST_SEGMENTS) as u16 } else { 1 }
}

/// The larger singular value of the matrix with the columns `u` and `v`.
fn longer_half_axis(u: Point, v: Point) -> f64 {
    let (sum, difference) = (u.dot(u) + v.dot(v), u.dot(u) - v.dot(v));
    ((sum + libm::hypot(difference, 2.0 * u.dot(v))) / 2.0).sqrt()
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::geometry::point;
    use crate::geometry::ring_area;

    /// A circle's arc is an ellipse's with equal half-axes.
    fn arc(
        centre: Point,
        radius: f64,
        from_deg: f64,
        sweep_deg: f64,
        tolerance: f64,
    ) -> Vec<Point> {
        ellipse_arc(centre, point(radius, 0.0), point(0.0, radius), from_deg, sweep_deg, tolerance)
    }

    #[test]
    fn an_arc_keeps_its_tolerance_and_its_ends() {
        for tolerance in [0.5, 0.02, 0.001] {
            let pts = arc(point(10.0, 20.0), 150.0, 90.0, 180.0, tolerance);
            assert_eq!(pts[0], point(10.0, 170.0));
            assert_eq!(*pts.last().unwrap(), point(10.0, -130.0));
            for w in pts.windows(2) {
                let sagitta = 150.0 - ((w[0] + w[1]) * 0.5).distance(point(10.0, 20.0));
                assert!(sagitta <= tolerance && sagitta >= 0.0);
            }
        }
    }

    #[test]
    fn a_clockwise_arc_runs_clockwise() {
        let pts = arc(point(0.0, 0.0), 10.0, 0.0, -90.0, 0.02);
        assert_eq!(*pts.last().unwrap(), point(0.0, -10.0));
        assert!(pts[1].y < 0.0);
    }

    #[test]
    fn a_disc_is_small_by_less_than_perimeter_times_tolerance() {
        let pts = arc(point(0.0, 0.0), 500.0, 0.0, 360.0, 0.02);
        let short = std::f64::consts::PI * 500.0 * 500.0 - ring_area(&pts);
        assert!(short > 0.0 && short < 0.02 * std::f64::consts::TAU * 500.0, "{short}");
    }

    #[test]
    fn a_sheared_circle_keeps_its_tolerance() {
        // The shear (x, y) -> (x + y, y): distances from the true curve measured on many points
        // between the chords' ends.
        let (u, v) = (point(100.0, 0.0), point(100.0, 100.0));
        let pts = ellipse_arc(point(0.0, 0.0), u, v, 0.0, 360.0, 0.05);
        let steps = pts.len() - 1;
        for i in 0..steps {
            for k in 1..10 {
                let t = (i as f64 + f64::from(k) / 10.0) * 360.0 / steps as f64;
                let (sin, cos) = sin_cos_degrees(t);
                assert!((u * cos + v * sin).distance_to_segment(pts[i], pts[i + 1]) <= 0.05);
            }
        }
    }

    #[test]
    fn a_cubic_keeps_its_tolerance() {
        let (a, b, c, d) =
            (point(0.0, 0.0), point(300.0, 500.0), point(-200.0, 400.0), point(100.0, 0.0));
        let pts = cubic(a, b, c, d, 0.02);
        assert_eq!((pts[0], *pts.last().unwrap()), (a, d));
        for i in 0..=2000 {
            let t = f64::from(i) / 2000.0;
            let s = 1.0 - t;
            let p =
                a * (s * s * s) + b * (3.0 * s * s * t) + c * (3.0 * s * t * t) + d * (t * t * t);
            let off =
                pts.windows(2).map(|w| p.distance_to_segment(w[0], w[1])).fold(f64::MAX, f64::min);
            assert!(off <= 0.02, "{off} at {t}");
        }
    }

    #[test]
    fn a_parabola_has_two_thirds_of_its_box() {
        // Archimedes, Quadrature of the Parabola: the segment has 4/3 of its triangle; here 4/3 *
        // 100 * 50 / 2.
        let pts = quadratic(point(0.0, 0.0), point(50.0, 100.0), point(100.0, 0.0), 0.001);
        assert!((ring_area(&pts).abs() - 4.0 / 3.0 * 100.0 * 50.0 / 2.0).abs() < 0.2);
    }

    #[test]
    fn nonsense_ends_soon_and_stays_visible() {
        assert!(arc(point(0.0, 0.0), 1e300, 0.0, 360.0, 1e-300).len() <= 16_385);
        assert!(arc(point(0.0, 0.0), 0.0, 0.0, 360.0, 0.02).len() < 20);
        assert!(
            arc(point(f64::NAN, 0.0), f64::INFINITY, 0.0, 360.0, 0.02).iter().any(|p| p.x.is_nan())
        );
        let pts =
            cubic(point(0.0, 0.0), point(f64::NAN, 0.0), point(0.0, 0.0), point(1.0, 0.0), 0.02);
        assert!(pts.iter().any(|p| p.x.is_nan()));
        assert!(
            cubic(point(0.0, 0.0), point(1e200, 1e200), point(-1e200, 0.0), point(1.0, 0.0), 0.02)
                .len()
                <= 16_385
        );
    }
}
