//! Edits of a job file as plain data, applied so that comments, order and spelling of everything
//! else stay.

use super::document::{banner, clear, id_of, nowhere, prepend, renamed, split, table_at};
use super::removal::remove;
use crate::fault::Fault;
use serde::{Deserialize, Serialize};
use toml_edit::{Array, ArrayOfTables, DocumentMut, InlineTable, Item, Table, Value};

/// What a key can hold.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(untagged)]
pub enum Entry {
    /// `true` or `false`.
    Flag(bool),
    /// A number.
    Number(f64),
    /// Text.
    Text(String),
    /// A list.
    List(Vec<Entry>),
    /// Keys and values, in this order.
    Keys(Vec<(String, Entry)>),
}

impl From<&str> for Entry {
    fn from(text: &str) -> Entry {
        Entry::Text(text.into())
    }
}

/// One edit of a job file. Places are paths such as `cloth.2.roll_width`, counted from 0.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Edit {
    /// Puts a value at a key; a section that is not there yet is begun.
    Set {
        /// The key.
        at: String,
        /// Its value.
        to: Entry,
    },
    /// Takes a key or a whole section away.
    Clear {
        /// The key or section.
        at: String,
    },
    /// Appends a section such as `[[layer]]` or `[[cloth.offer]]` to those of its kind.
    Add {
        /// Which kind: `layer`, or `cloth.1.offer`.
        section: String,
        /// Its keys and values, in this order.
        keys: Vec<(String, Entry)>,
    },
    /// Moves a section without sections of its own, such as a layer, among those of its kind.
    Move {
        /// Which kind: `layer`.
        section: String,
        /// From this place.
        from: usize,
        /// To this place.
        to: usize,
    },
    /// Gives a cloth, mould, template, strip or patch another id, wherever it is named.
    Rename {
        /// The key: `cloth.0.id`.
        at: String,
        /// The new id.
        to: String,
    },
    /// Takes a template, strip or patch away, and its id out of all that names it.
    Remove {
        /// Where it stands: `strip.0`.
        at: String,
        /// The id that takes its place; without one, patches on it go with it.
        #[serde(default)]
        instead: Option<String>,
        /// Layers that laid nothing else go with it.
        #[serde(default)]
        layers: bool,
    },
    /// Lays a template in a layer, or takes it out of it.
    Lay {
        /// Index of the layer.
        layer: usize,
        /// Id of the template, strip or patch.
        template: String,
        /// Whether it is laid.
        on: bool,
    },
    /// Says which hands and how many of a template a layer lays.
    LayAs {
        /// Index of the layer.
        layer: usize,
        /// Id of the template, strip or patch.
        template: String,
        /// Hands; the layer's own if none.
        hands: Option<String>,
        /// Copies of each hand; the layer's own if none.
        copies: Option<u32>,
    },
    /// Several edits, all or none.
    All(Vec<Edit>),
}

/// Applies an edit to the text of a job file.
///
/// # Errors
/// The text is no TOML, or the edit names a place that is not there.
pub fn edited(text: &str, edit: &Edit) -> Result<String, Fault> {
    let mut doc: DocumentMut = text.parse().map_err(|e: toml_edit::TomlError| {
        let what = said!(
            "the file cannot be edited here while it breaks the rules of TOML: {}",
            e.message().replace('\n', ", ")
        );
        Fault::new(what, "mend the line that is named in an editor, or undo")
    })?;
    apply(&mut doc, edit)?;
    Ok(doc.to_string())
}

fn apply(doc: &mut DocumentMut, edit: &Edit) -> Result<(), Fault> {
    match edit {
        Edit::Set { at, to } => set(doc.as_table_mut(), at, to),
        Edit::Clear { at } => clear(doc, at),
        Edit::Add { section, keys } => add(doc, section, keys),
        Edit::Move { section, from, to } => shift(doc, section, *from, *to),
        Edit::Rename { at, to } => rename(doc, at, to),
        Edit::Remove { at, instead, layers } => remove(doc, at, instead.as_deref(), *layers),
        Edit::Lay { layer, template, on } => lay(doc, *layer, template, *on),
        Edit::LayAs { layer, template, hands, copies } => {
            lay_as(doc, *layer, template, hands.as_deref(), *copies)
        }
        Edit::All(edits) => edits.iter().try_for_each(|edit| apply(doc, edit)),
    }
}

