//! The examples do what they say.
#![allow(clippy::unwrap_used)]

#[path = "../examples/book_and_undo.rs"]
mod book_and_undo;
#[path = "../examples/nest_and_watch.rs"]
mod nest_and_watch;
#[path = "../examples/print_plies.rs"]
mod print_plies;
#[path = "../examples/trace_with_a_hint.rs"]
mod trace_with_a_hint;
#[path = "../examples/verify_a_plan.rs"]
mod verify_a_plan;

use std::path::Path;
use warpwise::geometry::{point, ring_area};
use warpwise::ledger::Moment;
use warpwise::outline::{ReadOptions, read_file};
use warpwise::stock::Day;

const STRIPS: &str = "[job]\nname = \"s\"\n[cutting]\ngap = 2\n[[cloth]]\nid = \"c\"\nweave = \"plain\"\nup = \"paper\"\nroll_width = 500\nselvedge = 10\n[[strip]]\nid = \"tape\"\nlength = 300\nwidth = 70\n[[layer]]\ncloth = \"c\"\nangle = 0\ntemplates = [{ template = \"tape\", copies = 9 }]\n";

#[test]
fn plies_are_printed_with_size_and_turns() {
    let lines = print_plies::plies(Path::new("demo-data/job.toml")).unwrap();
    let tape = lines.iter().find(|l| l.contains("joint-tape")).unwrap();
    // A strip of 900 by 60 mm on the bias: (900 + 60) / √2 either way.
    assert!(tape.contains("679 × 679 mm, 6 of it"), "{tape}");
}

#[test]
fn lengths_are_heard_and_a_plan_of_ones_own_is_verified() {
    let folder = tempfile::tempdir().unwrap();
    let job = folder.path().join("job.toml");
    std::fs::write(&job, STRIPS).unwrap();
    let heard = nest_and_watch::lengths(&job, 2).unwrap();
    let last = heard.last().unwrap().1;
    assert!(heard.len() > 1 && heard.iter().all(|h| h.0 == "c" && h.1 >= last), "{heard:?}");

    let (job, _) = warpwise::job::load(&job).unwrap();
    let run = warpwise::run::Run::new(warpwise::run::Stop::Effort(0));
    let plan = warpwise::planner::plan(&[job], 1, &run).unwrap();
    let text = warpwise::plan::to_json(plan.plan());
    assert_eq!(verify_a_plan::verified(&text).unwrap().plan(), plan.plan());
    // A foreign hand moved the first piece onto its neighbour.
    let mut moved = plan.plan().clone();
    let placed = &mut moved.stocks[0].placed;
    let by = placed[1].outline[0] - placed[0].outline[0];
    placed[0].x += by.x;
    placed[0].y += by.y;
    placed[0].outline.iter_mut().for_each(|p| *p = *p + by);
    let text = warpwise::plan::to_json(&moved.sealed());
    assert!(verify_a_plan::verified(&text).is_err());
}

#[test]
fn a_photo_is_traced_with_no_need_of_its_hint() {
    let photo = std::fs::read("demo-data/heel-rest.jpg").unwrap();
    let file = Path::new("heel-rest.jpg");
    let tracing = trace_with_a_hint::traced(file, &photo, Some(point(1.0, 1.0))).unwrap();
    let drawn = read_file(Path::new("demo-data/heel-rest.svg"), &ReadOptions::default()).unwrap();
    let (found, known) = (&tracing.templates[0].net, drawn.outlines[0].net());
    assert!((ring_area(found) / ring_area(known) - 1.0).abs() < 0.002);
}

#[test]
fn tapes_are_booked_and_taken_back() {
    let stock = std::fs::read_to_string("demo-data/stock.json").unwrap();
    let day = Day::parse("2026-11-30").unwrap();
    let now = Moment { seconds: 1_796_040_000, day };
    let booked = book_and_undo::booked_and_undone(&stock, &now).unwrap();
    assert_eq!(booked.pieces, 4);
}
