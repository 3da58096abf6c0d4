//! The figures of an estimate: cloth by cloth and width by width, and the line to order by.

use super::buy::{Buy, Request, Spare, buy};
use super::waste::Waste;
use crate::cloth::Cloth;
use crate::laminate::FinishMass;
use crate::units::show_metres;
use serde::Serialize;

/// Roll widths looked at where the job names no offers, mm (common practice, no source). Whether
/// anybody sells them is not known.
pub const USUAL_WIDTHS: [f64; 6] = [300.0, 600.0, 1000.0, 1250.0, 1270.0, 1500.0];

/// What one width of a cloth comes to.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct WidthFigures {
    /// Roll width, mm.
    pub width: f64,
    /// The width of the job's own roll, or of the rolls in the stock.
    pub own: bool,
    /// It can be ordered: the job has an offer of it, or where it has no offers at all it is its
    /// own roll. Others only if somebody has them.
    pub on_offer: bool,
    /// Lengths that are needed and not there, least and most over the seeds or by the range of the
    /// waste, mm; none if the pieces do not fit.
    pub needed: Option<[f64; 2]>,
    /// Spare, mm.
    pub spare: f64,
    /// What to buy.
    pub buy: Option<Buy>,
    /// Yield of the worst layout.
    #[serde(rename = "yield")]
    pub yield_: f64,
    /// Mass to buy, g.
    pub mass: Option<f64>,
    /// The cheapest width on offer (the least area where no price is known); of all widths if none
    /// is on offer.
    pub best: bool,
    /// Why no layout is possible.
    pub why_not: Option<String>,
}

/// A cloth over its widths.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct ClothEstimate {
    /// Cloth id.
    pub cloth: String,
    /// Its name for people.
    pub name: String,
    /// Area of the pieces, mm².
    pub pieces_area: f64,
    /// Narrowest first.
    pub widths: Vec<WidthFigures>,
    /// The stock holds all of it: nothing to buy.
    pub enough: bool,
    /// What is said of it besides.
    pub notes: Vec<String>,
}

/// The whole estimate.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Estimate {
    /// Cloth by cloth.
    pub cloths: Vec<ClothEstimate>,
    /// What is put on the finished parts, job by job; none for rough parts.
    pub finishes: Vec<FinishMass>,
    /// Cost of the cheapest buys together, if every price is known.
    pub cost: Option<f64>,
    /// Mass of the cheapest buys together, g, if every areal mass is known.
    pub mass: Option<f64>,
    /// Currency.
    pub currency: String,
    /// Seeds used; none for rough parts.
    pub seeds: Vec<u64>,
    /// How the spare was reckoned, in words.
    pub spare: String,
    /// The waste that rough parts were reckoned with.
    pub waste: Option<Waste>,
    /// It was stopped from outside: the layouts that were not yet searched are first layouts.
    pub interrupted: bool,
}

impl ClothEstimate {
    /// The line to order by: length, width, step, price, and what will be left over; nothing if
    /// there is nothing to buy.
    pub fn order(&self, currency: &str) -> Option<String> {
        let row = self.widths.iter().find(|w| w.best).filter(|_| !self.enough)?;
        let buy = row.buy.as_ref()?;
        let name = if self.name == self.cloth {
            self.cloth.clone()
        } else {
            format!("{} ({})", self.name, self.cloth)
        };
        let step = if buy.offered { "sold in steps of" } else { "in steps of" };
        let guess = if buy.offered { "" } else { " (ask: no offer says)" };
        let mut out = format!(
            "Order {:.2} m of {name}, {:.0} mm wide, {step} {}{guess}: ",
            buy.length / 1000.0,
            row.width,
            show_metres(buy.step)
        );
        out += &match (buy.cost, buy.price_per_metre) {
            (Some(cost), Some(metre)) => format!("{cost:.2} {currency}, {metre:.2} a metre."),
            _ => "no price is known.".to_string(),
        };
        if buy.more_than_needed {
            out += " That is more than is needed: it is sold no shorter, or costs less by its price break.";
        }
        out += &format!(
            " Left over when all is cut: {:.2} m, the spare among it.",
            buy.left_over / 1000.0
        );
        if !row.on_offer {
            out += " If you can get it: nobody is known to sell this width.";
        }
        let less = |w: &&WidthFigures| {
            w.buy
                .as_ref()
                .map(|b| b.length * w.width)
                .filter(|a| *a < 0.98 * buy.length * row.width)
        };
        let saver = self
            .widths
            .iter()
            .filter(|w| !w.on_offer && row.on_offer)
            .filter_map(|w| Some((w.width, less(&w)?)));
        if let Some((width, area)) = saver.min_by(|a, b| a.1.total_cmp(&b.1)) {
            let share = 100.0 * (1.0 - area / (buy.length * row.width));
            out += &format!(
                " On a roll {width:.0} mm wide, if you can get it, it would be {share:.0} % less cloth."
            );
        }
        Some(out)
    }
}

