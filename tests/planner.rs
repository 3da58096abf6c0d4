//! What ends a plan early, and what is too much for one.
#![allow(clippy::unwrap_used)]

mod plan_schema;

use std::fs;
use std::path::Path;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;
use warpwise::job::{self, Job};
use warpwise::nest::{Progress, Stop};
use warpwise::planner::{self, Refusal, Settings, Unwatched, Watcher};
use warpwise::stock::{Day, Offcut, Snapshot};

/// The demo's job, which lays two cloths.
fn two_cloths() -> Vec<Job> {
    job::load_all(&[Path::new("demo-data/job.toml").to_path_buf()]).unwrap().0
}

fn timed(seconds: u64) -> Settings {
    Settings { stop: Stop::After(Duration::from_secs(seconds)), seed: 1, threads: 1, sets: 1 }
}

/// Cancels as soon as the search of the first cloth has something to tell.
struct Impatient<'a>(&'a AtomicBool);

impl Watcher for Impatient<'_> {
    fn searching(&self, _: &str, index: usize, _: usize, _: &Progress) {
        if index == 0 {
            self.0.store(true, Ordering::Relaxed);
        }
    }
}

#[test]
fn a_cancel_in_the_first_cloth_still_lays_out_the_others() {
    let cancel = AtomicBool::new(false);
    let plan = planner::plan(&two_cloths(), &timed(600), &cancel, &Impatient(&cancel)).unwrap();
    assert!(plan.plan().interrupted);
    plan_schema::keeps_to_schema(plan.plan());
    assert_eq!(plan.plan().stocks.len(), 2);
}

#[test]
fn a_cancel_before_the_search_still_gives_a_first_layout() {
    let cancel = AtomicBool::new(true);
    let plan = planner::plan(&two_cloths(), &timed(600), &cancel, &Unwatched).unwrap();
    assert!(plan.plan().interrupted);
    plan_schema::keeps_to_schema(plan.plan());
    assert!(!cancel.load(Ordering::Relaxed), "the flag is taken down, so that a second cancel can be told from the first");
}

#[test]
fn no_time_at_all_still_gives_a_first_layout() {
    let plan = planner::plan(&two_cloths(), &timed(0), &AtomicBool::new(false), &Unwatched).unwrap();
    assert!(!plan.plan().interrupted);
    plan_schema::keeps_to_schema(plan.plan());
    assert_eq!(plan.plan().stocks.len(), 2);
}

#[test]
fn a_layout_longer_than_a_plan_may_be_is_no_defect_of_the_planner() {
    let dir = tempfile::tempdir().unwrap();
    let file = dir.path().join("job.toml");
    let job = r#"
        [job]
        name = "tapes"
        [cutting]
        [[cloth]]
        id = "tape"
        weave = "plain"
        up = "paper"
        roll_width = 60
        selvedge = 0
        [[strip]]
        id = "keel-tape"
        length = "1.5 m"
        width = 50
        [[layer]]
        name = "tapes"
        cloth = "tape"
        angle = 0
        templates = [{ template = "keel-tape", copies = 100 }]
    "#;
    fs::write(&file, job).unwrap();
    let (jobs, _) = job::load_all(&[file]).unwrap();
    let settings = Settings { stop: Stop::Effort(0), ..timed(0) };
    match planner::plan(&jobs, &settings, &AtomicBool::new(false), &Unwatched) {
        Err(Refusal::NotPlaced(faults)) => assert!(faults.to_string().contains("at most 100 m"), "{faults}"),
        other => panic!("{other:?}"),
    }
}

/// An offcut that bears the cloth's own name, and no roll: the roll to buy was given the same name.
#[test]
fn a_roll_to_buy_does_not_take_the_name_of_an_offcut() {
    let jobs = two_cloths();
    let cloth = &jobs[0].cloths[jobs[0].layers[0].cloth];
    let mut stock = Snapshot::empty(Day::parse("2026-11-25").unwrap());
    let facts = serde_json::json!({
        "id": cloth.id, "cloth": cloth.id, "added": "2026-11-20",
        "outline": [[0, 0], [700, 0], [700, 600], [0, 600]],
    });
    stock.offcuts.push(Offcut::new(serde_json::from_value(facts).unwrap()).unwrap());
    let settings = Settings { stop: Stop::Effort(0), seed: 1, threads: 1, sets: 1 };
    let plan = planner::plan_from_stock(&jobs, &stock, &settings, &AtomicBool::new(false), &Unwatched).unwrap();
    let names: Vec<&str> = plan.plan().stocks.iter().filter(|s| s.cloth == cloth.id).map(|s| s.id.as_str()).collect();
    assert_eq!(names, vec![cloth.id.as_str(), format!("new roll of {}", cloth.id).as_str()]);
}
