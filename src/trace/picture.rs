//! The check picture: the flattened photo with everything that was traced drawn over it.

use super::answers::Kind;
use super::template::{Template, colour, word};
use super::tracing::Tracing;
use crate::geometry::{Bounds, Point, point, ring_bounds};
use image::imageops::FilterType;
use image::{DynamicImage, ExtendedColorType, ImageEncoder};

/// Most pixels of the picture's longer side.
const MOST_PIXELS: f64 = 2000.0;
/// Ground shown around templates and cards, mm.
const MARGIN: f64 = 25.0;

/// The check picture as SVG with the photo in it: outline, edges by kind, arrow, cuts, corners with
/// their names, dimensions, and a grid of 100 mm. One unit is one mm.
pub fn check_picture(tracing: &Tracing) -> String {
    let mut points: Vec<Point> = tracing.cards.concat();
    points.extend(tracing.templates.iter().flat_map(|t| &t.net));
    let Some(b) = ring_bounds(&points) else { return String::new() };
    let area = Bounds { min: b.min - point(MARGIN, MARGIN), max: b.max + point(MARGIN, MARGIN) };
    let (w, h) = (area.width(), area.height());
    let mut out = format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{w:.0}mm\" height=\"{h:.0}mm\" viewBox=\"0 0 {w:.2} {h:.2}\" \
         font-family=\"sans-serif\" fill=\"none\">\n"
    );
    out.push_str("<rect width=\"100%\" height=\"100%\" fill=\"#ffffff\"/>\n");
    if let Some((place, jpeg)) = photo(tracing, &area) {
        out.push_str(&format!(
            "<image x=\"{:.3}\" y=\"{:.3}\" width=\"{:.3}\" height=\"{:.3}\" href=\"data:image/jpeg;base64,{}\"/>\n",
            place.min.x - area.min.x,
            area.max.y - place.max.y,
            place.width(),
            place.height(),
            base64(&jpeg)
        ));
    }
    let pen = Pen { area, size: (w.max(h) / 1000.0).clamp(0.3, 1.2) };
    out.push_str(&pen.grid());
    for t in &tracing.templates {
        out.push_str(&pen.template(t));
    }
    for t in &tracing.templates {
        out.push_str(&pen.doubts(t));
    }
    out.push_str(&pen.figures(tracing));
    out.push_str("</svg>\n");
    out
}

/// The photo seen from straight above, around templates and cards, as JPEG; and the box of the
/// plane it shows, mm, y up.
pub fn plane_picture(tracing: &Tracing) -> Option<(Bounds, Vec<u8>)> {
    let mut points: Vec<Point> = tracing.cards.concat();
    points.extend(tracing.templates.iter().flat_map(|t| &t.net));
    let b = ring_bounds(&points)?;
    photo(
        tracing,
        &Bounds { min: b.min - point(MARGIN, MARGIN), max: b.max + point(MARGIN, MARGIN) },
    )
}

/// Colours of the outline and of doubts (palette of Okabe and Ito, from memory; red is kept for
/// doubts).
const OUTLINE: &str = "#0072b2";
const DOUBT: &str = "#e00000";

struct Pen {
    area: Bounds,
    /// One pen width, mm; words are in proportion.
    size: f64,
}

impl Pen {
    fn x(&self, p: Point) -> f64 {
        p.x - self.area.min.x
    }

    fn y(&self, p: Point) -> f64 {
        self.area.max.y - p.y
    }

    fn line(&self, points: &[Point], closed: bool, colour: &str, width: f64, more: &str) -> String {
        let mut d = String::new();
        for (i, &p) in points.iter().enumerate() {
            d.push_str(&format!(
                "{}{:.2} {:.2}",
                if i == 0 { "M" } else { " L" },
                self.x(p),
                self.y(p)
            ));
        }
        if closed {
            d.push_str(" Z");
        }
        // A white rim keeps a line apart from any ground, in black and white too.
        format!(
            "<path d=\"{d}\" stroke=\"#ffffff\" stroke-width=\"{:.2}\" stroke-opacity=\"0.5\"/>\
             <path d=\"{d}\" stroke=\"{colour}\" stroke-width=\"{:.2}\" {more}/>\n",
            (width + 1.2) * self.size,
            width * self.size
        )
    }

