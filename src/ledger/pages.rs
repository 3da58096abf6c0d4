//! One page of the offcut box: every offcut to scale.

use crate::geometry::{Ring, ring_bounds};
use crate::sheet::policy::policy;
use crate::stock::{Offcut, Snapshot};
use crate::units::{show_area, show_number};
use maud::{DOCTYPE, Markup, PreEscaped, html};
use std::collections::BTreeMap;

/// Pixels to a mm on the page.
const SCALE: f64 = 0.4;

const STYLE: &str = "body{font:14px/1.4 system-ui,sans-serif;margin:24px;color:#1a1a1a}h1{font-size:22px}h2{font-size:17px;margin-top:28px}\
.box{display:flex;flex-wrap:wrap;gap:18px;align-items:flex-end}figure{margin:0;break-inside:avoid}figcaption{font-size:12px;max-width:260px}\
b{font-size:15px}.old{color:#a00000;font-weight:bold}svg{display:block}@media print{body{margin:8mm}}";

/// A path of rings, y down, in px.
pub(super) fn path(rings: &[&Ring], height: f64, scale: f64) -> String {
    let mut d = String::new();
    for ring in rings {
        for (i, p) in ring.iter().enumerate() {
            d.push_str(&format!(
                "{}{} {}",
                if i == 0 { "M" } else { "L" },
                show_number(p.x * scale, 2),
                show_number((height - p.y) * scale, 2)
            ));
        }
        d.push('Z');
    }
    d
}

/// The outline with its warp, `scale` px to a mm.
pub(super) fn picture(offcut: &Offcut, scale: f64) -> Markup {
    let b = offcut.bounds();
    let rings: Vec<&Ring> = offcut.region().rings().collect();
    let flaws: Vec<&Ring> = offcut.flaws().iter().collect();
    let (w, h) = (b.width() * scale, b.height() * scale);
    // The warp arrow lies in the largest rectangle, where it is sure to be on the cloth.
    let room = offcut.largest_rectangle().or_else(|| ring_bounds(&offcut.region().outline));
    let arrow = room.map(|r| {
        let (y, from, to) = (
            (b.height() - r.centre().y) * scale,
            (r.min.x + 0.15 * r.width()) * scale,
            (r.max.x - 0.15 * r.width()) * scale,
        );
        let head = (0.12 * (to - from)).min(8.0);
        format!(
            "M{from:.1} {y:.1}L{to:.1} {y:.1}M{:.1} {:.1}L{to:.1} {y:.1}L{:.1} {:.1}",
            to - head,
            y - head / 2.0,
            to - head,
            y + head / 2.0
        )
    });
    html! {
        svg xmlns="http://www.w3.org/2000/svg" width=(show_number(w + 2.0, 1)) height=(show_number(h + 2.0, 1)) viewBox=(format!("-1 -1 {:.1} {:.1}", w + 2.0, h + 2.0)) {
            path d=(path(&rings, b.height(), scale)) fill="#e8e8e4" fill-rule="evenodd" stroke="#222" stroke-width="1.2" {}
            @if !flaws.is_empty() { path d=(path(&flaws, b.height(), scale)) fill="#fff" stroke="#a00000" stroke-width="1" stroke-dasharray="4 2" {} }
            @if let Some(d) = arrow { path d=(d) fill="none" stroke="#1558a8" stroke-width="1.4" {} }
        }
    }
}

/// The whole box as one HTML page that opens offline: every offcut to one scale, by cloth, the
/// largest first, with its warp.
pub fn box_page(stock: &Snapshot) -> String {
    let mut cloths: BTreeMap<&str, Vec<&Offcut>> = BTreeMap::new();
    for offcut in &stock.offcuts {
        cloths.entry(offcut.cloth()).or_default().push(offcut);
    }
    for list in cloths.values_mut() {
        list.sort_by(|a, b| b.area().total_cmp(&a.area()).then(a.id().cmp(b.id())));
    }
    let total: f64 = stock.offcuts.iter().map(Offcut::area).sum();
    let caption = |o: &Offcut| {
        let b = o.bounds();
        let facts = o.facts();
        let warning = facts.age.warning(o.id(), stock.day).map(|f| f.what);
        html! {
            b { (o.id()) } " " (show_number(b.width(), 0)) " × " (show_number(b.height(), 0)) " mm, " (show_area(o.area()))
            @if let Some(batch) = &facts.batch { br; "batch " (batch) }
            @if let Some(place) = &facts.place { br; (place) }
            @if facts.age.cosmetic_only { br; "for the look only" }
            @if let Some(warning) = warning { br; span class="old" { (warning) } }
        }
    };
    let page = html! {
        (DOCTYPE)
        html lang="en" {
            head { meta charset="utf-8"; meta http-equiv="Content-Security-Policy" content=(policy(None)); title { "The offcut box" } style { (PreEscaped(STYLE)) } }
            body {
                h1 { "The offcut box on " (stock.day.to_string()) }
                p { (crate::units::counted(stock.offcuts.len(), "offcut")) ", " (show_area(total)) ". All to one scale: this bar is 200 mm. The blue arrow is the warp, the up face lies up." }
                svg xmlns="http://www.w3.org/2000/svg" width=(200.0 * SCALE + 2.0) height="8" { path d=(format!("M1 0V8M1 4H{0}M{0} 0V8", 200.0 * SCALE + 1.0)) stroke="#222" fill="none" {} }
                @for (cloth, list) in &cloths {
                    h2 { (cloth) ": " (crate::units::counted(list.len(), "offcut")) }
                    div class="box" { @for o in list { figure { (picture(o, SCALE)) figcaption { (caption(o)) } } } }
                }
                @if cloths.is_empty() { p { "The box is empty." } }
            }
        }
    };
    page.into_string()
}
