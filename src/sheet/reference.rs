//! What a person finds on a piece to lay it by: the inked arrow and the corners of its template, or
//! the corners of its own cut line.
//!
//! All in the piece's own frame, so that each copy on the placement sheet and the printed template
//! name the same points.

use super::text::decimals;
use crate::geometry::{Motion, Point, Region, Ring, clip, point, ring_bounds, ring_contains};
use crate::plan::{Plan, PlanPiece, PlanTemplate};
use crate::ply::Hand;
use crate::trace::{simplified, simplified_line};

/// Straight lines from corner to corner stay this close to the cut line, mm.
const CLOSE: f64 = 0.8;

/// Marks nearer to each other than this share of the template's size do not tell how it is turned:
/// an inked arrow, and corners.
const SHARE: [f64; 2] = [0.2, 1.0 / 3.0];

/// A named point of a piece.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Mark {
    /// `tail` and `head` of the arrow, `A` for a corner as the check picture names it, `P` for a
    /// point to be inked, `1` for a corner of the cut line.
    pub name: String,
    /// Where, piece frame.
    pub at: Point,
}

/// What serves to lay one piece.
#[derive(Clone, Debug, Default, PartialEq)]
pub(crate) struct References {
    /// Points of the template's skin; none if the piece is not laid by a template.
    pub marks: Vec<Mark>,
    /// What must be inked before that, in words.
    pub to_ink: Option<String>,
    /// Corners of the cut line and its holes, ring by ring; none if the template alone gives the
    /// piece.
    pub corners: Vec<Vec<Mark>>,
    /// The corners are the ends of splices alone.
    pub splice_only: bool,
    /// The inked arrow, tail to head, if it lies on the piece.
    pub arrow: Option<[Point; 2]>,
}

/// The template of a piece.
fn template_of<'p>(plan: &'p Plan, piece: &PlanPiece) -> Option<&'p PlanTemplate> {
    plan.templates.iter().find(|t| t.template == piece.template && t.job == piece.job)
}

/// From the template frame to the frame of one of its pieces.
fn onto_piece(template: &PlanTemplate, piece: &PlanPiece) -> Motion {
    match piece.hand {
        Hand::AsTraced => Motion::new(-template.arrow - piece.angle, false, piece.origin),
        // Arrow to +x, mirror about it, warp to +x: a turn passes through the mirror reversed.
        Hand::Mirrored => Motion::new(piece.angle - template.arrow, true, piece.origin),
    }
}

/// Whether a template's skin lies inked side up on the cloth, for a piece that is placed face down
/// or not; `None` if there is no skin.
pub(crate) fn inked_side_up(plan: &Plan, piece: &PlanPiece, face_down: bool) -> Option<bool> {
    let inked = template_of(plan, piece)?.inked.as_ref()?;
    Some(((piece.hand == Hand::Mirrored) != face_down) == inked.mirrored)
}

/// What serves to lay a piece.
pub(crate) fn references(plan: &Plan, piece: &PlanPiece) -> References {
    let mut found = References::default();
    let whole = piece.part.is_none() && piece.patch.is_none();
    let template = template_of(plan, piece).filter(|_| piece.patch.is_none());
    if let Some((template, inked)) = template.and_then(|t| Some((t, t.inked.as_ref()?))) {
        let motion = onto_piece(template, piece);
        let region = Region { outline: piece.outline.clone(), holes: piece.holes.clone() };
        let on_it = |p: Point| whole || clip::contains(&region, p);
        found.arrow = inked
            .arrow
            .map(|ends| ends.map(|p| motion.apply(p)))
            .filter(|ends| ends.iter().all(|&p| on_it(p)));
        let corners: Vec<Mark> = inked
            .corners
            .iter()
            .map(|c| Mark { name: c.name.clone(), at: motion.apply(c.at) })
            .collect();
        let corners: Vec<Mark> = corners.into_iter().filter(|c| on_it(c.at)).collect();
        let rim = piece
            .net
            .iter()
            .max_by(|a, b| extent(a).total_cmp(&extent(b)))
            .map_or_else(Ring::new, |r| simplified(r, 0.2));
        found.marks = marks(found.arrow, &corners);
        let reach = farthest(&found.marks.iter().map(|m| m.at).collect::<Vec<_>>())
            .map_or(0.0, |(_, _, d)| d);
        if reach < SHARE[usize::from(found.arrow.is_none())] * extent(&rim) {
            if whole {
                let (inked, words) = to_ink(&rim);
                found.marks.extend(inked);
                found.to_ink = Some(words);
            } else {
                found.marks.clear();
            }
        }
    }
    if let Some(template) = template.filter(|_| !whole && !found.marks.is_empty()) {
        found.corners = splices(
            &piece.outline,
            &template.net.iter().map(|&p| onto_piece(template, piece).apply(p)).collect(),
        );
        found.splice_only = true;
    }
    if found.marks.is_empty() || (!whole && found.corners.is_empty()) {
        found.splice_only = false;
        found.corners =
            numbered(std::iter::once(&piece.outline).chain(&piece.holes), CLOSE, piece.angle);
    }
    found
}

