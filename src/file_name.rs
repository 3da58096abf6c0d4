//! Names that become file names: one rule for all of them, the same on every system.

use crate::fault::Fault;
use crate::printable::{is_obeyed, quoted};
use std::collections::BTreeSet;

/// Longest name, bytes: file systems take 255 with an ending.
const LONGEST: usize = 120;

/// Names that some systems keep for devices, with any ending.
const RESERVED: [&str; 22] = [
    "con", "prn", "aux", "nul", "com1", "com2", "com3", "com4", "com5", "com6", "com7", "com8",
    "com9", "lpt1", "lpt2", "lpt3", "lpt4", "lpt5", "lpt6", "lpt7", "lpt8", "lpt9",
];

/// The name if it can name a file in a folder on any system and leads nowhere else.
///
/// # Errors
/// What is wrong with it: a separator, a leading dot or hyphen, a reserved word, signs that some
/// system forbids, too long.
pub fn checked(name: &str) -> Result<&str, Fault> {
    const HOW: &str = "choose a plain word, such as seat";
    let is_forbidden = |c: &char| ":*?\"<>|".contains(*c) || is_obeyed(*c);
    if let Some(sign) = name.chars().find(is_forbidden) {
        let sign = quoted(&sign.to_string());
        let what =
            said!("{} cannot name a file: not every system takes {sign} in it", quoted(name));
        return Err(Fault::new(what, HOW));
    }
    let stem = name.split('.').next().unwrap_or_default().trim().to_lowercase();
    let why = if name.trim().is_empty() {
        "it is empty"
    } else if name.contains(['/', '\\']) {
        "it leads to another folder"
    } else if name.starts_with(['.', '-', ' ']) {
        "it begins with a dot, a hyphen or a blank"
    } else if name.ends_with(['.', ' ']) {
        "it ends in a dot or a blank"
    } else if name.len() > LONGEST {
        "it is too long"
    } else if RESERVED.contains(&stem.as_str()) {
        "some systems keep it for a device"
    } else {
        return Ok(name);
    };
    Err(Fault::new(said!("{} cannot name a file: {why}", quoted(name)), HOW))
}

/// A file name made of any id: ASCII letters, digits and hyphens, at most 40; `stock` if nothing is
/// left of it.
pub fn made_of(id: &str) -> String {
    let mut name = String::new();
    for c in id.chars().take(200) {
        if c.is_ascii_alphanumeric() {
            name.push(c.to_ascii_lowercase());
        } else if !name.is_empty() && !name.ends_with('-') {
            name.push('-');
        }
        if name.len() >= 40 {
            break;
        }
    }
    let name = name.trim_end_matches('-');
    if name.is_empty() { "stock".into() } else { name.into() }
}

/// The id itself where it can name a file, else one made of it.
pub fn of(id: &str) -> String {
    checked(id).map_or_else(|_| format!("{}-", made_of(id)), String::from)
}

/// The same names, each its own wherever capitals are taken for small letters: a later one that is
/// like an earlier one gets a number.
pub fn apart(names: impl IntoIterator<Item = String>) -> Vec<String> {
    let mut taken = BTreeSet::new();
    let mut free = |name: String| {
        let numbered = (2..).map(|k: u32| format!("{name}-{k}"));
        let mut names = std::iter::once(name.clone()).chain(numbered);
        // There is no end to the numbers.
        names.find(|n| taken.insert(n.to_lowercase())).unwrap_or(name)
    };
    names.into_iter().map(&mut free).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The chart of one cloth was written over that of another.
    #[test]
    fn names_that_are_alike_are_told_apart() {
        let names = ["twill-2", "Twill-2", "glass", "twill-2", "twill-2-2"].map(String::from);
        let found = apart(names);
        assert_eq!(found, ["twill-2", "Twill-2-2", "glass", "twill-2-3", "twill-2-2-2"]);
    }

    /// `--name ../../../x` wrote outside of its folder.
    #[test]
    fn a_name_stays_in_its_folder_and_works_on_every_system() {
        let long = "x".repeat(121);
        for bad in [
            "",
            " ",
            "../../../x",
            "a/b",
            "a\\b",
            "/x",
            ".",
            "..",
            ".hidden",
            "-rf",
            " a",
            "a.",
            "a ",
            "c:x",
            "a*",
            "con",
            "NUL",
            "Com1.old",
            "a\nb",
            "\u{1b}[2J",
            "gpj\u{202e}",
            &long,
        ] {
            assert!(checked(bad).is_err(), "{bad:?}");
        }
        for good in ["seat", "Sitz außen", "座席", "hip-plate.2", "console", "com10", "a.b"] {
            assert_eq!(checked(good), Ok(good));
        }
        assert_eq!(
            (of("twill-204"), of("con"), of("a/b")),
            ("twill-204".into(), "con-".into(), "a-b-".into())
        );
    }
}
