//! The lay-up: layer by layer in laying order, with boxes, clocks, bag checks, notes and photos, and
//! the record at the end.

use super::app::{App, beside, locked};
use super::frame::{address, encoded, faults, message};
use super::guard::FILE_POLICY;
use super::ticks::{texts, told};
use super::visit::Visit;
use super::wall_clock::wall_clock;
use super::words::Words;
use axum::body::Bytes;
use axum::extract::{Form as Sent, Path, Query, State};
use axum::http::{StatusCode, header};
use axum::response::{Html, IntoResponse, Response};
use maud::{Markup, PreEscaped, html};
use serde::Deserialize;
use serde_json::json;
use sha2::{Digest, Sha256};
use std::sync::Arc;
use warpwise::layup::{
    Clock, ClockOf, LEAST_VACUUM, LayupSheet, MOST_LOSS, Progress, Step, clock_words, holds,
};
use warpwise::ledger::Moment;
use warpwise::sheet;
use warpwise::units::show_number;
use warpwise::verify::Verified;
use warpwise::workshop::{AtBench, CopyState, OpenJob};

/// What a number looks like as it is typed; its sign is judged where it is kept.
const NUMBER: &str = r"\s*-?\d+([.,]\d+)?\s*";

/// Words that the page says itself.
const TEXTS: [&str; 6] =
    ["bench.unsent", "bench.failed", "bench.link", "lay.rings", "lay.over", "lay.left"];

/// The step; at a second device nothing is written down.
pub fn lay(words: &Words, job: &str, open: &mut OpenJob, writes: bool) -> Markup {
    let now = Moment::now();
    let title = html! { h1 { (words.t("step.lay")) } };
    let bench = match open.at_bench(&now) {
        Ok(Some(bench)) => bench,
        Ok(None) => return html! { (title) p .lead { (words.t("cut.plan_first")) } },
        Err(list) => return html! { (title) (faults(words, &list)) },
    };
    let texts = texts(words, &TEXTS);
    html! {
        (title)
        (super::cut_page::changed(words, &Ok(bench.changed.clone()), writes.then_some(job)))
        lay-up data-bench=(address(job, "bench")) data-page=(address(job, "lay")) data-words=(texts)
            data-state=(told(&bench).to_string()) data-now=(now.seconds) {
            p .unsent role="status" aria-live="polite" {}
            dialog .ask aria-labelledby="ask" {
                h2 #ask { (words.t("lay.ask")) }
                ul {}
                button type="button" .tap.yes { (words.t("lay.despite")) } " "
                button type="button" .tap.no { (words.t("lay.not_yet")) }
            }
            @for (i, (sheet, progress)) in bench.lay_up.iter().enumerate() {
                @let one = One { words, job, bench: &bench, index: i, sheet, progress, writes };
                (one.all())
            }
        }
    }
}

/// What one job's lay-up is drawn with.
struct One<'a> {
    words: &'a Words,
    /// The job's name in addresses.
    job: &'a str,
    bench: &'a AtBench,
    index: usize,
    sheet: &'a LayupSheet,
    progress: &'a Progress,
    writes: bool,
}

