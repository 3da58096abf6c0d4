//! A sentence that knows what it was made from, so that a page can say it in another language.
//!
//! The template is the code of the sentence. What was put into its holes is had back from the text
//! and from where the text was written in one go; where that could be read in two ways, nothing is
//! had back, and the sentence stays English.

use std::cell::Cell;
use std::cmp::Ordering;
use std::collections::BTreeMap;
use std::fmt;
use std::ops::{Deref, Range};

/// A sentence with its parts. To compare, print and search it, it is its English text.
#[derive(Clone)]
pub struct Said(Box<Inner>);

#[derive(Clone, Default)]
struct Inner {
    template: &'static str,
    text: String,
    /// Where each piece that was written in one go ends, byte offsets.
    ends: Vec<usize>,
    /// Parts that are sentences themselves, and where they begin.
    inner: Vec<(usize, Said)>,
}

/// Makes a [`Said`] from what `format!` takes.
#[macro_export]
macro_rules! said {
    ($template:literal $($rest:tt)*) => {
        $crate::fault::Said::made($template, format_args!($template $($rest)*))
    };
}

thread_local! {
    /// The sentence that is being written into whatever it is written into: so one that becomes a
    /// part of another is known there.
    static LAST: Cell<Option<Said>> = const { Cell::new(None) };
}

/// Text written down with where each piece of it ended.
impl fmt::Write for Inner {
    fn write_str(&mut self, piece: &str) -> fmt::Result {
        if let Some(said) = LAST.take().filter(|said| said.as_str() == piece) {
            self.inner.push((self.text.len(), said));
        }
        self.text.push_str(piece);
        self.ends.push(self.text.len());
        Ok(())
    }
}

impl Said {
    /// For [`said!`]: the template and what is to be written after it.
    #[doc(hidden)]
    pub fn made(template: &'static str, text: fmt::Arguments<'_>) -> Said {
        let mut inner = Inner { template, ..Inner::default() };
        LAST.set(None);
        // A `Display` that fails leaves what it wrote, as much as there is.
        let _ = fmt::Write::write_fmt(&mut inner, text);
        Said(Box::new(inner))
    }

    /// Words that come from elsewhere (a library, the system, a file) and stay as they came.
    pub fn came(text: impl Into<String>) -> Said {
        Said(Box::new(Inner { text: text.into(), ..Inner::default() }))
    }

    /// Several in one, with the same words between any two.
    pub fn listed(list: &[Said], between: &'static str) -> Said {
        let mut inner = Inner::default();
        for (i, said) in list.iter().enumerate() {
            if i > 0 {
                inner.text.push_str(between);
            }
            inner.inner.push((inner.text.len(), said.clone()));
            inner.text.push_str(said);
        }
        Said(Box::new(inner))
    }

    /// The English text.
    pub fn as_str(&self) -> &str {
        &self.0.text
    }

    /// What it was made from; empty for words that came from elsewhere.
    pub fn template(&self) -> &'static str {
        self.0.template
    }

    /// The sentence in another language, given the template there for one in English; English where
    /// there is none or where the parts are not had back without doubt.
    pub fn told(&self, language: &Language) -> String {
        match self.translated(language) {
            Some(told) => told,
            None if self.0.template.is_empty() => self.part_told(0..self.0.text.len(), language),
            None => self.0.text.clone(),
        }
    }

    /// A part of the text, with the sentences in it in the other language.
    fn part_told(&self, range: Range<usize>, language: &Language) -> String {
        let (mut out, mut at) = (String::new(), range.start);
        for (start, said) in &self.0.inner {
            if *start >= at && start + said.len() <= range.end {
                out.push_str(&self.0.text[at..*start]);
                out.push_str(&said.told(language));
                at = start + said.len();
            }
        }
        out + &self.0.text[at..range.end]
    }

    fn translated(&self, language: &Language) -> Option<String> {
        let theirs = language.of(self.0.template)?;
        let values = self.values()?;
        let value = |hole: &str| {
            let value = values.iter().find(|v| v.0 == hole)?;
            Some(self.part_told(value.1.clone(), language))
        };
        language.filled(theirs, value, &|part| Some(language.read(part)))
    }

    /// What fills each hole; none if the text could be taken apart in two ways.
    fn values(&self) -> Option<Vec<(String, Range<usize>)>> {
        let (parts, text) = (parts(self.0.template), self.0.text.as_str());
        // The compiler writes a literal argument together with the words beside it.
        values(&parts, text, Some(&self.0.ends)).or_else(|| values(&parts, text, None))
    }
}

