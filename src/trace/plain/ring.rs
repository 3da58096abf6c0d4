//! Rings around a patch, to a part of a pixel: edges by the grey levels on both sides, inked lines
//! by their middle.

use super::flat::Flat;
use super::light::Light;
use crate::geometry::{Point, Ring, point, ring_area};
use crate::trace::grey::sample;
use crate::trace::mask::Mask;
use imageproc::contours::{BorderType, Contour, find_contours};

/// What runs along a ring.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Along {
    /// The edge of a patch lighter (or darker) than its ground.
    Edge {
        /// The patch is lighter.
        lighter: bool,
    },
    /// An inked line just outside of the mask, darker (or lighter) than the patch.
    Ink {
        /// The ink is darker.
        darker: bool,
    },
}

/// The outer ring and the holes of a mask, mm, each point where the grey levels put it.
pub(super) fn rings(
    flat: &Flat,
    light: &Light,
    mask: &Mask,
    along: Along,
) -> (Option<Ring>, Vec<Ring>) {
    let contours: Vec<Contour<i32>> = find_contours(&mask.image);
    let mut outer: Option<&Contour<i32>> = None;
    for c in contours.iter().filter(|c| c.border_type == BorderType::Outer && c.parent.is_none()) {
        if outer.is_none_or(|o| o.points.len() < c.points.len()) {
            outer = Some(c);
        }
    }
    let place = |c: &Contour<i32>| -> Vec<Point> {
        c.points
            .iter()
            .map(|p| point(f64::from(p.x) + f64::from(mask.x), f64::from(p.y) + f64::from(mask.y)))
            .collect()
    };
    let refined =
        |c: &Contour<i32>| refine(flat, light, &place(c), c.border_type == BorderType::Hole, along);
    let holes =
        contours.iter().filter(|c| c.border_type == BorderType::Hole && c.points.len() > 12);
    (outer.map(refined), holes.map(refined).collect())
}

/// Each point of a contour (pixels of the patch that border on the ground) moved along its normal
/// to where the edge is.
fn refine(flat: &Flat, light: &Light, contour: &[Point], hole: bool, along: Along) -> Ring {
    let n = contour.len();
    if n < 12 {
        return contour.iter().map(|&p| flat.plane(p)).collect();
    }
    // Steps of a pixel or a diagonal: the mean over a few gives the direction.
    let smooth: Vec<Point> = (0..n)
        .map(|i| (0..5).fold(point(0.0, 0.0), |a, k| a + contour[(i + n + k - 2) % n]) * 0.2)
        .collect();
    // The normal points out of the patch, which at a hole is inwards.
    let out = if (ring_area(contour) > 0.0) == hole { -1.0 } else { 1.0 };
    let mut found: Vec<Option<Point>> = Vec::with_capacity(n);
    for i in 0..n {
        let ahead = smooth[(i + 4) % n] - smooth[(i + n - 4) % n];
        let length = ahead.length();
        if length < 1e-6 {
            found.push(None);
            continue;
        }
        let normal = point(ahead.y, -ahead.x) * (out / length);
        found.push(match along {
            Along::Edge { lighter } => edge(flat, light, smooth[i], normal, lighter),
            Along::Ink { darker } => ink(flat, smooth[i], normal, darker),
        });
    }
    // The mean of the neighbours takes the noise of single profiles off; gaps stay gaps and are
    // bridged straight.
    let reach: usize = 3;
    (0..n)
        .step_by(2)
        .filter_map(|i| {
            let own = found[i]?;
            let (mut sum, mut weight) = (own, 1.0);
            for k in 1..=reach {
                if let (Some(a), Some(b)) = (found[(i + k) % n], found[(i + n - k) % n]) {
                    // Round a corner the mean would cut it.
                    if (a + b - own * 2.0).length() > 0.6 * k as f64 {
                        break;
                    }
                    sum = sum + a + b;
                    weight += 2.0;
                }
            }
            Some(flat.plane(sum * (1.0 / weight)))
        })
        .collect()
}

/// Half-way between the levels on both sides, along a normal, pixels.
fn edge(flat: &Flat, light: &Light, at: Point, normal: Point, lighter: bool) -> Option<Point> {
    const REACH: f64 = 5.0;
    const STEP: f64 = 0.25;
    /// Further from where the mask ends lies no edge but the flank of a slit, whose mouth the
    /// outline runs past.
    const NEAR: f64 = 2.5;
    let sign = if lighter { 1.0 } else { -1.0 };
    let value = |s: f64| {
        let p = at + normal * s;
        sign * sample(&flat.grey, p.x, p.y)
    };
    let (lo, hi) = light.levels(at);
    let mean = |from: f64| (0..4).map(|i| value(from + f64::from(i) * 0.5)).sum::<f64>() / 4.0;
    let (patch, ground) = (mean(-REACH), mean(REACH - 1.5));
    let usual = (lo + hi) / 2.0 * sign;
    // Ink or a neighbour within reach spoils the levels: then the light's own are better.
    let half = if patch - ground > 0.7 * (hi - lo) { (patch + ground) / 2.0 } else { usual };
    let count = (2.0 * REACH / STEP) as usize;
    let values: Vec<f64> = (0..=count).map(|i| value(-REACH + i as f64 * STEP)).collect();
    let crossing = |i: &usize| values[*i] >= half && values[*i + 1] < half;
    let place =
        |i: usize| -REACH + (i as f64 + (values[i] - half) / (values[i] - values[i + 1])) * STEP;
    let best = (0..count)
        .filter(crossing)
        .map(place)
        .min_by(|a, b| (a - 0.5).abs().total_cmp(&(b - 0.5).abs()))?;
    (best.abs() <= NEAR).then(|| at + normal * best)
}

/// The middle of an inked line just outside, along a normal, pixels.
fn ink(flat: &Flat, at: Point, normal: Point, darker: bool) -> Option<Point> {
    let sign = if darker { -1.0 } else { 1.0 };
    let value = |s: f64| {
        let p = at + normal * s;
        sign * sample(&flat.grey, p.x, p.y)
    };
    let steps = (5.0 / flat.mm * 4.0) as usize;
    let place = |i: usize| -1.5 + i as f64 * 0.25;
    let values: Vec<f64> = (0..steps).map(|i| value(place(i))).collect();
    let paper = value(-3.0).min(values.first().copied()?);
    let near = values
        .iter()
        .take((4.0 / flat.mm * 4.0) as usize)
        .copied()
        .fold(f64::NEG_INFINITY, f64::max);
    let limit = paper + 0.5 * (near - paper);
    let first = values.iter().position(|v| *v > limit)?;
    let last = first + values.iter().skip(first).position(|v| *v <= limit)?;
    let (mut sum, mut weight) = (0.0, 0.0);
    for (i, v) in values.iter().enumerate().take(last).skip(first) {
        sum += place(i) * (v - paper);
        weight += v - paper;
    }
    (weight > 0.0).then(|| at + normal * (sum / weight))
}
