//! Where a label is thrown: beside its piece, where it meets no line, and never on a piece.

use crate::geometry::{Bounds, Point, Ring, point};
use crate::sheet::{Cells, PieceThrown, leader_end, text_width};

/// Sizes of letters that are tried, mm.
const SIZES: [f64; 3] = [18.0, 12.0, 8.0];
/// What a browser's letters may be wider than those that are reckoned with.
const WIDER: f64 = 1.2;
/// Clear space around words, mm.
const CLEAR: f64 = 4.0;
/// A label farther from its piece has a leader, mm.
const NEAR: f64 = 30.0;
/// How far a leader ends before the cut line, mm.
const SHORT: f64 = 4.0;
/// Cells of the field in which room is looked for.
const CELLS: f64 = 60_000.0;

/// A label at its place.
#[derive(Clone, Debug, PartialEq)]
pub struct Label {
    /// Its lines, the first in large letters.
    pub lines: [String; 2],
    /// Its box, mm.
    pub place: Bounds,
    /// Size of its letters, mm.
    pub size: f64,
    /// The line that leads to its piece.
    pub leader: Option<[Point; 2]>,
}

/// Room for labels in a field among pieces and other lines.
pub struct Room<'p> {
    cells: Cells,
    pieces: &'p [&'p PieceThrown],
    lines: Vec<[Point; 2]>,
}

fn sides(ring: &Ring) -> impl Iterator<Item = [Point; 2]> + '_ {
    (0..ring.len()).map(|i| [ring[i], ring[(i + 1) % ring.len()]])
}

impl<'p> Room<'p> {
    /// The room in a field where these pieces and lines are thrown; all in one frame.
    pub fn new(field: Bounds, pieces: &'p [&'p PieceThrown], lines: Vec<[Point; 2]>) -> Room<'p> {
        const TAKEN: u32 = 1;
        let mut cells = Cells::new(field, CELLS, 2.0);
        for piece in pieces {
            // The outer ring alone: what falls out of a hole is no place for its words.
            cells.fill(&piece.rings[..piece.rings.len().min(1)], TAKEN);
            piece.rings.iter().for_each(|r| cells.mark_ring(r, TAKEN));
            piece.cuts.iter().for_each(|c| cells.mark_path(c, TAKEN));
        }
        lines.iter().for_each(|[a, b]| cells.mark(*a, *b, TAKEN));
        Room { cells, pieces, lines }
    }

    /// A place for a piece's label; `None` if there is no room.
    pub fn place(&mut self, piece: &PieceThrown) -> Option<Label> {
        let lines = piece.label();
        let summed = self.cells.summed();
        let near = piece.bounds.centre();
        for size in SIZES {
            let widths =
                [text_width(&lines[0], size, true), text_width(&lines[1], 0.6 * size, false)];
            let (width, height) = (WIDER * widths[0].max(widths[1]), 2.1 * size);
            let Some((_, middle)) = summed.largest(width, height, CLEAR, 1.0, 1.0, near) else {
                continue;
            };
            let half = point(width, height) * 0.5;
            let place = Bounds { min: middle - half, max: middle + half };
            let (end, foot) = self.nearest(piece, &place)?;
            let far = end.distance(foot);
            let leader = (far > NEAR).then(|| [end, foot + (end - foot) * (SHORT / far)]);
            if leader.is_some_and(|l| self.meets(l)) {
                continue;
            }
            let around = Bounds {
                min: place.min - point(CLEAR, CLEAR),
                max: place.max + point(CLEAR, CLEAR),
            };
            self.cells.fill(&[around.ring()], 1);
            // No later leader runs through these words.
            self.lines.extend(sides(&place.ring()));
            if let Some([a, b]) = leader {
                self.cells.mark(a, b, 1);
                self.lines.push([a, b]);
            }
            return Some(Label { lines, place, size, leader });
        }
        None
    }

    /// The ends of the shortest line from a box to a piece's cut line.
    fn nearest(&self, piece: &PieceThrown, place: &Bounds) -> Option<(Point, Point)> {
        let foot = |[a, b]: [Point; 2]| {
            let ab = b - a;
            let t = |p: Point| ((p - a).dot(ab) / ab.dot(ab).max(1e-12)).clamp(0.0, 1.0);
            // Between a box and a segment: to and fro until it stands.
            let mut on = a + ab * t(place.centre());
            for _ in 0..20 {
                on = a + ab * t(leader_end(place, on));
            }
            (leader_end(place, on), on)
        };
        let outer = piece.rings.first()?;
        sides(outer).map(foot).min_by(|p, q| p.0.distance(p.1).total_cmp(&q.0.distance(q.1)))
    }

    /// Whether a leader crosses a line.
    fn meets(&self, leader: [Point; 2]) -> bool {
        let pieces = self.pieces.iter();
        let rings = pieces.flat_map(|p| p.rings.iter().flat_map(sides));
        let cuts = self.pieces.iter().flat_map(|p| &p.cuts);
        let cuts = cuts.flat_map(|c| c.windows(2).map(|w| [w[0], w[1]]));
        rings.chain(cuts).chain(self.lines.iter().copied()).any(|line| cross(leader, line))
    }
}

