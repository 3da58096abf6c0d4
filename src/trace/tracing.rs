//! The whole way from photos to templates, and everything that may be wrong with a photo.

use super::camera::View;
use super::card;
use super::cards::{Found, FoundCard, find_cards, homography};
use super::corners::{Between, Corner, EdgeRequest, MeasuredLength, clockwise, corners, name_of};
use super::flat::{Flat, flatten};
use super::grey::smoothed;
use super::ink::{Lines, ink_of, inside_net, lines};
use super::light::{Light, TooAlike, fit};
use super::marks::find_marks;
use super::patch::{DoubtfulGap, Gap, Mask, Patch, Patches, patches};
use super::ring::{Along, rings, sharpened, simplified};
use super::solve::{NoSolution, Sighting, Solution, solve};
use super::template::Template;
use crate::fault::{Fault, Faults};
use crate::geometry::{Point, Ring, point, ring_area, ring_bounds, ring_contains};
use crate::outline::{Draft, Outline};
use crate::units::counted;
use image::GrayImage;
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
    /// Pixels (from the upper left corner, y down) of the upper left, upper right, lower right and lower left corner.
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
/// Resolution that is worth a warning, and that is refused, mm a pixel.
const COARSE: (f64, f64) = (0.6, 1.3);
/// Width of a sharp edge that is worth a warning, and that is refused, mm.
const BLURRED: (f64, f64) = (2.0, 4.5);
/// Tilt that is worth a warning, and that is refused, degrees.
const TILTED: (f64, f64) = (40.0, 60.0);
/// Error of the marks that says that cards do not lie flat, mm.
const UNEVEN: (f64, f64) = (0.35, 1.0);

/// Traces templates from one photo, or from several that show the same cards.
///
/// # Errors
/// Every reason why the photos cannot be trusted, with what to do.
pub fn trace(photos: &[(PathBuf, GrayImage)], options: &Options) -> Result<Tracing, Faults> {
    let mut warnings = Vec::new();
    let mut figures = Figures::default();
    let plane = match &options.rectangle {
        Some(rectangle) => by_rectangle(photos, rectangle, &mut warnings)?,
        None => by_cards(photos, options, &mut figures, &mut warnings)?,
    };
    let images: Vec<GrayImage> = photos.iter().map(|(_, image)| image.clone()).collect();
    let flat =
        flatten(&images, &plane.views, &plane.cards).ok_or_else(|| Fault::new("the photo shows nothing of the plane", "take it again"))?;
    figures.resolution = resolution(&plane, &flat);
    if figures.resolution > COARSE.1 {
        let what = format!("a pixel of the photo spans {:.2} mm of the template", figures.resolution);
        return Err(Fault::new(what, "come closer, or take several photos that share cards").into());
    }
    if figures.resolution > COARSE.0 {
        let what = format!("a pixel of the photo spans {:.2} mm of the template", figures.resolution);
        warnings.push(Fault::new(what, "for edges right to the millimetre come closer: 0.35 mm a pixel is good"));
    }
    let smooth = Flat { grey: smoothed(&flat.grey), ..flat.clone() };
    let covered = |p: Point| plane.solid.iter().any(|card| ring_contains(card, p));
    let light = fit(&smooth, &covered).map_err(too_alike)?;
    let (lighter, found) = choose(&smooth, &light, &plane, options.gaps)?;
    figures.lighter = lighter;
    let mut faults = Faults::new();
    if found.found.is_empty() {
        return Err(nothing_found(&found).into());
    }
    for (at, area) in &found.cut_off {
        // The floor beyond a board reaches the frame as well: only what is as large as a template and of its shade is worth a word.
        let what = format!("something of the template's shade, {:.0} cm², is cut off by the frame of the photo", area / 100.0);
        warnings.push(Fault::new(what, "if it is a template, show all of it").at("photo", at.x, at.y));
    }
    for (at, area) in &found.at_card {
        if *area > 1.5 * card::WIDTH * card::HEIGHT {
            let what = format!("something of the template's shade, {:.0} cm², touches a card and was left out", area / 100.0);
            warnings.push(Fault::new(what, "if it is a template, lay the card clear of it").at("photo", at.x, at.y));
        }
    }
    let noticeable = found.small.iter().filter(|s| s.1 > 400.0).count();
    if noticeable > 0 {
        let what = format!("{} of less than 20 cm² left out", counted(noticeable, "patch").replace("patchs", "patches"));
        warnings.push(Fault::new(what, "if one is a template, come closer and trace it by itself"));
    }
    let mut templates = Vec::new();
    for patch in &found.found {
        if let Some(t) = faults.keep(template(&flat, &smooth, &light, patch, lighter, options, &mut warnings)) {
            templates.push(t);
        }
    }
    faults.into_result(())?;
    name_all(&mut templates, &options.name);
    for t in templates.iter().filter(|t| t.arrow.is_none()) {
        let what = format!("\"{}\" shows no arrow for the part's 0°", t.name);
        warnings.push(Fault::new(what, "ink one of at least 40 mm with a head, or give `arrow` in the job"));
    }
    doubts(&plane, &templates, &mut figures, &mut warnings)?;
    let mut tracing = Tracing { templates, figures, warnings, lengths: Vec::new(), flat, cards: plane.cards };
    tracing.give_edges(&options.edges)?;
    tracing.measure(&options.lengths)?;
    Ok(tracing)
}

