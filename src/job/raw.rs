//! The job file as it is written: these types and their comments are the format, and the schema is
//! made of them.
//!
//! A key that may be left out without a default is an `Option`. A section that is at fault arrives
//! as `None`, so that the others are still checked. Lengths arrive here in mm: the reader has
//! already turned text with a unit into a number and held it to the range in the schema.

use super::choices::{Hands, InkedSide, MouldHands, MouldKind, Seen, Side, TakenOff};
use super::layup::{Consumables, CureStep, Debulk, Finish, Layup};
use super::quantity::{
    allowance, angle, angle_tolerance, areal_mass, chord, distance, id, join, point, ring,
    roll_length, share, size, text, turns,
};
use crate::cloth::{Backing, Face, Material, Weave};
use crate::outline::{EdgeKind, Unit};
use schemars::JsonSchema;
use serde::Deserialize;

/// A job: cloths, templates and layers in laying order, with the rules of cutting. Lengths are mm
/// and angles degrees unless a value says otherwise, as in "30 cm" or "12 in".
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
#[schemars(title = "warpwise job", extend("required" = ["job", "cloth", "layer"]))]
pub(super) struct RawJob {
    /// The stock to plan from, offcuts first: a ledger of `warpwise stock` or an export of one,
    /// relative to the job file. `--stock` goes before it.
    #[schemars(schema_with = "text")]
    pub(super) stock: Option<String>,
    /// What the job is.
    #[serde(default)]
    pub(super) job: Option<RawHead>,
    /// How the cloth is cut.
    #[serde(default)]
    pub(super) cutting: RawCutting,
    /// How a ply too wide for its cloth is split. Without this section no ply is ever split.
    pub(super) splice: Option<RawSplice>,
    /// The cloths: one section for each.
    #[serde(default)]
    #[schemars(length(min = 1, max = 200))]
    pub(super) cloth: Vec<Option<RawCloth>>,
    /// The moulds: what all templates taken off one have in common is said there once.
    #[serde(default)]
    #[schemars(length(max = 200))]
    pub(super) mould: Vec<Option<RawMould>>,
    /// Outlines from drawings: one section for each.
    #[serde(default)]
    #[schemars(length(max = 2000))]
    pub(super) template: Vec<Option<RawTemplate>>,
    /// Strips given by size, such as joint tapes.
    #[serde(default)]
    #[schemars(length(max = 2000))]
    pub(super) strip: Vec<Option<RawStrip>>,
    /// Local reinforcements placed on a template.
    #[serde(default)]
    #[schemars(length(max = 2000))]
    pub(super) patch: Vec<Option<RawPatch>>,
    /// The layers in laying order, the first on the mould.
    #[serde(default)]
    #[schemars(length(min = 1, max = 1000))]
    pub(super) layer: Vec<Option<RawLayer>>,
    /// Preparations, clock and limits of the lay-up.
    pub(super) layup: Option<Layup>,
    /// When layers are pressed down under vacuum part-way.
    pub(super) debulk: Option<Debulk>,
    /// The cure as the data sheet gives it, step by step.
    #[serde(default)]
    #[schemars(length(max = 100))]
    pub(super) cure: Vec<Option<CureStep>>,
    /// What the bag takes.
    pub(super) consumables: Option<Consumables>,
    /// What is put on the finished part.
    #[serde(default)]
    #[schemars(length(max = 100))]
    pub(super) finish: Vec<Option<Finish>>,
}

/// What the job is.
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct RawHead {
    /// Name of the job; it also tells the kits of several jobs apart.
    #[schemars(schema_with = "text")]
    pub(super) name: String,
    /// Name of the job whose other hand this one is: planned with it, visible twills are
    /// book-matched layer by layer.
    #[serde(default)]
    #[schemars(schema_with = "text")]
    pub(super) other_hand_of: Option<String>,
    /// Folder of the job that this one was begun from, in the same workshop.
    #[serde(default)]
    #[schemars(schema_with = "text")]
    pub(super) begun_from: Option<String>,
    /// Currency of the prices, as it is to be printed.
    #[serde(default = "euro")]
    #[schemars(length(min = 1, max = 8))]
    pub(super) currency: String,
}

