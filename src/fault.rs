//! Faults and warnings: what is wrong, where, and what to do about it.
//!
//! A reader never stops at its first fault. It collects everything it can find in [`Faults`] and
//! returns the whole list, so that a person corrects a file once.

#[macro_use]
mod said;

pub use said::{Language, Said, holes};

use crate::printable::{is_obeyed, printable, printable_name};
use std::cmp::Ordering;
use std::collections::BTreeMap;
use std::fmt;
use std::path::{Path, PathBuf};

/// Where in a file (or in the job) a fault sits.
#[derive(Clone, Debug, PartialEq, Default)]
pub enum Place {
    /// The file as a whole, or no file at all.
    #[default]
    Whole,
    /// Line and column, both counted from 1; the column counts characters.
    Line {
        /// Line, from 1.
        line: usize,
        /// Column in characters, from 1.
        column: usize,
    },
    /// A named thing in the file: an element id, a layer, a ply.
    Named(String),
    /// A position in the drawing, mm, y up, with the name of the thing that is there.
    At {
        /// What is there.
        what: String,
        /// mm, drawing frame, y up.
        x: f64,
        /// mm, drawing frame, y up.
        y: f64,
    },
}

/// One thing that is wrong (or worth a warning), said so that a person can put it right.
#[derive(Clone, Debug, PartialEq)]
pub struct Fault {
    /// The file at fault, as the user named it.
    pub file: Option<PathBuf>,
    /// Where in that file.
    pub place: Place,
    /// What is wrong, one sentence without a full stop.
    pub what: Said,
    /// What to do about it, one sentence without a full stop; empty only if nothing can be done.
    pub remedy: Said,
    /// A line to paste into the file at fault, or into a terminal, where one line does it; boxed,
    /// since faults travel in results.
    pub paste: Option<Box<Paste>>,
}

/// A line to paste, without its end.
#[derive(Clone, Debug, PartialEq)]
pub struct Paste(pub String);

impl Fault {
    /// A fault in no particular file.
    pub fn new(what: impl Into<Said>, remedy: impl Into<Said>) -> Self {
        Fault {
            file: None,
            place: Place::Whole,
            what: what.into(),
            remedy: remedy.into(),
            paste: None,
        }
    }

    /// The same fault, placed in a file.
    #[must_use]
    pub fn in_file(mut self, file: &Path) -> Self {
        self.file = Some(file.to_path_buf());
        self
    }

    /// The same fault, with a line to paste, or without one.
    #[must_use]
    pub fn paste(mut self, line: Option<String>) -> Self {
        self.paste = line.map(|line| Box::new(Paste(line)));
        self
    }

    /// The line to paste, if there is one.
    pub fn to_paste(&self) -> Option<&str> {
        self.paste.as_ref().map(|line| line.0.as_str())
    }

    /// The same fault, placed at a line and column (from 1).
    #[must_use]
    pub fn at_line(mut self, line: usize, column: usize) -> Self {
        self.place = Place::Line { line, column };
        self
    }

    /// The same fault, placed on a named thing.
    #[must_use]
    pub fn on(mut self, name: impl Into<String>) -> Self {
        self.place = Place::Named(name.into());
        self
    }

    /// The same fault, placed at a position of the drawing (mm, y up).
    #[must_use]
    pub fn at(mut self, what: impl Into<String>, x: f64, y: f64) -> Self {
        self.place = Place::At { what: what.into(), x, y };
        self
    }
}

