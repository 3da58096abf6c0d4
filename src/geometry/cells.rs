//! Areas as cells of a raster: whether one area may lie in another is told by shifted "and"s, far
//! quicker than by outlines, and on the safe side of both answers.

use super::point::Point;
use super::region::Ring;

/// Cells of a raster whose lower left corner is the origin: row by row, a bit a cell.
#[derive(Clone, Debug, PartialEq)]
pub struct Cells {
    rows: Vec<Vec<u64>>,
    columns: usize,
}

/// A raster of more cells than these is not worth its memory.
const MOST: f64 = 16e6;

/// What is nearer than this to the side of a cell lies on it, mm.
const HAIR: f64 = 1e-6;

/// What boundaries do in a row of cells.
#[derive(Clone, Default)]
struct Band {
    /// Stretches of x that they run through.
    edges: Vec<[f64; 2]>,
    /// Where they cross its lower line.
    crossings: Vec<f64>,
}

/// The rows that boundaries run through, from a height on.
fn bands(rings: &[&Ring], low: f64, size: f64, count: usize, whole: bool) -> Vec<Band> {
    let mut bands = vec![Band::default(); count];
    for ring in rings {
        for (i, a) in ring.iter().enumerate() {
            let b = ring[(i + 1) % ring.len()];
            let (a, b) = if a.y <= b.y { (*a, b) } else { (b, *a) };
            let row = |y: f64| ((y - low) / size).clamp(-1.0, count as f64);
            // What lies on a line between two rows is in both.
            let (from, to) = (row(a.y - HAIR).floor().max(0.0), row(b.y + HAIR).floor());
            let to = to.min(count as f64 - 1.0);
            if to < from {
                continue;
            }
            let at = |y: f64| {
                let share = if b.y > a.y { ((y - a.y) / (b.y - a.y)).clamp(0.0, 1.0) } else { 0.0 };
                a.x + share * (b.x - a.x)
            };
            let rows = from as usize..=to as usize;
            for (row, band) in
                bands.iter_mut().enumerate().take(*rows.end() + 1).skip(*rows.start())
            {
                let (bottom, top) = (low + row as f64 * size, low + (row + 1) as f64 * size);
                // One that lies along the row is run through whole; one on its side only takes
                // nothing of what is covered whole.
                let ends = if b.y > a.y { [at(bottom), at(top)] } else { [a.x, b.x] };
                if !whole || (b.y > bottom + HAIR && a.y < top - HAIR) {
                    band.edges.push([ends[0].min(ends[1]), ends[0].max(ends[1])]);
                }
                if a.y <= bottom && bottom < b.y {
                    band.crossings.push(at(bottom));
                }
            }
        }
    }
    bands.iter_mut().for_each(|b| b.crossings.sort_by(f64::total_cmp));
    bands
}

impl Cells {
    /// Whether a box has so many cells of this size that it is better judged by its outlines.
    pub fn are_too_many([wide, high]: [f64; 2], size: f64) -> bool {
        (wide / size + 1.0) * (high / size + 1.0) > MOST
    }

    /// The cells of this size, mm, that the rings together cover by the even-odd rule, seen from
    /// `origin`: all that are touched, or only those that are covered whole.
    pub fn of(
        rings: &[&Ring],
        origin: Point,
        [wide, high]: [f64; 2],
        size: f64,
        whole: bool,
    ) -> Cells {
        let count = |mm: f64| (mm / size).ceil().max(1.0) as usize;
        let (columns, count_rows) = (count(wide), count(high));
        let words = columns.div_ceil(64);
        let mut rows = Vec::with_capacity(count_rows);
        for Band { edges, crossings } in bands(rings, origin.y, size, count_rows, whole) {
            let inside = crossings.chunks_exact(2).map(|c| [c[0], c[1]]);
            let mut bits = vec![0_u64; words];
            // Outer bounds of a stretch in cells, and inner ones.
            let cell = |x: f64| ((x - origin.x) / size).clamp(0.0, columns as f64);
            for [a, b] in inside {
                let (from, to) = if whole {
                    (cell(a).ceil(), cell(b).floor())
                } else {
                    (cell(a).floor(), cell(b).ceil())
                };
                fill(&mut bits, from as usize, to as usize, true);
            }
            for [a, b] in edges {
                // Rounding neither loses what runs along a cell's side nor takes a cell for it.
                let hair = if whole { -HAIR } else { HAIR };
                let (from, to) = (cell(a - hair).floor(), cell(b + hair).ceil());
                fill(&mut bits, from as usize, to as usize, !whole);
            }
            rows.push(bits);
        }
        Cells { rows, columns }
    }