/// The plane and who sees it.
struct Plane {
    views: Vec<View>,
    /// Frames of the cards, mm.
    cards: Vec<Vec<Point>>,
    /// The same, grown a little: what is no template.
    solid: Vec<Vec<Point>>,
    solution: Option<Solution>,
}

fn by_rectangle(photos: &[(PathBuf, GrayImage)], r: &KnownRectangle, warnings: &mut Vec<Fault>) -> Result<Plane, Faults> {
    let [(file, photo)] = photos else {
        return Err(Fault::new("a known rectangle tells of one photo only", "trace one photo, or lay cards to join several").into());
    };
    let (w, h) = (r.width, r.height);
    let corners = [point(0.0, h), point(w, h), point(w, 0.0), point(0.0, 0.0)];
    let (width, height) = photo.dimensions();
    let fault = |what: &str| {
        Faults::from(Fault::new(what, "name the corners as they are seen: upper left, upper right, lower right, lower left").in_file(file))
    };
    let p = &r.pixels;
    // y runs down: clockwise as seen is a positive turn at every corner.
    let turns = (0..4).map(|i| (p[(i + 1) % 4] - p[i]).cross(p[(i + 2) % 4] - p[(i + 1) % 4]));
    if turns.into_iter().any(|t| t <= 0.0) {
        return Err(fault("the four points are no rectangle seen from above"));
    }
    if p.iter().any(|p| p.x < 0.0 || p.y < 0.0 || p.x > f64::from(width) || p.y > f64::from(height)) {
        return Err(fault("one of the four points lies outside of the photo"));
    }
    let seen: Vec<Point> = p.iter().map(|&p| View::normalised(width, height, p)).collect();
    let view = homography(&corners, &seen)
        .and_then(|m| View::new(width, height, m, 0.0))
        .ok_or_else(|| fault("the four points are no rectangle"))?;
    warnings.push(Fault::new(
        "four points tell nothing of the lens: its distortion stays in, up to 1 % towards the edges of the photo",
        "measure two lengths on the template and compare with --check, or lay scale cards",
    ));
    let frame = vec![corners[3], corners[2], corners[1], corners[0]];
    Ok(Plane { views: vec![view], cards: vec![frame], solid: Vec::new(), solution: None })
}

