//! The moulds of a job: a card each, and what a change of one does to the pieces before it is kept.

use super::app::{App, beside, locked};
use super::fields::fields;
use super::form::Form;
use super::frame::{address, faults, message};
use super::language;
use super::pictures;
use super::sections::{edit_button, remove_button, unused};
use super::words::Words;
use axum::extract::{Form as Sent, Path, State};
use axum::http::{HeaderMap, StatusCode, header};
use axum::response::{Html, IntoResponse, Response};
use maud::{Markup, PreEscaped, html};
use serde::Deserialize;
use std::sync::Arc;
use warpwise::job::Job;
use warpwise::ply::Hand;
use warpwise::workshop::{
    Checked, Edit, HandsOf, OpenJob, Refused, Revision, checked_with, hands_of, template_of_mould,
};

/// The keys that decide over hands: they are tried first.
const TRIED: [&str; 4] = ["kind", "hands", "taped", "inked_side"];

/// The moulds, above the templates.
pub fn moulds(form: &Form<'_>) -> Markup {
    let (words, values) = (form.words, &form.checked.values);
    let keys = serde_json::json!([
        ["id", unused(form, &["mould"], "mould")],
        ["kind", "female"],
        ["hands", "single"]
    ]);
    let add = serde_json::json!({ "add": { "section": "mould", "keys": keys } });
    let count = values.count("mould");
    html! {
        details .card.more open[count > 0] {
            summary { (words.with("moulds.title", &[&count.to_string()])) }
            p .quiet { (words.t("moulds.lead")) }
            @for i in 0..count { (card(form, i)) }
            p { (edit_button(form, &add, "add", "", html! { "+ " (words.t("moulds.add")) })) }
        }
    }
}

fn card(form: &Form<'_>, i: usize) -> Markup {
    let (words, values) = (form.words, &form.checked.values);
    let at = format!("mould.{i}");
    let id = values.get(&format!("{at}.id")).unwrap_or("?");
    let (tried, plain): (Vec<_>, Vec<_>) =
        fields("mould").iter().partition(|f| TRIED.contains(&f.key));
    let photo = values.get(&format!("{at}.photo"));
    html! {
        section aria-labelledby=(format!("h-mould-{i}")) {
            div .card-head { h2 id=(format!("h-mould-{i}")) { (id) } (remove_button(form, &at, id)) }
            div .fields { @for field in plain { (form.field(&at, "mould", field)) } }
            form hx-post=(address(form.job, "mould-try")) hx-trigger="change, submit" hx-include="#rev"
                hx-target=(format!("#mould-try-{i}")) hx-swap="innerHTML" {
                input type="hidden" name="mould" value=(i);
                div .fields { @for field in tried { (tried_field(form, &at, field.key, field.kind)) } }
                button { (words.t("moulds.try")) }
            }
            div id=(format!("mould-try-{i}")) role="status" {}
            (form.slot(&at))
            @if let Some(photo) = photo {
                div .photos { img src=(address(form.job, &format!("mould-photo/{i}"))) alt=(photo) loading="lazy"; }
            }
        }
    }
}

/// A choice that is not kept at once.
fn tried_field(form: &Form<'_>, at: &str, key: &str, kind: super::fields::Kind) -> Markup {
    let super::fields::Kind::Choice(choices) = kind else { return html! {} };
    let path = format!("{at}.{key}");
    let id = super::form::id_of(&path);
    let value = form.checked.values.get(&path).unwrap_or_default();
    html! {
        div .field {
            label for=(id) { (form.words.t(&format!("mould.{key}"))) }
            select id=(id) name=(key) {
                @if !choices.contains(&value) { option value=(value) selected { (value) } }
                @for choice in choices {
                    option value=(choice) selected[*choice == value] {
                        (form.words.find(&format!("choice.{choice}")).unwrap_or(choice))
                    }
                }
            }
            (form.slot(&path))
        }
    }
}

