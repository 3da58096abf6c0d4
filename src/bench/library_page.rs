//! The workshop's cloths: the same fields that a job has, each cloth with the jobs that take it and
//! its data sheet.

use super::app::{App, beside};
use super::buttons::{edit_button, remove_button, unused};
use super::fields::fields;
use super::form::Form;
use super::frame::{encoded, faults, message, page, refused, tools_at};
use super::guard::FILE_POLICY;
use super::job_cloths::follows;
use super::job_page::{SentEdit, notes_alone};
use super::visit::Visit;
use super::words::Words;
use axum::body::Bytes;
use axum::extract::{Form as Sent, Path, Query, State};
use axum::http::{StatusCode, header};
use axum::response::{Html, IntoResponse, Response};
use maud::{Markup, html};
use serde::Deserialize;
use std::sync::Arc;
use warpwise::fault::Faults;
use warpwise::workshop::{Change, Checked, Library, Refused, Revision};

fn form<'a>(words: &'a Words, checked: &'a Checked) -> Form<'a> {
    let edits = "/cloths/edit".to_string();
    Form { words, job: "", view: "cloths", checked, edits, library: None, said: None }
}

fn tools(words: &Words, library: &Library) -> Markup {
    // The page itself, or a step of it.
    let at = |what: &str| {
        if what == "cloths" { "/cloths".to_string() } else { format!("/cloths/{what}") }
    };
    tools_at(words, &at, "cloths", &library.draft, None)
}

/// The cloths.
fn main(words: &Words, library: &Library) -> Markup {
    let (checked, cloths) = library.checked();
    let form = form(words, &checked);
    let users = library.users();
    let blank = serde_json::json!({ "add": { "section": "cloth", "keys": [["id", unused(&form, &["cloth"], "cloth")]] } });
    html! {
        h1 { (words.t("library.title")) }
        p .lead { (words.t("library.lead")) }
        @if let Err(list) = &users { (faults(words, list)) }
        @if cloths.is_empty() { p { (words.t("library.empty")) } }
        @for (i, held) in cloths.iter().enumerate() {
            @let at = format!("cloth.{i}");
            @let id = if held.id.is_empty() { "?" } else { held.id.as_str() };
            section .card aria-labelledby=(format!("h-{i}")) {
                div .card-head { h2 id=(format!("h-{i}")) { (id) } (remove_button(&form, &at, id)) }
                @if let Some(jobs) = users.as_ref().ok().and_then(|u| u.get(id)) {
                    p .quiet { (words.with("library.taken_by", &[&jobs.join(", ")])) }
                }
                div .card-body {
                    div .grow {
                        (form.section(&at, "cloth"))
                        div .fields { @for field in fields("library") { (form.field(&at, "library", field)) } }
                        (sheet_of(words, held.data_sheet.is_some(), id, i))
                    }
                    (follows(words, held.cloth.as_ref()))
                }
            }
        }
        p { (edit_button(&form, &blank, "add", "", html! { "+ " (words.t("cloths.add")) })) }
        (form.rest())
    }
}

/// The data sheet of a cloth, and the way to bring one in.
fn sheet_of(words: &Words, has: bool, id: &str, index: usize) -> Markup {
    html! {
        p { @if has {
            a .button href=(format!("/cloths/sheet/{}", encoded(id))) target="_blank" { (words.with("library.sheet", &[id])) }
        } }
        drop-zone .drop data-to="/cloths/sheet" data-failed=(words.t("bring.failed")) data-working=(words.t("bring.working")) {
            input type="hidden" data-with="of" value=(index);
            label .button for=(format!("sheet-{index}")) { (words.with("library.bring_sheet", &[id])) }
            input id=(format!("sheet-{index}")) type="file" accept=".pdf,.jpg,.jpeg,.png,application/pdf,image/jpeg,image/png";
            p .working role="status" {}
        }
    }
}

/// The page, or the part of it that is asked for.
pub async fn show(Visit { app, words, part, .. }: Visit) -> Response {
    beside(move || {
        let shown = app.with_library(|library| {
            let (main, tools) = (main(&words, library), tools(&words, library));
            if part {
                Html(html! { (main) (tools) }.into_string()).into_response()
            } else {
                page(&words, words.t("library.title"), html! {}, tools, main)
            }
        });
        shown.unwrap_or_else(|list| refused(&words, StatusCode::INTERNAL_SERVER_ERROR, &list))
    })
    .await
}

