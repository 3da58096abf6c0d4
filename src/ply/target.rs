//! What a mosaic layer covers, and its patches as pieces.

use super::allowance::grow;
use super::arrow::arrow_in;
use super::hand::into_cloth;
use super::{Hand, Piece, Skin, template_frame};
use crate::cloth::turn_rule;
use crate::geometry::boolean::intersection;
use crate::geometry::clip::path_in;
use crate::geometry::{Motion, Path, Region, Ring, point};
use crate::job::{Job, Seen};
use crate::units::snap;

/// One template and hand in a mosaic layer, with its allowances on, in the part frame: the part's
/// 0° along +x, the mirrored hand mirrored about it, looking at the mould surface.
#[derive(Clone, Debug, PartialEq)]
pub struct Target {
    /// What the patches must cover.
    pub region: Region,
    /// The template's lines.
    pub skin: Skin,
}

/// The target of a template in layer `layer` (index); `None` if there is none or it encloses no
/// area.
pub fn target(job: &Job, layer: usize, template: usize, hand: Hand) -> Option<Target> {
    let layer = job.layers.get(layer)?;
    let frame = template_frame(job, template)?;
    let skin = frame.skin.moved(&into_cloth(frame.arrow, hand, 0.0));
    let region = grow(&skin, layer.trim, layer.lap, &|| false)?.region;
    Some(Target { region, skin })
}

/// What tells the patches of one target apart.
#[derive(Clone, Debug, PartialEq)]
pub struct PatchOf<'a> {
    /// Index of the layer.
    pub layer: usize,
    /// Index of the template.
    pub template: usize,
    /// Its hand.
    pub hand: Hand,
    /// The ply's name.
    pub ply: &'a str,
    /// Number of the patch in its target, in laying order from 1.
    pub number: u32,
    /// Direction of its warp from the part's 0°, degrees, `-90 < angle <= 90`.
    pub angle: f64,
    /// What is seen of it, part frame.
    pub seen: &'a Region,
}

/// A patch (part frame) as a piece: warp along +x, its box at the origin, to be turned by half a
/// turn or turned over where the weave allows.
pub fn patch_piece(job: &Job, target: &Target, patch: &Region, of: &PatchOf<'_>) -> Option<Piece> {
    let layer = job.layers.get(of.layer)?;
    let turned = Motion::turn(-of.angle);
    let low = turned.region(patch).bounds()?.min;
    let motion = Motion::new(-of.angle, false, point(snap(-low.x), snap(-low.y)));
    let outline = motion.region(patch);
    let rule = turn_rule(job.cloths.get(layer.cloth)?, layer.seen != Seen::Hidden, None);
    let net =
        intersection(target.skin.rings(), patch.rings()).into_iter().filter(|r| r.area() > 1.0);
    let lines = |lines: &[Path]| {
        lines.iter().flat_map(|l| path_in(l, patch)).map(|l| motion.path(&l)).collect::<Vec<Path>>()
    };
    let rim = motion.ring(&of.seen.outline);
    Some(Piece {
        id: format!("{}-p{}", of.ply, of.number),
        number: String::new(),
        layer: of.layer + 1,
        ply: of.ply.to_string(),
        template: job.templates.get(of.template)?.id.clone(),
        hand: of.hand,
        angle: of.angle,
        cloth: layer.cloth,
        part: None,
        patch: Some(of.number),
        copies: 1,
        permitted: rule.permitted.into_iter().filter(|p| p.turn.rem_euclid(180.0) == 0.0).collect(),
        tolerance: 0.0,
        permitted_by: "a patch of a mosaic: its direction is its own".into(),
        origin: point(snap(-low.x), snap(-low.y)),
        net: net
            .flat_map(|r| std::iter::once(r.outline).chain(r.holes))
            .map(|r: Ring| motion.ring(&r))
            .collect(),
        cuts: lines(&target.skin.cuts),
        marks: path_in(&rim.iter().chain(rim.first()).copied().collect::<Path>(), &outline),
        arrow: arrow_in(&outline, -of.angle)?,
        outline,
        may_cross_bench: false,
    })
}
