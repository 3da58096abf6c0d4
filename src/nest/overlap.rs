//! Overlap of one item against everything else, as a function of its position: what the separation
//! minimises.
//!
//! The overlap of a pair is the depth of its relative position in the pair's no-fit polygon, times
//! a size factor; the cost of a position adds these over all bodies near it, times the pairs'
//! weights.

use super::convex::clearance_margin;
use super::layout::Spot;
use super::nofit::{Hit, NoFit};
use super::nofit_cache::{NoFitCache, Turned, quarter, relation};
use super::setup::Setup;
use std::sync::Arc;

const NOT_YET: u32 = u32::MAX;
const BUCKETS: usize = 32;
/// Obstacles at one position whose cells are looked at before any depth is taken.
const MET: usize = 8;
/// Boxes of a column that are tested before the first of them that holds a position is looked into.
const AT_ONCE: usize = 32;
/// Boxes in the column lists are rounded to single precision and grown by as much as that may take
/// away, µm.
const ROUNDED: f32 = 8.0;

/// Something that takes up bin: an item or a block of the stock.
#[derive(Clone, Copy, Debug)]
pub(super) struct Body {
    pub turned: Turned,
    pub bin: u16,
    pub x: f64,
    pub y: f64,
    /// Its share of a pair's size factor: (area / mean area)^(1/8).
    pub size: f64,
}

/// The size share of an area.
pub(super) fn size_of(setup: &Setup, area: f64) -> f64 {
    (area / setup.mean_area).sqrt().sqrt().sqrt()
}

/// The no-fit polygons a lane has met, by dense local index.
#[derive(Debug)]
pub(super) struct Fits<'a> {
    setup: &'a Setup,
    cache: &'a NoFitCache,
    /// Global bases in use, ascending; the boxes of their quarter turns, and the most by which a
    /// clearance can grow them.
    bases: Vec<u32>,
    boxes: Vec<[f64; 4]>,
    gap_margin: f64,
    /// Local pair and quarter to index in `known`.
    table: Vec<u32>,
    known: Vec<Arc<NoFit>>,
}

impl<'a> Fits<'a> {
    pub fn new(setup: &'a Setup, cache: &'a NoFitCache, mut bases: Vec<u32>) -> Fits<'a> {
        bases.sort_unstable();
        bases.dedup();
        let table = vec![NOT_YET; bases.len() * bases.len() * 4];
        let boxes = bases
            .iter()
            .flat_map(|&b| {
                setup.bases[b as usize]
                    .frames
                    .map(|f| [f.min.x, f.min.y, f.max.x, f.max.y].map(|v| v as f64))
            })
            .collect();
        let rounded = bases.iter().any(|&b| setup.bases[b as usize].rounded);
        let gap_margin = clearance_margin(setup.gap + if rounded { 4 } else { 0 }) as f64;
        Fits { setup, cache, bases, boxes, gap_margin, table, known: Vec::new() }
    }

    /// The lane's own index of a base; in the same order as the bases themselves.
    pub fn local(&self, turned: Turned) -> Turned {
        (self.bases.partition_point(|&x| x < turned.0) as u32, turned.1)
    }

    /// The slot of a pair (by local index) and the quarter turns for the vector from `a` to `b`.
    #[inline]
    fn slot(&self, a: Turned, b: Turned) -> (u32, u8) {
        let (key, turns) = relation(a, b);
        (
            ((key.0 as usize * self.bases.len() + key.1 as usize) * 4 + usize::from(key.2)) as u32,
            turns,
        )
    }

    /// The box of a turned base (by local index).
    #[inline]
    fn frame(&self, t: Turned) -> [f64; 4] {
        self.boxes[t.0 as usize * 4 + usize::from(t.1)]
    }

    /// Where in `known` a slot's no-fit polygon is.
    #[inline]
    fn known(&mut self, slot: u32) -> u32 {
        let known = self.table[slot as usize];
        if known == NOT_YET { self.load(slot) } else { known }
    }

    #[inline]
    fn get(&mut self, slot: u32) -> &NoFit {
        let known = self.known(slot);
        &self.known[known as usize]
    }

    #[cold]
    fn load(&mut self, slot: u32) -> u32 {
        let (pair, q) = (slot as usize / 4, (slot % 4) as u8);
        let key = (self.bases[pair / self.bases.len()], self.bases[pair % self.bases.len()], q);
        let known = self.known.len() as u32;
        self.known.push(self.cache.get(self.setup, key));
        self.table[slot as usize] = known;
        known
    }
}

