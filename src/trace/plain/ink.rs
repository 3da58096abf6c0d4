//! Lines drawn on a patch: the arrow, relief cuts, marks; and the region inside an inked net line.

use super::flat::Flat;
use super::light::Light;
use super::patch::{DoubtfulGap, Patch, fill_slits};
use crate::geometry::{Path, Point, Ring, point};
use crate::trace::axis::axis;
use crate::trace::gap::Gap;
use crate::trace::ink::{distance, foot};
use crate::trace::mask::{Mask, flood};
use crate::trace::middle_line::middle_line;
use image::{GrayImage, Luma};
use imageproc::distance_transform::Norm;

/// Least length of an arrow, mm: letters are shorter.
const LEAST_ARROW: f64 = 40.0;
/// Least length of a relief cut, mm: ticks are shorter.
const LEAST_CUT: f64 = 15.0;
/// Least length of any line, mm.
const LEAST_LINE: f64 = 6.0;
/// How near a line must come to the net line to reach it, mm.
const REACHES: f64 = 4.0;
/// Ink is at most so many times as light as the tape (or, light ink on dark tape, the tape as the
/// ink).
const INK: f64 = 0.72;

/// What is drawn on a patch.
#[derive(Clone, Debug, Default)]
pub(super) struct Lines {
    pub arrows: Vec<[Point; 2]>,
    pub cuts: Vec<Path>,
    pub marks: Vec<Path>,
}

/// Ink on a patch: 255 where there is some; and whether it is darker than the tape.
pub(super) fn ink_of(
    flat: &Flat,
    light: &Light,
    patch: &Patch,
    lighter: bool,
) -> (GrayImage, bool) {
    let mask = &patch.mask;
    // The blurred edge of the patch is as dark as ink.
    let mut core = mask.image.clone();
    imageproc::morphology::erode_mut(&mut core, Norm::L2, ((0.9 / flat.mm).round() as u8).max(2));
    let (w, h) = core.dimensions();
    let marked = |darker: bool| {
        GrayImage::from_fn(w, h, |x, y| {
            if core.get_pixel(x, y)[0] == 0 {
                return Luma([0]);
            }
            let (lo, hi) = light.levels(point(f64::from(x + mask.x), f64::from(y + mask.y)));
            let tape = if lighter { hi } else { lo };
            let v = f64::from(flat.grey.get_pixel(x + mask.x, y + mask.y)[0]);
            let is_ink = if darker { v < INK * tape } else { v * INK > tape + 3.0 };
            Luma([if is_ink { 255 } else { 0 }])
        })
    };
    if lighter {
        return (marked(true), true);
    }
    let (dark, light) = (marked(true), marked(false));
    let count = |i: &GrayImage| i.iter().filter(|v| **v > 0).count();
    if count(&dark) > count(&light) { (dark, true) } else { (light, false) }
}

/// The region inside the inked net line, with the holes that closed lines within make; `None` if no
/// line closes.
pub(super) fn inside_net(
    flat: &Flat,
    patch: &Patch,
    ink: &GrayImage,
    said: Option<Gap>,
) -> Option<(Mask, Vec<DoubtfulGap>)> {
    let (w, h) = ink.dimensions();
    // A line may have breaks of a pen's width.
    let reach = ((0.8 / flat.mm).round() as u8).max(1);
    let mut line = imageproc::morphology::dilate(ink, Norm::L2, reach);
    imageproc::morphology::erode_mut(&mut line, Norm::L2, reach);
    let paper =
        |x: u32, y: u32| patch.mask.image.get_pixel(x, y)[0] > 0 && line.get_pixel(x, y)[0] == 0;
    let mut done = GrayImage::new(w, h);
    let mut largest: Vec<(u32, u32)> = Vec::new();
    let mut others: Vec<Vec<(u32, u32)>> = Vec::new();
    for y in 0..h {
        for x in 0..w {
            if done.get_pixel(x, y)[0] > 0 || !paper(x, y) {
                continue;
            }
            let region = flood(&mut done, x, y, false, paper);
            let at_edge = region.iter().any(|&(x, y)| {
                [(x.wrapping_sub(1), y), (x + 1, y), (x, y.wrapping_sub(1)), (x, y + 1)]
                    .iter()
                    .any(|&(x, y)| x >= w || y >= h || patch.mask.image.get_pixel(x, y)[0] == 0)
            });
            if at_edge {
                continue;
            }
            if region.len() > largest.len() {
                others.push(std::mem::replace(&mut largest, region));
            } else {
                others.push(region);
            }
        }
    }
    // A net line that is worth tracing holds most of the skin.
    if (largest.len() as f64) * flat.mm * flat.mm < 0.3 * patch.area {
        return None;
    }
    let mut image = GrayImage::new(w, h);
    largest.iter().for_each(|&(x, y)| image.put_pixel(x, y, Luma([255])));
    let mut outside = GrayImage::new(w, h);
    flood(&mut outside, 0, 0, false, |x, y| image.get_pixel(x, y)[0] == 0);
    // What is enclosed is filled, but for regions as large as a hole, with the line around them.
    let hole_area = 150.0 / (flat.mm * flat.mm);
    let mut holes = GrayImage::new(w, h);
    for region in others.iter().filter(|r| {
        r.len() as f64 > hole_area && r.iter().all(|&(x, y)| outside.get_pixel(x, y)[0] == 0)
    }) {
        region.iter().for_each(|&(x, y)| holes.put_pixel(x, y, Luma([255])));
    }
    let mut around = holes.clone();
    for y in 0..h {
        for x in 0..w {
            // The closed line around a hole is all that lies between it and the region.
            if holes.get_pixel(x, y)[0] > 0 {
                for (dx, dy) in [(-1, 0), (1, 0), (0, -1), (0, 1)] {
                    if let (Some(x), Some(y)) = (x.checked_add_signed(dx), y.checked_add_signed(dy))
                    {
                        flood(&mut around, x, y, false, |x, y| {
                            image.get_pixel(x, y)[0] == 0 && outside.get_pixel(x, y)[0] == 0
                        });
                    }
                }
            }
        }
    }
    for y in 0..h {
        for x in 0..w {
            if outside.get_pixel(x, y)[0] == 0 && around.get_pixel(x, y)[0] == 0 {
                image.put_pixel(x, y, Luma([255]));
            }
        }
    }
    let gaps = fill_slits(&mut image, flat.mm, said);
    Some((Mask { image, x: patch.mask.x, y: patch.mask.y }, gaps))
}

