//! Lines drawn on a skin: the arrow, relief cuts, marks.

use super::axis::axis;
use super::doubt::{Cause, Doubt};
use super::flat::Flat;
use super::look::Look;
use super::mask::{Mask, pieces};
use super::middle_line::middle_line;
use super::options::NetLine;
use crate::geometry::{Path, Point, Ring, point, ring_contains};
use image::GrayImage;
use nalgebra::{Matrix3, Vector3};

/// Least length of an arrow, mm: letters are shorter.
pub const LEAST_ARROW: f64 = 40.0;
/// Least length of a relief cut, mm: ticks are shorter.
pub const LEAST_CUT: f64 = 15.0;
/// Least length of any line, mm.
const LEAST_LINE: f64 = 6.0;
/// How near a line must come to the net line to reach it, mm.
const REACHES: f64 = 4.0;
/// A line counts as a relief cut if the network calls so much of it one, of 255.
const RELIEF: f64 = 80.0;
/// From this sum of its answers for a relief cut and a gap on a line is one of them, of 255; it is
/// then drawn on to the net line over so many mm.
const SURE: f64 = 150.0;
const ONWARD: f64 = 15.0;
/// Arrows whose ends lie no further apart in all are one, mm.
const SAME: f64 = 20.0;
/// A shaft that bows out by a larger share of its length is bent.
const BENT: f64 = 0.006;
/// A straight line is hardly longer than the way between its ends.
const STRAIGHT: f64 = 0.94;
/// Parts of one arrow lie at most so far apart, mm.
const APART: f64 = 5.0;

/// What is drawn on a patch.
#[derive(Clone, Debug, Default)]
pub(super) struct Lines {
    pub arrows: Vec<[Point; 2]>,
    pub cuts: Vec<Path>,
    pub marks: Vec<Path>,
    /// Ink at the net line that the network calls a relief cut's, and that has no shape of one.
    pub unclear: Vec<Path>,
}

/// The lines on a skin whose edge is the net line, 255: a fine slit is a line as ink is, whichever
/// of the two it looks like more; what is seen faintly goes on from what is seen well.
pub(super) fn lines_seen(look: &Look) -> GrayImage {
    /// The sum of the answers for ink, gap and relief cut, of 255: of what is seen well, of what is
    /// seen faintly, and the share of a line that is seen well.
    const WELL: u32 = 127;
    const FAINTLY: u32 = 50;
    const SHARE: usize = 4;
    let (w, h) = look.ink.dimensions();
    let sum = |x: u32, y: u32| {
        [&look.ink, &look.gap, &look.relief].iter().map(|i| u32::from(i.get_pixel(x, y)[0])).sum()
    };
    let faint = GrayImage::from_fn(w, h, |x, y| {
        let sum: u32 = sum(x, y);
        image::Luma([if sum > WELL {
            255
        } else if sum > FAINTLY {
            100
        } else {
            0
        }])
    });
    let mut out = super::mask::above(&faint, 127);
    for pixels in pieces(&faint, true) {
        let well = pixels.iter().filter(|p| faint.get_pixel(p.0, p.1)[0] > 127).count();
        if SHARE * well > pixels.len() {
            pixels.iter().for_each(|&(x, y)| out.put_pixel(x, y, image::Luma([255])));
        }
    }
    out
}