impl One<'_> {
    fn all(&self) -> Markup {
        let (words, sheet, progress) = (self.words, self.sheet, self.progress);
        let now = (0..sheet.steps.len()).find(|s| !progress.is_done(sheet, *s));
        let ticked =
            (0..sheet.checks.len()).filter(|i| progress.is_on(&format!("check/{i}"))).count();
        let laying = progress.ticked.keys().any(|k| k.starts_with("laid/"));
        let open = ticked < sheet.checks.len() && !laying;
        html! {
            section .lay-up data-job=(sheet.job) {
                @if self.bench.lay_up.len() > 1 { h2 { (sheet.job) } }
                (self.who())
                (self.running())
                aside .caution {
                    p { "! " (words.t("lay.caution_skin")) }
                    p { "! " (words.t("lay.caution_sheet")) }
                }
                @for w in &sheet.warnings { p .note.warning { "! " (words.read_line(w)) } }
                details .card.checks id=(format!("checks-{}", self.index)) open[open] data-open=(open) {
                    summary { (words.t("lay.before")) " (" (ticked) "/" (sheet.checks.len()) ")" }
                    @for (i, check) in sheet.checks.iter().enumerate() {
                        (self.tick(&format!("check-{}-{i}", self.index), progress.is_on(&format!("check/{i}")), json!({ "check": { "index": i } }), html! { span { (on_screen(&words.read(check))) } }))
                        (self.wrote(i, check))
                    }
                }
                ol .steps {
                    @for (i, step) in sheet.steps.iter().enumerate() { (self.step(i, step, now == Some(i))) }
                }
                (self.bag(now.is_none()))
                (self.cure(now.is_none()))
                (self.after())
                (self.otherwise())
                @if self.writes { (self.record()) }
            }
        }
    }

    /// A box that does something.
    fn tick(&self, id: &str, on: bool, act: serde_json::Value, label: Markup) -> Markup {
        html! {
            label .tick for=(id) {
                input type="checkbox" id=(id) checked[on] data-act=(act.to_string());
                span { (label) }
            }
        }
    }

    /// What is written beside a check that asks for it.
    fn wrote(&self, index: usize, check: &str) -> Markup {
        let words = self.words;
        let text = self.progress.written.get(&index).map_or("", String::as_str);
        let id = format!("wrote-{}-{index}", self.index);
        html! {
            @if !self.writes {
                @if !text.is_empty() { p { (text) } }
            } @else if check.contains("__") || !text.is_empty() {
                div .inline data-form="" data-act=(json!({ "wrote": { "index": index } }).to_string()) {
                    div .field {
                        label for=(id) { (words.t("lay.wrote")) }
                        input id=(id) name="text" value=(text) maxlength="400" autocomplete="off";
                    }
                }
            }
        }
    }

    fn who(&self) -> Markup {
        let (words, p) = (self.words, self.progress);
        if !self.writes {
            return html! { @if !p.who.is_empty() || !p.part.is_empty() { p { (p.who) " · " (p.part) } } };
        }
        let field = |name: &str, value: &str| {
            let id = format!("{name}-{}", self.index);
            html! {
                div .field {
                    label for=(id) { (words.t(&format!("lay.{name}"))) }
                    input id=(id) name=(name) value=(value) maxlength="200" autocomplete="off";
                }
            }
        };
        html! {
            div .inline data-form="" data-act=(json!({ "who": {} }).to_string()) {
                (field("who", &p.who)) (field("part", &p.part))
            }
        }
    }

    /// Whether a clock runs.
    fn runs(&self, of: ClockOf) -> bool {
        self.progress.clock(of).is_some_and(|c| c.ended.is_none())
    }

    /// Said of a section whose clock runs.
    fn runs_mark(&self, runs: bool) -> Markup {
        html! { @if runs { " " span .tag { "◷ " (self.words.t("lay.runs")) } } }
    }

    /// The clocks that run, each with the way to its section.
    fn running(&self) -> Markup {
        let (words, sheet) = (self.words, self.sheet);
        let section = |of| match of {
            ClockOf::Debulk(step) => format!("#step-of-{}-{step}", self.index),
            ClockOf::Leak => format!("#bag-{}", self.index),
            ClockOf::Cure | ClockOf::Hold(_) => format!("#cure-{}", self.index),
        };
        html! {
            @for clock in self.progress.clocks.iter().filter(|c| c.ended.is_none()) {
                p .note { "◷ " a href=(section(clock.of)) {
                    (words.read(&clock_words(sheet, clock.of))) " · " (words.with("lay.begun", &[&wall_clock(clock.begun), &wall_clock(clock.rings())]))
                } }
            }
        }
    }

    fn step(&self, index: usize, step: &Step, now: bool) -> Markup {
        let (words, sheet, p) = (self.words, self.sheet, self.progress);
        let (done, runs) = (p.is_done(sheet, index), self.runs(ClockOf::Debulk(index)));
        let open = now || runs;
        let (class, sign, said) = match (done, now) {
            (_, true) => ("step now", "▶", words.t("lay.now")),
            _ if runs => ("step", "◷", words.t("lay.runs")),
            (true, _) => ("step done", "✓", words.t("standing.done")),
            _ => ("step", "○", words.t("standing.open")),
        };
        html! {
            li class=(class) {
                details id=(format!("step-of-{}-{index}", self.index)) open[open] data-open=(open) {
                    summary {
                        span .sign aria-hidden="true" { (sign) " " } span .only-read { (said) ": " }
                        b { (words.read(&step.what)) }
                        (self.runs_mark(runs))
                    }
                    @for note in &step.notes { p { (on_screen(&words.read(note))) } }
                    @for d in p.otherwise(step) { p .note.warning { "! " (wall_clock(d.at)) " · " (words.read(&d.what)) } }
                    @if step.layer.is_some() {
                        @if now { (pictures_of(self.words, &self.bench.plan, step)) } @else {
                            div .mould hx-get=(address(self.job, &format!("lay/step/{}/{index}", self.index)))
                                hx-trigger="toggle from:closest details once" hx-swap="innerHTML" {}
                        }
                        @if done { p .quiet { (words.t("lay.layer_done")) } }
                        div .laid-and-bare { @for tick in &step.ticks { @for copy in 1..=tick.copies {
                            (self.copy(index, &tick.piece, copy, &if tick.copies > 1 { format!("{} · copy {copy}", tick.label) } else { tick.label.clone() }))
                        } } }
                    } @else if step.minutes.is_some() {
                        (self.clock(ClockOf::Debulk(index), true))
                        (self.tick(&format!("step-{}-{index}", self.index), p.is_on(&format!("step/{index}")), json!({ "step": { "step": index } }), html! { (words.t("lay.step_done")) }))
                    } @else {
                        (self.tick(&format!("step-{}-{index}", self.index), p.is_on(&format!("step/{index}")), json!({ "step": { "step": index } }), html! { (words.t("lay.step_done")) }))
                    }
                    (self.kept(Some(index)))
                }
            }
        }
    }

    /// A copy with its two boxes.
    fn copy(&self, step: usize, piece: &str, copy: u32, label: &str) -> Markup {
        let (words, p) = (self.words, self.progress);
        let state = self.bench.states.get(&(piece.to_string(), copy));
        let id = format!("{}-{step}-{}-{copy}", self.index, encoded(piece).replace('%', "_"));
        let act = |what: &str| json!({ what: { "piece": piece, "copy": copy } });
        html! {
            div .copy-row {
                p { b { (words.read_parts(label)) } }
                @if matches!(state, Some(CopyState::Spoiled | CopyState::Again)) {
                    p .note.warning { "! " (words.t("lay.is_spoiled")) }
                } @else if state.is_none() {
                    p .quiet { (words.t("lay.not_cut")) }
                }
                (self.tick(&format!("laid-{id}"), p.is_copy("laid", piece, copy), act("laid"), html! { (words.t("lay.laid")) }))
                (self.tick(&format!("backing-{id}"), p.is_copy("backing", piece, copy), act("backing"), html! { (words.t("lay.backing")) }))
            }
        }
    }

    /// A clock: to begin, running, or how it ended.
    fn clock(&self, of: ClockOf, reads: bool) -> Markup {
        let words = self.words;
        let name = clock_words(self.sheet, of);
        let last = self.progress.clock(of);
        let running = last.filter(|c| c.ended.is_none());
        let minutes = match (of, running) {
            (_, Some(clock)) => clock.minutes,
            (ClockOf::Debulk(step), _) => {
                self.sheet.steps.get(step).and_then(|s| s.minutes).unwrap_or_default()
            }
            (ClockOf::Hold(k), _) => holds(self.sheet).get(k).map_or(0.0, |h| h.1),
            (ClockOf::Cure, _) => self.sheet.cure.last().map_or(0.0, |c| c.minutes),
            (ClockOf::Leak, _) => 5.0,
        };
        // How long a check runs, or a debulk of which the job says nothing, the person says.
        let may_say = match of {
            ClockOf::Leak => true,
            ClockOf::Debulk(step) => self.sheet.steps.get(step).is_some_and(|s| s.is_assumed),
            _ => false,
        };
        let id = serde_json::to_string(&of)
            .unwrap_or_default()
            .replace(|c: char| !c.is_ascii_alphanumeric(), "");
        let id = format!("{id}-{}", self.index);
        let vacuum = |key: &str| {
            html! { @if reads {
                div .field {
                    label for=(format!("vacuum-{id}")) { (words.t(key)) }
                    input id=(format!("vacuum-{id}")) name="vacuum" data-number="" pattern=(NUMBER) title=(words.t("lay.number")) inputmode="decimal" autocomplete="off";
                }
            } }
        };
        html! {
            div .clock data-form="" {
                @if let Some(clock) = running {
                    p { b { (words.read(&name)) } " · " (words.with("lay.begun", &[&wall_clock(clock.begun), &wall_clock(clock.rings())])) }
                    bench-clock data-ends=(clock.rings()) data-name=(name) { span .time role="timer" {} }
                    (vacuum("lay.vacuum_end"))
                    button type="button" .tap data-act=(json!({ "end": { "clock": of } }).to_string()) { "■ " (words.t("lay.end")) }
                } @else {
                    @if let Some(clock) = last { (self.ran(clock)) }
                    @if may_say {
                        div .field {
                            label for=(format!("minutes-{id}")) { (words.t("lay.minutes")) }
                            input id=(format!("minutes-{id}")) name="minutes" value=(show_number(minutes, 1)) data-number="" pattern=(NUMBER) title=(words.t("lay.number")) inputmode="decimal" autocomplete="off";
                        }
                    }
                    (vacuum("lay.vacuum_begin"))
                    button type="button" .tap data-act=(json!({ "begin": { "clock": of } }).to_string()) {
                        "▶ " (words.with(if last.is_some() { "lay.begin_again" } else { "lay.begin" }, &[&name]))
                        @if !may_say { " · " (show_number(minutes, 1)) " min" }
                    }
                }
            }
        }
    }

    /// A clock that was ended.
    fn ran(&self, clock: &Clock) -> Markup {
        let words = self.words;
        let kpa = |v: Option<f64>| v.map_or_else(|| "–".to_string(), |v| show_number(v, 1));
        let loss = clock.loss().filter(|_| clock.of == ClockOf::Leak);
        let early = clock.is_early();
        let sign = match (clock.of, clock.holds()) {
            (ClockOf::Leak, Some(false)) => "✕ ",
            // Without both readings it says nothing of the bag.
            (ClockOf::Leak, None) => "– ",
            _ if early => "! ",
            _ => "✓ ",
        };
        html! {
            p {
                (sign) (wall_clock(clock.begun)) " – " (clock.ended.map(wall_clock).unwrap_or_default())
                @if clock.vacuum != [None, None] { " · " (kpa(clock.vacuum[0])) " → " (kpa(clock.vacuum[1])) " kPa" }
                @if let Some(loss) = loss { " · " (words.with("lay.loss", &[&show_number(loss, 2)])) }
                @match (clock.of, clock.holds()) {
                    (ClockOf::Leak, Some(true)) => { " " span .tag { "✓ " (words.t("lay.tight")) } }
                    (ClockOf::Leak, Some(false)) => { " " span .tag.bad { "✕ " (words.t("lay.leaks")) } }
                    (ClockOf::Leak, None) => { " " span .tag { (words.t("lay.no_verdict")) } }
                    _ => {}
                }
                @if early { " " span .tag.bad { "! " (words.with("lay.early", &[&show_number(clock.ran(), 1), &show_number(clock.minutes, 1)])) } }
            }
        }
    }

    fn bag(&self, open: bool) -> Markup {
        let words = self.words;
        let runs = self.runs(ClockOf::Leak);
        let open = runs || (open && !self.progress.is_tight());
        html! {
            details .card id=(format!("bag-{}", self.index)) open[open] data-open=(open) {
                summary { (words.t("lay.bag")) @if self.progress.is_tight() { " ✓" } (self.runs_mark(runs)) }
                div .wide tabindex="0" role="region" aria-label=(words.t("lay.bag")) { table {
                    tbody { @for row in &self.sheet.bag { tr { @for cell in row { td { (words.read(cell)) } } } } }
                } }
                p { (words.with("lay.bag_how", &[&show_number(LEAST_VACUUM, 1), &show_number(MOST_LOSS, 1)])) }
                (self.clock(ClockOf::Leak, true))
            }
        }
    }

    fn cure(&self, open: bool) -> Markup {
        let (words, sheet) = (self.words, self.sheet);
        let holding = (0..holds(sheet).len()).any(|k| self.runs(ClockOf::Hold(k)));
        let runs = holding || self.runs(ClockOf::Cure);
        let open = open || runs;
        html! {
            details .card id=(format!("cure-{}", self.index)) open[open] data-open=(open) {
                summary { (words.t("lay.cure")) (self.runs_mark(runs)) }
                p .note.warning { "! " (words.t("lay.caution_cure")) }
                @if sheet.cure.is_empty() { p { (words.t("lay.no_cure")) } } @else {
                    @let begun = self.progress.clock(ClockOf::Cure).map(|c| c.begun);
                    ol { @for point in &sheet.cure { li {
                        (show_number(point.minutes, 0)) " min · " (show_number(point.temperature, 0)) " °C · " (words.read(&point.what))
                        @if let Some(begun) = begun { " · " (wall_clock(begun.saturating_add((point.minutes * 60.0) as i64))) }
                    } } }
                    @for note in &sheet.cure_notes { p .quiet { (words.read(note)) } }
                    (self.clock(ClockOf::Cure, true))
                    @for k in 0..holds(sheet).len() { (self.clock(ClockOf::Hold(k), false)) }
                }
            }
        }
    }

    fn after(&self) -> Markup {
        let (words, p) = (self.words, self.progress);
        let mass = |v: Option<f64>| v.map_or_else(String::new, |v| show_number(v, 1));
        html! {
            details .card id=(format!("after-{}", self.index)) data-open="false" {
                summary { (words.t("lay.after")) }
                p .note.warning { "! " (words.t("lay.caution_dust")) }
                @for (i, after) in self.sheet.after.iter().enumerate() {
                    (self.tick(&format!("after-{}-{i}", self.index), p.is_on(&format!("after/{i}")), json!({ "after": { "index": i } }), html! { span { (words.read(after)) } }))
                }
                (super::learnt::mass(words, self.bench.plan.plan(), p))
                @if self.writes {
                    div .inline data-form="" data-act=(json!({ "mass": {} }).to_string()) {
                        @for (name, value) in [("off_mould", p.mass[0]), ("finished", p.mass[1])] {
                            @let id = format!("{name}-{}", self.index);
                            div .field {
                                label for=(id) { (words.t(&format!("lay.{name}"))) }
                                input id=(id) name=(name) value=(mass(value)) data-number="" pattern=(NUMBER) title=(words.t("lay.number")) inputmode="decimal" autocomplete="off";
                            }
                        }
                    }
                }
            }
        }
    }

    /// Note and photos of a step.
    fn kept(&self, step: Option<usize>) -> Markup {
        let (words, p) = (self.words, self.progress);
        let id = format!("{}-{}", self.index, step.map_or_else(String::new, |s| s.to_string()));
        let note = p.note(step);
        let of = [
            ("of", self.sheet.job.clone()),
            ("kit", self.bench.kit.clone()),
            ("step", step.map_or_else(String::new, |s| s.to_string())),
        ];
        html! {
            div .kept {
                @if self.writes {
                    div .note-of data-form="" data-act=(json!({ "note": { "step": step } }).to_string()) {
                        label for=(format!("note-{id}")) { (words.t("lay.note")) }
                        textarea id=(format!("note-{id}")) name="text" rows="2" maxlength="4000" { (note) }
                    }
                } @else if !note.is_empty() { p { (note) } }
                div .photos {
                    @for photo in p.photos.iter().filter(|f| f.step == step) {
                        @let at = address(self.job, &format!("kit/{}", encoded(&photo.file)));
                        a href=(at) target="_blank" { img src=(at) alt=(words.with("lay.photo_of", &[&wall_clock(photo.at)])) loading="lazy"; }
                    }
                }
                drop-zone .drop data-to=(address(self.job, "lay/photo")) data-failed=(words.t("bring.failed"))
                    data-working=(words.t("bring.working")) {
                    @for (name, value) in of.iter().filter(|(_, value)| !value.is_empty()) {
                        input type="hidden" data-with=(name) value=(value);
                    }
                    label .button for=(format!("photo-{id}")) { (words.t("lay.photo")) }
                    input id=(format!("photo-{id}")) type="file" accept="image/jpeg,image/png" capture="environment";
                    p .working role="status" {}
                }
            }
        }
    }

    fn otherwise(&self) -> Markup {
        let p = self.progress;
        html! {
            @if !p.deviations.is_empty() {
                details .card {
                    summary { (self.words.t("lay.otherwise")) " (" (p.deviations.len()) ")" }
                    ul { @for d in &p.deviations { li { (wall_clock(d.at)) " · " (self.words.read(&d.what)) } } }
                }
            }
        }
    }

    fn record(&self) -> Markup {
        let words = self.words;
        let open = self.progress.open(self.sheet);
        html! {
            section .card {
                h2 { (words.t("lay.record")) }
                p { (words.t("lay.record_how")) }
                @if !open.is_empty() {
                    details { summary { (words.t("lay.open")) " (" (open.len()) ")" }
                        ul { @for o in &open { li { (words.read(o)) } } } }
                }
                (self.kept(None))
                form hx-post=(address(self.job, "lay/record")) hx-target="next .written" hx-swap="innerHTML" {
                    input type="hidden" name="of" value=(self.sheet.job);
                    button .go { (words.t("lay.write_record")) }
                }
                div .written role="status" {}
            }
        }
    }
}

