//! Exact plane geometry on whole micrometres: nothing here is shared with the search or with
//! preparation.
//!
//! Coordinates are `i64` of at most 1e8 (100 m), 3e8 once moved into another frame. Cross products
//! of their differences stay within `i64` even at doubled coordinates; squares of those are taken
//! in `i128`. No answer of this file is rounded, except where it says `mm`.

use crate::geometry::Point;
use crate::units::{GRID_PER_MM, LARGEST};

/// A point, whole micrometres.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(super) struct P {
    pub x: i64,
    pub y: i64,
}

impl P {
    /// A point in mm that lies on the grid (to a ten-thousandth of a step, for the sake of binary
    /// fractions) and within the supported size.
    pub fn on_grid(p: Point) -> Option<P> {
        Some(P { x: steps(p.x)?, y: steps(p.y)? })
    }

    /// In mm, for messages and for checks that state a tolerance.
    pub fn mm(self) -> Point {
        Point { x: self.x as f64 / GRID_PER_MM, y: self.y as f64 / GRID_PER_MM }
    }

    /// In micrometres, for rounded arithmetic.
    pub fn as_f64(self) -> Point {
        Point { x: self.x as f64, y: self.y as f64 }
    }

    pub fn minus(self, o: P) -> P {
        P { x: self.x - o.x, y: self.y - o.y }
    }

    fn dot(self, o: P) -> i64 {
        self.x * o.x + self.y * o.y
    }

    pub fn cross(self, o: P) -> i64 {
        self.x * o.y - self.y * o.x
    }

    fn doubled(self) -> P {
        P { x: 2 * self.x, y: 2 * self.y }
    }
}

/// Grid steps of a length in mm, if it is finite, of supported size and on the grid.
pub(super) fn steps(mm: f64) -> Option<i64> {
    let scaled = mm * GRID_PER_MM;
    let whole = scaled.round();
    // NaN fails both comparisons.
    (scaled.abs() <= LARGEST * GRID_PER_MM && (scaled - whole).abs() <= 1e-4)
        .then_some(whole as i64)
}

/// Positive if `c` lies left of the line from `a` to `b`.
pub(super) fn turn(a: P, b: P, c: P) -> i64 {
    b.minus(a).cross(c.minus(a))
}

/// A box, closed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Extent {
    pub min: P,
    pub max: P,
}

impl Extent {
    fn of(points: impl IntoIterator<Item = P>) -> Option<Extent> {
        points.into_iter().fold(None, |e: Option<Extent>, p| {
            Some(match e {
                None => Extent { min: p, max: p },
                Some(e) => Extent {
                    min: P { x: e.min.x.min(p.x), y: e.min.y.min(p.y) },
                    max: P { x: e.max.x.max(p.x), y: e.max.y.max(p.y) },
                },
            })
        })
    }

    /// True if the boxes come within `margin` of each other, both ways at once.
    pub fn near(&self, o: &Extent, margin: i64) -> bool {
        self.min.x - margin <= o.max.x
            && o.min.x - margin <= self.max.x
            && self.min.y - margin <= o.max.y
            && o.min.y - margin <= self.max.y
    }
}

/// An edge with the interior on its left.
#[derive(Clone, Copy, Debug)]
pub(super) struct Edge {
    pub a: P,
    pub b: P,
    ring: u32,
    place: u32,
}

impl Edge {
    pub fn extent(&self) -> Extent {
        Extent {
            min: P { x: self.a.x.min(self.b.x), y: self.a.y.min(self.b.y) },
            max: P { x: self.a.x.max(self.b.x), y: self.a.y.max(self.b.y) },
        }
    }

    /// True if `p`, known to be in line with the edge, lies on it, ends included.
    fn spans(&self, p: P) -> bool {
        let e = self.extent();
        e.min.x <= p.x && p.x <= e.max.x && e.min.y <= p.y && p.y <= e.max.y
    }

    /// True if the edges cross, each passing through the other.
    fn crosses(&self, o: &Edge) -> bool {
        let (d1, d2) = (turn(self.a, self.b, o.a).signum(), turn(self.a, self.b, o.b).signum());
        let (d3, d4) = (turn(o.a, o.b, self.a).signum(), turn(o.a, o.b, self.b).signum());
        d1 * d2 < 0 && d3 * d4 < 0
    }

