//! Regions as cells: what a shape covers, and where it is free to lie.
//!
//! A cell belongs to a shape if they share inner points, so that shapes on disjoint cells are
//! disjoint whatever their outlines; positions are whole cells. A column of cells is a row of bits,
//! so that a whole column of positions is tested at once.

use crate::geometry::{Point, Region};

/// Slack of interpolated heights, mm: rounding must not lose a cell.
const SLACK: f64 = 1e-6;

/// Rectangles of a shape that are looked at before its columns.
const CORES: usize = 4;

/// Cells of one column as runs (first, count), rising and apart.
type Runs = Vec<(i32, i32)>;

/// The cells of a shape whose box begins at the origin.
#[derive(Clone, Debug)]
pub(super) struct Cover {
    /// Cells it covers, column by column.
    pub columns: Vec<Runs>,
    /// The same, grown by the gap; its first column is `-reach`, and rows may be negative.
    grown: Vec<Runs>,
    /// By how many cells it is grown.
    reach: i32,
    /// Rows.
    pub height: i32,
    /// Cells in all.
    pub cells: i64,
    /// Columns in the order they are tested: the fullest first.
    order: Vec<usize>,
    /// The longest run of each column.
    tallest: Vec<i32>,
    /// What is looked at first.
    cores: Vec<Core>,
}

/// A rectangle of cells that a shape covers: where it is not free, the shape is not.
#[derive(Clone, Copy, Debug, Default)]
struct Core {
    /// Its first column.
    from: usize,
    columns: usize,
    /// Its lowest row.
    low: i32,
    rows: i32,
}

impl Core {
    /// Whether a run is of the core and no longer.
    fn is(&self, column: usize, low: i32, count: i32) -> bool {
        (self.from..self.from + self.columns).contains(&column)
            && (low, count) == (self.low, self.rows)
    }

    /// The largest in one run of each column.
    fn largest(runs: &[(i32, i32)]) -> Core {
        let (mut core, mut most) = (Core::default(), 0);
        for from in 0..runs.len() {
            let (mut low, mut high) = (runs[from].0, runs[from].0 + runs[from].1);
            for (k, run) in runs[from..].iter().enumerate() {
                (low, high) = (low.max(run.0), high.min(run.0 + run.1));
                if i64::from(high - low) * (runs.len() - from) as i64 <= most {
                    break;
                }
                let cells = i64::from(high - low) * (k + 1) as i64;
                if cells > most {
                    most = cells;
                    core = Core { from, columns: k + 1, low, rows: high - low };
                }
            }
        }
        core
    }

    /// The largest in the longest runs, and the largest in what it leaves of them on either side
    /// and of the columns above and below it.
    fn of(columns: &[Runs]) -> Vec<Core> {
        let mut rest: Vec<(i32, i32)> = columns
            .iter()
            .map(|runs| runs.iter().copied().max_by_key(|r| r.1).unwrap_or((0, 0)))
            .collect();
        let mut cores = Vec::new();
        while cores.len() < CORES {
            let core = Core::largest(&rest);
            if core.columns == 0 {
                break;
            }
            for run in &mut rest[core.from..core.from + core.columns] {
                let (below, above) = (core.low - run.0, run.0 + run.1 - core.low - core.rows);
                *run = if below > above {
                    (run.0, below)
                } else {
                    (core.low + core.rows, above.max(0))
                };
            }
            cores.push(core);
        }
        cores
    }
}

