//! Patches of the flat picture that may be templates: cut out, with ink and slits told from holes
//! and darts.

use super::flat::Flat;
use super::light::Light;
use crate::geometry::{Point, point, ring_area, ring_bounds, ring_contains};
use crate::trace::gap::Gap;
use crate::trace::mask::{Mask, flood};
use image::GrayImage;
use imageproc::contours::{BorderType, Contour, find_contours};
use imageproc::distance_transform::Norm;

/// Least area of a template, mm².
const LEAST_AREA: f64 = 2_000.0;
/// What is narrower than this across is ink or a slit, not a dart or a hole, mm.
const THIN: f64 = 3.6;
/// A hole less than this across is ink, mm.
const LEAST_HOLE: f64 = 8.0;
/// Share of ground within [`AROUND`] of a gap's mouth: below the first the gap is a dart's tip,
/// above the second the edge runs past it and it is a slit. Between, a slit in a hollow edge and a
/// wide dart look alike.
const OPEN: (f64, f64) = (0.24, 0.42);
/// Width of a gap near its end as a share of that near its mouth: a dart's tip narrows, a slit or a
/// pen's line does not.
const TAPER: (f64, f64) = (0.58, 0.75);
/// From this length on the taper of a gap can be told, mm.
const LONG: f64 = 12.0;
/// A gap is as wide all along if its narrowest part has this share of the width of its widest.
const EVEN: f64 = 0.85;
/// Gaps no longer than this are the rounding of a corner, mm.
const LEAST_GAP: f64 = 4.0;
/// How far around a slit's mouth is looked, mm.
const AROUND: f64 = 8.0;
/// How far from the middle of a slit's mouth the edge is mended, mm.
const MOUTH: f64 = 5.0;

/// A gap that could be either.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct DoubtfulGap {
    /// Its mouth, pixels of the mask.
    pub at: Point,
    /// Its length, mm.
    pub length: f64,
    /// What its shape speaks for, if for anything.
    pub likely: Option<Gap>,
}

/// A patch of one shade.
#[derive(Clone, Debug)]
pub(super) struct Patch {
    /// The patch with ink and slits filled, holes and darts open.
    pub mask: Mask,
    /// Its area, mm², with all holes filled.
    pub area: f64,
    /// Gaps in its edge that may be slits or darts.
    pub gaps: Vec<DoubtfulGap>,
}

/// The patches of one hypothesis.
#[derive(Clone, Debug, Default)]
pub(super) struct Patches {
    pub found: Vec<Patch>,
    /// Places and areas (mm²) of patches that reach the frame of the photo and hold no card.
    pub cut_off: Vec<(Point, f64)>,
    /// Places and areas of patches that touch a card.
    pub at_card: Vec<(Point, f64)>,
    /// Of small patches that were passed over.
    pub small: Vec<(Point, f64)>,
}

/// Cuts the patches out of a black and white picture in which cards and all that no photo shows are
/// black.
pub(super) fn patches(
    flat: &Flat,
    light: &Light,
    binary: &GrayImage,
    lighter: bool,
    cards: &[Vec<Point>],
    said: Option<Gap>,
) -> Patches {
    let mut out = Patches::default();
    let contours: Vec<Contour<u32>> = find_contours(binary);
    let mm2 = flat.mm * flat.mm;
    // A hole belongs to what is around it; what lies in the hole of a passed-over patch may be a
    // template again.
    let mut open = vec![false; contours.len()];
    let mut found: Vec<usize> = Vec::new();
    for (i, c) in contours.iter().enumerate() {
        let free = c.parent.is_none_or(|p| open[p]);
        if c.border_type == BorderType::Hole {
            open[i] = free;
            continue;
        }
        if !free || c.points.len() < 8 {
            continue;
        }
        let pixels: Vec<Point> =
            c.points.iter().map(|p| point(f64::from(p.x), f64::from(p.y))).collect();
        let area = (ring_area(&pixels).abs() + pixels.len() as f64 / 2.0) * mm2;
        if area < 100.0 {
            continue;
        }
        let ring: Vec<Point> = pixels.iter().map(|&p| flat.plane(p)).collect();
        let place = ring_bounds(&ring).map_or(ring[0], |b| b.centre());
        let holds_card = cards.iter().any(|card| {
            ring_contains(&ring, card.iter().fold(point(0.0, 0.0), |a, &p| a + p * 0.25))
        });
        let at_frame = c.points.iter().any(|p| touches_unseen(flat, p.x, p.y));
        let at_card = c.points.iter().any(|p| {
            let q = flat.plane(point(f64::from(p.x), f64::from(p.y)));
            cards.iter().any(|card| distance_to(card, q) < 4.0 * flat.mm)
        });
        if holds_card {
            open[i] = true;
        } else if at_frame {
            open[i] = true;
            if area >= LEAST_AREA {
                out.cut_off.push((place, area));
            }
        } else if at_card {
            if area >= LEAST_AREA {
                out.at_card.push((place, area));
            }
        } else if area >= LEAST_AREA {
            found.push(i);
        } else {
            out.small.push((place, area));
        }
    }
    out.found = found
        .iter()
        .filter_map(|&i| cut_out(flat, light, binary, lighter, &contours[i], said))
        .collect();
    out
}

