//! Geometry against slow, exact arithmetic: booleans by winding, growth and inset by distance, and
//! the search's layouts by crossings of edges.

use super::Bytes;
use super::exact::{Corner, corners, crosses_itself, distance, winding};
use warpwise::geometry::boolean::{difference, intersection, union};
use warpwise::geometry::offset::{MITRE_REACH, ROUND_EXCESS, growth, inset};
use warpwise::geometry::{Motion, Region, Ring, point, ring_area};
use warpwise::nest::{self, Extent, Params, Pose, Problem, Shape, Stock};
use warpwise::run::{Run, Stop};

/// So near to an edge, µm, rounding decides on which side a point lies.
const NEAR: f64 = 4.0;

/// A ring of any kind, crossing itself or not, on a grid of `step` mm.
fn any_ring(bytes: &mut Bytes<'_>, step: f64) -> Ring {
    let n = 3 + bytes.below(10);
    (0..n)
        .map(|_| point(bytes.wide() as f64 * step, bytes.wide() as f64 * step).snapped())
        .collect()
}

/// A simple ring, anticlockwise: a corner in each direction.
fn star(bytes: &mut Bytes<'_>, most: f64) -> Ring {
    let n = 3 + bytes.below(9);
    let corner = |k: usize, r: u8| {
        let t = std::f64::consts::TAU * k as f64 / n as f64;
        let r = most * (0.1 + 0.9 * f64::from(r) / 255.0);
        point(r * t.cos(), r * t.sin()).snapped()
    };
    (0..n).map(|k| corner(k, bytes.byte())).collect()
}

fn rings(regions: &[Region]) -> Vec<Vec<Corner>> {
    regions.iter().flat_map(Region::rings).map(corners).collect()
}

fn inside(rings: &[Vec<Corner>], p: Corner) -> bool {
    rings.iter().map(|r| winding(r, p)).sum::<i32>() != 0
}

/// Points all over the box of some rings and somewhat beyond.
fn samples(rings: &[Vec<Corner>], beyond: i64, bytes: &mut Bytes<'_>) -> Vec<Corner> {
    let all = || rings.iter().flatten();
    let ends = |of: &dyn Fn(&Corner) -> i64| {
        let (low, high) = (all().map(of).min().unwrap_or(0), all().map(of).max().unwrap_or(0));
        (low - beyond, high + beyond)
    };
    let ((left, right), (low, high)) = (ends(&|c| c.0), ends(&|c| c.1));
    let (dx, dy) = (bytes.wide(), bytes.wide());
    (0..100)
        .map(|k: i64| {
            let (u, v) = (k * 655 + dx, (k * 25_033 + dy) % 65_536);
            (left + (right - left) * (u % 65_536) / 65_536, low + (high - low) * v / 65_536)
        })
        .collect()
}

/// Booleans of rings of any kind, and growth of simple ones.
pub fn shapes(bytes: &[u8]) {
    let bytes = &mut Bytes(bytes);
    if bytes.byte() % 2 == 0 { booleans(bytes) } else { offsets(bytes) }
}

fn booleans(bytes: &mut Bytes<'_>) {
    let step = [0.001, 0.01, 1.0, 10.0][bytes.below(4)];
    let (many, more) = (1 + bytes.below(3), bytes.below(3));
    let subject: Vec<Ring> = (0..many).map(|_| any_ring(bytes, step)).collect();
    let clip: Vec<Ring> = (0..more).map(|_| any_ring(bytes, step)).collect();
    let of = |rings: &[Ring]| rings.iter().map(corners).collect::<Vec<_>>();
    let (s, c) = (of(&subject), of(&clip));
    let all: Vec<Vec<Corner>> = s.iter().chain(&c).cloned().collect();
    let points = samples(&all, 1000, bytes);
    let results = [
        ("union", union(subject.iter().chain(&clip))),
        ("difference", difference(&subject, &clip)),
        ("intersection", intersection(&subject, &clip)),
    ];
    for (name, found) in &results {
        let found = rings(found);
        assert!(!crosses_itself(&found), "{name} crosses itself: {subject:?} {clip:?}");
        for &p in &points {
            if all.iter().any(|r| distance(r, p) < NEAR) {
                continue;
            }
            let wanted = match *name {
                "union" => inside(&all, p),
                "difference" => inside(&s, p) && !inside(&c, p),
                _ => inside(&s, p) && inside(&c, p),
            };
            assert_eq!(inside(&found, p), wanted, "{name} at {p:?}: {subject:?} {clip:?}");
        }
    }
}

