//! The text of a job file with the place of everything in it, and the list of what was found wrong.

use crate::fault::{Fault, Faults, Said, line_and_column};
use crate::units::quoted;
use std::ops::Range;
use std::path::Path;
use toml::Spanned;
use toml::de::{DeTable, DeValue};

/// At most this many faults are listed, and as many warnings.
const MOST_LISTED: usize = 1000;

/// A longer line is not shown again, mended, bytes.
const LONGEST_PASTED: usize = 300;

/// For the first faults of a file the nearest known name is looked for: it takes time where there
/// are many names.
const MOST_SUGGESTED: usize = 100;

/// A parsed job file that knows where each value stands.
pub(super) struct Document<'t> {
    pub(super) text: &'t str,
    pub(super) file: &'t Path,
    pub(super) root: DeTable<'t>,
}

impl<'t> Document<'t> {
    /// Parses as much as can be made out, and lists what breaks the rules of TOML, once a line.
    pub(super) fn parse(text: &'t str, file: &'t Path) -> (Self, Vec<Broken>) {
        let (root, errors) = DeTable::parse_recoverable(text);
        let mut all: Vec<(usize, String)> = errors
            .iter()
            .map(|e| (e.span().map_or(0, |s| s.start), e.message().replace('\n', ", ")))
            .collect();
        all.sort();
        // One slip often upsets the rest of its line.
        let mut broken: Vec<Broken> = Vec::new();
        for (offset, message) in all {
            if broken.last().is_none_or(|last| offset > last.line.end) {
                broken.push(Broken { offset, message, line: line_around(text, offset) });
            }
        }
        (Document { text, file, root: root.into_inner() }, broken)
    }

