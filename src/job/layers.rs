//! From the layer sections to [`Layer`]s: references, hands, copies, turns and allowances settled.

use super::choices::Hands;
use super::document::{Document, Findings, listed, nearest};
use super::model::{Layer, LayerItem, TemplateSource};
use super::mosaic::mosaic;
use super::raw::{RawCutting, RawFullItem, RawItem, RawLayer};
use super::{PatchShape, Template};
use crate::cloth::{Face, Permitted};
use crate::fault::line_and_column;
use crate::units::{degrees_0_360, quoted, show_mm};
use std::collections::BTreeMap;
use std::collections::btree_map::Entry;

/// The ids that sections of some kinds have, each with its index and byte offset; the first of
/// equal ids counts.
pub(super) struct Names(BTreeMap<String, (usize, usize)>);

impl Names {
    /// Collects the ids of sections, in the order given; the index runs on over all of them. Equal
    /// ids are faults.
    pub(super) fn collect(
        sections: &[&str],
        doc: &Document<'_>,
        findings: &mut Findings<'_>,
    ) -> Self {
        let mut names = BTreeMap::new();
        let mut index = 0;
        for section in sections {
            for i in 0..doc.count(section) {
                let at = format!("{section}.{i}.id");
                if let Some(id) = doc.text_at(&at) {
                    let offset = doc.offset_of(&at);
                    match names.entry(id.to_string()) {
                        Entry::Vacant(free) => _ = free.insert((index, offset)),
                        Entry::Occupied(taken) => {
                            let (line, _) = line_and_column(doc.text, taken.get().1);
                            findings.fault(
                                offset,
                                said!("the id {} is taken on line {line}", quoted(id)),
                                "give each its own id",
                            );
                        }
                    }
                }
                index += 1;
            }
        }
        Names(names)
    }

    /// The index of an id, if there is one.
    pub(super) fn at(&self, id: &str) -> Option<usize> {
        self.0.get(id).map(|found| found.0)
    }

    /// The index of an id; an unknown one is a fault that names the nearest.
    pub(super) fn find(
        &self,
        id: &str,
        kind: &str,
        offset: usize,
        findings: &mut Findings<'_>,
    ) -> Option<usize> {
        if let Some((index, _)) = self.0.get(id) {
            return Some(*index);
        }
        let names = || self.0.keys().map(String::as_str);
        let remedy = if !findings.may_suggest() {
            said!("name a {kind} that the job has")
        } else if let Some(name) = nearest(id, names()) {
            let (what, remedy) =
                (said!("there is no {kind} {}", quoted(id)), said!("did you mean \"{name}\"?"));
            match findings.span_of(offset, id) {
                Some(span) => findings.fault_to_mend(span, what, remedy, &format!("\"{name}\"")),
                None => findings.fault(offset, what, remedy),
            }
            return None;
        } else if self.0.is_empty() {
            said!("there is no {kind} in this job yet: add one with this id")
        } else {
            said!("the job has {}", listed(names()))
        };
        findings.fault(offset, said!("there is no {kind} {}", quoted(id)), remedy);
        None
    }
}

/// What layers refer to.
pub(super) struct Known<'k> {
    pub(super) cloths: &'k Names,
    pub(super) templates: &'k Names,
    /// Hands of each template that could be read, by index.
    pub(super) made: &'k [Option<Template>],
    pub(super) cutting: &'k RawCutting,
}

