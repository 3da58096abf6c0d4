//! A polygon with holes cut into convex parts: bridges, ears, then merging across needless
//! diagonals.
//!
//! Ear clipping (Meisters 1975) after the holes are bridged to the outline, then Hertel and
//! Mehlhorn's merging: at most four times the least number of parts. All predicates are exact. If
//! the input is not simple enough for that, the hull of the outline is returned: never smaller than
//! the polygon.

use super::convex::{Convex, Frame, Vertex, cross, edges, hull, turn, twice_area};

/// More corners than this are not worth cutting up: the hull stands in.
const MOST_CORNERS: usize = 6000;

/// Convex parts with disjoint interiors whose union is the region: `outline` anticlockwise, `holes`
/// clockwise.
pub(super) fn convex_parts(outline: &[Vertex], holes: &[Vec<Vertex>]) -> Vec<Convex> {
    let corners = outline.len() + holes.iter().map(Vec::len).sum::<usize>();
    let area = twice_area(outline) + holes.iter().map(|h| twice_area(h)).sum::<i128>();
    if corners <= MOST_CORNERS
        && let Some(ring) = bridged(outline, holes)
        && let Some(triangles) = ears(ring)
        && triangles.iter().map(|t| twice_area(t)).sum::<i128>() == area
    {
        return merged(triangles);
    }
    vec![hull(outline)]
}

/// One weakly simple ring: each hole joined to the outline by a bridge run along both ways.
fn bridged(outline: &[Vertex], holes: &[Vec<Vertex>]) -> Option<Vec<Vertex>> {
    let mut ring = outline.to_vec();
    let mut left: Vec<&Vec<Vertex>> = holes.iter().collect();
    left.sort_by_key(|h| std::cmp::Reverse(h.iter().max()));
    while !left.is_empty() {
        let hole = left.remove(0);
        let m = (0..hole.len()).max_by_key(|&i| hole[i])?;
        let from = hole[m];
        let mut targets: Vec<usize> = (0..ring.len()).collect();
        targets.sort_by_key(|&i| {
            let d = ring[i].minus(from);
            (d.x * d.x + d.y * d.y, i)
        });
        let sees = |i: usize| {
            in_cone(&ring, i, from)
                && clear(&ring, ring[i], from)
                && clear(hole, ring[i], from)
                && left.iter().all(|h| clear(h, ring[i], from))
        };
        let at = targets.into_iter().find(|&i| ring[i] != from && sees(i))?;
        let mut next = ring[..=at].to_vec();
        next.extend(hole[m..].iter().chain(&hole[..=m]));
        next.extend_from_slice(&ring[at..]);
        ring = next;
    }
    Some(ring)
}

/// True if `p` lies, seen from corner `i`, strictly inside the corner's angle.
fn in_cone(ring: &[Vertex], i: usize, p: Vertex) -> bool {
    let n = ring.len();
    let (a, b, c) = (ring[(i + n - 1) % n], ring[i], ring[(i + 1) % n]);
    let (left_in, left_out) = (turn(a, b, p) > 0, turn(b, c, p) > 0);
    if turn(a, b, c) >= 0 { left_in && left_out } else { left_in || left_out }
}

/// True if no edge or corner of `ring` meets the open segment `p`-`q`.
fn clear(ring: &[Vertex], p: Vertex, q: Vertex) -> bool {
    edges(ring).all(|(a, b)| {
        let (s, t) = (turn(p, q, a).signum(), turn(p, q, b).signum());
        if s == 0 && between(p, q, a) {
            return false;
        }
        !(s * t < 0 && turn(a, b, p).signum() * turn(a, b, q).signum() < 0)
    })
}

/// True if `v`, collinear with `p`-`q`, lies strictly between them.
fn between(p: Vertex, q: Vertex, v: Vertex) -> bool {
    let (lo, hi) = if p < q { (p, q) } else { (q, p) };
    lo < v && v < hi
}

