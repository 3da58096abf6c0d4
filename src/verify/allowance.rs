//! Cloth beyond the net line: enough beside every edge, nowhere too much. Tolerances: see
//! `preparation`.
//!
//! What may be cloth is worked out here a second time, as [`Reach`]es: a strip along every edge, a
//! mitre or a round join at every outward corner, what ends on the line of an edge that does not
//! grow. A cut line is held against them from end to end. It bridges a bay or slot narrower than
//! twice the allowance by right, for the mitres of both sides cover the mouth; it leaves a reach by
//! no right where the ply itself lies between: what grows in a hole stays in the hole.

use super::exact::{Edge, Shape};
use super::findings::Findings;
use super::laid::{CORNER, JOIN_MM, Laid, Seg};
use crate::geometry::{Point, Ring, point, ring_bounds, ring_contains};
use std::collections::BTreeMap;

/// Farther than this many allowances from an edge with another allowance, corners have no say.
const UNDISTURBED: f64 = 2.5;
/// Butt edges and dart legs are looked at this far out, mm.
const BESIDE: f64 = 0.2;
/// Long edges are looked at about every so many mm, at no more than so many places.
const EVERY: f64 = 25.0;
const PLACES: f64 = 16.0;
/// A cut line that no single reach holds is looked at between all borders of reaches that it
/// crosses, and at least every so many mm.
const STEP: f64 = 5.0;
/// Edges that are looked at between two looks whether anybody waits for it.
const LOOK: usize = 32;
/// From an outward corner of this many degrees on, growth ends on the line of a neighbour that does
/// not grow.
const END_CORNER: f64 = 30.0;

/// A ply whose pieces are laid over its net line.
pub(super) fn check(laid: &Laid, found: &mut Findings<'_>) {
    let reaches = Reaches::of(&laid.segs, &laid.region);
    too_much(laid, &reaches, found);
    too_little(laid, &reaches, found);
    uncut_holes(laid, found);
}

/// A convex place that an edge or a corner may fill with cloth: on the near side of its lines and
/// within its circle.
struct Reach {
    /// The stretch of net line it grows from; twice the same point for a corner.
    root: [Point; 2],
    /// A point of each line and the way out of the reach.
    lines: Vec<(Point, Point)>,
    circle: Option<f64>,
    /// How far it can be from its root.
    most: f64,
}

impl Reach {
    fn holds(&self, p: Point) -> bool {
        let near = |r: f64| p.distance(self.root[0]) <= r;
        self.lines.iter().all(|(at, out)| (p - *at).dot(*out) <= 0.0)
            && self.circle.is_none_or(near)
    }

    /// True if its box and that of the line from `a` to `b` have a point in common.
    fn near(&self, a: Point, b: Point) -> bool {
        let ([p, q], m) = (self.root, self.most);
        p.x.min(q.x) - m <= a.x.max(b.x)
            && a.x.min(b.x) <= p.x.max(q.x) + m
            && p.y.min(q.y) - m <= a.y.max(b.y)
            && a.y.min(b.y) <= p.y.max(q.y) + m
    }

    /// Where the line from `a` to `b` meets its borders, as shares of the way.
    fn borders(&self, a: Point, b: Point) -> Vec<f64> {
        let along = b - a;
        let mut at: Vec<f64> =
            self.lines.iter().map(|(q, out)| (*q - a).dot(*out) / along.dot(*out)).collect();
        if let Some(r) = self.circle {
            let (from, square) = (a - self.root[0], along.dot(along));
            let half = from.dot(along) / square;
            let root = half * half - (from.dot(from) - r * r) / square;
            at.extend([-half - root.sqrt(), -half + root.sqrt()]);
        }
        // What runs along a border, or past a circle, gives no number.
        at.into_iter().filter(|t| *t > 0.0 && *t < 1.0).collect()
    }
}

/// All reaches of the edges of a region.
pub(super) struct Reaches<'a> {
    segs: &'a [Seg],
    region: &'a Shape,
    all: Vec<Reach>,
    /// By where they start and where they end.
    starts: BTreeMap<(u64, u64), &'a Seg>,
    ends: BTreeMap<(u64, u64), &'a Seg>,
}

