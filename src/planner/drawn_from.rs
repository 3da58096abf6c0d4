//! What a plan remembers of the stock it was made on.

use super::earlier::Earlier;
use super::frame::in_one_line;
use crate::plan::{DrawnFrom, DrawnStock, PlanStock};
use crate::stock::Snapshot;

/// The stock as the plan remembers it, before anything is taken from it.
pub(super) fn drawn_from(stock: &Snapshot, earlier: &Earlier) -> DrawnFrom {
    let cautions = stock
        .consumables
        .iter()
        .filter_map(|c| c.warning(stock.day))
        .map(|f| in_one_line(&f))
        .collect();
    let cut_before = earlier.stocks.iter().map(|s| s.id.clone()).collect();
    let (ledger, kit) = (stock.ledger.clone(), earlier.kit.clone());
    DrawnFrom {
        ledger,
        day: stock.day,
        cautions,
        saved: Vec::new(),
        stocks: Vec::new(),
        kit,
        cut_before,
    }
}

impl DrawnFrom {
    /// Notes the rolls and offcuts that a plan's stocks are, and what their dates ask for.
    pub(super) fn note(&mut self, stocks: &[PlanStock], stock: &Snapshot) {
        for id in stocks.iter().map(|s| &s.id) {
            let roll = stock
                .rolls
                .iter()
                .find(|r| r.id() == id)
                .map(|r| (r.facts().revision, r.facts().batch.clone(), *r.age()));
            let offcut = || {
                stock
                    .offcuts
                    .iter()
                    .find(|o| o.id() == id)
                    .map(|o| (o.facts().revision, o.facts().batch.clone(), *o.age()))
            };
            let Some((revision, batch, age)) = roll.or_else(offcut) else {
                continue;
            };
            self.cautions.extend(age.warning(id, stock.day).map(|f| in_one_line(&f)));
            self.stocks.push(DrawnStock {
                stock: id.clone(),
                revision,
                batch,
                expiry: age.expiry,
                hours_left: age.hours_left(),
            });
        }
    }
}
