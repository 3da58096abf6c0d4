//! A progress line on the terminal; nothing where standard error is no terminal.

use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};
use std::io::IsTerminal;
use std::sync::{Mutex, PoisonError};
use warpwise::nest::{Progress, TraceRow};
use warpwise::planner::Watcher;

/// The progress line of a search.
pub struct Bar {
    bar: ProgressBar,
    histories: Mutex<Vec<(String, Vec<TraceRow>)>>,
}

impl Bar {
    /// A line on standard error if that is a terminal and `quiet` is not asked for.
    pub fn new(quiet: bool) -> Bar {
        let bar = ProgressBar::new(1000);
        let shown = !quiet && std::io::stderr().is_terminal();
        bar.set_draw_target(if shown { ProgressDrawTarget::stderr_with_hz(8) } else { ProgressDrawTarget::hidden() });
        if let Ok(style) = ProgressStyle::with_template("{bar:24} {msg}") {
            bar.set_style(style.progress_chars("##-"));
        }
        Bar { bar, histories: Mutex::default() }
    }

    /// Takes the line away and gives the history of each cloth's search.
    pub fn done(self) -> Vec<(String, Vec<TraceRow>)> {
        self.bar.finish_and_clear();
        self.histories.into_inner().unwrap_or_else(PoisonError::into_inner)
    }
}

impl Watcher for Bar {
    fn searched(&self, cloth: &str, history: &[TraceRow]) {
        self.histories.lock().unwrap_or_else(PoisonError::into_inner).push((cloth.to_string(), history.to_vec()));
    }

    fn searching(&self, cloth: &str, index: usize, count: usize, progress: &Progress) {
        let share = (index as f64 + progress.share.clamp(0.0, 1.0)) / count.max(1) as f64;
        self.bar.set_position((share * 1000.0) as u64);
        let best = match (progress.best_length, progress.density) {
            (Some(length), Some(density)) => format!("{:.0} mm used, {:.1} % of it pieces", length, density * 100.0),
            _ => "laying out".to_string(),
        };
        self.bar.set_message(format!("{cloth}: {best} (Ctrl-C keeps the best so far)"));
    }
}
