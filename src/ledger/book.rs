//! Booking: what was cut of a plan leaves the stock, what it leaves over comes in.

use super::moment::Moment;
use super::open::Ledger;
use super::record::{Kept, PieceRecord, PieceState, PlanRecord, Record, piece_id};
use super::rows::get;
use super::trouble::{Trouble, trouble};
use super::write::{Change, Stop};
use crate::cloth::Face;
use crate::fault::{Fault, Faults};
use crate::geometry::boolean::intersection;
use crate::geometry::{Region, Ring, point, ring_bounds};
use crate::plan::{PlacedPiece, Plan, PlanStock, StockKind, at_origin};
use crate::stock::{Offcut, OffcutFacts, Roll, RollFacts, can_be_flaw};
use crate::units::{LARGEST, quoted, show_metres, snap};
use crate::verify::Verified;
use rusqlite::Connection;

/// What a booking did.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Booked {
    /// Copies of pieces that are now cut.
    pub pieces: usize,
    /// Rolls shortened: name, by how much, what is left if it is known, mm.
    pub shortened: Vec<(String, f64, Option<f64>)>,
    /// Offcuts used up.
    pub used_up: Vec<String>,
    /// Rolls and offcuts cut in part: they stay, with the places of the cut pieces marked.
    pub cut_in_part: Vec<String>,
    /// Offcuts that came in.
    pub added: Vec<OffcutFacts>,
    /// Those of them of which only the largest rectangle came in: an older plan's left-over touched
    /// itself.
    pub cut_down: Vec<String>,
}

impl Ledger {
    /// Books pieces of a plan as cut; all that are not yet, if none is named. `pieces` are piece
    /// ids or numbers as the sheets show them.
    ///
    /// A roll or offcut of which every piece is cut is done with: a roll loses the used length, an
    /// offcut goes, and what is left over comes in as offcuts. Until then the places of its cut
    /// pieces are marked on it.
    ///
    /// # Errors
    /// A plan that was not made from this ledger; stock that has changed since; pieces that are
    /// unknown or cut already. Then nothing is booked.
    pub fn book(
        &mut self,
        plan: &Verified,
        pieces: &[String],
        now: &Moment,
    ) -> Result<Booked, Trouble> {
        let plan = plan.plan();
        let ledger: String = self.ask("SELECT value FROM about WHERE name = 'ledger'")?;
        of_this_ledger(plan, &ledger)?;
        let (id, jobs) = (short(&plan.id), plan.jobs.join(", "));
        let what = if pieces.is_empty() {
            said!("cut plan {id} ({jobs})")
        } else {
            said!("cut {} of plan {id} ({jobs})", pieces.join(", "))
        };
        self.change(now, &what, |c| {
            book(c, plan, chosen(plan, pieces, false)?, pieces.is_empty(), now)
        })
    }

    /// Whether a plan was made from this ledger.
    ///
    /// # Errors
    /// SQLite's own.
    pub fn is_of(&self, plan: &Plan) -> Result<bool, Trouble> {
        let ledger: String = self.ask("SELECT value FROM about WHERE name = 'ledger'")?;
        Ok(of_this_ledger(plan, &ledger).is_ok())
    }

    /// The rolls and offcuts of a plan that are cut to the end.
    ///
    /// # Errors
    /// SQLite's own.
    pub fn finished(&self, plan: &Plan) -> Result<Vec<String>, Trouble> {
        let record = get(&self.db, &format!("plan {}", plan.id));
        Ok(match record.map_err(|e| trouble(&self.file, &e))? {
            Some(Record::Plan(p)) => p.finished,
            _ => Vec::new(),
        })
    }

    /// Why rolls and offcuts of a plan that are still to be cut are no longer as it knew them.
    ///
    /// # Errors
    /// SQLite's own.
    pub fn changed_since(&self, plan: &Plan) -> Result<Faults, Trouble> {
        let finished = self.finished(plan)?;
        let before = plan.drawn_from.iter().flat_map(|d| &d.cut_before).collect::<Vec<_>>();
        let mut faults = Faults::new();
        for stock in &plan.stocks {
            if !finished.contains(&stock.id) && !before.contains(&&stock.id) {
                let found = stale(&self.db, plan, stock);
                faults.0.extend(found.map_err(|e| trouble(&self.file, &e))?);
            }
        }
        Ok(faults)
    }

