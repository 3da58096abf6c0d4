//! A close look at one part: what is skin, ink, gap and inside of a net line, for every pixel of
//! the flat picture about it.

use super::belief::{Belief, Sought};
use super::flat::Flat;
use super::net::{Answered, NearNet};
use super::part::Part;
use crate::fault::Fault;
use crate::geometry::{Point, ring_contains};
use image::{GrayImage, Luma};
use rayon::prelude::*;

/// Ground about a part that is looked at, mm.
const MARGIN: f64 = 14.0;
/// Side of a tile, pixels, and what of it on every side is looked at for its neighbours' sake.
const TILE: usize = 640;
const AROUND: usize = 48;
/// What the first network may take for skin, how far from it answers must be sure, mm, and how sure,
/// of 255.
const PERHAPS: f32 = 0.3;
const FAR: f64 = 10.0;
const SURE: u8 = 235;
/// How far the look goes on at a time where the skin does, mm; and how often.
const FURTHER: f64 = 60.0;
const MOST_TIMES: usize = 4;

/// The answers about a part of the flat picture, 0 for no to 255 for yes.
#[derive(Clone, Debug)]
pub(super) struct Look {
    /// Where its upper left pixel lies in the flat picture.
    pub x: u32,
    /// See `x`.
    pub y: u32,
    /// How much of the pixel is skin.
    pub skin: GrayImage,
    /// How much of it is inside of an inked net line.
    pub inside: GrayImage,
    /// Ink on skin.
    pub ink: GrayImage,
    /// Ink of the arrow.
    pub arrow: GrayImage,
    /// Ink of a relief cut.
    pub relief: GrayImage,
    /// A narrow gap.
    pub gap: GrayImage,
    /// How far two looks at the skin are apart, one of them at the mirror image.
    pub skin_apart: GrayImage,
    /// The same of the inside.
    pub inside_apart: GrayImage,
}

/// A box of the flat picture: left, top, right, bottom; the last two are beyond it.
type Frame = [u32; 4];

impl Look {
    /// Looks at a part.
    ///
    /// # Errors
    /// Damaged weights.
    pub fn at(
        flat: &Flat,
        belief: &Belief,
        part: &Part,
        cards: &[Vec<Point>],
    ) -> Result<Look, Fault> {
        let net = NearNet::read()?;
        let (w, h) = flat.seen.dimensions();
        let margin = (MARGIN / flat.mm) as u32;
        let (mut left, mut top, mut right, mut bottom) = (u32::MAX, u32::MAX, 0, 0);
        for (i, _) in part.cells.iter().enumerate().filter(|c| *c.1 > 0) {
            let p = belief.middle(i);
            let (x, y) = (p.x.max(0.0) as u32, p.y.max(0.0) as u32);
            (left, top) = (left.min(x), top.min(y));
            (right, bottom) = (right.max(x), bottom.max(y));
        }
        let mut frame = [
            left.saturating_sub(margin),
            top.saturating_sub(margin),
            (right + margin).min(w),
            (bottom + margin).min(h),
        ];
        let further = (FURTHER / flat.mm) as u32;
        for _ in 0..MOST_TIMES {
            let look = look(flat, belief, &net, frame, cards);
            let open = look.open_sides();
            let wider = [
                frame[0].saturating_sub(if open[0] { further } else { 0 }),
                frame[1].saturating_sub(if open[1] { further } else { 0 }),
                (frame[2] + if open[2] { further } else { 0 }).min(w),
                (frame[3] + if open[3] { further } else { 0 }).min(h),
            ];
            if wider == frame {
                return Ok(look);
            }
            frame = wider;
        }
        Ok(look(flat, belief, &net, frame, cards))
    }

    /// Whether the main piece of skin reaches what no photo shows.
    pub fn is_cut_off(&self, flat: &Flat) -> bool {
        let skin = super::mask::main_piece(&super::mask::above(&self.skin, 127));
        let (w, h) = flat.seen.dimensions();
        let pixels = skin.enumerate_pixels().filter(|p| p.2[0] > 0);
        pixels.map(|p| (p.0 + self.x, p.1 + self.y)).any(|(x, y)| {
            x < 3 || y < 3 || x + 3 >= w || y + 3 >= h || {
                let around = [(x - 3, y), (x + 3, y), (x, y - 3), (x, y + 3)];
                around.iter().any(|&(x, y)| flat.seen.get_pixel(x, y)[0] == 0)
            }
        })
    }

    /// Whether the main piece of skin goes on beyond the left, upper, right and lower side.
    fn open_sides(&self) -> [bool; 4] {
        let (w, h) = self.skin.dimensions();
        let skin = super::mask::main_piece(&super::mask::above(&self.skin, 127));
        let on = |x: u32, y: u32| skin.get_pixel(x, y)[0] > 0;
        let column = |x: u32| (0..h).filter(|y| on(x, *y)).count() > 4;
        let row = |y: u32| (0..w).filter(|x| on(*x, y)).count() > 4;
        [column(0), row(0), column(w - 1), row(h - 1)]
    }
}

