//! Which offcuts would take a piece, the smallest first: asked before anything is cut. The search
//! of a recut judges, so that what is shown here is what a recut would do.

use super::by_hand::{put, shape_of};
use super::lay::offcut_stock;
use crate::geometry::{Bounds, Cells, Motion, Region, Ring, point};
use crate::nest::{self, Judge, Params, Pin, Placement, Problem, Shape, Stock};
use crate::plan::{PlacedPiece, PlanPiece};
use crate::run::{Run, Stop};
use crate::stock::{Offcut, Snapshot};
use crate::units::snap;
use rayon::prelude::*;

/// So many offcuts are looked at roughly before the first of them is tried.
const ROUGHLY: usize = 64;

/// Outlines of at most so many points together are judged by themselves where the raster finds no
/// place: a strip that is just as wide as an offcut is common, and soon judged.
const FEW_POINTS: usize = 60;

/// Cells across the thin side of a piece, and how small and large they are, mm.
const ACROSS: f64 = 12.0;
const FINEST: f64 = 3.0;
const COARSEST: f64 = 25.0;

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
    let at_once = rayon::current_num_threads().max(1);
    for many in likely.chunks(ROUGHLY) {
        let has_cells = |i: &&usize| least.has_cells_on(offcuts[**i].1);
        let some: Vec<&usize> = many.par_iter().filter(has_cells).collect();
        for some in some.chunks(at_once) {
            let try_one = |&&i: &&usize| {
                let offcut = offcuts[i].1;
                let placement = on_offcut(&shape, offcut, gap)?;
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
    }
    Takers { found, of_cloth: offcuts.len(), next: None }
}

/// What an offcut must have at least for a shape to lie on it.
struct Least {
    area: f64,
    /// Along and across the warp, by turn.
    boxes: Vec<[f64; 2]>,
    /// Size of a cell, and the cells that the shape covers whole, by turn; none if it may turn a
    /// little, which would move them.
    cells: Option<(f64, Vec<Cells>)>,
}

impl Least {
    fn of(shape: &Shape) -> Least {
        let reach = shape.region.bounds().map_or(0.0, |b| b.width().hypot(b.height()));
        // A box changes by no more than that while the shape turns within its tolerance.
        let slack = reach * shape.tolerance.to_radians() + 0.01;
        let turned: Vec<(Region, Bounds)> = shape
            .poses
            .iter()
            .map(|p| Motion::new(p.turn, p.flip, point(0.0, 0.0)).region(&shape.region))
            .filter_map(|r| r.bounds().map(|b| (r, b)))
            .collect();
        let thin = turned.iter().map(|(_, b)| b.width().min(b.height())).fold(reach, f64::min);
        let size = (thin / ACROSS).clamp(FINEST, COARSEST);
        let cells = turned.iter().map(|(r, b)| {
            let rings: Vec<&Ring> = r.rings().collect();
            Cells::of(&rings, b.min, [b.width(), b.height()], size, true)
        });
        Least {
            area: shape.region.area() - 0.01,
            boxes: turned.iter().map(|(_, b)| [b.width() - slack, b.height() - slack]).collect(),
            cells: (shape.tolerance == 0.0).then(|| (size, cells.collect())),
        }
    }

    fn may_lie_on(&self, area: f64, offcut: &Offcut) -> bool {
        let b = offcut.bounds();
        area >= self.area
            && self.boxes.iter().any(|[along, across]| b.width() >= *along && b.height() >= *across)
    }

    fn has_cells_on(&self, offcut: &Offcut) -> bool {
        let Some((size, cells)) = &self.cells else { return true };
        let (b, rings) = (offcut.bounds(), offcut.region().rings().collect::<Vec<_>>());
        let box_of = [b.width(), b.height()];
        if Cells::are_too_many(box_of, *size) {
            return true;
        }
        let mut free = Cells::of(&rings, b.min, box_of, *size, false);
        for flaw in offcut.flaws() {
            free.take(&Cells::of(&[flaw], b.min, box_of, *size, true));
        }
        cells.iter().any(|c| c.fit_in(&free))
    }
}

/// A place for a shape on an offcut: where the search lays it, or, where it is so tight that its
/// raster finds none, the first that a judge of outlines finds; one with only millimetres to spare
/// may be passed over where the outlines have many points.
pub(super) fn on_offcut(shape: &Shape, offcut: &Offcut, gap: f64) -> Option<Placement> {
    let stock = offcut_stock(offcut);
    let rings = shape.region.rings().chain(offcut.region().rings()).chain(offcut.flaws());
    let few = rings.map(Vec::len).sum::<usize>() <= FEW_POINTS;
    laid(shape, stock.clone(), &[], gap).or_else(|| {
        if !few {
            return None;
        }
        let low = offcut.bounds().min;
        let mut judge = Judge::new(std::slice::from_ref(shape), &[stock], gap);
        shape.poses.iter().find_map(|pose| {
            let turned = Motion::new(pose.turn, pose.flip, point(0.0, 0.0)).region(&shape.region);
            let from = low - turned.bounds()?.min;
            let (x, y) = (snap(from.x), snap(from.y));
            let (turn, flip) = (pose.turn, pose.flip);
            let lies = Placement { shape: 0, copy: 0, stock: 0, turn, flip, x, y };
            let (x, y) = judge.nearest(&lies)?;
            Some(Placement { x, y, ..lies })
        })
    })
}

/// The first place for a shape on a stock beside what lies there.
pub(super) fn laid(shape: &Shape, stock: Stock, pins: &[Pin], gap: f64) -> Option<Placement> {
    let problem = Problem::new(vec![shape.clone()], vec![stock], gap).ok()?;
    let problem = problem.with_pins(pins.to_vec()).ok()?;
    // A first layout places what has a place.
    let run = Run::new(Stop::Effort(0)).with_threads(1);
    nest::solve(&problem, &Params::default(), &run).placements.into_iter().next()
}
