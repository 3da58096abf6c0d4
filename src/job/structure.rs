//! Holds a parsed job file against the schema: finds every unknown key, missing key, wrong type,
//! unknown word and number out of range, and hands on what is sound.
//!
//! It knows the small part of JSON Schema that [`schema`](super::schema) makes: objects that name
//! all their keys, lists, choices of words, quantities, plain values. The schema is not recursive,
//! and neither deeper nor longer input makes this recurse further.

use super::document::{Document, Findings, listed, nearest};
use super::quantity;
use super::quantity::may_be_in_id;
use super::scaffold::sample_line;
use crate::fault::Said;
use crate::units::quoted;
use serde_json::{Map, Value};
use std::borrow::Cow;
use std::fmt;
use toml::Spanned;
use toml::de::{DeTable, DeValue};

/// Checks a document; the answer has every section that is sound, quantities in mm and degrees, and
/// `null` for each section at fault.
///
/// With `broken` the text was only half understood: keys may have been lost, so none is called
/// missing.
pub(super) fn check<'t>(
    doc: &Document<'t>,
    schema: &Value,
    (what, findings): (&str, &mut Findings<'t>),
    broken: bool,
) -> Map<String, Value> {
    let mut checker = Checker { doc, findings, broken };
    let mut sound = Map::new();
    checker.keys(schema, &doc.root, 0, what, |checker, key, schema, value| {
        let name = Name { section: "", key, entry: false };
        let checked = if is_sections(schema) {
            Some(checker.sections(schema, value, name))
        } else {
            checker.value(schema, value, name)
        };
        sound.extend(checked.map(|v| (key.to_string(), v)));
    });
    sound
}

/// How a message names the value at hand.
#[derive(Clone, Copy)]
struct Name<'n> {
    /// The section it lies in, without brackets; empty at the top.
    section: &'n str,
    key: &'n str,
    /// It is an entry of the list at this key.
    entry: bool,
}

impl Name<'_> {
    /// The name it would have as a section, without brackets.
    fn as_section(&self) -> String {
        if self.section.is_empty() {
            self.key.to_string()
        } else {
            format!("{}.{}", self.section, self.key)
        }
    }
}

impl fmt::Display for Name<'_> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if self.entry {
            said!("an entry of `{}`", self.key).fmt(f)
        } else {
            write!(f, "`{}`", self.key)
        }
    }
}

/// True for `[[…]]` sections: a list of objects.
fn is_sections(schema: &Value) -> bool {
    schema.pointer("/items/properties").is_some()
}

fn description(schema: &Value) -> &str {
    schema.get("description").and_then(Value::as_str).unwrap_or_default().trim_end_matches('.')
}

/// A description as the end of a sentence.
fn meaning(schema: &Value) -> String {
    let mut letters = description(schema).chars();
    letters.next().map_or(String::new(), |first| first.to_lowercase().chain(letters).collect())
}

/// How many entries a list may have at most.
fn most_entries(schema: &Value) -> usize {
    schema
        .get("maxItems")
        .and_then(Value::as_u64)
        .and_then(|n| usize::try_from(n).ok())
        .unwrap_or(usize::MAX)
}

/// The keys that an object must have.
fn required(schema: &Value) -> impl Iterator<Item = &str> {
    listed_at(schema, "/required").chain(unless(schema))
}

/// Those that it need not have if it names where they are said: in the library, in a mould. What is
/// wrong with that is said there.
fn unless(schema: &Value) -> impl Iterator<Item = &str> {
    listed_at(schema, "/then/required")
}

/// The keys that say where.
fn refers(schema: &Value) -> impl Iterator<Item = &str> {
    listed_at(schema, "/if/not/required")
}

fn listed_at<'s>(schema: &'s Value, at: &str) -> impl Iterator<Item = &'s str> {
    schema.pointer(at).and_then(Value::as_array).into_iter().flatten().filter_map(Value::as_str)
}

/// The words a choice allows.
fn words(schema: &Value) -> Vec<&str> {
    let constants = schema
        .get("oneOf")
        .and_then(Value::as_array)
        .into_iter()
        .flatten()
        .filter_map(|s| s.get("const")?.as_str());
    constants.collect()
}

