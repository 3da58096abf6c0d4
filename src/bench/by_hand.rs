//! The cut plan changed by hand: the page with the table, and what it asks and changes.

use super::app::{App, beside, locked};
use super::frame::{self, address, page, refused, standings};
use super::visit::Visit;
use super::words::Words;
use axum::Json;
use axum::extract::Path;
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};
use maud::html;
use serde::Deserialize;
use std::time::Duration;
use warpwise::cloth::Face;
use warpwise::fault::{Fault, Faults};
use warpwise::ledger::Moment;
use warpwise::planner::{CutTable, Judged, Lay, Met};
use warpwise::run::Stop;
use warpwise::workshop::{FlawOn, OpenJob, Refused, Settings};

/// Words that the table shows itself.
const TEXTS: [&str; 23] = [
    "cloth",
    "turn",
    "pin",
    "unpin",
    "around",
    "flaw",
    "back",
    "seconds",
    "help",
    "picked",
    "pinned",
    "laid",
    "put_back",
    "lifted",
    "failed",
    "stale",
    "drawing",
    "larger",
    "smaller",
    "table",
    "hold",
    "pinned_first",
    "taken_back",
];

/// The table.
pub async fn show(Visit { app, words, .. }: Visit, Path(job): Path<String>) -> Response {
    beside(move || {
        let shown = app.job(&job).and_then(|open| {
            let mut open = locked(&open);
            open.draft.refresh()?;
            // What cannot be laid by hand says so at once.
            open.table(&Moment::now())?;
            let checked = open.checked();
            let title = checked.values.get("job.name").unwrap_or(&job).to_string();
            let rail = frame::rail(&words, &job, "plan", &standings(&mut open, &checked));
            let texts = TEXTS
                .map(|k| (k.to_string(), words.units.said(words.t(&format!("hand.{k}"))).into()));
            let texts = serde_json::Value::Object(texts.into_iter().collect()).to_string();
            let seconds = match open.asked.map(|a| a.stop) {
                Some(Stop::After(time)) => time.as_secs_f64(),
                _ => 20.0,
            };
            // What is cut stays: a flaw is all that can be drawn then, and one goes on cutting.
            let is_cut = open.begun_to_cut() > 0;
            let back = if is_cut { "cut" } else { "plan" };
            let main = html! {
                p { a href=(address(&job, back)) { "← " (words.t(&format!("step.{back}"))) } }
                h1 { (words.t("hand.title")) }
                p .lead { (words.t(if is_cut { "hand.while_cutting" } else { "hand.lead" })) }
                script type="module" src="/asset/cut-table.js" {}
                cut-table data-at=(address(&job, "by-hand")) data-plan=(address(&job, back))
                    data-words=(texts) data-seconds=(seconds) {}
                p .quiet { (words.units.said(words.t("hand.help"))) }
            };
            Ok(page(&words, &title, rail, html! {}, main))
        });
        shown.unwrap_or_else(|list| refused(&words, StatusCode::UNPROCESSABLE_ENTITY, &list))
    })
    .await
}

/// All that is drawn.
pub async fn table(Visit { app, words, .. }: Visit, Path(job): Path<String>) -> Response {
    beside(move || answered(&app, &words, &job, |_, _| Ok(()))).await
}

/// Where a person holds a piece.
pub async fn judge(
    Visit { app, words, .. }: Visit,
    Path(job): Path<String>,
    Json(lay): Json<Lay>,
) -> Response {
    beside(move || {
        let judged = app.job(&job).and_then(|open| locked(&open).judge(&lay, &Moment::now()));
        match judged {
            Ok(judged) => Json(told(&words, &judged)).into_response(),
            Err(list) => unprocessable(&words, &list),
        }
    })
    .await
}