    /// Says what became of pieces that are cut.
    ///
    /// # Errors
    /// A piece that is not cut, or not known.
    pub fn mark(
        &mut self,
        plan: &Verified,
        pieces: &[String],
        state: PieceState,
        now: &Moment,
    ) -> Result<usize, Trouble> {
        let plan = plan.plan();
        let what = said!("{} of plan {}: {}", pieces.join(", "), short(&plan.id), state.words());
        self.change(now, &what, |c| {
            let mut faults = Faults::new();
            let mut count = 0;
            for (_, placed) in chosen(plan, pieces, true)? {
                let id = piece_id(kit(plan), &placed.piece, placed.copy);
                match c.get(&id)? {
                    Some(Record::Piece(record)) => {
                        c.put(&id, Some(&Record::Piece(record.in_state(state, &plan.id))))?;
                        count += 1;
                    }
                    _ => faults.push(
                        Fault::new("is not cut yet", "book it first with `warpwise stock book`")
                            .on(name(placed)),
                    ),
                }
            }
            Ok(faults.into_result(count)?)
        })
    }

    /// Offcuts that a plan's kit left over when a roll or offcut was cut to the end, by their names
    /// in the stock, whether they are there still or not.
    ///
    /// # Errors
    /// SQLite's own.
    pub fn left_by_kit(&self, plan: &Plan) -> Result<Vec<String>, Trouble> {
        // Names of pieces begin with their kit's and a slash, after which comes 0.
        let of_entries = "SELECT DISTINCT id FROM change WHERE before IS NULL AND entry IN
             (SELECT entry FROM change JOIN entry ON number = entry
              WHERE undone = 0 AND id > ?1 || '/' AND id < ?1 || '0')
             AND json_extract(after, '$.record') = 'offcut' ORDER BY id";
        let all = self.db.prepare(of_entries).and_then(|mut found| {
            found.query_map([kit(plan)], |row| row.get(0))?.collect::<rusqlite::Result<Vec<_>>>()
        });
        all.map_err(|e| trouble(&self.file, &e))
    }

    /// The state of every copy of the pieces of a plan's kit that has one.
    ///
    /// # Errors
    /// SQLite's own.
    pub fn pieces_of(&self, plan: &Plan) -> Result<Vec<PieceRecord>, Trouble> {
        let all = self.records("piece")?.into_iter();
        Ok(all
            .filter_map(|r| if let Record::Piece(p) = r { Some(p) } else { None })
            .filter(|p| p.kit == kit(plan))
            .collect())
    }
}

/// The kit a plan is of: it may go on with an earlier one.
pub(super) fn kit(plan: &Plan) -> &str {
    plan.drawn_from.as_ref().and_then(|d| d.kit.as_deref()).unwrap_or(&plan.id)
}

pub(super) fn short(id: &str) -> String {
    id.chars().take(8).collect()
}

fn name(placed: &PlacedPiece) -> String {
    format!("piece {} copy {}", placed.piece, placed.copy)
}

pub(super) fn of_this_ledger(plan: &Plan, ledger: &str) -> Result<(), Fault> {
    let remedy = "plan again with `warpwise nest --stock` and this ledger, then book that plan";
    match plan.drawn_from.as_ref().map(|d| d.ledger.as_deref()) {
        Some(Some(id)) if id == ledger => Ok(()),
        Some(Some(_)) => Err(Fault::new("the plan was made from another ledger", remedy)),
        _ => Err(Fault::new(
            "the plan was not made from a ledger, so it says nothing of the rolls that are here",
            remedy,
        )),
    }
}

