//! Cut sheets as SVG, at true scale: `width` and `height` in mm with the same numbers in `viewBox`,
//! so that one unit is one mm.
//!
//! This is the one place where y is turned over: a scene's y runs up, the file's runs down.

use super::pdf;
use super::scene::{Drawn, Hold, Ink, Scene, Shape, Text};
use super::style::{Style, style};
use super::text::{decimals, write_number};
use crate::geometry::{Bounds, Point};
use crate::trace::{simplified, simplified_line};
use svg::Document;
use svg::node::Text as Words;
use svg::node::element::{Element, Group, Title};

/// Fonts to draw with, the metrically safe first.
const FONTS: &str = "Helvetica, Arial, 'Liberation Sans', 'DejaVu Sans', 'Noto Sans', sans-serif";

/// A colour in the file's words.
fn hex([r, g, b]: [u8; 3]) -> String {
    format!("#{r:02x}{g:02x}{b:02x}")
}

/// Decimals of a coordinate or length, mm.
const MM: usize = 3;

/// How far lines of a picture that is only looked at may be off, of its width: half a pixel where
/// the report, some thousand pixels wide, shows it thirty times as large.
const FINE: f64 = 1.0 / 60_000.0;

/// The file's words for one.
fn mm(value: f64) -> String {
    decimals(value, MM)
}

/// Turns the scene's frame into the file's.
struct Page {
    /// What of the drawing is shown.
    area: Bounds,
    /// Areas are filled.
    is_filled: bool,
    /// How far lines may be off, mm; 0 where one may cut by them.
    fine: f64,
    /// Decimals of their coordinates.
    places: usize,
}

impl Page {
    /// To cut by.
    fn true_to(area: Bounds, is_filled: bool) -> Page {
        Page { area, is_filled, fine: 0.0, places: MM }
    }

    /// To look at.
    fn to_look_at(area: Bounds) -> Page {
        let fine = area.width() * FINE;
        let places = (0..MM).find(|&p| 0.1_f64.powi(p as i32) <= fine).unwrap_or(MM);
        Page { area, is_filled: true, fine, places }
    }

    fn x(&self, p: Point) -> String {
        mm(p.x - self.area.min.x)
    }

    fn y(&self, p: Point) -> String {
        mm(self.area.max.y - p.y)
    }

    /// Path data of a line or, if `closed`, a ring.
    fn data(&self, points: &[Point], closed: bool) -> String {
        let mut d = String::with_capacity(16 * points.len());
        self.write_data(&mut d, points, closed);
        d
    }

    /// The same of several in one.
    fn data_of<'a>(&self, lines: impl Iterator<Item = &'a [Point]>, closed: bool) -> String {
        let mut d = String::new();
        lines.for_each(|points| self.write_data(&mut d, points, closed));
        d
    }

    fn write_data(&self, d: &mut String, points: &[Point], closed: bool) {
        let fewer = (self.fine > 0.0 && points.len() > 2).then(|| match closed {
            true => simplified(&points.to_vec(), self.fine),
            false => simplified_line(points, self.fine),
        });
        for (i, &p) in fewer.as_deref().unwrap_or(points).iter().enumerate() {
            d.push(if i == 0 { 'M' } else { 'L' });
            write_number(d, p.x - self.area.min.x, self.places);
            d.push(' ');
            write_number(d, self.area.max.y - p.y, self.places);
        }
        if closed && !points.is_empty() {
            d.push('Z');
        }
    }
}

/// The whole file.
pub(crate) fn write(scene: &Scene) -> String {
    let page = Page::true_to(scene.page, true);
    let document = document(&page, scene, 1.0, true)
        .set("width", format!("{}mm", mm(scene.page.width())))
        .set("height", format!("{}mm", mm(scene.page.height())));
    format!("<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n{document}\n")
}

/// The file with its picture scaled to `pixels` of width, for looking at; lines are drawn `heavier`
/// times as wide.
pub(crate) fn write_picture(scene: &Scene, pixels: f64, heavier: f64) -> String {
    let page = Page::to_look_at(scene.page);
    let height = pixels * scene.page.height() / scene.page.width();
    let document = document(&page, scene, heavier, true)
        .set("width", decimals(pixels, 0))
        .set("height", decimals(height, 0));
    format!("<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n{document}\n")
}

/// A picture to stand inside an HTML page, as wide as its place; `words` say what it shows to those
/// who cannot see it.
pub(crate) fn write_inline(scene: &Scene, heavier: f64, words: &str) -> String {
    let page = Page::to_look_at(scene.page);
    document(&page, scene, heavier, false).set("role", "img").set("aria-label", words).to_string()
}

