//! A progress line on the terminal; nothing where standard error is no terminal.

use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};
use std::io::IsTerminal;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Mutex, PoisonError};
use warpwise::run::{Observer, Phase, Progress, TraceRow};
use warpwise::units::printable_name;

/// True while a photo is traced: nothing is there to keep, and some of its steps are long.
static TRACING: AtomicBool = AtomicBool::new(false);

/// True while a photo is traced.
pub fn is_tracing() -> bool {
    TRACING.load(Ordering::Relaxed)
}

/// The progress line of a run.
pub struct Bar {
    bar: ProgressBar,
    histories: Mutex<Vec<(String, Vec<TraceRow>)>>,
}

impl Bar {
    /// A line on standard error if that is a terminal and `quiet` is not asked for.
    pub fn new(quiet: bool) -> Bar {
        let bar = ProgressBar::new(1000);
        let shown = !quiet && std::io::stderr().is_terminal();
        bar.set_draw_target(if shown {
            ProgressDrawTarget::stderr_with_hz(8)
        } else {
            ProgressDrawTarget::hidden()
        });
        if let Ok(style) = ProgressStyle::with_template("{bar:24} {msg}") {
            bar.set_style(style.progress_chars("##-"));
        }
        Bar { bar, histories: Mutex::default() }
    }

    /// Does something that may print, with the line taken away meanwhile.
    pub fn aside<T>(&self, work: impl FnOnce() -> T) -> T {
        self.bar.suspend(work)
    }

    /// The history of each cloth's search so far.
    pub fn histories(&self) -> Vec<(String, Vec<TraceRow>)> {
        self.histories.lock().unwrap_or_else(PoisonError::into_inner).clone()
    }
}

impl Drop for Bar {
    fn drop(&mut self) {
        TRACING.store(false, Ordering::Relaxed);
        self.bar.finish_and_clear();
    }
}

impl Observer for Bar {
    fn progress(&self, progress: &Progress<'_>) {
        TRACING.store(progress.phase == Phase::Tracing, Ordering::Relaxed);
        if let Some(share) = progress.share {
            self.bar.set_position((share * 1000.0) as u64);
        }
        let on = if progress.on.is_empty() {
            String::new()
        } else {
            format!("{}: ", printable_name(progress.on))
        };
        let what = match (progress.best_length, progress.density) {
            (Some(length), Some(density)) => {
                format!("{length:.0} mm used, {:.1} % of it pieces", density * 100.0)
            }
            _ => progress.phase.in_words().to_string(),
        };
        let key = if progress.phase == Phase::Searching { "keeps the best so far" } else { "ends" };
        self.bar.set_message(format!("{on}{what} (Ctrl-C {key})"));
    }

    fn searched(&self, cloth: &str, history: &[TraceRow]) {
        self.histories
            .lock()
            .unwrap_or_else(PoisonError::into_inner)
            .push((cloth.to_string(), history.to_vec()));
    }
}
