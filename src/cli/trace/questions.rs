//! What only the user can know: asked on a terminal, demanded elsewhere.

use crate::cli::ask;
use crate::cli::exit::Failure;
use clap::ValueEnum;
use warpwise::fault::{Fault, Faults};

/// Which line is the net line.
#[derive(Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum Net {
    /// The edge of the skin
    Edge,
    /// A closed inked line on it
    Ink,
}

/// Which side of the skin is seen.
#[derive(Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum Inked {
    /// The inked side, which faced the worker, is up
    Up,
    /// It lies against the board
    Down,
}

/// What the skin was taken off.
#[derive(Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum Off {
    /// The mould the part is laid up in
    Mould,
    /// A plug of the part
    Plug,
}

/// What a narrow gap in the edge is.
#[derive(Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum Gaps {
    /// A slit or an inked line: the outline runs past it
    Slit,
    /// The tip of a dart: the outline runs into it
    Dart,
}

impl Inked {
    /// As a job says it.
    pub fn word(self) -> &'static str {
        match self {
            Inked::Up => "up",
            Inked::Down => "down",
        }
    }
}

impl Off {
    /// As a job says it.
    pub fn word(self) -> &'static str {
        match self {
            Off::Mould => "mould",
            Off::Plug => "plug",
        }
    }
}

/// The three answers, from the command line or the terminal; a refusal that names every flag that
/// is missing.
pub fn answers(
    net: Option<Net>,
    inked: Option<Inked>,
    off: Option<Off>,
) -> Result<(Net, Inked, Off), Failure> {
    if let (Some(net), Some(inked), Some(off)) = (net, inked, off) {
        return Ok((net, inked, off));
    }
    if !ask::on_terminal() {
        let mut faults = Faults::new();
        let mut missing = |absent: bool, what: &'static str, remedy: &'static str| {
            if absent {
                faults.push(Fault::new(what, remedy));
            }
        };
        missing(
            net.is_none(),
            "which line is the net line was not said",
            "add --net edge (the skin's edge) or --net ink (a closed inked line)",
        );
        missing(
            inked.is_none(),
            "which side of the skin is seen was not said",
            "add --inked up or --inked down",
        );
        missing(
            off.is_none(),
            "what the skin was taken off was not said",
            "add --off mould or --off plug",
        );
        return Err(Failure::Usage(faults));
    }
    Ok((
        ask(
            net,
            "Is the net line the skin's edge, or a closed inked line on it?",
            &[("edge", Net::Edge), ("ink", Net::Ink)],
        )?,
        ask(
            inked,
            "Does the inked side lie up in the photo, or down?",
            &[("up", Inked::Up), ("down", Inked::Down)],
        )?,
        ask(
            off,
            "Was the skin taken off the mould, or off a plug?",
            &[("mould", Off::Mould), ("plug", Off::Plug)],
        )?,
    ))
}

fn ask<T: Copy>(given: Option<T>, question: &str, choices: &[(&str, T)]) -> Result<T, Failure> {
    given.map_or_else(|| ask::ask(question, choices), Ok)
}
