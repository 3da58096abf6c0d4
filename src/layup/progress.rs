//! How far the work at the mould is: what is ticked, clocks that run, bag checks, notes, and what
//! was done otherwise than the sheet has it.

use super::steps::Step;
use super::{INCH_OF_MERCURY, LayupSheet};
use crate::units::show_number;
use serde::{Deserialize, Serialize};
use std::collections::{BTreeMap, BTreeSet};

/// A bag is good from this vacuum on, kPa below the air: 22 inches of mercury.
pub const LEAST_VACUUM: f64 = 22.0 * INCH_OF_MERCURY;
/// With the pump shut off it loses at most so much in a minute, kPa: one inch of mercury.
pub const MOST_LOSS: f64 = INCH_OF_MERCURY;
/// A clock that is ended so little early is ended in time, seconds.
const IN_TIME: i64 = 5;

/// What a clock is for.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum ClockOf {
    /// The debulk that is this step, from 0.
    Debulk(usize),
    /// A bag check: the pump is shut off, and the vacuum is read at both ends.
    Leak,
    /// The whole cure.
    Cure,
    /// The hold of the cure with this number, from 0.
    Hold(usize),
}

/// A clock that was begun. Times are seconds since 1970.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Clock {
    /// What it is for.
    pub of: ClockOf,
    /// When it was begun.
    pub begun: i64,
    /// How long it is to run.
    pub minutes: f64,
    /// When a person ended it.
    #[serde(default)]
    pub ended: Option<i64>,
    /// Vacuum at both ends, kPa below the air, where it was read.
    #[serde(default)]
    pub vacuum: [Option<f64>; 2],
}

impl Clock {
    /// When it rings.
    pub fn rings(&self) -> i64 {
        // A file may hold any number.
        self.begun.saturating_add((self.minutes * 60.0).round() as i64)
    }

    /// Minutes that it ran until a person ended it.
    pub fn ran(&self) -> f64 {
        self.ended.map_or(0.0, |at| at.saturating_sub(self.begun).max(0) as f64 / 60.0)
    }

    /// Whether it was ended before its time.
    pub fn is_early(&self) -> bool {
        self.ended.is_some_and(|at| at < self.rings().saturating_sub(IN_TIME))
    }

    /// What a bag lost in a minute, kPa, where it was read at both ends.
    pub fn loss(&self) -> Option<f64> {
        let minutes = self.ended?.saturating_sub(self.begun).max(1) as f64 / 60.0;
        Some((self.vacuum[0]? - self.vacuum[1]?) / minutes)
    }

    /// Whether a bag check passed; nothing if it was not read at both ends.
    pub fn holds(&self) -> Option<bool> {
        let loss = self.loss()?;
        Some(loss <= MOST_LOSS + 1e-9 && self.vacuum[0]? >= LEAST_VACUUM - 0.05)
    }
}

/// A photo of a step, a file beside this state.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Photo {
    /// The step, from 0; none if it is of the whole.
    pub step: Option<usize>,
    /// Its file.
    pub file: String,
    /// When it came.
    pub at: i64,
}

/// Something that was done otherwise than the sheet has it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Deviation {
    /// When.
    pub at: i64,
    /// What.
    pub what: String,
}

/// The state of one job's lay-up.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct Progress {
    /// The job.
    pub job: String,
    /// Who lays it, as they write it.
    pub who: String,
    /// The part's number or name, as they write it.
    pub part: String,
    /// When the first thing was ticked.
    pub begun: Option<i64>,
    /// When things were ticked: `check/0`, `step/3`, `backing/PIECE#1`, `laid/PIECE#1`, `after/1`.
    pub ticked: BTreeMap<String, i64>,
    /// What was written beside a check before the start, by its place, from 0.
    pub written: BTreeMap<usize, String>,
    /// Clocks in the order they were begun.
    pub clocks: Vec<Clock>,
    /// Notes by step; those about the whole under none.
    pub notes: BTreeMap<String, String>,
    /// Photos in the order they came.
    pub photos: Vec<Photo>,
    /// What was done otherwise.
    pub deviations: Vec<Deviation>,
    /// What a person said yes to: it is not asked again.
    pub passed: BTreeSet<String>,
    /// Mass off the mould and finished, g.
    pub mass: [Option<f64>; 2],
}

pub(super) fn copy_key(what: &str, piece: &str, copy: u32) -> String {
    format!("{what}/{piece}#{copy}")
}

/// The holds of a cure: temperature, °C, and minutes.
pub fn holds(sheet: &LayupSheet) -> Vec<(f64, f64)> {
    let level = |pair: &[super::CurePoint]| {
        let (a, b) = (&pair[0], &pair[1]);
        (a.temperature == b.temperature).then_some((b.temperature, b.minutes - a.minutes))
    };
    sheet.cure.windows(2).filter_map(level).collect()
}