fn euro() -> String {
    "EUR".into()
}

/// How the cloth is cut.
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields, default)]
pub(super) struct RawCutting {
    /// Least distance between pieces: 5 for scissors, 2 for a knife, 0 to share straight cuts.
    #[schemars(schema_with = "allowance")]
    pub(super) gap: f64,
    /// Length of the bench: no part of a layout is longer. Left out, the bench is as long as the
    /// layout.
    #[schemars(schema_with = "size")]
    pub(super) bench_length: Option<f64>,
    /// Cloth beyond a trim edge.
    #[schemars(schema_with = "allowance")]
    pub(super) trim: f64,
    /// Cloth beyond a lap edge.
    #[schemars(schema_with = "allowance")]
    pub(super) lap: f64,
    /// Degrees a piece may lie off its angle to save cloth.
    #[schemars(schema_with = "angle_tolerance")]
    pub(super) angle_tolerance: f64,
    /// What is left over counts as an offcut where it is at least this wide, else as waste.
    #[schemars(schema_with = "allowance")]
    pub(super) least_offcut_width: f64,
}

impl Default for RawCutting {
    /// Gap (5 for scissors, 2 for a knife) and lap: common practice, no source. Trim: 25 mm or more
    /// beyond the line, after a workshop article.
    fn default() -> Self {
        RawCutting {
            gap: 5.0,
            bench_length: None,
            trim: 25.0,
            lap: 25.0,
            angle_tolerance: 0.0,
            least_offcut_width: 40.0,
        }
    }
}

/// How a ply too wide for its cloth is split.
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields, default)]
pub(super) struct RawSplice {
    /// Overlap of the parts of a woven ply; a unidirectional ply is butted along its fibres.
    #[schemars(schema_with = "allowance")]
    pub(super) lap: f64,
    /// Least distance between the splices of neighbouring layers, edge to edge.
    #[schemars(schema_with = "allowance")]
    pub(super) stagger: f64,
    /// Splices of layers nearer to each other than this many plies must not coincide.
    #[schemars(range(min = 1, max = 100))]
    pub(super) plies_apart: usize,
}

impl Default for RawSplice {
    /// Lap 25 mm and stagger 25 mm or more: common practice, no source. Four plies apart:
    /// MIL-HDBK-17-3F, chapter 12, on butt splices.
    fn default() -> Self {
        RawSplice { lap: 25.0, stagger: 50.0, plies_apart: 4 }
    }
}

