//! Drawings and table of a mosaic: the map at true scale, and what the finished layer looks like.
//!
//! The map looks at the mould surface, as the worker does; the look is drawn from the side that is seen. y is turned over here.

use super::text::{clean, decimals};
use crate::cloth::Weave;
use crate::geometry::clip::line_in;
use crate::geometry::interior::roomiest_point;
use crate::geometry::{Bounds, Motion, Point, Region, Ring, point, ring_bounds};
use crate::job::Seen;
use crate::plan::{Plan, PlanMosaic, PlanPiece};
use crate::ply::Hand;
use std::fmt::Write as _;

/// White around the target, and below it for the words, mm.
const MARGIN: f64 = 12.0;
const FOOT: f64 = 34.0;
/// Distance of the weave lines of the map, mm.
const LINES: f64 = 7.0;
/// Distance of the twill or yarn lines of the look, mm.
const YARNS: f64 = 3.2;
const FONT: &str = "Helvetica, Arial, 'Liberation Sans', 'DejaVu Sans', sans-serif";

/// A patch in the part frame.
pub(super) struct Patch<'p> {
    pub piece: &'p PlanPiece,
    pub region: Region,
    pub number: usize,
}

/// The patches of a mosaic in laying order.
pub(super) fn patches<'p>(plan: &'p Plan, m: &PlanMosaic) -> Vec<Patch<'p>> {
    let found = m.patches.iter().enumerate().filter_map(|(k, id)| Some((k, plan.pieces.iter().find(|p| p.piece == *id)?)));
    found
        .map(|(k, piece)| {
            let back = Motion::turn(piece.angle);
            let ring = |r: &Ring| r.iter().map(|q| back.apply(*q - piece.origin)).collect::<Ring>();
            Patch { piece, region: Region { outline: ring(&piece.outline), holes: piece.holes.iter().map(ring).collect() }, number: k + 1 }
        })
        .collect()
}

