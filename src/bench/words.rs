//! The words of the page: one file a language in `assets/bench/`, `key = words` line by line.

use std::collections::BTreeMap;
use std::sync::{Arc, OnceLock};
use warpwise::fault::{Fault, Language, Said};
use warpwise::units::System;

/// Languages there are: code, its own name, its words.
const LANGUAGES: [(&str, &str, &str); 2] = [
    ("en", "English", include_str!("../../assets/bench/en.txt")),
    ("de", "Deutsch", include_str!("../../assets/bench/de.txt")),
];

/// Sentences of the library by language; what has none is English.
const SENTENCES: [(&str, &str); 1] = [("de", include_str!("../../assets/faults/de.txt"))];

/// The words of one language.
#[derive(Clone, Debug)]
pub struct Words {
    /// Its code: `en`.
    pub code: &'static str,
    /// The units that are shown and meant.
    pub units: System,
    words: BTreeMap<&'static str, &'static str>,
    sentences: Arc<Language>,
}

impl Words {
    /// The language of this code; English if there is none.
    pub fn of(code: &str) -> Words {
        let (code, _, text) = LANGUAGES.iter().find(|l| l.0 == code).unwrap_or(&LANGUAGES[0]);
        Words { code, units: System::default(), words: parsed(text), sentences: sentences(code) }
    }

    /// The language that a browser asks for first, of those there are.
    pub fn asked(accept: &str) -> Words {
        let mut wanted =
            accept.split(',').map(|l| l.trim().split(['-', ';']).next().unwrap_or_default());
        Words::of(wanted.find(|code| LANGUAGES.iter().any(|l| l.0 == *code)).unwrap_or("en"))
    }

    /// The same with these units.
    #[must_use]
    pub fn with_units(self, units: System) -> Words {
        Words { units, ..self }
    }

    /// A sentence of the library in this language and these units.
    pub fn said(&self, said: &Said) -> String {
        self.units.said(&said.told(&self.sentences))
    }

    /// The same of a text that was kept without its parts.
    pub fn read(&self, text: &str) -> String {
        self.units.said(&self.sentences.read(text))
    }

    /// The same of parts with dots between them, each by itself.
    pub fn read_parts(&self, text: &str) -> String {
        text.split(" · ").map(|part| self.read(part)).collect::<Vec<_>>().join(" · ")
    }

    /// The same of a fault that was kept in one line.
    pub fn read_line(&self, text: &str) -> String {
        self.units.said(&self.sentences.read_line(text))
    }

    /// A fault in this language; its lengths are still in mm.
    pub fn fault(&self, fault: &Fault) -> Fault {
        fault.told(&self.sentences)
    }

    /// A fault in one line, in this language and these units.
    pub fn line(&self, fault: &Fault) -> String {
        self.units.said(&self.fault(fault).in_one_line())
    }

    /// Codes and names of all languages.
    pub fn languages() -> impl Iterator<Item = (&'static str, &'static str)> {
        LANGUAGES.iter().map(|l| (l.0, l.1))
    }

    /// The words for a key; the key itself if there are none.
    pub fn t<'k>(&self, key: &'k str) -> &'k str {
        self.words.get(key).copied().unwrap_or(key)
    }

    /// The words for a key, if there are any.
    pub fn find(&self, key: &str) -> Option<&'static str> {
        self.words.get(key).copied()
    }

    /// The words for a key with `{}` in them replaced in turn.
    pub fn with(&self, key: &str, values: &[&str]) -> String {
        let mut parts = self.t(key).split("{}");
        let mut out = parts.next().unwrap_or_default().to_string();
        for (part, value) in parts.zip(values.iter().chain(std::iter::repeat(&""))) {
            out.push_str(value);
            out.push_str(part);
        }
        out
    }
}

/// Each language is read once.
fn sentences(code: &str) -> Arc<Language> {
    static READ: OnceLock<BTreeMap<&str, Arc<Language>>> = OnceLock::new();
    let all = READ.get_or_init(|| {
        SENTENCES.iter().map(|(code, text)| (*code, Arc::new(Language::of_file(text)))).collect()
    });
    all.get(code).cloned().unwrap_or_default()
}

fn parsed(text: &'static str) -> BTreeMap<&'static str, &'static str> {
    text.lines()
        .filter_map(|line| line.split_once(" = "))
        .map(|(key, words)| (key.trim(), words.trim()))
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Keys in the code: every `"…"` that follows `.t(` or `.with(`, and every field's label.
    fn used() -> Vec<String> {
        let sources = std::fs::read_dir(concat!(env!("CARGO_MANIFEST_DIR"), "/src/bench"))
            .into_iter()
            .flatten();
        let others =
            sources.filter_map(|e| Some(e.ok()?.path())).filter(|p| !p.ends_with("words.rs"));
        let texts = others.filter_map(|p| std::fs::read_to_string(p).ok());
        let mut keys: Vec<String> = Vec::new();
        for text in texts {
            for call in [".t(\"", ".with(\""] {
                keys.extend(
                    text.split(call)
                        .skip(1)
                        .filter_map(|rest| rest.split('"').next().map(String::from)),
                );
            }
        }
        for section in [
            "",
            "job",
            "cutting",
            "splice",
            "debulk",
            "cure",
            "cloth",
            "cloth.flaw",
            "library",
            "mould",
            "template",
            "strip",
            "patch",
            "layer",
        ] {
            keys.extend(
                crate::bench::fields::fields(section)
                    .iter()
                    .map(|f| format!("{section}.{}", f.key)),
            );
        }
        keys
    }

    #[test]
    fn every_language_has_every_word_and_no_word_too_many() {
        let english = Words::of("en");
        let used = used();
        assert!(used.len() > 100);
        for (code, _) in Words::languages() {
            let words = Words::of(code);
            let missing: Vec<&String> = used.iter().filter(|k| words.find(k).is_none()).collect();
            assert!(missing.is_empty(), "{code}: {missing:?}");
            assert!(
                words.words.keys().eq(english.words.keys()),
                "{code} and English have other keys"
            );
        }
    }

    #[test]
    fn a_browsers_first_language_that_there_is() {
        assert_eq!(Words::asked("fr-CH, de;q=0.9, en;q=0.8").code, "de");
        assert_eq!(Words::asked("").code, "en");
        assert_eq!(Words::of("xx").code, "en");
    }

    #[test]
    fn values_go_where_the_words_want_them() {
        let words = Words {
            code: "en",
            units: System::Metric,
            words: BTreeMap::from([("k", "{} of {} pages")]),
            sentences: Arc::default(),
        };
        assert_eq!(words.with("k", &["2", "5"]), "2 of 5 pages");
        assert_eq!(words.with("k", &["2"]), "2 of  pages");
    }
}
