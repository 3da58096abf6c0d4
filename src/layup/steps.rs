//! The steps of laying: layers, debulks, the two halves of a mould and the tapes that join them.

use super::up_side;
use crate::cloth::Face;
use crate::job::{MouldWork, Seen};
use crate::plan::{Plan, PlanLayer, PlanPiece};
use crate::units::show_number;
use serde::Serialize;

/// A piece to tick off when it is laid, and once for its backing.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Tick {
    /// Its number and name, and which copies are turned over.
    pub label: String,
    /// A box each.
    pub copies: u32,
}

/// One row to tick off.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Step {
    /// What to do, in a line.
    pub what: String,
    /// How, a line each.
    pub notes: Vec<String>,
    /// The layer it is about, as an index into the plan's layers, for its picture.
    pub layer: Option<usize>,
    /// The templates of that layer that are laid now.
    pub templates: Vec<String>,
    /// Its pieces; every one has a box for itself and one for its backing.
    pub ticks: Vec<Tick>,
}

/// The steps, and how many of them are debulks.
pub(super) fn steps(plan: &Plan, job: &str, work: &MouldWork, layers: &[(usize, &PlanLayer)]) -> (Vec<Step>, u32) {
    let w = &work.layup;
    // A patch goes with the template it lies on.
    let host = |id: &str| -> String {
        let on = plan.templates.iter().find(|t| t.job == job && t.template == id).and_then(|t| t.on.as_ref());
        on.map_or_else(|| id.to_string(), |(on, _)| on.clone())
    };
    let second = |id: &str| w.second_half.iter().any(|t| *t == id || *t == host(id));
    let joint = |id: &str| w.joint.iter().any(|t| *t == id || *t == host(id));
    let halves = !w.second_half.is_empty();
    type Wanted<'a> = &'a dyn Fn(&str) -> bool;
    let first_only = |id: &str| !second(id) && !joint(id);
    let second_only = |id: &str| second(id) && !joint(id);
    let stages: [(&str, Wanted<'_>); 3] = [
        (if halves { "First half of the mould" } else { "" }, &first_only),
        ("Second half of the mould", &second_only),
        (if halves { "Both halves closed onto each other" } else { "Joints" }, &joint),
    ];
    let (mut out, mut debulks) = (Vec::new(), 0);
    for (n, (name, wanted)) in stages.into_iter().enumerate() {
        let mine: Vec<(usize, &PlanLayer, Vec<String>)> = layers
            .iter()
            .map(|(i, l)| (*i, *l, l.items.iter().map(|item| item.template.clone()).filter(|t| wanted(t)).collect::<Vec<_>>()))
            .filter(|(_, _, templates)| !templates.is_empty())
            .collect();
        if !mine.is_empty() && !name.is_empty() && (halves || n == 2) {
            out.push(stage(name, halves && n == 2));
        }
        let count = mine.len();
        for (k, (index, layer, templates)) in mine.into_iter().enumerate() {
            out.push(layer_step(plan, layer, index, templates));
            let d = &work.debulk;
            let last = k + 1 == count;
            // Counted from the first: with every = 3, after the third layer, the sixth and so on.
            if (k == 0 && d.first) || (last && d.last) || (!last && (k + 1).is_multiple_of(d.every.max(1))) {
                debulks += 1;
                out.push(debulk(debulks, d.minutes));
            }
        }
    }
    (out, debulks)
}

fn bare(what: String, notes: Vec<String>) -> Step {
    Step { what, notes, layer: None, templates: Vec::new(), ticks: Vec::new() }
}

fn stage(name: &str, closing: bool) -> Step {
    let note = match (closing, name) {
        (true, _) => "Bolt the halves together; edges of the laid cloth tucked in, nothing caught in the flange",
        (_, "Joints") => "All parts in their places, edges to be joined free of backing and dust",
        _ => "",
    };
    bare(name.to_string(), if note.is_empty() { Vec::new() } else { vec![note.to_string()] })
}

fn debulk(number: u32, minutes: f64) -> Step {
    bare(
        format!("Debulk {number}: full vacuum for {} min", show_number(minutes, 0)),
        vec![
            "Release film 25 mm beyond the cloth, breather, bag; then all of it off again. Start ______  end ______  vacuum ______ kPa"
                .into(),
        ],
    )
}

fn layer_step(plan: &Plan, layer: &PlanLayer, index: usize, templates: Vec<String>) -> Step {
    let mine = |p: &&PlanPiece| p.job == layer.job && p.layer == layer.layer && templates.contains(&p.template);
    let mut pieces: Vec<&PlanPiece> = plan.pieces.iter().filter(mine).collect();
    // The patches of a mosaic are numbered in laying order.
    pieces.sort_by_key(|p| p.patch);
    let mut notes = Vec::new();
    let mut any_down = false;
    let mut ticks = Vec::new();
    for piece in &pieces {
        let down: Vec<u32> =
            plan.stocks.iter().flat_map(|s| &s.placed).filter(|p| p.piece == piece.piece && p.face == Face::Down).map(|p| p.copy).collect();
        any_down |= !down.is_empty();
        let part = piece.part.map_or_else(String::new, |p| format!(", part {} of {}", p.number, p.of));
        let hand = if piece.hand == crate::ply::Hand::Mirrored { ", mirrored hand" } else { "" };
        let turned = match down.len() as u32 {
            0 => String::new(),
            n if n == piece.copies => " DOWN".into(),
            _ => format!(" (copy {} DOWN)", down.iter().map(ToString::to_string).collect::<Vec<_>>().join(", ")),
        };
        let as_it_is = plan.stocks.iter().find(|s| s.is_laid_whole() && s.placed.iter().any(|p| p.piece == piece.piece));
        let whole = as_it_is.map_or_else(String::new, |s| format!(", all of {}", s.id));
        ticks.push(Tick { label: format!("{} {}{hand}{part}{whole}{turned}", piece.number, piece.template), copies: piece.copies });
    }
    if let Some(cloth) = plan.materials.iter().find(|m| m.cloth == layer.cloth) {
        let side = up_side(cloth);
        let down = if any_down { format!("; pieces marked DOWN with the {side} on the mould") } else { String::new() };
        notes.push(format!("Every piece with its {side} towards you, the other side on the mould{down}"));
    }
    match layer.seen {
        Seen::Hidden => {}
        Seen::MouldSide => notes.push("This layer is seen from the mould side: no fingerprints, no pulled yarns".into()),
        Seen::OtherSide => notes.push("This layer is seen from the other side: smooth it from the middle outwards".into()),
    }
    for piece in pieces.iter().filter(|p| p.part.is_some_and(|part| part.number == 1)) {
        let (Some(part), Some(splice)) = (piece.part, &piece.splice) else { continue };
        let how = if splice.lap > 0.0 {
            format!("each over the last by {} mm (hatched black)", show_number(splice.lap, 0))
        } else {
            "edge to edge, no gap over 2 mm".into()
        };
        notes.push(format!(
            "{} in {} parts, {how}; splices of layers less than {} apart lie at least {} mm beside each other (dashed: the one below)",
            piece.template,
            part.of,
            splice.plies_apart,
            show_number(splice.stagger, 0)
        ));
    }
    for t in plan.templates.iter().filter(|t| t.job == layer.job && templates.contains(&t.template)) {
        if t.strip {
            let across = crate::geometry::ring_bounds(&t.net).map_or(0.0, |b| b.width().min(b.height()));
            notes.push(format!("{}: middle of the tape on the joint, {} mm to each side", t.template, show_number(across / 2.0, 0)));
        }
        if let Some((on, step_back)) = &t.on {
            let back =
                if *step_back > 0.0 { format!(", {} mm smaller all round each time", show_number(*step_back, 0)) } else { String::new() };
            notes.push(format!("{}: on {on} at the place drawn on its template{back}", t.template));
        }
    }
    let mosaic = pieces.iter().any(|p| p.patch.is_some());
    let warp = if mosaic {
        "patches by number, each as its map says".to_string()
    } else {
        format!("warp at {}° to the part's 0°", show_number(layer.angle, 1))
    };
    let name = if layer.name.is_empty() { String::new() } else { format!(" \"{}\"", layer.name) };
    Step { what: format!("Layer {}{name}: {}, {warp}", layer.layer, layer.cloth), notes, layer: Some(index), templates, ticks }
}
