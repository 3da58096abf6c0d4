//! The job file: read with every fault at once, then a [`Job`] whose every reference holds.
//!
//! `raw` is the format as types, `schema` the JSON Schema made of them, `structure` holds a file
//! against the schema and `cloths`, `templates` and `layers` settle what goes beyond single keys.
//! `load` is the way through them all.

mod agree;
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
pub(crate) use document::nearest;
pub use layup::{
    AssumedTime, BagOver, Consumables, CureStep, Debulk, Finish, FinishFaces, Layup, MouldMaterial,
    MouldWork,
};
pub use library::{
    LIBRARY_FILE, LIBRARY_HEAD, LibraryCloth, check_library, library_of, library_schema_json,
    of_roll,
};
pub use load::{ReadOutline, load, load_all, load_in, parse, parse_with};
pub use model::{
    Cutting, Hands, InkedSide, Job, Layer, LayerItem, Mould, MouldHands, MouldKind, PatchShape,
    ReadDrawing, Seen, Side, SpliceKind, SpliceRule, TakenOff, Template, TemplateSource,
};
pub use mosaic::Mosaic;
pub use place::placed;
pub use refer::said_by_mould;
pub use scaffold::scaffold;
pub use schema::schema_json;
pub(crate) use templates::point_within;
