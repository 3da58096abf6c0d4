//! No-fit polygons on demand, shared by all lanes within a byte budget.

use super::convex::{Frame, Vertex, clearance_margin};
use super::depths::Depths;
use super::lattice::Lattice;
use super::nofit::NoFit;
use super::setup::Setup;
use std::collections::HashMap;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::{Arc, Mutex, OnceLock, PoisonError};

const SHARDS: usize = 64;

/// What identifies a no-fit polygon: two bases and the quarter turns of the second relative to the
/// first.
type Key = (u32, u32, u8);

/// The shared cache. Looked up by lanes when they first meet a pair; never in the hot path.
#[derive(Debug)]
pub(super) struct NoFitCache {
    shards: Vec<Mutex<HashMap<Key, Arc<NoFit>>>>,
    bytes: AtomicUsize,
    /// Bytes of no-fit polygons kept for all lanes together.
    budget: usize,
    /// For boards, by both turned bases.
    depths: OnceLock<Vec<OnceLock<Depths>>>,
}

/// A base in a quarter turn.
pub(super) type Turned = (u32, u8);

/// How a pair's relative position is looked up: the key, and the quarter turns to give the vector
/// first.
#[inline]
pub(super) fn relation(a: Turned, b: Turned) -> (Key, u8) {
    // With the second form's position relative to the first as d: turn both back by the first's
    // quarters; if the bases are in the wrong order, swap roles, which negates d (two quarters).
    if a.0 <= b.0 {
        ((a.0, b.0, (b.1 + 4 - a.1) & 3), (4 - a.1) & 3)
    } else {
        ((b.0, a.0, (a.1 + 4 - b.1) & 3), (6 - b.1) & 3)
    }
}

/// A vector turned by quarters, without a branch: which way neighbours lie is not to be guessed.
/// (Exact: all factors are 0 or 1.)
#[inline]
pub(super) fn quarter(x: f64, y: f64, quarters: u8) -> (f64, f64) {
    const COSINES: [f64; 4] = [1.0, 0.0, -1.0, 0.0];
    const SINES: [f64; 4] = [0.0, 1.0, 0.0, -1.0];
    let at = usize::from(quarters & 3);
    (COSINES[at] * x - SINES[at] * y, SINES[at] * x + COSINES[at] * y)
}

impl NoFitCache {
    pub fn new(budget: usize) -> NoFitCache {
        NoFitCache {
            shards: (0..SHARDS).map(|_| Mutex::default()).collect(),
            bytes: AtomicUsize::new(0),
            budget,
            depths: OnceLock::new(),
        }
    }

    /// The no-fit polygon of a key, built if need be. The build runs outside the lock.
    pub fn get(&self, setup: &Setup, key: Key) -> Arc<NoFit> {
        let shard =
            &self.shards[(key.0 as usize * 31 + key.1 as usize * 7 + usize::from(key.2)) % SHARDS];
        let lock = || shard.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(found) = lock().get(&key) {
            return found.clone();
        }
        let (a, b) = (&setup.bases[key.0 as usize], &setup.bases[key.1 as usize]);
        let made = Arc::new(NoFit::new(
            &a.turned[0],
            &b.turned[usize::from(key.2)],
            clearance(setup, key.0, key.1),
        ));
        if self.bytes.load(Ordering::Relaxed) < self.budget {
            self.bytes.fetch_add(made.bytes(), Ordering::Relaxed);
            lock().insert(key, made.clone());
        }
        made
    }

    /// The depths of `b` in `a` on the lattice, built if need be.
    #[inline]
    pub fn depths(&self, setup: &Setup, a: Turned, b: Turned) -> &Depths {
        let turned = setup.bases.len() * 4;
        let all =
            self.depths.get_or_init(|| (0..turned * turned).map(|_| OnceLock::new()).collect());
        let index = |t: Turned| t.0 as usize * 4 + usize::from(t.1);
        all[index(a) * turned + index(b)].get_or_init(|| self.tabulated(setup, a, b))
    }

