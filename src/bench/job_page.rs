//! The steps of a job, the edits made on them, and what a page hears while it is open.

use super::app::{App, beside, locked};
use super::fields::{Kind, entry, field_at, library_field_at, slot_of};
use super::form::Form;
use super::frame::{STEPS, address, faults, message, notes, page, rail, refused, standings, tools};
use super::visit::Visit;
use super::words::Words;
use super::{
    corners, cut_page, job_cloths, lay_page, moulds, plan_page, plies, sections, sheets_page,
};
use axum::extract::{Form as Sent, Path};
use axum::http::StatusCode;
use axum::response::sse::{Event, KeepAlive, Sse};
use axum::response::{Html, IntoResponse, Response};
use futures_util::stream;
use maud::{Markup, html};
use serde::Deserialize;
use std::convert::Infallible;
use std::sync::Arc;
use std::time::Duration;
use warpwise::fault::Fault;
use warpwise::units::System;
use warpwise::workshop::{Edit, News, OpenJob, Refused, Revision, photos, untraced_photos};

/// How often a watching page is told what is new.
const EVERY: Duration = Duration::from_millis(100);

/// A step of a job.
pub async fn show(
    Visit { app, words, part, .. }: Visit,
    Path((job, step)): Path<(String, String)>,
) -> Response {
    beside(move || {
        let Some(step) = STEPS.iter().find(|s| **s == step) else {
            let fault = Fault::new(words.t("refused.nothing"), words.t("refused.look"));
            return refused(&words, StatusCode::NOT_FOUND, &fault.into());
        };
        let open = match app.job(&job) {
            Ok(open) => open,
            Err(list) => return refused(&words, StatusCode::NOT_FOUND, &list),
        };
        let mut open = locked(&open);
        if let Err(list) = open.draft.refresh() {
            return refused(&words, StatusCode::INTERNAL_SERVER_ERROR, &list);
        }
        if part {
            whole_step(&words, &job, step, &mut open, html! {})
        } else {
            whole_page(&words, &job, step, &mut open)
        }
    })
    .await
}

fn whole_page(words: &Words, job: &str, step: &str, open: &mut OpenJob) -> Response {
    let checked = open.checked();
    let standings = standings(open, &checked);
    let title = checked.values.get("job.name").unwrap_or(job).to_string();
    let main = main(words, job, step, open, None);
    page(words, &title, rail(words, job, step, &standings), tools(words, job, step, open), main)
}

/// The step itself; `said` is said beside a section of it.
pub fn main(
    words: &Words,
    job: &str,
    step: &str,
    open: &mut OpenJob,
    said: Option<(String, Markup)>,
) -> Markup {
    let checked = open.checked();
    let mut form = Form { said, ..Form::of(words, job, step, &checked) };
    let broken = checked.values.is_broken() && ["templates", "cloths", "layers"].contains(&step);
    let of_file = if broken {
        form.all_notes()
    } else {
        html! {}
    };
    let main = match step {
        "templates" => {
            let (photos, untraced) = (photos(open.draft.dir()), untraced_photos(open.draft.dir()));
            let moulds = moulds::moulds(&form, &photos);
            html! { (sections::templates(&form, &moulds)) (corners::untraced(words, job, &untraced)) }
        }
        "cloths" => job_cloths::cloths(&mut form, open),
        "layers" => sections::layers(&form),
        "plies" => plies::plies(&form),
        "plan" => plan_page::plan(&form, open),
        "sheets" => sheets_page::sheets(&form, open),
        "cut" => cut_page::cut(words, job, open, true),
        _ => lay_page::lay(words, job, open, true),
    };
    html! { (of_file) (main) }
}

/// The step, with the rail and the tools renewed beside it.
pub fn whole_step(
    words: &Words,
    job: &str,
    step: &str,
    open: &mut OpenJob,
    said: Markup,
) -> Response {
    let main = main(words, job, step, open, None);
    let around = around(words, job, step, open);
    Html(html! { (said) (main) (around) }.into_string()).into_response()
}

/// The rail and the tools, to be put in their places beside what was asked for.
pub fn around(words: &Words, job: &str, step: &str, open: &mut OpenJob) -> Markup {
    let checked = open.checked();
    let standings = standings(open, &checked);
    html! {
        (rail(words, job, step, &standings))
        (tools(words, job, step, open))
    }
}

/// What an edit sends: an edit as JSON, or a key and what was typed.
#[derive(Deserialize)]
pub struct SentEdit {
    pub rev: String,
    #[serde(default)]
    pub view: String,
    edit: Option<String>,
    at: Option<String>,
    #[serde(default)]
    value: String,
}

impl SentEdit {
    /// Whether it is of one field alone.
    pub fn is_single(&self) -> bool {
        self.edit.is_none()
    }

