//! Skins of one shade on a plain board: two levels of grey under one smooth light tell the two
//! apart, and are measured better than a network sees.

mod choice;
mod flat;
mod ink;
mod light;
mod patch;
mod ring;

use super::answers::{Kind, Letters};
use super::bump::without_bumps;
use super::card;
use super::doubt::Doubt;
use super::flat::Flat as Seen;
use super::gap::Gap;
use super::grey::{grey_of, smoothed};
use super::mask::Mask;
use super::options::{NetLine, Options};
use super::plane::Plane;
use super::ring::{sharpened, simplified};
use super::template::{Template, no_more_than_one};
use crate::fault::{Fault, Faults};
use crate::geometry::{Point, Ring, point, ring_area, ring_bounds, ring_contains};
use crate::outline::{Draft, Outline};
use crate::units::counted;
use choice::choose;
use flat::{Flat, flatten};
use image::GrayImage;
use ink::{Lines, ink_of, inside_net, lines};
use light::{Light, fit};
use patch::{DoubtfulGap, Patch};
use ring::{Along, rings};

/// Width below which a corner of a skin may be closed by blur, mm.
const CLOSED: f64 = 2.2;

/// From this distance of two levels on (in spreads), ground and skin are plain: rendered boards
/// of one shade have 70 and more. A skin of tape, with its overlaps, has less and is not plain.
const PLAIN: f64 = 60.0;
/// The same before the grain is taken off, in a coarser picture: what has less is not looked at.
const ROUGHLY: f64 = 20.0;

/// The templates, and whether they are lighter than their ground; `None` where the picture is not
/// plain.
///
/// # Errors
/// What is wrong with a template.
pub(super) fn templates(
    seen: &Seen,
    greys: &[GrayImage],
    plane: &Plane,
    options: &Options,
    warnings: &mut Vec<Fault>,
) -> Result<Option<(bool, Vec<Template>)>, Faults> {
    let covered = |p: Point| plane.solid.iter().any(|card| ring_contains(card, p));
    let (w, h) = seen.seen.dimensions();
    let grey =
        GrayImage::from_fn(w, h, |x, y| image::Luma([grey_of(seen.colour.get_pixel(x, y).0)]));
    let rough = Flat { grey, seen: seen.seen.clone(), mm: seen.mm, corner: seen.corner };
    if !fit(&rough, &covered).is_ok_and(|light| light.apart >= ROUGHLY) {
        return Ok(None);
    }
    drop(rough);
    let Some(flat) = flatten(greys, &plane.views, &plane.cards) else { return Ok(None) };
    let smooth = Flat { grey: smoothed(&flat.grey), ..flat.clone() };
    let Some(light) = fit(&smooth, &covered).ok().filter(|light| light.apart >= PLAIN) else {
        return Ok(None);
    };
    let Ok((lighter, found)) = choose(&smooth, &light, plane, options.gaps) else {
        return Ok(None);
    };
    if found.found.is_empty() {
        return Ok(None);
    }
    for (at, area) in &found.cut_off {
        // The floor beyond a board reaches the frame as well: only what is as large as a template
        // and of its shade is worth a word.
        let what = said!(
            "something of the template's shade, {:.0} cm², is cut off by the frame of the photo",
            area / 100.0
        );
        warnings
            .push(Fault::new(what, "if it is a template, show all of it").at("photo", at.x, at.y));
    }
    for (at, area) in &found.at_card {
        if *area > 1.5 * card::WIDTH * card::HEIGHT {
            let what = said!(
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
        let what = said!(
            "{} of less than 20 cm² left out",
            counted(noticeable, "patch").replace("patchs", "patches")
        );
        warnings.push(Fault::new(what, "if one is a template, come closer and trace it by itself"));
    }
    let mut faults = Faults::new();
    let mut templates = Vec::new();
    let mut letters = Letters::new(&options.answers);
    for patch in &found.found {
        let traced = template(&flat, &smooth, &light, patch, lighter, options, warnings);
        let Some(mut template) = faults.keep(traced) else { continue };
        let middle = ring_bounds(&template.net).map_or(Point::default(), |b| b.centre());
        let letter = letters.give(Kind::Template, middle);
        if !letters.is_not(&letter.letter) {
            template.letters.push(letter);
            templates.push(template);
        }
    }
    faults.keep(letters.unanswered());
    if templates.is_empty() && faults.0.is_empty() {
        let what = "every template in the photo was left out";
        faults.push(Fault::new(what, "leave one of the answers --not out"));
    }
    faults.into_result(Some((lighter, templates)))
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
    let (outer, bumps) = match options.net {
        NetLine::Edge => without_bumps(&outer),
        NetLine::Ink => (outer, Vec::new()),
    };
    let fewer = |ring: &Ring| {
        let mut ring = simplified(&sharpened(ring, CLOSED, None), options.tolerance);
        if ring_area(&ring) < 0.0 {
            ring.reverse();
        }
        ring
    };
    let net = fewer(&outer);
    let holes: Vec<Ring> = holes.iter().map(fewer).filter(|h| ring_area(h) > 30.0).collect();
    let Lines { arrows, cuts, marks } = lines(smooth, patch, &ink, &net, &holes);
    no_more_than_one(&arrows)?;
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
    let doubts: Vec<Doubt> = bumps.into_iter().filter_map(Doubt::bump).collect();
    warnings.extend(doubts.iter().map(Doubt::fault));
    Ok(Template {
        net: outline.net().clone(),
        doubts,
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
            said!(
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
