//! Affine frames: how the coordinates of an entity become millimetres of the drawing.

use crate::geometry::{Point, point};

/// The map `p -> origin + x * p.x + y * p.y`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Frame {
    /// Image of the unit vector along x.
    pub x: Point,
    /// Image of the unit vector along y.
    pub y: Point,
    /// Image of the origin.
    pub origin: Point,
}

impl Frame {
    /// Everything larger by `factor`.
    pub(super) fn scale(factor: f64) -> Frame {
        Frame { x: point(factor, 0.0), y: point(0.0, factor), origin: point(0.0, 0.0) }
    }

    /// The image of a point.
    pub(super) fn point(&self, p: Point) -> Point {
        self.origin + self.vector(p)
    }

    /// The image of a vector.
    pub(super) fn vector(&self, v: Point) -> Point {
        self.x * v.x + self.y * v.y
    }

    /// First `inner`, then this.
    pub(super) fn of(&self, inner: &Frame) -> Frame {
        Frame { x: self.vector(inner.x), y: self.vector(inner.y), origin: self.point(inner.origin) }
    }

    /// The frame of an entity whose plane is told by its extrusion direction: the direction +z
    /// changes nothing, -z turns x round (the arbitrary axis algorithm of the DXF reference gives x
    /// = (-1,0,0), y = (0,1,0) for it). `None` for any other.
    pub(super) fn extruded(&self, direction: &dxf::Vector) -> Option<Frame> {
        let upright = direction.z.abs() > 0.0
            && libm::hypot(direction.x, direction.y) <= 1e-9 * direction.z.abs();
        match (upright, direction.z > 0.0) {
            (true, true) => Some(*self),
            (true, false) => Some(Frame { x: -self.x, ..*self }),
            (false, _) => None,
        }
    }
}
