//! `warpwise mosaic JOB`: the patches of a job's mosaic layers, nothing else.

use super::exit::Failure;
use super::nest::write;
use super::output::{cautions, print, print_cautions, warn};
use super::progress::Bar;
use super::search::{Search, sparing_drawing};
use super::terminal::COLUMNS;
use clap::Args;
use std::path::{Path, PathBuf};
use warpwise::fault::Fault;
use warpwise::plan::{Plan, StockKind};
use warpwise::sheet::summary::wrap;
use warpwise::{job, plan};

/// `warpwise mosaic`.
#[derive(Args)]
pub struct Mosaic {
    /// The job file
    #[arg(value_name = "JOB")]
    job: PathBuf,
    /// The plan folder [default: `mosaic` beside the job]
    #[arg(long, value_name = "DIR")]
    out: Option<PathBuf>,
    #[command(flatten)]
    search: Search,
}

impl Mosaic {
    /// Reads, plans, verifies, writes, prints.
    pub fn run(self) -> Result<(), Failure> {
        let out = self
            .out
            .clone()
            .unwrap_or_else(|| self.job.parent().unwrap_or(Path::new("")).join("mosaic"));
        plan_and_write(&self.job, &out, &self.search, false)
    }
}

/// Plans the mosaic layers of a job for `mosaic` and `demo`.
pub fn plan_and_write(
    file: &Path,
    out: &Path,
    search: &Search,
    is_second: bool,
) -> Result<(), Failure> {
    let stop = search.stop()?;
    search.try_folders(out)?;
    let bar = Bar::new(search.quiet);
    let run = search.run(stop, &bar)?;
    // After another plan, which Ctrl-C may have ended, this one still gets its first layout.
    let run = if is_second { run.saving() } else { run };
    let (mut job, warnings) = job::load_in(file, &run).map_err(|f| Failure::input(f, &run))?;
    bar.aside(|| warn(&warnings, search.quiet));
    if job.layers.iter().all(|l| l.mosaic.is_none()) {
        let fault = Fault::new(
            "the job has no mosaic layer",
            "give a layer kind = \"mosaic\", or plan it with `warpwise nest`",
        );
        return Err(Failure::Input(fault.in_file(file).into()));
    }
    // Layers keep their numbers; those of whole plies lay nothing.
    job.layers.iter_mut().filter(|l| l.mosaic.is_none()).for_each(|l| l.items.clear());
    let cautions = cautions(
        std::slice::from_ref(&job),
        search.stock_of(std::slice::from_ref(&job))?.as_deref(),
        run.day(),
    );
    let run = sparing_drawing(&run, std::slice::from_ref(&job), search.sets);
    let plan = search
        .plan_with_history(&[job], &run, &bar, |plan| write(out, plan, &run, &bar, search.quiet))?;
    drop(bar);
    print_cautions(&cautions, search.json)?;
    if search.json {
        return print(&plan::to_json(plan.plan()));
    }
    print(&format!(
        "{}\nPlan folder: {1}\nMap, look and cut sheets: {1}/sheets\n",
        in_words(plan.plan()),
        out.display()
    ))
}

/// What was planned, for a terminal.
fn in_words(plan: &Plan) -> String {
    let mut out = String::new();
    for m in &plan.mosaics {
        let on_offcuts = m.patches.iter().filter(|id| placed_on_offcut(plan, id)).count();
        let share = if m.opened > 0.0 {
            format!(", {:.0} % of the offcuts opened", 100.0 * m.from_offcuts / m.opened)
        } else {
            String::new()
        };
        let whole = plan
            .stocks
            .iter()
            .filter(|s| s.is_laid_whole() && s.placed.iter().any(|p| m.patches.contains(&p.piece)))
            .count();
        let whole = if whole > 0 { format!(", {whole} of them laid whole") } else { String::new() };
        let first = format!(
            "{}: {} patches, {on_offcuts} from offcuts{share}{whole}",
            m.ply,
            m.patches.len()
        );
        let directions = format!(
            "  touching patches differ by {}° or more; evenness of directions {:.2} (1 is even), drift {:.2} (0 is none)",
            m.least_difference,
            1.0 - m.resultant,
            m.drift
        );
        out += &wrap(&first, COLUMNS, 2);
        out += &wrap(&directions, COLUMNS, 2);
    }
    for c in plan.cloths.iter().filter(|c| c.used_length > 0.0) {
        out.push_str(&format!("new cloth needed: {:.0} mm of {}\n", c.used_length, c.cloth));
    }
    if let Some(drawn) = &plan.drawn_from {
        drawn.cautions.iter().for_each(|c| out += &wrap(&format!("caution: {c}"), COLUMNS, 2));
    }
    out
}

fn placed_on_offcut(plan: &Plan, piece: &str) -> bool {
    plan.stocks
        .iter()
        .any(|s| s.kind == StockKind::Offcut && s.placed.iter().any(|p| p.piece == piece))
}
