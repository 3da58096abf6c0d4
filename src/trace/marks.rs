//! Finds the round marks of cards in a photo, to a small part of a pixel.

use super::card::{MARK_RADIUS, MOST_DOTS, WHITE_RADIUS};
use super::grey::sample;
use crate::geometry::{Point, point, ring_area};
use image::{GrayImage, Luma};
use imageproc::contours::{BorderType, Contour, find_contours};
use nalgebra::{Matrix2, SMatrix, SVector};
use rayon::prelude::*;

/// A mark in a photo.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Mark {
    /// The middle of its ellipse, pixels.
    pub centre: Point,
    /// How many dots.
    pub dots: usize,
    /// Offsets in pixels → offsets in mm, up to a turn.
    pub metric: Matrix2<f64>,
    /// How wide its edge is from black to white, pixels.
    pub edge: f64,
    /// White paper less black ink, grey levels.
    pub contrast: f64,
}

impl Mark {
    /// The length in mm of an offset in pixels, by the shape of this mark.
    pub fn mm(&self, offset: Point) -> f64 {
        let v = self.metric * nalgebra::Vector2::new(offset.x, offset.y);
        libm::hypot(v[0], v[1])
    }
}

/// Side of the cells whose means make the local threshold, pixels.
const CELL: usize = 24;
/// How light ink is at most as a share of its neighbourhood: half-way between ink and paper, for
/// the neighbourhood of a mark is mostly paper. Nearer to the paper, blur would join dots to their
/// ring.
const DARKER: f64 = 0.72;
/// Least radius of a mark, pixels: its dots are then two pixels wide.
const LEAST_RADIUS: f64 = 7.0;

/// Of a photo of more pixels marks are sought on half of its width and height, and found on all of
/// it: following borders takes several times the memory of what they are followed on.
const MOST_SOUGHT_ON: usize = 26_000_000;

/// The same picture at half its width and height.
fn halved(image: &GrayImage) -> GrayImage {
    let (w, raw) = (image.width() as usize, image.as_raw());
    let mut out = GrayImage::new(image.width() / 2, image.height() / 2);
    let row = out.width() as usize;
    out.par_chunks_mut(row).enumerate().for_each(|(y, row)| {
        let line = |dy: usize, x: usize| u16::from(raw[(2 * y + dy) * w + x]);
        for (x, out) in row.iter_mut().enumerate() {
            let sum = [0, 1].map(|dy| line(dy, 2 * x) + line(dy, 2 * x + 1));
            *out = ((sum[0] + sum[1] + 2) / 4) as u8;
        }
    });
    out
}

/// White where the photo is darker than around.
fn dark_places(image: &GrayImage) -> GrayImage {
    let (w, h) = (image.width() as usize, image.height() as usize);
    let (cols, rows) = (w.div_ceil(CELL), h.div_ceil(CELL));
    let raw = image.as_raw();
    let means: Vec<f64> = (0..cols * rows)
        .into_par_iter()
        .map(|i| {
            let (x0, y0) = (i % cols * CELL, i / cols * CELL);
            let (x1, y1) = ((x0 + CELL).min(w), (y0 + CELL).min(h));
            let sum: u64 = (y0..y1)
                .map(|y| raw[y * w + x0..y * w + x1].iter().map(|&v| u64::from(v)).sum::<u64>())
                .sum();
            sum as f64 / ((x1 - x0) * (y1 - y0)) as f64
        })
        .collect();
    // Means over five cells each way, looked up between cell centres.
    let wide: Vec<f64> = (0..cols * rows)
        .map(|i| {
            let (cx, cy) = (i % cols, i / cols);
            let (x0, x1) = (cx.saturating_sub(2), (cx + 3).min(cols));
            let (y0, y1) = (cy.saturating_sub(2), (cy + 3).min(rows));
            let sum: f64 =
                (y0..y1).map(|y| means[y * cols + x0..y * cols + x1].iter().sum::<f64>()).sum();
            sum / ((x1 - x0) * (y1 - y0)) as f64
        })
        .collect();
    let mut out = GrayImage::new(image.width(), image.height());
    out.par_chunks_mut(w).enumerate().for_each(|(y, row)| {
        let v = ((y as f64 + 0.5) / CELL as f64 - 0.5).clamp(0.0, (rows - 1) as f64);
        let (r0, fy) = (v as usize, v.fract());
        let r1 = (r0 + 1).min(rows - 1);
        for (x, out) in row.iter_mut().enumerate() {
            let u = ((x as f64 + 0.5) / CELL as f64 - 0.5).clamp(0.0, (cols - 1) as f64);
            let (c0, fx) = (u as usize, u.fract());
            let c1 = (c0 + 1).min(cols - 1);
            let top = wide[r0 * cols + c0] * (1.0 - fx) + wide[r0 * cols + c1] * fx;
            let bottom = wide[r1 * cols + c0] * (1.0 - fx) + wide[r1 * cols + c1] * fx;
            let local = top * (1.0 - fy) + bottom * fy;
            *out = if f64::from(raw[y * w + x]) < local * DARKER { 255 } else { 0 };
        }
    });
    // Border following wants the frame of the picture free.
    for x in 0..w as u32 {
        out.put_pixel(x, 0, Luma([0]));
        out.put_pixel(x, h as u32 - 1, Luma([0]));
    }
    for y in 0..h as u32 {
        out.put_pixel(0, y, Luma([0]));
        out.put_pixel(w as u32 - 1, y, Luma([0]));
    }
    out
}

