//! The true size of a drawing: lengths, `viewBox`, `preserveAspectRatio`.
//!
//! CSS fixes 96 px to the inch, an inch to 25.4 mm. A drawing states its size if `width` and
//! `height` carry a unit; then `viewBox` says how many user units that is. Written-out `px` count
//! as such a unit, with a warning; bare numbers do not, because every program writes them and few
//! mean pixels.

use super::affine::Affine;
use crate::fault::Fault;
use crate::outline::ReadOptions;
use roxmltree::Node;
use svgtypes::NumberListParser;

/// mm in one CSS px.
const PX: f64 = 25.4 / 96.0;

/// A length as written.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Length {
    /// A bare number: user units.
    Bare(f64),
    /// Pixels written out.
    Px(f64),
    /// A length in a unit of measure, mm.
    Physical(f64),
    /// Percent of the viewport.
    Percent(f64),
}

impl Length {
    /// Reads a length; `None` if it is none, or in a unit that depends on a font or window.
    pub(super) fn parse(text: &str) -> Option<Length> {
        let text = text.trim();
        let unit_at =
            text.rfind(|c: char| !c.is_ascii_alphabetic() && c != '%').map_or(0, |i| i + 1);
        let (number, unit) = (text.get(..unit_at)?, text.get(unit_at..)?);
        let value = number.trim_end().parse::<f64>().ok().filter(|v| v.is_finite())?;
        Some(match unit.to_ascii_lowercase().as_str() {
            "" => Length::Bare(value),
            "px" => Length::Px(value),
            "%" => Length::Percent(value),
            "mm" => Length::Physical(value),
            "cm" => Length::Physical(value * 10.0),
            "q" => Length::Physical(value / 4.0),
            "in" => Length::Physical(value * 25.4),
            "pt" => Length::Physical(value * 25.4 / 72.0),
            "pc" => Length::Physical(value * 25.4 / 6.0),
            _ => return None,
        })
    }

    /// In user units; percent are of `whole`.
    pub(super) fn user_units(self, whole: Option<f64>) -> Option<f64> {
        match self {
            Length::Bare(v) | Length::Px(v) => Some(v),
            Length::Physical(mm) => Some(mm / PX),
            Length::Percent(p) => whole.map(|w| w * p / 100.0),
        }
    }
}

/// A `viewBox`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct ViewBox {
    pub x: f64,
    pub y: f64,
    pub w: f64,
    pub h: f64,
}

impl ViewBox {
    /// The `viewBox` of an element, if it has one.
    pub(super) fn of(node: Node<'_, '_>) -> Result<Option<ViewBox>, Fault> {
        let Some(text) = node.attribute("viewBox") else {
            return Ok(None);
        };
        let numbers: Result<Vec<f64>, _> = NumberListParser::from(text).collect();
        match numbers.as_deref() {
            Ok(&[x, y, w, h])
                if w > 0.0 && h > 0.0 && [x, y, w, h].iter().all(|v| v.is_finite()) =>
            {
                Ok(Some(ViewBox { x, y, w, h }))
            }
            _ => Err(Fault::new(
                said!(
                    "the viewBox \"{}\" is not four numbers with a width and height above zero",
                    shortened(text)
                ),
                "write it as viewBox=\"0 0 width height\"",
            )),
        }
    }

    /// Fits the box into a viewport of `w` by `h` as `preserveAspectRatio` says (SVG 1.1, 7.8).
    pub(super) fn fit(&self, w: f64, h: f64, aspect: Option<&str>) -> Affine {
        let mut words = aspect.unwrap_or("xMidYMid").split_whitespace().filter(|w| *w != "defer");
        let align = words.next().unwrap_or("xMidYMid");
        let (mut sx, mut sy) = (w / self.w, h / self.h);
        if align == "none" {
            return Affine { a: sx, d: sy, e: -self.x * sx, f: -self.y * sy, ..Affine::IDENTITY };
        }
        let s = if words.next() == Some("slice") { sx.max(sy) } else { sx.min(sy) };
        (sx, sy) = (s, s);
        let share = |min: &str, max: &str| {
            if align.contains(min) {
                0.0
            } else if align.contains(max) {
                1.0
            } else {
                0.5
            }
        };
        let e = (w - self.w * s) * share("xMin", "xMax") - self.x * s;
        let f = (h - self.h * s) * share("YMin", "YMax") - self.y * s;
        Affine { a: sx, d: sy, e, f, ..Affine::IDENTITY }
    }
}

/// Where a drawing's user units lie in mm, y up, and the size of its viewport in user units if
/// known.
pub(super) struct Frame {
    pub to_mm: Affine,
    pub viewport: Option<(f64, f64)>,
}

