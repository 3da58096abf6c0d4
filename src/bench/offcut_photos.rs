//! Offcuts by photo or drawing: what was found is shown over the photo with its doubts, the person
//! says where the warp runs and that the size is right, and only then it is booked.

use super::app::{App, Device, beside};
use super::fields::some;
use super::frame::{encoded, faults, message, page, refused};
use super::guard::FILE_POLICY;
use super::item_age::age_of;
use super::new_cloth::{asks, is_it_new};
use super::pictures::Picture;
use super::sent_photo::{forget_later, said_of_photo};
use super::stock_page::main;
use super::visit::Visit;
use super::waiting_offcuts::address;
use super::words::Words;
use axum::body::Bytes;
use axum::extract::{Extension, Form as Sent, Path, Query, State};
use axum::http::{StatusCode, header};
use axum::response::{Html, IntoResponse, Response};
use maud::{Markup, PreEscaped, html};
use serde::Deserialize;
use std::sync::Arc;
use warpwise::cloth::Face;
use warpwise::fault::{Fault, Faults, Said};
use warpwise::geometry::{Bounds, Motion, path_length, point, ring_bounds};
use warpwise::ledger::{Ledger, Moment};
use warpwise::stock::OffcutFacts;
use warpwise::units::parse_angle;
use warpwise::workshop::{
    OffcutPicture, OffcutSeen, WarpBy, faults_of, known_cloths, offcut_booked, offcut_picture,
    offcut_put_aside, offcut_rev, offcut_seen, offcut_shape, take_offcut, trace_offcut_again,
    waiting_offcuts,
};

/// Where the warp was said to run.
#[derive(Default, Deserialize)]
pub struct Asked {
    #[serde(default)]
    warp: String,
}

/// `arrow`, `edge-2`, or degrees.
fn warp_by(typed: &str) -> Result<Option<WarpBy>, Faults> {
    let typed = typed.trim();
    if typed.is_empty() {
        return Ok(None);
    }
    if typed == "arrow" {
        return Ok(Some(WarpBy::Arrow));
    }
    match typed.strip_prefix("edge-").map(str::parse::<usize>) {
        Some(Ok(number)) if number > 0 => Ok(Some(WarpBy::Edge(number - 1))),
        _ => Ok(Some(WarpBy::Degrees(parse_angle(&typed.replace(',', "."))?))),
    }
}

/// One that waits.
pub async fn show(
    Visit { app, words, .. }: Visit,
    Extension(device): Extension<Device>,
    Path(name): Path<String>,
    Query(asked): Query<Asked>,
) -> Response {
    beside(move || match whole(&app, &words, &name, &asked.warp, device) {
        Ok(main) => page(&words, words.t("offcut.title"), html! {}, html! {}, main),
        Err(list) => refused(&words, StatusCode::NOT_FOUND, &list),
    })
    .await
}

/// The page of one that waits, whether or not its outline was found.
fn whole(
    app: &App,
    words: &Words,
    name: &str,
    warp: &str,
    device: Device,
) -> Result<Markup, Faults> {
    if !waiting_offcuts(app.folder.root()).iter().any(|n| n == name) {
        let what = words.t("offcut.gone");
        return Err(Fault::new(what, words.t("refused.look")).into());
    }
    let seen = offcut_seen(app.folder.root(), name);
    let rev = offcut_rev(app.folder.root(), name)?;
    Ok(html! {
        p { a href="/stock" { "← " (words.t("frame.stock")) } }
        h1 { (words.t("offcut.title")) }
        @match seen {
            Ok(seen) => (found(app, words, name, &seen, warp, device)),
            Err(list) => (not_found(words, name, &rev, &list)),
        }
        @if device == Device::First {
            form hx-post=(address(name, "/aside")) hx-target="#step" hx-swap="innerHTML" hx-confirm=(words.t("offcut.aside_sure")) {
                input type="hidden" name="rev" value=(rev);
                button .remove { "✕ " (words.t("offcut.aside")) }
            }
        } @else { p .note { (words.t("offcut.there")) } }
    })
}

/// A photo whose outline was not found: a click on the cloth may be all that is missing.
fn not_found(words: &Words, name: &str, rev: &str, list: &Faults) -> Markup {
    html! {
        (faults(words, list))
        p { b { (words.t("offcut.click")) } }
        skin-finder data-to=(address(name, &format!("/again?rev={rev}"))) data-working=(words.t("bring.working")) {
            img src=(address(name, "/photo")) alt=(words.t("offcut.click")) tabindex="0";
        }
    }
}

