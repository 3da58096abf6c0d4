//! The pairs of group code and value that a DXF file is made of, text or binary alike.

use crate::fault::Fault;
use std::borrow::Cow;

/// What the binary form of the format begins with.
const BINARY_SENTINEL: &[u8] = b"AutoCAD Binary DXF\r\n\x1a\0";

/// Where a pair stands in its file.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Spot {
    /// Line of the group code, from 1.
    Line(usize),
    /// Byte of a binary file, from 0.
    Byte(usize),
}

impl Spot {
    /// Puts a fault at this spot.
    pub(super) fn place(self, fault: Fault) -> Fault {
        match self {
            Spot::Line(line) => fault.at_line(line, 1),
            Spot::Byte(_) => fault.on(self.to_string()),
        }
    }
}

impl std::fmt::Display for Spot {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Spot::Line(line) => write!(f, "line {line}"),
            Spot::Byte(byte) => write!(f, "byte {byte}"),
        }
    }
}

/// One pair. Numbers of a binary file are spelt out as text, so that there is one way to read on.
#[derive(Clone, Debug)]
pub(super) struct Tag<'a> {
    /// The group code.
    pub code: i32,
    /// The value as it stands in the file, without the white space around it.
    pub value: Cow<'a, [u8]>,
    /// Where it stands.
    pub spot: Spot,
}

impl Tag<'_> {
    /// True for a structure mark (group code 0) of this name.
    pub(super) fn starts(&self, name: &str) -> bool {
        self.code == 0 && &*self.value == name.as_bytes()
    }
}

/// Reads the pairs of a file one after the other; comments (code 999) are left out. Stops for good
/// after a fault.
pub(super) enum Tags<'a> {
    Text { bytes: &'a [u8], at: usize, line: usize, line_end: u8 },
    Binary { bytes: &'a [u8], at: usize, wide_codes: bool },
}

impl<'a> Tags<'a> {
    /// Looks at the beginning of the file to tell its form.
    ///
    /// # Errors
    /// A file that is empty or plainly something else.
    pub(super) fn new(bytes: &'a [u8]) -> Result<Self, Fault> {
        let save = "save it from the drawing program as DXF";
        if let Some(body) = bytes.strip_prefix(BINARY_SENTINEL) {
            // The first pair is 0 / SECTION. Codes took one byte up to R12 and take two since.
            let wide_codes = body.get(1) == Some(&0);
            return Ok(Tags::Binary { bytes, at: BINARY_SENTINEL.len(), wide_codes });
        }
        if bytes.iter().all(u8::is_ascii_whitespace) {
            return Err(Fault::new("the file is empty", "save the drawing again"));
        }
        if bytes.starts_with(b"AC10") && bytes.contains(&0) {
            return Err(Fault::new("this is a DWG drawing, not DXF", save));
        }
        if bytes.contains(&0) {
            return Err(Fault::new("this is a binary file of another kind, not DXF", save));
        }
        let bytes = bytes.strip_prefix(b"\xef\xbb\xbf").unwrap_or(bytes);
        // Every line end but that of the oldest systems contains a line feed.
        let line_end = if bytes.contains(&b'\n') { b'\n' } else { b'\r' };
        Ok(Tags::Text { bytes, at: 0, line: 0, line_end })
    }

    /// The next pair, or `None` at the end of the file.
    ///
    /// # Errors
    /// What is there is not a pair.
    pub(super) fn next(&mut self) -> Result<Option<Tag<'a>>, Fault> {
        loop {
            let tag = match self {
                Tags::Text { bytes, at, line, line_end } => text_tag(bytes, at, line, *line_end),
                Tags::Binary { bytes, at, wide_codes } => binary_tag(bytes, at, *wide_codes),
            }?;
            match tag {
                Some(tag) if tag.code == 999 => {}
                tag => return Ok(tag),
            }
        }
    }
}

fn cut_short() -> Fault {
    Fault::new(
        "the file is cut short in the middle of a pair",
        "save the drawing again, or fetch the file again",
    )
}

