//! Properties that preparation keeps on outlines nobody drew.
#![allow(clippy::unwrap_used)]

mod ply_support;

use ply_support::*;
use proptest::prelude::*;
use proptest::test_runner::RngSeed;
use warpwise::cloth::Weave;
use warpwise::geometry::boolean::{difference, intersection, union};
use warpwise::geometry::{Motion, Point, Region, Ring, point, ring_area};
use warpwise::job::{Hands, Job, TakenOff};
use warpwise::outline::{Draft, EdgeKind};
use warpwise::ply::Piece;

/// A star-shaped outline: corners at rising angles, each at a distance of its own.
fn star() -> impl Strategy<Value = Ring> {
    prop::collection::vec((0.3f64..1.0, 60.0f64..400.0), 4..16).prop_map(|corners| {
        let total: f64 = corners.iter().map(|c| c.0).sum();
        let mut angle = 0.0;
        let mut net = Ring::new();
        for (share, radius) in corners {
            angle += share / total * std::f64::consts::TAU;
            net.push(point(radius * angle.cos(), radius * angle.sin()).snapped());
        }
        net
    })
}

/// A convex outline: corners on an ellipse.
fn convex() -> impl Strategy<Value = Ring> {
    (prop::collection::vec(0.3f64..1.0, 4..12), 100.0f64..400.0, 100.0f64..400.0).prop_map(
        |(shares, a, b)| {
            let total: f64 = shares.iter().sum();
            let mut angle = 0.0;
            shares
                .iter()
                .map(|share| {
                    angle += share / total * std::f64::consts::TAU;
                    point(a * angle.cos(), b * angle.sin()).snapped()
                })
                .collect()
        },
    )
}

fn kinds(count: usize) -> impl Strategy<Value = Vec<Option<EdgeKind>>> {
    let kind = prop_oneof![
        Just(None),
        Just(Some(EdgeKind::Lap)),
        Just(Some(EdgeKind::Butt)),
        Just(Some(EdgeKind::Dart))
    ];
    prop::collection::vec(kind, count)
}

fn star_with_kinds() -> impl Strategy<Value = (Ring, Vec<Option<EdgeKind>>)> {
    star().prop_flat_map(|net| {
        let n = net.len();
        (Just(net), kinds(n))
    })
}

fn one(net: Ring, edges: Vec<Option<EdgeKind>>, arrow: f64, angle: f64) -> Job {
    let mut t = template("seat", Draft { net, edges, ..Draft::default() });
    t.arrow = arrow;
    job(Weave::Plain, vec![t], vec![layer(angle, &[0])])
}

fn perimeter(ring: &[Point]) -> f64 {
    (0..ring.len()).map(|i| ring[i].distance(ring[(i + 1) % ring.len()])).sum()
}

fn distance_to(region: &Region, p: Point) -> f64 {
    let edges =
        region.rings().flat_map(|r| (0..r.len()).map(move |i| (r[i], r[(i + 1) % r.len()])));
    edges.map(|(a, b)| p.distance_to_segment(a, b)).fold(f64::INFINITY, f64::min)
}

fn area(regions: &[Region]) -> f64 {
    regions.iter().map(Region::area).sum()
}

/// Less than this is rounding to the grid, mm² for a boundary of this length.
fn rounding(piece: &Piece) -> f64 {
    0.003 * perimeter(&piece.outline.outline)
}

/// Everything between two heights.
fn window(from: f64, to: f64) -> Ring {
    [(-1.0, from), (1e4, from), (1e4, to), (-1.0, to)].iter().map(|&(x, y)| point(x, y)).collect()
}

fn config() -> ProptestConfig {
    ProptestConfig {
        cases: 200,
        rng_seed: RngSeed::Fixed(20),
        failure_persistence: None,
        ..ProptestConfig::default()
    }
}

