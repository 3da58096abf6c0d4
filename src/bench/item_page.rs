//! A roll or offcut by itself, as its label leads to it: where it lies, what was done with it, its
//! label, and what becomes of it. A label is read in the browser; only what it says comes here.

use super::app::{App, Device, beside};
use super::box_page::{item_address, picture, scale_of, scale_said};
use super::frame::{faults, message, page, refused};
use super::item_age::age;
use super::pictures::Picture;
use super::visit::Visit;
use super::words::Words;
use axum::extract::{Extension, Form as Sent, Path, Query};
use axum::http::StatusCode;
use axum::response::{Html, IntoResponse, Redirect, Response};
use maud::{Markup, PreEscaped, html};
use serde::Deserialize;
use warpwise::fault::{Fault, Faults, Said};
use warpwise::geometry::{Bounds, Ring, point, ring_bounds};
use warpwise::ledger::{Gone, Ledger, Moment};
use warpwise::stock::{Snapshot, read_label};
use warpwise::units::quoted;
use warpwise::workshop::faults_of;

/// What was done with it last, so many entries of the ledger.
const LAST: usize = 20;

/// The page that reads labels.
pub async fn scan(Visit { app: _, words, .. }: Visit) -> Response {
    let main = html! {
        h1 { (words.t("label.title")) }
        script type="module" src="/asset/label-scan.js" {}
        label-scan .card data-to="/stock/label" data-none=(words.t("label.none"))
            data-no-picture=(words.t("label.no_picture")) data-no-camera=(words.t("label.no_camera"))
            data-looking=(words.t("label.looking")) {
            p { (words.t("label.how")) }
            p {
                button type="button" .go hidden { (words.t("label.camera")) } " "
                label .button for="label-picture" { (words.t("label.picture")) }
                input #label-picture type="file" accept="image/*" capture="environment";
            }
            video muted playsinline hidden aria-label=(words.t("label.looking")) {}
            p role="status" {}
        }
        form .inline.card action="/stock/label" {
            div .field { label for="label-id" { (words.t("label.typed")) } input #label-id name="id" required autocomplete="off"; }
            button { (words.t("label.find")) }
        }
    };
    page(&words, words.t("label.title"), html! {}, html! {}, main)
}

/// What a label says, or the name that was typed.
#[derive(Deserialize)]
pub struct Label {
    text: Option<String>,
    id: Option<String>,
}

/// Leads to what a label is of.
pub async fn label(Visit { app, words, .. }: Visit, Query(label): Query<Label>) -> Response {
    beside(move || {
        let read = app.stock().and_then(|stock| {
            let ledger = stock.as_ref().and_then(|s| s.ledger.as_deref());
            match (&label.text, &label.id) {
                (Some(text), _) => Ok(read_label(text, ledger)?),
                (None, id) => Ok(id.as_deref().unwrap_or_default().trim().to_string()),
            }
        });
        match read {
            Ok(id) => Redirect::to(&item_address(&id)).into_response(),
            Err(list) => not_found(&words, &list),
        }
    })
    .await
}

/// What is wrong with a label, and the way to the next.
fn not_found(words: &Words, list: &Faults) -> Response {
    let main = html! {
        h1 { (words.t("label.title")) }
        (faults(words, list))
        (onwards(words))
    };
    (StatusCode::NOT_FOUND, page(words, words.t("label.title"), html! {}, html! {}, main))
        .into_response()
}

fn onwards(words: &Words) -> Markup {
    html! {
        p {
            a .button href="/stock/scan" { (words.t("label.next")) } " "
            a .button href="/stock" { (words.t("frame.stock")) }
        }
    }
}

/// A roll or an offcut.
pub async fn show(
    Visit { app, words, .. }: Visit,
    Extension(device): Extension<Device>,
    Path(id): Path<String>,
) -> Response {
    beside(move || match of(&app, &words, &id, device) {
        Ok(main) => page(&words, &id, html! {}, html! {}, main),
        Err(list) => {
            let gone = app.stock_there(&words).and_then(|_| past(&app, &words, &id));
            match gone {
                Ok(past) => {
                    let main =
                        html! { h1 { (id) } (faults(&words, &list)) (past) (onwards(&words)) };
                    (StatusCode::NOT_FOUND, page(&words, &id, html! {}, html! {}, main))
                        .into_response()
                }
                Err(list) => refused(&words, StatusCode::UNPROCESSABLE_ENTITY, &list),
            }
        }
    })
    .await
}

/// The whole of it.
///
/// # Errors
/// The stock has it not, or cannot be read.
pub fn of(app: &App, words: &Words, id: &str, device: Device) -> Result<Markup, Faults> {
    let stock = app.stock_there(words)?;
    let gone = || {
        Fault::new(Said::came(words.with("label.gone", &[&quoted(id)])), words.t("label.gone_how"))
    };
    let facts = item(words, &stock, id).ok_or_else(gone)?;
    let (flaws, past) = (flaws(app, words, &stock, id, device)?, past(app, words, id)?);
    Ok(html! {
        (facts)
        (flaws)
        (goes(words, app, id))
        @if device == Device::First { p { a .button target="_blank" href=(format!("/stock/labels?id={}", super::frame::encoded(id))) { (words.t("label.print")) } } }
        (past)
        (onwards(words))
    })
}

/// Where no piece may lie on a roll: flaws, which can be taken off it, and places that are cut.
fn flaws(
    app: &App,
    words: &Words,
    stock: &Snapshot,
    id: &str,
    device: Device,
) -> Result<Markup, Faults> {
    let Some(roll) = stock.rolls.iter().find(|r| r.id() == id) else { return Ok(html! {}) };
    let places = Ledger::read(&app.folder.ledger()).and_then(|l| l.places_of(id));
    let places = places.map_err(faults_of)?;
    let reach = places.iter().filter_map(|p| ring_bounds(&p.ring));
    let reach = reach.map(|b| b.max.x).fold(0.0, f64::max);
    if reach <= 0.0 {
        return Ok(html! {});
    }
    let (width, revision) = (roll.facts().width, roll.facts().revision);
    let end = roll.facts().length.unwrap_or(f64::INFINITY).min(1.1 * reach + 100.0);
    let area = Bounds { min: point(0.0, 0.0), max: point(end, width) };
    let mut picture = Picture::new(area, words.t("flaws.title"));
    picture.rings([&area.ring()], "cloth");
    for (i, place) in places.iter().enumerate() {
        let Some(b) = ring_bounds(&place.ring) else { continue };
        picture.rings([&place.ring], if place.is_cut { "cut-out" } else { "flaw" });
        let size = (0.08 * width).min(0.9 * b.height()).min(0.9 * b.width());
        picture.words(b.centre(), &(i + 1).to_string(), size);
    }
    let said =
        |ring: &Ring| {
            let b = ring_bounds(ring)?;
            let size = |mm: f64| words.units.size(mm);
            Some(words.with(
                "flaws.where",
                &[&size(b.min.x), &size(b.max.x), &size(b.min.y), &size(b.max.y)],
            ))
        };
    Ok(html! {
        section aria-labelledby="flaws" {
            h2 #flaws { (words.t("flaws.title")) }
            p .quiet { (words.t("flaws.how")) }
            figure { (PreEscaped(picture.done())) }
            ul .flaws {
                @for (i, place) in places.iter().enumerate() {
                    li {
                        b { (i + 1) } " " (words.t(if place.is_cut { "flaws.cut" } else { "flaws.flaw" })) ": " (said(&place.ring).unwrap_or_default())
                        @if device == Device::First && !place.is_cut {
                            @let vals = serde_json::json!({ "id": id, "index": i, "revision": revision }).to_string();
                            " " button type="button" .remove hx-post="/stock/flaw" hx-vals=(vals) hx-target="#step" hx-swap="innerHTML" { "✕ " (words.t("flaws.remove")) }
                        }
                    }
                }
            }
        }
    })
}

/// What is known of it; nothing if the stock has it not.
fn item(words: &Words, stock: &Snapshot, id: &str) -> Option<Markup> {
    let line = |cloth: &str, size: String, batch: &Option<String>, place: &Option<String>| {
        html! {
            p { b { (cloth) } " · " (size) @if let Some(batch) = batch { " · " (words.t("stock.batch")) " " (batch) } }
            p .place { (words.t("stock.place")) ": " b { (place.as_deref().unwrap_or("–")) } }
        }
    };
    if let Some(offcut) = stock.offcuts.iter().find(|o| o.id() == id) {
        let (b, facts, scale) = (offcut.bounds(), offcut.facts(), scale_of(stock));
        let size = format!(
            "{} × {} · {}",
            words.units.size(b.width()),
            words.units.size(b.height()),
            words.units.area(offcut.area())
        );
        return Some(html! {
            h1 { (id) }
            (line(offcut.cloth(), size, &facts.batch, &facts.place))
            (PreEscaped(picture(words, offcut, &[], scale)))
            (scale_said(words, scale))
            (age(words, id, offcut.age(), stock.day))
        });
    }
    let roll = stock.rolls.iter().find(|r| r.id() == id)?;
    let facts = roll.facts();
    let left = facts.length.map_or_else(
        || words.t("stock.length_unknown").to_string(),
        |l| words.with("stock.left", &[&words.units.long(l)]),
    );
    let size = format!("{} · {left}", words.units.length(facts.width));
    Some(html! {
        h1 { (id) }
        (line(roll.cloth(), size, &facts.batch, &facts.place))
        (age(words, id, roll.age(), stock.day))
    })
}

/// What was done with it.
fn past(app: &App, words: &Words, id: &str) -> Result<Markup, Faults> {
    let file = app.folder.ledger();
    let entries = Ledger::read(&file).and_then(|l| l.history_of(id)).map_err(faults_of)?;
    Ok(html! {
        @if !entries.is_empty() {
            h2 { (words.t("label.past")) }
            ul {
                @for entry in entries.iter().take(LAST) {
                    li { (entry.at.get(..10).unwrap_or(&entry.at)) ": " (words.read(&entry.what)) @if entry.undone { " (" (words.t("label.undone")) ")" } }
                }
            }
            @if entries.len() > LAST { p .quiet { (words.with("label.more", &[&(entries.len() - LAST).to_string()])) } }
        }
    })
}

/// What may become of it: each is a change of the ledger that can be undone.
fn goes(words: &Words, app: &App, id: &str) -> Markup {
    let jobs = app.folder.jobs().unwrap_or_default();
    let way = |way: &str, label: &str, button: &str, list: &str| {
        html! {
            form .card.inline hx-post="/stock/gone" hx-target="#step" hx-swap="innerHTML" {
                input type="hidden" name="id" value=(id);
                input type="hidden" name="way" value=(way);
                div .field { label for=(format!("why-{way}")) { (words.t(label)) } input id=(format!("why-{way}")) name="reason" list=(list) required autocomplete="off"; }
                button { (words.t(button)) }
            }
        }
    };
    html! {
        (way("used", "label.used_for", "label.used", "jobs"))
        (way("thrown", "label.why", "label.thrown", "reasons"))
        datalist #jobs { @for job in &jobs { option value=(job.folder) {} } }
        datalist #reasons { @for reason in words.t("label.reasons").split('|') { option value=(reason.trim()) {} } }
    }
}

/// What became of it.
#[derive(Deserialize)]
pub struct What {
    id: String,
    way: String,
    reason: String,
}

/// Books it as used or thrown away.
pub async fn gone(
    Visit { app, words, .. }: Visit,
    Extension(device): Extension<Device>,
    Sent(what): Sent<What>,
) -> Response {
    beside(move || {
        let reason = what.reason.trim().to_string();
        let gone = match what.way.as_str() {
            "used" => Gone::Used(reason),
            "thrown" => Gone::ThrownAway(reason),
            _ => {
                let fault = Fault::new(words.t("label.no_way"), words.t("label.no_way_how"));
                return message(StatusCode::UNPROCESSABLE_ENTITY, faults(&words, &fault.into()));
            }
        };
        let done = app.stock().and_then(|stock| {
            // A piece or a plan has a record too: only what has a label may go here.
            let is_there = stock.is_some_and(|s| {
                s.offcuts.iter().any(|o| o.id() == what.id) || s.rolls.iter().any(|r| r.id() == what.id)
            });
            if !is_there {
                let gone = Said::came(words.with("label.gone", &[&quoted(&what.id)]));
                return Err(Fault::new(gone, words.t("label.gone_how")).into());
            }
            Ledger::write(&app.folder.ledger())
                .and_then(|mut l| l.take_out(std::slice::from_ref(&what.id), Some(&gone), &Moment::now()))
                .map_err(faults_of)
        });
        match done {
            Ok(()) => {
                let main = html! {
                    h1 { (what.id) }
                    p .note role="status" { "✓ " (words.with("label.booked", &[&what.id])) }
                    @if device == Device::First {
                        form hx-post="/stock/undo" hx-target="#step" hx-swap="innerHTML" { button { "↶ " (words.t("stock.undo")) } }
                    } @else { p .quiet { (words.t("label.undo_there")) } }
                    (onwards(&words))
                };
                Html(main.into_string()).into_response()
            }
            Err(list) => message(StatusCode::UNPROCESSABLE_ENTITY, faults(&words, &list)),
        }
    })
    .await
}
