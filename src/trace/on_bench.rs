//! A photo of a bench with two cards on it: where on the bench each pixel is, and how sure that is.

use super::card;
use super::figures::Figures;
use super::grey::greyed;
use super::plane::{Plane, by_cards};
use super::solve::Solution;
use crate::fault::{Fault, Faults};
use crate::geometry::Point;
use image::RgbImage;
use std::path::PathBuf;

/// How far a card's frame is off after its width was measured with a ruler, one standard deviation,
/// as a share: 0.4 mm of 180.
const CARD_SPREAD: f64 = 0.4 / card::WIDTH;

/// The bench as a photo sees it; mm, y up, in the frame of the first card.
pub(crate) struct BenchView {
    solution: Solution,
    /// Frames of the cards, grown a little, pixels of the photo.
    pub cards: Vec<Vec<Point>>,
    /// What is doubtful.
    pub doubts: Vec<Fault>,
}

/// Finds the bench in a photo by two cards or more, whose frames are so wide, mm.
///
/// # Errors
/// Fewer cards, and all that tracing says of cards that serve no measure.
pub(crate) fn bench_view(photo: &RgbImage, card_width: f64) -> Result<BenchView, Faults> {
    if !(150.0..=210.0).contains(&card_width) {
        return Err(Fault::new(
            said!("a card's frame is not {card_width:.1} mm wide"),
            "measure the frame of a printed card along its longer side: about 180 mm",
        )
        .into());
    }
    let grey = greyed(photo);
    let (mut figures, mut doubts) = (Figures::default(), Vec::new());
    let photos = [(PathBuf::from("photo"), &grey)];
    let plane = by_cards(&photos, card_width, &mut figures, &mut doubts)?;
    let Plane { views, solid, solution, .. } = plane;
    let none = || Fault::new("the cards do not fit together", "take the photo again");
    let view = views.first().ok_or_else(none)?;
    let solution = solution.ok_or_else(none)?;
    if solution.poses.len() < 2 {
        return Err(Fault::new(
            "only one card was found on the bench",
            "lay two, one in each gap between the thrown dots, flat and whole in the photo",
        )
        .into());
    }
    let seen = |ring: &Vec<Point>| ring.iter().filter_map(|p| view.pixel(*p)).collect();
    Ok(BenchView { cards: solid.iter().map(seen).collect(), solution, doubts })
}

impl BenchView {
    /// Where on the bench a pixel of the photo is.
    pub fn at(&self, pixel: Point) -> Option<Point> {
        self.solution.place(0, pixel)
    }

    /// Ways in which all these pixels' places may be off together, one standard deviation each, mm:
    /// what the cards leave open of camera and lens, and the size of their print.
    pub fn together(&self, pixels: &[Point]) -> Option<Vec<Vec<Point>>> {
        let mut ways = self.solution.together(0, pixels)?;
        let at: Option<Vec<Point>> = pixels.iter().map(|p| self.at(*p)).collect();
        ways.push(at?.into_iter().map(|p| p * CARD_SPREAD).collect());
        Some(ways)
    }
}

/// A view from cards whose marks are known to lie at pixels, for trials without a picture.
#[cfg(test)]
pub(crate) fn bench_view_of(
    size: (u32, u32),
    cards: &[[Point; 6]],
    scale: f64,
) -> Option<BenchView> {
    use super::cards::FoundCard;
    use super::marks::Mark;
    use super::solve::{Sighting, solve};
    let mark = |centre: Point| Mark {
        centre,
        dots: 1,
        metric: nalgebra::Matrix2::identity(),
        edge: 1.0,
        contrast: 200.0,
    };
    let found = cards
        .iter()
        .enumerate()
        .map(|(i, marks)| (i, FoundCard { number: i + 1, marks: marks.map(mark) }));
    let sighting = Sighting { width: size.0, height: size.1, cards: found.collect() };
    let solution = solve(vec![sighting], cards.len(), scale).ok()?;
    Some(BenchView { solution, cards: Vec::new(), doubts: Vec::new() })
}
