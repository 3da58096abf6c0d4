//! `plan.json`, schema 1: lengths mm, angles degrees, areas mm², rings anticlockwise (holes
//! clockwise), not closed.

use crate::cloth::{Backing, Face, Material, Permitted, Price, Weave};
use crate::geometry::{Path, Point, Ring, ring_area};
use crate::job::{Hands, MouldWork, Seen, Side, SpliceKind};
use crate::outline::EdgeKind;
use crate::ply::{Hand, Inked, Part};
use crate::stock::Day;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// A whole plan: self-contained.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Plan {
    /// Version of this format: 1.
    pub schema: u32,
    /// `warpwise` and its version.
    pub tool: String,
    /// Hash of the content (everything but this field), hexadecimal.
    pub id: String,
    /// Names of the jobs planned together.
    pub jobs: Vec<String>,
    /// Seed of the search.
    pub seed: u64,
    /// Rounds of search, if it was limited by effort.
    pub effort: Option<u32>,
    /// Logical lanes of an effort run.
    pub lanes: Option<usize>,
    /// Seconds of search, if it was limited by time.
    pub seconds: Option<f64>,
    /// The search was stopped from outside.
    pub interrupted: bool,
    /// Currency of the costs, as the job writes it.
    pub currency: String,
    /// The rules the layouts keep.
    pub rules: Rules,
    /// The templates, in the template frame.
    pub templates: Vec<PlanTemplate>,
    /// The layers in laying order, job by job.
    pub layers: Vec<PlanLayer>,
    /// The pieces.
    pub pieces: Vec<PlanPiece>,
    /// The stocks that took pieces.
    pub stocks: Vec<PlanStock>,
    /// Figures for each cloth.
    pub cloths: Vec<ClothFigures>,
    /// The cloths' data.
    pub materials: Vec<PlanCloth>,
    /// What the user was told.
    pub warnings: Vec<String>,
    /// The mosaic layers, one entry for each template, hand and copy.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub mosaics: Vec<PlanMosaic>,
    /// The stock it was planned from, if it was.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub drawn_from: Option<DrawnFrom>,
    /// Jobs that are the other hand of another one of the plan.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub other_hands: Vec<OtherHand>,
    /// What the jobs say about the work at the mould, in the order of `jobs`.
    #[serde(default)]
    pub mould_work: Vec<MouldWork>,
    /// What the content's hash is today, if an older build gave the plan its id: that build wrote
    /// fewer fields.
    #[serde(skip)]
    pub hash_today: Option<String>,
}

/// A job that is the mirror image of another.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct OtherHand {
    /// The job.
    pub job: String,
    /// The job whose other hand it is.
    pub of: String,
}

/// A template covered with patches in one layer. A piece with a patch number is cut for it; less
/// its origin and turned by its angle, the piece lies in the part frame: the part's 0° along +x,
/// the mirrored hand mirrored about it, looking at the mould surface.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct PlanMosaic {
    /// Its job.
    pub job: String,
    /// Its layer, from 1.
    pub layer: usize,
    /// The ply that its patches name.
    pub ply: String,
    /// Template id.
    pub template: String,
    /// Hand of the template.
    pub hand: Hand,
    /// Patches laid earlier lie over later ones as it is seen (from the mould side); otherwise the
    /// later lie over the earlier.
    pub earlier_on_top: bool,
    /// Overlap at every seam, mm.
    pub lap: f64,
    /// Least difference of direction between patches with a common seam, degrees.
    pub least_difference: f64,
    /// Degrees after which directions look alike: 90 or 180.
    pub modulo: f64,
    /// Side of a square as large as a patch is seen, from and to, mm.
    pub size: [f64; 2],
    /// What the patches cover, allowances included, part frame.
    pub target: Ring,
    /// Its holes.
    pub holes: Vec<Ring>,
    /// Ids of the patches in laying order.
    pub patches: Vec<String>,
    /// Mean resultant length of the directions: 0 if all are alike often, 1 if all are the same.
    pub resultant: f64,
    /// The same of the doubled directions: 1 if there are but two, at right angles.
    pub two_ways: f64,
    /// Correlation of direction and place: 1 if directions run on across the part.
    pub drift: f64,
    /// Area of the patches cut from offcuts, mm².
    pub from_offcuts: f64,
    /// Area of the offcuts opened for them, mm².
    pub opened: f64,
}

