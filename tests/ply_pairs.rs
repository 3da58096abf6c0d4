//! Left and right parts that were drawn each by itself: the lines of a visible twill are mirror
//! images where the job says that they are a pair, and a warning comes where it does not. A line's
//! mirror image is worked out on its points, which needs no rule of the crate's.
#![allow(clippy::unwrap_used)]

mod plan_schema;

use std::path::{Path, PathBuf};
use warpwise::job::{self, Job};
use warpwise::plan::{OtherHand, Plan, PlanPiece};
use warpwise::planner;
use warpwise::run::{Run, Stop};
use warpwise::verify::verify;

const CLOTH: &str = "[cutting]\ntrim = 20\n[[cloth]]\nid = \"twill\"\nweave = \"twill 2/2\"\ntwill_line = 45\nup = \"paper\"\nroll_width = 1000\n\
                     selvedge = 10\n";

/// A drawing of a side panel, as it is or mirrored about its arrow, and somewhere else on the
/// paper.
fn draw(dir: &Path, name: &str, mirrored: bool, symmetric: bool) {
    let points: &[(f64, f64)] = match symmetric {
        true => &[(0.0, -50.0), (300.0, -80.0), (300.0, 80.0), (0.0, 50.0)],
        false => &[(0.0, 0.0), (320.0, 20.0), (290.0, 140.0), (40.0, 90.0)],
    };
    let sign = if mirrored { -1.0 } else { 1.0 };
    let mut rows: Vec<String> =
        points.iter().map(|(x, y)| format!("{},{}", x + 70.0 * sign, sign * y + 15.0)).collect();
    if mirrored {
        rows.reverse();
    }
    std::fs::write(dir.join(name), format!("# unit: mm\nx,y\n{}\n", rows.join("\n"))).unwrap();
}

fn template(id: &str, more: &str) -> String {
    format!(
        "[[template]]\nid = \"{id}\"\nfile = \"{id}.csv\"\narrow = 0\ntaken_off = \"mould\"\ninked_side = \"up\"\n{more}"
    )
}

fn layer(angle: f64, seen: &str, templates: &str) -> String {
    format!(
        "[[layer]]\ncloth = \"twill\"\nangle = {angle}\nseen = \"{seen}\"\ntemplates = [{templates}]\n"
    )
}

/// A folder with the job `left` and a job `right`, each of its own drawing.
fn two_jobs(dir: &Path, angles: [f64; 2], says: &str, symmetric: bool) -> Vec<Job> {
    draw(dir, "left.csv", false, symmetric);
    draw(dir, "right.csv", true, symmetric);
    let files: Vec<PathBuf> = ["left", "right"]
        .iter()
        .zip(angles)
        .map(|(name, angle)| {
            let head =
                format!("[job]\nname = \"{name}\"\n{}", if *name == "right" { says } else { "" });
            let layers = layer(angle, "mould side", &format!("\"{name}\""))
                + &layer(angle, "hidden", &format!("\"{name}\""));
            let file = dir.join(format!("{name}.toml"));
            std::fs::write(&file, head + CLOTH + &template(name, "") + &layers).unwrap();
            file
        })
        .collect();
    job::load_all(&files, &Run::default()).unwrap_or_else(|f| panic!("{f}")).0
}

fn one_job(dir: &Path, says: &str, layers: &str) -> Result<Job, String> {
    draw(dir, "left.csv", false, false);
    draw(dir, "right.csv", true, false);
    let file = dir.join("job.toml");
    let text = format!(
        "[job]\nname = \"pair\"\n{CLOTH}{}{}{layers}",
        template("left", ""),
        template("right", says)
    );
    std::fs::write(&file, text).unwrap();
    job::load(&file).map(|j| j.0).map_err(|f| f.to_string())
}

fn planned(jobs: &[Job]) -> Plan {
    let run = Run::new(Stop::Effort(0)).with_threads(1);
    let plan = planner::plan(jobs, 1, &run).unwrap().into_plan();
    plan_schema::keeps_to_schema(&plan);
    plan
}

fn ply<'p>(plan: &'p Plan, template: &str, layer: usize) -> &'p PlanPiece {
    plan.pieces.iter().find(|p| p.template == template && p.layer == layer).unwrap()
}

