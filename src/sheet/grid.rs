//! A grid of cells over part of the drawing, to look for room for words.
//!
//! A cell is taken if any line touches it or if it lies in a filled area, so a free block of cells
//! is truly free.

use super::clip::crossings;
use crate::geometry::{Bounds, Point, point};

/// What has a cell: nothing.
const FREE: u32 = 0;

/// Takes a cell and belongs to no piece.
pub(crate) const NOBODY: u32 = u32::MAX;

/// Takes a cell for words or a leader.
pub(crate) const WORDS: u32 = u32::MAX - 1;

/// What a leader may cost against the reach: a little of other pieces may be crossed, not a crowd
/// of them.
const MOST_COST: f64 = 1.2;

/// The cells, row by row from the bottom.
#[derive(Clone, Debug)]
pub(crate) struct Grid {
    origin: Point,
    cell: f64,
    columns: usize,
    rows: usize,
    taken: Vec<u32>,
}

impl Grid {
    /// A free grid over a box: about `cells` cells, none smaller than `least` mm.
    pub(crate) fn new(over: Bounds, cells: f64, least: f64) -> Self {
        let (width, height) = (over.width().max(least), over.height().max(least));
        // A long thin box may not run out of hand either.
        let cell = (width * height / cells).sqrt().max(least).max(width.max(height) / cells);
        let columns = ((width / cell).ceil() as usize).max(1);
        let rows = ((height / cell).ceil() as usize).max(1);
        Grid { origin: over.min, cell, columns, rows, taken: vec![FREE; columns * rows] }
    }

    /// Takes every cell for `owner`.
    pub(crate) fn take_all(&mut self, owner: u32) {
        self.taken.fill(owner);
    }

    /// Column or row of a coordinate measured from the origin, within the grid.
    fn index(offset: f64, cell: f64, count: usize) -> usize {
        ((offset / cell).floor().max(0.0) as usize).min(count.saturating_sub(1))
    }

    /// Gives every cell whose middle lies in the rings (even-odd) to `owner`; [`FREE`] is made with
    /// [`Grid::release`].
    pub(crate) fn fill(&mut self, rings: &[Vec<Point>], owner: u32) {
        let bounds = rings.iter().flatten().fold(None, |b: Option<(f64, f64)>, p| {
            Some(b.map_or((p.y, p.y), |(l, h)| (l.min(p.y), h.max(p.y))))
        });
        let Some((low, high)) = bounds else { return };
        if high < self.origin.y || low > self.origin.y + self.rows as f64 * self.cell {
            return;
        }
        let first = Self::index(low - self.origin.y, self.cell, self.rows);
        let last = Self::index(high - self.origin.y, self.cell, self.rows);
        let y = self.origin.y + (first as f64 + 0.5) * self.cell;
        let found = crossings(rings, y, self.cell, last - first + 1);
        for (row, xs) in (first..=last).zip(found.rows()) {
            for pair in xs.chunks_exact(2) {
                let first = ((pair[0] - self.origin.x) / self.cell - 0.5).ceil().max(0.0) as usize;
                let past = (((pair[1] - self.origin.x) / self.cell - 0.5).floor() + 1.0)
                    .clamp(0.0, self.columns as f64) as usize;
                if first < past {
                    let base = row * self.columns;
                    self.taken[base + first..base + past].fill(owner);
                }
            }
        }
    }

    /// Frees every cell whose middle lies in the rings.
    pub(crate) fn release(&mut self, rings: &[Vec<Point>]) {
        self.fill(rings, FREE);
    }

