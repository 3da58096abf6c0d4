//! The map by hand: marks taped at the corners of a rectangle of known size, with more between them
//! for a bowed picture, onto each of which a cross of the picture is dragged.

use super::fit::{DRAGGED, Known, Mark, TAPED};
use super::map::{Map, Picture};
use crate::fault::{Fault, Faults};
use crate::geometry::{Bounds, Point, point};

/// How many marks along and across there may be.
pub const MESHES: [usize; 3] = [2, 3, 5];

/// A rectangle on the bench with marks.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Marked {
    /// Size of the rectangle, mm.
    size: Point,
    /// Marks along and across.
    mesh: usize,
}

impl Marked {
    /// A rectangle with so many marks along and across.
    ///
    /// # Errors
    /// That is none.
    pub fn new(width: f64, height: f64, mesh: usize) -> Result<Marked, Faults> {
        let mut faults = Faults::new();
        for (mm, which) in [(width, "along"), (height, "across")] {
            if !(200.0..=10_000.0).contains(&mm) {
                faults.push(Fault::new(
                    said!("the rectangle has no size {which}"),
                    "give what the tape measures between its marks, from 200 mm to 10 m",
                ));
            }
        }
        if !MESHES.contains(&mesh) {
            faults.push(Fault::new(
                said!("{mesh} marks along and across are not foreseen"),
                "take 4, 9 or 25 marks",
            ));
        }
        faults.into_result(Marked { size: point(width, height), mesh })
    }

    /// Where the marks are on the bench, mm, row by row from the lower left.
    pub fn places(&self) -> Vec<Point> {
        let n = self.mesh;
        let share = |i: usize| i as f64 / (n - 1) as f64;
        (0..n * n).map(|k| point(self.size.x * share(k % n), self.size.y * share(k / n))).collect()
    }

    /// Where their crosses are before they are dragged: as a map has them, else evenly in the
    /// picture.
    pub fn crosses(&self, picture: Picture, map: Option<&Map>) -> Vec<Point> {
        let even = |p: &Point| {
            let (x, y) = (p.x / self.size.x, 1.0 - p.y / self.size.y);
            let (w, h) = (f64::from(picture.width), f64::from(picture.height));
            point(w * (0.12 + 0.76 * x), h * (0.12 + 0.76 * y))
        };
        let places = self.places();
        let kept: Option<Vec<Point>> = map
            .filter(|m| m.picture() == picture)
            .and_then(|m| places.iter().map(|p| m.pixel(*p)).collect());
        kept.filter(|list| list.iter().all(|p| picture.holds(*p)))
            .unwrap_or_else(|| places.iter().map(even).collect())
    }

    /// What is known once they are dragged.
    ///
    /// # Errors
    /// There are not as many as marks, or one lies outside of the picture.
    pub fn dragged(&self, picture: Picture, crosses: &[Point]) -> Result<Known, Faults> {
        let places = self.places();
        if crosses.len() != places.len() || !crosses.iter().all(|p| picture.holds(*p)) {
            return Err(Fault::new(
                "not every mark has its cross in the picture",
                "drag each cross onto its own mark",
            )
            .into());
        }
        let marks = places.iter().zip(crosses).map(|(at, pixel)| Mark { at: *at, pixel: *pixel });
        Ok(Known {
            picture,
            marks: marks.collect(),
            spread: [DRAGGED, TAPED],
            together: Vec::new(),
            lengths: Vec::new(),
            field: Bounds { min: point(0.0, 0.0), max: self.size },
        })
    }
}
