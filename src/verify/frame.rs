//! From the template frame to the piece, worked out here a second time.

use crate::geometry::{Point, Ring, point};
use crate::ply::Hand;

/// Template frame to cloth frame: the arrow to +x, the mirrored hand mirrored about it, the warp to
/// +x, then the piece's shift.
pub(super) struct Frame {
    arrow: (f64, f64),
    warp: (f64, f64),
    mirrored: bool,
    origin: Point,
}

impl Frame {
    /// `arrow` and `angle` in degrees.
    pub fn new(arrow: f64, hand: Hand, angle: f64, origin: Point) -> Frame {
        let sin_cos = |degrees: f64| libm::sincos(degrees.to_radians());
        Frame {
            arrow: sin_cos(-arrow),
            warp: sin_cos(-angle),
            mirrored: hand == Hand::Mirrored,
            origin,
        }
    }

    /// Where a point of the template lies on the piece, mm, not rounded.
    pub fn to_piece(&self, p: Point) -> Point {
        let along = turned(p, self.arrow);
        let handed = point(along.x, if self.mirrored { -along.y } else { along.y });
        turned(handed, self.warp) + self.origin
    }

    /// The ring on the piece, running the same way round as on the template.
    pub fn ring(&self, ring: &Ring) -> Ring {
        let mut moved: Ring = ring.iter().map(|&p| self.to_piece(p)).collect();
        if self.mirrored {
            moved.reverse();
        }
        moved
    }

    /// Where a point of the piece lies on the template.
    pub fn to_template(&self, p: Point) -> Point {
        let back = |(sin, cos): (f64, f64)| (-sin, cos);
        let handed = turned(p - self.origin, back(self.warp));
        turned(point(handed.x, if self.mirrored { -handed.y } else { handed.y }), back(self.arrow))
    }
}

fn turned(p: Point, (sin, cos): (f64, f64)) -> Point {
    point(cos * p.x - sin * p.y, sin * p.x + cos * p.y)
}