/// Sorts the ink within a net line into arrows, relief cuts and marks.
pub(super) fn lines(
    flat: &Flat,
    look: &Look,
    mask: &Mask,
    ink: &GrayImage,
    net: &Ring,
    holes: &[Ring],
    kind: NetLine,
) -> Lines {
    let mut ink = ink.clone();
    let plane =
        |&(x, y): &(u32, u32)| flat.plane(point(f64::from(x + mask.x), f64::from(y + mask.y)));
    let arrows = arrows(flat, look, &mut ink, &plane);
    let to_net = |p: Point| {
        distance(net, p).min(holes.iter().map(|h| distance(h, p)).fold(f64::INFINITY, f64::min))
    };
    let mut out = Lines { arrows, ..Lines::default() };
    let mut strokes = Vec::new();
    for pixels in pieces(&ink, true) {
        if (pixels.len() as f64) * flat.mm * flat.mm < 1.0 {
            continue;
        }
        if let Some(line) = middle_line(&pixels, mask, flat.mm, |p| flat.plane(p)) {
            strokes.push(Line { line, pixels });
        }
    }
    for Line { mut line, pixels } in joined(strokes) {
        let length = crate::geometry::path_length(&line);
        if length < LEAST_LINE || (pixels.len() as f64) * flat.mm * flat.mm < 3.0 {
            continue;
        }
        let mean = |of: &GrayImage| {
            pixels.iter().map(|p| f64::from(of.get_pixel(p.0, p.1)[0])).sum::<f64>()
                / pixels.len() as f64
        };
        let (relief, gap) = (mean(&look.relief), mean(&look.gap));
        // A line along the net line is the net line's own ink.
        let along = line.iter().filter(|p| to_net(**p) < 3.0).count();
        if along * 2 > line.len() {
            // Or the two legs of a narrow dart.
            if relief > RELIEF && line.iter().any(|p| to_net(*p) > LEAST_LINE) {
                out.unclear.push(line);
            }
            continue;
        }
        let (Some(&a), Some(&b)) = (line.first(), line.last()) else { continue };
        if to_net(a) > to_net(b) {
            line.reverse();
        }
        let (a, b) = (line[0], line[line.len() - 1]);
        let straight = a.distance(b) > STRAIGHT * length;
        // A line straight in from the edge of a skin is a cut; by a net line it may be a dart's leg.
        let likely = relief > RELIEF || kind == NetLine::Edge && to_net(b) > REACHES && straight;
        let begin = if to_net(a) < REACHES {
            foot(net, a).filter(|f| f.distance(a) < REACHES)
        } else if straight && relief + gap > SURE {
            // Near the edge the network may not see the first of it.
            onward(net, b, a)
        } else {
            None
        };
        let points: Vec<Point> = pixels.iter().map(plane).collect();
        if let Some(begin) = begin
            && length >= LEAST_CUT
            && likely
            && !has_head(&points, b, a)
        {
            line.insert(0, begin);
            out.cuts.push(line);
        } else {
            if relief > RELIEF && begin.is_some() {
                out.unclear.push(line.clone());
            }
            out.marks.push(line);
        }
    }
    out
}

/// True of ink from `b` to `a` that is wider near `a`: an arrow that points at the edge is a note.
fn has_head(ink: &[Point], b: Point, a: Point) -> bool {
    /// How far a head reaches, mm, and how far to either side of its line.
    const HEAD: f64 = 12.0;
    const WIDE: f64 = 2.0;
    let way = (a - b) * (1.0 / a.distance(b).max(1e-9));
    let wide = |p: &&Point| {
        let (along, across) = ((**p - a).dot(way), (**p - a).cross(way));
        along > -HEAD && across.abs() > WIDE
    };
    ink.iter().filter(wide).count() > 4
}

/// Where the way from `b` through `a` meets a ring, no further than [`ONWARD`] beyond `a`.
fn onward(ring: &Ring, b: Point, a: Point) -> Option<Point> {
    let way = (a - b) * (1.0 / a.distance(b).max(1e-9));
    let meets = |i: usize| {
        let (p, q) = (ring[i], ring[(i + 1) % ring.len()]);
        let cross = way.cross(q - p);
        let (t, u) = ((p - a).cross(q - p) / cross, (p - a).cross(way) / cross);
        (cross != 0.0 && (0.0..ONWARD).contains(&t) && (0.0..=1.0).contains(&u)).then_some(t)
    };
    (0..ring.len()).filter_map(meets).min_by(f64::total_cmp).map(|t| a + way * t)
}

/// A line and its pixels.
struct Line {
    line: Path,
    pixels: Vec<(u32, u32)>,
}

