//! A job that is open: its draft, what its check found, and its plan.

use super::checked::{Checked, Readings};
use super::draft::Draft;
use super::folder::{Folder, JOB_FILE, PLAN_FOLDER, about};
use super::on_table::OnTable;
use super::planning::{Planning, Settings};
use super::stock_file::read_stock;
use super::stock_seen::StockSeen;
use crate::fault::{Fault, Faults, Said};
use crate::job::library_of;
use crate::ledger::Moment;
use crate::plan;
use crate::verify::{self, Verified};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::SystemTime;

/// When files were written and how long they are: tells that one has changed.
type Stamp = Vec<(PathBuf, Option<(SystemTime, u64)>)>;

/// A job that is open.
#[derive(Debug)]
pub struct OpenJob {
    /// The job file and its past.
    pub draft: Draft,
    /// The run that plans it, if one was begun.
    pub planning: Option<Arc<Planning>>,
    /// The workshop that it lies in and the name of its folder there, where it was opened so.
    pub place: Option<(Folder, String)>,
    /// How it was last asked to be planned.
    pub asked: Option<Settings>,
    /// The stock as it was last read, by whichever job.
    pub stock_seen: Arc<StockSeen>,
    readings: Readings,
    checked: Option<(String, Stamp, Arc<Checked>)>,
    plan: Option<(Stamp, Result<Arc<Verified>, Faults>)>,
    pub(super) on_table: OnTable,
}

impl OpenJob {
    /// Opens the job in a folder.
    ///
    /// # Errors
    /// Its file cannot be read.
    pub fn open(dir: &Path) -> Result<OpenJob, Faults> {
        Ok(OpenJob {
            draft: Draft::open(dir)?,
            planning: None,
            place: None,
            asked: None,
            stock_seen: Arc::default(),
            readings: Readings::default(),
            checked: None,
            plan: None,
            on_table: OnTable::default(),
        })
    }

    /// The job as it stands, checked anew only if its file or a file beside it has changed.
    pub fn checked(&mut self) -> Arc<Checked> {
        let stamp = stamp_of(self.draft.dir());
        if let Some((text, seen, checked)) = &self.checked
            && text == self.draft.text()
            && *seen == stamp
        {
            return Arc::clone(checked);
        }
        let checked = Arc::new(self.readings.check(self.draft.text(), self.draft.file()));
        self.checked = Some((self.draft.text().to_string(), stamp, Arc::clone(&checked)));
        checked
    }

    /// The plan in its plan folder, read and verified anew only if it has changed; none if there is
    /// none.
    ///
    /// # Errors
    /// What is wrong with it.
    pub fn plan(&mut self) -> Result<Option<Arc<Verified>>, Faults> {
        let file = self.draft.dir().join(PLAN_FOLDER).join("plan.json");
        let stamp = vec![(file.clone(), about(&file))];
        if stamp.iter().all(|s| s.1.is_none()) {
            return Ok(None);
        }
        if self.plan.as_ref().is_none_or(|(seen, _)| *seen != stamp) {
            self.plan = Some((stamp, read_plan(&file).map(Arc::new)));
        }
        self.plan.as_ref().map(|(_, plan)| plan.clone()).transpose()
    }

    /// The plan that was just written there: it needs no reading.
    pub(super) fn plan_is(&mut self, plan: Arc<Verified>) {
        let file = self.draft.dir().join(PLAN_FOLDER).join("plan.json");
        self.plan = Some((vec![(file.clone(), about(&file))], Ok(plan)));
    }

    /// Begins to plan the job as it stands, from the stock it names.
    ///
    /// # Errors
    /// The job is at fault, its stock cannot be read, or a run is under way.
    pub fn begin(&mut self, settings: Settings, now: &Moment) -> Result<Arc<Planning>, Faults> {
        if self.planning.as_ref().is_some_and(|p| p.is_running()) {
            return Err(Fault::new("this job is being planned", "stop that run first").into());
        }
        let checked = self.checked();
        let job = match &checked.job {
            Some(job) if checked.is_sound() => job.clone(),
            _ => {
                return Err(Faults(
                    checked.notes.iter().filter(|n| !n.warning).map(|n| n.fault.clone()).collect(),
                ));
            }
        };
        let stock = job.stock.as_deref().map(|file| read_stock(file, now)).transpose()?;
        let before = self.plan().ok().flatten();
        let planning = Planning::begin(self.draft.dir(), job, stock, settings);
        self.planning = Some(Arc::clone(&planning));
        self.asked = Some(settings);
        // Steps by hand before a new plan are not steps away from it; the plan itself is.
        self.on_table = OnTable::default();
        before.into_iter().for_each(|plan| self.on_table.remember(plan));
        Ok(planning)
    }
}

