//! A drawing larger than the paper, at true scale on many sheets to be taped together.

use super::face::View;
use super::form::Form;
use super::grid::{Grid, NOBODY, WORDS};
use super::laid::Sheet;
use super::paper::{FOOT, Paper};
use super::pdf::{LONGEST, Page, Part};
use super::scene::{Drawn, Hold, Ink, Scene, Shape, Text};
use super::spread::{Tiling, spread};
use super::text::{clean, fit, text_width};
use super::title::title_block;
use super::written::PageCount;
use crate::geometry::{Bounds, Motion, Point, point};
use crate::units::counted;

/// Arm of a register cross, mm.
const ARM: f64 = 4.0;

/// White around the check square, mm.
const CLEAR: f64 = 3.0;

/// Draws a block of words with this upper left corner and width, and tells its height.
type Block<'a> = Box<dyn Fn(&mut Scene, Point, f64) -> f64 + 'a>;

/// A drawing to be printed, and what its pages say beside it.
pub(crate) struct Drawing<'a> {
    /// The drawing.
    pub scene: Scene,
    /// What it is.
    pub title: String,
    /// What the foot of each page says of it.
    pub foot: String,
    /// What belongs on the map of its sheets.
    pub block: Block<'a>,
}

impl<'a> Drawing<'a> {
    /// A cut sheet.
    pub(crate) fn of(sheet: &'a Sheet<'_>) -> Drawing<'a> {
        let layout = sheet.layout();
        let face = super::title::face_in_words(sheet.plan, sheet.stock, sheet.over);
        let id: String = clean(&sheet.plan.id).chars().take(12).collect();
        Drawing {
            scene: layout.scene.clone(),
            title: clean(&sheet.title()),
            foot: format!("{face} · plan {id} · {}", clean(&sheet.stock.id)),
            block: Box::new(move |scene, at, width| {
                title_block(scene, sheet, &layout.key, at, width, 0.62)
            }),
        }
    }
}

/// The frame of one page: the window's edge and its corners, words and a bar of 100 mm at the foot,
/// and register crosses if it has neighbours. Origin: lower left of the page.
pub(crate) fn frame(paper: &Paper, lying: bool, words: &str, crosses: bool) -> Scene {
    let [width, height] = paper.page(lying);
    let mut s =
        Scene::new(Bounds { min: point(0.0, 0.0), max: point(width, height) }, String::new());
    let (m, half) = (paper.margin, paper.overlap / 2.0);
    let (low, high) = (point(m, m + FOOT), point(width - m, height - m));
    s.line(Ink::Grid, &[low, point(high.x, low.y), high, point(low.x, high.y), low]);
    for (x, along) in [(low.x, ARM), (high.x, -ARM)] {
        for (y, up) in [(low.y, ARM), (high.y, -ARM)] {
            s.line(Ink::Leader, &[point(x + along, y), point(x, y), point(x, y + up)]);
        }
    }
    for x in [low.x + half, high.x - half].into_iter().filter(|_| crosses) {
        for y in [low.y + half, high.y - half] {
            s.draw(
                Ink::Leader,
                Shape::Segments(vec![
                    [point(x - ARM, y), point(x + ARM, y)],
                    [point(x, y - ARM), point(x, y + ARM)],
                ]),
            );
        }
    }
    let bar = |from: f64, to: f64| {
        let (foot, top) = (m + 5.4, m + 7.2);
        vec![point(m + from, foot), point(m + to, foot), point(m + to, top), point(m + from, top)]
    };
    (0..10)
        .step_by(2)
        .map(f64::from)
        .for_each(|i| s.draw(Ink::Frame, Shape::Solid(bar(i * 10.0, i * 10.0 + 10.0))));
    s.drawn.push(Drawn {
        ink: Ink::Frame,
        id: Some("bar-100-mm".into()),
        shape: Shape::Rings(vec![bar(0.0, 100.0)]),
    });
    let [across, up] = paper.room(lying).map(|v| super::text::decimals(v, 1));
    let check = format!("bar 100 mm, frame {across} × {up} mm: measure first");
    s.words(
        point(m + 102.0, m + 5.2),
        2.8,
        false,
        fit(&check, width - 2.0 * m - 102.0, 2.8, false),
    );
    s.words(point(m, m + 1.2), 3.0, false, fit(words, width - 2.0 * m, 3.0, false));
    s
}

