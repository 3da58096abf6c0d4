//! Text out of files and from people, made harmless to a terminal.

/// True of a character that a terminal obeys or that changes the order in which others are read: it
/// is shown, never printed.
pub(crate) fn is_obeyed(c: char) -> bool {
    c.is_control()
        || matches!(c, '\u{61c}' | '\u{200e}' | '\u{200f}' | '\u{2028}'..='\u{202e}' | '\u{2066}'..='\u{2069}')
}

fn shown(text: &str, kept: &[char]) -> String {
    let mut out = String::with_capacity(text.len());
    for c in text.chars() {
        // As JSON writes them, so that JSON stays JSON.
        if is_obeyed(c) && !kept.contains(&c) {
            out.push_str(&format!("\\u{:04x}", u32::from(c)))
        } else {
            out.push(c)
        }
    }
    out
}

/// Lines of text as a terminal may be given them: whatever it would obey, and marks that turn the
/// reading direction, are shown as escapes (`\u001b`).
pub fn printable(text: &str) -> String {
    shown(text, &['\n', '\t'])
}

/// A name out of a file or of a file: the same, and a line end is shown too.
pub fn printable_name(text: &str) -> String {
    shown(text, &[])
}

/// A user's text in backquotes, with control characters shown and a long text cut, so that a
/// message stays one short line.
pub fn quoted(text: &str) -> String {
    const LONGEST: usize = 60;
    let mut out = String::from("`");
    for (i, c) in text.chars().enumerate() {
        if i == LONGEST {
            out.push('…');
            break;
        }
        if is_obeyed(c) { out.extend(c.escape_default()) } else { out.push(c) }
    }
    out.push('`');
    out
}
