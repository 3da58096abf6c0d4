//! Mosaic layers: everything covered, laps, thickness and directions, from the patches as they are
//! cut.
//!
//! All of a mosaic is looked at in its part frame. A place shows the uppermost patch over it.
//! Tolerances:
//!
//! | what | tolerance |
//! |---|---|
//! | target against template and allowances | as for whole plies (`preparation`) |
//! | target and net line covered by patches | 0.5 mm² in all |
//! | nowhere more than three patches | 0.5 mm² in all |
//! | lap: where a patch's own edge shows, the cloth within a lap of it lies on later patches | 0.02 mm of the lap, 0.1 mm² an edge |
//! | difference of direction of patches whose seam shows, looked at every mm | 1e-6 degrees |
//! | seams at least two laps long | 2.5 mm: what the looks every mm leave open |

use super::allowance;
use super::area::area_where;
use super::exact::{P, Shape};
use super::findings::Findings;
use super::frame::Frame;
use super::laid::Laid;
use super::placement::turns_apart;
use super::ply::Ply;
use super::preparation::{arrows, template_segs};
use super::turns::forbidden;
use crate::cloth::Weave;
use crate::geometry::{Point, Ring, point};
use crate::job::{Hands, Seen};
use crate::plan::{Plan, PlanMosaic, PlanPiece};
use crate::ply::Hand;
use std::collections::BTreeMap;

/// Patches on top of each other, at the most.
const MOST: usize = 3;
/// Rounding in all, mm².
const AREA: f64 = 0.5;
/// Rounding at one edge, mm².
const EDGE_AREA: f64 = 0.1;
/// Rounding of lengths, mm.
const SLACK: f64 = 0.02;
/// Distance of two looks along an edge, and how far beside it, mm.
const EVERY: f64 = 1.0;
const BESIDE: f64 = 0.03;

/// Every mosaic, and that every mosaic layer and every patch belongs to one.
pub(super) fn check(plan: &Plan, found: &mut Findings<'_>) {
    let by_id: BTreeMap<&str, usize> =
        plan.pieces.iter().enumerate().map(|(i, p)| (p.piece.as_str(), i)).collect();
    let mut owners: BTreeMap<&str, usize> = BTreeMap::new();
    for m in &plan.mosaics {
        m.patches.iter().for_each(|id| *owners.entry(id).or_default() += 1);
        one(plan, m, &by_id, found);
    }
    for p in plan.pieces.iter().filter(|p| p.patch.is_some()) {
        if owners.get(p.piece.as_str()) != Some(&1) {
            found.add(&format!("piece {}", p.piece), "is a patch, but not of exactly one mosaic");
        }
    }
    complete(plan, found);
}

/// A mosaic for every copy of every template and hand that a mosaic layer lays.
fn complete(plan: &Plan, found: &mut Findings<'_>) {
    for layer in &plan.layers {
        let of_layer =
            || plan.mosaics.iter().filter(|m| m.job == layer.job && m.layer == layer.layer);
        if of_layer().next().is_none() {
            continue;
        }
        let mut wanted = 0;
        for item in &layer.items {
            for (hand, covered) in [
                (Hand::AsTraced, item.hands != Hands::Mirrored),
                (Hand::Mirrored, item.hands != Hands::AsTraced),
            ] {
                let want = if covered { item.copies as usize } else { 0 };
                wanted += want;
                let have =
                    of_layer().filter(|m| m.template == item.template && m.hand == hand).count();
                if have != want {
                    found.add(
                        &format!("layer {}", layer.layer),
                        said!(
                            "asks for {want} mosaics of template {}, the plan has {have}",
                            item.template
                        ),
                    );
                }
            }
        }
        if of_layer().count() != wanted {
            found.add(&format!("layer {}", layer.layer), "has mosaics that it does not ask for");
        }
    }
}

/// A mosaic's patches, from the uppermost down.
struct Stack<'a> {
    pieces: Vec<&'a PlanPiece>,
    shapes: Vec<Shape>,
}

