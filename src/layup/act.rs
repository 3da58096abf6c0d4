//! What is done at the mould, and what may follow what. The time is given by whoever asks.
//!
//! Nothing is forced: an order that the sheet does not have is asked about once, and what a person
//! says yes to is kept as a deviation.

use super::progress::{copy_key, note_key};
use super::steps::Step;
use super::{Clock, ClockOf, Deviation, LEAST_VACUUM, LayupSheet, MOST_LOSS, Progress};
use super::{clock_words, holds};
use crate::fault::Fault;
use crate::units::show_number;
use serde::{Deserialize, Serialize};

/// Longest text that is kept, letters.
const LONGEST: usize = 4000;

/// What is done at the mould.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Act {
    /// Names who lays and what.
    Who {
        /// Who, as they write it.
        who: String,
        /// The part, as they write it.
        part: String,
    },
    /// Ticks a check before the start.
    Check {
        /// Which, from 0.
        index: usize,
        /// Ticked or not.
        on: bool,
    },
    /// Writes what a check before the start asks for.
    Wrote {
        /// Which, from 0.
        index: usize,
        /// The text.
        text: String,
    },
    /// Ticks something after the cure.
    After {
        /// Which, from 0.
        index: usize,
        /// Ticked or not.
        on: bool,
    },
    /// Ticks a step that has no pieces.
    Step {
        /// Which, from 0.
        step: usize,
        /// Ticked or not.
        on: bool,
    },
    /// Ticks a piece as laid.
    Laid {
        /// Piece id.
        piece: String,
        /// Which copy, from 1.
        copy: u32,
        /// Ticked or not.
        on: bool,
    },
    /// Ticks the backing of a piece as off and in the bin.
    Backing {
        /// Piece id.
        piece: String,
        /// Which copy, from 1.
        copy: u32,
        /// Ticked or not.
        on: bool,
    },
    /// Begins a clock.
    Begin {
        /// Which.
        clock: ClockOf,
        /// How long a bag check runs, or a debulk of which the job gives no time; the sheet says
        /// it of the others.
        #[serde(default)]
        minutes: Option<f64>,
        /// Vacuum, kPa below the air.
        #[serde(default)]
        vacuum: Option<f64>,
    },
    /// Ends a clock.
    End {
        /// Which.
        clock: ClockOf,
        /// Vacuum, kPa below the air.
        #[serde(default)]
        vacuum: Option<f64>,
    },
    /// Writes the note of a step in place of the one before.
    Note {
        /// Which step, from 0; none for the whole.
        step: Option<usize>,
        /// The text.
        text: String,
    },
    /// Writes down what the scales show.
    Mass {
        /// Off the mould, g.
        off_mould: Option<f64>,
        /// Finished, g.
        finished: Option<f64>,
    },
}

/// Why nothing was done.
#[derive(Clone, Debug, PartialEq)]
pub enum Held {
    /// The sheet has another order: what is still open, to be asked about.
    Ask(Vec<String>),
    /// It cannot be done.
    Fault(Fault),
}

impl From<Fault> for Held {
    fn from(fault: Fault) -> Held {
        Held::Fault(fault)
    }
}

fn none() -> Held {
    Fault::new("the lay-up sheet has no such thing", "load the page anew").into()
}

impl Progress {
    fn deviates(&mut self, at: i64, what: String) {
        self.deviations.push(Deviation { at, what });
    }

    /// Goes past what is open before a step, if that was said yes to.
    fn go_past(
        &mut self,
        open: Vec<(String, String)>,
        doing: &str,
        despite: bool,
        now: i64,
    ) -> Result<(), Held> {
        let open: Vec<_> = open.into_iter().filter(|o| !self.passed.contains(&o.0)).collect();
        if open.is_empty() {
            return Ok(());
        }
        if !despite {
            return Err(Held::Ask(open.into_iter().map(|o| o.1).collect()));
        }
        for (key, words) in open {
            self.deviates(now, format!("{doing}: {words}"));
            self.passed.insert(key);
        }
        Ok(())
    }

