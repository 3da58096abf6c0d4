//! The steps that are made of sections of the job file: templates, cloths, layers.

use super::buttons::{edit_button, remove_button, unused};
use super::fields::fields;
use super::form::Form;
use super::frame::address;
use super::pictures;
use maud::{Markup, PreEscaped, html};
use warpwise::units::System;
use warpwise::workshop::{is_example, uses_of};

/// A table of points that is taken as it stands.
pub const TABLE: &str = "x_mm,y_mm\n0,0\n300,0\n300,60\n60,60\n60,200\n0,200\n";

/// The button that takes a template away; where something needs it, the choice of what becomes of
/// that comes first.
fn remove_template(form: &Form<'_>, at: &str, id: &str) -> Markup {
    let (words, values) = (form.words, &form.checked.values);
    let uses = uses_of(values, id);
    if uses.layers.is_empty() && uses.patches.is_empty() {
        return remove_button(form, at, id);
    }
    let numbers = |layers: &[usize]| {
        layers.iter().map(|l| (l + 1).to_string()).collect::<Vec<_>>().join(", ")
    };
    let edit = |instead: Option<&str>, layers: bool| {
        serde_json::json!({ "remove": { "at": at, "instead": instead, "layers": layers } })
            .to_string()
    };
    let others = form.named(&["template", "strip", "patch"]);
    let others = others.into_iter().map(|o| o.0).filter(|o| !o.is_empty() && o != id);
    let field = format!("{}-remove", super::form::id_of(at));
    html! {
        details .removal {
            summary .remove title=(words.with("form.remove_it", &[id])) {
                span aria-hidden="true" { "✕" } span .only-read { (words.with("form.remove_it", &[id])) }
            }
            form hx-post=(form.edits) hx-include="#rev" hx-target="#step" hx-swap="innerHTML" {
                input type="hidden" name="view" value=(form.view);
                @if !uses.layers.is_empty() { p { (words.with("templates.laid_by", &[id, &numbers(&uses.layers)])) } }
                @if !uses.patches.is_empty() { p { (words.with("templates.under", &[&uses.patches.join(", ")])) } }
                div .field {
                    label for=(field) { (words.t("templates.becomes")) }
                    select id=(field) name="edit" {
                        option value=(edit(None, false)) { (words.t("templates.out_of_all")) }
                        @if !uses.alone.is_empty() {
                            option value=(edit(None, true)) { (words.with("templates.layers_too", &[&numbers(&uses.alone)])) }
                        }
                        @for other in others {
                            option value=(edit(Some(&other), false)) { (words.with("templates.instead", &[&other])) }
                        }
                    }
                }
                button .remove { "✕ " (words.with("form.remove_it", &[id])) }
            }
        }
    }
}

/// The head of a section's card; `anew` puts it in place of the one that is shown.
pub fn head(form: &Form<'_>, section: &str, i: usize, anew: bool) -> Markup {
    let value = |key: &str| form.checked.values.get(&format!("{section}.{i}.{key}"));
    let words = match (section, value("name").unwrap_or_default()) {
        ("layer", "") => (i + 1).to_string(),
        ("layer", name) => format!("{} · {name}", i + 1),
        _ => value("id").unwrap_or("?").to_string(),
    };
    html! { h2 id=(format!("h-{section}-{i}")) hx-swap-oob=[anew.then_some("true")] { (words) } }
}

/// Says that a section is an example of the new job.
pub fn example(form: &Form<'_>, at: &str) -> Markup {
    html! {
        @if is_example(&form.checked.values, at) {
            p .note.warning { "! " (form.words.t("templates.example")) }
        }
    }
}