/// The mould of a template, to be tried before it is kept.
pub fn choice(form: &Form<'_>, i: usize) -> Markup {
    let (words, values) = (form.words, &form.checked.values);
    if values.count("mould") == 0 && !values.has(&format!("template.{i}.mould")) {
        return html! {};
    }
    let at = format!("template.{i}.mould");
    let id = super::form::id_of(&at);
    let value = values.get(&at).unwrap_or_default();
    html! {
        form hx-post=(address(form.job, "mould-try")) hx-trigger="change, submit" hx-include="#rev"
            hx-target=(format!("#template-try-{i}")) hx-swap="innerHTML" {
            input type="hidden" name="template" value=(i);
            div .field {
                label for=(id) { (words.t("template.mould")) }
                select id=(id) name="of" {
                    @for (id, shown) in form.named(&["mould"]) { option value=(id) selected[id == value] { (shown) } }
                }
                (form.slot(&at))
            }
        }
        div id=(format!("template-try-{i}")) role="status" {}
    }
}

/// What is tried: other values of a mould, or another mould of a template.
#[derive(Deserialize)]
pub struct Tried {
    rev: String,
    mould: Option<usize>,
    #[serde(default)]
    kind: String,
    #[serde(default)]
    hands: String,
    #[serde(default)]
    taped: String,
    #[serde(default)]
    inked_side: String,
    template: Option<usize>,
    #[serde(default)]
    of: String,
}

impl Tried {
    fn edit(&self, open: &mut OpenJob) -> Result<Edit, Refused> {
        let checked = open.checked();
        let values = &checked.values;
        if let Some(index) = self.template {
            return Ok(template_of_mould(values, index, &self.of)?);
        }
        let at = format!("mould.{}", self.mould.unwrap_or_default());
        let typed = [&self.kind, &self.hands, &self.taped, &self.inked_side];
        let one = |(key, typed): (&str, &String)| {
            let path = format!("{at}.{key}");
            let now = values.get(&path).unwrap_or_default();
            if now == typed {
                None
            } else if typed.is_empty() {
                Some(Edit::Clear { at: path })
            } else {
                Some(Edit::Set { at: path, to: typed.as_str().into() })
            }
        };
        Ok(Edit::All(TRIED.into_iter().zip(typed).filter_map(one).collect()))
    }
}

/// Shows what a change would make of the pieces; nothing is written.
pub async fn tried(
    State(app): State<Arc<App>>,
    Path(job): Path<String>,
    headers: HeaderMap,
    Sent(tried): Sent<Tried>,
) -> Response {
    let words = language(&app, &headers);
    beside(move || {
        let open = match app.job(&job) {
            Ok(open) => open,
            Err(list) => return message(StatusCode::NOT_FOUND, faults(&words, &list)),
        };
        let mut open = locked(&open);
        let before = open.checked();
        let seen = Revision::named(&tried.rev);
        let tried = tried
            .edit(&mut open)
            .and_then(|edit| checked_with(&mut open, &edit, &seen).map(|after| (edit, after)));
        match tried {
            Ok((edit, after)) => {
                let form = Form::of(&words, &job, "templates", &before);
                Html(shown(&form, &edit, &after).into_string()).into_response()
            }
            Err(Refused::Faults(list)) => {
                message(StatusCode::UNPROCESSABLE_ENTITY, faults(&words, &list))
            }
            Err(Refused::Stale) => message(
                StatusCode::CONFLICT,
                html! { p .note.fault { "▲ " (words.t("stale.said")) } },
            ),
        }
    })
    .await
}

