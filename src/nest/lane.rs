//! One lane of the search, a worker with its own random numbers, which threads only carry out:
//! shrink, separate, compact, land; when stuck, start again from a disturbed failure.
//!
//! Compaction shortens what a separation brings by more than a hundredth, so attempts above the
//! best length pay too: a failed layout gets a second try with a little more length, and hops
//! disturb a good layout and separate it there.

use super::compact::{compact, cushioned};
use super::land::{land, rounded_overlaps};
use super::lattice::Lattice;
use super::layout::{Layout, Spot};
use super::nofit_cache::NoFitCache;
use super::random::Random;
use super::remnant::Near;
use super::separate::{Separation, Standing};
use super::setup::Setup;
use super::window::Window;
use crate::units::GRID_PER_MM;
use std::collections::BTreeSet;
use std::sync::Arc;

/// A length as good as another, µm.
pub(super) const EQUAL: f64 = 0.05 * GRID_PER_MM;
/// Evaluations of a lane in one round.
pub(super) const ROUND: u64 = 150_000;
/// First shrink, least shrink, as shares of the length.
const SHRINK: f64 = 0.02;
const LEAST_SHRINK: f64 = 0.001;
/// Evaluations an item without a gain before a lane leaves the shared layout for a line of its own,
/// or comes back from one that leads nowhere.
const BARREN: u64 = 40_000;
/// Share of attempts that start from a failed layout.
const FROM_POOL: f64 = 0.5;
/// Length of second tries and hops beyond the best, as a share of it.
const LOOSE: f64 = 0.008;
/// Share of attempts that are hops.
const HOPS: f64 = 0.4;
/// A hop that ends within this share beyond the best is where the next one starts.
const WALK: f64 = 0.004;
/// Length of a fresh start beyond the best, as a share of it.
const FRESH_MORE: f64 = 0.03;
/// Share of attempts whose length is on the lattice, where there is one.
const ON_LATTICE: f64 = 0.8;
/// Tries to move pairs apart that overlap once rounded.
const CUSHIONS: usize = 5;
/// Failed layouts kept to start again from.
const POOL: usize = 12;

/// A lane and what it remembers.
#[derive(Debug)]
pub(super) struct Lane<'a> {
    setup: &'a Setup,
    cache: &'a NoFitCache,
    random: Random,
    best: Arc<Layout>,
    /// The best layout of all lanes on this window, and whether the lane works on its own line
    /// instead.
    shared: Arc<Layout>,
    alone: bool,
    /// Evaluations at the last gain.
    gained_at: u64,
    /// What the lane may change.
    window: Window,
    attempt: Option<Separation<'a>>,
    shrink: f64,
    failures: u32,
    /// A failed layout that is to have its second try.
    again: Option<Layout>,
    /// Where the next hop starts, if not from the best.
    hop_from: Option<Layout>,
    /// The attempt is a second try or a hop.
    loose: bool,
    /// The attempt is a fresh start: whatever comes of it is the lane's new best.
    fresh: bool,
    pool: Vec<(f64, Layout)>,
    evaluations: u64,
    moves: u64,
    /// Share of the length within which layouts count as equally long, and those found so far.
    equal: f64,
    near: Near,
    /// The shortest length of all lanes, as far as it was told.
    known: f64,
    /// The shortest length that lines of the lane's own came to, µm, and how many came to it.
    reached: (f64, u32),
}

