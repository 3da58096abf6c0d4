//! Restarts: after a span of so many evaluations the race of starts begins anew from the first
//! layout, and the best of all spans is kept.
//!
//! Twice the evaluations bring a search that is a minute old about as much as the better of two
//! such searches: what a span has come to by then hangs on chance as much as on work.

use super::lane::{Lane, ROUND};
use super::layout::Layout;
use super::race::Race;
use super::setup::Setup;
use std::sync::Arc;

/// Evaluations of a lane in one span: a minute or more of one processor.
const SPAN: u64 = 500_000_000;

/// The span under way.
#[derive(Debug)]
pub(super) struct Restarts {
    race: Race,
    /// Where every span begins.
    first: Option<Arc<Layout>>,
    /// The best layout of this span.
    best: Arc<Layout>,
    /// Evaluations of a lane in this span.
    age: u64,
}

impl Restarts {
    pub fn new(seed: u64) -> Restarts {
        Restarts { race: Race::new(seed), first: None, best: Arc::default(), age: 0 }
    }

    /// Begins a span when one is over: with less than half a span of the `left` evaluations of
    /// a lane, from the best layout of all.
    pub fn assign(
        &mut self,
        setup: &Setup,
        best: &Arc<Layout>,
        lanes: &mut [Lane<'_>],
        left: f64,
        stop: &dyn Fn() -> bool,
    ) {
        let over = self.age >= SPAN && !setup.overflow();
        match &self.first {
            None => {
                self.first = Some(best.clone());
                self.begin(setup, best, 0, lanes);
            }
            Some(_) if over && left < SPAN as f64 / 2.0 => {
                self.begin(setup, best, SPAN * lanes.len() as u64, lanes)
            }
            Some(first) if over => self.begin(setup, &first.clone(), 0, lanes),
            Some(_) => {}
        }
        let left = left.min(SPAN.saturating_sub(self.age) as f64);
        self.race.assign(setup, &self.best, lanes, left, stop);
    }

    fn begin(&mut self, setup: &Setup, layout: &Arc<Layout>, age: u64, lanes: &mut [Lane<'_>]) {
        self.best = layout.clone();
        self.age = 0;
        self.race.begin(setup, layout, age, lanes);
    }

    /// After a round. Returns the best layout of all.
    pub fn merge(
        &mut self,
        setup: &Setup,
        best: &Arc<Layout>,
        lanes: &mut [Lane<'_>],
    ) -> Arc<Layout> {
        self.age += ROUND;
        self.best = self.race.merge(setup, &self.best, lanes);
        let best = if self.best.length < best.length { &self.best } else { best };
        lanes.iter_mut().for_each(|l| l.hear(best.length));
        best.clone()
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::super::construct::construct;
    use super::super::land::land;
    use super::super::nofit_cache::NoFitCache;
    use super::super::random::Random;
    use super::*;
    use crate::geometry::{Region, point};
    use crate::nest::{Extent, Pose, Problem, Shape, Stock};

    #[test]
    fn a_season_begins_from_the_first_layout_and_what_is_left_of_one_from_the_best() {
        let shape = Shape {
            name: "plate".into(),
            region: Region::solid(
                [(0.0, 0.0), (30.0, 0.0), (30.0, 40.0), (0.0, 40.0)]
                    .map(|(x, y)| point(x, y))
                    .to_vec(),
            ),
            poses: vec![Pose { turn: 0.0, flip: false }],
            tolerance: 0.0,
            copies: 3,
            may_cross: false,
        };
        let extent = Extent::Open { low: 0.0, high: 100.0, segment_max: None, length_max: None };
        let roll = Stock { name: "roll".into(), extent, keep_out: Vec::new() };
        let mut setup = Setup::new(&Problem::new(vec![shape], vec![roll], 2.0).unwrap());
        let first = Arc::new(
            construct(&mut setup, &|| false, &|| false)
                .and_then(|l| land(&setup, &l, None))
                .unwrap(),
        );
        // Shorter than can be: no more than a length to be kept.
        let best = Arc::new(Layout { length: first.length - 1.0, ..(*first).clone() });
        let cache = NoFitCache::new(1 << 28);
        let mut lanes = [0, 1].map(|k| Lane::new(&setup, &cache, Random::new(1, k), 0.0));
        let lengths =
            |lanes: &[Lane<'_>]| lanes.iter().map(|l| l.shortest().length).collect::<Vec<f64>>();
        let mut restarts = Restarts::new(1);
        let span = SPAN as f64;

        restarts.assign(&setup, &first, &mut lanes, 3.0 * span, &|| false);
        assert_eq!(lengths(&lanes), [first.length; 2]);
        lanes.iter_mut().for_each(|l| l.adopt(&best));
        assert_eq!(restarts.merge(&setup, &first, &mut lanes).length, best.length);
        restarts.assign(&setup, &best, &mut lanes, 2.0 * span, &|| false);
        assert_eq!(lengths(&lanes), [best.length; 2], "the span goes on");

        restarts.age = SPAN;
        restarts.assign(&setup, &best, &mut lanes, span, &|| false);
        assert_eq!(lengths(&lanes), [first.length; 2], "a span is left");
        assert_eq!(
            restarts.merge(&setup, &best, &mut lanes).length,
            best.length,
            "the best of all is kept"
        );

        restarts.age = SPAN;
        restarts.assign(&setup, &best, &mut lanes, 0.4 * span, &|| false);
        assert_eq!(lengths(&lanes), [best.length; 2], "too little is left for another span");
    }
}
