//! The whole way from photos to templates, and everything that may be wrong with a photo.

use super::answers::{Answer, Kind, Letter, Letters};
use super::belief::{Belief, Sought};
use super::camera::View;
use super::colour::settle;
use super::corners::{Between, EdgeRequest, MeasuredLength, clockwise, named_corners};
use super::doubt::{Doubt, Ground, areas_of, doubts_of};
use super::find::{Hint, find};
use super::flat::{Flat, flatten};
use super::gap::{Gap, NarrowGap, fill_slits};
use super::grey::{grey_of, greyed};
use super::ink::{Lines, faint_lines, foot, lines, lines_seen, middle_line};
use super::inside::{closed_ink, inside};
use super::look::Look;
use super::mask::{Mask, above, flood, main_piece, painted, pieces};
use super::part::{Part, parts};
use super::plain;
use super::plane::{Plane, by_cards, by_rectangle, resolution};
use super::ring::{drawn_out, rings, sharpened, simplified, uncrossed};
use super::template::Template;
use crate::fault::{Fault, Faults};
use crate::geometry::{Path, Point, Ring, point, ring_area, ring_bounds, ring_contains};
use crate::outline::{Draft, Outline};
use crate::run::{Phase, Run};
use crate::units::counted;
use image::{GrayImage, RgbImage};
use std::path::PathBuf;

/// Which line on the skin is the net line.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum NetLine {
    /// The edge of the skin.
    Edge,
    /// A closed inked line on it.
    Ink,
}

/// Instead of cards: four pixels and the rectangle they span.
#[derive(Clone, Debug, PartialEq)]
pub struct KnownRectangle {
    /// Pixels (from the upper left corner, y down) of the upper left, upper right, lower right and
    /// lower left corner.
    pub pixels: [Point; 4],
    /// Width, mm.
    pub width: f64,
    /// Height, mm.
    pub height: f64,
}

/// What the user says of the photos.
#[derive(Clone, Debug, PartialEq)]
pub struct Options {
    /// Name of the template.
    pub name: String,
    /// Which line is the net line.
    pub net: NetLine,
    /// Measured width of the printed card's frame, mm.
    pub card_width: f64,
    /// How far the simplified outline may lie from the traced one, mm.
    pub tolerance: f64,
    /// Kinds of edges.
    pub edges: Vec<EdgeRequest>,
    /// Lengths measured on the template.
    pub lengths: Vec<MeasuredLength>,
    /// What narrow gaps in the edge are where their shape leaves it open.
    pub gaps: Option<Gap>,
    /// A rectangle that takes the place of cards.
    pub rectangle: Option<KnownRectangle>,
    /// A pixel of the first photo that lies on the skin.
    pub at: Option<Point>,
    /// Pixels of the first photo that run roughly around the skin.
    pub around: Option<Vec<Point>>,
    /// Answers about what has a letter in the check picture.
    pub answers: Vec<Answer>,
}

/// How good the photos are.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Figures {
    /// Numbers of the cards used.
    pub cards: Vec<usize>,
    /// Root mean square error of the cards' marks, mm.
    pub error: f64,
    /// mm of the plane that a pixel shows.
    pub resolution: f64,
    /// Tilt of the camera from straight down, degrees, by photo.
    pub tilt: Vec<f64>,
    /// Radial distortion at the corner of each photo, as a share of the distance from its middle.
    pub distortion: Vec<f64>,
    /// How wide a sharp edge is in the photo, mm.
    pub blur: f64,
    /// Twice the standard deviation of the longest lengths across the templates, mm.
    pub uncertainty: f64,
    /// The template is lighter than its ground.
    pub lighter: bool,
}

/// The outcome.
#[derive(Clone, Debug)]
pub struct Tracing {
    /// The templates, from left to right.
    pub templates: Vec<Template>,
    /// How good the photos are.
    pub figures: Figures,
    /// What the user should hear of.
    pub warnings: Vec<Fault>,
    /// Lengths that were measured: what was asked for and what the outline has, mm.
    pub lengths: Vec<(MeasuredLength, f64)>,
    pub(super) flat: Flat,
    pub(super) cards: Vec<Vec<Point>>,
}

/// Above this size a template wants four cards, mm.
const LARGE: f64 = 400.0;
/// Doubt about a length that is worth a warning, and that is refused, mm.
const DOUBT: (f64, f64) = (1.0, 2.0);
/// A longer stretch of doubt is refused, mm; and so is more doubt than this share of the outline.
const LONGEST: f64 = 120.0;
const REFUSED: f64 = 0.25;
/// Resolution that is worth a warning, and that is refused, mm a pixel.
const COARSE: (f64, f64) = (0.6, 1.3);

/// Traces templates from one photo, or from several that show the same cards.
///
/// # Errors
/// Every reason why the photos cannot be trusted, with what to do.
pub fn trace(photos: &[(PathBuf, RgbImage)], options: &Options) -> Result<Tracing, Faults> {
    trace_in(photos, options, &Run::default())
}

