//! Plans a job with a fixed effort and prints what each cloth comes to.
//!
//! `cargo run --release --example plan_a_job -- demo-data/job.toml`

use std::path::PathBuf;
use std::process::ExitCode;
use warpwise::planner;
use warpwise::run::{Run, Stop};

#[allow(clippy::print_stdout, clippy::print_stderr)]
fn main() -> ExitCode {
    let path = std::env::args_os()
        .nth(1)
        .map_or_else(|| PathBuf::from("demo-data/job.toml"), PathBuf::from);
    let (job, _warnings) = match warpwise::job::load(&path) {
        Ok(loaded) => loaded,
        Err(faults) => {
            eprintln!("{faults}");
            return ExitCode::FAILURE;
        }
    };
    let run = Run::new(Stop::Effort(2));
    match planner::plan(&[job], 1, &run) {
        Ok(verified) => {
            for cloth in &verified.plan().cloths {
                println!(
                    "{}: {:.0} mm of roll, {:.1} % of it pieces",
                    cloth.cloth,
                    cloth.used_length,
                    cloth.yield_ * 100.0
                );
            }
            ExitCode::SUCCESS
        }
        Err(refusal) => {
            eprintln!("{refusal:?}");
            ExitCode::FAILURE
        }
    }
}