fn value_of(entry: &Entry) -> Value {
    match entry {
        Entry::Flag(flag) => (*flag).into(),
        // Whole numbers without a point, as people write them.
        Entry::Number(n) if n.fract() == 0.0 && n.abs() < 1e15 => (*n as i64).into(),
        Entry::Number(n) => (*n).into(),
        Entry::Text(text) => text.as_str().into(),
        Entry::List(list) => list.iter().map(value_of).collect::<Array>().into(),
        Entry::Keys(keys) => keys
            .iter()
            .map(|(key, entry)| (key.as_str(), value_of(entry)))
            .collect::<InlineTable>()
            .into(),
    }
}

fn set(root: &mut Table, at: &str, to: &Entry) -> Result<(), Fault> {
    let (path, key) = split(at);
    if let [section] = path[..]
        && !root.contains_key(section)
    {
        root.insert(section, Item::Table(begun()));
    }
    let table = table_at(root, &path).ok_or_else(|| nowhere(at))?;
    let mut value = value_of(to);
    // The comment behind a value stays behind it.
    if let Some(old) = table.get(key).and_then(Item::as_value) {
        *value.decor_mut() = old.decor().clone();
    }
    match table.get_mut(key) {
        Some(item) => *item = Item::Value(value),
        None => {
            table.insert(key, Item::Value(value));
        }
    }
    Ok(())
}

/// A new table, parted from what goes before by an empty line.
fn begun() -> Table {
    let mut table = Table::new();
    table.decor_mut().set_prefix("\n");
    table
}

/// The sections of one kind, as an array even if there is but one in single brackets.
fn sections<'t>(root: &'t mut Table, section: &str) -> Option<&'t mut ArrayOfTables> {
    let (path, kind) = split(section);
    let table = table_at(root, &path)?;
    if matches!(table.get(kind), Some(Item::Table(_)))
        && let Some(Item::Table(one)) = table.remove(kind)
    {
        let mut array = ArrayOfTables::new();
        array.push(one);
        table.insert(kind, Item::ArrayOfTables(array));
    }
    table.entry(kind).or_insert(Item::ArrayOfTables(ArrayOfTables::new())).as_array_of_tables_mut()
}

fn add(doc: &mut DocumentMut, section: &str, keys: &[(String, Entry)]) -> Result<(), Fault> {
    let array = sections(doc.as_table_mut(), section).ok_or_else(|| nowhere(section))?;
    let mut table = begun();
    for (key, entry) in keys {
        table.insert(key, Item::Value(value_of(entry)));
    }
    array.push(table);
    Ok(())
}

fn shift(doc: &mut DocumentMut, section: &str, from: usize, to: usize) -> Result<(), Fault> {
    let array = sections(doc.as_table_mut(), section)
        .filter(|a| from < a.len() && to < a.len())
        .ok_or_else(|| nowhere(section))?;
    let mut tables: Vec<Table> = std::mem::take(array).into_iter().collect();
    // Places in the file stay; what moves is what stands there. Words above several sections stay
    // above them.
    let places: Vec<Option<isize>> = tables.iter().map(Table::position).collect();
    let banners: Vec<String> = tables.iter_mut().map(banner).collect();
    let moved = tables.remove(from);
    tables.insert(to, moved);
    for ((mut table, place), banner) in tables.into_iter().zip(places).zip(banners) {
        table.set_position(place);
        prepend(table.decor_mut(), &banner);
        array.push(table);
    }
    Ok(())
}

/// Keys that name a cloth, a mould, and a template, strip or patch.
const NAMED: [(&[&str], &[&str]); 3] = [
    (&["cloth"], &["layer.cloth"]),
    (&["mould"], &["template.mould"]),
    (
        &["template", "strip", "patch"],
        &[
            "layer.templates",
            "patch.on",
            "template.other_hand_of",
            "layup.second_half",
            "layup.joint",
            "consumables.bag.templates",
        ],
    ),
];

