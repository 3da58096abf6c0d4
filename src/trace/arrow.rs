//! The arrow for the part's 0°, in the ways that people draw it.

use super::axis::axis;
use super::flat::Flat;
use super::look::Look;
use super::mask::pieces;
use crate::geometry::{Point, point};
use image::GrayImage;

/// Least length of an arrow, mm: letters are shorter.
pub const LEAST_ARROW: f64 = 40.0;
/// Arrows whose ends lie no further apart in all are one, mm.
const SAME: f64 = 20.0;
/// A shaft that bows out by a larger share of its length is bent.
const BENT: f64 = 0.006;
/// Parts of one arrow lie at most so far apart, mm.
const APART: f64 = 5.0;
/// An arrow's tail and its tip are so long, mm.
const TAIL: f64 = 5.0;
const TIP: f64 = 1.2;
/// A pen skips at most so many times 1.5 mm of an arrow.
const SKIPS: usize = 4;

/// An arrow that was found.
#[derive(Clone, Copy, Debug)]
pub(super) struct Arrow {
    /// Tail and tip, mm.
    pub ends: [Point; 2],
    /// By how much its direction may be off, radians; 0 for one straight stroke.
    pub unsure: f64,
}

impl Arrow {
    /// Moves the tail on along ink that is seen faintly; the pixels of this ink.
    fn drawn_on(&mut self, flat: &Flat, look: &Look) -> Vec<(u32, u32)> {
        /// The sum of the answers for any line, of 255, from which ink is seen.
        const SEEN: u32 = 60;
        const STEP: f64 = 0.5;
        /// A pen skips no further, mm; and a tail is no longer than this share of what is seen well.
        const SKIP: f64 = 4.0;
        const SHARE: f64 = 0.9;
        /// What is drawn on by less is the end of the stroke, mm.
        const LEAST: f64 = 3.0;
        let (w, h) = look.ink.dimensions();
        let pixel = |p: Point| {
            let q = flat.pixel(p) - point(f64::from(look.x), f64::from(look.y));
            let is = q.x >= 0.0 && q.y >= 0.0 && q.x < f64::from(w) && q.y < f64::from(h);
            is.then_some((q.x as u32, q.y as u32))
        };
        let seen = |p: Point| -> u32 {
            let Some((x, y)) = pixel(p) else { return 0 };
            let lines = [&look.ink, &look.arrow, &look.gap, &look.relief];
            lines.iter().map(|i| u32::from(i.get_pixel(x, y)[0])).sum()
        };
        let [tail, tip] = self.ends;
        let length = tail.distance(tip);
        let mut way = (tail - tip) * (1.0 / length.max(1e-9));
        let (mut at, mut last, mut missed, mut gone) = (tail, tail, 0.0, 0.0);
        let mut pixels = Vec::new();
        while missed <= SKIP && gone < SHARE * length {
            let (next, side) = (at + way * STEP, point(-way.y, way.x));
            let around = (-3..=3).map(|k| next + side * (0.3 * f64::from(k)));
            let best = around
                .max_by_key(|p| (seen(*p), std::cmp::Reverse((p.distance(next) * 10.0) as u32)));
            gone += STEP;
            match best.filter(|p| seen(*p) > SEEN) {
                Some(p) => {
                    let turned = p - at;
                    way = way * 0.9 + turned * (0.1 / turned.length().max(1e-9));
                    way = way * (1.0 / way.length().max(1e-9));
                    (at, last, missed) = (p, p, 0.0);
                    pixels.extend(pixel(p));
                }
                None => {
                    at = next;
                    missed += STEP;
                }
            }
        }
        if last.distance(tail) < LEAST {
            return Vec::new();
        }
        let off = (last - tip).cross(tail - tip) / last.distance(tip).max(1e-9);
        self.ends[0] = last;
        if off.abs() > BENT * last.distance(tip) {
            self.unsure = self.unsure.max(libm::atan2(off.abs(), length));
        }
        pixels
    }
}

/// Pixels of ink that hang together.
type Stroke = Vec<(u32, u32)>;

