//! The pieces of jobs that are planned together.

use super::refusal::Refusal;
use crate::cloth::Cloth;
use crate::fault::Faults;
use crate::job::Job;
use crate::ply::{self, Kept, Piece, Prepared};
use crate::run::{Phase, Run};

/// The pieces of one job, ready to cut.
#[derive(Clone, Debug, PartialEq)]
pub struct PreparedJob<'a> {
    /// The job.
    pub job: &'a Job,
    /// Its pieces, ids and numbers unique over all jobs of the run.
    pub prepared: Prepared,
}

/// Prepares the pieces of jobs that are to share rolls, which [`crate::job::agree`] holds to agree.
/// With several jobs, piece ids carry the job's name and numbers its letter.
///
/// # Errors
/// Every fault of preparation; that it was stopped.
pub fn prepare<'a>(
    jobs: &'a [Job],
    sets: u32,
    run: &Run<'_>,
) -> Result<Vec<PreparedJob<'a>>, Refusal> {
    prepare_keeping(jobs, sets, &Kept::default(), run)
}

/// The same with what was worked out before, which is added to.
///
/// # Errors
/// As [`prepare`].
pub fn prepare_keeping<'a>(
    jobs: &'a [Job],
    sets: u32,
    kept: &Kept,
    run: &Run<'_>,
) -> Result<Vec<PreparedJob<'a>>, Refusal> {
    let mut faults = Faults::new();
    let mut all = Vec::new();
    for (index, job) in jobs.iter().enumerate() {
        let part =
            run.about(&job.name, (index as f64 / jobs.len() as f64, 1.0 / jobs.len() as f64));
        part.tell(Phase::Preparing, Some(0.0));
        let prepared = ply::prepare_keeping(job, jobs, kept, &part);
        // What was found until then is not all there is to say.
        run.check(Phase::Preparing).map_err(Refusal::Stopped)?;
        let Some(mut prepared) = faults.keep(prepared) else {
            continue;
        };
        for piece in &mut prepared.pieces {
            piece.copies = piece.copies.saturating_mul(sets);
            if jobs.len() > 1 {
                piece.id = format!("{}/{}", job.name, piece.id);
                piece.ply = format!("{}/{}", job.name, piece.ply);
                piece.number = format!("{}{}", letters(index), piece.number);
            }
        }
        all.push(PreparedJob { job, prepared });
    }
    let mut all = faults.into_result(all).map_err(Refusal::Input)?;
    let unsaid = ply::unsaid_pairs(&all.iter().map(|p| (p.job, &p.prepared)).collect::<Vec<_>>());
    for (index, warning) in unsaid {
        all[index].prepared.warnings.push(warning);
    }
    Ok(all)
}

/// Points of all cut lines, copies counted.
pub(super) fn points_of(prepared: &[PreparedJob<'_>]) -> u32 {
    let pieces = prepared.iter().flat_map(|p| &p.prepared.pieces);
    let points: usize =
        pieces.map(|p| p.outline.rings().map(Vec::len).sum::<usize>() * p.copies as usize).sum();
    u32::try_from(points).unwrap_or(u32::MAX)
}

/// `A` to `Z`, then `AA` and so on.
pub(super) fn letters(mut index: usize) -> String {
    let mut out = String::new();
    loop {
        out.insert(0, char::from(b'A' + (index % 26) as u8));
        if index < 26 {
            return out;
        }
        index = index / 26 - 1;
    }
}

/// The cloths that pieces are cut from, in order of first use; jobs that share a cloth agree about
/// it.
pub(super) fn cloths_in_use<'a>(prepared: &[PreparedJob<'a>]) -> Vec<&'a Cloth> {
    let mut cloths: Vec<&'a Cloth> = Vec::new();
    for PreparedJob { job, prepared } in prepared {
        for piece in &prepared.pieces {
            let cloth = &job.cloths[piece.cloth];
            if !cloths.iter().any(|c| c.id == cloth.id) {
                cloths.push(cloth);
            }
        }
    }
    cloths
}

/// The pieces of all jobs that are cut from a cloth, in laying order job by job.
pub(super) fn pieces_on<'p, 'a>(
    prepared: &'p [PreparedJob<'a>],
    cloth: &'p Cloth,
) -> impl Iterator<Item = (&'a Job, &'p Piece)> {
    prepared.iter().flat_map(move |PreparedJob { job, prepared }| {
        prepared
            .pieces
            .iter()
            .filter(move |piece| job.cloths[piece.cloth].id == cloth.id)
            .map(move |piece| (*job, piece))
    })
}
