//! The check every plan must pass before anything is drawn, booked or cut from it.
//!
//! It works from the plan alone and shares no code with the search, the allowances or the boolean
//! operations: whole micrometres in `i64`, squares in `i128`. What is checked, and how closely:
//!
//! | what | tolerance |
//! |---|---|
//! | numbers finite and of supported size, rings simple, rightly turned, on the grid | none |
//! | pieces inside the cloth, off selvedges, holes and flaws, within one bench segment | none |
//! | pieces apart: interiors disjoint, outlines at least the gap apart | none |
//! | placed outline = piece turned, mirrored, moved | none at quarter turns, else 2 µm in x and y |
//! | turn and face among the permitted ones | the piece's own angle tolerance |
//! | offcuts clear of pieces, of each other, inside the cloth; largest rectangle inside its offcut | 2 µm deep |
//! | areas of pieces and cloth consumed | 0.01 mm² |
//! | areas of offcuts | 0.01 mm² each |
//! | area of the waste, which is measured between rounded boundaries | 1 mm² and 1 µm times the length of all boundaries |
//! | used length | 0.0005 mm |
//! | mass | 0.051 g |
//! | yield | 0.00001 |
//! | preparation, pieces against templates | see `preparation` |
//! | mosaics | see `mosaic` |
//! | lines of visible twills on parts said to be a pair | 0.000001° |

mod allowance;
mod area;
mod depth;
mod exact;
mod figures;
mod findings;
mod frame;
mod laid;
mod layout;
mod mosaic;
mod pairs;
mod placement;
mod plies;
mod ply;
mod preparation;
mod sane;
mod splices;
mod stagger;
mod turns;

use crate::fault::Faults;
use crate::plan::Plan;
use crate::run::{Phase, Run};

/// A plan that passed [`verify`]. Writers take nothing else.
#[derive(Clone, Debug, PartialEq)]
pub struct Verified(Plan);

impl Verified {
    /// The plan.
    pub fn plan(&self) -> &Plan {
        &self.0
    }

    /// The plan, no longer known to be verified.
    pub fn into_plan(self) -> Plan {
        self.0
    }
}

/// Checks a plan through and through.
///
/// # Errors
/// Everything that is wrong with it (up to a thousand faults), each with the pieces and stock
/// concerned, by how much and where. If numbers or rings are unsound, only those are listed:
/// nothing can be measured on them.
pub fn verify(plan: Plan) -> Result<Verified, Faults> {
    verify_in(plan, &Run::default())
}

/// The same as a part of a run that may be stopped.
///
/// # Errors
/// As [`verify`]; that it was stopped.
pub fn verify_in(plan: Plan, run: &Run<'_>) -> Result<Verified, Faults> {
    run.tell(Phase::Verifying, None);
    let mut found = findings::Findings::new(run);
    if let Some(exact) = sane::measure(&plan, &mut found) {
        placement::check(&plan, &mut found);
        layout::check(&plan, &exact, &mut found);
        figures::check(&plan, &exact, &mut found);
        let plies = plies::check(&plan, &mut found);
        pairs::check(&plan, &plies, &mut found);
        preparation::check(&plan, &exact, &plies, &mut found);
        mosaic::check(&plan, &mut found);
    }
    run.check(Phase::Verifying)?;
    found.into_faults().into_result(Verified(plan))
}