/// What a value is, in words.
fn kind(value: &DeValue<'_>) -> &'static str {
    match value {
        DeValue::String(_) => "text",
        DeValue::Integer(_) | DeValue::Float(_) => "a number",
        DeValue::Boolean(_) => "true or false",
        DeValue::Datetime(_) => "a date or time",
        DeValue::Array(_) => "a list",
        DeValue::Table(_) => "a table",
    }
}

/// What a schema asks for, in words.
fn wanted(schema: &Value) -> &'static str {
    match schema.get("type").and_then(Value::as_str) {
        _ if schema.get(quantity::KEYWORD).is_some() => "a number, or text with a unit",
        _ if schema.get("oneOf").is_some() => "text",
        Some("string") => "text in quotes",
        Some("boolean") => "true or false",
        Some("integer") => "a whole number",
        Some("number") => "a number",
        Some("array") => "a list in [ ]",
        Some("object") => "a table",
        _ => "text, or a table in { }",
    }
}

/// The range a schema allows, as a remedy.
fn range(schema: &Value, unit: &str) -> Said {
    let limit = |key: &str| {
        let at = schema.get(key).and_then(Value::as_f64)?;
        Some(format!("{}{unit}", crate::units::show_number(at, 3)))
    };
    let low = match (limit("minimum"), limit("exclusiveMinimum")) {
        (Some(least), _) => Some(said!("at least {least}")),
        (None, over) => over.map(|over| said!("more than {over}")),
    };
    let high = match (limit("maximum"), limit("exclusiveMaximum")) {
        (Some(most), _) => Some(said!("at most {most}")),
        (None, under) => under.map(|under| said!("less than {under}")),
    };
    match (low, high) {
        (Some(low), Some(high)) => said!("give {low} and {high}"),
        (one, other) => said!("give {}", one.or(other).unwrap_or_default()),
    }
}

fn in_range(schema: &Value, value: f64) -> bool {
    let holds = |key: &str, test: fn(f64, f64) -> bool| {
        schema.get(key).and_then(Value::as_f64).is_none_or(|limit| test(value, limit))
    };
    holds("minimum", |v, l| v >= l)
        && holds("exclusiveMinimum", |v, l| v > l)
        && holds("maximum", |v, l| v <= l)
        && holds("exclusiveMaximum", |v, l| v < l)
}

struct Checker<'c, 't> {
    doc: &'c Document<'t>,
    findings: &'c mut Findings<'t>,
    broken: bool,
}