/// A page as it is printed, to look at: the same parts in the same places.
pub(crate) fn page(title: &str, page: &pdf::Page<'_>) -> String {
    let [width, height] = page.size;
    let mut document = Document::new()
        .set("viewBox", format!("0 0 {} {}", mm(width), mm(height)))
        .set("width", format!("{}mm", mm(width)))
        .set("height", format!("{}mm", mm(height)))
        .add(Title::new(title))
        .add(sheet(width, height));
    for (i, part) in page.parts.iter().enumerate() {
        let area = part.scene.page;
        let corner = (part.at.x + part.scale * area.min.x, part.at.y + part.scale * area.max.y);
        let place = format!(
            "translate({} {}) scale({})",
            mm(corner.0),
            mm(height - corner.1),
            decimals(part.scale, 6)
        );
        let mut group = Group::new().set("transform", place);
        if let Some(window) = part.window {
            let name = format!("window-{i}");
            let low = Page::true_to(area, false);
            let rect = Element::new("rect")
                .put("x", low.x(window.min))
                .put("y", low.y(window.max))
                .put("width", mm(window.width()))
                .put("height", mm(window.height()));
            let mut clip = Element::new("clipPath").put("id", name.as_str());
            svg::Node::append(&mut clip, rect);
            document = document.add(clip);
            group = group.set("clip-path", format!("url(#{name})"));
        }
        let heavier = if part.scale < 1.0 { 0.35 / part.scale } else { 1.0 };
        let frame = Page::true_to(area, part.window.is_none());
        for layer in layers(&frame, part.scene, heavier, false) {
            group = group.add(layer);
        }
        document = document.add(group);
    }
    format!("<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n{document}\n")
}

/// The white of the paper.
fn sheet(width: f64, height: f64) -> Element {
    Element::new("rect").put("width", mm(width)).put("height", mm(height)).put("fill", "#ffffff")
}

/// The drawing without a size; ids only where the picture is a file of its own.
fn document(page: &Page, scene: &Scene, heavier: f64, ids: bool) -> Document {
    let mut document = Document::new()
        .set("viewBox", format!("0 0 {} {}", mm(scene.page.width()), mm(scene.page.height())));
    if ids {
        document = document.add(Title::new(scene.title.clone()));
    }
    let mut paper = sheet(scene.page.width(), scene.page.height());
    if ids {
        paper = paper.put("id", "paper");
    }
    document = document.add(paper);
    for layer in layers(page, scene, heavier, ids) {
        document = document.add(layer);
    }
    document
}

/// Lines and areas ink by ink, then boxes and words.
fn layers(page: &Page, scene: &Scene, heavier: f64, ids: bool) -> Vec<Group> {
    let mut out = Vec::new();
    for ink in Ink::ALL {
        let mut things = scene.drawn.iter().filter(|d| d.ink == ink).peekable();
        if things.peek().is_none() {
            continue;
        }
        let style = style(ink);
        let mut group = Group::new()
            .set("stroke", hex(style.colour))
            .set("stroke-width", mm(style.width * heavier))
            .set("stroke-linejoin", "round")
            .set("fill", style.fill.filter(|_| page.is_filled).map_or("none".into(), hex))
            .set("fill-rule", "evenodd");
        if ids {
            group = group.set("id", style.name);
        }
        if !style.dash.is_empty() {
            group = group.set(
                "stroke-dasharray",
                style.dash.iter().map(|&d| mm(d)).collect::<Vec<_>>().join(" "),
            );
        }
        if style.round {
            group = group.set("stroke-linecap", "round");
        }
        for thing in things {
            group = group.add(draw(page, thing, &style, ids));
        }
        out.push(group);
    }
    let mut boxes = Group::new();
    for b in &scene.backings {
        let fill = if b.black { "#000000" } else { "#ffffff" };
        boxes =
            boxes.add(Element::new("path").put("d", page.data(&b.ring, true)).put("fill", fill));
    }
    let mut words = Group::new().set("font-family", FONTS).set("fill", "#000000");
    for text in &scene.texts {
        words = words.add(line_of_text(page, text));
    }
    if ids {
        boxes = boxes.set("id", "label-boxes");
        words = words.set("id", "words");
    }
    out.extend([boxes, words]);
    out
}

fn draw(page: &Page, thing: &Drawn, style: &Style, ids: bool) -> Element {
    let mut path = Element::new("path");
    if let Some(id) = thing.id.as_ref().filter(|_| ids) {
        path = path.put("id", id.as_str());
    }
    match &thing.shape {
        Shape::Rings(rings) => path.put("d", page.data_of(rings.iter().map(Vec::as_slice), true)),
        Shape::Tone(rings, grey) => path
            .put("d", page.data_of(rings.iter().map(Vec::as_slice), true))
            .put("fill", hex([*grey; 3])),
        Shape::Path(points) => path.put("d", page.data(points, false)).put("fill", "none"),
        Shape::Segments(segments) => {
            path.put("d", page.data_of(segments.iter().map(|s| &s[..]), false)).put("fill", "none")
        }
        Shape::Solid(ring) => path
            .put("d", page.data(ring, true))
            .put("fill", hex(style.colour))
            .put("stroke", "none"),
    }
}

fn line_of_text(page: &Page, text: &Text) -> Element {
    let mut element = Element::new("text")
        .put("x", page.x(text.at))
        .put("y", page.y(text.at))
        .put("font-size", mm(text.size));
    if text.hold == Hold::Middle {
        element = element.put("text-anchor", "middle");
    }
    if text.bold {
        element = element.put("font-weight", "bold");
    }
    if text.white {
        element = element.put("fill", "#ffffff");
    }
    if text.angle != 0.0 {
        // Anticlockwise with y up is a negative angle with y down.
        element = element.put(
            "transform",
            format!("rotate({} {} {})", mm(-text.angle), page.x(text.at), page.y(text.at)),
        );
    }
    svg::Node::append(&mut element, Words::new(text.words.clone()));
    element
}

/// Sets an attribute and hands the element on.
trait Put {
    fn put(self, name: &str, value: impl Into<String>) -> Self;
}

impl Put for Element {
    fn put(mut self, name: &str, value: impl Into<String>) -> Self {
        svg::Node::assign(&mut self, name, value.into());
        self
    }
}