/// A body as an obstacle to one item in one stance.
#[derive(Clone, Copy, Debug)]
struct Obstacle {
    px: f64,
    py: f64,
    weight: f64,
    factor: f64,
    slot: u32,
    body: u32,
    turns: u8,
}

/// An obstacle that a position is near to: the position relative to it, where its no-fit polygon
/// is, and the cell.
#[derive(Clone, Copy, Debug, Default)]
struct Met {
    weight: f64,
    dx: f64,
    dy: f64,
    known: u32,
    cell: u32,
}

/// The box of positions at which an obstacle may be overlapped, rounded outwards.
#[derive(Clone, Copy, Debug, Default)]
struct Slim {
    /// Least x and y, greatest x and y negated: one comparison of four numbers tells.
    limits: [f32; 4],
    obstacle: u32,
}

impl Slim {
    fn new(x0: f64, y0: f64, x1: f64, y1: f64, obstacle: usize) -> Slim {
        let limits = [
            x0 as f32 - ROUNDED,
            y0 as f32 - ROUNDED,
            -(x1 as f32) - ROUNDED,
            -(y1 as f32) - ROUNDED,
        ];
        Slim { limits, obstacle: obstacle as u32 }
    }

    /// `at` is a position followed by its negative.
    #[inline]
    fn holds(&self, at: &[f32; 4]) -> bool {
        let l = &self.limits;
        (at[0] > l[0]) & (at[1] > l[1]) & (at[2] > l[2]) & (at[3] > l[3])
    }

    fn x(&self) -> (f32, f32) {
        (self.limits[0], -self.limits[2])
    }
}

