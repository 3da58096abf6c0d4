//! The direction of a drawn arrow.
//!
//! A plain line points from its first point to its last. An arrow with a head (one line with barbs,
//! or a shaft and one or more further lines) has its longest straight run for a shaft and its head
//! at the end where the other runs are.

use super::along::samples;
use crate::geometry::{Path, Point, ring_bounds};

/// Lines nearer than this belong to one arrow, mm.
const TOGETHER: f64 = 0.5;

/// Runs that turn less than this are one straight run, degrees.
const STRAIGHT: f64 = 2.0;

/// Why lines are no arrow.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum NoArrow {
    /// More than one: a point of each of two.
    Several(Point, Point),
    /// No run is clearly the longest.
    NoShaft(Point),
    /// The barbs are at both ends alike.
    TwoHeads(Point),
    /// The longest straight run is less than half of the arrow.
    NotStraight(Point),
}

/// Tail and head of the arrow made of these lines (points, closed); none of them is empty.
///
/// # Errors
/// Why it cannot be told.
pub(super) fn tail_and_head(lines: &[(&Path, bool)]) -> Result<[Point; 2], NoArrow> {
    let at = lines.first().and_then(|l| l.0.first()).copied().unwrap_or_default();
    if let Some(other) = apart_from_first(lines) {
        return Err(NoArrow::Several(at, other));
    }
    let mut runs: Vec<[Point; 2]> =
        lines.iter().flat_map(|&(points, closed)| straight_runs(points, closed)).collect();
    let length = |r: &[Point; 2]| r[0].distance(r[1]);
    // A stable sort: of equal runs the one drawn first comes first.
    runs.sort_by(|a, b| length(b).total_cmp(&length(a)));
    let Some((shaft, others)) = runs.split_first() else {
        return Err(NoArrow::NoShaft(at));
    };
    if others.first().is_some_and(|second| length(second) > 0.9 * length(shaft)) {
        return Err(NoArrow::NoShaft(at));
    }
    let all: Vec<Point> = lines.iter().flat_map(|l| l.0.iter().copied()).collect();
    let reach = ring_bounds(&all).map_or(0.0, |b| b.min.distance(b.max));
    if length(shaft) < 0.5 * reach {
        return Err(NoArrow::NotStraight(at));
    }
    let nearer_head = |r: &&[Point; 2]| {
        let to = |end: Point| r[0].distance(end).min(r[1].distance(end));
        to(shaft[1]) <= to(shaft[0])
    };
    let at_head: f64 = others.iter().filter(nearer_head).map(length).sum();
    let at_tail: f64 = others.iter().map(length).sum::<f64>() - at_head;
    if others.is_empty() || at_head > 3.0 * at_tail {
        Ok(*shaft)
    } else if at_tail > 3.0 * at_head {
        Ok([shaft[1], shaft[0]])
    } else {
        Err(NoArrow::TwoHeads(at))
    }
}

/// A point of a line that is not connected with the first, through others or itself.
fn apart_from_first(lines: &[(&Path, bool)]) -> Option<Point> {
    let near = |a: &(&Path, bool), b: &(&Path, bool)| {
        let touches = |a: &(&Path, bool), b: &(&Path, bool)| {
            samples(a.0, a.1).iter().any(|p| {
                let n = b.0.len();
                let count = if b.1 { n } else { n.saturating_sub(1) };
                (0..count).any(|i| p.distance_to_segment(b.0[i], b.0[(i + 1) % n]) <= TOGETHER)
            })
        };
        touches(a, b) || touches(b, a)
    };
    let mut reached = vec![false; lines.len()];
    let mut open = vec![0];
    while let Some(i) = open.pop() {
        if i < lines.len() && !std::mem::replace(&mut reached[i], true) {
            open.extend((0..lines.len()).filter(|&j| !reached[j] && near(&lines[i], &lines[j])));
        }
    }
    reached.iter().position(|r| !r).and_then(|i| lines[i].0.first().copied())
}

