//! Separation: overlapping items are moved one at a time, pairs that stay overlapped weigh more
//! each pass.
//!
//! Guided local search on penetration depth (Egeblad, Nielsen, Odgaard 2007; Imamichi, Yagiura,
//! Nagamochi 2009; Umetani et al. 2009).

use super::board::Board;
use super::layout::{Layout, Spot};
use super::nofit_cache::NoFitCache;
use super::overlap::{Body, Bounds, Field, Fits, size_of};
use super::random::Random;
use super::relocate::{Scratch, relocate};
use super::setup::{ENDLESS, Setup};
use super::window::Window;

/// Growth of a pair's weight: 1 + RATE * (BASE + (1 - BASE) * overlap / greatest overlap).
const RATE: f64 = 0.8;
const BASE: f64 = 0.2;
/// Decay of the weight of pairs that are apart, down to 1.
const DECAY: f64 = 0.95;
/// Passes without [`GAIN`] before a strike, and strikes before giving up.
const PATIENCE: u32 = 30;
/// The same on a board, where passes are quick.
const BOARD_PATIENCE: u32 = 120;
const STRIKES: u32 = 2;
const GAIN: f64 = 0.98;
/// Overlap below this, µm, is contact.
const CONTACT: f64 = 0.01;

/// How a separation stands.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Standing {
    Open,
    Solved,
    Stuck,
}

/// A running separation of the items of a window.
#[derive(Debug)]
pub(super) struct Separation<'a> {
    setup: &'a Setup,
    cache: &'a NoFitCache,
    fits: Fits<'a>,
    /// Where all places can be looked at.
    board: Option<Board<'a>>,
    pub window: Window,
    pub layout: Layout,
    bodies: Vec<Body>,
    /// By mover and body.
    weights: Vec<f32>,
    overlaps: Vec<f64>,
    /// By mover and wall.
    wall_weights: Vec<f32>,
    wall_overlaps: Vec<f64>,
    fields: Vec<Field>,
    scratch: Scratch,
    best: f64,
    best_layout: Layout,
    stale: u32,
    strikes: u32,
    /// Some item has no place at this length.
    hopeless: bool,
    pub evaluations: u64,
    pub moves: u64,
}