/// The frame of the outermost `svg` element. The origin is the lower left corner of the page (with
/// a stated unit: of the `viewBox`, or else the drawing's own origin).
///
/// # Errors
/// Why the true size cannot be known.
pub(super) fn frame(
    root: Node<'_, '_>,
    options: &ReadOptions,
    warnings: &mut Vec<Fault>,
) -> Result<Frame, Fault> {
    let view_box = ViewBox::of(root)?;
    let viewport = view_box.map(|v| (v.w, v.h));
    if let Some(unit) = options.unit {
        let u = unit.millimetres();
        let (x, y) = view_box.map_or((0.0, 0.0), |v| (v.x, v.y + v.h));
        return Ok(Frame {
            to_mm: Affine { a: u, d: -u, e: -x * u, f: y * u, ..Affine::IDENTITY },
            viewport,
        });
    }
    let width = side(root, "width", warnings)?;
    let height = side(root, "height", warnings)?;
    let (w, h) = match (width, height, view_box) {
        (Some(w), Some(h), _) => (w, h),
        (Some(w), None, Some(v)) => (w, w * v.h / v.w),
        (None, Some(h), Some(v)) => (h * v.w / v.h, h),
        (Some(w), None, None) => (w, 0.0),
        (None, Some(h), None) => (0.0, h),
        (None, None, _) => return Err(no_unit("it has neither width nor height")),
    };
    let to_page = match view_box {
        Some(v) => v.fit(w, h, root.attribute("preserveAspectRatio")),
        None => Affine::scale(PX, PX),
    };
    if (to_page.a / to_page.d - 1.0).abs() > 1e-3 {
        warnings.push(Fault::new(
            said!("the drawing is scaled by {:.4} across and {:.4} up: preserveAspectRatio is \"none\"", to_page.a, to_page.d),
            "make width, height and viewBox of one shape if that is not meant",
        ));
    }
    let up = Affine { d: -1.0, f: h, ..Affine::IDENTITY };
    Ok(Frame { to_mm: up.after(&to_page), viewport: viewport.or(Some((w / PX, h / PX))) })
}

/// One side of the page, mm; `None` if it is not given or left to the other.
fn side(root: Node<'_, '_>, name: &str, warnings: &mut Vec<Fault>) -> Result<Option<f64>, Fault> {
    let Some(text) = root.attribute(name).filter(|t| t.trim() != "auto" && !t.trim().is_empty())
    else {
        return Ok(None);
    };
    let shown = shortened(text);
    let mm = match Length::parse(text) {
        Some(Length::Physical(mm)) => mm,
        Some(Length::Px(px)) => {
            let warning = Fault::new(
                said!("{name} is \"{shown}\": read at 96 px to the inch, {:.2} mm", px * PX),
                "state the size in mm, or the unit in the job",
            );
            warnings.push(warning);
            px * PX
        }
        Some(Length::Bare(_)) => {
            return Err(no_unit(&format!("its {name} is \"{shown}\", a number without a unit")));
        }
        Some(Length::Percent(_)) => {
            return Err(no_unit(&format!("its {name} is \"{shown}\", a share of a window")));
        }
        None => {
            return Err(no_unit(&format!(
                "its {name} is \"{shown}\", which is not a length in a known unit"
            )));
        }
    };
    if mm > 0.0 {
        Ok(Some(mm))
    } else {
        Err(Fault::new(said!("its {name} is \"{shown}\""), "give it a size above zero"))
    }
}

fn no_unit(why: &str) -> Fault {
    Fault::new(
        said!("the drawing does not say how big it is: {why}"),
        "write width and height in mm (as in width=\"600mm\") beside a viewBox, or put unit = \"mm\" (the unit of one drawing unit) in the job's [[template]]",
    )
}

/// The start of a text from the file, for messages.
pub(super) fn shortened(text: &str) -> String {
    const LONGEST: usize = 40;
    let mut out: String =
        text.chars().take(LONGEST).map(|c| if c.is_control() { ' ' } else { c }).collect();
    if text.chars().nth(LONGEST).is_some() {
        out.push('…');
    }
    out
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::geometry::point;

    #[test]
    fn lengths_in_every_unit() {
        // CSS Values and Units 3, 6.2: 1in = 2.54cm = 25.4mm = 101.6Q = 72pt = 6pc = 96px.
        for text in
            ["1in", "2.54cm", "25.4mm", "101.6Q", "72pt", "6pc", " 25.4 mm ", "2.54e1mm", "1IN"]
        {
            match Length::parse(text) {
                Some(Length::Physical(mm)) => assert!((mm - 25.4).abs() < 1e-12, "{text}: {mm}"),
                other => panic!("{text}: {other:?}"),
            }
        }
        assert_eq!(Length::parse("96px"), Some(Length::Px(96.0)));
        assert_eq!(Length::parse("96"), Some(Length::Bare(96.0)));
        assert_eq!(Length::parse("1e2"), Some(Length::Bare(100.0)));
        assert_eq!(Length::parse("100%"), Some(Length::Percent(100.0)));
        for text in ["", "mm", "1em", "1ex", "2vw", "nan", "inf", "1e999mm", "1 2mm", "ä", "1mm2"]
        {
            assert_eq!(Length::parse(text), None, "{text}");
        }
        assert!((Length::Physical(25.4).user_units(None).unwrap() - 96.0).abs() < 1e-12);
    }

    #[test]
    fn view_boxes_fit_as_the_standard_says() {
        // A 10 x 20 box in a 100 x 100 viewport: the scale is 5, 50 of the width is spare (SVG 1.1,
        // 7.8).
        let v = ViewBox { x: 1.0, y: 2.0, w: 10.0, h: 20.0 };
        let corner = |aspect: &str| v.fit(100.0, 100.0, Some(aspect)).point(point(1.0, 2.0));
        assert_eq!(corner("xMinYMin"), point(0.0, 0.0));
        assert_eq!(corner("xMidYMid meet"), point(25.0, 0.0));
        assert_eq!(corner("xMaxYMax"), point(50.0, 0.0));
        assert_eq!(corner("xMidYMin slice"), point(0.0, 0.0));
        assert_eq!(corner("xMidYMax slice"), point(0.0, -100.0));
        let stretched = v.fit(100.0, 100.0, Some("none"));
        assert_eq!(stretched.point(point(11.0, 22.0)), point(100.0, 100.0));
    }
}
