//! Lengths, angles, masses and shares as people write them, and the grid every stored length sits
//! on.
//!
//! Inside the crate a length is an `f64` in millimetres, an angle an `f64` in degrees
//! (anticlockwise positive), an areal mass an `f64` in g/m² and a share an `f64` from 0 to 1. The
//! `parse_` functions read what a person types, the `show_` functions write what a person reads.

mod system;

pub use crate::printable::{printable, printable_name, quoted};
pub use system::System;

use crate::fault::Fault;

/// Grid steps in a millimetre: stored coordinates are whole micrometres.
pub const GRID_PER_MM: f64 = 1000.0;

/// The largest coordinate accepted anywhere, mm (100 m).
pub const LARGEST: f64 = 100_000.0;

/// Puts a length in mm on the 1 µm grid; never returns `-0.0`.
pub fn snap(mm: f64) -> f64 {
    (mm * GRID_PER_MM).round() / GRID_PER_MM + 0.0
}

/// The whole micrometres of a length in mm.
pub fn micrometres(mm: f64) -> i64 {
    (mm * GRID_PER_MM).round() as i64
}

/// A count with its noun: `1 piece`, `2 pieces`.
pub fn counted(count: usize, noun: &str) -> String {
    format!("{count} {noun}{}", if count == 1 { "" } else { "s" })
}

/// An angle in degrees brought into `0.0..360.0`.
pub fn degrees_0_360(angle: f64) -> f64 {
    let a = angle.rem_euclid(360.0);
    if a >= 360.0 { 0.0 } else { a + 0.0 }
}

/// An angle in degrees brought into `-90.0 < a <= 90.0`, for directions that have no head (a warp).
pub fn degrees_of_warp(angle: f64) -> f64 {
    let a = angle.rem_euclid(180.0);
    if a > 90.0 { a - 180.0 } else { a + 0.0 }
}

/// Units of length and how many mm one is. Inch and foot are exact by the international yard
/// agreement of 1959.
const LENGTHS: &[(&str, f64)] = &[
    ("mm", 1.0),
    ("cm", 10.0),
    ("m", 1000.0),
    ("in", 25.4),
    ("inch", 25.4),
    ("inches", 25.4),
    ("\"", 25.4),
    ("ft", 304.8),
    ("foot", 304.8),
    ("feet", 304.8),
    ("'", 304.8),
];

/// Units of areal mass and how many g/m² one is; an ounce is 28.349523125 g, a square yard
/// 0.83612736 m².
const AREAL_MASSES: &[(&str, f64)] = &[
    ("g/m²", 1.0),
    ("g/m2", 1.0),
    ("gsm", 1.0),
    ("kg/m²", 1000.0),
    ("kg/m2", 1000.0),
    ("oz/yd²", 28.349_523_125 / 0.836_127_36),
    ("oz/yd2", 28.349_523_125 / 0.836_127_36),
];

/// Reads a length: `1250`, `1.25 m`, `30 cm`, `12 in`, `1 1/2 in`, `1 ft`; a bare number is mm. The
/// answer is in mm and finite.
///
/// # Errors
/// A fault that says what cannot be read and shows the accepted forms.
pub fn parse_length(text: &str) -> Result<f64, Fault> {
    parse_quantity(
        text,
        "length",
        LENGTHS,
        "write mm as a plain number, or a number and a unit: \"30 cm\", \"1.25 m\", \"12 in\", \"1 ft\"",
    )
}

/// Reads an angle in degrees: `45`, `-45°`, `30 deg`. The answer is finite, not brought into any
/// range.
///
/// # Errors
/// A fault that says what cannot be read and shows the accepted forms.
pub fn parse_angle(text: &str) -> Result<f64, Fault> {
    let units = &[("°", 1.0), ("deg", 1.0), ("degrees", 1.0)];
    parse_quantity(text, "angle", units, "write degrees as a plain number: 45, -45")
}

/// Reads an areal mass: `200`, `200 g/m²`, `200 gsm`, `5.7 oz/yd²`; a bare number is g/m². The
/// answer is in g/m² and finite.
///
/// # Errors
/// A fault that says what cannot be read and shows the accepted forms.
pub fn parse_areal_mass(text: &str) -> Result<f64, Fault> {
    parse_quantity(
        text,
        "areal mass",
        AREAL_MASSES,
        "write g/m² as a plain number, or a number and a unit: \"200 g/m²\", \"5.7 oz/yd²\"",
    )
}

/// Reads a share: `0.42` or `42 %`. The answer is finite; a bare number is taken as it stands.
///
/// # Errors
/// A fault that says what cannot be read and shows the accepted forms.
pub fn parse_share(text: &str) -> Result<f64, Fault> {
    parse_quantity(
        text,
        "share",
        &[("%", 0.01)],
        "write a number from 0 to 1, or per cent: 0.42, \"42 %\"",
    )
}

