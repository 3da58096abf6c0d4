//! How much to buy: the planner's own layouts on every roll width on offer, with spare, steps,
//! least lengths and price breaks.

mod buy;
mod rough;

pub use buy::{Buy, Request, Spare, buy};
pub use rough::{RoughPart, Waste, plain_cloth, rough};

use crate::cloth::{Cloth, Price};
use crate::fault::{Faults, Place};
use crate::geometry::{ring_area, ring_bounds};
use crate::job::Job;
use crate::laminate::{FinishMass, finishes};
use crate::plan::{Plan, StockKind};
use crate::planner::{self, Refusal};
use crate::run::Run;
use crate::stock::{Age, Roll, RollFacts, Snapshot};
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

/// What is to be estimated, and on what terms.
#[derive(Clone, Copy, Debug)]
pub struct Wish<'a> {
    /// The jobs.
    pub jobs: &'a [Job],
    /// What is there already.
    pub stock: Option<&'a Snapshot>,
    /// How many layouts to plan for each width, each from its own seed.
    pub seeds: u32,
    /// Spare beyond the longest.
    pub spare: Spare,
}

/// What a plan says of one cloth.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Taken {
    /// Length to buy, mm.
    length: f64,
    yield_: f64,
    pieces_area: f64,
    /// Along the roll, to cut the largest piece once more, mm.
    largest: f64,
}

/// Plans every cloth on every width with the seeds from the run's own on. A time limit is shared
/// out evenly over all the layouts.
///
/// On the job's own rolls all cloths are planned together just as `nest` does, so that the same
/// effort and seed give the same lengths; on other widths each cloth alone, on a roll without
/// flaws. With a stock its offcuts and rolls are used up first, and rolls of a cloth that it holds
/// settle the width.
///
/// A cancel leaves first layouts for what was not searched yet.
///
/// # Errors
/// As [`planner::plan()`] for the jobs' own rolls where no other width takes the cloth either.
pub fn estimate(wish: &Wish<'_>, sets: u32, run: &Run<'_>) -> Result<Estimate, Refusal> {
    let mut cloths: Vec<&Cloth> = Vec::new();
    for job in wish.jobs {
        for cloth in job.layers.iter().filter_map(|l| job.cloths.get(l.cloth)) {
            if !cloths.iter().any(|c| c.id == cloth.id) {
                cloths.push(cloth);
            }
        }
    }
    let stock =
        wish.stock.map(|s| with_rolls_to_buy(s, &cloths)).transpose().map_err(Refusal::Input)?;
    // Where the stock has rolls, they settle the width; the planner takes the sound one that
    // expires first.
    let at_hand = |cloth: &Cloth| {
        let own = stock.as_ref()?.rolls.iter().find(|r| r.id() == to_buy(&cloth.id))?;
        Some(own.facts().width)
    };
    let widths_of = |cloth: &Cloth| at_hand(cloth).map_or_else(|| widths(cloth), |w| vec![w]);
    let seeds: Vec<u64> =
        (0..u64::from(wish.seeds.max(1))).map(|i| run.seed().wrapping_add(i)).collect();
    let is_own = |cloth: &Cloth, width: f64| at_hand(cloth).is_some() || width == cloth.roll_width;
    let all: Vec<(&Cloth, f64)> =
        cloths.iter().flat_map(|&c| widths_of(c).into_iter().map(move |w| (c, w))).collect();
    let others = all.iter().filter(|(c, w)| !is_own(c, *w)).count();
    let runs = (others + usize::from(others < all.len())) * seeds.len();
    let mut layouts =
        Layouts { stock: stock.as_ref(), sets, run, done: 0, runs, interrupted: false };

    let own = (others < all.len()).then(|| layouts.all(wish.jobs, &seeds));
    let mut out = Vec::new();
    for cloth in cloths {
        let mut rows: Vec<WidthFigures> = Vec::new();
        let mut pieces_area = 0.0_f64;
        let mut refusal = None;
        for width in widths_of(cloth) {
            let is_own = is_own(cloth, width);
            let plans = match &own {
                Some(Ok(plans)) if is_own => Ok(plans.clone()),
                _ => layouts.all(&alone(wish.jobs, &cloth.id, width), &seeds),
            };
            if let Err(stopped @ Refusal::Stopped(_)) = plans {
                return Err(stopped);
            }
            refusal = plans.as_ref().err().cloned().or(refusal);
            let taken = plans.map(|plans| {
                plans.iter().map(|p| taken(p, cloth, at_hand(cloth).is_some())).collect::<Vec<_>>()
            });
            pieces_area = taken.iter().flatten().map(|t| t.pieces_area).fold(pieces_area, f64::max);
            rows.push(row(cloth, width, is_own, wish.spare, taken));
        }
        if let Some(refusal) = refusal.filter(|_| rows.iter().all(|r| r.needed.is_none())) {
            return Err(match own {
                Some(Err(of_all)) => of_all,
                _ => refusal,
            });
        }
        mark_best(&mut rows);
        let enough = wish.stock.is_some() && rows.iter().any(|r| r.needed == Some([0.0, 0.0]));
        let notes = at_hand(cloth)
            .map(|w| format!("planned on the rolls and offcuts in the stock, {w:.0} mm wide; the lengths are what is missing"));
        let (cloth, name) = (cloth.id.clone(), cloth.name.clone());
        out.push(ClothEstimate {
            cloth,
            name,
            pieces_area,
            widths: rows,
            enough,
            notes: notes.into_iter().collect(),
        });
    }
    let currency = wish.jobs.first().map_or_else(String::new, |j| j.currency.clone());
    let bare = planner::unplaced(wish.jobs, sets);
    Ok(summed(Estimate {
        cloths: out,
        finishes: (0..wish.jobs.len()).flat_map(|i| finishes(&bare, i)).collect(),
        cost: None,
        mass: None,
        currency,
        seeds,
        spare: spare_in_words(wish.spare),
        waste: None,
        interrupted: layouts.interrupted,
    }))
}

