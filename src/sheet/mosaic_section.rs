//! The report's section on mosaic layers: look and map of each, what it takes of the offcuts, and
//! its patches in laying order.

use super::mosaic::{look, map, patches};
use super::report::Section;
use super::svg::write;
use super::text::{clean, decimals};
use crate::geometry::ring_bounds;
use crate::plan::{Plan, PlanMosaic, words};
use maud::{Markup, html};

/// The section, if the plan has mosaic layers.
pub(super) fn section(plan: &Plan) -> Option<Section> {
    let body = html! { @for m in &plan.mosaics { (one(plan, m)) } };
    (!plan.mosaics.is_empty()).then(|| Section {
        id: "mosaic".into(),
        title: "Mosaic".into(),
        html: body.into_string(),
        screen_only: true,
    })
}

fn one(plan: &Plan, m: &PlanMosaic) -> Markup {
    let name = clean(&m.ply);
    html! {
        h3 { bdi { (name) } }
        p {
            (m.patches.len()) " patches, laid in the order of their numbers; touching ones differ by " (decimals(m.least_difference, 1)) "° or more. "
            @if m.opened > 0.0 {
                "Patches take " (decimals(100.0 * m.from_offcuts / m.opened, 0)) " % of the offcuts opened for them. "
            }
            "Evenness of the directions " (decimals(1.0 - m.resultant, 2)) " (1 is even), drift across the part " (decimals(m.drift, 2)) " (0 is none)."
        }
        p { img src=(embedded(&write(&look(plan, m)))) alt={ "Finished look of " (name) } style="width:100%;max-width:48rem"; }
        p { img src=(embedded(&write(&map(plan, m)))) alt={ "Patch map of " (name) } style="width:100%;max-width:48rem"; }
        div .wide {
            table {
                caption { "Patches in laying order" }
                thead { tr { th { "patch" } th { "piece" } th { "warp" } th { "size" } th { "cut from" } th { "face" } } }
                tbody {
                    @for p in patches(plan, m) {
                        @let size = ring_bounds(&p.piece.outline).map_or((0.0, 0.0), |b| (b.width(), b.height()));
                        @let on = plan.stocks.iter().find_map(|s| Some((s, s.placed.iter().find(|q| q.piece == p.piece.piece)?)));
                        tr {
                            td { (p.number) }
                            td { (clean(&p.piece.number)) }
                            td { (decimals(p.piece.angle, 1)) "°" }
                            td { (decimals(size.0, 0)) " × " (decimals(size.1, 0)) " mm" }
                            td { bdi { (clean(on.map_or("–", |o| &o.0.id))) } @if on.is_some_and(|o| o.0.is_laid_whole()) { ", whole" } }
                            td { (on.map_or("–", |o| words::face(o.1.face))) }
                        }
                    }
                }
            }
        }
    }
}

/// A drawing as an address that holds it: names in it stay apart from those of other drawings.
fn embedded(svg: &str) -> String {
    let mut out = String::from("data:image/svg+xml,");
    for c in svg.chars() {
        match c {
            '%' => out.push_str("%25"),
            '#' => out.push_str("%23"),
            '"' => out.push_str("%22"),
            '<' => out.push_str("%3C"),
            '>' => out.push_str("%3E"),
            '\n' => out.push_str("%0A"),
            c => out.push(c),
        }
    }
    out
}
