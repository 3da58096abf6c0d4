//! JSON is held to a number of values before it is read: a list of empty lists is three letters
//! apiece in the file, and eight times as much in memory.

use crate::fault::Fault;

/// So many values are read of any file.
const MOST_VALUES: usize = 12_000_000;
/// A larger file may hold so many values for each of its bytes: the demo's plan holds 0.147.
const MOST_A_BYTE: f64 = 0.18;

/// The fault of a text that holds more values than its size gives reason for.
///
/// # Errors
/// That fault, with the remedy given.
pub fn holds_no_more_than_is_read(text: &str, remedy: &'static str) -> Result<(), Fault> {
    let most = MOST_VALUES.max((text.len() as f64 * MOST_A_BYTE) as usize);
    // Each value follows one of these.
    let values = text.bytes().filter(|b| matches!(b, b',' | b'[' | b'{')).count();
    if values <= most {
        return Ok(());
    }
    let what = said!("the file holds {values} values, and of its size at most {most} are read");
    Err(Fault::new(what, remedy))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lists_of_nothing_are_refused_before_they_are_read() {
        let nothing = format!("[{}[]]", "[],".repeat(MOST_VALUES / 2));
        assert!(holds_no_more_than_is_read(&nothing, "").is_err());
        // As dense as points are written.
        let points = format!("[{}[0.0, 0.0]]", "[12.5, 7.25], ".repeat(MOST_VALUES / 4));
        assert_eq!(holds_no_more_than_is_read(&points, ""), Ok(()));
    }
}
