//! The clean copy: of each entity the pairs that matter, every number checked.

use super::tags::{Spot, Tag};
use crate::fault::{Fault, Said};
use std::fmt::Write as _;

/// No number in an entity may be larger.
const LARGEST_NUMBER: f64 = 1e12;

/// The codes of a kind of entity that matter.
pub(super) struct Codes {
    /// Those with a real number, besides a point, a height and the extrusion direction.
    reals: &'static [i32],
    /// Those with a small whole number.
    whole: &'static [i32],
    /// Those it cannot do without.
    required: &'static [i32],
}

const POINT_Z_NORMAL: [i32; 6] = [10, 20, 30, 210, 220, 230];

/// The codes of a kind of entity that can become a line, or belongs to one; `None` for any other
/// kind.
pub(super) fn codes(kind: &str) -> Option<Codes> {
    let (reals, whole, required): (&[i32], &[i32], &[i32]) = match kind {
        "LINE" => (&[11, 21, 31], &[], &[10, 20, 11, 21]),
        "LWPOLYLINE" => (&[38, 42], &[70], &[]),
        "POLYLINE" => (&[], &[70], &[]),
        "VERTEX" => (&[42], &[70], &[10, 20]),
        "ARC" => (&[40, 50, 51], &[], &[10, 20, 40, 50, 51]),
        "CIRCLE" => (&[40], &[], &[10, 20, 40]),
        "ELLIPSE" => (&[11, 21, 31, 40, 41, 42], &[], &[10, 20, 11, 21, 40]),
        "SPLINE" => (&[11, 21, 31, 12, 22, 32, 13, 23, 33, 40, 41], &[70, 71], &[71]),
        "INSERT" => (&[41, 42, 43, 44, 45, 50], &[70, 71], &[2, 10, 20]),
        _ => return None,
    };
    Some(Codes { reals, whole, required })
}

/// The copying of one entity into the clean text.
pub(super) struct Copy<'c> {
    kind: String,
    clean: &'c mut String,
    /// Codes met so far, each once, save those that stand in a list.
    pub seen: Vec<i32>,
    /// Points begun by a 10 (or 11) and completed by a 20 (or 21).
    points: [(usize, usize); 2],
    /// The code of the z that the point just copied still owes.
    z_owed: Option<i32>,
    /// Counts the entity itself gives, for the code they count.
    promised: Vec<(i32, usize)>,
    knots: usize,
}

impl<'c> Copy<'c> {
    /// Begins the copy, under its running number, if the entity is `wanted`.
    pub(super) fn new(kind: &str, number: usize, clean: &'c mut String, wanted: bool) -> Self {
        if wanted {
            // Writing to a String cannot fail.
            let _ = write!(clean, "0\n{kind}\n5\n{number:X}\n");
        }
        Copy {
            kind: kind.into(),
            clean,
            seen: vec![],
            points: [(0, 0); 2],
            z_owed: None,
            promised: vec![],
            knots: 0,
        }
    }

    /// Checks one pair, and copies it if it matters.
    pub(super) fn take(&mut self, codes: &Codes, tag: &Tag<'_>) -> Result<(), Fault> {
        let damaged = |what: Said| {
            tag.spot.place(Fault::new(what, "the file is damaged: save the drawing again"))
        };
        match (self.kind.as_str(), tag.code) {
            ("LWPOLYLINE", 90) | ("SPLINE", 72..=74) => {
                let count = number(tag).and_then(|n| usize::try_from(n).ok());
                let count = count.ok_or_else(|| {
                    damaged(said!("{} has a count that is not a whole number", self.kind))
                })?;
                self.promised.push((tag.code, count));
                return Ok(());
            }
            _ => {}
        }
        if codes.whole.contains(&tag.code) {
            let value = number(tag).and_then(|n| i16::try_from(n).ok());
            let value = value.ok_or_else(|| {
                damaged(said!(
                    "group code {} of {} is not a small whole number",
                    tag.code,
                    self.kind
                ))
            })?;
            self.write(tag.code, &value.to_string());
        } else if codes.reals.contains(&tag.code) || POINT_Z_NORMAL.contains(&tag.code) {
            real(tag)?;
            self.count(tag.code).map_err(damaged)?;
            self.write(tag.code, &text_of(tag));
        } else {
            return Ok(());
        }
        if !self.seen.contains(&tag.code) {
            self.seen.push(tag.code);
        }
        Ok(())
    }

