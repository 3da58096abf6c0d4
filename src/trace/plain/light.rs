//! Template and ground told apart under uneven light.
//!
//! The logarithm of the grey level is taken for a smooth field (a cubic in x and y: the light) plus
//! one of two levels (template or ground). Field and levels are fitted by turns until no cell
//! changes sides.

use super::flat::Flat;
use crate::geometry::{Point, point};
use nalgebra::{DMatrix, DVector};
use rayon::prelude::*;

/// Side of the cells that are looked at, mm.
const CELL: f64 = 4.0;
/// Terms of the field.
const TERMS: usize = 10;
/// Least ratio of the lighter to the darker level.
const LEAST_RATIO: f64 = 1.18;
/// Least distance of the levels in spreads about them.
const LEAST_APART: f64 = 3.5;

/// Light and the two levels.
#[derive(Clone, Debug)]
pub(super) struct Light {
    field: [f64; TERMS],
    middle: Point,
    size: f64,
    /// Logarithms of the darker and the lighter level, beside the field.
    levels: [f64; 2],
    /// How far apart the levels are, in spreads about them.
    pub apart: f64,
}

fn terms(x: f64, y: f64) -> [f64; TERMS] {
    [1.0, x, y, x * x, x * y, y * y, x * x * x, x * x * y, x * y * y, y * y * y]
}

impl Light {
    fn field(&self, pixel: Point) -> f64 {
        let q = (pixel - self.middle) * (1.0 / self.size);
        terms(q.x, q.y).iter().zip(self.field).map(|(t, c)| t * c).sum()
    }

    /// The darker and the lighter grey level about a pixel.
    pub fn levels(&self, pixel: Point) -> (f64, f64) {
        let f = self.field(pixel);
        (libm::exp(f + self.levels[0]), libm::exp(f + self.levels[1]))
    }

    /// Lighter by darker level.
    pub fn ratio(&self) -> f64 {
        libm::exp(self.levels[1] - self.levels[0])
    }

    /// 255 where a picture is nearer to the lighter level, half-way counted in grey levels.
    pub fn lighter(&self, grey: &image::GrayImage) -> image::GrayImage {
        let w = grey.width() as usize;
        let mut out = image::GrayImage::new(grey.width(), grey.height());
        out.par_chunks_mut(w).zip(grey.par_chunks(w)).enumerate().for_each(|(y, (out, grey))| {
            // The field is smooth: a look every 16 pixels, straight between.
            const STEP: usize = 16;
            let half = |x: usize| {
                let (lo, hi) = self.levels(point(x as f64, y as f64));
                (lo + hi) / 2.0
            };
            let mut left = half(0);
            for start in (0..w).step_by(STEP) {
                let right = half(start + STEP);
                for x in start..(start + STEP).min(w) {
                    let t = (x - start) as f64 / STEP as f64;
                    out[x] =
                        if f64::from(grey[x]) > left * (1.0 - t) + right * t { 255 } else { 0 };
                }
                left = right;
            }
        });
        out
    }
}

/// Why there is no telling apart.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum TooAlike {
    /// Nothing but one shade is seen.
    Empty,
    /// The levels are so many times as light as each other, so many spreads apart.
    Levels(f64, f64),
}

struct Cell {
    log: f64,
    terms: [f64; TERMS],
}

/// Fits the light to a flat picture; `covered` tells plane points that belong to cards.
pub(super) fn fit(
    flat: &Flat,
    covered: &(dyn Fn(Point) -> bool + Sync),
) -> Result<Light, TooAlike> {
    let (w, h) = (flat.grey.width() as usize, flat.grey.height() as usize);
    let middle = point(w as f64 / 2.0, h as f64 / 2.0);
    let size = w.max(h) as f64 / 2.0;
    let side = ((CELL / flat.mm) as usize).max(2);
    let cells: Vec<Cell> = (0..h / side)
        .into_par_iter()
        .flat_map_iter(|row| (0..w / side).map(move |col| (row, col)))
        .filter_map(|(row, col)| {
            let mut sum = 0u64;
            for y in row * side..(row + 1) * side {
                for x in col * side..(col + 1) * side {
                    if flat.seen.as_raw()[y * w + x] == 0 {
                        return None;
                    }
                    sum += u64::from(flat.grey.as_raw()[y * w + x]);
                }
            }
            let at = point((col * side) as f64, (row * side) as f64)
                + point(1.0, 1.0) * (side as f64 / 2.0 - 0.5);
            if covered(flat.plane(at)) {
                return None;
            }
            let q = (at - middle) * (1.0 / size);
            let mean = (sum as f64 / (side * side) as f64).max(1.0);
            Some(Cell { log: libm::log(mean), terms: terms(q.x, q.y) })
        })
        .collect();
    if cells.len() < 200 {
        return Err(TooAlike::Empty);
    }
    // Three starts: even light, light that falls off to one side, and light that falls off all
    // round.
    let flat_start: Vec<f64> = cells.iter().map(|c| c.log).collect();
    let plane = least_squares(&cells, |_| Some(0.0), 3);
    let tilted: Vec<f64> = cells.iter().map(|c| c.log - dot(&c.terms, &plane)).collect();
    let bent = least_squares(&cells, |_| Some(0.0), 6);
    let bent: Vec<f64> = cells.iter().map(|c| c.log - dot(&c.terms, &bent)).collect();
    let fits = [flat_start, tilted, bent].into_iter().map(|start| settle(&cells, &start));
    let best = fits.max_by(|a, b| a.2.total_cmp(&b.2));
    let Some((field, levels, apart)) = best else { return Err(TooAlike::Empty) };
    let light = Light { field, middle, size, levels, apart };
    if light.ratio() < LEAST_RATIO || apart < LEAST_APART {
        return Err(TooAlike::Levels(light.ratio(), apart));
    }
    Ok(light)
}

