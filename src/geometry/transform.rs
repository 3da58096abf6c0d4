//! Rigid motions of the plane: an optional mirror about x, after a turn, before a shift.

use super::point::{Point, point};
use super::region::{Path, Region, Ring};

/// Turn about the origin, then mirror about the x axis if `flip`, then shift: the order of the plan
/// file.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Motion {
    cos: f64,
    sin: f64,
    flip: bool,
    shift: Point,
}

impl Motion {
    /// A turn in degrees, then a mirror about x (`y` to `-y`) if `flip`, then a shift in mm.
    ///
    /// Quarter turns are exact; other angles use `libm`, so that every machine gets the same
    /// answer.
    pub fn new(turn: f64, flip: bool, shift: Point) -> Self {
        let (sin, cos) = sin_cos_degrees(turn);
        Motion { cos, sin, flip, shift }
    }

    /// A turn about the origin, degrees anticlockwise.
    pub fn turn(degrees: f64) -> Self {
        Motion::new(degrees, false, point(0.0, 0.0))
    }

    /// The motion that undoes it.
    #[must_use]
    pub fn inverse(&self) -> Motion {
        // A mirror before a turn is the turn the other way before the mirror.
        let back = Motion {
            cos: self.cos,
            sin: if self.flip { self.sin } else { -self.sin },
            flip: self.flip,
            shift: point(0.0, 0.0),
        };
        Motion { shift: back.apply(self.shift) * -1.0, ..back }
    }

    /// True if it mirrors.
    pub fn mirrors(&self) -> bool {
        self.flip
    }

    /// The moved point, not snapped.
    pub fn apply(&self, p: Point) -> Point {
        let x = self.cos * p.x - self.sin * p.y;
        let y = self.sin * p.x + self.cos * p.y;
        point(x, if self.flip { -y } else { y }) + self.shift
    }

    /// The moved points of an open line, snapped to the grid.
    pub fn path(&self, path: &[Point]) -> Path {
        path.iter().map(|&p| self.apply(p).snapped()).collect()
    }

    /// The moved ring, snapped to the grid, running the same way round as before (reversed under a
    /// mirror).
    pub fn ring(&self, ring: &[Point]) -> Ring {
        let mut out: Ring = ring.iter().map(|&p| self.apply(p).snapped()).collect();
        if self.flip {
            out.reverse();
        }
        out
    }

    /// The moved region, snapped to the grid, rings oriented as before.
    pub fn region(&self, region: &Region) -> Region {
        Region {
            outline: self.ring(&region.outline),
            holes: region.holes.iter().map(|h| self.ring(h)).collect(),
        }
    }
}

/// Sine and cosine of an angle in degrees, exact at multiples of 90.
pub(crate) fn sin_cos_degrees(degrees: f64) -> (f64, f64) {
    let d = degrees.rem_euclid(360.0);
    if d == 0.0 {
        (0.0, 1.0)
    } else if d == 90.0 {
        (1.0, 0.0)
    } else if d == 180.0 {
        (0.0, -1.0)
    } else if d == 270.0 {
        (-1.0, 0.0)
    } else {
        let r = d.to_radians();
        (libm::sin(r), libm::cos(r))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn quarter_turns_are_exact() {
        assert_eq!(Motion::turn(90.0).apply(point(12.345, 6.789)), point(-6.789, 12.345));
        assert_eq!(Motion::turn(-90.0).apply(point(12.345, 6.789)), point(6.789, -12.345));
    }

    #[test]
    fn the_inverse_undoes_it() {
        for (turn, flip) in [(0.0, false), (90.0, true), (37.5, false), (211.0, true)] {
            let m = Motion::new(turn, flip, point(12.0, -7.0));
            for p in [point(0.0, 0.0), point(3.0, 4.0), point(-100.0, 55.5)] {
                assert!(
                    m.inverse().apply(m.apply(p)).distance(p) < 1e-9
                        && m.apply(m.inverse().apply(p)).distance(p) < 1e-9
                );
            }
        }
    }

    #[test]
    fn the_mirror_comes_after_the_turn() {
        let m = Motion::new(90.0, true, point(10.0, 0.0));
        assert_eq!(m.apply(point(1.0, 0.0)), point(10.0, -1.0));
    }

    #[test]
    fn a_mirrored_ring_keeps_its_sense() {
        let square = vec![point(0.0, 0.0), point(1.0, 0.0), point(1.0, 1.0), point(0.0, 1.0)];
        let moved = Motion::new(30.0, true, point(0.0, 0.0)).ring(&square);
        assert!(crate::geometry::ring_area(&moved) > 0.99);
    }
}
