//! Outlines as plain data for a drawing tool, and the drawing that is written of them.

use crate::fault::Faults;
use crate::geometry::{Path, Point, Ring, point};
use crate::outline::{Draft, EdgeKind, Outline};
use crate::trace::{Template, drawing};
use serde::{Deserialize, Serialize};

/// An outline, mm, y up, in the frame of its drawing. `edges` says the kind of each edge `net[i]`
/// to `net[i + 1]`, or nothing.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct OutlineData {
    /// The net line.
    pub net: Ring,
    /// Kinds of its edges.
    #[serde(default)]
    pub edges: Vec<Option<EdgeKind>>,
    /// Holes.
    #[serde(default)]
    pub holes: Vec<Ring>,
    /// Relief cuts and notches.
    #[serde(default)]
    pub cuts: Vec<Path>,
    /// Other lines.
    #[serde(default)]
    pub marks: Vec<Path>,
    /// Zones no splice may enter.
    #[serde(default)]
    pub no_splice: Vec<Ring>,
    /// The part's 0°, tail to head.
    #[serde(default)]
    pub arrow: Option<[Point; 2]>,
}

impl OutlineData {
    /// The data of an outline.
    pub fn of(outline: &Outline) -> OutlineData {
        OutlineData {
            net: outline.net().clone(),
            edges: outline.edges().to_vec(),
            holes: outline.holes().to_vec(),
            cuts: outline.cuts().to_vec(),
            marks: outline.marks().to_vec(),
            no_splice: outline.no_splice().to_vec(),
            arrow: outline.arrow(),
        }
    }

    /// A rectangle or an ellipse of this size, its arrow along its length.
    pub fn sized(length: f64, width: f64, ellipse: bool) -> OutlineData {
        let net = if ellipse {
            // Chords within 0.01 mm of the curve.
            let radius = length.max(width) / 2.0;
            let count = (std::f64::consts::PI
                / (1.0 - 0.01 / radius.max(0.1)).clamp(-1.0, 1.0).acos())
            .ceil()
            .clamp(24.0, 2000.0) as usize;
            let at = |i: usize| std::f64::consts::TAU * i as f64 / count as f64;
            (0..count)
                .map(|i| {
                    point(length / 2.0 * (1.0 + at(i).cos()), width / 2.0 * (1.0 + at(i).sin()))
                })
                .collect()
        } else {
            vec![point(0.0, 0.0), point(length, 0.0), point(length, width), point(0.0, width)]
        };
        let arrow = [point(0.3 * length, 0.5 * width), point(0.7 * length, 0.5 * width)];
        OutlineData { net, arrow: Some(arrow), ..OutlineData::default() }
    }

    /// The outline, checked as one read from a file is.
    ///
    /// # Errors
    /// Everything that is wrong with it, at its place.
    pub fn outline(self, name: &str) -> Result<Outline, Faults> {
        let OutlineData { net, edges, holes, cuts, marks, no_splice, arrow } = self;
        Outline::new(Draft { name: name.into(), net, edges, holes, cuts, marks, arrow, no_splice })
    }
}

/// An outline as an SVG drawing at true size that [`crate::outline`] reads. The notes become
/// comments at its head.
pub fn outline_drawing(outline: &Outline, name: &str, notes: &[String]) -> String {
    let template = Template {
        name: name.into(),
        net: outline.net().clone(),
        holes: outline.holes().to_vec(),
        arrow: outline.arrow(),
        cuts: outline.cuts().to_vec(),
        marks: outline.marks().to_vec(),
        no_splice: outline.no_splice().to_vec(),
        edges: runs(outline),
        ..Template::default()
    };
    drawing(&[template], notes)
}

/// Stretches of the net line of one kind.
fn runs(outline: &Outline) -> Vec<(EdgeKind, Path)> {
    let (net, kinds) = (outline.net(), outline.edges());
    let count = net.len();
    if kinds.len() != count {
        return Vec::new();
    }
    // Begun where the kind changes, so that no stretch is cut at the first corner.
    let first = (0..count).find(|&i| kinds[i] != kinds[(i + count - 1) % count]).unwrap_or(0);
    let mut runs: Vec<(EdgeKind, Path)> = Vec::new();
    let mut before = None;
    for i in (first..first + count).map(|i| i % count) {
        if let Some(kind) = kinds[i] {
            match runs.last_mut().filter(|_| before == Some(kind)) {
                Some((_, path)) => path.push(net[(i + 1) % count]),
                None => runs.push((kind, vec![net[i], net[(i + 1) % count]])),
            }
        }
        before = kinds[i];
    }
    runs
}

/// A photo that lies under a drawing: its file, and the corners of what it shows in the drawing's
/// frame, mm.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct PhotoUnder {
    /// Name of the file beside the drawing.
    pub file: String,
    /// Left, low, right, high.
    pub place: [f64; 4],
}

impl PhotoUnder {
    /// The note in a drawing that tells of it.
    pub fn note(&self) -> String {
        let [left, low, right, high] = self.place;
        format!(
            "Photo under it: {} from ({left:.3}, {low:.3}) to ({right:.3}, {high:.3}) mm.",
            self.file
        )
    }

