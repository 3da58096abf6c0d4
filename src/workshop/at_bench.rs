//! A plan at the bench and at the mould: which pieces are cut, laid or spoiled, what is cut again,
//! how far the lay-up is, and the record at the end. Ticks of a plan that was made from the ledger
//! go there; those of any other go into the kit's own file.

use super::by_hand::FlawOn;
use super::draft::Refused;
use super::folder::{PLAN_FOLDER, about, write_whole};
use super::kit::{CutAgain, Kit, consumed, plan_name};
use super::on_table::OnTable;
use super::open_job::{OpenJob, read_plan};
use super::plan_files::plan_files;
use super::stock_file::faults_of;
use crate::fault::{Fault, Faults, Place};
use crate::geometry::Ring;
use crate::geometry::boolean::intersection;
use crate::layup::{self, Act, Held, LayupSheet, Progress, When};
use crate::ledger::{Ledger, Moment, PieceState, PieceTick, Record, TickTo, Trouble, placed};
use crate::plan::{self, Plan, words};
use crate::planner::{self, CutSoFar};
use crate::run::Run;
use crate::sheet::{self, ClothUsed, PartRecord};
use crate::verify::Verified;
use image::ImageDecoder;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;
use std::io::Cursor;
use std::path::PathBuf;
use std::sync::Arc;

/// Longest side of a photo that is kept, pixels.
const PHOTO: u32 = 1600;

/// What became of a copy of a piece.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum CopyState {
    /// Cut, waiting to be laid.
    Cut,
    /// Laid in the mould.
    Laid,
    /// Spoiled, and nothing is planned for it yet.
    Spoiled,
    /// It was spoiled, and this plan cuts it again.
    Again,
}

/// A plan at the bench.
#[derive(Clone, Debug)]
pub struct AtBench {
    /// The plan.
    pub plan: Arc<Verified>,
    /// The kit it is of: ticks name it.
    pub kit: String,
    /// Ticks go into the ledger.
    pub in_ledger: bool,
    /// Copies that are not simply to be cut: by piece id and copy.
    pub states: BTreeMap<(String, u32), CopyState>,
    /// The lay-up of each job: its sheet and how far it is.
    pub lay_up: Vec<(LayupSheet, Progress)>,
    /// Rolls and offcuts that are no longer as the plan knew them: a tick that cuts from one is
    /// refused.
    pub changed: Faults,
    /// Changes when anything of it does.
    pub stamp: String,
}

impl AtBench {
    /// Whether a tick that cuts from a roll or offcut is refused.
    pub fn is_changed(&self, stock: &str) -> bool {
        self.changed.0.iter().any(|f| matches!(&f.place, Place::Named(id) if id == stock))
    }
}

/// Something ticked on the page.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(untagged)]
pub enum BenchTick {
    /// Of a piece that is cut.
    Piece(PieceTick),
    /// Of the lay-up.
    Act(ActTick),
}

/// Something done at the mould.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct ActTick {
    /// What tells it from all others.
    pub key: String,
    /// The job.
    pub job: String,
    /// What.
    pub act: Act,
    /// What is open before it is gone past.
    #[serde(default)]
    pub despite: bool,
}

impl BenchTick {
    /// Its key.
    pub fn key(&self) -> &str {
        match self {
            BenchTick::Piece(tick) => &tick.key,
            BenchTick::Act(tick) => &tick.key,
        }
    }
}

/// What became of a tick.
#[derive(Clone, Debug, PartialEq)]
pub enum Ticked {
    /// It is on the disk.
    Saved,
    /// The sheet has another order: what is open, to be asked about.
    Ask(Vec<String>),
    /// It cannot be.
    Refused(Faults),
}

fn no_plan() -> Faults {
    Fault::new("there is no plan", "plan the job first").into()
}

