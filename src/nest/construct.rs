//! The first layout: bottom-left on a raster.
//!
//! Every stance is covered conservatively by cells, a column of cells is a row of bits, and a whole
//! column of positions is tested at once by shifted "or"s. No no-fit polygon is needed, holes and
//! flaws cost nothing extra, and because occupied cells only grow in number a stance never has to
//! look again at columns where it once failed. Positions are whole cells, so the layout is exact.

use super::convex::{Convex, Frame, Vertex, offset};
use super::cover::{Cover, cover};
use super::layout::{Layout, Spot};
use super::random::Random;
use super::setup::{ENDLESS, Setup};
use std::collections::BTreeMap;

/// Cells across a piece of mean size, for few and for many pieces.
const CELLS_ACROSS: [(usize, f64); 3] = [(150, 28.0), (500, 20.0), (usize::MAX, 12.0)];
/// Most rows of the raster.
const MOST_ROWS: i64 = 4096;
/// Most columns of one piece.
const MOST_COLUMNS: f64 = 50_000.0;
/// Most cells around the stock for what reaches beyond its edges.
const MOST_AROUND: i64 = 32;

/// Places every item; those that fit only a fixed stock, in which no place is found for them, are
/// left out of the setup. `None` if `stop` said so before all had been tried. Once it is `late`,
/// what is left is laid in rows beyond the rest.
pub(super) fn construct(
    setup: &mut Setup,
    stop: &dyn Fn() -> bool,
    late: &dyn Fn() -> bool,
) -> Option<Layout> {
    let (mut layout, homeless, left) = place_all(setup, &|i| setup.kind(i).area, stop, late)?;
    let homeless = [homeless, rows(setup, &mut layout, &left)].concat();
    if !homeless.is_empty() {
        let mut keep = (0..setup.items.len()).map(|i| !homeless.contains(&i));
        layout.spots.retain(|_| keep.next().unwrap_or(true));
        setup.leave_out(&homeless);
    }
    layout.length = layout.measured(setup);
    Some(layout)
}

/// A plain first layout, should [`construct`]'s ever break a rule: in rows beyond all flaws. Items
/// that fit only fixed stocks are left out of the setup.
pub(super) fn in_rows(setup: &mut Setup) -> Layout {
    let strip = setup.strip();
    let homeless: Vec<usize> =
        (0..setup.items.len()).filter(|&i| setup.kind(i).fits[strip].is_empty()).collect();
    setup.leave_out(&homeless);
    let all: Vec<usize> = (0..setup.items.len()).collect();
    let mut layout = Layout { spots: vec![Spot::default(); all.len()], ..Layout::default() };
    rows(setup, &mut layout, &all);
    layout.length = layout.measured(setup);
    layout
}

/// Lays items in rows across the strip, beyond all flaws and all else that lies on it, so that a
/// bench end may lie between any two rows. Returns those that fit only fixed stocks.
fn rows(setup: &Setup, layout: &mut Layout, items: &[usize]) -> Vec<usize> {
    let strip = setup.strip();
    let bin = &setup.bins[strip];
    let apart = setup.most_clearance() + setup.most_clearance_of_blocks();
    let frame = |base: u32, quarter: u8| setup.bases[base as usize].frames[usize::from(quarter)];
    let mut is_new = vec![false; layout.spots.len()];
    items.iter().for_each(|&i| is_new[i] = true);
    let blocks = bin.blocks.iter().map(|b| frame(b.base, b.quarter).moved(b.at).max.x);
    let lying = (0..layout.spots.len())
        .filter(|&i| !is_new[i] && usize::from(layout.spots[i].bin) == strip);
    let lying = lying.map(|i| {
        let s = layout.stance(setup, i);
        frame(s.base, s.quarter)
            .moved(layout.spots[i].grid())
            .max
            .x
            .max(layout.tight(setup, i).max.x)
    });
    let mut end = blocks.chain(lying).map(|x| x + apart).fold(0, i64::max);
    // The shortest way each may lie along the strip; the longest first, so that rows hold what is
    // about as long.
    let mut order: Vec<(i64, usize, u16)> = Vec::new();
    let mut homeless = Vec::new();
    for &item in items {
        let kind = setup.kind(item);
        let shortest =
            kind.fits[strip].iter().map(|&s| (kind.stances[usize::from(s)].tight.width(), s)).min();
        match shortest {
            Some((width, stance)) => order.push((width, item, stance)),
            None => homeless.push(item),
        }
    }
    order.sort_by_key(|o| (std::cmp::Reverse(o.0), o.1));
    let (mut next, mut up) = (end, bin.frame.min.y);
    for (_, item, shortest) in order {
        let stance = &setup.kind(item).stances[usize::from(shortest)];
        // The search's outline may reach a little beyond the true one.
        let (parts, tight) = (frame(stance.base, stance.quarter), stance.tight);
        let (low, high) = (parts.min.y.min(tight.min.y), parts.max.y.max(tight.max.y));
        if up > bin.frame.min.y && up + (high - low) > bin.frame.max.y {
            (end, up) = (next, bin.frame.min.y);
        }
        // At the edge of the strip the true outline counts.
        let y = if up > bin.frame.min.y { up - low } else { up - tight.min.y };
        let x = end - parts.min.x.min(tight.min.x);
        layout.spots[item] = Spot { bin: strip as u16, stance: shortest, x: x as f64, y: y as f64 };
        up = y + high + apart;
        next = next.max(x + parts.max.x.max(tight.max.x) + apart);
    }
    homeless
}