/// The free place nearest to where a person holds a piece.
pub async fn nearest(
    Visit { app, words, .. }: Visit,
    Path(job): Path<String>,
    Json(lay): Json<Lay>,
) -> Response {
    beside(move || {
        let found = app.job(&job).and_then(|open| locked(&open).nearest(&lay, &Moment::now()));
        let nearest = match found {
            Ok(nearest) => nearest,
            Err(list) => return unprocessable(&words, &list),
        };
        let far = nearest.map(|[x, y]| length(&words, (x - lay.x).hypot(y - lay.y)));
        let [said, near] = match far {
            Some(far) => ["hand.nearest", "hand.near"].map(|key| words.with(key, &[&far])),
            None => [words.t("hand.nowhere").to_string(), String::new()],
        };
        Json(serde_json::json!({ "nearest": nearest, "said": said, "near": near })).into_response()
    })
    .await
}

/// To a tenth of a millimetre.
fn length(words: &Words, mm: f64) -> String {
    words.units.length((mm * 10.0).round() / 10.0)
}

/// A verdict in words, with the pieces it is about.
fn told(words: &Words, judged: &Judged) -> serde_json::Value {
    let name = |met: &Met| match met {
        Met::Piece(number, _) => words.with("hand.a_piece", &[number]),
        Met::Flaw => words.t("hand.a_flaw").to_string(),
        Met::Edge => words.t("hand.the_edge").to_string(),
    };
    let say = |key: &str, list: &[(Met, f64)]| {
        let each = list.iter().map(|(met, by)| words.with(key, &[&name(met), &length(words, *by)]));
        each.collect::<Vec<_>>()
    };
    let mut said = say("hand.overlaps", &judged.overlaps);
    said.extend(say("hand.touches", &judged.touches));
    if judged.is_free() {
        said.push(words.t("hand.free").to_string());
    }
    let met: Vec<(&String, u32)> = judged
        .overlaps
        .iter()
        .chain(&judged.touches)
        .filter_map(|(met, _)| match met {
            Met::Piece(number, copy) => Some((number, *copy)),
            _ => None,
        })
        .collect();
    serde_json::json!({
        "free": judged.is_free(), "said": said.join(" "), "met": met,
    })
}

/// What lays a piece.
#[derive(Deserialize)]
pub struct SentLay {
    plan: String,
    lay: Lay,
}

/// Lays a piece down.
pub async fn lay(
    Visit { app, words, .. }: Visit,
    Path(job): Path<String>,
    Json(sent): Json<SentLay>,
) -> Response {
    beside(move || answered(&app, &words, &job, |open, now| open.lay(&sent.lay, &sent.plan, now)))
        .await
}

/// What pins a piece.
#[derive(Deserialize)]
pub struct SentPin {
    plan: String,
    piece: String,
    copy: u32,
    pinned: bool,
}

/// Pins a piece or frees it.
pub async fn pin(
    Visit { app, words, .. }: Visit,
    Path(job): Path<String>,
    Json(sent): Json<SentPin>,
) -> Response {
    beside(move || {
        answered(&app, &words, &job, |open, now| {
            open.pin((&sent.piece, sent.copy), sent.pinned, &sent.plan, now)
        })
    })
    .await
}

/// What names the plan it is about.
#[derive(Deserialize)]
pub struct Seen {
    /// Its id.
    pub plan: String,
}

/// Takes the last change back.
pub async fn back(
    Visit { app, words, .. }: Visit,
    Path(job): Path<String>,
    Json(seen): Json<Seen>,
) -> Response {
    beside(move || answered(&app, &words, &job, |open, now| open.take_back(&seen.plan, now))).await
}

/// What begins a search around the pins, with a flaw that was found or without one.
#[derive(Deserialize)]
pub struct SentAround {
    plan: String,
    #[serde(default)]
    cloth: String,
    seconds: f64,
    flaw: Option<FlawOn>,
}