/// Straight lines that go on in one another behind a break are one: a pen skips, and the ground
/// that shows through a slit is not of one colour.
fn joined(mut lines: Vec<Line>) -> Vec<Line> {
    /// Longest break, mm; and by what a piece may lie off the line through both.
    const BREAK: f64 = 10.0;
    const OFF: f64 = 0.9;
    let join = |a: &Path, b: &Path| -> Option<Path> {
        let mut a = a.clone();
        let mut b = b.clone();
        let ends = |p: &Path| [p[0], p[p.len() - 1]];
        let near = |p: Point, q: &Path| p.distance(ends(q)[0]).min(p.distance(ends(q)[1]));
        if near(a[0], &b) < near(ends(&a)[1], &b) {
            a.reverse();
        }
        let end = ends(&a)[1];
        if end.distance(ends(&b)[1]) < end.distance(b[0]) {
            b.reverse();
        }
        let (first, last) = (a[0], ends(&b)[1]);
        let gap = end.distance(b[0]);
        let straight = a.iter().chain(&b).all(|p| p.distance_to_segment(first, last) < OFF);
        let goes_on = first.distance(last) > first.distance(end).max(b[0].distance(last)) + gap;
        (gap < BREAK && straight && goes_on).then(|| [a, b].concat())
    };
    while let Some((i, k, line)) = (0..lines.len()).find_map(|i| {
        (i + 1..lines.len()).find_map(|k| Some((i, k, join(&lines[i].line, &lines[k].line)?)))
    }) {
        let other = lines.swap_remove(k);
        lines[i].line = line;
        lines[i].pixels.extend(other.pixels);
    }
    lines
}

/// Lines in from the edge that the network sees faintly and that are none of those found.
pub(super) fn faint_lines(
    flat: &Flat,
    look: &Look,
    net: &Ring,
    found: &[&Path],
    arrow: Option<&[Point; 2]>,
) -> Vec<Doubt> {
    /// Seen faintly: the sum of its answers for ink, gap and relief cut, of 255.
    const FAINT: u32 = 50;
    /// What lies nearer to a line that was found is that line, mm; and how much of it may not.
    const OWN: f64 = 3.0;
    const NEW: f64 = 9.0;
    const STEP: f64 = 1.0;
    let (w, h) = look.gap.dimensions();
    let seen = GrayImage::from_fn(w, h, |x, y| {
        let at = |i: &GrayImage| u32::from(i.get_pixel(x, y)[0]);
        let is = at(&look.gap) + at(&look.relief) + at(&look.ink) > FAINT;
        image::Luma([if is { 255 } else { 0 }])
    });
    let mask = Mask { image: seen, x: look.x, y: look.y };
    let lines = pieces(&mask.image, true).into_iter().filter_map(|pixels| {
        let line = middle_line(&pixels, &mask, flat.mm, |p| flat.plane(p))?;
        Some(Line { line, pixels })
    });
    let of_found = |p: Point| {
        let near = |l: &[Point]| l.windows(2).any(|s| p.distance_to_segment(s[0], s[1]) < OWN);
        found.iter().any(|l| near(l)) || arrow.is_some_and(|a| near(a))
    };
    let faint = |line: Path| {
        let length = crate::geometry::path_length(&line);
        let (a, b) = (line[0], line[line.len() - 1]);
        let to_net = |p: Point| distance(net, p);
        let steps = line.windows(2).flat_map(|s| {
            let count = (s[0].distance(s[1]) / STEP).ceil().max(1.0);
            (0..count as u32).map(move |k| s[0] + (s[1] - s[0]) * (f64::from(k) / count))
        });
        let new = STEP * steps.filter(|p| !of_found(*p)).count() as f64;
        let in_from_edge = to_net(a).min(to_net(b)) < 2.0 * REACHES
            && to_net(a).max(to_net(b)) > LEAST_CUT / 2.0
            && ring_contains(net, (a + b) * 0.5);
        let straight = a.distance(b) > STRAIGHT * length;
        let is = in_from_edge && straight && length >= LEAST_CUT / 2.0 && new >= NEW;
        is.then_some(Doubt { path: line, length, cause: Cause::Faint })
    };
    joined(lines.collect()).into_iter().filter_map(|l| faint(l.line)).collect()
}

