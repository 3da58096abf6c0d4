//! The steps of laying: layers, debulks, the two halves of a mould and the tapes that join them.

use crate::cloth::Face;
use crate::job::{AssumedTime, MouldWork, Seen};
use crate::plan::{PlacedPiece, Plan, PlanLayer, PlanPiece, PlanStock, laying_order, words};
use crate::units::show_number;
use serde::Serialize;

/// A piece to tick off when it is laid, and once for its backing.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Tick {
    /// Piece id.
    pub piece: String,
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
    /// How long it takes, of a debulk.
    pub minutes: Option<f64>,
    /// The job does not say how long: the data sheet does.
    pub is_assumed: bool,
}

impl Tick {
    /// Number and template alone.
    pub fn name(&self) -> &str {
        self.label.split(" · ").next().unwrap_or_default()
    }
}

/// The steps, and how many of them are debulks.
pub(super) fn steps(
    plan: &Plan,
    job: &str,
    work: &MouldWork,
    layers: &[(usize, &PlanLayer)],
) -> (Vec<Step>, u32) {
    let w = &work.layup;
    // A patch goes with the template it lies on.
    let host = |id: &str| -> String {
        let on = plan
            .templates
            .iter()
            .find(|t| t.job == job && t.template == id)
            .and_then(|t| t.on.as_ref());
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
            .map(|(i, l)| {
                (
                    *i,
                    *l,
                    l.items
                        .iter()
                        .map(|item| item.template.clone())
                        .filter(|t| wanted(t))
                        .collect::<Vec<_>>(),
                )
            })
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
            if (k == 0 && d.first)
                || (last && d.last)
                || (!last && (k + 1).is_multiple_of(d.every.max(1)))
            {
                debulks += 1;
                out.push(debulk(debulks, work));
            }
        }
    }
    (out, debulks)
}

fn bare(what: String, notes: Vec<String>) -> Step {
    let (templates, ticks) = (Vec::new(), Vec::new());
    Step { what, notes, layer: None, templates, ticks, minutes: None, is_assumed: false }
}

fn stage(name: &str, closing: bool) -> Step {
    let note = match (closing, name) {
        (true, _) => {
            "Bolt the halves together; edges of the laid cloth tucked in, nothing caught in the flange"
        }
        (_, "Joints") => "All parts in their places, edges to be joined free of backing and dust",
        _ => "",
    };
    bare(name.to_string(), if note.is_empty() { Vec::new() } else { vec![note.to_string()] })
}

fn debulk(number: u32, work: &MouldWork) -> Step {
    let (name, minutes) = (format!("Debulk {number}"), work.debulk.minutes);
    let is_assumed = work.assumed.contains(&AssumedTime::Debulk);
    let time = show_number(minutes, 0);
    let how = "Release film 25 mm beyond the cloth, breather, bag; then all of it off again. Start ______  end ______  vacuum ______ kPa";
    let mut notes = vec![how.to_string()];
    let what = if is_assumed {
        notes.push(format!(
            "The job gives no time for it: take it from the cloth's data sheet; {time} min are reckoned with"
        ));
        format!("{name}: full vacuum, as long as the data sheet says")
    } else {
        format!("{name}: full vacuum for {time} min")
    };
    Step { minutes: Some(minutes), is_assumed, ..bare(what, notes) }
}

