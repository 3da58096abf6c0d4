//! The places of a part at which different layers lie over one another, measured from the pieces as
//! they are laid.

use super::ply::Sheet;
use super::stack::{Laid, Stack, letter};
use crate::cloth::Weave;
use crate::geometry::boolean::{difference, intersection, union};
use crate::geometry::{Bounds, Motion, Region, Ring, point};
use crate::plan::{Plan, PlanPiece};
use crate::ply::Hand;
use serde::Serialize;

/// A region smaller than this is what rounding leaves over, mm².
const LEAST_AREA: f64 = 25.0;

/// A template that patches divide into more regions than this is not divided further, and every
/// region says so.
const MOST_REGIONS: usize = 4_000;

/// A place of a template at which the same layers lie everywhere.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct RegionFigures {
    /// Job.
    pub job: String,
    /// The template it lies on.
    pub template: String,
    /// Its hand.
    pub hand: Hand,
    /// How many of this template and hand are made.
    pub parts: u32,
    /// The local patches that lie there, one entry for each layer of them.
    pub patches: Vec<String>,
    /// Layers of the job that lie there.
    pub layers: Vec<usize>,
    /// Area on one part, m².
    pub area: f64,
    /// Laminate code.
    pub code: String,
    /// The same without signs that only some fonts have.
    pub plain_code: String,
    /// Cured thickness, mm, where every cloth's masses are known.
    pub thickness: Option<f64>,
    /// Mass of an area, g/m².
    pub areal_mass: Option<f64>,
    /// Fibre volume fraction of the fibre layers.
    pub fibre_volume: Option<f64>,
    /// Balance and symmetry in plain words.
    pub remarks: Vec<String>,
}

/// A ply with all its parts.
pub(super) struct Ply<'p> {
    pub parts: Vec<&'p PlanPiece>,
}

impl Ply<'_> {
    /// Net rings of a part as it is laid, the part's 0° along +x.
    pub(super) fn home(&self, piece: &PlanPiece) -> Vec<Ring> {
        let home = Motion::turn(piece.angle);
        piece
            .net
            .iter()
            .map(|r| r.iter().map(|&q| home.apply(q - piece.origin).snapped()).collect())
            .collect()
    }

    /// The whole ply as it is laid; what lies double counts once.
    pub(super) fn shape(&self) -> Vec<Region> {
        // A hole runs clockwise and cuts only its own part.
        let parts: Vec<Region> =
            self.parts.iter().flat_map(|p| regions_of(&self.home(p))).collect();
        if self.parts.len() < 2 {
            return parts;
        }
        let mut out: Vec<Region> = Vec::new();
        for part in parts {
            out = if part.holes.is_empty() && out.iter().all(|r| r.holes.is_empty()) {
                union(out.iter().chain([&part]).map(|r| &r.outline))
            } else {
                let beyond = difference(part.rings(), rings(&out));
                out.into_iter().chain(beyond).collect()
            };
        }
        out
    }
}

/// Outer rings and holes of one part as regions.
fn regions_of(rings: &[Ring]) -> Vec<Region> {
    let (outer, holes): (Vec<&Ring>, Vec<&Ring>) =
        rings.iter().partition(|r| crate::geometry::ring_area(r) > 0.0);
    if holes.is_empty() { union(outer) } else { difference(outer, holes) }
}

/// The plies of some pieces, in laying order.
pub(super) fn plies<'p>(pieces: &[&'p PlanPiece]) -> Vec<Ply<'p>> {
    let mut out: Vec<Ply<'p>> = Vec::new();
    for &piece in pieces {
        match out.iter_mut().find(|p| p.parts.first().is_some_and(|first| first.ply == piece.ply)) {
            Some(ply) => ply.parts.push(piece),
            None => out.push(Ply { parts: vec![piece] }),
        }
    }
    out
}

/// The regions of all templates of a job.
pub(super) fn of_job(
    plan: &Plan,
    job: &str,
    pieces: &[&PlanPiece],
    find: &dyn Fn(&str) -> Option<Sheet>,
) -> Vec<RegionFigures> {
    let mut out = Vec::new();
    for template in plan.templates.iter().filter(|t| t.job == job && t.on.is_none()) {
        for hand in [Hand::AsTraced, Hand::Mirrored] {
            out.extend(of_template(plan, job, pieces, &template.template, hand, find));
        }
    }
    out
}

