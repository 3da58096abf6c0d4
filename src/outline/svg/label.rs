//! How elements are named and pointed at.

use crate::fault::{Fault, Place};
use roxmltree::{Document, Node};
use std::collections::BTreeMap;

/// Where drawing programs keep the name of a layer that a person gave it; the name of the namespace
/// is part of the file format.
const LAYER_LABEL: (&str, &str) = ("http://www.inkscape.org/namespaces/inkscape", "label");
const XLINK: &str = "http://www.w3.org/1999/xlink";

/// Longest name that is kept, in characters: titles can be essays.
const LONGEST_NAME: usize = 80;

/// Bytes between two notes of how many characters came before.
const BLOCK: usize = 1024;

/// True for a byte that starts a character in UTF-8.
fn starts_char(byte: u8) -> bool {
    byte & 0xc0 != 0x80
}

/// The names of an element itself: id, then layer label, then title.
pub(super) fn names_of(node: Node<'_, '_>) -> Vec<String> {
    let title = node.children().find(|c| c.tag_name().name() == "title").and_then(|t| t.text());
    [node.attribute("id"), node.attribute(LAYER_LABEL), title]
        .into_iter()
        .flatten()
        .map(|name| name.trim().chars().take(LONGEST_NAME).collect::<String>())
        .filter(|name| !name.is_empty())
        .collect()
}

/// Finds elements by id and tells lines; the same id twice is no way to point at anything.
pub(super) struct Labels<'a, 'input> {
    text: &'a str,
    line_starts: Vec<usize>,
    /// Characters before each block of [`BLOCK`] bytes: a drawing may be one line of many
    /// megabytes.
    chars_before: Vec<usize>,
    by_id: BTreeMap<&'a str, (Node<'a, 'input>, usize)>,
}

impl<'a, 'input> Labels<'a, 'input> {
    pub(super) fn new(doc: &'a Document<'input>, text: &'a str) -> Self {
        let line_starts = std::iter::once(0)
            .chain(text.bytes().enumerate().filter(|(_, b)| *b == b'\n').map(|(i, _)| i + 1))
            .collect();
        let mut chars_before = vec![0];
        for block in text.as_bytes().chunks(BLOCK) {
            let chars = block.iter().filter(|b| starts_char(**b)).count();
            chars_before.push(chars_before.last().copied().unwrap_or(0) + chars);
        }
        let mut by_id: BTreeMap<&'a str, (Node<'a, 'input>, usize)> = BTreeMap::new();
        for node in doc.descendants().filter(Node::is_element) {
            if let Some(id) = node.attribute("id") {
                by_id.entry(id).or_insert((node, 0)).1 += 1;
            }
        }
        Labels { text, line_starts, chars_before, by_id }
    }

    /// A label that no other element has: `path "seat"`, or `path on line 12, column 3`.
    pub(super) fn label(&self, node: Node<'_, '_>) -> String {
        let tag = node.tag_name().name();
        match node.attribute("id") {
            Some(id) if self.by_id.get(id).is_some_and(|(_, n)| *n == 1) => {
                format!("{tag} \"{}\"", super::size::shortened(id))
            }
            _ => {
                let (line, column) = self.place(node);
                format!("{tag} on line {line}, column {column}")
            }
        }
    }

    /// The fault placed at an element's line, with its name in the message.
    pub(super) fn at(&self, node: Node<'_, '_>, mut fault: Fault) -> Fault {
        if fault.place != Place::Whole {
            return fault;
        }
        let (line, column) = self.place(node);
        let name = match node.attribute("id") {
            Some(id) => format!("{} \"{}\"", node.tag_name().name(), super::size::shortened(id)),
            None => node.tag_name().name().to_string(),
        };
        fault.what = said!("{name}: {}", fault.what);
        fault.at_line(line, column)
    }

    /// Line and column of an element, from 1.
    fn place(&self, node: Node<'_, '_>) -> (usize, usize) {
        let at = node.range().start;
        let line = self.line_starts.partition_point(|&s| s <= at);
        let start = self.line_starts.get(line.wrapping_sub(1)).copied().unwrap_or(0);
        (line, self.chars_to(at) - self.chars_to(start) + 1)
    }

    /// How many characters stand before a byte of the file.
    fn chars_to(&self, at: usize) -> usize {
        let block = at / BLOCK;
        let rest = self.text.as_bytes().get(block * BLOCK..at).unwrap_or(&[]);
        self.chars_before.get(block).copied().unwrap_or(0)
            + rest.iter().filter(|b| starts_char(**b)).count()
    }

    /// What a `use` refers to.
    ///
    /// # Errors
    /// That it refers to nothing, to several, or out of the file.
    pub(super) fn target(&self, node: Node<'_, '_>) -> Result<Node<'a, 'input>, Fault> {
        let Some(href) = node.attribute("href").or_else(|| node.attribute((XLINK, "href"))) else {
            return Err(Fault::new(
                "it does not say what it uses",
                "give it an href, or delete it",
            ));
        };
        let shown = super::size::shortened(href);
        let Some(id) = href.trim().strip_prefix('#') else {
            return Err(Fault::new(
                said!("it uses \"{shown}\" from outside the file"),
                "copy that element into the drawing",
            ));
        };
        match self.by_id.get(id) {
            Some((target, 1)) => Ok(*target),
            Some((_, n)) => Err(Fault::new(
                said!("it uses \"{shown}\", but {n} elements have that id"),
                "give each element an id of its own",
            )),
            None => Err(Fault::new(
                said!("it uses \"{shown}\", which is not in the file"),
                "correct the href, or delete it",
            )),
        }
    }
}
