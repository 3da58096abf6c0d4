//! What a small network says of a photo: where skin, ink on it, the inside of an inked net line and
//! cards are.
//!
//! The network knows skins by what they look like and nothing of size; its answers are right to a
//! few pixels of a small copy of the photo. Edges are measured elsewhere. Its weights come from
//! `training/`.

mod forward;
mod near;
mod weights;

use crate::fault::Fault;
use forward::{Value, run};
use image::RgbImage;
use weights::Net;

pub(super) use near::{Answered, NearNet};

/// Longest side of the copy that is looked at, pixels.
pub const LOOKED_AT: u32 = 512;
/// Channels of the picture: red, green, blue.
const COLOURS: usize = 3;
/// Answers for each pixel: scores of four classes, then of skin and of inside.
const ANSWERS: usize = 6;

const WEIGHTS: &[u8] = include_bytes!("../../../assets/skin.net");

/// What a pixel shows.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Class {
    /// Ground, and things that lie on it.
    Ground,
    /// Tape, without ink.
    Skin,
    /// Ink on tape.
    Ink,
    /// A scale card.
    Card,
}

/// The answers, for each pixel of the small copy of a photo, row by row.
#[derive(Clone, Debug, PartialEq)]
pub struct Seen {
    /// Pixels across.
    pub width: usize,
    /// Pixels down.
    pub height: usize,
    /// What is most likely.
    pub class: Vec<Class>,
    /// How likely it is skin, inked or not, 0 to 1.
    pub skin: Vec<f32>,
    /// How likely it is inside of an inked net line, 0 to 1.
    pub inside: Vec<f32>,
}

/// Looks at a photo.
///
/// # Errors
/// Damaged weights.
pub fn look(photo: &RgbImage) -> Result<Seen, Fault> {
    let net = whole_net()?;
    let (width, height) = small_size(photo);
    let answers = run(&net, small_copy(photo, width, height, net.multiple));
    Ok(read_answers(&answers, width, height))
}

/// Looks at a photo as it is, turned by half a turn, and mirrored: what is surely there is seen all
/// three times. Each answer lies as the photo does.
///
/// # Errors
/// Damaged weights.
pub fn looks(photo: &RgbImage) -> Result<[Seen; 3], Fault> {
    let net = whole_net()?;
    let (width, height) = small_size(photo);
    let copy = small_copy(photo, width, height, net.multiple);
    let looked = |turned: bool, mirrored: bool| {
        let from = |x: usize, y: usize| match (turned, mirrored) {
            (true, _) => (width - 1 - x, height - 1 - y),
            (_, true) => (width - 1 - x, y),
            _ => (x, y),
        };
        let mut view = Value::new(COLOURS, copy.height, copy.width);
        for c in 0..COLOURS {
            for y in 0..height {
                for x in 0..width {
                    let (u, v) = from(x, y);
                    view.numbers[(c * copy.height + y) * copy.width + x] =
                        copy.numbers[(c * copy.height + v) * copy.width + u];
                }
            }
        }
        let seen = read_answers(&run(&net, view), width, height);
        let places = || {
            (0..height)
                .flat_map(|y| (0..width).map(move |x| (x, y)))
                .map(|(x, y)| from(x, y))
                .map(|(u, v)| v * width + u)
        };
        Seen {
            width,
            height,
            class: places().map(|i| seen.class[i]).collect(),
            skin: places().map(|i| seen.skin[i]).collect(),
            inside: places().map(|i| seen.inside[i]).collect(),
        }
    };
    let (plain, (turned, mirrored)) = rayon::join(
        || looked(false, false),
        || rayon::join(|| looked(true, false), || looked(false, true)),
    );
    Ok([plain, turned, mirrored])
}

fn whole_net() -> Result<Net, Fault> {
    let net = Net::read(WEIGHTS, COLOURS)?;
    if net.channels != 4 * ANSWERS {
        return Err(Fault::new(
            "the network's weights are damaged: they give other answers",
            "install the program again",
        ));
    }
    Ok(net)
}