impl Progress {
    /// Whether something is ticked.
    pub fn is_on(&self, what: &str) -> bool {
        self.ticked.contains_key(what)
    }

    /// Whether a copy is laid, or its backing off.
    pub fn is_copy(&self, what: &str, piece: &str, copy: u32) -> bool {
        self.is_on(&copy_key(what, piece, copy))
    }

    /// The clock for something that was begun last.
    pub fn clock(&self, of: ClockOf) -> Option<&Clock> {
        self.clocks.iter().rev().find(|c| c.of == of)
    }

    /// The note of a step, or of the whole.
    pub fn note(&self, step: Option<usize>) -> &str {
        self.notes.get(&note_key(step)).map_or("", String::as_str)
    }

    /// What a step was done otherwise than the sheet has it, in words.
    pub fn otherwise<'p>(&'p self, step: &'p Step) -> impl Iterator<Item = &'p Deviation> {
        let name = step.what.split(':').next().unwrap_or_default();
        let is_of = move |d: &&Deviation| {
            let rest = d.what.strip_prefix(name);
            !name.is_empty() && rest.is_some_and(|rest| rest.starts_with([':', ' ']))
        };
        self.deviations.iter().filter(is_of)
    }

    /// Whether a bag check has passed.
    pub fn is_tight(&self) -> bool {
        self.clocks.iter().any(|c| c.of == ClockOf::Leak && c.holds() == Some(true))
    }

    /// Whether nothing of a step is open.
    pub fn is_done(&self, sheet: &LayupSheet, step: usize) -> bool {
        sheet.steps.get(step).is_some_and(|s| self.open_in(step, s).is_empty())
    }

    /// What of a step is open: what it is kept under, and in words.
    fn open_in(&self, index: usize, step: &Step) -> Vec<(String, String)> {
        let mut open = Vec::new();
        for tick in &step.ticks {
            for copy in 1..=tick.copies {
                let which = if tick.copies > 1 { format!(" copy {copy}") } else { String::new() };
                let name = format!("{}{which}", tick.name());
                for (what, words) in [
                    ("laid", format!("{name} is not ticked as laid")),
                    ("backing", format!("{name} has no tick for its backing")),
                ] {
                    if !self.is_copy(what, &tick.piece, copy) {
                        open.push((copy_key(what, &tick.piece, copy), words));
                        break;
                    }
                }
            }
        }
        let key = format!("step/{index}");
        if step.layer.is_none() && !self.is_on(&key) {
            let runs = self.clock(ClockOf::Debulk(index)).is_some_and(|c| c.ended.is_none());
            let name = step.what.split(':').next().unwrap_or_default();
            let not = format!("{name} is not ticked");
            open.push((key, if runs { format!("{name} is still running") } else { not }));
        }
        open
    }

    /// What is open in the steps before one.
    pub fn open_before(&self, sheet: &LayupSheet, step: usize) -> Vec<(String, String)> {
        let steps = sheet.steps.iter().enumerate().take(step);
        steps.flat_map(|(i, s)| self.open_in(i, s)).collect()
    }

    /// All that is not ticked, in words, for the record.
    pub fn open(&self, sheet: &LayupSheet) -> Vec<String> {
        let list = |kind: &str, all: &[String]| {
            let off = |i: &usize| !self.is_on(&format!("{kind}/{i}"));
            (0..all.len()).filter(off).map(|i| all[i].clone()).collect::<Vec<_>>()
        };
        let mut open = list("check", &sheet.checks);
        open.extend(self.open_before(sheet, usize::MAX).into_iter().map(|o| o.1));
        open.extend(
            self.clocks
                .iter()
                .filter(|c| c.ended.is_none())
                .map(|c| format!("{} was not ended", clock_words(sheet, c.of))),
        );
        open.extend(list("after", &sheet.after));
        open
    }
}

pub(super) fn note_key(step: Option<usize>) -> String {
    step.map_or_else(String::new, |s| s.to_string())
}

/// What a clock is for, in words.
pub fn clock_words(sheet: &LayupSheet, of: ClockOf) -> String {
    match of {
        ClockOf::Debulk(step) => sheet
            .steps
            .get(step)
            .and_then(|s| s.what.split(':').next())
            .unwrap_or("Debulk")
            .to_string(),
        ClockOf::Leak => "Bag check".into(),
        ClockOf::Cure => "Cure".into(),
        ClockOf::Hold(k) => match holds(sheet).get(k) {
            Some((to, _)) => format!("Hold at {} °C", show_number(*to, 0)),
            None => "Hold".into(),
        },
    }
}
