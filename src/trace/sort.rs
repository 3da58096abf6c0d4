//! Pixels about the network's outline sorted into skin and ground by colour.
//!
//! The network knows what is skin to a few pixels of a small copy. Away from its outline it
//! decides; about it each pixel of the flat picture is sorted by the mix of colours that tells skin
//! from ground best there (Fisher's discriminant, in linear light, of what lies some way inside and
//! outside). Grain, grids and shadows spread one side along some direction of colour; such a
//! direction counts little.

use super::belief::Belief;
use super::flat::Flat;
use super::grey::linear;
use super::patch::Mask;
use super::tone::{LEVELS, Tone, shade};
use image::{GrayImage, Luma};
use nalgebra::{Matrix3, Vector3};
use rayon::prelude::*;

/// How far from the network's outline colour is asked before the network, pixels of its small copy.
const UNSURE: f64 = 2.4;
/// Side of the cells in which colours are gathered, mm.
const CELL: f64 = 4.0;
/// Reaches over which they are gathered, mm, and the weight of each: the nearest that has both skin
/// and ground speaks loudest.
const REACHES: [(f64, f64); 3] = [(10.0, 1.0), (30.0, 2e-2), (90.0, 1e-3)];
/// Most that colour can say for or against skin, as a logarithm of odds.
const MOST_BY_COLOUR: f32 = 7.0;
/// Most that the network says within its outline, and outside of it.
const MOST_BY_NET: (f32, f32) = (2.5, -12.0);

/// Sums over pixels: count, colours, products of colours.
type Sums = [f64; 10];

/// What tells skin from ground about a place.
#[derive(Clone, Copy, Debug, Default)]
struct Mix {
    /// Share of skin of a colour: the weights of red, green and blue, and what is added.
    weights: [f32; 4],
    /// Spread of the share in skin and in ground.
    spread: [f32; 2],
}

/// A part, sorted.
pub(super) struct Sorted {
    pub mask: Mask,
    pub tone: Tone,
    /// How far skin and ground lie apart in spreads, by cells over the mask.
    apart: Vec<f32>,
    cells: (usize, usize),
    cell: f64,
}

impl Sorted {
    /// How far skin and ground lie apart in spreads about a pixel of the flat picture.
    pub fn apart(&self, x: f64, y: f64) -> f64 {
        let u = ((x - f64::from(self.mask.x)) / self.cell).clamp(0.0, (self.cells.0 - 1) as f64)
            as usize;
        let v = ((y - f64::from(self.mask.y)) / self.cell).clamp(0.0, (self.cells.1 - 1) as f64)
            as usize;
        f64::from(self.apart[v * self.cells.0 + u])
    }
}

