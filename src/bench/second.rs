//! A second device in the same network, such as a phone at the bench: it looks and sends photos.
//! It has a door of its own, with a key of its own, behind which nothing else can be reached.

use super::app::{ROOT_JOB, beside, locked};
use super::door::Door;
use super::form::Form;
use super::frame::{address, faults, page, refused};
use super::plan_page::{figures, overview};
use super::visit::Visit;
use super::words::Words;
use super::{box_page, cut_page, intake, lay_page, plies, sheets_page, stock_page, ticks};
use axum::body::{Body, Bytes};
use axum::extract::{Path, Query};
use axum::http::StatusCode;
use axum::response::{Html, IntoResponse, Response};
use maud::{Markup, PreEscaped, html};
use warpwise::fault::Fault;
use warpwise::sheet::code_picture;
use warpwise::workshop::OpenJob;

/// What the person at this computer sees of it: the code to scan, and what it lets in.
pub fn invitation(words: &Words, door: Option<&Door>) -> Markup {
    let Some(door) = door else {
        return html! { p .quiet { (words.t("second.how")) } };
    };
    html! {
        details .card {
            summary { (words.t("second.title")) }
            p { (words.t("second.scan")) }
            (PreEscaped(code_picture(&door.link, words.t("second.title"))))
            p { code { (door.link) } }
            p .note.warning { "! " (words.t("second.mind")) }
        }
    }
}

/// The jobs.
pub async fn home(Visit { app, words, .. }: Visit) -> Response {
    beside(move || {
        let jobs = match app.folder.jobs() {
            Ok(jobs) => jobs,
            Err(list) => return refused(&words, StatusCode::INTERNAL_SERVER_ERROR, &list),
        };
        let main = html! {
            h1 { (words.t("home.jobs")) }
            p .lead { (words.t("second.may")) }
            ul .jobs {
                @for entry in &jobs {
                    @let name = if entry.folder.is_empty() { ROOT_JOB } else { &entry.folder };
                    li { a .job href=(address(name, "all")) {
                        b { (entry.folder) @if entry.folder.is_empty() { (words.t("frame.workshop")) } }
                    } }
                }
            }
        };
        page(&words, words.t("home.jobs"), html! {}, html! {}, main)
    })
    .await
}

/// All of a job to look at, and a place to send photos from.
pub async fn job(Visit { app, words, .. }: Visit, Path(job): Path<String>) -> Response {
    beside(move || {
        let open = match app.job(&job) {
            Ok(open) => open,
            Err(list) => return refused(&words, StatusCode::NOT_FOUND, &list),
        };
        let mut open = locked(&open);
        let _ = open.draft.refresh();
        let title = open.checked().values.get("job.name").unwrap_or(&job).to_string();
        let main = job_main(&words, &job, &mut open, html! {});
        page(&words, &title, html! {}, html! {}, main)
    })
    .await
}

fn job_main(words: &Words, job: &str, open: &mut OpenJob, said: Markup) -> Markup {
    let checked = open.checked();
    let form = Form::of(words, job, "plan", &checked);
    let title = checked.values.get("job.name").unwrap_or(job);
    let name = job;
    html! {
        (said)
        h1 { (title) }
        section .card {
            h2 { (words.t("second.send")) }
            drop-zone .drop data-to=(address(job, "take")) data-failed=(words.t("bring.failed"))
                data-working=(words.t("bring.working")) {
                label .button for="file" { (words.t("second.photo")) }
                input #file type="file" accept="image/jpeg,image/png" capture="environment";
                p .working role="status" {}
            }
        }
        h2 { (words.t("step.plan")) }
        @match open.plan() {
            Err(list) => (faults(words, &list)),
            Ok(None) => p .quiet { (words.t("plan.none")) },
            Ok(Some(plan)) => {
                (figures(&form, plan.plan()))
                (overview(words, &plan))
                p {
                    a .button.go href=(address(job, "cut")) { (words.t("step.cut")) " →" } " "
                    a .button.go href=(address(job, "lay")) { (words.t("step.lay")) " →" }
                }
                (sheets_page::at_the_bench(words, job))
            }
        }
        @if let (Some(job), Some(prepared)) = (&checked.job, &checked.prepared) {
            h2 { (words.t("step.plies")) }
            (plies::pieces(words, name, job, prepared))
        }
    }
}

