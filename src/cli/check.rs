//! `warpwise check JOB`: everything short of the search, and nothing written.

use super::exit::Failure;
use super::{print, warn};
use clap::Args;
use std::path::PathBuf;
use warpwise::job;
use warpwise::planner;
use warpwise::sheet::summary;

/// `warpwise check`.
#[derive(Args)]
pub struct Check {
    /// The job file
    #[arg(value_name = "JOB", required = true)]
    jobs: Vec<PathBuf>,
    /// Print the plies as JSON on standard output
    #[arg(long)]
    json: bool,
    /// No warnings on standard error
    #[arg(long)]
    quiet: bool,
}

impl Check {
    /// Reads, prepares and prints.
    pub fn run(self) -> Result<(), Failure> {
        let (jobs, warnings) = job::load_all(&self.jobs).map_err(Failure::Input)?;
        let prepared = planner::prepare(&jobs, 1).map_err(Failure::Input)?;
        warn(&warnings, self.quiet);
        for part in &prepared {
            warn(&part.prepared.warnings, self.quiet);
        }
        print(&if self.json { summary::check_json(&prepared) } else { summary::check_text(&prepared, summary::COLUMNS) })
    }
}
