//! Growing the outside of a ring by its own amount at every edge, and shrinking it all round.
//!
//! Method: each grown edge lays a strip of its amount along its outer side; corners between grown
//! edges get a join; where a grown edge meets one that does not grow, the growth ends on the line
//! of the latter. Strips and joins are convex; the caller unites them with the ring
//! ([`super::boolean::union`]), which leaves only the rounding to the grid to be wrong.
//!
//! - **Joins.** A corner is mitred if the cuts meet within [`MITRE_REACH`] times the allowance of
//!   it (a turn of up to 96°, for a square corner drawn by hand is never quite square): both cuts
//!   run straight until they meet, as a person cuts it. A sharper corner is rounded by a polygon
//!   drawn around the arc, never inside it, at most [`ROUND_EXCESS`] outside. For a convex ring the
//!   areas are those of Steiner's formulas.
//! - **Unequal amounts.** Mitred if the cuts meet near the corner; else the wider strip ends in a
//!   step with a rounded shoulder.
//! - **Ends.** At an outward corner of at least [`LEAST_END_CORNER`] degrees the growth ends on the
//!   line of the edge that does not grow, drawn on past the corner, so that two neighbours that
//!   meet along that edge (the legs of a dart, two butted plies) meet in their trim too. At flatter
//!   or inward corners it ends square.
//! - **Through walls.** Nothing grows where the region itself stands between it and the edge or
//!   corner it grows from: growth ends at the far side of a slot, and that of a hole stays in the
//!   hole, whatever the allowance of the edge behind.

use super::boolean::{difference, union};
use super::point::{Point, point};
use super::region::{Bounds, Region, Ring, ring_area, ring_bounds};
use rayon::prelude::*;

/// How far a rounded corner may lie outside the true arc, mm.
pub const ROUND_EXCESS: f64 = 0.05;

/// The farthest a mitre may reach from its corner, in allowances.
pub const MITRE_REACH: f64 = 1.5;

/// Outward corners flatter than this, degrees, end the growth square instead of on the other edge's
/// line.
pub const LEAST_END_CORNER: f64 = 30.0;

/// Up to so many edges are grown by the caller's thread.
const AT_ONCE: usize = 1_000;

/// Stretches of wall in a part that are taken as they are.
const FEW: usize = 16;

/// A wall that reaches less than this into a part does not stand in its way, mm: it is rounding.
const TOUCHING: f64 = 0.002;

/// The parts by which a ring grows outward (to the right of its run): `amounts[i]` mm along the
/// edge `ring[i]` to `ring[i + 1]`.
///
/// `walls` are all rings of the region the ring belongs to, itself among them: no part passes
/// through the region. A hole (clockwise) grows into itself, so that the hole shrinks. The parts
/// are anticlockwise and may overlap. Given up once `stop` says so.
pub fn growth(
    ring: &[Point],
    amounts: &[f64],
    walls: &[&Ring],
    stop: &(dyn Fn() -> bool + Sync),
) -> Vec<Ring> {
    let edges = edges_of(ring, amounts);
    let ends = ends(&edges);
    let n = edges.len();
    let walls = Walls::new(walls);
    let of_edge = |(i, edge): (usize, &Edge)| {
        let mut grown: Vec<Ring> = Vec::new();
        if edge.amount <= 0.0 || stop() {
            return grown;
        }
        let mut add = |part: Option<Ring>, root: Root| {
            grown.extend(part.into_iter().flat_map(|part| seen_from(part, root, &walls)))
        };
        let Ends { before, after, lines } = &ends[i];
        let out = edge.out * edge.amount;
        let strip = |from: Point, to: Point| cut_by(vec![from, from + out, to + out, to], lines);
        add(strip(edge.a, edge.b), Root::Edge { a: edge.a, out: edge.out, reach: edge.amount });
        if *before > 0.0 {
            add(
                strip(edge.a - edge.along * *before, edge.a),
                Root::Corner { at: edge.a, reach: edge.amount },
            );
        }
        if *after > 0.0 {
            add(
                strip(edge.b, edge.b + edge.along * *after),
                Root::Corner { at: edge.b, reach: edge.amount },
            );
        }
        let next = (i + 1) % n;
        let second = &edges[next];
        if second.amount > 0.0
            && let Some(join) = join(edge, second)
        {
            let reach = MITRE_REACH * edge.amount.max(second.amount);
            add(
                cut_by(join, lines.iter().chain(&ends[next].lines)),
                Root::Corner { at: edge.b, reach },
            );
        }
        grown
    };
    let parts: Vec<Vec<Ring>> = if n <= AT_ONCE {
        edges.iter().enumerate().map(of_edge).collect()
    } else {
        edges.par_iter().enumerate().map(of_edge).collect()
    };
    parts.concat()
}

