//! The keys of each section of a job that the page shows as fields, in their order. Labels stand in
//! the language files.

use warpwise::units::{System, parse_areal_mass, parse_length};
use warpwise::workshop::Entry;

/// What a field takes.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Kind {
    /// Words.
    Text,
    /// The short name of a section; a new one is put wherever the old one stood.
    Id,
    /// A number, or a number with a unit of length.
    Length,
    /// A number, or a number with a unit of areal mass.
    ArealMass,
    /// A number.
    Number,
    /// A share: a number below 1 or per cent.
    Share,
    /// Yes or no; the first is the value if the key is not there.
    Flag(bool),
    /// One of these words; the first is the value if the key is not there, unless that is empty.
    Choice(&'static [&'static str]),
    /// A day.
    Day,
    /// The id of a cloth of the job.
    Cloth,
    /// The id of a template of the job.
    Template,
    /// The id of a mould of the job.
    Mould,
    /// A point, two numbers.
    Pair,
}

/// A key and what it takes.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Field {
    /// The key in its section.
    pub key: &'static str,
    /// What it takes.
    pub kind: Kind,
    /// Shown at once; others under "more".
    pub first: bool,
}

const fn first(key: &'static str, kind: Kind) -> Field {
    Field { key, kind, first: true }
}

const fn more(key: &'static str, kind: Kind) -> Field {
    Field { key, kind, first: false }
}

/// Kinds of cloth, as the job says them.
pub const WEAVES: &[&str] = &[
    "",
    "plain",
    "twill 2/2",
    "twill 4/4",
    "twill 2/1",
    "twill 3/1",
    "satin",
    "unidirectional",
    "biaxial 45",
    "mat",
    "none",
];
const BACKINGS: &[&str] = &["", "paper", "film", "bare"];
const HANDS: &[&str] = &["as traced", "mirrored", "both"];
const EDGES: &[&str] = &["trim", "lap", "butt", "dart"];
/// From where a layer is seen, as the job says it.
pub const SEEN: &[&str] = &["hidden", "mould side", "other side"];

