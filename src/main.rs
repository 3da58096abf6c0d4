//! `warpwise`: arguments in, exit status out.

#[macro_use(said)]
extern crate warpwise;

mod bench;
mod cli;

use std::process::ExitCode;

fn main() -> ExitCode {
    cli::run()
}