/// A number, then one of the units or none; `forms` is the remedy.
fn parse_quantity(
    text: &str,
    kind: &str,
    units: &[(&str, f64)],
    forms: &'static str,
) -> Result<f64, Fault> {
    let text = text.trim();
    // No unit begins with an e, so it can only be the exponent of a number.
    let end =
        text.find(|c: char| !(c.is_ascii_digit() || " +-.,/_eE".contains(c))).unwrap_or(text.len());
    let (number, unit) = text.split_at(end);
    let unit = unit.trim();
    let factor = match units.iter().find(|(name, _)| *name == unit) {
        Some((_, factor)) => *factor,
        None if unit.is_empty() || number.trim().is_empty() => 1.0,
        None => {
            return Err(Fault::new(said!("{} is not a known unit of {kind}", quoted(unit)), forms));
        }
    };
    match parse_number(number.trim()) {
        Some(value) if (value * factor).is_finite() => Ok(value * factor),
        _ if number.contains(',') => Err(Fault::new(
            said!("{} is not a number", quoted(text)),
            "write a decimal point and no thousands mark, as in 1250.5",
        )),
        _ => Err(Fault::new(said!("{} is no {kind}", quoted(text)), forms)),
    }
}

/// A decimal number, a fraction `3/8`, or a mixed number `1 3/8`.
fn parse_number(text: &str) -> Option<f64> {
    let Some((left, below)) = text.split_once('/') else {
        return plain_number(text);
    };
    let below: u32 = below.trim().parse().ok().filter(|n| *n > 0)?;
    let (whole, above) = match left.trim().split_once(' ') {
        Some((whole, above)) => (whole.trim().parse::<u32>().ok()?, above),
        None => (0, left),
    };
    let above: u32 = above.trim().parse().ok()?;
    Some(f64::from(whole) + f64::from(above) / f64::from(below))
}

/// A decimal number; `nan` and `inf` are words here, not numbers.
fn plain_number(text: &str) -> Option<f64> {
    if text.chars().any(|c| c.is_alphabetic() && c != 'e' && c != 'E') {
        return None;
    }
    text.parse::<f64>().ok().filter(|v| v.is_finite())
}

/// A number with at most `decimals` decimals and no trailing zeros: `1250`, `12.5`.
pub fn show_number(value: f64, decimals: usize) -> String {
    let mut text = String::new();
    write_number(&mut text, value, decimals);
    text
}

/// The same, added to a text.
pub(crate) fn write_number(out: &mut String, value: f64, decimals: usize) {
    if write_whole_steps(out, value, decimals).is_some() {
        return;
    }
    let text = format!("{value:.decimals$}");
    let text =
        if text.contains('.') { text.trim_end_matches('0').trim_end_matches('.') } else { &text };
    out.push_str(if text == "-0" { "0" } else { text });
}

/// The digits by whole numbers, which is many times as quick (a large plan is written with millions
/// of them); `None` where a half step is so near that only exact arithmetic tells which way it goes.
fn write_whole_steps(out: &mut String, value: f64, decimals: usize) -> Option<()> {
    let steps = *[1_i64, 10, 100, 1_000, 10_000].get(decimals)?;
    let scaled = value * steps as f64;
    let near_half = ((scaled - scaled.floor()) - 0.5).abs() < 1e-6;
    if !scaled.is_finite() || scaled.abs() >= 1e9 || near_half {
        return None;
    }
    let whole = scaled.round() as i64;
    if whole < 0 {
        out.push('-');
    }
    let (mut before, mut after) = (whole.abs() / steps, whole.abs() % steps);
    // From the last digit on, noughts at the end left out.
    let mut digits = [0_u8; 24];
    let mut first = digits.len();
    let mut put = |digit: i64| {
        first -= 1;
        digits[first] = digit as u8;
    };
    for _ in 0..decimals {
        put(i64::from(b'0') + after % 10);
        after /= 10;
    }
    if decimals > 0 {
        put(i64::from(b'.'));
    }
    loop {
        put(i64::from(b'0') + before % 10);
        before /= 10;
        if before == 0 {
            break;
        }
    }
    let mut text = &digits[first..];
    if decimals > 0 {
        while let [rest @ .., b'0'] = text {
            text = rest;
        }
        text = text.strip_suffix(b".").unwrap_or(text);
    }
    out.extend(text.iter().map(|&b| char::from(b)));
    Some(())
}

/// A length in mm with its unit: `1250 mm`, `12.5 mm`; at most three decimals.
pub fn show_mm(mm: f64) -> String {
    format!("{} mm", show_number(mm, 3))
}

/// A length in mm, said in metres with two decimals, as cloth is bought: `1.83 m`.
pub fn show_metres(mm: f64) -> String {
    format!("{:.2} m", mm / 1000.0)
}

/// An area in mm², said in square metres with three decimals: `0.846 m²`.
pub fn show_area(mm2: f64) -> String {
    format!("{:.3} m²", mm2 / 1e6)
}