/// The stretches of a part's cut line that run through its template's net line: its splices, corner
/// by corner.
fn splices(outline: &Ring, net: &Ring) -> Vec<Vec<Mark>> {
    // Where a butt edge is both net line and cut line the two differ by rounding.
    const WITHIN: f64 = 0.5;
    let n = outline.len();
    let rim = |p: Point| {
        (0..net.len())
            .map(|k| p.distance_to_segment(net[k], net[(k + 1) % net.len()]))
            .fold(f64::INFINITY, f64::min)
    };
    // A splice runs from allowance to allowance: what counts is its middle.
    let inner = |i: usize| {
        let p = (outline[i] + outline[(i + 1) % n]) * 0.5;
        ring_contains(net, p) && rim(p) > WITHIN
    };
    let Some(first) = (0..n).find(|&i| !inner(i)) else {
        return Vec::new();
    };
    let mut lines: Vec<Vec<Point>> = Vec::new();
    let mut open = false;
    for i in (0..n).map(|k| (first + k) % n) {
        let (a, b) = (outline[i], outline[(i + 1) % n]);
        match (inner(i), open) {
            (true, true) => lines.last_mut().into_iter().for_each(|l| l.push(b)),
            (true, false) => lines.push(vec![a, b]),
            (false, _) => {}
        }
        open = inner(i);
    }
    let mut count = 0;
    let mut name = |at: Point| {
        count += 1;
        Mark { name: count.to_string(), at }
    };
    lines
        .into_iter()
        .map(|l| simplified_line(&l, CLOSE).into_iter().map(&mut name).collect())
        .collect()
}

/// The corners of rings as straight lines from corner to corner that stay within `close` mm of
/// them, numbered through. Rings that differ by a turn are numbered alike if `angle` (degrees)
/// brings them into one frame.
pub(crate) fn numbered<'r>(
    rings: impl Iterator<Item = &'r Ring>,
    close: f64,
    angle: f64,
) -> Vec<Vec<Mark>> {
    let mut count = 0;
    let mut name = |at: Point| {
        count += 1;
        Mark { name: count.to_string(), at }
    };
    rings
        .map(|ring| {
            simplified(&from_corner(ring, angle), close).into_iter().map(&mut name).collect()
        })
        .collect()
}

/// The ring begun at its sharpest corner, so that no point in the middle of a side counts as one;
/// of equals the leftmost and lowest.
fn from_corner(ring: &Ring, angle: f64) -> Ring {
    let n = ring.len();
    let bend = |i: usize| {
        let (a, b) = (ring[i] - ring[(i + n - 1) % n], ring[(i + 1) % n] - ring[i]);
        (libm::atan2(a.cross(b).abs(), a.dot(b)) * 100.0).round()
    };
    let (across, along) =
        (Motion::turn(-angle).apply(point(0.0, 1.0)), Motion::turn(-angle).apply(point(1.0, 0.0)));
    let place = |i: usize| ((ring[i].dot(along) * 5.0).round(), ring[i].dot(across));
    let first = (0..n).max_by(|&i, &j| {
        let ((x, y), (u, v)) = (place(i), place(j));
        bend(i).total_cmp(&bend(j)).then(u.total_cmp(&x)).then(v.total_cmp(&y))
    });
    let first = first.unwrap_or(0);
    ring.iter().cycle().skip(first).take(n).copied().collect()
}

/// Ends of the arrow, and the two corners that are farthest apart if that is farther than the arrow
/// is long; without an arrow a third corner, the farthest from their line.
fn marks(arrow: Option<[Point; 2]>, corners: &[Mark]) -> Vec<Mark> {
    let mut found: Vec<Mark> = arrow
        .iter()
        .flat_map(|[tail, head]| [("tail", *tail), ("head", *head)])
        .map(|(n, at)| Mark { name: n.into(), at })
        .collect();
    let points: Vec<Point> = corners.iter().map(|c| c.at).collect();
    match farthest(&points) {
        Some((i, j, apart)) if arrow.is_none_or(|[tail, head]| apart > tail.distance(head)) => {
            found.extend([corners[i].clone(), corners[j].clone()]);
            if arrow.is_none() {
                found.extend(
                    off_line(&points, points[i], points[j])
                        .filter(|k| *k != i && *k != j)
                        .map(|k| corners[k].clone()),
                );
            }
        }
        _ => found.extend(corners.iter().take(2).cloned()),
    }
    found
}

/// Three points of an edge on which nothing is found by eye: the two that are farthest apart and
/// the one farthest from their line. Their distances tell where they lie.
fn to_ink(rim: &[Point]) -> (Vec<Mark>, String) {
    let Some((i, j, apart)) = farthest(rim) else {
        return (Vec::new(), String::new());
    };
    let (p, q) = (rim[i], rim[j]);
    let r = off_line(rim, p, q).map_or(p, |k| rim[k]);
    let mark = |name: &str, at: Point| Mark { name: name.into(), at };
    let mm = |v: f64| decimals(v, 1);
    let words = format!(
        "ink P, Q, R on its edge first: P-Q {} (farthest apart), P-R {}, Q-R {}",
        mm(apart),
        mm(p.distance(r)),
        mm(q.distance(r))
    );
    (vec![mark("P", p), mark("Q", q), mark("R", r)], words)
}

/// The point farthest from a line.
fn off_line(points: &[Point], a: Point, b: Point) -> Option<usize> {
    let off = |k: usize| (b - a).cross(points[k] - a).abs();
    (0..points.len()).max_by(|&i, &j| off(i).total_cmp(&off(j)))
}

/// The two points farthest apart, and how far.
fn farthest(points: &[Point]) -> Option<(usize, usize, f64)> {
    let pairs = (0..points.len()).flat_map(|i| (i + 1..points.len()).map(move |j| (i, j)));
    pairs.map(|(i, j)| (i, j, points[i].distance(points[j]))).max_by(|a, b| a.2.total_cmp(&b.2))
}

/// The diagonal of the box.
fn extent(points: &[Point]) -> f64 {
    ring_bounds(points).map_or(0.0, |b| point(b.width(), b.height()).length())
}