/// A cloth: what it is, how wide its roll is, which face lies up.
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
#[schemars(
    extend("required" = ["id"]),
    extend("if" = { "not": { "required": ["library"] } }),
    extend("then" = { "required": ["weave", "up", "roll_width", "selvedge"] })
)]
pub(super) struct RawCloth {
    /// Short name that layers use.
    #[schemars(schema_with = "id")]
    pub(super) id: String,
    /// Id of a cloth in the workshop's library, `cloths.toml`: what does not stand here is as it is
    /// there.
    #[serde(default)]
    #[schemars(schema_with = "text")]
    pub(super) library: Option<String>,
    /// Name for people; the id if left out.
    #[serde(default)]
    #[schemars(schema_with = "text")]
    pub(super) name: Option<String>,
    /// How it is made; it decides which turns a piece may take.
    pub(super) weave: Weave,
    /// Equal yarns and counts along and across.
    #[serde(default = "yes")]
    pub(super) balanced: bool,
    /// A finish that must run one way: pieces are never turned.
    #[serde(default)]
    pub(super) one_way: bool,
    /// Where the line of a twill runs on the face that lies up: 45 rises to the left of the warp,
    /// -45 to the right. Every twill needs it.
    #[serde(default)]
    #[schemars(schema_with = "angle")]
    pub(super) twill_line: Option<f64>,
    /// What is on the face that lies up on the bench; it tells the faces apart.
    pub(super) up: Backing,
    /// Width of the roll, selvedges included.
    #[schemars(schema_with = "size")]
    pub(super) roll_width: f64,
    /// Width at each side of the roll that is not for use; 0 if there is none.
    #[schemars(schema_with = "allowance")]
    pub(super) selvedge: f64,
    /// Length on the roll, if it is known; a layout that needs more is refused.
    #[serde(default)]
    #[schemars(schema_with = "roll_length")]
    pub(super) roll_length: Option<f64>,
    /// Mass of the fibre, g/m².
    #[serde(default)]
    #[schemars(schema_with = "areal_mass")]
    pub(super) areal_mass: Option<f64>,
    /// Resin by mass, as a share from 0 to below 1 or as text in per cent; 0 for dry cloth.
    #[serde(default)]
    #[schemars(schema_with = "share")]
    pub(super) resin_content: Option<f64>,
    /// Density of the fibre, g/cm³: about 1.8 for carbon, 2.5 for glass.
    #[serde(default)]
    #[schemars(range(min = 0.1, max = 25.0))]
    pub(super) fibre_density: Option<f64>,
    /// Price of a metre of the roll.
    #[serde(default)]
    #[schemars(range(min = 0.0, max = 1e9))]
    pub(super) price_per_metre: Option<f64>,
    /// Price of a square metre; not beside a price of a metre.
    #[serde(default)]
    #[schemars(range(min = 0.0, max = 1e9))]
    pub(super) price_per_square_metre: Option<f64>,
    /// Places on the roll that no piece may cover.
    #[serde(default)]
    #[schemars(length(max = 1000))]
    pub(super) flaw: Vec<RawFlaw>,
    /// What it is: cloth with fibres, or a core or adhesive film, whose `areal_mass` is then its
    /// whole mass and which needs a `thickness`.
    #[serde(default)]
    pub(super) material: Material,
    /// Thickness of a layer in the finished part, if it is known; without it, it is worked out from
    /// the masses and densities.
    #[serde(default)]
    #[schemars(schema_with = "size")]
    pub(super) thickness: Option<f64>,
    /// Density of the cured resin, g/cm³: about 1.2 for epoxy.
    #[serde(default)]
    #[schemars(range(min = 0.5, max = 5.0))]
    pub(super) resin_density: Option<f64>,
    /// Batch of the roll, for the lay-up sheet.
    #[serde(default)]
    #[schemars(schema_with = "text")]
    pub(super) batch: Option<String>,
    /// Hours it may still spend out of the freezer.
    #[serde(default)]
    #[schemars(range(min = 0.0, max = 100_000.0))]
    pub(super) out_life_hours: Option<f64>,
    /// Last day of use by the roll's label, as "2027-08-31".
    #[serde(default)]
    #[schemars(schema_with = "text")]
    pub(super) expiry: Option<String>,
    /// What sellers offer: roll widths with price, step and least length.
    #[serde(default)]
    #[schemars(length(max = 100))]
    pub(super) offer: Vec<RawOffer>,
}

/// A roll width on offer. Several offers of one width with `from` are price breaks.
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct RawOffer {
    /// Width of the roll, selvedges included.
    #[schemars(schema_with = "size")]
    pub(super) width: f64,
    /// The price holds from this length.
    #[serde(default)]
    #[schemars(schema_with = "distance")]
    pub(super) from: f64,
    /// Least length sold.
    #[serde(default)]
    #[schemars(schema_with = "distance")]
    pub(super) minimum: f64,
    /// Lengths are sold in steps of this; 0.5 m if left out.
    #[serde(default = "half_a_metre")]
    #[schemars(schema_with = "size")]
    pub(super) step: f64,
    /// Price of a metre.
    #[serde(default)]
    #[schemars(range(min = 0.0, max = 1e9))]
    pub(super) price_per_metre: Option<f64>,
    /// Price of a square metre; not beside a price of a metre.
    #[serde(default)]
    #[schemars(range(min = 0.0, max = 1e9))]
    pub(super) price_per_square_metre: Option<f64>,
}

fn half_a_metre() -> f64 {
    500.0
}

fn yes() -> bool {
    true
}

