//! Pictures inside pages: outlines, layers, pieces, cloths. Drawn in mm with y up, shown as wide as
//! their place.

use super::words::Words;
use std::fmt::Write;
use warpwise::cloth::{Cloth, Face, Permitted, Weave, turn_rule};
use warpwise::geometry::{Bounds, Motion, Point, Ring, point, ring_bounds};
use warpwise::job::{Job, Layer, Template};
use warpwise::laminate;
use warpwise::outline::{EdgeKind, Outline};
use warpwise::planner::PreparedJob;
use warpwise::ply::{Hand, Piece, Prepared};
use warpwise::units::{System, show_number};

/// A picture that is being drawn.
pub struct Picture {
    area: Bounds,
    /// A line of normal weight, mm.
    pen: f64,
    body: String,
    title: String,
    /// Pixels to a mm, if it is drawn to a scale.
    scale: Option<f64>,
}

impl Picture {
    /// A picture of an area of the drawing; the title says what it shows.
    pub fn new(area: Bounds, title: &str) -> Picture {
        let size = area.width().max(area.height()).max(1.0);
        let margin = 0.04 * size;
        let area =
            Bounds { min: area.min - point(margin, margin), max: area.max + point(margin, margin) };
        let (pen, body) = (size / 300.0, String::new());
        Picture { area, pen, body, title: escaped(title), scale: None }
    }

    /// A picture of so many pixels to a mm, its lines a pixel wide.
    pub fn to_scale(area: Bounds, title: &str, scale: f64) -> Picture {
        let margin = point(3.0 / scale, 3.0 / scale);
        let area = Bounds { min: area.min - margin, max: area.max + margin };
        Picture { area, pen: 1.0 / scale, scale: Some(scale), ..Picture::new(area, title) }
    }

    /// A photo that lies under all else.
    pub fn photo(&mut self, at: &str, place: Bounds) {
        let (x, y) = (place.min.x - self.area.min.x, self.area.max.y - place.max.y);
        let _ = write!(
            self.body,
            "<image href=\"{}\" x=\"{x:.2}\" y=\"{y:.2}\" width=\"{:.2}\" height=\"{:.2}\" \
             preserveAspectRatio=\"none\"/>",
            escaped(at),
            place.width(),
            place.height()
        );
    }

    /// A line that leads to an address, with a number at its middle.
    pub fn choice(
        &mut self,
        ends: [Point; 2],
        (at, said, number): (&str, &str, &str),
        chosen: bool,
    ) {
        let (middle, size) = ((ends[0] + ends[1]) * 0.5, 14.0 * self.pen);
        let p = point(middle.x - self.area.min.x, self.area.max.y - middle.y);
        let (class, heavy) = if chosen { ("chosen", 5.0) } else { ("choice", 3.0) };
        let d = self.data(&ends, false);
        let _ = write!(
            self.body,
            "<a href=\"{}\" aria-label=\"{}\"><path class=\"wide\" d=\"{d}\" stroke-width=\"{:.3}\"/>\
             <path class=\"{class}\" d=\"{d}\" stroke-width=\"{:.3}\"/><circle class=\"{class}\" cx=\"{:.2}\" \
             cy=\"{:.2}\" r=\"{:.2}\" stroke-width=\"{:.3}\"/><text x=\"{:.2}\" y=\"{:.2}\" font-size=\"{size:.2}\" \
             text-anchor=\"middle\">{}</text></a>",
            escaped(at),
            escaped(said),
            self.pen * 20.0,
            self.pen * heavy,
            p.x,
            p.y,
            0.8 * size,
            self.pen,
            p.x,
            p.y + 0.35 * size,
            escaped(number)
        );
    }

    fn data(&self, points: &[Point], closed: bool) -> String {
        let mut d = String::new();
        for (i, p) in points.iter().enumerate() {
            let sign = if i == 0 { 'M' } else { 'L' };
            let _ = write!(d, "{sign}{:.2} {:.2}", p.x - self.area.min.x, self.area.max.y - p.y);
        }
        if closed {
            d.push('Z');
        }
        d
    }

