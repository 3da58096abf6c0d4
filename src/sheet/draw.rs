//! From a plan to the drawings of its cut sheets: one for each stock, or for each bench segment of
//! it.

use super::alike::{Alike, origin};
use super::clip::hatch;
use super::grid::{Grid, NOBODY, WORDS, leader_end};
use super::label::{Block, Facts};
use super::laid::{Laid, Layout, Sheet, motion_of};
use super::placement_rows::corners_of;
use super::room::{Area, LEAST, Spot};
use super::scene::{Drawn, Hold, Ink, Scene, Shape, Text};
use super::text::{clean, decimals, fit, shorten, text_width};
use super::title::{corner_mark, face_in_words, title_block};
use super::turn_over::turn_over_sign;
use crate::cloth::Face;
use crate::geometry::{Bounds, Motion, Path, Point, Ring, point, ring_area, ring_bounds};
use crate::plan::{Offcut, StockKind};
use crate::run::Phase;
use rayon::prelude::*;

/// Largest body size of a label, mm.
const LARGEST: f64 = 14.0;

/// Body sizes of an offcut's label, mm: below the first it says less, and none is over the second.
const OFFCUT: [f64; 2] = [5.0, 10.0];

/// Body sizes of a label outside its piece, the first that finds room counts, mm.
const OUTSIDE: [f64; 3] = [6.0, 4.2, LEAST];

/// How far from its piece an outside label may lie at the larger sizes, mm.
const NEAR: f64 = 150.0;

/// How far it may lie at the smallest, mm.
const REACH: f64 = 300.0;

/// Smallest and largest sign of a piece that is turned over, mm.
const SIGN: [f64; 2] = [2.0, 12.0];

/// White around the cloth: left, right, top, and below down to the title block, mm.
const MARGINS: [f64; 4] = [46.0, 30.0, 34.0, 40.0];

/// Shortest and longest drawn arrow, mm, between them half the side of a square as large as the
/// piece: only its direction counts.
const ARROW: [f64; 2] = [20.0, 120.0];

/// A label that found no room inside what it names.
pub(crate) struct Waiting {
    /// The label.
    pub block: Block,
    anchor: Point,
    owner: u32,
    /// What the key says of it: number and words.
    key: Option<(String, String)>,
}

