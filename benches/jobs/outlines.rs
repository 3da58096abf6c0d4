//! Outlines such as people cut: made from a few sizes and a seed, mm, the origin anywhere.

use rand_pcg::Pcg64Mcg;
use rand_pcg::rand_core::{Rng, SeedableRng};
use std::f64::consts::TAU;
use warpwise::geometry::{Point, Region, point, ring_area};

/// Numbers of a seed.
pub struct Dice(Pcg64Mcg);

impl Dice {
    pub fn new(seed: u64) -> Dice {
        Dice(Pcg64Mcg::seed_from_u64(seed))
    }

    pub fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * ((self.0.next_u64() >> 11) as f64 / (1u64 << 53) as f64)
    }

    pub fn below(&mut self, n: usize) -> usize {
        (self.between(0.0, n as f64) as usize).min(n - 1)
    }
}

type Ring = Vec<Point>;

/// Points along a side that bows out by `bow` in its middle; the last corner is the next side's.
fn bowed(out: &mut Ring, a: Point, b: Point, bow: f64) {
    let steps = if bow.abs() < 0.5 { 1 } else { 10 };
    let (dx, dy) = (b.x - a.x, b.y - a.y);
    let length = dx.hypot(dy).max(1.0);
    for k in 0..steps {
        let t = f64::from(k) / f64::from(steps);
        let off = 4.0 * bow * t * (1.0 - t);
        out.push(point(a.x + dx * t + off * dy / length, a.y + dy * t - off * dx / length));
    }
}

/// A four-sided panel with bowed sides, and darts into its long side.
pub fn panel(d: &mut Dice, long: f64, wide: f64) -> Region {
    let taper = d.between(0.0, 0.25) * wide;
    let corners = [
        point(0.0, 0.0),
        point(long, d.between(-0.1, 0.1) * wide),
        point(long * d.between(0.85, 1.0), wide - taper),
        point(long * d.between(0.0, 0.12), wide),
    ];
    let mut ring = Ring::new();
    let darts = d.below(4);
    for k in 0..4 {
        let bow = wide * d.between(-0.06, 0.12);
        let before = ring.len();
        bowed(&mut ring, corners[k], corners[(k + 1) % 4], bow);
        if k == 0 && darts > 0 {
            let side = ring.split_off(before);
            ring.extend(darted(d, &side, corners[1], darts, wide));
        }
    }
    Region::solid(ring)
}

/// A side with V-shaped cuts of a few millimetres' mouth.
fn darted(d: &mut Dice, side: &[Point], end: Point, darts: usize, wide: f64) -> Ring {
    let (a, length) = (side[0], (end.x - side[0].x).hypot(end.y - side[0].y));
    let (ux, uy) = ((end.x - a.x) / length, (end.y - a.y) / length);
    let mut ring = vec![a];
    for k in 0..darts {
        let at = length * (k as f64 + d.between(0.7, 1.3)) / (darts as f64 + 1.0);
        let (mouth, deep) = (d.between(4.0, 14.0), wide * d.between(0.15, 0.35));
        for (along, into) in [(at - mouth / 2.0, 0.0), (at, deep), (at + mouth / 2.0, 0.0)] {
            ring.push(point(a.x + ux * along - uy * into, a.y + uy * along + ux * into));
        }
    }
    ring
}

/// A rectangle with rounded corners.
pub fn plate(long: f64, wide: f64, radius: f64) -> Region {
    let (x, y) = (long - radius, wide - radius);
    let centres = [point(x, y), point(radius, y), point(radius, radius), point(x, radius)];
    let mut ring = Ring::new();
    for (k, c) in centres.iter().enumerate() {
        for s in 0..=6 {
            let a = (k as f64 + f64::from(s) / 6.0) * TAU / 4.0;
            ring.push(point(c.x + radius * a.cos(), c.y + radius * a.sin()));
        }
    }
    Region::solid(ring)
}

pub fn strip(long: f64, wide: f64) -> Region {
    let corners = [(0.0, 0.0), (long, 0.0), (long, wide), (0.0, wide)];
    Region::solid(corners.map(|(x, y)| point(x, y)).to_vec())
}

/// Round about a middle, the radius told by the angle.
fn round(steps: u32, radius: impl Fn(f64) -> (f64, f64)) -> Ring {
    let at = |k: u32| {
        let a = f64::from(k) / f64::from(steps) * TAU;
        let (rx, ry) = radius(a);
        point(rx * a.cos(), ry * a.sin())
    };
    (0..steps).map(at).collect()
}

