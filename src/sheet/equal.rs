//! Pieces that one template serves: equal in shape, whatever their layer, cloth and angle.

use super::reference::{Mark, references};
use crate::geometry::{Motion, Path, Point, point, ring_bounds};
use crate::plan::{Plan, PlanPiece, laying_order};

/// Outlines nearer to each other than this are the same, mm: what rounding in different frames
/// leaves.
const SAME: f64 = 0.05;

/// Named points, lines by kind, and the pieces that have them.
type Group<'p> = (Vec<Mark>, Vec<Vec<Path>>, Vec<&'p PlanPiece>);

/// The pieces in groups of equal shape, in laying order.
pub(crate) fn equal_pieces(plan: &Plan) -> Vec<Vec<&PlanPiece>> {
    let mut groups: Vec<Group<'_>> = Vec::new();
    for piece in laying_order(plan) {
        let marks = named_points(plan, piece);
        let lines = in_part_frame(piece, &marks);
        match groups.iter_mut().find(|g| same_names(&g.0, &marks) && same(&g.1, &lines)) {
            Some(group) => group.2.push(piece),
            None => groups.push((marks, lines, vec![piece])),
        }
    }
    groups.into_iter().map(|g| g.2).collect()
}

/// All lines of a piece by kind, closed ones closed: the part's 0° along +x, the box of the cut
/// line at the origin.
fn in_part_frame(piece: &PlanPiece, marks: &[Mark]) -> Vec<Vec<Path>> {
    let turned = Motion::turn(piece.angle);
    let outline: Path = piece.outline.iter().map(|&p| turned.apply(p)).collect();
    let low = ring_bounds(&outline).map_or(Point::default(), |b| b.min);
    let open = |l: &Path| -> Path { l.iter().map(|&p| turned.apply(p) - low).collect() };
    let closed =
        |l: &Path| -> Path { l.iter().chain(l.first()).map(|&p| turned.apply(p) - low).collect() };
    vec![
        vec![closed(&piece.outline)],
        piece.holes.iter().map(closed).collect(),
        piece.net.iter().map(closed).collect(),
        piece.cuts.iter().map(open).collect(),
        piece.marks.iter().map(open).collect(),
        // The placement sheet measures to named points: one template serves those pieces that have
        // them in the same places.
        marks
            .iter()
            .map(|m| turned.apply(m.at) - low)
            .map(|p| vec![p, p + point(SAME, 0.0)])
            .collect(),
    ]
}

/// The points that the placement sheet names, in their order.
fn named_points(plan: &Plan, piece: &PlanPiece) -> Vec<Mark> {
    let found = references(plan, piece);
    found.marks.into_iter().chain(found.corners.into_iter().flatten()).collect()
}

fn same_names(a: &[Mark], b: &[Mark]) -> bool {
    a.iter().map(|m| &m.name).eq(b.iter().map(|m| &m.name))
}

fn same(a: &[Vec<Path>], b: &[Vec<Path>]) -> bool {
    let lines = |a: &[Path], b: &[Path]| {
        a.len() == b.len() && a.iter().zip(b).all(|(a, b)| near(a, b) && near(b, a))
    };
    a.len() == b.len() && a.iter().zip(b).all(|(a, b)| lines(a, b))
}

/// Whether every corner of a line lies on another.
fn near(a: &[Point], b: &[Point]) -> bool {
    let box_of = |l: &[Point]| ring_bounds(l).map(|b| [b.min, b.max]);
    let (Some(x), Some(y)) = (box_of(a), box_of(b)) else {
        return a.is_empty() && b.is_empty();
    };
    x.iter().zip(&y).all(|(p, q)| p.distance(*q) <= 2.0 * SAME)
        && a.iter().all(|p| b.windows(2).any(|s| p.distance_to_segment(s[0], s[1]) <= SAME))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sheet::tests::kayak;

    #[test]
    fn the_same_template_at_another_angle_is_printed_once_and_another_trim_apart() {
        let plan = kayak::plan();
        let numbers: Vec<Vec<&str>> = equal_pieces(&plan)
            .iter()
            .map(|g| g.iter().map(|p| p.number.as_str()).collect())
            .collect();
        // The seat has relief cuts in layer 1, a mark in layer 2, and less trim in layer 4: three
        // templates.
        for own in ["1.1", "2.1", "4.1", "1.3", "1.4"] {
            assert!(numbers.contains(&vec![own]), "{own} in {numbers:?}");
        }
        // The hip plate at 0° and at 45° is one; its other hand is not.
        assert!(numbers.contains(&vec!["1.2", "2.2"]), "{numbers:?}");
    }

    /// A named point was compared with an offset that turned with the piece: at a quarter turn
    /// nothing was equal.
    #[test]
    fn a_piece_at_a_quarter_turn_shares_the_template() {
        let mut plan = kayak::plan();
        let at = plan.pieces.iter().position(|p| p.number == "1.2").unwrap_or_default();
        let mut turned = plan.pieces[at].clone();
        let motion = Motion::turn(-90.0);
        turned.outline = motion.ring(&turned.outline);
        turned.net.iter_mut().for_each(|r| *r = motion.ring(r));
        turned.arrow = turned.arrow.map(|p| motion.apply(p));
        (turned.number, turned.angle) = ("9.9".into(), 90.0);
        plan.pieces.push(turned);
        let groups = equal_pieces(&plan);
        let numbers: Vec<Vec<&str>> =
            groups.iter().map(|g| g.iter().map(|p| p.number.as_str()).collect()).collect();
        assert!(numbers.iter().any(|g| g.contains(&"1.2") && g.contains(&"9.9")), "{numbers:?}");
    }

    /// Two templates of one shape: the placement sheet measured the second to letters that stood
    /// only on the print of the first.
    #[test]
    fn points_of_other_names_are_not_the_same() {
        let marks =
            |names: [&str; 2]| names.map(|name| Mark { name: name.into(), at: point(0.0, 0.0) });
        assert!(same_names(&marks(["A", "C"]), &marks(["A", "C"])));
        assert!(
            !same_names(&marks(["A", "C"]), &marks(["D", "F"]))
                && !same_names(&marks(["A", "C"]), &marks(["A", "C"])[..1])
        );
    }
}
