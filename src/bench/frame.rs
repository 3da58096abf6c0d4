//! The frame of every page: head, rail of steps, notes.

use super::words::Words;
use axum::http::StatusCode;
use axum::response::{Html, IntoResponse, Response};
use maud::{DOCTYPE, Markup, html};
use warpwise::fault::{Fault, Faults};
use warpwise::workshop::{Checked, Draft, Note, OpenJob};

/// The steps of the work, in order: name in the address.
pub const STEPS: [&str; 8] =
    ["templates", "cloths", "layers", "plies", "plan", "sheets", "cut", "lay"];

/// Steps on which nothing of the job's text is changed: they have no undo of it, which would be taken
/// for that of a tick.
const WITHOUT_EDITS: [&str; 3] = ["sheets", "cut", "lay"];

/// How a step stands.
#[derive(Clone, Copy, PartialEq, Eq)]
pub enum Standing {
    /// Nothing is wrong with it.
    Done,
    /// There is nothing in it yet.
    Open,
    /// Something in it is at fault.
    AtFault,
}

/// How each step of a job stands.
pub fn standings(open: &mut OpenJob, checked: &Checked) -> [Standing; STEPS.len()] {
    let values = &checked.values;
    let faults = |prefixes: &[&str]| {
        let belongs = |n: &&Note| {
            n.at.as_deref()
                .is_some_and(|at| prefixes.iter().any(|p| at.split('.').next() == Some(p)))
        };
        checked.notes.iter().filter(|n| !n.warning).any(|n| belongs(&n))
    };
    let section = |names: &[&str], counted: &[&str]| {
        // A file that cannot be read is a fault of every step that is read from it.
        if values.is_broken() || faults(names) {
            Standing::AtFault
        } else if counted.iter().any(|n| values.count(n) > 0) {
            Standing::Done
        } else {
            Standing::Open
        }
    };
    let sound = checked.is_sound();
    let plies = match (&checked.prepared, checked.notes.iter().any(|n| !n.warning)) {
        (Some(prepared), false) if !prepared.pieces.is_empty() => Standing::Done,
        (_, true) => Standing::AtFault,
        _ => Standing::Open,
    };
    let plan = match open.plan() {
        Ok(Some(_)) => Standing::Done,
        Ok(None) => Standing::Open,
        Err(_) => Standing::AtFault,
    };
    let sheets = if plan == Standing::Done && sound { Standing::Done } else { Standing::Open };
    let [cut, laid] =
        open.bench_done().map(|done| if done { Standing::Done } else { Standing::Open });
    [
        section(&["template", "strip", "patch"], &["template", "strip"]),
        section(&["cloth"], &["cloth"]),
        section(&["layer", "splice", "debulk", "cure"], &["layer"]),
        plies,
        plan,
        sheets,
        cut,
        laid,
    ]
}

/// A whole page; `rail` and `tools` are of a job, where there is one.
pub fn page(words: &Words, title: &str, rail: Markup, tools: Markup, main: Markup) -> Response {
    let markup = html! {
        (DOCTYPE)
        html lang=(words.code) {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                meta name="htmx-config" content=r#"{"allowEval":false,"includeIndicatorStyles":false,"selfRequestsOnly":true,"historyCacheSize":0,"responseHandling":[{"code":"204","swap":false},{"code":"...","swap":true}]}"#;
                title { (title) " · warpwise" }
                link rel="stylesheet" href="/asset/page.css";
                link rel="icon" href="/asset/icon.svg" type="image/svg+xml";
                script src="/asset/htmx.min.js" defer {}
                script src="/asset/page.js" type="module" {}
            }
            body hx-sync="body:queue all" {
                a .skip href="#step" { (words.t("frame.skip")) }
                header .top {
                    a .home href="/" { (words.t("frame.workshop")) }
                    a .home href="/stock" { (words.t("frame.stock")) }
                    a .home href="/cloths" { (words.t("frame.cloths")) }
                    span .where { (title) }
                    (tools)
                    form .language method="get" action="/language" {
                        label .quiet for="language" { (words.t("frame.language")) }
                        select #language name="to" data-submits="" {
                            @for (code, name) in Words::languages() { option value=(code) selected[code == words.code] lang=(code) { (name) } }
                        }
                        noscript { button { "OK" } }
                    }
                }
                p #lost role="alert" hidden { "▲ " (words.t("frame.lost")) }
                section .messages aria-label=(words.t("frame.message")) {
                    div #message role="status" aria-live="polite" {}
                    button type="button" title=(words.t("frame.close")) { span aria-hidden="true" { "✕" } span .only-read { (words.t("frame.close")) } }
                }
                div .body {
                    (rail)
                    main #step tabindex="-1" { (main) }
                }
            }
        }
    };
    Html(markup.into_string()).into_response()
}

