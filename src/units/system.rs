//! The units that people of a workshop read and type: millimetres and grams, or inches and ounces.
//! Files and all reckoning stay in mm and g; this is the one place where they are turned over.

use super::{
    parse_areal_mass, parse_length, quoted, show_area, show_mass, show_metres, show_mm,
    show_number, snap,
};
use crate::fault::Fault;
use serde::{Deserialize, Serialize};

const INCH: f64 = 25.4;
const FOOT: f64 = 304.8;
/// g, by the pound of 0.45359237 kg (international yard and pound agreement, 1959).
const OUNCE: f64 = 28.349_523_125;
/// g/m² that an ounce a square yard is.
const OUNCE_PER_YARD: f64 = OUNCE / 0.836_127_36;

/// Which units are shown, and meant where a number bears none.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum System {
    /// mm, m, m², g, g/m².
    #[default]
    Metric,
    /// in, ft, ft², oz, oz/yd².
    Inch,
}

impl System {
    /// All of them.
    pub const ALL: [System; 2] = [System::Metric, System::Inch];

    /// Its name in the workshop's file.
    pub fn name(self) -> &'static str {
        match self {
            System::Metric => "metric",
            System::Inch => "inch",
        }
    }

    /// The unit of a length that is typed without one.
    pub fn length_unit(self) -> &'static str {
        match self {
            System::Metric => "mm",
            System::Inch => "in",
        }
    }

    /// How many mm that unit is.
    pub fn length_unit_mm(self) -> f64 {
        match self {
            System::Metric => 1.0,
            System::Inch => INCH,
        }
    }

    /// The unit of long lengths, and how many mm it is.
    pub fn long_unit(self) -> (&'static str, f64) {
        match self {
            System::Metric => ("m", 1000.0),
            System::Inch => ("ft", FOOT),
        }
    }

    /// The unit of an areal mass that is typed without one.
    pub fn areal_mass_unit(self) -> &'static str {
        match self {
            System::Metric => "g/m²",
            System::Inch => "oz/yd²",
        }
    }

    /// A length in mm: `12.5 mm`, `0.492 in`.
    pub fn length(self, mm: f64) -> String {
        match self {
            System::Metric => show_mm(mm),
            System::Inch => format!("{} in", show_number(mm / INCH, 3)),
        }
    }

    /// The thickness of a laminate, mm: `0.45 mm`, `0.018 in`.
    pub fn thickness(self, mm: f64) -> String {
        match self {
            System::Metric => format!("{} mm", show_number(mm, 2)),
            System::Inch => format!("{:.3} in", mm / INCH),
        }
    }

    /// The same as near as one measures a thing: to the tenth of a millimetre or the hundredth of an inch.
    pub fn size(self, mm: f64) -> String {
        match self {
            System::Metric => format!("{} mm", show_number(mm, 1)),
            System::Inch => format!("{} in", show_number(mm / INCH, 2)),
        }
    }

    /// A length of cloth in mm: `1.83 m`, `6.00 ft`.
    pub fn long(self, mm: f64) -> String {
        match self {
            System::Metric => show_metres(mm),
            System::Inch => format!("{:.2} ft", mm / FOOT),
        }
    }

    /// An area in mm².
    pub fn area(self, mm2: f64) -> String {
        match self {
            System::Metric => show_area(mm2),
            System::Inch => format!("{:.2} ft²", mm2 / (FOOT * FOOT)),
        }
    }

    /// A mass in g; from a pound up in pounds.
    pub fn mass(self, grams: f64) -> String {
        let ounces = grams / OUNCE;
        match self {
            System::Metric => show_mass(grams),
            System::Inch if ounces >= 15.995 => format!("{:.2} lb", ounces / 16.0),
            System::Inch => format!("{ounces:.2} oz"),
        }
    }

    /// A length as it stands in a file, for a field to type in. What is no length stays as it is.
    pub fn length_in_field(self, written: &str) -> String {
        match (self, parse_length(written)) {
            (System::Inch, Ok(mm)) => format!("{} in", show_number(mm / INCH, 4)),
            _ => written.to_string(),
        }
    }

    /// An areal mass as it stands in a file, for a field to type in.
    pub fn areal_mass_in_field(self, written: &str) -> String {
        match (self, parse_areal_mass(written)) {
            (System::Inch, Ok(mass)) => {
                format!("{} oz/yd²", show_number(mass / OUNCE_PER_YARD, 3))
            }
            _ => written.to_string(),
        }
    }

    /// A length that was typed, with its unit if it is not in mm; a decimal comma is taken.
    pub fn typed_length(self, typed: &str) -> String {
        self.with_unit(typed, self.length_unit())
    }

    /// An areal mass that was typed, with its unit if it is not in g/m².
    pub fn typed_areal_mass(self, typed: &str) -> String {
        self.with_unit(typed, self.areal_mass_unit())
    }

    /// A sentence with its lengths in these units. What stands in quotes is in a file or is to be
    /// written there, and stays.
    pub fn said(self, text: &str) -> String {
        if self == System::Metric {
            return text.to_string();
        }
        let mut out = String::with_capacity(text.len());
        let (mut rest, mut quote, mut before) = (text, None, ' ');
        while let Some(c) = rest.chars().next() {
            if quote.is_none()
                && c.is_ascii_digit()
                && !(before.is_alphanumeric() || before == '.')
                && let Some((said, after)) = in_feet_and_inches(rest)
            {
                out.push_str(&said);
                (rest, before) = (after, ' ');
                continue;
            }
            match quote {
                Some(q) if q == c => quote = None,
                None if matches!(c, '`' | '"') => quote = Some(c),
                _ => {}
            }
            out.push(c);
            (rest, before) = (&rest[c.len_utf8()..], c);
        }
        out
    }

    fn with_unit(self, typed: &str, unit: &str) -> String {
        let typed = typed.trim().replace(',', ".");
        let bare =
            !typed.is_empty() && typed.chars().all(|c| c.is_ascii_digit() || " +-./".contains(c));
        if bare && self != System::Metric { format!("{typed} {unit}") } else { typed }
    }

    /// Reads a length that was typed, mm.
    ///
    /// # Errors
    /// It is none.
    pub fn parse_length(self, typed: &str) -> Result<f64, Fault> {
        parse_length(&self.typed_length(typed))
    }

    /// Reads the length or width of a thing that was typed, mm.
    ///
    /// # Errors
    /// It is no length above 0.
    pub fn parse_size(self, typed: &str) -> Result<f64, Fault> {
        let mm = self.parse_length(typed)?;
        if snap(mm) > 0.0 {
            return Ok(mm);
        }
        let what = said!("{} is no size of a thing", quoted(typed.trim()));
        Err(Fault::new(what, "give a length above 0"))
    }
}

