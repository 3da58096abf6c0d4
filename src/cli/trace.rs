//! `warpwise trace …`: scale cards, photos and measured points to outlines.

mod card;
mod photo;
mod points;
mod questions;

use super::exit::Failure;
use clap::{Args, Subcommand};

/// `warpwise trace`.
#[derive(Args)]
pub struct Trace {
    #[command(subcommand)]
    what: What,
}

#[derive(Subcommand)]
enum What {
    /// Write printable scale cards to lay around the template
    Card(card::Card),
    /// Trace the template in a photo that shows scale cards
    Photo(Box<photo::Photo>),
    /// Make an outline of measured points, or of offsets from a base line
    Points(points::Points),
}

impl Trace {
    /// Does what was asked.
    pub fn run(self) -> Result<(), Failure> {
        match self.what {
            What::Card(command) => command.run(),
            What::Photo(command) => command.run(),
            What::Points(command) => command.run(),
        }
    }
}
