//! The outline of a template: the type that everything after import relies on.

use crate::fault::{Fault, Faults};
use crate::geometry::{Path, Point, Ring, ring_area};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// What lies beyond an edge of the net line.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum EdgeKind {
    /// A free edge: grows by the trim allowance and is cut back after the cure.
    Trim,
    /// An edge lapped onto a neighbour: grows by the lap.
    Lap,
    /// An edge that meets a neighbour: does not grow.
    Butt,
    /// A leg of a dart: does not grow and closes on its other leg in the mould.
    Dart,
}

/// An outline before it is checked: what [`Outline::new`] takes.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Draft {
    /// The name it had in its drawing: group id, layer or block; may be empty.
    pub name: String,
    /// The net line, closed, mm, y up.
    pub net: Ring,
    /// For each edge `net[i]` to `net[i + 1]` the kind the drawing gives it; empty means none does.
    pub edges: Vec<Option<EdgeKind>>,
    /// Holes, closed, mm.
    pub holes: Vec<Ring>,
    /// Relief cuts and notches, open, mm.
    pub cuts: Vec<Path>,
    /// Other drawn lines to carry along, open, mm.
    pub marks: Vec<Path>,
    /// The part's 0° direction, tail to head, mm.
    pub arrow: Option<[Point; 2]>,
    /// Zones that no splice may enter, closed, mm.
    pub no_splice: Vec<Ring>,
}

/// A template outline, valid by construction: on the 1 µm grid, finite, every ring simple and of more than no area, the
/// net line anticlockwise, holes clockwise, apart from each other and inside the net line.
///
/// Frame: the drawing's own, mm, y up. Nothing has been mirrored for plug or inked side yet.
#[derive(Clone, Debug, PartialEq)]
pub struct Outline {
    draft: Draft,
}

impl Outline {
    /// Snaps, orients and checks a draft.
    ///
    /// # Errors
    /// Every fault found, each named with its coordinates.
    pub fn new(mut draft: Draft) -> Result<Outline, Faults> {
        let mut faults = Faults::new();
        let snap_all = |ring: &mut Ring| ring.iter_mut().for_each(|p| *p = p.snapped());
        snap_all(&mut draft.net);
        draft.holes.iter_mut().for_each(snap_all);
        draft.cuts.iter_mut().for_each(snap_all);
        draft.marks.iter_mut().for_each(snap_all);
        draft.no_splice.iter_mut().for_each(snap_all);
        if draft.edges.len() != draft.net.len() {
            draft.edges = vec![None; draft.net.len()];
        }
        if ring_area(&draft.net) < 0.0 {
            draft.net.reverse();
            // Edge i of the reversed ring is the old edge n - 2 - i.
            draft.edges.reverse();
            draft.edges.rotate_left(1);
        }
        for hole in &mut draft.holes {
            if ring_area(hole) > 0.0 {
                hole.reverse();
            }
        }
        if draft.net.len() < 3 || ring_area(&draft.net) <= 0.0 {
            faults.push(Fault::new("the net line encloses no area", "draw a closed outline"));
        }
        faults.into_result(Outline { draft })
    }

    /// The name it had in its drawing; may be empty.
    pub fn name(&self) -> &str {
        &self.draft.name
    }

    /// The net line, anticlockwise, mm.
    pub fn net(&self) -> &Ring {
        &self.draft.net
    }

    /// For each edge `net[i]` to `net[i + 1]` the kind the drawing gave it, if it did.
    pub fn edges(&self) -> &[Option<EdgeKind>] {
        &self.draft.edges
    }

    /// Holes, clockwise, mm.
    pub fn holes(&self) -> &[Ring] {
        &self.draft.holes
    }

    /// Relief cuts and notches, mm.
    pub fn cuts(&self) -> &[Path] {
        &self.draft.cuts
    }

    /// Other lines to carry along, mm.
    pub fn marks(&self) -> &[Path] {
        &self.draft.marks
    }

    /// The part's 0° direction, tail to head, if the drawing has one.
    pub fn arrow(&self) -> Option<[Point; 2]> {
        self.draft.arrow
    }

    /// Zones no splice may enter, mm.
    pub fn no_splice(&self) -> &[Ring] {
        &self.draft.no_splice
    }
}
