//! The validated job: what preparation and planning work from.

use super::choices::{Hands, InkedSide, MouldHands, MouldKind, Seen, Side, TakenOff};
use super::mosaic::Mosaic;
use crate::cloth::{Cloth, Permitted};
use crate::geometry::{Point, Ring};
use crate::outline::{Account, EdgeKind, Outline};
use crate::trace::Corner;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use std::path::PathBuf;

/// A mould that templates were taken off.
#[derive(Clone, Debug, PartialEq)]
pub struct Mould {
    /// Its id in the job.
    pub id: String,
    /// Its name for people.
    pub name: String,
    /// What it is.
    pub kind: MouldKind,
    /// Which parts it makes.
    pub hands: MouldHands,
    /// Of a pair, the one that was taped.
    pub taped: Option<Side>,
    /// Which way the inked side of its skins lay when they were drawn, if it is the same for all.
    pub inked_side: Option<InkedSide>,
    /// What is worth knowing about it.
    pub note: Option<String>,
    /// A photo of it, as the job names it.
    pub photo: Option<PathBuf>,
}

impl Mould {
    /// The part that a template is as traced (false) or mirrored (true): none of a single part.
    pub fn side(&self, mirrored: bool) -> Option<Side> {
        let traced = match self.hands {
            MouldHands::Single => None,
            MouldHands::Left => Some(Side::Left),
            MouldHands::Right => Some(Side::Right),
            MouldHands::Pair => self.taped,
        }?;
        Some(if mirrored == (traced == Side::Left) { Side::Right } else { Side::Left })
    }
}

/// A template: an outline on the bench with its arrow, and how it lies.
#[derive(Clone, Debug, PartialEq)]
pub struct Template {
    /// Its id in the job.
    pub id: String,
    /// Where it comes from.
    pub source: TemplateSource,
    /// The outline in its drawing's frame, before any mirroring for plug or inked side. A patch's
    /// outline is in its host's drawing frame.
    pub outline: Outline,
    /// Corners of the outline, named as the check picture of a tracing names them, drawing frame;
    /// none of a strip or patch.
    pub corners: Vec<Corner>,
    /// Direction of the part's 0°, degrees anticlockwise from +x of the drawing.
    pub arrow: f64,
    /// What it was taken off.
    pub taken_off: TakenOff,
    /// Which side the drawing shows.
    pub inked_side: InkedSide,
    /// Kind of the edges to which the drawing gives none.
    pub edge: EdgeKind,
    /// Hands wanted where a layer does not say.
    pub hands: Hands,
    /// True if a piece longer than the bench may be cut by sliding the cloth along.
    pub may_cross_bench: bool,
    /// The template of the job whose mirror image it is, drawn by itself.
    pub other_hand_of: Option<String>,
    /// Index into [`Job::moulds`] of the mould it was taken off, if it names one.
    pub mould: Option<usize>,
}

impl Template {
    /// True if the drawing shows the other hand, so that it must be mirrored (about its arrow) to
    /// be in the template frame: off a plug or inked side down, but not both.
    pub fn drawn_mirrored(&self) -> bool {
        (self.taken_off == TakenOff::Plug) != (self.inked_side == InkedSide::Down)
    }
}

/// Where a template comes from.
#[derive(Clone, Debug, PartialEq)]
pub enum TemplateSource {
    /// An outline file.
    Drawing {
        /// The file as the job names it.
        file: PathBuf,
    },
    /// A strip of given size, arrow along its length.
    Strip {
        /// Along the arrow, mm.
        length: f64,
        /// Across the arrow, mm.
        width: f64,
    },
    /// A local reinforcement placed on another template.
    Patch {
        /// Id of the template it lies on.
        on: String,
        /// Its shape.
        shape: PatchShape,
        /// Each further layer that uses it is smaller all round by this, mm.
        step_back: f64,
    },
}

/// Shape of a local patch in its host's drawing frame, mm.
#[derive(Clone, Debug, PartialEq)]
pub enum PatchShape {
    /// A rectangle (corners may be rounded) or, with `round`, an ellipse.
    Sized {
        /// Middle of the patch, drawing frame of the host.
        centre: Point,
        /// Along its own length, mm.
        length: f64,
        /// Across, mm.
        width: f64,
        /// Degrees anticlockwise from the host's arrow to its length.
        along: f64,
        /// Corner radius, mm; ignored for an ellipse.
        corner: f64,
        /// An ellipse.
        ellipse: bool,
    },
    /// Any ring.
    Polygon(Ring),
}

