//! Layouts while they get better, in plain numbers, for whoever draws them: first what they lie
//! on, then again and again where each piece lies.

use serde::ser::{Serialize, SerializeTuple, Serializer};

/// A closed line, mm.
pub type Line = Vec<[f64; 2]>;

/// What the layouts of one cloth are drawn on and with. Lengths mm.
#[derive(Clone, Debug, Default, PartialEq, serde::Serialize)]
pub struct Ground {
    /// The cloth.
    pub cloth: String,
    /// No layout on the roll can be shorter.
    pub least_length: f64,
    /// The pieces; [`Lying::piece`] counts them.
    pub pieces: Vec<GroundPiece>,
    /// What they are cut from; [`Lying::stock`] counts it.
    pub stocks: Vec<GroundStock>,
}

/// A piece as it is drawn, in its own frame.
#[derive(Clone, Debug, Default, PartialEq, serde::Serialize)]
pub struct GroundPiece {
    /// Its number on the sheets.
    pub number: String,
    /// Layer, from 1.
    pub layer: usize,
    /// Angle of its ply, degrees.
    pub angle: f64,
    /// Outline and holes.
    pub rings: Vec<Line>,
    /// Where its number stands.
    pub middle: [f64; 2],
    /// Room around that place.
    pub room: f64,
}

/// A roll or an offcut as it is drawn: x along the warp.
#[derive(Clone, Debug, Default, PartialEq, serde::Serialize)]
pub struct GroundStock {
    /// Its name.
    pub id: String,
    /// Outline and holes of an offcut; a roll has none.
    pub rings: Vec<Line>,
    /// Width of a roll; height of an offcut.
    pub width: f64,
    /// Length, where it has an end that is known.
    pub length: Option<f64>,
    /// What is not used along each side of a roll.
    pub selvedge: f64,
    /// Flaws.
    pub flaws: Vec<Line>,
}

/// A layout as it is drawn. Stocks are counted as in [`Ground::stocks`].
#[derive(Clone, Debug, Default, PartialEq, serde::Serialize)]
pub struct Layout {
    /// Where everything lies.
    pub lying: Vec<Lying>,
    /// Where bench segments end before the layout does: on which stock, mm.
    pub ends: Vec<(usize, f64)>,
    /// What is left over and worth keeping, known once the layout is settled: on which stock,
    /// outline and holes.
    pub left: Vec<(usize, Vec<Line>)>,
}

/// One copy of a piece where it lies: turned, mirrored about x if face down, then moved.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Lying {
    /// Which piece.
    pub piece: usize,
    /// Which copy, from 0.
    pub copy: u32,
    /// On which roll or offcut.
    pub stock: usize,
    /// Degrees anticlockwise.
    pub turn: f64,
    /// Face down.
    pub down: bool,
    /// mm.
    pub x: f64,
    /// mm.
    pub y: f64,
}

/// As a row of numbers: layouts are sent many times, and the names would be most of them.
impl Serialize for Lying {
    fn serialize<S: Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        let mut row = to.serialize_tuple(7)?;
        row.serialize_element(&self.piece)?;
        row.serialize_element(&self.copy)?;
        row.serialize_element(&self.stock)?;
        row.serialize_element(&self.turn)?;
        row.serialize_element(&u8::from(self.down))?;
        row.serialize_element(&self.x)?;
        row.serialize_element(&self.y)?;
        row.end()
    }
}
