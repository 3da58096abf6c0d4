//! A small picture of all layouts of a plan, for looking at: not at true scale, nothing in it to
//! cut by.

use super::alike::{Alike, origin};
use super::clip::hatch;
use super::label::Block;
use super::room::Area;
use super::scene::{Drawn, Ink, Scene, Shape};
use super::svg::write_picture;
use super::text::{clean, decimals, fit};
use crate::cloth::Face;
use crate::geometry::{Bounds, Point, Ring, point, ring_bounds};
use crate::plan::{Plan, StockKind};
use crate::units::counted;

/// Width of the picture, pixels.
const PIXELS: f64 = 1000.0;

/// The picture as SVG.
pub(super) fn written(plan: &Plan) -> String {
    let scene = overview(plan);
    write_picture(&scene, PIXELS, scene.page.width() / PIXELS)
}

/// All layouts one under the other, pieces with their numbers, offcuts hatched; what lies face down
/// is hatched the other way and bears a ▼.
pub(super) fn overview(plan: &Plan) -> Scene {
    let boxes: Vec<Bounds> = plan.stocks.iter().filter_map(|s| ring_bounds(&s.outline)).collect();
    let longest = boxes.iter().map(Bounds::width).fold(100.0, f64::max);
    // Lengths on the picture that are to look alike whatever the scale, in mm of cloth.
    let pixel = longest * 1.04 / PIXELS;
    let margin = longest * 0.02;
    let head = 22.0 * pixel;
    let nothing = Bounds { min: point(0.0, 0.0), max: point(0.0, 0.0) };
    let mut picture = Scene::new(nothing, format!("Layouts: {}", clean(&plan.jobs.join(" + "))));
    let mut y = -margin;
    for stock in &plan.stocks {
        let Some(b) = ring_bounds(&stock.outline) else {
            continue;
        };
        let size = 14.0 * pixel;
        let kind = if stock.kind == StockKind::Roll { "roll" } else { "offcut" };
        let words = format!(
            "{kind} {}: {} on {} × {} mm",
            clean(&stock.id),
            counted(stock.placed.len(), "piece"),
            decimals(b.width(), 0),
            decimals(b.height(), 0)
        );
        picture.words(point(0.0, y - size), size, true, fit(&words, longest, size, true));
        y -= head;
        let mut scene = Scene::new(b, String::new());
        scene.draw(
            Ink::Stock,
            Shape::Rings(std::iter::once(&stock.outline).chain(&stock.holes).cloned().collect()),
        );
        for offcut in &stock.offcuts {
            let rings: Vec<Ring> =
                std::iter::once(&offcut.outline).chain(&offcut.holes).cloned().collect();
            let views: Vec<&[Point]> = rings.iter().map(Vec::as_slice).collect();
            scene.draw(Ink::OffcutHatch, Shape::Segments(hatch(&views, 45.0, 12.0 * pixel)));
            scene.draw(Ink::Offcut, Shape::Rings(rings));
        }
        for flaw in &stock.flaws {
            scene.draw(Ink::Flaw, Shape::Segments(hatch(&[flaw], 45.0, 5.0 * pixel)));
            scene.draw(Ink::Flaw, Shape::Rings(vec![flaw.clone()]));
        }
        for segment in stock.segments.iter().skip(1) {
            scene.line(Ink::SegmentEnd, &[point(segment[0], b.min.y), point(segment[0], b.max.y)]);
        }
        let alike = Alike::default();
        for placed in &stock.placed {
            let rings: Vec<Ring> =
                std::iter::once(&placed.outline).chain(&placed.holes).cloned().collect();
            scene.drawn.push(Drawn { ink: Ink::Cut, id: None, shape: Shape::Rings(rings.clone()) });
            // Told without colour, and where there is no room for a number.
            let is_down = placed.face == Face::Down;
            if is_down {
                let lines: Vec<&[Point]> = rings.iter().map(Vec::as_slice).collect();
                scene.draw(Ink::Mark, Shape::Segments(hatch(&lines, 135.0, 9.0 * pixel)));
            }
            // Numbers too small to read are left out: the cut sheets have them all.
            let least = 6.0 * pixel;
            let is_large = |b: &Bounds| b.width().min(b.height()) >= least;
            if !ring_bounds(&placed.outline).is_some_and(|b| is_large(&b)) {
                continue;
            }
            let number = plan
                .pieces
                .iter()
                .find(|p| p.piece == placed.piece)
                .map_or("?", |p| p.number.as_str());
            let mark = if is_down { " ▼" } else { "" };
            let number = format!("{}{mark}", fit(&clean(number), 12.0, 1.0, true));
            let block = [Block::plain(&number, &[])];
            let spot = alike.find(placed, block.iter(), |rings| {
                let area = Area::one_of(rings, stock.placed.len());
                Area { good: 10.0 * pixel, ..area }.spot(&block, 20.0 * pixel)
            });
            if let Some(spot) = spot.filter(|s| s.size >= least) {
                let middle = origin(placed) + spot.middle;
                block[0].write(&mut scene, middle, spot.size, spot.angle);
            }
        }
        picture.append(scene, point(-b.min.x, y - b.max.y));
        y -= b.height() + margin;
    }
    picture.page = Bounds { min: point(-margin, y), max: point(longest + margin, 0.0) };
    picture
}