impl<'a> Separation<'a> {
    /// Starts from a layout with overlaps; `layout.length` is the length to reach.
    pub fn new(
        setup: &'a Setup,
        cache: &'a NoFitCache,
        window: Window,
        mut layout: Layout,
    ) -> Separation<'a> {
        let n = window.movers.len();
        let board = Board::new(setup, cache, &window, &mut layout);
        let mut bases: Vec<u32> = Vec::new();
        for &i in &window.movers {
            bases.extend(setup.kind(i).stances.iter().map(|s| s.base));
        }
        bases.extend(window.context.iter().map(|&i| layout.stance(setup, i).base));
        bases.extend(setup.bins.iter().flat_map(|r| &r.blocks).map(|b| b.base));
        let fits = Fits::new(setup, cache, bases);
        let mut bodies: Vec<Body> = window
            .movers
            .iter()
            .chain(&window.context)
            .map(|&i| body(setup, &fits, &layout, i))
            .collect();
        for (r, bin) in setup.bins.iter().enumerate() {
            for b in &bin.blocks {
                let (x, y) = (b.at.x as f64, b.at.y as f64);
                bodies.push(Body {
                    turned: fits.local((b.base, b.quarter)),
                    bin: r as u16,
                    x,
                    y,
                    size: 1.0,
                });
            }
        }
        let m = bodies.len();
        allow_walls(setup, &mut layout);
        let walls = layout.walls.len();
        let mut s = Separation {
            setup,
            cache,
            fits,
            board,
            window,
            best_layout: Layout::default(),
            layout,
            bodies,
            weights: vec![1.0; n * m],
            overlaps: vec![0.0; n * m],
            wall_weights: vec![1.0; n * walls],
            wall_overlaps: vec![0.0; n * walls],
            fields: Vec::new(),
            scratch: Scratch::default(),
            best: f64::INFINITY,
            stale: 0,
            strikes: 0,
            hopeless: false,
            evaluations: 0,
            moves: 0,
        };
        for k in 0..n {
            s.confine(k);
        }
        for k in 0..n {
            s.measure(k);
        }
        s
    }

    /// The bounds of a mover's position in a stance and bin.
    fn bounds(&self, k: usize, bin: usize, stance: u16) -> Bounds {
        let setup = self.setup;
        let tight = setup.kind(self.window.movers[k]).stances[usize::from(stance)].tight;
        let frame = setup.bins[bin].frame;
        let (x0, x1) = if frame.max.x == ENDLESS {
            (self.window.low.max(frame.min.x as f64), self.window.high(&self.layout))
        } else {
            (frame.min.x as f64, frame.max.x as f64)
        };
        Bounds {
            x0: x0 - tight.min.x as f64,
            x1: x1 - tight.max.x as f64,
            y0: (frame.min.y - tight.min.y) as f64,
            y1: (frame.max.y - tight.max.y) as f64,
        }
    }

    /// Puts every mover at a random place of the strip, in a random stance.
    pub fn scatter(&mut self, random: &mut Random) {
        let strip = self.setup.strip();
        for k in 0..self.window.movers.len() {
            let item = self.window.movers[k];
            let fits = &self.setup.kind(item).fits[strip];
            if fits.is_empty() {
                continue;
            }
            let stance = fits[random.below(fits.len())];
            let b = self.bounds(k, strip, stance);
            if !b.is_empty() {
                let (x, y) = (random.between(b.x0, b.x1), random.between(b.y0, b.y1));
                self.layout.spots[item] = Spot { bin: strip as u16, stance, x, y };
            }
        }
        self.board = Board::new(self.setup, self.cache, &self.window, &mut self.layout);
        for (body_of, &item) in self.bodies.iter_mut().zip(&self.window.movers) {
            *body_of = body(self.setup, &self.fits, &self.layout, item);
        }
        for k in 0..self.window.movers.len() {
            self.measure(k);
        }
    }

    /// Brings a mover within its bounds (after the length has shrunk).
    fn confine(&mut self, k: usize) {
        let item = self.window.movers[k];
        let spot = self.layout.spots[item];
        let b = self.bounds(k, usize::from(spot.bin), spot.stance);
        let spot = if b.is_empty() {
            let Some(other) = self.somewhere(k) else {
                self.hopeless = true;
                return;
            };
            other
        } else {
            let (x, y) = b.clamp(spot.x, spot.y);
            Spot { x, y, ..spot }
        };
        self.layout.spots[item] = spot;
        self.bodies[k] = body(self.setup, &self.fits, &self.layout, item);
    }

    /// The middle of the first bin and stance that has any room for a mover.
    fn somewhere(&self, k: usize) -> Option<Spot> {
        let kind = self.setup.kind(self.window.movers[k]);
        let bins = (0..self.setup.bins.len()).filter(|&r| self.window.open_to(self.setup, r));
        bins.flat_map(|r| kind.fits[r].iter().map(move |&s| (r, s))).find_map(|(bin, stance)| {
            let b = self.bounds(k, bin, stance);
            (!b.is_empty()).then(|| Spot {
                bin: bin as u16,
                stance,
                x: (b.x0 + b.x1) / 2.0,
                y: (b.y0 + b.y1) / 2.0,
            })
        })
    }

    /// Fills one field for a mover in a stance and bin; false if it has no room there.
    fn field(&mut self, slot: usize, k: usize, bin: usize, stance: u16) -> bool {
        let bounds = self.bounds(k, bin, stance);
        if bounds.is_empty() {
            return false;
        }
        if self.fields.len() <= slot {
            self.fields.push(Field::default());
        }
        let setup = self.setup;
        let kind = setup.kind(self.window.movers[k]);
        let s = &kind.stances[usize::from(stance)];
        let at = Spot { bin: bin as u16, stance, x: 0.0, y: 0.0 };
        let row = &self.weights[k * self.bodies.len()..(k + 1) * self.bodies.len()];
        let field = &mut self.fields[slot];
        let turned = self.fits.local((s.base, s.quarter));
        field.fill(&self.fits, &at, turned, self.bodies[k].size, bounds, &self.bodies, k, row);
        if bin == setup.strip() && !kind.may_cross {
            for (w, &wall) in self.layout.walls.iter().enumerate() {
                let weight = f64::from(self.wall_weights[k * self.layout.walls.len() + w]);
                field.add_wall(wall - s.tight.max.x as f64, wall - s.tight.min.x as f64, weight);
            }
        }
        true
    }

    /// Recomputes the overlaps of a mover from its field (slot 0 is filled for its present stance).
    fn measure(&mut self, k: usize) {
        let spot = self.layout.spots[self.window.movers[k]];
        if self.field(0, k, usize::from(spot.bin), spot.stance) {
            self.record(k, 0);
        }
    }

    /// Takes the overlaps of a mover over from a field at its present spot.
    fn record(&mut self, k: usize, slot: usize) {
        let spot = self.layout.spots[self.window.movers[k]];
        let walls = self.layout.walls.len();
        let mut pairs =
            Pairs::cleared(&mut self.overlaps, k, self.window.movers.len(), self.bodies.len());
        self.fields[slot].overlaps(&mut self.fits, spot.x, spot.y, |j, o| pairs.set(j, o));
        self.wall_overlaps[k * walls..(k + 1) * walls].fill(0.0);
        for (w, o) in self.fields[slot].wall_overlaps(spot.x).enumerate() {
            self.wall_overlaps[k * walls + w] = o;
        }
    }

    fn row(&self, k: usize) -> (&[f64], &[f32], &[f64], &[f32]) {
        let (m, walls) = (self.bodies.len(), self.layout.walls.len());
        let (a, b) = (k * m..(k + 1) * m, k * walls..(k + 1) * walls);
        (
            &self.overlaps[a.clone()],
            &self.weights[a],
            &self.wall_overlaps[b.clone()],
            &self.wall_weights[b],
        )
    }

    fn overlap_of(&self, k: usize) -> f64 {
        let (o, _, v, _) = self.row(k);
        o.iter().chain(v).fold(0.0, |m: f64, &x| m.max(x))
    }

    fn cost_of(&self, k: usize) -> f64 {
        let (o, w, v, u) = self.row(k);
        let sum = |o: &[f64], w: &[f32]| {
            o.iter()
                .zip(w)
                .map(|(o, w)| if *o > 0.0 { o * f64::from(*w) } else { 0.0 })
                .sum::<f64>()
        };
        sum(o, w) + sum(v, u)
    }

    /// Sum of all overlaps, each pair once.
    pub fn total(&self) -> f64 {
        let (n, m) = (self.window.movers.len(), self.bodies.len());
        let pairs: f64 =
            (0..n).map(|k| self.overlaps[k * m + k..(k + 1) * m].iter().sum::<f64>()).sum();
        pairs + self.wall_overlaps.iter().sum::<f64>()
    }

    /// Moves one item to the best place of all on the board, if it is better than its own.
    fn relocate_on_board(&mut self, k: usize, random: &mut Random) {
        let present = self.cost_of(k);
        let Some(board) = &mut self.board else { return };
        let (item, m) = (self.window.movers[k], self.bodies.len());
        self.moves += 1;
        let weights = &self.weights[k * m..(k + 1) * m];
        if let Some(spot) = board.relocate(k, item, weights, present, random, &mut self.evaluations)
        {
            let mut pairs = Pairs::cleared(&mut self.overlaps, k, self.window.movers.len(), m);
            board.overlaps(k, |j, o| pairs.set(j, o));
            self.layout.spots[item] = spot;
            self.bodies[k] = body(self.setup, &self.fits, &self.layout, item);
        }
    }

    /// Moves one item to the best place found for it.
    fn relocate(&mut self, k: usize, random: &mut Random) {
        if self.board.is_some() {
            return self.relocate_on_board(k, random);
        }
        let setup = self.setup;
        let item = self.window.movers[k];
        let spot = self.layout.spots[item];
        let kind = setup.kind(item);
        let mut filled = 0;
        let mut home = None;
        for bin in 0..setup.bins.len() {
            for f in 0..kind.fits[bin].len() {
                let stance = kind.fits[bin][f];
                if self.window.open_to(setup, bin) && self.field(filled, k, bin, stance) {
                    if bin == usize::from(spot.bin) && stance == spot.stance {
                        home = Some(filled);
                    }
                    filled += 1;
                }
            }
        }
        let Some(home) = home else { return };
        let present = self.cost_of(k);
        self.moves += 1;
        let found = relocate(
            &self.fields[..filled],
            &mut self.fits,
            (home, spot.x, spot.y),
            present,
            kind.extent,
            setup.lattice,
            random,
            &mut self.scratch,
            &mut self.evaluations,
        );
        if let Some(c) = found {
            let field = &self.fields[c.field];
            self.layout.spots[item] = Spot { bin: field.bin, stance: field.stance, x: c.x, y: c.y };
            self.bodies[k] = body(setup, &self.fits, &self.layout, item);
            self.record(k, c.field);
        }
    }

    /// One pass over all overlapping items, then new weights. `stop` is asked between items.
    pub fn pass(&mut self, random: &mut Random, stop: &dyn Fn() -> bool) -> Standing {
        // Even an idle pass counts, so that a run by effort ends.
        self.evaluations += 1 + self.window.movers.len() as u64;
        if self.hopeless {
            self.evaluations += 1000;
            return Standing::Stuck;
        }
        let mut order: Vec<usize> =
            (0..self.window.movers.len()).filter(|&k| self.overlap_of(k) > CONTACT).collect();
        random.shuffle(&mut order);
        for k in order {
            if stop() {
                return Standing::Open;
            }
            if self.overlap_of(k) > CONTACT {
                self.relocate(k, random);
            }
        }
        self.move_walls();
        #[cfg(debug_assertions)]
        self.prove(random);
        let worst =
            self.overlaps.iter().chain(&self.wall_overlaps).fold(0.0, |m: f64, &x| m.max(x));
        if worst <= CONTACT {
            return Standing::Solved;
        }
        reweigh(&mut self.weights, &self.overlaps, worst);
        reweigh(&mut self.wall_weights, &self.wall_overlaps, worst);
        self.judge()
    }

    /// Measures one mover anew: what was kept up move by move must be the same, as seen from it or
    /// from the other of the pair (the two differ by rounding).
    #[cfg(debug_assertions)]
    fn prove(&mut self, random: &Random) {
        let (n, m, walls) = (self.window.movers.len(), self.bodies.len(), self.layout.walls.len());
        if n == 0 {
            return;
        }
        let k = random.clone().below(n);
        let kept = (self.overlaps.clone(), self.wall_overlaps.clone());
        let same = |a: f64, b: f64| (a - b).abs() <= 1e-6 * a.max(b) + 1e-3;
        self.measure(k);
        let walls_agree =
            (k * walls..(k + 1) * walls).all(|w| same(kept.1[w], self.wall_overlaps[w]));
        let differ: Vec<usize> =
            (0..m).filter(|&j| !same(kept.0[k * m + j], self.overlaps[k * m + j])).collect();
        for j in differ {
            assert!(
                j < n,
                "mover {k} and a fixed body: kept {} µm, anew {} µm",
                kept.0[k * m + j],
                self.overlaps[k * m + j]
            );
            self.measure(j);
            assert!(
                same(kept.0[k * m + j], self.overlaps[j * m + k]),
                "movers {k} and {j}: kept {} µm",
                kept.0[k * m + j]
            );
        }
        assert!(walls_agree, "the bench ends of mover {k}");
        (self.overlaps, self.wall_overlaps) = kept;
    }

    fn judge(&mut self) -> Standing {
        let total = self.total();
        if total < self.best * GAIN {
            self.stale = 0;
        } else {
            self.stale += 1;
        }
        if total < self.best {
            self.best = total;
            self.best_layout = self.layout.clone();
        }
        let patience = if self.board.is_some() { BOARD_PATIENCE } else { PATIENCE };
        if self.stale > patience {
            self.stale = 0;
            self.strikes += 1;
            if self.strikes >= STRIKES {
                return Standing::Stuck;
            }
        }
        Standing::Open
    }

    /// The least overlap reached, and where.
    pub fn best(&self) -> (f64, &Layout) {
        (self.best, &self.best_layout)
    }

    /// Puts each bench end where it cuts least, within what the segments' greatest length allows.
    fn move_walls(&mut self) {
        let Some(segment) = self.setup.segment.filter(|_| self.window.context.is_empty()) else {
            return;
        };
        let walls = self.layout.walls.len();
        let (n, strip) = (self.window.movers.len(), self.setup.strip());
        let spans: Vec<(usize, f64, f64)> = (0..n)
            .filter(|&k| {
                usize::from(self.bodies[k].bin) == strip
                    && !self.setup.kind(self.window.movers[k]).may_cross
            })
            .map(|k| {
                let item = self.window.movers[k];
                let (s, x) = (self.layout.stance(self.setup, item), self.layout.spots[item].x);
                (k, x + s.tight.min.x as f64, x + s.tight.max.x as f64)
            })
            .collect();
        for w in 0..walls {
            let at = |w: isize| match w {
                -1 => 0.0,
                w if w as usize == walls => self.layout.length,
                w => self.layout.walls[w as usize],
            };
            let (before, after) = (at(w as isize - 1), at(w as isize + 1));
            let (low, high) =
                (before.max(after - segment as f64), after.min(before + segment as f64));
            let cost = |b: f64| -> f64 {
                spans
                    .iter()
                    .map(|&(k, from, to)| {
                        f64::from(self.wall_weights[k * walls + w])
                            * (b - from).min(to - b).max(0.0)
                    })
                    .sum()
            };
            let here = self.layout.walls[w].max(low).min(high);
            let mut best = (cost(here), here);
            for b in spans
                .iter()
                .flat_map(|&(_, from, to)| [from, to])
                .chain([low, high])
                .filter(|b| (low..=high).contains(b))
            {
                let c = cost(b);
                if c < best.0 * (1.0 - 1e-9) {
                    best = (c, b);
                }
            }
            self.layout.walls[w] = best.1;
            for &(k, from, to) in &spans {
                self.wall_overlaps[k * walls + w] = (best.1 - from).min(to - best.1).max(0.0);
            }
        }
    }
}

