//! The layout of each stock: pieces inside the cloth, off its selvedges, holes and flaws, each
//! within one bench segment, and apart from each other by the gap. Exact, no tolerance.

use super::depth::overlap_depth;
use super::exact::{P, Shape, interiors_meet, nearer_than, steps};
use super::findings::Findings;
use super::sane::{Exact, ExactStock};
use crate::plan::{Plan, PlanPiece, PlanStock, StockKind};
use crate::units::GRID_PER_MM;
use std::collections::BTreeMap;

/// All stocks.
pub(super) fn check(plan: &Plan, exact: &Exact, found: &mut Findings<'_>) {
    let gap = steps(plan.rules.gap).unwrap_or(0);
    let by_id: BTreeMap<&str, &PlanPiece> =
        plan.pieces.iter().map(|p| (p.piece.as_str(), p)).collect();
    for (stock, shapes) in plan.stocks.iter().zip(&exact.stocks) {
        cloth_of(plan, stock, shapes, found);
        segments(plan, stock, found);
        inside(stock, shapes, &by_id, found);
        apart(stock, shapes, gap, found);
    }
}

/// A roll's outline is the used length by the roll width; its cloth has figures and data.
fn cloth_of(plan: &Plan, stock: &PlanStock, shapes: &ExactStock, found: &mut Findings<'_>) {
    let who = format!("stock {}", stock.id);
    let figures = plan.cloths.iter().find(|c| c.cloth == stock.cloth);
    if figures.is_none() || !plan.materials.iter().any(|m| m.cloth == stock.cloth) {
        found.add(&who, said!("the plan has no figures or no data for its cloth {}", stock.cloth));
    }
    let box_ = shapes.outline.extent();
    let used = steps(stock.used_length).unwrap_or(0);
    if stock.kind == StockKind::Offcut {
        if box_.min.x < 0 || box_.max.x > used {
            found.add(&who, said!("reaches outside its used length of {} mm", stock.used_length));
        }
        return;
    }
    let whole = Shape::rectangle(P { x: 0, y: 0 }, P { x: used, y: box_.max.y });
    if box_ != whole.extent() || shapes.outline.twice_area() != whole.twice_area() {
        found.add(
            &who,
            said!("a roll's outline must be the rectangle of its used length ({} mm) and width, from (0, 0)", stock.used_length),
        );
    }
    if let Some(c) = figures {
        let (width, usable) = (steps(c.roll_width), steps(c.usable_width));
        let selvedge = steps(stock.selvedge).unwrap_or(0);
        if width != Some(box_.max.y) || usable != Some(box_.max.y - 2 * selvedge) {
            found.add(
                &who,
                said!("its width and selvedge differ from the figures of cloth {}", stock.cloth),
            );
        }
    }
}

/// Bench segments run one after the other from 0 to the used length, none longer than the bench.
fn segments(plan: &Plan, stock: &PlanStock, found: &mut Findings<'_>) {
    let who = format!("stock {}", stock.id);
    let ends: Vec<(i64, i64)> =
        stock.segments.iter().filter_map(|s| Some((steps(s[0])?, steps(s[1])?))).collect();
    let mut from = 0;
    for &(a, b) in &ends {
        if a != from || b <= a {
            found.add(
                &who,
                said!(
                    "its bench segments do not follow each other at {} mm",
                    a as f64 / GRID_PER_MM
                ),
            );
        }
        from = b;
    }
    if Some(from) != steps(stock.used_length) {
        found.add(
            &who,
            said!(
                "its bench segments end at {} mm, not at its used length of {} mm",
                from as f64 / GRID_PER_MM,
                stock.used_length
            ),
        );
    }
    // An offcut is cut where it lies; only a roll is drawn over the bench.
    if let (Some(bench), StockKind::Roll) = (plan.rules.bench_length.and_then(steps), stock.kind) {
        for &(a, b) in ends.iter().filter(|(a, b)| b - a > bench) {
            let over = (b - a - bench) as f64 / GRID_PER_MM;
            found.add(
                &who,
                said!(
                    "the bench segment at {} mm is {over:.3} mm longer than the bench",
                    a as f64 / GRID_PER_MM
                ),
            );
        }
    }
}

