//! Closed lines, and open ones joined until they close: the rings of a drawing.

use super::along::{departs, distance, samples};
use super::chain::{Joined, chain};
use super::rings::{DrawnRing, MOST_RINGS};
use super::{BESIDE, Bench, OpenLine, is_ring_line, overlap, word};
use crate::fault::Fault;
use crate::geometry::{Bounds, Path, Point, path_length, ring_bounds, ring_contains};
use crate::outline::Role;
use crate::outline::Taken;
use crate::outline::roles::{Meaning, ROLE_WORDS};
use crate::units::show_number;
use std::collections::BTreeSet;

/// Most distances from a point to an edge that the search for each line's outline may take: some
/// seconds.
const MOST_WORK: u64 = 2_000_000_000;

/// A line whose ends are nearer than this is closed across the gap, mm (common practice, no source:
/// a pen's width, a slip of the snap).
const SMALL_GAP: f64 = 2.0;

/// Up to this share of its length a gap is offered for joining, and up to the second the line is
/// refused as one that was meant closed.
const OFFERED: f64 = 0.01;
const MEANT_CLOSED: f64 = 0.1;

impl Bench<'_> {
    /// All rings of the drawing that may be nets or holes, in file order.
    pub(super) fn rings(&mut self) -> Vec<DrawnRing> {
        let mut rings = Vec::new();
        let edge_line = |m: Meaning| matches!(m, Meaning::Role(Role::Edge(_)));
        for i in self.open_tasks().collect::<Vec<_>>() {
            if is_ring_line(self.meanings[i]) && self.lines[i].closed {
                let owners = vec![i; self.lines[i].points.len()];
                self.take_ring(&self.lines[i].points, &owners, &mut rings);
            }
        }
        let plain: Vec<usize> =
            self.open_tasks().filter(|&i| is_ring_line(self.meanings[i])).collect();
        let open = self.join(&plain, &mut rings);

        if self.refuse_too_much_work(&rings) {
            return Vec::new();
        }
        let edges: Vec<usize> =
            self.open_tasks().filter(|&i| edge_line(self.meanings[i])).collect();
        let runs_along = |i: &usize| {
            let line = &self.lines[*i];
            rings.iter().any(|r| departs(&r.points, &line.points, line.closed).is_none())
        };
        let apart: Vec<usize> = edges.into_iter().filter(|i| !runs_along(i)).collect();
        for &i in apart.iter().filter(|&&i| self.lines[i].closed) {
            let owners = vec![i; self.lines[i].points.len()];
            self.take_ring(&self.lines[i].points, &owners, &mut rings);
        }
        // What closes neither alone nor here is told once, below.
        let mut pieces: Vec<usize> =
            apart.iter().copied().filter(|&i| !self.lines[i].closed).collect();
        let left: BTreeSet<usize> = open.iter().flat_map(|c| c.owners.iter().copied()).collect();
        if pieces.is_empty() {
            self.explain_open(&open, &rings);
        } else {
            pieces.extend(left);
            pieces.sort_unstable();
            let open = self.join(&pieces, &mut rings);
            self.explain_open(&open, &rings);
        }
        rings.sort_by_key(|r| r.lines.first().copied());
        rings
    }

    /// True, and a fault, if finding out which line lies in which ring would take too long.
    pub(super) fn refuse_too_much_work(&mut self, rings: &[DrawnRing]) -> bool {
        let boxes: Vec<(Bounds, u64)> = rings
            .iter()
            .filter_map(|r| ring_bounds(&r.points).map(|b| (b, r.points.len() as u64)))
            .collect();
        let mut work = 0_u64;
        for i in self.open_tasks() {
            let line = &self.lines[i];
            let Some(b) = ring_bounds(&line.points) else {
                continue;
            };
            let edges: u64 = boxes.iter().filter(|(r, _)| overlap(&b, r)).map(|(_, n)| n).sum();
            work = work.saturating_add(
                edges.saturating_mul(samples(&line.points, line.closed).len() as u64),
            );
        }
        let too_much = work > MOST_WORK || rings.len() > MOST_RINGS;
        if too_much {
            let what = said!(
                "too many lines ({}) lie over too many outlines ({})",
                self.lines.len(),
                rings.len()
            );
            self.faults.push(Fault::new(
                what,
                "read one layer at a time, or with a coarser chord tolerance",
            ));
        }
        too_much
    }

    /// Joins open lines; those that close become rings, the others come back.
    fn join(&mut self, which: &[usize], rings: &mut Vec<DrawnRing>) -> Vec<Joined> {
        let pieces: Vec<(usize, &Path)> =
            which.iter().map(|&i| (i, &self.lines[i].points)).collect();
        let (closed, open): (Vec<Joined>, Vec<Joined>) =
            chain(&pieces, self.options.join_tolerance).into_iter().partition(|c| c.closed);
        let (nearly, open): (Vec<Joined>, Vec<Joined>) = open.into_iter().partition(nearly_closed);
        for ring in closed.iter().chain(&nearly) {
            self.report_joins(ring);
            self.take_ring(&ring.points, &ring.owners, rings);
        }
        open
    }

    /// Every end that was moved is said.
    pub(super) fn report_joins(&mut self, joined: &Joined) {
        let name = joined.owners.first().map_or("", |&i| self.lines[i].label.as_str());
        for (at, gap) in &joined.joins {
            let what = said!("two ends {gap:.3} mm apart were joined");
            self.warnings.push(
                Fault::new(what, "draw them to one point if that is not meant")
                    .at(name, at.x, at.y),
            );
        }
        if let (false, Some(a), Some(b)) =
            (joined.closed, joined.points.first(), joined.points.last())
        {
            let what = said!(
                "the line is open by {:.2} mm, to ({:.2}, {:.2}); it was closed straight across the gap",
                a.distance(*b),
                b.x,
                b.y
            );
            self.warnings.push(
                Fault::new(what, "close it in the drawing if the gap is not straight")
                    .at(name, a.x, a.y),
            );
        }
    }

    fn take_ring(&mut self, points: &[Point], owners: &[usize], rings: &mut Vec<DrawnRing>) {
        if let Some(ring) =
            DrawnRing::new(points, owners, self.lines, &self.meanings, &mut self.faults)
        {
            rings.push(ring);
        }
        // A faulty ring is claimed too: its fault has been told.
        for &i in owners {
            self.ledger.used(i, Taken::NetLine);
        }
    }

    /// Says of every open chain why it is no net line: a fault if it seems meant as one.
    fn explain_open(&mut self, open: &[Joined], rings: &[DrawnRing]) {
        for c in open {
            let (Some(&first), Some(&last), Some(&owner)) =
                (c.points.first(), c.points.last(), c.owners.first())
            else {
                continue;
            };
            let label = self.lines[owner].label.as_str();
            let gap = first.distance(last);
            let names_kind = c.owners.iter().find_map(|&i| match self.meanings[i] {
                Meaning::Role(Role::Edge(kind)) => Some((i, kind)),
                _ => None,
            });
            let chain_box = ring_bounds(&c.points);
            let lies_in = rings.iter().any(|r| {
                let near =
                    chain_box.zip(ring_bounds(&r.points)).is_some_and(|(a, b)| overlap(&a, &b));
                near && samples(&c.points, false)
                    .iter()
                    .any(|&p| ring_contains(&r.points, p) || distance(&r.points, p) <= BESIDE)
            });
            if let Some(junction) = c.junctions.first().filter(|_| !lies_in) {
                self.faults.push(
                    Fault::new(
                        "three or more line ends come together, so it is not clear which two belong to the outline",
                        said!("delete the line that is not part of it, or put it on a layer named for its role ({ROLE_WORDS})"),
                    )
                    .at(label, junction.x, junction.y),
                );
            } else if let Some((i, kind)) = names_kind {
                let line = &self.lines[i];
                let nearest = rings
                    .iter()
                    .filter_map(|r| departs(&r.points, &line.points, line.closed))
                    .min_by(|a, b| a.1.total_cmp(&b.1));
                let (at, how) = match nearest {
                    Some((p, d)) if d < 1000.0 => {
                        (p, format!("it departs from the nearest outline by {d:.2} mm"))
                    }
                    _ => (
                        first,
                        format!("its ends are {gap:.2} mm apart, so that it is no outline itself"),
                    ),
                };
                self.faults.push(
                    Fault::new(
                        said!("names {} edges but runs along none: {how}", word(kind)),
                        "draw it on the net line, or rename its layer",
                    )
                    .at(line.label.clone(), at.x, at.y),
                );
            } else if c.points.len() > 2 && gap <= MEANT_CLOSED * path_length(&c.points) {
                let mut paste = None;
                if gap <= OFFERED * path_length(&c.points) {
                    // Upwards, so that the ends are within it.
                    let join = show_number((gap * 10.0).ceil() / 10.0, 1);
                    paste = Some(format!("join_ends = {join}"));
                }
                let remedy = match (paste.is_some(), lies_in) {
                    (false, false) => "close it in the drawing".into(),
                    (true, false) => "close it in the drawing, or have its ends joined by a line under its [[template]]".into(),
                    (false, true) => said!("close it in the drawing; if it is not a hole, name its group or layer for what it is ({ROLE_WORDS})"),
                    (true, true) => said!("close it in the drawing, or have its ends joined by a line under its [[template]]; if it is not a hole, name its group or layer for what it is ({ROLE_WORDS})"),
                };
                let ends =
                    format!("({:.2}, {:.2}) and ({:.2}, {:.2})", first.x, first.y, last.x, last.y);
                let what = if lies_in {
                    said!("a hole is open: its ends are {gap:.2} mm apart, {ends}")
                } else {
                    said!("an outline is open: its ends are {gap:.2} mm apart, {ends}")
                };
                self.faults.push(Fault::new(what, remedy).at(label, first.x, first.y).paste(paste));
            } else {
                let length = path_length(&c.points);
                if self.longest_open.as_ref().is_none_or(|l| length > l.length) {
                    self.longest_open =
                        Some(OpenLine { label: label.to_string(), ends: [first, last], length });
                }
                let why = if lies_in {
                    "is an open line in an outline, on no layer that says what it is for"
                } else {
                    "is an open line, not an outline"
                };
                for i in c.owners.iter().copied().collect::<BTreeSet<_>>() {
                    self.ledger.missed(i, why);
                    self.strays.push(i);
                }
            }
        }
    }
}

/// True for an open line that ends just short of where it begins; a short tick is none.
pub(super) fn nearly_closed(line: &Joined) -> bool {
    let (Some(a), Some(b)) = (line.points.first(), line.points.last()) else {
        return false;
    };
    let gap = a.distance(*b);
    line.junctions.is_empty()
        && line.points.len() > 2
        && gap < SMALL_GAP
        && gap <= MEANT_CLOSED * path_length(&line.points)
}
