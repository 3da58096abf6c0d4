//! Placed pieces: every copy once, on its own cloth, turned as permitted, and congruent to its
//! piece.

use super::exact::P;
use super::findings::Findings;
use crate::cloth::Face;
use crate::geometry::{Point, Ring};
use crate::plan::words::face;
use crate::plan::{PlacedPiece, Plan, PlanPiece};
use std::collections::{BTreeMap, BTreeSet};

/// At an odd angle a placed point may differ by this many micrometres, each way, from the one
/// computed here: both are snapped.
pub(super) const ODD_ANGLE_STEPS: i64 = 2;

/// Turns are compared to this many degrees beyond their tolerance, for the sake of binary
/// fractions.
const DEGREES: f64 = 1e-9;

/// Unique names; every piece's every copy exactly once; cloth, turn and face; congruence.
pub(super) fn check(plan: &Plan, found: &mut Findings<'_>) {
    unique(plan.pieces.iter().map(|p| p.piece.as_str()), "piece", found);
    unique(plan.stocks.iter().map(|s| s.id.as_str()), "stock", found);
    unique(plan.cloths.iter().map(|c| c.cloth.as_str()), "figures for cloth", found);
    unique(plan.materials.iter().map(|m| m.cloth.as_str()), "cloth", found);
    let templates: Vec<String> =
        plan.templates.iter().map(|t| format!("{} of job {}", t.template, t.job)).collect();
    unique(templates.iter().map(String::as_str), "template", found);
    let layers: Vec<String> =
        plan.layers.iter().map(|l| format!("{} of job {}", l.layer, l.job)).collect();
    unique(layers.iter().map(String::as_str), "layer", found);

    let by_id: BTreeMap<&str, &PlanPiece> =
        plan.pieces.iter().map(|p| (p.piece.as_str(), p)).collect();
    let mut laid: BTreeSet<(&str, u32)> = BTreeSet::new();
    for stock in &plan.stocks {
        for placed in &stock.placed {
            let who = format!("piece {} copy {} on stock {}", placed.piece, placed.copy, stock.id);
            let Some(piece) = by_id.get(placed.piece.as_str()) else {
                found.add(&who, "is placed but the plan has no such piece");
                continue;
            };
            if !laid.insert((&placed.piece, placed.copy)) {
                found.add(&who, "is placed more than once");
            }
            if placed.copy == 0 || placed.copy > piece.copies {
                found.add(&who, said!("is not one of the {} copies", piece.copies));
            }
            if piece.cloth != stock.cloth {
                found.add(
                    &who,
                    said!("is of cloth {} but lies on cloth {}", piece.cloth, stock.cloth),
                );
            }
            turn_permitted(piece, placed, &who, found);
            congruent(piece, placed, &who, found);
        }
    }
    for piece in &plan.pieces {
        let missing: Vec<u32> =
            (1..=piece.copies).filter(|&c| !laid.contains(&(piece.piece.as_str(), c))).collect();
        if let Some(first) = missing.first() {
            found.add(
                &format!("piece {}", piece.piece),
                said!(
                    "{} of {} copies are not placed, first copy {first}",
                    missing.len(),
                    piece.copies
                ),
            );
        }
    }
}

fn unique<'a>(names: impl Iterator<Item = &'a str>, what: &str, found: &mut Findings<'_>) {
    let mut seen = BTreeSet::new();
    for name in names {
        if !seen.insert(name) {
            found.add(&format!("{what} {name}"), "appears more than once");
        }
    }
}

/// The angle between two turns, 0 to 180 degrees.
pub(super) fn turns_apart(a: f64, b: f64) -> f64 {
    let d = (a - b).rem_euclid(360.0);
    d.min(360.0 - d)
}

