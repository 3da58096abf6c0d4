//! From template and layer to the pieces that are cut: hand, edges, splices, permitted turns.

mod piece;

pub use piece::{Hand, Part, Piece, Prepared};
