//! A point or vector of the plane.

use crate::units::snap;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use std::ops::{Add, Mul, Neg, Sub};

/// A point (or vector), mm. In files it is written `[x, y]`.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(from = "[f64; 2]", into = "[f64; 2]")]
pub struct Point {
    /// mm.
    pub x: f64,
    /// mm.
    pub y: f64,
}

/// Shorthand for a [`Point`].
pub const fn point(x: f64, y: f64) -> Point {
    Point { x, y }
}

impl Point {
    /// The point on the 1 µm grid that is nearest.
    #[must_use]
    pub fn snapped(self) -> Point {
        point(snap(self.x), snap(self.y))
    }

    /// Dot product.
    pub fn dot(self, other: Point) -> f64 {
        self.x * other.x + self.y * other.y
    }

    /// The z part of the cross product: positive if `other` lies anticlockwise of `self`.
    pub fn cross(self, other: Point) -> f64 {
        self.x * other.y - self.y * other.x
    }

    /// Length as a vector.
    pub fn length(self) -> f64 {
        libm::hypot(self.x, self.y)
    }

    /// Distance to another point.
    pub fn distance(self, other: Point) -> f64 {
        (self - other).length()
    }

    /// Direction as a vector, degrees anticlockwise from +x, in `-180.0..=180.0`.
    pub fn direction(self) -> f64 {
        libm::atan2(self.y, self.x).to_degrees()
    }

    /// Distance to the segment `a`-`b`.
    pub fn distance_to_segment(self, a: Point, b: Point) -> f64 {
        let ab = b - a;
        let len2 = ab.dot(ab);
        let t = if len2 > 0.0 { ((self - a).dot(ab) / len2).clamp(0.0, 1.0) } else { 0.0 };
        self.distance(a + ab * t)
    }
}

impl From<[f64; 2]> for Point {
    fn from([x, y]: [f64; 2]) -> Self {
        point(x, y)
    }
}

impl From<Point> for [f64; 2] {
    fn from(p: Point) -> Self {
        [p.x, p.y]
    }
}

impl JsonSchema for Point {
    fn schema_name() -> std::borrow::Cow<'static, str> {
        "Point".into()
    }

    fn json_schema(generator: &mut schemars::SchemaGenerator) -> schemars::Schema {
        <[f64; 2]>::json_schema(generator)
    }
}

impl Add for Point {
    type Output = Point;
    fn add(self, o: Point) -> Point {
        point(self.x + o.x, self.y + o.y)
    }
}

impl Sub for Point {
    type Output = Point;
    fn sub(self, o: Point) -> Point {
        point(self.x - o.x, self.y - o.y)
    }
}

impl Mul<f64> for Point {
    type Output = Point;
    fn mul(self, k: f64) -> Point {
        point(self.x * k, self.y * k)
    }
}

impl Neg for Point {
    type Output = Point;
    fn neg(self) -> Point {
        point(-self.x, -self.y)
    }
}
