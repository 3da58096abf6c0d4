//! The plan: the exchange model between planning, drawing, booking and checking.

mod model;

pub use model::{
    ClothFigures, Offcut, PlacedPiece, Plan, PlanCloth, PlanLayer, PlanLayerItem, PlanPiece, PlanStock, PlanTemplate, Rectangle, Rules,
    SpliceFacts, StockKind,
};
