//! The lay-up sheet: a section of the report. The same to print is in `layup_pdf.rs`.

use super::report::{Section, layer_pictures};
use super::svg::write_inline;
use super::text::clean;
use crate::laminate::{Laminate, PartMass, RegionFigures};
use crate::layup::{CurePoint, LayupSheet, Step};
use crate::plan::{Plan, words};
use maud::{Markup, PreEscaped, html};

/// Most boxes in a row; more copies are ticked by a count.
pub(super) const MOST_BOXES: u32 = 8;

/// Lines to write on.
const BLANK: &str = "______________";

/// The lay-up sheets and laminate figures as a section.
pub(crate) fn section(plan: &Plan, sheets: &[LayupSheet], laminate: &Laminate) -> Section {
    let body = html! {
        p { "The same to print and hang at the bench, A4: " a href="sheets/lay-up.pdf" { "sheets/lay-up.pdf" } "." }
        (figures(laminate))
        @for s in sheets { (sheet(plan, s, laminate.parts.iter().find(|p| p.job == s.job))) }
    };
    Section {
        id: "layup".into(),
        title: "Lay-up sheet".into(),
        html: body.into_string(),
        screen_only: true,
    }
}

fn table(caption: &str, headings: &[&str], rows: &[Vec<String>]) -> Markup {
    html! { div .wide tabindex="0" role="region" aria-label=(caption) { table {
        caption { (caption) }
        thead { tr { @for h in headings { th scope="col" { (h) } } } }
        tbody { @for row in rows { tr { @for cell in row { td { bdi { (clean(cell)) } } } } } }
    } } }
}

/// A number, or a dash where it is not known.
pub(super) fn number(v: Option<f64>, decimals: usize) -> String {
    v.map_or_else(|| "–".into(), |v| format!("{v:.decimals$}"))
}

/// Where a region is, in words.
pub(super) fn place(r: &RegionFigures) -> String {
    let mut lies: Vec<String> = Vec::new();
    for patch in &r.patches {
        let times = r.patches.iter().filter(|p| *p == patch).count();
        let word = if times > 1 {
            format!("{patch} lies {times} times")
        } else {
            format!("{patch} lies once")
        };
        if !lies.contains(&word) {
            lies.push(word);
        }
    }
    let patches =
        if lies.is_empty() { String::new() } else { format!(", where {}", lies.join(" and ")) };
    let parts = if r.parts > 1 { format!(", {} copies", r.parts) } else { String::new() };
    format!("{}, {}{patches}{parts}", r.template, words::hand(r.hand))
}

/// Heading and grams of each row about the mass of a part.
pub(super) fn mass_rows(p: &PartMass) -> Vec<(String, f64)> {
    let mut rows = vec![
        ("off the mould, trim included".to_string(), p.with_trim),
        ("trimmed to the net line".to_string(), p.net),
        ("of which fibre".to_string(), p.fibre),
        ("of which resin".to_string(), p.resin),
    ];
    if p.other > 0.0 {
        rows.push(("of which core and film".to_string(), p.other));
    }
    rows.push((
        format!("of which double in laps and seams (spliced plies: {})", p.spliced_plies),
        p.laps,
    ));
    rows.extend(
        p.finish.iter().map(|f| (format!("{} on {}, {:.2} m²", f.name, f.faces, f.area), f.mass)),
    );
    rows.push(("finished, as the scales should show".to_string(), p.finished));
    rows
}

fn figures(l: &Laminate) -> Markup {
    let regions: Vec<Vec<String>> = l
        .regions
        .iter()
        .map(|r| {
            vec![
                place(r),
                r.code.clone(),
                number(Some(r.area), 3),
                number(r.thickness, 2),
                number(r.areal_mass, 0),
                number(r.fibre_volume.map(|v| v * 100.0), 1),
                r.remarks.join("; "),
            ]
        })
        .collect();
    let headings = [
        "place",
        "code, mould face first",
        "m² each",
        "mm thick",
        "g/m²",
        "fibre, % by volume",
        "remarks",
    ];
    html! {
        h3 { "What it comes to" }
        (table("Laminate, place by place", &headings, &regions))
        p { "Code after ASTM D6507: first layer on the mould; a small number repeats, S is half of a symmetric stack, T the whole, f a fabric"
            @if l.cloths.len() > 1 { ", and " @for (i, (letter, name)) in l.cloths.iter().enumerate() { @if i > 0 { ", " } (letter) " is " bdi { (clean(name)) } } }
            "." }
        @for p in &l.parts {
            (table(&format!("Mass of all parts of {}", clean(&p.job)), &["", "g"], &mass_rows(p).into_iter().map(|(what, g)| vec![what, format!("{g:.0}")]).collect::<Vec<_>>()))
        }
        p { "Rule of mixtures, no voids, no bleed; laps and splices are counted." }
        @if !l.assumptions.is_empty() { ul .note { @for a in &l.assumptions { li { (clean(a)) } } } }
    }
}

