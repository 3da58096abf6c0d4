//! The fields of a section of the job file, each with what is to be said about it.

use super::fields::{Field, Kind, fields, slot_of};
use super::frame::{address, notes};
use super::words::Words;
use maud::{Markup, html};
use std::sync::LazyLock;
use warpwise::job::of_roll;
use warpwise::workshop::{Checked, Note, Values};

/// What fields are drawn with.
pub struct Form<'a> {
    /// The language.
    pub words: &'a Words,
    /// The job's name in addresses.
    pub job: &'a str,
    /// The step that is shown.
    pub view: &'a str,
    /// The job as it was checked.
    pub checked: &'a Checked,
    /// The address that edits go to.
    pub edits: String,
    /// The workshop's library, where cloths are shown: what a cloth takes from it stands there.
    pub library: Option<Values>,
    /// What is said beside the section that was just changed: its path, and the words.
    pub said: Option<(String, Markup)>,
}

impl<'a> Form<'a> {
    /// The fields of a job.
    pub fn of(words: &'a Words, job: &'a str, view: &'a str, checked: &'a Checked) -> Form<'a> {
        let edits = address(job, "edit");
        Form { words, job, view, checked, edits, library: None, said: None }
    }
}

/// What the job's own format says of a key.
fn help(section: &str, key: &str) -> String {
    static SCHEMA: LazyLock<serde_json::Value> =
        LazyLock::new(|| serde_json::from_str(&warpwise::job::schema_json()).unwrap_or_default());
    let mut at = &*SCHEMA;
    for name in section.split('.').filter(|s| !s.is_empty()) {
        at = &at["properties"][name];
        at = if at.get("items").is_some() { &at["items"] } else { at };
    }
    at["properties"][key]["description"].as_str().unwrap_or_default().to_string()
}

/// An id for the field of a key, as HTML takes it.
pub fn id_of(at: &str) -> String {
    format!("f-{}", at.replace('.', "-"))
}

