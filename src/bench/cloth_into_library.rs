//! Takes a cloth of a job into the workshop's library.

use super::app::beside;
use super::job_page::changed;
use super::visit::Visit;
use axum::extract::{Form as Sent, Path};
use axum::response::Response;
use serde::Deserialize;
use warpwise::workshop::{Refused, Revision};

/// Which cloth goes into the library.
#[derive(Deserialize)]
pub struct Which {
    rev: String,
    view: String,
    index: usize,
}

/// Takes a cloth of the job into the library.
pub async fn into_library(
    Visit { app, words, .. }: Visit,
    Path(job): Path<String>,
    Sent(sent): Sent<Which>,
) -> Response {
    beside(move || {
        changed(&app, &words, &job, &sent.view, None, "", |open| {
            let seen = Revision::named(&sent.rev);
            app.with_library(|library| library.take_in(&mut open.draft, sent.index, &seen))
                .map_err(Refused::from)?
        })
    })
    .await
}