fn text_line<'a>(
    bytes: &'a [u8],
    at: &mut usize,
    line: &mut usize,
    line_end: u8,
) -> Option<&'a [u8]> {
    let rest = bytes.get(*at..).filter(|rest| !rest.is_empty())?;
    let length = rest.iter().position(|&b| b == line_end).unwrap_or(rest.len());
    *at += length + 1;
    *line += 1;
    rest.get(..length)
}

fn text_tag<'a>(
    bytes: &'a [u8],
    at: &mut usize,
    line: &mut usize,
    line_end: u8,
) -> Result<Option<Tag<'a>>, Fault> {
    let Some(code_line) = text_line(bytes, at, line, line_end) else {
        return Ok(None);
    };
    let spot = Spot::Line(*line);
    let code_text = code_line.trim_ascii();
    if code_text.is_empty()
        && bytes.get(*at..).is_none_or(|rest| rest.iter().all(u8::is_ascii_whitespace))
    {
        return Ok(None); // Blank lines after the last pair.
    }
    let Some(code) = std::str::from_utf8(code_text).ok().and_then(|text| text.parse::<i32>().ok())
    else {
        let found: String = String::from_utf8_lossy(code_text)
            .chars()
            .filter(|c| !c.is_control())
            .take(24)
            .collect();
        let what = said!("a group code (a whole number) was expected, found \"{found}\"");
        return Err(spot.place(Fault::new(
            what,
            "the file is damaged or not DXF: save the drawing again as DXF",
        )));
    };
    let value = text_line(bytes, at, line, line_end).ok_or_else(|| spot.place(cut_short()))?;
    Ok(Some(Tag { code, value: Cow::Borrowed(value.trim_ascii()), spot }))
}

fn take<'a>(bytes: &'a [u8], at: &mut usize, count: usize) -> Option<&'a [u8]> {
    let taken = bytes.get(*at..at.checked_add(count)?)?;
    *at += count;
    Some(taken)
}

fn take_array<const N: usize>(bytes: &[u8], at: &mut usize) -> Option<[u8; N]> {
    take(bytes, at, N)?.try_into().ok()
}

fn binary_tag<'a>(
    bytes: &'a [u8],
    at: &mut usize,
    wide_codes: bool,
) -> Result<Option<Tag<'a>>, Fault> {
    if *at >= bytes.len() {
        return Ok(None);
    }
    let spot = Spot::Byte(*at);
    let short = || spot.place(cut_short());
    let code = if wide_codes {
        i32::from(i16::from_le_bytes(take_array(bytes, at).ok_or_else(short)?))
    } else {
        match take_array::<1>(bytes, at).ok_or_else(short)? {
            [255] => i32::from(i16::from_le_bytes(take_array(bytes, at).ok_or_else(short)?)),
            [code] => i32::from(code),
        }
    };
    let Some(value) = binary_value(bytes, at, code, wide_codes) else {
        return Err(short());
    };
    match value {
        Some(value) => Ok(Some(Tag { code, value, spot })),
        None => {
            let what = said!("group code {code} is not one of the format's");
            Err(spot.place(Fault::new(
                what,
                "the file is damaged: save the drawing again, best as text (ASCII) DXF",
            )))
        }
    }
}

