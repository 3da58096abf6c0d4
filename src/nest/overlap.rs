//! Overlap of one item against everything else, as a function of its position: what the separation minimises.
//!
//! The overlap of a pair is the depth of its relative position in the pair's no-fit polygon, times a size factor; the cost of
//! a position adds these over all bodies near it, times the pairs' weights.

use super::fits::{Store, Turned, quarter, reach, relation};
use super::layout::Spot;
use super::nofit::{Hit, NoFit};
use super::setup::Setup;
use std::sync::Arc;

const NOT_YET: u32 = u32::MAX;
const BUCKETS: usize = 48;

/// Something that takes up room: an item or a block of the stock.
#[derive(Clone, Copy, Debug)]
pub(super) struct Body {
    pub turned: Turned,
    pub room: u16,
    pub x: f64,
    pub y: f64,
    /// Area that counts in the size factor.
    pub area: f64,
}

/// The no-fit polygons a lane has met, by dense local index.
#[derive(Debug)]
pub(super) struct Fits<'a> {
    setup: &'a Setup,
    store: &'a Store,
    /// Global bases in use, ascending.
    bases: Vec<u32>,
    /// Local pair and quarter to index in `known`.
    table: Vec<u32>,
    known: Vec<Arc<NoFit>>,
}

impl<'a> Fits<'a> {
    pub fn new(setup: &'a Setup, store: &'a Store, mut bases: Vec<u32>) -> Fits<'a> {
        bases.sort_unstable();
        bases.dedup();
        let table = vec![NOT_YET; bases.len() * bases.len() * 4];
        Fits { setup, store, bases, table, known: Vec::new() }
    }

    /// The slot of a pair and the quarter turns for the vector from `a` to `b`.
    fn slot(&self, a: Turned, b: Turned) -> (u32, u8) {
        let (key, turns) = relation(a, b);
        let local = |g: u32| self.bases.partition_point(|&x| x < g);
        ((((local(key.0) * self.bases.len()) + local(key.1)) * 4 + usize::from(key.2)) as u32, turns)
    }

    #[inline]
    fn get(&mut self, slot: u32) -> &NoFit {
        let mut known = self.table[slot as usize];
        if known == NOT_YET {
            known = self.load(slot);
        }
        &self.known[known as usize]
    }

    #[cold]
    fn load(&mut self, slot: u32) -> u32 {
        let (pair, q) = (slot as usize / 4, (slot % 4) as u8);
        let key = (self.bases[pair / self.bases.len()], self.bases[pair % self.bases.len()], q);
        let known = self.known.len() as u32;
        self.known.push(self.store.get(self.setup, key));
        self.table[slot as usize] = known;
        known
    }
}

/// A body as an obstacle to one item in one stance.
#[derive(Clone, Copy, Debug)]
struct Obstacle {
    x0: f64,
    y0: f64,
    x1: f64,
    y1: f64,
    px: f64,
    py: f64,
    weight: f64,
    factor: f64,
    slot: u32,
    body: u32,
    turns: u8,
}

/// The limits of a position: a closed box.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Bounds {
    pub x0: f64,
    pub y0: f64,
    pub x1: f64,
    pub y1: f64,
}

impl Bounds {
    #[inline]
    pub fn clamp(&self, x: f64, y: f64) -> (f64, f64) {
        (x.max(self.x0).min(self.x1), y.max(self.y0).min(self.y1))
    }

    pub fn is_empty(&self) -> bool {
        !(self.x1 >= self.x0 && self.y1 >= self.y0)
    }

    pub fn area(&self) -> f64 {
        (self.x1 - self.x0 + 1.0) * (self.y1 - self.y0 + 1.0)
    }
}

/// The cost of every position of one item in one stance and room.
#[derive(Debug, Default)]
pub(super) struct Field {
    pub bounds: Bounds,
    pub room: u16,
    pub stance: u16,
    obstacles: Vec<Obstacle>,
    starts: Vec<u32>,
    listed: Vec<u32>,
    per_x: f64,
    /// Bench ends: positions strictly between the first two lie across it; weight.
    walls: Vec<(f64, f64, f64)>,
}

/// A violated or touched boundary near a position, in the plane's own frame.
#[derive(Clone, Copy, Debug)]
pub(super) struct Contact {
    pub hit: Hit,
    pub weight: f64,
}

impl Field {
    /// Prepares the field of a stance against `bodies` but `skip`. `weight(j)` gives the pair's weight.
    #[allow(clippy::too_many_arguments)]
    pub fn fill(
        &mut self,
        fits: &Fits<'_>,
        at: &Spot,
        turned: Turned,
        area: f64,
        bounds: Bounds,
        bodies: &[Body],
        skip: usize,
        weight: impl Fn(usize) -> f64,
    ) {
        self.bounds = bounds;
        self.room = at.room;
        self.stance = at.stance;
        self.obstacles.clear();
        self.walls.clear();
        for (j, b) in bodies.iter().enumerate() {
            if j == skip || b.room != at.room {
                continue;
            }
            let f = reach(fits.setup, b.turned, turned);
            let (x0, x1) = (b.x + f.min.x as f64, b.x + f.max.x as f64);
            let (y0, y1) = (b.y + f.min.y as f64, b.y + f.max.y as f64);
            if x0 >= bounds.x1 || x1 <= bounds.x0 || y0 >= bounds.y1 || y1 <= bounds.y0 {
                if x0 > bounds.x1 || x1 < bounds.x0 || y0 > bounds.y1 || y1 < bounds.y0 {
                    continue;
                }
            }
            let (slot, turns) = fits.slot(b.turned, turned);
            let factor = ((area * b.area).sqrt() / fits.setup.mean_area).sqrt().sqrt();
            let weight = weight(j) * factor;
            self.obstacles.push(Obstacle { x0, y0, x1, y1, px: b.x, py: b.y, weight, factor, slot, body: j as u32, turns });
        }
        self.index();
    }

