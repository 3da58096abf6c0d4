//! A plan laid out anew by hand: one piece at a time, or the rest of a cloth around what is pinned.
//! Figures, left-overs and bench segments follow, and what comes out is a verified plan again.

use super::lay::{not_placed, offcut_plan, offcut_stock, roll_plan, savings};
use super::mosaic;
use super::refusal::Refusal;
use super::sources::{RollSource, Sources, on_rolls_at_hand};
use crate::cloth::{Cloth, Face};
use crate::fault::Said;
use crate::fault::{Fault, Faults};
use crate::geometry::{Motion, Region, point, ring_bounds};
use crate::job::Job;
use crate::live::{Ground, Layout, Lying};
use crate::nest::{self, Extent, Judge, Neighbour, Params, Pin, Placement};
use crate::nest::{Pose, Problem, Shape, Stock};
use crate::plan::{self, PlacedPiece, Plan, PlanPiece, PlanStock, StockKind};
use crate::run::{Phase, Run};
use crate::stock::{Offcut, Snapshot};
use crate::units::{LARGEST, micrometres, show_mm, snap};
use crate::verify::{self, Verified};
use serde::{Deserialize, Serialize};
use std::sync::Arc;

/// A copy of a piece where a person wants it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Lay {
    /// Piece id.
    pub piece: String,
    /// Which copy, from 1.
    pub copy: u32,
    /// Id of the roll or offcut.
    pub stock: String,
    /// Degrees anticlockwise.
    pub turn: f64,
    /// Which face lies up.
    pub face: Face,
    /// mm.
    pub x: f64,
    /// mm.
    pub y: f64,
}

/// What a piece meets where a person wants it.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub enum Met {
    /// A piece, by its number and copy.
    Piece(String, u32),
    /// A flaw.
    Flaw,
    /// An end, a side or a hole of the cloth.
    Edge,
}

/// How a piece would lie.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct Judged {
    /// What it overlaps, and by about how much it would have to move to be clear of it, mm.
    pub overlaps: Vec<(Met, f64)>,
    /// What it is nearer to than the gap, and the same.
    pub touches: Vec<(Met, f64)>,
}

impl Judged {
    /// True if it may lie there.
    pub fn is_free(&self) -> bool {
        self.overlaps.is_empty() && self.touches.is_empty()
    }
}

/// A roll or offcut on the table.
struct Site {
    /// As the plan has it, or would have it.
    plan: PlanStock,
    nest: Stock,
    roll: Option<RollSource>,
}

/// The pieces of a cloth, and all they may lie on.
struct OfCloth {
    cloth: Cloth,
    /// Indices into the plan's pieces.
    pieces: Vec<usize>,
    sites: Vec<Site>,
    judge: Judge,
}

/// A plan on the cutting table.
pub struct CutTable {
    plan: Arc<Verified>,
    jobs: Vec<Job>,
    stock: Option<Arc<Snapshot>>,
    cloths: Vec<OfCloth>,
}

fn anew(what: Said) -> Fault {
    Fault::new(what, "plan the job again")
}

impl CutTable {
    /// A plan of these jobs, cut from the stock if there is one.
    ///
    /// # Errors
    /// A cloth or roll of the plan that is no longer as it was.
    pub fn new(
        plan: Arc<Verified>,
        jobs: Vec<Job>,
        stock: Option<Arc<Snapshot>>,
    ) -> Result<CutTable, Faults> {
        let jobs =
            stock.as_deref().map_or_else(|| Ok(jobs.clone()), |s| on_rolls_at_hand(&jobs, s))?;
        let mut table = CutTable { plan, jobs, stock, cloths: Vec::new() };
        let mut faults = Faults::new();
        let names: Vec<String> = table.plan.plan().cloths.iter().map(|c| c.cloth.clone()).collect();
        for name in names {
            let of = table.of_cloth(&name);
            table.cloths.extend(faults.keep(of.map_err(Faults::from)));
        }
        faults.into_result(table)
    }

    /// The plan that lies on it.
    pub fn plan(&self) -> &Arc<Verified> {
        &self.plan
    }

