//! What layers mean: by name in general, by number in drawings of sewn-product patterns.

use super::super::{DrawnLine, Role};
use super::refusal::Refusal;
use crate::geometry::Point;

/// True if the layers of a drawing are those of ASTM D6673: bare numbers, 1 (the boundary) among
/// them.
pub(super) fn are_of_pattern_standard<'a>(layers: impl Iterator<Item = &'a str>) -> bool {
    let mut boundary = false;
    for layer in layers {
        if layer.is_empty() || !layer.bytes().all(|b| b.is_ascii_digit()) {
            return false;
        }
        boundary |= layer == "1";
    }
    boundary
}

/// What a line on a layer of ASTM D6673-10 is, by its number (a secondary summary of the standard);
/// else why it is not used.
///
/// The sew line lies inside the boundary. The boundary is taken as the outline, and the sew line
/// carried along as a mark: a seam allowance of a sewn pattern is no trim allowance of a laminate,
/// so nothing is deduced from their distance.
pub(super) fn pattern_role(layer: &str) -> Result<Role, Refusal> {
    match layer {
        "1" | "11" => Ok(Role::Outline),
        "4" => Ok(Role::Cut),
        "7" => Ok(Role::Arrow),
        "6" | "8" | "13" | "14" => Ok(Role::Mark),
        "15" => Err(Refusal::NotUsed("layer 15 of a pattern drawing is annotation".into())),
        other => Err(Refusal::Missed(said!(
            "layer {other} of a pattern drawing holds nothing that is cut or marked"
        ))),
    }
}

/// A piece with more mirror lines than this is taken for a half: looking at each would take too
/// long.
const MOST_MIRRORS: usize = 1_000;

/// A pattern piece may be drawn as one half with a mirror line (layer 6). Cut as drawn, half the
/// ply would be missing.
///
/// `piece` are the lines of one piece. A mirror line is harmless if the boundary lies on both sides
/// of it; the label of one that is not is returned.
pub(super) fn half_beside_mirror<'l>(
    piece: impl Iterator<Item = &'l DrawnLine> + Clone,
) -> Option<&'l str> {
    let on = |layer: &'static str| {
        piece.clone().filter(move |line| line.names.last().is_some_and(|name| name == layer))
    };
    if let Some(one_too_many) = on("6").nth(MOST_MIRRORS) {
        return Some(&one_too_many.label);
    }
    let mirror = on("6").find(|mirror| {
        let (Some(&a), Some(&b)) = (mirror.points.first(), mirror.points.last()) else {
            return false;
        };
        let side = |p: &Point| (b - a).cross(*p - a) / (b - a).length().max(f64::MIN_POSITIVE);
        // Half a millimetre: a boundary drawn along the mirror line is on neither side of it.
        let (left, right) = on("1")
            .flat_map(|line| &line.points)
            .map(side)
            .fold((false, false), |(l, r), s| (l || s > 0.5, r || s < -0.5));
        left != right
    })?;
    Some(&mirror.label)
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    #[test]
    fn pattern_drawings_are_known_by_their_layers() {
        assert!(are_of_pattern_standard(["1", "8", "14"].into_iter()));
        assert!(!are_of_pattern_standard(["1", "seat"].into_iter()));
        assert!(!are_of_pattern_standard(["0", "8"].into_iter()));
        assert!(!are_of_pattern_standard(std::iter::empty()));
    }

    #[test]
    fn layers_of_the_pattern_standard() {
        // ASTM D6673-10 by a secondary summary: 1 boundary, 4 notches, 6 mirror line, 7 grain line,
        // 8 internal lines, 11 cut-outs, 13 drill holes, 14 sew line, 15 annotation.
        let role = |layer| pattern_role(layer).ok();
        assert_eq!(["1", "11"].map(role), [Some(Role::Outline); 2]);
        assert_eq!(["4", "7"].map(role), [Some(Role::Cut), Some(Role::Arrow)]);
        assert_eq!(["6", "8", "13", "14"].map(role), [Some(Role::Mark); 4]);
        assert_eq!(["15", "84", "0"].map(role), [None; 3]);
    }
}