    pub fn add_wall(&mut self, from: f64, to: f64, weight: f64) {
        self.walls.push((from, to, weight));
    }

    /// Lists the obstacles by column.
    fn index(&mut self) {
        let width = (self.bounds.x1 - self.bounds.x0).max(1.0);
        self.per_x = BUCKETS as f64 / width;
        let (x_from, per_x) = (self.bounds.x0, self.per_x);
        let column = |x: f64| ((x - x_from) * per_x).clamp(0.0, (BUCKETS - 1) as f64) as usize;
        self.starts.clear();
        self.starts.resize(BUCKETS + 1, 0);
        for o in &self.obstacles {
            for c in column(o.x0)..=column(o.x1) {
                self.starts[c + 1] += 1;
            }
        }
        for c in 0..BUCKETS {
            self.starts[c + 1] += self.starts[c];
        }
        self.listed.clear();
        self.listed.resize(self.starts[BUCKETS] as usize, 0);
        let mut next: [u32; BUCKETS] = std::array::from_fn(|c| self.starts[c]);
        for (k, o) in self.obstacles.iter().enumerate() {
            for c in column(o.x0)..=column(o.x1) {
                self.listed[next[c] as usize] = k as u32;
                next[c] += 1;
            }
        }
    }

    #[inline]
    fn column(&self, x: f64) -> &[u32] {
        let c = ((x - self.bounds.x0) * self.per_x).clamp(0.0, (BUCKETS - 1) as f64) as usize;
        &self.listed[self.starts[c] as usize..self.starts[c + 1] as usize]
    }

    /// Weighted overlap at a position within the bounds; anything at or above `limit` may be returned once it is reached.
    #[inline]
    pub fn cost(&self, fits: &mut Fits<'_>, x: f64, y: f64, limit: f64) -> f64 {
        let mut cost = 0.0;
        for &(from, to, weight) in &self.walls {
            cost += weight * (x - from).min(to - x).max(0.0);
        }
        for &k in self.column(x) {
            let o = &self.obstacles[k as usize];
            if x <= o.x0 || x >= o.x1 || y <= o.y0 || y >= o.y1 {
                continue;
            }
            let (dx, dy) = quarter(x - o.px, y - o.py, o.turns);
            let depth = fits.get(o.slot).depth(dx, dy);
            if depth > 0.0 {
                cost += o.weight * depth;
                if cost >= limit {
                    return cost;
                }
            }
        }
        cost
    }

    /// Boundaries of everything overlapped, or touched within `slack`, at a position.
    pub fn contacts(&self, fits: &mut Fits<'_>, x: f64, y: f64, slack: f64, out: &mut Vec<Contact>) {
        out.clear();
        for &(from, to, weight) in &self.walls {
            let depth = (x - from).min(to - x);
            if depth > -slack {
                let hit = Hit { depth, x: if x - from < to - x { from } else { to }, y, ux: 0.0, uy: 1.0 };
                out.push(Contact { hit, weight });
            }
        }
        for &k in self.column(x) {
            let o = &self.obstacles[k as usize];
            if x <= o.x0 - slack || x >= o.x1 + slack || y <= o.y0 - slack || y >= o.y1 + slack {
                continue;
            }
            let (dx, dy) = quarter(x - o.px, y - o.py, o.turns);
            if let Some(hit) = fits.get(o.slot).hit(dx, dy)
                && hit.depth > -slack
            {
                let back = (4 - o.turns) & 3;
                let (hx, hy) = quarter(hit.x, hit.y, back);
                let (ux, uy) = quarter(hit.ux, hit.uy, back);
                out.push(Contact { hit: Hit { depth: hit.depth, x: hx + o.px, y: hy + o.py, ux, uy }, weight: o.weight });
            }
        }
    }

    /// The unweighted overlap with each body at a position: (body, overlap).
    pub fn overlaps(&self, fits: &mut Fits<'_>, x: f64, y: f64, mut each: impl FnMut(usize, f64)) {
        for &k in self.column(x) {
            let o = &self.obstacles[k as usize];
            if x > o.x0 && x < o.x1 && y > o.y0 && y < o.y1 {
                let (dx, dy) = quarter(x - o.px, y - o.py, o.turns);
                let depth = fits.get(o.slot).depth(dx, dy);
                if depth > 0.0 {
                    each(o.body as usize, depth * o.factor);
                }
            }
        }
    }

    /// Overlap with each bench end.
    pub fn wall_overlaps(&self, x: f64) -> impl Iterator<Item = f64> + '_ {
        self.walls.iter().map(move |&(from, to, _)| (x - from).min(to - x).max(0.0))
    }
}