    fn of_cloth(&self, name: &str) -> Result<OfCloth, Fault> {
        let plan = self.plan.plan();
        let cloth = self.jobs.iter().flat_map(|j| &j.cloths).find(|c| c.id == name);
        let cloth = cloth.ok_or_else(|| anew(said!("the job has no cloth {name} any more")))?;
        let sources = self
            .stock
            .as_deref()
            .map_or_else(|| Sources::of_job(cloth), |s| Sources::of_stock(s, cloth));
        let pieces: Vec<usize> =
            (0..plan.pieces.len()).filter(|&i| plan.pieces[i].cloth == name).collect();
        let mut sites = Vec::new();
        for stock in plan.stocks.iter().filter(|s| s.cloth == name && !was_cut(plan, s)) {
            let site = match stock.kind {
                StockKind::Offcut => {
                    let region =
                        Region { outline: stock.outline.clone(), holes: stock.holes.clone() };
                    let extent = Extent::Fixed { region };
                    let keep_out = stock.flaws.clone();
                    let nest = Stock { name: stock.id.clone(), extent, keep_out };
                    Site { plan: stock.clone(), nest, roll: None }
                }
                StockKind::Roll => {
                    let wide = ring_bounds(&stock.outline).map_or(0.0, |b| b.height());
                    let roll = sources.rolls.iter().find(|r| r.id == stock.id);
                    let roll = roll.filter(|_| (wide - cloth.roll_width).abs() < 1e-6);
                    let roll = roll.ok_or_else(|| {
                        anew(said!("roll {} is no longer there as it was planned", stock.id))
                    })?;
                    self.roll(stock.clone(), roll, cloth)
                }
            };
            sites.push(site);
        }
        let in_use = |id: &str| plan.stocks.iter().any(|s| s.id == id);
        let free = sources.offcuts.iter().filter(|o| !in_use(o.id()));
        let free = free.map(|o: &&Offcut| Site {
            plan: offcut_plan(o, Vec::new()),
            nest: offcut_stock(o),
            roll: None,
        });
        // Offcuts come before rolls, as in every plan.
        let rolls = sites.iter().position(|s: &Site| s.roll.is_some()).unwrap_or(sites.len());
        sites.splice(rolls..rolls, free);
        if !sites.iter().any(|s| s.roll.is_some())
            && let Some(roll) = sources.rolls.iter().find(|r| !in_use(&r.id))
        {
            let used = nest::UsedStock { stock: 0, used_length: 0.0, segments: Vec::new() };
            let empty = roll_plan(roll, &used, Vec::new(), cloth, &self.jobs[0]);
            sites.extend(empty.ok().map(|stock| self.roll(stock, roll, cloth)));
        }
        let shapes: Vec<Shape> = pieces.iter().map(|&i| shape_of(&plan.pieces[i])).collect();
        let stocks: Vec<Stock> = sites.iter().map(|s| s.nest.clone()).collect();
        let judge = Judge::new(&shapes, &stocks, plan.rules.gap);
        let mut of = OfCloth { cloth: cloth.clone(), pieces, sites, judge };
        let lying: Vec<Placement> = of.placements(plan);
        lying.iter().for_each(|p| of.judge.put(p));
        Ok(of)
    }

    fn roll(&self, stock: PlanStock, roll: &RollSource, cloth: &Cloth) -> Site {
        let extent = Extent::Open {
            low: cloth.selvedge,
            high: cloth.roll_width - cloth.selvedge,
            segment_max: self.plan.plan().rules.bench_length,
            length_max: roll.length,
        };
        let nest = Stock { name: roll.id.clone(), extent, keep_out: roll.flaws.clone() };
        Site { plan: stock, nest, roll: Some(roll.clone()) }
    }

    /// The cloths of the plan.
    pub fn cloths(&self) -> impl Iterator<Item = &str> {
        self.cloths.iter().map(|c| c.cloth.id.as_str())
    }

    /// What a cloth's pieces may lie on and where they lie now, to be drawn: pieces as
    /// [`CutTable::pieces`] has them, with offcuts that nothing lies on yet.
    pub fn drawn(&self, cloth: &str) -> Option<(Ground, Layout)> {
        let of = self.cloths.iter().find(|c| c.cloth.id == cloth)?;
        let stocks: Vec<&PlanStock> = of.sites.iter().map(|s| &s.plan).collect();
        let figures = self.plan.plan().cloths.iter().find(|c| c.cloth == cloth);
        let least = figures.map_or(0.0, |f| f.least_length);
        let (mut ground, layout) = plan::drawn(cloth, &self.pieces(cloth), &stocks, least);
        for (drawn, site) in ground.stocks.iter_mut().zip(&of.sites) {
            drawn.flaws = site.nest.keep_out.iter().map(plan::line).collect();
            if let Some(roll) = &site.roll {
                drawn.length = roll.length;
            }
        }
        Some((ground, layout))
    }