/// The same as a part of a run that may be stopped.
///
/// # Errors
/// As [`trace`]; that it was stopped.
pub fn trace_in(
    photos: &[(PathBuf, RgbImage)],
    options: &Options,
    run: &Run<'_>,
) -> Result<Tracing, Faults> {
    // How far the steps are, by what they take of the time.
    let step = |share: f64| {
        run.tell(Phase::Tracing, Some(share));
        run.check(Phase::Tracing)
    };
    step(0.0)?;
    let mut warnings = Vec::new();
    let mut figures = Figures::default();
    let greys: Vec<GrayImage> = photos.iter().map(|(_, photo)| greyed(photo)).collect();
    let in_grey: Vec<(PathBuf, &GrayImage)> =
        photos.iter().map(|p| p.0.clone()).zip(&greys).collect();
    let plane = match &options.rectangle {
        Some(rectangle) => by_rectangle(&in_grey, rectangle, &mut warnings)?,
        None => by_cards(&in_grey, options, &mut figures, &mut warnings)?,
    };
    step(0.2)?;
    let colours: Vec<&RgbImage> = photos.iter().map(|(_, photo)| photo).collect();
    let flat = flatten(&colours, &greys, &plane.views, &plane.cards)
        .ok_or_else(|| Fault::new("the photo shows nothing of the plane", "take it again"))?;
    drop(in_grey);
    figures.resolution = resolution(&plane, &flat);
    if figures.resolution > COARSE.1 {
        let what =
            format!("a pixel of the photo spans {:.2} mm of the template", figures.resolution);
        return Err(Fault::new(what, "come closer, or take several photos that share cards").into());
    }
    if figures.resolution > COARSE.0 {
        let what =
            format!("a pixel of the photo spans {:.2} mm of the template", figures.resolution);
        warnings.push(Fault::new(
            what,
            "for edges right to the millimetre come closer: 0.35 mm a pixel is good",
        ));
    }
    step(0.3)?;
    // Hints are about what the networks see.
    let mut plainly = Vec::new();
    let plain = match options.at.is_some() || options.around.is_some() {
        false => plain::templates(&flat, &greys, &plane, options, &mut plainly),
        true => Ok(None),
    };
    drop(greys);
    let networks = |figures: &mut Figures, warnings: &mut Vec<Fault>| {
        by_networks(&colours, &flat, &plane, options, figures, warnings, &step)
    };
    let plain = match plain {
        Ok(Some((_, found))) if !believed(&found, &colours, &flat, &plane)? => Ok(None),
        other => other,
    };
    let mut templates = match plain {
        Ok(Some((lighter, mut templates))) => {
            figures.lighter = lighter;
            warnings.append(&mut plainly);
            if templates.iter().any(|t| t.arrow.is_none()) {
                // Ink that two levels of grey do not tell from the skin may be seen all the same.
                let seen = networks(&mut Figures::default(), &mut Vec::new()).unwrap_or_default();
                templates.iter_mut().for_each(|t| t.take_arrow(&seen));
            }
            templates
        }
        Ok(None) => networks(&mut figures, &mut warnings)?,
        // What the plain way refuses the networks may tell.
        Err(refused) => match networks(&mut figures, &mut warnings) {
            Ok(templates) => templates,
            Err(_) => {
                step(0.9)?;
                return Err(refused);
            }
        },
    };
    name_all(&mut templates, &options.name);
    for t in templates.iter().filter(|t| t.arrow.is_none()) {
        let what = format!("\"{}\" shows no arrow for the part's 0°", t.name);
        warnings.push(Fault::new(
            what,
            "ink one of at least 40 mm with a head, or give `arrow` in the job",
        ));
    }
    doubts(&plane, &templates, &mut figures, &mut warnings)?;
    let mut tracing =
        Tracing { templates, figures, warnings, lengths: Vec::new(), flat, cards: plane.cards };
    tracing.give_edges(&options.edges)?;
    tracing.measure(&options.lengths, options.card_width)?;
    Ok(tracing)
}

/// False if the first network takes what was found for no skin of tape, and sees one elsewhere:
/// scissors are of one shade too.
fn believed(
    found: &[Template],
    colours: &[&RgbImage],
    flat: &Flat,
    plane: &Plane,
) -> Result<bool, Fault> {
    /// Of the looks at a skin on a plain board at least this share says so.
    const SKIN: f32 = 0.3;
    const LOOKS: f64 = 12.0;
    let belief = Belief::of(colours, &plane.views, flat)?;
    let (skin, _) = belief.about(Sought::Skin);
    let is_skin = |t: &Template| {
        let Some(b) = ring_bounds(&t.net) else { return false };
        let step = (b.width().max(b.height()) / LOOKS).max(1.0);
        let (mut sum, mut count) = (0.0_f32, 0.0_f32);
        let mut y = b.min.y + step / 2.0;
        while y < b.max.y {
            let mut x = b.min.x + step / 2.0;
            while x < b.max.x {
                let p = point(x, y);
                if ring_contains(&t.net, p) && !t.holes.iter().any(|h| ring_contains(h, p)) {
                    let q = flat.pixel(p);
                    sum += belief.at(skin, q.x, q.y);
                    count += 1.0;
                }
                x += step;
            }
            y += step;
        }
        sum >= SKIN * count
    };
    if found.iter().all(is_skin) {
        return Ok(true);
    }
    let elsewhere = |p: &Part| !found.iter().any(|t| ring_contains(&t.net, p.at));
    let seen = parts(flat, &belief, Sought::Skin, &plane.solid);
    Ok(!seen.iter().any(|p| p.is_likely() && elsewhere(p)))
}

