//! Photos that were sent: how long they are kept as they were seen, and how they are shown.

use super::app::App;
use axum::http::{StatusCode, header};
use axum::response::{IntoResponse, Response};
use std::sync::Arc;
use std::time::Duration;

/// So long a photo is kept as it was seen, for hints.
const KEPT: Duration = Duration::from_secs(600);

/// Keeps a photo as it was seen for hints, and no longer.
pub fn forget_later(app: &Arc<App>) {
    let holds = Arc::clone(app);
    tokio::spawn(async move {
        tokio::time::sleep(KEPT).await;
        holds.last_photo.forget();
    });
}

/// A photo by what it is; anything else is not there.
pub fn said_of_photo(bytes: Vec<u8>) -> Response {
    let kind = if bytes.starts_with(&[0xff, 0xd8, 0xff]) {
        "image/jpeg"
    } else if bytes.starts_with(b"\x89PNG") {
        "image/png"
    } else {
        return StatusCode::NOT_FOUND.into_response();
    };
    ([(header::CONTENT_TYPE, kind)], bytes).into_response()
}