impl Sheet<'_> {
    /// Draws the sheet.
    pub(crate) fn scene(&self) -> Scene {
        let [_, low, _, high] = self.stock_box;
        let Layout { scene, key, span: [left, right] } = self.layout();
        let (mut scene, left, right) = (scene.clone(), *left, *right);
        self.dimensions(&mut scene, left);
        let width = (right - left + MARGINS[0] + MARGINS[1]).max(380.0);
        let scale = (width / 700.0).clamp(1.0, 3.0);
        let corner = point(left - MARGINS[0] + 6.0, low - MARGINS[3]);
        let height = title_block(&mut scene, self, key, corner, width - 12.0, scale);
        scene.page = Bounds {
            min: point(left - MARGINS[0], corner.y - height - 6.0),
            max: point(left - MARGINS[0] + width, high + MARGINS[2]),
        };
        scene
    }

    /// The cloth and what lies on it; drawn once, for of a large plan that takes long.
    pub(crate) fn layout(&self) -> &Layout {
        self.drawn.get_or_init(|| self.laid_out())
    }

    fn laid_out(&self) -> Layout {
        let [_, low, _, high] = self.stock_box;
        let left = self.pieces.iter().map(|p| p.bounds.min.x).fold(self.from, f64::min);
        let right = self.pieces.iter().map(|p| p.bounds.max.x).fold(self.to, f64::max);
        let nothing = Bounds { min: point(0.0, 0.0), max: point(0.0, 0.0) };
        let mut scene = Scene::new(nothing, self.title());
        let mut waiting = Vec::new();
        let mut key = Vec::new();

        self.cloth(&mut scene);
        let alike = Alike::default();
        let draw = |(i, laid): (usize, &Laid<'_>)| {
            let mut own = (Scene::new(nothing, String::new()), Vec::new(), Vec::new());
            if !self.run.is_stopped(Phase::Writing) {
                draw_piece(&mut own.0, laid, i, &alike, &mut own.1, &mut own.2);
            }
            own
        };
        let left_over = |offcut: &Offcut| {
            let mut own = (Scene::new(nothing, String::new()), Vec::new(), Vec::new());
            if !self.run.is_stopped(Phase::Writing) {
                self.offcut(&mut own.0, offcut, &mut own.1);
            }
            own
        };
        let mut parts: Vec<_> = self.pieces.par_iter().enumerate().map(draw).collect();
        parts.par_extend(self.stock.offcuts.par_iter().map(left_over));
        for (part, wait, cut_short) in parts {
            scene.drawn.extend(part.drawn);
            scene.backings.extend(part.backings);
            scene.texts.extend(part.texts);
            waiting.extend(wait);
            key.extend(cut_short);
        }
        self.flaws(&mut scene, &mut waiting);
        self.ends(&mut scene);

        let free = Bounds { min: point(left, low), max: point(right, high + MARGINS[2] - 4.0) };
        self.outside_labels(&mut scene, free, waiting, &mut key);

        // The corner of the free end and the lower selvedge, wherever this view has it.
        let (y, down) = if self.over { (high + 3.0, -1.0) } else { (low - 3.0, 1.0) };
        corner_mark(&mut scene, point(self.from - 3.0, y), 9.0, down);
        scene.page =
            Bounds { min: point(left - 14.0, low - 14.0), max: point(right + 18.0, high + 14.0) };
        Layout { scene, key, span: [left, right] }
    }

    /// What the sheet is, in one line.
    pub(crate) fn title(&self) -> String {
        let part = if self.segments > 1 {
            format!(", bench segment {} of {}", self.segment + 1, self.segments)
        } else {
            String::new()
        };
        let jobs = clean(&self.plan.jobs.join(" + "));
        format!(
            "Cut sheet: {jobs}, {}{part}, {}, scale 1:1",
            clean(&self.stock.id),
            face_in_words(self.plan, self.stock, self.over)
        )
    }

    /// Outline and selvedges.
    fn cloth(&self, scene: &mut Scene) {
        let rings = std::iter::once(&self.stock.outline)
            .chain(&self.stock.holes)
            .map(|r| self.here(r))
            .filter(|r| !r.is_empty())
            .collect();
        scene.drawn.push(Drawn {
            ink: Ink::Stock,
            id: Some("cloth".into()),
            shape: Shape::Rings(rings),
        });
        let [left, low, right, high] = self.stock_box;
        if self.stock.selvedge > 0.0 {
            for y in [low + self.stock.selvedge, high - self.stock.selvedge] {
                scene.line(Ink::Selvedge, &[point(left, y), point(right, y)]);
            }
        }
    }

    /// One offcut, hatched and named.
    fn offcut(&self, scene: &mut Scene, offcut: &Offcut, waiting: &mut Vec<Waiting>) {
        let rings: Vec<Ring> = std::iter::once(&offcut.outline)
            .chain(&offcut.holes)
            .map(|r| self.here(r))
            .filter(|r| !r.is_empty())
            .collect();
        if rings.is_empty() {
            return;
        }
        let views: Vec<&[Point]> = rings.iter().map(Vec::as_slice).collect();
        scene.draw(Ink::OffcutHatch, Shape::Segments(hatch(&views, 45.0, 16.0)));
        let [x, y, w, h] = offcut.largest_rectangle;
        let best = self.here(&[point(x, y), point(x + w, y), point(x + w, y + h), point(x, y + h)]);
        let name = format!("offcut {}", shorten(&clean(&offcut.id), 24));
        let size = format!("{} × {} mm", decimals(w, 0), decimals(h, 0));
        let area_in_words = format!("{} m²", decimals(offcut.area / 1e6, 3));
        let from = format!("off {}", shorten(&clean(&self.stock.id), 24));
        let whole = [from, format!("largest rectangle {size}"), area_in_words];
        let (whole, brief) = (Block::plain(&name, &whole), Block::plain(&name, &[size]));
        // No word may touch a piece, even if a hand-edited plan laid its offcuts over the pieces.
        let Some(b) = ring_bounds(&rings[0]) else { return };
        let near = |a: &Bounds| {
            a.min.x <= b.max.x && b.min.x <= a.max.x && a.min.y <= b.max.y && b.min.y <= a.max.y
        };
        let pieces = self.pieces.iter().filter(|p| near(&p.bounds));
        let taken = pieces
            .map(|p| std::iter::once(&p.placed.outline).chain(&p.placed.holes).cloned().collect())
            .collect();
        let faint = vec![closed(&best)];
        let many = self.stock.offcuts.len();
        let mut area = Area { taken, faint, ..Area::one_of(rings.clone(), many) };
        self.offcut_corners(scene, &mut area, &rings);
        scene.draw(Ink::Offcut, Shape::Rings(rings));
        if !best.is_empty() {
            scene.draw(Ink::Rectangle, Shape::Rings(vec![best]));
        }
        let Some(finder) = area.finder() else { return };
        let long = finder.spot(std::slice::from_ref(&whole), OFFCUT[1]);
        let found = match long {
            Some(spot) if spot.size >= OFFCUT[0] => Some((&whole, spot)),
            long => finder
                .spot(std::slice::from_ref(&brief), OFFCUT[0])
                .map(|spot| (&brief, spot))
                .or(long.map(|spot| (&whole, spot))),
        };
        match found {
            Some((block, spot)) => {
                block.back(scene, spot.middle, spot.size, spot.angle);
                block.write(scene, spot.middle, spot.size, spot.angle);
            }
            None => {
                if let Some(anchor) = area.inner_point() {
                    waiting.push(Waiting { block: whole, anchor, owner: NOBODY, key: None });
                }
            }
        }
    }

    /// The numbers of an offcut's corners, whose distances stand in the title block, inside it
    /// where there is room.
    fn offcut_corners(&self, scene: &mut Scene, area: &mut Area, rings: &[Ring]) {
        const SIZE: f64 = 4.0;
        let (Some((corners, _)), Some(mut grid)) = (corners_of(self, rings), area.grid(0.0, true))
        else {
            return;
        };
        for corner in corners.iter().flatten() {
            scene.draw(Ink::Offcut, Shape::Solid(disc(corner.at, 1.2)));
            let block = Block::plain(&corner.name, &[]);
            let Some(spot) = grid.near(
                block.width * SIZE + 1.0,
                block.height * SIZE + 1.0,
                corner.at,
                20.0,
                NOBODY,
            ) else {
                continue;
            };
            block.write(scene, spot.centre(), SIZE, 0.0);
            let ring = vec![
                spot.min,
                point(spot.max.x, spot.min.y),
                spot.max,
                point(spot.min.x, spot.max.y),
            ];
            grid.fill(std::slice::from_ref(&ring), NOBODY);
            grid.mark_ring(&ring, NOBODY);
            area.taken.push(vec![ring]);
        }
    }

    fn flaws(&self, scene: &mut Scene, waiting: &mut Vec<Waiting>) {
        for flaw in &self.stock.flaws {
            let ring = self.here(flaw);
            if ring.is_empty() {
                continue;
            }
            for angle in [45.0, -45.0] {
                scene.draw(Ink::Flaw, Shape::Segments(hatch(&[&ring], angle, 5.0)));
            }
            scene.draw(Ink::Flaw, Shape::Rings(vec![ring.clone()]));
            let block = Block::plain("flaw", &[]);
            let area = Area::of(vec![ring]);
            match area.spot(std::slice::from_ref(&block), 12.0) {
                Some(spot) => {
                    block.back(scene, spot.middle, spot.size, spot.angle);
                    block.write(scene, spot.middle, spot.size, spot.angle);
                }
                None => {
                    if let Some(anchor) = area.inner_point() {
                        waiting.push(Waiting { block, anchor, owner: NOBODY, key: None });
                    }
                }
            }
        }
    }

    /// The straight cut across the roll, and where a bench segment starts and ends.
    fn ends(&self, scene: &mut Scene) {
        let [_, low, _, high] = self.stock_box;
        let across = |scene: &mut Scene, ink: Ink, x: f64, beside: f64, words: String| {
            scene.line(ink, &[point(x, low - 8.0), point(x, high + 8.0)]);
            let size = ((high - low) / 100.0).clamp(4.0, 9.0);
            let words = fit(&words, high - low + 16.0, size, true);
            let at = point(x + beside, (low + high) / 2.0);
            scene.texts.push(Text {
                at,
                hold: Hold::Middle,
                angle: 90.0,
                size,
                bold: true,
                white: false,
                words,
            });
        };
        if self.segment > 0 {
            let words = format!(
                "segment {} starts here, {} mm from the free end",
                self.segment + 1,
                decimals(self.from, 1)
            );
            across(scene, Ink::SegmentEnd, self.from, -4.0, words);
        }
        if self.segment + 1 < self.segments {
            let words = format!(
                "segment {} ends here, {} mm from the free end: slide the cloth",
                self.segment + 1,
                decimals(self.to, 1)
            );
            across(scene, Ink::SegmentEnd, self.to, 13.0, words);
        } else if self.stock.kind == StockKind::Roll {
            let words = format!(
                "cut across here: {} mm from the free end",
                decimals(self.stock.used_length, 1)
            );
            across(scene, Ink::Across, self.stock.used_length, 13.0, words);
        }
    }

    /// Length below the cloth, with a tick each 100 mm, and width at its left.
    fn dimensions(&self, scene: &mut Scene, leftmost: f64) {
        let [left, low, right, high] = self.stock_box;
        let y = low - 14.0;
        dimension(scene, point(left, y), point(right, y));
        let mut k = (left / 100.0).ceil();
        while k * 100.0 <= right && k - left / 100.0 < 2000.0 {
            let x = k * 100.0;
            scene.line(Ink::Frame, &[point(x, y - 1.5), point(x, y + 1.5)]);
            if k % 5.0 == 0.0 {
                let words = decimals(x, 0);
                let half = text_width(&words, 5.0, false) / 2.0;
                if x - half >= left && x + half <= right {
                    let at = point(x, y + 3.0);
                    scene.texts.push(Text {
                        at,
                        hold: Hold::Middle,
                        angle: 0.0,
                        size: 5.0,
                        bold: false,
                        white: false,
                        words,
                    });
                }
            }
            k += 1.0;
        }
        let length = decimals(right - left, 1);
        let words = match self.stock.kind {
            _ if self.segments > 1 => format!(
                "segment {} of {}: {length} mm; used length {} mm",
                self.segment + 1,
                self.segments,
                decimals(self.stock.used_length, 1)
            ),
            StockKind::Roll => format!("used length {length} mm"),
            StockKind::Offcut if self.stock.is_laid_whole() => {
                format!("{length} mm; laid whole, as it is: cut nothing")
            }
            StockKind::Offcut => format!("{length} mm"),
        };
        let size = ((right - left) / 130.0).clamp(5.0, 9.0);
        let words = fit(&words, (right - left).max(60.0), size, false);
        let at = point((left + right) / 2.0, y - 3.0 - size);
        scene.texts.push(Text {
            at,
            hold: Hold::Middle,
            angle: 0.0,
            size,
            bold: false,
            white: false,
            words,
        });

        let x = leftmost - 22.0;
        dimension(scene, point(x, low), point(x, high));
        let across = decimals(high - low, 1);
        let words = match self.stock.kind {
            StockKind::Roll => format!(
                "roll width {across} mm, usable {} mm",
                decimals(high - low - 2.0 * self.stock.selvedge, 1)
            ),
            StockKind::Offcut => format!("{across} mm"),
        };
        let words = fit(&words, (high - low).max(40.0), size, false);
        let at = point(x - 3.0, (low + high) / 2.0);
        scene.texts.push(Text {
            at,
            hold: Hold::Middle,
            angle: 90.0,
            size,
            bold: false,
            white: false,
            words,
        });
    }

    /// Finds free cloth or margin for the labels that did not fit, each with a leader; what finds
    /// none goes to the key.
    fn outside_labels(
        &self,
        scene: &mut Scene,
        free: Bounds,
        waiting: Vec<Waiting>,
        key: &mut Vec<(String, String)>,
    ) {
        if waiting.is_empty() {
            return;
        }
        let [left, low, right, high] = self.stock_box;
        let mut grid = Grid::new(free, 400_000.0, 2.0);
        let stock = self.here(&self.stock.outline);
        grid.mark_ring(&stock, NOBODY);
        for y in [low + self.stock.selvedge, high - self.stock.selvedge] {
            grid.mark(point(left, y), point(right, y), NOBODY);
        }
        for x in [left, right] {
            grid.mark(point(x, low), point(x, high + 9.0), NOBODY);
        }
        for flaw in &self.stock.flaws {
            grid.fill(std::slice::from_ref(flaw), NOBODY);
            grid.mark_ring(flaw, NOBODY);
        }
        for b in &scene.backings {
            grid.fill(std::slice::from_ref(&b.ring), WORDS);
            grid.mark_ring(&b.ring, WORDS);
        }
        for (i, laid) in self.pieces.iter().enumerate() {
            if self.run.is_stopped(Phase::Writing) {
                return;
            }
            let rings: Vec<Ring> =
                std::iter::once(&laid.placed.outline).chain(&laid.placed.holes).cloned().collect();
            grid.fill(&rings, i as u32 + 1);
            rings.iter().for_each(|r| grid.mark_ring(r, i as u32 + 1));
        }
        for label in waiting {
            if self.run.is_stopped(Phase::Writing) {
                return;
            }
            let block = &label.block;
            let found = OUTSIDE.iter().find_map(|&size| {
                let (width, height) = (block.width * size + 4.0, block.height * size + 4.0);
                let reach = if size > LEAST { NEAR } else { REACH };
                Some((size, grid.near(width, height, label.anchor, reach, label.owner)?))
            });
            let Some((size, spot)) = found else {
                key.extend(label.key.map(|(number, words)| {
                    (
                        number,
                        format!(
                            "{words} · at x {} y {} mm",
                            decimals(label.anchor.x, 0),
                            decimals(label.anchor.y, 0)
                        ),
                    )
                }));
                continue;
            };
            let middle = spot.centre();
            let half = point(block.width * size / 2.0 + 1.0, block.height * size / 2.0 + 0.5);
            let tight = Bounds { min: middle - half, max: middle + half };
            let end = leader_end(&tight, label.anchor);
            scene.line(Ink::Leader, &[label.anchor, end]);
            scene.draw(Ink::Leader, Shape::Solid(disc(label.anchor, 0.9)));
            grid.mark(label.anchor, end, WORDS);
            block.back(scene, middle, size, 0.0);
            block.write(scene, middle, size, 0.0);
            let ring = vec![
                spot.min,
                point(spot.max.x, spot.min.y),
                spot.max,
                point(spot.min.x, spot.max.y),
            ];
            grid.fill(std::slice::from_ref(&ring), WORDS);
            grid.mark_ring(&ring, WORDS);
        }
    }
}

