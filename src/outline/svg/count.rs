//! How many entities a file holds, counted apart from the walk that draws them.
//!
//! Each element is counted once, whatever refers to it, and the counts of what it holds or uses are
//! added up: a chain of `use`s that multiplies into billions is seen for what it is before anything
//! is drawn.

use roxmltree::Node;
use std::collections::BTreeMap;

/// Deepest nesting of elements, through `use` too.
pub(super) const MOST_LEVELS: usize = 64;

const SVG: &str = "http://www.w3.org/2000/svg";

fn is_svg(node: Node<'_, '_>) -> bool {
    // Hand-written files often leave the namespace out.
    node.is_element() && node.tag_name().namespace().is_none_or(|n| n == SVG)
}

/// Something that would leave a mark on paper.
pub(super) fn is_entity(node: Node<'_, '_>) -> bool {
    const ENTITIES: [&str; 11] = [
        "path",
        "rect",
        "circle",
        "ellipse",
        "line",
        "polyline",
        "polygon",
        "text",
        "flowRoot",
        "image",
        "foreignObject",
    ];
    is_svg(node) && ENTITIES.contains(&node.tag_name().name())
}

/// Something that draws its children.
pub(super) fn is_container(node: Node<'_, '_>) -> bool {
    is_svg(node) && matches!(node.tag_name().name(), "svg" | "g" | "a" | "switch")
}

/// The child that a `switch` draws: the first that asks for nothing special.
pub(super) fn switch_choice<'a, 'input>(node: Node<'a, 'input>) -> Option<Node<'a, 'input>> {
    node.children().filter(|c| is_svg(*c)).find(|c| {
        let asks = |name: &str| c.attribute(name).is_some_and(|v| !v.trim().is_empty());
        !asks("requiredExtensions") && !asks("requiredFeatures") && !asks("systemLanguage")
    })
}

/// Counts of drawn instances.
pub(super) struct Count {
    entities: u64,
    /// Elements passed through on the way, instances too.
    visits: u64,
}

impl Count {
    /// Counts what the tree under `root` draws, and what it holds without drawing it.
    pub(super) fn of(root: Node<'_, '_>) -> Count {
        let mut by_id: BTreeMap<&str, Node<'_, '_>> = BTreeMap::new();
        for node in root.descendants().filter(Node::is_element) {
            if let Some(id) = node.attribute("id") {
                by_id.entry(id).or_insert(node);
            }
        }
        let mut tally = Tally { by_id, known: BTreeMap::new() };
        let (drawn, visits) = tally.node(root, 0);
        let never = root
            .descendants()
            .filter(|n| is_entity(*n) && !tally.known.contains_key(&n.id().get()))
            .count() as u64;
        Count { entities: drawn.saturating_add(never), visits }
    }

    /// All entities, as far as they fit.
    pub(super) fn entities(&self) -> usize {
        usize::try_from(self.entities).unwrap_or(usize::MAX)
    }

    /// All elements that a walk would pass through.
    pub(super) fn visits(&self) -> u64 {
        self.visits
    }
}

struct Tally<'a, 'input> {
    by_id: BTreeMap<&'a str, Node<'a, 'input>>,
    /// Per node: entities and visits; `None` while it is being counted, so that a cycle ends.
    known: BTreeMap<u32, Option<(u64, u64)>>,
}

impl<'a, 'input> Tally<'a, 'input> {
    fn node(&mut self, node: Node<'a, 'input>, depth: usize) -> (u64, u64) {
        if depth > 2 * MOST_LEVELS {
            return (0, 1); // The walk refuses it long before.
        }
        let id = node.id().get();
        if let Some(known) = self.known.get(&id) {
            return known.unwrap_or((0, 1));
        }
        let name = node.tag_name().name();
        let inner: Vec<Node<'a, 'input>> = if is_entity(node) {
            self.known.insert(id, Some((1, 1)));
            return (1, 1);
        } else if is_svg(node) && name == "use" {
            let xlink = ("http://www.w3.org/1999/xlink", "href");
            let href = node
                .attribute("href")
                .or_else(|| node.attribute(xlink))
                .and_then(|h| h.trim().strip_prefix('#'));
            href.and_then(|h| self.by_id.get(h)).copied().into_iter().collect()
        } else if name == "switch" {
            switch_choice(node).into_iter().collect()
        } else if is_container(node) || name == "symbol" {
            node.children().filter(|c| c.is_element() && c.tag_name().name() != "symbol").collect()
        } else {
            return (0, 1);
        };
        self.known.insert(id, None);
        let mut sum = (0_u64, 1_u64);
        for child in inner {
            let (entities, visits) = self.node(child, depth + 1);
            sum = (sum.0.saturating_add(entities), sum.1.saturating_add(visits));
        }
        self.known.insert(id, Some(sum));
        sum
    }
}
