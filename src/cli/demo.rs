//! `warpwise demo [DIR]`: the kayak job, compiled in.

use super::exit::Failure;
use super::files::write_into;
use super::nest::plan_and_write;
use super::search::Search;
use super::{mosaic, print};
use clap::Args;
use std::path::PathBuf;
use warpwise::fault::Fault;

/// The demo's files, as they stand in `demo-data/`.
const FILES: [(&str, &str); 13] = [
    ("job.toml", include_str!("../../demo-data/job.toml")),
    ("seat.svg", include_str!("../../demo-data/seat.svg")),
    ("hip-plate.svg", include_str!("../../demo-data/hip-plate.svg")),
    ("thigh-brace.svg", include_str!("../../demo-data/thigh-brace.svg")),
    ("hatch-cover.svg", include_str!("../../demo-data/hatch-cover.svg")),
    ("hatch-rim.dxf", include_str!("../../demo-data/hatch-rim.dxf")),
    ("foot-plate.dxf", include_str!("../../demo-data/foot-plate.dxf")),
    ("coaming.dxf", include_str!("../../demo-data/coaming.dxf")),
    ("back-rest.dxf", include_str!("../../demo-data/back-rest.dxf")),
    ("floor.csv", include_str!("../../demo-data/floor.csv")),
    ("stock.json", include_str!("../../demo-data/stock.json")),
    ("hatch.toml", include_str!("../../demo-data/hatch.toml")),
    ("offcuts.json", include_str!("../../demo-data/offcuts.json")),
];

/// Search time of the mosaic, as a share of that of the job.
const MOSAIC: f64 = 0.4;

/// `warpwise demo`.
#[derive(Args)]
pub struct Demo {
    /// The folder to write the job into
    #[arg(value_name = "DIR", default_value = "warpwise-demo")]
    dir: PathBuf,
    #[command(flatten)]
    search: Search,
}

impl Demo {
    /// Writes the job's files and plans it.
    pub fn run(self) -> Result<(), Failure> {
        let mut changed = Vec::new();
        for (name, text) in FILES {
            // A demo that was edited stays as its owner left it.
            match std::fs::read(self.dir.join(name)) {
                Ok(there) if there != text.as_bytes() => changed.push(name),
                _ => {}
            }
        }
        if !changed.is_empty() {
            return Err(Failure::Usage(
                Fault::new(
                    format!("the demo in it was edited ({})", changed.join(", ")),
                    "plan it with `warpwise nest`, or name another folder for a fresh demo",
                )
                .in_file(&self.dir)
                .into(),
            ));
        }
        write_into(&self.dir, &FILES.map(|(name, text)| (PathBuf::from(name), text.as_bytes().to_vec())))?;
        let stock = |file: &str| self.search.stock.clone().or_else(|| Some(self.dir.join(file)));
        let search = Search { stock: stock("stock.json"), ..self.search.clone() };
        plan_and_write(&[self.dir.join("job.toml")], &self.dir.join("plan"), &search)?;
        if self.search.json {
            // One plan is one answer.
            return Ok(());
        }
        print("\nThe hatch cover's face, once more as a mosaic of a box of offcuts:\n")?;
        let search = Search { seconds: self.search.seconds * MOSAIC, stock: stock("offcuts.json"), ..self.search.clone() };
        mosaic::plan_and_write(&self.dir.join("hatch.toml"), &self.dir.join("mosaic"), &search)
    }
}
