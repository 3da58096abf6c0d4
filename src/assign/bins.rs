//! The offcuts and shapes of one search as cells, made once.

use super::cover::{Cover, Mask};
use crate::geometry::{Motion, Point, Region, point};
use crate::nest::{Extent, Pose, Problem, Shape};
use crate::units::snap;
use rayon::prelude::*;

/// Cells across a shape of mean size: up to this many ways to lie in all, and beyond.
const ACROSS: (usize, f64, f64) = (300, 120.0, 56.0);
/// Finest and coarsest cell, mm.
const CELLS: (f64, f64) = (0.5, 8.0);
/// Most rows or columns of an offcut.
const MOST_ROWS: f64 = 2_000.0;
/// How much coarser the roll's cells are.
const COARSER: f64 = 6.0;
/// Weight that a roll takes, as a share of its area.
const DENSITY: f64 = 0.91;
/// Share of a shape's box outside it that nothing else fills.
const CORNERS: f64 = 0.5;
/// Of this many pieces a quick layout tells no more than their areas.
const MANY: f64 = 28.0;
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

/// The roll as a coarser raster, for a quick look at what a few pieces need of it.
#[derive(Clone, Debug)]
pub(super) struct Strip {
    cell: f64,
    height: f64,
    /// By kind.
    covers: Vec<Vec<Cover>>,
    /// Kinds in the order they are laid: the largest first.
    rank: Vec<usize>,
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
    /// For each of these the columns from the left and from the right side that are too many.
    pub blind: Vec<Vec<[i32; 2]>>,
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
    strip: Option<Strip>,
}

impl Ground {
    /// `cost[stock]` is what opening a stock costs, in mm² of new cloth; it only decides between
    /// assignments that save the same.
    pub fn new(problem: &Problem, cost: &[f64]) -> Ground {
        let mean = problem.shapes().iter().map(|s| s.region.area()).sum::<f64>()
            / problem.shapes().len().max(1) as f64;
        let largest = problem.stocks().iter().filter_map(|s| extent(&s.extent)).fold(0.0, f64::max);
        let poses: usize = problem.shapes().iter().map(|s| s.poses.len()).sum();
        let across = if poses <= ACROSS.0 { ACROSS.1 } else { ACROSS.2 };
        let cell =
            snap((mean.max(1.0).sqrt() / across).clamp(CELLS.0, CELLS.1).max(largest / MOST_ROWS));
        let kinds: Vec<Kind> =
            problem.shapes().par_iter().map(|shape| kind(problem, shape, cell)).collect();
        let copies = |(kind, shape): (usize, &Shape)| {
            (0..shape.copies).map(move |copy| (kind, copy)).collect::<Vec<_>>()
        };
        let items = problem.shapes().iter().enumerate().flat_map(copies).collect();
        let bins = problem.stocks().par_iter().enumerate().filter_map(|(index, stock)| {
            let Extent::Fixed { region } = &stock.extent else {
                return None;
            };
            let low = region.bounds()?.min;
            let moved = Motion::new(0.0, false, point(-low.x, -low.y));
            let flaws: Vec<Region> =
                stock.keep_out.iter().map(|f| Region::solid(moved.ring(f))).collect();
            let empty = Mask::new(&moved.region(region), &flaws, cell);
            let fit = |kind: &Kind| -> (Vec<u16>, Vec<[i32; 2]>) {
                let blind = |s: u16| {
                    let cover = &kind.stances[usize::from(s)].cover;
                    let mut blind = [0; 2];
                    empty.find_on(cover, false, false, &mut blind[0])?;
                    empty.find_on(cover, true, false, &mut blind[1])?;
                    Some((s, blind))
                };
                (0..kind.stances.len() as u16).filter_map(blind).unzip()
            };
            let (fits, blind): (Vec<_>, Vec<_>) = kinds.iter().map(fit).unzip();
            let any = fits.iter().any(|f| !f.is_empty());
            any.then(|| Bin {
                stock: index,
                low,
                empty,
                fits,
                blind,
                cost: cost.get(index).copied().unwrap_or(0.0),
            })
        });
        let bins = bins.collect();
        let open = problem.stocks().iter().find_map(|s| match s.extent {
            Extent::Open { low, high, .. } => Some(high - low),
            Extent::Fixed { .. } => None,
        });
        let strip = open.map(|height| strip(problem, height, cell * COARSER));
        Ground { cell, kinds, items, bins, strip }
    }

    /// About the new cloth, mm², that the items not placed take: by their weights, and if they are
    /// few by laying them out quickly.
    pub fn new_cloth(&self, placed: &[bool]) -> f64 {
        let rest: Vec<usize> =
            (0..self.items.len()).filter(|&i| !placed[i]).map(|i| self.items[i].0).collect();
        let by_weight = rest.iter().map(|&k| self.kinds[k].weight).sum::<f64>() / DENSITY;
        let trust = 0.7 * ((MANY - rest.len() as f64) / 8.0).clamp(0.0, 1.0);
        match &self.strip {
            Some(strip) if trust > 0.0 => {
                (1.0 - trust) * by_weight + trust * strip.length(&rest) * strip.height
            }
            _ => by_weight,
        }
    }
}