/// The region of a ring (anticlockwise) less everything nearer to its boundary than `amount` mm;
/// empty if nothing is left, more than one region if it falls apart. Inward corners are mitred or
/// rounded as the outward corners of [`growth`].
pub fn inset(ring: &Ring, amount: f64) -> Vec<Region> {
    let mut inside_out = ring.clone();
    inside_out.reverse();
    let parts = growth(&inside_out, &vec![amount; ring.len()], &[&inside_out], &|| false);
    difference([ring], &union(&parts).iter().flat_map(|r| r.rings().cloned()).collect::<Vec<_>>())
}

/// An edge with its unit vectors along and outward.
struct Edge {
    a: Point,
    b: Point,
    along: Point,
    out: Point,
    length: f64,
    amount: f64,
}

fn edges_of(ring: &[Point], amounts: &[f64]) -> Vec<Edge> {
    let n = ring.len();
    let edges = (0..n).zip(amounts).map(|(i, &amount)| {
        let (a, b) = (ring[i], ring[(i + 1) % n]);
        let length = a.distance(b);
        let along = (b - a) * (1.0 / length.max(1e-9));
        Edge { a, b, along, out: point(along.y, -along.x), length, amount }
    });
    edges.filter(|e| e.length > 1e-9).collect()
}

/// How the strip of one edge ends: lengthened before its start or past its end, and cut by lines.
#[derive(Clone, Default)]
struct Ends {
    before: f64,
    after: f64,
    lines: Vec<Line>,
}

/// A line through `at`; what lies on the side of `out` is cut away.
#[derive(Clone, Copy)]
struct Line {
    at: Point,
    out: Point,
}

impl Line {
    fn beyond(&self, p: Point) -> f64 {
        (p - self.at).dot(self.out)
    }
}

/// Where runs of grown edges end on the line of an edge that does not grow, the lines that cut
/// their strips.
fn ends(edges: &[Edge]) -> Vec<Ends> {
    let n = edges.len();
    let mut ends = vec![Ends::default(); n];
    for i in 0..n {
        let (first, second) = (&edges[i], &edges[(i + 1) % n]);
        let turn = turn_between(first, second);
        if (first.amount > 0.0) == (second.amount > 0.0) || turn < LEAST_END_CORNER.to_radians() {
            continue;
        }
        let (grown, still, backward) =
            if first.amount > 0.0 { (i, second, true) } else { ((i + 1) % n, first, false) };
        let line = Line { at: first.b, out: still.out };
        let amount = edges[grown].amount;
        // Past a right angle the line leans away from the strip: lengthen the strip to it, within
        // reason.
        let longer = if turn > std::f64::consts::FRAC_PI_2 {
            (-libm::cos(turn) / libm::sin(turn).max(1e-9) * amount).min(amount)
        } else {
            0.0
        };
        if backward {
            ends[grown].after = longer
        } else {
            ends[grown].before = longer
        }
        // Short of it, the line leans back over the strips of as many edges as lie within its
        // reach.
        let reach = amount * (1.0 + (libm::cos(turn) / libm::sin(turn)).max(0.0));
        let (mut at, mut passed) = (grown, 0.0);
        while edges[at].amount > 0.0 && passed < reach {
            let edge = &edges[at];
            if line.beyond(edge.a) < 1e-6 && line.beyond(edge.b) < 1e-6 {
                ends[at].lines.push(line);
            }
            passed += edge.length;
            at = if backward { (at + n - 1) % n } else { (at + 1) % n };
        }
    }
    ends
}

