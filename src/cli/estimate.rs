//! `warpwise estimate JOB…`: how much to buy, over several roll widths.

use super::exit::Failure;
use super::files::write_into;
use super::output::{cautions, print, print_cautions, warn};
use super::progress::Bar;
use super::search::Search;
use super::stock::read_stock;
use super::terminal::COLUMNS;
use clap::Args;
use std::fmt::Write as _;
use std::path::{Path, PathBuf};
use warpwise::cloth::Cloth;
use warpwise::estimate::{self, Estimate, RoughPart, Spare, Waste, Wish};
use warpwise::fault::{Fault, Faults};
use warpwise::ledger::{Ledger, Record};
use warpwise::run::Run;
use warpwise::workshop::{Folder, Learnt, learnt_of};
use warpwise::{job, sheet};

/// `warpwise estimate`.
#[derive(Args)]
pub struct EstimateCommand {
    /// The job files; several jobs share the rolls
    #[arg(value_name = "JOB", required_unless_present = "part")]
    jobs: Vec<PathBuf>,
    /// How many layouts to plan for each width, each from its own seed
    #[arg(long, value_name = "N", default_value_t = 3, value_parser = clap::value_parser!(u32).range(1..=100))]
    seeds: u32,
    /// Spare cloth to add: per cent of the length, or `piece` for the largest piece once more
    #[arg(long, value_name = "SPARE", default_value = "10")]
    spare: String,
    /// Before templates exist: "CLOTH: 0.35 m2 x 4" or "700 x 520 x 2" (mm), trim included; the
    /// jobs then give only their cloths
    #[arg(long, value_name = "PART")]
    part: Vec<String>,
    /// Waste of rough parts, per cent of the roll [default: that of the plans booked in --stock,
    /// else 25]
    #[arg(long, value_name = "PERCENT", requires = "part")]
    waste: Option<f64>,
    /// Write the estimate as a page to print, with a chart for each cloth, into this folder
    #[arg(long, value_name = "DIR")]
    out: Option<PathBuf>,
    #[command(flatten)]
    search: Search,
}

fn usage(what: &'static str, remedy: &'static str) -> Failure {
    Failure::Usage(Fault::new(what, remedy).into())
}

impl EstimateCommand {
    /// Reads, plans every width, prints.
    pub fn run(self) -> Result<(), Failure> {
        let spare = match self.spare.trim() {
            "piece" => Spare::LargestPiece,
            text => match text.trim_end_matches([' ', '%']).parse::<f64>() {
                Ok(p) if (0.0..=200.0).contains(&p) => Spare::PerCent(p),
                _ => {
                    return Err(usage(
                        "--spare is neither per cent nor `piece`",
                        "give a number from 0 to 200, or piece",
                    ));
                }
            },
        };
        if self.waste.is_some_and(|w| !(0.0..=85.0).contains(&w)) {
            return Err(usage("--waste is not a share of the roll", "give per cent from 0 to 85"));
        }
        if self.search.go_on.is_some() || self.search.history.is_some() {
            return Err(usage("--go-on and --history are for `nest`", "leave them out"));
        }
        let stop = self.search.stop()?;
        let bar = Bar::new(self.search.quiet);
        let run = self.search.run(stop, &bar)?;
        let found = if self.part.is_empty() {
            self.planned(&run, &bar, spare)?
        } else {
            self.rough(&run, &bar, spare)?
        };
        drop(bar);
        if let Some(dir) = &self.out {
            let mut files =
                vec![(PathBuf::from("estimate.html"), sheet::estimate_page(&found).into_bytes())];
            files.extend(
                sheet::estimate_charts(&found)
                    .into_iter()
                    .map(|f| (PathBuf::from(f.name), f.bytes)),
            );
            write_into(dir, &files)?;
        }
        if self.search.json {
            return print(&format!("{:#}\n", serde_json::json!(found)));
        }
        print(&shown(&found))?;
        print(&self.parts_before())?;
        self.out
            .as_ref()
            .map_or(Ok(()), |dir| print(&format!("\n{}\n", dir.join("estimate.html").display())))
    }

