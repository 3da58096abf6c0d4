//! The box of offcuts as pictures to one scale, found by name, cloth and size.

use super::app::{Device, beside};
use super::buttons::item_buttons;
use super::frame::{encoded, faults, message};
use super::item_age::age;
use super::pictures::Picture;
use super::visit::Visit;
use super::words::Words;
use axum::extract::{Extension, Query};
use axum::http::StatusCode;
use axum::response::{Html, IntoResponse, Response};
use maud::{Markup, PreEscaped, html};
use serde::Deserialize;
use std::collections::BTreeSet;
use warpwise::fault::Faults;
use warpwise::geometry::clip::line_in;
use warpwise::geometry::{Bounds, point};
use warpwise::plan::PlacedPiece;
use warpwise::stock::{Offcut, Snapshot};
use warpwise::units::System;
use warpwise::workshop::{BoxWish, offcuts_wished};

/// So many offcuts are shown at a time.
const AT_A_TIME: usize = 60;

/// The longest side of all offcuts is so long on the page, px.
const LONGEST: f64 = 270.0;

/// What is looked for, as it was typed.
#[derive(Clone, Default, Deserialize)]
pub struct Wanted {
    #[serde(default)]
    find: String,
    #[serde(default)]
    cloth: String,
    #[serde(default)]
    along: String,
    #[serde(default)]
    across: String,
    /// The first to be shown.
    #[serde(default)]
    from: usize,
}

impl Wanted {
    fn wish(&self, units: System) -> Result<BoxWish, Faults> {
        let mut wrong = Faults::new();
        let mut mm = |typed: &str| {
            let read = units.parse_size(typed).map_err(Faults::from);
            if typed.trim().is_empty() { Some(0.0) } else { wrong.keep(read) }
        };
        let holds = [mm(&self.along), mm(&self.across)].map(Option::unwrap_or_default);
        let wish = BoxWish { words: self.find.clone(), cloth: self.cloth.clone(), holds };
        wrong.into_result(wish)
    }

    /// The offcuts of this part.
    ///
    /// # Errors
    /// A size that is none.
    pub fn part<'s>(&self, units: System, stock: &'s Snapshot) -> Result<Vec<&'s Offcut>, Faults> {
        let found = offcuts_wished(stock, &self.wish(units)?);
        Ok(found.into_iter().skip(self.from).take(AT_A_TIME).collect())
    }

    fn address(&self, way: &str, from: usize) -> String {
        let keys = [
            ("find", &self.find),
            ("cloth", &self.cloth),
            ("along", &self.along),
            ("across", &self.across),
        ];
        let keys: Vec<String> = keys
            .iter()
            .filter(|(_, v)| !v.is_empty())
            .map(|(k, v)| format!("{k}={}&", encoded(v)))
            .collect();
        format!("{way}?{}from={from}", keys.concat())
    }
}

/// The part of the box that is wanted.
pub async fn find(
    Visit { app, words, .. }: Visit,
    Extension(device): Extension<Device>,
    Query(wanted): Query<Wanted>,
) -> Response {
    beside(move || {
        let found =
            app.stock_there(&words).and_then(|stock| Ok((wanted.wish(words.units)?, stock)));
        match found {
            Ok((wish, stock)) => {
                Html(shown(&words, &stock, &wanted, &wish, device).into_string()).into_response()
            }
            Err(list) => message(StatusCode::UNPROCESSABLE_ENTITY, faults(&words, &list)),
        }
    })
    .await
}

/// The whole section of the stock's page.
pub fn section(words: &Words, stock: &Snapshot, wanted: &Wanted, device: Device) -> Markup {
    let wish = wanted.wish(words.units);
    html! {
        section aria-labelledby="offcuts" {
            h2 #offcuts { (words.t("stock.offcuts")) " (" (stock.offcuts.len()) ")" }
            @if !stock.offcuts.is_empty() {
                (form(words, stock, wanted))
                div #box {
                    @match &wish {
                        Ok(wish) => (shown(words, stock, wanted, wish, device)),
                        Err(list) => (faults(words, list)),
                    }
                }
            }
        }
    }
}

fn form(words: &Words, stock: &Snapshot, wanted: &Wanted) -> Markup {
    let unit = words.units.length_unit();
    let cloths: BTreeSet<&str> = stock.offcuts.iter().map(Offcut::cloth).collect();
    html! {
        form .inline action="/stock" hx-get="/stock/find" hx-target="#box" hx-swap="innerHTML"
            hx-trigger="input changed delay:300ms from:#find, change, submit" {
            div .field {
                label for="find" { (words.t("stock.find")) }
                input #find type="search" name="find" value=(wanted.find) autocomplete="off";
            }
            div .field {
                label for="find-cloth" { (words.t("stock.cloth")) }
                select #find-cloth name="cloth" {
                    option value="" { (words.t("stock.any_cloth")) }
                    @for cloth in &cloths { option value=(cloth) selected[*cloth == wanted.cloth] { (cloth) } }
                }
            }
            @for (name, key, typed) in [("along", "stock.holds_along", &wanted.along), ("across", "stock.holds_across", &wanted.across)] {
                div .field {
                    label for=(format!("holds-{name}")) { (words.with(key, &[unit])) }
                    input id=(format!("holds-{name}")) name=(name) value=(typed) inputmode="decimal"
                        autocomplete="off";
                }
            }
            button { (words.t("stock.holds")) }
        }
    }
}

