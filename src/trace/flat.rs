//! The photos with perspective and distortion taken out: one picture of the plane at a known scale.

use super::camera::View;
use super::grey::{sample, sample_colour};
use crate::geometry::{Bounds, Point, point, ring_bounds};
use image::{GrayImage, RgbImage};
use rayon::prelude::*;

/// mm a pixel: what the network that looks closely is used to.
const MM: f64 = 0.4;
/// Most pixels of the flat picture; a larger plane is shown coarser.
const MOST_PIXELS: f64 = 24e6;
/// How far beyond the cards is looked, mm, at least; and as a multiple of the size of their box.
const BEYOND: (f64, f64) = (900.0, 1.0);
/// Side of the blocks in which the way from plane to photo is taken for straight, pixels.
const BLOCK: usize = 16;
/// Most looks at a photo for one pixel, in a row.
const MOST_LOOKS: f64 = 6.0;

/// The plane, seen straight from above.
#[derive(Clone, Debug)]
pub(super) struct Flat {
    /// Colours.
    pub colour: RgbImage,
    /// 255 where a photo shows the place.
    pub seen: GrayImage,
    /// mm a pixel.
    pub mm: f64,
    /// The place of the centre of the upper left pixel, mm.
    pub corner: Point,
}

impl Flat {
    /// The plane point of a pixel.
    pub fn plane(&self, pixel: Point) -> Point {
        point(self.corner.x + pixel.x * self.mm, self.corner.y - pixel.y * self.mm)
    }

    /// The pixel of a plane point.
    pub fn pixel(&self, p: Point) -> Point {
        point((p.x - self.corner.x) / self.mm, (self.corner.y - p.y) / self.mm)
    }
}

/// Flattens the photos. `cards` are the outlines of the cards in the plane; `None` if there is
/// nothing to see.
pub(super) fn flatten(
    photos: &[&RgbImage],
    greys: &[GrayImage],
    views: &[View],
    cards: &[Vec<Point>],
) -> Option<Flat> {
    let area = extent(photos.iter().map(|p| p.dimensions()), views, cards, BEYOND)?;
    let mm = MM.max((area.width() * area.height() / MOST_PIXELS).sqrt());
    let (w, h) = ((area.width() / mm).floor() as u32 + 1, (area.height() / mm).floor() as u32 + 1);
    let corner = point(area.min.x, area.max.y);
    let gains = gains(greys, views, &area);
    let mut seen = GrayImage::new(w, h);
    let mut colour = RgbImage::new(w, h);
    let width = w as usize;
    let bands = seen.par_chunks_mut(width * BLOCK).zip(colour.par_chunks_mut(3 * width * BLOCK));
    bands.enumerate().for_each(|(band, (seen, colour))| {
        for left in (0..width).step_by(BLOCK) {
            let first = point(left as f64, (band * BLOCK) as f64);
            let place = |q: Point| corner + point(q.x * mm, -q.y * mm);
            let ways: Vec<Option<Way>> =
                views.iter().map(|view| Way::through(view, first, &place)).collect();
            for j in 0..seen.len() / width {
                for i in left..(left + BLOCK).min(width) {
                    let best = ways
                        .iter()
                        .enumerate()
                        .filter_map(|(k, way)| {
                            let way = way.as_ref()?;
                            let pixel = way.at((i - left) as f64, j as f64);
                            Some((depth_in(photos[k], pixel)?, k, way, pixel))
                        })
                        .max_by(|a, b| a.0.total_cmp(&b.0));
                    let Some((_, k, way, pixel)) = best else { continue };
                    let found = way.mean(photos[k], pixel);
                    for (c, v) in found.into_iter().enumerate() {
                        colour[3 * (j * width + i) + c] =
                            (v * gains[k] + 0.5).clamp(0.0, 255.0) as u8;
                    }
                    seen[j * width + i] = 255;
                }
            }
        }
    });
    Some(Flat { colour, seen, mm, corner })
}

/// The way from a block of the flat picture to a photo's pixels, straight between its corners.
struct Way {
    corners: [Point; 4],
    /// Steps in the photo for a step right and a step down in the middle of the block.
    right: Point,
    down: Point,
    /// Looks for a pixel, in a row: one where the photo is coarser.
    looks: usize,
}

impl Way {
    fn through(view: &View, first: Point, place: &impl Fn(Point) -> Point) -> Option<Way> {
        let side = BLOCK as f64;
        let at = |x: f64, y: f64| view.pixel(place(first + point(x, y)));
        let corners = [at(0.0, 0.0)?, at(side, 0.0)?, at(0.0, side)?, at(side, side)?];
        let right = (corners[1] + corners[3] - corners[0] - corners[2]) * (0.5 / side);
        let down = (corners[2] + corners[3] - corners[0] - corners[1]) * (0.5 / side);
        let looks = right.cross(down).abs().sqrt().round().clamp(1.0, MOST_LOOKS) as usize;
        Some(Way { corners, right, down, looks })
    }

