//! `warpwise demo [DIR]`: the kayak job, compiled in.

use super::exit::Failure;
use super::files::write_fresh;
use super::mosaic;
use super::nest::plan_and_write;
use super::output::print;
use super::search::Search;
use clap::Args;
use std::path::PathBuf;
use warpwise::fault::Fault;

/// The demo's files, as they stand in `demo-data/`.
const FILES: [(&str, &[u8]); 15] = [
    ("job.toml", include_bytes!("../../demo-data/job.toml")),
    ("seat.svg", include_bytes!("../../demo-data/seat.svg")),
    ("hip-plate.svg", include_bytes!("../../demo-data/hip-plate.svg")),
    ("thigh-brace.svg", include_bytes!("../../demo-data/thigh-brace.svg")),
    ("hatch-cover.svg", include_bytes!("../../demo-data/hatch-cover.svg")),
    ("hatch-rim.dxf", include_bytes!("../../demo-data/hatch-rim.dxf")),
    ("foot-plate.dxf", include_bytes!("../../demo-data/foot-plate.dxf")),
    ("coaming.dxf", include_bytes!("../../demo-data/coaming.dxf")),
    ("back-rest.dxf", include_bytes!("../../demo-data/back-rest.dxf")),
    ("floor.csv", include_bytes!("../../demo-data/floor.csv")),
    ("stock.json", include_bytes!("../../demo-data/stock.json")),
    ("hatch.toml", include_bytes!("../../demo-data/hatch.toml")),
    ("offcuts.json", include_bytes!("../../demo-data/offcuts.json")),
    ("heel-rest.jpg", include_bytes!("../../demo-data/heel-rest.jpg")),
    ("heel-rest.svg", include_bytes!("../../demo-data/heel-rest.svg")),
];

/// Share of the search time for the mosaic.
const MOSAIC: f64 = 0.3;

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
        for (name, bytes) in FILES {
            // A demo that was edited stays as its owner left it.
            match std::fs::read(self.dir.join(name)) {
                Ok(there) if there != bytes => changed.push(name),
                _ => {}
            }
        }
        if !changed.is_empty() {
            return Err(Failure::Usage(
                Fault::new(
                    said!("the demo in it was edited ({})", changed.join(", ")),
                    "plan it with `warpwise nest`, or name another folder for a fresh demo",
                )
                .in_file(&self.dir)
                .into(),
            ));
        }
        write_fresh(&self.dir, &FILES.map(|(name, bytes)| (PathBuf::from(name), bytes.to_vec())))?;
        let stock = |file: &str| self.search.stock.clone().or_else(|| Some(self.dir.join(file)));
        let share = if self.search.json { 1.0 } else { 1.0 - MOSAIC };
        let search = Search { share, stock: stock("stock.json"), ..self.search.clone() };
        plan_and_write(&[self.dir.join("job.toml")], &self.dir.join("plan"), &search)?;
        if self.search.json {
            // One plan is one answer.
            return Ok(());
        }
        print(&format!(
            "\nThe heel rest was traced from the photo heel-rest.jpg in that folder. Try it:\n\
             warpwise trace photo {}/heel-rest.jpg \\\n  --net edge --inked up --off mould --out traced\n",
            self.dir.display()
        ))?;
        print("\nThe hatch cover's face, once more as a mosaic of a box of offcuts:\n")?;
        let search = Search { share: MOSAIC, stock: stock("offcuts.json"), ..self.search.clone() };
        mosaic::plan_and_write(
            &self.dir.join("hatch.toml"),
            &self.dir.join("mosaic"),
            &search,
            true,
        )
    }
}