impl OpenJob {
    /// The plan at the bench; none if there is none.
    ///
    /// # Errors
    /// The plan, the ledger or the kit's file cannot be read.
    pub fn at_bench(&mut self, now: &Moment) -> Result<Option<AtBench>, Faults> {
        let Some(plan) = self.plan()? else { return Ok(None) };
        let kit = Kit::of(self.draft.dir(), plan.plan())?;
        let book = self.book_of(plan.plan())?;
        let states = states(plan.plan(), &kit, book.as_ref())?;
        let when = When { today: Some(now.day), ..When::default() };
        let sheets = layup::layup(plan.plan(), &when);
        let lay_up = sheets.into_iter().map(|s| (kit.progress(&s.job), s)).map(|(p, s)| (s, p));
        let stamp = self.bench_stamp(&plan, &kit, book.as_ref());
        let changed = changed(plan.plan(), book.as_ref())?;
        Ok(Some(AtBench {
            changed,
            kit: kit.kit.clone(),
            in_ledger: book.is_some(),
            states,
            lay_up: lay_up.collect(),
            stamp,
            plan,
        }))
    }

    /// Rolls and offcuts of the plan that are no longer as it knew them.
    ///
    /// # Errors
    /// The plan or the ledger cannot be read.
    pub fn changed_since_planned(&mut self) -> Result<Faults, Faults> {
        let Some(plan) = self.plan()? else { return Ok(Faults::new()) };
        changed(plan.plan(), self.book_of(plan.plan())?.as_ref())
    }

    /// Whether all is cut, and whether all is laid and on record: what the steps of the work show.
    pub fn bench_done(&mut self) -> [bool; 2] {
        let Ok(Some(plan)) = self.plan() else { return [false; 2] };
        let Ok(kit) = Kit::of(self.draft.dir(), plan.plan()) else { return [false; 2] };
        let book = self.book_of(plan.plan()).unwrap_or_default();
        let states = states(plan.plan(), &kit, book.as_ref()).unwrap_or_default();
        let mut all = plan.plan().stocks.iter().flat_map(|s| &s.placed);
        let is_cut = |p: &plan::PlacedPiece| {
            let state = states.get(&(p.piece.clone(), p.copy));
            matches!(state, Some(CopyState::Cut | CopyState::Laid))
        };
        [all.all(is_cut), kit.has_record(self.draft.dir()) && kit.is_laid(plan.plan())]
    }

    /// How many copies of the plan are cut, laid or spoiled.
    pub fn begun_to_cut(&mut self) -> usize {
        let Ok(Some(plan)) = self.plan() else { return 0 };
        let Ok(kit) = Kit::of(self.draft.dir(), plan.plan()) else { return 0 };
        let book = self.book_of(plan.plan()).unwrap_or_default();
        states(plan.plan(), &kit, book.as_ref()).map_or(0, |s| s.len())
    }

    /// The offcuts that the kit of the plan left over and that are there still, by their names in
    /// the stock; none of a plan that was not made from it.
    ///
    /// # Errors
    /// The plan or the ledger cannot be read.
    pub fn left_over(&mut self) -> Result<Vec<String>, Faults> {
        let Some(plan) = self.plan()? else { return Ok(Vec::new()) };
        let Some(file) = self.book_of(plan.plan())? else { return Ok(Vec::new()) };
        let read = || {
            let ledger = Ledger::read(&file)?;
            let there: Vec<String> = ledger.records("offcut")?.iter().map(Record::id).collect();
            let mut left = ledger.left_by_kit(plan.plan())?;
            left.retain(|id| there.contains(id));
            Ok(left)
        };
        read().map_err(faults_of)
    }

    fn bench_stamp(&self, plan: &Verified, kit: &Kit, book: Option<&PathBuf>) -> String {
        let kit_file = kit.file(self.draft.dir());
        let all = [book.and_then(|b| about(b)), about(&kit_file)];
        let text = format!("{} {all:?}", plan.plan().id);
        // Short, and not to be read.
        super::draft::Revision::of(&text).name().to_string()
    }