fn sheet(plan: &Plan, s: &LayupSheet, mass: Option<&PartMass>) -> Markup {
    let rolls: Vec<Vec<String>> = s
        .rolls
        .iter()
        .map(|r| {
            let blank = || BLANK.to_string();
            let left = r.hours_left.map_or_else(|| format!("{BLANK} h"), |h| format!("{h:.0} h"));
            vec![
                r.stock.clone(),
                r.cloth.clone(),
                r.batch.clone().unwrap_or_else(blank),
                r.expiry.clone().unwrap_or_else(blank),
                left,
            ]
        })
        .collect();
    html! {
        h3 { bdi { (clean(&s.job)) } ": order of work" }
        p { "Laid up by " (BLANK) "  on " (BLANK) }
        @if !s.warnings.is_empty() {
            ul .note { @for w in &s.warnings { li { b { "WARNING: " } bdi { (clean(w)) } } } }
        }
        (table("Cloth", &["roll or offcut", "cloth", "batch", "use until", "left out of the freezer"], &rolls))
        p { "Expected time out of the freezer: " b { (format!("{:.1} h", s.hours_out)) } " (" (s.hours_note) ")." }
        h4 { "Before the start" }
        @for c in &s.checks { p { "☐ " (clean(c)) } }
        h4 { "Laying" }
        p { "Tick the first box of a piece when it is laid, the second when its backing is off and in the bin." }
        @for step in &s.steps { (shown(plan, step)) }
        h4 { "Bag, from the laminate up" }
        (table("Bag", &["what", "how much"], &s.bag.iter().map(|r| r.to_vec()).collect::<Vec<_>>()))
        p { (s.bag_note) }
        h4 { "Cure" }
        @if s.cure.is_empty() { p .note { "The job gives no cure: follow the cloth's data sheet." } }
        @else {
            (chart(&s.cure, &s.limits))
            (table("Cure", &["minutes", "clock", "°C", "how"], &cure_rows(&s.cure)))
            @if let Some(last) = s.cure.last() { p { "In all " b { (in_hours(last.minutes)) } ", ramps counted." } }
            @for n in &s.cure_notes { p { (clean(n)) } }
        }
        h4 { "After the cure" }
        @for a in &s.after { p { "☐ " (clean(a)) } }
        @if let Some(m) = mass.filter(|m| m.net > 0.0) {
            p { "Expected off the mould " b { (format!("{:.0} g", m.with_trim)) } ", finished " b { (format!("{:.0} g", m.finished)) }
                ".  Actual off the mould __________ g, finished __________ g" }
        }
        @else { p { "Actual mass __________ g" } }
        p { "Remarks ________________________________________________________" }
        h4 { "Cautions" }
        ul .note { @for c in &s.cautions { li { (clean(c)) } } }
    }
}

fn shown(plan: &Plan, step: &Step) -> Markup {
    html! {
        p { b { bdi { (clean(&step.what)) } } @if step.layer.is_none() { "  ☐" } }
        @for n in &step.notes { p { bdi { (clean(n)) } } }
        @if let Some(layer) = step.layer.and_then(|i| plan.layers.get(i)) {
            div .layer { @for (words, scene) in layer_pictures(plan, layer, &|t| step.templates.iter().any(|w| w == t)) {
                figure { (PreEscaped(write_inline(&scene, 1.0, &words))) figcaption { bdi { (words) } } }
            } }
            p { @for t in &step.ticks { span style="white-space:nowrap" { (boxes(t.copies)) " " (boxes(t.copies)) " " bdi { (clean(&t.label)) } } "   " } }
        }
    }
}

fn boxes(copies: u32) -> String {
    if copies > MOST_BOXES { format!("☐×{copies}") } else { "☐".repeat(copies as usize) }
}

/// Minutes as hours and minutes: `3 h 30 min`.
pub(super) fn in_hours(minutes: f64) -> String {
    let all = minutes.round() as i64;
    if all < 60 { format!("{all} min") } else { format!("{} h {:02} min", all / 60, all % 60) }
}

pub(super) fn cure_rows(points: &[CurePoint]) -> Vec<Vec<String>> {
    let row = |p: &CurePoint| {
        vec![
            format!("{:.0}", p.minutes),
            p.clock.clone().unwrap_or_else(|| "______".into()),
            format!("{:.0}", p.temperature),
            p.what.clone(),
        ]
    };
    points.iter().map(row).collect()
}

/// Temperature over time, with what mould and core stand.
fn chart(points: &[CurePoint], limits: &[(String, f64)]) -> Markup {
    let minutes = points.iter().map(|p| p.minutes).fold(1.0, f64::max);
    let top =
        points.iter().map(|p| p.temperature).chain(limits.iter().map(|l| l.1)).fold(1.0, f64::max);
    let y = |t: f64| 150.0 - t.max(0.0) / top * 125.0;
    let xy = |p: &CurePoint| (40.0 + p.minutes / minutes * 440.0, y(p.temperature));
    let line: Vec<String> =
        points.iter().map(|p| format!("{:.1},{:.1}", xy(p).0, xy(p).1)).collect();
    html! { svg viewBox="0 0 560 185" width="560" role="img" aria-label="Cure: temperature over time" font-family="sans-serif" {
        path d="M40 15V150H490" fill="none" stroke="#555" {}
        @for (what, limit) in limits {
            path d=(format!("M40 {0:.1}H490", y(*limit))) stroke="#555" stroke-dasharray="6 4" fill="none" {}
            text x="493" y=(format!("{:.1}", y(*limit) + 3.0)) font-size="10" { (what) " " (format!("{limit:.0}°")) }
        }
        polyline points=(line.join(" ")) fill="none" stroke="#111" stroke-width="2" {}
        @for (i, p) in points.iter().enumerate() {
            @let (x, y) = xy(p);
            @if i == 0 || points[i - 1].temperature != p.temperature {
                text x=(format!("{x:.0}")) y=(format!("{:.0}", y - 5.0)) font-size="10" text-anchor="middle" { (format!("{:.0}°", p.temperature)) }
            }
            text x=(format!("{x:.0}")) y=(if i % 2 == 0 { "163" } else { "174" }) font-size="9" text-anchor="middle" { (format!("{:.0}", p.minutes)) }
        }
        text x="493" y="163" font-size="10" { "minutes" }
    } }
}