    /// True if the edges have a point in common.
    pub fn touches(&self, o: &Edge) -> bool {
        let (d1, d2) = (turn(self.a, self.b, o.a).signum(), turn(self.a, self.b, o.b).signum());
        let (d3, d4) = (turn(o.a, o.b, self.a).signum(), turn(o.a, o.b, self.b).signum());
        (d1 * d2 < 0 && d3 * d4 < 0)
            || (d1 == 0 && self.spans(o.a))
            || (d2 == 0 && self.spans(o.b))
            || (d3 == 0 && o.spans(self.a))
            || (d4 == 0 && o.spans(self.b))
    }
}

/// Where a point lies.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Side {
    In,
    On,
    Out,
}

/// A region bounded by rings with its interior on their left; `outside` makes it the whole plane
/// but for what they enclose.
#[derive(Clone, Debug)]
pub(super) struct Shape {
    rings: Vec<Vec<P>>,
    edges: Vec<Edge>,
    extent: Extent,
    outside: bool,
}

impl Shape {
    /// Takes the rings as they are: outer ones anticlockwise, holes clockwise. `None` without
    /// points.
    pub fn new(rings: Vec<Vec<P>>) -> Option<Shape> {
        let extent = Extent::of(rings.iter().flatten().copied())?;
        let edges = edges_of(&rings);
        Some(Shape { rings, edges, extent, outside: false })
    }

    /// A rectangle.
    pub fn rectangle(min: P, max: P) -> Shape {
        let ring = vec![min, P { x: max.x, y: min.y }, max, P { x: min.x, y: max.y }];
        let rings = vec![ring];
        Shape { edges: edges_of(&rings), rings, extent: Extent { min, max }, outside: false }
    }

    /// Everything that this region is not.
    pub fn complement(&self) -> Shape {
        let rings: Vec<Vec<P>> =
            self.rings.iter().map(|r| r.iter().rev().copied().collect()).collect();
        Shape { edges: edges_of(&rings), rings, extent: self.extent, outside: !self.outside }
    }

    /// The same moved by a vector.
    pub fn moved(&self, by: P) -> Shape {
        let by = |p: P| P { x: p.x + by.x, y: p.y + by.y };
        Shape {
            rings: self.rings.iter().map(|r| r.iter().map(|&p| by(p)).collect()).collect(),
            edges: self.edges.iter().map(|e| Edge { a: by(e.a), b: by(e.b), ..*e }).collect(),
            extent: Extent { min: by(self.extent.min), max: by(self.extent.max) },
            outside: self.outside,
        }
    }

    /// The nearest grid points of rings in mm. `None` without points or beyond three times the
    /// supported size.
    pub fn rounded(rings: &[Vec<Point>]) -> Option<Shape> {
        let round = |p: &Point| {
            let (x, y) = (p.x * GRID_PER_MM, p.y * GRID_PER_MM);
            let most = 3.0 * LARGEST * GRID_PER_MM;
            (x.abs() <= most && y.abs() <= most)
                .then_some(P { x: x.round() as i64, y: y.round() as i64 })
        };
        Shape::new(rings.iter().map(|r| r.iter().map(round).collect()).collect::<Option<_>>()?)
    }

    pub fn extent(&self) -> Extent {
        self.extent
    }

    /// True if it is the whole plane but for what its rings enclose.
    pub fn is_outside(&self) -> bool {
        self.outside
    }

    pub fn edges(&self) -> &[Edge] {
        &self.edges
    }

    /// Twice its area in square micrometres, holes taken off; exact.
    pub fn twice_area(&self) -> i128 {
        self.rings.iter().map(|r| twice_ring_area(r)).sum()
    }

    /// Area in mm².
    pub fn area_mm2(&self) -> f64 {
        self.twice_area() as f64 / (2.0 * GRID_PER_MM * GRID_PER_MM)
    }