/// Pixels to a mm, the same for every offcut of the stock.
pub fn scale_of(stock: &Snapshot) -> f64 {
    let long = |o: &Offcut| o.bounds().width().max(o.bounds().height());
    LONGEST / stock.offcuts.iter().map(long).fold(1.0, f64::max)
}

/// The scale, said and drawn as a bar.
pub fn scale_said(words: &Words, scale: f64) -> Markup {
    let unit = words.units.length_unit_mm();
    let mut bar = if unit > 1.0 { 10.0 * unit } else { 200.0 };
    while bar * scale > LONGEST {
        bar /= 10.0;
    }
    let title = words.units.size(bar);
    let high = 6.0 / scale;
    let area = Bounds { min: point(0.0, 0.0), max: point(bar, high) };
    let mut picture = Picture::to_scale(area, &title, scale);
    let ends = [0.0, bar].map(|x| [point(x, 0.0), point(x, high)]);
    picture.line(&[point(0.0, high / 2.0), point(bar, high / 2.0)], "bar", 1.5);
    ends.iter().for_each(|end| picture.line(end, "bar", 1.5));
    html! { p .quiet { (words.with("stock.scale", &[&title])) " " (PreEscaped(picture.done())) } }
}

/// How many there are, and those from the first wanted on.
fn shown(
    words: &Words,
    stock: &Snapshot,
    wanted: &Wanted,
    wish: &BoxWish,
    device: Device,
) -> Markup {
    let found = offcuts_wished(stock, wish);
    let scale = scale_of(stock);
    let from = wanted.from.min(found.len());
    let to = (from + AT_A_TIME).min(found.len());
    html! {
        @if found.is_empty() { p .quiet { (words.t("stock.holds_none")) } }
        @if from == 0 && !found.is_empty() {
            p role="status" { (words.with("stock.found", &[&found.len().to_string(), &stock.offcuts.len().to_string()])) }
            (scale_said(words, scale))
        }
        ul .offcuts {
            @for offcut in &found[from..to] {
                li .card { (one(words, offcut, stock, scale, device)) }
            }
        }
        @if from < to && device == Device::First {
            p { a .button href=(wanted.address("/stock/labels", from)) target="_blank" { (words.with("stock.labels_of", &[&(to - from).to_string()])) } }
        }
        @if to < found.len() {
            @let next = AT_A_TIME.min(found.len() - to);
            p .next {
                (words.with("stock.shown", &[&to.to_string(), &found.len().to_string()])) " "
                a .button href=(wanted.address("/stock", to)) hx-get=(wanted.address("/stock/find", to)) hx-target="closest .next" hx-swap="outerHTML" {
                    (words.with("stock.next", &[&next.to_string()]))
                }
            }
        }
    }
}

/// An offcut of the box: picture, name, size, place, age.
fn one(words: &Words, offcut: &Offcut, stock: &Snapshot, scale: f64, device: Device) -> Markup {
    let b = offcut.bounds();
    html! {
        p {
            a .pictured href=(item_address(offcut.id())) {
                (PreEscaped(picture(words, offcut, &[], scale))) b { (offcut.id()) }
            }
            " " (offcut.cloth())
        }
        p .quiet {
            (words.units.size(b.width())) " × " (words.units.size(b.height()))
            " · " (words.units.area(offcut.area()))
            @if let Some(place) = &offcut.facts().place { " · " (place) }
        }
        (age(words, offcut.id(), offcut.age(), stock.day))
        @if device == Device::First { (item_buttons(words, offcut.id(), Some(offcut.age()), false)) }
    }
}

/// The address of a roll or offcut.
pub fn item_address(id: &str) -> String {
    format!("/stock/item/{}", encoded(id))
}

/// An offcut to scale, warp to the right, with what would be cut from it.
pub fn picture(words: &Words, offcut: &Offcut, placed: &[&PlacedPiece], scale: f64) -> String {
    let b = offcut.bounds();
    let size = [b.width(), b.height()].map(|mm| words.units.size(mm));
    let title = format!("{}, {} × {}", offcut.id(), size[0], size[1]);
    let mut picture = Picture::to_scale(b, &title, scale);
    picture.rings(offcut.region().rings(), "cloth");
    for flaw in offcut.flaws() {
        picture.rings([flaw], "flaw");
    }
    for placed in placed {
        picture.rings(std::iter::once(&placed.outline).chain(&placed.holes), "laid");
    }
    // The longest of some lines along the warp that lie on the cloth.
    let heights = [0.5, 0.35, 0.65, 0.2, 0.8].map(|share| b.min.y + share * b.height());
    let lines = heights.iter().flat_map(|y| {
        let on = line_in(point(b.min.x, *y), point(1.0, 0.0), offcut.region());
        on.into_iter().map(move |[from, to]| [b.min.x + from, b.min.x + to, *y])
    });
    if let Some([from, to, y]) = lines.max_by(|a, b| (a[1] - a[0]).total_cmp(&(b[1] - b[0]))) {
        let inset = 0.15 * (to - from);
        picture.arrow([point(from + inset, y), point(to - inset, y)], "warp");
    }
    picture.done()
}