/// Sentences of one language by their English templates.
#[derive(Clone, Debug, Default)]
pub struct Language(BTreeMap<String, Sentence>);

#[derive(Clone, Debug)]
struct Sentence {
    english: Vec<Part>,
    theirs: &'static str,
    letters: usize,
    /// Its words are enough to know a text by that was made from it.
    is_telling: bool,
    /// It makes `3 pieces`, so that `front pieces` is a name.
    is_count: bool,
}

impl Language {
    /// Of a file in which a line with a template is followed by `= ` and what it is there. A hole
    /// `{name!}` is filled with what its text is in that language, if it is a sentence itself.
    pub fn of_file(text: &'static str) -> Language {
        let lines: Vec<&str> = text.lines().collect();
        let pairs = lines.windows(2).filter_map(|two| {
            let theirs = two[1].strip_prefix("= ")?;
            let english = parts(two[0]);
            let letters = |part: &Part| match part {
                Part::Words(words) => words.chars().filter(|c| c.is_alphabetic()).count(),
                Part::Hole(_) => 0,
            };
            let letters = english.iter().map(letters).sum::<usize>();
            // Holes that take sentences alone tell as much as letters do.
            let strict = theirs.matches("!}").count();
            let is_word = |p: &Part| matches!(p, Part::Words(w) if !w.trim().contains(' '));
            let is_count = matches!(&english[..], [Part::Hole(_), word, ..] if is_word(word))
                && english.len() < 4
                && strict == 0
                && letters > 2;
            let is_telling = is_count || strict > 1 || letters >= LETTERS;
            Some((two[0].to_string(), Sentence { english, theirs, letters, is_telling, is_count }))
        });
        Language(pairs.collect())
    }