/// Placed copies named by piece id or number, with their stock; all of them if none is named.
fn chosen<'p>(
    plan: &'p Plan,
    names: &[String],
    cut_before: bool,
) -> Result<Vec<(&'p PlanStock, &'p PlacedPiece)>, Faults> {
    let before =
        |s: &PlanStock| plan.drawn_from.as_ref().is_some_and(|d| d.cut_before.contains(&s.id));
    let all = || {
        plan.stocks
            .iter()
            .filter(|s| cut_before || !before(s))
            .flat_map(|s| s.placed.iter().map(move |p| (s, p)))
    };
    if names.is_empty() {
        return Ok(all().collect());
    }
    let mut faults = Faults::new();
    let mut out: Vec<(&PlanStock, &PlacedPiece)> = Vec::new();
    for wanted in names {
        // `seat-1#2` is the second copy; but a job's name, which the pieces of several jobs begin
        // with, may hold the sign too.
        let (wanted_piece, copy) = match wanted.rsplit_once('#') {
            Some((piece, copy)) if !plan.pieces.iter().any(|p| p.piece == *wanted) => {
                match copy.parse::<u32>() {
                    Ok(copy) => (piece, Some(copy)),
                    Err(_) => (wanted.as_str(), None),
                }
            }
            _ => (wanted.as_str(), None),
        };
        let number = |p: &PlacedPiece| {
            plan.pieces.iter().any(|q| q.piece == p.piece && q.number == wanted_piece)
        };
        let before = out.len();
        for found in all().filter(|(_, p)| {
            (p.piece == wanted_piece || number(p)) && copy.is_none_or(|c| p.copy == c)
        }) {
            if !out.contains(&found) {
                out.push(found);
            }
        }
        if out.len() == before {
            faults.push(Fault::new(
                said!("the plan has no piece {}, or it is named twice", quoted(wanted)),
                "name pieces by the number or id on the sheets, a copy as `2.3#1`",
            ));
        }
    }
    faults.into_result(out)
}

/// Pieces and cloth consumed, mm².
fn areas(plan: &Plan) -> [f64; 2] {
    [
        plan.cloths.iter().map(|c| c.pieces_area).sum(),
        plan.cloths.iter().map(|c| c.consumed_area).sum(),
    ]
}

/// Whether this plan, or one of its kit that it has its layout from, cut a piece from this stock.
pub(super) fn is_cut_here(plan: &Plan, stock: &PlanStock, piece: &PieceRecord) -> bool {
    piece.plan == plan.id || (piece.stock == stock.id && piece.state != PieceState::Spoiled)
}

/// Books copies that are to be cut; with `all` of them, those that are cut already are passed over.
pub(super) fn book(
    c: &Change<'_>,
    plan: &Plan,
    chosen: Vec<(&PlanStock, &PlacedPiece)>,
    all: bool,
    now: &Moment,
) -> Result<Booked, Stop> {
    let plan_name = format!("plan {}", plan.id);
    let mut record = match c.get(&plan_name)? {
        Some(Record::Plan(p)) => p,
        _ => PlanRecord {
            plan: plan.id.clone(),
            jobs: plan.jobs.clone(),
            finished: Vec::new(),
            areas: areas(plan),
        },
    };
    let mut to_cut: Vec<(&PlanStock, &PlacedPiece)> = Vec::new();
    let mut faults = Faults::new();
    for (stock, placed) in chosen {
        match c.get(&piece_id(kit(plan), &placed.piece, placed.copy))? {
            // Cut by an earlier plan and spoiled: this one cuts it again.
            Some(Record::Piece(p)) if p.plan != plan.id && p.state == PieceState::Spoiled => {
                to_cut.push((stock, placed))
            }
            Some(Record::Piece(p)) if !all || !is_cut_here(plan, stock, &p) => {
                let what = said!("was booked before: it is {}", p.state.words());
                faults
                    .push(Fault::new(what, "leave it out, or go on from the plan as it is with `warpwise nest --go-on`").on(name(placed)));
            }
            Some(_) => {}
            None => to_cut.push((stock, placed)),
        }
    }
    if to_cut.is_empty() && faults.is_empty() {
        let what = "the whole plan was booked before";
        faults.push(
            Fault::new(what, "`warpwise stock history` shows when; plan again for another set")
                .on(format!("plan {}", short(&plan.id))),
        );
    }
    let mut touched: Vec<&PlanStock> = Vec::new();
    for (stock, _) in &to_cut {
        if !touched.iter().any(|t| t.id == stock.id) {
            touched.push(stock);
        }
    }
    for stock in &touched {
        faults.0.extend(stale(c.db(), plan, stock)?);
    }
    faults.into_result(())?;

    let mut booked = Booked { pieces: to_cut.len(), ..Booked::default() };
    for (stock, placed) in &to_cut {
        let piece = PieceRecord {
            kit: kit(plan).to_string(),
            plan: plan.id.clone(),
            piece: placed.piece.clone(),
            copy: placed.copy,
            stock: stock.id.clone(),
            state: PieceState::Cut,
        };
        c.put(&piece.id(), Some(&Record::Piece(piece)))?;
    }
    for stock in touched {
        let mut done = true;
        for placed in &stock.placed {
            let record = c.get(&piece_id(kit(plan), &placed.piece, placed.copy))?;
            done &= matches!(record, Some(Record::Piece(p)) if is_cut_here(plan, stock, &p));
        }
        if done {
            finish(c, stock, now, &mut booked)?;
            record.finished.push(stock.id.clone());
        } else {
            let cut: Vec<Ring> = to_cut
                .iter()
                .filter(|(s, _)| s.id == stock.id)
                .map(|(_, p)| p.outline.clone())
                .collect();
            mark_cut(c, plan, stock, cut)?;
            booked.cut_in_part.push(stock.id.clone());
        }
    }
    c.put(&plan_name, Some(&Record::Plan(record)))?;
    Ok(booked)
}

