//! What the network believes of the plane: its answers to the photo, to the photo turned and to the
//! photo mirrored, laid on a coarse grid of the flat picture.

use super::camera::View;
use super::flat::{Flat, inside};
use super::net::{Seen, looks};
use crate::fault::Fault;
use crate::geometry::{Point, point};
use image::{GrayImage, RgbImage};
use nalgebra::Matrix3;
use rayon::prelude::*;

/// Side of a cell, mm, unless the flat picture is coarser.
const CELL: f64 = 1.0;

/// The grid.
#[derive(Clone, Debug)]
pub(super) struct Belief {
    pub width: usize,
    pub height: usize,
    /// Pixels of the flat picture that a cell spans.
    pub step: f64,
    /// mm that a cell spans.
    pub mm: f64,
    /// mm that a pixel of the network's copy spans, about the middle.
    pub grain: f64,
    /// How likely a cell is skin, inked or not: the mean of three answers.
    pub skin: Vec<f32>,
    /// How likely it is inside of an inked net line.
    pub inside: Vec<f32>,
    /// How many of the three answers call it skin, and inside.
    pub votes: [Vec<u8>; 2],
    /// A photo shows it.
    pub seen: Vec<bool>,
}

/// What is looked for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Sought {
    /// The skin.
    Skin,
    /// The inside of an inked net line.
    Inside,
}

impl Belief {
    /// Looks at the photos and lays the answers out.
    ///
    /// # Errors
    /// Damaged weights.
    pub fn of(photos: &[&RgbImage], views: &[View], flat: &Flat) -> Result<Belief, Fault> {
        if photos.len() > 1 {
            // Each shows a part of the template alone: the plane shows all of it.
            return match from_above(flat) {
                Some(view) => Belief::by_views(&[&flat.colour], &[view], flat),
                None => Belief::by_views(photos, views, flat),
            };
        }
        Belief::by_views(photos, views, flat)
    }

    fn by_views(photos: &[&RgbImage], views: &[View], flat: &Flat) -> Result<Belief, Fault> {
        let seen: Vec<[Seen; 3]> = photos.iter().map(|p| looks(p)).collect::<Result<_, _>>()?;
        let step = (CELL / flat.mm).max(1.0);
        let side = |v: u32| ((f64::from(v) / step).ceil() as usize).max(1);
        let (width, height) = (side(flat.seen.width()), side(flat.seen.height()));
        let mut skin = vec![0.0_f32; width * height];
        let mut within = vec![0.0_f32; width * height];
        let mut votes = [vec![0_u8; width * height], vec![0_u8; width * height]];
        let mut shown = vec![false; width * height];
        let [first, second] = &mut votes;
        skin.par_chunks_mut(width)
            .zip(within.par_chunks_mut(width))
            .zip(first.par_chunks_mut(width).zip(second.par_chunks_mut(width)))
            .zip(shown.par_chunks_mut(width))
            .enumerate()
            .for_each(|(y, (((skin, within), (skins, insides)), shown))| {
                for x in 0..width {
                    let at = flat
                        .plane(point((x as f64 + 0.5) * step - 0.5, (y as f64 + 0.5) * step - 0.5));
                    let mut best: Option<(f64, usize, Point)> = None;
                    for (k, (photo, view)) in photos.iter().zip(views).enumerate() {
                        if let Some((depth, pixel)) = inside(*photo, view, at)
                            && best.is_none_or(|b| depth > b.0)
                        {
                            best = Some((depth, k, pixel));
                        }
                    }
                    let Some((_, k, pixel)) = best else { continue };
                    let (w, h) = flat.seen.dimensions();
                    let (u, v) = ((x as f64 + 0.5) * step, (y as f64 + 0.5) * step);
                    let (u, v) = ((u as u32).min(w - 1), (v as u32).min(h - 1));
                    if flat.seen.get_pixel(u, v)[0] == 0 {
                        continue;
                    }
                    shown[x] = true;
                    let scale = seen[k][0].width as f64 / f64::from(photos[k].width());
                    let place = (pixel + point(0.5, 0.5)) * scale - point(0.5, 0.5);
                    for answer in &seen[k] {
                        let (s, i) = (
                            look_up(answer, &answer.skin, place),
                            look_up(answer, &answer.inside, place),
                        );
                        skin[x] += s / 3.0;
                        within[x] += i / 3.0;
                        skins[x] += u8::from(s > 0.5);
                        insides[x] += u8::from(i > 0.5);
                    }
                }
            });
        let fine = views.iter().zip(photos).zip(&seen).filter_map(|((view, photo), seen)| {
            let middle =
                view.plane(point(f64::from(photo.width()) / 2.0, f64::from(photo.height()) / 2.0))?;
            Some(view.mm_a_pixel(middle)? * f64::from(photo.width()) / seen[0].width as f64)
        });
        let grain = fine.fold(0.0, f64::max).max(CELL);
        Ok(Belief {
            width,
            height,
            step,
            mm: step * flat.mm,
            grain,
            skin,
            inside: within,
            votes,
            seen: shown,
        })
    }

