//! How a camera sees the plane that cards and templates lie in.
//!
//! A point of the plane goes through a homography to ideal coordinates, measured from the middle of
//! the photo in half diagonals, and from there outwards or inwards by `1 + k1 r²` (the first term
//! of the usual radial model). Pixels count from the centre of the upper left one, y down; the
//! plane is in mm, y up.

use crate::geometry::{Point, point};
use nalgebra::Matrix3;

/// One photo's view of the plane.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct View {
    /// Plane, mm → ideal coordinates.
    h: Matrix3<f64>,
    inverse: Matrix3<f64>,
    k1: f64,
    centre: Point,
    unit: f64,
}

impl View {
    /// A view of a photo of so many pixels; `None` if the homography is singular.
    pub fn new(width: u32, height: u32, h: Matrix3<f64>, k1: f64) -> Option<View> {
        let (w, t) = (f64::from(width), f64::from(height));
        let inverse = h.try_inverse()?;
        let centre = point((w - 1.0) / 2.0, (t - 1.0) / 2.0);
        let good = h.iter().chain(inverse.iter()).all(|v| v.is_finite()) && k1.is_finite();
        good.then(|| View { h, inverse, k1, centre, unit: libm::hypot(w, t) / 2.0 })
    }

    /// Pixels → distorted coordinates.
    pub fn normalised(width: u32, height: u32, pixel: Point) -> Point {
        let (w, t) = (f64::from(width), f64::from(height));
        (pixel - point((w - 1.0) / 2.0, (t - 1.0) / 2.0)) * (2.0 / libm::hypot(w, t))
    }

    /// Strength of the radial distortion at the corner of the photo.
    pub fn k1(&self) -> f64 {
        self.k1
    }

    fn distorted(&self, ideal: Point) -> Point {
        self.centre + ideal * (self.unit * (1.0 + self.k1 * ideal.dot(ideal)))
    }

    /// The pixel of a point of the plane; `None` behind the camera.
    pub fn pixel(&self, p: Point) -> Option<Point> {
        let h = &self.h;
        let w = h[(2, 0)] * p.x + h[(2, 1)] * p.y + h[(2, 2)];
        if w <= 1e-9 {
            return None;
        }
        let ideal = point(
            (h[(0, 0)] * p.x + h[(0, 1)] * p.y + h[(0, 2)]) / w,
            (h[(1, 0)] * p.x + h[(1, 1)] * p.y + h[(1, 2)]) / w,
        );
        Some(self.distorted(ideal))
    }

    /// The pixel at the middle of the ellipse that a circle of the plane becomes: not quite the
    /// picture of its centre.
    pub fn middle_of_circle(&self, c: Point, r: f64) -> Option<Point> {
        // The middle is the pole of the line at infinity: H C* Hᵀ (0,0,1)ᵀ with the dual conic C*
        // of the circle.
        let dual = Matrix3::new(
            c.x * c.x - r * r,
            c.x * c.y,
            c.x,
            c.x * c.y,
            c.y * c.y - r * r,
            c.y,
            c.x,
            c.y,
            1.0,
        );
        let v = self.h * (dual * self.h.row(2).transpose());
        if v[2].abs() < 1e-12 {
            return None;
        }
        Some(self.distorted(point(v[0] / v[2], v[1] / v[2])))
    }

    /// The point of the plane that a pixel shows; `None` at or beyond the horizon.
    pub fn plane(&self, pixel: Point) -> Option<Point> {
        let d = (pixel - self.centre) * (1.0 / self.unit);
        let far = d.length();
        // Newton's method for r (1 + k1 r²) = far.
        let mut r = far;
        for _ in 0..20 {
            let slope = 1.0 + 3.0 * self.k1 * r * r;
            if slope < 0.1 {
                return None;
            }
            r -= (r * (1.0 + self.k1 * r * r) - far) / slope;
        }
        let ideal = if far > 0.0 { d * (r / far) } else { d };
        let m = &self.inverse;
        let at = |i: usize| m[(i, 0)] * ideal.x + m[(i, 1)] * ideal.y + m[(i, 2)];
        let p = point(at(0) / at(2), at(1) / at(2));
        // A point beyond the horizon comes back behind the camera.
        let seen = p.x.is_finite()
            && p.y.is_finite()
            && self.h[(2, 0)] * p.x + self.h[(2, 1)] * p.y + self.h[(2, 2)] > 1e-9;
        seen.then_some(p)
    }

