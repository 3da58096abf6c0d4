//! The figures: areas measured again by the shoelace rule in whole numbers, lengths, yield,
//! offcuts, and the plan's id.

use super::depth::overlap_depth;
use super::exact::{P, Shape, interiors_meet, steps};
use super::findings::Findings;
use super::sane::{Exact, ExactStock};
use crate::fault::Said;
use crate::plan::{ClothFigures, Offcut, Plan, PlanStock, StockKind};
use crate::units::GRID_PER_MM;

/// Offcuts come out of rounded operations: they may reach this deep into a piece, a neighbour or
/// out of the cloth, mm.
const OFFCUT_DEPTH_MM: f64 = 0.002;

/// A figure written in mm² may differ by this much from the one measured here, for rounding when it
/// was written.
const WRITTEN_MM2: f64 = 0.01;

/// The yield may differ by this much.
const YIELD: f64 = 1e-5;

/// The mass may differ by this much, g: it is written with one decimal.
const WRITTEN_G: f64 = 0.051;

/// Waste is bounded by rounded crossings: it may be off by 1 mm² and by this much for every mm of
/// boundary (1 µm of depth).
const BOUNDARY_MM2_PER_MM: f64 = 0.001;

/// Offcuts and figures of every cloth.
pub(super) fn check(plan: &Plan, exact: &Exact, found: &mut Findings<'_>) {
    for (stock, shapes) in plan.stocks.iter().zip(&exact.stocks) {
        offcuts(stock, shapes, cut_before(plan, stock), found);
    }
    for figures in &plan.cloths {
        cloth(plan, exact, figures, found);
    }
    let known = |cloth: &str| plan.cloths.iter().any(|c| c.cloth == cloth);
    for cloth in plan.pieces.iter().map(|p| p.cloth.as_str()).filter(|c| !known(c)) {
        found.add(&format!("cloth {cloth}"), "has pieces but no figures");
    }
    identity(plan, found);
}

/// True of a stock of an earlier plan of the kit.
fn cut_before(plan: &Plan, stock: &PlanStock) -> bool {
    plan.drawn_from.as_ref().is_some_and(|d| d.cut_before.contains(&stock.id))
}

fn offcuts(stock: &PlanStock, shapes: &ExactStock, before: bool, found: &mut Findings<'_>) {
    let outside = shapes.outline.complement();
    let e = shapes.outline.extent();
    let selvedge = steps(stock.selvedge).unwrap_or(0);
    if before && !stock.offcuts.is_empty() {
        found.add(
            &format!("stock {}", stock.id),
            "was cut before, and lists offcuts: what was left of it is in the stock",
        );
    }
    for (i, (offcut, shape)) in stock.offcuts.iter().zip(&shapes.offcuts).enumerate() {
        if found.full() {
            return;
        }
        let who = format!("offcut {} of stock {}", offcut.id, stock.id);
        // Most lie far away: only of one that is reached the name is made.
        let mut clear_of = |what: &dyn Fn() -> Said, other: &Shape| {
            if interiors_meet(shape, other).is_some()
                && let Some((depth, at)) = overlap_depth(shape, other)
                && depth > OFFCUT_DEPTH_MM
            {
                let what = what();
                found.add_at(&who, at, said!("reaches {depth:.3} mm {what}"));
            }
        };
        clear_of(&|| "out of the cloth".into(), &outside);
        if selvedge > 0 {
            let strip = |low: i64, high: i64| {
                Shape::rectangle(P { x: e.min.x, y: low }, P { x: e.max.x, y: high })
            };
            clear_of(&|| "into the lower selvedge".into(), &strip(e.min.y, e.min.y + selvedge));
            clear_of(&|| "into the upper selvedge".into(), &strip(e.max.y - selvedge, e.max.y));
        }
        for (what, keep_out) in &shapes.keep_out {
            clear_of(&|| said!("into {what}"), keep_out);
        }
        for (placed, piece) in stock.placed.iter().zip(&shapes.placed) {
            clear_of(&|| said!("into piece {} copy {}", placed.piece, placed.copy), piece);
        }
        for (other, o) in stock.offcuts.iter().zip(&shapes.offcuts).skip(i + 1) {
            clear_of(&|| said!("into offcut {}", other.id), o);
        }
        if (shape.area_mm2() - offcut.area).abs() > WRITTEN_MM2 {
            found.add(
                &who,
                said!("its area is {:.3} mm², not {} mm²", shape.area_mm2(), offcut.area),
            );
        }
        rectangle(offcut, shape, &who, found);
    }
}