    /// Length of all its rings, mm.
    pub fn perimeter_mm(&self) -> f64 {
        self.edges.iter().map(|e| e.a.mm().distance(e.b.mm())).sum()
    }

    /// Where a point lies, given at doubled coordinates so that midpoints of edges are exact too.
    fn side_doubled(&self, p: P) -> Side {
        let mut inside = self.outside;
        for e in &self.edges {
            let (a, b) = (e.a.doubled(), e.b.doubled());
            if (a.y < p.y && b.y < p.y) || (a.y > p.y && b.y > p.y) {
                continue;
            }
            let left = turn(a, b, p);
            if left == 0 && p.x >= a.x.min(b.x) && p.x <= a.x.max(b.x) {
                return Side::On;
            }
            if (a.y > p.y) != (b.y > p.y) && (left > 0) == (b.y > a.y) {
                inside = !inside;
            }
        }
        if inside { Side::In } else { Side::Out }
    }

    /// Where a grid point lies.
    pub fn side(&self, p: P) -> Side {
        self.side_doubled(p.doubled())
    }

    /// What keeps the rings from bounding a region, if anything: a repeated point, a crossing or a
    /// touch (of one ring or of two), a ring that runs the wrong way round, a hole outside. The
    /// first ring is the outline, the others its holes. With `may_touch` different rings may touch
    /// in points, as those of left-overs do.
    pub fn ring_fault(&self, may_touch: bool) -> Option<(&'static str, P)> {
        for (i, ring) in self.rings.iter().enumerate() {
            let first = *ring.first()?;
            if ring.len() < 3 {
                return Some(("has a ring of fewer than three points", first));
            }
            let area = twice_ring_area(ring);
            if area == 0 || (area > 0) != (i == 0) {
                return Some((
                    if area == 0 {
                        "has a ring without area"
                    } else {
                        "has a ring that runs the wrong way round"
                    },
                    first,
                ));
            }
        }
        if let Some(e) = self.edges.iter().find(|e| e.a == e.b) {
            return Some(("repeats a point", e.a));
        }
        let mut order: Vec<&Edge> = self.edges.iter().collect();
        order.sort_by_key(|e| (e.extent().min.x, e.ring, e.place));
        for (i, e) in order.iter().enumerate() {
            let box_e = e.extent();
            for o in &order[i + 1..] {
                let box_o = o.extent();
                if box_o.min.x > box_e.max.x {
                    break;
                }
                if !box_e.near(&box_o, 0) {
                    continue;
                }
                let count = self.rings[e.ring as usize].len() as u32;
                let wrong = if e.ring == o.ring && (e.place + 1) % count == o.place {
                    folds_back(e.a, e.b, o.b)
                } else if e.ring == o.ring && (o.place + 1) % count == e.place {
                    folds_back(o.a, o.b, e.b)
                } else if may_touch && e.ring != o.ring {
                    e.crosses(o)
                } else {
                    e.touches(o)
                };
                if wrong {
                    let at = [o.a, o.b]
                        .into_iter()
                        .find(|&p| turn(e.a, e.b, p) == 0 && e.spans(p))
                        .unwrap_or(e.a);
                    return Some(("crosses or touches itself", at));
                }
            }
        }
        // Boundaries do not cross now, so any point of a hole that is not on the other ring tells
        // where the whole of it lies.
        let alone = |r: &Vec<P>| {
            Shape::new(vec![if twice_ring_area(r) < 0 {
                r.iter().rev().copied().collect()
            } else {
                r.clone()
            }])
        };
        let solid: Vec<Shape> = self.rings.iter().filter_map(alone).collect();
        let lies =
            |hole: &[P], in_: &Shape| hole.iter().map(|&p| in_.side(p)).find(|&s| s != Side::On);
        for (i, hole) in self.rings.iter().enumerate().skip(1) {
            let in_other = solid
                .iter()
                .enumerate()
                .skip(1)
                .any(|(j, s)| j != i && lies(hole, s) == Some(Side::In));
            if lies(hole, &solid[0]) != Some(Side::In) || in_other {
                return Some(("has a hole outside its outline or inside another hole", hole[0]));
            }
        }
        None
    }
}

