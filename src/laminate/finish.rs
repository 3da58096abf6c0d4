//! What is put on the finished part: the faces it covers, their area, its mass and cost.

use crate::geometry::ring_area;
use crate::job::{FinishFaces, Hands, Seen};
use crate::plan::{Plan, PlanTemplate};
use serde::Serialize;

/// A finish on the faces that the job says.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct FinishMass {
    /// What it is.
    pub name: String,
    /// The faces it covers, in words.
    pub faces: String,
    /// m² it covers.
    pub area: f64,
    /// g.
    pub mass: f64,
    /// In the job's currency, if its price is known.
    pub cost: Option<f64>,
}

/// The finishes of the plan's job `index`, on all its parts. Templates, layers and the work at the
/// mould are looked at, no piece.
pub fn finishes(plan: &Plan, index: usize) -> Vec<FinishMass> {
    let (Some(job), Some(work)) = (plan.jobs.get(index), plan.mould_work.get(index)) else {
        return Vec::new();
    };
    let of = |f: &crate::job::Finish| {
        let (seen, faces) = on(plan, job, f.faces);
        let area: f64 = seen.iter().map(|&s| face(plan, job, s)).sum();
        let cost = f.price_per_square_metre.map(|p| (p * area * 100.0).round() / 100.0);
        FinishMass {
            name: f.name.clone(),
            faces: faces.to_string(),
            area,
            mass: f.areal_mass * area,
            cost,
        }
    };
    work.finish.iter().map(of).collect()
}

/// The faces meant, and their words.
fn on(plan: &Plan, job: &str, faces: FinishFaces) -> (&'static [Seen], &'static str) {
    let shown = |seen: Seen| plan.layers.iter().any(|l| l.job == job && l.seen == seen);
    match faces {
        FinishFaces::Both => (&[Seen::MouldSide, Seen::OtherSide], "both faces"),
        FinishFaces::MouldSide => (&[Seen::MouldSide], "one face, the mould side"),
        FinishFaces::OtherSide => (&[Seen::OtherSide], "one face, the side away from the mould"),
        FinishFaces::One if shown(Seen::OtherSide) && !shown(Seen::MouldSide) => {
            on(plan, job, FinishFaces::OtherSide)
        }
        FinishFaces::One => on(plan, job, FinishFaces::MouldSide),
    }
}

/// The seen part of one face, m²: the templates laid by layers that are seen from there; if there
/// are none, by those seen from the other side; else all but strips.
fn face(plan: &Plan, job: &str, seen: Seen) -> f64 {
    let other = if seen == Seen::MouldSide { Seen::OtherSide } else { Seen::MouldSide };
    let laid = |seen: Seen| -> Vec<&PlanTemplate> {
        let layers = plan.layers.iter().filter(|l| l.job == job && l.seen == seen);
        let ids: Vec<&str> =
            layers.flat_map(|l| l.items.iter().map(|i| i.template.as_str())).collect();
        whole(plan, job).filter(|t| ids.contains(&t.template.as_str())).collect()
    };
    let all = || whole(plan, job).filter(|t| !t.strip).collect();
    let shown = [laid(seen), laid(other)].into_iter().find(|t| !t.is_empty()).unwrap_or_else(all);
    shown.iter().map(|t| net_area(t) * f64::from(parts(plan, t))).sum()
}

/// The templates that lie on no other.
fn whole<'a>(plan: &'a Plan, job: &'a str) -> impl Iterator<Item = &'a PlanTemplate> {
    plan.templates.iter().filter(move |t| t.job == job && t.on.is_none())
}

fn net_area(t: &PlanTemplate) -> f64 {
    (ring_area(&t.net).abs() - t.holes.iter().map(|h| ring_area(h).abs()).sum::<f64>()) / 1e6
}

/// How many parts are made of a template, both hands counted: of each hand the greatest number that
/// divides the copies of every layer.
fn parts(plan: &Plan, t: &PlanTemplate) -> u32 {
    let items = || {
        plan.layers
            .iter()
            .filter(|l| l.job == t.job)
            .flat_map(|l| &l.items)
            .filter(|i| i.template == t.template)
    };
    let of = |hand: Hands| {
        let mine = items().filter(|i| i.hands == hand || i.hands == Hands::Both);
        mine.map(|i| i.copies).fold(0, super::common_divisor)
    };
    of(Hands::AsTraced) + of(Hands::Mirrored)
}
