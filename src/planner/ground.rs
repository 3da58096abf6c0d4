//! What the layouts of a cloth are drawn on while they are searched for.

use super::sources::Sources;
use crate::cloth::Cloth;
use crate::geometry::{Ring, interior};
use crate::job::Job;
use crate::live::{Ground, GroundPiece, GroundStock, Line};
use crate::ply::Piece;
use crate::stock::Offcut;

/// Offcuts first, then the rolls, as the plan has them.
pub(super) fn ground(
    cloth: &Cloth,
    pieces: &[(&Job, &Piece)],
    offcuts: &[&Offcut],
    sources: &Sources<'_>,
    least_length: f64,
) -> Ground {
    let rolls = sources.rolls.iter().map(|roll| GroundStock {
        id: roll.id.clone(),
        rings: Vec::new(),
        width: cloth.roll_width,
        length: roll.length,
        selvedge: cloth.selvedge,
        flaws: roll.flaws.iter().map(line).collect(),
    });
    Ground {
        cloth: cloth.id.clone(),
        least_length,
        pieces: pieces.iter().map(|(_, piece)| drawn(piece)).collect(),
        stocks: offcuts.iter().map(|o| box_of(o)).chain(rolls).collect(),
    }
}

fn line(ring: &Ring) -> Line {
    // A tenth of a millimetre is less than any screen shows.
    let tenths = |v: f64| (v * 10.0).round() / 10.0;
    ring.iter().map(|p| [tenths(p.x), tenths(p.y)]).collect()
}

fn drawn(piece: &Piece) -> GroundPiece {
    let middle = interior::roomiest_point(&piece.outline);
    GroundPiece {
        number: piece.number.clone(),
        layer: piece.layer,
        angle: piece.angle,
        rings: piece.outline.rings().map(line).collect(),
        middle: middle.map_or([0.0, 0.0], |(p, _)| [p.x, p.y]),
        room: middle.map_or(0.0, |(_, room)| room),
    }
}

fn box_of(offcut: &Offcut) -> GroundStock {
    let bounds = offcut.bounds();
    GroundStock {
        id: offcut.id().to_string(),
        rings: offcut.region().rings().map(line).collect(),
        width: bounds.max.y,
        length: Some(bounds.max.x),
        selvedge: 0.0,
        flaws: offcut.flaws().iter().map(line).collect(),
    }
}
