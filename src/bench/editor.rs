//! The outline editor's page: what is drawn goes out as data, and comes back to be checked as an
//! outline that is read from a file.

use super::app::{App, beside, locked};
use super::frame;
use super::frame::{address, page, refused, standings};
use super::visit::Visit;
use axum::Json;
use axum::extract::{Path, State};
use axum::http::{StatusCode, header};
use axum::response::{IntoResponse, Response};
use maud::html;
use serde::{Deserialize, Serialize};
use std::sync::Arc;
use warpwise::fault::{Fault, Faults, Place};
use warpwise::workshop::{
    DrawnTemplate, Edit, OpenJob, OutlineData, PhotoUnder, Refused, Revision, free_name, notes_of,
    outline_drawing, write_whole,
};

/// What the note of a drawing says that came of the editor: it may be written over by it.
const EDITED: &str = "Edited on the page.";

/// A template whose drawing can be read, with its id.
fn template_of(open: &mut OpenJob, index: usize) -> Result<(String, DrawnTemplate), Faults> {
    let checked = open.checked();
    let id = checked.values.get(&format!("template.{index}.id")).unwrap_or("template").to_string();
    let drawn = checked.drawn.get(index).cloned().flatten();
    Ok((
        id,
        drawn.ok_or_else(|| {
            Fault::new(
                "this template is not there, or its drawing cannot be read",
                "look at the templates",
            )
        })?,
    ))
}

/// What the editor begins with.
#[derive(Serialize)]
struct Begun {
    outline: OutlineData,
    /// Kind of edges that have none of their own.
    edge: warpwise::outline::EdgeKind,
    /// Degrees, where no arrow is drawn.
    arrow_degrees: f64,
    photo: Option<PhotoUnder>,
    rev: String,
}

/// The editor.
pub async fn show(
    Visit { app, words, .. }: Visit,
    Path((job, index)): Path<(String, usize)>,
) -> Response {
    beside(move || {
        let shown = app.job(&job).and_then(|open| {
            let mut open = locked(&open);
            open.draft.refresh()?;
            let (id, template) = template_of(&mut open, index)?;
            let svg = std::fs::read_to_string(open.draft.dir().join(&template.file)).ok();
            let begun = Begun {
                outline: OutlineData::of(&template.outline),
                edge: template.edge,
                arrow_degrees: template.arrow,
                photo: svg.as_deref().and_then(PhotoUnder::of),
                rev: open.draft.revision().name().to_string(),
            };
            let data = serde_json::to_string(&begun).map_err(|e| Fault::new(said!("the outline cannot be shown: {e}"), "try again"))?;
            let checked = open.checked();
            let rail = frame::rail(&words, &job, "templates", &standings(&mut open, &checked));
            let texts: Vec<(&str, String)> = [
                "select", "add", "relief", "hole", "zone", "arrow", "measure", "remove", "straight", "undo", "redo", "fit", "save", "saved", "trim", "lap",
                "butt", "dart", "none", "length", "off", "corner", "edge", "help", "unsaved", "close",
            ]
            .map(|key| (key, words.with(&format!("editor.{key}"), &[words.units.length_unit()])))
            .to_vec();
            let texts = serde_json::Value::Object(texts.into_iter().map(|(k, v)| (k.to_string(), v.into())).collect()).to_string();
            let main = html! {
                p { a href=(address(&job, "templates")) { "← " (words.t("step.templates")) } }
                h1 { (id) }
                script type="module" src="/asset/outline-editor.js" {}
                outline-editor data-begin=(data) data-to=(address(&job, &format!("outline/{index}"))) data-photo=(address(&job, &format!("photo/{index}"))) data-words=(texts)
                    data-unit=(words.units.length_unit()) data-mm=(words.units.length_unit_mm()) {}
                p .quiet { (words.units.said(words.t("editor.help"))) }
            };
            Ok(page(&words, &id, rail, html! {}, main))
        });
        shown.unwrap_or_else(|list| refused(&words, StatusCode::UNPROCESSABLE_ENTITY, &list))
    })
    .await
}

/// An outline that comes back.
#[derive(Deserialize)]
pub struct Drawn {
    rev: String,
    outline: OutlineData,
}

/// A fault at its place on the drawing.
#[derive(Serialize)]
struct Told {
    what: String,
    at: Option<[f64; 2]>,
}