/// The check square for a page, where nothing else is; none if there is no such place. To be drawn
/// in the frame of the page.
pub(crate) fn check_square(page: &Page<'_>, paper: &Paper, lying: bool) -> Option<Scene> {
    let [width, height] = paper.page(lying);
    let room = Bounds {
        min: point(paper.margin, paper.margin + FOOT),
        max: point(width - paper.margin, height - paper.margin),
    };
    let mut grid = Grid::new(room, 30_000.0, 1.0);
    page.parts.iter().for_each(|part| occupy(&mut grid, part));
    let (_, middle) = grid.summed().largest(100.0, 100.0, CLEAR, 1.0, 1.0, room.min)?;
    let mut s =
        Scene::new(Bounds { min: point(0.0, 0.0), max: point(width, height) }, String::new());
    let corner = middle - point(50.0, 50.0);
    s.drawn.push(square_100(corner));
    s.words(
        corner + point(1.5, 1.5),
        2.4,
        false,
        "check square: 100 mm each way; not part of the layout",
    );
    Some(s)
}

/// Takes the cells of a page on which a part has a line, words, a piece, an offcut, or cloth at
/// all.
fn occupy(grid: &mut Grid, part: &Part<'_>) {
    let place = |points: &[Point]| -> Vec<Point> {
        points.iter().map(|&p| part.at + p * part.scale).collect()
    };
    for thing in &part.scene.drawn {
        match &thing.shape {
            Shape::Rings(rings) | Shape::Tone(rings, _) => {
                let rings: Vec<Vec<Point>> = rings.iter().map(|r| place(r)).collect();
                if matches!(thing.ink, Ink::Stock | Ink::Cut | Ink::Offcut | Ink::Flaw) {
                    grid.fill(&rings, NOBODY);
                }
                rings.iter().for_each(|r| grid.mark_ring(r, NOBODY));
            }
            Shape::Solid(ring) => grid.mark_ring(&place(ring), NOBODY),
            Shape::Path(path) => grid.mark_path(&place(path), NOBODY),
            Shape::Segments(segments) => {
                segments.iter().for_each(|s| grid.mark_path(&place(s), NOBODY))
            }
        }
    }
    let boxes = part
        .scene
        .backings
        .iter()
        .map(|b| b.ring.clone())
        .chain(part.scene.texts.iter().map(box_of));
    for ring in boxes.map(|b| place(&b)) {
        grid.fill(std::slice::from_ref(&ring), WORDS);
        grid.mark_ring(&ring, WORDS);
    }
}

/// The box around a line of text.
pub(crate) fn box_of(text: &Text) -> Vec<Point> {
    let width = text_width(&text.words, text.size, text.bold);
    let left = if text.hold == Hold::Middle { -width / 2.0 } else { 0.0 };
    let place = Motion::new(text.angle, false, text.at);
    let (low, high) = (-0.25 * text.size, 0.95 * text.size);
    [(left, low), (left + width, low), (left + width, high), (left, high)]
        .map(|(x, y)| place.apply(point(x, y)))
        .to_vec()
}

/// A square of 100 mm with its lower left corner at `at`.
pub(crate) fn square_100(at: Point) -> Drawn {
    let ring = vec![at, at + point(100.0, 0.0), at + point(100.0, 100.0), at + point(0.0, 100.0)];
    Drawn {
        ink: Ink::Grid,
        id: Some("check-square-100-mm".into()),
        shape: Shape::Rings(vec![ring]),
    }
}

