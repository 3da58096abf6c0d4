//! Names in the stock: what they may look like.

use crate::fault::Fault;
use crate::units::quoted;

/// Longest name, in characters.
const LONGEST: usize = 120;

/// What is wrong with a name or a note, if anything: it must fit on a label and in one line.
pub(crate) fn name_fault(what: &str, name: &str) -> Option<Fault> {
    let trouble = if name.trim().is_empty() {
        said!("{what} is empty")
    } else if name.chars().count() > LONGEST {
        said!("{what} {} has more than {LONGEST} characters", quoted(name))
    } else if name.chars().any(char::is_control) {
        said!("{what} {} holds a line end or another control character", quoted(name))
    } else {
        return None;
    };
    Some(Fault::new(trouble, "give a short text in one line"))
}
