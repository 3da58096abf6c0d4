//! Writers: a plan as drawings, tables and words. Pure: plan in, text out; the caller writes it to disk.

pub mod csv;
pub mod summary;
pub mod svg;

mod clip;
mod draw;
mod grid;
mod label;
mod overview;
mod room;
mod scene;
mod text;
mod title;

pub use overview::overview;
pub use text::text_width;
