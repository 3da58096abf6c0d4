//! Where lines cross or touch that should not.
//!
//! Exact: points are taken as whole micrometres, and every test is integer arithmetic (coordinates
//! up to 100 m make products up to 8·10¹⁶, inside an `i64`). The candidates come from sweeps over
//! the segments' boxes along the axis in which they are shorter, in bands along the other: near n
//! log n for outlines, and a cap on the work for drawings made to be slow.

use super::point::{Point, point};
use crate::units::{GRID_PER_MM, micrometres};

/// Most pairs of boxes looked at: a few seconds, far beyond any outline.
const MOST_PAIRS: u64 = 1_000_000_000;

/// A line to be checked: its points and whether the last one joins the first.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Chain<'a> {
    /// On the 1 µm grid; no two consecutive points the same.
    pub points: &'a [Point],
    /// Closed without repeating the first point.
    pub closed: bool,
}

/// Two segments that share a point, other than neighbours at their common end.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Meeting {
    /// Chain and segment, the smaller of the two.
    pub a: (usize, usize),
    /// Chain and segment, the larger of the two.
    pub b: (usize, usize),
    /// Where, mm.
    pub at: Point,
    /// True if they pass through each other, false if they only touch or overlap.
    pub crossing: bool,
}

/// The search would take too long: the lines overlap everywhere.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct TooTangled;

type Grid = (i64, i64);
type Axis = fn(Grid) -> i64;

struct Segment {
    id: (usize, usize),
    a: Grid,
    b: Grid,
    low: Grid,
    high: Grid,
}