/// The angle by which the ring turns from one edge into the next, radians, positive at outward
/// corners (of an anticlockwise ring).
fn turn_between(first: &Edge, second: &Edge) -> f64 {
    libm::atan2(first.along.cross(second.along), first.along.dot(second.along))
}

/// What fills the corner between two grown edges; nothing at an inward corner, where the strips
/// overlap.
fn join(first: &Edge, second: &Edge) -> Option<Ring> {
    let turn = turn_between(first, second);
    if turn < 1e-9 {
        return None;
    }
    let corner = first.b;
    let (r1, r2) = (first.amount, second.amount);
    let (sin, cos) = (libm::sin(turn), libm::cos(turn));
    // Where the cuts meet: this far past the corner on the first, before it on the second.
    let (past, before) = ((r2 - r1 * cos) / sin, (r1 - r2 * cos) / sin);
    let (start, end) = (corner + first.out * r1, corner + second.out * r2);
    let meet = start + first.along * past;
    if past >= 0.0 && before >= 0.0 && meet.distance(corner) <= MITRE_REACH * r1.max(r2) {
        return Some(vec![corner, start, meet, end]);
    }
    let r = r1.max(r2);
    let widest = (2.0 * libm::acos(r / (r + ROUND_EXCESS))).min(std::f64::consts::FRAC_PI_4);
    let count = libm::ceil(turn / widest).max(1.0);
    let step = turn / count;
    let outer = r / libm::cos(step / 2.0);
    let mut ring = vec![corner, corner + first.out * r];
    for k in 0..count as usize {
        let (s, c) = (libm::sin((k as f64 + 0.5) * step), libm::cos((k as f64 + 0.5) * step));
        ring.push(corner + (first.out * c + first.along * s) * outer);
    }
    ring.push(corner + second.out * r);
    Some(ring)
}

/// What a part grows from, and how far, mm.
#[derive(Clone, Copy)]
enum Root {
    Edge { a: Point, out: Point, reach: f64 },
    Corner { at: Point, reach: f64 },
}

/// A stretch of wall as its root sees it: from where to where (mm along the edge, or radians round
/// the corner), and how far off.
struct Seen {
    over: [f64; 2],
    near: f64,
    far: f64,
}

impl Root {
    /// How a stretch of wall is seen by one that looks towards `middle`; `None` if it hides nothing
    /// or reaches behind.
    fn sees(&self, [p, q]: [Point; 2], middle: Point) -> Option<Seen> {
        let (ends, near, far) = match *self {
            Root::Edge { a, out, .. } => {
                let (dp, dq) = ((p - a).dot(out), (q - a).dot(out));
                let along = |p: Point| (p - a).cross(out);
                (dp.min(dq) >= 0.0).then_some(())?;
                ([along(p), along(q)], dp.min(dq), dp.max(dq))
            }
            Root::Corner { at, .. } => {
                let ahead = middle - at;
                let angle = |p: Point| libm::atan2(ahead.cross(p - at), ahead.dot(p - at));
                let near = at.distance_to_segment(p, q);
                let ends = [angle(p), angle(q)];
                ((ends[0] - ends[1]).abs() < 3.0 && near > 1e-3).then_some(())?;
                (ends, near, p.distance(at).max(q.distance(at)))
            }
        };
        Some(Seen { over: [ends[0].min(ends[1]), ends[0].max(ends[1])], near, far })
    }

