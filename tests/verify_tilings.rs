//! Perfect tilings at gap 0: the checker accepts them, and refuses them with any piece one
//! micrometre out of place.
#![allow(clippy::unwrap_used)]

mod verify_support;

use verify_support::{accepted, nudge, rectangle, refused, tiling};
use warpwise::geometry::{Ring, point, ring_area};
use warpwise::verify::verify;

/// Squares from the sides listed row by row: each goes to the lowest free place, leftmost of these.
fn squared(width: u32, sides: &[u32], unit: f64) -> Vec<Ring> {
    let mut heights = vec![0_u32; width as usize];
    let mut squares = Vec::new();
    for &side in sides {
        let lowest = *heights.iter().min().unwrap();
        let at = heights.iter().position(|&h| h == lowest).unwrap();
        let span = &mut heights[at..at + side as usize];
        assert!(span.iter().all(|&h| h == lowest), "the sides do not tile");
        span.fill(lowest + side);
        squares.push(rectangle(
            at as f64 * unit,
            f64::from(lowest) * unit,
            f64::from(side) * unit,
            f64::from(side) * unit,
        ));
    }
    assert!(heights.iter().all(|&h| h == heights[0]), "the sides do not end level");
    squares
}

/// Accepts the tiling, finds nothing left over, and refuses every nudge of every piece.
fn holds(width: f64, length: f64, shapes: &[Ring]) {
    let plan = tiling(width, length, shapes);
    accepted(&plan);
    let figures = &plan.cloths[0];
    let total: f64 = shapes.iter().map(|s| ring_area(s).abs()).sum();
    assert!((total - width * length).abs() < 1e-6);
    assert_eq!(
        (figures.pieces_area, figures.offcuts_area, figures.waste_area),
        (width * length, 0.0, 0.0)
    );
    assert_eq!(figures.yield_, 1.0);
    for i in 0..shapes.len() {
        for (dx, dy) in [(0.001, 0.0), (-0.001, 0.0), (0.0, 0.001), (0.0, -0.001)] {
            let faults = verify(nudge(&plan, 0, i, dx, dy)).unwrap_err().to_string();
            assert!(
                faults.contains("overlap by") || faults.contains("out of the cloth"),
                "piece {i}: {faults}"
            );
        }
    }
}

/// From memory, checked by adding up the tiling.
#[test]
fn squared_rectangle_33_by_32() {
    holds(320.0, 330.0, &squared(33, &[18, 15, 7, 8, 14, 4, 10, 1, 9], 10.0));
}

/// squaring.net, checked by adding up the tiling.
#[test]
fn squared_rectangle_69_by_61() {
    holds(610.0, 690.0, &squared(69, &[36, 33, 5, 28, 25, 9, 2, 7, 16], 10.0));
}

/// OEIS A014530, citing Duijvestijn 1978.
#[test]
fn squared_square_112() {
    let sides = [50, 35, 27, 8, 19, 15, 17, 11, 6, 24, 29, 25, 9, 2, 7, 18, 16, 42, 4, 37, 33];
    holds(1120.0, 1120.0, &squared(112, &sides, 10.0));
}

/// Coordinates computed by a separate script; slanted edges in contact.
#[test]
fn tangram() {
    let shapes: [&[(f64, f64)]; 7] = [
        &[(0., 0.), (4., 0.), (2., 2.)],
        &[(0., 0.), (2., 2.), (0., 4.)],
        &[(4., 4.), (2., 4.), (4., 2.)],
        &[(4., 0.), (4., 2.), (3., 1.)],
        &[(2., 2.), (3., 1.), (4., 2.), (3., 3.)],
        &[(2., 2.), (3., 3.), (1., 3.)],
        &[(0., 4.), (1., 3.), (3., 3.), (2., 4.)],
    ];
    let rings: Vec<Ring> = shapes
        .iter()
        .map(|s| s.iter().map(|&(x, y)| point(x * 100.0, y * 100.0)).collect())
        .collect();
    let areas: Vec<f64> = rings.iter().map(|r| ring_area(r).abs() / 10_000.0).collect();
    assert_eq!(areas, [4.0, 4.0, 2.0, 1.0, 2.0, 1.0, 2.0]);
    holds(400.0, 400.0, &rings);
}

/// In contact is not apart: the same tiling with a gap asked for.
#[test]
fn contact_breaks_a_gap() {
    let mut plan = tiling(320.0, 330.0, &squared(33, &[18, 15, 7, 8, 14, 4, 10, 1, 9], 10.0));
    plan.rules.gap = 0.001;
    refused(plan.sealed(), "0.001 mm less than the gap");
}
