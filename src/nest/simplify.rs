//! Outlines with fewer corners that still cover the piece.
//!
//! Two moves, each adding a sliver to the region and never taking any away: a dent is bridged (a
//! reflex corner left out), or a short edge is dropped by running its neighbours out to where they
//! meet. Both are made, least harm first, while the sliver's height stays within the bound. Rings
//! keep the region on their left, so holes shrink by the same rule.

use super::convex::{Frame, Vertex, cross, edges, turn, vertex};

/// Rings with at most this many corners are left as they are.
const PLAIN: usize = 32;

/// The ring with fewer corners, its region a superset by at most 0.4 % of its greater extent;
/// unchanged up to [`PLAIN`] corners.
pub(super) fn covering(ring: &[Vertex]) -> Vec<Vertex> {
    let mut ring = ring.to_vec();
    if ring.len() <= PLAIN {
        return ring;
    }
    let frame = Frame::around(ring.iter().copied());
    let extent = frame.width().max(frame.height()) as f64;
    for share in [0.0002, 0.0005, 0.001, 0.002, 0.004] {
        reduce(&mut ring, extent * share);
        if ring.len() <= PLAIN {
            break;
        }
    }
    ring
}

/// Applies the least harmful move within `bound` µm until there is none or the ring is plain
/// enough.
fn reduce(ring: &mut Vec<Vertex>, bound: f64) {
    while ring.len() > PLAIN {
        let mut moves: Vec<(f64, usize, Move)> = (0..ring.len())
            .filter_map(|i| best_move(ring, i).map(|(harm, m)| (harm, i, m)))
            .filter(|m| m.0 <= bound)
            .collect();
        moves.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
        // Far-apart moves do not disturb each other, so a whole batch goes through before the next
        // look.
        let mut touched = vec![false; ring.len()];
        let mut gone = vec![false; ring.len()];
        let n = ring.len();
        let mut done = 0;
        for (_, i, m) in moves {
            if n - done <= PLAIN
                || (0..5).any(|k| touched[(i + n - 2 + k) % n])
                || !free(ring, i, &m)
            {
                continue;
            }
            for k in 0..5 {
                touched[(i + n - 2 + k) % n] = true;
            }
            match m {
                Move::Bridge => gone[i] = true,
                Move::Extend(to) => {
                    ring[i] = to;
                    gone[(i + 1) % n] = true;
                }
            }
            done += 1;
        }
        if done == 0 {
            return;
        }
        let mut keep = gone.iter().map(|g| !g);
        ring.retain(|_| keep.next().unwrap_or(true));
    }
}

#[derive(Clone, Copy)]
enum Move {
    /// Leave out reflex corner `i`.
    Bridge,
    /// Put corner `i` where the edges before `i` and after `i + 1` meet, and leave out `i + 1`.
    Extend(Vertex),
}

fn best_move(ring: &[Vertex], i: usize) -> Option<(f64, Move)> {
    let n = ring.len();
    let (a, b, c, d) = (ring[(i + n - 1) % n], ring[i], ring[(i + 1) % n], ring[(i + 2) % n]);
    if turn(a, b, c) <= 0 {
        return Some((height(a, c, b), Move::Bridge));
    }
    if turn(b, c, d) <= 0 {
        return None;
    }
    // Both corners convex: the lines a-b and d-c meet outside the edge if together they turn less
    // than a half turn.
    let (e, f) = (b.minus(a), c.minus(d));
    let det = cross(e, f) as f64;
    if cross(e, d.minus(c)) <= 0 {
        return None;
    }
    let t = cross(d.minus(a), f) as f64 / det;
    let (x, y) = (a.x as f64 + e.x as f64 * t, a.y as f64 + e.y as f64 * t);
    let (fx, fy) = (x.floor() as i64, y.floor() as i64);
    let away =
        |v: &Vertex| (v.x as f64 - x) * (v.x as f64 - x) + (v.y as f64 - y) * (v.y as f64 - y);
    // The nearest grid point that is on or outside both lines.
    let to = (-1..=2)
        .flat_map(|dx| (-1..=2).map(move |dy| vertex(fx + dx, fy + dy)))
        .filter(|&v| turn(a, b, v) <= 0 && turn(c, d, v) <= 0 && turn(b, c, v) <= 0)
        .min_by(|p, q| away(p).total_cmp(&away(q)))?;
    Some((height(b, c, to), Move::Extend(to)))
}

/// Distance of `v` from the line `p`-`q`.
fn height(p: Vertex, q: Vertex, v: Vertex) -> f64 {
    let d = q.minus(p);
    let length = ((d.x as f64) * (d.x as f64) + (d.y as f64) * (d.y as f64)).sqrt();
    if length == 0.0 { f64::INFINITY } else { (turn(p, q, v) as f64).abs() / length }
}

/// True if the sliver the move adds meets no other part of the ring.
fn free(ring: &[Vertex], i: usize, m: &Move) -> bool {
    let n = ring.len();
    let (a, b, c, d) = (ring[(i + n - 1) % n], ring[i], ring[(i + 1) % n], ring[(i + 2) % n]);
    let (sliver, own): (Vec<Vertex>, Vec<usize>) = match *m {
        Move::Bridge => (vec![a, c, b], vec![(i + n - 1) % n, i]),
        Move::Extend(to) => (vec![a, to, d, c, b], vec![(i + n - 1) % n, i, (i + 1) % n]),
    };
    let frame = Frame::around(sliver.iter().copied()).grown(1);
    edges(ring).enumerate().all(|(k, (p, q))| {
        if own.contains(&k) || !Frame::around([p, q]).grown(1).overlaps(&frame) {
            return true;
        }
        let touches =
            |v: Vertex| !sliver.contains(&v) && edges(&sliver).all(|(s, t)| turn(s, t, v) >= 0);
        let crosses = edges(&sliver).any(|(s, t)| {
            (turn(p, q, s).signum() * turn(p, q, t).signum()) < 0
                && (turn(s, t, p).signum() * turn(s, t, q).signum()) < 0
        });
        !crosses && !touches(p) && !touches(q)
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::nest::convex::twice_area;

    /// A wavy disc with `n` corners, radius about 100 mm.
    fn wavy(n: usize) -> Vec<Vertex> {
        (0..n)
            .map(|k| {
                let a = k as f64 / n as f64 * std::f64::consts::TAU;
                let r = 100_000.0 * (1.0 + 0.2 * libm::sin(3.0 * a)) + 40.0 * libm::sin(97.0 * a);
                vertex((r * libm::cos(a)) as i64, (r * libm::sin(a)) as i64)
            })
            .collect()
    }

    #[test]
    fn fewer_corners_cover_the_same_piece() {
        for n in [200, 700] {
            let ring = wavy(n);
            let simple = covering(&ring);
            assert!(simple.len() < 60, "{}", simple.len());
            assert!(twice_area(&simple) >= twice_area(&ring));
            assert!((twice_area(&simple) as f64) < twice_area(&ring) as f64 * 1.02);
            let outline: Vec<_> = simple.iter().map(|v| v.to_mm()).collect();
            for v in &ring {
                let p = v.to_mm();
                let inside = crate::geometry::ring_contains(&outline, p);
                let near =
                    edges(&simple).any(|(a, b)| p.distance_to_segment(a.to_mm(), b.to_mm()) < 1e-6);
                assert!(inside || near, "{p:?}");
            }
        }
    }

    #[test]
    fn plain_rings_stay_exact() {
        let ring = vec![vertex(0, 0), vertex(10, 0), vertex(10, 10), vertex(9, 10), vertex(0, 10)];
        assert_eq!(covering(&ring), ring);
    }
}
