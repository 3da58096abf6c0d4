//! Windows near edges of every kind: what is cut, held against buffers of the `geo` crate.
#![allow(clippy::unwrap_used)]

mod ply_support;

use geo::algorithm::buffer::{BufferStyle, LineJoin};
use geo::{Area, BooleanOps, Buffer, LineString, MultiPolygon, Polygon, Rect, Rotate, Translate};
use ply_support::*;
use warpwise::cloth::Weave;
use warpwise::geometry::{Region, Ring, point};
use warpwise::outline::{Draft, EdgeKind};
use warpwise::planner;
use warpwise::run::{Run, Stop};

/// A plate of 300 by 200: trim of 25 below and left, a lap of 15 on the right, a butt edge on top.
const PLATE: (f64, f64) = (300.0, 200.0);

fn polygon(region: &Region) -> Polygon<f64> {
    let line = |r: &Ring| LineString::from_iter(r.iter().map(|p| (p.x, p.y)));
    Polygon::new(line(&region.outline), region.holes.iter().map(line).collect())
}

/// Squares, a bar, a trapezium and an L of a few sizes, about the origin.
fn shape(k: usize) -> Polygon<f64> {
    let s = [12.0, 18.0, 27.0, 36.0, 45.0, 58.0, 71.0][k % 7] / 2.0;
    let points: &[(f64, f64)] = match k % 4 {
        0 => &[(-1., -1.), (1., -1.), (1., 1.), (-1., 1.)],
        1 => &[(-1., -0.6), (1., -0.6), (1., 0.6), (-1., 0.6)],
        2 => &[(-1., -1.), (1., -1.), (0.5, 1.), (-0.5, 1.)],
        _ => &[(-1., -1.), (1., -1.), (1., 0.), (0., 0.), (0., 1.), (-1., 1.)],
    };
    Polygon::new(LineString::from_iter(points.iter().map(|&(x, y)| (x * s, y * s))), Vec::new())
}

/// 160 windows: near each edge, 1 to 34 mm off it, straight and turned, also in its corners.
fn windows() -> Vec<Polygon<f64>> {
    let mut windows = Vec::new();
    for k in 0..160 {
        let turned = shape(k).rotate_around_point(
            [0.0, 0.0, 17.0, 45.0, 90.0][k / 4 % 5],
            geo::Point::new(0.0, 0.0),
        );
        let off = 1.0 + [0.0, 2.0, 4.0, 7.0, 11.0, 15.0, 22.0, 33.0][k / 20];
        let (xs, ys): (Vec<f64>, Vec<f64>) = turned.exterior().coords().map(|c| (c.x, c.y)).unzip();
        let (low, high) = (
            |v: &[f64]| v.iter().copied().fold(f64::INFINITY, f64::min),
            |v: &[f64]| v.iter().copied().fold(-1e9, f64::max),
        );
        let (left, below) = (off - low(&xs), off - low(&ys));
        let (right, above) = (PLATE.0 - off - high(&xs), PLATE.1 - off - high(&ys));
        let at = match k % 20 % 7 {
            0 => (150.0, below),
            1 => (right, 100.0),
            2 => (150.0, above),
            3 => (left, 100.0),
            4 => (right, above),
            5 => (left, above),
            _ => (right, below),
        };
        windows.push(turned.translate(at.0, at.1));
    }
    windows
}

#[test]
fn a_window_shrinks_within_itself_near_edges_of_every_kind() {
    let cut = MultiPolygon::from(Rect::new((-25.0, -25.0), (PLATE.0 + 15.0, PLATE.1)).to_polygon());
    let style = || BufferStyle::new(-25.0).line_join(LineJoin::Miter(0.1));
    for (k, window) in windows().iter().enumerate() {
        let mut hole: Ring =
            window.exterior().coords().map(|c| point(c.x, c.y).snapped()).collect();
        hole.pop();
        hole.reverse();
        let edges = vec![None, Some(EdgeKind::Lap), Some(EdgeKind::Butt), None];
        let t = template(
            "plate",
            Draft {
                net: rectangle(PLATE.0, PLATE.1),
                edges,
                holes: vec![hole],
                ..Draft::default()
            },
        );
        let job = job(Weave::Plain, vec![t], vec![layer(0.0, &[0])]);
        let found = prepared(&job);
        let piece = &found.pieces[0];
        let laid = polygon(&piece.outline).translate(-piece.origin.x, -piece.origin.y);
        // A window of the ply is cut its allowance smaller, by a buffer with mitred corners.
        let expected = cut.difference(&window.buffer_with_style(style()));
        let off = expected.xor(&MultiPolygon::from(laid)).unsigned_area();
        // Corners of less than 1 mm² are not cut.
        assert!(off < 1.5, "{k}: {off} mm² {window:?}");
        let run = Run::new(Stop::Effort(0)).with_threads(1);
        let planned = planner::plan(&[job], 1, &run);
        assert!(planned.is_ok(), "{k}: {planned:?}");
    }
}