/// The templates by what the networks see.
fn by_networks(
    colours: &[&RgbImage],
    flat: &Flat,
    plane: &Plane,
    options: &Options,
    figures: &mut Figures,
    warnings: &mut Vec<Fault>,
    step: &dyn Fn(f64) -> Result<(), Fault>,
) -> Result<Vec<Template>, Faults> {
    let belief = Belief::of(colours, &plane.views, flat)?;
    step(0.5)?;
    let hint = hint(options, plane, flat)?;
    let found = find(flat, &belief, plane, &hint, warnings)?;
    step(0.8)?;
    figures.lighter = found.first().is_some_and(|f| is_lighter(flat, f));
    let mut faults = Faults::new();
    let mut templates = Vec::new();
    let view = Sight { flat, cards: &plane.solid, blur: figures.blur };
    let mut letters = Letters::new(&options.answers);
    for look in &found {
        step(0.9)?;
        let at = flat.plane(point(
            f64::from(look.x + look.skin.width() / 2),
            f64::from(look.y + look.skin.height() / 2),
        ));
        let what = "it is no skin whose edge lies on a plain board: fine slits, tips of narrow \
                    darts and small holes may be missing";
        let remedy = "hold the outline in the check picture against the photo before you cut, all \
                      round, and mend what is wrong in a drawing program or on the page (`warpwise \
                      bench`)";
        warnings.push(Fault::new(what, remedy).at("outline", at.x, at.y));
        if let Some(t) =
            faults.keep(template(&view, look, options, &mut letters, warnings)).flatten()
        {
            templates.push(t);
        }
    }
    faults.keep(letters.unanswered());
    if templates.is_empty() && faults.0.is_empty() {
        faults.push(Fault::new(
            "every template in the photo was left out",
            "leave one of the answers --not out",
        ));
    }
    faults.into_result(templates)
}

/// What is seen of the plane.
struct Sight<'a> {
    flat: &'a Flat,
    cards: &'a [Vec<Point>],
    blur: f64,
}

/// The pixels that the user named, where they lie in the flat picture.
fn hint(options: &Options, plane: &Plane, flat: &Flat) -> Result<Hint, Faults> {
    let mut faults = Faults::new();
    let mut place = |p: Point| {
        let found = plane.views.first().and_then(|v| v.plane(p)).map(|p| flat.pixel(p));
        if found.is_none() {
            faults.push(Fault::new(
                format!("({:.0}, {:.0}) is no pixel of the plane", p.x, p.y),
                "give pixels on the skin",
            ));
        }
        found
    };
    let at = options.at.and_then(&mut place);
    let around =
        options.around.as_ref().map(|ring| ring.iter().filter_map(|p| place(*p)).collect());
    faults.into_result(Hint { at, around })
}

/// True if a skin is lighter than what lies about it.
fn is_lighter(flat: &Flat, look: &Look) -> bool {
    let (mut sums, mut counts) = ([0u64; 2], [1u64; 2]);
    for (x, y, v) in look.skin.enumerate_pixels() {
        let side = usize::from(v[0] > 127);
        let colour = flat.colour.get_pixel(x + look.x, y + look.y);
        sums[side] += u64::from(grey_of(colour.0));
        counts[side] += 1;
    }
    sums[1] * counts[0] > sums[0] * counts[1]
}