    /// The value at a path like `cloth.2.roll_width`, counted from 0, or the nearest thing around
    /// it that is there.
    pub(super) fn offset_of(&self, path: &str) -> usize {
        let mut steps = path.split('.');
        let Some(mut here) = steps.next().and_then(|key| self.root.get(key)) else {
            return 0;
        };
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

    /// Where the value at a path stands, if it is there.
    pub(super) fn span_of(&self, path: &str) -> Option<Range<usize>> {
        Some(self.find(path)?.span())
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

/// What breaks the rules of TOML on one line.
pub(super) struct Broken {
    offset: usize,
    message: String,
    line: Range<usize>,
}

/// The bytes of the line that holds an offset, from its first to its line feed.
fn line_around(text: &str, offset: usize) -> Range<usize> {
    let (before, after) = text.as_bytes().split_at(offset.min(text.len()));
    let start = before.iter().rposition(|b| *b == b'\n').map_or(0, |i| i + 1);
    let end = after.iter().position(|b| *b == b'\n').map_or(text.len(), |i| before.len() + i);
    start..end
}

/// Collects faults and warnings at their places in the job file.
pub(super) struct Findings<'t> {
    text: &'t str,
    file: &'t Path,
    /// Each with its byte offset.
    faults: Vec<(usize, Fault)>,
    warnings: Vec<(usize, Fault)>,
    /// Faults and warnings that have a place of their own, such as those of a drawing.
    other_faults: Faults,
    other_warnings: Vec<Fault>,
    unlisted: bool,
    silent: Vec<Range<usize>>,
}

impl<'t> Findings<'t> {
    pub(super) fn new(doc: &Document<'t>) -> Self {
        Findings {
            text: doc.text,
            file: doc.file,
            faults: Vec::new(),
            warnings: Vec::new(),
            other_faults: Faults::new(),
            other_warnings: Vec::new(),
            unlisted: false,
            silent: Vec::new(),
        }
    }

    /// True once no further fault is listed: time to stop looking.
    pub(super) fn full(&self) -> bool {
        self.unlisted
    }

    /// True while there are few enough faults to look for what each one means.
    pub(super) fn may_suggest(&self) -> bool {
        self.faults.len() < MOST_SUGGESTED
    }

    /// What breaks the rules of TOML; nothing more is said of the lines it stands on.
    pub(super) fn broken(&mut self, broken: Vec<Broken>) {
        for line in &broken {
            let what = said!("this is not TOML: {}", line.message);
            self.fault(
                line.offset,
                what,
                "correct this line; the rest can only be checked after that",
            );
        }
        self.silent = broken.into_iter().map(|b| b.line).collect();
    }

    /// A fault at a byte offset.
    pub(super) fn fault(&mut self, offset: usize, what: impl Into<Said>, remedy: impl Into<Said>) {
        let line = self.silent.partition_point(|line| line.end < offset);
        if self.silent.get(line).is_some_and(|line| line.start <= offset) {
            return;
        }
        if self.faults.len() < MOST_LISTED {
            self.faults.push((offset, Fault::new(what, remedy)));
        } else {
            self.unlisted = true;
        }
    }

    /// As [`fault`](Self::fault), with a line to add to the section.
    pub(super) fn fault_to_paste(
        &mut self,
        offset: usize,
        what: impl Into<Said>,
        remedy: impl Into<Said>,
        line: impl Into<String>,
    ) {
        let before = self.faults.len();
        self.fault(offset, what, remedy);
        if let Some((_, fault)) = self.faults.get_mut(before) {
            *fault = fault.clone().paste(Some(line.into()));
        }
    }

    /// As [`fault`](Self::fault), with the line as it would be with other words in place of a span
    /// of the text.
    pub(super) fn fault_to_mend(
        &mut self,
        span: Range<usize>,
        what: impl Into<Said>,
        remedy: impl Into<Said>,
        words: &str,
    ) {
        let before = self.faults.len();
        self.fault(span.start, what, remedy);
        let line = line_around(self.text, span.start);
        let (head, tail) =
            (self.text.get(line.start..span.start), self.text.get(span.end..line.end));
        if let (Some((_, fault)), Some(head), Some(tail)) =
            (self.faults.get_mut(before), head, tail)
            && line.len() <= LONGEST_PASTED
        {
            *fault = fault.clone().paste(Some(format!("{head}{words}{tail}").trim().to_string()));
        }
    }

    /// Where these words stand in the text if they begin at an offset, in the quotes of TOML or
    /// bare.
    pub(super) fn span_of(&self, offset: usize, words: &str) -> Option<Range<usize>> {
        let rest = self.text.get(offset..)?;
        let forms = [format!("\"{words}\""), format!("'{words}'")];
        forms.iter().find(|f| rest.starts_with(f.as_str())).map(|f| offset..offset + f.len())
    }

    /// A warning at a byte offset.
    pub(super) fn warning(
        &mut self,
        offset: usize,
        what: impl Into<Said>,
        remedy: impl Into<Said>,
    ) {
        let listed = self.warnings.len();
        if listed < MOST_LISTED {
            self.warnings.push((offset, Fault::new(what, remedy)));
        } else if listed == MOST_LISTED {
            let what = said!("there are more warnings than the {MOST_LISTED} listed");
            self.warnings.push((offset, Fault::new(what, "check these first")));
        }
    }

    /// Faults that have a place of their own.
    pub(super) fn other_faults(&mut self, faults: Faults) {
        self.other_faults.extend(faults);
    }

    /// Warnings that have a place of their own.
    pub(super) fn other_warnings(&mut self, warnings: Vec<Fault>) {
        self.other_warnings.extend(warnings);
    }

    /// The faults and the warnings, each sorted by file and place.
    pub(super) fn finish(self) -> (Faults, Vec<Fault>) {
        let mut faults = placed(self.text, self.file, self.faults);
        faults.extend(self.other_faults);
        let mut warnings = placed(self.text, self.file, self.warnings);
        warnings.extend(Faults(self.other_warnings));
        let mut faults = faults.sorted();
        if self.unlisted {
            let what = said!("there are more faults than the {MOST_LISTED} listed");
            faults.push(Fault::new(what, "correct these first").in_file(self.file));
        }
        (faults, warnings.sorted().0)
    }
}

/// Turns byte offsets into lines and columns, in one pass over the text.
fn placed(text: &str, file: &Path, mut found: Vec<(usize, Fault)>) -> Faults {
    found.sort_by_key(|(offset, _)| *offset);
    let (mut at, mut line, mut column) = (0, 1, 1);
    let place = |(offset, fault): (usize, Fault)| {
        let (lines, columns) = line_and_column(text.get(at..).unwrap_or_default(), offset - at);
        (line, column) =
            (line + lines - 1, if lines == 1 { column + columns - 1 } else { columns });
        at = offset;
        fault.in_file(file).at_line(line, column)
    };
    Faults(found.into_iter().map(place).collect())
}

/// The name nearest to what was written, if one is near enough to be meant.
pub(crate) fn nearest<'n>(
    written: &str,
    names: impl IntoIterator<Item = &'n str>,
) -> Option<&'n str> {
    const LONGEST: usize = 64;
    if written.len() > LONGEST {
        return None;
    }
    let mut best: Option<(f64, &str)> = None;
    for name in names {
        let (written, lower) = (written.to_lowercase(), name.to_lowercase());
        let near = written.len() >= 3
            && lower.len() >= 3
            && (lower.contains(&written)
                || written.contains(&lower)
                || strsim::damerau_levenshtein(&written, &lower) == 1);
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