/// The stock of the workshop that a plan was made from: booking holds it against what is there.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct DrawnFrom {
    /// Which ledger it was, if any.
    pub ledger: Option<String>,
    /// The day the plan looked at dates.
    pub day: Day,
    /// Dates and stocks that a person must hear of before cutting, each with what to do.
    pub cautions: Vec<String>,
    /// What the offcuts saved, cloth by cloth.
    pub saved: Vec<String>,
    /// The rolls and offcuts the plan cuts, by the ids of its stocks.
    pub stocks: Vec<DrawnStock>,
    /// The first plan of the kit, where this one goes on with what that one left to cut.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub kit: Option<String>,
    /// Ids of this plan's stocks that were cut before: nothing more is cut from them.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub cut_before: Vec<String>,
}

/// A roll or offcut of the stock as it was when the plan was made.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct DrawnStock {
    /// Its id, the same in stock and plan.
    pub stock: String,
    /// Its revision.
    pub revision: u32,
    /// Its batch.
    pub batch: Option<String>,
    /// Last day of use by its label.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub expiry: Option<Day>,
    /// Hours it might still be out of the freezer on the day of the plan.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub hours_left: Option<f64>,
}

/// Rules of cutting.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Rules {
    /// Least distance between pieces, mm.
    pub gap: f64,
    /// The largest angle tolerance of any piece, degrees.
    pub angle_tolerance: f64,
    /// Bench length, mm.
    pub bench_length: Option<f64>,
    /// Left-overs narrower than this are waste, mm.
    pub least_offcut_width: f64,
}

/// A template as preparation used it: template frame (looking at the mould surface), mm, y up.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct PlanTemplate {
    /// Its id.
    pub template: String,
    /// Its job.
    pub job: String,
    /// Direction of the 0° arrow, degrees from +x.
    pub arrow: f64,
    /// The net line.
    pub net: Ring,
    /// Kind of each edge `net[i]` to `net[i + 1]`.
    pub edges: Vec<EdgeKind>,
    /// Holes.
    pub holes: Vec<Ring>,
    /// Relief cuts.
    pub cuts: Vec<Path>,
    /// Zones no splice may enter.
    pub no_splice: Vec<Ring>,
    /// The template of its job whose mirror image it is.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub other_hand_of: Option<String>,
    /// A strip given by size, such as a joint tape.
    #[serde(default)]
    pub strip: bool,
    /// What is found by eye on its skin; none of a strip or local patch.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub inked: Option<Inked>,
    /// For a local patch: the template it lies on (whose frame it shares) and its step-back, mm.
    pub on: Option<(String, f64)>,
}

/// One template in a layer.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct PlanLayerItem {
    /// Template id.
    pub template: String,
    /// Hands wanted.
    pub hands: Hands,
    /// Copies of each hand.
    pub copies: u32,
}

/// One layer.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct PlanLayer {
    /// Its job.
    pub job: String,
    /// Its number, from 1 at the mould face.
    pub layer: usize,
    /// Its name.
    pub name: String,
    /// Cloth id.
    pub cloth: String,
    /// Angle asked for, degrees.
    pub angle: f64,
    /// From which side it is seen.
    pub seen: Seen,
    /// Whether a visible twill is book-matched on the two hands.
    pub book_match: bool,
    /// Trim allowance, mm.
    pub trim: f64,
    /// Lap allowance, mm.
    pub lap: f64,
    /// The lay-up gave turns of its own, which win over the weave's.
    #[serde(default)]
    pub turns_overridden: bool,
    /// What it lays.
    pub items: Vec<PlanLayerItem>,
}

/// How a spliced ply is joined.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct SpliceFacts {
    /// Lap or butt.
    pub kind: SpliceKind,
    /// Overlap, mm; 0 for butt.
    pub lap: f64,
    /// Least distance to the splices of neighbouring plies, edge to edge, mm.
    pub stagger: f64,
    /// Plies of one template nearer than this many must keep that distance.
    pub plies_apart: usize,
}

