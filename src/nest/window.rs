//! Windows: the part of the layout that a step works on. Up to some 150 items that is everything; beyond, a stretch of the strip.

use super::convex::Frame;
use super::dice::Dice;
use super::layout::Layout;
use super::setup::Setup;

/// Up to this many items the window is the whole layout.
pub(super) const WHOLE: usize = 150;
/// Items in a window of a larger layout, about.
const MANY: usize = 90;

/// Which items move, which stand around them, and where on the strip the moving ones may go.
#[derive(Clone, Debug, Default)]
pub(super) struct Window {
    pub movers: Vec<usize>,
    /// Items that stay, near enough to matter; those right of the window are also in `right`.
    pub context: Vec<usize>,
    /// Items right of the window: they move as one when the window shrinks.
    pub right: Vec<usize>,
    /// Range of the strip, µm.
    pub low: f64,
    pub high: f64,
    whole: bool,
    /// The strip is closed: items find their places in the fixed stocks.
    rooms_only: bool,
}

impl Window {
    /// The whole layout.
    pub fn whole(setup: &Setup) -> Window {
        Window { movers: (0..setup.items.len()).collect(), low: 0.0, high: f64::INFINITY, whole: true, ..Window::default() }
    }

    /// True if items of the window may go to this room: a stretch keeps to the strip.
    pub fn open_to(&self, setup: &Setup, room: usize) -> bool {
        if self.rooms_only { room != setup.strip() } else { self.whole || room == setup.strip() }
    }

    /// Everything in the fixed stocks, and one item more that is to find a place there.
    pub fn rooms_and(setup: &Setup, layout: &Layout, item: usize) -> Window {
        let inside = |i: usize| usize::from(layout.spots[i].room) != setup.strip();
        let movers = (0..layout.spots.len()).filter(|&i| i == item || inside(i)).collect();
        Window { movers, low: 0.0, high: f64::INFINITY, rooms_only: true, ..Window::default() }
    }

    /// True if nothing is left out.
    pub fn is_whole(&self) -> bool {
        self.whole
    }

    /// A window for the next step: everything, or a random stretch within a section of the strip. Only pieces wholly within the
    /// section move. The stretch is so long that what stays left of it and what follows right of it cannot touch.
    pub fn choose(setup: &Setup, layout: &Layout, section: (f64, f64), dice: &mut Dice) -> Window {
        if setup.items.len() <= WHOLE {
            return Window::whole(setup);
        }
        let strip = setup.strip();
        let inside: Vec<(Frame, usize)> =
            (0..layout.spots.len()).filter(|&i| usize::from(layout.spots[i].room) == strip).map(|i| (layout.tight(setup, i), i)).collect();
        let section = (section.0, section.1.min(layout.length));
        let stretch = (layout.length * MANY as f64 / inside.len().max(1) as f64).max(reach(setup));
        let low = if section.1 - section.0 > stretch { dice.between(section.0, section.1 - stretch) } else { section.0 };
        let high = (low + stretch).min(section.1);
        let mut w = Window { low: f64::INFINITY, high: f64::NEG_INFINITY, ..Window::default() };
        let middle = |f: &Frame| (f.min.x + f.max.x) as f64 / 2.0;
        let moves = |f: &Frame| (low..=high).contains(&middle(f)) && f.min.x as f64 >= section.0 && f.max.x as f64 <= section.1;
        for (f, i) in inside.iter().filter(|(f, _)| moves(f)) {
            w.movers.push(*i);
            w.low = w.low.min(f.min.x as f64);
            w.high = w.high.max(f.max.x as f64);
        }
        let near = setup.gap as f64 + 0.1 * setup.height();
        for (f, i) in inside.iter().filter(|(f, _)| !moves(f)) {
            if middle(f) > (low + high) / 2.0 {
                w.right.push(*i);
            }
            if f.max.x as f64 + near > w.low && f.min.x as f64 - near < w.high {
                w.context.push(*i);
            }
        }
        w
    }
}

/// Length of strip across which no two pieces can touch even when one side shrinks a little, µm.
pub(super) fn reach(setup: &Setup) -> f64 {
    let longest = setup.kinds.iter().map(|k| k.extent).fold(0.0, f64::max);
    1.3 * longest + 0.3 * setup.height().min(longest) + setup.gap as f64
}