/// One template from its part; `None` if the user leaves it out.
fn template(
    view: &Sight,
    look: &Look,
    options: &Options,
    letters: &mut Letters,
    warnings: &mut Vec<Fault>,
) -> Result<Option<Template>, Faults> {
    let flat = view.flat;
    let masked = |image: GrayImage| Mask { image, x: look.x, y: look.y };
    let mut look = look.clone();
    let look = &mut look;
    settle(look, &flat.colour, flat.mm);
    let mut shares = look.skin.clone();
    let skin = main_piece(&above(&shares, 127));
    let mut given =
        vec![letters.give(Kind::Template, flat.plane(middle_of(&masked(skin.clone()))))];
    if letters.is_not(&given[0].letter) {
        return Ok(None);
    }
    let answered = |k: usize| letters.gap(&letters.next(k));
    let (mut mask, gaps) = match options.net {
        NetLine::Edge => {
            shares = with_tips(look, flat.mm);
            let mut mask = masked(main_piece(&above(&shares, 127)));
            let gaps = fill_slits(&mut mask.image, flat.mm, options.gaps, &answered);
            (mask, gaps)
        }
        NetLine::Ink => {
            shares = inside(look, flat.mm, LETTERS);
            let mut mask = masked(main_piece(&above(&shares, 127)));
            fill_without_line(&mut mask.image, &mut shares, &look.ink, flat.mm);
            let count = |i: &GrayImage| i.iter().filter(|v| **v > 0).count();
            // A net line that is worth tracing holds a good part of the skin.
            if 6 * count(&mask.image) < count(&skin) {
                return Err(Fault::new(
                    "no closed inked line runs round inside the skin",
                    "ink the net line without gaps, or say that it is the skin's edge: --net edge",
                )
                .into());
            }
            // What runs in between two inked lines is a dart: a relief cut is one line.
            let said = options.gaps.or(Some(Gap::Dart));
            let gaps = fill_slits(&mut mask.image, flat.mm, said, &answered);
            (mask, gaps)
        }
    };
    let place = |p: Point| flat.plane(p + point(f64::from(mask.x), f64::from(mask.y)));
    for gap in &gaps {
        given.push(
            letters
                .give(if gap.kind == Gap::Slit { Kind::Slit } else { Kind::Dart }, place(gap.at)),
        );
    }
    gaps_said(&gaps, &given[1..], warnings);
    for pixels in holes_of(&mask, LEAST_HOLE / (flat.mm * flat.mm)) {
        let at = place(
            pixels.iter().fold(point(0.0, 0.0), |a, p| a + point(f64::from(p.0), f64::from(p.1)))
                * (1.0 / pixels.len() as f64),
        );
        let area = pixels.len() as f64 * flat.mm * flat.mm;
        // Neither ink nor a shadow is as large as the largest letters.
        let sure = (is_hole(&shares, &pixels, flat.mm) || area > LETTERS)
            && !in_arrow(look, &pixels, flat.mm)
            && (options.net == NetLine::Edge || area > LETTER);
        let yes = letters.hole(&letters.next(0)).unwrap_or(sure);
        let letter = letters.give(if yes { Kind::Hole } else { Kind::NoHole }, at);
        if !sure && !in_arrow(look, &pixels, flat.mm) && letters.hole(&letter.letter).is_none() {
            let what = format!(
                "{}: something like a hole may be ink or a shadow: taken for none",
                letter.letter
            );
            let remedy = format!("if it is one, say --hole {}=yes", letter.letter);
            warnings.push(Fault::new(what, remedy).at("hole", at.x, at.y));
        }
        given.push(letter);
        if !yes {
            let arrow = in_arrow(look, &pixels, flat.mm);
            for &(x, y) in &pixels {
                mask.image.put_pixel(x, y, image::Luma([255]));
                look.skin.put_pixel(x, y, image::Luma([255]));
                look.ink.put_pixel(x, y, image::Luma([255]));
                if arrow {
                    look.arrow.put_pixel(x, y, image::Luma([255]));
                }
            }
        }
    }
    let (outer, holes) = rings(flat, &shares, &mask);
    let Some(outer) = outer.filter(|r| r.len() > 8) else {
        return Err(Fault::new(
            "a patch has no clear edge",
            "take the photo again, sharper and with more light",
        )
        .into());
    };
    // A pen closes a narrow corner sooner than blur does.
    let closed = if options.net == NetLine::Edge { 1.6 } else { 2.4 };
    let fewer = |ring: &Ring| {
        let mut ring = uncrossed(&simplified(
            &uncrossed(&sharpened(&uncrossed(ring), closed)),
            options.tolerance,
        ));
        if ring_area(&ring) < 0.0 {
            ring.reverse();
        }
        ring
    };
    let outer = match options.net {
        NetLine::Edge => outer,
        NetLine::Ink => drawn_out(&outer, flat, &masked(closed_ink(&look.ink, flat.mm))),
    };
    let net = fewer(&outer);
    let holes: Vec<Ring> = holes.iter().map(fewer).filter(|h| ring_area(h) > LEAST_HOLE).collect();
    let mut ink = match options.net {
        NetLine::Edge => lines_seen(look),
        NetLine::Ink => above(&look.ink, 110),
    };
    ink.iter_mut().zip(mask.image.iter()).for_each(|(i, m)| *i = (*i).min(*m));
    // The net line's own ink, or the rim of a torn edge.
    without(&mut ink, flat, &mask, &net, if options.net == NetLine::Ink { 2.0 } else { 0.9 });
    // A slit is a relief cut by its shape, whatever shows through it.
    let slits = gaps
        .iter()
        .filter(|g| g.kind == Gap::Slit && g.length >= LEAST_SLIT && options.net == NetLine::Edge);
    let slits: Vec<Path> =
        slits.filter_map(|g| slit(flat, &mask, &mut ink, &g.pixels, &net)).collect();
    let Lines { arrows, mut cuts, mut marks, unclear } =
        lines(flat, look, &mask, &ink, &net, &holes, options.net);
    cuts.extend(slits);
    let mut lettered = |lines: &mut Vec<Path>, kind: Kind| {
        lines.retain(|line| {
            let letter = letters.give(kind, line[line.len() / 2]);
            let stays = !letters.is_not(&letter.letter);
            given.push(letter);
            stays
        });
    };
    lettered(&mut cuts, Kind::Cut);
    lettered(&mut marks, Kind::Mark);
    if let [a, b, ..] = arrows[..] {
        return Err(Fault::new(
            format!("there are {} arrows on one template", arrows.len()),
            format!(
                "keep one; they are at ({:.0}, {:.0}) and ({:.0}, {:.0}) mm",
                a[0].x, a[0].y, b[0].x, b[0].y
            ),
        )
        .into());
    }
    // The same checks as a drawing read from a file.
    let outline =
        Outline::new(Draft { net: net.clone(), holes: holes.clone(), ..Draft::default() })?;
    let sought = if options.net == NetLine::Edge { Sought::Skin } else { Sought::Inside };
    let held = Ground { flat, look, sought, shares: &shares, cards: view.cards };
    let mut doubts: Vec<Doubt> = std::iter::once(outline.net())
        .chain(outline.holes())
        .flat_map(|r| doubts_of(r, &held))
        .collect();
    // What no inked line parts from the inside is inside.
    if options.net == NetLine::Edge {
        doubts.extend(areas_of(outline.net(), outline.holes(), &held));
    }
    trusted(&doubts, outline.net(), view.blur, warnings)?;
    let lines: Vec<&Path> = cuts.iter().chain(&marks).collect();
    let mut faint = faint_lines(flat, look, outline.net(), &lines, arrows.first());
    faint.extend(unclear.into_iter().map(Doubt::unclear));
    warnings.extend(
        faint.iter().map(|d| Fault::new(d.what(), d.remedy()).at("line", d.at().x, d.at().y)),
    );
    doubts.extend(faint);
    if let NetLine::Edge = options.net
        && let Some(line) = marks.iter().find(|m| closes(m, &net))
    {
        warnings.push(
            Fault::new(
                "a closed line is inked near the edge of the skin",
                "if it is the net line, say so: --net ink",
            )
            .at("line", line[0].x, line[0].y),
        );
    }
    Ok(Some(Template {
        net: outline.net().clone(),
        holes: outline.holes().to_vec(),
        arrow: arrows.first().copied(),
        cuts,
        marks,
        doubts,
        letters: given,
        ..Template::default()
    }))
}

