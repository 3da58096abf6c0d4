//! The layout of a cloth as it is drawn: from pieces and stocks of a plan to plain numbers.

use super::model::{PlanPiece, PlanStock, StockKind};
use crate::cloth::Face;
use crate::geometry::{Region, Ring, interior, ring_bounds};
use crate::live::{Ground, GroundPiece, GroundStock, Layout, Line, Lying};

/// What the stocks and pieces of one cloth look like. Lengths mm; `least` is the length no layout
/// can go under.
pub fn drawn(
    cloth: &str,
    pieces: &[&PlanPiece],
    stocks: &[&PlanStock],
    least: f64,
) -> (Ground, Layout) {
    let ground = Ground {
        cloth: cloth.to_string(),
        least_length: least,
        pieces: pieces.iter().map(|p| drawn_piece(p)).collect(),
        stocks: stocks.iter().map(|s| drawn_stock(s)).collect(),
    };
    let mut layout = Layout::default();
    for (stock, s) in stocks.iter().enumerate() {
        layout.lying.extend(s.placed.iter().filter_map(|p| {
            let piece = pieces.iter().position(|piece| piece.piece == p.piece)?;
            let (copy, down) = (p.copy.saturating_sub(1), p.face == Face::Down);
            Some(Lying { piece, copy, stock, turn: p.turn, down, x: p.x, y: p.y })
        }));
        layout.ends.extend(s.segments.iter().skip(1).map(|segment| (stock, segment[0])));
        let rings = s.offcuts.iter().map(|o| std::iter::once(&o.outline).chain(&o.holes));
        layout.left.extend(rings.map(|rings| (stock, rings.map(line).collect())));
    }
    (ground, layout)
}

/// A ring as it is drawn: a tenth of a millimetre is less than any screen shows.
pub fn line(ring: &Ring) -> Line {
    let tenths = |v: f64| (v * 10.0).round() / 10.0;
    ring.iter().map(|p| [tenths(p.x), tenths(p.y)]).collect()
}

/// A piece as it is drawn.
pub fn drawn_piece(piece: &PlanPiece) -> GroundPiece {
    let region = Region { outline: piece.outline.clone(), holes: piece.holes.clone() };
    let middle = interior::roomiest_point(&region);
    GroundPiece {
        number: piece.number.clone(),
        layer: piece.layer,
        angle: piece.angle,
        rings: region.rings().map(line).collect(),
        middle: middle.map_or([0.0, 0.0], |(p, _)| [p.x, p.y]),
        room: middle.map_or(0.0, |(_, room)| room),
    }
}

/// A roll or offcut as it is drawn.
pub fn drawn_stock(stock: &PlanStock) -> GroundStock {
    let bounds = ring_bounds(&stock.outline);
    let high = bounds.map_or(0.0, |b| b.max.y);
    let is_offcut = stock.kind == StockKind::Offcut;
    let rings = std::iter::once(&stock.outline).chain(&stock.holes).filter(|_| is_offcut);
    GroundStock {
        id: stock.id.clone(),
        rings: rings.map(line).collect(),
        width: high,
        length: bounds.filter(|_| is_offcut).map(|b| b.max.x),
        selvedge: stock.selvedge,
        flaws: stock.flaws.iter().map(line).collect(),
    }
}
