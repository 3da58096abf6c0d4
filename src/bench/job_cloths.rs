//! The cloths of a job: those of its own, those it takes from the workshop's library, and the ways
//! between the two.

use super::box_page::item_address;
use super::buttons::{edit_button, remove_button, unused};
use super::form::Form;
use super::frame::{address, faults};
use super::pictures;
use super::sections::{example, head};
use super::words::Words;
use maud::{Markup, PreEscaped, html};
use warpwise::cloth::Cloth;
use warpwise::job::Job;
use warpwise::ledger::Ledger;
use warpwise::plan::Plan;
use warpwise::planner::changed_cloths;
use warpwise::workshop::{Library, OpenJob, faults_of};

/// Cloths: a card each, with what follows from the weave.
pub fn cloths(form: &mut Form<'_>, open: &mut OpenJob) -> Markup {
    let place = open.place.as_ref();
    let library = place.and_then(|(folder, _)| Library::of_job(folder, &open.draft).ok());
    let (there, held) = library.as_ref().map(Library::checked).unwrap_or_default();
    form.library = Some(there.values);
    let (form, words, values) = (&*form, form.words, &form.checked.values);
    let blank = serde_json::json!({ "add": { "section": "cloth", "keys": [["id", unused(form, &["cloth"], "cloth")]] } });
    let plan = open.plan().ok().flatten();
    let is_taken = |id: &str| {
        (0..values.count("cloth")).any(|i| values.get(&format!("cloth.{i}.library")) == Some(id))
    };
    let free: Vec<&str> =
        held.iter().map(|c| c.id.as_str()).filter(|id| !id.is_empty() && !is_taken(id)).collect();
    html! {
        h1 { (words.t("step.cloths")) }
        p .lead { (words.with("cloths.lead", &[words.units.length_unit()])) }
        @if let Some((plan, job)) = plan.as_ref().zip(form.checked.job.as_ref()) { (changed(words, plan.plan(), job)) }
        @for i in 0..values.count("cloth") {
            @let at = format!("cloth.{i}");
            @let id = values.get(&format!("{at}.id")).unwrap_or("?");
            section .card aria-labelledby=(format!("h-cloth-{i}")) {
                div .card-head { (head(form, "cloth", i, false)) (remove_button(form, &at, id)) }
                (example(form, &at))
                (way(form, library.as_ref(), i))
                div .card-body {
                    div .grow { (form.section(&at, "cloth")) (flaws(form, &at)) (on_rolls(form, open, id)) }
                    (follows(words, form.checked.job.as_ref().and_then(|j| j.cloths.iter().find(|c| c.id == id))))
                }
            }
        }
        p { (edit_button(form, &blank, "add", "", html! { "+ " (words.t("cloths.add")) })) }
        @if !free.is_empty() {
            section .card aria-labelledby="from-library" {
                h2 #from-library { (words.t("library.take")) }
                p {
                    @for id in free {
                        @let keys = serde_json::json!([["id", unused(form, &["cloth"], id)], ["library", id]]);
                        @let add = serde_json::json!({ "add": { "section": "cloth", "keys": keys } });
                        (edit_button(form, &add, "add", "", html! { "+ " (id) })) " "
                    }
                }
            }
        }
        (form.rest())
    }
}

/// Where a cloth is from, and the way from here to the library or back.
fn way(form: &Form<'_>, library: Option<&Library>, index: usize) -> Markup {
    let (words, values) = (form.words, &form.checked.values);
    let vals = serde_json::json!({ "index": index, "view": form.view }).to_string();
    html! {
        @match values.get(&format!("cloth.{index}.library")) {
            Some(id) => {
                p { (words.with("library.from", &[id])) " " a href="/cloths" { (words.t("library.open")) } }
                @if let Some(own) = library.and_then(|l| l.own_values(values, index)).and_then(|e| serde_json::to_value(e).ok()) {
                    p { (edit_button(form, &own, "", "", html! { (words.t("library.own")) })) }
                }
            }
            None => @if library.is_some() {
                p { button type="button" hx-post=(address(form.job, "cloth-into-library")) hx-include="#rev" hx-vals=(vals)
                    hx-target="#step" hx-swap="innerHTML" { (words.t("library.into")) } }
            }
        }
    }
}

fn flaws(form: &Form<'_>, at: &str) -> Markup {
    let list = format!("{at}.flaw");
    let count = form.checked.values.count(&list);
    let add = serde_json::json!({ "add": { "section": list, "keys": [["from", 0], ["to", 50]] } });
    html! {
        details .more open[count > 0] {
            summary { (form.words.with("cloths.flaws", &[&count.to_string()])) }
            @for k in 0..count {
                @let flaw = format!("{list}.{k}");
                div .row { (form.section(&flaw, "cloth.flaw")) (remove_button(form, &flaw, form.words.t("cloths.flaw"))) }
            }
            (edit_button(form, &add, "add", "", html! { "+ " (form.words.t("cloths.add_flaw")) }))
        }
    }
}

/// Rolls of the stock that the job plans from on which flaws or cut places are marked.
fn on_rolls(form: &Form<'_>, open: &OpenJob, cloth: &str) -> Markup {
    let words = form.words;
    let stock = form.checked.job.as_ref().and_then(|j| j.stock.clone());
    let Some(file) = stock.filter(|file| file.is_file()) else { return html! {} };
    let rolls = match Ledger::read(&file).and_then(|l| l.marked_rolls(cloth)) {
        Ok(rolls) => rolls,
        Err(trouble) => return faults(words, &faults_of(trouble)),
    };
    // Only the workshop's own stock has a page.
    let is_ours = open.place.as_ref().is_some_and(|(folder, _)| {
        let real = |file: &std::path::Path| std::fs::canonicalize(file).ok();
        real(&folder.ledger()) == real(&file)
    });
    html! {
        @if !rolls.is_empty() {
            p { (words.t("flaws.on_rolls"))
                @for roll in &rolls {
                    @let said = words.with("flaws.count", &[&roll.id, &roll.flaws.len().to_string()]);
                    " " @if is_ours { a href=(format!("{}#flaws", item_address(&roll.id))) { (said) } } @else { (said) }
                }
            }
        }
    }
}

/// What follows from the weave: permitted turns and faces with their reason, and a picture of the
/// cloth.
pub fn follows(words: &Words, cloth: Option<&Cloth>) -> Markup {
    let Some(cloth) = cloth else {
        return html! {};
    };
    let (permitted, reason) = pictures::turns_of(cloth, false);
    html! {
        figure .weave {
            (PreEscaped(pictures::weave(cloth)))
            figcaption { (words.t("cloths.turns")) " " b { (pictures::turns(words, &permitted)) } br; (words.read(&reason)) }
        }
    }
}

/// Cloths of which the plan has other values than the job has now.
pub fn changed(words: &Words, plan: &Plan, job: &Job) -> Markup {
    let name = |key: &String| match words.find(&format!("cloth.{key}")) {
        Some(label) => label.replace("{}", words.units.areal_mass_unit()),
        None if key == "price" => words.t("cloths.price").to_string(),
        None => key.clone(),
    };
    html! {
        @for (cloth, keys) in changed_cloths(plan, job) {
            @let keys = keys.iter().map(name).collect::<Vec<_>>().join(", ");
            p .note.warning { "! " (words.with("cloths.planned_before", &[&cloth, &keys])) }
        }
    }
}
