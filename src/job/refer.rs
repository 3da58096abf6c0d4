//! What a section takes from elsewhere: a cloth from the workshop's library, a template from its
//! mould. It is put into the document, at the key that names it, before the rules look at it: so
//! they stand once, and a fault in what is taken is said where it is taken.

use super::document::{Document, Findings, listed, nearest};
use super::layers::Names;
use super::library::{Beside, of_library};
use crate::units::quoted;
use std::borrow::Cow;
use std::cell::OnceCell;
use std::ops::Range;
use toml::Spanned;
use toml::de::{DeTable, DeValue};

/// Keys with their values, to be put into a section.
type Keys<'t> = Vec<(Cow<'t, str>, DeValue<'t>)>;

/// The table of a section.
fn section<'d, 't>(doc: &'d mut Document<'t>, of: &str, i: usize) -> Option<&'d mut DeTable<'t>> {
    let one = match doc.root.get_mut(of)?.get_mut() {
        DeValue::Array(array) => array.get_mut(i)?.get_mut(),
        table => table,
    };
    match one {
        DeValue::Table(table) => Some(table),
        _ => None,
    }
}

/// Puts keys into a section that it does not have, all at one place of the text.
fn put<'t>(doc: &mut Document<'t>, of: &str, i: usize, keys: Keys<'t>, at: &Range<usize>) {
    let Some(table) = section(doc, of, i) else { return };
    for (key, value) in keys {
        if !table.contains_key(key.as_ref()) {
            table
                .insert(Spanned::new(at.clone(), key), Spanned::new(at.clone(), placed(value, at)));
        }
    }
}

/// A value with everything in it at one place.
fn placed<'t>(value: DeValue<'t>, at: &Range<usize>) -> DeValue<'t> {
    let here = |v: Spanned<DeValue<'t>>| Spanned::new(at.clone(), placed(v.into_inner(), at));
    match value {
        DeValue::Array(array) => DeValue::Array(array.into_iter().map(here).collect()),
        DeValue::Table(table) => DeValue::Table(
            table
                .into_iter()
                .map(|(key, v)| (Spanned::new(at.clone(), key.into_inner()), here(v)))
                .collect(),
        ),
        plain => plain,
    }
}

/// Where a text stands and what it is, at a path.
fn named(doc: &Document<'_>, path: &str) -> Option<(Range<usize>, String)> {
    Some((doc.span_of(path)?, doc.text_at(path)?.to_string()))
}

/// Takes the cloths that name one of the library from it. What stands in the job itself goes before
/// what the library says.
pub(super) fn cloths<'t>(
    doc: &mut Document<'t>,
    library: &'t OnceCell<Beside>,
    findings: &mut Findings<'_>,
) {
    // Parsed once, however many of its cloths the job takes.
    let mut parsed: Option<Document<'t>> = None;
    for i in 0..doc.count("cloth") {
        let Some((at, id)) = named(doc, &format!("cloth.{i}.library")) else { continue };
        let (path, text, cloths) = match library.get_or_init(|| Beside::of(doc.file)) {
            Beside::Found { path, text, cloths } => (path, text, cloths),
            Beside::Unreadable(faults) => {
                let what = said!("{} cannot be taken from the cloth library", quoted(&id));
                findings.fault(at.start, what, "mend the library first");
                findings.other_faults(faults.clone());
                continue;
            }
            Beside::Nowhere => {
                let what = said!("there is no cloth library here to take {} from", quoted(&id));
                let remedy = "put the job's folder into the workshop's, beside cloths.toml, or write the values of the cloth here in place of `library`";
                findings.fault(at.start, what, remedy);
                continue;
            }
        };
        let shown = path.display();
        let Some(k) = cloths.iter().position(|c| c.id == id) else {
            let names = || cloths.iter().map(|c| c.id.as_str()).filter(|n| !n.is_empty());
            let what = said!("the cloth library has no {}", quoted(&id));
            match nearest(&id, names()) {
                Some(name) => findings.fault_to_mend(
                    at.clone(),
                    what,
                    said!("did you mean \"{name}\"?"),
                    &toml::Value::from(name).to_string(),
                ),
                None if cloths.is_empty() => {
                    findings.fault(at.start, what, said!("add it in {shown}"))
                }
                None => {
                    let remedy = said!("add it in {shown}, which has {}", listed(names()));
                    findings.fault(at.start, what, remedy);
                }
            }
            continue;
        };
        // The fault stands at the second; which of them is meant, nobody knows.
        if cloths.iter().filter(|c| c.id == id).count() > 1 {
            let what = said!("the cloth library has more than one {}", quoted(&id));
            findings.fault(at.start, what, said!("give each an id of its own in {shown}"));
            continue;
        }
        if let Some(fault) = cloths[k].faults.0.first() {
            let what = said!("{} is at fault in the cloth library", quoted(&id));
            findings.fault(at.start, what, said!("mend it in {shown}: {}", fault.what));
            continue;
        }
        let from = parsed.get_or_insert_with(|| {
            let (root, _) = DeTable::parse_recoverable(text);
            Document { text, file: doc.file, root: root.into_inner() }
        });
        let Some(table) = section(from, "cloth", k) else { continue };
        let own_price = ["price_per_metre", "price_per_square_metre"]
            .iter()
            .any(|key| doc.has(&format!("cloth.{i}.{key}")));
        // A copy: another cloth of the job may take the same one.
        let keys = table
            .iter()
            .map(|(key, value)| (key.get_ref().clone(), value.get_ref().clone()))
            .filter(|(key, _)| !(of_library(key) || (own_price && key.starts_with("price_per"))));
        put(doc, "cloth", i, keys.collect(), &at);
    }
}

