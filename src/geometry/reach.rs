//! Which coordinates are supported.

use super::Point;
use crate::fault::Fault;
use crate::units::LARGEST;
use std::fmt::Display;

/// Refuses points that are no numbers or farther out than the supported 100 m.
pub(crate) fn within_reach(what: &impl Display, points: &[Point]) -> Result<(), Fault> {
    if let Some(i) = points.iter().position(|p| !p.x.is_finite() || !p.y.is_finite()) {
        return Err(Fault::new(
            said!("point {} of {what} is not a number", i + 1),
            "correct that coordinate",
        ));
    }
    if let Some(p) = points.iter().find(|p| p.x.abs() > LARGEST || p.y.abs() > LARGEST) {
        let fault = Fault::new(
            said!(
                "{what} lies {:.0} m from the origin; at most {:.0} m is supported",
                p.x.abs().max(p.y.abs()) / 1000.0,
                LARGEST / 1000.0
            ),
            "check the unit of the drawing, or move it nearer to the origin",
        );
        return Err(fault.at(what.to_string(), p.x, p.y));
    }
    Ok(())
}
