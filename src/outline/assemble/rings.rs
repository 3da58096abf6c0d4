//! From closed lines to net lines and their holes.

use super::along::{distance, samples};
use crate::fault::{Fault, Faults, Said};
use crate::geometry::{
    Bounds, Chain, Meeting, Point, Ring, meetings_unless, ring_area, ring_bounds, ring_contains,
};
use crate::outline::roles::Meaning;
use crate::outline::validity::{numbers_hold, ring_holds, tidy_ring};
use crate::outline::{DrawnLine, EdgeKind, Role};
use crate::run::{Phase, Run};
use std::collections::{BTreeMap, BTreeSet};

/// Most rings of one drawing.
pub(super) const MOST_RINGS: usize = 5_000;

/// Most duplicates or crossings that are named.
const MOST_NAMED: usize = 20;

/// Most places at which two rings in the same box are compared.
const MOST_COMPARED: usize = 256;

/// Most meetings between rings that are looked at.
const MOST_MEETINGS: usize = 20_000;

/// A closed line, or several joined into one.
#[derive(Clone, Debug)]
pub(super) struct DrawnRing {
    /// Tidy, on the grid.
    pub points: Ring,
    /// Kind of each edge, where its line's layer gives one.
    pub edges: Vec<Option<EdgeKind>>,
    /// The lines it is made of.
    pub lines: BTreeSet<usize>,
    /// Drawn as a hole, as a net line, or neither.
    pub meaning: Meaning,
    /// For messages.
    pub label: String,
    /// False if its faults have been told: it still has an inside, but makes no outline.
    pub sound: bool,
}

/// A net line and the rings that are its holes, by index.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Nest {
    pub net: usize,
    pub holes: Vec<usize>,
}

impl DrawnRing {
    /// Snaps, tidies and checks a ring; `owners` gives for each point the line its edge belongs to.
    pub(super) fn new(
        points: &[Point],
        owners: &[usize],
        lines: &[DrawnLine],
        meanings: &[Meaning],
        faults: &mut Faults,
    ) -> Option<DrawnRing> {
        let of: BTreeSet<usize> = owners.iter().copied().collect();
        let first = *of.first()?;
        let label = match of.len() {
            1 => lines[first].label.clone(),
            2 => format!("{} and one more line", lines[first].label),
            n => format!("{} and {} more lines", lines[first].label, n - 1),
        };
        if !numbers_hold(&label, points, faults) {
            return None;
        }
        let mut ring: Ring = points.iter().map(|p| p.snapped()).collect();
        let kind = |owner: &usize| match meanings[*owner] {
            Meaning::Role(Role::Edge(kind)) => Some(kind),
            _ => None,
        };
        let mut edges: Vec<Option<EdgeKind>> = owners.iter().map(kind).collect();
        tidy_ring(&mut ring, &mut edges);
        let meaning = [Meaning::Hole, Meaning::Net]
            .into_iter()
            .find(|m| of.iter().any(|&i| meanings[i] == *m))
            .unwrap_or(Meaning::Plain);
        let sound = ring_holds(&label, &ring, faults);
        (!ring.is_empty()).then_some(DrawnRing {
            points: ring,
            edges,
            lines: of,
            meaning,
            label,
            sound,
        })
    }

    fn fault(&self, what: impl Into<Said>, remedy: &'static str, at: Point) -> Fault {
        Fault::new(what, remedy).at(self.label.clone(), at.x, at.y)
    }
}

/// Tells net lines from holes by nesting; every duplicate, crossing or wrongly nested ring is a
/// fault.
pub(super) fn nest(
    rings: &[DrawnRing],
    tolerance: f64,
    faults: &mut Faults,
    run: &Run<'_>,
) -> Vec<Nest> {
    let boxes: Vec<Bounds> = rings
        .iter()
        .map(|r| {
            ring_bounds(&r.points)
                .unwrap_or(Bounds { min: Point::default(), max: Point::default() })
        })
        .collect();
    let before = faults.0.len();
    duplicates(rings, &boxes, tolerance, faults);
    if faults.0.len() == before {
        crossings(rings, faults, run);
    }
    if faults.0.len() > before {
        return Vec::new();
    }
    let inside = |inner: usize, outer: usize| {
        let (a, b) = (boxes[inner], boxes[outer]);
        let fits =
            a.min.x >= b.min.x && a.min.y >= b.min.y && a.max.x <= b.max.x && a.max.y <= b.max.y;
        inner != outer && fits && lies_inside(&rings[inner].points, &rings[outer].points)
    };
    // Two containers are enough to know that a ring lies in a hole.
    let containers: Vec<Vec<usize>> = (0..rings.len())
        .map(|i| {
            if run.is_stopped(Phase::Reading) {
                Vec::new()
            } else {
                (0..rings.len()).filter(|&j| inside(i, j)).take(2).collect()
            }
        })
        .collect();
    let mut nests: Vec<Nest> = Vec::new();
    for (i, ring) in rings.iter().enumerate().filter(|&(i, _)| containers[i].is_empty()) {
        if ring.meaning == Meaning::Hole {
            faults.push(ring.fault(
                "is drawn as a hole but lies in no outline",
                "move it inside its outline, or rename its layer",
                ring.points[0],
            ));
        }
        nests.push(Nest { net: i, holes: Vec::new() });
    }
    for (i, ring) in rings.iter().enumerate() {
        match containers[i].as_slice() {
            [] => {}
            [outer] if ring.meaning == Meaning::Net => faults.push(ring.fault(
                said!("is wrongly nested: it or its layer is named as a net line, and it lies inside {}", rings[*outer].label),
                "name a hole as one (a group or layer ending in `hole`), or draw two outlines beside each other",
                ring.points[0],
            )),
            [outer] => {
                if let Ok(at) = nests.binary_search_by_key(outer, |n| n.net) {
                    nests[at].holes.push(i);
                }
            }
            [first, second, ..] => faults.push(ring.fault(
                said!("is wrongly nested: it lies inside both {} and {}", rings[*first].label, rings[*second].label),
                "draw an outline inside a hole of another beside it instead",
                ring.points[0],
            )),
        }
    }
    nests
}

