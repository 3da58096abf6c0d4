//! What the user answers: every template, gap, hole, relief cut and mark has a letter in the check
//! picture and in the messages, and an answer names it.

use super::gap::Gap;
use crate::fault::{Fault, Faults};
use crate::geometry::Point;

/// An answer to what a letter stands for.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Answer {
    /// It is a hole, or none.
    Hole(String, bool),
    /// What the gap is.
    Gap(String, Gap),
    /// It is nothing: leave it out.
    Not(String),
}

/// What a letter stands for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    /// A template.
    Template,
    /// A narrow gap in the edge: a slit that the outline runs past.
    Slit,
    /// A narrow gap in the edge that the outline runs into.
    Dart,
    /// A hole.
    Hole,
    /// Something like a hole that is taken for none.
    NoHole,
    /// A relief cut.
    Cut,
    /// Another line.
    Mark,
}

impl Kind {
    /// In words.
    pub fn word(self) -> &'static str {
        match self {
            Kind::Template => "template",
            Kind::Slit => "slit",
            Kind::Dart => "dart",
            Kind::Hole => "hole",
            Kind::NoHole => "no hole",
            Kind::Cut => "relief cut",
            Kind::Mark => "mark",
        }
    }
}

/// A letter in the check picture.
#[derive(Clone, Debug, PartialEq)]
pub struct Letter {
    /// a, b, … z, aa, ab …: small, for corners have capitals.
    pub letter: String,
    /// What it stands for.
    pub kind: Kind,
    /// Where it is, mm.
    pub at: Point,
}

impl Answer {
    /// Reads `--hole c=yes`.
    ///
    /// # Errors
    /// What is not understood.
    pub fn hole(text: &str) -> Result<Answer, Fault> {
        match halves(text)? {
            (letter, "yes") => Ok(Answer::Hole(letter, true)),
            (letter, "no") => Ok(Answer::Hole(letter, false)),
            _ => Err(Fault::new(
                said!("\"{text}\" is no answer about a hole"),
                "write --hole c=yes or --hole c=no",
            )),
        }
    }

    /// Reads `--gap b=dart`.
    ///
    /// # Errors
    /// What is not understood.
    pub fn gap(text: &str) -> Result<Answer, Fault> {
        match halves(text)? {
            (letter, "slit") => Ok(Answer::Gap(letter, Gap::Slit)),
            (letter, "dart") => Ok(Answer::Gap(letter, Gap::Dart)),
            _ => Err(Fault::new(
                said!("\"{text}\" is no answer about a gap"),
                "write --gap b=slit or --gap b=dart",
            )),
        }
    }

    /// Reads `--not d`.
    ///
    /// # Errors
    /// What is no letter.
    pub fn not(text: &str) -> Result<Answer, Fault> {
        letter_of(text).map(Answer::Not)
    }

    fn letter(&self) -> &str {
        match self {
            Answer::Hole(l, _) | Answer::Gap(l, _) | Answer::Not(l) => l,
        }
    }
}

fn halves(text: &str) -> Result<(String, &str), Fault> {
    let (letter, answer) = text.split_once('=').ok_or_else(|| {
        Fault::new(
            said!("\"{text}\" names no letter and answer"),
            "write the letter of the check picture, = and the answer: c=yes",
        )
    })?;
    Ok((letter_of(letter)?, answer.trim()))
}

fn letter_of(text: &str) -> Result<String, Fault> {
    let letter = text.trim().to_lowercase();
    if letter.is_empty() || letter.len() > 3 || !letter.bytes().all(|b| b.is_ascii_lowercase()) {
        return Err(Fault::new(
            said!("\"{text}\" is no letter of the check picture"),
            "name one of the small letters in it",
        ));
    }
    Ok(letter)
}

/// Gives letters out and looks answers up.
pub(super) struct Letters<'a> {
    answers: &'a [Answer],
    given: Vec<Letter>,
}

