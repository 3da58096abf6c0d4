//! What stands in a job file, key by key, even while other parts of it are at fault; and which key
//! a place in it belongs to.

use crate::fault::line_and_column;
use std::ops::Range;
use toml::Spanned;
use toml::de::{DeTable, DeValue};

/// The values of a job file. Paths are as in [`super::Edit`].
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Values {
    found: Vec<Found>,
    broken: bool,
}

/// One key, entry or section.
#[derive(Clone, Debug, PartialEq)]
struct Found {
    path: String,
    /// Bytes from the key (or the head of the section) to the end of the value.
    span: Range<usize>,
    /// Text without its quotes; numbers and the rest as they are written. None of a section.
    shown: Option<String>,
}

impl Values {
    /// Reads as much as can be made out.
    pub fn of(text: &str) -> Values {
        let (root, errors) = DeTable::parse_recoverable(text);
        let mut values = Values { broken: !errors.is_empty(), ..Values::default() };
        values.table(text, "", root.get_ref());
        values
    }

    /// True of a file that breaks the rules of TOML: what is found in it may not be all.
    pub fn is_broken(&self) -> bool {
        self.broken
    }

    fn table(&mut self, text: &str, above: &str, table: &DeTable<'_>) {
        for (key, value) in table.iter() {
            let path = if above.is_empty() {
                key.get_ref().to_string()
            } else {
                format!("{above}.{}", key.get_ref())
            };
            self.value(text, path, key.span().start, value);
        }
    }

    fn value(&mut self, text: &str, path: String, start: usize, value: &Spanned<DeValue<'_>>) {
        let span = start.min(value.span().start)..value.span().end;
        match value.get_ref() {
            DeValue::Table(table) => {
                self.found.push(Found { path: path.clone(), span, shown: None });
                self.table(text, &path, table);
            }
            DeValue::Array(array) => {
                self.found.push(Found { path: path.clone(), span, shown: None });
                for (i, entry) in array.iter().enumerate() {
                    self.value(text, format!("{path}.{i}"), entry.span().start, entry);
                }
            }
            DeValue::String(words) => {
                self.found.push(Found { path, span, shown: Some(words.to_string()) })
            }
            _ => {
                let shown = text.get(value.span()).unwrap_or_default().to_string();
                self.found.push(Found { path, span, shown: Some(shown) });
            }
        }
    }

    /// The value at a key, as a person would type it; none if there is none, or if a section or
    /// list stands there.
    pub fn get(&self, path: &str) -> Option<&str> {
        self.find(path)?.shown.as_deref()
    }

    /// True if there is something at a path.
    pub fn has(&self, path: &str) -> bool {
        self.find(path).is_some()
    }

    fn find(&self, path: &str) -> Option<&Found> {
        // A section in single brackets stands for a list of one.
        self.found.iter().find(|f| f.path == path).or_else(|| {
            let (first, rest) = path.split_once(".0")?;
            self.found.iter().find(|f| f.path == format!("{first}{rest}"))
        })
    }

    /// Whether a section holds the same keys and values as one of another file.
    pub fn is_same(&self, at: &str, other: &Values, there: &str) -> bool {
        fn below<'v>(values: &'v Values, at: &str) -> Vec<(&'v str, Option<&'v str>)> {
            let of = |f: &'v Found| Some((f.path.strip_prefix(at)?, f.shown.as_deref()));
            let mut all: Vec<_> = values.found.iter().filter_map(of).collect();
            all.retain(|(key, _)| key.starts_with('.'));
            all.sort_unstable();
            all
        }
        let here = below(self, at);
        !here.is_empty() && here == below(other, there)
    }

    /// How many sections of a kind, or entries of a list, there are.
    pub fn count(&self, list: &str) -> usize {
        let several = (0..)
            .take_while(|i| self.found.iter().any(|f| f.path == format!("{list}.{i}")))
            .count();
        if several == 0
            && self.found.iter().any(|f| f.path == list && f.shown.is_none())
            && !self.is_empty_list(list)
        {
            1
        } else {
            several
        }
    }

    fn is_empty_list(&self, list: &str) -> bool {
        !self
            .found
            .iter()
            .any(|f| f.path.strip_prefix(list).is_some_and(|rest| rest.starts_with('.')))
    }

    /// The key whose value stands at a line and column (from 1), or the section whose part of the
    /// file that is.
    pub fn key_at(&self, text: &str, line: usize, column: usize) -> Option<&str> {
        let here = |offset: usize| line_and_column(text, offset) <= (line, column);
        let around = self.found.iter().filter(|f| {
            here(f.span.start)
                && !here(f.span.end.max(f.span.start + 1) - 1 + usize::from(f.span.is_empty()))
        });
        let exact = self
            .found
            .iter()
            .filter(|f| line_and_column(text, f.span.start) == (line, column))
            .max_by_key(|f| f.path.len());
        exact.or_else(|| around.min_by_key(|f| f.span.len())).map(|f| f.path.as_str()).or_else(
            || {
                let sections =
                    self.found.iter().filter(|f| f.shown.is_none() && here(f.span.start));
                sections.max_by_key(|f| f.span.start).map(|f| f.path.as_str())
            },
        )
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const JOB: &str = "[job]\nname = \"seat\"\n\n[[cloth]]\nid = \"twill\"\nroll_width = \"1.25 m\"\nselvedge = 10\n[[cloth.offer]]\nwidth = 1000\n\n\
                       [[layer]]\ntemplates = [\"seat\", { template = \"hip\", copies = 2 }]\n[debulk]\nfirst = true\n";

    #[test]
    fn values_are_shown_as_they_are_typed() {
        let values = Values::of(JOB);
        assert_eq!(values.get("cloth.0.roll_width"), Some("1.25 m"));
        assert_eq!(values.get("cloth.0.selvedge"), Some("10"));
        assert_eq!(values.get("cloth.0.offer.0.width"), Some("1000"));
        assert_eq!(values.get("layer.0.templates.0"), Some("seat"));
        assert_eq!(values.get("layer.0.templates.1.copies"), Some("2"));
        assert_eq!(values.get("layer.0.templates"), None);
        assert_eq!(
            [
                values.count("cloth"),
                values.count("layer.0.templates"),
                values.count("strip"),
                values.count("debulk")
            ],
            [1, 2, 0, 1]
        );
        assert_eq!(values.get("debulk.0.first"), Some("true"));
        assert!(values.has("job.name") && !values.has("job.currency"));
    }

    #[test]
    fn a_place_leads_to_its_key_or_section() {
        let values = Values::of(JOB);
        let key = |line, column| values.key_at(JOB, line, column).unwrap_or_default();
        assert_eq!(key(2, 1), "job.name");
        assert_eq!(key(2, 8), "job.name");
        assert_eq!(key(4, 1), "cloth.0");
        assert_eq!(key(6, 14), "cloth.0.roll_width");
        assert_eq!(key(12, 14), "layer.0.templates.0");
        assert_eq!(key(12, 47), "layer.0.templates.1.copies");
    }

    #[test]
    fn what_is_sound_is_read_beside_what_is_broken() {
        let values = Values::of("[job]\nname = \"x\nother = 3\n[cutting]\ngap = 5\n");
        assert_eq!(values.get("cutting.gap"), Some("5"));
        assert!(values.is_broken() && !Values::of(JOB).is_broken());
    }
}