fn duplicates(rings: &[DrawnRing], boxes: &[Bounds], tolerance: f64, faults: &mut Faults) {
    let slack = tolerance.max(0.001);
    let mut told = 0;
    let mut order: Vec<usize> = (0..rings.len()).collect();
    order.sort_by(|&a, &b| boxes[a].min.x.total_cmp(&boxes[b].min.x).then(a.cmp(&b)));
    for (k, &i) in order.iter().enumerate() {
        for &j in order[k + 1..].iter().take_while(|&&j| boxes[j].min.x <= boxes[i].min.x + slack) {
            let near = |a: Point, b: Point| a.distance(b) <= slack;
            let same_box = near(boxes[i].min, boxes[j].min) && near(boxes[i].max, boxes[j].max);
            let covers = |a: &Ring, b: &Ring| {
                let places = samples(a, true);
                let step = places.len().div_ceil(MOST_COMPARED);
                places.iter().step_by(step.max(1)).all(|&p| distance(b, p) <= slack)
            };
            if same_box
                && covers(&rings[i].points, &rings[j].points)
                && covers(&rings[j].points, &rings[i].points)
            {
                let (first, second) = (i.min(j), i.max(j));
                faults.push(rings[second].fault(
                    said!("is a duplicate of {}", rings[first].label),
                    "delete one of the two",
                    rings[second].points[0],
                ));
                told += 1;
                if told == MOST_NAMED {
                    return;
                }
            }
        }
    }
}

fn crossings(rings: &[DrawnRing], faults: &mut Faults, run: &Run<'_>) {
    let sound: Vec<&DrawnRing> = rings.iter().filter(|r| r.sound).collect();
    let chains: Vec<Chain<'_>> =
        sound.iter().map(|r| Chain { points: &r.points, closed: true }).collect();
    let found = match meetings_unless(&chains, MOST_MEETINGS, &|| run.is_stopped(Phase::Reading)) {
        Ok(found) if found.len() < MOST_MEETINGS => found,
        _ => {
            faults.push(Fault::new(
                "the outlines cross each other almost everywhere",
                "draw the outlines apart from each other",
            ));
            return;
        }
    };
    // The first meeting of each two rings, a true crossing before a touch.
    let mut pairs: BTreeMap<(usize, usize), Meeting> = BTreeMap::new();
    for m in found.into_iter().filter(|m| m.a.0 != m.b.0) {
        let first = pairs.entry((m.a.0, m.b.0)).or_insert(m);
        if m.crossing && !first.crossing {
            *first = m;
        }
    }
    let mut told = 0;
    for ((a, b), m) in pairs {
        let (a, b) = (sound[a], sound[b]);
        let verb = match (m.crossing, sides(&a.points, &b.points), sides(&b.points, &a.points)) {
            // Two outlines side by side may share an edge or a corner.
            (false, Side::Outside, Side::Outside) => continue,
            (false, Side::Inside, _) | (false, _, Side::Inside) => "touches",
            _ => "crosses",
        };
        faults.push(b.fault(
            said!("{verb} {}", a.label),
            "move the two apart, or join them into one line",
            m.at,
        ));
        told += 1;
        if told == MOST_NAMED {
            return;
        }
    }
}

#[derive(Clone, Copy, PartialEq)]
enum Side {
    Inside,
    Outside,
    Both,
}

/// On which side of `outer` the parts of `inner` lie that are not on it.
fn sides(inner: &Ring, outer: &Ring) -> Side {
    let (mut any_in, mut any_out) = (false, false);
    for p in samples(inner, true).into_iter().filter(|&p| distance(outer, p) > 0.002) {
        *(if ring_contains(outer, p) { &mut any_in } else { &mut any_out }) = true;
    }
    match (any_in, any_out) {
        (true, false) => Side::Inside,
        (true, true) => Side::Both,
        _ => Side::Outside,
    }
}

/// True if a ring lies inside another that it does not cross; they may touch from outside.
fn lies_inside(inner: &Ring, outer: &Ring) -> bool {
    if ring_area(inner).abs() > ring_area(outer).abs() {
        return false;
    }
    let clear = samples(inner, true).into_iter().find(|&p| distance(outer, p) > 0.002);
    clear.is_some_and(|p| ring_contains(outer, p))
}