impl<'a> Lane<'a> {
    pub fn new(setup: &'a Setup, cache: &'a NoFitCache, random: Random, equal: f64) -> Lane<'a> {
        Lane {
            setup,
            cache,
            random,
            best: Arc::default(),
            shared: Arc::default(),
            alone: false,
            gained_at: 0,
            window: Window::default(),
            attempt: None,
            shrink: SHRINK,
            failures: 0,
            again: None,
            hop_from: None,
            loose: false,
            fresh: false,
            pool: Vec::new(),
            evaluations: 0,
            moves: 0,
            equal,
            near: Near::default(),
            known: f64::INFINITY,
            reached: (f64::INFINITY, 0),
        }
    }

    /// The shortest layout the lane knows.
    pub fn shortest(&self) -> &Arc<Layout> {
        if self.best.length < self.shared.length { &self.best } else { &self.shared }
    }

    pub fn window(&self) -> &Window {
        &self.window
    }

    pub fn evaluations(&self) -> u64 {
        self.evaluations
    }

    pub fn moves(&self) -> u64 {
        self.moves
    }

    /// Layouts about as long as the best.
    pub fn near(&self) -> &Near {
        &self.near
    }

    /// The shortest length that lines of the lane's own came to, µm, and how many came to it.
    pub fn reached(&self) -> (f64, u32) {
        self.reached
    }

    /// The least overlap that the attempt under way has come to, µm.
    pub fn overlap(&self) -> Option<f64> {
        self.attempt.as_ref().map(|a| a.best().0).filter(|o| o.is_finite())
    }

    /// Starts on a window of a layout; what was remembered of another is forgotten.
    pub fn begin(&mut self, layout: &Arc<Layout>, window: Window) {
        self.drop_attempt();
        self.window = window;
        self.shared = layout.clone();
        self.again = None;
        self.shrink = SHRINK;
        self.failures = 0;
        self.rejoin();
    }

    /// Takes over a layout found by another lane on the same window.
    pub fn adopt(&mut self, layout: &Arc<Layout>) {
        self.shared = layout.clone();
        if !self.alone && layout.length < self.best.length {
            self.take(layout);
        }
    }

    /// The shortest length of all lanes.
    pub fn hear(&mut self, shortest: f64) {
        self.known = shortest;
    }

    fn take(&mut self, layout: &Arc<Layout>) {
        self.gained_at = self.evaluations;
        self.hop_from = None;
        self.best = layout.clone();
        self.pool.clear();
        // An attempt at a length already reached is pointless.
        if self.attempt.as_ref().is_some_and(|a| a.layout.length >= layout.length) {
            self.drop_attempt();
        }
    }

    fn drop_attempt(&mut self) {
        if let Some(a) = self.attempt.take() {
            self.evaluations += a.evaluations;
            self.moves += a.moves;
        }
    }

    /// Works until `budget` evaluations are spent or `stop` says so.
    pub fn advance(&mut self, budget: u64, stop: &dyn Fn() -> bool) {
        let until = self.evaluations + budget;
        while !stop() && self.best.length > 0.0 {
            if self.attempt.is_none() {
                self.attempt = self.start();
            }
            let Some(attempt) = &mut self.attempt else {
                return;
            };
            let standing = attempt.pass(&mut self.random, stop);
            if self.evaluations + attempt.evaluations >= until && standing == Standing::Open {
                // Count what is spent so far and go on with the attempt next time.
                self.evaluations += std::mem::take(&mut attempt.evaluations);
                self.moves += std::mem::take(&mut attempt.moves);
                return;
            }
            match standing {
                Standing::Open => {}
                Standing::Solved => self.solved(stop),
                Standing::Stuck => self.stuck(),
            }
            if self.evaluations >= until {
                return;
            }
        }
    }

    /// A new attempt: the best layout squeezed at a random cut, a failed one disturbed, or after
    /// many failures in a row a fresh start.
    fn start(&mut self) -> Option<Separation<'a>> {
        let setup = self.setup;
        if setup.overflow() {
            return self.one_more();
        }
        if self.window.movers.is_empty() {
            return None;
        }
        self.loose = false;
        if let Some(layout) = self.again.take() {
            return Some(self.loosened(layout));
        }
        if self.evaluations - self.gained_at > BARREN * self.window.movers.len() as u64 {
            self.gained_at = self.evaluations;
            self.note_line();
            if !self.alone || self.best.length <= self.shared.length {
                return Some(self.afresh());
            }
            self.rejoin();
        }
        if self.random.unit() < HOPS {
            let mut layout = self.hop_from.clone().unwrap_or_else(|| (*self.best).clone());
            self.disturb(&mut layout);
            return Some(self.loosened(layout));
        }
        let best = self.best.length;
        let by = (self.span() * self.shrink).max(1.0).round();
        let by = self.lattice().map_or(by, |l| best - l.below(best, best - by));
        let from_pool = !self.pool.is_empty() && self.random.unit() < FROM_POOL;
        let mut layout;
        if from_pool {
            // The better a failure, the likelier it is taken.
            let pick = self.random.below(self.pool.len()).min(self.random.below(self.pool.len()));
            layout = self.pool[pick].1.clone();
            self.window.resize(&mut layout, best - by);
            self.disturb(&mut layout);
        } else {
            layout = (*self.best).clone();
            let cut = self.random.between(self.window.low, self.window.high(&layout));
            self.window.squeeze(setup, &mut layout, cut, by);
        }
        Some(Separation::new(setup, self.cache, self.window.clone(), layout))
    }

    /// Length of the window in the best layout.
    fn span(&self) -> f64 {
        self.window.high(&self.best) - self.window.low
    }

    /// The lattice, where there is one, for most attempts.
    fn lattice(&mut self) -> Option<Lattice> {
        let random = &mut self.random;
        self.setup.lattice.filter(|_| random.unit() < ON_LATTICE)
    }

    /// An attempt a little beyond the best length, with all items spread out for it. On a lattice
    /// compaction gains little, so that the next shorter length is tried.
    fn loosened(&mut self, mut layout: Layout) -> Separation<'a> {
        self.loose = true;
        let best = self.best.length;
        let length =
            self.lattice().map_or((best + self.span() * LOOSE).round(), |l| l.below(best, best));
        self.window.spread(self.setup, &mut layout, length);
        Separation::new(self.setup, self.cache, self.window.clone(), layout)
    }

    /// A line of the lane's own from random places, a little longer than the best of all.
    fn afresh(&mut self) -> Separation<'a> {
        self.shared = self.shortest().clone();
        self.alone = true;
        self.fresh = true;
        self.hop_from = None;
        self.pool.clear();
        self.shrink = SHRINK;
        let mut layout = (*self.shared).clone();
        let longer = (layout.length + self.span() * FRESH_MORE).round();
        let longer = self.lattice().map_or(longer, |l| l.whole(longer));
        self.window.resize(&mut layout, longer);
        let mut separation = Separation::new(self.setup, self.cache, self.window.clone(), layout);
        separation.scatter(&mut self.random);
        separation
    }

    /// Takes note of what a line of the lane's own has come to at its end.
    fn note_line(&mut self) {
        let length = self.best.length;
        // A fresh start that came to nothing has still the length of what it left.
        if !self.alone || self.fresh || !self.window.is_whole() {
            return;
        }
        if length < self.reached.0 - EQUAL {
            self.reached = (length, 1);
        } else if length <= self.reached.0 + EQUAL {
            self.reached.1 += 1;
        }
    }

    /// Back from a line of its own to the best layout of all.
    fn rejoin(&mut self) {
        self.alone = false;
        self.fresh = false;
        let shared = self.shared.clone();
        self.take(&shared);
    }

    /// With fixed stocks alone: an item from the overflow is put into one of them, at random, and
    /// all there make room for it.
    fn one_more(&mut self) -> Option<Separation<'a>> {
        let setup = self.setup;
        let strip = setup.strip();
        let mut layout = (*self.best).clone();
        let waiting: Vec<usize> = (0..layout.spots.len())
            .filter(|&i| usize::from(layout.spots[i].bin) == strip)
            .collect();
        // The smaller one of two is the likelier to fit.
        let pick = |random: &mut Random| waiting.get(random.below(waiting.len())).copied();
        let (a, b) = (pick(&mut self.random)?, pick(&mut self.random)?);
        let item = if setup.kind(a).area <= setup.kind(b).area { a } else { b };
        let kind = setup.kind(item);
        let bins: Vec<usize> = (0..strip).filter(|&r| !kind.fits[r].is_empty()).collect();
        let bin = *bins.get(self.random.below(bins.len()))?;
        let stance = kind.fits[bin][self.random.below(kind.fits[bin].len())];
        let (frame, tight) = (setup.bins[bin].frame, kind.stances[usize::from(stance)].tight);
        let x = self
            .random
            .between((frame.min.x - tight.min.x) as f64, (frame.max.x - tight.max.x) as f64);
        let y = self
            .random
            .between((frame.min.y - tight.min.y) as f64, (frame.max.y - tight.max.y) as f64);
        layout.spots[item] = Spot { bin: bin as u16, stance, x, y };
        let window = Window::rooms_and(setup, &layout, item);
        Some(Separation::new(setup, self.cache, window, layout))
    }

    /// Swaps one or two pairs of unlike large items.
    fn disturb(&mut self, layout: &mut Layout) {
        let setup = self.setup;
        let mut large: Vec<usize> = self.window.movers.clone();
        large.sort_by(|&a, &b| setup.kind(b).area.total_cmp(&setup.kind(a).area).then(a.cmp(&b)));
        large.truncate((large.len() / 2).max(2));
        for _ in 0..1 + self.random.below(2) {
            let a = large[self.random.below(large.len())];
            let others: Vec<usize> = large
                .iter()
                .copied()
                .filter(|&b| setup.kind(b).area != setup.kind(a).area)
                .collect();
            if others.is_empty() {
                continue;
            }
            let b = others[self.random.below(others.len())];
            swap(setup, layout, a, b);
        }
    }

    fn solved(&mut self, stop: &dyn Fn() -> bool) {
        let Some(attempt) = &self.attempt else { return };
        let (window, layout) = (attempt.window.clone(), attempt.layout.clone());
        self.drop_attempt();
        let tight = if self.setup.overflow() {
            layout.clone()
        } else {
            compact(self.setup, &window, &layout, stop)
        };
        let landed = settle(self.setup, &window, tight, stop)
            .or_else(|| settle(self.setup, &window, layout, stop));
        if let Some(l) = landed.as_ref().filter(|_| self.equal > 0.0 && window.is_whole()) {
            let longest = l.length.min(self.best.length).min(self.shared.length).min(self.known)
                * (1.0 + self.equal);
            self.near.note(self.setup, l, longest);
        }
        match landed {
            Some(l) if l.length < self.best.length || self.fresh => {
                self.fresh = false;
                self.gained_at = self.evaluations;
                self.hop_from = None;
                self.best = Arc::new(l);
                self.pool.clear();
                self.failures = 0;
            }
            Some(l) if self.loose => {
                if l.length < self.best.length * (1.0 + WALK) {
                    self.hop_from = Some(l);
                }
            }
            _ => self.failed(),
        }
    }

    fn stuck(&mut self) {
        if let Some(attempt) = &self.attempt
            && !self.setup.overflow()
            && attempt.best().0.is_finite()
        {
            let (overlap, layout) = attempt.best();
            let at = self.pool.partition_point(|p| p.0 <= overlap);
            // The same failure again adds nothing.
            if !self.pool.iter().any(|p| (p.0 - overlap).abs() <= 1e-3 * overlap) {
                self.pool.insert(at, (overlap, layout.clone()));
                self.pool.truncate(POOL);
            }
            self.again = (!self.loose && !self.fresh).then(|| layout.clone());
        }
        self.drop_attempt();
        if self.fresh {
            self.rejoin();
        }
        if !self.loose && self.again.is_none() {
            self.failed();
        }
    }

    /// After fresh starts that failed, and attempts that solved but brought nothing shorter, the
    /// next ones are less bold. A failure that has its second try does not count.
    fn failed(&mut self) {
        self.failures += 1;
        if self.failures >= 2 {
            self.failures = 0;
            self.shrink = (self.shrink / 2.0).max(LEAST_SHRINK);
        }
    }
}

