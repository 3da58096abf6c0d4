//! Faults and warnings: what is wrong, where, and what to do about it.
//!
//! A reader never stops at its first fault. It collects everything it can find in [`Faults`] and returns the
//! whole list, so that a person corrects a file once.

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
    pub what: String,
    /// What to do about it, one sentence without a full stop; empty only if nothing can be done.
    pub remedy: String,
}

impl Fault {
    /// A fault in no particular file.
    pub fn new(what: impl Into<String>, remedy: impl Into<String>) -> Self {
        Fault { file: None, place: Place::Whole, what: what.into(), remedy: remedy.into() }
    }

    /// The same fault, placed in a file.
    #[must_use]
    pub fn in_file(mut self, file: &Path) -> Self {
        self.file = Some(file.to_path_buf());
        self
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

impl fmt::Display for Fault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if let Some(file) = &self.file {
            write!(f, "{}", file.display())?;
            match &self.place {
                Place::Line { line, column } => write!(f, ":{line}:{column}: ")?,
                _ => write!(f, ": ")?,
            }
        }
        match &self.place {
            Place::Whole => {}
            Place::Line { line, column } if self.file.is_none() => write!(f, "line {line}, column {column}: ")?,
            Place::Line { .. } => {}
            Place::Named(name) => write!(f, "{name}: ")?,
            Place::At { what, x, y } => write!(f, "{what} at ({x:.2}, {y:.2}) mm: ")?,
        }
        write!(f, "{}", self.what)?;
        if !self.remedy.is_empty() {
            write!(f, "\n    {}", self.remedy)?;
        }
        Ok(())
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

    /// Adds all of another list.
    pub fn extend(&mut self, other: Faults) {
        self.0.extend(other.0);
    }

    /// True while nothing is wrong.
    pub fn is_empty(&self) -> bool {
        self.0.is_empty()
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