    /// What the stretch of wall from `p` to `q` hides, as far as the root reaches; anticlockwise.
    fn hidden_by(&self, [p, q]: [Point; 2]) -> Vec<Ring> {
        let shadows = match *self {
            Root::Edge { a, out, reach } => {
                let (dp, dq) = ((p - a).dot(out), (q - a).dot(out));
                let level = |from: Point, d: f64, to: Point, e: f64| {
                    if d < 0.0 { from + (to - from) * (d / (d - e)) } else { from }
                };
                if dp <= 0.0 && dq <= 0.0 {
                    return Vec::new();
                }
                let (p, q, far) = (level(p, dp, q, dq), level(q, dq, p, dp), out * (2.0 * reach));
                vec![vec![p, q, q + far, p + far]]
            }
            Root::Corner { at, reach } => {
                // In two halves, so that the far side of neither comes near the corner.
                let along = q - p;
                let foot =
                    p + along * ((at - p).dot(along) / along.dot(along).max(1e-12)).clamp(0.0, 1.0);
                let far = |p: Point| p + (p - at) * (3.0 * reach / p.distance(at).max(1e-9));
                let half = |p: Point, q: Point| vec![p, q, far(q), far(p)];
                if foot.distance(at) < 1e-6 {
                    Vec::new()
                } else {
                    vec![half(p, foot), half(foot, q)]
                }
            }
        };
        let anticlockwise = |mut ring: Ring| {
            if ring_area(&ring) < 0.0 {
                ring.reverse();
            }
            ring
        };
        shadows.into_iter().map(anticlockwise).collect()
    }
}

/// Stretches of wall, by the cells of a grid that their boxes reach into.
struct Walls {
    all: Vec<[Point; 2]>,
    low: Point,
    cell: Point,
    cells: Vec<Vec<u32>>,
}

impl Walls {
    /// Cells along x and along y.
    const SIDE: usize = 64;

    fn new(rings: &[&Ring]) -> Walls {
        let all: Vec<[Point; 2]> =
            rings.iter().flat_map(|w| (0..w.len()).map(|i| [w[i], w[(i + 1) % w.len()]])).collect();
        let ends: Vec<Point> = all.iter().map(|w| w[0]).collect();
        let (low, high) =
            ring_bounds(&ends).map_or((Point::default(), Point::default()), |b| (b.min, b.max));
        let cell = (high - low) * (1.0 / Walls::SIDE as f64);
        let mut walls =
            Walls { all, low, cell, cells: vec![Vec::new(); Walls::SIDE * Walls::SIDE] };
        for (i, &[a, b]) in walls.all.iter().enumerate() {
            for k in walls.reach(Bounds {
                min: point(a.x.min(b.x), a.y.min(b.y)),
                max: point(a.x.max(b.x), a.y.max(b.y)),
            }) {
                walls.cells[k].push(i as u32);
            }
        }
        walls
    }

    fn reach(&self, b: Bounds) -> impl Iterator<Item = usize> + use<> {
        let index = |v: f64, low: f64, cell: f64| {
            (((v - low) / cell.max(1e-9)).max(0.0) as usize).min(Walls::SIDE - 1)
        };
        let (x0, x1) =
            (index(b.min.x, self.low.x, self.cell.x), index(b.max.x, self.low.x, self.cell.x));
        let (y0, y1) =
            (index(b.min.y, self.low.y, self.cell.y), index(b.max.y, self.low.y, self.cell.y));
        (x0..=x1).flat_map(move |x| (y0..=y1).map(move |y| x * Walls::SIDE + y))
    }

    /// Those whose boxes overlap a box, in their order.
    fn near(&self, bounds: Bounds) -> impl Iterator<Item = [Point; 2]> {
        let overlaps = move |[a, b]: &[Point; 2]| {
            a.x.max(b.x) > bounds.min.x
                && a.x.min(b.x) < bounds.max.x
                && a.y.max(b.y) > bounds.min.y
                && a.y.min(b.y) < bounds.max.y
        };
        let mut found: Vec<u32> = self
            .reach(bounds)
            .flat_map(|k| &self.cells[k])
            .copied()
            .filter(|&i| overlaps(&self.all[i as usize]))
            .collect();
        found.sort_unstable();
        found.dedup();
        found.into_iter().map(|i| self.all[i as usize])
    }
}

