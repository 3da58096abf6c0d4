//! A question on a terminal.

use super::exit::Failure;
use std::io::{BufRead, IsTerminal, Write};
use warpwise::fault::Fault;

/// Whether there is someone to answer.
pub fn on_terminal() -> bool {
    std::io::stdin().is_terminal() && std::io::stderr().is_terminal()
}

/// Asks until one of the choices, or the beginning of one, is the answer.
pub fn ask<T: Copy>(question: &str, choices: &[(&str, T)]) -> Result<T, Failure> {
    let words: Vec<&str> = choices.iter().map(|c| c.0).collect();
    loop {
        let mut terminal = std::io::stderr();
        let asked =
            write!(terminal, "{} [{}] ", warpwise::units::printable(question), words.join("/"))
                .and_then(|()| terminal.flush());
        asked.map_err(|e| Failure::machine("standard error", &e))?;
        let mut line = String::new();
        let read = std::io::stdin()
            .lock()
            .read_line(&mut line)
            .map_err(|e| Failure::machine("standard input", &e))?;
        let answer = line.trim().to_lowercase();
        if let Some((_, choice)) =
            choices.iter().find(|(word, _)| !answer.is_empty() && word.starts_with(&answer))
        {
            return Ok(*choice);
        }
        if read == 0 {
            return Err(Failure::Usage(
                Fault::new("no answer was given", "answer, or give it as a flag").into(),
            ));
        }
    }
}
