//! A job begun from an old one: the choice on the first page, and what came along.

use super::app::{App, ROOT_JOB};
use super::frame::{address, page};
use super::words::Words;
use axum::response::Response;
use maud::{Markup, html};
use warpwise::fault::Faults;
use warpwise::workshop::{CameAlong, JobEntry, begin_from};

/// From which job a new one may be begun.
pub fn choice(words: &Words, jobs: &[JobEntry], chosen: &str) -> Markup {
    html! {
        @if !jobs.is_empty() {
            div .field {
                label for="from" { (words.t("begun.from")) }
                select #from name="from" {
                    option value="" { (words.t("begun.from_none")) }
                    @for entry in jobs {
                        @let name = if entry.folder.is_empty() { ROOT_JOB } else { &entry.folder };
                        option value=(name) selected[name == chosen] { (name) }
                    }
                }
            }
        }
    }
}

/// Begins it, and says what came along.
///
/// # Errors
/// It cannot be begun.
pub fn begin(app: &App, words: &Words, name: &str, from: &str) -> Result<Response, Faults> {
    let came = begin_from(&app.folder, name, if from == ROOT_JOB { "" } else { from })?;
    Ok(page(words, name, html! {}, html! {}, said(words, name, from, &came)))
}

fn said(words: &Words, name: &str, from: &str, came: &CameAlong) -> Markup {
    let counts =
        [came.layers, came.cloths, came.templates, came.files.len()].map(|n| n.to_string());
    html! {
        h1 { (words.with("begun.title", &[name, from])) }
        p { "✓ " (words.with("begun.came", &counts.each_ref().map(String::as_str))) }
        @if !came.files.is_empty() { p .quiet { (came.files.join(", ")) } }
        p { (words.t("begun.stayed")) }
        @for file in &came.missing { p .note.warning { "! " (words.with("begun.missing", &[file])) } }
        @for keys in &came.of_rolls { p .note.warning { "! " (words.with("begun.of_roll", &[keys])) } }
        p { a .button href=(address(name, "templates")) { (words.with("begun.open", &[name])) } }
    }
}
