//! From the bench to the projector's picture: a homography, then a smooth bow.
//!
//! A point of the bench (mm, y up) goes through a homography to coordinates in half widths from the
//! middle of the picture, and from there it is moved by low-order Legendre polynomials in two
//! variables: what a lens, a mirror or a sagging bench makes of straight lines. Pixels count from
//! the upper left corner of the picture, y down.

use crate::fault::Fault;
use crate::geometry::{Point, point};
use serde::{Deserialize, Serialize};

/// Unknowns of the homography.
pub(super) const OF_FLAT: usize = 8;
/// Degrees in x and y of the polynomials of the bow: those of second to fourth order.
pub(super) const BOWS: [(usize, usize); 12] = [
    (2, 0),
    (1, 1),
    (0, 2),
    (3, 0),
    (2, 1),
    (1, 2),
    (0, 3),
    (4, 0),
    (3, 1),
    (2, 2),
    (1, 3),
    (0, 4),
];
/// All unknowns: of the homography, then x and y of each polynomial, pixels.
pub(super) const UNKNOWNS: usize = OF_FLAT + 2 * BOWS.len();

/// Beyond this many half widths from the middle the bow goes on as it is there: a polynomial would
/// run away.
const REACH: f64 = 1.25;

/// A picture's size, pixels.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Picture {
    /// Width.
    pub width: u32,
    /// Height.
    pub height: u32,
}

impl Picture {
    /// A picture of a size that a projector may have.
    ///
    /// # Errors
    /// It is none.
    pub fn new(width: u32, height: u32) -> Result<Picture, Fault> {
        if (320..=16_384).contains(&width) && (200..=16_384).contains(&height) {
            return Ok(Picture { width, height });
        }
        Err(Fault::new(
            said!("{width} × {height} pixels are no projector's picture"),
            "make the picture full screen on the projector's display",
        ))
    }

    fn half(self) -> f64 {
        f64::from(self.width) / 2.0
    }

    /// Whether a pixel lies in it.
    pub fn holds(self, p: Point) -> bool {
        (0.0..=f64::from(self.width)).contains(&p.x)
            && (0.0..=f64::from(self.height)).contains(&p.y)
    }
}

/// The map.
#[derive(Clone, Debug, PartialEq)]
pub struct Map {
    picture: Picture,
    /// Middle of the marks on the bench, mm, and half their reach.
    pub(super) centre: Point,
    pub(super) unit: f64,
    pub(super) unknowns: Vec<f64>,
}

/// What a point of the bench becomes on its way.
struct Way {
    /// The bench in units.
    n: Point,
    /// The divisor of the homography.
    w: f64,
    /// After the homography, half widths.
    u: Point,
}

impl Map {
    /// A map with no bow and a homography in its own units.
    pub(super) fn new(picture: Picture, centre: Point, unit: f64, flat: [f64; OF_FLAT]) -> Map {
        let mut unknowns = vec![0.0; UNKNOWNS];
        unknowns[..OF_FLAT].copy_from_slice(&flat);
        Map { picture, centre, unit, unknowns }
    }

    /// The same with other unknowns.
    pub(super) fn with(&self, unknowns: Vec<f64>) -> Map {
        Map { unknowns, ..self.clone() }
    }

    /// Of what picture.
    pub fn picture(&self) -> Picture {
        self.picture
    }

    fn way(&self, p: Point) -> Option<Way> {
        let h = &self.unknowns;
        let n = (p - self.centre) * (1.0 / self.unit);
        let w = h[6] * n.x + h[7] * n.y + 1.0;
        if w < 1e-3 {
            return None;
        }
        let u = point((h[0] * n.x + h[1] * n.y + h[2]) / w, (h[3] * n.x + h[4] * n.y + h[5]) / w);
        Some(Way { n, w, u })
    }

    /// The polynomials at a place, and their slopes along x and y, each in half widths.
    fn bows(&self, u: Point) -> [(f64, Point); BOWS.len()] {
        let tall = f64::from(self.picture.width) / f64::from(self.picture.height);
        let (x, dx) = legendre(u.x);
        let (y, dy) = legendre(u.y * tall);
        BOWS.map(|(i, j)| (x[i] * y[j], point(dx[i] * y[j], x[i] * dy[j] * tall)))
    }

