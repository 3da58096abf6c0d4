//! What styles say about an element that matters here: whether it can be seen, and whether its
//! shape comes from CSS.

use roxmltree::Node;
use simplecss::{DeclarationTokenizer, StyleSheet};

/// The properties of CSS that place or shape an element; in style sheets they are not read but
/// refused.
const SHAPING: [&str; 17] = [
    "transform",
    "translate",
    "rotate",
    "scale",
    "d",
    "x",
    "y",
    "cx",
    "cy",
    "r",
    "rx",
    "ry",
    "width",
    "height",
    "zoom",
    "offset-path",
    "offset-distance",
];

/// The state of an element after its ancestors'.
#[derive(Clone, Debug, Default, PartialEq)]
pub(super) struct Style {
    /// `display: none` here or above.
    pub undisplayed: bool,
    /// `visibility` is hidden or collapsed.
    pub invisible: bool,
    /// No fill.
    pub unfilled: bool,
    /// `stroke: none` said outright: unsaid, a hand-written line counts as drawn.
    pub unstroked: bool,
    /// Cut off by a clip path or mask, here or above.
    pub clipped: bool,
    /// A marker at the start and none at the end.
    pub marker_only_at_start: bool,
    /// A property that would shape the element from its style.
    pub shaped_by: Option<&'static str>,
}

impl Style {
    /// Why nothing of the element is seen, if that is so.
    pub(super) fn unseen(&self) -> Option<&'static str> {
        if self.undisplayed {
            Some("is hidden (display: none)")
        } else if self.invisible {
            Some("is hidden (visibility)")
        } else if self.unfilled && self.unstroked {
            Some("is drawn with neither stroke nor fill, so that it cannot be seen")
        } else {
            None
        }
    }

    /// The style of a child element.
    pub(super) fn child(&self, node: Node<'_, '_>, sheet: &StyleSheet<'_>) -> Style {
        let mut style = Style { marker_only_at_start: false, shaped_by: None, ..self.clone() };
        let (mut start, mut end) = (false, false);
        let mut take = |name: &str, value: &str, from_style: bool| {
            let value = value.trim();
            if value == "inherit" {
                return;
            }
            match name {
                "display" => style.undisplayed = self.undisplayed || value == "none",
                "visibility" => style.invisible = matches!(value, "hidden" | "collapse"),
                "fill" => style.unfilled = is_no_paint(value),
                "stroke" => style.unstroked = is_no_paint(value),
                "clip-path" | "mask" => style.clipped = self.clipped || value != "none",
                "marker-start" => start = value != "none",
                "marker-end" => end = value != "none",
                "marker" => (start, end) = (value != "none", value != "none"),
                // An origin moves only what a transform turns or scales.
                "transform-origin" | "transform-box"
                    if node.has_attribute("transform") && !is_zero(value) =>
                {
                    style.shaped_by = Some("transform-origin");
                }
                _ if from_style && !matches!(value, "none" | "auto") => {
                    if let Some(shaping) = SHAPING.iter().find(|s| **s == name) {
                        style.shaped_by = Some(shaping);
                    }
                }
                _ => {}
            }
        };
        // The cascade: presentation attributes, rules by rising specificity, the style attribute,
        // then all that is important.
        for a in node.attributes().filter(|a| a.namespace().is_none()) {
            take(a.name(), a.value(), false);
        }
        let inline = node.attribute("style").unwrap_or("");
        for important in [false, true] {
            for rule in sheet.rules.iter().filter(|r| r.selector.matches(&Element(node))) {
                for d in rule.declarations.iter().filter(|d| d.important == important) {
                    take(d.name, d.value, true);
                }
            }
            for d in DeclarationTokenizer::from(inline).filter(|d| d.important == important) {
                take(d.name, d.value, true);
            }
        }
        style.marker_only_at_start = start && !end;
        style
    }
}

