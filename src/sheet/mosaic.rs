//! Drawings and table of a mosaic: the map at true scale, and what the finished layer looks like.
//!
//! The map looks at the mould surface, as the worker does; the look is drawn from the side that is
//! seen.

use super::csv::{harmless, written};
use super::scene::{Backing, Drawn, Hold, Ink, Scene, Shape, Text};
use super::text::{clean, decimals, fit};
use crate::cloth::Weave;
use crate::geometry::clip::line_in;
use crate::geometry::interior::roomiest_point;
use crate::geometry::{Bounds, Motion, Point, Region, Ring, point, ring_bounds};
use crate::job::Seen;
use crate::plan::{Plan, PlanMosaic, PlanPiece, words as said};

/// White around the target, and below it for the words, mm.
const MARGIN: f64 = 12.0;
const FOOT: f64 = 34.0;
/// Distance of the weave lines of the map, mm.
const LINES: f64 = 7.0;
/// Distance of the twill or yarn lines of the look, mm.
const YARNS: f64 = 3.2;

/// A patch in the part frame.
pub(super) struct Patch<'p> {
    pub piece: &'p PlanPiece,
    pub region: Region,
    pub number: u32,
}

/// The patches of a mosaic in laying order.
pub(super) fn patches<'p>(plan: &'p Plan, m: &PlanMosaic) -> Vec<Patch<'p>> {
    let mut found: Vec<&PlanPiece> =
        m.patches.iter().filter_map(|id| plan.pieces.iter().find(|p| p.piece == *id)).collect();
    found.sort_by_key(|p| p.patch);
    found
        .into_iter()
        .map(|piece| {
            let back = Motion::turn(piece.angle);
            let ring = |r: &Ring| r.iter().map(|q| back.apply(*q - piece.origin)).collect::<Ring>();
            Patch {
                piece,
                region: Region {
                    outline: ring(&piece.outline),
                    holes: piece.holes.iter().map(ring).collect(),
                },
                number: piece.patch.unwrap_or_default(),
            }
        })
        .collect()
}

