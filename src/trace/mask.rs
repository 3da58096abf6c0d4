//! Black and white parts of the flat picture.

use image::{GrayImage, Luma};

/// A black and white picture of a part of the flat picture.
#[derive(Clone, Debug)]
pub(super) struct Mask {
    /// 255 inside.
    pub image: GrayImage,
    /// Where its upper left pixel lies in the flat picture.
    pub x: u32,
    /// See `x`.
    pub y: u32,
}

/// 255 where a picture is above a level.
pub(super) fn above(image: &GrayImage, level: u8) -> GrayImage {
    let mut out = image.clone();
    out.iter_mut().for_each(|v| *v = if *v > level { 255 } else { 0 });
    out
}

/// Sets everything connected with a pixel for which `inside` holds to 255; by edges, and by corners
/// too if `eight`. Its pixels.
pub(super) fn flood(
    out: &mut GrayImage,
    x: u32,
    y: u32,
    eight: bool,
    inside: impl Fn(u32, u32) -> bool,
) -> Vec<(u32, u32)> {
    let (w, h) = out.dimensions();
    if x >= w || y >= h || out.get_pixel(x, y)[0] > 0 || !inside(x, y) {
        return Vec::new();
    }
    let mut pixels = vec![(x, y)];
    let mut next = 0;
    out.put_pixel(x, y, Luma([255]));
    while let Some(&(x, y)) = pixels.get(next) {
        next += 1;
        for (dx, dy) in [(-1, 0), (1, 0), (0, -1), (0, 1), (-1, -1), (-1, 1), (1, -1), (1, 1)]
            .into_iter()
            .take(if eight { 8 } else { 4 })
        {
            let (Some(x), Some(y)) = (x.checked_add_signed(dx), y.checked_add_signed(dy)) else {
                continue;
            };
            if x < w && y < h && out.get_pixel(x, y)[0] == 0 && inside(x, y) {
                out.put_pixel(x, y, Luma([255]));
                pixels.push((x, y));
            }
        }
    }
    pixels
}

/// The connected white pieces of a picture, by edges (and corners, if `eight`).
pub(super) fn pieces(image: &GrayImage, eight: bool) -> Vec<Vec<(u32, u32)>> {
    let (w, h) = image.dimensions();
    let mut done = GrayImage::new(w, h);
    let mut out = Vec::new();
    for (x, y) in (0..h).flat_map(|y| (0..w).map(move |x| (x, y))) {
        let pixels = flood(&mut done, x, y, eight, |x, y| image.get_pixel(x, y)[0] > 0);
        if !pixels.is_empty() {
            out.push(pixels);
        }
    }
    out
}

/// A picture that is white at some pixels.
pub(super) fn painted(size: (u32, u32), pixels: &[(u32, u32)]) -> GrayImage {
    let mut out = GrayImage::new(size.0, size.1);
    pixels.iter().for_each(|&(x, y)| out.put_pixel(x, y, Luma([255])));
    out
}

/// The largest connected white piece.
pub(super) fn main_piece(image: &GrayImage) -> GrayImage {
    let largest = pieces(image, false).into_iter().max_by_key(Vec::len).unwrap_or_default();
    painted(image.dimensions(), &largest)
}