/// Outer `None`: the bytes run out; inner `None`: no such group code.
///
/// What type a code's value has: the DXF reference, "Group code value types" (from memory).
fn binary_value<'a>(
    bytes: &'a [u8],
    at: &mut usize,
    code: i32,
    wide_codes: bool,
) -> Option<Option<Cow<'a, [u8]>>> {
    let spelt = |text: String| Some(Some(Cow::Owned(text.into_bytes())));
    match code {
        10..=59 | 110..=149 | 210..=239 | 460..=469 | 1010..=1059 => {
            spelt(f64::from_le_bytes(take_array(bytes, at)?).to_string())
        }
        60..=79 | 170..=179 | 270..=289 | 370..=389 | 400..=409 | 1060..=1070 => {
            spelt(i16::from_le_bytes(take_array(bytes, at)?).to_string())
        }
        90..=99 | 420..=429 | 440..=459 | 1071 => {
            spelt(i32::from_le_bytes(take_array(bytes, at)?).to_string())
        }
        160..=169 => spelt(i64::from_le_bytes(take_array(bytes, at)?).to_string()),
        290..=299 if wide_codes => spelt(u8::from_le_bytes(take_array(bytes, at)?).to_string()),
        290..=299 => spelt(i16::from_le_bytes(take_array(bytes, at)?).to_string()),
        310..=319 | 1004 => {
            let [length] = take_array(bytes, at)?;
            Some(Some(Cow::Borrowed(take(bytes, at, usize::from(length))?)))
        }
        0..=9
        | 100..=102
        | 105
        | 300..=309
        | 320..=369
        | 390..=399
        | 410..=419
        | 430..=439
        | 470..=481
        | 999..=1009 => {
            let rest = bytes.get(*at..)?;
            let text = rest.get(..rest.iter().position(|&b| b == 0)?)?;
            *at += text.len() + 1;
            Some(Some(Cow::Borrowed(text.trim_ascii())))
        }
        _ => Some(None),
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    fn all(bytes: &[u8]) -> Result<Vec<(i32, String)>, Fault> {
        let mut tags = Tags::new(bytes)?;
        let mut out = vec![];
        while let Some(tag) = tags.next()? {
            out.push((tag.code, String::from_utf8_lossy(&tag.value).into_owned()));
        }
        Ok(out)
    }

    #[test]
    fn line_ends_of_every_system_read_alike() {
        let want = vec![
            (0, "SECTION".to_string()),
            (40, "2.5".to_string()),
            (1, String::new()),
            (0, "EOF".to_string()),
        ];
        for end in ["\n", "\r\n", "\r"] {
            let text =
                ["  0", "SECTION", "999", "a remark", " 40", " 2.5 ", "1", "", "0", "EOF", ""]
                    .join(end);
            assert_eq!(all(text.as_bytes()).unwrap(), want, "{end:?}");
        }
    }

    #[test]
    fn both_binary_forms_read_like_the_text() {
        let want = vec![
            (0, "SECTION".to_string()),
            (40, "2.5".to_string()),
            (70, "-1".to_string()),
            (1071, "9".to_string()),
        ];
        let mut wide = BINARY_SENTINEL.to_vec();
        let mut narrow = wide.clone();
        for (code, value) in [
            (0u8, b"SECTION\0".to_vec()),
            (40, 2.5f64.to_le_bytes().to_vec()),
            (70, (-1i16).to_le_bytes().to_vec()),
        ] {
            wide.extend([code, 0]);
            wide.extend(&value);
            narrow.push(code);
            narrow.extend(&value);
        }
        wide.extend([1071u16.to_le_bytes().to_vec(), 9i32.to_le_bytes().to_vec()].concat());
        narrow.extend(
            [vec![255], 1071u16.to_le_bytes().to_vec(), 9i32.to_le_bytes().to_vec()].concat(),
        );
        assert_eq!(all(&wide).unwrap(), want);
        assert_eq!(all(&narrow).unwrap(), want);
        assert!(all(&wide[..wide.len() - 1]).unwrap_err().what.contains("cut short"));
    }

    #[test]
    fn what_is_no_dxf_is_named() {
        assert!(all(b" \r\n").unwrap_err().what.contains("empty"));
        assert!(all(b"AC1032\0\0\0\0").unwrap_err().what.contains("DWG"));
        assert!(all(b"PK\x03\x04\0").unwrap_err().what.contains("binary"));
        let fault = all(b"0\nSECTION\n<svg/>\n2\n").unwrap_err();
        assert_eq!(
            (fault.what.contains("<svg/>"), fault.place),
            (true, crate::fault::Place::Line { line: 3, column: 1 })
        );
    }
}