/// One or several numbers at the head of a text and their common unit of length or area, turned
/// over; and what follows.
fn in_feet_and_inches(text: &str) -> Option<(String, &str)> {
    const BETWEEN: [&str; 8] = [" x ", " × ", " to ", " by ", " and ", " or ", "..", ", "];
    const UNITS: [(&str, &str, f64, usize); 3] = [
        ("mm", "in", INCH, 3),
        ("m²", "ft²", 1e-6 * FOOT * FOOT, 2),
        ("m", "ft", FOOT / 1000.0, 2),
    ];
    let mut numbers: Vec<(f64, &str)> = Vec::new();
    let mut rest = text;
    loop {
        let dots = rest.find("..").unwrap_or(rest.len());
        let end = rest[..dots].find(|c: char| !(c.is_ascii_digit() || c == '.'));
        let end = end.unwrap_or(dots);
        let number: f64 = rest[..end].parse().ok()?;
        rest = &rest[end..];
        // One number may bear the unit of all that stand before it.
        let unit = rest.trim_start_matches(')');
        let closing = &rest[..rest.len() - unit.len()];
        let unit = unit.strip_prefix(' ').unwrap_or(unit);
        let found = UNITS.iter().find_map(|u| {
            let after = unit.strip_prefix(u.0)?;
            let ends = !after.starts_with(|c: char| c.is_alphanumeric() || "²³/".contains(c));
            ends.then_some((u, after))
        });
        if let Some((&(_, name, one, decimals), after)) = found {
            numbers.push((number, closing));
            let said: String = numbers
                .iter()
                .map(|(n, between)| format!("{}{between}", show_number(n / one, decimals)))
                .collect();
            return Some((format!("{said} {name}"), after));
        }
        let between = BETWEEN.iter().find(|b| rest.starts_with(**b))?;
        numbers.push((number, between));
        rest = &rest[between.len()..];
        if !rest.starts_with(|c: char| c.is_ascii_digit()) {
            return None;
        }
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    #[test]
    fn what_is_shown_is_what_was_meant() {
        let (metric, inch) = (System::Metric, System::Inch);
        assert_eq!((metric.length(12.5), inch.length(12.7)), ("12.5 mm".into(), "0.5 in".into()));
        assert_eq!((metric.long(1830.0), inch.long(1828.8)), ("1.83 m".into(), "6.00 ft".into()));
        // A square yard is nine square feet.
        assert_eq!(inch.area(836_127.36), "9.00 ft²");
        assert_eq!((inch.mass(453.592_37), inch.mass(100.0)), ("1.00 lb".into(), "3.53 oz".into()));
        assert_eq!(inch.size(1250.0), "49.21 in");
        assert_eq!(inch.length_in_field("1250"), "49.2126 in");
        assert_eq!(inch.length_in_field("49 1/4 in"), "49.25 in");
        assert_eq!(inch.length_in_field("wide"), "wide");
        assert_eq!(metric.length_in_field("1.25 m"), "1.25 m");
        // 5.9 oz/yd² is the cloth that is sold as 200 g/m².
        assert_eq!(inch.areal_mass_in_field("200"), "5.899 oz/yd²");
    }

    #[test]
    fn a_sentence_has_its_lengths_in_the_workshops_units_but_for_what_a_file_says() {
        for (text, said) in [
            ("it is 254 mm wide", "it is 10 in wide"),
            ("120.65 x 80 mm turned 90°", "4.75 x 3.15 in turned 90°"),
            ("corner (25.4, 50.8) mm: too near", "corner (1, 2) in: too near"),
            ("from 0 to 254 mm, 2 pieces", "from 0 to 10 in, 2 pieces"),
            ("at least 3.048 m of roll, 0.092903 m²", "at least 10 ft of roll, 1 ft²"),
            ("write `gap = 25.4 mm` or \"1.25 m\"", "write `gap = 25.4 mm` or \"1.25 m\""),
            ("200 g/m², 3 mm² and 5 men; v1.2 m", "200 g/m², 3 mm² and 5 men; v1.2 m"),
        ] {
            assert_eq!(System::Inch.said(text), said);
            assert_eq!(System::Metric.said(text), text);
        }
    }

    #[test]
    fn what_is_typed_without_a_unit_is_in_the_workshops() {
        let (metric, inch) = (System::Metric, System::Inch);
        for (typed, mm) in [("12", 304.8), ("1 1/2", 38.1), ("0,5", 12.7), ("30 mm", 30.0)] {
            assert!((inch.parse_length(typed).unwrap() - mm).abs() < 1e-9, "{typed}");
        }
        assert!((metric.parse_length("12,5").unwrap() - 12.5).abs() < 1e-9);
        assert!((metric.parse_length("1 ft").unwrap() - 304.8).abs() < 1e-9);
        assert_eq!(inch.typed_areal_mass("5,9"), "5.9 oz/yd²");
        assert!((parse_areal_mass(&inch.typed_areal_mass("5.9")).unwrap() - 200.0).abs() < 0.1);
        for nonsense in ["", "wide", "-", "/", "1/0"] {
            assert!(inch.parse_length(nonsense).is_err(), "{nonsense}");
        }
    }

    /// Four decimals of an inch are 2.54 µm: half of that is lost at most.
    #[test]
    fn a_field_that_is_left_as_it_is_changes_nothing_to_speak_of() {
        for mm in [0.5, 25.0, 1250.0, 9000.0] {
            let shown = System::Inch.length_in_field(&mm.to_string());
            assert!((System::Inch.parse_length(&shown).unwrap() - mm).abs() < 0.0013, "{shown}");
        }
    }
}
