//! Reader of SVG files: geometry in `f64` at true size, names of groups and layers, an account of
//! every element.
//!
//! An entity is a drawn instance of a shape, text or image: a shape that is `use`d three times
//! counts three, one that lies only in `defs` or a clip path counts one and is not used. Names are
//! ids, layer labels and titles, of the element and all it lies in.

mod affine;
mod count;
mod guard;
mod label;
mod path;
mod shape;
mod size;
mod style;

use super::budget::Budget;
use super::roles::{Meaning, meaning_of_names, shown_name};
use super::{Drawing, DrawnLine, NotUsed, ReadOptions, Role};
use crate::fault::{Fault, Faults, Said};
use affine::Affine;
use count::{Count, MOST_LEVELS, is_container, is_entity, switch_choice};
use label::Labels;
use roxmltree::Node;
use shape::{Axis, Canvas, Drawn};
use simplecss::StyleSheet;
use size::ViewBox;
use std::collections::BTreeSet;
use style::Style;

/// Most faults of one file that are told.
const MOST_FAULTS: usize = 100;

/// Reads an SVG file.
pub(super) fn read(
    bytes: &[u8],
    options: &ReadOptions,
    budget: &Budget<'_>,
) -> Result<Drawing, Faults> {
    let text = guard::text_of(bytes)?;
    let parsing = roxmltree::ParsingOptions {
        allow_dtd: true,
        nodes_limit: guard::MOST_NODES,
        entity_resolver: None,
    };
    let doc = roxmltree::Document::parse_with_options(text, parsing).map_err(guard::not_xml)?;
    let root = doc.root_element();
    if root.tag_name().name() != "svg" {
        return Err(Fault::new(
            said!(
                "it is not an SVG drawing: its outermost element is \"{}\"",
                size::shortened(root.tag_name().name())
            ),
            "export the drawing as SVG",
        )
        .into());
    }
    let labels = Labels::new(&doc, text);
    guard::depth(root, MOST_LEVELS).map_err(|node| labels.at(node, too_deep()))?;
    let sheet = guard::style_sheet(&doc)?;
    let count = Count::of(root);
    guard::instances(&count)?;

    let mut warnings = Vec::new();
    let frame =
        size::frame(root, options, &mut warnings).map_err(|fault| labels.at(root, fault))?;
    let mut reader = Reader {
        labels: &labels,
        sheet: &sheet,
        tolerance: options.chord_tolerance,
        budget,
        drawing: Drawing { present: count.entities(), warnings, ..Drawing::default() },
        faults: Faults::new(),
        drawn: BTreeSet::new(),
        names: Vec::new(),
        path: Vec::new(),
        uses: Vec::new(),
    };
    let style = Style::default().child(root, &sheet);
    if options.unit.is_none() && (has_property(root, "width") || has_property(root, "height")) {
        reader.fault(
            root,
            "its size is set in its style",
            "write width and height as attributes of the svg element",
        );
    }
    match root.attribute("transform").map_or(Some(Affine::IDENTITY), Affine::parse) {
        Some(own) => reader.children(root, &frame.to_mm.after(&own), frame.viewport, &style),
        None => {
            reader.fault(root, "its transform is not understood", "correct the transform attribute")
        }
    }
    reader.never_drawn(root);
    let Reader { drawing, faults, .. } = reader;
    faults.into_result(drawing)
}

fn too_deep() -> Fault {
    Fault::new(
        said!("elements are nested more than {MOST_LEVELS} deep"),
        "ungroup the drawing before exporting it",
    )
}

fn has_property(node: Node<'_, '_>, name: &str) -> bool {
    simplecss::DeclarationTokenizer::from(node.attribute("style").unwrap_or(""))
        .any(|d| d.name == name && d.value.trim() != "auto")
}

/// The walk through the drawn tree.
struct Reader<'a, 'input> {
    labels: &'a Labels<'a, 'input>,
    sheet: &'a StyleSheet<'a>,
    tolerance: f64,
    budget: &'a Budget<'a>,
    drawing: Drawing,
    faults: Faults,
    /// Elements that were met on the way, by node id.
    drawn: BTreeSet<u32>,
    /// Names of what the present element lies in, outermost first.
    names: Vec<String>,
    /// Node ids from the root to the present element, through `use` too.
    path: Vec<u32>,
    /// Labels of the `use` elements above, outermost first.
    uses: Vec<String>,
}

impl<'a, 'input> Reader<'a, 'input> {
    fn fault(&mut self, node: Node<'a, 'input>, what: impl Into<Said>, remedy: &'static str) {
        self.push(node, Fault::new(what, remedy));
    }

    /// Adds a fault about an element, naming it and its line.
    fn push(&mut self, node: Node<'a, 'input>, fault: Fault) {
        if self.faults.0.len() < MOST_FAULTS {
            self.faults.push(self.labels.at(node, fault));
        }
    }