fn rename(doc: &mut DocumentMut, at: &str, to: &str) -> Result<(), Fault> {
    let (path, key) = split(at);
    let old = table_at(doc.as_table_mut(), &path)
        .and_then(|t| t.get(key))
        .and_then(Item::as_str)
        .map(str::to_string);
    set(doc.as_table_mut(), at, &Entry::Text(to.into()))?;
    let (Some(old), Some(section)) = (old, path.first()) else {
        return Ok(());
    };
    for (kinds, names) in NAMED {
        if kinds.contains(section) {
            names.iter().for_each(|name| {
                renamed(doc.as_table_mut(), &name.split('.').collect::<Vec<_>>(), &old, to)
            });
        }
    }
    Ok(())
}

/// The list of what a layer lays, begun if it is not there.
fn laid(doc: &mut DocumentMut, layer: usize) -> Result<&mut Array, Fault> {
    let at = format!("layer.{layer}");
    let path = ["layer", &layer.to_string()].map(str::to_string);
    let table = table_at(doc.as_table_mut(), &[&path[0], &path[1]]).ok_or_else(|| nowhere(&at))?;
    table
        .entry("templates")
        .or_insert(Item::Value(Array::new().into()))
        .as_array_mut()
        .ok_or_else(|| nowhere(&format!("{at}.templates")))
}

fn lay(doc: &mut DocumentMut, layer: usize, template: &str, on: bool) -> Result<(), Fault> {
    let list = laid(doc, layer)?;
    let there = list.iter().any(|v| id_of(v) == Some(template));
    if on && !there {
        list.push(template);
    } else if !on {
        list.retain(|v| id_of(v) != Some(template));
    }
    Ok(())
}