/// All marks in a photo, from left to right.
pub(super) fn find_marks(image: &GrayImage, smooth: &GrayImage) -> Vec<Mark> {
    if image.width() < 64 || image.height() < 64 {
        return Vec::new();
    }
    if smooth.as_raw().len() > MOST_SOUGHT_ON {
        marks_sought_on(&halved(smooth), image)
    } else {
        marks_sought_on(smooth, image)
    }
}

/// Marks of a photo, sought on a picture of it that may be smaller.
fn marks_sought_on(small: &GrayImage, image: &GrayImage) -> Vec<Mark> {
    let scale = f64::from(image.width() / small.width().max(1));
    let contours: Vec<Contour<i32>> = find_contours(&dark_places(small));
    let rings: Vec<Shape> = contours.iter().map(Shape::of).collect();
    let mut children: Vec<Vec<usize>> = vec![Vec::new(); contours.len()];
    for (i, c) in contours.iter().enumerate() {
        if let Some(p) = c.parent {
            children[p].push(i);
        }
    }
    let candidate = |i: usize| -> Option<(usize, usize)> {
        let ring = &rings[i];
        if contours[i].border_type != BorderType::Outer || !ring.is_round() {
            return None;
        }
        let holes: Vec<usize> =
            children[i].iter().copied().filter(|&c| rings[c].area > 0.2 * ring.area).collect();
        let [hole] = holes[..] else { return None };
        // 8.5² by 12², with room for blur.
        let share = rings[hole].area / ring.area;
        if !(0.3..0.75).contains(&share)
            || rings[hole].stray > 0.15
            || rings[hole].mean.distance(ring.mean) > 0.1 * ring.area.sqrt()
        {
            return None;
        }
        let dots =
            children[hole].iter().filter(|&&c| rings[c].area > 0.008 * rings[hole].area).count();
        let merged = children[hole].iter().any(|&c| rings[c].area > 0.12 * rings[hole].area);
        (!merged && (1..=MOST_DOTS).contains(&dots)).then_some((i, dots))
    };
    let candidates: Vec<(usize, usize)> = (0..contours.len()).filter_map(candidate).collect();
    let mut marks: Vec<Mark> = candidates
        .par_iter()
        .filter_map(|&(i, dots)| refine(image, &rings[i].grown(scale), dots))
        .collect();
    marks.sort_by(|a, b| a.centre.x.total_cmp(&b.centre.x).then(a.centre.y.total_cmp(&b.centre.y)));
    marks
}

/// What a contour looks like from afar.
struct Shape {
    area: f64,
    mean: Point,
    /// Offsets → offsets in radii.
    round: Option<Matrix2<f64>>,
    /// How far the contour strays from its ellipse, in radii.
    stray: f64,
}

