//! Spliced plies: the parts cover the ply and overlap by the lap.

use super::area::area_where;
use super::depth::overlap_depth;
use super::exact::{Shape, interiors_meet};
use super::findings::Findings;
use super::frame::Frame;
use super::laid::{Laid, PART_MM, segs_of};
use crate::cloth::Weave;
use crate::geometry::{Point, point, ring_area};
use crate::job::SpliceKind;

/// An edge of a part is a seam if it runs farther than this from the net line, mm.
const OFF_NET_MM: f64 = 0.02;
/// Overlaps are probed this much short of the lap and beyond it, mm.
const PROBE_MM: f64 = 0.02;
/// Seams that meet at this angle or more cross in one spot instead of lying along each other: no
/// stagger is asked of them. Degrees; common practice, no source. A little less than the 30 that
/// are meant, for the rounding.
pub(super) const CROSSING: f64 = 30.0 - 0.01;
/// A seam along the fibre may be off by this many degrees.
const ALONG_FIBRE: f64 = 0.1;

/// A seam: the edge of a part inside the net, interior on its left, ply frame.
pub(super) struct Seam {
    pub a: Point,
    pub b: Point,
    part: usize,
}

/// The seams of a ply, long enough to be probed.
pub(super) fn seams(laid: &Laid) -> Vec<Seam> {
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
pub(super) fn check(laid: &Laid, found: &mut Findings<'_>) {
    let Some(facts) = laid.pieces[0].splice.as_ref() else {
        return;
    };
    let who = &laid.ply.name;
    let at = |p: Point| p + laid.pieces[0].origin;
    let nets: Vec<&Shape> = laid.nets.iter().flatten().collect();
    let whole = laid.region.area_mm2();
    let covered = area_where(&nets, |inside| inside.contains(&true));
    let boundary = laid.region.perimeter_mm() + nets.iter().map(|n| n.perimeter_mm()).sum::<f64>();
    if (covered - whole).abs() > 0.01 + PART_MM * boundary {
        found.add(who, said!("its parts cover {covered:.2} of its {whole:.2} mm²"));
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
    let in_other = |p: Point, part: usize| {
        laid.nets
            .iter()
            .enumerate()
            .any(|(k, n)| k != part && n.as_ref().is_some_and(|n| n.contains_mm(p)))
    };
    for s in seams(laid) {
        let along = (s.b - s.a) * (1.0 / s.a.distance(s.b));
        let (middle, inward) = ((s.a + s.b) * 0.5, point(-along.y, along.x));
        let probe = |depth: f64| middle + inward * depth;
        if !in_other(probe(-PROBE_MM), s.part) && laid.region.contains_mm(probe(-PROBE_MM)) {
            found.add_at(who, at(middle), "no other part goes on where one ends");
        }
        if lap > PROBE_MM
            && !in_other(probe(lap - PROBE_MM), s.part)
            && laid.region.contains_mm(probe(lap - PROBE_MM))
        {
            found.add_at(
                who,
                at(middle),
                said!("its parts overlap by less than the lap of {lap} mm"),
            );
        }
        if in_other(probe(lap + PROBE_MM), s.part) {
            found.add_at(
                who,
                at(middle),
                said!("its parts overlap by more than the lap of {lap} mm"),
            );
        }
        let off = along.direction().rem_euclid(180.0);
        if unidirectional && off.min(180.0 - off) > ALONG_FIBRE {
            found.add_at(who, at(middle), "is spliced across its fibre");
        }
    }
    no_splice_zones(laid, &nets, found);
}

/// No overlap or seam lies in a no-splice zone: a zone is covered by a single part.
fn no_splice_zones(laid: &Laid, nets: &[&Shape], found: &mut Findings<'_>) {
    let t = laid.ply.template;
    let frame = Frame::new(t.arrow, laid.ply.hand, laid.pieces[0].angle, point(0.0, 0.0));
    for zone in &t.no_splice {
        let mut ring = frame.ring(zone);
        if ring_area(&ring) < 0.0 {
            ring.reverse();
        }
        let Some(zone) = Shape::rounded(&[ring]) else {
            continue;
        };
        let (mut inside, mut deepest) = (0, 0.0);
        for net in nets {
            if interiors_meet(net, &zone).is_some() {
                let depth = overlap_depth(net, &zone).map_or(0.0, |d| d.0);
                inside += usize::from(depth > PART_MM);
                deepest = f64::max(deepest, depth);
            }
        }
        if inside > 1 {
            found
                .add(&laid.ply.name, said!("is spliced in a no-splice zone, {deepest:.3} mm deep"));
        }
    }
}
