//! From the cloth sections to [`Cloth`]s: what the schema cannot say about a cloth on its own.

use super::document::{Document, Findings};
use super::mould_work::is_day;
use super::raw::{RawCloth, RawFlaw};
use crate::cloth::{Cloth, Material, Offer, Price, Weave};
use crate::fault::Place;
use crate::geometry::{Ring, point};
use crate::outline::{Draft, Outline};
use crate::units::{LARGEST, show_mm, show_number};

/// Rolls narrower than this are more likely a slip of the unit, mm.
const NARROWEST: f64 = 10.0;

/// Checks one cloth section; `at` is its path in the document, `cloth.2`.
pub(super) fn cloth(
    raw: RawCloth,
    at: &str,
    doc: &Document<'_>,
    findings: &mut Findings<'_>,
) -> Cloth {
    let place = |key: &str| doc.offset_of(&format!("{at}.{key}"));
    let usable = raw.roll_width - 2.0 * raw.selvedge;
    if usable <= 0.0 {
        let what = said!(
            "two selvedges of {} leave nothing of a roll of {}",
            show_mm(raw.selvedge),
            show_mm(raw.roll_width)
        );
        findings.fault(place("selvedge"), what, "give the width at one side that is not for use");
    }
    if raw.roll_width < NARROWEST {
        let remedy = "a plain number is mm; write \"1.25 m\" for metres";
        findings.warning(
            place("roll_width"),
            said!("the roll is only {} wide", show_mm(raw.roll_width)),
            remedy,
        );
    }
    let twill_line = twill_line(&raw, at, doc, findings);
    let resin_content =
        raw.resin_content.and_then(|resin| resin_share(resin, place("resin_content"), findings));
    if raw.price_per_metre.is_some() && raw.price_per_square_metre.is_some() {
        let what = "the cloth has both a price per metre and a price per square metre";
        findings.fault(place("price_per_square_metre"), what, "keep the one on the seller's list");
    }
    let price = raw
        .price_per_metre
        .map(Price::PerMetre)
        .or(raw.price_per_square_metre.map(Price::PerSquareMetre));
    let roll_length = raw.roll_length.map(|length| {
        if length > LARGEST {
            let what = said!("only the first {} of the roll are planned", show_mm(LARGEST));
            findings.warning(
                place("roll_length"),
                what,
                "leave it as it is if no layout comes near that length",
            );
        }
        length.min(LARGEST)
    });
    let mut flaws = Vec::new();
    for (i, flaw) in raw.flaw.iter().enumerate() {
        flaws.extend(flaw_ring(
            flaw,
            raw.roll_width,
            roll_length,
            &format!("{at}.flaw.{i}"),
            doc,
            findings,
        ));
    }
    let offers = offers(&raw, at, doc, findings);
    let expiry = raw.expiry.clone().filter(|text| is_day(text, place("expiry"), findings));
    if raw.material != Material::Fibre
        && raw.thickness.is_none()
        && !doc.has(&format!("{at}.thickness"))
    {
        let (what, remedy) =
            ("a core or adhesive film needs its thickness", "add `thickness`, in mm");
        findings.fault_to_paste(
            doc.offset_of(at),
            what,
            remedy,
            "thickness = 0.24                 # CHECK: in the finished part",
        );
    }
    Cloth {
        material: raw.material,
        thickness: raw.thickness,
        resin_density: raw.resin_density,
        batch: raw.batch,
        out_life_hours: raw.out_life_hours,
        expiry,
        offers,
        name: raw.name.unwrap_or_else(|| raw.id.clone()),
        id: raw.id,
        library: raw.library,
        weave: raw.weave,
        balanced: raw.balanced,
        one_way: raw.one_way,
        twill_line,
        up: raw.up,
        roll_width: raw.roll_width,
        selvedge: raw.selvedge,
        roll_length,
        flaws,
        areal_mass: raw.areal_mass,
        resin_content,
        fibre_density: raw.fibre_density,
        price,
    }
}

fn offers(raw: &RawCloth, at: &str, doc: &Document<'_>, findings: &mut Findings<'_>) -> Vec<Offer> {
    let mut offers = Vec::new();
    for (i, offer) in raw.offer.iter().enumerate() {
        let place = |key: &str| doc.offset_of(&format!("{at}.offer.{i}.{key}"));
        if offer.width <= 2.0 * raw.selvedge {
            let what = said!(
                "two selvedges of {} leave nothing of a width of {}",
                show_mm(raw.selvedge),
                show_mm(offer.width)
            );
            findings.fault(place("width"), what, "give the width of the roll, selvedges included");
        }
        if offer.price_per_metre.is_some() && offer.price_per_square_metre.is_some() {
            let what = "the offer has both a price per metre and a price per square metre";
            findings.fault(
                place("price_per_square_metre"),
                what,
                "keep the one on the seller's list",
            );
        }
        let price = offer
            .price_per_metre
            .map(Price::PerMetre)
            .or(offer.price_per_square_metre.map(Price::PerSquareMetre));
        if price.is_none() && raw.price_per_metre.is_none() && raw.price_per_square_metre.is_none()
        {
            findings.warning(
                place("width"),
                "no price is known for this width",
                "add `price_per_metre`; lengths are worked out without it",
            );
        }
        offers.push(Offer {
            width: offer.width,
            from: offer.from,
            minimum: offer.minimum,
            step: offer.step,
            price,
        });
    }
    offers
}

fn is_twill(weave: Weave) -> bool {
    matches!(weave, Weave::Twill22 | Weave::Twill44 | Weave::Twill21 | Weave::Twill31)
}

