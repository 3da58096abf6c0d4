//! The header variables that matter: the unit of length and how text is encoded.

use super::super::{ReadOptions, Unit};
use super::tags::Tag;
use crate::fault::Fault;
use encoding_rs::{Encoding, UTF_8, WINDOWS_1252};

/// The header variables that matter.
#[derive(Debug, Default)]
pub(super) struct Header {
    insunits: Option<String>,
    version: String,
    code_page: Option<&'static Encoding>,
}

impl Header {
    /// Takes in one value of a variable.
    pub(super) fn set(&mut self, variable: &[u8], tag: &Tag<'_>) {
        let text = || String::from_utf8_lossy(&tag.value).trim().to_string();
        match (variable, tag.code) {
            (b"$INSUNITS", 70) => self.insunits = Some(text()),
            (b"$ACADVER", 1) => self.version = text().to_ascii_uppercase(),
            (b"$DWGCODEPAGE", 3) => self.code_page = code_page(&text()),
            _ => {}
        }
    }

    /// How long one drawing unit is, mm.
    ///
    /// # Errors
    /// Neither the options nor the drawing say, or the drawing's unit is none that templates are
    /// drawn in.
    pub(super) fn millimetres_per_unit(&self, options: &ReadOptions) -> Result<f64, Fault> {
        let unit = options.unit.or(match self.insunits.as_deref() {
            // DXF reference, $INSUNITS.
            Some("1") => Some(Unit::Inch),
            Some("2") => Some(Unit::Foot),
            Some("4") => Some(Unit::Millimetre),
            Some("5") => Some(Unit::Centimetre),
            Some("6") => Some(Unit::Metre),
            _ => None,
        });
        unit.map(Unit::millimetres).ok_or_else(|| {
            let what = match self.insunits.as_deref() {
                None | Some("0" | "") => "the drawing does not say in which unit it is drawn ($INSUNITS)".into(),
                Some(other) => {
                    let other: String = other.chars().filter(|c| !c.is_control()).take(12).collect();
                    said!("the drawing's unit ($INSUNITS is {other}) is not mm, cm, m, inch or foot")
                }
            };
            Fault::new(what, "state the unit in the job, in the template of this file: unit = \"mm\" (or \"cm\", \"m\", \"in\", \"ft\")")
        })
    }

    /// Text of the file as a string: UTF-8 since the 2007 release, a code page before, `\U+XXXX`
    /// for what that lacks.
    pub(super) fn decode(&self, bytes: &[u8]) -> String {
        let utf8 = self.version.as_str() >= "AC1021"
            || self.code_page.is_none() && std::str::from_utf8(bytes).is_ok();
        let encoding = if utf8 { UTF_8 } else { self.code_page.unwrap_or(WINDOWS_1252) };
        let text = encoding.decode_without_bom_handling(bytes).0;
        unescape(&text)
    }
}

/// `ANSI_1252` and its like; `None` for one that is not known.
fn code_page(name: &str) -> Option<&'static Encoding> {
    let number: String = name.chars().skip_while(|c| !c.is_ascii_digit()).collect();
    let label = match number.as_str() {
        "932" => "shift_jis".into(),
        "936" => "gbk".into(),
        "949" => "euc-kr".into(),
        "950" => "big5".into(),
        other => format!("windows-{other}"),
    };
    Encoding::for_label(label.as_bytes())
}

fn unescape(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    let mut parts = text.split("\\U+");
    out.extend(parts.next());
    for part in parts {
        let code = part
            .get(..4)
            .and_then(|digits| u32::from_str_radix(digits, 16).ok())
            .and_then(char::from_u32);
        match (code, part.get(4..)) {
            (Some(c), Some(rest)) => {
                out.push(c);
                out.push_str(rest);
            }
            _ => {
                out.push_str("\\U+");
                out.push_str(part);
            }
        }
    }
    out
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::outline::dxf::tags::Spot;

    fn header(variables: &[(&str, i32, &str)]) -> Header {
        let mut header = Header::default();
        for &(name, code, value) in variables {
            header.set(
                name.as_bytes(),
                &Tag { code, value: value.as_bytes().into(), spot: Spot::Line(1) },
            );
        }
        header
    }

    #[test]
    fn units_of_the_reference() {
        // DXF reference, $INSUNITS: 1 in, 2 ft, 4 mm, 5 cm, 6 m.
        for (code, mm) in [("1", 25.4), ("2", 304.8), ("4", 1.0), ("5", 10.0), ("6", 1000.0)] {
            assert_eq!(
                header(&[("$INSUNITS", 70, code)])
                    .millimetres_per_unit(&ReadOptions::default())
                    .unwrap(),
                mm
            );
        }
    }

    #[test]
    fn no_unit_is_a_fault_that_shows_how_to_state_it() {
        for variables in [&[][..], &[("$INSUNITS", 70, "0")], &[("$INSUNITS", 70, "13")]] {
            let fault =
                header(variables).millimetres_per_unit(&ReadOptions::default()).unwrap_err();
            assert!(fault.remedy.contains("unit = \"mm\""));
        }
    }

    #[test]
    fn the_job_overrules_the_drawing() {
        let options = ReadOptions { unit: Some(Unit::Centimetre), ..ReadOptions::default() };
        assert_eq!(header(&[("$INSUNITS", 70, "1")]).millimetres_per_unit(&options).unwrap(), 10.0);
    }

    #[test]
    fn text_by_code_page_by_utf8_and_by_escape() {
        let old = |page| header(&[("$ACADVER", 1, "AC1015"), ("$DWGCODEPAGE", 3, page)]);
        assert_eq!(old("ANSI_1252").decode(b"H\xfcfte"), "Hüfte");
        assert_eq!(old("ANSI_1251").decode(b"\xe1\xee\xf0\xf2"), "борт");
        assert_eq!(old("ANSI_932").decode(b"\x94\xc2"), "板");
        assert_eq!(old("ANSI_1252").decode(b"\\U+677F 1"), "板 1");
        assert_eq!(header(&[("$ACADVER", 1, "AC1024")]).decode("Hüfte".as_bytes()), "Hüfte");
        assert_eq!(header(&[]).decode("Hüfte".as_bytes()), "Hüfte");
        assert_eq!(header(&[]).decode(b"H\xfcfte"), "Hüfte");
        assert_eq!(header(&[]).decode(b"a\\U+00\xc3"), "a\\U+00Ã");
    }
}
