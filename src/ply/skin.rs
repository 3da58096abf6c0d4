//! A template's lines in one frame: drawing frame in, template frame out, and on into the cloth
//! frame.

use crate::geometry::{Motion, Path, Point, Ring, point};
use crate::job::{Job, TakenOff, Template, TemplateSource};
use crate::outline::EdgeKind;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// A template's lines in one frame, mm, on the 1 µm grid. Net line anticlockwise, holes clockwise.
#[derive(Clone, Debug, PartialEq)]
pub struct Skin {
    /// The net line.
    pub net: Ring,
    /// Kind of each edge `net[i]` to `net[i + 1]`.
    pub edges: Vec<EdgeKind>,
    /// Holes.
    pub holes: Vec<Ring>,
    /// Relief cuts and notches.
    pub cuts: Vec<Path>,
    /// Other lines carried along.
    pub marks: Vec<Path>,
    /// Zones no splice may enter.
    pub no_splice: Vec<Ring>,
}

/// A template in its template frame: seen from the side that faced the worker, looking at the mould
/// surface.
#[derive(Clone, Debug, PartialEq)]
pub struct TemplateFrame {
    /// The lines.
    pub skin: Skin,
    /// The part's 0°, degrees anticlockwise from +x.
    pub arrow: f64,
    /// What is found by eye on the skin itself; `None` of a strip or local patch, of which no skin
    /// was taken.
    pub inked: Option<Inked>,
}

/// What is found by eye on the skin that a template was taken as: template frame, mm, on the 1 µm
/// grid.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Inked {
    /// With its inked side up the skin shows the mirror image of the template frame: it was taken
    /// off a plug.
    pub mirrored: bool,
    /// The 0° arrow as it is drawn, tail to head, if it is.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub arrow: Option<[Point; 2]>,
    /// Sharp corners of the net line.
    pub corners: Vec<InkedCorner>,
}

/// A sharp corner of a net line.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct InkedCorner {
    /// Its name, as the check picture of a tracing has it.
    pub name: String,
    /// A point of the net line.
    pub at: Point,
}

/// The template frame of `job.templates[index]`, or `None` past the end of the list.
///
/// A drawing that shows the other hand (off a plug, or inked side down, but not both) is mirrored
/// about its arrow, which stays where it is. A local patch is drawn on its host and shares the
/// host's arrow and hand.
pub fn template_frame(job: &Job, index: usize) -> Option<TemplateFrame> {
    let template = job.templates.get(index)?;
    let host = host_of(job, template);
    let lines = Skin::as_drawn(template);
    let motion = host.drawn_mirrored().then(|| mirror_about(host.arrow));
    let moved = |p: Point| motion.map_or(p, |m| m.apply(p).snapped());
    let inked = matches!(template.source, TemplateSource::Drawing { .. }).then(|| Inked {
        mirrored: template.taken_off == TakenOff::Plug,
        arrow: template.outline.arrow().map(|ends| ends.map(moved)),
        corners: template
            .corners
            .iter()
            .filter(|c| c.sharp)
            .map(|c| InkedCorner { name: c.name.clone(), at: moved(c.at) })
            .collect(),
    });
    let skin = match motion {
        Some(m) => lines.moved(&m),
        None => lines,
    };
    Some(TemplateFrame { skin, arrow: host.arrow, inked })
}

/// The template whose frame this one shares: itself, or for a patch what it lies on.
pub(super) fn host_of<'a>(job: &'a Job, template: &'a Template) -> &'a Template {
    let mut at = template;
    // A patch on a patch is followed down; a circle ends with the count.
    for _ in 0..job.templates.len() {
        let TemplateSource::Patch { on, .. } = &at.source else {
            break;
        };
        let Some(next) = job.templates.iter().find(|t| t.id == *on) else {
            break;
        };
        at = next;
    }
    at
}

/// The mirror about the line through the origin in direction `arrow`, degrees.
fn mirror_about(arrow: f64) -> Motion {
    Motion::new(-2.0 * arrow, true, point(0.0, 0.0))
}

impl Skin {
    /// The lines as the drawing has them, each edge with its kind: the drawing's own word, else the
    /// template's.
    fn as_drawn(template: &Template) -> Skin {
        let outline = &template.outline;
        Skin {
            net: outline.net().clone(),
            edges: outline.edges().iter().map(|kind| kind.unwrap_or(template.edge)).collect(),
            holes: outline.holes().to_vec(),
            cuts: outline.cuts().to_vec(),
            marks: outline.marks().to_vec(),
            no_splice: outline.no_splice().to_vec(),
        }
    }

    /// The lines moved, snapped to the grid; under a mirror every ring still runs the way it should
    /// and every edge keeps its kind.
    #[must_use]
    pub fn moved(&self, motion: &Motion) -> Skin {
        let mut edges = self.edges.clone();
        if motion.mirrors() {
            // Edge i of the reversed ring is the old edge n - 2 - i.
            edges.reverse();
            edges.rotate_left(1.min(self.edges.len()));
        }
        let rings = |rings: &[Ring]| rings.iter().map(|r| motion.ring(r)).collect();
        let paths = |paths: &[Path]| paths.iter().map(|p| motion.path(p)).collect();
        Skin {
            net: motion.ring(&self.net),
            edges,
            holes: rings(&self.holes),
            cuts: paths(&self.cuts),
            marks: paths(&self.marks),
            no_splice: rings(&self.no_splice),
        }
    }

    /// The net line and the holes.
    pub fn rings(&self) -> impl Iterator<Item = &Ring> {
        std::iter::once(&self.net).chain(&self.holes)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geometry::Point;

    #[test]
    fn edges_keep_their_kind_under_a_mirror() {
        let skin = Skin {
            net: vec![point(0.0, 0.0), point(3.0, 0.0), point(3.0, 1.0), point(0.0, 2.0)],
            edges: vec![EdgeKind::Trim, EdgeKind::Lap, EdgeKind::Butt, EdgeKind::Dart],
            holes: Vec::new(),
            cuts: Vec::new(),
            marks: Vec::new(),
            no_splice: Vec::new(),
        };
        let mirrored = skin.moved(&mirror_about(0.0));
        for (i, kind) in skin.edges.iter().enumerate() {
            let (a, b) = (skin.net[i], skin.net[(i + 1) % 4]);
            let flip = |p: Point| point(p.x, -p.y + 0.0);
            let j = (0..4)
                .find(|&j| mirrored.net[j] == flip(b) && mirrored.net[(j + 1) % 4] == flip(a));
            assert_eq!(j.map(|j| mirrored.edges[j]), Some(*kind));
        }
    }

    #[test]
    fn the_mirror_about_the_arrow_leaves_the_arrow() {
        let m = mirror_about(20.0);
        let tip = Motion::turn(20.0).apply(point(100.0, 0.0));
        assert!(m.apply(tip).distance(tip) < 1e-9);
        let left = Motion::turn(20.0).apply(point(100.0, 30.0));
        let right = Motion::turn(20.0).apply(point(100.0, -30.0));
        assert!(m.apply(left).distance(right) < 1e-9);
    }
}