/// What a mould, by its own keys, says for its templates; nothing for a key that has none of the
/// words it may have.
pub fn said_by_mould<'v>(
    of: impl Fn(&str) -> Option<&'v str>,
) -> [(&'static str, Option<&'static str>); 3] {
    let taken_off = match of("kind") {
        Some("female") => Some("mould"),
        Some("plug") => Some("plug"),
        _ => None,
    };
    let inked_side = match of("inked_side") {
        Some("up") => Some("up"),
        Some("down") => Some("down"),
        _ => None,
    };
    let hands = match of("hands") {
        Some("pair") => Some("both"),
        Some("single" | "left" | "right") => Some("as traced"),
        _ => None,
    };
    [("taken_off", taken_off), ("inked_side", inked_side), ("hands", hands)]
}

/// Gives each template that names a mould what the mould says, and refuses what they contradict
/// each other in. Says the names of the moulds.
pub(super) fn moulds(doc: &mut Document<'_>, findings: &mut Findings<'_>) -> Names {
    let names = Names::collect(&["mould"], doc, findings);
    for i in 0..doc.count("template") {
        let path = |key: &str| format!("template.{i}.{key}");
        let Some((at, id)) = named(doc, &path("mould")) else { continue };
        let Some(k) = names.find(&id, "mould", at.start, findings) else { continue };
        let said = said_by_mould(|key| doc.text_at(&format!("mould.{k}.{key}")));
        if said.contains(&("inked_side", None))
            && !doc.has(&format!("mould.{k}.inked_side"))
            && !doc.has(&path("inked_side"))
        {
            let what = said!(
                "neither the template nor its mould {} says which way the inked side lay",
                quoted(&id)
            );
            findings.fault(
                at.start,
                what,
                "add `inked_side` to the mould, or to the template where they differ",
            );
        }
        let mut keys: Keys<'_> = Vec::new();
        for (key, value) in said {
            let Some(value) = value else { continue };
            let own = doc.text_at(&path(key));
            // A template of a pair may be of one hand alone.
            let differs =
                own.is_some_and(|own| own != value) && !(key == "hands" && value == "both");
            if let (Some(own), true) = (own, differs) {
                let what = said!(
                    "`{key}` is {} here, and {} by the mould {}",
                    quoted(own),
                    quoted(value),
                    quoted(&id)
                );
                findings.fault(
                    doc.offset_of(&path(key)),
                    what,
                    "take it out of the template, or correct the mould",
                );
            }
            keys.push((key.into(), DeValue::String(value.into())));
        }
        put(doc, "template", i, keys, &at);
    }
    names
}