    /// The pieces of a cloth.
    pub fn pieces(&self, cloth: &str) -> Vec<&PlanPiece> {
        self.plan.plan().pieces.iter().filter(|p| p.cloth == cloth).collect()
    }

    /// Judges a piece at a place.
    ///
    /// # Errors
    /// There is no such piece or stock, it may not lie that way, or the place is none.
    pub fn judge(&mut self, lay: &Lay) -> Result<Judged, Faults> {
        let (k, placement) = self.found(lay)?;
        let plan = Arc::clone(&self.plan);
        let of = &mut self.cloths[k];
        let verdict = of.judge.judge(&placement).ok_or_else(nowhere)?;
        let said = |who: &Neighbour| match who {
            Neighbour::Shape(shape, copy) => {
                Met::Piece(plan.plan().pieces[of.pieces[*shape]].number.clone(), copy + 1)
            }
            Neighbour::KeepOut(_) => Met::Flaw,
            Neighbour::Edge => Met::Edge,
        };
        let list = |met: &[(Neighbour, f64)]| met.iter().map(|(w, by)| (said(w), *by)).collect();
        Ok(Judged { overlaps: list(&verdict.overlaps), touches: list(&verdict.touches) })
    }

    /// The free place nearest to where a piece is held, in that turn; the place itself if it is
    /// free. `None` if there is none on that cloth.
    ///
    /// # Errors
    /// As [`CutTable::judge`].
    pub fn nearest(&mut self, lay: &Lay) -> Result<Option<[f64; 2]>, Faults> {
        let (k, placement) = self.found(lay)?;
        Ok(self.cloths[k].judge.nearest(&placement).map(|(x, y)| [x, y]))
    }

    /// A wish in the judge's terms: which cloth, and the placement there.
    fn found(&self, lay: &Lay) -> Result<(usize, Placement), Faults> {
        let plan = self.plan.plan();
        let unknown = || {
            let what = said!("there is no piece {} with a copy {}", lay.piece, lay.copy);
            Fault::new(what, "look at the plan as it is now")
        };
        let of = |of: &OfCloth| of.pieces.iter().position(|&i| plan.pieces[i].piece == lay.piece);
        let found = self.cloths.iter().enumerate().find_map(|(k, c)| Some((k, of(c)?)));
        let (k, shape) = found.ok_or_else(unknown)?;
        let cloth = &self.cloths[k];
        let piece = &plan.pieces[cloth.pieces[shape]];
        // What was cut by an earlier plan of the kit is on no site.
        let lies = cloth.sites.iter().flat_map(|s| &s.plan.placed);
        if !lies.into_iter().any(|p| (&p.piece, p.copy) == (&lay.piece, lay.copy)) {
            return Err(unknown().into());
        }
        let stock = cloth.sites.iter().position(|s| s.plan.id == lay.stock).ok_or_else(|| {
            let what = said!("piece {} cannot be cut from {}", piece.number, lay.stock);
            Fault::new(what, said!("take a roll or an offcut of cloth {}", piece.cloth))
        })?;
        let near = |a: f64, b: f64| {
            let d = (a - b).rem_euclid(360.0);
            d.min(360.0 - d) <= piece.tolerance + 1e-9
        };
        if !piece.permitted.iter().any(|p| p.face == lay.face && near(p.turn, lay.turn)) {
            let what = said!("piece {} may not lie turned by {}°", piece.number, lay.turn);
            return Err(Fault::new(what, Said::came(piece.permitted_by.clone())).into());
        }
        if !(lay.x.abs() <= LARGEST && lay.y.abs() <= LARGEST) {
            return Err(nowhere().into());
        }
        let (copy, flip) = (lay.copy - 1, lay.face == Face::Down);
        let (x, y) = (snap(lay.x), snap(lay.y));
        Ok((k, Placement { shape, copy, stock, turn: lay.turn, flip, x, y }))
    }

