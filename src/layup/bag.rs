//! What goes over the laminate, with quantities.
//!
//! A bag covers what a tape measure runs over: the mould's surface with its depth, and the openings
//! of a ring, not the net area of a ply.

use crate::geometry::{Point, path_length, ring_bounds};
use crate::job::{BagOver, Consumables, MouldWork};
use crate::plan::{Plan, PlanTemplate};
use crate::units::{counted, show_number};
use serde::Serialize;
use std::collections::BTreeSet;

/// Without girths: the box of the template, longer by this each way for the depth that a flat
/// template may not show. A guess, no source.
pub const GUESSED: f64 = 1.2;

/// One bag, or several alike.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Bag {
    /// What lies under it.
    pub over: String,
    /// How many moulds are bagged so.
    pub moulds: u32,
    /// Over the mould along and across, edge to edge of the part, mm.
    pub girths: [f64; 2],
    /// Measured over the mould; otherwise guessed from the template.
    pub measured: bool,
    /// Peel ply, release film and breather, each, mm.
    pub film: [f64; 2],
    /// Bag film to cut, pleats counted, mm.
    pub bag_film: [f64; 2],
    /// The seal round the outside and round every opening, mm.
    pub seal: f64,
}

impl Bag {
    fn new(
        over: String,
        moulds: u32,
        girths: [f64; 2],
        measured: bool,
        openings: f64,
        c: &Consumables,
    ) -> Bag {
        let film = girths.map(|g| g + 2.0 * c.overhang);
        let pleats = (1.0 + c.bag_oversize / 100.0).sqrt();
        let bag_film = film.map(|f| (f + 2.0 * c.seal_margin) * pleats);
        Bag {
            over,
            moulds,
            girths,
            measured,
            film,
            bag_film,
            seal: 2.0 * (film[0] + film[1]) + openings,
        }
    }
}

/// The bags of a job, the stack from the laminate up with its quantities, and how they were
/// reckoned.
pub(super) fn bag(
    plan: &Plan,
    job: &str,
    work: &MouldWork,
) -> (Vec<Bag>, Vec<[String; 2]>, String) {
    let c = &work.consumables;
    let bags = if c.area.is_some() && c.bag.is_empty() { Vec::new() } else { bags(plan, job, c) };
    let total =
        |of: &dyn Fn(&Bag) -> f64| bags.iter().map(|b| of(b) * f64::from(b.moulds)).sum::<f64>();
    let (mut over, mut film, mut seal) = (
        total(&|b| b.film[0] * b.film[1]) / 1e6,
        total(&|b| b.bag_film[0] * b.bag_film[1]) / 1e6,
        total(&|b| b.seal),
    );
    if let (Some(area), true) = (c.area, bags.is_empty()) {
        // All round an area of this seal there lies a strip and its corners, whatever the shape.
        let grown =
            |area: f64, round: f64, by: f64| area + round * by / 1000.0 + 4.0 * by * by / 1e6;
        let round = c.perimeter.map_or(4.0 * area.sqrt(), |p| p / 1000.0);
        over = grown(area, round, c.overhang);
        film = grown(area, round, c.overhang + c.seal_margin) * (1.0 + c.bag_oversize / 100.0);
        seal = round * 1000.0 + 8.0 * c.overhang;
    }
    if let Some(perimeter) = c.perimeter {
        seal = perimeter;
    }
    let tape = seal * (1.0 + c.tape_pleats / 100.0) / 1000.0;
    (bags.clone(), rows(&bags, c, [over, film, tape]), note(&bags, c))
}

/// The bags that the job measured, and a guess for each template under none of them.
fn bags(plan: &Plan, job: &str, c: &Consumables) -> Vec<Bag> {
    let under: BTreeSet<&str> =
        c.bag.iter().flat_map(|b| &b.templates).map(String::as_str).collect();
    let all_named = c.bag.iter().all(|b| !b.templates.is_empty());
    let laid = |t: &&PlanTemplate| {
        t.job == job
            && t.on.is_none()
            && plan.pieces.iter().any(|p| p.job == job && p.template == t.template)
    };
    let parts: Vec<&PlanTemplate> = plan.templates.iter().filter(laid).collect();
    let rest = || parts.iter().filter(|t| !under.contains(t.template.as_str())).copied();
    let measured = |bag: &BagOver| {
        let covered: Vec<&PlanTemplate> = match bag.templates.as_slice() {
            [] => rest().collect(),
            ids => parts.iter().filter(|t| ids.contains(&t.template)).copied().collect(),
        };
        let over: Vec<&str> = if bag.templates.is_empty() {
            covered.iter().map(|t| t.template.as_str()).collect()
        } else {
            bag.templates.iter().map(String::as_str).collect()
        };
        let by_hand = || covered.iter().map(|t| moulds(plan, job, t)).max().unwrap_or(1);
        let drawn: f64 = covered.iter().map(|t| openings(t)).sum();
        let openings = bag.openings.as_ref().map_or(drawn, |o| o.iter().sum());
        Bag::new(over.join(", "), bag.moulds.unwrap_or_else(by_hand), bag.girths, true, openings, c)
    };
    let guessed = |t: &PlanTemplate| {
        let girths = boxed(t).map(|side| side * GUESSED);
        Bag::new(t.template.clone(), moulds(plan, job, t), girths, false, openings(t), c)
    };
    let mut out: Vec<Bag> = c.bag.iter().map(measured).collect();
    if all_named {
        out.extend(rest().map(guessed));
    }
    out
}