impl Cover {
    /// The cells of a region whose box begins at (0, 0), and those nearer to them than `gap` mm.
    /// `slack` (mm) makes the shape that much larger.
    pub fn new(region: &Region, cell: f64, gap: f64, slack: f64) -> Cover {
        let columns = inside_or_touched(region, cell, slack);
        let height = columns.iter().flatten().map(|r| r.0 + r.1).max().unwrap_or(0);
        // Cells with k - 1 whole cells between them are (k - 1) cells apart at least.
        let apart = |d: i32| f64::from((d.abs() - 1).max(0)) * cell;
        let reach = (1..).find(|&d| apart(d) >= gap).unwrap_or(1) - 1;
        let tall = |dx: i32| {
            (i32::from(dx == 0)..).find(|&dy| apart(dx).hypot(apart(dy)) >= gap).unwrap_or(0) - 1
        };
        let mut grown: Vec<Runs> = vec![Vec::new(); columns.len() + 2 * reach as usize];
        for (k, runs) in columns.iter().enumerate() {
            for dx in -reach..=reach {
                let by = tall(dx);
                if by >= 0 {
                    grown[(k as i32 + dx + reach) as usize]
                        .extend(runs.iter().map(|r| (r.0 - by, r.1 + 2 * by)));
                }
            }
        }
        let grown = grown.into_iter().map(joined).collect();
        let mut order: Vec<usize> =
            (0..columns.len()).filter(|&k| !columns[k].is_empty()).collect();
        let full = |k: usize| columns[k].iter().map(|r| r.1).sum::<i32>();
        order.sort_by_key(|&k| (-full(k), k));
        let cells = order.iter().map(|&k| i64::from(full(k))).sum();
        let tallest =
            columns.iter().map(|runs| runs.iter().map(|r| r.1).max().unwrap_or(0)).collect();
        let cores = Core::of(&columns);
        Cover { columns, grown, reach, height, cells, order, tallest, cores }
    }
}

/// Runs sorted, those that meet joined.
fn joined(mut runs: Runs) -> Runs {
    runs.sort_unstable();
    let mut out: Runs = Vec::with_capacity(runs.len());
    for (from, count) in runs {
        match out.last_mut() {
            Some(last) if from <= last.0 + last.1 => last.1 = last.1.max(from + count - last.0),
            _ => out.push((from, count)),
        }
    }
    out
}

/// Edges of a region.
fn edges(region: &Region) -> impl Iterator<Item = (Point, Point)> {
    region.rings().flat_map(|r| (0..r.len()).map(move |i| (r[i], r[(i + 1) % r.len()])))
}

/// For every column from x = 0 on, the runs of cells that the region's edges pass through.
fn touched(region: &Region, cell: f64, slack: f64, columns: usize) -> Vec<Runs> {
    let mut out: Vec<Runs> = vec![Vec::new(); columns];
    for (a, b) in edges(region) {
        let (l, r) = if a.x <= b.x { (a, b) } else { (b, a) };
        let first = (((l.x - slack) / cell + 1e-9).floor().max(0.0)) as usize;
        let last = (((r.x + slack) / cell - 1e-9).ceil().max(0.0) as usize).min(columns);
        for (k, runs) in out.iter_mut().enumerate().take(last).skip(first) {
            let (x0, x1) = (k as f64 * cell, (k + 1) as f64 * cell);
            let at = |x: f64| {
                if r.x > l.x {
                    l.y + (r.y - l.y) * ((x - l.x) / (r.x - l.x)).clamp(0.0, 1.0)
                } else {
                    l.y
                }
            };
            let (ya, yb) = if r.x > l.x { (at(x0), at(x1)) } else { (l.y, r.y) };
            let ends = |y: f64| {
                if y == l.y || y == r.y { slack } else { slack + SLACK }
            };
            let (low, high) =
                ((ya - ends(ya)).min(yb - ends(yb)), (ya + ends(ya)).max(yb + ends(yb)));
            let from = (low / cell + 1e-9).floor() as i32;
            let to = (high / cell - 1e-9).ceil() as i32;
            if to > from {
                runs.push((from, to - from));
            }
        }
    }
    out
}

/// For every column the runs of rows whose cell centre lies inside.
fn centres(region: &Region, cell: f64, columns: usize) -> Vec<Runs> {
    let mut heights: Vec<Vec<f64>> = vec![Vec::new(); columns];
    for (a, b) in edges(region) {
        let (l, r) = if a.x <= b.x { (a, b) } else { (b, a) };
        let first = ((l.x / cell - 0.5).ceil().max(0.0)) as usize;
        for (k, crossings) in heights.iter_mut().enumerate().skip(first) {
            let x = (k as f64 + 0.5) * cell;
            if x >= r.x {
                break;
            }
            if x >= l.x {
                crossings.push(l.y + (r.y - l.y) * ((x - l.x) / (r.x - l.x)));
            }
        }
    }
    let runs = |mut ys: Vec<f64>| -> Runs {
        ys.sort_by(f64::total_cmp);
        let row = |y: f64| (y / cell - 0.5).ceil() as i32;
        ys.chunks_exact(2).map(|p| (row(p[0]), row(p[1]) - row(p[0]))).filter(|r| r.1 > 0).collect()
    };
    heights.into_iter().map(runs).collect()
}

