//! A plan changed by hand: each change is judged, verified, written as a whole plan folder, and can
//! be taken back.

use super::draft::Refused;
use super::edit::{Edit, Entry};
use super::folder::{PLAN_FOLDER, about};
use super::open_job::OpenJob;
use super::plan_files::plan_files;
use super::planning::{Planning, Settings};
use super::stock_file::faults_of;
use crate::fault::{Fault, Faults};
use crate::geometry::{Ring, point};
use crate::ledger::{Ledger, Moment, Record};
use crate::plan;
use crate::planner::{CutTable, Judged, Lay};
use crate::run::Run;
use crate::units::{LARGEST, snap};
use crate::verify::Verified;
use serde::{Deserialize, Serialize};
use std::sync::Arc;

/// A flaw found on a roll: a rectangle, mm from the roll's free end and lower edge.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct FlawOn {
    /// The roll.
    pub stock: String,
    /// Along it, from and to.
    pub along: [f64; 2],
    /// Across it, from and to.
    pub across: [f64; 2],
}

impl OpenJob {
    /// The plan on the cutting table, to be looked at and changed.
    ///
    /// # Errors
    /// There is no plan, it is being made, or the job or its stock have changed so that it cannot
    /// be changed by hand.
    pub fn table(&mut self, now: &Moment) -> Result<&mut CutTable, Faults> {
        if self.planning.as_ref().is_some_and(|p| p.is_running()) {
            return Err(Fault::new("this job is being planned", "stop that run first").into());
        }
        let none = || Faults::from(Fault::new("there is no plan", "plan the job first"));
        let plan = self.plan()?.ok_or_else(none)?;
        let checked = self.checked();
        let job = checked.job.clone().ok_or_else(|| {
            let faults = checked.notes.iter().filter(|n| !n.warning).map(|n| n.fault.clone());
            Faults(faults.collect())
        })?;
        if plan.plan().drawn_from.is_some() && job.stock.is_none() {
            let what = "the plan is cut from a stock that the job does not name";
            let remedy = "name it in the job (stock = \"../stock.sqlite\"), or plan the job again";
            return Err(Fault::new(what, remedy).into());
        }
        let stock = job.stock.clone().filter(|_| plan.plan().drawn_from.is_some());
        let key = format!("{:?} {}", stock.as_deref().map(about), self.draft.text());
        let id = plan.plan().id.clone();
        let same = self.on_table.table.as_ref().is_some_and(|t| (&t.0, &t.1) == (&id, &key));
        if !same {
            let stock = stock.map(|file| self.stock_seen.read(&file, now)).transpose()?;
            let table = CutTable::new(plan, vec![job], stock)?;
            self.on_table.table = Some((id, key, Some(table)));
        }
        self.on_table.table.as_mut().and_then(|t| t.2.as_mut()).ok_or_else(none)
    }

    /// True if there is something to take back.
    pub fn can_take_back(&mut self) -> bool {
        let now = self.plan().ok().flatten().map(|p| p.plan().id.clone());
        self.on_table.before.iter().any(|b| Some(&b.plan().id) != now.as_ref())
    }

    /// How much more cloth the plan takes than the one before it did for the same pieces, mm, if it
    /// does: a search that was stopped early, say.
    pub fn longer_than_before(&mut self) -> Option<f64> {
        let now = self.plan().ok().flatten()?;
        let now = now.plan();
        let before = self.on_table.before.iter().rfind(|b| b.plan().id != now.id)?.plan();
        let length = |p: &plan::Plan| p.cloths.iter().map(|c| c.used_length).sum::<f64>();
        let more = length(now) - length(before);
        (before.pieces == now.pieces && more > 0.5).then_some(more)
    }

    /// Judges a piece at a place; nothing is changed.
    ///
    /// # Errors
    /// As [`OpenJob::table`] and [`CutTable::judge`].
    pub fn judge(&mut self, lay: &Lay, now: &Moment) -> Result<Judged, Faults> {
        self.table(now)?.judge(lay)
    }

