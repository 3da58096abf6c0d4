//! A drawing before it has a file format: lines, areas and words in the stock frame, mm, y up.
//!
//! Only the writer of a format whose y runs down turns it over, once.

use crate::geometry::{Bounds, Path, Point, Ring};

/// What a line or area is. A writer gives each its own layer and line style; drawn in this order,
/// first at the bottom.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) enum Ink {
    /// A grid to measure by, behind everything.
    Grid,
    /// Fine lines through an offcut.
    OffcutHatch,
    /// Edge of an offcut.
    Offcut,
    /// The largest rectangle in an offcut.
    Rectangle,
    /// A flaw and its hatch.
    Flaw,
    /// Edge of the stock.
    Stock,
    /// Edge of the usable width.
    Selvedge,
    /// The line of the cloth in a picture of its look.
    Yarn,
    /// The cut line of a piece.
    Cut,
    /// Relief cuts and notches.
    Relief,
    /// The net line.
    Net,
    /// Lines to draw, not to cut.
    Mark,
    /// The part's 0° arrow.
    Arrow,
    /// The straight cut that frees the rest of the roll.
    Across,
    /// Where a bench segment ends.
    SegmentEnd,
    /// From a label to its piece.
    Leader,
    /// Dimensions, frames, scale bar.
    Frame,
}

impl Ink {
    /// All of them, first at the bottom.
    pub(crate) const ALL: [Ink; 17] = [
        Ink::Grid,
        Ink::OffcutHatch,
        Ink::Offcut,
        Ink::Rectangle,
        Ink::Flaw,
        Ink::Stock,
        Ink::Selvedge,
        Ink::Yarn,
        Ink::Cut,
        Ink::Relief,
        Ink::Net,
        Ink::Mark,
        Ink::Arrow,
        Ink::Across,
        Ink::SegmentEnd,
        Ink::Leader,
        Ink::Frame,
    ];
}

/// The shape of one drawn thing.
#[derive(Clone, Debug, PartialEq)]
pub(crate) enum Shape {
    /// Closed rings, one area by the even-odd rule.
    Rings(Vec<Ring>),
    /// An open line.
    Path(Path),
    /// Single segments.
    Segments(Vec<[Point; 2]>),
    /// A closed ring filled with the ink.
    Solid(Ring),
    /// Closed rings, one area by the even-odd rule, filled with a grey from 0 (black) to 255.
    Tone(Vec<Ring>, u8),
}

/// One drawn thing.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Drawn {
    /// What it is.
    pub ink: Ink,
    /// Its id in the file, unique, if it has one.
    pub id: Option<String>,
    /// Its shape.
    pub shape: Shape,
}

/// Where a line of text is held.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Hold {
    /// At its left end.
    Start,
    /// In its middle.
    Middle,
}

/// One line of text. It is never mirrored.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Text {
    /// The held point on the baseline.
    pub at: Point,
    /// How it is held there.
    pub hold: Hold,
    /// Degrees anticlockwise.
    pub angle: f64,
    /// Font size, mm.
    pub size: f64,
    /// Bold.
    pub bold: bool,
    /// White letters, for use on a black box.
    pub white: bool,
    /// The words.
    pub words: String,
}

/// A box behind text.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Backing {
    /// Its corners.
    pub ring: Ring,
    /// Black instead of white.
    pub black: bool,
}

/// A whole drawing.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Scene {
    /// The page, in the frame of the drawing.
    pub page: Bounds,
    /// What it shows, in a line.
    pub title: String,
    /// Lines and areas.
    pub drawn: Vec<Drawn>,
    /// Boxes over the lines, under the text.
    pub backings: Vec<Backing>,
    /// Words.
    pub texts: Vec<Text>,
}

impl Scene {
    /// An empty drawing.
    pub(crate) fn new(page: Bounds, title: String) -> Self {
        Scene { page, title, drawn: Vec::new(), backings: Vec::new(), texts: Vec::new() }
    }

    /// Adds a thing without an id.
    pub(crate) fn draw(&mut self, ink: Ink, shape: Shape) {
        self.drawn.push(Drawn { ink, id: None, shape });
    }

    /// Adds an open line.
    pub(crate) fn line(&mut self, ink: Ink, points: &[Point]) {
        self.draw(ink, Shape::Path(points.to_vec()));
    }

    /// Adds all of another drawing, its origin put at `shift`.
    pub(crate) fn append(&mut self, other: Scene, shift: Point) {
        let moved =
            |points: Vec<Point>| -> Vec<Point> { points.into_iter().map(|p| p + shift).collect() };
        self.drawn.extend(other.drawn.into_iter().map(|d| Drawn {
            shape: match d.shape {
                Shape::Rings(rings) => Shape::Rings(rings.into_iter().map(moved).collect()),
                Shape::Path(points) => Shape::Path(moved(points)),
                Shape::Segments(segments) => Shape::Segments(
                    segments.into_iter().map(|[a, b]| [a + shift, b + shift]).collect(),
                ),
                Shape::Solid(ring) => Shape::Solid(moved(ring)),
                Shape::Tone(rings, grey) => {
                    Shape::Tone(rings.into_iter().map(moved).collect(), grey)
                }
            },
            ..d
        }));
        self.backings
            .extend(other.backings.into_iter().map(|b| Backing { ring: moved(b.ring), ..b }));
        self.texts.extend(other.texts.into_iter().map(|t| Text { at: t.at + shift, ..t }));
    }

    /// Adds words held at their left end.
    pub(crate) fn words(&mut self, at: Point, size: f64, bold: bool, words: impl Into<String>) {
        self.texts.push(Text {
            at,
            hold: Hold::Start,
            angle: 0.0,
            size,
            bold,
            white: false,
            words: words.into(),
        });
    }
}