/// The shares of skin, with narrow gaps cut on where the network sees them go on: a dart closes
/// before its tip to the eye of a pixel. What looks like a gap by itself is a line.
fn with_tips(look: &Look, mm: f64) -> GrayImage {
    let norm = imageproc::distance_transform::Norm::L2;
    let reach = (1.8 / mm).round().max(1.0) as u8;
    let own = above(&look.skin, 127);
    let mut closed = imageproc::morphology::dilate(&own, norm, reach);
    imageproc::morphology::erode_mut(&mut closed, norm, reach);
    // A strip of a pixel along the edge is none.
    imageproc::morphology::erode_mut(&mut closed, imageproc::distance_transform::Norm::LInf, 1);
    let narrow = |x: u32, y: u32| closed.get_pixel(x, y)[0] > 0 && own.get_pixel(x, y)[0] == 0;
    let mut shares = look.skin.clone();
    for pixels in pieces(&above(&look.gap, 127), true) {
        let (w, h) = own.dimensions();
        let touches = |p: &&(u32, u32)| {
            (p.1.saturating_sub(1)..(p.1 + 2).min(h))
                .flat_map(|y| (p.0.saturating_sub(1)..(p.0 + 2).min(w)).map(move |x| (x, y)))
                .any(|(x, y)| narrow(x, y))
        };
        if pixels.iter().filter(touches).count() > 4 {
            for (x, y) in pixels {
                let gap = 255 - look.gap.get_pixel(x, y)[0];
                let share = shares.get_pixel_mut(x, y);
                share[0] = share[0].min(gap);
            }
        }
    }
    shares
}