    /// The free place nearest to where a piece is held.
    ///
    /// # Errors
    /// As [`OpenJob::judge`].
    pub fn nearest(&mut self, lay: &Lay, now: &Moment) -> Result<Option<[f64; 2]>, Faults> {
        self.table(now)?.nearest(lay)
    }

    /// Lays a piece somewhere else in the plan that the client saw.
    ///
    /// # Errors
    /// The plan is another by now; what is wrong with the place.
    pub fn lay(&mut self, lay: &Lay, seen: &str, now: &Moment) -> Result<(), Refused> {
        let made = self.seen(seen, now)?.lay(lay)?;
        Ok(self.keep(made)?)
    }

    /// Pins a piece, or frees it.
    ///
    /// # Errors
    /// The plan is another by now; there is no such piece.
    pub fn pin(
        &mut self,
        (piece, copy): (&str, u32),
        pinned: bool,
        seen: &str,
        now: &Moment,
    ) -> Result<(), Refused> {
        let made = self.seen(seen, now)?.pin(piece, copy, pinned)?;
        Ok(self.keep(made)?)
    }

    /// Takes the last change by hand back.
    ///
    /// # Errors
    /// The plan is another by now; nothing was changed; the machine's.
    pub fn take_back(&mut self, seen: &str, now: &Moment) -> Result<(), Refused> {
        self.seen(seen, now)?;
        // A run that was refused left what was there.
        let before = &mut self.on_table.before;
        let last = before.iter().rposition(|b| b.plan().id != seen);
        let Some(last) = last.map(|at| (at, Arc::clone(&before[at]))) else {
            return Err(Fault::new("nothing was changed by hand", "go on").into());
        };
        self.write(last.1)?;
        self.on_table.before.truncate(last.0);
        Ok(())
    }

    /// Begins to nest the pieces of a cloth anew around those that are pinned, from where they lie.
    ///
    /// # Errors
    /// The plan is another by now; as [`OpenJob::table`].
    pub fn around(
        &mut self,
        cloth: &str,
        settings: Settings,
        seen: &str,
        now: &Moment,
    ) -> Result<Arc<Planning>, Refused> {
        let table = self.seen(seen, now)?;
        if !table.cloths().any(|c| c == cloth) {
            let what = said!("nothing is cut from cloth {cloth}");
            return Err(Fault::new(what, "look at the plan as it is now").into());
        }
        let before = Arc::clone(table.plan());
        let planning = self.nested(cloth, settings, now)?;
        self.on_table.remember(before);
        Ok(planning)
    }

    /// Records a flaw found on a roll where that belongs: in the ledger if the plan is cut from
    /// one, else in the job. Then the pieces of its cloth are nested anew, as [`OpenJob::around`]
    /// does; or, where something is cut already, those that lie on the flaw go elsewhere at once and
    /// all else stays. Plans of before do not know of the flaw and cannot be had back.
    ///
    /// # Errors
    /// The plan is another by now; there is no such roll; it lies outside it; a piece finds no
    /// place; it cannot be written.
    pub fn mend(
        &mut self,
        flaw: &FlawOn,
        settings: Settings,
        seen: &str,
        now: &Moment,
    ) -> Result<Option<Arc<Planning>>, Refused> {
        if self.begun_to_cut() > 0 {
            self.mend_while_cutting(flaw, seen, now)?;
            return Ok(None);
        }
        let (cloth, _) = self.add_flaw(flaw, seen, now)?;
        self.on_table.before.clear();
        Ok(Some(self.nested(&cloth, settings, now)?))
    }

    fn nested(
        &mut self,
        cloth: &str,
        settings: Settings,
        now: &Moment,
    ) -> Result<Arc<Planning>, Faults> {
        self.table(now)?;
        let Some((.., Some(mut table))) = self.on_table.table.take() else {
            return Err(Fault::new("there is no plan", "plan the job first").into());
        };
        let (cloth, file) = (cloth.to_string(), self.draft.file().to_path_buf());
        let planning =
            Planning::run(self.draft.dir(), file, settings, move |run| table.around(&cloth, run));
        self.planning = Some(Arc::clone(&planning));
        Ok(planning)
    }

