//! The thrown picture in its own window, and the page of a job on which one goes from piece to piece.

use super::app::{App, beside, locked};
use super::cut_page::changed;
use super::frame::{self, address, faults, message, page, standings};
use super::projector::{refused, way};
use super::visit::Visit;
use super::words::Words;
use axum::Json;
use axum::extract::{Form as Sent, Path, Query, State};
use axum::http::StatusCode;
use axum::response::sse::{Event, KeepAlive, Sse};
use axum::response::{Html, IntoResponse, Response};
use futures_util::stream;
use maud::{DOCTYPE, Markup, html};
use serde::Deserialize;
use std::convert::Infallible;
use std::sync::Arc;
use std::time::Duration;
use warpwise::cloth::Face;
use warpwise::fault::{Fault, Faults};
use warpwise::geometry::Point;
use warpwise::project::Lie;
use warpwise::verify::Verified;
use warpwise::workshop::{CutStop, Cutting, Light, Projecting, Step};

/// How soon a change is heard of.
const EVERY: Duration = Duration::from_millis(40);

/// The window that is thrown: black, with nothing but the picture.
pub async fn throw(Visit { app: _, words, .. }: Visit) -> Response {
    let texts = [
        ("hint", words.t("throw.hint")),
        ("failed", words.t("hand.failed")),
        ("mark", words.t("throw.mark")),
        ("picture", words.t("throw.picture")),
    ];
    let texts: serde_json::Map<String, serde_json::Value> =
        texts.map(|(k, v)| (k.to_string(), v.into())).into_iter().collect();
    let markup = html! {
        (DOCTYPE)
        html lang=(words.code) {
            head {
                meta charset="utf-8";
                title { (words.t("throw.picture")) " · warpwise" }
                link rel="stylesheet" href="/asset/page.css";
                link rel="icon" href="/asset/icon.svg" type="image/svg+xml";
                script src="/asset/projector-view.js" type="module" {}
            }
            body .thrown {
                main {
                    h1 .only-read { (words.t("throw.picture")) }
                    projector-view data-words=(serde_json::Value::Object(texts).to_string()) {}
                }
            }
        }
    };
    Html(markup.into_string()).into_response()
}

/// The size of the window, pixels of the display.
#[derive(Deserialize)]
pub struct Size {
    w: u32,
    h: u32,
}

/// What the window throws.
pub async fn light(Visit { app, words, .. }: Visit, Query(size): Query<Size>) -> Response {
    beside(move || {
        let lit = is_of_today(&app).and_then(|()| {
            let mut projecting = locked(&app.projecting);
            let (light, style) = projecting.light(size.w, size.h)?;
            Ok((light, style, spoken(&words, &projecting)))
        });
        match lit {
            Ok((light, style, spoken)) => {
                let mut told = drawn(light);
                told["light"] = style.light().into();
                told["pen"] = style.width.into();
                told["spoken"] = spoken.into();
                Json(told).into_response()
            }
            Err(list) => {
                let said: Vec<String> = list.0.iter().map(|f| words.line(f)).collect();
                (StatusCode::UNPROCESSABLE_ENTITY, Json(said)).into_response()
            }
        }
    })
    .await
}

/// The plan that is being cut must be the one on disk.
fn is_of_today(app: &App) -> Result<(), Faults> {
    let cut = locked(&app.projecting).cutting().map(|c| (c.job.clone(), c.plan.clone()));
    let Some((job, id)) = cut else { return Ok(()) };
    let plan = plan_of(app, &job);
    if plan.is_ok_and(|p| p.plan().id == id) {
        return Ok(());
    }
    let remedy =
        "begin again on the page of the job: what was cut by the old plan is not in the new one";
    Err(Fault::new("the plan was made anew while it was being cut", remedy).into())
}

fn drawn(light: Light) -> serde_json::Value {
    match light {
        Light::Dark => serde_json::json!({ "kind": "dark" }),
        Light::Crosses(crosses) => serde_json::json!({ "kind": "crosses", "crosses": crosses }),
        Light::Dots(dots) => {
            let dots: Vec<_> = dots.iter().map(|d| [d.pixel.x, d.pixel.y, d.radius]).collect();
            serde_json::json!({ "kind": "dots", "dots": dots })
        }
        Light::Lines(thrown) => {
            serde_json::json!({ "kind": "lines", "lines": thrown.lines, "texts": thrown.texts })
        }
    }
}

/// What is shown, for who listens.
fn spoken(words: &Words, projecting: &Projecting) -> String {
    projecting.cutting().map_or_else(String::new, |c| {
        let (stop, _) = c.here();
        let piece = stop.piece.map(|p| c.cloths[stop.cloth].pieces[p].label().join(", "));
        let count =
            words.with("throw.stop", &[&(c.at + 1).to_string(), &c.stops.len().to_string()]);
        format!("{count} {}", piece.unwrap_or_default())
    })
}

