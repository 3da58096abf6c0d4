//! `warpwise check JOB…`: everything short of the search, and nothing written.

use super::exit::Failure;
use super::output::{cautions, print, warn};
use super::progress::Bar;
use super::search::interrupt;
use super::terminal::COLUMNS;
use clap::Args;
use serde::Serialize;
use std::path::PathBuf;
use warpwise::cloth::Permitted;
use warpwise::geometry::ring_area;
use warpwise::job;
use warpwise::outline::{AccountRow, account_rows};
use warpwise::planner::{self, PreparedJob};
use warpwise::ply::{Hand, Part, Piece};
use warpwise::run::Run;
use warpwise::sheet::drawn;
use warpwise::sheet::summary::{self, PlyRow};
use warpwise::stock::Day;
use warpwise::units::counted;

/// `warpwise check`.
#[derive(Args)]
pub struct Check {
    /// The job files
    #[arg(value_name = "JOB", required = true)]
    jobs: Vec<PathBuf>,
    /// Print the pieces as JSON on standard output
    #[arg(long)]
    json: bool,
    /// Print no warnings
    #[arg(long)]
    quiet: bool,
}

impl Check {
    /// Reads, prepares and prints.
    pub fn run(self) -> Result<(), Failure> {
        let (bar, day) = (Bar::new(self.quiet), Day::today());
        let run = Run::default().with_day(day).with_cancel(interrupt()?).with_observer(&bar);
        let (jobs, mut warnings) =
            job::load_all(&self.jobs, &run).map_err(|f| Failure::input(f, &run))?;
        let prepared = planner::prepare(&jobs, 1, &run)?;
        drop(bar);
        warnings.extend(prepared.iter().flat_map(|p| p.prepared.warnings.clone()));
        let cautions = cautions(&jobs, jobs.iter().find_map(|j| j.stock.as_deref()), day);
        if self.json {
            let warnings: Vec<String> = warnings.iter().map(ToString::to_string).collect();
            let drawings =
                prepared.iter().flat_map(|p| &p.job.drawings).map(DrawingRows::of).collect();
            let plies = prepared.iter().flat_map(rows_of).collect();
            let report = Report { cautions: &cautions, plies, drawings, warnings: &warnings };
            let text = serde_json::to_string_pretty(&report)
                .map_err(|e| Failure::machine("the report", &e.into()))?;
            return print(&format!("{text}\n"));
        }
        warn(&warnings, self.quiet);
        let mut text = summary::cautions(&cautions, COLUMNS);
        for PreparedJob { job, prepared } in &prepared {
            text.push_str(&format!("{}\n\n", job.name));
            for drawing in &job.drawings {
                text.push_str(&drawn::drawing(
                    &drawing.file.display().to_string(),
                    &drawing.lines,
                    &drawing.spare,
                    COLUMNS,
                ));
            }
            if !job.drawings.is_empty() {
                text.push('\n');
            }
            text.push_str(&summary::plies(&PlyRow::of_pieces(job, &prepared.pieces), COLUMNS));
            text.push('\n');
        }
        let count: u32 =
            prepared.iter().flat_map(|p| &p.prepared.pieces).map(|piece| piece.copies).sum();
        text.push_str(&format!(
            "{} to cut, {}. Nothing was written.\n",
            counted(count as usize, "piece"),
            counted(warnings.len(), "warning")
        ));
        print(&text)
    }
}

/// What `--json` prints.
#[derive(Serialize)]
struct Report<'a> {
    /// What the dates of the cloths ask for.
    cautions: &'a [String],
    plies: Vec<Row>,
    drawings: Vec<DrawingRows<'a>>,
    warnings: &'a [String],
}

/// What became of the lines of a drawing.
#[derive(Serialize)]
struct DrawingRows<'a> {
    file: String,
    lines: Vec<AccountRow>,
    spare_outlines: &'a [String],
}

impl DrawingRows<'_> {
    fn of(drawing: &job::ReadDrawing) -> DrawingRows<'_> {
        DrawingRows {
            file: drawing.file.display().to_string(),
            lines: account_rows(&drawing.lines),
            spare_outlines: &drawing.spare,
        }
    }
}

/// One piece; lengths mm, areas mm², angles degrees.
#[derive(Serialize)]
struct Row {
    number: String,
    piece: String,
    ply: String,
    job: String,
    layer: usize,
    template: String,
    hand: Hand,
    angle: f64,
    cloth: String,
    part: Option<Part>,
    copies: u32,
    size_mm: [f64; 2],
    area_mm2: f64,
    net_area_mm2: f64,
    permitted: Vec<Permitted>,
    tolerance: f64,
    permitted_by: String,
}

fn rows_of(part: &PreparedJob<'_>) -> Vec<Row> {
    part.prepared.pieces.iter().map(|piece| row_of(part.job, piece)).collect()
}

fn row_of(job: &job::Job, piece: &Piece) -> Row {
    let size = piece.outline.bounds().map_or([0.0, 0.0], |b| [b.width(), b.height()]);
    Row {
        number: piece.number.clone(),
        piece: piece.id.clone(),
        ply: piece.ply.clone(),
        job: job.name.clone(),
        layer: piece.layer,
        template: piece.template.clone(),
        hand: piece.hand,
        angle: piece.angle,
        cloth: job.cloths[piece.cloth].id.clone(),
        part: piece.part,
        copies: piece.copies,
        size_mm: size,
        area_mm2: piece.outline.area(),
        net_area_mm2: piece.net.iter().map(|ring| ring_area(ring)).sum(),
        permitted: piece.permitted.clone(),
        tolerance: piece.tolerance,
        permitted_by: piece.permitted_by.clone(),
    }
}