fn key(p: Point) -> (u64, u64) {
    (p.x.to_bits(), p.y.to_bits())
}

impl<'a> Reaches<'a> {
    /// `segs` run round the region with it on their left.
    pub fn of(segs: &'a [Seg], region: &'a Shape) -> Reaches<'a> {
        let of_length = || segs.iter().filter(|s| s.length() > 0.0);
        let starts: BTreeMap<_, _> = of_length().map(|s| (key(s.a), s)).collect();
        let ends = of_length().map(|s| (key(s.b), s)).collect();
        let mut all = Vec::new();
        for s in of_length() {
            let (along, out) = ways(s);
            let ends = [(s.a, along * -1.0), (s.b, along)].map(|(p, way)| (p + way * JOIN_MM, way));
            let sides =
                [(s.a - out * JOIN_MM, out * -1.0), (s.a + out * (s.amount + JOIN_MM), out)];
            let lines = [ends, sides].concat();
            all.push(Reach {
                root: [s.a, s.b],
                lines,
                circle: None,
                most: s.amount + 2.0 * JOIN_MM,
            });
            if let Some(next) = starts.get(&key(s.b)) {
                all.extend(at_corner(s, next));
            }
        }
        Reaches { segs, region, all, starts, ends }
    }

    /// The edges that do not grow on whose lines the growth of this one may end: beyond an outward
    /// corner at either end of its run of growing edges, no farther along the run than the line
    /// leans back over.
    fn ends_of_run(&self, s: &'a Seg) -> Vec<&'a Seg> {
        let walk = |on: bool| {
            let (mut at, mut passed) = (s, 0.0);
            for _ in 0..self.segs.len() {
                let next =
                    *if on { self.starts.get(&key(at.b)) } else { self.ends.get(&key(at.a)) }?;
                if next.amount == 0.0 {
                    let ((along, _), (next_along, _)) =
                        if on { (ways(at), ways(next)) } else { (ways(next), ways(at)) };
                    let turn = libm::atan2(along.cross(next_along), along.dot(next_along));
                    let leans = (libm::cos(turn) / libm::sin(turn)).max(0.0);
                    return (turn >= END_CORNER.to_radians() && passed < at.amount * (1.0 + leans))
                        .then_some(next);
                }
                passed += next.length();
                at = next;
            }
            None
        };
        walk(true).into_iter().chain(walk(false)).collect()
    }

    /// True if some reach holds a point and sees it.
    fn allow(&self, p: Point) -> bool {
        self.all.iter().any(|r| r.near(p, p) && r.holds(p) && self.sees(r, p))
    }

    /// True if the ply itself does not lie between a point and what a reach grows from; by
    /// `JOIN_MM` to either side is near enough.
    fn sees(&self, reach: &Reach, p: Point) -> bool {
        let way = nearest(reach.root, p) - p;
        let length = way.length();
        if length <= 4.0 * JOIN_MM {
            return true;
        }
        let along = way * (1.0 / length);
        let aside = point(along.y, -along.x);
        [0.0, JOIN_MM, -JOIN_MM].iter().any(|shift| {
            let from = p + along * (2.0 * JOIN_MM) + aside * *shift;
            let to = p + along * (length - 2.0 * JOIN_MM) + aside * *shift;
            !self.segs.iter().any(|s| cross(from, to, s.a, s.b))
        })
    }

    /// The places of a cut line that are neither in the ply nor in a reach: how far they are from
    /// what is allowed, and the farthest.
    pub fn astray(&self, edge: &Edge) -> Option<(f64, Point)> {
        let (a, b) = (edge.a.mm(), edge.b.mm());
        let near: Vec<&Reach> = self.all.iter().filter(|r| r.near(a, b)).collect();
        let middle = (a + b) * 0.5;
        // They are convex: what holds both ends holds all of it.
        if near.iter().any(|r| r.holds(a) && r.holds(b) && self.sees(r, middle)) {
            return None;
        }
        let steps = (a.distance(b) / STEP).ceil().max(1.0) as usize;
        let mut stops: Vec<f64> = (0..=steps).map(|k| k as f64 / steps as f64).collect();
        stops.extend(near.iter().flat_map(|r| r.borders(a, b)));
        stops.sort_by(f64::total_cmp);
        let places = stops.windows(2).map(|w| a + (b - a) * ((w[0] + w[1]) / 2.0)).chain([a]);
        let stray = places.filter(|&p| {
            !near.iter().any(|r| r.holds(p) && self.sees(r, p)) && !self.region.contains_mm(p)
        });
        stray.map(|p| (self.beyond(p), p)).max_by(|x, y| x.0.total_cmp(&y.0))
    }

    /// How much farther a point is from the net line than what sees it allows, mm.
    fn beyond(&self, p: Point) -> f64 {
        let strips = self.all.iter().filter(|r| r.root[0] != r.root[1] && self.sees(r, p));
        strips
            .map(|r| p.distance_to_segment(r.root[0], r.root[1]) - (r.most - 2.0 * JOIN_MM))
            .fold(f64::INFINITY, f64::min)
            .max(0.0)
    }
}