    fn seen(&self, u: Point) -> Point {
        let half = self.picture.half();
        let middle = point(half, f64::from(self.picture.height) / 2.0);
        let bows = self.bows(u);
        let bow = bows.iter().enumerate().fold(Point::default(), |sum, (k, (b, _))| {
            let at = OF_FLAT + 2 * k;
            sum + point(self.unknowns[at], self.unknowns[at + 1]) * *b
        });
        middle + u * half + bow
    }

    /// The pixel of a point of the bench; `None` if it lies behind the projector.
    pub fn pixel(&self, p: Point) -> Option<Point> {
        self.way(p).map(|way| self.seen(way.u))
    }

    /// The point of the bench where a pixel falls; `None` if it falls nowhere.
    pub fn bench(&self, pixel: Point) -> Option<Point> {
        let half = self.picture.half();
        let middle = point(half, f64::from(self.picture.height) / 2.0);
        let mut u = (pixel - middle) * (1.0 / half);
        // The bow is small against its picture: what it does here is taken off again and again.
        for _ in 0..60 {
            let off = pixel - self.seen(u);
            u = u + off * (1.0 / half);
            if off.length() < 1e-9 {
                break;
            }
        }
        if self.seen(u).distance(pixel) > 1e-3 {
            return None;
        }
        // u w = A n + b, with w = c n + 1: linear in n.
        let h = &self.unknowns;
        let (a, b) = (point(h[0] - u.x * h[6], h[1] - u.x * h[7]), u.x - h[2]);
        let (c, d) = (point(h[3] - u.y * h[6], h[4] - u.y * h[7]), u.y - h[5]);
        let det = a.x * c.y - a.y * c.x;
        if det.abs() < 1e-12 {
            return None;
        }
        let n = point((b * c.y - a.y * d) / det, (a.x * d - b * c.x) / det);
        let p = self.centre + n * self.unit;
        self.way(p).map(|_| p)
    }

    /// How the pixel of a point moves: with each unknown (x and y), and with the point along x and
    /// along y of the bench.
    pub(super) fn slopes(&self, p: Point) -> Option<([[f64; UNKNOWNS]; 2], [Point; 2])> {
        let Way { n, w, u } = self.way(p)?;
        let half = self.picture.half();
        let bows = self.bows(u);
        // How the pixel moves with u.
        let (mut by_x, mut by_y) = (point(half, 0.0), point(0.0, half));
        let mut out = [[0.0; UNKNOWNS]; 2];
        for (k, (b, slope)) in bows.iter().enumerate() {
            let at = OF_FLAT + 2 * k;
            let c = point(self.unknowns[at], self.unknowns[at + 1]);
            by_x = by_x + c * slope.x;
            by_y = by_y + c * slope.y;
            out[0][at] = *b;
            out[1][at + 1] = *b;
        }
        let h = &self.unknowns;
        let one = [n.x / w, n.y / w, 1.0 / w];
        for (k, v) in one.iter().enumerate() {
            for (row, by) in [(0, [by_x.x, by_y.x]), (1, [by_x.y, by_y.y])] {
                out[row][k] = by[0] * v;
                out[row][3 + k] = by[1] * v;
                if k < 2 {
                    out[row][6 + k] = -(by[0] * u.x + by[1] * u.y) * v;
                }
            }
        }
        let along = |k: usize| {
            let du = point((h[k] - u.x * h[6 + k]) / w, (h[3 + k] - u.y * h[6 + k]) / w);
            (by_x * du.x + by_y * du.y) * (1.0 / self.unit)
        };
        Some((out, [along(0), along(1)]))
    }

    /// mm of the bench that a pixel spans about a point, the longer way.
    pub fn mm_a_pixel(&self, p: Point) -> Option<f64> {
        let (_, [x, y]) = self.slopes(p)?;
        let area = x.cross(y).abs();
        (area > 0.0).then(|| x.length().max(y.length()) / area)
    }

    /// A line of the bench in pixels, with as many points between as its bow needs.
    pub fn line(&self, points: &[Point], closed: bool) -> Vec<Point> {
        let more = points.first().filter(|_| closed && points.len() > 1);
        let mut out: Vec<Point> = Vec::new();
        let mut before: Option<(Point, Point)> = None;
        for at in points.iter().chain(more) {
            let Some(pixel) = self.pixel(*at) else { continue };
            if let Some(before) = before {
                self.between(before, (*at, pixel), 0, &mut out);
            }
            out.push(pixel);
            before = Some((*at, pixel));
        }
        out
    }