/// All cells that share inner points with the region.
fn inside_or_touched(region: &Region, cell: f64, slack: f64) -> Vec<Runs> {
    let width = region.bounds().map_or(0.0, |b| b.max.x) + slack;
    let columns = (width / cell - 1e-9).ceil().max(0.0) as usize;
    let (touched, centres) =
        (touched(region, cell, slack, columns), centres(region, cell, columns));
    let both = |(mut a, b): (Runs, Runs)| {
        a.extend(b);
        // The box begins at the origin: rows below it are slack.
        joined(
            a.into_iter().map(|(f, n)| (f.max(0), f + n - f.max(0))).filter(|r| r.1 > 0).collect(),
        )
    };
    touched.into_iter().zip(centres).map(both).collect()
}

/// Cells of an offcut: a bit is set where nothing more may lie.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Mask {
    columns: i32,
    rows: i32,
    words: usize,
    bits: Vec<u64>,
    /// The longest run of free cells in each column.
    longest: Vec<i32>,
    /// Free cells.
    pub free: i64,
}

impl Mask {
    /// The cells of a region whose box begins at the origin; only those wholly inside and off the
    /// `keep_out` are free.
    pub fn new(region: &Region, keep_out: &[Region], cell: f64) -> Mask {
        let b = region.bounds().map_or((0.0, 0.0), |b| (b.max.x, b.max.y));
        let (columns, rows) = ((b.0 / cell).ceil() as i32, (b.1 / cell).ceil() as i32);
        let mut mask = Mask::full(columns, rows);
        for (k, runs) in centres(region, cell, columns as usize).iter().enumerate() {
            runs.iter().for_each(|&r| mask.write(k as i32, r, false));
        }
        for (k, runs) in touched(region, cell, 0.0, columns as usize).iter().enumerate() {
            runs.iter().for_each(|&r| mask.write(k as i32, r, true));
        }
        for flaw in keep_out {
            for (k, runs) in touched(flaw, cell, 0.0, columns as usize)
                .iter()
                .zip(centres(flaw, cell, columns as usize))
                .enumerate()
            {
                runs.0.iter().chain(&runs.1).for_each(|&r| mask.write(k as i32, r, true));
            }
        }
        mask.count();
        mask
    }

    /// A rectangle of free cells.
    pub fn open(columns: i32, rows: i32) -> Mask {
        let mut mask = Mask::full(columns, rows);
        (0..columns).for_each(|k| mask.write(k, (0, rows), false));
        mask.count();
        mask
    }

    fn full(columns: i32, rows: i32) -> Mask {
        let words = rows as usize / 64 + 1;
        Mask {
            columns,
            rows,
            words,
            bits: vec![u64::MAX; words * columns as usize],
            longest: vec![0; columns as usize],
            free: 0,
        }
    }

    fn count(&mut self) {
        self.free = self.bits.iter().map(|w| i64::from(w.count_zeros())).sum();
        (0..self.columns as usize).for_each(|k| {
            self.longest[k] = longest_free(&self.bits[k * self.words..(k + 1) * self.words])
        });
    }

    fn write(&mut self, column: i32, (from, count): (i32, i32), taken: bool) {
        if column < 0 || column >= self.columns {
            return;
        }
        let at = column as usize * self.words;
        let (from, to) = (from.max(0), (from + count).min(self.rows));
        let mut y = from;
        while y < to {
            let (word, bit) = ((y / 64) as usize, y % 64);
            let n = (64 - bit).min(to - y);
            let bits = if n == 64 { u64::MAX } else { ((1_u64 << n) - 1) << bit };
            if taken {
                self.bits[at + word] |= bits;
            } else {
                self.bits[at + word] &= !bits;
            }
            y += n;
        }
    }

