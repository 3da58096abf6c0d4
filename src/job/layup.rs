//! What a job says about laying up, bagging and curing. It travels in the plan as it stands.

use super::quantity::{allowance, areal_mass, girths, openings, size_or_none, text, text_or_none};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// The preparations, the clock and the limits of a lay-up.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields, default)]
pub struct Layup {
    /// When the cure is to begin, as "2026-12-01 08:00"; clock times are then printed.
    #[schemars(schema_with = "text_or_none")]
    pub start: Option<String>,
    /// Release agent, as its tin names it.
    #[schemars(schema_with = "text_or_none")]
    pub release_agent: Option<String>,
    /// Day on which the release agent expires, as "2026-12-31".
    #[schemars(schema_with = "text_or_none")]
    pub release_expires: Option<String>,
    /// Coats of release agent.
    #[schemars(range(min = 0, max = 20))]
    pub release_coats: u32,
    /// Minutes between coats of release agent.
    #[schemars(range(min = 0.0, max = 1440.0))]
    pub release_minutes: f64,
    /// Hours the cloth needs to thaw in its closed bag.
    #[schemars(range(min = 0.0, max = 100.0))]
    pub thaw_hours: f64,
    /// Minutes of work for a piece, for the expected time out of the freezer.
    #[schemars(range(min = 0.0, max = 600.0))]
    pub minutes_per_piece: f64,
    /// Temperature of the workshop, °C.
    #[schemars(range(min = -20.0, max = 60.0))]
    pub room_temperature: f64,
    /// What the mould is made of, for how far it grows in the cure.
    pub mould_material: Option<MouldMaterial>,
    /// Templates that are laid in the second half of a mould in two halves.
    #[schemars(length(max = 2000))]
    pub second_half: Vec<String>,
    /// Templates that join the halves: laid when both are closed onto each other.
    #[schemars(length(max = 2000))]
    pub joint: Vec<String>,
    /// The mould withstands at most this, °C.
    #[schemars(range(min = 20.0, max = 500.0))]
    pub mould_limit: Option<f64>,
    /// The core withstands at most this, °C.
    #[schemars(range(min = 20.0, max = 500.0))]
    pub core_limit: Option<f64>,
}

impl Default for Layup {
    /// Thawing 8 h: a reprint of FAA-H-8083-31 chapter 7. The rest: common practice, no source.
    fn default() -> Self {
        Layup {
            start: None,
            release_agent: None,
            release_expires: None,
            release_coats: 4,
            release_minutes: 15.0,
            thaw_hours: 8.0,
            minutes_per_piece: 4.0,
            room_temperature: 20.0,
            mould_material: None,
            second_half: Vec::new(),
            joint: Vec::new(),
            mould_limit: None,
            core_limit: None,
        }
    }
}

/// What a mould is made of.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum MouldMaterial {
    /// Aluminium.
    Aluminium,
    /// Steel.
    Steel,
    /// Carbon laminate with fibres all ways.
    Carbon,
}

impl MouldMaterial {
    /// Growth of a mm for a °C; from memory.
    pub fn growth(self) -> f64 {
        match self {
            MouldMaterial::Aluminium => 23.6e-6,
            MouldMaterial::Steel => 12e-6,
            MouldMaterial::Carbon => 2.5e-6,
        }
    }

    /// Its name.
    pub fn in_words(self) -> &'static str {
        match self {
            MouldMaterial::Aluminium => "aluminium",
            MouldMaterial::Steel => "steel",
            MouldMaterial::Carbon => "carbon",
        }
    }
}

/// When layers are pressed down under vacuum part-way.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields, default)]
pub struct Debulk {
    /// After the first layer.
    pub first: bool,
    /// After every so many layers, counted from the first.
    #[schemars(range(min = 1, max = 1000))]
    pub every: usize,
    /// After the last layer.
    pub last: bool,
    /// Minutes of each.
    #[schemars(range(min = 0.0, max = 1440.0))]
    pub minutes: f64,
}

impl Default for Debulk {
    /// After ply 1, about every 3 plies, after the last, 20 minutes: a trade article on tooling
    /// prepreg.
    fn default() -> Self {
        Debulk { first: true, every: 3, last: true, minutes: 20.0 }
    }
}

/// One step of the cure: to a temperature by rate or by the clock, then hold.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct CureStep {
    /// Temperature to reach, °C.
    #[schemars(range(min = -20.0, max = 500.0))]
    pub to: f64,
    /// How fast, °C a minute, whether up or down.
    #[serde(default)]
    #[schemars(range(min = 0.01, max = 50.0))]
    pub rate: Option<f64>,
    /// In place of a rate: when it is reached, minutes from the start.
    #[serde(default)]
    #[schemars(range(min = 0.0, max = 100_000.0))]
    pub at: Option<f64>,
    /// Minutes at the temperature, from when the slowest thermocouple has reached it.
    #[serde(default)]
    #[schemars(range(min = 0.0, max = 100_000.0))]
    pub hold: f64,
}