/// A small regular polygon for a dot.
fn disc(middle: Point, radius: f64) -> Ring {
    (0..12)
        .map(|i| Motion::new(f64::from(i) * 30.0, false, middle).apply(point(radius, 0.0)))
        .collect()
}

/// A dimension line with a slanted tick at each end.
fn dimension(scene: &mut Scene, a: Point, b: Point) {
    scene.line(Ink::Frame, &[a, b]);
    for p in [a, b] {
        scene.line(Ink::Frame, &[p - point(2.0, 2.0), p + point(2.0, 2.0)]);
    }
}

/// The ring as a line that comes back to its start.
fn closed(ring: &[Point]) -> Path {
    ring.iter().chain(ring.first()).copied().collect()
}

/// Where the sign and the words of a piece go, from its origin.
#[derive(Clone)]
pub(crate) struct Places {
    /// Size and middle of the sign of a piece that is turned over.
    sign: Option<(f64, Point)>,
    /// The label: which of the [`choices`], and where.
    label: Option<(usize, Spot)>,
    /// A point inside, for the leader of a label that lies outside.
    inner: Option<Point>,
    /// Middle of the word at the arrow's head.
    zero: Option<Point>,
}

/// One piece with its lines and, if it has room, its label.
pub(crate) fn draw_piece(
    scene: &mut Scene,
    laid: &Laid<'_>,
    index: usize,
    alike: &Alike<Places>,
    waiting: &mut Vec<Waiting>,
    key: &mut Vec<(String, String)>,
) {
    let placed = laid.placed;
    let rings: Vec<Ring> = std::iter::once(&placed.outline).chain(&placed.holes).cloned().collect();
    scene.drawn.push(Drawn {
        ink: Ink::Cut,
        id: Some(format!("cut-{}", index + 1)),
        shape: Shape::Rings(rings),
    });
    let area = ring_area(&placed.outline).abs();
    if let Some(piece) = laid.piece {
        let [net, cuts, marks] =
            [&piece.net, &piece.cuts, &piece.marks].map(|l| moved(l, &motion_of(placed)));
        for (n, cut) in cuts.into_iter().enumerate() {
            let id = Some(format!("relief-{}-{}", index + 1, n + 1));
            scene.drawn.push(Drawn { ink: Ink::Relief, id, shape: Shape::Path(cut) });
        }
        // Where no cloth lies beyond the net line the cut line says it all.
        let apart: Vec<Ring> = net
            .into_iter()
            .zip(&piece.net)
            .filter(|(_, r)| !r.iter().all(|p| piece.outline.contains(p)))
            .map(|(n, _)| n)
            .collect();
        if !apart.is_empty() {
            scene.drawn.push(Drawn {
                ink: Ink::Net,
                id: Some(format!("net-{}", index + 1)),
                shape: Shape::Rings(apart),
            });
        }
        marks.iter().for_each(|m| scene.line(Ink::Mark, m));
        if let Some(arrow) = Arrow::of(piece.arrow.map(|p| motion_of(placed).apply(p)), area) {
            arrow.draw(scene, index);
        }
    }
    let size = (area.sqrt() / 14.0).clamp(4.0, LARGEST);
    let choices = choices(&laid.facts);
    let places = alike.find(placed, choices.iter().flat_map(|(b, _)| b), |rings| {
        places_in(laid, rings, &choices, size)
    });
    let home = origin(placed);
    if let Some((size, middle)) = places.sign {
        let id = Some(format!("turn-over-{}", index + 1));
        turn_over_sign(scene, home + middle, size, id);
    }
    if let Some((choice, spot)) = &places.label {
        let (blocks, whole) = &choices[*choice];
        blocks[spot.block].write(scene, home + spot.middle, spot.size, spot.angle);
        if !whole {
            key.push((laid.facts.number.clone(), laid.facts.line()));
        }
    } else if let Some(anchor) =
        places.inner.map(|p| home + p).or_else(|| placed.outline.first().copied())
    {
        let entry = (laid.facts.number.clone(), laid.facts.line());
        waiting.push(Waiting {
            block: laid.facts.outside(),
            anchor,
            owner: index as u32 + 1,
            key: Some(entry),
        });
    }
    if let Some(middle) = places.zero {
        Block::plain(ZERO, &[]).write(scene, home + middle, zero_size(size), 0.0);
    }
}