/// A mass in g: `850 g`, from a kilogram up `1.25 kg`.
pub fn show_mass(grams: f64) -> String {
    if grams >= 999.5 { format!("{:.2} kg", grams / 1000.0) } else { format!("{grams:.0} g") }
}

/// An angle in degrees: `45°`, `-22.5°`; at most three decimals.
pub fn show_angle(degrees: f64) -> String {
    format!("{}°", show_number(degrees, 3))
}

/// A share from 0 to 1, said in per cent with one decimal: `84.6 %`.
pub fn show_share(share: f64) -> String {
    format!("{:.1} %", share * 100.0)
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    #[test]
    fn lengths_in_every_unit() {
        // The inch is 25.4 mm and the foot 304.8 mm exactly (international yard and pound
        // agreement, 1959).
        for (text, mm) in [
            ("1250", 1250.0),
            ("1.25 m", 1250.0),
            ("1.25m", 1250.0),
            (" 30 cm ", 300.0),
            ("12 in", 304.8),
            ("12\"", 304.8),
            ("1 ft", 304.8),
            ("1 foot", 304.8),
            ("3/8 in", 9.525),
            ("1 1/2 in", 38.1),
            ("-5", -5.0),
            ("1e3", 1000.0),
            ("1e3 mm", 1000.0),
            (".5 m", 500.0),
        ] {
            assert!((parse_length(text).unwrap() - mm).abs() < 1e-9, "{text}");
        }
    }

    #[test]
    fn what_is_no_length_says_so() {
        for text in [
            "",
            "m",
            "mm 5",
            "five mm",
            "nan",
            "inf",
            "NaN mm",
            "1e999",
            "1.2.3",
            "1/0 in",
            "--5",
            "5 furlongs",
            "1 m 2",
            "1,25 m",
            "e5",
        ] {
            let fault = parse_length(text).unwrap_err();
            assert!(!fault.remedy.is_empty(), "{text}");
        }
        let fault = parse_length("5 furlongs").unwrap_err();
        assert_eq!(fault.what, "`furlongs` is not a known unit of length");
        assert!(parse_length("1,25 m").unwrap_err().remedy.contains("decimal point"));
    }

    #[test]
    fn angles_masses_and_shares() {
        assert_eq!(parse_angle("-45°").unwrap(), -45.0);
        assert_eq!(parse_angle("30 deg").unwrap(), 30.0);
        assert_eq!(parse_areal_mass("200 gsm").unwrap(), 200.0);
        // One ounce a square yard is 33.906 g/m² (from the exact ounce and yard; handbooks print
        // 33.9).
        assert!((parse_areal_mass("1 oz/yd²").unwrap() - 33.905_747).abs() < 1e-5);
        assert!((parse_share("42 %").unwrap() - 0.42).abs() < 1e-12);
        assert_eq!(parse_share("0.42").unwrap(), 0.42);
        assert!(parse_share("42 m").is_err());
    }

    #[test]
    fn a_message_stays_one_short_line() {
        assert_eq!(quoted("a\nb\u{1b}[31m"), "`a\\nb\\u{1b}[31m`");
        assert_eq!(quoted(&"x".repeat(1000)).chars().count(), 63);
    }

    #[test]
    fn what_people_read() {
        assert_eq!(show_mm(1250.0), "1250 mm");
        assert_eq!(show_mm(12.5), "12.5 mm");
        assert_eq!(show_mm(-0.000_1), "0 mm");
        assert_eq!(show_metres(1834.2), "1.83 m");
        assert_eq!(show_area(846_000.0), "0.846 m²");
        assert_eq!(show_mass(999.7), "1.00 kg");
        assert_eq!(show_mass(850.4), "850 g");
        assert_eq!(show_angle(-22.5), "-22.5°");
        assert_eq!(show_share(0.8461), "84.6 %");
    }

    /// The quick way gives the digits that exact arithmetic gives, halves and their neighbours among
    /// them.
    #[test]
    fn numbers_are_shown_as_exact_arithmetic_rounds_them() {
        let exactly = |value: f64, decimals: usize| {
            let text = format!("{value:.decimals$}");
            let short = text.trim_end_matches('0').trim_end_matches('.');
            match if text.contains('.') { short } else { &text } {
                "-0" => "0".to_string(),
                digits => digits.to_string(),
            }
        };
        let mut values = vec![f64::NAN, f64::INFINITY, 1e300, -1e15, 5e-324, 0.0, -0.0];
        for k in -40_000..40_000_i32 {
            let half = f64::from(k) * 0.0005;
            values.extend([half, half + 1234.0, half.next_up(), half.next_down()]);
        }
        let mut x = 0.1_f64;
        for _ in 0..40_000 {
            x = (x * 3.9999).rem_euclid(1.0) * 0.99 + 0.005;
            values.extend([(x - 0.5) * 2e5, (x - 0.5) * 3e7, x * 1e-3]);
        }
        for value in values {
            for decimals in 0..=6 {
                assert_eq!(show_number(value, decimals), exactly(value, decimals), "{value:?}");
            }
        }
    }
}
