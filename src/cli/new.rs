//! `warpwise new DIR [OUTLINE…]`: a commented job to start from.

use super::exit::Failure;
use super::files::write_fresh;
use super::output::{print, warn};
use super::terminal::COLUMNS;
use clap::Args;
use std::path::{Path, PathBuf};
use warpwise::fault::{Fault, Faults};
use warpwise::job;
use warpwise::outline::{LARGEST_FILE, ReadOptions, Reading, account_rows, read_file};
use warpwise::sheet::drawn;

/// `warpwise new`.
#[derive(Args)]
pub struct New {
    /// The folder to make
    #[arg(value_name = "DIR")]
    dir: PathBuf,
    /// Outline drawings (SVG, DXF or CSV) to copy into it
    #[arg(value_name = "OUTLINE")]
    outlines: Vec<PathBuf>,
    /// Print what was written as JSON on standard output
    #[arg(long)]
    json: bool,
    /// Print no warnings
    #[arg(long)]
    quiet: bool,
}

impl New {
    /// Copies the outlines and writes the job beside them.
    pub fn run(self) -> Result<(), Failure> {
        let job_file = self.dir.join("job.toml");
        if job_file.exists() {
            return Err(Failure::Usage(
                Fault::new("there is a job already", "name another folder, or edit the job")
                    .in_file(&job_file)
                    .into(),
            ));
        }
        let names = self.names_in_folder()?;
        let title = self
            .dir
            .file_name()
            .map_or_else(|| "New job".to_string(), |n| n.to_string_lossy().into_owned());
        let (drawings, unread) = read(&self.outlines, names);
        let text = job::scaffold(&title, &drawings);
        let mut files = Vec::new();
        for (from, (name, _)) in self.outlines.iter().zip(&drawings) {
            if !same_file(from, &self.dir.join(name)) {
                let bytes = std::fs::read(from)
                    .map_err(|e| Failure::machine(&from.display().to_string(), &e))?;
                files.push((name.clone(), bytes));
            }
        }
        files.push((PathBuf::from("job.toml"), text.into_bytes()));
        write_fresh(&self.dir, &files)?;
        let mut heard = unread.0;
        heard.extend(
            drawings
                .iter()
                .filter_map(|(_, reading)| reading.as_ref())
                .flat_map(|r| r.warnings.clone()),
        );
        warn(&heard, self.quiet);
        if self.json {
            let written: Vec<String> =
                files.iter().map(|(name, _)| self.dir.join(name).display().to_string()).collect();
            let warnings: Vec<String> = heard.iter().map(ToString::to_string).collect();
            return print(&format!(
                "{:#}\n",
                serde_json::json!({ "job": job_file.display().to_string(), "files": written, "drawings": read_rows(&drawings), "warnings": warnings })
            ));
        }
        let account = |(name, reading): &(PathBuf, Option<Reading>)| match reading {
            Some(reading) => {
                drawn::drawing(&name.display().to_string(), &reading.account, &[], COLUMNS)
            }
            None => String::new(),
        };
        let accounts: String = drawings.iter().map(account).collect();
        print(&format!(
            "{accounts}{}\nNow edit it, then: warpwise check {}\n",
            job_file.display(),
            job_file.display()
        ))
    }

    /// The file name each outline gets in the folder; every outline that cannot be had is named.
    fn names_in_folder(&self) -> Result<Vec<PathBuf>, Failure> {
        let mut faults = Faults::new();
        let mut names: Vec<PathBuf> = Vec::new();
        for outline in &self.outlines {
            match outline.file_name() {
                Some(_) if std::fs::metadata(outline).is_ok_and(|m| m.len() > LARGEST_FILE) => {
                    let what = said!("the file has more than {} MB", LARGEST_FILE >> 20);
                    faults.push(
                        Fault::new(what, "split the drawing, or leave out pictures and details")
                            .in_file(outline),
                    );
                }
                Some(name) if outline.is_file() => {
                    let name = PathBuf::from(name);
                    let target = self.dir.join(&name);
                    if names.contains(&name) || (target.exists() && !same_file(&target, outline)) {
                        faults.push(
                            Fault::new(
                                "another file of this name is there",
                                "rename one of the two",
                            )
                            .in_file(outline),
                        );
                    }
                    names.push(name);
                }
                _ => {
                    let what = match outline {
                        o if o.is_dir() => "this is a folder",
                        o if o.exists() => "this is not an ordinary file",
                        _ => "there is no such file",
                    };
                    faults.push(
                        Fault::new(what, "name an outline drawing: SVG, DXF or CSV")
                            .in_file(outline),
                    );
                }
            }
        }
        faults.into_result(names).map_err(Failure::Input)
    }
}

/// What became of the lines of each drawing that could be read, for `--json`.
fn read_rows(drawings: &[(PathBuf, Option<Reading>)]) -> Vec<serde_json::Value> {
    let rows = |(name, reading): &(PathBuf, Option<Reading>)| {
        let lines = account_rows(&reading.as_ref()?.account);
        Some(serde_json::json!({ "file": name.display().to_string(), "lines": lines }))
    };
    drawings.iter().filter_map(rows).collect()
}

/// True if two names lead to one file that is there, as `seat.svg` and `./seat.svg` do.
fn same_file(a: &Path, b: &Path) -> bool {
    matches!((a.canonicalize(), b.canonicalize()), (Ok(a), Ok(b)) if a == b)
}

/// Reads the drawings, so that the job can say what is in them; what could not be read yet (a
/// drawing without a unit, say) the user hears of.
fn read(outlines: &[PathBuf], names: Vec<PathBuf>) -> (Vec<(PathBuf, Option<Reading>)>, Faults) {
    let mut faults = Faults::new();
    let mut found = |(path, name): (&PathBuf, PathBuf)| {
        (name, faults.keep(read_file(path, &ReadOptions::default())))
    };
    let drawings = outlines.iter().zip(names).map(&mut found).collect();
    (drawings, faults)
}
