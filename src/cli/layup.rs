//! `warpwise layup PLAN`: the lay-up sheet alone, from a plan's `plan.json`.

use super::exit::Failure;
use super::files::write_into;
use super::output::print;
use super::stock::{read_stock, verified};
use clap::Args;
use std::path::PathBuf;
use warpwise::fault::Fault;
use warpwise::layup::{self, When};
use warpwise::stock::Day;
use warpwise::units::counted;
use warpwise::{laminate, sheet};

/// `warpwise layup`.
#[derive(Args)]
pub struct Layup {
    /// A plan folder or its plan.json
    #[arg(value_name = "PLAN")]
    plan: PathBuf,
    /// Folder to write lay-up.pdf into
    #[arg(long, value_name = "DIR", default_value = ".")]
    out: PathBuf,
    /// When the cure begins, as "2026-12-01 08:00"; in place of the job's own
    #[arg(long, value_name = "TIME")]
    start: Option<String>,
    /// Check the dates again against this ledger, or an export of it
    #[arg(long, value_name = "FILE")]
    stock: Option<PathBuf>,
    /// Print steps and figures as JSON instead of writing a file
    #[arg(long)]
    json: bool,
}

impl Layup {
    /// Reads, verifies, writes.
    pub fn run(self) -> Result<(), Failure> {
        if self.start.as_deref().is_some_and(|start| !layup::is_start(start)) {
            let fault =
                Fault::new("--start is not a date and time", "write it as \"2026-12-01 08:00\"");
            return Err(Failure::Usage(fault.into()));
        }
        let plan = verified(&self.plan)?;
        let stock = self.stock.as_deref().map(read_stock).transpose()?;
        let day = self
            .start
            .as_deref()
            .and_then(|s| Day::parse(s.get(..10)?).ok())
            .unwrap_or_else(Day::today);
        let drawn = |id: &str, _: &str| plan.plan().stocks.iter().any(|s| s.id == id);
        let cautions = stock.map(|s| s.cautions(day, &drawn));
        let when = When { today: Some(Day::today()), start: self.start, cautions };
        let sheets = layup::layup(plan.plan(), &when);
        if self.json {
            let shown = serde_json::json!({ "plan": plan.plan().id, "layup": sheets, "laminate": laminate::laminate(plan.plan()) });
            return print(&format!("{shown:#}\n"));
        }
        let file = sheet::layup_sheet(&plan, &when);
        let path = self.out.join(&file.name);
        write_into(&self.out, &[(PathBuf::from(&file.name), file.bytes)])?;
        let mut out = String::new();
        for warning in sheets.iter().flat_map(|s| &s.warnings) {
            out += &format!("WARNING: {warning}\n");
        }
        print(&format!("{out}{} ({})\n", path.display(), counted(file.pages, "page")))
    }
}