/// The maximal runs of a line that go straight on.
fn straight_runs(points: &Path, closed: bool) -> Vec<[Point; 2]> {
    let mut points = points.clone();
    if closed {
        points.extend(points.first().copied());
    }
    let mut runs: Vec<[Point; 2]> = Vec::new();
    for w in points.windows(2).filter(|w| w[0] != w[1]) {
        let step = w[1] - w[0];
        match runs.last_mut() {
            Some(run) if run[1] == w[0] && bend(run[1] - run[0], step) <= STRAIGHT => run[1] = w[1],
            _ => runs.push([w[0], w[1]]),
        }
    }
    runs
}

fn bend(a: Point, b: Point) -> f64 {
    libm::atan2(a.cross(b), a.dot(b)).to_degrees().abs()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geometry::point;

    fn path(points: &[(f64, f64)]) -> Path {
        points.iter().map(|&(x, y)| point(x, y)).collect()
    }

    fn of(lines: &[Path]) -> Result<[Point; 2], NoArrow> {
        tail_and_head(&lines.iter().map(|l| (l, false)).collect::<Vec<_>>())
    }

    const EAST: Result<[Point; 2], NoArrow> = Ok([point(0.0, 0.0), point(100.0, 0.0)]);

    #[test]
    fn a_plain_line_points_as_it_is_drawn() {
        assert_eq!(of(&[path(&[(0.0, 0.0), (100.0, 0.0)])]), EAST);
        assert_eq!(of(&[path(&[(0.0, 0.0), (50.0, 0.4), (100.0, 0.0)])]), EAST);
        assert_eq!(
            of(&[path(&[(100.0, 0.0), (0.0, 0.0)])]),
            Ok([point(100.0, 0.0), point(0.0, 0.0)])
        );
    }

    #[test]
    fn a_head_wins_over_the_order_of_drawing() {
        let barbs = path(&[(90.0, 5.0), (100.0, 0.0), (90.0, -5.0)]);
        assert_eq!(of(&[path(&[(0.0, 0.0), (100.0, 0.0)]), barbs.clone()]), EAST);
        assert_eq!(of(&[path(&[(100.0, 0.0), (0.0, 0.0)]), barbs.clone()]), EAST);
        assert_eq!(of(&[barbs, path(&[(100.0, 0.0), (0.0, 0.0)])]), EAST);
        let two = [
            path(&[(100.0, 0.0), (0.0, 0.0)]),
            path(&[(100.0, 0.0), (90.0, 5.0)]),
            path(&[(90.0, -5.0), (100.0, 0.0)]),
        ];
        assert_eq!(of(&two), EAST);
    }

    #[test]
    fn one_line_with_barbs_is_understood() {
        assert_eq!(
            of(&[path(&[(0.0, 0.0), (100.0, 0.0), (90.0, 5.0), (100.0, 0.0), (90.0, -5.0)])]),
            EAST
        );
        assert_eq!(of(&[path(&[(90.0, 5.0), (100.0, 0.0), (0.0, 0.0)])]), EAST);
    }

    #[test]
    fn a_filled_head_is_understood() {
        let shaft = path(&[(0.0, 0.0), (90.0, 0.0)]);
        let head = path(&[(90.0, 5.0), (110.0, 0.0), (90.0, -5.0)]);
        assert_eq!(
            tail_and_head(&[(&shaft, false), (&head, true)]),
            Ok([point(0.0, 0.0), point(90.0, 0.0)])
        );
    }

    #[test]
    fn what_cannot_be_told_is_refused() {
        let plain = path(&[(0.0, 0.0), (100.0, 0.0)]);
        assert_eq!(
            of(&[plain, path(&[(0.0, 50.0), (80.0, 50.0)])]),
            Err(NoArrow::Several(point(0.0, 0.0), point(0.0, 50.0)))
        );
        let chevron = path(&[(90.0, 5.0), (100.0, 0.0), (90.0, -5.0)]);
        assert_eq!(of(&[chevron]), Err(NoArrow::NoShaft(point(90.0, 5.0))));
        let double = path(&[(10.0, 5.0), (0.0, 0.0), (100.0, 0.0), (90.0, 5.0)]);
        assert_eq!(of(&[double]), Err(NoArrow::TwoHeads(point(10.0, 5.0))));
        let bow: Path = (0..=18)
            .map(|i| f64::from(i) * 10.0_f64.to_radians())
            .map(|t| point(50.0 * libm::cos(t), 50.0 * libm::sin(t)))
            .collect();
        assert!(of(&[bow]).is_err());
    }
}