    fn at(&self, x: f64, y: f64) -> Point {
        let (u, v) = (x / BLOCK as f64, y / BLOCK as f64);
        let [a, b, c, d] = self.corners;
        (a * (1.0 - u) + b * u) * (1.0 - v) + (c * (1.0 - u) + d * u) * v
    }

    /// The mean colour of what a pixel covers.
    fn mean(&self, photo: &RgbImage, pixel: Point) -> [f64; 3] {
        let n = self.looks;
        if n == 1 {
            return sample_colour(photo, pixel.x, pixel.y);
        }
        let mut sum = [0.0; 3];
        let off = |i: usize| (i as f64 + 0.5) / n as f64 - 0.5;
        for j in 0..n {
            for i in 0..n {
                let p = pixel + self.right * off(i) + self.down * off(j);
                let v = sample_colour(photo, p.x, p.y);
                sum.iter_mut().zip(v).for_each(|(s, v)| *s += v);
            }
        }
        sum.map(|s| s / (n * n) as f64)
    }
}

/// How far inside a photo a pixel lies: 1 in the middle, 0 at the frame.
fn depth_in(photo: &impl image::GenericImageView, pixel: Point) -> Option<f64> {
    let (w, h) = (f64::from(photo.width()) - 1.0, f64::from(photo.height()) - 1.0);
    let depth = (pixel.x / w).min(1.0 - pixel.x / w).min(pixel.y / h).min(1.0 - pixel.y / h) * 2.0;
    (depth >= 0.0).then_some(depth)
}

/// How far inside its photo a plane point lies (1 in the middle, 0 at the frame), and its pixel.
pub(super) fn inside(
    photo: &impl image::GenericImageView,
    view: &View,
    p: Point,
) -> Option<(f64, Point)> {
    let pixel = view.pixel(p)?;
    Some((depth_in(photo, pixel)?, pixel))
}

/// The box of the plane that is looked at: what photos of such sizes show, not farther from the
/// cards than `beyond`: mm, or that many times what the cards span.
pub(super) fn extent(
    sizes: impl Iterator<Item = (u32, u32)>,
    views: &[View],
    cards: &[Vec<Point>],
    beyond: (f64, f64),
) -> Option<Bounds> {
    const SIDE: usize = 64;
    let near = ring_bounds(&cards.concat())?;
    let margin = beyond.0.max(beyond.1 * near.width().max(near.height()));
    let mut points = Vec::new();
    for ((w, h), view) in sizes.zip(views) {
        let (w, h) = (f64::from(w) - 1.0, f64::from(h) - 1.0);
        for i in 0..=SIDE {
            let t = i as f64 / SIDE as f64;
            for pixel in [point(t * w, 0.0), point(t * w, h), point(0.0, t * h), point(w, t * h)] {
                // What lies beyond the horizon bounds nothing; the margin does.
                points.push(view.plane(pixel).map_or(near.centre(), |p| {
                    point(
                        p.x.clamp(near.min.x - margin, near.max.x + margin),
                        p.y.clamp(near.min.y - margin, near.max.y + margin),
                    )
                }));
            }
        }
    }
    ring_bounds(&points).filter(|b| b.width() > 20.0 && b.height() > 20.0)
}

/// Factors that make several photos equally bright where they overlap, the first one's being 1.
pub(super) fn gains(photos: &[GrayImage], views: &[View], area: &Bounds) -> Vec<f64> {
    let mut gains = vec![1.0; photos.len()];
    for k in 1..photos.len() {
        let mut ratios = Vec::new();
        for i in 0..60 {
            for j in 0..60 {
                let p = area.min
                    + point(
                        area.width() * f64::from(i) / 59.0,
                        area.height() * f64::from(j) / 59.0,
                    );
                let value = |k: usize| {
                    inside(&photos[k], &views[k], p).map(|(_, q)| sample(&photos[k], q.x, q.y))
                };
                for (earlier, gain) in gains.iter().enumerate().take(k) {
                    if let (Some(a), Some(b)) = (value(earlier), value(k))
                        && b > 5.0
                    {
                        ratios.push(a * gain / b);
                    }
                }
            }
        }
        ratios.sort_by(f64::total_cmp);
        if let Some(&middle) = ratios.get(ratios.len() / 2) {
            gains[k] = middle;
        }
    }
    gains
}