fn edges_of(rings: &[Vec<P>]) -> Vec<Edge> {
    let mut edges = Vec::new();
    for (ring, points) in rings.iter().enumerate() {
        for (place, &a) in points.iter().enumerate() {
            let b = points[(place + 1) % points.len()];
            edges.push(Edge { a, b, ring: ring as u32, place: place as u32 });
        }
    }
    edges
}

fn folds_back(a: P, b: P, c: P) -> bool {
    turn(a, b, c) == 0 && a.minus(b).dot(c.minus(b)) > 0
}

fn twice_ring_area(ring: &[P]) -> i128 {
    let Some(&o) = ring.first() else { return 0 };
    (0..ring.len())
        .map(|i| i128::from(ring[i].minus(o).cross(ring[(i + 1) % ring.len()].minus(o))))
        .sum()
}

/// Calls `f` with every edge of `a` and edge of `b` whose boxes come within `margin`.
pub(super) fn near_edges(a: &Shape, b: &Shape, margin: i64, mut f: impl FnMut(usize, usize)) {
    let near = |s: &Shape, o: &Shape| -> Vec<usize> {
        (0..s.edges.len())
            .filter(|&i| s.edges[i].extent().near(&o.extent, margin))
            .collect::<Vec<_>>()
    };
    let from = near(a, b);
    let mut to = near(b, a);
    to.sort_by_key(|&j| b.edges[j].extent().min.x);
    let widest = to.iter().map(|&j| (b.edges[j].a.x - b.edges[j].b.x).abs()).max().unwrap_or(0);
    for &i in &from {
        let e = a.edges[i].extent();
        let start = to.partition_point(|&j| b.edges[j].extent().min.x < e.min.x - margin - widest);
        for &j in &to[start..] {
            let o = b.edges[j].extent();
            if o.min.x > e.max.x + margin {
                break;
            }
            if e.near(&o, margin) {
                f(i, j);
            }
        }
    }
}

/// A point that both interiors are found to share (or lie beside), or `None` if the interiors are
/// disjoint. Exact; contact of boundaries is no overlap. Both shapes must be free of ring faults,
/// and at most one may be a complement.
///
/// Method: boundaries that cross properly overlap. Otherwise every common point of the two
/// boundaries is a vertex of one of them; each edge cut at those points lies wholly inside, outside
/// or along the other boundary, so its midpoint decides, and along the boundary the direction does
/// (same direction: interiors on the same side).
pub(super) fn interiors_meet(a: &Shape, b: &Shape) -> Option<P> {
    if !a.outside && !b.outside && !a.extent.near(&b.extent, -1) {
        return None;
    }
    let mut cuts_a: Vec<(usize, P)> = Vec::new();
    let mut cuts_b: Vec<(usize, P)> = Vec::new();
    let mut crossing = None;
    near_edges(a, b, 0, |i, j| {
        let (e, o) = (&a.edges[i], &b.edges[j]);
        let (d1, d2) = (turn(e.a, e.b, o.a).signum(), turn(e.a, e.b, o.b).signum());
        let (d3, d4) = (turn(o.a, o.b, e.a).signum(), turn(o.a, o.b, e.b).signum());
        if d1 * d2 < 0 && d3 * d4 < 0 {
            crossing.get_or_insert(e.a);
        }
        for (d, p) in [(d1, o.a), (d2, o.b)] {
            if d == 0 && e.spans(p) {
                cuts_a.push((i, p));
            }
        }
        for (d, p) in [(d3, e.a), (d4, e.b)] {
            if d == 0 && o.spans(p) {
                cuts_b.push((j, p));
            }
        }
    });
    if crossing.is_some() {
        return crossing;
    }
    let apart = cuts_a.is_empty() && cuts_b.is_empty();
    edge_inside(a, b, cuts_a, apart).or_else(|| edge_inside(b, a, cuts_b, apart))
}

