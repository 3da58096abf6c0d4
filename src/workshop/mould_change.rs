//! What a mould says for its templates, and the hands that come of it.

use super::edit::{Edit, Entry};
use super::intake::Lay;
use super::values::Values;
use crate::fault::{Fault, Said};
use crate::job::{Job, Side, said_by_mould};
use crate::ply::{Hand, Prepared};
use crate::units::quoted;

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

/// What a template need not say that names this mould.
fn said_by(mould: &str, values: &Values) -> Vec<&'static str> {
    let k =
        (0..values.count("mould")).find(|k| values.get(&format!("mould.{k}.id")) == Some(mould));
    let Some(k) = k else { return Vec::new() };
    let has_side = values.has(&format!("mould.{k}.inked_side"));
    let keys = ["taken_off", "hands"].into_iter();
    keys.chain(has_side.then_some("inked_side")).collect()
}

/// The edit that puts a template under a mould, or takes it out of the one it is under: what the
/// mould says then goes, or stays with the template, whatever else is wrong with the job.
///
/// # Errors
/// It is to be taken out of a mould that does not say what then stays with it.
pub fn template_of_mould(values: &Values, index: usize, mould: &str) -> Result<Edit, Fault> {
    let at = |key: &str| format!("template.{index}.{key}");
    let mut edits = Vec::new();
    if mould.is_empty() {
        let Some(from) = values.get(&at("mould")) else { return Ok(Edit::All(edits)) };
        let mut of = (0..values.count("mould"))
            .filter(|k| values.get(&format!("mould.{k}.id")) == Some(from));
        let unclear =
            |what: Said| Fault::new(what, "mend the mould first, or write it into the template");
        // A mould that is not there said nothing.
        if let Some(k) = of.next() {
            if of.next().is_some() {
                return Err(unclear(said!("there is more than one mould {}", quoted(from))));
            }
            let said = said_by_mould(|key| values.get(&format!("mould.{k}.{key}")));
            for (key, word) in said.into_iter().filter(|(key, _)| !values.has(&at(key))) {
                let word = word.ok_or_else(|| {
                    unclear(said!(
                        "the mould {} does not tell the `{key}` of its templates",
                        quoted(from)
                    ))
                })?;
                edits.push(Edit::Set { at: at(key), to: word.into() });
            }
        }
        edits.push(Edit::Clear { at: at("mould") });
    } else {
        edits.push(Edit::Set { at: at("mould"), to: mould.into() });
        let gone = said_by(mould, values).into_iter().map(at).filter(|at| values.has(at));
        edits.extend(gone.map(|at| Edit::Clear { at }));
    }
    Ok(Edit::All(edits))
}

/// How a skin lay by its mould, where the mould says it.
pub fn lay_of_mould(lay: Lay, mould: &str, values: &Values) -> Lay {
    let k =
        (0..values.count("mould")).find(|k| values.get(&format!("mould.{k}.id")) == Some(mould));
    let said = |key: &str| values.get(&format!("mould.{}.{key}", k?));
    Lay {
        plug: said("kind").map_or(lay.plug, |kind| kind == "plug"),
        inked_down: said("inked_side").map_or(lay.inked_down, |side| side == "down"),
        ..lay
    }
}

/// The templates that an edit adds, under a mould: what that says they do not say themselves.
pub fn off_mould(edit: Edit, mould: &str, values: &Values) -> Edit {
    let said = said_by(mould, values);
    match edit {
        Edit::All(edits) => {
            Edit::All(edits.into_iter().map(|e| off_mould(e, mould, values)).collect())
        }
        Edit::Add { section, mut keys } if section == "template" && !said.is_empty() => {
            keys.retain(|(key, _)| !said.contains(&key.as_str()));
            keys.push(("mould".into(), Entry::from(mould)));
            Edit::Add { section, keys }
        }
        other => other,
    }
}
