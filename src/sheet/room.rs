//! Finding the place and size of words inside an area.

use super::grid::{Grid, NOBODY};
use super::label::Block;
use crate::geometry::{Bounds, Motion, Point, Ring, ring_bounds};

/// Smallest font size that is still read at the bench, mm.
pub(crate) const LEAST: f64 = 2.6;

/// A font size that needs no better place, mm.
const GOOD: f64 = 5.0;

/// White kept between words and lines, mm.
const CLEAR: f64 = 1.2;

/// More of it at each side of larger words, ems of the body.
const PAD: f64 = 0.6;

/// Cells of one search grid.
const CELLS: f64 = 16_000.0;

/// An area and the lines in it.
#[derive(Clone, Debug)]
pub(crate) struct Area {
    /// Outline and holes, even-odd.
    pub rings: Vec<Ring>,
    /// Lines no word may touch.
    pub lines: Vec<Vec<Point>>,
    /// Lines words should not touch if there is another way.
    pub faint: Vec<Vec<Point>>,
}

/// Where a block goes.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Spot {
    /// Which of the blocks.
    pub block: usize,
    /// Body size, mm.
    pub size: f64,
    /// Middle of the block.
    pub middle: Point,
    /// Degrees anticlockwise.
    pub angle: f64,
}

impl Area {
    /// The grid of this area, turned by `-angle`.
    pub(crate) fn grid(&self, angle: f64, faint_too: bool) -> Option<Grid> {
        let turn = Motion::turn(-angle);
        let turned =
            |lines: &[Vec<Point>]| -> Vec<Vec<Point>> { lines.iter().map(|l| l.iter().map(|&p| turn.apply(p)).collect()).collect() };
        let rings = turned(&self.rings);
        let mut grid = Grid::new(ring_bounds(rings.first()?)?, CELLS, 0.2);
        grid.take_all(NOBODY);
        grid.release(&rings);
        rings.iter().for_each(|r| grid.mark_ring(r, NOBODY));
        turned(&self.lines).iter().for_each(|l| grid.mark_path(l, NOBODY));
        if faint_too {
            turned(&self.faint).iter().for_each(|l| grid.mark_path(l, NOBODY));
        }
        Some(grid)
    }

    /// The best spot for one of the blocks, in no size over `most` mm nor under [`LEAST`].
    ///
    /// Level words win over turned ones, and words clear of the faint lines over others, unless they would be much smaller.
    pub(crate) fn spot(&self, blocks: &[Block], most: f64) -> Option<Spot> {
        let outline = self.rings.first()?;
        let home = ring_bounds(outline)?.centre();
        let most = most.max(LEAST);
        let mut best: Option<(f64, Spot)> = None;
        let faint_choices: &[bool] = if self.faint.is_empty() { &[true] } else { &[true, false] };
        for &faint_too in faint_choices {
            for (angle, weight) in angles(outline) {
                let Some(grid) = self.grid(angle, faint_too) else { continue };
                let summed = grid.summed();
                let near = Motion::turn(-angle).apply(home);
                for (index, block) in blocks.iter().enumerate() {
                    // Nothing smaller than what the best so far is worth need be looked for.
                    let worth = weight * if faint_too { 1.0 } else { 0.7 };
                    let least = best.as_ref().map_or(LEAST, |(score, _)| (score / worth * 1.01).max(LEAST));
                    if least > most {
                        continue;
                    }
                    if let Some((size, middle)) = summed.largest(block.width + PAD, block.height + PAD / 2.0, CLEAR, least, most, near) {
                        best = Some((size * worth, Spot { block: index, size, middle: Motion::turn(angle).apply(middle), angle }));
                    }
                }
                if best.as_ref().is_some_and(|(_, s)| s.size >= most.min(GOOD)) {
                    return best.map(|(_, s)| s);
                }
            }
        }
        best.map(|(_, s)| s)
    }

    /// A point well inside the area, if it has any room at all.
    pub(crate) fn inner_point(&self) -> Option<Point> {
        let grid = Area { rings: self.rings.clone(), lines: Vec::new(), faint: Vec::new() }.grid(0.0, false)?;
        let b: Bounds = ring_bounds(self.rings.first()?)?;
        let most = b.width().min(b.height());
        Some(grid.summed().largest(1.0, 1.0, 0.0, most / 1000.0, most, b.centre())?.1)
    }
}

/// Directions to try for words, with what each is worth: level, along the area's longest edge, upright.
fn angles(outline: &[Point]) -> Vec<(f64, f64)> {
    let mut longest = (0.0, 0.0);
    for (i, &a) in outline.iter().enumerate() {
        let side = outline[(i + 1) % outline.len()] - a;
        if side.length() > longest.0 {
            longest = (side.length(), crate::units::degrees_of_warp(side.direction()));
        }
    }
    let mut out = vec![(0.0, 1.0)];
    let along = longest.1;
    if along.abs() > 8.0 && along.abs() < 82.0 {
        out.push((along, 0.8));
    }
    out.push((90.0, 0.75));
    out
}
