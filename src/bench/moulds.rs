//! The moulds of a job: a card each.

use super::app::{App, beside, locked};
use super::buttons::{edit_button, remove_button, unused};
use super::fields::{Field, fields};
use super::form::Form;
use super::frame::address;
use super::pictures;
use super::words::Words;
use axum::extract::{Path, State};
use axum::http::{StatusCode, header};
use axum::response::{IntoResponse, Response};
use maud::{Markup, html};
use std::sync::Arc;
use warpwise::job::Job;
use warpwise::ply::Hand;

/// The keys that decide over hands: what a change of them did is shown.
pub const DECIDING: [&str; 4] = ["kind", "hands", "taped", "inked_side"];

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

pub fn hand_words(words: &Words, side: Option<&str>, hand: Hand) -> String {
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
