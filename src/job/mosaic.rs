//! The mosaic rules of a layer: sizes, lap and directions of its patches.

use super::document::{Document, Findings};
use super::raw::{RawKind, RawLayer};
use crate::cloth::{Cloth, Weave};
use crate::units::show_mm;

/// Patches of a seen layer are this large where the job does not say, mm (common practice, no
/// source).
const SIZE: [f64; 2] = [55.0, 110.0];
/// Overlap at seams, mm (common practice, no source).
const LAP: f64 = 10.0;

/// How a mosaic layer is made.
#[derive(Clone, Debug, PartialEq)]
pub struct Mosaic {
    /// Side of a square as large as a patch is seen, from and to, mm.
    pub size: [f64; 2],
    /// Overlap at seams, mm.
    pub lap: f64,
    /// Least difference of direction between patches that touch, degrees; what the cloth allows if
    /// the job does not say.
    pub least: Option<f64>,
    /// Number of the division.
    pub seed: u64,
}

impl Mosaic {
    /// Degrees after which directions look alike: a quarter turn of a balanced weave, else half a
    /// turn.
    pub fn modulo(cloth: &Cloth) -> f64 {
        let alike = cloth.balanced
            && !cloth.one_way
            && matches!(cloth.weave, Weave::Plain | Weave::Twill22 | Weave::Twill44);
        if alike { 90.0 } else { 180.0 }
    }

    /// Least difference of direction on a cloth, degrees.
    pub fn least_on(&self, cloth: &Cloth) -> f64 {
        self.least.unwrap_or(if Mosaic::modulo(cloth) == 90.0 { 18.0 } else { 30.0 })
    }
}

/// The mosaic rules of layer `i`, if it is one; keys that do not belong are faults.
pub(super) fn mosaic(
    raw: &RawLayer,
    i: usize,
    doc: &Document<'_>,
    findings: &mut Findings<'_>,
) -> Option<Mosaic> {
    let place = |key: &str| doc.offset_of(&format!("layer.{i}.{key}"));
    if raw.kind == RawKind::Whole {
        if raw.angle.is_none() && !doc.has(&format!("layer.{i}.angle")) {
            let remedy = "add `angle`: Angle of the warp from the part's 0°, anticlockwise looking at the mould surface.";
            findings.fault(doc.offset_of(&format!("layer.{i}")), "[[layer]] lacks `angle`", remedy);
        }
        for key in ["patch_from", "patch_to", "seam_lap", "least_difference", "mosaic_seed"] {
            if doc.has(&format!("layer.{i}.{key}")) {
                findings.fault(
                    place(key),
                    said!("`{key}` is for mosaic layers"),
                    "take it out, or add kind = \"mosaic\"",
                );
            }
        }
        return None;
    }
    if raw.angle.is_some() {
        findings.warning(
            place("angle"),
            "the patches of a mosaic have directions of their own",
            "take `angle` out",
        );
    }
    for key in ["turns", "faces", "angle_tolerance"] {
        if doc.has(&format!("layer.{i}.{key}")) {
            findings.fault(
                place(key),
                said!("`{key}` has no meaning in a mosaic layer"),
                "take it out: directions are mixed anyhow",
            );
        }
    }
    let size = match (raw.patch_from, raw.patch_to) {
        (Some(from), Some(to)) => [from, to],
        (Some(from), None) => [from, 2.0 * from],
        (None, Some(to)) => [to / 2.0, to],
        (None, None) => SIZE,
    };
    let lap = raw.seam_lap.unwrap_or(LAP);
    if size[1] < 1.25 * size[0] {
        let what =
            said!("patches from {} to {} are all of one size", show_mm(size[0]), show_mm(size[1]));
        findings.fault(
            place("patch_to"),
            what,
            said!("let them reach to {} or more", show_mm((1.25 * size[0]).ceil())),
        );
    }
    if lap < 1.0 || size[0] < 3.0 * lap {
        let what = said!("a lap of {} does not suit patches of {}", show_mm(lap), show_mm(size[0]));
        let remedy = said!(
            "the lap is at least 1 mm and at most a third of the smallest patch: {} here",
            show_mm((size[0] / 3.0).floor())
        );
        findings.fault(
            place(if raw.seam_lap.is_some() { "seam_lap" } else { "patch_from" }),
            what,
            remedy,
        );
    }
    Some(Mosaic {
        size,
        lap,
        least: raw.least_difference,
        seed: u64::from(raw.mosaic_seed.unwrap_or(1)),
    })
}

/// Directions must be able to differ by as much as is asked for: any map can be drawn in four
/// colours, so a quarter of the circle is safe.
pub(super) fn can_differ(
    mosaic: &Mosaic,
    cloth: &Cloth,
    i: usize,
    doc: &Document<'_>,
    findings: &mut Findings<'_>,
) {
    let most = Mosaic::modulo(cloth) / 4.0;
    if mosaic.least_on(cloth) > most {
        let repeats = Mosaic::modulo(cloth);
        let what = said!(
            "touching patches of {} cannot all differ by {}°: its directions repeat every {repeats}°",
            cloth.id,
            mosaic.least_on(cloth)
        );
        let remedy = said!(
            "ask for {most}° at the most; 15 to 20 of 90, or 30 to 40 of 180, leaves room to mix"
        );
        findings.fault(doc.offset_of(&format!("layer.{i}.least_difference")), what, remedy);
    }
}