/// The layout on the grid: rounded, and where that brings overlap, the pairs concerned are first
/// moved apart.
pub(super) fn settle(
    setup: &Setup,
    window: &Window,
    mut layout: Layout,
    stop: &dyn Fn() -> bool,
) -> Option<Layout> {
    let moved = (!window.is_whole()).then_some(&window.movers[..]);
    let mut pairs = BTreeSet::new();
    for _ in 0..CUSHIONS {
        let found = rounded_overlaps(setup, &layout, &window.movers);
        if found.is_empty() || stop() {
            break;
        }
        pairs.extend(found);
        let Some(next) = cushioned(setup, window, &layout, &pairs) else {
            break;
        };
        layout = next;
    }
    land(setup, &layout, moved).filter(|l| window.sides_clear(setup, l))
}

/// Exchanges the places of two items: their boxes' middles.
fn swap(setup: &Setup, layout: &mut Layout, a: usize, b: usize) {
    let middle = |layout: &Layout, i: usize| {
        let f = layout.tight(setup, i);
        ((f.min.x + f.max.x) as f64 / 2.0, (f.min.y + f.max.y) as f64 / 2.0, layout.spots[i].bin)
    };
    let (ma, mb) = (middle(layout, a), middle(layout, b));
    for (i, to) in [(a, mb), (b, ma)] {
        let bin = usize::from(to.2);
        let kind = setup.kind(i);
        let stance = match kind.fits[bin].as_slice() {
            [] => continue,
            fits if fits.contains(&layout.spots[i].stance) => layout.spots[i].stance,
            fits => fits[0],
        };
        let t = kind.stances[usize::from(stance)].tight;
        let (x, y) =
            (to.0 - (t.min.x + t.max.x) as f64 / 2.0, to.1 - (t.min.y + t.max.y) as f64 / 2.0);
        layout.spots[i] = Spot { bin: to.2, stance, x, y };
    }
}
