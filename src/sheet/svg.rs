//! Cut sheets as SVG, at true scale: `width` and `height` in mm with the same numbers in `viewBox`, so that one unit is one mm.
//!
//! This is the one place where y is turned over: a scene's y runs up, the file's runs down.

use super::scene::{Drawn, Hold, Ink, Scene, Shape, Text};
use super::text::decimals;
use crate::geometry::{Bounds, Point};
use crate::plan::Plan;
use svg::Document;
use svg::node::Text as Words;
use svg::node::element::{Element, Group, Title};

/// The cut sheets of a plan, file name and content: one for each stock, or for each bench segment of a stock cut in several.
///
/// Each shows the cloth with its warp along x and the up side of the sheet towards the stock's +y, in black with few accents; what
/// colour says, a line style says too. Under the cloth a title block tells what it is and which face lies up.
pub(super) fn sheets(plan: &Plan) -> Vec<(String, String)> {
    let mut files = Vec::new();
    for (i, stock) in plan.stocks.iter().enumerate() {
        for sheet in super::draw::sheets_of(plan, stock) {
            let part = if sheet.segments > 1 { format!("-segment-{}", sheet.segment + 1) } else { String::new() };
            files.push((format!("{:02}-{}{part}.svg", i + 1, file_name(&stock.id)), write(&sheet.scene())));
        }
    }
    files
}

/// An id made fit for a file name anywhere: ASCII letters, digits and hyphens, at most 40; `stock` if nothing is left of it.
pub(super) fn file_name(id: &str) -> String {
    let mut name = String::new();
    for c in id.chars().take(200) {
        if c.is_ascii_alphanumeric() {
            name.push(c.to_ascii_lowercase());
        } else if !name.is_empty() && !name.ends_with('-') {
            name.push('-');
        }
        if name.len() >= 40 {
            break;
        }
    }
    let name = name.trim_end_matches('-');
    if name.is_empty() { "stock".into() } else { name.into() }
}

/// Fonts to draw with, the metrically safe first.
const FONTS: &str = "Helvetica, Arial, 'Liberation Sans', 'DejaVu Sans', 'Noto Sans', sans-serif";

/// How an ink is drawn: layer id, colour, line width and dash in mm, fill.
struct Style {
    id: &'static str,
    colour: &'static str,
    width: f64,
    dash: Option<&'static str>,
    fill: &'static str,
}

/// Black for what is cut; accents from the palette of Okabe and Ito (from memory), each with a line style of its own as well.
fn style(ink: Ink) -> Style {
    const BLUE: &str = "#0072b2";
    const VERMILION: &str = "#d55e00";
    const GREY: &str = "#8a8a8a";
    let s = |id, colour, width, dash, fill| Style { id, colour, width, dash, fill };
    match ink {
        Ink::OffcutHatch => s("offcut-hatch", "#b5b5b5", 0.3, None, "none"),
        Ink::Offcut => s("offcut", GREY, 0.5, None, "none"),
        Ink::Rectangle => s("offcut-rectangle", "#555555", 1.1, Some("0.01 4"), "none"),
        Ink::Flaw => s("flaw", VERMILION, 0.5, None, "none"),
        Ink::Stock => s("stock", "#000000", 0.6, None, "none"),
        Ink::Selvedge => s("selvedge", "#555555", 0.4, Some("12 4"), "none"),
        Ink::Cut => s("cut", "#000000", 1.0, None, "#f5f2ea"),
        Ink::Relief => s("relief-cut", VERMILION, 0.7, Some("5 1.5"), "none"),
        Ink::Net => s("net-line", BLUE, 0.4, Some("4 2.5"), "none"),
        Ink::Mark => s("mark", "#000000", 0.3, Some("1.2 1.2"), "none"),
        Ink::Arrow => s("arrow", "#000000", 0.7, None, "none"),
        Ink::Across => s("cut-across", "#000000", 1.0, Some("16 4 2 4"), "none"),
        Ink::SegmentEnd => s("segment-end", "#000000", 0.8, Some("16 4 2 4 2 4"), "none"),
        Ink::Leader => s("leader", "#000000", 0.35, None, "none"),
        Ink::Frame => s("frame", "#000000", 0.35, None, "none"),
    }
}

/// The file's words for a coordinate or length, mm.
fn mm(value: f64) -> String {
    decimals(value, 3)
}

