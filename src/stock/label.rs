//! What the square code on a label says: of which ledger it is, and which roll or offcut.

use crate::fault::Fault;
use crate::units::quoted;

/// How the text of a code begins; another text than this one follows would need another number.
const HEAD: &str = "WARPWISE1 ";

/// So much of a ledger's name stands in a code: enough to tell two workshops apart.
const SHORT: usize = 8;

/// Stands for the ledger of stock that is in none.
const NO_LEDGER: &str = "-";

/// Longest text that is looked at.
const LONGEST: usize = 500;

fn short(ledger: Option<&str>) -> String {
    let letters = ledger.unwrap_or(NO_LEDGER).chars().filter(|c| !c.is_whitespace());
    letters.take(SHORT).collect()
}

/// The text of the code on a label.
pub fn label_text(ledger: Option<&str>, id: &str) -> String {
    format!("{HEAD}{} {id}", short(ledger))
}

/// The name of the roll or offcut that the code on a label says, in this ledger.
///
/// # Errors
/// It is no label of a workshop, is damaged, or is of another ledger.
pub fn read_label(text: &str, ledger: Option<&str>) -> Result<String, Fault> {
    let text = text.trim();
    if text.chars().count() > LONGEST || !text.starts_with(HEAD) {
        let start: String = text.chars().filter(|c| !c.is_control()).take(40).collect();
        let what = if text.starts_with("WARPWISE") {
            "this label was printed by a version that writes labels in another way".into()
        } else {
            said!("this code is no label of rolls or offcuts; it says {}", quoted(&start))
        };
        return Err(Fault::new(what, "hold the label of a roll or offcut before the camera"));
    }
    let rest = text.trim_start_matches(HEAD);
    let (of, id) = rest.split_once(' ').unwrap_or((rest, ""));
    if of.is_empty() || super::name_fault("its name", id).is_some() {
        let what = "this label is damaged: it does not say which roll or offcut it is";
        return Err(Fault::new(what, "type the name that stands on it, and print it again"));
    }
    if of != short(ledger) {
        let what = said!("this label is of {} in another ledger", quoted(id));
        let remedy = "look in the workshop that printed it; if the ledger was begun anew, print \
                      its labels again";
        return Err(Fault::new(what, remedy));
    }
    Ok(id.to_string())
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    #[test]
    fn a_label_leads_back_to_its_thing_in_its_own_ledger_only() {
        let here = Some("3f9c2a1b77aa");
        for id in ["off-17", "roll-2", "Rest, großes Stück 3"] {
            assert_eq!(read_label(&label_text(here, id), here).unwrap(), id);
            let other = read_label(&label_text(Some("77777777"), id), here).unwrap_err();
            assert!(other.what.contains("another ledger"), "{other}");
        }
        assert_eq!(read_label(&label_text(None, "off-1"), None).unwrap(), "off-1");
        assert!(read_label(&label_text(None, "off-1"), here).is_err());
    }

    #[test]
    fn foreign_and_damaged_codes_are_told_apart() {
        let said = |text: &str| read_label(text, Some("3f9c2a1b")).unwrap_err().what;
        for foreign in ["", "https://example.org/off-17", "off-17", &"9".repeat(5000), "\u{0}\n"] {
            assert!(said(foreign).contains("is no label"), "{foreign}");
        }
        for damaged in ["WARPWISE1 3f9c2a1b", "WARPWISE1 3f9c2a1b \u{7}", "WARPWISE1  off-17"] {
            assert!(said(damaged).contains("damaged"), "{damaged}");
        }
        assert!(said("WARPWISE2 3f9c2a1b off-17").contains("another way"));
    }
}