    fn tick(&mut self, key: String, on: bool, now: i64) {
        if on {
            self.ticked.entry(key).or_insert(now);
        } else {
            self.ticked.remove(&key);
        }
    }

    /// Does something. With `despite`, what is open before it is gone past and kept as a
    /// deviation.
    ///
    /// # Errors
    /// The sheet has an order that it is against, or there is no such thing. Then nothing is done.
    pub fn act(
        &mut self,
        sheet: &LayupSheet,
        act: &Act,
        despite: bool,
        now: i64,
    ) -> Result<(), Held> {
        // All or nothing.
        let mut next = self.clone();
        next.act_on(sheet, act, despite, now)?;
        next.begun = next.begun.or(Some(now));
        *self = next;
        Ok(())
    }

    fn act_on(
        &mut self,
        sheet: &LayupSheet,
        act: &Act,
        despite: bool,
        now: i64,
    ) -> Result<(), Held> {
        match act {
            Act::Who { who, part } => {
                self.who = kept(who);
                self.part = kept(part);
            }
            Act::Check { index, on } if *index < sheet.checks.len() => {
                self.tick(format!("check/{index}"), *on, now);
            }
            Act::Wrote { index, text } if *index < sheet.checks.len() => {
                let text = kept(text);
                if text.is_empty() {
                    self.written.remove(index);
                } else {
                    self.written.insert(*index, text);
                }
            }
            Act::After { index, on } if *index < sheet.after.len() => {
                self.tick(format!("after/{index}"), *on, now);
            }
            Act::Step { step, on } => {
                let what = sheet.steps.get(*step).filter(|s| s.layer.is_none()).ok_or_else(none)?;
                let name = what.what.split(':').next().unwrap_or_default();
                if *on {
                    self.go_past(self.open_before(sheet, *step), name, despite, now)?;
                    match self.clock(ClockOf::Debulk(*step)) {
                        None if what.minutes.is_some() => {
                            self.deviates(now, format!("{name} was ticked without its clock"));
                        }
                        // Who calls it done has ended it, be it in time or not.
                        Some(clock) if clock.ended.is_none() => {
                            self.end(sheet, ClockOf::Debulk(*step), None, now)?;
                        }
                        _ => {}
                    }
                }
                self.tick(format!("step/{step}"), *on, now);
            }
            Act::Laid { piece, copy, on } | Act::Backing { piece, copy, on } => {
                let mine = |s: &Step| {
                    s.ticks.iter().any(|t| t.piece == *piece && (1..=t.copies).contains(copy))
                };
                let step = sheet.steps.iter().position(mine).ok_or_else(none)?;
                let is_laid = matches!(act, Act::Laid { .. });
                if is_laid && *on {
                    let name = sheet.steps[step].what.split(':').next().unwrap_or_default();
                    self.go_past(self.open_before(sheet, step), name, despite, now)?;
                }
                let what = if is_laid { "laid" } else { "backing" };
                self.tick(copy_key(what, piece, *copy), *on, now);
                if is_laid && !on {
                    // Taken up again, it has to be laid as it was never laid before.
                    self.passed.remove(&copy_key("laid", piece, *copy));
                }
            }
            Act::Begin { clock, minutes, vacuum } => {
                self.begin(sheet, *clock, *minutes, *vacuum, despite, now)?;
            }
            Act::End { clock, vacuum } => self.end(sheet, *clock, *vacuum, now)?,
            Act::Note { step, text } if step.is_none_or(|s| s < sheet.steps.len()) => {
                let (key, text) = (note_key(*step), kept(text));
                if text.is_empty() {
                    self.notes.remove(&key);
                } else {
                    self.notes.insert(key, text);
                }
            }
            Act::Mass { off_mould, finished } => {
                let mass = [*off_mould, *finished];
                if mass.iter().flatten().any(|m| !(0.0..=1e7).contains(m)) {
                    let fault = Fault::new("that is no mass of a part", "give grams");
                    return Err(fault.into());
                }
                self.mass = mass;
            }
            _ => return Err(none()),
        }
        Ok(())
    }

