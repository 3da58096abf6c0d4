//! The first page: the jobs of the workshop, and what dates ask for.

use super::app::{App, ROOT_JOB, beside};
use super::frame::{address, faults, page, refused};
use super::visit::Visit;
use super::words::Words;
use axum::extract::{Form, Query};
use axum::http::{StatusCode, header};
use axum::response::{IntoResponse, Redirect, Response};
use maud::{Markup, html};
use rayon::prelude::*;
use serde::Deserialize;
use warpwise::fault::Faults;
use warpwise::units::System;
use warpwise::workshop::{
    JobEntry, JobStand, LEDGER_FILE, job_stand, kits_begun, set_units, units_of,
};
use warpwise::{job, sheet};

/// More dates than these are folded up.
const FEW: usize = 12;

/// The jobs, and a field for a new one.
pub async fn show(Visit { app, words, .. }: Visit) -> Response {
    beside(move || match app.folder.jobs() {
        Ok(jobs) => page(
            &words,
            &folder_name(&app),
            html! {},
            html! {},
            main(&app, &words, &jobs, ["", ""], html! {}),
        ),
        Err(list) => refused(&words, StatusCode::INTERNAL_SERVER_ERROR, &list),
    })
    .await
}

fn folder_name(app: &App) -> String {
    app.folder.root().file_name().map_or_else(
        || app.folder.root().display().to_string(),
        |n| n.to_string_lossy().into_owned(),
    )
}

/// The first page; what was typed for a new job that was refused stays in its fields.
fn main(
    app: &App,
    words: &Words,
    jobs: &[JobEntry],
    [typed, from]: [&str; 2],
    said: Markup,
) -> Markup {
    html! {
        h1 { (words.t("home.jobs")) }
        p .quiet { (words.with("home.folder", &[&app.folder.root().display().to_string()])) }
        (said)
        @if jobs.is_empty() { p .lead { (words.t("home.empty")) } }
        ul .jobs {
            @for (entry, stand) in jobs.iter().zip(stands(app, jobs)) {
                @let name = if entry.folder.is_empty() { ROOT_JOB } else { &entry.folder };
                li { a .job href=(address(name, if entry.planned { "plan" } else { "templates" })) {
                    b { @if entry.folder.is_empty() { (folder_name(app)) } @else { (entry.folder) } }
                    span .quiet { (words.t(stand_key(stand))) }
                } }
            }
        }
        form .inline method="post" action="/jobs" {
            div .field { label for="name" { (words.t("home.new")) } input #name name="name" value=(typed) required maxlength="80" autocomplete="off"; }
            (super::begun::choice(words, jobs, from))
            button .add { "+ " (words.t("home.begin")) }
        }
        @if let Err(list) = units_of(app.folder.root()) { (faults(words, &list)) }
        form .inline method="post" action="/units" {
            div .field {
                label for="units" { (words.t("home.units")) }
                select #units name="to" data-submits="" {
                    @for units in System::ALL {
                        option value=(units.name()) selected[units == words.units] {
                            (words.t(&format!("units.{}", units.name())))
                        }
                    }
                }
            }
            noscript { button { "OK" } }
        }
        p { (super::projector::way(words)) }
        (dates(app, words))
        (super::second::invitation(words, app.door.as_ref()))
        aside .caution { p { (words.t("home.caution")) } }
    }
}

/// How far each job is; there may be hundreds.
fn stands(app: &App, jobs: &[JobEntry]) -> Vec<JobStand> {
    let begun = kits_begun(&app.folder.ledger());
    jobs.par_iter().map(|entry| job_stand(&app.folder, entry, &begun)).collect()
}

fn stand_key(stand: JobStand) -> &'static str {
    match stand {
        JobStand::NotPlanned => "home.not_planned",
        JobStand::Planned => "home.planned",
        JobStand::Cut => "home.cut",
        JobStand::Laid => "home.laid",
        JobStand::RecordOpen => "home.record_open",
        JobStand::OnRecord => "home.on_record",
    }
}

