//! A board: where all pieces lie on a coarse lattice, every place of it is looked at instead of
//! samples.
//!
//! The depths of a pair are a table over the lattice. The cost of all places of an item in a stance
//! is the sum of its neighbours' tables, each laid where the neighbour is and times the pair's
//! weight.

use super::layout::{Layout, Spot};
use super::nofit_cache::{NoFitCache, Turned};
use super::overlap::size_of;
use super::random::Random;
use super::setup::Setup;
use super::window::Window;
use std::collections::BTreeSet;

/// Table entries summed up for a move at most, about; beyond, samples are cheaper.
const DEAREST: usize = 100_000;
/// Entries of all tables at most, about: 64 MB.
const MOST: usize = 16_000_000;
/// Table entries that take about as long as one evaluation.
const ENTRIES: usize = 500;
/// Costs that differ by a smaller share are equal.
const SAME: f32 = 1e-6;

/// Where a form lies: what it is, the corner of its box in steps, and its size share.
#[derive(Clone, Copy, Debug)]
struct Piece {
    turned: Turned,
    corner: (i32, i32),
    size: f64,
}

/// The strip as a lattice of places.
#[derive(Debug)]
pub(super) struct Board<'a> {
    setup: &'a Setup,
    cache: &'a NoFitCache,
    step: f64,
    /// Sides of the strip in steps.
    sides: (i32, i32),
    pieces: Vec<Piece>,
    costs: Vec<f32>,
}