/// Pixels of ink that hang together.
type Stroke = Vec<(u32, u32)>;

/// The arrows: what the network calls an arrow's ink and has the shape of one, else ink that has
/// its shape. Their ink is taken away.
fn arrows(
    flat: &Flat,
    look: &Look,
    ink: &mut GrayImage,
    plane: &impl Fn(&(u32, u32)) -> Point,
) -> Vec<[Point; 2]> {
    let (w, h) = ink.dimensions();
    // A gap, or a line of the ground that shines through, is no ink of an arrow.
    let own_ink = GrayImage::from_fn(w, h, |x, y| {
        let at = |i: &GrayImage| i.get_pixel(x, y)[0];
        let is = at(ink) > 0 && at(&look.ink).max(at(&look.arrow)) > 110;
        image::Luma([if is { 255 } else { 0 }])
    });
    let seen = GrayImage::from_fn(w, h, |x, y| {
        let at = |i: &GrayImage| i.get_pixel(x, y)[0];
        let is = at(&look.arrow) > 127 && at(&look.skin).max(at(&own_ink)) > 127;
        image::Luma([if is { 255 } else { 0 }])
    });
    let near = imageproc::morphology::dilate(
        &seen,
        imageproc::distance_transform::Norm::L2,
        (APART / 2.0 / flat.mm).round() as u8,
    );
    let mut out: Vec<([Point; 2], Stroke)> = Vec::new();
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
                let same =
                    |o: &[Point; 2]| o[0].distance(arrow[0]) + o[1].distance(arrow[1]) < SAME;
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
    let seen_of = |o: &([Point; 2], Stroke)| -> i64 {
        let at = |i: &GrayImage, p: &(u32, u32)| i64::from(i.get_pixel(p.0, p.1)[0]);
        o.1.iter().map(|p| at(&look.arrow, p) - at(&look.gap, p) - at(&look.relief, p)).sum()
    };
    out.sort_by_key(|o| std::cmp::Reverse(seen_of(o)));
    if out.len() > 1 && 2 * seen_of(&out[1]) < seen_of(&out[0]) {
        out.truncate(1);
    }
    for (_, pixels) in &out {
        for &(x, y) in pixels {
            for (u, v) in (y.saturating_sub(3)..(y + 4).min(h))
                .flat_map(|v| (x.saturating_sub(3)..(x + 4).min(w)).map(move |u| (u, v)))
            {
                ink.put_pixel(u, v, image::Luma([0]));
            }
        }
    }
    out.into_iter().map(|o| o.0).collect()
}

pub(super) fn distance(ring: &Ring, p: Point) -> f64 {
    (0..ring.len())
        .map(|i| p.distance_to_segment(ring[i], ring[(i + 1) % ring.len()]))
        .fold(f64::INFINITY, f64::min)
}

/// The point of a ring that is nearest.
pub(super) fn foot(ring: &Ring, p: Point) -> Option<Point> {
    let on = |i: usize| {
        let (a, b) = (ring[i], ring[(i + 1) % ring.len()]);
        let ab = b - a;
        let t = if ab.dot(ab) > 0.0 { ((p - a).dot(ab) / ab.dot(ab)).clamp(0.0, 1.0) } else { 0.0 };
        a + ab * t
    };
    (0..ring.len()).map(on).min_by(|a, b| a.distance(p).total_cmp(&b.distance(p)))
}

