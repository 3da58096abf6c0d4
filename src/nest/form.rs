//! Forms: the shapes as the search sees them, in every stance they may take, with congruent ones
//! shared.
//!
//! A base is a polygon up to translation and quarter turns; copies, handed twins and the quarter
//! turns of one shape all share it, so their no-fit polygons are built once. A stance is a base, a
//! number of quarter turns and an offset.

use super::convex::{Convex, Frame, Vertex, edges, twice_area, vertex};
use super::decompose::convex_parts;
use super::problem::{Pose, Shape};
use super::simplify::covering;
use crate::geometry::{Motion, Region, point};
use std::collections::BTreeMap;

/// A polygon up to translation and quarter turns, cut into convex parts.
#[derive(Clone, Debug)]
pub(super) struct Base {
    /// Convex parts in each quarter turn.
    pub turned: [Vec<Convex>; 4],
    /// The box around the parts in each quarter turn.
    pub frames: [Frame; 4],
    /// Its corners were rounded after a turn that is no quarter turn: they may be off by 1 µm.
    pub rounded: bool,
    /// A part of the stock, not a shape: no gap is kept from it.
    pub stock: bool,
    /// Which way the edges of its outline and holes run.
    pub slopes: Slopes,
}

/// The slopes of a form's edges.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Slopes {
    /// Along and across alone.
    Quarters,
    /// Midway between too.
    Eighths,
    Any,
}

impl Slopes {
    fn of((a, b): (Vertex, Vertex)) -> Slopes {
        let e = b.minus(a);
        match (e.x.abs(), e.y.abs()) {
            (0, _) | (_, 0) => Slopes::Quarters,
            (x, y) if x == y => Slopes::Eighths,
            _ => Slopes::Any,
        }
    }
}

/// One way for a shape to lie. Placed, it covers its base turned by `quarter` quarters and moved to
/// `q`; the placement's own translation is `q` less `offset`.
#[derive(Clone, Copy, Debug)]
pub(super) struct Stance {
    pub pose: Pose,
    pub base: u32,
    pub quarter: u8,
    pub offset: Vertex,
    /// The box of the true outline about `q`.
    pub tight: Frame,
}

/// Rings with the outer one first, as grid points: outer anticlockwise, holes clockwise.
pub(super) type Rings = Vec<Vec<Vertex>>;

/// All bases, found by their canonical rings.
#[derive(Debug, Default)]
pub(super) struct Bases {
    known: BTreeMap<(Rings, bool, bool), u32>,
    rings: Vec<(Rings, bool, bool)>,
}

impl Bases {
    /// The base of these rings, the quarter turns that bring it there, and the offset that is left.
    pub fn admit(&mut self, rings: &Rings, rounded: bool, stock: bool) -> (u32, u8, Vertex) {
        let (canonical, quarters, shift) = (0..4)
            .map(|k| {
                let (r, shift) = normal(&turned(rings, k));
                (r, k, shift)
            })
            .min()
            .unwrap_or_default();
        // rings = canonical + shift, turned back.
        let back = (4 - quarters) & 3;
        let next = self.rings.len() as u32;
        let base = *self.known.entry((canonical.clone(), rounded, stock)).or_insert(next);
        if base == next {
            self.rings.push((canonical.clone(), rounded, stock));
        }
        let mine = normal(&turned(&canonical, back));
        let same = (0..back)
            .map(|k| (k, normal(&turned(&canonical, k))))
            .find(|(_, other)| other.0 == mine.0);
        let (quarter, extra) =
            same.map_or((back, vertex(0, 0)), |(k, other)| (k, mine.1.minus(other.1)));
        (base, quarter, shift.quarter(back).plus(extra))
    }

    /// How many there are so far.
    pub fn count(&self) -> usize {
        self.rings.len()
    }

    /// Cuts every base into its parts. `hole_least`: holes whose box is smaller than this (either
    /// way round) are filled.
    pub fn build(self, hole_least: (i64, i64)) -> Vec<Base> {
        use rayon::prelude::*;
        self.rings
            .into_par_iter()
            .map(|(rings, rounded, stock)| base_of(&rings, rounded, stock, hole_least))
            .collect()
    }
}

fn base_of(rings: &Rings, rounded: bool, stock: bool, hole_least: (i64, i64)) -> Base {
    let worth = |h: &&Vec<Vertex>| {
        let f = Frame::around(h.iter().copied());
        f.width().min(f.height()) >= hole_least.0 && f.width().max(f.height()) >= hole_least.1
    };
    let outline = covering(rings.first().map_or(&[][..], |r| r));
    let holes: Rings =
        rings.iter().skip(1).filter(worth).map(|h| covering(h)).filter(|h| h.len() > 2).collect();
    let parts = convex_parts(&outline, &holes);
    let turned: [Vec<Convex>; 4] = std::array::from_fn(|k| {
        parts.iter().map(|p| p.iter().map(|v| v.quarter(k as u8)).collect()).collect()
    });
    let frames = std::array::from_fn(|k| Frame::around(turned[k].iter().flatten().copied()));
    let slopes = std::iter::once(&outline)
        .chain(&holes)
        .flat_map(|r| edges(r))
        .map(Slopes::of)
        .max()
        .unwrap_or(Slopes::Any);
    Base { turned, frames, rounded, stock, slopes }
}

