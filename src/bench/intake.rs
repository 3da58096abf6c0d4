//! Files and shapes that come in from the page.

use super::app::{App, beside, locked};
use super::corners::ids;
use super::frame::{STEPS, address, encoded, faults, message};
use super::job_page::{changed, whole_step};
use super::sent_photo::{forget_later, said_of_photo};
use super::visit::Visit;
use super::words::Words;
use axum::body::Bytes;
use axum::extract::{Form as Sent, Path, Query, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};
use maud::{Markup, html};
use serde::Deserialize;
use std::sync::Arc;
use warpwise::fault::{Fault, Faults};
use warpwise::file_name;
use warpwise::geometry::{Point, point};
use warpwise::workshop::{
    Lay, NotTaken, Refused, Revision, Values, by_size, lay_of_mould, off_mould, take as take_in,
    trace_again,
};

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
    /// Id of the mould it was taken off, where one is named.
    #[serde(default)]
    mould: String,
    /// A pixel on the skin of a photo that was kept.
    x: Option<f64>,
    y: Option<f64>,
}

/// Takes a file and makes templates of it.
pub async fn take(
    Visit { app, words, .. }: Visit,
    Path(job): Path<String>,
    Query(about): Query<About>,
    bytes: Bytes,
) -> Response {
    forget_later(&app);
    beside(move || {
        let open = match app.job(&job) {
            Ok(open) => open,
            Err(list) => return message(StatusCode::NOT_FOUND, faults(&words, &list)),
        };
        let (dir, known) = {
            let open = locked(&open);
            (open.draft.dir().to_path_buf(), ids(&open))
        };
        let of_job = Values::of(locked(&open).draft.text());
        let lay = lay_of_mould(about.lay(), &about.mould, &of_job);
        // Tracing takes its time: the job is free meanwhile.
        let taken = match about.at() {
            Some(at) => trace_again(&dir, &about.name, lay, at, &known, &app.last_photo),
            None => take_in(&dir, &about.name, &bytes, lay, &known, &app.last_photo),
        };
        let taken = match taken {
            Ok(taken) => taken,
            Err(not) => {
                return message(
                    StatusCode::UNPROCESSABLE_ENTITY,
                    html! { (faults(&words, &not.faults)) (hint(&words, &job, &about, &not)) },
                );
            }
        };
        let edit = off_mould(taken.edit, &about.mould, &of_job);
        let mut open = locked(&open);
        // Another file may have come in meanwhile: a new section is in nobody's way.
        let seen = open.draft.revision();
        match open.draft.edit(&edit, &seen) {
            Ok(()) => {
                let said = html! {
                    p .note { "✓ " (words.with("bring.taken", &[&taken.kept])) }
                    @for w in &taken.warnings { p .note.warning { "! " (words.line(w)) } }
                };
                whole_step(&words, &job, STEPS[0], &mut open, said)
            }
            Err(Refused::Faults(list)) => {
                message(StatusCode::UNPROCESSABLE_ENTITY, faults(&words, &list))
            }
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

    fn at(&self) -> Option<Point> {
        Some(point(self.x?, self.y?)).filter(|p| p.x.is_finite() && p.y.is_finite())
    }
}

/// The photo that was not understood, to click on the skin in it.
fn hint(words: &Words, job: &str, about: &About, not: &NotTaken) -> Markup {
    let Some(photo) = &not.photo else { return html! {} };
    let query = [
        ("name", photo.as_str()),
        ("net", &about.net),
        ("off", &about.off),
        ("inked", &about.inked),
        ("mould", &about.mould),
    ];
    let query: Vec<String> = query.iter().map(|(k, v)| format!("{k}={}", encoded(v))).collect();
    let words_of_it = words.t("bring.click");
    html! {
        p { b { (words_of_it) } }
        skin-finder data-to=(format!("{}?{}", address(job, "take"), query.join("&"))) data-working=(words.t("bring.working")) {
            img src=(address(job, &format!("kept/{}", encoded(photo)))) alt=(words_of_it) tabindex="0";
        }
    }
}

/// A photo that was kept beside the job.
pub async fn kept(
    State(app): State<Arc<App>>,
    Path((job, file)): Path<(String, String)>,
) -> Response {
    beside(move || {
        let found = app.job(&job).ok().and_then(|open| {
            let dir = locked(&open).draft.dir().to_path_buf();
            let path = std::fs::canonicalize(dir.join(file_name::checked(&file).ok()?)).ok()?;
            let inside = path.starts_with(std::fs::canonicalize(&dir).ok()?) && path.is_file();
            inside.then(|| std::fs::read(path).ok()).flatten()
        });
        match found {
            Some(bytes) => said_of_photo(bytes),
            None => StatusCode::NOT_FOUND.into_response(),
        }
    })
    .await
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
    Visit { app, words, .. }: Visit,
    Path(job): Path<String>,
    Sent(sent): Sent<Shape>,
) -> Response {
    beside(move || {
        let typed = format!("{} × {}", sent.length, sent.width);
        changed(&app, &words, &job, STEPS[0], None, &typed, |open| {
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
