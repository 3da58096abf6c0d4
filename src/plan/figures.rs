//! Figures for one cloth: length, yield, cost, mass.

use super::left_over::LeftOver;
use super::model::{ClothFigures, PlanStock, StockKind};
use crate::cloth::{Cloth, Price};
use crate::geometry::ring_area;
use crate::units::snap;

/// mm² in a m².
const MM2_PER_M2: f64 = 1e6;

/// The figures of `cloth` from its stocks and what is left of each (the same order; stocks of other
/// cloths are passed over).
///
/// `least` is the length no layout can go under, mm, and how it was got. Cost (two decimals) and
/// mass (g, one decimal) are those of the length taken from rolls; offcuts were paid for before.
pub fn cloth_figures(
    cloth: &Cloth,
    stocks: &[PlanStock],
    left: &[LeftOver],
    least: (f64, String),
) -> ClothFigures {
    let mine = || stocks.iter().zip(left).filter(|(s, _)| s.cloth == cloth.id);
    let sum = |measure: fn(&LeftOver) -> f64| snap(mine().map(|(_, l)| measure(l)).sum());
    let pieces_area = sum(|l| l.pieces_area);
    let stock_area =
        |s: &PlanStock| ring_area(&s.outline) + s.holes.iter().map(|h| ring_area(h)).sum::<f64>();
    let consumed_area = snap(mine().map(|(s, _)| stock_area(s)).sum());
    let used_length =
        snap(mine().filter(|(s, _)| s.kind == StockKind::Roll).map(|(s, _)| s.used_length).sum());
    let bought_m2 = used_length * cloth.roll_width / MM2_PER_M2;
    let cost = cloth.price.map(|price| match price {
        Price::PerMetre(p) => p * used_length / 1000.0,
        Price::PerSquareMetre(p) => p * bought_m2,
    });
    let decimals = |x: f64, k: f64| (x * k).round() / k;
    ClothFigures {
        cloth: cloth.id.clone(),
        roll_width: snap(cloth.roll_width),
        usable_width: snap(cloth.usable_width()),
        used_length,
        least_length: snap(least.0),
        least_length_by: least.1,
        pieces_area,
        offcuts_area: sum(|l| l.offcuts_area),
        waste_area: sum(|l| l.waste_area),
        consumed_area,
        yield_: if consumed_area > 0.0 { decimals(pieces_area / consumed_area, 1e6) } else { 0.0 },
        cost: cost.map(|c| decimals(c, 100.0)),
        mass: cloth.prepreg_mass().map(|m| decimals(m * bought_m2, 10.0)),
        history: Vec::new(),
        early: None,
    }
}
