//! The context of long work: who may stop it, who hears how far it is, and its limits.
//!
//! Whoever begins long work makes one [`Run`] and hands it down; a part of the work gets a part of
//! it ([`Run::part`]). Every phase looks at the flag at least every 50 ms. Asked to stop once, work
//! ends as soon as there is something complete: what has no plan yet ends at once (reading,
//! preparing, tracing), a search keeps its best, and first layouts, the check and the files still
//! follow. Asked twice, all ends.

use crate::day::Day;
use crate::fault::Fault;
use crate::live::{Ground, Layout};
use std::sync::atomic::{AtomicU32, Ordering};
use std::time::{Duration, Instant};

/// What is being done.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Phase {
    /// Files are read.
    Reading,
    /// Pieces are made of templates and layers.
    Preparing,
    /// A photo is traced.
    Tracing,
    /// A first complete layout is made.
    FirstLayout,
    /// Layouts are made better.
    Searching,
    /// The plan is checked.
    Verifying,
    /// Sheets are drawn and files written.
    Writing,
}

impl Phase {
    /// All of them, in the order of the work.
    pub const ALL: [Phase; 7] = [
        Phase::Reading,
        Phase::Preparing,
        Phase::Tracing,
        Phase::FirstLayout,
        Phase::Searching,
        Phase::Verifying,
        Phase::Writing,
    ];

    /// In a word or two, as a person is told of it.
    pub fn in_words(self) -> &'static str {
        match self {
            Phase::Reading => "reading",
            Phase::Preparing => "preparing the pieces",
            Phase::Tracing => "tracing",
            Phase::FirstLayout => "laying out",
            Phase::Searching => "searching",
            Phase::Verifying => "checking the plan",
            Phase::Writing => "drawing and writing",
        }
    }

    /// Without it what was found so far would be lost: it ends only if asked twice.
    fn saves(self) -> bool {
        matches!(self, Phase::FirstLayout | Phase::Verifying | Phase::Writing)
    }
}

/// When to stop.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Stop {
    /// After this much time; a first layout is made even in no time at all.
    After(Duration),
    /// After this many synchronous rounds: the same answer on every machine and thread count.
    Effort(u32),
}

impl Stop {
    /// So much of the time; of rounds all.
    #[must_use]
    pub fn share(self, of: f64) -> Stop {
        match self {
            Stop::After(time) => Stop::After(time.mul_f64(of.clamp(0.0, 1.0))),
            effort @ Stop::Effort(_) => effort,
        }
    }
}

/// The flag by which work is asked to stop; how often it was asked counts.
#[derive(Debug, Default)]
pub struct Cancel(AtomicU32);

impl Cancel {
    /// Not asked yet.
    pub const fn new() -> Cancel {
        Cancel(AtomicU32::new(0))
    }

    /// Asks the work to stop: once to keep the best so far, twice to end at once. Safe in a signal
    /// handler.
    pub fn ask(&self) {
        // Wrapping round would take four thousand million requests.
        self.0.fetch_add(1, Ordering::Relaxed);
    }

    /// How often it was asked.
    pub fn asked(&self) -> u32 {
        self.0.load(Ordering::Relaxed)
    }
}

/// How far the work is.
#[derive(Clone, Debug, PartialEq)]
pub struct Progress<'a> {
    /// What is being done.
    pub phase: Phase,
    /// The file, cloth or piece it is done on; may be empty.
    pub on: &'a str,
    /// Share of the phase that is done, 0 to 1, where that is known.
    pub share: Option<f64>,
    /// Used length of the best complete layout so far, mm.
    pub best_length: Option<f64>,
    /// Area of the shapes over width times used length, 0 to 1.
    pub density: Option<f64>,
}

/// One row of a search's history.
#[derive(Clone, Debug, PartialEq)]
pub struct TraceRow {
    /// Seconds since the start.
    pub seconds: f64,
    /// Used length of the best layout, mm. The last row is of the layout taken, which may count as
    /// equally long and be a little longer.
    pub length: f64,
    /// Least overlap that the layouts under way have come to, mm.
    pub overlap: f64,
    /// Moves made so far.
    pub moves: u64,
    /// Placements evaluated so far.
    pub evaluations: u64,
}