/// Sorts the pixels about a part: `part` holds the cells that the network takes for it, `foreign`
/// those that are neither it nor its ground (cards, other parts).
pub(super) fn sort(
    flat: &Flat,
    belief: &Belief,
    part: &GrayImage,
    foreign: &GrayImage,
) -> Option<Sorted> {
    let unsure = UNSURE * belief.grain / belief.mm;
    let margin = 3.0 * unsure + 24.0 / belief.mm;
    let cells = || part.enumerate_pixels().filter(|p| p.2[0] > 0);
    let (left, right) = (cells().map(|p| p.0).min()?, cells().map(|p| p.0).max()?);
    let (top, bottom) = (cells().map(|p| p.1).min()?, cells().map(|p| p.1).max()?);
    let (fw, fh) = flat.grey.dimensions();
    let low = |v: u32| ((f64::from(v) - margin).max(0.0) * belief.step) as u32;
    let high = |v: u32, most: u32| (((f64::from(v) + 1.0 + margin) * belief.step) as u32).min(most);
    let (x0, y0) = (low(left), low(top));
    let (x1, y1) = (high(right, fw), high(bottom, fh));
    let (w, h) = ((x1.checked_sub(x0)? as usize), (y1.checked_sub(y0)? as usize));
    if w < 8 || h < 8 {
        return None;
    }
    // How deep in the part, or how far out of it, each cell lies, in cells.
    let depth = signed_distance(part);
    let foreign_near = signed_distance(foreign);
    let cell_of =
        |x: usize, y: usize| belief.cell((x0 as usize + x) as f64, (y0 as usize + y) as f64);
    let size = ((CELL / flat.mm).round() as usize).max(2);
    let (cw, ch) = (w.div_ceil(size), h.div_ceil(size));
    let light: [f32; 256] = std::array::from_fn(|v| linear(v as u8));
    let colour = |x: usize, y: usize| {
        let at = 3 * ((y0 as usize + y) * fw as usize + x0 as usize + x);
        let raw = &flat.colour.as_raw()[at..at + 3];
        [light[raw[0] as usize], light[raw[1] as usize], light[raw[2] as usize]]
    };
    let gathered: Vec<[Sums; 2]> = (0..cw * ch)
        .into_par_iter()
        .map(|i| {
            let (cx, cy) = (i % cw * size, i / cw * size);
            let mut kept: [Vec<[f32; 3]>; 2] = [Vec::new(), Vec::new()];
            for y in (cy..(cy + size).min(h)).step_by(2) {
                for x in (cx..(cx + size).min(w)).step_by(2) {
                    let cell = cell_of(x, y);
                    let d = f64::from(depth[cell]);
                    let side = if d > unsure && belief.skin[cell] > 0.75 {
                        0
                    } else if d < -unsure
                        && belief.skin[cell] < 0.3
                        && belief.seen[cell]
                        && foreign_near[cell] < -1.0
                    {
                        1
                    } else {
                        continue;
                    };
                    kept[side].push(colour(x, y));
                }
            }
            // Ink is no skin.
            let bright = |c: &[f32; 3]| 0.2126 * c[0] + 0.7152 * c[1] + 0.0722 * c[2];
            let mut levels: Vec<f32> = kept[0].iter().map(bright).collect();
            levels.sort_by(f32::total_cmp);
            let tape = levels.get(levels.len() * 3 / 4).copied().unwrap_or(0.0);
            kept[0].retain(|c| bright(c) > 0.5 * tape);
            kept.map(|colours| {
                let mut sums = [0.0; 10];
                for c in colours {
                    let c = c.map(f64::from);
                    let terms = [
                        1.0,
                        c[0],
                        c[1],
                        c[2],
                        c[0] * c[0],
                        c[0] * c[1],
                        c[0] * c[2],
                        c[1] * c[1],
                        c[1] * c[2],
                        c[2] * c[2],
                    ];
                    sums.iter_mut().zip(terms).for_each(|(s, t)| *s += t);
                }
                sums
            })
        })
        .collect();
    let mut total = vec![[[0.0; 10]; 2]; cw * ch];
    for (reach, weight) in REACHES {
        for (out, blurred) in total.iter_mut().zip(spread_out(&gathered, cw, ch, reach / CELL)) {
            for (out, blurred) in out.iter_mut().zip(blurred) {
                out.iter_mut().zip(blurred).for_each(|(o, b)| *o += weight * b);
            }
        }
    }
    let mixes: Vec<Mix> = total.par_iter().map(mix).collect();
    let between = |x: usize, y: usize| -> Mix {
        let u = ((x as f64 + 0.5) / size as f64 - 0.5).clamp(0.0, (cw - 1) as f64);
        let v = ((y as f64 + 0.5) / size as f64 - 0.5).clamp(0.0, (ch - 1) as f64);
        let (a, b) = (u as usize, v as usize);
        let (fx, fy) = ((u - a as f64) as f32, (v - b as f64) as f32);
        let mut out = Mix::default();
        for (i, j, f) in [
            (a, b, (1.0 - fx) * (1.0 - fy)),
            (a + 1, b, fx * (1.0 - fy)),
            (a, b + 1, (1.0 - fx) * fy),
            (a + 1, b + 1, fx * fy),
        ] {
            let m = &mixes[j.min(ch - 1) * cw + i.min(cw - 1)];
            out.weights.iter_mut().zip(m.weights).for_each(|(o, v)| *o += f * v);
            out.spread.iter_mut().zip(m.spread).for_each(|(o, v)| *o += f * v);
        }
        out
    };
    let mut tone = GrayImage::new(w as u32, h as u32);
    let mut odds = vec![0.0_f32; w * h];
    let mut prior = vec![0.0_f32; w * h];
    tone.par_chunks_mut(w)
        .zip(odds.par_chunks_mut(w))
        .zip(prior.par_chunks_mut(w))
        .enumerate()
        .for_each(|(y, ((tone, odds), prior))| {
            for x in 0..w {
                let (px, py) = ((x0 as usize + x) as f64, (y0 as usize + y) as f64);
                let cell = belief.cell(px, py);
                let d = belief.at(&depth, px, py) / unsure as f32;
                prior[x] = if d > 0.0 {
                    MOST_BY_NET.0 * (d * 0.9).min(1.0)
                } else {
                    -MOST_BY_NET.1 * (d * 0.55).max(-1.0)
                };
                if foreign_near[cell] > 0.0 || !belief.seen[cell] {
                    prior[x] = MOST_BY_NET.1;
                }
                let m = between(x, y);
                let c = colour(x, y);
                let share =
                    m.weights[0] * c[0] + m.weights[1] * c[1] + m.weights[2] * c[2] + m.weights[3];
                tone[x] = shade(f64::from(share));
                let (s, g) = ((share - 1.0) / m.spread[0], share / m.spread[1]);
                let by_colour = (g * g - s * s) / 2.0 + libm::logf(m.spread[1] / m.spread[0]);
                // What lies far from both says little.
                let strange = s.abs().min(g.abs());
                let trust = if strange > 4.0 { 4.0 / strange } else { 1.0 };
                odds[x] = (by_colour * trust * trust).clamp(-MOST_BY_COLOUR, MOST_BY_COLOUR);
            }
        });
    let odds = boxed(&odds, w, h, 1);
    let mut field: Vec<f32> = odds.iter().zip(&prior).map(|(a, b)| a + b).collect();
    drop(prior);
    // Neighbours pull together, a few rounds of the mean field.
    let mut state: Vec<f32> = field.iter().map(|e| libm::tanhf(e / 2.0)).collect();
    for _ in 0..3 {
        let around = boxed(&state, w, h, 2);
        state
            .par_iter_mut()
            .zip(&around)
            .zip(&field)
            .for_each(|((s, a), e)| *s = libm::tanhf((e + 1.5 * a) / 2.0));
    }
    field.clear();
    let mask = GrayImage::from_fn(w as u32, h as u32, |x, y| {
        let frame = x == 0 || y == 0 || x as usize + 1 == w || y as usize + 1 == h;
        Luma([if !frame && state[y as usize * w + x as usize] > 0.0 { 255 } else { 0 }])
    });
    let apart = mixes
        .iter()
        .map(|m| 1.0 / ((m.spread[0] * m.spread[0] + m.spread[1] * m.spread[1]) / 2.0).sqrt())
        .collect();
    Some(Sorted {
        mask: Mask { image: mask, x: x0, y: y0 },
        tone: Tone { image: tone, x: x0, y: y0 },
        apart,
        cells: (cw, ch),
        cell: size as f64,
    })
}

