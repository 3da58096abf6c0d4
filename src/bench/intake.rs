//! Files and shapes that come in from the page.

use super::app::{App, beside, locked};
use super::frame::{STEPS, faults, message};
use super::job_page::{changed, whole_step};
use super::language;
use axum::body::Bytes;
use axum::extract::{Form as Sent, Path, Query, State};
use axum::http::{HeaderMap, StatusCode};
use axum::response::Response;
use maud::html;
use serde::Deserialize;
use std::sync::Arc;
use warpwise::fault::{Fault, Faults};
use warpwise::workshop::{Lay, OpenJob, Refused, Revision, Values, by_size, take as take_in};

/// Largest file that is taken, bytes: a photo of 50 megapixels.
pub const LARGEST_FILE: usize = 64 << 20;

/// What is said of a file.
#[derive(Deserialize)]
pub struct About {
    name: String,
    #[serde(default)]
    net: String,
    #[serde(default)]
    off: String,
    #[serde(default)]
    inked: String,
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

/// Takes a file and makes templates of it.
pub async fn take(
    State(app): State<Arc<App>>,
    Path(job): Path<String>,
    Query(about): Query<About>,
    headers: HeaderMap,
    bytes: Bytes,
) -> Response {
    let words = language(&app, &headers);
    beside(move || {
        let open = match app.job(&job) {
            Ok(open) => open,
            Err(list) => return message(StatusCode::NOT_FOUND, faults(&list)),
        };
        let (dir, known) = {
            let open = locked(&open);
            (open.draft.dir().to_path_buf(), ids(&open))
        };
        let lay = about.lay();
        // Tracing takes its time: the job is free meanwhile.
        let taken = match take_in(&dir, &about.name, &bytes, lay, &known) {
            Ok(taken) => taken,
            Err(list) => return message(StatusCode::UNPROCESSABLE_ENTITY, faults(&list)),
        };
        let mut open = locked(&open);
        // Another file may have come in meanwhile: a new section is in nobody's way.
        let seen = open.draft.revision();
        match open.draft.edit(&taken.edit, &seen) {
            Ok(()) => {
                let said = html! {
                    p .note { "✓ " (words.with("bring.taken", &[&taken.kept])) }
                    @for w in &taken.warnings { p .note.warning { "! " (w.in_one_line()) } }
                };
                whole_step(&words, &job, STEPS[0], &mut open, said)
            }
            Err(Refused::Faults(list)) => message(StatusCode::UNPROCESSABLE_ENTITY, faults(&list)),
            Err(Refused::Stale) => message(
                StatusCode::CONFLICT,
                html! { p .note.fault { "▲ " (words.t("stale.said")) } },
            ),
        }
    })
    .await
}

impl About {
    fn lay(&self) -> Lay {
        Lay {
            inked_net: self.net == "ink",
            plug: self.off == "plug",
            inked_down: self.inked == "down",
        }
    }
}

/// A shape by size.
#[derive(Deserialize)]
pub struct Shape {
    rev: String,
    shape: String,
    length: String,
    width: String,
}

/// Adds a strip, rectangle or ellipse.
pub async fn shape(
    State(app): State<Arc<App>>,
    Path(job): Path<String>,
    headers: HeaderMap,
    Sent(sent): Sent<Shape>,
) -> Response {
    let words = language(&app, &headers);
    beside(move || {
        changed(&app, &words, &job, STEPS[0], false, |open| {
            let mut wrong = Faults::new();
            let mut length = |text: &str, what: &str| {
                wrong.keep(words.units.parse_length(text).map_err(|f| Faults::from(f.on(what))))
            };
            let (along, across) = (length(&sent.length, "length"), length(&sent.width, "width"));
            wrong.into_result(())?;
            let size = along
                .zip(across)
                .filter(|(l, w)| (0.5..100_000.0).contains(l) && (0.5..100_000.0).contains(w));
            let (along, across) = size.ok_or_else(|| {
                Fault::new("that size makes no shape", "give length and width from 0.5 mm to 100 m")
            })?;
            if open.draft.revision() != Revision::named(&sent.rev) {
                open.draft.refresh()?;
                return Err(Refused::Stale);
            }
            let edit = by_size(open.draft.dir(), &sent.shape, along, across, &ids(open))?;
            open.draft.edit(&edit, &Revision::named(&sent.rev))
        })
    })
    .await
}
