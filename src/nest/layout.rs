//! A layout: a spot for every item, the walls between bench segments, and the length.

use super::convex::{Frame, Vertex, vertex};
use super::form::Stance;
use super::setup::Setup;

/// Where an item lies: bin, stance, and the position of its base, µm in the common plane.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(super) struct Spot {
    pub bin: u16,
    pub stance: u16,
    pub x: f64,
    pub y: f64,
}

impl Spot {
    /// The position on the grid.
    pub fn grid(&self) -> Vertex {
        vertex(self.x.round() as i64, self.y.round() as i64)
    }
}

/// A layout of all items.
#[derive(Clone, Debug, Default, PartialEq)]
pub(super) struct Layout {
    /// One for each item.
    pub spots: Vec<Spot>,
    /// Inner ends of the strip's bench segments, ascending.
    pub walls: Vec<f64>,
    /// Used length of the strip; of the overflow strip the number of items on it.
    pub length: f64,
}

impl Layout {
    pub fn stance<'a>(&self, setup: &'a Setup, item: usize) -> &'a Stance {
        &setup.kind(item).stances[usize::from(self.spots[item].stance)]
    }

    /// The box of an item as it lies.
    pub fn tight(&self, setup: &Setup, item: usize) -> Frame {
        self.stance(setup, item).tight.moved(self.spots[item].grid())
    }

    /// Right end of what lies on the strip, exact for a layout on the grid; on the overflow strip
    /// the number of items counts.
    pub fn measured(&self, setup: &Setup) -> f64 {
        let strip = setup.strip();
        if setup.overflow() {
            return self.spots.iter().filter(|s| usize::from(s.bin) == strip).count() as f64;
        }
        let ends = (0..self.spots.len()).filter(|&i| usize::from(self.spots[i].bin) == strip);
        ends.map(|i| self.spots[i].x + self.stance(setup, i).tight.max.x as f64)
            .fold(setup.fixed_end as f64, f64::max)
    }
}
