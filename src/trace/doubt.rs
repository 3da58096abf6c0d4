//! How far each stretch of an outline can be trusted.
//!
//! A stretch is doubtful where the network's answers do not go from skin to ground within a
//! millimetre or so, where two looks do not agree, and where a card lies over it; and so is an area
//! of which it cannot say whether it is skin.

use super::belief::Sought;
use super::bump::{Bump, SAID};
use super::flat::Flat;
use super::grey::{sample, sample_colour};
use super::look::Look;
use super::mask::pieces;
use crate::fault::{Fault, Said};
use crate::geometry::{Path, Point, Ring, point, ring_bounds, ring_contains};
use image::GrayImage;

/// Why a stretch is doubtful.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Cause {
    /// A card lies over it or against it.
    Card,
    /// Skin and ground have hardly any difference in colour.
    Alike,
    /// No edge can be measured, though skin and ground differ elsewhere.
    Unclear,
    /// No ink lies under the net line.
    NoInk,
    /// The outline is elsewhere by what the network sees.
    Elsewhere,
    /// A bump or a notch that was left out.
    Bump,
    /// A line is so faint, or of such a shape, that it may be a slit, a relief cut, a narrow dart or
    /// nothing.
    Faint,
}

/// A stretch of an outline that may be wrong.
#[derive(Clone, Debug, PartialEq)]
pub struct Doubt {
    /// Where it runs, mm.
    pub path: Path,
    /// Its length, mm.
    pub length: f64,
    /// Why.
    pub cause: Cause,
}

impl Doubt {
    /// A line whose shape does not tell what it is.
    pub(super) fn unclear(path: Path) -> Doubt {
        let length = crate::geometry::path_length(&path);
        Doubt { path, length, cause: Cause::Faint }
    }

    /// A bump that was taken off the edge, if it is worth a word.
    pub(super) fn bump(bump: Bump) -> Option<Doubt> {
        let Bump { path, height } = bump;
        (height > SAID).then_some(Doubt { path, length: height, cause: Cause::Bump })
    }

    /// The same as a warning about the outline.
    pub(super) fn fault(&self) -> Fault {
        Fault::new(self.what(), self.remedy()).at("outline", self.at().x, self.at().y)
    }

    /// The middle of the stretch, mm.
    pub fn at(&self) -> Point {
        self.path.get(self.path.len() / 2).copied().unwrap_or_default()
    }

    /// What is wrong, in words.
    pub fn what(&self) -> Said {
        let why = match self.cause {
            Cause::Card => "a card lies on the edge or against it",
            Cause::Alike => "the ground is too like the tape",
            Cause::Unclear => "no clear edge is to be seen (shadow, shine, a lifted or torn edge)",
            Cause::NoInk => "the inked line stops or is too faint",
            Cause::Elsewhere => "colour and shape of the skin do not agree about the edge",
            Cause::Bump | Cause::Faint => {
                "it may be a slit, a relief cut, a narrow dart, a seam or a mark"
            }
        };
        if self.cause == Cause::Bump {
            return said!("a bump or notch of {:.1} mm in a smooth edge was left out", self.length);
        }
        let what = if self.cause == Cause::Faint { "a line" } else { "the outline" };
        said!("{:.0} mm of {what} are doubtful: {why}", self.length.max(1.0))
    }

    /// What to do about it.
    pub fn remedy(&self) -> &'static str {
        match self.cause {
            Cause::Card => "lay the card clear of the template",
            Cause::Alike => "lay paper of another colour under it, or ink the edge",
            Cause::Unclear => {
                "press the edge flat, light it evenly, and look at the red stretch in the check picture"
            }
            Cause::NoInk => "ink the line there, or look at the red stretch in the check picture",
            Cause::Bump => {
                "ink over the edge or the ground's pattern looks so; if the template has one, draw it into the outline"
            }
            Cause::Faint => {
                "look at the red line in the check picture; ink it if it is a relief cut that the outline lacks"
            }
            Cause::Elsewhere => {
                "look at the red stretch in the check picture; if it is wrong, take the photo in even light on a plain ground"
            }
        }
    }
}

/// What an outline is held against.
pub(super) struct Ground<'a> {
    pub flat: &'a Flat,
    pub look: &'a Look,
    pub sought: Sought,
    /// The shares of skin (or of the inside) in which the edge was measured; they lie as the look.
    pub shares: &'a GrayImage,
    pub cards: &'a [Vec<Point>],
}