    fn begin(
        &mut self,
        sheet: &LayupSheet,
        of: ClockOf,
        minutes: Option<f64>,
        vacuum: Option<f64>,
        despite: bool,
        now: i64,
    ) -> Result<(), Held> {
        let name = clock_words(sheet, of);
        if self.clock(of).is_some_and(|c| c.ended.is_none()) {
            return Err(Fault::new(said!("{name} runs already"), "end it first").into());
        }
        let minutes = match of {
            ClockOf::Debulk(step) => {
                self.go_past(self.open_before(sheet, step), &name, despite, now)?;
                let debulk = sheet.steps.get(step).ok_or_else(none)?;
                let reckoned = debulk.minutes.ok_or_else(none)?;
                minutes.filter(|_| debulk.is_assumed).unwrap_or(reckoned)
            }
            ClockOf::Leak => minutes.unwrap_or(1.0),
            ClockOf::Cure => {
                let mut open = self.open_before(sheet, usize::MAX);
                if !self.is_tight() {
                    open.push(("leak".into(), "no bag check has passed".into()));
                }
                self.go_past(open, &name, despite, now)?;
                sheet.cure.last().map(|p| p.minutes).ok_or_else(none)?
            }
            ClockOf::Hold(k) => {
                if self.clock(ClockOf::Cure).is_none() {
                    let fault = Fault::new("the cure has not begun", "begin the cure first");
                    return Err(fault.into());
                }
                holds(sheet).get(k).map(|h| h.1).ok_or_else(none)?
            }
        };
        if !(0.0..=100_000.0).contains(&minutes) {
            let what = said!("a clock of {minutes} minutes is none");
            return Err(Fault::new(what, "give minutes").into());
        }
        let vacuum = read_vacuum(vacuum)?;
        if let Some(low) = vacuum.filter(|v| *v < LEAST_VACUUM - 0.05) {
            let least = show_number(LEAST_VACUUM, 1);
            self.deviates(
                now,
                format!(
                    "{name} began at {} kPa, and {least} kPa are the least",
                    show_number(low, 1)
                ),
            );
        }
        self.clocks.push(Clock { of, begun: now, minutes, ended: None, vacuum: [vacuum, None] });
        Ok(())
    }

    fn end(
        &mut self,
        sheet: &LayupSheet,
        of: ClockOf,
        vacuum: Option<f64>,
        now: i64,
    ) -> Result<(), Held> {
        let name = clock_words(sheet, of);
        let vacuum = read_vacuum(vacuum)?;
        let running = self.clocks.iter_mut().rev().find(|c| c.of == of && c.ended.is_none());
        let Some(clock) = running else {
            return Err(Fault::new(said!("{name} does not run"), "begin it first").into());
        };
        clock.ended = Some(now.max(clock.begun));
        clock.vacuum[1] = vacuum;
        let clock = clock.clone();
        if clock.is_early() {
            let ran = show_number(clock.ran(), 1);
            let all = show_number(clock.minutes, 1);
            self.deviates(now, format!("{name} was ended after {ran} of {all} min"));
        }
        if of == ClockOf::Leak && clock.holds() == Some(false) {
            let loss = show_number(clock.loss().unwrap_or(0.0), 2);
            let most = show_number(MOST_LOSS, 1);
            self.deviates(now, format!("a bag check failed: it lost {loss} kPa in a minute, and {most} kPa are the most"));
        }
        if let ClockOf::Debulk(step) = of {
            self.tick(format!("step/{step}"), true, now);
        }
        Ok(())
    }
}

/// What is kept of a typed text.
fn kept(text: &str) -> String {
    text.trim().chars().take(LONGEST).collect()
}