    /// The ledger that a plan was made from, if it is the job's.
    fn book_of(&mut self, plan: &Plan) -> Result<Option<PathBuf>, Faults> {
        if plan.drawn_from.as_ref().is_none_or(|d| d.ledger.is_none()) {
            return Ok(None);
        }
        let beside = self.draft.dir().parent().map(|p| p.join(super::folder::LEDGER_FILE));
        let named = self.checked().job.as_ref().and_then(|j| j.stock.clone());
        let Some(file) = named.or(beside).filter(|f| is_ledger(f)) else { return Ok(None) };
        let is_its = Ledger::read(&file).and_then(|l| l.is_of(plan)).map_err(faults_of)?;
        Ok(is_its.then_some(file))
    }

    /// Counts ticks in their order, each once; those of another kit than the one that is there are
    /// refused.
    ///
    /// # Errors
    /// There is no plan; the ledger or the kit's file cannot be read or written.
    pub fn tick(
        &mut self,
        kit: &str,
        ticks: &[BenchTick],
        now: &Moment,
    ) -> Result<Vec<Ticked>, Faults> {
        let mut out = Vec::new();
        for tick in ticks {
            out.push(self.tick_one(kit, tick, now)?);
        }
        Ok(out)
    }

    fn tick_one(&mut self, kit_id: &str, tick: &BenchTick, now: &Moment) -> Result<Ticked, Faults> {
        let plan = self.plan()?.ok_or_else(no_plan)?;
        let mut kit = Kit::of(self.draft.dir(), plan.plan())?;
        if kit.kit != kit_id {
            let what = "this was ticked for a plan that is no longer there";
            let fault =
                Fault::new(what, "look at the plan as it is now, and tick what holds for it");
            return Ok(Ticked::Refused(fault.on(named(tick)).into()));
        }
        if kit.keys.contains(tick.key()) {
            return Ok(Ticked::Saved);
        }
        match tick {
            BenchTick::Piece(tick) => self.tick_piece(&plan, &mut kit, tick, now),
            BenchTick::Act(tick) => self.tick_act(&plan, &mut kit, tick, now),
        }
    }

    /// A tick of a piece, in the ledger or in the kit's own file. What only the machine refuses is
    /// an error: the same tick is sent again.
    fn tick_piece(
        &mut self,
        plan: &Arc<Verified>,
        kit: &mut Kit,
        tick: &PieceTick,
        now: &Moment,
    ) -> Result<Ticked, Faults> {
        if let Err(fault) = tick.sound() {
            return Ok(Ticked::Refused(fault.into()));
        }
        let back = tick.to == TickTo::Back;
        let before = if back { self.take_recut_back(plan, kit, tick)? } else { None };
        let plan = before.as_ref().unwrap_or(plan);
        if let Some(file) = self.book_of(plan.plan())? {
            let mut ledger = Ledger::write(&file).map_err(faults_of)?;
            return match ledger.tick(plan, tick, now) {
                Ok(_) => Ok(Ticked::Saved),
                Err(Trouble::Input(list)) => Ok(Ticked::Refused(list)),
                Err(other) => Err(faults_of(other)),
            };
        }
        if let Err(fault) = placed(plan.plan(), &tick.piece, tick.copy) {
            return Ok(Ticked::Refused(fault.into()));
        }
        kit.tick(&plan.plan().id, tick);
        kit.keys.insert(tick.key.clone());
        let id = &plan.plan().id;
        if !kit.plans.contains(id) {
            kit.plans.push(id.clone());
        }
        kit.save(self.draft.dir())?;
        Ok(Ticked::Saved)
    }

