//! A template that goes: what lays it or lies on it, and what becomes of that.

use super::document::{clear, id_of, laid_lists, renamed, section_text};
use super::values::Values;
use crate::fault::Fault;
use std::sync::LazyLock;
use toml_edit::{Array, DocumentMut, Item, TableLike, Value};

/// Lists that name templates, beside what layers lay.
const LISTS: [&[&str]; 3] =
    [&["layup", "second_half"], &["layup", "joint"], &["consumables", "bag", "templates"]];

/// What a template, strip or patch is needed for.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Uses {
    /// Layers that lay it, from 0.
    pub layers: Vec<usize>,
    /// Those of them that lay nothing else.
    pub alone: Vec<usize>,
    /// Ids of patches that lie on it.
    pub patches: Vec<String>,
}

/// What a template, strip or patch of this id is needed for.
pub fn uses_of(values: &Values, id: &str) -> Uses {
    let mut uses = Uses::default();
    for layer in 0..values.count("layer") {
        let list = format!("layer.{layer}.templates");
        let count = values.count(&list);
        let is_it = |k: &usize| {
            let at = format!("{list}.{k}");
            values.get(&at).or_else(|| values.get(&format!("{at}.template"))) == Some(id)
        };
        match (0..count).filter(is_it).count() {
            0 => continue,
            all if all == count => uses.alone.push(layer),
            _ => {}
        }
        uses.layers.push(layer);
    }
    let on = |i: &usize| values.get(&format!("patch.{i}.on")) == Some(id);
    let patches = (0..values.count("patch")).filter(on);
    uses.patches =
        patches.filter_map(|i| values.get(&format!("patch.{i}.id")).map(String::from)).collect();
    uses
}

/// Takes a template, strip or patch away. All that names it names `instead`, or names it no more:
/// then a patch that lies on it goes with it, and, if `layers` says so, each layer that laid
/// nothing else.
pub(super) fn remove(
    doc: &mut DocumentMut,
    at: &str,
    instead: Option<&str>,
    layers: bool,
) -> Result<(), Fault> {
    let id = section_text(doc, at, "id");
    clear(doc, at)?;
    let Some(id) = id.filter(|id| !is_there(doc, id)) else { return Ok(()) };
    let laid = laid_lists(doc);
    let lays = |list: &Array| list.iter().any(|v| id_of(v) == Some(&id));
    match instead {
        Some(to) => {
            for (_, list) in laid {
                // What a layer lays already it lays once.
                if lays(list) && list.iter().any(|v| id_of(v) == Some(to)) {
                    list.retain(|v| id_of(v) != Some(&id));
                }
            }
            for path in [&["layer", "templates"], &["patch", "on"]] {
                renamed(doc.as_table_mut(), path, &id, to);
            }
            LISTS.iter().for_each(|path| renamed(doc.as_table_mut(), path, &id, to));
        }
        None => {
            let mut empty = Vec::new();
            for (layer, list) in laid {
                if !lays(list) {
                    continue;
                }
                list.retain(|v| id_of(v) != Some(&id));
                empty.extend(list.is_empty().then_some(layer));
            }
            LISTS.iter().for_each(|path| forget(doc.as_table_mut(), path, &id));
            if layers {
                empty.iter().rev().try_for_each(|i| clear(doc, &format!("layer.{i}")))?;
            }
            while let Some(k) = section_of(doc, "patch", "on", &id) {
                remove(doc, &format!("patch.{k}"), None, layers)?;
            }
        }
    }
    forget(doc.as_table_mut(), &["template", "other_hand_of"], &id);
    Ok(())
}

/// Whether a section of this id is there still: ids that stand twice are another fault.
fn is_there(doc: &mut DocumentMut, id: &str) -> bool {
    ["template", "strip", "patch"].iter().any(|kind| section_of(doc, kind, "id", id).is_some())
}

/// The first section of a kind that has this text at a key.
fn section_of(doc: &mut DocumentMut, kind: &str, key: &str, text: &str) -> Option<usize> {
    let count = match doc.get(kind) {
        Some(Item::ArrayOfTables(all)) => all.len(),
        Some(_) => 1,
        None => 0,
    };
    (0..count)
        .find(|i| section_text(doc, &format!("{kind}.{i}"), key).is_some_and(|found| found == text))
}