    /// What parts of these jobs, and of jobs they were begun from, came to: for a person to weigh,
    /// for no figure above knows of it.
    fn parts_before(&self) -> String {
        let mut out = String::new();
        for file in &self.jobs {
            let dir =
                std::fs::canonicalize(file).ok().and_then(|f| Some(f.parent()?.to_path_buf()));
            let name = dir.as_ref().and_then(|d| Some(d.file_name()?.to_str()?.to_string()));
            let folder = dir.as_ref().and_then(|d| Folder::open(d.parent()?).ok());
            let Some((folder, name)) = folder.zip(name) else { continue };
            // What cannot be read keeps nobody from buying cloth; it is said.
            let learnt = learnt_of(&folder, &name)
                .unwrap_or_else(|unread| Learnt { unread, ..Learnt::default() });
            warn(&learnt.unread.0, self.search.quiet);
            if learnt.parts.is_empty() {
                continue;
            }
            let per_cent = |ratio: f64| format!("{:+.1} %", 100.0 * (ratio - 1.0));
            let mass = match learnt.mass() {
                None => "none weighed".into(),
                Some((1, [only, ..])) => {
                    format!("one weighed, {} against planned: no rule", per_cent(only))
                }
                Some((n, [low, _, high])) => {
                    format!("{n} weighed, {} to {} against planned", per_cent(low), per_cent(high))
                }
            };
            let spoiled = match learnt.spoiled() {
                [_, 0] => "how many pieces were spoiled is not known".into(),
                [spoiled, pieces] => format!("{spoiled} of {pieces} pieces spoiled and cut again"),
            };
            out.push_str(&format!(
                "Parts before of {}: {}; {mass};\n  {spoiled}. No figure above is changed by it.\n",
                warpwise::printable::printable(&name),
                learnt.parts.len(),
            ));
        }
        out
    }

    fn planned(&self, run: &Run<'_>, bar: &Bar, spare: Spare) -> Result<Estimate, Failure> {
        let (jobs, warnings) =
            job::load_all(&self.jobs, run).map_err(|f| Failure::input(f, run))?;
        bar.aside(|| warn(&warnings, self.search.quiet));
        let from = self.search.stock_of(&jobs)?;
        let of_jobs = cautions(&jobs, from.as_deref(), run.day());
        let stock = from.as_deref().map(|file| bar.aside(|| read_stock(file))).transpose()?;
        let ours =
            |_: &str, cloth: &str| jobs.iter().flat_map(|j| &j.cloths).any(|c| c.id == cloth);
        let cautions = stock.as_ref().map_or(of_jobs, |s| s.cautions(s.day, &ours));
        bar.aside(|| print_cautions(&cautions, self.search.json))?;
        let wish = Wish { jobs: &jobs, stock: stock.as_ref(), seeds: self.seeds, spare };
        let found = estimate::estimate(&wish, self.search.sets, run);
        found.map_err(|refusal| Failure::from(refusal).in_jobs(&jobs))
    }

    fn rough(&self, run: &Run<'_>, bar: &Bar, spare: Spare) -> Result<Estimate, Failure> {
        let mut faults = Faults::new();
        let parts: Vec<RoughPart> = self
            .part
            .iter()
            .filter_map(|text| faults.keep(RoughPart::parse(text).map_err(Faults::from)))
            .collect();
        faults.into_result(()).map_err(Failure::Usage)?;
        let (mut cloths, mut currency): (Vec<Cloth>, String) = (Vec::new(), String::new());
        if self.jobs.is_empty() {
            for part in &parts {
                let name = part.cloth.as_deref().unwrap_or("cloth");
                if !cloths.iter().any(|c| c.id == name) {
                    cloths.push(estimate::plain_cloth(name));
                }
            }
        } else {
            let (jobs, warnings) =
                job::load_all(&self.jobs, run).map_err(|f| Failure::input(f, run))?;
            bar.aside(|| warn(&warnings, self.search.quiet));
            bar.aside(|| {
                print_cautions(
                    &cautions(&jobs, self.search.stock.as_deref(), run.day()),
                    self.search.json,
                )
            })?;
            currency = jobs.first().map_or_else(String::new, |j| j.currency.clone());
            for cloth in jobs.into_iter().flat_map(|j| j.cloths) {
                if !cloths.iter().any(|c| c.id == cloth.id) {
                    cloths.push(cloth);
                }
            }
        }
        let stock = self.search.stock.as_deref().map(read_stock).transpose()?;
        let booked = self.search.stock.as_deref().map_or_else(Vec::new, booked);
        let waste = self
            .waste
            .map(Waste::told)
            .or_else(|| Waste::learned(&booked))
            .unwrap_or_else(Waste::usual);
        estimate::rough(&parts, &cloths, self.search.sets, &waste, spare, stock.as_ref(), &currency)
            .map_err(Failure::Usage)
    }
}

