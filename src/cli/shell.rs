//! `warpwise completions SHELL` and `warpwise man DIR`: made of the same definitions as the command
//! itself.

use super::exit::Failure;
use super::files::write_into;
use super::output::print;
use clap::{Args, Command};
use clap_complete::Shell;
use std::path::PathBuf;

/// `warpwise completions`.
#[derive(Args)]
pub struct Completions {
    /// Of which shell
    shell: Shell,
}

impl Completions {
    /// Prints what the shell is to read.
    pub fn run(&self, mut whole: Command) -> Result<(), Failure> {
        let mut script = Vec::new();
        clap_complete::generate(self.shell, &mut whole, "warpwise", &mut script);
        print(&String::from_utf8_lossy(&script))
    }
}

/// `warpwise man`.
#[derive(Args)]
pub struct Man {
    /// The folder to write into
    #[arg(value_name = "DIR")]
    dir: PathBuf,
}

impl Man {
    /// Writes a page for the program and one for each command.
    pub fn run(&self, mut whole: Command) -> Result<(), Failure> {
        whole.build();
        let mut pages = Vec::new();
        page(&whole, &mut pages)?;
        std::fs::create_dir_all(&self.dir)
            .map_err(|e| Failure::machine(&self.dir.display().to_string(), &e))?;
        write_into(&self.dir, &pages)?;
        print(&format!("{} man pages: {}\n", pages.len(), self.dir.display()))
    }
}

fn page(command: &Command, pages: &mut Vec<(PathBuf, Vec<u8>)>) -> Result<(), Failure> {
    let name = command.get_display_name().unwrap_or(command.get_name()).to_string();
    let mut text = Vec::new();
    clap_mangen::Man::new(command.clone())
        .render(&mut text)
        .map_err(|e| Failure::machine(&name, &e))?;
    pages.push((PathBuf::from(format!("{name}.1")), text));
    command.get_subcommands().try_for_each(|part| page(part, pages))
}