/// Checks layer `i`; `None` if a reference of it does not hold.
pub(super) fn layer(
    raw: RawLayer,
    i: usize,
    known: &Known<'_>,
    doc: &Document<'_>,
    findings: &mut Findings<'_>,
) -> Option<Layer> {
    let at = format!("layer.{i}");
    let place = |key: &str| doc.offset_of(&format!("{at}.{key}"));
    let mosaic = mosaic(&raw, i, doc, findings);
    let cloth = known.cloths.find(&raw.cloth, "cloth", place("cloth"), findings);
    let mut items: Vec<LayerItem> = Vec::new();
    let mut whole = true;
    for (j, item) in raw.templates.into_iter().enumerate() {
        let (item, offset) = match item {
            RawItem::Id(template) => (
                RawFullItem { template, hands: None, copies: None },
                place(&format!("templates.{j}")),
            ),
            RawItem::Full(full) => (full, place(&format!("templates.{j}.template"))),
        };
        let Some(template) =
            known.templates.find(&item.template, "template, strip or patch", offset, findings)
        else {
            whole = false;
            continue;
        };
        if items.iter().any(|other| other.template == template) {
            let remedy = "name it once, with `copies` or `hands = \"both\"`";
            findings.fault(
                offset,
                said!("the layer lays {} twice", quoted(&item.template)),
                remedy,
            );
            continue;
        }
        let own =
            known.made.get(template).and_then(|t| t.as_ref()).map_or(Hands::AsTraced, |t| t.hands);
        let hands = item.hands.or(raw.hands).unwrap_or(own);
        items.push(LayerItem { template, hands, copies: item.copies.or(raw.copies).unwrap_or(1) });
    }
    let turns = match (raw.turns, raw.faces) {
        (Some(turns), faces) => Some(permitted(&turns, faces.as_deref().unwrap_or(&[Face::Up]))),
        (None, Some(_)) if !doc.has(&format!("{at}.turns")) => {
            findings.fault(
                place("faces"),
                "`faces` stands without `turns`",
                "say at which turns: turns = [0, 180]",
            );
            None
        }
        (None, _) => None,
    };
    if mosaic.is_some() {
        for item in &items {
            if let Some(Some(Template { id, source: TemplateSource::Patch { .. }, .. })) =
                known.made.get(item.template)
            {
                let what = said!(
                    "{} is a local reinforcement, and a mosaic covers whole templates",
                    quoted(id)
                );
                findings.fault(
                    place("templates"),
                    what,
                    "name a template or a strip, or make the layer whole",
                );
                whole = false;
            }
        }
    }
    let cloth = cloth.filter(|_| whole)?;
    Some(Layer {
        name: raw.name.unwrap_or_else(|| format!("layer {}", i + 1)),
        cloth,
        angle: raw.angle.unwrap_or(0.0),
        mosaic,
        items,
        seen: raw.seen,
        book_match: raw.book_match,
        turns,
        trim: raw.trim.unwrap_or(known.cutting.trim),
        lap: raw.lap.unwrap_or(known.cutting.lap),
        angle_tolerance: raw.angle_tolerance.unwrap_or(known.cutting.angle_tolerance),
    })
}

/// Every turn at every face, each once, turns in `0.0..360.0`.
fn permitted(turns: &[f64], faces: &[Face]) -> Vec<Permitted> {
    let mut out: Vec<Permitted> = Vec::new();
    for &face in faces {
        for &turn in turns {
            let one = Permitted { turn: degrees_0_360(turn), face };
            if !out.contains(&one) {
                out.push(one);
            }
        }
    }
    out
}

/// Checks that patches are large enough to step back as often as they are laid, and warns of what
/// no layer uses.
pub(super) fn uses(
    layers: &[Option<Layer>],
    templates: &[Option<Template>],
    cloths: usize,
    path_of: impl Fn(usize) -> String,
    doc: &Document<'_>,
    findings: &mut Findings<'_>,
) {
    if layers.iter().any(Option::is_none) {
        return;
    }
    let mut laid = vec![0_usize; templates.len()];
    let mut used = vec![false; cloths];
    for layer in layers.iter().flatten() {
        layer.items.iter().for_each(|item| laid[item.template] += 1);
        used[layer.cloth] = true;
    }
    for (i, _) in used.iter().enumerate().filter(|(_, used)| !**used) {
        findings.warning(
            doc.offset_of(&format!("cloth.{i}")),
            "no layer uses this cloth",
            "delete it, or name it in a layer",
        );
    }
    for (i, template) in templates.iter().enumerate() {
        let offset = doc.offset_of(&path_of(i));
        if laid[i] == 0 {
            findings.warning(offset, "no layer uses this", "delete it, or name it in a layer");
        }
        let Some(Template {
            source:
                TemplateSource::Patch {
                    shape: PatchShape::Sized { length, width, .. }, step_back, ..
                },
            ..
        }) = template
        else {
            continue;
        };
        let last = length.min(*width) - 2.0 * step_back * laid[i].saturating_sub(1) as f64;
        if last <= 0.0 {
            let what = said!(
                "laid {} times and stepped back {} each time, nothing is left of the patch",
                laid[i],
                show_mm(*step_back)
            );
            findings.fault(
                doc.offset_of(&format!("{}.step_back", path_of(i))),
                what,
                "step back less, or lay it less often",
            );
        }
    }
}
