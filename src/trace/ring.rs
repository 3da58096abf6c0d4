//! Rings around a mask, to a part of a pixel: where a pixel is half skin and half ground.

use super::axis::axis;
use super::flat::Flat;
use super::grey::sample;
use super::mask::Mask;
use crate::geometry::{Path, Point, Ring, point, ring_area};
use image::GrayImage;
use imageproc::contours::{BorderType, Contour, find_contours};

/// The outer ring and the holes of a mask, mm, each point where a pixel's share of skin is half.
/// The shares, 0 to 255, lie as the mask does.
pub(super) fn rings(flat: &Flat, shares: &GrayImage, mask: &Mask) -> (Option<Ring>, Vec<Ring>) {
    let contours: Vec<Contour<i32>> = find_contours(&mask.image);
    let mut outer: Option<&Contour<i32>> = None;
    for c in contours.iter().filter(|c| c.border_type == BorderType::Outer && c.parent.is_none()) {
        if outer.is_none_or(|o| o.points.len() < c.points.len()) {
            outer = Some(c);
        }
    }
    let corner = point(f64::from(mask.x), f64::from(mask.y));
    let refined = |c: &Contour<i32>| -> Ring {
        let pixels: Vec<Point> =
            c.points.iter().map(|p| point(f64::from(p.x), f64::from(p.y))).collect();
        let ring = refine(shares, &pixels, c.border_type == BorderType::Hole);
        ring.into_iter().map(|p| flat.plane(p + corner)).collect()
    };
    let holes =
        contours.iter().filter(|c| c.border_type == BorderType::Hole && c.points.len() > 12);
    (outer.map(refined), holes.map(refined).collect())
}

/// Each point of a contour (pixels of the patch that border on the ground) moved along its normal
/// to where the edge is.
fn refine(shares: &GrayImage, contour: &[Point], hole: bool) -> Ring {
    let n = contour.len();
    if n < 12 {
        return contour.to_vec();
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
        found.push(edge(shares, smooth[i], normal));
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
            Some(sum * (1.0 / weight))
        })
        .collect()
}

/// Where the share of skin is half, along a normal, pixels.
fn edge(shares: &GrayImage, at: Point, normal: Point) -> Option<Point> {
    const REACH: f64 = 3.0;
    const STEP: f64 = 0.25;
    /// Further from where the mask ends lies no edge but the flank of a slit, whose mouth the
    /// outline runs past.
    const NEAR: f64 = 2.0;
    let value = |s: f64| {
        let p = at + normal * s;
        sample(shares, p.x, p.y) - 127.5
    };
    let count = (2.0 * REACH / STEP) as usize;
    let values: Vec<f64> = (0..=count).map(|i| value(-REACH + i as f64 * STEP)).collect();
    let crossing = |i: &usize| values[*i] >= 0.0 && values[*i + 1] < 0.0;
    let place = |i: usize| -REACH + (i as f64 + values[i] / (values[i] - values[i + 1])) * STEP;
    let best = (0..count)
        .filter(crossing)
        .map(place)
        .min_by(|a, b| (a - 0.5).abs().total_cmp(&(b - 0.5).abs()))?;
    (best.abs() <= NEAR).then(|| at + normal * best)
}

