//! What lies on a roll that no piece may cover: flaws that people found, and places that are cut.

use super::book::kit;
use super::moment::Moment;
use super::open::Ledger;
use super::record::{Kept, Record, read};
use super::rows::get;
use super::trouble::{Trouble, trouble};
use crate::fault::Fault;
use crate::geometry::{Ring, ring_area, ring_bounds};
use crate::plan::Plan;
use crate::stock::RollFacts;
use rusqlite::params;

/// A place on a roll.
#[derive(Clone, Debug, PartialEq)]
pub struct MarkedPlace {
    /// Its outline, mm from the roll's free end and lower edge.
    pub ring: Ring,
    /// A piece was cut there; else it is a flaw.
    pub is_cut: bool,
}

/// A roll that a plan cuts in part so far.
#[derive(Clone, Debug, PartialEq)]
pub struct OpenRoll {
    /// Its id.
    pub id: String,
    /// Its cloth.
    pub cloth: String,
    /// The kit of the plan that cut from it last.
    kit: String,
    /// The jobs of that plan.
    pub jobs: Vec<String>,
    /// Places of it that are cut.
    pub places: usize,
}

impl OpenRoll {
    /// True if a plan goes on with what is cut from it.
    pub fn is_cut_for(&self, plan: &Plan) -> bool {
        self.kit == kit(plan)
    }
}

impl Ledger {
    /// The rolls that a plan has begun to cut and not cut to the end: the pieces that are still to
    /// come lie on cloth that another plan would take.
    ///
    /// # Errors
    /// SQLite's own.
    pub fn open_rolls(&self) -> Result<Vec<OpenRoll>, Trouble> {
        let mut open = Vec::new();
        for record in self.records("roll")? {
            let Record::Roll(Kept { facts, open_plan: Some(plan), .. }) = record else { continue };
            let found = get(&self.db, &format!("plan {plan}"));
            let jobs = match found.map_err(|e| trouble(&self.file, &e))? {
                Some(Record::Plan(p)) => p.jobs,
                _ => Vec::new(),
            };
            let places = self.places_of(&facts.id)?.iter().filter(|p| p.is_cut).count();
            // A plan made after a recut goes on with the kit of the first.
            let pieces = self.records("piece")?.into_iter();
            let mut kits = pieces.filter_map(|r| match r {
                Record::Piece(p) if p.plan == plan => Some(p.kit),
                _ => None,
            });
            let kit = kits.next().unwrap_or(plan);
            open.push(OpenRoll { id: facts.id, cloth: facts.cloth, kit, jobs, places });
        }
        // Ticks that were taken back leave nothing cut.
        open.retain(|roll| roll.places > 0);
        Ok(open)
    }

    /// The rolls of a cloth on which places are marked.
    ///
    /// # Errors
    /// SQLite's own.
    pub fn marked_rolls(&self, cloth: &str) -> Result<Vec<RollFacts>, Trouble> {
        let rolls = self.records("roll")?.into_iter().filter_map(|r| match r {
            Record::Roll(r) => Some(r.facts),
            _ => None,
        });
        Ok(rolls.filter(|r| r.cloth == cloth && !r.flaws.is_empty()).collect())
    }

    /// The marked places of a roll, in their order; none if there is no such roll. By its history:
    /// what a booking marks is cut.
    ///
    /// # Errors
    /// SQLite's own.
    pub fn places_of(&self, roll: &str) -> Result<Vec<MarkedPlace>, Trouble> {
        let changes = "SELECT c.after, EXISTS (SELECT 1 FROM change p WHERE p.entry = c.entry
                 AND json_extract(p.after, '$.record') = 'piece'
                 AND json_extract(p.after, '$.stock') = c.id)
             FROM change c JOIN entry ON number = c.entry
             WHERE c.id = ?1 AND undone = 0 AND c.after IS NOT NULL ORDER BY c.rowid";
        let run = || -> rusqlite::Result<Vec<MarkedPlace>> {
            let mut found = self.db.prepare(changes)?;
            let mut rows = found.query(params![roll])?;
            let (mut now, mut ever): (Vec<MarkedPlace>, Vec<Ring>) = (Vec::new(), Vec::new());
            while let Some(row) = rows.next()? {
                let Record::Roll(record) = read(&row.get::<_, String>(0)?)? else { continue };
                let is_booking: bool = row.get(1)?;
                let is_cut = |ring: &Ring| {
                    let before = now.iter().find(|p| p.ring == *ring);
                    let before = before.or_else(|| now.iter().find(|p| is_moved(&p.ring, ring)));
                    before.map_or(is_booking, |p| p.is_cut) || ever.contains(ring)
                };
                let place = |ring: Ring| MarkedPlace { is_cut: is_cut(&ring), ring };
                let then: Vec<MarkedPlace> = record.facts.flaws.into_iter().map(place).collect();
                ever.extend(then.iter().filter(|p| p.is_cut).map(|p| p.ring.clone()));
                now = then;
            }
            Ok(now)
        };
        run().map_err(|e| trouble(&self.file, &e))
    }

    /// Takes a flaw off a roll, which was seen at this place of its list.
    ///
    /// # Errors
    /// There is no such roll or flaw any more, or a piece was cut there.
    pub fn remove_flaw(
        &mut self,
        roll: &str,
        (index, revision): (usize, u32),
        now: &Moment,
    ) -> Result<(), Trouble> {
        let place = self.places_of(roll)?.into_iter().nth(index);
        let is_as_seen = self.records("roll")?.iter().any(|r| match r {
            Record::Roll(r) => r.facts.id == roll && r.facts.revision == revision,
            _ => false,
        });
        let Some(place) = place.filter(|_| is_as_seen) else {
            let fault = Fault::new("has changed since", "look at it as it is now").on(roll);
            return Err(Trouble::Input(fault.into()));
        };
        if place.is_cut {
            let what = "a piece was cut there: the cloth is gone";
            let remedy = "if that was booked wrongly, take the booking back";
            return Err(Trouble::Input(Fault::new(what, remedy).on(roll).into()));
        }
        self.edit(roll, &format!("flaw removed from {roll}"), now, |record| {
            if let Record::Roll(r) = record {
                r.facts.flaws.retain(|ring| *ring != place.ring);
            }
        })
    }
}

/// Whether a ring is another that a cut of the roll's end moved along it.
fn is_moved(a: &Ring, b: &Ring) -> bool {
    let near = |x: f64, y: f64| (x - y).abs() < 0.002;
    ring_bounds(a).zip(ring_bounds(b)).is_some_and(|(p, q)| {
        near(p.min.y, q.min.y)
            && near(p.max.y, q.max.y)
            && near(p.width(), q.width())
            && (ring_area(a).abs() - ring_area(b).abs()).abs() < 0.01
    })
}