    /// The plan with a piece laid somewhere else.
    ///
    /// # Errors
    /// It may not lie there, with what it meets; the plan that comes out breaks a rule.
    pub fn lay(&mut self, lay: &Lay) -> Result<Verified, Faults> {
        let judged = self.judge(lay)?;
        let (k, placement) = self.found(lay)?;
        let of = &self.cloths[k];
        let piece = &self.plan.plan().pieces[of.pieces[placement.shape]];
        let mut all = of.sites.iter().flat_map(|s| &s.plan.placed);
        if all.any(|p| (&p.piece, p.copy, p.pinned) == (&lay.piece, lay.copy, true)) {
            let what = said!("piece {} is pinned", piece.number);
            return Err(Fault::new(what, "take its pin out first").into());
        }
        if !judged.is_free() {
            let met = judged.overlaps.iter().chain(&judged.touches);
            let faults = met.map(|(met, by)| {
                let what = match met {
                    Met::Piece(number, _) => said!("piece {number}"),
                    Met::Flaw => "a flaw".into(),
                    Met::Edge => "the edge of the cloth".into(),
                };
                let by = show_mm((by * 10.0).round() / 10.0);
                let what = said!("it does not keep clear of {what}: {by} are missing");
                Fault::new(what, "lay it elsewhere").on(format!("piece {}", piece.number))
            });
            return Err(Faults(faults.collect()));
        }
        let mut placed: Vec<Vec<PlacedPiece>> =
            of.sites.iter().map(|s| s.plan.placed.clone()).collect();
        let new = put(&placement, piece);
        let is_it = |p: &PlacedPiece| (&p.piece, p.copy) == (&lay.piece, lay.copy);
        for (site, list) in placed.iter_mut().enumerate() {
            let Some(at) = list.iter().position(is_it) else { continue };
            if site == placement.stock {
                list[at] = new.clone();
            } else {
                list.remove(at);
            }
        }
        if !placed[placement.stock].iter().any(is_it) {
            placed[placement.stock].push(new);
        }
        self.relaid(k, placed, false, &Run::default())
    }

    /// The plan with a piece pinned, or free again.
    ///
    /// # Errors
    /// There is no such piece.
    pub fn pin(&self, piece: &str, copy: u32, pinned: bool) -> Result<Verified, Faults> {
        let mut plan = self.plan.plan().clone();
        let mut all = plan.stocks.iter_mut().flat_map(|s| &mut s.placed);
        let placed = all.find(|p| p.piece == piece && p.copy == copy).ok_or_else(|| {
            let what = said!("there is no piece {piece} with a copy {copy}");
            Fault::new(what, "look at the plan as it is now")
        })?;
        placed.pinned = pinned;
        verify::verify(plan.sealed())
    }

    /// The plan with other places for the pieces of a cloth, by site; `anew` if all of them were
    /// held against the stock as it is now.
    fn relaid(
        &self,
        k: usize,
        placed: Vec<Vec<PlacedPiece>>,
        anew: bool,
        run: &Run<'_>,
    ) -> Result<Verified, Faults> {
        let (of, mut plan) = (&self.cloths[k], self.plan.plan().clone());
        let mut stocks = Vec::new();
        for (site, placed) in of.sites.iter().zip(placed).filter(|(_, p)| !p.is_empty()) {
            let stock = match &site.roll {
                None => PlanStock { placed, ..site.plan.clone() },
                Some(roll) => {
                    let used = used(&placed, &plan.pieces, plan.rules.bench_length)?;
                    roll_plan(roll, &used, placed, &of.cloth, &self.jobs[0])?
                }
            };
            stocks.push(stock);
        }
        let left: Vec<plan::LeftOver> =
            stocks.iter().map(|s| plan::left_over(s, plan.rules.least_offcut_width)).collect();
        for (stock, left) in stocks.iter_mut().zip(&left) {
            stock.offcuts = left.offcuts.clone();
        }
        for figures in plan.cloths.iter_mut().filter(|f| f.cloth == of.cloth.id) {
            let least = of.least(&plan.pieces, &stocks, plan.rules.gap).unwrap_or_else(|| {
                let least = figures.least_length;
                (least, figures.least_length_by.clone())
            });
            *figures = plan::cloth_figures(&of.cloth, &stocks, &left, least);
        }
        let first = plan.stocks.iter().position(|s| s.cloth == of.cloth.id);
        let cut: Vec<bool> = plan.stocks.iter().map(|s| was_cut(&plan, s)).collect();
        let mut cut = cut.into_iter();
        plan.stocks.retain(|s| cut.next().unwrap_or(false) || s.cloth != of.cloth.id);
        let first = first.unwrap_or(plan.stocks.len()).min(plan.stocks.len());
        plan.stocks.splice(first..first, stocks);
        self.note_stock(&mut plan, anew.then_some(of.cloth.id.as_str()));
        mosaic::measure(&mut plan.mosaics, &plan.stocks);
        verify::verify_in(plan.sealed(), run)
    }