fn turn_permitted(piece: &PlanPiece, placed: &PlacedPiece, who: &str, found: &mut Findings<'_>) {
    let of_face = piece.permitted.iter().filter(|p| p.face == placed.face);
    let off = of_face.map(|p| turns_apart(p.turn, placed.turn)).fold(f64::INFINITY, f64::min);
    if off.is_infinite() {
        found.add(
            who,
            said!(
                "lies face {}, which is not permitted ({})",
                face(placed.face),
                piece.permitted_by
            ),
        );
    } else if off > piece.tolerance + DEGREES {
        let more = off - piece.tolerance;
        found.add(
            who,
            said!(
                "is turned by {}, {more:.3} degrees outside its permitted turns ({})",
                placed.turn,
                piece.permitted_by
            ),
        );
    }
}

fn congruent(piece: &PlanPiece, placed: &PlacedPiece, who: &str, found: &mut Findings<'_>) {
    if piece.holes.len() != placed.holes.len() {
        found.add(
            who,
            said!("has {} holes where its piece has {}", placed.holes.len(), piece.holes.len()),
        );
        return;
    }
    for (from, to) in std::iter::once((&piece.outline, &placed.outline))
        .chain(piece.holes.iter().zip(&placed.holes))
    {
        if !same_ring(from, to, placed) {
            let at = to.first().copied().unwrap_or_default();
            let worst = worst_of(from, to, placed)
                .map_or(String::new(), |mm| format!(" (points are up to {mm:.3} mm off)"));
            found.add_at(
                who,
                at,
                said!(
                    "is not its piece turned by {}, face {}, and moved{worst}",
                    placed.turn,
                    face(placed.face)
                ),
            );
            return;
        }
    }
}

/// Where a piece's point belongs, whole micrometres, and how far off it may be. Own arithmetic:
/// exact for quarter turns.
fn moved(p: P, placed: &PlacedPiece) -> Option<(P, i64)> {
    let shift = P::on_grid(Point { x: placed.x, y: placed.y })?;
    let t = placed.turn.rem_euclid(360.0);
    let quarter = [0.0, 90.0, 180.0, 270.0].iter().position(|&q| t == q);
    let (x, y, slack) = match quarter {
        Some(0) => (p.x, p.y, 0),
        Some(1) => (-p.y, p.x, 0),
        Some(2) => (-p.x, -p.y, 0),
        Some(_) => (p.y, -p.x, 0),
        None => {
            let (sin, cos) = libm::sincos(t.to_radians());
            let (x, y) = (p.x as f64, p.y as f64);
            (
                (cos * x - sin * y).round() as i64,
                (sin * x + cos * y).round() as i64,
                ODD_ANGLE_STEPS,
            )
        }
    };
    let y = if placed.face == Face::Down { -y } else { y };
    Some((P { x: x + shift.x, y: y + shift.y }, slack))
}

/// The piece's ring where it belongs, running the same way round as before.
fn moved_ring(from: &Ring, placed: &PlacedPiece) -> Option<Vec<(P, i64)>> {
    let mut ring: Vec<(P, i64)> =
        from.iter().map(|&p| moved(P::on_grid(p)?, placed)).collect::<Option<_>>()?;
    if placed.face == Face::Down {
        ring.reverse();
    }
    Some(ring)
}

/// True if `to` is the moved `from`, from whichever point it starts.
fn same_ring(from: &Ring, to: &Ring, placed: &PlacedPiece) -> bool {
    let Some(want) = moved_ring(from, placed) else {
        return false;
    };
    let Some(have) = to.iter().map(|&p| P::on_grid(p)).collect::<Option<Vec<P>>>() else {
        return false;
    };
    let n = want.len();
    let close = |have: P, (p, slack): (P, i64)| {
        (have.x - p.x).abs() <= slack && (have.y - p.y).abs() <= slack
    };
    n == have.len() && (0..n).any(|start| (0..n).all(|i| close(have[i], want[(i + start) % n])))
}

/// The largest distance of a placed point from where the point of the same rank belongs, mm; for
/// the message.
fn worst_of(from: &Ring, to: &Ring, placed: &PlacedPiece) -> Option<f64> {
    let want = moved_ring(from, placed)?;
    (want.len() == to.len())
        .then(|| want.iter().zip(to).map(|((p, _), q)| p.mm().distance(*q)).fold(0.0, f64::max))
}