fn by_cards(photos: &[(PathBuf, GrayImage)], options: &Options, figures: &mut Figures, warnings: &mut Vec<Fault>) -> Result<Plane, Faults> {
    let mut faults = Faults::new();
    let mut sightings: Vec<Sighting> = Vec::new();
    let mut cards: Vec<usize> = Vec::new();
    let mut edges = Vec::new();
    let mut loose: Vec<(usize, Point)> = Vec::new();
    for (file, photo) in photos {
        let smooth = smoothed(photo);
        let found = find_cards(&find_marks(photo, &smooth));
        if let Err(fault) = cards_hold(&found, photo) {
            faults.push(fault.in_file(file));
            continue;
        }
        if found.loose.len() >= 2 {
            let what =
                format!("{} of a card that is not whole: partly hidden, cut off, too small or blurred", counted(found.loose.len(), "mark"));
            warnings.push(Fault::new(what, "if a card is missing among those found, show all six of its marks").in_file(file));
        }
        loose.extend(found.loose.iter().map(|m| (sightings.len(), m.centre)));
        let faint = found.cards.iter().flat_map(|c| &c.marks).map(|m| m.contrast).fold(f64::INFINITY, f64::min);
        if faint < 35.0 {
            warnings.push(
                Fault::new("a card is badly lit: its ink is hardly darker than its paper", "take the photo with more light").in_file(file),
            );
        }
        edges.extend(found.cards.iter().flat_map(|c| &c.marks).map(|m| {
            // The metric's size is mm a pixel.
            m.edge * m.metric.determinant().abs().sqrt()
        }));
        let mut list: Vec<(usize, FoundCard)> = Vec::new();
        for found in found.cards {
            // In one photo every card is its own; the same number again in another photo is the same card.
            let known = cards.iter().position(|n| *n == found.number).filter(|_| photos.len() > 1);
            if known.is_some_and(|k| list.iter().any(|(c, _)| *c == k)) {
                let what = format!("card {} lies in the photo twice", found.number);
                faults.push(Fault::new(what, "to join photos give every card a number of its own: `trace card --cards 8`").in_file(file));
                continue;
            }
            let place = known.unwrap_or_else(|| {
                cards.push(found.number);
                cards.len() - 1
            });
            list.push((place, found));
        }
        sightings.push(Sighting { width: photo.width(), height: photo.height(), cards: list });
    }
    faults.into_result(())?;
    let scale = options.card_width / card::WIDTH;
    let solution = solve(sightings, cards.len(), scale).map_err(|why| {
        let fault = match why {
            NoSolution::Apart(photo) => Fault::new(
                "the photo shares no card with the others",
                "leave the cards where they are and show at least two in both photos",
            )
            .in_file(&photos[photo].0),
            NoSolution::Unsettled => Fault::new("the cards do not fit together", "lay them flat and still, and take the photo again"),
        };
        Faults::from(fault)
    })?;
    cards_agree(&solution, &cards)?;
    edges.sort_by(f64::total_cmp);
    figures.blur = edges.get(edges.len() / 2).copied().unwrap_or(0.0) * scale;
    let at_middle = |v: &View| v.mm_a_pixel(solution.poses[0].shift).unwrap_or(1.0) * scale;
    figures.error = solution.error * at_middle(&solution.views[0]);
    figures.cards = cards;
    figures.distortion = solution.views.iter().map(View::k1).collect();
    // A lens of the usual width of a telephone's, where the photo itself does not tell (common practice, no source).
    figures.tilt = solution.views.iter().map(|v| v.tilt(v.focal().unwrap_or(1.2))).collect();
    quality_holds(figures, &solution, warnings)?;
    let angle = upright(&solution.views[0], solution.poses[0].shift);
    let moved: Option<Vec<View>> = solution.views.iter().map(|v| v.moved(scale, angle, point(0.0, 0.0))).collect();
    let views = moved.ok_or_else(|| Fault::new("the cards do not fit together", "take the photo again"))?;
    let place = |p: Point| {
        let (s, c) = (libm::sin(angle), libm::cos(angle));
        point(c * p.x - s * p.y, s * p.x + c * p.y) * scale
    };
    let outline = |grow: f64| -> Vec<Vec<Point>> {
        let frame = card::frame();
        let grown: Vec<Point> = frame.iter().map(|p| point(p.x + grow * p.x.signum(), p.y + grow * p.y.signum())).collect();
        solution.poses.iter().map(|pose| grown.iter().map(|&p| place(pose.place(p))).collect()).collect()
    };
    // A card that is not whole is no template either.
    let mut solid = outline(3.0);
    let r = card::MARK_RADIUS * scale;
    let squares = loose.iter().filter_map(|&(photo, pixel)| views[photo].plane(pixel));
    solid.extend(squares.map(|p| vec![p + point(-r, -r), p + point(r, -r), p + point(r, r), p + point(-r, r)]));
    Ok(Plane { views, cards: outline(0.0), solid, solution: Some(solution) })
}