fn one(plan: &Plan, m: &PlanMosaic, by_id: &BTreeMap<&str, usize>, found: &mut Findings<'_>) {
    let who = format!("mosaic {}", m.ply);
    let indices: Vec<usize> =
        m.patches.iter().filter_map(|id| by_id.get(id.as_str()).copied()).collect();
    let layer = plan.layers.iter().find(|l| l.job == m.job && l.layer == m.layer);
    let template = plan.templates.iter().find(|t| t.job == m.job && t.template == m.template);
    let cloth = layer.and_then(|l| plan.materials.iter().find(|c| c.cloth == l.cloth));
    let (Some(layer), Some(template), Some(cloth)) = (layer, template, cloth) else {
        found.add(&who, "names a layer, template or cloth that the plan lacks");
        return;
    };
    if indices.len() != m.patches.len() || indices.len() < 2 {
        found.add(&who, "names patches that the plan lacks, or fewer than two");
        return;
    }
    let mut pieces: Vec<&PlanPiece> = indices.iter().map(|&i| &plan.pieces[i]).collect();
    for (k, p) in pieces.iter().enumerate() {
        let own = (p.patch, p.copies, p.part) == (Some(k as u32 + 1), 1, None);
        let same = (&p.job, p.layer, &p.ply, &p.template, p.hand, &p.cloth)
            == (&m.job, m.layer, &m.ply, &m.template, m.hand, &layer.cloth);
        if !own || !same || p.permitted.is_empty() {
            found.add(
                &format!("piece {}", p.piece),
                said!("is not patch {} of mosaic {}", k + 1, m.ply),
            );
            return;
        }
        for way in &p.permitted {
            // A quarter turn would lay the patch in another direction.
            let quarter = turns_apart(way.turn, 0.0).min(turns_apart(way.turn, 180.0)) > 1e-9;
            if quarter || forbidden(cloth, layer.seen != Seen::Hidden, *way).is_some() {
                found.add(
                    &format!("piece {}", p.piece),
                    said!("may lie at {}, which its weave or its direction forbids", way.turn),
                );
            }
        }
    }
    let quarters = cloth.balanced
        && !cloth.one_way
        && matches!(cloth.weave, Weave::Plain | Weave::Twill22 | Weave::Twill44);
    if m.modulo != if quarters { 90.0 } else { 180.0 }
        || m.earlier_on_top != (layer.seen != Seen::OtherSide)
    {
        found.add(
            &who,
            "its directions repeat otherwise on this cloth, or it is seen from the other side",
        );
        return;
    }
    let part = |p: &PlanPiece| Frame::new(0.0, Hand::AsTraced, -p.angle, point(0.0, 0.0));
    let in_part = |&i: &usize| {
        let p = &plan.pieces[i];
        let frame = part(p);
        let ring = |r: &Ring| r.iter().map(|q| frame.to_piece(*q - p.origin)).collect::<Ring>();
        Shape::rounded(
            &std::iter::once(&p.outline).chain(&p.holes).map(ring).collect::<Vec<Ring>>(),
        )
    };
    let shapes: Option<Vec<Shape>> = indices.iter().map(in_part).collect();
    let target =
        Shape::rounded(&std::iter::once(&m.target).chain(&m.holes).cloned().collect::<Vec<Ring>>());
    let frame = Frame::new(template.arrow, m.hand, 0.0, point(0.0, 0.0));
    let holes: Vec<Ring> = template.holes.iter().map(|h| frame.ring(h)).collect();
    let net = Shape::rounded(&[vec![frame.ring(&template.net)], holes.clone()].concat());
    let (Some(mut shapes), Some(target), Some(net)) = (shapes, target, net) else {
        found.add(&who, "its patches, its target or its template cannot be measured");
        return;
    };

    let ply = Ply {
        name: who.clone(),
        layer,
        template,
        cloth,
        pieces: indices.clone(),
        hand: m.hand,
        steps: 0,
    };
    let segs = template_segs(template, &frame, &ply);
    let laid = Laid {
        ply: &ply,
        pieces: pieces.clone(),
        outlines: shapes.clone(),
        nets: Vec::new(),
        region: net.clone(),
        segs,
        holes,
    };
    allowance::check(&laid, found);
    arrows(&laid, found);

    if !m.earlier_on_top {
        pieces.reverse();
        shapes.reverse();
    }
    let bare = |what: &Shape| {
        let all: Vec<&Shape> = std::iter::once(what).chain(&shapes).collect();
        area_where(&all, |i| i[0] && !i[1..].contains(&true))
    };
    for (what, area) in [("target", bare(&target)), ("net line", bare(&net))] {
        if area > AREA {
            found.add(&who, said!("its patches leave {area:.2} mm² of the {what} bare"));
        }
    }
    let all: Vec<&Shape> = std::iter::once(&target).chain(&shapes).collect();
    let outside = area_where(&all, |i| !i[0] && i[1..].contains(&true));
    if outside > AREA + 0.002 * target.perimeter_mm() {
        found.add(&who, said!("its patches reach {outside:.2} mm² beyond the target"));
    }
    let deep =
        area_where(&shapes.iter().collect::<Vec<_>>(), |i| i.iter().filter(|x| **x).count() > MOST);
    if deep > AREA {
        found.add(&who, said!("{deep:.2} mm² of it are more than {MOST} patches thick"));
    }
    let stack = Stack { pieces, shapes };
    for k in 0..stack.shapes.len() {
        if found.full() {
            return;
        }
        laps(m, &stack, k, &target, found);
    }
    seams(m, &stack, &who, found);
}

/// The edges of a shape that are not edges of the target, from and to, interior on the left.
fn own_edges(shape: &Shape, target: &Shape) -> Vec<[Point; 2]> {
    let edges = shape.edges().iter().map(|e| [e.a.mm(), e.b.mm()]);
    let on_target = |p: Point| target.boundary_distance_mm(p) < 0.01;
    edges
        .filter(|[a, b]| {
            a.distance(*b) > 0.05 && !(on_target(*a) && on_target(*b) && on_target((*a + *b) * 0.5))
        })
        .collect()
}

