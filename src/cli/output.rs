//! What commands print: results, warnings, what dates ask for.

use super::exit::Failure;
use super::terminal::{COLUMNS, say};
use std::cell::RefCell;
use std::collections::BTreeMap;
use std::io::Write;
use std::path::{Path, PathBuf};
use warpwise::fault::{Fault, Faults};
use warpwise::job::Job;
use warpwise::stock::Day;
use warpwise::units::printable;

/// Prints a result; a reader that has gone away (a closed pipe) is no fault.
pub fn print(text: &str) -> Result<(), Failure> {
    let mut out = std::io::stdout().lock();
    match out.write_all(printable(text).as_bytes()).and_then(|()| out.flush()) {
        Err(e) if e.kind() != std::io::ErrorKind::BrokenPipe => {
            Err(Failure::machine("standard output", &e))
        }
        _ => Ok(()),
    }
}

/// Prints warnings to standard error, each with the line it is about.
pub fn warn(warnings: &[Fault], quiet: bool) {
    if quiet {
        return;
    }
    let texts: RefCell<BTreeMap<PathBuf, Option<String>>> = RefCell::default();
    let text_of = |file: &Path| {
        texts
            .borrow_mut()
            .entry(file.into())
            .or_insert_with(|| std::fs::read_to_string(file).ok())
            .clone()
    };
    for warning in warpwise::job::placed(warnings.to_vec(), &text_of) {
        say(format!("warning: {}", Faults::from(warning).with_source(&text_of)).trim_end());
    }
}

/// What the dates of the jobs' own rolls ask for on a day, where no stock speaks of its rolls.
pub fn cautions(jobs: &[Job], stock: Option<&Path>, day: Day) -> Vec<String> {
    if stock.is_some() { Vec::new() } else { warpwise::stock::cautions_of_jobs(jobs, day) }
}

/// Prints what dates ask for, before everything else; beside JSON to standard error.
pub fn print_cautions(list: &[String], json: bool) -> Result<(), Failure> {
    let text = warpwise::sheet::summary::cautions(list, COLUMNS);
    if !json {
        return print(&text);
    }
    if !text.is_empty() {
        say(text.trim_end());
    }
    Ok(())
}