    /// Rings as one area; the class gives colour and line.
    pub fn rings<'r>(&mut self, rings: impl IntoIterator<Item = &'r Ring>, class: &str) {
        let d: String = rings.into_iter().map(|r| self.data(r, true)).collect();
        let _ = write!(
            self.body,
            "<path class=\"{class}\" d=\"{d}\" stroke-width=\"{:.3}\"/>",
            self.pen
        );
    }

    /// A piece that is told from others by a name, with its number at its middle.
    pub fn named_piece<'r>(
        &mut self,
        rings: impl IntoIterator<Item = &'r Ring>,
        [at, number]: [&str; 2],
        middle: Point,
        size: f64,
    ) {
        let d: String = rings.into_iter().map(|r| self.data(r, true)).collect();
        let p = point(middle.x - self.area.min.x, self.area.max.y - middle.y);
        let _ = write!(
            self.body,
            "<g class=\"copy\" data-at=\"{}\"><path d=\"{d}\" stroke-width=\"{:.3}\"/>\
             <text x=\"{:.1}\" y=\"{:.1}\" font-size=\"{size:.1}\" text-anchor=\"middle\">{}</text></g>",
            escaped(at),
            self.pen,
            p.x,
            p.y + 0.35 * size,
            escaped(number)
        );
    }

    /// Words in the middle of a place.
    pub fn words(&mut self, middle: Point, words: &str, size: f64) {
        let p = point(middle.x - self.area.min.x, self.area.max.y - middle.y);
        let _ = write!(
            self.body,
            "<text x=\"{:.1}\" y=\"{:.1}\" font-size=\"{size:.1}\" text-anchor=\"middle\">{}</text>",
            p.x,
            p.y + 0.35 * size,
            escaped(words)
        );
    }

    /// An open line, so many times as heavy as normal.
    pub fn line(&mut self, points: &[Point], class: &str, heavy: f64) {
        let d = self.data(points, false);
        let _ = write!(
            self.body,
            "<path class=\"{class}\" d=\"{d}\" stroke-width=\"{:.3}\"/>",
            self.pen * heavy
        );
    }

    /// An arrow with a head.
    pub fn arrow(&mut self, [tail, head]: [Point; 2], class: &str) {
        let (way, length) = (head - tail, head.distance(tail).max(1e-9));
        let unit = way * (1.0 / length);
        let side = point(-unit.y, unit.x);
        let barb = (14.0 * self.pen).min(0.5 * length);
        self.line(&[tail, head], class, 1.6);
        self.line(
            &[
                head - unit * barb + side * (0.5 * barb),
                head,
                head - unit * barb - side * (0.5 * barb),
            ],
            class,
            1.6,
        );
    }

    /// The picture as SVG to stand in a page.
    pub fn done(self) -> String {
        let (wide, high) = (self.area.width(), self.area.height());
        let sized = self.scale.map_or_else(String::new, |s| {
            format!(" width=\"{:.1}\" height=\"{:.1}\"", wide * s, high * s)
        });
        // What leads somewhere is no picture to a reader: its parts are read.
        let role = if self.body.contains("<a ") { "group" } else { "img" };
        format!(
            "<svg class=\"picture\"{sized} viewBox=\"0 0 {wide:.2} {high:.2}\" role=\"{role}\" \
             aria-label=\"{}\">{}</svg>",
            self.title, self.body
        )
    }
}

/// Text as SVG and HTML take it.
pub fn escaped(text: &str) -> String {
    text.replace('&', "&amp;").replace('<', "&lt;").replace('>', "&gt;").replace('"', "&quot;")
}

fn area_of(outline: &Outline) -> Bounds {
    ring_bounds(outline.net()).unwrap_or(Bounds { min: point(0.0, 0.0), max: point(1.0, 1.0) })
}

