//! The moulds of a job: a card each, and what a change of one did to the pieces.

use super::app::{App, beside, locked};
use super::fields::{Field, fields};
use super::form::Form;
use super::frame::{address, faults, message};
use super::job_page::{around, main, stale};
use super::pictures;
use super::sections::{edit_button, remove_button, unused};
use super::visit::Visit;
use super::words::Words;
use axum::extract::{Form as Sent, Path, State};
use axum::http::{StatusCode, header};
use axum::response::{Html, IntoResponse, Response};
use maud::{Markup, PreEscaped, html};
use serde::Deserialize;
use std::sync::Arc;
use warpwise::job::Job;
use warpwise::ply::Hand;
use warpwise::workshop::{
    Checked, Edit, HandsOf, OpenJob, Refused, Revision, hands_of, template_of_mould,
};

/// The keys that decide over hands: what a change of them did is shown.
const DECIDING: [&str; 4] = ["kind", "hands", "taped", "inked_side"];

/// The moulds, above the templates; `photos` are those in the job's folder.
pub fn moulds(form: &Form<'_>, photos: &[String]) -> Markup {
    let (words, values) = (form.words, &form.checked.values);
    let keys = serde_json::json!([
        ["id", unused(form, &["mould"], "mould")],
        ["kind", "female"],
        ["hands", "single"]
    ]);
    let add = serde_json::json!({ "add": { "section": "mould", "keys": keys } });
    let count = values.count("mould");
    html! {
        details .card.more open[count > 0] {
            summary { (words.with("moulds.title", &[&count.to_string()])) }
            p .quiet { (words.t("moulds.lead")) }
            @for i in 0..count { (card(form, i, photos)) }
            p { (edit_button(form, &add, "add", "", html! { "+ " (words.t("moulds.add")) })) }
        }
    }
}

fn card(form: &Form<'_>, i: usize, photos: &[String]) -> Markup {
    let values = &form.checked.values;
    let at = format!("mould.{i}");
    let id = values.get(&format!("{at}.id")).unwrap_or("?");
    let shown_here = fields("mould").iter().filter(|f| f.key != "photo");
    let (deciding, plain): (Vec<&Field>, Vec<&Field>) =
        shown_here.partition(|f| DECIDING.contains(&f.key));
    let shown = values.get(&format!("{at}.photo"));
    html! {
        section aria-labelledby=(format!("h-mould-{i}")) {
            div .card-head { h2 id=(format!("h-mould-{i}")) { (id) } (remove_button(form, &at, id)) }
            div .fields { @for field in &plain { (form.field(&at, "mould", field)) } }
            form hx-post=(address(form.job, "mould")) hx-trigger="change, submit" hx-include="#rev"
                hx-target="#step" hx-swap="innerHTML" {
                input type="hidden" name="mould" value=(i);
                div .fields { @for field in deciding { (choice_of(form, &at, field.key, field.kind)) } }
            }
            (said(form, &at))
            (form.slot(&at))
            (photo_choice(form, &at, photos))
            @if let Some(photo) = shown {
                div .photos { img src=(address(form.job, &format!("mould-photo/{i}"))) alt=(photo) loading="lazy"; }
            }
        }
    }
}

/// What the last change did, where it was made.
fn said(form: &Form<'_>, at: &str) -> Markup {
    let said = form.said.as_ref().filter(|said| said.0 == at).map(|said| &said.1);
    html! { div role="status" { @if let Some(said) = said { (said) } } }
}

/// The photo of a mould, of those in the job's folder.
fn photo_choice(form: &Form<'_>, at: &str, photos: &[String]) -> Markup {
    let path = format!("{at}.photo");
    let id = super::form::id_of(&path);
    let now = form.checked.values.get(&path).unwrap_or_default();
    let set = |to: &str| serde_json::json!({ "set": { "at": path, "to": to } }).to_string();
    let none = serde_json::json!({ "clear": { "at": path } }).to_string();
    let vals = serde_json::json!({ "view": form.view }).to_string();
    html! {
        div .field {
            label for=(id) { (form.words.t("mould.photo")) }
            select id=(id) name="edit" hx-post=(form.edits) hx-trigger="change" hx-include="#rev"
                hx-vals=(vals) hx-target="#step" hx-swap="innerHTML" {
                option value=(none) selected[now.is_empty()] { "–" }
                @if !now.is_empty() && !photos.iter().any(|p| p == now) { option value=(set(now)) selected { (now) } }
                @for photo in photos { option value=(set(photo)) selected[photo == now] { (photo) } }
            }
            @if photos.is_empty() { p .quiet { (form.words.t("moulds.no_photo")) } }
            (form.slot(&path))
        }
    }
}

