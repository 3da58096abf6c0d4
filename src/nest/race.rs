//! Multi-start by racing: a layout that stands still is left, and its lanes begin anew from
//! another first layout.
//!
//! What a search comes to differs by more than a hundredth from one beginning to the next, and what
//! stands still seldom goes on. So beginnings are raced: at ages each twice the last, a start
//! goes on only if it is among the better half of all that came so far. (Successive halving:
//! Jamieson and Talwalkar 2016.)

use super::construct::construct_anew;
use super::land::land;
use super::lane::{Lane, ROUND};
use super::layout::Layout;
use super::random::Random;
use super::setup::Setup;
use super::window::Window;
use std::sync::Arc;

/// Lanes of a start once the first, which all lanes share, is over.
const TOGETHER: usize = 2;
/// Evaluations an item at the first age at which starts are compared; none stands still before.
const YOUNG: u64 = 500_000;
/// A start stands still that brought nothing for one part in this many of its age.
const STILL: u64 = 2;
/// One in this many goes on past an age.
const KEPT: usize = 2;

/// What the lanes of a group work on.
#[derive(Debug)]
struct Start {
    best: Arc<Layout>,
    /// Evaluations of its lanes so far, and at its last gain.
    age: u64,
    gained_at: u64,
    /// Ages at which it was compared.
    compared: usize,
    /// A layout taken up again is not compared with beginnings.
    again: bool,
    over: bool,
}

impl Start {
    fn new(best: Arc<Layout>) -> Start {
        Start { best, age: 0, gained_at: 0, compared: 0, again: false, over: false }
    }

    /// Goes on with a layout that was found at an age.
    fn again(best: Arc<Layout>, age: u64) -> Start {
        Start { age, gained_at: age, again: true, ..Start::new(best) }
    }

    /// Whether it is over: among the worse half at an age, or at a stand. `lengths` are those of
    /// all starts at each age, the first is `young`.
    fn judge(&mut self, lengths: &mut Vec<Vec<f64>>, young: u64) {
        while !self.again && self.age >> self.compared >= young {
            if lengths.len() <= self.compared {
                lengths.push(Vec::new());
            }
            let rivals = &mut lengths[self.compared];
            rivals.push(self.best.length);
            let better = rivals.iter().filter(|&&l| l < self.best.length).count();
            self.over |= better >= rivals.len().div_ceil(KEPT);
            self.compared += 1;
        }
        self.over |= self.age - self.gained_at > young.max(self.age / STILL);
    }
}

/// The starts of a span that are under way, and the lengths all of it came to at each age.
#[derive(Debug)]
pub(super) struct Race {
    groups: Vec<Start>,
    lengths: Vec<Vec<f64>>,
    /// Age at which a start came to the best layout.
    best_age: u64,
    random: Random,
}

impl Race {
    pub fn new(seed: u64) -> Race {
        // A stream that no lane has.
        Race {
            groups: Vec::new(),
            lengths: Vec::new(),
            best_age: 0,
            random: Random::new(seed, u64::MAX),
        }
    }

