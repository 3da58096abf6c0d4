//! The flags that every searching command shares, and Ctrl-C.

use super::exit::{Failure, STOPPED};
use super::files::{can_write_into, write_into};
use super::progress::{self, Bar};
use super::stock::{earlier, read_stock};
use super::terminal::say;
use clap::Args;
use std::path::{Path, PathBuf};
use std::time::Duration;
use warpwise::fault::Fault;
use warpwise::file_name;
use warpwise::job::{Hands, Job};
use warpwise::plan;
use warpwise::planner;
use warpwise::run::{Cancel, Run, Stop, TraceRow};
use warpwise::sheet;
use warpwise::stock::Day;
use warpwise::verify::Verified;

/// Search time if nothing is said.
const SECONDS: f64 = 20.0;

/// How long and how to search.
#[derive(Args, Clone)]
pub struct Search {
    /// Search time of the whole run, in seconds [default: 20, less where the rest of them promises
    /// next to nothing]
    #[arg(long, value_name = "S", conflicts_with = "effort")]
    pub seconds: Option<f64>,
    /// How much of that time this search has.
    #[arg(skip = 1.0)]
    pub share: f64,
    /// Rounds of search instead of time: the same plan on every machine and thread count
    #[arg(long, value_name = "N")]
    pub effort: Option<u32>,
    /// Seed of the search
    #[arg(long, value_name = "N", default_value_t = 1)]
    pub seed: u64,
    /// Threads to search with, at most 256 [default: one a core]
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u16).range(1..=256))]
    pub threads: Option<u16>,
    /// How many sets of every piece to cut
    #[arg(long, value_name = "N", default_value_t = 1, value_parser = clap::value_parser!(u32).range(1..=1000))]
    pub sets: u32,
    /// Plan from this stock, offcuts first: a ledger of `warpwise stock`, or an export of one
    /// [default: what the job names]
    #[arg(long, value_name = "FILE")]
    pub stock: Option<PathBuf>,
    /// Go on with this plan: pieces the ledger records as cut stay; the rest, and spoiled pieces,
    /// are planned again
    #[arg(long, value_name = "PLAN")]
    pub go_on: Option<PathBuf>,
    /// Print the plan as JSON on standard output
    #[arg(long)]
    pub json: bool,
    /// Write the history of each cloth's search into this folder, as CSV and as a plot
    #[arg(long, value_name = "DIR")]
    pub history: Option<PathBuf>,
    /// Print no progress and no warnings
    #[arg(long)]
    pub quiet: bool,
}

impl Search {
    /// The run that the flags ask for, from now on: shown by a bar, stopped by Ctrl-C.
    pub fn run<'a>(&self, stop: Stop, bar: &'a Bar) -> Result<Run<'a>, Failure> {
        let run = Run::new(stop)
            .with_seed(self.seed)
            .with_threads(self.threads.map_or(0, usize::from))
            .with_day(Day::today());
        let run = if self.seconds.is_none() { run.while_it_pays() } else { run };
        Ok(run.with_cancel(interrupt()?).with_observer(bar))
    }

    /// Plans the jobs; Ctrl-C ends the search and keeps the best complete layouts.
    pub fn plan(&self, jobs: &[Job], run: &Run<'_>, bar: &Bar) -> Result<Verified, Failure> {
        let from = self.stock_of(jobs)?;
        let stock = from.as_deref().map(|file| bar.aside(|| read_stock(file))).transpose()?;
        let earlier = match (&from, &self.go_on) {
            (Some(ledger), Some(plan)) => earlier(ledger, plan)?,
            (None, Some(_)) => {
                let fault = Fault::new(
                    "--go-on needs the ledger: it records what is cut",
                    "name the ledger with --stock, or in the job",
                );
                return Err(Failure::Usage(fault.into()));
            }
            _ => planner::Earlier::default(),
        };
        let plan = match &stock {
            Some(stock) => planner::go_on(jobs, stock, &earlier, self.sets, run),
            None => planner::plan(jobs, self.sets, run),
        };
        plan.map_err(|refusal| Failure::from(refusal).in_jobs(jobs))
    }

    /// The same; `write` writes the plan, and then the history is written, as it is if there is no
    /// plan.
    pub fn plan_with_history(
        &self,
        jobs: &[Job],
        run: &Run<'_>,
        bar: &Bar,
        write: impl FnOnce(&Verified) -> Result<(), Failure>,
    ) -> Result<Verified, Failure> {
        let plan = self.plan(jobs, run, bar).and_then(|plan| write(&plan).map(|()| plan));
        let history =
            self.history.as_ref().map_or(Ok(()), |dir| write_histories(dir, &bar.histories()));
        match (plan, history) {
            (Ok(plan), Ok(())) => Ok(plan),
            (Ok(_), Err(history)) => Err(history.and(Fault::new(
                "the plan is written; only its history is not",
                "give --history another folder",
            ))),
            (Err(failure), _) => Err(failure),
        }
    }

    /// Tries whether what is asked for can be written, before a long search.
    pub fn try_folders(&self, out: &Path) -> Result<(), Failure> {
        plan::folder::check(out).map_err(Failure::Usage)?;
        plan::folder::try_disk(out).map_err(Failure::Machine)?;
        self.history.as_ref().map_or(Ok(()), |dir| can_write_into(dir))
    }

    /// The stock to plan from: by the flag, else by the jobs, which must mean the same one.
    pub fn stock_of(&self, jobs: &[Job]) -> Result<Option<PathBuf>, Failure> {
        let mut named: Vec<&PathBuf> = jobs.iter().filter_map(|j| j.stock.as_ref()).collect();
        let place = |p: &PathBuf| std::fs::canonicalize(p).unwrap_or_else(|_| p.clone());
        named.dedup_by_key(|p| place(p));
        match (&self.stock, named.as_slice()) {
            (Some(stock), _) => Ok(Some(stock.clone())),
            (None, []) => Ok(None),
            (None, [one]) => Ok(Some((*one).clone())),
            (None, [one, other, ..]) => {
                let what = said!(
                    "the jobs name different stocks: {} and {}",
                    one.display(),
                    other.display()
                );
                Err(Failure::Input(
                    Fault::new(what, "name the same in all of them, or one with --stock").into(),
                ))
            }
        }
    }

    /// The limit that the flags ask for; wrong use if they ask for none that can be kept.
    pub fn stop(&self) -> Result<Stop, Failure> {
        match self.effort {
            Some(0) => Err(Failure::Usage(
                Fault::new("--effort 0 allows no search at all", "give at least 1").into(),
            )),
            Some(rounds) => Ok(Stop::Effort(rounds)),
            None => Duration::try_from_secs_f64(self.seconds.unwrap_or(SECONDS) * self.share)
                .ok()
                .filter(|time| *time <= Duration::from_secs(7 * 24 * 3600))
                .map(Stop::After)
                .ok_or_else(|| {
                    Failure::Usage(
                        Fault::new(
                            "--seconds is not a valid time",
                            "give seconds between 0 and a week (604800)",
                        )
                        .into(),
                    )
                }),
        }
    }
}