/// Tells each change of what is thrown by its number.
pub async fn watch(State(app): State<Arc<App>>) -> Response {
    let events = stream::unfold((app, None::<u64>), |(app, seen)| async move {
        loop {
            // While it is changed one asks again.
            let number = app.projecting.try_lock().ok().map(|p| p.number());
            if let Some(number) = number.filter(|n| seen != Some(*n)) {
                let event = Event::default().event("thrown").data(number.to_string());
                return Some((Ok::<_, Infallible>(event), (app, Some(number))));
            }
            tokio::time::sleep(EVERY).await;
        }
    });
    Sse::new(events).keep_alive(KeepAlive::new()).into_response()
}

/// Where crosses were dragged to.
#[derive(Deserialize)]
pub struct Dragged {
    crosses: Vec<Point>,
}

/// Takes dragged crosses.
pub async fn dragged(State(app): State<Arc<App>>, Json(sent): Json<Dragged>) -> Response {
    beside(move || match locked(&app.projecting).dragged(sent.crosses) {
        Ok(()) => StatusCode::NO_CONTENT.into_response(),
        Err(_) => StatusCode::CONFLICT.into_response(),
    })
    .await
}

/// A step.
#[derive(Deserialize)]
pub struct SentStep {
    to: String,
}

/// Goes to another piece.
pub async fn step(Visit { app, words, .. }: Visit, Sent(sent): Sent<SentStep>) -> Response {
    beside(move || {
        let step = match sent.to.as_str() {
            "next" => Some(Step::Next),
            "previous" => Some(Step::Previous),
            "next-window" => Some(Step::NextWindow),
            "previous-window" => Some(Step::PreviousWindow),
            number => number.parse().ok().map(Step::To),
        };
        let none = || Fault::new(words.t("refused.nothing"), words.t("refused.look"));
        let gone = step.ok_or_else(|| none().into()).and_then(|s| locked(&app.projecting).step(s));
        match gone {
            Ok(()) => StatusCode::NO_CONTENT.into_response(),
            Err(list) => message(StatusCode::UNPROCESSABLE_ENTITY, faults(&words, &list)),
        }
    })
    .await
}

fn plan_of(app: &App, job: &str) -> Result<Arc<Verified>, Faults> {
    let open = app.job(job)?;
    let plan = locked(&open).plan()?;
    Ok(plan.ok_or_else(|| Fault::new("there is no plan", "plan the job first"))?)
}

/// The page of a job.
pub async fn show(Visit { app, words, .. }: Visit, Path(job): Path<String>) -> Response {
    beside(move || {
        let shown = app.job(&job).and_then(|open| {
            let mut open = locked(&open);
            open.draft.refresh()?;
            let checked = open.checked();
            let title = checked.values.get("job.name").unwrap_or(&job).to_string();
            let rail = frame::rail(&words, &job, "sheets", &standings(&mut open, &checked));
            let found = open.changed_since_planned();
            drop(open);
            plan_of(&app, &job)?;
            let main = html! {
                p { a href=(address(&job, "sheets")) { "← " (words.t("step.sheets")) } }
                (changed(&words, &found, Some(&job)))
                (main(&app, &words, &job))
            };
            Ok(page(&words, &title, rail, html! {}, main))
        });
        shown.unwrap_or_else(|list| refused(&words, &list))
    })
    .await
}

fn main(app: &App, words: &Words, job: &str) -> Markup {
    let mut projecting = locked(&app.projecting);
    let bare = projecting.without_label();
    let cutting = projecting.cutting().filter(|c| c.job == job);
    let face = cutting.and_then(|c| c.face);
    html! {
        h1 { (words.t("throw.cut_title")) }
        aside .caution { p { (words.t("throw.caution")) } }
        p {
            a .button href="/projector/throw" target="warpwise-projector" { (words.t("throw.open")) }
            " " (way(words))
        }
        form .inline hx-post=(address(job, "project")) hx-target="#cutting" hx-swap="innerHTML" {
            div .field {
                label for="shown" { (words.t("throw.shown")) }
                select #shown name="shown" {
                    option value="one" { (words.t("throw.one")) }
                    option value="all" selected[cutting.is_some_and(|c| c.whole)] { (words.t("throw.all")) }
                }
            }
            div .field {
                label for="face" { (words.t("throw.face")) }
                select #face name="face" {
                    option value="planned" { (words.t("throw.face_planned")) }
                    option value="up" selected[face == Some(Face::Up)] { (words.t("throw.face_up")) }
                    option value="down" selected[face == Some(Face::Down)] { (words.t("throw.face_down")) }
                }
            }
            div .field {
                label for="lie" { (words.t("throw.lie")) }
                select #lie name="lie" {
                    option value="left" { (words.t("throw.lie_left")) }
                    option value="right" selected[cutting.is_some_and(|c| c.lie.turned)] { (words.t("throw.lie_right")) }
                }
            }
            button .go { (words.t("throw.begin")) }
        }
        throw-watch data-now=(address(job, "project/now")) data-target="#cutting" {}
        div #cutting { (now(words, cutting, &bare)) }
        script type="module" src="/asset/projector-view.js" {}
    }
}