fn found(
    app: &App,
    words: &Words,
    name: &str,
    seen: &OffcutSeen,
    warp: &str,
    device: Device,
) -> Markup {
    let by = warp_by(warp);
    let degrees = by.as_ref().ok().and_then(|by| *by).and_then(|by| seen.warp(by));
    let shape = degrees.map(|d| offcut_shape(std::slice::from_ref(&seen.outline), Some(d), ""));
    let size = shape.as_ref().and_then(|s| s.as_ref().ok()).and_then(|(ring, _)| ring_bounds(ring));
    let link = |to: &str| format!("{}?warp={to}", address(name, ""));
    html! {
        @for doubt in &seen.doubts { p .note.warning { "! " (words.read_line(doubt)) } }
        figure .offcut-photo { (PreEscaped(drawn(words, name, seen, warp, degrees))) }
        @if seen.photo.is_some() { p { a href=(address(name, "/check")) target="_blank" { (words.t("offcut.check")) } } }
        section .card aria-labelledby="warp" {
            h2 #warp { (words.t("offcut.warp")) }
            p .quiet { (words.t("offcut.warp_how")) }
            ul .choices {
                @if seen.outline.arrow().is_some() {
                    li { a .button href=(link("arrow")) aria-current=[(warp == "arrow").then_some("true")] { @if warp == "arrow" { "✓ " } "→ " (words.t("offcut.arrow")) } }
                }
                @for (i, edge) in seen.edges.iter().enumerate() {
                    @let to = format!("edge-{}", i + 1);
                    li { a .button href=(link(&to)) aria-current=[(warp == to).then_some("true")] {
                        @if warp == to { "✓ " }
                        (words.with("offcut.edge", &[&(i + 1).to_string()])) " · " (words.units.size(path_length(edge)))
                    } }
                }
            }
            form .inline action=(address(name, "")) {
                div .field { label for="degrees" { (words.t("offcut.degrees")) } input #degrees name="warp" inputmode="decimal" autocomplete="off"; }
                button { (words.t("offcut.show")) }
            }
            @if let Err(list) = &by { (faults(words, list)) }
            @if let Some(Err(list)) = &shape { (faults(words, list)) }
            @if by.as_ref().is_ok_and(Option::is_some) && degrees.is_none() { p .note.fault { "▲ " (words.t("offcut.no_edge")) } }
        }
        @if let (Some(degrees), Some(size)) = (degrees, size) {
            @if device == Device::First { (form(app, words, name, seen, degrees, size)) }
        }
    }
}

/// The outline over its photo, its straight edges to choose from, and the warp if it is said.
fn drawn(words: &Words, name: &str, seen: &OffcutSeen, warp: &str, degrees: Option<f64>) -> String {
    let none = Bounds { min: point(0.0, 0.0), max: point(1.0, 1.0) };
    let b = ring_bounds(seen.outline.net()).unwrap_or(none);
    let margin = 0.08 * b.width().max(b.height());
    let area = Bounds { min: b.min - point(margin, margin), max: b.max + point(margin, margin) };
    let mut picture = Picture::new(area, words.t("offcut.picture"));
    if let Some(photo) = &seen.photo {
        let [left, low, right, high] = photo.place;
        let place = Bounds { min: point(left, low), max: point(right, high) };
        picture.photo(&address(name, "/from-above"), place);
    }
    picture.rings(std::iter::once(seen.outline.net()).chain(seen.outline.holes()), "found");
    for (i, edge) in seen.edges.iter().enumerate() {
        let to = format!("edge-{}", i + 1);
        let said = words.with("offcut.edge", &[&(i + 1).to_string()]);
        let at = format!("{}?warp={to}", address(name, ""));
        picture.choice(*edge, (&at, &said, &(i + 1).to_string()), warp == to);
    }
    if let Some(degrees) = degrees {
        let reach = 0.3 * b.width().min(b.height());
        let way = Motion::new(degrees, false, point(0.0, 0.0)).apply(point(reach, 0.0));
        picture.arrow([b.centre() - way, b.centre() + way], "said-warp");
    }
    picture.done()
}

/// What the ledger wants to know, and that the person has looked.
fn form(
    app: &App,
    words: &Words,
    name: &str,
    seen: &OffcutSeen,
    degrees: f64,
    size: Bounds,
) -> Markup {
    let stock = app.stock().ok().flatten();
    let cloths = known_cloths(&app.folder, stock.as_deref());
    let field = |name: &str, kind: &str, list: Option<&str>| {
        let id = format!("offcut-{name}");
        html! { div .field { label for=(id) { (words.t(&format!("stock.{name}"))) } input id=(id) name=(name) type=(kind) required[name == "cloth"] list=[list] autocomplete="off"; } }
    };
    let [along, across] = [size.width(), size.height()].map(|mm| words.units.size(mm));
    html! {
        section .card aria-labelledby="book" {
            h2 #book { (words.t("offcut.book")) }
            form hx-post=(address(name, "/book")) hx-target="#step" hx-swap="innerHTML" {
                input type="hidden" name="rev" value=(seen.rev);
                input type="hidden" name="warp" value=(degrees);
                div .fields {
                    (field("cloth", "text", Some("cloths")))
                    div .field { label for="offcut-face" { (words.t("stock.face")) }
                        select #offcut-face name="face" {
                            option value="up" { (words.t("choice.up")) }
                            option value="down" { (words.t("choice.down")) }
                        }
                    }
                    (field("batch", "text", None)) (field("expiry", "date", None)) (field("out_life", "text", None))
                    (field("out_hours", "text", None)) (field("place", "text", None))
                }
                datalist #cloths { @for cloth in &cloths { option value=(cloth) {} } }
                p { label { input type="checkbox" name="out" value="yes"; " " (words.t("offcut.is_out")) } }
                p { label { input type="checkbox" name="sure" value="yes" required; " " b { (words.with("offcut.sure", &[&along, &across])) } } }
                (asks("photo"))
                button .go { "✓ " (words.t("offcut.do")) }
            }
        }
    }
}

