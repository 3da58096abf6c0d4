//! Writes jobs made at random, as `tests/random_jobs.rs` plans them, for checks from outside.
//!
//! `cargo run --release --example random_jobs -- FOLDER COUNT [FIRST]`

#[path = "../tests/random_support/mod.rs"]
mod random_support;

use std::path::PathBuf;
use std::process::ExitCode;

#[allow(clippy::print_stderr)]
fn main() -> ExitCode {
    let args: Vec<String> = std::env::args().skip(1).collect();
    let number = |k: usize| args.get(k).and_then(|n| n.parse::<u64>().ok());
    let (Some(folder), Some(count)) = (args.first().map(PathBuf::from), number(1)) else {
        eprintln!("random_jobs FOLDER COUNT [FIRST]");
        return ExitCode::FAILURE;
    };
    let first = number(2).unwrap_or(0);
    for k in first..first + count {
        random_support::write_job(&folder.join(k.to_string()), k);
    }
    ExitCode::SUCCESS
}
