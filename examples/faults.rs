//! All sentences of faults by room, as Markdown: `cargo run --example faults > docs/faults.md`.
//!
//! The sources are read as text: a sentence is a literal that `said!` or a fault is made from.

use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};

#[allow(clippy::print_stdout, dead_code)]
fn main() {
    print!("{}", page(Path::new(env!("CARGO_MANIFEST_DIR"))));
}

/// Calls whose literal arguments are sentences.
const CALLS: [&str; 22] = [
    "new",
    "fault",
    "fault_to_mend",
    "fault_to_paste",
    "warn",
    "warning",
    "add",
    "add_at",
    "missed",
    "not_used",
    "left",
    "wrong",
    "damaged",
    "anew",
    "trouble",
    "refused",
    "usage",
    "missing",
    "hold",
    "machine",
    "holds_no_more_than_is_read",
    "from",
];

/// What the literals of a file are: all of them, and those that are sentences.
#[derive(Default)]
pub struct Found {
    /// Every literal.
    pub all: BTreeSet<String>,
    /// Sentences by room.
    pub sentences: BTreeMap<String, BTreeSet<String>>,
}

/// The literals of all sources below a folder.
pub fn found(root: &Path) -> Found {
    let src = root.join("src");
    let (mut found, mut open) = (Found::default(), vec![src.clone()]);
    while let Some(path) = open.pop() {
        if path.is_dir() {
            let all: Vec<PathBuf> = std::fs::read_dir(&path)
                .into_iter()
                .flatten()
                .flatten()
                .map(|e| e.path())
                .collect();
            open.extend(
                all.into_iter().filter(|p| !p.ends_with("tests") && !p.ends_with("tests.rs")),
            );
        } else if path.extension().is_some_and(|e| e == "rs") {
            let text = std::fs::read_to_string(&path).unwrap_or_default();
            let text = text.split("#[cfg(test)]\nmod tests").next().unwrap_or_default();
            let room = path.strip_prefix(&src).unwrap_or(&path).iter().next().unwrap_or_default();
            let room = room.to_string_lossy().trim_end_matches(".rs").to_string();
            if room != "fault" {
                read(text, found.sentences.entry(room).or_default(), &mut found.all);
            }
        }
    }
    found
}

/// One opened bracket: the name before it, `said!` among them, and how many arguments were passed.
struct Open<'t> {
    name: &'t str,
    arguments: usize,
}

/// Goes through the tokens of a file.
fn read(text: &str, sentences: &mut BTreeSet<String>, all: &mut BTreeSet<String>) {
    let mut open: Vec<Open<'_>> = Vec::new();
    // The name that was read last, and whether a statement gives a value to `what` or `remedy`.
    let (mut name, mut named, mut at) = ("", false, 0);
    while let Some(rest) = text.get(at..).filter(|r| !r.is_empty()) {
        let c = rest.chars().next().unwrap_or(' ');
        if rest.starts_with("//") {
            at += rest.find('\n').unwrap_or(rest.len());
        } else if let Some((literal, length)) = literal(rest) {
            let after = rest[length..].trim_start();
            let before = open.last();
            let is_whole = matches!(after.chars().next(), Some(',' | ')' | ';' | '}'))
                || after.starts_with(".into()");
            let is_said = before.is_some_and(|o| o.name == "said!" && o.arguments == 0);
            let is_call = before.is_some_and(|o| CALLS.contains(&o.name) && !o.name.ends_with('!'));
            let is_value = named && before.is_none_or(|o| o.name.is_empty());
            let has_words = literal.contains(' ') && literal.contains(char::is_alphabetic);
            let is_sentence = is_whole
                && before.is_none_or(|o| !o.name.ends_with('!'))
                && has_words
                && (is_call || is_value || after.starts_with(".into()"));
            // A line to paste is no sentence.
            let to_paste = literal.contains("# CHECK") || literal.starts_with("# ");
            if (is_said || is_sentence) && !to_paste {
                sentences.insert(literal.clone());
            }
            all.insert(literal);
            at += length;
            name = "";
        } else if c.is_alphabetic() || c == '_' {
            let end = rest.find(|c: char| !(c.is_alphanumeric() || c == '_')).unwrap_or(rest.len());
            let end = end + usize::from(rest[end..].starts_with("!("));
            name = &rest[..end];
            named |= matches!(name, "what" | "remedy" | "REMEDY") && text[..at].ends_with("let ")
                || name == "REMEDY"
                || text[..at].ends_with("let (") && name == "what";
            at += end;
        } else {
            match c {
                '(' | '[' | '{' => {
                    open.push(Open { name: if c == '(' { name } else { "" }, arguments: 0 })
                }
                ')' | ']' | '}' => {
                    open.pop();
                }
                ',' => {
                    if let Some(o) = open.last_mut() {
                        o.arguments += 1;
                    }
                }
                ';' => named = false,
                _ => {}
            }
            name = if c.is_whitespace() { name } else { "" };
            at += if c == '\'' { character(rest) } else { c.len_utf8() };
        }
    }
}

/// How long a character in quotes is; a lifetime is its first sign alone.
fn character(rest: &str) -> usize {
    let mut signs = rest.char_indices().skip(1);
    match (signs.next(), signs.next()) {
        (Some((_, '\\')), _) => 2 + rest[2..].find('\'').map_or(0, |i| i + 1).max(2),
        (Some(_), Some((i, '\''))) => i + 1,
        _ => 1,
    }
}

/// A literal at the start of a text, without its escapes, and how long it is there.
fn literal(rest: &str) -> Option<(String, usize)> {
    if let Some(raw) = rest.strip_prefix('r') {
        let marks = raw.chars().take_while(|c| *c == '#').count();
        let body = raw[marks..].strip_prefix('"')?;
        let end = body.find(&format!("\"{}", "#".repeat(marks)))?;
        return Some((body[..end].to_string(), 3 + 2 * marks + end));
    }
    let body = rest.strip_prefix('"')?;
    let (mut out, mut signs) = (String::new(), body.char_indices());
    while let Some((i, c)) = signs.next() {
        match c {
            '"' => return Some((out, i + 2)),
            '\\' => match signs.next()?.1 {
                'n' => out.push('\n'),
                't' => out.push('\t'),
                '0' => out.push('\0'),
                'u' => {
                    let code: String =
                        signs.by_ref().map(|s| s.1).take_while(|c| *c != '}').collect();
                    let code = u32::from_str_radix(code.trim_start_matches('{'), 16).ok()?;
                    out.push(char::from_u32(code)?);
                }
                '\n' => {
                    let blank = |c: &(usize, char)| c.1.is_whitespace();
                    while signs.clone().next().is_some_and(|s| blank(&s)) {
                        signs.next();
                    }
                }
                other => out.push(other),
            },
            _ => out.push(c),
        }
    }
    None
}

/// The page: a heading for each room, and its sentences.
pub fn page(root: &Path) -> String {
    let mut out = String::from(
        "# What can be wrong, by room\n\nEvery sentence of a fault, a warning or a remedy, with its holes as the \
         sources name them. Made by\n`cargo run --example faults > docs/faults.md`; a test holds it against the \
         sources. The German sentences are in\n`assets/faults/de.txt`: a line here, and below it `= ` and the line there.\n",
    );
    for (room, sentences) in found(root).sentences {
        if !sentences.is_empty() {
            out.push_str(&format!("\n## {room}\n\n"));
        }
        for sentence in sentences {
            out.push_str(&format!("- `` {} ``\n", sentence.replace('\n', "\\n")));
        }
    }
    out
}
