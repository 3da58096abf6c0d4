//! Exact verification of an outcome in whole micrometres, sharing nothing with the search: every
//! edge is cut where it meets the other outline, and a point of each stretch is tested against the
//! other's inside; distances are compared squared. No tolerance anywhere.
#![allow(dead_code)]

use std::cmp::Ordering;
use warpwise::geometry::{Region, Ring};
use warpwise::nest::{Extent, Outcome, Problem, UsedStock};

/// A point, whole micrometres.
pub type P = (i64, i64);
/// Rings of a region; inside is what an odd number of them enclose.
pub type Rings = Vec<Vec<P>>;

/// Denominator of the test points along an edge; stretches shorter than this share of their edge
/// are not looked at.
const FINE: i128 = 1 << 22;

fn micro(mm: f64) -> i64 {
    (mm * 1000.0).round() as i64
}

/// A ring turned, mirrored about x, then moved, on the grid; quarter turns are exact.
pub fn placed(ring: &Ring, turn: f64, flip: bool, x: f64, y: f64) -> Vec<P> {
    let (sin, cos) = match turn.rem_euclid(360.0) {
        0.0 => (0.0, 1.0),
        90.0 => (1.0, 0.0),
        180.0 => (0.0, -1.0),
        270.0 => (-1.0, 0.0),
        t => (libm::sin(t.to_radians()), libm::cos(t.to_radians())),
    };
    ring.iter()
        .map(|p| {
            let (px, py) = (cos * p.x - sin * p.y, sin * p.x + cos * p.y);
            (micro(px + x), micro(if flip { -py } else { py } + y))
        })
        .collect()
}

fn rings(region: &Region) -> Rings {
    region.rings().map(|r| placed(r, 0.0, false, 0.0, 0.0)).collect()
}

/// Everything wrong with an outcome; empty if it keeps every rule of the problem.
pub fn faults(problem: &Problem, outcome: &Outcome) -> Vec<String> {
    let mut wrong = Vec::new();
    let mut copies: Vec<(usize, u32)> =
        outcome.placements.iter().map(|p| (p.shape, p.copy)).collect();
    copies.extend(outcome.unplaced.iter().map(|u| (u.0, u.1)));
    copies.sort_unstable();
    let all: Vec<(usize, u32)> = problem
        .shapes()
        .iter()
        .enumerate()
        .flat_map(|(s, shape)| (0..shape.copies).map(move |c| (s, c)))
        .collect();
    if copies != all {
        wrong.push("the copies are not all there once".into());
    }
    for (s, used) in outcome.stocks.iter().enumerate() {
        on_stock(problem, outcome, s, used, &mut wrong);
    }
    wrong
}

