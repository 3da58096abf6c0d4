//! From lines with names to outlines: joins open ends, tells net lines from holes, gives each line its role.
//!
//! 1. Closed lines of no other role are rings; open ones are joined end to end, and those that close are rings too.
//! 2. Lines that name an edge kind either run along a ring or, joined with each other and with what is left of the open
//!    lines, are the net line themselves.
//! 3. Nesting tells nets from holes. Every other line goes to the outline it lies in.

use super::along::{departs, distance, give_kind, samples};
use super::arrow::{NoArrow, tail_and_head};
use super::chain::{Joined, chain};
use super::ledger::Ledger;
use super::rings::{DrawnRing, MOST_RINGS, Nest, nest};
use super::roles::{Meaning, ROLE_WORDS, meaning_of, telling_name};
use super::validity::numbers_hold;
use super::{Draft, Drawing, DrawnLine, Outline, ReadOptions, Reading, Role};
use crate::fault::{Fault, Faults};
use crate::geometry::{Bounds, Path, Point, path_length, ring_bounds, ring_contains};
use crate::units::micrometres;
use std::collections::{BTreeMap, BTreeSet};

/// Most points of one drawing: some hundred skins.
const MOST_POINTS: usize = 2_000_000;

/// Most lines of one drawing.
const MOST_LINES: usize = 50_000;

/// Most distances from a point to an edge that the search for each line's outline may take: some seconds.
const MOST_WORK: u64 = 2_000_000_000;

/// Most layer names listed in a fault.
const MOST_NAMES: usize = 12;

/// How far outside its outline a line may lie and still be taken for one along its edge, mm.
const BESIDE: f64 = 0.5;

/// Most lines of one arrow.
const MOST_ARROW_LINES: usize = 64;

/// Makes outlines of the lines of a drawing.
///
/// # Errors
/// Every fault found: self-crossing, duplicate, zero-area and wrongly nested rings, open outlines, lines of a role that cannot be
/// given to an outline.
pub fn assemble(drawing: Drawing, options: &ReadOptions) -> Result<Reading, Faults> {
    let Drawing { lines, mut used, mut not_used, present, mut warnings } = drawing;
    let total: usize = lines.iter().map(|l| l.points.len()).sum();
    if total > MOST_POINTS || lines.len() > MOST_LINES {
        return Err(Fault::new(
            format!("the drawing has {total} points in {} lines; at most {MOST_POINTS} and {MOST_LINES} are taken", lines.len()),
            "read it with a coarser chord tolerance, or one layer at a time",
        )
        .into());
    }
    let mut bench = Bench::new(&lines, options);
    bench.select()?;
    bench.refuse_bad_numbers();
    bench.leave_dots_and_doubles();
    let rings = bench.rings();
    if rings.is_empty() && bench.faults.is_empty() {
        let fault = bench.no_outline();
        bench.faults.push(fault);
    }
    if rings.is_empty() || bench.refuse_too_much_work(&rings) {
        return Err(bench.faults);
    }
    let before = bench.faults.0.len();
    let nests = nest(&rings, options.join_tolerance, &mut bench.faults);
    let nested_well = bench.faults.0.len() == before;
    let outlines = bench.outlines(rings, &nests, nested_well);
    let Bench { ledger, faults, warnings: more, .. } = bench;
    warnings.extend(more);
    ledger.close(&lines, &mut used, &mut not_used, &mut warnings);
    faults.into_result(Reading { outlines, present, used, not_used, warnings })
}

/// The lines of one drawing while they are being sorted.
struct Bench<'a> {
    lines: &'a [DrawnLine],
    options: &'a ReadOptions,
    meanings: Vec<Meaning>,
    ledger: Ledger,
    faults: Faults,
    warnings: Vec<Fault>,
}

impl<'a> Bench<'a> {
    fn new(lines: &'a [DrawnLine], options: &'a ReadOptions) -> Self {
        let meanings = lines.iter().map(meaning_of).collect();
        Bench { lines, options, meanings, ledger: Ledger::new(lines.len()), faults: Faults::new(), warnings: Vec::new() }
    }