/// The stretches of an edge that lie under none of the earlier patches.
fn showing([a, b]: [Point; 2], earlier: &[Shape]) -> Vec<[Point; 2]> {
    let along = b - a;
    let mut ends = vec![0.0, 1.0];
    for e in earlier.iter().flat_map(Shape::edges) {
        let (c, d) = (e.a.mm(), e.b.mm());
        let across = d - c;
        let det = along.cross(across);
        if det != 0.0 {
            let (s, t) = ((c - a).cross(across) / det, (c - a).cross(along) / det);
            if (0.0..=1.0).contains(&s) && (-1e-6..=1.0 + 1e-6).contains(&t) {
                ends.push(s);
            }
        }
    }
    ends.sort_by(f64::total_cmp);
    let at = |s: f64| a + along * s;
    let stretches =
        ends.windows(2).filter(|w| !earlier.iter().any(|o| o.contains_mm(at((w[0] + w[1]) * 0.5))));
    stretches.map(|w| [at(w[0]), at(w[1])]).filter(|[c, d]| c.distance(*d) > 0.05).collect()
}

/// Where the edge of a patch shows, the cloth within a lap of it lies on later patches.
fn laps(m: &PlanMosaic, stack: &Stack, k: usize, target: &Shape, found: &mut Findings<'_>) {
    let own = &stack.shapes[k];
    let near: Vec<usize> = (0..stack.shapes.len())
        .filter(|&j| j != k && stack.shapes[j].extent().near(&own.extent(), 1000))
        .collect();
    for [a, b] in own_edges(own, target).into_iter().flat_map(|e| showing(e, &stack.shapes[..k])) {
        let along = (b - a) * (1.0 / a.distance(b));
        let inward = point(-along.y, along.x) * (m.lap - SLACK);
        let Some(strip) = Shape::rounded(&[vec![a, b, b + inward, a + inward]]) else {
            continue;
        };
        let shapes: Vec<&Shape> =
            [&strip, own].into_iter().chain(near.iter().map(|&j| &stack.shapes[j])).collect();
        let short = area_where(&shapes, |i| i[0] && i[1] && !i[2..].contains(&true));
        if short > EDGE_AREA {
            let later = stack.pieces.get(k + 1).map_or("", |p| p.piece.as_str());
            let what = said!(
                "lies on a later patch by less than {} mm along an edge ({short:.2} mm² too little; below it {later})",
                m.lap
            );
            found.add_at(&format!("piece {}", stack.pieces[k].piece), (a + b) * 0.5, what);
        }
    }
}

/// Patches whose seam shows differ in direction, and the seam is long enough.
fn seams(m: &PlanMosaic, stack: &Stack, who: &str, found: &mut Findings<'_>) {
    let grid = |p: Point| P { x: (p.x * 1000.0).round() as i64, y: (p.y * 1000.0).round() as i64 };
    let top = |p: Point| {
        let q = grid(p);
        stack.shapes.iter().position(|s| {
            let e = s.extent();
            e.min.x <= q.x && q.x <= e.max.x && e.min.y <= q.y && q.y <= e.max.y && s.contains_mm(p)
        })
    };
    let mut seen: BTreeMap<(usize, usize), f64> = BTreeMap::new();
    for (k, shape) in stack.shapes.iter().enumerate() {
        for e in shape.edges() {
            let (a, b) = (e.a.mm(), e.b.mm());
            let length = a.distance(b);
            if length < 1e-6 {
                continue;
            }
            let out = point((b - a).y, -(b - a).x) * (BESIDE / length);
            let looks = (length / EVERY).ceil();
            for i in 0..looks as usize {
                let p = a + (b - a) * ((i as f64 + 0.5) / looks);
                if top(p - out) == Some(k)
                    // The seam is the upper patch's edge.
                    && let Some(under) = top(p + out).filter(|&u| u > k)
                {
                    *seen.entry((k, under)).or_default() += length / looks;
                }
            }
        }
    }
    for ((k, under), length) in seen {
        let pair = || {
            format!("patches {} and {} of {who}", stack.pieces[k].piece, stack.pieces[under].piece)
        };
        let apart = (stack.pieces[k].angle - stack.pieces[under].angle).rem_euclid(m.modulo);
        let apart = apart.min(m.modulo - apart);
        if apart < m.least_difference - 1e-6 {
            found.add(
                &pair(),
                said!(
                    "touch, and their directions differ by {apart:.2} degrees, less than {}",
                    m.least_difference
                ),
            );
        }
        if length < 2.0 * m.lap - 2.5 {
            found.add(&pair(), said!("have a seam of {length:.1} mm, shorter than two laps"));
        }
    }
}