impl Fault {
    /// File, place and what is wrong, in one line; the remedy is not in it.
    fn headline(&self) -> String {
        let mut out = String::new();
        if let Some(file) = &self.file {
            out.push_str(&printable_name(&file.display().to_string()));
            match &self.place {
                Place::Line { line, column } => out.push_str(&format!(":{line}:{column}: ")),
                _ => out.push_str(": "),
            }
        }
        match &self.place {
            Place::Whole => {}
            Place::Line { line, column } if self.file.is_none() => {
                out.push_str(&format!("line {line}, column {column}: "))
            }
            Place::Line { .. } => {}
            Place::Named(name) => out.push_str(&format!("{}: ", printable_name(name))),
            // So far out that the digits tell nothing but the size.
            Place::At { what, x, y } if x.abs().max(y.abs()) >= 1e9 => {
                out.push_str(&format!("{} at ({x:.2e}, {y:.2e}) mm: ", printable_name(what)))
            }
            Place::At { what, x, y } => {
                out.push_str(&format!("{} at ({x:.2}, {y:.2}) mm: ", printable_name(what)))
            }
        }
        out.push_str(&printable(&self.what));
        out
    }

    /// The same fault in another language.
    #[must_use]
    pub fn told(&self, language: &Language) -> Fault {
        let place = match &self.place {
            Place::Named(name) => Place::Named(language.place(name)),
            Place::At { what, x, y } => Place::At { what: language.place(what), x: *x, y: *y },
            other => other.clone(),
        };
        let (what, remedy) = (self.what.told(language), self.remedy.told(language));
        Fault { place, what: Said::came(what), remedy: Said::came(remedy), ..self.clone() }
    }

    /// Everything in one line, for lists.
    pub fn in_one_line(&self) -> String {
        let paste = self.to_paste().map_or(String::new(), |line| format!(" ({})", printable(line)));
        let remedy = if self.remedy.is_empty() {
            String::new()
        } else {
            format!(": {}", printable(&self.remedy))
        };
        format!("{}{remedy}{paste}", self.headline())
    }

    /// The remedy and what can be pasted, each on lines of its own, indented.
    fn remedy_lines(&self) -> String {
        let mut out = String::new();
        if !self.remedy.is_empty() {
            out.push_str(&format!("    {}\n", printable(&self.remedy)));
        }
        if let Some(line) = self.to_paste() {
            out.push_str(&format!("    to paste:\n        {}\n", printable(line)));
        }
        out
    }

    /// By file, then from the whole file through lines and names to positions, then by text.
    fn order(&self, other: &Fault) -> Ordering {
        let rank = |place: &Place| match place {
            Place::Whole => 0,
            Place::Line { .. } => 1,
            Place::Named(_) => 2,
            Place::At { .. } => 3,
        };
        let by_place = match (&self.place, &other.place) {
            (Place::Line { line, column }, Place::Line { line: l, column: c }) => {
                (line, column).cmp(&(l, c))
            }
            (Place::Named(a), Place::Named(b)) => a.cmp(b),
            (Place::At { what, x, y }, Place::At { what: w, x: u, y: v }) => {
                what.cmp(w).then(x.total_cmp(u)).then(y.total_cmp(v))
            }
            (a, b) => rank(a).cmp(&rank(b)),
        };
        self.file
            .cmp(&other.file)
            .then(by_place)
            .then_with(|| (&self.what, &self.remedy).cmp(&(&other.what, &other.remedy)))
    }
}

/// A source line and a caret under its column (both from 1); a long line is shown around the column
/// only.
fn caret_under(source: &str, line: usize, column: usize) -> String {
    const WIDTH: usize = 100;
    let column = column.max(1);
    let first = (column - 1).saturating_sub(WIDTH / 2);
    let visible: String = source
        .chars()
        .skip(first)
        .take(WIDTH)
        .map(|c| if is_obeyed(c) { ' ' } else { c })
        .collect();
    let gutter = format!("    {line} | ");
    format!(
        "{gutter}{}\n{}^\n",
        visible.trim_end(),
        " ".repeat(gutter.chars().count() + column - 1 - first)
    )
}