/// The name of the file that is sent.
#[derive(Deserialize)]
pub struct Named {
    name: String,
}

/// Takes a photo or a drawing of an offcut in; a second device sends photos only.
pub async fn take(
    Visit { app, words, .. }: Visit,
    Extension(device): Extension<Device>,
    Query(file): Query<Named>,
    bytes: Bytes,
) -> Response {
    let photo = bytes.starts_with(&[0xff, 0xd8, 0xff]) || bytes.starts_with(b"\x89PNG");
    if device == Device::Second && !photo {
        let fault = Fault::new(words.t("second.no_photo"), words.t("second.may"));
        return (StatusCode::FORBIDDEN, Html(faults(&words, &fault.into()).into_string()))
            .into_response();
    }
    forget_later(&app);
    beside(move || {
        let taken = take_offcut(app.folder.root(), &file.name, &bytes, &app.last_photo);
        let (name, said) = match taken {
            Ok(name) => (name, Faults::new()),
            Err(not) => match not.waits {
                Some(name) => (name, not.faults),
                None => {
                    return message(StatusCode::UNPROCESSABLE_ENTITY, faults(&words, &not.faults));
                }
            },
        };
        answered(&app, &words, &name, &said, device)
    })
    .await
}

/// What waits now, with what is to be said first.
fn answered(app: &App, words: &Words, name: &str, said: &Faults, device: Device) -> Response {
    // An arrow on it says where the warp runs; the person looks whether it does.
    let arrow = offcut_seen(app.folder.root(), name).is_ok_and(|s| s.outline.arrow().is_some());
    match whole(app, words, name, if arrow { "arrow" } else { "" }, device) {
        Ok(main) => Html(html! { (faults(words, said)) (main) }.into_string()).into_response(),
        Err(list) => message(StatusCode::NOT_FOUND, faults(words, &list)),
    }
}

/// A click on the cloth in a photo.
#[derive(Deserialize)]
pub struct Click {
    #[serde(default)]
    rev: String,
    x: f64,
    y: f64,
}

/// Traces a photo again with a click on the cloth; for a second device only as long as no outline
/// was found.
pub async fn again(
    Visit { app, words, .. }: Visit,
    Extension(device): Extension<Device>,
    Path(name): Path<String>,
    Query(click): Query<Click>,
) -> Response {
    beside(move || {
        if device == Device::Second && !click.rev.is_empty() {
            let fault = Fault::new(words.t("second.not_here"), words.t("offcut.there"));
            return message(StatusCode::FORBIDDEN, faults(&words, &fault.into()));
        }
        let at = point(click.x, click.y);
        let root = app.folder.root();
        match trace_offcut_again(root, &name, &click.rev, at, &app.last_photo) {
            Ok(()) => answered(&app, &words, &name, &Faults::new(), device),
            Err(list) => message(StatusCode::UNPROCESSABLE_ENTITY, faults(&words, &list)),
        }
    })
    .await
}

/// The photo as it came in, from above, or with what was found in it.
pub async fn picture(
    State(app): State<Arc<App>>,
    Path((name, which)): Path<(String, String)>,
) -> Response {
    beside(move || {
        let which = match which.as_str() {
            "from-above" => OffcutPicture::FromAbove,
            "check" => OffcutPicture::Check,
            _ => OffcutPicture::Photo,
        };
        match offcut_picture(app.folder.root(), &name, which) {
            None => StatusCode::NOT_FOUND.into_response(),
            Some(svg) if which == OffcutPicture::Check => {
                let kind = (header::CONTENT_TYPE, "image/svg+xml");
                ([kind, (header::CONTENT_SECURITY_POLICY, FILE_POLICY)], svg).into_response()
            }
            Some(photo) => said_of_photo(photo),
        }
    })
    .await
}

