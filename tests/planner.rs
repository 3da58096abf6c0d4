//! What ends a plan early, and what is too much for one.
#![allow(clippy::unwrap_used)]

mod plan_schema;

use std::collections::BTreeMap;
use std::fs;
use std::path::Path;
use std::sync::Mutex;
use std::sync::atomic::{AtomicU32, Ordering};
use std::time::Duration;
use warpwise::geometry::{Motion, point};
use warpwise::job::{self, Job};
use warpwise::live::{Ground, Layout, Lying};
use warpwise::planner::{self, Refusal};
use warpwise::run::{Cancel, Observer, Phase, Progress, Run, Stop};
use warpwise::stock::{Day, Offcut, Snapshot};
use warpwise::verify::Verified;

/// The demo's job, which lays two cloths.
fn two_cloths() -> Vec<Job> {
    job::load_all(&[Path::new("demo-data/job.toml").to_path_buf()], &Run::default()).unwrap().0
}

fn timed(seconds: u64) -> Run<'static> {
    Run::new(Stop::After(Duration::from_secs(seconds))).with_threads(1)
}

/// Asks to stop so often, as soon as the run tells of this phase.
struct Impatient<'a>(&'a Cancel, Phase, u32);

impl Observer for Impatient<'_> {
    fn progress(&self, p: &Progress<'_>) {
        if p.phase == self.1 && self.0.asked() == 0 {
            (0..self.2).for_each(|_| self.0.ask());
        }
    }
}

fn stopped(phase: Phase, times: u32) -> Result<Verified, Refusal> {
    let cancel = Cancel::new();
    let observer = Impatient(&cancel, phase, times);
    let jobs = two_cloths();
    // What comes after the search waits for its end.
    let run = if phase == Phase::Verifying { Run::new(Stop::Effort(1)) } else { timed(600) };
    let planned = planner::plan(&jobs, 1, &run.with_cancel(&cancel).with_observer(&observer));
    assert_eq!(cancel.asked(), times, "{phase:?} was not told of");
    planned
}

#[test]
fn asked_to_stop_in_the_first_cloth_it_still_lays_out_the_others() {
    let plan = stopped(Phase::Searching, 1).unwrap();
    assert!(plan.plan().interrupted);
    plan_schema::keeps_to_schema(plan.plan());
    assert_eq!(plan.plan().stocks.len(), 2);
}

#[test]
fn asked_to_stop_before_the_search_it_still_gives_a_first_layout() {
    let plan = stopped(Phase::FirstLayout, 1).unwrap();
    assert!(plan.plan().interrupted);
    plan_schema::keeps_to_schema(plan.plan());
}

/// Signals were not heeded while pieces were prepared, nor while a plan was checked.
#[test]
fn asked_to_stop_where_there_is_nothing_to_keep_or_asked_twice_it_ends() {
    for (phase, times) in [
        (Phase::Preparing, 1),
        (Phase::FirstLayout, 2),
        (Phase::Searching, 2),
        (Phase::Verifying, 2),
    ] {
        match stopped(phase, times) {
            Err(Refusal::Stopped(fault)) => {
                assert!(fault.what.contains("stopped"), "{phase:?}: {}", fault.what)
            }
            other => panic!("{phase:?}: {other:?}"),
        }
    }
}

/// Counts the looks at the flag and what is told, by phase.
#[derive(Default)]
struct Counter(Mutex<BTreeMap<Phase, (u64, u64)>>);

impl Observer for Counter {
    fn looked(&self, phase: Phase) {
        self.0.lock().unwrap().entry(phase).or_default().0 += 1;
    }

    fn progress(&self, p: &Progress<'_>) {
        assert!(p.share.is_none_or(|s| (0.0..=1.0).contains(&s)), "{p:?}");
        self.0.lock().unwrap().entry(p.phase).or_default().1 += 1;
    }
}

