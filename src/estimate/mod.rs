//! How much to buy: the planner's own layouts on every roll width on offer, with spare, steps, least lengths and price breaks.

mod buy;

pub use buy::{Buy, Request, Spare, buy, rough};

use crate::cloth::{Cloth, Price};
use crate::fault::{Fault, Faults};
use crate::job::Job;
use crate::nest::Stop;
use crate::plan::ClothFigures;
use crate::planner::{self, Refusal, Settings, Watcher};
use serde::Serialize;
use std::sync::atomic::AtomicBool;

/// Roll widths looked at where the job names no offers, mm (common practice, no source).
pub const USUAL_WIDTHS: [f64; 6] = [300.0, 600.0, 1000.0, 1250.0, 1270.0, 1500.0];

/// What one width of a cloth comes to.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct WidthFigures {
    /// Roll width, mm.
    pub width: f64,
    /// The job's own roll.
    pub own: bool,
    /// Used lengths over the seeds, least and most, mm; none if no piece fits.
    pub used: Option<[f64; 2]>,
    /// Spare, mm.
    pub spare: f64,
    /// What to buy.
    pub buy: Option<Buy>,
    /// Yield of the worst layout.
    #[serde(rename = "yield")]
    pub yield_: f64,
    /// Mass to buy, g.
    pub mass: Option<f64>,
    /// The cheapest width of the cloth (by area where no price is known).
    pub best: bool,
    /// Why no layout is possible.
    pub why_not: Option<String>,
}

/// A cloth over its widths.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct ClothEstimate {
    /// Cloth id.
    pub cloth: String,
    /// Narrowest first.
    pub widths: Vec<WidthFigures>,
}

/// The whole estimate.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Estimate {
    /// Cloth by cloth.
    pub cloths: Vec<ClothEstimate>,
    /// Cost of the cheapest buys together, if every price is known.
    pub cost: Option<f64>,
    /// Currency.
    pub currency: String,
    /// Seeds used.
    pub seeds: Vec<u64>,
}

/// Plans every cloth on every width with `seeds` seeds from the settings' own on. A time limit is shared out evenly over all the layouts.
/// On the job's own rolls all cloths are planned together just as `nest` does; on other widths each cloth alone, on a roll without flaws.
///
/// # Errors
/// As [`planner::plan`] for the jobs' own rolls unless another width takes the cloth.
pub fn estimate(
    jobs: &[Job],
    settings: &Settings,
    seeds: u32,
    spare: Spare,
    cancel: &AtomicBool,
    watcher: &dyn Watcher,
) -> Result<Estimate, Refusal> {
    planner::prepare(jobs, 1).map_err(Refusal::Input).or_else(|refusal| if offers_any(jobs) { Ok(Vec::new()) } else { Err(refusal) })?;
    let mut cloths: Vec<&Cloth> = Vec::new();
    for job in jobs {
        for layer in &job.layers {
            let cloth = &job.cloths[layer.cloth];
            if !cloths.iter().any(|c| c.id == cloth.id) {
                cloths.push(cloth);
            }
        }
    }
    let seeds: Vec<u64> = (0..u64::from(seeds.max(1))).map(|i| settings.seed.wrapping_add(i)).collect();
    let runs = (1 + cloths.iter().map(|c| widths(c).len() - 1).sum::<usize>()) * seeds.len();
    let settings = Settings {
        stop: match settings.stop {
            Stop::After(all) => Stop::After(all / u32::try_from(runs).unwrap_or(u32::MAX)),
            effort @ Stop::Effort(_) => effort,
        },
        ..settings.clone()
    };
    let run = |jobs: &[Job]| -> Result<Vec<(Vec<ClothFigures>, f64)>, Refusal> {
        seeds
            .iter()
            .map(|&seed| {
                let plan = planner::plan(jobs, &Settings { seed, ..settings.clone() }, cancel, watcher)?.into_plan();
                let longest =
                    plan.stocks.iter().flat_map(|s| &s.placed).filter_map(|p| crate::geometry::ring_bounds(&p.outline)).map(|b| b.width());
                Ok((plan.cloths, longest.fold(0.0, f64::max)))
            })
            .collect()
    };
    let own = run(jobs);
    let mut out = Vec::new();
    for cloth in cloths {
        let mut rows: Vec<WidthFigures> = Vec::new();
        for width in widths(cloth) {
            let is_own = width == cloth.roll_width;
            let outcome = if is_own && own.is_ok() { own.clone() } else { run(&alone(jobs, &cloth.id, width)) };
            rows.push(row(cloth, width, is_own, spare, outcome));
        }
        if let (true, Err(refusal)) = (rows.iter().all(|r| r.used.is_none()), &own) {
            return Err(refusal.clone());
        }
        let key = |r: &WidthFigures| r.buy.as_ref().map(|b| b.cost.unwrap_or(b.length * r.width));
        let best = (0..rows.len())
            .filter(|&i| key(&rows[i]).is_some())
            .min_by(|&a, &b| key(&rows[a]).partial_cmp(&key(&rows[b])).unwrap_or(std::cmp::Ordering::Equal));
        if let Some(row) = best.and_then(|i| rows.get_mut(i)) {
            row.best = true;
        }
        out.push(ClothEstimate { cloth: cloth.id.clone(), widths: rows });
    }
    let cost = out.iter().map(|c| c.widths.iter().find(|w| w.best)?.buy.as_ref()?.cost).sum();
    Ok(Estimate { cloths: out, cost, currency: jobs.first().map_or_else(String::new, |j| j.currency.clone()), seeds })
}

