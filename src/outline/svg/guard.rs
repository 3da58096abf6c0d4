//! Limits: what a file may ask for before it is parsed, and before it is drawn.

use super::count::Count;
use super::size::shortened;
use crate::fault::{Fault, Faults};
use roxmltree::{Document, Error, Node};
use simplecss::StyleSheet;

/// Most XML nodes.
pub(super) const MOST_NODES: u32 = 1_000_000;

/// Most elements drawn, instances of `use` counted each.
const MOST_INSTANCES: u64 = 200_000;

/// Most attributes of one element: the parser compares each with each.
const MOST_ATTRIBUTES: usize = 1_000;

/// Most text that entities may grow into, bytes.
const MOST_EXPANSION: usize = 64 << 20;

/// Most rules of all style sheets: to parse them takes time by the square of their number.
const MOST_RULES: usize = 10_000;

/// Most tests of a style rule on an element.
const MOST_MATCHES: usize = 5_000_000;

/// The file as text, if it is fit to be parsed.
pub(super) fn text_of(bytes: &[u8]) -> Result<&str, Fault> {
    if bytes.starts_with(&[0x1f, 0x8b]) {
        return Err(Fault::new(
            "the SVG is compressed",
            "unpack it (gunzip), or save it as plain SVG",
        ));
    }
    if bytes.starts_with(&[0xff, 0xfe]) || bytes.starts_with(&[0xfe, 0xff]) {
        return Err(Fault::new("the SVG is written in UTF-16", "save it as UTF-8"));
    }
    let text = std::str::from_utf8(bytes).map_err(|e| {
        let line = 1 + bytes.iter().take(e.valid_up_to()).filter(|b| **b == b'\n').count();
        Fault::new("the file is not UTF-8 text from here on", "save the drawing as SVG in UTF-8")
            .at_line(line, 1)
    })?;
    let text = text.strip_prefix('\u{feff}').unwrap_or(text);
    attributes(text)?;
    entities(text)?;
    Ok(text)
}

/// Refuses a tag with very many attributes.
fn attributes(text: &str) -> Result<(), Fault> {
    let (mut count, mut quote, mut line) = (0_usize, None, 1_usize);
    for b in text.bytes() {
        match (quote, b) {
            (_, b'\n') => line += 1,
            (Some(q), b) if q == b && count > 0 => quote = None,
            (Some(_), b'<') => (quote, count) = (None, 0), // Not inside a tag after all: quotes in text need no partner.
            (None, b'"' | b'\'') if count > 0 => quote = Some(b),
            (None, b'<' | b'>') => count = 0,
            (None, b'=') => count += 1,
            _ => {}
        }
        if count > MOST_ATTRIBUTES {
            return Err(Fault::new(
                said!("an element has more than {MOST_ATTRIBUTES} attributes"),
                "export the drawing again",
            )
            .at_line(line, 1));
        }
    }
    Ok(())
}

/// Refuses entities that would grow a small file into a huge one. Those that name a namespace, as
/// some programs write, are fine.
fn entities(text: &str) -> Result<(), Fault> {
    let mut longest = 0;
    for declaration in text.split("<!ENTITY").skip(1) {
        let body = declaration.split('>').next().unwrap_or(declaration);
        let mut rest = body;
        while let Some(at) = rest.find('&') {
            rest = &rest[at + 1..];
            if !rest.starts_with('#') {
                return Err(Fault::new(
                    "an XML entity is made of other entities",
                    "export the drawing again without them",
                ));
            }
        }
        longest = longest.max(declaration.len().min(body.len() + 1));
        if declaration.len() > body.len() && body.contains(['"', '\'']) {
            // A `>` inside the quotes: count to the closing quote instead.
            let quote = body.find(['"', '\'']).and_then(|i| body.get(i..=i)).unwrap_or("\"");
            let value = declaration.split(quote).nth(1).unwrap_or("");
            longest = longest.max(value.len());
            if value.bytes().filter(|b| *b == b'&').count() > value.matches("&#").count() {
                return Err(Fault::new(
                    "an XML entity is made of other entities",
                    "export the drawing again without them",
                ));
            }
        }
    }
    if longest > 0 {
        let uses = text.bytes().filter(|b| *b == b'&').count();
        if longest.saturating_mul(uses) > MOST_EXPANSION {
            return Err(Fault::new(
                "its XML entities would grow into more than 64 MB of text",
                "export the drawing again without them",
            ));
        }
    }
    Ok(())
}