/// A clear edge goes at least so far from skin to ground within [`WITHIN`].
const LEAST_STEP: f64 = 0.8;
/// How far off an edge the answers are clear, mm.
const WITHIN: f64 = 1.2;
/// Ink under a net line is at least so sure, of 255.
const LEAST_INK: f64 = 90.0;
/// Two looks that agree about an edge are nowhere further apart, of 255.
const MOST_APART: f64 = 110.0;
/// Colours that lie less apart than this are alike (levels of 255).
const ALIKE: f64 = 14.0;
/// Distance of the looks along the outline, mm.
const STEP: f64 = 1.0;
/// Doubts no longer than this are noise, mm.
const LEAST: f64 = 3.0;
/// Answers between these are no answer, of 255.
const UNSURE: (u8, u8) = (64, 191);
/// Less of them than this is no matter, mm².
const LEAST_AREA: f64 = 20.0;

/// The doubtful stretches of a ring.
pub(super) fn doubts_of(ring: &Ring, g: &Ground) -> Vec<Doubt> {
    let looks = along(ring);
    let n = looks.len();
    if n < 8 {
        return Vec::new();
    }
    let why: Vec<Option<Cause>> = looks.iter().map(|&(p, out)| cause(p, out, g)).collect();
    // A look counts if most about it say the same; gaps of a few looks are bridged.
    let near = |i: usize, c: Option<Cause>| {
        (0..5).filter(|k| (why[(i + n + k - 2) % n].is_some()) == c.is_some()).count() >= 3
    };
    let bad: Vec<bool> = (0..n).map(|i| near(i, Some(Cause::Unclear))).collect();
    let Some(start) = (0..n).find(|&i| !bad[i] && !bad[(i + 1) % n] && !bad[(i + 2) % n]) else {
        let length = n as f64 * STEP;
        let path = looks.iter().map(|l| l.0).collect();
        return vec![Doubt { path, length, cause: most(&why).unwrap_or(Cause::Unclear) }];
    };
    let mut out = Vec::new();
    let mut run: Vec<usize> = Vec::new();
    let mut clear = 0;
    for k in 0..=n {
        let i = (start + k) % n;
        if bad[i] && k < n {
            run.push(i);
            clear = 0;
            continue;
        }
        clear += 1;
        if clear < 6 && k < n {
            continue;
        }
        if let (Some(&first), Some(&last)) = (run.first(), run.last()) {
            let count = (last + n - first) % n + 1;
            let length = count as f64 * STEP;
            if length >= LEAST {
                let path = (0..count).map(|k| looks[(first + k) % n].0).collect();
                let causes: Vec<Option<Cause>> = run.iter().map(|&i| why[i]).collect();
                out.push(Doubt { path, length, cause: most(&causes).unwrap_or(Cause::Unclear) });
            }
        }
        run.clear();
    }
    out
}

fn most(causes: &[Option<Cause>]) -> Option<Cause> {
    let all = [Cause::Card, Cause::Alike, Cause::Unclear, Cause::NoInk, Cause::Elsewhere];
    let count = |c: &Cause| causes.iter().filter(|o| **o == Some(*c)).count();
    all.into_iter().filter(|c| count(c) > 0).max_by_key(count)
}

/// Places inside an outline, or just outside of it, of which the network cannot say whether they
/// are skin.
pub(super) fn areas_of(net: &Ring, holes: &[Ring], g: &Ground) -> Vec<Doubt> {
    let mm = g.flat.mm;
    let place =
        |x: u32, y: u32| g.flat.plane(point(f64::from(x + g.look.x), f64::from(y + g.look.y)));
    let unsure = GrayImage::from_fn(g.shares.width(), g.shares.height(), |x, y| {
        let v = g.shares.get_pixel(x, y)[0];
        image::Luma([if v > UNSURE.0 && v < UNSURE.1 { 255 } else { 0 }])
    });
    // An edge is a line of them.
    let reach = (0.9 / mm).round().max(1.0) as u8;
    let mut wide = unsure.clone();
    imageproc::morphology::erode_mut(&mut wide, imageproc::distance_transform::Norm::L2, reach);
    imageproc::morphology::dilate_mut(&mut wide, imageproc::distance_transform::Norm::L2, reach);
    let mut out = Vec::new();
    for pixels in pieces(&wide, true) {
        let area = pixels.len() as f64 * mm * mm;
        let middle = pixels[pixels.len() / 2];
        let inside = |p: Point| ring_contains(net, p) && !holes.iter().any(|h| ring_contains(h, p));
        if area < LEAST_AREA || !pixels.iter().step_by(7).any(|p| inside(place(p.0, p.1))) {
            continue;
        }
        let step = pixels.len().div_ceil(40);
        let mut path: Path = pixels.iter().step_by(step).map(|p| place(p.0, p.1)).collect();
        path.push(place(middle.0, middle.1));
        let size = ring_bounds(&path).map_or(0.0, |b| b.width().max(b.height()));
        out.push(Doubt { path, length: size, cause: Cause::Elsewhere });
    }
    out
}