    /// Gives every cell that the segment touches to `owner`.
    pub(crate) fn mark(&mut self, a: Point, b: Point, owner: u32) {
        let (lower, upper) = if a.y <= b.y { (a, b) } else { (b, a) };
        let slack = self.cell * 1e-6;
        if upper.y < self.origin.y || lower.y > self.origin.y + self.rows as f64 * self.cell {
            return;
        }
        let first = Self::index(lower.y - slack - self.origin.y, self.cell, self.rows);
        let last = Self::index(upper.y + slack - self.origin.y, self.cell, self.rows);
        let at = |y: f64| {
            let rise = upper.y - lower.y;
            if rise <= 0.0 {
                lower.x
            } else {
                lower.x + (upper.x - lower.x) * ((y - lower.y) / rise).clamp(0.0, 1.0)
            }
        };
        for row in first..=last {
            let base = self.origin.y + row as f64 * self.cell;
            let (x0, x1) = if upper.y - lower.y <= slack {
                (a.x, b.x)
            } else {
                (at(base - slack), at(base + self.cell + slack))
            };
            let (left, right) =
                (x0.min(x1) - slack - self.origin.x, x0.max(x1) + slack - self.origin.x);
            if right < 0.0 || left > self.columns as f64 * self.cell {
                continue;
            }
            let base = row * self.columns;
            let first = base + Self::index(left, self.cell, self.columns);
            let last = base + Self::index(right, self.cell, self.columns);
            self.taken[first..=last].fill(owner);
        }
    }

    /// Marks an open line.
    pub(crate) fn mark_path(&mut self, path: &[Point], owner: u32) {
        for pair in path.windows(2) {
            self.mark(pair[0], pair[1], owner);
        }
    }

    /// Marks a closed ring.
    pub(crate) fn mark_ring(&mut self, ring: &[Point], owner: u32) {
        self.mark_path(ring, owner);
        if let (Some(&first), Some(&last)) = (ring.first(), ring.last()) {
            self.mark(last, first, owner);
        }
    }

    /// Sums over this grid, for quick answers about blocks.
    pub(crate) fn summed(&self) -> Summed {
        let stride = self.columns + 1;
        let mut sums = vec![0u32; stride * (self.rows + 1)];
        for row in 0..self.rows {
            let mut line = 0;
            for column in 0..self.columns {
                line += u32::from(self.taken[row * self.columns + column] != FREE);
                sums[(row + 1) * stride + column + 1] = sums[row * stride + column + 1] + line;
            }
        }
        Summed {
            origin: self.origin,
            cell: self.cell,
            columns: self.columns,
            rows: self.rows,
            sums,
        }
    }

    /// Whether the block of cells is inside the grid and free.
    fn block_free(&self, column: i64, row: i64, columns: i64, rows: i64) -> bool {
        if column < 0
            || row < 0
            || column + columns > self.columns as i64
            || row + rows > self.rows as i64
        {
            return false;
        }
        let free = |c: i64, r: i64| self.taken[r as usize * self.columns + c as usize] == FREE;
        free(column, row)
            && free(column + columns - 1, row + rows - 1)
            && (row..row + rows).all(|r| (column..column + columns).all(|c| free(c, r)))
    }

    /// A free box of `width` x `height` mm near a point, at most `reach` mm away, such that the
    /// straight line from the box to the point is short, crosses no words and little else that does
    /// not belong to `owner`.
    pub(crate) fn near(
        &self,
        width: f64,
        height: f64,
        near: Point,
        reach: f64,
        owner: u32,
    ) -> Option<Bounds> {
        let (columns, rows) =
            ((width / self.cell).ceil() as i64, (height / self.cell).ceil() as i64);
        let home_column = ((near.x - self.origin.x) / self.cell).floor() as i64 - columns / 2;
        let home_row = ((near.y - self.origin.y) / self.cell).floor() as i64 - rows / 2;
        let mut best: Option<Bounds> = None;
        let mut least_cost = MOST_COST * reach;
        for radius in 0..=(reach / self.cell).ceil() as i64 {
            // No box on this ring or beyond can come nearer than this.
            if (radius - columns.max(rows) / 2 - 1) as f64 * self.cell > least_cost {
                break;
            }
            // Far out it does not matter to the cell.
            let side = (-radius..=radius).step_by(1 + radius as usize / 24);
            let around = side
                .clone()
                .flat_map(|d| [(d, -radius), (d, radius)])
                .chain(side.flat_map(|d| [(-radius, d), (radius, d)]));
            for (dc, dr) in around {
                let (column, row) = (home_column + dc, home_row + dr);
                if !self.block_free(column, row, columns, rows) {
                    continue;
                }
                let min = self.origin + point(column as f64, row as f64) * self.cell;
                let found =
                    Bounds { min, max: min + point(columns as f64, rows as f64) * self.cell };
                if let Some(cost) =
                    self.leader_cost(near, leader_end(&found, near), owner, least_cost)
                {
                    least_cost = cost;
                    best = Some(found);
                }
            }
        }
        best
    }

