//! Splices that lie over each other: every splice keeps its stagger from those of plies near it, by
//! place.
//!
//! The laminate is looked at where two splices run near each other: all plies that lie between the
//! two in that place are counted, whatever template they are of. What is known to lie on one
//! another is a template in one hand and the local patches on it. A lap is cloth from edge to edge:
//! what lies in it is at no distance.

use super::findings::Findings;
use super::frame::Frame;
use super::laid::{Laid, PART_MM};
use super::splices::{CROSSING, seams};
use crate::geometry::{Point, point, ring_contains};
use crate::plan::{Plan, PlanTemplate};
use crate::ply::Hand;
use std::collections::{BTreeMap, BTreeSet};

/// Seams are looked at about every so many mm, besides their ends and crossings.
const EVERY: f64 = 20.0;
/// A ply covers a place that is this near to its net line, mm.
const ON_LINE_MM: f64 = 0.1;

/// The plies over one another, all in the template frame of the lowest.
#[derive(Default)]
struct Pile<'a> {
    plies: Vec<&'a Laid<'a>>,
    /// Layers of patches in many directions, whose splices are not looked at, but which lie between
    /// others.
    mosaics: Vec<(usize, &'a PlanTemplate)>,
}

/// Every pile of plies of the plan.
pub(super) fn check(plan: &Plan, laid: &[Laid], found: &mut Findings<'_>) {
    let mut piles: BTreeMap<(&str, &str, Hand), Pile> = BTreeMap::new();
    for l in laid {
        let host = host(plan, l.ply.template);
        piles.entry((&l.ply.layer.job, host, l.ply.hand)).or_default().plies.push(l);
    }
    for m in &plan.mosaics {
        if let Some(t) = plan.templates.iter().find(|t| t.job == m.job && t.template == m.template)
        {
            piles.entry((&m.job, host(plan, t), m.hand)).or_default().mosaics.push((m.layer, t));
        }
    }
    for pile in piles.values() {
        let spliced: Vec<&Laid> =
            pile.plies.iter().copied().filter(|l| l.pieces[0].splice.is_some()).collect();
        for (i, first) in spliced.iter().enumerate() {
            for second in &spliced[i + 1..] {
                pair(pile, first, second, found);
            }
        }
    }
}

/// The template that a patch lies on, or on which what it lies on lies.
fn host<'a>(plan: &'a Plan, template: &'a PlanTemplate) -> &'a str {
    let mut at = template;
    for _ in 0..plan.templates.len() {
        let Some((on, _)) = &at.on else { break };
        let Some(next) = plan.templates.iter().find(|t| t.job == at.job && t.template == *on)
        else {
            break;
        };
        at = next;
    }
    &at.template
}

fn frame(l: &Laid) -> Frame {
    Frame::new(l.ply.template.arrow, l.ply.hand, l.pieces[0].angle, point(0.0, 0.0))
}

fn pair(pile: &Pile, first: &Laid, second: &Laid, found: &mut Findings<'_>) {
    let facts = [first, second].map(|l| l.pieces[0].splice.as_ref());
    let stagger = facts.iter().flatten().map(|f| f.stagger).fold(0.0, f64::max);
    let apart = facts.iter().flatten().map(|f| f.plies_apart.max(1)).max().unwrap_or(1);
    let near = |&(distance, p): &(f64, Point)| {
        distance < stagger - PART_MM && pile.plies_apart(first, second, p) < apart
    };
    let places = approaches(first, second).chain(approaches(second, first));
    if let Some((distance, at)) = places.filter(near).min_by(|x, y| x.0.total_cmp(&y.0)) {
        let who = format!("{} and {}", first.ply.name, second.ply.name);
        let plies = pile.plies_apart(first, second, at);
        let what = said!(
            "their splices lie {distance:.3} mm apart on the template and {plies} plies apart there, less than the stagger of {stagger} mm"
        );
        found.add_at(&who, at, what);
    }
}

/// Places along the seams of one ply, in the template frame, and how far they are from those seams
/// of the other that run along them.
fn approaches<'a>(first: &'a Laid, second: &'a Laid) -> impl Iterator<Item = (f64, Point)> + 'a {
    let on_template = |l: &Laid| -> Vec<[Point; 2]> {
        let frame = frame(l);
        seams(l).iter().map(|s| [frame.to_template(s.a), frame.to_template(s.b)]).collect()
    };
    let (own, other) = (on_template(first), on_template(second));
    let to_second = frame(second);
    let lapped = move |p: Point| {
        let p = to_second.to_piece(p);
        second.nets.iter().flatten().filter(|n| n.contains_mm(p)).count() > 1
    };
    own.into_iter().flat_map(move |[a, b]| {
        let along = b - a;
        let mut places = Vec::new();
        for &[c, d] in &other {
            let between = (along.direction() - (d - c).direction()).rem_euclid(180.0);
            if between.min(180.0 - between) >= CROSSING {
                continue;
            }
            let share = |p: Point| ((p - a).dot(along) / along.dot(along)).clamp(0.0, 1.0);
            let steps = (along.length() / EVERY).ceil().max(1.0) as usize;
            let mut at: Vec<f64> = (0..=steps).map(|k| k as f64 / steps as f64).collect();
            at.extend([share(c), share(d)]);
            let (sc, sd) = (along.cross(c - a), along.cross(d - a));
            if sc * sd < 0.0 {
                at.push(share(c + (d - c) * (sc / (sc - sd))));
            }
            places.extend(
                at.into_iter().map(|t| a + along * t).map(|p| (p.distance_to_segment(c, d), p)),
            );
        }
        let lapped = &lapped;
        let measured: Vec<(f64, Point)> =
            places.into_iter().map(|(d, p)| (if lapped(p) { 0.0 } else { d }, p)).collect();
        measured
    })
}

impl Pile<'_> {
    /// How many plies farther on one lies than the other in a place of the template: 1 if they
    /// touch there.
    fn plies_apart(&self, first: &Laid, second: &Laid, p: Point) -> usize {
        let (a, b) = (first.ply.layer.layer, second.ply.layer.layer);
        if a == b {
            return 0;
        }
        let between = |layer: usize| a.min(b) < layer && layer < a.max(b);
        let covers = |l: &&&Laid| {
            let q = frame(l).to_piece(p);
            l.region.contains_mm(q) || l.region.boundary_distance_mm(q) <= ON_LINE_MM
        };
        let plies = self
            .plies
            .iter()
            .filter(|l| between(l.ply.layer.layer))
            .filter(covers)
            .map(|l| l.ply.layer.layer);
        let over = |t: &PlanTemplate| {
            ring_contains(&t.net, p) && !t.holes.iter().any(|h| ring_contains(h, p))
        };
        let mosaics =
            self.mosaics.iter().filter(|(layer, t)| between(*layer) && over(t)).map(|m| m.0);
        1 + plies.chain(mosaics).collect::<BTreeSet<usize>>().len()
    }
}