/// Words of the printed sheet without the lines to write on.
fn on_screen(words: &str) -> String {
    let mut out = String::new();
    for letter in words.chars() {
        match letter {
            '_' if out.ends_with('…') => {}
            '_' => out.push('…'),
            other => out.push(other),
        }
    }
    out
}

/// The pictures of a layer's step as it lies on the mould.
fn pictures_of(words: &Words, plan: &Verified, step: &Step) -> Markup {
    let Some(layer) = step.layer else { return html! {} };
    let wanted = |t: &str| step.templates.iter().any(|w| w == t);
    html! {
        div .mould { @for (said, svg) in sheet::layer_pictures(plan, layer, &wanted) {
            figure { (PreEscaped(svg)) figcaption { (words.read(&said)) } }
        } }
        p .quiet { (words.t("lay.pictures")) }
    }
}

/// The pictures of a step that is opened.
pub async fn pictures(
    Visit { app, words, .. }: Visit,
    Path((job, sheet, step)): Path<(String, usize, usize)>,
) -> Response {
    beside(move || {
        let bench = app.job(&job).ok().and_then(|open| {
            let bench = locked(&open).at_bench(&Moment::now());
            bench.ok().flatten()
        });
        let found = bench.as_ref().and_then(|b| Some((b, b.lay_up.get(sheet)?.0.steps.get(step)?)));
        match found {
            Some((bench, step)) => {
                Html(pictures_of(&words, &bench.plan, step).into_string()).into_response()
            }
            None => StatusCode::NOT_FOUND.into_response(),
        }
    })
    .await
}

