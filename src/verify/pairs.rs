//! Parts said to be each other's mirror image: the lines of visible twills, worked out here from
//! the angles as laid.

use super::findings::Findings;
use super::placement::turns_apart;
use super::ply::Ply;
use crate::cloth::Weave;
use crate::job::Seen;
use crate::plan::{Plan, PlanTemplate};
use crate::ply::Hand;

const DEGREES: f64 = 1e-6;

/// A twill shows one line of 45° to the warp, which a half turn keeps and a mirror about the part's
/// 0° turns round.
const LINE: f64 = 45.0;

/// The template that the one a ply lies on is said to mirror.
pub(super) fn mirrors<'a>(plan: &'a Plan, t: &PlanTemplate) -> Option<&'a str> {
    let lies_on = lies_on(t);
    plan.templates
        .iter()
        .find(|o| o.job == t.job && o.template == lies_on)?
        .other_hand_of
        .as_deref()
}

/// The template itself, or the one a patch lies on.
pub(super) fn lies_on(t: &PlanTemplate) -> &str {
    t.on.as_ref().map_or(&t.template, |on| &on.0)
}

/// True of plies whose line can be seen and mirrored, and which the lay-up wants so.
fn shows_line(ply: &Ply) -> bool {
    let twill = matches!(ply.cloth.weave, Weave::Twill22 | Weave::Twill44) && ply.cloth.balanced;
    twill && ply.layer.seen != Seen::Hidden && ply.layer.book_match
}

/// Every pair that the plan names.
pub(super) fn check(plan: &Plan, plies: &[Ply], found: &mut Findings<'_>) {
    let warp = |p: &Ply| p.pieces.first().map(|&i| plan.pieces[i].angle);
    for ply in plies.iter().filter(|p| shows_line(p)) {
        let Some((other, mirrored)) = partner(plan, ply, plies) else {
            continue;
        };
        let (Some(here), Some(there)) = (warp(ply), warp(other)) else {
            continue;
        };
        let wanted = if mirrored { -(there + LINE) } else { there + LINE };
        let off = half_turns_apart(here + LINE, wanted);
        // Only where the structures are mirror images can the lines be: else the lay-up was warned.
        let structure = if mirrored { -there } else { there };
        let alike = half_turns_apart(2.0 * here, 2.0 * structure) < DEGREES;
        if alike && off > DEGREES {
            found.add(
                &ply.name,
                said!(
                    "shows its line {off:.1} degrees off that of {}, whose pair it is said to be",
                    other.name
                ),
            );
        }
    }
}

/// The ply whose pair this one is said to be, and whether it is its mirror image.
fn partner<'p, 'a>(
    plan: &Plan,
    ply: &Ply<'a>,
    plies: &'p [Ply<'a>],
) -> Option<(&'p Ply<'a>, bool)> {
    let like = |p: &&Ply| {
        shows_line(p) && p.layer.seen == ply.layer.seen && p.cloth.cloth == ply.cloth.cloth
    };
    if let Some(of) = mirrors(plan, ply.template) {
        let theirs = plies
            .iter()
            .filter(like)
            .filter(|p| p.layer.job == ply.layer.job && lies_on(p.template) == of);
        // In the same layer if there is one, else the nearest; of both hands the one as traced.
        let nearest = theirs
            .min_by_key(|p| (p.layer.layer.abs_diff(ply.layer.layer), p.hand != Hand::AsTraced))?;
        return Some((nearest, nearest.hand == ply.hand));
    }
    let hands = |p: &Ply| {
        plies
            .iter()
            .filter(|q| {
                q.layer.job == p.layer.job
                    && q.layer.layer == p.layer.layer
                    && q.template == p.template
            })
            .count()
    };
    let of = &plan.other_hands.iter().find(|o| o.job == ply.layer.job)?.of;
    let theirs = plies
        .iter()
        .filter(like)
        .find(|p| p.layer.job == *of && p.layer.layer == ply.layer.layer)?;
    // A layer with both hands of a template is matched within itself.
    (hands(ply) == 1).then_some((theirs, true))
}

fn half_turns_apart(a: f64, b: f64) -> f64 {
    let d = turns_apart(a, b);
    d.min((180.0 - d).abs())
}
