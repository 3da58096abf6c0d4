//! A plan in the making: searched on a thread of its own, watched and stopped from anywhere,
//! written when it is verified.

use super::folder::PLAN_FOLDER;
use super::plan_files::plan_files;
use crate::day::Day;
use crate::fault::{Fault, Faults};
use crate::job::{self, Job};
use crate::live::{Ground, Layout};
use crate::plan;
use crate::planner::{self, Refusal};
use crate::run::{self, Cancel, Observer, Progress, Run, Stop};
use crate::stock::Snapshot;
use crate::verify::Verified;
use serde::Serialize;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

/// What a planning run is doing.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Phase {
    /// Preparing pieces and laying them out for the first time.
    #[default]
    Begun,
    /// Searching for a shorter layout.
    Searching,
    /// Drawing and writing the plan folder.
    Writing,
    /// The plan folder is written.
    Done,
    /// There is no plan; what was in the plan folder is still there.
    Refused,
}

/// The state of a planning run. Lengths mm.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct News {
    /// Rises with every change.
    pub number: u64,
    /// What it is doing.
    pub phase: Phase,
    /// The cloth it is done on.
    pub cloth: String,
    /// Share done, 0 to 1.
    pub share: f64,
    /// Length of the first layout of that cloth.
    pub first_length: Option<f64>,
    /// Length of the best so far.
    pub best_length: Option<f64>,
    /// No layout of that cloth can be shorter.
    pub least_length: Option<f64>,
    /// Share of that length of the roll, selvedges and all, that is pieces, 0 to 1: as the figures
    /// of the plan have it of a roll.
    pub density: Option<f64>,
    /// Usable share of the roll's width: the search knows no more of it.
    #[serde(skip)]
    usable: Option<f64>,
    /// It was asked to stop: the best layouts are kept.
    pub stopping: bool,
    /// Why there is no plan.
    #[serde(skip)]
    pub faults: Faults,
}

/// How a plan is made.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Settings {
    /// Time for the whole run, or rounds of search for each cloth.
    pub stop: Stop,
    /// A timed search ends as soon as the rest of its time promises next to nothing.
    pub early: bool,
    /// Seed of every random choice.
    pub seed: u64,
    /// Worker threads; 0 means one a core.
    pub threads: usize,
    /// How many sets of everything to cut.
    pub sets: u32,
    /// The day it is done.
    pub day: Day,
}

/// The best layout of a cloth so far as it is drawn; numbers rise with every change.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Picture {
    /// Number of the ground.
    pub ground_number: u64,
    /// What the layout lies on.
    pub ground: Arc<Ground>,
    /// Number of the layout.
    pub layout_number: u64,
    /// Where everything lies.
    pub layout: Arc<Layout>,
}

/// The layouts of all cloths, in the order they are come to.
#[derive(Debug, Default)]
struct Pictures {
    all: Vec<Picture>,
    /// Which is searched for.
    now: usize,
}

impl Pictures {
    /// What the layout of a cloth lies on, and that layout.
    fn put(&mut self, ground: Ground, layout: Layout) {
        let same = self.all.iter().position(|p| p.ground.cloth == ground.cloth);
        self.now = same.unwrap_or(self.all.len());
        if self.now == self.all.len() {
            self.all.push(Picture::default());
        }
        let picture = &mut self.all[self.now];
        picture.ground_number += 1;
        picture.layout_number += 1;
        (picture.ground, picture.layout) = (Arc::new(ground), Arc::new(layout));
    }
}

/// A run that was begun.
#[derive(Debug, Default)]
pub struct Planning {
    cancel: Cancel,
    news: Mutex<News>,
    pictures: Mutex<Pictures>,
    /// Nobody looked at the layout yet that was handed over last: no other is needed before.
    is_unseen: AtomicBool,
}

impl Planning {
    /// Begins to plan a job; its plan folder lies in `dir`. The stock is taken from where there is
    /// one.
    pub fn begin(
        dir: &Path,
        job: Job,
        stock: Option<Snapshot>,
        settings: Settings,
    ) -> Arc<Planning> {
        let file = job.file.clone();
        Planning::run(dir, file, settings, move |run| {
            let jobs = std::slice::from_ref(&job);
            match &stock {
                Some(stock) => planner::plan_from_stock(jobs, stock, settings.sets, run),
                None => planner::plan(jobs, settings.sets, run),
            }
        })
    }

