//! What the parts of a job and of its kin came to: weighed against planned, cloth used against
//! planned, pieces spoiled. Kin are the job it was begun from, those begun from it, and so on.

use super::folder::{Folder, JOB_FILE, PLAN_FOLDER};
use super::kit::{Kit, Planned};
use super::values::Values;
use crate::fault::Faults;
use crate::plan;
use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;

/// A part that was laid.
#[derive(Clone, Debug, PartialEq)]
pub struct PartBefore {
    /// Folder of its job.
    pub folder: String,
    /// Name of its job.
    pub job: String,
    /// Its number or name, as it was written down.
    pub part: String,
    /// When its lay-up was begun, seconds since 1970.
    pub begun: Option<i64>,
    /// Planned off the mould and finished, g.
    pub planned: [Option<f64>; 2],
    /// Weighed off the mould and finished, g.
    pub weighed: [Option<f64>; 2],
    /// Each cloth of its kit: planned and taken in the end, mm².
    pub cloth: Vec<(String, [f64; 2])>,
    /// Pieces of its kit; none where they are not known, or are counted at another part of it.
    pub pieces: usize,
    /// Those that were spoiled and cut again.
    pub spoiled: usize,
}

impl PartBefore {
    /// Weighed over planned: finished where both are known, else off the mould.
    pub fn ratio(&self) -> Option<f64> {
        let of = |i: usize| Some((self.weighed[i]?, self.planned[i]?)).filter(|(_, p)| *p > 0.0);
        of(1).or(of(0)).map(|(weighed, planned)| weighed / planned)
    }
}

/// The parts before, and what they say together.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Learnt {
    /// The parts, the earliest first.
    pub parts: Vec<PartBefore>,
    /// Files that could not be read: what they hold is not counted.
    pub unread: Faults,
}

/// Several values: how many, the least, the one in the middle, the most.
pub type Spread = (usize, [f64; 3]);

fn spread(mut all: Vec<f64>) -> Option<Spread> {
    all.sort_by(f64::total_cmp);
    let (first, last) = (*all.first()?, *all.last()?);
    let (a, b) = (all.get((all.len() - 1) / 2)?, all.get(all.len() / 2)?);
    Some((all.len(), [first, (a + b) / 2.0, last]))
}

impl Learnt {
    /// Weighed over planned.
    pub fn mass(&self) -> Option<Spread> {
        spread(self.parts.iter().filter_map(PartBefore::ratio).collect())
    }

    /// A cloth as taken over as planned.
    pub fn cloth(&self, id: &str) -> Option<Spread> {
        let of = |p: &PartBefore| {
            let (_, [planned, used]) = p.cloth.iter().find(|c| c.0 == id)?;
            (*planned > 0.0).then_some(used / planned)
        };
        spread(self.parts.iter().filter_map(of).collect())
    }

    /// Pieces spoiled and pieces in all, of kits that both are known of.
    pub fn spoiled(&self) -> [usize; 2] {
        self.parts
            .iter()
            .filter(|p| p.pieces > 0)
            .fold([0, 0], |[s, n], p| [s + p.spoiled, n + p.pieces])
    }
}

/// What was learnt on a job and its kin.
///
/// # Errors
/// The workshop's folder cannot be read.
pub fn learnt_of(folder: &Folder, job: &str) -> Result<Learnt, Faults> {
    let mut out = Learnt::default();
    for name in kin(folder, job)? {
        let dir = folder.root().join(&name);
        let (kits, faults) = Kit::all(&dir);
        kits.iter().for_each(|kit| parts(kit, &name, &dir, &mut out.parts));
        out.unread.extend(faults);
    }
    out.parts.sort_by(|a, b| a.begun.cmp(&b.begun).then(a.folder.cmp(&b.folder)));
    Ok(out)
}

/// Folders of the jobs that are of one descent, the job itself among them.
fn kin(folder: &Folder, job: &str) -> Result<BTreeSet<String>, Faults> {
    let mut from: BTreeMap<String, String> = BTreeMap::new();
    for entry in folder.jobs()? {
        let Ok(text) = std::fs::read_to_string(folder.root().join(&entry.folder).join(JOB_FILE))
        else {
            continue;
        };
        // Most jobs were begun from none.
        if !text.contains("begun_from") {
            continue;
        }
        if let Some(old) = Values::of(&text).get("job.begun_from") {
            let old = if old == "." { "" } else { old };
            from.insert(entry.folder, old.to_string());
        }
    }
    let mut kin = BTreeSet::from([job.to_string()]);
    loop {
        let more: Vec<String> = from
            .iter()
            .filter(|(new, old)| kin.contains(*new) != kin.contains(*old))
            .flat_map(|(new, old)| [new.clone(), old.clone()])
            .collect();
        if more.is_empty() {
            return Ok(kin);
        }
        kin.extend(more);
    }
}

/// The parts of a kit: those of which something was laid or weighed.
fn parts(kit: &Kit, folder: &str, dir: &Path, out: &mut Vec<PartBefore>) {
    let laid: Vec<_> = kit
        .lay_up
        .iter()
        .filter(|p| p.mass != [None, None] || p.ticked.keys().any(|k| k.starts_with("laid/")))
        .collect();
    if laid.is_empty() {
        return;
    }
    let planned = kit.planned.clone().or_else(|| planned_before(kit, dir));
    for (k, progress) in laid.iter().enumerate() {
        let mass = planned.iter().flat_map(|p| &p.masses).find(|m| m.job == progress.job);
        // The cloth of a kit of several jobs is counted once.
        let of_kit = planned.as_ref().filter(|_| k == 0);
        let used =
            |id: &str, planned: f64| kit.used.iter().find(|u| u.0 == id).map_or(planned, |u| u.1);
        let cloth = of_kit.iter().flat_map(|p| &p.cloth);
        out.push(PartBefore {
            folder: folder.to_string(),
            job: progress.job.clone(),
            part: progress.part.clone(),
            begun: progress.begun,
            planned: mass.map_or([None; 2], |m| m.mass),
            weighed: progress.mass,
            cloth: cloth.map(|(id, area)| (id.clone(), [*area, used(id, *area)])).collect(),
            pieces: of_kit.map_or(0, |p| p.pieces),
            spoiled: if k == 0 { kit.cut_again.len() } else { 0 },
        });
    }
}

/// What a kit of an earlier build was planned to take: by the plan that is there, if it is its.
fn planned_before(kit: &Kit, dir: &Path) -> Option<Planned> {
    let file = dir.join(PLAN_FOLDER).join("plan.json");
    let about = std::fs::metadata(&file).ok()?;
    if about.len() > plan::LARGEST_FILE || !kit.cut_again.is_empty() {
        return None;
    }
    let plan = plan::from_json(&std::fs::read_to_string(&file).ok()?).ok()?;
    (kit.kit == plan.id || kit.plans.contains(&plan.id)).then(|| Planned::of(&plan))
}