/// Each piece inside the outline, off selvedges, holes and flaws, within one bench segment.
fn inside(
    stock: &PlanStock,
    shapes: &ExactStock,
    by_id: &BTreeMap<&str, &PlanPiece>,
    found: &mut Findings<'_>,
) {
    let outside = shapes.outline.complement();
    let cloth = shapes.outline.extent();
    let selvedge = steps(stock.selvedge).unwrap_or(0);
    let ends: Vec<(i64, i64)> =
        stock.segments.iter().filter_map(|s| Some((steps(s[0])?, steps(s[1])?))).collect();
    for (placed, shape) in stock.placed.iter().zip(&shapes.placed) {
        if found.full() {
            return;
        }
        let who = format!("piece {} copy {} on stock {}", placed.piece, placed.copy, stock.id);
        let e = shape.extent();
        if let Some(at) = interiors_meet(shape, &outside) {
            // The piece is finite and the outside is not, so the depth is that of the piece's own
            // points.
            let (depth, at) = overlap_depth(shape, &outside).unwrap_or((0.0, at.mm()));
            found.add_at(&who, at, said!("reaches {depth:.3} mm out of the cloth"));
        }
        for (over, side) in [
            (cloth.min.y + selvedge - e.min.y, "lower"),
            (e.max.y - cloth.max.y + selvedge, "upper"),
        ] {
            if over > 0 {
                let at = if side == "lower" { e.min } else { e.max };
                found.add_at(
                    &who,
                    at.mm(),
                    said!("reaches {:.3} mm into the {side} selvedge", over as f64 / GRID_PER_MM),
                );
            }
        }
        for (what, keep_out) in &shapes.keep_out {
            if let Some(at) = interiors_meet(shape, keep_out) {
                let (depth, at) = overlap_depth(shape, keep_out).unwrap_or((0.0, at.mm()));
                found.add_at(&who, at, said!("lies on {what} of the cloth, {depth:.3} mm deep"));
            }
        }
        let may_cross = by_id.get(placed.piece.as_str()).is_some_and(|p| p.may_cross_bench);
        if !may_cross && !ends.iter().any(|&(a, b)| a <= e.min.x && e.max.x <= b) {
            found.add_at(&who, e.min.mm(), "does not lie within one bench segment");
        }
    }
}

/// Pieces by pairs: interiors disjoint, outlines at least the gap apart. A sweep along x finds the
/// pairs that come near.
fn apart(stock: &PlanStock, shapes: &ExactStock, gap: i64, found: &mut Findings<'_>) {
    let mut order: Vec<usize> = (0..shapes.placed.len()).collect();
    order.sort_by_key(|&i| shapes.placed[i].extent().min.x);
    for (rank, &i) in order.iter().enumerate() {
        let a = &shapes.placed[i];
        for &j in &order[rank + 1..] {
            let b = &shapes.placed[j];
            if b.extent().min.x - gap > a.extent().max.x || found.full() {
                break;
            }
            if !a.extent().near(&b.extent(), gap) {
                continue;
            }
            let who = || {
                let name =
                    |k: usize| format!("{} copy {}", stock.placed[k].piece, stock.placed[k].copy);
                format!("pieces {} and {} on stock {}", name(i.min(j)), name(i.max(j)), stock.id)
            };
            if let Some(at) = interiors_meet(a, b) {
                let (depth, at) = overlap_depth(a, b).unwrap_or((0.0, at.mm()));
                found.add_at(&who(), at, said!("overlap by {depth:.3} mm"));
            } else if let Some((distance, at)) = nearer_than(a, b, gap) {
                let want = gap as f64 / GRID_PER_MM;
                found.add_at(
                    &who(),
                    at.mm(),
                    said!(
                        "are {distance:.3} mm apart, {:.3} mm less than the gap of {want} mm",
                        want - distance
                    ),
                );
            }
        }
    }
}
