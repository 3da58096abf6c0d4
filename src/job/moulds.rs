//! From the mould sections to [`Mould`]s, and what templates and layers must not ask of one. What a
//! template takes from its mould was put into the document before ([`refer`](super::refer)).

use super::choices::{Hands, MouldHands};
use super::document::{Document, Findings};
use super::model::{Layer, Mould, Template};
use super::raw::RawMould;
use crate::units::quoted;
use std::path::{Component, Path, PathBuf};

/// The moulds of a job, none for each at fault.
pub(super) struct Moulds(Vec<Option<Mould>>);

impl Moulds {
    /// Checks the sections.
    pub(super) fn made(
        raw: Vec<Option<RawMould>>,
        doc: &Document<'_>,
        findings: &mut Findings<'_>,
    ) -> Moulds {
        let made = raw.into_iter().enumerate();
        Moulds(made.map(|(i, raw)| raw.and_then(|raw| mould(raw, i, doc, findings))).collect())
    }

    /// All of them, if none is at fault.
    pub(super) fn all(self) -> Option<Vec<Mould>> {
        self.0.into_iter().collect()
    }

    fn of(&self, template: &Template) -> Option<&Mould> {
        self.0.get(template.mould?)?.as_ref()
    }

    /// Refuses what contradicts the moulds: the other hand laid off a mould of one hand, and two
    /// hands of a pair off moulds of the same one.
    pub(super) fn agree(
        &self,
        templates: &[Option<Template>],
        layers: &[Option<Layer>],
        doc: &Document<'_>,
        findings: &mut Findings<'_>,
    ) {
        let known = |k: usize| templates.get(k).and_then(Option::as_ref);
        for (i, layer) in layers.iter().enumerate() {
            for item in layer.iter().flat_map(|l| &l.items) {
                let Some(t) = known(item.template) else { continue };
                let Some(mould) = self.of(t).filter(|m| m.hands != MouldHands::Pair) else {
                    continue;
                };
                if item.hands == Hands::AsTraced || t.hands != Hands::AsTraced {
                    continue;
                }
                let at = place_of(doc, i, &t.id);
                let what = said!(
                    "the layer lays the other hand of {}, and its mould {} is of one hand",
                    quoted(&t.id),
                    quoted(&mould.id)
                );
                let remedy = "lay it as traced, or make the mould a pair";
                findings.fault(at, what, remedy);
            }
        }
        for (i, t) in templates.iter().enumerate().filter_map(|(i, t)| Some((i, t.as_ref()?))) {
            let other = t.other_hand_of.as_ref();
            let other = templates.iter().flatten().find(|o| Some(&o.id) == other);
            let side = |t: &Template| self.of(t).and_then(|m| m.side(false));
            if let Some((side, other)) = side(t).zip(other).filter(|(s, o)| side(o) == Some(*s)) {
                let what = said!(
                    "it is the other hand of {}, and the moulds of both make {} parts",
                    quoted(&other.id),
                    side.name()
                );
                let remedy = "name the mould of the other side in one of them";
                findings.fault(doc.offset_of(&format!("template.{i}.other_hand_of")), what, remedy);
            }
        }
    }
}

/// Where a layer names a template.
fn place_of(doc: &Document<'_>, layer: usize, id: &str) -> usize {
    let list = format!("layer.{layer}.templates");
    let mut entries = (0..).map(|k| format!("{list}.{k}")).take_while(|at| doc.has(at));
    let named = |at: &String| {
        doc.text_at(at).or_else(|| doc.text_at(&format!("{at}.template"))) == Some(id)
    };
    doc.offset_of(&entries.find(named).unwrap_or(list.clone()))
}

fn mould(
    raw: RawMould,
    i: usize,
    doc: &Document<'_>,
    findings: &mut Findings<'_>,
) -> Option<Mould> {
    let at = |key: &str| doc.offset_of(&format!("mould.{i}.{key}"));
    let has = doc.has(&format!("mould.{i}.taped"));
    if raw.hands == MouldHands::Pair && raw.taped.is_none() && !has {
        let what = said!("the pair {} does not say which of its moulds was taped", quoted(&raw.id));
        let remedy =
            "add `taped`, \"left\" or \"right\": the hand that its templates are as traced";
        let line = "taped = \"left\"                   # CHECK: or \"right\"";
        findings.fault_to_paste(doc.offset_of(&format!("mould.{i}")), what, remedy, line);
    }
    if raw.hands != MouldHands::Pair && has {
        let what = said!("{} is no pair, and says which of a pair was taped", quoted(&raw.id));
        findings.fault(at("taped"), what, "take `taped` out, or make it a pair");
    }
    if let Some(photo) = &raw.photo {
        let below = Path::new(photo).components().all(|c| matches!(c, Component::Normal(_)));
        let dir = doc.file.parent().unwrap_or(Path::new(""));
        if !below {
            let what = said!("the photo {} is not named from the job's folder", quoted(photo));
            findings.fault(at("photo"), what, "copy it into the folder of the job file");
        } else if !dir.join(photo).is_file() {
            let what = said!("there is no photo {}", quoted(photo));
            findings.warning(at("photo"), what, "put it there, or take the key out");
        }
    }
    Some(Mould {
        name: raw.name.unwrap_or_else(|| raw.id.clone()),
        id: raw.id,
        kind: raw.kind,
        hands: raw.hands,
        taped: raw.taped,
        inked_side: raw.inked_side,
        note: raw.note,
        photo: raw.photo.map(PathBuf::from),
    })
}
