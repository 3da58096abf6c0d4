//! A drawing larger than the paper, at true scale on many sheets to be taped together.

use super::draw::Sheet;
use super::face::View;
use super::paper::{FOOT, Paper};
use super::pdf::{LONGEST, Page, Part, pdf};
use super::scene::{Hold, Ink, Scene, Shape, Text};
use super::text::{clean, fit};
use super::title::title_block;
use crate::geometry::{Bounds, Point, point};

/// Arm of a register cross, mm.
const ARM: f64 = 4.0;

/// No drawing is spread over more sheets than this.
const MOST: usize = 2000;

/// One sheet of the many.
pub(crate) struct Tile {
    /// From the top, from 1.
    pub row: usize,
    /// From the left, from 1.
    pub column: usize,
    /// What it shows of the drawing, in the drawing's frame.
    pub window: Bounds,
}

/// How a drawing is spread over paper.
pub(crate) struct Tiling {
    /// The paper lies.
    pub lying: bool,
    /// Rows and columns of the whole grid.
    pub grid: [usize; 2],
    /// The sheets that have something to cut on them, row by row from the top.
    pub tiles: Vec<Tile>,
}

/// Spreads a drawing, lying or standing, whichever needs fewer sheets; blank sheets are left out.
pub(crate) fn spread(scene: &Scene, paper: &Paper) -> Tiling {
    let [lying, standing] = [true, false].map(|lying| grid(scene, paper, lying));
    if lying.tiles.len() < standing.tiles.len() { lying } else { standing }
}

fn grid(scene: &Scene, paper: &Paper, lying: bool) -> Tiling {
    let [width, height] = paper.room(lying);
    let step = [width - paper.overlap, height - paper.overlap];
    let count = |length: f64, step: f64| ((length - paper.overlap) / step).ceil().clamp(1.0, MOST as f64) as usize;
    let (columns, rows) = (count(scene.page.width(), step[0]), count(scene.page.height(), step[1]));
    let mut needed = vec![false; rows * columns];
    // The grid has its first corner at the upper left of the drawing.
    let (left, top) = (scene.page.min.x, scene.page.max.y);
    let window = |row: usize, column: usize| {
        let min = point(left + column as f64 * step[0], top - row as f64 * step[1] - height);
        Bounds { min, max: min + point(width, height) }
    };
    for line in lines_that_count(scene) {
        for pair in line.windows(2) {
            let b = Bounds {
                min: point(pair[0].x.min(pair[1].x), pair[0].y.min(pair[1].y)),
                max: point(pair[0].x.max(pair[1].x), pair[0].y.max(pair[1].y)),
            };
            let cell = |v: f64, step: f64, most: usize| ((v / step).floor().max(0.0) as usize).min(most.saturating_sub(1));
            let columns_of = (cell(b.min.x - left - paper.overlap, step[0], columns), cell(b.max.x - left, step[0], columns));
            let rows_of = (cell(top - b.max.y - paper.overlap, step[1], rows), cell(top - b.min.y, step[1], rows));
            for row in rows_of.0..=rows_of.1 {
                for column in columns_of.0..=columns_of.1 {
                    let at = row * columns + column;
                    needed[at] = needed[at] || crosses(pair[0], pair[1], &window(row, column));
                }
            }
        }
    }
    let tile = |at: usize| Tile { row: at / columns + 1, column: at % columns + 1, window: window(at / columns, at % columns) };
    Tiling { lying, grid: [rows, columns], tiles: (0..needed.len()).filter(|&i| needed[i]).map(tile).collect() }
}

/// The lines that a sheet is needed for, closed ones closed.
fn lines_that_count(scene: &Scene) -> impl Iterator<Item = Vec<Point>> {
    const COUNT: [Ink; 6] = [Ink::Cut, Ink::Relief, Ink::Net, Ink::Mark, Ink::Arrow, Ink::Across];
    scene.drawn.iter().filter(|d| COUNT.contains(&d.ink)).flat_map(|d| match &d.shape {
        Shape::Rings(rings) => rings.iter().map(|r| r.iter().chain(r.first()).copied().collect()).collect(),
        Shape::Path(p) | Shape::Solid(p) => vec![p.clone()],
        Shape::Segments(s) => s.iter().map(|s| s.to_vec()).collect(),
    })
}

