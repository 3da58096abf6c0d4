//! The lay-up sheet: a section of the report, and the same as a page of its own.

use super::report::{Section, layer_pictures};
use super::svg::write_inline;
use super::text::clean;
use crate::laminate::Laminate;
use crate::layup::{CurePoint, LayupSheet};
use crate::plan::Plan;
use maud::{DOCTYPE, Markup, PreEscaped, html};

/// The lay-up sheets and laminate figures as a section.
pub(crate) fn section(plan: &Plan, sheets: &[LayupSheet], laminate: &Laminate) -> Section {
    let body = html! { (figures(laminate)) @for s in sheets { (sheet(plan, s)) } };
    Section { id: "layup".into(), title: "Lay-up sheet".into(), html: body.into_string() }
}

/// The section as a page to print and hang at the bench.
pub(crate) fn page(section: &Section) -> String {
    html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                title { (section.title) }
                style { (PreEscaped(include_str!("report.css"))) "@page{size:A4;margin:12mm}" }
            }
            body { main { section { h1 { (section.title) } (PreEscaped(&section.html)) } } }
        }
    }
    .into_string()
}

fn table(headings: &[&str], rows: &[Vec<String>]) -> Markup {
    html! { div .wide { table {
        thead { tr { @for h in headings { th scope="col" { (h) } } } }
        tbody { @for row in rows { tr { @for cell in row { td { bdi { (clean(cell)) } } } } } }
    } } }
}

fn figures(l: &Laminate) -> Markup {
    let number = |v: Option<f64>, d: usize| v.map_or_else(|| "–".into(), |v| format!("{v:.d$}"));
    let regions: Vec<Vec<String>> = l
        .regions
        .iter()
        .map(|r| {
            vec![
                r.region.clone(),
                r.code.clone(),
                number(r.thickness, 2),
                number(r.areal_mass, 0),
                number(r.fibre_volume.map(|v| v * 100.0), 1),
                r.remarks.join("; "),
            ]
        })
        .collect();
    let parts: Vec<Vec<String>> = l
        .parts
        .iter()
        .map(|p| {
            vec![
                p.job.clone(),
                number(Some(p.net), 0),
                number(Some(p.with_trim), 0),
                number(Some(p.fibre), 0),
                number(Some(p.resin), 0),
                number(Some(p.other), 0),
                number(Some(p.finish), 0),
            ]
        })
        .collect();
    html! {
        h3 { "What it comes to" }
        (table(&["place", "code, mould face first", "mm", "g/m²", "fibre, % by volume", "remarks"], &regions))
        (table(&["parts of", "net, g", "with trim, g", "fibre, g", "resin, g", "core and film, g", "finish, g"], &parts))
        p { "No bleed and no voids are assumed; laps and splices are counted." }
        @if !l.assumptions.is_empty() { ul .note { @for a in &l.assumptions { li { (clean(a)) } } } }
    }
}

fn sheet(plan: &Plan, s: &LayupSheet) -> Markup {
    html! {
        h3 { bdi { (clean(&s.job)) } ": order of work" }
        p { "Laid up by ______________  on ______________  Plan " code { (clean(&plan.id).chars().take(12).collect::<String>()) } }
        (table(&["cloth", "batch", "hours left out of the freezer"], &s.rolls.iter().map(|r| r.to_vec()).collect::<Vec<_>>()))
        p { "Expected time out of the freezer: about " (format!("{:.0}", s.hours_out)) " h, thawing counted." }
        @if !s.warnings.is_empty() { ul .note { @for w in &s.warnings { li { (clean(w)) } } } }
        h4 { "Before the start" }
        @for c in &s.checks { p { "☐ " (clean(c)) } }
        h4 { "Steps" }
        @for (n, step) in s.steps.iter().enumerate() {
            p { b { (n + 1) ". " bdi { (clean(&step.what)) } } }
            @if let Some(layer) = step.layer.and_then(|i| plan.layers.get(i)) {
                div .layer { @for (words, scene) in layer_pictures(plan, layer) {
                    figure { (PreEscaped(write_inline(&scene, 1.0, &words))) figcaption { bdi { (words) } } }
                } }
            }
            p { @for t in &step.ticks { "☐ " bdi { (clean(t)) } "   " } }
        }
        h4 { "Bag, from the laminate up" }
        (table(&["what", "how much"], &s.bag.iter().map(|r| r.to_vec()).collect::<Vec<_>>()))
        h4 { "Cure" }
        @if s.cure.is_empty() { p .note { "The job gives no cure: follow the cloth's data sheet." } }
        @else {
            (chart(&s.cure))
            (table(&["minutes", "clock", "°C", "how"], &s.cure.iter().map(|p| vec![format!("{:.0}", p.minutes), p.clock.clone().unwrap_or_else(|| "____".into()), format!("{:.0}", p.temperature), p.what.clone()]).collect::<Vec<_>>()))
            @if let Some(last) = s.cure.last() { p { "In all " (format!("{:.0}", last.minutes)) " min, ramps counted." } }
        }
        h4 { "After" }
        @for a in &s.after { p { "☐ " (clean(a)) } }
        p { "Actual mass ____________ g     Remarks ______________________________________________" }
    }
}

/// Temperature over time.
fn chart(points: &[CurePoint]) -> Markup {
    let minutes = points.iter().map(|p| p.minutes).fold(1.0, f64::max);
    let top = points.iter().map(|p| p.temperature).fold(1.0, f64::max);
    let xy = |p: &CurePoint| (40.0 + p.minutes / minutes * 440.0, 130.0 - p.temperature.max(0.0) / top * 110.0);
    let line: Vec<String> = points
        .iter()
        .map(|p| {
            let (x, y) = xy(p);
            format!("{x:.1},{y:.1}")
        })
        .collect();
    html! { svg viewBox="0 0 520 160" width="520" role="img" aria-label="Cure: temperature over time" {
        path d="M40 10V130H490" fill="none" stroke="#555" {}
        polyline points=(line.join(" ")) fill="none" stroke="#b3261e" stroke-width="2" {}
        @for p in points { @let (x, y) = xy(p);
            text x=(format!("{x:.0}")) y=(format!("{:.0}", y - 4.0)) font-size="10" text-anchor="middle" { (format!("{:.0}°", p.temperature)) }
            text x=(format!("{x:.0}")) y="144" font-size="9" text-anchor="middle" { (format!("{:.0}", p.minutes)) }
        }
        text x="265" y="157" font-size="10" text-anchor="middle" { "minutes" }
    } }
}
