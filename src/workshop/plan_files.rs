//! Everything a plan folder holds, drawn from a verified plan.

use crate::fault::Fault;
use crate::run::{Phase, Run};
use crate::verify::Verified;
use crate::{layup, plan, sheet};
use std::path::{Path, PathBuf};

/// The files of a plan folder, by their names in it.
///
/// # Errors
/// The run was asked twice to stop.
pub fn plan_files(plan: &Verified, run: &Run<'_>) -> Result<Vec<(PathBuf, Vec<u8>)>, Fault> {
    let done = std::cell::Cell::new(0.0);
    let step = || {
        run.tell(Phase::Writing, Some(done.get()));
        done.set(done.get() + 0.1);
        run.check(Phase::Writing)
    };
    step()?;
    let sections: Vec<sheet::Section> =
        sheet::mosaic_section(plan).into_iter().chain([sheet::layup_section(plan)]).collect();
    let mut files = vec![(PathBuf::from("plan.json"), plan::to_json(plan.plan()).into_bytes())];
    step()?;
    let view = sheet::drawn(plan, *run);
    files.push((PathBuf::from("report.html"), sheet::report_of(&view, &sections).into_bytes()));
    step()?;
    files.push((PathBuf::from("pieces.csv"), sheet::pieces_table(plan).into_bytes()));
    step()?;
    files.push((PathBuf::from("overview.svg"), sheet::overview(plan).into_bytes()));
    step()?;
    files
        .extend(sheet::patches_table(plan).map(|t| (PathBuf::from("patches.csv"), t.into_bytes())));
    let sheets: [&dyn Fn() -> Vec<sheet::Written>; 5] = [
        &|| sheet::cut_sheets_of(&view),
        &|| sheet::mosaic_sheets(plan),
        &|| sheet::printed_mosaics(plan, None),
        &|| vec![sheet::placement_sheet(plan, None)],
        &|| vec![sheet::layup_sheet(plan, &layup::When::default())],
    ];
    for drawn in sheets {
        step()?;
        files.extend(
            drawn().into_iter().map(|file| (Path::new("sheets").join(file.name), file.bytes)),
        );
    }
    step()?;
    Ok(files)
}
