//! What every reader makes of its file: flattened lines with the names they lie under.

use crate::fault::Fault;
use crate::geometry::Path;

/// What a drawn line means, told by the name of its layer or group.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Role {
    /// A net line or a hole: closed rings of no other role.
    Outline,
    /// The part's 0° arrow.
    Arrow,
    /// A relief cut or notch.
    Cut,
    /// A line only to be carried along.
    Mark,
    /// Runs along an edge of the net line and gives it its kind.
    Edge(super::EdgeKind),
    /// A zone no splice may enter.
    NoSplice,
}

/// One line of a drawing, curves flattened to the chord tolerance.
#[derive(Clone, Debug, PartialEq)]
pub struct DrawnLine {
    /// Points in mm, y up; a closed line does not repeat its first point.
    pub points: Path,
    /// True if the drawing closes it.
    pub closed: bool,
    /// Names of the groups, layers or blocks it lies in, outermost first.
    pub names: Vec<String>,
    /// What the role of the line is by its format's own rules (layer numbers of a pattern
    /// standard); else by `names`.
    pub role: Option<Role>,
    /// How to point at it in a message: element id, handle, line number. The lines of one entity
    /// share it, and no two entities have the same: accounting goes by it.
    pub label: String,
}

/// An entity that gives no line, and why.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct NotUsed {
    /// What it is (`text`, `HATCH`, `image`).
    pub what: String,
    /// The layer or group it lies in, where that is known; may be empty.
    pub name: String,
    /// How to point at it.
    pub label: String,
    /// Why it was left out.
    pub why: String,
    /// True if a person sees a line there, which may have been meant: the user is warned.
    pub is_line: bool,
}

/// A file read into lines: entities used plus entities not used are all there were.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Drawing {
    /// The lines, in file order.
    pub lines: Vec<DrawnLine>,
    /// How many entities of the file became lines.
    pub used: usize,
    /// The entities that did not, each with the reason.
    pub not_used: Vec<NotUsed>,
    /// How many drawable entities the file holds, counted on their own.
    pub present: usize,
    /// What the user should hear of although it is no fault: an assumed unit, a clip that is not
    /// applied.
    pub warnings: Vec<Fault>,
}
