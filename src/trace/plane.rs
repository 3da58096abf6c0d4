//! The plane that template and cards lie in, its scale, and the photos that see it.

use super::camera::View;
use super::card;
use super::cards::{Found, FoundCard, find_cards};
use super::figures::Figures;
use super::flat::Flat;
use super::grey::smoothed;
use super::marks::find_marks;
use super::options::KnownRectangle;
use super::solve::{NoSolution, Sighting, Solution, solve};
use crate::fault::{Fault, Faults, Said};
use crate::geometry::homography::homography;
use crate::geometry::{Point, point, ring_bounds};
use crate::units::counted;
use image::GrayImage;
use std::path::PathBuf;

/// Width of a sharp edge that is worth a warning, and that is refused, mm.
const BLURRED: (f64, f64) = (2.0, 4.5);
/// Tilt that is worth a warning, and that is refused, degrees.
const TILTED: (f64, f64) = (40.0, 60.0);
/// Error of the marks that says that cards do not lie flat, mm.
const UNEVEN: (f64, f64) = (0.35, 1.0);

/// The plane and who sees it.
#[derive(Debug)]
pub(super) struct Plane {
    pub views: Vec<View>,
    /// Frames of the cards, mm.
    pub cards: Vec<Vec<Point>>,
    /// The same, grown a little: what is no template.
    pub solid: Vec<Vec<Point>>,
    pub solution: Option<Solution>,
}

pub(super) fn by_rectangle(
    photos: &[(PathBuf, &GrayImage)],
    r: &KnownRectangle,
    warnings: &mut Vec<Fault>,
) -> Result<Plane, Faults> {
    let [(file, photo)] = photos else {
        return Err(Fault::new(
            "a known rectangle serves one photo only",
            "trace one photo, or lay cards to join several",
        )
        .into());
    };
    let (w, h) = (r.width, r.height);
    let corners = [point(0.0, h), point(w, h), point(w, 0.0), point(0.0, 0.0)];
    let (width, height) = photo.dimensions();
    let fault = |what: &'static str| {
        Faults::from(Fault::new(what, "name the corners as they are seen: upper left, upper right, lower right, lower left").in_file(file))
    };
    let p = &r.pixels;
    // y runs down: clockwise as seen is a positive turn at every corner.
    let turns = (0..4).map(|i| (p[(i + 1) % 4] - p[i]).cross(p[(i + 2) % 4] - p[(i + 1) % 4]));
    if turns.into_iter().any(|t| t <= 0.0) {
        return Err(fault("the four points do not form a rectangle seen from above"));
    }
    if p.iter().any(|p| p.x < 0.0 || p.y < 0.0 || p.x > f64::from(width) || p.y > f64::from(height))
    {
        return Err(fault("one of the four points lies outside of the photo"));
    }
    let seen: Vec<Point> = p.iter().map(|&p| View::normalised(width, height, p)).collect();
    let view = homography(&corners, &seen)
        .and_then(|m| View::new(width, height, m, 0.0))
        .ok_or_else(|| fault("the four points do not form a rectangle"))?;
    warnings.push(Fault::new(
        "four points say nothing about the lens: its distortion remains, up to 1 % towards the edges of the photo",
        "measure two lengths on the template and compare with --check, or lay scale cards",
    ));
    let frame = vec![corners[3], corners[2], corners[1], corners[0]];
    Ok(Plane { views: vec![view], cards: vec![frame], solid: Vec::new(), solution: None })
}

