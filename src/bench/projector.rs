//! The projector: the page on which a bench is set up, its error told, and its lines chosen.

use super::app::{App, beside, locked};
use super::frame::{self, faults, message, page};
use super::visit::Visit;
use super::words::Words;
use axum::body::Bytes;
use axum::extract::{Form as Sent, Query};
use axum::http::StatusCode;
use axum::response::{Html, IntoResponse, Response};
use maud::{Markup, html};
use serde::Deserialize;
use std::sync::Arc;
use warpwise::day::Day;
use warpwise::fault::{Fault, Faults};
use warpwise::project::{Fit, Grid, Marked, PLACES};
use warpwise::units::show_number;
use warpwise::workshop::{
    Bench, Colour, How, Projecting, Shown, Standing, Style, TRUE_WITHIN, bench_in_photo, benches,
};

/// The set-up page.
pub async fn show(Visit { app, words, .. }: Visit) -> Response {
    beside(move || {
        let main = main(&app, &words, html! {});
        page(&words, words.t("throw.title"), html! {}, html! {}, main)
    })
    .await
}

/// Makes a change and shows the page as it is then.
async fn changed(
    Visit { app, words, .. }: Visit,
    change: impl FnOnce(&Words, &mut Projecting) -> Result<Markup, Faults> + Send + 'static,
) -> Response {
    beside(move || {
        let made = change(&words, &mut locked(&app.projecting));
        match made {
            Ok(said) => Html(main(&app, &words, said).into_string()).into_response(),
            Err(list) => message(StatusCode::UNPROCESSABLE_ENTITY, faults(&words, &list)),
        }
    })
    .await
}

/// A tenth of a mm: more would be said than is known.
pub fn error(words: &Words, mm: f64) -> String {
    words.units.length((mm * 10.0).round() / 10.0)
}

fn main(app: &App, words: &Words, said: Markup) -> Markup {
    let mut projecting = locked(&app.projecting);
    let name = projecting.name();
    let found = projecting.bench();
    html! {
        (said)
        h1 { (words.t("throw.title")) }
        p .lead { (words.t("throw.lead")) }
        aside .caution { p { (words.t("throw.caution")) } }
        (chosen(app, words, name.as_ref().ok().and_then(|n| n.as_deref())))
        @if let Err(list) = &name { (faults(words, list)) }
        @if let Ok(Some(name)) = &name {
            @match &found {
                Err(list) => (faults(words, list)),
                Ok(found) => (standing(words, name, found.as_ref(), &mut projecting)),
            }
            (by_hand(words, projecting.shown()))
            (by_photo(words))
            @if let Ok(Some((bench, fit))) = &found {
                (test(words, bench, fit))
                (style(words, bench.style))
            }
        }
        section .card {
            h2 { (words.t("throw.keys")) }
            p { (words.t("throw.keys_how")) }
            key-learner data-words=(key_words(words)) {}
        }
        script type="module" src="/asset/projector-view.js" {}
    }
}

/// Words of the keys.
fn key_words(words: &Words) -> String {
    let keys = [
        ("next", words.t("throw.next")),
        ("previous", words.t("throw.previous")),
        ("next-window", words.t("throw.next_window")),
        ("previous-window", words.t("throw.previous_window")),
        ("learn", words.t("throw.learn")),
        ("press", words.t("throw.press")),
        ("usual", words.t("throw.usual")),
    ];
    serde_json::Value::Object(keys.map(|(k, v)| (k.to_string(), v.into())).into_iter().collect())
        .to_string()
}

fn chosen(app: &App, words: &Words, name: Option<&str>) -> Markup {
    let kept = benches(app.folder.root()).unwrap_or_default();
    html! {
        section .card {
            h2 { (words.t("throw.bench")) }
            form .inline hx-post="/projector/bench" hx-target="#step" hx-swap="innerHTML" {
                div .field {
                    label for="bench" { (words.t("throw.bench_name")) }
                    input #bench name="name" list="benches" required maxlength="60"
                        autocomplete="off" value=(name.unwrap_or_default());
                    datalist #benches { @for b in &kept { option value=(b.name) {} } }
                }
                button { (words.t("throw.choose")) }
            }
            @if name.is_some() {
                p {
                    a .button href="/projector/throw" target="warpwise-projector" {
                        (words.t("throw.open"))
                    }
                }
                p .quiet { (words.t("throw.open_how")) }
            }
        }
    }
}

/// A button that shows something or answers.
fn button(at: &str, field: &str, value: &str, label: &str, go: bool) -> Markup {
    html! {
        button type="button" .go[go] hx-post=(at) hx-target="#step" hx-swap="innerHTML"
            hx-vals=(serde_json::json!({ field: value }).to_string()) { (label) }
        " "
    }
}

