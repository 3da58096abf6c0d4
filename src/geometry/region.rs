//! Rings, paths and regions with holes, and their simplest measures.

use super::point::{Point, point};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// A closed ring of points, first point not repeated.
pub type Ring = Vec<Point>;

/// An open line of points.
pub type Path = Vec<Point>;

/// Area of a ring, mm², positive if it runs anticlockwise.
pub fn ring_area(ring: &[Point]) -> f64 {
    let Some(&origin) = ring.first() else {
        return 0.0;
    };
    let mut twice = 0.0;
    for (i, &p) in ring.iter().enumerate() {
        twice += (p - origin).cross(ring[(i + 1) % ring.len()] - origin);
    }
    twice / 2.0
}

/// The box around a set of points, or `None` of no points.
pub fn ring_bounds(points: &[Point]) -> Option<Bounds> {
    let first = points.first()?;
    let mut b = Bounds { min: *first, max: *first };
    for p in points {
        b.min = point(b.min.x.min(p.x), b.min.y.min(p.y));
        b.max = point(b.max.x.max(p.x), b.max.y.max(p.y));
    }
    Some(b)
}

/// True if `p` lies inside the ring by the even-odd rule; on the boundary either answer may come.
pub fn ring_contains(ring: &[Point], p: Point) -> bool {
    let mut inside = false;
    for (i, &a) in ring.iter().enumerate() {
        let b = ring[(i + 1) % ring.len()];
        if (a.y > p.y) != (b.y > p.y) && p.x < a.x + (b.x - a.x) * (p.y - a.y) / (b.y - a.y) {
            inside = !inside;
        }
    }
    inside
}

/// Length of an open line, mm.
pub fn path_length(path: &[Point]) -> f64 {
    path.windows(2).map(|w| w[0].distance(w[1])).sum()
}

/// A box with sides along the axes, mm.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Bounds {
    /// Lower left corner.
    pub min: Point,
    /// Upper right corner.
    pub max: Point,
}

impl Bounds {
    /// Extent in x, mm.
    pub fn width(&self) -> f64 {
        self.max.x - self.min.x
    }

    /// Extent in y, mm.
    pub fn height(&self) -> f64 {
        self.max.y - self.min.y
    }

    /// Its corners, anticlockwise.
    pub fn ring(&self) -> Ring {
        vec![self.min, point(self.max.x, self.min.y), self.max, point(self.min.x, self.max.y)]
    }

    /// The middle of the box.
    pub fn centre(&self) -> Point {
        (self.min + self.max) * 0.5
    }
}

/// One outer ring (anticlockwise) and its holes (clockwise), mm.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Region {
    /// The outer boundary, anticlockwise, not closed.
    pub outline: Ring,
    /// Holes, clockwise, not closed.
    #[serde(default)]
    pub holes: Vec<Ring>,
}

impl Region {
    /// A region without holes.
    pub fn solid(outline: Ring) -> Self {
        Region { outline, holes: Vec::new() }
    }

    /// Area without the holes, mm².
    pub fn area(&self) -> f64 {
        ring_area(&self.outline) + self.holes.iter().map(|h| ring_area(h)).sum::<f64>()
    }

    /// The box around the outline.
    pub fn bounds(&self) -> Option<Bounds> {
        ring_bounds(&self.outline)
    }

    /// All rings, the outer one first.
    pub fn rings(&self) -> impl Iterator<Item = &Ring> {
        std::iter::once(&self.outline).chain(self.holes.iter())
    }
}