/// Puts the frame of each page under what it shows, and the check square where it has room. Returns
/// the file.
pub(crate) fn framed<'s>(
    title: &str,
    first: Vec<Page<'s>>,
    mut pages: Vec<Page<'s>>,
    frames: &'s [Scene],
    paper: &Paper,
    form: Form,
) -> Vec<u8> {
    pages.iter_mut().zip(frames).for_each(|(page, frame)| page.parts.insert(0, whole(frame)));
    let square = |(i, page): (usize, &Page<'_>)| {
        let lying = page.size[0] > page.size[1];
        form.wants(first.len() + i).then(|| check_square(page, paper, lying)).flatten()
    };
    let squares: Vec<Option<Scene>> = pages.iter().enumerate().map(square).collect();
    let mut all: Vec<Page<'_>> = first;
    for (mut page, square) in pages.into_iter().zip(&squares) {
        page.parts.extend(square.as_ref().map(whole));
        all.push(page);
    }
    form.of(title, &all).0
}

/// A drawing that is as large as the page.
fn whole(scene: &Scene) -> Part<'_> {
    Part { scene, at: point(0.0, 0.0), scale: 1.0, window: None }
}

/// The map of the sheets with the title block: one page.
fn map(
    drawing: &Drawing<'_>,
    paper: &Paper,
    tiling: &Tiling,
    first: usize,
) -> (Scene, Bounds, f64) {
    let [width, height] = paper.page(tiling.lying);
    let m = paper.margin;
    let mut s =
        Scene::new(Bounds { min: point(0.0, 0.0), max: point(width, height) }, String::new());
    let inner = width - 2.0 * m;
    let mut y = height - m;
    let head = |s: &mut Scene, y: &mut f64, words: String, size: f64, bold: bool| {
        *y -= size * 1.4;
        s.words(point(m, *y), size, bold, fit(&words, inner, size, bold));
    };
    head(&mut s, &mut y, drawing.title.clone(), 3.6, true);
    let [rows, columns] = tiling.grid;
    let sheets = counted(tiling.tiles.len(), "sheet");
    let of = format!(
        "{sheets} of {} paper in {} and {}",
        paper.name.to_uppercase(),
        counted(rows, "row"),
        counted(columns, "column")
    );
    head(
        &mut s,
        &mut y,
        format!("{of}, turned and shifted, blank ones left out: {} saved.", tiling.saved),
        3.4,
        false,
    );
    head(
        &mut s,
        &mut y,
        "Print at 100 % (actual size). Measure the bar at the foot and the frame of a sheet before cutting.".into(),
        3.4,
        false,
    );
    head(
        &mut s,
        &mut y,
        "Lay sheet on sheet so that the crosses meet, and tape.".into(),
        3.4,
        false,
    );
    // The block is drawn apart to know its height.
    let mut block = Scene::new(s.page, String::new());
    let tall = (drawing.block)(&mut block, point(0.0, 0.0), inner);
    let room = Bounds {
        min: point(m, (m + tall + 4.0).min(height * 0.6)),
        max: point(width - m, y - 6.0),
    };
    s.append(block, point(m, room.min.y - 4.0));
    let whole = tiling.tiles.iter().map(|t| t.window).fold(drawing.scene.page, |a, b| Bounds {
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

/// One drawing on sheets of paper: a map, then the sheets.
///
/// Returns the file and its number of pages.
pub(crate) fn tiled(drawing: &Drawing<'_>, paper: &Paper, form: Form) -> (Vec<u8>, usize) {
    let scene = &drawing.scene;
    let tiling = spread(scene, paper);
    let total = tiling.tiles.len() + 1;
    let (map, at, scale) = map(drawing, paper, &tiling, 2);
    let frames: Vec<Scene> = tiling
        .tiles
        .iter()
        .enumerate()
        .map(|(i, tile)| {
            let from = tile.window.min;
            let words = format!(
                "row {}, column {}, from x {} y {} mm · page {} of {total} · {}",
                tile.row,
                tile.column,
                from.x,
                from.y,
                i + 2,
                drawing.foot
            );
            frame(paper, tiling.lying, &words, true)
        })
        .collect();
    let part = |at: Point, scale: f64, window: Option<Bounds>| Part { scene, at, scale, window };
    let size = paper.page(tiling.lying);
    let first = vec![Page { size, parts: vec![part(at.min, scale, None), whole(&map)] }];
    let window = |w: Bounds| {
        part(point(paper.margin - w.min.x, paper.margin + FOOT - w.min.y), 1.0, Some(w))
    };
    let pages = tiling.tiles.iter().map(|t| Page { size, parts: vec![window(t.window)] }).collect();
    (framed(&drawing.title, first, pages, &frames, paper, form), total)
}

/// Adds a strip below a drawing with the check square in it.
pub(crate) fn with_square(scene: &mut Scene) {
    let corner = point(scene.page.min.x + 6.0, scene.page.min.y - 104.0);
    scene.drawn.push(square_100(corner));
    scene.words(corner + point(2.0, 2.0), 4.0, false, "check square: 100 mm each way");
    scene.page.min.y -= 110.0;
}

/// One layout in one page of its own size; split where it is longer than a PDF page may be. Returns
/// the file and its number of pages.
pub(crate) fn roll(mut scene: Scene, title: &str, form: Form) -> (Vec<u8>, usize) {
    with_square(&mut scene);
    if scene.page.width() <= LONGEST && scene.page.height() <= LONGEST {
        return form.of(title, &[Page::of(&scene)]);
    }
    let most = 5000.0;
    let count = (scene.page.width() / most).ceil().max(1.0);
    let height = scene.page.height().min(LONGEST);
    let pages: Vec<Page<'_>> = (0..count as usize)
        .map(|i| {
            let left = scene.page.min.x + i as f64 * most;
            let right = (left + most).min(scene.page.max.x);
            let window = Bounds {
                min: point(left, scene.page.max.y - height),
                max: point(right, scene.page.max.y),
            };
            let at = point(-window.min.x, -window.min.y);
            Page {
                size: [right - left, height],
                parts: vec![Part { scene: &scene, at, scale: 1.0, window: Some(window) }],
            }
        })
        .collect();
    form.of(title, &pages)
}

/// A page to print first: the check square, what to measure and what to do about it.
pub(crate) fn check_page(paper: &Paper, form: Form) -> (Vec<u8>, usize) {
    let words = "check page: measure it before any other page is printed";
    let mut page = frame(paper, false, words, false);
    let [width, height] = paper.page(false);
    let corner = point((width - 100.0) / 2.0, (height - 100.0) / 2.0);
    page.drawn.push(square_100(corner));
    for (i, line) in [
        "This square is 100 mm each way.",
        "Measure it both ways with a steel rule.",
        "Not 100? Print again at 100 % (actual size),",
        "not fitted to the page.",
    ]
    .into_iter()
    .enumerate()
    {
        let at = corner + point(6.0, 90.0 - 6.0 * i as f64);
        page.words(at, 3.4, i == 0, fit(line, 88.0, 3.4, i == 0));
    }
    form.of("Check page", &[Page::of(&page)])
}

/// A picture made to fit a page, not at true scale.
pub(crate) fn fitted(scene: &Scene, paper: &Paper, form: Form) -> (Vec<u8>, usize) {
    let lying = scene.page.width() > scene.page.height();
    let size = paper.page(lying);
    let room = size.map(|v| v - 2.0 * paper.margin);
    let scale = (room[0] / scene.page.width()).min(room[1] / scene.page.height()).min(1.0);
    let at = point(
        paper.margin - scene.page.min.x * scale,
        size[1] - paper.margin - scene.page.max.y * scale,
    );
    let parts = vec![Part { scene, at, scale, window: None }];
    form.of(&scene.title, &[Page { size, parts }])
}

/// How many sheets each drawing takes on paper.
pub(crate) fn count(view: &View<'_>, paper: &Paper) -> Vec<PageCount> {
    let of = |name: String, scene: &Scene| {
        let tiling = spread(scene, paper);
        PageCount { name, pages: tiling.tiles.len() + 1, saved: tiling.saved }
    };
    let sheets = view.sheets().into_iter().map(|(name, sheet)| of(name, &sheet.layout().scene));
    let mosaics = super::mosaic::drawings(&view.plan).into_iter().map(|(name, scene, to_scale)| {
        if to_scale { of(name, &scene) } else { PageCount { name, pages: 1, saved: 0 } }
    });
    sheets.chain(mosaics).collect()
}
