//! Plies against layers: everything a layer lays is there once, of the right cloth, at the right
//! angle, with turns its weave permits.

use super::findings::Findings;
use super::pairs::{lies_on, mirrors};
use super::placement::turns_apart;
use super::ply::Ply;
use super::turns::forbidden;
use crate::cloth::Weave;
use crate::job::{Hands, Seen};
use crate::plan::{Plan, PlanCloth, PlanLayer, PlanLayerItem, PlanPiece, PlanTemplate, words};
use crate::ply::Hand;
use std::collections::BTreeMap;

/// Angles are compared to this many degrees.
const DEGREES: f64 = 1e-6;

/// Groups the pieces into plies and checks them against the layers. Only plies whose references
/// hold are returned.
pub(super) fn check<'a>(plan: &'a Plan, found: &mut Findings<'_>) -> Vec<Ply<'a>> {
    let layers: BTreeMap<(&str, usize), &PlanLayer> =
        plan.layers.iter().map(|l| ((l.job.as_str(), l.layer), l)).collect();
    let templates: BTreeMap<(&str, &str), &PlanTemplate> =
        plan.templates.iter().map(|t| ((t.job.as_str(), t.template.as_str()), t)).collect();
    let cloths: BTreeMap<&str, &PlanCloth> =
        plan.materials.iter().map(|m| (m.cloth.as_str(), m)).collect();
    let mut groups: BTreeMap<(&str, usize, &str), Vec<usize>> = BTreeMap::new();
    // Patches of mosaics are looked at by themselves.
    for (i, p) in plan.pieces.iter().enumerate().filter(|(_, p)| p.patch.is_none()) {
        groups.entry((&p.job, p.layer, &p.ply)).or_default().push(i);
    }
    let mut plies = Vec::new();
    for ((job, number, id), mut pieces) in groups {
        let name = format!("ply {id} of layer {number}");
        pieces.sort_by_key(|&i| plan.pieces[i].part.map_or(0, |p| p.number));
        let Some(first) = pieces.first().map(|&i| &plan.pieces[i]) else {
            continue;
        };
        let Some(layer) = layers.get(&(job, number)) else {
            found.add(&name, said!("job {job} has no such layer"));
            continue;
        };
        let (template, cloth) =
            (templates.get(&(job, first.template.as_str())), cloths.get(layer.cloth.as_str()));
        let (Some(template), Some(cloth)) = (template, cloth) else {
            found.add(
                &name,
                said!(
                    "the plan lacks its template {} or the data of its cloth {}",
                    first.template,
                    layer.cloth
                ),
            );
            continue;
        };
        let before = plan.layers.iter().filter(|l| l.job == job && l.layer < number);
        let steps = before.filter(|l| l.items.iter().any(|i| i.template == first.template)).count();
        let ply = Ply { name, layer, template, cloth, pieces, hand: first.hand, steps };
        if alike(plan, &ply, found) {
            angle_and_turns(plan, first, &ply, found);
            plies.push(ply);
        }
    }
    complete(plan, &plies, &templates, found);
    plies
}

/// The pieces of a ply agree with each other, and its parts run from 1 to as many as there are.
fn alike(plan: &Plan, ply: &Ply, found: &mut Findings<'_>) -> bool {
    let pieces: Vec<&PlanPiece> = ply.pieces.iter().map(|&i| &plan.pieces[i]).collect();
    let first = pieces[0];
    let same = |p: &&PlanPiece| {
        (&p.template, p.hand, &p.cloth, p.angle, p.copies)
            == (&first.template, first.hand, &first.cloth, first.angle, first.copies)
            && (&p.permitted, p.tolerance, &p.splice)
                == (&first.permitted, first.tolerance, &first.splice)
    };
    let mut right = true;
    let mut fault = |what: &'static str| {
        found.add(&ply.name, what);
        right = false;
    };
    if !pieces.iter().all(same) {
        fault(
            "its pieces differ in template, hand, cloth, angle, turns, splice or number of copies",
        );
    }
    let parts: Vec<(usize, usize)> =
        pieces.iter().filter_map(|p| p.part.map(|q| (q.number, q.of))).collect();
    let whole = pieces.len() == 1 && parts.is_empty() && first.splice.is_none();
    let spliced = pieces.len() > 1 && first.splice.is_some() && parts.len() == pieces.len();
    let in_order = parts.iter().enumerate().all(|(k, p)| *p == (k + 1, pieces.len()));
    if !(whole || spliced && in_order) {
        fault("it is neither one whole piece nor all the parts of a splice, each once");
    }
    if first.cloth != ply.layer.cloth {
        fault("its cloth is not its layer's");
    }
    right
}

