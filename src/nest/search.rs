//! The driver: a first layout, then rounds of lanes, merged in lane order, until time, effort or the bound ends it.

use super::check::faults_of;
use super::construct::{construct, lined_up};
use super::dice::Dice;
use super::fits::Store;
use super::history::History;
use super::land::land;
use super::lane::{Lane, ROUND};
use super::limits::Clock;
use super::outcome::{Limits, Observer, Outcome, Params};
use super::problem::Problem;
use super::remnant::{Near, most_useful};
use super::report::report;
use super::setup::Setup;
use super::sharing::Sharing;
use rayon::prelude::*;
use std::sync::Arc;

/// Places all shapes with the least length of the open strip, fixed stocks first.
///
/// A run by effort gives the same outcome on every machine and with any number of threads; a run by time uses one lane a
/// thread. What could not be placed is named in the outcome; the placements that are there always keep every rule.
pub fn solve(problem: &Problem, params: &Params, limits: &Limits<'_>, seed: u64, observer: &dyn Observer) -> Outcome {
    let clock = Clock::start(limits);
    let threads = rayon::ThreadPoolBuilder::new().num_threads(params.threads).build();
    match threads {
        Ok(pool) => pool.install(|| run(problem, params, &clock, seed, observer)),
        // No threads to be had: the caller's own will do.
        Err(_) => run(problem, params, &clock, seed, observer),
    }
}

fn run(problem: &Problem, params: &Params, clock: &Clock<'_>, seed: u64, observer: &dyn Observer) -> Outcome {
    let mut setup = Setup::new(problem);
    let stop = || clock.up();
    let first = construct(&mut setup, &|| clock.cancelled()).and_then(|l| {
        land(&setup, &l, None).or_else(|| {
            debug_assert!(false, "the first layout breaks a rule");
            let plain = lined_up(&mut setup);
            land(&setup, &plain, None)
        })
    });
    let Some(first) = first else {
        return report(problem, &setup, None, clock);
    };
    let mut history = History::new(problem, &setup, clock, observer);
    let first = Arc::new(first);
    let mut best = first.clone();
    history.note(&best, &[], 0);
    let store = Store::new();
    let lanes = if clock.by_effort() { params.lanes } else { rayon::current_num_threads() };
    let mut lanes: Vec<Lane<'_>> = (0..lanes.max(1)).map(|k| Lane::new(&setup, &store, Dice::new(seed, k as u64), params.equal)).collect();
    let mut sharing = Sharing::new(&setup, seed);
    let mut round = 0;
    while !clock.over(round) && best.length > history.bound {
        sharing.assign(&setup, &best, &mut lanes, clock.left(round), &stop);
        lanes.par_iter_mut().for_each(|lane| lane.advance(ROUND, &stop));
        best = sharing.merge(&setup, &best, &mut lanes);
        store.trim();
        round += 1;
        history.note(&best, &lanes, round);
    }
    if params.equal > 0.0 && !clock.cancelled() {
        let near: Vec<&Near> = lanes.iter().map(Lane::near).collect();
        best = most_useful(&setup, &best, &near, best.length * (1.0 + params.equal), &|| clock.cancelled());
        history.note(&best, &lanes, round);
    }
    let mut outcome = report(problem, &setup, Some(&best), clock);
    if !faults_of(problem, &outcome).is_empty() {
        debug_assert!(false, "{:?}", faults_of(problem, &outcome));
        outcome = report(problem, &setup, Some(&first), clock);
    }
    history.write(&mut outcome);
    outcome
}