/// The turn that makes the photo's own right the plane's +x.
fn upright(view: &View, at: Point) -> f64 {
    let Some(pixel) = view.pixel(at) else { return 0.0 };
    match (view.plane(pixel - point(20.0, 0.0)), view.plane(pixel + point(20.0, 0.0))) {
        (Some(a), Some(b)) => -libm::atan2(b.y - a.y, b.x - a.x),
        _ => 0.0,
    }
}

fn cards_hold(found: &Found, photo: &GrayImage) -> Result<(), Fault> {
    if found.mirrored > 0 {
        let what = format!("{} mirrored: the photo was flipped", if found.mirrored == 1 { "a card is" } else { "cards are" });
        return Err(Fault::new(what, "use the photo as the camera took it; selfie cameras flip theirs"));
    }
    if found.cards.is_empty() {
        let mean = photo.iter().map(|v| u64::from(*v)).sum::<u64>() / (photo.len() as u64).max(1);
        if mean < 25 {
            return Err(Fault::new("the photo is too dark to find a card in it", "take it again with more light"));
        }
        if found.loose.len() >= 3 {
            let what = format!("no whole card is in the photo, but {}", counted(found.loose.len(), "mark"));
            return Err(Fault::new(what, "show all six marks of every card, sharp and not from too far"));
        }
        return Err(Fault::new(
            "no scale card was found in the photo",
            "print cards with `warpwise trace card` and lay them beside the template; without any, see --points and --rectangle",
        ));
    }
    Ok(())
}

/// Cards printed at different sizes, or bent, give themselves away.
fn cards_agree(solution: &Solution, numbers: &[usize]) -> Result<(), Faults> {
    let mut faults = Faults::new();
    for (i, (size, spread)) in solution.scales.iter().enumerate().skip(1) {
        let off = (size - 1.0).abs();
        if off > 0.008 && off > 5.0 * spread {
            faults.push(Fault::new(
                format!(
                    "card {} is {:.1} % {} than card {}",
                    numbers[i],
                    100.0 * off,
                    if *size > 1.0 { "larger" } else { "smaller" },
                    numbers[0]
                ),
                "print all cards at the same scale, best in one go",
            ));
        }
    }
    faults.into_result(())
}

fn quality_holds(figures: &Figures, solution: &Solution, warnings: &mut Vec<Fault>) -> Result<(), Faults> {
    let mut faults = Faults::new();
    let mut hold = |value: f64, limits: (f64, f64), what: String, remedy: &str| {
        if value > limits.1 {
            faults.push(Fault::new(what, remedy));
        } else if value > limits.0 {
            warnings.push(Fault::new(what, remedy));
        }
    };
    let tilt = figures.tilt.iter().copied().fold(0.0, f64::max);
    hold(tilt, TILTED, format!("the camera was tilted by about {tilt:.0}°"), "hold it more squarely over the template");
    hold(
        figures.blur,
        BLURRED,
        format!("the photo is blurred: a sharp edge is {:.1} mm wide", figures.blur),
        "hold still, focus on the template, use more light",
    );
    let worst = solution.worst;
    let what = format!(
        "the marks of the cards are {:.2} mm off where they should be, most at card {}",
        figures.error,
        figures.cards.get(worst.1).copied().unwrap_or(0)
    );
    hold(figures.error, UNEVEN, what, "press the cards flat, on the same board as the template, and leave them still");
    faults.into_result(())
}

/// mm a pixel about the middle of all that the cards span.
fn resolution(plane: &Plane, flat: &Flat) -> f64 {
    let middle = ring_bounds(&plane.cards.concat()).map_or(flat.corner, |b| b.centre());
    let by = |v: &View| v.pixel(middle).and(v.mm_a_pixel(middle));
    plane.views.iter().filter_map(by).fold(f64::INFINITY, f64::min)
}