impl Strip {
    /// Length that the kinds take, mm, each laid where it ends furthest left.
    fn length(&self, kinds: &[usize]) -> f64 {
        let mut kinds = kinds.to_vec();
        kinds.sort_by_key(|&k| self.rank[k]);
        let cells: i64 =
            kinds.iter().filter_map(|&k| self.covers[k].first()).map(|c| c.cells).sum();
        let widest =
            kinds.iter().flat_map(|&k| &self.covers[k]).map(|c| c.columns.len()).max().unwrap_or(0);
        let columns = 3 * (cells as f64 * self.cell / self.height) as usize + 2 * widest;
        let mut mask = Mask::open(columns as i32, (self.height / self.cell) as i32);
        let (mut end, mut last, mut begun) = (0, usize::MAX, Vec::new());
        for kind in kinds {
            // The same shape again finds nothing where it found nothing before.
            if last != kind {
                (last, begun) = (kind, vec![0; self.covers[kind].len()]);
            }
            let place = |(c, step): (_, &mut i32)| {
                let c: &Cover = c;
                let at = mask.find_on(c, false, false, step)?;
                Some((at.0 + c.columns.len() as i32, at, c))
            };
            let best = self.covers[kind]
                .iter()
                .zip(&mut begun)
                .filter_map(place)
                .min_by_key(|b| (b.0, b.1));
            if let Some((e, at, cover)) = best {
                end = end.max(e);
                mask.take(cover, at);
            }
        }
        f64::from(end) * self.cell
    }
}

fn strip(problem: &Problem, height: f64, cell: f64) -> Strip {
    let covers = problem.shapes().par_iter().map(|s| {
        s.poses
            .iter()
            .take(4)
            .filter_map(|p| {
                turned(s, p).map(|(r, _, slack)| Cover::new(&r, cell, problem.gap(), slack))
            })
            .collect()
    });
    let mut order: Vec<usize> = (0..problem.shapes().len()).collect();
    order.sort_by(|&a, &b| {
        problem.shapes()[b]
            .region
            .area()
            .total_cmp(&problem.shapes()[a].region.area())
            .then(a.cmp(&b))
    });
    let mut rank = vec![0; order.len()];
    order.iter().enumerate().for_each(|(r, &k)| rank[k] = r);
    Strip { cell, height, covers: covers.collect(), rank }
}

/// A shape in a pose, its box at the origin; where that corner was; by how much its cells must be
/// larger.
fn turned(shape: &Shape, pose: &Pose) -> Option<(Region, Point, f64)> {
    let turned = Motion::new(pose.turn, pose.flip, point(0.0, 0.0)).region(&shape.region);
    let slack = if pose.turn % 90.0 == 0.0 { 0.0 } else { SNAPPED };
    let low = turned.bounds()?.min - point(slack, slack);
    Some((Motion::new(0.0, false, point(-low.x, -low.y)).region(&turned), low, slack))
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
            let (moved, low, slack) = turned(shape, pose)?;
            Some(Stance {
                turn: pose.turn,
                flip: pose.flip,
                cover: Cover::new(&moved, cell, gap, slack),
                low,
            })
        })
        .collect();
    // On the roll a shape takes its area, half the gap around it, and about half of its box's
    // corners. Measured: 60 rolls of some 35 pieces, straight and rounded, length by least squares;
    // the residue is 1.2 %, by area alone it is 2.5 %.
    let boxes = stances
        .iter()
        .map(|s| (s.cover.columns.len() as f64 * cell, f64::from(s.cover.height) * cell));
    let b = boxes.min_by(|a, b| (a.0 * a.1).total_cmp(&(b.0 * b.1))).unwrap_or((0.0, 0.0));
    let own = shape.region.area() + gap * (b.0 + b.1);
    let weight = own + (CORNERS * (b.0 * b.1 - own)).clamp(0.0, own);
    // What the roll cannot take at all comes before everything else.
    let weight = if fits_open(problem, shape) { weight } else { ONLY_HERE * weight };
    Kind { stances, weight }
}

/// True if a shape fits the open stock in some pose by its box.
pub(super) fn fits_open(problem: &Problem, shape: &Shape) -> bool {
    problem.stocks().iter().any(|s| {
        let Extent::Open { low, high, segment_max, length_max } = s.extent else {
            return false;
        };
        let longest = segment_max
            .filter(|_| !shape.may_cross)
            .into_iter()
            .chain(length_max)
            .fold(f64::INFINITY, f64::min);
        let turned =
            |p: &Pose| Motion::new(p.turn, p.flip, point(0.0, 0.0)).region(&shape.region).bounds();
        shape
            .poses
            .iter()
            .filter_map(turned)
            .any(|b| b.height() <= high - low + 1e-6 && b.width() <= longest + 1e-6)
    })
}
