//! At the bench: the pieces one by one in the order of cutting, large, for gloved fingers.

use super::frame::{address, faults};
use super::pictures::Picture;
use super::takers_page;
use super::ticks::{at, texts, told};
use super::words::Words;
use maud::{Markup, PreEscaped, html};
use std::collections::BTreeMap;
use warpwise::fault::Faults;
use warpwise::geometry::{Bounds, point, ring_bounds};
use warpwise::ledger::Moment;
use warpwise::plan::{PlacedPiece, Plan, words::in_stock};
use warpwise::sheet::{self, OnBench, ToCut};
use warpwise::workshop::{AtBench, CopyState, OpenJob};

/// Words that the list says itself.
const TEXTS: [&str; 13] = [
    "bench.unsent",
    "bench.failed",
    "bench.link",
    "cut.tocut",
    "cut.is_cut",
    "cut.is_laid",
    "cut.is_spoiled",
    "cut.is_again",
    "cut.is_refused",
    "cut.count",
    "cut.all_cut",
    "cut.saved",
    "cut.recutting",
];

/// The step; a second device draws no flaws.
pub fn cut(words: &Words, job: &str, open: &mut OpenJob, writes: bool) -> Markup {
    let title = html! { h1 { (words.t("step.cut")) } };
    let bench = match open.at_bench(&Moment::now()) {
        Ok(Some(bench)) => bench,
        Ok(None) => {
            return html! {
                (title)
                p .lead { (words.t("cut.plan_first")) }
            };
        }
        Err(list) => return html! { (title) (faults(words, &list)) },
    };
    let order = sheet::cutting_order(&bench.plan);
    let texts = texts(words, &TEXTS);
    html! {
        (title)
        (changed(words, &Ok(bench.changed.clone()), writes.then_some(job)))
        p .caution { "! " (words.t("cut.caution")) }
        (spoiled(words, job, &bench))
        cutting-list data-bench=(address(job, "bench")) data-state=(told(&bench).to_string())
            data-words=(texts) {
            (again(words, &bench))
            section .now aria-labelledby="next" {
                p .unsent role="status" aria-live="polite" {}
                p .count {}
                h2 #next .number {}
                p .label {}
                p .face { b {} }
                p .where {}
                div .taps {
                    button type="button" .tap.cut { span aria-hidden="true" { "✓ " } (words.t("cut.cut")) }
                    button type="button" .tap.spoiled { span aria-hidden="true" { "✕ " } (words.t("cut.spoiled")) }
                    button type="button" .tap.back { span aria-hidden="true" { "↶ " } (words.t("cut.back")) }
                    button type="button" .tap.previous { span aria-hidden="true" { "◀" } span .only-read { (words.t("cut.previous")) } }
                    button type="button" .tap.next { span aria-hidden="true" { "▶" } span .only-read { (words.t("cut.next")) } }
                }
                p .last { span {} " " button type="button" .tap.undo hidden { "↶ " (words.t("cut.undo")) } }
            }
            div .benches {
                @for on in &order { (one(words, job, &bench, on)) }
            }
            @if writes { p { a .button href=(address(job, "by-hand")) { (words.t("cut.flaw")) } } }
            (by_part(words, bench.plan.plan(), &order))
            p .quiet { (words.t(if bench.in_ledger { "cut.in_ledger" } else { "cut.in_kit" })) }
        }
    }
}

/// What is no longer as the plan knew it: it is not to be cut from. With the job's name, the way to its
/// plan stands below.
pub fn changed(words: &Words, found: &Result<Faults, Faults>, plan_of: Option<&str>) -> Markup {
    let (Ok(list) | Err(list)) = found;
    html! {
        @if !list.is_empty() {
            @if found.is_ok() { p .note.fault { "▲ " (words.t("cut.changed")) } }
            (faults(words, list))
            @if let Some(job) = plan_of { p { a .button href=(address(job, "plan")) { (words.t("step.plan")) " →" } } }
        }
    }
}

/// The number of a piece as people read it.
fn number(plan: &Plan, piece: &str) -> String {
    let known = plan.pieces.iter().find(|p| p.piece == piece);
    known.map_or_else(|| piece.to_string(), |p| p.number.clone())
}

/// What this plan cuts again: each is shown until it is cut.
fn again(words: &Words, bench: &AtBench) -> Markup {
    let plan = bench.plan.plan();
    let stock = |piece: &str, copy: u32| {
        let is_it = |p: &PlacedPiece| p.piece == piece && p.copy == copy;
        let on = plan.stocks.iter().find(|s| s.placed.iter().any(is_it));
        on.map_or("", |s| in_stock(&s.id))
    };
    html! {
        @for ((piece, copy), _) in bench.states.iter().filter(|s| *s.1 == CopyState::Again) {
            p .note.again.is-again data-at=(at(piece, *copy)) {
                "↻ " (words.with("cut.again", &[&number(plan, piece), stock(piece, *copy)]))
            }
        }
    }
}

/// What is spoiled and not planned again yet.
fn spoiled(words: &Words, job: &str, bench: &AtBench) -> Markup {
    let open = bench.states.iter().filter(|s| *s.1 == CopyState::Spoiled);
    let list: Vec<String> = open.map(|s| number(bench.plan.plan(), &s.0.0)).collect();
    html! {
        @if !list.is_empty() {
            p .note.warning { "! " (words.with("cut.not_planned", &[&list.join(", ")])) " "
                button type="button" .recut data-to=(address(job, "bench/recut")) { "↻ " (words.t("cut.recut")) }
            }
        }
    }
}