    /// Begins to make a plan of the job in this file; its plan folder lies in `dir`.
    pub(super) fn run(
        dir: &Path,
        file: PathBuf,
        settings: Settings,
        plan: impl FnOnce(&Run<'_>) -> Result<Verified, Refusal> + Send + 'static,
    ) -> Arc<Planning> {
        let planning = Arc::new(Planning::default());
        let (run, dir) = (Arc::clone(&planning), dir.to_path_buf());
        std::thread::spawn(move || {
            // A defect of this program must not leave a run that never ends.
            let made = catch_unwind(AssertUnwindSafe(|| run.make(&dir, &file, &settings, plan)));
            let outcome = made.unwrap_or_else(|_| {
                Err(Fault::new(
                    "planning broke off: a defect of this program",
                    "plan again with another seed",
                )
                .into())
            });
            run.tell(|news| match outcome {
                Ok(()) => news.phase = Phase::Done,
                Err(faults) => (news.phase, news.faults) = (Phase::Refused, faults),
            });
        });
        planning
    }

    /// How it stands.
    pub fn news(&self) -> News {
        self.news.lock().unwrap_or_else(PoisonError::into_inner).clone()
    }

    /// The layout of each cloth as it is drawn. Only who asks again gets a newer one, so that the search does
    /// nothing for a picture that nobody looks at.
    pub fn pictures(&self) -> Vec<Picture> {
        self.is_unseen.store(false, Ordering::Relaxed);
        self.drawn().all.clone()
    }

    fn drawn(&self) -> MutexGuard<'_, Pictures> {
        self.pictures.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// True until the plan is written or refused.
    pub fn is_running(&self) -> bool {
        !matches!(self.news().phase, Phase::Done | Phase::Refused)
    }

    /// Ends the search; the best layouts so far become the plan.
    pub fn stop(&self) {
        // Asked twice, the run would keep nothing.
        if self.cancel.asked() == 0 {
            self.cancel.ask();
        }
        self.tell(|news| news.stopping = true);
    }

    fn tell(&self, change: impl FnOnce(&mut News)) {
        let mut news = self.news.lock().unwrap_or_else(PoisonError::into_inner);
        news.number += 1;
        change(&mut news);
    }

    fn make(
        &self,
        dir: &Path,
        file: &Path,
        settings: &Settings,
        plan: impl FnOnce(&Run<'_>) -> Result<Verified, Refusal>,
    ) -> Result<(), Faults> {
        let folder = dir.join(PLAN_FOLDER);
        plan::folder::check(&folder)?;
        let run = Run::new(settings.stop)
            .with_seed(settings.seed)
            .with_threads(settings.threads)
            .with_day(settings.day);
        let run = if settings.early { run.while_it_pays() } else { run };
        let run = run.with_cancel(&self.cancel).with_observer(self);
        let plan = plan(&run).map_err(|refusal| {
            let faults = refusal.into_faults().in_file(file);
            Faults(job::placed(faults.0, &|file: &Path| std::fs::read_to_string(file).ok()))
        })?;
        let files = plan_files(&plan, &run)?;
        plan::folder::write(&folder, &files).map(|_| ())
    }
}

impl Observer for Planning {
    fn progress(&self, progress: &Progress<'_>) {
        self.tell(|news| {
            if news.cloth != progress.on {
                (news.first_length, news.least_length) = (None, None);
            }
            news.cloth = progress.on.into();
            news.phase = match progress.phase {
                run::Phase::Searching => Phase::Searching,
                run::Phase::Verifying | run::Phase::Writing => Phase::Writing,
                _ => Phase::Begun,
            };
            if let Some(share) = progress.share {
                news.share = share;
            }
            if progress.best_length.is_some() {
                news.first_length = news.first_length.or(progress.best_length);
                news.best_length = progress.best_length;
                news.density = progress.density.map(|d| d * news.usable.unwrap_or(1.0));
            }
        });
    }

    fn ground(&self, make: &dyn Fn() -> Ground) {
        let ground = make();
        self.tell(|news| {
            (news.cloth, news.first_length) = (ground.cloth.clone(), None);
            news.least_length = Some(ground.least_length);
            let roll = ground.stocks.iter().find(|s| s.rings.is_empty() && s.width > 0.0);
            news.usable = roll.map(|r| 1.0 - 2.0 * r.selvedge / r.width);
        });
        self.is_unseen.store(false, Ordering::Relaxed);
        self.drawn().put(ground, Layout::default());
    }

    fn wants_layout(&self) -> bool {
        !self.is_unseen.load(Ordering::Relaxed)
    }

    fn layout(&self, layout: &Layout) {
        self.is_unseen.store(true, Ordering::Relaxed);
        let mut pictures = self.drawn();
        let now = pictures.now;
        if let Some(picture) = pictures.all.get_mut(now) {
            picture.layout_number += 1;
            picture.layout = Arc::new(layout.clone());
        }
    }

    fn settled(&self, make: &dyn Fn() -> (Ground, Layout)) {
        let (ground, layout) = make();
        self.drawn().put(ground, layout);
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use std::time::Duration;

    const JOB: &str = "[job]\nname = \"tapes\"\n[[cloth]]\nid = \"tape\"\nweave = \"plain\"\nup = \"paper\"\nroll_width = 300\nselvedge = 0\n\
                       [[strip]]\nid = \"rail\"\nlength = 260\nwidth = 45\n[[layer]]\ncloth = \"tape\"\nangle = 0\ntemplates = [\"rail\"]\ncopies = 9\n";

    fn planned(text: &str, stop: Stop, meanwhile: impl Fn(&Planning)) -> (tempfile::TempDir, News) {
        let home = tempfile::tempdir().unwrap();
        std::fs::write(home.path().join("job.toml"), text).unwrap();
        let (job, _) = job::load(&home.path().join("job.toml")).unwrap();
        let planning = Planning::begin(
            home.path(),
            job,
            None,
            Settings { stop, early: false, seed: 1, threads: 1, sets: 1, day: Day::today() },
        );
        while planning.is_running() {
            meanwhile(&planning);
            std::thread::yield_now();
        }
        meanwhile(&planning);
        (home, planning.news())
    }

    /// The search knows the usable width alone.
    #[test]
    fn the_yield_that_is_told_is_that_of_the_plan() {
        let text = JOB.replace("selvedge = 0", "selvedge = 20");
        let (home, news) = planned(&text, Stop::Effort(2), |_| {});
        let text = std::fs::read_to_string(home.path().join("plan/plan.json")).unwrap();
        let yield_ = plan::from_json(&text).unwrap().cloths[0].yield_;
        assert!((news.density.unwrap() - yield_).abs() < 1e-3, "{:?} {yield_}", news.density);
    }

    #[test]
    fn a_run_ends_with_a_verified_plan_on_disk() {
        let (home, news) = planned(JOB, Stop::Effort(1), |_| {});
        assert_eq!(news.phase, Phase::Done);
        let text = std::fs::read_to_string(home.path().join("plan/plan.json")).unwrap();
        assert!(crate::verify::verify(plan::from_json(&text).unwrap()).is_ok());
    }

    /// A week is asked for; only the stop ends it.
    #[test]
    fn a_run_that_is_stopped_keeps_its_best_layout() {
        let week = Stop::After(Duration::from_secs(7 * 24 * 3600));
        let (home, news) = planned(&JOB.replace("width = 45", "width = 47.3"), week, |planning| {
            if planning.news().best_length.is_some() {
                planning.stop();
            }
        });
        assert_eq!((news.phase, news.stopping), (Phase::Done, true));
        assert!(home.path().join("plan/report.html").is_file());
    }

    /// Drawn by who looks on, and then it is the very plan that anyone else gets.
    #[test]
    fn a_layout_is_drawn_for_who_looks_and_the_plan_is_the_same() {
        let text = JOB.replace("width = 45", "width = 47.3");
        let seen = Mutex::new(Picture::default());
        let (looked_at, _) = planned(&text, Stop::Effort(3), |planning| {
            for picture in planning.pictures() {
                *seen.lock().unwrap() = picture;
            }
        });
        let (alone, _) = planned(&text, Stop::Effort(3), |_| {});
        let plan = |home: &tempfile::TempDir| {
            std::fs::read_to_string(home.path().join("plan/plan.json")).unwrap()
        };
        assert_eq!(plan(&looked_at), plan(&alone));
        let picture = seen.into_inner().unwrap();
        let lying = &picture.layout.lying;
        assert_eq!((picture.ground.pieces.len(), lying.len()), (1, 9));
        assert_eq!(picture.ground.stocks[0].width, 300.0);
        let mut copies: Vec<u32> = lying.iter().map(|l| l.copy).collect();
        copies.sort_unstable();
        assert_eq!(copies, (0..9).collect::<Vec<u32>>());
    }

    #[test]
    fn what_cannot_be_placed_is_refused_at_its_line_and_the_old_plan_stays() {
        let text = JOB.replace("selvedge = 0", "selvedge = 0\nroll_length = 50");
        let (home, news) = planned(&text, Stop::Effort(1), |_| {});
        assert_eq!(news.phase, Phase::Refused);
        assert!(
            news.faults.0.iter().all(|f| matches!(f.place, crate::fault::Place::Line { .. })),
            "{}",
            news.faults
        );
        assert!(!home.path().join("plan").exists());
    }
}
