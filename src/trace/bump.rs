//! Bumps and notches in an edge that runs on smoothly at both sides of them: a tick inked over the
//! edge, a hole or a line of the ground that touches it.

use crate::geometry::{Path, Point, Ring, path_length, point};
use nalgebra::{Matrix3, Vector3};

/// Distance of the points an edge is looked at by, mm.
const STEP: f64 = 0.5;
/// A bump is at most so wide at its foot, and so high, mm: cuts and corners are larger.
const WIDE: f64 = 8.0;
const HIGH: f64 = 6.0;
/// So much of the edge at either side of it is looked at, mm.
const SIDE: f64 = 9.0;
/// The edge at both sides lies on one smooth curve to so many mm.
const SMOOTH: f64 = 0.22;
/// A bump rises at least so far above it, mm.
const LEAST: f64 = 0.45;
/// From this height on it is worth a word, mm.
pub(super) const SAID: f64 = 1.0;

/// What was taken off an edge.
#[derive(Clone, Debug)]
pub(super) struct Bump {
    /// Where it ran, mm.
    pub path: Path,
    /// How far it rose above the edge, or fell below it, mm.
    pub height: f64,
}

/// The ring without bumps, and these.
pub(super) fn without_bumps(ring: &Ring) -> (Ring, Vec<Bump>) {
    let even = evenly(ring);
    let n = even.len();
    let side = (SIDE / STEP) as usize;
    if n < 6 * side {
        return (ring.clone(), Vec::new());
    }
    // The longest way round a bump; it comes back to where it began.
    let longest = ((WIDE + 2.0 * HIGH) / STEP) as usize;
    let at = |i: usize| even[i % n];
    let mut out: Vec<Point> = Vec::with_capacity(n);
    let mut bumps = Vec::new();
    // Begins where nothing is wrong, so that no bump lies over the seam.
    let start =
        (0..n).find(|&i| (0..longest).all(|k| widest(&even, i + n - k, longest, side).is_none()));
    let Some(start) = start else { return (ring.clone(), Vec::new()) };
    let mut i = start;
    while i < start + n {
        out.push(at(i));
        let Some((length, curve)) = widest(&even, i, longest, side).filter(|w| i + w.0 < start + n)
        else {
            i += 1;
            continue;
        };
        let path: Path = (0..=length).map(|k| at(i + k)).collect();
        let height = path.iter().map(|p| curve.off(*p).abs()).fold(0.0, f64::max);
        let (from, to) = (curve.along(path[0]), curve.along(path[length]));
        let count = ((to - from).abs() / STEP).ceil().max(1.0) as usize;
        out.extend((1..count).map(|k| curve.at(from + (to - from) * k as f64 / count as f64)));
        bumps.push(Bump { path, height });
        i += length;
    }
    if bumps.is_empty() { (ring.clone(), bumps) } else { (out, bumps) }
}

/// The bump that begins at a point: how many points further it ends, and the curve below it. Of
/// those that begin there, the one whose sides fit best.
fn widest(even: &[Point], i: usize, longest: usize, side: usize) -> Option<(usize, Curve)> {
    let n = even.len();
    let at = |i: usize| even[i % n];
    let before: Vec<Point> = (0..=side).map(|k| at(i + n - k)).collect();
    // The edge before it is smooth by itself: most of an outline ends here.
    let own = Curve::through(&before, before[side], before[0])?;
    if before.iter().any(|p| own.off(*p).abs() > SMOOTH) {
        return None;
    }
    // It leaves the curve at once.
    let leaves = |k: usize| {
        let chord = before[0] - before[4];
        let way = at(i + k) - before[0];
        (chord.cross(way) / chord.length().max(1e-9)).abs() > 0.5 * LEAST
    };
    if !(1..=6).any(leaves) {
        return None;
    }
    let mut best: Option<(f64, usize, Curve)> = None;
    for length in 3..=longest {
        let end = at(i + length);
        let foot = before[0].distance(end);
        if !(STEP..=WIDE).contains(&foot) {
            continue;
        }
        let after = (0..=side).map(|k| at(i + length + k));
        let sides: Vec<Point> = before.iter().copied().chain(after).collect();
        let Some(curve) = Curve::through(&sides, before[side], at(i + length + side)) else {
            continue;
        };
        let rough = sides.iter().map(|p| curve.off(*p).abs()).fold(0.0, f64::max);
        if rough > SMOOTH {
            continue;
        }
        // Both sides run the same way along the curve.
        let along = |k: usize| curve.along(at(k));
        if !(along(i + n - side) < along(i)
            && along(i) < along(i + length) + STEP
            && along(i + length) < along(i + length + side))
        {
            continue;
        }
        let high = (1..length).map(|k| curve.off(at(i + k)).abs()).fold(0.0, f64::max);
        if (LEAST..=HIGH).contains(&high) && best.as_ref().is_none_or(|b| rough < b.0) {
            best = Some((rough, length, curve));
        }
    }
    best.map(|(_, length, curve)| (length, curve))
}