/// What a photo is of.
#[derive(Deserialize)]
pub struct OfPhoto {
    of: String,
    kit: String,
    step: Option<usize>,
}

/// Takes a photo of a step.
pub async fn photo(
    visit: Visit,
    job: Path<String>,
    about: Query<OfPhoto>,
    bytes: Bytes,
) -> Response {
    photo_from(visit, job, about, bytes, true).await
}

/// The same from either device.
pub async fn photo_from(
    Visit { app, words, .. }: Visit,
    Path(job): Path<String>,
    Query(about): Query<OfPhoto>,
    bytes: Bytes,
    writes: bool,
) -> Response {
    beside(move || {
        // The same photo of the same step is the same photo, however often it is sent.
        let hash = Sha256::digest(&bytes);
        let step = about.step.map_or_else(String::new, |s| s.to_string());
        let key: String = hash.iter().take(16).map(|b| format!("{b:02x}")).collect();
        let key = format!("{key}-{step}");
        let of = (about.kit.as_str(), about.of.as_str(), about.step);
        let taken = app.job(&job).and_then(|open| {
            let mut open = locked(&open);
            open.take_photo(of, &key, &bytes, &Moment::now())?;
            Ok(lay(&words, &job, &mut open, writes))
        });
        match taken {
            Ok(main) => Html(main.into_string()).into_response(),
            Err(list) => message(StatusCode::UNPROCESSABLE_ENTITY, faults(&words, &list)),
        }
    })
    .await
}

