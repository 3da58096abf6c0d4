//! What a lay-up comes to, region by region and for the whole part: code, cured thickness, masses,
//! fibre volume fraction. Pure: plan in, figures out.
//!
//! Rule of mixtures without voids and without bleed (from memory); the code follows ASTM D6507 as
//! TM 1-1500-204-23-11 shows it.

mod finish;
mod ply;
mod regions;
mod stack;

pub use finish::{FinishMass, finishes};
pub use ply::Sheet;
pub use regions::RegionFigures;
pub use stack::{Laid, Stack};

use crate::geometry::boolean::intersection;
use crate::geometry::{Region, Ring, ring_area};
use crate::plan::{Plan, PlanPiece};
use regions::{Ply, common_divisor, plies};
use serde::{Deserialize, Serialize};
use stack::letter;

/// Masses of all parts of a job, g. Laps and splices are counted, since pieces are.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct PartMass {
    /// Job.
    pub job: String,
    /// Inside the net lines: fibre, resin, core and film together.
    pub net: f64,
    /// As it comes off the mould, trim and laps beyond the net line included.
    pub with_trim: f64,
    /// Fibre inside the net lines.
    pub fibre: f64,
    /// Resin inside the net lines.
    pub resin: f64,
    /// Core and adhesive film inside the net lines.
    pub other: f64,
    /// Of `net`, what lies double in the laps of splices and at the seams of mosaics.
    pub laps: f64,
    /// Plies that are spliced, copies counted.
    pub spliced_plies: u32,
    /// Finishes.
    pub finish: Vec<FinishMass>,
    /// What the scales should show: `net` and the finishes.
    pub finished: f64,
}

/// All figures of a plan.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Laminate {
    /// Letters of the cloths in the codes, with their names.
    pub cloths: Vec<(char, String)>,
    /// Place by place.
    pub regions: Vec<RegionFigures>,
    /// Job by job.
    pub parts: Vec<PartMass>,
    /// What was assumed or left out.
    pub assumptions: Vec<String>,
}

/// The figures of a plan.
pub fn laminate(plan: &Plan) -> Laminate {
    let mut assumptions = Vec::new();
    let sheets: Vec<(&str, Option<Sheet>)> = plan
        .materials
        .iter()
        .map(|m| (m.cloth.as_str(), ply::sheet(m, &mut assumptions)))
        .collect();
    let find = |cloth: &str| sheets.iter().find(|s| s.0 == cloth).and_then(|s| s.1);
    let mut out =
        Laminate { cloths: Vec::new(), regions: Vec::new(), parts: Vec::new(), assumptions };
    for (i, m) in plan.materials.iter().enumerate() {
        out.cloths.push((letter(i), m.name.clone()));
    }
    for (i, job) in plan.jobs.iter().enumerate() {
        let pieces: Vec<&PlanPiece> = plan.pieces.iter().filter(|p| p.job == *job).collect();
        let regions = regions::of_job(plan, job, &pieces, &find);
        let mut mass = masses(job, &pieces, &find);
        if let Some(work) = plan.mould_work.get(i) {
            mass.finish = finishes(plan, i);
            if work.consumables.perforated_film {
                out.assumptions.push(format!("{job}: the perforated film lets resin bleed, so the part comes out lighter and thinner"));
            }
        }
        mass.finished = mass.net + mass.finish.iter().map(|f| f.mass).sum::<f64>();
        out.parts.push(mass);
        out.regions.extend(regions);
    }
    out
}

/// What a job's parts are to weigh, g.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct PlannedMass {
    /// Job.
    pub job: String,
    /// Off the mould, trim included, and finished; nothing where the mass of a cloth is not known.
    pub mass: [Option<f64>; 2],
}

/// The masses of a plan alone, job by job.
pub fn planned_masses(plan: &Plan) -> Vec<PlannedMass> {
    let sheet = |m: &crate::plan::PlanCloth| (m.cloth.clone(), ply::sheet(m, &mut Vec::new()));
    let sheets: Vec<(String, Option<Sheet>)> = plan.materials.iter().map(sheet).collect();
    let find = |cloth: &str| sheets.iter().find(|s| s.0 == cloth).and_then(|s| s.1);
    let of = |(i, job): (usize, &String)| {
        let pieces: Vec<&PlanPiece> = plan.pieces.iter().filter(|p| p.job == *job).collect();
        let known = !pieces.is_empty() && pieces.iter().all(|p| find(&p.cloth).is_some());
        let mass = masses(job, &pieces, &find);
        let finish: f64 =
            plan.mould_work.get(i).map_or(0.0, |_| finishes(plan, i).iter().map(|f| f.mass).sum());
        let both = [mass.with_trim, mass.net + finish].map(|m| Some(m).filter(|_| known));
        PlannedMass { job: job.clone(), mass: both }
    };
    plan.jobs.iter().enumerate().map(of).collect()
}

fn masses(job: &str, pieces: &[&PlanPiece], find: &dyn Fn(&str) -> Option<Sheet>) -> PartMass {
    let mut mass = PartMass {
        job: job.into(),
        net: 0.0,
        with_trim: 0.0,
        fibre: 0.0,
        resin: 0.0,
        other: 0.0,
        laps: 0.0,
        spliced_plies: 0,
        finish: Vec::new(),
        finished: 0.0,
    };
    for ply in plies(pieces) {
        let Some(first) = ply.parts.first() else {
            continue;
        };
        if ply.parts.len() > 1 && first.patch.is_none() {
            mass.spliced_plies += first.copies;
        }
        let Some(s) = find(&first.cloth) else {
            continue;
        };
        let copies = f64::from(first.copies);
        let m2 =
            |rings: &mut dyn Iterator<Item = &Ring>| rings.map(|r| ring_area(r)).sum::<f64>() / 1e6;
        let net = ply.parts.iter().map(|p| m2(&mut p.net.iter())).sum::<f64>() * copies;
        let cut = ply
            .parts
            .iter()
            .map(|p| m2(&mut std::iter::once(&p.outline)) - m2(&mut p.holes.iter()).abs())
            .sum::<f64>()
            * copies;
        mass.fibre += s.fibre * net;
        mass.resin += s.resin * net;
        mass.other += s.other * net;
        mass.with_trim += s.areal_mass() * cut;
        if ply.parts.len() > 1 {
            let once = ply.shape().iter().map(Region::area).sum::<f64>() / 1e6 * copies;
            mass.laps += s.areal_mass() * (net - once).max(0.0);
        }
    }
    mass.net = mass.fibre + mass.resin + mass.other;
    mass
}

/// Where two parts of a spliced ply lie over one another, in the frame of the part; empty for a
/// butt splice.
pub(crate) fn laps_of(parts: &[&PlanPiece]) -> Vec<Region> {
    let ply = Ply { parts: parts.to_vec() };
    let mut out = Vec::new();
    for (i, a) in parts.iter().enumerate() {
        for b in &parts[i + 1..] {
            out.extend(intersection(&ply.home(a), &ply.home(b)));
        }
    }
    out
}
