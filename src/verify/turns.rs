//! Which turns a weave permits, said once more and independently of preparation: a table of what is
//! forbidden and why.

use super::placement::turns_apart;
use crate::cloth::{Face, Permitted, Weave};
use crate::plan::PlanCloth;

/// Why a piece of this cloth may not lie so, or `None` if it may. A layer's own turns win over
/// this.
pub(super) fn forbidden(cloth: &PlanCloth, visible: bool, way: Permitted) -> Option<&'static str> {
    use Weave::{
        Biaxial45, Mat, None as Plainless, Plain, Satin, Twill21, Twill22, Twill31, Twill44,
        Unidirectional,
    };
    let near = |turns: &[f64]| turns.iter().any(|&t| turns_apart(t, way.turn) < 1e-9);
    let (half, quarter) = (near(&[0.0, 180.0]), near(&[90.0, 270.0]));
    let down = way.face == Face::Down;
    if cloth.one_way {
        return (down || !near(&[0.0])).then_some("its finish runs one way");
    }
    match cloth.weave {
        Mat => return None,
        Plainless => return down.then_some("its faces may differ"),
        _ if !half && !quarter => return Some("it is neither a half nor a quarter turn"),
        _ => {}
    }
    // From here on it is a half turn (0 among them) or a quarter turn.
    match cloth.weave {
        Unidirectional | Biaxial45 | Twill21 | Twill31 | Satin if quarter => {
            Some("warp and weft are not alike")
        }
        Plain | Twill22 | Twill44 if quarter && !cloth.balanced => Some("it is not balanced"),
        Twill21 | Twill31 | Satin if down => Some("it has a warp face and a weft face"),
        Biaxial45 if down && visible => Some("its stitching shows"),
        // A quarter turn and a turn over each reverse the line; both together keep it.
        Twill22 | Twill44 if visible && quarter != down => Some("its line would run the other way"),
        Unidirectional | Plain | Twill22 | Twill44 | Twill21 | Twill31 | Satin | Biaxial45 => None,
        Mat | Plainless => None,
    }
}