fn too_alike(why: TooAlike) -> Faults {
    let fault = match why {
        TooAlike::Empty => Fault::new("there is nothing beside the cards to be seen", "show the whole template and some ground around it"),
        TooAlike::Levels(ratio, apart) => Fault::new(
            format!(
                "template and ground are too alike: one is {ratio:.2} times as light as the other, {apart:.1} times what each varies by itself"
            ),
            "lay a light template on a plain dark board or a dark one on plain paper, in even light without shine",
        ),
    };
    fault.into()
}

/// The patches lighter than their ground or those darker: whichever can be templates.
fn choose(flat: &Flat, light: &Light, plane: &Plane, gaps: Option<Gap>) -> Result<(bool, Patches), Faults> {
    let binary = light.lighter(&flat.grey);
    let bounds: Vec<_> = plane.solid.iter().map(|c| ring_bounds(c)).collect();
    let usable = |x: u32, y: u32| {
        if flat.seen.get_pixel(x, y)[0] == 0 {
            return false;
        }
        let p = flat.plane(point(f64::from(x), f64::from(y)));
        !plane.solid.iter().zip(&bounds).any(|(card, b)| {
            b.is_some_and(|b| p.x >= b.min.x && p.x <= b.max.x && p.y >= b.min.y && p.y <= b.max.y) && ring_contains(card, p)
        })
    };
    let (w, h) = binary.dimensions();
    let mut usable_image = GrayImage::new(w, h);
    {
        use rayon::prelude::*;
        usable_image.par_chunks_mut(w as usize).enumerate().for_each(|(y, row)| {
            for (x, v) in row.iter_mut().enumerate() {
                *v = if x > 0 && y > 0 && x + 1 < w as usize && y + 1 < h as usize && usable(x as u32, y as u32) { 255 } else { 0 };
            }
        });
    }
    let of = |lighter: bool| {
        let mut image = usable_image.clone();
        for (out, b) in image.iter_mut().zip(binary.iter()) {
            if (*b > 0) != lighter {
                *out = 0;
            }
        }
        patches(flat, light, &image, lighter, &plane.solid, gaps)
    };
    let (light_ones, dark_ones) = rayon::join(|| of(true), || of(false));
    let area = |p: &Patches| p.found.iter().map(|p| p.area).sum::<f64>();
    let (a, b) = (area(&light_ones), area(&dark_ones));
    if a.min(b) > 0.3 * a.max(b) {
        return Err(Fault::new(
            "it cannot be told what is template and what is ground: there are light patches on dark and dark patches on light",
            "lay the template on one plain ground that reaches all round it and the cards",
        )
        .into());
    }
    Ok(if a >= b && !light_ones.found.is_empty() || dark_ones.found.is_empty() && light_ones.cut_off.len() + light_ones.at_card.len() > 0 {
        (true, light_ones)
    } else {
        (false, dark_ones)
    })
}

fn nothing_found(found: &Patches) -> Fault {
    let large = |list: &[(Point, f64)]| list.iter().map(|c| c.1).fold(0.0, f64::max);
    let (cut, at_card) = (large(&found.cut_off), large(&found.at_card));
    if at_card > 1.5 * card::WIDTH * card::HEIGHT && at_card > 0.2 * cut {
        return Fault::new(
            "the template touches a card, or the paper around one",
            "lay the card clear of the template, or cut its paper off at the frame",
        );
    }
    if cut > 0.0 {
        return Fault::new("the template is cut off by the frame of the photo", "show all of it, with some ground around");
    }
    Fault::new("no template was found in the photo", "lay it beside the cards, on a plain ground that is much darker or lighter")
}

