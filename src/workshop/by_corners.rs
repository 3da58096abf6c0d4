//! A photo in which no card was found: the person says where the corners of one lie, or of any
//! rectangle of known size, and it is traced by these.

use super::intake::{Lay, Taken, put_in};
use super::outline_file::{PhotoUnder, notes_of};
use crate::fault::{Fault, Faults};
use crate::file_name;
use crate::geometry::{Point, ring_bounds, ring_contains};
use crate::trace::{self, KnownRectangle, NetLine, Options};
use std::path::Path;

/// What the four corners span.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Span {
    /// The frame of a printed scale card, whichever way round it lies.
    Card,
    /// Width and height as they are seen, mm.
    Size(f64, f64),
}

/// Photos in a job's folder, by name, but for pictures from above, which tracing makes.
pub fn photos(dir: &Path) -> Vec<String> {
    let mut photos = files_of(dir, &["jpg", "jpeg", "png"]);
    photos.retain(|p| !p.contains("-from-above"));
    photos
}

/// Files of a folder with these endings, by name.
fn files_of(dir: &Path, endings: &[&str]) -> Vec<String> {
    let files = std::fs::read_dir(dir).into_iter().flatten().filter_map(|e| Some(e.ok()?.path()));
    let names = files.filter(|p| p.is_file()).filter_map(|p| Some(p.file_name()?.to_str()?.into()));
    let mut names: Vec<String> = names.collect();
    let ending = |n: &str| n.rsplit('.').next().unwrap_or_default().to_lowercase();
    names.retain(|n| endings.contains(&ending(n).as_str()));
    names.sort();
    names
}

/// Photos in a job's folder of which no drawing was made, by name.
pub fn untraced_photos(dir: &Path) -> Vec<String> {
    let (mut photos, mut made) = (photos(dir), Vec::new());
    for name in files_of(dir, &["svg"]) {
        let svg = std::fs::read_to_string(dir.join(name)).unwrap_or_default();
        for note in notes_of(&svg) {
            let traced = note.strip_prefix("Traced from ");
            made.extend(traced.and_then(|t| t.split_once(". ")).map(|t| t.0.to_string()));
        }
        made.extend(PhotoUnder::of(&svg).map(|p| p.file));
    }
    photos.retain(|p| !made.contains(p));
    photos
}

/// Traces a photo of the job's folder by the corners of a known rectangle in it: upper left, upper
/// right, lower right, lower left as seen, in pixels from the upper left, y down.
///
/// # Errors
/// There is no such photo, the corners make no rectangle, or what tracing says.
pub fn trace_by_corners(
    dir: &Path,
    photo: &str,
    pixels: [Point; 4],
    span: Span,
    lay: Lay,
    ids: &[String],
) -> Result<Taken, Faults> {
    let name = file_name::checked(photo)?;
    let path = dir.join(name);
    let bytes = std::fs::read(&path).map_err(|e| {
        Fault::new(said!("the photo cannot be read: {e}"), "bring it in again").in_file(&path)
    })?;
    let image = trace::read_photo(&bytes).map_err(|f| f.in_file(Path::new(name)))?;
    drop(bytes);
    if !pixels.iter().all(|p| p.x.is_finite() && p.y.is_finite()) {
        return Err(Fault::new("a corner has no place", "put all four corners").into());
    }
    let (width, height) = match span {
        Span::Size(width, height) => (width, height),
        Span::Card => card_as_seen(&pixels),
    };
    if !(20.0..=10_000.0).contains(&width) || !(20.0..=10_000.0).contains(&height) {
        return Err(Fault::new(
            "that is no size for the rectangle",
            "give its width and height, from 20 mm to 10 m, as they are seen in the photo",
        )
        .into());
    }
    let stem = name.rsplit_once('.').map_or(name, |n| n.0);
    let net = if lay.inked_net { NetLine::Ink } else { NetLine::Edge };
    let rectangle = Some(KnownRectangle { pixels, width, height });
    let options = Options { rectangle, ..Options::of(stem.to_string(), net) };
    let mut tracing =
        trace::trace(&[(path.clone(), image)], &options).map_err(|f| f.in_file(Path::new(name)))?;
    // The card itself is no template: nor what its marks are taken for.
    let frame = [(0.0, 0.0), (width, 0.0), (width, height), (0.0, height)];
    let frame: Vec<Point> = frame.map(|(x, y)| Point { x, y }).to_vec();
    if tracing.templates.len() > 1 && span == Span::Card {
        let on_card = |net: &[Point]| {
            ring_bounds(net).is_some_and(|b| {
                ring_contains(&frame, b.centre())
                    && b.width() < 1.3 * width
                    && b.height() < 1.3 * height
            })
        };
        if !tracing.templates.iter().all(|t| on_card(&t.net)) {
            tracing.templates.retain(|t| !on_card(&t.net));
        }
    }
    let note = format!("By four corners put by hand, {width:.1} by {height:.1} mm.");
    put_in(dir, name, tracing, Some(note), lay, ids)
}