/// A piece in the cloth frame, before any turn.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct PlanPiece {
    /// Unique id in the plan.
    pub piece: String,
    /// Number on sheets and labels.
    pub number: String,
    /// Its job.
    pub job: String,
    /// Layer, from 1.
    pub layer: usize,
    /// Its ply.
    pub ply: String,
    /// Its template.
    pub template: String,
    /// Its hand.
    pub hand: Hand,
    /// Which part it is of, where the mould of its template makes left or right ones.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub side: Option<Side>,
    /// Angle as laid, degrees.
    pub angle: f64,
    /// Cloth id.
    pub cloth: String,
    /// Part of a spliced ply.
    pub part: Option<Part>,
    /// The splice of that ply.
    pub splice: Option<SpliceFacts>,
    /// Patch number in a mosaic layer.
    pub patch: Option<u32>,
    /// How many of it.
    pub copies: u32,
    /// Ways it may lie.
    pub permitted: Vec<Permitted>,
    /// Degrees off a permitted turn that are allowed.
    pub tolerance: f64,
    /// The rule that gave the turns, in words.
    pub permitted_by: String,
    /// May lie across bench segments.
    pub may_cross_bench: bool,
    /// Where the template frame's origin comes to lie: a template point, turned so that the arrow
    /// lies along +x, mirrored about x for the mirrored hand, turned by `-angle` and moved by this
    /// is the piece's point.
    pub origin: Point,
    /// The cut line.
    pub outline: Ring,
    /// Holes to cut.
    pub holes: Vec<Ring>,
    /// Net line, outer rings anticlockwise, holes clockwise.
    pub net: Vec<Ring>,
    /// Relief cuts and notches.
    pub cuts: Vec<Path>,
    /// Lines to draw, not to cut.
    pub marks: Vec<Path>,
    /// The part's 0° arrow, tail to head.
    pub arrow: [Point; 2],
}

/// Roll or offcut.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum StockKind {
    /// A roll, open along x.
    Roll,
    /// A kept piece of given shape.
    Offcut,
}

/// A stock with what was placed on it. Stock frame: origin at the free end on the lower selvedge, x
/// along the warp.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct PlanStock {
    /// Its id.
    pub id: String,
    /// Cloth id.
    pub cloth: String,
    /// Roll or offcut.
    pub kind: StockKind,
    /// Which face of the cloth lies up.
    pub face: Face,
    /// Its outline over the used length, selvedges included.
    pub outline: Ring,
    /// Its holes.
    pub holes: Vec<Ring>,
    /// Keep-out polygons.
    pub flaws: Vec<Ring>,
    /// Selvedge at each side, mm.
    pub selvedge: f64,
    /// Bench segments, from-to in x.
    pub segments: Vec<[f64; 2]>,
    /// Used length from the free end, mm: where the straight cut frees the rest of the roll.
    pub used_length: f64,
    /// The pieces on it.
    pub placed: Vec<PlacedPiece>,
    /// What is left of the used length and worth keeping.
    pub offcuts: Vec<Offcut>,
}

impl PlanStock {
    /// True of an offcut that is a piece as it is: nothing is cut.
    pub fn is_laid_whole(&self) -> bool {
        let area = |outline: &Ring, holes: &[Ring]| {
            ring_area(outline) + holes.iter().map(|h| ring_area(h)).sum::<f64>()
        };
        // A piece lies within its stock, so one that is as large has its outline. Less than a
        // thousandth of a mm² is rounding.
        let same = |p: &PlacedPiece| {
            (area(&p.outline, &p.holes) - area(&self.outline, &self.holes)).abs() < 1e-3
        };
        self.kind == StockKind::Offcut && matches!(self.placed.as_slice(), [only] if same(only))
    }
}

/// A piece on its stock.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct PlacedPiece {
    /// Piece id.
    pub piece: String,
    /// Which copy, from 1.
    pub copy: u32,
    /// Degrees anticlockwise from the prepared position.
    pub turn: f64,
    /// Mirrored about x after the turn if down.
    pub face: Face,
    /// Shift, mm.
    pub x: f64,
    /// Shift, mm.
    pub y: f64,
    /// The cut line where it lies.
    pub outline: Ring,
    /// The holes where they lie.
    pub holes: Vec<Ring>,
    /// It is to stay where it lies when the rest is planned anew.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub pinned: bool,
}

