//! The command line: one file a command; each parses, calls the library and prints.

mod ask;
mod bench;
mod check;
mod demo;
mod estimate;
mod exit;
mod files;
mod layup;
mod mosaic;
mod nest;
mod new;
mod progress;
mod search;
mod sheets;
mod shell;
mod stock;
mod stock_add;
mod stock_list;
mod trace;

use clap::{CommandFactory, Parser, Subcommand};
use exit::Failure;
use std::cell::RefCell;
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::process::ExitCode;
use warpwise::fault::{Fault, Faults};
use warpwise::job::Job;
use warpwise::stock::Day;
use warpwise::units::printable;

/// Cut plans for hand lay-up: traced ply outlines become a verified layout on each cloth's roll.
#[derive(Parser)]
#[command(
    name = "warpwise",
    version,
    long_version = LONG_VERSION,
    about,
    arg_required_else_help = true,
    disable_help_subcommand = true
)]
#[command(
    after_help = "Exit status: 0 done, 1 the input is at fault, 2 wrong use of the command line, 3 could not be planned, \
                        4 the machine's fault (disk, permission), 130 stopped by Ctrl-C with nothing to keep. Results go to standard output, progress to standard error."
)]
struct Arguments {
    #[command(subcommand)]
    command: Command,
}

#[derive(Subcommand)]
enum Command {
    /// Write the built-in kayak job into a folder and plan it
    Demo(demo::Demo),
    /// Scaffold a commented job around outline files
    New(new::New),
    /// Trace templates: scale cards, photos, measured points
    Trace(trace::Trace),
    /// Read and prepare a job, print its plies, pieces, turns and problems; write nothing
    Check(check::Check),
    /// Plan every cloth of one or several jobs and write the plan folder
    Nest(nest::Nest),
    /// Plan the patches of the mosaic layers only
    Mosaic(mosaic::Mosaic),
    /// How much cloth to buy, over several roll widths, with cost
    Estimate(estimate::EstimateCommand),
    /// Write the lay-up sheet of a plan
    Layup(layup::Layup),
    /// Write the sheets of a plan again: cut sheets as SVG, PDF or DXF, templates, placement sheet,
    /// labels
    Sheets(sheets::Sheets),
    /// Do the whole job on a page in the browser
    Bench(bench::Bench),
    /// The ledger of rolls, offcuts and dated consumables
    Stock(stock::Stock),
    /// Print the completions of a shell: what it offers when Tab is pressed
    Completions(shell::Completions),
    /// Write the man pages into a folder
    Man(shell::Man),
}

/// `--version`: what is built in.
const LONG_VERSION: &str = concat!(
    env!("CARGO_PKG_VERSION"),
    "\nreads: SVG, DXF and CSV outlines; JPEG and PNG photos; plans of schema 1",
    "\nwrites: SVG, PDF, DXF, CSV, HTML and JSON",
    "\nbuilt in: the ledger's SQLite, two networks for photos, the page for the browser"
);

/// Width of a terminal that everything fits.
const COLUMNS: usize = 80;

/// Runs the command that the process was started with.
pub fn run() -> ExitCode {
    let arguments = Arguments::parse();
    let outcome =
        std::panic::catch_unwind(std::panic::AssertUnwindSafe(|| arguments.command.run()));
    match outcome {
        Ok(Ok(())) => ExitCode::SUCCESS,
        Ok(Err(failure)) => failure.report(),
        Err(_) => {
            say(
                "warpwise failed: this is a defect of the program, not of your files; please report it with what you asked for",
            );
            ExitCode::from(PANICKED)
        }
    }
}

/// The exit status of a panic, as Rust programs have it.
const PANICKED: u8 = 101;

impl Command {
    fn run(self) -> Result<(), Failure> {
        match self {
            Command::Demo(command) => command.run(),
            Command::New(command) => command.run(),
            Command::Trace(command) => command.run(),
            Command::Check(command) => command.run(),
            Command::Nest(command) => command.run(),
            Command::Mosaic(command) => command.run(),
            Command::Estimate(command) => command.run(),
            Command::Layup(command) => command.run(),
            Command::Sheets(command) => command.run(),
            Command::Bench(command) => command.run(),
            Command::Stock(command) => command.run(),
            Command::Completions(command) => command.run(Arguments::command()),
            Command::Man(command) => command.run(Arguments::command()),
        }
    }
}

/// Prints a result; a reader that has gone away (a closed pipe) is no fault.
fn print(text: &str) -> Result<(), Failure> {
    use std::io::Write;
    let mut out = std::io::stdout().lock();
    match out.write_all(printable(text).as_bytes()).and_then(|()| out.flush()) {
        Err(e) if e.kind() != std::io::ErrorKind::BrokenPipe => {
            Err(Failure::machine("standard output", &e))
        }
        _ => Ok(()),
    }
}

/// A line on standard error; if nobody takes it, the work goes on.
fn say(line: &str) {
    use std::io::Write;
    let _ = writeln!(std::io::stderr(), "{}", printable(line));
}

/// Prints warnings to standard error, each with the line it is about.
fn warn(warnings: &[Fault], quiet: bool) {
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
fn cautions(jobs: &[Job], stock: Option<&Path>, day: Day) -> Vec<String> {
    if stock.is_some() { Vec::new() } else { warpwise::stock::cautions_of_jobs(jobs, day) }
}

/// Prints what dates ask for, before everything else; beside JSON to standard error.
fn print_cautions(list: &[String], json: bool) -> Result<(), Failure> {
    let text = warpwise::sheet::summary::cautions(list, COLUMNS);
    if !json {
        return print(&text);
    }
    if !text.is_empty() {
        say(text.trim_end());
    }
    Ok(())
}
