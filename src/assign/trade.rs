//! One lane: empties a few offcuts, fills them anew from what lay there and what is left for the
//! roll, and keeps what serves.

use super::bins::Ground;
use super::cover::Mask;
use rand_pcg::Pcg64Mcg;
use rand_pcg::rand_core::{Rng, SeedableRng};

/// What the opening of an offcut weighs against the worth of the pieces on it.
const COST: f64 = 1e-4;
/// Temperature at the start, as a share of the mean piece's worth.
const HOT: f64 = 0.25;
/// Assignments a lane keeps.
const KEPT: usize = 3;

/// A seeded stream of random numbers, the same on every machine.
pub(super) struct Random(Pcg64Mcg);

impl Random {
    pub fn new(seed: u64, lane: u64) -> Random {
        Random(Pcg64Mcg::seed_from_u64(
            seed.wrapping_mul(0x9e37_79b9_7f4a_7c15) ^ lane.wrapping_mul(0xc2b2_ae3d_27d4_eb4f),
        ))
    }

    pub fn unit(&mut self) -> f64 {
        (self.0.next_u64() >> 11) as f64 / (1_u64 << 53) as f64
    }

    pub fn below(&mut self, n: usize) -> usize {
        ((self.unit() * n as f64) as usize).min(n.saturating_sub(1))
    }
}

/// An item on an offcut, its place in cells.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Spot {
    pub item: usize,
    pub stance: u16,
    pub at: (i32, i32),
}

/// Who lies where. An item on no offcut is for the roll.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct State {
    bins: Vec<Vec<Spot>>,
    /// About the new cloth that the rest takes, mm².
    pub new_cloth: f64,
    /// Cost of the offcuts opened.
    pub cost: f64,
}

impl State {
    /// What is maximised.
    pub fn value(&self) -> f64 {
        -self.new_cloth - COST * self.cost
    }

    /// All spots with their offcut.
    pub fn spots(&self) -> impl Iterator<Item = (usize, Spot)> {
        self.bins.iter().enumerate().flat_map(|(b, spots)| spots.iter().map(move |s| (b, *s)))
    }

    /// The items on offcuts, rising.
    pub fn placed_items(&self) -> Vec<usize> {
        let mut items: Vec<usize> = self.spots().map(|s| s.1.item).collect();
        items.sort_unstable();
        items
    }

    fn measure(&mut self, ground: &Ground) {
        let mut placed = vec![false; ground.items.len()];
        self.spots().for_each(|(_, s)| placed[s.item] = true);
        self.new_cloth = ground.new_cloth(&placed);
        self.cost = self
            .bins
            .iter()
            .zip(&ground.bins)
            .filter(|(spots, _)| !spots.is_empty())
            .map(|(_, bin)| bin.cost)
            .sum();
    }
}

/// A lane with its own random.
pub(super) struct Lane<'a> {
    ground: &'a Ground,
    random: Random,
    now: State,
    masks: Vec<Mask>,
    best: Vec<State>,
    mean: f64,
}