    #[cold]
    fn tabulated(&self, setup: &Setup, a: Turned, b: Turned) -> Depths {
        let step = setup.lattice.map_or(1.0, Lattice::step);
        let frame = |t: Turned| setup.bases[t.0 as usize].frames[usize::from(t.1)];
        let sides = |f: Frame| {
            ((f.width() as f64 / step).round() as i32, (f.height() as f64 / step).round() as i32)
        };
        let (fa, fb) = (frame(a), frame(b));
        let (key, turns) = relation(a, b);
        let nofit = self.get(setup, key);
        let from = fa.min.minus(fb.min);
        let depth = |x: i32, y: i32| {
            let (dx, dy) = quarter(
                f64::from(x) * step + from.x as f64,
                f64::from(y) * step + from.y as f64,
                turns,
            );
            nofit.depth(dx, dy)
        };
        let beyond = (clearance_margin(clearance(setup, a.0, b.0)) as f64 / step).ceil() as i32;
        Depths::new(sides(fa), sides(fb), beyond, depth)
    }

    /// Drops what no lane holds if the budget is spent; called between rounds.
    pub fn trim(&self) {
        if self.bytes.load(Ordering::Relaxed) < self.budget {
            return;
        }
        let mut left = 0;
        for shard in &self.shards {
            let mut map = shard.lock().unwrap_or_else(PoisonError::into_inner);
            map.retain(|_, n| Arc::strong_count(n) > 1);
            left += map.values().map(|n| n.bytes()).sum::<usize>();
        }
        self.bytes.store(left, Ordering::Relaxed);
    }
}

/// Distance to keep between two bases, µm: the gap, none from the stock, and room for rounded
/// corners.
pub(super) fn clearance(setup: &Setup, a: u32, b: u32) -> i64 {
    let (a, b) = (&setup.bases[a as usize], &setup.bases[b as usize]);
    let gap = if a.stock || b.stock { 0 } else { setup.gap };
    gap + 2 * (i64::from(a.rounded) + i64::from(b.rounded))
}

/// A box that holds the forbidden positions of `b` relative to `a` (mitred corners included).
pub(super) fn reach(setup: &Setup, a: Turned, b: Turned) -> Frame {
    let (fa, fb) = (
        setup.bases[a.0 as usize].frames[usize::from(a.1)],
        setup.bases[b.0 as usize].frames[usize::from(b.1)],
    );
    let by = clearance_margin(clearance(setup, a.0, b.0));
    Frame { min: fa.min.minus(fb.max), max: fa.max.minus(fb.min) }.grown(by)
}

/// True if the two, placed on the grid, keep their clearance; exact.
pub(super) fn clear(setup: &Setup, a: (Turned, Vertex), b: (Turned, Vertex)) -> bool {
    let d = b.1.minus(a.1);
    let box_ = reach(setup, a.0, b.0);
    if d.x <= box_.min.x || d.x >= box_.max.x || d.y <= box_.min.y || d.y >= box_.max.y {
        return true;
    }
    let by = clearance(setup, a.0.0, b.0.0);
    let parts = |t: Turned| &setup.bases[t.0 as usize].turned[usize::from(t.1)];
    let (pa, pb) = (parts(a.0), parts(b.0));
    let frames: Vec<Frame> =
        pb.iter().map(|p| Frame::around(p.iter().map(|v| v.plus(d)))).collect();
    let far = clearance_margin(by);
    pa.iter().all(|p| {
        let fp = Frame::around(p.iter().copied()).grown(far);
        pb.iter().zip(&frames).all(|(q, fq)| {
            !fp.overlaps(fq) || {
                let sum = super::convex::difference_sum(p, q);
                let sum = if by > 0 { super::convex::offset(&sum, by) } else { sum };
                !super::convex::holds(&sum, d)
            }
        })
    })
}