/// Looks for the sign and the words of a piece in its rings, given from its origin.
fn places_in(
    laid: &Laid<'_>,
    rings: Vec<Ring>,
    choices: &[(Vec<Block>, bool)],
    size: f64,
) -> Places {
    let placed = laid.placed;
    let turned = Motion::new(placed.turn, placed.face == Face::Down, point(0.0, 0.0));
    let mut area = Area::one_of(rings, laid.many);
    let mut arrow = None;
    if let Some(piece) = laid.piece {
        area.lines.extend(moved(&piece.cuts, &turned));
        area.faint.extend(moved(&piece.net, &turned).iter().map(|r| closed(r)));
        area.faint.extend(moved(&piece.marks, &turned));
        let surface = area.rings.first().map_or(0.0, |r| ring_area(r).abs());
        arrow = Arrow::of(piece.arrow.map(|p| turned.apply(p)), surface);
        area.lines.extend(arrow.iter().flat_map(Arrow::lines));
    }
    let mut sign = None;
    if laid.facts.face_down {
        let middle = || ring_bounds(area.rings.first()?).map(|b| b.centre());
        let tail = laid.piece.map(|p| turned.apply(p.arrow[0])).or_else(middle);
        sign = tail.and_then(|tail| sign_in(&mut area, tail, size));
    }
    let label = label_in(&area, choices, size);
    let inner = if label.is_none() { area.inner_point() } else { None };
    // Where the label itself had no room, nor has this.
    let zero = arrow.zip(label.as_ref()).and_then(|(arrow, (choice, spot))| {
        let mut grid = area.grid(0.0, true)?;
        let block = &choices[*choice].0[spot.block];
        let half = point(block.width, block.height) * (spot.size / 2.0);
        let place = Motion::new(spot.angle, false, spot.middle);
        let ring: Ring = [(-1.0, -1.0), (1.0, -1.0), (1.0, 1.0), (-1.0, 1.0)]
            .iter()
            .map(|&(x, y)| place.apply(point(half.x * x, half.y * y)))
            .collect();
        grid.fill(std::slice::from_ref(&ring), NOBODY);
        grid.mark_ring(&ring, NOBODY);
        let (size, block) = (zero_size(size), Block::plain(ZERO, &[]));
        let room = (block.width * size + 1.0, block.height * size);
        grid.near(room.0, room.1, arrow.head, 14.0, NOBODY).map(|b| b.centre())
    });
    Places { sign, label, inner, zero }
}

