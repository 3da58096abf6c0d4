//! Reads a drawing and prints what is in it: outlines with area, and every entity that was not
//! used.
//!
//! `cargo run --example read_an_outline -- demo-data/seat.svg`

use std::path::PathBuf;
use std::process::ExitCode;
use warpwise::geometry::ring_area;
use warpwise::outline::{ReadOptions, read_file};

#[allow(clippy::print_stdout, clippy::print_stderr)]
fn main() -> ExitCode {
    let path = std::env::args_os()
        .nth(1)
        .map_or_else(|| PathBuf::from("demo-data/seat.svg"), PathBuf::from);
    match read_file(&path, &ReadOptions::default()) {
        Ok(reading) => {
            for outline in &reading.outlines {
                let cm2 = ring_area(outline.net()) / 100.0;
                println!(
                    "{:?}: {:.1} cm², {} holes, {} relief cuts",
                    outline.name(),
                    cm2,
                    outline.holes().len(),
                    outline.cuts().len()
                );
            }
            for left in &reading.not_used {
                println!("not used: {} {}: {}", left.what, left.label, left.why);
            }
            ExitCode::SUCCESS
        }
        Err(faults) => {
            eprintln!("{faults}");
            ExitCode::FAILURE
        }
    }
}
