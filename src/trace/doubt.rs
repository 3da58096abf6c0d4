//! How far each stretch of an outline can be trusted.
//!
//! A stretch is doubtful where skin and ground hardly differ, where nothing like an edge (or a line
//! of ink) lies under it, where the network sees the outline elsewhere or does not agree with
//! itself, and where a card lies over it.

use super::belief::{Belief, Sought};
use super::flat::Flat;
use super::part::Part;
use super::sort::signed_distance;
use super::tone::Tone;
use crate::geometry::{Path, Point, Ring, point, ring_bounds, ring_contains};

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
    /// The middle of the stretch, mm.
    pub fn at(&self) -> Point {
        self.path.get(self.path.len() / 2).copied().unwrap_or_default()
    }

    /// What is wrong, in words.
    pub fn what(&self) -> String {
        let why = match self.cause {
            Cause::Card => "a card lies on the edge or against it",
            Cause::Alike => "the ground is too like the tape",
            Cause::Unclear => "no clear edge is to be seen (shadow, shine, a lifted or torn edge)",
            Cause::NoInk => "the inked line stops or is too faint",
            Cause::Elsewhere => "colour and shape of the skin do not agree about the edge",
        };
        format!("{:.0} mm of the outline are doubtful: {why}", self.length.max(1.0))
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
            Cause::Elsewhere => {
                "look at the red stretch in the check picture; if it is wrong, take the photo in even light on a plain ground"
            }
        }
    }
}

/// What an outline is held against.
pub(super) struct Ground<'a> {
    pub flat: &'a Flat,
    pub belief: &'a Belief,
    pub part: &'a Part,
    pub sought: Sought,
    /// What the edge was measured in: skin, or how dark the ink is.
    pub tone: &'a Tone,
    /// How far skin and ground lie apart in spreads; `None` where both are plain and colour alone
    /// decides.
    pub apart: Option<&'a dyn Fn(Point) -> f64>,
    pub cards: &'a [Vec<Point>],
}

/// Less than so many spreads between skin and ground leave the edge open.
const LEAST_APART: f64 = 2.0;
/// A clear edge goes at least so far from skin to ground.
const LEAST_STEP: f64 = 0.45;
/// Ink under a net line is at least so many levels of grey darker than the tape.
const LEAST_INK: f64 = 7.0;
/// The network's outline is right to so many pixels of its small copy.
const ASTRAY: f64 = 2.6;
/// Distance of the looks along the outline, mm.
const STEP: f64 = 1.0;
/// Doubts no longer than this are noise, mm.
const LEAST: f64 = 4.0;