/// The tips of darts and other sharp corners, which blur shortens, put back where their straight
/// sides meet.
///
/// `closed` is the width below which a corner may be closed by blur, or by the pen, mm; `share` is
/// how much of a place is skin, of 255: sides that bend meet further out than the corner shows.
pub(super) fn sharpened(ring: &Ring, closed: f64, share: Option<&dyn Fn(Point) -> f64>) -> Ring {
    /// What shows less of a corner than this is none of it, of 255; and so far it goes on unseen, mm.
    const SHOWS: f64 = 40.0;
    const UNSEEN: f64 = 2.5;
    /// What closes more than this is a pen, mm.
    const PEN: f64 = 3.0;
    /// So far from the tip the sides are taken for straight, mm: from the first to the last of the
    /// lengths that holds.
    const FROM: f64 = 5.0;
    const TO: [f64; 4] = [45.0, 32.0, 24.0, 18.0];
    let n = ring.len();
    if n < 60 {
        return ring.clone();
    }
    let side = |tip: usize, step: usize| -> Option<(Side, usize)> {
        let (mut points, mut gone, mut i, mut first) = (Vec::new(), 0.0, tip, 0);
        let mut ends = Vec::new();
        while gone < TO[0] && first + points.len() < n / 3 {
            let next = (i + step) % n;
            gone += ring[i].distance(ring[next]);
            i = next;
            first += usize::from(gone < FROM);
            if gone >= FROM {
                points.push(ring[i]);
                ends.push(gone);
            }
        }
        let straight = |to: &f64| {
            let count = ends.partition_point(|e| e <= to);
            (ends.last().is_some_and(|e| e >= to) || *to == TO[0])
                .then(|| Side::through(&points[..count]))?
        };
        TO.iter().find_map(straight).map(|side| (side, first))
    };
    let mut out: Vec<Option<Point>> = ring.iter().copied().map(Some).collect();
    // Long enough to reach past a blunt end.
    let spacing = (0..n).map(|i| ring[i].distance(ring[(i + 1) % n])).sum::<f64>() / n as f64;
    let reach = if closed > PEN {
        ((1.4 * closed / spacing.max(1e-3)) as usize).clamp(8, n / 6)
    } else {
        8
    };
    let arm = |i: usize, step: usize| ring[(i + reach * step) % n] - ring[i];
    for i in 0..n {
        let sharp = |i: usize| {
            let (a, b) = (arm(i, n - 1), arm(i, 1));
            libm::atan2(a.cross(b).abs(), a.dot(b)).to_degrees()
        };
        let here = sharp(i);
        // The sharpest about; blur may have left a narrow tip blunt.
        if here > 110.0
            || (1..12).any(|k| sharp((i + k) % n) < here || sharp((i + n - k) % n) < here)
        {
            continue;
        }
        let (Some((a, back)), Some((b, on))) = (side(i, n - 1), side(i, 1)) else { continue };
        let cross = a.along.cross(b.along);
        if cross.abs() < 1e-6 {
            continue;
        }
        let tip = a.middle + a.along * ((b.middle - a.middle).cross(b.along) / cross);
        // Blur closes the last of a corner, where it is narrower than this; what is further off is
        // a corner that bends.
        let wedge = libm::atan2(cross.abs(), a.along.dot(b.along).abs());
        let lost = closed / (2.0 * libm::tan(wedge / 2.0)).max(0.1);
        if wedge < 75_f64.to_radians()
            && tip.distance(ring[i]) < lost.min(if closed > PEN { 25.0 } else { 16.0 })
        {
            let tip = share.map_or(tip, |share| {
                let within = (ring[(i + n - reach) % n] + ring[(i + reach) % n]) * 0.5;
                let is_gap = share(within) < 127.5;
                let shows = |p: Point| (if is_gap { 255.0 - share(p) } else { share(p) }) > SHOWS;
                let (far, step) = (tip.distance(ring[i]), 0.25);
                let along = |t: f64| ring[i] + (tip - ring[i]) * (t / far.max(1e-9));
                let count = (far / step) as usize;
                let seen = (0..=count).rev().map(|k| k as f64 * step).find(|t| shows(along(*t)));
                along(far.min(seen.unwrap_or(0.0) + UNSEEN))
            });
            for k in 1..=back {
                out[(i + n - k) % n] = None;
            }
            for k in 1..=on {
                out[(i + k) % n] = None;
            }
            out[i] = Some(tip);
        }
    }
    out.into_iter().flatten().collect()
}

