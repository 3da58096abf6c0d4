//! `warpwise nest JOB…`: the main job.

use super::exit::Failure;
use super::search::Search;
use super::{COLUMNS, cautions, print, print_cautions, warn};
use clap::Args;
use std::path::{Path, PathBuf};
use warpwise::verify::Verified;
use warpwise::{job, layup, plan, sheet};

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
    plan::folder::write(out, &files(&plan)).map_err(Failure::Machine)?;
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

/// Everything a plan folder holds.
pub fn files(plan: &Verified) -> Vec<(PathBuf, Vec<u8>)> {
    let sections: Vec<sheet::Section> = sheet::mosaic_section(plan).into_iter().chain([sheet::layup_section(plan)]).collect();
    let mut files = vec![
        (PathBuf::from("plan.json"), plan::to_json(plan.plan()).into_bytes()),
        (PathBuf::from("report.html"), sheet::report(plan, &sections).into_bytes()),
        (PathBuf::from("pieces.csv"), sheet::pieces_table(plan).into_bytes()),
        (PathBuf::from("overview.svg"), sheet::overview(plan).into_bytes()),
    ];
    files.extend(sheet::patches_table(plan).map(|t| (PathBuf::from("patches.csv"), t.into_bytes())));
    let sheets = sheet::cut_sheets(plan, None)
        .into_iter()
        .chain(sheet::mosaic_sheets(plan))
        .chain(sheet::printed_mosaics(plan, None))
        .chain([sheet::placement_sheet(plan, None), sheet::layup_sheet(plan, &layup::When::default())]);
    files.extend(sheets.map(|file| (Path::new("sheets").join(file.name), file.bytes)));
    files
}