/// The overlaps of one mover, kept for both of each pair.
struct Pairs<'s> {
    overlaps: &'s mut [f64],
    k: usize,
    movers: usize,
    bodies: usize,
}

impl<'s> Pairs<'s> {
    /// With no overlaps yet.
    fn cleared(overlaps: &'s mut [f64], k: usize, movers: usize, bodies: usize) -> Pairs<'s> {
        overlaps[k * bodies..(k + 1) * bodies].fill(0.0);
        for j in 0..movers {
            overlaps[j * bodies + k] = 0.0;
        }
        Pairs { overlaps, k, movers, bodies }
    }

    fn set(&mut self, j: usize, overlap: f64) {
        self.overlaps[self.k * self.bodies + j] = overlap;
        if j < self.movers {
            self.overlaps[j * self.bodies + self.k] = overlap;
        }
    }
}

/// As many bench ends as the length needs, each where the greatest length of the segments allows
/// it.
fn allow_walls(setup: &Setup, layout: &mut Layout) {
    let Some(segment) = setup.segment.map(|s| s as f64) else {
        return;
    };
    while (layout.walls.len() + 1) as f64 * segment < layout.length {
        layout.walls.push(layout.length);
    }
    let (count, length) = (layout.walls.len(), layout.length);
    let mut before = 0.0_f64;
    for (k, wall) in layout.walls.iter_mut().enumerate() {
        let low = (length - (count - k) as f64 * segment).max(before);
        *wall = wall.max(low).min((before + segment).min(length));
        before = *wall;
    }
}

fn reweigh(weights: &mut [f32], overlaps: &[f64], worst: f64) {
    for (w, &o) in weights.iter_mut().zip(overlaps) {
        *w = if o > CONTACT {
            *w * (1.0 + RATE * (BASE + (1.0 - BASE) * o / worst)) as f32
        } else if *w > 1.0 {
            (*w * DECAY as f32).max(1.0)
        } else {
            1.0
        };
    }
}

fn body(setup: &Setup, fits: &Fits<'_>, layout: &Layout, item: usize) -> Body {
    let spot = layout.spots[item];
    let stance = layout.stance(setup, item);
    let turned = fits.local((stance.base, stance.quarter));
    Body {
        turned,
        bin: spot.bin,
        x: spot.x,
        y: spot.y,
        size: size_of(setup, setup.kind(item).area),
    }
}
