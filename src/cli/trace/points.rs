//! `warpwise trace points FILE`: measured points or offsets as a drawing at true size.

use crate::cli::exit::Failure;
use crate::cli::files::write_into;
use crate::cli::output::{print, warn};
use clap::Args;
use std::path::{Path, PathBuf};
use warpwise::fault::{Fault, Faults};
use warpwise::file_name;
use warpwise::geometry::ring_bounds;
use warpwise::outline::{Draft, LARGEST_FILE, Outline, ReadOptions, Unit, read_bytes};
use warpwise::trace::{Template, drawing, is_station_table, read_stations};

/// `warpwise trace points`.
#[derive(Args)]
pub struct Points {
    /// A CSV table: points (x, y), or offsets from a base line (station, left, right)
    #[arg(value_name = "FILE")]
    file: PathBuf,
    /// The folder to write into [default: beside the table]
    #[arg(long, value_name = "DIR")]
    out: Option<PathBuf>,
    /// Name of the template and its file [default: the table's name]
    #[arg(long, value_name = "NAME")]
    name: Option<String>,
    /// Unit of the numbers, if the table does not say: mm, cm, m, in, ft
    #[arg(long, value_name = "UNIT", value_parser = |s: &str| Unit::named(s).ok_or("give mm, cm, m, in or ft"))]
    unit: Option<Unit>,
    /// Lay a smooth curve through the offsets instead of straight lines
    #[arg(long)]
    fair: bool,
}

impl Points {
    /// Reads and writes.
    pub fn run(self) -> Result<(), Failure> {
        let stem = self
            .file
            .file_stem()
            .map_or_else(|| "template".into(), |s| s.to_string_lossy().into_owned());
        let name = self.name.clone().unwrap_or(stem);
        file_name::checked(&name).map_err(|f| Failure::Usage(f.into()))?;
        let templates =
            self.templates(&name).map_err(|faults| Failure::Input(faults.in_file(&self.file)))?;
        let beside = self
            .file
            .parent()
            .map(Path::to_path_buf)
            .filter(|p| !p.as_os_str().is_empty())
            .unwrap_or_else(|| PathBuf::from("."));
        let out = self.out.clone().unwrap_or(beside);
        let file = PathBuf::from(format!("{name}.svg"));
        write_into(
            &out,
            &[(
                file.clone(),
                drawing(&templates, &["Made of measured points.".into()]).into_bytes(),
            )],
        )?;
        let mut text = String::new();
        for t in &templates {
            let (w, h) = ring_bounds(&t.net).map_or((0.0, 0.0), |b| (b.width(), b.height()));
            text.push_str(&format!("{}: {w:.1} × {h:.1} mm\n", t.name));
        }
        print(&format!("{text}Outline: {}\n", out.join(file).display()))
    }

    fn templates(&self, name: &str) -> Result<Vec<Template>, Faults> {
        let about = std::fs::metadata(&self.file).map_err(|_| {
            Fault::new("there is no such file", "name a CSV table of points or offsets")
        })?;
        if !about.is_file() || about.len() > LARGEST_FILE {
            return Err(Fault::new(
                "this is not an ordinary file of at most 32 MB",
                "name a CSV table of points or offsets",
            )
            .into());
        }
        let bytes = std::fs::read(&self.file).map_err(|e| {
            Fault::new(said!("the file cannot be read: {e}"), "check the disk and the name")
        })?;
        if let Some(text) = std::str::from_utf8(&bytes).ok().filter(|t| is_station_table(t)) {
            let template = read_stations(text, name, self.unit, self.fair)?;
            // The same checks as a drawing read from a file.
            Outline::new(Draft { net: template.net.clone(), ..Draft::default() })?;
            return Ok(vec![template]);
        }
        let reading = read_bytes(
            &self.file,
            &bytes,
            &ReadOptions { unit: self.unit, ..ReadOptions::default() },
        )?;
        warn(&reading.warnings, false);
        let several = reading.outlines.len() > 1;
        Ok(reading
            .outlines
            .iter()
            .enumerate()
            .map(|(i, o)| of_outline(o, name, several.then_some(i + 1)))
            .collect())
    }
}

fn of_outline(outline: &Outline, name: &str, number: Option<usize>) -> Template {
    let own = if outline.name().is_empty() { name } else { outline.name() };
    let n = outline.net().len();
    let edge = |i: usize| {
        outline.edges()[i].map(|kind| (kind, vec![outline.net()[i], outline.net()[(i + 1) % n]]))
    };
    Template {
        name: if outline.name().is_empty() {
            number.map_or(own.into(), |i| format!("{own}-{i}"))
        } else {
            own.into()
        },
        net: outline.net().clone(),
        holes: outline.holes().to_vec(),
        arrow: outline.arrow(),
        cuts: outline.cuts().to_vec(),
        marks: outline.marks().to_vec(),
        edges: (0..outline.edges().len()).filter_map(edge).collect(),
        ..Template::default()
    }
}
