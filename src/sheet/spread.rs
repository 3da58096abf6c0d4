//! Which windows of a drawing go on paper: pages turned and shifted for the fewest, those with
//! nothing on them left out.

use super::grid::{Grid, NOBODY, Summed};
use super::paper::Paper;
use super::scene::{Ink, Scene, Shape};
use crate::geometry::{Bounds, Point, point, ring_bounds};

/// No drawing is spread over more sheets than this.
const MOST: usize = 2000;

/// Shifts of the pages that are tried, mm apart: whole numbers, for they are printed.
const SHIFT: f64 = 4.0;

/// What every line keeps from the outer edges of the pages, mm.
const CLEAR: f64 = 1.0;

/// Cells of the grid that shifts are compared on.
const CELLS: f64 = 200_000.0;

/// One sheet of the many.
pub(crate) struct Tile {
    /// From the top, from 1.
    pub row: usize,
    /// From the left, from 1.
    pub column: usize,
    /// What it shows of the drawing, in the drawing's frame; its lower left corner is at whole mm.
    pub window: Bounds,
}

/// How a drawing is spread over paper.
pub(crate) struct Tiling {
    /// The paper lies.
    pub lying: bool,
    /// Rows and columns of the whole grid.
    pub grid: [usize; 2],
    /// The sheets that have a line to cut or to draw on them, row by row from the top.
    pub tiles: Vec<Tile>,
    /// Sheets that a plain grid over the whole drawing would take, lying or standing, less `tiles`.
    pub saved: usize,
}

/// Spreads a drawing so that the fewest sheets have something on them.
pub(crate) fn spread(scene: &Scene, paper: &Paper) -> Tiling {
    let lines: Vec<Vec<Point>> = lines_that_count(scene).collect();
    let plain = [true, false].map(|lying| {
        let [columns, rows] = counts([scene.page.width(), scene.page.height()], paper, lying);
        columns * rows
    });
    let all: Vec<Point> = lines.iter().flatten().copied().collect();
    let Some(b) = ring_bounds(&all) else {
        return Tiling { lying: false, grid: [0, 0], tiles: Vec::new(), saved: 0 };
    };
    let mut cells = Grid::new(b, CELLS, SHIFT / 2.0);
    lines.iter().for_each(|l| cells.mark_path(l, NOBODY));
    let cells = cells.summed();
    let [lying, standing] = [true, false]
        .map(|lying| windows(&lines, b, corner(&cells, b, paper, lying), paper, lying));
    let mut best = if lying.tiles.len() < standing.tiles.len() { lying } else { standing };
    best.saved = plain[0].min(plain[1]).saturating_sub(best.tiles.len());
    best
}

/// Columns and rows that cover a width and height.
fn counts(size: [f64; 2], paper: &Paper, lying: bool) -> [usize; 2] {
    let room = paper.room(lying);
    [0, 1].map(|i| {
        ((size[i] - paper.overlap) / (room[i] - paper.overlap)).ceil().clamp(1.0, MOST as f64)
            as usize
    })
}

/// Width and height from the upper left corner of the pages, so that no line lies on their last edge,
/// where half of it would not be printed.
fn reach(b: Bounds, corner: Point) -> [f64; 2] {
    [b.max.x - corner.x + CLEAR, corner.y - b.min.y + CLEAR]
}

/// The upper left corner of the grid of pages with which the fewest have something on them.
fn corner(cells: &Summed, b: Bounds, paper: &Paper, lying: bool) -> Point {
    let room = paper.room(lying);
    let step = room.map(|r| r - paper.overlap);
    let home = point(b.min.x.floor() - CLEAR, b.max.y.ceil() + CLEAR);
    let mut best = (usize::MAX, home);
    let shifts =
        |step: f64| (0..(step / SHIFT).floor().max(1.0) as usize).map(|k| k as f64 * SHIFT);
    for down in shifts(step[1]) {
        for left in shifts(step[0]) {
            let at = home + point(-left, down);
            let [columns, rows] = counts(reach(b, at), paper, lying);
            let mut count = 0;
            for row in 0..rows {
                for column in 0..columns {
                    count += usize::from(cells.taken(&window(at, row, column, room, step)));
                }
                if count >= best.0 {
                    break;
                }
            }
            if count < best.0 {
                best = (count, at);
            }
        }
    }
    best.1
}

fn window(corner: Point, row: usize, column: usize, room: [f64; 2], step: [f64; 2]) -> Bounds {
    let min = point(corner.x + column as f64 * step[0], corner.y - row as f64 * step[1] - room[1]);
    Bounds { min, max: min + point(room[0], room[1]) }
}