/// Fisher's discriminant of two sides' sums.
fn mix([skin, ground]: &[Sums; 2]) -> Mix {
    let moments = |s: &Sums| {
        let n = s[0].max(1e-9);
        let mean = Vector3::new(s[1], s[2], s[3]) / n;
        let square = Matrix3::new(s[4], s[5], s[6], s[5], s[7], s[8], s[6], s[8], s[9]) / n;
        (mean, square - mean * mean.transpose())
    };
    let ((a, va), (b, vb)) = (moments(skin), moments(ground));
    let within = (va + vb) / 2.0;
    // Noise of the sensor, and a part of the spread in all directions: what few pixels show is not
    // the whole of it.
    let own = within + Matrix3::identity() * (2e-5 + 0.04 * within.trace() / 3.0);
    let apart = a - b;
    let direction = own.try_inverse().map_or(apart, |m| m * apart);
    let length = direction.dot(&apart);
    if length <= 1e-12 || skin[0] <= 0.0 || ground[0] <= 0.0 {
        return Mix { weights: [0.0, 0.0, 0.0, 0.5], spread: [1.0, 1.0] };
    }
    let w = direction / length;
    let spread = |v: &Matrix3<f64>| {
        ((w.transpose() * (v + Matrix3::identity() * 2e-5) * w)[0].max(0.0).sqrt().max(0.06)) as f32
    };
    Mix {
        weights: [w[0] as f32, w[1] as f32, w[2] as f32, -w.dot(&b) as f32],
        spread: [spread(&va), spread(&vb)],
    }
}