    /// Takes the cells of a shape at (column, row) and those nearer than the gap.
    pub fn take(&mut self, cover: &Cover, at: (i32, i32)) {
        for (k, runs) in cover.grown.iter().enumerate() {
            let column = at.0 + k as i32 - cover.reach;
            if column < 0 || column >= self.columns {
                continue;
            }
            let words = column as usize * self.words..(column as usize + 1) * self.words;
            let free = |bits: &[u64]| bits.iter().map(|w| i64::from(w.count_zeros())).sum::<i64>();
            self.free -= free(&self.bits[words.clone()]);
            runs.iter().for_each(|r| self.write(column, (r.0 + at.1, r.1), true));
            self.free += free(&self.bits[words.clone()]);
            self.longest[column as usize] = longest_free(&self.bits[words]);
        }
    }

    /// The first column from the left (or right), and in it the lowest (or highest) row, where the
    /// shape is free.
    #[cfg(test)]
    pub fn find(&self, cover: &Cover, from_right: bool, from_top: bool) -> Option<(i32, i32)> {
        self.find_on(cover, from_right, from_top, &mut 0)
    }

    /// The same from the column on that is `step` columns from the side; where it ended is left
    /// there. Nothing that is taken later sets a shape free in the columns before.
    pub fn find_on(
        &self,
        cover: &Cover,
        from_right: bool,
        from_top: bool,
        step: &mut i32,
    ) -> Option<(i32, i32)> {
        let last = self.columns - cover.columns.len() as i32;
        let top = self.rows - cover.height;
        if last < 0 || top < 0 || cover.cells > self.free {
            return None;
        }
        let mut blocked = vec![0_u64; top as usize / 64 + 1];
        let mut spreads = Spreads::new(self);
        let mut cores: Vec<CoreRow> = cover.cores.iter().map(|&core| CoreRow::new(core)).collect();
        while *step <= last {
            let cx = if from_right { last - *step } else { *step };
            let here = &self.longest[cx as usize..cx as usize + cover.tallest.len()];
            let low = here.iter().zip(&cover.tallest).any(|(free, need)| free < need);
            blocked.fill(0);
            if let Some(w) = blocked.last_mut() {
                // Rows above the last are no positions.
                *w = if top % 64 == 63 { 0 } else { u64::MAX << (top % 64 + 1) };
            }
            if !low
                && cores.iter_mut().all(|core| core.leaves(cx as usize, &mut spreads, &mut blocked))
                && let Some(cy) = cover.row(cx as usize, from_top, &mut spreads, &mut blocked)
            {
                return Some((cx, cy));
            }
            *step += 1;
        }
        None
    }
}

impl Cover {
    /// The lowest (or highest) row that is not blocked once all cells are looked at.
    fn row(
        &self,
        cx: usize,
        from_top: bool,
        spreads: &mut Spreads<'_>,
        blocked: &mut [u64],
    ) -> Option<i32> {
        for &k in &self.order {
            for &(low, count) in &self.columns[k] {
                if self.cores.iter().any(|core| core.is(k, low, count)) {
                    continue;
                }
                let (bits, by) = spreads.of(cx + k, count);
                if !or_from(blocked, bits, &[low, low + by]) {
                    return None;
                }
            }
        }
        if from_top {
            let word = blocked.iter().rposition(|w| *w != u64::MAX)?;
            Some(word as i32 * 64 + 63 - (!blocked[word]).leading_zeros() as i32)
        } else {
            let word = blocked.iter().position(|w| *w != u64::MAX)?;
            Some(word as i32 * 64 + (!blocked[word]).trailing_zeros() as i32)
        }
    }
}

/// The columns of an offcut as they are blocked for runs of cells: worked out once, twice as long a
/// run at a time.
struct Spreads<'a> {
    mask: &'a Mask,
    /// Of each column how many are worked out: bit y of the k-th is set if anything is taken in
    /// y .. y + 2^k.
    done: Vec<usize>,
    /// By k.
    bits: Vec<Vec<u64>>,
}

