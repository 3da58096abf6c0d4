//! The plan: the exchange model between planning, drawing, booking and checking.
//!
//! [`Plan`] is the model and `plan.json` its file ([`to_json`], [`from_json`]); [`left_over()`]
//! tells offcuts from waste, [`cloth_figures`] sums up a cloth, [`laying_order`] and [`words`] are
//! the one order and the one vocabulary of all sheets, [`folder`] writes a whole plan folder or
//! nothing.

mod drawn;
mod figures;
mod file;
pub mod folder;
mod left_over;
mod model;
mod order;
pub mod words;
mod written;

pub use drawn::{drawn, drawn_piece, drawn_stock, line};
pub use figures::cloth_figures;
pub use file::{LARGEST_FILE, SCHEMA, from_json, schema_json, to_json};
pub(crate) use left_over::at_origin;
pub use left_over::{LeftOver, left_over, left_over_unless};
pub use model::{
    ClothFigures, DrawnFrom, DrawnStock, Early, EndedEarly, Offcut, OtherHand, PlacedPiece, Plan,
    PlanCloth, PlanLayer, PlanLayerItem, PlanMosaic, PlanPiece, PlanStock, PlanTemplate, Rectangle,
    Rules, SearchStep, SpliceFacts, StockKind,
};
pub use order::laying_order;
