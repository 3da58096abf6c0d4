//! From template and layer to the pieces that are cut: hand, edges, splices, permitted turns.

mod allowance;
mod arrow;
mod fit;
mod hand;
mod kept;
mod pair;
mod piece;
mod prepare;
mod relief;
mod skin;
mod splice;
mod stack;
mod step_back;
mod target;

pub use kept::Kept;
pub use pair::unsaid_pairs;
pub use piece::{Hand, Part, Piece, Prepared};
pub use prepare::{prepare, prepare_in, prepare_keeping};
pub use skin::{Inked, InkedCorner, Skin, TemplateFrame, template_frame};
pub use splice::splice_of;
pub use target::{PatchOf, Target, patch_piece, target};