    /// The points that are needed between two.
    fn between(&self, a: (Point, Point), b: (Point, Point), depth: u32, out: &mut Vec<Point>) {
        /// A line strays from its chord by less, pixels.
        const STRAY: f64 = 0.1;
        let at = |t: f64| a.0 + (b.0 - a.0) * t;
        let seen = [0.25, 0.5, 0.75].map(|t| self.pixel(at(t)));
        let stray = seen.iter().flatten().map(|p| p.distance_to_segment(a.1, b.1));
        if let Some(middle) = seen[1]
            && depth < 12
            && stray.fold(0.0, f64::max) > STRAY
        {
            let middle = (at(0.5), middle);
            self.between(a, middle, depth + 1, out);
            out.push(middle.1);
            self.between(middle, b, depth + 1, out);
        }
    }
}

/// Legendre's polynomials of order 0 to 4, and their slopes; beyond the reach they stay.
fn legendre(at: f64) -> ([f64; 5], [f64; 5]) {
    let x = at.clamp(-REACH, REACH);
    let inside = f64::from(u8::from(at.abs() <= REACH));
    let (x2, x3) = (x * x, x * x * x);
    let value =
        [1.0, x, 1.5 * x2 - 0.5, 2.5 * x3 - 1.5 * x, (35.0 * x2 * x2 - 30.0 * x2 + 3.0) / 8.0];
    let slope = [0.0, 1.0, 3.0 * x, 7.5 * x2 - 1.5, (35.0 * x3 - 15.0 * x) / 2.0];
    (value, slope.map(|s| s * inside))
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    pub fn bowed() -> Map {
        let picture = Picture::new(1920, 1080).unwrap();
        let mut map = Map::new(
            picture,
            point(800.0, 450.0),
            800.0,
            [1.0, 0.05, 0.02, 0.03, -1.1, 0.01, 0.06, -0.09],
        );
        for k in OF_FLAT..UNKNOWNS {
            map.unknowns[k] = 3.0 * libm::sin(k as f64);
        }
        map
    }

    #[test]
    fn bench_and_picture_undo_each_other() {
        for (x, y) in [(0.0, 0.0), (800.0, 450.0), (1500.0, 30.0), (40.0, 880.0)] {
            let p = point(x, y);
            let back = bowed().bench(bowed().pixel(p).unwrap()).unwrap();
            assert!(back.distance(p) < 1e-6, "{back:?}");
        }
    }

    #[test]
    fn slopes_are_those_of_small_steps() {
        let (map, p) = (bowed(), point(300.0, 700.0));
        let (of, [x, y]) = map.slopes(p).unwrap();
        for k in 0..UNKNOWNS {
            let step = 1e-5;
            let moved = |by: f64| {
                let mut unknowns = map.unknowns.clone();
                unknowns[k] += by;
                map.with(unknowns).pixel(p).unwrap()
            };
            let d = (moved(step) - moved(-step)) * (0.5 / step);
            assert!((d - point(of[0][k], of[1][k])).length() < 1e-4 * (1.0 + d.length()), "{k}");
        }
        for (way, slope) in [(point(1e-3, 0.0), x), (point(0.0, 1e-3), y)] {
            let d = (map.pixel(p + way).unwrap() - map.pixel(p - way).unwrap()) * 500.0;
            assert!((d - slope).length() < 1e-5, "{d:?} {slope:?}");
        }
    }

    /// Every point between two that are drawn lies on the straight line of the screen, or nearly.
    #[test]
    fn a_line_is_dense_enough_after_the_bow() {
        let map = bowed();
        let square = [point(50.0, 50.0), point(1500.0, 60.0), point(1400.0, 850.0)];
        let drawn = map.line(&square, true);
        assert!(drawn.first() == drawn.last() && drawn.len() > 20, "{}", drawn.len());
        for i in 0..3 {
            let (a, b) = (square[i], square[(i + 1) % 3]);
            for k in 0..=1000 {
                let p = map.pixel(a + (b - a) * (f64::from(k) / 1000.0)).unwrap();
                let near = drawn.windows(2).map(|w| p.distance_to_segment(w[0], w[1]));
                assert!(near.fold(f64::INFINITY, f64::min) < 0.15);
            }
        }
    }

    #[test]
    fn what_is_no_picture_is_refused() {
        for (w, h) in [(0, 0), (1920, 0), (u32::MAX, 1080)] {
            assert!(Picture::new(w, h).is_err());
        }
    }
}