/// A place on the roll that no piece may cover: an outline, or a band from one length to another.
/// Measured from the free end of the roll (x) and from its lower edge as it lies on the bench,
/// selvedge included (y).
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct RawFlaw {
    /// Corners of the flaw, each [x, y].
    #[serde(default)]
    #[schemars(schema_with = "ring")]
    pub(super) outline: Option<Vec<[f64; 2]>>,
    /// Where the flaw begins along the roll.
    #[serde(default)]
    #[schemars(schema_with = "distance")]
    pub(super) from: Option<f64>,
    /// Where the flaw ends along the roll.
    #[serde(default)]
    #[schemars(schema_with = "distance")]
    pub(super) to: Option<f64>,
    /// Where the flaw begins across the roll; the lower edge if left out.
    #[serde(default)]
    #[schemars(schema_with = "distance")]
    pub(super) low: Option<f64>,
    /// Where the flaw ends across the roll; the upper edge if left out.
    #[serde(default)]
    #[schemars(schema_with = "distance")]
    pub(super) high: Option<f64>,
}

/// A mould: what is the same for all templates taken off it. A template that names it need not say
/// what it was taken off, which side its drawing shows and which hands are wanted.
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct RawMould {
    /// Short name that templates use.
    #[schemars(schema_with = "id")]
    pub(super) id: String,
    /// Name for people; the id if left out.
    #[serde(default)]
    #[schemars(schema_with = "text")]
    pub(super) name: Option<String>,
    /// A female mould that the part is laid up in, or a plug of the part. A skin taken off a plug
    /// is the other hand.
    pub(super) kind: MouldKind,
    /// Which parts it makes: a single one, a left one, a right one, or a pair of moulds of which
    /// one was taped.
    pub(super) hands: MouldHands,
    /// Of a pair, the one that was taped: its hand is the one as traced.
    #[serde(default)]
    pub(super) taped: Option<Side>,
    /// Which way the inked side of its skins lay when they were drawn; each template says so itself
    /// if left out.
    #[serde(default)]
    pub(super) inked_side: Option<InkedSide>,
    /// What is worth knowing about it.
    #[serde(default)]
    #[schemars(schema_with = "text")]
    pub(super) note: Option<String>,
    /// A photo of it (.jpg or .png), in the job's folder or below it.
    #[serde(default)]
    #[schemars(schema_with = "text")]
    pub(super) photo: Option<String>,
}

/// A template: an outline from a drawing, and how the skin lay when it was drawn.
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
#[schemars(
    extend("required" = ["id", "file"]),
    extend("if" = { "not": { "required": ["mould"] } }),
    extend("then" = { "required": ["taken_off", "inked_side"] })
)]
pub(super) struct RawTemplate {
    /// Short name that layers and patches use.
    #[schemars(schema_with = "id")]
    pub(super) id: String,
    /// Id of the mould it was taken off: what the mould says need not stand here.
    #[serde(default)]
    #[schemars(schema_with = "text")]
    pub(super) mould: Option<String>,
    /// The drawing (.svg, .dxf or .csv), in the job's folder or below it.
    #[schemars(length(min = 1, max = 1000))]
    pub(super) file: String,
    /// Only what the drawing holds in the layer, group, block or part of this name.
    #[serde(default)]
    #[schemars(schema_with = "text")]
    pub(super) layer: Option<String>,
    /// Of several outlines the one around this point, mm, y up.
    #[serde(default)]
    #[schemars(schema_with = "point")]
    pub(super) inside: Option<[f64; 2]>,
    /// Unit of the drawing, where it does not say its own or is to be overruled.
    #[serde(default)]
    pub(super) unit: Option<Unit>,
    /// Curves are flattened to within this distance.
    #[serde(default = "chord_tolerance")]
    #[schemars(schema_with = "chord")]
    pub(super) chord_tolerance: f64,
    /// Ends of lines in the drawing that are no farther apart than this are joined, with a warning.
    #[serde(default = "join_ends")]
    #[schemars(schema_with = "join")]
    pub(super) join_ends: f64,
    /// Direction of the part's 0°, anticlockwise from the right of the drawing; needed unless the
    /// drawing shows an arrow.
    #[serde(default)]
    #[schemars(schema_with = "angle")]
    pub(super) arrow: Option<f64>,
    /// What the skin was taken off: the mould the part is laid up in, or a plug of the part. A plug
    /// gives the other hand.
    pub(super) taken_off: TakenOff,
    /// Which way the inked side (the one that faced the worker) lay when the drawing was made. Down
    /// gives the other hand.
    pub(super) inked_side: InkedSide,
    /// Kind of the edges to which the drawing gives none.
    #[serde(default = "trim_edge")]
    pub(super) edge: EdgeKind,
    /// Hands that are wanted where a layer does not say.
    #[serde(default = "as_traced")]
    pub(super) hands: Hands,
    /// Id of the template whose mirror image it is. A layer that lays both gives the angle of that
    /// one, and visible twills are book-matched.
    #[serde(default)]
    #[schemars(schema_with = "text")]
    pub(super) other_hand_of: Option<String>,
    /// A piece longer than the bench may be cut by sliding the cloth along.
    #[serde(default)]
    pub(super) may_cross_bench: bool,
}

