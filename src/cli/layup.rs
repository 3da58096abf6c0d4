//! `warpwise layup PLAN`: the lay-up sheet alone, from a plan's `plan.json`.

use super::exit::Failure;
use super::files::{read_plan, write_into};
use super::print;
use clap::Args;
use std::path::PathBuf;
use warpwise::fault::Faults;
use warpwise::{laminate, layup, plan, sheet, verify};

/// `warpwise layup`.
#[derive(Args)]
pub struct Layup {
    /// A plan folder or its plan.json
    #[arg(value_name = "PLAN")]
    plan: PathBuf,
    /// Folder to write layup.html into
    #[arg(long, value_name = "DIR", default_value = ".")]
    out: PathBuf,
    /// Print steps and figures as JSON instead of writing a file
    #[arg(long)]
    json: bool,
}

impl Layup {
    /// Reads, verifies, writes.
    pub fn run(self) -> Result<(), Failure> {
        let file = if self.plan.is_dir() { self.plan.join("plan.json") } else { self.plan.clone() };
        let name = |mut faults: Faults| {
            for fault in &mut faults.0 {
                fault.file.get_or_insert_with(|| file.clone());
            }
            Failure::Input(faults)
        };
        let plan = verify::verify(plan::from_json(&read_plan(&file)?).map_err(name)?).map_err(name)?;
        if self.json {
            let shown = serde_json::json!({ "plan": plan.plan().id, "layup": layup::layup(plan.plan()), "laminate": laminate::laminate(plan.plan()) });
            return print(&format!("{shown:#}\n"));
        }
        write_into(&self.out, &[(PathBuf::from("layup.html"), sheet::layup_page(&plan).into_bytes())])?;
        print(&format!("{}\n", self.out.join("layup.html").display()))
    }
}