pub(super) fn by_cards(
    photos: &[(PathBuf, &GrayImage)],
    card_width: f64,
    figures: &mut Figures,
    warnings: &mut Vec<Fault>,
) -> Result<Plane, Faults> {
    let mut faults = Faults::new();
    let mut sightings: Vec<Sighting> = Vec::new();
    let mut cards: Vec<usize> = Vec::new();
    let mut edges = Vec::new();
    let mut loose: Vec<(usize, Point)> = Vec::new();
    for &(ref file, photo) in photos {
        let smooth = smoothed(photo);
        let found = find_cards(&find_marks(photo, &smooth));
        if let Err(fault) = cards_hold(&found, photo) {
            faults.push(fault.in_file(file));
            continue;
        }
        if found.loose.len() >= 2 {
            let what = said!(
                "{} of a card that is not whole: partly hidden, cut off, too small or blurred",
                counted(found.loose.len(), "mark")
            );
            warnings.push(
                Fault::new(
                    what,
                    "if a card is missing among those found, show all six of its marks",
                )
                .in_file(file),
            );
        }
        loose.extend(found.loose.iter().map(|m| (sightings.len(), m.centre)));
        let faint = found
            .cards
            .iter()
            .flat_map(|c| &c.marks)
            .map(|m| m.contrast)
            .fold(f64::INFINITY, f64::min);
        if faint < 35.0 {
            warnings.push(
                Fault::new(
                    "a card is badly lit: its ink is hardly darker than its paper",
                    "take the photo with more light",
                )
                .in_file(file),
            );
        }
        edges.extend(found.cards.iter().flat_map(|c| &c.marks).map(|m| {
            // The metric's size is mm a pixel.
            m.edge * m.metric.determinant().abs().sqrt()
        }));
        let mut list: Vec<(usize, FoundCard)> = Vec::new();
        for found in found.cards {
            // In one photo every card is its own; the same number again in another photo is the
            // same card.
            let known = cards.iter().position(|n| *n == found.number).filter(|_| photos.len() > 1);
            if known.is_some_and(|k| list.iter().any(|(c, _)| *c == k)) {
                let what = said!("card {} lies in the photo twice", found.number);
                faults.push(Fault::new(what, "to join photos give every card a number of its own: `trace card --cards 8`").in_file(file));
                continue;
            }
            let place = known.unwrap_or_else(|| {
                cards.push(found.number);
                cards.len() - 1
            });
            list.push((place, found));
        }
        sightings.push(Sighting { width: photo.width(), height: photo.height(), cards: list });
    }
    faults.into_result(())?;
    let scale = card_width / card::WIDTH;
    let solution = solve(sightings, cards.len(), scale).map_err(|why| {
        let fault = match why {
            NoSolution::Apart(photo) => Fault::new(
                "the photo shares no card with the others",
                "leave the cards where they are and show at least two in both photos",
            )
            .in_file(&photos[photo].0),
            NoSolution::Unsettled => Fault::new(
                "the cards do not fit together",
                "lay them flat and still, and take the photo again",
            ),
        };
        Faults::from(fault)
    })?;
    cards_agree(&solution, &cards)?;
    edges.sort_by(f64::total_cmp);
    figures.blur = edges.get(edges.len() / 2).copied().unwrap_or(0.0) * scale;
    let at_middle = |v: &View| v.mm_a_pixel(solution.poses[0].shift).unwrap_or(1.0) * scale;
    figures.error = solution.error * at_middle(&solution.views[0]);
    figures.cards = cards;
    figures.distortion = solution.views.iter().map(View::k1).collect();
    // A lens of the usual width of a telephone's, where the photo itself does not tell (common
    // practice, no source).
    figures.tilt = solution.views.iter().map(|v| v.tilt(v.focal().unwrap_or(1.2))).collect();
    quality_holds(figures, &solution, warnings)?;
    let angle = upright(&solution.views[0], solution.poses[0].shift);
    let moved: Option<Vec<View>> =
        solution.views.iter().map(|v| v.moved(scale, angle, point(0.0, 0.0))).collect();
    let views =
        moved.ok_or_else(|| Fault::new("the cards do not fit together", "take the photo again"))?;
    let place = |p: Point| {
        let (s, c) = (libm::sin(angle), libm::cos(angle));
        point(c * p.x - s * p.y, s * p.x + c * p.y) * scale
    };
    let outline = |grow: f64| -> Vec<Vec<Point>> {
        let frame = card::frame();
        let grown: Vec<Point> = frame
            .iter()
            .map(|p| point(p.x + grow * p.x.signum(), p.y + grow * p.y.signum()))
            .collect();
        solution
            .poses
            .iter()
            .map(|pose| grown.iter().map(|&p| place(pose.place(p))).collect())
            .collect()
    };
    // A card that is not whole is no template either.
    let mut solid = outline(3.0);
    let r = card::MARK_RADIUS * scale;
    let squares = loose.iter().filter_map(|&(photo, pixel)| views[photo].plane(pixel));
    solid.extend(
        squares
            .map(|p| vec![p + point(-r, -r), p + point(r, -r), p + point(r, r), p + point(-r, r)]),
    );
    Ok(Plane { views, cards: outline(0.0), solid, solution: Some(solution) })
}