/// What is now and what would be, template by template.
fn shown(form: &Form<'_>, edit: &Edit, after: &Checked) -> Markup {
    let words = form.words;
    let all = |c: &Checked| c.job.as_ref().zip(c.prepared.as_ref()).map(|(j, p)| hands_of(j, p));
    let (now, then) = (all(form.checked), all(after));
    let wrong: Vec<_> = after.notes.iter().filter(|n| !n.warning).collect();
    let of = |all: &Option<Vec<HandsOf>>, id: &str| -> Vec<HandsOf> {
        all.iter().flatten().filter(|h| h.template == id).cloned().collect()
    };
    let mut ids: Vec<String> =
        now.iter().chain(&then).flatten().map(|h| h.template.clone()).collect();
    ids.dedup();
    let mut seen = std::collections::BTreeSet::new();
    ids.retain(|id| seen.insert(id.clone()));
    ids.retain(|id| of(&now, id) != of(&then, id));
    if let Edit::All(edits) = edit
        && edits.is_empty()
    {
        return html! { p .quiet { (words.t("moulds.same")) } };
    }
    html! {
        div .note {
            p { b { (words.t("moulds.would")) } }
            @if then.is_some() && ids.is_empty() { p { (words.t("moulds.no_piece")) } }
            @if then.is_some() { @for id in &ids {
                h3 { (id) }
                ul .pieces {
                    (hands(words, "moulds.now", form.checked, &of(&now, id)))
                    (hands(words, "moulds.then", after, &of(&then, id)))
                }
            } }
            @for note in &wrong { p .note.fault { "▲ " (words.said(&note.fault.what)) ". " (words.said(&note.fault.remedy)) } }
            @if let Ok(edit) = serde_json::to_value(edit) {
                p { (edit_button(form, &edit, "go", "", html! { (words.t("moulds.keep")) })) }
            }
        }
    }
}

/// The pieces of a template by hand, with a picture of one of each.
fn hands(words: &Words, when: &str, checked: &Checked, all: &[HandsOf]) -> Markup {
    let pieces = || checked.prepared.iter().flat_map(|p| &p.pieces);
    html! {
        @if all.is_empty() { li .piece { p .quiet { (words.t(when)) } p { "–" } } }
        @for h in all {
            li .piece {
                p .quiet { (words.t(when)) }
                @if let Some(piece) = pieces().find(|p| p.template == h.template && p.hand == h.hand) {
                    (PreEscaped(pictures::piece(piece)))
                }
                p { b { (h.pieces) " × " (hand_words(words, h.side.map(warpwise::job::Side::name), h.hand)) } }
                p .quiet { (words.t(if h.drawn_mirrored { "moulds.drawn_mirrored" } else { "moulds.drawn_as_is" })) }
            }
        }
    }
}

fn hand_words(words: &Words, side: Option<&str>, hand: Hand) -> String {
    let traced = words.find(&format!("choice.{}", pictures::hand_key(hand))).unwrap_or_default();
    match side.and_then(|s| words.find(&format!("choice.{s}"))) {
        Some(side) => format!("{side} ({traced})"),
        None => traced.to_string(),
    }
}

/// The hand of a piece in words, by its side where its mould says so.
pub fn hand(words: &Words, job: &Job, template: &str, hand: Hand) -> String {
    let side = job.side_of(template, hand == Hand::Mirrored);
    hand_words(words, side.map(warpwise::job::Side::name), hand)
}

/// The photo of a mould.
pub async fn photo(
    State(app): State<Arc<App>>,
    Path((job, index)): Path<(String, usize)>,
) -> Response {
    beside(move || {
        let found = app.job(&job).ok().and_then(|open| {
            let open = locked(&open);
            let values = warpwise::workshop::Values::of(open.draft.text());
            let name = values.get(&format!("mould.{index}.photo"))?;
            let dir = std::fs::canonicalize(open.draft.dir()).ok()?;
            let path = std::fs::canonicalize(dir.join(name)).ok()?;
            let inside = path.starts_with(&dir) && path.is_file();
            inside.then(|| std::fs::read(path).ok()).flatten()
        });
        let kind = match found.as_deref() {
            Some([0xff, 0xd8, 0xff, ..]) => "image/jpeg",
            Some([0x89, b'P', b'N', b'G', ..]) => "image/png",
            _ => return StatusCode::NOT_FOUND.into_response(),
        };
        ([(header::CONTENT_TYPE, kind)], found.unwrap_or_default()).into_response()
    })
    .await
}
