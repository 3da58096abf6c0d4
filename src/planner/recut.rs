//! Spoiled pieces are cut again while all the rest stays where it lies: cloth that is marked out on
//! the bench is not laid out anew. Each goes to the smallest offcut that takes it, be it of the
//! stock or what this plan leaves over, and only then on a roll.

use super::by_hand::{put, shape_of, used};
use super::lay::{offcut_plan, roll_plan, savings};
use super::refusal::Refusal;
use super::sources::{RollSource, Sources};
use super::takers::{laid, on_offcut};
use crate::cloth::Cloth;
use crate::fault::{Fault, Faults};
use crate::geometry::{Region, Ring, point, ring_bounds};
use crate::job::Job;
use crate::nest::{Extent, Pin, Placement, Shape, Stock};
use crate::plan::{self, ClothFigures, DrawnStock, Plan, PlanPiece, PlanStock, StockKind};
use crate::stock::{Offcut, Snapshot};
use crate::units::{LARGEST, snap};
use crate::verify::{self, Verified};

/// A kit that is cut in part.
pub struct CutSoFar<'a> {
    /// Its id: that of its first plan.
    pub kit: &'a str,
    /// Copies that are cut again, or that go elsewhere for a flaw: piece id and copy, from 1.
    pub spoiled: &'a [(String, u32)],
    /// A flaw that was found on a roll of the plan by now: the copies that lie on it are not cut,
    /// so that the cloth beside it is free.
    pub flaw: Option<(&'a str, &'a Ring)>,
    /// Whether a roll or offcut of the plan is cut to the end and no longer there as the plan has
    /// it.
    pub is_done: &'a dyn Fn(&str) -> bool,
}

/// The plan with spoiled copies cut from elsewhere. Rolls and offcuts that are cut to the end are
/// kept as cut before.
///
/// # Errors
/// A cloth that the job has no more, a copy that finds no place; the plan that comes out breaks a
/// rule.
pub fn recut(
    plan: &Plan,
    jobs: &[Job],
    stock: Option<&Snapshot>,
    so_far: &CutSoFar<'_>,
) -> Result<Verified, Refusal> {
    let mut jobs = jobs.to_vec();
    if stock.is_some() {
        jobs.iter_mut().flat_map(|j| &mut j.cloths).for_each(|cloth| as_planned(cloth, plan));
    }
    jobs.iter_mut().flat_map(|j| &mut j.cloths).for_each(|cloth| valued_as_planned(cloth, plan));
    let mut plan = plan.clone();
    if let Some(drawn) = &mut plan.drawn_from {
        drawn.kit = Some(so_far.kit.to_string());
        set_aside(&mut plan.stocks, &plan.id, drawn, so_far.is_done);
    }
    let mut faults = Faults::new();
    let mut cloths: Vec<String> = Vec::new();
    if let Some((id, ring)) = so_far.flaw {
        for stock in plan.stocks.iter_mut().filter(|s| s.id == id) {
            cloths.push(stock.cloth.clone());
            // Beyond what is used it is the roll's alone.
            let is_here = ring_bounds(ring).is_some_and(|b| b.min.x < stock.used_length);
            stock.flaws.extend(is_here.then(|| ring.clone()));
        }
    }
    for (piece, copy) in so_far.spoiled {
        let found = plan.pieces.iter().find(|p| p.piece == *piece).cloned();
        let lost = take_out(&mut plan.stocks, piece, *copy, so_far.flaw.is_none());
        let (Some(piece), true) = (found, lost) else {
            let what = said!("the plan has no piece {piece} with a copy {copy}");
            faults.push(Fault::new(what, "look at the plan as it is now"));
            continue;
        };
        let cloth = jobs.iter().flat_map(|j| &j.cloths).find(|c| c.id == piece.cloth);
        let Some(cloth) = cloth else {
            let what = said!("the job has no cloth {} any more", piece.cloth);
            faults.push(Fault::new(what, "plan the job again"));
            continue;
        };
        faults.keep(place(&mut plan, &piece, *copy, cloth, &jobs[0], stock));
        if !cloths.contains(&piece.cloth) {
            cloths.push(piece.cloth.clone());
        }
    }
    faults.into_result(()).map_err(Refusal::NotPlaced)?;
    let flaw = so_far.flaw.map(|(_, ring)| ring);
    let is_open: Vec<bool> = plan.stocks.iter().map(|s| !was_cut(&plan, s)).collect();
    let open = plan.stocks.iter_mut().zip(is_open).filter(|(_, is_open)| *is_open);
    open.for_each(|(stock, _)| shorten(stock, flaw));
    // A cloth with a stock set aside has other figures too.
    let aside = |s: &PlanStock| was_cut(&plan, s);
    cloths.extend(plan.stocks.iter().filter(|s| aside(s)).map(|s| s.cloth.clone()));
    for cloth in jobs.iter().flat_map(|j| &j.cloths).filter(|c| cloths.contains(&c.id)) {
        measure(&mut plan, cloth);
    }
    if let (Some(mut drawn), Some(stock)) = (plan.drawn_from.take(), stock) {
        let here: Vec<PlanStock> =
            plan.stocks.iter().filter(|s| !drawn.cut_before.contains(&s.id)).cloned().collect();
        let known: Vec<DrawnStock> = std::mem::take(&mut drawn.stocks);
        drawn.note(&here, stock);
        // What the stock does not have is as the plan knew it.
        let missing: Vec<DrawnStock> = known
            .into_iter()
            .filter(|k| here.iter().any(|h| h.id == k.stock))
            .filter(|k| !drawn.stocks.iter().any(|s| s.stock == k.stock))
            .collect();
        drawn.stocks.extend(missing);
        let mut seen = std::collections::BTreeSet::new();
        drawn.cautions.retain(|c| seen.insert(c.clone()));
        drawn.saved = jobs[0].cloths.iter().filter_map(|c| savings(&here, c)).collect();
        plan.drawn_from = Some(drawn);
    }
    super::mosaic::measure(&mut plan.mosaics, &plan.stocks);
    verify::verify(plan.sealed()).map_err(Refusal::NotVerified)
}