/// Line and column (characters, both from 1) of a byte offset; an offset past the end means the
/// end.
pub fn line_and_column(text: &str, offset: usize) -> (usize, usize) {
    let mut offset = offset.min(text.len());
    while !text.is_char_boundary(offset) {
        offset -= 1;
    }
    let before = &text[..offset];
    let start = before.rfind('\n').map_or(0, |i| i + 1);
    (before.bytes().filter(|b| *b == b'\n').count() + 1, before[start..].chars().count() + 1)
}

impl fmt::Display for Fault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}", format!("{}\n{}", self.headline(), self.remedy_lines()).trim_end())
    }
}

/// Everything found wrong in one go; never empty when it is returned as an error.
#[derive(Clone, Debug, PartialEq, Default)]
pub struct Faults(pub Vec<Fault>);

impl Faults {
    /// An empty list to collect into.
    pub fn new() -> Self {
        Faults::default()
    }

    /// Adds one fault.
    pub fn push(&mut self, fault: Fault) {
        self.0.push(fault);
    }

    /// Names the file of every fault that names none.
    #[must_use]
    pub fn in_file(self, file: &Path) -> Faults {
        Faults(
            self.0
                .into_iter()
                .map(|f| if f.file.is_none() { f.in_file(file) } else { f })
                .collect(),
        )
    }

    /// Adds all of another list.
    pub fn extend(&mut self, other: Faults) {
        self.0.extend(other.0);
    }

    /// True while nothing is wrong.
    pub fn is_empty(&self) -> bool {
        self.0.is_empty()
    }

    /// Ordered by file and place, and each fault once.
    #[must_use]
    pub fn sorted(mut self) -> Self {
        self.0.sort_by(Fault::order);
        self.0.dedup();
        self
    }

    /// The faults for a terminal: each followed by the line of the file it is about and a caret,
    /// where `text_of` knows the file's text. Plain characters, no colour, ends with a line feed.
    pub fn with_source(&self, text_of: &dyn Fn(&Path) -> Option<String>) -> String {
        let mut texts: BTreeMap<&Path, Option<String>> = BTreeMap::new();
        let mut out = String::new();
        for fault in &self.0 {
            out.push_str(&fault.headline());
            out.push('\n');
            if let (Some(file), Place::Line { line, column }) = (&fault.file, &fault.place) {
                let text = texts.entry(file).or_insert_with(|| text_of(file));
                if let Some(source) =
                    text.as_deref().and_then(|t| t.lines().nth(line.saturating_sub(1)))
                {
                    out.push_str(&caret_under(source, *line, *column));
                }
            }
            out.push_str(&fault.remedy_lines());
        }
        out
    }

    /// `Ok(value)` while nothing is wrong, else the faults.
    ///
    /// # Errors
    /// The collected faults, if there are any.
    pub fn into_result<T>(self, value: T) -> Result<T, Faults> {
        if self.is_empty() { Ok(value) } else { Err(self) }
    }

    /// Keeps the value of `result`, or takes over its faults.
    pub fn keep<T>(&mut self, result: Result<T, Faults>) -> Option<T> {
        match result {
            Ok(value) => Some(value),
            Err(faults) => {
                self.extend(faults);
                None
            }
        }
    }
}

impl From<Fault> for Faults {
    fn from(fault: Fault) -> Self {
        Faults(vec![fault])
    }
}

impl fmt::Display for Faults {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (i, fault) in self.0.iter().enumerate() {
            if i > 0 {
                writeln!(f)?;
            }
            write!(f, "{fault}")?;
        }
        Ok(())
    }
}

impl std::error::Error for Faults {}

#[cfg(test)]
mod tests {
    use super::*;

