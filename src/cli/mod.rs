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
mod output;
mod progress;
mod search;
mod sheets;
mod shell;
mod stock;
mod stock_add;
mod stock_list;
mod terminal;
mod trace;

use clap::{CommandFactory, Parser, Subcommand};
use exit::Failure;
use std::process::ExitCode;
use terminal::say;

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