/// Why a stock is no longer as the plan knew it.
fn stale(db: &Connection, plan: &Plan, stock: &PlanStock) -> rusqlite::Result<Option<Fault>> {
    let known = plan
        .drawn_from
        .iter()
        .flat_map(|d| &d.stocks)
        .find(|d| d.stock == stock.id)
        .map(|d| d.revision);
    let Some(known) = known else {
        let what = "the plan cuts it from a roll that was not in the stock";
        return Ok(Some(
            Fault::new(what, "add the roll, plan again and book that plan").on(&stock.id),
        ));
    };
    let (revision, open) = match get(db, &stock.id)? {
        Some(Record::Roll(r)) => (r.facts.revision, r.open_plan),
        Some(Record::Offcut(o)) => (o.facts.revision, o.open_plan),
        _ => {
            return Ok(Some(
                Fault::new("is no longer in the stock", "plan again with what is there")
                    .on(&stock.id),
            ));
        }
    };
    let mine = open.as_deref() == Some(plan.id.as_str());
    let what = "has changed since the plan was made";
    Ok((revision != known && !mine)
        .then(|| Fault::new(what, "plan again with the stock as it is now").on(&stock.id)))
}

/// The mark of a place that is cut. What a plan may hold and a flaw may not be (a ring that touches
/// itself) is marked by its box: it is cut, whatever its outline.
pub(super) fn marked(ring: Ring) -> Ring {
    if can_be_flaw(&ring) { ring } else { ring_bounds(&ring).map_or(ring, |b| b.ring()) }
}

/// Marks places of cut pieces on a roll or offcut that stays. A plan's frame is the stock's own, up
/// face up.
pub(super) fn mark_cut(
    c: &Change<'_>,
    plan: &Plan,
    stock: &PlanStock,
    cut: Vec<Ring>,
) -> Result<(), Stop> {
    let cut: Vec<Ring> = cut.into_iter().map(marked).collect();
    let record = match c.get(&stock.id)? {
        Some(Record::Roll(mut r)) => {
            r.facts.flaws.extend(cut);
            r.facts.revision = c.next_revision(&stock.id, r.facts.revision)?;
            r.open_plan = Some(plan.id.clone());
            r.facts = Roll::new(r.facts)?.facts().clone();
            Record::Roll(r)
        }
        Some(Record::Offcut(mut o)) => {
            let known = Offcut::new(o.facts.clone())?;
            let region = known.region().clone();
            let flaws = known.flaws().iter().cloned().chain(cut).collect();
            o.facts = OffcutFacts {
                outline: region.outline,
                holes: region.holes,
                flaws,
                face: Face::Up,
                revision: c.next_revision(&stock.id, o.facts.revision)?,
                ..o.facts
            };
            o.open_plan = Some(plan.id.clone());
            Offcut::new(o.facts.clone())?;
            Record::Offcut(o)
        }
        _ => return Ok(()),
    };
    Ok(c.put(&stock.id, Some(&record))?)
}