    /// Words with a white rim, to be read on any ground.
    fn words(&self, at: Point, size: f64, anchor: &str, colour: &str, words: &str) -> String {
        format!(
            "<text x=\"{:.2}\" y=\"{:.2}\" font-size=\"{:.2}\" text-anchor=\"{anchor}\" fill=\"{colour}\" stroke=\"#ffffff\" \
             stroke-width=\"{:.2}\" paint-order=\"stroke\" font-weight=\"bold\">{words}</text>\n",
            self.x(at),
            self.y(at),
            size * self.size,
            size * self.size * 0.25
        )
    }

    fn grid(&self) -> String {
        let mut out = String::new();
        let b = &self.area;
        let (w, h) = (b.width(), b.height());
        for i in 0..=(w / 100.0) as usize {
            let x = b.min.x + 100.0 * i as f64;
            out.push_str(&self.line(
                &[point(x, b.min.y), point(x, b.max.y)],
                false,
                "#56b4e9",
                0.5,
                "stroke-opacity=\"0.7\"",
            ));
        }
        for i in 0..=(h / 100.0) as usize {
            let y = b.max.y - 100.0 * i as f64;
            out.push_str(&self.line(
                &[point(b.min.x, y), point(b.max.x, y)],
                false,
                "#56b4e9",
                0.5,
                "stroke-opacity=\"0.7\"",
            ));
        }
        out + &self.words(
            point(b.min.x + 3.0, b.min.y + 4.0 * self.size + 1.0),
            14.0,
            "start",
            "#0072b2",
            "grid 100 mm",
        )
    }

    /// Doubtful stretches, thick and red, and the letters of what was found.
    fn doubts(&self, t: &Template) -> String {
        let mut out = String::new();
        for d in &t.doubts {
            out.push_str(&self.line(&d.path, false, DOUBT, 5.0, "stroke-opacity=\"0.85\""));
            out.push_str(&format!(
                "<circle cx=\"{:.2}\" cy=\"{:.2}\" r=\"{:.2}\" stroke=\"{DOUBT}\" stroke-width=\"{:.2}\"/>\n",
                self.x(d.at()),
                self.y(d.at()),
                (d.length / 2.0 + 8.0 * self.size).max(14.0 * self.size),
                2.0 * self.size
            ));
        }
        // A template that is alone needs no letter to be told from others.
        for l in &t.letters {
            if l.kind == Kind::Template {
                continue;
            }
            out.push_str(&format!(
                "<circle cx=\"{:.2}\" cy=\"{:.2}\" r=\"{:.2}\" fill=\"#ffffff\" stroke=\"#000000\" stroke-width=\"{:.2}\"/>\n",
                self.x(l.at),
                self.y(l.at),
                9.0 * self.size,
                self.size
            ));
            out.push_str(&self.words(
                l.at - point(0.0, 5.0 * self.size),
                15.0,
                "middle",
                "#000000",
                &l.letter,
            ));
        }
        out
    }

