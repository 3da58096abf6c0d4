//! From lines with names to outlines: joins open ends, tells net lines from holes, gives each line
//! its role.
//!
//! 1. Closed lines of no other role are rings; open ones are joined end to end, and those that
//!    close are rings too.
//! 2. Lines that name an edge kind either run along a ring or, joined with each other and with what
//!    is left of the open lines, are the net line themselves.
//! 3. Nesting tells nets from holes. Every other line goes to the outline it lies in.

mod along;
mod arrow;
mod chain;
mod close;
mod ledger;
mod parts;
mod rings;

use super::budget::MOST_POINTS;
use super::roles::{Meaning, ROLE_WORDS, meaning_of};
use super::validity::numbers_hold;
use super::{Drawing, DrawnLine, EdgeKind, MaybeArrow, ReadOptions, Reading};
use crate::fault::{Fault, Faults, Said};
use crate::geometry::{Bounds, Point};
use crate::run::{Phase, Run};
use crate::units::{degrees_0_360, micrometres, show_number};
use ledger::Ledger;
use rings::nest;
use std::collections::{BTreeMap, BTreeSet};

/// Most lines of one drawing.
const MOST_LINES: usize = 50_000;

/// Most layer names listed in a fault.
const MOST_NAMES: usize = 12;

/// How far outside its outline a line may lie and still be taken for one along its edge, mm.
const BESIDE: f64 = 0.5;

/// Makes outlines of the lines of a drawing.
///
/// # Errors
/// Every fault found: self-crossing, duplicate, zero-area and wrongly nested rings, open outlines,
/// lines of a role that cannot be given to an outline.
pub fn assemble(drawing: Drawing, options: &ReadOptions) -> Result<Reading, Faults> {
    assemble_in(drawing, options, &Run::default())
}

/// The same as a part of a run that may be stopped.
///
/// # Errors
/// As [`assemble`]; that it was stopped.
pub fn assemble_in(
    drawing: Drawing,
    options: &ReadOptions,
    run: &Run<'_>,
) -> Result<Reading, Faults> {
    let lines = &drawing.lines;
    let total: usize = lines.iter().map(|l| l.points.len()).sum();
    if total > MOST_POINTS || lines.len() > MOST_LINES {
        return Err(Fault::new(
            said!("the drawing has {total} points in {} lines; at most {MOST_POINTS} and {MOST_LINES} are taken", lines.len()),
            "read it with a coarser chord tolerance, or one layer at a time",
        )
        .into());
    }
    let mut bench = Bench::new(lines, options);
    bench.select()?;
    bench.refuse_bad_numbers();
    bench.leave_dots_and_doubles();
    run.check(Phase::Reading)?;
    let rings = bench.rings();
    if rings.is_empty() && bench.faults.is_empty() {
        let fault = bench.no_outline();
        bench.faults.push(fault);
    }
    if rings.is_empty() || bench.refuse_too_much_work(&rings) {
        return Err(bench.faults);
    }
    let before = bench.faults.0.len();
    let nests = nest(&rings, options.join_tolerance, &mut bench.faults, run);
    run.check(Phase::Reading)?;
    let nested_well = bench.faults.0.len() == before;
    let outlines = bench.outlines(rings, &nests, nested_well);
    let maybe_arrows = bench.maybe_arrows(&outlines);
    let Bench { ledger, faults, warnings: more, .. } = bench;
    let asked = |i: usize| {
        maybe_arrows.iter().find(|a| a.labels.contains(&drawing.lines[i].label)).map(ask_arrow)
    };
    let (account, missed) = (ledger.accounts(&drawing), ledger.warnings(&drawing, &asked));
    let Drawing { lines, mut used, mut not_used, present, mut warnings } = drawing;
    warnings.extend(more);
    warnings.extend(missed);
    ledger.close(&lines, &mut used, &mut not_used);
    faults.into_result(Reading {
        outlines,
        present,
        used,
        not_used,
        account,
        maybe_arrows,
        warnings,
    })
}

/// What to do about a line that may be an arrow.
fn ask_arrow(line: &MaybeArrow) -> (Said, String) {
    let degrees = show_number(degrees_0_360((line.ends[1] - line.ends[0]).direction()), 2);
    let remedy = "is it the arrow, 0° of the part? Then rename its group or layer \"arrow\", or add a line under its [[template]]; else rename it \
                  \"mark\", or delete it";
    (remedy.into(), format!("arrow = {degrees}"))
}

/// The lines of one drawing while they are being sorted.
struct Bench<'a> {
    lines: &'a [DrawnLine],
    options: &'a ReadOptions,
    meanings: Vec<Meaning>,
    ledger: Ledger,
    faults: Faults,
    warnings: Vec<Fault>,
    /// Open lines on no layer that says what they are for.
    strays: Vec<usize>,
    /// The longest line that closes nowhere, to point at if there is no outline at all.
    longest_open: Option<OpenLine>,
}

struct OpenLine {
    label: String,
    ends: [Point; 2],
    length: f64,
}

impl<'a> Bench<'a> {
    fn new(lines: &'a [DrawnLine], options: &'a ReadOptions) -> Self {
        let meanings = lines.iter().map(meaning_of).collect();
        Bench {
            lines,
            options,
            meanings,
            ledger: Ledger::new(lines.len()),
            faults: Faults::new(),
            warnings: Vec::new(),
            strays: Vec::new(),
            longest_open: None,
        }
    }