/// A rectangle along the warp: x, y, width along x, height along y, mm.
pub type Rectangle = [f64; 4];

/// A left-over worth keeping.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Offcut {
    /// Plan id (shortened) and a running number.
    pub id: String,
    /// Outline in the stock frame.
    pub outline: Ring,
    /// Holes.
    pub holes: Vec<Ring>,
    /// mm².
    pub area: f64,
    /// The largest rectangle along the warp that fits in it.
    pub largest_rectangle: Rectangle,
}

/// Figures for one cloth.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ClothFigures {
    /// Cloth id.
    pub cloth: String,
    /// mm.
    pub roll_width: f64,
    /// Between the selvedges, mm.
    pub usable_width: f64,
    /// Length taken from the roll, mm.
    pub used_length: f64,
    /// No layout can use less, mm.
    pub least_length: f64,
    /// How the least length was got.
    pub least_length_by: String,
    /// Area of the pieces, mm², by union.
    pub pieces_area: f64,
    /// Area of the kept offcuts, mm².
    pub offcuts_area: f64,
    /// Area of the waste (selvedges included), mm², measured on its own.
    pub waste_area: f64,
    /// Area of cloth consumed: roll width times used length, plus offcuts opened, mm².
    pub consumed_area: f64,
    /// `pieces_area / consumed_area`.
    #[serde(rename = "yield")]
    pub yield_: f64,
    /// Cost of the length taken, if a price is known.
    pub cost: Option<f64>,
    /// Mass of the length taken as bought, g, if the areal mass is known.
    pub mass: Option<f64>,
    /// How the search came to its length: a row for each shorter layout it found.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub history: Vec<SearchStep>,
    /// Why a timed search ended before its limit, if it did.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub early: Option<EndedEarly>,
}

/// The early end of a timed search.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct EndedEarly {
    /// Why.
    pub why: Early,
    /// After so many seconds.
    pub seconds: f64,
}

/// Why a search ended before its limit.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Early {
    /// No layout can be shorter, or only by less than 0.1 %.
    Least,
    /// The same length was reached again and again from random places.
    Again,
    /// The rest of the time promised less than 0.1 % of the length.
    Slow,
}

/// A layout on the way of a search, each shorter than the one before; the last is the one taken,
/// which may be a little longer.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct SearchStep {
    /// Placements tried until it was found.
    pub evaluations: u64,
    /// Its length, mm.
    pub length: f64,
}

/// A cloth's data as the plan needs them.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct PlanCloth {
    /// Cloth id.
    pub cloth: String,
    /// Name for people.
    pub name: String,
    /// Weave.
    pub weave: Weave,
    /// Equal yarns both ways.
    pub balanced: bool,
    /// A one-way finish.
    pub one_way: bool,
    /// Twill line against the warp on the up face, degrees.
    pub twill_line: Option<f64>,
    /// What backs the face that lies up.
    pub up: Backing,
    /// Fibre areal mass, g/m².
    pub areal_mass: Option<f64>,
    /// Resin content by mass.
    pub resin_content: Option<f64>,
    /// Fibre density, g/cm³.
    pub fibre_density: Option<f64>,
    /// What it is.
    #[serde(default)]
    pub material: Material,
    /// Thickness in the finished part, mm, if given.
    #[serde(default)]
    pub thickness: Option<f64>,
    /// Density of the cured resin, g/cm³.
    #[serde(default)]
    pub resin_density: Option<f64>,
    /// Batch of the roll.
    #[serde(default)]
    pub batch: Option<String>,
    /// Hours it may still be out of the freezer.
    #[serde(default)]
    pub out_life_hours: Option<f64>,
    /// Last day of use by the roll's label, as `2027-08-31`.
    #[serde(default)]
    pub expiry: Option<String>,
    /// Its id in the workshop's library, if it was taken from there.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub library: Option<String>,
    /// Width of the roll that the job gives, mm.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub roll_width: Option<f64>,
    /// Selvedge at each side, mm.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub selvedge: Option<f64>,
    /// Price.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub price: Option<Price>,
}