/// About what drawing the sheets takes for a piece, and for a point of its outline: a timed search
/// ends so much earlier.
const DRAWING: [Duration; 2] = [Duration::from_millis(1), Duration::from_micros(10)];

/// The run, ended earlier by what drawing the sheets of the jobs will take.
pub fn sparing_drawing<'a>(run: &Run<'a>, jobs: &[Job], sets: u32) -> Run<'a> {
    let (mut pieces, mut points) = (0_u32, 0_u32);
    for (job, item) in jobs
        .iter()
        .flat_map(|j| j.layers.iter().flat_map(move |l| l.items.iter().map(move |i| (j, i))))
    {
        let hands = if item.hands == Hands::Both { 2 } else { 1 };
        let count = item.copies.saturating_mul(hands).saturating_mul(sets);
        let length = job.templates.get(item.template).map_or(0, |t| t.outline.net().len() as u32);
        pieces = pieces.saturating_add(count);
        points = points.saturating_add(count.saturating_mul(length));
    }
    run.sparing(DRAWING[0] * pieces + DRAWING[1] * points)
}

/// How long what was asked to end may take to do so by itself.
const PATIENCE: Duration = Duration::from_millis(150);

/// The flag that Ctrl-C raises: once to keep the best so far, twice to end. Where work has nothing
/// to keep and does not end soon, the process ends where it is, and so it does the third time:
/// files are put in place whole, so that none is left by half.
pub fn interrupt() -> Result<&'static Cancel, Failure> {
    static CANCEL: Cancel = Cancel::new();
    #[allow(clippy::exit)]
    let end = || std::process::exit(i32::from(STOPPED));
    let handler = move || {
        CANCEL.ask();
        match CANCEL.asked() {
            1 if !progress::is_tracing() => {}
            1 | 2 => {
                std::thread::sleep(PATIENCE);
                if CANCEL.asked() > 1 || progress::is_tracing() {
                    say("stopped: what was not written yet is not written");
                    end()
                }
            }
            _ => end(),
        }
    };
    match ctrlc::set_handler(handler) {
        // A command may plan more than once.
        Ok(()) | Err(ctrlc::Error::MultipleHandlers) => Ok(&CANCEL),
        Err(e) => Err(Failure::machine("the interrupt handler", &std::io::Error::other(e))),
    }
}

/// A table and a plot for each cloth.
fn write_histories(dir: &Path, histories: &[(String, Vec<TraceRow>)]) -> Result<(), Failure> {
    let mut files = Vec::new();
    let names = file_name::apart(histories.iter().map(|(cloth, _)| file_name::of(cloth)));
    for ((cloth, rows), name) in histories.iter().zip(names) {
        files.push((PathBuf::from(format!("{name}.csv")), sheet::history_table(rows).into_bytes()));
        files.push((
            PathBuf::from(format!("{name}.svg")),
            sheet::history_plot(cloth, rows).into_bytes(),
        ));
    }
    write_into(dir, &files)
}