#[test]
fn every_phase_is_told_of_and_looks_at_the_flag() {
    let counter = Counter::default();
    let run = Run::new(Stop::Effort(1)).with_observer(&counter);
    let jobs = job::load_all(&[Path::new("demo-data/job.toml").to_path_buf()], &run).unwrap().0;
    planner::plan(&jobs, 1, &run).unwrap();
    let counts = counter.0.into_inner().unwrap();
    // So many looks that none of them can be far from the next.
    for (phase, least) in [
        (Phase::Reading, 300),
        (Phase::Preparing, 100),
        (Phase::FirstLayout, 30),
        (Phase::Searching, 1000),
        (Phase::Verifying, 30),
    ] {
        let (looked, told) = counts.get(&phase).copied().unwrap_or_default();
        assert!(
            looked >= least && told >= 1,
            "{phase:?}: looked {looked} times, told {told} times"
        );
    }
}

#[test]
fn no_time_at_all_still_gives_a_first_layout() {
    let plan = planner::plan(&two_cloths(), 1, &timed(0)).unwrap();
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
    let (jobs, _) = job::load_all(&[file], &Run::default()).unwrap();
    match planner::plan(&jobs, 1, &Run::new(Stop::Effort(0))) {
        Err(Refusal::NotPlaced(faults)) => {
            assert!(faults.to_string().contains("at most 100 m"), "{faults}")
        }
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
    let run = Run::new(Stop::Effort(0)).with_threads(1);
    let plan = planner::plan_from_stock(&jobs, &stock, 1, &run).unwrap();
    let names: Vec<&str> =
        plan.plan().stocks.iter().filter(|s| s.cloth == cloth.id).map(|s| s.id.as_str()).collect();
    assert_eq!(names, vec![cloth.id.as_str(), format!("new roll of {}", cloth.id).as_str()]);
}

/// A search that ended before its limit told how long it took, so that two plans by the same effort
/// were not the same.
#[test]
fn a_plan_by_effort_tells_nothing_of_the_time_it_took() {
    let text = r#"
[job]
name = "tape"
[[cloth]]
id = "twill"
weave = "plain"
up = "paper"
roll_width = 1000
selvedge = 0
[[strip]]
id = "tape"
length = 400
width = 60
[[layer]]
cloth = "twill"
angle = 0
templates = ["tape"]
"#;
    let jobs = [job::parse(text, Path::new("job.toml")).unwrap_or_else(|f| panic!("{f}")).0];
    let by = |run: Run<'_>| planner::plan(&jobs, 1, &run.while_it_pays()).unwrap().into_plan();
    let early = by(timed(600)).cloths[0].early.unwrap();
    assert_eq!(early.why, warpwise::plan::Early::Least, "one strip is as short as can be at once");
    let effort = Run::new(Stop::Effort(2)).with_threads(1);
    assert_eq!(by(effort).cloths[0].early, None);
}

/// Keeps what is drawn of a run: the layouts of each cloth, and what they lie on.
#[derive(Default)]
struct Watcher {
    drawn: Mutex<Vec<(Ground, Vec<Vec<Lying>>)>>,
    settled: Mutex<Vec<(Ground, Layout)>>,
    /// Layouts are wanted so often.
    wanted: AtomicU32,
}

impl Observer for Watcher {
    fn ground(&self, make: &dyn Fn() -> Ground) {
        self.drawn.lock().unwrap().push((make(), Vec::new()));
    }

    fn wants_layout(&self) -> bool {
        self.wanted.load(Ordering::Relaxed) > 0
    }

    fn layout(&self, layout: &Layout) {
        self.wanted.fetch_sub(1, Ordering::Relaxed);
        self.drawn.lock().unwrap().last_mut().unwrap().1.push(layout.lying.clone());
    }

    fn settled(&self, make: &dyn Fn() -> (Ground, Layout)) {
        self.settled.lock().unwrap().push(make());
    }
}

/// What is drawn while it is searched for lies on its rolls and offcuts, is all there, and is the
/// plan in the end; the search is not led elsewhere by being looked at.
#[test]
fn layouts_are_drawn_as_they_are_and_looking_changes_nothing() {
    let jobs = two_cloths();
    let cloth = &jobs[0].cloths[jobs[0].layers[0].cloth];
    let mut stock = Snapshot::empty(Day::parse("2026-11-25").unwrap());
    let facts = serde_json::json!({
        "id": "off-1", "cloth": cloth.id, "added": "2026-11-20",
        "outline": [[0, 0], [700, 0], [700, 600], [0, 600]],
    });
    stock.offcuts.push(Offcut::new(serde_json::from_value(facts).unwrap()).unwrap());
    let run = Run::new(Stop::Effort(1)).with_threads(1);
    let alone = planner::plan_from_stock(&jobs, &stock, 1, &run).unwrap();
    let watcher = Watcher { wanted: AtomicU32::new(u32::MAX), ..Watcher::default() };
    let watched = planner::plan_from_stock(&jobs, &stock, 1, &run.with_observer(&watcher)).unwrap();
    assert_eq!(alone.plan(), watched.plan());
    let drawn = watcher.drawn.into_inner().unwrap();
    let settled = watcher.settled.into_inner().unwrap();
    assert_eq!((drawn.len(), settled.len()), (2, 2), "a ground for each cloth");
    for (ground, layout) in &settled {
        let stocks: Vec<_> =
            watched.plan().stocks.iter().filter(|s| s.cloth == ground.cloth).collect();
        let ids: Vec<&str> = ground.stocks.iter().map(|s| s.id.as_str()).collect();
        assert_eq!(ids, stocks.iter().map(|s| s.id.as_str()).collect::<Vec<_>>());
        let kept: usize = stocks.iter().map(|s| s.offcuts.len()).sum();
        assert_eq!(layout.left.len(), kept, "all left-overs worth keeping are drawn");
        assert_eq!(layout.lying.len(), stocks.iter().map(|s| s.placed.len()).sum::<usize>());
    }
    assert_eq!(drawn[0].0.stocks[0].id, "off-1");
    for (ground, layouts) in &drawn {
        assert!(!layouts.is_empty(), "{}", ground.cloth);
        let stocks: Vec<_> =
            watched.plan().stocks.iter().filter(|s| s.cloth == ground.cloth).collect();
        let count: usize = stocks.iter().map(|s| s.placed.len()).sum();
        for lying in layouts {
            assert_eq!(lying.len(), count);
            for l in lying {
                let stock = &ground.stocks[l.stock];
                let motion = Motion::new(l.turn, l.down, point(l.x, l.y));
                for p in &ground.pieces[l.piece].rings[0] {
                    let p = motion.apply(point(p[0], p[1]));
                    let inside = p.x > -0.2 && p.y > stock.selvedge - 0.2;
                    assert!(inside && p.y < stock.width - stock.selvedge + 0.2, "{p:?}");
                }
            }
        }
        let placed = |l: &Lying| {
            let number = &ground.pieces[l.piece].number;
            let id = &ground.stocks[l.stock].id;
            let all = stocks.iter().filter(|s| s.id == *id).flat_map(|s| &s.placed);
            let piece = |name: &str| watched.plan().pieces.iter().find(|p| p.piece == name);
            all.filter(|p| (p.copy, p.x, p.y) == (l.copy + 1, l.x, l.y))
                .any(|p| piece(&p.piece).is_some_and(|p| p.number == *number))
        };
        assert!(layouts.iter().any(|l| l.iter().all(placed)), "the plan itself was drawn");
    }
}

/// Nobody looks: no layout is made.
#[test]
fn a_layout_is_handed_over_only_to_who_wants_it() {
    let jobs = two_cloths();
    let watcher = Watcher { wanted: AtomicU32::new(1), ..Watcher::default() };
    let run = Run::new(Stop::Effort(0)).with_threads(1);
    planner::plan(&jobs, 1, &run.with_observer(&watcher)).unwrap();
    let drawn = watcher.drawn.into_inner().unwrap();
    assert_eq!(drawn.iter().map(|d| d.1.len()).collect::<Vec<_>>(), [1, 0]);
}