/// One of the keys that decide.
fn choice_of(form: &Form<'_>, at: &str, key: &str, kind: super::fields::Kind) -> Markup {
    let super::fields::Kind::Choice(choices) = kind else { return html! {} };
    let path = format!("{at}.{key}");
    let id = super::form::id_of(&path);
    let value = form.checked.values.get(&path).unwrap_or_default();
    html! {
        div .field {
            label for=(id) { (form.words.t(&format!("mould.{key}"))) }
            select id=(id) name=(key) {
                @if !choices.contains(&value) { option value=(value) selected { (value) } }
                @for choice in choices {
                    option value=(choice) selected[*choice == value] {
                        (form.words.find(&format!("choice.{choice}")).unwrap_or(choice))
                    }
                }
            }
            (form.slot(&path))
        }
    }
}

/// The mould of a template.
pub fn choice(form: &Form<'_>, i: usize) -> Markup {
    let (words, values) = (form.words, &form.checked.values);
    if values.count("mould") == 0 && !values.has(&format!("template.{i}.mould")) {
        return html! {};
    }
    let template = format!("template.{i}");
    let at = format!("{template}.mould");
    let id = super::form::id_of(&at);
    let value = values.get(&at).unwrap_or_default();
    let moulds = form.named(&["mould"]);
    html! {
        form hx-post=(address(form.job, "mould")) hx-trigger="change, submit" hx-include="#rev"
            hx-target="#step" hx-swap="innerHTML" {
            input type="hidden" name="template" value=(i);
            div .field {
                label for=(id) { (words.t("template.mould")) }
                select id=(id) name="of" {
                    // What stands in the file and is none of them is shown all the same.
                    @if !moulds.iter().any(|m| m.0 == value) { option value=(value) selected { (value) } }
                    @for (id, shown) in moulds { option value=(id) selected[id == value] { (shown) } }
                }
                (form.slot(&at))
            }
        }
        (said(form, &template))
    }
}

/// What was chosen: other values of a mould, or another mould of a template.
#[derive(Deserialize)]
pub struct Chosen {
    rev: String,
    mould: Option<usize>,
    #[serde(default)]
    kind: String,
    #[serde(default)]
    hands: String,
    #[serde(default)]
    taped: String,
    #[serde(default)]
    inked_side: String,
    template: Option<usize>,
    #[serde(default)]
    of: String,
}

impl Chosen {
    /// The section it is of.
    fn at(&self) -> String {
        match self.template {
            Some(index) => format!("template.{index}"),
            None => format!("mould.{}", self.mould.unwrap_or_default()),
        }
    }

    fn edit(&self, checked: &Checked) -> Result<Edit, Refused> {
        let values = &checked.values;
        if let Some(index) = self.template {
            return Ok(template_of_mould(values, index, &self.of)?);
        }
        let at = self.at();
        let typed = [&self.kind, &self.hands, &self.taped, &self.inked_side];
        let one = |(key, typed): (&str, &String)| {
            let path = format!("{at}.{key}");
            let now = values.get(&path).unwrap_or_default();
            if now == typed {
                None
            } else if typed.is_empty() {
                Some(Edit::Clear { at: path })
            } else {
                Some(Edit::Set { at: path, to: typed.as_str().into() })
            }
        };
        Ok(Edit::All(DECIDING.into_iter().zip(typed).filter_map(one).collect()))
    }
}

/// Keeps what was chosen, and shows what that made of the pieces.
pub async fn chosen(
    Visit { app, words, .. }: Visit,
    Path(job): Path<String>,
    Sent(sent): Sent<Chosen>,
) -> Response {
    beside(move || {
        let open = match app.job(&job) {
            Ok(open) => open,
            Err(list) => return message(StatusCode::NOT_FOUND, faults(&words, &list)),
        };
        let mut open = locked(&open);
        let step = "templates";
        let seen = Revision::named(&sent.rev);
        match kept(&mut open, &sent, &seen) {
            Ok(before) => {
                let after = open.checked();
                let form = Form::of(&words, &job, step, &before);
                let said = shown(&form, &after);
                let main = main(&words, &job, step, &mut open, Some((sent.at(), said)));
                let around = around(&words, &job, step, &mut open);
                Html(html! { (main) (around) }.into_string()).into_response()
            }
            Err(Refused::Faults(list)) => {
                message(StatusCode::UNPROCESSABLE_ENTITY, faults(&words, &list))
            }
            Err(Refused::Stale) => stale(&words, &job, step, ""),
        }
    })
    .await
}