/// The largest rectangle has an area and lies in its offcut.
fn rectangle(offcut: &Offcut, shape: &Shape, who: &str, found: &mut Findings<'_>) {
    let [x, y, w, h] = offcut.largest_rectangle.map(|v| steps(v).unwrap_or(0));
    if w <= 0 || h <= 0 {
        found.add(who, "its largest rectangle has no area");
        return;
    }
    let inner = Shape::rectangle(P { x, y }, P { x: x + w, y: y + h });
    let outside = shape.complement();
    if interiors_meet(&inner, &outside).is_some()
        && let Some((depth, at)) = overlap_depth(&inner, &outside)
        && depth > OFFCUT_DEPTH_MM
    {
        found.add_at(who, at, said!("its largest rectangle reaches {depth:.3} mm out of it"));
    }
}

fn cloth(plan: &Plan, exact: &Exact, f: &ClothFigures, found: &mut Findings<'_>) {
    let who = format!("cloth {}", f.cloth);
    // What was cut before is in the figures of the plan it was cut by.
    let mine = || {
        plan.stocks
            .iter()
            .zip(&exact.stocks)
            .filter(|(s, _)| s.cloth == f.cloth && !cut_before(plan, s))
    };
    let pieces: f64 = mine().flat_map(|(_, e)| &e.placed).map(Shape::area_mm2).sum();
    let offcuts: f64 = mine().flat_map(|(_, e)| &e.offcuts).map(Shape::area_mm2).sum();
    // A sum of written areas: their roundings add up, and do so in step where offcuts are alike.
    let count = mine().map(|(_, e)| e.offcuts.len()).sum::<usize>();
    let holes = |e: &ExactStock| {
        e.keep_out.iter().filter(|k| k.0 == "a hole").map(|k| k.1.area_mm2()).sum::<f64>()
    };
    let consumed: f64 = mine().map(|(_, e)| e.outline.area_mm2() - holes(e)).sum();
    let used: i64 = mine()
        .filter(|(s, _)| s.kind == StockKind::Roll)
        .filter_map(|(s, _)| steps(s.used_length))
        .sum();
    let boundary: f64 = mine()
        .flat_map(|(_, e)| e.placed.iter().chain(&e.offcuts).chain([&e.outline]))
        .map(Shape::perimeter_mm)
        .sum();
    let slack = 1.0 + BOUNDARY_MM2_PER_MM * boundary;
    let mut same = |what: &str, have: f64, want: f64, slack: f64| {
        if (have - want).abs() > slack {
            found.add(&who, said!("{what} is written as {have}, measured {want:.3}"));
        }
    };
    same("the area of the pieces (mm²)", f.pieces_area, pieces, WRITTEN_MM2);
    same(
        "the area of the offcuts (mm²)",
        f.offcuts_area,
        offcuts,
        WRITTEN_MM2 * count.max(1) as f64,
    );
    same("the area consumed (mm²)", f.consumed_area, consumed, WRITTEN_MM2);
    same("the area of the waste (mm²)", f.waste_area, consumed - pieces - offcuts, slack);
    same("the used length (mm)", f.used_length, used as f64 / GRID_PER_MM, 0.0005);
    let want = if consumed > 0.0 { pieces / consumed } else { 0.0 };
    same("the yield", f.yield_, want, YIELD);
    // Fibre over its share of the whole, for the length taken from the roll.
    let material = plan.materials.iter().find(|m| m.cloth == f.cloth);
    let per_m2 =
        material.and_then(|m| Some(m.areal_mass? / (1.0 - m.resin_content.unwrap_or(0.0))));
    let mass = per_m2.map(|g| g * f.roll_width / 1000.0 * used as f64 / GRID_PER_MM / 1000.0);
    match (f.mass, mass) {
        (Some(have), Some(want)) => same("the mass (g)", have, want, WRITTEN_G),
        (None, None) => {}
        _ => found.add(&who, "it has a mass without an areal mass, or the other way about"),
    }
    if f.least_length > f.used_length + 0.0005 {
        found.add(
            &who,
            said!(
                "the least length {} mm is more than the used length {} mm",
                f.least_length,
                f.used_length
            ),
        );
    }
}

/// The id is the hash of the content; offcuts are named after it in order.
fn identity(plan: &Plan, found: &mut Findings<'_>) {
    if !plan.is_as_planned() {
        let (id, content) = (&plan.id, plan.content_id());
        found.add(
            "plan",
            said!("its id is {id}, but its content gives {content}: it was changed after planning"),
        );
    }
    let names = plan.offcut_ids();
    for (offcut, want) in plan.stocks.iter().flat_map(|s| &s.offcuts).zip(names) {
        if offcut.id != want {
            found.add(&format!("offcut {}", offcut.id), said!("should be named {want}"));
        }
    }
}