fn layer_step(plan: &Plan, layer: &PlanLayer, index: usize, templates: Vec<String>) -> Step {
    let mine = |p: &&PlanPiece| {
        p.job == layer.job && p.layer == layer.layer && templates.contains(&p.template)
    };
    let pieces: Vec<&PlanPiece> = laying_order(plan).into_iter().filter(mine).collect();
    let mut notes = Vec::new();
    let side = words::side(plan, &layer.cloth);
    let all: Vec<bool> = pieces
        .iter()
        .flat_map(|p| copies(plan, p))
        .map(|(stock, placed)| stock.face == placed.face)
        .collect();
    let usual = all.is_empty() || all.contains(&true);
    let laid = words::laid(side, usual);
    notes.push(if all.contains(&!usual) {
        let but = words::laid(side, !usual);
        format!("Lay every piece with its {laid}, but those marked \"{but}\"")
    } else {
        format!("Lay every piece with its {laid}")
    });
    if let Some(seen) = words::seen(layer.seen) {
        let mind = if layer.seen == Seen::MouldSide {
            "no fingerprints, no pulled yarns"
        } else {
            "smooth it from the middle outwards"
        };
        notes.push(format!("This layer is {seen}: {mind}"));
    }
    let ticks = pieces
        .iter()
        .map(|piece| Tick {
            piece: piece.piece.clone(),
            label: label(plan, piece, side, usual),
            copies: piece.copies,
        })
        .collect();
    for piece in pieces.iter().filter(|p| p.part.is_some_and(|part| part.number == 1)) {
        let (Some(part), Some(splice)) = (piece.part, &piece.splice) else {
            continue;
        };
        let how = if splice.lap > 0.0 {
            said!("each over the last by {} mm (hatched black)", show_number(splice.lap, 0))
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
    for t in plan.templates.iter().filter(|t| t.job == layer.job && templates.contains(&t.template))
    {
        if t.strip {
            let across =
                crate::geometry::ring_bounds(&t.net).map_or(0.0, |b| b.width().min(b.height()));
            notes.push(format!(
                "{}: middle of the tape on the joint, {} mm to each side",
                t.template,
                show_number(across / 2.0, 0)
            ));
        }
        if let Some((on, step_back)) = &t.on {
            let (name, step) = (&t.template, show_number(*step_back, 0));
            notes.push(if *step_back > 0.0 {
                format!(
                    "{name}: on {on} at the place drawn on its template, {step} mm smaller all round each time"
                )
            } else {
                format!("{name}: on {on} at the place drawn on its template")
            });
        }
    }
    let mosaic = pieces.iter().any(|p| p.patch.is_some());
    let name = words::layer_by_name(layer);
    let name = format!("Layer {}", name.strip_prefix("layer ").unwrap_or(&name));
    let (cloth, angle) = (&layer.cloth, words::angle(layer.angle));
    Step {
        what: if mosaic {
            format!("{name}: {cloth}, patches in the order of their numbers, each as its map shows")
        } else {
            format!("{name}: {cloth}, warp at {angle} to the part's 0°")
        },
        notes,
        layer: Some(index),
        templates,
        ticks,
        minutes: None,
        is_assumed: false,
    }
}

/// The placed copies of a piece, each with what it is cut from.
fn copies<'p>(
    plan: &'p Plan,
    piece: &'p PlanPiece,
) -> impl Iterator<Item = (&'p PlanStock, &'p PlacedPiece)> {
    plan.stocks
        .iter()
        .flat_map(|s| s.placed.iter().map(move |p| (s, p)))
        .filter(|(_, p)| p.piece == piece.piece)
}

/// What tells a piece from the others of its layer, in the words of its stick-on label.
fn label(plan: &Plan, piece: &PlanPiece, side: &str, usual: bool) -> String {
    let mut all = vec![
        format!("{} {}", piece.number, piece.template),
        words::angle(piece.angle),
        words::hand_of(piece).to_string(),
    ];
    all.extend(words::which(piece));
    all.extend(
        copies(plan, piece)
            .find(|(stock, _)| stock.is_laid_whole())
            .map(|(stock, _)| format!("all of {}", stock.id)),
    );
    // Copies that are turned over, and those that lie otherwise than most of the layer.
    for (down, towards_you) in [(true, usual), (true, !usual), (false, !usual)] {
        let mut some: Vec<u32> = copies(plan, piece)
            .filter(|(stock, p)| {
                (p.face == Face::Down, stock.face == p.face) == (down, towards_you)
            })
            .map(|(_, p)| p.copy)
            .collect();
        some.sort_unstable();
        if some.is_empty() {
            continue;
        }
        let list = some.iter().map(ToString::to_string).collect::<Vec<_>>().join(", ");
        let who = if some.len() as u32 == piece.copies {
            String::new()
        } else {
            format!("copy {list}: ")
        };
        let mark = if down { format!("{}, ", words::FACE_DOWN) } else { String::new() };
        all.push(format!("{who}{mark}{}", words::laid(side, towards_you)));
    }
    all.join(" · ")
}