fn angle_and_turns(plan: &Plan, piece: &PlanPiece, ply: &Ply, found: &mut Findings<'_>) {
    let (layer, a) = (ply.layer, ply.layer.angle);
    let visible = layer.seen != Seen::Hidden;
    let wants = |hand: Hand| {
        layer.items.iter().any(|i| i.template == piece.template && covers(i.hands, hand))
    };
    let book_twill =
        ply.cloth.balanced && matches!(ply.cloth.weave, Weave::Twill22 | Weave::Twill44);
    // Beside the template whose mirror image it is said to be, a template's own hand is the other
    // one.
    let mirrors = mirrors(plan, ply.template);
    let on = |i: &PlanLayerItem| {
        plan.templates.iter().find(|t| t.job == layer.job && t.template == i.template).map(lies_on)
    };
    let beside = mirrors.is_some() && layer.items.iter().any(|i| on(i) == mirrors);
    let hand = match piece.hand {
        Hand::AsTraced if beside => Hand::Mirrored,
        Hand::Mirrored if beside => Hand::AsTraced,
        hand => hand,
    };
    let want = match hand {
        Hand::AsTraced => a,
        // The other hand needs a quarter turn more to keep on top which angle is on top.
        Hand::Mirrored if ply.cloth.weave == Weave::Biaxial45 => 90.0 - a,
        Hand::Mirrored if book_twill && visible && (beside || wants(Hand::AsTraced)) => {
            if layer.book_match { 90.0 - a } else { a }
        }
        Hand::Mirrored => -a,
    };
    // A warp has no head where every permitted way may also be turned half round.
    let headless = piece.permitted.iter().all(|p| {
        piece
            .permitted
            .iter()
            .any(|q| q.face == p.face && turns_apart(q.turn, p.turn + 180.0) < DEGREES)
    });
    let off = turns_apart(piece.angle, want);
    let off = if headless { off.min(180.0 - off) } else { off };
    // In a layer of its own it may lie a quarter turn on, for its line: whether it must, `pairs`
    // knows.
    let elsewhere =
        !beside && (mirrors.is_some() || plan.other_hands.iter().any(|o| o.job == layer.job));
    let off = if elsewhere && book_twill && visible && layer.book_match {
        off.min((90.0 - off).abs())
    } else {
        off
    };
    if off > DEGREES {
        found.add(
            &ply.name,
            said!(
                "is laid at {} degrees, {off:.3} off the {want} its layer asks of this hand",
                piece.angle
            ),
        );
    }
    if piece.permitted.is_empty() {
        found.add(&ply.name, "may lie in no way");
    }
    if !layer.turns_overridden {
        for way in &piece.permitted {
            if let Some(why) = forbidden(ply.cloth, visible, *way) {
                let face = words::face(way.face);
                found.add(
                    &ply.name,
                    said!("may lie at {} face {face}, which its weave forbids: {why}", way.turn),
                );
            }
        }
    }
}

fn covers(hands: Hands, hand: Hand) -> bool {
    match hands {
        Hands::Both => true,
        Hands::AsTraced => hand == Hand::AsTraced,
        Hands::Mirrored => hand == Hand::Mirrored,
    }
}

/// As many copies of each template and hand as the layers ask for, and nothing else.
fn complete(
    plan: &Plan,
    plies: &[Ply],
    templates: &BTreeMap<(&str, &str), &PlanTemplate>,
    found: &mut Findings<'_>,
) {
    type Key<'a> = (&'a str, usize, &'a str, Hand);
    let mut wanted: BTreeMap<Key, u64> = BTreeMap::new();
    let of_patches =
        |job: &str, layer: usize| plan.mosaics.iter().any(|m| m.job == job && m.layer == layer);
    for layer in plan.layers.iter().filter(|l| !of_patches(&l.job, l.layer)) {
        for item in &layer.items {
            if !templates.contains_key(&(layer.job.as_str(), item.template.as_str())) {
                found.add(
                    &format!("layer {}", layer.layer),
                    said!("lays template {}, which the plan lacks", item.template),
                );
            }
            for hand in
                [Hand::AsTraced, Hand::Mirrored].into_iter().filter(|&h| covers(item.hands, h))
            {
                *wanted.entry((&layer.job, layer.layer, &item.template, hand)).or_default() +=
                    u64::from(item.copies);
            }
        }
    }
    let mut there: BTreeMap<Key, u64> = BTreeMap::new();
    for ply in plies {
        let copies = ply.pieces.first().map_or(0, |&i| u64::from(plan.pieces[i].copies));
        *there
            .entry((&ply.layer.job, ply.layer.layer, &ply.template.template, ply.hand))
            .or_default() += copies;
    }
    let keys: std::collections::BTreeSet<&Key> = wanted.keys().chain(there.keys()).collect();
    for key in keys {
        let (want, have) =
            (wanted.get(key).copied().unwrap_or(0), there.get(key).copied().unwrap_or(0));
        if want != have {
            let what = said!(
                "asks for {want} of template {} {}, the plan has {have} sound ones",
                key.2,
                words::hand(key.3)
            );
            found.add(&words::layer(key.1), what);
        }
    }
}
