//! What lies within an inked net line: the areas that the ink parts are each inside or outside as a
//! whole; where the line is open, the network's answers stand.

use super::look::Look;
use super::mask::{above, flood};
use image::{GrayImage, Luma};
use imageproc::distance_transform::{Norm, euclidean_squared_distance_transform};
use imageproc::morphology::{dilate, erode_mut};

/// Ink from this answer on belongs to a line, of 255.
const INK: u8 = 90;
/// A pen's breaks no longer than this do not open a line, mm.
const BREAK: f64 = 2.0;
/// Smaller areas are the network's to answer, mm².
const SMALL: f64 = 20.0;
/// An area that is the outside holds no more of what the network calls inside than this share of
/// what it calls inside in all; with more, the net line is open.
const ASTRAY: f64 = 0.12;
/// An area within the line is inside from this mean answer on, of 255.
const INSIDE: f64 = 127.0;
/// What lies so near to an answer that was wrong is measured by the ink, mm.
const NEAR: f64 = 3.0;

/// An area that ink parts from the rest.
struct Area {
    pixels: Vec<(u32, u32)>,
    /// The mean answer for inside, of 255.
    mean: f64,
    /// Pixels that the network calls inside.
    inside: usize,
    /// Reaches beyond the skin.
    outer: bool,
    /// Borders on the outside, or on what does.
    beside_outer: bool,
}

/// How much of each pixel is inside, 0 to 255; letters up to `letters` mm² are not told from holes
/// by their size.
pub(super) fn inside(look: &Look, mm: f64, letters: f64) -> GrayImage {
    let (w, h) = look.inside.dimensions();
    let pixels = |wide: f64| (wide / mm).round().max(1.0) as u8;
    let ink = closed_ink(&look.ink, mm);
    let area = |count: usize| count as f64 * mm * mm;
    let free = |x: u32, y: u32| ink.get_pixel(x, y)[0] == 0;
    let said = |p: &(u32, u32)| look.inside.get_pixel(p.0, p.1)[0];
    let mut done = GrayImage::new(w, h);
    let mut areas: Vec<Area> = Vec::new();
    for (x, y) in (0..h).flat_map(|y| (0..w).map(move |x| (x, y))) {
        let piece = flood(&mut done, x, y, false, free);
        if area(piece.len()) < SMALL {
            continue;
        }
        let on_skin = piece.iter().filter(|p| look.skin.get_pixel(p.0, p.1)[0] > 127).count();
        let sum: f64 = piece.iter().map(|p| f64::from(said(p))).sum();
        areas.push(Area {
            mean: sum / piece.len() as f64,
            inside: piece.iter().filter(|p| said(p) > 127).count(),
            outer: 20 * on_skin < 19 * piece.len(),
            beside_outer: false,
            pixels: piece,
        });
    }
    beside_outer(&mut areas, &ink);
    let all: usize = areas.iter().map(|a| a.inside).sum();
    // 1 is outside, 2 inside, 0 as the network says.
    let mut answer = GrayImage::new(w, h);
    let mut astray = GrayImage::new(w, h);
    for a in &areas {
        let open = a.outer && a.inside as f64 > ASTRAY * all as f64;
        // A closed line with more in it than letters have is a hole's.
        let hole = !a.outer && !a.beside_outer && area(a.pixels.len()) > letters;
        let is = match () {
            () if open => continue,
            () if a.outer || hole => 1,
            // What may be a letter's eye or a small hole is asked about later.
            () if !a.beside_outer && area(a.pixels.len()) <= letters => continue,
            () if a.mean >= INSIDE => 2,
            () => 1,
        };
        a.pixels.iter().for_each(|&(x, y)| answer.put_pixel(x, y, Luma([is])));
    }
    let to = |there: &dyn Fn(u32, u32) -> bool| {
        let there = |x, y| Luma([if there(x, y) { 255 } else { 0 }]);
        euclidean_squared_distance_transform(&GrayImage::from_fn(w, h, there))
    };
    let mut out = look.inside.clone();
    for ((v, a), wrong) in out.iter_mut().zip(answer.iter()).zip(astray.iter_mut()) {
        if *a == 1 && *v > 127 || *a == 2 && *v <= 127 {
            *wrong = 255;
        }
        *v = match *a {
            1 => (*v).min(20),
            2 => (*v).max(235),
            _ => *v,
        };
    }
    let to_in = to(&|x, y| answer.get_pixel(x, y)[0] == 2);
    if astray.iter().any(|v| *v > 0) {
        let near = dilate(&astray, Norm::L2, pixels(NEAR));
        let to_out = to(&|x, y| answer.get_pixel(x, y)[0] == 1);
        for (x, y, v) in out.enumerate_pixels_mut() {
            let (o, i) = (to_out.get_pixel(x, y)[0].sqrt(), to_in.get_pixel(x, y)[0].sqrt());
            if near.get_pixel(x, y)[0] > 0 && o.min(i) < NEAR / mm {
                *v = Luma([(127.5 + 64.0 * (o - i)).clamp(0.0, 255.0) as u8]);
            }
        }
    }
    // A dart that a tick closes is open: the ink between two outsides is outside.
    let closed = |a: &&Area| {
        !a.outer && a.beside_outer && answer.get_pixel(a.pixels[0].0, a.pixels[0].1)[0] == 1
    };
    for dart in areas.iter().filter(closed) {
        let own = super::mask::painted((w, h), &dart.pixels);
        let to_own = euclidean_squared_distance_transform(&own);
        let to_rest = to(&|x, y| answer.get_pixel(x, y)[0] == 1 && own.get_pixel(x, y)[0] == 0);
        for (x, y, v) in out.enumerate_pixels_mut() {
            let far = to_own.get_pixel(x, y)[0].max(to_rest.get_pixel(x, y)[0]);
            if far < (NEAR / mm).powi(2) && far < to_in.get_pixel(x, y)[0] {
                *v = Luma([(*v)[0].min(20)]);
            }
        }
    }
    out
}

