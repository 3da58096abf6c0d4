//! The whole way from photos to templates, and everything that may be wrong with a photo.

use super::camera::View;
use super::card;
use super::choice::{choose, nothing_found, too_alike};
use super::corners::{Between, EdgeRequest, MeasuredLength, clockwise, named_corners};
use super::flat::{Flat, flatten};
use super::grey::smoothed;
use super::ink::{Lines, ink_of, inside_net, lines};
use super::light::{Light, fit};
use super::patch::{DoubtfulGap, Gap, Mask, Patch};
use super::plane::{Plane, by_cards, by_rectangle, resolution};
use super::ring::{Along, rings, sharpened, simplified};
use super::template::Template;
use crate::fault::{Fault, Faults};
use crate::geometry::{Point, Ring, point, ring_area, ring_bounds, ring_contains};
use crate::outline::{Draft, Outline};
use crate::run::{Phase, Run};
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

/// Traces templates from one photo, or from several that show the same cards.
///
/// # Errors
/// Every reason why the photos cannot be trusted, with what to do.
pub fn trace(photos: &[(PathBuf, GrayImage)], options: &Options) -> Result<Tracing, Faults> {
    trace_in(photos, options, &Run::default())
}

/// The same as a part of a run that may be stopped.
///
/// # Errors
/// As [`trace`]; that it was stopped.
pub fn trace_in(
    photos: &[(PathBuf, GrayImage)],
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
    let plane = match &options.rectangle {
        Some(rectangle) => by_rectangle(photos, rectangle, &mut warnings)?,
        None => by_cards(photos, options, &mut figures, &mut warnings)?,
    };
    step(0.2)?;
    let images: Vec<GrayImage> = photos.iter().map(|(_, image)| image.clone()).collect();
    let flat = flatten(&images, &plane.views, &plane.cards)
        .ok_or_else(|| Fault::new("the photo shows nothing of the plane", "take it again"))?;
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
    step(0.5)?;
    let smooth = Flat { grey: smoothed(&flat.grey), ..flat.clone() };
    let covered = |p: Point| plane.solid.iter().any(|card| ring_contains(card, p));
    let light = fit(&smooth, &covered).map_err(too_alike)?;
    step(0.7)?;
    let (lighter, found) = choose(&smooth, &light, &plane, options.gaps)?;
    figures.lighter = lighter;
    let mut faults = Faults::new();
    if found.found.is_empty() {
        return Err(nothing_found(&found).into());
    }
    for (at, area) in &found.cut_off {
        // The floor beyond a board reaches the frame as well: only what is as large as a template
        // and of its shade is worth a word.
        let what = format!(
            "something of the template's shade, {:.0} cm², is cut off by the frame of the photo",
            area / 100.0
        );
        warnings
            .push(Fault::new(what, "if it is a template, show all of it").at("photo", at.x, at.y));
    }
    for (at, area) in &found.at_card {
        if *area > 1.5 * card::WIDTH * card::HEIGHT {
            let what = format!(
                "something of the template's shade, {:.0} cm², touches a card and was left out",
                area / 100.0
            );
            warnings.push(
                Fault::new(what, "if it is a template, lay the card clear of it")
                    .at("photo", at.x, at.y),
            );
        }
    }
    let noticeable = found.small.iter().filter(|s| s.1 > 400.0).count();
    if noticeable > 0 {
        let what = format!(
            "{} of less than 20 cm² left out",
            counted(noticeable, "patch").replace("patchs", "patches")
        );
        warnings.push(Fault::new(what, "if one is a template, come closer and trace it by itself"));
    }
    let mut templates = Vec::new();
    for patch in &found.found {
        step(0.9)?;
        if let Some(t) =
            faults.keep(template(&flat, &smooth, &light, patch, lighter, options, &mut warnings))
        {
            templates.push(t);
        }
    }
    faults.into_result(())?;
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
    tracing.measure(&options.lengths)?;
    Ok(tracing)
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
        return Err(Fault::new(
            "a patch has no clear edge",
            "take the photo again, sharper and with more light",
        )
        .into());
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
fn gaps_hold(
    gaps: &[DoubtfulGap],
    flat: &Flat,
    mask: &Mask,
    warnings: &mut Vec<Fault>,
) -> Result<(), Faults> {
    let mut faults = Faults::new();
    for gap in gaps {
        let at = flat.plane(gap.at + point(f64::from(mask.x), f64::from(mask.y)));
        let what = |taken: &str| {
            format!(
                "a narrow gap of {:.0} mm in the edge may be a slit or the tip of a dart{taken}",
                gap.length
            )
        };
        let remedy = "look at the check picture; say what it is with --gaps slit or --gaps dart, or cut darts wider and ink relief cuts thinner";
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
    let Some(solution) = &plane.solution else {
        return Ok(());
    };
    let mut largest: f64 = 0.0;
    for t in templates {
        let far = |x: f64, y: f64| {
            t.net.iter().copied().max_by(|a, b| (a.x * x + a.y * y).total_cmp(&(b.x * x + b.y * y)))
        };
        for (x, y) in [(1.0, 0.0), (0.0, 1.0), (1.0, 1.0), (1.0, -1.0)] {
            let (Some(a), Some(b)) = (far(x, y), far(-x, -y)) else {
                continue;
            };
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
            (
                format!(
                    "{}: the whole outline is {:.1} % off",
                    list.join("; "),
                    100.0 * ((low + high) / 2.0 - 1.0)
                ),
                "measure the printed card's frame and give --card-width",
            )
        } else {
            (
                list.join("; "),
                "if both are measured right, the skin is stretched or does not lie flat: tape it again, or slit it where it will not lie flat",
            )
        };
        self.warnings.push(Fault::new(what, remedy));
        Ok(())
    }
}