fn class_of(kind: EdgeKind) -> &'static str {
    match kind {
        EdgeKind::Trim => "edge trim",
        EdgeKind::Lap => "edge lap",
        EdgeKind::Butt => "edge butt",
        EdgeKind::Dart => "edge dart",
    }
}

/// Width and height of an outline's box.
pub fn size_of(units: System, outline: &Outline) -> String {
    let b = area_of(outline);
    format!("{} × {}", units.size(b.width()), units.size(b.height()))
}

/// An outline as its drawing shows it: edges by kind, holes, relief cuts, arrow.
pub fn outline(title: &str, outline: &Outline, edge: EdgeKind, arrow: f64) -> String {
    let mut picture = Picture::new(area_of(outline), title);
    picture.rings(std::iter::once(outline.net()).chain(outline.holes()), "skin");
    let net = outline.net();
    for (i, kind) in outline.edges().iter().enumerate() {
        picture.line(&[net[i], net[(i + 1) % net.len()]], class_of(kind.unwrap_or(edge)), 2.0);
    }
    for cut in outline.cuts() {
        picture.line(cut, "relief", 1.5);
    }
    for zone in outline.no_splice() {
        picture.rings([zone], "zone");
    }
    let b = area_of(outline);
    let reach = 0.3 * b.width().min(b.height()).max(1.0);
    let way = Motion::new(arrow, false, point(0.0, 0.0)).apply(point(reach / 2.0, 0.0));
    picture.arrow(outline.arrow().unwrap_or([b.centre() - way, b.centre() + way]), "arrow");
    picture.done()
}

/// A layer on the part: what it lays, as the templates' drawings show it, with the warp drawn
/// across it.
pub fn layer(job: &Job, layer: &Layer) -> String {
    let boxes: Vec<(&Template, Bounds)> = layer
        .items
        .iter()
        .map(|item| &job.templates[item.template])
        .map(|t| (t, area_of(&t.outline)))
        .collect();
    // In rows, about as wide as they are high together.
    let area: f64 = boxes.iter().map(|(_, b)| 1.2 * b.width() * b.height()).sum();
    let wide = boxes.iter().map(|(_, b)| b.width()).fold(area.sqrt() * 1.2, f64::max);
    let (mut x, mut y, mut high) = (0.0, 0.0, 0.0_f64);
    let mut parts: Vec<(&Template, Point)> = Vec::new();
    for (template, b) in boxes {
        if x > 0.0 && x + b.width() > wide {
            (x, y, high) = (0.0, y - 1.1 * high, 0.0);
        }
        high = high.max(b.height());
        parts.push((template, point(x - b.min.x, y - b.max.y)));
        x += 1.1 * b.width();
    }
    let page = Bounds { min: point(0.0, (y - high).min(-1.0)), max: point(wide.max(1.0), 0.0) };
    let mut picture = Picture::new(page, &format!("{}: {}", layer.name, warp(layer)));
    for (template, shift) in parts {
        let rings: Vec<Ring> = std::iter::once(template.outline.net())
            .chain(template.outline.holes())
            .map(|r| r.iter().map(|p| *p + shift).collect())
            .collect();
        picture.rings(&rings, "skin");
        if layer.mosaic.is_none() {
            // As drawn: off a plug or inked side down the drawing shows the other hand.
            let angle =
                template.arrow + if template.drawn_mirrored() { -layer.angle } else { layer.angle };
            for line in hatched(&rings, angle) {
                picture.line(&line, "warp", 0.8);
            }
        }
    }
    picture.done()
}