/// The places where segments of the chains meet, in order of chain and segment; about `most` of
/// them, as a scribble has millions.
///
/// # Errors
/// [`TooTangled`] if the work would pass its cap.
pub(crate) fn meetings(chains: &[Chain<'_>], most: usize) -> Result<Vec<Meeting>, TooTangled> {
    meetings_unless(chains, most, &|| false)
}

/// The same, given up once `stop` says so.
///
/// # Errors
/// As [`meetings`]; that it was stopped.
pub(crate) fn meetings_unless(
    chains: &[Chain<'_>],
    most: usize,
    stop: &dyn Fn() -> bool,
) -> Result<Vec<Meeting>, TooTangled> {
    let mut segments = Vec::new();
    for (c, chain) in chains.iter().enumerate() {
        let n = chain.points.len();
        let count = if chain.closed { n } else { n.saturating_sub(1) };
        for s in 0..count {
            let (a, b) = (to_grid(chain.points[s]), to_grid(chain.points[(s + 1) % n]));
            let low = (a.0.min(b.0), a.1.min(b.1));
            let high = (a.0.max(b.0), a.1.max(b.1));
            segments.push(Segment { id: (c, s), a, b, low, high });
        }
    }
    let extent = |axis: Axis| {
        segments.iter().map(|s| u128::from(axis(s.high).abs_diff(axis(s.low)))).sum::<u128>()
    };
    let (x, y): (Axis, Axis) = (|g| g.0, |g| g.1);
    let (first, second) = if extent(x) <= extent(y) { (x, y) } else { (y, x) };
    segments.sort_by_key(|s| (first(s.low), s.id));

    let bands = Bands::new(&segments, second);
    let mut found = Vec::new();
    let mut pairs = 0_u64;
    'all: for (band, members) in bands.members.iter().enumerate() {
        for (k, s) in members.iter().map(|&i| &segments[i as usize]).enumerate() {
            for t in members[k + 1..].iter().map(|&i| &segments[i as usize]) {
                if first(t.low) > first(s.high) {
                    break;
                }
                pairs += 1;
                // A pair that shares several bands is looked at in the first of them.
                let begins = second(s.low).max(second(t.low));
                if begins <= second(s.high).min(second(t.high)) && bands.of(begins) == band {
                    let (s, t) = if s.id < t.id { (s, t) } else { (t, s) };
                    if let Some((at, crossing)) = meet(s, t, chains) {
                        found.push(Meeting { a: s.id, b: t.id, at, crossing });
                    }
                }
            }
            if pairs > MOST_PAIRS || k % 256 == 0 && stop() {
                return Err(TooTangled);
            }
            if found.len() >= most {
                break 'all;
            }
        }
    }
    found.sort_by_key(|m| (m.a, m.b));
    Ok(found)
}

/// Segments by bands along the other axis, each in every band that it reaches into, in the order of
/// the sweep.
struct Bands {
    low: i64,
    height: i64,
    members: Vec<Vec<u32>>,
}

impl Bands {
    /// Most bands.
    const MOST: i64 = 4096;

    fn new(segments: &[Segment], axis: Axis) -> Bands {
        let low = segments.iter().map(|s| axis(s.low)).min().unwrap_or(0);
        let high = segments.iter().map(|s| axis(s.high)).max().unwrap_or(0);
        // About as high as a segment, so that few segments reach into many.
        let mean = segments.iter().map(|s| axis(s.high) - axis(s.low)).sum::<i64>()
            / segments.len().max(1) as i64;
        let height = mean.max((high - low) / Bands::MOST) + 1;
        let mut bands = Bands { low, height, members: Vec::new() };
        bands.members.resize(bands.of(high) + 1, Vec::new());
        for (i, s) in segments.iter().enumerate() {
            for band in bands.of(axis(s.low))..=bands.of(axis(s.high)) {
                bands.members[band].push(i as u32);
            }
        }
        bands
    }

    fn of(&self, at: i64) -> usize {
        ((at - self.low) / self.height) as usize
    }
}

fn to_grid(p: Point) -> Grid {
    (micrometres(p.x), micrometres(p.y))
}

fn to_mm(g: Grid) -> Point {
    point(g.0 as f64 / GRID_PER_MM, g.1 as f64 / GRID_PER_MM)
}

/// Twice the area of the triangle `o a b`: positive if it runs anticlockwise.
fn turn(o: Grid, a: Grid, b: Grid) -> i64 {
    (a.0 - o.0) * (b.1 - o.1) - (a.1 - o.1) * (b.0 - o.0)
}

/// If two segments meet, where and whether they cross. `s` comes before `t` in the chains.
fn meet(s: &Segment, t: &Segment, chains: &[Chain<'_>]) -> Option<(Point, bool)> {
    if let Some((shared, s_far, t_far)) = neighbours(s, t, chains) {
        // Neighbours share an end by right; they meet beyond it only if one folds back along the
        // other.
        let folds = turn(shared, s_far, t_far) == 0 && dot(shared, s_far, t_far) > 0;
        return folds.then(|| (to_mm(shared), false));
    }
    let (d1, d2) = (turn(t.a, t.b, s.a), turn(t.a, t.b, s.b));
    let (d3, d4) = (turn(s.a, s.b, t.a), turn(s.a, s.b, t.b));
    if d1.signum() * d2.signum() < 0 && d3.signum() * d4.signum() < 0 {
        let k = d1 as f64 / (d1 as f64 - d2 as f64);
        let (a, b) = (to_mm(s.a), to_mm(s.b));
        return Some((a + (b - a) * k, true));
    }
    let on = |d: i64, p: Grid, q: &Segment| {
        d == 0 && p.0 >= q.low.0 && p.0 <= q.high.0 && p.1 >= q.low.1 && p.1 <= q.high.1
    };
    [(d1, s.a, t), (d2, s.b, t), (d3, t.a, s), (d4, t.b, s)]
        .into_iter()
        .find(|&(d, p, q)| on(d, p, q))
        .map(|(_, p, _)| (to_mm(p), false))
}

fn dot(o: Grid, a: Grid, b: Grid) -> i64 {
    (a.0 - o.0) * (b.0 - o.0) + (a.1 - o.1) * (b.1 - o.1)
}

/// The common end of consecutive segments of one chain, and their other ends.
fn neighbours(s: &Segment, t: &Segment, chains: &[Chain<'_>]) -> Option<(Grid, Grid, Grid)> {
    let ((chain, i), (other, j)) = (s.id, t.id);
    if chain != other {
        return None;
    }
    if j == i + 1 {
        return Some((t.a, s.a, t.b));
    }
    let last = chains[chain].points.len() - 1;
    (chains[chain].closed && i == 0 && j == last).then_some((s.a, s.b, t.a))
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    fn ring(points: &[(f64, f64)]) -> Vec<Point> {
        points.iter().map(|&(x, y)| point(x, y)).collect()
    }

    fn of(points: &[Point]) -> Vec<Meeting> {
        meetings(&[Chain { points, closed: true }], 99).unwrap()
    }

    #[test]
    fn a_simple_ring_meets_itself_nowhere() {
        assert!(
            of(&ring(&[(0.0, 0.0), (10.0, 0.0), (10.0, 10.0), (5.0, 2.0), (0.0, 10.0)])).is_empty()
        );
        assert!(of(&ring(&[(0.0, 0.0), (10.0, 0.0), (5.0, 5.0)])).is_empty());
    }

    #[test]
    fn a_bow_tie_crosses_in_its_middle() {
        let found = of(&ring(&[(0.0, 0.0), (10.0, 10.0), (10.0, 0.0), (0.0, 10.0)]));
        assert_eq!(found, [Meeting { a: (0, 0), b: (0, 2), at: point(5.0, 5.0), crossing: true }]);
    }

    #[test]
    fn a_pinch_touches() {
        let found = of(&ring(&[(0.0, 0.0), (10.0, 0.0), (10.0, 10.0), (5.0, 0.0), (0.0, 10.0)]));
        assert!(!found.is_empty() && found.iter().all(|m| m.at == point(5.0, 0.0) && !m.crossing));
    }

    #[test]
    fn a_spike_folds_back() {
        let found = of(&ring(&[(0.0, 0.0), (10.0, 0.0), (10.0, 10.0), (10.0, 5.0), (0.0, 5.0)]));
        assert_eq!((found[0].at, found[0].crossing), (point(10.0, 10.0), false));
        assert!(found[1..].iter().all(|m| m.at == point(10.0, 5.0)), "{found:?}");
    }

    #[test]
    fn a_micrometre_apart_is_apart() {
        let found = of(&ring(&[(0.0, 0.0), (10.0, 0.0), (10.0, 10.0), (5.0, 0.001), (0.0, 10.0)]));
        assert!(found.is_empty());
    }

    #[test]
    fn coordinates_of_a_hundred_metres_do_not_overflow() {
        let far = 100_000.0;
        let found = of(&ring(&[(-far, -far), (far, far), (far, -far), (-far, far)]));
        assert_eq!(found.len(), 1);
        assert_eq!(found[0].at, point(0.0, 0.0));
    }

    #[test]
    fn chains_are_checked_against_each_other() {
        let a = ring(&[(0.0, 0.0), (10.0, 0.0), (10.0, 10.0), (0.0, 10.0)]);
        let b = ring(&[(5.0, 5.0), (15.0, 5.0), (15.0, 6.0), (5.0, 6.0)]);
        let found =
            meetings(&[Chain { points: &a, closed: true }, Chain { points: &b, closed: true }], 99)
                .unwrap();
        let at: Vec<Point> = found.iter().map(|m| m.at).collect();
        assert_eq!(at, [point(10.0, 5.0), point(10.0, 6.0)]);
    }

    /// Thousands of rings side by side in each other's boxes: a sweep along one axis alone looked
    /// at thousands of millions of pairs, and called them tangled.
    #[test]
    fn rings_within_rings_are_told_apart_with_little_work() {
        let ring = |r: f64| -> Vec<Point> {
            (0..160)
                .map(|i| f64::from(i) / 160.0 * std::f64::consts::TAU)
                .map(|t| point(r * libm::cos(t), r * libm::sin(t)).snapped())
                .collect()
        };
        let rings: Vec<Vec<Point>> = (0..1500).map(|k| ring(400.0 - 0.2 * f64::from(k))).collect();
        let mut chains: Vec<Chain<'_>> =
            rings.iter().map(|points| Chain { points, closed: true }).collect();
        assert_eq!(meetings(&chains, 99), Ok(Vec::new()));
        let across = [point(-500.0, 0.5), point(500.0, 0.5)];
        chains.push(Chain { points: &across, closed: false });
        assert_eq!(meetings(&chains, 99_999).unwrap().len(), 2 * 1500);
        let asked = std::cell::Cell::new(0);
        let after_ten = || {
            asked.set(asked.get() + 1);
            asked.get() > 10
        };
        assert_eq!(meetings_unless(&chains, 99_999, &after_ten), Err(TooTangled));
        assert_eq!(asked.get(), 11, "it ends where it is told to");
    }

    #[test]
    fn many_points_agree_with_looking_at_every_pair() {
        // Sweep against brute force on seeded scribbles.
        let mut state = 7_u64;
        let mut next = || {
            state = state
                .wrapping_mul(6_364_136_223_846_793_005)
                .wrapping_add(1_442_695_040_888_963_407);
            ((state >> 40) % 1000) as f64 / 10.0
        };
        for _ in 0..50 {
            let scribble: Vec<Point> = (0..8).map(|_| point(next(), next())).collect();
            let chains = [Chain { points: &scribble, closed: true }];
            let swept = meetings(&chains, 99).unwrap();
            let mut brute = 0;
            for i in 0..8 {
                for j in i + 2..8 {
                    let ends = [i, (i + 1) % 8, j, (j + 1) % 8].map(|k| to_grid(scribble[k]));
                    let [a, b, c, d] = ends;
                    let neighbours = i == 0 && j == 7;
                    if !neighbours
                        && turn(a, b, c).signum() * turn(a, b, d).signum() < 0
                        && turn(c, d, a).signum() * turn(c, d, b).signum() < 0
                    {
                        brute += 1;
                    }
                }
            }
            assert_eq!(swept.iter().filter(|m| m.crossing).count(), brute);
        }
    }
}