fn offsets(bytes: &mut Bytes<'_>) {
    let ring = star(bytes, 40.0 + 2.0 * f64::from(bytes.0.first().copied().unwrap_or(0)));
    let amount = [0.5, 3.0, 25.0, 60.0][bytes.below(4)] + f64::from(bytes.byte()) / 100.0;
    let own = vec![corners(&ring)];
    let points = samples(&own, (2_000.0 * amount) as i64, bytes);
    let smaller = rings(&inset(&ring, amount));
    let parts = growth(&ring, &vec![amount; ring.len()], &[&ring], &|| false);
    let larger = rings(&union(std::iter::once(&ring).chain(&parts)));
    let amount = amount * 1000.0;
    let (least, most) =
        (amount - NEAR, (MITRE_REACH * amount).max(amount + ROUND_EXCESS * 1e3) + NEAR);
    for p in points {
        let away = distance(&own[0], p);
        if inside(&own, p) {
            let is = inside(&smaller, p);
            assert!(
                !is || away > least,
                "{p:?} is {away} from the edge of {ring:?}, inset {amount}"
            );
            assert!(is || away < most, "{p:?} is {away} inside {ring:?}, inset by {amount}");
            assert!(away < NEAR || inside(&larger, p), "{p:?} of {ring:?} is lost in its growth");
        } else {
            let is = inside(&larger, p);
            assert!(is || away > least, "{p:?} is {away} from {ring:?}, grown by {amount}");
            assert!(!is || away < most, "{p:?} is {away} from {ring:?}, grown by {amount}");
        }
    }
}

/// A few pieces on a narrow strip: none meets another, none leaves the strip.
pub fn layout(bytes: &[u8]) {
    let bytes = &mut Bytes(bytes);
    let height = 120.0 + f64::from(bytes.byte());
    let gap = [0.0, 0.0, 2.0, 5.0][bytes.below(4)];
    let count = 1 + bytes.below(4);
    let shapes: Vec<Shape> = (0..count)
        .map(|k| {
            let most = 10.0 + f64::from(bytes.byte()) / 2.0;
            let outline = star(bytes, most);
            let turns = [1, 2, 4][bytes.below(3)];
            let poses = (0..turns).map(|t| Pose {
                turn: 360.0 / turns as f64 * t as f64,
                flip: bytes.byte() % 2 == 1,
            });
            Shape {
                name: k.to_string(),
                region: Region::solid(outline),
                poses: poses.collect(),
                tolerance: 0.0,
                copies: 1 + bytes.below(3) as u32,
                may_cross: false,
            }
        })
        .collect();
    if shapes.iter().any(|s| ring_area(&s.region.outline) <= 0.0) {
        return;
    }
    let segment_max = (bytes.byte() % 3 == 0).then_some(300.0);
    let extent = Extent::Open { low: 0.0, high: height, segment_max, length_max: None };
    let flaw = vec![point(40.0, 10.0), point(90.0, 10.0), point(90.0, 60.0), point(40.0, 60.0)];
    let keep_out = if bytes.byte() % 2 == 0 { vec![flaw.clone()] } else { Vec::new() };
    let stock = Stock { name: "strip".into(), extent, keep_out: keep_out.clone() };
    let problem = Problem::new(shapes, vec![stock], gap).unwrap_or_else(|f| panic!("{f}"));
    let run = Run::new(Stop::Effort(1)).with_threads(1).with_seed(u64::from(bytes.byte()));
    let outcome = nest::solve(&problem, &Params { lanes: 1, ..Params::default() }, &run);
    let copies: u32 = problem.shapes().iter().map(|s| s.copies).sum();
    assert_eq!(outcome.placements.len() + outcome.unplaced.len(), copies as usize);
    let lying: Vec<Vec<Corner>> = outcome
        .placements
        .iter()
        .map(|p| {
            Motion::new(p.turn, p.flip, point(p.x, p.y))
                .ring(&problem.shapes()[p.shape].region.outline)
        })
        .map(|ring| corners(&ring))
        .collect();
    let used = outcome.stocks.first().map_or(0.0, |s| s.used_length);
    let (used, height) = ((used * 1000.0).round() as i64, (height * 1000.0).round() as i64);
    for ring in &lying {
        let within = ring.iter().all(|c| (0..=used).contains(&c.0) && (0..=height).contains(&c.1));
        assert!(within, "a piece leaves the strip: {problem:?} {outcome:?}");
    }
    let flaws: Vec<Vec<Corner>> = keep_out.iter().map(corners).collect();
    let all: Vec<&Vec<Corner>> = lying.iter().chain(&flaws).collect();
    for i in 0..lying.len() {
        for j in i + 1..all.len() {
            let both = [all[i].clone(), all[j].clone()];
            assert!(!crosses_itself(&both), "two pieces cross: {problem:?} {outcome:?}");
            let gap = if j < lying.len() { 1000.0 * gap } else { 0.0 };
            // Turned corners are rounded to the grid.
            let near = |a: &Vec<Corner>, b: &Vec<Corner>| {
                a.iter().any(|&p| {
                    let away = distance(b, p);
                    away < gap - 2.0 || away > 2.0 && winding(b, p) != 0
                })
            };
            assert!(
                !near(all[i], all[j]) && !near(all[j], all[i]),
                "two pieces are too near: {problem:?} {outcome:?}"
            );
        }
    }
}