fn offers_any(jobs: &[Job]) -> bool {
    jobs.iter()
        .flat_map(|j| &j.cloths)
        .any(|c| c.offers.iter().any(|o| o.width > c.roll_width) || (c.offers.is_empty() && c.roll_width < 1500.0))
}

/// The job's own width and those on offer, narrowest first.
fn widths(cloth: &Cloth) -> Vec<f64> {
    let offered: Vec<f64> = cloth.offers.iter().map(|o| o.width).collect();
    let usual = USUAL_WIDTHS.iter().copied().filter(|w| *w > 2.0 * cloth.selvedge);
    let mut all: Vec<f64> = if offered.is_empty() { usual.collect() } else { offered };
    all.push(cloth.roll_width);
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

fn row(cloth: &Cloth, width: f64, own: bool, spare: Spare, outcome: Result<Vec<(Vec<ClothFigures>, f64)>, Refusal>) -> WidthFigures {
    let mut row = WidthFigures { width, own, used: None, spare: 0.0, buy: None, yield_: 0.0, mass: None, best: false, why_not: None };
    let runs = match outcome {
        Ok(runs) => runs,
        Err(refusal) => {
            row.why_not = Some(reason(&refusal));
            return row;
        }
    };
    let mine: Vec<(&ClothFigures, f64)> =
        runs.iter().filter_map(|(all, longest)| Some((all.iter().find(|f| f.cloth == cloth.id)?, *longest))).collect();
    let (least, most) = mine.iter().fold((f64::INFINITY, 0.0_f64), |(a, b), (f, _)| (a.min(f.used_length), b.max(f.used_length)));
    if mine.is_empty() {
        return row;
    }
    row.used = Some([least, most]);
    row.yield_ = mine.iter().map(|(f, _)| f.yield_).fold(1.0, f64::min);
    row.spare = match spare {
        Spare::PerCent(p) => most * p / 100.0,
        Spare::LargestPiece => mine.iter().map(|m| m.1).fold(0.0, f64::max),
    };
    let bought = buy(cloth, Request { width, length: most + row.spare });
    row.mass = cloth.prepreg_mass().map(|m| m * bought.length * width / 1e6);
    row.buy = Some(bought);
    row
}

/// The first fault of a refusal, in a line.
fn reason(refusal: &Refusal) -> String {
    let (Refusal::Input(faults) | Refusal::NotPlaced(faults) | Refusal::NotVerified(faults)) = refusal;
    first(faults).map_or_else(String::new, |f| f.what.clone())
}

fn first(faults: &Faults) -> Option<&Fault> {
    faults.0.first()
}

/// The price of a m² of a cloth, if any is known.
fn square_metre(price: Price, width: f64) -> f64 {
    match price {
        Price::PerSquareMetre(p) => p,
        Price::PerMetre(p) => p / (width / 1000.0),
    }
}