/// Fills the holes about which no inked line runs: there is one side only.
fn fill_without_line(mask: &mut GrayImage, shares: &mut GrayImage, ink: &GrayImage, mm: f64) {
    /// A line about a hole may have breaks: so much of it is there.
    const LINE: f64 = 0.6;
    /// The mean answer from which a small hole is no answer, and any hole, of 255.
    const SURE: (f64, f64) = (90.0, 150.0);
    let reach = (1.6 / mm).round().max(1.0) as u8;
    let norm = imageproc::distance_transform::Norm::LInf;
    let near_ink = imageproc::morphology::dilate(&above(ink, 90), norm, reach);
    let (w, h) = mask.dimensions();
    let black = |x: u32, y: u32| mask.get_pixel(x, y)[0] == 0;
    let mut done = GrayImage::new(w, h);
    flood(&mut done, 0, 0, false, black);
    let mut filled = Vec::new();
    for (x, y) in (0..h).flat_map(|y| (0..w).map(move |x| (x, y))) {
        let pixels = flood(&mut done, x, y, false, black);
        let rim = |p: &&(u32, u32)| {
            [(1, 0), (-1, 0), (0, 1), (0, -1)].iter().any(|&(i, k)| {
                let (Some(x), Some(y)) = (p.0.checked_add_signed(i), p.1.checked_add_signed(k))
                else {
                    return false;
                };
                x < w && y < h && !black(x, y)
            })
        };
        let rim: Vec<_> = pixels.iter().filter(rim).collect();
        let inked = rim.iter().filter(|p| near_ink.get_pixel(p.0, p.1)[0] > 0).count();
        // What is large, or surely outside, is asked about, letter by letter.
        let share = pixels.iter().map(|p| f64::from(shares.get_pixel(p.0, p.1)[0])).sum::<f64>();
        let count = pixels.len() as f64;
        let small = count * mm * mm < LETTER && share > SURE.0 * count || share > SURE.1 * count;
        if small && (inked as f64) < LINE * rim.len() as f64 {
            filled.extend(pixels);
        }
    }
    for (x, y) in filled {
        mask.put_pixel(x, y, image::Luma([255]));
        shares.put_pixel(x, y, image::Luma([255]));
    }
}

/// Holes of less than this are ink, mm²; and of a closed inked line, letters.
const LEAST_HOLE: f64 = 30.0;
const LETTER: f64 = 150.0;
/// A closed inked line around more than this is no letter, mm².
const LETTERS: f64 = 1500.0;
/// Slits shorter than this are no relief cuts, mm.
const LEAST_SLIT: f64 = 9.0;

/// The middle line of a slit, from the net line inwards, whose ink is taken away.
fn slit(
    flat: &Flat,
    mask: &Mask,
    ink: &mut GrayImage,
    pixels: &[(u32, u32)],
    net: &Ring,
) -> Option<Path> {
    let reach = (1.2 / flat.mm).round() as u32;
    for &(x, y) in pixels {
        for v in y.saturating_sub(reach)..=(y + reach).min(ink.height() - 1) {
            for u in x.saturating_sub(reach)..=(x + reach).min(ink.width() - 1) {
                ink.put_pixel(u, v, image::Luma([0]));
            }
        }
    }
    let mut line = middle_line(flat, mask, pixels)?;
    let off = |p: Point| foot(net, p).map_or(f64::INFINITY, |f| f.distance(p));
    if off(line[0]) > off(line[line.len() - 1]) {
        line.reverse();
    }
    let foot = foot(net, line[0])?;
    if foot.distance(line[0]) > 0.2 {
        line.insert(0, foot);
    }
    Some(line)
}

/// The black pieces within a mask's white, of at least so many pixels.
fn holes_of(mask: &Mask, least: f64) -> Vec<Vec<(u32, u32)>> {
    let (w, h) = mask.image.dimensions();
    let mut done = GrayImage::new(w, h);
    let black = |x: u32, y: u32| mask.image.get_pixel(x, y)[0] == 0;
    flood(&mut done, 0, 0, false, black);
    let mut out = Vec::new();
    for (x, y) in (0..h).flat_map(|y| (0..w).map(move |x| (x, y))) {
        let pixels = flood(&mut done, x, y, false, black);
        if pixels.len() as f64 > least {
            out.push(pixels);
        }
    }
    out
}

/// True if the network is sure that most of a hole is none of the skin, and the hole is no line.
fn is_hole(shares: &GrayImage, pixels: &[(u32, u32)], mm: f64) -> bool {
    /// A hole is at least so wide, mm.
    const WIDE: f64 = 4.0;
    let sure = pixels.iter().filter(|p| shares.get_pixel(p.0, p.1)[0] < 64).count();
    let mut deep = painted(shares.dimensions(), pixels);
    let reach = (WIDE / 2.0 / mm).round().max(1.0) as u8;
    imageproc::morphology::erode_mut(&mut deep, imageproc::distance_transform::Norm::L2, reach);
    3 * sure > 2 * pixels.len() && deep.iter().any(|v| *v > 0)
}

/// True of a hole that touches the arrow's ink: its head, filled in.
fn in_arrow(look: &Look, pixels: &[(u32, u32)], mm: f64) -> bool {
    /// An arrow's head is no larger, mm².
    const HEAD: f64 = 600.0;
    if pixels.len() as f64 * mm * mm > HEAD {
        return false;
    }
    let (w, h) = look.arrow.dimensions();
    let touches = |p: &&(u32, u32)| {
        (p.1.saturating_sub(2)..(p.1 + 3).min(h))
            .flat_map(|y| (p.0.saturating_sub(2)..(p.0 + 3).min(w)).map(move |x| (x, y)))
            .any(|(x, y)| look.arrow.get_pixel(x, y)[0] > 127)
    };
    pixels.iter().filter(touches).count() > 3
}