/// The tips of an inked line's corners, which end where its two sides run into one stroke, drawn
/// out to where that stroke ends. The ink, 0 to 255, is a mask's picture.
pub(super) fn drawn_out(ring: &Ring, flat: &Flat, ink: &Mask) -> Ring {
    /// A corner that is less wide than this is a tip, degrees.
    const TIP: f64 = 75.0;
    /// Longest stroke, mm; what is shorter is the corner's own ink.
    const STROKE: (f64, f64) = (1.5, 60.0);
    const STEP: f64 = 0.2;
    /// Looks to either side, 0.15 mm apart.
    const MOST: i32 = 45;
    let corner = point(f64::from(ink.x), f64::from(ink.y));
    let dark = |p: Point| {
        let q = flat.pixel(p) - corner;
        sample(&ink.image, q.x, q.y) > 110.0
    };
    let n = ring.len();
    if n < 60 {
        return ring.clone();
    }
    let spacing = (0..n).map(|i| ring[i].distance(ring[(i + 1) % n])).sum::<f64>() / n as f64;
    let reach = ((6.0 / spacing.max(1e-3)) as usize).clamp(4, n / 6);
    let arms = |i: usize| (ring[(i + n - reach) % n] - ring[i], ring[(i + reach) % n] - ring[i]);
    let wide = |i: usize| {
        let (a, b) = arms(i);
        libm::atan2(a.cross(b).abs(), a.dot(b)).to_degrees()
    };
    let mut out = Ring::with_capacity(n);
    for (i, &corner) in ring.iter().enumerate() {
        out.push(corner);
        let here = wide(i);
        if here > TIP
            || (1..=reach).any(|k| wide((i + k) % n) < here || wide((i + n - k) % n) < here)
        {
            continue;
        }
        let (a, b) = arms(i);
        let along = a * (1.0 / a.length().max(1e-9)) + b * (1.0 / b.length().max(1e-9));
        let mut way = along * (-1.0 / along.length().max(1e-9));
        // Along the middle of the stroke, as wide as it is dark.
        let (mut at, mut gone, mut pen) = (corner, 0.0, 0.0);
        while gone < STROKE.1 {
            let next = at + way * STEP;
            let side = point(-way.y, way.x);
            let edge = |s: f64| {
                (0..MOST)
                    .map(|k| f64::from(k) * 0.15)
                    .take_while(|d| dark(next + side * (s * d)))
                    .count()
            };
            let (left, right) = (edge(1.0), edge(-1.0));
            if left == 0 && right == 0 || left + right > 60 {
                break;
            }
            let off = (left as f64 - right as f64) * 0.075;
            pen = f64::max(pen, (left + right) as f64 * 0.15);
            let middle = next + side * off.clamp(-0.1, 0.1);
            let turned = middle - at;
            way = way * 0.8 + turned * (0.2 / turned.length().max(1e-9));
            way = way * (1.0 / way.length().max(1e-9));
            at = middle;
            gone += STEP;
        }
        let tip = gone - pen / 2.0;
        if tip > STROKE.0 && gone < STROKE.1 {
            out.push(at - way * (pen / 2.0));
        }
    }
    out
}

/// A straight side.
#[derive(Clone, Copy, Debug)]
struct Side {
    middle: Point,
    /// Of length 1.
    along: Point,
}

impl Side {
    /// The line that lies nearest to all points (least squares across it); `None` if one is more
    /// than 0.35 mm off.
    fn through(points: &[Point]) -> Option<Side> {
        if points.len() < 6 {
            return None;
        }
        let (middle, angle) = axis(points);
        let along = point(libm::cos(angle), libm::sin(angle));
        points
            .iter()
            .all(|p| (*p - middle).cross(along).abs() < 0.35)
            .then_some(Side { middle, along })
    }
}