/// True for `0`, `0 0`, `0px 0px` and the box that SVG measures from anyway.
fn is_zero(value: &str) -> bool {
    value == "view-box"
        || value.split_whitespace().all(|word| word.trim_end_matches("px").parse() == Ok(0.0_f64))
}

fn is_no_paint(value: &str) -> bool {
    matches!(value, "none" | "transparent")
}

/// An element as the selector matcher wants it.
struct Element<'a, 'input>(Node<'a, 'input>);

impl simplecss::Element for Element<'_, '_> {
    fn parent_element(&self) -> Option<Self> {
        self.0.parent_element().map(Element)
    }

    fn prev_sibling_element(&self) -> Option<Self> {
        self.0.prev_sibling_element().map(Element)
    }

    fn has_local_name(&self, name: &str) -> bool {
        self.0.tag_name().name() == name
    }

    fn attribute_matches(&self, name: &str, operator: simplecss::AttributeOperator<'_>) -> bool {
        self.0.attribute(name).is_some_and(|value| operator.matches(value))
    }

    fn pseudo_class_matches(&self, class: simplecss::PseudoClass<'_>) -> bool {
        matches!(class, simplecss::PseudoClass::FirstChild)
            && self.0.prev_sibling_element().is_none()
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    fn style_of(css: &str, element: &str) -> Style {
        let text = format!("<svg><g class='layer'>{element}</g></svg>");
        let doc = roxmltree::Document::parse(&text).unwrap();
        let sheet = StyleSheet::parse(css);
        let g = doc.root_element().first_element_child().unwrap();
        let e = g.first_element_child().unwrap();
        Style::default().child(g, &sheet).child(e, &sheet)
    }

    #[test]
    fn hiding_is_seen_wherever_it_is_said() {
        assert_eq!(
            style_of("", "<path display='none'/>").unseen(),
            Some("is hidden (display: none)")
        );
        assert!(style_of("", "<path style='display:none'/>").undisplayed);
        assert!(style_of(".layer { display: none }", "<path style='display:inline'/>").undisplayed);
        assert!(style_of(".layer { visibility: hidden }", "<path/>").invisible);
        assert!(
            !style_of(".layer { visibility: hidden }", "<path visibility='visible'/>").invisible
        );
        assert!(
            style_of("path { fill: none; stroke: none }", "<path stroke='red'/>")
                .unseen()
                .is_some()
        );
        assert!(
            style_of("path { fill: none; stroke: none }", "<path style='stroke:red'/>")
                .unseen()
                .is_none()
        );
        assert!(
            style_of("path { stroke: none !important; fill: none }", "<path style='stroke:red'/>")
                .unseen()
                .is_some()
        );
        assert!(style_of("", "<path fill='none' stroke='#000'/>").unseen().is_none());
        assert!(style_of("", "<path/>").unseen().is_none());
    }

    #[test]
    fn shapes_from_style_are_noticed() {
        assert_eq!(
            style_of("", "<path style='transform: rotate(45deg)'/>").shaped_by,
            Some("transform")
        );
        assert_eq!(style_of("circle { r: 4px }", "<circle r='3'/>").shaped_by, Some("r"));
        assert_eq!(style_of("", "<path transform='rotate(45)'/>").shaped_by, None);
        assert_eq!(
            style_of("", "<path transform='rotate(45)' transform-origin='5 5'/>").shaped_by,
            Some("transform-origin")
        );
        assert_eq!(
            style_of("", "<path transform='rotate(45)' transform-origin='0px 0px'/>").shaped_by,
            None
        );
        assert_eq!(style_of("", "<path style='transform-origin: 5px 5px'/>").shaped_by, None);
        assert!(style_of("", "<path clip-path='url(#c)'/>").clipped);
        assert!(style_of("", "<path style='marker-start:url(#a)'/>").marker_only_at_start);
        assert!(
            !style_of("", "<path style='marker-start:url(#a);marker-end:url(#a)'/>")
                .marker_only_at_start
        );
    }
}
