//! What goes over the laminate, with quantities.

use crate::geometry::ring_area;
use crate::job::MouldWork;
use crate::plan::{Plan, PlanLayer};

/// The stack from the laminate up, and how it was reckoned. The area is the job's word, or that of the largest layer; the seal that of a
/// square with the overhang all round.
pub(super) fn bag(plan: &Plan, job: &str, work: &MouldWork) -> (Vec<[String; 2]>, String) {
    let c = &work.consumables;
    let layer_area = |l: &PlanLayer| -> f64 {
        let mine = plan.pieces.iter().filter(|p| p.job == job && p.layer == l.layer);
        mine.map(|p| p.net.iter().map(|r| ring_area(r)).sum::<f64>() * f64::from(p.copies)).sum::<f64>() / 1e6
    };
    let area = c.area.unwrap_or_else(|| plan.layers.iter().filter(|l| l.job == job).map(layer_area).fold(0.0, f64::max));
    let side = area.sqrt() * 1000.0 + 2.0 * c.overhang;
    let perimeter = c.perimeter.unwrap_or(4.0 * side);
    let over = side * side / 1e6;
    let m2 = |a: f64| format!("{a:.2} m²");
    let mut out = Vec::new();
    if c.peel_ply {
        out.push(["peel ply".into(), m2(over)]);
    }
    let film = if c.perforated_film {
        "perforated release film (resin bleeds into the breather)"
    } else {
        "plain release film (lets no resin through)"
    };
    out.push([film.into(), m2(over)]);
    out.push(["breather, up to the vacuum port".into(), m2(over)]);
    out.push([format!("bag film, {:.0} % over the area, with pleats", c.bag_oversize), m2(over * (1.0 + c.bag_oversize / 100.0))]);
    let tape = perimeter * (1.0 + c.tape_pleats / 100.0) / 1000.0;
    out.push([format!("sealing tape, {:.0} % over the perimeter for pleats", c.tape_pleats), format!("{tape:.1} m")]);
    let from = if c.area.is_some() { "by the job" } else { "the largest layer" };
    let seal = if c.perimeter.is_some() { "by the job" } else { "as of one square bag" };
    let note = format!(
        "Area {area:.2} m² ({from}) and {:.0} mm beyond it; seal {:.1} m ({seal}). Each debulk takes release film, breather and tape again.",
        c.overhang,
        perimeter / 1000.0
    );
    (out, note)
}