fn read_vacuum(kpa: Option<f64>) -> Result<Option<f64>, Fault> {
    if kpa.is_some_and(|v| !(0.0..=110.0).contains(&v)) {
        let what = "that is no vacuum in kPa below the air";
        return Err(Fault::new(what, "give what the gauge shows, from 0 to about 101"));
    }
    Ok(kpa)
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::layup::{CurePoint, Tick};

    fn layer(number: usize, pieces: &[&str]) -> Step {
        let tick =
            |p: &&str| Tick { piece: p.to_string(), label: format!("{p} hull · 0°"), copies: 1 };
        Step {
            what: format!("Layer {number}: twill"),
            notes: Vec::new(),
            layer: Some(number - 1),
            templates: Vec::new(),
            ticks: pieces.iter().map(tick).collect(),
            minutes: None,
            is_assumed: false,
        }
    }

    /// Two layers with a debulk between, a cure of one hold.
    fn sheet() -> LayupSheet {
        let debulk = Step {
            what: "Debulk 1: full vacuum".into(),
            layer: None,
            minutes: Some(20.0),
            ..layer(1, &[])
        };
        let point = |minutes: f64, temperature: f64| CurePoint {
            minutes,
            temperature,
            what: String::new(),
            clock: None,
        };
        LayupSheet {
            job: "hull".into(),
            rolls: Vec::new(),
            warnings: Vec::new(),
            checks: vec!["Mould clean".into()],
            steps: vec![layer(1, &["1.1"]), debulk, layer(2, &["2.1", "2.2"])],
            bags: Vec::new(),
            bag: Vec::new(),
            bag_note: String::new(),
            cure: vec![point(0.0, 20.0), point(40.0, 80.0), point(100.0, 80.0)],
            limits: Vec::new(),
            cure_notes: Vec::new(),
            hours_out: 1.0,
            hours_note: String::new(),
            after: vec!["Trim".into()],
            cautions: Vec::new(),
        }
    }

    fn laid(piece: &str) -> Act {
        Act::Laid { piece: piece.into(), copy: 1, on: true }
    }

    fn bare(piece: &str) -> Act {
        Act::Backing { piece: piece.into(), copy: 1, on: true }
    }

    fn begin(clock: ClockOf, vacuum: Option<f64>) -> Act {
        Act::Begin { clock, minutes: None, vacuum }
    }

    fn end(clock: ClockOf, vacuum: Option<f64>) -> Act {
        Act::End { clock, vacuum }
    }

    fn asked(held: Result<(), Held>) -> Vec<String> {
        match held {
            Err(Held::Ask(open)) => open,
            other => panic!("{other:?}"),
        }
    }

    #[test]
    fn a_layer_over_backing_is_asked_about_once_and_kept_as_a_deviation() {
        let (sheet, mut p) = (sheet(), Progress::default());
        p.act(&sheet, &laid("1.1"), false, 10).unwrap();
        let open = asked(p.act(&sheet, &laid("2.1"), false, 20));
        assert_eq!(open, ["1.1 hull has no tick for its backing", "Debulk 1 is not ticked"]);
        assert!(!p.is_copy("laid", "2.1", 1), "nothing was done");
        p.act(&sheet, &bare("1.1"), false, 30).unwrap();
        assert_eq!(asked(p.act(&sheet, &laid("2.1"), false, 40)), ["Debulk 1 is not ticked"]);
        p.act(&sheet, &laid("2.1"), true, 50).unwrap();
        assert_eq!(
            p.deviations,
            [Deviation { at: 50, what: "Layer 2: Debulk 1 is not ticked".into() }]
        );
        p.act(&sheet, &laid("2.2"), false, 60).unwrap();
        assert_eq!((p.deviations.len(), p.begun), (1, Some(10)));
        // A piece that is taken up again is open again.
        p.act(&sheet, &Act::Laid { piece: "1.1".into(), copy: 1, on: false }, false, 70).unwrap();
        let cure = asked(p.act(&sheet, &begin(ClockOf::Cure, None), false, 80));
        assert!(cure.contains(&"1.1 hull is not ticked as laid".to_string()), "{cure:?}");
        assert!(cure.contains(&"no bag check has passed".to_string()), "{cure:?}");
    }

    #[test]
    fn a_debulk_is_done_when_its_clock_is_ended_and_early_is_said() {
        let (sheet, mut p) = (sheet(), Progress::default());
        for act in [laid("1.1"), bare("1.1")] {
            p.act(&sheet, &act, false, 0).unwrap();
        }
        let debulk = ClockOf::Debulk(1);
        assert!(p.act(&sheet, &end(debulk, None), false, 0).is_err(), "it does not run");
        p.act(&sheet, &begin(debulk, Some(80.0)), false, 100).unwrap();
        assert_eq!(p.clock(debulk).unwrap().rings(), 1300);
        assert!(p.act(&sheet, &begin(debulk, None), false, 110).is_err(), "it runs already");
        assert_eq!(asked(p.act(&sheet, &laid("2.1"), false, 200)), ["Debulk 1 is still running"]);
        p.act(&sheet, &end(debulk, Some(79.0)), false, 820).unwrap();
        assert_eq!(p.deviations[0].what, "Debulk 1 was ended after 12 of 20 min");
        assert!(p.is_done(&sheet, 1));
        p.act(&sheet, &laid("2.1"), false, 900).unwrap();
        // Ticked without a clock it is done as well, and that is said.
        let mut p = Progress::default();
        p.act(&sheet, &Act::Step { step: 1, on: true }, true, 0).unwrap();
        assert!(p.deviations.iter().any(|d| d.what.contains("without its clock")));
    }

    /// 22 inches of mercury are 74.5 kPa, one is 3.386 kPa.
    #[test]
    fn a_bag_check_is_judged_by_vacuum_and_loss_in_a_minute() {
        let (sheet, mut p) = (sheet(), Progress::default());
        let mut check = |from: f64, to: f64, seconds: i64| {
            let begin = Act::Begin { clock: ClockOf::Leak, minutes: Some(5.0), vacuum: Some(from) };
            p.act(&sheet, &begin, false, 0).unwrap();
            p.act(&sheet, &end(ClockOf::Leak, Some(to)), false, seconds).unwrap();
            (p.clock(ClockOf::Leak).unwrap().holds(), p.is_tight())
        };
        assert_eq!(check(90.0, 70.0, 300), (Some(false), false), "4 kPa in a minute");
        assert_eq!(check(60.0, 60.0, 300), (Some(false), false), "too little vacuum");
        assert_eq!(check(90.0, 74.0, 300), (Some(true), true), "3.2 kPa in a minute");
        let said: Vec<&str> = p.deviations.iter().map(|d| d.what.as_str()).collect();
        assert!(said[0].contains("lost 4 kPa in a minute"), "{said:?}");
        assert!(said.iter().any(|s| s.contains("began at 60 kPa")), "{said:?}");
        let nonsense = Act::Begin { clock: ClockOf::Leak, minutes: None, vacuum: Some(900.0) };
        assert!(matches!(p.act(&sheet, &nonsense, true, 0), Err(Held::Fault(_))));
    }

    #[test]
    fn holds_follow_the_cure_and_what_is_open_is_listed() {
        let (sheet, mut p) = (sheet(), Progress::default());
        assert_eq!(holds(&sheet), [(80.0, 60.0)]);
        assert!(matches!(
            p.act(&sheet, &begin(ClockOf::Hold(0), None), true, 0),
            Err(Held::Fault(_))
        ));
        p.act(&sheet, &begin(ClockOf::Cure, None), true, 0).unwrap();
        p.act(&sheet, &begin(ClockOf::Hold(0), None), false, 3000).unwrap();
        assert_eq!(p.clock(ClockOf::Hold(0)).unwrap().rings(), 6600);
        assert!(p.act(&sheet, &begin(ClockOf::Hold(1), None), true, 0).is_err());
        let open = p.open(&sheet);
        assert!(open.contains(&"Mould clean".to_string()), "{open:?}");
        assert!(open.contains(&"Hold at 80 °C was not ended".to_string()), "{open:?}");
        for act in
            [Act::Check { index: 9, on: true }, Act::After { index: 1, on: true }, laid("9.9")]
        {
            assert!(p.act(&sheet, &act, true, 0).is_err(), "{act:?}");
        }
    }

    #[test]
    fn a_state_is_read_as_it_was_written_and_with_fewer_fields() {
        let (sheet, mut p) = (sheet(), Progress::default());
        p.act(
            &sheet,
            &Act::Note { step: Some(0), text: " a wrinkle, rolled out ".into() },
            false,
            1,
        )
        .unwrap();
        p.act(&sheet, &begin(ClockOf::Debulk(1), Some(80.0)), true, 2).unwrap();
        let text = serde_json::to_string(&p).unwrap();
        assert_eq!(serde_json::from_str::<Progress>(&text).unwrap(), p);
        assert_eq!(p.note(Some(0)), "a wrinkle, rolled out");
        assert_eq!(serde_json::from_str::<Progress>("{}").unwrap(), Progress::default());
        // Whatever numbers a file holds, nothing breaks off.
        let far = r#"{"of":"leak","begun":-9223372036854775808,"minutes":1e300,"ended":9223372036854775807,"vacuum":[90,1]}"#;
        let clock: Clock = serde_json::from_str(far).unwrap();
        assert!(clock.rings() < 0 && clock.holds() == Some(true), "{clock:?}");
    }

    /// It was ticked as if it had run its time, and nothing was said of it.
    #[test]
    fn a_debulk_called_done_while_its_clock_runs_is_ended_early() {
        let (sheet, mut p) = (sheet(), Progress::default());
        p.act(&sheet, &begin(ClockOf::Debulk(1), None), true, 1_000).unwrap();
        p.deviations.clear();
        p.act(&sheet, &Act::Step { step: 1, on: true }, true, 1_180).unwrap();
        let clock = p.clock(ClockOf::Debulk(1)).unwrap();
        assert!(clock.is_early() && clock.ended == Some(1_180) && p.is_on("step/1"));
        let said: Vec<&str> = p.otherwise(&sheet.steps[1]).map(|d| d.what.as_str()).collect();
        assert_eq!(said, ["Debulk 1 was ended after 3 of 20 min"]);
        assert_eq!(p.otherwise(&sheet.steps[0]).count(), 0);
    }

    #[test]
    fn a_debulk_of_which_the_job_gives_no_time_runs_as_long_as_is_said() {
        let (mut sheet, said) = (sheet(), Some(35.0));
        let begin = |sheet: &LayupSheet| {
            let mut p = Progress::default();
            let act = Act::Begin { clock: ClockOf::Debulk(1), minutes: said, vacuum: None };
            p.act(sheet, &act, true, 0).unwrap();
            p.clock(ClockOf::Debulk(1)).unwrap().minutes
        };
        assert_eq!(begin(&sheet), 20.0);
        sheet.steps[1].is_assumed = true;
        assert_eq!(begin(&sheet), 35.0);
    }

    #[test]
    fn what_a_check_asks_for_is_written_beside_it() {
        let (sheet, mut p) = (sheet(), Progress::default());
        let wrote = |text: &str| Act::Wrote { index: 0, text: text.into() };
        p.act(&sheet, &wrote(" at 7:30 "), false, 10).unwrap();
        assert_eq!(p.written.get(&0).map(String::as_str), Some("at 7:30"));
        p.act(&sheet, &wrote(""), false, 20).unwrap();
        assert!(p.written.is_empty());
        assert!(p.act(&sheet, &Act::Wrote { index: 9, text: "x".into() }, false, 30).is_err());
    }
}