    /// What matters at a glance, in a band at the top: the cards' error, the worst doubt, the size;
    /// and a bar of 100 mm.
    fn figures(&self, tracing: &Tracing) -> String {
        let f = &tracing.figures;
        let worst =
            tracing.templates.iter().flat_map(|t| &t.doubts).map(|d| d.length).fold(0.0, f64::max);
        let size: Vec<String> = tracing
            .templates
            .iter()
            .filter_map(|t| {
                ring_bounds(&t.net).map(|b| format!("{:.0} × {:.0} mm", b.width(), b.height()))
            })
            .collect();
        let cards = if f.cards.is_empty() {
            "no cards".into()
        } else {
            format!("cards fit to {:.2} mm", f.error)
        };
        let doubt =
            if worst > 0.0 { format!("worst doubt {worst:.0} mm") } else { "no doubts".into() };
        let lines = [
            (cards, "#000000"),
            (doubt, if worst > 0.0 { DOUBT } else { "#000000" }),
            (size.join(", "), "#000000"),
        ];
        // Letters as high as a fortieth of the picture's width are read on a telephone.
        let (w, high) = (self.area.width(), self.area.width() / 38.0);
        let mut out = format!(
            "<rect width=\"{w:.2}\" height=\"{:.2}\" fill=\"#ffffff\" fill-opacity=\"0.85\"/>\n",
            high * 1.6
        );
        for (i, (line, colour)) in lines.iter().enumerate() {
            let anchor = ["start", "middle", "end"][i];
            let x = self.area.min.x + w * [0.01, 0.5, 0.99][i];
            out.push_str(&self.words(
                point(x, self.area.max.y - 1.15 * high),
                high / self.size,
                anchor,
                colour,
                line,
            ));
        }
        let (right, low) = (self.area.max.x - 0.02 * w, self.area.min.y + 0.6 * high);
        if w > 150.0 {
            out.push_str(&self.line(
                &[point(right - 100.0, low), point(right, low)],
                false,
                "#000000",
                4.0,
                "",
            ));
            out.push_str(&self.words(
                point(right - 50.0, low + 0.3 * high),
                0.8 * high / self.size,
                "middle",
                "#000000",
                "100 mm",
            ));
        }
        out
    }

    fn template(&self, t: &Template) -> String {
        let mut out = self.line(&t.net, true, OUTLINE, 1.6, "");
        for hole in &t.holes {
            out.push_str(&self.line(hole, true, OUTLINE, 1.6, ""));
        }
        for (kind, path) in &t.edges {
            out.push_str(&self.line(path, false, colour(*kind), 4.0, "stroke-opacity=\"0.75\""));
            if let Some(p) = path.get(path.len() / 2) {
                out.push_str(&self.words(*p, 16.0, "middle", colour(*kind), word(*kind)));
            }
        }
        for cut in &t.cuts {
            out.push_str(&self.line(cut, false, "#d55e00", 2.0, "stroke-dasharray=\"6 2\""));
        }
        for mark in &t.marks {
            out.push_str(&self.line(mark, false, "#aa00aa", 1.4, ""));
        }
        if let Some([tail, head]) = t.arrow {
            let along = (head - tail) * (1.0 / head.distance(tail).max(1e-9));
            let side = point(-along.y, along.x);
            let barb = 14.0 * self.size;
            out.push_str(&self.line(&[tail, head], false, "#0000d4", 2.4, ""));
            let barbs = [
                head - along * barb + side * (barb * 0.5),
                head,
                head - along * barb - side * (barb * 0.5),
            ];
            out.push_str(&self.line(&barbs, false, "#0000d4", 2.4, ""));
            out.push_str(&self.words(
                head + along * (6.0 * self.size),
                20.0,
                "middle",
                "#0000d4",
                "0°",
            ));
        }
        for c in &t.corners {
            out.push_str(&format!(
                "<circle cx=\"{:.2}\" cy=\"{:.2}\" r=\"{:.2}\" fill=\"{OUTLINE}\"/>\n",
                self.x(c.at),
                self.y(c.at),
                3.0 * self.size
            ));
            // The name stands outside, away from the middle of the template.
            let middle = ring_bounds(&t.net).map_or(c.at, |b| b.centre());
            let away = (c.at - middle) * (14.0 * self.size / c.at.distance(middle).max(1e-9));
            out.push_str(&self.words(
                c.at + away - point(0.0, 7.0 * self.size),
                22.0,
                "middle",
                OUTLINE,
                &c.name,
            ));
        }
        if let Some(b) = ring_bounds(&t.net) {
            let (low, left) = (b.min.y - 12.0 * self.size, b.min.x - 12.0 * self.size);
            out.push_str(&self.line(
                &[point(b.min.x, low), point(b.max.x, low)],
                false,
                "#000000",
                1.5,
                "",
            ));
            out.push_str(&self.line(
                &[point(left, b.min.y), point(left, b.max.y)],
                false,
                "#000000",
                1.5,
                "",
            ));
            let size = format!("{}: {:.1} × {:.1} mm", escaped(&t.name), b.width(), b.height());
            out.push_str(&self.words(
                point(b.centre().x, low - 18.0 * self.size),
                18.0,
                "middle",
                "#000000",
                &size,
            ));
        }
        out
    }
}