/// A position as the boxes are tested with it.
#[inline]
fn both_ways(x: f64, y: f64) -> [f32; 4] {
    let (x, y) = (x as f32, y as f32);
    [x, y, -x, -y]
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

/// The cost of every position of one item in one stance and bin.
#[derive(Debug, Default)]
pub(super) struct Field {
    pub bounds: Bounds,
    pub bin: u16,
    pub stance: u16,
    obstacles: Vec<Obstacle>,
    boxes: Vec<Slim>,
    starts: Vec<u32>,
    listed: Vec<Slim>,
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
    /// Prepares the field of a stance (`turned` and the bodies by local index) against `bodies` but
    /// `skip`; `weights` of the pairs.
    #[allow(clippy::too_many_arguments)]
    pub fn fill(
        &mut self,
        fits: &Fits<'_>,
        at: &Spot,
        turned: Turned,
        size: f64,
        bounds: Bounds,
        bodies: &[Body],
        skip: usize,
        weights: &[f32],
    ) {
        self.bounds = bounds;
        self.bin = at.bin;
        self.stance = at.stance;
        self.obstacles.clear();
        self.boxes.clear();
        self.walls.clear();
        let mine = fits.frame(turned);
        let by = fits.gap_margin;
        for (j, (b, &weight)) in bodies.iter().zip(weights).enumerate() {
            let f = fits.frame(b.turned);
            let (x0, x1) = (b.x + f[0] - mine[2] - by, b.x + f[2] - mine[0] + by);
            let (y0, y1) = (b.y + f[1] - mine[3] - by, b.y + f[3] - mine[1] + by);
            let apart = x0 > bounds.x1 || x1 < bounds.x0 || y0 > bounds.y1 || y1 < bounds.y0;
            if apart || j == skip || b.bin != at.bin {
                continue;
            }
            let (slot, turns) = fits.slot(b.turned, turned);
            let factor = size * b.size;
            self.boxes.push(Slim::new(x0, y0, x1, y1, self.obstacles.len()));
            self.obstacles.push(Obstacle {
                px: b.x,
                py: b.y,
                weight: f64::from(weight) * factor,
                factor,
                slot,
                body: j as u32,
                turns,
            });
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
        let column =
            |x: f32| ((f64::from(x) - x_from) * per_x).clamp(0.0, (BUCKETS - 1) as f64) as usize;
        let mut next = [0_u32; BUCKETS + 1];
        for o in &self.boxes {
            let (x0, x1) = o.x();
            for count in &mut next[column(x0) + 1..column(x1) + 2] {
                *count += 1;
            }
        }
        for c in 0..BUCKETS {
            next[c + 1] += next[c];
        }
        self.starts.clear();
        self.starts.extend_from_slice(&next);
        self.listed.resize(next[BUCKETS] as usize, Slim::default());
        for o in &self.boxes {
            let (x0, x1) = o.x();
            for at in &mut next[column(x0)..=column(x1)] {
                self.listed[*at as usize] = *o;
                *at += 1;
            }
        }
    }

    #[inline]
    fn column(&self, x: f64) -> &[Slim] {
        let c = (((x - self.bounds.x0) * self.per_x) as u32).min(BUCKETS as u32 - 1) as usize;
        &self.listed[self.starts[c] as usize..self.starts[c + 1] as usize]
    }

    /// Weighted overlap at a position within the bounds; anything at or above `limit` may be
    /// returned once it is reached.
    #[inline]
    pub fn cost(&self, fits: &mut Fits<'_>, x: f64, y: f64, limit: f64) -> f64 {
        let mut cost = self.wall_cost(x);
        // First what the cells promise at least: most positions are out of the question by that
        // alone, and where there are many pairs the cells are fetched from memory side by side.
        let mut met = [Met::default(); MET];
        let (mut count, mut floor) = (0, cost);
        let at = both_ways(x, y);
        let mut held = [0_u32; AT_ONCE];
        for slims in self.column(x).chunks(AT_ONCE) {
            // Counted on without a branch: which boxes hold a position is not to be guessed.
            let mut holding = 0;
            for slim in slims {
                held[holding] = slim.obstacle;
                holding += usize::from(slim.holds(&at));
            }
            for &obstacle in &held[..holding] {
                let o = &self.obstacles[obstacle as usize];
                let (dx, dy) = quarter(x - o.px, y - o.py, o.turns);
                let known = fits.known(o.slot);
                let nofit = &*fits.known[known as usize];
                let Some(cell) = nofit.cell_at(dx, dy) else {
                    continue;
                };
                floor += o.weight * nofit.floor(cell);
                if floor >= limit * (1.0 + 1e-6) {
                    return floor;
                }
                if let Some(m) = met.get_mut(count) {
                    *m = Met { weight: o.weight, dx, dy, known, cell: cell as u32 };
                    count += 1;
                } else {
                    cost += o.weight * nofit.depth_in(cell, dx, dy);
                }
            }
        }
        for m in &met[..count] {
            let depth = fits.known[m.known as usize].depth_in(m.cell as usize, m.dx, m.dy);
            if depth > 0.0 {
                cost += m.weight * depth;
                if cost >= limit {
                    return cost;
                }
            }
        }
        cost
    }

    fn wall_cost(&self, x: f64) -> f64 {
        self.walls.iter().map(|&(from, to, weight)| weight * (x - from).min(to - x).max(0.0)).sum()
    }

    /// Boundaries of everything overlapped, or touched within `slack`, at a position.
    pub fn contacts(
        &self,
        fits: &mut Fits<'_>,
        x: f64,
        y: f64,
        slack: f64,
        out: &mut Vec<Contact>,
    ) {
        out.clear();
        for &(from, to, weight) in &self.walls {
            let depth = (x - from).min(to - x);
            if depth > -slack {
                let hit = Hit {
                    depth,
                    x: if x - from < to - x { from } else { to },
                    y,
                    ux: 0.0,
                    uy: 1.0,
                };
                out.push(Contact { hit, weight });
            }
        }
        let at = both_ways(x, y);
        for slim in self.column(x) {
            if !slim.holds(&at) {
                continue;
            }
            let o = &self.obstacles[slim.obstacle as usize];
            let (dx, dy) = quarter(x - o.px, y - o.py, o.turns);
            if let Some(hit) = fits.get(o.slot).hit(dx, dy)
                && hit.depth > -slack
            {
                let back = (4 - o.turns) & 3;
                let (hx, hy) = quarter(hit.x, hit.y, back);
                let (ux, uy) = quarter(hit.ux, hit.uy, back);
                out.push(Contact {
                    hit: Hit { depth: hit.depth, x: hx + o.px, y: hy + o.py, ux, uy },
                    weight: o.weight,
                });
            }
        }
    }

    /// The unweighted overlap with each body at a position: (body, overlap).
    pub fn overlaps(&self, fits: &mut Fits<'_>, x: f64, y: f64, mut each: impl FnMut(usize, f64)) {
        let at = both_ways(x, y);
        for slim in self.column(x) {
            if slim.holds(&at) {
                let o = &self.obstacles[slim.obstacle as usize];
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