    /// The template here for one in English.
    pub fn of(&self, template: &str) -> Option<&'static str> {
        self.0.get(template).map(|s| s.theirs)
    }

    /// All pairs: English, and what it is here.
    pub fn pairs(&self) -> impl Iterator<Item = (&str, &'static str)> {
        self.0.iter().map(|(english, sentence)| (english.as_str(), sentence.theirs))
    }

    /// A text that was kept without its template, in this language; none if no template could have
    /// made it, or several alike.
    fn found(&self, text: &str) -> Option<String> {
        // `it is text` is also put as `each is text`, and `Price of it.` as `price of it`.
        let of = |text: &str| self.0.get(text).map(|s| s.theirs);
        if let Some(theirs) = of(text).or_else(|| of(&format!("it {text}"))) {
            return Some(theirs.to_string());
        }
        if text.parse::<f64>().is_ok() {
            return Some(text.to_string());
        }
        let mut letters = text.chars();
        let first = letters.next()?.to_uppercase();
        if let Some(theirs) = of(&format!("{first}{}.", letters.as_str())) {
            return Some(theirs.trim_end_matches('.').to_string());
        }
        let told = |sentence: &Sentence| {
            let values = values(&sentence.english, text, None)?;
            let number = |c: char| c.is_ascii_digit() || ", ".contains(c);
            if sentence.is_count && !text[values[0].1.clone()].chars().all(number) {
                return None;
            }
            let value = |hole: &str| {
                let (_, range) = values.iter().find(|v| v.0 == hole)?;
                Some(text[range.clone()].to_string())
            };
            self.filled(sentence.theirs, value, &|part| self.found(part))
        };
        // Of several the one that has most words of its own; of equals none, if they differ.
        let all = self.0.values().filter(|s| s.is_telling);
        let all: Vec<(usize, String)> = all.filter_map(|s| Some((s.letters, told(s)?))).collect();
        let most = all.iter().map(|found| found.0).max().unwrap_or_default();
        let mut best = all.into_iter().filter(|found| found.0 == most);
        match best.next() {
            Some((_, told)) => best.all(|other| other.1 == told).then_some(told),
            // `Layer 2: Debulk 1 is not ticked` is two.
            None => text
                .split_once(": ")
                .and_then(|(a, b)| Some(format!("{}: {}", self.found(a)?, self.found(b)?))),
        }
    }

    /// A text that was kept without its template, in this language; as it is if no template or
    /// several could have made it.
    pub fn read(&self, text: &str) -> String {
        self.found(text).unwrap_or_else(|| text.to_string())
    }

    /// The same of a fault that was kept in one line: place, what is wrong, remedy.
    pub fn read_line(&self, text: &str) -> String {
        let ends: Vec<usize> = text.match_indices(": ").map(|(at, _)| at).collect();
        let mut all = Vec::new();
        for end in &ends {
            let Some(remedy) = self.found(&text[end + 2..]) else { continue };
            for from in std::iter::once(0).chain(ends.iter().map(|at| at + 2)) {
                let what = text.get(from..*end).and_then(|what| self.found(what));
                let place = text[..from].strip_suffix(": ").map(|place| self.place(place) + ": ");
                all.extend(what.map(|w| format!("{}{w}: {remedy}", place.unwrap_or_default())));
            }
        }
        if all.len() == 1 { all.remove(0) } else { self.read(text) }
    }

    /// Where a fault is: a name that somebody gave stays, and holds no blank or stands in a hole.
    pub fn place(&self, place: &str) -> String {
        if place.contains(' ') { self.read(place) } else { place.to_string() }
    }

    /// A template of this language with its holes filled; none if one of them is not known.
    fn filled(
        &self,
        template: &str,
        value: impl Fn(&str) -> Option<String>,
        read: &dyn Fn(&str) -> Option<String>,
    ) -> Option<String> {
        let text = |part: Part| match part {
            Part::Words(words) => Some(words),
            Part::Hole(name) => match name.strip_suffix('!') {
                Some(name) => value(name).and_then(|v| read(&v)),
                None => value(&name),
            },
        };
        parts(template).into_iter().map(text).collect()
    }
}

/// So many letters tell a template from others when it is sought by a text.
const LETTERS: usize = 4;

/// A template in parts.
#[derive(Clone, Debug, PartialEq)]
enum Part {
    Words(String),
    Hole(String),
}

/// Words and holes; holes without a name are numbered from 0. Holes that touch are one, since
/// nothing tells where the first ends: its name is all of theirs, as `a}{b`.
fn parts(template: &str) -> Vec<Part> {
    let mut out: Vec<Part> = Vec::new();
    let mut words = String::new();
    let mut rest = template.chars().peekable();
    let mut count = 0;
    let mut last_hole = false;
    while let Some(c) = rest.next() {
        if (c == '{' || c == '}') && rest.peek() == Some(&c) {
            rest.next();
        } else if c == '{' {
            let hole: String = rest.by_ref().take_while(|c| *c != '}').collect();
            let mut name = hole.split(':').next().unwrap_or_default().trim().to_string();
            if name.is_empty() || name == "!" {
                name.insert_str(0, &count.to_string());
                count += 1;
            }
            match out.last_mut() {
                Some(Part::Hole(before)) if last_hole && words.is_empty() => {
                    before.push_str("}{");
                    before.push_str(&name);
                }
                _ => {
                    if !words.is_empty() {
                        out.push(Part::Words(std::mem::take(&mut words)));
                    }
                    out.push(Part::Hole(name));
                }
            }
            last_hole = true;
            continue;
        }
        words.push(c);
        last_hole = false;
    }
    if !words.is_empty() {
        out.push(Part::Words(words));
    }
    out
}