    /// What the plan says of the stock it is cut from; what is cut from the cloth that is laid out
    /// anew is as the stock has it now.
    fn note_stock(&self, plan: &mut Plan, anew: Option<&str>) {
        let Some(mut drawn) = plan.drawn_from.take() else { return };
        let old = |id: &str| drawn.cut_before.iter().any(|c| c == id);
        let here: Vec<PlanStock> = plan.stocks.iter().filter(|s| !old(&s.id)).cloned().collect();
        let stays = |h: &PlanStock| anew.is_none_or(|cloth| cloth != h.cloth);
        drawn.stocks.retain(|s| here.iter().any(|h| h.id == s.stock && stays(h)));
        let new: Vec<PlanStock> = here
            .iter()
            .filter(|h| !drawn.stocks.iter().any(|s| s.stock == h.id))
            .cloned()
            .collect();
        if let Some(stock) = &self.stock {
            drawn.note(&new, stock);
            let mut seen = std::collections::BTreeSet::new();
            drawn.cautions.retain(|c| seen.insert(c.clone()));
        }
        drawn.saved = self.cloths.iter().filter_map(|of| savings(&here, &of.cloth)).collect();
        plan.drawn_from = Some(drawn);
    }

    /// The plan with the pieces of a cloth nested anew around those that are pinned. Patches of a
    /// mosaic stay where they lie, and so does what lies on rolls before the last, unless it lies
    /// on a flaw there.
    ///
    /// # Errors
    /// There is no such cloth, some piece finds no place, or the run was stopped twice.
    pub fn around(&mut self, cloth: &str, run: &Run<'_>) -> Result<Verified, Refusal> {
        let plan = Arc::clone(&self.plan);
        let plan = plan.plan();
        let k = self.cloths.iter().position(|c| c.cloth.id == cloth).ok_or_else(|| {
            let what = said!("nothing is cut from cloth {cloth}");
            Refusal::Input(Fault::new(what, "look at the plan as it is now").into())
        })?;
        let of = &mut self.cloths[k];
        let last = of.sites.iter().rposition(|s| s.roll.is_some());
        let is_full = |site: usize, s: &Site| s.roll.is_some() && Some(site) != last;
        let lying = of.placements(plan);
        let mut fixed: Vec<bool> = Vec::new();
        for p in &lying {
            let piece = &plan.pieces[of.pieces[p.shape]];
            let pinned = of.sites[p.stock]
                .plan
                .placed
                .iter()
                .any(|q| q.piece == piece.piece && q.copy == p.copy + 1 && q.pinned);
            let stays = is_full(p.stock, &of.sites[p.stock]) && {
                let verdict = of.judge.judge(p);
                verdict
                    .is_some_and(|v| v.overlaps.iter().all(|o| matches!(o.0, Neighbour::Shape(..))))
            };
            fixed.push(pinned || piece.patch.is_some() || stays);
        }
        // Stocks of the search, as indices of sites: those with something on them, and the last
        // roll.
        let taken = |site: usize| lying.iter().any(|p| p.stock == site);
        let open: Vec<usize> = (0..of.sites.len())
            .filter(|&s| !is_full(s, &of.sites[s]) && (taken(s) || Some(s) == last))
            .collect();
        let in_search = |site: usize| open.iter().position(|&s| s == site);
        let mut copies: Vec<Vec<u32>> = vec![Vec::new(); of.pieces.len()];
        for (p, _) in lying.iter().zip(&fixed).filter(|(_, fixed)| !**fixed) {
            copies[p.shape].push(p.copy);
        }
        let which: Vec<usize> = (0..copies.len()).filter(|&i| !copies[i].is_empty()).collect();
        let shape = |i: &usize| {
            let shape = shape_of(&plan.pieces[of.pieces[*i]]);
            Shape { copies: copies[*i].len() as u32, ..shape }
        };
        let region = |p: &Placement| {
            let piece = &plan.pieces[of.pieces[p.shape]];
            let region = Region { outline: piece.outline.clone(), holes: piece.holes.clone() };
            Motion::new(p.turn, p.flip, point(p.x, p.y)).region(&region)
        };
        let pins = lying.iter().zip(&fixed).filter(|(_, fixed)| **fixed).filter_map(|(p, _)| {
            let may_cross = plan.pieces[of.pieces[p.shape]].may_cross_bench;
            Some(Pin { stock: in_search(p.stock)?, region: region(p), may_cross })
        });
        let start = lying.iter().zip(&fixed).filter(|(_, fixed)| !**fixed).filter_map(|(p, _)| {
            let shape = which.iter().position(|&i| i == p.shape)?;
            let copy = copies[p.shape].iter().position(|&c| c == p.copy)? as u32;
            Some(Placement { shape, copy, stock: in_search(p.stock)?, ..p.clone() })
        });
        let stocks: Vec<Stock> = open.iter().map(|&s| of.sites[s].nest.clone()).collect();
        let problem = Problem::new(which.iter().map(shape).collect(), stocks, plan.rules.gap)
            .and_then(|p| p.with_pins(pins.collect()))
            .map_err(Refusal::Input)?
            .with_start(start.collect());
        // Back in the terms of the sites.
        let named = |shape: usize, copy: u32| {
            let piece = which[shape];
            (piece, copies[piece].get(copy as usize).copied().unwrap_or(copy))
        };
        let still: Vec<Lying> =
            lying.iter().zip(&fixed).filter(|(_, f)| **f).map(|(p, _)| lies(p)).collect();
        let drawn_on = |layout: &Layout| {
            let moved = layout.lying.iter().map(|l| {
                let (piece, copy) = named(l.piece, l.copy);
                Lying { piece, copy, stock: open[l.stock], ..*l }
            });
            Layout {
                lying: still.iter().copied().chain(moved).collect(),
                ends: layout.ends.iter().map(|e| (open[e.0], e.1)).collect(),
                left: Vec::new(),
            }
        };
        let relay = run.relay(&drawn_on);
        let part = run.about(cloth, (0.0, 1.0)).with_observer(&relay);
        let outcome = nest::solve(&problem, &Params::default(), &part);
        run.check(Phase::FirstLayout).map_err(Refusal::Stopped)?;
        if !outcome.unplaced.is_empty() {
            let named = |shape: usize| {
                let piece = &plan.pieces[of.pieces[which[shape]]];
                (piece.number.as_str(), piece.piece.as_str(), piece.copies)
            };
            return Err(Refusal::NotPlaced(not_placed(&outcome, &named, cloth)));
        }
        let mut placed: Vec<Vec<PlacedPiece>> = of
            .sites
            .iter()
            .enumerate()
            .map(|(site, s)| {
                let stays = |p: &&PlacedPiece| {
                    lying.iter().zip(&fixed).any(|(q, fixed)| {
                        *fixed
                            && q.stock == site
                            && plan.pieces[of.pieces[q.shape]].piece == p.piece
                            && q.copy + 1 == p.copy
                    })
                };
                s.plan.placed.iter().filter(stays).cloned().collect()
            })
            .collect();
        for p in &outcome.placements {
            let (shape, copy) = named(p.shape, p.copy);
            let placement = Placement { shape, copy, ..p.clone() };
            let site = open[outcome.stocks[p.stock].stock];
            placed[site].push(put(&placement, &plan.pieces[of.pieces[shape]]));
        }
        let made = self.relaid(k, placed, true, run);
        run.check(Phase::Verifying).map_err(Refusal::Stopped)?;
        made.map_err(Refusal::NotVerified)
    }
}

