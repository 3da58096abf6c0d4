//! How much of a pixel is skin: what edges are measured in.

use super::flat::Flat;
use super::grey::sample;
use super::light::Light;
use crate::geometry::{Point, point};
use image::{GrayImage, Luma};

/// The level of ground, and that of skin.
pub(super) const LEVELS: (f64, f64) = (64.0, 192.0);

/// A part of the flat picture in which ground has one level and skin another, whatever their
/// colours and the light.
#[derive(Clone, Debug)]
pub(super) struct Tone {
    pub image: GrayImage,
    /// Where its upper left pixel lies in the flat picture.
    pub x: u32,
    /// See `x`.
    pub y: u32,
}

impl Tone {
    /// By two levels under one smooth light, about a part of the flat picture.
    pub fn by_light(
        flat: &Flat,
        light: &Light,
        lighter: bool,
        x: u32,
        y: u32,
        width: u32,
        height: u32,
    ) -> Tone {
        use rayon::prelude::*;
        let mut image = GrayImage::new(width, height);
        image.par_chunks_mut(width as usize).enumerate().for_each(|(v, row)| {
            for (u, out) in row.iter_mut().enumerate() {
                let (px, py) = (x + u as u32, y + v as u32);
                let (lo, hi) = light.levels(point(f64::from(px), f64::from(py)));
                let value = (f64::from(flat.grey.get_pixel(px, py)[0]) - lo) / (hi - lo);
                *out = shade(if lighter { value } else { 1.0 - value });
            }
        });
        Tone { image, x, y }
    }

    /// The level at a pixel of the flat picture, as a share: ground 0, skin 1.
    pub fn share(&self, p: Point) -> f64 {
        (sample(&self.image, p.x - f64::from(self.x), p.y - f64::from(self.y)) - LEVELS.0)
            / (LEVELS.1 - LEVELS.0)
    }
}

/// The grey level of a share.
pub(super) fn shade(share: f64) -> u8 {
    (LEVELS.0 + share * (LEVELS.1 - LEVELS.0) + 0.5).clamp(0.0, 255.0) as u8
}

/// Black where a mask is white.
pub(super) fn inverted(image: &GrayImage) -> GrayImage {
    GrayImage::from_fn(image.width(), image.height(), |x, y| Luma([255 - image.get_pixel(x, y)[0]]))
}
