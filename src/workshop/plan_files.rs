//! Everything a plan folder holds, drawn from a verified plan.

use crate::verify::Verified;
use crate::{layup, plan, sheet};
use std::path::{Path, PathBuf};

/// The files of a plan folder, by their names in it.
pub fn plan_files(plan: &Verified) -> Vec<(PathBuf, Vec<u8>)> {
    let sections: Vec<sheet::Section> = sheet::mosaic_section(plan).into_iter().chain([sheet::layup_section(plan)]).collect();
    let mut files = vec![
        (PathBuf::from("plan.json"), plan::to_json(plan.plan()).into_bytes()),
        (PathBuf::from("report.html"), sheet::report(plan, &sections).into_bytes()),
        (PathBuf::from("pieces.csv"), sheet::pieces_table(plan).into_bytes()),
        (PathBuf::from("overview.svg"), sheet::overview(plan).into_bytes()),
    ];
    files.extend(sheet::patches_table(plan).map(|t| (PathBuf::from("patches.csv"), t.into_bytes())));
    let sheets = sheet::cut_sheets(plan, None)
        .into_iter()
        .chain(sheet::mosaic_sheets(plan))
        .chain(sheet::printed_mosaics(plan, None))
        .chain([sheet::placement_sheet(plan, None), sheet::layup_sheet(plan, &layup::When::default())]);
    files.extend(sheets.map(|file| (Path::new("sheets").join(file.name), file.bytes)));
    files
}