impl<'t> Checker<'_, 't> {
    /// Goes through the keys of a table: unknown ones and missing ones are faults, the others go to
    /// `each`.
    fn keys(
        &mut self,
        schema: &Value,
        table: &DeTable<'t>,
        offset: usize,
        thing: &str,
        mut each: impl FnMut(&mut Self, &str, &Value, &Spanned<DeValue<'t>>),
    ) {
        let Some(known) =
            schema.get("properties").and_then(Value::as_object).filter(|_| !self.findings.full())
        else {
            return;
        };
        let mut meant: Vec<&str> = Vec::new();
        for (key, value) in table {
            match known.get(key.get_ref().as_ref()) {
                Some(schema) => each(self, key.get_ref(), schema, value),
                None => meant.extend(self.unknown_key(key, known, thing)),
            }
        }
        // A key that is only misspelt is not missing as well.
        let refers = refers(schema).any(|key| table.contains_key(key));
        let missing = required(schema)
            .filter(|key| !table.contains_key(*key) && !meant.contains(key))
            .filter(|key| !refers || !unless(schema).any(|k| k == *key));
        for key in missing {
            let Some(schema) = known.get(key).filter(|_| !self.broken) else {
                continue;
            };
            let name = match schema.get("type").and_then(Value::as_str) {
                Some("array") if is_sections(schema) => format!("[[{key}]]"),
                Some("object") => format!("[{key}]"),
                _ => format!("`{key}`"),
            };
            let words = words(schema);
            let choice = if words.is_empty() {
                String::new()
            } else {
                format!(", one of {}", listed(words))
            };
            // What it means comes first: who never saw the file knows no keys.
            let what = said!("not given: {} ({name} in {thing})", meaning(schema));
            let remedy = said!("add {name}{choice}");
            // `[[cloth]] "twill"` or `[job]`, as the sample names its sections.
            let section = thing.split(']').next().unwrap_or_default().trim_start_matches('[');
            match sample_line(section, key) {
                Some(line) => self.findings.fault_to_paste(offset, what, remedy, line),
                None => self.findings.fault(offset, what, remedy),
            }
        }
    }

    /// The key that was meant, if one is near.
    fn unknown_key<'k>(
        &mut self,
        key: &Spanned<Cow<'t, str>>,
        known: &'k Map<String, Value>,
        thing: &str,
    ) -> Option<&'k str> {
        let names = || known.keys().map(String::as_str);
        let what = said!("{} is not a key of {thing}", quoted(key.get_ref()));
        if !self.findings.may_suggest() {
            self.findings.fault(key.span().start, what, "take it out");
        } else if let Some(name) = nearest(key.get_ref(), names()) {
            self.findings.fault_to_mend(key.span(), what, said!("did you mean `{name}`?"), name);
            return Some(name);
        } else {
            self.findings.fault(
                key.span().start,
                what,
                said!("the keys known here are {}", listed(names())),
            );
        }
        None
    }

    /// A table; `None` if it lacks something it needs.
    fn object(
        &mut self,
        schema: &Value,
        table: &DeTable<'t>,
        offset: usize,
        thing: &str,
        section: &str,
    ) -> Option<Value> {
        let mut sound = Map::new();
        self.keys(schema, table, offset, thing, |checker, key, schema, value| {
            sound.extend(
                checker
                    .value(schema, value, Name { section, key, entry: false })
                    .map(|v| (key.to_string(), v)),
            );
        });
        let whole = required(schema).all(|key| sound.contains_key(key));
        whole.then_some(Value::Object(sound))
    }

    /// `[[…]]` sections, `null` for each at fault.
    fn sections(&mut self, schema: &Value, value: &Spanned<DeValue<'t>>, name: Name<'_>) -> Value {
        let one = [value];
        let sections: Vec<&Spanned<DeValue<'t>>> = match value.get_ref() {
            DeValue::Array(array) => {
                self.count(schema, value, array.len(), name);
                array.iter().collect()
            }
            DeValue::Table(_) => {
                let key = name.as_section();
                let (what, remedy) = (
                    said!("[{key}] has single brackets"),
                    said!("write [[{key}]]: there may be several"),
                );
                self.findings.fault_to_paste(
                    value.span().start,
                    what,
                    remedy,
                    format!("[[{key}]]"),
                );
                one.to_vec()
            }
            _ => {
                self.wrong_type(schema, value, name);
                Vec::new()
            }
        };
        let most = most_entries(schema);
        let section = |(i, v)| {
            if i < most && !self.findings.full() { self.section(schema, v, name) } else { None }
        };
        Value::Array(
            sections.into_iter().enumerate().map(section).map(Option::unwrap_or_default).collect(),
        )
    }

    fn section(
        &mut self,
        schema: &Value,
        value: &Spanned<DeValue<'t>>,
        name: Name<'_>,
    ) -> Option<Value> {
        let item = schema.get("items")?;
        let DeValue::Table(table) = value.get_ref() else {
            return self.wrong_type(item, value, Name { entry: true, ..name });
        };
        let key = name.as_section();
        let id = table.get("id").and_then(|v| v.get_ref().as_str());
        let thing = id.map_or(format!("[[{key}]]"), |id| format!("[[{key}]] {}", quoted(id)));
        self.object(item, table, value.span().start, &thing, &key)
    }

    /// Any value; `None` if it is at fault.
    fn value(
        &mut self,
        schema: &Value,
        value: &Spanned<DeValue<'t>>,
        name: Name<'_>,
    ) -> Option<Value> {
        if let Some(kind) = schema.get(quantity::KEYWORD).and_then(Value::as_str) {
            return self.quantity(schema, kind, value, name);
        }
        if let Some(choices) = schema.get("anyOf").and_then(Value::as_array) {
            let wants = match value.get_ref() {
                DeValue::String(_) => "string",
                DeValue::Table(_) => "object",
                _ => "",
            };
            return match choices.iter().find(|s| s.get("type").is_some_and(|t| t == wants)) {
                Some(choice) => self.value(choice, value, name),
                None => self.wrong_type(schema, value, name),
            };
        }
        let kind = schema.get("type").and_then(Value::as_str).unwrap_or_default();
        match (kind, value.get_ref()) {
            _ if schema.get("oneOf").is_some() => self.word(schema, value, name),
            ("string", DeValue::String(text)) => self.text(schema, value, text, name),
            ("boolean", DeValue::Boolean(b)) => Some(Value::Bool(*b)),
            ("integer", DeValue::Float(_)) => {
                let what = said!("{name} must be a whole number, not {}", self.doc.source(value));
                let remedy = "write it without a decimal point";
                match number_of(value).filter(|n| n.fract() == 0.0) {
                    Some(n) => {
                        self.findings.fault_to_mend(value.span(), what, remedy, &format!("{n:.0}"))
                    }
                    None => self.findings.fault(value.span().start, what, remedy),
                }
                None
            }
            ("number", DeValue::Integer(_) | DeValue::Float(_)) => {
                self.ranged(schema, value, number_of(value), name, "").map(Value::from)
            }
            ("integer", DeValue::Integer(_)) => self
                .ranged(schema, value, number_of(value), name, "")
                .map(|n| Value::from(n as i64)),
            ("array", DeValue::Array(array)) => {
                let enough = self.count(schema, value, array.len(), name);
                let items: Vec<Option<Value>> = array
                    .iter()
                    .take(most_entries(schema))
                    .map(|v| match is_sections(schema) {
                        true => self.section(schema, v, name),
                        false => self.value(schema.get("items")?, v, Name { entry: true, ..name }),
                    })
                    .collect();
                items
                    .into_iter()
                    .collect::<Option<Vec<Value>>>()
                    .filter(|_| enough)
                    .map(Value::Array)
            }
            ("object", DeValue::Table(table)) => {
                let section = name.as_section();
                let thing = if name.entry { name.to_string() } else { format!("[{section}]") };
                self.object(schema, table, value.span().start, &thing, &section)
            }
            _ => self.wrong_type(schema, value, name),
        }
    }

    /// True if a list has as many entries as it may.
    fn count(
        &mut self,
        schema: &Value,
        value: &Spanned<DeValue<'t>>,
        count: usize,
        name: Name<'_>,
    ) -> bool {
        let least = schema
            .get("minItems")
            .and_then(Value::as_u64)
            .and_then(|n| usize::try_from(n).ok())
            .unwrap_or(0);
        let most = most_entries(schema);
        if (least..=most).contains(&count) {
            return true;
        }
        let what = if count == 0 {
            said!("nothing is listed here ({name})")
        } else {
            said!("{name} has {count} entries")
        };
        let remedy = match least == most {
            true => said!("give {least}"),
            false if count < least => said!("give at least {least}"),
            false => said!("give at most {most}"),
        };
        self.findings.fault(value.span().start, what, remedy);
        false
    }

    fn wrong_type(
        &mut self,
        schema: &Value,
        value: &Spanned<DeValue<'t>>,
        name: Name<'_>,
    ) -> Option<Value> {
        let unquoted = matches!(
            schema.get("type").and_then(Value::as_str),
            Some("number" | "integer" | "boolean")
        );
        let remedy = match value.get_ref() {
            DeValue::String(text)
                if unquoted
                    && (text.parse::<f64>().is_ok() || text == "true" || text == "false") =>
            {
                said!("write {text} without quotes")
            }
            DeValue::Array(_) if schema.get("properties").is_some() && !name.entry => {
                said!("write [{}] once, with single brackets", name.as_section())
            }
            _ => said!("{name} means: {}", meaning(schema)),
        };
        let what = said!("{name} must be {}, not {}", wanted(schema), kind(value.get_ref()));
        match value.get_ref() {
            DeValue::String(text) if remedy.ends_with("without quotes") => {
                self.findings.fault_to_mend(value.span(), what, remedy, text)
            }
            _ => self.findings.fault(value.span().start, what, remedy),
        }
        None
    }

    /// A number or a number with a unit, turned into mm, degrees or g/m² and held to its range.
    fn quantity(
        &mut self,
        schema: &Value,
        kind: &str,
        value: &Spanned<DeValue<'t>>,
        name: Name<'_>,
    ) -> Option<Value> {
        let number = match value.get_ref() {
            DeValue::Integer(_) | DeValue::Float(_) => number_of(value),
            DeValue::String(text) => match quantity::parse(kind, text) {
                Ok(number) => Some(number),
                Err(fault) => {
                    self.findings.fault(
                        value.span().start,
                        said!("{name}: {}", fault.what),
                        fault.remedy,
                    );
                    return None;
                }
            },
            _ => return self.wrong_type(schema, value, name),
        };
        self.ranged(schema.pointer("/anyOf/0")?, value, number, name, quantity::unit(kind))
            .map(Value::from)
    }

    /// A finite number in the range of the schema.
    fn ranged(
        &mut self,
        schema: &Value,
        value: &Spanned<DeValue<'t>>,
        number: Option<f64>,
        name: Name<'_>,
        unit: &str,
    ) -> Option<f64> {
        let what = match number.filter(|n| n.is_finite()) {
            Some(number) if in_range(schema, number) => return Some(number),
            Some(_) => Said::from("out of range"),
            None => "not a finite number".into(),
        };
        let what = said!("{name} is {}, which is {what}", self.doc.source(value));
        self.findings.fault(value.span().start, what, range(schema, unit));
        None
    }

    fn word(
        &mut self,
        schema: &Value,
        value: &Spanned<DeValue<'t>>,
        name: Name<'_>,
    ) -> Option<Value> {
        let DeValue::String(text) = value.get_ref() else {
            return self.wrong_type(schema, value, name);
        };
        let words = words(schema);
        if words.contains(&text.as_ref()) {
            return Some(Value::from(text.as_ref()));
        }
        let all = listed(words.iter().copied());
        let what = said!("{name} cannot be {}", quoted(text));
        match nearest(text, words) {
            Some(word) => {
                self.findings.fault_to_mend(
                    value.span(),
                    what,
                    said!("did you mean `{word}`? It may be {all}"),
                    &format!("\"{word}\""),
                );
            }
            None => self.findings.fault(value.span().start, what, said!("it may be {all}")),
        }
        None
    }

    fn text(
        &mut self,
        schema: &Value,
        value: &Spanned<DeValue<'t>>,
        text: &str,
        name: Name<'_>,
    ) -> Option<Value> {
        let most = schema.get("maxLength").and_then(Value::as_u64).unwrap_or(u64::MAX);
        let id = schema.get("format").is_some_and(|f| f == "id");
        let (what, remedy) = if text.trim().is_empty() {
            (said!("{name} is empty"), said!("{name} means: {}", meaning(schema)))
        } else if text.chars().count() as u64 > most {
            (said!("{name} is longer than {most} characters"), "make it shorter".into())
        } else if text.chars().any(char::is_control) {
            (
                said!("{name} holds control characters: {}", quoted(text)),
                "write it on one line, without tabs".into(),
            )
        } else if id
            && (text.chars().any(|c| !may_be_in_id(c)) || !text.starts_with(char::is_alphanumeric))
        {
            let remedy = "use letters, digits, '-', '_' and '.', no blanks, beginning with a letter or digit";
            (said!("{} is no short name ({name})", quoted(text)), remedy.into())
        } else {
            return Some(Value::from(text));
        };
        self.findings.fault(value.span().start, what, remedy);
        None
    }
}

/// The number a TOML value is; infinities and NaN come through, for the range check to refuse.
fn number_of(value: &Spanned<DeValue<'_>>) -> Option<f64> {
    match value.get_ref() {
        DeValue::Integer(i) if i.radix() == 10 => i.as_str().parse().ok(),
        DeValue::Integer(i) => i64::from_str_radix(i.as_str(), i.radix()).ok().map(|n| n as f64),
        DeValue::Float(f) => f.as_str().parse().ok(),
        _ => None,
    }
}