/// Size of the small copy.
fn small_size(photo: &RgbImage) -> (usize, usize) {
    let (w, h) = (photo.width().max(1), photo.height().max(1));
    let side = |v: u32| {
        ((f64::from(v) * f64::from(LOOKED_AT) / f64::from(w.max(h))).round() as usize).max(1)
    };
    (side(w), side(h))
}

/// The photo at a smaller size, each pixel the mean of what it covers, from -2 to 2; what is beyond
/// it to full multiples is nought.
fn small_copy(photo: &RgbImage, width: usize, height: usize, multiple: usize) -> Value {
    let (w, h) = (photo.width() as usize, photo.height() as usize);
    let mut out =
        Value::new(COLOURS, height.next_multiple_of(multiple), width.next_multiple_of(multiple));
    let across: Vec<Vec<(usize, f32)>> = (0..width).map(|x| covered(x, width, w)).collect();
    let (plane, wide) = (out.height * out.width, out.width);
    for y in 0..height {
        for (row, share) in covered(y, height, h) {
            let pixels = &photo.as_raw()[row * w * COLOURS..(row + 1) * w * COLOURS];
            for (x, columns) in across.iter().enumerate() {
                let mut sum = [0.0_f32; COLOURS];
                for &(column, part) in columns {
                    for (sum, v) in sum.iter_mut().zip(&pixels[column * COLOURS..]) {
                        *sum += part * f32::from(*v);
                    }
                }
                for (c, sum) in sum.iter().enumerate() {
                    out.numbers[c * plane + y * wide + x] += sum * share;
                }
            }
        }
        for c in 0..COLOURS {
            for v in &mut out.numbers[c * plane + y * wide..c * plane + y * wide + width] {
                *v = *v * (4.0 / 255.0) - 2.0;
            }
        }
    }
    out
}

/// Which of `from` pixels the pixel `i` of `to` covers, and each one's share of it.
fn covered(i: usize, to: usize, from: usize) -> Vec<(usize, f32)> {
    let step = from as f64 / to as f64;
    let (begin, end) = (i as f64 * step, (i + 1) as f64 * step);
    let pixels = begin as usize..(end.ceil() as usize).min(from);
    pixels
        .map(|p| (p, (((p + 1) as f64).min(end) - (p as f64).max(begin)) / step))
        .map(|(p, share)| (p, share as f32))
        .collect()
}

/// Channels of two by two pixels become pixels, scores become classes and shares.
fn read_answers(answers: &Value, width: usize, height: usize) -> Seen {
    let plane = answers.height * answers.width;
    let score = |k: usize, x: usize, y: usize| {
        answers.numbers[(4 * k + 2 * (y % 2) + x % 2) * plane + y / 2 * answers.width + x / 2]
    };
    let likely = |k: usize, x: usize, y: usize| 1.0 / (1.0 + libm::expf(-score(k, x, y)));
    let mut seen = Seen { width, height, class: Vec::new(), skin: Vec::new(), inside: Vec::new() };
    for y in 0..height {
        for x in 0..width {
            let classes = [Class::Ground, Class::Skin, Class::Ink, Class::Card];
            let best =
                (0..classes.len()).max_by(|&a, &b| score(a, x, y).total_cmp(&score(b, x, y)));
            seen.class.push(classes[best.unwrap_or(0)]);
            seen.skin.push(likely(4, x, y));
            seen.inside.push(likely(5, x, y));
        }
    }
    seen
}