/// Checks an outline and writes it as a drawing of its own; the drawing it came from stays as it
/// is.
pub async fn save(
    Visit { app, words, .. }: Visit,
    Path((job, index)): Path<(String, usize)>,
    Json(drawn): Json<Drawn>,
) -> Response {
    beside(move || {
        let saved = app.job(&job).map_err(Refused::from).and_then(|open| {
            let mut open = locked(&open);
            open.draft.refresh()?;
            let seen = Revision::named(&drawn.rev);
            if open.draft.revision() != seen {
                return Err(Refused::Stale);
            }
            let (id, template) = template_of(&mut open, index)?;
            let outline = drawn.outline.clone().outline(&id)?;
            let dir = open.draft.dir().to_path_buf();
            let old = dir.join(&template.file);
            let svg = std::fs::read_to_string(&old).unwrap_or_default();
            let ours = notes_of(&svg).any(|n| n == EDITED);
            let mut notes: Vec<String> = vec![EDITED.into()];
            notes.extend(
                notes_of(&svg)
                    .filter(|n| *n != EDITED && !n.starts_with("Photo under it: "))
                    .map(String::from),
            );
            // The photo moves with the frame of the drawing.
            let first = outline_drawing(&outline, &id, &[]);
            let shift = warpwise::outline::read_bytes(
                std::path::Path::new("a.svg"),
                first.as_bytes(),
                &Default::default(),
            )
            .ok()
            .and_then(|r| r.outlines.first().map(|o| low(o.net()) - low(outline.net())));
            if let (Some(photo), Some(shift)) = (PhotoUnder::of(&svg), shift) {
                let [left, low, right, high] = photo.place;
                notes.push(
                    PhotoUnder {
                        place: [left + shift.x, low + shift.y, right + shift.x, high + shift.y],
                        ..photo
                    }
                    .note(),
                );
            }
            let name = match old.file_name().and_then(|n| n.to_str()).filter(|_| ours) {
                Some(name) => name.to_string(),
                None => free_name(&dir, &format!("{id}-edited.svg")),
            };
            write_whole(&dir.join(&name), outline_drawing(&outline, &id, &notes).as_bytes())?;
            if !ours {
                let at = format!("template.{index}");
                let mut edits =
                    vec![Edit::Set { at: format!("{at}.file"), to: name.as_str().into() }];
                let values = &open.checked().values;
                // What told the outline among others, and its unit, was about the other drawing.
                let stale = ["inside", "layer", "unit"].map(|key| format!("{at}.{key}"));
                edits.extend(
                    stale.into_iter().filter(|path| values.has(path)).map(|at| Edit::Clear { at }),
                );
                if outline.arrow().is_some() && values.has(&format!("{at}.arrow")) {
                    edits.push(Edit::Clear { at: format!("{at}.arrow") });
                }
                open.draft.edit(&Edit::All(edits), &seen)?;
            }
            Ok((open.draft.revision().name().to_string(), name))
        });
        match saved {
            Ok((rev, file)) => {
                Json(serde_json::json!({ "rev": rev, "file": file })).into_response()
            }
            Err(Refused::Stale) => StatusCode::CONFLICT.into_response(),
            Err(Refused::Faults(list)) => {
                let said = |f: &Fault| Told {
                    what: words.line(f),
                    at: match f.place {
                        Place::At { x, y, .. } => Some([x, y]),
                        _ => None,
                    },
                };
                (
                    StatusCode::UNPROCESSABLE_ENTITY,
                    Json(list.0.iter().map(said).collect::<Vec<_>>()),
                )
                    .into_response()
            }
        }
    })
    .await
}

fn low(ring: &[warpwise::geometry::Point]) -> warpwise::geometry::Point {
    warpwise::geometry::ring_bounds(ring).map_or(warpwise::geometry::point(0.0, 0.0), |b| b.min)
}

/// The photo under a template's drawing.
pub async fn photo(
    State(app): State<Arc<App>>,
    Path((job, index)): Path<(String, usize)>,
) -> Response {
    beside(move || {
        let found = app.job(&job).ok().and_then(|open| {
            let mut open = locked(&open);
            let (_, template) = template_of(&mut open, index).ok()?;
            let dir = open.draft.dir().to_path_buf();
            let svg = std::fs::read_to_string(dir.join(&template.file)).ok()?;
            let file = dir.join(PhotoUnder::of(&svg)?.file);
            let inside =
                std::fs::canonicalize(&file).ok()?.starts_with(std::fs::canonicalize(&dir).ok()?);
            inside
                .then(|| std::fs::read(file).ok())
                .flatten()
                .filter(|b| b.starts_with(&[0xff, 0xd8]))
        });
        match found {
            Some(bytes) => ([(header::CONTENT_TYPE, "image/jpeg")], bytes).into_response(),
            None => StatusCode::NOT_FOUND.into_response(),
        }
    })
    .await
}