/// Fields of a section; none of a section that the page does not show.
pub fn fields(section: &str) -> &'static [Field] {
    match section {
        "" => const { &[more("stock", Kind::Text)] },
        "job" => {
            const {
                &[
                    first("name", Kind::Text),
                    more("other_hand_of", Kind::Text),
                    more("currency", Kind::Text),
                    more("begun_from", Kind::Text),
                ]
            }
        }
        "cutting" => {
            const {
                &[
                    first("gap", Kind::Length),
                    first("bench_length", Kind::Length),
                    first("trim", Kind::Length),
                    first("lap", Kind::Length),
                    more("least_offcut_width", Kind::Length),
                    more("angle_tolerance", Kind::Number),
                ]
            }
        }
        "splice" => {
            const {
                &[
                    first("lap", Kind::Length),
                    first("stagger", Kind::Length),
                    first("plies_apart", Kind::Number),
                ]
            }
        }
        "debulk" => {
            const {
                &[
                    first("first", Kind::Flag(true)),
                    first("every", Kind::Number),
                    first("last", Kind::Flag(true)),
                    first("minutes", Kind::Number),
                ]
            }
        }
        "cure" => {
            const {
                &[
                    first("to", Kind::Number),
                    first("rate", Kind::Number),
                    first("at", Kind::Number),
                    first("hold", Kind::Number),
                ]
            }
        }
        "cloth" => {
            const {
                &[
                    first("id", Kind::Id),
                    first("name", Kind::Text),
                    first("weave", Kind::Choice(WEAVES)),
                    first("twill_line", Kind::Number),
                    first("up", Kind::Choice(BACKINGS)),
                    first("roll_width", Kind::Length),
                    first("selvedge", Kind::Length),
                    first("areal_mass", Kind::ArealMass),
                    more("roll_length", Kind::Length),
                    more("resin_content", Kind::Share),
                    more("fibre_density", Kind::Number),
                    more("price_per_metre", Kind::Number),
                    more("price_per_square_metre", Kind::Number),
                    more("balanced", Kind::Flag(true)),
                    more("one_way", Kind::Flag(false)),
                    more("batch", Kind::Text),
                    more("expiry", Kind::Day),
                    more("out_life_hours", Kind::Number),
                    more("material", Kind::Choice(&["fibre", "core", "adhesive film"])),
                    more("thickness", Kind::Length),
                    more("resin_density", Kind::Number),
                ]
            }
        }
        "cloth.flaw" => {
            const {
                &[
                    first("from", Kind::Length),
                    first("to", Kind::Length),
                    first("low", Kind::Length),
                    first("high", Kind::Length),
                ]
            }
        }
        "library" => const { &[first("note", Kind::Text), first("data_sheet", Kind::Text)] },
        "mould" => {
            const {
                &[
                    first("id", Kind::Id),
                    first("name", Kind::Text),
                    first("kind", Kind::Choice(&["", "female", "plug"])),
                    first("hands", Kind::Choice(&["", "single", "left", "right", "pair"])),
                    first("taped", Kind::Choice(&["", "left", "right"])),
                    first("inked_side", Kind::Choice(&["", "up", "down"])),
                    first("note", Kind::Text),
                    first("photo", Kind::Text),
                ]
            }
        }
        "template" => {
            const {
                &[
                    first("id", Kind::Id),
                    first("taken_off", Kind::Choice(&["", "mould", "plug"])),
                    first("inked_side", Kind::Choice(&["", "up", "down"])),
                    first("hands", Kind::Choice(HANDS)),
                    first("arrow", Kind::Number),
                    first("edge", Kind::Choice(EDGES)),
                    more("mould", Kind::Mould),
                    more("file", Kind::Text),
                    more("other_hand_of", Kind::Template),
                    more("may_cross_bench", Kind::Flag(false)),
                    more("layer", Kind::Text),
                    more("unit", Kind::Choice(&["", "mm", "cm", "m", "in", "ft"])),
                    more("inside", Kind::Pair),
                ]
            }
        }
        "strip" => {
            const {
                &[
                    first("id", Kind::Id),
                    first("length", Kind::Length),
                    first("width", Kind::Length),
                    more("may_cross_bench", Kind::Flag(true)),
                ]
            }
        }
        "patch" => {
            const {
                &[
                    first("id", Kind::Id),
                    first("on", Kind::Template),
                    first("centre", Kind::Pair),
                    first("length", Kind::Length),
                    first("width", Kind::Length),
                    first("shape", Kind::Choice(&["rectangle", "ellipse"])),
                    first("step_back", Kind::Length),
                    more("along", Kind::Number),
                    more("corner", Kind::Length),
                    more("edge", Kind::Choice(&["butt", "trim", "lap", "dart"])),
                ]
            }
        }
        "layer" => {
            const {
                &[
                    first("name", Kind::Text),
                    first("cloth", Kind::Cloth),
                    first("angle", Kind::Number),
                    first("seen", Kind::Choice(SEEN)),
                    more("kind", Kind::Choice(&["whole", "mosaic"])),
                    more("hands", Kind::Choice(&["", "as traced", "mirrored", "both"])),
                    more("copies", Kind::Number),
                    more("book_match", Kind::Flag(true)),
                    more("trim", Kind::Length),
                    more("lap", Kind::Length),
                    more("angle_tolerance", Kind::Number),
                    more("patch_from", Kind::Length),
                    more("patch_to", Kind::Length),
                    more("seam_lap", Kind::Length),
                    more("least_difference", Kind::Number),
                    more("mosaic_seed", Kind::Number),
                ]
            }
        }
        _ => &[],
    }
}

