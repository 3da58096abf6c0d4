//! Why an entity gives no line.

use crate::fault::Said;
use crate::geometry::Path;

/// One line may have so many points.
const MOST_POINTS: usize = 1_000_000;

/// Why an entity gives no line.
#[derive(Clone, Debug, PartialEq)]
pub(super) enum Refusal {
    /// It is none, by its nature.
    NotUsed(Said),
    /// A person sees a line there, but of a kind or in a place that is not read.
    Missed(Said),
    /// It should be one, but is wrong; and what to do about it.
    Wrong(Said, Said),
}

/// # Errors
/// A line under way has become too long to hold in memory.
pub(super) fn bounded(points: &Path) -> Result<(), Refusal> {
    if points.len() <= MOST_POINTS {
        return Ok(());
    }
    let what = said!("it comes to more than {MOST_POINTS} points");
    Err(Refusal::Wrong(
        what,
        "simplify it in the drawing program, or give a coarser chord tolerance".into(),
    ))
}