    fn children(
        &mut self,
        node: Node<'a, 'input>,
        to_mm: &Affine,
        viewport: Option<(f64, f64)>,
        style: &Style,
    ) {
        if node.tag_name().name() == "switch" {
            if let Some(chosen) = switch_choice(node) {
                self.element(chosen, to_mm, viewport, style);
            }
            return;
        }
        for child in node.children().filter(Node::is_element) {
            self.element(child, to_mm, viewport, style);
        }
    }

    fn element(
        &mut self,
        node: Node<'a, 'input>,
        to_mm: &Affine,
        viewport: Option<(f64, f64)>,
        parent: &Style,
    ) {
        if !is_container(node) && !is_entity(node) && node.tag_name().name() != "use" {
            return;
        }
        if self.budget.is_spent() {
            return;
        }
        if self.path.len() >= MOST_LEVELS {
            self.push(node, too_deep());
            return;
        }
        let style = parent.child(node, self.sheet);
        let is_mere_decoration =
            matches!(node.tag_name().name(), "text" | "flowRoot" | "image" | "foreignObject");
        if let Some(property) = style.shaped_by.filter(|_| !is_mere_decoration) {
            let what = said!(
                "its style sets \"{property}\", which would change its shape or place and is not read"
            );
            self.fault(
                node,
                what,
                "write it as an attribute of the element, or apply it in the drawing program",
            );
        }
        let own = match node.attribute("transform").map_or(Some(Affine::IDENTITY), Affine::parse) {
            Some(own) => to_mm.after(&own),
            None => {
                let what = said!(
                    "its transform \"{}\" is not understood",
                    size::shortened(node.attribute("transform").unwrap_or(""))
                );
                return self.fault(node, what, "correct the transform attribute");
            }
        };
        let named = self.push_names(node);
        self.path.push(node.id().get());
        match node.tag_name().name() {
            "use" => self.use_of(node, &own, viewport, &style),
            "svg" => match self.viewport_of(node, viewport, None) {
                Ok((place, inner)) => self.children(node, &own.after(&place), inner, &style),
                Err(fault) => self.push(node, fault),
            },
            _ if is_container(node) => self.children(node, &own, viewport, &style),
            _ => self.entity(node, &own, viewport, &style),
        }
        self.path.pop();
        self.names.truncate(self.names.len() - named);
    }

    /// Draws what a `use` refers to.
    fn use_of(
        &mut self,
        node: Node<'a, 'input>,
        own: &Affine,
        viewport: Option<(f64, f64)>,
        style: &Style,
    ) {
        let target = match self.labels.target(node) {
            Ok(target) => target,
            Err(fault) => return self.push(node, fault),
        };
        if self.path.contains(&target.id().get()) {
            return self.fault(
                node,
                "it draws itself, directly or through others",
                "make it refer to something it does not lie in",
            );
        }
        let canvas =
            Canvas { to_mm: own, viewport, tolerance: self.tolerance, budget: self.budget };
        let at = canvas.length(node, "x", Axis::X).and_then(|x| {
            Ok((x.unwrap_or(0.0), canvas.length(node, "y", Axis::Y)?.unwrap_or(0.0)))
        });
        let (x, y) = match at {
            Ok(at) => at,
            Err(fault) => return self.push(node, fault),
        };
        let placed = own.after(&Affine::shift(x, y));
        self.uses.push(self.labels.label(node));
        if matches!(target.tag_name().name(), "symbol" | "svg") {
            let named = self.push_names(target);
            self.path.push(target.id().get());
            let style = style.child(target, self.sheet);
            match self.viewport_of(target, viewport, Some(node)) {
                Ok((place, inner)) => self.children(target, &placed.after(&place), inner, &style),
                Err(fault) => self.push(target, fault),
            }
            self.path.pop();
            self.names.truncate(self.names.len() - named);
        } else {
            self.element(target, &placed, viewport, style);
        }
        self.uses.pop();
    }