/// A point on the twill's line through the origin, the part's 0° along +x: 45° on from the warp.
fn on_line(piece: &PlanPiece) -> (f64, f64) {
    let (sin, cos) = (piece.angle + 45.0).to_radians().sin_cos();
    (cos, sin)
}

/// True if the one line, each point of it mirrored about the x axis, is the other.
fn mirrored(a: &PlanPiece, b: &PlanPiece) -> bool {
    let ((ax, ay), (bx, by)) = (on_line(a), on_line(b));
    (ax * by - -ay * bx).abs() < 1e-9
}

/// Structurally a balanced cloth is the same a quarter turn on.
fn same_structure(angle: f64, other: f64) -> bool {
    let off = (angle - other).rem_euclid(90.0);
    off.min(90.0 - off) < 1e-9
}

fn warned(plan: &Plan) -> Vec<&String> {
    plan.warnings.iter().filter(|w| w.contains("mirror image")).collect()
}

/// A left and a right part as two jobs showed the twill in the same line.
#[test]
fn two_jobs_said_to_be_a_pair_show_mirrored_lines() {
    for [left, right] in [
        [0.0, 0.0],
        [90.0, 90.0],
        [45.0, 45.0],
        [45.0, -45.0],
        [30.0, -30.0],
        [-20.0, 20.0],
        [0.0, 90.0],
        [30.0, 60.0],
    ] {
        let dir = tempfile::tempdir().unwrap();
        let jobs = two_jobs(dir.path(), [left, right], "other_hand_of = \"left\"\n", false);
        let plan = planned(&jobs);
        let (a, b) = (ply(&plan, "left", 1), ply(&plan, "right", 1));
        assert!(mirrored(a, b), "{left} and {right}: laid at {} and {}", a.angle, b.angle);
        assert!(
            same_structure(a.angle, left) && same_structure(b.angle, right),
            "the structure is as the jobs say"
        );
        assert_eq!(
            (ply(&plan, "left", 2).angle, ply(&plan, "right", 2).angle),
            (left, right),
            "what is hidden is laid as the job says"
        );
        assert!(warned(&plan).is_empty(), "{:?}", plan.warnings);
    }
}

#[test]
fn a_pair_whose_angles_are_no_mirror_images_is_warned_of_and_left_as_it_is() {
    let dir = tempfile::tempdir().unwrap();
    let plan = planned(&two_jobs(dir.path(), [30.0, 20.0], "other_hand_of = \"left\"\n", false));
    assert_eq!((ply(&plan, "left", 1).angle, ply(&plan, "right", 1).angle), (30.0, 20.0));
    assert!(
        warned(&plan).iter().any(|w| w.contains("not the mirror image of layer 1 of `left`")),
        "{:?}",
        plan.warnings
    );
}

#[test]
fn a_hand_planned_without_the_other_is_warned_of() {
    let dir = tempfile::tempdir().unwrap();
    let jobs = two_jobs(dir.path(), [0.0, 0.0], "other_hand_of = \"left\"\n", false);
    let plan = planned(&jobs[1..]);
    assert!(plan.warnings.iter().any(|w| w.contains("not planned with it")), "{:?}", plan.warnings);
    assert!(plan.other_hands.is_empty());
}

#[test]
fn two_visible_parts_that_look_like_a_pair_are_warned_of_if_nothing_is_said() {
    let dir = tempfile::tempdir().unwrap();
    let plan = planned(&two_jobs(dir.path(), [0.0, 0.0], "", false));
    assert!(!mirrored(ply(&plan, "left", 1), ply(&plan, "right", 1)));
    let said = warned(&plan);
    assert!(
        said.len() == 1
            && said[0].contains("right looks like the mirror image of left")
            && said[0].contains("other_hand_of"),
        "{said:?}"
    );
    // At 45° both show a line along or across the part, which is its own mirror image.
    assert!(warned(&planned(&two_jobs(dir.path(), [45.0, 45.0], "", false))).is_empty());
    // A part that is its own mirror image looks like a copy.
    assert!(warned(&planned(&two_jobs(dir.path(), [0.0, 0.0], "", true))).is_empty());
    // In one job too, until the template says it or the layer wants it so.
    let both = layer(0.0, "mould side", "\"left\", \"right\"");
    assert_eq!(warned(&planned(&[one_job(dir.path(), "", &both).unwrap()])).len(), 1);
    assert!(
        warned(&planned(&[one_job(dir.path(), "other_hand_of = \"left\"\n", &both).unwrap()]))
            .is_empty()
    );
    let same_line = both.replace("templates", "book_match = false\ntemplates");
    assert!(warned(&planned(&[one_job(dir.path(), "", &same_line).unwrap()])).is_empty());
}

