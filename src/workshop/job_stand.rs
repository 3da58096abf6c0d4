//! How far the part of a job is, told from its files without planning or checking anything.

use super::folder::{Folder, JobEntry, PLAN_FOLDER};
use super::kit::Kit;
use crate::ledger::{Ledger, Record};
use crate::plan;
use serde::Deserialize;
use std::collections::BTreeSet;
use std::path::Path;

/// How far a part is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum JobStand {
    /// There is no plan.
    NotPlanned,
    /// Planned, and nothing is cut.
    Planned,
    /// Pieces are cut.
    Cut,
    /// Pieces are laid.
    Laid,
    /// Its record is written, and steps of its lay-up are open.
    RecordOpen,
    /// It is laid, and its record is written.
    OnRecord,
}

/// What a plan says of which kit it is.
#[derive(Deserialize)]
struct OfKit {
    id: String,
    drawn_from: Option<Drawn>,
}

#[derive(Deserialize)]
struct Drawn {
    #[serde(default)]
    kit: Option<String>,
}

/// The kits of which the ledger has a piece; none where it cannot be read, which says so itself.
pub fn kits_begun(ledger: &Path) -> BTreeSet<String> {
    if !ledger.is_file() {
        return BTreeSet::new();
    }
    let pieces = Ledger::read(ledger).and_then(|l| l.records("piece")).unwrap_or_default();
    let kit = |record| match record {
        Record::Piece(piece) => Some(piece.kit),
        _ => None,
    };
    pieces.into_iter().filter_map(kit).collect()
}

/// How far a job's part is; `begun` is of [`kits_begun`].
pub fn job_stand(folder: &Folder, job: &JobEntry, begun: &BTreeSet<String>) -> JobStand {
    let dir = folder.root().join(&job.folder);
    let file = dir.join(PLAN_FOLDER).join("plan.json");
    let Some((id, named)) = kit_of(&file) else {
        return if job.planned { JobStand::Planned } else { JobStand::NotPlanned };
    };
    // Kits that cannot be read are said where they are worked on.
    let (kits, _) = Kit::all(&dir);
    let is_its = |kit: &&Kit| Some(&kit.kit) == named.as_ref() || kit.kit == id || kit.has(&id);
    let kit = kits.iter().find(is_its);
    let progress = kit.iter().flat_map(|k| &k.lay_up);
    let laid = |key: &String| key.starts_with("laid/");
    if let Some(kit) = kit.filter(|k| k.has_record(&dir)) {
        let of_plan = || text_of(&file).and_then(|text| plan::from_json(&text).ok());
        let is_laid = kit.laid.unwrap_or_else(|| of_plan().is_some_and(|plan| kit.is_laid(&plan)));
        if is_laid { JobStand::OnRecord } else { JobStand::RecordOpen }
    } else if progress.clone().any(|p| p.ticked.keys().any(laid)) {
        JobStand::Laid
    } else if begun.contains(named.as_ref().unwrap_or(&id))
        || kit.is_some_and(|k| !k.cut.is_empty())
    {
        JobStand::Cut
    } else {
        JobStand::Planned
    }
}

/// Id of the plan in a file, and the kit that it names.
fn kit_of(file: &Path) -> Option<(String, Option<String>)> {
    let of: OfKit = serde_json::from_str(&text_of(file)?).ok()?;
    Some((of.id, of.drawn_from.and_then(|d| d.kit)))
}

fn text_of(file: &Path) -> Option<String> {
    let is_small = std::fs::metadata(file).is_ok_and(|m| m.len() <= plan::LARGEST_FILE);
    is_small.then(|| std::fs::read_to_string(file).ok())?
}