/// The arrows: what the network calls an arrow's ink and has the shape of one, else ink that has
/// its shape. Their ink is taken away.
pub(super) fn arrows(
    flat: &Flat,
    look: &Look,
    ink: &mut GrayImage,
    plane: &impl Fn(&(u32, u32)) -> Point,
) -> Vec<Arrow> {
    /// An arrow's ink that is seen faintly, of 255.
    const FAINT: u8 = 70;
    let (w, h) = ink.dimensions();
    // A gap, or a line of the ground that shines through, is no ink of an arrow.
    let own_ink = GrayImage::from_fn(w, h, |x, y| {
        let at = |i: &GrayImage| i.get_pixel(x, y)[0];
        let is = at(ink) > 0 && at(&look.ink).max(at(&look.arrow)) > 110;
        image::Luma([if is { 255 } else { 0 }])
    });
    let faint = GrayImage::from_fn(w, h, |x, y| {
        let at = |i: &GrayImage| i.get_pixel(x, y)[0];
        let is = at(&look.arrow) > FAINT && at(&look.skin).max(at(&own_ink)) > 127;
        image::Luma([if is { at(&look.arrow) } else { 0 }])
    });
    // What is seen faintly goes on from what is seen well.
    let mut seen = GrayImage::new(w, h);
    for pixels in pieces(&faint, true) {
        let well = pixels.iter().filter(|p| faint.get_pixel(p.0, p.1)[0] > 127).count();
        if 4 * well > pixels.len() {
            pixels.iter().for_each(|&(x, y)| seen.put_pixel(x, y, image::Luma([255])));
        }
    }
    let near = imageproc::morphology::dilate(
        &seen,
        imageproc::distance_transform::Norm::L2,
        (APART / 2.0 / flat.mm).round() as u8,
    );
    let mut out: Vec<(Arrow, Stroke)> = Vec::new();
    let inked = pieces(&own_ink, true);
    for group in pieces(&near, true) {
        let own: Vec<(u32, u32)> =
            group.into_iter().filter(|&(x, y)| seen.get_pixel(x, y)[0] > 0).collect();
        let group_of = super::mask::painted((w, h), &own);
        // With the rest of its strokes, if most of them are the arrow's.
        let whole = inked.iter().filter(|stroke| {
            let held = stroke.iter().filter(|p| seen.get_pixel(p.0, p.1)[0] > 0).count();
            2 * held > stroke.len() && stroke.iter().any(|p| group_of.get_pixel(p.0, p.1)[0] > 0)
        });
        let mut all: Vec<(u32, u32)> =
            whole.flatten().copied().chain(own.iter().copied()).collect();
        all.sort_unstable();
        all.dedup();
        for pixels in [all, own] {
            let points: Vec<Point> = pixels.iter().map(plane).collect();
            if let Some(arrow) = arrow_of(&points) {
                // Two groups of one stroke make it twice.
                let same = |o: &Arrow| {
                    o.ends[0].distance(arrow.ends[0]) + o.ends[1].distance(arrow.ends[1]) < SAME
                };
                if !out.iter().any(|o| same(&o.0)) {
                    out.push((arrow, pixels));
                }
                break;
            }
        }
    }
    if out.is_empty() {
        for pixels in pieces(&own_ink, true) {
            let of = |i: &GrayImage| {
                pixels.iter().map(|p| i64::from(i.get_pixel(p.0, p.1)[0])).sum::<i64>()
            };
            if of(&look.ink) < 2 * of(&look.gap) {
                continue;
            }
            let points: Vec<Point> = pixels.iter().map(plane).collect();
            out.extend(arrow_of(&points).map(|a| (a, pixels)));
        }
    }
    // One that the network sees far more of than of any other is the one. A gap is no ink.
    let seen_of = |o: &(Arrow, Stroke)| -> i64 {
        let at = |i: &GrayImage, p: &(u32, u32)| i64::from(i.get_pixel(p.0, p.1)[0]);
        o.1.iter().map(|p| at(&look.arrow, p) - at(&look.gap, p) - at(&look.relief, p)).sum()
    };
    out.sort_by_key(|o| std::cmp::Reverse(seen_of(o)));
    if out.len() > 1 && 2 * seen_of(&out[1]) < seen_of(&out[0]) {
        out.truncate(1);
    }
    for (arrow, pixels) in &mut out {
        pixels.extend(arrow.drawn_on(flat, look));
        for &mut (x, y) in pixels {
            for (u, v) in (y.saturating_sub(3)..(y + 4).min(h))
                .flat_map(|v| (x.saturating_sub(3)..(x + 4).min(w)).map(move |u| (u, v)))
            {
                ink.put_pixel(u, v, image::Luma([0]));
            }
        }
    }
    out.into_iter().map(|o| o.0).collect()
}