/// One template from its patch.
fn template(
    flat: &Flat,
    smooth: &Flat,
    light: &Light,
    patch: &Patch,
    lighter: bool,
    options: &Options,
    warnings: &mut Vec<Fault>,
) -> Result<Template, Faults> {
    let (ink, darker) = ink_of(smooth, light, patch, lighter);
    let (outer, holes) = match options.net {
        NetLine::Edge => {
            gaps_hold(&patch.gaps, flat, &patch.mask, warnings)?;
            rings(flat, light, &patch.mask, Along::Edge { lighter })
        }
        NetLine::Ink => {
            let Some((mask, gaps)) = inside_net(smooth, patch, &ink, options.gaps) else {
                return Err(Fault::new(
                    "no closed inked line runs round inside the skin",
                    "ink the net line without gaps, or say that it is the skin's edge: --net edge",
                )
                .into());
            };
            gaps_hold(&gaps, flat, &mask, warnings)?;
            rings(flat, light, &mask, Along::Ink { darker })
        }
    };
    let Some(outer) = outer.filter(|r| r.len() > 8) else {
        return Err(Fault::new("a patch has no clear edge", "take the photo again, sharper and with more light").into());
    };
    let fewer = |ring: &Ring| {
        let mut ring = simplified(&sharpened(ring), options.tolerance);
        if ring_area(&ring) < 0.0 {
            ring.reverse();
        }
        ring
    };
    let net = fewer(&outer);
    let holes: Vec<Ring> = holes.iter().map(fewer).filter(|h| ring_area(h) > 30.0).collect();
    let Lines { arrows, cuts, marks } = lines(smooth, patch, &ink, &net, &holes);
    if let [a, b, ..] = arrows[..] {
        return Err(Fault::new(
            format!("there are {} arrows on one template", arrows.len()),
            format!("keep one; they are at ({:.0}, {:.0}) and ({:.0}, {:.0}) mm", a[0].x, a[0].y, b[0].x, b[0].y),
        )
        .into());
    }
    // The same checks as a drawing read from a file.
    let outline = Outline::new(Draft { net: net.clone(), holes: holes.clone(), ..Draft::default() })?;
    if let NetLine::Edge = options.net
        && let Some(line) = marks.iter().find(|m| closes(m, &net))
    {
        warnings.push(
            Fault::new("a closed line is inked near the edge of the skin", "if it is the net line, say so: --net ink")
                .at("line", line[0].x, line[0].y),
        );
    }
    Ok(Template {
        net: outline.net().clone(),
        holes: outline.holes().to_vec(),
        arrow: arrows.first().copied(),
        cuts,
        marks,
        ..Template::default()
    })
}

/// Gaps that may be slits or darts: a warning where their shape speaks for one, else a refusal.
fn gaps_hold(gaps: &[DoubtfulGap], flat: &Flat, mask: &Mask, warnings: &mut Vec<Fault>) -> Result<(), Faults> {
    let mut faults = Faults::new();
    for gap in gaps {
        let at = flat.plane(gap.at + point(f64::from(mask.x), f64::from(mask.y)));
        let what = |taken: &str| format!("a narrow gap of {:.0} mm in the edge may be a slit or the tip of a dart{taken}", gap.length);
        let remedy =
            "look at the check picture; say what it is with --gaps slit or --gaps dart, or cut darts wider and ink relief cuts thinner";
        match gap.likely {
            Some(Gap::Slit) => warnings.push(Fault::new(what(": taken for a slit"), remedy).at("gap", at.x, at.y)),
            Some(Gap::Dart) => warnings.push(Fault::new(what(": taken for a dart"), remedy).at("gap", at.x, at.y)),
            None => faults.push(
                Fault::new(what(""), "say what it is with --gaps slit or --gaps dart, or cut darts wider and ink relief cuts thinner")
                    .at("gap", at.x, at.y),
            ),
        }
    }
    faults.into_result(())
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
    let mut count = 0;
    for (i, t) in templates.iter_mut().enumerate() {
        t.name = if several { format!("{name}-{}", i + 1) } else { name.to_string() };
        for at in corners(&t.net) {
            t.corners.push(Corner { name: name_of(count), at });
            count += 1;
        }
    }
}

