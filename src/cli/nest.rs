//! `warpwise nest JOB…`: the main job.

use super::exit::Failure;
use super::files::write_file;
use super::output::{cautions, print, print_cautions, warn};
use super::progress::Bar;
use super::search::{Search, sparing_drawing};
use super::terminal::COLUMNS;
use clap::Args;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};
use warpwise::fault::Fault;
use warpwise::run::{Run, Stop};
use warpwise::verify::Verified;
use warpwise::workshop::plan_files;
use warpwise::{job, plan, sheet};

/// `warpwise nest`.
#[derive(Args)]
pub struct Nest {
    /// The job files; several jobs share the rolls
    #[arg(value_name = "JOB", required = true)]
    jobs: Vec<PathBuf>,
    /// The plan folder [default: `plan` beside the first job]
    #[arg(long, value_name = "DIR")]
    out: Option<PathBuf>,
    #[command(flatten)]
    search: Search,
}

impl Nest {
    /// Reads, plans, verifies, writes, prints.
    pub fn run(self) -> Result<(), Failure> {
        let out = self
            .out
            .clone()
            .unwrap_or_else(|| self.jobs[0].parent().unwrap_or(Path::new("")).join("plan"));
        plan_and_write(&self.jobs, &out, &self.search)
    }
}

/// The main job for `nest` and `demo`.
pub fn plan_and_write(jobs: &[PathBuf], out: &Path, search: &Search) -> Result<(), Failure> {
    // What is wrong with the command line is told before a long job is read.
    let stop = search.stop()?;
    let start = Instant::now();
    search.try_folders(out)?;
    let bar = Bar::new(search.quiet);
    let run = search.run(stop, &bar)?;
    let (jobs, warnings) = job::load_all(jobs, &run).map_err(|f| Failure::input(f, &run))?;
    bar.aside(|| warn(&warnings, search.quiet));
    let cautions = cautions(&jobs, search.stock_of(&jobs)?.as_deref(), run.day());
    let run = sparing_drawing(&run, &jobs, search.sets);
    let plan = search
        .plan_with_history(&jobs, &run, &bar, |plan| write(out, plan, &run, &bar, search.quiet))?;
    drop(bar);
    let pieces = plan.plan().stocks.iter().map(|s| s.placed.len()).sum();
    warn(longer_than_asked(stop, start.elapsed(), pieces).as_slice(), search.quiet);
    print_cautions(&cautions, search.json)?;
    if search.json {
        print(&plan::to_json(plan.plan()))
    } else {
        print(&sheet::summary(&plan, COLUMNS))?;
        print(&format!(
            "\nPlan folder: {0}\nReport:      {0}/report.html\nCut sheets:  {0}/sheets\nAll layouts: {0}/overview.svg\nLay-up:      {0}/sheets/lay-up.pdf\n",
            out.display()
        ))
    }
}

/// That a timed run took more than its time, a tenth of it and a second.
fn longer_than_asked(stop: Stop, took: Duration, pieces: usize) -> Option<Fault> {
    let Stop::After(time) = stop else { return None };
    if took <= time.mul_f64(1.1) + Duration::from_secs(1) {
        return None;
    }
    let [took, time] = [took, time].map(|t| format!("{:.1}", t.as_secs_f64()));
    let what = said!(
        "this took {took} s instead of {time} s: to lay, measure, check and draw {pieces} pieces takes its time, however short the search is"
    );
    let remedy = "the plan is whole; with more --seconds the search ends in time for the rest";
    Some(Fault::new(what, remedy))
}

/// Draws everything and writes the plan folder. If that fails in any way, the plan itself is saved
/// elsewhere, and the place said.
pub fn write(
    out: &Path,
    plan: &Verified,
    run: &Run<'_>,
    bar: &Bar,
    quiet: bool,
) -> Result<(), Failure> {
    let drawn = catch_unwind(AssertUnwindSafe(|| plan_files(plan, run)))
        .map_err(|_| Failure::Machine(defect().into()));
    let written = drawn.and_then(|files| {
        let files = files.map_err(|f| Failure::Stopped(f.into()))?;
        plan::folder::write(out, &files).map_err(Failure::Machine)
    });
    match written {
        Ok(kept) => {
            let moved = |[from, to]: &[PathBuf; 2]| {
                let what = said!(
                    "a file of yours, or of an older version, had to make way: it is {} now",
                    to.display()
                );
                Fault::new(what, "look whether you need it").in_file(&out.join(from))
            };
            bar.aside(|| warn(&kept.iter().map(moved).collect::<Vec<_>>(), quiet));
            Ok(())
        }
        Err(failure) => Err(match saved_elsewhere(out, plan) {
            Some(place) => {
                let remedy = said!(
                    "`warpwise sheets {0}` draws it, and the ledger books it from there",
                    place.display()
                );
                failure.and(Fault::new("the plan is whole and saved here", remedy).in_file(&place))
            }
            None => failure.and(Fault::new(
                "the plan could not be saved anywhere else either",
                "make room, or give --out another disk",
            )),
        }),
    }
}

/// A panic.
fn defect() -> Fault {
    Fault::new(
        "drawing the sheets failed",
        "this is a defect of warpwise, not of the job: please report it with the plan",
    )
}

/// Puts the plan beside where its folder should be, else into the current folder or that for
/// temporary files, under a name that is free.
fn saved_elsewhere(out: &Path, plan: &Verified) -> Option<PathBuf> {
    let short: String = plan.plan().id.chars().take(8).collect();
    let beside = out.parent().filter(|p| !p.as_os_str().is_empty()).unwrap_or(Path::new("."));
    let places = [beside.to_path_buf(), PathBuf::from("."), std::env::temp_dir()];
    let json = plan::to_json(plan.plan());
    let named = |dir: &PathBuf| {
        let name = |k: u32| {
            dir.join(if k == 0 {
                format!("plan-{short}.json")
            } else {
                format!("plan-{short}-{k}.json")
            })
        };
        (0..100).map(name).find(|path| path.symlink_metadata().is_err())
    };
    places.iter().filter_map(named).find(|path| write_file(path, json.as_bytes()).is_ok())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_takes_longer_than_its_seconds_is_said() {
        let after = |took: f64| {
            let (stop, took) = (Stop::After(Duration::from_secs(3)), Duration::from_secs_f64(took));
            longer_than_asked(stop, took, 5000).is_some()
        };
        assert!(!after(4.2) && after(4.4));
        assert!(longer_than_asked(Stop::Effort(1), Duration::from_secs(900), 1).is_none());
    }
}
