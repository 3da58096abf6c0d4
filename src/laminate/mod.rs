//! What a lay-up comes to: code, cured thickness, masses, fibre volume fraction. Pure: plan in, figures out.
//!
//! Rule of mixtures without voids and without bleed (from memory); the code follows ASTM D6507 as TM 1-1500-204-23-11 shows it.

mod stack;

pub use stack::{Sheet, code, remarks, sheet};

use crate::geometry::{Ring, ring_area};
use crate::job::Finish;
use crate::plan::Plan;
use serde::Serialize;

/// The stack at one place of a part, mould face first.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct RegionFigures {
    /// Job.
    pub job: String,
    /// Template, and the local patches that lie there.
    pub region: String,
    /// Laminate code.
    pub code: String,
    /// Cured thickness, mm, where every cloth's masses are known.
    pub thickness: Option<f64>,
    /// Mass of an area, g/m².
    pub areal_mass: Option<f64>,
    /// Fibre volume fraction of the fibre layers.
    pub fibre_volume: Option<f64>,
    /// Balance and symmetry in plain words.
    pub remarks: Vec<String>,
}

/// Masses of all parts of a job, g. Laps and splices are counted, since pieces are.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct PartMass {
    /// Job.
    pub job: String,
    /// Inside the net lines.
    pub net: f64,
    /// As cut, trim included.
    pub with_trim: f64,
    /// Fibre inside the net lines.
    pub fibre: f64,
    /// Resin inside the net lines.
    pub resin: f64,
    /// Core and adhesive film inside the net lines.
    pub other: f64,
    /// Finishes on the moulded face.
    pub finish: f64,
}

/// All figures of a plan.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Laminate {
    /// Place by place.
    pub regions: Vec<RegionFigures>,
    /// Job by job.
    pub parts: Vec<PartMass>,
    /// What was assumed.
    pub assumptions: Vec<String>,
}

/// The figures of a plan.
pub fn laminate(plan: &Plan) -> Laminate {
    let mut assumptions = Vec::new();
    let sheets: Vec<(&str, Option<Sheet>)> = plan.materials.iter().map(|m| (m.cloth.as_str(), sheet(m, &mut assumptions))).collect();
    let find = |cloth: &str| sheets.iter().find(|s| s.0 == cloth).and_then(|s| s.1);
    let mut regions = Vec::new();
    for template in plan.templates.iter().filter(|t| t.on.is_none()) {
        let stack = |with: &[&str]| -> Vec<(String, f64)> {
            let layers = plan.layers.iter().filter(|l| l.job == template.job);
            layers
                .flat_map(|l| l.items.iter().filter(|i| with.contains(&i.template.as_str())).map(|_| (l.cloth.clone(), l.angle)))
                .collect()
        };
        let patches =
            plan.templates.iter().filter(|t| t.job == template.job && t.on.as_ref().is_some_and(|(on, _)| *on == template.template));
        let mut places = vec![(template.template.clone(), vec![template.template.as_str()])];
        places.extend(
            patches.map(|p| (format!("{} under {}", template.template, p.template), vec![template.template.as_str(), p.template.as_str()])),
        );
        for (region, with) in places {
            let plies = stack(&with);
            if plies.is_empty() {
                continue;
            }
            let each: Option<Vec<Sheet>> = plies.iter().map(|(cloth, _)| find(cloth)).collect();
            let sum = |f: fn(&Sheet) -> f64| each.as_ref().map(|all| all.iter().map(f).sum::<f64>());
            let laminated = sum(|s| if s.fibre > 0.0 { s.thickness } else { 0.0 }).filter(|t| *t > 0.0);
            regions.push(RegionFigures {
                job: template.job.clone(),
                region,
                code: code(&plies, &plan.materials),
                thickness: sum(|s| s.thickness),
                areal_mass: sum(|s| s.fibre + s.resin + s.other),
                fibre_volume: sum(|s| s.fibre_thickness).zip(laminated).map(|(f, t)| f / t),
                remarks: remarks(&plies, &plan.materials),
            });
        }
    }
    let parts = plan.jobs.iter().enumerate().map(|(i, job)| {
        let finish = plan.mould_work.get(i).map_or(&[][..], |w| &w.finish);
        part(plan, job, finish, &find)
    });
    Laminate { regions, parts: parts.collect(), assumptions }
}

fn part(plan: &Plan, job: &str, finishes: &[Finish], find: &dyn Fn(&str) -> Option<Sheet>) -> PartMass {
    let m2 = |rings: &[Ring]| rings.iter().map(|r| ring_area(r)).sum::<f64>() / 1e6;
    let mut mass = PartMass { job: job.into(), net: 0.0, with_trim: 0.0, fibre: 0.0, resin: 0.0, other: 0.0, finish: 0.0 };
    let mut face = 0.0;
    for piece in plan.pieces.iter().filter(|p| p.job == job) {
        let copies = f64::from(piece.copies);
        let net = m2(&piece.net) * copies;
        if piece.layer == 1 {
            face += net;
        }
        let Some(s) = find(&piece.cloth) else { continue };
        mass.fibre += s.fibre * net;
        mass.resin += s.resin * net;
        mass.other += s.other * net;
        let cut = (m2(std::slice::from_ref(&piece.outline)) + m2(&piece.holes)) * copies;
        mass.with_trim += (s.fibre + s.resin + s.other) * cut;
    }
    mass.net = mass.fibre + mass.resin + mass.other;
    mass.finish = finishes.iter().map(|f| f.areal_mass * face).sum();
    mass
}