/// Each cell with what lies within reach, by a bell's weights.
fn spread_out(from: &[[Sums; 2]], w: usize, h: usize, reach: f64) -> Vec<[Sums; 2]> {
    let span = (2.5 * reach).ceil() as i64;
    let bell: Vec<f64> =
        (-span..=span).map(|i| libm::exp(-0.5 * (i as f64 / reach).powi(2))).collect();
    let pass = |from: &[[Sums; 2]], along: bool| -> Vec<[Sums; 2]> {
        (0..w * h)
            .into_par_iter()
            .map(|i| {
                let (x, y) = ((i % w) as i64, (i / w) as i64);
                let mut out = [[0.0; 10]; 2];
                for (k, weight) in (-span..=span).zip(&bell) {
                    let (u, v) = if along { (x + k, y) } else { (x, y + k) };
                    if u < 0 || v < 0 || u >= w as i64 || v >= h as i64 {
                        continue;
                    }
                    for (out, from) in out.iter_mut().zip(&from[v as usize * w + u as usize]) {
                        out.iter_mut().zip(from).for_each(|(o, f)| *o += weight * f);
                    }
                }
                out
            })
            .collect()
    };
    pass(&pass(from, true), false)
}

/// The mean of each number's neighbours within a square.
fn boxed(from: &[f32], w: usize, h: usize, reach: usize) -> Vec<f32> {
    let mut rows = vec![0.0; w * h];
    let share = 1.0 / (2 * reach + 1) as f32;
    rows.par_chunks_mut(w).zip(from.par_chunks(w)).for_each(|(out, row)| {
        let at = |i: i64| row[i.clamp(0, w as i64 - 1) as usize];
        let r = reach as i64;
        let mut sum: f32 = (-r..=r).map(at).sum();
        for (x, out) in out.iter_mut().enumerate() {
            *out = sum * share;
            sum += at(x as i64 + r + 1) - at(x as i64 - r);
        }
    });
    let mut out = vec![0.0; w * h];
    out.par_chunks_mut(w).enumerate().for_each(|(y, out)| {
        for k in 0..=2 * reach {
            let v = (y + k).saturating_sub(reach).min(h - 1);
            out.iter_mut().zip(&rows[v * w..(v + 1) * w]).for_each(|(o, r)| *o += r * share);
        }
    });
    out
}

/// How deep in the white part each pixel lies, negative outside of it, in pixels; halfway between
/// pixels is nought.
pub(super) fn signed_distance(image: &GrayImage) -> Vec<f32> {
    let inside = imageproc::distance_transform::euclidean_squared_distance_transform(image);
    let outside = imageproc::distance_transform::euclidean_squared_distance_transform(
        &super::tone::inverted(image),
    );
    // The transform gives the distance to the nearest white pixel.
    let most = f64::from(image.width().max(image.height()));
    let root = |v: f64| v.sqrt().min(most);
    inside
        .iter()
        .zip(outside.iter())
        .map(|(i, o)| if *i > 0.0 { 0.5 - root(*i) } else { root(*o) - 0.5 } as f32)
        .collect()
}

/// Where halfway between ground and skin lies in a tone.
pub(super) const HALF: u8 = ((LEVELS.0 + LEVELS.1) / 2.0) as u8;
