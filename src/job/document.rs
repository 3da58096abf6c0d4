//! The text of a job file with the place of everything in it, and the list of what was found wrong.

use crate::fault::{Fault, Faults, Place, line_and_column};
use crate::units::quoted;
use std::collections::BTreeSet;
use std::path::Path;
use toml::Spanned;
use toml::de::{DeTable, DeValue};

/// At most this many faults are listed, and as many warnings; the rest is counted.
const MOST_LISTED: usize = 1000;

/// A parsed job file that knows where each value stands.
pub(super) struct Document<'t> {
    pub(super) text: &'t str,
    pub(super) file: &'t Path,
    pub(super) root: DeTable<'t>,
}

impl<'t> Document<'t> {
    /// Parses as much as can be made out, and lists what breaks the rules of TOML as byte offset and message.
    pub(super) fn parse(text: &'t str, file: &'t Path) -> (Self, Vec<(usize, String)>) {
        let (root, errors) = DeTable::parse_recoverable(text);
        let mut broken: Vec<(usize, String)> =
            errors.iter().map(|e| (e.span().map_or(0, |s| s.start), e.message().replace('\n', ", "))).collect();
        broken.sort();
        // One slip often upsets the rest of its line.
        broken.dedup_by(|later, first| text.get(first.0..later.0).is_some_and(|between| !between.contains('\n')));
        (Document { text, file, root: root.into_inner() }, broken)
    }

    /// The value at a path like `cloth.2.roll_width`, counted from 0, or the nearest thing around it that is there.
    pub(super) fn offset_of(&self, path: &str) -> usize {
        let mut steps = path.split('.');
        let Some(mut here) = steps.next().and_then(|key| self.root.get(key)) else { return 0 };
        for step in steps {
            let Some(next) = child(here, step) else { break };
            here = next;
        }
        here.span().start
    }

    fn find(&self, path: &str) -> Option<&Spanned<DeValue<'t>>> {
        let mut steps = path.split('.');
        let first = self.root.get(steps.next()?)?;
        steps.try_fold(first, child)
    }

    /// True if the file has something at a path, even if it is at fault.
    pub(super) fn has(&self, path: &str) -> bool {
        self.find(path).is_some()
    }

    /// The text at a path, if there is one.
    pub(super) fn text_at(&self, path: &str) -> Option<&str> {
        self.find(path)?.get_ref().as_str()
    }

    /// How many sections of this name there are.
    pub(super) fn count(&self, section: &str) -> usize {
        match self.root.get(section).map(Spanned::get_ref) {
            Some(DeValue::Array(array)) => array.len(),
            Some(DeValue::Table(_)) => 1,
            _ => 0,
        }
    }

    /// What stands in the file at a value, in backquotes.
    pub(super) fn source(&self, value: &Spanned<DeValue<'_>>) -> String {
        quoted(self.text.get(value.span()).unwrap_or_default())
    }
}

fn child<'v, 't>(value: &'v Spanned<DeValue<'t>>, step: &str) -> Option<&'v Spanned<DeValue<'t>>> {
    match value.get_ref() {
        // A section in single brackets stands for a list of one.
        DeValue::Table(table) => table.get(step).or((step == "0").then_some(value)),
        DeValue::Array(array) => array.get(step.parse::<usize>().ok()?),
        _ => None,
    }
}

/// Collects faults and warnings at their places in the job file.
pub(super) struct Findings<'t> {
    text: &'t str,
    file: &'t Path,
    faults: Faults,
    warnings: Faults,
    unlisted: usize,
    silent_lines: BTreeSet<usize>,
}

impl<'t> Findings<'t> {
    pub(super) fn new(doc: &Document<'t>) -> Self {
        Findings {
            text: doc.text,
            file: doc.file,
            faults: Faults::new(),
            warnings: Faults::new(),
            unlisted: 0,
            silent_lines: BTreeSet::new(),
        }
    }