impl OfCloth {
    /// The length that no layout of what lies on these stocks can go under, and how it was got.
    fn least(&self, pieces: &[PlanPiece], stocks: &[PlanStock], gap: f64) -> Option<(f64, String)> {
        let shapes = self.pieces.iter().filter_map(|&i| {
            let lies = |p: &&PlacedPiece| p.piece == pieces[i].piece;
            let copies = stocks.iter().flat_map(|s| &s.placed).filter(lies).count() as u32;
            (copies > 0).then(|| Shape { copies, ..shape_of(&pieces[i]) })
        });
        let taken = |s: &&Site| stocks.iter().any(|t| t.id == s.plan.id);
        let (rolls, offcuts): (Vec<&Site>, Vec<&Site>) =
            self.sites.iter().filter(taken).partition(|s| s.roll.is_some());
        // Several rolls are as good as one, but for the gaps where one goes on on the next.
        let ends = stocks.iter().filter(|s| s.kind == StockKind::Roll).count().saturating_sub(1);
        let all = offcuts.into_iter().chain(rolls.into_iter().take(1)).map(|s| s.nest.clone());
        let problem = Problem::new(shapes.collect(), all.collect(), gap).ok()?;
        let (least, by) = nest::least_length(&problem);
        let used: f64 =
            stocks.iter().filter(|s| s.kind == StockKind::Roll).map(|s| s.used_length).sum();
        Some(((least - gap * ends as f64).max(0.0).min(used), by))
    }