impl Shape {
    fn of(contour: &Contour<i32>) -> Shape {
        let none = Shape { area: 0.0, mean: point(0.0, 0.0), round: None, stray: f64::INFINITY };
        if contour.points.len() < 4 || contour.points.len() > 6000 {
            return none;
        }
        let points: Vec<Point> =
            contour.points.iter().map(|p| point(f64::from(p.x), f64::from(p.y))).collect();
        let n = points.len() as f64;
        // Contours run through pixel centres: half a pixel inside the edge on all sides.
        let area = ring_area(&points).abs() + points.len() as f64 / 2.0;
        let mean = points.iter().fold(point(0.0, 0.0), |a, &p| a + p) * (1.0 / n);
        let (mut xx, mut xy, mut yy) = (0.0, 0.0, 0.0);
        for p in &points {
            let d = *p - mean;
            xx += d.x * d.x;
            xy += d.x * d.y;
            yy += d.y * d.y;
        }
        // Points of an ellipse's rim spread half the square of its radii.
        let spread = Matrix2::new(2.0 * xx / n, 2.0 * xy / n, 2.0 * xy / n, 2.0 * yy / n);
        let round = inverse_root(&spread);
        let stray = round.map_or(f64::INFINITY, |m| {
            let off = |p: &Point| {
                let v = m * nalgebra::Vector2::new(p.x - mean.x, p.y - mean.y);
                (libm::hypot(v[0], v[1]) - 1.0).abs()
            };
            points.iter().map(off).sum::<f64>() / n
        });
        Shape { area, mean, round, stray }
    }

    /// The same in a picture so many times as wide and high.
    fn grown(&self, scale: f64) -> Shape {
        let middle = (scale - 1.0) / 2.0;
        Shape {
            area: self.area * scale * scale,
            mean: self.mean * scale + point(middle, middle),
            round: self.round.map(|m| m / scale),
            stray: self.stray,
        }
    }

    fn is_round(&self) -> bool {
        let Some(m) = self.round else { return false };
        let radius = 1.0 / m.determinant().abs().sqrt();
        radius > LEAST_RADIUS * 0.6 && self.stray < 0.08 + 0.3 / radius
    }
}

/// The symmetric root of the inverse of a symmetric positive matrix; `None` if it is flat.
fn inverse_root(m: &Matrix2<f64>) -> Option<Matrix2<f64>> {
    let eigen = m.symmetric_eigen();
    let (a, b) = (eigen.eigenvalues[0], eigen.eigenvalues[1]);
    if !(a > 0.5 && b > 0.5 && a / b < 12.0 && b / a < 12.0) {
        return None;
    }
    let root = Matrix2::new(1.0 / a.sqrt(), 0.0, 0.0, 1.0 / b.sqrt());
    Some(eigen.eigenvectors * root * eigen.eigenvectors.transpose())
}

/// Finds the outer rim of the black disc to a part of a pixel and fits an ellipse to it.
fn refine(image: &GrayImage, shape: &Shape, dots: usize) -> Option<Mark> {
    const RAYS: usize = 90;
    const STEPS: usize = 40;
    let mut mean = shape.mean;
    let mut to_round = shape.round?;
    let mut edge = 0.0;
    let mut contrast = 0.0;
    // Twice: the first ellipse comes from whole pixels.
    for _ in 0..2 {
        let to_pixels = to_round.try_inverse()?;
        let mut rim: Vec<(f64, f64)> = Vec::new();
        let (mut edges, mut contrasts) = (0.0, 0.0);
        for ray in 0..RAYS {
            let angle = std::f64::consts::TAU * ray as f64 / RAYS as f64;
            let direction = to_pixels * nalgebra::Vector2::new(libm::cos(angle), libm::sin(angle));
            let at = |r: f64| sample(image, mean.x + direction[0] * r, mean.y + direction[1] * r);
            // From the middle of the black band to as far outside.
            let (inner, outer) = ((1.0 + WHITE_RADIUS / MARK_RADIUS) / 2.0, 1.16);
            let (black, white) = (at(inner), at(outer));
            if white - black < 12.0 {
                continue;
            }
            let half = (black + white) / 2.0;
            let radius = |i: usize| inner + (outer - inner) * i as f64 / STEPS as f64;
            let values: Vec<f64> = (0..=STEPS).map(|i| at(radius(i))).collect();
            let Some(i) = (0..STEPS).rev().find(|&i| values[i] < half && values[i + 1] >= half)
            else {
                continue;
            };
            let t = (half - values[i]) / (values[i + 1] - values[i]);
            let r = radius(i) + t * (outer - inner) / STEPS as f64;
            rim.push((r * libm::cos(angle), r * libm::sin(angle)));
            let steepest = values.windows(2).map(|v| v[1] - v[0]).fold(0.0, f64::max);
            let step = libm::hypot(direction[0], direction[1]) * (outer - inner) / STEPS as f64;
            edges += (white - black) / steepest.max(1e-9) * step;
            contrasts += white - black;
        }
        if rim.len() < RAYS * 3 / 4 {
            return None;
        }
        edge = edges / rim.len() as f64;
        contrast = contrasts / rim.len() as f64;
        let (offset, shape_matrix) = ellipse(&rim)?;
        let moved = to_pixels * nalgebra::Vector2::new(offset.x, offset.y);
        mean = mean + point(moved[0], moved[1]);
        to_round = shape_matrix * to_round;
        // Keep the metric symmetric, as `ellipse` gives a symmetric matrix only in its own frame.
        to_round = inverse_root(&(to_round.transpose() * to_round).try_inverse()?)?;
    }
    let radius = 1.0 / to_round.determinant().abs().sqrt();
    (radius >= LEAST_RADIUS).then(|| Mark {
        centre: mean,
        dots,
        metric: to_round * MARK_RADIUS,
        edge,
        contrast,
    })
}

