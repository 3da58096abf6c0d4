//! The sheets: how it is cut, what that prints on, and the pages themselves.

use super::app::{App, beside, locked};
use super::form::Form;
use super::frame::{address, faults};
use super::language;
use axum::extract::{Path, Query, State};
use axum::http::{HeaderMap, StatusCode, header};
use axum::response::{Html, IntoResponse, Response};
use maud::{Markup, html};
use serde::Deserialize;
use std::sync::Arc;
use warpwise::cloth::Face;
use warpwise::fault::{Fault, Faults};
use warpwise::layup::When;
use warpwise::sheet::{self, LabelGrid, Paper, Written};
use warpwise::workshop::OpenJob;

/// The step.
pub fn sheets(form: &Form<'_>, open: &mut OpenJob) -> Markup {
    let words = form.words;
    let (job, planned) = (form.job, open.plan());
    let plan = match planned {
        Ok(Some(plan)) => plan,
        Ok(None) => {
            return html! { h1 { (words.t("step.sheets")) } p .lead { (words.t("sheets.plan_first")) } p { a .button href=(address(job, "plan")) { (words.t("step.plan")) } } };
        }
        Err(list) => return html! { h1 { (words.t("step.sheets")) } (faults(&list)) },
    };
    let print = |what: &str, query: &str, label: &str| {
        html! { a .button href=(format!("{}{query}", address(job, &format!("print/{what}")))) target="_blank" { (label) } " " }
    };
    let layouts = sheet::cut_sheets(&plan, None);
    html! {
        h1 { (words.t("step.sheets")) }
        p .lead { (words.t("sheets.lead")) }
        section .card {
            h2 { (words.t("sheets.by_tape")) }
            p { (words.t("sheets.by_tape_how")) }
            (print("placement", "", words.t("sheets.placement")))
            (print("layup", "", words.t("sheets.layup")))
            (print("labels", "", words.t("sheets.labels")))
            (print("cards", "", words.t("sheets.kit_cards")))
        }
        section .card {
            h2 { (words.t("sheets.on_paper")) }
            p { (words.t("sheets.on_paper_how")) }
            p .note.warning { "! " (words.t("sheets.check_first")) }
            form .inline hx-get=(address(job, "pages")) hx-target="#pages" hx-swap="innerHTML" hx-trigger="load, change" {
                div .field {
                    label for="paper" { (words.t("sheets.paper")) }
                    select #paper name="paper" {
                        @for (paper, shown) in [("a4", "A4"), ("a3", "A3"), ("letter", "Letter"), ("tabloid", "Tabloid"), ("roll", words.t("sheets.plotter"))] {
                            option value=(paper) { (shown) }
                        }
                    }
                }
            }
            div #pages role="status" { p .quiet { (words.t("sheets.counting")) } }
        }
        section .card {
            h2 { (words.t("sheets.look")) }
            ul .sheet-pictures {
                @for file in &layouts {
                    li {
                        a href=(address(job, &format!("plan/file/sheets/{}", file.name))) target="_blank" {
                            img src=(address(job, &format!("plan/file/sheets/{}", file.name))) alt=(words.with("sheets.sheet", &[&file.name])) loading="lazy";
                            span { (file.name) }
                        }
                    }
                }
            }
        }
        section .card {
            h2 { (words.t("sheets.machine")) }
            p { (words.t("sheets.machine_how")) }
            @for (i, file) in layouts.iter().enumerate() { (print("cutter", &format!("?file={i}"), &file.name.replace(".svg", ".dxf"))) }
        }
        (super::stock_page::booking(form, &plan))
    }
}

