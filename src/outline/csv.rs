//! Reader of CSV files of measured points.
//!
//! One row a point, y up. The first row names the columns, in any order:
//!
//! | column | holds |
//! |---|---|
//! | `x`, `y` | the coordinates; the unit may stand in the name: `x_mm`, `y (mm)` |
//! | `part` | which outline the point belongs to; without it, all belong to one |
//! | `line` | `outline` (also if empty or missing), `hole`, `cut`, `mark`, `arrow` or `no-splice`; a number tells several apart: `hole 2` |
//! | `edge` | on points of an outline, the kind of the edge that starts there: `trim`, `lap`, `butt` or `dart`; empty means none |
//!
//! The points of one line stand together, in order. Outlines, holes and zones close by themselves
//! (a repeated first point does no harm); an arrow runs from tail to head. The unit is in the
//! column names, or in a comment above the points, `# unit: mm`, or in the job. Lines that start
//! with `#` are comments. Columns are parted by commas, semicolons or tabs; beside semicolons and
//! tabs a number may have a decimal comma.

use super::budget::Budget;
use super::roles::{Meaning, edge_kind_named, meaning_of_names};
use super::{Drawing, DrawnLine, EdgeKind, ReadOptions, Role, Unit};
use crate::fault::{Fault, Faults};
use crate::geometry::{Path, Point, point};
use std::collections::{BTreeMap, BTreeSet};

/// Most rows: a hundred points a metre all round every skin of a boat.
const MOST_ROWS: usize = 300_000;

/// Most faulty rows that are told.
const MOST_FAULTS: usize = 100;

const LINES: &str =
    "outline, hole, cut, mark, arrow or no-splice, with a number behind it if there are several";

/// Reads a CSV file.
pub(super) fn read(
    bytes: &[u8],
    options: &ReadOptions,
    budget: &Budget<'_>,
) -> Result<Drawing, Faults> {
    let text = std::str::from_utf8(bytes).map_err(|e| {
        let line = 1 + bytes.iter().take(e.valid_up_to()).filter(|b| **b == b'\n').count();
        Fault::new("the file is not UTF-8 text from here on", "save the table as CSV in UTF-8")
            .at_line(line, 1)
    })?;
    let text = text.strip_prefix('\u{feff}').unwrap_or(text);
    let Some(header) =
        text.lines().find(|l| !l.trim().is_empty() && !l.trim_start().starts_with('#'))
    else {
        return Err(Fault::new(
            "the file holds no points",
            "write a row of column names, then one row a point",
        )
        .into());
    };
    let delimiter =
        [b';', b'\t'].into_iter().find(|d| header.as_bytes().contains(d)).unwrap_or(b',');
    let mut rows = ::csv::ReaderBuilder::new()
        .delimiter(delimiter)
        .has_headers(false)
        .flexible(true)
        .trim(::csv::Trim::All)
        .comment(Some(b'#'))
        .from_reader(text.as_bytes());

    let mut faults = Faults::new();
    let mut lines = LineCounter { text, at: 0, line: 1 };
    let mut columns: Option<Columns> = None;
    let mut table = Table {
        decimal_comma: delimiter != b',',
        mm: 1.0,
        lines: Vec::new(),
        seen: BTreeMap::new(),
    };
    for (count, row) in rows.records().enumerate() {
        budget.holds()?;
        if count > MOST_ROWS {
            return Err(Fault::new(
                said!("the file has more than {MOST_ROWS} rows"),
                "split it, or thin the points out",
            )
            .into());
        }
        let row = row.map_err(|e| {
            let line = e.position().map_or(1, |p| p.line() as usize);
            Fault::new("the row is not understood", "check its quotes").at_line(line, 1)
        })?;
        if row.get(0).is_some_and(|cell| cell.starts_with('#')) {
            continue; // An indented comment.
        }
        let line = lines.at(row.position().map_or(0, |p| p.byte() as usize));
        match &columns {
            None => {
                let read = Columns::read(&row, line)?;
                table.mm = unit_of(&read, text, options, line)?.millimetres();
                columns = Some(read);
            }
            Some(columns) => {
                if let Err(fault) = table.row(&row, columns, line) {
                    faults.push(fault);
                    if faults.0.len() >= MOST_FAULTS {
                        break;
                    }
                }
            }
        }
    }
    if let (true, Some(columns)) = (table.lines.is_empty() && faults.is_empty(), &columns) {
        faults.push(
            Fault::new("there are no points below the column names", "write one row a point")
                .at_line(columns.line, 1),
        );
    }
    let warnings = columns.as_ref().map_or(Vec::new(), Columns::warnings);
    let present = table
        .lines
        .iter()
        .map(|l| (l.part.as_str(), l.name.as_str()))
        .collect::<BTreeSet<_>>()
        .len();
    let used = table.lines.len();
    let lines = table.lines.iter().flat_map(MeasuredLine::drawn).collect();
    faults.into_result(Drawing { lines, used, not_used: Vec::new(), present, warnings })
}