    /// Where everything lies, stocks counted as sites.
    fn placements(&self, plan: &Plan) -> Vec<Placement> {
        let mut out = Vec::new();
        for (stock, site) in self.sites.iter().enumerate() {
            for p in &site.plan.placed {
                let shape = self.pieces.iter().position(|&i| plan.pieces[i].piece == p.piece);
                out.extend(shape.map(|shape| Placement {
                    shape,
                    copy: p.copy.saturating_sub(1),
                    stock,
                    turn: p.turn,
                    flip: p.face == Face::Down,
                    x: p.x,
                    y: p.y,
                }));
            }
        }
        out
    }
}

fn nowhere() -> Fault {
    Fault::new("that is no place on the cloth", "lay it within 100 m of the roll's free end")
}

/// True of a stock that an earlier plan of the kit was cut from.
fn was_cut(plan: &Plan, stock: &PlanStock) -> bool {
    plan.drawn_from.as_ref().is_some_and(|d| d.cut_before.contains(&stock.id))
}

pub(super) fn shape_of(piece: &PlanPiece) -> Shape {
    let pose = |p: &crate::cloth::Permitted| Pose { turn: p.turn, flip: p.face == Face::Down };
    Shape {
        name: piece.piece.clone(),
        region: Region { outline: piece.outline.clone(), holes: piece.holes.clone() },
        poses: piece.permitted.iter().map(pose).collect(),
        tolerance: piece.tolerance,
        copies: piece.copies,
        may_cross: piece.may_cross_bench,
    }
}

fn lies(p: &Placement) -> Lying {
    let (piece, copy, stock) = (p.shape, p.copy, p.stock);
    Lying { piece, copy, stock, turn: p.turn, down: p.flip, x: p.x, y: p.y }
}

/// A piece where it is put.
pub(super) fn put(p: &Placement, piece: &PlanPiece) -> PlacedPiece {
    let region = Region { outline: piece.outline.clone(), holes: piece.holes.clone() };
    let Region { outline, holes } = Motion::new(p.turn, p.flip, point(p.x, p.y)).region(&region);
    PlacedPiece {
        piece: piece.piece.clone(),
        copy: p.copy + 1,
        turn: p.turn,
        face: if p.flip { Face::Down } else { Face::Up },
        x: snap(p.x),
        y: snap(p.y),
        outline,
        holes,
        pinned: false,
    }
}

/// The length that pieces use of a roll, and its bench segments: each as long as it can be.
pub(super) fn used(
    placed: &[PlacedPiece],
    pieces: &[PlanPiece],
    bench: Option<f64>,
) -> Result<nest::UsedStock, Fault> {
    let spans: Vec<(i64, i64, bool)> = placed
        .iter()
        .filter_map(|p| {
            let b = ring_bounds(&p.outline)?;
            let crosses = pieces.iter().any(|q| q.piece == p.piece && q.may_cross_bench);
            Some((micrometres(b.min.x), micrometres(b.max.x), crosses))
        })
        .collect();
    let mm = |v: i64| snap(v as f64 / 1000.0);
    let end = spans.iter().map(|s| s.1).max().unwrap_or(0);
    let bench = bench.map_or(i64::MAX, |b| micrometres(b).max(1));
    let (mut segments, mut from) = (Vec::new(), 0);
    while end - from > bench {
        let mut to = from + bench;
        while let Some(s) = spans.iter().find(|s| !s.2 && s.0 < to && to < s.1) {
            to = s.0;
        }
        if to <= from {
            let what = said!(
                "the bench is {} long, and pieces lie so that none of its segments can end after {}",
                show_mm(mm(bench)),
                show_mm(mm(from))
            );
            return Err(Fault::new(what, "lay them so that a straight cut across goes through"));
        }
        segments.push([mm(from), mm(to)]);
        from = to;
    }
    segments.push([mm(from), mm(end)]);
    Ok(nest::UsedStock { stock: 0, used_length: mm(end), segments })
}
