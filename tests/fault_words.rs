//! Every sentence that the page can say has a German one, with the same holes, and none too many.
#![allow(clippy::unwrap_used)]

#[path = "../examples/faults.rs"]
mod faults;

use std::path::Path;
use warpwise::fault::{Language, holes};

const GERMAN: &str = include_str!("../assets/faults/de.txt");

/// Rooms that only the command line hears of, and those whose words are print: sheets are English.
const ENGLISH: [&str; 2] = ["cli", "sheet"];

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

#[test]
fn every_sentence_of_a_page_has_a_german_one_with_the_same_holes() {
    let (found, german) = (faults::found(root()), Language::of_file(GERMAN));
    let shown = found.sentences.iter().filter(|(room, _)| !ENGLISH.contains(&room.as_str()));
    let sentences: Vec<&String> = shown.flat_map(|(_, s)| s).collect();
    assert!(sentences.len() > 900, "{}", sentences.len());
    let missing: Vec<&&String> =
        sentences.iter().filter(|s| german.of(s).is_none() && !says_nothing(s)).collect();
    assert!(missing.is_empty(), "{} without a German line:\n{missing:#?}", missing.len());
    let other: Vec<_> = german.pairs().filter(|(e, g)| holes(e) != holes(g)).collect();
    assert!(other.is_empty(), "other holes: {other:#?}");
}

/// Nothing but holes and signs between them.
fn says_nothing(template: &str) -> bool {
    let bare: String = template.split('{').map(|p| p.split('}').next_back().unwrap()).collect();
    !bare.contains(char::is_alphabetic)
}

#[test]
fn no_german_sentence_is_left_over_and_none_is_there_twice() {
    let found = faults::found(root());
    let german = Language::of_file(GERMAN);
    // `counted` makes "1 line" and "2 lines" of a noun.
    let is_counted = |e: &str| {
        let noun = e.strip_prefix("1 ").or(e.strip_prefix("{} ").and_then(|n| n.strip_suffix('s')));
        noun.is_some_and(|noun| found.all.contains(noun))
    };
    // The help of the page is what the format of a job says of its keys.
    let help = warpwise::job::schema_json() + &warpwise::job::library_schema_json();
    let is_help = |e: &str| help.contains(&serde_json::to_string(e).unwrap());
    let is_old = |e: &str| !found.all.contains(e) && !is_counted(e) && !is_help(e);
    let old: Vec<_> = german.pairs().filter(|(e, _)| is_old(e)).collect();
    assert!(old.is_empty(), "no source says them: {old:#?}");
    let lines: Vec<&str> = GERMAN.lines().filter(|l| !l.starts_with("= ")).collect();
    assert_eq!(lines.len() * 2, GERMAN.lines().count(), "a line, then its German one");
    assert_eq!(lines.len(), german.pairs().count(), "a sentence is there twice");
}

#[test]
fn the_list_of_sentences_is_current() {
    let kept = std::fs::read_to_string(root().join("docs/faults.md")).unwrap();
    assert!(kept == faults::page(root()), "cargo run --example faults > docs/faults.md");
}

#[test]
fn the_reader_of_sources_knows_what_a_sentence_is() {
    let folder = tempfile::tempdir().unwrap();
    std::fs::create_dir(folder.path().join("src")).unwrap();
    let source = r##"
fn a<'a>(c: char) { // Fault::new("not this", "x y")
    let what = said!("one \
        line of {x:.1}", y, "not that one");
    Fault::new(if c == '"' { said!("two \"words\"") } else { "three words".into() }, "four \u{b0}C now");
    let key = format!("no {sentence}");
    let remedy = "five words here";
    bag(r#"raw "text" of none"#);
}
#[cfg(test)]
mod tests { fn t() { said!("of a test"); } }
"##;
    std::fs::write(folder.path().join("src/job.rs"), source).unwrap();
    let found = faults::found(folder.path());
    let said: Vec<&str> = found.sentences["job"].iter().map(String::as_str).collect();
    assert_eq!(
        said,
        ["five words here", "four °C now", "one line of {x:.1}", "three words", "two \"words\""]
    );
    assert!(found.all.contains("raw \"text\" of none") && found.all.contains("no {sentence}"));
}
