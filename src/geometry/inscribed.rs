//! The largest rectangle with sides along the axes inside a region.

use super::point::{Point, point};
use super::region::{Bounds, Region};

/// At most this many abscissas are tried as sides before refining.
const COLUMNS: usize = 48;
/// How many of the best are refined.
const REFINED: usize = 4;
/// Refinement ends below this step, mm: half a grid step.
const FINEST: f64 = 0.0005;

/// A step that gains less, mm², is none.
const LEAST_GAIN: f64 = 1e-6;
/// Heights are held against each other with this much to spare for rounding, mm.
const SLACK: f64 = 1e-9;

/// The largest rectangle with sides along the axes inside a region, mm, on the 1 µm grid; `None` if
/// none has an area.
///
/// Method: for a given pair of left and right sides the best bottom and top are exact (the widest
/// free interval between the y-extents of the edges in that column). The sides are chosen among the
/// abscissas of the corners (thinned to 48, or halved between up to that), widest column first so
/// that most pairs are ruled out by their bound; the best few are then refined by a pattern search
/// down to half a grid step. The answer always lies inside the region (to 1 µm of rounding, taken
/// inward). It is the largest where the region's sides run along the axes and have no more than 48
/// distinct abscissas; elsewhere it is a good local optimum.
pub fn largest_rectangle(region: &Region) -> Option<Bounds> {
    let edges = edges(region);
    let columns = columns(&edges);
    let edges = Slabs::new(&edges);
    let tallest = region.bounds()?.height();
    let mut pairs = pairs(&edges, &columns);
    pairs.sort_by(|a, b| (b.1 - b.0).total_cmp(&(a.1 - a.0)).then(a.0.total_cmp(&b.0)));
    let mut best: Vec<(f64, f64, f64)> = Vec::new();
    for (left, right, height) in pairs {
        let least = if best.len() == REFINED { best[REFINED - 1].0 } else { 0.0 };
        if (right - left) * tallest <= least {
            break;
        }
        if (right - left) * height <= least {
            continue;
        }
        let area = column(&edges, left, right).map_or(0.0, |b| b.width() * b.height());
        if area > least {
            let at = best.partition_point(|b| b.0 >= area);
            best.insert(at, (area, left, right));
            best.truncate(REFINED);
        }
    }
    let refined = best.into_iter().map(|(area, left, right)| refine(&edges, area, left, right));
    let (_, left, right) = refined.max_by(|a, b| a.0.total_cmp(&b.0))?;
    inward(&edges, left, right)
}

/// Left and right sides, and what no free height between them exceeds: what is free from one
/// abscissa to another is free in every column between them.
fn pairs(edges: &Slabs, columns: &[f64]) -> Vec<(f64, f64, f64)> {
    let narrow: Vec<Spans> = columns.windows(2).map(|w| free(edges, w[0], w[1]).0).collect();
    let mut pairs: Vec<(f64, f64, f64)> = Vec::new();
    for (i, &left) in columns.iter().enumerate() {
        let mut open: Spans = vec![(f64::NEG_INFINITY, f64::INFINITY)];
        for (&right, column) in columns[i + 1..].iter().zip(&narrow[i..]) {
            open = common(&open, column);
            if open.is_empty() {
                break;
            }
            pairs.push((left, right, widest(&open) + SLACK));
        }
    }
    pairs
}

/// Intervals of y, ascending.
type Spans = Vec<(f64, f64)>;

/// What lies in both.
fn common(a: &[(f64, f64)], b: &[(f64, f64)]) -> Spans {
    let mut out = Spans::new();
    let (mut i, mut j) = (0, 0);
    while let (Some(x), Some(y)) = (a.get(i), b.get(j)) {
        let (low, high) = (x.0.max(y.0), x.1.min(y.1));
        if low < high {
            out.push((low, high));
        }
        if x.1 <= y.1 {
            i += 1;
        } else {
            j += 1;
        }
    }
    out
}

fn widest(spans: &[(f64, f64)]) -> f64 {
    spans.iter().map(|s| s.1 - s.0).fold(0.0, f64::max)
}

/// Edges, left end first, by the slabs of x they reach into.
struct Slabs {
    edges: Vec<(Point, Point)>,
    low: f64,
    width: f64,
    /// Of slab `k`, from `starts[k]` to `starts[k + 1]`.
    numbers: Vec<u32>,
    starts: Vec<usize>,
}

impl Slabs {
    /// The most slabs; regions of few corners have fewer.
    const MOST: usize = 256;