/// The holes of a template by name, sorted: what a translation of it must have too.
pub fn holes(template: &str) -> Vec<String> {
    let hole = |part| match part {
        Part::Hole(name) => Some(name.replace('!', "")),
        Part::Words(_) => None,
    };
    let mut out: Vec<String> = parts(template).into_iter().filter_map(hole).collect();
    out.sort();
    out
}

/// What fills the holes of a template in a text that was made from it: the words between them are
/// sought from the front and from the back, and stand where they were written in one go (`ends`),
/// if that is known. Two answers are none.
fn values(
    parts: &[Part],
    text: &str,
    ends: Option<&[usize]>,
) -> Option<Vec<(String, Range<usize>)>> {
    let is_missing = |part: &Part| matches!(part, Part::Words(w) if !text.contains(w.as_str()));
    if parts.iter().any(is_missing) {
        return None;
    }
    let is_edge = |at: usize| ends.is_none_or(|e| at == 0 || e.binary_search(&at).is_ok());
    let whole = |range: &Range<usize>| {
        is_edge(range.start)
            && is_edge(range.end)
            && ends.is_none_or(|e| !e.iter().any(|at| *at > range.start && *at < range.end))
    };
    let places = |words: &str| -> Vec<Range<usize>> {
        let all = (0..=text.len()).filter(|at| text.is_char_boundary(*at));
        all.filter(|at| text[*at..].starts_with(words))
            .map(|at| at..at + words.len())
            .filter(whole)
            .collect()
    };
    let words: Vec<Option<Vec<Range<usize>>>> = parts
        .iter()
        .enumerate()
        .map(|(i, part)| match part {
            Part::Hole(_) => None,
            Part::Words(words) => Some(
                places(words)
                    .into_iter()
                    .filter(|r| i > 0 || r.start == 0)
                    .filter(|r| i + 1 < parts.len() || r.end == text.len())
                    .collect(),
            ),
        })
        .collect();
    let mut from = 0;
    let mut first: Vec<Range<usize>> = Vec::new();
    for places in words.iter().flatten() {
        let place = places.iter().find(|r| r.start >= from)?;
        from = place.end;
        first.push(place.clone());
    }
    let mut to = text.len();
    let mut last: Vec<Range<usize>> = Vec::new();
    for places in words.iter().flatten().rev() {
        let place = places.iter().rfind(|r| r.end <= to)?;
        to = place.start;
        last.push(place.clone());
    }
    last.reverse();
    if first != last || (parts.iter().all(|p| matches!(p, Part::Words(_))) && from != text.len()) {
        return None;
    }
    let mut at = 0;
    let mut next = first.into_iter();
    let mut out = Vec::new();
    let mut open: Option<String> = None;
    for part in parts {
        match part {
            Part::Hole(name) => open = Some(name.clone()),
            Part::Words(_) => {
                let place = next.next()?;
                if let Some(name) = open.take() {
                    out.push((name, at..place.start));
                }
                at = place.end;
            }
        }
    }
    if let Some(name) = open {
        out.push((name, at..text.len()));
    }
    Some(out)
}

impl From<&'static str> for Said {
    fn from(text: &'static str) -> Said {
        Said(Box::new(Inner { template: text, text: text.to_string(), ..Inner::default() }))
    }
}

impl From<&Said> for Said {
    fn from(said: &Said) -> Said {
        said.clone()
    }
}

impl Default for Said {
    fn default() -> Said {
        Said::from("")
    }
}

impl Deref for Said {
    type Target = str;
    fn deref(&self) -> &str {
        &self.0.text
    }
}

impl fmt::Display for Said {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        LAST.set(Some(self.clone()));
        f.pad(self.as_str())
    }
}

impl fmt::Debug for Said {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        fmt::Debug::fmt(self.as_str(), f)
    }
}

impl PartialEq for Said {
    fn eq(&self, other: &Said) -> bool {
        self.as_str() == other.as_str()
    }
}

impl Eq for Said {}

impl PartialEq<str> for Said {
    fn eq(&self, other: &str) -> bool {
        self.as_str() == other
    }
}