/// What is seen of each patch: less all that lie over it. In laying order.
pub(super) fn seen(patches: &[Patch<'_>], earlier_on_top: bool) -> Vec<Vec<Region>> {
    let on_grid = |r: &Region| Region { outline: r.outline.iter().map(|p| p.snapped()).collect(), holes: r.holes.clone() };
    let shapes: Vec<Region> = patches.iter().map(|p| on_grid(&p.region)).collect();
    (0..shapes.len())
        .map(|k| {
            let over: Vec<&Region> = if earlier_on_top { shapes[..k].iter().collect() } else { shapes[k + 1..].iter().collect() };
            let mut left = crate::geometry::boolean::difference(shapes[k].rings(), over.into_iter().flat_map(Region::rings));
            left.retain(|r| r.area() > 1.0);
            left
        })
        .collect()
}

/// A page with its frame turned over for the file.
struct Page {
    bounds: Bounds,
    mirrored: bool,
}

impl Page {
    fn at(&self, p: Point) -> (f64, f64) {
        let x = if self.mirrored { self.bounds.max.x - p.x } else { p.x - self.bounds.min.x };
        (x, self.bounds.max.y - p.y)
    }

    fn data(&self, ring: &[Point], close: bool) -> String {
        let mut d = String::new();
        for (i, &p) in ring.iter().enumerate() {
            let (x, y) = self.at(p);
            let _ = write!(d, "{}{} {}", if i == 0 { 'M' } else { 'L' }, decimals(x, 3), decimals(y, 3));
        }
        if close {
            d.push('Z');
        }
        d
    }

    fn region(&self, r: &Region) -> String {
        r.rings().map(|ring| self.data(ring, true)).collect()
    }

    /// The opening of the file; `foot` mm are left below.
    fn open(&self, title: &str, foot: f64) -> String {
        let (w, h) = (self.bounds.width(), self.bounds.height() + foot);
        format!(
            "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{0}mm\" height=\"{1}mm\" viewBox=\"0 0 {0} {1}\">\n<title>{2}</title>\n<rect id=\"paper\" width=\"{0}\" height=\"{1}\" fill=\"#ffffff\"/>\n",
            decimals(w, 3),
            decimals(h, 3),
            escaped(title)
        )
    }
}

fn escaped(text: &str) -> String {
    clean(text).replace('&', "&amp;").replace('<', "&lt;").replace('>', "&gt;")
}

fn page(m: &PlanMosaic, mirrored: bool) -> Page {
    let b = ring_bounds(&m.target).unwrap_or(Bounds { min: point(0.0, 0.0), max: point(1.0, 1.0) });
    let margin = point(MARGIN, MARGIN);
    Page { bounds: Bounds { min: b.min - margin, max: b.max + margin }, mirrored }
}

fn words(out: &mut String, x: f64, y: f64, size: f64, anchor: &str, bold: bool, text: &str) {
    let weight = if bold { " font-weight=\"bold\"" } else { "" };
    let _ = writeln!(
        out,
        "<text x=\"{}\" y=\"{}\" font-size=\"{}\" text-anchor=\"{anchor}\"{weight} font-family=\"{FONT}\">{}</text>",
        decimals(x, 2),
        decimals(y, 2),
        decimals(size, 2),
        escaped(text)
    );
}

/// Parallel lines through regions in a direction (degrees), part frame.
fn lines(regions: &[Region], direction: f64, every: f64) -> Vec<[Point; 2]> {
    let along = Motion::turn(direction).apply(point(1.0, 0.0));
    let across = point(-along.y, along.x);
    let mut out = Vec::new();
    for r in regions {
        let reach: Vec<f64> = r.outline.iter().map(|p| p.dot(across)).collect();
        let (low, high) = reach.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(a, b), &x| (a.min(x), b.max(x)));
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

fn strokes(page: &Page, segments: &[[Point; 2]]) -> String {
    segments.iter().map(|s| page.data(s, false)).collect()
}

/// The patch map at true scale: what shows of each patch with its number in laying order and its weave, the cut edges that lie under.
pub(super) fn map(plan: &Plan, m: &PlanMosaic) -> String {
    let page = page(m, false);
    let patches = patches(plan, m);
    let seen = seen(&patches, m.earlier_on_top);
    let mut out = page.open(&format!("Patch map, {}", m.ply), FOOT);
    out.push_str("<g id=\"weave\" fill=\"none\" stroke=\"#8a8a8a\" stroke-width=\"0.25\">\n");
    for (p, s) in patches.iter().zip(&seen) {
        let _ = writeln!(out, "<path d=\"{}\"/>", strokes(&page, &lines(s, p.piece.angle, LINES)));
    }
    out.push_str("</g>\n<g id=\"hidden-edges\" fill=\"none\" stroke=\"#0072b2\" stroke-width=\"0.3\" stroke-dasharray=\"3 2\">\n");
    for p in &patches {
        let _ = writeln!(out, "<path d=\"{}\"/>", page.region(&p.region));
    }
    out.push_str("</g>\n<g id=\"seams\" fill=\"none\" stroke=\"#000000\" stroke-width=\"0.7\" stroke-linejoin=\"round\">\n");
    for (p, s) in patches.iter().zip(&seen) {
        for r in s {
            let _ = writeln!(out, "<path id=\"patch-{}\" d=\"{}\"/>", p.number, page.region(r));
        }
    }
    out.push_str("</g>\n<g id=\"numbers\">\n");
    for (p, s) in patches.iter().zip(&seen) {
        let Some((at, room)) = s.first().and_then(roomiest_point) else { continue };
        let size = (room * 0.62).clamp(3.5, 13.0);
        let (x, y) = page.at(at);
        let _ = writeln!(
            out,
            "<circle cx=\"{}\" cy=\"{}\" r=\"{}\" fill=\"#ffffff\" fill-opacity=\"0.92\"/>",
            decimals(x, 2),
            decimals(y, 2),
            decimals(size * 1.12, 2)
        );
        words(&mut out, x, y + size * 0.16, size, "middle", true, &p.number.to_string());
        words(&mut out, x, y + size * 0.78, size * 0.45, "middle", false, &format!("{}°", decimals(p.piece.angle, 1)));
    }
    out.push_str("</g>\n<g id=\"title\">\n");
    let (left, low) = (MARGIN, page.bounds.height());
    words(&mut out, left, low + 6.0, 6.0, "start", true, &format!("Patch map: layer {} of {}, {}", m.layer, m.job, hand(m)));
    let over = if m.earlier_on_top { "grow under the earlier" } else { "lie over the earlier" };
    let text = format!(
        "Looking at the mould surface. Laid in the order of the numbers; later patches {over} by {} mm (blue, broken).",
        decimals(m.lap, 1)
    );
    words(&mut out, left, low + 12.0, 3.6, "start", false, &text);
    words(
        &mut out,
        left,
        low + 17.0,
        3.6,
        "start",
        false,
        "Grey lines run along the warp; the angle is that of the warp from the part's 0°, which points right.",
    );
    let y = low + 23.0;
    let _ = writeln!(
        out,
        "<path id=\"scale\" d=\"M{left} {y}h100m0 -2v4m-100 -4v4m50 -3v2\" fill=\"none\" stroke=\"#000000\" stroke-width=\"0.4\"/>"
    );
    words(&mut out, left + 102.0, y + 1.3, 3.6, "start", false, "100 mm");
    let x = left + 130.0;
    let _ = writeln!(out, "<path id=\"zero\" d=\"M{x} {y}h30m-5 -2l5 2l-5 2\" fill=\"none\" stroke=\"#000000\" stroke-width=\"0.7\"/>");
    words(&mut out, x + 32.0, y + 1.3, 3.6, "start", false, "0° of the part");
    out.push_str("</g>\n</svg>\n");
    out
}

fn hand(m: &PlanMosaic) -> String {
    let hand = if m.hand == Hand::Mirrored { ", mirrored hand" } else { "" };
    format!("{}{hand}", m.template)
}

/// How light cloth of a direction looks, 0 to 1: light from one side makes the sheen.
fn light(direction: f64, modulo: f64) -> f64 {
    0.5 + 0.5 * libm::cos((direction - 20.0) / modulo * std::f64::consts::TAU)
}

fn grey(level: f64) -> String {
    let v = level.clamp(0.0, 255.0).round() as u8;
    format!("#{v:02x}{:02x}{:02x}", v.saturating_add(1), v.saturating_add(4))
}

/// The finished layer from the side that is seen, in greys, at true scale.
pub(super) fn look(plan: &Plan, m: &PlanMosaic) -> String {
    let layer = plan.layers.iter().find(|l| l.job == m.job && l.layer == m.layer);
    let material = layer.and_then(|l| plan.materials.iter().find(|c| c.cloth == l.cloth));
    let from_mould = layer.is_none_or(|l| l.seen != Seen::OtherSide);
    let page = page(m, from_mould);
    let patches = patches(plan, m);
    let seen = seen(&patches, m.earlier_on_top);
    let mut out = page.open(&format!("The finished look, {}", m.ply), 12.0);
    let mut defs = String::from("<defs>\n");
    let mut body = String::new();
    // The line of the cloth: along a twill's rise, else along the warp.
    let twill = material.and_then(|c| c.twill_line.filter(|_| c.weave != Weave::Plain));
    let woven = material.is_some_and(|c| c.weave != Weave::Unidirectional);
    for (p, regions) in patches.iter().zip(&seen) {
        let shade = 46.0 + 120.0 * light(p.piece.angle, m.modulo);
        let Some(b) = regions.first().and_then(|r| ring_bounds(&r.outline)) else { continue };
        let along = Motion::turn(p.piece.angle + 25.0).apply(point(0.5 * b.width().min(b.height()), 0.0));
        let ((x1, y1), (x2, y2)) = (page.at(b.centre() - along), page.at(b.centre() + along));
        let _ = writeln!(
            defs,
            "<linearGradient id=\"sheen-{0}\" gradientUnits=\"userSpaceOnUse\" x1=\"{1}\" y1=\"{2}\" x2=\"{3}\" y2=\"{4}\"><stop offset=\"0\" stop-color=\"{5}\"/><stop offset=\"0.55\" stop-color=\"{6}\"/><stop offset=\"1\" stop-color=\"{7}\"/></linearGradient>",
            p.number,
            decimals(x1, 1),
            decimals(y1, 1),
            decimals(x2, 1),
            decimals(y2, 1),
            grey(shade * 0.84),
            grey(shade * 1.10 + 6.0),
            grey(shade * 0.93)
        );
        let shape: String = regions.iter().map(|r| page.region(r)).collect();
        let _ = writeln!(body, "<path d=\"{shape}\" fill=\"url(#sheen-{})\" fill-rule=\"evenodd\"/>", p.number);
        let flipped = plan.stocks.iter().flat_map(|s| &s.placed).any(|q| q.piece == p.piece.piece && q.face == crate::cloth::Face::Down);
        let line = twill.map_or(0.0, |t| if flipped { -t } else { t });
        let _ = writeln!(
            body,
            "<path d=\"{}\" fill=\"none\" stroke=\"{}\" stroke-width=\"1.1\" stroke-opacity=\"0.5\"/>",
            strokes(&page, &lines(regions, p.piece.angle + line, YARNS)),
            grey(shade * 0.68)
        );
        if woven && twill.is_none() {
            let _ = writeln!(
                body,
                "<path d=\"{}\" fill=\"none\" stroke=\"{}\" stroke-width=\"0.6\" stroke-opacity=\"0.5\"/>",
                strokes(&page, &lines(regions, p.piece.angle + 90.0, YARNS)),
                grey(shade * 0.6)
            );
        }
        let _ = writeln!(body, "<path d=\"{shape}\" fill=\"none\" stroke=\"#0c0d10\" stroke-width=\"0.45\" stroke-linejoin=\"round\"/>");
    }
    defs.push_str("</defs>\n");
    out.push_str(&defs);
    out.push_str("<g id=\"look\">\n");
    out.push_str(&body);
    out.push_str("</g>\n");
    let side = if from_mould { "the mould side" } else { "the side away from the mould" };
    let text = format!("{}: the finished look, seen from {side}. Light and dark stand for direction.", hand(m));
    words(&mut out, MARGIN, page.bounds.height() + 4.0, 4.0, "start", false, &text);
    out.push_str("</svg>\n");
    out
}

/// The table of all patches, CSV.
pub(super) fn table(plan: &Plan) -> String {
    let mut out = String::from("mosaic,patch,number,piece,direction_deg,length_mm,width_mm,area_cm2,cut_from,face,whole\n");
    let quoted = |s: &str| if s.contains([',', '"', '\n']) { format!("\"{}\"", s.replace('"', "\"\"")) } else { s.to_string() };
    for m in &plan.mosaics {
        for p in patches(plan, m) {
            let b = ring_bounds(&p.piece.outline);
            let on = plan.stocks.iter().find_map(|s| Some((s, s.placed.iter().find(|q| q.piece == p.piece.piece)?)));
            let _ = writeln!(
                out,
                "{},{},{},{},{},{},{},{},{},{},{}",
                quoted(&m.ply),
                p.number,
                quoted(&p.piece.number),
                quoted(&p.piece.piece),
                decimals(p.piece.angle, 1),
                decimals(b.map_or(0.0, |b| b.width()), 1),
                decimals(b.map_or(0.0, |b| b.height()), 1),
                decimals(p.region.area() / 100.0, 1),
                quoted(on.map_or("", |o| &o.0.id)),
                on.map_or("", |o| if o.1.face == crate::cloth::Face::Down { "down" } else { "up" }),
                if on.is_some_and(|o| o.0.is_laid_whole()) { "yes" } else { "no" }
            );
        }
    }
    out
}
