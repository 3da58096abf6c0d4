//! The workshop's benches with a projector over them: one file, written whole, in which each is kept
//! by its name until something is moved.

use super::folder::write_whole;
use crate::day::Day;
use crate::fault::{Fault, Faults, Said};
use crate::file_name;
use crate::project::Known;
use serde::{Deserialize, Serialize};
use std::path::Path;

/// The file in the workshop's folder.
pub const BENCHES_FILE: &str = "benches.json";
/// The version of the file that is written; files of later ones are left alone.
const VERSION: u32 = 1;
/// The file is not larger.
const LARGEST: u64 = 16 << 20;

/// A picture whose stated error is larger is thrown for cutting only after a yes, mm.
pub const TRUE_WITHIN: f64 = 1.5;

/// How a bench was set up.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum How {
    /// Crosses were dragged onto marks.
    Hand,
    /// By a photo of dots and cards.
    Photo,
}

/// A yes to a picture that is not as true as it should be.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Yes {
    /// The error that was stated, mm.
    pub error: f64,
    /// When.
    pub on: Day,
}

/// The colour of thrown lines.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Colour {
    /// All the lamp gives.
    #[default]
    White,
    /// Seen best on dark cloth.
    Green,
    /// Yellow.
    Yellow,
    /// Light blue.
    Cyan,
    /// Red.
    Red,
}

impl Colour {
    /// All of them.
    pub const ALL: [Colour; 5] =
        [Colour::White, Colour::Green, Colour::Yellow, Colour::Cyan, Colour::Red];

    /// As it is written in the file.
    pub fn name(self) -> &'static str {
        match self {
            Colour::White => "white",
            Colour::Green => "green",
            Colour::Yellow => "yellow",
            Colour::Cyan => "cyan",
            Colour::Red => "red",
        }
    }

    fn light(self) -> [f64; 3] {
        match self {
            Colour::White => [1.0, 1.0, 1.0],
            Colour::Green => [0.2, 1.0, 0.2],
            Colour::Yellow => [1.0, 0.95, 0.1],
            Colour::Cyan => [0.1, 0.95, 1.0],
            Colour::Red => [1.0, 0.15, 0.1],
        }
    }
}

/// How lines are thrown.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Style {
    /// Width of a cut line, pixels.
    pub width: u32,
    /// Their colour.
    pub colour: Colour,
    /// Per cent.
    pub brightness: u32,
}

impl Default for Style {
    fn default() -> Style {
        Style { width: 2, colour: Colour::White, brightness: 100 }
    }
}

impl Style {
    /// The same within what can be seen.
    #[must_use]
    pub fn held(self) -> Style {
        Style { width: self.width.clamp(1, 12), brightness: self.brightness.clamp(10, 100), ..self }
    }

    /// The light as pages write it: `#33ff33`.
    pub fn light(self) -> String {
        let bright = f64::from(self.held().brightness) / 100.0;
        let [r, g, b] = self.colour.light().map(|v| (255.0 * v * bright).round() as u8);
        format!("#{r:02x}{g:02x}{b:02x}")
    }
}

/// A bench with its projector.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Bench {
    /// Its name.
    pub name: String,
    /// When it was set up.
    pub made: Day,
    /// How.
    pub how: How,
    /// What is known of it.
    pub known: Known,
    /// Something was moved: it is not used until it is set up anew.
    #[serde(default)]
    pub moved: bool,
    /// A yes to its error.
    #[serde(default)]
    pub yes: Option<Yes>,
    /// How lines are thrown.
    #[serde(default)]
    pub style: Style,
}

#[derive(Serialize, Deserialize)]
struct Kept {
    version: u32,
    benches: Vec<Bench>,
}