    /// Names out of files drove the terminal: escapes coloured, cleared and retitled it, and a line
    /// end forged a message.
    #[test]
    fn what_a_terminal_obeys_is_shown_as_escapes() {
        let evil = "\u{1b}]0;owned\u{7}\u{202e}gpj\u{9b}2J";
        let shown = Fault::new(said!("no {evil}"), said!("mend {evil}"))
            .in_file(Path::new(&format!("a{evil}\nb.toml: all is well")))
            .on(evil)
            .paste(Some(evil.to_string()));
        let text = Faults::from(shown.clone()).with_source(&|_| Some(evil.to_string()))
            + &shown.to_string()
            + &shown.in_one_line();
        assert!(!text.chars().any(|c| c != '\n' && is_obeyed(c)), "{text:?}");
        assert!(
            text.contains("\\u001b]0;owned\\u0007\\u202egpj\\u009b2J")
                && text.contains("\\u000ab.toml"),
            "{text}"
        );
        let line = Fault::new("x", "y").in_file(Path::new("j")).at_line(1, 3);
        let source = Faults::from(line).with_source(&|_| Some(evil.to_string()));
        assert!(!source.chars().any(|c| c != '\n' && is_obeyed(c)), "{source:?}");
    }

    #[test]
    fn a_column_counts_characters() {
        let text = "a\nüü = 1\n";
        assert_eq!(line_and_column(text, 0), (1, 1));
        assert_eq!(line_and_column(text, 1), (1, 2));
        assert_eq!(line_and_column(text, text.find('=').unwrap_or(0)), (2, 4));
        assert_eq!(line_and_column(text, 1000), (3, 1));
        assert_eq!(line_and_column("ü", 1), (1, 1), "inside a character means before it");
        assert_eq!(line_and_column("", 0), (1, 1));
    }

    #[test]
    fn sorted_by_file_and_place_and_each_once() {
        let (a, b) = (Path::new("a.svg"), Path::new("b.toml"));
        let fault = || Fault::new("x", "y");
        let faults = Faults(vec![
            fault().in_file(b).at_line(12, 3),
            fault().in_file(b).at_line(2, 9),
            fault().in_file(b),
            fault().in_file(a).at("net line", 2.0, 0.0),
            fault().in_file(a).at("net line", -1.0, 0.0),
            fault().in_file(b).at_line(12, 3),
        ]);
        let places: Vec<Place> = faults.sorted().0.into_iter().map(|f| f.place).collect();
        let at = |x| Place::At { what: "net line".into(), x, y: 0.0 };
        let line = |line, column| Place::Line { line, column };
        assert_eq!(places, [at(-1.0), at(2.0), Place::Whole, line(2, 9), line(12, 3)]);
    }

    #[test]
    fn the_source_line_is_shown_with_a_caret() {
        let faults: Faults = Fault::new("`gpa` is not a key of [cutting]", "did you mean `gap`?")
            .in_file(Path::new("job.toml"))
            .at_line(2, 1)
            .into();
        let shown = faults.with_source(&|_| Some("[cutting]\ngpa = 5\n".into()));
        assert_eq!(
            shown,
            "job.toml:2:1: `gpa` is not a key of [cutting]\n    2 | gpa = 5\n        ^\n    did you mean `gap`?\n"
        );
        assert_eq!(faults.with_source(&|_| None), format!("{faults}\n"));
    }

    #[test]
    fn what_can_be_pasted_stands_alone_on_its_line() {
        let fault = Fault::new("`gpa` is not a key of [cutting]", "did you mean `gap`?")
            .paste(Some("gap = 5".into()));
        assert_eq!(fault.to_string().lines().last(), Some("        gap = 5"));
        assert_eq!(
            fault.in_one_line(),
            "`gpa` is not a key of [cutting]: did you mean `gap`? (gap = 5)"
        );
        assert_eq!(
            Faults::from(fault).with_source(&|_| None).lines().last(),
            Some("        gap = 5")
        );
    }

    #[test]
    fn a_place_far_beyond_any_drawing_is_not_written_in_hundreds_of_digits() {
        let fault = Fault::new("it is too far out", "move it").at("path", 1e301, -3.0);
        assert_eq!(
            fault.to_string().lines().next(),
            Some("path at (1.00e301, -3.00e0) mm: it is too far out")
        );
    }
}
