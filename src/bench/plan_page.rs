//! The cut plan: watched while it is made, and what came out.

use super::app::{App, beside, locked};
use super::form::Form;
use super::frame::{address, faults};
use super::guard::FILE_POLICY;
use super::words::Words;
use axum::extract::{Path, State};
use axum::http::{StatusCode, header};
use axum::response::sse::{Event, KeepAlive, Sse};
use axum::response::{IntoResponse, Response};
use futures_util::stream;
use maud::{Markup, PreEscaped, html};
use std::convert::Infallible;
use std::path::Component;
use std::sync::Arc;
use std::time::Duration;
use warpwise::cloth::Face;
use warpwise::ledger::{Ledger, OpenRoll};
use warpwise::plan::{Early, Plan};
use warpwise::run::Stop;
use warpwise::sheet;
use warpwise::units::show_number;
use warpwise::verify::Verified;
use warpwise::workshop::{LEDGER_FILE, OpenJob, PLAN_FOLDER, Phase, faults_of};

/// The step.
pub fn plan(form: &Form<'_>, open: &mut OpenJob) -> Markup {
    let words = form.words;
    let job = form.job;
    let running = open.planning.as_ref().map(|p| p.news());
    let is_running = open.planning.as_ref().is_some_and(|p| p.is_running());
    let planned = open.plan();
    let ([seconds, sets, seed], early) =
        asked_before(open, planned.as_ref().ok().and_then(Option::as_deref));
    html! {
        h1 { (words.t("step.plan")) }
        @if !form.checked.is_sound() {
            p .lead { (words.t("plan.faults_first")) }
            (form.all_notes())
        }
        @if let Some(stock) = unused_stock(form, open) {
            @let edit = serde_json::json!({ "set": { "at": "stock", "to": stock } });
            div #take-stock .note.warning {
                p { "! " (words.t("plan.no_stock")) }
                (super::buttons::edit_button(form, &edit, "", "", html! { (words.t("plan.take_stock")) }))
            }
        }
        (cut_by_others(form, planned.as_ref().ok().and_then(Option::as_deref)))
        form .inline hx-post=(address(job, "plan/begin")) hx-target="#step" hx-swap="innerHTML" {
            div .field { label for="seconds" { (words.t("plan.seconds")) } input #seconds name="seconds" value=(seconds) inputmode="numeric"; }
            div .field { label { input type="checkbox" name="early" value="yes" checked[early]; " " (words.t("plan.early")) } }
            div .field { label for="sets" { (words.t("plan.sets")) } input #sets name="sets" value=(sets) inputmode="numeric"; }
            div .field { label for="seed" { (words.t("plan.seed")) } input #seed name="seed" value=(seed) inputmode="numeric"; }
            button .go disabled[is_running || !form.checked.is_sound()] { "▶ " (words.t("plan.begin")) }
        }
        @if let Some(news) = &running {
            @if is_running {
                plan-watch data-done=(address(job, "plan"))
                    data-writing=(words.t("plan.writing")) data-begun=(words.t("plan.begun")) {
                    p .phase role="status" { (words.t("plan.begun")) }
                    progress max="1" value=(news.share) aria-label=(words.t("plan.progress")) {}
                    p .lengths {}
                    button type="button" hx-post=(address(job, "plan/stop")) hx-swap="none" {
                        "■ " (words.t("plan.stop"))
                    }
                }
                @let (unit, mm) = words.units.long_unit();
                plan-picture data-live=(address(job, "plan/live")) data-unit=(unit) data-mm=(mm)
                    data-label=(words.t("plan.picture")) {
                }
                p .quiet { (words.t("plan.picture_signs")) }
            } @else if news.phase == Phase::Refused {
                p .note.fault { "▲ " (words.t("plan.refused")) }
                (faults(words, &news.faults))
            }
        }
        @let learnt = super::learnt::section(words, open, planned.as_ref().ok().and_then(|p| p.as_ref()).map(|p| p.plan()));
        @match planned {
            Err(list) => { h2 { (words.t("plan.unreadable")) } (faults(words, &list)) }
            Ok(None) => @if !is_running { p .quiet { (words.t("plan.none")) } },
            Ok(Some(verified)) => {
                @if is_running { p .quiet { (words.t("plan.old")) } }
                @let cut = open.begun_to_cut();
                @if cut > 0 { p .note.warning { "! " (words.with("plan.cut_in_part", &[&cut.to_string()])) } }
                (super::cut_page::changed(words, &open.changed_since_planned(), None))
                @if let Some(now) = &form.checked.job { (super::job_cloths::changed(words, verified.plan(), now)) }
                @if !is_running && cut == 0 && let Some(more) = open.longer_than_before() { (worse(form, &verified.plan().id, more)) }
                (figures(form, verified.plan()))
                (overview(words, &verified))
                p {
                    @if !is_running { a .button href=(address(job, "by-hand")) { (words.t("hand.open")) } " " }
                    a .button href=(address(job, "plan/file/report.html")) target="_blank" { (words.t("plan.report")) } " "
                    a .button href=(address(job, "sheets")) { (words.t("step.sheets")) " →" }
                }
            }
        }
        (learnt)
    }
}

/// That the plan before took less cloth, and the way back to it.
fn worse(form: &Form<'_>, plan: &str, more: f64) -> Markup {
    let words = form.words;
    html! {
        form .note.warning hx-post=(address(form.job, "plan/back")) hx-target="#step" hx-swap="innerHTML" {
            p { "! " (words.with("plan.worse", &[&words.units.long(more)])) }
            input type="hidden" name="plan" value=(plan);
            button { "↶ " (words.t("plan.back")) }
        }
    }
}

/// Rolls of the job's cloths that another plan has begun to cut: what is still to come of it lies
/// there.
fn cut_by_others(form: &Form<'_>, plan: Option<&Verified>) -> Markup {
    let words = form.words;
    let Some(job) = &form.checked.job else { return html! {} };
    let Some(file) = job.stock.as_deref().filter(|f| f.is_file()) else { return html! {} };
    let open = match Ledger::read(file).and_then(|l| l.open_rolls()) {
        Ok(open) => open,
        Err(trouble) => return faults(words, &faults_of(trouble)),
    };
    let is_own = |roll: &OpenRoll| plan.is_some_and(|p| roll.is_cut_for(p.plan()));
    let is_its = |roll: &&OpenRoll| job.cloths.iter().any(|c| c.id == roll.cloth) && !is_own(roll);
    html! {
        @for roll in open.iter().filter(is_its) {
            p .note.warning { "! " (words.with("plan.cut_by_others", &[&roll.id, &roll.jobs.join(", "), &roll.places.to_string()])) }
        }
    }
}

/// The workshop's ledger as the job would name it, if there is one and the job names none.
fn unused_stock(form: &Form<'_>, open: &OpenJob) -> Option<String> {
    let dir = open.draft.dir();
    let is_there =
        |dir: Option<&std::path::Path>| dir.is_some_and(|d| d.join(LEDGER_FILE).exists());
    if form.checked.values.has("stock") {
        return None;
    }
    match (is_there(Some(dir)), is_there(dir.parent())) {
        (true, _) => Some(LEDGER_FILE.to_string()),
        (false, true) => Some(format!("../{LEDGER_FILE}")),
        (false, false) => None,
    }
}

/// Seconds, sets and seed as they were asked for last, here or of the plan that is there; and whether
/// the search may end early.
fn asked_before(open: &OpenJob, plan: Option<&Verified>) -> ([String; 3], bool) {
    let stop = |stop: Stop| match stop {
        Stop::After(time) => Some(time.as_secs_f64()),
        Stop::Effort(_) => None,
    };
    let of_plan = plan.map(|p| (p.plan().seconds, 1, p.plan().seed));
    let (seconds, sets, seed) =
        open.asked.map(|a| (stop(a.stop), a.sets, a.seed)).or(of_plan).unwrap_or((None, 1, 1));
    let early = open.asked.is_none_or(|a| a.early);
    ([show_number(seconds.unwrap_or(20.0), 3), sets.to_string(), seed.to_string()], early)
}

/// All layouts in one picture.
pub fn overview(words: &Words, plan: &Verified) -> Markup {
    // Nothing in it is drawn to be measured, so that all words in it may be said otherwise.
    let svg = words.units.said(&sheet::overview(plan));
    let placed = || plan.plan().stocks.iter().flat_map(|s| &s.placed);
    let down = placed().filter(|p| p.face == Face::Down).count();
    html! {
        figure .overview {
            (PreEscaped(without_head(&svg)))
            @if down > 0 { figcaption { (words.with("plan.face_down", &[&down.to_string()])) } }
        }
    }
}

/// An SVG file as it stands inside a page.
fn without_head(svg: &str) -> String {
    svg.find("<svg").map_or_else(String::new, |at| svg[at..].to_string())
}

/// The figures of each cloth.
pub fn figures(form: &Form<'_>, plan: &Plan) -> Markup {
    let (words, units) = (form.words, form.words.units);
    html! {
        @for caution in plan.drawn_from.iter().flat_map(|d| &d.cautions) { p .note.warning { "! " (words.read_line(caution)) } }
        div .wide tabindex="0" role="region" aria-label=(words.t("plan.figures")) { table {
            thead { tr {
                @for key in [words.t("plan.cloth"), words.t("plan.used"), words.t("plan.yield"), words.t("plan.least"), words.t("plan.offcuts"), words.t("plan.waste"), words.t("plan.mass"), words.t("plan.cost")] {
                    th scope="col" { (key) }
                }
            } }
            tbody { @for f in &plan.cloths { tr {
                th scope="row" { (f.cloth) }
                td { (units.long(f.used_length)) }
                td { (format!("{:.1} %", f.yield_ * 100.0)) }
                td title=(words.read(&f.least_length_by)) { (units.long(f.least_length)) }
                td { (units.area(f.offcuts_area)) }
                td { (units.area(f.waste_area)) }
                td { (f.mass.map_or_else(|| "–".into(), |m| units.mass(m))) }
                td { (f.cost.map_or_else(|| "–".into(), |c| format!("{c:.2} {}", plan.currency))) }
            } } }
        } }
        @for (f, early) in plan.cloths.iter().filter_map(|f| f.early.as_ref().map(|e| (f, e))) {
            @let seconds = show_number(early.seconds, 1);
            @let why = match early.why {
                Early::Least => words.with("plan.early_least", &[&f.cloth, &seconds]),
                Early::Again => words.with("plan.early_again", &[&f.cloth, &seconds]),
                Early::Slow => words.with("plan.early_slow", &[&f.cloth, &seconds]),
            };
            p .quiet { (why) }
        }
        @if !plan.warnings.is_empty() {
            details { summary { (words.with("plan.warnings", &[&plan.warnings.len().to_string()])) } ul { @for w in &plan.warnings { li { (words.read_line(w)) } } } }
        }
    }
}

/// How often a picture is looked at that is drawn live.
const LOOK: Duration = Duration::from_millis(80);

/// The layout as it gets better: what it lies on, then where each piece lies, again and again.
pub async fn live(State(app): State<Arc<App>>, Path(job): Path<String>) -> Response {
    let planning = tokio::task::spawn_blocking(move || {
        let open = app.job(&job).ok()?;
        locked(&open).planning.clone()
    });
    let Ok(Some(planning)) = planning.await else {
        return StatusCode::NO_CONTENT.into_response();
    };
    // Numbers of ground and layout that were told of each cloth.
    let state = (planning, Vec::<[u64; 2]>::new());
    let events = stream::unfold(state, |(planning, mut told)| async move {
        loop {
            // Asked first, so that the last layouts are told too.
            let is_running = planning.is_running();
            let pictures = planning.pictures();
            told.resize(told.len().max(pictures.len()), [0, 0]);
            for (at, picture) in pictures.iter().enumerate() {
                let event = if picture.ground_number != told[at][0] {
                    told[at][0] = picture.ground_number;
                    Event::default().event("ground").json_data((at, &*picture.ground))
                } else if picture.layout_number != told[at][1] {
                    told[at][1] = picture.layout_number;
                    Event::default().event("layout").json_data((at, &*picture.layout))
                } else {
                    continue;
                };
                return event.ok().map(|e| (Ok::<_, Infallible>(e), (planning, told)));
            }
            if !is_running {
                return None;
            }
            tokio::time::sleep(LOOK).await;
        }
    });
    Sse::new(events).keep_alive(KeepAlive::new()).into_response()
}

/// A file of the plan folder, or a picture beside the job, shown as it is and without power over
/// the page.
pub async fn file(
    State(app): State<Arc<App>>,
    Path((job, file)): Path<(String, String)>,
) -> Response {
    beside(move || {
        let nothing = || StatusCode::NOT_FOUND.into_response();
        let kind = match file.rsplit('.').next() {
            Some("html") => "text/html; charset=utf-8",
            Some("svg") => "image/svg+xml",
            Some("pdf") => "application/pdf",
            Some("csv") => "text/csv; charset=utf-8",
            Some("json") => "application/json",
            _ => return nothing(),
        };
        let Ok(open) = app.job(&job) else {
            return nothing();
        };
        let folder = locked(&open).draft.dir().join(PLAN_FOLDER);
        let path = folder.join(&file);
        let below =
            std::path::Path::new(&file).components().all(|c| matches!(c, Component::Normal(_)));
        let real = std::fs::canonicalize(&path)
            .ok()
            .zip(std::fs::canonicalize(&folder).ok())
            .filter(|(p, f)| below && p.starts_with(f));
        let Some((real, _)) = real.filter(|(p, _)| p.is_file()) else {
            return nothing();
        };
        match std::fs::read(real) {
            Ok(bytes) => (
                [(header::CONTENT_TYPE, kind), (header::CONTENT_SECURITY_POLICY, FILE_POLICY)],
                bytes,
            )
                .into_response(),
            Err(_) => nothing(),
        }
    })
    .await
}
