//! The cut lines thrown on the bench by a projector: marks → map with what is left open →
//! lines in the picture's pixels.
//!
//! The bench is in mm, y up; the picture in pixels, y down. Nothing here knows of windows or files.

mod fit;
mod grid;
mod hand;
mod label;
mod map;
mod pattern;
mod throw;
#[cfg(test)]
mod trials;
mod windows;

pub use fit::{DRAGGED, Fit, Known, Length, MEASURED, Mark, PLACES, TAPED, places};
pub use grid::{Grid, STEP};
pub use hand::{MESHES, Marked};
pub use label::{Label, Room};
pub use map::{Map, Picture};
pub use pattern::{Dot, by_photo, gaps, pattern};
pub use throw::{Kind, Lie, Line, Text, Thrown, check_marks, test_picture, window_thrown};
pub use windows::{Window, windows};
