//! A traced template, and how it is written as a drawing.

use super::answers::Letter;
use super::corners::Corner;
use super::doubt::Doubt;
use crate::fault::Fault;
use crate::geometry::{Path, Point, Ring, ring_bounds};
use crate::outline::EdgeKind;
use crate::units::show_number;

/// A traced or measured template: mm, y up, as the skin lay in the photo.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Template {
    /// Its name.
    pub name: String,
    /// The net line, anticlockwise.
    pub net: Ring,
    /// Holes.
    pub holes: Vec<Ring>,
    /// The part's 0°, tail to head, if it is drawn.
    pub arrow: Option<[Point; 2]>,
    /// Relief cuts, from the edge inwards.
    pub cuts: Vec<Path>,
    /// Other lines.
    pub marks: Vec<Path>,
    /// Stretches of the net line and the holes that may be wrong.
    pub doubts: Vec<Doubt>,
    /// Zones that no splice may enter; tracing finds none.
    pub no_splice: Vec<Ring>,
    /// The letters of what was found, for the check picture and for answers.
    pub letters: Vec<Letter>,
    /// Corners, clockwise as seen.
    pub corners: Vec<Corner>,
    /// Parts of the net line and their kind.
    pub edges: Vec<(EdgeKind, Path)>,
}

/// That a template has one arrow, or none.
pub(super) fn no_more_than_one(arrows: &[[Point; 2]]) -> Result<(), Fault> {
    let [a, b, ..] = arrows else { return Ok(()) };
    Err(Fault::new(
        said!("there are {} arrows on one template", arrows.len()),
        said!(
            "keep one; they are at ({:.0}, {:.0}) and ({:.0}, {:.0}) mm",
            a[0].x,
            a[0].y,
            b[0].x,
            b[0].y
        ),
    ))
}

impl Template {
    /// Takes the arrow of the one that lies where this does, if this has none.
    pub(super) fn take_arrow(&mut self, others: &[Template]) {
        /// The middles of one template, traced twice, lie no further apart, mm.
        const SAME: f64 = 5.0;
        let middle = |t: &Template| ring_bounds(&t.net).map(|b| b.centre());
        let Some(own) = middle(self) else { return };
        let same = |o: &&Template| middle(o).is_some_and(|m| m.distance(own) < SAME);
        self.arrow = self.arrow.or_else(|| others.iter().find(same).and_then(|o| o.arrow));
    }
}

/// The word for a kind of edge.
pub(super) fn word(kind: EdgeKind) -> &'static str {
    match kind {
        EdgeKind::Trim => "trim",
        EdgeKind::Lap => "lap",
        EdgeKind::Butt => "butt",
        EdgeKind::Dart => "dart",
    }
}

/// White around the outlines of a drawing, mm.
const MARGIN: f64 = 10.0;

/// Turns mm with y up into a drawing's mm with y down.
struct Page {
    left: f64,
    top: f64,
}

impl Page {
    fn data(&self, points: &[Point], closed: bool) -> String {
        let mut out = String::new();
        for (i, p) in points.iter().enumerate() {
            let (x, y) = (show_number(p.x - self.left, 3), show_number(self.top - p.y, 3));
            out.push_str(&format!("{}{x} {y}", if i == 0 { "M" } else { " L" }));
        }
        if closed {
            out.push_str(" Z");
        }
        out
    }
}

/// The templates as one SVG drawing at true size, a unit a mm, in the names that [`crate::outline`]
/// understands. The notes become comments at its head.
pub fn drawing(templates: &[Template], notes: &[String]) -> String {
    let all: Vec<Point> = templates
        .iter()
        .flat_map(|t| {
            t.net
                .iter()
                .chain(t.arrow.iter().flatten())
                .chain(t.cuts.iter().flatten())
                .chain(t.marks.iter().flatten())
        })
        .copied()
        .collect();
    let Some(b) = ring_bounds(&all) else { return String::new() };
    let page = Page { left: (b.min.x - MARGIN).floor(), top: (b.max.y + MARGIN).ceil() };
    let (w, h) = ((b.max.x + MARGIN).ceil() - page.left, page.top - (b.min.y - MARGIN).floor());
    let mut out = format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{w}mm\" height=\"{h}mm\" viewBox=\"0 0 {w} {h}\" fill=\"none\" \
         stroke=\"#000000\" stroke-width=\"0.5\">\n"
    );
    for note in notes {
        out.push_str(&format!("  <!-- {} -->\n", note.replace("--", "- -")));
    }
    for t in templates {
        let name = in_id(&t.name);
        out.push_str(&format!("  <g id=\"{name}\">\n"));
        let mut path = |role: &str, number: usize, points: &[Point], closed: bool, colour: &str| {
            let number = if number == 0 { String::new() } else { format!("-{number}") };
            let stroke =
                if colour.is_empty() { String::new() } else { format!(" stroke=\"{colour}\"") };
            out.push_str(&format!(
                "    <path id=\"{name}-{role}{number}\"{stroke} d=\"{}\"/>\n",
                page.data(points, closed)
            ));
        };
        path("net-line", 0, &t.net, true, "");
        for (i, hole) in t.holes.iter().enumerate() {
            path("hole", i + 1, hole, true, "");
        }
        for (i, (kind, points)) in t.edges.iter().enumerate() {
            path(word(*kind), i + 1, points, false, colour(*kind));
        }
        if let Some(arrow) = &t.arrow {
            path("arrow", 0, arrow, false, "");
        }
        for (i, cut) in t.cuts.iter().enumerate() {
            path("relief", i + 1, cut, false, "#d55e00");
        }
        for (i, mark) in t.marks.iter().enumerate() {
            path("mark", i + 1, mark, false, "#888888");
        }
        for (i, zone) in t.no_splice.iter().enumerate() {
            path("no-splice", i + 1, zone, true, "#888888");
        }
        out.push_str("  </g>\n");
    }
    out.push_str("</svg>\n");
    out
}

/// Colour of an edge of a kind in drawings (palette of Okabe and Ito, from memory).
pub(super) fn colour(kind: EdgeKind) -> &'static str {
    match kind {
        EdgeKind::Trim => "#009e73",
        EdgeKind::Lap => "#0072b2",
        EdgeKind::Butt => "#cc79a7",
        EdgeKind::Dart => "#e69f00",
    }
}

/// A name made fit for an id: letters, digits and hyphens.
fn in_id(name: &str) -> String {
    let plain: String =
        name.chars().take(60).map(|c| if c.is_alphanumeric() { c } else { '-' }).collect();
    let plain = plain.trim_matches('-').to_string();
    if plain.is_empty() { "template".into() } else { plain }
}
