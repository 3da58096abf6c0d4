//! Lattices: where all coordinates of the pieces are multiples of one coarse measure, and all edges
//! run along, across or midway between, the places where they close on each other are multiples of
//! it too. (Edges of other slopes meet anywhere.)

use super::form::{Base, Slopes};

/// A lattice finer than this share of the mean piece's side says nothing about where pieces go.
const COARSE: f64 = 0.03;

/// The measure of the lattice, µm.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Lattice(f64);

impl Lattice {
    /// The greatest common measure of all pieces' coordinates and the gap, if it is coarse and
    /// every edge a multiple of 45° (of 90° with a gap).
    pub fn of(bases: &[Base], gap: i64, mean_area: f64) -> Option<Lattice> {
        let mut measure = gap;
        // Slanted edges kept a gap apart are apart by its root of two along and across.
        let steepest = if gap > 0 { Slopes::Quarters } else { Slopes::Eighths };
        for base in bases.iter().filter(|b| !b.stock) {
            let corner = base.frames[0].min;
            if base.slopes > steepest {
                return None;
            }
            for v in base.turned[0].iter().flatten().map(|v| v.minus(corner)) {
                measure = common(common(measure, v.x), v.y);
                if measure == 1 {
                    return None;
                }
            }
        }
        (measure as f64 >= COARSE * mean_area.sqrt()).then_some(Lattice(measure as f64))
    }

    /// The coordinate nearest to `at` that is whole steps from `wall`, where a piece touches the
    /// stock's edge.
    #[inline]
    pub fn snapped(self, at: f64, wall: f64) -> f64 {
        wall + self.whole(at - wall)
    }

    /// Whole steps nearest to `by`.
    #[inline]
    pub fn whole(self, by: f64) -> f64 {
        (by / self.0).round() * self.0
    }

    /// One step.
    pub fn step(self) -> f64 {
        self.0
    }

    /// The length on the lattice below `best` that is nearest to `wanted`.
    pub fn below(self, best: f64, wanted: f64) -> f64 {
        let next = ((best / self.0).ceil() - 1.0) * self.0;
        self.whole(wanted).min(next)
    }
}

/// Greatest common divisor.
fn common(a: i64, b: i64) -> i64 {
    let (mut a, mut b) = (a.abs(), b.abs());
    while b != 0 {
        (a, b) = (b, a % b);
    }
    a
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;
    use crate::geometry::{Region, Ring, point};
    use crate::nest::setup::Setup;
    use crate::nest::{Extent, Pose, Problem, Shape, Stock};

    fn shape(outline: Ring, turn: f64) -> Shape {
        Shape {
            name: "plate".into(),
            region: Region::solid(outline),
            poses: vec![Pose { turn, flip: false }],
            tolerance: 0.0,
            copies: 1,
            may_cross: false,
        }
    }

    fn lattice_of(shapes: Vec<Shape>, gap: f64) -> Option<f64> {
        let extent = Extent::Open { low: 0.0, high: 500.0, segment_max: None, length_max: None };
        let strip = Stock { name: "roll".into(), extent, keep_out: Vec::new() };
        let setup = Setup::new(&Problem::new(shapes, vec![strip], gap).unwrap());
        Lattice::of(&setup.bases, setup.gap, setup.mean_area).map(Lattice::step)
    }

    /// Plates of these sides, with one corner cut off by `cut` along and across.
    fn lattice(sides: &[(f64, f64)], cut: (f64, f64), turn: f64, gap: f64) -> Option<f64> {
        let plate = |&(w, h): &(f64, f64)| {
            let corners = [(0.0, 0.0), (w, 0.0), (w, h - cut.1), (w - cut.0, h), (0.0, h)];
            shape(corners.map(|(x, y)| point(3.2 + x, 1.7 + y)).to_vec(), turn)
        };
        lattice_of(sides.iter().map(plate).collect(), gap)
    }

    #[test]
    fn the_measure_is_that_of_the_sides_and_the_gap_wherever_the_drawing_lies() {
        let ten = (10.0, 10.0);
        assert_eq!(lattice(&[(60.0, 40.0), (100.0, 20.0)], ten, 0.0, 0.0), Some(10_000.0));
        assert_eq!(lattice(&[(60.0, 40.0), (100.0, 20.0)], ten, 90.0, 0.0), Some(10_000.0));
        assert_eq!(lattice(&[(60.0, 40.0), (100.0, 20.0)], (0.0, 0.0), 90.0, 5.0), Some(5_000.0));
        assert_eq!(lattice(&[(60.0, 40.0), (100.0, 20.1)], ten, 0.0, 0.0), None);
        assert_eq!(lattice(&[(60.0, 40.0)], ten, 30.0, 0.0), None);
    }

    #[test]
    fn slanted_edges_a_gap_apart_have_no_lattice() {
        assert_eq!(lattice(&[(60.0, 40.0), (100.0, 20.0)], (10.0, 10.0), 0.0, 10.0), None);
    }

    /// Two slanted edges meet at any place along each other, so their pieces lie off the lattice of
    /// their corners.
    #[test]
    fn a_slope_that_is_no_multiple_of_45_degrees_has_no_lattice() {
        assert_eq!(lattice(&[(60.0, 40.0), (100.0, 20.0)], (20.0, 10.0), 0.0, 0.0), None);
    }

    /// A hook is cut into convex parts along slopes of its own, none of which is an edge.
    #[test]
    fn the_cuts_within_a_piece_are_no_edges_of_it() {
        let hook = [
            (0.0, 0.0),
            (60.0, 0.0),
            (60.0, -20.0),
            (70.0, -20.0),
            (110.0, 20.0),
            (110.0, 40.0),
            (80.0, 40.0),
            (80.0, 10.0),
        ];
        let hook = hook
            .into_iter()
            .chain([(20.0, 10.0), (20.0, 40.0), (0.0, 40.0)])
            .map(|(x, y)| point(x, y))
            .collect();
        assert_eq!(lattice_of(vec![shape(hook, 0.0)], 0.0), Some(10_000.0));
    }

    #[test]
    fn lengths_are_below_the_best_and_on_the_lattice() {
        let l = Lattice(20.0);
        assert_eq!(l.below(200.0, 199.0), 180.0);
        assert_eq!(l.below(201.0, 199.0), 200.0);
        assert_eq!(l.below(200.0, 149.0), 140.0);
        assert_eq!(l.snapped(38.0, 5.0), 45.0);
    }
}