    /// The edit that was sent.
    ///
    /// # Errors
    /// It is none.
    pub fn edit(&self, units: System) -> Result<Edit, Fault> {
        match (&self.edit, &self.at) {
            (Some(edit), _) => serde_json::from_str::<Edit>(edit)
                .map_err(|e| Fault::new(said!("this is no edit: {e}"), "load the page anew")),
            (None, Some(at)) => edit_of(at, &self.value, units),
            _ => Err(Fault::new("this is no edit", "load the page anew")),
        }
    }
}

/// Makes an edit. One of a single field renews the notes alone, so that what is being typed
/// elsewhere stays.
pub async fn edit(
    Visit { app, words, .. }: Visit,
    Path(job): Path<String>,
    Sent(sent): Sent<SentEdit>,
) -> Response {
    beside(move || {
        let edit = match sent.edit(words.units) {
            Ok(edit) => edit,
            Err(fault) => return message(StatusCode::BAD_REQUEST, faults(&words, &fault.into())),
        };
        let single = sent.at.clone().filter(|_| sent.is_single());
        changed(&app, &words, &job, &sent.view, single.as_deref(), &sent.value, |open| {
            open.draft.edit(&edit, &Revision::named(&sent.rev))
        })
    })
    .await
}

/// The edit that a typed value is.
pub fn edit_of(at: &str, typed: &str, units: System) -> Result<Edit, Fault> {
    let field = field_at(at)
        .or_else(|| library_field_at(at))
        .ok_or_else(|| Fault::new(said!("`{at}` is no field"), "load the page anew"))?;
    Ok(match (field.kind, entry(field.kind, typed, units)) {
        (Kind::Id, Some(_)) => Edit::Rename { at: at.into(), to: typed.trim().into() },
        (_, Some(to)) => Edit::Set { at: at.into(), to },
        (_, None) => Edit::Clear { at: at.into() },
    })
}

/// What the fields beside a laid template send.
#[derive(Deserialize)]
pub struct LaidAs {
    rev: String,
    view: String,
    layer: usize,
    template: String,
    #[serde(default)]
    hands: String,
    #[serde(default)]
    copies: String,
}

/// Sets hands and copies of a template in a layer.
pub async fn lay_as(
    Visit { app, words, .. }: Visit,
    Path(job): Path<String>,
    Sent(sent): Sent<LaidAs>,
) -> Response {
    beside(move || {
        let copies = sent.copies.trim();
        let count = copies.parse::<u32>().ok();
        if !copies.is_empty() && count.is_none() {
            let fault = Fault::new(
                said!("`{copies}` is no number of copies"),
                "give a whole number from 1 to 1000",
            );
            return message(StatusCode::BAD_REQUEST, faults(&words, &fault.into()));
        }
        let hands = Some(sent.hands.clone()).filter(|h| !h.is_empty());
        let edit = Edit::LayAs {
            layer: sent.layer,
            template: sent.template.clone(),
            hands,
            copies: count,
        };
        changed(&app, &words, &job, &sent.view, None, copies, |open| {
            open.draft.edit(&edit, &Revision::named(&sent.rev))
        })
    })
    .await
}

/// What undo and redo send.
#[derive(Deserialize)]
pub struct Step {
    rev: String,
    view: String,
}

/// Takes the last edit back.
pub async fn undo(
    Visit { app, words, .. }: Visit,
    Path(job): Path<String>,
    Sent(sent): Sent<Step>,
) -> Response {
    beside(move || {
        changed(&app, &words, &job, &sent.view, None, "", |open| {
            open.draft.undo(&Revision::named(&sent.rev))
        })
    })
    .await
}

/// Makes it again.
pub async fn redo(
    Visit { app, words, .. }: Visit,
    Path(job): Path<String>,
    Sent(sent): Sent<Step>,
) -> Response {
    beside(move || {
        changed(&app, &words, &job, &sent.view, None, "", |open| {
            open.draft.redo(&Revision::named(&sent.rev))
        })
    })
    .await
}

/// Changes a job and answers with what is new on the page, or with why nothing was changed; what was
/// typed is said again where it could not be taken. `single` is the key, if it is of one field alone.
pub fn changed(
    app: &App,
    words: &Words,
    job: &str,
    view: &str,
    single: Option<&str>,
    typed: &str,
    change: impl FnOnce(&mut OpenJob) -> Result<(), Refused>,
) -> Response {
    let open = match app.job(job) {
        Ok(open) => open,
        Err(list) => return message(StatusCode::NOT_FOUND, faults(words, &list)),
    };
    let mut open = locked(&open);
    let view = STEPS.iter().find(|s| **s == view).copied().unwrap_or(STEPS[0]);
    match change(&mut open) {
        Err(Refused::Stale) => stale(words, job, view, typed),
        Err(Refused::Faults(list)) => {
            message(StatusCode::UNPROCESSABLE_ENTITY, faults(words, &list))
        }
        Ok(()) => match single {
            Some(at) => renewed_notes(words, job, view, at, &mut open),
            None => whole_step(words, job, view, &mut open, html! {}),
        },
    }
}

