//! The cells of a power diagram: each takes the points that are nearer to its site, weights
//! counted, than to any other.
//!
//! Aurenhammer's power diagram (1987, from memory): cells are convex and their common edges
//! straight, whatever the weights.

use crate::geometry::clip::line_in;
use crate::geometry::{Bounds, Point, Region, Ring, point};

/// Sites looked at for one cell, the nearest first: cells of sensible weights border on nothing
/// farther.
const NEAREST: usize = 28;

/// A site with its weight, mm².
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Site {
    pub at: Point,
    pub weight: f64,
}

/// A convex cell, not yet cut to the target.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Cell {
    pub ring: Ring,
    /// The cell across the edge `ring[k]` to `ring[k + 1]`; none at the edge of the world.
    pub across: Vec<Option<usize>>,
}

/// Points with `normal · p <= reach`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct HalfPlane {
    pub normal: Point,
    pub reach: f64,
}

impl Cell {
    /// The whole world as one cell.
    pub fn world(b: Bounds) -> Cell {
        let ring = vec![b.min, point(b.max.x, b.min.y), b.max, point(b.min.x, b.max.y)];
        Cell { across: vec![None; ring.len()], ring }
    }

    /// Cuts the cell; the new edge borders on `tag`.
    pub fn cut(&mut self, plane: HalfPlane, tag: Option<usize>) {
        let over = |p: Point| plane.normal.dot(p) - plane.reach;
        if self.ring.iter().all(|&p| over(p) <= 0.0) {
            return;
        }
        let (mut ring, mut across) =
            (Vec::with_capacity(self.ring.len() + 1), Vec::with_capacity(self.ring.len() + 1));
        for (k, &a) in self.ring.iter().enumerate() {
            let b = self.ring[(k + 1) % self.ring.len()];
            let (u, v) = (over(a), over(b));
            if u <= 0.0 {
                ring.push(a);
                across.push(self.across[k]);
            }
            if (u <= 0.0) != (v <= 0.0) {
                ring.push(a + (b - a) * (u / (u - v)));
                across.push(if u <= 0.0 { tag } else { self.across[k] });
            }
        }
        (self.ring, self.across) = (ring, across);
    }

    /// The edges: from, to, and the cell across.
    pub fn edges(&self) -> impl Iterator<Item = (Point, Point, Option<usize>)> {
        (0..self.ring.len())
            .map(|k| (self.ring[k], self.ring[(k + 1) % self.ring.len()], self.across[k]))
    }
}

/// The cell of site `i`.
pub(super) fn cell(i: usize, sites: &[Site], world: Bounds) -> Cell {
    let own = sites[i];
    let mut near: Vec<(f64, usize)> =
        (0..sites.len()).filter(|&j| j != i).map(|j| (own.at.distance(sites[j].at), j)).collect();
    if near.len() > NEAREST {
        near.select_nth_unstable_by(NEAREST - 1, |a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
        near.truncate(NEAREST);
    }
    near.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
    let mut cell = Cell::world(world);
    for (_, j) in near {
        let other = sites[j];
        let normal = other.at - own.at;
        let reach = (other.at.dot(other.at) - own.at.dot(own.at) - other.weight + own.weight) / 2.0;
        cell.cut(HalfPlane { normal, reach }, Some(j));
    }
    cell
}

/// The stretches of the edge `a`-`b` in the region.
pub(super) fn stretches(a: Point, b: Point, region: &Region) -> Vec<[Point; 2]> {
    let along = b - a;
    let inside = |s: [f64; 2]| [s[0].max(0.0), s[1].min(1.0)];
    line_in(a, along, region)
        .into_iter()
        .map(inside)
        .filter(|s| s[1] > s[0])
        .map(|s| s.map(|t| a + along * t))
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geometry::ring_area;

    #[test]
    fn the_cells_of_four_sites_share_the_world() {
        let world = Bounds { min: point(0.0, 0.0), max: point(100.0, 80.0) };
        let site = |x, y, weight| Site { at: point(x, y), weight };
        let sites = [
            site(20.0, 20.0, 0.0),
            site(70.0, 25.0, 300.0),
            site(30.0, 60.0, -200.0),
            site(80.0, 70.0, 0.0),
        ];
        let cells: Vec<Cell> = (0..4).map(|i| cell(i, &sites, world)).collect();
        let sum: f64 = cells.iter().map(|c| ring_area(&c.ring)).sum();
        assert!((sum - 8000.0).abs() < 1e-6, "{sum}");
        for (i, c) in cells.iter().enumerate() {
            for (a, b, j) in c.edges() {
                let Some(j) = j else { continue };
                let back = cells[j]
                    .edges()
                    .any(|(c, d, k)| k == Some(i) && a.distance(d) < 1e-6 && b.distance(c) < 1e-6);
                assert!(back, "the seam of {i} and {j} is the same from both sides");
            }
        }
    }
}