/// Whose record.
#[derive(Deserialize)]
pub struct OfRecord {
    of: String,
}

/// Writes the record.
pub async fn record(
    Visit { app, words, .. }: Visit,
    Path(job): Path<String>,
    Sent(sent): Sent<OfRecord>,
) -> Response {
    beside(move || {
        let written = app.job(&job).and_then(|open| {
            locked(&open).write_record(&sent.of, &Moment::now(), &wall_clock)
        });
        match written {
            Ok(names) => Html(
                html! {
                    p { "✓ " (words.t("lay.written")) }
                    p { @for name in &names {
                        a .button href=(address(&job, &format!("kit/{}", encoded(name)))) target="_blank" { (name) } " "
                    } }
                }
                .into_string(),
            )
            .into_response(),
            Err(list) => message(StatusCode::UNPROCESSABLE_ENTITY, faults(&words, &list)),
        }
    })
    .await
}

/// A photo or the record of the kit.
pub async fn file(
    State(app): State<Arc<App>>,
    Path((job, file)): Path<(String, String)>,
) -> Response {
    beside(move || {
        let kind = match file.rsplit('.').next() {
            Some("html") => "text/html; charset=utf-8",
            Some("pdf") => "application/pdf",
            Some("jpg") => "image/jpeg",
            _ => return StatusCode::NOT_FOUND.into_response(),
        };
        let bytes = app.job(&job).ok().and_then(|open| locked(&open).kit_file(&file));
        match bytes {
            Some(bytes) => (
                [(header::CONTENT_TYPE, kind), (header::CONTENT_SECURITY_POLICY, FILE_POLICY)],
                bytes,
            )
                .into_response(),
            None => StatusCode::NOT_FOUND.into_response(),
        }
    })
    .await
}
