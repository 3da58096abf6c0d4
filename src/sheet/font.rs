//! The font of printed pages: DejaVu Sans, embedded, so that a page looks the same on every
//! machine.

use ttf_parser::{Face, GlyphId};

/// The regular and the bold cut; licence in `assets/LICENSE-DejaVu.txt`.
const FILES: [&[u8]; 2] = [
    include_bytes!("../../assets/DejaVuSans.ttf"),
    include_bytes!("../../assets/DejaVuSans-Bold.ttf"),
];

/// Drawn for a character that the font has not.
const MISSING: char = '\u{fffd}';

/// One cut of the font.
pub(crate) struct Font {
    /// The file.
    pub data: &'static [u8],
    /// Its tables.
    pub face: Face<'static>,
}

impl Font {
    /// The regular or the bold cut. The files are part of the program and whole, so there always is
    /// one.
    pub(crate) fn new(bold: bool) -> Option<Font> {
        let data = FILES[usize::from(bold)];
        Some(Font { data, face: Face::parse(data, 0).ok()? })
    }

    /// The glyphs of a line of text with the characters they stand for; a character the font has
    /// not is seen as the replacement sign.
    pub(crate) fn glyphs(&self, words: &str) -> Vec<(GlyphId, char)> {
        let glyph = |c: char| self.face.glyph_index(c).filter(|g| g.0 != 0);
        words
            .chars()
            .filter_map(|c| {
                glyph(c).map(|g| (g, c)).or_else(|| glyph(MISSING).map(|g| (g, MISSING)))
            })
            .collect()
    }

    /// How far a glyph moves the pen, ems.
    pub(crate) fn advance(&self, glyph: GlyphId) -> f64 {
        f64::from(self.face.glyph_hor_advance(glyph).unwrap_or(0))
            / f64::from(self.face.units_per_em())
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::sheet::text::text_width;

    #[test]
    fn no_character_vanishes() {
        for bold in [false, true] {
            let font = Font::new(bold).unwrap();
            let seen: String = font.glyphs("Aé°·座מ🛶\u{301}").iter().map(|g| g.1).collect();
            assert_eq!(seen, "Aé°·\u{fffd}\u{fffd}\u{fffd}\u{fffd}");
        }
    }

    #[test]
    fn words_are_not_wider_than_the_sheets_reckon_with() {
        for bold in [false, true] {
            let font = Font::new(bold).unwrap();
            for words in
                ["hip-plate-left · layer 3 · +45°", "WWWWMMMM@@", "座席 🛶", "Größe – ½ … €"]
            {
                let width: f64 = font.glyphs(words).iter().map(|g| font.advance(g.0)).sum();
                assert!(width <= text_width(words, 1.0, bold), "{words}");
            }
        }
    }
}
