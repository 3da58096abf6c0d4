//! What the lines of a drawing were taken for, for a terminal. Plain text.

use super::summary::wrap;
use super::text::clean;
use crate::outline::{Account, AccountRow, account_rows};
use crate::units::counted;

/// Labels named in one row; more are in the JSON.
const LABELS_SHOWN: usize = 4;

/// The drawing, what each of its lines was taken for by name and count, and what was not used with
/// the reason; `spare` are outlines that no template takes. No line is wider than `columns` where
/// its words allow.
pub fn drawing(file: &str, lines: &[Account], spare: &[String], columns: usize) -> String {
    let mut out = wrap(&format!("{}: {}", clean(file), counted(lines.len(), "line")), columns, 2);
    for row in account_rows(lines) {
        let taken = row.taken_for.unwrap_or("not used");
        out.push_str(&beside(&format!("  {taken:<15}{:>4}  ", row.count), &said(&row), columns));
    }
    for outline in spare {
        out.push_str(&beside(&format!("  {:<21}", "no template takes"), &clean(outline), columns));
    }
    out
}

/// Words wrapped beside a head that stands in the first line only.
fn beside(head: &str, words: &str, columns: usize) -> String {
    let blank = " ".repeat(head.len());
    let lines = wrap(words, columns.saturating_sub(head.len()), 0);
    lines
        .lines()
        .enumerate()
        .map(|(i, l)| format!("{}{l}\n", if i == 0 { head } else { &blank }))
        .collect()
}

fn said(row: &AccountRow) -> String {
    let name =
        if row.name.is_empty() { String::new() } else { format!("\"{}\"", clean(&row.name)) };
    let mut labels: Vec<String> = row.labels.iter().take(LABELS_SHOWN).map(|l| clean(l)).collect();
    if row.labels.len() > LABELS_SHOWN {
        labels.push(format!("and {} more", row.labels.len() - LABELS_SHOWN));
    }
    let labels = labels.join(", ");
    match &row.why {
        None if name.is_empty() => labels,
        None => name,
        Some(why) => {
            let place = if name.is_empty() { String::new() } else { format!(" in {name}") };
            let it = if ["it ", "its ", "a "].iter().any(|start| why.starts_with(start)) {
                ""
            } else {
                "it "
            };
            format!("{}{place} ({labels}): {it}{}", row.what, clean(why))
        }
    }
}