fn lay_as(
    doc: &mut DocumentMut,
    layer: usize,
    template: &str,
    hands: Option<&str>,
    copies: Option<u32>,
) -> Result<(), Fault> {
    let list = laid(doc, layer)?;
    let entry = list
        .iter_mut()
        .find(|v| id_of(v) == Some(template))
        .ok_or_else(|| nowhere(&format!("layer.{layer}: {template}")))?;
    let decor = entry.decor().clone();
    let mut keys = vec![("template".to_string(), Entry::from(template))];
    keys.extend(hands.map(|h| ("hands".to_string(), h.into())));
    keys.extend(copies.map(|c| ("copies".to_string(), Entry::Number(f64::from(c)))));
    *entry = if keys.len() == 1 { template.into() } else { value_of(&Entry::Keys(keys)) };
    *entry.decor_mut() = decor;
    Ok(())
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    const JOB: &str = r#"# Rudder blade.
[job]
name = "blade"   # for people

# --- cloths ---

[[cloth]]
id = "twill"
roll_width = 1250   # measured
[[cloth.offer]]
width = 1000

# the thin one
[[cloth]]
id = "plain"

[[template]]
id = "blade"

# --- layers ---

# against the mould
[[layer]]
name = "face"
cloth = "twill"
templates = ["blade", { template = "root", copies = 2 }]   # both

[[layer]]
name = "bulk"
cloth = "plain"
templates = ["blade"]
"#;

    fn after(edit: Edit) -> String {
        edited(JOB, &edit).unwrap()
    }

    #[test]
    fn a_value_is_set_and_nothing_else_is_touched() {
        let text = after(Edit::Set { at: "cloth.0.roll_width".into(), to: Entry::Number(1270.0) });
        assert_eq!(text, JOB.replace("1250   # measured", "1270   # measured"));
        let text = after(Edit::Set {
            at: "cloth.0.offer.0.width".into(),
            to: Entry::Text("1.2 m".into()),
        });
        assert_eq!(text, JOB.replace("width = 1000", "width = \"1.2 m\""));
        let text = after(Edit::Set { at: "cutting.gap".into(), to: Entry::Number(2.5) });
        assert!(
            text.contains("\n[cutting]\ngap = 2.5\n")
                && text.replace("\n[cutting]\ngap = 2.5\n", "") == JOB,
            "{text}"
        );
    }

    #[test]
    fn a_section_goes_to_the_end_of_its_kind() {
        let text =
            after(Edit::Add { section: "cloth".into(), keys: vec![("id".into(), "mat".into())] });
        assert_eq!(
            text,
            JOB.replace("id = \"plain\"\n", "id = \"plain\"\n\n[[cloth]]\nid = \"mat\"\n")
        );
        let text = after(Edit::Add {
            section: "cloth.0.offer".into(),
            keys: vec![("width".into(), Entry::Number(600.0))],
        });
        assert_eq!(
            text,
            JOB.replace("width = 1000\n", "width = 1000\n\n[[cloth.offer]]\nwidth = 600\n")
        );
        let text =
            after(Edit::Add { section: "strip".into(), keys: vec![("id".into(), "tape".into())] });
        assert!(text.ends_with("templates = [\"blade\"]\n\n[[strip]]\nid = \"tape\"\n"), "{text}");
    }

    #[test]
    fn a_layer_moves_with_its_own_comment_and_without_the_heading_of_all() {
        let text = after(Edit::Move { section: "layer".into(), from: 0, to: 1 });
        let (heading, face, bulk) = (
            text.find("--- layers").unwrap(),
            text.find("against the mould").unwrap(),
            text.find("bulk").unwrap(),
        );
        assert!(heading < bulk && bulk < face, "{text}");
        assert!(text.contains("# against the mould\n[[layer]]\nname = \"face\""), "{text}");
        assert_eq!(
            edited(&text, &Edit::Move { section: "layer".into(), from: 1, to: 0 }).unwrap(),
            JOB
        );
    }

    #[test]
    fn a_section_that_goes_leaves_the_heading_of_all() {
        let text = after(Edit::Clear { at: "layer.0".into() });
        assert!(text.contains("# --- layers ---") && !text.contains("against the mould"), "{text}");
        let both = edited(&text, &Edit::Clear { at: "layer.0".into() }).unwrap();
        assert!(!both.contains("[[layer]]"), "{both}");
        assert!(after(Edit::Clear { at: "cloth.0".into() }).contains("# the thin one\n[[cloth]]"));
        assert_eq!(
            after(Edit::Clear { at: "cloth.0.offer.0".into() }),
            JOB.replace("[[cloth.offer]]\nwidth = 1000\n", "")
        );
        assert_eq!(
            after(Edit::Clear { at: "layer.1.name".into() }),
            JOB.replace("name = \"bulk\"\n", "")
        );
    }

    #[test]
    fn a_new_id_is_put_wherever_the_old_one_stood() {
        let text = after(Edit::Rename { at: "template.0.id".into(), to: "rudder".into() });
        let wanted =
            JOB.replace("id = \"blade\"", "id = \"rudder\"").replace("[\"blade\"", "[\"rudder\"");
        assert_eq!(text, wanted);
        let text = after(Edit::Rename { at: "cloth.1.id".into(), to: "thin".into() });
        assert_eq!(text, JOB.replace("\"plain\"", "\"thin\""));
    }

    #[test]
    fn what_a_layer_lays_is_ticked_and_counted() {
        let off = after(Edit::Lay { layer: 0, template: "root".into(), on: false });
        assert!(off.contains("templates = [\"blade\"]   # both"), "{off}");
        let on = after(Edit::Lay { layer: 1, template: "root".into(), on: true });
        assert!(on.contains("templates = [\"blade\", \"root\"]"), "{on}");
        assert_eq!(after(Edit::Lay { layer: 0, template: "root".into(), on: true }), JOB);
        let two = after(Edit::LayAs {
            layer: 1,
            template: "blade".into(),
            hands: Some("both".into()),
            copies: None,
        });
        assert!(two.contains("templates = [{ template = \"blade\", hands = \"both\" }]"), "{two}");
        let plain =
            after(Edit::LayAs { layer: 0, template: "root".into(), hands: None, copies: None });
        assert!(plain.contains("templates = [\"blade\", \"root\"]   # both"), "{plain}");
    }

    #[test]
    fn an_edit_of_what_is_not_there_changes_nothing() {
        for edit in [
            Edit::Set { at: "cloth.7.id".into(), to: "x".into() },
            Edit::Clear { at: "layer.2".into() },
            Edit::Clear { at: "job.currency".into() },
            Edit::Move { section: "layer".into(), from: 0, to: 2 },
            Edit::Lay { layer: 9, template: "blade".into(), on: true },
            Edit::LayAs { layer: 1, template: "nothing".into(), hands: None, copies: Some(2) },
            Edit::All(vec![
                Edit::Clear { at: "layer.0".into() },
                Edit::Clear { at: "layer.5".into() },
            ]),
        ] {
            assert!(edited(JOB, &edit).is_err(), "{edit:?}");
        }
        assert!(edited("[job\nname = 1", &Edit::Clear { at: "job.name".into() }).is_err());
    }
}