/// Tells the line a row is in; the position a row comes with is where the search for it began,
/// before comments and empty lines.
struct LineCounter<'a> {
    text: &'a str,
    at: usize,
    line: usize,
}

impl LineCounter<'_> {
    /// The line of the first row that begins at or after a byte; asked in rising order.
    fn at(&mut self, byte: usize) -> usize {
        while let Some(rest) = self.text.get(self.at..) {
            let Some(length) = rest.find('\n') else { break };
            let line = rest.get(..length).unwrap_or("").trim();
            if self.at >= byte && !line.is_empty() && !line.starts_with('#') {
                break;
            }
            self.at += length + 1;
            self.line += 1;
        }
        self.line
    }
}

/// Which column holds what.
struct Columns {
    line: usize,
    count: usize,
    x: usize,
    y: usize,
    part: Option<usize>,
    name: Option<usize>,
    edge: Option<usize>,
    unit: Option<String>,
    unknown: Vec<String>,
}

impl Columns {
    fn read(row: &::csv::StringRecord, line: usize) -> Result<Columns, Faults> {
        let mut faults = Faults::new();
        let mut found: BTreeMap<&str, usize> = BTreeMap::new();
        let mut units: Vec<String> = Vec::new();
        let mut unknown = Vec::new();
        for (i, title) in row.iter().enumerate() {
            let lower = title.to_lowercase();
            let mut words = lower
                .split(|c: char| !c.is_alphanumeric() && c != '"' && c != '\'')
                .filter(|w| !w.is_empty());
            let (first, unit) = (words.next().unwrap_or(""), words.next());
            let known = ["x", "y", "part", "line", "edge"].into_iter().find(|k| *k == first);
            match (known, unit) {
                (Some(axis @ ("x" | "y")), unit) => {
                    units.extend(unit.map(str::to_string));
                    if found.insert(axis, i).is_some() {
                        faults.push(
                            Fault::new(said!("two columns are named {axis}"), "keep one")
                                .at_line(line, 1),
                        );
                    }
                }
                (Some(name), None) => {
                    if found.insert(name, i).is_some() {
                        faults.push(
                            Fault::new(said!("two columns are named {name}"), "keep one")
                                .at_line(line, 1),
                        );
                    }
                }
                _ if title.is_empty() => {}
                _ => unknown.push(title.chars().take(40).collect()),
            }
        }
        units.dedup();
        if units.len() > 1 {
            faults.push(
                Fault::new(
                    said!("x is in {} and y in {}", units[0], units[1]),
                    "give both the same unit",
                )
                .at_line(line, 1),
            );
        }
        let (Some(&x), Some(&y)) = (found.get("x"), found.get("y")) else {
            let what = "the first row names no columns x and y";
            faults.push(
                Fault::new(what, "start with a row such as: part,line,x_mm,y_mm").at_line(line, 1),
            );
            return Err(faults);
        };
        let get = |name: &str| found.get(name).copied();
        let unit = units.first().cloned();
        faults.into_result(Columns {
            line,
            count: row.len(),
            x,
            y,
            part: get("part"),
            name: get("line"),
            edge: get("edge"),
            unit,
            unknown,
        })
    }

    fn warnings(&self) -> Vec<Fault> {
        let warning = |name: &String| {
            Fault::new(
                said!("the column \"{name}\" was not read"),
                "the known columns are x, y, part, line and edge",
            )
        };
        self.unknown.iter().map(|n| warning(n).at_line(self.line, 1)).collect()
    }
}