fn dot(a: &[f64; TERMS], b: &[f64; TERMS]) -> f64 {
    a.iter().zip(b).map(|(a, b)| a * b).sum()
}

/// The field that is nearest to the cells' logarithms less their level; cells without a level are
/// left out. Only the first `count` terms.
fn least_squares(
    cells: &[Cell],
    level: impl Fn(usize) -> Option<f64>,
    count: usize,
) -> [f64; TERMS] {
    let mut normal = DMatrix::<f64>::zeros(count, count);
    let mut right = DVector::<f64>::zeros(count);
    for (i, c) in cells.iter().enumerate() {
        let Some(level) = level(i) else { continue };
        for i in 0..count {
            right[i] += c.terms[i] * (c.log - level);
            for j in 0..=i {
                normal[(i, j)] += c.terms[i] * c.terms[j];
            }
        }
    }
    for i in 0..count {
        normal[(i, i)] += 1e-9;
        for j in 0..i {
            normal[(j, i)] = normal[(i, j)];
        }
    }
    let mut out = [0.0; TERMS];
    if let Some(c) = normal.cholesky() {
        for (o, v) in out.iter_mut().zip(c.solve(&right).iter()) {
            *o = *v;
        }
    }
    out
}

/// Turns between sorting cells and fitting the field: the field, the levels, and how far apart
/// these are.
fn settle(cells: &[Cell], start: &[f64]) -> ([f64; TERMS], [f64; 2], f64) {
    let mut values = start.to_vec();
    let mut field = [0.0; TERMS];
    let mut levels = split(&values);
    for round in 0..16 {
        let middle = (levels[0] + levels[1]) / 2.0;
        let reach = (levels[1] - levels[0]) / 2.0;
        let side = |v: f64| usize::from(v > middle);
        // In the first rounds the sides are rough: few terms, and no cell half-way between.
        let count = if round < 3 { 6 } else { TERMS };
        let keep: Vec<Option<f64>> = values
            .iter()
            .map(|&v| ((v - levels[side(v)]).abs() < 0.7 * reach).then(|| levels[side(v)]))
            .collect();
        let next = least_squares(cells, |i| keep[i], count);
        let moved: f64 = next.iter().zip(&field).map(|(a, b)| (a - b).abs()).sum();
        field = next;
        for (v, c) in values.iter_mut().zip(cells) {
            *v = c.log - dot(&c.terms, &field);
        }
        levels = means(&values, (levels[0] + levels[1]) / 2.0);
        if round > 4 && moved < 1e-4 {
            break;
        }
    }
    let middle = (levels[0] + levels[1]) / 2.0;
    let mut offs: Vec<f64> =
        values.iter().map(|&v| (v - levels[usize::from(v > middle)]).abs()).collect();
    offs.sort_by(f64::total_cmp);
    // The spread by its middle, which cells on an edge or under ink do not move.
    let spread = 1.4826 * offs.get(offs.len() / 2).copied().unwrap_or(1.0);
    (field, levels, (levels[1] - levels[0]) / spread.max(0.01))
}

/// Medians of the values on both sides of a border.
fn means(values: &[f64], border: f64) -> [f64; 2] {
    let median = |keep: &dyn Fn(f64) -> bool| {
        let mut side: Vec<f64> = values.iter().copied().filter(|&v| keep(v)).collect();
        side.sort_by(f64::total_cmp);
        side.get(side.len() / 2).copied()
    };
    let low = median(&|v| v <= border).unwrap_or(border);
    let high = median(&|v| v > border).unwrap_or(border);
    [low, high]
}

/// The two levels that part values best (Otsu's criterion over 256 steps).
fn split(values: &[f64]) -> [f64; 2] {
    let (low, high) =
        values.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), &v| (l.min(v), h.max(v)));
    let step = ((high - low) / 256.0).max(1e-12);
    let mut counts = [0usize; 256];
    for v in values {
        counts[(((v - low) / step) as usize).min(255)] += 1;
    }
    let total: f64 = values.len() as f64;
    let sum: f64 = counts.iter().enumerate().map(|(i, &c)| i as f64 * c as f64).sum();
    let (mut below, mut below_sum, mut best, mut border) = (0.0, 0.0, -1.0, 0.5);
    for (i, &c) in counts.iter().enumerate() {
        below += c as f64;
        below_sum += i as f64 * c as f64;
        if below > 0.0 && below < total {
            let d = below_sum / below - (sum - below_sum) / (total - below);
            let between = below * (total - below) * d * d;
            if between > best {
                (best, border) = (between, i as f64 + 1.0);
            }
        }
    }
    means(values, low + border * step)
}
