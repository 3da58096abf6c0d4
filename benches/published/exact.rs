//! Exact verification of a strip layout in whole micrometres, sharing nothing with the search: every edge is cut where it meets the
//! other outline, and a point of each stretch is tested against the other's inside.

use std::cmp::Ordering;

/// A point, whole micrometres.
pub type P = (i64, i64);

/// Denominator of the test points along an edge; stretches shorter than this share of their edge are not looked at.
const FINE: i128 = 1 << 22;

/// The outline turned, mirrored about x, then moved, on the grid; quarter turns are exact.
pub fn placed(outline: &[warpwise::geometry::Point], turn: f64, flip: bool, x: f64, y: f64) -> Vec<P> {
    let (sin, cos) = match turn.rem_euclid(360.0) {
        t if t == 0.0 => (0.0, 1.0),
        t if t == 90.0 => (1.0, 0.0),
        t if t == 180.0 => (0.0, -1.0),
        t if t == 270.0 => (-1.0, 0.0),
        t => (t.to_radians().sin(), t.to_radians().cos()),
    };
    let mut ring: Vec<P> = outline
        .iter()
        .map(|p| {
            let (px, py) = (cos * p.x - sin * p.y, sin * p.x + cos * p.y);
            let py = if flip { -py } else { py };
            (((px + x) * 1000.0).round() as i64, ((py + y) * 1000.0).round() as i64)
        })
        .collect();
    if flip {
        ring.reverse();
    }
    ring
}

/// Panics unless all pieces lie within `0..length` by `0..height` with disjoint interiors and one reaches `length`.
pub fn verify_strip(pieces: &[Vec<P>], height: i64, length: i64) {
    let mut reach = 0;
    for piece in pieces {
        for &(x, y) in piece {
            assert!(x >= 0 && y >= 0 && y <= height && x <= length, "({x}, {y}) lies outside");
            reach = reach.max(x);
        }
    }
    assert_eq!(reach, length, "the used length is not where the last piece ends");
    for (i, a) in pieces.iter().enumerate() {
        for b in &pieces[..i] {
            assert!(!overlap(a, b), "pieces overlap: {a:?} and {b:?}");
        }
    }
}

/// True if the interiors of two simple polygons share a point.
pub fn overlap(a: &[P], b: &[P]) -> bool {
    let bounds =
        |r: &[P]| (r.iter().map(|p| p.0).min(), r.iter().map(|p| p.0).max(), r.iter().map(|p| p.1).min(), r.iter().map(|p| p.1).max());
    let (f, g) = (bounds(a), bounds(b));
    if f.1 <= g.0 || g.1 <= f.0 || f.3 <= g.2 || g.3 <= f.2 {
        return false;
    }
    match (worst_side(a, b), worst_side(b, a)) {
        (Side::In, _) | (_, Side::In) => true,
        // All of both boundaries lies on the other: the same polygon.
        (Side::On, Side::On) => true,
        _ => false,
    }
}

#[derive(Clone, Copy, PartialEq)]
enum Side {
    In,
    On,
    Out,
}

/// `In` if some stretch of `a`'s boundary lies inside `b`, `On` if all of it lies on `b`'s boundary, else `Out`.
fn worst_side(a: &[P], b: &[P]) -> Side {
    let mut all_on = true;
    for i in 0..a.len() {
        let (p, q) = (a[i], a[(i + 1) % a.len()]);
        let mut cuts: Vec<(i128, i128)> = vec![(0, 1), (1, 1)];
        for j in 0..b.len() {
            cut(p, q, b[j], b[(j + 1) % b.len()], &mut cuts);
        }
        cuts.retain(|c| c.0 >= 0 && c.0 <= c.1);
        cuts.sort_by(compare);
        for w in cuts.windows(2) {
            if compare(&w[0], &w[1]) == Ordering::Equal {
                continue;
            }
            // A fraction k / FINE strictly between the two cuts.
            let k = (w[0].0 * FINE / w[0].1 + (w[1].0 * FINE + w[1].1 - 1) / w[1].1) / 2;
            if compare(&(k, FINE), &w[0]) != Ordering::Greater || compare(&(k, FINE), &w[1]) != Ordering::Less {
                continue;
            }
            let at = |s: i64, t: i64| i128::from(s) * FINE + i128::from(t - s) * k;
            match side((at(p.0, q.0), at(p.1, q.1)), b) {
                Side::In => return Side::In,
                Side::On => {}
                Side::Out => all_on = false,
            }
        }
    }
    if all_on { Side::On } else { Side::Out }
}

fn compare(a: &(i128, i128), b: &(i128, i128)) -> Ordering {
    (a.0 * b.1).cmp(&(b.0 * a.1))
}

fn cross(ax: i128, ay: i128, bx: i128, by: i128) -> i128 {
    ax * by - ay * bx
}

/// Where the edge `p`-`q` meets `c`-`d`, as fractions of `p`-`q` with positive denominators.
fn cut(p: P, q: P, c: P, d: P, cuts: &mut Vec<(i128, i128)>) {
    let v = |a: P, b: P| (i128::from(b.0 - a.0), i128::from(b.1 - a.1));
    let (e, f, g) = (v(p, q), v(c, d), v(p, c));
    let det = cross(e.0, e.1, f.0, f.1);
    if det == 0 {
        if cross(e.0, e.1, g.0, g.1) == 0 {
            let h = v(p, d);
            let len = e.0 * e.0 + e.1 * e.1;
            cuts.push((e.0 * g.0 + e.1 * g.1, len));
            cuts.push((e.0 * h.0 + e.1 * h.1, len));
        }
        return;
    }
    let t = cross(g.0, g.1, f.0, f.1);
    let u = cross(g.0, g.1, e.0, e.1);
    let (t, u, det) = if det < 0 { (-t, -u, -det) } else { (t, u, det) };
    if u >= 0 && u <= det {
        cuts.push((t, det));
    }
}

/// The side of a point (in units of 1 / FINE µm) of a polygon.
fn side(p: (i128, i128), ring: &[P]) -> Side {
    let mut inside = false;
    for i in 0..ring.len() {
        let (a, b) = (ring[i], ring[(i + 1) % ring.len()]);
        let (ax, ay, bx, by) = (i128::from(a.0) * FINE, i128::from(a.1) * FINE, i128::from(b.0) * FINE, i128::from(b.1) * FINE);
        let c = cross((bx - ax) / FINE, (by - ay) / FINE, p.0 - ax, p.1 - ay);
        if c == 0 && p.0 >= ax.min(bx) && p.0 <= ax.max(bx) && p.1 >= ay.min(by) && p.1 <= ay.max(by) {
            return Side::On;
        }
        if (ay > p.1) != (by > p.1) && ((c > 0) == (by > ay)) {
            inside = !inside;
        }
    }
    if inside { Side::In } else { Side::Out }
}
