//! Layouts as DXF for a cutter: AutoCAD release 2000 (`AC1015`), millimetres, one layer for each
//! kind of line.

use super::laid::Sheet;
use super::scene::{Hold, Ink, Scene, Shape};
use crate::geometry::Point;
use dxf::entities::{Entity, EntityType, Line, LwPolyline, Text};
use dxf::enums::{AcadVersion, HorizontalTextJustification, Units};
use dxf::tables::Layer;
use dxf::{Color, Drawing, LwPolylineVertex, Point as DxfPoint};

/// The layers: name and AutoCAD colour index.
const LAYERS: [(&str, u8); 9] = [
    ("CUT", 7),
    ("RELIEF-CUT", 1),
    ("CUT-ACROSS", 6),
    ("NET-LINE", 5),
    ("MARK", 3),
    ("TEXT", 2),
    ("STOCK", 8),
    ("OFFCUT", 9),
    ("FLAW", 30),
];

/// The layer of an ink; none if it is of no use to a cutter.
fn layer(ink: Ink) -> Option<&'static str> {
    Some(match ink {
        Ink::Cut => "CUT",
        Ink::Relief => "RELIEF-CUT",
        Ink::Across => "CUT-ACROSS",
        Ink::Net => "NET-LINE",
        Ink::Mark | Ink::Arrow => "MARK",
        Ink::Stock | Ink::Selvedge | Ink::SegmentEnd => "STOCK",
        Ink::Offcut | Ink::Rectangle => "OFFCUT",
        Ink::Flaw => "FLAW",
        Ink::Leader | Ink::Frame => "TEXT",
        Ink::Grid | Ink::OffcutHatch | Ink::Yarn => return None,
    })
}

/// One layout, in the stock frame: origin at the free end on the lower selvedge, x along the warp.
pub(crate) fn write(sheet: &Sheet<'_>) -> Vec<u8> {
    drawing(&sheet.layout().scene, &sheet.plan.id)
}

/// Any drawing, in its own frame.
pub(crate) fn drawing(scene: &Scene, plan: &str) -> Vec<u8> {
    let mut drawing = Drawing::new();
    drawing.header.version = AcadVersion::R2000;
    drawing.header.default_drawing_units = Units::Millimeters;
    for (name, colour) in LAYERS {
        drawing.add_layer(Layer {
            name: name.into(),
            color: Color::from_index(colour),
            ..Default::default()
        });
    }
    let mut add = |layer: &str, specific: EntityType| {
        let mut entity = Entity::new(specific);
        entity.common.layer = layer.into();
        drawing.add_entity(entity);
    };
    for thing in &scene.drawn {
        let Some(layer) = layer(thing.ink) else {
            continue;
        };
        match &thing.shape {
            Shape::Rings(rings) | Shape::Tone(rings, _) => {
                rings.iter().for_each(|r| add(layer, line(r, true)))
            }
            Shape::Solid(ring) => add(layer, line(ring, true)),
            Shape::Path(points) => add(layer, line(points, false)),
            Shape::Segments(segments) => segments
                .iter()
                .for_each(|s| add(layer, EntityType::Line(Line::new(at(s[0]), at(s[1]))))),
        }
    }
    for text in &scene.texts {
        let mut words = Text {
            location: at(text.at),
            text_height: text.size * 0.72,
            value: plain(&text.words),
            rotation: text.angle,
            ..Default::default()
        };
        if text.hold == Hold::Middle {
            words.horizontal_text_justification = HorizontalTextJustification::Center;
            words.second_alignment_point = at(text.at);
        }
        add("TEXT", EntityType::Text(words));
    }
    let mut bytes = Vec::new();
    // Memory takes every byte.
    let written = drawing.save(&mut bytes);
    debug_assert!(written.is_ok());
    unstamped(&String::from_utf8_lossy(&bytes), plan)
}

/// The library stamps the time and random ids into the header; the same plan is to give the same
/// file.
fn unstamped(text: &str, plan: &str) -> Vec<u8> {
    let digits: String = plan
        .chars()
        .filter(char::is_ascii_hexdigit)
        .chain(std::iter::repeat('0'))
        .take(32)
        .collect::<String>()
        .to_uppercase();
    let id = format!(
        "{{{}-{}-{}-{}-{}}}",
        &digits[..8],
        &digits[8..12],
        &digits[12..16],
        &digits[16..20],
        &digits[20..]
    );
    let mut out = format!("999\r\nwarpwise {}\r\n", env!("CARGO_PKG_VERSION"));
    let mut lines = text.lines();
    while let Some(line) = lines.next() {
        out.push_str(line);
        out.push_str("\r\n");
        let value = match line {
            // 1 January 2000 as a Julian day: a date must stand there, this one tells nothing.
            "$TDCREATE" | "$TDUCREATE" | "$TDUPDATE" | "$TDUUPDATE" => "2451545.0",
            "$FINGERPRINTGUID" | "$VERSIONGUID" => &id,
            _ => continue,
        };
        out.push_str(lines.next().unwrap_or_default());
        out.push_str("\r\n");
        out.push_str(value);
        out.push_str("\r\n");
        lines.next();
    }
    out.into_bytes()
}

fn at(p: Point) -> DxfPoint {
    DxfPoint::new(p.x, p.y, 0.0)
}

fn line(points: &[Point], closed: bool) -> EntityType {
    let mut line = LwPolyline {
        vertices: points
            .iter()
            .map(|p| LwPolylineVertex { x: p.x, y: p.y, ..Default::default() })
            .collect(),
        ..Default::default()
    };
    line.set_is_closed(closed);
    EntityType::LwPolyline(line)
}

/// Words as DXF before 2007 can hold them: ASCII, other characters as `\U+XXXX`, and no `%%` or `^`
/// that a reader would take for a code.
fn plain(words: &str) -> String {
    let mut out = String::new();
    for c in words.replace("%%", "% %").replace('^', "^ ").chars() {
        match u32::from(c) {
            0x20..=0x7e => out.push(c),
            code @ 0..=0xffff => out.push_str(&format!("\\U+{code:04X}")),
            _ => out.push_str("\\U+FFFD"),
        }
    }
    out
}