    fn tick_act(
        &mut self,
        plan: &Arc<Verified>,
        kit: &mut Kit,
        tick: &ActTick,
        now: &Moment,
    ) -> Result<Ticked, Faults> {
        let sheet = match sheet_of(plan.plan(), &tick.job, now) {
            Ok(sheet) => sheet,
            Err(fault) => return Ok(Ticked::Refused(fault.into())),
        };
        let mut progress = kit.progress(&tick.job);
        match progress.act(&sheet, &tick.act, tick.despite, now.seconds) {
            Ok(()) => {}
            Err(Held::Ask(open)) => return Ok(Ticked::Ask(open)),
            Err(Held::Fault(fault)) => return Ok(Ticked::Refused(fault.into())),
        }
        // What is laid is said in the ledger as well; a kill between the two is mended by the same
        // tick sent again.
        if let Act::Laid { piece, copy, on } = &tick.act {
            let state = states(plan.plan(), kit, self.book_of(plan.plan())?.as_ref())?;
            let is_laid = state.get(&(piece.clone(), *copy)) == Some(&CopyState::Laid);
            if is_laid != *on {
                let to = if *on { TickTo::Laid } else { TickTo::Back };
                let key = format!("{}-laid", tick.key);
                let laid = PieceTick { key, piece: piece.clone(), copy: *copy, to };
                let done = self.tick_piece(plan, kit, &laid, now)?;
                if done != Ticked::Saved {
                    return Ok(done);
                }
            }
        }
        kit.set_progress(progress);
        self.keep_kit(kit, plan, &tick.key)?;
        Ok(Ticked::Saved)
    }

    fn keep_kit(&self, kit: &mut Kit, plan: &Verified, key: &str) -> Result<(), Faults> {
        kit.keys.insert(key.to_string());
        kit.is_planned(plan.plan());
        kit.laid = Some(kit.is_laid(plan.plan()));
        if !kit.plans.contains(&plan.plan().id) {
            kit.plans.push(plan.plan().id.clone());
        }
        kit.save(self.draft.dir())
    }

    /// Plans pieces that are spoiled again, each from the smallest offcut that takes it; all else
    /// stays where it lies. The plan before is kept in the kit's folder. Says what is cut from
    /// where: number of the piece, roll or offcut.
    ///
    /// # Errors
    /// The job is at fault, the stock has changed, a piece finds no place, or the machine's.
    pub fn recut(&mut self, now: &Moment) -> Result<Vec<[String; 2]>, Faults> {
        let (plan, mut kit, book) = self.kit_to_change()?;
        let spoiled: Vec<(String, u32)> = states(plan.plan(), &kit, book.as_ref())?
            .into_iter()
            .filter(|(_, state)| *state == CopyState::Spoiled)
            .map(|(at, _)| at)
            .collect();
        if spoiled.is_empty() {
            return Ok(Vec::new());
        }
        as_planned(plan.plan(), book.as_ref())?;
        let made = self.elsewhere(&plan, &kit, &spoiled, None, now)?;
        let mut said = Vec::new();
        for (piece, copy) in &spoiled {
            let (on, _) = placed(made.plan(), piece, *copy)?;
            let number = made.plan().pieces.iter().find(|p| p.piece == *piece);
            let number = number.map_or(piece, |p| &p.number);
            said.push([number.clone(), on.id.clone()]);
            let piece = format!("{number} ({piece}, copy {copy})");
            let (from, plan) = (on.id.clone(), made.plan().id.clone());
            kit.cut_again.push(CutAgain { at: now.seconds, piece, from, plan });
        }
        self.go_on_with(&plan, kit, made)?;
        Ok(said)
    }