    /// The photo that a drawing tells of, if it does.
    pub fn of(svg: &str) -> Option<PhotoUnder> {
        let note = notes_of(svg).find(|n| n.starts_with("Photo under it: "))?;
        let (file, place) = note.strip_prefix("Photo under it: ")?.rsplit_once(" from (")?;
        let numbers: Vec<f64> = place
            .split(|c: char| !(c.is_ascii_digit() || c == '.' || c == '-'))
            .filter_map(|n| n.parse().ok())
            .collect();
        let place: [f64; 4] = numbers.get(..4)?.try_into().ok()?;
        (crate::file_name::checked(file).is_ok() && place[0] < place[2] && place[1] < place[3])
            .then(|| PhotoUnder { file: file.into(), place })
    }
}

/// The comments at the head of a drawing.
pub fn notes_of(svg: &str) -> impl Iterator<Item = &str> {
    svg.split("<!--").skip(1).filter_map(|rest| rest.split("-->").next()).map(str::trim)
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::geometry::ring_area;
    use crate::outline::{ReadOptions, read_bytes};

    fn read(svg: &str) -> Outline {
        let mut reading =
            read_bytes(std::path::Path::new("a.svg"), svg.as_bytes(), &ReadOptions::default())
                .unwrap();
        assert_eq!(reading.outlines.len(), 1);
        reading.outlines.remove(0)
    }

    #[test]
    fn what_is_drawn_is_read_back_with_every_kind_and_line() {
        let mut data = OutlineData::sized(300.0, 200.0, false);
        data.edges = vec![Some(EdgeKind::Lap), None, Some(EdgeKind::Butt), Some(EdgeKind::Lap)];
        data.holes = vec![vec![
            point(100.0, 20.0),
            point(140.0, 20.0),
            point(140.0, 60.0),
            point(100.0, 60.0),
        ]];
        data.cuts = vec![vec![point(0.0, 150.0), point(60.0, 150.0)]];
        data.no_splice = vec![vec![
            point(200.0, 50.0),
            point(250.0, 50.0),
            point(250.0, 90.0),
            point(200.0, 90.0),
        ]];
        let outline = data.outline("plate").unwrap();
        let back = read(&outline_drawing(&outline, "plate", &[]));
        assert_eq!(
            (back.edges().len(), back.holes().len(), back.cuts().len(), back.no_splice().len()),
            (4, 1, 1, 1)
        );
        assert!(back.arrow().is_some() && (ring_area(back.net()) - 60_000.0).abs() < 0.1);
        let mut kinds: Vec<Option<EdgeKind>> = back.edges().to_vec();
        let first = (0..4)
            .find(|i| {
                back.net()[*i].x == back.net().iter().map(|p| p.x).fold(f64::INFINITY, f64::min)
                    && back.net()[*i].y
                        == back.net().iter().map(|p| p.y).fold(f64::INFINITY, f64::min)
            })
            .unwrap();
        kinds.rotate_left(first);
        assert_eq!(kinds, [Some(EdgeKind::Lap), None, Some(EdgeKind::Butt), Some(EdgeKind::Lap)]);
    }

    /// Area and girth against the formulas of an ellipse (Ramanujan's second approximation for the
    /// girth, from memory).
    #[test]
    fn an_ellipse_by_size_is_one() {
        let (a, b) = (150.0_f64, 40.0_f64);
        let outline = OutlineData::sized(2.0 * a, 2.0 * b, true).outline("e").unwrap();
        assert!((ring_area(outline.net()) / (std::f64::consts::PI * a * b) - 1.0).abs() < 1e-3);
        let h = ((a - b) / (a + b)).powi(2);
        let girth =
            std::f64::consts::PI * (a + b) * (1.0 + 3.0 * h / (10.0 + (4.0 - 3.0 * h).sqrt()));
        let net = outline.net();
        let drawn: f64 = (0..net.len()).map(|i| net[i].distance(net[(i + 1) % net.len()])).sum();
        assert!((drawn / girth - 1.0).abs() < 1e-3, "{drawn} {girth}");
    }

    #[test]
    fn the_photo_under_a_drawing_is_found_again_and_no_other_file() {
        let photo =
            PhotoUnder { file: "seat photo.jpg".into(), place: [-12.5, 0.0, 400.25, 300.0] };
        let outline = OutlineData::sized(100.0, 50.0, false).outline("x").unwrap();
        let svg = outline_drawing(&outline, "x", &["Traced from a photo.".into(), photo.note()]);
        assert_eq!(PhotoUnder::of(&svg), Some(photo.clone()));
        for file in ["../secret.jpg", "/etc/passwd", "a/b.jpg"] {
            let note = PhotoUnder { file: file.into(), ..photo.clone() }.note();
            assert_eq!(PhotoUnder::of(&outline_drawing(&outline, "x", &[note])), None, "{file}");
        }
        assert_eq!(PhotoUnder::of("<svg/>"), None);
    }
}
