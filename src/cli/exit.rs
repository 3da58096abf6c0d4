//! How a command can fail, and the exit status that tells.

use super::terminal::say;
use std::path::Path;
use std::process::ExitCode;
use warpwise::fault::{Fault, Faults, Place};
use warpwise::job::{self, Job};
use warpwise::planner::Refusal;
use warpwise::run::Run;

/// Why a command did not do its work.
#[derive(Debug)]
pub enum Failure {
    /// Status 1: the input is at fault.
    Input(Faults),
    /// Status 2: wrong use of the command line.
    Usage(Faults),
    /// Status 3: could not be planned.
    NotPlanned(Faults),
    /// Status 4: the machine's fault.
    Machine(Faults),
    /// Status 130: stopped by the user before there was anything to keep.
    Stopped(Faults),
}

/// The exit status of what Ctrl-C ended, as shells have it.
pub const STOPPED: u8 = 130;

impl Failure {
    /// The machine would not read or write something.
    pub fn machine(what: &str, error: &std::io::Error) -> Failure {
        Failure::Machine(
            Fault::new(said!("{what}: {error}"), "check the disk and the permissions").into(),
        )
    }

    /// The same, with something more to say.
    pub fn and(mut self, fault: Fault) -> Failure {
        let (Failure::Input(faults)
        | Failure::Usage(faults)
        | Failure::NotPlanned(faults)
        | Failure::Machine(faults)
        | Failure::Stopped(faults)) = &mut self;
        faults.push(fault);
        self
    }

    /// What reading or preparing came to: stopped if the user asked for it.
    pub fn input(faults: Faults, run: &Run<'_>) -> Failure {
        if run.is_asked() { Failure::Stopped(faults) } else { Failure::Input(faults) }
    }

    /// The same, each fault that names a cloth or a layer but no file placed in the first of these
    /// jobs that has it.
    pub fn in_jobs(self, jobs: &[Job]) -> Failure {
        let text_of = |file: &Path| std::fs::read_to_string(file).ok();
        let place = |fault: Fault| {
            let mut placed = jobs
                .iter()
                .flat_map(|j| job::placed(vec![fault.clone().in_file(&j.file)], &text_of));
            let found = if fault.file.is_none() {
                placed.find(|f| matches!(f.place, Place::Line { .. }))
            } else {
                None
            };
            found.unwrap_or(fault)
        };
        match self {
            Failure::NotPlanned(faults) => {
                Failure::NotPlanned(Faults(faults.0.into_iter().map(place).collect()))
            }
            other => other,
        }
    }

    /// Says what is wrong on standard error and gives the exit status.
    pub fn report(self) -> ExitCode {
        let (faults, status) = match self {
            Failure::Input(faults) => (faults, 1),
            Failure::Usage(faults) => (faults, 2),
            Failure::NotPlanned(faults) => (faults, 3),
            Failure::Machine(faults) => (faults, 4),
            Failure::Stopped(faults) => (faults, STOPPED),
        };
        let text_of = |file: &Path| std::fs::read_to_string(file).ok();
        // With the line of the job that is at fault, and a caret under the place.
        let faults = Faults(job::placed(faults.0, &text_of)).sorted();
        say(faults.with_source(&text_of).trim_end());
        if faults.0.len() > 1 {
            say(&format!("{} faults", faults.0.len()));
        }
        ExitCode::from(status)
    }
}

impl From<Refusal> for Failure {
    fn from(refusal: Refusal) -> Self {
        match refusal {
            Refusal::Input(faults) => Failure::Input(faults),
            Refusal::NotPlaced(faults) => Failure::NotPlanned(faults),
            Refusal::Stopped(fault) => Failure::Stopped(fault.into()),
            Refusal::NotVerified(mut faults) => {
                faults.push(Fault::new(
                    "the plan failed its own verification and was not written",
                    "this is a defect of warpwise, not of the job: please report it with the job",
                ));
                Failure::NotPlanned(faults)
            }
        }
    }
}
