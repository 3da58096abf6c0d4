//! Patches of the flat picture that may be templates: cut out, with ink and slits told from holes
//! and darts.

use super::flat::Flat;
use super::light::Light;
use crate::geometry::{Point, point, ring_area, ring_bounds, ring_contains};
use crate::trace::gap::{AROUND, Gap, LONG, fill_gaps};
use crate::trace::mask::{Mask, flood};
use image::GrayImage;
use imageproc::contours::{BorderType, Contour, find_contours};
use imageproc::distance_transform::Norm;

/// Least area of a template, mm².
const LEAST_AREA: f64 = 2_000.0;
/// A hole less than this across is ink, mm.
const LEAST_HOLE: f64 = 8.0;
/// Share of ground within [`AROUND`] of a gap's mouth: below the first the gap is a dart's tip,
/// above the second the edge runs past it and it is a slit. Between, a slit in a hollow edge and a
/// wide dart look alike.
const OPEN: (f64, f64) = (0.24, 0.42);

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
    fill_gaps(own, mm, |gap, _| {
        let (taper, length) = (gap.taper, gap.length);
        // Few pixels show no taper.
        let narrows = taper == Some(Gap::Dart) || (taper.is_none() && length < LONG);
        if gap.open < OPEN.0 && narrows {
            Gap::Dart
        } else if gap.open > OPEN.1 || (gap.open >= OPEN.0 && gap.even && length >= LONG) {
            Gap::Slit
        } else {
            // One that opens like a dart and does not narrow is neither: a slit that starts in a
            // dart, say.
            let likely = taper.filter(|_| gap.open >= OPEN.0);
            if said.is_none() {
                doubtful.push(DoubtfulGap { at: gap.at, length, likely });
            }
            said.or(likely).unwrap_or(Gap::Dart)
        }
    });
    doubtful
}