fn turned(rings: &Rings, quarters: u8) -> Rings {
    rings.iter().map(|r| r.iter().map(|v| v.quarter(quarters)).collect()).collect()
}

/// The rings moved so that their box starts at the origin, each starting at its least corner; and
/// the move undone.
fn normal(rings: &Rings) -> (Rings, Vertex) {
    let min = Frame::around(rings.iter().flatten().copied()).min;
    let mut out: Rings = rings
        .iter()
        .map(|ring| {
            let mut r: Vec<Vertex> = ring.iter().map(|v| v.minus(min)).collect();
            let least = (0..r.len()).min_by_key(|&i| r[i]).unwrap_or(0);
            r.rotate_left(least);
            r
        })
        .collect();
    if let Some(holes) = out.get_mut(1..) {
        holes.sort();
    }
    (out, min)
}

/// A region's rings on the grid, without repeated corners, oriented.
pub(super) fn grid_rings(region: &Region) -> Rings {
    let mut out = Rings::new();
    for (i, ring) in region.rings().enumerate() {
        let mut r: Vec<Vertex> = ring.iter().map(|&p| Vertex::of(p)).collect();
        r.dedup();
        while r.len() > 1 && r.first() == r.last() {
            r.pop();
        }
        let area = twice_area(&r);
        if i > 0 && (r.len() < 3 || area == 0) {
            continue;
        }
        if (area < 0) == (i == 0) {
            r.reverse();
        }
        out.push(r);
    }
    out
}

/// The stances of a shape that are wanted, each once.
pub(super) fn stances(
    shape: &Shape,
    wanted: &dyn Fn(Pose) -> bool,
    bases: &mut Bases,
) -> Vec<Stance> {
    let mut out: Vec<Stance> = Vec::new();
    for pose in all_poses(shape).into_iter().filter(|&p| wanted(p)) {
        let quarters = pose.turn / 90.0;
        let exact = quarters.fract() == 0.0;
        let rings =
            grid_rings(&Motion::new(pose.turn, pose.flip, point(0.0, 0.0)).region(&shape.region));
        let (base, quarter, offset) = bases.admit(&rings, !exact, false);
        let frame = Frame::around(rings.iter().flatten().map(|v| v.minus(offset)));
        let tight = if exact { frame } else { frame.grown(1) };
        if !out.iter().any(|s| s.base == base && s.quarter == quarter) {
            out.push(Stance { pose, base, quarter, offset, tight });
        }
    }
    out
}

/// The permitted poses; with a tolerance also half of it and all of it to either side.
fn all_poses(shape: &Shape) -> Vec<Pose> {
    let mut out = Vec::new();
    for &pose in &shape.poses {
        out.push(pose);
        if shape.tolerance > 0.0 {
            out.extend(
                [-1.0, -0.5, 0.5, 1.0]
                    .map(|k| Pose { turn: pose.turn + k * shape.tolerance, flip: pose.flip }),
            );
        }
    }
    out
}

/// Least and greatest extent of a set of rings along the direction of any of their edges' normals:
/// the least is their width.
pub(super) fn least_width(hull: &[Vertex]) -> f64 {
    edges(hull)
        .map(|(a, b)| {
            let d = b.minus(a);
            let length = ((d.x as f64) * (d.x as f64) + (d.y as f64) * (d.y as f64)).sqrt();
            hull.iter().map(|&v| super::convex::turn(a, b, v) as f64).fold(0.0, f64::max) / length
        })
        .fold(f64::INFINITY, f64::min)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn l(k: i64) -> Rings {
        vec![vec![
            vertex(k, 0),
            vertex(k + 30, 0),
            vertex(k + 30, 10),
            vertex(k + 10, 10),
            vertex(k + 10, 20),
            vertex(k, 20),
        ]]
    }

    #[test]
    fn turned_and_moved_copies_share_a_base_and_come_back_exactly() {
        let mut bases = Bases::default();
        for k in 0..4 {
            let rings = turned(&l(7), k);
            let (base, quarter, offset) = bases.admit(&rings, false, false);
            assert_eq!(base, 0);
            let canonical = bases.rings[0].0.clone();
            let mut back: Vec<Vertex> =
                turned(&canonical, quarter)[0].iter().map(|v| v.plus(offset)).collect();
            let mut want = rings[0].clone();
            back.sort();
            want.sort();
            assert_eq!(back, want);
        }
    }

    #[test]
    fn a_square_has_one_stance() {
        let mut bases = Bases::default();
        let square = vec![point(0.0, 0.0), point(5.0, 0.0), point(5.0, 5.0), point(0.0, 5.0)];
        let shape = Shape {
            name: "square".into(),
            region: Region::solid(square),
            poses: [0.0, 90.0, 180.0, 270.0].map(|turn| Pose { turn, flip: false }).to_vec(),
            tolerance: 0.0,
            copies: 1,
            may_cross: false,
        };
        assert_eq!(stances(&shape, &|_| true, &mut bases).len(), 1);
    }
}