impl<'a> Lane<'a> {
    /// Nothing on any offcut.
    pub fn new(ground: &'a Ground, random: Random) -> Lane<'a> {
        let mut now =
            State { bins: vec![Vec::new(); ground.bins.len()], new_cloth: 0.0, cost: 0.0 };
        now.measure(ground);
        let total: f64 = ground.items.iter().map(|i| ground.kinds[i.0].weight).sum();
        let masks = ground.bins.iter().map(|b| b.empty.clone()).collect();
        Lane {
            ground,
            random,
            now,
            masks,
            best: Vec::new(),
            mean: total / ground.items.len().max(1) as f64,
        }
    }

    /// The best assignments it came by.
    pub fn found(&self) -> &[State] {
        &self.best
    }

    /// Empties one to three offcuts in part or whole and fills them anew; `share` of the time is
    /// gone.
    pub fn refill(&mut self, share: f64) {
        let ground = self.ground;
        let count = [1, 1, 1, 2, 2, 3][self.random.below(6)].min(ground.bins.len());
        let mut chosen: Vec<usize> = Vec::new();
        while chosen.len() < count {
            let b = self.random.below(ground.bins.len());
            if !chosen.contains(&b) {
                chosen.push(b);
            }
        }
        let mut placed = vec![false; ground.items.len()];
        self.now.spots().for_each(|(_, s)| placed[s.item] = true);
        let mut next = self.now.clone();
        let mut masks: Vec<Mask> = Vec::new();
        for &b in &chosen {
            let keep = if self.random.unit() < 0.6 { 0.0 } else { 0.5 };
            let spots = std::mem::take(&mut next.bins[b]);
            let mut mask = ground.bins[b].empty.clone();
            for spot in spots {
                if self.random.unit() < keep {
                    mask.take(
                        &ground.kinds[ground.items[spot.item].0].stances[usize::from(spot.stance)]
                            .cover,
                        spot.at,
                    );
                    next.bins[b].push(spot);
                } else {
                    placed[spot.item] = false;
                }
            }
            masks.push(mask);
        }
        let mut pool: Vec<(f64, usize)> = self.pool(&placed);
        for (k, &b) in chosen.iter().enumerate() {
            self.fill(b, &mut masks[k], &mut pool, &mut next.bins[b]);
        }
        next.measure(ground);
        let heat = HOT * self.mean * (1.0 - share).max(0.0) * (1.0 - share).max(0.0);
        let draw = self.random.unit().max(1e-12);
        if next.value() >= self.now.value() + heat * libm::log(draw) {
            self.now = next;
            for (k, &b) in chosen.iter().enumerate() {
                self.masks[b] = masks[k].clone();
            }
            self.note();
        }
    }

    /// Items on no offcut in the order they are tried.
    fn pool(&mut self, placed: &[bool]) -> Vec<(f64, usize)> {
        let ground = self.ground;
        let noise = [0.0, 0.2, 0.5, 1.5][self.random.below(4)];
        let mut pool: Vec<(f64, usize)> = Vec::new();
        for (i, item) in ground.items.iter().enumerate() {
            if !placed[i] {
                pool.push((
                    ground.kinds[item.0].weight
                        * libm::exp(noise * (self.random.unit() * 2.0 - 1.0)),
                    i,
                ));
            }
        }
        pool.sort_by(|a, b| b.0.total_cmp(&a.0).then(a.1.cmp(&b.1)));
        pool
    }

    /// Puts items of the pool on an offcut, each where it fits first from a random corner.
    fn fill(
        &mut self,
        b: usize,
        mask: &mut Mask,
        pool: &mut Vec<(f64, usize)>,
        spots: &mut Vec<Spot>,
    ) {
        let ground = self.ground;
        let (right, top) = (self.random.unit() < 0.5, self.random.unit() < 0.5);
        let any_stance = self.random.unit() < 0.3;
        let mut failed = vec![false; ground.kinds.len()];
        // How far each stance has looked: the offcut only gets fuller.
        let mut looked = ground.bins[b].blind.clone();
        pool.retain(|&(_, item)| {
            let kind = ground.items[item].0;
            if failed[kind] || mask.free == 0 {
                return true;
            }
            let mut found: Option<(i32, u16, (i32, i32))> = None;
            let fits = &ground.bins[b].fits[kind];
            let first = if any_stance { self.random.below(fits.len().max(1)) } else { 0 };
            for k in 0..fits.len() {
                let k = (first + k) % fits.len();
                let (s, step) = (fits[k], &mut looked[kind][k][usize::from(right)]);
                let cover = &ground.kinds[kind].stances[usize::from(s)].cover;
                if let Some(at) = mask.find_on(cover, right, top, step) {
                    let reach = if right { -at.0 } else { at.0 + cover.columns.len() as i32 };
                    if found.is_none_or(|f| reach < f.0) {
                        found = Some((reach, s, at));
                    }
                    if any_stance {
                        break;
                    }
                }
            }
            match found {
                Some((_, stance, at)) => {
                    mask.take(&ground.kinds[kind].stances[usize::from(stance)].cover, at);
                    spots.push(Spot { item, stance, at });
                    false
                }
                None => {
                    failed[kind] = true;
                    true
                }
            }
        });
    }

    fn note(&mut self) {
        let value = self.now.value();
        if self.best.len() == KEPT && self.best.last().is_some_and(|s| s.value() >= value) {
            return;
        }
        let set = self.now.placed_items();
        if let Some(same) = self.best.iter_mut().find(|s| s.placed_items() == set) {
            if same.value() < value {
                *same = self.now.clone();
            }
        } else {
            self.best.push(self.now.clone());
        }
        self.best.sort_by(|a, b| b.value().total_cmp(&a.value()));
        self.best.truncate(KEPT);
    }
}
