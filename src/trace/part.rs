//! Which parts of the plane the network takes for a template.

use super::belief::{Belief, Sought};
use super::flat::Flat;
use super::mask::flood;
use crate::geometry::{Point, point, ring_contains};
use image::GrayImage;

/// Least area of a template, mm².
pub(super) const LEAST_AREA: f64 = 2_000.0;

/// How sure the network must be of a part, and how far it must agree with itself.
const SURE: f64 = 0.7;
const AGREED: f64 = 0.6;

/// A part.
#[derive(Clone, Debug)]
pub(super) struct Part {
    /// Its cells, on the grid of the belief.
    pub cells: GrayImage,
    /// mm².
    pub area: f64,
    /// Its middle, mm.
    pub at: Point,
    /// It reaches the frame of the photo.
    pub cut_off: bool,
    /// Cells that all three answers hold for it, as a share of those that any does.
    pub agreed: f64,
    /// How sure the network is of it: the mean over its cells.
    pub sure: f64,
}

impl Part {
    /// True of a part that is as large as a template, and of which the network is sure enough.
    pub fn is_likely(&self) -> bool {
        self.area >= LEAST_AREA && self.sure > SURE && self.agreed > AGREED
    }
}

/// All parts of some size, the largest first.
pub(super) fn parts(
    flat: &Flat,
    belief: &Belief,
    sought: Sought,
    cards: &[Vec<Point>],
) -> Vec<Part> {
    let (map, votes) = belief.about(sought);
    let on_card = on(belief, flat, cards);
    let yes = belief.picture(|i| map[i] > 0.5 && on_card.as_raw()[i] == 0);
    let any = belief.picture(|i| votes[i] > 0 && on_card.as_raw()[i] == 0);
    let (w, h) = yes.dimensions();
    let mut done = GrayImage::new(w, h);
    let mut out = Vec::new();
    for y in 0..h {
        for x in 0..w {
            let pixels = flood(&mut done, x, y, true, |x, y| yes.get_pixel(x, y)[0] > 0);
            let area = pixels.len() as f64 * belief.mm * belief.mm;
            if area < 0.1 * LEAST_AREA {
                continue;
            }
            let mut cells = GrayImage::new(w, h);
            pixels.iter().for_each(|&(x, y)| cells.put_pixel(x, y, image::Luma([255])));
            let n = pixels.len() as f64;
            let sum = pixels
                .iter()
                .fold(point(0.0, 0.0), |a, &(x, y)| a + belief.middle((y * w + x) as usize));
            let edge = |&(x, y): &(u32, u32)| {
                let reach = 2;
                x < reach || y < reach || x + reach >= w || y + reach >= h || {
                    let at = |x: u32, y: u32| belief.seen[(y * w + x) as usize];
                    !(at(x - reach, y) && at(x + reach, y) && at(x, y - reach) && at(x, y + reach))
                }
            };
            // What any answer holds for it lies within a few cells of it.
            let near = imageproc::morphology::dilate(
                &cells,
                imageproc::distance_transform::Norm::L1,
                (3.0 * belief.grain / belief.mm).min(60.0) as u8,
            );
            let about = |i: usize| near.as_raw()[i] > 0 && any.as_raw()[i] > 0;
            let all =
                (0..cells.as_raw().len()).filter(|&i| about(i) && votes[i] == 3).count() as f64;
            let some = (0..cells.as_raw().len()).filter(|&i| about(i)).count() as f64;
            out.push(Part {
                area,
                at: flat.plane(sum * (1.0 / n)),
                cut_off: pixels.iter().any(edge),
                agreed: all / some.max(1.0),
                sure: pixels
                    .iter()
                    .map(|&(x, y)| f64::from(map[(y * w + x) as usize]))
                    .sum::<f64>()
                    / n,
                cells,
            });
        }
    }
    out.sort_by(|a, b| b.area.total_cmp(&a.area));
    out
}

/// The cells under cards.
pub(super) fn on(belief: &Belief, flat: &Flat, cards: &[Vec<Point>]) -> GrayImage {
    belief.picture(|i| {
        let p = flat.plane(belief.middle(i));
        cards.iter().any(|c| ring_contains(c, p))
    })
}