/// A bag over one mould, by tape measure.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct BagOver {
    /// Ids of the templates laid under it; all that no other bag names if left out.
    #[serde(default)]
    #[schemars(length(max = 2000))]
    pub templates: Vec<String>,
    /// Two lengths by a tape laid over the mould, one each way, down into it and up again, from
    /// edge to edge of the part; over an opening, straight across.
    #[schemars(schema_with = "girths")]
    pub girths: [f64; 2],
    /// Length round each opening of the mould that the bag is sealed to, [] if there is none; the
    /// holes of the templates if left out.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schemars(schema_with = "openings")]
    pub openings: Option<Vec<f64>>,
    /// How many such moulds are bagged; one for each hand that is laid if left out, and one for
    /// each strip.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schemars(range(min = 1, max = 100))]
    pub moulds: Option<u32>,
}

/// What the bag takes.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields, default)]
pub struct Consumables {
    /// The bags with their girths, one section for each mould; a template under none gets a guess
    /// from its drawing.
    #[schemars(length(max = 1000))]
    pub bag: Vec<BagOver>,
    /// Where no girths are given: area of the moulds' surface under the bag, m².
    #[schemars(range(min = 0.0001, max = 1000.0))]
    pub area: Option<f64>,
    /// Length of the seal in all; if left out, round the film of each bag and round every opening.
    #[schemars(schema_with = "size_or_none")]
    pub perimeter: Option<f64>,
    /// Film and fleece beyond the part.
    #[schemars(schema_with = "allowance")]
    pub overhang: f64,
    /// Bag film beyond film and fleece, for the seal.
    #[schemars(schema_with = "allowance")]
    pub seal_margin: f64,
    /// Per cent of bag film beyond the area, for pleats.
    #[schemars(range(min = 0.0, max = 500.0))]
    pub bag_oversize: f64,
    /// Per cent of sealing tape beyond the perimeter, for pleats.
    #[schemars(range(min = 0.0, max = 500.0))]
    pub tape_pleats: f64,
    /// Peel ply on the laminate.
    pub peel_ply: bool,
    /// Release film that lets resin bleed; a plain one does not, and the masses assume no bleed.
    pub perforated_film: bool,
}

impl Default for Consumables {
    /// Overhang 50 mm: FAA AC 43.13-1B, 3-7. Margin, bag and tape: common practice, no source.
    fn default() -> Self {
        Consumables {
            bag: Vec::new(),
            area: None,
            perimeter: None,
            overhang: 50.0,
            seal_margin: 50.0,
            bag_oversize: 30.0,
            tape_pleats: 15.0,
            peel_ply: true,
            perforated_film: false,
        }
    }
}

/// Something put on the finished part, so that the scales can be checked against the estimate.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Finish {
    /// What it is: clear coat, filler.
    #[schemars(schema_with = "text")]
    pub name: String,
    /// Mass of it, g/m².
    #[schemars(schema_with = "areal_mass")]
    pub areal_mass: f64,
    /// The faces of the part that it is put on.
    #[serde(default, skip_serializing_if = "FinishFaces::is_one")]
    pub faces: FinishFaces,
    /// Price of a square metre of it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schemars(range(min = 0.0, max = 1e9))]
    pub price_per_square_metre: Option<f64>,
}

/// The faces of a part that a finish is put on.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub enum FinishFaces {
    /// The one that is seen; the mould side where both or neither is.
    #[default]
    #[serde(rename = "one")]
    One,
    /// The one that lay on the mould.
    #[serde(rename = "mould side")]
    MouldSide,
    /// The one that faced the worker.
    #[serde(rename = "other side")]
    OtherSide,
    /// Both.
    #[serde(rename = "both")]
    Both,
}

impl FinishFaces {
    fn is_one(&self) -> bool {
        *self == FinishFaces::One
    }
}

/// All that a job says about the work at the mould.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct MouldWork {
    /// Preparations and limits.
    pub layup: Layup,
    /// Debulks.
    pub debulk: Debulk,
    /// The cure, step by step.
    pub cure: Vec<CureStep>,
    /// The bag.
    pub consumables: Consumables,
    /// Finishes.
    pub finish: Vec<Finish>,
    /// Times that the job does not give, so that the usual one is reckoned with.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub assumed: Vec<AssumedTime>,
}

/// A time that is the cloth's data sheet's to say.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum AssumedTime {
    /// Hours of thawing.
    Thaw,
    /// Minutes of a debulk.
    Debulk,
}