/// One template in one layer, with what that layer wants of it.
#[derive(Clone, Debug, PartialEq)]
pub struct LayerItem {
    /// Index into [`Job::templates`].
    pub template: usize,
    /// Hands wanted.
    pub hands: Hands,
    /// How many of each hand.
    pub copies: u32,
}

/// One level of the laminate, counted from the mould face.
#[derive(Clone, Debug, PartialEq)]
pub struct Layer {
    /// Name for people.
    pub name: String,
    /// Index into [`Job::cloths`].
    pub cloth: usize,
    /// Angle of the warp from the arrow, degrees anticlockwise looking at the mould surface.
    pub angle: f64,
    /// The templates it lays.
    pub items: Vec<LayerItem>,
    /// From which side it is seen.
    pub seen: Seen,
    /// For a visible twill on both hands: `true` (default) book-matches the lines, `false` asks for
    /// the same line on both.
    pub book_match: bool,
    /// The lay-up's own word on turns, if it has one; wins over the weave's.
    pub turns: Option<Vec<Permitted>>,
    /// Cloth beyond trim edges, mm; the job's if the layer does not say.
    pub trim: f64,
    /// Cloth beyond lap edges, mm; the job's if the layer does not say.
    pub lap: f64,
    /// Degrees a piece may be off its permitted turns.
    pub angle_tolerance: f64,
    /// For a layer of patches in many directions: how they are made.
    pub mosaic: Option<Mosaic>,
}

/// How the cloth is cut.
#[derive(Clone, Debug, PartialEq)]
pub struct Cutting {
    /// Gap between pieces, mm.
    pub gap: f64,
    /// Bench length: no segment of a layout is longer, mm.
    pub bench_length: Option<f64>,
    /// Left-overs narrower than this are waste, mm.
    pub least_offcut_width: f64,
}

/// How the parts of a spliced ply meet.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum SpliceKind {
    /// Overlapped.
    Lap,
    /// Edge to edge.
    Butt,
}

/// The splice rule of a job: without one, no ply is ever split.
#[derive(Clone, Debug, PartialEq)]
pub struct SpliceRule {
    /// Lap of a woven splice, mm.
    pub lap: f64,
    /// Least distance between splices of neighbouring layers, edge to edge, mm.
    pub stagger: f64,
    /// Splices of layers nearer than this many plies must not coincide.
    pub plies_apart: usize,
}

/// What was made of a drawing that the job names.
#[derive(Clone, Debug, PartialEq)]
pub struct ReadDrawing {
    /// The file as the job names it.
    pub file: PathBuf,
    /// What became of every line.
    pub lines: Vec<Account>,
    /// Name and box of each outline that no template takes.
    pub spare: Vec<String>,
}

/// A job whose every reference holds.
#[derive(Clone, Debug, PartialEq)]
pub struct Job {
    /// Name for people; also tells the kits of several jobs apart.
    pub name: String,
    /// The job file.
    pub file: PathBuf,
    /// The stock it is planned from where the command names none.
    pub stock: Option<PathBuf>,
    /// Name of the job whose mirror image this one is.
    pub other_hand_of: Option<String>,
    /// Folder of the job that it was begun from.
    pub begun_from: Option<String>,
    /// Currency for prices, as the job writes it.
    pub currency: String,
    /// The cloths.
    pub cloths: Vec<Cloth>,
    /// The moulds.
    pub moulds: Vec<Mould>,
    /// Templates, strips and patches, in this order.
    pub templates: Vec<Template>,
    /// The drawings its templates come from.
    pub drawings: Vec<ReadDrawing>,
    /// The layers in laying order.
    pub layers: Vec<Layer>,
    /// Cutting rules.
    pub cutting: Cutting,
    /// The splice rule, if there is one.
    pub splice: Option<SpliceRule>,
    /// What it says about the work at the mould.
    pub mould_work: super::MouldWork,
}

impl Job {
    /// Which part a template is, as traced or mirrored, where its mould says so.
    pub fn side(&self, template: usize, mirrored: bool) -> Option<Side> {
        self.moulds.get(self.templates.get(template)?.mould?)?.side(mirrored)
    }

    /// The same of a template by its id.
    pub fn side_of(&self, template: &str, mirrored: bool) -> Option<Side> {
        self.side(self.templates.iter().position(|t| t.id == template)?, mirrored)
    }
}