/// The job as it was before the choice was kept.
fn kept(open: &mut OpenJob, sent: &Chosen, seen: &Revision) -> Result<Arc<Checked>, Refused> {
    open.draft.refresh()?;
    if open.draft.revision() != *seen {
        return Err(Refused::Stale);
    }
    let before = open.checked();
    open.draft.edit(&sent.edit(&before)?, seen)?;
    Ok(before)
}

/// What was and what is, template by template.
fn shown(form: &Form<'_>, after: &Checked) -> Markup {
    let words = form.words;
    let all = |c: &Checked| c.job.as_ref().zip(c.prepared.as_ref()).map(|(j, p)| hands_of(j, p));
    let (before, now) = (all(form.checked), all(after));
    let of = |all: &Option<Vec<HandsOf>>, id: &str| -> Vec<HandsOf> {
        all.iter().flatten().filter(|h| h.template == id).cloned().collect()
    };
    let mut ids: Vec<String> =
        before.iter().chain(&now).flatten().map(|h| h.template.clone()).collect();
    let mut seen = std::collections::BTreeSet::new();
    ids.retain(|id| seen.insert(id.clone()));
    ids.retain(|id| of(&before, id) != of(&now, id));
    html! {
        div .note {
            p { "✓ " b { (words.t(if now.is_some() && ids.is_empty() { "moulds.no_piece" } else { "moulds.did" })) } }
            @if now.is_some() { @for id in &ids {
                h3 { (id) }
                ul .pieces {
                    (hands(words, "moulds.before", form.checked, &of(&before, id)))
                    (hands(words, "moulds.now", after, &of(&now, id)))
                }
            } }
            @for note in after.notes.iter().filter(|n| !n.warning) {
                p .note.fault { "▲ " (words.said(&note.fault.what)) ". " (words.said(&note.fault.remedy)) }
            }
        }
    }
}

/// The pieces of a template by hand, with a picture of one of each.
fn hands(words: &Words, when: &str, checked: &Checked, all: &[HandsOf]) -> Markup {
    let pieces = || checked.prepared.iter().flat_map(|p| &p.pieces);
    html! {
        @if all.is_empty() { li .piece { p .quiet { (words.t(when)) } p { "–" } } }
        @for h in all {
            li .piece {
                p .quiet { (words.t(when)) }
                @if let Some(piece) = pieces().find(|p| p.template == h.template && p.hand == h.hand) {
                    (PreEscaped(pictures::piece(piece)))
                }
                p { b { (h.pieces) " × " (hand_words(words, h.side.map(warpwise::job::Side::name), h.hand)) } }
                p .quiet { (words.t(if h.drawn_mirrored { "moulds.drawn_mirrored" } else { "moulds.drawn_as_is" })) }
            }
        }
    }
}

fn hand_words(words: &Words, side: Option<&str>, hand: Hand) -> String {
    let traced = words.find(&format!("choice.{}", pictures::hand_key(hand))).unwrap_or_default();
    match side.and_then(|s| words.find(&format!("choice.{s}"))) {
        Some(side) => format!("{side} ({traced})"),
        None => traced.to_string(),
    }
}

/// The hand of a piece in words, by its side where its mould says so.
pub fn hand(words: &Words, job: &Job, template: &str, hand: Hand) -> String {
    let side = job.side_of(template, hand == Hand::Mirrored);
    hand_words(words, side.map(warpwise::job::Side::name), hand)
}

/// The photo of a mould.
pub async fn photo(
    State(app): State<Arc<App>>,
    Path((job, index)): Path<(String, usize)>,
) -> Response {
    beside(move || {
        let found = app.job(&job).ok().and_then(|open| {
            let open = locked(&open);
            let values = warpwise::workshop::Values::of(open.draft.text());
            let name = values.get(&format!("mould.{index}.photo"))?;
            let dir = std::fs::canonicalize(open.draft.dir()).ok()?;
            let path = std::fs::canonicalize(dir.join(name)).ok()?;
            let inside = path.starts_with(&dir) && path.is_file();
            inside.then(|| std::fs::read(path).ok()).flatten()
        });
        let kind = match found.as_deref() {
            Some([0xff, 0xd8, 0xff, ..]) => "image/jpeg",
            Some([0x89, b'P', b'N', b'G', ..]) => "image/png",
            _ => return StatusCode::NOT_FOUND.into_response(),
        };
        ([(header::CONTENT_TYPE, kind)], found.unwrap_or_default()).into_response()
    })
    .await
}