    /// Takes cells away that another raster of the same origin and size has.
    pub fn take(&mut self, other: &Cells) {
        for (row, less) in self.rows.iter_mut().zip(&other.rows) {
            row.iter_mut().zip(less).for_each(|(w, l)| *w &= !l);
        }
    }

    /// Whether all these cells, moved by whole cells, lie among those of another raster.
    pub fn fit_in(&self, other: &Cells) -> bool {
        // Empty rows at the ends ask for nothing.
        let used: Vec<(usize, Vec<[usize; 2]>)> = self
            .rows
            .iter()
            .enumerate()
            .map(|(j, row)| (j, runs(row, self.columns)))
            .filter(|(_, runs)| !runs.is_empty())
            .collect();
        let (Some(first), Some(last)) = (used.first(), used.last()) else { return true };
        let (first, last) = (first.0, last.0);
        let left = used.iter().flat_map(|u| &u.1).map(|r| r[0]).min().unwrap_or(0);
        if last - first >= other.rows.len() {
            return false;
        }
        (0..other.rows.len() - (last - first)).any(|down| {
            let words = other.columns.div_ceil(64);
            let mut free = vec![u64::MAX; words];
            for (j, stretches) in &used {
                let row = &other.rows[down + j - first];
                for [from, to] in stretches {
                    let long = in_a_row(row, to - from);
                    let moved = shifted(&long, from - left);
                    free.iter_mut().zip(&moved).for_each(|(f, m)| *f &= m);
                }
                if free.iter().all(|w| *w == 0) {
                    return false;
                }
            }
            true
        })
    }
}

fn fill(bits: &mut [u64], from: usize, to: usize, on: bool) {
    for i in from..to {
        let bit = 1 << (i % 64);
        if on { bits[i / 64] |= bit } else { bits[i / 64] &= !bit }
    }
}

/// Stretches of set bits.
fn runs(row: &[u64], columns: usize) -> Vec<[usize; 2]> {
    let is_set = |i: usize| row[i / 64] >> (i % 64) & 1 == 1;
    let mut out: Vec<[usize; 2]> = Vec::new();
    for i in (0..columns).filter(|&i| is_set(i)) {
        match out.last_mut().filter(|r| r[1] == i) {
            Some(run) => run[1] += 1,
            None => out.push([i, i + 1]),
        }
    }
    out
}

/// Bits from which so many in a row are set.
fn in_a_row(row: &[u64], count: usize) -> Vec<u64> {
    let (mut bits, mut known) = (row.to_vec(), 1);
    while known < count {
        let by = known.min(count - known);
        let next = shifted(&bits, by);
        bits.iter_mut().zip(&next).for_each(|(b, n)| *b &= n);
        known += by;
    }
    bits
}

