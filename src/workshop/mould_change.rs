//! What a change of a mould does to a job's pieces, before it is kept.

use super::draft::{Refused, Revision};
use super::edit::{Edit, edited};
use super::open_job::OpenJob;
use crate::job::{Job, Side};
use crate::ply::{Hand, Prepared};

/// The pieces of a template in one hand.
#[derive(Clone, Debug, PartialEq)]
pub struct HandsOf {
    /// The template.
    pub template: String,
    /// The hand.
    pub hand: Hand,
    /// Left or right, where its mould says so.
    pub side: Option<Side>,
    /// Pieces of it, copies counted.
    pub pieces: u32,
    /// The drawing is mirrored to come into the template's frame: off a plug or inked side down,
    /// but not both.
    pub drawn_mirrored: bool,
}

/// The hands of all pieces, template by template.
pub fn hands_of(job: &Job, prepared: &Prepared) -> Vec<HandsOf> {
    let mut out: Vec<HandsOf> = Vec::new();
    for (t, template) in job.templates.iter().enumerate() {
        for hand in [Hand::AsTraced, Hand::Mirrored] {
            let of = prepared.pieces.iter().filter(|p| p.template == template.id && p.hand == hand);
            let pieces = of.map(|p| p.copies).sum();
            if pieces > 0 {
                out.push(HandsOf {
                    template: template.id.clone(),
                    hand,
                    side: job.side(t, hand == Hand::Mirrored),
                    pieces,
                    drawn_mirrored: template.drawn_mirrored(),
                });
            }
        }
    }
    out
}

/// What an edit would make of the job: its check as it would be, and nothing is written.
///
/// # Errors
/// [`Refused`]: the job has changed, or the edit names what is not there.
pub fn changes_hands(
    open: &mut OpenJob,
    edit: &Edit,
    seen: &Revision,
) -> Result<super::Checked, Refused> {
    open.draft.fresh(seen)?;
    let text = edited(open.draft.text(), edit)?;
    Ok(open.check(&text))
}