/// Turns the scene's frame into the file's.
struct Page(Bounds);

impl Page {
    fn x(&self, p: Point) -> String {
        mm(p.x - self.0.min.x)
    }

    fn y(&self, p: Point) -> String {
        mm(self.0.max.y - p.y)
    }

    /// Path data of a line or, if `closed`, a ring.
    fn data(&self, points: &[Point], closed: bool) -> String {
        let mut d = String::new();
        for (i, &p) in points.iter().enumerate() {
            d.push(if i == 0 { 'M' } else { 'L' });
            d.push_str(&self.x(p));
            d.push(' ');
            d.push_str(&self.y(p));
        }
        if closed && !points.is_empty() {
            d.push('Z');
        }
        d
    }
}

/// The whole file.
pub(crate) fn write(scene: &Scene) -> String {
    let page = Page(scene.page);
    let (width, height) = (scene.page.width(), scene.page.height());
    document(&page, scene, format!("{}mm", mm(width)), format!("{}mm", mm(height)), 1.0)
}

/// The file with its picture scaled to `pixels` of width, for looking at; lines are drawn `heavier` times as wide.
pub(crate) fn write_picture(scene: &Scene, pixels: f64, heavier: f64) -> String {
    let page = Page(scene.page);
    let height = pixels * scene.page.height() / scene.page.width();
    document(&page, scene, decimals(pixels, 0), decimals(height, 0), heavier)
}

fn document(page: &Page, scene: &Scene, width: String, height: String, heavier: f64) -> String {
    let mut document = Document::new()
        .set("width", width)
        .set("height", height)
        .set("viewBox", format!("0 0 {} {}", mm(scene.page.width()), mm(scene.page.height())))
        .add(Title::new(scene.title.clone()))
        .add(
            Element::new("rect")
                .put("id", "paper")
                .put("width", mm(scene.page.width()))
                .put("height", mm(scene.page.height()))
                .put("fill", "#ffffff"),
        );
    for ink in Ink::ALL {
        let mut things = scene.drawn.iter().filter(|d| d.ink == ink).peekable();
        if things.peek().is_none() {
            continue;
        }
        let style = style(ink);
        let mut group = Group::new()
            .set("id", style.id)
            .set("stroke", style.colour)
            .set("stroke-width", mm(style.width * heavier))
            .set("stroke-linejoin", "round")
            .set("fill", style.fill)
            .set("fill-rule", "evenodd");
        if let Some(dash) = style.dash {
            group = group.set("stroke-dasharray", dash);
        }
        if ink == Ink::Rectangle {
            group = group.set("stroke-linecap", "round");
        }
        for thing in things {
            group = group.add(draw(page, thing, &style));
        }
        document = document.add(group);
    }
    let mut boxes = Group::new().set("id", "label-boxes");
    for b in &scene.backings {
        let fill = if b.black { "#000000" } else { "#ffffff" };
        boxes = boxes.add(Element::new("path").put("d", page.data(&b.ring, true)).put("fill", fill));
    }
    let mut words = Group::new().set("id", "words").set("font-family", FONTS).set("fill", "#000000");
    for text in &scene.texts {
        words = words.add(line_of_text(page, text));
    }
    format!("<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n{}\n", document.add(boxes).add(words))
}

fn draw(page: &Page, thing: &Drawn, style: &Style) -> Element {
    let mut path = Element::new("path");
    if let Some(id) = &thing.id {
        path = path.put("id", id.as_str());
    }
    match &thing.shape {
        Shape::Rings(rings) => path.put("d", rings.iter().map(|r| page.data(r, true)).collect::<String>()),
        Shape::Path(points) => path.put("d", page.data(points, false)).put("fill", "none"),
        Shape::Segments(segments) => path.put("d", segments.iter().map(|s| page.data(s, false)).collect::<String>()).put("fill", "none"),
        Shape::Solid(ring) => path.put("d", page.data(ring, true)).put("fill", style.colour).put("stroke", "none"),
    }
}

fn line_of_text(page: &Page, text: &Text) -> Element {
    let mut element = Element::new("text").put("x", page.x(text.at)).put("y", page.y(text.at)).put("font-size", mm(text.size));
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
        element = element.put("transform", format!("rotate({} {} {})", mm(-text.angle), page.x(text.at), page.y(text.at)));
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
