//! Local patches that step back, held against inward buffers of the `geo` crate.
#![allow(clippy::unwrap_used)]

mod ply_support;

use geo::algorithm::buffer::{BufferStyle, LineJoin};
use geo::{Area, Buffer, LineString, Polygon};
use ply_support::*;
use warpwise::cloth::Weave;
use warpwise::geometry::{Ring, point, ring_area};
use warpwise::job::{Job, PatchShape, TemplateSource};
use warpwise::outline::EdgeKind;
use warpwise::planner;
use warpwise::run::{Run, Stop};

/// Patches as they are drawn: square, with rounded corners, round, notched, hand-drawn.
fn patches() -> Vec<(&'static str, Ring)> {
    let arc = |n: usize, f: &dyn Fn(f64) -> (f64, f64)| -> Ring {
        (0..n)
            .map(|k| f(std::f64::consts::TAU * k as f64 / n as f64))
            .map(|(x, y)| point(x + 300.0, y + 300.0).snapped())
            .collect()
    };
    let rounded = |t: f64| {
        let side = |c: f64, s: f64| c.signum() * s + 12.0 * c;
        (side(t.cos(), 58.0), side(t.sin(), 38.0))
    };
    vec![
        ("square", ring(&[(200., 200.), (330., 200.), (330., 310.), (200., 310.)])),
        ("rounded", arc(64, &rounded)),
        ("ellipse", arc(90, &|t| (81.3 * t.cos(), 52.9 * t.sin()))),
        (
            "notched",
            ring(&[
                (200., 200.),
                (330., 203.),
                (331., 310.),
                (271., 309.),
                (268., 282.),
                (262., 282.),
                (260., 309.),
                (200., 310.),
            ]),
        ),
        (
            "hand",
            arc(23, &|t| {
                ((70.0 + 6.0 * (5.0 * t).sin()) * t.cos(), (60.0 + 5.0 * (3.0 * t).cos()) * t.sin())
            }),
        ),
        (
            "tab",
            ring(&[
                (200., 200.),
                (320., 200.),
                (320., 235.),
                (360., 235.),
                (360., 245.),
                (320., 245.),
                (320., 280.),
                (200., 280.),
            ]),
        ),
        (
            "tee",
            ring(&[
                (200., 200.),
                (340., 200.),
                (340., 250.),
                (300., 251.),
                (299., 330.),
                (241., 330.),
                (240., 250.),
                (200., 250.),
            ]),
        ),
    ]
}

fn job_of(patch: &Ring, step_back: f64, layers: usize, turned: f64) -> Job {
    let mut t = plain_template("patch", patch.clone());
    t.source = TemplateSource::Patch {
        on: "plate".into(),
        shape: PatchShape::Polygon(patch.clone()),
        step_back,
    };
    t.edge = EdgeKind::Butt;
    job(
        Weave::Plain,
        vec![plain_template("plate", rectangle(600.0, 600.0)), t],
        (0..layers).map(|_| layer(turned, &[1])).collect(),
    )
}

/// Of steps of 3 to 8 mm those were refused that take a tab off: the edge that runs across its root
/// lies farther from the patch's net line in its middle than the step, as a cut line does that
/// bridges a bay.
#[test]
fn patches_step_back_by_any_amount_that_leaves_them_whole() {
    let run = Run::new(Stop::Effort(0)).with_threads(1);
    for (name, patch) in patches() {
        let whole =
            Polygon::new(LineString::from_iter(patch.iter().map(|p| (p.x, p.y))), Vec::new());
        for (k, step) in [3.0, 4.0, 5.0, 6.0, 7.0, 8.0, 0.7, 2.25].into_iter().enumerate() {
            let job = job_of(&patch, step, 4, [0.0, 45.0, 30.0][k % 3]);
            let found = prepared(&job);
            for (back, piece) in found.pieces.iter().enumerate() {
                let style = BufferStyle::new(-step * back as f64).line_join(LineJoin::Miter(0.5));
                let expected = whole.buffer_with_style(style).unsigned_area();
                let area = ring_area(&piece.net[0]);
                // Mitred or rounded, an inward corner takes 0.22 (a right angle's mitre) to 0.4
                // squares of the step.
                assert!(
                    (area - expected).abs() < 0.01 * expected + 4.0 * step,
                    "{name} {step} {back}: {area} {expected}"
                );
            }
            let planned = planner::plan(&[job], 1, &run);
            assert!(planned.is_ok(), "{name} {step}: {planned:?}");
        }
    }
}