/// Templates, strips and patches: a picture and the fields of each, and the ways to bring one in.
pub fn templates(form: &Form<'_>, moulds: &Markup) -> Markup {
    let (words, values) = (form.words, &form.checked.values);
    html! {
        h1 { (words.t("step.templates")) }
        p .lead { (words.t("templates.lead")) }
        details .card open[form.has_notes(&["job", "stock"])] {
            summary { (words.t("templates.job")) }
            div .fields {
                @for field in fields("job") { (form.field("job", "job", field)) }
                @for field in fields("") { (form.field("", "", field)) }
            }
            (form.slot("job"))
        }
        (moulds)
        @for section in ["template", "strip", "patch"] {
            @for i in 0..values.count(section) {
                @let at = format!("{section}.{i}");
                @let id = values.get(&format!("{at}.id")).unwrap_or("?");
                @let of_job = form.checked.job.as_ref().and_then(|j| j.templates.iter().find(|t| t.id == id));
                @let drawn = match (section, of_job) {
                    ("template", _) => form.checked.drawn.get(i).and_then(Option::as_ref).map(|d| (&d.outline, d.edge, d.arrow)),
                    (_, of_job) => of_job.map(|t| (&t.outline, t.edge, t.arrow)),
                };
                section .card aria-labelledby=(format!("h-{section}-{i}")) {
                    div .card-head {
                        (head(form, section, i, false)) span .kind { (words.t(&format!("kind.{section}"))) }
                        (remove_template(form, &at, id))
                    }
                    (example(form, &at))
                    div .card-body {
                        figure .outline {
                            @match drawn {
                                Some((outline, edge, arrow)) => {
                                    @let size = pictures::size_of(words.units, outline);
                                    (PreEscaped(pictures::outline(&format!("{id}, {size}"), outline, edge, arrow)))
                                    figcaption { (size) }
                                }
                                None => p .quiet { (words.t("templates.not_drawn")) },
                            }
                            @if section == "template" && drawn.is_some() {
                                a .button href=(address(form.job, &format!("outline/{i}"))) { (words.t("templates.edit")) }
                            }
                        }
                        div .grow {
                            (form.section(&at, section))
                            @if section == "template" { (super::moulds::choice(form, i)) }
                        }
                    }
                }
            }
        }
        (bring_in(form))
        (form.rest())
    }
}

/// Ways to bring a template in.
fn bring_in(form: &Form<'_>) -> Markup {
    let (words, values) = (form.words, &form.checked.values);
    let patch = serde_json::json!({ "add": { "section": "patch", "keys": [
        ["id", unused(form, &["template", "strip", "patch"], "patch")], ["on", first_template(form)], ["centre", [0, 0]], ["length", 100], ["width", 60]] } });
    let usual = if words.units == System::Inch { ["12", "2"] } else { ["300", "60"] };
    let number = |name: &str, label: &str, value: &str| {
        html! { div .field { label for=(format!("new-{name}")) { (label) } input id=(format!("new-{name}")) name=(name) value=(value) inputmode="decimal" required; } }
    };
    html! {
        section .card .bring aria-labelledby="bring" {
            h2 #bring { (words.t("bring.title")) }
            drop-zone .drop data-to=(address(form.job, "take")) data-failed=(words.t("bring.failed")) data-working=(words.t("bring.working")) {
                p { b { (words.t("bring.drop")) } }
                p .quiet { (words.t("bring.kinds")) }
                details .more {
                    summary { (words.t("bring.table")) }
                    p { (words.t("bring.table_how")) }
                    pre { (TABLE) }
                    p .quiet { (words.t("bring.table_more")) }
                }
                div .fields {
                    @if values.count("mould") > 0 {
                        div .field {
                            label for="photo-mould" { (words.t("mould.of")) }
                            select #photo-mould data-with="mould" {
                                @for (id, shown) in form.named(&["mould"]) { option value=(id) { (shown) } }
                            }
                        }
                    }
                    div .field {
                        label for="photo-net" { (words.t("bring.net")) }
                        select #photo-net data-with="net" { option value="edge" { (words.t("bring.net_edge")) } option value="ink" { (words.t("bring.net_ink")) } }
                    }
                    div .field {
                        label for="photo-off" { (words.t("template.taken_off")) }
                        select #photo-off data-with="off" { option value="mould" { (words.t("choice.mould")) } option value="plug" { (words.t("choice.plug")) } }
                    }
                    div .field {
                        label for="photo-inked" { (words.t("template.inked_side")) }
                        select #photo-inked data-with="inked" { option value="up" { (words.t("choice.up")) } option value="down" { (words.t("choice.down")) } }
                    }
                }
                label .button for="file" { (words.t("bring.choose")) }
                input #file type="file" multiple accept=".svg,.dxf,.csv,.jpg,.jpeg,.png,image/jpeg,image/png";
                p .working role="status" {}
            }
            p { a href="/card" { (words.t("bring.cards")) } }
            h3 { (words.t("bring.by_size")) }
            form .inline hx-post=(address(form.job, "shape")) hx-include="#rev" hx-target="#step" hx-swap="innerHTML" {
                div .field { label for="new-shape" { (words.t("bring.shape")) } select #new-shape name="shape" {
                    option value="strip" { (words.t("kind.strip")) }
                    option value="rectangle" { (words.t("choice.rectangle")) }
                    option value="ellipse" { (words.t("choice.ellipse")) }
                } }
                (number("length", words.t("strip.length"), usual[0]))
                (number("width", words.t("strip.width"), usual[1]))
                button .add { "+ " (words.t("bring.add")) }
            }
            @if form.checked.values.count("template") > 0 {
                p { (edit_button(form, &patch, "add", "", html! { "+ " (words.t("bring.patch")) })) }
            }
        }
    }
}