/// Places along a ring at even distances, with the direction out of it.
fn along(ring: &Ring) -> Vec<(Point, Point)> {
    let n = ring.len();
    let all: f64 = (0..n).map(|i| ring[i].distance(ring[(i + 1) % n])).sum();
    let count = (all / STEP) as usize;
    let (mut out, mut i, mut gone) = (Vec::with_capacity(count), 0, 0.0);
    for k in 0..count {
        let at = k as f64 * all / count as f64;
        while i + 1 < n && gone + ring[i].distance(ring[(i + 1) % n]) < at {
            gone += ring[i].distance(ring[(i + 1) % n]);
            i += 1;
        }
        let (a, b) = (ring[i], ring[(i + 1) % n]);
        let length = a.distance(b).max(1e-9);
        let t = (b - a) * (1.0 / length);
        // Anticlockwise: the outside is on the right.
        out.push((a + t * (at - gone), point(t.y, -t.x)));
    }
    out
}

fn cause(p: Point, out: Point, g: &Ground) -> Option<Cause> {
    if g.cards.iter().any(|card| beside(card, p)) {
        return Some(Cause::Card);
    }
    let corner = point(f64::from(g.look.x), f64::from(g.look.y));
    let share = |s: f64| {
        let q = g.flat.pixel(p + out * s) - corner;
        sample(g.shares, q.x, q.y) / 255.0
    };
    let apart = match g.sought {
        Sought::Inside => &g.look.inside_apart,
        Sought::Skin => &g.look.skin_apart,
    };
    let apart = |s: f64| {
        let q = g.flat.pixel(p + out * s) - corner;
        sample(apart, q.x, q.y)
    };
    if (-3..=3).any(|k| apart(0.4 * f64::from(k)) > MOST_APART) {
        return Some(Cause::Elsewhere);
    }
    let mean = |from: f64| (0..3).map(|k| share(from + 0.4 * f64::from(k))).sum::<f64>() / 3.0;
    // Beyond a narrow neck, or across a narrow gap, lies the other side.
    if g.sought == Sought::Inside {
        let ink = |s: f64| {
            let q = g.flat.pixel(p + out * s) - corner;
            sample(&g.look.ink, q.x, q.y)
        };
        let most = (-3..=3).map(|k| ink(0.4 * f64::from(k))).fold(0.0, f64::max);
        if most < LEAST_INK {
            return Some(Cause::NoInk);
        }
    }
    let inner = mean(-WITHIN - 0.8).max(mean(-WITHIN));
    let outer = mean(WITHIN).min(mean(WITHIN - 0.4));
    if inner - outer >= LEAST_STEP {
        return None;
    }
    if g.sought == Sought::Inside {
        return Some(Cause::NoInk);
    }
    let colour = |s: f64| {
        let q = g.flat.pixel(p + out * s);
        sample_colour(&g.flat.colour, q.x, q.y)
    };
    let (a, b) = (colour(-2.4), colour(2.4));
    let apart = (0..3).map(|c| (a[c] - b[c]).powi(2)).sum::<f64>().sqrt();
    Some(if apart < ALIKE { Cause::Alike } else { Cause::Unclear })
}

/// True of a point on a card or within a millimetre of it.
fn beside(card: &[Point], p: Point) -> bool {
    crate::geometry::ring_contains(card, p)
        || (0..card.len()).any(|i| p.distance_to_segment(card[i], card[(i + 1) % card.len()]) < 1.0)
}
