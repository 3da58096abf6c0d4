//! The scale card: where its marks are, mm.
//!
//! A card is a frame of 180 × 120 mm with six round marks in it, three along each long side. A mark
//! is a black disc with a white disc in it and one to five black dots in that. How many dots a mark
//! has can be counted under any perspective and much blur, and the centre of the disc is found to a
//! small part of a pixel. Corner marks have 1, 2, 3 and 4 dots, anticlockwise from the lower left,
//! which tells how the card lies and whether the photo is mirrored; the dots of the two marks
//! between them are its number.

use crate::geometry::{Path, Point, point};

/// Width of the frame, mm: what `--card-width` corrects.
pub const WIDTH: f64 = 180.0;
/// Height of the frame, mm.
pub const HEIGHT: f64 = 120.0;
/// Radius of the black disc of a mark, mm.
pub const MARK_RADIUS: f64 = 12.0;
/// Radius of the white disc in it, mm.
pub const WHITE_RADIUS: f64 = 8.5;
/// Radius of a dot, mm.
pub const DOT_RADIUS: f64 = 1.8;
/// Distance of the dots from the middle of their mark, mm, if there are several.
pub const DOT_CIRCLE: f64 = 5.0;
/// Half the distance between the marks at the two ends, mm.
pub(super) const MARK_X: f64 = 72.0;
/// Half the distance between the two rows of marks, mm.
pub(super) const MARK_Y: f64 = 42.0;
/// Most dots in a mark.
pub(super) const MOST_DOTS: usize = 5;
/// Cards with different numbers.
pub const NUMBERS: usize = MOST_DOTS * MOST_DOTS;

/// One mark of a card.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct CardMark {
    /// Its centre, mm from the middle of the card, y up.
    pub centre: Point,
    /// How many dots it has, 1 to 5.
    pub dots: usize,
}

/// Centres of the marks, mm from the middle of the card: the corners anticlockwise from the lower
/// left, then the lower and the upper middle.
pub(super) const CENTRES: [Point; 6] = [
    point(-MARK_X, -MARK_Y),
    point(MARK_X, -MARK_Y),
    point(MARK_X, MARK_Y),
    point(-MARK_X, MARK_Y),
    point(0.0, -MARK_Y),
    point(0.0, MARK_Y),
];

/// The marks of the card of a number, 1 to [`NUMBERS`]; other numbers count round.
pub fn marks(number: usize) -> [CardMark; 6] {
    let code = (number + NUMBERS - 1) % NUMBERS;
    let dots = [1, 2, 3, 4, code / MOST_DOTS + 1, code % MOST_DOTS + 1];
    std::array::from_fn(|i| CardMark { centre: CENTRES[i], dots: dots[i] })
}

/// The number that the dots of the lower and upper middle mark make.
pub(super) fn number_of(lower: usize, upper: usize) -> usize {
    (lower - 1) * MOST_DOTS + upper
}

/// Centres of the dots of a mark, mm from the middle of the mark.
pub fn dot_centres(dots: usize) -> Vec<Point> {
    if dots <= 1 {
        return vec![point(0.0, 0.0); dots];
    }
    let angle =
        |i: usize| std::f64::consts::TAU * i as f64 / dots as f64 + std::f64::consts::FRAC_PI_2;
    (0..dots).map(|i| point(libm::cos(angle(i)), libm::sin(angle(i))) * DOT_CIRCLE).collect()
}

/// The corners of the frame, mm from the middle of the card, anticlockwise.
pub(super) fn frame() -> Path {
    let (x, y) = (WIDTH / 2.0, HEIGHT / 2.0);
    vec![point(-x, -y), point(x, -y), point(x, y), point(-x, y)]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_number_has_dots_of_its_own() {
        for number in 1..=NUMBERS {
            let marks = marks(number);
            assert_eq!(number_of(marks[4].dots, marks[5].dots), number);
            assert_eq!([1, 2, 3, 4], [marks[0].dots, marks[1].dots, marks[2].dots, marks[3].dots]);
        }
    }

    #[test]
    fn dots_keep_clear_of_each_other_and_of_the_ring() {
        for count in 1..=MOST_DOTS {
            let dots = dot_centres(count);
            assert_eq!(dots.len(), count);
            for (i, a) in dots.iter().enumerate() {
                assert!(a.length() + DOT_RADIUS < WHITE_RADIUS - 1.5);
                assert!(dots[..i].iter().all(|b| a.distance(*b) > 2.0 * DOT_RADIUS + 2.0));
            }
        }
    }
}