/// The field of a key such as `cloth.2.roll_width`.
pub fn field_at(at: &str) -> Option<&'static Field> {
    let steps: Vec<&str> = at.split('.').collect();
    let (key, above) = steps.split_last()?;
    let section: Vec<&str> =
        above.iter().copied().filter(|s| s.parse::<usize>().is_err()).collect();
    fields(&section.join(".")).iter().find(|f| f.key == *key)
}

/// The field of a key that only a cloth of the library has.
pub fn library_field_at(at: &str) -> Option<&'static Field> {
    let key = at.strip_prefix("cloth.")?.split_once('.')?.1;
    fields("library").iter().find(|f| f.key == key)
}

/// The path under which a page shows what is to be said about a key: its field, the entry of a
/// list, or its section; empty if it shows neither.
pub fn slot_of(at: &str) -> &str {
    let is_number = |s: &&str| s.parse::<usize>().is_ok();
    let mut here = at;
    loop {
        let steps: Vec<&str> = here.split('.').collect();
        let section: Vec<&str> = steps.iter().copied().filter(|s| !is_number(s)).collect();
        let of_list = matches!(steps[..], ["layer", n, "templates"] | ["layer", n, "templates", _] if is_number(&n));
        let is_section = !fields(&section.join(".")).is_empty()
            && (steps.last().is_some_and(is_number)
                || ["job", "cutting", "splice", "debulk"].contains(&here));
        if of_list || is_section || field_at(here).is_some() {
            return here;
        }
        match here.rsplit_once('.') {
            Some((above, _)) => here = above,
            None => return "",
        }
    }
}

/// What a person typed, as the file takes it; none if the field was emptied. What cannot be read as
/// asked goes into the file as it was typed, so that the fault is said beside it and nothing is
/// lost.
pub fn entry(kind: Kind, typed: &str, units: System) -> Option<Entry> {
    let typed = typed.trim();
    if typed.is_empty() {
        return None;
    }
    let text = || Entry::Text(typed.to_string());
    // A decimal comma, as most of Europe writes it.
    let number = |t: &str| t.replace(',', ".").parse::<f64>().ok().filter(|n| n.is_finite());
    Some(match kind {
        Kind::Text
        | Kind::Id
        | Kind::Choice(_)
        | Kind::Day
        | Kind::Cloth
        | Kind::Template
        | Kind::Mould => text(),
        Kind::Length => {
            let meant = units.typed_length(typed);
            number(&meant).map(Entry::Number).unwrap_or_else(|| {
                if parse_length(&meant).is_ok() { Entry::Text(meant) } else { text() }
            })
        }
        Kind::ArealMass => {
            let meant = units.typed_areal_mass(typed);
            number(&meant).map(Entry::Number).unwrap_or_else(|| {
                if parse_areal_mass(&meant).is_ok() { Entry::Text(meant) } else { text() }
            })
        }
        Kind::Number | Kind::Share => number(typed).map_or_else(text, Entry::Number),
        Kind::Flag(_) => match typed {
            "true" | "yes" | "on" => Entry::Flag(true),
            "false" | "no" | "off" => Entry::Flag(false),
            _ => text(),
        },
        Kind::Pair => {
            let parts: Vec<&str> = typed
                .trim_matches(['[', ']'])
                .split([';', ' '])
                .filter(|p| !p.trim().is_empty())
                .collect();
            let parts = if parts.len() == 2 {
                parts
            } else {
                typed.trim_matches(['[', ']']).split(',').collect()
            };
            let pair: Option<Vec<Entry>> = parts
                .iter()
                .map(|p| number(p.trim().trim_end_matches(',')).map(Entry::Number))
                .collect();
            pair.filter(|p| p.len() == 2).map_or_else(text, Entry::List)
        }
    })
}