/// The first edge part of `a` that runs inside `b`, or along its boundary with `b`'s interior on
/// the same side.
fn edge_inside(a: &Shape, b: &Shape, mut cuts: Vec<(usize, P)>, apart: bool) -> Option<P> {
    cuts.sort_unstable();
    cuts.dedup();
    let mut next = 0;
    for (i, e) in a.edges.iter().enumerate() {
        let first = next;
        while next < cuts.len() && cuts[next].0 == i {
            next += 1;
        }
        // Boundaries wholly apart: one edge speaks for its ring.
        if (apart && e.place > 0) || (!b.outside && !e.extent().near(&b.extent, 0)) {
            continue;
        }
        let mut stops: Vec<P> = cuts[first..next].iter().map(|c| c.1).collect();
        stops.extend([e.a, e.b]);
        let along = e.b.minus(e.a);
        stops.sort_by_key(|p| along.dot(p.minus(e.a)));
        stops.dedup();
        for pair in stops.windows(2) {
            let middle = P { x: pair[0].x + pair[1].x, y: pair[0].y + pair[1].y };
            let meets = match b.side_doubled(middle) {
                Side::In => true,
                Side::Out => false,
                Side::On => b.edges.iter().any(|o| {
                    let (oa, ob) = (o.a.doubled(), o.b.doubled());
                    let in_line = along.cross(o.b.minus(o.a)) == 0 && turn(oa, ob, middle) == 0;
                    in_line
                        && along.dot(o.b.minus(o.a)) > 0
                        && Edge { a: oa, b: ob, ..*o }.spans(middle)
                }),
            };
            if meets {
                return Some(pair[0]);
            }
        }
    }
    None
}

/// The two nearest points of the boundaries, if they are nearer than `gap` micrometres: (distance
/// in mm, where). The comparison is exact; the distance that is reported is rounded.
pub(super) fn nearer_than(a: &Shape, b: &Shape, gap: i64) -> Option<(f64, P)> {
    let mut worst: Option<(f64, P)> = None;
    if gap > 0 && a.extent.near(&b.extent, gap) {
        near_edges(a, b, gap, |i, j| {
            let (e, o) = (&a.edges[i], &b.edges[j]);
            for (p, f) in [(e.a, o), (e.b, o), (o.a, e), (o.b, e)] {
                if point_nearer_than(p, f, gap) {
                    let d = p.mm().distance_to_segment(f.a.mm(), f.b.mm());
                    if worst.is_none_or(|w| d < w.0) {
                        worst = Some((d, p));
                    }
                }
            }
            if worst.is_none() && e.touches(o) {
                worst = Some((0.0, e.a));
            }
        });
    }
    worst
}