/// The unit: the job's if it states one, else that of the column names or of a comment.
fn unit_of(
    columns: &Columns,
    text: &str,
    options: &ReadOptions,
    line: usize,
) -> Result<Unit, Faults> {
    if let Some(unit) = options.unit {
        return Ok(unit);
    }
    let known = |word: &str, line: usize| {
        let fault = || {
            Fault::new(said!("\"{word}\" is not a known unit"), "use mm, cm, m, in or ft")
                .at_line(line, 1)
        };
        Unit::named(word).ok_or_else(fault)
    };
    let comment = text.lines().enumerate().map_while(|(i, l)| {
        let l = l.trim();
        (l.is_empty() || l.starts_with('#')).then_some((i + 1, l.trim_start_matches('#').trim()))
    });
    let stated: Vec<(usize, &str)> = comment
        .filter_map(|(i, l)| {
            let (key, value) = l.split_once([':', '='])?;
            matches!(key.trim().to_lowercase().as_str(), "unit" | "units")
                .then_some((i, value.trim()))
        })
        .collect();
    let in_columns = columns.unit.as_deref().map(|u| known(u, line)).transpose()?;
    let in_comment = stated.first().map(|(i, u)| known(u, *i)).transpose()?;
    match (in_columns, in_comment) {
        (Some(a), Some(b)) if a != b => {
            Err(Fault::new("the comment states another unit than the column names", "keep one of them").at_line(line, 1).into())
        }
        (Some(unit), _) | (None, Some(unit)) => Ok(unit),
        (None, None) => Err(Fault::new(
            "the file does not say in which unit its points are",
            "name the columns x_mm and y_mm, or write \"# unit: mm\" above them, or put unit = \"mm\" in the job's [[template]]",
        )
        .at_line(line, 1)
        .into()),
    }
}

/// The lines read so far.
struct Table {
    decimal_comma: bool,
    mm: f64,
    lines: Vec<MeasuredLine>,
    /// The row at which each line began.
    seen: BTreeMap<(String, String), usize>,
}

struct MeasuredLine {
    part: String,
    name: String,
    meaning: Meaning,
    from: usize,
    points: Path,
    edges: Vec<Option<EdgeKind>>,
}

impl Table {
    fn row(
        &mut self,
        row: &::csv::StringRecord,
        columns: &Columns,
        line: usize,
    ) -> Result<(), Fault> {
        if row.iter().all(str::is_empty) {
            return Ok(()); // Spreadsheets leave empty rows behind.
        }
        if row.iter().skip(columns.count).any(|cell| !cell.is_empty()) {
            let what = said!("the row has {} cells for {} columns", row.len(), columns.count);
            return Err(Fault::new(
                what,
                "part the columns by semicolons if numbers have a decimal comma",
            )
            .at_line(line, 1));
        }
        let cell = |at: Option<usize>| at.and_then(|i| row.get(i)).unwrap_or("");
        let xy = self
            .number(cell(Some(columns.x)), "x", line)
            .and_then(|x| Ok((x, self.number(cell(Some(columns.y)), "y", line)?)));
        let (part, name) = (cell(columns.part), cell(columns.name));
        let name = if name.is_empty() { "outline" } else { name };
        let (x, y) = xy?;
        let meaning = meaning_of_names(&[name.to_string()]);
        if !matches!(
            meaning,
            Meaning::Net
                | Meaning::Hole
                | Meaning::Role(Role::Cut | Role::Mark | Role::Arrow | Role::NoSplice)
        ) {
            return Err(Fault::new(
                said!("\"{}\" is not a kind of line", shortened(name)),
                said!("write {LINES}"),
            )
            .at_line(line, 1));
        }
        let edge = match cell(columns.edge) {
            "" => None,
            word => match edge_kind_named(word) {
                Some(_) if meaning != Meaning::Net => {
                    return Err(Fault::new(
                        "only the edges of an outline have a kind",
                        "leave the edge column empty here",
                    )
                    .at_line(line, 1));
                }
                Some(kind) => Some(kind),
                None => {
                    return Err(Fault::new(
                        said!("\"{}\" is not a kind of edge", shortened(word)),
                        "write trim, lap, butt or dart, or nothing",
                    )
                    .at_line(line, 1));
                }
            },
        };
        let p = point(x * self.mm, y * self.mm);
        match self.lines.last_mut() {
            Some(last) if last.part == part && last.name == name => {
                last.points.push(p);
                last.edges.push(edge);
            }
            _ => {
                if let Some(first) = self.seen.insert((part.to_string(), name.to_string()), line) {
                    let what = said!(
                        "the {} began in line {first} and other points came between",
                        describe(part, name)
                    );
                    return Err(Fault::new(
                        what,
                        "keep the points of one line together, or number the lines: hole 1, hole 2",
                    )
                    .at_line(line, 1));
                }
                let (part, name) = (part.to_string(), name.to_string());
                self.lines.push(MeasuredLine {
                    part,
                    name,
                    meaning,
                    from: line,
                    points: vec![p],
                    edges: vec![edge],
                });
            }
        }
        Ok(())
    }