/// What stands at the head of a piece's arrow.
const ZERO: &str = "0°";

/// Its size beside a label of so many mm.
fn zero_size(label: f64) -> f64 {
    (label * 0.6).clamp(LEAST, 8.0)
}

fn moved(lines: &[Vec<Point>], motion: &Motion) -> Vec<Path> {
    lines.iter().map(|l| l.iter().map(|&p| motion.apply(p)).collect()).collect()
}

/// Size and middle of the sign of a piece that is turned over before it is laid, inside it near
/// `near`; its place is kept free of words.
fn sign_in(area: &mut Area, near: Point, most: f64) -> Option<(f64, Point)> {
    let roomy = area.grid(0.0, true).and_then(|g| {
        g.summed().largest(1.0, 1.0, 0.6, SIGN[0].min(most), most.min(SIGN[1]), near)
    });
    let (size, middle) = roomy.or_else(|| Some((SIGN[0], area.inner_point()?)))?;
    let half = size / 2.0 + 0.4;
    let box_of = [(-half, -half), (half, -half), (half, half), (-half, half)]
        .map(|(x, y)| middle + point(x, y));
    area.taken.push(vec![box_of.to_vec()]);
    Some((size, middle))
}

/// The 0° arrow as it is drawn.
struct Arrow {
    tail: Point,
    head: Point,
    /// Where the shaft ends and the tip begins, and the tip's corners beside it.
    base: [Point; 3],
}

