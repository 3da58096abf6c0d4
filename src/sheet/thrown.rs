//! A plan as a projector throws it on the cloth: each cloth's pieces in their order of cutting, as
//! lines in the stock frame.

use super::face::View;
use super::laid::{Sheet, motion_of};
use super::measured::Place;
use super::placement::places;
use super::text::{clean, decimals};
use super::title::face_in_words;
use crate::cloth::Face;
use crate::geometry::{Bounds, Path, Point, Ring, point, ring_bounds};
use crate::plan::{StockKind, words};
use crate::verify::Verified;

/// One cloth on the bench.
#[derive(Clone, Debug, PartialEq)]
pub struct ClothThrown {
    /// What it is, in a line.
    pub title: String,
    /// Its box, mm.
    pub bounds: Bounds,
    /// Edges of cloth and flaws.
    pub edges: Vec<Ring>,
    /// The straight cut that frees the rest of the roll, made last.
    pub across: Option<[Point; 2]>,
    /// What is cut from it, in order.
    pub pieces: Vec<PieceThrown>,
}

/// One piece on it.
#[derive(Clone, Debug, PartialEq)]
pub struct PieceThrown {
    /// Its number.
    pub number: String,
    /// All that its label says.
    pub words: String,
    /// It lies face down as the cloth lies.
    pub face_down: bool,
    /// Its box.
    pub bounds: Bounds,
    /// The cut line and holes.
    pub rings: Vec<Ring>,
    /// Relief cuts and notches.
    pub cuts: Vec<Path>,
}

impl PieceThrown {
    /// What a label says beside it: its number and which face is up, then the rest.
    pub fn label(&self) -> [String; 2] {
        let face = if self.face_down { words::FACE_DOWN } else { "face up" };
        let rest = self.words.replace(&format!(" · {}", words::FACE_DOWN), "");
        [format!("{} · {face}", self.number), rest]
    }
}

/// Every cloth of a plan, seen with this face up or as it was planned; a roll on a short bench comes
/// segment by segment.
pub fn thrown(plan: &Verified, face: Option<Face>) -> Vec<ClothThrown> {
    let view = View::new(plan.plan(), face);
    view.sheets().iter().map(|(_, sheet)| cloth(sheet)).collect()
}

fn cloth(sheet: &Sheet<'_>) -> ClothThrown {
    let [left, low, right, high] = sheet.stock_box;
    let piece = |place: Place<'_>| {
        let placed = place.laid.placed;
        let motion = motion_of(placed);
        let cuts = place.laid.piece.map_or(&[][..], |p| &p.cuts);
        PieceThrown {
            number: place.laid.facts.number.clone(),
            words: place.laid.facts.line(),
            face_down: place.laid.facts.face_down,
            bounds: place.laid.bounds,
            rings: std::iter::once(&placed.outline).chain(&placed.holes).cloned().collect(),
            cuts: cuts.iter().map(|c| motion.path(c)).collect(),
        }
    };
    let pieces: Vec<PieceThrown> = places(sheet).into_iter().map(piece).collect();
    let last = sheet.segment + 1 == sheet.segments;
    let used = sheet.stock.used_length;
    let across = (last && sheet.stock.kind == StockKind::Roll)
        .then(|| [point(used, low), point(used, high)]);
    let part = if sheet.segments > 1 {
        format!(", bench segment {} of {}", sheet.segment + 1, sheet.segments)
    } else {
        String::new()
    };
    let kind = if sheet.stock.kind == StockKind::Roll { "Roll" } else { "Offcut" };
    let (face, long) =
        (face_in_words(sheet.plan, sheet.stock, sheet.over), decimals(right - left, 0));
    let rings = std::iter::once(&sheet.stock.outline).chain(&sheet.stock.holes);
    let boxes = pieces.iter().map(|p| p.bounds);
    ClothThrown {
        title: format!("{kind} {}{part}, {face}, {long} mm", clean(&sheet.stock.id)),
        bounds: Bounds {
            min: point(boxes.clone().map(|b| b.min.x).fold(left, f64::min), low),
            max: point(boxes.map(|b| b.max.x).fold(right, f64::max), high),
        },
        edges: rings
            .chain(&sheet.stock.flaws)
            .filter(|r| ring_bounds(r).is_some())
            .cloned()
            .collect(),
        across,
        pieces,
    }
}
