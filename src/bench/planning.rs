//! Begins a plan, stops it, and puts the plan before back.

use super::app::{App, beside, locked};
use super::by_hand::Seen;
use super::frame::{faults, message};
use super::job_page::whole_step;
use super::visit::Visit;
use axum::extract::{Form as Sent, Path, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};
use maud::html;
use serde::Deserialize;
use std::sync::Arc;
use std::time::Duration;
use warpwise::ledger::Moment;
use warpwise::run::Stop;
use warpwise::workshop::{Refused, Settings};

/// What begins a run.
#[derive(Deserialize)]
pub struct Asked {
    seconds: String,
    early: Option<String>,
    sets: String,
    seed: String,
}

/// Begins to plan.
pub async fn begin(
    Visit { app, words, .. }: Visit,
    Path(job): Path<String>,
    Sent(asked): Sent<Asked>,
) -> Response {
    beside(move || {
        let number = |text: &str| text.trim().replace(',', ".").parse::<f64>().ok();
        let (Some(seconds), Some(sets), Some(seed)) =
            (number(&asked.seconds), number(&asked.sets), number(&asked.seed))
        else {
            return message(
                StatusCode::BAD_REQUEST,
                html! { p .note.fault { "▲ " (words.t("plan.numbers")) } },
            );
        };
        let in_reach = (0.1..=86_400.0).contains(&seconds)
            && (1.0..=1000.0).contains(&sets)
            && (0.0..=1e9).contains(&seed);
        if !in_reach || sets.fract() != 0.0 || seed.fract() != 0.0 {
            return message(
                StatusCode::BAD_REQUEST,
                html! { p .note.fault { "▲ " (words.t("plan.numbers")) } },
            );
        }
        let now = Moment::now();
        let settings = Settings {
            stop: Stop::After(Duration::from_secs_f64(seconds)),
            early: asked.early.is_some(),
            seed: seed as u64,
            threads: 0,
            sets: sets as u32,
            day: now.day,
        };
        let open = match app.job(&job) {
            Ok(open) => open,
            Err(list) => return message(StatusCode::NOT_FOUND, faults(&words, &list)),
        };
        let mut open = locked(&open);
        match open.draft.refresh().and_then(|_| open.begin(settings, &now)) {
            Ok(_) => whole_step(&words, &job, "plan", &mut open, html! {}),
            Err(list) => message(StatusCode::UNPROCESSABLE_ENTITY, faults(&words, &list)),
        }
    })
    .await
}

/// Ends the search; the best layouts are kept.
pub async fn stop(State(app): State<Arc<App>>, Path(job): Path<String>) -> Response {
    beside(move || {
        if let Ok(open) = app.job(&job)
            && let Some(planning) = &locked(&open).planning
        {
            planning.stop();
        }
        StatusCode::NO_CONTENT.into_response()
    })
    .await
}

/// Puts the plan before back in its place.
pub async fn back(
    Visit { app, words, .. }: Visit,
    Path(job): Path<String>,
    Sent(seen): Sent<Seen>,
) -> Response {
    beside(move || {
        let open = match app.job(&job) {
            Ok(open) => open,
            Err(list) => return message(StatusCode::NOT_FOUND, faults(&words, &list)),
        };
        let mut open = locked(&open);
        match open.take_back(&seen.plan, &Moment::now()) {
            Ok(()) | Err(Refused::Stale) => whole_step(&words, &job, "plan", &mut open, html! {}),
            Err(Refused::Faults(list)) => {
                message(StatusCode::UNPROCESSABLE_ENTITY, faults(&words, &list))
            }
        }
    })
    .await
}