/// A parabola over a chord.
#[derive(Clone, Debug)]
struct Curve {
    from: Point,
    /// Of length 1.
    way: Point,
    height: [f64; 3],
}

impl Curve {
    /// The one that lies nearest to points, over the way from one to another.
    fn through(points: &[Point], from: Point, to: Point) -> Option<Curve> {
        let length = from.distance(to);
        if length < 1e-6 {
            return None;
        }
        let way = (to - from) * (1.0 / length);
        let (mut sums, mut right) = (Matrix3::zeros(), Vector3::zeros());
        for p in points {
            let (t, u) = ((*p - from).dot(way), way.cross(*p - from));
            let row = Vector3::new(1.0, t, t * t);
            sums += row * row.transpose();
            right += row * u;
        }
        let height = sums.lu().solve(&right)?;
        Some(Curve { from, way, height: [height[0], height[1], height[2]] })
    }

    fn along(&self, p: Point) -> f64 {
        (p - self.from).dot(self.way)
    }

    fn rise(&self, t: f64) -> f64 {
        self.height[0] + t * (self.height[1] + t * self.height[2])
    }

    /// How far a point lies to the left of the curve.
    fn off(&self, p: Point) -> f64 {
        self.way.cross(p - self.from) - self.rise(self.along(p))
    }

    fn at(&self, t: f64) -> Point {
        self.from + self.way * t + point(-self.way.y, self.way.x) * self.rise(t)
    }
}

/// Points along a ring at even distances.
fn evenly(ring: &Ring) -> Vec<Point> {
    let Some(first) = ring.first() else { return Vec::new() };
    let closed: Path = ring.iter().copied().chain([*first]).collect();
    let count = (path_length(&closed) / STEP).floor().max(1.0);
    let step = path_length(&closed) / count;
    let (mut out, mut gone) = (Vec::new(), 0.0);
    for s in closed.windows(2) {
        let length = s[0].distance(s[1]);
        while out.len() as f64 * step < gone + length {
            let t = (out.len() as f64 * step - gone) / length.max(1e-12);
            out.push(s[0] + (s[1] - s[0]) * t);
        }
        gone += length;
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A disc of 60 mm with a bump so wide and so high at the right, or a notch.
    fn disc(wide: f64, high: f64) -> Ring {
        (0..1500)
            .map(|i| {
                let angle = std::f64::consts::TAU * f64::from(i) / 1500.0;
                let off = 60.0 * (if angle > 3.2 { angle - std::f64::consts::TAU } else { angle });
                let rise = (1.0 - (2.0 * off / wide).powi(2)).max(0.0) * high;
                let noise = 0.05 * libm::sin(f64::from(i * i % 97));
                point(libm::cos(angle), libm::sin(angle)) * (60.0 + rise + noise)
            })
            .collect()
    }

    fn worst(ring: &Ring) -> f64 {
        ring.iter().map(|p| (p.length() - 60.0).abs()).fold(0.0, f64::max)
    }

    #[test]
    fn a_bump_and_a_notch_of_a_few_millimetres_are_taken_off_and_said() {
        for (wide, high) in [(3.0, 2.0), (2.0, -4.0), (5.0, -1.5), (6.0, 2.5)] {
            let (ring, bumps) = without_bumps(&disc(wide, high));
            assert_eq!(bumps.len(), 1, "{wide} {high}");
            assert!((bumps[0].height - f64::abs(high)).abs() < 0.4, "{bumps:?}");
            assert!(worst(&ring) < 0.3, "{wide} {high}: {}", worst(&ring));
        }
    }

    #[test]
    fn what_is_large_or_no_more_than_noise_stays() {
        for (wide, high) in [(20.0, 3.0), (3.0, 0.1), (12.0, 14.0)] {
            let before = disc(wide, high);
            let (ring, bumps) = without_bumps(&before);
            assert!(bumps.is_empty() && ring == before, "{wide} {high}");
        }
    }

    #[test]
    fn corners_and_the_tips_of_darts_stay() {
        // A square with a dart of 12 mm at its mouth, 30 mm deep.
        let corners = [
            point(0.0, 0.0),
            point(100.0, 0.0),
            point(100.0, 100.0),
            point(56.0, 100.0),
            point(50.0, 70.0),
            point(44.0, 100.0),
            point(0.0, 100.0),
        ];
        let ring: Ring = (0..corners.len())
            .flat_map(|i| {
                let (a, b) = (corners[i], corners[(i + 1) % corners.len()]);
                (0..50).map(move |k| a + (b - a) * (f64::from(k) / 50.0))
            })
            .collect();
        let (after, bumps) = without_bumps(&ring);
        assert!(bumps.is_empty() && after == ring);
    }
}
