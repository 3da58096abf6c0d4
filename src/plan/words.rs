//! The words for the layers, hands, faces and parts of a plan: one function for each phrase. All
//! sheets, tables and messages take them here.

use super::{PlacedPiece, Plan, PlanLayer, PlanPiece, PlanStock};
use crate::cloth::{Backing, Face};
use crate::job::Seen;
use crate::ply::{Hand, Part};
use crate::units::show_number;

/// The mark of a piece that is turned over before it is laid.
pub const FACE_DOWN: &str = "FACE DOWN";

/// The roll or offcut of a plan as the stock has it: one that is cut to the end is named in a plan with
/// the plan that cut it as well.
pub fn in_stock(id: &str) -> &str {
    id.split(" cut by ").next().unwrap_or_default()
}

/// `layer 2`: layers are counted as the job lists them, from the mould face.
pub fn layer(number: usize) -> String {
    format!("layer {number}")
}

/// `layer 2, bulk`, without a name that says no more than the number.
pub fn layer_by_name(l: &PlanLayer) -> String {
    let number = layer(l.layer);
    if l.name.is_empty() || l.name == number { number } else { format!("{number}, {}", l.name) }
}

/// An angle with its sign, at most one decimal: `+45°`, `0°`, `-22.5°`.
pub fn angle(degrees: f64) -> String {
    let tenths = (degrees * 10.0).round();
    if tenths == 0.0 {
        "0°".into()
    } else {
        format!("{}{}°", if tenths > 0.0 { "+" } else { "-" }, show_number(tenths.abs() / 10.0, 1))
    }
}

/// `as traced` or `mirrored`.
pub fn hand(hand: Hand) -> &'static str {
    match hand {
        Hand::AsTraced => "as traced",
        Hand::Mirrored => "mirrored",
    }
}

/// The hand of a piece: `left` or `right` where its mould makes such parts.
pub fn hand_of(piece: &PlanPiece) -> &'static str {
    piece.side.map_or(hand(piece.hand), crate::job::Side::name)
}

/// `part 1 of 2` of a spliced ply.
pub fn part(part: Part) -> String {
    format!("part {} of {}", part.number, part.of)
}

/// `patch 7`.
pub fn patch(number: u32) -> String {
    format!("patch {number}")
}

/// `copy 2 of 3`; nothing of a piece that is cut once.
pub fn copy(copy: u32, copies: u32) -> Option<String> {
    (copies > 1).then(|| format!("copy {copy} of {copies}"))
}

/// `up` or `down`: the face of a piece as the cloth lies on the bench.
pub fn face(face: Face) -> &'static str {
    match face {
        Face::Up => "up",
        Face::Down => "down",
    }
}

/// The side of a cloth that the job calls its up face: `paper side`.
pub fn side(plan: &Plan, cloth: &str) -> &'static str {
    match plan.materials.iter().find(|m| m.cloth == cloth).map(|m| m.up) {
        Some(Backing::Paper) => "paper side",
        Some(Backing::Film) => "film side",
        Some(Backing::Bare) => "bare side",
        None => "up face",
    }
}

/// How a roll or offcut lies on the bench: `paper side up`.
pub fn on_the_bench(plan: &Plan, stock: &PlanStock) -> String {
    format!("{} {}", side(plan, &stock.cloth), face(stock.face))
}

/// How a piece is laid: `paper side towards you` or `paper side on the mould`. It is the same
/// whichever face of the roll lies up.
pub fn on_the_mould(plan: &Plan, stock: &PlanStock, placed: &PlacedPiece) -> String {
    laid(side(plan, &stock.cloth), stock.face == placed.face)
}

/// `paper side towards you`, or on the mould.
pub fn laid(side: &str, towards_you: bool) -> String {
    if towards_you { format!("{side} towards you") } else { format!("{side} on the mould") }
}

/// From where a layer is seen in the finished part; nothing if it is hidden.
pub fn seen(seen: Seen) -> Option<&'static str> {
    match seen {
        Seen::Hidden => None,
        Seen::MouldSide => Some("seen from the mould side"),
        Seen::OtherSide => Some("seen from the other side"),
    }
}

/// What tells a piece from others of its ply: its part and its patch.
pub fn which(piece: &PlanPiece) -> Vec<String> {
    piece.part.map(part).into_iter().chain(piece.patch.map(patch)).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Worked out by hand: a sheet of paper, grey on its back, turned over once and twice.
    #[test]
    fn the_side_on_the_mould_does_not_hang_on_how_the_roll_lies() {
        for (roll, piece, towards_you) in [
            (Face::Up, Face::Up, true),
            (Face::Up, Face::Down, false),
            (Face::Down, Face::Down, true),
            (Face::Down, Face::Up, false),
        ] {
            assert_eq!(
                laid("paper side", roll == piece),
                if towards_you { "paper side towards you" } else { "paper side on the mould" }
            );
        }
    }
}
