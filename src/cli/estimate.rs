//! `warpwise estimate JOB…`: how much to buy, over several roll widths.

use super::exit::Failure;
use super::search::Search;
use super::{print, warn};
use clap::Args;
use std::fmt::Write as _;
use std::path::PathBuf;
use std::sync::atomic::AtomicBool;
use warpwise::estimate::{self, Estimate, Spare};
use warpwise::fault::Fault;
use warpwise::job;
use warpwise::planner::{Settings, Unwatched};

/// `warpwise estimate`.
#[derive(Args)]
pub struct EstimateCommand {
    /// The job files; several jobs share the rolls
    #[arg(value_name = "JOB", required_unless_present = "rough")]
    jobs: Vec<PathBuf>,
    /// Layouts for each width, from so many seeds
    #[arg(long, value_name = "N", default_value_t = 3, value_parser = clap::value_parser!(u32).range(1..=100))]
    seeds: u32,
    /// Spare: per cent of the length, or `piece` for the largest piece once more
    #[arg(long, value_name = "SPARE", default_value = "10")]
    spare: String,
    /// Before templates exist: m² of cloth in all (mould area x layers x parts); needs no job
    #[arg(long, value_name = "M2", conflicts_with = "jobs")]
    rough: Option<f64>,
    /// Usable width for --rough, mm
    #[arg(long, value_name = "MM", default_value_t = 1230.0)]
    width: f64,
    /// Waste for --rough, per cent of the roll
    #[arg(long, value_name = "PERCENT", default_value_t = 25.0)]
    waste: f64,
    #[command(flatten)]
    search: Search,
}

impl EstimateCommand {
    /// Reads, plans every width, prints.
    pub fn run(self) -> Result<(), Failure> {
        let usage = |what: &str, remedy: &str| Failure::Usage(Fault::new(what, remedy).into());
        if let Some(area) = self.rough {
            let sound =
                area.is_finite() && area > 0.0 && area < 1e4 && (1.0..=1e5).contains(&self.width) && (0.0..=85.0).contains(&self.waste);
            if !sound {
                return Err(usage("the rough figures make no sense", "give m² above 0, a width in mm and a waste from 0 to 85 per cent"));
            }
            let [low, mid, high] = estimate::rough(area * f64::from(self.search.sets), self.width, self.waste).map(|mm| mm / 1000.0);
            if self.search.json {
                return print(&format!("{:#}\n", serde_json::json!({ "rough": { "least_m": low, "expected_m": mid, "most_m": high } })));
            }
            return print(&format!(
                "About {mid:.1} m of {:.0} mm usable width, from {low:.1} to {high:.1} m ({:.0} % waste ± 10).\n",
                self.width, self.waste
            ));
        }
        let spare = match self.spare.as_str() {
            "piece" => Spare::LargestPiece,
            text => match text.trim_end_matches([' ', '%']).parse::<f64>() {
                Ok(p) if (0.0..=200.0).contains(&p) => Spare::PerCent(p),
                _ => return Err(usage("--spare is neither per cent nor `piece`", "give a number from 0 to 200, or piece")),
            },
        };
        let stop = self.search.stop()?;
        let (jobs, warnings) = job::load_all(&self.jobs).map_err(Failure::Input)?;
        warn(&warnings, self.search.quiet);
        let settings =
            Settings { stop, seed: self.search.seed, threads: self.search.threads.map_or(0, usize::from), sets: self.search.sets };
        let found = estimate::estimate(&jobs, &settings, self.seeds, spare, &AtomicBool::new(false), &Unwatched)?;
        if self.search.json {
            return print(&format!("{:#}\n", serde_json::json!(found)));
        }
        print(&shown(&found, spare))
    }
}

fn shown(found: &Estimate, spare: Spare) -> String {
    let mut out = String::new();
    for cloth in &found.cloths {
        let _ = writeln!(out, "{}\n  width    used, least-most     buy       cost  yield     mass", cloth.cloth);
        let dearest = cloth.widths.iter().filter_map(|w| w.buy.as_ref()?.cost).fold(0.0, f64::max);
        for w in &cloth.widths {
            let (Some([least, most]), Some(buy)) = (w.used, &w.buy) else {
                let why: String = w.why_not.as_deref().unwrap_or("no layout").chars().take(66).collect();
                let _ = writeln!(out, "  {:>5.0}    {why}", w.width);
                continue;
            };
            let cost = buy.cost.map_or("no price".into(), |c| format!("{c:.2}"));
            let mass = w.mass.map_or("–".into(), |m| format!("{:.2} kg", m / 1000.0));
            let bar = buy.cost.filter(|_| dearest > 0.0).map_or(0, |c| (c / dearest * 14.0).round() as usize);
            let mark = if w.best { "*" } else { " " };
            let own = if w.own { "=" } else { " " };
            let _ = writeln!(
                out,
                "{mark}{own}{:>5.0}  {:>6.2} -{:>6.2} m  {:>6.2} m {cost:>9} {:>5.1}% {mass:>9} {}",
                w.width,
                least / 1000.0,
                most / 1000.0,
                buy.length / 1000.0,
                w.yield_ * 100.0,
                "▇".repeat(bar)
            );
        }
    }
    let spare = match spare {
        Spare::PerCent(p) => format!("{p:.0} % spare"),
        Spare::LargestPiece => "the largest piece once more as spare".into(),
    };
    let seeds = found.seeds.len();
    let _ = writeln!(
        out,
        "\n* cheapest   = the job's own roll   bars: cost against width\nTo buy: the longest of {seeds} layouts, {spare}, rounded up as sold."
    );
    match found.cost {
        Some(cost) => {
            let _ = writeln!(out, "Cheapest of each cloth together: {cost:.2} {}", found.currency);
        }
        None => out.push_str("A price is missing, so there is no total: add `price_per_metre` to the cloth.\n"),
    }
    out
}