impl PartialEq<&str> for Said {
    fn eq(&self, other: &&str) -> bool {
        self.as_str() == *other
    }
}

impl PartialOrd for Said {
    fn partial_cmp(&self, other: &Said) -> Option<Ordering> {
        Some(self.cmp(other))
    }
}

impl Ord for Said {
    fn cmp(&self, other: &Said) -> Ordering {
        self.as_str().cmp(other.as_str())
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    const GERMAN: &str = "\
`{name}` is {} of {}
= {1} hat {0} und `{name}`
{what}, and {why}
= {why} und {what}
too narrow
= zu schmal
the roll is {how}
= die Rolle ist {how!}
{a}{b} left
= übrig: {a}{b}
write {{{}}}
= {{{}}} schreiben
";

    fn german() -> Language {
        Language::of_file(GERMAN)
    }

    #[test]
    fn holes_go_where_the_other_language_wants_them() {
        let name = "seat";
        let said = said!("`{name}` is {} of {}", 3, "hull");
        assert_eq!(said, "`seat` is 3 of hull");
        assert_eq!(said.told(&german()), "hull hat 3 und `seat`");
        assert_eq!(said.told(&Language::default()), "`seat` is 3 of hull");
        assert_eq!(said!("write {{{}}}", 5).told(&german()), "{5} schreiben");
        let (a, b) = ("1", "");
        assert_eq!(said!("{a}{b} left").told(&german()), "übrig: 1");
        assert_eq!(Said::from("too narrow").told(&german()), "zu schmal");
        assert_eq!(Said::came("no such file").told(&german()), "no such file");
    }

    /// Names hold the words that stand between the holes: each piece was written in one go, so the
    /// holes are still known; where they are not, the sentence is English and never a wrong one.
    #[test]
    fn what_was_put_in_is_had_back_though_it_holds_the_words_of_the_sentence() {
        let evil = "a` is b of c";
        let of = "of";
        let said = said!("`{evil}` is {} of {}", evil, of);
        assert_eq!(said.template(), "`{evil}` is {} of {}");
        let values = said.values().unwrap();
        let texts: Vec<&str> = values.iter().map(|v| &said.as_str()[v.1.clone()]).collect();
        assert_eq!(texts, [evil, evil, "of"]);
        for text in [", and ", "x, and y", ""] {
            let (what, why) = (text, "too narrow");
            let told = said!("{what}, and {why}").told(&german());
            let english = format!("{what}, and {why}");
            assert!(told == format!("too narrow und {text}") || told == english, "{told}");
        }
        let (what, why) = (", and ", ", and ");
        assert_eq!(said!("{what}, and {why}").told(&german()), ", and , and , and ");
    }

    #[test]
    fn a_sentence_in_a_sentence_is_told_too() {
        let name = "a";
        let (what, why) = (said!("`{name}` is {} of {}", 1, 2), Said::from("too narrow"));
        let whole = said!("{what}, and {why}");
        assert_eq!(whole, "`a` is 1 of 2, and too narrow");
        assert_eq!(whole.told(&german()), "zu schmal und 2 hat 1 und `a`");
        let both = Said::listed(&[why.clone(), what], "; ");
        assert_eq!(both, "too narrow; `a` is 1 of 2");
        assert_eq!(both.told(&german()), "zu schmal; 2 hat 1 und `a`");
        let text = why.to_string();
        assert_eq!(said!("the roll is {}", text), "the roll is too narrow", "no sentence any more");
    }

    #[test]
    fn a_text_that_was_kept_is_read_back_if_only_one_template_made_it() {
        let german = german();
        assert_eq!(german.read("the roll is too narrow"), "die Rolle ist zu schmal");
        assert_eq!(german.read("the roll is Trim"), "the roll is Trim");
        assert_eq!(german.read("another text"), "another text");
        assert_eq!(
            german.read_line("ply 1: the roll is too narrow: too narrow"),
            "ply 1: die Rolle ist zu schmal: zu schmal"
        );
        assert_eq!(german.read_line("ply 1: nothing known"), "ply 1: nothing known");
    }
}
