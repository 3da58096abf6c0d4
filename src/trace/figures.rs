//! How good photos are.

/// How good the photos are.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Figures {
    /// Numbers of the cards used.
    pub cards: Vec<usize>,
    /// Root mean square error of the cards' marks, mm.
    pub error: f64,
    /// mm of the plane that a pixel shows.
    pub resolution: f64,
    /// Tilt of the camera from straight down, degrees, by photo.
    pub tilt: Vec<f64>,
    /// Radial distortion at the corner of each photo, as a share of the distance from its middle.
    pub distortion: Vec<f64>,
    /// How wide a sharp edge is in the photo, mm.
    pub blur: f64,
    /// Twice the standard deviation of the longest lengths across the templates, mm.
    pub uncertainty: f64,
    /// The template is lighter than its ground.
    pub lighter: bool,
}
