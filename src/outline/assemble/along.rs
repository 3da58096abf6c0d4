//! Lines that run along a ring and give its edges their kind.

use crate::geometry::{Path, Point, Ring, path_length, ring_bounds};
use crate::outline::EdgeKind;

/// How far a line may lie from the edges it runs along, mm.
const ALONG: f64 = 0.5;

/// Most places of one line that are looked at.
const MOST_SAMPLES: usize = 2_000;

/// The point of a line that lies farthest from the ring, and how far, mm; `None` if it runs along
/// the ring all the way.
pub(super) fn departs(ring: &Ring, line: &[Point], closed: bool) -> Option<(Point, f64)> {
    if let (Some(b), Some(first)) = (ring_bounds(ring), line.first()) {
        // Cheap: a line that starts beside the ring's box cannot run along it.
        let beside = (b.min.x - first.x)
            .max(first.x - b.max.x)
            .max(b.min.y - first.y)
            .max(first.y - b.max.y);
        if beside > ALONG {
            return Some((*first, distance(ring, *first)));
        }
    }
    // Of equally far points the first, a corner rather than the middle of a segment.
    let farther =
        |best: (Point, f64), next: (Point, f64)| if next.1 > best.1 { next } else { best };
    let farthest =
        samples(line, closed).into_iter().map(|p| (p, distance(ring, p))).reduce(farther)?;
    (farthest.1 > ALONG).then_some(farthest)
}

/// Gives the edges of `ring` that a line runs along its kind; edges in which the line ends are
/// split there. The line must not depart from the ring.
///
/// # Errors
/// The place of an edge that already has another kind, and that kind; or the line's start if no run
/// of edges is what it follows.
pub(super) fn give_kind(
    ring: &mut Ring,
    edges: &mut Vec<Option<EdgeKind>>,
    line: &[Point],
    closed: bool,
    kind: EdgeKind,
) -> Result<(), (Point, Option<EdgeKind>)> {
    let (Some(&first), Some(&last)) = (line.first(), line.last()) else {
        return Ok(());
    };
    let range = if closed {
        (0..ring.len()).collect()
    } else {
        let from = split_at(ring, edges, first);
        let to = split_at(ring, edges, last);
        followed(ring, line, from, to).ok_or((first, None))?
    };
    for i in range {
        match edges[i] {
            Some(had) if had != kind => {
                return Err(((ring[i] + ring[(i + 1) % ring.len()]) * 0.5, Some(had)));
            }
            _ => edges[i] = Some(kind),
        }
    }
    Ok(())
}

/// The run of edges between two vertices, one way round or the other, that the line follows.
fn followed(ring: &Ring, line: &[Point], from: Point, to: Point) -> Option<Vec<usize>> {
    let n = ring.len();
    let index = |p: Point| ring.iter().position(|&q| q == p);
    let (from, to) = (index(from)?, index(to)?);
    let run = |a: usize, b: usize| -> Vec<usize> {
        let count = if a == b { n } else { (b + n - a) % n };
        (0..count).map(|k| (a + k) % n).collect()
    };
    let length =
        |run: &[usize]| run.iter().map(|&i| ring[i].distance(ring[(i + 1) % n])).sum::<f64>();
    let line_length = path_length(line);
    let path: Path = line.to_vec();
    [run(from, to), run(to, from)]
        .into_iter()
        .filter(|run| {
            run.iter().all(|&i| {
                let (a, b) = (ring[i], ring[(i + 1) % n]);
                [0.0, 0.25, 0.5, 0.75]
                    .iter()
                    .all(|&t| distance_to_path(&path, a + (b - a) * t) <= ALONG)
            })
        })
        .map(|run| ((length(&run) - line_length).abs(), run))
        // A run much longer or shorter than the line is the other way round a narrow dart, not what
        // the line follows.
        .filter(|(off, _)| *off <= 2.0 * ALONG + 0.1 * line_length)
        .min_by(|a, b| a.0.total_cmp(&b.0))
        .map(|(_, run)| run)
}

/// The vertex at (or, after a split, exactly at) the foot of `p` on the ring.
fn split_at(ring: &mut Ring, edges: &mut Vec<Option<EdgeKind>>, p: Point) -> Point {
    let n = ring.len();
    let nearest = (0..n).min_by(|&i, &j| {
        p.distance_to_segment(ring[i], ring[(i + 1) % n])
            .total_cmp(&p.distance_to_segment(ring[j], ring[(j + 1) % n]))
    });
    let Some(i) = nearest else { return p };
    let (a, b) = (ring[i], ring[(i + 1) % n]);
    let along = b - a;
    let foot = (a + along
        * ((p - a).dot(along) / along.dot(along).max(f64::MIN_POSITIVE)).clamp(0.0, 1.0))
    .snapped();
    if foot.distance(a) <= ALONG || foot.distance(b) <= ALONG {
        return if foot.distance(a) <= foot.distance(b) { a } else { b };
    }
    ring.insert(i + 1, foot);
    edges.insert(i + 1, edges[i]);
    foot
}