/// The files in a job's folder that a job can be made of.
fn stamp_of(dir: &Path) -> Stamp {
    let drawing = |path: &Path| {
        path.extension()
            .is_some_and(|e| ["svg", "dxf", "csv"].iter().any(|k| e.eq_ignore_ascii_case(k)))
    };
    let mut stamp: Stamp = Vec::new();
    let mut folders = vec![(dir.to_path_buf(), 0)];
    while let Some((folder, depth)) = folders.pop() {
        for path in
            std::fs::read_dir(&folder).into_iter().flatten().filter_map(|e| Some(e.ok()?.path()))
        {
            if drawing(&path) {
                stamp.push((path.clone(), about(&path)));
            } else if depth < 4
                && path.is_dir()
                && !path.is_symlink()
                && path.file_name().is_some_and(|n| n != PLAN_FOLDER)
            {
                folders.push((path, depth + 1));
            }
        }
    }
    // What a job takes from the library changes with it.
    stamp.extend(library_of(&dir.join(JOB_FILE)).map(|file| (file.clone(), about(&file))));
    stamp.sort();
    stamp
}

/// The verified plan in a file.
///
/// # Errors
/// What is wrong with it.
pub fn read_plan(file: &Path) -> Result<Verified, Faults> {
    let fault = |what: Said| Faults::from(Fault::new(what, "plan the job again").in_file(file));
    let about =
        std::fs::metadata(file).map_err(|e| fault(said!("the plan cannot be read: {e}")))?;
    if !about.is_file() || about.len() > plan::LARGEST_FILE {
        return Err(fault("this is no plan: not an ordinary file, or too large".into()));
    }
    let text =
        std::fs::read_to_string(file).map_err(|e| fault(said!("the plan cannot be read: {e}")))?;
    plan::from_json(&text).and_then(verify::verify).map_err(|faults| faults.in_file(file))
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::run::Stop;
    use crate::workshop::{Edit, Entry};

    const JOB: &str = "[job]\nname = \"plate\"\n[[cloth]]\nid = \"twill\"\nweave = \"plain\"\nup = \"paper\"\nroll_width = 600\nselvedge = 0\n\
                       [[template]]\nid = \"plate\"\nfile = \"plate.svg\"\narrow = 0\ntaken_off = \"mould\"\ninked_side = \"up\"\n\
                       [[layer]]\ncloth = \"twill\"\nangle = 0\ntemplates = [\"plate\"]\n";

    fn plate(side: u32) -> String {
        format!(
            "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"500mm\" height=\"500mm\" viewBox=\"0 0 500 500\">\
             <rect x=\"9\" y=\"9\" width=\"{side}\" height=\"{side}\"/></svg>"
        )
    }

    #[test]
    fn a_job_is_checked_again_when_its_text_or_a_drawing_has_changed_and_only_then() {
        let home = tempfile::tempdir().unwrap();
        std::fs::write(home.path().join("job.toml"), JOB).unwrap();
        let mut open = OpenJob::open(home.path()).unwrap();
        assert!(
            open.checked().notes.iter().any(|n| n.at.as_deref() == Some("template.0.file")),
            "{:?}",
            open.checked().notes
        );
        std::fs::write(home.path().join("plate.svg"), plate(100)).unwrap();
        let first = open.checked();
        assert!(first.is_sound(), "{:?}", first.notes);
        assert!(Arc::ptr_eq(&first, &open.checked()));
        let wider = Edit::Set { at: "cloth.0.roll_width".into(), to: Entry::Number(700.0) };
        open.draft.edit(&wider, &open.draft.revision()).unwrap();
        assert!(!Arc::ptr_eq(&first, &open.checked()));
    }

    #[test]
    fn a_job_at_fault_is_not_planned_and_a_plan_is_read_once() {
        let home = tempfile::tempdir().unwrap();
        std::fs::write(home.path().join("job.toml"), JOB).unwrap();
        let now =
            Moment { seconds: 1_790_000_000, day: crate::stock::Day::parse("2026-09-21").unwrap() };
        let settings = || Settings {
            stop: Stop::Effort(1),
            early: false,
            seed: 1,
            threads: 1,
            sets: 1,
            day: now.day,
        };
        let mut open = OpenJob::open(home.path()).unwrap();
        assert!(open.begin(settings(), &now).is_err());
        assert!(open.plan().unwrap().is_none());
        std::fs::write(home.path().join("plate.svg"), plate(200)).unwrap();
        let run = open.begin(settings(), &now).unwrap();
        while run.is_running() {
            std::thread::yield_now();
        }
        let plan = open.plan().unwrap().unwrap();
        assert_eq!(plan.plan().jobs, ["plate"]);
        assert!(Arc::ptr_eq(&plan, &open.plan().unwrap().unwrap()));
        std::fs::write(home.path().join("plan/plan.json"), "{}").unwrap();
        assert!(open.plan().is_err());
    }
}