    /// Leaves out what does not lie in the layer asked for.
    fn select(&mut self) -> Result<(), Faults> {
        let Some(layer) = &self.options.layer else { return Ok(()) };
        let same = |name: &String| name.trim().to_lowercase() == layer.trim().to_lowercase();
        let mut any = false;
        for (i, line) in self.lines.iter().enumerate() {
            if line.names.iter().any(same) || same(&line.label) {
                any = true;
            } else {
                self.ledger.left(i, format!("does not lie in \"{layer}\""));
            }
        }
        if any {
            return Ok(());
        }
        Err(Fault::new(
            format!("nothing lies in a layer, group, block or part named \"{layer}\""),
            format!("the names there are: {}", self.names()),
        )
        .into())
    }

    /// The names in the drawing, as many as a person wants to read.
    fn names(&self) -> String {
        let mut seen = BTreeSet::new();
        let names: Vec<&str> = self.lines.iter().flat_map(|l| &l.names).map(String::as_str).filter(|n| seen.insert(*n)).collect();
        let mut out: Vec<String> = names.iter().take(MOST_NAMES).map(|n| format!("\"{n}\"")).collect();
        if names.len() > MOST_NAMES {
            out.push(format!("and {} more", names.len() - MOST_NAMES));
        }
        if out.is_empty() { "none at all".into() } else { out.join(", ") }
    }