/// Whether a segment touches a box.
fn crosses(a: Point, b: Point, window: &Bounds) -> bool {
    let (mut from, mut to) = (0.0f64, 1.0f64);
    for (start, along, low, high) in [(a.x, b.x - a.x, window.min.x, window.max.x), (a.y, b.y - a.y, window.min.y, window.max.y)] {
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

/// The frame of one page: window's edge, words at the foot and at the check square, and register crosses if it has neighbours. Origin: lower
/// left of the page.
pub(crate) fn frame(paper: &Paper, lying: bool, words: &str, crosses: bool) -> Scene {
    let [width, height] = paper.page(lying);
    let mut s = Scene::new(Bounds { min: point(0.0, 0.0), max: point(width, height) }, String::new());
    let (m, half) = (paper.margin, paper.overlap / 2.0);
    let (low, high) = (point(m, m + FOOT), point(width - m, height - m));
    s.line(Ink::Grid, &[low, point(high.x, low.y), high, point(low.x, high.y), low]);
    for x in [low.x + half, high.x - half].into_iter().filter(|_| crosses) {
        for y in [low.y + half, high.y - half] {
            s.draw(Ink::Leader, Shape::Segments(vec![[point(x - ARM, y), point(x + ARM, y)], [point(x, y - ARM), point(x, y + ARM)]]));
        }
    }
    s.words(corner_of_square(paper) + point(1.5, 1.5), 2.4, false, "check square: 100 mm each way; not part of the layout");
    s.words(point(m, m + 2.5), 3.2, false, fit(words, width - 2.0 * m, 3.2, false));
    s
}

/// The check square of a page, to be drawn over all else: a label that hid a side would make it useless.
pub(crate) fn check_square(paper: &Paper, lying: bool) -> Scene {
    let [width, height] = paper.page(lying);
    let mut s = Scene::new(Bounds { min: point(0.0, 0.0), max: point(width, height) }, String::new());
    s.drawn.push(square_100(corner_of_square(paper)));
    s
}

fn corner_of_square(paper: &Paper) -> Point {
    let inside = paper.margin + paper.overlap / 2.0 + 6.0;
    point(inside, inside + FOOT)
}

/// A square of 100 mm with its lower left corner at `at`.
pub(crate) fn square_100(at: Point) -> super::scene::Drawn {
    let ring = vec![at, at + point(100.0, 0.0), at + point(100.0, 100.0), at + point(0.0, 100.0)];
    super::scene::Drawn { ink: Ink::Grid, id: Some("check-square-100-mm".into()), shape: Shape::Rings(vec![ring]) }
}

/// The map of the sheets with the title block: one page.
fn map(sheet: &Sheet<'_>, layout: &Scene, key: &[(String, String)], paper: &Paper, tiling: &Tiling, first: usize) -> (Scene, Bounds, f64) {
    let [width, height] = paper.page(tiling.lying);
    let m = paper.margin;
    let mut s = Scene::new(Bounds { min: point(0.0, 0.0), max: point(width, height) }, String::new());
    let inner = width - 2.0 * m;
    let mut y = height - m;
    let head = |s: &mut Scene, y: &mut f64, words: String, size: f64, bold: bool| {
        *y -= size * 1.4;
        s.words(point(m, *y), size, bold, fit(&words, inner, size, bold));
    };
    head(&mut s, &mut y, clean(&sheet.title()), 4.2, true);
    let [rows, columns] = tiling.grid;
    let sheets = crate::units::counted(tiling.tiles.len(), "sheet");
    head(
        &mut s,
        &mut y,
        format!(
            "{sheets} of {} paper: {rows} rows, {columns} columns; sheets with nothing to cut are left out.",
            paper.name.to_uppercase()
        ),
        3.4,
        false,
    );
    head(&mut s, &mut y, "Print at 100 % (actual size) and measure the 100 mm square of a sheet.".into(), 3.4, false);
    head(&mut s, &mut y, "Lay sheet on sheet so that the crosses meet, and tape.".into(), 3.4, false);
    // The block is drawn apart to know its height.
    let mut block = Scene::new(s.page, String::new());
    let tall = title_block(&mut block, sheet, key, point(0.0, 0.0), inner, 0.62);
    let room = Bounds { min: point(m, (m + tall + 4.0).min(height * 0.6)), max: point(width - m, y - 6.0) };
    s.append(block, point(m, room.min.y - 4.0));
    let cell = |t: &Tile| t.window;
    let whole = tiling.tiles.iter().map(cell).fold(layout.page, |a, b| Bounds {
        min: point(a.min.x.min(b.min.x), a.min.y.min(b.min.y)),
        max: point(a.max.x.max(b.max.x), a.max.y.max(b.max.y)),
    });
    let scale = (room.width() / whole.width()).min(room.height() / whole.height());
    let at = point(room.min.x - whole.min.x * scale, room.max.y - whole.max.y * scale);
    for (i, tile) in tiling.tiles.iter().enumerate() {
        let (a, b) = (at + tile.window.min * scale, at + tile.window.max * scale);
        s.line(Ink::Leader, &[a, point(b.x, a.y), b, point(a.x, b.y), a]);
        let size = ((b.x - a.x) / 7.0).min((b.y - a.y) / 3.0).clamp(1.2, 5.0);
        let words = format!("{}-{}", tile.row, tile.column);
        s.texts.push(Text {
            at: point((a.x + b.x) / 2.0, (a.y + b.y) / 2.0),
            hold: Hold::Middle,
            angle: 0.0,
            size,
            bold: true,
            white: false,
            words,
        });
        let words = format!("page {}", first + i);
        s.texts.push(Text {
            at: point((a.x + b.x) / 2.0, (a.y + b.y) / 2.0 - size),
            hold: Hold::Middle,
            angle: 0.0,
            size: size * 0.7,
            bold: false,
            white: false,
            words,
        });
    }
    (s, Bounds { min: at, max: at }, scale)
}

/// One layout on sheets of paper: a map, then the sheets.
///
/// Returns the file and its number of pages.
pub(crate) fn tiled(sheet: &Sheet<'_>, paper: &Paper) -> (Vec<u8>, usize) {
    let layout = sheet.layout();
    let scene = layout.scene;
    let tiling = spread(&scene, paper);
    let total = tiling.tiles.len() + 1;
    let name = clean(&sheet.stock.id);
    let (map, at, scale) = map(sheet, &scene, &layout.key, paper, &tiling, 2);
    let frames: Vec<Scene> = tiling
        .tiles
        .iter()
        .enumerate()
        .map(|(i, tile)| {
            let face = super::title::face_in_words(sheet.plan, sheet.stock, sheet.over);
            let id: String = clean(&sheet.plan.id).chars().take(12).collect();
            let words = format!(
                "row {}, column {} · page {} of {total} · {face} · print at 100 % · plan {id} · {name}",
                tile.row,
                tile.column,
                i + 2
            );
            frame(paper, tiling.lying, &words, true)
        })
        .collect();
    let whole = |scene| Part { scene, at: point(0.0, 0.0), scale: 1.0, window: None, darkens: false };
    let size = paper.page(tiling.lying);
    let square = check_square(paper, tiling.lying);
    let mut pages = vec![Page { size, parts: vec![Part { scene: &scene, at: at.min, scale, window: None, darkens: false }, whole(&map)] }];
    for (tile, frame) in tiling.tiles.iter().zip(&frames) {
        let at = point(paper.margin - tile.window.min.x, paper.margin + FOOT - tile.window.min.y);
        pages.push(Page {
            size,
            parts: vec![
                whole(frame),
                Part { scene: &scene, at, scale: 1.0, window: Some(tile.window), darkens: false },
                Part { darkens: true, ..whole(&square) },
            ],
        });
    }
    (pdf(&sheet.title(), &pages), total)
}

/// One layout in one page of its own size; split where it is longer than a PDF page may be. Returns the file and its number of pages.
pub(crate) fn roll(sheet: &Sheet<'_>) -> (Vec<u8>, usize) {
    let mut scene = sheet.scene();
    let corner = point(scene.page.min.x + 6.0, scene.page.min.y - 104.0);
    scene.drawn.push(square_100(corner));
    scene.words(corner + point(2.0, 2.0), 4.0, false, "check square: 100 mm each way");
    scene.page.min.y -= 110.0;
    if scene.page.width() <= LONGEST && scene.page.height() <= LONGEST {
        return (pdf(&sheet.title(), &[Page::of(&scene)]), 1);
    }
    let most = 5000.0;
    let count = (scene.page.width() / most).ceil().max(1.0);
    let height = scene.page.height().min(LONGEST);
    let pages: Vec<Page<'_>> = (0..count as usize)
        .map(|i| {
            let left = scene.page.min.x + i as f64 * most;
            let right = (left + most).min(scene.page.max.x);
            let window = Bounds { min: point(left, scene.page.max.y - height), max: point(right, scene.page.max.y) };
            let at = point(-window.min.x, -window.min.y);
            Page { size: [right - left, height], parts: vec![Part { scene: &scene, at, scale: 1.0, window: Some(window), darkens: false }] }
        })
        .collect();
    (pdf(&sheet.title(), &pages), pages.len())
}

/// How many sheets each layout takes, by its file name, told before anything is drawn for printing.
pub(crate) fn count(view: &View, paper: &Paper) -> Vec<(String, usize)> {
    view.sheets().into_iter().map(|(name, sheet)| (name, spread(&sheet.layout().scene, paper).tiles.len() + 1)).collect()
}