/// A cloth on the bench with its pieces.
fn one(words: &Words, job: &str, bench: &AtBench, on: &OnBench) -> Markup {
    let plan = bench.plan.plan();
    let is_changed = bench.is_changed(&on.stock);
    let segment = if on.segment[1] > 1 {
        let [at, of] = on.segment.map(|n| n.to_string());
        let at = at.parse::<usize>().map_or(at, |n| (n + 1).to_string());
        format!(" · {}", words.with("cut.segment", &[&at, &of]))
    } else {
        String::new()
    };
    let before = if on.before { format!(" · {}", words.t("cut.before")) } else { String::new() };
    let head = format!("{}{before}{segment}", in_stock(&on.stock));
    html! {
        section .bench data-face=(on.face) {
            h2 { (head) }
            @if is_changed { p .note.fault { "▲ " (words.with("cut.not_from", &[&on.stock])) } }
            p .quiet { (words.t("cut.lies")) ": " (words.read(&on.face)) "; " (words.read(&on.from)) }
            figure { (PreEscaped(picture(plan, on, &head))) }
            ol .to-cut {
                @for piece in &on.pieces { (row(words, job, on, piece, is_changed)) }
            }
        }
    }
}

fn row(words: &Words, job: &str, on: &OnBench, piece: &ToCut, is_changed: bool) -> Markup {
    let [along, across] = piece.reach.map(|r| r.map(|mm| words.units.size(mm)));
    let stock = in_stock(&on.stock);
    let place = words.with("cut.where", &[stock, &along[0], &along[1], &across[0], &across[1]]);
    let face = words.t(if piece.face_down { "cut.face_down" } else { "cut.face_up" });
    let face = format!("{}: {} · {face}", words.t("cut.lies"), words.read(&on.face));
    let refused = is_changed.then(|| words.with("cut.not_from", &[stock]));
    html! {
        li data-at=(at(&piece.piece, piece.copy)) data-number=(piece.number) data-label=(words.read_parts(&piece.label))
            data-face=(face) data-where=(place) data-refused=[refused] {
            button type="button" .pick {
                span .sign {} b { (piece.number) } " "
                span .quiet { (words.read_parts(&piece.label)) } " "
                @if piece.face_down { span .tag { "▼ " (words.t("cut.face_down")) } }
                span .only-read .said {}
            }
            (takers_page::link(words, job, &piece.piece, true))
        }
    }
}

/// What is in each kit's bag: by part, then layer.
fn by_part(words: &Words, plan: &Plan, order: &[OnBench]) -> Markup {
    let mut parts: BTreeMap<String, BTreeMap<usize, Vec<&ToCut>>> = BTreeMap::new();
    for to_cut in order.iter().flat_map(|on| &on.pieces) {
        let Some(piece) = plan.pieces.iter().find(|p| p.piece == to_cut.piece) else { continue };
        let hand = words.find(&format!("choice.{}", super::pictures::hand_key(piece.hand)));
        let job = if plan.jobs.len() > 1 { format!("{}: ", piece.job) } else { String::new() };
        let part = format!("{job}{} · {}", piece.template, hand.unwrap_or_default());
        parts.entry(part).or_default().entry(piece.layer).or_default().push(to_cut);
    }
    html! {
        details .card.kits {
            summary { (words.t("cut.by_part")) }
            @for (part, layers) in &parts {
                h3 { (part) }
                @for (layer, pieces) in layers {
                    p { (words.t("layers.layer")) " " (layer) ": "
                        @for piece in pieces {
                            span .chip data-at=(at(&piece.piece, piece.copy)) { span .sign {} (piece.number) span .only-read .said {} } " "
                        }
                    }
                }
            }
        }
    }
}

/// The cloth with its pieces, each to be told from the others.
fn picture(plan: &Plan, on: &OnBench, title: &str) -> String {
    let ([left, right], [low, high]) = (on.along, on.across);
    let area = Bounds { min: point(left, low), max: point(right, high) };
    let mut picture = Picture::new(area, title);
    let Some(stock) = plan.stocks.iter().find(|s| s.id == on.stock) else {
        return picture.done();
    };
    let end = |x: f64| x.clamp(left, right);
    let cloth: Vec<Vec<_>> = std::iter::once(&stock.outline)
        .chain(&stock.holes)
        .map(|r| r.iter().map(|p| point(end(p.x), p.y)).collect())
        .collect();
    picture.rings(&cloth, "cloth");
    let here = |b: &Bounds| b.max.x > left && b.min.x < right;
    for flaw in stock.flaws.iter().filter(|f| ring_bounds(f).is_some_and(|b| here(&b))) {
        picture.rings([flaw], "flaw");
    }
    let tall = (high - low).min(0.6 * (right - left));
    let is_here =
        |p: &&PlacedPiece| on.pieces.iter().any(|q| q.piece == p.piece && q.copy == p.copy);
    for placed in stock.placed.iter().filter(is_here) {
        let Some(b) = ring_bounds(&placed.outline) else { continue };
        let number = plan.pieces.iter().find(|p| p.piece == placed.piece);
        let number = number.map_or("", |p| p.number.as_str());
        let room = 1.6 * b.width() / (number.chars().count().max(1) as f64);
        let size = (0.09 * tall).min(room).min(0.7 * b.height());
        let rings = std::iter::once(&placed.outline).chain(&placed.holes);
        picture.named_piece(rings, [&at(&placed.piece, placed.copy), number], b.centre(), size);
    }
    picture.done()
}