pub(super) fn empty_row(cloth: &Cloth, width: f64, own: bool) -> WidthFigures {
    let on_offer =
        if cloth.offers.is_empty() { own } else { cloth.offers.iter().any(|o| o.width == width) };
    WidthFigures {
        width,
        own,
        on_offer,
        needed: None,
        spare: 0.0,
        buy: None,
        yield_: 0.0,
        mass: None,
        best: false,
        why_not: None,
    }
}

/// The widths on offer, narrowest first; without offers the usual ones and the job's own.
pub(super) fn widths(cloth: &Cloth) -> Vec<f64> {
    let usual = USUAL_WIDTHS
        .iter()
        .copied()
        .chain([cloth.roll_width])
        .filter(|w| *w > 2.0 * cloth.selvedge);
    let mut all: Vec<f64> = if cloth.offers.is_empty() {
        usual.collect()
    } else {
        cloth.offers.iter().map(|o| o.width).collect()
    };
    all.sort_by(f64::total_cmp);
    all.dedup();
    all
}

/// Sets what to buy for a length and the row's spare.
pub(super) fn priced(row: &mut WidthFigures, cloth: &Cloth, length: f64) {
    let mut bought = buy(cloth, Request { width: row.width, length: length + row.spare });
    bought.left_over += row.spare;
    row.mass = cloth.prepreg_mass().map(|m| m * bought.length * row.width / 1e6);
    row.buy = Some(bought);
}

/// Marks the cheapest row on offer; the one of least area where a price is missing.
pub(super) fn mark_best(rows: &mut [WidthFigures]) {
    let any = rows.iter().any(|r| r.on_offer && r.buy.is_some());
    let may_be = |r: &&WidthFigures| r.on_offer || !any;
    let priced =
        rows.iter().filter(may_be).filter_map(|r| r.buy.as_ref()).all(|b| b.cost.is_some());
    let key = |r: &WidthFigures| {
        may_be(&r).then_some(())?;
        let b = r.buy.as_ref()?;
        if priced { b.cost } else { Some(b.length * r.width) }
    };
    let best = rows
        .iter()
        .enumerate()
        .filter_map(|(i, r)| Some((i, key(r)?)))
        .min_by(|a, b| a.1.total_cmp(&b.1))
        .map(|b| b.0);
    if let Some(row) = best.and_then(|i| rows.get_mut(i)) {
        row.best = true;
    }
}

/// Adds up the best buys.
pub(super) fn summed(mut e: Estimate) -> Estimate {
    let best = |c: &ClothEstimate| c.widths.iter().find(|w| w.best).cloned();
    e.cost = e.cloths.iter().map(|c| if c.enough { Some(0.0) } else { best(c)?.buy?.cost }).sum();
    e.mass = e.cloths.iter().map(|c| if c.enough { Some(0.0) } else { best(c)?.mass }).sum();
    e
}

pub(super) fn spare_in_words(spare: Spare) -> String {
    match spare {
        Spare::PerCent(p) => format!("{p:.0} % spare"),
        Spare::LargestPiece => "the largest piece of the cloth once more as spare".into(),
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    #[test]
    fn the_cheapest_is_marked_and_the_least_area_where_a_price_is_missing() {
        let row = |width: f64, length: f64, cost: Option<f64>| WidthFigures {
            width,
            own: false,
            on_offer: true,
            needed: Some([length, length]),
            spare: 0.0,
            buy: Some(Buy {
                length,
                cost,
                step: 500.0,
                price_per_metre: None,
                left_over: 0.0,
                offered: true,
                more_than_needed: false,
            }),
            yield_: 0.7,
            mass: None,
            best: false,
            why_not: None,
        };
        let best = |mut rows: Vec<WidthFigures>| {
            mark_best(&mut rows);
            rows.iter().position(|r| r.best)
        };
        assert_eq!(
            best(vec![row(600.0, 5000.0, Some(90.0)), row(1000.0, 3500.0, Some(80.0))]),
            Some(1)
        );
        assert_eq!(
            best(vec![row(600.0, 5000.0, Some(90.0)), row(1000.0, 3500.0, None)]),
            Some(0),
            "3 m² against 3.5 m²"
        );
        assert_eq!(best(Vec::new()), None);
        // A width that nobody sells is not what to buy, however cheap it would be.
        let dream = WidthFigures { on_offer: false, ..row(300.0, 1000.0, Some(9.0)) };
        assert_eq!(
            best(vec![
                dream.clone(),
                row(600.0, 5000.0, Some(90.0)),
                row(1000.0, 3500.0, Some(80.0))
            ]),
            Some(2)
        );
        assert_eq!(best(vec![dream]), Some(0), "unless none is on offer");
    }
}
