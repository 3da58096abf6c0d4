//! The target divided into patches.

use super::diagram::stretches;
use super::grow;
use super::order::{growths, junctions, ranks};
use super::random::Random;
use super::relax::{Wanted, centroid, relax};
use crate::fault::Fault;
use crate::geometry::{Point, Region};
use crate::units::show_mm;

/// Divisions tried before a target is given up.
const TRIES: u64 = 24;
/// Orders tried for one division.
const ORDERS: usize = 6;
/// More patches than this are not planned for one target.
pub const MOST_PATCHES: usize = 600;

/// What to divide, and into what.
#[derive(Clone, Debug, PartialEq)]
pub struct Brief {
    /// What must be covered, mm.
    pub target: Region,
    /// Side of a square as large as a patch is seen, from and to, mm.
    pub size: [f64; 2],
    /// Overlap at seams, mm.
    pub lap: f64,
    /// Seed of every random choice.
    pub seed: u64,
}

/// A target divided: the patches from the one on top (seen whole) down.
#[derive(Clone, Debug, PartialEq)]
pub struct Division {
    /// The patches as they are cut, the target's frame, mm.
    pub patches: Vec<Region>,
    /// What is seen of each.
    pub seen: Vec<Region>,
    /// Pairs of patches with a common seam, the upper first.
    pub seams: Vec<[usize; 2]>,
    /// Middle of what is seen of each.
    pub middles: Vec<Point>,
}

/// Divides a target into patches about `mean` mm across (a size in the brief's range): irregular,
/// convex but for the target's own edge, no seam shorter than two laps, nowhere more than three
/// patches thick.
///
/// # Errors
/// The target cannot be divided so: with what would do.
pub fn divide(brief: &Brief, mean: f64) -> Result<Division, Fault> {
    let side = brief.target.area().max(0.0).sqrt();
    if side < 1.2 * brief.size[0] || brief.target.outline.len() < 3 {
        let what = said!(
            "patches of {} or more do not divide a target as large as a square of {}",
            show_mm(brief.size[0]),
            show_mm(side.round())
        );
        return Err(Fault::new(what, "ask for smaller patches, or lay it whole"));
    }
    let count = ((side / mean) * (side / mean)).round().max(2.0) as usize;
    if count > MOST_PATCHES {
        let what = said!(
            "patches of about {} make {count} of it, and at most {MOST_PATCHES} are planned",
            show_mm(mean)
        );
        return Err(Fault::new(what, "ask for larger patches, or divide the template"));
    }
    let wanted = Wanted { target: &brief.target, size: brief.size, seam: 2.0 * brief.lap };
    for attempt in 0..TRIES {
        let mut random = Random::new(brief.seed, attempt);
        // Now and then one more or one less: some shapes do not take a number well.
        let count = (count as u64 + attempt % 3).saturating_sub(attempt % 2).max(2) as usize;
        let (_, cells, wrong) = relax(&wanted, count, &mut random);
        if wrong > 0.0 {
            continue;
        }
        let Some(seen) = grow::seen(&cells, &brief.target) else {
            continue;
        };
        let junctions = junctions(&cells, &brief.target);
        for _ in 0..ORDERS {
            let rank = ranks(cells.len(), &junctions, &mut random);
            let Some(patches) =
                grow::patches(&cells, &brief.target, &rank, brief.lap, &growths(&junctions, &rank))
            else {
                continue;
            };
            if !grow::covers(&patches, &brief.target)
                || !grow::keeps_under(&patches, &seen, &rank)
                || !grow::keeps_lap(&cells, &patches, &rank, brief.lap, &brief.target)
                || !grow::at_most_three(&patches)
            {
                continue;
            }
            let mut seams = Vec::new();
            for (i, c) in cells.iter().enumerate() {
                for (a, b, j) in c.edges() {
                    let Some(j) = j.filter(|&j| rank[i] < rank[j]) else {
                        continue;
                    };
                    if stretches(a, b, &brief.target).iter().any(|s| s[0].distance(s[1]) > 0.01) {
                        seams.push([rank[i], rank[j]]);
                    }
                }
            }
            seams.sort_unstable();
            seams.dedup();
            let mut by_rank: Vec<usize> = (0..cells.len()).collect();
            by_rank.sort_by_key(|&i| rank[i]);
            return Ok(Division {
                patches: by_rank.iter().map(|&i| patches[i].clone()).collect(),
                middles: by_rank.iter().map(|&i| centroid(&seen[i].outline)).collect(),
                seen: by_rank.iter().map(|&i| seen[i].clone()).collect(),
                seams,
            });
        }
    }
    let what = said!(
        "no division into patches of {} to {} with every seam at least {} long was found",
        show_mm(brief.size[0]),
        show_mm(brief.size[1]),
        show_mm(2.0 * brief.lap)
    );
    Err(Fault::new(
        what,
        "widen the range of patch sizes, ask for larger patches or a smaller lap, or try another seed",
    ))
}
