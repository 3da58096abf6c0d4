//! The estimate as a page to print, and its charts of cost against width.

use super::text::{clean, decimals};
use super::written::Written;
use crate::estimate::{ClothEstimate, Estimate, WidthFigures};
use crate::file_name;
use maud::{DOCTYPE, Markup, PreEscaped, html};

/// What is to be said below the figures, a paragraph each.
pub(crate) fn notes(found: &Estimate) -> Vec<String> {
    let mut out = Vec::new();
    match &found.waste {
        Some(waste) => {
            let [least, expected, most] = waste.per_cent;
            out.push(format!(
                "Rough: {expected:.0} % of the roll is wasted ({least:.0} to {most:.0} %; {}). To buy: the expected length, {}, rounded up as sold.",
                waste.by, found.spare
            ));
        }
        None => out.push(format!(
            "To buy: the longest of {} layouts, {}, rounded up as sold.",
            found.seeds.len(),
            found.spare
        )),
    }
    match found.cost {
        Some(cost) => out.push(format!("The orders together: {cost:.2} {}.", found.currency)),
        None => out.push(
            "A price is missing, so the least area is marked and there is no total: add `price_per_metre` to the cloth or its offers."
                .into(),
        ),
    }
    if let Some(mass) = found.mass {
        out.push(format!("Mass of it: {:.2} kg.", mass / 1000.0));
    }
    for f in &found.finishes {
        let cost = f.cost.map_or("no price".to_string(), |c| format!("{c:.2} {}", found.currency));
        out.push(format!(
            "Finish, not in the sums above: {} on {}, {:.2} m², {:.0} g, {cost}.",
            f.name, f.faces, f.area, f.mass
        ));
    }
    if found.interrupted {
        out.push("Stopped early: some widths have only their first layout, so a longer search may need less.".into());
    }
    out
}

/// A chart for each cloth that has something to buy, SVG.
pub(crate) fn charts(found: &Estimate) -> Vec<Written> {
    let bought: Vec<&ClothEstimate> = found.cloths.iter().filter(|c| !c.enough).collect();
    let names = file_name::apart(bought.iter().map(|c| file_name::made_of(&c.cloth)));
    let file = |(c, name): (&ClothEstimate, String)| Written {
        name: format!("estimate-{name}.svg"),
        bytes: format!(
            "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n{}\n",
            chart(c, &found.currency).into_string()
        )
        .into_bytes(),
        pages: 1,
    };
    bought.into_iter().zip(names).map(file).collect()
}

/// The page.
pub(crate) fn page(found: &Estimate) -> String {
    html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                meta http-equiv="Content-Security-Policy" content=(super::policy::policy(None));
                title { "What to buy" }
                style { (PreEscaped(include_str!("report.css"))) }
            }
            body { main {
                h1 { "What to buy" }
                @for c in &found.cloths { (cloth(c, &found.currency)) }
                h2 { "Together" }
                @for n in notes(found) { p { (clean(&n)) } }
            } }
        }
    }
    .into_string()
}

fn cloth(c: &ClothEstimate, currency: &str) -> Markup {
    html! {
        section {
            h2 { bdi { (clean(&c.name)) } }
            p { (format!("{:.2}", c.pieces_area / 1e6)) " m² of pieces." @for n in &c.notes { " " (clean(n)) "." } }
            @if c.enough { p { b { "The stock holds all of it: nothing to buy." } } }
            @else {
                @if let Some(order) = c.order(currency) { p { b { (clean(&order)) } } }
                div .wide tabindex="0" role="region" aria-label="Widths" { table {
                    thead { tr { @for h in ["", "width, mm", "needed, m", "spare, m", "to buy, m", "cost", "yield", "mass, kg"] { th scope="col" { (h) } } } }
                    tbody { @for w in &c.widths { (row(w)) } }
                } }
                (chart(c, currency))
            }
        }
    }
}

fn row(w: &WidthFigures) -> Markup {
    let metres = |mm: f64| format!("{:.2}", mm / 1000.0);
    html! { tr {
        td { @if w.best { b { "cheapest" } " " } @if !w.on_offer { "if you can get it" } @else if w.own { "own roll" } }
        td { (decimals(w.width, 0)) }
        @match (w.needed, &w.buy) {
            (Some([least, most]), Some(buy)) => {
                td { (metres(least)) " to " (metres(most)) }
                td { (metres(w.spare)) }
                td { b { (metres(buy.length)) } }
                td { (buy.cost.map_or_else(|| "no price".into(), |c| format!("{c:.2}"))) }
                td { (format!("{:.1} %", w.yield_ * 100.0)) }
                td { (w.mass.map_or_else(|| "–".into(), |m| format!("{:.2}", m / 1000.0))) }
            }
            _ => td colspan="6" { bdi { (clean(w.why_not.as_deref().unwrap_or("nothing is missing"))) } }
        }
    } }
}

/// Bars of cost (of area where a price is missing) over the widths; the cheapest is black.
fn chart(c: &ClothEstimate, currency: &str) -> Markup {
    const HEIGHT: f64 = 190.0;
    let priced = c.widths.iter().filter_map(|w| w.buy.as_ref()).all(|b| b.cost.is_some());
    let value = |w: &WidthFigures| {
        w.buy.as_ref().and_then(|b| if priced { b.cost } else { Some(b.length * w.width / 1e6) })
    };
    let most = c.widths.iter().filter_map(value).fold(1e-9, f64::max);
    let pitch = 560.0 / c.widths.len().max(1) as f64;
    let bar = (pitch * 0.6).min(60.0);
    let what = if priced {
        said!("cost, {}", clean(currency))
    } else {
        "m² to buy (a price is missing)".into()
    };
    let words = format!("{}: {what}, by roll width", clean(&c.cloth));
    html! {
        svg xmlns="http://www.w3.org/2000/svg" viewBox=(format!("0 0 600 {}", HEIGHT + 50.0)) width="600" height=(HEIGHT + 50.0) role="img" aria-label=(words)
            font-family="sans-serif" font-size="11" {
            title { (words) }
            rect width="600" height=(HEIGHT + 50.0) fill="#fff" {}
            path d=(format!("M20 {HEIGHT}H590")) stroke="#111" fill="none" {}
            @for (i, w) in c.widths.iter().enumerate() {
                @let middle = 20.0 + pitch * (i as f64 + 0.5);
                @match value(w) {
                    Some(v) => {
                        @let tall = v / most * (HEIGHT - 40.0);
                        rect x=(format!("{:.1}", middle - bar / 2.0)) y=(format!("{:.1}", HEIGHT - tall)) width=(format!("{bar:.1}")) height=(format!("{tall:.1}"))
                            fill=(if w.best { "#111" } else { "#fff" }) stroke="#111" {}
                        text x=(format!("{middle:.1}")) y=(format!("{:.1}", HEIGHT - tall - 5.0)) text-anchor="middle" font-weight=(if w.best { "bold" } else { "normal" }) {
                            (format!("{v:.2}"))
                        }
                    }
                    None => text x=(format!("{middle:.1}")) y=(HEIGHT - 5.0) text-anchor="middle" { "does not fit" }
                }
                text x=(format!("{middle:.1}")) y=(HEIGHT + 15.0) text-anchor="middle" { (decimals(w.width, 0)) }
                @if let Some(buy) = &w.buy { text x=(format!("{middle:.1}")) y=(HEIGHT + 29.0) text-anchor="middle" { (format!("{:.2} m", buy.length / 1000.0)) } }
            }
            text x="20" y=(HEIGHT + 46.0) { (words) ", mm, with the length to buy; black is the cheapest" }
        }
    }
}
