//! What is cut, worked out again with the `geo` crate: cut line outside the net line, by no more
//! than each edge's allowance; windows inside the cut line, each smaller by its own.

#[path = "../verify_support/mod.rs"]
mod verify_support;

use geo::algorithm::buffer::{BufferStyle, LineCap, LineJoin};
use geo::{
    Area, BooleanOps, Buffer, Euclidean, Length, Line, LineString, MultiPolygon, Point, Polygon,
    Translate, unary_union,
};
use std::collections::BTreeMap;
use verify_support::laid;
use warpwise::geometry::{self, Ring};
use warpwise::outline::EdgeKind;
use warpwise::plan::{Plan, PlanLayer, PlanPiece, PlanTemplate};
use warpwise::ply::Hand;

/// What a round join and two roundings to the grid may add, mm.
const SLACK: f64 = 0.07;
/// The farthest a mitre may reach, in allowances.
const MITRE: f64 = 1.5;
/// A gap that is left where an allowance closes a slot is cut from this area on, mm².
const GAP: f64 = 100.0;

fn ring(points: &[geometry::Point]) -> LineString<f64> {
    LineString::from_iter(points.iter().map(|p| (p.x, p.y)))
}

fn polygon(outline: &Ring, holes: &[Ring]) -> Polygon<f64> {
    Polygon::new(ring(outline), holes.iter().map(|h| ring(h)).collect())
}

/// The first ply that is not what its template and layer ask for.
pub fn wrong_pieces(plan: &Plan) -> Option<String> {
    for placed in plan.stocks.iter().flat_map(|s| &s.placed) {
        let piece = plan.pieces.iter().find(|p| p.piece == placed.piece)?;
        let (there, wanted) = (
            polygon(&placed.outline, &placed.holes).unsigned_area(),
            polygon(&piece.outline, &piece.holes).unsigned_area(),
        );
        if (there - wanted).abs() > 0.01 + 1e-3 * Euclidean.length(&ring(&piece.outline)) {
            return Some(format!("{}: {there:.2} mm² where it lies, not {wanted:.2}", piece.piece));
        }
    }
    let mut plies: BTreeMap<(usize, &str), Vec<&PlanPiece>> = BTreeMap::new();
    plan.pieces.iter().for_each(|p| plies.entry((p.layer, &p.ply)).or_default().push(p));
    plies.values().find_map(|pieces| {
        let layer = plan.layers.iter().find(|l| l.layer == pieces[0].layer)?;
        let template = plan.templates.iter().find(|t| t.template == pieces[0].template)?;
        wrong_ply(plan, pieces, layer, template).map(|why| format!("{}: {why}", pieces[0].ply))
    })
}

/// An edge of the net line where its ply lies on the cloth, and the cloth beyond it.
struct Edge {
    line: Line<f64>,
    amount: f64,
}

fn edges(ring: &Ring, amounts: &[f64], reversed: bool) -> Vec<Edge> {
    let n = ring.len();
    let edge = |i: usize| {
        let (a, b) = (ring[i], ring[(i + 1) % n]);
        let (a, b) = if reversed { (b, a) } else { (a, b) };
        Edge { line: Line::new((a.x, a.y), (b.x, b.y)), amount: amounts[i] }
    };
    if reversed { (0..n).rev().map(edge).collect() } else { (0..n).map(edge).collect() }
}

/// Everything as far from a growing edge as its allowance, and as a mitre may reach at corners that
/// turn outward.
fn reached(edges: &[Edge]) -> MultiPolygon<f64> {
    let round = |r: f64| {
        BufferStyle::new(r).line_join(LineJoin::Round(0.05)).line_cap(LineCap::Round(0.05))
    };
    let mut parts: Vec<MultiPolygon<f64>> = Vec::new();
    for (i, edge) in edges.iter().enumerate() {
        let next = &edges[(i + 1) % edges.len()];
        let amount = edge.amount.max(next.amount);
        if edge.amount > 0.0 {
            parts.push(edge.line.buffer_with_style(round(edge.amount + SLACK)));
        }
        let (a, b) = (edge.line.delta(), next.line.delta());
        let turn = (a.x * b.y - a.y * b.x).atan2(a.x * b.x + a.y * b.y);
        // Beside an edge that does not grow nothing reaches round the corner, unless that corner is
        // acute.
        if amount > 0.0
            && (edge.amount.min(next.amount) > 0.0 && turn > 0.0
                || turn > std::f64::consts::FRAC_PI_2)
        {
            parts.push(Point::from(edge.line.end).buffer_with_style(round(MITRE * amount + SLACK)));
        }
    }
    unary_union(&parts.iter().flat_map(|m| m.0.clone()).collect::<Vec<_>>())
}

