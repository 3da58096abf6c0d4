//! Cloth beyond the net line: enough beside every edge, nowhere too much. Tolerances: see `preparation`.

use super::findings::Findings;
use super::preparation::{CORNER, JOIN_MM, Laid, Seg};
use crate::geometry::{Point, Ring, point, ring_bounds, ring_contains};

/// Farther than this many allowances from an edge with another allowance, corners have no say.
const UNDISTURBED: f64 = 2.5;
/// Butt edges and dart legs are looked at this far out, mm.
const BESIDE: f64 = 0.2;
/// Long edges are looked at about every so many mm, at no more than so many places.
const EVERY: f64 = 25.0;
const PLACES: f64 = 16.0;

/// A ply whose pieces are laid over its net line.
pub(super) fn check(laid: &Laid, found: &mut Findings) {
    too_much(laid, found);
    too_little(laid, found);
    uncut_holes(laid, found);
}

/// No point of a cut line is farther from the net line than some edge's allowance reaches. One fault a piece.
fn too_much(laid: &Laid, found: &mut Findings) {
    let largest = laid.segs.iter().map(|s| s.amount).fold(0.0, f64::max);
    let reached = |p: Point, times: f64| laid.segs.iter().any(|s| s.within(p, times * s.amount + JOIN_MM)) || laid.region.contains_mm(p);
    for (piece, outline) in laid.pieces.iter().zip(&laid.outlines) {
        let astray = outline.edges().iter().find_map(|e| {
            let (a, b) = (e.a.mm(), e.b.mm());
            let middle = (a + b) * 0.5;
            let long = a.distance(b) >= 4.0 * largest;
            if !reached(a, CORNER) { Some(a) } else { (!reached(middle, if long { 1.0 } else { CORNER })).then_some(middle) }
        });
        if let Some(p) = astray {
            let off = laid.segs.iter().map(|s| p.distance_to_segment(s.a, s.b) - s.amount).fold(f64::INFINITY, f64::min);
            let what = format!("its cut line lies {off:.3} mm farther from the net line than the allowance");
            found.add_at(&format!("piece {}", piece.piece), p + piece.origin, what);
        }
    }
}

/// Beside every edge the cloth reaches as far as its allowance, and beside one that does not grow, no farther.
fn too_little(laid: &Laid, found: &mut Findings) {
    let covered = |p: Point| laid.outlines.iter().any(|o| o.contains_mm(p));
    for s in laid.segs.iter().filter(|s| s.length() > 0.0) {
        let along = (s.b - s.a) * (1.0 / s.length());
        let out = point(along.y, -along.x);
        let places = (s.length() / EVERY).clamp(1.0, PLACES) as usize;
        for k in 0..places {
            let base = s.a + (s.b - s.a) * ((k as f64 + 0.5) / places as f64);
            if s.amount > 0.0 {
                let p = base + out * (s.amount - JOIN_MM);
                if !covered(p) && undisturbed(laid, s, base, p) {
                    let what = format!("has less than its allowance of {} mm beside an edge", s.amount);
                    found.add_at(&laid.ply.name, p + laid.pieces[0].origin, what);
                    return;
                }
            } else {
                let p = base + out * BESIDE;
                let allowed =
                    laid.segs.iter().any(|o| o.amount > 0.0 && o.within(p, CORNER * o.amount + JOIN_MM)) || laid.region.contains_mm(p);
                if covered(p) && !allowed {
                    found.add_at(&laid.ply.name, p + laid.pieces[0].origin, "has cloth beyond an edge that does not grow");
                    return;
                }
            }
        }
    }
}

/// True if no corner and no wall has a say in how far the cloth reaches from `base` to `p`.
fn undisturbed(laid: &Laid, s: &Seg, base: Point, p: Point) -> bool {
    let reach = UNDISTURBED * s.amount;
    let other = laid.segs.iter().any(|o| o.amount != s.amount && o.within(base, reach.max(UNDISTURBED * o.amount)));
    let from = base + (p - base) * 1e-3;
    let side = |a: Point, b: Point, c: Point| (b - a).cross(c - a);
    let crosses = |o: &Seg| side(from, p, o.a) * side(from, p, o.b) <= 0.0 && side(o.a, o.b, from) * side(o.a, o.b, p) <= 0.0;
    !other && !laid.segs.iter().any(crosses)
}

/// A hole that the allowance does not close is cut: looked for on a grid of points well inside it.
fn uncut_holes(laid: &Laid, found: &mut Findings) {
    const GRID: usize = 16;
    for hole in &laid.holes {
        let Some(b) = ring_bounds(hole) else { continue };
        let inside_by = |ring: &Ring, p: Point| {
            (0..ring.len()).map(|i| p.distance_to_segment(ring[i], ring[(i + 1) % ring.len()])).fold(f64::INFINITY, f64::min)
        };
        for k in 0..GRID * GRID {
            let share = |i: usize| (i as f64 + 0.5) / GRID as f64;
            let p = point(b.min.x + b.width() * share(k % GRID), b.min.y + b.height() * share(k / GRID));
            let trim = laid.ply.layer.trim;
            if ring_contains(hole, p) && inside_by(hole, p) > CORNER * trim + 1.0 && laid.outlines.iter().any(|o| o.contains_mm(p)) {
                found.add_at(&laid.ply.name, p + laid.pieces[0].origin, "does not cut a hole of its template");
                break;
            }
        }
    }
}