/// Looks at a box, tile by tile.
fn look(flat: &Flat, belief: &Belief, net: &NearNet, frame: Frame, cards: &[Vec<Point>]) -> Look {
    let [left, top, right, bottom] = frame;
    let (w, h) = ((right - left).max(1), (bottom - top).max(1));
    let blank = || GrayImage::new(w, h);
    let mut out = Look {
        x: left,
        y: top,
        skin: blank(),
        inside: blank(),
        ink: blank(),
        arrow: blank(),
        relief: blank(),
        gap: blank(),
        skin_apart: blank(),
        inside_apart: blank(),
    };
    let cut = |side: u32| {
        let count = (side as usize).div_ceil(TILE);
        let step = (side as usize).div_ceil(count);
        (0..count).map(move |i| (i * step, ((i + 1) * step).min(side as usize)))
    };
    let tiles: Vec<_> =
        cut(h).flat_map(|(y0, y1)| cut(w).map(move |(x0, x1)| (x0, y0, x1, y1))).collect();
    let (skin, _) = belief.about(Sought::Skin);
    let (inside, _) = belief.about(Sought::Inside);
    let answered: Vec<(usize, usize, usize, usize, [Answered; 2])> = tiles
        .par_iter()
        .map(|&(x0, y0, x1, y1)| {
            let (from_x, from_y) = (x0.saturating_sub(AROUND), y0.saturating_sub(AROUND));
            let (wide, high) =
                ((x1 + AROUND).min(w as usize) - from_x, (y1 + AROUND).min(h as usize) - from_y);
            let pixel = |x: usize, y: usize| {
                let (u, v) = (left + (from_x + x) as u32, top + (from_y + y) as u32);
                if flat.seen.get_pixel(u, v)[0] == 0 {
                    return None;
                }
                let c = flat.colour.get_pixel(u, v).0.map(|c| f32::from(c) / 255.0);
                let (u, v) = (f64::from(u), f64::from(v));
                Some([c[0], c[1], c[2], belief.at(skin, u, v), belief.at(inside, u, v)])
            };
            let mirrored = net.look(high, wide, |y, x| pixel(x, y));
            (from_x, from_y, wide, high, [net.look(wide, high, pixel), mirrored])
        })
        .collect();
    for (&(x0, y0, x1, y1), (from_x, from_y, wide, high, [a, b])) in tiles.iter().zip(&answered) {
        for y in y0..y1 {
            for x in x0..x1 {
                let i = (y - from_y) * wide + x - from_x;
                let k = (x - from_x) * high + y - from_y;
                for (image, a, b) in [
                    (&mut out.skin, &a.skin, &b.skin),
                    (&mut out.inside, &a.inside, &b.inside),
                    (&mut out.ink, &a.ink, &b.ink),
                    (&mut out.arrow, &a.arrow, &b.arrow),
                    (&mut out.relief, &a.relief, &b.relief),
                    (&mut out.gap, &a.gap, &b.gap),
                ] {
                    image.put_pixel(x as u32, y as u32, Luma([a[i].midpoint(b[k])]));
                }
                for (image, a, b) in [
                    (&mut out.skin_apart, &a.skin, &b.skin),
                    (&mut out.inside_apart, &a.inside, &b.inside),
                ] {
                    image.put_pixel(x as u32, y as u32, Luma([a[i].abs_diff(b[k])]));
                }
            }
        }
    }
    // Far from what the first network takes for skin, only what is sure is any: patterns of a ground
    // puzzle a look that does not see the whole.
    let reach = (FAR / belief.mm).ceil().clamp(1.0, 255.0) as u8;
    let near = imageproc::morphology::dilate(
        &belief.picture(|cell| skin[cell] > PERHAPS),
        imageproc::distance_transform::Norm::L2,
        reach,
    );
    for (x, y, v) in out.skin.enumerate_pixels_mut() {
        let cell = belief.cell(f64::from(left + x), f64::from(top + y));
        if near.as_raw()[cell] == 0 && v[0] < SURE {
            *v = Luma([0]);
            out.skin_apart.put_pixel(x, y, Luma([0]));
        }
    }
    // Cards are no skin, whatever they look like.
    let box_of = |card: &Vec<Point>| {
        let pixels: Vec<Point> = card.iter().map(|p| flat.pixel(*p)).collect();
        crate::geometry::ring_bounds(&pixels).map(|b| (pixels, b))
    };
    for (ring, b) in cards.iter().filter_map(box_of) {
        let clip = |v: f64, from: u32, most: u32| (v - f64::from(from)).clamp(0.0, f64::from(most));
        for y in clip(b.min.y, top, h) as u32..clip(b.max.y + 1.0, top, h) as u32 {
            for x in clip(b.min.x, left, w) as u32..clip(b.max.x + 1.0, left, w) as u32 {
                let p = Point { x: f64::from(x + left), y: f64::from(y + top) };
                if ring_contains(&ring, p) {
                    for image in [&mut out.skin, &mut out.inside, &mut out.ink] {
                        image.put_pixel(x, y, Luma([0]));
                    }
                }
            }
        }
    }
    out
}