/// The doubtful stretches of a ring.
pub(super) fn doubts_of(ring: &Ring, g: &Ground) -> Vec<Doubt> {
    let looks = along(ring);
    let n = looks.len();
    if n < 8 {
        return Vec::new();
    }
    let depth = signed_distance(&g.part.cells);
    let (_, votes) = g.belief.about(g.sought);
    let why: Vec<Option<Cause>> =
        looks.iter().map(|&(p, out)| cause(p, out, g, &depth, votes)).collect();
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
            // On a plain ground the mouth of a slit looks like one.
            if length >= if g.apart.is_none() { 2.0 * LEAST } else { LEAST } {
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

/// Places where outline and network disagree by an area: one says skin, the other ground, further
/// than either's edge may be off.
pub(super) fn areas_of(net: &Ring, holes: &[Ring], g: &Ground) -> Vec<Doubt> {
    let inside = g.belief.picture(|i| {
        let p = g.flat.plane(g.belief.middle(i));
        ring_contains(net, p) && !holes.iter().any(|h| ring_contains(h, p))
    });
    let (_, votes) = g.belief.about(g.sought);
    let (w, h) = inside.dimensions();
    let near = |i: usize| g.part.cells.as_raw()[i] > 0;
    let mut apart = g.belief.picture(|i| {
        let is_in = inside.as_raw()[i] > 0;
        is_in && votes[i] == 0 || !is_in && near(i) && votes[i] == 3
    });
    let deep = (1.3 * g.belief.grain / g.belief.mm).round().clamp(1.0, 60.0) as u8;
    imageproc::morphology::erode_mut(&mut apart, imageproc::distance_transform::Norm::L2, deep);
    let mut done = image::GrayImage::new(w, h);
    let mut out = Vec::new();
    for (x, y) in (0..h).flat_map(|y| (0..w).map(move |x| (x, y))) {
        let pixels =
            super::patch::flood(&mut done, x, y, true, |x, y| apart.get_pixel(x, y)[0] > 0);
        if pixels.is_empty() {
            continue;
        }
        let ring = pixels.iter().map(|&(x, y)| g.flat.plane(g.belief.middle((y * w + x) as usize)));
        let path: Path = ring.step_by(pixels.len().div_ceil(40)).collect();
        let size = ring_bounds(&path).map_or(0.0, |b| b.width().max(b.height()))
            + 2.0 * f64::from(deep) * g.belief.mm;
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

fn cause(p: Point, out: Point, g: &Ground, depth: &[f32], votes: &[u8]) -> Option<Cause> {
    if g.cards.iter().any(|card| beside(card, p)) {
        return Some(Cause::Card);
    }
    let pixel = |s: f64| g.flat.pixel(p + out * s);
    let at = pixel(0.0);
    let apart = g.apart.map_or(f64::INFINITY, |apart| apart(at));
    match g.sought {
        Sought::Skin => {
            let share = |s: f64| g.tone.share(pixel(s));
            let mean =
                |from: f64| (0..4).map(|k| share(from + f64::from(k) * 0.3)).sum::<f64>() / 4.0;
            let inner = mean(-1.9).max(mean(-3.2));
            let outer = mean(0.8).min(mean(2.0));
            if apart < LEAST_APART {
                return Some(Cause::Alike);
            }
            if inner - outer < LEAST_STEP {
                return Some(if apart < 1.5 * LEAST_APART { Cause::Alike } else { Cause::Unclear });
            }
        }
        Sought::Inside => {
            let ink = |s: f64| {
                let q = pixel(s);
                super::grey::sample(
                    &g.tone.image,
                    q.x - f64::from(g.tone.x),
                    q.y - f64::from(g.tone.y),
                )
            };
            let peak = (-4..=4).map(|k| ink(f64::from(k) * 0.3)).fold(0.0, f64::max);
            if peak < LEAST_INK {
                return Some(Cause::NoInk);
            }
            // Where ink lies, the line is there, whatever a small copy shows of it.
            if peak > 2.0 * LEAST_INK {
                return None;
            }
        }
    }
    if g.apart.is_none() && g.sought == Sought::Skin {
        return None;
    }
    // In a narrow gap the network sees nothing: there the colours alone speak, and they are clear.
    let reach = ASTRAY * g.belief.grain;
    let off = f64::from(g.belief.at(depth, at.x, at.y)).abs() * g.belief.mm;
    let open = [0.5, 1.0].iter().all(|k| {
        let q = pixel(reach * k);
        f64::from(g.belief.at(depth, q.x, q.y)) < 0.0 || g.tone.share(q) < 0.5
    });
    if off > reach && (open || apart < 2.0 * LEAST_APART) {
        return Some(Cause::Elsewhere);
    }
    let vote = |s: f64| {
        let q = pixel(s);
        votes[g.belief.cell(q.x, q.y)]
    };
    let torn = (1..=2).contains(&vote(-2.0 * g.belief.grain))
        || (open && (1..=2).contains(&vote(2.0 * g.belief.grain)));
    if torn && apart < 2.5 * LEAST_APART {
        return Some(Cause::Elsewhere);
    }
    None
}

/// True of a point on a card or within a millimetre of it.
fn beside(card: &[Point], p: Point) -> bool {
    crate::geometry::ring_contains(card, p)
        || (0..card.len()).any(|i| p.distance_to_segment(card[i], card[(i + 1) % card.len()]) < 1.0)
}
