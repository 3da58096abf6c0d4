//! Lines drawn on a skin: the arrow, relief cuts, marks.

use super::arrow::{Arrow, arrows};
use super::doubt::{Cause, Doubt};
use super::flat::Flat;
use super::grey::sample_colour;
use super::look::Look;
use super::mask::{Mask, pieces};
use super::middle_line::middle_line;
use super::options::NetLine;
use crate::geometry::{Path, Point, Ring, point, ring_contains};
use image::GrayImage;

/// Least length of a relief cut, mm: ticks are shorter.
pub const LEAST_CUT: f64 = 15.0;
/// Least length of a slit, mm; and from which mean answer on, of 255, a line is one.
const LEAST_SLIT: f64 = 9.0;
const SLIT: f64 = 100.0;
/// Least length of any line, mm.
const LEAST_LINE: f64 = 6.0;
/// How near a line must come to the net line to reach it, mm.
const REACHES: f64 = 4.0;
/// A line counts as a relief cut if the network calls so much of it one, of 255.
const RELIEF: f64 = 80.0;
/// From this sum of its answers for a relief cut and a gap on a line is one of them, of 255; it is
/// then drawn on to the net line over so many mm.
const SURE: f64 = 150.0;
/// The same of a line straight in from the edge of a skin: a seam has less of either.
const RATHER: f64 = 40.0;
const ONWARD: f64 = 15.0;
/// A straight line is hardly longer than the way between its ends.
const STRAIGHT: f64 = 0.94;

/// What is drawn on a patch.
#[derive(Clone, Debug, Default)]
pub(super) struct Lines {
    pub arrows: Vec<Arrow>,
    pub cuts: Vec<Path>,
    pub marks: Vec<Path>,
    /// Ink at the net line that the network calls a relief cut's, and that has no shape of one.
    pub unclear: Vec<Path>,
}

/// The lines on a skin whose edge is the net line, 255: a fine slit is a line as ink is, whichever
/// of the two it looks like more; what is seen faintly goes on from what is seen well.
/// `slits` are gaps in the skin that are lines.
pub(super) fn lines_seen(look: &Look, slits: &GrayImage) -> GrayImage {
    /// The sum of the answers for ink, gap and relief cut, of 255: of what is seen well, of what is
    /// seen faintly, and the share of a line that is seen well.
    const WELL: u32 = 127;
    const FAINTLY: u32 = 50;
    const SHARE: usize = 4;
    let (w, h) = look.ink.dimensions();
    let sum = |x: u32, y: u32| {
        let seen = [&look.ink, &look.gap, &look.relief, slits];
        seen.iter().map(|i| u32::from(i.get_pixel(x, y)[0])).sum()
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

/// What lines are made of, as pictures that lie as the mask: all of it, and what of it is slits.
#[derive(Clone, Copy)]
pub(super) struct Drawn<'a> {
    pub ink: &'a GrayImage,
    pub slits: &'a GrayImage,
}

/// Sorts the ink within a net line into arrows, relief cuts and marks.
pub(super) fn lines(
    flat: &Flat,
    look: &Look,
    mask: &Mask,
    drawn: Drawn<'_>,
    net: &Ring,
    holes: &[Ring],
    kind: NetLine,
) -> Lines {
    let (mut ink, slits) = (drawn.ink.clone(), drawn.slits);
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
        let open = mean(slits) > SLIT;
        let least = if open || gap > SLIT { LEAST_SLIT } else { LEAST_CUT };
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
        if kind == NetLine::Edge {
            line = without_hook(line);
        }
        let (a, b) = (line[0], line[line.len() - 1]);
        let length = crate::geometry::path_length(&line);
        let straight = a.distance(b) > STRAIGHT * length;
        // A line straight in from the edge of a skin may be a cut; by a net line it may be a dart's
        // leg.
        let straight_in = kind == NetLine::Edge && to_net(b) > REACHES && (straight || open);
        let likely = relief > RELIEF || straight_in && (open || relief + gap > RATHER);
        let begin = if to_net(a) < REACHES {
            foot(net, a).filter(|f| f.distance(a) < REACHES)
        } else if straight && (open || relief + gap > SURE) {
            // Near the edge the network may not see the first of it.
            onward(net, b, a)
        } else {
            None
        };
        let points: Vec<Point> = pixels.iter().map(plane).collect();
        let of_ground =
            || kind == NetLine::Edge && !open && goes_on_beyond(flat, b, begin.unwrap_or(a));
        if let Some(begin) = begin
            && length >= least
            && likely
            && !has_head(&points, b, a)
            && !of_ground()
        {
            line.insert(0, begin);
            out.cuts.push(line);
        } else {
            let long = straight_in && length >= LEAST_CUT && !has_head(&points, b, a);
            if begin.is_some() && (relief > RELIEF || long) {
                out.unclear.push(line.clone());
            }
            out.marks.push(line);
        }
    }
    out
}