/// What was typed, if anything was.
pub fn some(text: &str) -> Option<String> {
    Some(text.trim().to_string()).filter(|t| !t.is_empty())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_field_is_a_key_of_the_schema() {
        let schema: serde_json::Value =
            serde_json::from_str(&warpwise::job::schema_json()).unwrap_or_default();
        let keys_of = |section: &str| {
            let step = |at: &serde_json::Value, name: &str| {
                let found = &at["properties"][name];
                if found.get("items").is_some() { found["items"].clone() } else { found.clone() }
            };
            section
                .split('.')
                .filter(|s| !s.is_empty())
                .fold(schema.clone(), |at, name| step(&at, name))["properties"]
                .clone()
        };
        for section in [
            "",
            "job",
            "cutting",
            "splice",
            "debulk",
            "cure",
            "cloth",
            "cloth.flaw",
            "mould",
            "template",
            "strip",
            "patch",
            "layer",
        ] {
            let keys = keys_of(section);
            for field in fields(section) {
                assert!(keys.get(field.key).is_some(), "{section}.{}", field.key);
            }
        }
    }

    #[test]
    fn what_is_typed_becomes_what_the_file_takes() {
        assert_eq!(entry(Kind::Length, " 12,5 ", System::Metric), Some(Entry::Number(12.5)));
        assert_eq!(
            entry(Kind::Length, "1.25 m", System::Metric),
            Some(Entry::Text("1.25 m".into()))
        );
        assert_eq!(
            entry(Kind::Length, "1,25 m", System::Metric),
            Some(Entry::Text("1.25 m".into()))
        );
        assert_eq!(
            entry(Kind::Length, "1,25 furlongs", System::Metric),
            Some(Entry::Text("1,25 furlongs".into()))
        );
        let inch = |kind, typed| entry(kind, typed, System::Inch);
        assert_eq!(inch(Kind::Length, "12,5"), Some(Entry::Text("12.5 in".into())));
        assert_eq!(inch(Kind::Length, "30 mm"), Some(Entry::Text("30 mm".into())));
        assert_eq!(inch(Kind::Number, "12"), Some(Entry::Number(12.0)));
        assert_eq!(inch(Kind::ArealMass, "5.9"), Some(Entry::Text("5.9 oz/yd²".into())));
        assert_eq!(
            entry(Kind::Number, "twelve", System::Metric),
            Some(Entry::Text("twelve".into()))
        );
        assert_eq!(entry(Kind::Number, "inf", System::Metric), Some(Entry::Text("inf".into())));
        assert_eq!(entry(Kind::Flag(true), "false", System::Metric), Some(Entry::Flag(false)));
        assert_eq!(entry(Kind::Text, "  ", System::Metric), None);
        let pair = Some(Entry::List(vec![Entry::Number(280.0), Entry::Number(-2.5)]));
        for typed in ["280, -2.5", "[280,-2.5]", "280 -2.5", "280; -2,5"] {
            assert_eq!(entry(Kind::Pair, typed, System::Metric), pair, "{typed}");
        }
        assert_eq!(field_at("cloth.2.roll_width").map(|f| f.kind), Some(Kind::Length));
        assert_eq!(field_at("cloth.0.flaw.1.from").map(|f| f.kind), Some(Kind::Length));
        assert_eq!(field_at("cloth.0.nothing"), None);
    }

    #[test]
    fn every_note_has_a_place_on_the_page() {
        for (at, slot) in [
            ("cloth.2.roll_width", "cloth.2.roll_width"),
            ("cloth.2.gpa", "cloth.2"),
            ("cloth.2", "cloth.2"),
            ("cloth.0.flaw.1.from", "cloth.0.flaw.1.from"),
            ("cloth.0.offer.1.width", "cloth.0"),
            ("template.1.inside.0", "template.1.inside"),
            ("layer.3.templates.2.copies", "layer.3.templates.2"),
            ("layer.3.templates", "layer.3.templates"),
            ("cutting.gpa", "cutting"),
            ("splice", "splice"),
            ("job.name", "job.name"),
            ("stock", "stock"),
            ("cure.1.to", "cure.1.to"),
            ("debulk.every", "debulk.every"),
            ("layup.start", ""),
            ("nonsense", ""),
        ] {
            assert_eq!(slot_of(at), slot, "{at}");
        }
    }
}