    fn new(edges: &[(Point, Point)]) -> Slabs {
        let edges: Vec<(Point, Point)> =
            edges.iter().map(|&(a, b)| if a.x <= b.x { (a, b) } else { (b, a) }).collect();
        let low = edges.iter().map(|e| e.0.x).fold(f64::INFINITY, f64::min);
        let high = edges.iter().map(|e| e.1.x).fold(f64::NEG_INFINITY, f64::max);
        let count = edges.len().clamp(1, Slabs::MOST);
        let width = ((high - low) / count as f64).max(FINEST);
        let mut slabs =
            Slabs { edges, low, width, numbers: Vec::new(), starts: vec![0; count + 1] };
        let reach = |slabs: &Slabs, i: usize| {
            slabs.index(slabs.edges[i].0.x)..=slabs.index(slabs.edges[i].1.x)
        };
        for i in 0..slabs.edges.len() {
            for slab in reach(&slabs, i) {
                slabs.starts[slab + 1] += 1;
            }
        }
        for slab in 0..count {
            slabs.starts[slab + 1] += slabs.starts[slab];
        }
        let mut next = slabs.starts.clone();
        slabs.numbers = vec![0; next[count]];
        for i in 0..slabs.edges.len() {
            for slab in reach(&slabs, i) {
                slabs.numbers[next[slab]] = i as u32;
                next[slab] += 1;
            }
        }
        slabs
    }

    fn index(&self, x: f64) -> usize {
        (((x - self.low) / self.width).max(0.0) as usize).min(self.starts.len() - 2)
    }

    fn slab(&self, k: usize) -> impl Iterator<Item = (Point, Point)> + '_ {
        self.numbers[self.starts[k]..self.starts[k + 1]].iter().map(|&i| self.edges[i as usize])
    }

    /// Where the edges lie just right of an abscissa, or just left of it.
    fn beside(&self, x: f64, is_right: bool) -> impl Iterator<Item = f64> + '_ {
        let goes_on = move |(a, b): &(Point, Point)| {
            if is_right { a.x <= x && x < b.x } else { a.x < x && x <= b.x }
        };
        self.slab(self.index(x))
            .filter(goes_on)
            .map(move |(a, b)| a.y + (b.y - a.y) * ((x - a.x) / (b.x - a.x)))
    }

    /// The edges that reach into the open column between two abscissas, each once.
    fn between(&self, left: f64, right: f64) -> impl Iterator<Item = (Point, Point)> + '_ {
        let first = self.index(left);
        (first..=self.index(right)).flat_map(move |slab| {
            self.slab(slab).filter(move |&(a, b)| {
                b.x > left && a.x < right && slab == self.index(a.x).max(first)
            })
        })
    }
}

fn edges(region: &Region) -> Vec<(Point, Point)> {
    let ring_edges = |ring: &Vec<Point>| {
        (0..ring.len()).map(|i| (ring[i], ring[(i + 1) % ring.len()])).collect::<Vec<_>>()
    };
    region.rings().flat_map(ring_edges).collect()
}

/// Abscissas of the corners, thinned evenly if there are too many (the outermost kept), with those
/// between them if there are few: a triangle has no two corners with a rectangle between.
fn columns(edges: &[(Point, Point)]) -> Vec<f64> {
    let mut xs: Vec<f64> = edges.iter().map(|e| e.0.x).collect();
    xs.sort_by(f64::total_cmp);
    xs.dedup();
    while xs.len() > 1 && 2 * xs.len() <= COLUMNS {
        let between: Vec<f64> = xs.windows(2).map(|w| (w[0] + w[1]) / 2.0).collect();
        xs.extend(between);
        xs.sort_by(f64::total_cmp);
        xs.dedup();
    }
    if xs.len() <= COLUMNS {
        return xs;
    }
    (0..COLUMNS).map(|i| xs[i * (xs.len() - 1) / (COLUMNS - 1)]).collect()
}

/// What no edge enters between two abscissas and lies inside, and where the edges that bound it are
/// highest or lowest: abscissas, interval by interval its lower and its upper bound's.
fn free(edges: &Slabs, left: f64, right: f64) -> (Spans, Vec<[f64; 2]>) {
    let (mut spans, mut bounds) = (Spans::new(), Vec::new());
    if right <= left {
        return (spans, bounds);
    }
    // Low, high, and where the edge is lowest and highest.
    let mut blocked: Vec<([f64; 2], [f64; 2])> = Vec::new();
    let middle = (left + right) / 2.0;
    let mut crossings: Vec<f64> = Vec::new();
    for (a, b) in edges.between(left, right) {
        let at = |x: f64| {
            if b.x > a.x {
                a.y + (b.y - a.y) * ((x - a.x) / (b.x - a.x)).clamp(0.0, 1.0)
            } else {
                a.y
            }
        };
        let ends = [left.max(a.x), right.min(b.x)];
        let ys = if b.x > a.x { ends.map(at) } else { [a.y, b.y] };
        let rising = ys[0] <= ys[1];
        let turned = |v: [f64; 2]| if rising { v } else { [v[1], v[0]] };
        blocked.push((turned(ys), turned(ends)));
        if a.x <= middle && middle < b.x {
            crossings.push(at(middle));
        }
    }
    blocked.sort_by(|a, b| a.0[0].total_cmp(&b.0[0]));
    crossings.sort_by(f64::total_cmp);
    let Some(&([_, mut top], [_, mut at])) = blocked.first() else { return (spans, bounds) };
    for &([low, high], [low_at, high_at]) in &blocked[1..] {
        if low > top && crossings.partition_point(|&y| y < (low + top) / 2.0) % 2 == 1 {
            spans.push((top, low));
            bounds.push([at, low_at]);
        }
        if high > top {
            (top, at) = (high, high_at);
        }
    }
    (spans, bounds)
}