fn first_template(form: &Form<'_>) -> String {
    form.checked.values.get("template.0.id").unwrap_or_default().to_string()
}

/// Layers in laying order, beside the part with the warp of each drawn across it.
pub fn layers(form: &Form<'_>) -> Markup {
    let (words, values) = (form.words, &form.checked.values);
    let count = values.count("layer");
    let ids: Vec<(&str, String)> = ["template", "strip", "patch"]
        .iter()
        .flat_map(|s| {
            (0..values.count(s))
                .filter_map(move |i| Some((*s, values.get(&format!("{s}.{i}.id"))?.to_string())))
        })
        .collect();
    let cloth = values.get("cloth.0.id").unwrap_or_default();
    let keys = serde_json::json!([["cloth", cloth], ["angle", 0], ["templates", []]]);
    let add = serde_json::json!({ "add": { "section": "layer", "keys": keys } });
    html! {
        h1 { (words.t("step.layers")) }
        p .lead { (words.t("layers.lead")) }
        div #laminate { (laminate(form)) }
        ol .layers data-move=(address(form.job, "edit")) data-view=(form.view) {
            @for i in 0..count {
                @let at = format!("layer.{i}");
                li .card data-index=(i) {
                    div .card-head {
                        span .grip draggable="true" title=(words.t("layers.drag")) aria-hidden="true" { "⠿" }
                        (head(form, "layer", i, false))
                        (shift_button(form, i, i.wrapping_sub(1), i > 0, "▲", words.t("layers.up")))
                        (shift_button(form, i, i + 1, i + 1 < count, "▼", words.t("layers.down")))
                        (remove_button(form, &at, &format!("{} {}", words.t("layers.layer"), i + 1)))
                    }
                    (example(form, &at))
                    div .card-body {
                        div .grow {
                            (form.section(&at, "layer"))
                            (laid(form, i, &ids))
                        }
                        @if let Some(job) = &form.checked.job { @if let Some(layer) = job.layers.get(i) {
                            figure .outline { (PreEscaped(pictures::layer(job, layer))) figcaption { (pictures::warp(layer)) } }
                        } }
                    }
                }
            }
        }
        p { (edit_button(form, &add, "add", "", html! { "+ " (words.t("layers.add")) })) }
        (splice(form))
        (cure(form))
        (form.rest())
    }
}

fn shift_button(
    form: &Form<'_>,
    from: usize,
    to: usize,
    can: bool,
    sign: &str,
    title: &str,
) -> Markup {
    let edit = serde_json::json!({ "move": { "section": "layer", "from": from, "to": to } });
    if can {
        edit_button(
            form,
            &edit,
            "small",
            title,
            html! { span aria-hidden="true" { (sign) } span .only-read { (title) } },
        )
    } else {
        html! { button type="button" .small disabled title=(title) { (sign) } }
    }
}

