//! From what the network believes to the patches that are traced.

use super::belief::{Belief, Sought};
use super::choice::choose;
use super::flat::Flat;
use super::light::fit;
use super::part::{LEAST_AREA, Part, on, parts};
use super::patch::{Mask, Patch, fill_ticks, flood, whole};
use super::plane::Plane;
use super::sort::{Sorted, sort};
use crate::fault::{Fault, Faults};
use crate::geometry::{Point, ring_contains};
use image::{GrayImage, Luma};

/// A template in the picture.
pub(super) struct Found {
    /// What the network takes for it; `None` if it sees nothing there.
    pub part: Option<Part>,
    pub patch: Patch,
    /// `None` if two levels under one light tell skin from ground.
    pub sorted: Option<Sorted>,
}

/// What the user points at, in pixels of the flat picture.
#[derive(Clone, Debug, Default)]
pub(super) struct Hint {
    /// On the skin.
    pub at: Option<Point>,
    /// Around the skin.
    pub around: Option<Vec<Point>>,
}

/// From this distance of two levels on (in spreads), ground and skin are plain and the levels tell
/// them apart best.
const PLAIN: f64 = 30.0;

/// The patches of a plain skin on a plain ground, and whether they are the lighter ones; `None`
/// where two levels under one light do not tell the two apart.
fn plain(flat: &Flat, smooth: &GrayImage, plane: &Plane) -> Option<Plain> {
    let flat = Flat { colour: image::RgbImage::new(0, 0), grey: smooth.clone(), ..flat.clone() };
    let covered = |p: Point| plane.solid.iter().any(|card| ring_contains(card, p));
    let light = fit(&flat, &covered).ok()?;
    if light.apart < PLAIN {
        return None;
    }
    let (lighter, found) = choose(&flat, &light, plane).ok()?;
    Some(Plain { lighter, patches: found.found, cut_off: found.cut_off })
}

struct Plain {
    lighter: bool,
    patches: Vec<Patch>,
    cut_off: Vec<(Point, f64)>,
}

/// A second template has at least this share of the largest one's area: what is smaller is clutter
/// that looks like tape.
const LEAST_SHARE: f64 = 0.12;
/// How sure the network must be of a part, how far it must agree with itself, and the same for a
/// second template.
const SURE: (f64, f64) = (0.7, 0.92);
const AGREED: (f64, f64) = (0.6, 0.93);

