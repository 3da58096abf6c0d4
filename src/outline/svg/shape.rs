//! The basic shapes (SVG 1.1, 9) and `path`.

use super::affine::Affine;
use super::path::{Line, Pen, lines_of};
use super::size::{Length, shortened};
use crate::fault::Fault;
use crate::geometry::{Point, point};
use crate::outline::budget::Budget;
use roxmltree::Node;
use svgtypes::NumberListParser;

/// What a shape element draws.
pub(super) enum Drawn {
    /// These lines, in mm; at least one.
    Lines(Vec<Line>),
    /// Nothing, and why.
    Nothing(&'static str),
}

/// Where shapes are drawn.
pub(super) struct Canvas<'a> {
    pub to_mm: &'a Affine,
    /// Width and height that percentages are of, user units.
    pub viewport: Option<(f64, f64)>,
    pub tolerance: f64,
    pub budget: &'a Budget<'a>,
}

impl Canvas<'_> {
    /// The lines of a shape element.
    ///
    /// # Errors
    /// Attributes that are not understood.
    pub(super) fn draw(&self, node: Node<'_, '_>) -> Result<Drawn, Fault> {
        let lines = match node.tag_name().name() {
            "path" => match node.attribute("d").map(str::trim) {
                None | Some("" | "none") => return Ok(Drawn::Nothing("has no path data")),
                Some(data) => lines_of(data, self.to_mm, self.tolerance, self.budget)?,
            },
            "rect" => self.rect(node)?,
            "circle" => {
                let r = self.length(node, "r", Axis::Both)?.unwrap_or(0.0);
                self.ellipse(node, Some(r), Some(r))?
            }
            "ellipse" => self.ellipse(
                node,
                self.radius(node, "rx", Axis::X)?,
                self.radius(node, "ry", Axis::Y)?,
            )?,
            "line" => {
                let end = |x: &str, y: &str| -> Result<Point, Fault> {
                    Ok(point(
                        self.length(node, x, Axis::X)?.unwrap_or(0.0),
                        self.length(node, y, Axis::Y)?.unwrap_or(0.0),
                    ))
                };
                let mut pen = Pen::new(self.to_mm, self.tolerance, self.budget);
                pen.move_to(end("x1", "y1")?);
                pen.line_to(end("x2", "y2")?);
                pen.finish()
            }
            "polyline" => self.points(node, false)?,
            "polygon" => self.points(node, true)?,
            _ => Vec::new(),
        };
        Ok(if lines.is_empty() {
            Drawn::Nothing("has no size, so that it draws nothing")
        } else {
            Drawn::Lines(lines)
        })
    }

    fn rect(&self, node: Node<'_, '_>) -> Result<Vec<Line>, Fault> {
        let get = |name: &str, axis: Axis| self.length(node, name, axis).map(|v| v.unwrap_or(0.0));
        let (x, y, w, h) = (
            get("x", Axis::X)?,
            get("y", Axis::Y)?,
            get("width", Axis::X)?,
            get("height", Axis::Y)?,
        );
        if w <= 0.0 || h <= 0.0 {
            return Ok(Vec::new());
        }
        // A radius left out is as the other one; neither is more than half its side.
        let (rx, ry) = (self.radius(node, "rx", Axis::X)?, self.radius(node, "ry", Axis::Y)?);
        let (rx, ry) =
            (rx.or(ry).unwrap_or(0.0).min(w / 2.0), ry.or(rx).unwrap_or(0.0).min(h / 2.0));
        let mut pen = Pen::new(self.to_mm, self.tolerance, self.budget);
        let r = point(rx, ry);
        pen.move_to(point(x + rx, y));
        if rx > 0.0 && ry > 0.0 {
            pen.line_to(point(x + w - rx, y));
            pen.arc_to(r, 0.0, false, true, point(x + w, y + ry));
            pen.line_to(point(x + w, y + h - ry));
            pen.arc_to(r, 0.0, false, true, point(x + w - rx, y + h));
            pen.line_to(point(x + rx, y + h));
            pen.arc_to(r, 0.0, false, true, point(x, y + h - ry));
            pen.line_to(point(x, y + ry));
            pen.arc_to(r, 0.0, false, true, point(x + rx, y));
        } else {
            pen.move_to(point(x, y));
            pen.line_to(point(x + w, y));
            pen.line_to(point(x + w, y + h));
            pen.line_to(point(x, y + h));
        }
        pen.close();
        Ok(pen.finish())
    }

    fn ellipse(
        &self,
        node: Node<'_, '_>,
        rx: Option<f64>,
        ry: Option<f64>,
    ) -> Result<Vec<Line>, Fault> {
        let centre = point(
            self.length(node, "cx", Axis::X)?.unwrap_or(0.0),
            self.length(node, "cy", Axis::Y)?.unwrap_or(0.0),
        );
        // SVG 2, 10.4: a radius that is `auto` is as the other.
        let radii = point(rx.or(ry).unwrap_or(0.0), ry.or(rx).unwrap_or(0.0));
        if radii.x <= 0.0 || radii.y <= 0.0 {
            return Ok(Vec::new());
        }
        let mut pen = Pen::new(self.to_mm, self.tolerance, self.budget);
        pen.ellipse(centre, radii);
        Ok(pen.finish())
    }

    fn points(&self, node: Node<'_, '_>, closed: bool) -> Result<Vec<Line>, Fault> {
        let text = node.attribute("points").unwrap_or("");
        let mut numbers: Vec<f64> = Vec::new();
        for number in NumberListParser::from(text) {
            let number = number.map_err(|_| {
                Fault::new(
                    said!(
                        "the points are not understood after {} numbers: \"{}\"",
                        numbers.len(),
                        shortened(text)
                    ),
                    "write them as x,y pairs",
                )
            })?;
            numbers.push(number);
        }
        if numbers.len() % 2 == 1 {
            return Err(Fault::new(
                said!("the points are {} numbers, so that one y is missing", numbers.len()),
                "write them as x,y pairs",
            ));
        }
        let mut pen = Pen::new(self.to_mm, self.tolerance, self.budget);
        for (i, xy) in numbers.chunks_exact(2).enumerate() {
            let p = point(xy[0], xy[1]);
            if i == 0 { pen.move_to(p) } else { pen.line_to(p) }
        }
        if closed {
            pen.close();
        }
        Ok(pen.finish())
    }

    /// A radius attribute; `None` if it is left out or `auto`, or negative (an error that drawing
    /// programs read as left out).
    fn radius(&self, node: Node<'_, '_>, name: &str, axis: Axis) -> Result<Option<f64>, Fault> {
        if node.attribute(name).is_some_and(|v| v.trim() == "auto") {
            return Ok(None);
        }
        Ok(self.length(node, name, axis)?.filter(|r| *r >= 0.0))
    }

    /// A length attribute in user units.
    pub(super) fn length(
        &self,
        node: Node<'_, '_>,
        name: &str,
        axis: Axis,
    ) -> Result<Option<f64>, Fault> {
        let Some(text) = node.attribute(name) else {
            return Ok(None);
        };
        let whole = self.viewport.map(|(w, h)| match axis {
            Axis::X => w,
            Axis::Y => h,
            Axis::Both => libm::hypot(w, h) / std::f64::consts::SQRT_2,
        });
        match Length::parse(text).and_then(|l| l.user_units(whole)) {
            Some(value) => Ok(Some(value)),
            None => Err(Fault::new(
                said!("{name} is \"{}\", which is not a length in a known unit", shortened(text)),
                "write it as a number, or in mm, cm, in, pt, pc or px",
            )),
        }
    }
}

/// What a percentage is of.
#[derive(Clone, Copy)]
pub(super) enum Axis {
    X,
    Y,
    Both,
}
