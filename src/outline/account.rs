//! What became of every line of a drawing, by name and count: nothing vanishes.

use super::EdgeKind;
use serde::Serialize;

/// What a drawn line was taken for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Taken {
    /// The net line of an outline, or a part of it.
    NetLine,
    /// A hole of an outline, or a part of one.
    Hole,
    /// Edges of this kind: along the net line, or a part of it.
    Edge(EdgeKind),
    /// The part's 0° arrow.
    Arrow,
    /// A relief cut or notch.
    Cut,
    /// A line that is only carried along.
    Mark,
    /// A zone that no splice may enter.
    NoSplice,
}

impl Taken {
    /// As a person calls it.
    pub fn in_words(self) -> &'static str {
        match self {
            Taken::NetLine => "net line",
            Taken::Hole => "hole",
            Taken::Edge(EdgeKind::Trim) => "trim edge",
            Taken::Edge(EdgeKind::Lap) => "lap edge",
            Taken::Edge(EdgeKind::Butt) => "butt edge",
            Taken::Edge(EdgeKind::Dart) => "dart edge",
            Taken::Arrow => "arrow",
            Taken::Cut => "relief cut",
            Taken::Mark => "mark",
            Taken::NoSplice => "no-splice zone",
        }
    }
}

/// One line of a drawing, or one entity that gives none, and what became of it.
#[derive(Clone, Debug, PartialEq)]
pub struct Account {
    /// `line`, or the kind of an entity that gives none (`text`, `MLINE`).
    pub what: String,
    /// The most telling name of what it lies in; may be empty.
    pub name: String,
    /// How to point at it.
    pub label: String,
    /// What it was taken for, or why it was not used.
    pub fate: Result<Taken, String>,
}

/// Lines of one name with one fate.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct AccountRow {
    /// What they were taken for; `None` if they were not used.
    pub taken_for: Option<&'static str>,
    /// `line`, or the kind of an entity that gives none.
    pub what: String,
    /// The most telling name of what they lie in; may be empty.
    pub name: String,
    /// How many.
    pub count: usize,
    /// Why they were not used.
    pub why: Option<String>,
    /// How to point at each.
    pub labels: Vec<String>,
}

/// The lines of a drawing by name, each counted in one row: those used first, in the order they are
/// drawn.
pub fn account_rows(lines: &[Account]) -> Vec<AccountRow> {
    let mut rows: Vec<AccountRow> = Vec::new();
    for line in lines {
        let taken_for = line.fate.as_ref().ok().map(|t| t.in_words());
        let why = line.fate.as_ref().err();
        let same = |r: &&mut AccountRow| {
            r.taken_for == taken_for
                && r.what == line.what
                && r.name == line.name
                && r.why.as_ref() == why
        };
        match rows.iter_mut().find(same) {
            Some(row) => {
                row.count += 1;
                row.labels.push(line.label.clone());
            }
            None => rows.push(AccountRow {
                taken_for,
                what: line.what.clone(),
                name: line.name.clone(),
                count: 1,
                why: why.cloned(),
                labels: vec![line.label.clone()],
            }),
        }
    }
    rows.sort_by_key(|r| r.taken_for.is_none());
    rows
}

/// One account of a drawing that was read in two ways, layer by layer: a line is used if either way
/// uses it.
#[must_use]
pub fn merged(first: Vec<Account>, second: &[Account]) -> Vec<Account> {
    if first.len() != second.len() {
        return first.into_iter().chain(second.iter().cloned()).collect();
    }
    let either = |(a, b): (Account, &Account)| {
        if a.fate.is_err() && b.fate.is_ok() { b.clone() } else { a }
    };
    first.into_iter().zip(second).map(either).collect()
}
