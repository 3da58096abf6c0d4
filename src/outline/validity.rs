//! The checks that make an outline valid: numbers, size, simple rings, holes in their place.

use super::EdgeKind;
use crate::fault::{Fault, Faults};
use crate::geometry::{Chain, Point, Ring, meetings, ring_area, ring_contains, within_reach};

/// Most points that one line may have. A skin drawn by hand has hundreds; ten times this is a scan
/// that wants simplifying.
pub(super) const MOST_POINTS: usize = 20_000;

/// Most holes, cuts, marks or zones of one outline.
const MOST_LINES: usize = 5_000;

/// A ring whose mean width (twice its area by its length) is less is a sliver that no one can cut,
/// mm.
const LEAST_MEAN_WIDTH: f64 = 0.02;

/// A corner that comes back within this of where it went out is a spike, mm.
const SPIKE_WIDTH: f64 = 0.005;

/// Meetings looked at before giving up the count.
const MOST_MEETINGS: usize = 1_000;

/// Most faults of one kind that are named for one ring.
const MOST_NAMED: usize = 8;

/// Refuses points that are no numbers or farther out than the supported 100 m, and lines of too
/// many points. True if all is well.
pub(super) fn numbers_hold(what: &str, points: &[Point], faults: &mut Faults) -> bool {
    if points.len() > MOST_POINTS {
        faults.push(Fault::new(
            said!("{what} has {} points; at most {MOST_POINTS} are taken", points.len()),
            "simplify the line in the drawing program, or read it with a coarser chord tolerance",
        ));
        return false;
    }
    if let Err(fault) = within_reach(&what, points) {
        faults.push(fault);
        return false;
    }
    true
}

/// Refuses more lines of one sort than are supported.
pub(super) fn count_holds(what: &str, count: usize, faults: &mut Faults) {
    if count > MOST_LINES {
        faults.push(Fault::new(
            said!("the outline has {count} {what}; at most {MOST_LINES} are taken"),
            "split the drawing",
        ));
    }
}

/// Drops points that repeat the one before, and points in the middle of a straight edge of one
/// kind. `edges` is empty or as long as the ring.
pub(super) fn tidy_ring(ring: &mut Ring, edges: &mut Vec<Option<EdgeKind>>) {
    let kinds = !edges.is_empty();
    let mut points: Vec<(Point, Option<EdgeKind>)> =
        ring.iter().enumerate().map(|(i, &p)| (p, edges.get(i).copied().flatten())).collect();
    // The kind belongs to the edge that starts at a point: of a repeated point the last one's edge
    // has length.
    let mut kept: Vec<(Point, Option<EdgeKind>)> = Vec::with_capacity(points.len());
    for entry in points.drain(..) {
        match kept.last_mut() {
            Some(last) if last.0 == entry.0 => *last = entry,
            _ => kept.push(entry),
        }
    }
    while kept.len() > 1 && kept.first().map(|e| e.0) == kept.last().map(|e| e.0) {
        kept.pop();
    }
    let mut straight: Vec<(Point, Option<EdgeKind>)> = Vec::with_capacity(kept.len());
    for (i, &entry) in kept.iter().enumerate() {
        let before = straight.last().copied().unwrap_or(kept[(i + kept.len() - 1) % kept.len()]);
        let after = kept[(i + 1) % kept.len()].0;
        if before.1 != entry.1 || !in_straight_run(before.0, entry.0, after) {
            straight.push(entry);
        }
    }
    *ring = straight.iter().map(|e| e.0).collect();
    if kinds {
        *edges = straight.iter().map(|e| e.1).collect();
    }
}

/// Drops points of an open line that repeat the one before.
pub(super) fn tidy_path(path: &mut Vec<Point>) {
    path.dedup();
}

fn in_straight_run(a: Point, b: Point, c: Point) -> bool {
    // On the micrometre grid the rounded cross product of a straight run is far below half a square
    // micrometre.
    (b - a).cross(c - b).abs() < 0.25e-6 && (b - a).dot(c - b) > 0.0
}

/// A ring that is tidy must be simple and of more than no area. True if it is.
pub(super) fn ring_holds(what: &str, ring: &Ring, faults: &mut Faults) -> bool {
    let before = faults.0.len();
    let Some(&first) = ring.first() else {
        faults.push(Fault::new(said!("{what} has no points"), "draw it as a closed line"));
        return false;
    };
    let area = ring_area(ring).abs();
    let length: f64 =
        ring.iter().enumerate().map(|(i, p)| p.distance(ring[(i + 1) % ring.len()])).sum();
    let crossings = if ring.len() < 3 { 0 } else { crossings_of(what, ring, faults) };
    if ring.len() < 3 || area <= 0.0 {
        if crossings == 0 {
            faults.push(
                Fault::new(
                    "encloses no area",
                    "draw it as a closed line around an area, or delete it",
                )
                .at(what, first.x, first.y),
            );
        }
        return false;
    }
    if crossings == 0 {
        spikes_of(what, ring, faults);
        if 2.0 * area / length < LEAST_MEAN_WIDTH {
            faults.push(
                Fault::new(
                    said!("is a sliver: {area:.3} mm² around {length:.1} mm"),
                    "delete it, or check the unit of the drawing",
                )
                .at(what, first.x, first.y),
            );
        }
    }
    faults.0.len() == before
}