    /// The transform and inner viewport of an inner `svg` or a `symbol`, sized by its `use` if that
    /// says so.
    fn viewport_of(
        &self,
        node: Node<'a, 'input>,
        outer: Option<(f64, f64)>,
        sized_by: Option<Node<'a, 'input>>,
    ) -> Result<(Affine, Option<(f64, f64)>), Fault> {
        let canvas = Canvas {
            to_mm: &Affine::IDENTITY,
            viewport: outer,
            tolerance: self.tolerance,
            budget: self.budget,
        };
        let get = |name: &str, axis: Axis| -> Result<Option<f64>, Fault> {
            match sized_by.filter(|u| u.has_attribute(name)) {
                Some(by) => canvas.length(by, name, axis),
                None => canvas.length(node, name, axis),
            }
        };
        let is_svg = node.tag_name().name() == "svg";
        let x = if is_svg { canvas.length(node, "x", Axis::X)?.unwrap_or(0.0) } else { 0.0 };
        let y = if is_svg { canvas.length(node, "y", Axis::Y)?.unwrap_or(0.0) } else { 0.0 };
        let place = Affine::shift(x, y);
        let Some(view_box) = ViewBox::of(node)? else {
            return Ok((place, outer));
        };
        let w = get("width", Axis::X)?.or(outer.map(|o| o.0));
        let h = get("height", Axis::Y)?.or(outer.map(|o| o.1));
        let (Some(w), Some(h)) = (w.filter(|w| *w > 0.0), h.filter(|h| *h > 0.0)) else {
            return Err(Fault::new(
                "it has a viewBox but no width and height above zero",
                "give it a width and a height",
            ));
        };
        Ok((
            place.after(&view_box.fit(w, h, node.attribute("preserveAspectRatio"))),
            Some((view_box.w, view_box.h)),
        ))
    }

    fn entity(
        &mut self,
        node: Node<'a, 'input>,
        to_mm: &Affine,
        viewport: Option<(f64, f64)>,
        style: &Style,
    ) {
        self.drawn.insert(node.id().get());
        let tag = node.tag_name().name();
        let label = self.instance_label(node);
        let not_shape = match tag {
            "text" | "flowRoot" => Some(
                "is text: write names as ids or layer labels, and convert text to paths if it is to be drawn",
            ),
            "image" => Some("is a picture: trace it to outlines first"),
            "foreignObject" => Some("is not SVG"),
            _ => None,
        };
        if let Some(why) = not_shape.or(style.unseen()) {
            self.leave(tag, label, why);
            return;
        }
        let canvas = Canvas { to_mm, viewport, tolerance: self.tolerance, budget: self.budget };
        match canvas.draw(node) {
            Err(fault) => self.push(node, fault),
            Ok(Drawn::Nothing(why)) => self.leave(tag, label, why),
            Ok(Drawn::Lines(lines)) => {
                self.drawing.used += 1;
                if style.clipped {
                    let warning = Fault::new(
                        "it is clipped or masked; it was read whole",
                        "cut it in the drawing program if the clip is meant",
                    );
                    self.drawing.warnings.push(self.labels.at(node, warning));
                }
                if style.marker_only_at_start
                    && meaning_of_names(&self.names) == Meaning::Role(Role::Arrow)
                {
                    let what = "the arrow has a marker at its start and none at its end, so that it seems drawn from head to tail";
                    self.fault(
                        node,
                        what,
                        "put the marker at the end, and draw the arrow from tail to head",
                    );
                }
                for line in lines {
                    let names = self.names.clone();
                    self.budget.told(&names, &label);
                    self.drawing.lines.push(DrawnLine {
                        points: line.points,
                        closed: line.closed,
                        names,
                        role: None,
                        label: label.clone(),
                    });
                }
            }
        }
    }

    /// Puts down an entity that gives no line.
    fn leave(&mut self, what: &str, label: String, why: &str) {
        let name = shown_name(&self.names);
        self.budget.told(std::slice::from_ref(&name), &label);
        self.drawing.not_used.push(NotUsed {
            what: what.to_string(),
            name,
            label,
            why: why.to_string(),
            is_line: false,
        });
    }

    /// Reports the entities that no part of the drawn tree shows.
    fn never_drawn(&mut self, root: Node<'a, 'input>) {
        for node in
            root.descendants().filter(|n| is_entity(*n) && !self.drawn.contains(&n.id().get()))
        {
            let holder = node
                .ancestors()
                .skip(1)
                .find(|a| !is_container(*a))
                .map(|a| a.tag_name().name().to_string());
            let why = match holder.as_deref() {
                Some("defs" | "symbol") => "is only defined, never drawn".to_string(),
                Some("") | None => "is an alternative that is not drawn".to_string(),
                Some(holder) => format!("lies in a {holder}, which draws no outline"),
            };
            let (what, name) =
                (node.tag_name().name().to_string(), shown_name(&label::names_of(node)));
            let label = self.labels.label(node);
            self.budget.told(std::slice::from_ref(&name), &label);
            if self.budget.is_spent() {
                return;
            }
            self.drawing.not_used.push(NotUsed { what, name, label, why, is_line: false });
        }
    }

    fn instance_label(&self, node: Node<'a, 'input>) -> String {
        let mut label = self.labels.label(node);
        for by in self.uses.iter().rev() {
            label.push_str(" by ");
            label.push_str(by);
        }
        label
    }

    /// Adds the names of an element; how many.
    fn push_names(&mut self, node: Node<'a, 'input>) -> usize {
        let names = label::names_of(node);
        let count = names.len();
        self.names.extend(names);
        count
    }
}