    /// Records a flaw on a roll of a plan that is cut in part: pieces that lie on it and are not cut
    /// go elsewhere, all else stays where it lies. Nothing is recorded if one finds no place.
    pub(super) fn mend_while_cutting(
        &mut self,
        flaw: &FlawOn,
        seen: &str,
        now: &Moment,
    ) -> Result<(), Refused> {
        let (plan, kit, book) = self.kit_to_change()?;
        as_planned(plan.plan(), book.as_ref())?;
        let states = states(plan.plan(), &kit, book.as_ref())?;
        let before = self.draft.revision();
        let (_, ring) = self.add_flaw(flaw, seen, now)?;
        let stocks = plan.plan().stocks.iter().filter(|s| s.id == flaw.stock);
        let is_on_it = |p: &&plan::PlacedPiece| {
            let is_open =
                matches!(states.get(&(p.piece.clone(), p.copy)), None | Some(CopyState::Again));
            let rings = std::iter::once(&p.outline).chain(&p.holes);
            is_open && !intersection(rings, [&ring]).is_empty()
        };
        let on_it = stocks.flat_map(|s| &s.placed).filter(is_on_it);
        let on_it: Vec<(String, u32)> = on_it.map(|p| (p.piece.clone(), p.copy)).collect();
        match self.elsewhere(&plan, &kit, &on_it, Some((&flaw.stock, &ring)), now) {
            Ok(made) => Ok(self.go_on_with(&plan, kit, made)?),
            Err(list) => {
                match &book {
                    Some(file) => {
                        let undone = Ledger::write(file).and_then(|mut l| l.undo(now));
                        undone.map_err(faults_of)?;
                    }
                    None if self.draft.revision() != before => {
                        self.draft.undo(&self.draft.revision())?;
                    }
                    None => {}
                }
                Err(list.into())
            }
        }
    }

    /// The plan, its kit and the ledger it was made from, if it is not being made anew just now.
    #[allow(clippy::type_complexity)]
    fn kit_to_change(&mut self) -> Result<(Arc<Verified>, Kit, Option<PathBuf>), Faults> {
        if self.planning.as_ref().is_some_and(|p| p.is_running()) {
            return Err(Fault::new("this job is being planned", "stop that run first").into());
        }
        let plan = self.plan()?.ok_or_else(no_plan)?;
        let mut kit = Kit::of(self.draft.dir(), plan.plan())?;
        // Before any piece counts as cut again.
        kit.is_planned(plan.plan());
        let book = self.book_of(plan.plan())?;
        Ok((plan, kit, book))
    }

    /// The plan with copies of pieces cut from elsewhere, off a flaw if there is one.
    fn elsewhere(
        &mut self,
        plan: &Verified,
        kit: &Kit,
        copies: &[(String, u32)],
        flaw: Option<(&str, &Ring)>,
        now: &Moment,
    ) -> Result<Verified, Faults> {
        let checked = self.checked();
        let job = checked.job.clone().ok_or_else(|| {
            let faults = checked.notes.iter().filter(|n| !n.warning).map(|n| n.fault.clone());
            Faults(faults.collect())
        })?;
        let drawn = plan.plan().drawn_from.is_some();
        let stock = job.stock.as_deref().filter(|_| drawn);
        let stock = stock.map(|file| self.stock_seen.read(file, now)).transpose()?;
        let finished = match self.book_of(plan.plan())? {
            Some(file) => Ledger::read(&file).and_then(|l| l.finished(plan.plan())),
            None => Ok(Vec::new()),
        };
        let finished = finished.map_err(faults_of)?;
        let is_done = |id: &str| finished.iter().any(|f| f == id);
        let so_far = CutSoFar { kit: &kit.kit, spoiled: copies, flaw, is_done: &is_done };
        planner::recut(plan.plan(), &[job], stock.as_deref(), &so_far)
            .map_err(planner::Refusal::into_faults)
    }

    /// Keeps the plan that was, and puts the other in its place.
    fn go_on_with(&mut self, plan: &Verified, mut kit: Kit, made: Verified) -> Result<(), Faults> {
        let book = self.book_of(plan.plan())?;
        kit.plans = [&kit.plans[..], &[plan.plan().id.clone(), made.plan().id.clone()]].concat();
        kit.plans.dedup();
        kit.used = taken(made.plan(), book.as_ref())?;
        let old = plan::to_json(plan.plan());
        kit.keep(self.draft.dir(), &plan_name(&plan.plan().id), old.as_bytes())?;
        kit.save(self.draft.dir())?;
        self.put_plan(Arc::new(made))
    }

