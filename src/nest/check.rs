//! A check of an outcome against its problem in exact integers, from the original outlines: no
//! offsets, no no-fit polygons.

use super::convex::{Convex, Frame, Vertex, apart, edges, turn, twice_area, vertex};
use super::decompose::convex_parts;
use super::form::{Rings, grid_rings};
use super::outcome::Outcome;
use super::problem::{Extent, Problem};
use crate::geometry::{Motion, Region, point};
use crate::units::micrometres;

/// A placed shape, or a part of the stock that must stay free.
struct Solid {
    what: String,
    rings: Rings,
    parts: Vec<Convex>,
    frame: Frame,
    /// It lies where it was put: rules are kept by what was placed around it.
    is_fixed: bool,
}

impl Solid {
    fn new(what: String, rings: Rings) -> Solid {
        let parts =
            convex_parts(rings.first().map_or(&[][..], |r| r), rings.get(1..).unwrap_or(&[]));
        let frame = Frame::around(rings.iter().flatten().copied());
        Solid { what, rings, parts, frame, is_fixed: false }
    }

    fn meets(&self, o: &Solid) -> bool {
        self.frame.overlaps(&o.frame)
            && self.parts.iter().any(|p| o.parts.iter().any(|q| !apart(p, q)))
    }

    fn nearer(&self, o: &Solid, gap: i64) -> bool {
        nearer((&self.rings, &self.frame), (&o.rings, &o.frame), gap)
    }
}

/// True if some boundary points of two sets of rings, each with its box, are nearer than `gap` µm;
/// exact.
pub(super) fn nearer((p, pf): (&Rings, &Frame), (q, qf): (&Rings, &Frame), gap: i64) -> bool {
    let near = |v: &Vertex, f: &Frame| {
        v.x > f.min.x - gap && v.x < f.max.x + gap && v.y > f.min.y - gap && v.y < f.max.y + gap
    };
    pf.grown(gap).overlaps(qf) && {
        let one_way = |p: &Rings, pf: &Frame, q: &Rings| {
            q.iter()
                .flatten()
                .filter(|v| near(v, pf))
                .any(|&v| p.iter().any(|r| edges(r).any(|(a, b)| closer(a, b, v, gap))))
        };
        one_way(p, pf, q) || one_way(q, qf, p)
    }
}

/// True if `v` is nearer than `gap` to the segment `a`-`b`; exact.
fn closer(a: Vertex, b: Vertex, v: Vertex, gap: i64) -> bool {
    let (e, w) = (b.minus(a), v.minus(a));
    let dot = |p: Vertex, q: Vertex| {
        i128::from(p.x) * i128::from(q.x) + i128::from(p.y) * i128::from(q.y)
    };
    let g2 = i128::from(gap) * i128::from(gap);
    let (along, len2) = (dot(e, w), dot(e, e));
    if along <= 0 {
        dot(w, w) < g2
    } else if along >= len2 {
        let u = v.minus(b);
        dot(u, u) < g2
    } else {
        let c = i128::from(turn(a, b, v));
        c * c < g2 * len2
    }
}

