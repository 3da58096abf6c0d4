//! A photo in which no card was found: the page on which its corners are put by hand.

use super::app::{App, beside, locked};
use super::frame::{address, page, rail, refused, standings};
use super::visit::Visit;
use axum::Json;
use axum::extract::{Path, State};
use axum::http::{StatusCode, header};
use axum::response::{IntoResponse, Response};
use maud::{Markup, html};
use serde::Deserialize;
use std::sync::Arc;
use warpwise::fault::{Fault, Faults};
use warpwise::geometry::point;
use warpwise::workshop::{Lay, OpenJob, Refused, Span, Values, trace_by_corners, untraced_photos};

/// Photos of a job that are no template yet, each with the way to make it one.
pub fn untraced(words: &super::words::Words, job: &str, photos: &[String]) -> Markup {
    html! {
        div #untraced data-beside="" hx-get=(address(job, "untraced")) hx-trigger="refused from:document"
            hx-swap="outerHTML" {
            @if !photos.is_empty() {
                section .card {
                    h2 { (words.t("corners.untraced")) }
                    p { (words.t("corners.why")) }
                    ul .plain {
                        @for photo in photos {
                            @let at = format!("corners/{}", super::frame::encoded(photo));
                            li { a .button href=(address(job, &at)) {
                                (words.with("corners.put", &[photo]))
                            } }
                        }
                    }
                }
            }
        }
    }
}

/// The same, renewed after a photo was refused.
pub async fn list(Visit { app, words, .. }: Visit, Path(job): Path<String>) -> Response {
    beside(move || match app.job(&job) {
        Ok(open) => {
            let photos = untraced_photos(locked(&open).draft.dir());
            axum::response::Html(untraced(&words, &job, &photos).into_string()).into_response()
        }
        Err(_) => StatusCode::NOT_FOUND.into_response(),
    })
    .await
}

/// The photo is one of those in the job's folder.
fn known(open: &OpenJob, photo: &str) -> Result<(), Faults> {
    if untraced_photos(open.draft.dir()).iter().any(|p| p == photo) {
        return Ok(());
    }
    let what = said!("`{photo}` is no photo that waits to be traced");
    Err(Fault::new(what, "look at the templates: it may be one already").into())
}

/// The page.
pub async fn show(
    Visit { app, words, .. }: Visit,
    Path((job, photo)): Path<(String, String)>,
) -> Response {
    beside(move || {
        let shown = app.job(&job).and_then(|open| {
            let mut open = locked(&open);
            open.draft.refresh()?;
            known(&open, &photo)?;
            let checked = open.checked();
            let rail = rail(&words, &job, "templates", &standings(&mut open, &checked));
            let name = super::frame::encoded(&photo);
            let texts: serde_json::Map<String, serde_json::Value> =
                ["corner", "trace", "working", "failed"]
                    .map(|key| {
                        let text = words.find(&format!("corners.{key}")).unwrap_or(key);
                        (key.to_string(), text.into())
                    })
                    .into_iter()
                    .collect();
            let texts = serde_json::Value::Object(texts).to_string();
            let main = html! {
                p { a href=(address(&job, "templates")) { "← " (words.t("step.templates")) } }
                h1 { (photo) }
                p .lead { (words.t("corners.lead")) }
                script type="module" src="/asset/card-corners.js" {}
                form .inline #about {
                    div .field {
                        label for="span" { (words.t("corners.span")) }
                        select #span name="span" {
                            option value="card" { (words.t("corners.card")) }
                            option value="size" { (words.t("corners.size")) }
                        }
                    }
                    div .field {
                        label for="width" { (words.t("corners.width")) }
                        input #width name="width" inputmode="decimal" autocomplete="off";
                    }
                    div .field {
                        label for="height" { (words.t("corners.height")) }
                        input #height name="height" inputmode="decimal" autocomplete="off";
                    }
                    (choice("net", words.t("bring.net"), &[
                        ("edge", words.t("bring.net_edge")), ("ink", words.t("bring.net_ink")),
                    ]))
                    (choice("off", words.t("template.taken_off"), &[
                        ("mould", words.t("choice.mould")), ("plug", words.t("choice.plug")),
                    ]))
                    (choice("inked", words.t("template.inked_side"), &[
                        ("up", words.t("choice.up")), ("down", words.t("choice.down")),
                    ]))
                }
                card-corners data-photo=(address(&job, &format!("corners/{name}/photo")))
                    data-to=(address(&job, &format!("corners/{name}"))) data-form="about"
                    data-done=(address(&job, "templates")) data-words=(texts) {}
                p .quiet { (words.t("corners.help")) }
            };
            Ok(page(&words, &photo, rail, html! {}, main))
        });
        shown.unwrap_or_else(|list| refused(&words, StatusCode::NOT_FOUND, &list))
    })
    .await
}