/// Tail and head if the points are a straight line with a head at one end.
fn arrow_of(points: &[Point]) -> Option<[Point; 2]> {
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
        if bins.iter().any(|b| b.3 == 0.0) {
            return None;
        }
        let mut widths: Vec<f64> = bins.iter().map(|b| b.1 - b.0).collect();
        widths.sort_by(f64::total_cmp);
        let pen = widths[count / 2].max(0.3);
        let wide: Vec<usize> =
            (0..count).filter(|&i| bins[i].1 - bins[i].0 > (2.2 * pen).max(pen + 1.5)).collect();
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
        let middle =
            |i: usize| (low + (i as f64 + 0.5) * length / count as f64, bins[i].2 / bins[i].3);
        let m = shaft.len() as f64;
        let (st, su) =
            shaft.clone().map(middle).fold((0.0, 0.0), |a, (t, u)| (a.0 + t / m, a.1 + u / m));
        let (stt, stu) = shaft
            .clone()
            .map(middle)
            .fold((0.0, 0.0), |a, (t, u)| (a.0 + (t - st) * (t - st), a.1 + (t - st) * (u - su)));
        let slope = stu / stt.max(1e-9);
        let bow = shaft
            .clone()
            .map(middle)
            .map(|(t, u)| (u - su - slope * (t - st)).abs())
            .fold(0.0, f64::max);
        if bow > 0.06 * length + 1.0 {
            return None;
        }
        let on = |t: f64| origin + axis * t + point(-axis.y, axis.x) * (su + slope * (t - st));
        let mut ends = [on(low), on(high)];
        if bow > BENT * length {
            // A bent shaft is a parabola from where it begins to the tip.
            let (mut sums, mut right) = (Matrix3::zeros(), Vector3::zeros());
            for (t, u) in shaft.clone().map(middle) {
                let row = Vector3::new(1.0, (t - st) / length, ((t - st) / length).powi(2));
                sums += row * row.transpose();
                right += row * u;
            }
            let c = sums.lu().solve(&right)?;
            let at = |t: f64| {
                let s = (t - st) / length;
                origin + axis * t + point(-axis.y, axis.x) * (c[0] + c[1] * s + c[2] * s * s)
            };
            ends = [at(low), at(high)];
        }
        answer = Some(if head_at_end { ends } else { [ends[1], ends[0]] });
        origin = on(st);
        angle += libm::atan(slope);
    }
    answer
}

#[cfg(test)]
mod tests {
    use super::*;

    fn line(from: (f64, f64), to: (f64, f64)) -> Line {
        Line { line: vec![point(from.0, from.1), point(to.0, to.1)], pixels: vec![(0, 0)] }
    }

    #[test]
    fn a_straight_line_with_a_break_is_one_and_one_that_turns_there_is_two() {
        let whole = joined(vec![line((0.0, 0.0), (20.0, 0.0)), line((50.0, 0.3), (27.0, 0.2))]);
        assert_eq!(whole.len(), 1);
        let ends = [whole[0].line[0], whole[0].line[whole[0].line.len() - 1]];
        assert!((ends[0].distance(ends[1]) - 50.0).abs() < 0.1, "{ends:?}");
        assert_eq!(whole[0].pixels.len(), 2);
        let turned = vec![line((0.0, 0.0), (20.0, 0.0)), line((24.0, 2.0), (30.0, 20.0))];
        assert_eq!(joined(turned).len(), 2);
        let far = vec![line((0.0, 0.0), (20.0, 0.0)), line((45.0, 0.0), (60.0, 0.0))];
        assert_eq!(joined(far).len(), 2);
    }

    #[test]
    fn a_line_with_a_head_at_the_edge_is_no_cut() {
        let (b, a) = (point(0.0, 0.0), point(30.0, 0.0));
        let shaft: Vec<Point> = (0..=60).map(|i| point(f64::from(i) * 0.5, 0.3)).collect();
        assert!(!has_head(&shaft, b, a));
        let barb = (0..12).flat_map(|i| {
            let off = f64::from(i) * 0.5;
            [point(30.0 - off, off), point(30.0 - off, -off)]
        });
        let arrow: Vec<Point> = shaft.iter().copied().chain(barb.clone()).collect();
        assert!(has_head(&arrow, b, a));
        // The head at the other end is an arrow that points away.
        let away: Vec<Point> =
            shaft.into_iter().chain(barb.map(|p| point(30.0 - p.x, p.y))).collect();
        assert!(!has_head(&away, b, a));
    }
}