fn twill_line(
    raw: &RawCloth,
    at: &str,
    doc: &Document<'_>,
    findings: &mut Findings<'_>,
) -> Option<f64> {
    let remedy = "look along the roll with the up face towards you: 45 if the line rises to the left of the warp, -45 if to the right";
    match raw.twill_line {
        None if is_twill(raw.weave) && !doc.has(&format!("{at}.twill_line")) => {
            let (what, remedy) =
                ("the twill needs the direction of its line", said!("add `twill_line`: {remedy}"));
            findings.fault_to_paste(
                doc.offset_of(at),
                what,
                remedy,
                "twill_line = 45                  # CHECK: or -45",
            );
        }
        Some(line) if !is_twill(raw.weave) => {
            let what = said!(
                "`twill_line = {}` has no effect: this weave has no twill line",
                show_number(line, 3)
            );
            findings.warning(
                doc.offset_of(&format!("{at}.twill_line")),
                what,
                "delete the line, or correct the weave",
            );
        }
        Some(line) if line.abs() != 45.0 => {
            let what = said!("a twill line runs at 45 or -45, not {}", show_number(line, 3));
            findings.fault(doc.offset_of(&format!("{at}.twill_line")), what, remedy);
        }
        line => return line,
    }
    None
}

/// A share below 1 as it stands; a number that can only be per cent is read as such, with a
/// warning.
fn resin_share(resin: f64, offset: usize, findings: &mut Findings<'_>) -> Option<f64> {
    const LEAST_PER_CENT: f64 = 2.0;
    if resin < 1.0 {
        return Some(resin);
    }
    let shown = show_number(resin, 3);
    if resin < LEAST_PER_CENT {
        findings.fault(
            offset,
            said!("a resin content of {shown} leaves no fibre"),
            "give a share below 1, or per cent as text: 0.42, \"42 %\"",
        );
        return None;
    }
    let remedy = said!("write {} or \"{shown} %\"", show_number(resin / 100.0, 5));
    findings.warning(offset, said!("the resin content {shown} is read as {shown} %"), remedy);
    Some(resin / 100.0)
}

/// The ring of a flaw, anticlockwise, inside the roll.
fn flaw_ring(
    raw: &RawFlaw,
    width: f64,
    length: Option<f64>,
    at: &str,
    doc: &Document<'_>,
    findings: &mut Findings<'_>,
) -> Option<Ring> {
    let whole = doc.offset_of(at);
    let ring: Ring = match (&raw.outline, raw.from, raw.to) {
        (Some(outline), None, None) if raw.low.is_none() && raw.high.is_none() => {
            outline.iter().map(|&p| p.into()).collect()
        }
        (None, Some(from), Some(to)) => {
            let (low, high) = (raw.low.unwrap_or(0.0), raw.high.unwrap_or(width));
            if to <= from {
                let what =
                    said!("the flaw ends at {} and begins at {}", show_mm(to), show_mm(from));
                findings.fault(
                    doc.offset_of(&format!("{at}.to")),
                    what,
                    "make `to` larger than `from`",
                );
                return None;
            }
            if high <= low {
                let what = said!(
                    "the flaw ends at {} across the roll and begins at {}",
                    show_mm(high),
                    show_mm(low)
                );
                let key = if raw.high.is_some() { "high" } else { "low" };
                findings.fault(
                    doc.offset_of(&format!("{at}.{key}")),
                    what,
                    "make `high` larger than `low`",
                );
                return None;
            }
            vec![point(from, low), point(to, low), point(to, high), point(from, high)]
        }
        _ if [
            ("outline", raw.outline.is_some()),
            ("from", raw.from.is_some()),
            ("to", raw.to.is_some()),
        ]
        .iter()
        .any(|(key, sound)| !sound && doc.has(&format!("{at}.{key}"))) =>
        {
            return None;
        }
        _ => {
            let remedy = "give either `outline`, or `from` and `to` (with `low` and `high` if it does not cross the whole roll)";
            findings.fault(whole, "the flaw has no clear place", remedy);
            return None;
        }
    };
    let outside = ring
        .iter()
        .find(|p| p.x < 0.0 || p.y < 0.0 || p.y > width || length.is_some_and(|l| p.x > l));
    if let Some(p) = outside {
        let what = said!(
            "the flaw reaches ({}, {}), off the roll",
            show_number(p.x, 3),
            show_number(p.y, 3)
        );
        let remedy = said!(
            "x counts from the free end, y from the lower edge up to the roll's width, {}",
            show_mm(width)
        );
        findings.fault(whole, what, remedy);
        return None;
    }
    checked_ring(ring, "flaw", whole, findings)
}

/// A ring that is closed, simple and encloses some area, anticlockwise and on the grid; its faults
/// are placed at `offset`.
pub(super) fn checked_ring(
    ring: Ring,
    what: &str,
    offset: usize,
    findings: &mut Findings<'_>,
) -> Option<Ring> {
    match Outline::new(Draft { net: ring, ..Draft::default() }) {
        Ok(outline) => Some(outline.net().clone()),
        Err(faults) => {
            for fault in faults.0 {
                let where_ = match fault.place {
                    Place::At { x, y, .. } => {
                        format!(" at ({}, {}) mm", show_number(x, 3), show_number(y, 3))
                    }
                    _ => String::new(),
                };
                findings.fault(
                    offset,
                    said!("the outline of the {what}: {}{where_}", fault.what),
                    fault.remedy,
                );
            }
            None
        }
    }
}