    /// Leaves out what does not lie in the layer asked for.
    fn select(&mut self) -> Result<(), Faults> {
        let Some(layer) = &self.options.layer else {
            return Ok(());
        };
        let same = |name: &String| name.trim().to_lowercase() == layer.trim().to_lowercase();
        let mut any = false;
        for (i, line) in self.lines.iter().enumerate() {
            if line.names.iter().any(same) || same(&line.label) {
                any = true;
            } else {
                self.ledger.left(i, format!("does not lie in \"{layer}\""));
            }
        }
        if any {
            return Ok(());
        }
        Err(Fault::new(
            said!("nothing lies in a layer, group, block or part named \"{layer}\""),
            said!("the names there are: {}", self.names()),
        )
        .into())
    }

    /// The names in the drawing, as many as a person wants to read.
    fn names(&self) -> String {
        let mut seen = BTreeSet::new();
        let names: Vec<&str> = self
            .lines
            .iter()
            .flat_map(|l| &l.names)
            .map(String::as_str)
            .filter(|n| seen.insert(*n))
            .collect();
        let mut out: Vec<String> =
            names.iter().take(MOST_NAMES).map(|n| format!("\"{n}\"")).collect();
        if names.len() > MOST_NAMES {
            out.push(format!("and {} more", names.len() - MOST_NAMES));
        }
        if out.is_empty() { "none at all".into() } else { out.join(", ") }
    }

    fn open_tasks(&self) -> impl Iterator<Item = usize> + '_ {
        (0..self.lines.len()).filter(|&i| self.ledger.is_unclaimed(i))
    }

    fn refuse_bad_numbers(&mut self) {
        for i in self.open_tasks().collect::<Vec<_>>() {
            let line = &self.lines[i];
            if !numbers_hold(&line.label, &line.points, &mut self.faults) {
                self.ledger.left(i, "has bad coordinates");
            }
        }
    }

    /// Leaves out lines without length and open lines drawn twice.
    fn leave_dots_and_doubles(&mut self) {
        let mut seen: BTreeMap<Vec<(i64, i64)>, usize> = BTreeMap::new();
        for i in self.open_tasks().collect::<Vec<_>>() {
            let line = &self.lines[i];
            let mut key: Vec<(i64, i64)> =
                line.points.iter().map(|p| (micrometres(p.x), micrometres(p.y))).collect();
            key.dedup();
            if key.len() < 2 {
                self.ledger.left(i, "has no length");
            } else if !line.closed {
                if key.first() > key.last() {
                    key.reverse();
                }
                let first = *seen.entry(key).or_insert(i);
                // Two roles along one line contradict each other: that is told where the roles are
                // given.
                if first == i || !same_sort(self.meanings[first], self.meanings[i]) {
                    continue;
                }
                let first = &self.lines[first].label;
                self.ledger.left(i, format!("is drawn twice: it is the same as {first}"));
                if is_ring_line(self.meanings[i]) {
                    let p = line.points[0];
                    let warning = Fault::new(
                        said!("is drawn twice: it is the same as {first}"),
                        "delete one of the two",
                    );
                    self.warnings.push(warning.at(line.label.clone(), p.x, p.y));
                }
            }
        }
    }

    fn no_outline(&self) -> Fault {
        if let Some(OpenLine { label, ends: [a, b], .. }) = &self.longest_open {
            let what = said!(
                "there is no closed outline: the longest line is open by {:.2} mm, from here to ({:.2}, {:.2})",
                a.distance(*b),
                b.x,
                b.y
            );
            let remedy =
                said!("close the net line in the drawing; the layers there are: {}", self.names());
            return Fault::new(what, remedy).at(label.clone(), a.x, a.y);
        }
        let roles: Vec<&DrawnLine> = self.open_tasks().map(|i| &self.lines[i]).collect();
        let example = roles.iter().find(|l| l.closed).or(roles.first());
        match example {
            Some(line) => Fault::new(
                said!(
                    "there is no closed outline: {} is taken for something else by the name of its layer",
                    line.label
                ),
                said!(
                    "draw the net line closed, in a group or layer whose name ends in none of: {ROLE_WORDS}; the names there are: {}",
                    self.names()
                ),
            ),
            None => Fault::new(
                "there is no closed outline in it",
                said!("draw the net line as a closed line; the names there are: {}", self.names()),
            ),
        }
    }
}

fn overlap(a: &Bounds, b: &Bounds) -> bool {
    a.min.x <= b.max.x + BESIDE
        && b.min.x <= a.max.x + BESIDE
        && a.min.y <= b.max.y + BESIDE
        && b.min.y <= a.max.y + BESIDE
}

/// True if two lines of these meanings along each other are the same thing twice.
fn same_sort(a: Meaning, b: Meaning) -> bool {
    a == b || (is_ring_line(a) && is_ring_line(b))
}

/// True for lines that are, or are part of, a net line or a hole.
fn is_ring_line(meaning: Meaning) -> bool {
    !matches!(meaning, Meaning::Role(_))
}

fn word(kind: EdgeKind) -> String {
    format!("{kind:?}").to_lowercase()
}
