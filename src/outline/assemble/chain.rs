//! Joins open lines end to end.
//!
//! First the ends that coincide on the 1 µm grid, then, nearest first, those within the tolerance.
//! Where three or more ends come together it is not clear which two belong to each other: such ends
//! are left alone and named.

use crate::geometry::{Path, Point};
use crate::units::micrometres;
use std::collections::{BTreeMap, BTreeSet};

/// A gap up to this is none, mm.
const NO_GAP: f64 = 0.001;

/// Most neighbours of an end that are looked at: more than two make a junction anyway.
const MOST_NEIGHBOURS: usize = 8;

/// Lines joined end to end.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Joined {
    /// The points; if closed, the first is not repeated.
    pub points: Path,
    /// For each point the line (index as given) whose edge starts there; in an open chain the last
    /// point's is the last line.
    pub owners: Vec<usize>,
    /// True if the chain closes.
    pub closed: bool,
    /// Where ends were moved together: place and gap, mm; only gaps over 1 µm.
    pub joins: Vec<(Point, f64)>,
    /// Ends of an open chain at which three or more ends come together.
    pub junctions: Vec<Point>,
}

type End = (usize, bool);

/// Joins open lines; each comes with the index that names it in [`Joined::owners`]. Every line is
/// in exactly one chain.
pub(super) fn chain(lines: &[(usize, &Path)], tolerance: f64) -> Vec<Joined> {
    let mut partner: BTreeMap<End, End> = BTreeMap::new();
    let mut crowded: BTreeSet<End> = BTreeSet::new();
    join_equal(lines, &mut partner, &mut crowded);
    join_near(lines, tolerance, &mut partner, &mut crowded);

    let mut done = vec![false; lines.len()];
    let mut out = Vec::new();
    // Open chains start at a free end; what is left then are loops.
    for start in 0..lines.len() {
        for at_end in [false, true] {
            if !done[start] && !partner.contains_key(&(start, at_end)) {
                out.push(walk(lines, &partner, &crowded, (start, at_end), &mut done));
            }
        }
    }
    for start in 0..lines.len() {
        if !done[start] {
            out.push(walk(lines, &partner, &crowded, (start, false), &mut done));
        }
    }
    out.sort_by_key(|c| c.owners.iter().min().copied());
    out
}

fn position(lines: &[(usize, &Path)], (line, at_end): End) -> Option<Point> {
    let points = lines[line].1;
    if at_end { points.last().copied() } else { points.first().copied() }
}

fn all_ends(lines: &[(usize, &Path)]) -> impl Iterator<Item = (End, Point)> {
    (0..lines.len())
        .flat_map(move |i| [(i, false), (i, true)])
        .filter_map(move |e| position(lines, e).map(|p| (e, p)))
}

fn join_equal(
    lines: &[(usize, &Path)],
    partner: &mut BTreeMap<End, End>,
    crowded: &mut BTreeSet<End>,
) {
    let mut at: BTreeMap<(i64, i64), Vec<End>> = BTreeMap::new();
    for (end, p) in all_ends(lines) {
        at.entry((micrometres(p.x), micrometres(p.y))).or_default().push(end);
    }
    for ends in at.values() {
        match ends.as_slice() {
            [_] => {}
            [a, b] => {
                partner.insert(*a, *b);
                partner.insert(*b, *a);
            }
            more => crowded.extend(more),
        }
    }
}

fn join_near(
    lines: &[(usize, &Path)],
    tolerance: f64,
    partner: &mut BTreeMap<End, End>,
    crowded: &mut BTreeSet<End>,
) {
    let cell = tolerance.max(NO_GAP);
    let key = |p: Point| ((p.x / cell).floor() as i64, (p.y / cell).floor() as i64);
    let free: Vec<(End, Point)> =
        all_ends(lines).filter(|(e, _)| !partner.contains_key(e) && !crowded.contains(e)).collect();
    let mut cells: BTreeMap<(i64, i64), Vec<(End, Point)>> = BTreeMap::new();
    for &(end, p) in &free {
        let in_cell = cells.entry(key(p)).or_default();
        if in_cell.len() < MOST_NEIGHBOURS {
            in_cell.push((end, p));
        }
    }
    let mut pairs: Vec<(f64, End, End)> = Vec::new();
    for &(end, p) in &free {
        let (kx, ky) = key(p);
        let near: Vec<(f64, End)> = (-1..=1)
            .flat_map(|dx| (-1..=1).map(move |dy| (kx.saturating_add(dx), ky.saturating_add(dy))))
            .filter_map(|k| cells.get(&k))
            .flatten()
            .filter(|(other, _)| *other != end)
            .map(|&(other, q)| (p.distance(q), other))
            .filter(|&(d, other)| {
                d <= tolerance + 1e-9 && !(other.0 == end.0 && is_dot(lines[end.0].1, tolerance))
            })
            .collect();
        if near.len() > 1 {
            crowded.insert(end);
        }
        pairs.extend(
            near.into_iter().filter(|&(_, other)| end < other).map(|(d, other)| (d, end, other)),
        );
    }
    pairs.retain(|(_, a, b)| !crowded.contains(a) && !crowded.contains(b));
    pairs.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)).then(a.2.cmp(&b.2)));
    for (_, a, b) in pairs {
        if !partner.contains_key(&a) && !partner.contains_key(&b) {
            partner.insert(a, b);
            partner.insert(b, a);
        }
    }
}

/// A line so short that its own two ends are near each other without a way round.
fn is_dot(points: &Path, tolerance: f64) -> bool {
    crate::geometry::path_length(points) <= 4.0 * tolerance
}

