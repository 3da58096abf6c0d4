//! From real numbers to the grid: every layout that is kept lies on whole micrometres and is
//! exactly free of overlaps.

use super::convex::{Frame, Vertex, vertex};
use super::layout::Layout;
use super::nofit_cache::{Turned, clear};
use super::setup::{ENDLESS, Setup};
use std::collections::{BTreeMap, BTreeSet};

/// The widest step, µm, by which a piece may be nudged.
const NUDGE: i64 = 24;

/// Rounds a layout to the grid and nudges the few pieces that then touch too closely, left to
/// right, by micrometres. `None` if that does not suffice. Only `moved` items are looked at if
/// given; the others must be on the grid and clear already.
pub(super) fn land(setup: &Setup, layout: &Layout, moved: Option<&[usize]>) -> Option<Layout> {
    let mut out = layout.clone();
    for spot in &mut out.spots {
        spot.x = spot.x.round();
        spot.y = spot.y.round();
    }
    round_walls(setup, &mut out.walls);
    let n = out.spots.len();
    let all: Vec<usize> = (0..n).collect();
    let movers = moved.unwrap_or(&all);
    let mut is_mover = vec![false; n];
    movers.iter().for_each(|&i| is_mover[i] = true);
    let mut cells = Cells::new(setup);
    (0..n).filter(|&i| !is_mover[i]).for_each(|i| cells.add(&out, i));
    let mut order = movers.to_vec();
    order.sort_by_key(|&i| (out.tight(setup, i).min.x, i));
    let steps = steps();
    for i in order {
        let home = out.spots[i].grid();
        let place = steps.iter().map(|s| home.plus(*s)).find(|&at| cells.free(&out, i, at))?;
        out.spots[i].x = place.x as f64;
        out.spots[i].y = place.y as f64;
        cells.add(&out, i);
    }
    out.length = out.measured(setup);
    fit_walls(setup, &mut out)?;
    Some(out)
}

/// Bench ends on the grid, no segment longer for it.
fn round_walls(setup: &Setup, walls: &mut [f64]) {
    let segment = setup.segment.map_or(f64::INFINITY, |s| s as f64);
    let mut before = 0.0;
    for wall in walls {
        *wall = wall.round().min(before + segment);
        before = *wall;
    }
}

/// Pairs of items that overlap once a layout is rounded to the grid.
pub(super) fn rounded_overlaps(
    setup: &Setup,
    layout: &Layout,
    moved: &[usize],
) -> BTreeSet<(usize, usize)> {
    let mut cells = Cells::new(setup);
    (0..layout.spots.len()).for_each(|i| cells.add(layout, i));
    let mut out = BTreeSet::new();
    for &i in moved {
        let (at, mine) = (layout.spots[i].grid(), turned(setup, layout, i));
        for j in cells.near(layout, i, at) {
            let theirs = (turned(setup, layout, j), layout.spots[j].grid());
            if j != i
                && layout.spots[j].bin == layout.spots[i].bin
                && !clear(setup, theirs, (mine, at))
            {
                out.insert((i.min(j), i.max(j)));
            }
        }
    }
    out
}

/// Small steps, the nearest first, to the right before to the left; then on to the right alone.
pub(super) fn steps() -> Vec<Vertex> {
    let mut out: Vec<Vertex> = (-3..=3).flat_map(|x| (-3..=3).map(move |y| vertex(x, y))).collect();
    out.sort_by_key(|v| (v.x * v.x + v.y * v.y, -v.x, v.y));
    out.extend((4..=NUDGE).flat_map(|x| [0, -2, 2].map(|y| vertex(x, y))));
    out
}

/// Pieces by cells of the plane, for finding neighbours.
struct Cells<'a> {
    setup: &'a Setup,
    size: i64,
    map: BTreeMap<(i64, i64), Vec<usize>>,
}

