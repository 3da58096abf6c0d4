//! `warpwise sheets PLAN`: the sheets of a plan again, in another format or on other paper, from
//! its `plan.json` alone.

use super::ask;
use super::exit::Failure;
use super::files::{read_plan, write_and_remove};
use super::output::{print, warn};
use super::terminal::say;
use clap::{Args, ValueEnum};
use std::path::PathBuf;
use warpwise::cloth::Face;
use warpwise::fault::{Fault, Faults};
use warpwise::sheet::{LabelGrid, PageCount, Paper, Written};
use warpwise::units::counted;
use warpwise::{plan, sheet, verify};

/// A file format of cut sheets.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
enum Format {
    /// True scale, one file a sheet
    Svg,
    /// True scale, on paper
    Pdf,
    /// For a cutter
    Dxf,
}

/// A face of the cloth.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
enum Side {
    /// The face that the job's `up` names
    Up,
    /// The other
    Down,
}

/// `warpwise sheets`.
#[derive(Args)]
pub struct Sheets {
    /// A plan folder or its plan.json
    #[arg(value_name = "PLAN")]
    plan: PathBuf,
    /// Folder to write the sheets into
    #[arg(long, value_name = "DIR", default_value = "sheets")]
    out: PathBuf,
    /// Format of the cut sheets [default: svg, or pdf if --paper is given]
    #[arg(long = "as", value_name = "FORMAT", value_enum)]
    format: Option<Format>,
    /// Paper for PDF: a4, a3, letter, tabloid, roll (one page as large as the cloth) or a size in
    /// mm, such as 300x500 [default: a4]
    #[arg(long, value_name = "NAME")]
    paper: Option<String>,
    /// Margin that the printer leaves white at each side, mm
    #[arg(long, value_name = "MM", default_value_t = 8.0, allow_negative_numbers = true)]
    margin: f64,
    /// Overlap of neighbouring pages, mm
    #[arg(long, value_name = "MM", default_value_t = 10.0, allow_negative_numbers = true)]
    overlap: f64,
    /// Templates of the pieces instead of the layouts, one for those that are equal [default: PDF
    /// on paper]
    #[arg(long, conflicts_with_all = ["placement", "labels"])]
    pieces: bool,
    /// The placement sheet instead: where each template lies, by tape measure (PDF on A4)
    #[arg(long, conflicts_with = "labels")]
    placement: bool,
    /// Stick-on labels and kit bag cards instead (PDF), on a sheet of columns x rows: 3x8, 3x7,
    /// 2x7, 3x10
    #[arg(long, value_name = "GRID", num_args = 0..=1, default_missing_value = "3x8")]
    labels: Option<String>,
    /// Draw the cloth with this face up [default: as planned]
    #[arg(long, value_enum, value_name = "SIDE", conflicts_with = "labels")]
    face: Option<Side>,
    /// Write without asking, however many pages they are
    #[arg(long)]
    yes: bool,
    /// Print the written files as JSON on standard output
    #[arg(long)]
    json: bool,
    /// Print no warnings
    #[arg(long)]
    quiet: bool,
}

impl Sheets {
    /// Reads, verifies, draws.
    pub fn run(self) -> Result<(), Failure> {
        // What is wrong with the command line is told before a long plan is read.
        let kind = self.kind()?;
        let file = if self.plan.is_dir() { self.plan.join("plan.json") } else { self.plan.clone() };
        let text = read_plan(&file)?;
        let name = |mut faults: Faults| {
            for fault in &mut faults.0 {
                fault.file.get_or_insert_with(|| file.clone());
            }
            Failure::Input(faults)
        };
        let plan = plan::from_json(&text).map_err(name)?;
        let plan = verify::verify(plan).map_err(name)?;
        let face = self.face.map(|f| if f == Side::Up { Face::Up } else { Face::Down });
        let written: Vec<Written> = match &kind {
            Kind::Svg => sheet::cut_sheets(&plan, face)
                .into_iter()
                .chain(sheet::mosaic_sheets(&plan))
                .collect(),
            Kind::Dxf => sheet::cutter_files(&plan, face)
                .into_iter()
                .chain(sheet::mosaic_cutter_files(&plan))
                .collect(),
            Kind::Layouts(paper) => {
                if let Some(paper) = paper
                    && !self.agreed(&sheet::pages_needed(&plan, face, paper), paper)?
                {
                    return print("Nothing was written.\n");
                }
                let sheets = sheet::printed_sheets(&plan, face, paper.as_ref());
                sheets.into_iter().chain(sheet::printed_mosaics(&plan, paper.as_ref())).collect()
            }
            Kind::Pieces(paper) => {
                if !self.agreed(&[sheet::template_pages(&plan, face, paper)], paper)? {
                    return print("Nothing was written.\n");
                }
                vec![sheet::printed_templates(&plan, face, paper)]
            }
            Kind::PiecesSvg => sheet::template_sheets(&plan, face),
            Kind::PiecesDxf => sheet::template_cutter_files(&plan, face),
            Kind::Placement => vec![sheet::placement_sheet(&plan, face)],
            Kind::Labels(grid) => sheet::labels(&plan, grid).to_vec(),
        };
        let files: Vec<(PathBuf, Vec<u8>)> =
            written.iter().map(|w| (PathBuf::from(&w.name), w.bytes.clone())).collect();
        let ending = match &kind {
            Kind::Svg => Some(".svg".to_string()),
            Kind::Dxf => Some(".dxf".to_string()),
            Kind::Layouts(paper) => {
                Some(format!("-{}.pdf", paper.as_ref().map_or("roll", |p| p.name.as_str())))
            }
            _ => None,
        };
        // Sheets of an earlier plan among the new ones would be cut by mistake.
        let is_old = |name: &str| {
            let numbered = name
                .split_once('-')
                .is_some_and(|(n, _)| n.len() >= 2 && n.bytes().all(|b| b.is_ascii_digit()));
            numbered && ending.as_ref().is_some_and(|e| name.ends_with(e))
        };
        for changed in write_and_remove(&self.out, &files, &is_old)? {
            let what = "a sheet of an earlier run was changed since; it stays as it is";
            let fault = Fault::new(what, "move it elsewhere: it is not of this plan")
                .in_file(&self.out.join(changed));
            warn(&[fault], self.quiet);
        }
        let path = |w: &Written| self.out.join(&w.name).display().to_string();
        if self.json {
            let list: Vec<_> =
                written.iter().map(|w| serde_json::json!({ "file": path(w), "pages": w.pages, "bytes": w.bytes.len() })).collect();
            return print(&format!(
                "{:#}\n",
                serde_json::json!({ "plan": plan.plan().id, "files": list })
            ));
        }
        written.iter().try_for_each(|w| print(&format!("{}\n", path(w))))
    }