fn chord_tolerance() -> f64 {
    0.02
}

fn join_ends() -> f64 {
    0.1
}

fn trim_edge() -> EdgeKind {
    EdgeKind::Trim
}

fn as_traced() -> Hands {
    Hands::AsTraced
}

/// A strip given by size. The part's 0° runs along it and its edges do not grow; a layer at 45 cuts
/// it on the bias.
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct RawStrip {
    /// Short name that layers use.
    #[schemars(schema_with = "id")]
    pub(super) id: String,
    /// Along the strip.
    #[schemars(schema_with = "size")]
    pub(super) length: f64,
    /// Across the strip.
    #[schemars(schema_with = "size")]
    pub(super) width: f64,
    /// A strip longer than the bench may be cut by sliding the cloth along.
    #[serde(default = "yes")]
    pub(super) may_cross_bench: bool,
}

/// A local reinforcement on a template, by size or by outline. Positions are in the drawing of that
/// template.
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct RawPatch {
    /// Short name that layers use.
    #[schemars(schema_with = "id")]
    pub(super) id: String,
    /// Id of the template it lies on; it takes that template's arrow and hands.
    #[schemars(schema_with = "text")]
    pub(super) on: String,
    /// Middle of the patch in the drawing of its template, mm, y up.
    #[serde(default)]
    #[schemars(schema_with = "point")]
    pub(super) centre: Option<[f64; 2]>,
    /// Along the patch.
    #[serde(default)]
    #[schemars(schema_with = "size")]
    pub(super) length: Option<f64>,
    /// Across the patch.
    #[serde(default)]
    #[schemars(schema_with = "size")]
    pub(super) width: Option<f64>,
    /// Direction of its length, degrees anticlockwise from the template's arrow as the drawing
    /// shows it; 0 if left out.
    #[serde(default)]
    #[schemars(schema_with = "angle")]
    pub(super) along: Option<f64>,
    /// Radius of its corners; sharp if left out.
    #[serde(default)]
    #[schemars(schema_with = "distance")]
    pub(super) corner: Option<f64>,
    /// Shape of a patch given by size; a rectangle if left out.
    #[serde(default)]
    pub(super) shape: Option<RawShape>,
    /// Corners of a patch of any shape, each [x, y], in place of a size.
    #[serde(default)]
    #[schemars(schema_with = "ring")]
    pub(super) outline: Option<Vec<[f64; 2]>>,
    /// Each further layer that uses it is smaller all round by this.
    #[serde(default)]
    #[schemars(schema_with = "allowance")]
    pub(super) step_back: f64,
    /// Kind of its edges.
    #[serde(default = "butt_edge")]
    pub(super) edge: EdgeKind,
}

fn butt_edge() -> EdgeKind {
    EdgeKind::Butt
}

/// Shape of a patch given by size.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub(super) enum RawShape {
    /// A rectangle.
    Rectangle,
    /// An ellipse.
    Ellipse,
}