    /// The answers about what is looked for, and how many of the three say yes.
    pub fn about(&self, sought: Sought) -> (&[f32], &[u8]) {
        match sought {
            Sought::Skin => (&self.skin, &self.votes[0]),
            Sought::Inside => (&self.inside, &self.votes[1]),
        }
    }

    /// The value of a map at a pixel of the flat picture.
    pub fn at(&self, map: &[f32], x: f64, y: f64) -> f32 {
        let u = ((x + 0.5) / self.step - 0.5).clamp(0.0, (self.width - 1) as f64);
        let v = ((y + 0.5) / self.step - 0.5).clamp(0.0, (self.height - 1) as f64);
        between(map, self.width, self.height, u, v)
    }

    /// The cell of a pixel of the flat picture.
    pub fn cell(&self, x: f64, y: f64) -> usize {
        let u = ((x + 0.5) / self.step).clamp(0.0, (self.width - 1) as f64) as usize;
        let v = ((y + 0.5) / self.step).clamp(0.0, (self.height - 1) as f64) as usize;
        v * self.width + u
    }

    /// The middle of a cell, in pixels of the flat picture.
    pub fn middle(&self, cell: usize) -> Point {
        let (x, y) = ((cell % self.width) as f64, (cell / self.width) as f64);
        point((x + 0.5) * self.step - 0.5, (y + 0.5) * self.step - 0.5)
    }

    /// A black and white picture of the cells for which `is` holds.
    pub fn picture(&self, is: impl Fn(usize) -> bool) -> GrayImage {
        let w = self.width;
        GrayImage::from_fn(w as u32, self.height as u32, |x, y| {
            image::Luma([if is(y as usize * w + x as usize) { 255 } else { 0 }])
        })
    }
}

/// The view of a camera that takes the flat picture itself.
fn from_above(flat: &Flat) -> Option<View> {
    let (width, height) = flat.colour.dimensions();
    let (w, h) = (f64::from(width), f64::from(height));
    let unit = libm::hypot(w, h) / 2.0;
    let scale = 1.0 / (flat.mm * unit);
    let across = -flat.corner.x * scale - (w - 1.0) / 2.0 / unit;
    let down = flat.corner.y * scale - (h - 1.0) / 2.0 / unit;
    let m = Matrix3::new(scale, 0.0, across, 0.0, -scale, down, 0.0, 0.0, 1.0);
    View::new(width, height, m, 0.0)
}

fn look_up(seen: &Seen, map: &[f32], at: Point) -> f32 {
    let x = at.x.clamp(0.0, (seen.width - 1) as f64);
    let y = at.y.clamp(0.0, (seen.height - 1) as f64);
    between(map, seen.width, seen.height, x, y)
}

fn between(map: &[f32], width: usize, height: usize, x: f64, y: f64) -> f32 {
    let (x0, y0) = (x as usize, y as usize);
    let (x1, y1) = ((x0 + 1).min(width - 1), (y0 + 1).min(height - 1));
    let (fx, fy) = ((x - x0 as f64) as f32, (y - y0 as f64) as f32);
    let at = |x: usize, y: usize| map[y * width + x];
    (at(x0, y0) * (1.0 - fx) + at(x1, y0) * fx) * (1.0 - fy)
        + (at(x0, y1) * (1.0 - fx) + at(x1, y1) * fx) * fy
}
