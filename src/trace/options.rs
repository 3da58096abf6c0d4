//! What the user says of the photos.

use super::answers::Answer;
use super::card;
use super::corners::{EdgeRequest, MeasuredLength};
use super::gap::Gap;
use crate::geometry::Point;

/// Which line on the skin is the net line.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum NetLine {
    /// The edge of the skin.
    Edge,
    /// A closed inked line on it.
    Ink,
}

/// Instead of cards: four pixels and the rectangle they span.
#[derive(Clone, Debug, PartialEq)]
pub struct KnownRectangle {
    /// Pixels (from the upper left corner, y down) of the upper left, upper right, lower right and
    /// lower left corner.
    pub pixels: [Point; 4],
    /// Width, mm.
    pub width: f64,
    /// Height, mm.
    pub height: f64,
}

/// What the user says of the photos.
#[derive(Clone, Debug, PartialEq)]
pub struct Options {
    /// Name of the template.
    pub name: String,
    /// Which line is the net line.
    pub net: NetLine,
    /// Measured width of the printed card's frame, mm.
    pub card_width: f64,
    /// How far the simplified outline may lie from the traced one, mm.
    pub tolerance: f64,
    /// Kinds of edges.
    pub edges: Vec<EdgeRequest>,
    /// Lengths measured on the template.
    pub lengths: Vec<MeasuredLength>,
    /// What narrow gaps in the edge are where their shape leaves it open.
    pub gaps: Option<Gap>,
    /// A rectangle that takes the place of cards.
    pub rectangle: Option<KnownRectangle>,
    /// A pixel of the first photo that lies on the skin.
    pub at: Option<Point>,
    /// Pixels of the first photo that run roughly around the skin.
    pub around: Option<Vec<Point>>,
    /// Answers about what has a letter in the check picture.
    pub answers: Vec<Answer>,
}

impl Options {
    /// A name and a net line, and nothing else said: cards as they are printed.
    pub fn of(name: impl Into<String>, net: NetLine) -> Options {
        Options {
            name: name.into(),
            net,
            card_width: card::WIDTH,
            tolerance: 0.2,
            edges: Vec::new(),
            lengths: Vec::new(),
            gaps: None,
            rectangle: None,
            at: None,
            around: None,
            answers: Vec::new(),
        }
    }
}
