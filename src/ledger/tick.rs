//! Ticks at the bench: what became of one copy of a piece. Each has a key of its own and is counted
//! once, however often it comes; each is an entry of the history.

use super::book::{book, is_cut_here, kit, mark_cut, marked, of_this_ledger};
use super::moment::Moment;
use super::open::Ledger;
use super::record::{PieceRecord, PieceState, Record, piece_id, read};
use super::trouble::Trouble;
use super::write::{Change, Stop};
use crate::fault::Fault;
use crate::geometry::{Ring, ring_area, ring_bounds};
use crate::plan::{PlacedPiece, Plan, PlanStock};
use crate::stock::{Offcut, OffcutFacts, Roll};
use crate::verify::Verified;
use rusqlite::{OptionalExtension, params};
use serde::{Deserialize, Serialize};

/// Lengths of a key.
const KEY: std::ops::RangeInclusive<usize> = 8..=64;

/// What a tick says.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum TickTo {
    /// It is cut.
    Cut,
    /// It is laid in the mould.
    Laid,
    /// It is of no use.
    Spoiled,
    /// The last step was none: laid goes back to cut, cut to be cut, spoiled to what it was.
    Back,
}

/// A tick of one copy of a piece.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct PieceTick {
    /// What tells it from all others, made by who ticks: letters, digits and hyphens.
    pub key: String,
    /// Piece id.
    pub piece: String,
    /// Which copy, from 1.
    pub copy: u32,
    /// What it says.
    pub to: TickTo,
}

impl PieceTick {
    /// Whether it can be told from others by its key.
    ///
    /// # Errors
    /// It cannot.
    pub fn sound(&self) -> Result<(), Fault> {
        let plain = |c: char| c.is_ascii_alphanumeric() || c == '-';
        if KEY.contains(&self.key.len()) && self.key.chars().all(plain) {
            return Ok(());
        }
        Err(Fault::new("the key of a tick is none", "load the page anew"))
    }
}

/// Where a copy lies in a plan.
///
/// # Errors
/// The plan has no such copy.
pub(crate) fn placed<'p>(
    plan: &'p Plan,
    piece: &str,
    copy: u32,
) -> Result<(&'p PlanStock, &'p PlacedPiece), Fault> {
    let all = plan.stocks.iter().flat_map(|s| s.placed.iter().map(move |p| (s, p)));
    let mut mine = all.filter(|(_, p)| p.piece == piece && p.copy == copy);
    mine.next().ok_or_else(|| {
        Fault::new(
            said!("the plan has no piece {piece} with a copy {copy}"),
            "look at the plan as it is now",
        )
    })
}

impl Ledger {
    /// Records a tick. A piece that is laid or spoiled is cut first if it was not. False if the
    /// tick was counted before: then nothing is done.
    ///
    /// # Errors
    /// A plan that was not made from this ledger; a copy it has not; stock that has changed since;
    /// what cannot be taken back.
    pub fn tick(
        &mut self,
        plan: &Verified,
        tick: &PieceTick,
        now: &Moment,
    ) -> Result<bool, Trouble> {
        tick.sound()?;
        let plan = plan.plan();
        let ledger: String = self.ask("SELECT value FROM about WHERE name = 'ledger'")?;
        of_this_ledger(plan, &ledger)?;
        let to = match tick.to {
            TickTo::Cut => "cut",
            TickTo::Laid => "laid",
            TickTo::Spoiled => "spoiled",
            TickTo::Back => "taken back",
        };
        // As people call it, and as `stock book` takes it.
        let known = plan.pieces.iter().find(|p| p.piece == tick.piece);
        let (number, job) = known.map_or((&tick.piece, ""), |p| (&p.number, p.job.as_str()));
        let piece = match known {
            Some(known) if known.copies > 1 => format!("{number}#{}", tick.copy),
            _ => number.clone(),
        };
        let what = said!("piece {piece} of {job}: {to}");
        let run = |c: &Change<'_>| ticked(c, plan, tick, now);
        Ok(self.change_once(now, &what, Some(&tick.key), run)?.is_some())
    }
}