/// What of a convex part no wall hides from what it grows from.
fn seen_from(part: Ring, root: Root, walls: &Walls) -> Vec<Ring> {
    let Some(bounds) = ring_bounds(&part) else {
        return vec![part];
    };
    let mut walls: Vec<[Point; 2]> = walls.near(bounds).filter(|&w| enters(w, &part)).collect();
    if walls.len() > FEW {
        foremost(&mut walls, root, &part);
    }
    let hidden: Vec<Ring> = walls.into_iter().flat_map(|w| root.hidden_by(w)).collect();
    if hidden.is_empty() {
        return vec![part];
    }
    difference([&part], &hidden)
        .into_iter()
        .flat_map(|r| std::iter::once(r.outline).chain(r.holes))
        .collect()
}

/// Leaves out stretches of wall that nearer ones hide wholly from the root: what they hide is hidden
/// already, and the work grows with the square of them.
fn foremost(walls: &mut Vec<[Point; 2]>, root: Root, part: &Ring) {
    let middle = part.iter().fold(Point::default(), |sum, &p| sum + p) * (1.0 / part.len() as f64);
    let seen: Vec<Option<Seen>> = walls.iter().map(|&w| root.sees(w, middle)).collect();
    let by = |key: fn(&Seen) -> f64| {
        let mut order: Vec<usize> = (0..seen.len()).filter(|&i| seen[i].is_some()).collect();
        let key = |i: usize| seen[i].as_ref().map_or(0.0, key);
        order.sort_by(|&i, &j| key(i).total_cmp(&key(j)));
        order
    };
    // Before each, by where it begins, all are spread out that end nearer: a wall that runs along
    // the root begins where it ends, and does not hide itself.
    let mut ending = by(|s| s.far).into_iter().filter_map(|i| seen[i].as_ref()).peekable();
    let mut hiding: Vec<[f64; 2]> = Vec::new();
    let mut hidden = vec![false; walls.len()];
    for i in by(|s| s.near) {
        let Some(wall) = &seen[i] else { continue };
        while let Some(nearer) = ending.next_if(|s| s.far < wall.near) {
            spread_over(&mut hiding, nearer.over);
        }
        hidden[i] = hiding.iter().any(|h| h[0] <= wall.over[0] && wall.over[1] <= h[1]);
    }
    let mut kept = hidden.iter().map(|hidden| !hidden);
    walls.retain(|_| kept.next().unwrap_or(true));
}

/// Adds an interval to some that are apart.
fn spread_over(all: &mut Vec<[f64; 2]>, mut new: [f64; 2]) {
    all.retain(|old| {
        let meets = old[0] <= new[1] && new[0] <= old[1];
        if meets {
            new = [new[0].min(old[0]), new[1].max(old[1])];
        }
        !meets
    });
    all.push(new);
}

/// Cuts a convex ring by lines; `None` if nothing is left.
fn cut_by<'a>(mut ring: Ring, lines: impl IntoIterator<Item = &'a Line>) -> Option<Ring> {
    for line in lines {
        ring = cut_convex(&ring, line);
    }
    (ring.len() >= 3).then_some(ring)
}

fn cut_convex(part: &[Point], line: &Line) -> Ring {
    let mut out = Vec::with_capacity(part.len() + 1);
    for (i, &p) in part.iter().enumerate() {
        let q = part[(i + 1) % part.len()];
        let (dp, dq) = (line.beyond(p), line.beyond(q));
        if dp <= 0.0 {
            out.push(p);
        }
        if (dp < 0.0 && dq > 0.0) || (dp > 0.0 && dq < 0.0) {
            out.push(p + (q - p) * (dp / (dp - dq)));
        }
    }
    out
}

