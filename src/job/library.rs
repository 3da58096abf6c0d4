//! The workshop's cloth library: a plain file of cloths that its jobs take by name. A cloth in it is
//! held to the same rules as one in a job, less what is of one roll alone.

use super::document::{Document, Findings};
use super::layers::Names;
use super::raw::RawCloth;
use super::{cloths, schema, structure};
use crate::cloth::Cloth;
use crate::fault::{Fault, Faults, Place, Said, line_and_column};
use serde_json::{Value, json};
use std::fs;
use std::path::{Component, Path, PathBuf};
use toml::de::DeValue;

/// Its file in the workshop's folder.
pub const LIBRARY_FILE: &str = "cloths.toml";

/// A new library.
pub const LIBRARY_HEAD: &str = "# The cloths of the workshop. A job takes one by `library = \"its id\"` in a [[cloth]] of its own;\n\
                                # what is of one roll (batch, expiry, roll_length, flaws) stands in the job.\n\
                                schema = 1\n";

/// Version of the file; later ones are not read.
const SCHEMA: i64 = 1;

/// A larger library is not read, bytes.
const LARGEST_FILE: u64 = 4 << 20;

/// Keys of a cloth in a job that are of its place or of one roll.
const OF_ROLL: [&str; 5] = ["library", "roll_length", "batch", "expiry", "flaw"];

/// Keys of a cloth that only the library has.
const OF_LIBRARY: [&str; 2] = ["data_sheet", "note"];

/// Whether a key of a job's cloth is of one roll, and so never in the library.
pub fn of_roll(key: &str) -> bool {
    OF_ROLL.contains(&key)
}

/// Whether a key of a cloth is the library's alone, and so never in a job.
pub(super) fn of_library(key: &str) -> bool {
    key == "id" || OF_LIBRARY.contains(&key)
}

/// Where the library of a job would be: beside its file, else in the folder above.
pub fn library_of(job: &Path) -> [PathBuf; 2] {
    let dir = job.parent().unwrap_or(Path::new(""));
    let named = matches!(dir.components().next_back(), Some(Component::Normal(_)));
    let above = dir.parent().filter(|_| named).map_or_else(|| dir.join(".."), Path::to_path_buf);
    [dir.join(LIBRARY_FILE), above.join(LIBRARY_FILE)]
}

/// A cloth of the library.
#[derive(Clone, Debug, PartialEq)]
pub struct LibraryCloth {
    /// Its id; empty if it has none.
    pub id: String,
    /// The cloth, if nothing is wrong with it.
    pub cloth: Option<Cloth>,
    /// The file of its data sheet, from the library's folder.
    pub data_sheet: Option<String>,
    /// Faults of this cloth.
    pub faults: Faults,
}

/// Holds a library against its rules: its cloths, every fault, and what should be heard.
pub fn check_library(text: &str, path: &Path) -> (Vec<LibraryCloth>, Faults, Vec<Fault>) {
    let (doc, broken) = Document::parse(text, path);
    let mut findings = Findings::new(&doc);
    let is_broken = !broken.is_empty();
    findings.broken(broken);
    let rules = library_schema();
    let mut sound = structure::check(&doc, &rules, ("the cloth library", &mut findings), is_broken);
    let is_broken = is_broken || !is_known(&doc, &mut findings);
    Names::collect(&["cloth"], &doc, &mut findings);
    let mut made = Vec::new();
    for i in 0..doc.count("cloth") {
        let at = format!("cloth.{i}");
        let raw = sound.get_mut("cloth").and_then(|all| all.get_mut(i)).map(Value::take);
        let raw = raw.and_then(|mut raw| {
            let keys = raw.as_object_mut()?;
            OF_LIBRARY.iter().for_each(|key| _ = keys.remove(*key));
            serde_json::from_value::<RawCloth>(raw).ok()
        });
        let data_sheet = doc.text_at(&format!("{at}.data_sheet")).map(String::from);
        if let Some(file) = &data_sheet {
            let offset = doc.offset_of(&format!("{at}.data_sheet"));
            is_there(file, path, offset, &mut findings);
        }
        let cloth = raw.map(|raw| cloths::cloth(raw, &at, &doc, &mut findings));
        let id = doc.text_at(&format!("{at}.id")).unwrap_or_default().to_string();
        let line = line_and_column(text, doc.offset_of(&at)).0;
        made.push((line, LibraryCloth { id, cloth, data_sheet, faults: Faults::new() }));
    }
    let (faults, warnings) = findings.finish();
    let lines: Vec<usize> = made.iter().map(|m| m.0).collect();
    let all = made.into_iter().enumerate().map(|(i, (line, mut one))| {
        let next = lines.get(i + 1).copied().unwrap_or(usize::MAX);
        let mine = |f: &&Fault| match f.place {
            Place::Line { line: at, .. } => is_broken || (line..next).contains(&at),
            _ => true,
        };
        one.faults = Faults(faults.0.iter().filter(mine).cloned().collect());
        one.cloth = one.cloth.filter(|_| one.faults.is_empty());
        one
    });
    (all.collect(), faults.clone(), warnings)
}

