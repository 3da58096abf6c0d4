//! Small photos of flat scenes, drawn without the tracer: a plane seen by a pinhole camera, four
//! samples a pixel.
#![allow(dead_code, clippy::unwrap_used)]

use image::{GrayImage, Luma};
use std::path::{Path, PathBuf};
use warpwise::geometry::{Point, Ring, point, ring_contains};
use warpwise::trace::card::{
    DOT_RADIUS, HEIGHT, MARK_RADIUS, WHITE_RADIUS, WIDTH, dot_centres, marks,
};

/// A card: its number, its middle (mm), its turn (degrees) and by how much its printer scaled it.
pub type Card = (usize, Point, f64, f64);

/// What lies on the plane, mm, y up.
#[derive(Clone, Default)]
pub struct Scene {
    /// Shapes and their shade, the later on top.
    pub shapes: Vec<(Ring, u8)>,
    /// Pen strokes 1.6 mm wide: their points and shade.
    pub strokes: Vec<(Vec<Point>, u8)>,
    pub cards: Vec<Card>,
    pub ground: u8,
}

/// Where the camera is: above `at`, `distance` mm away, tilted by degrees about the photo's x.
#[derive(Clone, Copy)]
pub struct Camera {
    pub at: Point,
    pub distance: f64,
    pub tilt: f64,
    pub size: (u32, u32),
}

impl Camera {
    /// Straight down on a middle, so that a pixel spans `mm`.
    pub fn above(at: Point, mm: f64) -> Self {
        Camera { at, distance: mm * 1400.0, tilt: 8.0, size: (1800, 1350) }
    }

    fn plane(&self, x: f64, y: f64) -> Point {
        let (s, c) = self.tilt.to_radians().sin_cos();
        let (dx, dy) = (
            (x - f64::from(self.size.0) / 2.0) / 1400.0,
            -(y - f64::from(self.size.1) / 2.0) / 1400.0,
        );
        // A ray (dx, dy, -1) turned about x, from a camera that looks at `at` from `distance` away.
        let (ry, rz) = (c * dy + s, s * dy - c);
        let t = -self.distance * c / rz;
        self.at + point(t * dx, -self.distance * s + t * ry)
    }
}

impl Scene {
    fn shade(&self, p: Point) -> u8 {
        for &(number, middle, turn, scale) in &self.cards {
            let (s, c) = turn.to_radians().sin_cos();
            let d = p - middle;
            let q = point(c * d.x + s * d.y, c * d.y - s * d.x) * (1.0 / scale);
            if q.x.abs() <= WIDTH / 2.0 && q.y.abs() <= HEIGHT / 2.0 {
                for mark in marks(number) {
                    let away = q.distance(mark.centre);
                    if away < MARK_RADIUS {
                        let dot = dot_centres(mark.dots)
                            .iter()
                            .any(|d| (q - mark.centre).distance(*d) < DOT_RADIUS);
                        return if away > WHITE_RADIUS || dot { 25 } else { 235 };
                    }
                }
                return 235;
            }
        }
        for (line, shade) in &self.strokes {
            if line.windows(2).any(|w| p.distance_to_segment(w[0], w[1]) < 0.8) {
                return *shade;
            }
        }
        self.shapes
            .iter()
            .rev()
            .find(|(ring, _)| ring_contains(ring, p))
            .map_or(self.ground, |s| s.1)
    }

    /// The photo.
    pub fn photo(&self, camera: Camera) -> GrayImage {
        GrayImage::from_fn(camera.size.0, camera.size.1, |x, y| {
            let mut sum = 0;
            for (dx, dy) in [(0.25, 0.25), (0.75, 0.25), (0.25, 0.75), (0.75, 0.75)] {
                sum += u32::from(self.shade(camera.plane(f64::from(x) + dx, f64::from(y) + dy)));
            }
            // A little noise, the same every time.
            let noise = (x.wrapping_mul(7919) ^ y.wrapping_mul(104_729)) % 5;
            Luma([(sum / 4 + noise) as u8])
        })
    }
}

/// A plate of 300 × 200 mm about a middle, one corner cut off, with its arrow along +x.
pub fn plate(middle: Point) -> (Ring, Vec<Vec<Point>>) {
    let ring = [(-150.0, -100.0), (150.0, -100.0), (150.0, 40.0), (90.0, 100.0), (-150.0, 100.0)];
    (ring.map(|(x, y)| middle + point(x, y)).to_vec(), arrow(middle))
}

/// Area of [`plate`], mm².
pub const PLATE: f64 = 300.0 * 200.0 - 60.0 * 60.0 / 2.0;

/// The strokes of an arrow of 120 mm along +x.
pub fn arrow(middle: Point) -> Vec<Vec<Point>> {
    let (tail, head) = (middle - point(60.0, 0.0), middle + point(60.0, 0.0));
    vec![vec![tail, head], vec![head + point(-14.0, 7.0), head, head + point(-14.0, -7.0)]]
}

/// A light plate on a dark board between two cards.
pub fn usual() -> Scene {
    let (ring, arrow) = plate(point(0.0, 0.0));
    Scene {
        shapes: vec![(ring, 205)],
        strokes: arrow.into_iter().map(|l| (l, 35)).collect(),
        cards: vec![(1, point(-265.0, 20.0), 80.0, 1.0), (2, point(265.0, -10.0), -85.0, 1.0)],
        ground: 60,
    }
}

/// Writes a photo as PNG into a folder.
pub fn save(dir: &Path, name: &str, photo: &GrayImage) -> PathBuf {
    let path = dir.join(name);
    photo.save(&path).unwrap();
    path
}