/// A cloth on rolls as wide as those of the plan, whose flaws are the stock's: one that the job knew
/// of may be cut off by now.
fn as_planned(cloth: &mut Cloth, plan: &Plan) {
    if let Some(figures) = plan.cloths.iter().find(|f| f.cloth == cloth.id) {
        cloth.roll_width = figures.roll_width;
        cloth.roll_length = None;
        cloth.flaws.clear();
    }
}

/// A cloth with the values that the plan was made with: the workshop's may have changed by now.
fn valued_as_planned(cloth: &mut Cloth, plan: &Plan) {
    let known = plan.materials.iter().find(|m| m.cloth == cloth.id && m.roll_width.is_some());
    if let Some(then) = known {
        cloth.roll_width = then.roll_width.unwrap_or(cloth.roll_width);
        cloth.selvedge = then.selvedge.unwrap_or(cloth.selvedge);
        cloth.areal_mass = then.areal_mass;
        cloth.resin_content = then.resin_content;
        cloth.price = then.price;
    }
}

/// Names what is cut to the end as cut by this plan; what it left over is in the stock by now.
fn set_aside(
    stocks: &mut [PlanStock],
    plan: &str,
    drawn: &mut plan::DrawnFrom,
    is_done: &dyn Fn(&str) -> bool,
) {
    let short: String = plan.chars().take(8).collect();
    for stock in stocks {
        if is_done(&stock.id) && !drawn.cut_before.contains(&stock.id) {
            drawn.stocks.retain(|s| s.stock != stock.id);
            stock.id = format!("{} cut by {short}", stock.id);
            stock.offcuts.clear();
            drawn.cut_before.push(stock.id.clone());
        }
    }
}

/// Takes a copy off its stock; if it is cut, its place is used cloth.
fn take_out(stocks: &mut [PlanStock], piece: &str, copy: u32, is_cut: bool) -> bool {
    for stock in stocks {
        if let Some(at) = stock.placed.iter().position(|p| p.piece == piece && p.copy == copy) {
            let place = stock.placed.remove(at).outline;
            stock.flaws.extend(is_cut.then_some(place));
            return true;
        }
    }
    false
}

fn was_cut(plan: &Plan, stock: &PlanStock) -> bool {
    plan.drawn_from.as_ref().is_some_and(|d| d.cut_before.contains(&stock.id))
}

/// Where a copy may be cut from.
enum Site<'s> {
    /// An offcut of the stock.
    Offcut(&'s Offcut),
    /// What a stock of the plan, by its index, leaves between its pieces.
    LeftOver(usize),
}