/// Triangles of a weakly simple ring, or `None` if no ear is left to cut.
fn ears(mut ring: Vec<Vertex>) -> Option<Vec<Convex>> {
    let mut out = Vec::with_capacity(ring.len());
    let mut at = 0;
    let mut misses = 0;
    while ring.len() > 3 {
        let n = ring.len();
        let (i, j, k) = ((at + n - 1) % n, at % n, (at + 1) % n);
        let (a, b, c) = (ring[i], ring[j], ring[k]);
        let bend = turn(a, b, c);
        let flat = bend == 0 && (b == c || a == b || between(a, c, b));
        if flat || (bend > 0 && is_ear(&ring, j)) {
            if bend > 0 {
                out.push(vec![a, b, c]);
            }
            ring.remove(j);
            misses = 0;
            // Going on two corners further keeps the triangles from fanning out of one corner.
            at = if ring.is_empty() { 0 } else { (j + 1) % ring.len() };
        } else {
            at = (at + 1) % n;
            misses += 1;
            if misses > n {
                return None;
            }
        }
    }
    if turn(ring[0], ring[1], ring[2]) > 0 {
        out.push(ring);
    }
    Some(out)
}

fn is_ear(ring: &[Vertex], j: usize) -> bool {
    let n = ring.len();
    let (i, k) = ((j + n - 1) % n, (j + 1) % n);
    let (a, b, c) = (ring[i], ring[j], ring[k]);
    let frame = Frame::around([a, b, c]);
    // The new edge must leave both its ends into the inside, and no corner may lie in the triangle.
    in_cone_closed(ring, i, c)
        && in_cone_closed(ring, k, a)
        && ring.iter().enumerate().all(|(m, &v)| {
            if m == i || m == j || m == k || v == a || v == b || v == c {
                return true;
            }
            let outside_box =
                v.x < frame.min.x || v.x > frame.max.x || v.y < frame.min.y || v.y > frame.max.y;
            outside_box || !(turn(a, b, v) >= 0 && turn(b, c, v) >= 0 && turn(c, a, v) >= 0)
        })
        && clear(ring, a, c)
}

/// As [`in_cone`], the sides of the angle included.
fn in_cone_closed(ring: &[Vertex], i: usize, p: Vertex) -> bool {
    let n = ring.len();
    let (a, b, c) = (ring[(i + n - 1) % n], ring[i], ring[(i + 1) % n]);
    let (left_in, left_out) = (turn(a, b, p) >= 0, turn(b, c, p) >= 0);
    if turn(a, b, c) >= 0 { left_in && left_out } else { left_in || left_out }
}

/// Parts joined across shared edges wherever the result stays convex, the longest diagonals first.
fn merged(mut parts: Vec<Convex>) -> Vec<Convex> {
    let mut diagonals: Vec<(i64, Vertex, Vertex)> = Vec::new();
    for part in &parts {
        for (a, b) in edges(part) {
            if a < b {
                let d = b.minus(a);
                diagonals.push((-(d.x * d.x + d.y * d.y), a, b));
            }
        }
    }
    diagonals.sort_unstable();
    for (_, a, b) in diagonals {
        let find = |parts: &[Convex], a: Vertex, b: Vertex| {
            parts.iter().enumerate().find_map(|(p, part)| {
                let i =
                    (0..part.len()).find(|&i| part[i] == a && part[(i + 1) % part.len()] == b)?;
                Some((p, i))
            })
        };
        let (Some((p, i)), Some((q, j))) = (find(&parts, a, b), find(&parts, b, a)) else {
            continue;
        };
        if p == q {
            continue;
        }
        // From b round p to a, then on round q from a to b.
        let (np, nq) = (parts[p].len(), parts[q].len());
        let mut joined: Convex = (1..=np).map(|s| parts[p][(i + s) % np]).collect();
        joined.extend((2..nq).map(|s| parts[q][(j + s) % nq]));
        if let Some(convex) = strictly_convex(joined) {
            parts[p] = convex;
            parts.swap_remove(q);
        }
    }
    parts
}