fn choice(name: &str, label: &str, options: &[(&str, &str)]) -> Markup {
    html! {
        div .field {
            label for=(name) { (label) }
            select id=(name) name=(name) {
                @for (value, words) in options { option value=(value) { (words) } }
            }
        }
    }
}

/// The photo itself.
pub async fn photo(
    State(app): State<Arc<App>>,
    Path((job, photo)): Path<(String, String)>,
) -> Response {
    beside(move || {
        let found = app.job(&job).ok().and_then(|open| {
            let open = locked(&open);
            known(&open, &photo).ok()?;
            std::fs::read(open.draft.dir().join(&photo)).ok()
        });
        match found {
            Some(bytes) => {
                let jpeg = bytes.starts_with(&[0xff, 0xd8]);
                let kind = if jpeg { "image/jpeg" } else { "image/png" };
                ([(header::CONTENT_TYPE, kind)], bytes).into_response()
            }
            None => StatusCode::NOT_FOUND.into_response(),
        }
    })
    .await
}

/// What comes of the page.
#[derive(Deserialize)]
pub struct Corners {
    /// Upper left, upper right, lower right, lower left; pixels, y down.
    corners: [[f64; 2]; 4],
    #[serde(default)]
    span: String,
    #[serde(default)]
    width: String,
    #[serde(default)]
    height: String,
    #[serde(default)]
    net: String,
    #[serde(default)]
    off: String,
    #[serde(default)]
    inked: String,
}

/// Traces by the corners that were put.
pub async fn trace(
    Visit { app, words, .. }: Visit,
    Path((job, photo)): Path<(String, String)>,
    Json(sent): Json<Corners>,
) -> Response {
    let units = words.units;
    beside(move || {
        let lay = Lay {
            inked_net: sent.net == "ink",
            plug: sent.off == "plug",
            inked_down: sent.inked == "down",
        };
        let size = |text: &str| units.parse_length(text).unwrap_or(f64::NAN);
        let span = match sent.span.as_str() {
            "size" => Span::Size(size(&sent.width), size(&sent.height)),
            _ => Span::Card,
        };
        let pixels = sent.corners.map(|[x, y]| point(x, y));
        let made = app.job(&job).map_err(Refused::from).and_then(|open| {
            let (dir, ids) = {
                let open = locked(&open);
                known(&open, &photo)?;
                (open.draft.dir().to_path_buf(), ids(&open))
            };
            // Tracing takes its time: the job is free meanwhile.
            let taken = trace_by_corners(&dir, &photo, pixels, span, lay, &ids)?;
            let mut open = locked(&open);
            let seen = open.draft.revision();
            open.draft.edit(&taken.edit, &seen)
        });
        let said =
            |list: &Faults| -> Vec<String> { list.0.iter().map(|f| words.line(f)).collect() };
        match made {
            Ok(()) => StatusCode::NO_CONTENT.into_response(),
            Err(Refused::Stale) => StatusCode::CONFLICT.into_response(),
            Err(Refused::Faults(list)) => {
                (StatusCode::UNPROCESSABLE_ENTITY, Json(said(&list))).into_response()
            }
        }
    })
    .await
}

/// Ids of templates, strips and patches that a job has.
pub fn ids(open: &OpenJob) -> Vec<String> {
    let values = Values::of(open.draft.text());
    let of = |s: &str| {
        (0..values.count(s))
            .filter_map(|i| values.get(&format!("{s}.{i}.id")).map(String::from))
            .collect::<Vec<_>>()
    };
    ["template", "strip", "patch"].iter().flat_map(|s| of(s)).collect()
}