/// What the dates in the ledger ask for today.
fn dates(app: &App, words: &Words) -> Markup {
    match app.stock() {
        Ok(None) => html! {},
        Err(list) => faults(words, &list),
        Ok(Some(stock)) => {
            let ages = stock
                .rolls
                .iter()
                .map(|r| (r.id(), r.age()))
                .chain(stock.offcuts.iter().map(|o| (o.id(), o.age())));
            let warnings: Vec<String> = ages
                .filter_map(|(id, age)| age.warning(id, stock.day))
                .chain(stock.consumables.iter().filter_map(|c| c.warning(stock.day)))
                .map(|f| words.line(&f))
                .collect();
            let list =
                html! { ul .faults { @for w in &warnings { li .note.warning { "! " (w) } } } };
            html! {
                @if warnings.len() > FEW {
                    details .card { summary { "! " (words.with("home.dates", &[&warnings.len().to_string()])) } (list) }
                } @else if !warnings.is_empty() { (list) }
            }
        }
    }
}

/// What the form for a new job sends.
#[derive(Deserialize)]
pub struct NewJob {
    name: String,
    /// The job it is begun from; nothing of a job that is new altogether.
    #[serde(default)]
    from: String,
}

/// Begins a job.
pub async fn begin(Visit { app, words, .. }: Visit, Form(new): Form<NewJob>) -> Response {
    beside(move || {
        let name = new.name.trim();
        let again = |list: &Faults| {
            let jobs = app.folder.jobs().unwrap_or_default();
            let said = faults(&words, list);
            let main = main(&app, &words, &jobs, [name, &new.from], said);
            let shown = page(&words, &folder_name(&app), html! {}, html! {}, main);
            (StatusCode::UNPROCESSABLE_ENTITY, shown).into_response()
        };
        if !new.from.is_empty() {
            let begun = super::begun::begin(&app, &words, name, &new.from);
            return begun.unwrap_or_else(|list| again(&list));
        }
        let mut text = job::scaffold(name, &[]);
        // The ledger of the workshop is where cloth is taken from.
        if app.folder.ledger().exists() {
            text = text
                .replace("# stock = \"../stock.sqlite\"", &format!("stock = \"../{LEDGER_FILE}\""));
        }
        match app.folder.begin(name, &text) {
            Ok(_) => Redirect::to(&address(name, "templates")).into_response(),
            Err(list) => again(&list),
        }
    })
    .await
}

/// A chosen language.
#[derive(Deserialize)]
pub struct Chosen {
    to: String,
}

/// Chooses a language, and comes back to the page on which it was chosen.
pub async fn language_chosen(visit: Visit, Query(chosen): Query<Chosen>) -> Response {
    let code = Words::of(&chosen.to).code;
    let cookie = format!("warpwise_language={code}; Path=/; SameSite=Strict; Max-Age=31536000");
    ([(header::SET_COOKIE, cookie)], Redirect::to(&visit.from)).into_response()
}

/// Sets the workshop's units.
pub async fn units_chosen(Visit { app, words, .. }: Visit, Form(chosen): Form<Chosen>) -> Response {
    beside(move || {
        let units = System::ALL.into_iter().find(|s| s.name() == chosen.to).unwrap_or_default();
        match set_units(app.folder.root(), units) {
            Ok(()) => Redirect::to("/").into_response(),
            Err(list) => refused(&words, StatusCode::UNPROCESSABLE_ENTITY, &list),
        }
    })
    .await
}

/// The scale cards as a PDF to print.
pub async fn card() -> Response {
    beside(|| {
        let pdf = sheet::card_pdf(sheet::CardPaper::A4, 4);
        ([(header::CONTENT_TYPE, "application/pdf")], pdf).into_response()
    })
    .await
}
