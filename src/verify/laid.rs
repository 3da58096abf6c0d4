//! A ply as its pieces should be, and how closely they are held to it.

use super::exact::Shape;
use super::ply::Ply;
use crate::geometry::{Point, Ring};
use crate::plan::PlanPiece;

/// Whole pieces: two roundings to the grid.
pub(super) const WHOLE_MM: f64 = 0.002;
/// Parts: crossings rounded to the grid besides.
pub(super) const PART_MM: f64 = 0.005;
/// What a round join may lie outside its arc, and rounding.
pub(super) const JOIN_MM: f64 = 0.06;
/// How much farther than the allowance a corner may reach.
pub(super) const CORNER: f64 = 1.5;

/// A stretch of net line with the cloth beyond it, interior on its left, ply frame.
#[derive(Clone, Copy, Debug)]
pub(super) struct Seg {
    pub a: Point,
    pub b: Point,
    /// mm beyond the net line.
    pub amount: f64,
}

impl Seg {
    /// True if the stretch comes within `reach` of `p`.
    pub fn within(&self, p: Point, reach: f64) -> bool {
        let (low, high) = (self.a.x.min(self.b.x) - reach, self.a.x.max(self.b.x) + reach);
        let (left, right) = (self.a.y.min(self.b.y) - reach, self.a.y.max(self.b.y) + reach);
        low <= p.x
            && p.x <= high
            && left <= p.y
            && p.y <= right
            && p.distance_to_segment(self.a, self.b) <= reach
    }

    pub fn length(&self) -> f64 {
        self.a.distance(self.b)
    }
}

/// A ply as its pieces should be.
pub(super) struct Laid<'a> {
    pub ply: &'a Ply<'a>,
    pub pieces: Vec<&'a PlanPiece>,
    /// Cut lines, piece by piece.
    pub outlines: Vec<Shape>,
    /// The net lines in them; `None` where no net line lies in a part.
    pub nets: Vec<Option<Shape>>,
    /// The net region of the ply and its edges.
    pub region: Shape,
    pub segs: Vec<Seg>,
    /// The template's holes, as rings.
    pub holes: Vec<Ring>,
}

pub(super) fn segs_of(shape: &Shape) -> Vec<Seg> {
    shape.edges().iter().map(|e| Seg { a: e.a.mm(), b: e.b.mm(), amount: 0.0 }).collect()
}