proptest! {
    #![proptest_config(config())]

    #[test]
    fn the_outline_contains_the_net((net, edges) in star_with_kinds(), arrow in -180.0f64..180.0, angle in -90.0f64..90.0) {
        let found = prepared(&one(net, edges, arrow, angle));
        let piece = &found.pieces[0];
        let outside = area(&difference(&piece.net, piece.outline.rings()));
        prop_assert!(outside < rounding(piece), "{outside}");
        // The pieces' rings are simple: putting them through the union changes nothing.
        let again = union(piece.outline.rings());
        prop_assert_eq!(again.len(), 1);
        prop_assert!((area(&again) - piece.outline.area()).abs() < 1e-6);
    }

    #[test]
    fn nothing_grows_farther_than_its_allowance((net, edges) in star_with_kinds()) {
        let found = prepared(&one(net, edges, 0.0, 0.0));
        let piece = &found.pieces[0];
        // The joins of `offset`: no mitre reaches farther than this.
        for p in &piece.outline.outline {
            let near = distance_to(&Region::solid(piece.net[0].clone()), *p);
            prop_assert!(near <= 25.0 * warpwise::geometry::offset::MITRE_REACH + 0.06, "{near}");
        }
    }

    #[test]
    fn trim_is_never_short(net in star(), arrow in -180.0f64..180.0) {
        let found = prepared(&one(net, Vec::new(), arrow, 30.0));
        let piece = &found.pieces[0];
        let ring = &piece.net[0];
        for i in 0..ring.len() {
            for share in [0.0, 0.25, 0.5] {
                let p = ring[i] + (ring[(i + 1) % ring.len()] - ring[i]) * share;
                let least = distance_to(&piece.outline, p);
                prop_assert!(least >= 25.0 - 0.003, "{least}");
            }
        }
    }

    #[test]
    fn a_convex_outline_grows_by_exactly_the_trim(net in convex(), arrow in -180.0f64..180.0) {
        let found = prepared(&one(net, Vec::new(), arrow, 30.0));
        let piece = &found.pieces[0];
        let ring = &piece.net[0];
        for i in 0..ring.len() {
            let middle = (ring[i] + ring[(i + 1) % ring.len()]) * 0.5;
            let off = distance_to(&piece.outline, middle) - 25.0;
            prop_assert!(off.abs() < 0.003, "{off}");
        }
        // Steiner's formula from below (rounded) and above (mitred).
        let round = ring_area(ring) + 25.0 * perimeter(ring) + std::f64::consts::PI * 625.0;
        let found = piece.outline.area();
        prop_assert!(found > round - rounding(piece) && found < round + 0.5 * 625.0 * ring.len() as f64, "{found} {round}");
    }

    #[test]
    fn the_other_hand_of_the_other_hand_is_as_traced((net, edges) in star_with_kinds(), arrow in -180.0f64..180.0, angle in -89.0f64..89.0) {
        let once = prepared(&one(net.clone(), edges.clone(), arrow, angle));
        let mut twice = one(net, edges, arrow, -angle);
        twice.templates[0].taken_off = TakenOff::Plug;
        twice.layers[0].items[0].hands = Hands::Mirrored;
        let twice = prepared(&twice);
        prop_assert_eq!(once.pieces[0].angle, twice.pieces[0].angle);
        let off = ring_difference(&once.pieces[0].net[0], &twice.pieces[0].net[0]);
        prop_assert!(off < 0.003, "{off}");
        prop_assert!((once.pieces[0].outline.area() - twice.pieces[0].outline.area()).abs() < rounding(&once.pieces[0]));
    }

    #[test]
    fn the_mirrored_hand_has_the_mirrored_outline((net, edges) in star_with_kinds(), arrow in -180.0f64..180.0, angle in -89.0f64..89.0) {
        let mut both = one(net, edges, arrow, angle);
        both.layers[0].items[0].hands = Hands::Both;
        let found = prepared(&both);
        // At -angle the mirrored hand on the cloth is the first hand turned over about the warp.
        let over: Ring = found.pieces[0].net[0].iter().map(|p| point(p.x, -p.y)).collect();
        let off = ring_difference(&over, &found.pieces[1].net[0]);
        prop_assert!(off < 0.002, "{off}");
        prop_assert!((found.pieces[0].outline.area() - found.pieces[1].outline.area()).abs() < rounding(&found.pieces[0]));
    }

    #[test]
    fn the_arrow_lies_inside_in_its_direction((net, edges) in star_with_kinds(), arrow in -180.0f64..180.0, angle in -89.0f64..89.0) {
        let found = prepared(&one(net, edges, arrow, angle));
        let piece = &found.pieces[0];
        let [tail, head] = piece.arrow;
        let off = ((head - tail).direction() + angle + 540.0).rem_euclid(360.0) - 180.0;
        prop_assert!(off.abs() < 0.05, "{off}");
        for k in 0..=10 {
            let p = tail + (head - tail) * (k as f64 / 10.0);
            prop_assert!(warpwise::geometry::clip::contains(&piece.outline, p));
        }
    }

    #[test]
    fn parts_cover_the_ply_and_overlap_by_exactly_the_lap(net in star(), angle in -89.0f64..89.0) {
        let big: Ring = net.iter().map(|p| *p * 3.0).collect();
        let mut split = one(big, Vec::new(), 0.0, angle);
        split.cloths[0].weave = Weave::Satin;
        split.cloths[0].roll_width = 820.0;
        split.splice = Some(splice_rule());
        let mut whole = split.clone();
        whole.cloths[0].roll_width = 10_000.0;
        let (split, whole) = (prepared(&split), prepared(&whole));
        let ply = &whole.pieces[0];
        prop_assume!(!split.splices.is_empty());
        // All in the frame of the whole ply: the parts by their origins, the splice lines from the
        // template frame.
        let moved = |p: &Piece| Motion::new(0.0, false, ply.origin - p.origin).region(&p.outline);
        let parts: Vec<Region> = split.pieces.iter().map(moved).collect();
        let heights: Vec<f64> = split.splices.iter().map(|(_, _, line)| Motion::turn(-angle).apply(line[0]).y + ply.origin.y).collect();
        let together = union(parts.iter().flat_map(|p| p.rings()));
        let rings: Vec<&Ring> = together.iter().flat_map(|r| r.rings()).collect();
        let missing = area(&difference(ply.outline.rings(), rings.iter().copied()));
        let beyond = area(&difference(rings.iter().copied(), ply.outline.rings()));
        prop_assert!(missing < 4.0 * rounding(ply) && beyond < 4.0 * rounding(ply), "{missing} {beyond}");
        // What is covered twice lies in the laps.
        let twice = parts.iter().map(Region::area).sum::<f64>() - area(&together);
        let bands: Vec<Ring> = heights.iter().map(|y| window(y - 25.0, *y)).collect();
        let in_bands = area(&intersection(ply.outline.rings(), &bands));
        prop_assert!(twice < in_bands + 4.0 * rounding(ply), "{twice} {in_bands}");
        // Bottom up: each slab's parts have the area of the ply between its lines, the later
        // carrying the lap. A tip of the ply that ends within the lap is no part: the earlier one
        // covers it.
        let slab = |from: f64, line: f64, to: f64| {
            let parts = intersection(ply.outline.rings(), [&window(from, to)]);
            area(&parts.into_iter().filter(|p| p.bounds().unwrap().max.y > line + 0.002).collect::<Vec<_>>())
        };
        let mut lines = vec![-1.0];
        lines.extend(&heights);
        lines.push(1e4);
        let slabs: Vec<f64> = lines.windows(2).map(|w| slab(w[0] - 25.0, w[0], w[1])).collect();
        let mut found = split.pieces.iter().map(|p| p.outline.area());
        for expected in slabs {
            let mut sum = 0.0;
            while expected - sum > 4.0 * rounding(ply) {
                sum += found.next().ok_or_else(|| TestCaseError::fail("a part is missing"))?;
            }
            prop_assert!((sum - expected).abs() < 4.0 * rounding(ply), "{sum} {expected}");
        }
        prop_assert!(found.next().is_none());
        prop_assert!(split.pieces.iter().all(|p| p.outline.bounds().unwrap().height() <= 800.0005));
    }

    /// From 0.1 mm to 100 m, whatever the allowance, width and lap: an answer or faults, never a
    /// panic.
    #[test]
    fn any_size_gives_pieces_or_faults(
        (net, edges) in star_with_kinds(),
        exponent in -3.6f64..2.39,
        (trim, lap, width) in (0.0f64..300.0, 0.0f64..60.0, 5.0f64..3000.0),
        (angle, tolerance) in (-180.0f64..180.0, 0.0f64..5.0),
    ) {
        let net: Ring = net.iter().map(|p| (*p * 10f64.powf(exponent)).snapped()).collect();
        prop_assume!(ring_area(&net) > 0.0);
        let mut any = one(net, edges, 17.0, angle);
        (any.layers[0].trim, any.layers[0].lap, any.layers[0].angle_tolerance) = (trim, lap, tolerance);
        any.cloths[0].roll_width = width + 20.0;
        any.layers[0].seen = warpwise::job::Seen::MouldSide;
        any.layers.push(any.layers[0].clone());
        any.splice = Some(warpwise::job::SpliceRule { lap, ..splice_rule() });
        match warpwise::ply::prepare(&any) {
            Ok(found) => prop_assert!(found.pieces.len() >= 2 && found.pieces.iter().all(|p| p.outline.area() > 0.0)),
            Err(faults) => prop_assert!(!faults.is_empty()),
        }
    }
}