/// The lines of ink, 255, with a pen's breaks closed.
pub(super) fn closed_ink(ink: &GrayImage, mm: f64) -> GrayImage {
    let reach = (BREAK / 2.0 / mm).round().max(1.0) as u8;
    let mut out = dilate(&above(ink, INK), Norm::L2, reach);
    erode_mut(&mut out, Norm::L2, reach);
    out
}

/// Marks the areas that only one line parts from the outside: the part itself, and what a line
/// across cuts off it. An area within these, parted from the outside by two lines, is not marked.
fn beside_outer(areas: &mut [Area], ink: &GrayImage) {
    let (w, h) = ink.dimensions();
    // Lines that hang together with one that borders on the outside.
    let mut outer = GrayImage::new(w, h);
    for a in areas.iter().filter(|a| a.outer) {
        a.pixels.iter().for_each(|&(x, y)| outer.put_pixel(x, y, Luma([255])));
    }
    let touches = |of: &GrayImage, x: u32, y: u32| {
        (y.saturating_sub(1)..(y + 2).min(h))
            .any(|v| (x.saturating_sub(1)..(x + 2).min(w)).any(|u| of.get_pixel(u, v)[0] > 0))
    };
    let mut net = GrayImage::new(w, h);
    for (x, y) in (0..h).flat_map(|y| (0..w).map(move |x| (x, y))) {
        if ink.get_pixel(x, y)[0] > 0 && touches(&outer, x, y) {
            flood(&mut net, x, y, true, |x, y| ink.get_pixel(x, y)[0] > 0);
        }
    }
    for a in areas.iter_mut() {
        a.beside_outer = a.pixels.iter().any(|p| touches(&net, p.0, p.1));
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A skin of 120 by 120 mm, 0.4 mm a pixel, on which rings of ink are drawn, each by its middle,
    /// inner and outer radius in pixels.
    fn seen(rings: &[(f64, f64, f64, f64)], inside: impl Fn(f64, f64) -> u8) -> Look {
        let blank = || GrayImage::new(300, 300);
        let at = |f: &dyn Fn(f64, f64) -> u8| {
            GrayImage::from_fn(300, 300, |x, y| Luma([f(f64::from(x), f64::from(y))]))
        };
        let on_ring = |x: f64, y: f64| {
            rings.iter().any(|r| {
                let d = libm::hypot(x - r.0, y - r.1);
                d >= r.2 && d <= r.3
            })
        };
        Look {
            x: 0,
            y: 0,
            skin: at(&|x, y| {
                if x.min(y) > 10.0 && x.max(y) < 290.0 { 255 } else { 0 }
            }),
            inside: at(&|x, y| inside(x, y)),
            ink: at(&|x, y| if on_ring(x, y) { 255 } else { 0 }),
            arrow: blank(),
            relief: blank(),
            gap: blank(),
            skin_apart: blank(),
            inside_apart: blank(),
        }
    }

    fn within(x: f64, y: f64, r: f64) -> bool {
        libm::hypot(x - 150.0, y - 150.0) < r
    }

    #[test]
    fn an_area_within_the_line_is_inside_though_a_part_of_it_seems_outside() {
        let look = seen(&[(150.0, 150.0, 118.0, 122.0)], |x, y| {
            if within(x, y, 120.0) && !within(x, y, 30.0) { 250 } else { 2 }
        });
        let found = inside(&look, 0.4, 1500.0);
        assert!(found.get_pixel(150, 150)[0] > 127 && found.get_pixel(150, 240)[0] > 127);
        assert!(found.get_pixel(150, 280)[0] < 127);
    }

    #[test]
    fn a_large_closed_line_within_the_net_line_is_a_hole_whatever_the_network_says() {
        let look = seen(&[(150.0, 150.0, 118.0, 122.0), (150.0, 150.0, 68.0, 72.0)], |x, y| {
            if within(x, y, 120.0) { 250 } else { 2 }
        });
        let found = inside(&look, 0.4, 1500.0);
        assert!(found.get_pixel(150, 150)[0] < 127 && found.get_pixel(150, 245)[0] > 127);
        // The edge is the middle of the line: 70 pixels from its centre.
        assert!(found.get_pixel(150, 150 + 68)[0] < 127 && found.get_pixel(150, 150 + 72)[0] > 127);
        // A letter's eye of the same look is not.
        let look = seen(&[(150.0, 150.0, 118.0, 122.0), (150.0, 150.0, 28.0, 32.0)], |x, y| {
            if within(x, y, 120.0) { 250 } else { 2 }
        });
        assert!(inside(&look, 0.4, 1500.0).get_pixel(150, 150)[0] > 127);
    }

    #[test]
    fn a_dart_whose_mouth_a_tick_closes_is_no_hole() {
        // From the line's left side inwards: 20 pixels wide at its mouth, closed by a line across.
        let dart = |x: f64, y: f64| {
            let half = 10.0 * (1.0 - (x - 32.0) / 80.0);
            ((32.0..112.0).contains(&x)).then_some((y - 150.0).abs() - half)
        };
        let inner = |x: f64, y: f64| dart(x, y).is_some_and(|d| d < 0.0);
        let mut look = seen(&[(150.0, 150.0, 118.0, 122.0)], |x, y| {
            if within(x, y, 120.0) && !inner(x, y) { 250 } else { 2 }
        });
        for (x, y, v) in look.ink.enumerate_pixels_mut() {
            let (x, y) = (f64::from(x), f64::from(y));
            let mouth = (28.0..33.0).contains(&x) && (y - 150.0).abs() < 8.0;
            if mouth || dart(x, y).is_some_and(|d| d.abs() < 2.0) {
                *v = Luma([255]);
            }
        }
        let found = inside(&look, 0.4, 1500.0);
        // A way from within the dart to the outside.
        assert!((20..60).all(|x| found.get_pixel(x, 150)[0] < 127));
        assert!(found.get_pixel(150, 150)[0] > 127);
    }

    #[test]
    fn a_line_that_is_open_leaves_the_answers_as_they_are() {
        let mut look =
            seen(&[(150.0, 150.0, 118.0, 122.0)], |x, y| if within(x, y, 120.0) { 250 } else { 2 });
        for y in 130..170 {
            for x in 260..280 {
                look.ink.put_pixel(x, y, Luma([0]));
            }
        }
        assert_eq!(inside(&look, 0.4, 1500.0), look.inside);
    }
}