/// The ring without loops that measuring left in it: where it crosses itself, the shorter way round
/// from crossing to crossing goes, if it is short enough to be no part of a shape.
pub(super) fn uncrossed(ring: &Ring) -> Ring {
    /// Longest loop that is left out, mm.
    const LOOP: f64 = 15.0;
    let mut ring = ring.clone();
    // Each round takes a loop out.
    for _ in 0..200 {
        let n = ring.len();
        let mut gone = vec![0.0; n + 1];
        for i in 0..n {
            gone[i + 1] = gone[i] + ring[i].distance(ring[(i + 1) % n]);
        }
        // The shortest first: a long one may end in the narrow tip of a dart, whose sides cross by
        // a hair.
        let crossings = (0..n).filter_map(|i| {
            let mut k = 2;
            while k < n - 1 {
                let j = (i + k) % n;
                let along = if i + k < n {
                    gone[i + k] - gone[i + 1]
                } else {
                    gone[n] - gone[i + 1] + gone[i + k - n]
                };
                if along > LOOP {
                    return None;
                }
                if let Some(p) = crossing(ring[i], ring[(i + 1) % n], ring[j], ring[(j + 1) % n]) {
                    return Some((i, k, p, along));
                }
                k += 1;
            }
            None
        });
        let crossing = crossings.min_by(|a, b| a.3.total_cmp(&b.3)).map(|(i, k, p, _)| (i, k, p));
        let Some((i, k, p)) = crossing else { break };
        let mut next: Ring = (0..n - k).map(|m| ring[(i + k + 1 + m) % n]).collect();
        next.push(p);
        ring = next;
        if ring.len() < 4 {
            break;
        }
    }
    ring
}

/// Where two stretches cross, ends counted.
fn crossing(a: Point, b: Point, c: Point, d: Point) -> Option<Point> {
    let (r, s) = (b - a, d - c);
    let cross = r.cross(s);
    if cross.abs() < 1e-12 {
        return None;
    }
    let (t, u) = ((c - a).cross(s) / cross, (c - a).cross(r) / cross);
    ((0.0..=1.0).contains(&t) && (0.0..=1.0).contains(&u)).then(|| a + r * t)
}

/// The ring with as few points as stay within `tolerance` of it (Douglas and Peucker's method on
/// two halves).
pub(crate) fn simplified(ring: &Ring, tolerance: f64) -> Ring {
    let n = ring.len();
    if n < 4 {
        return ring.clone();
    }
    let far = (0..n)
        .max_by(|&a, &b| ring[0].distance(ring[a]).total_cmp(&ring[0].distance(ring[b])))
        .unwrap_or(n / 2);
    if far == 0 {
        return ring.clone();
    }
    let first = simplified_line(&ring[..=far], tolerance);
    let mut rest = ring[far..].to_vec();
    rest.push(ring[0]);
    let second = simplified_line(&rest, tolerance);
    first
        .iter()
        .chain(second.iter().skip(1).take(second.len().saturating_sub(2)))
        .copied()
        .collect()
}

/// The same for an open line.
pub(crate) fn simplified_line(line: &[Point], tolerance: f64) -> Path {
    let n = line.len();
    if n < 3 {
        return line.to_vec();
    }
    let mut keep = vec![false; n];
    keep[0] = true;
    keep[n - 1] = true;
    let mut open = vec![(0, n - 1)];
    while let Some((a, b)) = open.pop() {
        let off = |i: &usize| line[*i].distance_to_segment(line[a], line[b]);
        if let Some(i) = (a + 1..b).max_by(|i, j| off(i).total_cmp(&off(j)))
            && off(&i) > tolerance
        {
            keep[i] = true;
            open.extend([(a, i), (i, b)]);
        }
    }
    line.iter().zip(keep).filter(|(_, k)| *k).map(|(p, _)| *p).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn simplifying_stays_within_the_tolerance_and_keeps_corners() {
        let ring: Ring = (0..400)
            .map(|i| match i / 100 {
                0 => point(f64::from(i), 0.0),
                1 => point(100.0, f64::from(i - 100)),
                2 => point(f64::from(300 - i), 100.0),
                _ => point(0.0, f64::from(400 - i)),
            })
            .collect();
        let few = simplified(&ring, 0.2);
        assert_eq!(
            few,
            [point(0.0, 0.0), point(100.0, 0.0), point(100.0, 100.0), point(0.0, 100.0)]
        );
    }
}
