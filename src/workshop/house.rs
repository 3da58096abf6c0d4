//! What a workshop says of itself in `workshop.toml`: so far, its units.

use super::folder::write_whole;
use crate::fault::{Fault, Faults, Said};
use crate::units::System;
use std::path::Path;
use toml_edit::{DocumentMut, value};

/// Its file in the workshop's folder.
pub const HOUSE_FILE: &str = "workshop.toml";

const BEGUN: &str = "# What holds for the whole workshop.\n\
                     # \"metric\" (mm, g/m²) or \"inch\" (in, oz/yd²): what the page shows, and\n\
                     # means by a number without a unit. Files of jobs are in mm either way.\n";

/// The units of the workshop in this folder; metric where nothing is said.
///
/// # Errors
/// Its file cannot be read, or says something else.
pub fn units_of(root: &Path) -> Result<System, Faults> {
    let path = root.join(HOUSE_FILE);
    let text = match std::fs::read_to_string(&path) {
        Ok(text) => text,
        Err(e) if e.kind() == std::io::ErrorKind::NotFound => return Ok(System::default()),
        Err(e) => return Err(trouble(&path, said!("it cannot be read: {e}"))),
    };
    let document = parsed(&path, &text)?;
    let Some(said) = document.get("units") else {
        return Ok(System::default());
    };
    System::ALL
        .into_iter()
        .find(|s| said.as_str() == Some(s.name()))
        .ok_or_else(|| trouble(&path, said!("units = {} is none", said.to_string().trim())))
}

/// Sets them; all else in the file stays as it is.
///
/// # Errors
/// The file is no TOML, or the machine's.
pub fn set_units(root: &Path, units: System) -> Result<(), Faults> {
    let path = root.join(HOUSE_FILE);
    let text = match std::fs::read_to_string(&path) {
        Ok(text) => text,
        Err(e) if e.kind() == std::io::ErrorKind::NotFound => BEGUN.to_string(),
        Err(e) => return Err(trouble(&path, said!("it cannot be read: {e}"))),
    };
    let mut document = parsed(&path, &text)?;
    let text = if document.contains_key("units") {
        document["units"] = value(units.name());
        document.to_string()
    } else {
        // Before everything else, or it would land in the last table; after comments that stand
        // alone, for they are about the file.
        let head: usize =
            text.split_inclusive('\n').take_while(|l| l.starts_with('#')).map(str::len).sum();
        let line = format!("units = \"{}\"\n", units.name());
        let gap = if text[..head].is_empty() || text[..head].ends_with('\n') { "" } else { "\n" };
        format!("{}{gap}{line}{}", &text[..head], &text[head..])
    };
    write_whole(&path, text.as_bytes())
}

fn parsed(path: &Path, text: &str) -> Result<DocumentMut, Faults> {
    text.parse::<DocumentMut>().map_err(|e| {
        let line = e.span().map_or(1, |s| text[..s.start.min(text.len())].lines().count().max(1));
        trouble(path, said!("line {line} is not TOML: {}", e.message()))
    })
}

fn trouble(path: &Path, what: Said) -> Faults {
    let remedy = "write units = \"metric\" or units = \"inch\", or take the file away";
    Fault::new(what, remedy).in_file(path).into()
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    #[test]
    fn units_are_kept_and_comments_stay() {
        let home = tempfile::tempdir().unwrap();
        assert_eq!(units_of(home.path()).unwrap(), System::Metric);
        set_units(home.path(), System::Inch).unwrap();
        assert_eq!(units_of(home.path()).unwrap(), System::Inch);
        let path = home.path().join(HOUSE_FILE);
        let text = std::fs::read_to_string(&path).unwrap();
        assert!(text.starts_with("# What holds"), "{text}");
        std::fs::write(&path, format!("# mine\n{text}other = 1\n")).unwrap();
        set_units(home.path(), System::Metric).unwrap();
        let text = std::fs::read_to_string(&path).unwrap();
        assert!(text.starts_with("# mine\n") && text.contains("other = 1"), "{text}");
        assert_eq!(units_of(home.path()).unwrap(), System::Metric);
    }

    #[test]
    fn what_is_no_unit_is_a_fault_and_the_file_stays() {
        let home = tempfile::tempdir().unwrap();
        let path = home.path().join(HOUSE_FILE);
        for (text, said) in [
            ("units = \"cubit\"", "cubit"),
            ("units = 3", "units = 3"),
            ("a = 1\nunits =", "line 2"),
            ("\u{0}", "not TOML"),
        ] {
            std::fs::write(&path, text).unwrap();
            let faults = units_of(home.path()).unwrap_err();
            assert!(faults.to_string().contains(said), "{text}: {faults}");
        }
        assert!(set_units(home.path(), System::Inch).is_err());
        assert_eq!(std::fs::read_to_string(&path).unwrap(), "\u{0}");
    }
}
