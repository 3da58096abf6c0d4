//! Cutting lines and areas to size: hatches inside an area, areas inside a span of x.

use crate::geometry::{Motion, Point, Ring, point};

/// Most lines of one hatch; a larger area gets a wider spacing.
const MOST_LINES: f64 = 4000.0;

/// Parallel segments at `angle` degrees that fill the rings by the even-odd rule, `spacing` mm
/// apart.
///
/// The lines of all hatches of one angle and spacing lie on one grid, so that neighbours look
/// alike.
pub(crate) fn hatch(rings: &[&[Point]], angle: f64, spacing: f64) -> Vec<[Point; 2]> {
    let (to, from) = (Motion::turn(-angle), Motion::turn(angle));
    let turned: Vec<Vec<Point>> =
        rings.iter().map(|r| r.iter().map(|&p| to.apply(p)).collect()).collect();
    let ys = || turned.iter().flatten().map(|p| p.y);
    let (low, high) = (ys().fold(f64::INFINITY, f64::min), ys().fold(f64::NEG_INFINITY, f64::max));
    let extent = high - low;
    if !(extent.is_finite() && extent > 0.0 && spacing > 0.0) {
        return Vec::new();
    }
    let spacing = spacing * (extent / spacing / MOST_LINES).ceil().max(1.0);
    let first = (low / spacing).ceil();
    let count = ((high / spacing).floor() - first).max(-1.0) as usize + 1;
    let mut out = Vec::new();
    for (k, xs) in crossings(&turned, first * spacing, spacing, count).rows().enumerate() {
        let y = (first + k as f64) * spacing;
        for pair in xs.chunks_exact(2) {
            out.push([from.apply(point(pair[0], y)), from.apply(point(pair[1], y))]);
        }
    }
    out
}

/// Where horizontal lines cross rings, line by line in one list.
pub(crate) struct Crossings {
    xs: Vec<f64>,
    /// Those of line `k` stand from `starts[k]` to `starts[k + 1]`.
    starts: Vec<usize>,
}

impl Crossings {
    /// Line by line, ascending, an even number each.
    pub(crate) fn rows(&self) -> impl Iterator<Item = &[f64]> {
        self.starts.windows(2).map(|w| &self.xs[w[0]..w[1]])
    }
}

/// Where `count` horizontal lines, the first at `y` and each `step` above the last, cross the
/// rings.
pub(crate) fn crossings(rings: &[Vec<Point>], y: f64, step: f64, count: usize) -> Crossings {
    // Twice: how many there are of each line, and where.
    let mut starts = vec![0; count + 1];
    each_crossing(rings, y, step, count, |k, _| starts[k + 1] += 1);
    for k in 0..count {
        starts[k + 1] += starts[k];
    }
    let mut next = starts.clone();
    let mut xs = vec![0.0; starts[count]];
    each_crossing(rings, y, step, count, |k, x| {
        xs[next[k]] = x;
        next[k] += 1;
    });
    starts.windows(2).for_each(|w| xs[w[0]..w[1]].sort_by(f64::total_cmp));
    Crossings { xs, starts }
}

/// Tells the number of the line and the abscissa of every crossing.
fn each_crossing(
    rings: &[Vec<Point>],
    y: f64,
    step: f64,
    count: usize,
    mut found: impl FnMut(usize, f64),
) {
    for ring in rings {
        for (i, &a) in ring.iter().enumerate() {
            let b = *ring.get(i + 1).unwrap_or(&ring[0]);
            let (low, high) = (a.y.min(b.y), a.y.max(b.y));
            if !(low < high && low.is_finite() && high.is_finite()) {
                continue;
            }
            let from = ((low - y) / step).floor().max(0.0) as usize;
            let to = (((high - y) / step).ceil() + 1.0).clamp(0.0, count as f64) as usize;
            for k in from..to {
                let y = y + k as f64 * step;
                if (a.y > y) != (b.y > y) {
                    found(k, a.x + (b.x - a.x) * (y - a.y) / (b.y - a.y));
                }
            }
        }
    }
}

/// The part of a ring between two x, or nothing. Where the ring leaves the span more than once, the
/// parts hang together by lines along its edge.
pub(crate) fn ring_between(ring: &[Point], from: f64, to: f64) -> Ring {
    let left = half(ring, |p| p.x - from);
    let both = half(&left, |p| to - p.x);
    if both.len() < 3 { Ring::new() } else { both }
}

/// The part of a ring where `keep` is not negative; `keep` is linear.
fn half(ring: &[Point], keep: impl Fn(Point) -> f64) -> Ring {
    let mut out = Ring::new();
    for (i, &a) in ring.iter().enumerate() {
        let b = ring[(i + 1) % ring.len()];
        let (ka, kb) = (keep(a), keep(b));
        if ka >= 0.0 {
            out.push(a);
        }
        if (ka > 0.0 && kb < 0.0) || (ka < 0.0 && kb > 0.0) {
            out.push(a + (b - a) * (ka / (ka - kb)));
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    fn square(x: f64, y: f64, side: f64) -> Ring {
        vec![point(x, y), point(x + side, y), point(x + side, y + side), point(x, y + side)]
    }

    #[test]
    fn a_hatch_fills_the_area_but_not_its_hole() {
        let (outer, hole) = (square(0.0, 0.0, 100.0), square(40.0, 40.0, 20.0));
        for angle in [0.0, 45.0, 90.0] {
            let lines = hatch(&[&outer, &hole], angle, 0.5);
            let area: f64 = lines.iter().map(|[a, b]| a.distance(*b) * 0.5).sum();
            assert!((area - 9600.0).abs() < 100.0, "{angle}: {area}");
        }
    }

    #[test]
    fn a_huge_hatch_is_bounded() {
        assert!(hatch(&[&square(0.0, 0.0, 100_000.0)], 45.0, 2.0).len() <= 4001);
    }

    #[test]
    fn a_ring_is_cut_to_a_span() {
        let cut = ring_between(&square(0.0, 0.0, 100.0), 20.0, 50.0);
        assert!((crate::geometry::ring_area(&cut) - 3000.0).abs() < 1e-9);
        assert!(ring_between(&square(0.0, 0.0, 10.0), 20.0, 50.0).is_empty());
    }
}