impl<'a> Letters<'a> {
    pub fn new(answers: &'a [Answer]) -> Letters<'a> {
        Letters { answers, given: Vec::new() }
    }

    /// The letter that comes `ahead` letters from now.
    pub fn next(&self, ahead: usize) -> String {
        let mut n = self.given.len() + ahead + 1;
        let mut out = String::new();
        while n > 0 {
            out.insert(0, char::from(b'a' + ((n - 1) % 26) as u8));
            n = (n - 1) / 26;
        }
        out
    }

    pub fn give(&mut self, kind: Kind, at: Point) -> Letter {
        let letter = Letter { letter: self.next(0), kind, at };
        self.given.push(letter.clone());
        letter
    }

    /// What is answered about the gap with a letter.
    pub fn gap(&self, letter: &str) -> Option<Gap> {
        self.answers.iter().rev().find_map(|a| match a {
            Answer::Gap(l, gap) if l == letter => Some(*gap),
            Answer::Not(l) if l == letter => Some(Gap::Slit),
            _ => None,
        })
    }

    /// Whether the thing with a letter is a hole, if that is answered.
    pub fn hole(&self, letter: &str) -> Option<bool> {
        self.answers.iter().rev().find_map(|a| match a {
            Answer::Hole(l, yes) if l == letter => Some(*yes),
            Answer::Not(l) if l == letter => Some(false),
            _ => None,
        })
    }

    /// Whether the thing with a letter is to be left out.
    pub fn is_not(&self, letter: &str) -> bool {
        self.answers.iter().any(|a| matches!(a, Answer::Not(l) if l == letter))
    }

    /// Answers that name no letter of the picture, or something else than what they answer.
    pub fn unanswered(&self) -> Result<(), Faults> {
        let mut faults = Faults::new();
        for answer in self.answers {
            let letter = answer.letter();
            let fits = |l: &&Letter| match answer {
                Answer::Hole(..) => matches!(l.kind, Kind::Hole | Kind::NoHole),
                Answer::Gap(..) => matches!(l.kind, Kind::Slit | Kind::Dart),
                Answer::Not(_) => true,
            };
            match self.given.iter().find(|l| l.letter == letter) {
                None => faults.push(Fault::new(
                    said!("there is no {letter} in the picture"),
                    said!("its letters are a to {}: look at the check picture", self.given.last().map_or("a", |l| &l.letter)),
                )),
                Some(l) if !fits(&l) => faults.push(Fault::new(
                    said!("{letter} is a {}", l.kind.word()),
                    "look at the check picture: --hole answers holes, --gap answers gaps, --not leaves anything out",
                )),
                Some(_) => {}
            }
        }
        faults.into_result(())
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    #[test]
    fn letters_go_on_after_z() {
        let mut letters = Letters::new(&[]);
        let all: Vec<String> =
            (0..28).map(|_| letters.give(Kind::Mark, Point::default()).letter).collect();
        assert_eq!(
            (all[0].as_str(), all[25].as_str(), all[26].as_str(), all[27].as_str()),
            ("a", "z", "aa", "ab")
        );
    }

    #[test]
    fn answers_are_read_and_those_to_nothing_are_said() {
        let answers = [
            Answer::hole("C=yes").unwrap(),
            Answer::gap("b=slit").unwrap(),
            Answer::not("q").unwrap(),
        ];
        let mut letters = Letters::new(&answers);
        assert_eq!(letters.gap("b"), Some(Gap::Slit));
        assert_eq!(letters.hole("c"), Some(true));
        let _ = [Kind::Template, Kind::Hole, Kind::Hole].map(|k| letters.give(k, Point::default()));
        let faults = letters.unanswered().unwrap_err().to_string();
        assert!(faults.contains("b is a hole") && faults.contains("no q"), "{faults}");
        assert!(
            Answer::hole("c").is_err()
                && Answer::gap("b=hole").is_err()
                && Answer::not("1").is_err()
        );
    }
}