    fn number(&self, text: &str, axis: &str, line: usize) -> Result<f64, Fault> {
        let plain = if self.decimal_comma { text.replace(',', ".") } else { text.to_string() };
        match plain.parse::<f64>() {
            Ok(v) if v.is_finite() => Ok(v),
            _ if text.is_empty() => Err(Fault::new(
                said!("{axis} is missing"),
                "write the coordinate, or delete the row",
            )
            .at_line(line, 1)),
            _ => Err(Fault::new(
                said!("{axis} is \"{}\", which is not a number", shortened(text)),
                "write it as in 123.4",
            )
            .at_line(line, 1)),
        }
    }
}

impl MeasuredLine {
    /// The line itself, and for an outline one line more for every run of edges of a kind.
    fn drawn(&self) -> Vec<DrawnLine> {
        let label = format!("{} from line {}", describe(&self.part, &self.name), self.from);
        let names = |last: &str| {
            [self.part.as_str(), last]
                .iter()
                .filter(|n| !n.is_empty())
                .map(ToString::to_string)
                .collect::<Vec<_>>()
        };
        let line = |points: Path, closed: bool, name: &str, role: Option<Role>| DrawnLine {
            points,
            closed,
            names: names(name),
            role,
            label: label.clone(),
        };
        let closed =
            matches!(self.meaning, Meaning::Net | Meaning::Hole | Meaning::Role(Role::NoSplice));
        let (mut points, mut edges) = (self.points.clone(), self.edges.clone());
        if closed && points.len() > 1 && points.first() == points.last() {
            points.pop();
            edges.pop();
        }
        let mut out = vec![line(points.clone(), closed, &self.name, None)];
        for (kind, run) in runs(&points, &edges) {
            let whole = run.len() > points.len();
            let run = if whole { points.clone() } else { run };
            out.push(line(run, whole, &self.name, Some(Role::Edge(kind))));
        }
        out
    }
}

/// The runs of consecutive edges of one kind round a ring, as lines; one of more points than the
/// ring goes all the way round.
fn runs(points: &[Point], edges: &[Option<EdgeKind>]) -> Vec<(EdgeKind, Path)> {
    let n = points.len();
    let starts: Vec<usize> = (0..n).filter(|&i| edges[i] != edges[(i + n - 1) % n]).collect();
    if starts.is_empty() {
        let whole = points.iter().chain(points.first()).copied().collect();
        return edges.first().copied().flatten().map(|kind| (kind, whole)).into_iter().collect();
    }
    let mut out = Vec::new();
    for (k, &start) in starts.iter().enumerate() {
        let Some(kind) = edges[start] else { continue };
        let end = starts[(k + 1) % starts.len()];
        let count = (end + n - start - 1) % n + 1;
        out.push((kind, (0..=count).map(|j| points[(start + j) % n]).collect()));
    }
    out
}

fn describe(part: &str, name: &str) -> String {
    if part.is_empty() {
        shortened(name)
    } else {
        format!("{} of \"{}\"", shortened(name), shortened(part))
    }
}

fn shortened(text: &str) -> String {
    text.chars().take(40).map(|c| if c.is_control() { ' ' } else { c }).collect()
}