fn shows(words: &Words, what: &'static str) -> Markup {
    let label = match what {
        "pattern" => words.t("throw.show_pattern"),
        "test" => words.t("throw.show_test"),
        "check" => words.t("throw.show_check"),
        _ => words.t("throw.show_nothing"),
    };
    button("/projector/show", "what", what, label, false)
}

fn standing(
    words: &Words,
    name: &str,
    found: Option<&(Bench, Arc<Fit>)>,
    projecting: &mut Projecting,
) -> Markup {
    let standing = projecting.standing().unwrap_or(Standing::NotSetUp);
    let answers = |to: &'static str, label: &'static str, go: bool| {
        button("/projector/answer", "to", to, words.t(label), go)
    };
    html! {
        section #standing .card aria-live="polite" {
            h2 { (words.with("throw.standing", &[name])) }
            @match standing {
                Standing::NotSetUp => p { "○ " (words.t("throw.not_set_up")) },
                Standing::Moved => p .note.fault { "▲ " (words.t("throw.moved")) },
                Standing::Unchecked => {
                    p .note.warning { "! " (words.t("throw.on_mark")) }
                    p {
                        (shows(words, "check"))
                        (answers("on", "throw.on_mark_yes", true))
                        (answers("off", "throw.on_mark_no", false))
                    }
                },
                Standing::Untrue(mm) => {
                    p .note.warning {
                        "! " (words.with("throw.untrue", &[&error(words, mm), &error(words, TRUE_WITHIN)]))
                    }
                    p { (answers("yes", "throw.say_yes", false)) }
                },
                Standing::Ready => p { "✓ " (words.t("throw.ready")) },
            }
            @if let Some((bench, fit)) = found {
                p {
                    (words.t(match bench.how { How::Hand => "throw.made_hand", How::Photo => "throw.made_photo" }))
                    " " (bench.made) ". "
                    (words.with("throw.field", &[
                        &words.units.size(fit.field.width()), &words.units.size(fit.field.height()),
                    ]))
                }
                p .worst { b { (words.with("throw.worst", &[&error(words, fit.worst)])) } }
                p .quiet { (words.with("throw.residual", &[
                    &bench.known.marks.len().to_string(), &error(words, fit.residual),
                ])) }
                @if let Some(yes) = bench.yes {
                    p .quiet { (words.with("throw.yes_said", &[&yes.on.to_string(), &error(words, yes.error)])) }
                }
                details {
                    summary { (words.t("throw.by_place")) }
                    (by_place(words, fit))
                }
                p { (shows(words, "check")) (shows(words, "dark")) }
            }
        }
    }
}

/// The error by place, as one sees the picture: the highest row first.
fn by_place(words: &Words, fit: &Fit) -> Markup {
    let in_field = |mm: f64| show_number(mm / words.units.length_unit_mm(), 0);
    let mut rows: Vec<_> = fit.places.chunks(PLACES[0]).collect();
    rows.reverse();
    let decimals = if words.units.length_unit_mm() > 1.0 { 3 } else { 1 };
    html! {
        div .table-wrap {
            table .places {
                caption { (words.with("throw.by_place_how", &[words.units.length_unit()])) }
                thead { tr {
                    th scope="col" { (words.units.length_unit()) }
                    @for (at, _) in rows.first().copied().unwrap_or_default() {
                        th scope="col" { (in_field(at.x)) }
                    }
                } }
                tbody {
                    @for row in rows {
                        tr {
                            th scope="row" { (row.first().map_or_else(String::new, |p| in_field(p.0.y))) }
                            @for (_, mm) in row {
                                td { (show_number(mm / words.units.length_unit_mm(), decimals)) }
                            }
                        }
                    }
                }
            }
        }
    }
}

fn by_hand(words: &Words, shown: &Shown) -> Markup {
    let unit = words.units.length_unit();
    html! {
        section .card {
            h2 { (words.t("throw.by_hand")) }
            p { (words.units.said(words.t("throw.by_hand_how"))) }
            form .inline hx-post="/projector/show" hx-target="#step" hx-swap="innerHTML" {
                input type="hidden" name="what" value="marks";
                div .field {
                    label for="along" { (words.with("throw.along", &[unit])) }
                    input #along name="width" inputmode="decimal" autocomplete="off" required;
                }
                div .field {
                    label for="across" { (words.with("throw.across", &[unit])) }
                    input #across name="height" inputmode="decimal" autocomplete="off" required;
                }
                div .field {
                    label for="mesh" { (words.t("throw.mesh")) }
                    select #mesh name="mesh" {
                        option value="2" { (words.t("throw.mesh_4")) }
                        option value="3" { (words.t("throw.mesh_9")) }
                        option value="5" { (words.t("throw.mesh_25")) }
                    }
                }
                button { (words.t("throw.show_marks")) }
            }
            @if matches!(shown, Shown::Marks(_)) {
                p .note { (words.t("throw.drag")) }
                button .go #keep type="button" hx-post="/projector/keep" hx-target="#step" hx-swap="innerHTML" {
                    (words.t("throw.keep"))
                }
            }
        }
    }
}

