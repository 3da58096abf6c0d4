//! `warpwise sheets PLAN`: the cut sheets of a plan again, from its `plan.json` alone.

use super::exit::Failure;
use super::files::{read_plan, write_into};
use super::print;
use clap::Args;
use std::path::PathBuf;
use warpwise::{plan, sheet, verify};

/// `warpwise sheets`.
#[derive(Args)]
pub struct Sheets {
    /// A plan folder or its plan.json
    #[arg(value_name = "PLAN")]
    plan: PathBuf,
    /// Folder to write the sheets into
    #[arg(long, value_name = "DIR", default_value = "sheets")]
    out: PathBuf,
}

impl Sheets {
    /// Reads, verifies, draws.
    pub fn run(self) -> Result<(), Failure> {
        let file = if self.plan.is_dir() { self.plan.join("plan.json") } else { self.plan.clone() };
        let text = read_plan(&file)?;
        let name = |mut faults: warpwise::fault::Faults| {
            for fault in &mut faults.0 {
                fault.file.get_or_insert_with(|| file.clone());
            }
            Failure::Input(faults)
        };
        let plan = plan::from_json(&text).map_err(name)?;
        let plan = verify::verify(plan).map_err(name)?;
        let files: Vec<(PathBuf, Vec<u8>)> =
            sheet::cut_sheets(&plan).into_iter().map(|(name, svg)| (PathBuf::from(name), svg.into_bytes())).collect();
        write_into(&self.out, &files)?;
        files.iter().try_for_each(|(name, _)| print(&format!("{}\n", self.out.join(name).display())))
    }
}