/// True if a stretch of wall runs through the inside of a convex part (touching along its border
/// does not count).
fn enters([a, b]: [Point; 2], part: &Ring) -> bool {
    // Clip it by the part's sides; what is left must be longer than the rounding.
    let (mut from, mut to) = (0.0, 1.0);
    for (j, &p) in part.iter().enumerate() {
        let side = part[(j + 1) % part.len()] - p;
        let length = side.length();
        if length < 1e-9 {
            continue;
        }
        let depth = |q: Point| side.cross(q - p) / length - TOUCHING;
        let (da, db) = (depth(a), depth(b));
        if da <= 0.0 && db <= 0.0 {
            return false;
        }
        if da <= 0.0 {
            from = f64::max(from, da / (da - db));
        } else if db <= 0.0 {
            to = f64::min(to, da / (da - db));
        }
    }
    from < to
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geometry::{ring_area, ring_contains};
    use std::f64::consts::PI;

    fn grown(ring: &Ring, amounts: &[f64]) -> Region {
        let parts = growth(ring, amounts, &[ring], &|| false);
        let mut all = union(std::iter::once(ring).chain(&parts));
        assert_eq!(all.len(), 1, "{all:?}");
        all.remove(0)
    }

    fn perimeter(ring: &Ring) -> f64 {
        ring.iter().enumerate().map(|(i, p)| p.distance(ring[(i + 1) % ring.len()])).sum()
    }

    fn regular(n: usize, radius: f64) -> Ring {
        (0..n)
            .map(|i| {
                let a = 2.0 * PI * i as f64 / n as f64;
                point(radius * libm::cos(a), radius * libm::sin(a)).snapped()
            })
            .collect()
    }

    fn rectangle(w: f64, h: f64) -> Ring {
        vec![point(0.0, 0.0), point(w, 0.0), point(w, h), point(0.0, h)]
    }

    /// Steiner's formula for mitred offsets of a rectangle: A + P·r + 4r².
    #[test]
    fn a_rectangle_grows_by_steiners_mitred_formula() {
        let r = 25.0;
        let ring = rectangle(300.0, 120.0);
        let big = grown(&ring, &[r; 4]);
        assert!((big.area() - (300.0 * 120.0 + 840.0 * r + 4.0 * r * r)).abs() < 1e-6);
        assert_eq!(big.outline.len(), 4);
    }

    /// Steiner's formula for an inward offset: A - P·r + 4r².
    #[test]
    fn a_rectangle_shrinks_by_steiners_formula() {
        let small = inset(&rectangle(300.0, 120.0), 25.0);
        assert_eq!(small.len(), 1);
        assert!((small[0].area() - (300.0 * 120.0 - 840.0 * 25.0 + 4.0 * 625.0)).abs() < 1e-6);
        assert!(inset(&rectangle(300.0, 50.0), 25.0).is_empty());
    }

    /// Steiner's formula for mitred offsets: A + P·r + r²·Σ tan(exterior/2).
    #[test]
    fn a_regular_polygon_grows_by_steiners_mitred_formula() {
        for n in [5, 8, 17] {
            let (ring, r) = (regular(n, 200.0), 25.0);
            let expected =
                ring_area(&ring) + perimeter(&ring) * r + r * r * n as f64 * (PI / n as f64).tan();
            let found = grown(&ring, &vec![r; n]).area();
            // The grid moves the boundary by up to a micrometre or so.
            assert!((found - expected).abs() < 0.002 * perimeter(&ring), "{n}: {found} {expected}");
        }
    }

    /// Steiner's formula for rounded offsets: A + P·r + π·r². All corners of a triangle turn by
    /// more than 90°.
    #[test]
    fn sharp_corners_are_rounded_from_outside() {
        let (ring, r) = (regular(3, 200.0), 25.0);
        let least = ring_area(&ring) + perimeter(&ring) * r + PI * r * r;
        let found = grown(&ring, &[r; 3]).area();
        assert!(found > least - 0.001 * perimeter(&ring), "{found} {least}");
        assert!(found < least + 2.0 * PI * r * ROUND_EXCESS, "{found} {least}");
    }

    #[test]
    fn a_grown_edge_between_still_ones_ends_on_their_lines() {
        // A trapezium: the lines of the slanted sides bound the growth of the long bottom.
        let ring = vec![point(0.0, 0.0), point(100.0, 0.0), point(70.0, 30.0), point(30.0, 30.0)];
        let big = grown(&ring, &[10.0, 0.0, 0.0, 0.0]);
        // At the bottom corners the sides lean in (45°), so their lines drawn on lean out: 10 more
        // at each end.
        assert!(
            (big.area() - (ring_area(&ring) + 10.0 * (100.0 + 120.0) / 2.0)).abs() < 0.01,
            "{}",
            big.area()
        );
        // The other way up the lines lean over the strip.
        let big = grown(&ring, &[0.0, 0.0, 10.0, 0.0]);
        assert!(
            (big.area() - (ring_area(&ring) + 10.0 * (40.0 + 20.0) / 2.0)).abs() < 0.01,
            "{}",
            big.area()
        );
    }

    #[test]
    fn trim_does_not_spill_over_a_dart() {
        // A dart in the bottom edge, 10 mm wide at its mouth, 40 deep, the bottom drawn in short
        // steps beside it.
        let ring = vec![
            point(0.0, 0.0),
            point(42.0, 0.0),
            point(45.0, 0.0),
            point(50.0, 40.0),
            point(55.0, 0.0),
            point(58.0, 0.0),
            point(100.0, 0.0),
            point(100.0, 80.0),
            point(0.0, 80.0),
        ];
        let r = 25.0;
        let big = grown(&ring, &[r, r, 0.0, 0.0, r, r, r, r, r]);
        // Whichever part of the opening, drawn on past the mouth, one looks at: nothing lies in it.
        let region = |p: Point| ring_contains(&big.outline, p);
        for y in [-24.0, -12.0, -1.0, 10.0, 30.0] {
            let half = 5.0 * (40.0 - y) / 40.0;
            assert!(
                !region(point(50.0 - half + 0.01, y))
                    && !region(point(50.0, y))
                    && !region(point(50.0 + half - 0.01, y)),
                "{y}"
            );
            assert!(
                region(point(50.0 - half - 0.01, y)) && region(point(50.0 + half + 0.01, y)),
                "{y}"
            );
        }
    }

    #[test]
    fn trim_does_not_come_out_behind_a_thin_wall() {
        // A slot 8 mm wide beside a wall 5 mm thick whose outer side is butted: trim of 25 mm fills
        // the slot and stops there.
        let ring = vec![
            point(0.0, 0.0),
            point(100.0, 0.0),
            point(100.0, 60.0),
            point(95.0, 60.0),
            point(95.0, 20.0),
            point(87.0, 20.0),
            point(87.0, 60.0),
            point(0.0, 60.0),
        ];
        let mut amounts = [0.0; 8];
        amounts[5] = 25.0;
        let big = grown(&ring, &amounts);
        assert!((big.area() - (ring_area(&ring) + 8.0 * 40.0)).abs() < 0.01, "{}", big.area());
    }

    #[test]
    fn growth_cut_by_a_slanted_wall_stays_bound_to_its_edge() {
        // Slots at odd slants, so that every cut is rounded.
        for k in 0..40 {
            let lean = 3.0 + 0.137 * f64::from(k);
            let ring = vec![
                point(0.0, 0.0),
                point(100.0, 0.0),
                point(100.0 + lean, 60.003),
                point(94.0 + lean, 60.001),
                point(94.0 + lean / 3.0, 20.0),
                point(87.0 + lean / 3.0, 20.007),
                point(87.0 - lean, 60.0),
                point(0.0, 60.0),
            ];
            let ring: Ring = ring.into_iter().map(Point::snapped).collect();
            let mut amounts = [0.0; 8];
            amounts[5] = 45.0;
            let parts = growth(&ring, &amounts, &[&ring], &|| false);
            let all = union(std::iter::once(&ring).chain(&parts));
            assert_eq!(all.len(), 1, "{k}");
            // Only the corner of the slot's floor that the square end of the strip misses stays
            // open.
            let open: f64 = all[0].holes.iter().map(|h| -ring_area(h)).sum();
            assert!(open < 20.0, "{k} {open}");
            assert!(all[0].area() > ring_area(&ring) + 7.0 * 40.0 - 1.0, "{k}");
        }
    }

    #[test]
    fn unequal_allowances_on_a_smooth_edge_step_down() {
        let ring = vec![
            point(0.0, 0.0),
            point(50.0, 0.0),
            point(100.0, 0.5),
            point(100.0, 60.0),
            point(0.0, 60.0),
        ];
        let big = grown(&ring, &[25.0, 10.0, 0.0, 0.0, 0.0]);
        let expected = ring_area(&ring) + 25.0 * 50.0 + 10.0 * 50.0;
        assert!((big.area() - expected).abs() < 10.0, "{} {expected}", big.area());
    }

    #[test]
    fn a_hole_grows_into_itself() {
        let outer = rectangle(200.0, 200.0);
        let hole =
            vec![point(60.0, 60.0), point(60.0, 140.0), point(140.0, 140.0), point(140.0, 60.0)];
        let parts = growth(&hole, &[10.0; 4], &[&outer, &hole], &|| false);
        let big = union([&outer, &hole].into_iter().chain(&parts));
        assert!((big[0].area() - (40_000.0 - 3600.0)).abs() < 1e-6);
    }

    /// Walls along the edge, in the same line, were each hidden by themselves, and the edge grew
    /// through the ply.
    #[test]
    fn a_wall_along_the_edge_in_many_stretches_stops_its_growth() {
        // A slot 10 mm wide beside a land of 5 mm; the slot's left side grows to the right.
        let ring = |stretches: usize| {
            let mut ring = vec![point(0.0, 0.0), point(60.0, 0.0), point(60.0, 400.0)];
            let down = |k: usize| point(55.0, 400.0 - 390.0 * k as f64 / stretches as f64);
            ring.extend((0..=stretches).map(down));
            ring.extend([point(45.0, 10.0), point(45.0, 400.0), point(0.0, 400.0)]);
            ring
        };
        let grown_area = |stretches: usize| {
            let ring = ring(stretches);
            let mut amounts = vec![0.0; ring.len()];
            amounts[stretches + 4] = 25.0;
            grown(&ring, &amounts).area() - ring_area(&ring)
        };
        let filled = 10.0 * 390.0;
        for stretches in [1, 15, 16, 40] {
            let area = grown_area(stretches);
            assert!((area - filled).abs() < 1.0, "{stretches}: {area}");
        }
    }

    /// Every stretch of wall hid by itself, and the work grew with the square of them: a rippled ply
    /// of nineteen thousand points took half a minute.
    #[test]
    fn walls_behind_nearer_ones_are_left_out_and_nothing_more_is_seen() {
        let ripple = |k: usize| {
            let a = std::f64::consts::TAU * k as f64 / 1800.0;
            let r = 80.0 * (1.0 + 0.2 * libm::cos(2.0 * a) + 0.02 * libm::sin(200.0 * a));
            point(r * libm::cos(a), r * libm::sin(a)).snapped()
        };
        let ring: Ring = (0..1800).map(ripple).collect();
        let edges = edges_of(&ring, &vec![25.0; ring.len()]);
        let walls = Walls::new(&[&ring]);
        let (mut before, mut after) = (0, 0);
        for i in (0..edges.len()).step_by(7) {
            let (first, second) = (&edges[i], &edges[(i + 1) % edges.len()]);
            let out = first.out * first.amount;
            let strip = vec![first.a, first.a + out, first.b + out, first.b];
            let of_edge = Root::Edge { a: first.a, out: first.out, reach: first.amount };
            let corner = Root::Corner { at: first.b, reach: MITRE_REACH * first.amount };
            let parts = [Some((strip, of_edge)), join(first, second).map(|ring| (ring, corner))];
            for (part, root) in parts.into_iter().flatten() {
                let Some(bounds) = ring_bounds(&part) else { continue };
                let near = walls.near(bounds);
                let all: Vec<[Point; 2]> = near.filter(|&w| enters(w, &part)).collect();
                let mut few = all.clone();
                foremost(&mut few, root, &part);
                (before, after) = (before + all.len(), after + few.len());
                let left = |walls: &[[Point; 2]]| {
                    let hidden: Vec<Ring> = walls.iter().flat_map(|&w| root.hidden_by(w)).collect();
                    difference([&part], &hidden)
                };
                let area = |regions: &[Region]| regions.iter().map(Region::area).sum::<f64>();
                let (all, few) = (left(&all), left(&few));
                assert!((area(&all) - area(&few)).abs() < 0.01, "{i}: {all:?} {few:?}");
            }
        }
        assert!(5 * after < 2 * before, "{after} of {before}");
    }
}