fn escaped(text: &str) -> String {
    text.replace('&', "&amp;").replace('<', "&lt;")
}

/// The part of the flattened photo in a box, made small enough, as JPEG; and the box of plane that
/// it shows.
fn photo(tracing: &Tracing, area: &Bounds) -> Option<(Bounds, Vec<u8>)> {
    let flat = &tracing.flat;
    let (w, h) = flat.colour.dimensions();
    let first = flat.pixel(point(area.min.x, area.max.y));
    let last = flat.pixel(point(area.max.x, area.min.y));
    let clamp = |v: f64, most: u32| v.round().clamp(0.0, f64::from(most)) as u32;
    let (x0, y0) = (clamp(first.x, w - 1), clamp(first.y, h - 1));
    let (x1, y1) = (clamp(last.x, w), clamp(last.y, h));
    if x1 <= x0 || y1 <= y0 {
        return None;
    }
    let crop = image::imageops::crop_imm(&flat.colour, x0, y0, x1 - x0, y1 - y0).to_image();
    let shrink = (MOST_PIXELS / f64::from((x1 - x0).max(y1 - y0))).min(1.0);
    let (sw, sh) = (
        (f64::from(x1 - x0) * shrink).max(1.0) as u32,
        (f64::from(y1 - y0) * shrink).max(1.0) as u32,
    );
    let small =
        DynamicImage::ImageRgb8(crop).resize_exact(sw, sh, FilterType::Triangle).into_rgb8();
    let mut jpeg = Vec::new();
    let encoder = image::codecs::jpeg::JpegEncoder::new_with_quality(&mut jpeg, 85);
    encoder.write_image(small.as_raw(), sw, sh, ExtendedColorType::Rgb8).ok()?;
    let half = flat.mm / 2.0;
    let (a, b) = (
        flat.plane(point(f64::from(x0), f64::from(y0))),
        flat.plane(point(f64::from(x1 - 1), f64::from(y1 - 1))),
    );
    Some((Bounds { min: point(a.x - half, b.y - half), max: point(b.x + half, a.y + half) }, jpeg))
}

/// Base 64 as RFC 4648 has it.
fn base64(bytes: &[u8]) -> String {
    const LETTERS: &[u8; 64] = b"ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
    let mut out = String::with_capacity(bytes.len() * 4 / 3 + 4);
    for chunk in bytes.chunks(3) {
        let v = chunk.iter().fold(0u32, |v, &b| v << 8 | u32::from(b)) << (8 * (3 - chunk.len()));
        for i in 0..4 {
            let letter = LETTERS[(v >> (18 - 6 * i)) as usize & 63];
            out.push(if i <= chunk.len() { char::from(letter) } else { '=' });
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::base64;

    #[test]
    fn base64_of_rfc_4648() {
        // The test vectors of RFC 4648, section 10 (from memory).
        for (plain, coded) in [
            ("", ""),
            ("f", "Zg=="),
            ("fo", "Zm8="),
            ("foo", "Zm9v"),
            ("foob", "Zm9vYg=="),
            ("foobar", "Zm9vYmFy"),
        ] {
            assert_eq!(base64(plain.as_bytes()), coded);
        }
    }
}