/// The turn that makes the photo's own right the plane's +x.
fn upright(view: &View, at: Point) -> f64 {
    let Some(pixel) = view.pixel(at) else { return 0.0 };
    match (view.plane(pixel - point(20.0, 0.0)), view.plane(pixel + point(20.0, 0.0))) {
        (Some(a), Some(b)) => -libm::atan2(b.y - a.y, b.x - a.x),
        _ => 0.0,
    }
}

fn cards_hold(found: &Found, photo: &GrayImage) -> Result<(), Fault> {
    if found.mirrored > 0 {
        let what = said!(
            "{} mirrored: the photo was flipped",
            if found.mirrored == 1 { "a card is" } else { "cards are" }
        );
        return Err(Fault::new(
            what,
            "use the photo as the camera took it; selfie cameras flip theirs",
        ));
    }
    if found.cards.is_empty() {
        let mean = photo.iter().map(|v| u64::from(*v)).sum::<u64>() / (photo.len() as u64).max(1);
        if mean < 25 {
            return Err(Fault::new(
                "the photo is too dark to find a card in it",
                "take it again with more light",
            ));
        }
        if found.loose.len() >= 3 {
            let what =
                said!("no whole card is in the photo, but {}", counted(found.loose.len(), "mark"));
            return Err(Fault::new(
                what,
                "show all six marks of every card, sharp and not from too far",
            ));
        }
        return Err(Fault::new(
            "no scale card was found in the photo",
            "print cards with `warpwise trace card` and lay them beside the template; without any, see --points and --rectangle",
        ));
    }
    Ok(())
}

/// Cards printed at different sizes, or bent, give themselves away.
fn cards_agree(solution: &Solution, numbers: &[usize]) -> Result<(), Faults> {
    let mut faults = Faults::new();
    for (i, (size, spread)) in solution.scales.iter().enumerate().skip(1) {
        let off = (size - 1.0).abs();
        if off > 0.008 && off > 5.0 * spread {
            faults.push(Fault::new(
                said!(
                    "card {} is {:.1} % {} than card {}",
                    numbers[i],
                    100.0 * off,
                    if *size > 1.0 { "larger" } else { "smaller" },
                    numbers[0]
                ),
                "print all cards at the same scale, best in one go",
            ));
        }
    }
    faults.into_result(())
}

fn quality_holds(
    figures: &Figures,
    solution: &Solution,
    warnings: &mut Vec<Fault>,
) -> Result<(), Faults> {
    let mut faults = Faults::new();
    let mut hold = |value: f64, limits: (f64, f64), what: Said, remedy: &'static str| {
        if value > limits.1 {
            faults.push(Fault::new(what, remedy));
        } else if value > limits.0 {
            warnings.push(Fault::new(what, remedy));
        }
    };
    let tilt = figures.tilt.iter().copied().fold(0.0, f64::max);
    hold(
        tilt,
        TILTED,
        said!("the camera was tilted by about {tilt:.0}°"),
        "hold it more squarely over the template",
    );
    hold(
        figures.blur,
        BLURRED,
        said!("the photo is blurred: a sharp edge is {:.1} mm wide", figures.blur),
        "hold still, focus on the template, use more light",
    );
    let worst = solution.worst;
    let what = said!(
        "the marks of the cards are {:.2} mm off where they should be, most at card {}",
        figures.error,
        figures.cards.get(worst.1).copied().unwrap_or(0)
    );
    hold(
        figures.error,
        UNEVEN,
        what,
        "press the cards flat, on the same board as the template, and leave them still",
    );
    faults.into_result(())
}

/// mm a pixel about the middle of all that the cards span.
pub(super) fn resolution(plane: &Plane, flat: &Flat) -> f64 {
    let middle = ring_bounds(&plane.cards.concat()).map_or(flat.corner, |b| b.centre());
    let by = |v: &View| v.pixel(middle).and(v.mm_a_pixel(middle));
    plane.views.iter().filter_map(by).fold(f64::INFINITY, f64::min)
}