/// One layer of the laminate.
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct RawLayer {
    /// Name for people; its number if left out.
    #[serde(default)]
    #[schemars(schema_with = "text")]
    pub(super) name: Option<String>,
    /// Id of its cloth.
    #[schemars(schema_with = "text")]
    pub(super) cloth: String,
    /// Whole plies, or a mosaic of patches in many directions.
    #[serde(default = "whole")]
    pub(super) kind: RawKind,
    /// Angle of the warp from the part's 0°, anticlockwise looking at the mould surface. Every
    /// layer of whole plies needs it.
    #[serde(default)]
    #[schemars(schema_with = "angle")]
    pub(super) angle: Option<f64>,
    /// Mosaic: the smallest patches, as the side of a square of the size that is seen.
    #[serde(default)]
    #[schemars(schema_with = "size")]
    pub(super) patch_from: Option<f64>,
    /// Mosaic: the largest patches, likewise.
    #[serde(default)]
    #[schemars(schema_with = "size")]
    pub(super) patch_to: Option<f64>,
    /// Mosaic: overlap of patches at their seams.
    #[serde(default)]
    #[schemars(schema_with = "allowance")]
    pub(super) seam_lap: Option<f64>,
    /// Mosaic: least difference of direction between patches that touch.
    #[serde(default)]
    #[schemars(schema_with = "angle_tolerance")]
    pub(super) least_difference: Option<f64>,
    /// Mosaic: number of the division; another number divides the target another way.
    #[serde(default)]
    #[schemars(range(min = 0, max = 1_000_000))]
    pub(super) mosaic_seed: Option<u32>,
    /// What it lays: ids of templates, strips and patches, or entries like { template =
    /// "hip-plate", hands = "both", copies = 2 }.
    #[schemars(length(min = 1, max = 2000))]
    pub(super) templates: Vec<RawItem>,
    /// Hands wanted of everything in this layer; each template's own if left out.
    #[serde(default)]
    pub(super) hands: Option<Hands>,
    /// How many of each hand.
    #[serde(default)]
    #[schemars(range(min = 1, max = 1000))]
    pub(super) copies: Option<u32>,
    /// From which side it is seen on the finished part.
    #[serde(default = "hidden")]
    pub(super) seen: Seen,
    /// Mirror the line of a visible twill on the two hands (true), or keep the same line on both
    /// (false).
    #[serde(default = "yes")]
    pub(super) book_match: bool,
    /// Turns that pieces of this layer may take, in place of what the weave allows.
    #[serde(default)]
    #[schemars(schema_with = "turns")]
    pub(super) turns: Option<Vec<f64>>,
    /// Faces that may lie up at those turns; the cloth's own up face if left out.
    #[serde(default)]
    #[schemars(length(min = 1, max = 2))]
    pub(super) faces: Option<Vec<Face>>,
    /// Cloth beyond a trim edge in this layer.
    #[serde(default)]
    #[schemars(schema_with = "allowance")]
    pub(super) trim: Option<f64>,
    /// Cloth beyond a lap edge in this layer.
    #[serde(default)]
    #[schemars(schema_with = "allowance")]
    pub(super) lap: Option<f64>,
    /// Degrees a piece of this layer may lie off its angle to save cloth.
    #[serde(default)]
    #[schemars(schema_with = "angle_tolerance")]
    pub(super) angle_tolerance: Option<f64>,
}

/// What a layer is made of.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub(super) enum RawKind {
    /// Whole plies at one angle.
    Whole,
    /// Patches in many directions.
    Mosaic,
}

fn whole() -> RawKind {
    RawKind::Whole
}

fn hidden() -> Seen {
    Seen::Hidden
}

/// What a layer lays: an id, or an id with the hands and copies wanted.
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(untagged)]
pub(super) enum RawItem {
    /// The id alone.
    Id(#[schemars(schema_with = "text")] String),
    /// The id with more.
    Full(RawFullItem),
}

/// An entry of a layer's templates with hands or copies of its own.
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct RawFullItem {
    /// Id of a template, strip or patch.
    #[schemars(schema_with = "text")]
    pub(super) template: String,
    /// Hands wanted of it in this layer.
    #[serde(default)]
    pub(super) hands: Option<Hands>,
    /// How many of each hand.
    #[serde(default)]
    #[schemars(range(min = 1, max = 1000))]
    pub(super) copies: Option<u32>,
}
