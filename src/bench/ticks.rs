//! What is ticked at the bench and at the mould, how it stands, and what is cut again.

use super::app::{beside, locked};
use super::frame::{faults, rail, standings};
use super::visit::Visit;
use super::words::Words;
use axum::Json;
use axum::extract::{Path, Query};
use axum::http::StatusCode;
use axum::response::{Html, IntoResponse, Response};
use serde::Deserialize;
use warpwise::fault::Faults;
use warpwise::layup::Act;
use warpwise::ledger::Moment;
use warpwise::workshop::{ActTick, AtBench, BenchTick, OpenJob, Ticked};

/// Ticks in the order they were made.
#[derive(Deserialize)]
pub struct Sent {
    /// The kit they are of.
    kit: String,
    ticks: Vec<BenchTick>,
}

impl Sent {
    /// Whether nothing in it writes words or figures of its own.
    pub fn is_ticks_alone(&self) -> bool {
        let words = |act: &Act| {
            matches!(act, Act::Who { .. } | Act::Wrote { .. } | Act::Note { .. } | Act::Mass { .. })
        };
        self.ticks.iter().all(|t| match t {
            BenchTick::Piece(_) => true,
            BenchTick::Act(ActTick { act, .. }) => !words(act),
        })
    }
}

/// How a piece is named on the page.
pub fn at(piece: &str, copy: u32) -> String {
    format!("{piece}#{copy}")
}

/// All that can change while the page is open.
pub fn told(bench: &AtBench) -> serde_json::Value {
    let states: serde_json::Map<String, serde_json::Value> = bench
        .states
        .iter()
        .map(|((piece, copy), state)| (at(piece, *copy), serde_json::json!(state)))
        .collect();
    let (stamp, kit, plan) = (&bench.stamp, &bench.kit, bench.plan.plan());
    let ids = plan.stocks.iter().map(|s| &s.id);
    let changed: Vec<&String> = ids.filter(|id| bench.is_changed(id)).collect();
    serde_json::json!({
        "stamp": stamp, "kit": kit, "plan": plan.id, "states": states, "changed": changed,
    })
}

/// Words that a script says, by the last part of their keys.
pub fn texts(words: &Words, keys: &[&str]) -> String {
    let said = |k: &&str| (k.rsplit('.').next().unwrap_or(k).to_string(), words.t(k).into());
    serde_json::Value::Object(keys.iter().map(said).collect()).to_string()
}

/// What was seen last.
#[derive(Deserialize)]
pub struct Seen {
    #[serde(default)]
    seen: String,
}

/// How it stands; nothing if that was seen.
pub async fn state(
    Visit { app, words, .. }: Visit,
    Path(job): Path<String>,
    Query(seen): Query<Seen>,
) -> Response {
    beside(move || {
        let bench = app.job(&job).and_then(|open| locked(&open).at_bench(&Moment::now()));
        match bench {
            Ok(Some(bench)) if bench.stamp == seen.seen => StatusCode::NO_CONTENT.into_response(),
            Ok(Some(bench)) => Json(told(&bench)).into_response(),
            Ok(None) => StatusCode::NOT_FOUND.into_response(),
            Err(list) => refused(&words, &list),
        }
    })
    .await
}

/// Counts ticks in their order, each once, and says what became of each.
pub async fn tick(
    Visit { app, words, from, .. }: Visit,
    Path(job): Path<String>,
    Json(sent): Json<Sent>,
) -> Response {
    beside(move || {
        let now = Moment::now();
        let done = app.job(&job).and_then(|open| {
            let mut open = locked(&open);
            let done = open.tick(&sent.kit, &sent.ticks, &now)?;
            let bench = open.at_bench(&now)?;
            Ok((done, bench, rail_now(&words, &job, &from, &mut open)))
        });
        match done {
            Ok((done, bench, rail)) => {
                let results = sent.ticks.iter().zip(&done).map(|(tick, done)| {
                    let mut said = serde_json::json!({ "key": tick.key() });
                    match done {
                        Ticked::Saved => said["saved"] = true.into(),
                        Ticked::Ask(open) => said["ask"] = serde_json::json!(open),
                        Ticked::Refused(list) => {
                            said["refused"] = faults(&words, list).into_string().into();
                        }
                    }
                    said
                });
                let results: Vec<_> = results.collect();
                let state = bench.as_ref().map(told);
                let said = serde_json::json!({ "results": results, "state": state, "rail": rail });
                Json(said).into_response()
            }
            Err(list) => refused(&words, &list),
        }
    })
    .await
}

/// The rail as it stands after a tick, for the page that it was made on.
fn rail_now(words: &Words, job: &str, from: &str, open: &mut OpenJob) -> String {
    let checked = open.checked();
    let here = if from.ends_with("/lay") { "lay" } else { "cut" };
    let standings = standings(open, &checked);
    rail(words, job, here, &standings).into_string()
}

/// Plans what is spoiled again.
pub async fn recut(Visit { app, words, .. }: Visit, Path(job): Path<String>) -> Response {
    beside(move || {
        let done = app.job(&job).and_then(|open| {
            let mut open = locked(&open);
            open.draft.refresh()?;
            open.recut(&Moment::now())
        });
        match done {
            Ok(said) => Json(said).into_response(),
            Err(list) => refused(&words, &list),
        }
    })
    .await
}

fn refused(words: &Words, list: &Faults) -> Response {
    let words = faults(words, list).into_string();
    (StatusCode::UNPROCESSABLE_ENTITY, Html(words)).into_response()
}