/// The rail of steps of a job.
pub fn rail(words: &Words, job: &str, here: &str, standings: &[Standing; STEPS.len()]) -> Markup {
    html! {
        nav #rail hx-swap-oob="true" aria-label=(words.t("frame.steps")) {
            ol {
                @for (i, (step, standing)) in STEPS.iter().zip(standings).enumerate() {
                    @let (class, sign, said) = match standing {
                        Standing::Done => ("done", "✓", words.t("standing.done")),
                        Standing::Open => ("open", "○", words.t("standing.open")),
                        Standing::AtFault => ("fault", "▲", words.t("standing.fault")),
                    };
                    li class=(class) {
                        a href=(address(job, step)) aria-current=[(*step == here).then_some("step")] {
                            span .number aria-hidden="true" { (i + 1) }
                            span .name { (words.t(&format!("step.{step}"))) }
                            span .sign title=(said) { span aria-hidden="true" { (sign) } span .only-read { (said) } }
                        }
                    }
                }
            }
        }
    }
}

/// Undo, redo and the revision that edits of a job are made on.
pub fn tools(words: &Words, job: &str, here: &str, open: &OpenJob) -> Markup {
    let at = |what: &str| address(job, what);
    tools_at(words, &at, here, &open.draft, Some(address(job, "watch")))
}

/// The same of any draft; `at` gives the addresses.
pub fn tools_at(
    words: &Words,
    at: &dyn Fn(&str) -> String,
    here: &str,
    draft: &Draft,
    watch: Option<String>,
) -> Markup {
    let (undo, redo) = draft.steps();
    let button = |way: &str, can: bool, sign: &str| {
        html! {
            button type="button" disabled[!can] hx-post=(at(way)) hx-vals=(format!("{{\"view\":\"{here}\"}}")) hx-include="#rev"
                hx-target="#step" hx-swap="innerHTML" title=(words.t(&format!("frame.{way}"))) {
                span aria-hidden="true" { (sign) } " " span .name { (words.t(&format!("frame.{way}"))) }
            }
        }
    };
    html! {
        div #tools hx-swap-oob="true" data-beside="" data-watch=[watch] data-view=(at(here)) {
            input #rev type="hidden" name="rev" value=(draft.revision().name());
            @if !WITHOUT_EDITS.contains(&here) {
                (button("undo", undo, "↶"))
                (button("redo", redo, "↷"))
            }
        }
    }
}

/// An address of a job's.
pub fn address(job: &str, what: &str) -> String {
    format!("/job/{}/{what}", encoded(job))
}

/// Text as a step of an address: everything but letters, digits and `-._~` in per cent.
pub fn encoded(text: &str) -> String {
    let plain = |b: u8| b.is_ascii_alphanumeric() || b"-._~".contains(&b);
    text.bytes()
        .map(|b| if plain(b) { char::from(b).to_string() } else { format!("%{b:02X}") })
        .collect()
}

/// What is to be said about a key, and its remedies as buttons.
pub fn notes<'n>(
    words: &Words,
    edits: &str,
    view: &str,
    found: impl Iterator<Item = &'n Note>,
) -> Markup {
    html! { @for note in found { (self::note(words, edits, view, note)) } }
}

fn note(words: &Words, edits: &str, view: &str, note: &Note) -> Markup {
    let (class, sign, kind) = if note.warning {
        ("warning", "!", words.t("note.warning"))
    } else {
        ("fault", "▲", words.t("note.fault"))
    };
    let mend = note.mend.as_ref().and_then(|edit| serde_json::to_string(edit).ok());
    html! {
        p class=(format!("note {class}")) {
            span .sign aria-hidden="true" { (sign) " " } span .only-read { (kind) ": " }
            (words.units.said(&place_words(&words.fault(&note.fault)))) (words.said(&note.fault.what)) "."
            @if !note.fault.remedy.is_empty() { " " span .remedy { (sentence(&words.said(&note.fault.remedy))) } }
            @if let (Some(mend), Some(line)) = (mend, note.fault.to_paste()) {
                " "
                button type="button" .mend hx-post=(edits) hx-include="#rev" hx-target="#step" hx-swap="innerHTML"
                    hx-vals=(serde_json::json!({ "edit": mend, "view": view }).to_string()) { (words.t("note.mend")) ": " code { (line) } }
            }
        }
    }
}

fn place_words(fault: &Fault) -> String {
    use warpwise::fault::Place;
    match &fault.place {
        Place::Named(name) => format!("{name}: "),
        Place::At { what, x, y } => format!("{what} ({x:.1}, {y:.1}) mm: "),
        Place::Whole | Place::Line { .. } => String::new(),
    }
}

fn sentence(words: &str) -> String {
    let mut letters = words.chars();
    letters.next().map_or_else(String::new, |first| {
        first.to_uppercase().chain(letters).chain(['.']).collect()
    })
}

/// Faults as a list.
pub fn faults(words: &Words, list: &Faults) -> Markup {
    html! {
        ul .faults { @for fault in &list.0 { li .note.fault { span aria-hidden="true" { "▲ " } (words.line(fault)) } } }
    }
}

/// A refusal of a page or part of it.
pub fn refused(words: &Words, status: StatusCode, list: &Faults) -> Response {
    let main = html! { h1 { (words.t("refused.title")) } (faults(words, list)) p { a href="/" { (words.t("refused.back")) } } };
    (status, page(words, words.t("refused.title"), html! {}, html! {}, main)).into_response()
}

/// A message in the line at the head of the page, in answer to a request for a part of it.
pub fn message(status: StatusCode, words: Markup) -> Response {
    let headers = [("hx-retarget", "#message"), ("hx-reswap", "innerHTML")];
    (status, headers, Html(words.into_string())).into_response()
}
