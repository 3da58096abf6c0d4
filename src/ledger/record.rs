//! What the ledger holds.

use crate::fault::{Fault, Faults};
use crate::stock::{Consumable, Offcut, OffcutFacts, Roll, RollFacts};
use serde::{Deserialize, Serialize};

/// What became of a piece. One that has no record is to cut.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum PieceState {
    /// Cut, waiting to be laid.
    Cut,
    /// Laid in the mould.
    Laid,
    /// Cut and of no more use: to be cut again.
    Spoiled,
}

impl PieceState {
    /// In words.
    pub fn words(self) -> &'static str {
        match self {
            PieceState::Cut => "cut",
            PieceState::Laid => "laid",
            PieceState::Spoiled => "spoiled",
        }
    }
}

/// A piece of a booked plan.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct PieceRecord {
    /// The kit: id of its first plan.
    pub kit: String,
    /// Id of the plan it was cut by; of one that is spoiled, the plan by which it was found so: any
    /// other plan of the kit cuts it again.
    pub plan: String,
    /// Its id in the plan.
    pub piece: String,
    /// Which copy, from 1.
    pub copy: u32,
    /// The roll or offcut it was cut from.
    pub stock: String,
    /// What became of it.
    pub state: PieceState,
}

impl PieceRecord {
    /// The same in another state, by this plan.
    pub(super) fn in_state(self, state: PieceState, plan: &str) -> PieceRecord {
        let plan = if state == PieceState::Spoiled { plan.to_string() } else { self.plan };
        PieceRecord { state, plan, ..self }
    }

    /// Its name among the records.
    pub fn id(&self) -> String {
        piece_id(&self.kit, &self.piece, self.copy)
    }
}

/// The record name of a copy of a kit's piece.
pub(super) fn piece_id(kit: &str, piece: &str, copy: u32) -> String {
    format!("{kit}/{piece}#{copy}")
}

/// A plan of which something was booked.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct PlanRecord {
    /// Its id.
    pub plan: String,
    /// Its jobs.
    pub jobs: Vec<String>,
    /// Stocks of it that are cut to the end.
    pub finished: Vec<String>,
    /// Area of its pieces and of the cloth it consumed, mm²: what later estimates learn from.
    #[serde(default)]
    pub areas: [f64; 2],
}

/// A roll or offcut with what only the ledger knows of it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Kept<T> {
    /// What people record.
    pub facts: T,
    /// Since when it is out of the freezer, seconds since 1970; `None` while it is in, or if nobody
    /// logs it.
    #[serde(default)]
    pub out_since: Option<i64>,
    /// The plan that changed it last, while that plan is cut in part.
    #[serde(default)]
    pub open_plan: Option<String>,
}

/// One thing in the ledger.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(tag = "record", rename_all = "lowercase")]
pub enum Record {
    /// A roll.
    Roll(Kept<RollFacts>),
    /// An offcut.
    Offcut(Kept<OffcutFacts>),
    /// A dated consumable.
    Consumable(Consumable),
    /// A piece that was cut.
    Piece(PieceRecord),
    /// A plan booked in part or whole.
    Plan(PlanRecord),
}

impl Record {
    /// Its name.
    pub fn id(&self) -> String {
        match self {
            Record::Roll(r) => r.facts.id.clone(),
            Record::Offcut(o) => o.facts.id.clone(),
            Record::Consumable(c) => c.id.clone(),
            Record::Piece(p) => p.id(),
            Record::Plan(p) => format!("plan {}", p.plan),
        }
    }

    /// Checks it by the rules of what it is.
    ///
    /// # Errors
    /// Every fault of a roll, offcut or consumable.
    pub(super) fn sound(&self) -> Result<(), Faults> {
        match self {
            Record::Roll(r) => Roll::new(r.facts.clone()).map(|_| ()),
            Record::Offcut(o) => Offcut::new(o.facts.clone()).map(|_| ()),
            Record::Consumable(c) => c.sound(),
            Record::Piece(_) | Record::Plan(_) => Ok(()),
        }
    }

    /// Its kind as the table names it.
    pub(super) fn kind(&self) -> &'static str {
        match self {
            Record::Roll(_) => "roll",
            Record::Offcut(_) => "offcut",
            Record::Consumable(_) => "consumable",
            Record::Piece(_) => "piece",
            Record::Plan(_) => "plan",
        }
    }

    /// Columns that lists are made from without reading the body: cloth, area mm², width along the
    /// warp mm, height mm, batch, place, day added, expiry.
    pub(super) fn columns(&self) -> Columns {
        match self {
            Record::Roll(r) => Columns {
                cloth: Some(r.facts.cloth.clone()),
                area: r.facts.length.map(|l| l * r.facts.width),
                width: r.facts.length,
                height: Some(r.facts.width),
                batch: r.facts.batch.clone(),
                place: r.facts.place.clone(),
                added: Some(r.facts.added.to_string()),
                expiry: r.facts.age.expiry.map(|d| d.to_string()),
            },
            Record::Offcut(o) => {
                let bounds = crate::geometry::ring_bounds(&o.facts.outline);
                let holes: f64 =
                    o.facts.holes.iter().map(|h| crate::geometry::ring_area(h).abs()).sum();
                Columns {
                    cloth: Some(o.facts.cloth.clone()),
                    area: Some(crate::geometry::ring_area(&o.facts.outline).abs() - holes),
                    width: bounds.map(|b| b.width()),
                    height: bounds.map(|b| b.height()),
                    batch: o.facts.batch.clone(),
                    place: o.facts.place.clone(),
                    added: Some(o.facts.added.to_string()),
                    expiry: o.facts.age.expiry.map(|d| d.to_string()),
                }
            }
            _ => Columns::default(),
        }
    }

    pub(super) fn to_text(&self) -> String {
        serde_json::to_string(self).unwrap_or_default()
    }

    pub(super) fn from_text(text: &str) -> Result<Record, Fault> {
        serde_json::from_str(text).map_err(|e| {
            Fault::new(
                said!("a record of the ledger cannot be read: {e}"),
                "run `warpwise stock check`; it offers the last good backup",
            )
        })
    }
}

/// What lists show, kept in columns of their own.
#[derive(Clone, Debug, Default, PartialEq)]
pub(super) struct Columns {
    pub cloth: Option<String>,
    pub area: Option<f64>,
    pub width: Option<f64>,
    pub height: Option<f64>,
    pub batch: Option<String>,
    pub place: Option<String>,
    pub added: Option<String>,
    pub expiry: Option<String>,
}

/// A roll or offcut as lists show it.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct StockRow {
    /// Its name.
    pub id: String,
    /// `roll` or `offcut`.
    pub kind: String,
    /// Cloth.
    pub cloth: String,
    /// Along the warp, mm: of a roll the length left, if it is known.
    pub width: Option<f64>,
    /// Across the warp, mm.
    pub height: Option<f64>,
    /// mm², if it is known.
    pub area: Option<f64>,
    /// Batch.
    pub batch: Option<String>,
    /// Where it lies.
    pub place: Option<String>,
    /// Since when.
    pub added: String,
    /// Last day by its label.
    pub expiry: Option<String>,
}

/// A record as its row holds it.
pub(super) fn read(text: &str) -> rusqlite::Result<Record> {
    Record::from_text(text).map_err(|f| {
        rusqlite::Error::FromSqlConversionFailure(
            0,
            rusqlite::types::Type::Text,
            f.what.to_string().into(),
        )
    })
}