fn on_stock(
    problem: &Problem,
    outcome: &Outcome,
    s: usize,
    used: &UsedStock,
    wrong: &mut Vec<String>,
) {
    let stock = &problem.stocks()[used.stock];
    let mut pieces: Vec<(String, Rings)> = Vec::new();
    for p in outcome.placements.iter().filter(|p| p.stock == s) {
        let shape = &problem.shapes()[p.shape];
        let name = format!("{}#{}", shape.name, p.copy);
        let off = |turn: f64| {
            let d = (turn - p.turn).rem_euclid(360.0);
            d.min(360.0 - d)
        };
        if !shape.poses.iter().any(|q| q.flip == p.flip && off(q.turn) <= shape.tolerance + 1e-9) {
            wrong.push(format!("{name} may not lie like that"));
        }
        let region: Rings =
            shape.region.rings().map(|r| placed(r, p.turn, p.flip, p.x, p.y)).collect();
        let (from, to) = span(&region);
        for cut in used.segments.iter().rev().skip(1) {
            if !shape.may_cross && from < micro(cut[1]) && micro(cut[1]) < to {
                wrong.push(format!("{name} lies across a bench end"));
            }
        }
        for flaw in &stock.keep_out {
            if overlap(&region, &vec![placed(flaw, 0.0, false, 0.0, 0.0)]) {
                wrong.push(format!("{name} lies on a flaw"));
            }
        }
        pieces.push((name, region));
    }
    match &stock.extent {
        Extent::Open { low, high, segment_max, length_max } => {
            let mut from = 0;
            for cut in &used.segments {
                let (a, b) = (micro(cut[0]), micro(cut[1]));
                if a != from || b <= a || segment_max.is_some_and(|m| b - a > micro(m)) {
                    wrong.push(format!("segment {cut:?} is wrong"));
                }
                from = b;
            }
            let length = micro(used.used_length);
            if from != length || length_max.is_some_and(|m| length > micro(m)) {
                wrong.push(format!("the used length {} is wrong", used.used_length));
            }
            let reach = pieces.iter().map(|p| span(&p.1).1).max();
            if reach != Some(length) {
                wrong.push(format!("the last piece ends at {reach:?}, not at {length}"));
            }
            for (name, region) in &pieces {
                if region
                    .iter()
                    .flatten()
                    .any(|&(x, y)| x < 0 || y < micro(*low) || y > micro(*high) || x > length)
                {
                    wrong.push(format!("{name} leaves the strip"));
                }
            }
        }
        Extent::Fixed { region } => {
            let stock = rings(region);
            for (name, piece) in &pieces {
                if sides(piece, &stock).out || sides(&stock, piece).inside {
                    wrong.push(format!("{name} leaves the stock"));
                }
            }
        }
    }
    let gap = (problem.gap() * 1000.0 - 1e-6).ceil() as i64;
    for (i, (a, ra)) in pieces.iter().enumerate() {
        for (b, rb) in &pieces[..i] {
            if overlap(ra, rb) {
                wrong.push(format!("{a} overlaps {b}"));
            } else if gap > 0 && (nearer(ra, rb, gap) || nearer(rb, ra, gap)) {
                wrong.push(format!("{a} is nearer to {b} than the gap"));
            }
        }
    }
}

fn span(region: &Rings) -> (i64, i64) {
    let xs = || region.iter().flatten().map(|p| p.0);
    (xs().min().unwrap_or(0), xs().max().unwrap_or(0))
}

fn bounds(r: &Rings) -> (i64, i64, i64, i64) {
    let all = || r.iter().flatten();
    let least = |f: fn(&P) -> i64| all().map(f).min().unwrap_or(0);
    let most = |f: fn(&P) -> i64| all().map(f).max().unwrap_or(0);
    (least(|p| p.0), most(|p| p.0), least(|p| p.1), most(|p| p.1))
}

fn edges(r: &Rings) -> impl Iterator<Item = (P, P)> + '_ {
    r.iter().flat_map(|ring| (0..ring.len()).map(move |i| (ring[i], ring[(i + 1) % ring.len()])))
}

/// True if the interiors of two regions share a point.
pub fn overlap(a: &Rings, b: &Rings) -> bool {
    let (f, g) = (bounds(a), bounds(b));
    if f.1 <= g.0 || g.1 <= f.0 || f.3 <= g.2 || g.3 <= f.2 {
        return false;
    }
    let (s, t) = (sides(a, b), sides(b, a));
    // If all of both boundaries lies on the other, the regions are the same.
    s.inside || t.inside || !(s.out || t.out)
}

/// True if a corner of `a` is nearer than `gap` to an edge of `b`.
fn nearer(a: &Rings, b: &Rings, gap: i64) -> bool {
    let (f, g) = (bounds(a), bounds(b));
    if f.1 + gap <= g.0 || g.1 + gap <= f.0 || f.3 + gap <= g.2 || g.3 + gap <= f.2 {
        return false;
    }
    let square = i128::from(gap) * i128::from(gap);
    a.iter().flatten().any(|&v| {
        edges(b).any(|(c, d)| {
            let (e, w) = (vector(c, d), vector(c, v));
            let (along, len) = (e.0 * w.0 + e.1 * w.1, e.0 * e.0 + e.1 * e.1);
            if along <= 0 {
                w.0 * w.0 + w.1 * w.1 < square
            } else if along >= len {
                let u = vector(d, v);
                u.0 * u.0 + u.1 * u.1 < square
            } else {
                let c = e.0 * w.1 - e.1 * w.0;
                c * c < square * len
            }
        })
    })
}