/// Two templates that are each other's mirror image are laid as `hands = "both"` lays one template.
#[test]
fn two_templates_in_one_layer_are_laid_as_both_hands_of_one() {
    for angle in [0.0, 30.0, 45.0, -70.0] {
        let dir = tempfile::tempdir().unwrap();
        let layers = layer(angle, "mould side", "\"right\", \"left\"")
            + &layer(angle, "hidden", "\"left\", \"right\"");
        let plan = planned(&[one_job(dir.path(), "other_hand_of = \"left\"\n", &layers).unwrap()]);
        let both = layer(angle, "mould side", "{ template = \"left\", hands = \"both\" }")
            + &layer(angle, "hidden", "{ template = \"left\", hands = \"both\" }, \"right\"");
        let one = planned(&[one_job(dir.path(), "", &both).unwrap()]);
        for number in [1, 2] {
            let wanted: Vec<f64> = one
                .pieces
                .iter()
                .filter(|p| p.layer == number && p.template == "left")
                .map(|p| p.angle)
                .collect();
            assert_eq!(
                vec![ply(&plan, "left", number).angle, ply(&plan, "right", number).angle],
                wanted,
                "{angle}, layer {number}"
            );
        }
        assert!(mirrored(ply(&plan, "left", 1), ply(&plan, "right", 1)));
    }
}

#[test]
fn two_templates_in_layers_of_their_own_keep_their_angles_but_for_a_quarter_turn() {
    for (left, right) in [(0.0, 0.0), (30.0, -30.0), (45.0, 45.0)] {
        let dir = tempfile::tempdir().unwrap();
        let layers =
            layer(left, "mould side", "\"left\"") + &layer(right, "mould side", "\"right\"");
        let plan = planned(&[one_job(dir.path(), "other_hand_of = \"left\"\n", &layers).unwrap()]);
        let (a, b) = (ply(&plan, "left", 1), ply(&plan, "right", 2));
        assert!(
            mirrored(a, b) && a.angle == left && same_structure(b.angle, right),
            "{} {}",
            a.angle,
            b.angle
        );
    }
}

#[test]
fn the_verifier_refuses_a_pair_that_shows_the_same_line() {
    let dir = tempfile::tempdir().unwrap();
    let mut plan = planned(&two_jobs(dir.path(), [0.0, 0.0], "", false));
    plan.other_hands.push(OtherHand { job: "right".into(), of: "left".into() });
    let faults = verify(plan.sealed()).unwrap_err().to_string();
    assert!(faults.contains("shows its line 90.0 degrees off that of ply left/1-left"), "{faults}");
    let both = layer(0.0, "mould side", "\"left\"") + &layer(0.0, "mould side", "\"right\"");
    let mut plan = planned(&[one_job(dir.path(), "", &both).unwrap()]);
    plan.templates.iter_mut().find(|t| t.template == "right").unwrap().other_hand_of =
        Some("left".into());
    let faults = verify(plan.sealed()).unwrap_err().to_string();
    assert!(faults.contains("shows its line 90.0 degrees off"), "{faults}");
}

#[test]
fn a_pair_that_names_nobody_itself_or_in_a_ring_is_a_fault() {
    let dir = tempfile::tempdir().unwrap();
    let both = layer(0.0, "mould side", "\"left\", \"right\"");
    let faults = |says: &str| one_job(dir.path(), says, &both).unwrap_err();
    assert!(faults("other_hand_of = \"lefd\"\n").contains("did you mean \"left\""));
    assert!(faults("other_hand_of = \"right\"\n").contains("is the template itself"));
    let jobs = two_jobs(dir.path(), [0.0, 0.0], "", false);
    let mut ring = jobs.clone();
    ring[0].other_hand_of = Some("right".into());
    ring[1].other_hand_of = Some("left".into());
    assert!(job::agree(&ring).unwrap_err().to_string().contains("is itself the other hand"));
}