/// Takes an id out of the lists at a path, and away where it stands alone.
fn forget(table: &mut dyn TableLike, path: &[&str], id: &str) {
    let Some((step, rest)) = path.split_first() else { return };
    match table.get_mut(step) {
        Some(Item::ArrayOfTables(all)) => all.iter_mut().for_each(|t| forget(t, rest, id)),
        Some(Item::Table(inner)) => forget(inner, rest, id),
        Some(Item::Value(Value::Array(list))) if rest.is_empty() => {
            list.retain(|v| v.as_str() != Some(id));
        }
        Some(Item::Value(Value::String(text))) if rest.is_empty() && text.value() == id => {
            table.remove(step);
        }
        _ => {}
    }
}

/// A new job, to tell what in a job stands as it came.
static NEW: LazyLock<Values> = LazyLock::new(|| Values::of(&crate::job::scaffold("new", &[])));

/// Whether a section, such as `strip.0`, stands as it came with a new job: an example.
pub fn is_example(values: &Values, at: &str) -> bool {
    let kind = at.split('.').next().unwrap_or_default();
    ["strip", "cloth", "layer"].contains(&kind) && values.is_same(at, &NEW, &format!("{kind}.0"))
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::workshop::{Edit, edited};

    const JOB: &str = r#"[[template]]
id = "seat"
[[template]]
id = "back"
other_hand_of = "seat"

# the long one
[[strip]]
id = "tape"
length = 900
[[patch]]
id = "bolt"
on = "seat"
[[layer]]
templates = ["tape"]   # alone
[[layer]]
templates = ["seat", { template = "bolt", copies = 2 }, "back"]
[layup]
joint = ["tape"]
"#;

    fn after(at: &str, instead: Option<&str>, layers: bool) -> String {
        let instead = instead.map(String::from);
        edited(JOB, &Edit::Remove { at: at.into(), instead, layers }).unwrap()
    }

    #[test]
    fn a_template_that_goes_is_named_nowhere_any_more() {
        let text = after("strip.0", None, false);
        assert!(!text.contains("tape") && text.contains("templates = []   # alone"), "{text}");
        assert!(text.contains("joint = []"), "{text}");
        let text = after("strip.0", None, true);
        assert_eq!(text.matches("[[layer]]").count(), 1, "{text}");
        let text = after("strip.0", Some("back"), false);
        assert!(text.contains("templates = [\"back\"]   # alone"), "{text}");
        assert!(text.contains("joint = [\"back\"]"), "{text}");
    }

    #[test]
    fn what_lies_on_a_template_goes_with_it_or_lies_on_the_other() {
        let text = after("template.0", None, false);
        assert!(!text.contains("seat") && !text.contains("bolt"), "{text}");
        assert!(text.contains("templates = [ \"back\"]"), "{text}");
        // The layer lays it already: not twice.
        let text = after("template.0", Some("back"), false);
        assert!(text.contains("on = \"back\"") && !text.contains("seat"), "{text}");
        assert_eq!(text.matches("\"back\"").count(), 3, "{text}");
    }

    #[test]
    fn what_a_template_is_needed_for() {
        let values = Values::of(JOB);
        let uses = uses_of(&values, "tape");
        assert_eq!((uses.layers, uses.alone, uses.patches), (vec![0], vec![0], vec![]));
        let uses = uses_of(&values, "seat");
        assert_eq!((uses.layers, uses.alone), (vec![1], vec![]));
        assert_eq!(uses.patches, ["bolt"]);
        assert_eq!(uses_of(&values, "nothing"), Uses::default());
    }

    #[test]
    fn a_new_job_says_what_is_example_until_it_is_changed() {
        let text = crate::job::scaffold("seat", &[]);
        let values = Values::of(&text);
        let all = ["cloth.0", "layer.0", "strip.0"];
        assert!(all.iter().all(|at| is_example(&values, at)) && !is_example(&values, "cutting"));
        let values = Values::of(&text.replace("length = 1800", "length = 900"));
        assert_eq!(all.map(|at| is_example(&values, at)), [true, true, false]);
    }
}