/// Adds up the best buys.
fn summed(mut e: Estimate) -> Estimate {
    let best = |c: &ClothEstimate| c.widths.iter().find(|w| w.best).cloned();
    e.cost = e.cloths.iter().map(|c| if c.enough { Some(0.0) } else { best(c)?.buy?.cost }).sum();
    e.mass = e.cloths.iter().map(|c| if c.enough { Some(0.0) } else { best(c)?.mass }).sum();
    e
}

fn spare_in_words(spare: Spare) -> String {
    match spare {
        Spare::PerCent(p) => format!("{p:.0} % spare"),
        Spare::LargestPiece => "the largest piece of the cloth once more as spare".into(),
    }
}

/// The layouts, one after another, with their share of the time and of the progress.
struct Layouts<'a> {
    stock: Option<&'a Snapshot>,
    sets: u32,
    run: &'a Run<'a>,
    done: usize,
    runs: usize,
    interrupted: bool,
}

impl Layouts<'_> {
    fn all(&mut self, jobs: &[Job], seeds: &[u64]) -> Result<Vec<Plan>, Refusal> {
        seeds.iter().map(|&seed| self.one(jobs, seed)).collect()
    }

    fn one(&mut self, jobs: &[Job], seed: u64) -> Result<Plan, Refusal> {
        // What one layout takes longer than its share is taken off the others, which is more even
        // than to be late in the end.
        let left = self.runs.saturating_sub(self.done).max(1);
        let stop = self.run.rest().share(1.0 / left as f64);
        let runs = self.runs.max(self.done + 1) as f64;
        let run = self
            .run
            .about(self.run.on(), (self.done as f64 / runs, 1.0 / runs))
            .part(stop)
            .with_seed(seed);
        // What was laid out before would be lost if this one were not.
        let run = if self.done > 0 { run.saving() } else { run };
        self.done += 1;
        let plan = match self.stock {
            Some(stock) => planner::plan_from_stock(jobs, stock, self.sets, &run)?,
            None => planner::plan(jobs, self.sets, &run)?,
        }
        .into_plan();
        self.interrupted |= plan.interrupted;
        Ok(plan)
    }
}

/// Name of the roll that is to be bought.
fn to_buy(cloth: &str) -> String {
    format!("to-buy-{cloth}")
}

/// The stock with a roll more of every cloth it has rolls of, which has no end and no date, so that
/// it is cut last: what is taken from it is what is missing.
fn with_rolls_to_buy(stock: &Snapshot, cloths: &[&Cloth]) -> Result<Snapshot, Faults> {
    let mut stock = stock.clone();
    let mut faults = Faults::new();
    for cloth in cloths {
        let here = |r: &&Roll| r.cloth() == cloth.id && r.facts().length != Some(0.0);
        if !stock.rolls.iter().any(|r| here(&r)) {
            continue;
        }
        let mut sound: Vec<&Roll> =
            stock.rolls.iter().filter(here).filter(|r| r.age().is_sound(stock.day)).collect();
        sound.sort_by(|a, b| {
            let key = |r: &Roll| (r.age().expiry.is_none(), r.age().expiry);
            let length = |r: &Roll| r.facts().length.unwrap_or(f64::INFINITY);
            key(a).cmp(&key(b)).then(length(a).total_cmp(&length(b))).then(a.id().cmp(b.id()))
        });
        let facts = RollFacts {
            id: to_buy(&cloth.id),
            cloth: cloth.id.clone(),
            width: sound.first().map_or(cloth.roll_width, |r| r.facts().width),
            length: None,
            flaws: Vec::new(),
            batch: None,
            age: Age::default(),
            place: None,
            added: stock.day,
            revision: 0,
        };
        let roll = faults.keep(Roll::new(facts));
        stock.rolls.extend(roll);
    }
    faults.into_result(stock)
}