/// The ways along an edge and out of the ply.
fn ways(s: &Seg) -> (Point, Point) {
    let along = (s.b - s.a) * (1.0 / s.length());
    (along, point(along.y, -along.x))
}

/// What an outward corner between two edges may fill.
fn at_corner(first: &Seg, second: &Seg) -> Vec<Reach> {
    let ((along, out), (next_along, next_out)) = (ways(first), ways(second));
    let (c, turn) = (first.b, libm::atan2(along.cross(next_along), along.dot(next_along)));
    let most = first.amount.max(second.amount);
    if turn <= 0.0 || most == 0.0 {
        return Vec::new();
    }
    let reach = |lines: Vec<(Point, Point)>, circle: Option<f64>| {
        let lines = lines.into_iter().map(|(p, way)| (p + way * JOIN_MM, way)).collect();
        let circle = circle.map(|r| r + JOIN_MM);
        Reach { root: [c, c], lines, circle, most: CORNER * most + 2.0 * JOIN_MM }
    };
    let (past, before) = ((c, along * -1.0), (c, next_along));
    let (first_side, second_side) =
        ((c + out * first.amount, out), (c + next_out * second.amount, next_out));
    if first.amount > 0.0 && second.amount > 0.0 {
        let mitre = reach(vec![past, before, first_side, second_side], Some(CORNER * most));
        return vec![mitre, reach(vec![past, before], Some(most))];
    }
    if turn < END_CORNER.to_radians() {
        return Vec::new();
    }
    // The line of the edge that does not grow, drawn on past the corner; no farther along than the
    // allowance.
    if first.amount > 0.0 {
        vec![reach(
            vec![past, first_side, (c, next_out), (c + along * most, along), (c, out * -1.0)],
            None,
        )]
    } else {
        let back = next_along * -1.0;
        vec![reach(
            vec![before, second_side, (c, out), (c + back * most, back), (c, next_out * -1.0)],
            None,
        )]
    }
}

fn nearest([a, b]: [Point; 2], p: Point) -> Point {
    let along = b - a;
    a + along * ((p - a).dot(along) / along.dot(along).max(1e-12)).clamp(0.0, 1.0)
}

/// True if two stretches cross, each passing through the other.
fn cross(a: Point, b: Point, c: Point, d: Point) -> bool {
    let side = |p: Point, q: Point, r: Point| (q - p).cross(r - p);
    side(a, b, c) * side(a, b, d) < 0.0 && side(c, d, a) * side(c, d, b) < 0.0
}

