//! The whole way from photos to templates, and everything that may be wrong with a photo.

use super::belief::Sought;
use super::camera::View;
use super::corners::{Between, EdgeRequest, MeasuredLength, clockwise, named_corners};
use super::figures::Figures;
use super::flat::Flat;
use super::from_above::{FromAbove, Scale};
use super::networks::by_networks;
use super::options::Options;
use super::part::{Part, parts};
use super::plain;
use super::plane::Plane;
use super::template::Template;
use crate::fault::{Fault, Faults, Said};
use crate::geometry::{Point, point, ring_bounds, ring_contains};
use crate::run::{Phase, Run};
use crate::units::counted;
use image::RgbImage;
use std::path::PathBuf;
use std::sync::Arc;

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
    pub(super) flat: Arc<Flat>,
    pub(super) cards: Vec<Vec<Point>>,
}

/// Above this size a template wants four cards, mm.
const LARGE: f64 = 400.0;
/// Doubt about a length that is worth a warning, and that is refused, mm.
const DOUBT: (f64, f64) = (1.0, 2.0);

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
    let scale = Scale { card_width: options.card_width, rectangle: options.rectangle.clone() };
    trace_seen(&FromAbove::see(photos, &scale, run)?, options, run)
}

/// Traces templates in photos that were seen from above: of the options all but those about scale
/// count.
///
/// # Errors
/// As [`trace_in`].
pub fn trace_seen(
    seen: &FromAbove<'_>,
    options: &Options,
    run: &Run<'_>,
) -> Result<Tracing, Faults> {
    // How far the steps are, by what they take of the time.
    let step = |share: f64| {
        run.tell(Phase::Tracing, Some(share));
        run.check(Phase::Tracing)
    };
    step(0.3)?;
    let (mut figures, mut warnings) = (seen.figures.clone(), seen.warnings.clone());
    // Hints are about what the networks see.
    let mut plainly = Vec::new();
    let plain = match options.at.is_some() || options.around.is_some() {
        false => plain::templates(&seen.flat, &seen.greys(), &seen.plane, options, &mut plainly),
        true => Ok(None),
    };
    let networks = |figures: &mut Figures, warnings: &mut Vec<Fault>| {
        by_networks(seen, options, figures, warnings, &step)
    };
    let plain = match plain {
        Ok(Some((_, found))) if !believed(&found, seen)? => Ok(None),
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
        let what = said!("\"{}\" shows no arrow for the part's 0°", t.name);
        warnings.push(Fault::new(
            what,
            "ink one of at least 40 mm with a head, or give `arrow` in the job",
        ));
    }
    doubts(&seen.plane, &templates, &mut figures, &mut warnings)?;
    let mut tracing = Tracing {
        templates,
        figures,
        warnings,
        lengths: Vec::new(),
        flat: Arc::clone(&seen.flat),
        cards: seen.plane.cards.clone(),
    };
    tracing.give_edges(&options.edges)?;
    tracing.measure(&options.lengths, options.card_width)?;
    Ok(tracing)
}

/// False if the first network takes what was found for no skin of tape, and sees one elsewhere:
/// scissors are of one shade too.
fn believed(found: &[Template], seen: &FromAbove<'_>) -> Result<bool, Fault> {
    /// Of the looks at a skin on a plain board at least this share says so.
    const SKIN: f32 = 0.3;
    const LOOKS: f64 = 12.0;
    let (flat, belief) = (&*seen.flat, seen.belief()?);
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
    let likely = parts(flat, belief, Sought::Skin, &seen.plane.solid);
    Ok(!likely.iter().any(|p| p.is_likely() && elsewhere(p)))
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
        said!(
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
        let what = said!(
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
                said!("there is no corner {name}"),
                said!("the check picture names them, A to {last}"),
            )
        })
    }

    fn pair(&self, between: &Between) -> Result<(usize, Point, Point), Fault> {
        let (a, b) = (self.corner(&between.from)?, self.corner(&between.to)?);
        if a.0 != b.0 {
            let what = said!("{} and {} are corners of two templates", between.from, between.to);
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
        let list: Vec<Said> = off
            .iter()
            .map(|(m, l)| {
                said!(
                    "{}-{} is {l:.1} mm in the outline and {:.1} mm measured",
                    m.between.from,
                    m.between.to,
                    m.length
                )
            })
            .collect();
        let (what, remedy) = if ratios.len() > 1 && high - low < 0.004 {
            let ratio = (low + high) / 2.0;
            (
                said!(
                    "{}: the whole outline is {:.1} % off",
                    Said::listed(&list, "; "),
                    100.0 * (ratio - 1.0)
                ),
                said!(
                    "measure the printed card's frame: the lengths speak for --card-width {:.1}; if it measures otherwise, print the cards again",
                    card_width / ratio
                ),
            )
        } else {
            (
                Said::listed(&list, "; "),
                "if both are measured right, the skin is stretched or does not lie flat: tape it again, or slit it where it will not lie flat"
                    .into(),
            )
        };
        self.warnings.push(Fault::new(what, remedy));
        Ok(())
    }
}