/// What the cards leave open about the templates' size.
fn doubts(plane: &Plane, templates: &[Template], figures: &mut Figures, warnings: &mut Vec<Fault>) -> Result<(), Faults> {
    let Some(solution) = &plane.solution else { return Ok(()) };
    let mut largest: f64 = 0.0;
    for t in templates {
        let far = |x: f64, y: f64| t.net.iter().copied().max_by(|a, b| (a.x * x + a.y * y).total_cmp(&(b.x * x + b.y * y)));
        for (x, y) in [(1.0, 0.0), (0.0, 1.0), (1.0, 1.0), (1.0, -1.0)] {
            let (Some(a), Some(b)) = (far(x, y), far(-x, -y)) else { continue };
            largest = largest.max(a.distance(b));
            let pixel = |p: Point| {
                let sees = |(i, v): (usize, &View)| v.pixel(p).map(|q| (i, q));
                plane.views.iter().enumerate().filter_map(sees).next()
            };
            if let (Some(a), Some(b)) = (pixel(a), pixel(b)) {
                figures.uncertainty = figures.uncertainty.max(2.0 * solution.uncertainty(a, b).unwrap_or(f64::INFINITY));
            }
        }
    }
    let count = figures.cards.len();
    let remedy =
        if count < 4 { "lay another card on the other side of the template" } else { "lay the cards nearer around it, or come closer" };
    if figures.uncertainty > DOUBT.1 {
        let what = format!("lengths across the template are only certain to {:.1} mm", figures.uncertainty);
        return Err(Fault::new(what, remedy).into());
    }
    if figures.uncertainty > DOUBT.0 {
        let what = format!("lengths across the template are only certain to {:.1} mm", figures.uncertainty);
        warnings.push(Fault::new(what, remedy));
    }
    if largest > LARGE && count < 4 {
        let what = format!("the template is {largest:.0} mm across and {} in the photo", counted(count, "card"));
        warnings.push(Fault::new(what, "lay four around anything over 400 mm"));
    }
    Ok(())
}

impl Tracing {
    fn corner(&self, name: &str) -> Result<(usize, Point), Fault> {
        let find = |(i, t): (usize, &Template)| t.corners.iter().find(|c| c.name == name).map(|c| (i, c.at));
        self.templates.iter().enumerate().find_map(find).ok_or_else(|| {
            let last = self.templates.iter().flat_map(|t| &t.corners).next_back().map_or("A", |c| &c.name);
            Fault::new(format!("there is no corner {name}"), format!("the check picture names them, A to {last}"))
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

    fn measure(&mut self, lengths: &[MeasuredLength]) -> Result<(), Faults> {
        let mut faults = Faults::new();
        for m in lengths {
            match self.pair(&m.between) {
                Ok((_, a, b)) => self.lengths.push((m.clone(), a.distance(b))),
                Err(fault) => faults.push(fault),
            }
        }
        faults.into_result(())?;
        let limit = |m: &MeasuredLength| (0.004 * m.length).max(1.5);
        let off: Vec<&(MeasuredLength, f64)> = self.lengths.iter().filter(|(m, l)| (l - m.length).abs() > limit(m)).collect();
        if off.is_empty() {
            return Ok(());
        }
        let ratios: Vec<f64> = self.lengths.iter().map(|(m, l)| l / m.length).collect();
        let (low, high) = ratios.iter().fold((f64::INFINITY, 0.0_f64), |a, r| (a.0.min(*r), a.1.max(*r)));
        let list: Vec<String> = off
            .iter()
            .map(|(m, l)| format!("{}-{} is {l:.1} mm in the outline and {:.1} mm measured", m.between.from, m.between.to, m.length))
            .collect();
        let (what, remedy) = if ratios.len() > 1 && high - low < 0.004 {
            (
                format!("{}: the whole outline is {:.1} % off", list.join("; "), 100.0 * ((low + high) / 2.0 - 1.0)),
                "measure the printed card's frame and give --card-width",
            )
        } else {
            (
                list.join("; "),
                "if both are measured right, the skin is stretched or does not lie flat: tape it anew, or slit it where it will not lie",
            )
        };
        self.warnings.push(Fault::new(what, remedy));
        Ok(())
    }
}
