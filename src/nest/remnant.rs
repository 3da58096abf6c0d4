//! What a layout leaves: among layouts that count as equally long, the one with the largest free
//! rectangle.
//!
//! A workshop keeps a rectangle along the warp and throws scattered holes away. So the measure is
//! the area of the largest rectangle along the strip that holds no piece and no flaw within the
//! used length, less the cloth that a longer layout costs.

use super::compact::pulled;
use super::convex::Convex;
use super::cover::cover;
use super::land::land;
use super::layout::Layout;
use super::setup::Setup;
use std::sync::Arc;

/// Cells across the strip, and most cells along it.
const ROWS: i64 = 128;
const MOST_COLUMNS: i64 = 4096;
/// Layouts whose loose pieces are pulled to one side.
const PULLED: usize = 3;
/// Where to: along and across the strip.
const PULLS: [(f64, f64); 3] = [(-0.1, -1.0), (-0.1, 1.0), (-1.0, 0.0)];

/// The area of the largest free rectangle within the used length, µm²; conservative by up to a cell
/// at every side.
pub(super) fn largest_free(setup: &Setup, layout: &Layout) -> f64 {
    let bin = &setup.bins[setup.strip()];
    // A roll narrower than its selvedges has less than no height.
    let (height, length) = (bin.frame.height().max(0), layout.length as i64);
    let cell = (height / ROWS).max(length / MOST_COLUMNS).max(1);
    let (rows, columns) = ((height / cell) as usize, (length / cell) as usize);
    let mut taken = vec![false; rows * columns];
    let on_strip =
        (0..layout.spots.len()).filter(|&i| usize::from(layout.spots[i].bin) == setup.strip());
    let items = on_strip.map(|i| {
        (layout.stance(setup, i).base, layout.stance(setup, i).quarter, layout.spots[i].grid())
    });
    for (base, quarter, at) in items.chain(bin.blocks.iter().map(|b| (b.base, b.quarter, b.at))) {
        let corner = at.minus(bin.frame.min);
        let parts = &setup.bases[base as usize].turned[usize::from(quarter)];
        let parts: Vec<Convex> =
            parts.iter().map(|p| p.iter().map(|v| v.plus(corner)).collect()).collect();
        let cells = cover(&parts, cell, (0, columns as i64), (0, rows as i64));
        for (k, runs) in cells.columns.iter().enumerate() {
            let column = (cells.left as usize + k) * rows;
            for &(low, count) in runs {
                let from = column + cells.low as usize + low as usize;
                taken[from..from + count as usize].fill(true);
            }
        }
    }
    most_cells(&taken, rows) as f64 * (cell as f64) * (cell as f64)
}

/// Cells of the largest free rectangle: column by column, how far each row has been free, and the
/// largest rectangle below these lengths.
fn most_cells(taken: &[bool], rows: usize) -> usize {
    let mut best = 0;
    let mut free = vec![0_usize; rows + 1];
    let mut open: Vec<usize> = Vec::new();
    for column in taken.chunks_exact(rows.max(1)) {
        for (f, &t) in free.iter_mut().zip(column) {
            *f = if t { 0 } else { *f + 1 };
        }
        open.clear();
        // The last entry stays 0 and closes all that is open.
        for row in 0..=rows {
            while let Some(&top) = open.last().filter(|&&r| free[r] >= free[row]) {
                open.pop();
                let from = open.last().map_or(0, |r| r + 1);
                best = best.max(free[top] * (row - from));
            }
            open.push(row);
        }
    }
    best
}

/// The layouts found that count as equally long as the best, the most useful first.
#[derive(Debug, Default)]
pub(super) struct Near(Vec<(f64, Arc<Layout>)>);

impl Near {
    /// Keeps a copy of a layout if it is among the most useful ones so far; those longer than
    /// `longest` are dropped.
    pub fn note(&mut self, setup: &Setup, layout: &Layout, longest: f64) {
        self.0.retain(|n| n.1.length <= longest);
        if layout.length > longest || setup.overflow() {
            return;
        }
        let free = largest_free(setup, layout);
        let at = self.0.partition_point(|n| n.0 >= free);
        if !self
            .0
            .get(at.wrapping_sub(1))
            .is_some_and(|n| n.0 == free && n.1.length <= layout.length)
        {
            self.0.insert(at, (free, Arc::new(layout.clone())));
            self.0.truncate(PULLED);
        }
    }
}

/// Small layouts only: of the best layout and those near it, with their loose pieces pulled to
/// every side, the one that leaves most.
pub(super) fn most_useful(
    setup: &Setup,
    best: &Arc<Layout>,
    near: &[&Near],
    longest: f64,
    stop: &dyn Fn() -> bool,
) -> Arc<Layout> {
    if setup.overflow() || !setup.shared() {
        return best.clone();
    }
    let worth = |l: &Layout| largest_free(setup, l) - (l.length - best.length) * setup.height();
    let noted =
        near.iter().flat_map(|n| &n.0).filter(|n| n.1.length <= longest).map(|n| n.1.clone());
    let mut found: Vec<(f64, Arc<Layout>)> =
        std::iter::once(best.clone()).chain(noted).map(|l| (worth(&l), l)).collect();
    found.sort_by(|a, b| b.0.total_cmp(&a.0));
    found.truncate(PULLED);
    for k in 0..found.len() {
        for pull in PULLS {
            if stop() {
                break;
            }
            let start = found[k].1.clone();
            if let Some(l) = land(setup, &pulled(setup, &start, pull, stop), None)
                .filter(|l| l.length <= longest)
            {
                found.push((worth(&l), Arc::new(l)));
            }
        }
    }
    found.into_iter().max_by(|a, b| a.0.total_cmp(&b.0)).map_or_else(|| best.clone(), |f| f.1)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_largest_rectangle_among_taken_cells_is_found() {
        // Columns of four rows; the free cells hold 2 by 3 at most.
        let picture = ["#..#", "...#", "#..#", "####", ".#.."];
        let taken: Vec<bool> = picture.iter().flat_map(|c| c.chars().map(|c| c == '#')).collect();
        assert_eq!(most_cells(&taken, 4), 6);
        assert_eq!(most_cells(&[], 4), 0);
        assert_eq!(most_cells(&[false; 12], 4), 12);
        assert_eq!(most_cells(&[true; 12], 4), 0);
    }
}