/// Areas of pieces and cloth of the plans booked in a ledger; nothing if the file is an export.
fn booked(file: &Path) -> Vec<[f64; 2]> {
    let records = Ledger::read(file).and_then(|ledger| ledger.records("plan")).unwrap_or_default();
    records
        .into_iter()
        .filter_map(|r| if let Record::Plan(p) = r { Some(p.areas) } else { None })
        .collect()
}

fn shown(found: &Estimate) -> String {
    let mut out = String::new();
    for cloth in &found.cloths {
        let name =
            if cloth.name == cloth.cloth { String::new() } else { format!(": {}", cloth.name) };
        let _ = writeln!(out, "{}{name}, {:.2} m² of pieces", cloth.cloth, cloth.pieces_area / 1e6);
        for note in &cloth.notes {
            out += &sheet::summary::wrap(&format!("  {note}"), COLUMNS, 2);
        }
        if cloth.enough {
            out.push_str("  The stock holds all of it: nothing to buy.\n\n");
            continue;
        }
        let cost = if found.currency.is_empty() {
            "cost".into()
        } else {
            format!("cost, {}", found.currency)
        };
        let _ = writeln!(
            out,
            "{:>8}  {:^13} {:>8}  {cost:>10}  {:>7} {:>9}  cost by width",
            "width", "needed, m", "buy", "yield", "mass"
        );
        let dearest = cloth.widths.iter().filter_map(|w| w.buy.as_ref()?.cost).fold(0.0, f64::max);
        for w in &cloth.widths {
            let (Some([least, most]), Some(buy)) = (w.needed, &w.buy) else {
                let why = w.why_not.as_deref().unwrap_or("nothing is missing");
                out += &sheet::summary::wrap(&format!("  {:>6.0}   {why}", w.width), COLUMNS, 11);
                continue;
            };
            let cost = buy.cost.map_or("no price".into(), |c| format!("{c:.2}"));
            let mass = w.mass.map_or("–".into(), |m| format!("{:.2} kg", m / 1000.0));
            let bar = buy
                .cost
                .filter(|_| dearest > 0.0)
                .map_or(0, |c| (c / dearest * 14.0).round() as usize);
            let _ = writeln!(
                out,
                "{}{}{:>6.0}  {:>6.2}–{:<6.2} {:>6.2} m{} {cost:>10}  {:>5.1} % {mass:>9}  {}",
                if w.best { "*" } else { " " },
                if !w.on_offer {
                    "?"
                } else if w.own {
                    "="
                } else {
                    " "
                },
                w.width,
                least / 1000.0,
                most / 1000.0,
                buy.length / 1000.0,
                if buy.more_than_needed { "+" } else { " " },
                w.yield_ * 100.0,
                "▇".repeat(bar)
            );
        }
        if let Some(order) = cloth.order(&found.currency) {
            out += &sheet::summary::wrap(&order, COLUMNS, 2);
        }
        out.push('\n');
    }
    out.push_str("* cheapest on offer   = roll of the job or the stock   ? if you can get it\n+ more than needed, as sold\n");
    for line in sheet::estimate_notes(found) {
        out += &sheet::summary::wrap(&line, COLUMNS, 0);
    }
    out
}