/// The tallest free rectangle between two abscissas.
fn column(edges: &Slabs, left: f64, right: f64) -> Option<Bounds> {
    tallest(edges, left, right).map(|found| found.0)
}

/// The same, and the abscissas where its bottom and its top are bounded.
fn tallest(edges: &Slabs, left: f64, right: f64) -> Option<(Bounds, [f64; 2])> {
    let (spans, bounds) = free(edges, left, right);
    let mut best: Option<(Bounds, [f64; 2])> = None;
    for ((low, high), at) in spans.into_iter().zip(bounds) {
        if best.is_none_or(|(b, _)| high - low > b.height()) {
            best = Some((Bounds { min: point(left, low), max: point(right, high) }, at));
        }
    }
    best
}

/// Moves the two sides by ever smaller steps while the area grows.
fn refine(edges: &Slabs, mut area: f64, mut left: f64, mut right: f64) -> (f64, f64, f64) {
    let mut step = (right - left) / 4.0;
    let mut bounded = tallest(edges, left, right).map_or([left; 2], |t| t.1);
    while step >= FINEST {
        let moves = [
            (step, 0.0),
            (-step, 0.0),
            (0.0, step),
            (0.0, -step),
            (step, step),
            (-step, -step),
            (step, -step),
            (-step, step),
        ];
        let tried = moves
            .iter()
            .map(|(l, r)| (left + l, right + r))
            .filter(|&(l, r)| may_exceed(edges, l, r, area + LEAST_GAIN, bounded));
        let found = tried.filter_map(|(l, r)| Some((tallest(edges, l, r)?, l, r)));
        let found = found.map(|((b, at), l, r)| (b.width() * b.height(), l, r, at));
        match found.max_by(|a, b| a.0.total_cmp(&b.0)) {
            Some((better, l, r, at)) if better > area + LEAST_GAIN => {
                (area, left, right, bounded) = (better, l, r, at);
            }
            _ => step /= 2.0,
        }
    }
    (area, left, right)
}

/// Whether a column may hold more than an area: what is free in it is free at every one of its
/// abscissas, of which some are looked at, first those that bound what was found nearby.
fn may_exceed(edges: &Slabs, left: f64, right: f64, area: f64, bounded: [f64; 2]) -> bool {
    let width = right - left;
    if width <= 0.0 {
        return false;
    }
    let mut open: Spans = vec![(f64::NEG_INFINITY, f64::INFINITY)];
    let mut ys: Vec<f64> = Vec::new();
    let bounded = bounded.map(|x| x.clamp(left, right));
    [bounded[0], bounded[1], left, right, left + 0.5 * width].into_iter().all(|x| {
        ys.clear();
        ys.extend(edges.beside(x, x < right));
        ys.sort_by(f64::total_cmp);
        let here: Spans = ys.chunks_exact(2).map(|y| (y[0], y[1])).collect();
        open = common(&open, &here);
        width * (widest(&open) + SLACK) > area
    })
}

