//! Labels to print, cut out and stick on the backing.

use super::pages::picture;
use crate::sheet::code_picture;
use crate::sheet::policy::policy;
use crate::stock::{Offcut, OffcutFacts, label_text};
use crate::units::{show_area, show_number};
use maud::{DOCTYPE, PreEscaped, html};

/// Largest picture on a label, px.
const PICTURE: f64 = 110.0;

const STYLE: &str = "body{font:12px/1.35 system-ui,sans-serif;margin:10mm}.labels{display:flex;flex-wrap:wrap;gap:4mm}\
.label{border:1px dashed #777;width:94mm;min-height:38mm;padding:3mm;box-sizing:border-box;display:flex;gap:4mm;break-inside:avoid}\
.name{font-size:24px;font-weight:bold}.no{font-weight:bold}.code{width:26mm;height:26mm;margin-left:auto;flex:none}@page{margin:8mm}";

/// A page of labels, HTML that opens offline and prints: name, cloth, batch, size, a small picture
/// with the warp, and a code that says of which ledger it is.
pub fn labels(offcuts: &[OffcutFacts], ledger: Option<&str>) -> String {
    let sound: Vec<Offcut> = offcuts.iter().filter_map(|o| Offcut::new(o.clone()).ok()).collect();
    let page = html! {
        (DOCTYPE)
        html lang="en" {
            head { meta charset="utf-8"; meta http-equiv="Content-Security-Policy" content=(policy(None)); title { "Offcut labels" } style { (PreEscaped(STYLE)) } }
            body {
                p { "Stick labels on the backing, never on the cloth. The blue arrow is the warp; the picture shows the up face." }
                div class="labels" {
                    @for o in &sound {
                        @let b = o.bounds();
                        @let facts = o.facts();
                        div class="label" {
                            div { (picture(o, (PICTURE / b.width().max(b.height())).min(0.4))) }
                            div {
                                div class="name" { (o.id()) }
                                div class="no" { (o.cloth()) }
                                @if let Some(batch) = &facts.batch { div { "batch " (batch) } }
                                @if let Some(expiry) = facts.age.expiry { div { "use by " (expiry.to_string()) } }
                                div { (show_number(b.width(), 0)) " along the warp × " (show_number(b.height(), 0)) " mm, " (show_area(o.area())) }
                                @if let Some(parent) = &facts.parent { div { "from " (parent) ", " (facts.added.to_string()) } }
                                @if facts.age.cosmetic_only { div class="no" { "FOR THE LOOK ONLY" } }
                            }
                            (PreEscaped(code_picture(&label_text(ledger, o.id()), o.id())))
                        }
                    }
                }
            }
        }
    };
    page.into_string()
}
