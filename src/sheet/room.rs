//! Finding the place and size of words inside an area.

use super::grid::{Grid, NOBODY, Summed};
use super::label::Block;
use crate::geometry::{Bounds, Motion, Point, Ring, ring_bounds};
use std::cell::OnceCell;

/// Smallest font size that is still read at the bench, mm.
pub(crate) const LEAST: f64 = 2.6;

/// A font size on a sheet at true scale that needs no better place, mm.
const GOOD: f64 = 5.0;

/// White kept between words and lines, mm.
const CLEAR: f64 = 0.9;

/// More of it at each side of larger words, ems of the body.
const PAD: f64 = 0.5;

/// Cells of one search grid; fewer among more than a thousand pieces, whose labels are small.
const CELLS: f64 = 16_000.0;
const FEW_CELLS: f64 = 4_000.0;
const MANY: usize = 1_000;

/// An area and the lines in it.
#[derive(Clone, Debug)]
pub(crate) struct Area {
    /// Outline and holes, even-odd.
    pub rings: Vec<Ring>,
    /// Regions in it that are not for words.
    pub taken: Vec<Vec<Ring>>,
    /// Lines no word may touch.
    pub lines: Vec<Vec<Point>>,
    /// Lines words should not touch if there is another way.
    pub faint: Vec<Vec<Point>>,
    /// Cells of a search grid.
    pub cells: f64,
    /// A font size that needs no better place, mm.
    pub good: f64,
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
    /// An area with nothing in it.
    pub(crate) fn of(rings: Vec<Ring>) -> Area {
        let none = Vec::new;
        Area { rings, taken: Vec::new(), lines: none(), faint: none(), cells: CELLS, good: GOOD }
    }

    /// The same, one of so many.
    pub(crate) fn one_of(rings: Vec<Ring>, many: usize) -> Area {
        let cells = if many > MANY { FEW_CELLS } else { CELLS };
        Area { cells, ..Area::of(rings) }
    }

    /// The grid of this area, turned by `-angle`.
    pub(crate) fn grid(&self, angle: f64, faint_too: bool) -> Option<Grid> {
        let turn = Motion::turn(-angle);
        let turned = |lines: &[Vec<Point>]| -> Vec<Vec<Point>> {
            lines.iter().map(|l| l.iter().map(|&p| turn.apply(p)).collect()).collect()
        };
        let rings = turned(&self.rings);
        let mut grid = Grid::new(ring_bounds(rings.first()?)?, self.cells, 0.2);
        grid.take_all(NOBODY);
        grid.release(&rings);
        for region in self.taken.iter().map(|r| turned(r)) {
            grid.fill(&region, NOBODY);
            region.iter().for_each(|r| grid.mark_ring(r, NOBODY));
        }
        rings.iter().for_each(|r| grid.mark_ring(r, NOBODY));
        turned(&self.lines).iter().for_each(|l| grid.mark_path(l, NOBODY));
        if faint_too {
            turned(&self.faint).iter().for_each(|l| grid.mark_path(l, NOBODY));
        }
        Some(grid)
    }

    /// Gets ready to look for spots in this area.
    pub(crate) fn finder(&self) -> Option<Finder<'_>> {
        let outline = self.rings.first()?;
        let mut views = Vec::new();
        for clear_of_faint in [true, false] {
            if clear_of_faint || !self.faint.is_empty() {
                let worth = if clear_of_faint { 1.0 } else { 0.7 };
                views.extend(angles(outline).map(|(angle, weight)| View {
                    angle,
                    worth: weight * worth,
                    clear_of_faint,
                    sums: OnceCell::new(),
                }));
            }
        }
        Some(Finder { area: self, home: ring_bounds(outline)?.centre(), views })
    }

    /// The best spot for one of the blocks: see [`Finder::spot`].
    pub(crate) fn spot(&self, blocks: &[Block], most: f64) -> Option<Spot> {
        self.finder()?.spot(blocks, most)
    }

    /// A point well inside the area, if it has any room at all.
    pub(crate) fn inner_point(&self) -> Option<Point> {
        let grid = Area { cells: self.cells, ..Area::of(self.rings.clone()) }.grid(0.0, false)?;
        let b: Bounds = ring_bounds(self.rings.first()?)?;
        let most = b.width().min(b.height());
        Some(grid.summed().largest(1.0, 1.0, 0.0, most / 1000.0, most, b.centre())?.1)
    }
}

/// One way to look at an area.
struct View {
    angle: f64,
    /// What a size found this way counts against others.
    worth: f64,
    clear_of_faint: bool,
    /// Made when first needed.
    sums: OnceCell<Option<Summed>>,
}

/// An area ready to be searched for room, by several blocks of words in turn.
pub(crate) struct Finder<'a> {
    area: &'a Area,
    home: Point,
    views: Vec<View>,
}

