//! The sign for a piece that is turned over before it is laid.

use super::scene::{Drawn, Ink, Scene, Shape};
use crate::geometry::{Motion, Point, Ring, point};

/// The sign for "turn this piece over": in a ring two triangles, tip to tip, as wide as high.
pub(crate) fn turn_over_sign(scene: &mut Scene, middle: Point, size: f64, id: Option<String>) {
    let at = |x: f64, y: f64| middle + point(x, y) * (size / 2.0);
    let ring: Ring = (0..24)
        .map(|i| Motion::new(f64::from(i) * 15.0, false, middle).apply(point(size / 2.0, 0.0)))
        .collect();
    scene.drawn.push(Drawn { ink: Ink::Frame, id, shape: Shape::Rings(vec![ring]) });
    for side in [-1.0, 1.0] {
        scene.draw(
            Ink::Frame,
            Shape::Solid(vec![at(0.0, 0.0), at(side * 0.78, 0.5), at(side * 0.78, -0.5)]),
        );
    }
}
