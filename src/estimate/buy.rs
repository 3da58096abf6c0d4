//! From a length that is needed to a length to buy.

use crate::cloth::{Cloth, Offer, Price};
use serde::Serialize;

/// Step of the lengths sold where the job gives none, mm (common practice, no source).
const STEP: f64 = 500.0;

/// Spare beyond the longest layout.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Spare {
    /// Per cent of the length.
    PerCent(f64),
    /// The largest piece once more.
    LargestPiece,
}

/// A length that is needed on a width, mm.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Request {
    /// Roll width, mm.
    pub width: f64,
    /// Length, spare included, mm.
    pub length: f64,
}

/// What to buy.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Buy {
    /// mm.
    pub length: f64,
    /// In the job's currency, if a price is known.
    pub cost: Option<f64>,
    /// Lengths are sold in steps of this, mm.
    pub step: f64,
    /// Price of a metre of this width.
    pub price_per_metre: Option<f64>,
    /// Length beyond the longest layout, the spare among it, mm.
    pub left_over: f64,
    /// Step and price are those of an offer; otherwise the step is a guess.
    pub offered: bool,
    /// It is worth buying more than is needed to reach a price break or a least length.
    pub more_than_needed: bool,
}

/// The cheapest way to buy a length: every offer of the width is tried, its break and least length
/// kept. A width without a price of its own is taken at the cloth's price of a m².
pub fn buy(cloth: &Cloth, want: Request) -> Buy {
    let offered = cloth.offers.iter().any(|o| o.width == want.width);
    let plain = Offer { width: want.width, from: 0.0, minimum: 0.0, step: STEP, price: None };
    let mut offers: Vec<&Offer> = cloth.offers.iter().filter(|o| o.width == want.width).collect();
    if offers.is_empty() {
        offers.push(&plain);
    }
    let known = cloth.price.map(|p| square_metre(p, cloth.roll_width));
    let mut best: Option<Buy> = None;
    for offer in offers {
        let up = |length: f64| (length / offer.step - 1e-9).ceil().max(1.0) * offer.step;
        let length = up(want.length.max(offer.minimum).max(offer.from));
        let price = offer.price.map(|p| square_metre(p, offer.width)).or(known);
        let cost = price.map(|p| (p * length * offer.width / 1e6 * 100.0).round() / 100.0);
        let price_per_metre = price.map(|p| p * offer.width / 1000.0);
        let (left_over, more_than_needed) = (length - want.length, length > up(want.length));
        let this = Buy {
            length,
            cost,
            step: offer.step,
            price_per_metre,
            left_over,
            offered,
            more_than_needed,
        };
        let better = best.as_ref().is_none_or(|b| match (this.cost, b.cost) {
            (Some(a), Some(b)) => a < b,
            (Some(_), None) => true,
            (None, Some(_)) => false,
            (None, None) => this.length < b.length,
        });
        if better {
            best = Some(this);
        }
    }
    let exact = Buy {
        length: want.length,
        cost: None,
        step: STEP,
        price_per_metre: None,
        left_over: 0.0,
        offered,
        more_than_needed: false,
    };
    best.unwrap_or(exact)
}

/// The price of a m² of a cloth, if any is known.
fn square_metre(price: Price, width: f64) -> f64 {
    match price {
        Price::PerSquareMetre(p) => p,
        Price::PerMetre(p) => p / (width / 1000.0),
    }
}

#[cfg(test)]
pub(super) mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::cloth::{Backing, Material, Price, Weave};

    pub fn cloth(offers: Vec<Offer>) -> Cloth {
        Cloth {
            id: "c".into(),
            name: "c".into(),
            library: None,
            weave: Weave::Plain,
            balanced: true,
            one_way: false,
            twill_line: None,
            up: Backing::Paper,
            roll_width: 1000.0,
            selvedge: 0.0,
            roll_length: None,
            flaws: Vec::new(),
            areal_mass: None,
            resin_content: None,
            fibre_density: None,
            price: Some(Price::PerMetre(50.0)),
            material: Material::Fibre,
            thickness: None,
            resin_density: None,
            batch: None,
            out_life_hours: None,
            expiry: None,
            offers,
        }
    }

    #[test]
    fn lengths_are_rounded_up_to_the_step_and_a_break_is_taken_where_it_pays() {
        let want = Request { width: 1000.0, length: 8100.0 };
        let got = buy(&cloth(Vec::new()), want);
        assert_eq!((got.length, got.cost, got.more_than_needed), (8500.0, Some(425.0), false));
        let offer = |from, price| Offer {
            width: 1000.0,
            from,
            minimum: 1000.0,
            step: 500.0,
            price: Some(Price::PerMetre(price)),
        };
        let got = buy(&cloth(vec![offer(0.0, 50.0), offer(10_000.0, 40.0)]), want);
        assert_eq!((got.length, got.cost, got.more_than_needed), (10_000.0, Some(400.0), true));
        let got = buy(&cloth(vec![offer(0.0, 50.0)]), Request { width: 1000.0, length: 200.0 });
        assert_eq!((got.length, got.cost), (1000.0, Some(50.0)), "the least length sold");
        assert_eq!(
            (got.step, got.price_per_metre, got.left_over, got.offered),
            (500.0, Some(50.0), 800.0, true)
        );
        assert_eq!(
            buy(&cloth(Vec::new()), Request { width: 1000.0, length: 1500.0 }).length,
            1500.0,
            "a whole step remains"
        );
    }
}
