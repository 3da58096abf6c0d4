//! What every request brings: the server's state, the words it is answered in, where it came from.

use super::app::App;
use super::words::Words;
use axum::extract::FromRequestParts;
use axum::http::request::Parts;
use axum::http::{HeaderMap, HeaderValue, header};
use std::convert::Infallible;
use std::sync::Arc;

/// A request's state, words and way.
#[derive(Clone)]
pub struct Visit {
    /// The server's state.
    pub app: Arc<App>,
    /// The language and the units of the answer.
    pub words: Words,
    /// A part of the page is asked for, to be put into the one that is shown.
    pub part: bool,
    /// The page it came from.
    pub from: String,
}

impl FromRequestParts<Arc<App>> for Visit {
    type Rejection = Infallible;

    async fn from_request_parts(parts: &mut Parts, app: &Arc<App>) -> Result<Visit, Infallible> {
        let headers = &parts.headers;
        Ok(Visit {
            app: Arc::clone(app),
            words: language(app, headers),
            part: headers.contains_key("hx-request"),
            from: page_before(headers).to_string(),
        })
    }
}

/// The language that was chosen, else the one the browser asks for, with the workshop's units.
fn language(app: &App, headers: &HeaderMap) -> Words {
    let text = |name: &str| headers.get(name).and_then(|v| v.to_str().ok()).unwrap_or_default();
    let chosen =
        text("cookie").split(';').find_map(|c| c.trim().strip_prefix("warpwise_language="));
    let words = chosen.map_or_else(|| Words::asked(text("accept-language")), Words::of);
    words.with_units(app.units())
}

/// The page of this server that a request came from; the first page if there is none.
fn page_before(headers: &HeaderMap) -> &str {
    let text = |name| headers.get(name).and_then(|v: &HeaderValue| v.to_str().ok());
    let host = text(header::HOST).unwrap_or_default();
    let path = text(header::REFERER).and_then(|r| r.strip_prefix("http://")?.strip_prefix(host));
    // What was only sent is no page, and another server's address is none of ours.
    let is_page = |p: &&str| p.starts_with('/') && !p.starts_with("//") && *p != "/jobs";
    path.filter(is_page).unwrap_or("/")
}