/// The widths on offer, narrowest first; without offers the usual ones and the job's own.
fn widths(cloth: &Cloth) -> Vec<f64> {
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

/// The jobs with the layers of one cloth only, on a new roll of a width.
fn alone(jobs: &[Job], id: &str, width: f64) -> Vec<Job> {
    let mut jobs = jobs.to_vec();
    for job in &mut jobs {
        let ids: Vec<String> = job.cloths.iter().map(|c| c.id.clone()).collect();
        job.layers.retain(|l| ids.get(l.cloth).is_some_and(|c| c == id));
        for cloth in job.cloths.iter_mut().filter(|c| c.id == id) {
            if cloth.roll_width != width {
                cloth.flaws.clear();
            }
            cloth.roll_width = width;
            cloth.roll_length = None;
        }
    }
    jobs.retain(|j| !j.layers.is_empty());
    jobs
}

/// What a plan takes of a cloth; `missing` counts only the roll that is to be bought.
fn taken(plan: &Plan, cloth: &Cloth, missing: bool) -> Taken {
    let figures = plan.cloths.iter().find(|f| f.cloth == cloth.id);
    let mine = || plan.stocks.iter().filter(|s| s.cloth == cloth.id);
    let bought =
        mine().filter(|s| s.kind == StockKind::Roll && (!missing || s.id == to_buy(&cloth.id)));
    let placed = mine()
        .flat_map(|s| &s.placed)
        .filter_map(|p| Some((ring_area(&p.outline).abs(), ring_bounds(&p.outline)?.width())));
    let largest = placed.max_by(|a, b| a.0.total_cmp(&b.0)).map_or(0.0, |p| p.1 + plan.rules.gap);
    Taken {
        length: bought.map(|s| s.used_length).sum(),
        yield_: figures.map_or(0.0, |f| f.yield_),
        pieces_area: figures.map_or(0.0, |f| f.pieces_area),
        largest,
    }
}

fn row(
    cloth: &Cloth,
    width: f64,
    own: bool,
    spare: Spare,
    taken: Result<Vec<Taken>, Refusal>,
) -> WidthFigures {
    let mut row = empty_row(cloth, width, own);
    let taken = match taken {
        Ok(taken) => taken,
        Err(refusal) => {
            row.why_not = Some(reason(&refusal));
            return row;
        }
    };
    let (least, most) =
        taken.iter().fold((f64::INFINITY, 0.0_f64), |(a, b), t| (a.min(t.length), b.max(t.length)));
    row.needed = Some([least.min(most), most]);
    row.yield_ = taken.iter().map(|t| t.yield_).fold(1.0, f64::min);
    if most > 0.0 {
        row.spare = match spare {
            Spare::PerCent(p) => most * p / 100.0,
            Spare::LargestPiece => taken.iter().map(|t| t.largest).fold(0.0, f64::max),
        };
        priced(&mut row, cloth, most);
    }
    row
}

fn empty_row(cloth: &Cloth, width: f64, own: bool) -> WidthFigures {
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

/// Sets what to buy for a length and the row's spare.
fn priced(row: &mut WidthFigures, cloth: &Cloth, length: f64) {
    let mut bought = buy(cloth, Request { width: row.width, length: length + row.spare });
    bought.left_over += row.spare;
    row.mass = cloth.prepreg_mass().map(|m| m * bought.length * row.width / 1e6);
    row.buy = Some(bought);
}

/// Marks the cheapest row on offer; the one of least area where a price is missing.
fn mark_best(rows: &mut [WidthFigures]) {
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

/// The first fault of a refusal, in a line.
fn reason(refusal: &Refusal) -> String {
    let faults = refusal.clone().into_faults();
    let Some(first) = faults.0.first() else {
        return String::new();
    };
    let more = if faults.0.len() > 1 {
        format!(" (and {} more)", faults.0.len() - 1)
    } else {
        String::new()
    };
    match &first.place {
        Place::Named(name) => format!("{name} {}{more}", first.what),
        _ => format!("{}{more}", first.what),
    }
}

/// The price of a m² of a cloth, if any is known.
fn square_metre(price: Price, width: f64) -> f64 {
    match price {
        Price::PerSquareMetre(p) => p,
        Price::PerMetre(p) => p / (width / 1000.0),
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