fn by_photo(words: &Words) -> Markup {
    html! {
        section .card {
            h2 { (words.t("throw.by_photo")) }
            p { (words.t("throw.by_photo_how")) " " a href="/card" target="_blank" { (words.t("throw.cards")) } }
            p { (shows(words, "pattern")) }
            drop-zone .drop data-to="/projector/photo" data-failed=(words.t("bring.failed"))
                data-working=(words.t("bring.working")) {
                div .field {
                    label for="card" { (words.with("throw.card", &[words.units.length_unit()])) }
                    input #card data-with="card" inputmode="decimal" autocomplete="off"
                        value=(words.units.length_in_field("180"));
                }
                label .button for="dots" { (words.t("throw.photo")) }
                input #dots type="file" accept="image/jpeg,image/png";
                p .working role="status" {}
            }
        }
    }
}

fn test(words: &Words, bench: &Bench, fit: &Fit) -> Markup {
    let unit = words.units.length_unit();
    let Some(grid) = Grid::over(&fit.field) else {
        return html! {};
    };
    let worth = grid.worth_measuring();
    let meant = |[a, b]: &[String; 2]| {
        let ends = grid.named(a).zip(grid.named(b));
        ends.map_or_else(String::new, |(a, b)| {
            words.units.length((a.distance(b) * 10.0).round() / 10.0)
        })
    };
    html! {
        section .card {
            h2 { (words.t("throw.test")) }
            p { (words.units.said(words.t("throw.test_how"))) }
            p { (shows(words, "test")) }
            form hx-post="/projector/lengths" hx-target="#step" hx-swap="innerHTML" {
                ul .lengths-list {
                    @for (i, pair) in worth.iter().enumerate() {
                        @let id = format!("length-{i}");
                        li .field {
                            label for=(id) { (pair[0]) "–" (pair[1]) " (" (meant(pair)) ")" }
                            input type="hidden" name="a" value=(pair[0]);
                            input type="hidden" name="b" value=(pair[1]);
                            input id=(id) name="mm" inputmode="decimal" autocomplete="off";
                        }
                    }
                    li .field {
                        label for="own-a" { (words.t("throw.from")) } input #own-a name="a" autocomplete="off" maxlength="4";
                        label for="own-b" { (words.t("throw.to")) } input #own-b name="b" autocomplete="off" maxlength="4";
                        label for="own-mm" { (words.with("throw.measured", &[unit])) }
                        input #own-mm name="mm" inputmode="decimal" autocomplete="off";
                    }
                }
                button .go { (words.t("throw.tell")) }
            }
            @if !bench.known.lengths.is_empty() {
                h3 { (words.t("throw.was_measured")) }
                ul {
                    @for l in &bench.known.lengths {
                        li { (l.name) ": " (words.units.length(l.mm)) ", "
                            (words.with("throw.off_by", &[&error(words, l.mm - l.meant)])) }
                    }
                }
                p .quiet { (words.t("throw.taken_in")) }
                (button("/projector/forget", "all", "1", words.t("throw.forget"), false))
            }
        }
    }
}

fn style(words: &Words, style: Style) -> Markup {
    html! {
        section .card {
            h2 { (words.t("throw.style")) }
            form .inline hx-post="/projector/style" hx-trigger="change" hx-target="#step" hx-swap="innerHTML" {
                div .field {
                    label for="pen" { (words.t("throw.pen")) }
                    input #pen type="number" name="width" min="1" max="12" value=(style.width);
                }
                div .field {
                    label for="colour" { (words.t("throw.colour")) }
                    select #colour name="colour" {
                        @for colour in Colour::ALL {
                            option value=(colour.name()) selected[colour == style.colour] {
                                (words.t(&format!("throw.{}", colour.name())))
                            }
                        }
                    }
                }
                div .field {
                    label for="brightness" { (words.t("throw.brightness")) }
                    input #brightness type="number" name="brightness" min="10" max="100" step="10"
                        value=(style.brightness);
                }
            }
        }
    }
}

/// A bench by its name.
#[derive(Deserialize)]
pub struct Named {
    name: String,
}

/// Works at a bench.
pub async fn choose(visit: Visit, Sent(sent): Sent<Named>) -> Response {
    changed(visit, move |_, p| p.choose(&sent.name).map(|()| html! {})).await
}

/// What to show.
#[derive(Deserialize)]
pub struct What {
    what: String,
    #[serde(default)]
    width: String,
    #[serde(default)]
    height: String,
    mesh: Option<usize>,
}