/// The benches of a workshop, by name.
///
/// # Errors
/// The file is not such a one, or of a later version.
pub fn benches(root: &Path) -> Result<Vec<Bench>, Faults> {
    let path = root.join(BENCHES_FILE);
    let trouble = |what: Said| {
        let remedy = "move the file away and set the benches up anew, or use a newer warpwise";
        Faults::from(Fault::new(what, remedy).in_file(&path))
    };
    let about = match std::fs::metadata(&path) {
        Ok(about) => about,
        Err(e) if e.kind() == std::io::ErrorKind::NotFound => return Ok(Vec::new()),
        Err(e) => return Err(trouble(said!("it cannot be read: {e}"))),
    };
    if !about.is_file() || about.len() > LARGEST {
        return Err(trouble("this is not an ordinary file, or too large".into()));
    }
    let text =
        std::fs::read_to_string(&path).map_err(|e| trouble(said!("it cannot be read: {e}")))?;
    #[derive(Deserialize)]
    struct Head {
        version: u32,
    }
    let head: Head = serde_json::from_str(&text)
        .map_err(|e| trouble(said!("this is no file of benches: {e}")))?;
    if head.version > VERSION {
        return Err(trouble(said!("a later warpwise wrote it (version {})", head.version)));
    }
    let kept: Kept = serde_json::from_str(&text)
        .map_err(|e| trouble(said!("this is no file of benches: {e}")))?;
    Ok(kept.benches)
}

/// Keeps a bench under its name; the others stay.
///
/// # Errors
/// Its name is none, the file cannot be understood, or the machine's.
pub fn keep_bench(root: &Path, bench: Bench) -> Result<(), Faults> {
    file_name::checked(&bench.name)?;
    let mut all = benches(root)?;
    match all.iter_mut().find(|b| b.name == bench.name) {
        Some(old) => *old = bench,
        None => all.push(bench),
    }
    all.sort_by(|a, b| a.name.cmp(&b.name));
    let kept = Kept { version: VERSION, benches: all };
    let text = serde_json::to_string(&kept).map_err(|e| {
        Fault::new(said!("the benches cannot be written: {e}"), "set the bench up anew")
    })?;
    write_whole(&root.join(BENCHES_FILE), (text + "\n").as_bytes())
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::project::{Marked, Picture};

    fn bench(name: &str) -> Bench {
        let picture = Picture::new(1920, 1080).unwrap();
        let marked = Marked::new(1600.0, 900.0, 3).unwrap();
        let known = marked.dragged(picture, &marked.crosses(picture, None)).unwrap();
        Bench {
            name: name.into(),
            made: Day::parse("2026-11-25").unwrap(),
            how: How::Hand,
            known,
            moved: false,
            yes: None,
            style: Style::default(),
        }
    }

    #[test]
    fn benches_are_kept_by_name_and_come_back_as_they_were() {
        let home = tempfile::tempdir().unwrap();
        assert!(benches(home.path()).unwrap().is_empty());
        keep_bench(home.path(), bench("window")).unwrap();
        keep_bench(home.path(), bench("door")).unwrap();
        let moved = Bench { moved: true, ..bench("window") };
        keep_bench(home.path(), moved.clone()).unwrap();
        assert_eq!(benches(home.path()).unwrap(), [bench("door"), moved]);
        assert!(keep_bench(home.path(), bench("../x")).is_err());
    }

    #[test]
    fn what_is_no_such_file_is_left_as_it_is() {
        let home = tempfile::tempdir().unwrap();
        let path = home.path().join(BENCHES_FILE);
        for text in ["", "[]", "{\"version\": 2, \"benches\": 7}", "{\"version\": 1}", "\u{0}"] {
            std::fs::write(&path, text).unwrap();
            assert!(benches(home.path()).is_err(), "{text}");
            assert!(keep_bench(home.path(), bench("door")).is_err());
            assert_eq!(std::fs::read_to_string(&path).unwrap(), text);
        }
    }

    #[test]
    fn light_has_its_colour_and_brightness() {
        let style = Style { width: 99, colour: Colour::Green, brightness: 50 };
        assert_eq!((style.held().width, style.light()), (12, "#1a801a".to_string()));
    }
}
