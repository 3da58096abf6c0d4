//! The sheets: how it is cut, what that prints on, and the pages themselves.

use super::app::{App, beside, locked};
use super::form::Form;
use super::frame::{address, faults};
use super::guard::FILE_POLICY;
use super::visit::Visit;
use super::words::Words;
use axum::extract::{Form as Sent, Path, Query};
use axum::http::{StatusCode, header};
use axum::response::{Html, IntoResponse, Response};
use maud::{Markup, html};
use serde::Deserialize;
use std::sync::Arc;
use warpwise::cloth::Face;
use warpwise::fault::{Fault, Faults};
use warpwise::sheet::{self, Document, LabelGrid, Paper, Written};
use warpwise::verify::Verified;
use warpwise::workshop::OpenJob;

/// Papers to choose from; the last is a roll of paper.
const PAPERS: [(&str, &str); 5] =
    [("a4", "A4"), ("a3", "A3"), ("letter", "Letter"), ("tabloid", "Tabloid"), ("roll", "")];

/// Most pages of a document that are shown as pictures at a time.
const SHOWN: usize = 24;

/// The step.
pub fn sheets(form: &Form<'_>, open: &mut OpenJob) -> Markup {
    let words = form.words;
    let (job, planned) = (form.job, open.plan());
    let title = html! { h1 { (words.t("step.sheets")) } };
    let plan = match planned {
        Ok(Some(plan)) => plan,
        Ok(None) => {
            return html! {
                (title)
                p .lead { (words.t("sheets.plan_first")) }
                p { a .button href=(address(job, "plan")) { (words.t("step.plan")) } }
            };
        }
        Err(list) => return html! { (title) (faults(words, &list)) },
    };
    let list = |what: &[&str]| {
        html! {
            ul .documents {
                @for what in what { (document_row(words, job, what, "", &document_name(words, what))) }
            }
        }
    };
    let layouts = sheet::cut_sheets(&plan, None);
    html! {
        (title)
        p .lead { (words.t("sheets.lead")) }
        (super::cut_page::changed(words, &open.changed_since_planned(), Some(job)))
        section .card {
            h2 { (words.t("sheets.by_tape")) }
            p { (words.t("sheets.by_tape_how")) }
            (list(&["placement", "layup", "labels", "cards"]))
            (super::stock_page::labels_of_left(words, job, open))
        }
        section .card {
            h2 { (words.t("sheets.on_paper")) }
            p { (words.t("sheets.on_paper_how")) }
            form .inline hx-get=(address(job, "pages")) hx-target="#pages" hx-swap="innerHTML"
                hx-trigger="load, change" {
                div .field {
                    label for="paper" { (words.t("sheets.paper")) }
                    select #paper name="paper" {
                        @for (paper, shown) in PAPERS {
                            option value=(paper) { (paper_name(words, paper, shown)) }
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
                    @let at = address(job, &format!("plan/file/sheets/{}", file.name));
                    li {
                        a href=(at) target="_blank" {
                            img src=(at) alt=(words.with("sheets.sheet", &[&file.name])) loading="lazy";
                            span { (file.name) }
                        }
                    }
                }
            }
        }
        section .card {
            h2 { (words.t("sheets.by_light")) }
            p { (words.t("sheets.by_light_how")) }
            a .button href=(address(job, "project")) { (words.t("throw.cut_title")) }
            " " (super::projector::way(words))
        }
        section .card {
            h2 { (words.t("sheets.machine")) }
            p { (words.t("sheets.machine_how")) }
            @for (i, file) in layouts.iter().enumerate() {
                @let at = address(job, &format!("print/cutter?file={i}"));
                a .button href=(at) target="_blank" { (file.name.replace(".svg", ".dxf")) }
                " "
            }
        }
        (super::stock_page::booking(form, &plan, open))
    }
}

/// What is read at the bench while cutting and laying.
pub fn at_the_bench(words: &Words, job: &str) -> Markup {
    html! {
        ul .documents {
            @for what in ["placement", "layup"] {
                (document_row(words, job, what, "", &document_name(words, what)))
            }
        }
    }
}

fn paper_name<'w>(words: &'w Words, paper: &str, shown: &'w str) -> &'w str {
    if paper == "roll" { words.t("sheets.plotter") } else { shown }
}

fn document_name(words: &Words, what: &str) -> String {
    let key = match what {
        "placement" => "sheets.placement",
        "layup" => "sheets.layup",
        "labels" => "sheets.labels",
        "cards" => "sheets.kit_cards",
        "check" => "sheets.check",
        _ => "sheets.templates",
    };
    words.t(key).to_string()
}

/// A document: printed by its link, looked at page by page below it. `query` chooses paper and
/// layout.
fn document_row(words: &Words, job: &str, what: &str, query: &str, label: &str) -> Markup {
    let print = format!("{}?{query}", address(job, &format!("print/{what}")));
    let look = format!("{}?{query}", address(job, &format!("look/{what}")));
    html! {
        li {
            a .button href=(print) target="_blank" { (label) }
            details hx-get=(look) hx-trigger="toggle once" hx-target="find div" hx-swap="innerHTML" {
                summary { (words.t("sheets.look_at")) span .only-read { ": " (label) } }
                div { p .quiet { (words.t("sheets.drawing")) } }
            }
        }
    }
}

/// How many pages each layout and the templates take on a paper, each a link that prints it.
pub async fn pages(
    Visit { app, words, .. }: Visit,
    Path(job): Path<String>,
    Query(asked): Query<Asked>,
) -> Response {
    beside(move || {
        let counted = plan_of(&app, &job).and_then(|plan| counted(&words, &job, &plan, &asked));
        match counted {
            Ok(list) => Html(list.into_string()).into_response(),
            Err(list) => unprocessable(&words, &list),
        }
    })
    .await
}

fn counted(words: &Words, job: &str, plan: &Verified, asked: &Asked) -> Result<Markup, Faults> {
    let name = asked.paper.as_deref().unwrap_or("a4");
    let row = |what: &str, query: &str, label: String| {
        document_row(words, job, what, &format!("paper={name}{query}"), &label)
    };
    let layout = |i: usize, label: String| row("layouts", &format!("&file={i}"), label);
    if name == "roll" {
        let files = sheet::cut_sheets(plan, None);
        let named = files.iter().map(|f| f.name.replace(".svg", ""));
        return Ok(html! {
            ul .documents { @for (i, label) in named.enumerate() { (layout(i, label)) } }
        });
    }
    let paper = Paper::new(name, 8.0, 10.0)?;
    let said = |name: &str, pages: usize| {
        format!("{name} – {}", words.with("sheets.pages", &[&pages.to_string()]))
    };
    let templates = sheet::template_pages(plan, None, &paper);
    let [short, long] = paper.size.map(|mm| words.units.length(mm));
    Ok(html! {
        p .quiet { (words.units.said(&words.with("sheets.paper_size", &[&short, &long]))) }
        div .note.warning {
            p { "! " (words.units.said(words.t("sheets.check_first"))) }
            ul .documents { (row("check", "", document_name(words, "check"))) }
            form .inline hx-post=(address(job, "printed-true")) hx-target="#printed-true"
                hx-swap="innerHTML" {
                @for (id, key) in [("along", "sheets.along"), ("across", "sheets.across")] {
                    div .field {
                        label for=(id) { (words.with(key, &[words.units.length_unit()])) }
                        input id=(id) name=(id) inputmode="decimal" autocomplete="off" required;
                    }
                }
                button { (words.t("sheets.is_true")) }
            }
            div #printed-true role="status" {}
        }
        h3 { (words.t("sheets.layouts")) }
        ul .documents {
            @for (i, c) in sheet::pages_needed(plan, None, &paper).iter().enumerate() {
                (layout(i, said(&c.name, c.pages)))
            }
        }
        h3 { (words.t("sheets.templates")) }
        ul .documents {
            (row("templates", "", said(words.t("sheets.templates"), templates.pages)))
        }
    })
}

/// What is asked for.
#[derive(Deserialize)]
pub struct Asked {
    paper: Option<String>,
    grid: Option<String>,
    file: Option<usize>,
    face: Option<String>,
    /// From 1.
    page: Option<usize>,
    from: Option<usize>,
}

impl Asked {
    fn face(&self) -> Option<Face> {
        match self.face.as_deref() {
            Some("up") => Some(Face::Up),
            Some("down") => Some(Face::Down),
            _ => None,
        }
    }

    /// The document of this name in an address.
    fn document(&self, what: &str) -> Result<Document, Faults> {
        let paper = || Paper::new(self.paper.as_deref().unwrap_or("a4"), 8.0, 10.0);
        Ok(match what {
            "check" => Document::Check(paper()?),
            "placement" => Document::Placement,
            "layup" => Document::LayUp,
            "labels" => Document::Labels(LabelGrid::named(self.grid.as_deref().unwrap_or("3x8"))?),
            "cards" => Document::Cards,
            "templates" => Document::Templates(paper()?),
            "layouts" => {
                let on_roll = self.paper.as_deref() == Some("roll");
                let paper = if on_roll { None } else { Some(paper()?) };
                Document::Layout(self.file.unwrap_or(0), paper)
            }
            _ => return Err(nothing(what)),
        })
    }
}

fn nothing(what: &str) -> Faults {
    Fault::new(said!("there is no sheet `{what}`"), "look at the list of sheets").into()
}

fn plan_of(app: &App, job: &str) -> Result<Arc<Verified>, Faults> {
    let open = app.job(job)?;
    let plan = locked(&open).plan()?;
    Ok(plan.ok_or_else(|| Fault::new("there is no plan", "plan the job first"))?)
}

fn unprocessable(words: &Words, list: &Faults) -> Response {
    (StatusCode::UNPROCESSABLE_ENTITY, Html(faults(words, list).into_string())).into_response()
}

/// A document drawn from the plan as it is.
pub async fn print(
    Visit { app, words, .. }: Visit,
    Path((job, what)): Path<(String, String)>,
    Query(asked): Query<Asked>,
) -> Response {
    beside(move || {
        let made = plan_of(&app, &job).and_then(|plan| {
            if what == "cutter" {
                let files = sheet::cutter_files(&plan, asked.face());
                return files.into_iter().nth(asked.file.unwrap_or(0)).ok_or(nothing(&what));
            }
            let document = asked.document(&what)?;
            sheet::printed(&plan, asked.face(), &document).ok_or(nothing(&what))
        });
        match made {
            Ok(file) => shown(file),
            Err(list) => unprocessable(&words, &list),
        }
    })
    .await
}

fn shown(file: Written) -> Response {
    let kind = match file.name.rsplit('.').next() {
        Some("pdf") => "application/pdf",
        Some("svg") => "image/svg+xml",
        _ => "application/octet-stream",
    };
    let name = format!("inline; filename=\"{}\"", file.name);
    let headers = [(header::CONTENT_TYPE, kind.to_string()), (header::CONTENT_DISPOSITION, name)];
    (headers, file.bytes).into_response()
}

/// One page as it is printed, as a picture.
pub async fn page_picture(
    Visit { app, words, .. }: Visit,
    Path((job, what)): Path<(String, String)>,
    Query(asked): Query<Asked>,
) -> Response {
    beside(move || {
        let made = plan_of(&app, &job).and_then(|plan| {
            let document = asked.document(&what)?;
            let page = asked.page.unwrap_or(1).saturating_sub(1);
            sheet::page_picture(&plan, asked.face(), &document, page).ok_or(nothing(&what))
        });
        match made {
            Ok(file) => {
                let mut response = shown(file);
                let policy = header::HeaderValue::from_static(FILE_POLICY);
                response.headers_mut().insert(header::CONTENT_SECURITY_POLICY, policy);
                response
            }
            Err(list) => unprocessable(&words, &list),
        }
    })
    .await
}

/// The pages of a document as pictures, some at a time.
pub async fn look(
    Visit { app, words, .. }: Visit,
    Path((job, what)): Path<(String, String)>,
    Query(asked): Query<Asked>,
) -> Response {
    beside(move || {
        let first = asked.from.unwrap_or(1).max(1);
        let made = plan_of(&app, &job).and_then(|plan| {
            let document = asked.document(&what)?;
            let picture = sheet::page_picture(&plan, asked.face(), &document, first - 1);
            picture.map(|p| p.pages).ok_or(nothing(&what))
        });
        let all = match made {
            Ok(pages) => pages,
            Err(list) => return unprocessable(&words, &list),
        };
        let mut query = String::new();
        let file = asked.file.map(|f| f.to_string());
        for (key, value) in [("paper", &asked.paper), ("grid", &asked.grid), ("file", &file)] {
            if let Some(value) = value {
                query += &format!("&{key}={}", super::frame::encoded(value));
            }
        }
        let at =
            |page: usize| format!("{}?page={page}{query}", address(&job, &format!("page/{what}")));
        let next = first + SHOWN;
        let more = format!("{}?from={next}{query}", address(&job, &format!("look/{what}")));
        let list = html! {
            ul .pages {
                @for page in first..next.min(all + 1) {
                    @let number = words.with("sheets.page", &[&page.to_string(), &all.to_string()]);
                    li {
                        a href=(at(page)) target="_blank" {
                            img src=(at(page)) alt=(number) loading="lazy";
                            span { (number) }
                        }
                    }
                }
            }
            @if next <= all {
                button type="button" hx-get=(more) hx-target="closest div" hx-swap="innerHTML" {
                    (words.with("sheets.more_pages", &[&(all + 1 - next).to_string()]))
                }
            }
        };
        Html(list.into_string()).into_response()
    })
    .await
}

/// What was measured on the check square.
#[derive(Deserialize)]
pub struct Measured {
    along: String,
    across: String,
}

/// Says whether pages print true.
pub async fn printed_true(
    Visit { app: _, words, .. }: Visit,
    Sent(sent): Sent<Measured>,
) -> Response {
    let mm = |text: &str| words.units.parse_length(text);
    let measured = mm(&sent.along).and_then(|along| Ok((along, mm(&sent.across)?)));
    let said = match measured.and_then(|(along, across)| sheet::printed_true(along, across)) {
        Ok(()) => html! { p { "✓ " (words.t("sheets.true")) } },
        Err(fault) => faults(&words, &fault.into()),
    };
    Html(said.into_string()).into_response()
}