/// All of a stock is cut: a roll loses the used length, an offcut goes, left-overs come in.
fn finish(
    c: &Change<'_>,
    stock: &PlanStock,
    now: &Moment,
    booked: &mut Booked,
) -> Result<(), Stop> {
    let (heir, out_since) = match (stock.kind, c.get(&stock.id)?) {
        (StockKind::Roll, Some(Record::Roll(mut r))) => {
            let heir =
                heir(&r.facts.cloth, &r.facts.batch, &r.facts.place, r.facts.age, now, &stock.id);
            let revision = c.next_revision(&stock.id, r.facts.revision)?;
            r.facts = RollFacts { revision, ..shortened(r.facts, stock.used_length)? };
            r.open_plan = None;
            booked.shortened.push((stock.id.clone(), stock.used_length, r.facts.length));
            let out_since = r.out_since;
            c.put(&stock.id, Some(&Record::Roll(r)))?;
            (heir, out_since)
        }
        (StockKind::Offcut, Some(Record::Offcut(o))) => {
            c.put(&stock.id, None)?;
            booked.used_up.push(stock.id.clone());
            (
                heir(&o.facts.cloth, &o.facts.batch, &o.facts.place, o.facts.age, now, &stock.id),
                o.out_since,
            )
        }
        _ => {
            return Err(Fault::new("is no longer in the stock", "plan again with what is there")
                .on(&stock.id)
                .into());
        }
    };
    for left in &stock.offcuts {
        let id = c.new_id("off")?;
        // The sheet names it otherwise: with both names its label finds it on the bench.
        let parent = Some(format!("{}, {} on the sheet", stock.id, left.id));
        let Region { outline, holes } =
            at_origin(&Region { outline: left.outline.clone(), holes: left.holes.clone() });
        let mut facts = OffcutFacts { id: id.clone(), outline, holes, parent, ..heir.clone() };
        // Plans of older versions may have left-overs that touch themselves, which no one keeps in
        // one: of such a one the largest rectangle.
        if Offcut::new(facts.clone()).is_err() {
            let [_, _, w, h] = left.largest_rectangle;
            facts.outline = vec![point(0.0, 0.0), point(w, 0.0), point(w, h), point(0.0, h)];
            facts.holes.clear();
            Offcut::new(facts.clone())?;
            booked.cut_down.push(id.clone());
        }
        c.put(
            &id,
            Some(&Record::Offcut(Kept { facts: facts.clone(), out_since, open_plan: None })),
        )?;
        booked.added.push(facts);
    }
    Ok(())
}

/// What a left-over has from the cloth it was part of.
fn heir(
    cloth: &str,
    batch: &Option<String>,
    place: &Option<String>,
    age: crate::stock::Age,
    now: &Moment,
    parent: &str,
) -> OffcutFacts {
    OffcutFacts {
        id: String::new(),
        cloth: cloth.to_string(),
        outline: Vec::new(),
        holes: Vec::new(),
        flaws: Vec::new(),
        face: Face::Up,
        batch: batch.clone(),
        age,
        place: place.clone(),
        added: now.day,
        parent: Some(parent.to_string()),
        revision: 0,
    }
}

/// A roll after a straight cut at `used` mm: its flaws move nearer, those cut off are gone.
fn shortened(facts: RollFacts, used: f64) -> Result<RollFacts, Stop> {
    if let Some(length) = facts.length.filter(|l| *l < used) {
        let what =
            said!("has {} left, and the plan takes {}", show_metres(length), show_metres(used));
        return Err(Fault::new(
            what,
            "measure what is left, correct it with `warpwise stock set`, and plan again",
        )
        .on(&facts.id)
        .into());
    }
    let beyond = |flaw: &Ring| -> Vec<Ring> {
        let Some(b) = ring_bounds(flaw) else {
            return Vec::new();
        };
        let moved = |ring: &Ring| ring.iter().map(|p| (*p - point(used, 0.0)).snapped()).collect();
        if b.max.x <= used {
            return Vec::new();
        }
        if b.min.x >= used {
            return vec![moved(flaw)];
        }
        let rest = vec![
            point(used, -LARGEST),
            point(2.0 * LARGEST, -LARGEST),
            point(2.0 * LARGEST, LARGEST),
            point(used, LARGEST),
        ];
        intersection([flaw], [&rest]).iter().map(|r| moved(&r.outline)).collect()
    };
    let flaws = facts.flaws.iter().flat_map(beyond).collect();
    let facts = RollFacts { length: facts.length.map(|l| snap(l - used)), flaws, ..facts };
    Ok(Roll::new(facts)?.facts().clone())
}
