//! From the names in faults of preparation and planning to the lines of the job that they are
//! about.

use super::document::Document;
use crate::fault::{Fault, Place, line_and_column};
use std::path::Path;

/// Gives each fault that names a layer, ply, cloth, template or section of its job file the line
/// where that stands; `text_of` gives the text of a file.
pub fn placed(faults: Vec<Fault>, text_of: &dyn Fn(&Path) -> Option<String>) -> Vec<Fault> {
    faults.into_iter().map(|fault| place(&fault, text_of).unwrap_or(fault)).collect()
}

fn place(fault: &Fault, text_of: &dyn Fn(&Path) -> Option<String>) -> Option<Fault> {
    let (Some(file), Place::Named(name)) = (&fault.file, &fault.place) else {
        return None;
    };
    if !file.extension().is_some_and(|e| e.eq_ignore_ascii_case("toml")) {
        return None;
    }
    let text = text_of(file)?;
    let (doc, _) = Document::parse(&text, file);
    let (line, column) = line_and_column(&text, doc.offset_of(&path_of(&doc, name)?));
    Some(Fault { what: said!("{name}: {}", fault.what), ..fault.clone() }.at_line(line, column))
}

/// The path in the document of what a fault calls by this name.
fn path_of(doc: &Document<'_>, name: &str) -> Option<String> {
    let is =
        |section: &str, i: usize, id: &str| doc.text_at(&format!("{section}.{i}.id")) == Some(id);
    let section = |section: &str, id: &str| {
        (0..doc.count(section)).find(|&i| is(section, i, id)).map(|i| format!("{section}.{i}.id"))
    };
    if let Some(key) = name.strip_prefix('[').and_then(|n| n.strip_suffix(']')) {
        return doc.has(key).then(|| key.to_string());
    }
    // `cloth twill`, or `twill: piece 2.1`.
    if let Some(found) = section(
        "cloth",
        name.strip_prefix("cloth ").or(name.split_once(": ").map(|n| n.0)).unwrap_or_default(),
    ) {
        return Some(found);
    }
    if let Some(found) =
        ["template", "strip", "patch", "cloth"].iter().find_map(|kind| section(kind, name))
    {
        return Some(found);
    }
    // `layer 2`, `layer 2 "bulk": seat`, or a ply: `2-seat-mirrored`.
    let rest = name.strip_prefix("layer ").unwrap_or(name);
    let digits = rest.bytes().take_while(u8::is_ascii_digit).count();
    let (number, rest) = rest.split_at(digits);
    let layer = format!("layer.{}", number.parse::<usize>().ok()?.checked_sub(1)?);
    if !doc.has(&layer) {
        return None;
    }
    let laid = |j: usize| {
        let entry = format!("{layer}.templates.{j}");
        let id = doc.text_at(&entry).or_else(|| doc.text_at(&format!("{entry}.template")));
        let words = |id: &str| {
            rest.split([' ', ':', '"']).any(|w| w == id)
                || rest.strip_prefix('-').is_some_and(|r| r.starts_with(id))
        };
        id.filter(|id| words(id)).map(|id| (id.len(), entry))
    };
    let entries = (0..).take_while(|j| doc.has(&format!("{layer}.templates.{j}")));
    // The longest: `seat-heel` is not the heel of `seat`.
    Some(
        entries
            .filter_map(laid)
            .max_by_key(|(length, _)| *length)
            .map_or(layer, |(_, entry)| entry),
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    const JOB: &str = "[job]\nname = \"x\"\n\n[[cloth]]\nid = \"twill\"\n\n[[template]]\nid = \"seat\"\n\n[[layer]]\ntemplates = [\"seat\"]\n\n\
                       [[layer]]\nname = \"bulk\"\ntemplates = [\n  \"seat\",\n  { template = \"seat-heel\" },\n]\n";

    #[test]
    fn names_lead_to_lines_of_the_job() {
        let line = |name: &str| {
            let fault = Fault::new("is too large", "make it smaller")
                .in_file(Path::new("job.toml"))
                .on(name);
            match placed(vec![fault], &|_| Some(JOB.into())).first().map(|f| f.place.clone()) {
                Some(Place::Line { line, .. }) => line,
                _ => 0,
            }
        };
        let names = [
            "[job]",
            "cloth twill",
            "twill: piece 2.1 (2-seat)",
            "seat",
            "layer 1",
            "layer 2",
            "2-seat-mirrored",
            "2-seat-heel",
            "layer 2 \"bulk\": seat-heel",
            "layer 9",
        ];
        assert_eq!(names.map(line), [1, 5, 5, 8, 10, 13, 16, 17, 17, 0]);
    }
}
