//! Marks → cards: which six marks make a card, which card it is, and whether the photo is mirrored.

use super::card::{CENTRES, MARK_X, MARK_Y, number_of};
use super::marks::Mark;
use crate::geometry::Point;
use crate::geometry::homography::{apply, homography};

/// A card in a photo: the pixels of its six marks, in the order of [`CENTRES`].
#[derive(Clone, Debug, PartialEq)]
pub(super) struct FoundCard {
    /// Its number, 1 to 25.
    pub number: usize,
    /// Its marks.
    pub marks: [Mark; 6],
}

/// What the marks of a photo make.
#[derive(Clone, Debug, Default, PartialEq)]
pub(super) struct Found {
    /// Whole cards, from left to right.
    pub cards: Vec<FoundCard>,
    /// Marks of no whole card: one is hidden, cut off or blurred.
    pub loose: Vec<Mark>,
    /// Cards whose corners run the wrong way round.
    pub mirrored: usize,
}

/// How far a distance between marks may be off what the marks' own shapes say: perspective across a
/// card.
const OFF: f64 = 0.2;

/// Sorts marks into cards.
pub(super) fn find_cards(marks: &[Mark]) -> Found {
    let mut used = vec![false; marks.len()];
    let mut found = Found::default();
    let apart = |a: &Mark, b: &Mark, expected: f64| {
        let d = b.centre - a.centre;
        let mm = (a.mm(d) + b.mm(d)) / 2.0;
        (mm / expected - 1.0).abs() < OFF
    };
    let of = |dots: usize| marks.iter().enumerate().filter(move |(_, m)| m.dots == dots);
    let diagonal = libm::hypot(2.0 * MARK_X, 2.0 * MARK_Y);
    for (i1, m1) in of(1) {
        for (i2, m2) in of(2).filter(|(_, m)| apart(m1, m, 2.0 * MARK_X)) {
            for (i3, m3) in
                of(3).filter(|(_, m)| apart(m2, m, 2.0 * MARK_Y) && apart(m1, m, diagonal))
            {
                for (i4, m4) in of(4).filter(|(_, m)| {
                    apart(m3, m, 2.0 * MARK_X)
                        && apart(m1, m, 2.0 * MARK_Y)
                        && apart(m2, m, diagonal)
                }) {
                    if [i1, i2, i3, i4].iter().any(|&i| used[i]) {
                        continue;
                    }
                    let corners = [m1.centre, m2.centre, m3.centre, m4.centre];
                    let Some(h) = homography(&CENTRES[..4], &corners) else {
                        continue;
                    };
                    let near = |centre: Point| {
                        let p = apply(&h, centre);
                        let nearest = |a: &(usize, &Mark), b: &(usize, &Mark)| {
                            a.1.centre.distance(p).total_cmp(&b.1.centre.distance(p))
                        };
                        marks
                            .iter()
                            .enumerate()
                            .filter(|(i, _)| !used[*i])
                            .min_by(nearest)
                            .filter(|(_, m)| m.mm(m.centre - p) < 5.0)
                    };
                    let (Some((i5, m5)), Some((i6, m6))) = (near(CENTRES[4]), near(CENTRES[5]))
                    else {
                        continue;
                    };
                    for i in [i1, i2, i3, i4, i5, i6] {
                        used[i] = true;
                    }
                    // In a photo y runs down: what is anticlockwise on paper has a negative cross
                    // product.
                    if (m2.centre - m1.centre).cross(m4.centre - m1.centre) > 0.0 {
                        found.mirrored += 1;
                    } else {
                        found.cards.push(FoundCard {
                            number: number_of(m5.dots, m6.dots),
                            marks: [*m1, *m2, *m3, *m4, *m5, *m6],
                        });
                    }
                }
            }
        }
    }
    found.loose = marks.iter().zip(&used).filter(|(_, used)| !**used).map(|(m, _)| *m).collect();
    found.cards.sort_by(|a, b| a.marks[0].centre.x.total_cmp(&b.marks[0].centre.x));
    found
}