    /// mm of the plane that a pixel spans about a point: the geometric mean of the two directions.
    pub fn mm_a_pixel(&self, at: Point) -> Option<f64> {
        let (o, x, y) =
            (self.pixel(at)?, self.pixel(at + point(1.0, 0.0))?, self.pixel(at + point(0.0, 1.0))?);
        let area = (x - o).cross(y - o).abs();
        (area > 0.0).then(|| 1.0 / area.sqrt())
    }

    /// Tilt of the camera from looking straight down, degrees, as far as one photo tells: by the
    /// change of scale across the plane for a lens of the given focal length (in half diagonals).
    pub fn tilt(&self, focal: f64) -> f64 {
        // The plane's normal seen by the camera: the cross product of its two axes.
        let k = Matrix3::new(1.0 / focal, 0.0, 0.0, 0.0, 1.0 / focal, 0.0, 0.0, 0.0, 1.0);
        let m = k * self.h;
        let normal = m.column(0).cross(&m.column(1));
        let length = normal.norm();
        if length > 0.0 {
            libm::acos((normal[2].abs() / length).min(1.0)).to_degrees()
        } else {
            90.0
        }
    }

    /// The focal length in half diagonals that makes the plane's axes square and equal, if the tilt
    /// shows it.
    pub fn focal(&self) -> Option<f64> {
        let (a, b) = (self.h.column(0), self.h.column(1));
        let (ab, aa, bb) =
            (a[0] * b[0] + a[1] * b[1], a[0] * a[0] + a[1] * a[1], b[0] * b[0] + b[1] * b[1]);
        // Two conditions, ab + f² a₃b₃ = 0 and aa − bb + f² (a₃² − b₃²) = 0, solved by least
        // squares for f².
        let (p, q) = (a[2] * b[2], a[2] * a[2] - b[2] * b[2]);
        let denominator = p * p + q * q;
        // A tilt under some 8° says nothing about the lens.
        if denominator.sqrt() < 0.02 * (aa + bb) {
            return None;
        }
        let f2 = -(ab * p + (aa - bb) * q) / denominator;
        (0.3..9.0).contains(&f2).then(|| f2.sqrt())
    }

    /// The same view of a plane whose coordinates were changed: `new = scale · (turn of old by
    /// angle) + shift`.
    pub fn moved(&self, scale: f64, angle: f64, shift: Point) -> Option<View> {
        let (s, c) = (scale * libm::sin(angle), scale * libm::cos(angle));
        let to_new = Matrix3::new(c, -s, shift.x, s, c, shift.y, 0.0, 0.0, 1.0);
        let h = self.h * to_new.try_inverse()?;
        Some(View { inverse: h.try_inverse()?, h, ..self.clone() })
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    fn view() -> View {
        let h = Matrix3::new(1e-3, 2e-4, 0.05, 1e-4, -9e-4, -0.02, 1e-5, 2e-4, 1.0);
        View::new(4000, 3000, h, -0.02).unwrap()
    }

    #[test]
    fn pixel_and_plane_undo_each_other() {
        for (x, y) in [(0.0, 0.0), (300.0, -200.0), (-500.0, 400.0)] {
            let back = view().plane(view().pixel(point(x, y)).unwrap()).unwrap();
            assert!(back.distance(point(x, y)) < 1e-6, "{back:?}");
        }
    }

    #[test]
    fn the_middle_of_an_ellipse_is_where_its_rim_says() {
        let (c, r) = (point(300.0, -200.0), 40.0);
        let mut rim = view();
        rim.k1 = 0.0;
        // Extremes of the rim in x and y lie evenly about the middle of an ellipse.
        let points: Vec<Point> = (0..3600)
            .map(|i| f64::from(i) * 0.1_f64.to_radians())
            .map(|t| rim.pixel(c + point(libm::cos(t), libm::sin(t)) * r).unwrap())
            .collect();
        let b = crate::geometry::ring_bounds(&points).unwrap();
        let middle = rim.middle_of_circle(c, r).unwrap();
        assert!(middle.distance(b.centre()) < 1e-3, "{middle:?} {:?}", b.centre());
        assert!(middle.distance(rim.pixel(c).unwrap()) > 0.05);
    }
}