impl Arrow {
    /// The arrow of a piece of so many mm²; none if it has no length.
    fn of([tail, head]: [Point; 2], surface: f64) -> Option<Arrow> {
        let length = tail.distance(head);
        if length <= 0.0 {
            return None;
        }
        let along = (head - tail) * (1.0 / length);
        let middle = (tail + head) * 0.5;
        let most = (surface.sqrt() / 2.0).clamp(ARROW[0], ARROW[1]);
        let half = along * (length.min(most) / 2.0);
        let (tail, head) = (middle - half, middle + half);
        let barb = (length * 0.3).min(7.0);
        let side = point(-along.y, along.x) * (barb * 0.36);
        let base = head - along * barb;
        Some(Arrow { tail, head, base: [base, base + side, base - side] })
    }

    fn draw(&self, scene: &mut Scene, index: usize) {
        let [base, left, right] = self.base;
        scene.drawn.push(Drawn {
            ink: Ink::Arrow,
            id: Some(format!("arrow-{}", index + 1)),
            shape: Shape::Path(vec![self.tail, base]),
        });
        scene.draw(Ink::Arrow, Shape::Solid(vec![self.head, left, right]));
    }

    /// Lines that no word may touch.
    fn lines(&self) -> [Path; 2] {
        let [_, left, right] = self.base;
        [vec![self.tail, self.head], vec![left, right, self.head, left]]
    }
}

/// A label's arrangements, the first that finds room counts, and whether they say everything.
fn choices(facts: &Facts) -> Vec<(Vec<Block>, bool)> {
    let whole = |columns: usize| shorten(&facts.template, columns) == facts.template;
    let full = [26, 13].map(|columns| (facts.full(columns), whole(columns)));
    let short = facts.short().into_iter().map(|block| (vec![block], false));
    full.into_iter().chain(short).collect()
}

/// Which of the choices finds a spot inside the piece, and where.
fn label_in(area: &Area, choices: &[(Vec<Block>, bool)], most: f64) -> Option<(usize, Spot)> {
    let finder = area.finder()?;
    choices.iter().enumerate().find_map(|(i, (blocks, _))| Some((i, finder.spot(blocks, most)?)))
}