impl Finder<'_> {
    /// The best spot for one of the blocks, in no size over `most` mm nor under [`LEAST`].
    ///
    /// Level words win over turned ones, and words clear of the faint lines over others, unless
    /// they would be much smaller.
    pub(crate) fn spot(&self, blocks: &[Block], most: f64) -> Option<Spot> {
        let most = most.max(LEAST);
        let mut best: Option<(f64, Spot)> = None;
        for view in &self.views {
            let made = view.sums.get_or_init(|| {
                self.area.grid(view.angle, view.clear_of_faint).map(|g| g.summed())
            });
            let Some(sums) = made else { continue };
            let near = Motion::turn(-view.angle).apply(self.home);
            for (index, block) in blocks.iter().enumerate() {
                // Nothing smaller than what the best so far is worth need be looked for.
                let least = best
                    .as_ref()
                    .map_or(LEAST, |(score, _)| (score / view.worth * 1.01).max(LEAST));
                if least > most {
                    continue;
                }
                if let Some((size, middle)) = sums.largest(
                    block.width + PAD,
                    block.height + PAD / 4.0,
                    CLEAR,
                    least,
                    most,
                    near,
                ) {
                    let middle = Motion::turn(view.angle).apply(middle);
                    best = Some((
                        size * view.worth,
                        Spot { block: index, size, middle, angle: view.angle },
                    ));
                }
            }
            if best.as_ref().is_some_and(|(_, s)| s.size >= most.min(self.area.good)) {
                break;
            }
        }
        best.map(|(_, s)| s)
    }
}

/// Directions to try for words, with what each is worth: level, along the area's longest edge,
/// upright.
fn angles(outline: &[Point]) -> impl Iterator<Item = (f64, f64)> {
    let mut longest = (0.0, 0.0);
    for (i, &a) in outline.iter().enumerate() {
        let side = outline[(i + 1) % outline.len()] - a;
        if side.length() > longest.0 {
            longest = (side.length(), crate::units::degrees_of_warp(side.direction()));
        }
    }
    let along = Some((longest.1, 0.8)).filter(|(angle, _)| angle.abs() > 8.0 && angle.abs() < 82.0);
    [Some((0.0, 1.0)), along, Some((90.0, 0.75))].into_iter().flatten()
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::geometry::point;

    #[test]
    fn words_go_along_a_strip_on_the_bias() {
        // 300 x 24 mm at 45°: level words would find a square of 17 mm only.
        let strip = [(0.0, -12.0), (300.0, -12.0), (300.0, 12.0), (0.0, 12.0)]
            .map(|(x, y)| Motion::turn(45.0).apply(point(x, y)));
        let area = Area::of(vec![strip.to_vec()]);
        let block = Block::plain("joint-tape-long", &["layer 3 · +45°".into()]);
        let spot = area.spot(&[block], 6.0).unwrap();
        assert!((spot.angle - 45.0).abs() < 1e-9 && spot.size > 5.9, "{spot:?}");
    }

    #[test]
    fn words_keep_clear_of_lines_and_holes() {
        let square =
            vec![point(0.0, 0.0), point(100.0, 0.0), point(100.0, 100.0), point(0.0, 100.0)];
        let hole = vec![point(20.0, 20.0), point(20.0, 90.0), point(90.0, 90.0), point(90.0, 20.0)];
        let line = vec![point(0.0, 5.0), point(100.0, 5.0)];
        let area = Area { lines: vec![line], ..Area::of(vec![square, hole]) };
        let block = Block::plain("seat", &[]);
        let spot = area.spot(std::slice::from_ref(&block), 12.0).unwrap();
        let half = if spot.angle == 0.0 {
            point(block.width, block.height)
        } else {
            point(block.height, block.width)
        } * (spot.size / 2.0);
        let (low, high) = (spot.middle - half, spot.middle + half);
        let beside = low.x >= 0.0 && high.x <= 20.0 || high.y <= 20.0 && low.y >= 5.0;
        assert!(beside && low.y >= 5.0 && high.x <= 100.0, "{spot:?}");
    }

    #[test]
    fn no_words_stand_on_what_is_taken() {
        let square = |x: f64, side: f64| {
            vec![point(x, 0.0), point(x + side, 0.0), point(x + side, side), point(x, side)]
        };
        let area =
            Area { taken: vec![vec![square(0.0, 60.0)]], ..Area::of(vec![square(0.0, 100.0)]) };
        let block = Block::plain("offcut", &[]);
        let spot = area.spot(std::slice::from_ref(&block), 6.0).unwrap();
        assert!(spot.middle.x > 60.0 || spot.middle.y > 60.0, "{spot:?}");
    }

    #[test]
    fn words_on_a_small_picture_are_turned_where_level_ones_would_be_too_small_on_it() {
        // A strip of 50 x 900 mm drawn at a fifth: 6 mm of it are read on a sheet at true scale only.
        let strip = vec![point(0.0, 0.0), point(50.0, 0.0), point(50.0, 900.0), point(0.0, 900.0)];
        let area = Area { good: 12.0, ..Area::of(vec![strip]) };
        let spot = area.spot(&[Block::plain("2.3 · cut 5", &[])], 18.0).unwrap();
        assert!((spot.angle - 90.0).abs() < 1e-9 && spot.size > 12.0, "{spot:?}");
    }

    #[test]
    fn what_does_not_fit_finds_no_spot() {
        let area = Area::of(vec![vec![point(0.0, 0.0), point(8.0, 0.0), point(4.0, 3.0)]]);
        assert!(area.spot(&[Block::plain("seat", &[])], 12.0).is_none());
        assert!(
            area.inner_point().is_some_and(|p| crate::geometry::ring_contains(&area.rings[0], p))
        );
    }
}
