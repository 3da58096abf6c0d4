//! Spliced plies: the parts cover the ply, overlap by the lap, and neighbouring plies' splices keep their distance.

use super::area::area_where;
use super::depth::overlap_depth;
use super::exact::{Shape, interiors_meet};
use super::findings::Findings;
use super::frame::Frame;
use super::preparation::{Laid, PART_MM, segs_of};
use crate::cloth::Weave;
use crate::geometry::{Point, point, ring_area};
use crate::job::SpliceKind;
use std::collections::BTreeMap;

/// An edge of a part is a seam if it runs farther than this from the net line, mm.
const OFF_NET_MM: f64 = 0.02;
/// Overlaps are probed this much short of the lap and beyond it, mm.
const PROBE_MM: f64 = 0.02;
/// Seams that meet at this angle or more cross in one spot instead of lying along each other: no stagger is asked of them. Degrees;
/// common practice, no source.
const CROSSING: f64 = 30.0;
/// A seam along the fibre may be off by this many degrees.
const ALONG_FIBRE: f64 = 0.1;

/// A seam: the edge of a part inside the net, interior on its left, ply frame.
struct Seam {
    a: Point,
    b: Point,
    part: usize,
}

/// The seams of a ply, long enough to be probed.
fn seams(laid: &Laid) -> Vec<Seam> {
    let mut seams = Vec::new();
    for (part, net) in laid.nets.iter().enumerate() {
        for s in net.iter().flat_map(segs_of).filter(|s| s.length() > 5.0 * OFF_NET_MM) {
            let middle = (s.a + s.b) * 0.5;
            if !laid.segs.iter().any(|n| n.within(middle, OFF_NET_MM)) {
                seams.push(Seam { a: s.a, b: s.b, part });
            }
        }
    }
    seams
}

/// The parts of one ply.
pub(super) fn check(laid: &Laid, found: &mut Findings) {
    let Some(facts) = laid.pieces[0].splice.as_ref() else { return };
    let who = &laid.ply.name;
    let at = |p: Point| p + laid.pieces[0].origin;
    let nets: Vec<&Shape> = laid.nets.iter().flatten().collect();
    let whole = laid.region.area_mm2();
    let covered = area_where(&nets, |inside| inside.contains(&true));
    let boundary = laid.region.perimeter_mm() + nets.iter().map(|n| n.perimeter_mm()).sum::<f64>();
    if (covered - whole).abs() > 0.01 + PART_MM * boundary {
        found.add(who, format!("its parts cover {covered:.2} of its {whole:.2} mm²"));
    }
    let lap = match facts.kind {
        SpliceKind::Lap => facts.lap,
        SpliceKind::Butt => 0.0,
    };
    if (facts.kind == SpliceKind::Butt) != (facts.lap == 0.0) {
        found.add(who, "a butt splice has no lap, and a lap splice has one");
    }
    let unidirectional = laid.ply.cloth.weave == Weave::Unidirectional;
    if unidirectional && facts.kind == SpliceKind::Lap {
        found.add(who, "is unidirectional and must be butted, not lapped");
    }
    let in_other =
        |p: Point, part: usize| laid.nets.iter().enumerate().any(|(k, n)| k != part && n.as_ref().is_some_and(|n| n.contains_mm(p)));
    for s in seams(laid) {
        let along = (s.b - s.a) * (1.0 / s.a.distance(s.b));
        let (middle, inward) = ((s.a + s.b) * 0.5, point(-along.y, along.x));
        let probe = |depth: f64| middle + inward * depth;
        if !in_other(probe(-PROBE_MM), s.part) && laid.region.contains_mm(probe(-PROBE_MM)) {
            found.add_at(who, at(middle), "no other part goes on where one ends");
        }
        if lap > PROBE_MM && !in_other(probe(lap - PROBE_MM), s.part) && laid.region.contains_mm(probe(lap - PROBE_MM)) {
            found.add_at(who, at(middle), format!("its parts overlap by less than the lap of {lap} mm"));
        }
        if in_other(probe(lap + PROBE_MM), s.part) {
            found.add_at(who, at(middle), format!("its parts overlap by more than the lap of {lap} mm"));
        }
        let off = along.direction().rem_euclid(180.0);
        if unidirectional && off.min(180.0 - off) > ALONG_FIBRE {
            found.add_at(who, at(middle), "is spliced across its fibre");
        }
    }
    no_splice_zones(laid, &nets, found);
}

