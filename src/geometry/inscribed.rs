//! The largest rectangle with sides along the axes inside a region.

use super::point::{Point, point};
use super::region::{Bounds, Region};

/// At most this many abscissas are tried as sides before refining.
const COLUMNS: usize = 48;
/// How many of the best are refined.
const REFINED: usize = 4;
/// Refinement ends below this step, mm: half a grid step.
const FINEST: f64 = 0.0005;

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
    // Nothing between two abscissas is taller than in the lowest column between them.
    let heights: Vec<f64> = columns
        .windows(2)
        .map(|w| column(&edges, w[0], w[1]).map_or(0.0, |b| b.height()))
        .collect();
    let mut pairs: Vec<(f64, f64, f64)> = Vec::new();
    for (i, &left) in columns.iter().enumerate() {
        let mut height = tallest;
        for (&right, column) in columns[i + 1..].iter().zip(&heights[i..]) {
            height = height.min(*column);
            pairs.push((left, right, height * (1.0 + 1e-9)));
        }
    }
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

/// Edges, left end first, by the slabs of x they reach into.
struct Slabs {
    edges: Vec<(Point, Point)>,
    low: f64,
    width: f64,
    slabs: Vec<Vec<u32>>,
}

impl Slabs {
    const COUNT: usize = 256;

    fn new(edges: &[(Point, Point)]) -> Slabs {
        let edges: Vec<(Point, Point)> =
            edges.iter().map(|&(a, b)| if a.x <= b.x { (a, b) } else { (b, a) }).collect();
        let low = edges.iter().map(|e| e.0.x).fold(f64::INFINITY, f64::min);
        let high = edges.iter().map(|e| e.1.x).fold(f64::NEG_INFINITY, f64::max);
        let width = ((high - low) / Slabs::COUNT as f64).max(FINEST);
        let mut slabs = Slabs { edges, low, width, slabs: vec![Vec::new(); Slabs::COUNT] };
        for (i, e) in slabs.edges.iter().enumerate() {
            for slab in slabs.index(e.0.x)..=slabs.index(e.1.x) {
                slabs.slabs[slab].push(i as u32);
            }
        }
        slabs
    }

    fn index(&self, x: f64) -> usize {
        (((x - self.low) / self.width).max(0.0) as usize).min(Slabs::COUNT - 1)
    }

    /// Where the edges cross an abscissa.
    fn at(&self, x: f64) -> impl Iterator<Item = f64> + '_ {
        let edges = self.slabs[self.index(x)].iter().map(|&i| self.edges[i as usize]);
        edges
            .filter(move |(a, b)| a.x <= x && x < b.x)
            .map(move |(a, b)| a.y + (b.y - a.y) * ((x - a.x) / (b.x - a.x)))
    }

    /// The edges that reach into the open column between two abscissas, each once.
    fn between(&self, left: f64, right: f64) -> impl Iterator<Item = (Point, Point)> + '_ {
        let first = self.index(left);
        (first..=self.index(right)).flat_map(move |slab| {
            self.slabs[slab].iter().map(|&i| self.edges[i as usize]).filter(move |&(a, b)| {
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

/// The tallest free rectangle between two abscissas.
fn column(edges: &Slabs, left: f64, right: f64) -> Option<Bounds> {
    if right <= left {
        return None;
    }
    let mut blocked: Vec<(f64, f64)> = Vec::new();
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
        let (y0, y1) = if b.x > a.x { (at(left.max(a.x)), at(right.min(b.x))) } else { (a.y, b.y) };
        blocked.push((y0.min(y1), y0.max(y1)));
        if a.x <= middle && middle < b.x {
            crossings.push(at(middle));
        }
    }
    blocked.sort_by(|a, b| a.0.total_cmp(&b.0));
    let mut best: Option<Bounds> = None;
    let mut top = blocked.first()?.1;
    for &(low, high) in &blocked[1..] {
        if low > top && best.is_none_or(|b| low - top > b.height()) {
            let between = (low + top) / 2.0;
            if crossings.iter().filter(|&&y| y < between).count() % 2 == 1 {
                best = Some(Bounds { min: point(left, top), max: point(right, low) });
            }
        }
        top = top.max(high);
    }
    best
}

/// Moves the two sides by ever smaller steps while the area grows.
fn refine(edges: &Slabs, mut area: f64, mut left: f64, mut right: f64) -> (f64, f64, f64) {
    let mut step = (right - left) / 4.0;
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
            .filter(|&(l, r)| may_exceed(edges, l, r, area));
        let found =
            tried.map(|(l, r)| (column(edges, l, r).map_or(0.0, |b| b.width() * b.height()), l, r));
        match found.max_by(|a, b| a.0.total_cmp(&b.0)) {
            Some((better, l, r)) if better > area + 1e-6 => (area, left, right) = (better, l, r),
            _ => step /= 2.0,
        }
    }
    (area, left, right)
}

/// Whether a column may hold more than an area: nothing in it is taller than the region is at any
/// one abscissa.
fn may_exceed(edges: &Slabs, left: f64, right: f64, area: f64) -> bool {
    let width = right - left;
    let mut ys: Vec<f64> = Vec::new();
    width > 0.0
        && [0.01, 0.99, 0.5].iter().all(|share| {
            ys.clear();
            ys.extend(edges.at(left + share * width));
            ys.sort_by(f64::total_cmp);
            let tallest = ys.chunks_exact(2).map(|y| y[1] - y[0]).fold(0.0, f64::max);
            width * tallest * (1.0 + 1e-9) > area
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

    #[test]
    fn nothing_gives_nothing() {
        assert_eq!(largest_rectangle(&Region::default()), None);
        assert_eq!(
            largest_rectangle(&Region::solid(ring(&[(0.0, 0.0), (1.0, 0.0), (2.0, 0.0)]))),
            None
        );
    }
}