/// Lines along an angle across rings, by the even-odd rule, a fixed number over the box.
fn hatched(rings: &[Ring], angle: f64) -> Vec<[Point; 2]> {
    let back = Motion::new(-angle, false, point(0.0, 0.0));
    let out = Motion::new(angle, false, point(0.0, 0.0));
    let turned: Vec<Ring> =
        rings.iter().map(|r| r.iter().map(|p| back.apply(*p)).collect()).collect();
    let all: Ring = turned.concat();
    let Some(b) = ring_bounds(&all) else {
        return Vec::new();
    };
    let count = 9;
    let mut lines = Vec::new();
    for k in 0..count {
        let y = b.min.y + b.height() * (f64::from(k) + 0.5) / f64::from(count);
        let mut crossings: Vec<f64> = Vec::new();
        for ring in &turned {
            for (i, a) in ring.iter().enumerate() {
                let c = ring[(i + 1) % ring.len()];
                if (a.y > y) != (c.y > y) {
                    crossings.push(a.x + (c.x - a.x) * (y - a.y) / (c.y - a.y));
                }
            }
        }
        crossings.sort_by(f64::total_cmp);
        lines.extend(
            crossings
                .chunks_exact(2)
                .map(|pair| [out.apply(point(pair[0], y)), out.apply(point(pair[1], y))]),
        );
    }
    lines
}

/// The angle of a layer in words.
pub fn warp(layer: &Layer) -> String {
    if layer.mosaic.is_some() {
        "mosaic".into()
    } else {
        format!("{}°", show_number(layer.angle, 1))
    }
}

/// A piece as it is cut, warp to the right, with its net line, cuts and arrow.
pub fn piece(piece: &Piece) -> String {
    let b = piece.outline.bounds().unwrap_or(Bounds { min: point(0.0, 0.0), max: point(1.0, 1.0) });
    let mut picture = Picture::new(b, &format!("{} {}", piece.number, piece.id));
    picture.rings(piece.outline.rings(), "cloth");
    picture.rings(&piece.net, "net");
    for cut in &piece.cuts {
        picture.line(cut, "relief", 1.5);
    }
    for mark in &piece.marks {
        picture.line(mark, "mark", 0.8);
    }
    picture.arrow(piece.arrow, "arrow");
    picture.done()
}

/// Hand of a piece in the language's key.
pub fn hand_key(hand: Hand) -> &'static str {
    match hand {
        Hand::AsTraced => "as traced",
        Hand::Mirrored => "mirrored",
    }
}

/// Turns in words: `0°, 180°; face down 90°, 270°`.
pub fn turns(words: &Words, permitted: &[Permitted]) -> String {
    let list = |face: Face| -> Vec<String> {
        permitted
            .iter()
            .filter(|p| p.face == face)
            .map(|p| format!("{}°", show_number(p.turn, 0)))
            .collect()
    };
    let (up, down) = (list(Face::Up), list(Face::Down));
    // A cloth without direction has a turn every few degrees.
    let short = |list: &[String]| {
        if list.len() > 8 { words.t("plies.any_turn").to_string() } else { list.join(", ") }
    };
    if down.is_empty() {
        short(&up)
    } else {
        format!("{}; {} {}", short(&up), words.t("plies.face_down"), short(&down))
    }
}

/// The turns of a hidden piece of a cloth, and why.
pub fn turns_of(cloth: &Cloth, visible: bool) -> (Vec<Permitted>, String) {
    let rule = turn_rule(cloth, visible, None);
    (rule.permitted, rule.words)
}