/// The pixel about which a mask lies.
fn middle_of(mask: &Mask) -> Point {
    let (mut sum, mut count) = (point(0.0, 0.0), 0.0);
    for (x, y, _) in mask.image.enumerate_pixels().filter(|p| p.2[0] > 0) {
        sum = sum + point(f64::from(x), f64::from(y));
        count += 1.0;
    }
    sum * (1.0 / f64::max(count, 1.0)) + point(f64::from(mask.x), f64::from(mask.y))
}

/// Doubtful stretches: a warning each, or a refusal where they are long.
fn trusted(
    doubts: &[Doubt],
    net: &Ring,
    blur: f64,
    warnings: &mut Vec<Fault>,
) -> Result<(), Faults> {
    let all: f64 = (0..net.len()).map(|i| net[i].distance(net[(i + 1) % net.len()])).sum();
    let doubtful: f64 = doubts.iter().map(|d| d.length).sum();
    let longest = doubts.iter().map(|d| d.length).fold(0.0, f64::max);
    if doubtful > REFUSED * all || longest > LONGEST {
        let mut faults = Faults::new();
        let mut worst: Vec<&Doubt> = doubts.iter().collect();
        worst.sort_by(|a, b| b.length.total_cmp(&a.length));
        for d in worst.into_iter().take(3) {
            faults.push(Fault::new(d.what(), d.remedy()).at("outline", d.at().x, d.at().y));
        }
        if blur > 1.5 {
            faults.push(Fault::new(
                format!("the photo is blurred: a sharp edge is {blur:.1} mm wide"),
                "hold still, focus on the template, use more light",
            ));
        }
        return faults.into_result(());
    }
    warnings.extend(
        doubts.iter().map(|d| Fault::new(d.what(), d.remedy()).at("outline", d.at().x, d.at().y)),
    );
    Ok(())
}

/// Takes the ink within so many mm of a ring away.
fn without(ink: &mut GrayImage, flat: &Flat, mask: &Mask, ring: &Ring, reach: f64) {
    let r = reach / flat.mm;
    for (i, &a) in ring.iter().enumerate() {
        let b = ring[(i + 1) % ring.len()];
        let steps = (a.distance(b) / (0.5 * reach)).ceil().max(1.0) as usize;
        for k in 0..=steps {
            let p = flat.pixel(a + (b - a) * (k as f64 / steps as f64))
                - point(f64::from(mask.x), f64::from(mask.y));
            for y in (p.y - r).floor().max(0.0) as u32
                ..=((p.y + r).ceil().max(0.0) as u32).min(ink.height() - 1)
            {
                for x in (p.x - r).floor().max(0.0) as u32
                    ..=((p.x + r).ceil().max(0.0) as u32).min(ink.width() - 1)
                {
                    if point(f64::from(x), f64::from(y)).distance(p) <= r {
                        ink.put_pixel(x, y, image::Luma([0]));
                    }
                }
            }
        }
    }
}

/// A warning for each gap that may be something else.
fn gaps_said(gaps: &[NarrowGap], letters: &[Letter], warnings: &mut Vec<Fault>) {
    for (gap, letter) in gaps.iter().zip(letters).filter(|(g, _)| g.open) {
        let l = &letter.letter;
        let remedy = format!(
            "look at the check picture; say what it is with --gap {l}=slit or --gap {l}=dart (all \
             of them: --gaps slit or --gaps dart), or cut darts wider and ink relief cuts thinner"
        );
        let what = format!(
            "{l}: a narrow gap of {:.0} mm in the edge may be a slit or the tip of a dart: taken \
             for a {}",
            gap.length,
            letter.kind.word()
        );
        warnings.push(Fault::new(what, remedy).at("gap", letter.at.x, letter.at.y));
    }
}

/// True of a line that is long enough to be a net line of its own.
fn closes(line: &[Point], net: &Ring) -> bool {
    let all: f64 = (0..net.len()).map(|i| net[i].distance(net[(i + 1) % net.len()])).sum();
    crate::geometry::path_length(line) > 0.35 * all
}

/// Names templates from left to right and their corners through all of them.
fn name_all(templates: &mut [Template], name: &str) {
    let left = |t: &Template| ring_bounds(&t.net).map_or(0.0, |b| b.min.x);
    templates.sort_by(|a, b| left(a).total_cmp(&left(b)));
    let several = templates.len() > 1;
    let named = named_corners(&templates.iter().map(|t| &t.net).collect::<Vec<_>>());
    for (i, (t, corners)) in templates.iter_mut().zip(named).enumerate() {
        t.name = if several { format!("{name}-{}", i + 1) } else { name.to_string() };
        t.corners = corners;
    }
}