/// Least squares of `a x² + b xy + c y² + d x + e y = 1` over points near the unit circle, strays
/// left out once: the middle, and the matrix that makes the ellipse a unit circle about it.
fn ellipse(points: &[(f64, f64)]) -> Option<(Point, Matrix2<f64>)> {
    let row = |&(x, y): &(f64, f64)| SVector::<f64, 5>::new(x * x, x * y, y * y, x, y);
    let fit = |points: &[(f64, f64)]| {
        let mut normal = SMatrix::<f64, 5, 5>::zeros();
        let mut right = SVector::<f64, 5>::zeros();
        for p in points {
            let r = row(p);
            normal += r * r.transpose();
            right += r;
        }
        normal.cholesky().map(|c| c.solve(&right))
    };
    let first = fit(points)?;
    let off = |p: &(f64, f64)| (row(p).dot(&first) - 1.0).abs();
    let mut offs: Vec<f64> = points.iter().map(off).collect();
    offs.sort_by(f64::total_cmp);
    let limit = 4.0 * offs.get(offs.len() / 2)?.max(1e-3);
    let kept: Vec<(f64, f64)> = points.iter().copied().filter(|p| off(p) <= limit).collect();
    if kept.len() < points.len() * 2 / 3 {
        return None;
    }
    let v = fit(&kept)?;
    let m = Matrix2::new(v[0], v[1] / 2.0, v[1] / 2.0, v[2]);
    let centre = m.try_inverse()? * nalgebra::Vector2::new(-v[3] / 2.0, -v[4] / 2.0);
    // About the middle the conic reads dᵀ m d = 1 + cᵀ m c.
    let level = 1.0 + (centre.transpose() * m * centre)[0];
    let eigen = (m / level).symmetric_eigen();
    let (a, b) = (eigen.eigenvalues[0], eigen.eigenvalues[1]);
    if !(a > 0.3 && b > 0.3 && a < 3.0 && b < 3.0) {
        return None;
    }
    let root = eigen.eigenvectors
        * Matrix2::new(a.sqrt(), 0.0, 0.0, b.sqrt())
        * eigen.eigenvectors.transpose();
    Some((point(centre[0], centre[1]), root))
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    /// Borders of a photo of 64 million pixels took 800 MB.
    #[test]
    fn a_mark_sought_on_half_the_photo_is_found_where_it_is() {
        // A ring of black, white, and two dots in it, its pixels as far in as it covers them.
        let ink = |x: f64, y: f64| {
            let r = libm::hypot(x - 203.3, y - 151.8) / 40.0;
            let dot = |dx: f64| libm::hypot(x - 203.3 - dx, y - 151.8) < 7.0;
            (WHITE_RADIUS / MARK_RADIUS..1.0).contains(&r) || dot(-11.0) || dot(11.0)
        };
        let image = GrayImage::from_fn(401, 303, |x, y| {
            let part = |k: u32| f64::from(k) / 4.0 - 0.375;
            let covered =
                (0..16).filter(|k| ink(f64::from(x) + part(k % 4), f64::from(y) + part(k / 4)));
            Luma([(220 - covered.count() * 12) as u8])
        });
        for sought_on in [image.clone(), halved(&image)] {
            let [mark] = marks_sought_on(&sought_on, &image)[..] else { panic!("one mark") };
            assert_eq!(mark.dots, 2);
            assert!(mark.centre.distance(point(203.3, 151.8)) < 0.05, "{:?}", mark.centre);
            assert!((mark.mm(point(40.0, 0.0)) - MARK_RADIUS).abs() < 0.02 * MARK_RADIUS);
        }
    }
}
