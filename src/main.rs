//! `warpwise`: arguments in, exit status out.

mod bench;
mod cli;

use std::process::ExitCode;

fn main() -> ExitCode {
    cli::run()
}