/// What the cards leave open about the templates' size.
fn doubts(
    plane: &Plane,
    templates: &[Template],
    figures: &mut Figures,
    warnings: &mut Vec<Fault>,
) -> Result<(), Faults> {
    let Some(solution) = &plane.solution else { return Ok(()) };
    let mut largest: f64 = 0.0;
    for t in templates {
        let far = |x: f64, y: f64| {
            t.net.iter().copied().max_by(|a, b| (a.x * x + a.y * y).total_cmp(&(b.x * x + b.y * y)))
        };
        for (x, y) in [(1.0, 0.0), (0.0, 1.0), (1.0, 1.0), (1.0, -1.0)] {
            let (Some(a), Some(b)) = (far(x, y), far(-x, -y)) else { continue };
            largest = largest.max(a.distance(b));
            let pixel = |p: Point| {
                let sees = |(i, v): (usize, &View)| v.pixel(p).map(|q| (i, q));
                plane.views.iter().enumerate().filter_map(sees).next()
            };
            if let (Some(a), Some(b)) = (pixel(a), pixel(b)) {
                figures.uncertainty = figures
                    .uncertainty
                    .max(2.0 * solution.uncertainty(a, b).unwrap_or(f64::INFINITY));
            }
        }
    }
    let count = figures.cards.len();
    let remedy = if count < 4 {
        "lay another card on the other side of the template; if one lies there, show all six of its marks, sharp and larger"
    } else {
        "lay the cards nearer around it, or come closer"
    };
    let uncertain = || {
        let cards = counted(count, "card");
        format!(
            "with the {cards} found lengths across the template are only accurate to {:.1} mm",
            figures.uncertainty
        )
    };
    if figures.uncertainty > DOUBT.1 {
        return Err(Fault::new(uncertain(), remedy).into());
    }
    if figures.uncertainty > DOUBT.0 {
        warnings.push(Fault::new(uncertain(), remedy));
    }
    if largest > LARGE && count < 4 {
        let what = format!(
            "the template is {largest:.0} mm across and {} in the photo",
            counted(count, "card")
        );
        warnings.push(Fault::new(what, "lay four around anything over 400 mm"));
    }
    Ok(())
}

impl Tracing {
    fn corner(&self, name: &str) -> Result<(usize, Point), Fault> {
        let find = |(i, t): (usize, &Template)| {
            t.corners.iter().find(|c| c.name == name).map(|c| (i, c.at))
        };
        self.templates.iter().enumerate().find_map(find).ok_or_else(|| {
            let last =
                self.templates.iter().flat_map(|t| &t.corners).next_back().map_or("A", |c| &c.name);
            Fault::new(
                format!("there is no corner {name}"),
                format!("the check picture names them, A to {last}"),
            )
        })
    }

    fn pair(&self, between: &Between) -> Result<(usize, Point, Point), Fault> {
        let (a, b) = (self.corner(&between.from)?, self.corner(&between.to)?);
        if a.0 != b.0 {
            let what = format!("{} and {} are corners of two templates", between.from, between.to);
            return Err(Fault::new(what, "name two corners of the same"));
        }
        Ok((a.0, a.1, b.1))
    }

    fn give_edges(&mut self, requests: &[EdgeRequest]) -> Result<(), Faults> {
        let mut faults = Faults::new();
        for r in requests {
            match self.pair(&r.between) {
                Ok((i, a, b)) => {
                    let path = clockwise(&self.templates[i].net, a, b);
                    self.templates[i].edges.push((r.kind, path));
                }
                Err(fault) => faults.push(fault),
            }
        }
        faults.into_result(())
    }

    fn measure(&mut self, lengths: &[MeasuredLength], card_width: f64) -> Result<(), Faults> {
        let mut faults = Faults::new();
        for m in lengths {
            match self.pair(&m.between) {
                Ok((_, a, b)) => self.lengths.push((m.clone(), a.distance(b))),
                Err(fault) => faults.push(fault),
            }
        }
        faults.into_result(())?;
        let limit = |m: &MeasuredLength| (0.004 * m.length).max(1.5);
        let off: Vec<&(MeasuredLength, f64)> =
            self.lengths.iter().filter(|(m, l)| (l - m.length).abs() > limit(m)).collect();
        if off.is_empty() {
            return Ok(());
        }
        let ratios: Vec<f64> = self.lengths.iter().map(|(m, l)| l / m.length).collect();
        let (low, high) =
            ratios.iter().fold((f64::INFINITY, 0.0_f64), |a, r| (a.0.min(*r), a.1.max(*r)));
        let list: Vec<String> = off
            .iter()
            .map(|(m, l)| {
                format!(
                    "{}-{} is {l:.1} mm in the outline and {:.1} mm measured",
                    m.between.from, m.between.to, m.length
                )
            })
            .collect();
        let (what, remedy) = if ratios.len() > 1 && high - low < 0.004 {
            let ratio = (low + high) / 2.0;
            (
                format!(
                    "{}: the whole outline is {:.1} % off",
                    list.join("; "),
                    100.0 * (ratio - 1.0)
                ),
                format!(
                    "measure the printed card's frame: the lengths speak for --card-width {:.1}; if it measures otherwise, print the cards again",
                    card_width / ratio
                ),
            )
        } else {
            (
                list.join("; "),
                "if both are measured right, the skin is stretched or does not lie flat: tape it again, or slit it where it will not lie flat"
                    .to_string(),
            )
        };
        self.warnings.push(Fault::new(what, remedy));
        Ok(())
    }
}