    /// Length of a leader (walked from its piece, where most is in its way), where what it crosses
    /// of others counts five times; `None` if it crosses words or costs `most` or more.
    fn leader_cost(&self, from: Point, to: Point, owner: u32, most: f64) -> Option<f64> {
        let mut cost = from.distance(to);
        let steps = (cost / self.cell * 2.0).ceil().max(1.0) as usize;
        let step = cost / steps as f64;
        for i in 0..=steps {
            if cost >= most {
                return None;
            }
            let p = from + (to - from) * (i as f64 / steps as f64) - self.origin;
            let inside = p.x >= 0.0
                && p.y >= 0.0
                && p.x < self.columns as f64 * self.cell
                && p.y < self.rows as f64 * self.cell;
            let cell = Self::index(p.y, self.cell, self.rows) * self.columns
                + Self::index(p.x, self.cell, self.columns);
            match self.taken[cell] {
                WORDS if inside => return None,
                taken if inside && taken != FREE && taken != owner => cost += 5.0 * step,
                _ => {}
            }
        }
        Some(cost)
    }
}

/// The point of a box's edge that is nearest to a point outside it.
pub(crate) fn leader_end(b: &Bounds, p: Point) -> Point {
    point(p.x.clamp(b.min.x, b.max.x), p.y.clamp(b.min.y, b.max.y))
}

/// Sums over a grid: whether a block is free, in one step.
pub(crate) struct Summed {
    origin: Point,
    cell: f64,
    columns: usize,
    rows: usize,
    /// Taken cells below and left of each corner of the grid.
    sums: Vec<u32>,
}

impl Summed {
    /// Middle of the free box of `width` x `height` that lies nearest to `near`, or, with `any`, of
    /// the first found.
    fn find(&self, width: f64, height: f64, near: Point, any: bool) -> Option<Point> {
        let stride = self.columns + 1;
        let (columns, rows) = (
            (width / self.cell).ceil().max(1.0) as usize,
            (height / self.cell).ceil().max(1.0) as usize,
        );
        if columns > self.columns || rows > self.rows {
            return None;
        }
        let mut best: Option<(f64, Point)> = None;
        for row in 0..=self.rows - rows {
            // No box of this row can be nearer.
            let up = self.origin.y + (row as f64 + rows as f64 / 2.0) * self.cell - near.y;
            if best.as_ref().is_some_and(|(d, _)| up.abs() > *d) {
                continue;
            }
            for column in 0..=self.columns - columns {
                let sum = |r: usize, c: usize| self.sums[r * stride + c];
                if sum(row + rows, column + columns) + sum(row, column)
                    != sum(row, column + columns) + sum(row + rows, column)
                {
                    continue;
                }
                let middle = self.origin
                    + point(column as f64 + columns as f64 / 2.0, row as f64 + rows as f64 / 2.0)
                        * self.cell;
                if any {
                    return Some(middle);
                }
                let distance = middle.distance(near);
                if best.as_ref().is_none_or(|(d, _)| distance < *d) {
                    best = Some((distance, middle));
                }
            }
        }
        best.map(|(_, m)| m)
    }

    /// Whether the box touches a cell that is taken.
    pub(crate) fn taken(&self, b: &Bounds) -> bool {
        let first = |v: f64, most: usize| ((v / self.cell).floor().max(0.0) as usize).min(most);
        let past =
            |v: f64, most: usize| ((v / self.cell).floor() + 1.0).clamp(0.0, most as f64) as usize;
        let (c0, c1) = (
            first(b.min.x - self.origin.x, self.columns),
            past(b.max.x - self.origin.x, self.columns),
        );
        let (r0, r1) =
            (first(b.min.y - self.origin.y, self.rows), past(b.max.y - self.origin.y, self.rows));
        let sum = |r: usize, c: usize| self.sums[r * (self.columns + 1) + c];
        c0 < c1 && r0 < r1 && sum(r1, c1) + sum(r0, c0) != sum(r0, c1) + sum(r1, c0)
    }

