//! From what the network believes to the parts that are traced, each with a close look at it.

use super::belief::{Belief, Sought};
use super::from_above::FromAbove;
use super::look::Look;
use super::part::{LEAST_AREA, Part, parts};
use crate::fault::{Fault, Faults};
use crate::geometry::{Point, ring_contains};
use std::sync::Arc;

/// What the user points at, in pixels of the flat picture.
#[derive(Clone, Debug, Default)]
pub(super) struct Hint {
    /// On the skin.
    pub at: Option<Point>,
    /// Around the skin.
    pub around: Option<Vec<Point>>,
}

/// A second template has at least this share of the largest one's area: what is smaller is clutter
/// that looks like tape.
const LEAST_SHARE: f64 = 0.12;
/// How sure the network must be of a second template, and how far it must agree with itself.
const SURE: f64 = 0.92;
const AGREED: f64 = 0.93;

/// The templates in the picture, the largest first.
///
/// # Errors
/// Nothing that could be one, with the reason.
pub(super) fn find(
    seen: &FromAbove<'_>,
    hint: &Hint,
    warnings: &mut Vec<Fault>,
) -> Result<Vec<Arc<Look>>, Faults> {
    let (flat, plane, belief) = (&*seen.flat, &seen.plane, seen.belief()?);
    let all = parts(flat, belief, Sought::Skin, &plane.solid);
    let mut out: Vec<Arc<Look>> = Vec::new();
    let mut left_out: Vec<&Part> = Vec::new();
    let mut largest = 0.0;
    // What the frame may cut comes last: it is looked at only if it is as large as the rest.
    let whole = all.iter().filter(|p| !p.cut_off).chain(all.iter().filter(|p| p.cut_off));
    for part in whole {
        let pointed = hint.holds(belief, part);
        if pointed == Some(false) || part.area < LEAST_AREA && pointed != Some(true) {
            continue;
        }
        if part.cut_off && part.area < 0.5 * largest && pointed != Some(true) {
            left_out.push(part);
            continue;
        }
        let likely = if out.is_empty() {
            part.is_likely()
        } else {
            part.area > LEAST_SHARE * largest && part.sure > SURE && part.agreed > AGREED
        };
        if !likely && pointed != Some(true) {
            continue;
        }
        let look = seen.look(part)?;
        if part.cut_off && look.is_cut_off(flat) {
            left_out.push(part);
            continue;
        }
        largest = f64::max(largest, part.area);
        out.push(look);
    }
    for part in &left_out {
        let what = said!(
            "something like a template, {:.0} cm², is cut off by the frame of the photo and was left out",
            part.area / 100.0
        );
        warnings.push(
            Fault::new(what, "if it is to be traced, show all of it, with some ground around")
                .at("photo", part.at.x, part.at.y),
        );
    }
    if !out.is_empty() {
        return Ok(out);
    }
    let pointing = "point at it with --at X,Y (a pixel on the skin), or lay it on a plain ground that is much darker or lighter";
    let fault = match (left_out.first(), all.first()) {
        (Some(part), _) => {
            let what = "the template is cut off by the frame of the photo";
            Fault::new(what, "show all of it, with some ground around")
                .at("photo", part.at.x, part.at.y)
        }
        _ if hint.at.is_some() || hint.around.is_some() => Fault::new(
            "there is nothing like a skin of tape where you point",
            "give a pixel well inside the skin, as the photo is shown: --at X,Y",
        ),
        (None, Some(part)) => {
            let what = "template and ground are too alike, or it is no skin of tape: nothing in the photo is surely a template";
            Fault::new(what, pointing).at("photo", part.at.x, part.at.y)
        }
        (None, None) => {
            let what = "template and ground are too alike: no template was found in the photo";
            Fault::new(what, pointing)
        }
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