#[cfg(test)]
pub(crate) mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use image::Rgb;

    /// The fixed picture of `.ci/reference/check_net.py`, whole numbers only.
    pub(crate) fn picture() -> RgbImage {
        RgbImage::from_fn(512, 320, |x, y| {
            let (x, y) = (i64::from(x), i64::from(y));
            let far = (x - 260) * (x - 260) + (y - 150) * (y - 150);
            let mut c = [40 + (x * 3 + y) % 23, 90 + (x + y * 2) % 17, 70 + (x * y) % 13];
            if x % 40 < 2 || y % 40 < 2 {
                c = [150, 190, 160];
            }
            if far < 110 * 110 {
                let strip = (x + 2 * y) / 16 % 5 * 8;
                c = [215 - strip, 190 - strip, 140 + (x * 7 + y * 5) % 11];
            }
            if far > 80 * 80 && far < 83 * 83 || (x - y - 100).abs() < 2 && far < 60 * 60 {
                c = [30, 30, 40];
            }
            if (20..110).contains(&y) && (380..500).contains(&x) {
                c = [235, 235, 230];
            }
            Rgb(c.map(|v| v as u8))
        })
    }

    #[test]
    fn scores_are_those_of_onnx_runtime() {
        // tests/data/skin_net.json comes from ONNX Runtime, by .ci/reference/check_net.py --write.
        #[derive(serde::Deserialize)]
        struct Kept {
            places: Vec<[usize; 2]>,
            scores: Vec<[f32; ANSWERS]>,
        }
        let kept: Kept =
            serde_json::from_str(include_str!("../../../tests/data/skin_net.json")).unwrap();
        let net = Net::read(WEIGHTS, COLOURS).unwrap();
        let answers = run(&net, small_copy(&picture(), 512, 320, net.multiple));
        let plane = answers.height * answers.width;
        let mut worst: f32 = 0.0;
        for ([x, y], scores) in kept.places.iter().zip(&kept.scores) {
            for (k, score) in scores.iter().enumerate() {
                let channel = 4 * k + 2 * (y % 2) + x % 2;
                worst = worst.max(
                    (answers.numbers[channel * plane + y / 2 * answers.width + x / 2] - score)
                        .abs(),
                );
            }
        }
        assert!(
            kept.places.len() > 100 && worst < 2e-3,
            "{} places, off by {worst}",
            kept.places.len()
        );
    }

    #[test]
    fn any_bit_that_flips_in_the_weights_is_found() {
        for at in (0..WEIGHTS.len()).step_by(WEIGHTS.len() / 7).chain([0, 11, WEIGHTS.len() - 1]) {
            let mut file = WEIGHTS.to_vec();
            file[at] ^= 4;
            assert!(Net::read(&file, COLOURS).is_err(), "byte {at}");
        }
    }

    #[test]
    fn a_small_copy_keeps_the_mean_of_what_it_covers() {
        // 3 × 2 pixels to 2 × 1 of the long side: each covers one and a half columns of two rows.
        let photo = RgbImage::from_fn(3, 2, |x, y| Rgb([(60 * x + 30 * y) as u8, 0, 255]));
        let copy = small_copy(&photo, 2, 1, 4);
        assert_eq!((copy.height, copy.width), (4, 4));
        // Red: (0 + 30 + (60 + 90) / 2) / 3 = 35 and (120 + 150 + (60 + 90) / 2) / 3 = 115.
        for (x, red) in [(0, 35.0), (1, 115.0)] {
            assert!((copy.numbers[x] - (red / 255.0 - 0.5) / 0.25).abs() < 1e-5);
        }
        assert_eq!((copy.numbers[2], copy.numbers[16], copy.numbers[32]), (0.0, -2.0, 2.0));
    }

    #[test]
    fn every_size_of_photo_is_looked_at_whole() {
        for (w, h) in [(1, 1), (3, 700), (700, 3), (641, 480)] {
            let seen = look(&RgbImage::from_pixel(w, h, Rgb([90, 90, 90]))).unwrap();
            assert_eq!(seen.width.max(seen.height), 512);
            assert_eq!(seen.class.len(), seen.width * seen.height);
            assert!(seen.skin.iter().chain(&seen.inside).all(|v| (0.0..=1.0).contains(v)));
        }
    }
}
