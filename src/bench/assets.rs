//! What pages load: style, scripts, icon. All of it is in the program; nothing comes from
//! elsewhere.

use axum::extract::Path;
use axum::http::{StatusCode, header};
use axum::response::{IntoResponse, Response};

macro_rules! asset {
    ($name:literal, $kind:literal) => {
        ($name, $kind, include_bytes!(concat!("../../assets/bench/", $name)).as_slice())
    };
}

const ASSETS: [(&str, &str, &[u8]); 19] = [
    asset!("page.css", "text/css; charset=utf-8"),
    asset!("page.js", "text/javascript; charset=utf-8"),
    asset!("htmx.min.js", "text/javascript; charset=utf-8"),
    asset!("outline-editor.js", "text/javascript; charset=utf-8"),
    asset!("card-corners.js", "text/javascript; charset=utf-8"),
    asset!("plan-picture.js", "text/javascript; charset=utf-8"),
    asset!("made.js", "text/javascript; charset=utf-8"),
    asset!("cut-table.js", "text/javascript; charset=utf-8"),
    asset!("projector-view.js", "text/javascript; charset=utf-8"),
    asset!("plan-watch.js", "text/javascript; charset=utf-8"),
    asset!("drop-zone.js", "text/javascript; charset=utf-8"),
    asset!("layer-list.js", "text/javascript; charset=utf-8"),
    asset!("tick-queue.js", "text/javascript; charset=utf-8"),
    asset!("cutting-list.js", "text/javascript; charset=utf-8"),
    asset!("lay-up.js", "text/javascript; charset=utf-8"),
    asset!("label-scan.js", "text/javascript; charset=utf-8"),
    asset!("qr/decode.js", "text/javascript; charset=utf-8"),
    asset!("qr/index.js", "text/javascript; charset=utf-8"),
    asset!("icon.svg", "image/svg+xml"),
];

/// An asset by its name.
pub async fn show(Path(name): Path<String>) -> Response {
    match ASSETS.iter().find(|a| a.0 == name) {
        // Of this very build: a page is loaded anew after an update.
        Some((_, kind, bytes)) => {
            ([(header::CONTENT_TYPE, *kind), (header::CACHE_CONTROL, "no-cache")], *bytes)
                .into_response()
        }
        None => StatusCode::NOT_FOUND.into_response(),
    }
}