/// The ring without its collinear corners if it is convex.
fn strictly_convex(ring: Vec<Vertex>) -> Option<Convex> {
    let n = ring.len();
    let mut out = Vec::with_capacity(n);
    for i in 0..n {
        let (a, b, c) = (ring[(i + n - 1) % n], ring[i], ring[(i + 1) % n]);
        let (e, f) = (b.minus(a), c.minus(b));
        let bend = cross(e, f);
        if bend < 0 || (bend == 0 && e.x * f.x + e.y * f.y < 0) {
            return None;
        }
        if bend > 0 {
            out.push(b);
        }
    }
    // Convex corners alone do not rule out a second winding: the turns must add up to one.
    let starts = (0..out.len()).filter(|&i| {
        let (p, q, r) = (out[(i + out.len() - 1) % out.len()], out[i], out[(i + 1) % out.len()]);
        (q.y, q.x) < (p.y, p.x) && (q.y, q.x) < (r.y, r.x)
    });
    (out.len() >= 3 && starts.count() == 1).then_some(out)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::nest::convex::{apart, vertex};

    fn check(outline: &[Vertex], holes: &[Vec<Vertex>], most: usize) {
        let parts = convex_parts(outline, holes);
        let area = twice_area(outline) + holes.iter().map(|h| twice_area(h)).sum::<i128>();
        assert_eq!(parts.iter().map(|p| twice_area(p)).sum::<i128>(), area);
        assert!(parts.len() <= most, "{} parts", parts.len());
        for (i, p) in parts.iter().enumerate() {
            for q in &parts[..i] {
                assert!(apart(p, q));
            }
        }
    }

    #[test]
    fn a_convex_polygon_stays_whole() {
        check(&[vertex(0, 0), vertex(10, 0), vertex(10, 10), vertex(5, 12), vertex(0, 10)], &[], 1);
    }

    #[test]
    fn an_l_falls_in_two() {
        check(
            &[
                vertex(0, 0),
                vertex(10, 0),
                vertex(10, 4),
                vertex(4, 4),
                vertex(4, 10),
                vertex(0, 10),
            ],
            &[],
            2,
        );
    }

    #[test]
    fn a_frame_with_two_holes_keeps_its_area() {
        let square = |x: i64, y: i64, s: i64| {
            vec![vertex(x, y), vertex(x, y + s), vertex(x + s, y + s), vertex(x + s, y)]
        };
        check(
            &[vertex(0, 0), vertex(100, 0), vertex(100, 50), vertex(0, 50)],
            &[square(10, 10, 20), square(60, 15, 30)],
            9,
        );
    }

    /// The hull of a horseshoe of 800 corners stood in for it and seemed to overlap what lay in its
    /// mouth.
    #[test]
    fn a_horseshoe_of_many_corners_is_not_taken_for_its_hull() {
        let arc = |r: f64, k: i32| {
            let t = std::f64::consts::PI * f64::from(k) / 400.0;
            vertex((r * libm::cos(t)).round() as i64, (r * libm::sin(t)).round() as i64)
        };
        let ring: Vec<Vertex> = (0..=400)
            .map(|k| arc(500_000.0, k))
            .chain((0..=400).rev().map(|k| arc(400_000.0, k)))
            .collect();
        let in_its_mouth =
            vec![vertex(-1000, 1000), vertex(1000, 1000), vertex(1000, 3000), vertex(-1000, 3000)];
        let parts = convex_parts(&ring, &[]);
        assert_eq!(parts.iter().map(|p| twice_area(p)).sum::<i128>(), twice_area(&ring));
        assert!(parts.iter().all(|p| apart(p, &in_its_mouth)));
    }

    #[test]
    fn a_comb_with_collinear_teeth_is_cut_right() {
        let mut ring = vec![vertex(0, 0), vertex(100, 0)];
        for k in (0..5).rev() {
            ring.extend([
                vertex(k * 20 + 10, 30),
                vertex(k * 20 + 10, 10),
                vertex(k * 20, 10),
                vertex(k * 20, 30),
            ]);
        }
        ring.insert(2, vertex(100, 30));
        ring.dedup();
        assert!(twice_area(&ring) > 0);
        let parts = convex_parts(&ring, &[]);
        assert!(parts.iter().map(|p| twice_area(p)).sum::<i128>() >= twice_area(&ring));
    }
}