    /// The plan before a recut, put in place again, if a piece that is called spoiled is not, and
    /// nothing was cut by the plan that cuts it again.
    fn take_recut_back(
        &mut self,
        plan: &Arc<Verified>,
        kit: &mut Kit,
        tick: &PieceTick,
    ) -> Result<Option<Arc<Verified>>, Faults> {
        let book = self.book_of(plan.plan())?;
        let now = states(plan.plan(), kit, book.as_ref())?;
        if now.get(&(tick.piece.clone(), tick.copy)) != Some(&CopyState::Again) {
            return Ok(None);
        }
        let records = records(plan.plan(), kit, book.as_ref())?;
        let by = records.iter().find(|r| r.0 == tick.piece && r.1 == tick.copy);
        let Some(by) = by.map(|r| r.3.clone()) else { return Ok(None) };
        let file = kit.plan_file(self.draft.dir(), &by);
        let used = records.iter().any(|r| r.3 == plan.plan().id);
        // The plan before one that goes round a flaw knows nothing of the flaw.
        let is_recut = kit.cut_again.iter().any(|c| c.plan == plan.plan().id);
        if used || !is_recut || !file.is_file() {
            return Ok(None);
        }
        let before = Arc::new(read_plan(&file)?);
        if before.plan().id != by {
            return Ok(None);
        }
        self.put_plan(Arc::clone(&before))?;
        kit.cut_again.retain(|c| c.plan != plan.plan().id);
        kit.used = taken(before.plan(), book.as_ref())?;
        kit.save(self.draft.dir())?;
        Ok(Some(before))
    }

    /// Writes a plan in place of the one that is there.
    fn put_plan(&mut self, plan: Arc<Verified>) -> Result<(), Faults> {
        let files = plan_files(&plan, &Run::default())?;
        plan::folder::write(&self.draft.dir().join(PLAN_FOLDER), &files)?;
        self.plan_is(plan);
        // What was changed by hand before is not one step away from it.
        self.on_table = OnTable::default();
        Ok(())
    }

    /// Keeps a photo of a step, made small and without what a camera writes into it.
    ///
    /// # Errors
    /// It is none; another plan is there by now; the machine's.
    pub fn take_photo(
        &mut self,
        (kit_id, job, step): (&str, &str, Option<usize>),
        key: &str,
        bytes: &[u8],
        now: &Moment,
    ) -> Result<(), Faults> {
        let plan = self.plan()?.ok_or_else(no_plan)?;
        let mut kit = Kit::of(self.draft.dir(), plan.plan())?;
        let sheet = sheet_of(plan.plan(), job, now)?;
        if kit.kit != kit_id || step.is_some_and(|s| s >= sheet.steps.len()) {
            let what = "the photo is of a step that is no longer there";
            return Err(Fault::new(what, "look at the lay-up as it is now").into());
        }
        if kit.keys.contains(key) {
            return Ok(());
        }
        let small = small_photo(bytes)?;
        let mut progress = kit.progress(job);
        let number = kit.lay_up.iter().map(|p| p.photos.len()).sum::<usize>() + 1;
        let file = format!("photo-{number}.jpg");
        kit.keep(self.draft.dir(), &file, &small)?;
        progress.photos.push(layup::Photo { step, file, at: now.seconds });
        progress.begun = progress.begun.or(Some(now.seconds));
        kit.set_progress(progress);
        self.keep_kit(&mut kit, &plan, key)
    }