/// The cloths, to be looked at alone: a second device has its data sheets too.
pub async fn look(Visit { app, words, .. }: Visit) -> Response {
    beside(move || {
        let shown = app.with_library(|library| {
            let (_, cloths) = library.checked();
            html! {
                h1 { (words.t("library.title")) }
                @if cloths.is_empty() { p { (words.t("second.no_cloth")) } }
                @for held in &cloths {
                    section .card {
                        h2 { (held.id) }
                        @match &held.cloth {
                            Some(c) => p {
                                (c.name) " · " (words.read(c.weave.in_words())) " · " (words.units.long(c.roll_width)) " · " (words.read(c.up_in_words()))
                                @if let Some(hours) = c.out_life_hours { " · " (words.t("cloth.out_life_hours")) ": " (hours) }
                            },
                            None => (faults(&words, &held.faults)),
                        }
                        @if held.data_sheet.is_some() {
                            a .button href=(format!("/cloths/sheet/{}", encoded(&held.id))) target="_blank" { (words.with("library.sheet", &[&held.id])) }
                        }
                    }
                }
            }
        });
        match shown {
            Ok(main) => page(&words, words.t("library.title"), html! {}, html! {}, main),
            Err(list) => refused(&words, StatusCode::INTERNAL_SERVER_ERROR, &list),
        }
    })
    .await
}

/// Changes the library and answers with what is new on the page.
fn changed(
    app: &App,
    words: &Words,
    single: bool,
    change: impl FnOnce(&mut Library) -> Result<(), Refused>,
) -> Response {
    let answered = app.with_library(|library| match change(library) {
        Err(Refused::Stale) => message(
            StatusCode::CONFLICT,
            html! {
                p .note.fault { "▲ " (words.t("library.stale")) " "
                    button type="button" hx-get="/cloths" hx-target="#step" hx-swap="innerHTML" { (words.t("stale.look")) } }
            },
        ),
        Err(Refused::Faults(list)) => {
            message(StatusCode::UNPROCESSABLE_ENTITY, faults(words, &list))
        }
        Ok(()) if single => {
            let (checked, _) = library.checked();
            let notes = notes_alone(&form(words, &checked));
            Html(html! { (notes) (tools(words, library)) }.into_string()).into_response()
        }
        Ok(()) => {
            let (main, tools) = (main(words, library), tools(words, library));
            Html(html! { (main) (tools) }.into_string()).into_response()
        }
    });
    answered.unwrap_or_else(|list| message(StatusCode::INTERNAL_SERVER_ERROR, faults(words, &list)))
}

/// Makes an edit.
pub async fn edit(Visit { app, words, .. }: Visit, Sent(sent): Sent<SentEdit>) -> Response {
    beside(move || match sent.edit(words.units) {
        Err(fault) => message(StatusCode::BAD_REQUEST, faults(&words, &Faults::from(fault))),
        Ok(edit) => changed(&app, &words, sent.is_single(), |library| {
            library.change(&Change::Edit(edit), &Revision::named(&sent.rev))
        }),
    })
    .await
}

/// What undo and redo send.
#[derive(Deserialize)]
pub struct Step {
    rev: String,
}

async fn step(Visit { app, words, .. }: Visit, sent: Step, change: Change) -> Response {
    beside(move || {
        changed(&app, &words, false, |library| library.change(&change, &Revision::named(&sent.rev)))
    })
    .await
}

/// Takes the last edit back.
pub async fn undo(visit: Visit, sent: Sent<Step>) -> Response {
    step(visit, sent.0, Change::Undo).await
}

/// Makes it again.
pub async fn redo(visit: Visit, sent: Sent<Step>) -> Response {
    step(visit, sent.0, Change::Redo).await
}

/// Whose data sheet comes in.
#[derive(Deserialize)]
pub struct OfSheet {
    rev: String,
    of: usize,
}

/// Takes a data sheet in.
pub async fn take_sheet(
    Visit { app, words, .. }: Visit,
    Query(about): Query<OfSheet>,
    bytes: Bytes,
) -> Response {
    beside(move || {
        changed(&app, &words, false, |library| {
            library.keep_sheet(about.of, &bytes, &Revision::named(&about.rev))
        })
    })
    .await
}

/// A data sheet, shown as it is and without power over the page.
pub async fn sheet(State(app): State<Arc<App>>, Path(id): Path<String>) -> Response {
    beside(move || match app.with_library(|library| library.sheet(&id)) {
        Ok(Some((kind, bytes))) => {
            let kind = match kind {
                "pdf" => "application/pdf",
                "jpg" => "image/jpeg",
                _ => "image/png",
            };
            let head =
                [(header::CONTENT_TYPE, kind), (header::CONTENT_SECURITY_POLICY, FILE_POLICY)];
            (head, bytes).into_response()
        }
        _ => StatusCode::NOT_FOUND.into_response(),
    })
    .await
}
