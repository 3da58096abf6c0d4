//! Buttons that change the job or the stock.

use super::form::Form;
use super::words::Words;
use maud::{Markup, html};
use warpwise::stock::Age;
use warpwise::workshop::free_id;

/// A button that makes an edit and shows the step anew.
pub fn edit_button(
    form: &Form<'_>,
    edit: &serde_json::Value,
    class: &str,
    title: &str,
    words: Markup,
) -> Markup {
    let vals = serde_json::json!({ "edit": edit.to_string(), "view": form.view }).to_string();
    html! {
        button type="button" class=(class) title=(title) hx-post=(form.edits) hx-include="#rev" hx-vals=(vals)
            hx-target="#step" hx-swap="innerHTML" { (words) }
    }
}

pub fn remove_button(form: &Form<'_>, at: &str, name: &str) -> Markup {
    let title = form.words.with("form.remove_it", &[name]);
    edit_button(
        form,
        &serde_json::json!({ "clear": { "at": at } }),
        "remove",
        &title,
        html! { span aria-hidden="true" { "✕" } span .only-read { (title) } },
    )
}

/// An id that no section of these kinds has.
pub fn unused(form: &Form<'_>, kinds: &[&str], stem: &str) -> String {
    let taken: Vec<String> = form.named(kinds).into_iter().map(|(id, _)| id).collect();
    free_id(stem, &taken)
}

/// Out of the freezer or into it, and, where it may go without a word, out of the stock.
pub fn item_buttons(words: &Words, id: &str, age: Option<&Age>, may_go: bool) -> Markup {
    let vals = serde_json::json!({ "id": id }).to_string();
    html! {
        div .buttons hx-vals=(vals) hx-target="#step" {
            @if let Some(age) = age {
                @let way = if age.is_out { "in" } else { "out" };
                form hx-post="/stock/move" hx-swap="innerHTML" {
                    input type="hidden" name="way" value=(way);
                    button type="submit" { (words.t(if age.is_out { "stock.put_in" } else { "stock.take_out" })) }
                }
            }
            @if may_go { form hx-post="/stock/remove" hx-swap="innerHTML" { button type="submit" .remove title=(words.with("form.remove_it", &[id])) { span aria-hidden="true" { "✕" } span .only-read { (words.with("form.remove_it", &[id])) } } } }
        }
    }
}