    /// A photo or the record of the kit that is there, by its name.
    pub fn kit_file(&mut self, name: &str) -> Option<Vec<u8>> {
        let plan = self.plan().ok()??;
        let kit = Kit::of(self.draft.dir(), plan.plan()).ok()?;
        let known = kit.lay_up.iter().flat_map(|p| &p.photos).any(|p| p.file == name);
        let is_record = name.starts_with("record") && crate::file_name::checked(name).is_ok();
        (known || is_record).then(|| std::fs::read(kit.folder(self.draft.dir()).join(name)).ok())?
    }

    /// Writes the record of a job's part into the kit's folder, as page and PDF; says how they are
    /// called. `time` words a moment by the clock on the wall.
    ///
    /// # Errors
    /// There is no such job, or the machine's.
    pub fn write_record(
        &mut self,
        job: &str,
        now: &Moment,
        time: &dyn Fn(i64) -> String,
    ) -> Result<[String; 2], Faults> {
        let plan = self.plan()?.ok_or_else(no_plan)?;
        let kit = Kit::of(self.draft.dir(), plan.plan())?;
        let sheet = sheet_of(plan.plan(), job, now)?;
        let stock = match self.book_of(plan.plan())? {
            Some(file) => Some(self.stock_seen.read(&file, now)?),
            None => None,
        };
        let cloth: Vec<ClothUsed> = sheet
            .rolls
            .iter()
            .map(|row| {
                let id = words::in_stock(&row.stock);
                let age = stock.as_ref().and_then(|s| {
                    let roll = s.rolls.iter().find(|r| r.id() == id).map(|r| *r.age());
                    roll.or_else(|| s.offcuts.iter().find(|o| o.id() == id).map(|o| *o.age()))
                });
                ClothUsed {
                    stock: id.to_string(),
                    cloth: row.cloth.clone(),
                    batch: row.batch.clone(),
                    expiry: row.expiry.clone(),
                    hours: age.map(|a| (a.out_hours, a.out_life_hours)),
                    were_left: row.hours_left,
                }
            })
            .collect();
        let spoiled: Vec<String> = kit
            .cut_again
            .iter()
            .map(|c| format!("{}: {}, cut again from {}", time(c.at), c.piece, c.from))
            .collect();
        let folder = kit.folder(self.draft.dir());
        let record = PartRecord {
            plan: plan.plan(),
            sheet: &sheet,
            progress: &kit.progress(job),
            cloth: &cloth,
            spoiled: &spoiled,
            photos: &|file| std::fs::read(folder.join(file)).ok(),
            time,
            now: now.seconds,
        };
        // One job's record needs no name.
        let of = if plan.plan().jobs.len() > 1 {
            format!("record-{}", crate::file_name::made_of(job))
        } else {
            "record".into()
        };
        let names = ["html", "pdf"].map(|ending| format!("{of}.{ending}"));
        std::fs::create_dir_all(&folder).map_err(|e| {
            let what = said!("it cannot be made: {e}");
            Fault::new(what, "check space and permissions").in_file(&folder)
        })?;
        for (name, written) in names.iter().zip(sheet::part_record(&record)) {
            write_whole(&folder.join(name), &written.bytes)?;
        }
        Ok(names)
    }
}

fn named(tick: &BenchTick) -> String {
    match tick {
        BenchTick::Piece(tick) => format!("piece {} copy {}", tick.piece, tick.copy),
        BenchTick::Act(tick) => format!("lay-up of {}", tick.job),
    }
}

fn is_ledger(file: &std::path::Path) -> bool {
    let mut head = [0; 16];
    std::fs::File::open(file).and_then(|mut f| std::io::Read::read_exact(&mut f, &mut head)).is_ok()
        && head.starts_with(b"SQLite format 3\0")
}

fn sheet_of(plan: &Plan, job: &str, now: &Moment) -> Result<LayupSheet, Fault> {
    let when = When { today: Some(now.day), ..When::default() };
    let mut sheets = layup::layup(plan, &when).into_iter();
    sheets.find(|s| s.job == job).ok_or_else(|| {
        Fault::new(said!("the plan has no job {job}"), "look at the plan as it is now")
    })
}

