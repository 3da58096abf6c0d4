//! Which patch lies over which, and how far each grows under those before it.
//!
//! Rank 0 is seen whole; every later patch grows under the earlier ones only. Where three cells
//! meet, the second ends on the line of its seam with the third: beside that corner the lap under
//! the first is the third's to give. It has to grow by more than the lap where its own corner is
//! the sharper of the two, so the order is searched for the least of that.

use super::diagram::Cell;
use super::random::Random;
use super::relax::corner;
use crate::geometry::{Region, clip::contains};
use std::collections::BTreeMap;

/// Swaps tried for every cell.
const TRIES: usize = 60;

/// A place where three cells meet: the cells, and the inner angle of each, radians.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Junction {
    pub cells: [usize; 3],
    pub angles: [f64; 3],
}

/// The junctions inside the target.
pub(super) fn junctions(cells: &[Cell], target: &Region) -> Vec<Junction> {
    let mut angles: BTreeMap<[usize; 3], Vec<(usize, f64)>> = BTreeMap::new();
    for (i, c) in cells.iter().enumerate() {
        let n = c.ring.len();
        for k in 0..n {
            let (Some(j), Some(l)) = (c.across[(k + n - 1) % n], c.across[k]) else {
                continue;
            };
            if contains(target, c.ring[k]) {
                let mut key = [i, j, l];
                key.sort_unstable();
                angles.entry(key).or_default().push((
                    i,
                    corner(c.ring[(k + n - 1) % n], c.ring[k], c.ring[(k + 1) % n]).to_radians(),
                ));
            }
        }
    }
    let whole = |(key, found): ([usize; 3], Vec<(usize, f64)>)| {
        let of = |i: usize| found.iter().find(|f| f.0 == i).map(|f| f.1);
        Some(Junction { cells: key, angles: [of(key[0])?, of(key[1])?, of(key[2])?] })
    };
    angles.into_iter().filter_map(whole).collect()
}

/// By how many laps the last of a junction's cells grows under the first, and these two cells.
fn last_growth(j: &Junction, rank: &[usize]) -> (usize, usize, f64) {
    let mut order = [0, 1, 2];
    order.sort_by_key(|&k| rank[j.cells[k]]);
    let [first, second, third] = order;
    let growth = libm::sin(j.angles[third]) / libm::sin(j.angles[second]).max(0.05);
    (j.cells[third], j.cells[first], growth.max(1.0))
}

/// For each pair (later, earlier) that needs it, by how many laps the later grows under the
/// earlier; all others grow by one.
pub(super) fn growths(junctions: &[Junction], rank: &[usize]) -> BTreeMap<(usize, usize), f64> {
    let mut out: BTreeMap<(usize, usize), f64> = BTreeMap::new();
    for (last, first, growth) in junctions.iter().map(|j| last_growth(j, rank)) {
        let entry = out.entry((last, first)).or_insert(1.0);
        *entry = entry.max(growth);
    }
    out
}

/// A rank for every cell.
pub(super) fn ranks(cells: usize, junctions: &[Junction], random: &mut Random) -> Vec<usize> {
    let mut rank: Vec<usize> = (0..cells).collect();
    for i in (1..cells).rev() {
        rank.swap(i, random.below(i + 1));
    }
    let mut at: Vec<Vec<usize>> = vec![Vec::new(); cells];
    for (k, j) in junctions.iter().enumerate() {
        j.cells.iter().for_each(|&c| at[c].push(k));
    }
    let excess = |rank: &[usize], which: &[usize]| -> f64 {
        which.iter().map(|&k| last_growth(&junctions[k], rank).2 - 1.0).map(|e| e + e * e).sum()
    };
    for _ in 0..TRIES * cells {
        let (a, b) = (random.below(cells), random.below(cells));
        let mut which: Vec<usize> = at[a].iter().chain(&at[b]).copied().collect();
        which.sort_unstable();
        which.dedup();
        let before = excess(&rank, &which);
        rank.swap(a, b);
        if excess(&rank, &which) > before {
            rank.swap(a, b);
        }
    }
    rank
}
