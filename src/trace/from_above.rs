//! Photos seen from above, before anything is sought in them. Kept, it makes a hint quick: cards
//! and plane are found, and the networks have looked.

use super::belief::Belief;
use super::figures::Figures;
use super::flat::{Flat, flatten};
use super::grey::greyed;
use super::look::Look;
use super::options::KnownRectangle;
use super::part::Part;
use super::plane::{Plane, by_cards, by_rectangle, resolution};
use crate::fault::{Fault, Faults};
use crate::geometry::Point;
use crate::run::{Phase, Run};
use image::{GrayImage, RgbImage};
use std::borrow::Cow;
use std::path::PathBuf;
use std::sync::{Arc, Mutex, OnceLock, PoisonError};

/// Resolution that is worth a warning, and that is refused, mm a pixel.
const COARSE: (f64, f64) = (0.6, 1.3);

/// What tells how large things are in the photos.
#[derive(Clone, Debug, PartialEq)]
pub struct Scale {
    /// Measured width of the printed card's frame, mm.
    pub card_width: f64,
    /// A rectangle that takes the place of cards.
    pub rectangle: Option<KnownRectangle>,
}

/// A part's place, and the close look at it.
type Looked = (Point, Arc<Look>);

/// Photos with their plane seen from above.
#[derive(Debug)]
pub struct FromAbove<'a> {
    photos: Cow<'a, [(PathBuf, RgbImage)]>,
    pub(super) plane: Plane,
    pub(super) flat: Arc<Flat>,
    pub(super) figures: Figures,
    pub(super) warnings: Vec<Fault>,
    belief: OnceLock<Result<Belief, Fault>>,
    looks: Mutex<Vec<Looked>>,
}

impl<'a> FromAbove<'a> {
    /// Finds cards and plane.
    ///
    /// # Errors
    /// Every reason why the photos tell no true size, with what to do; that it was stopped.
    pub fn see(
        photos: impl Into<Cow<'a, [(PathBuf, RgbImage)]>>,
        scale: &Scale,
        run: &Run<'_>,
    ) -> Result<FromAbove<'a>, Faults> {
        let photos = photos.into();
        run.tell(Phase::Tracing, Some(0.0));
        let (mut warnings, mut figures) = (Vec::new(), Figures::default());
        let greys = greys(&photos);
        let in_grey: Vec<(PathBuf, &GrayImage)> =
            photos.iter().map(|p| p.0.clone()).zip(&greys).collect();
        let plane = match &scale.rectangle {
            Some(rectangle) => by_rectangle(&in_grey, rectangle, &mut warnings)?,
            None => by_cards(&in_grey, scale.card_width, &mut figures, &mut warnings)?,
        };
        run.tell(Phase::Tracing, Some(0.2));
        run.check(Phase::Tracing)?;
        let colours: Vec<&RgbImage> = photos.iter().map(|(_, photo)| photo).collect();
        let flat = flatten(&colours, &greys, &plane.views, &plane.cards)
            .ok_or_else(|| Fault::new("the photo shows nothing of the plane", "take it again"))?;
        figures.resolution = resolution(&plane, &flat);
        let what = said!("a pixel of the photo spans {:.2} mm of the template", figures.resolution);
        if figures.resolution > COARSE.1 {
            let remedy = "come closer, or take several photos that share cards";
            return Err(Fault::new(what, remedy).into());
        }
        if figures.resolution > COARSE.0 {
            warnings.push(Fault::new(
                what,
                "for edges right to the millimetre come closer: 0.35 mm a pixel is good",
            ));
        }
        drop((in_grey, colours));
        Ok(FromAbove {
            photos,
            plane,
            flat: Arc::new(flat),
            figures,
            warnings,
            belief: OnceLock::new(),
            looks: Mutex::default(),
        })
    }

    /// The photos in grey.
    pub(super) fn greys(&self) -> Vec<GrayImage> {
        greys(&self.photos)
    }

    /// What the first network believes of the plane; it looks once.
    pub(super) fn belief(&self) -> Result<&Belief, Fault> {
        let colours = || self.photos.iter().map(|(_, photo)| photo).collect::<Vec<&RgbImage>>();
        let belief =
            self.belief.get_or_init(|| Belief::of(&colours(), &self.plane.views, &self.flat));
        belief.as_ref().map_err(Clone::clone)
    }

    /// The second network's close look at a part; it looks at each once.
    pub(super) fn look(&self, part: &Part) -> Result<Arc<Look>, Fault> {
        let looks = || self.looks.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some((_, look)) = looks().iter().find(|(at, _)| *at == part.at) {
            return Ok(Arc::clone(look));
        }
        let look = Arc::new(Look::at(&self.flat, self.belief()?, part, &self.plane.solid)?);
        looks().push((part.at, Arc::clone(&look)));
        Ok(look)
    }
}

fn greys(photos: &[(PathBuf, RgbImage)]) -> Vec<GrayImage> {
    photos.iter().map(|(_, photo)| greyed(photo)).collect()
}