/// Sorts the ink within a net line into arrows, relief cuts and marks.
pub(super) fn lines(
    flat: &Flat,
    patch: &Patch,
    ink: &GrayImage,
    net: &Ring,
    holes: &[Ring],
) -> Lines {
    let (w, h) = ink.dimensions();
    let mut done = GrayImage::new(w, h);
    let (mut strokes, mut arrows) = (Vec::new(), Vec::new());
    for y in 0..h {
        for x in 0..w {
            if ink.get_pixel(x, y)[0] == 0 || done.get_pixel(x, y)[0] > 0 {
                continue;
            }
            let pixels = flood(&mut done, x, y, true, |x, y| ink.get_pixel(x, y)[0] > 0);
            if (pixels.len() as f64) * flat.mm * flat.mm < 3.0 {
                continue;
            }
            let points: Vec<Point> = pixels
                .iter()
                .map(|&(x, y)| {
                    flat.plane(point(f64::from(x + patch.mask.x), f64::from(y + patch.mask.y)))
                })
                .collect();
            strokes.push(pixels);
            arrows.push(arrow_of(&points));
        }
    }
    let to_net = |p: Point| {
        distance(net, p).min(holes.iter().map(|h| distance(h, p)).fold(f64::INFINITY, f64::min))
    };
    // A cut at a dart can look like an arrow, but it comes to the edge: that is none if another is
    // clear of it.
    let clear = |a: &[Point; 2]| a.iter().all(|p| to_net(*p) > REACHES);
    let any_clear = arrows.iter().flatten().any(clear);
    let mut out = Lines::default();
    for (pixels, arrow) in strokes.into_iter().zip(arrows) {
        if let Some(arrow) = arrow.filter(|a| !any_clear || clear(a)) {
            out.arrows.push(arrow);
            continue;
        }
        let Some(mut line) = middle_line(&pixels, &patch.mask, flat.mm, |p| flat.plane(p)) else {
            continue;
        };
        let length = crate::geometry::path_length(&line);
        if length < LEAST_LINE {
            continue;
        }
        // A line along the net line is the net line's own ink.
        let along = line.iter().filter(|p| to_net(**p) < 3.0).count();
        if along * 2 > line.len() {
            continue;
        }
        let (Some(&a), Some(&b)) = (line.first(), line.last()) else {
            continue;
        };
        let at_start = to_net(a) <= to_net(b);
        let reaches = to_net(a).min(to_net(b)) < REACHES;
        if reaches && length >= LEAST_CUT {
            if !at_start {
                line.reverse();
            }
            if let Some(foot) = foot(net, line[0]).filter(|f| f.distance(line[0]) < REACHES) {
                line.insert(0, foot);
            }
            out.cuts.push(line);
        } else {
            out.marks.push(line);
        }
    }
    out
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
        let (Some(&first), Some(&last)) = (wide.first(), wide.last()) else {
            return None;
        };
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
        if bow > 0.03 * length + 1.0 {
            return None;
        }
        let on = |t: f64| origin + axis * t + point(-axis.y, axis.x) * (su + slope * (t - st));
        let ends = [on(low), on(high)];
        answer = Some(if head_at_end { ends } else { [ends[1], ends[0]] });
        origin = on(st);
        angle += libm::atan(slope);
    }
    answer
}