/// Finds a place for a copy and lays it there.
fn place(
    plan: &mut Plan,
    piece: &PlanPiece,
    copy: u32,
    cloth: &Cloth,
    job: &Job,
    stock: Option<&Snapshot>,
) -> Result<(), Faults> {
    let sources = stock.map_or_else(|| Sources::of_job(cloth), |s| Sources::of_stock(s, cloth));
    let shape = Shape { copies: 1, ..shape_of(piece) };
    let area = shape.region.area();
    let open = |s: &PlanStock| s.cloth == cloth.id && !was_cut(plan, s);
    let in_plan = |id: &str| plan.stocks.iter().any(|s| s.id == id);
    let mut sites: Vec<(f64, Site<'_>)> = Vec::new();
    let free = sources.offcuts.iter().filter(|o| !in_plan(o.id()));
    sites.extend(free.map(|o| (o.area(), Site::Offcut(o))));
    let left = plan.stocks.iter().enumerate().filter(|(_, s)| open(s));
    sites.extend(left.flat_map(|(i, s)| {
        plan::left_over(s, plan.rules.least_offcut_width)
            .offcuts
            .into_iter()
            .map(move |o| (o.area, Site::LeftOver(i)))
    }));
    sites.retain(|s| s.0 >= area);
    sites.sort_by(|a, b| a.0.total_cmp(&b.0));
    for (_, site) in sites {
        match site {
            Site::Offcut(offcut) => {
                if let Some(p) = on_offcut(&shape, offcut, plan.rules.gap) {
                    let new = put(&Placement { copy: copy - 1, ..p }, piece);
                    let first = plan.stocks.iter().position(|s| s.cloth == cloth.id);
                    let at = first.unwrap_or(plan.stocks.len());
                    plan.stocks.insert(at, offcut_plan(offcut, vec![new]));
                    return Ok(());
                }
            }
            Site::LeftOver(index) => {
                let on = &plan.stocks[index];
                let found = regions(on).into_iter().find_map(|region| {
                    laid(&shape, fixed(on, region), &pins(plan, on), plan.rules.gap)
                });
                if let Some(p) = found {
                    let new = put(&Placement { copy: copy - 1, ..p }, piece);
                    plan.stocks[index].placed.push(new);
                    return Ok(());
                }
            }
        }
    }
    // New cloth: on a roll that is being cut, beyond what is laid out on it; else on another.
    for index in 0..plan.stocks.len() {
        let on = &plan.stocks[index];
        let roll = sources.rolls.iter().find(|r| r.id == on.id);
        let (Some(roll), StockKind::Roll, true) = (roll, on.kind, open(on)) else { continue };
        if let Some(p) = beyond(&shape, on, roll, cloth, plan) {
            let new = put(&Placement { copy: copy - 1, ..p }, piece);
            lengthen(&mut plan.stocks[index], new, roll, plan.rules.bench_length);
            return Ok(());
        }
    }
    for roll in sources.rolls.iter().filter(|r| !in_plan(&r.id)) {
        let extent = Extent::Open {
            low: cloth.selvedge,
            high: cloth.roll_width - cloth.selvedge,
            segment_max: plan.rules.bench_length,
            length_max: roll.length,
        };
        let nest = Stock { name: roll.id.clone(), extent, keep_out: roll.flaws.clone() };
        if let Some(p) = laid(&shape, nest, &[], plan.rules.gap) {
            let placed = vec![put(&Placement { copy: copy - 1, ..p }, piece)];
            let used = used(&placed, &plan.pieces, plan.rules.bench_length)?;
            let stock = roll_plan(roll, &used, placed, cloth, job)?;
            plan.stocks.push(stock);
            return Ok(());
        }
    }
    let what = "no offcut and no roll takes it";
    Err(Fault::new(what, "add a roll or an offcut of the cloth to the stock")
        .on(format!("{}: piece {} ({})", cloth.id, piece.number, piece.piece))
        .into())
}

fn pins(plan: &Plan, on: &PlanStock) -> Vec<Pin> {
    let pin = |p: &plan::PlacedPiece| {
        let region = Region { outline: p.outline.clone(), holes: p.holes.clone() };
        let may_cross = plan.pieces.iter().any(|q| q.piece == p.piece && q.may_cross_bench);
        Pin { stock: 0, region, may_cross }
    };
    on.placed.iter().map(pin).collect()
}

fn fixed(on: &PlanStock, region: Region) -> Stock {
    let extent = Extent::Fixed { region };
    Stock { name: on.id.clone(), extent, keep_out: on.flaws.clone() }
}

/// What may be cut of a stock: an offcut, or a roll between its selvedges over each bench segment.
fn regions(on: &PlanStock) -> Vec<Region> {
    if on.kind == StockKind::Offcut {
        return vec![Region { outline: on.outline.clone(), holes: on.holes.clone() }];
    }
    let high = ring_bounds(&on.outline).map_or(0.0, |b| b.max.y) - on.selvedge;
    on.segments
        .iter()
        .map(|[from, to]| Region::solid(rectangle([*from, *to], [on.selvedge, high])))
        .collect()
}

fn rectangle([from, to]: [f64; 2], [low, high]: [f64; 2]) -> Ring {
    vec![point(from, low), point(to, low), point(to, high), point(from, high)]
}

/// A place on a roll beyond what is laid out on it.
fn beyond(
    shape: &Shape,
    on: &PlanStock,
    roll: &RollSource,
    cloth: &Cloth,
    plan: &Plan,
) -> Option<Placement> {
    let bench = plan.rules.bench_length.unwrap_or(LARGEST);
    // As much as the piece can take in any turn is enough, flaws passed by.
    let size = shape.region.bounds().map_or(0.0, |b| b.width().hypot(b.height()));
    let flaws = roll.flaws.iter().filter_map(|f| ring_bounds(f));
    let past = flaws.map(|b| b.max.x).fold(on.used_length, f64::max);
    let end = roll.length.unwrap_or(LARGEST).min(past + size + plan.rules.gap + 1.0);
    let from = snap(on.used_length + plan.rules.gap);
    let mut start = from;
    while start < end {
        let to = snap(end.min(start + bench.min(size.max(bench))));
        if to - start < 1.0 {
            break;
        }
        let band = [cloth.selvedge, cloth.roll_width - cloth.selvedge];
        let stock = Stock {
            name: roll.id.clone(),
            extent: Extent::Fixed { region: Region::solid(rectangle([start, to], band)) },
            keep_out: roll.flaws.clone(),
        };
        if let Some(p) = laid(shape, stock, &[], plan.rules.gap) {
            return Some(p);
        }
        start = snap(start + bench);
    }
    None
}

/// A roll with a copy laid beyond what was laid out on it.
fn lengthen(on: &mut PlanStock, new: plan::PlacedPiece, roll: &RollSource, bench: Option<f64>) {
    let before = on.used_length;
    let end = ring_bounds(&new.outline).map_or(before, |b| snap(b.max.x));
    let from = ring_bounds(&new.outline).map_or(before, |b| b.min.x);
    let wide = ring_bounds(&on.outline).map_or(0.0, |b| b.max.y);
    on.outline = rectangle([0.0, end], [0.0, wide]);
    on.used_length = end;
    let reached = |f: &&Ring| ring_bounds(f).is_some_and(|b| b.max.x > before && b.min.x < end);
    let known = on.flaws.clone();
    on.flaws.extend(roll.flaws.iter().filter(reached).filter(|f| !known.contains(f)).cloned());
    let fits = |s: &[f64; 2]| bench.is_none_or(|b| end - s[0] <= b);
    match on.segments.last_mut() {
        Some(last) if fits(last) => last[1] = end,
        _ => {
            // Segments follow each other, and none is longer than the bench.
            let mut at = before;
            while bench.is_some_and(|b| end - at > b) {
                let to = snap((at + bench.unwrap_or(LARGEST)).min(from));
                on.segments.push([at, to]);
                at = to;
            }
            on.segments.push([at, end]);
        }
    }
    on.placed.push(new);
}

/// A roll used as far as something lies on it or was cut out of it, if that is less than before.
fn shorten(on: &mut PlanStock, flaw: Option<&Ring>) {
    let cut = on.flaws.iter().filter(|f| Some(*f) != flaw);
    let rings = on.placed.iter().map(|p| &p.outline).chain(cut);
    let end = rings.filter_map(|r| ring_bounds(r)).map(|b| b.max.x).fold(0.0, f64::max);
    let end = snap(end);
    if on.kind != StockKind::Roll || end <= 0.0 || end >= on.used_length {
        return;
    }
    let wide = ring_bounds(&on.outline).map_or(0.0, |b| b.max.y);
    on.outline = rectangle([0.0, end], [0.0, wide]);
    on.used_length = end;
    on.segments.retain(|s| s[0] < end);
    if let Some(last) = on.segments.last_mut() {
        last[1] = end;
    }
    // What lies beyond is the roll's alone.
    on.flaws.retain(|f| ring_bounds(f).is_some_and(|b| b.min.x < end));
}

/// Left-overs and figures of a cloth, as they are then.
fn measure(plan: &mut Plan, cloth: &Cloth) {
    let before: Vec<bool> = plan.stocks.iter().map(|s| was_cut(plan, s)).collect();
    let least_width = plan.rules.least_offcut_width;
    let mut here: Vec<PlanStock> = Vec::new();
    let mut left: Vec<plan::LeftOver> = Vec::new();
    for (stock, before) in plan.stocks.iter_mut().zip(before) {
        if stock.cloth == cloth.id && !before {
            let over = plan::left_over(stock, least_width);
            stock.offcuts = over.offcuts.clone();
            here.push(stock.clone());
            left.push(over);
        }
    }
    let used: f64 = here.iter().filter(|s| s.kind == StockKind::Roll).map(|s| s.used_length).sum();
    for figures in plan.cloths.iter_mut().filter(|f| f.cloth == cloth.id) {
        let old = ClothFigures { ..figures.clone() };
        let least = (old.least_length.min(snap(used)), old.least_length_by);
        *figures = ClothFigures {
            history: old.history,
            ..plan::cloth_figures(cloth, &here, &left, least)
        };
    }
}