fn distance_to(ring: &[Point], p: Point) -> f64 {
    if ring_contains(ring, p) {
        return 0.0;
    }
    (0..ring.len())
        .map(|i| p.distance_to_segment(ring[i], ring[(i + 1) % ring.len()]))
        .fold(f64::INFINITY, f64::min)
}

fn touches_unseen(flat: &Flat, x: u32, y: u32) -> bool {
    let (w, h) = flat.seen.dimensions();
    if x < 3 || y < 3 || x + 3 >= w || y + 3 >= h {
        return true;
    }
    [(x - 3, y), (x + 3, y), (x, y - 3), (x, y + 3)]
        .iter()
        .any(|&(x, y)| flat.seen.get_pixel(x, y)[0] == 0)
}

/// One patch by itself, with what is ink or slit filled.
fn cut_out(
    flat: &Flat,
    light: &Light,
    binary: &GrayImage,
    lighter: bool,
    contour: &Contour<u32>,
    said: Option<Gap>,
) -> Option<Patch> {
    let margin = (3.0 * AROUND / flat.mm) as u32 + 4;
    let (w, h) = binary.dimensions();
    let x0 = contour.points.iter().map(|p| p.x).min()?.saturating_sub(margin);
    let y0 = contour.points.iter().map(|p| p.y).min()?.saturating_sub(margin);
    let x1 = (contour.points.iter().map(|p| p.x).max()? + margin).min(w - 1);
    let y1 = (contour.points.iter().map(|p| p.y).max()? + margin).min(h - 1);
    let (cw, ch) = (x1 - x0 + 1, y1 - y0 + 1);
    let at = |x: u32, y: u32| binary.get_pixel(x + x0, y + y0)[0] > 0;
    let mut own = GrayImage::new(cw, ch);
    let first = contour.points.first()?;
    flood(&mut own, first.x - x0, first.y - y0, true, |x, y| {
        at(x, y) && x > 0 && y > 0 && x + 1 < cw && y + 1 < ch
    });
    fill_ink_holes(flat, light, lighter, &mut own, x0, y0);
    let gaps = fill_slits(&mut own, flat.mm, said);
    let area = own.iter().filter(|v| **v > 0).count() as f64 * flat.mm * flat.mm;
    Some(Patch { mask: Mask { image: own, x: x0, y: y0 }, area, gaps })
}

/// Fills the holes that are ink: too thin for a hole, or of another shade than the ground.
fn fill_ink_holes(
    flat: &Flat,
    light: &Light,
    lighter: bool,
    own: &mut GrayImage,
    x0: u32,
    y0: u32,
) {
    let (w, h) = own.dimensions();
    let mut done = GrayImage::new(w, h);
    flood(&mut done, 0, 0, false, |x, y| own.get_pixel(x, y)[0] == 0);
    for y in 0..h {
        for x in 0..w {
            if own.get_pixel(x, y)[0] > 0 || done.get_pixel(x, y)[0] > 0 {
                continue;
            }
            // One hole, with any island in it.
            let hole = flood(&mut done, x, y, false, |x, y| own.get_pixel(x, y)[0] == 0);
            if is_ink(flat, light, lighter, &hole, x0, y0) {
                hole.iter().for_each(|&(x, y)| own.put_pixel(x, y, image::Luma([255])));
            }
        }
    }
}

