//! The job file: read with every fault at once, then a [`Job`] whose every reference holds.
//!
//! `raw` is the format as types, `schema` the JSON Schema made of them, `structure` holds a file
//! against the schema and `cloths`, `templates` and `layers` settle what goes beyond single keys.
//! `load` is the way through them all.

mod agree;
mod choices;
mod cloths;
mod document;
mod layers;
mod layup;
mod library;
mod load;
mod model;
mod mosaic;
mod mould_work;
mod moulds;
mod place;
mod quantity;
mod raw;
mod refer;
mod scaffold;
mod schema;
mod shapes;
mod structure;
mod templates;

pub use agree::{agree, differing};
pub use choices::{Hands, InkedSide, MouldHands, MouldKind, Seen, Side, TakenOff};
pub(crate) use document::nearest;
pub use layup::{
    AssumedTime, BagOver, Consumables, CureStep, Debulk, Finish, FinishFaces, Layup, MouldMaterial,
    MouldWork,
};
pub use library::{
    LIBRARY_FILE, LIBRARY_HEAD, LibraryCloth, check_library, library_of, library_schema_json,
    of_roll,
};
pub use load::{load, load_all, load_in, parse, parse_with};
pub use model::{
    Cutting, Job, Layer, LayerItem, Mould, PatchShape, ReadDrawing, SpliceKind, SpliceRule,
    Template, TemplateSource,
};
pub use mosaic::Mosaic;
pub use place::placed;
pub use refer::said_by_mould;
pub use scaffold::scaffold;
pub use schema::schema_json;
pub use templates::ReadOutline;
pub(crate) use templates::point_within;