/// Hears of the work; called from worker threads, so it must be quick.
pub trait Observer: Send + Sync {
    /// Called when a phase begins, a few times a second while it lasts, and whenever a better
    /// layout is found.
    fn progress(&self, _progress: &Progress<'_>) {}

    /// The search of `cloth` is over; this is its history.
    fn searched(&self, _cloth: &str, _history: &[TraceRow]) {}

    /// The flag is about to be looked at.
    fn looked(&self, _phase: Phase) {}

    /// The search of a cloth begins; what its layouts are drawn on is made if it is asked for.
    fn ground(&self, _make: &dyn Fn() -> Ground) {}

    /// True if a layout would be looked at now: only then is one handed over.
    fn wants_layout(&self) -> bool {
        false
    }

    /// The best complete layout so far.
    fn layout(&self, _layout: &Layout) {}

    /// What of a cloth is settled; how that looks is made if it is asked for.
    fn settled(&self, _make: &dyn Fn() -> (Ground, Layout)) {}
}

/// An observer that hears nothing.
#[derive(Clone, Copy, Debug, Default)]
pub struct Silent;

impl Observer for Silent {}

/// Hears for another what a part of the work tells: its layouts are put into the terms of the
/// whole, all else is passed on as it is.
pub struct Relay<'a> {
    to: &'a dyn Observer,
    put: &'a (dyn Fn(&Layout) -> Layout + Sync),
}

impl Observer for Relay<'_> {
    fn progress(&self, progress: &Progress<'_>) {
        self.to.progress(progress);
    }

    fn searched(&self, cloth: &str, history: &[TraceRow]) {
        self.to.searched(cloth, history);
    }

    fn looked(&self, phase: Phase) {
        self.to.looked(phase);
    }

    fn ground(&self, make: &dyn Fn() -> Ground) {
        self.to.ground(make);
    }

    fn wants_layout(&self) -> bool {
        self.to.wants_layout()
    }

    fn layout(&self, layout: &Layout) {
        self.to.layout(&(self.put)(layout));
    }

    fn settled(&self, make: &dyn Fn() -> (Ground, Layout)) {
        self.to.settled(make);
    }
}

static NEVER: Cancel = Cancel::new();
static SILENT: Silent = Silent;

/// How long a first layout may take beyond the end of the run before what is left of it is laid in
/// plain rows.
const GRACE: Duration = Duration::from_millis(600);
/// Memory for what is kept only to be quick, if nothing else is said.
const MEMORY: usize = 320 << 20;

/// The context of one piece of long work. Cheap to copy; parts share the flag and the observer.
#[derive(Clone, Copy)]
pub struct Run<'a> {
    stop: Stop,
    start: Instant,
    /// End of the whole, where it is timed.
    last: Option<Instant>,
    /// Ends at the first request whatever its phase: nothing hangs on its outcome.
    is_trial: bool,
    /// What was done before would be lost with it: only a search ends at the first request.
    is_saving: bool,
    /// A timed search ends as soon as it no longer pays.
    ends_early: bool,
    seed: u64,
    threads: usize,
    memory: usize,
    day: Option<Day>,
    on: &'a str,
    /// The part of its phase that this is: where it begins, and how much it is.
    span: (f64, f64),
    cancel: &'a Cancel,
    observer: &'a dyn Observer,
}

impl Default for Run<'_> {
    /// Never stopped, heard by nobody, one round of effort, seed 1, a thread a core.
    fn default() -> Self {
        Run::new(Stop::Effort(1))
    }
}