    /// True once a further fault would only be counted: time to stop looking for good remedies.
    pub(super) fn full(&self) -> bool {
        self.faults.0.len() >= MOST_LISTED
    }

    /// What breaks the rules of TOML; after it, nothing more is said of the lines it stands on.
    pub(super) fn broken(&mut self, broken: &[(usize, String)]) {
        for (offset, message) in broken {
            self.fault(*offset, format!("this is not TOML: {message}"), "put the line right; the rest can only be checked after that");
        }
        let lines = self.faults.0.iter().filter_map(|f| match f.place {
            Place::Line { line, .. } => Some(line),
            _ => None,
        });
        self.silent_lines = lines.collect();
    }

    /// A fault at a byte offset.
    pub(super) fn fault(&mut self, offset: usize, what: impl Into<String>, remedy: impl Into<String>) {
        if self.full() {
            self.unlisted += 1;
        } else {
            let fault = self.placed(offset, what, remedy);
            if !matches!(fault.place, Place::Line { line, .. } if self.silent_lines.contains(&line)) {
                self.faults.push(fault);
            }
        }
    }

    /// A warning at a byte offset.
    pub(super) fn warning(&mut self, offset: usize, what: impl Into<String>, remedy: impl Into<String>) {
        if self.warnings.0.len() < MOST_LISTED {
            let warning = self.placed(offset, what, remedy);
            self.warnings.push(warning);
        }
    }

    /// Faults and warnings with a place of their own, such as those of a drawing.
    pub(super) fn other_faults(&mut self, faults: Faults) {
        for fault in faults.0 {
            if self.full() { self.unlisted += 1 } else { self.faults.push(fault) }
        }
    }

    /// Warnings with a place of their own.
    pub(super) fn other_warnings(&mut self, warnings: Vec<Fault>) {
        self.warnings.extend(Faults(warnings));
    }

    fn placed(&self, offset: usize, what: impl Into<String>, remedy: impl Into<String>) -> Fault {
        let (line, column) = line_and_column(self.text, offset);
        Fault::new(what, remedy).in_file(self.file).at_line(line, column)
    }

    /// The faults and the warnings, in the order of the file.
    pub(super) fn finish(self) -> (Faults, Vec<Fault>) {
        let mut faults = self.faults.sorted();
        if self.unlisted > 0 {
            faults.push(Fault::new(format!("{} more faults are not listed", self.unlisted), "put these right first").in_file(self.file));
        }
        (faults, self.warnings.sorted().0)
    }
}

/// The name nearest to what was written, if one is near enough to be meant.
pub(super) fn nearest<'n>(written: &str, names: impl IntoIterator<Item = &'n str>) -> Option<&'n str> {
    const LONGEST: usize = 64;
    if written.len() > LONGEST {
        return None;
    }
    let mut best: Option<(f64, &str)> = None;
    for name in names {
        let (written, lower) = (written.to_lowercase(), name.to_lowercase());
        let near = written.len() >= 3
            && lower.len() >= 3
            && (lower.contains(&written) || written.contains(&lower) || strsim::damerau_levenshtein(&written, &lower) == 1);
        let likeness = strsim::jaro_winkler(&written, &lower);
        let score = if near { likeness.max(0.85) } else { likeness };
        if score >= 0.8 && best.is_none_or(|(s, _)| score > s) {
            best = Some((score, name));
        }
    }
    best.map(|(_, name)| name)
}

/// Names as a sentence lists them, at most thirty.
pub(super) fn listed<'n>(names: impl IntoIterator<Item = &'n str>) -> String {
    const MOST: usize = 30;
    let names: Vec<&str> = names.into_iter().collect();
    let mut out: Vec<String> = names.iter().take(MOST).map(|n| quoted(n)).collect();
    if names.len() > MOST {
        out.push(format!("and {} more", names.len() - MOST));
    }
    out.join(", ")
}
