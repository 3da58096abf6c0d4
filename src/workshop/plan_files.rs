//! Everything a plan folder holds, drawn from a verified plan.

use crate::fault::Fault;
use crate::run::{Phase, Run};
use crate::verify::Verified;
use crate::{layup, plan, sheet};
use rayon::prelude::*;
use std::path::{Path, PathBuf};

/// Names and what is in them.
type Files = Vec<(PathBuf, Vec<u8>)>;

/// The files of a plan folder, by their names in it.
///
/// # Errors
/// The run was asked twice to stop.
pub fn plan_files(plan: &Verified, run: &Run<'_>) -> Result<Files, Fault> {
    let done = std::cell::Cell::new(0.0);
    let step = || {
        run.tell(Phase::Writing, Some(done.get()));
        done.set(done.get() + 0.2);
        run.check(Phase::Writing)
    };
    step()?;
    let sections: Vec<sheet::Section> =
        sheet::mosaic_section(plan).into_iter().chain([sheet::layup_section(plan)]).collect();
    let mut files = vec![(PathBuf::from("plan.json"), plan::to_json(plan.plan()).into_bytes())];
    step()?;
    // Before the documents: two that wait for one drawing could wait for each other.
    let view = run.pooled(|| sheet::drawn(plan, *run));
    step()?;
    let one = |name: &str, bytes: Vec<u8>| vec![(PathBuf::from(name), bytes)];
    let sheets = |all: Vec<sheet::Written>| -> Files {
        all.into_iter().map(|file| (Path::new("sheets").join(file.name), file.bytes)).collect()
    };
    let documents: [&(dyn Fn() -> Files + Sync); 9] = [
        &|| one("report.html", sheet::report_of(&view, &sections).into_bytes()),
        &|| one("pieces.csv", sheet::pieces_table(plan).into_bytes()),
        &|| one("overview.svg", sheet::overview(plan).into_bytes()),
        &|| sheet::patches_table(plan).map_or(Vec::new(), |t| one("patches.csv", t.into_bytes())),
        &|| sheets(sheet::cut_sheets_of(&view)),
        &|| sheets(sheet::mosaic_sheets(plan)),
        &|| sheets(sheet::printed_mosaics(plan, None)),
        &|| sheets(vec![sheet::placement_sheet(plan, None)]),
        &|| sheets(vec![sheet::layup_sheet(plan, &layup::When::default())]),
    ];
    let drawn = run.pooled(|| {
        let draw = |document: &&(dyn Fn() -> Files + Sync)| {
            if run.is_stopped(Phase::Writing) { Vec::new() } else { document() }
        };
        documents.par_iter().map(draw).collect::<Vec<Files>>()
    });
    step()?;
    files.extend(drawn.into_iter().flatten());
    Ok(files)
}
