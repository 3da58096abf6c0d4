//! Which offcuts would take a piece, the smallest first: asked before anything is cut. The search
//! of a recut judges, so that what is shown here is what a recut would do.

use super::by_hand::{put, shape_of};
use super::lay::offcut_stock;
use super::recut::laid;
use crate::geometry::{Bounds, Motion, point};
use crate::nest::Shape;
use crate::plan::{PlacedPiece, PlanPiece};
use crate::stock::{Offcut, Snapshot};
use rayon::prelude::*;

/// So many offcuts are tried side by side.
const AT_ONCE: usize = 8;

/// An offcut that takes a piece, and the piece where it would lie.
#[derive(Clone, Debug, PartialEq)]
pub struct Taker<'s> {
    /// The offcut.
    pub offcut: &'s Offcut,
    /// The piece on it.
    pub placed: PlacedPiece,
}

/// Some of the offcuts that take a piece.
#[derive(Clone, Debug, PartialEq)]
pub struct Takers<'s> {
    /// The smallest first.
    pub found: Vec<Taker<'s>>,
    /// How many offcuts there are of its cloth, sound and not left out.
    pub of_cloth: usize,
    /// Where to go on looking, if not all were looked at.
    pub next: Option<usize>,
}

/// The smallest offcuts of the stock that take a piece, at most so many, looked for from the one at
/// `from` in the order of size. Those that `without` names are left out.
pub fn takers<'s>(
    piece: &PlanPiece,
    gap: f64,
    stock: &'s Snapshot,
    without: &dyn Fn(&str) -> bool,
    (from, most): (usize, usize),
) -> Takers<'s> {
    let shape = Shape { copies: 1, ..shape_of(piece) };
    let least = Least::of(&shape);
    let mut offcuts: Vec<(f64, &Offcut)> = stock
        .offcuts_of(&piece.cloth, false)
        .filter(|o| !without(o.id()))
        .map(|o| (o.area(), o))
        .collect();
    offcuts.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.id().cmp(b.1.id())));
    let likely: Vec<usize> =
        (from..offcuts.len()).filter(|&i| least.may_lie_on(offcuts[i].0, offcuts[i].1)).collect();
    let mut found = Vec::new();
    for some in likely.chunks(AT_ONCE) {
        let try_one = |&i: &usize| {
            let offcut = offcuts[i].1;
            let placement = laid(&shape, offcut_stock(offcut), &[], gap)?;
            Some((i, Taker { offcut, placed: put(&placement, piece) }))
        };
        let tried: Vec<_> = some.par_iter().map(try_one).collect();
        for (i, taker) in tried.into_iter().flatten() {
            // One more tells that there is a next.
            if found.len() == most {
                return Takers { found, of_cloth: offcuts.len(), next: Some(i) };
            }
            found.push(taker);
        }
    }
    Takers { found, of_cloth: offcuts.len(), next: None }
}

/// What an offcut must have at least for a shape to lie on it.
struct Least {
    area: f64,
    /// Along and across the warp, by turn.
    boxes: Vec<[f64; 2]>,
}

impl Least {
    fn of(shape: &Shape) -> Least {
        let reach = shape.region.bounds().map_or(0.0, |b| b.width().hypot(b.height()));
        // A box changes by no more than that while the shape turns within its tolerance.
        let slack = reach * shape.tolerance.to_radians() + 0.01;
        let size = |b: Bounds| [b.width() - slack, b.height() - slack];
        let of_pose = |p: &crate::nest::Pose| {
            let turned = Motion::new(p.turn, p.flip, point(0.0, 0.0)).region(&shape.region);
            turned.bounds().map(size)
        };
        Least {
            area: shape.region.area() - 0.01,
            boxes: shape.poses.iter().filter_map(of_pose).collect(),
        }
    }

    fn may_lie_on(&self, area: f64, offcut: &Offcut) -> bool {
        let b = offcut.bounds();
        area >= self.area
            && self.boxes.iter().any(|[along, across]| b.width() >= *along && b.height() >= *across)
    }
}