/// The templates in the picture, the largest first, and whether their skin is lighter than the
/// ground, if it is plain.
///
/// # Errors
/// Nothing that could be one, with the reason.
pub(super) fn find(
    flat: &Flat,
    smooth: &GrayImage,
    belief: &Belief,
    plane: &Plane,
    hint: &Hint,
    warnings: &mut Vec<Fault>,
) -> Result<(Vec<Found>, Option<bool>), Faults> {
    let cards = &plane.solid;
    let all = parts(flat, belief, Sought::Skin, cards);
    let on_card = on(belief, flat, cards);
    let plain = plain(flat, smooth, plane);
    let mut out: Vec<Found> = Vec::new();
    let mut left_out: Vec<&Part> = Vec::new();
    let mut largest = 0.0;
    for (i, part) in all.iter().enumerate() {
        let pointed = hint.holds(belief, part);
        if pointed == Some(false) || part.area < LEAST_AREA && pointed != Some(true) {
            continue;
        }
        if part.cut_off {
            left_out.push(part);
            continue;
        }
        let likely = if out.is_empty() {
            part.sure > SURE.0 && part.agreed > AGREED.0
        } else {
            part.area > LEAST_SHARE * largest && part.sure > SURE.1 && part.agreed > AGREED.1
        };
        if !likely && pointed != Some(true) {
            continue;
        }
        largest = f64::max(largest, part.area);
        // What two levels sort on a plain ground is the better measured.
        let same = |p: &&Patch| share_of(belief, part, &p.mask) > 0.9 && p.area < 1.15 * part.area;
        if let Some(patch) = plain.as_ref().and_then(|p| p.patches.iter().find(same)) {
            out.push(Found { part: Some(part.clone()), patch: patch.clone(), sorted: None });
            continue;
        }
        let mut foreign = on_card.clone();
        for (_, other) in all.iter().enumerate().filter(|o| o.0 != i && o.1.area > 0.3 * LEAST_AREA)
        {
            foreign.iter_mut().zip(other.cells.iter()).for_each(|(f, c)| *f = (*f).max(*c));
        }
        let Some(sorted) = sort(flat, belief, &part.cells, &foreign) else { continue };
        let mut own = main_piece(&sorted.mask.image);
        fill_ticks(&sorted.tone, &mut own, flat.mm);
        let patch = whole(Mask { image: own, ..sorted.mask.clone() }, sorted.tone.clone(), flat.mm);
        out.push(Found { part: Some(part.clone()), patch, sorted: Some(sorted) });
    }
    if out.is_empty()
        && let Some(plain) = &plain
    {
        // The network knows tape; a plain patch of anything else can still be a template.
        let pointed = |p: &&Patch| hint.at.is_none_or(|at| mask_holds(&p.mask, at));
        out.extend(plain.patches.iter().filter(pointed).map(|patch| Found {
            part: None,
            patch: patch.clone(),
            sorted: None,
        }));
    }
    for part in &left_out {
        let what = format!(
            "something like a template, {:.0} cm², is cut off by the frame of the photo and was left out",
            part.area / 100.0
        );
        warnings.push(
            Fault::new(what, "if it is to be traced, show all of it, with some ground around")
                .at("photo", part.at.x, part.at.y),
        );
    }
    if !out.is_empty() {
        return Ok((out, plain.map(|p| p.lighter)));
    }
    let cut = left_out
        .first()
        .map(|p| p.at)
        .or_else(|| plain.as_ref().and_then(|p| p.cut_off.first()).map(|c| c.0));
    let fault = match (cut, all.first()) {
        (Some(at), _) => {
            let what = "the template is cut off by the frame of the photo";
            Fault::new(what, "show all of it, with some ground around").at("photo", at.x, at.y)
        }
        _ if hint.at.is_some() || hint.around.is_some() => Fault::new(
            "there is nothing like a skin of tape where you point",
            "give a pixel well inside the skin, as the photo is shown: --at X,Y",
        ),
        (None, Some(part)) => {
            let what = "template and ground are too alike, or it is no skin of tape: nothing in the photo is surely a template";
            let remedy = "point at it with --at X,Y (a pixel on the skin), or lay it on a plain ground that is much darker or lighter";
            Fault::new(what, remedy).at("photo", part.at.x, part.at.y)
        }
        (None, None) => Fault::new(
            "template and ground are too alike: no template was found in the photo",
            "point at it with --at X,Y (a pixel on the skin), or lay it on a plain ground that is much darker or lighter",
        ),
    };
    Err(fault.into())
}

impl Hint {
    /// Whether a part is pointed at; `None` if nothing is.
    fn holds(&self, belief: &Belief, part: &Part) -> Option<bool> {
        let inside = |cell: usize| part.cells.as_raw()[cell] > 0;
        if let Some(at) = self.at {
            // A hand may be off by a little.
            let near = (-3..=3).flat_map(|i| (-3..=3).map(move |k| (i, k)));
            let step = belief.step;
            return Some(near.into_iter().any(|(i, k)| {
                inside(belief.cell(at.x + f64::from(i) * step, at.y + f64::from(k) * step))
            }));
        }
        let ring = self.around.as_ref()?;
        let cells = || part.cells.iter().enumerate().filter(|(_, v)| **v > 0);
        let held = cells().filter(|(i, _)| ring_contains(ring, belief.middle(*i))).count();
        Some(2 * held > cells().count())
    }
}

/// The share of a part's cells that a mask holds.
pub(super) fn share_of(belief: &Belief, part: &Part, mask: &Mask) -> f64 {
    let cells = || part.cells.iter().enumerate().filter(|(_, v)| **v > 0);
    cells().filter(|(i, _)| mask_holds(mask, belief.middle(*i))).count() as f64
        / cells().count().max(1) as f64
}

fn mask_holds(mask: &Mask, at: Point) -> bool {
    let (u, v) = (at.x - f64::from(mask.x), at.y - f64::from(mask.y));
    let (w, h) = mask.image.dimensions();
    u >= 0.0
        && v >= 0.0
        && u < f64::from(w)
        && v < f64::from(h)
        && mask.image.get_pixel(u as u32, v as u32)[0] > 0
}

/// The largest connected white part.
pub(super) fn main_piece(image: &GrayImage) -> GrayImage {
    let (w, h) = image.dimensions();
    let mut done = GrayImage::new(w, h);
    let mut largest = Vec::new();
    for y in 0..h {
        for x in 0..w {
            let pixels = flood(&mut done, x, y, false, |x, y| image.get_pixel(x, y)[0] > 0);
            if pixels.len() > largest.len() {
                largest = pixels;
            }
        }
    }
    let mut out = GrayImage::new(w, h);
    largest.iter().for_each(|&(x, y)| out.put_pixel(x, y, Luma([255])));
    out
}