impl<'a> Cells<'a> {
    fn new(setup: &'a Setup) -> Cells<'a> {
        // Not so small that one very long piece among tiny ones fills the map.
        let longest = setup.kinds.iter().map(|k| k.extent).fold(0.0, f64::max);
        let size = (setup.mean_area.sqrt().max(longest / 64.0) as i64 + setup.gap).max(10);
        Cells { setup, size, map: BTreeMap::new() }
    }

    fn cells(&self, f: Frame) -> impl Iterator<Item = (i64, i64)> + use<> {
        let s = self.size;
        let (x0, x1, y0, y1) = (
            f.min.x.div_euclid(s),
            f.max.x.div_euclid(s),
            f.min.y.div_euclid(s),
            f.max.y.div_euclid(s),
        );
        (x0..=x1).flat_map(move |x| (y0..=y1).map(move |y| (x, y)))
    }

    /// The box of an item's parts with all that its clearance can reach.
    fn frame(&self, layout: &Layout, item: usize, at: Vertex) -> Frame {
        let (base, quarter) = turned(self.setup, layout, item);
        self.setup.bases[base as usize].frames[usize::from(quarter)]
            .grown(self.setup.gap + 10)
            .moved(at)
    }

    fn add(&mut self, layout: &Layout, item: usize) {
        let f = self.frame(layout, item, layout.spots[item].grid());
        for cell in self.cells(f) {
            self.map.entry(cell).or_default().push(item);
        }
    }

    /// Items added so far whose boxes may reach the item's at `at`, ascending.
    fn near(&self, layout: &Layout, item: usize, at: Vertex) -> Vec<usize> {
        let mut near: Vec<usize> = self
            .cells(self.frame(layout, item, at))
            .filter_map(|c| self.map.get(&c))
            .flatten()
            .copied()
            .collect();
        near.sort_unstable();
        near.dedup();
        near
    }

    /// True if the item may lie at `at` next to all added so far, in its bin and clear of the
    /// bin's blocks.
    fn free(&self, layout: &Layout, item: usize, at: Vertex) -> bool {
        let setup = self.setup;
        let on_strip = usize::from(layout.spots[item].bin) == setup.strip();
        let bin = &setup.bins[usize::from(layout.spots[item].bin)];
        let tight = layout.stance(setup, item).tight.moved(at);
        let f = bin.frame;
        if tight.min.x < f.min.x
            || tight.min.y < f.min.y
            || tight.max.y > f.max.y
            || (f.max.x != ENDLESS && tight.max.x > f.max.x)
        {
            return false;
        }
        let mine = turned(setup, layout, item);
        let near = self.near(layout, item, at);
        near.iter()
            .all(|&j| clear(setup, (turned(setup, layout, j), layout.spots[j].grid()), (mine, at)))
            && bin.blocks.iter().all(|b| clear(setup, ((b.base, b.quarter), b.at), (mine, at)))
            && (setup.kind(item).may_cross
                || !on_strip
                || !layout
                    .walls
                    .iter()
                    .any(|&w| tight.min.x < w as i64 && (w as i64) < tight.max.x))
    }
}

/// True if items of the strip keep off what is in the way there.
pub(super) fn off_blocks(
    setup: &Setup,
    layout: &Layout,
    items: impl IntoIterator<Item = usize>,
) -> bool {
    let strip = setup.strip();
    let blocks = &setup.bins[strip].blocks;
    blocks.is_empty()
        || items.into_iter().filter(|&i| usize::from(layout.spots[i].bin) == strip).all(|i| {
            let mine = (turned(setup, layout, i), layout.spots[i].grid());
            blocks.iter().all(|b| clear(setup, ((b.base, b.quarter), b.at), mine))
        })
}

/// Base and quarter turns of an item as it lies.
pub(super) fn turned(setup: &Setup, layout: &Layout, item: usize) -> Turned {
    let s = layout.stance(setup, item);
    (s.base, s.quarter)
}

/// Puts the bench ends where no piece lies across them, as near to where they are as possible, no
/// segment too long.
pub(super) fn fit_walls(setup: &Setup, layout: &mut Layout) -> Option<()> {
    let Some(segment) = setup.segment else {
        layout.walls.clear();
        return Some(());
    };
    let strip = setup.strip();
    let mut spans: Vec<(i64, i64)> = (0..layout.spots.len())
        .filter(|&i| usize::from(layout.spots[i].bin) == strip && !setup.kind(i).may_cross)
        .map(|i| layout.tight(setup, i))
        .map(|f| (f.min.x, f.max.x))
        .chain(setup.fixed_spans.iter().copied())
        .collect();
    spans.sort_unstable();
    // Where an end may be: the complement of the union of the open spans. Greedily the furthest one
    // within reach.
    let mut walls = Vec::new();
    let mut start = 0_i64;
    let length = layout.length as i64;
    while length - start > segment {
        let mut at = start + segment;
        while let Some(&(from, _)) = spans.iter().find(|s| s.0 < at && at < s.1) {
            at = from;
        }
        if at <= start {
            return None;
        }
        walls.push(at as f64);
        start = at;
    }
    layout.walls = walls;
    Some(())
}