impl<'a> Run<'a> {
    /// A run that begins now; otherwise as the default.
    pub fn new(stop: Stop) -> Run<'a> {
        let start = Instant::now();
        Run {
            stop,
            start,
            last: end(start, stop),
            is_trial: false,
            is_saving: false,
            ends_early: false,
            seed: 1,
            threads: 0,
            memory: MEMORY,
            day: None,
            on: "",
            span: (0.0, 1.0),
            cancel: &NEVER,
            observer: &SILENT,
        }
    }

    /// The same, with another seed of all random choices.
    #[must_use]
    pub fn with_seed(self, seed: u64) -> Run<'a> {
        Run { seed, ..self }
    }

    /// The same, but a timed search ends as soon as the rest of its time promises next to nothing.
    #[must_use]
    pub fn while_it_pays(self) -> Run<'a> {
        Run { ends_early: true, ..self }
    }

    /// The same on so many worker threads; 0 means one a core.
    #[must_use]
    pub fn with_threads(self, threads: usize) -> Run<'a> {
        Run { threads, ..self }
    }

    /// The same with so many bytes for what is kept only to be quick.
    #[must_use]
    pub fn with_memory(self, memory: usize) -> Run<'a> {
        Run { memory, ..self }
    }

    /// The same, done on this day.
    #[must_use]
    pub fn with_day(self, day: Day) -> Run<'a> {
        Run { day: Some(day), ..self }
    }

    /// The same, stopped by a flag.
    #[must_use]
    pub fn with_cancel<'b>(self, cancel: &'b Cancel) -> Run<'b>
    where
        'a: 'b,
    {
        Run { cancel, ..self }
    }

    /// The same, heard by an observer.
    #[must_use]
    pub fn with_observer<'b>(self, observer: &'b dyn Observer) -> Run<'b>
    where
        'a: 'b,
    {
        Run { observer, ..self }
    }

    /// A part of this run with a limit of its own, which begins now and does not outlast the whole.
    #[must_use]
    pub fn part(&self, stop: Stop) -> Run<'a> {
        Run { stop, start: Instant::now(), ..*self }
    }

    /// A part on whose outcome nothing hangs: it ends at the first request, and tells nothing.
    #[must_use]
    pub fn trial(&self, stop: Stop) -> Run<'a> {
        Run { is_trial: true, observer: &SILENT, ..self.part(stop) }
    }

    /// The same run, ended so much earlier where it is timed, but by no more than half of what is
    /// left: for work that must follow.
    #[must_use]
    pub fn sparing(&self, time: Duration) -> Run<'a> {
        let spared = self.time_left().map_or(Duration::ZERO, |left| time.min(left / 2));
        Run { last: self.last.and_then(|last| last.checked_sub(spared)).or(self.last), ..*self }
    }

    /// The same run where a first layout has its time from now on, however late it is.
    #[must_use]
    pub fn in_time(&self) -> Run<'a> {
        Run { last: self.last.map(|last| last.max(Instant::now())), ..*self }
    }

    /// The same run where what was done before would be lost with it: all but searching ends only
    /// at the second request.
    #[must_use]
    pub fn saving(&self) -> Run<'a> {
        Run { is_saving: true, ..*self }
    }

    /// The same run, telling of a file or cloth, which is this part of its phase: where it begins
    /// and how much it is, as shares of this run's.
    #[must_use]
    pub fn about<'b>(&self, on: &'b str, (from, share): (f64, f64)) -> Run<'b>
    where
        'a: 'b,
    {
        Run { on, span: (self.span.0 + from * self.span.1, share * self.span.1), ..*self }
    }

    /// The file or cloth it tells of; may be empty.
    pub fn on(&self) -> &'a str {
        self.on
    }

    /// Seed of all random choices.
    pub fn seed(&self) -> u64 {
        self.seed
    }

    /// True if a timed search ends as soon as it no longer pays.
    pub fn ends_early(&self) -> bool {
        self.ends_early
    }

    /// Worker threads; 0 means one a core.
    pub fn threads(&self) -> usize {
        self.threads
    }

    /// Does work on so many threads.
    pub(crate) fn pooled<T: Send>(&self, work: impl FnOnce() -> T + Send) -> T {
        match rayon::ThreadPoolBuilder::new().num_threads(self.threads).build() {
            Ok(pool) => pool.install(work),
            // No threads to be had: the caller's own will do.
            Err(_) => work(),
        }
    }

    /// Bytes for what is kept only to be quick.
    pub fn memory(&self) -> usize {
        self.memory
    }

    /// The day the work is done; today where nobody said another.
    pub fn day(&self) -> Day {
        self.day.unwrap_or_else(Day::today)
    }

    /// When it stops.
    pub fn stop(&self) -> Stop {
        self.stop
    }

    /// Seconds since it began.
    pub fn seconds(&self) -> f64 {
        self.start.elapsed().as_secs_f64()
    }

    /// Time since it began.
    pub fn elapsed(&self) -> Duration {
        self.start.elapsed()
    }

    /// Time that is left, where it is timed.
    pub fn time_left(&self) -> Option<Duration> {
        end(self.start, self.stop)
            .map(|end| end.min(self.last.unwrap_or(end)).saturating_duration_since(Instant::now()))
    }

    /// What is left of its limit.
    pub fn rest(&self) -> Stop {
        self.time_left().map_or(self.stop, Stop::After)
    }

    /// True if this phase must end: the flag says so.
    pub fn is_stopped(&self, phase: Phase) -> bool {
        self.observer.looked(phase);
        let saves = phase.saves() || self.is_saving && phase != Phase::Searching;
        self.cancel.asked() > u32::from(saves && !self.is_trial)
    }

    /// True if it was asked to stop at all.
    pub fn is_asked(&self) -> bool {
        self.cancel.asked() > 0
    }

    /// The fault to return from a phase that was stopped, with what became of the work.
    pub fn stopped(&self, phase: Phase) -> Fault {
        Fault::new(said!("stopped while {}", phase.in_words()), "nothing was written; begin again")
    }

    /// An error if this phase must end.
    ///
    /// # Errors
    /// The fault that says so.
    pub fn check(&self, phase: Phase) -> Result<(), Fault> {
        if self.is_stopped(phase) { Err(self.stopped(phase)) } else { Ok(()) }
    }

    /// True once a search must end within its round: asked, or out of time.
    pub fn is_up(&self) -> bool {
        self.is_stopped(Phase::Searching) || self.is_out_of_time()
    }

    fn is_out_of_time(&self) -> bool {
        matches!(self.stop, Stop::After(_)) && self.time_left() == Some(Duration::ZERO)
    }

    /// True once a first layout takes so long that what is left of it must be laid in the quickest
    /// way.
    pub fn is_late(&self) -> bool {
        self.last.is_some_and(|last| Instant::now() > last + GRACE)
    }

    /// True if no round after `rounds` may begin.
    pub fn is_over(&self, rounds: u32) -> bool {
        self.is_up() || matches!(self.stop, Stop::Effort(effort) if rounds >= effort)
    }

    /// Share of its limit that is used after so many rounds, 0 to 1.
    pub fn share(&self, rounds: u32) -> f64 {
        let share = match self.stop {
            Stop::After(time) => self.seconds() / time.max(Duration::from_millis(1)).as_secs_f64(),
            Stop::Effort(effort) => f64::from(rounds) / f64::from(effort.max(1)),
        };
        share.clamp(0.0, 1.0)
    }

    /// Rounds that remain after `rounds`, about.
    pub fn rounds_left(&self, rounds: u32) -> f64 {
        let share = self.share(rounds);
        if share > 0.0 { f64::from(rounds) * (1.0 - share) / share } else { f64::INFINITY }
    }

    /// True for a run that must be the same on every machine.
    pub fn is_by_effort(&self) -> bool {
        matches!(self.stop, Stop::Effort(_))
    }

    /// Tells of the work: `share` is that of this part.
    pub fn tell(&self, phase: Phase, share: Option<f64>) {
        self.tell_best(phase, share, None, None);
    }

    /// Tells of the work and of its best layout: used length in mm, and density.
    pub fn tell_best(
        &self,
        phase: Phase,
        share: Option<f64>,
        best_length: Option<f64>,
        density: Option<f64>,
    ) {
        let share = share.map(|s| self.span.0 + s.clamp(0.0, 1.0) * self.span.1);
        self.observer.progress(&Progress { phase, on: self.on, share, best_length, density });
    }

    /// Tells what the layouts of a cloth are drawn on.
    pub fn tell_ground(&self, make: &dyn Fn() -> Ground) {
        self.observer.ground(make);
    }

    /// True if a layout should be told of.
    pub fn wants_layout(&self) -> bool {
        self.observer.wants_layout()
    }

    /// Tells of a layout.
    pub fn tell_layout(&self, layout: &Layout) {
        self.observer.layout(layout);
    }

    /// Tells what of a cloth is settled.
    pub fn tell_settled(&self, make: &dyn Fn() -> (Ground, Layout)) {
        self.observer.settled(make);
    }

    /// An observer for a part of this run whose layouts have other names for pieces and stocks.
    pub fn relay<'b>(&self, put: &'b (dyn Fn(&Layout) -> Layout + Sync)) -> Relay<'b>
    where
        'a: 'b,
    {
        Relay { to: self.observer, put }
    }

    /// Tells that the search of a cloth is over.
    pub fn tell_history(&self, cloth: &str, history: &[TraceRow]) {
        self.observer.searched(cloth, history);
    }
}

