//! What printed pages are made into: a file to print, or one page to look at.

use super::pdf::{Page, pdf};
use super::svg;

/// What pages are made into.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Form {
    /// All of them, to print.
    Pdf,
    /// One of them, counted from 0, as a picture; nothing if there is no such page.
    Picture(usize),
}

impl Form {
    /// The pages in this form, and how many there are.
    pub(crate) fn of(self, title: &str, pages: &[Page<'_>]) -> (Vec<u8>, usize) {
        let bytes = match self {
            Form::Pdf => pdf(title, pages),
            Form::Picture(index) => {
                pages.get(index).map(|page| svg::page(title, page).into_bytes()).unwrap_or_default()
            }
        };
        (bytes, pages.len())
    }

    /// Whether this page, counted from 0, is wanted.
    pub(crate) fn wants(self, page: usize) -> bool {
        self == Form::Pdf || self == Form::Picture(page)
    }
}