impl<'a> Spreads<'a> {
    fn new(mask: &'a Mask) -> Spreads<'a> {
        Spreads { mask, done: vec![0; mask.columns as usize], bits: Vec::new() }
    }

    /// Of a column bits that tell, with the same moved down, where a run is blocked; by how much
    /// they are moved.
    fn of(&mut self, column: usize, count: i32) -> (&[u64], i32) {
        let level = (31 - count.max(1).leading_zeros()) as usize;
        let words = self.mask.words;
        let at = column * words..(column + 1) * words;
        while self.done[column] < level {
            #[cfg(test)]
            SPREADS.with(|n| n.set(n.get() + 1));
            let k = self.done[column];
            if self.bits.len() == k {
                self.bits.push(vec![0; self.mask.bits.len()]);
            }
            let (before, here) = self.bits.split_at_mut(k);
            let from = before.last().map_or(&self.mask.bits, |b| b);
            let to = &mut here[0][at.clone()];
            to.copy_from_slice(&from[at.clone()]);
            or_from(to, &from[at.clone()], &[1 << k]);
            self.done[column] = k + 1;
        }
        let bits = if level == 0 { &self.mask.bits } else { &self.bits[level - 1] };
        (&bits[at], count - (1 << level))
    }
}

/// Where a core is not free, column by column of positions. What its columns are blocked by is kept
/// in blocks as long as the core is wide, from each column to the end of its block and from the
/// beginning of its block: a window is then two of these, however wide it is.
struct CoreRow {
    core: Core,
    /// The block whose ends are in `to_end`, and that whose beginnings are in `from_start`.
    blocks: [usize; 2],
    to_end: Vec<u64>,
    from_start: Vec<u64>,
}

impl CoreRow {
    fn new(core: Core) -> CoreRow {
        CoreRow { core, blocks: [usize::MAX; 2], to_end: Vec::new(), from_start: Vec::new() }
    }

    /// Adds what is blocked of a column of positions; false if all is.
    fn leaves(&mut self, cx: usize, spreads: &mut Spreads<'_>, blocked: &mut [u64]) -> bool {
        let (wide, words) = (self.core.columns, spreads.mask.words);
        let first = cx + self.core.from;
        let (block, at) = (first / wide, first % wide);
        if self.blocks[0] != block {
            self.to_end = self.block(block, spreads);
            for k in (1..wide).rev() {
                let (left, right) = self.to_end.split_at_mut(k * words);
                or(&mut left[(k - 1) * words..], &right[..words]);
            }
            self.blocks[0] = block;
        }
        // A window that begins its block is in that block alone.
        if at > 0 && self.blocks[1] != block + 1 {
            self.from_start = self.block(block + 1, spreads);
            for k in 1..wide {
                let (left, right) = self.from_start.split_at_mut(k * words);
                or(&mut right[..words], &left[(k - 1) * words..]);
            }
            self.blocks[1] = block + 1;
        }
        let ends = &self.to_end[at * words..(at + 1) * words];
        or_from(blocked, ends, &[self.core.low])
            && (at == 0
                || or_from(
                    blocked,
                    &self.from_start[(at - 1) * words..at * words],
                    &[self.core.low],
                ))
    }

