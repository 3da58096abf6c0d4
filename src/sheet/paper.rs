//! Paper to print on: sizes by name, the margin a printer leaves, the overlap of neighbouring
//! sheets.

use crate::fault::{Fault, Faults};

/// Names and sizes, mm: ISO 216 for A sizes, ANSI/ASME Y14.1 for the others (8.5 x 11 in, 11 x 17
/// in; from memory).
const KNOWN: [(&str, [f64; 2]); 4] = [
    ("a4", [210.0, 297.0]),
    ("a3", [297.0, 420.0]),
    ("letter", [215.9, 279.4]),
    ("tabloid", [279.4, 431.8]),
];

/// Less room than this between the margins holds no check square of 100 mm and its words.
const LEAST: f64 = 125.0;

/// Strip under the drawing for the words of a sheet, mm.
pub(crate) const FOOT: f64 = 9.0;

/// What a drawing is printed on. Valid by construction: there is room between the margins for more
/// than the overlap.
#[derive(Clone, Debug, PartialEq)]
pub struct Paper {
    /// Its name: `a4`, or its size in mm.
    pub name: String,
    /// Shorter and longer side, mm.
    pub size: [f64; 2],
    /// Margin that the printer leaves white at each side, mm.
    pub margin: f64,
    /// By how much neighbouring sheets overlap, mm.
    pub overlap: f64,
}

impl Paper {
    /// A paper by its name (`a4`, `a3`, `letter`, `tabloid`, any case) or its size in mm
    /// (`300x500`).
    ///
    /// # Errors
    /// An unknown name, a size or margin that leaves too little to print on, an overlap that is no
    /// length or too large: all that is wrong.
    pub fn new(name: &str, margin: f64, overlap: f64) -> Result<Paper, Faults> {
        let mut faults = Faults::new();
        let lower = name.trim().to_lowercase();
        let own = || {
            let (a, b) = lower.split_once(['x', '×'])?;
            let (a, b) = (a.trim().parse::<f64>().ok()?, b.trim().parse::<f64>().ok()?);
            (a.is_finite() && b.is_finite() && a > 0.0 && b > 0.0).then(|| [a.min(b), a.max(b)])
        };
        let size = KNOWN.iter().find(|(known, _)| *known == lower).map(|k| k.1).or_else(own);
        let Some(size) = size else {
            let names = KNOWN.map(|k| k.0).join(", ");
            let what = said!(
                "there is no paper `{}`",
                super::text::shorten(&super::text::clean(name), 40)
            );
            faults.push(Fault::new(
                what,
                said!("give {names}, roll, or a size in mm such as 300x500"),
            ));
            return Err(faults);
        };
        if size[1] > 5000.0 {
            faults.push(Fault::new(
                "paper longer than 5000 mm is not supported",
                "a PDF page can hardly be longer: give a shorter one, or roll",
            ));
        }
        if !(0.0..=100.0).contains(&margin) {
            faults.push(Fault::new(
                "the margin must be from 0 to 100 mm",
                "most printers leave 4 to 6 mm white; 8 is the default",
            ));
        } else if size[0] - 2.0 * margin < LEAST || size[1] - 2.0 * margin - FOOT < LEAST {
            let what = said!(
                "{} × {} mm of paper with {margin} mm of margin leaves too little to print on",
                size[0],
                size[1]
            );
            faults
                .push(Fault::new(what, said!("there must be {LEAST} mm each way between the margins: take larger paper or less margin")));
        }
        if !(0.0..=50.0).contains(&overlap) {
            faults.push(Fault::new(
                "the overlap must be from 0 to 50 mm",
                "10 is the default; 0 puts the sheets edge to edge",
            ));
        }
        faults.into_result(Paper { name: lower, size, margin, overlap })
    }

    /// The whole page, lying or standing, mm.
    pub(crate) fn page(&self, lying: bool) -> [f64; 2] {
        let [short, long] = self.size;
        if lying { [long, short] } else { [short, long] }
    }

    /// Width and height of what is printed of the drawing on one page, mm.
    pub(crate) fn room(&self, lying: bool) -> [f64; 2] {
        let [width, height] = self.page(lying);
        [width - 2.0 * self.margin, height - 2.0 * self.margin - FOOT]
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    #[test]
    fn papers_by_name_and_size() {
        assert_eq!(Paper::new("A4", 8.0, 10.0).unwrap().size, [210.0, 297.0]);
        let letter = Paper::new("Letter", 8.0, 10.0).unwrap().size;
        assert!((letter[0] - 8.5 * 25.4).abs() < 1e-9 && (letter[1] - 11.0 * 25.4).abs() < 1e-9);
        assert_eq!(Paper::new("500x300", 8.0, 0.0).unwrap().size, [300.0, 500.0]);
    }

    #[test]
    fn everything_wrong_is_told() {
        assert_eq!(Paper::new("a4", 50.0, -1.0).unwrap_err().0.len(), 2);
        for name in ["a99", "", "x", "nanx300", "infx10", "-3x5", "100x100", "1e9x1e9"] {
            assert!(Paper::new(name, 8.0, 10.0).is_err(), "{name}");
        }
        assert!(Paper::new("a4", f64::NAN, f64::NAN).is_err());
    }
}