/// Distance from a point to a closed ring, mm.
pub(super) fn distance(ring: &[Point], p: Point) -> f64 {
    (0..ring.len())
        .map(|i| p.distance_to_segment(ring[i], ring[(i + 1) % ring.len()]))
        .fold(f64::MAX, f64::min)
}

fn distance_to_path(path: &Path, p: Point) -> f64 {
    path.windows(2).map(|w| p.distance_to_segment(w[0], w[1])).fold(f64::MAX, f64::min)
}

/// Corners of a line and the middles of its segments, thinned evenly if there are very many.
pub(super) fn samples(line: &[Point], closed: bool) -> Vec<Point> {
    let n = line.len();
    let segments = if closed { n } else { n.saturating_sub(1) };
    let mut out: Vec<Point> = line.to_vec();
    out.extend((0..segments).flat_map(|i| {
        let (a, b) = (line[i], line[(i + 1) % n]);
        [0.25, 0.5, 0.75].map(|t| a + (b - a) * t)
    }));
    let step = out.len().div_ceil(MOST_SAMPLES).max(1);
    out.into_iter().step_by(step).collect()
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::geometry::point;

    fn square() -> (Ring, Vec<Option<EdgeKind>>) {
        (
            vec![point(0.0, 0.0), point(100.0, 0.0), point(100.0, 100.0), point(0.0, 100.0)],
            vec![None; 4],
        )
    }

    #[test]
    fn a_line_over_a_corner_splits_both_edges() {
        let (mut ring, mut edges) = square();
        let line = [point(40.0, 0.2), point(99.8, 0.0), point(100.0, 30.0)];
        assert_eq!(departs(&ring, &line, false), None);
        give_kind(&mut ring, &mut edges, &line, false, EdgeKind::Lap).unwrap();
        assert_eq!(
            ring,
            [
                point(0.0, 0.0),
                point(40.0, 0.0),
                point(100.0, 0.0),
                point(100.0, 30.0),
                point(100.0, 100.0),
                point(0.0, 100.0)
            ]
        );
        let lap = Some(EdgeKind::Lap);
        assert_eq!(edges, [None, lap, lap, None, None, None]);
    }

    #[test]
    fn a_line_drawn_the_other_way_over_the_start_is_the_same() {
        let (mut ring, mut edges) = square();
        let line = [point(30.0, 0.0), point(0.0, 0.0), point(0.0, 100.0)];
        give_kind(&mut ring, &mut edges, &line, false, EdgeKind::Butt).unwrap();
        let butt = Some(EdgeKind::Butt);
        assert_eq!(edges, [butt, None, None, None, butt]);
    }

    #[test]
    fn the_other_leg_of_a_narrow_dart_keeps_its_kind() {
        // 0.6 mm wide: each leg lies within reach of a line along the other.
        let mut ring = vec![
            point(0.0, 0.0),
            point(100.0, 0.0),
            point(100.0, 100.0),
            point(50.3, 100.0),
            point(50.0, 40.0),
            point(49.7, 100.0),
            point(0.0, 100.0),
        ];
        let mut edges = vec![None; 7];
        give_kind(
            &mut ring,
            &mut edges,
            &[point(50.3, 100.0), point(50.0, 40.0)],
            false,
            EdgeKind::Dart,
        )
        .unwrap();
        assert_eq!(edges, [None, None, None, Some(EdgeKind::Dart), None, None, None]);
    }

    #[test]
    fn a_closed_line_gives_every_edge_its_kind() {
        let (mut ring, mut edges) = square();
        let line = ring.clone();
        give_kind(&mut ring, &mut edges, &line, true, EdgeKind::Trim).unwrap();
        assert_eq!(edges, [Some(EdgeKind::Trim); 4]);
    }

    #[test]
    fn two_kinds_for_one_edge_are_named() {
        let (mut ring, mut edges) = square();
        give_kind(
            &mut ring,
            &mut edges,
            &[point(0.0, 0.0), point(100.0, 0.0)],
            false,
            EdgeKind::Lap,
        )
        .unwrap();
        let clash = give_kind(
            &mut ring,
            &mut edges,
            &[point(100.0, 0.0), point(0.0, 0.0)],
            false,
            EdgeKind::Butt,
        );
        assert_eq!(clash, Err((point(50.0, 0.0), Some(EdgeKind::Lap))));
    }

    #[test]
    fn a_line_beside_or_across_departs() {
        let (ring, _) = square();
        assert_eq!(departs(&ring, &[point(0.0, 2.0), point(100.0, 2.0)], false).unwrap().1, 2.0);
        assert_eq!(
            departs(&ring, &[point(0.0, 0.0), point(100.0, 100.0)], false).unwrap(),
            (point(50.0, 50.0), 50.0)
        );
        assert!(departs(&ring, &[point(-40.0, 0.0), point(50.0, 0.0)], false).is_some());
    }
}
