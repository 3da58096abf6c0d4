//! Everything that is no ring goes to the outline it lies in or along.

use super::along::{departs, distance, give_kind, samples};
use super::arrow::{NoArrow, tail_and_head};
use super::chain::chain;
use super::close::nearly_closed;
use super::rings::{DrawnRing, Nest};
use super::{BESIDE, Bench, overlap, word};
use crate::fault::Fault;
use crate::geometry::{Bounds, Path, Point, ring_bounds, ring_contains};
use crate::outline::roles::{Meaning, shown_name, sounds_like_direction, telling_name};
use crate::outline::{Draft, MaybeArrow, Outline, Role, Taken};
use std::collections::{BTreeMap, BTreeSet};

/// Most lines of one arrow.
const MOST_ARROW_LINES: usize = 64;

/// The lines of the other roles that lie in one outline.
#[derive(Default)]
struct Parts {
    arrow: Vec<usize>,
    cuts: Vec<usize>,
    marks: Vec<usize>,
    zones: Vec<usize>,
}

impl Bench<'_> {
    /// One outline a nest, each with the lines that lie in it or along it.
    pub(super) fn outlines(
        &mut self,
        mut rings: Vec<DrawnRing>,
        nests: &[Nest],
        nested_well: bool,
    ) -> Vec<Outline> {
        self.give_kinds(&mut rings, nests);
        self.account_for(&rings, nests);
        let boxes: Vec<Option<Bounds>> =
            nests.iter().map(|n| ring_bounds(&rings[n.net].points)).collect();
        let mut parts: Vec<Parts> = nests.iter().map(|_| Parts::default()).collect();
        for i in self.open_tasks().collect::<Vec<_>>() {
            let Meaning::Role(role) = self.meanings[i] else {
                continue;
            };
            if let Some(host) = self.host(i, role, &rings, nests, &boxes) {
                let (taken, list) = match role {
                    Role::Arrow => (Taken::Arrow, &mut parts[host].arrow),
                    Role::Cut => (Taken::Cut, &mut parts[host].cuts),
                    Role::NoSplice => (Taken::NoSplice, &mut parts[host].zones),
                    _ => (Taken::Mark, &mut parts[host].marks),
                };
                list.push(i);
                self.ledger.used(i, taken);
            } else {
                self.ledger.missed(i, "lies in no outline");
            }
        }
        let mut outlines = Vec::new();
        for (n, part) in nests.iter().zip(parts) {
            let draft = self.draft(n, &part, &rings);
            let sound =
                nested_well && rings[n.net].sound && n.holes.iter().all(|&h| rings[h].sound);
            if !sound {
                continue; // Its faults have been told.
            }
            if let Some(outline) = self.faults.keep(Outline::new(draft)) {
                outlines.push(outline);
            }
        }
        outlines
    }

    /// Says of every line of a ring what it was taken for; a hole whose name sounds like a
    /// direction is asked about.
    fn account_for(&mut self, rings: &[DrawnRing], nests: &[Nest]) {
        let nets = nests.iter().map(|n| (n.net, Taken::NetLine));
        for (ring, taken) in
            nets.chain(nests.iter().flat_map(|n| n.holes.iter().map(|&h| (h, Taken::Hole))))
        {
            for &i in &rings[ring].lines {
                match self.meanings[i] {
                    Meaning::Role(Role::Edge(kind)) => self.ledger.used(i, Taken::Edge(kind)),
                    _ => self.ledger.used(i, taken),
                }
                let line = &self.lines[i];
                if let (Taken::Hole, Some(name)) =
                    (taken, line.names.iter().rev().find(|n| sounds_like_direction(n)))
                {
                    let p = line.points.first().copied().unwrap_or_default();
                    let what = said!("the closed line in \"{name}\" was taken for a hole");
                    let remedy = "if it is the arrow, draw it as a line from tail to head in a group or layer named \"arrow\"; if it is a hole, \
                                  name its group \"hole\"";
                    self.warnings.push(Fault::new(what, remedy).at(line.label.clone(), p.x, p.y));
                }
            }
        }
    }

    /// The lines that may be the arrow of an outline without one: all that lie in it under one
    /// name, if they look like an arrow, and no others do or only these are named after a
    /// direction.
    pub(super) fn maybe_arrows(&self, outlines: &[Outline]) -> Vec<MaybeArrow> {
        let mut out = Vec::new();
        for (k, outline) in outlines.iter().enumerate().filter(|(_, o)| o.arrow().is_none()) {
            let mut by_name: BTreeMap<String, Vec<usize>> = BTreeMap::new();
            for &i in &self.strays {
                let points = &self.lines[i].points;
                if points.iter().any(|&p| ring_contains(outline.net(), p)) {
                    by_name.entry(shown_name(&self.lines[i].names)).or_default().push(i);
                }
            }
            let arrow = |(name, which): (&String, &Vec<usize>)| {
                let lines: Vec<(&Path, bool)> =
                    which.iter().map(|&i| (&self.lines[i].points, false)).collect();
                let ends =
                    if lines.len() > MOST_ARROW_LINES { None } else { tail_and_head(&lines).ok() }?;
                let labels = which.iter().map(|&i| self.lines[i].label.clone()).collect();
                Some(MaybeArrow { outline: k, name: name.clone(), labels, ends })
            };
            let mut found: Vec<MaybeArrow> = by_name.iter().filter_map(arrow).collect();
            if found.iter().any(|a| sounds_like_direction(&a.name)) {
                found.retain(|a| sounds_like_direction(&a.name));
            }
            if found.len() == 1 {
                out.append(&mut found);
            }
        }
        out
    }

    fn give_kinds(&mut self, rings: &mut [DrawnRing], nests: &[Nest]) {
        let nets: BTreeSet<usize> = nests.iter().map(|n| n.net).collect();
        for i in self.open_tasks().collect::<Vec<_>>() {
            let Meaning::Role(Role::Edge(kind)) = self.meanings[i] else {
                continue;
            };
            let line = &self.lines[i];
            for (k, ring) in rings.iter_mut().enumerate() {
                if departs(&ring.points, &line.points, line.closed).is_some() {
                    continue;
                }
                self.ledger.used(i, Taken::Edge(kind));
                if !nets.contains(&k) {
                    let p = line.points[0];
                    let what =
                        said!("runs along the hole {}: edges of holes have no kind", ring.label);
                    self.warnings.push(
                        Fault::new(what, "delete it, or draw it along the net line").at(
                            line.label.clone(),
                            p.x,
                            p.y,
                        ),
                    );
                    continue;
                }
                if let Err((at, had)) =
                    give_kind(&mut ring.points, &mut ring.edges, &line.points, line.closed, kind)
                {
                    let what = match had {
                        Some(had) => said!(
                            "names an edge {} that another line names {}",
                            word(kind),
                            word(had)
                        ),
                        None => said!(
                            "names {} edges but does not follow the outline from end to end",
                            word(kind)
                        ),
                    };
                    self.faults.push(Fault::new(what, "let each edge have one line along it").at(
                        line.label.clone(),
                        at.x,
                        at.y,
                    ));
                }
            }
        }
    }

    /// The outline a line lies in; the last resort of an arrow is the only outline there is.
    fn host(
        &mut self,
        line: usize,
        role: Role,
        rings: &[DrawnRing],
        nests: &[Nest],
        boxes: &[Option<Bounds>],
    ) -> Option<usize> {
        let line = &self.lines[line];
        let probes = samples(&line.points, line.closed);
        let line_box = ring_bounds(&line.points);
        let score = |k: usize| {
            let net = &rings[nests[k].net].points;
            if !line_box.zip(boxes[k]).is_some_and(|(a, b)| overlap(&a, &b)) {
                return (0, 0);
            }
            let inside = probes.iter().filter(|&&p| ring_contains(net, p)).count();
            let beside = if inside == 0 {
                probes.iter().filter(|&&p| distance(net, p) <= BESIDE).count()
            } else {
                0
            };
            (inside, beside)
        };
        let scores: Vec<(usize, usize)> = (0..nests.len()).map(score).collect();
        let best = (0..nests.len())
            .filter(|&k| scores[k] != (0, 0))
            .max_by(|&a, &b| scores[a].cmp(&scores[b]).then(b.cmp(&a)));
        let first = line.points.first().copied().unwrap_or_default();
        if let Some(best) = best {
            if let Some(other) = (0..nests.len()).find(|&k| k != best && scores[k].0 > 0) {
                let (a, b) = (&rings[nests[best].net].label, &rings[nests[other].net].label);
                let warning = Fault::new(
                    said!("lies in two outlines, {a} and {b}; it was given to the first"),
                    "keep it within one of them",
                );
                self.warnings.push(warning.at(line.label.clone(), first.x, first.y));
            }
            let in_hole = |h: &&usize| probes.iter().all(|&p| ring_contains(&rings[**h].points, p));
            if let Some(&hole) = nests[best].holes.iter().find(in_hole) {
                let what = said!(
                    "lies in {}, which is a hole of {}",
                    rings[hole].label,
                    rings[nests[best].net].label
                );
                let warning =
                    Fault::new(what, "if that is an outline of its own, draw it beside the other");
                self.warnings.push(warning.at(line.label.clone(), first.x, first.y));
            }
            return Some(best);
        }
        if role == Role::Arrow && nests.len() == 1 {
            let warning = Fault::new(
                "lies outside the outline; it was taken for its arrow because there is no other",
                "draw it inside",
            );
            self.warnings.push(warning.at(line.label.clone(), first.x, first.y));
            return Some(0);
        }
        None
    }

    fn draft(&mut self, nest: &Nest, parts: &Parts, rings: &[DrawnRing]) -> Draft {
        let net = &rings[nest.net];
        let open_path = |i: &usize| {
            let mut path = self.lines[*i].points.clone();
            if self.lines[*i].closed {
                path.extend(path.first().copied());
            }
            path
        };
        let cuts: Vec<Path> = parts.cuts.iter().map(open_path).collect();
        let marks: Vec<Path> = parts.marks.iter().map(open_path).collect();
        for &i in parts.cuts.iter().filter(|&&i| self.lines[i].closed) {
            let p = self.lines[i].points[0];
            let warning = Fault::new(
                "is a closed relief cut: cutting it would make a hole",
                "name it a hole if it is one, or draw it open",
            );
            self.warnings.push(warning.at(self.lines[i].label.clone(), p.x, p.y));
        }
        Draft {
            name: self.name_of(net),
            net: net.points.clone(),
            edges: net.edges.clone(),
            holes: nest.holes.iter().map(|&h| rings[h].points.clone()).collect(),
            cuts,
            marks,
            arrow: self.arrow(&parts.arrow),
            no_splice: self.zones(&parts.zones),
        }
    }

    fn name_of(&self, net: &DrawnRing) -> String {
        net.lines
            .iter()
            .map(|&i| telling_name(&self.lines[i].names))
            .find(|n| !n.is_empty())
            .unwrap_or_default()
    }

    fn zones(&mut self, which: &[usize]) -> Vec<Path> {
        let mut zones: Vec<Path> = which
            .iter()
            .filter(|&&i| self.lines[i].closed)
            .map(|&i| self.lines[i].points.clone())
            .collect();
        let open: Vec<(usize, &Path)> = which
            .iter()
            .filter(|&&i| !self.lines[i].closed)
            .map(|&i| (i, &self.lines[i].points))
            .collect();
        for c in chain(&open, self.options.join_tolerance) {
            let label = c.owners.first().map_or("", |&i| self.lines[i].label.as_str());
            if c.closed || nearly_closed(&c) {
                self.report_joins(&c);
                zones.push(c.points);
            } else if let (Some(a), Some(b)) = (c.points.first(), c.points.last()) {
                let what = said!(
                    "is a no-splice zone that is not closed: its ends are {:.2} mm apart",
                    a.distance(*b)
                );
                self.faults
                    .push(Fault::new(what, "draw the zone as a closed line").at(label, a.x, a.y));
            }
        }
        zones
    }

    fn arrow(&mut self, which: &[usize]) -> Option<[Point; 2]> {
        let &first = which.first()?;
        let label = self.lines[first].label.clone();
        let at = self.lines[first].points.first().copied().unwrap_or_default();
        let (what, remedy, at) = if which.len() > MOST_ARROW_LINES {
            (
                said!("the arrow has {} lines", which.len()),
                "draw it as one line from tail to head",
                at,
            )
        } else {
            let lines: Vec<(&Path, bool)> =
                which.iter().map(|&i| (&self.lines[i].points, self.lines[i].closed)).collect();
            match tail_and_head(&lines) {
                Ok(arrow) => return Some(arrow),
                Err(NoArrow::Several(a, b)) => (
                    said!(
                        "there is more than one arrow in the outline; another is at ({:.2}, {:.2})",
                        b.x,
                        b.y
                    ),
                    "keep one",
                    a,
                ),
                Err(NoArrow::NoShaft(p)) => (
                    "none of the arrow's lines is clearly its shaft".into(),
                    "draw the shaft longest, from tail to head",
                    p,
                ),
                Err(NoArrow::TwoHeads(p)) => (
                    "the arrow has a head at both ends".into(),
                    "keep the head at the 0° end only",
                    p,
                ),
                Err(NoArrow::NotStraight(p)) => (
                    "the arrow is not straight".into(),
                    "draw it as one straight line from tail to head",
                    p,
                ),
            }
        };
        self.faults.push(Fault::new(what, remedy).at(label, at.x, at.y));
        None
    }
}