    /// The largest scale in `least..=most` at which a box of `width` x `height` (at scale 1, plus
    /// `clear` on every side) is free somewhere, and where it then lies, nearest to `near`.
    pub(crate) fn largest(
        &self,
        width: f64,
        height: f64,
        clear: f64,
        least: f64,
        most: f64,
        near: Point,
    ) -> Option<(f64, Point)> {
        let find = |s: f64, any: bool| {
            self.find(width * s + 2.0 * clear, height * s + 2.0 * clear, near, any)
        };
        if find(most, true).is_some() {
            return Some((most, find(most, false)?));
        }
        find(least, true)?;
        let (mut low, mut high) = (least, most);
        while high - low > 0.04 * low {
            let middle = (low + high) / 2.0;
            if find(middle, true).is_some() {
                low = middle;
            } else {
                high = middle;
            }
        }
        Some((low, find(low, false)?))
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    fn ring(points: &[[f64; 2]]) -> Vec<Point> {
        points.iter().map(|&p| p.into()).collect()
    }

    fn grid() -> Grid {
        Grid::new(Bounds { min: point(0.0, 0.0), max: point(100.0, 100.0) }, 10_000.0, 0.1)
    }

    #[test]
    fn a_line_takes_every_cell_it_touches() {
        let mut g = grid();
        g.mark(point(0.5, 0.5), point(99.5, 40.5), 1);
        // Walk the line in steps far finer than a cell: no cell under it may be free.
        for i in 0..=10_000 {
            let p =
                point(0.5 + 99.0 * f64::from(i) / 10_000.0, 0.5 + 40.0 * f64::from(i) / 10_000.0);
            assert_eq!(g.taken[p.y.floor() as usize * 100 + p.x.floor() as usize], 1, "{p:?}");
        }
    }

    #[test]
    fn the_largest_box_in_a_triangle() {
        // Half the legs each way is the largest square in a right-angled triangle of equal legs.
        let mut g = grid();
        g.take_all(NOBODY);
        let triangle = ring(&[[0.0, 0.0], [100.0, 0.0], [0.0, 100.0]]);
        g.release(std::slice::from_ref(&triangle));
        g.mark_ring(&triangle, NOBODY);
        let (scale, _) = g.summed().largest(1.0, 1.0, 0.0, 1.0, 100.0, point(50.0, 50.0)).unwrap();
        assert!((44.0..=50.0).contains(&scale), "{scale}");
    }

    #[test]
    fn a_box_is_put_beside_what_is_taken_and_not_on_it() {
        let mut g = grid();
        g.fill(&[ring(&[[30.0, 30.0], [70.0, 30.0], [70.0, 70.0], [30.0, 70.0]])], 7);
        let found = g.near(20.0, 10.0, point(50.0, 65.0), 200.0, 7).unwrap();
        assert!(found.min.y >= 70.0 && found.max.y <= 82.0, "{found:?}");
        assert!(g.near(80.0, 80.0, point(50.0, 50.0), 200.0, 7).is_none());
    }

    #[test]
    fn a_leader_does_not_run_through_other_words() {
        let mut g = grid();
        g.fill(&[ring(&[[0.0, 40.0], [100.0, 40.0], [100.0, 60.0], [0.0, 60.0]])], WORDS);
        let found = g.near(10.0, 5.0, point(50.0, 20.0), 200.0, 7).unwrap();
        assert!(found.max.y <= 40.0, "{found:?}");
        g.fill(&[ring(&[[0.0, 0.0], [100.0, 0.0], [100.0, 18.0], [0.0, 18.0]])], NOBODY);
        g.fill(&[ring(&[[0.0, 22.0], [100.0, 22.0], [100.0, 40.0], [0.0, 40.0]])], NOBODY);
        assert!(g.near(10.0, 5.0, point(50.0, 20.0), 200.0, 7).is_none());
    }
}