/// Everything wrong with an outcome, in words; empty if it keeps every rule.
pub(super) fn faults_of(problem: &Problem, outcome: &Outcome) -> Vec<String> {
    let mut faults = Vec::new();
    let mut seen: Vec<(usize, u32)> =
        outcome.placements.iter().map(|p| (p.shape, p.copy)).collect();
    seen.extend(outcome.unplaced.iter().map(|u| (u.0, u.1)));
    seen.sort_unstable();
    if seen.windows(2).any(|w| w[0] == w[1]) {
        faults.push("a copy is there twice".to_string());
    }
    for (s, used) in outcome.stocks.iter().enumerate() {
        let stock = &problem.stocks()[used.stock];
        let mut solids = Vec::new();
        for p in outcome.placements.iter().filter(|p| p.stock == s) {
            let shape = &problem.shapes()[p.shape];
            let pose = shape.poses.iter().any(|q| {
                q.flip == p.flip && turn_between(q.turn, p.turn) <= shape.tolerance + 1e-9
            });
            let what = format!("{} copy {}", shape.name, p.copy);
            if !pose {
                faults.push(format!("{what} lies in a pose it may not"));
            }
            if p.copy >= shape.copies {
                faults.push(format!("{what} is one too many"));
            }
            let solid = Solid::new(
                what,
                grid_rings(&Motion::new(p.turn, p.flip, point(p.x, p.y)).region(&shape.region)),
            );
            for cut in used.segments.iter().take(used.segments.len().saturating_sub(1)) {
                let wall = micrometres(cut[1]);
                if !shape.may_cross && solid.frame.min.x < wall && wall < solid.frame.max.x {
                    faults.push(format!("{} lies across the bench end at {}", solid.what, cut[1]));
                }
            }
            solids.push(solid);
        }
        for (k, pin) in problem.pins().iter().enumerate().filter(|p| p.1.stock == used.stock) {
            let solid = Solid::new(format!("what lies fixed ({k})"), grid_rings(&pin.region));
            let across = |wall: i64| solid.frame.min.x < wall && wall < solid.frame.max.x;
            let ends = used.segments.iter().take(used.segments.len().saturating_sub(1));
            if !pin.may_cross && ends.clone().any(|cut| across(micrometres(cut[1]))) {
                faults.push(format!("{} lies across a bench end", solid.what));
            }
            solids.push(Solid { is_fixed: true, ..solid });
        }
        let mut blocks: Vec<Solid> = stock
            .keep_out
            .iter()
            .map(|r| grid_rings(&Region::solid(r.clone())))
            .filter(|r| r.first().is_some_and(|r| r.len() > 2 && twice_area(r) > 0))
            .map(|r| Solid::new("a flaw".into(), r))
            .collect();
        let inside = match &stock.extent {
            Extent::Open { low, high, segment_max, length_max } => {
                let mut from = 0.0;
                for cut in &used.segments {
                    if cut[0] != from
                        || segment_max.is_some_and(|m| {
                            micrometres(cut[1]) - micrometres(cut[0]) > micrometres(m)
                        })
                    {
                        faults.push(format!("the segment {cut:?} starts or ends wrongly"));
                    }
                    from = cut[1];
                }
                if from != used.used_length
                    || length_max.is_some_and(|m| micrometres(used.used_length) > micrometres(m))
                {
                    faults.push(format!("the used length {} is wrong", used.used_length));
                }
                Frame {
                    min: vertex(0, (low * 1000.0 - 1e-6).ceil() as i64),
                    max: vertex(
                        micrometres(used.used_length),
                        (high * 1000.0 + 1e-6).floor() as i64,
                    ),
                }
            }
            Extent::Fixed { region } => {
                let rings = grid_rings(region);
                let frame = Frame::around(rings.iter().flatten().copied());
                let wall = frame.grown(2 * (frame.width() + frame.height()) + 10);
                let mut around = vec![vec![
                    wall.min,
                    vertex(wall.max.x, wall.min.y),
                    wall.max,
                    vertex(wall.min.x, wall.max.y),
                ]];
                around.extend(rings.first().map(|r| r.iter().rev().copied().collect()));
                blocks.push(Solid::new("the stock's edge".into(), around));
                blocks.extend(
                    rings.iter().skip(1).map(|h| {
                        Solid::new("a hole".into(), vec![h.iter().rev().copied().collect()])
                    }),
                );
                frame
            }
        };
        let gap = (problem.gap() * 1000.0 - 1e-6).ceil() as i64;
        for solid in solids.iter().filter(|s| !s.is_fixed) {
            let f = solid.frame;
            if f.min.x < inside.min.x
                || f.min.y < inside.min.y
                || f.max.x > inside.max.x
                || f.max.y > inside.max.y
            {
                faults.push(format!("{} leaves the stock", solid.what));
            }
            faults.extend(
                blocks
                    .iter()
                    .filter(|b| b.meets(solid))
                    .map(|b| format!("{} lies on {}", solid.what, b.what)),
            );
        }
        // By left end, so that only neighbours are looked at.
        solids.sort_by_key(|s| s.frame.min.x);
        for (i, a) in solids.iter().enumerate() {
            for b in solids[i + 1..].iter().take_while(|b| b.frame.min.x <= a.frame.max.x + gap) {
                if a.is_fixed && b.is_fixed {
                    continue;
                }
                if a.meets(b) {
                    faults.push(format!("{} overlaps {}", a.what, b.what));
                } else if gap > 0 && a.nearer(b, gap) {
                    faults.push(format!("{} is nearer to {} than the gap", a.what, b.what));
                }
            }
        }
    }
    faults
}

/// The lesser angle between two turns, degrees.
fn turn_between(a: f64, b: f64) -> f64 {
    let d = (a - b).rem_euclid(360.0);
    d.min(360.0 - d)
}