/// What is said of an offcut that is booked.
#[derive(Deserialize)]
pub struct Booking {
    rev: String,
    warp: f64,
    cloth: String,
    face: String,
    #[serde(default)]
    batch: String,
    #[serde(default)]
    expiry: String,
    #[serde(default)]
    out_life: String,
    #[serde(default)]
    out_hours: String,
    #[serde(default)]
    place: String,
    out: Option<String>,
    /// A cloth that was said to be new.
    new_cloth: Option<String>,
    sure: Option<String>,
}

/// Books one that waits, as it was shown.
pub async fn book(
    Visit { app, words, .. }: Visit,
    Path(name): Path<String>,
    Sent(sent): Sent<Booking>,
) -> Response {
    beside(move || match booked(&app, &words, &name, &sent) {
        Ok(Booked::Asks(response)) => *response,
        Ok(Booked::Done(id, said)) => {
            let label = format!("/stock/labels?id={}", encoded(&id));
            let done = html! {
                p .note role="status" { "✓ " (words.with("offcut.booked", &[&id])) " "
                    a .button href=(label) target="_blank" { (words.t("label.print")) } }
                (faults(&words, &said))
                (main(&app, &words))
            };
            Html(done.into_string()).into_response()
        }
        Err(list) => message(StatusCode::UNPROCESSABLE_ENTITY, faults(&words, &list)),
    })
    .await
}

/// What became of a booking.
enum Booked {
    /// Its name in the ledger, and what is to be said though it is booked.
    Done(String, Faults),
    /// Nothing yet: something is asked first.
    Asks(Box<Response>),
}

fn booked(app: &App, words: &Words, name: &str, sent: &Booking) -> Result<Booked, Faults> {
    let seen = offcut_seen(app.folder.root(), name)?;
    let mut wrong = Faults::new();
    if seen.rev != sent.rev {
        wrong.push(Fault::new(words.t("offcut.stale"), words.t("offcut.look_again")));
    }
    if sent.sure.is_none() {
        wrong.push(Fault::new(words.t("offcut.unsure"), words.t("offcut.look_again")));
    }
    let typed = [sent.expiry.as_str(), &sent.out_life, &sent.out_hours];
    let age = wrong.keep(age_of(typed, sent.out.is_some(), words.units));
    let outline = std::slice::from_ref(&seen.outline);
    let shape = wrong.keep(offcut_shape(outline, Some(sent.warp), ""));
    let (Some(age), Some((outline, holes)), true) = (age, shape, wrong.is_empty()) else {
        return Err(wrong);
    };
    if let Some(asked) = is_it_new(app, words, "photo", &sent.cloth, sent.new_cloth.as_deref()) {
        return Ok(Booked::Asks(Box::new(asked)));
    }
    let now = Moment::now();
    let facts = OffcutFacts {
        id: String::new(),
        cloth: sent.cloth.trim().to_string(),
        outline,
        holes,
        flaws: Vec::new(),
        face: if sent.face == "down" { Face::Down } else { Face::Up },
        batch: some(&sent.batch),
        age,
        place: some(&sent.place),
        added: now.day,
        parent: None,
        revision: 0,
    };
    // The folder may still wait though it is booked: another page was as fast, or the machine
    // stopped before it was moved.
    let key = format!("offcut-photo/{name}");
    let (id, is_added) = Ledger::write(&app.folder.ledger())
        .and_then(|mut l| l.add_offcut_once(&key, facts, sent.out.is_some(), true, &now))
        .map_err(faults_of)?;
    let said = offcut_booked(app.folder.root(), name, &id).err().unwrap_or_default();
    if !is_added {
        let what = Said::came(words.with("offcut.twice", &[&id]));
        return Err(Fault::new(what, words.t("offcut.twice_how")).into());
    }
    Ok(Booked::Done(id, said))
}

/// The outline that was shown.
#[derive(Deserialize)]
pub struct Shown {
    #[serde(default)]
    rev: String,
}

/// Puts one aside that is not to be booked.
pub async fn aside(
    Visit { app, words, .. }: Visit,
    Path(name): Path<String>,
    Sent(shown): Sent<Shown>,
) -> Response {
    beside(move || match offcut_put_aside(app.folder.root(), &name, &shown.rev) {
        Ok(()) => Html(main(&app, &words).into_string()).into_response(),
        Err(list) => message(StatusCode::UNPROCESSABLE_ENTITY, faults(&words, &list)),
    })
    .await
}
