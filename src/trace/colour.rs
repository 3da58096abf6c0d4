//! Where the network cannot say whether a place is skin, and skin and ground are each of one
//! colour, the colour says it.

use super::look::Look;
use super::mask::flood;
use image::{GrayImage, Luma, RgbImage, imageops::crop_imm};
use imageproc::distance_transform::Norm;
use imageproc::morphology::{dilate_mut, erode_mut};

/// Answers between these say nothing; beyond them they are sure, of 255.
const UNSURE: (u8, u8) = (40, 250);
/// An edge is a line of unsure answers: an area is wider, mm.
const WIDE: f64 = 1.8;
/// Colours are means over about so much, mm.
const SMOOTH: f64 = 0.8;
/// Skin and ground differ by at least so much (levels of 255), and by so many of their spreads.
const APART: f64 = 40.0;
const SPREADS: f64 = 2.5;
/// A place is of a colour if it lies nearer to it than this share of the way to the other.
const NEAR: f64 = 0.3;
/// So many times further from the ground's colour than from the skin's is no hole.
const OVERLAP: f64 = 1.8;

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
        // Ink may have the ground's colour.
        let inked = look.ink.get_pixel(x, y)[0] > UNSURE.0;
        Luma([if v > UNSURE.0 && v < UNSURE.1 && !inked { 255 } else { 0 }])
    });
    let reach = (WIDE / 2.0 / mm).round().max(1.0) as u8;
    erode_mut(&mut unsure, Norm::L2, reach);
    dilate_mut(&mut unsure, Norm::L2, reach);
    // A pen's line is narrower than what its colour is taken from.
    let smooth = imageproc::filter::gaussian_blur_f32(&part, (SMOOTH / mm) as f32);
    // What is parted from the ground by skin, and has nothing of its colour, is an overlap.
    let mut outside = GrayImage::new(w, h);
    let before = look.skin.clone();
    let open = |x: u32, y: u32| before.get_pixel(x, y)[0] <= 127;
    let rim =
        (0..w).flat_map(|x| [(x, 0), (x, h - 1)]).chain((0..h).flat_map(|y| [(0, y), (w - 1, y)]));
    for (x, y) in rim {
        flood(&mut outside, x, y, false, open);
    }
    for (x, y, v) in look.skin.enumerate_pixels_mut() {
        let own = Colour { mean: smooth.get_pixel(x, y).0.map(f64::from), spread: 0.0 };
        let (to_skin, to_ground) = (own.apart(&skin), own.apart(&ground));
        if outside.get_pixel(x, y)[0] == 0 && open(x, y) && to_ground > OVERLAP * to_skin {
            *v = Luma([255]);
        }
    }
    for ((v, seen), unsure) in look.skin.iter_mut().zip(smooth.pixels()).zip(unsure.iter()) {
        let own = Colour { mean: seen.0.map(f64::from), spread: 0.0 };
        *v = match () {
            () if *unsure == 0 => continue,
            () if own.apart(&skin) < NEAR * apart => 255,
            () if own.apart(&ground) < NEAR * apart => 0,
            () => continue,
        };
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Dark skin, 200 by 200 pixels, on a light ground; a hole in it and a light line on it, of both
    /// of which the network says so much.
    fn seen(unsure: u8, ground: impl Fn(u32, u32) -> u8) -> (Look, RgbImage) {
        let hole = |x: u32, y: u32| (120..160).contains(&x) && (120..160).contains(&y);
        let line = |x: u32, y: u32| (70..130).contains(&x) && (80..86).contains(&y);
        let on_skin = |x: u32, y: u32| (50..250).contains(&x) && (50..250).contains(&y);
        let blank = || GrayImage::new(300, 300);
        let skin = GrayImage::from_fn(300, 300, |x, y| {
            Luma([match () {
                () if hole(x, y) || line(x, y) => unsure,
                () if on_skin(x, y) => 255,
                () => 0,
            }])
        });
        let ink = GrayImage::from_fn(300, 300, |x, y| Luma([if line(x, y) { 250 } else { 0 }]));
        let picture = RgbImage::from_fn(300, 300, |x, y| {
            let dark = on_skin(x, y) && !hole(x, y) && !line(x, y);
            image::Rgb([if dark { 40 } else { ground(x, y) }; 3])
        });
        let look = Look {
            x: 0,
            y: 0,
            skin,
            inside: blank(),
            ink,
            arrow: blank(),
            relief: blank(),
            gap: blank(),
            skin_apart: blank(),
            inside_apart: blank(),
        };
        (look, picture)
    }

    #[test]
    fn an_unsure_place_of_the_grounds_colour_is_ground_but_ink_of_it_is_ink() {
        let (mut look, picture) = seen(190, |_, _| 180);
        settle(&mut look, &picture, 0.4);
        assert_eq!(look.skin.get_pixel(140, 140)[0], 0);
        assert_eq!(look.skin.get_pixel(100, 83)[0], 190);
    }

    #[test]
    fn a_dark_overlap_within_the_skin_is_no_hole_though_the_network_is_sure() {
        let (mut look, mut picture) = seen(20, |_, _| 180);
        settle(&mut look, &picture, 0.4);
        assert_eq!(look.skin.get_pixel(140, 140)[0], 20);
        for y in 118..162 {
            (118..162).for_each(|x| picture.put_pixel(x, y, image::Rgb([20; 3])));
        }
        settle(&mut look, &picture, 0.4);
        assert_eq!(look.skin.get_pixel(140, 140)[0], 255);
    }

    #[test]
    fn a_ground_of_many_colours_settles_nothing() {
        let (mut look, picture) = seen(190, |x, y| if (x / 9 + y / 9) % 2 == 0 { 20 } else { 240 });
        let before = look.skin.clone();
        settle(&mut look, &picture, 0.4);
        assert_eq!(look.skin, before);
    }
}
