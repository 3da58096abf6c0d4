//! Windows: the part of the layout that a lane works on. Up to some 150 items that is everything;
//! beyond, a stretch of the strip.

use super::land::{off_blocks, turned};
use super::layout::Layout;
use super::nofit_cache::clear;
use super::setup::Setup;

/// Items in a window of a larger layout, about.
const MANY: usize = 110;

/// Which items move, which stand around them, and where on the strip the moving ones may go.
#[derive(Clone, Debug, Default)]
pub(super) struct Window {
    pub movers: Vec<usize>,
    /// Items that stay, near enough to matter; those right of the window are also in `right`.
    pub context: Vec<usize>,
    /// Items right of the window: they move as one when the length changes.
    pub right: Vec<usize>,
    /// Where the window begins, and how far before the layout's end it ends, µm.
    pub low: f64,
    pub tail: f64,
    whole: bool,
    /// The strip is closed: items find their places in the fixed stocks.
    bins_only: bool,
}

impl Window {
    /// The whole layout.
    pub fn whole(setup: &Setup) -> Window {
        Window { movers: (0..setup.items.len()).collect(), whole: true, ..Window::default() }
    }

    /// True if items of the window may go to this bin: a stretch keeps to the strip.
    pub fn open_to(&self, setup: &Setup, bin: usize) -> bool {
        if self.bins_only { bin != setup.strip() } else { self.whole || bin == setup.strip() }
    }

    /// Everything in the fixed stocks, and one item more that is to find a place there.
    pub fn rooms_and(setup: &Setup, layout: &Layout, item: usize) -> Window {
        let inside = |i: usize| usize::from(layout.spots[i].bin) != setup.strip();
        let movers = (0..layout.spots.len()).filter(|&i| i == item || inside(i)).collect();
        Window { movers, bins_only: true, ..Window::default() }
    }

    /// True if nothing is left out.
    pub fn is_whole(&self) -> bool {
        self.whole
    }

    /// Where the window ends on a layout, µm.
    pub fn high(&self, layout: &Layout) -> f64 {
        layout.length - self.tail
    }

    /// How many windows of about [`MANY`] items the strip holds side by side.
    pub fn count(setup: &Setup, layout: &Layout) -> usize {
        let strip = setup.strip();
        let on_strip = layout.spots.iter().filter(|s| usize::from(s.bin) == strip).count();
        (on_strip / MANY).min((layout.length / reach(setup)) as usize).max(1)
    }

    /// The stretch of the strip from `low` to `high`, µm. Only pieces wholly within it move, and so
    /// far within that pieces of the stretches next to it cannot come too near whatever becomes of
    /// both. It must be longer than any piece ([`Window::count`] sees to that), so that what
    /// follows right of it can only meet its own pieces and those that reach into it from the left.
    pub fn stretch(setup: &Setup, layout: &Layout, low: f64, high: f64) -> Window {
        let strip = setup.strip();
        let margin = margin(setup);
        let low = if low > 0.0 { low + margin } else { 0.0 };
        let high = if high < layout.length { high - margin } else { layout.length };
        let mut w = Window { low, tail: layout.length - high, ..Window::default() };
        let near = setup.most_clearance() as f64 + 2.0 * margin;
        for i in (0..layout.spots.len()).filter(|&i| usize::from(layout.spots[i].bin) == strip) {
            let f = layout.tight(setup, i);
            let (from, to) = (f.min.x as f64, f.max.x as f64);
            if from >= low && to <= high {
                w.movers.push(i);
                continue;
            }
            if from + to > low + high {
                w.right.push(i);
            }
            if to + near > low && from - near < high {
                w.context.push(i);
            }
        }
        w
    }

    /// True if what has moved with the window's right end keeps clear of what stays left of it, and
    /// of flaws and whatever else is in the way.
    pub fn sides_clear(&self, setup: &Setup, layout: &Layout) -> bool {
        // `right` ascends.
        let (right, left): (Vec<usize>, Vec<usize>) =
            self.context.iter().partition(|i| self.right.binary_search(i).is_ok());
        let placed = |i: usize| (turned(setup, layout, i), layout.spots[i].grid());
        left.iter().all(|&a| right.iter().all(|&b| clear(setup, placed(a), placed(b))))
            && off_blocks(setup, layout, self.right.iter().copied())
    }

    /// Gives a layout another length: what lies right of the window follows.
    pub fn resize(&self, layout: &mut Layout, length: f64) {
        let (by, high) = (length - layout.length, self.high(layout));
        for &i in &self.right {
            layout.spots[i].x += by;
        }
        for wall in layout.walls.iter_mut().filter(|w| **w > high) {
            *wall += by;
        }
        layout.length = length;
    }

    /// Gives a layout another length; if that is greater, the window's items and walls are drawn
    /// out in proportion.
    pub fn spread(&self, setup: &Setup, layout: &mut Layout, length: f64) {
        let high = self.high(layout);
        self.resize(layout, length);
        let ratio = (self.high(layout) - self.low) / (high - self.low);
        if ratio <= 1.0 {
            return;
        }
        let spread = |x: f64| self.low + (x - self.low) * ratio;
        let strip = setup.strip();
        for &i in &self.movers {
            let spot = &mut layout.spots[i];
            if usize::from(spot.bin) == strip {
                spot.x = spread(spot.x);
            }
        }
        for wall in layout.walls.iter_mut().filter(|w| (self.low..=high).contains(*w)) {
            *wall = spread(*wall);
        }
    }

    /// Moves what lies right of a cut to the left by `by`.
    pub fn squeeze(&self, setup: &Setup, layout: &mut Layout, cut: f64, by: f64) {
        let (strip, high) = (setup.strip(), self.high(layout));
        for &i in &self.movers {
            let f = layout.tight(setup, i);
            if usize::from(layout.spots[i].bin) == strip && (f.min.x + f.max.x) as f64 / 2.0 > cut {
                layout.spots[i].x -= by;
            }
        }
        for wall in layout.walls.iter_mut().filter(|w| (cut..=high).contains(*w)) {
            *wall -= by;
        }
        self.resize(layout, layout.length - by);
    }
}

/// Half of what pieces need between them, and how far their search outlines may reach beyond their
/// boxes, µm.
fn margin(setup: &Setup) -> f64 {
    let beyond = setup.kinds.iter().flat_map(|k| &k.stances).map(|s| {
        let f = setup.bases[s.base as usize].frames[usize::from(s.quarter)];
        (f.max.x - s.tight.max.x).max(s.tight.min.x - f.min.x)
    });
    (setup.most_clearance() as f64 / 2.0).ceil() + beyond.max().unwrap_or(0).max(0) as f64
}

/// Least length of a window: that of the longest piece, and some more, so that what reaches into it
/// from both sides does not meet at once, µm.
fn reach(setup: &Setup) -> f64 {
    let longest = setup.kinds.iter().map(|k| k.extent).fold(0.0, f64::max);
    1.3 * longest + 0.3 * setup.height().min(longest) + setup.gap as f64
}
