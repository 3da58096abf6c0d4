//! When a search ends before its limit: no layout can be shorter, or so little is to be gained in
//! the time that is left that nobody would wait for it.

use super::lane::{EQUAL, Lane};
use super::outcome::Early;
use super::setup::Setup;
use crate::run::Run;

/// Lines from random places, each on its own, that must have come to the shortest length.
const AGAIN: u32 = 6;
/// Less is not worth the rest of the time, as a share of the length.
const LITTLE: f64 = 0.001;
/// What the last gains promise is judged from a time so much earlier. Judged so, searches of 20 s
/// ended after 15 s in the mean, and the rest would have brought 0.10 % (16 runs of eight jobs of
/// `benches/jobs`); from a sixth of the time 12.9 s and 0.23 %, from a fourth 11.3 s and 0.31 %.
const BACK: f64 = 10.0;
/// Seconds that a search is given before it may end for good luck, and before it may end for a
/// poor promise.
const LEAST: [f64; 2] = [1.0, 2.0];

/// The course of a search, as far as it tells what is to be expected.
#[derive(Debug, Default)]
pub(super) struct Stopping {
    /// Seconds, and the shortest length from then on.
    gains: Vec<(f64, f64)>,
}

impl Stopping {
    /// Takes note of the shortest length, µm; says why the search had better end.
    pub fn check(
        &mut self,
        setup: &Setup,
        length: f64,
        bound: f64,
        lanes: &[Lane<'_>],
        run: &Run<'_>,
    ) -> Option<Early> {
        // What has no place yet, on fixed stocks alone or on a roll that ends, gets all the time
        // there is: there the length is none, or the last micrometre counts.
        let is_complete = !setup.overflow() && length <= setup.length_max as f64;
        let time_left = run.time_left().filter(|_| run.ends_early() && is_complete);
        let equal = match (bound > 0.0 && is_complete, time_left) {
            (true, Some(_)) => EQUAL.max(LITTLE * length),
            (true, None) => EQUAL,
            (false, _) => 0.0,
        };
        if length <= bound + equal {
            return Some(Early::Least);
        }
        let now = run.seconds();
        if self.gains.last().is_none_or(|g| length < g.1) {
            self.gains.push((now, length));
        }
        let left = time_left?.as_secs_f64();
        if now < LEAST[0] {
            return None;
        }
        let again = lanes.iter().map(Lane::reached).filter(|r| r.0 <= length + EQUAL);
        if again.map(|r| r.1).sum::<u32>() >= AGAIN {
            return Some(Early::Again);
        }
        let is_slow = now >= LEAST[1] && self.promise(now, now + left) < LITTLE;
        is_slow.then_some(Early::Slow)
    }

    /// What the rest of the time may bring, as a share of the length: as much for each time as
    /// long again as the last gains were.
    fn promise(&self, now: f64, end: f64) -> f64 {
        let Some(&(_, length)) = self.gains.last() else { return f64::INFINITY };
        let before = self.gains.iter().rev().find(|g| g.0 <= now / BACK);
        let Some(before) = before.or(self.gains.first()) else { return f64::INFINITY };
        (before.1 - length) / length * (end / now).ln() / BACK.ln()
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;
    use crate::geometry::{Region, point};
    use crate::nest::{Extent, Pose, Problem, Shape, Stock};
    use crate::run::Stop;
    use std::time::Duration;

    /// Within 0.1 % of the bound a search ended while the roll ended before the layout did.
    #[test]
    fn a_search_goes_on_while_the_roll_is_too_short_for_the_layout() {
        let corners = [(0.0, 0.0), (30.0, 0.0), (30.0, 40.0), (0.0, 40.0)];
        let shape = Shape {
            name: "plate".into(),
            region: Region::solid(corners.map(|(x, y)| point(x, y)).to_vec()),
            poses: vec![Pose { turn: 0.0, flip: false }],
            tolerance: 0.0,
            copies: 1,
            may_cross: false,
        };
        let extent =
            Extent::Open { low: 0.0, high: 50.0, segment_max: None, length_max: Some(1000.0) };
        let roll = Stock { name: "roll".into(), extent, keep_out: Vec::new() };
        let setup = Setup::new(&Problem::new(vec![shape], vec![roll], 0.0).unwrap());
        let run = Run::new(Stop::After(Duration::from_secs(600)));
        let check = |length: f64, run: &Run<'_>| {
            Stopping::default().check(&setup, length, 999_500.0, &[], run)
        };
        assert_eq!(check(1_000_400.0, &run.while_it_pays()), None);
        assert_eq!(check(1_000_000.0, &run.while_it_pays()), Some(Early::Least));
        assert_eq!(check(1_000_000.0, &run), None, "all of the time was asked for");
        assert_eq!(check(999_500.0, &run), Some(Early::Least));
    }

    #[test]
    fn a_length_that_still_gets_shorter_promises_more_than_one_at_a_stand() {
        let of =
            |gains: &[(f64, f64)], now: f64| Stopping { gains: gains.to_vec() }.promise(now, 20.0);
        // Two per cent in a factor of ten of time; half of such a factor is to come.
        let falling = of(&[(0.01, 1100.0), (0.6, 1020.0), (5.5, 1000.0)], 20.0 / 10.0_f64.sqrt());
        assert!((falling - 0.01).abs() < 1e-12);
        assert_eq!(of(&[(0.01, 1100.0), (0.6, 1000.0)], 6.1), 0.0);
        assert!(of(&[(0.01, 1100.0), (0.7, 1000.0)], 6.1) > 0.05, "gained since a tenth of it");
    }
}