fn vector(a: P, b: P) -> (i128, i128) {
    (i128::from(b.0 - a.0), i128::from(b.1 - a.1))
}

/// Where stretches of a boundary lie.
struct Sides {
    inside: bool,
    out: bool,
}

/// Whether stretches of `a`'s boundary lie inside and outside `b`.
fn sides(a: &Rings, b: &Rings) -> Sides {
    let mut sides = Sides { inside: false, out: false };
    for (p, q) in edges(a) {
        let mut cuts: Vec<(i128, i128)> = vec![(0, 1), (1, 1)];
        for (c, d) in edges(b) {
            cut(p, q, c, d, &mut cuts);
        }
        cuts.retain(|c| c.0 >= 0 && c.0 <= c.1);
        cuts.sort_by(compare);
        for w in cuts.windows(2) {
            // A fraction k / FINE strictly between the two cuts.
            let k = (w[0].0 * FINE / w[0].1 + (w[1].0 * FINE + w[1].1 - 1) / w[1].1) / 2;
            if compare(&(k, FINE), &w[0]) != Ordering::Greater
                || compare(&(k, FINE), &w[1]) != Ordering::Less
            {
                continue;
            }
            let at = |s: i64, t: i64| i128::from(s) * FINE + i128::from(t - s) * k;
            match side((at(p.0, q.0), at(p.1, q.1)), b) {
                Ordering::Greater => sides.inside = true,
                Ordering::Equal => {}
                Ordering::Less => sides.out = true,
            }
        }
    }
    sides
}

fn compare(a: &(i128, i128), b: &(i128, i128)) -> Ordering {
    (a.0 * b.1).cmp(&(b.0 * a.1))
}

/// Where the edge `p`-`q` meets `c`-`d`, as fractions of `p`-`q` with positive denominators.
fn cut(p: P, q: P, c: P, d: P, cuts: &mut Vec<(i128, i128)>) {
    let cross = |a: (i128, i128), b: (i128, i128)| a.0 * b.1 - a.1 * b.0;
    let (e, f, g) = (vector(p, q), vector(c, d), vector(p, c));
    let det = cross(e, f);
    if det == 0 {
        if cross(e, g) == 0 {
            let h = vector(p, d);
            let len = e.0 * e.0 + e.1 * e.1;
            cuts.push((e.0 * g.0 + e.1 * g.1, len));
            cuts.push((e.0 * h.0 + e.1 * h.1, len));
        }
        return;
    }
    let (t, u) = (cross(g, f), cross(g, e));
    let (t, u, det) = if det < 0 { (-t, -u, -det) } else { (t, u, det) };
    if u >= 0 && u <= det {
        cuts.push((t, det));
    }
}

/// Greater if a point (in units of 1 / FINE µm) lies inside, Equal if on the boundary, Less if
/// outside.
fn side(p: (i128, i128), b: &Rings) -> Ordering {
    let mut inside = false;
    for (s, t) in edges(b) {
        let (ax, ay, bx, by) = (
            i128::from(s.0) * FINE,
            i128::from(s.1) * FINE,
            i128::from(t.0) * FINE,
            i128::from(t.1) * FINE,
        );
        let e = vector(s, t);
        let c = e.0 * (p.1 - ay) - e.1 * (p.0 - ax);
        if c == 0
            && p.0 >= ax.min(bx)
            && p.0 <= ax.max(bx)
            && p.1 >= ay.min(by)
            && p.1 <= ay.max(by)
        {
            return Ordering::Equal;
        }
        if (ay > p.1) != (by > p.1) && ((c > 0) == (by > ay)) {
            inside = !inside;
        }
    }
    if inside { Ordering::Greater } else { Ordering::Less }
}
