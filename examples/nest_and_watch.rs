//! Plans a job by a fixed effort and tells of every better layout on the way.
//!
//! `cargo run --release --example nest_and_watch -- demo-data/job.toml`

use std::path::{Path, PathBuf};
use std::sync::Mutex;
use warpwise::fault::Faults;
use warpwise::planner::{self, Refusal};
use warpwise::run::{Observer, Progress, Run, Stop};

/// Keeps the lengths it hears of, mm, with the cloth.
#[derive(Default)]
struct Lengths(Mutex<Vec<(String, f64)>>);

impl Observer for Lengths {
    fn progress(&self, progress: &Progress<'_>) {
        let Some(length) = progress.best_length else { return };
        let mut heard = self.0.lock().unwrap_or_else(std::sync::PoisonError::into_inner);
        if heard.last().is_none_or(|last| last.0 != progress.on || last.1 > length) {
            heard.push((progress.on.to_string(), length));
        }
    }
}

/// The lengths of roll that the search came to, in order; then what the plan takes.
///
/// # Errors
/// Why there is no plan.
pub fn lengths(job: &Path, effort: u32) -> Result<Vec<(String, f64)>, Faults> {
    let (job, _warnings) = warpwise::job::load(job)?;
    let watcher = Lengths::default();
    let run = Run::new(Stop::Effort(effort)).with_observer(&watcher);
    let verified = planner::plan(&[job], 1, &run).map_err(Refusal::into_faults)?;
    let mut heard = watcher.0.into_inner().unwrap_or_default();
    heard.extend(verified.plan().cloths.iter().map(|c| (c.cloth.clone(), c.used_length)));
    Ok(heard)
}

#[allow(clippy::print_stdout, dead_code)]
fn main() -> Result<(), Faults> {
    let job = std::env::args_os().nth(1).map_or("demo-data/job.toml".into(), PathBuf::from);
    for (cloth, length) in lengths(&job, 2)? {
        println!("{cloth}: {length:.0} mm");
    }
    Ok(())
}