/// The pieces to cut, to be ticked.
pub async fn cut(visit: Visit, job: Path<String>) -> Response {
    step(visit, job, "step.cut", |words, job, open| cut_page::cut(words, job, open, false)).await
}

/// The lay-up, to be ticked.
pub async fn lay(visit: Visit, job: Path<String>) -> Response {
    step(visit, job, "step.lay", |words, job, open| lay_page::lay(words, job, open, false)).await
}

async fn step(
    Visit { app, words, part, .. }: Visit,
    Path(job): Path<String>,
    title: &'static str,
    draw: impl FnOnce(&Words, &str, &mut OpenJob) -> Markup + Send + 'static,
) -> Response {
    beside(move || {
        let open = match app.job(&job) {
            Ok(open) => open,
            Err(list) => return refused(&words, StatusCode::NOT_FOUND, &list),
        };
        let mut open = locked(&open);
        let _ = open.draft.refresh();
        let main = html! {
            p { a href=(address(&job, "all")) { "← " (words.t("second.all")) } }
            (draw(&words, &job, &mut open))
        };
        if part {
            return Html(main.into_string()).into_response();
        }
        page(&words, words.t(title), html! {}, html! {}, main)
    })
    .await
}

/// Counts ticks; what is written down in words stays at the first device.
pub async fn tick(visit: Visit, job: Path<String>, sent: axum::Json<ticks::Sent>) -> Response {
    if !sent.0.is_ticks_alone() {
        let words = &visit.words;
        let fault = Fault::new(words.t("second.not_here"), words.t("second.may"));
        return (StatusCode::FORBIDDEN, Html(faults(words, &fault.into()).into_string()))
            .into_response();
    }
    ticks::tick(visit, job, sent).await
}

/// Takes a photo of a step of the lay-up.
pub async fn photo(
    visit: Visit,
    job: Path<String>,
    about: Query<lay_page::OfPhoto>,
    bytes: Bytes,
) -> Response {
    lay_page::photo_from(visit, job, about, bytes, false).await
}

/// Takes a photo, and nothing else.
pub async fn take(
    visit: Visit,
    Path(job): Path<String>,
    about: Query<intake::About>,
    bytes: Bytes,
) -> Response {
    let Visit { app, words, .. } = visit.clone();
    let photo = bytes.starts_with(&[0xff, 0xd8, 0xff]) || bytes.starts_with(b"\x89PNG");
    if !photo {
        let fault = Fault::new(words.t("second.no_photo"), words.t("second.may"));
        return (StatusCode::FORBIDDEN, Html(faults(&words, &fault.into()).into_string()))
            .into_response();
    }
    let taken = intake::take(visit, Path(job.clone()), about, bytes).await;
    if taken.status() != StatusCode::OK {
        return taken;
    }
    beside(move || match app.job(&job) {
        Ok(open) => {
            let said = html! { p .note { "✓ " (words.t("second.taken")) } };
            let main = job_main(&words, &job, &mut locked(&open), said);
            Html(main.into_string()).into_response()
        }
        Err(_) => StatusCode::NOT_FOUND.into_response(),
    })
    .await
}

/// The stock to look at.
pub async fn stock(
    Visit { app, words, .. }: Visit,
    Query(wanted): Query<box_page::Wanted>,
) -> Response {
    beside(move || {
        let main = stock_page::to_look_at(&app, &words, &wanted);
        page(&words, words.t("frame.stock"), html! {}, html! {}, main)
    })
    .await
}

/// Whatever else is asked for.
pub async fn not_here(Visit { app: _, words, .. }: Visit) -> Response<Body> {
    let fault = Fault::new(words.t("second.not_here"), words.t("second.may"));
    refused(&words, StatusCode::FORBIDDEN, &fault.into())
}