/// A straight line without what turns off at its end: a fold or a letter that it runs into.
fn without_hook(line: Path) -> Path {
    /// How far a straight line bows, mm; the least share of a line that is straight before a hook;
    /// and the least turn of a hook, radians.
    const BOW: f64 = 0.8;
    const SHARE: f64 = 0.65;
    const TURN: f64 = 0.45;
    let all = crate::geometry::path_length(&line);
    let straight = |to: &usize| {
        let (a, b) = (line[0], line[*to]);
        line[..=*to].iter().all(|p| p.distance_to_segment(a, b) < BOW)
    };
    let Some(to) = (1..line.len()).rev().find(straight) else { return line };
    if to + 1 == line.len() || crate::geometry::path_length(&line[..=to]) < SHARE * all {
        return line;
    }
    let (way, hook) = (line[to] - line[0], line[line.len() - 1] - line[to]);
    let turn = libm::atan2(way.cross(hook).abs(), way.dot(hook));
    if turn < TURN { line } else { line[..=to].to_vec() }
}

/// True of a line from `b` to `a`, at the edge, that goes on straight on the ground beyond: a seam of
/// planks or a line of a mat that shows through the skin.
fn goes_on_beyond(flat: &Flat, b: Point, a: Point) -> bool {
    /// The ground that is looked at, mm beyond the edge; and how far beside the line.
    const BEYOND: (f64, f64) = (3.0, 15.0);
    const BESIDE: f64 = 2.5;
    /// A line there differs from what lies beside it by so much (levels of 255), in so many of the
    /// looks, all lighter or all darker.
    const LEAST: f64 = 8.0;
    const SHARE: usize = 5;
    let way = (a - b) * (1.0 / a.distance(b).max(1e-9));
    let side = point(-way.y, way.x);
    let grey = |p: Point| {
        let q = flat.pixel(p);
        sample_colour(&flat.colour, q.x, q.y).iter().sum::<f64>() / 3.0
    };
    let count = ((BEYOND.1 - BEYOND.0) / 0.5) as usize;
    let offs = (0..count).map(|i| {
        let p = a + way * (BEYOND.0 + 0.5 * i as f64);
        let line = (-2..=2).map(|k| grey(p + side * (0.3 * f64::from(k)))).sum::<f64>() / 5.0;
        line - f64::midpoint(grey(p + side * BESIDE), grey(p - side * BESIDE))
    });
    let offs: Vec<f64> = offs.collect();
    let most = |is: fn(&f64) -> bool| {
        (SHARE + 1) * offs.iter().filter(|v| is(v)).count() >= SHARE * offs.len()
    };
    most(|v| *v > LEAST) || most(|v| *v < -LEAST)
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

    #[test]
    fn a_line_that_turns_off_at_its_end_ends_where_it_turns() {
        let cut = vec![point(0.0, 0.0), point(10.0, 0.2), point(20.0, 0.0)];
        let hook: Path = cut.iter().copied().chain([point(24.0, 3.0), point(27.0, 6.0)]).collect();
        assert_eq!(without_hook(hook), cut);
        // A bow is no hook, and what turns off early is another line.
        let bow: Path =
            (0..=20).map(|i| point(f64::from(i), 4.0 - 0.04 * f64::from(i - 10).powi(2))).collect();
        assert_eq!(without_hook(bow.clone()), bow);
        let corner = vec![point(0.0, 0.0), point(10.0, 0.0), point(10.0, 20.0)];
        assert_eq!(without_hook(corner.clone()), corner);
    }

    #[test]
    fn a_cut_that_is_a_gap_at_the_edge_and_ink_further_in_is_one_line() {
        let blank = || GrayImage::new(300, 200);
        let part = |from: u32, to: u32| {
            GrayImage::from_fn(300, 200, |x, y| {
                image::Luma([if (from..to).contains(&x) && (99..102).contains(&y) {
                    255
                } else {
                    0
                }])
            })
        };
        let look = Look {
            x: 0,
            y: 0,
            skin: GrayImage::from_pixel(300, 200, image::Luma([255])),
            inside: blank(),
            ink: part(60, 100),
            arrow: blank(),
            relief: blank(),
            gap: blank(),
            skin_apart: blank(),
            inside_apart: blank(),
        };
        let (mm, slits) = (0.4, part(20, 60));
        let flat = Flat {
            colour: image::RgbImage::new(300, 200),
            seen: GrayImage::from_pixel(300, 200, image::Luma([255])),
            mm,
            corner: point(0.0, 80.0),
        };
        let mask = Mask { image: look.skin.clone(), x: 0, y: 0 };
        let at = |x: f64, y: f64| flat.plane(point(x, y));
        let net = vec![at(20.0, 180.0), at(280.0, 180.0), at(280.0, 20.0), at(20.0, 20.0)];
        let ink = lines_seen(&look, &slits);
        let found = lines(
            &flat,
            &look,
            &mask,
            Drawn { ink: &ink, slits: &slits },
            &net,
            &[],
            NetLine::Edge,
        );
        assert_eq!(found.cuts.len(), 1, "{found:?}");
        let cut = &found.cuts[0];
        assert!(cut[0].distance(at(20.0, 100.0)) < 1.0, "{cut:?}");
        assert!(cut[cut.len() - 1].distance(at(99.0, 100.0)) < 1.5, "{cut:?}");
    }
}
