//! Drawings as PDF at true scale: pages in mm, vector lines, an embedded font, and a request to the
//! print dialogue not to scale.
//!
//! The same pages give the same bytes: no dates, no random names.

use super::font::Font;
use super::scene::{Drawn, Hold, Ink, Scene, Shape, Text};
use super::style::style;
use super::text::{decimals, write_number};
use crate::geometry::{Bounds, Point, point};
use flate2::{Compression, write::ZlibEncoder};
use pdf_writer::types::{CidFontType, FontFlags, SystemInfo, UnicodeCmap};
use pdf_writer::{Filter, Finish, Name, Pdf, Rect, Ref, Str, TextStr};
use rayon::prelude::*;
use std::collections::BTreeMap;
use std::fmt::Write as _;
use std::io::Write as _;
use subsetter::GlyphRemapper;

/// Points (1/72 inch) in a mm.
const POINTS: f64 = 72.0 / 25.4;

/// No page may be longer than this, mm: 14,400 units of 1/72 inch (ISO 32000-1, annex C, from
/// memory).
pub(crate) const LONGEST: f64 = 14_400.0 / POINTS;

/// One page.
pub(crate) struct Page<'s> {
    /// Width and height, mm.
    pub size: [f64; 2],
    /// What is on it, first at the bottom.
    pub parts: Vec<Part<'s>>,
}

/// A drawing, or a window of it, put on a page.
pub(crate) struct Part<'s> {
    /// The drawing.
    pub scene: &'s Scene,
    /// Where the origin of the drawing comes to lie, mm from the lower left corner of the page.
    pub at: Point,
    /// mm on the page for a mm of the drawing.
    pub scale: f64,
    /// What of the drawing is shown, in its own frame; all of it if none. A window is there to cut
    /// by: its areas are not filled.
    pub window: Option<Bounds>,
}