    /// The columns of a block, each blocked for the core's rows; nothing is free beyond the offcut.
    fn block(&self, block: usize, spreads: &mut Spreads<'_>) -> Vec<u64> {
        let (wide, words) = (self.core.columns, spreads.mask.words);
        let mut out = vec![u64::MAX; wide * words];
        for (k, column) in out.chunks_exact_mut(words).enumerate() {
            if block * wide + k < spreads.mask.columns as usize {
                column.fill(0);
                let (bits, by) = spreads.of(block * wide + k, self.core.rows);
                or_from(column, bits, &[0, by]);
            }
        }
        out
    }
}

fn or(to: &mut [u64], from: &[u64]) {
    to.iter_mut().zip(from).for_each(|(a, b)| *a |= b);
}

/// Adds bits, moved down by each of `by`; false if all are set then. Above the last word all is
/// taken.
fn or_from(to: &mut [u64], bits: &[u64], by: &[i32]) -> bool {
    let mut open = false;
    for &by in by {
        let (whole, part) = (by as usize / 64, by as u32 % 64);
        let get = |w: usize| bits.get(w + whole).copied().unwrap_or(u64::MAX);
        open = false;
        for (w, word) in to.iter_mut().enumerate() {
            // Twice moved, for a word cannot be moved by 64.
            *word |= (get(w) >> part) | (get(w + 1) << 1 << (63 - part));
            open |= *word != u64::MAX;
        }
    }
    open
}

#[cfg(test)]
thread_local! {
    /// Columns spread so far: what a search costs.
    static SPREADS: std::cell::Cell<u64> = const { std::cell::Cell::new(0) };
}

/// The longest run of zeros.
fn longest_free(bits: &[u64]) -> i32 {
    let (mut best, mut run) = (0, 0);
    for &word in bits {
        let (mut rest, mut left) = (word, 64);
        while left > 0 {
            let zeros = (rest.trailing_zeros() as i32).min(left);
            run += zeros;
            best = best.max(run);
            left -= zeros;
            if left > 0 {
                rest >>= zeros;
                let ones = (rest.trailing_ones() as i32).min(left);
                run = 0;
                left -= ones;
                rest = if ones == 64 { 0 } else { rest >> ones };
            }
        }
    }
    best
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::geometry::{Ring, point};

    fn rectangle(x: f64, y: f64, w: f64, h: f64) -> Ring {
        vec![point(x, y), point(x + w, y), point(x + w, y + h), point(x, y + h)]
    }

    fn solid(w: f64, h: f64) -> Region {
        Region::solid(rectangle(0.0, 0.0, w, h))
    }

    #[test]
    fn a_shape_exactly_as_large_as_its_offcut_fits_and_a_larger_does_not() {
        let mask = Mask::new(&solid(100.0, 300.0), &[], 2.5);
        assert_eq!(mask.free, 40 * 120);
        for (right, top) in [(false, false), (true, true)] {
            assert_eq!(
                mask.find(&Cover::new(&solid(100.0, 300.0), 2.5, 5.0, 0.0), right, top),
                Some((0, 0))
            );
            assert_eq!(
                mask.find(&Cover::new(&solid(100.1, 10.0), 2.5, 5.0, 0.0), right, top),
                None
            );
            assert_eq!(
                mask.find(&Cover::new(&solid(10.0, 300.1), 2.5, 5.0, 0.0), right, top),
                None
            );
        }
    }

    #[test]
    fn corners_and_gap() {
        let mut mask = Mask::new(&solid(100.0, 300.0), &[], 2.5);
        let cover = Cover::new(&solid(50.0, 100.0), 2.5, 5.0, 0.0);
        assert_eq!(mask.find(&cover, true, true), Some((20, 80)));
        mask.take(&cover, (0, 0));
        // 100 mm are 40 rows; 5 mm of gap are two more.
        assert_eq!(mask.find(&cover, false, false), Some((0, 42)));
        assert_eq!(mask.find(&cover, true, false), Some((20, 42)), "beside it are only 45 mm");
    }

    #[test]
    fn holes_flaws_and_slopes_are_kept_off() {
        let mut ring = solid(100.0, 100.0);
        let mut hole = rectangle(40.0, 40.0, 20.0, 20.0);
        hole.reverse();
        ring.holes.push(hole);
        let flaw = Region::solid(rectangle(-10.0, 0.0, 50.0, 100.0));
        let mask = Mask::new(&ring, &[flaw], 1.0);
        assert_eq!(mask.free, 60 * 100 - 20 * 20);
        assert_eq!(
            mask.find(&Cover::new(&solid(60.0, 30.0), 1.0, 0.0, 0.0), false, false),
            Some((40, 0))
        );
        assert_eq!(mask.find(&Cover::new(&solid(60.0, 41.0), 1.0, 0.0, 0.0), false, false), None);
        let triangle = Region::solid(vec![point(0.0, 0.0), point(100.0, 0.0), point(0.0, 100.0)]);
        let mask = Mask::new(&triangle, &[], 1.0);
        // Its own cells are at least its area, the free ones at most; a slope through corners of
        // cells costs one more on either side.
        let cover = Cover::new(&triangle, 1.0, 0.0, 0.0).cells;
        assert!(
            (5000..=5200).contains(&cover) && (4800..=5000).contains(&mask.free),
            "{cover} {}",
            mask.free
        );
        assert_eq!(
            mask.find(&Cover::new(&triangle, 1.0, 0.0, 0.0), false, false),
            None,
            "the slope is never wholly inside"
        );
    }

    /// Every place tried, cell by cell.
    fn slowly(mask: &Mask, cover: &Cover, right: bool, top: bool) -> Option<(i32, i32)> {
        let (last, high) = (mask.columns - cover.columns.len() as i32, mask.rows - cover.height);
        let taken = |x: i32, y: i32| {
            mask.bits[x as usize * mask.words + y as usize / 64] >> (y % 64) & 1 == 1
        };
        let free = |x: i32, y: i32| {
            cover.columns.iter().enumerate().all(|(k, runs)| {
                let cells = runs.iter().flat_map(|r| r.0..r.0 + r.1);
                cells.into_iter().all(|dy| !taken(x + k as i32, y + dy))
            })
        };
        let turned = |on: bool, v: i32, last: i32| if on { last - v } else { v };
        let mut all = (0..=last).flat_map(|x| (0..=high).map(move |y| (x, y)));
        all.find(|&(x, y)| free(turned(right, x, last), turned(top, y, high)))
            .map(|(x, y)| (turned(right, x, last), turned(top, y, high)))
    }

    /// Rings, slanted shapes and shapes with holes, laid one after the other from every corner.
    #[test]
    fn what_is_found_is_what_trying_every_place_finds() {
        let star = |n: usize, size: f64, thin: f64| -> Ring {
            let at = |k: usize| {
                let r = if k.is_multiple_of(2) { size } else { size * thin };
                let a = std::f64::consts::PI * k as f64 / n as f64;
                point(size + r * libm::cos(a), size + r * libm::sin(a))
            };
            (0..2 * n).map(at).collect()
        };
        let home = |ring: Ring| {
            let low = crate::geometry::ring_bounds(&ring).unwrap().min;
            ring.into_iter().map(|p| p - low).collect::<Ring>()
        };
        let mut frame = solid(30.0, 22.0);
        frame.holes.push(rectangle(8.0, 6.0, 15.0, 11.0).into_iter().rev().collect());
        let shapes = [
            Region::solid(home(star(5, 13.0, 0.45))),
            Region::solid(home(star(3, 9.0, 0.8))),
            frame,
            solid(3.0, 41.0),
            Region::solid(vec![point(0.0, 0.0), point(70.0, 30.0), point(70.0, 36.0)]),
        ];
        let covers: Vec<Cover> = shapes.iter().map(|s| Cover::new(s, 1.0, 2.0, 0.0)).collect();
        let cloth = Region::solid(home(star(7, 68.0, 0.7)));
        for (right, top) in [(false, false), (true, false), (false, true), (true, true)] {
            let mut mask = Mask::new(&cloth, &[], 1.0);
            let mut begun = [0; 5];
            for round in 0..40 {
                let k = round % covers.len();
                let found = mask.find_on(&covers[k], right, top, &mut begun[k]);
                assert_eq!(found, slowly(&mask, &covers[k], right, top), "{round}");
                if let Some(at) = found {
                    mask.take(&covers[k], at);
                }
            }
            assert!(begun.iter().any(|b| *b > 20), "{begun:?}");
        }
    }

    /// Every column of a shape was spread anew at every place: an offcut two thousand cells long and
    /// full of flaws was looked at for seconds, again and again.
    #[test]
    fn a_place_costs_no_more_the_wider_the_shape() {
        // Each column has room for the shape, at the top or at the bottom.
        let flaws: Vec<Region> = (0..99)
            .map(|k| {
                let low = if k % 2 == 0 { 0.0 } else { 105.0 };
                Region::solid(rectangle(20.0 + 20.0 * f64::from(k), low, 2.0, 95.0))
            })
            .collect();
        let mask = Mask::new(&solid(2000.0, 200.0), &flaws, 1.0);
        let spent = |wide: f64| {
            let before = SPREADS.with(std::cell::Cell::get);
            let cover = Cover::new(&solid(wide, 100.0), 1.0, 0.0, 0.0);
            assert_eq!(mask.find(&cover, false, false), None);
            SPREADS.with(std::cell::Cell::get) - before
        };
        for wide in [50.0, 200.0, 800.0] {
            let columns = spent(wide);
            assert!((1..=2000 * 6).contains(&columns), "{wide}: {columns} columns");
        }
    }
}