/// Length round the openings of a template, mm.
fn openings(template: &PlanTemplate) -> f64 {
    let round = |ring: &Vec<Point>| {
        path_length(ring) + ring.first().zip(ring.last()).map_or(0.0, |(a, b)| a.distance(*b))
    };
    template.holes.iter().map(round).sum()
}

/// The box of a template along its arrow and across, mm.
fn boxed(template: &PlanTemplate) -> [f64; 2] {
    let (sin, cos) = crate::geometry::sin_cos_degrees(-template.arrow);
    let turned: Vec<Point> = template
        .net
        .iter()
        .map(|p| Point { x: p.x * cos - p.y * sin, y: p.x * sin + p.y * cos })
        .collect();
    ring_bounds(&turned).map_or([0.0, 0.0], |b| [b.width(), b.height()])
}

/// One mould for each hand of a template, one bag for each strip; copies of a template in one layer
/// lie over one another.
fn moulds(plan: &Plan, job: &str, template: &PlanTemplate) -> u32 {
    let mine = || plan.pieces.iter().filter(|p| p.job == job && p.template == template.template);
    if template.strip {
        let in_layer =
            |layer: usize| mine().filter(|p| p.layer == layer).map(|p| p.copies).sum::<u32>();
        return mine().map(|p| in_layer(p.layer)).max().unwrap_or(1);
    }
    let right = mine().any(|p| p.hand == crate::ply::Hand::Mirrored);
    let left = mine().any(|p| p.hand == crate::ply::Hand::AsTraced);
    u32::from(right) + u32::from(left)
}

fn rows(bags: &[Bag], c: &Consumables, [over, film, tape]: [f64; 3]) -> Vec<[String; 2]> {
    let m2 = |a: f64| format!("{a:.2} m²");
    let mm = |v: f64| show_number(v.ceil(), 0);
    let mut out = Vec::new();
    if c.peel_ply {
        out.push(["peel ply".into(), m2(over)]);
    }
    let release = if c.perforated_film {
        "perforated release film (resin bleeds into the breather)"
    } else {
        "plain release film (lets no resin through)"
    };
    out.push([release.into(), m2(over)]);
    out.push(["breather, up to the vacuum port".into(), m2(over)]);
    out.push([format!("bag film, {:.0} % more for pleats", c.bag_oversize), m2(film)]);
    out.push([
        format!("sealing tape, {:.0} % more for pleats", c.tape_pleats),
        format!("{tape:.1} m"),
    ]);
    for bag in bags {
        let times = if bag.moulds == 1 { String::new() } else { format!("{} × ", bag.moulds) };
        let how = if bag.measured { "by tape measure" } else { "GUESSED" };
        let [along, across] = bag.girths.map(mm);
        let what =
            format!("{times}{}: girths {along} × {across} mm, {how}; cut bag film", bag.over);
        out.push([what, format!("{} × {} mm", mm(bag.bag_film[0]), mm(bag.bag_film[1]))]);
    }
    out
}

fn note(bags: &[Bag], c: &Consumables) -> String {
    let mut out = format!(
        "Each way, peel ply, release film and breather are the girth + 2 × {:.0} mm (FAA AC 43.13-1B, 3-7: 50 to 75 mm); bag film is that + 2 × \
         {:.0} mm for the seal, and {:.0} % more in area for pleats. Tape runs once round film and breather and once round every opening, \
         {:.0} % more for pleats (seal, pleats: common practice, no source).",
        c.overhang, c.seal_margin, c.bag_oversize, c.tape_pleats
    );
    let guessed = bags.iter().filter(|b| !b.measured).count();
    if guessed > 0 {
        out.push_str(&format!(
            " {} GUESSED: the box of the template × {GUESSED} each way for the mould's depth (no source). Measure two girths over the mould, one \
             each way, and write them under [[consumables.bag]].",
            counted(guessed, "bag")
        ));
    }
    match (c.area, bags.is_empty(), c.perimeter) {
        (Some(area), true, Some(_)) => {
            out.push_str(&format!(" The job gives no girths but {area:.2} m² and the seal."))
        }
        (Some(area), true, None) => {
            out.push_str(&format!(" The job gives no girths but {area:.2} m², taken as a square."))
        }
        (_, _, Some(_)) => out.push_str(" The length of the seal is the job's."),
        _ => {}
    }
    out.push_str(" Quantities are for one lay-up in each mould. Each debulk takes release film, breather and tape again.");
    out
}
