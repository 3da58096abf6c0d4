//! Offcuts by photo or drawing that wait to be booked, and the place to bring more to.

use super::app::{App, Device};
use super::frame::encoded;
use super::words::Words;
use maud::{Markup, html};
use warpwise::workshop::waiting_offcuts;

/// The address of one that waits.
pub fn address(name: &str, what: &str) -> String {
    format!("/stock/photo/{}{what}", encoded(name))
}

/// A place to bring photos and drawings to, and those that wait.
pub fn bring(words: &Words, app: &App, device: Device) -> Markup {
    let waiting = waiting_offcuts(app.folder.root());
    let phone = device == Device::Second;
    html! {
        h3 { (words.t("stock.by_photo")) }
        drop-zone .drop data-to="/stock/take" data-failed=(words.t("bring.failed"))
            data-working=(words.t("bring.working")) {
            p .quiet { (words.t("stock.by_photo_how")) }
            label .button for="file" { (words.t(if phone { "second.photo" } else { "bring.choose" })) }
            @if phone {
                input #file type="file" accept="image/jpeg,image/png" capture="environment";
            } @else {
                input #file type="file" accept=".svg,.dxf,.csv,.jpg,.jpeg,.png,image/jpeg,image/png";
            }
            p .working role="status" {}
        }
        @if !waiting.is_empty() {
            p .note.warning { "! " (words.with("offcut.waiting", &[&waiting.len().to_string()])) }
            ul { @for name in &waiting { li { a href=(address(name, "")) { (name) } } } }
        }
    }
}
