//! Words on sheets: names made safe to draw, widths that hold in any common sans-serif font, and
//! visible shortening.

pub(crate) use crate::plan::words::angle;
use unicode_width::{UnicodeWidthChar, UnicodeWidthStr};

/// A line's top over its baseline, in ems: capitals, ascenders and ideographs; an accent on a
/// capital may rise 0.15 more.
pub(crate) const ASCENT: f64 = 0.8;

/// How far words reach under their baseline, in ems: digits and capitals hardly, others by their
/// descenders.
pub(crate) fn descent(words: &str) -> f64 {
    if words.chars().all(|c| c.is_ascii_digit() || (c.is_ascii_uppercase() && c != 'Q') || c == '.')
    {
        0.03
    } else {
        0.24
    }
}

/// Advance widths of U+0020 to U+007E in thousandths of an em: DejaVu Sans, the widest of the
/// common sans-serif fonts (read from the font's own table), or Helvetica where that is wider (`@`,
/// from memory).
#[rustfmt::skip]
const REGULAR: [u16; 95] = [
    318, 401, 460, 838, 637, 951, 780, 275, 391, 391, 500, 838, 318, 361, 318, 337, 637, 637, 637, 637, 637, 637, 637, 637, 637, 637, 337, 337,
    838, 838, 838, 531, 1015, 685, 687, 699, 771, 632, 576, 775, 752, 295, 295, 656, 558, 863, 749, 788, 604, 788, 695, 635, 611, 732, 685, 989,
    686, 611, 686, 391, 337, 391, 838, 556, 500, 613, 635, 550, 635, 616, 353, 635, 634, 278, 278, 580, 278, 975, 634, 612, 635, 635, 412, 521,
    393, 634, 592, 818, 592, 592, 525, 637, 337, 637, 838,
];

/// The same for the bold cut.
#[rustfmt::skip]
const BOLD: [u16; 95] = [
    349, 457, 521, 838, 696, 1002, 873, 307, 458, 458, 523, 838, 380, 416, 380, 366, 696, 696, 696, 696, 696, 696, 696, 696, 696, 696, 400, 400,
    838, 838, 838, 611, 1000, 774, 763, 734, 831, 684, 684, 821, 837, 373, 373, 775, 638, 996, 837, 851, 733, 851, 771, 721, 683, 813, 774, 1104,
    771, 725, 726, 458, 366, 458, 838, 556, 500, 675, 716, 593, 716, 679, 436, 716, 712, 343, 343, 666, 343, 1042, 712, 688, 716, 716, 494, 596,
    479, 712, 652, 924, 646, 652, 583, 712, 366, 712, 838,
];

/// Room for kerning, hinting and fonts a little wider still.
const SAFETY: f64 = 1.03;

/// The most width that `text` takes in a common sans-serif font of the given size (same unit as the
/// answer).
///
/// Never too small for DejaVu Sans and narrower fonts; 10-20 % too large for Helvetica and its kin.
pub fn text_width(text: &str, size: f64, bold: bool) -> f64 {
    let table = if bold { &BOLD } else { &REGULAR };
    let ems: f64 = text
        .chars()
        .map(|c| match (c as usize).checked_sub(0x20).and_then(|i| table.get(i)) {
            Some(&thousandths) => f64::from(thousandths) / 1000.0,
            None => other_advance(c, bold),
        })
        .sum();
    ems * size * SAFETY
}

/// Advance of a character outside ASCII, ems.
fn other_advance(c: char, bold: bool) -> f64 {
    match c {
        '°' | '–' | '·' => 0.5,
        '…' => 1.0,
        '\u{fdf0}'..='\u{fdff}' => 4.0, // whole phrases drawn as one glyph
        _ if c.width() == Some(0) => 0.0,
        _ if c.width() == Some(2) => 1.3, // ideographs take 1 em, colour emoji up to 1.25
        _ => 1.1 * if bold { 1.15 } else { 1.0 },
    }
}

/// A name made safe for a line of text: white space of any kind becomes a blank; control
/// characters, which XML forbids, and the marks that turn the reading direction of what follows
/// become `\u{fffd}`, so that they are seen and do no harm.
pub(crate) fn clean(name: &str) -> String {
    name.chars()
        .map(|c| match c {
            c if c.is_whitespace() => ' ',
            '\u{200e}'
            | '\u{200f}'
            | '\u{202a}'..='\u{202e}'
            | '\u{2066}'..='\u{2069}'
            | '\u{61c}' => '\u{fffd}',
            '\u{fffe}' | '\u{ffff}' => '\u{fffd}',
            c if c.is_control() => '\u{fffd}',
            c => c,
        })
        .collect()
}

/// The text in at most `columns` of a terminal, its middle replaced by `…` if it is longer: the
/// ends of names tell them apart.
pub(crate) fn shorten(text: &str, columns: usize) -> String {
    if text.width() <= columns {
        return text.to_string();
    }
    let room = columns.saturating_sub(1);
    let (head, tail) = (room.div_ceil(2), room / 2);
    let take = |chars: &mut dyn Iterator<Item = char>, room: usize| -> Vec<char> {
        let mut used = 0;
        chars
            .take_while(|c| {
                used += c.width().unwrap_or(0);
                used <= room
            })
            .collect()
    };
    let front: String = take(&mut text.chars(), head).into_iter().collect();
    let back: String = take(&mut text.chars().rev(), tail).into_iter().rev().collect();
    format!("{front}…{back}")
}

/// The text shortened until it is at most `width` wide at the given size.
pub(crate) fn fit(text: &str, width: f64, size: f64, bold: bool) -> String {
    let mut columns = text.width();
    let mut out = text.to_string();
    while columns > 1 && text_width(&out, size, bold) > width {
        columns -= 1 + columns / 40;
        out = shorten(text, columns);
    }
    out
}

/// A number with at most `places` decimals, trailing noughts dropped, never `-0`.
pub(crate) use crate::units::{show_number as decimals, write_number};

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_long_name_keeps_both_ends() {
        assert_eq!(shorten("hip-plate-left", 20), "hip-plate-left");
        assert_eq!(shorten("hip-plate-left", 9), "hip-…left");
        assert_eq!(shorten("座席座席座席", 7).width(), 5); // a wide character is never halved
        assert_eq!(shorten("abc", 0), "…");
    }

    #[test]
    fn what_xml_forbids_and_what_turns_the_reading_direction_is_replaced_visibly() {
        assert_eq!(clean("a\u{0}b\tc\u{202e}d\u{ffff}"), "a\u{fffd}b c\u{fffd}d\u{fffd}");
        assert_eq!(clean("מושב 座席 🛶 <&\"'>"), "מושב 座席 🛶 <&\"'>");
    }

    #[test]
    fn numbers_are_short() {
        assert_eq!(decimals(12.500, 3), "12.5");
        assert_eq!(decimals(-0.0004, 3), "0");
        assert_eq!(decimals(100.0, 0), "100");
        assert_eq!(angle(45.0), "+45°");
        assert_eq!(angle(-22.5), "-22.5°");
        assert_eq!(angle(-0.01), "0°");
    }

    #[test]
    fn fitted_text_fits() {
        let long = "W".repeat(300);
        let short = fit(&long, 50.0, 4.0, true);
        assert!(short.contains('…') && text_width(&short, 4.0, true) <= 50.0);
        // Helvetica sets a digit at 0.556 em (from memory): the estimate must be above it.
        assert!(text_width("0123456789", 1.0, false) > 5.56);
    }
}