/// The cloth's up face in small: which yarn lies on top, the warp to the right.
pub fn weave(cloth: &Cloth) -> String {
    const SIDE: i32 = 8;
    // Warp on top where this holds, with a line that rises to the left of the warp.
    let warp_up = |x: i32, y: i32| match cloth.weave {
        Weave::Plain => (x + y).rem_euclid(2) == 0,
        Weave::Twill22 => (x + y).rem_euclid(4) < 2,
        Weave::Twill44 => (x + y).rem_euclid(8) < 4,
        Weave::Twill21 => (x + y).rem_euclid(3) < 2,
        Weave::Twill31 => (x + y).rem_euclid(4) < 3,
        Weave::Satin => (x + 2 * y).rem_euclid(5) != 0,
        Weave::Unidirectional => true,
        Weave::Biaxial45 | Weave::Mat | Weave::None => false,
    };
    let mut picture = Picture::new(
        Bounds { min: point(0.0, 0.0), max: point(f64::from(SIDE), f64::from(SIDE)) },
        cloth.weave.in_words(),
    );
    let rising = cloth.twill_line.is_none_or(|line| line >= 0.0);
    for y in 0..SIDE {
        for x in 0..SIDE {
            let up = warp_up(if rising { -x } else { x }, y);
            let (low, high) =
                (point(f64::from(x), f64::from(y)), point(f64::from(x) + 1.0, f64::from(y) + 1.0));
            match cloth.weave {
                Weave::Biaxial45 => picture.line(&[low, high], "yarn", 6.0),
                Weave::Mat => {
                    let turn = f64::from((x * 7 + y * 13).rem_euclid(6)) * 30.0;
                    let way = Motion::new(turn, false, point(0.0, 0.0)).apply(point(0.45, 0.0));
                    let middle = (low + high) * 0.5;
                    picture.line(&[middle - way, middle + way], "yarn", 3.0);
                }
                Weave::None => {}
                _ => {
                    let inset = |along: f64, across: f64| {
                        let (dx, dy) = if up { (along, across) } else { (across, along) };
                        vec![
                            point(low.x + dx, low.y + dy),
                            point(high.x - dx, low.y + dy),
                            point(high.x - dx, high.y - dy),
                            point(low.x + dx, high.y - dy),
                        ]
                    };
                    picture.rings([&inset(0.02, 0.14)], if up { "yarn-warp" } else { "yarn-weft" });
                }
            }
        }
    }
    picture.done()
}

/// Code, thickness and mass of each place of the job, in words.
pub fn laminate(units: System, job: &Job, prepared: &Prepared) -> Vec<String> {
    let jobs = [PreparedJob { job, prepared: prepared.clone() }];
    let figures = laminate::laminate(&warpwise::planner::without_layouts(&jobs));
    let mut lines: Vec<String> = Vec::new();
    for region in &figures.regions {
        let thickness =
            region.thickness.map_or_else(String::new, |t| format!(" · {}", units.thickness(t)));
        let line = format!("{}: {}{thickness}", region.template, region.code);
        if !lines.contains(&line) {
            lines.push(line);
        }
    }
    lines.extend(figures.parts.iter().map(|part| format!("Σ {}", units.mass(part.finished))));
    lines
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn hatching_stays_inside_and_out_of_holes() {
        let ring = |x: f64, y: f64, s: f64| -> Ring {
            vec![point(x, y), point(x + s, y), point(x + s, y + s), point(x, y + s)]
        };
        let rings = [ring(0.0, 0.0, 100.0), ring(40.0, 40.0, 20.0)];
        for angle in [0.0, 30.0, 90.0, -45.0] {
            let lines = hatched(&rings, angle);
            assert!(lines.len() >= 9);
            for [a, b] in lines {
                let middle = (a + b) * 0.5;
                assert!(
                    (-1e-9..=100.0 + 1e-9).contains(&a.x) && (-1e-9..=100.0 + 1e-9).contains(&b.y)
                );
                assert!(
                    !((40.1..59.9).contains(&middle.x) && (40.1..59.9).contains(&middle.y)),
                    "{middle:?}"
                );
                let way = (b - a).direction();
                assert!(
                    (way - angle).rem_euclid(180.0).min(180.0 - (way - angle).rem_euclid(180.0))
                        < 1e-6,
                    "{way} {angle}"
                );
            }
        }
    }

    #[test]
    fn names_cannot_leave_their_attribute() {
        assert_eq!(escaped("\"><script>&"), "&quot;&gt;&lt;script&gt;&amp;");
    }
}
