//! Narrow gaps in an edge: slits, past which the outline runs, and the tips of darts.

use crate::geometry::{Point, point};
use image::GrayImage;
use imageproc::distance_transform::Norm;

/// What is narrower than this across is ink or a slit, not a dart or a hole, mm.
const THIN: f64 = 3.6;
/// Share of ground within [`AROUND`] of a gap's mouth: from this on the edge runs past it; below it
/// the mouth opens into a wider dart.
const OPEN: f64 = 0.28;
/// Width of a gap near its end as a share of that near its mouth: a dart's tip narrows, a slit or a
/// pen's line does not.
const TAPER: (f64, f64) = (0.58, 0.75);
/// What is wider than this is a dart whatever its mouth opens on, mm.
const WIDE: f64 = 2.7;
/// From this length on the taper of a gap can be told, mm.
pub(super) const LONG: f64 = 12.0;
/// A gap is as wide all along if its narrowest part has this share of the width of its widest.
const EVEN: f64 = 0.85;
/// What is drawn to the edge, an arrow or a letter, is no wider there than this share of its widest.
const FIGURE: f64 = 0.6;
/// Gaps no longer than this are the rounding of a corner, mm.
const LEAST_GAP: f64 = 4.0;
/// How far around a slit's mouth is looked, mm.
pub(super) const AROUND: f64 = 8.0;
/// How far from the middle of a slit's mouth the edge is mended, mm.
const MOUTH: f64 = 5.0;

/// What a narrow gap in the edge is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Gap {
    /// A slit or an inked line: the outline runs past it.
    Slit,
    /// The tip of a dart: the outline runs into it.
    Dart,
}

/// A narrow gap in an edge.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct NarrowGap {
    /// Its mouth, pixels of the mask.
    pub at: Point,
    /// Its length, mm.
    pub length: f64,
    /// What it is taken for.
    pub kind: Gap,
    /// Whether it narrows speaks against that, and nobody said.
    pub open: bool,
    /// Its pixels.
    pub pixels: Vec<(u32, u32)>,
}

/// A narrow gap by its shape.
pub(super) struct Shape {
    /// Its mouth, pixels of the mask.
    pub at: Point,
    /// Its length, mm.
    pub length: f64,
    /// Share of ground about its mouth.
    pub open: f64,
    /// What it is by whether it narrows, if that can be told.
    pub taper: Option<Gap>,
    /// It is as wide all along.
    pub even: bool,
    /// It is widest well within: drawn, not cut.
    pub figure: bool,
    /// Width where it is widest, mm.
    widest: f64,
}

/// Fills slits and lines that reach the edge, but not the tips of darts; `answered` says what the
/// gap of a number is, `said` decides where its shape contradicts itself. All narrow gaps.
pub(super) fn fill_slits(
    own: &mut GrayImage,
    mm: f64,
    said: Option<Gap>,
    answered: &dyn Fn(usize) -> Option<Gap>,
) -> Vec<NarrowGap> {
    let mut all: Vec<NarrowGap> = Vec::new();
    fill_gaps(own, mm, |gap, pixels| {
        let is_slit = gap.figure && gap.length >= LONG && said.is_none()
            || gap.open >= OPEN && gap.widest < WIDE;
        let speaks_against = gap.length >= LONG
            && match gap.taper {
                Some(Gap::Dart) => is_slit && !gap.even,
                Some(Gap::Slit) => !is_slit && (gap.even || gap.open >= OPEN),
                None => false,
            };
        let answer = answered(all.len());
        let by_shape = if is_slit { Gap::Slit } else { Gap::Dart };
        let kind = answer.or(said.filter(|_| speaks_against)).unwrap_or(by_shape);
        all.push(NarrowGap {
            at: gap.at,
            length: gap.length,
            kind,
            open: speaks_against && answer.is_none() && said.is_none(),
            pixels: pixels.to_vec(),
        });
        kind
    });
    all
}

/// Fills those of the narrow gaps in an edge that `decide` calls slits, given shape and pixels.
pub(super) fn fill_gaps(
    own: &mut GrayImage,
    mm: f64,
    mut decide: impl FnMut(&Shape, &[(u32, u32)]) -> Gap,
) {
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
            let at = point(mx, my);
            let shape = by_taper(&pixels, at, length / mm);
            let shape = Shape { length, open: ground / all, widest: shape.widest * mm, ..shape };
            let kind = decide(&shape, &pixels);
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

/// What a gap is by whether it narrows from its mouth to its end, `length` pixels away.
fn by_taper(pixels: &[(u32, u32)], mouth: Point, length: f64) -> Shape {
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
    let narrow = |part: f64, of: f64| part < FIGURE * of;
    // An arrow's head near the mouth has its shaft behind it, which does not narrow.
    let shaft = narrow(parts[2], widest) && !narrow(parts[3], parts[2]);
    let figure = narrow(parts[0], widest) && (parts[2].max(parts[3]) >= widest || shaft);
    Shape { at: mouth, length, open: 0.0, taper: likely, even, figure, widest }
}
