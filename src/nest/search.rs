//! The driver: a first layout, then rounds of lanes, merged in lane order. It ends by its limit or
//! by the user ([`Run::is_over`]), or because no more is to be had (`stopping`).

use super::check::faults_of;
use super::construct::{construct, in_rows};
use super::history::History;
use super::land::land;
use super::lane::{Lane, ROUND};
use super::nofit_cache::NoFitCache;
use super::outcome::{Outcome, Params};
use super::problem::Problem;
use super::random::Random;
use super::remnant::{Near, most_useful};
use super::report::report;
use super::setup::Setup;
use super::sharing::Sharing;
use super::stopping::Stopping;
use super::warm_start::warm_start;
use crate::run::{Phase, Run};
use rayon::prelude::*;
use std::sync::Arc;

/// Places all shapes with the least length of the open strip, fixed stocks first.
///
/// A run by effort gives the same outcome on every machine and with any number of threads; a run by
/// time uses one lane a thread. What could not be placed is named in the outcome; the placements
/// that are there always keep every rule.
pub fn solve(problem: &Problem, params: &Params, run: &Run<'_>) -> Outcome {
    let threads = rayon::ThreadPoolBuilder::new().num_threads(run.threads()).build();
    match threads {
        Ok(pool) => pool.install(|| search(problem, params, run)),
        // No threads to be had: the caller's own will do.
        Err(_) => search(problem, params, run),
    }
}

fn search(problem: &Problem, params: &Params, run: &Run<'_>) -> Outcome {
    run.tell(Phase::FirstLayout, None);
    let mut setup = Setup::new(problem);
    let stop = || run.is_up();
    let first = construct(&mut setup, &|| run.is_stopped(Phase::FirstLayout), &|| run.is_late());
    let late = run.is_late();
    let first = first.and_then(|l| {
        land(&setup, &l, None).or_else(|| {
            let pinned = !problem.pins().is_empty();
            debug_assert!(late || pinned, "the first layout breaks a rule");
            let plain = in_rows(&mut setup);
            land(&setup, &plain, None)
        })
    });
    let Some(first) = first else {
        return report(problem, &setup, None, run);
    };
    let mut history = History::new(problem, &setup, run);
    let first = Arc::new(first);
    let cache = NoFitCache::new(run.memory());
    let warm = warm_start(problem, &setup, &cache, &first, run);
    let first = warm.filter(|w| w.length <= first.length).map_or(first, Arc::new);
    let mut best = first.clone();
    history.note(&best, &[], 0);
    let lanes = if run.is_by_effort() { params.lanes } else { rayon::current_num_threads() };
    let mut lanes: Vec<Lane<'_>> = (0..lanes.max(1))
        .map(|k| Lane::new(&setup, &cache, Random::new(run.seed(), k as u64), params.equal))
        .collect();
    let mut sharing = Sharing::new(&setup, run.seed());
    let (mut round, mut stopping) = (0, Stopping::default());
    let mut early = stopping.check(&setup, best.length, history.bound, &lanes, run);
    while !run.is_over(round) && early.is_none() {
        sharing.assign(&setup, &best, &mut lanes, run.rounds_left(round), &stop);
        lanes.par_iter_mut().for_each(|lane| lane.advance(ROUND, &stop));
        best = sharing.merge(&setup, &best, &mut lanes);
        cache.trim();
        round += 1;
        history.note(&best, &lanes, round);
        early = stopping.check(&setup, best.length, history.bound, &lanes, run);
    }
    let end = || run.is_stopped(Phase::Searching) || run.is_late();
    if params.equal > 0.0 && !end() {
        let near: Vec<&Near> = lanes.iter().map(Lane::near).collect();
        best = most_useful(&setup, &best, &near, best.length * (1.0 + params.equal), &end);
        history.note(&best, &lanes, round);
    }
    let mut outcome = report(problem, &setup, Some(&best), run);
    if !faults_of(problem, &outcome).is_empty() {
        debug_assert!(false, "{:?}", faults_of(problem, &outcome));
        outcome = report(problem, &setup, Some(&first), run);
    }
    outcome.early = early.map(|why| (why, run.seconds()));
    history.write(&mut outcome);
    outcome
}
