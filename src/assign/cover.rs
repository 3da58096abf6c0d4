//! Regions as cells: what a shape covers, and where it is free to lie.
//!
//! A cell belongs to a shape if they share inner points, so that shapes on disjoint cells are
//! disjoint whatever their outlines; positions are whole cells. A column of cells is a row of bits,
//! so that a whole column of positions is tested at once.

use crate::geometry::{Point, Region};

/// Slack of interpolated heights, mm: rounding must not lose a cell.
const SLACK: f64 = 1e-6;

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
        Cover { columns, grown, reach, height, cells, order, tallest }
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
    pub fn find(&self, cover: &Cover, from_right: bool, from_top: bool) -> Option<(i32, i32)> {
        let last = self.columns - cover.columns.len() as i32;
        let top = self.rows - cover.height;
        if last < 0 || top < 0 || cover.cells > self.free {
            return None;
        }
        let need = top as usize / 64 + 1;
        let mut blocked = vec![0_u64; need];
        let mut spread = vec![0_u64; self.words];
        for step in 0..=last {
            let cx = if from_right { last - step } else { step };
            let here = &self.longest[cx as usize..cx as usize + cover.tallest.len()];
            if here.iter().zip(&cover.tallest).any(|(free, need)| free < need) {
                continue;
            }
            blocked.fill(0);
            // Rows above the last are no positions.
            if let Some(w) = blocked.last_mut() {
                *w = if top % 64 == 63 { 0 } else { u64::MAX << (top % 64 + 1) };
            }
            if let Some(cy) = self.row(cover, cx, from_top, &mut blocked, &mut spread) {
                return Some((cx, cy));
            }
        }
        None
    }

    fn row(
        &self,
        cover: &Cover,
        cx: i32,
        from_top: bool,
        blocked: &mut [u64],
        spread: &mut [u64],
    ) -> Option<i32> {
        for &k in &cover.order {
            let at = (cx as usize + k) * self.words;
            let column = &self.bits[at..at + self.words];
            for &(low, count) in &cover.columns[k] {
                spread.copy_from_slice(column);
                // Bit y of the spread: something is taken in y .. y + count.
                let mut done = 1;
                while done < count {
                    let by = done.min(count - done);
                    or_shifted_down(spread, by as usize);
                    done += by;
                }
                let mut open = false;
                for (w, word) in blocked.iter_mut().enumerate() {
                    *word |= bits_at(spread, w * 64 + low as usize);
                    open |= *word != u64::MAX;
                }
                if !open {
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

/// `bits |= bits >> by` over several words; what comes from above the last word is taken.
fn or_shifted_down(bits: &mut [u64], by: usize) {
    let (whole, part) = (by / 64, by % 64);
    for w in 0..bits.len() {
        let low = bits.get(w + whole).copied().unwrap_or(u64::MAX);
        let high = bits.get(w + whole + 1).copied().unwrap_or(u64::MAX);
        bits[w] |= if part == 0 { low } else { (low >> part) | (high << (64 - part)) };
    }
}

/// 64 bits from bit `from` on, ones outside.
fn bits_at(bits: &[u64], from: usize) -> u64 {
    let (w, part) = (from / 64, from % 64);
    let get = |w: usize| bits.get(w).copied().unwrap_or(u64::MAX);
    if part == 0 { get(w) } else { (get(w) >> part) | (get(w + 1) << (64 - part)) }
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
}
