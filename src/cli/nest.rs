//! `warpwise nest JOB…`: the main job.

use super::exit::Failure;
use super::search::Search;
use super::{COLUMNS, cautions, print, print_cautions, warn};
use clap::Args;
use std::path::{Path, PathBuf};
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
        let out = self.out.clone().unwrap_or_else(|| self.jobs[0].parent().unwrap_or(Path::new("")).join("plan"));
        plan_and_write(&self.jobs, &out, &self.search)
    }
}

/// The main job for `nest` and `demo`.
pub fn plan_and_write(jobs: &[PathBuf], out: &Path, search: &Search) -> Result<(), Failure> {
    // What is wrong with the command line is told before a long job is read.
    let stop = search.stop()?;
    plan::folder::check(out).map_err(Failure::Usage)?;
    let (jobs, warnings) = job::load_all(jobs).map_err(Failure::Input)?;
    warn(&warnings, search.quiet);
    let cautions = cautions(&jobs, search.stock_of(&jobs)?.as_deref());
    let plan = search.plan(&jobs, stop)?;
    plan::folder::write(out, &plan_files(&plan)).map_err(Failure::Machine)?;
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
