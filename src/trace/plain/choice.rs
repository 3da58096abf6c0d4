//! Which patches can be templates: the lighter ones or the darker ones, and what to say if there
//! are none.

use super::flat::Flat;
use super::light::Light;
use super::patch::{Patches, patches};
use crate::fault::{Fault, Faults};
use crate::geometry::{point, ring_bounds, ring_contains};
use crate::trace::gap::Gap;
use crate::trace::plane::Plane;
use image::GrayImage;

/// The patches lighter than their ground or those darker: whichever can be templates.
pub(super) fn choose(
    flat: &Flat,
    light: &Light,
    plane: &Plane,
    gaps: Option<Gap>,
) -> Result<(bool, Patches), Faults> {
    let binary = light.lighter(&flat.grey);
    let bounds: Vec<_> = plane.solid.iter().map(|c| ring_bounds(c)).collect();
    let usable = |x: u32, y: u32| {
        if flat.seen.get_pixel(x, y)[0] == 0 {
            return false;
        }
        let p = flat.plane(point(f64::from(x), f64::from(y)));
        !plane.solid.iter().zip(&bounds).any(|(card, b)| {
            b.is_some_and(|b| p.x >= b.min.x && p.x <= b.max.x && p.y >= b.min.y && p.y <= b.max.y)
                && ring_contains(card, p)
        })
    };
    let (w, h) = binary.dimensions();
    let mut usable_image = GrayImage::new(w, h);
    {
        use rayon::prelude::*;
        usable_image.par_chunks_mut(w as usize).enumerate().for_each(|(y, row)| {
            for (x, v) in row.iter_mut().enumerate() {
                *v = if x > 0
                    && y > 0
                    && x + 1 < w as usize
                    && y + 1 < h as usize
                    && usable(x as u32, y as u32)
                {
                    255
                } else {
                    0
                };
            }
        });
    }
    let of = |lighter: bool| {
        let mut image = usable_image.clone();
        for (out, b) in image.iter_mut().zip(binary.iter()) {
            if (*b > 0) != lighter {
                *out = 0;
            }
        }
        patches(flat, light, &image, lighter, &plane.solid, gaps)
    };
    let (light_ones, dark_ones) = rayon::join(|| of(true), || of(false));
    let area = |p: &Patches| p.found.iter().map(|p| p.area).sum::<f64>();
    let (a, b) = (area(&light_ones), area(&dark_ones));
    if a.min(b) > 0.3 * a.max(b) {
        return Err(Fault::new(
            "template and ground cannot be told apart: there are light patches on dark and dark patches on light",
            "lay the template on one plain ground that reaches all round it and the cards",
        )
        .into());
    }
    Ok(
        if a >= b && !light_ones.found.is_empty()
            || dark_ones.found.is_empty() && light_ones.cut_off.len() + light_ones.at_card.len() > 0
        {
            (true, light_ones)
        } else {
            (false, dark_ones)
        },
    )
}