    /// Tells how many pages there will be before they are drawn; on a terminal asks whether to go
    /// on.
    fn agreed(&self, counts: &[PageCount], paper: &Paper) -> Result<bool, Failure> {
        let paper = paper.name.to_uppercase();
        let of = |pages: usize, saved: usize| {
            let saved = if saved > 0 { format!(" ({saved} saved)") } else { String::new() };
            format!("{} of {paper}{saved}", counted(pages, "page"))
        };
        let all: usize = counts.iter().map(|c| c.pages).sum();
        if !self.quiet {
            counts.iter().for_each(|c| say(&format!("{}: {}", c.name, of(c.pages, c.saved))));
            if counts.len() > 1 {
                say(&format!("in all: {}", of(all, counts.iter().map(|c| c.saved).sum())));
            }
        }
        if self.yes || self.quiet || self.json || !ask::on_terminal() {
            return Ok(true);
        }
        ask::ask(
            &format!("Write {} of {paper}?", counted(all, "page")),
            &[("yes", true), ("no", false)],
        )
    }

    /// What is asked for, if the flags go together.
    fn kind(&self) -> Result<Kind, Failure> {
        let usage = |what: &'static str, remedy: &'static str| {
            Failure::Usage(Fault::new(what, remedy).into())
        };
        if let Some(grid) = &self.labels {
            return LabelGrid::named(grid).map(Kind::Labels).map_err(Failure::Usage);
        }
        if self.placement && self.format.is_some_and(|f| f != Format::Pdf) {
            return Err(usage(
                "the placement sheet is a table and PDF only",
                "leave out --as, or give --as pdf",
            ));
        }
        if self.placement {
            return Ok(Kind::Placement);
        }
        match self.format.unwrap_or(if self.pieces || self.paper.is_some() {
            Format::Pdf
        } else {
            Format::Svg
        }) {
            Format::Svg | Format::Dxf if self.paper.is_some() => {
                Err(usage("--paper is for PDF", "give --as pdf, or leave out --paper"))
            }
            Format::Svg => Ok(if self.pieces { Kind::PiecesSvg } else { Kind::Svg }),
            Format::Dxf => Ok(if self.pieces { Kind::PiecesDxf } else { Kind::Dxf }),
            Format::Pdf => {
                let name = self.paper.as_deref().unwrap_or("a4");
                if name.eq_ignore_ascii_case("roll") {
                    return if self.pieces {
                        Err(usage(
                            "templates are packed on sheets, not on a roll",
                            "give --paper with a size in mm, such as 900x1500",
                        ))
                    } else {
                        Ok(Kind::Layouts(None))
                    };
                }
                let paper = Paper::new(name, self.margin, self.overlap).map_err(Failure::Usage)?;
                Ok(if self.pieces { Kind::Pieces(paper) } else { Kind::Layouts(Some(paper)) })
            }
        }
    }
}

/// What is to be written.
enum Kind {
    Svg,
    Dxf,
    Layouts(Option<Paper>),
    Pieces(Paper),
    PiecesSvg,
    PiecesDxf,
    Placement,
    Labels(LabelGrid),
}
