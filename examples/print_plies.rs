//! Prepares a job and prints its plies: number, size of the cut line, how each may lie.
//!
//! `cargo run --example print_plies -- demo-data/job.toml`

use std::path::{Path, PathBuf};
use warpwise::fault::Faults;
use warpwise::geometry::ring_bounds;
use warpwise::planner::{self, Refusal};
use warpwise::run::Run;

/// A line for each ply of a job.
///
/// # Errors
/// Every fault of the job and its drawings.
pub fn plies(job: &Path) -> Result<Vec<String>, Faults> {
    let (job, _warnings) = warpwise::job::load(job)?;
    let prepared = planner::prepare(std::slice::from_ref(&job), 1, &Run::default())
        .map_err(Refusal::into_faults)?;
    let pieces = prepared.iter().flat_map(|p| &p.prepared.pieces);
    let line = |p: &warpwise::ply::Piece| {
        let size = ring_bounds(&p.outline.outline)
            .map_or((0.0, 0.0), |b| (b.width().round(), b.height().round()));
        let cloth = &job.cloths[p.cloth].id;
        let turns: Vec<String> = p.permitted.iter().map(|t| format!("{}°", t.turn)).collect();
        let (w, h) = size;
        let (number, template, angle, copies) = (&p.number, &p.template, p.angle, p.copies);
        format!(
            "{number} {template}, {cloth} at {angle}°: {w} × {h} mm, {copies} of it, may be turned {}",
            turns.join(", ")
        )
    };
    Ok(pieces.map(line).collect())
}

#[allow(clippy::print_stdout, dead_code)]
fn main() -> Result<(), Faults> {
    let job = std::env::args_os().nth(1).map_or("demo-data/job.toml".into(), PathBuf::from);
    plies(&job)?.iter().for_each(|line| println!("{line}"));
    Ok(())
}