/// Another first layout: large items come first, but for chance. `None` also if an item finds no
/// place.
pub(super) fn construct_anew(
    setup: &Setup,
    random: &mut Random,
    stop: &dyn Fn() -> bool,
) -> Option<Layout> {
    let sizes: Vec<f64> =
        (0..setup.items.len()).map(|i| setup.kind(i).area * random.between(0.5, 1.5)).collect();
    let (mut layout, homeless, _) = place_all(setup, &|i| sizes[i], stop, &|| false)?;
    layout.length = layout.measured(setup);
    Some(layout).filter(|_| homeless.is_empty())
}

/// A layout of all items, placed from the largest `size` down; those for which no place was found,
/// and those left once it was `late`.
fn place_all(
    setup: &Setup,
    size: &dyn Fn(usize) -> f64,
    stop: &dyn Fn() -> bool,
    late: &dyn Fn() -> bool,
) -> Option<(Layout, Vec<usize>, Vec<usize>)> {
    let mut raster = Raster::new(setup);
    let mut turn: Vec<usize> = (0..setup.items.len()).collect();
    turn.sort_by(|&a, &b| size(b).total_cmp(&size(a)).then(a.cmp(&b)));
    let mut layout =
        Layout { spots: vec![Spot::default(); setup.items.len()], ..Layout::default() };
    let (mut homeless, mut left) = (Vec::new(), Vec::new());
    for item in turn {
        if stop() {
            return None;
        }
        if !left.is_empty() || late() {
            left.push(item);
            continue;
        }
        match raster.place(item) {
            Some(spot) => layout.spots[item] = spot,
            None => homeless.push(item),
        }
    }
    if left.is_empty() {
        raster.close_segments(&mut layout);
    }
    Some((layout, homeless, left))
}

struct Raster<'a> {
    setup: &'a Setup,
    cell: i64,
    words: usize,
    /// Columns left of the stock and rows below it: the search's outlines may reach a little beyond
    /// the true ones, and must not meet there.
    around: i64,
    /// Occupied cells by bin: columns of `words` words.
    bins: Vec<Vec<u64>>,
    /// Covers by (base, quarter): as it tests, as it marks.
    covers: BTreeMap<(u32, u8), (Cover, Cover)>,
    /// By (base, quarter, bin): the first column not yet known to be full for it.
    first: BTreeMap<(u32, u8, usize, bool), i64>,
}

