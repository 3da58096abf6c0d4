//! How large a piece is in each of its turns, and whether it fits the cloth and the bench.

use crate::cloth::Permitted;
use crate::geometry::{Bounds, Motion, Point, Region, ring_bounds};

/// A piece that is larger by no more than rounding still fits, mm.
const ROUNDING: f64 = 0.0005;

/// The room for one piece.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Room {
    /// Between the selvedges, mm.
    pub width: f64,
    /// Along the warp, mm: bench or roll, whichever is shorter.
    pub length: f64,
}

/// The box of a piece turned by `turn` degrees. A mirror about x does not change its size.
fn turned(region: &Region, turn: f64) -> Option<Bounds> {
    let motion = Motion::turn(turn);
    let points: Vec<Point> = region.outline.iter().map(|&p| motion.apply(p)).collect();
    ring_bounds(&points)
}

/// Each permitted turn once, half turns being of one size.
fn turns(permitted: &[Permitted]) -> Vec<f64> {
    let mut turns: Vec<f64> = permitted.iter().map(|p| p.turn.rem_euclid(180.0)).collect();
    turns.sort_by(f64::total_cmp);
    turns.dedup();
    turns
}

/// True if some permitted turn, exact or off by the whole tolerance either way, passes `test`
/// (extent along the warp, across it; mm).
fn any_turn(
    region: &Region,
    permitted: &[Permitted],
    tolerance: f64,
    test: impl Fn(f64, f64) -> bool,
) -> bool {
    turns(permitted).into_iter().any(|turn| {
        let off: &[f64] = if tolerance > 0.0 { &[0.0, -tolerance, tolerance] } else { &[0.0] };
        off.iter()
            .any(|off| turned(region, turn + off).is_some_and(|b| test(b.width(), b.height())))
    })
}

/// True if the piece fits between the selvedges in some permitted turn.
pub(super) fn fits_width(
    region: &Region,
    permitted: &[Permitted],
    tolerance: f64,
    room: Room,
) -> bool {
    any_turn(region, permitted, tolerance, |_, y| y <= room.width + ROUNDING)
}

/// True if the piece fits both ways in some permitted turn.
pub(super) fn fits(region: &Region, permitted: &[Permitted], tolerance: f64, room: Room) -> bool {
    any_turn(region, permitted, tolerance, |x, y| {
        y <= room.width + ROUNDING && x <= room.length + ROUNDING
    })
}

/// The size in each permitted turn, length by width: `1480.0 x 2310.5 mm at 0, 2310.5 x 1480.0 mm
/// at 90`. Of many turns, the least wide.
pub(super) fn sizes_in_words(region: &Region, permitted: &[Permitted]) -> String {
    let mut sizes: Vec<(f64, Bounds)> =
        turns(permitted).into_iter().filter_map(|t| Some((t, turned(region, t)?))).collect();
    let many = sizes.len() > 4;
    if many {
        sizes.sort_by(|a, b| a.1.height().total_cmp(&b.1.height()));
        sizes.truncate(1);
    }
    let words: Vec<String> = sizes
        .iter()
        .map(|(t, b)| format!("{:.1} x {:.1} mm at {t}", b.width(), b.height()))
        .collect();
    format!(
        "{}{} (along x across the warp)",
        words.join(", "),
        if many { " at its narrowest" } else { "" }
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::cloth::Face;
    use crate::geometry::point;

    fn up(turns: &[f64]) -> Vec<Permitted> {
        turns.iter().map(|&turn| Permitted { turn, face: Face::Up }).collect()
    }

    fn rectangle(w: f64, h: f64) -> Region {
        Region::solid(vec![point(0.0, 0.0), point(w, 0.0), point(w, h), point(0.0, h)])
    }

    #[test]
    fn a_quarter_turn_may_make_it_fit_but_not_too_long_for_the_bench() {
        let piece = rectangle(1000.0, 1500.0);
        let room = Room { width: 1230.0, length: 2400.0 };
        assert!(!fits_width(&piece, &up(&[0.0, 180.0]), 0.0, room));
        assert!(fits(&piece, &up(&[0.0, 90.0]), 0.0, room));
        assert!(!fits(&piece, &up(&[0.0, 90.0]), 0.0, Room { length: 1400.0, ..room }));
    }

    #[test]
    fn the_tolerance_may_make_it_fit() {
        // A long thin piece lying 3° askew.
        let piece = Motion::turn(3.0).region(&rectangle(2000.0, 100.0));
        let room = Room { width: 150.0, length: 3000.0 };
        assert!(!fits(&piece, &up(&[0.0]), 0.0, room));
        assert!(fits(&piece, &up(&[0.0]), 3.0, room));
    }

    #[test]
    fn sizes_are_said_for_each_turn() {
        assert_eq!(
            sizes_in_words(&rectangle(1000.0, 1500.0), &up(&[0.0, 90.0, 180.0])),
            "1000.0 x 1500.0 mm at 0, 1500.0 x 1000.0 mm at 90 (along x across the warp)"
        );
    }
}