fn ticked(c: &Change<'_>, plan: &Plan, tick: &PieceTick, now: &Moment) -> Result<(), Stop> {
    let (stock, placed) = placed(plan, &tick.piece, tick.copy)?;
    let id = piece_id(kit(plan), &tick.piece, tick.copy);
    let state = match tick.to {
        TickTo::Back => {
            let Some(Record::Piece(record)) = c.get(&id)? else { return Ok(()) };
            return back(c, plan, (stock, placed), record);
        }
        TickTo::Cut => PieceState::Cut,
        TickTo::Laid => PieceState::Laid,
        TickTo::Spoiled => PieceState::Spoiled,
    };
    let cut =
        |record: &PieceRecord| was_cut_before(plan, stock) || is_cut_here(plan, stock, record);
    if !matches!(c.get(&id)?, Some(Record::Piece(record)) if cut(&record)) {
        book(c, plan, vec![(stock, placed)], false, now)?;
    }
    if let Some(Record::Piece(record)) = c.get(&id)?
        && record.state != state
    {
        c.put(&id, Some(&Record::Piece(record.in_state(state, &plan.id))))?;
    }
    Ok(())
}

fn was_cut_before(plan: &Plan, stock: &PlanStock) -> bool {
    plan.drawn_from.as_ref().is_some_and(|d| d.cut_before.contains(&stock.id))
}

/// Takes the last step of a piece back.
fn back(
    c: &Change<'_>,
    plan: &Plan,
    at: (&PlanStock, &PlacedPiece),
    record: PieceRecord,
) -> Result<(), Stop> {
    let id = record.id();
    let before = match record.state {
        PieceState::Laid => Some(PieceRecord { state: PieceState::Cut, ..record.clone() }),
        PieceState::Spoiled => before_spoiled(c, &id)?,
        PieceState::Cut => before_cut(c, &id, &record.plan)?,
    };
    match before {
        Some(before) if before.state != PieceState::Spoiled => {
            Ok(c.put(&id, Some(&Record::Piece(before)))?)
        }
        before => {
            uncut(c, plan, at, &record)?;
            Ok(c.put(&id, before.map(Record::Piece).as_ref())?)
        }
    }
}

fn piece_of(text: Option<String>) -> rusqlite::Result<Option<PieceRecord>> {
    Ok(match text.map(|t| read(&t)).transpose()? {
        Some(Record::Piece(piece)) => Some(piece),
        _ => None,
    })
}

/// What a piece was before the tick that called it spoiled, which may have booked it as well.
fn before_spoiled(c: &Change<'_>, id: &str) -> rusqlite::Result<Option<PieceRecord>> {
    let entry: Option<i64> = c
        .db()
        .query_row(
            "SELECT entry FROM change JOIN entry ON number = entry WHERE id = ?1 AND undone = 0
             AND json_extract(after, '$.state') = 'spoiled'
             AND coalesce(json_extract(before, '$.state'), '') <> 'spoiled'
             ORDER BY change.rowid DESC LIMIT 1",
            [id],
            |row| row.get(0),
        )
        .optional()?;
    let Some(entry) = entry else { return Ok(None) };
    let first = "SELECT before FROM change WHERE entry = ?1 AND id = ?2 ORDER BY rowid LIMIT 1";
    piece_of(c.db().query_row(first, params![entry, id], |row| row.get(0))?)
}

/// What a piece was before this plan cut it.
fn before_cut(c: &Change<'_>, id: &str, plan: &str) -> rusqlite::Result<Option<PieceRecord>> {
    let text: Option<Option<String>> = c
        .db()
        .query_row(
            "SELECT before FROM change JOIN entry ON number = entry WHERE id = ?1 AND undone = 0
             AND json_extract(after, '$.plan') = ?2
             AND coalesce(json_extract(before, '$.plan'), '') <> ?2
             ORDER BY change.rowid DESC LIMIT 1",
            [id, plan],
            |row| row.get(0),
        )
        .optional()?;
    piece_of(text.flatten())
}