fn crossings_of(what: &str, ring: &Ring, faults: &mut Faults) -> usize {
    let found = match meetings(&[Chain { points: ring, closed: true }], MOST_MEETINGS) {
        Ok(found) => found,
        Err(_) => {
            faults.push(Fault::new(
                said!("{what} crosses itself almost everywhere"),
                "draw it as one clean closed line",
            ));
            return usize::MAX;
        }
    };
    let mut named: Vec<Point> = Vec::new();
    for m in &found {
        if named.contains(&m.at) {
            continue;
        }
        named.push(m.at);
        if named.len() > MOST_NAMED {
            continue;
        }
        let folds_back = ring[m.a.1] == m.at || ring[(m.a.1 + 1) % ring.len()] == m.at;
        let (what_is_wrong, remedy) = if m.crossing {
            ("crosses itself", "move the points so that its edges do not cross")
        } else if folds_back && is_fold(ring, m.at) {
            ("folds back along itself", "remove that spike")
        } else {
            ("touches itself", "leave a gap there, or draw two outlines")
        };
        faults.push(Fault::new(what_is_wrong, remedy).at(what, m.at.x, m.at.y));
    }
    if named.len() > MOST_NAMED {
        faults.push(Fault::new(
            said!("{what} meets itself in {} more places", named.len() - MOST_NAMED),
            "draw it as one clean closed line",
        ));
    }
    named.len()
}

/// True if the ring turns right round at `p`.
fn is_fold(ring: &Ring, p: Point) -> bool {
    let n = ring.len();
    ring.iter().enumerate().any(|(i, &v)| {
        let (a, b) = (ring[(i + n - 1) % n] - v, ring[(i + 1) % n] - v);
        v == p && a.cross(b).abs() < 0.25e-6 && a.dot(b) > 0.0
    })
}

fn spikes_of(what: &str, ring: &Ring, faults: &mut Faults) {
    let n = ring.len();
    let spike = |i: usize| {
        let (a, v, b) = (ring[(i + n - 1) % n], ring[i], ring[(i + 1) % n]);
        let (nearer, farther) = if v.distance(a) <= v.distance(b) { (a, b) } else { (b, a) };
        (a - v).dot(b - v) > 0.0
            && v.distance(nearer) > SPIKE_WIDTH
            && nearer.distance_to_segment(v, farther) < SPIKE_WIDTH
    };
    for i in (0..n).filter(|&i| spike(i)).take(MOST_NAMED) {
        faults.push(
            Fault::new("runs out and back within a hundredth of a millimetre", "remove that spike")
                .at(what, ring[i].x, ring[i].y),
        );
    }
}

/// Holes must lie inside the net line, apart from it and from each other. All rings are simple by
/// now.
pub(super) fn holes_hold(net: &Ring, holes: &[Ring], faults: &mut Faults) {
    let mut chains = vec![Chain { points: net, closed: true }];
    chains.extend(holes.iter().map(|h| Chain { points: h, closed: true }));
    let Ok(found) = meetings(&chains, MOST_MEETINGS) else {
        faults.push(Fault::new(
            "the holes cross each other almost everywhere",
            "draw each hole as one clean closed line",
        ));
        return;
    };
    let mut met = vec![false; holes.len()];
    for m in found.iter().filter(|m| m.a.0 != m.b.0) {
        let hole = m.b.0 - 1;
        if !std::mem::replace(&mut met[hole], true) {
            let verb = if m.crossing { "crosses" } else { "touches" };
            let other =
                if m.a.0 == 0 { "the net line".to_string() } else { format!("hole {}", m.a.0) };
            faults.push(
                Fault::new(
                    said!("{verb} {other}"),
                    "move the hole clear, or join the two into one line",
                )
                .at(format!("hole {}", hole + 1), m.at.x, m.at.y),
            );
        }
    }
    for (i, hole) in holes.iter().enumerate().filter(|&(i, _)| !met[i]) {
        let p = hole[0];
        if !ring_contains(net, p) {
            faults.push(
                Fault::new("lies outside the net line", "move the hole inside, or delete it").at(
                    format!("hole {}", i + 1),
                    p.x,
                    p.y,
                ),
            );
        }
        if let Some(j) =
            (0..holes.len()).find(|&j| j != i && !met[j] && ring_contains(&holes[j], p))
        {
            faults.push(
                Fault::new(
                    said!("lies inside hole {}", j + 1),
                    "an island in a hole is an outline of its own: draw it beside",
                )
                .at(format!("hole {}", i + 1), p.x, p.y),
            );
        }
    }
}