/// What is asked for.
#[derive(Deserialize)]
pub struct Asked {
    shown: String,
    face: String,
    lie: String,
}

/// Begins to cut, or goes on in another way.
pub async fn begin(
    Visit { app, words, .. }: Visit,
    Path(job): Path<String>,
    Sent(asked): Sent<Asked>,
) -> Response {
    beside(move || {
        let face = match asked.face.as_str() {
            "up" => Some(Face::Up),
            "down" => Some(Face::Down),
            _ => None,
        };
        let lie = Lie { turned: asked.lie == "right" };
        let begun = plan_of(&app, &job).and_then(|plan| {
            locked(&app.projecting).cut(&job, &plan, face, lie, asked.shown == "all")
        });
        match begun {
            Ok(()) => {
                let mut projecting = locked(&app.projecting);
                let bare = projecting.without_label();
                Html(now(&words, projecting.cutting(), &bare).into_string()).into_response()
            }
            Err(list) => {
                let said = html! { (faults(&words, &list)) p { (way(&words)) } };
                message(StatusCode::UNPROCESSABLE_ENTITY, said)
            }
        }
    })
    .await
}

/// What is being cut, renewed.
pub async fn cutting_now(Visit { app, words, .. }: Visit, Path(job): Path<String>) -> Response {
    beside(move || {
        let mut projecting = locked(&app.projecting);
        let bare = projecting.without_label();
        let cutting = projecting.cutting().filter(|c| c.job == job);
        Html(now(&words, cutting, &bare).into_string()).into_response()
    })
    .await
}

fn now(words: &Words, cutting: Option<&Cutting>, bare: &[String]) -> Markup {
    let Some(c) = cutting else {
        return html! { p .quiet { (words.t("throw.not_begun")) } };
    };
    let (stop, window) = c.here();
    let cloth = &c.cloths[stop.cloth];
    let lengths = c.windows[stop.cloth].0.len();
    let next = c.windows[stop.cloth].0.get(stop.window + 1).and_then(|w| w.mark);
    let next = next.filter(|x| window.mark != Some(*x));
    let step = |to: &str, label: &'static str, go: bool| {
        html! {
            button type="button" .go[go] hx-post="/projector/step" hx-swap="none"
                hx-vals=(serde_json::json!({ "to": to }).to_string()) { (words.t(label)) }
            " "
        }
    };
    let name = |s: &CutStop| {
        let numbers = |list: &[usize]| {
            list.iter().map(|p| c.cloths[s.cloth].pieces[*p].number.as_str()).collect::<Vec<_>>()
        };
        match s.piece {
            Some(p) => numbers(&[p]).join(""),
            None if c.whole => numbers(&c.windows[s.cloth].0[s.window].pieces).join(", "),
            None => words.t("throw.no_piece").to_string(),
        }
    };
    let too_large = c.too_large();
    html! {
        section .card.at-piece aria-live="polite" {
            h2 { (cloth.title) }
            @if lengths > 1 {
                p { (words.with("throw.length", &[&(stop.window + 1).to_string(), &lengths.to_string()])) }
            }
            p { @match window.mark {
                Some(x) => (words.with("throw.slide", &[&words.units.length(x - cloth.bounds.min.x)])),
                None => (words.t("throw.at_end")),
            } }
            @if let Some(x) = next { p { (words.with("throw.mark_next", &[&words.units.length(x - cloth.bounds.min.x)])) } }
            @match stop.piece {
                Some(p) => {
                    @let piece = &cloth.pieces[p];
                    @let [head, rest] = piece.label();
                    p .piece-now { b { (head) } }
                    p { (rest) }
                },
                None => p .piece-now { b { (name(&stop)) } },
            }
            p { (words.with("throw.stop", &[&(c.at + 1).to_string(), &c.stops.len().to_string()])) }
            p {
                (step("previous", "throw.previous", false))
                (step("next", "throw.next", true))
                @if lengths > 1 || c.cloths.len() > 1 {
                    (step("previous-window", "throw.previous_window", false))
                    (step("next-window", "throw.next_window", false))
                }
            }
        }
        @if !bare.is_empty() {
            p .note.warning { "! " (words.with("throw.no_room", &[&bare.join(", ")])) }
        }
        @if !too_large.is_empty() {
            p .note.warning { "! " (words.with("throw.too_large", &[&too_large.join(", ")])) }
        }
        details {
            summary { (words.t("throw.list")) }
            ol .stops {
                @for (i, s) in c.stops.iter().enumerate() {
                    li aria-current=[(i == c.at).then_some("step")] {
                        button type="button" hx-post="/projector/step" hx-swap="none"
                            hx-vals=(serde_json::json!({ "to": i.to_string() }).to_string()) { (name(s)) }
                    }
                }
            }
        }
    }
}
