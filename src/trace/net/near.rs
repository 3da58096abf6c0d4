//! The network that looks closely: at a part of the plane seen from above, some 0.4 mm a pixel,
//! with what the first network believes of it.

use super::forward::{Value, run};
use super::weights::Net;
use crate::fault::Fault;

const WEIGHTS: &[u8] = include_bytes!("../../../assets/near.net");
/// Channels of the picture: red, green, blue, how likely skin, how likely inside of a net line.
const CHANNELS: usize = 5;
/// Answers for each pixel.
const ANSWERS: usize = 6;

/// The network, read and fit to be run.
pub(in crate::trace) struct NearNet(Net);

/// Its answers for a picture, row by row, 0 for no to 255 for yes.
#[derive(Clone, Debug, Default, PartialEq)]
pub(in crate::trace) struct Answered {
    /// How much of the pixel is skin, inked or not.
    pub skin: Vec<u8>,
    /// How much of it is inside of an inked net line.
    pub inside: Vec<u8>,
    /// Ink on skin.
    pub ink: Vec<u8>,
    /// Ink of the arrow.
    pub arrow: Vec<u8>,
    /// Ink of a relief cut.
    pub relief: Vec<u8>,
    /// A narrow gap: a slit, or a dart where it is narrow.
    pub gap: Vec<u8>,
}

impl NearNet {
    /// Reads the weights.
    ///
    /// # Errors
    /// Damaged weights.
    pub fn read() -> Result<NearNet, Fault> {
        let net = Net::read(WEIGHTS, CHANNELS)?;
        if net.channels != 4 * ANSWERS {
            let what = "the network's weights are damaged: they give other answers";
            return Err(Fault::new(what, "install the program again"));
        }
        Ok(NearNet(net))
    }

    /// Looks at a picture `width` pixels wide; `pixel` gives its channels, 0 to 1, at column and
    /// row, or nothing where no photo shows the place.
    pub fn look(
        &self,
        width: usize,
        height: usize,
        pixel: impl Fn(usize, usize) -> Option<[f32; CHANNELS]>,
    ) -> Answered {
        let of = self.0.multiple;
        let (w, h) = (width.next_multiple_of(of), height.next_multiple_of(of));
        let mut picture = Value::new(CHANNELS, h, w);
        for y in 0..height {
            for x in 0..width {
                let Some(channels) = pixel(x, y) else { continue };
                for (c, v) in channels.into_iter().enumerate() {
                    picture.numbers[(c * h + y) * w + x] = (v - 0.5) * 4.0;
                }
            }
        }
        let answers = run(&self.0, picture);
        let plane = answers.height * answers.width;
        let of_kind = |k: usize| {
            let mut out = Vec::with_capacity(width * height);
            for y in 0..height {
                for x in 0..width {
                    let channel = 4 * k + 2 * (y % 2) + x % 2;
                    let score = answers.numbers[channel * plane + y / 2 * answers.width + x / 2];
                    out.push((255.0 / (1.0 + libm::expf(-score)) + 0.5) as u8);
                }
            }
            out
        };
        Answered {
            skin: of_kind(0),
            inside: of_kind(1),
            ink: of_kind(2),
            arrow: of_kind(3),
            relief: of_kind(4),
            gap: of_kind(5),
        }
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::super::tests::picture;
    use super::*;

    #[test]
    fn answers_are_those_of_onnx_runtime() {
        // tests/data/near_net.json comes from ONNX Runtime, by .ci/reference/check_net.py --write.
        #[derive(serde::Deserialize)]
        struct Kept {
            places: Vec<[usize; 2]>,
            scores: Vec<[f32; ANSWERS]>,
        }
        let kept: Kept =
            serde_json::from_str(include_str!("../../../tests/data/near_net.json")).unwrap();
        let photo = picture();
        let share = |v: usize| (v % 256) as f32 / 255.0;
        let seen = NearNet::read().unwrap().look(512, 320, |x, y| {
            let [r, g, b] = photo.get_pixel(x as u32, y as u32).0.map(|v| f32::from(v) / 255.0);
            Some([r, g, b, share(x + 2 * y), share(3 * x + y)])
        });
        let all = [&seen.skin, &seen.inside, &seen.ink, &seen.arrow, &seen.relief, &seen.gap];
        let mut spread = (255, 0);
        for ([x, y], scores) in kept.places.iter().zip(&kept.scores) {
            for (answers, score) in all.iter().zip(scores) {
                let (found, wanted) = (answers[y * 512 + x], 255.0 / (1.0 + libm::expf(-score)));
                assert!((f32::from(found) - wanted).abs() < 1.1, "at {x}, {y}");
                spread = (spread.0.min(found), spread.1.max(found));
            }
        }
        assert!(kept.places.len() > 100 && spread.0 < 10 && spread.1 > 245, "{spread:?}");
    }
}