/// When a timed run ends.
fn end(start: Instant, stop: Stop) -> Option<Instant> {
    match stop {
        // What is too far off to reckon is never reached.
        Stop::After(time) => start.checked_add(time),
        Stop::Effort(_) => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_has_nothing_to_keep_ends_when_asked_once_and_the_rest_when_asked_twice() {
        let cancel = Cancel::new();
        let run = Run::default().with_cancel(&cancel);
        let stopped = |run: &Run<'_>| {
            Phase::ALL.into_iter().filter(|&p| run.is_stopped(p)).collect::<Vec<_>>()
        };
        assert_eq!(stopped(&run), []);
        cancel.ask();
        assert_eq!(
            stopped(&run),
            [Phase::Reading, Phase::Preparing, Phase::Tracing, Phase::Searching]
        );
        assert_eq!(stopped(&run.trial(Stop::Effort(1))), Phase::ALL, "nothing hangs on a trial");
        cancel.ask();
        assert_eq!(stopped(&run), Phase::ALL);
    }

    #[test]
    fn a_part_does_not_outlast_the_whole() {
        let whole = Run::new(Stop::After(Duration::ZERO));
        let part = whole.part(Stop::After(Duration::from_secs(600)));
        assert!(part.is_up() && part.time_left() == Some(Duration::ZERO));
        assert!(!whole.part(Stop::Effort(3)).is_over(2), "rounds are counted, however late it is");
    }

    #[test]
    fn time_for_what_must_follow_is_taken_off_the_end() {
        let whole = Run::new(Stop::After(Duration::from_secs(1000)));
        let left =
            |run: Run<'_>| run.time_left().map_or(0.0, |t| (t.as_secs_f64() / 100.0).round());
        assert_eq!(
            (
                left(whole),
                left(whole.sparing(Duration::from_secs(300))),
                left(whole.sparing(Duration::MAX))
            ),
            (10.0, 7.0, 5.0)
        );
        assert_eq!(
            whole.sparing(Duration::from_secs(300)).stop(),
            whole.stop(),
            "what was asked for is told as it was"
        );
    }

    #[test]
    fn a_limit_beyond_the_clock_is_never_reached() {
        assert!(!Run::new(Stop::After(Duration::MAX)).is_up());
    }

    #[test]
    fn the_share_of_a_part_is_one_of_the_whole() {
        struct Heard(std::sync::Mutex<Vec<(String, Option<f64>)>>);
        impl Observer for Heard {
            fn progress(&self, p: &Progress<'_>) {
                if let Ok(mut heard) = self.0.lock() {
                    heard.push((p.on.to_string(), p.share));
                }
            }
        }
        let heard = Heard(std::sync::Mutex::default());
        let run = Run::default().with_observer(&heard);
        run.about("seat", (0.5, 0.5)).about("rim", (0.5, 0.25)).tell(Phase::Reading, Some(0.5));
        run.tell(Phase::Writing, None);
        let heard = heard.0.into_inner().unwrap_or_default();
        assert_eq!(heard, [("rim".to_string(), Some(0.8125)), (String::new(), None)]);
    }
}