/// The job was changed elsewhere: nothing was overwritten, and the person sees what stands there
/// now when they want to.
pub fn stale(words: &Words, job: &str, view: &str, typed: &str) -> Response {
    // What was typed stays to be read when the page is shown anew.
    let beside = (!typed.is_empty()).then_some("");
    let look = html! {
        p .note.fault { span aria-hidden="true" { "▲ " } (words.t("stale.said")) " "
            @if !typed.is_empty() { (words.with("stale.typed", &[typed])) " " }
            button type="button" data-beside=[beside] hx-get=(address(job, view)) hx-target="#step" hx-swap="innerHTML" { (words.t("stale.look")) } }
    };
    message(StatusCode::CONFLICT, look)
}

/// All notes of the page in their slots, the rail and the revision, and the head of a card whose
/// name was edited; the script puts them where they belong.
fn renewed_notes(words: &Words, job: &str, view: &str, at: &str, open: &mut OpenJob) -> Response {
    let checked = open.checked();
    let around = around(words, job, view, open);
    let form = Form::of(words, job, view, &checked);
    let markup = html! {
        (notes_alone(&form))
        (around)
        @if let [section, i, "id" | "name"] = at.split('.').collect::<Vec<_>>()[..] {
            @if let Ok(i) = i.parse() { (sections::head(&form, section, i, true)) }
        }
        @if view == "layers" { div #laminate hx-swap-oob="true" { (sections::laminate(&form)) } }
    };
    Html(markup.into_string()).into_response()
}

/// All notes in their slots, without the fields.
pub fn notes_alone(form: &Form<'_>) -> Markup {
    let of = form.checked.notes.iter().map(|n| n.at.as_deref().map(slot_of).unwrap_or_default());
    let mut slots: Vec<&str> = of.collect();
    slots.sort_unstable();
    slots.dedup();
    html! {
        template data-notes="" {
            @for at in slots {
                div data-for=(at) data-fault[form.about(at).any(|n| !n.warning)] {
                    (notes(form.words, &form.edits, form.view, form.about(at)))
                }
            }
        }
    }
}

/// How planning goes, with its lengths in words.
fn told(words: &Words, news: &News) -> serde_json::Value {
    let mut told = serde_json::to_value(news).unwrap_or_default();
    let long = |mm: f64| words.units.long(mm);
    if let Some(best) = news.best_length {
        let first = news.first_length.unwrap_or(best);
        let saved = if first > 0.0 { 100.0 * (first - best) / first } else { 0.0 };
        let mut said = vec![
            format!("{}: {}", words.t("plan.first"), long(first)),
            format!("{}: {}", words.t("plan.best"), long(best)),
            format!("{saved:.1} % {}", words.t("plan.saved")),
        ];
        let share = |d: f64| format!("{}: {:.1} %", words.t("plan.yield_now"), 100.0 * d);
        said.extend(news.density.map(share));
        said.extend(news.least_length.map(|l| format!("{}: {}", words.t("plan.least"), long(l))));
        told["said"] = said.join(" · ").into();
    }
    told
}

/// What is new, as it happens: the job's file changed by another, and how its planning goes.
pub async fn watch(Visit { app, words, .. }: Visit, Path(job): Path<String>) -> Response {
    let words = Arc::new(words);
    let open = match tokio::task::spawn_blocking(move || app.job(&job)).await {
        Ok(Ok(open)) => open,
        _ => return StatusCode::NOT_FOUND.into_response(),
    };
    let state = (open, words, String::new(), None::<u64>, 0_u32);
    let events =
        stream::unfold(state, |(open, words, mut revision, mut number, mut beat)| async move {
            loop {
                tokio::time::sleep(EVERY).await;
                beat += 1;
                let looked = Arc::clone(&open);
                let look_at_file = beat % 10 == 1;
                // A job that is being checked is looked at the next time.
                let looked = tokio::task::spawn_blocking(move || {
                    let mut open = looked.try_lock().ok()?;
                    if look_at_file {
                        let _ = open.draft.refresh();
                    }
                    Some((
                        open.draft.revision().name().to_string(),
                        open.planning.as_ref().map(|p| p.news()),
                    ))
                });
                let Ok(Some((now, news))) = looked.await else {
                    continue;
                };
                if now != revision {
                    revision = now;
                    let event = Event::default().event("revision").data(&revision);
                    return Some((
                        Ok::<_, Infallible>(event),
                        (open, words, revision, number, beat),
                    ));
                }
                if let Some(news) = news
                    && number != Some(news.number)
                {
                    number = Some(news.number);
                    let event = Event::default()
                        .event("planning")
                        .json_data(told(&words, &news))
                        .unwrap_or_default();
                    return Some((Ok(event), (open, words, revision, number, beat)));
                }
            }
        });
    Sse::new(events).keep_alive(KeepAlive::new()).into_response()
}
