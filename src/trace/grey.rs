//! Pictures with bilinear look-ups, and grey from colour.

use image::{GrayImage, RgbImage};
use rayon::prelude::*;

/// The grey value at a place between pixel centres, 0 to 255; whole numbers are pixel centres.
/// Outside it is the nearest edge's.
pub(super) fn sample(image: &GrayImage, x: f64, y: f64) -> f64 {
    let (w, h) = (image.width() as usize, image.height() as usize);
    if w == 0 || h == 0 || !x.is_finite() || !y.is_finite() {
        return 0.0;
    }
    let x = x.clamp(0.0, (w - 1) as f64);
    let y = y.clamp(0.0, (h - 1) as f64);
    let (x0, y0) = (x as usize, y as usize);
    let (x1, y1) = ((x0 + 1).min(w - 1), (y0 + 1).min(h - 1));
    let (fx, fy) = (x - x0 as f64, y - y0 as f64);
    let raw = image.as_raw();
    let at = |x: usize, y: usize| f64::from(raw[y * w + x]);
    (at(x0, y0) * (1.0 - fx) + at(x1, y0) * fx) * (1.0 - fy)
        + (at(x0, y1) * (1.0 - fx) + at(x1, y1) * fx) * fy
}

/// The colour at a place between pixel centres, as [`sample`].
pub(super) fn sample_colour(image: &RgbImage, x: f64, y: f64) -> [f64; 3] {
    let (w, h) = (image.width() as usize, image.height() as usize);
    if w == 0 || h == 0 || !x.is_finite() || !y.is_finite() {
        return [0.0; 3];
    }
    let x = x.clamp(0.0, (w - 1) as f64);
    let y = y.clamp(0.0, (h - 1) as f64);
    let (x0, y0) = (x as usize, y as usize);
    let (x1, y1) = ((x0 + 1).min(w - 1), (y0 + 1).min(h - 1));
    let (fx, fy) = (x - x0 as f64, y - y0 as f64);
    let raw = image.as_raw();
    std::array::from_fn(|c| {
        let at = |x: usize, y: usize| f64::from(raw[3 * (y * w + x) + c]);
        (at(x0, y0) * (1.0 - fx) + at(x1, y0) * fx) * (1.0 - fy)
            + (at(x0, y1) * (1.0 - fx) + at(x1, y1) * fx) * fy
    })
}

/// Luma of a colour (ITU-R BT.709).
pub(super) fn grey_of([r, g, b]: [u8; 3]) -> u8 {
    ((2126 * u32::from(r) + 7152 * u32::from(g) + 722 * u32::from(b) + 5000) / 10_000) as u8
}

/// A photo in grey.
pub(super) fn greyed(photo: &RgbImage) -> GrayImage {
    let mut out = GrayImage::new(photo.width(), photo.height());
    out.par_iter_mut()
        .zip(photo.par_chunks(3))
        .for_each(|(out, p)| *out = grey_of([p[0], p[1], p[2]]));
    out
}

/// Each pixel the mean of the 3 × 3 around it, which takes the grain off; edges as they were.
pub(super) fn smoothed(image: &GrayImage) -> GrayImage {
    let (w, h) = (image.width() as usize, image.height() as usize);
    let from = image.as_raw();
    let mut out = image.clone();
    if w < 3 || h < 3 {
        return out;
    }
    out.par_chunks_mut(w).enumerate().filter(|(y, _)| *y > 0 && *y + 1 < h).for_each(|(y, row)| {
        let line = |y: usize| &from[y * w..(y + 1) * w];
        let (a, b, c) = (line(y - 1), line(y), line(y + 1));
        let column = |x: usize| u16::from(a[x]) + u16::from(b[x]) + u16::from(c[x]);
        let (mut left, mut middle) = (column(0), column(1));
        for (x, inner) in row.iter_mut().enumerate().take(w - 1).skip(1) {
            let right = column(x + 1);
            *inner = ((left + middle + right + 4) / 9) as u8;
            (left, middle) = (middle, right);
        }
    });
    out
}