/// Whether it is of a version that this program knows; one that does not say is taken for one.
fn is_known(doc: &Document<'_>, findings: &mut Findings<'_>) -> bool {
    let Some(DeValue::Integer(said)) = doc.root.get("schema").map(toml::Spanned::get_ref) else {
        return true;
    };
    let is_known = said.as_str().parse() == Ok(SCHEMA);
    if !is_known {
        let what = said!("the library is of version {said}, and this program knows {SCHEMA}");
        let remedy = "use the program that wrote it, or a newer one";
        findings.fault(doc.offset_of("schema"), what, remedy);
    }
    is_known
}

/// Warns of a data sheet that is not there, and refuses one outside the library's folder.
fn is_there(file: &str, library: &Path, offset: usize, findings: &mut Findings<'_>) {
    let below = Path::new(file).components().all(|c| matches!(c, Component::Normal(_)));
    let shown = crate::units::quoted(file);
    if !below {
        let what = said!("the data sheet {shown} is not named from the workshop's folder");
        findings.fault(offset, what, "copy it into that folder, and name it from there");
    } else if !library.parent().unwrap_or(Path::new("")).join(file).is_file() {
        let what = said!("there is no data sheet {shown}");
        findings.warning(offset, what, "put it there, or take the key out");
    }
}

/// The schema of the library: that of a job's cloths, less what is of one roll.
fn library_schema() -> Value {
    let mut job = schema::schema();
    let mut cloth = job["properties"]["cloth"].take();
    cloth["minItems"] = json!(0);
    cloth["description"] = json!("The cloths: one section for each.");
    if let Some(items) = cloth["items"].as_object_mut() {
        let always = items.remove("then").map(|mut t| t["required"].take());
        items.remove("if");
        let all = items.get("required").into_iter().chain(&always);
        let all: Vec<Value> = all.filter_map(Value::as_array).flatten().cloned().collect();
        items.insert("required".into(), all.into());
        if let Some(keys) = items.get_mut("properties").and_then(Value::as_object_mut) {
            OF_ROLL.iter().for_each(|key| _ = keys.remove(*key));
            let text = |words: &str| json!({ "type": "string", "minLength": 1, "maxLength": 200, "pattern": r"\S", "description": words });
            keys.insert(
                "data_sheet".into(),
                text("File of its data sheet, named from the workshop's folder."),
            );
            keys.insert("note".into(), text("What is worth knowing about it."));
            if let Some(id) = keys.get_mut("id") {
                id["description"] = json!("Short name that jobs take it by.");
            }
        }
    }
    json!({
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "warpwise cloth library",
        "description": "The cloths of a workshop, which its jobs take by name.",
        "type": "object",
        "additionalProperties": false,
        "properties": {
            "schema": { "type": "integer", "minimum": 1, "maximum": 1_000_000, "description": "Version of this format: 1." },
            "cloth": cloth,
        },
        "required": ["schema"],
    })
}

/// The JSON Schema (draft 2020-12) of the library; ends with a line feed.
pub fn library_schema_json() -> String {
    format!("{:#}\n", library_schema())
}

/// The library of a job, as it was found.
pub(super) enum Beside {
    /// There is none.
    Nowhere,
    /// It cannot be read.
    Unreadable(Faults),
    /// Its text, and its cloths as they were checked.
    Found { path: PathBuf, text: String, cloths: Vec<LibraryCloth> },
}

impl Beside {
    /// Looks for the library of a job.
    pub(super) fn of(job: &Path) -> Beside {
        let Some(path) = library_of(job).into_iter().find(|p| p.symlink_metadata().is_ok()) else {
            return Beside::Nowhere;
        };
        match read(&path) {
            Ok(text) => {
                let (cloths, _, _) = check_library(&text, &path);
                Beside::Found { path, text, cloths }
            }
            Err(faults) => Beside::Unreadable(faults),
        }
    }
}

fn read(path: &Path) -> Result<String, Faults> {
    let fault = |what: Said| {
        Faults::from(Fault::new(what, "mend it, or put the library back").in_file(path))
    };
    let about =
        fs::metadata(path).map_err(|e| fault(said!("the cloth library cannot be read: {e}")))?;
    if !about.is_file() || about.len() > LARGEST_FILE {
        return Err(fault("this is no cloth library: not an ordinary file, or too large".into()));
    }
    let bytes =
        fs::read(path).map_err(|e| fault(said!("the cloth library cannot be read: {e}")))?;
    String::from_utf8(bytes).map_err(|_| fault("the cloth library is not text in UTF-8".into()))
}