    /// One start for all lanes, from a layout that took so many evaluations to find; a first
    /// layout took none. Those before are forgotten.
    pub fn begin(&mut self, setup: &Setup, layout: &Arc<Layout>, age: u64, lanes: &mut [Lane<'_>]) {
        let start =
            if age > 0 { Start::again(layout.clone(), age) } else { Start::new(layout.clone()) };
        self.groups = vec![start];
        self.lengths.clear();
        self.best_age = age;
        lanes.iter_mut().for_each(|l| l.begin(layout, Window::whole(setup)));
    }

    /// Gives the lanes of a start that is over another beginning, or the best layout again if in
    /// the `left` evaluations of a lane none can get as old as the start that found it.
    pub fn assign(
        &mut self,
        setup: &Setup,
        best: &Arc<Layout>,
        lanes: &mut [Lane<'_>],
        left: f64,
        stop: &dyn Fn() -> bool,
    ) {
        if let [Start { over: true, .. }] = self.groups[..] {
            let groups = lanes.len().div_ceil(TOGETHER).max(1);
            self.groups =
                (0..groups).map(|_| Start { over: true, ..Start::new(best.clone()) }).collect();
        }
        let share = self.share(lanes);
        for (group, lanes) in self.groups.iter_mut().zip(lanes.chunks_mut(share)) {
            if group.over {
                let worth = left * lanes.len() as f64 >= self.best_age as f64;
                let first =
                    if worth { construct_anew(setup, &mut self.random, stop) } else { None };
                *group = match first.and_then(|l| land(setup, &l, None)) {
                    Some(first) => Start::new(Arc::new(first)),
                    None => Start::again(best.clone(), self.best_age),
                };
                lanes.iter_mut().for_each(|l| l.begin(&group.best, Window::whole(setup)));
            }
        }
    }

    /// The lanes of each start take over the best of theirs. Returns the best layout.
    pub fn merge(
        &mut self,
        setup: &Setup,
        best: &Arc<Layout>,
        lanes: &mut [Lane<'_>],
    ) -> Arc<Layout> {
        let mut best = best.clone();
        let share = self.share(lanes);
        let young = YOUNG * setup.items.len() as u64;
        for (group, lanes) in self.groups.iter_mut().zip(lanes.chunks_mut(share)) {
            group.age += ROUND * lanes.len() as u64;
            for found in lanes.iter().map(Lane::shortest) {
                if found.length < group.best.length {
                    group.best = found.clone();
                    group.gained_at = group.age;
                }
            }
            lanes.iter_mut().for_each(|l| l.adopt(&group.best));
            if group.best.length < best.length {
                best = group.best.clone();
                self.best_age = group.age;
            }
            group.judge(&mut self.lengths, young);
            // What has no strip to shorten has no length to race for.
            group.over &= !setup.overflow();
        }
        best
    }

    /// Lanes of each start.
    fn share(&self, lanes: &[Lane<'_>]) -> usize {
        lanes.len().div_ceil(self.groups.len().max(1)).max(1)
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;
    use crate::geometry::{Region, point};
    use crate::nest::{Extent, Pose, Problem, Shape, Stock};

    /// A start that gained its length at `gained_at` and is `age` old.
    fn start(length: f64, gained_at: u64, age: u64) -> Start {
        let best = Arc::new(Layout { length, ..Layout::default() });
        Start { age, gained_at, ..Start::new(best) }
    }

    #[test]
    fn the_better_half_goes_on_at_each_age() {
        let mut lengths = Vec::new();
        let mut over = |length: f64, age: u64| {
            let mut c = start(length, age, age);
            c.judge(&mut lengths, 100);
            c.over
        };
        assert!(!over(50.0, 99), "not compared yet");
        assert!(!over(50.0, 100), "the first has no rival");
        assert!(over(51.0, 100), "longer than the only rival");
        assert!(!over(49.0, 100), "the shortest of three");
        assert!(!over(49.5, 100), "the second of four");
        assert!(over(50.5, 100), "the fourth of five");
        assert!(!over(49.0, 200), "as short as the best at the first age, the first at the second");
        assert!(over(49.2, 200), "longer than the only rival at the second age");
    }

    #[test]
    fn a_campaign_at_a_stand_is_over() {
        let over = |gained_at: u64, age: u64| {
            let mut c = start(50.0, gained_at, age);
            c.judge(&mut Vec::new(), 100);
            c.over
        };
        assert!(!over(0, 100), "too young");
        assert!(over(0, 101));
        assert!(!over(500, 1000));
        assert!(over(499, 1000));
    }

    fn nine_plates() -> Setup {
        let plate = |k: u32| Shape {
            name: format!("plate {k}"),
            region: Region::solid(
                [(0.0, 0.0), (30.0, 0.0), (30.0, 40.0), (0.0, 40.0)]
                    .map(|(x, y)| point(x + f64::from(k) * x / 30.0, y))
                    .to_vec(),
            ),
            poses: vec![Pose { turn: 0.0, flip: false }, Pose { turn: 90.0, flip: false }],
            tolerance: 0.0,
            copies: 1,
            may_cross: false,
        };
        let extent = Extent::Open { low: 0.0, high: 150.0, segment_max: None, length_max: None };
        let strip = Stock { name: "roll".into(), extent, keep_out: Vec::new() };
        Setup::new(&Problem::new((0..9).map(plate).collect(), vec![strip], 2.0).unwrap())
    }

    #[test]
    fn what_begins_anew_has_no_rivals_of_before() {
        let setup = nine_plates();
        let mut race = Race::new(1);
        race.lengths = vec![vec![40.0]];
        race.best_age = 7;
        race.begin(&setup, &Arc::new(Layout { length: 50.0, ..Layout::default() }), 0, &mut []);
        assert!(race.lengths.is_empty());
        assert_eq!(race.best_age, 0);
        race.groups[0].age = 100;
        race.groups[0].gained_at = 100;
        race.groups[0].judge(&mut race.lengths, 100);
        assert!(!race.groups[0].over, "longer than one of before, which does not count");
    }

    #[test]
    fn beginnings_differ_and_hold_every_item() {
        let setup = nine_plates();
        let mut random = Random::new(1, 0);
        let mut beginning = || {
            construct_anew(&setup, &mut random, &|| false)
                .and_then(|l| land(&setup, &l, None))
                .unwrap()
        };
        let (first, second) = (beginning(), beginning());
        assert_eq!((first.spots.len(), second.spots.len()), (9, 9));
        assert_ne!(first.spots, second.spots);
    }
}