/// The rectangle of a column, its sides rounded inward to the grid.
fn inward(edges: &Slabs, left: f64, right: f64) -> Option<Bounds> {
    let up = |v: f64| (v * 1000.0 - 1e-4).ceil() / 1000.0 + 0.0;
    let down = |v: f64| (v * 1000.0 + 1e-4).floor() / 1000.0 + 0.0;
    let b = column(edges, up(left), down(right))?;
    let b = Bounds { min: point(b.min.x, up(b.min.y)), max: point(b.max.x, down(b.max.y)) };
    (b.width() > 0.0 && b.height() > 0.0).then_some(b)
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::geometry::Ring;

    fn ring(points: &[(f64, f64)]) -> Ring {
        points.iter().map(|&(x, y)| point(x, y)).collect()
    }

    #[test]
    fn a_rectangle_holds_itself() {
        let b = largest_rectangle(&Region::solid(ring(&[
            (1.5, 2.0),
            (11.5, 2.0),
            (11.5, 5.0),
            (1.5, 5.0),
        ])))
        .unwrap();
        assert_eq!((b.min, b.max), (point(1.5, 2.0), point(11.5, 5.0)));
    }

    #[test]
    fn of_an_l_the_better_leg_is_taken() {
        // Legs 100 x 30 and 40 x 90: 3000 against 3600.
        let l = ring(&[
            (0.0, 0.0),
            (100.0, 0.0),
            (100.0, 30.0),
            (40.0, 30.0),
            (40.0, 90.0),
            (0.0, 90.0),
        ]);
        let b = largest_rectangle(&Region::solid(l)).unwrap();
        assert_eq!((b.min, b.max), (point(0.0, 0.0), point(40.0, 90.0)));
    }

    #[test]
    fn a_hole_is_kept_clear() {
        let mut hole = ring(&[(40.0, 10.0), (60.0, 10.0), (60.0, 30.0), (40.0, 30.0)]);
        hole.reverse();
        let region = Region {
            outline: ring(&[(0.0, 0.0), (100.0, 0.0), (100.0, 40.0), (0.0, 40.0)]),
            holes: vec![hole],
        };
        let b = largest_rectangle(&region).unwrap();
        assert!((b.width() * b.height() - 1600.0).abs() < 1e-9, "{b:?}");
    }

    #[test]
    fn of_a_triangle_it_is_half_the_area() {
        // Mathematical fact: the largest rectangle on a side of a triangle has half its area.
        let b = largest_rectangle(&Region::solid(ring(&[(0.0, 0.0), (90.0, 0.0), (30.0, 60.0)])))
            .unwrap();
        assert!((b.width() * b.height() - 1350.0).abs() < 0.5, "{b:?}");
    }

    #[test]
    fn of_a_circle_it_is_the_square_in_it() {
        // Mathematical fact: the square of side r * sqrt(2).
        let circle: Ring = (0..360)
            .map(|i| {
                point(
                    50.0 * libm::cos(f64::from(i).to_radians()),
                    50.0 * libm::sin(f64::from(i).to_radians()),
                )
                .snapped()
            })
            .collect();
        let b = largest_rectangle(&Region::solid(circle)).unwrap();
        assert!((b.width() * b.height() - 5000.0).abs() < 5.0, "{b:?}");
    }

    /// The bounds are what makes it quick; one too tight would lose the largest.
    #[test]
    fn what_a_bound_rules_out_is_not_larger() {
        let mut state = 1_u32;
        let mut share = || {
            state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            f64::from(state >> 8) / f64::from(1 << 24)
        };
        let mut ruled_out = 0;
        for corners in (3_u32..120).step_by(3) {
            let star = |radius: f64, by: f64| -> Ring {
                let at = |i: usize| i as f64 / f64::from(corners) * 360.0;
                let ring = (0..corners as usize).map(|i| (at(i).to_radians(), by * (i % 7) as f64));
                ring.map(|(a, by)| point(libm::cos(a), libm::sin(a)) * (radius + by))
                    .map(Point::snapped)
                    .collect()
            };
            let mut hole = star(20.0 * share(), 1.0);
            hole.reverse();
            let region = Region { outline: star(100.0, 8.0 * share()), holes: vec![hole] };
            let edges = edges(&region);
            let (columns, edges) = (columns(&edges), Slabs::new(&edges));
            let area =
                |l: f64, r: f64| column(&edges, l, r).map_or(0.0, |b| b.width() * b.height());
            let pairs = pairs(&edges, &columns);
            for (i, &l) in columns.iter().enumerate() {
                for &r in &columns[i + 1..] {
                    let bound = pairs.iter().find(|p| (p.0, p.1) == (l, r)).map_or(0.0, |p| p.2);
                    assert!(area(l, r) <= (r - l) * (bound + SLACK), "{corners}: {l} to {r}");
                }
            }
            for _ in 0..300 {
                let l = -110.0 + 150.0 * share();
                let r = l + 100.0 * share();
                let at = tallest(&edges, l, r).map_or([l; 2], |t| t.1);
                let step = 20.0 * share() * share() * share();
                for (to_l, to_r) in [(l - step, r), (l, r + step), (l + step, r - step / 2.0)] {
                    let have = area(l, r);
                    if !may_exceed(&edges, to_l, to_r, have, at) {
                        ruled_out += 1;
                        assert!(area(to_l, to_r) <= have, "{corners}: {to_l} to {to_r}");
                    }
                }
            }
        }
        assert!(ruled_out > 5_000, "{ruled_out}");
    }

    #[test]
    fn nothing_gives_nothing() {
        assert_eq!(largest_rectangle(&Region::default()), None);
        assert_eq!(
            largest_rectangle(&Region::solid(ring(&[(0.0, 0.0), (1.0, 0.0), (2.0, 0.0)]))),
            None
        );
    }
}