/// Puts the cloth of a piece back: its mark goes, and if its roll or offcut was cut to the end by
/// it or after it, that is there again as it was before.
fn uncut(
    c: &Change<'_>,
    plan: &Plan,
    (stock, placed): (&PlanStock, &PlacedPiece),
    record: &PieceRecord,
) -> Result<(), Stop> {
    if was_cut_before(plan, stock) || stock.id != record.stock {
        let what = "was cut by an earlier plan of this kit, whose cloth is done with";
        let remedy = "call it spoiled if it is not there";
        return Err(Fault::new(what, remedy).on(format!("piece {}", placed.piece)).into());
    }
    let mark = marked(placed.outline.clone());
    if !marks(c, stock)?.iter().any(|flaw| same(flaw, &mark)) {
        reopen(c, stock, record)?;
    }
    let mut missing = Vec::new();
    let there = marks(c, stock)?;
    for other in stock.placed.iter().filter(|p| *p != placed) {
        let is_cut = match c.get(&piece_id(kit(plan), &other.piece, other.copy))? {
            Some(Record::Piece(p)) => is_cut_here(plan, stock, &p),
            _ => false,
        };
        let ring = marked(other.outline.clone());
        if is_cut && !there.iter().any(|flaw| same(flaw, &ring)) {
            missing.push(ring);
        }
    }
    mark_cut(c, plan, stock, missing)?;
    let unmarked = match c.get(&stock.id)? {
        Some(Record::Roll(mut r)) => {
            r.facts.flaws.retain(|flaw| !same(flaw, &mark));
            r.facts = Roll::new(r.facts)?.facts().clone();
            Record::Roll(r)
        }
        Some(Record::Offcut(mut o)) => {
            let mut flaws = o.facts.flaws;
            flaws.retain(|flaw| !same(flaw, &mark));
            o.facts = OffcutFacts { flaws, ..o.facts };
            Offcut::new(o.facts.clone())?;
            Record::Offcut(o)
        }
        _ => return Err(gone(&stock.id)),
    };
    Ok(c.put(&stock.id, Some(&unmarked))?)
}

fn gone(id: &str) -> Stop {
    let what = "was used further since the piece was cut, so that cannot be taken back alone";
    Fault::new(what, "take back what came after it first: the stock's last changes").on(id).into()
}

/// The flaws and marks of a roll or offcut, in the plan's frame.
fn marks(c: &Change<'_>, stock: &PlanStock) -> Result<Vec<Ring>, Stop> {
    Ok(match c.get(&stock.id)? {
        Some(Record::Roll(r)) => r.facts.flaws,
        Some(Record::Offcut(o)) => Offcut::new(o.facts)?.flaws().to_vec(),
        _ => Vec::new(),
    })
}

/// Pieces lie apart, so that a ring in the same box with the same area is the same.
fn same(a: &Ring, b: &Ring) -> bool {
    let near = |x: f64, y: f64| (x - y).abs() < 0.002;
    ring_bounds(a).zip(ring_bounds(b)).is_some_and(|(p, q)| {
        near(p.min.x, q.min.x)
            && near(p.min.y, q.min.y)
            && near(p.max.x, q.max.x)
            && near(p.max.y, q.max.y)
            && (ring_area(a).abs() - ring_area(b).abs()).abs() < 0.01
    })
}

/// Puts a stock that was cut to the end back to what it was before its last piece, if nothing of it
/// was used since.
fn reopen(c: &Change<'_>, stock: &PlanStock, record: &PieceRecord) -> Result<(), Stop> {
    let last = "SELECT entry FROM change JOIN entry ON number = entry WHERE id = ?1 AND undone = 0
                ORDER BY change.rowid DESC LIMIT 1";
    let entry: Option<i64> = c.db().query_row(last, [&stock.id], |row| row.get(0)).optional()?;
    let Some(entry) = entry else { return Err(gone(&stock.id)) };
    let rows: Vec<(String, Option<String>, Option<String>)> = c
        .db()
        .prepare("SELECT id, before, after FROM change WHERE entry = ?1 ORDER BY rowid DESC")?
        .query_map([entry], |row| Ok((row.get(0)?, row.get(1)?, row.get(2)?)))?
        .collect::<rusqlite::Result<_>>()?;
    let left_by = format!("{}, ", stock.id);
    let mut is_booking = false;
    for (id, before, after) in rows {
        let (before, after) =
            (before.map(|t| read(&t)).transpose()?, after.map(|t| read(&t)).transpose()?);
        match (&before, &after) {
            (_, Some(Record::Piece(p))) => {
                is_booking |= p.stock == stock.id && p.plan == record.plan;
                continue;
            }
            (None, Some(Record::Offcut(o)))
                if o.facts.parent.as_ref().is_some_and(|p| p.starts_with(&left_by)) => {}
            _ if id == stock.id => {}
            _ => continue,
        }
        if c.get(&id)? != after {
            return Err(gone(&id));
        }
        c.put(&id, before.as_ref())?;
    }
    if !is_booking {
        return Err(gone(&stock.id));
    }
    let plan_name = format!("plan {}", record.plan);
    if let Some(Record::Plan(mut plan)) = c.get(&plan_name)? {
        plan.finished.retain(|id| *id != stock.id);
        c.put(&plan_name, Some(&Record::Plan(plan)))?;
    }
    Ok(())
}