/// No point of a cut line is farther from the net line than the allowance reaches there. One fault
/// a piece.
fn too_much(laid: &Laid, reaches: &Reaches, found: &mut Findings<'_>) {
    for (piece, outline) in laid.pieces.iter().zip(&laid.outlines) {
        let mut astray: Option<(f64, Point)> = None;
        for (i, edge) in outline.edges().iter().enumerate() {
            if i.is_multiple_of(LOOK) && found.full() {
                return;
            }
            let farther = |(off, _): &(f64, Point)| astray.is_none_or(|(most, _)| *off >= most);
            astray = reaches.astray(edge).filter(farther).or(astray);
        }
        if let Some((off, p)) = astray {
            let what =
                said!("its cut line lies {off:.3} mm farther from the net line than the allowance");
            found.add_at(&format!("piece {}", piece.piece), p + piece.origin, what);
        }
    }
}

/// Beside every edge the cloth reaches as far as its allowance, and beside one that does not grow,
/// no farther.
fn too_little(laid: &Laid, reaches: &Reaches, found: &mut Findings<'_>) {
    let covered = |p: Point| laid.outlines.iter().any(|o| o.contains_mm(p));
    for (i, s) in laid.segs.iter().filter(|s| s.length() > 0.0).enumerate() {
        if i.is_multiple_of(LOOK) && found.full() {
            return;
        }
        let (_, out) = ways(s);
        let places = (s.length() / EVERY).clamp(1.0, PLACES) as usize;
        for k in 0..places {
            let base = s.a + (s.b - s.a) * ((k as f64 + 0.5) / places as f64);
            if s.amount > 0.0 {
                let p = base + out * (s.amount - JOIN_MM);
                if !covered(p) && undisturbed(laid, reaches, s, base, p) {
                    let what =
                        said!("has less than its allowance of {} mm beside an edge", s.amount);
                    found.add_at(&laid.ply.name, p + laid.pieces[0].origin, what);
                    return;
                }
            } else {
                let p = base + out * BESIDE;
                if covered(p) && !laid.region.contains_mm(p) && !reaches.allow(p) {
                    found.add_at(
                        &laid.ply.name,
                        p + laid.pieces[0].origin,
                        "has cloth beyond an edge that does not grow",
                    );
                    return;
                }
            }
        }
    }
}

/// True if no corner, no wall and no line on which growth ends has a say in how far the cloth
/// reaches from `base` to `p`.
fn undisturbed(laid: &Laid, reaches: &Reaches, s: &Seg, base: Point, p: Point) -> bool {
    let reach = UNDISTURBED * s.amount;
    let other = laid
        .segs
        .iter()
        .any(|o| o.amount != s.amount && o.within(base, reach.max(UNDISTURBED * o.amount)));
    let from = base + (p - base) * 1e-3;
    let side = |a: Point, b: Point, c: Point| (b - a).cross(c - a);
    let crosses = |o: &Seg| {
        side(from, p, o.a) * side(from, p, o.b) <= 0.0
            && side(o.a, o.b, from) * side(o.a, o.b, p) <= 0.0
    };
    let beyond = |o: &&Seg| side(o.a, o.b, p) < 0.0;
    !other && !laid.segs.iter().any(crosses) && !reaches.ends_of_run(s).iter().any(beyond)
}

/// A hole that the allowance does not close is cut: looked for on a grid of points well inside it.
fn uncut_holes(laid: &Laid, found: &mut Findings<'_>) {
    const GRID: usize = 16;
    for hole in &laid.holes {
        let Some(b) = ring_bounds(hole) else { continue };
        let inside_by = |ring: &Ring, p: Point| {
            (0..ring.len())
                .map(|i| p.distance_to_segment(ring[i], ring[(i + 1) % ring.len()]))
                .fold(f64::INFINITY, f64::min)
        };
        for k in 0..GRID * GRID {
            let share = |i: usize| (i as f64 + 0.5) / GRID as f64;
            let p = point(
                b.min.x + b.width() * share(k % GRID),
                b.min.y + b.height() * share(k / GRID),
            );
            let trim = laid.ply.layer.trim;
            if ring_contains(hole, p)
                && inside_by(hole, p) > CORNER * trim + 1.0
                && laid.outlines.iter().any(|o| o.contains_mm(p))
            {
                found.add_at(
                    &laid.ply.name,
                    p + laid.pieces[0].origin,
                    "does not cut a hole of its template",
                );
                break;
            }
        }
    }
}