/// What of a plan's rolls and offcuts is no longer as it knew them, by the ledger's own rule.
fn changed(plan: &Plan, book: Option<&PathBuf>) -> Result<Faults, Faults> {
    let Some(file) = book else { return Ok(Faults::new()) };
    Ledger::read(file).and_then(|l| l.changed_since(plan)).map_err(faults_of)
}

/// Refuses a plan whose rolls and offcuts are no longer as it knew them.
fn as_planned(plan: &Plan, book: Option<&PathBuf>) -> Result<(), Faults> {
    changed(plan, book)?.into_result(())
}

/// The cloth that a plan took, left-overs of its own kit counted once.
fn taken(plan: &Plan, book: Option<&PathBuf>) -> Result<Vec<(String, f64)>, Faults> {
    let own = match book {
        Some(file) => Ledger::read(file).and_then(|l| l.left_by_kit(plan)).map_err(faults_of)?,
        None => Vec::new(),
    };
    Ok(consumed(plan, &own))
}

/// Piece, copy, state, and the plan that said so.
type Row = (String, u32, PieceState, String);

fn records(plan: &Plan, kit: &Kit, book: Option<&PathBuf>) -> Result<Vec<Row>, Faults> {
    if let Some(file) = book {
        let all = Ledger::read(file).and_then(|l| l.pieces_of(plan)).map_err(faults_of)?;
        return Ok(all.into_iter().map(|p| (p.piece, p.copy, p.state, p.plan)).collect());
    }
    let row = |p: &super::kit::OwnPiece| {
        let (state, by) = p.states.last()?;
        Some((p.piece.clone(), p.copy, *state, by.clone()))
    };
    Ok(kit.cut.iter().filter_map(row).collect())
}

/// What became of each copy that is not simply to be cut.
fn states(
    plan: &Plan,
    kit: &Kit,
    book: Option<&PathBuf>,
) -> Result<BTreeMap<(String, u32), CopyState>, Faults> {
    let state = |(piece, copy, state, by): Row| {
        let now = match state {
            PieceState::Cut => CopyState::Cut,
            PieceState::Laid => CopyState::Laid,
            PieceState::Spoiled if by == plan.id => CopyState::Spoiled,
            PieceState::Spoiled => CopyState::Again,
        };
        ((piece, copy), now)
    };
    Ok(records(plan, kit, book)?.into_iter().map(state).collect())
}

/// A photo as it is kept: upright, no larger than it needs to be, and nothing in it but the
/// picture.
fn small_photo(bytes: &[u8]) -> Result<Vec<u8>, Fault> {
    let none = |e: &dyn std::fmt::Display| {
        Fault::new(said!("this is no photo that can be read: {e}"), "take a JPEG or PNG")
    };
    let mut reader =
        image::ImageReader::new(Cursor::new(bytes)).with_guessed_format().map_err(|e| none(&e))?;
    let mut limits = image::Limits::default();
    limits.max_image_width = Some(20_000);
    limits.max_image_height = Some(20_000);
    reader.limits(limits);
    let mut decoder = reader.into_decoder().map_err(|e| none(&e))?;
    let upright = decoder.orientation().unwrap_or(image::metadata::Orientation::NoTransforms);
    let mut photo = image::DynamicImage::from_decoder(decoder).map_err(|e| none(&e))?;
    photo.apply_orientation(upright);
    if photo.width().max(photo.height()) > PHOTO {
        photo = photo.thumbnail(PHOTO, PHOTO);
    }
    let mut out = Cursor::new(Vec::new());
    let encoder = image::codecs::jpeg::JpegEncoder::new_with_quality(&mut out, 85);
    photo.to_rgb8().write_with_encoder(encoder).map_err(|e| none(&e))?;
    Ok(out.into_inner())
}
