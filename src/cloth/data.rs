//! A cloth as the job states it.

use crate::geometry::Ring;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// How a cloth is made.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize, JsonSchema)]
pub enum Weave {
    /// All fibres along the warp.
    #[serde(rename = "unidirectional")]
    Unidirectional,
    /// One over, one under.
    #[serde(rename = "plain")]
    Plain,
    /// Two over, two under.
    #[serde(rename = "twill 2/2")]
    Twill22,
    /// Four over, four under.
    #[serde(rename = "twill 4/4")]
    Twill44,
    /// Two over, one under: a warp face and a weft face.
    #[serde(rename = "twill 2/1")]
    Twill21,
    /// Three over, one under: a warp face and a weft face.
    #[serde(rename = "twill 3/1")]
    Twill31,
    /// Satin of any harness: a warp face and a weft face.
    #[serde(rename = "satin")]
    Satin,
    /// Two stitched layers at +45 and -45.
    #[serde(rename = "biaxial 45")]
    Biaxial45,
    /// Chopped strands or mat: no direction.
    #[serde(rename = "mat")]
    Mat,
    /// A core, film or other sheet without fibres to mind.
    #[serde(rename = "none")]
    None,
}

impl Weave {
    /// Its name as people write it: `twill 2/2`.
    pub fn in_words(self) -> &'static str {
        match self {
            Weave::Unidirectional => "unidirectional",
            Weave::Plain => "plain",
            Weave::Twill22 => "twill 2/2",
            Weave::Twill44 => "twill 4/4",
            Weave::Twill21 => "twill 2/1",
            Weave::Twill31 => "twill 3/1",
            Weave::Satin => "satin",
            Weave::Biaxial45 => "biaxial 45",
            Weave::Mat => "mat",
            Weave::None => "no weave",
        }
    }

    /// True if warp and weft yarns cross over and under each other.
    pub fn is_woven(self) -> bool {
        use Weave::*;
        matches!(self, Plain | Twill22 | Twill44 | Twill21 | Twill31 | Satin)
    }

    /// True if it shows a diagonal line.
    pub fn is_twill(self) -> bool {
        use Weave::*;
        matches!(self, Twill22 | Twill44 | Twill21 | Twill31)
    }
}

/// What backs the face that lies up on the bench: how a person tells the faces apart.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum Backing {
    /// Paper side up.
    Paper,
    /// Film side up.
    Film,
    /// Bare side up: the backing is on the bench.
    Bare,
}

/// What the seller asks.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub enum Price {
    /// For a metre of roll, in the job's currency.
    #[serde(rename = "per metre")]
    PerMetre(f64),
    /// For a square metre, in the job's currency.
    #[serde(rename = "per square metre")]
    PerSquareMetre(f64),
}

/// What a cloth is.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub enum Material {
    /// Fibres, dry or with resin.
    #[default]
    #[serde(rename = "fibre")]
    Fibre,
    /// A core: honeycomb, foam, balsa.
    #[serde(rename = "core")]
    Core,
    /// A film of adhesive.
    #[serde(rename = "adhesive film")]
    AdhesiveFilm,
}

/// A roll width that a seller offers.
#[derive(Clone, Debug, PartialEq)]
pub struct Offer {
    /// Roll width, mm.
    pub width: f64,
    /// The price holds from this length, mm.
    pub from: f64,
    /// Least length sold, mm.
    pub minimum: f64,
    /// Step of the lengths sold, mm.
    pub step: f64,
    /// Price; that of the cloth per m² if there is none.
    pub price: Option<Price>,
}

/// A cloth: weave, masses, width and what is on the roll.
#[derive(Clone, Debug, PartialEq)]
pub struct Cloth {
    /// Its id in the job.
    pub id: String,
    /// Its name for people.
    pub name: String,
    /// Its id in the workshop's library, if it is taken from there.
    pub library: Option<String>,
    /// How it is made.
    pub weave: Weave,
    /// Equal yarns and counts both ways.
    pub balanced: bool,
    /// A one-way finish: no turn but 0.
    pub one_way: bool,
    /// Where a twill's line runs against the warp on the up face: 45 rises to the left of the warp,
    /// -45 to the right.
    pub twill_line: Option<f64>,
    /// What backs the face that lies up.
    pub up: Backing,
    /// Roll width, mm.
    pub roll_width: f64,
    /// Selvedge at each side, not for use, mm.
    pub selvedge: f64,
    /// Length on the roll, mm, if it is known.
    pub roll_length: Option<f64>,
    /// Keep-out polygons on the roll, mm, stock frame, anticlockwise.
    pub flaws: Vec<Ring>,
    /// Fibre areal mass, g/m².
    pub areal_mass: Option<f64>,
    /// Resin content by mass, 0 to 1; 0 for dry cloth.
    pub resin_content: Option<f64>,
    /// Fibre density, g/cm³.
    pub fibre_density: Option<f64>,
    /// Price.
    pub price: Option<Price>,
    /// What it is.
    pub material: Material,
    /// Thickness in the finished part, mm, if given.
    pub thickness: Option<f64>,
    /// Density of the cured resin, g/cm³.
    pub resin_density: Option<f64>,
    /// Batch of the roll.
    pub batch: Option<String>,
    /// Hours it may still be out of the freezer.
    pub out_life_hours: Option<f64>,
    /// Last day of use by the roll's label, as `2027-08-31`.
    pub expiry: Option<String>,
    /// What sellers offer.
    pub offers: Vec<Offer>,
}

impl Cloth {
    /// Width between the selvedges, mm.
    pub fn usable_width(&self) -> f64 {
        self.roll_width - 2.0 * self.selvedge
    }

    /// Mass of the cloth as it comes, g/m²: fibre / (1 - resin content).
    pub fn prepreg_mass(&self) -> Option<f64> {
        Some(self.areal_mass? / (1.0 - self.resin_content.unwrap_or(0.0)))
    }

    /// Which face is up, in words: "paper side up".
    pub fn up_in_words(&self) -> &'static str {
        match self.up {
            Backing::Paper => "paper side up",
            Backing::Film => "film side up",
            Backing::Bare => "bare side up",
        }
    }

    /// True if a quarter turn can mirror its line: a balanced twill whose faces are alike.
    pub fn can_book_match(&self) -> bool {
        self.balanced && matches!(self.weave, Weave::Twill22 | Weave::Twill44)
    }
}