/// The fault of text that is no well-formed XML.
pub(super) fn not_xml(error: Error) -> Fault {
    let remedy = "correct the file there, or export the drawing again";
    match error {
        Error::NodesLimitReached
        | Error::AttributesLimitReached
        | Error::NamespacesLimitReached => {
            Fault::new(said!("the file has more than {MOST_NODES} parts"), "split the drawing")
        }
        Error::NoRootNode => Fault::new(
            "the file holds no complete element: it is not SVG, or it is cut short",
            "export the drawing as SVG",
        ),
        Error::UnclosedRootNode | Error::UnexpectedEndOfStream => Fault::new(
            "the file is cut short: an element is never closed",
            "export or copy the drawing again",
        ),
        error => {
            let (at, message) = (error.pos(), error.to_string());
            let message = message.rsplit_once(" at ").map_or(message.as_str(), |(what, _)| what);
            Fault::new(said!("the file is not well-formed XML: {}", long(message)), remedy)
                .at_line(at.row as usize, at.col as usize)
        }
    }
}

fn long(message: &str) -> String {
    if message.chars().count() <= 120 { message.to_string() } else { shortened(message) }
}

/// Refuses elements nested too deep, before anything walks down them.
pub(super) fn depth<'a, 'input>(
    root: Node<'a, 'input>,
    most: usize,
) -> Result<(), Node<'a, 'input>> {
    // Nodes come parents first, so a parent's depth is known when its child comes.
    let mut depths = vec![0_usize; root.document().descendants().count() + 1];
    for node in root.descendants().filter(Node::is_element) {
        let up = node.parent().and_then(|p| depths.get(p.id().get_usize()).copied()).unwrap_or(0);
        if up + 1 > most {
            return Err(node);
        }
        if let Some(d) = depths.get_mut(node.id().get_usize()) {
            *d = up + 1;
        }
    }
    Ok(())
}

/// All style sheets of the file as one, if matching them is bearable.
pub(super) fn style_sheet<'a>(doc: &'a Document<'_>) -> Result<StyleSheet<'a>, Fault> {
    let css = |n: &Node<'_, '_>| {
        n.tag_name().name() == "style"
            && n.attribute("type").is_none_or(|t| t.trim().is_empty() || t.trim() == "text/css")
    };
    let texts =
        || doc.descendants().filter(css).flat_map(|n| n.children()).filter_map(|c| c.text());
    let elements = doc.descendants().filter(Node::is_element).count();
    let too_many = |rules: usize| {
        let what = said!("its style sheet has {rules} rules for {elements} elements");
        Fault::new(what, "save the drawing with its styles in the elements, or split it")
    };
    let rules = texts().map(|t| t.bytes().filter(|b| *b == b'{').count()).sum();
    if rules > MOST_RULES {
        return Err(too_many(rules));
    }
    let mut sheet = StyleSheet::new();
    texts().for_each(|text| sheet.parse_more(text));
    if sheet.rules.len().saturating_mul(elements) > MOST_MATCHES {
        return Err(too_many(sheet.rules.len()));
    }
    Ok(sheet)
}

/// Refuses drawings that `use` multiplies beyond reason.
pub(super) fn instances(count: &Count) -> Result<(), Faults> {
    if count.visits() <= MOST_INSTANCES {
        return Ok(());
    }
    let what = said!("it draws more than {MOST_INSTANCES} elements, copies by use counted each");
    Err(Fault::new(what, "split the drawing, or delete what is not an outline").into())
}
