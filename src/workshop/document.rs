//! Places in a job file whose comments, order and spelling are kept.

use crate::fault::Fault;
use crate::units::quoted;
use toml_edit::{Array, Decor, DocumentMut, Item, RawString, Table, TableLike, Value};

pub(super) fn nowhere(at: &str) -> Fault {
    Fault::new(
        said!("the job has no {} any more", quoted(at)),
        "look at the job as it is now, and edit that",
    )
}

pub(super) fn split(at: &str) -> (Vec<&str>, &str) {
    let mut steps: Vec<&str> = at.split('.').collect();
    let last = steps.pop().unwrap_or_default();
    (steps, last)
}

/// The table at a path, if it is there.
pub(super) fn table_at<'t>(root: &'t mut Table, path: &[&str]) -> Option<&'t mut dyn TableLike> {
    let mut here: &mut dyn TableLike = root;
    let mut steps = path.iter().peekable();
    while let Some(step) = steps.next() {
        let item = here.get_mut(step)?;
        here = match item {
            Item::ArrayOfTables(array) => array.get_mut(steps.next()?.parse().ok()?)?,
            Item::Value(Value::Array(array)) => {
                array.get_mut(steps.next()?.parse().ok()?)?.as_inline_table_mut()?
            }
            // A section in single brackets stands for a list of one.
            Item::Table(table) => {
                steps.next_if(|next| **next == "0");
                table
            }
            Item::Value(Value::InlineTable(table)) => {
                steps.next_if(|next| **next == "0");
                table
            }
            _ => return None,
        };
    }
    Some(here)
}

/// The text at a key of a section.
pub(super) fn section_text(doc: &mut DocumentMut, at: &str, key: &str) -> Option<String> {
    let steps: Vec<&str> = at.split('.').collect();
    Some(table_at(doc.as_table_mut(), &steps)?.get(key)?.as_str()?.to_string())
}

pub(super) fn clear(doc: &mut DocumentMut, at: &str) -> Result<(), Fault> {
    let (path, key) = split(at);
    if let (Ok(index), Some((section, above))) = (key.parse::<usize>(), path.split_last()) {
        let table = table_at(doc.as_table_mut(), above).ok_or_else(|| nowhere(at))?;
        let banner = match table.get_mut(section) {
            Some(Item::ArrayOfTables(array)) if index < array.len() => {
                let banner = banner(&mut array.remove(index));
                if let Some(next) = array.get_mut(index) {
                    prepend(next.decor_mut(), &banner);
                    String::new()
                } else {
                    banner
                }
            }
            Some(Item::Table(table)) if index == 0 => banner(table),
            _ => return Err(nowhere(at)),
        };
        let gone = match table.get(section) {
            Some(Item::ArrayOfTables(array)) => array.is_empty(),
            Some(Item::Table(_)) => true,
            _ => false,
        };
        if gone {
            table.remove(section);
        }
        // What was said above the last of its kind stays at the end of the file.
        if !banner.trim().is_empty() {
            let end = format!("{}{banner}", doc.trailing().as_str().unwrap_or_default());
            doc.set_trailing(end);
        }
        return Ok(());
    }
    let table = table_at(doc.as_table_mut(), &path).ok_or_else(|| nowhere(at))?;
    table.remove(key).map(|_| ()).ok_or_else(|| nowhere(at))
}

/// What stands above a section and is about more than it, taken off it: everything up to its last
/// empty line.
pub(super) fn banner(table: &mut Table) -> String {
    let prefix = table.decor().prefix().and_then(RawString::as_str).unwrap_or_default().to_string();
    let Some(end) =
        prefix.rfind("\n\n").map(|i| i + 1).filter(|end| !prefix[..*end].trim().is_empty())
    else {
        return String::new();
    };
    let (above, own) = prefix.split_at(end);
    table.decor_mut().set_prefix(own);
    above.to_string()
}

pub(super) fn prepend(decor: &mut Decor, text: &str) {
    let own = decor.prefix().and_then(RawString::as_str).unwrap_or_default().to_string();
    decor.set_prefix(format!("{text}{own}"));
}

/// Puts a new name wherever the old one stands under a key of any section of a kind.
pub(super) fn renamed(table: &mut dyn TableLike, path: &[&str], old: &str, to: &str) {
    let Some((step, rest)) = path.split_first() else {
        return;
    };
    match table.get_mut(step) {
        Some(Item::ArrayOfTables(array)) => {
            array.iter_mut().for_each(|t| renamed(t, rest, old, to))
        }
        Some(Item::Table(inner)) => renamed(inner, rest, old, to),
        Some(Item::Value(value)) if rest.is_empty() => in_value(value, old, to),
        _ => {}
    }
}

fn in_value(value: &mut Value, old: &str, to: &str) {
    match value {
        Value::String(text) if text.value() == old => {
            let decor = text.decor().clone();
            *value = to.into();
            *value.decor_mut() = decor;
        }
        Value::Array(array) => array.iter_mut().for_each(|v| in_value(v, old, to)),
        Value::InlineTable(table) => {
            if let Some(inner) = table.get_mut("template") {
                in_value(inner, old, to);
            }
        }
        _ => {}
    }
}

/// What each layer lays, with its place among the layers; those without a list are left out.
pub(super) fn laid_lists(doc: &mut DocumentMut) -> Vec<(usize, &mut Array)> {
    fn list(table: &mut Table) -> Option<&mut Array> {
        table.get_mut("templates")?.as_array_mut()
    }
    match doc.get_mut("layer") {
        Some(Item::ArrayOfTables(all)) => {
            let lists = all.iter_mut().enumerate();
            lists.filter_map(|(i, t)| Some((i, list(t)?))).collect()
        }
        Some(Item::Table(one)) => list(one).map(|l| (0, l)).into_iter().collect(),
        _ => Vec::new(),
    }
}

pub(super) fn id_of(value: &Value) -> Option<&str> {
    value.as_str().or_else(|| value.as_inline_table()?.get("template")?.as_str())
}