/// True if a hole is no hole but ink, or a closed line of ink with an island in it.
fn is_ink(
    flat: &Flat,
    light: &Light,
    lighter: bool,
    hole: &[(u32, u32)],
    x0: u32,
    y0: u32,
) -> bool {
    let (left, right) = hole.iter().fold((u32::MAX, 0), |b, p| (b.0.min(p.0), b.1.max(p.0)));
    let (top, bottom) = hole.iter().fold((u32::MAX, 0), |b, p| (b.0.min(p.1), b.1.max(p.1)));
    let mut patch = GrayImage::from_pixel(right - left + 3, bottom - top + 3, image::Luma([255]));
    let mut shade = Vec::new();
    for &(x, y) in hole {
        let (lo, hi) = light.levels(point(f64::from(x + x0), f64::from(y + y0)));
        let value = f64::from(flat.grey.get_pixel(x + x0, y + y0)[0]);
        if (value > (lo + hi) / 2.0) != lighter {
            patch.put_pixel(x - left + 1, y - top + 1, image::Luma([0]));
            shade.push(if lighter { (value - lo) / (hi - lo) } else { (hi - value) / (hi - lo) });
        }
    }
    // The greatest distance of the ground in it from all else is half its width.
    let mut across = GrayImage::from_fn(patch.width(), patch.height(), |x, y| {
        image::Luma([255 - patch.get_pixel(x, y)[0]])
    });
    let least = (LEAST_HOLE / 2.0 / flat.mm).round().clamp(1.0, 250.0) as u8;
    imageproc::morphology::erode_mut(&mut across, Norm::L2, least);
    if across.iter().all(|v| *v == 0) {
        return true;
    }
    shade.sort_by(f64::total_cmp);
    shade.get(shade.len() / 2).is_some_and(|s| s.abs() > 0.3)
}

/// Fills slits and lines that reach the edge, but not the tips of darts; `said` decides where shape
/// leaves it open. The gaps in doubt.
pub(super) fn fill_slits(own: &mut GrayImage, mm: f64, said: Option<Gap>) -> Vec<DoubtfulGap> {
    let mut doubtful = Vec::new();
    let (w, h) = own.dimensions();
    let reach = ((THIN / 2.0 / mm).round() as u8).max(1);
    let mut closed = imageproc::morphology::dilate(own, Norm::L2, reach);
    imageproc::morphology::erode_mut(&mut closed, Norm::L2, reach);
    let mut done = GrayImage::new(w, h);
    let around = (AROUND / mm) as i64;
    // Closing leaves a strip of a pixel here and there along the edge, which would join slits with
    // each other.
    let mut inner = closed.clone();
    imageproc::morphology::erode_mut(&mut inner, Norm::LInf, 1);
    for y in 0..h {
        for x in 0..w {
            let gap = |x: u32, y: u32| inner.get_pixel(x, y)[0] > 0 && own.get_pixel(x, y)[0] == 0;
            if !gap(x, y) || done.get_pixel(x, y)[0] > 0 {
                continue;
            }
            let mut pixels = vec![(x, y)];
            done.put_pixel(x, y, image::Luma([255]));
            let mut next = 0;
            let mut mouth: Vec<(u32, u32)> = Vec::new();
            while let Some(&(x, y)) = pixels.get(next) {
                next += 1;
                for (dx, dy) in
                    [(-1, 0), (1, 0), (0, -1), (0, 1), (-1, -1), (-1, 1), (1, -1), (1, 1)]
                {
                    let (Some(u), Some(v)) = (x.checked_add_signed(dx), y.checked_add_signed(dy))
                    else {
                        continue;
                    };
                    if u >= w || v >= h {
                        continue;
                    }
                    if gap(u, v) && done.get_pixel(u, v)[0] == 0 {
                        done.put_pixel(u, v, image::Luma([255]));
                        pixels.push((u, v));
                    } else if inner.get_pixel(u, v)[0] == 0 {
                        mouth.push((x, y));
                    }
                }
            }
            let area = pixels.len() as f64 * mm * mm;
            if area < 3.0 || mouth.is_empty() {
                continue;
            }
            let n = mouth.len() as f64;
            let (mx, my) = mouth
                .iter()
                .fold((0.0, 0.0), |a, m| (a.0 + f64::from(m.0) / n, a.1 + f64::from(m.1) / n));
            let length = pixels
                .iter()
                .map(|p| libm::hypot(f64::from(p.0) - mx, f64::from(p.1) - my))
                .fold(0.0, f64::max)
                * mm;
            let (mut ground, mut all) = (0.0, 0.0);
            for dy in -around..=around {
                for dx in -around..=around {
                    let (u, v) = (mx as i64 + dx, my as i64 + dy);
                    if dx * dx + dy * dy <= around * around
                        && u >= 0
                        && v >= 0
                        && u < i64::from(w)
                        && v < i64::from(h)
                    {
                        all += 1.0;
                        ground += f64::from(u8::from(closed.get_pixel(u as u32, v as u32)[0] == 0));
                    }
                }
            }
            if length <= LEAST_GAP {
                continue;
            }
            let open = ground / all;
            let (taper, even) = by_taper(&pixels, point(mx, my), length / mm);
            // Few pixels show no taper.
            let narrows = taper == Some(Gap::Dart) || (taper.is_none() && length < LONG);
            let kind = if open < OPEN.0 && narrows {
                Gap::Dart
            } else if open > OPEN.1 || (open >= OPEN.0 && even && length >= LONG) {
                Gap::Slit
            } else {
                // One that opens like a dart and does not narrow is neither: a slit that starts in
                // a dart, say.
                let likely = taper.filter(|_| open >= OPEN.0);
                if said.is_none() {
                    doubtful.push(DoubtfulGap { at: point(mx, my), length, likely });
                }
                said.or(likely).unwrap_or(Gap::Dart)
            };
            if kind == Gap::Slit {
                for (x, y) in pixels {
                    // With what of the strip along the edge lies before it.
                    for (u, v) in (y.saturating_sub(2)..(y + 3).min(h))
                        .flat_map(|v| (x.saturating_sub(2)..(x + 3).min(w)).map(move |u| (u, v)))
                    {
                        if closed.get_pixel(u, v)[0] > 0 {
                            own.put_pixel(u, v, image::Luma([255]));
                        }
                    }
                }
                bridge(own, mx, my, mm);
            }
        }
    }
    doubtful
}