/// True if `p` is nearer to the edge than `gap`, exactly: squares in `i128`.
fn point_nearer_than(p: P, e: &Edge, gap: i64) -> bool {
    let (ab, ap) = (e.b.minus(e.a), p.minus(e.a));
    let (along, length2) = (ap.dot(ab), ab.dot(ab));
    let gap2 = i128::from(gap) * i128::from(gap);
    if along <= 0 {
        i128::from(ap.dot(ap)) < gap2
    } else if along >= length2 {
        let bp = p.minus(e.b);
        i128::from(bp.dot(bp)) < gap2
    } else {
        let across = i128::from(ab.cross(ap));
        across * across < gap2 * i128::from(length2)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn shape(points: &[(i64, i64)]) -> Shape {
        Shape::new(vec![points.iter().map(|&(x, y)| P { x, y }).collect()]).expect("points")
    }

    fn square(x: i64, y: i64, side: i64) -> Shape {
        Shape::rectangle(P { x, y }, P { x: x + side, y: y + side })
    }

    #[test]
    fn contact_is_no_overlap_and_one_micrometre_is() {
        let a = square(0, 0, 1000);
        assert!(interiors_meet(&a, &square(1000, 0, 1000)).is_none());
        assert!(interiors_meet(&a, &square(1000, 500, 1000)).is_none());
        assert!(interiors_meet(&a, &square(1000, 1000, 1000)).is_none());
        assert!(interiors_meet(&a, &square(999, 0, 1000)).is_some());
        assert!(interiors_meet(&a, &square(999, 999, 1000)).is_some());
    }

    #[test]
    fn equal_and_nested_regions_overlap() {
        let a = square(0, 0, 1000);
        assert!(interiors_meet(&a, &a).is_some());
        assert!(interiors_meet(&a, &square(0, 0, 500)).is_some(), "in a corner, sharing two edges");
        assert!(interiors_meet(&a, &square(250, 250, 500)).is_some(), "wholly inside");
        assert!(interiors_meet(&square(250, 250, 500), &a).is_some());
    }

    #[test]
    fn corners_that_touch_an_edge_from_inside_and_cross_through_vertices_are_overlaps() {
        // A diamond whose corners lie on the square's edges: no proper crossing, no vertex strictly
        // inside the other.
        let diamond = shape(&[(500, 0), (1000, 500), (500, 1000), (0, 500)]);
        assert!(interiors_meet(&square(0, 0, 1000), &diamond).is_some());
        // Two bars that cross exactly through each other's corners.
        let bar = shape(&[(0, 0), (300, 0), (300, 100), (0, 100)]);
        let other = shape(&[(100, 0), (200, 0), (200, 100), (100, 100)]);
        assert!(interiors_meet(&bar, &other).is_some());
    }

    #[test]
    fn a_region_in_the_hole_of_another_is_apart() {
        let frame = Shape::new(vec![
            vec![
                P { x: 0, y: 0 },
                P { x: 3000, y: 0 },
                P { x: 3000, y: 3000 },
                P { x: 0, y: 3000 },
            ],
            vec![
                P { x: 1000, y: 1000 },
                P { x: 1000, y: 2000 },
                P { x: 2000, y: 2000 },
                P { x: 2000, y: 1000 },
            ],
        ])
        .expect("points");
        assert_eq!(frame.ring_fault(false), None);
        assert!(
            interiors_meet(&frame, &square(1000, 1000, 1000)).is_none(),
            "fills the hole exactly"
        );
        assert!(interiors_meet(&frame, &square(1000, 1000, 1001)).is_some());
        assert_eq!(nearer_than(&frame, &square(1100, 1100, 800), 100), None);
        let (distance, _) = nearer_than(&frame, &square(1099, 1100, 800), 100).expect("too near");
        assert!((distance - 0.099).abs() < 1e-12);
    }

    #[test]
    fn containment_is_disjointness_from_the_complement() {
        let cloth = square(0, 0, 1000).complement();
        assert!(interiors_meet(&square(0, 0, 1000), &cloth).is_none());
        assert!(interiors_meet(&square(0, 0, 400), &cloth).is_none());
        assert!(interiors_meet(&square(-1, 0, 400), &cloth).is_some());
        assert!(interiors_meet(&square(5000, 0, 400), &cloth).is_some());
        assert!(
            interiors_meet(&square(-500, -500, 4000), &cloth).is_some(),
            "larger than the cloth"
        );
    }

    #[test]
    fn distance_to_a_slanted_edge_is_exact() {
        // The line 3x + 4y = 0 and the point (300, 400) are exactly 500 apart.
        let wedge = shape(&[(-4000, 3000), (-8000, -6000), (4000, -3000)]);
        let tip = shape(&[(300, 400), (3000, 3000), (200, 3000)]);
        assert_eq!(nearer_than(&wedge, &tip, 500), None);
        assert!(nearer_than(&wedge, &tip, 501).is_some());
    }

    #[test]
    fn ring_faults_are_seen() {
        assert_eq!(
            shape(&[(0, 0), (10, 10), (10, 0), (0, 10)]).ring_fault(false).map(|f| f.0),
            Some("has a ring without area")
        );
        assert_eq!(
            shape(&[(0, 0), (0, 10), (10, 10), (10, 0)]).ring_fault(false).map(|f| f.0),
            Some("has a ring that runs the wrong way round")
        );
        let spike = shape(&[(0, 0), (10, 0), (10, 10), (10, 20), (10, 10), (0, 10)]);
        assert!(spike.ring_fault(false).is_some());
        let touching = shape(&[(0, 0), (10, 0), (5, 5), (10, 10), (0, 10), (5, 5)]);
        assert_eq!(touching.ring_fault(false).map(|f| f.0), Some("crosses or touches itself"));
    }
}
