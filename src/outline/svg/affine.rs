//! Affine maps of the plane in `f64`, and the SVG `transform` attribute.

use crate::geometry::{Point, point, sin_cos_degrees};
use svgtypes::{TransformListParser, TransformListToken};

/// `x' = a x + c y + e`, `y' = b x + d y + f`: the letters of SVG's `matrix(a b c d e f)`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Affine {
    pub a: f64,
    pub b: f64,
    pub c: f64,
    pub d: f64,
    pub e: f64,
    pub f: f64,
}

impl Affine {
    pub(super) const IDENTITY: Affine = Affine { a: 1.0, b: 0.0, c: 0.0, d: 1.0, e: 0.0, f: 0.0 };

    pub(super) fn shift(x: f64, y: f64) -> Self {
        Affine { e: x, f: y, ..Affine::IDENTITY }
    }

    pub(super) fn scale(x: f64, y: f64) -> Self {
        Affine { a: x, d: y, ..Affine::IDENTITY }
    }

    /// The map that does `inner` first, then this one: how an element's transform goes with its
    /// parent's.
    #[must_use]
    pub(super) fn after(&self, inner: &Affine) -> Affine {
        let x = self.direction(point(inner.a, inner.b));
        let y = self.direction(point(inner.c, inner.d));
        let o = self.point(point(inner.e, inner.f));
        Affine { a: x.x, b: x.y, c: y.x, d: y.y, e: o.x, f: o.y }
    }

    pub(super) fn point(&self, p: Point) -> Point {
        self.direction(p) + point(self.e, self.f)
    }

    /// A vector, which no shift moves.
    pub(super) fn direction(&self, v: Point) -> Point {
        point(self.a * v.x + self.c * v.y, self.b * v.x + self.d * v.y)
    }

    /// Reads a `transform` attribute; `None` if it is not understood to its end.
    pub(super) fn parse(text: &str) -> Option<Affine> {
        if text.trim() == "none" {
            return Some(Affine::IDENTITY);
        }
        let mut whole = Affine::IDENTITY;
        for token in TransformListParser::from(text) {
            let step = match token.ok()? {
                TransformListToken::Matrix { a, b, c, d, e, f } => Affine { a, b, c, d, e, f },
                TransformListToken::Translate { tx, ty } => Affine::shift(tx, ty),
                TransformListToken::Scale { sx, sy } => Affine::scale(sx, sy),
                TransformListToken::Rotate { angle } => {
                    let (sin, cos) = sin_cos_degrees(angle);
                    Affine { a: cos, b: sin, c: -sin, d: cos, ..Affine::IDENTITY }
                }
                TransformListToken::SkewX { angle } => {
                    Affine { c: libm::tan(angle.to_radians()), ..Affine::IDENTITY }
                }
                TransformListToken::SkewY { angle } => {
                    Affine { b: libm::tan(angle.to_radians()), ..Affine::IDENTITY }
                }
            };
            whole = whole.after(&step);
        }
        Some(whole)
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    fn close(text: &str, p: (f64, f64), expected: (f64, f64)) {
        let got = Affine::parse(text).unwrap().point(point(p.0, p.1));
        assert!(got.distance(point(expected.0, expected.1)) < 1e-9, "{text}: {got:?}");
    }

    #[test]
    fn transforms_by_hand() {
        // SVG 1.1, 7.6: values worked out on paper from the matrices there; y runs down.
        close("translate(10 20)", (1.0, 2.0), (11.0, 22.0));
        close("translate(10)", (1.0, 2.0), (11.0, 2.0));
        close("scale(2)", (1.0, 2.0), (2.0, 4.0));
        close("rotate(90)", (1.0, 0.0), (0.0, 1.0));
        close("rotate(90, 10, 0)", (11.0, 0.0), (10.0, 1.0));
        close("skewX(45)", (0.0, 3.0), (3.0, 3.0));
        close("skewY(45)", (3.0, 0.0), (3.0, 3.0));
        close(
            "matrix(1 2 3 4 5 6)",
            (10.0, 100.0),
            (1.0 * 10.0 + 3.0 * 100.0 + 5.0, 2.0 * 10.0 + 4.0 * 100.0 + 6.0),
        );
        // The rightmost is done first.
        close("translate(10 0) scale(2)", (1.0, 1.0), (12.0, 2.0));
        close("scale(2) translate(10 0)", (1.0, 1.0), (22.0, 2.0));
        close("", (1.0, 1.0), (1.0, 1.0));
    }

    #[test]
    fn nonsense_is_refused() {
        for text in ["rotate(", "turn(3)", "scale(2) x", "translate(1 2", "matrix(1 2 3)"] {
            assert_eq!(Affine::parse(text), None, "{text}");
        }
    }
}