/// Whether two segments have a point in common.
fn cross([a, b]: [Point; 2], [c, d]: [Point; 2]) -> bool {
    let side = |p: Point, q: Point, r: Point| (q - p).cross(r - p);
    let (s, t) = (side(a, b, c) * side(a, b, d), side(c, d, a) * side(c, d, b));
    let near = a.distance_to_segment(c, d).min(b.distance_to_segment(c, d)) < 1e-9;
    (s < 0.0 && t < 0.0) || near
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::geometry::{ring_bounds, ring_contains};

    const FIELD: Bounds = Bounds { min: point(0.0, 0.0), max: point(1000.0, 700.0) };

    fn piece(ring: Vec<Point>) -> PieceThrown {
        PieceThrown {
            number: "12".into(),
            words: "deck · layer 2 · +45° · mirrored".into(),
            face_down: true,
            bounds: ring_bounds(&ring).unwrap(),
            rings: vec![ring],
            cuts: Vec::new(),
        }
    }

    fn rectangle(x: f64, y: f64, w: f64, h: f64) -> PieceThrown {
        piece(Bounds { min: point(x, y), max: point(x + w, y + h) }.ring())
    }

    fn holds(label: &Label, pieces: &[&PieceThrown]) {
        for p in pieces {
            let ring = &p.rings[0];
            let corners = label.place.ring();
            assert!(!corners.iter().any(|c| ring_contains(ring, *c)), "{label:?}");
            for side in sides(ring) {
                assert!(!sides(&corners).any(|s| cross(s, side)), "{label:?}");
                assert!(!label.leader.is_some_and(|l| cross(l, side)), "{label:?}");
            }
        }
    }

    #[test]
    fn a_label_says_the_face_and_stands_beside_its_piece() {
        let own = rectangle(300.0, 200.0, 300.0, 200.0);
        let pieces = [&own];
        let label = Room::new(FIELD, &pieces, Vec::new()).place(&own).unwrap();
        assert_eq!(label.lines[0], "12 · FACE DOWN");
        assert_eq!(label.leader, None);
        holds(&label, &pieces);
    }

    /// In the hollow of a bow there is room, and in a hole that falls out there is none.
    #[test]
    fn no_label_lies_in_a_hole() {
        let mut own = rectangle(10.0, 10.0, 980.0, 640.0);
        own.rings.push(rectangle(200.0, 100.0, 600.0, 400.0).rings.remove(0));
        let pieces = [&own];
        let label = Room::new(FIELD, &pieces, Vec::new()).place(&own);
        assert!(label.is_none_or(|l| l.place.min.y > 650.0));
    }

    #[test]
    fn far_from_its_piece_a_leader_leads_there_and_crosses_nothing() {
        // Bars all around leave room at the left only.
        let own = rectangle(500.0, 300.0, 60.0, 60.0);
        let bars = [
            rectangle(300.0, 0.0, 700.0, 290.0),
            rectangle(300.0, 370.0, 700.0, 330.0),
            rectangle(570.0, 295.0, 430.0, 70.0),
        ];
        let pieces: Vec<&PieceThrown> = std::iter::once(&own).chain(&bars).collect();
        let label = Room::new(FIELD, &pieces, Vec::new()).place(&own).unwrap();
        holds(&label, &pieces);
    }

    #[test]
    fn many_labels_meet_neither_lines_nor_each_other() {
        let all: Vec<PieceThrown> = (0..12)
            .map(|i| (f64::from(i % 4) * 240.0 + 10.0, f64::from(i / 4) * 230.0 + 10.0))
            .map(|(x, y)| rectangle(x, y, 120.0, 150.0))
            .collect();
        let pieces: Vec<&PieceThrown> = all.iter().collect();
        let mut room = Room::new(FIELD, &pieces, vec![[point(0.0, 690.0), point(1000.0, 690.0)]]);
        let labels: Vec<Label> = all.iter().filter_map(|p| room.place(p)).collect();
        assert!(labels.len() >= 8, "{}", labels.len());
        for (i, label) in labels.iter().enumerate() {
            holds(label, &pieces);
            for other in &labels[..i] {
                let (a, b) = (&label.place, &other.place);
                let apart = a.max.x < b.min.x || b.max.x < a.min.x;
                assert!(apart || a.max.y < b.min.y || b.max.y < a.min.y);
                // A leader once ran through the words of the label before.
                for (one, other) in [(label, other), (other, label)] {
                    let ring = one.place.ring();
                    assert!(!other.leader.is_some_and(|l| sides(&ring).any(|s| cross(l, s))));
                }
            }
        }
    }

    #[test]
    fn where_there_is_no_room_there_is_no_label() {
        let own = rectangle(0.0, 0.0, 1000.0, 700.0);
        let pieces = [&own];
        assert_eq!(Room::new(FIELD, &pieces, Vec::new()).place(&own), None);
    }
}
