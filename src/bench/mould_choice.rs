//! Another mould of a template or other values of a mould, and what that makes of the pieces.

use super::app::{beside, locked};
use super::form::Form;
use super::frame::{faults, message};
use super::job_page::{around, main, stale};
use super::moulds::{DECIDING, hand_words};
use super::pictures;
use super::visit::Visit;
use super::words::Words;
use axum::extract::{Form as Sent, Path};
use axum::http::StatusCode;
use axum::response::{Html, IntoResponse, Response};
use maud::{Markup, PreEscaped, html};
use serde::Deserialize;
use std::sync::Arc;
use warpwise::workshop::{
    Checked, Edit, HandsOf, OpenJob, Refused, Revision, hands_of, template_of_mould,
};

/// What was chosen: other values of a mould, or another mould of a template.
#[derive(Deserialize)]
pub struct Chosen {
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

impl Chosen {
    /// The section it is of.
    fn at(&self) -> String {
        match self.template {
            Some(index) => format!("template.{index}"),
            None => format!("mould.{}", self.mould.unwrap_or_default()),
        }
    }

    fn edit(&self, checked: &Checked) -> Result<Edit, Refused> {
        let values = &checked.values;
        if let Some(index) = self.template {
            return Ok(template_of_mould(values, index, &self.of)?);
        }
        let at = self.at();
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
        Ok(Edit::All(DECIDING.into_iter().zip(typed).filter_map(one).collect()))
    }
}

/// Keeps what was chosen, and shows what that made of the pieces.
pub async fn chosen(
    Visit { app, words, .. }: Visit,
    Path(job): Path<String>,
    Sent(sent): Sent<Chosen>,
) -> Response {
    beside(move || {
        let open = match app.job(&job) {
            Ok(open) => open,
            Err(list) => return message(StatusCode::NOT_FOUND, faults(&words, &list)),
        };
        let mut open = locked(&open);
        let step = "templates";
        let seen = Revision::named(&sent.rev);
        match kept(&mut open, &sent, &seen) {
            Ok(before) => {
                let after = open.checked();
                let form = Form::of(&words, &job, step, &before);
                let said = shown(&form, &after);
                let main = main(&words, &job, step, &mut open, Some((sent.at(), said)));
                let around = around(&words, &job, step, &mut open);
                Html(html! { (main) (around) }.into_string()).into_response()
            }
            Err(Refused::Faults(list)) => {
                message(StatusCode::UNPROCESSABLE_ENTITY, faults(&words, &list))
            }
            Err(Refused::Stale) => stale(&words, &job, step, ""),
        }
    })
    .await
}

/// The job as it was before the choice was kept.
fn kept(open: &mut OpenJob, sent: &Chosen, seen: &Revision) -> Result<Arc<Checked>, Refused> {
    open.draft.refresh()?;
    if open.draft.revision() != *seen {
        return Err(Refused::Stale);
    }
    let before = open.checked();
    open.draft.edit(&sent.edit(&before)?, seen)?;
    Ok(before)
}

/// What was and what is, template by template.
fn shown(form: &Form<'_>, after: &Checked) -> Markup {
    let words = form.words;
    let all = |c: &Checked| c.job.as_ref().zip(c.prepared.as_ref()).map(|(j, p)| hands_of(j, p));
    let (before, now) = (all(form.checked), all(after));
    let of = |all: &Option<Vec<HandsOf>>, id: &str| -> Vec<HandsOf> {
        all.iter().flatten().filter(|h| h.template == id).cloned().collect()
    };
    let mut ids: Vec<String> =
        before.iter().chain(&now).flatten().map(|h| h.template.clone()).collect();
    let mut seen = std::collections::BTreeSet::new();
    ids.retain(|id| seen.insert(id.clone()));
    ids.retain(|id| of(&before, id) != of(&now, id));
    html! {
        div .note {
            p { "✓ " b { (words.t(if now.is_some() && ids.is_empty() { "moulds.no_piece" } else { "moulds.did" })) } }
            @if now.is_some() { @for id in &ids {
                h3 { (id) }
                ul .pieces {
                    (hands(words, "moulds.before", form.checked, &of(&before, id)))
                    (hands(words, "moulds.now", after, &of(&now, id)))
                }
            } }
            @for note in after.notes.iter().filter(|n| !n.warning) {
                p .note.fault { "▲ " (words.said(&note.fault.what)) ". " (words.said(&note.fault.remedy)) }
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