/// What is seen of each patch: less all that lie over it. In laying order.
pub(super) fn seen(patches: &[Patch<'_>], earlier_on_top: bool) -> Vec<Vec<Region>> {
    let on_grid = |r: &Region| Region {
        outline: r.outline.iter().map(|p| p.snapped()).collect(),
        holes: r.holes.clone(),
    };
    let shapes: Vec<Region> = patches.iter().map(|p| on_grid(&p.region)).collect();
    (0..shapes.len())
        .map(|k| {
            let over: Vec<&Region> = if earlier_on_top {
                shapes[..k].iter().collect()
            } else {
                shapes[k + 1..].iter().collect()
            };
            let mut left = crate::geometry::boolean::difference(
                shapes[k].rings(),
                over.into_iter().flat_map(Region::rings),
            );
            left.retain(|r| r.area() > 1.0);
            left
        })
        .collect()
}

/// The box around a target with white on all sides, and `foot` mm more below.
fn page(m: &PlanMosaic, foot: f64) -> Bounds {
    let b = ring_bounds(&m.target).unwrap_or(Bounds { min: point(0.0, 0.0), max: point(1.0, 1.0) });
    Bounds { min: b.min - point(MARGIN, MARGIN + foot), max: b.max + point(MARGIN, MARGIN) }
}

/// Parallel lines through regions in a direction (degrees), part frame.
fn lines(regions: &[Region], direction: f64, every: f64) -> Vec<[Point; 2]> {
    let along = Motion::turn(direction).apply(point(1.0, 0.0));
    let across = point(-along.y, along.x);
    let mut out = Vec::new();
    for r in regions {
        let reach: Vec<f64> = r.outline.iter().map(|p| p.dot(across)).collect();
        let (low, high) = reach
            .iter()
            .fold((f64::INFINITY, f64::NEG_INFINITY), |(a, b), &x| (a.min(x), b.max(x)));
        // A patch as large as a sail gets its lines further apart.
        let every = every * ((high - low) / every / 4000.0).ceil().max(1.0);
        let (first, last) = ((low / every).ceil() as i64, (high / every).floor() as i64);
        for k in first..=last {
            let at = across * (k as f64 * every + 0.001);
            out.extend(line_in(at, along, r).into_iter().map(|s| s.map(|t| at + along * t)));
        }
    }
    out
}

fn rings(regions: &[Region]) -> Vec<Ring> {
    regions.iter().flat_map(Region::rings).cloned().collect()
}

/// The patch map at true scale: what shows of each patch with its number in laying order and its
/// weave, the cut edges that lie under.
pub(super) fn map(plan: &Plan, m: &PlanMosaic) -> Scene {
    let patches = patches(plan, m);
    let seen = seen(&patches, m.earlier_on_top);
    let title = format!("Patch map: {} of {}, {}", said::layer(m.layer), m.job, ply(m));
    let mut s = Scene::new(page(m, FOOT), clean(&title));
    for (p, shown) in patches.iter().zip(&seen) {
        s.draw(Ink::OffcutHatch, Shape::Segments(lines(shown, p.piece.angle, LINES)));
        s.draw(Ink::Net, Shape::Rings(p.region.rings().cloned().collect()));
        let id = Some(format!("patch-{}", p.number));
        s.drawn.push(Drawn { ink: Ink::Stock, id, shape: Shape::Rings(rings(shown)) });
        let Some((at, room)) = shown.first().and_then(roomiest_point) else {
            continue;
        };
        let size = (room * 0.62).clamp(3.5, 13.0);
        let round = (0..24)
            .map(|k| Motion::new(f64::from(k) * 15.0, false, at).apply(point(size * 1.12, 0.0)))
            .collect();
        s.backings.push(Backing { ring: round, black: false });
        let mut middle = |below: f64, size: f64, bold: bool, words: String| {
            let at = at - point(0.0, below);
            s.texts.push(Text {
                at,
                hold: Hold::Middle,
                angle: 0.0,
                size,
                bold,
                white: false,
                words,
            });
        };
        middle(size * 0.16, size, true, p.number.to_string());
        middle(size * 0.78, size * 0.45, false, said::angle(p.piece.angle));
    }
    let corner = point(s.page.min.x + MARGIN, s.page.min.y + FOOT);
    let width = s.page.width() - 2.0 * MARGIN;
    let mut line = |below: f64, size: f64, bold: bool, words: &str| {
        s.words(corner - point(0.0, below), size, bold, fit(words, width, size, bold));
    };
    line(6.0, 6.0, true, &clean(&title));
    line(
        11.5,
        3.6,
        false,
        "Looking at the mould surface. Lay the patches in the order of the numbers.",
    );
    let over = if m.earlier_on_top { "under the earlier ones" } else { "over the earlier ones" };
    let side = if m.earlier_on_top { "Seen from the mould side, later" } else { "Later" };
    line(
        16.0,
        3.6,
        false,
        &format!("{side} patches reach {} mm {over} (broken lines).", decimals(m.lap, 1)),
    );
    line(
        20.5,
        3.6,
        false,
        "Grey lines run along the warp; the angle is that of the warp to the part's 0°.",
    );
    let bar = corner - point(0.0, 27.0);
    for (x, up) in [(0.0, 2.0), (50.0, 1.5), (100.0, 2.0)] {
        s.line(Ink::Frame, &[bar + point(x, -up), bar + point(x, up)]);
    }
    s.drawn.push(Drawn {
        ink: Ink::Frame,
        id: Some("bar-100-mm".into()),
        shape: Shape::Path(vec![bar, bar + point(100.0, 0.0)]),
    });
    s.words(bar + point(102.0, -1.3), 3.6, false, "100 mm");
    let head = bar + point(160.0, 0.0);
    s.line(Ink::Arrow, &[bar + point(130.0, 0.0), head]);
    s.draw(Ink::Arrow, Shape::Solid(vec![head, head + point(-5.0, 2.0), head + point(-5.0, -2.0)]));
    s.words(head + point(2.0, -1.3), 3.6, false, "0° of the part");
    s
}

fn ply(m: &PlanMosaic) -> String {
    format!("{}, {}", m.template, said::hand(m.hand))
}

/// How light cloth of a direction looks, 0 to 1: light from one side makes the sheen.
fn light(direction: f64, modulo: f64) -> f64 {
    0.5 + 0.5 * libm::cos((direction - 20.0) / modulo * std::f64::consts::TAU)
}

/// The finished layer from the side that is seen, in greys, at true scale.
pub(super) fn look(plan: &Plan, m: &PlanMosaic) -> Scene {
    let layer = plan.layers.iter().find(|l| l.job == m.job && l.layer == m.layer);
    let material = layer.and_then(|l| plan.materials.iter().find(|c| c.cloth == l.cloth));
    let from_mould = layer.is_none_or(|l| l.seen != Seen::OtherSide);
    let page = page(m, 12.0);
    let patches = patches(plan, m);
    let seen = seen(&patches, m.earlier_on_top);
    let shown =
        said::seen(if from_mould { Seen::MouldSide } else { Seen::OtherSide }).unwrap_or_default();
    let title =
        format!("{}: the finished look, {shown}. Light and dark stand for direction.", ply(m));
    let mut s = Scene::new(page, clean(&title));
    // From the mould side left and right change places.
    let across = page.min.x + page.max.x;
    let at = |p: Point| {
        if from_mould { point(across - p.x, p.y) } else { p }
    };
    // The line of the cloth: along a twill's rise, else along the warp.
    let twill = material.and_then(|c| c.twill_line.filter(|_| c.weave != Weave::Plain));
    let woven = material.is_some_and(|c| c.weave != Weave::Unidirectional);
    for (p, regions) in patches.iter().zip(&seen) {
        let grey = (70.0 + 150.0 * light(p.piece.angle, m.modulo)).clamp(0.0, 255.0).round() as u8;
        let shape: Vec<Ring> =
            rings(regions).iter().map(|r| r.iter().map(|&p| at(p)).collect()).collect();
        s.drawn.push(Drawn {
            ink: Ink::Stock,
            id: Some(format!("patch-{}", p.number)),
            shape: Shape::Tone(shape, grey),
        });
        let flipped = plan
            .stocks
            .iter()
            .flat_map(|s| &s.placed)
            .any(|q| q.piece == p.piece.piece && q.face == crate::cloth::Face::Down);
        let line = twill.map_or(0.0, |t| if flipped { -t } else { t });
        let yarns = [Some(line), (woven && twill.is_none()).then_some(90.0)];
        for turn in yarns.into_iter().flatten() {
            let segments = lines(regions, p.piece.angle + turn, YARNS)
                .into_iter()
                .map(|s| s.map(at))
                .collect();
            s.draw(Ink::Yarn, Shape::Segments(segments));
        }
    }
    let words = fit(&clean(&title), page.width() - 2.0 * MARGIN, 4.0, false);
    s.words(page.min + point(MARGIN, 8.0), 4.0, false, words);
    s
}

/// The drawings of all mosaic layers, map and look of each: name of the file, drawing, and whether
/// it is there to measure by.
pub(super) fn drawings(plan: &Plan) -> Vec<(String, Scene, bool)> {
    let name = |k: usize, ply: &str, what: &str| {
        format!("mosaic-{:02}-{}-{what}", k + 1, crate::file_name::made_of(ply))
    };
    let both = |(k, m): (usize, &PlanMosaic)| {
        [
            (name(k, &m.ply, "map"), map(plan, m), true),
            (name(k, &m.ply, "look"), look(plan, m), false),
        ]
    };
    plan.mosaics.iter().enumerate().flat_map(both).collect()
}

/// The table of all patches, CSV.
pub(super) fn table(plan: &Plan) -> String {
    let columns = [
        "mosaic",
        "patch",
        "number",
        "piece",
        "direction_deg",
        "length_mm",
        "width_mm",
        "area_cm2",
        "cut_from",
        "face",
        "whole",
    ];
    let mut rows = vec![columns.map(String::from).to_vec()];
    for m in &plan.mosaics {
        for p in patches(plan, m) {
            let b = ring_bounds(&p.piece.outline);
            let on = plan
                .stocks
                .iter()
                .find_map(|s| Some((s, s.placed.iter().find(|q| q.piece == p.piece.piece)?)));
            rows.push(vec![
                harmless(&m.ply),
                p.number.to_string(),
                harmless(&p.piece.number),
                harmless(&p.piece.piece),
                decimals(p.piece.angle, 1),
                decimals(b.map_or(0.0, |b| b.width()), 1),
                decimals(b.map_or(0.0, |b| b.height()), 1),
                decimals(p.region.area() / 100.0, 1),
                harmless(on.map_or("", |o| &o.0.id)),
                on.map_or("", |o| said::face(o.1.face)).to_string(),
                if on.is_some_and(|o| o.0.is_laid_whole()) { "yes" } else { "no" }.to_string(),
            ]);
        }
    }
    written(&rows)
}
