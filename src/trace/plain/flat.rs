//! The photos with perspective and distortion taken out: one grey picture of the plane at a known
//! scale.

use crate::geometry::{Point, point};
use crate::trace::camera::View;
use crate::trace::flat::{extent, gains, inside};
use crate::trace::grey::sample;
use image::GrayImage;
use rayon::prelude::*;

/// Most pixels of the flat picture.
const MOST_PIXELS: f64 = 24e6;
/// How far beyond the cards is looked, mm, at least; and as a multiple of the size of their box.
const BEYOND: (f64, f64) = (500.0, 1.0);

/// The plane, seen straight from above.
#[derive(Clone, Debug)]
pub(super) struct Flat {
    /// Grey levels.
    pub grey: GrayImage,
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
}

/// Flattens the photos. `cards` are the outlines of the cards in the plane; `None` if there is
/// nothing to see.
pub(super) fn flatten(photos: &[GrayImage], views: &[View], cards: &[Vec<Point>]) -> Option<Flat> {
    let area = extent(photos.iter().map(|p| p.dimensions()), views, cards, BEYOND)?;
    let mut scales: Vec<f64> = Vec::new();
    for i in 0..9 {
        for j in 0..9 {
            let p = area.min
                + point(area.width() * f64::from(i) / 8.0, area.height() * f64::from(j) / 8.0);
            scales.extend(
                photos
                    .iter()
                    .zip(views)
                    .filter(|(photo, v)| inside(*photo, v, p).is_some())
                    .filter_map(|(_, v)| v.mm_a_pixel(p)),
            );
        }
    }
    scales.sort_by(f64::total_cmp);
    // A little finer than the photo, so that nothing is lost by looking up between pixels.
    let wanted = 0.9 * scales.get(scales.len() / 2)?;
    let mm = wanted.max((area.width() * area.height() / MOST_PIXELS).sqrt());
    let (w, h) = ((area.width() / mm).floor() as u32 + 1, (area.height() / mm).floor() as u32 + 1);
    let corner = point(area.min.x, area.max.y);
    let gains = gains(photos, views, &area);
    let mut grey = GrayImage::new(w, h);
    let mut seen = GrayImage::new(w, h);
    let width = w as usize;
    grey.par_chunks_mut(width).zip(seen.par_chunks_mut(width)).enumerate().for_each(
        |(j, (grey, seen))| {
            for (i, (grey, seen)) in grey.iter_mut().zip(seen).enumerate() {
                let p = point(corner.x + i as f64 * mm, corner.y - j as f64 * mm);
                let mut best: Option<(f64, usize, Point)> = None;
                for (k, (photo, view)) in photos.iter().zip(views).enumerate() {
                    if let Some((depth, pixel)) = inside(photo, view, p)
                        && best.is_none_or(|b| depth > b.0)
                    {
                        best = Some((depth, k, pixel));
                    }
                }
                if let Some((_, k, pixel)) = best {
                    *grey = (sample(&photos[k], pixel.x, pixel.y) * gains[k] + 0.5)
                        .clamp(0.0, 255.0) as u8;
                    *seen = 255;
                }
            }
        },
    );
    Some(Flat { grey, seen, mm, corner })
}