impl<'a> Board<'a> {
    /// The board of a layout, all pieces brought to the nearest places; none if the length is not
    /// on the lattice, if there is something else that need not lie on it, or if a move would be
    /// too dear.
    pub fn new(
        setup: &'a Setup,
        cache: &'a NoFitCache,
        window: &Window,
        layout: &mut Layout,
    ) -> Option<Board<'a>> {
        let step = setup.lattice?.step();
        let frame = setup.bins[0].frame;
        let plain = setup.bins.len() == 1
            && setup.bins[0].blocks.is_empty()
            && setup.segment.is_none()
            && window.is_whole();
        if !plain || setup.overflow() || layout.length % step != 0.0 {
            return None;
        }
        let whole = |v: i64| v as f64 % step == 0.0;
        let tight = |s: &super::form::Stance| {
            s.tight == setup.bases[s.base as usize].frames[usize::from(s.quarter)]
                && whole(s.tight.width())
                && whole(s.tight.height())
        };
        let sides = ((layout.length / step) as i32, (frame.height() as f64 / step) as i32);
        let kinds = || window.movers.iter().map(|&i| setup.kind(i));
        if !kinds().all(|k| k.stances.iter().all(tight)) {
            return None;
        }
        // A table holds about four times a piece's area.
        let table = (4.0 * setup.mean_area / (step * step)) as usize;
        let places = sides.0 as usize * sides.1 as usize;
        let a_move = kinds()
            .map(|k| k.fits[0].len())
            .max()?
            .saturating_mul(places + window.movers.len() * table);
        let turned: BTreeSet<Turned> =
            kinds().flat_map(|k| &k.stances).map(|s| (s.base, s.quarter)).collect();
        if a_move > DEAREST || turned.len() * turned.len() * table > MOST {
            return None;
        }
        let mut board = Board { setup, cache, step, sides, pieces: Vec::new(), costs: Vec::new() };
        for &i in &window.movers {
            let spot = &mut layout.spots[i];
            let s = &setup.kind(i).stances[usize::from(spot.stance)];
            let at = |x: f64, min: i64, wall: i64, most: i32| {
                (((x + (min - wall) as f64) / step).round() as i32).min(most).max(0)
            };
            let (w, h) = board.steps(s);
            if w > sides.0 || h > sides.1 {
                return None;
            }
            let corner = (
                at(spot.x, s.tight.min.x, frame.min.x, sides.0 - w),
                at(spot.y, s.tight.min.y, frame.min.y, sides.1 - h),
            );
            *spot = board.spot(i, spot.stance, corner);
            board.pieces.push(Piece {
                turned: (s.base, s.quarter),
                corner,
                size: size_of(setup, setup.kind(i).area),
            });
        }
        Some(board)
    }

    /// Sides of a stance's box in steps.
    fn steps(&self, s: &super::form::Stance) -> (i32, i32) {
        ((s.tight.width() as f64 / self.step) as i32, (s.tight.height() as f64 / self.step) as i32)
    }

    fn spot(&self, item: usize, stance: u16, corner: (i32, i32)) -> Spot {
        let min = self.setup.kind(item).stances[usize::from(stance)].tight.min;
        let wall = self.setup.bins[0].frame.min;
        let at = |c: i32, min: i64, wall: i64| f64::from(c) * self.step + (wall - min) as f64;
        Spot { bin: 0, stance, x: at(corner.0, min.x, wall.x), y: at(corner.1, min.y, wall.y) }
    }

    /// A place of least cost for a mover, any of equal ones, if it costs less than `present`.
    /// `weights` are those of its pairs.
    pub fn relocate(
        &mut self,
        k: usize,
        item: usize,
        weights: &[f32],
        present: f64,
        random: &mut Random,
        evaluations: &mut u64,
    ) -> Option<Spot> {
        let kind = self.setup.kind(item);
        let mut best = f32::INFINITY;
        let (mut found, mut equals, mut entries) = (None, 0, 0);
        let mut costs = std::mem::take(&mut self.costs);
        for &stance in &kind.fits[0] {
            let s = &kind.stances[usize::from(stance)];
            let (w, h) = self.steps(s);
            let (wide, high) = (self.sides.0 - w + 1, self.sides.1 - h + 1);
            if wide <= 0 || high <= 0 {
                continue;
            }
            costs.clear();
            costs.resize((wide * high) as usize, 0.0);
            for (j, p) in self.pieces.iter().enumerate().filter(|p| p.0 != k) {
                let depths = self.cache.depths(self.setup, p.turned, (s.base, s.quarter));
                depths.add(
                    &mut costs,
                    wide,
                    p.corner,
                    weights[j] * (p.size * self.pieces[k].size) as f32,
                );
                entries += depths.entries();
            }
            entries += costs.len();
            let least = costs.iter().fold(f32::INFINITY, |m, &c| if c < m { c } else { m });
            if least < best * (1.0 - SAME) {
                (best, equals) = (least, 0);
            }
            for (at, _) in costs.iter().enumerate().filter(|c| *c.1 <= best * (1.0 + SAME)) {
                equals += 1;
                if random.below(equals) == 0 {
                    found = Some((stance, (at as i32 % wide, at as i32 / wide)));
                }
            }
        }
        self.costs = costs;
        *evaluations += 1 + (entries / ENTRIES) as u64;
        let (stance, corner) =
            found.filter(|_| f64::from(best) < present * (1.0 - f64::from(SAME)))?;
        let s = &kind.stances[usize::from(stance)];
        self.pieces[k] = Piece { turned: (s.base, s.quarter), corner, ..self.pieces[k] };
        Some(self.spot(item, stance, corner))
    }

    /// The overlap of a mover with each other one that it meets.
    pub fn overlaps(&self, k: usize, mut each: impl FnMut(usize, f64)) {
        let mine = &self.pieces[k];
        for (j, p) in self.pieces.iter().enumerate().filter(|p| p.0 != k) {
            let (x, y) = (mine.corner.0 - p.corner.0, mine.corner.1 - p.corner.1);
            let depth = self.cache.depths(self.setup, p.turned, mine.turned).at(x, y);
            if depth > 0.0 {
                each(j, f64::from(depth) * mine.size * p.size);
            }
        }
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;
    use crate::geometry::{Region, Ring, point};
    use crate::nest::convex::vertex;
    use crate::nest::{Extent, Pose, Problem, Shape, Stock};

    const QUARTERS: [f64; 4] = [0.0, 90.0, 180.0, 270.0];

    fn ring(corners: &[(f64, f64)]) -> Ring {
        corners.iter().map(|&(x, y)| point(10.0 * x, 10.0 * y)).collect()
    }

    /// Corners in steps of 10 mm, turns, copies.
    type Plate<'p> = (&'p [(f64, f64)], &'p [f64], u32);

    fn setup(shapes: &[Plate<'_>], high: f64, gap: f64) -> Setup {
        let shape = |&(corners, turns, copies): &Plate<'_>| Shape {
            name: "plate".into(),
            region: Region::solid(ring(corners)),
            poses: turns.iter().map(|&turn| Pose { turn, flip: false }).collect(),
            tolerance: 0.0,
            copies,
            may_cross: false,
        };
        let extent =
            Extent::Open { low: 0.0, high: 10.0 * high, segment_max: None, length_max: None };
        let strip = Stock { name: "roll".into(), extent, keep_out: Vec::new() };
        Setup::new(&Problem::new(shapes.iter().map(shape).collect(), vec![strip], gap).unwrap())
    }

    /// A layout with the corners of the items' boxes at these steps of 10 mm, unturned.
    fn layout(setup: &Setup, corners: &[(f64, f64)], length: f64) -> Layout {
        let spot = |(i, &(x, y)): (usize, &(f64, f64))| {
            let min = setup.kind(i).stances[0].tight.min;
            Spot { bin: 0, stance: 0, x: 1e4 * x - min.x as f64, y: 1e4 * y - min.y as f64 }
        };
        Layout {
            spots: corners.iter().enumerate().map(spot).collect(),
            walls: Vec::new(),
            length: 1e4 * length,
        }
    }

    const PLATE: &[(f64, f64)] = &[(0.0, 0.0), (3.0, 0.0), (3.0, 2.0), (0.0, 2.0)];
    const L: &[(f64, f64)] =
        &[(0.0, 0.0), (3.0, 0.0), (3.0, 1.0), (1.0, 1.0), (1.0, 2.0), (0.0, 2.0)];

    /// 9 by 2 holds three plates of 3 by 2: the third lies on the first, the only place left is in
    /// the middle. The L of 3 by 2 turns round to close a box of 4 by 2 with its twin.
    #[test]
    fn the_only_free_place_is_found() {
        let cache = NoFitCache::new(1 << 28);
        let plates = setup(&[(PLATE, &[0.0], 3)], 2.0, 0.0);
        let mut tight = layout(&plates, &[(0.0, 0.0), (6.0, 0.0), (0.2, 0.0)], 9.0);
        let mut board = Board::new(&plates, &cache, &Window::whole(&plates), &mut tight).unwrap();
        let (mut random, mut evaluations) = (Random::new(1, 0), 0);
        tight.spots[2] =
            board.relocate(2, 2, &[1.0; 3], 1e9, &mut random, &mut evaluations).unwrap();
        assert_eq!(tight.tight(&plates, 2).min, vertex(30_000, 0));
        board.overlaps(2, |j, o| panic!("{o} µm on {j}"));

        let cache = NoFitCache::new(1 << 28);
        let twins = setup(&[(L, &QUARTERS, 2)], 2.0, 0.0);
        let mut tight = layout(&twins, &[(0.0, 0.0), (0.0, 0.0)], 4.0);
        let mut board = Board::new(&twins, &cache, &Window::whole(&twins), &mut tight).unwrap();
        tight.spots[1] =
            board.relocate(1, 1, &[1.0; 2], 1e9, &mut random, &mut evaluations).unwrap();
        assert_eq!(tight.tight(&twins, 1).min, vertex(10_000, 0));
        assert_eq!(tight.stance(&twins, 1).pose.turn, 180.0);
        assert!(
            board.relocate(1, 1, &[1.0; 2], 0.0, &mut random, &mut evaluations).is_none(),
            "nothing is better than a free place"
        );
    }

    /// One plate lies still in the middle of 9 by 2: of the seven places of the other the two at
    /// the ends are clear of it.
    #[test]
    fn equal_places_are_equally_likely() {
        let cache = NoFitCache::new(1 << 28);
        let plates = setup(&[(PLATE, &[0.0], 2)], 2.0, 0.0);
        let (mut random, mut evaluations) = (Random::new(1, 0), 0);
        let mut seen = [0; 7];
        for _ in 0..1000 {
            let mut tight = layout(&plates, &[(3.0, 0.0), (3.0, 0.0)], 9.0);
            let mut board =
                Board::new(&plates, &cache, &Window::whole(&plates), &mut tight).unwrap();
            tight.spots[1] =
                board.relocate(1, 1, &[1.0; 2], 1e9, &mut random, &mut evaluations).unwrap();
            seen[(tight.tight(&plates, 1).min.x / 10_000) as usize] += 1;
        }
        assert_eq!(seen[0] + seen[6], 1000, "{seen:?}");
        assert!((400..600).contains(&seen[0]), "{seen:?}");
    }

    /// A plate of 3 by 2 steps lies one step in another along it, or on top of it and so two steps
    /// across; kept a step apart, one deeper.
    #[test]
    fn depths_are_distances_out_of_each_other() {
        let deep = |gap: f64, apart: f64| {
            let cache = NoFitCache::new(1 << 28);
            let plates = setup(&[(PLATE, &[0.0], 2)], 2.0, gap);
            let mut tight = layout(&plates, &[(0.0, 0.0), (apart, 0.0)], 9.0);
            let board = Board::new(&plates, &cache, &Window::whole(&plates), &mut tight).unwrap();
            let mut depth = 0.0;
            board.overlaps(0, |_, o| depth = o);
            depth
        };
        assert_eq!([0.0, 2.0, 3.0].map(|apart| deep(0.0, apart)), [20_000.0, 10_000.0, 0.0]);
        assert_eq!(
            [0.0, 2.0, 3.0, 4.0].map(|apart| deep(10.0, apart)),
            [30_000.0, 20_000.0, 10_000.0, 0.0]
        );
    }

    #[test]
    fn what_need_not_lie_on_the_lattice_has_no_board() {
        let cache = NoFitCache::new(1 << 28);
        let board = |setup: &Setup, length: f64| {
            let mut tight = layout(setup, &[(0.0, 0.0), (3.0, 0.0)], length);
            Board::new(setup, &cache, &Window::whole(setup), &mut tight).is_some()
        };
        let plates = setup(&[(PLATE, &[0.0], 2)], 2.0, 0.0);
        assert!(board(&plates, 6.0));
        assert!(!board(&plates, 6.05), "a length between two steps");
        assert!(
            !board(&setup(&[(PLATE, &[0.0], 2)], 1e6, 0.0), 9e3),
            "more places than 32 bits count"
        );
        assert!(!board(&setup(&[(PLATE, &[0.0, 30.0], 2)], 4.0, 0.0), 6.0), "turned by 30°");
        let slanted: &[(f64, f64)] = &[(0.0, 0.0), (3.0, 1.0), (0.0, 2.0)];
        assert!(!board(&setup(&[(slanted, &[0.0], 2)], 2.0, 0.0), 6.0), "edges of another slope");
    }
}
