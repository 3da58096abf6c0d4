//! Which offcuts would take a piece: each with the piece lying in it, the smallest first.

use super::app::{beside, locked};
use super::box_page::{item_address, picture, scale_said};
use super::frame::{address, encoded, page, refused};
use super::visit::Visit;
use super::words::Words;
use axum::extract::{Path, Query};
use axum::http::StatusCode;
use axum::response::Response;
use maud::{Markup, PreEscaped, html};
use serde::Deserialize;
use warpwise::cloth::Face;
use warpwise::planner::{Takers, takers};
use warpwise::stock::Snapshot;
use warpwise::units::show_number;
use warpwise::workshop::Sought;

/// So many are shown at a time.
const AT_A_TIME: usize = 6;

/// The longest side of the largest that is shown is so long on the page, px.
const LONGEST: f64 = 270.0;

/// Which piece, and of what.
#[derive(Deserialize)]
pub struct Asked {
    piece: String,
    /// As it is planned; else as the job has it now.
    #[serde(default)]
    planned: Option<String>,
    /// The first to be looked at, in the order of size.
    #[serde(default)]
    from: usize,
}

/// The link to the offcuts that would take a piece.
pub fn link(words: &Words, job: &str, piece: &str, planned: bool) -> Markup {
    html! {
        a .takers href=(to(job, piece, planned, 0)) { (words.t("takers.which")) }
    }
}

fn to(job: &str, piece: &str, planned: bool, from: usize) -> String {
    let planned = if planned { "&planned=yes" } else { "" };
    address(job, &format!("takers?piece={}{planned}&from={from}", encoded(piece)))
}

/// The page.
pub async fn show(
    Visit { app, words, .. }: Visit,
    Path(job): Path<String>,
    Query(asked): Query<Asked>,
) -> Response {
    beside(move || {
        let planned = asked.planned.is_some();
        let sought = app.job(&job).and_then(|open| {
            let mut open = locked(&open);
            open.draft.refresh()?;
            open.sought(&asked.piece, planned)
        });
        let found = sought.and_then(|sought| Ok((sought, app.stock()?)));
        let (sought, stock) = match found {
            Ok(found) => found,
            Err(list) => return refused(&words, StatusCode::NOT_FOUND, &list),
        };
        let title = words.with("takers.title", &[&sought.piece.number]);
        let main = html! {
            p { a href=(address(&job, if planned { "cut" } else { "plies" })) { "← " (words.t(if planned { "step.cut" } else { "step.plies" })) } }
            h1 { (title) }
            p .lead { (sought.piece.template) " · " (sought.piece.cloth) " · " (show_number(sought.piece.angle, 1)) "°" }
            @match &stock {
                None => p { (words.t("stock.empty")) },
                Some(stock) => (answer(&words, &job, &asked, &sought, stock)),
            }
        };
        page(&words, &title, html! {}, html! {}, main)
    })
    .await
}

fn answer(words: &Words, job: &str, asked: &Asked, sought: &Sought, stock: &Snapshot) -> Markup {
    let without = |id: &str| sought.in_use.iter().any(|i| i == id);
    let bounds = (asked.from, AT_A_TIME);
    let Takers { found, of_cloth, next } =
        takers(&sought.piece, sought.gap, stock, &without, bounds);
    let long = found.iter().map(|t| t.offcut.bounds()).map(|b| b.width().max(b.height()));
    let scale = LONGEST / long.fold(1.0, f64::max);
    html! {
        p .quiet { (words.with("takers.how", &[&of_cloth.to_string()])) }
        @if !sought.in_use.is_empty() { p .quiet { (words.with("takers.in_use", &[&sought.in_use.join(", ")])) } }
        @if found.is_empty() { p .note { (words.t(if asked.from == 0 { "takers.none" } else { "takers.no_more" })) } }
        @else { (scale_said(words, scale)) }
        ol .offcuts start=[(asked.from == 0).then_some(1)] {
            @for taker in &found {
                @let b = taker.offcut.bounds();
                li .card {
                    p { a .pictured href=(item_address(taker.offcut.id())) {
                        (PreEscaped(picture(words, taker.offcut, &[&taker.placed], scale))) b { (taker.offcut.id()) }
                    } }
                    p { (words.units.size(b.width())) " × " (words.units.size(b.height())) " · " (words.units.area(taker.offcut.area())) }
                    p { (words.with("takers.turn", &[&show_number(taker.placed.turn, 1)]))
                        @if taker.placed.face == Face::Down { " · ▼ " (words.t("cut.face_down")) } }
                    @if let Some(place) = &taker.offcut.facts().place { p { (words.t("stock.place")) ": " b { (place) } } }
                }
            }
        }
        @if let Some(next) = next {
            p { a .button href=(to(job, &asked.piece, asked.planned.is_some(), next)) { (words.t("takers.larger")) } }
        } @else if !found.is_empty() { p .quiet { (words.t("takers.no_more")) } }
        p .quiet { (words.t("takers.caution")) }
    }
}