/// The sheets of a grid of pages that a line touches.
fn windows(lines: &[Vec<Point>], b: Bounds, corner: Point, paper: &Paper, lying: bool) -> Tiling {
    let room = paper.room(lying);
    let step = room.map(|r| r - paper.overlap);
    let [columns, rows] = counts(reach(b, corner), paper, lying);
    let mut needed = vec![false; rows * columns];
    for pair in lines.iter().flat_map(|l| l.windows(2)) {
        let Some(b) = ring_bounds(pair) else { continue };
        let cell = |v: f64, step: f64, most: usize| {
            ((v / step).floor().max(0.0) as usize).min(most.saturating_sub(1))
        };
        let across = cell(b.min.x - corner.x - paper.overlap, step[0], columns)
            ..=cell(b.max.x - corner.x, step[0], columns);
        for row in cell(corner.y - b.max.y - paper.overlap, step[1], rows)
            ..=cell(corner.y - b.min.y, step[1], rows)
        {
            for column in across.clone() {
                let at = row * columns + column;
                needed[at] = needed[at]
                    || crosses(pair[0], pair[1], &window(corner, row, column, room, step));
            }
        }
    }
    let tile = |at: usize| {
        let (row, column) = (at / columns, at % columns);
        Tile { row: row + 1, column: column + 1, window: window(corner, row, column, room, step) }
    };
    Tiling {
        lying,
        grid: [rows, columns],
        tiles: (0..needed.len()).filter(|&i| needed[i]).map(tile).collect(),
        saved: 0,
    }
}

/// The lines that a sheet is needed for, closed ones closed. The straight cut across the roll is
/// made by tape measure.
fn lines_that_count(scene: &Scene) -> impl Iterator<Item = Vec<Point>> {
    const COUNT: [Ink; 5] = [Ink::Cut, Ink::Relief, Ink::Net, Ink::Mark, Ink::Arrow];
    scene.drawn.iter().filter(|d| COUNT.contains(&d.ink)).flat_map(|d| match &d.shape {
        Shape::Rings(rings) | Shape::Tone(rings, _) => {
            rings.iter().map(|r| r.iter().chain(r.first()).copied().collect()).collect()
        }
        Shape::Path(p) | Shape::Solid(p) => vec![p.clone()],
        Shape::Segments(s) => s.iter().map(|s| s.to_vec()).collect(),
    })
}

/// Whether a segment touches a box.
fn crosses(a: Point, b: Point, window: &Bounds) -> bool {
    let (mut from, mut to) = (0.0f64, 1.0f64);
    for (start, along, low, high) in
        [(a.x, b.x - a.x, window.min.x, window.max.x), (a.y, b.y - a.y, window.min.y, window.max.y)]
    {
        if along == 0.0 {
            if start < low || start > high {
                return false;
            }
            continue;
        }
        let (t, u) = ((low - start) / along, (high - start) / along);
        from = from.max(t.min(u));
        to = to.min(t.max(u));
    }
    from <= to
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    fn outline(x: f64, y: f64, width: f64, height: f64) -> Scene {
        let mut s =
            Scene::new(Bounds { min: point(0.0, 0.0), max: point(2000.0, 1200.0) }, String::new());
        let ring = vec![
            point(x, y),
            point(x + width, y),
            point(x + width, y + height),
            point(x, y + height),
        ];
        s.draw(Ink::Cut, Shape::Rings(vec![ring]));
        s
    }

    /// A4 less 8 mm of margin and 9 mm of foot leaves 194 x 272 mm standing and 281 x 185 mm lying.
    #[test]
    fn what_fits_a_page_takes_one_wherever_it_lies() {
        let paper = Paper::new("a4", 8.0, 10.0).unwrap();
        for (x, y) in [(0.0, 0.0), (180.3, 255.7), (970.1, 613.0)] {
            let standing = spread(&outline(x, y, 186.0, 264.0), &paper);
            assert_eq!((standing.tiles.len(), standing.lying), (1, false), "at {x} {y}");
            let lying = spread(&outline(x, y, 270.0, 178.0), &paper);
            assert_eq!((lying.tiles.len(), lying.lying), (1, true), "at {x} {y}");
        }
    }

    /// Two pages standing cover 534 mm from 1 mm above: the lowest edge lay on the end of the second.
    #[test]
    fn no_line_lies_on_the_edge_of_the_last_page() {
        let paper = Paper::new("a4", 8.0, 10.0).unwrap();
        for high in (500..560).map(f64::from) {
            let found = spread(&outline(0.0, 0.0, 100.0, high), &paper);
            for p in [point(0.0, 0.0), point(100.0, high)] {
                let inside = |t: &Tile| {
                    let (low, top) = (p - t.window.min, t.window.max - p);
                    low.x.min(low.y).min(top.x).min(top.y) > 0.9
                };
                assert!(found.tiles.iter().any(inside), "{high}: {p:?}");
            }
        }
    }

    /// Two strips of 100 mm, 500 mm apart: by hand two pages and nothing between.
    #[test]
    fn pages_with_nothing_on_them_are_left_out_and_counted_as_saved() {
        let paper = Paper::new("a4", 8.0, 10.0).unwrap();
        let mut scene = outline(0.0, 0.0, 100.0, 20.0);
        scene.drawn.extend(outline(600.0, 0.0, 100.0, 20.0).drawn);
        let found = spread(&scene, &paper);
        assert_eq!(found.tiles.len(), 2);
        // 2000 x 1200 mm in steps of 184 x 262 mm are 11 x 5 pages, in steps of 271 x 175 mm 8 x 7.
        assert_eq!(found.saved, 55 - 2);
        assert!(
            found
                .tiles
                .iter()
                .all(|t| t.window.min.x.fract() == 0.0 && t.window.min.y.fract() == 0.0),
            "printed in whole mm"
        );
    }
}