fn wrong_ply(
    plan: &Plan,
    pieces: &[&PlanPiece],
    layer: &PlanLayer,
    template: &PlanTemplate,
) -> Option<String> {
    let parts: Vec<Polygon<f64>> = pieces
        .iter()
        .map(|p| polygon(&p.outline, &p.holes).translate(-p.origin.x, -p.origin.y))
        .collect();
    let cut = unary_union(&parts);
    let first = pieces[0];
    let origin = geometry::point(0.0, 0.0);
    let mirrored = first.hand == Hand::Mirrored;
    let put = |ring: &Ring| {
        ring.iter()
            .map(|&p| laid(p, template.arrow, first.hand, first.angle, origin))
            .collect::<Ring>()
    };
    let amount = |kind: &EdgeKind| match kind {
        EdgeKind::Trim => layer.trim,
        EdgeKind::Lap => layer.lap,
        EdgeKind::Butt | EdgeKind::Dart => 0.0,
    };
    let before = plan
        .layers
        .iter()
        .filter(|l| {
            l.layer < layer.layer && l.items.iter().any(|i| i.template == template.template)
        })
        .count();
    let step = template.on.as_ref().map_or(0.0, |(_, step)| step * before as f64);
    let mut amounts: Vec<f64> = template.edges.iter().map(amount).collect();
    let mut outer = put(&template.net);
    let mut reversed = mirrored;
    if step > 0.0 {
        // Stepped back: the net line in the piece, held against an inward buffer. All edges of a
        // patch are of one kind.
        let expected = polygon(&outer, &[])
            .buffer_with_style(BufferStyle::new(-step).line_join(LineJoin::Miter(0.5)))
            .unsigned_area();
        let net = polygon(first.net.first()?, &[]);
        if pieces.len() == 1
            && (net.unsigned_area() - expected).abs() > 0.01 * expected + 4.0 * step
        {
            return Some(format!(
                "stepped back {step} mm it has {:.1} mm², not {expected:.1}",
                net.unsigned_area()
            ));
        }
        if pieces.len() > 1 {
            return None;
        }
        outer = first.net[0].iter().map(|&p| p - first.origin).collect();
        amounts = vec![amounts[0]; outer.len()];
        reversed = false;
    }
    let holes: Vec<Ring> =
        if step > 0.0 { Vec::new() } else { template.holes.iter().map(put).collect() };
    let (whole, net) = (polygon(&outer, &[]), polygon(&outer, &holes));
    let rim = Euclidean.length(&ring(&outer))
        + holes.iter().map(|h| Euclidean.length(&ring(h))).sum::<f64>()
        + 10.0;
    // Two roundings to the grid, and slits that are closed: hundredths of a millimetre at most,
    // here and there.
    let rounding = 0.004 * rim;

    let uncovered = MultiPolygon::from(net).difference(&cut).unsigned_area();
    if uncovered > rounding {
        return Some(format!("its cut line runs inside the net line: {uncovered:.3} mm²"));
    }
    let outside = cut.difference(&MultiPolygon::from(whole.clone()));
    let own = edges(&outer, &amounts, reversed);
    let reach = reached(&own);
    // Gaps of less than 100 mm² that the allowance leaves where it closes a slot are not cut.
    let closed = reach.union(&MultiPolygon::from(whole.clone()));
    let gaps = closed
        .iter()
        .flat_map(|p| p.interiors())
        .map(|g| Polygon::new(g.clone(), Vec::new()))
        .filter(|g| g.unsigned_area() < GAP);
    let allowed = gaps.fold(reach, |all, gap| all.union(&MultiPolygon::from(gap)));
    let beyond = outside.difference(&allowed).unsigned_area();
    if beyond > rounding {
        return Some(format!("{beyond:.3} mm² of cloth lie farther out than any edge's allowance"));
    }
    let same = amounts.iter().all(|a| *a == amounts[0]);
    if same && amounts[0] > 0.0 && holes.is_empty() {
        let style = BufferStyle::new(amounts[0]).line_join(LineJoin::Round(0.05));
        let short = whole.buffer_with_style(style).difference(&cut).unsigned_area();
        // Gaps under 100 mm² where a slot closes are filled, never left.
        if short > rounding {
            return Some(format!("{short:.3} mm² of its allowance are missing"));
        }
    }
    for hole in &holes {
        let window = polygon(hole, &[]);
        let smaller = |by: f64, join: LineJoin<f64>| {
            window.buffer_with_style(BufferStyle::new(-by).line_join(join))
        };
        let void = MultiPolygon::from(window.clone()).difference(&cut);
        let most = smaller(layer.trim - 0.02, LineJoin::Round(0.05));
        let least = smaller(MITRE * layer.trim + SLACK, LineJoin::Round(0.05));
        let (too_large, missing) =
            (void.difference(&most).unsigned_area(), least.difference(&void).unsigned_area());
        // Less than 1 mm² is not cut.
        if too_large > rounding || missing > 1.0 + rounding {
            return Some(format!(
                "a window is {too_large:.3} mm² too large, {missing:.3} mm² too small"
            ));
        }
    }
    None
}