/// The templates a layer lays, as boxes to tick, with hands and copies where they differ from the
/// layer's.
fn laid(form: &Form<'_>, layer: usize, ids: &[(&str, String)]) -> Markup {
    let (words, values) = (form.words, &form.checked.values);
    let list = format!("layer.{layer}.templates");
    let entry_of = |id: &str| {
        (0..values.count(&list)).find(|k| {
            let at = format!("{list}.{k}");
            values.get(&at).or_else(|| values.get(&format!("{at}.template"))) == Some(id)
        })
    };
    let gone: Vec<&str> = (0..values.count(&list))
        .filter_map(|k| {
            let at = format!("{list}.{k}");
            values.get(&at).or_else(|| values.get(&format!("{at}.template")))
        })
        .filter(|id| !ids.iter().any(|known| known.1 == *id))
        .collect();
    html! {
        fieldset .laid {
            legend { (words.t("layers.lays")) }
            @for id in gone {
                @let off = serde_json::json!({ "lay": { "layer": layer, "template": id, "on": false } });
                p .note.fault { "▲ " (words.with("layers.gone", &[id])) " "
                    (edit_button(form, &off, "mend", "", html! { (words.t("layers.take_out")) })) }
            }
            @for (n, (_, id)) in ids.iter().enumerate() {
                @let entry = entry_of(id);
                @let box_id = format!("lay-{layer}-{}", super::frame::encoded(id).replace('%', "_"));
                @let edit = serde_json::json!({ "lay": { "layer": layer, "template": id, "on": entry.is_none() } }).to_string();
                div .lay {
                    input type="checkbox" id=(box_id) checked[entry.is_some()] hx-post=(address(form.job, "edit")) hx-include="#rev" hx-trigger="change"
                        hx-vals=(serde_json::json!({ "edit": edit, "view": form.view }).to_string()) hx-target="#step" hx-swap="innerHTML";
                    label for=(box_id) { (id) }
                    @if let Some(k) = entry {
                        @let hands = values.get(&format!("{list}.{k}.hands")).unwrap_or_default();
                        @let copies = values.get(&format!("{list}.{k}.copies")).unwrap_or_default();
                        @let vals = serde_json::json!({ "layer": layer, "template": id, "view": form.view }).to_string();
                        // `this` is no selector among others: nothing of it would be sent.
                        @let own = format!("lays-{layer}-{n}");
                        span .lay-as id=(own) hx-post=(address(form.job, "lay-as")) hx-trigger="change" hx-include=(format!("#rev, #{own}")) hx-vals=(vals) hx-target="#step" hx-swap="innerHTML" {
                            select name="hands" aria-label=(words.with("layers.hands_of", &[id])) {
                                @for choice in ["", "as traced", "mirrored", "both"] {
                                    option value=(choice) selected[choice == hands] { (if choice.is_empty() { words.t("layers.hands_own") } else { words.find(&format!("choice.{choice}")).unwrap_or(choice) }) }
                                }
                            }
                            span { "×" } input name="copies" value=(copies) placeholder=(values.get(&format!("layer.{layer}.copies")).unwrap_or("1")) inputmode="numeric" size="3" title=(words.t("layer.copies.how")) aria-label=(words.with("layers.copies_of", &[id]));
                        }
                    }
                }
            }
            (form.slot(&list))
            @for k in 0..values.count(&list) { (form.slot(&format!("{list}.{k}"))) }
        }
    }
}

/// The splice rule and the rules of cutting.
fn splice(form: &Form<'_>) -> Markup {
    let has = form.checked.values.has("splice");
    let add = serde_json::json!({ "set": { "at": "splice.lap", "to": 25 } });
    html! {
        section .card {
            h2 { (form.words.t("layers.cutting")) }
            div .fields { @for field in fields("cutting") { (form.field("cutting", "cutting", field)) } }
            (form.slot("cutting"))
            h2 { (form.words.t("layers.splice")) }
            @if has {
                (form.section("splice", "splice"))
                (edit_button(form, &serde_json::json!({ "clear": { "at": "splice" } }), "remove", "", html! { (form.words.t("layers.no_splice")) }))
            } @else {
                p { (form.words.t("layers.splice_off")) }
                (edit_button(form, &add, "add", "", html! { "+ " (form.words.t("layers.splice_on")) }))
            }
        }
    }
}

/// Debulks, and the cure step by step.
fn cure(form: &Form<'_>) -> Markup {
    let words = form.words;
    let add = serde_json::json!({ "add": { "section": "cure", "keys": [] } });
    html! {
        section .card {
            h2 { (words.t("layers.debulk")) }
            div .fields { @for field in fields("debulk") { (form.field("debulk", "debulk", field)) } }
            (form.slot("debulk"))
            h2 { (words.t("layers.cure")) }
            p .quiet { (words.t("layers.cure_how")) }
            @for i in 0..form.checked.values.count("cure") {
                @let at = format!("cure.{i}");
                @let name = words.with("layers.cure_step", &[&(i + 1).to_string()]);
                div .card-head { h3 { (name) } (remove_button(form, &at, &name)) }
                (form.section(&at, "cure"))
            }
            (edit_button(form, &add, "add", "", html! { "+ " (words.t("layers.add_cure")) }))
        }
    }
}

/// Laminate code, thickness and mass of the job as it is.
pub fn laminate(form: &Form<'_>) -> Markup {
    let (Some(job), Some(prepared)) = (&form.checked.job, &form.checked.prepared) else {
        return html! {};
    };
    html! { div .figures { @for line in pictures::laminate(form.words.units, job, prepared) { p { (line) } } } }
}