/// Bits moved down by so many.
fn shifted(bits: &[u64], by: usize) -> Vec<u64> {
    let (words, rest) = (by / 64, by % 64);
    let at = |i: usize| bits.get(i).copied().unwrap_or(0);
    (0..bits.len())
        .map(|i| {
            let low = at(i + words) >> rest;
            if rest == 0 { low } else { low | at(i + words + 1) << (64 - rest) }
        })
        .collect()
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::super::point::point;
    use super::*;

    fn ring(corners: &[[f64; 2]]) -> Ring {
        corners.iter().map(|c| point(c[0], c[1])).collect()
    }

    fn shown(cells: &Cells) -> Vec<String> {
        let bit =
            |row: &Vec<u64>, i: usize| if row[i / 64] >> (i % 64) & 1 == 1 { '#' } else { '.' };
        cells.rows.iter().map(|r| (0..cells.columns).map(|i| bit(r, i)).collect()).collect()
    }

    #[test]
    fn cells_that_are_touched_and_those_that_are_covered_whole() {
        let l =
            ring(&[[0.0, 0.0], [45.0, 0.0], [45.0, 15.0], [20.0, 15.0], [20.0, 30.0], [0.0, 30.0]]);
        let size = [50.0, 30.0];
        let touched = Cells::of(&[&l], point(0.0, 0.0), size, 10.0, false);
        let whole = Cells::of(&[&l], point(0.0, 0.0), size, 10.0, true);
        let covers = |some: &Cells, of: &[&str]| {
            shown(some)
                .iter()
                .zip(of)
                .all(|(a, b)| a.chars().zip(b.chars()).all(|(a, b)| b == '?' || a == b))
        };
        // A cell that only its side touches may count either way.
        assert!(covers(&touched, &["#####", "#####", "###??"]), "{:?}", shown(&touched));
        assert!(covers(&whole, &["?###.", "??...", "??..."]), "{:?}", shown(&whole));
    }

    #[test]
    fn a_hole_and_a_run_over_many_words_count() {
        let outer = ring(&[[0.0, 0.0], [2000.0, 0.0], [2000.0, 30.0], [0.0, 30.0]]);
        let hole = ring(&[[1000.0, -1.0], [1010.0, -1.0], [1010.0, 31.0], [1000.0, 31.0]]);
        let (origin, size) = (point(0.0, 0.0), [2000.0, 30.0]);
        let mut cloth = Cells::of(&[&outer], origin, size, 10.0, false);
        let strip = |long: f64| {
            let strip = ring(&[[0.0, 0.0], [long, 0.0], [long, 20.0], [0.0, 20.0]]);
            Cells::of(&[&strip], origin, [long, 20.0], 10.0, true)
        };
        assert!(strip(1990.0).fit_in(&cloth));
        cloth.take(&Cells::of(&[&hole], origin, size, 10.0, true));
        assert!(strip(900.0).fit_in(&cloth));
        assert!(!strip(1300.0).fit_in(&cloth));
    }

    /// What lies in an area by its outlines is never said not to; what is said to lie in it whole
    /// does. Rectangles in an L, by arithmetic.
    #[test]
    fn both_answers_are_on_the_safe_side() {
        let (w, h, x, y) = (403.0, 307.0, 118.0, 133.0);
        let l = ring(&[[0.0, 0.0], [w, 0.0], [w, y], [x, y], [x, h], [0.0, h]]);
        let origin = point(0.0, 0.0);
        let touched = Cells::of(&[&l], origin, [w, h], 7.0, false);
        let whole = Cells::of(&[&l], origin, [w, h], 7.0, true);
        let (mut refused, mut granted) = (0, 0);
        for a in (10..420).step_by(3) {
            for b in (10..320).step_by(3) {
                let (a, b) = (f64::from(a), f64::from(b));
                let lies = (a <= w && b <= y) || (a <= x && b <= h);
                let r = ring(&[[0.0, 0.0], [a, 0.0], [a, b], [0.0, b]]);
                let inner = Cells::of(&[&r], origin, [a, b], 7.0, true);
                let outer = Cells::of(&[&r], origin, [a, b], 7.0, false);
                assert!(!lies || inner.fit_in(&touched), "{a} by {b} lies in it");
                assert!(lies || !outer.fit_in(&whole), "{a} by {b} does not");
                refused += usize::from(!inner.fit_in(&touched));
                granted += usize::from(outer.fit_in(&whole));
            }
        }
        assert!(refused > 5400 && granted > 6500, "{refused} {granted}");
    }
}