/// How many parts are made is the greatest number that divides the copies of every layer: two
/// copies in one layer and one in the others are two layers over one another.
fn of_template(
    plan: &Plan,
    job: &str,
    pieces: &[&PlanPiece],
    template: &str,
    hand: Hand,
    find: &dyn Fn(&str) -> Option<Sheet>,
) -> Vec<RegionFigures> {
    let lies_on = |id: &str| {
        plan.templates.iter().any(|t| {
            t.template == id && t.job == job && t.on.as_ref().is_some_and(|on| on.0 == template)
        })
    };
    let mine: Vec<&PlanPiece> = pieces
        .iter()
        .copied()
        .filter(|p| p.hand == hand && (p.template == template || lies_on(&p.template)))
        .collect();
    let plies: Vec<(Ply<'_>, &PlanPiece)> =
        plies(&mine).into_iter().filter_map(|p| p.parts.first().copied().map(|f| (p, f))).collect();
    let own = || plies.iter().filter(|(_, first)| first.template == template);
    let parts = own().map(|(_, first)| first.copies).fold(0, common_divisor);
    let Some(base) = own().map(|(ply, _)| ply.shape()).max_by(|a, b| area(a).total_cmp(&area(b)))
    else {
        return Vec::new();
    };
    let mut cells: Vec<(Vec<Region>, Vec<usize>)> = vec![(base, Vec::new())];
    let mut left_out: Vec<&str> = Vec::new();
    for (i, (ply, first)) in plies.iter().enumerate() {
        if first.template == template {
            cells.iter_mut().for_each(|c| c.1.push(i));
            continue;
        }
        if cells.len() > MOST_REGIONS {
            left_out.push(&first.template);
            continue;
        }
        let shape = ply.shape();
        let reach = bounds(&shape);
        let mut divided = Vec::new();
        for (cell, laid) in cells {
            if !meet(reach, bounds(&cell)) {
                divided.push((cell, laid));
                continue;
            }
            let inside = kept(intersection(rings(&cell), rings(&shape)));
            if inside.is_empty() {
                divided.push((cell, laid));
                continue;
            }
            let outside = kept(difference(rings(&cell), rings(&shape)));
            let with = laid.iter().copied().chain([i]).collect();
            if !outside.is_empty() {
                divided.push((outside, laid));
            }
            divided.push((inside, with));
        }
        cells = divided;
    }
    let figures = |(cell, laid): (Vec<Region>, Vec<usize>)| {
        let mut stack = Stack::default();
        let (mut patches, mut layers): (Vec<String>, Vec<usize>) = (Vec::new(), Vec::new());
        for first in laid.iter().filter_map(|&i| plies.get(i)).map(|p| p.1) {
            if first.template != template {
                patches.push(first.template.clone());
            }
            for _ in 0..(first.copies / parts.max(1)).max(1) {
                stack.layers.push(laid_of(plan, first, find));
                layers.push(first.layer);
            }
        }
        RegionFigures {
            job: job.to_string(),
            template: template.to_string(),
            hand,
            parts: parts.max(1),
            patches,
            layers,
            area: area(&cell) / 1e6,
            code: stack.code(true),
            plain_code: stack.code(false),
            thickness: stack.sum(|s| s.thickness),
            areal_mass: stack.sum(Sheet::areal_mass),
            fibre_volume: stack.fibre_volume(),
            remarks: stack.remarks().into_iter().chain(not_counted(&left_out)).collect(),
        }
    };
    cells.into_iter().map(figures).collect()
}

/// What a template's regions do not tell.
fn not_counted(patches: &[&str]) -> Option<String> {
    let first = patches.first()?;
    let more =
        if patches.len() > 1 { format!(" and {} more", patches.len() - 1) } else { String::new() };
    Some(format!(
        "not counted here: patch {first}{more}, since the template has more than {MOST_REGIONS} places that differ"
    ))
}

fn bounds(regions: &[Region]) -> Option<Bounds> {
    let all = regions.iter().filter_map(Region::bounds);
    all.reduce(|a, b| Bounds {
        min: point(a.min.x.min(b.min.x), a.min.y.min(b.min.y)),
        max: point(a.max.x.max(b.max.x), a.max.y.max(b.max.y)),
    })
}

fn meet(a: Option<Bounds>, b: Option<Bounds>) -> bool {
    let (Some(a), Some(b)) = (a, b) else {
        return false;
    };
    a.min.x <= b.max.x && b.min.x <= a.max.x && a.min.y <= b.max.y && b.min.y <= a.max.y
}

fn laid_of(plan: &Plan, piece: &PlanPiece, find: &dyn Fn(&str) -> Option<Sheet>) -> Laid {
    let index = plan.materials.iter().position(|m| m.cloth == piece.cloth);
    let cloth = index.and_then(|i| plan.materials.get(i));
    let one = plan.materials.len() < 2;
    Laid {
        angle: piece.angle,
        letter: index.filter(|_| !one).map(letter),
        weave: cloth.map_or(Weave::None, |c| c.weave),
        balanced: cloth.is_some_and(|c| c.balanced),
        material: cloth.map(|c| c.material).unwrap_or_default(),
        mosaic: piece.patch.is_some(),
        sheet: find(&piece.cloth),
    }
}

pub(super) fn common_divisor(a: u32, b: u32) -> u32 {
    if b == 0 { a } else { common_divisor(b, a % b) }
}

fn rings(regions: &[Region]) -> impl Iterator<Item = &Ring> {
    regions.iter().flat_map(Region::rings)
}

fn area(regions: &[Region]) -> f64 {
    regions.iter().map(Region::area).sum()
}

fn kept(regions: Vec<Region>) -> Vec<Region> {
    regions.into_iter().filter(|r| r.area() > LEAST_AREA).collect()
}
