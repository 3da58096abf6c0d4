//! Sweeps over large layouts: windows side by side, one for each lane, or a few lanes on one window
//! like on a whole layout.
//!
//! A lane changes only the pieces of its window, so all finds hold together: what lies right of a
//! window follows its shrinking. Every sweep stays twice as long and begins half a window off.

use super::land::{fit_walls, off_blocks};
use super::lane::Lane;
use super::layout::Layout;
use super::setup::Setup;
use super::window::Window;
use std::sync::Arc;

/// Rounds that lanes stay with their windows in the first sweep, and how often that is doubled.
const ROUNDS: u32 = 12;
const DOUBLED: u32 = 8;

/// Which windows are next.
#[derive(Debug, Default)]
pub(super) struct Sweeps {
    /// The layout the lanes started from.
    base: Arc<Layout>,
    sweep: u32,
    /// Windows of this sweep that had their turn.
    done: usize,
    rounds_left: u32,
}

impl Sweeps {
    /// Gives every lane its window of the best layout when it is time for another.
    pub fn assign(&mut self, setup: &Setup, best: &Arc<Layout>, lanes: &mut [Lane<'_>]) {
        if self.rounds_left > 0 {
            self.rounds_left -= 1;
            return;
        }
        self.base = best.clone();
        self.rounds_left = (ROUNDS << self.sweep.min(DOUBLED)) - 1;
        let count = Window::count(setup, best);
        let width = best.length / count as f64;
        let odd = self.sweep % 2 == 1 && count > 1;
        let (windows, first) = if odd { (count - 1, 0.5 * width) } else { (count, 0.0) };
        let now = windows.saturating_sub(self.done).clamp(1, lanes.len().max(1));
        for (k, lane) in lanes.iter_mut().enumerate() {
            let at = self.done + k % now;
            let low = first + at as f64 * width;
            // The last one ends with the layout, exactly.
            let high = if !odd && at + 1 >= windows { best.length } else { low + width };
            lane.begin(best, Window::stretch(setup, best, low, high));
        }
        self.done += now;
        if self.done >= windows {
            self.done = 0;
            self.sweep += 1;
        }
    }

    /// The best layout after a round. Lanes on the same window take over the best of them.
    pub fn merge(&self, setup: &Setup, best: &Arc<Layout>, lanes: &mut [Lane<'_>]) -> Arc<Layout> {
        let mut finds: Vec<(f64, Arc<Layout>)> = Vec::new();
        for lane in lanes.iter() {
            match finds.iter_mut().find(|f| f.0 == lane.window().low) {
                Some(f) if f.1.length <= lane.shortest().length => {}
                Some(f) => f.1 = lane.shortest().clone(),
                None => finds.push((lane.window().low, lane.shortest().clone())),
            }
        }
        for lane in lanes.iter_mut() {
            if let Some(f) = finds.iter().find(|f| f.0 == lane.window().low) {
                lane.adopt(&f.1);
            }
        }
        let together = match &finds[..] {
            [(_, only)] => Some(only.clone()),
            // Where flaws are in the way, one find may stand and all together not.
            _ if !setup.bins[setup.strip()].blocks.is_empty() => {
                let all = self.combined(setup, lanes).map(Arc::new);
                let finds = finds.into_iter().map(|f| f.1);
                all.into_iter().chain(finds).min_by(|a, b| a.length.total_cmp(&b.length))
            }
            _ => self.combined(setup, lanes).map(Arc::new),
        };
        together.filter(|l| l.length < best.length).unwrap_or_else(|| best.clone())
    }

    /// The lanes' windows put together: each window's pieces as its lane has them, everything right
    /// of it moved along.
    fn combined(&self, setup: &Setup, lanes: &[Lane<'_>]) -> Option<Layout> {
        let mut out = (*self.base).clone();
        let mut seen: Vec<f64> = Vec::new();
        for lane in lanes {
            let window = lane.window();
            if seen.contains(&window.low) {
                continue;
            }
            seen.push(window.low);
            // Pieces of this window may have been moved along with windows left of it, or will be:
            // only differences are added.
            let found = lane.shortest();
            for &i in &window.movers {
                let (was, is) = (self.base.spots[i], found.spots[i]);
                let moved = out.spots[i].x - was.x;
                out.spots[i] = is;
                out.spots[i].x += moved;
            }
            for &i in &window.right {
                out.spots[i].x += found.length - self.base.length;
            }
        }
        out.length = out.measured(setup);
        fit_walls(setup, &mut out)?;
        off_blocks(setup, &out, 0..out.spots.len()).then_some(out)
    }
}