impl<'s> Page<'s> {
    /// The whole drawing on a page of its size.
    pub(crate) fn of(scene: &'s Scene) -> Page<'s> {
        let at = point(-scene.page.min.x, -scene.page.min.y);
        Page {
            size: [scene.page.width(), scene.page.height()],
            parts: vec![Part { scene, at, scale: 1.0, window: None }],
        }
    }
}

/// The pages as a PDF file.
pub(crate) fn pdf(title: &str, pages: &[Page<'_>]) -> Vec<u8> {
    let mut fonts = [Used::new(false), Used::new(true)];
    let streams: Vec<Vec<u8>> = pages.iter().map(|page| content(page, &mut fonts)).collect();
    let streams: Vec<Vec<u8>> = streams.par_iter().map(|stream| pack(stream)).collect();
    let mut last = 0;
    let mut next = || {
        last += 1;
        Ref::new(last)
    };
    let [catalog, tree, info] = [next(), next(), next()];
    let font_ids: [[Ref; 5]; 2] = [[(); 5].map(|()| next()), [(); 5].map(|()| next())];
    let page_ids: Vec<[Ref; 2]> = pages.iter().map(|_| [next(), next()]).collect();

    let mut file = Pdf::new();
    file.set_version(1, 7);
    let mut root = file.catalog(catalog);
    root.pages(tree);
    let mut wishes = root.viewer_preferences();
    wishes.display_doc_title(true);
    wishes.pair(Name(b"PrintScaling"), Name(b"None"));
    wishes.finish();
    root.finish();
    let mut about = file.document_info(info);
    about.title(TextStr(title));
    about.producer(TextStr(concat!("warpwise ", env!("CARGO_PKG_VERSION"))));
    about.finish();
    file.pages(tree)
        .kids(page_ids.iter().map(|ids| ids[0]))
        .count(i32::try_from(pages.len()).unwrap_or(i32::MAX));
    for ((page, stream), [id, content]) in pages.iter().zip(&streams).zip(page_ids) {
        let [width, height] = page.size.map(|mm| (mm * POINTS) as f32);
        let mut dict = file.page(id);
        dict.parent(tree).media_box(Rect::new(0.0, 0.0, width, height)).contents(content);
        let mut resources = dict.resources();
        let mut names = resources.fonts();
        for (font, ids) in fonts.iter().zip(font_ids) {
            names.pair(Name(font.name().as_bytes()), ids[0]);
        }
        names.finish();
        resources.finish();
        dict.finish();
        file.stream(content, stream).filter(Filter::FlateDecode);
    }
    for (font, ids) in fonts.iter().zip(font_ids) {
        font.write(&mut file, ids);
    }
    file.finish()
}

/// How hard pages are packed, 0 to 9: half the work of the usual 6, for a fourteenth more bytes.
const PACKED: u32 = 4;

fn pack(bytes: &[u8]) -> Vec<u8> {
    let mut encoder = ZlibEncoder::new(Vec::new(), Compression::new(PACKED));
    // Memory takes every byte.
    let written = encoder.write_all(bytes);
    debug_assert!(written.is_ok());
    encoder.finish().unwrap_or_default()
}

/// Decimals of a number in a content stream: a tenth of a micrometre is finer than anything
/// printed.
const FINE: usize = 4;

fn num(value: f64) -> String {
    decimals(value, FINE)
}

/// What draws the page; one unit is one mm.
fn content(page: &Page<'_>, fonts: &mut [Used; 2]) -> Vec<u8> {
    let mut out = format!("{0:.9} 0 0 {0:.9} 0 0 cm\n1 j\n", POINTS);
    for part in &page.parts {
        out.push_str("q\n");
        let scale = part.scale;
        let _ =
            writeln!(out, "{0:.9} 0 0 {0:.9} {1} {2} cm", scale, num(part.at.x), num(part.at.y));
        if let Some(w) = part.window {
            let _ = writeln!(
                out,
                "{} {} {} {} re W n",
                num(w.min.x),
                num(w.min.y),
                num(w.width()),
                num(w.height())
            );
        }
        draw(&mut out, part, fonts);
        out.push_str("Q\n");
    }
    out.into_bytes()
}

fn draw(out: &mut String, part: &Part<'_>, fonts: &mut [Used; 2]) {
    let scene = part.scene;
    // Lines of a small picture keep a width that prints.
    let heavier = if part.scale < 1.0 { 0.35 / part.scale } else { 1.0 };
    let shown =
        |points: &[Point], reach: f64| part.window.is_none_or(|w| touches(points, &w, reach));
    for ink in Ink::ALL {
        let mut things = scene.drawn.iter().filter(|d| d.ink == ink).peekable();
        if things.peek().is_none() {
            continue;
        }
        let style = style(ink);
        let dash: Vec<String> = style.dash.iter().map(|&d| num(d * heavier)).collect();
        let _ = writeln!(
            out,
            "{} RG {} w [{}] 0 d {} J",
            colour(style.colour),
            num(style.width * heavier),
            dash.join(" "),
            i32::from(style.round)
        );
        let _ = writeln!(out, "{} rg", colour(style.fill.unwrap_or(style.colour)));
        for thing in things {
            thing_in(
                out,
                thing,
                style.fill.is_some() && part.window.is_none(),
                style.colour,
                &shown,
                style.width,
            );
        }
    }
    for backing in scene.backings.iter().filter(|b| shown(&b.ring, 0.0)) {
        out.push_str(if backing.black { "0 g\n" } else { "1 g\n" });
        path(out, &backing.ring, true);
        out.push_str("f\n");
    }
    for text in &scene.texts {
        let font = &mut fonts[usize::from(text.bold)];
        font.line(out, text, part.window.as_ref());
    }
}

fn thing_in(
    out: &mut String,
    thing: &Drawn,
    filled: bool,
    ink: [u8; 3],
    shown: &dyn Fn(&[Point], f64) -> bool,
    width: f64,
) {
    match &thing.shape {
        Shape::Rings(rings) if rings.iter().any(|r| shown(r, width)) => {
            rings.iter().for_each(|r| path(out, r, true));
            out.push_str(if filled { "B*\n" } else { "S\n" });
        }
        Shape::Tone(rings, grey) if rings.iter().any(|r| shown(r, width)) => {
            let _ = writeln!(out, "q {} rg", colour([*grey; 3]));
            rings.iter().for_each(|r| path(out, r, true));
            out.push_str("B* Q\n");
        }
        Shape::Path(points) if shown(points, width) => {
            path(out, points, false);
            out.push_str("S\n");
        }
        Shape::Segments(segments) => {
            let before = out.len();
            segments.iter().filter(|s| shown(&s[..], width)).for_each(|s| path(out, s, false));
            if out.len() > before {
                out.push_str("S\n");
            }
        }
        Shape::Solid(ring) if shown(ring, 0.0) => {
            let _ = writeln!(out, "q {} rg", colour(ink));
            path(out, ring, true);
            out.push_str("f Q\n");
        }
        _ => {}
    }
}

/// Whether the box of the points, grown by `reach`, touches the window.
fn touches(points: &[Point], window: &Bounds, reach: f64) -> bool {
    crate::geometry::ring_bounds(points).is_some_and(|b| {
        b.min.x - reach <= window.max.x
            && b.max.x + reach >= window.min.x
            && b.min.y - reach <= window.max.y
            && b.max.y + reach >= window.min.y
    })
}

fn path(out: &mut String, points: &[Point], closed: bool) {
    for (i, p) in points.iter().enumerate() {
        write_number(out, p.x, FINE);
        out.push(' ');
        write_number(out, p.y, FINE);
        out.push_str(if i == 0 { " m\n" } else { " l\n" });
    }
    if closed && !points.is_empty() {
        out.push_str("h\n");
    }
}

fn colour(rgb: [u8; 3]) -> String {
    rgb.map(|c| decimals(f64::from(c) / 255.0, 3)).join(" ")
}

/// A cut of the font with the glyphs that the pages use.
struct Used {
    bold: bool,
    font: Option<Font>,
    remapper: GlyphRemapper,
    /// By new glyph id: the character and the advance in thousandths of an em.
    glyphs: BTreeMap<u16, (char, f64)>,
}

impl Used {
    fn new(bold: bool) -> Used {
        Used {
            bold,
            font: Font::new(bold),
            remapper: GlyphRemapper::new(),
            glyphs: BTreeMap::new(),
        }
    }

    fn name(&self) -> &'static str {
        if self.bold { "B" } else { "R" }
    }

    /// One line of text, if it may touch the window.
    fn line(&mut self, out: &mut String, text: &Text, window: Option<&Bounds>) {
        let Some(font) = &self.font else { return };
        let glyphs = font.glyphs(&text.words);
        let width: f64 = glyphs.iter().map(|g| font.advance(g.0)).sum::<f64>() * text.size;
        let (sin, cos) = crate::geometry::sin_cos_degrees(text.angle);
        let along = point(cos, sin);
        let start =
            if text.hold == Hold::Middle { text.at - along * (width / 2.0) } else { text.at };
        if window.is_some_and(|w| !touches(&[start, start + along * width], w, 1.3 * text.size)) {
            return;
        }
        let mut words = String::new();
        for (glyph, character) in glyphs {
            let id = self.remapper.remap(glyph.0);
            self.glyphs.insert(id, (character, font.advance(glyph) * 1000.0));
            let _ = write!(words, "{id:04X}");
        }
        let _ =
            writeln!(out, "{} g BT /{} {} Tf", u8::from(text.white), self.name(), num(text.size));
        let _ = writeln!(
            out,
            "{0:.6} {1:.6} {2:.6} {0:.6} {3} {4} Tm <{words}> Tj ET",
            cos,
            sin,
            -sin,
            num(start.x),
            num(start.y)
        );
    }

    /// The font's objects: font, descendant, descriptor, file, character map.
    fn write(&self, file: &mut Pdf, [id, descendant, descriptor, data, map]: [Ref; 5]) {
        let Some(font) = &self.font else { return };
        let name = if self.bold { "WARPWB+DejaVuSans-Bold" } else { "WARPWR+DejaVuSans" };
        let system =
            SystemInfo { registry: Str(b"Adobe"), ordering: Str(b"Identity"), supplement: 0 };
        file.type0_font(id)
            .base_font(Name(name.as_bytes()))
            .encoding_predefined(Name(b"Identity-H"))
            .descendant_font(descendant)
            .to_unicode(map);
        let mut cid = file.cid_font(descendant);
        cid.subtype(CidFontType::Type2)
            .base_font(Name(name.as_bytes()))
            .system_info(system)
            .font_descriptor(descriptor)
            .default_width(0.0)
            .cid_to_gid_map_predefined(Name(b"Identity"));
        let mut widths = cid.widths();
        for (&glyph, &(_, advance)) in &self.glyphs {
            widths.consecutive(glyph, [advance as f32]);
        }
        widths.finish();
        cid.finish();
        let em = 1000.0 / f32::from(font.face.units_per_em());
        let b = font.face.global_bounding_box();
        file.font_descriptor(descriptor)
            .name(Name(name.as_bytes()))
            .flags(FontFlags::NON_SYMBOLIC)
            .bbox(Rect::new(
                f32::from(b.x_min) * em,
                f32::from(b.y_min) * em,
                f32::from(b.x_max) * em,
                f32::from(b.y_max) * em,
            ))
            .italic_angle(0.0)
            .ascent(f32::from(font.face.ascender()) * em)
            .descent(f32::from(font.face.descender()) * em)
            .cap_height(f32::from(font.face.capital_height().unwrap_or(0)) * em)
            .stem_v(if self.bold { 140.0 } else { 80.0 })
            .font_file2(data);
        // The font is our own and whole: a subset of it can be made.
        let subset =
            subsetter::subset(font.data, 0, &self.remapper).unwrap_or_else(|_| font.data.to_vec());
        let packed = pack(&subset);
        file.stream(data, &packed)
            .filter(Filter::FlateDecode)
            .pair(Name(b"Length1"), i32::try_from(subset.len()).unwrap_or(0));
        let mut cmap = UnicodeCmap::new(Name(b"Custom"), system);
        for (&glyph, &(character, _)) in &self.glyphs {
            cmap.pair(glyph, character);
        }
        file.cmap(map, &cmap.finish());
    }
}
