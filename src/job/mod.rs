//! The job file: read with every fault at once, then a [`Job`] whose every reference holds.

mod model;

pub use model::{
    Cutting, Hands, InkedSide, Job, Layer, LayerItem, PatchShape, Seen, SpliceKind, SpliceRule, TakenOff, Template, TemplateSource,
};
