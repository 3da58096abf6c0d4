//! Cells of a raster that convex parts cover.

use super::convex::{Convex, Frame, Vertex, edges};

/// Cells covered by a stance, column by column, as runs of rows (first, count).
#[derive(Debug, Default)]
pub(super) struct Cover {
    pub columns: Vec<Vec<(u32, u32)>>,
    /// First column and row, relative to the corner of the stance's box.
    pub left: i64,
    pub low: i64,
}

/// All cells that share inner points with the parts, within the given columns and rows.
pub(super) fn cover(parts: &[Convex], cell: i64, columns: (i64, i64), rows: (i64, i64)) -> Cover {
    let frame = Frame::around(parts.iter().flatten().copied());
    let left = frame.min.x.div_euclid(cell).max(columns.0);
    let right = ((frame.max.x + cell - 1).div_euclid(cell)).min(columns.1);
    let low = frame.min.y.div_euclid(cell).max(rows.0);
    let high = ((frame.max.y + cell - 1).div_euclid(cell)).min(rows.1);
    let mut out = Cover { columns: Vec::new(), left, low };
    for x in left..right.max(left) {
        let mut runs: Vec<(i64, i64)> = parts
            .iter()
            .filter_map(|p| span(p, x * cell, (x + 1) * cell))
            .map(|(a, b)| rows_of(a, b, cell))
            .collect();
        runs.sort_unstable();
        let mut joined: Vec<(i64, i64)> = Vec::new();
        for (a, b) in runs {
            let (a, b) = (a.max(low), b.min(high));
            match joined.last_mut() {
                Some(last) if a <= last.1 => last.1 = last.1.max(b),
                _ if a < b => joined.push((a, b)),
                _ => {}
            }
        }
        out.columns
            .push(joined.into_iter().map(|(a, b)| ((a - low) as u32, (b - a) as u32)).collect());
    }
    out
}

fn rows_of(low: f64, high: f64, cell: i64) -> (i64, i64) {
    ((low / cell as f64).floor() as i64, (high / cell as f64).ceil() as i64)
}

/// Lowest and highest y of a convex polygon within the open slab `x0 < x < x1`.
fn span(p: &[Vertex], x0: i64, x1: i64) -> Option<(f64, f64)> {
    let (mut low, mut high) = (f64::INFINITY, f64::NEG_INFINITY);
    let mut take = |y: f64, slack: f64| {
        low = low.min(y - slack);
        high = high.max(y + slack);
    };
    for (a, b) in edges(p) {
        let (l, r) = if a.x <= b.x { (a, b) } else { (b, a) };
        if r.x <= x0 || l.x >= x1 || l.x == r.x {
            continue;
        }
        for (x, end) in [(x0.max(l.x), l), (x1.min(r.x), r)] {
            if x == end.x {
                take(end.y as f64, 0.0);
            } else if l.y == r.y {
                take(l.y as f64, 0.0);
            } else {
                // Rounding of the interpolation must not lose a cell.
                take(
                    l.y as f64 + (r.y - l.y) as f64 * ((x - l.x) as f64 / (r.x - l.x) as f64),
                    1e-6,
                );
            }
        }
    }
    (low < high).then_some((low, high))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::nest::convex::vertex;

    #[test]
    fn a_square_covers_its_cells_and_no_more() {
        let square = vec![vertex(0, 0), vertex(40, 0), vertex(40, 40), vertex(0, 40)];
        let c = cover(&[square], 10, (-100, 100), (-100, 100));
        assert_eq!(c.columns, vec![vec![(0, 4)]; 4]);
    }
}