impl<'a> Raster<'a> {
    fn new(setup: &'a Setup) -> Raster<'a> {
        let n = setup.items.len();
        let across = CELLS_ACROSS.iter().find(|c| n <= c.0).map_or(12.0, |c| c.1);
        let height = setup.bins.iter().map(|r| r.frame.height()).max().unwrap_or(1).max(1);
        let longest = setup.kinds.iter().map(|k| k.extent).fold(0.0, f64::max);
        let cell = ((setup.mean_area.sqrt() / across).max(longest / MOST_COLUMNS) as i64)
            .max(height / MOST_ROWS)
            .max(1);
        let cell = setup.segment.map_or(cell, |s| dividing(s, cell));
        let beyond = |base: u32, quarter: u8, tight: Frame| {
            let parts = setup.bases[base as usize].frames[usize::from(quarter)].min;
            (tight.min.x - parts.x).max(tight.min.y - parts.y)
        };
        let stances = setup.kinds.iter().flat_map(|k| &k.stances);
        let most = stances.map(|s| beyond(s.base, s.quarter, s.tight)).fold(0, i64::max);
        let around = ((most + cell - 1) / cell).min(MOST_AROUND);
        let words = ((height / cell + 2 * around) / 64 + 2) as usize;
        let mut raster = Raster {
            setup,
            cell,
            words,
            around,
            bins: vec![Vec::new(); setup.bins.len()],
            covers: BTreeMap::new(),
            first: BTreeMap::new(),
        };
        let by = setup.most_clearance_of_blocks();
        for (r, bin) in setup.bins.iter().enumerate() {
            for block in &bin.blocks {
                let moved = |p: &Convex| -> Convex {
                    p.iter().map(|v| v.plus(block.at).minus(bin.frame.min)).collect()
                };
                let grown = |p: Convex| if by > 0 { offset(&p, by) } else { p };
                let turned = &setup.bases[block.base as usize].turned[usize::from(block.quarter)];
                let parts: Vec<Convex> = turned.iter().map(moved).map(grown).collect();
                // Blocks may reach far outside the bin: only what lies inside counts.
                let columns = if bin.frame.max.x == ENDLESS {
                    i64::MAX
                } else {
                    bin.frame.width() / cell + 1 + around
                };
                let cover =
                    cover(&parts, cell, (-around, columns), (-around, words as i64 * 64 - around));
                raster.mark(r, &cover, 0, 0);
            }
        }
        raster
    }

    fn ensure_cover(&mut self, base: u32, quarter: u8, corner: Vertex) {
        let (setup, cell, rows) = (self.setup, self.cell, self.words as i64 * 64);
        self.covers.entry((base, quarter)).or_insert_with(|| {
            let parts: Vec<Convex> = setup.bases[base as usize].turned[usize::from(quarter)]
                .iter()
                .map(|p| p.iter().map(|v| v.minus(corner)).collect())
                .collect();
            let by = setup.most_clearance();
            let grown: Vec<Convex> =
                if by > 0 { parts.iter().map(|p| offset(p, by)).collect() } else { parts.clone() };
            let all = (i64::MIN / 4, i64::MAX / 4);
            (cover(&parts, cell, all, (-rows, rows)), cover(&grown, cell, all, (-rows, rows)))
        });
    }

    /// The place that ends furthest left in the most preferred bin, over all stances; marked as
    /// taken.
    fn place(&mut self, item: usize) -> Option<Spot> {
        let setup = self.setup;
        let kind = setup.kind(item);
        for bin in 0..setup.bins.len() {
            let mut best: Option<(i64, i64, i64, u16)> = None;
            for &s in &kind.fits[bin] {
                let stance = &kind.stances[usize::from(s)];
                self.ensure_cover(stance.base, stance.quarter, stance.tight.min);
                let ends_before = best.map_or(i64::MAX, |b| b.0);
                if let Some((cx, cy)) = self.find(
                    bin,
                    stance.base,
                    stance.quarter,
                    stance.tight,
                    kind.may_cross,
                    ends_before,
                ) {
                    let end = cx * self.cell + stance.tight.width();
                    if best.is_none_or(|b| (end, cx, cy) < (b.0, b.1, b.2)) {
                        best = Some((end, cx, cy, s));
                    }
                }
            }
            if let Some((_, cx, cy, s)) = best {
                let stance = &kind.stances[usize::from(s)];
                let key = (stance.base, stance.quarter);
                if let Some(both) = self.covers.remove(&key) {
                    self.mark(bin, &both.1, cx, cy);
                    self.covers.insert(key, both);
                }
                if let Some((next, true)) = self
                    .segment_for(bin, kind.may_cross)
                    .map(|s| self.overhang(cx, stance.tight, s))
                {
                    self.mark(
                        bin,
                        &Cover {
                            columns: vec![vec![(0, self.words as u32 * 64)]],
                            left: 0,
                            low: -self.around,
                        },
                        next,
                        0,
                    );
                }
                let at = setup.bins[bin].frame.min.minus(stance.tight.min);
                return Some(Spot {
                    bin: bin as u16,
                    stance: s,
                    x: (at.x + cx * self.cell) as f64,
                    y: (at.y + cy * self.cell) as f64,
                });
            }
        }
        None
    }

    /// First column and lowest row where the stance is free, ending before `ends_before` µm.
    fn find(
        &mut self,
        bin: usize,
        base: u32,
        quarter: u8,
        tight: Frame,
        may_cross: bool,
        ends_before: i64,
    ) -> Option<(i64, i64)> {
        let frame = self.setup.bins[bin].frame;
        let last = if frame.max.x == ENDLESS {
            i64::MAX
        } else {
            (frame.width() - tight.width()) / self.cell
        };
        let top = (frame.height() - tight.height()) / self.cell;
        let key = (base, quarter, bin, may_cross);
        let segment = self.segment_for(bin, may_cross);
        let cover = &self.covers.get(&(base, quarter))?.0;
        let mut cx = self.first.get(&key).copied().unwrap_or(0);
        let mut found = None;
        while cx <= last && cx.saturating_mul(self.cell).saturating_add(tight.width()) < ends_before
        {
            if let Some(s) = segment {
                let (start, stride) = self.segment_of(cx, s);
                let ends = (cx - start) * self.cell + tight.width();
                // A piece longer than the whole cells of a segment begins with it, and nothing may
                // begin where it ends.
                let (next, over) = self.overhang(cx, tight, s);
                if ends > s || (ends > stride * self.cell && !(over && self.is_free(bin, next))) {
                    cx = start + stride;
                    continue;
                }
            }
            if let Some(cy) =
                lowest_free(&self.bins[bin], self.words, cover, (cx, self.around), top)
            {
                found = Some((cx, cy));
                break;
            }
            cx += 1;
        }
        self.first.insert(key, cx);
        found
    }

    /// First column of the segment that holds column `cx`, and columns from one segment to the
    /// next.
    fn segment_of(&self, cx: i64, segment: i64) -> (i64, i64) {
        // Whole cells, never more than the segment: else every segment would begin a little later
        // than its bench end may lie.
        let stride = (segment / self.cell).max(1);
        (cx / stride * stride, stride)
    }

    /// The bench, where an item in a bin may not lie across its end.
    fn segment_for(&self, bin: usize, may_cross: bool) -> Option<i64> {
        self.setup.segment.filter(|_| self.setup.bins[bin].frame.max.x == ENDLESS && !may_cross)
    }

    /// First column of the next segment, and whether an item at `cx` fills its own segment and
    /// reaches into that column.
    fn overhang(&self, cx: i64, tight: Frame, segment: i64) -> (i64, bool) {
        let (start, stride) = self.segment_of(cx, segment);
        (start + stride, cx == start && tight.width() > stride * self.cell)
    }

    fn is_free(&self, bin: usize, column: i64) -> bool {
        let from = (column + self.around) as usize * self.words;
        self.bins[bin].get(from..from + self.words).is_none_or(|c| c.iter().all(|&w| w == 0))
    }

    fn mark(&mut self, bin: usize, cover: &Cover, cx: i64, cy: i64) {
        let (words, around, grid) = (self.words, self.around, &mut self.bins[bin]);
        for (k, runs) in cover.columns.iter().enumerate() {
            let x = cx + cover.left + k as i64 + around;
            if x < 0 {
                continue;
            }
            let at = x as usize * words;
            if grid.len() < at + words {
                grid.resize(at + words, 0);
            }
            for &(low, count) in runs {
                let from = (cy + cover.low + i64::from(low) + around).max(0);
                let to = (cy + cover.low + i64::from(low) + i64::from(count) + around)
                    .min(words as i64 * 64);
                for y in from..to {
                    grid[at + (y / 64) as usize] |= 1 << (y % 64);
                }
            }
        }
    }

    /// Moves each bench segment up to the one before, as near as the gap lets it. Where a piece
    /// lies across bench ends everything stays: landing puts the ends where no other piece is.
    fn close_segments(&self, layout: &mut Layout) {
        let Some(segment) = self.setup.segment else {
            return;
        };
        let strip = self.setup.strip();
        let on_strip: Vec<usize> = (0..layout.spots.len())
            .filter(|&i| usize::from(layout.spots[i].bin) == strip)
            .collect();
        if on_strip.iter().any(|&i| self.setup.kind(i).may_cross)
            || !self.setup.bins[strip].blocks.is_empty()
        {
            return;
        }
        let mut groups: BTreeMap<i64, Vec<usize>> = BTreeMap::new();
        for &i in &on_strip {
            groups
                .entry(self.segment_of(layout.tight(self.setup, i).min.x / self.cell, segment).0)
                .or_default()
                .push(i);
        }
        // By the boxes of the parts: the search's outlines may reach a little beyond the true ones.
        let parts = |layout: &Layout, i: usize| {
            let s = layout.stance(self.setup, i);
            self.setup.bases[s.base as usize].frames[usize::from(s.quarter)]
                .moved(layout.spots[i].grid())
        };
        let mut end = i64::MIN;
        for items in groups.into_values() {
            let start = items.iter().map(|&i| parts(layout, i).min.x).min().unwrap_or(0);
            let by = if end == i64::MIN {
                0
            } else {
                (start - end - self.setup.most_clearance()).max(0)
            };
            for i in items {
                layout.spots[i].x -= by as f64;
                end = end.max(parts(layout, i).max.x);
            }
        }
    }
}

/// A cell about as large as `cell`, never smaller, that leaves least of a bench segment over.
fn dividing(segment: i64, cell: i64) -> i64 {
    let most = (segment / cell).max(1);
    let best = (most - most / 4..=most).rev().min_by_key(|k| segment % k.max(&1)).unwrap_or(1);
    (segment / best.max(1)).max(1)
}

/// The lowest row from 0 to `top` at which the cover meets no occupied cell, at column `cx`. The
/// grid begins `around` cells before the stock.
fn lowest_free(
    grid: &[u64],
    words: usize,
    cover: &Cover,
    (cx, around): (i64, i64),
    top: i64,
) -> Option<i64> {
    if top < 0 {
        return None;
    }
    let mut blocked = [0_u64; (MOST_ROWS + 2 * MOST_AROUND) as usize / 64 + 2];
    // One word of rows below the stock: the search's outline may begin a little below the true one.
    let mut spread = [0_u64; (MOST_ROWS + 2 * MOST_AROUND) as usize / 64 + 3];
    let need = (top / 64 + 1) as usize;
    for (k, runs) in cover.columns.iter().enumerate() {
        let x = cx + cover.left + k as i64 + around;
        if x < 0 || (x as usize + 1) * words > grid.len() {
            continue;
        }
        let column = &grid[x as usize * words..(x as usize + 1) * words];
        if column.iter().all(|&w| w == 0) {
            continue;
        }
        for &(low, count) in runs {
            spread[0] = 0;
            spread[1..=words].copy_from_slice(column);
            // Bit y of the spread: something occupied in y .. y + count.
            let mut done = 1;
            while done < count {
                let by = done.min(count - done);
                or_shifted_down(&mut spread[..=words], by as usize);
                done += by;
            }
            let by = cover.low + i64::from(low) + around + 64;
            for (w, word) in blocked.iter_mut().enumerate().take(need) {
                *word |= bits_at(&spread[..=words], w as i64 * 64 + by);
            }
        }
        if (0..need).all(|w| blocked[w] == u64::MAX) {
            return None;
        }
    }
    (0..need)
        .find_map(|w| {
            (blocked[w] != u64::MAX)
                .then(|| w as i64 * 64 + i64::from((!blocked[w]).trailing_zeros()))
        })
        .filter(|&y| y <= top)
}

/// `bits |= bits >> by` over several words.
fn or_shifted_down(bits: &mut [u64], by: usize) {
    let (whole, part) = (by / 64, by % 64);
    for w in 0..bits.len() {
        let low = bits.get(w + whole).copied().unwrap_or(0);
        let high = bits.get(w + whole + 1).copied().unwrap_or(0);
        bits[w] |= if part == 0 { low } else { (low >> part) | (high << (64 - part)) };
    }
}

/// 64 bits from bit `from` on, zeros outside.
fn bits_at(bits: &[u64], from: i64) -> u64 {
    let (w, part) = (from.div_euclid(64), from.rem_euclid(64));
    let get = |w: i64| {
        if w < 0 { 0 } else { bits.get(w as usize).copied().unwrap_or(0) }
    };
    if part == 0 { get(w) } else { (get(w) >> part) | (get(w + 1) << (64 - part)) }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_column_is_tested_at_once() {
        let words = 2;
        let mut grid = vec![0_u64; 2 * words];
        grid[0] = 0xFF; // rows 0..8 of column 0
        grid[2] = 1 << 20; // row 20 of column 1
        let cover = Cover { columns: vec![vec![(0, 6)], vec![(0, 6)]], left: 0, low: 0 };
        assert_eq!(lowest_free(&grid, words, &cover, (0, 0), 100), Some(8));
        let tall = Cover { columns: vec![vec![(0, 16)], vec![(0, 16)]], left: 0, low: 0 };
        assert_eq!(lowest_free(&grid, words, &tall, (0, 0), 100), Some(21));
    }

    #[test]
    fn what_begins_below_the_stock_still_meets_what_lies_above_its_edge() {
        let mut grid = vec![0_u64; 2];
        grid[0] = 0xF0; // rows 4..8
        let cover = Cover { columns: vec![vec![(0, 6)]], left: 0, low: -1 };
        assert_eq!(lowest_free(&grid, 2, &cover, (0, 0), 100), Some(9));
    }

    /// The plain layout stands in if the raster's should ever break a rule: it must break none
    /// itself. Nor may what is left once it is late.
    #[test]
    fn items_in_rows_keep_every_rule() {
        use crate::geometry::{Region, point};
        use crate::nest::land::land;
        use crate::nest::problem::{Extent, Pose, Problem, Shape, Stock};
        let ring = |w: f64, h: f64| {
            vec![point(0.0, 0.0), point(w, 0.0), point(w, h), point(0.4 * w, 0.9 * h)]
        };
        let shape = |w: f64, h: f64, turn: f64| Shape {
            name: String::new(),
            region: Region::solid(ring(w, h)),
            poses: vec![Pose { turn, flip: false }, Pose { turn: turn + 15.0, flip: true }],
            tolerance: 0.0,
            copies: 7,
            may_cross: false,
        };
        let flaw = vec![point(30.0, 0.0), point(90.0, 0.0), point(90.0, 80.0), point(30.0, 80.0)];
        let extent =
            Extent::Open { low: 10.0, high: 510.0, segment_max: Some(400.0), length_max: None };
        let roll = Stock { name: String::new(), extent, keep_out: vec![flaw] };
        let shapes =
            vec![shape(300.0, 200.0, 15.0), shape(120.0, 40.0, 0.0), shape(350.0, 333.3, 45.0)];
        let problem = Problem::new(shapes, vec![roll], 5.0).unwrap_or_else(|f| panic!("{f}"));
        for before in [0, 1, 7, 20] {
            let placed = std::cell::Cell::new(0);
            let late = || placed.replace(placed.get() + 1) >= before;
            let mut setup = Setup::new(&problem);
            let layout =
                construct(&mut setup, &|| false, &late).unwrap_or_else(|| panic!("stopped"));
            assert_eq!((layout.spots.len(), setup.unplaced.len()), (21, 0));
            assert!(land(&setup, &layout, None).is_some(), "late after {before}");
        }
        let mut setup = Setup::new(&problem);
        let layout = in_rows(&mut setup);
        assert_eq!((layout.spots.len(), setup.unplaced.len()), (21, 0));
        let landed = land(&setup, &layout, None).unwrap_or_else(|| panic!("it breaks a rule"));
        assert!(
            landed.spots.iter().zip(&layout.spots).all(|(a, b)| a == b),
            "nothing had to be nudged"
        );
    }
}
