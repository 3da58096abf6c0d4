//! The angle at which each hand of a ply is laid, and the motion from the template frame into the
//! cloth frame.

use super::Hand;
use crate::cloth::{Cloth, Weave};
use crate::fault::Said;
use crate::geometry::{Motion, point};
use crate::job::{Hands, Layer, Seen};
use crate::units::degrees_of_warp;

/// The angle of the warp for one hand of a layer's angle `a`, degrees from the arrow, not yet
/// brought into a range.
///
/// - The hand of the template is laid at the layer's angle `a`, the other hand at `-a`: the mirror
///   image of the structure.
/// - A visible balanced twill laid on both hands is book-matched: the other hand at `90 - a`,
///   structurally the same, whose line is the mirror image of the first hand's. With `book_match`
///   off it is laid at `a`, so that the line runs the same way on both.
/// - The other hand of a stitched ±45 cloth is laid at `90 - a`: at `-a` the wrong one of its two
///   layers would be on top.
///
/// The second value is what to warn of, if anything.
pub(super) fn laid_angle(
    cloth: &Cloth,
    layer: &Layer,
    a: f64,
    hand: Hand,
    both_hands: bool,
) -> (f64, Option<(Said, Said)>) {
    if hand == Hand::AsTraced {
        return (a, None);
    }
    if cloth.weave == Weave::Biaxial45 {
        return (90.0 - a, None);
    }
    let visible_pair = both_hands && layer.seen != Seen::Hidden;
    if !visible_pair || !cloth.weave.is_twill() {
        return (-a, None);
    }
    if !cloth.can_book_match() {
        let what = said!(
            "the line of {} cannot be mirrored, so the two hands will not match",
            cloth.weave.in_words()
        );
        return (-a, Some((what, "use a balanced 2/2 or 4/4 twill where the hands are seen side by side, or accept it".into())));
    }
    if layer.book_match {
        return (90.0 - a, None);
    }
    // At a multiple of 45 the warp at +a is also the mirror image of the structure.
    if a.rem_euclid(45.0) == 0.0 {
        return (a, None);
    }
    let what = said!(
        "the same line on both hands lays the mirrored one at {a}, which is not the mirror image of the structure"
    );
    (a, Some((what, "book-match the hands, or lay this cloth at 0, 45 or 90".into())))
}

/// An angle as it is reported and laid: without head (`-90 < a <= 90`) if half a turn more is the
/// same, else `-180 < a <= 180`.
pub(super) fn in_range(angle: f64, half_turn_is_same: bool) -> f64 {
    if half_turn_is_same {
        return degrees_of_warp(angle);
    }
    let a = angle.rem_euclid(360.0);
    if a > 180.0 { a - 360.0 } else { a + 0.0 }
}

/// From the template frame (arrow at `arrow`) into the cloth frame, where the warp runs along +x
/// and so the arrow lies at `-angle`. The mirrored hand is mirrored about the arrow on the way.
pub(super) fn into_cloth(arrow: f64, hand: Hand, angle: f64) -> Motion {
    match hand {
        Hand::AsTraced => Motion::turn(-arrow - angle),
        // Arrow to +x, mirror, warp to +x: turn by -arrow, mirror, turn by -angle; a turn passes
        // through the mirror reversed.
        Hand::Mirrored => Motion::new(angle - arrow, true, point(0.0, 0.0)),
    }
}

/// The way back: from the cloth frame to the template frame.
pub(super) fn into_template(arrow: f64, hand: Hand, angle: f64) -> Motion {
    match hand {
        Hand::AsTraced => Motion::turn(arrow + angle),
        // A turn followed by a mirror is a mirror about some line: its own way back.
        Hand::Mirrored => into_cloth(arrow, hand, angle),
    }
}

pub(super) fn hands(hands: Hands) -> &'static [Hand] {
    match hands {
        Hands::AsTraced => &[Hand::AsTraced],
        Hands::Mirrored => &[Hand::Mirrored],
        Hands::Both => &[Hand::AsTraced, Hand::Mirrored],
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_arrow_lies_at_minus_the_angle_on_either_hand() {
        for hand in [Hand::AsTraced, Hand::Mirrored] {
            let tip = Motion::turn(20.0).apply(point(1.0, 0.0));
            let on_cloth = into_cloth(20.0, hand, 30.0).apply(tip);
            assert!((on_cloth.direction() + 30.0).abs() < 1e-9, "{hand:?} {on_cloth:?}");
        }
    }

    #[test]
    fn there_and_back_is_nowhere() {
        let p = point(12.0, -7.0);
        for hand in [Hand::AsTraced, Hand::Mirrored] {
            assert!(
                into_template(20.0, hand, -35.0)
                    .apply(into_cloth(20.0, hand, -35.0).apply(p))
                    .distance(p)
                    < 1e-9
            );
        }
    }

    #[test]
    fn angles_without_head_and_with() {
        assert_eq!(
            (in_range(-90.0, true), in_range(120.0, true), in_range(-30.0, true)),
            (90.0, -60.0, -30.0)
        );
        assert_eq!(
            (in_range(-90.0, false), in_range(270.0, false), in_range(180.0, false)),
            (-90.0, -90.0, 180.0)
        );
    }
}
