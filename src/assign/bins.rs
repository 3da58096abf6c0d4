//! The offcuts and shapes of one search as cells, made once.

use super::cover::{Cover, Mask};
use super::solve::fits_open;
use crate::geometry::{Motion, Point, Region, point};
use crate::nest::{Extent, Problem, Shape};
use crate::units::snap;
use rayon::prelude::*;

/// Cells across a shape of mean size.
const ACROSS: f64 = 56.0;
/// Finest and coarsest cell, mm.
const CELLS: (f64, f64) = (0.5, 8.0);
/// Most rows or columns of an offcut.
const MOST_ROWS: f64 = 2_000.0;
/// How much more a shape counts that fits no other stock.
const ONLY_HERE: f64 = 20.0;
/// A turned shape is snapped to the grid after its shift: this much it may move, mm.
const SNAPPED: f64 = 0.002;

/// One way a shape may lie.
#[derive(Clone, Debug)]
pub(super) struct Stance {
    pub turn: f64,
    pub flip: bool,
    pub cover: Cover,
    /// Lower left corner of the turned shape's box.
    pub low: Point,
}

/// A shape: its ways to lie, and how much it is worth to have it off the roll.
#[derive(Clone, Debug)]
pub(super) struct Kind {
    pub stances: Vec<Stance>,
    pub weight: f64,
}

/// An offcut: its free cells, which stances fit it when it is empty, and what opening it costs.
#[derive(Clone, Debug)]
pub(super) struct Bin {
    /// Index into the problem's stocks.
    pub stock: usize,
    pub low: Point,
    pub empty: Mask,
    /// For each kind the stances that fit.
    pub fits: Vec<Vec<u16>>,
    pub cost: f64,
}

/// Everything the search reads.
#[derive(Clone, Debug)]
pub(super) struct Ground {
    pub cell: f64,
    pub kinds: Vec<Kind>,
    /// Kind and copy of every item.
    pub items: Vec<(usize, u32)>,
    pub bins: Vec<Bin>,
}

impl Ground {
    /// `cost[stock]` is what opening a stock costs, in mm² of new cloth; it only decides between assignments that save the same.
    pub fn new(problem: &Problem, cost: &[f64]) -> Ground {
        let mean = problem.shapes().iter().map(|s| s.region.area()).sum::<f64>() / problem.shapes().len().max(1) as f64;
        let largest = problem.stocks().iter().filter_map(|s| extent(&s.extent)).fold(0.0, f64::max);
        let cell = snap((mean.max(1.0).sqrt() / ACROSS).clamp(CELLS.0, CELLS.1).max(largest / MOST_ROWS));
        let kinds: Vec<Kind> = problem.shapes().par_iter().map(|shape| kind(problem, shape, cell)).collect();
        let copies = |(kind, shape): (usize, &Shape)| (0..shape.copies).map(move |copy| (kind, copy)).collect::<Vec<_>>();
        let items = problem.shapes().iter().enumerate().flat_map(copies).collect();
        let bins = problem.stocks().par_iter().enumerate().filter_map(|(index, stock)| {
            let Extent::Fixed { region } = &stock.extent else { return None };
            let low = region.bounds()?.min;
            let moved = Motion::new(0.0, false, point(-low.x, -low.y));
            let flaws: Vec<Region> = stock.keep_out.iter().map(|f| Region::solid(moved.ring(f))).collect();
            let empty = Mask::new(&moved.region(region), &flaws, cell);
            let fit = |kind: &Kind| -> Vec<u16> {
                let free = |s: &u16| empty.find(&kind.stances[usize::from(*s)].cover, false, false).is_some();
                (0..kind.stances.len() as u16).filter(free).collect()
            };
            let fits: Vec<Vec<u16>> = kinds.iter().map(fit).collect();
            let any = fits.iter().any(|f| !f.is_empty());
            any.then(|| Bin { stock: index, low, empty, fits, cost: cost.get(index).copied().unwrap_or(0.0) })
        });
        let bins = bins.collect();
        Ground { cell, kinds, items, bins }
    }
}

/// The longer side of a closed stock's box.
fn extent(extent: &Extent) -> Option<f64> {
    match extent {
        Extent::Fixed { region } => region.bounds().map(|b| b.width().max(b.height())),
        Extent::Open { .. } => None,
    }
}

fn kind(problem: &Problem, shape: &Shape, cell: f64) -> Kind {
    let gap = problem.gap();
    let stances: Vec<Stance> = shape
        .poses
        .iter()
        .filter_map(|pose| {
            let turned = Motion::new(pose.turn, pose.flip, point(0.0, 0.0)).region(&shape.region);
            let slack = if pose.turn % 90.0 == 0.0 { 0.0 } else { SNAPPED };
            let low = turned.bounds()?.min - point(slack, slack);
            let moved = Motion::new(0.0, false, point(-low.x, -low.y)).region(&turned);
            Some(Stance { turn: pose.turn, flip: pose.flip, cover: Cover::new(&moved, cell, gap, slack), low })
        })
        .collect();
    // On the roll a shape takes its area, half the gap around it, and the corners of its box that nothing else fills: small shapes fill the
    // gaps that large ones leave, so these count for more than their area.
    let b = shape.region.bounds().map_or((0.0, 0.0), |b| (b.width(), b.height()));
    let own = shape.region.area() + gap * (b.0 + b.1);
    let weight = own + 0.15 * (b.0 * b.1 - own).max(0.0);
    // What the roll cannot take at all comes before everything else.
    let weight = if fits_open(problem, shape) { weight } else { ONLY_HERE * weight };
    Kind { stances, weight }
}