    /// Sees to it that x and y of points alternate, which the parser takes for granted.
    fn count(&mut self, code: i32) -> Result<(), Said> {
        let Some((begun, completed)) = self.points.get_mut(usize::from(code % 10 == 1)) else {
            return Ok(());
        };
        let alternates = match code {
            10 | 11 => {
                *begun += 1;
                *begun == *completed + 1
            }
            20 | 21 => {
                *completed += 1;
                *begun == *completed
            }
            42 if self.kind == "LWPOLYLINE" => *begun > 0,
            _ => true,
        };
        self.knots += usize::from(self.kind == "SPLINE" && code == 40);
        if alternates {
            Ok(())
        } else {
            Err(said!("group code {code} of {} is out of turn", self.kind))
        }
    }

    fn write(&mut self, code: i32, value: &str) {
        if let Some(z) = self.z_owed.take().filter(|&z| z != code) {
            let _ = write!(self.clean, "{z}\n0\n");
        }
        let _ = write!(self.clean, "{code}\n{value}\n");
        // The parser pairs the lists of x, y and z of a spline and would drop points without z.
        if self.kind == "SPLINE" && (code == 20 || code == 21) {
            self.z_owed = Some(code + 10);
        }
    }

    /// Checks the entity as a whole.
    pub(super) fn finish(&mut self, codes: &Codes, spot: Spot) -> Result<(), Fault> {
        if let Some(z) = self.z_owed.take() {
            let _ = write!(self.clean, "{z}\n0\n");
        }
        let damaged = |what: Said| {
            Err(spot.place(Fault::new(what, "the file is damaged: save the drawing again")))
        };
        let missing: Vec<String> = codes
            .required
            .iter()
            .filter(|code| !self.seen.contains(code))
            .map(i32::to_string)
            .collect();
        if !missing.is_empty() {
            return damaged(said!(
                "{} lacks what it cannot do without (group codes {})",
                self.kind,
                missing.join(", ")
            ));
        }
        for (begun, completed) in self.points {
            if begun != completed {
                return damaged(said!("{} has a point without y", self.kind));
            }
        }
        for &(code, count) in &self.promised {
            let (found, of) = match code {
                72 => (self.knots, "knots"),
                73 => (self.points[0].0, "control points"),
                74 => (self.points[1].0, "fit points"),
                _ => (self.points[0].0, "vertices"),
            };
            if found != count {
                return damaged(said!("{} says it has {count} {of} but has {found}", self.kind));
            }
        }
        Ok(())
    }
}

/// A whole number, if the value is one.
pub(super) fn number(tag: &Tag<'_>) -> Option<i64> {
    std::str::from_utf8(&tag.value).ok()?.parse().ok()
}

/// A real number of a size that a drawing can hold; never NaN.
pub(super) fn real(tag: &Tag<'_>) -> Result<f64, Fault> {
    let value = std::str::from_utf8(&tag.value).ok().and_then(|text| text.parse::<f64>().ok());
    value.filter(|v| v.abs() <= LARGEST_NUMBER).ok_or_else(|| {
        let what = said!(
            "\"{}\" (group code {}) is not a number that a drawing can hold",
            text_of(tag),
            tag.code
        );
        tag.spot.place(Fault::new(what, "correct it in the drawing program and save again"))
    })
}

/// The value as text fit for a message: no control characters, not long.
pub(super) fn text_of(tag: &Tag<'_>) -> String {
    String::from_utf8_lossy(&tag.value).chars().filter(|c| !c.is_control()).take(40).collect()
}
