//! The worked case carried to the end: the F drawn as an SVG whose y runs down, a job file, a plan,
//! and the finished cut sheet, whose cut line and arrow must lie as `.ci/reference/worked_case.py`
//! computed from the rules alone.
#![allow(clippy::unwrap_used)]

mod plan_schema;

use serde_json::Value;
use std::fs;
use warpwise::geometry::{Point, Ring, point};
use warpwise::planner;
use warpwise::run::{Run, Stop};
use warpwise::{job, sheet};

/// The job of one case: butt edges, so that the cut line is the net line, and the only way to lie
/// is that of the case.
fn job_file(reference: &Value, case: &Value) -> String {
    let text = |name: &str| case[name].as_str().unwrap();
    let (arrow, angle, turn) = (&reference["arrow"], &reference["angle"], &case["turn"]);
    let seen = if case["visible"] == true { "mould side" } else { "hidden" };
    format!(
        "[job]\nname = \"worked case\"\n[[cloth]]\nid = \"twill\"\nweave = \"twill 2/2\"\ntwill_line = 45\nup = \"paper\"\nroll_width = 1250\n\
         selvedge = 10\n[[template]]\nid = \"f\"\nfile = \"f.svg\"\narrow = {arrow}\ntaken_off = \"{}\"\ninked_side = \"up\"\nedge = \"butt\"\n\
         hands = \"both\"\n[[layer]]\ncloth = \"twill\"\nangle = {angle}\nseen = \"{seen}\"\ntemplates = [\"f\"]\nturns = [{turn}]\nfaces = [\"{}\"]\n",
        text("taken_off"),
        text("face")
    )
}

/// The path of this id in a sheet, y turned up.
fn path(svg: &str, id: &str) -> Ring {
    let document = usvg::roxmltree::Document::parse(svg).unwrap();
    let node = document.descendants().find(|n| n.attribute("id") == Some(id)).unwrap();
    let numbers: Vec<f64> = node
        .attribute("d")
        .unwrap()
        .split(['M', 'L', 'Z', ' '])
        .filter_map(|word| word.parse().ok())
        .collect();
    numbers.chunks(2).map(|xy| point(xy[0], -xy[1])).collect()
}

fn from_corner(ring: &[Point]) -> Ring {
    let left = ring.iter().map(|p| p.x).fold(f64::INFINITY, f64::min);
    let low = ring.iter().map(|p| p.y).fold(f64::INFINITY, f64::min);
    ring.iter().map(|p| point(p.x - left, p.y - low)).collect()
}

/// Largest distance of the points of one ring from those of the other, mm, whichever the first
/// point and the way round.
fn off(found: &[Point], expected: &[Point]) -> f64 {
    assert_eq!(found.len(), expected.len());
    let (found, expected) = (from_corner(found), from_corner(expected));
    found
        .iter()
        .map(|p| expected.iter().map(|q| p.distance(*q)).fold(f64::INFINITY, f64::min))
        .fold(0.0, f64::max)
}

#[test]
fn finished_sheets_show_the_f_as_computed() {
    let reference: Value = serde_json::from_str(include_str!("data/worked_case.json")).unwrap();
    let dir = tempfile::tempdir().unwrap();
    fs::write(dir.path().join("f.svg"), reference["svg"].as_str().unwrap()).unwrap();
    let file = dir.path().join("job.toml");
    let run = Run::new(Stop::Effort(1)).with_threads(1);
    let cases = reference["cases"].as_array().unwrap();
    for case in cases {
        fs::write(&file, job_file(&reference, case)).unwrap();
        let (job, _) = job::load(&file).unwrap_or_else(|faults| panic!("{faults}"));
        let plan = planner::plan(&[job], 1, &run).unwrap();
        plan_schema::keeps_to_schema(plan.plan());
        let sheets = sheet::cut_sheets(&plan, None);
        assert_eq!(sheets.len(), 1);
        let svg = std::str::from_utf8(&sheets[0].bytes).unwrap();
        let wanted = if case["hand"] == "mirrored" { "1-f-mirrored" } else { "1-f" };
        let at = 1 + plan.plan().stocks[0].placed.iter().position(|p| p.piece == wanted).unwrap();
        let expected: Ring = serde_json::from_value(case["net"].clone()).unwrap();
        let worst = off(&path(svg, &format!("cut-{at}")), &expected);
        assert!(worst < 0.004, "{worst} mm off: {case}");
        let arrow = path(svg, &format!("arrow-{at}"));
        let turned = (arrow[1] - arrow[0]).direction() - case["arrow_direction"].as_f64().unwrap();
        assert!(
            ((turned + 540.0).rem_euclid(360.0) - 180.0).abs() < 0.1,
            "arrow {turned}° off: {case}"
        );
    }
    assert_eq!(cases.len(), 48);
}