/// Lets the edge run straight past a slit's mouth: closing by half a slit's width leaves a dip
/// between its rounded corners.
fn bridge(own: &mut GrayImage, x: f64, y: f64, mm: f64) {
    let (near, reach) = (MOUTH / mm, (AROUND / mm).round().clamp(1.0, 250.0));
    let half = (near + 2.0 * reach) as u32 + 2;
    let (left, top) = ((x as u32).saturating_sub(half), (y as u32).saturating_sub(half));
    let (w, h) = (
        (x as u32 + half).min(own.width() - 1) - left + 1,
        (y as u32 + half).min(own.height() - 1) - top + 1,
    );
    let part = image::imageops::crop_imm(own, left, top, w, h).to_image();
    let mut closed = imageproc::morphology::dilate(&part, Norm::L2, reach as u8);
    imageproc::morphology::erode_mut(&mut closed, Norm::L2, reach as u8);
    for (u, v, value) in closed.enumerate_pixels() {
        if value[0] > 0 && libm::hypot(f64::from(u + left) - x, f64::from(v + top) - y) <= near {
            own.put_pixel(u + left, v + top, image::Luma([255]));
        }
    }
}

/// What a gap is by whether it narrows from its mouth to its end, `length` pixels away, and whether
/// it is as wide all along.
fn by_taper(pixels: &[(u32, u32)], mouth: Point, length: f64) -> (Option<Gap>, bool) {
    let width = |low: f64, high: f64| {
        let away = |p: &&(u32, u32)| {
            let d = point(f64::from(p.0), f64::from(p.1)).distance(mouth) / length;
            d >= low && d < high
        };
        pixels.iter().filter(away).count() as f64 / ((high - low) * length)
    };
    let parts = [width(0.05, 0.2), width(0.2, 0.45), width(0.45, 0.8), width(0.8, 0.97)];
    let widest = parts.iter().copied().fold(1e-6, f64::max);
    let even = parts.iter().all(|w| *w > EVEN * widest);
    let taper = parts[3] / parts[1].max(1.0 / length);
    let likely = if taper <= TAPER.0 {
        Some(Gap::Dart)
    } else if taper >= TAPER.1 {
        Some(Gap::Slit)
    } else {
        None
    };
    (likely, even)
}
