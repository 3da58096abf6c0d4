//! Where the network cannot say whether a place is skin, and skin and ground are each of one
//! colour, the colour says it.

use super::look::Look;
use super::mask::pieces;
use image::{GrayImage, Luma, RgbImage, imageops::crop_imm};
use imageproc::distance_transform::Norm;
use imageproc::morphology::{dilate_mut, erode_mut};

/// Answers between these say nothing; beyond them they are sure, of 255.
const UNSURE: (u8, u8) = (40, 250);
/// An edge is a line of unsure answers: an area is wider, mm, and larger, mm².
const WIDE: f64 = 1.8;
const LEAST: f64 = 20.0;
/// Skin and ground differ by at least so much (levels of 255), and by so many of their spreads.
const APART: f64 = 40.0;
const SPREADS: f64 = 2.5;
/// A place is of a colour if it lies nearer to it than this share of the way to the other.
const NEAR: f64 = 0.3;

/// Mean and spread of a colour.
struct Colour {
    mean: [f64; 3],
    spread: f64,
}

impl Colour {
    fn of<'a>(pixels: impl Iterator<Item = &'a [u8; 3]> + Clone) -> Option<Colour> {
        let count = pixels.clone().count() as f64;
        if count < 500.0 {
            return None;
        }
        let mut mean = [0.0; 3];
        pixels.clone().for_each(|p| (0..3).for_each(|c| mean[c] += f64::from(p[c]) / count));
        let off = |p: &[u8; 3]| (0..3).map(|c| (f64::from(p[c]) - mean[c]).powi(2)).sum::<f64>();
        Some(Colour { mean, spread: (pixels.map(off).sum::<f64>() / count).sqrt() })
    }

    fn apart(&self, other: &Colour) -> f64 {
        (0..3).map(|c| (self.mean[c] - other.mean[c]).powi(2)).sum::<f64>().sqrt()
    }
}

/// Settles by colour what of a look is unsure; `picture` is the flat picture that was looked at.
pub(super) fn settle(look: &mut Look, picture: &RgbImage, mm: f64) {
    let (w, h) = look.skin.dimensions();
    let part = crop_imm(picture, look.x, look.y, w, h).to_image();
    let of = |is: &dyn Fn(u8) -> bool| -> Vec<[u8; 3]> {
        let both = part.pixels().zip(look.skin.iter());
        both.filter(|(c, v)| is(**v) && c.0 != [0; 3]).map(|(c, _)| c.0).collect()
    };
    let (skin, ground) = (of(&|v| v > UNSURE.1), of(&|v| v < UNSURE.0 / 2));
    let (Some(skin), Some(ground)) = (Colour::of(skin.iter()), Colour::of(ground.iter())) else {
        return;
    };
    let apart = skin.apart(&ground);
    if apart < APART || apart < SPREADS * skin.spread.max(ground.spread) {
        return;
    }
    let mut unsure = GrayImage::from_fn(w, h, |x, y| {
        let v = look.skin.get_pixel(x, y)[0];
        Luma([if v > UNSURE.0 && v < UNSURE.1 { 255 } else { 0 }])
    });
    let reach = (WIDE / 2.0 / mm).round().max(1.0) as u8;
    erode_mut(&mut unsure, Norm::L2, reach);
    dilate_mut(&mut unsure, Norm::L2, reach);
    for pixels in pieces(&unsure, false) {
        if (pixels.len() as f64) * mm * mm < LEAST {
            continue;
        }
        let own: Vec<[u8; 3]> = pixels.iter().map(|p| part.get_pixel(p.0, p.1).0).collect();
        let Some(own) = Colour::of(own.iter().cycle().take(own.len().max(500))) else { continue };
        let (to_skin, to_ground) = (own.apart(&skin), own.apart(&ground));
        let is = if to_skin < NEAR * apart {
            255
        } else if to_ground < NEAR * apart {
            0
        } else {
            continue;
        };
        pixels.iter().for_each(|&(x, y)| look.skin.put_pixel(x, y, Luma([is])));
    }
}
