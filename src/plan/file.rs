//! `plan.json`: writing, reading, the content id and the JSON Schema.

use super::model::Plan;
use super::written::{hashed, hashed_text};
use crate::fault::{Fault, Faults};
use crate::json::holds_no_more_than_is_read;
use serde::{Deserialize, Serialize};
use serde_json::ser::Formatter;
use std::io;

/// The version of the format this crate writes and reads.
pub const SCHEMA: u32 = 1;

/// A larger `plan.json` is refused before it is parsed, bytes.
pub const LARGEST_FILE: u64 = 256 << 20;

/// Letters of the plan's id that go into its offcuts' ids.
const SHORT: usize = 8;

/// Objects and lists nested deeper than this are written on one line.
const LINES_TO_DEPTH: usize = 3;

impl Plan {
    /// The hash of everything in the plan but its own id and the offcuts' ids that derive from it:
    /// SHA-256, hexadecimal.
    pub fn content_id(&self) -> String {
        // Numbers that are no numbers are written as null: still a hash, and `verify` refuses them.
        let hash = hashed(self);
        debug_assert!(hash.is_some(), "a hash takes every byte");
        hash.unwrap_or_default()
    }

    /// Whether its id is that of its content, as it is or as an older build wrote it.
    pub fn is_as_planned(&self) -> bool {
        let hash = self.content_id();
        self.id == hash || self.hash_today.as_ref() == Some(&hash)
    }

    /// The ids of the offcuts, stock by stock: the first letters of the plan's id and a running
    /// number.
    pub fn offcut_ids(&self) -> Vec<String> {
        let short: String = self.id.chars().take(SHORT).collect();
        (1..=self.stocks.iter().map(|s| s.offcuts.len()).sum())
            .map(|i: usize| format!("{short}-{i}"))
            .collect()
    }

    /// Gives the finished plan its id, and its offcuts theirs.
    #[must_use]
    pub fn sealed(mut self) -> Plan {
        self.id = self.content_id();
        self.hash_today = None;
        let ids = self.offcut_ids();
        for (offcut, id) in self.stocks.iter_mut().flat_map(|s| &mut s.offcuts).zip(ids) {
            offcut.id = id;
        }
        self
    }
}

/// The plan as text: fields in the order of the model, a line for each piece and stock field, ends
/// with a line feed.
pub fn to_json(plan: &Plan) -> String {
    let mut bytes = Vec::new();
    let mut writer =
        serde_json::Serializer::with_formatter(&mut bytes, Lines { depth: 0, empty: true });
    let written = plan.serialize(&mut writer);
    debug_assert!(written.is_ok(), "memory takes every byte");
    bytes.push(b'\n');
    String::from_utf8(bytes).unwrap_or_default()
}

/// Reads a plan; [`crate::verify::verify`] tells whether it holds.
///
/// # Errors
/// Text that is too long, no JSON, of another version, or not of the plan's shape, with line and
/// column.
pub fn from_json(text: &str) -> Result<Plan, Faults> {
    const REMEDY: &str = "give the plan.json of a plan folder, or plan the job again";
    if text.len() as u64 > LARGEST_FILE {
        let what = said!(
            "the plan is {} MB, more than the {} MB supported",
            text.len() >> 20,
            LARGEST_FILE >> 20
        );
        return Err(Fault::new(what, REMEDY).into());
    }
    let located = |e: serde_json::Error| {
        let words = e.to_string();
        let what = words.rsplit_once(" at line ").map_or(words.as_str(), |(what, _)| what);
        Faults::from(
            Fault::new(said!("not a plan: {what}"), REMEDY)
                .at_line(e.line().max(1), e.column().max(1)),
        )
    };
    holds_no_more_than_is_read(text, REMEDY)?;
    // Another version may have another shape: look at that first.
    let version: Version = serde_json::from_str(text).map_err(located)?;
    if version.schema != u64::from(SCHEMA) {
        let what = said!(
            "the plan has schema {}, this version of warpwise reads schema {SCHEMA}",
            version.schema
        );
        return Err(Fault::new(
            what,
            "read it with the version that wrote it, or plan the job again",
        )
        .into());
    }
    let mut plan: Plan = serde_json::from_str(text).map_err(located)?;
    let today = plan.content_id();
    if plan.id != today && hashed_text(text).as_ref() == Some(&plan.id) {
        plan.hash_today = Some(today);
    }
    Ok(plan)
}

#[derive(Deserialize)]
struct Version {
    schema: u64,
}

/// The JSON Schema of `plan.json`, generated from the types; ends with a line feed.
pub fn schema_json() -> String {
    let schema = schemars::schema_for!(Plan);
    let mut text = serde_json::to_string_pretty(&schema).unwrap_or_default();
    text.push('\n');
    text
}

/// Breaks lines down to a depth, and writes what lies deeper (rings, placed pieces) on one line.
struct Lines {
    depth: usize,
    empty: bool,
}

impl Lines {
    fn open<W: ?Sized + io::Write>(&mut self, w: &mut W, bracket: &[u8]) -> io::Result<()> {
        self.depth += 1;
        self.empty = true;
        w.write_all(bracket)
    }

    fn close<W: ?Sized + io::Write>(&mut self, w: &mut W, bracket: &[u8]) -> io::Result<()> {
        let broken = self.depth <= LINES_TO_DEPTH && !self.empty;
        self.depth -= 1;
        self.empty = false;
        if broken {
            self.line(w)?;
        }
        w.write_all(bracket)
    }

    fn item<W: ?Sized + io::Write>(&mut self, w: &mut W, first: bool) -> io::Result<()> {
        if !first {
            w.write_all(b",")?;
        }
        if self.depth <= LINES_TO_DEPTH {
            self.line(w)
        } else if first {
            Ok(())
        } else {
            w.write_all(b" ")
        }
    }

    fn line<W: ?Sized + io::Write>(&self, w: &mut W) -> io::Result<()> {
        w.write_all(b"\n")?;
        (0..self.depth).try_for_each(|_| w.write_all(b" "))
    }
}

impl Formatter for Lines {
    fn begin_array<W: ?Sized + io::Write>(&mut self, w: &mut W) -> io::Result<()> {
        self.open(w, b"[")
    }

    fn end_array<W: ?Sized + io::Write>(&mut self, w: &mut W) -> io::Result<()> {
        self.close(w, b"]")
    }

    fn begin_array_value<W: ?Sized + io::Write>(
        &mut self,
        w: &mut W,
        first: bool,
    ) -> io::Result<()> {
        self.item(w, first)
    }

    fn end_array_value<W: ?Sized + io::Write>(&mut self, _: &mut W) -> io::Result<()> {
        self.empty = false;
        Ok(())
    }

    fn begin_object<W: ?Sized + io::Write>(&mut self, w: &mut W) -> io::Result<()> {
        self.open(w, b"{")
    }

    fn end_object<W: ?Sized + io::Write>(&mut self, w: &mut W) -> io::Result<()> {
        self.close(w, b"}")
    }

    fn begin_object_key<W: ?Sized + io::Write>(
        &mut self,
        w: &mut W,
        first: bool,
    ) -> io::Result<()> {
        self.item(w, first)
    }

    fn begin_object_value<W: ?Sized + io::Write>(&mut self, w: &mut W) -> io::Result<()> {
        w.write_all(b": ")
    }

    fn end_object_value<W: ?Sized + io::Write>(&mut self, _: &mut W) -> io::Result<()> {
        self.empty = false;
        Ok(())
    }
}
