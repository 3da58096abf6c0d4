//! Pieces of one shape that lie alike: where words go in them is looked for once.

use super::label::Block;
use crate::geometry::{Point, Ring, point};
use crate::plan::PlacedPiece;
use std::collections::HashMap;
use std::sync::{Mutex, PoisonError};

/// Piece, turn and face; its rings from its own origin, on the grid; sizes of the words.
type Key = (String, u64, bool, Vec<Vec<[u64; 2]>>, Vec<[u64; 2]>);

/// What was found for pieces so far, from the origin of each.
pub(crate) struct Alike<F>(Mutex<HashMap<Key, F>>);

impl<F> Default for Alike<F> {
    fn default() -> Self {
        Alike(Mutex::default())
    }
}

/// Where the origin of a piece lies on its stock.
pub(crate) fn origin(placed: &PlacedPiece) -> Point {
    point(placed.x, placed.y)
}

impl<F: Clone> Alike<F> {
    /// What `look` finds for a piece with words of such sizes: it is given the rings of the piece
    /// from its own origin, and asked once for all that lie alike.
    pub(crate) fn find<'b>(
        &self,
        placed: &PlacedPiece,
        words: impl Iterator<Item = &'b Block>,
        look: impl FnOnce(Vec<Ring>) -> F,
    ) -> F {
        let home = |ring: &Ring| ring.iter().map(|p| (*p - origin(placed)).snapped()).collect();
        let rings: Vec<Ring> =
            std::iter::once(&placed.outline).chain(&placed.holes).map(home).collect();
        let bits = |x: f64, y: f64| [x.to_bits(), y.to_bits()];
        let key = (
            placed.piece.clone(),
            placed.turn.to_bits(),
            placed.face == crate::cloth::Face::Down,
            rings.iter().map(|r| r.iter().map(|p| bits(p.x, p.y)).collect()).collect(),
            words.map(|b| bits(b.width, b.height)).collect(),
        );
        let known = |map: &HashMap<Key, F>| map.get(&key).cloned();
        if let Some(found) = known(&self.0.lock().unwrap_or_else(PoisonError::into_inner)) {
            return found;
        }
        let found = look(rings);
        self.0.lock().unwrap_or_else(PoisonError::into_inner).insert(key, found.clone());
        found
    }
}