impl Form<'_> {
    /// All fields of a section; `at` is where it stands, as `cloth.2`.
    pub fn section(&self, at: &str, section: &str) -> Markup {
        // The library holds no values of one roll; which mould a template is of is tried first.
        let is_shown =
            |f: &&Field| f.kind != Kind::Mould && (!self.job.is_empty() || !of_roll(f.key));
        let (first, more): (Vec<&Field>, Vec<&Field>) =
            fields(section).iter().filter(is_shown).partition(|f| f.first);
        let hidden_note =
            more.iter().any(|f| self.about(&format!("{at}.{}", f.key)).next().is_some());
        html! {
            div .fields { @for field in &first { (self.field(at, section, field)) } }
            @if !more.is_empty() {
                details .more open[hidden_note] {
                    summary { (self.words.t("form.more")) }
                    div .fields { @for field in &more { (self.field(at, section, field)) } }
                }
            }
            (self.slot(at))
        }
    }

    /// One field with its label, help and notes.
    pub fn field(&self, at: &str, section: &str, field: &Field) -> Markup {
        let path =
            if at.is_empty() { field.key.to_string() } else { format!("{at}.{}", field.key) };
        let id = id_of(&path);
        html! {
            div .field {
                label for=(id) { (self.words.with(&format!("{section}.{}", field.key), &[self.words.units.areal_mass_unit()])) }
                (self.input(&path, field.kind, &self.words.read(&help(section, field.key))))
                @if let Some(how) = self.words.find(&format!("{section}.{}.how", field.key)) { p .quiet { (how) } }
                (self.slot(&path))
            }
        }
    }

    /// The input of a key.
    pub fn input(&self, path: &str, kind: Kind, title: &str) -> Markup {
        let id = id_of(path);
        let value = self.checked.values.get(path);
        let at_fault = self.about(path).any(|n| !n.warning);
        let post = &self.edits;
        let taken = self.taken(path);
        let vals = serde_json::json!({ "at": path, "view": self.view }).to_string();
        let mut options: Option<Vec<(String, String)>> = match kind {
            Kind::Choice(choices) => {
                Some(choices.iter().map(|c| (c.to_string(), self.choice(c))).collect())
            }
            Kind::Flag(_) => Some(vec![
                ("true".into(), self.words.t("form.yes").into()),
                ("false".into(), self.words.t("form.no").into()),
            ]),
            Kind::Cloth => Some(self.named(&["cloth"])),
            Kind::Mould => Some(self.named(&["mould"])),
            Kind::Template => Some(self.named(&["template"])),
            _ => None,
        };
        let in_field = |value: &str| match kind {
            Kind::Length => self.words.units.length_in_field(value),
            Kind::ArealMass => self.words.units.areal_mass_in_field(value),
            Kind::Choice(_) => self.choice(value),
            Kind::Flag(_) => {
                self.words.t(if value == "true" { "form.yes" } else { "form.no" }).into()
            }
            _ => value.to_string(),
        };
        if let (Some(taken), Some(options)) = (&taken, &mut options) {
            options.retain(|o| !o.0.is_empty());
            options.insert(0, (String::new(), self.words.with("form.taken", &[&in_field(taken)])));
        }
        let shown = match (value, kind) {
            (Some(value), Kind::Length) => self.words.units.length_in_field(value),
            (Some(value), Kind::ArealMass) => self.words.units.areal_mass_in_field(value),
            (Some(value), _) => value.to_string(),
            (None, Kind::Flag(_) | Kind::Choice(_)) if taken.is_some() => String::new(),
            (None, Kind::Flag(default)) => default.to_string(),
            (None, Kind::Choice(choices)) => {
                choices.first().map(ToString::to_string).unwrap_or_default()
            }
            (None, Kind::Pair) => self.pair(path),
            (None, _) => String::new(),
        };
        html! {
            @if let Some(options) = options {
                select id=(id) name="value" title=(title) hx-post=(post) hx-trigger="change" hx-vals=(vals) hx-include="#rev" hx-swap="none"
                    aria-invalid=[at_fault.then_some("true")] aria-describedby=(format!("{id}-notes")) {
                    // What stands in the file and is none of the choices is shown all the same.
                    @if !options.iter().any(|o| o.0 == shown) { option value=(shown) selected { (shown) } }
                    @for (value, words) in &options { option value=(value) selected[*value == shown] { (words) } }
                }
            } @else {
                input id=(id) name="value" value=(shown) title=(title) autocomplete="off"
                    placeholder=[taken.as_deref().map(in_field)]
                    type=(if kind == Kind::Day { "date" } else { "text" })
                    inputmode=[matches!(kind, Kind::Number | Kind::Length | Kind::ArealMass).then_some("decimal")]
                    hx-post=(post) hx-trigger="change" hx-vals=(vals) hx-include="#rev" hx-swap="none"
                    aria-invalid=[at_fault.then_some("true")] aria-describedby=(format!("{id}-notes"));
            }
        }
    }

    /// What a key is by the library or by a mould, where the job does not say it itself.
    pub fn taken(&self, path: &str) -> Option<String> {
        let values = &self.checked.values;
        let steps: Vec<&str> = path.split('.').collect();
        match steps[..] {
            ["cloth", i, key] => {
                let id = values.get(&format!("cloth.{i}.library"))?;
                let library = self.library.as_ref()?;
                let at = |k: &usize| library.get(&format!("cloth.{k}.id")) == Some(id);
                let k = (0..library.count("cloth")).find(at)?;
                library.get(&format!("cloth.{k}.{key}")).filter(|_| key != "id").map(String::from)
            }
            ["template", i, key] => {
                let job = self.checked.job.as_ref()?;
                let id = values.get(&format!("template.{i}.id"))?;
                let template = job.templates.iter().find(|t| t.id == id)?;
                values.get(&format!("template.{i}.mould"))?;
                let said = match key {
                    "taken_off" => serde_json::to_value(template.taken_off),
                    "inked_side" => serde_json::to_value(template.inked_side),
                    "hands" => serde_json::to_value(template.hands),
                    _ => return None,
                };
                said.ok()?.as_str().map(String::from)
            }
            _ => None,
        }
    }

    /// The words of a choice, where the language has some: the value itself stands in the file.
    fn choice(&self, value: &str) -> String {
        self.words.find(&format!("choice.{value}")).map_or_else(|| value.to_string(), String::from)
    }

    fn pair(&self, path: &str) -> String {
        let at = |i: usize| self.checked.values.get(&format!("{path}.{i}"));
        at(0).zip(at(1)).map_or_else(String::new, |(x, y)| format!("{x}, {y}"))
    }

    /// Ids of sections, after an empty choice.
    pub fn named(&self, sections: &[&str]) -> Vec<(String, String)> {
        let values = &self.checked.values;
        let ids = sections.iter().flat_map(|s| {
            (0..values.count(s)).filter_map(move |i| values.get(&format!("{s}.{i}.id")))
        });
        std::iter::once((String::new(), "–".to_string()))
            .chain(ids.map(|id| (id.to_string(), id.to_string())))
            .collect()
    }

    /// Where the notes about a key stand; they are renewed without the fields.
    pub fn slot(&self, path: &str) -> Markup {
        html! { div .notes id=(format!("{}-notes", id_of(path))) data-slot=(path) { (notes(self.words, &self.edits, self.view, self.about(path))) } }
    }

    /// What is to be said under a path.
    pub fn about<'n>(&'n self, slot: &'n str) -> impl Iterator<Item = &'n Note> {
        self.checked
            .notes
            .iter()
            .filter(move |n| n.at.as_deref().map(slot_of).unwrap_or_default() == slot)
    }

    /// Whether anything is to be said about sections of these names.
    pub fn has_notes(&self, sections: &[&str]) -> bool {
        self.checked
            .notes
            .iter()
            .filter_map(|n| n.at.as_deref()?.split('.').next())
            .any(|first| sections.contains(&first))
    }

    /// Notes that no step has a field for.
    pub fn rest(&self) -> Markup {
        html! { div #rest .notes data-slot="" { (notes(self.words, &self.edits, self.view, self.about(""))) } }
    }

    /// All notes of the job.
    pub fn all_notes(&self) -> Markup {
        html! { div .notes { (notes(self.words, &self.edits, self.view, self.checked.notes.iter())) } }
    }
}