/// No overlap or seam lies in a no-splice zone: a zone is covered by a single part.
fn no_splice_zones(laid: &Laid, nets: &[&Shape], found: &mut Findings) {
    let t = laid.ply.template;
    let frame = Frame::new(t.arrow, laid.ply.hand, laid.pieces[0].angle, point(0.0, 0.0));
    for zone in &t.no_splice {
        let mut ring = frame.ring(zone);
        if ring_area(&ring) < 0.0 {
            ring.reverse();
        }
        let Some(zone) = Shape::rounded(&[ring]) else { continue };
        let (mut inside, mut deepest) = (0, 0.0);
        for net in nets {
            if interiors_meet(net, &zone).is_some() {
                let depth = overlap_depth(net, &zone).map_or(0.0, |d| d.0);
                inside += usize::from(depth > PART_MM);
                deepest = f64::max(deepest, depth);
            }
        }
        if inside > 1 {
            found.add(&laid.ply.name, format!("is spliced in a no-splice zone, {deepest:.3} mm deep"));
        }
    }
}

/// Splices of one template and hand in layers near each other keep the stagger, edge to edge.
pub(super) fn stagger(laid: &[Laid], found: &mut Findings) {
    let mut of_template: BTreeMap<(&str, &str, crate::ply::Hand), Vec<&Laid>> = BTreeMap::new();
    for l in laid.iter().filter(|l| l.pieces[0].splice.is_some()) {
        of_template.entry((&l.ply.layer.job, &l.ply.template.template, l.ply.hand)).or_default().push(l);
    }
    for group in of_template.values() {
        for (i, first) in group.iter().enumerate() {
            for second in &group[i + 1..] {
                let apart = first.ply.layer.layer.abs_diff(second.ply.layer.layer);
                let facts =
                    [first, second].into_iter().filter_map(|l| l.pieces[0].splice.as_ref()).filter(|f| apart < f.plies_apart.max(1));
                let Some(stagger) = facts.map(|f| f.stagger).max_by(f64::total_cmp) else { continue };
                if let Some((distance, at)) = too_near(first, second, stagger) {
                    let who = format!("{} and {}", first.ply.name, second.ply.name);
                    found.add_at(
                        &who,
                        at,
                        format!("their splices lie {distance:.3} mm apart on the template, less than the stagger of {stagger} mm"),
                    );
                }
            }
        }
    }
}

/// The least distance of seams that run along each other, if under the stagger, and where, in the template frame.
fn too_near(first: &Laid, second: &Laid, stagger: f64) -> Option<(f64, Point)> {
    let on_template = |l: &Laid| -> Vec<(Point, Point)> {
        let frame = Frame::new(l.ply.template.arrow, l.ply.hand, l.pieces[0].angle, point(0.0, 0.0));
        seams(l).iter().map(|s| (frame.to_template(s.a), frame.to_template(s.b))).collect()
    };
    let mut worst: Option<(f64, Point)> = None;
    for &(a, b) in &on_template(first) {
        for &(c, d) in &on_template(second) {
            let between = ((b - a).direction() - (d - c).direction()).rem_euclid(180.0);
            if between.min(180.0 - between) >= CROSSING {
                continue;
            }
            let cross = |p: Point, q: Point, r: Point| (q - p).cross(r - p);
            let meet = cross(a, b, c) * cross(a, b, d) < 0.0 && cross(c, d, a) * cross(c, d, b) < 0.0;
            let ends = [a.distance_to_segment(c, d), b.distance_to_segment(c, d), c.distance_to_segment(a, b), d.distance_to_segment(a, b)];
            let distance = if meet { 0.0 } else { ends.into_iter().fold(f64::INFINITY, f64::min) };
            if distance < stagger - PART_MM && worst.is_none_or(|w| distance < w.0) {
                worst = Some((distance, (a + b) * 0.5));
            }
        }
    }
    worst
}