/// How many pages each layout and the templates take on a paper, each a link that prints it.
pub async fn pages(
    State(app): State<Arc<App>>,
    Path(job): Path<String>,
    Query(asked): Query<Asked>,
    headers: HeaderMap,
) -> Response {
    let words = language(&headers);
    beside(move || {
        let counted = app.job(&job).and_then(|open| {
            let plan = locked(&open).plan()?.ok_or_else(|| Fault::new("there is no plan", "plan the job first"))?;
            let name = asked.paper.as_deref().unwrap_or("a4");
            let link = |what: &str, query: String, label: String| {
                html! { li { a .button href=(format!("{}?paper={name}{query}", address(&job, &format!("print/{what}")))) target="_blank" { (label) } } }
            };
            if name == "roll" {
                let files = sheet::cut_sheets(&plan, None);
                return Ok(html! { ul .plain { @for (i, f) in files.iter().enumerate() { (link("layouts", format!("&file={i}"), f.name.replace(".svg", ""))) } } });
            }
            let paper = Paper::new(name, 8.0, 10.0)?;
            let said = |name: &str, pages: usize| format!("{name} – {}", words.with("sheets.pages", &[&pages.to_string()]));
            let templates = sheet::template_pages(&plan, None, &paper);
            Ok(html! {
                h3 { (words.t("sheets.layouts")) }
                ul .plain {
                    @for (i, c) in sheet::pages_needed(&plan, None, &paper).iter().enumerate() { (link("layouts", format!("&file={i}"), said(&c.name, c.pages))) }
                }
                h3 { (words.t("sheets.templates")) }
                ul .plain { (link("templates", String::new(), said(words.t("sheets.templates"), templates.pages))) }
            })
        });
        match counted {
            Ok(list) => Html(list.into_string()).into_response(),
            Err(list) => (StatusCode::UNPROCESSABLE_ENTITY, Html(faults(&list).into_string())).into_response(),
        }
    })
    .await
}

/// What is asked for.
#[derive(Deserialize)]
pub struct Asked {
    paper: Option<String>,
    grid: Option<String>,
    file: Option<usize>,
    face: Option<String>,
}

/// A document drawn from the plan as it is.
pub async fn print(
    State(app): State<Arc<App>>,
    Path((job, what)): Path<(String, String)>,
    Query(asked): Query<Asked>,
) -> Response {
    beside(move || {
        let made = app.job(&job).and_then(|open| {
            let plan = locked(&open)
                .plan()?
                .ok_or_else(|| Fault::new("there is no plan", "plan the job first"))?;
            document(&plan, &what, &asked)
        });
        match made {
            Ok(file) => {
                let kind = match file.name.rsplit('.').next() {
                    Some("pdf") => "application/pdf",
                    Some("svg") => "image/svg+xml",
                    _ => "application/octet-stream",
                };
                let shown = format!("inline; filename=\"{}\"", file.name);
                (
                    [
                        (header::CONTENT_TYPE, kind.to_string()),
                        (header::CONTENT_DISPOSITION, shown),
                    ],
                    file.bytes,
                )
                    .into_response()
            }
            Err(list) => (StatusCode::UNPROCESSABLE_ENTITY, Html(faults(&list).into_string()))
                .into_response(),
        }
    })
    .await
}

fn document(
    plan: &warpwise::verify::Verified,
    what: &str,
    asked: &Asked,
) -> Result<Written, Faults> {
    let face = match asked.face.as_deref() {
        Some("up") => Some(Face::Up),
        Some("down") => Some(Face::Down),
        _ => None,
    };
    let nothing = || {
        Faults::from(Fault::new(
            format!("there is no sheet `{what}`"),
            "look at the list of sheets",
        ))
    };
    let paper = || Paper::new(asked.paper.as_deref().unwrap_or("a4"), 8.0, 10.0);
    match what {
        "placement" => Ok(sheet::placement_sheet(plan, face)),
        "layup" => Ok(sheet::layup_sheet(plan, &When::default())),
        "labels" | "cards" => {
            let [labels, cards] =
                sheet::labels(plan, &LabelGrid::named(asked.grid.as_deref().unwrap_or("3x8"))?);
            Ok(if what == "labels" { labels } else { cards })
        }
        "templates" => Ok(sheet::printed_templates(plan, face, &paper()?)),
        "layouts" => {
            let paper = if asked.paper.as_deref() == Some("roll") { None } else { Some(paper()?) };
            sheet::printed_sheets(plan, face, paper.as_ref())
                .into_iter()
                .nth(asked.file.unwrap_or(0))
                .ok_or_else(nothing)
        }
        "cutter" => sheet::cutter_files(plan, face)
            .into_iter()
            .nth(asked.file.unwrap_or(0))
            .ok_or_else(nothing),
        _ => Err(nothing()),
    }
}