/// Shows marks, dots, the test picture, check marks or nothing.
pub async fn show_what(visit: Visit, Sent(sent): Sent<What>) -> Response {
    changed(visit, move |words, p| {
        let mm = |text: &str| words.units.parse_length(text).unwrap_or(f64::NAN);
        p.show(match sent.what.as_str() {
            "marks" => Shown::Marks(Marked::new(
                mm(&sent.width),
                mm(&sent.height),
                sent.mesh.unwrap_or(0),
            )?),
            "pattern" => Shown::Pattern,
            "test" => Shown::Test,
            "check" => Shown::Check,
            _ => Shown::Dark,
        })
        .map(|()| html! {})
    })
    .await
}

fn check_marks_too(words: &Words) -> Markup {
    html! { p .note { "✓ " (words.t("throw.kept")) } }
}

/// Keeps what the dragged crosses make.
pub async fn keep(visit: Visit) -> Response {
    changed(visit, |words, p| p.keep_marks(Day::today()).map(|()| check_marks_too(words))).await
}

/// What is said of a photo.
#[derive(Deserialize)]
pub struct About {
    #[serde(default)]
    card: String,
}

/// Keeps what a photo of the dots makes.
pub async fn photo(
    Visit { app, words, .. }: Visit,
    Query(about): Query<About>,
    bytes: Bytes,
) -> Response {
    beside(move || {
        let card = words.units.parse_length(&about.card).unwrap_or(f64::NAN);
        // Looking takes its time: what is thrown goes on meanwhile.
        let picture = locked(&app.projecting).open_picture();
        let kept = picture.and_then(|picture| bench_in_photo(picture, &bytes, card)).and_then(
            |(known, doubts)| {
                locked(&app.projecting).keep_photo(known, Day::today())?;
                Ok(doubts)
            },
        );
        match kept {
            Ok(doubts) => {
                let said = html! {
                    (check_marks_too(&words))
                    @for d in &doubts { p .note.warning { "! " (words.line(d)) } }
                };
                Html(main(&app, &words, said).into_string()).into_response()
            }
            Err(list) => message(StatusCode::UNPROCESSABLE_ENTITY, faults(&words, &list)),
        }
    })
    .await
}

/// Lengths of the test picture; fields left empty are none.
pub async fn lengths(visit: Visit, Sent(sent): Sent<Vec<(String, String)>>) -> Response {
    changed(visit, move |words, p| {
        let of = |key: &str| {
            sent.iter().filter(|(k, _)| k == key).map(|(_, v)| v.trim()).collect::<Vec<_>>()
        };
        let (mut all, mut wrong) = (Vec::new(), Faults::new());
        for ((a, b), typed) in of("a").into_iter().zip(of("b")).zip(of("mm")) {
            if typed.is_empty() {
                continue;
            }
            match words.units.parse_length(typed) {
                Ok(mm) => all.push(([a.to_string(), b.to_string()], mm)),
                Err(fault) => wrong.push(fault.on(format!("{a}-{b}"))),
            }
        }
        wrong.into_result(())?;
        if all.is_empty() {
            let (what, remedy) = (words.t("throw.nothing_measured"), words.t("throw.measure_two"));
            return Err(Fault::new(what, remedy).into());
        }
        p.measured(&all).map(|()| html! {})
    })
    .await
}

/// Forgets them.
pub async fn forget(visit: Visit) -> Response {
    changed(visit, |_, p| p.forget_lengths().map(|()| html! {})).await
}

/// An answer to what the page asks.
#[derive(Deserialize)]
pub struct Answered {
    to: String,
}

/// Check marks that lie on theirs or do not, and a yes to an error.
pub async fn answer(visit: Visit, Sent(sent): Sent<Answered>) -> Response {
    changed(visit, move |words, p| {
        match sent.to.as_str() {
            "on" => p.on_its_mark(true),
            "off" => p.on_its_mark(false),
            "yes" => p.say_yes(Day::today()),
            _ => Err(Fault::new(words.t("refused.nothing"), words.t("refused.look")).into()),
        }
        .map(|()| html! {})
    })
    .await
}

/// How lines are thrown.
pub async fn styled(visit: Visit, Sent(sent): Sent<Style>) -> Response {
    changed(visit, move |_, p| p.styled(sent).map(|()| html! {})).await
}

/// The way to the projector's page, for other pages.
pub fn way(words: &Words) -> Markup {
    html! { a .button href="/projector" { (words.t("throw.title")) } }
}

/// A page of the projector's that cannot be shown.
pub fn refused(words: &Words, list: &Faults) -> Response {
    frame::refused(words, StatusCode::UNPROCESSABLE_ENTITY, list)
}
