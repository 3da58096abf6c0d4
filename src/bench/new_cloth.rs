//! The question whether a cloth that nobody knows is a new one.

use super::app::App;
use super::words::Words;
use axum::http::StatusCode;
use axum::response::{Html, IntoResponse, Response};
use maud::{Markup, html};
use warpwise::workshop::{known_cloths, nearest_cloth};

/// Where a form asks whether a cloth is a new one.
pub fn asks(form: &str) -> Markup {
    html! { div id=(format!("asks-{form}")) role="status" {} }
}

/// The question whether a cloth that nobody knows is a new one, in the form that it was typed in;
/// nothing if it is known or was said to be new.
pub fn is_it_new(
    app: &App,
    words: &Words,
    form: &str,
    cloth: &str,
    said: Option<&str>,
) -> Option<Response> {
    let cloth = cloth.trim();
    let known = known_cloths(&app.folder, app.stock().ok().flatten().as_deref());
    if cloth.is_empty() || known.contains(cloth) || said == Some(cloth) {
        return None;
    }
    let asked = html! {
        div .note.warning {
            p { "! " (words.with("stock.nobody_knows", &[cloth]))
                @if let Some(near) = nearest_cloth(&known, cloth) { " " (words.with("stock.meant", &[near])) } }
            button name="new_cloth" value=(cloth) { (words.with("stock.is_new", &[cloth])) }
        }
    };
    let place = format!("#asks-{form}");
    let headers = [("hx-retarget", place.as_str()), ("hx-reswap", "innerHTML")];
    Some((StatusCode::UNPROCESSABLE_ENTITY, headers, Html(asked.into_string())).into_response())
}
