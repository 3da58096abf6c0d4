//! How much to buy: the planner's own layouts on every roll width on offer, with spare, steps,
//! least lengths and price breaks.

mod buy;
mod figures;
mod rough;
mod waste;

pub use buy::{Buy, Request, Spare, buy};
pub use figures::{ClothEstimate, Estimate, USUAL_WIDTHS, WidthFigures};
pub use rough::{RoughPart, plain_cloth, rough};
pub use waste::Waste;

use crate::cloth::Cloth;
use crate::fault::{Faults, Place};
use crate::geometry::{ring_area, ring_bounds};
use crate::job::Job;
use crate::laminate::finishes;
use crate::plan::{Plan, StockKind};
use crate::planner::{self, Refusal};
use crate::run::Run;
use crate::stock::{Age, Roll, RollFacts, Snapshot};
use figures::{empty_row, mark_best, priced, spare_in_words, summed, widths};

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