    fn open_tasks(&self) -> impl Iterator<Item = usize> + '_ {
        (0..self.lines.len()).filter(|&i| self.ledger.is_unclaimed(i))
    }

    fn refuse_bad_numbers(&mut self) {
        for i in self.open_tasks().collect::<Vec<_>>() {
            let line = &self.lines[i];
            if !numbers_hold(&line.label, &line.points, &mut self.faults) {
                self.ledger.left(i, "has bad coordinates");
            }
        }
    }

    /// Leaves out lines without length and open lines drawn twice.
    fn leave_dots_and_doubles(&mut self) {
        let mut seen: BTreeMap<(Vec<(i64, i64)>, bool), usize> = BTreeMap::new();
        for i in self.open_tasks().collect::<Vec<_>>() {
            let line = &self.lines[i];
            let mut key: Vec<(i64, i64)> = line.points.iter().map(|p| (micrometres(p.x), micrometres(p.y))).collect();
            key.dedup();
            if key.len() < 2 {
                self.ledger.left(i, "has no length");
            } else if !line.closed {
                if key.first() > key.last() {
                    key.reverse();
                }
                let is_ring_line = !matches!(self.meanings[i], Meaning::Role(_));
                if let Some(&first) = seen.get(&(key.clone(), is_ring_line)) {
                    let first = &self.lines[first].label;
                    self.ledger.left(i, format!("is drawn twice: it is the same as {first}"));
                    if is_ring_line {
                        let p = line.points[0];
                        let warning = Fault::new(format!("is drawn twice: it is the same as {first}"), "delete one of the two");
                        self.warnings.push(warning.at(line.label.clone(), p.x, p.y));
                    }
                } else {
                    seen.insert((key, is_ring_line), i);
                }
            }
        }
    }

    /// All rings of the drawing that may be nets or holes, in file order.
    fn rings(&mut self) -> Vec<DrawnRing> {
        let mut rings = Vec::new();
        let is_ring_line = |m: Meaning| !matches!(m, Meaning::Role(_));
        let edge_line = |m: Meaning| matches!(m, Meaning::Role(Role::Edge(_)));
        for i in self.open_tasks().collect::<Vec<_>>() {
            if is_ring_line(self.meanings[i]) && self.lines[i].closed {
                let owners = vec![i; self.lines[i].points.len()];
                self.take_ring(&self.lines[i].points, &owners, &mut rings);
            }
        }
        let plain: Vec<usize> = self.open_tasks().filter(|&i| is_ring_line(self.meanings[i])).collect();
        let open = self.join(&plain, &mut rings);

        if self.refuse_too_much_work(&rings) {
            return Vec::new();
        }
        let edges: Vec<usize> = self.open_tasks().filter(|&i| edge_line(self.meanings[i])).collect();
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
        let mut pieces: Vec<usize> = apart.iter().copied().filter(|&i| !self.lines[i].closed).collect();
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
    fn refuse_too_much_work(&mut self, rings: &[DrawnRing]) -> bool {
        let boxes: Vec<(Bounds, u64)> = rings.iter().filter_map(|r| ring_bounds(&r.points).map(|b| (b, r.points.len() as u64))).collect();
        let mut work = 0_u64;
        for i in self.open_tasks() {
            let line = &self.lines[i];
            let Some(b) = ring_bounds(&line.points) else { continue };
            let edges: u64 = boxes.iter().filter(|(r, _)| overlap(&b, r)).map(|(_, n)| n).sum();
            work = work.saturating_add(edges.saturating_mul(samples(&line.points, line.closed).len() as u64));
        }
        let too_much = work > MOST_WORK || rings.len() > MOST_RINGS;
        if too_much {
            let what = format!("too many lines ({}) lie over too many outlines ({})", self.lines.len(), rings.len());
            self.faults.push(Fault::new(what, "read one layer at a time, or with a coarser chord tolerance"));
        }
        too_much
    }

    /// Joins open lines; those that close become rings, the others come back.
    fn join(&mut self, which: &[usize], rings: &mut Vec<DrawnRing>) -> Vec<Joined> {
        let pieces: Vec<(usize, &Path)> = which.iter().map(|&i| (i, &self.lines[i].points)).collect();
        let (closed, open): (Vec<Joined>, Vec<Joined>) = chain(&pieces, self.options.join_tolerance).into_iter().partition(|c| c.closed);
        for ring in closed {
            for (at, gap) in &ring.joins {
                let name = ring.owners.first().map_or("", |&i| self.lines[i].label.as_str());
                let what = format!("two ends {gap:.3} mm apart were joined");
                self.warnings.push(Fault::new(what, "draw them to one point if that is not meant").at(name, at.x, at.y));
            }
            self.take_ring(&ring.points, &ring.owners, rings);
        }
        open
    }

    fn take_ring(&mut self, points: &[Point], owners: &[usize], rings: &mut Vec<DrawnRing>) {
        if let Some(ring) = DrawnRing::new(points, owners, self.lines, &self.meanings, &mut self.faults) {
            rings.push(ring);
        }
        // A faulty ring is claimed too: its fault has been told.
        for &i in owners {
            self.ledger.used(i);
        }
    }

    /// Says of every open chain why it is no net line: a fault if it seems meant as one.
    fn explain_open(&mut self, open: &[Joined], rings: &[DrawnRing]) {
        for c in open {
            let (Some(&first), Some(&last), Some(&owner)) = (c.points.first(), c.points.last(), c.owners.first()) else { continue };
            let label = self.lines[owner].label.as_str();
            let gap = first.distance(last);
            let names_kind = c.owners.iter().find_map(|&i| match self.meanings[i] {
                Meaning::Role(Role::Edge(kind)) => Some((i, kind)),
                _ => None,
            });
            let chain_box = ring_bounds(&c.points);
            let lies_in = rings.iter().any(|r| {
                let near = chain_box.zip(ring_bounds(&r.points)).is_some_and(|(a, b)| overlap(&a, &b));
                near && samples(&c.points, false).iter().any(|&p| ring_contains(&r.points, p) || distance(&r.points, p) <= BESIDE)
            });
            if let Some(junction) = c.junctions.first().filter(|_| !lies_in) {
                self.faults.push(
                    Fault::new(
                        "three or more line ends come together, so it is not clear which two belong to the outline",
                        format!("delete the line that is not part of it, or put it on a layer named for its role ({ROLE_WORDS})"),
                    )
                    .at(label, junction.x, junction.y),
                );
            } else if let Some((i, kind)) = names_kind {
                let line = &self.lines[i];
                let nearest = rings.iter().filter_map(|r| departs(&r.points, &line.points, line.closed)).min_by(|a, b| a.1.total_cmp(&b.1));
                let (at, how) = match nearest {
                    Some((p, d)) if d < 1000.0 => (p, format!("it departs from the nearest outline by {d:.2} mm")),
                    _ => (first, format!("its ends are {gap:.2} mm apart, so that it is no outline itself")),
                };
                self.faults.push(
                    Fault::new(
                        format!("names {} edges but runs along none: {how}", word(kind)),
                        "draw it on the net line, or rename its layer",
                    )
                    .at(line.label.clone(), at.x, at.y),
                );
            } else if !lies_in && c.points.len() > 2 && gap <= 0.1 * path_length(&c.points) {
                self.faults.push(
                    Fault::new(
                        format!(
                            "an outline is open: its ends are {gap:.2} mm apart, ({:.2}, {:.2}) and ({:.2}, {:.2})",
                            first.x, first.y, last.x, last.y
                        ),
                        "close it in the drawing; only ends within the join tolerance are joined",
                    )
                    .at(label, first.x, first.y),
                );
            } else {
                let why = if lies_in {
                    "an open line in an outline, on no layer that says what it is for"
                } else {
                    "an open line, and no outline"
                };
                for &i in &c.owners {
                    self.ledger.left(i, format!("is {why} (layers understood: {ROLE_WORDS})"));
                }
            }
        }
    }

    fn no_outline(&self) -> Fault {
        let roles: Vec<&DrawnLine> = self.open_tasks().map(|i| &self.lines[i]).collect();
        let example = roles.iter().find(|l| l.closed).or(roles.first());
        match example {
            Some(line) => Fault::new(
                format!("there is no closed outline: {} is taken for something else by the name of its layer", line.label),
                format!(
                    "draw the net line closed, in a group or layer whose name ends in none of: {ROLE_WORDS}; the names there are: {}",
                    self.names()
                ),
            ),
            None => Fault::new(
                "there is no closed outline in it",
                format!("draw the net line as a closed line; the names there are: {}", self.names()),
            ),
        }
    }

    /// One outline a nest, each with the lines that lie in it or along it.
    fn outlines(&mut self, mut rings: Vec<DrawnRing>, nests: &[Nest], nested_well: bool) -> Vec<Outline> {
        self.give_kinds(&mut rings, nests);
        let boxes: Vec<Option<Bounds>> = nests.iter().map(|n| ring_bounds(&rings[n.net].points)).collect();
        let mut parts: Vec<Parts> = nests.iter().map(|_| Parts::default()).collect();
        for i in self.open_tasks().collect::<Vec<_>>() {
            let Meaning::Role(role) = self.meanings[i] else { continue };
            if let Some(host) = self.host(i, role, &rings, nests, &boxes) {
                self.ledger.used(i);
                match role {
                    Role::Arrow => parts[host].arrow.push(i),
                    Role::Cut => parts[host].cuts.push(i),
                    Role::NoSplice => parts[host].zones.push(i),
                    _ => parts[host].marks.push(i),
                }
            } else {
                self.ledger.left(i, "lies in no outline");
            }
        }
        let mut outlines = Vec::new();
        for (n, part) in nests.iter().zip(parts) {
            let draft = self.draft(n, &part, &rings);
            let sound = nested_well && rings[n.net].sound && n.holes.iter().all(|&h| rings[h].sound);
            if !sound {
                continue; // Its faults have been told.
            }
            if let Some(outline) = self.faults.keep(Outline::new(draft)) {
                outlines.push(outline);
            }
        }
        outlines
    }

    fn give_kinds(&mut self, rings: &mut [DrawnRing], nests: &[Nest]) {
        let nets: BTreeSet<usize> = nests.iter().map(|n| n.net).collect();
        for i in self.open_tasks().collect::<Vec<_>>() {
            let Meaning::Role(Role::Edge(kind)) = self.meanings[i] else { continue };
            let line = &self.lines[i];
            for (k, ring) in rings.iter_mut().enumerate() {
                if departs(&ring.points, &line.points, line.closed).is_some() {
                    continue;
                }
                self.ledger.used(i);
                if !nets.contains(&k) {
                    let p = line.points[0];
                    let what = format!("runs along the hole {}: edges of holes have no kind", ring.label);
                    self.warnings.push(Fault::new(what, "delete it, or draw it along the net line").at(line.label.clone(), p.x, p.y));
                    continue;
                }
                if let Err((at, had)) = give_kind(&mut ring.points, &mut ring.edges, &line.points, line.closed, kind) {
                    let what = match had {
                        Some(had) => format!("names an edge {} that another line names {}", word(kind), word(had)),
                        None => format!("names {} edges but does not follow the outline from end to end", word(kind)),
                    };
                    self.faults.push(Fault::new(what, "let each edge have one line along it").at(line.label.clone(), at.x, at.y));
                }
            }
        }
    }

    /// The outline a line lies in; the last resort of an arrow is the only outline there is.
    fn host(&mut self, line: usize, role: Role, rings: &[DrawnRing], nests: &[Nest], boxes: &[Option<Bounds>]) -> Option<usize> {
        let line = &self.lines[line];
        let probes = samples(&line.points, line.closed);
        let within =
            |b: &Bounds, p: Point| p.x >= b.min.x - BESIDE && p.x <= b.max.x + BESIDE && p.y >= b.min.y - BESIDE && p.y <= b.max.y + BESIDE;
        let score = |k: usize| {
            let net = &rings[nests[k].net].points;
            let Some(b) = &boxes[k] else { return (0, 0) };
            let near: Vec<Point> = probes.iter().copied().filter(|&p| within(b, p)).collect();
            let inside = near.iter().filter(|&&p| ring_contains(net, p)).count();
            let beside = if inside == 0 { near.iter().filter(|&&p| distance(net, p) <= BESIDE).count() } else { 0 };
            (inside, beside)
        };
        let scores: Vec<(usize, usize)> = (0..nests.len()).map(score).collect();
        let best = (0..nests.len()).filter(|&k| scores[k] != (0, 0)).max_by(|&a, &b| scores[a].cmp(&scores[b]).then(b.cmp(&a)));
        let first = line.points.first().copied().unwrap_or_default();
        if let Some(best) = best {
            if let Some(other) = (0..nests.len()).find(|&k| k != best && scores[k].0 > 0) {
                let (a, b) = (&rings[nests[best].net].label, &rings[nests[other].net].label);
                let warning =
                    Fault::new(format!("lies in two outlines, {a} and {b}; it was given to the first"), "keep it within one of them");
                self.warnings.push(warning.at(line.label.clone(), first.x, first.y));
            }
            return Some(best);
        }
        if role == Role::Arrow && nests.len() == 1 {
            let warning = Fault::new("lies outside the outline; it was taken for its arrow because there is no other", "draw it inside");
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
            let warning =
                Fault::new("is a closed relief cut: cutting it would make a hole", "name it a hole if it is one, or draw it open");
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
        net.lines.iter().map(|&i| telling_name(&self.lines[i].names)).find(|n| !n.is_empty()).unwrap_or_default()
    }

    fn zones(&mut self, which: &[usize]) -> Vec<Path> {
        let mut zones: Vec<Path> = which.iter().filter(|&&i| self.lines[i].closed).map(|&i| self.lines[i].points.clone()).collect();
        let open: Vec<(usize, &Path)> = which.iter().filter(|&&i| !self.lines[i].closed).map(|&i| (i, &self.lines[i].points)).collect();
        for c in chain(&open, self.options.join_tolerance) {
            let label = c.owners.first().map_or("", |&i| self.lines[i].label.as_str());
            if c.closed {
                zones.push(c.points);
            } else if let (Some(a), Some(b)) = (c.points.first(), c.points.last()) {
                let what = format!("is a no-splice zone that is not closed: its ends are {:.2} mm apart", a.distance(*b));
                self.faults.push(Fault::new(what, "draw the zone as a closed line").at(label, a.x, a.y));
            }
        }
        zones
    }

    fn arrow(&mut self, which: &[usize]) -> Option<[Point; 2]> {
        let &first = which.first()?;
        let label = self.lines[first].label.clone();
        let at = self.lines[first].points.first().copied().unwrap_or_default();
        let (what, remedy, at) = if which.len() > MOST_ARROW_LINES {
            (format!("the arrow has {} lines", which.len()), "draw it as one line from tail to head", at)
        } else {
            let lines: Vec<(&Path, bool)> = which.iter().map(|&i| (&self.lines[i].points, self.lines[i].closed)).collect();
            match tail_and_head(&lines) {
                Ok(arrow) => return Some(arrow),
                Err(NoArrow::Several(a, b)) => {
                    (format!("there is more than one arrow in the outline; another is at ({:.2}, {:.2})", b.x, b.y), "keep one", a)
                }
                Err(NoArrow::NoShaft(p)) => {
                    ("none of the arrow's lines is clearly its shaft".into(), "draw the shaft longest, from tail to head", p)
                }
                Err(NoArrow::TwoHeads(p)) => ("the arrow has a head at both ends".into(), "keep the head at the 0° end only", p),
                Err(NoArrow::NotStraight(p)) => ("the arrow is not straight".into(), "draw it as one straight line from tail to head", p),
            }
        };
        self.faults.push(Fault::new(what, remedy).at(label, at.x, at.y));
        None
    }
}

/// The lines of the other roles that lie in one outline.
#[derive(Default)]
struct Parts {
    arrow: Vec<usize>,
    cuts: Vec<usize>,
    marks: Vec<usize>,
    zones: Vec<usize>,
}

fn overlap(a: &Bounds, b: &Bounds) -> bool {
    a.min.x <= b.max.x + BESIDE && b.min.x <= a.max.x + BESIDE && a.min.y <= b.max.y + BESIDE && b.min.y <= a.max.y + BESIDE
}

fn word(kind: super::EdgeKind) -> String {
    format!("{kind:?}").to_lowercase()
}