fn walk(
    lines: &[(usize, &Path)],
    partner: &BTreeMap<End, End>,
    crowded: &BTreeSet<End>,
    start: End,
    done: &mut [bool],
) -> Joined {
    let mut out = Joined {
        points: Path::new(),
        owners: Vec::new(),
        closed: false,
        joins: Vec::new(),
        junctions: Vec::new(),
    };
    let mut entry = start;
    let mut exit;
    loop {
        let (line, entered_at_end) = entry;
        done[line] = true;
        let (owner, points) = lines[line];
        let mut points: Path = points.clone();
        if entered_at_end {
            points.reverse();
        }
        // The first point is the last of the line before, moved half-way.
        if let (Some(last), Some(first)) = (out.points.pop(), points.first_mut()) {
            out.owners.pop();
            *first = meet(last, *first, &mut out.joins);
        }
        out.owners.extend(std::iter::repeat_n(owner, points.len()));
        out.points.append(&mut points);
        exit = (line, !entered_at_end);
        match partner.get(&exit) {
            None => break,
            Some(&next) if next == start => {
                out.closed = true;
                break;
            }
            Some(&next) => entry = next,
        }
    }
    if out.closed {
        if let (Some(last), Some(first)) = (out.points.pop(), out.points.first_mut()) {
            out.owners.pop();
            *first = meet(last, *first, &mut out.joins);
        }
    } else {
        out.junctions.extend(
            [start, exit]
                .iter()
                .filter(|e| crowded.contains(e))
                .filter_map(|&e| position(lines, e)),
        );
    }
    out
}

fn meet(a: Point, b: Point, joins: &mut Vec<(Point, f64)>) -> Point {
    let gap = a.distance(b);
    if gap <= NO_GAP {
        return a;
    }
    let middle = (a + b) * 0.5;
    joins.push((middle, gap));
    middle
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geometry::point;

    fn path(points: &[(f64, f64)]) -> Path {
        points.iter().map(|&(x, y)| point(x, y)).collect()
    }

    fn joined(lines: &[Path], tolerance: f64) -> Vec<Joined> {
        chain(&lines.iter().enumerate().map(|(i, p)| (i + 10, p)).collect::<Vec<_>>(), tolerance)
    }

    #[test]
    fn four_sides_in_any_direction_make_a_ring() {
        let sides = [
            path(&[(0.0, 0.0), (10.0, 0.0)]),
            path(&[(10.0, 10.0), (10.0, 0.0)]),
            path(&[(0.0, 10.0), (0.0, 0.0)]),
            path(&[(0.0, 10.0), (10.0, 10.0)]),
        ];
        let rings = joined(&sides, 0.1);
        assert_eq!(rings.len(), 1);
        assert!(rings[0].closed && rings[0].joins.is_empty());
        assert_eq!(rings[0].points, path(&[(0.0, 0.0), (10.0, 0.0), (10.0, 10.0), (0.0, 10.0)]));
        assert_eq!(rings[0].owners, [10, 11, 13, 12]);
    }

    #[test]
    fn a_gap_within_the_tolerance_is_closed_half_way_and_told() {
        let lines = [
            path(&[(0.0, 0.0), (10.0, 0.0), (10.0, 10.0)]),
            path(&[(10.06, 10.08), (0.0, 10.0), (0.0, 0.0)]),
        ];
        let rings = joined(&lines, 0.1);
        assert!(rings[0].closed);
        assert_eq!(rings[0].joins.len(), 1);
        let (at, gap) = rings[0].joins[0];
        assert!((gap - 0.1).abs() < 1e-9 && at.distance(point(10.03, 10.04)) < 1e-9);
        assert!(!joined(&lines, 0.05)[0].closed);
    }

    #[test]
    fn one_line_that_comes_back_is_a_ring() {
        let rings = joined(&[path(&[(0.0, 0.0), (10.0, 0.0), (10.0, 10.0), (0.05, 0.0)])], 0.1);
        assert!(rings[0].closed);
        assert_eq!((rings[0].points.len(), rings[0].joins.len()), (3, 1));
    }

    #[test]
    fn three_ends_in_one_place_stay_apart_and_are_named() {
        let lines = [
            path(&[(0.0, 0.0), (10.0, 0.0)]),
            path(&[(10.0, 0.0), (10.0, 10.0)]),
            path(&[(10.0, 0.0), (20.0, 0.0)]),
        ];
        let chains = joined(&lines, 0.1);
        assert_eq!(chains.len(), 3);
        assert!(chains.iter().all(|c| !c.closed && c.junctions == [point(10.0, 0.0)]));
    }

    #[test]
    fn short_pieces_of_a_curve_join_in_their_order() {
        // Pieces far shorter than the tolerance, as from a curve exploded into lines.
        let pieces: Vec<Path> = (0..400)
            .map(|i| {
                let at = |k: i32| {
                    let t = f64::from(k % 400) / 400.0 * std::f64::consts::TAU;
                    point(libm::cos(t), libm::sin(t)).snapped()
                };
                vec![at(i), at(i + 1)]
            })
            .collect();
        let rings = joined(&pieces, 0.1);
        assert_eq!(rings.len(), 1);
        assert!(rings[0].closed);
        assert_eq!(rings[0].points.len(), 400);
    }

    #[test]
    fn a_thousand_ends_in_one_place_end_soon() {
        let lines: Vec<Path> =
            (0..1000).map(|i| path(&[(0.0, 0.0), (10.0, f64::from(i) * 1e-5)])).collect();
        assert_eq!(joined(&lines, 0.1).len(), 1000);
    }
}