/// Width and height of a card's frame as it is seen: lying where its sides across are the longer.
fn card_as_seen(pixels: &[Point; 4]) -> (f64, f64) {
    let side = |a: usize, b: usize| pixels[a].distance(pixels[b]);
    let (long, short) = (trace::card::WIDTH, trace::card::HEIGHT);
    if side(0, 1) + side(3, 2) >= side(0, 3) + side(1, 2) { (long, short) } else { (short, long) }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::geometry::{point, ring_area};
    use image::{GrayImage, Luma};

    const LAY: Lay = Lay { inked_net: false, plug: false, inked_down: false };

    /// A dark sheet of 300 by 200 mm on light ground seen straight from above, and beside it a
    /// rectangle of 180 by 120 mm of which only the corners are known. Two pixels are a mm.
    fn photo(dir: &Path) -> [Point; 4] {
        let image = GrayImage::from_fn(1200, 800, |x, y| {
            let on_sheet = (400..1000).contains(&x) && (300..700).contains(&y);
            Luma([if on_sheet { 40 } else { 210 }])
        });
        image.save(dir.join("sheet.png")).unwrap();
        [point(20.0, 20.0), point(380.0, 20.0), point(380.0, 260.0), point(20.0, 260.0)]
    }

    #[test]
    fn four_corners_by_hand_take_the_place_of_a_card() {
        let home = tempfile::tempdir().unwrap();
        let corners = photo(home.path());
        assert_eq!(untraced_photos(home.path()), ["sheet.png"]);
        let taken =
            trace_by_corners(home.path(), "sheet.png", corners, Span::Card, LAY, &[]).unwrap();
        assert_eq!(taken.kept, "sheet.svg");
        let reading = crate::outline::read_file(
            &home.path().join("sheet.svg"),
            &crate::outline::ReadOptions::default(),
        )
        .unwrap();
        assert_eq!(reading.outlines.len(), 1);
        let area = ring_area(reading.outlines[0].net());
        assert!((area / 60_000.0 - 1.0).abs() < 0.01, "{area}");
        assert!(untraced_photos(home.path()).is_empty());
    }

    #[test]
    fn corners_that_are_none_are_refused_and_nothing_is_written() {
        let home = tempfile::tempdir().unwrap();
        let corners = photo(home.path());
        let twisted = [corners[0], corners[2], corners[1], corners[3]];
        let nowhere = [Point { x: f64::NAN, y: 0.0 }; 4];
        for (name, pixels, span) in [
            ("sheet.png", twisted, Span::Card),
            ("sheet.png", nowhere, Span::Card),
            ("sheet.png", corners, Span::Size(0.0, 100.0)),
            ("sheet.png", corners, Span::Size(f64::INFINITY, 100.0)),
            ("../sheet.png", corners, Span::Card),
            ("other.png", corners, Span::Card),
        ] {
            let done = trace_by_corners(home.path(), name, pixels, span, LAY, &[]);
            assert!(done.is_err(), "{name} {span:?}");
        }
        assert_eq!(std::fs::read_dir(home.path()).unwrap().count(), 1);
    }

    #[test]
    fn a_card_that_stands_is_as_high_as_it_is_long() {
        let standing =
            [point(0.0, 0.0), point(120.0, 5.0), point(118.0, 180.0), point(-2.0, 176.0)];
        assert_eq!(card_as_seen(&standing), (trace::card::HEIGHT, trace::card::WIDTH));
    }
}