    /// Records a flaw; returns its cloth and its outline.
    pub(super) fn add_flaw(
        &mut self,
        flaw: &FlawOn,
        seen: &str,
        now: &Moment,
    ) -> Result<(String, Ring), Refused> {
        let plan = Arc::clone(self.as_seen(seen, now)?.plan());
        let roll = plan.plan().stocks.iter().find(|s| s.id == flaw.stock);
        let roll = roll.filter(|s| s.kind == plan::StockKind::Roll).ok_or_else(|| {
            let what = said!("{} is no roll of the plan", flaw.stock);
            Fault::new(what, "draw the flaw on a roll")
        })?;
        let high = roll.outline.iter().map(|p| p.y).fold(0.0, f64::max);
        let ([from, to], [low, top]) = (flaw.along.map(snap), flaw.across.map(snap));
        let (low, top) = (low.max(0.0), top.min(high));
        let from = from.max(0.0);
        if !(from < to && low < top && to <= LARGEST) {
            let remedy = "draw it from one corner to the other, on the roll";
            return Err(Fault::new("that flaw has no area on the roll", remedy).into());
        }
        let cloth = roll.cloth.clone();
        let ring = vec![point(from, low), point(to, low), point(to, top), point(from, top)];
        let checked = self.checked();
        let job = checked.job.as_ref();
        let ledger = job.and_then(|j| j.stock.clone()).filter(|_| {
            plan.plan()
                .drawn_from
                .as_ref()
                .is_some_and(|d| d.stocks.iter().any(|s| s.stock == roll.id))
        });
        if let Some(file) = ledger {
            let why = format!("flaw found on {}", roll.id);
            let done = Ledger::write(&file).and_then(|mut ledger| {
                ledger.edit(&roll.id, &why, now, |record| {
                    if let Record::Roll(r) = record {
                        r.facts.flaws.push(ring.clone());
                    }
                })
            });
            done.map_err(faults_of)?;
            return Ok((cloth, ring));
        }
        let index = job.and_then(|j| j.cloths.iter().position(|c| c.id == cloth));
        let index =
            index.ok_or_else(|| Fault::new("the job has no such cloth", "plan it again"))?;
        let number = |v: f64| Entry::Number(v);
        let add = Edit::Add {
            section: format!("cloth.{index}.flaw"),
            keys: vec![
                ("from".into(), number(from)),
                ("to".into(), number(to)),
                ("low".into(), number(low)),
                ("high".into(), number(top)),
            ],
        };
        let revision = self.draft.revision();
        self.draft.edit(&add, &revision)?;
        Ok((cloth, ring))
    }

    /// The same, if nothing is cut yet.
    fn seen(&mut self, seen: &str, now: &Moment) -> Result<&mut CutTable, Refused> {
        // Where a piece was cut, nothing can be laid out anew.
        if self.begun_to_cut() > 0 {
            let what = "pieces of this plan are cut already, so that it stays as it is";
            let remedy = "call what must be cut again spoiled, at the bench: that is planned again";
            return Err(Fault::new(what, remedy).into());
        }
        self.as_seen(seen, now)
    }

    /// The table, if the plan on it is the one that the client saw, be it cut in part or not.
    fn as_seen(&mut self, seen: &str, now: &Moment) -> Result<&mut CutTable, Refused> {
        let table = self.table(now)?;
        if table.plan().plan().id != seen {
            return Err(Refused::Stale);
        }
        Ok(table)
    }

    /// Writes a plan in place of the one that is there, which can be had back.
    fn keep(&mut self, plan: Verified) -> Result<(), Faults> {
        let before = self.plan()?;
        self.write(Arc::new(plan))?;
        before.into_iter().for_each(|b| self.on_table.remember(b));
        Ok(())
    }

    fn write(&mut self, plan: Arc<Verified>) -> Result<(), Faults> {
        let files = plan_files(&plan, &Run::default())?;
        plan::folder::write(&self.draft.dir().join(PLAN_FOLDER), &files)?;
        self.plan_is(plan);
        Ok(())
    }
}
