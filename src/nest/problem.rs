//! What the search is given: immutable, validated once.

use super::outcome::Placement;
use crate::fault::{Fault, Faults};
use crate::geometry::{Region, Ring};

/// One way a shape may lie: turned about the origin, then mirrored about x if `flip`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Pose {
    /// Degrees anticlockwise.
    pub turn: f64,
    /// Mirrored about x after the turn.
    pub flip: bool,
}

/// A shape to place.
#[derive(Clone, Debug, PartialEq)]
pub struct Shape {
    /// For messages only.
    pub name: String,
    /// Outline and holes, mm, on the grid.
    pub region: Region,
    /// The ways it may lie; never empty.
    pub poses: Vec<Pose>,
    /// Degrees by which a pose's turn may be off.
    pub tolerance: f64,
    /// How many of it; at least 1.
    pub copies: u32,
    /// May lie across the ends of bench segments (the cloth is slid along).
    pub may_cross: bool,
}

/// How far a stock reaches along x.
#[derive(Clone, Debug, PartialEq)]
pub enum Extent {
    /// A closed region, wholly available; using it costs nothing new.
    Fixed {
        /// The usable region, mm.
        region: Region,
    },
    /// A strip from x = 0, `low <= y <= high`; the used length is minimised.
    Open {
        /// Lower limit of y, mm.
        low: f64,
        /// Upper limit of y, mm.
        high: f64,
        /// No segment of the layout is longer, mm.
        segment_max: Option<f64>,
        /// The strip ends here, mm.
        length_max: Option<f64>,
    },
}

/// A stock to place on.
#[derive(Clone, Debug, PartialEq)]
pub struct Stock {
    /// For messages only.
    pub name: String,
    /// Its extent.
    pub extent: Extent,
    /// Keep-out rings, mm, stock frame.
    pub keep_out: Vec<Ring>,
}

impl Stock {
    /// Area of a stock with a fixed outline, flaws not taken off, mm²; an open one has none.
    pub fn area(&self) -> f64 {
        match &self.extent {
            Extent::Fixed { region } => region.area(),
            Extent::Open { .. } => 0.0,
        }
    }
}

/// A shape that lies fixed on a stock: all others keep the gap to it.
#[derive(Clone, Debug, PartialEq)]
pub struct Pin {
    /// Index of the stock.
    pub stock: usize,
    /// Where it lies, mm, stock frame, on the grid.
    pub region: Region,
    /// May lie across the ends of bench segments.
    pub may_cross: bool,
}

/// A nesting problem, valid by construction.
#[derive(Clone, Debug, PartialEq)]
pub struct Problem {
    shapes: Vec<Shape>,
    stocks: Vec<Stock>,
    gap: f64,
    pins: Vec<Pin>,
    start: Vec<Placement>,
}

impl Problem {
    /// Checks and takes over shapes, stocks (in order of preference; at most one is open) and the
    /// gap between shapes in mm.
    ///
    /// # Errors
    /// Every shape without poses or area, a negative gap. A stock without room is no fault: nothing
    /// is placed in it, and what fits nowhere is named in the outcome.
    pub fn new(shapes: Vec<Shape>, stocks: Vec<Stock>, gap: f64) -> Result<Problem, Faults> {
        let mut faults = Faults::new();
        for shape in &shapes {
            if shape.poses.is_empty() || shape.copies == 0 {
                faults.push(Fault::new(
                    said!("{}has no permitted turn", shape.name),
                    "allow at least one turn and one copy",
                ));
            }
            if shape.region.outline.len() < 3 || shape.region.area() <= 0.0 {
                faults.push(Fault::new(said!("{} has no area", shape.name), "check its outline"));
            }
        }
        // The search counts stocks and ways to lie in 16 bits.
        let most = usize::from(u16::MAX) - 1;
        if stocks.len() > most || shapes.iter().any(|s| s.poses.len() > most / 2) {
            let what = said!("more than {most} stocks, or {} ways for a piece to lie", most / 2);
            faults.push(Fault::new(what, "plan from fewer offcuts, or permit fewer turns"));
        }
        if !(gap >= 0.0 && gap.is_finite()) {
            faults.push(Fault::new(
                "the gap between pieces is negative",
                "give a gap of 0 mm or more",
            ));
        }
        faults.into_result(Problem { shapes, stocks, gap, pins: Vec::new(), start: Vec::new() })
    }

    /// The same with shapes that lie fixed. Whether these keep the rules among themselves is not
    /// looked at.
    ///
    /// # Errors
    /// A stock that is none, a shape without area.
    pub fn with_pins(self, pins: Vec<Pin>) -> Result<Problem, Faults> {
        let mut faults = Faults::new();
        for pin in &pins {
            if pin.stock >= self.stocks.len() || pin.region.area() <= 0.0 {
                faults.push(Fault::new(
                    "what is pinned has no area, or lies on no stock",
                    "take the pin away",
                ));
            }
        }
        faults.into_result(Problem { pins, ..self })
    }

    /// The same with places from which the search begins: `stock` counts the problem's stocks. They
    /// may overlap; what is not here begins where a first layout has it.
    #[must_use]
    pub fn with_start(self, start: Vec<Placement>) -> Problem {
        Problem { start, ..self }
    }

    /// The shapes.
    pub fn shapes(&self) -> &[Shape] {
        &self.shapes
    }

    /// The stocks in order of preference.
    pub fn stocks(&self) -> &[Stock] {
        &self.stocks
    }

    /// The shapes that lie fixed.
    pub fn pins(&self) -> &[Pin] {
        &self.pins
    }

    /// Where the search begins.
    pub fn start(&self) -> &[Placement] {
        &self.start
    }

    /// Least distance between shapes, mm.
    pub fn gap(&self) -> f64 {
        self.gap
    }
}