pub fn ellipse(long: f64, wide: f64) -> Region {
    Region::solid(round(40, |_| (long / 2.0, wide / 2.0)))
}

/// A rim: an ellipse with a hole.
pub fn rim(long: f64, wide: f64, band: f64) -> Region {
    let hole = round(40, |_| (long / 2.0 - band, wide / 2.0 - band));
    Region { holes: vec![hole.into_iter().rev().collect()], ..ellipse(long, wide) }
}

/// A bean: round with a dent, lopsided.
pub fn bean(d: &mut Dice, long: f64, wide: f64) -> Region {
    let (dent, at, lop) = (d.between(0.1, 0.45), d.between(0.0, TAU), d.between(-0.12, 0.12));
    Region::solid(round(44, |a| {
        let near = (1.0 + (a - at).cos()) / 2.0;
        let r = 1.0 - dent * near.powi(6) + lop * (2.0 * a).sin();
        (r * long / 2.0, r * wide / 2.0)
    }))
}

/// An angle of two legs.
pub fn bracket(d: &mut Dice, long: f64, wide: f64) -> Region {
    let (a, b) = (d.between(0.2, 0.4) * wide, d.between(0.15, 0.3) * long);
    let corners = [(0.0, 0.0), (long, 0.0), (long, a), (b, a * 1.2), (b * 0.9, wide), (0.0, wide)];
    Region::solid(corners.map(|(x, y)| point(x, y)).to_vec())
}

/// Part of a ring, as a cone's skin lies flat.
pub fn sector(d: &mut Dice, long: f64, wide: f64) -> Region {
    let turn = d.between(1.0, 2.6);
    let outer = (long / 2.0) / (turn / 2.0).sin().max(0.5);
    let inner = (outer - wide).max(outer * 0.3);
    let arc = |r: f64, k: u32| {
        let a = (f64::from(k) / 16.0 - 0.5) * turn;
        point(r * a.sin(), r * a.cos())
    };
    let mut ring: Ring = (0..=16).map(|k| arc(inner, k)).collect();
    ring.extend((0..=16).rev().map(|k| arc(outer, k)));
    if ring_area(&ring) < 0.0 {
        ring.reverse();
    }
    Region::solid(ring)
}

/// A triangle with blunt corners.
pub fn gusset(d: &mut Dice, long: f64, wide: f64) -> Region {
    let tip = d.between(0.1, 0.9) * long;
    let c = [point(0.0, 0.0), point(long, 0.0), point(tip, wide)];
    let mut ring = Ring::new();
    for k in 0..3 {
        let (p, q, r) = (c[(k + 2) % 3], c[k], c[(k + 1) % 3]);
        let cut = |t: Point| point(q.x + (t.x - q.x) * 0.12, q.y + (t.y - q.y) * 0.12);
        ring.extend([cut(p), cut(r)]);
    }
    Region::solid(ring)
}

/// A plate whose upper side is cut into tabs.
pub fn tabbed(d: &mut Dice, long: f64, wide: f64) -> Region {
    let tabs = 3 + d.below(4);
    let (pitch, deep) = (long / tabs as f64, wide * d.between(0.2, 0.45));
    let mut ring = vec![point(0.0, 0.0), point(long, 0.0)];
    for k in (0..tabs).rev() {
        let x = k as f64 * pitch;
        ring.extend([point(x + pitch * 0.92, wide), point(x + pitch * 0.3, wide)]);
        if k > 0 {
            ring.push(point(x, wide - deep));
        }
    }
    ring.push(point(0.0, wide * 0.8));
    Region::solid(ring)
}

/// Any of them, about so long.
pub fn any(d: &mut Dice, long: f64) -> Region {
    let wide = long * d.between(0.3, 0.8);
    match d.below(9) {
        0 | 1 => panel(d, long, wide),
        2 => plate(long, wide, wide * 0.15),
        3 => ellipse(long, wide),
        4 => bean(d, long, wide),
        5 => bracket(d, long, wide),
        6 => sector(d, long, wide * 0.6),
        7 => gusset(d, long, wide),
        _ => tabbed(d, long, wide),
    }
}

/// Turned and put on the grid.
pub fn turned(region: &Region, degrees: f64) -> Region {
    let (s, c) = degrees.to_radians().sin_cos();
    let ring = |r: &Ring| {
        r.iter().map(|p| point(c * p.x - s * p.y, s * p.x + c * p.y).snapped()).collect::<Ring>()
    };
    Region { outline: ring(&region.outline), holes: region.holes.iter().map(ring).collect() }
}