/// The arrow if the points are a straight line with a head at one end.
fn arrow_of(points: &[Point]) -> Option<Arrow> {
    let (mean, mut angle) = axis(points);
    let mut origin = mean;
    let mut answer = None;
    // The head pulls the axis of all points aside: the second round goes by the shaft alone.
    for _ in 0..3 {
        let axis = point(libm::cos(angle), libm::sin(angle));
        let along = |p: &Point| (*p - origin).dot(axis);
        let across = |p: &Point| axis.cross(*p - origin);
        let (low, high) = points
            .iter()
            .map(along)
            .fold((f64::INFINITY, f64::NEG_INFINITY), |a, t| (a.0.min(t), a.1.max(t)));
        let length = high - low;
        if length < LEAST_ARROW {
            return None;
        }
        let count = (length / 1.5) as usize;
        let mut bins = vec![(f64::INFINITY, f64::NEG_INFINITY, 0.0, 0.0); count];
        for p in points {
            let i = (((along(p) - low) / length * count as f64) as usize).min(count - 1);
            let u = across(p);
            bins[i] = (bins[i].0.min(u), bins[i].1.max(u), bins[i].2 + u, bins[i].3 + 1.0);
        }
        // A pen skips.
        let inked = |i: &usize| bins[*i].3 > 0.0;
        let longest = (0..count).fold((0, 0), |(most, now), i| {
            let now = if inked(&i) { 0 } else { now + 1 };
            (most.max(now), now)
        });
        let held = (0..count).filter(inked).count();
        if longest.0 > SKIPS || 5 * held < 4 * count {
            return None;
        }
        let mut widths: Vec<f64> =
            (0..count).filter(inked).map(|i| bins[i].1 - bins[i].0).collect();
        widths.sort_by(f64::total_cmp);
        let pen = widths[held / 2].max(0.3);
        let is_wide = |i: &usize| bins[*i].1 - bins[*i].0 > (2.2 * pen).max(pen + 1.5);
        let wide: Vec<usize> = (0..count).filter(inked).filter(is_wide).collect();
        let (Some(&first), Some(&last)) = (wide.first(), wide.last()) else { return None };
        let (head_at_end, shaft) = if first > count / 2 {
            (true, 1..first.saturating_sub(1))
        } else if last < count / 2 {
            (false, last + 2..count - 1)
        } else {
            return None;
        };
        if shaft.len() < count * 2 / 5 || pen > 8.0 {
            return None;
        }
        let middle = |i: usize| {
            (
                low + (i as f64 + 0.5) * length / count as f64,
                bins[i].2 / bins[i].3,
                bins[i].1 - bins[i].0,
            )
        };
        let shaft: Vec<(f64, f64, f64)> = shaft.filter(inked).map(middle).collect();
        let m = shaft.len() as f64;
        let (st, su) = shaft.iter().fold((0.0, 0.0), |a, (t, u, _)| (a.0 + t / m, a.1 + u / m));
        let (stt, stu) = shaft.iter().fold((0.0, 0.0), |a, (t, u, _)| {
            (a.0 + (t - st) * (t - st), a.1 + (t - st) * (u - su))
        });
        let slope = stu / stt.max(1e-9);
        let bow =
            shaft.iter().map(|(t, u, _)| (u - su - slope * (t - st)).abs()).fold(0.0, f64::max);
        if bow > 0.06 * length + 1.0 {
            return None;
        }
        let side = point(-axis.y, axis.x);
        let on = |t: f64| origin + axis * t + side * (su + slope * (t - st));
        let mut ends = [on(low), on(high)];
        // The tip, and where the shaft begins.
        let mean = |from: f64, to: f64| {
            let within = points.iter().filter(|p| (from..=to).contains(&along(p)));
            let sum = within.clone().map(across).sum::<f64>() / within.count().max(1) as f64;
            origin + axis * f64::midpoint(from, to) + side * sum
        };
        let (tail, tip) = match head_at_end {
            true => (mean(low, low + TAIL), mean(high - TIP, high)),
            false => (mean(high - TAIL, high), mean(low, low + TIP)),
        };
        let strokes = shaft.iter().map(|s| s.2).fold(0.0, f64::max) > (1.8 * pen).max(pen + 0.6);
        let off = side.dot(tip - on(along(&tip))).abs();
        if bow > BENT * length || off > BENT * length {
            // A bent shaft, or one of several strokes, goes from its tail to its tip.
            ends = if head_at_end { [tail, tip] } else { [tip, tail] };
        }
        let bent = f64::max(bow, off) > BENT * length || strokes;
        answer = Some(Arrow {
            ends: if head_at_end { ends } else { [ends[1], ends[0]] },
            // A stroke beside another, or a bow, turns it by as much as lies beside its line.
            unsure: if bent { libm::atan2(f64::max(2.0 * bow, pen), length) } else { 0.0 },
        });
        origin = on(st);
        angle += libm::atan(slope);
    }
    answer
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    /// A stroke 1.2 mm wide as points 0.4 mm apart.
    fn stroke(from: Point, to: Point) -> Vec<Point> {
        let (length, way) = (from.distance(to), (to - from) * (1.0 / from.distance(to)));
        let side = point(-way.y, way.x);
        (0..=(length / 0.4) as i32)
            .flat_map(|i| (-1..=1).map(move |k| (f64::from(i) * 0.4, f64::from(k) * 0.4)))
            .map(|(t, u)| from + way * t + side * u)
            .collect()
    }

    fn with_head(mut shaft: Vec<Point>, tip: Point) -> Vec<Point> {
        shaft.extend(stroke(tip, tip + point(-12.0, 6.0)));
        shaft.extend(stroke(tip, tip + point(-12.0, -6.0)));
        shaft
    }

    #[test]
    fn a_straight_arrow_is_sure_and_one_whose_pen_skips_is_found() {
        let tip = point(80.0, 0.0);
        let whole = arrow_of(&with_head(stroke(point(0.0, 0.0), tip), tip)).unwrap();
        assert!(whole.unsure == 0.0 && whole.ends[0].distance(point(0.0, 0.0)) < 1.0);
        let mut broken = stroke(point(0.0, 0.0), point(30.0, 0.0));
        broken.extend(stroke(point(35.0, 0.0), tip));
        let broken = arrow_of(&with_head(broken, tip)).unwrap();
        let way = broken.ends[1] - broken.ends[0];
        assert!(libm::atan2(way.y, way.x).abs() < 0.003, "{broken:?}");
        let far =
            [stroke(point(0.0, 0.0), point(25.0, 0.0)), stroke(point(38.0, 0.0), tip)].concat();
        assert!(arrow_of(&with_head(far, tip)).is_none());
    }

    #[test]
    fn an_arrow_of_two_strokes_goes_from_tail_to_tip_and_says_that_it_is_unsure() {
        let tip = point(80.0, 0.0);
        let mut shaft = stroke(point(0.0, 0.0), point(45.0, 0.6));
        shaft.extend(stroke(point(38.0, -0.4), tip));
        let arrow = arrow_of(&with_head(shaft, tip)).unwrap();
        let way = arrow.ends[1] - arrow.ends[0];
        assert!(libm::atan2(way.y, way.x).abs() < 0.008, "{arrow:?}");
        assert!((0.005..0.06).contains(&arrow.unsure), "{arrow:?}");
    }
}