/// Nests the rest of a cloth around what is pinned; a flaw is recorded before.
pub async fn around(
    Visit { app, words, .. }: Visit,
    Path(job): Path<String>,
    Json(sent): Json<SentAround>,
) -> Response {
    beside(move || {
        if !(0.1..=86_400.0).contains(&sent.seconds) {
            let fault = Fault::new(words.t("hand.bad_seconds"), "");
            return unprocessable(&words, &fault.into());
        }
        let now = Moment::now();
        let begun = app.job(&job).map_err(Refused::from).and_then(|open| {
            let mut open = locked(&open);
            open.draft.refresh()?;
            let settings = Settings {
                stop: Stop::After(Duration::from_secs_f64(sent.seconds)),
                early: true,
                seed: open.asked.map_or(1, |a| a.seed),
                threads: 0,
                sets: 1,
                day: now.day,
            };
            match &sent.flaw {
                Some(flaw) => open.mend(flaw, settings, &sent.plan, &now).map(|_| ()),
                None => open.around(&sent.cloth, settings, &sent.plan, &now).map(|_| ()),
            }
        });
        match begun {
            Ok(()) => StatusCode::NO_CONTENT.into_response(),
            Err(refused) => refusal(&words, refused),
        }
    })
    .await
}

/// Makes a change and answers with the table as it is then.
fn answered(
    app: &App,
    words: &Words,
    job: &str,
    change: impl FnOnce(&mut OpenJob, &Moment) -> Result<(), Refused>,
) -> Response {
    let now = Moment::now();
    let made = app.job(job).map_err(Refused::from).and_then(|open| {
        let mut open = locked(&open);
        open.draft.refresh()?;
        change(&mut open, &now)?;
        let can_take_back = open.can_take_back();
        Ok(drawn(words, open.table(&now)?, can_take_back))
    });
    match made {
        Ok(table) => Json(table).into_response(),
        Err(refused) => refusal(words, refused),
    }
}

fn refusal(words: &Words, refused: Refused) -> Response {
    match refused {
        Refused::Stale => StatusCode::CONFLICT.into_response(),
        Refused::Faults(list) => unprocessable(words, &list),
    }
}

fn unprocessable(words: &Words, list: &Faults) -> Response {
    let said: Vec<String> = list.0.iter().map(|f| words.line(f)).collect();
    (StatusCode::UNPROCESSABLE_ENTITY, Json(said)).into_response()
}

/// How much of the roll a cloth takes, in words.
fn taken(words: &Words, table: &CutTable, cloth: &str) -> String {
    let figures = table.plan().plan().cloths.iter().find(|f| f.cloth == cloth);
    figures.map_or_else(String::new, |f| {
        words.with("hand.takes", &[cloth, &words.units.long(f.used_length)])
    })
}

/// The table in plain numbers.
fn drawn(words: &Words, table: &CutTable, can_take_back: bool) -> serde_json::Value {
    let cloths = table.cloths().filter_map(|cloth| {
        let (ground, layout) = table.drawn(cloth)?;
        let pieces = table.pieces(cloth);
        let ids: Vec<&str> = pieces.iter().map(|p| p.piece.as_str()).collect();
        let permitted = pieces.iter().map(|p| {
            let poses = p.permitted.iter().map(|q| (q.turn, u8::from(q.face == Face::Down)));
            poses.collect::<Vec<_>>()
        });
        let permitted: Vec<_> = permitted.collect();
        let all = table.plan().plan().stocks.iter().flat_map(|s| &s.placed);
        let pinned: Vec<(usize, u32)> = all
            .filter(|p| p.pinned)
            .filter_map(|p| Some((ids.iter().position(|id| *id == p.piece)?, p.copy - 1)))
            .collect();
        Some(serde_json::json!({
            "ground": ground, "layout": layout, "ids": ids, "permitted": permitted,
            "pinned": pinned, "length": taken(words, table, cloth),
        }))
    });
    let cloths: Vec<_> = cloths.collect();
    let plan = &table.plan().plan().id;
    serde_json::json!({ "plan": plan, "can_take_back": can_take_back, "cloths": cloths })
}
