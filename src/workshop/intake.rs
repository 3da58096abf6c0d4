//! Templates that come in: a photo, a drawing, a table of points, a shape by size. Files are put
//! beside the job under free names, and the edit that makes templates of them is given back.

use super::edit::{Edit, Entry};
use super::folder::{free_name, write_whole};
use super::outline_file::{OutlineData, PhotoUnder, outline_drawing};
use crate::fault::{Fault, Faults};
use crate::file_name;
use crate::geometry::Point;
use crate::job::point_within;
use crate::outline::{ReadOptions, Reading, read_bytes};
use crate::run::Run;
use crate::trace::{
    self, FromAbove, NetLine, Options, Scale, Tracing, check_picture, drawing, is_station_table,
    plane_picture, read_photo, read_stations,
};
use crate::units::degrees_0_360;
use image::RgbImage;
use sha2::{Digest, Sha256};
use std::path::Path;
use std::sync::{Arc, Mutex, PoisonError};

/// How a skin lay, and what of it counts.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Lay {
    /// The net line is an inked line, not the skin's edge.
    pub inked_net: bool,
    /// Taken off a plug, not a mould.
    pub plug: bool,
    /// The inked side lay down.
    pub inked_down: bool,
}

/// What came of a file.
#[derive(Clone, Debug, PartialEq)]
pub struct Taken {
    /// The file as it was kept.
    pub kept: String,
    /// Adds its templates to the job.
    pub edit: Edit,
    /// What the person should hear.
    pub warnings: Vec<Fault>,
}

/// Why no template was made of a file.
#[derive(Clone, Debug, PartialEq)]
pub struct NotTaken {
    /// What is wrong.
    pub faults: Faults,
    /// The photo as it was kept, where a hint may help: [`trace_again`].
    pub photo: Option<String>,
}

impl From<Faults> for NotTaken {
    fn from(faults: Faults) -> NotTaken {
        NotTaken { faults, photo: None }
    }
}

impl From<Fault> for NotTaken {
    fn from(fault: Fault) -> NotTaken {
        Faults::from(fault).into()
    }
}

/// A photo's file, and what it shows where it was read already.
struct Photo<'a> {
    bytes: &'a [u8],
    image: Option<RgbImage>,
}

/// The photo that came in last, as it was seen: a hint about it need not look again. Whoever holds
/// it says when to forget it.
#[derive(Debug, Default)]
pub struct LastPhoto(Mutex<Option<(Vec<u8>, Arc<FromAbove<'static>>)>>);

impl LastPhoto {
    /// A photo seen from above, anew or as it was before.
    fn seen(&self, path: &Path, photo: Photo<'_>) -> Result<Arc<FromAbove<'static>>, Faults> {
        let digest = Sha256::digest(photo.bytes).to_vec();
        let last = || self.0.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some((of, seen)) = &*last()
            && *of == digest
        {
            return Ok(Arc::clone(seen));
        }
        // One photo at a time: they are large.
        *last() = None;
        let scale = Scale { card_width: trace::card::WIDTH, rectangle: None };
        let image = photo.image.map_or_else(|| read_photo(photo.bytes), Ok)?;
        let photos = vec![(path.to_path_buf(), image)];
        let seen = Arc::new(FromAbove::see(photos, &scale, &Run::default())?);
        *last() = Some((digest, Arc::clone(&seen)));
        Ok(seen)
    }

    /// Nothing more is asked of it.
    pub fn forget(&self) {
        *self.0.lock().unwrap_or_else(PoisonError::into_inner) = None;
    }
}

/// Takes a file in by what it is, not by its name alone; `ids` are the ids that the job has.
///
/// # Errors
/// It is nothing a template can be made of, or what is wrong with it. A photo that cannot be traced
/// is kept all the same.
pub fn take(
    dir: &Path,
    name: &str,
    bytes: &[u8],
    lay: Lay,
    ids: &[String],
    last: &LastPhoto,
) -> Result<Taken, NotTaken> {
    let name = file_name::checked(name)?;
    let ending = name.rsplit('.').next().unwrap_or_default().to_lowercase();
    if is_photo(bytes) {
        // What cannot be read as a photo is not kept.
        let image = read_photo(bytes).map_err(|f| Faults::from(f.in_file(Path::new(name))))?;
        let kept = keep(dir, name, bytes)?;
        return traced(dir, &kept, Photo { bytes, image: Some(image) }, lay, None, ids, last);
    }
    if !["svg", "dxf", "csv"].contains(&ending.as_str()) {
        let what = said!("`{name}` is no photo (JPEG or PNG) and no drawing (SVG, DXF or CSV)");
        return Err(Fault::new(what, "save it as one of these").into());
    }
    if let Some(text) =
        std::str::from_utf8(bytes).ok().filter(|t| ending == "csv" && is_station_table(t))
    {
        let stem = name.rsplit_once('.').map_or(name, |n| n.0);
        let template =
            read_stations(text, stem, None, false).map_err(|f| f.in_file(Path::new(name)))?;
        let kept = keep(dir, name, bytes)?;
        let svg = keep(
            dir,
            &format!("{stem}.svg"),
            drawing(&[template], &[format!("From the measured points in {kept}.")]).as_bytes(),
        )?;
        return Ok(drawn(dir, &svg, lay, ids)?);
    }
    let reading = read_bytes(Path::new(name), bytes, &ReadOptions::default())?;
    if reading.outlines.is_empty() {
        return Err(Fault::new("it holds no closed outline", "close the net line, or draw one")
            .in_file(Path::new(name))
            .into());
    }
    let kept = keep(dir, name, bytes)?;
    Ok(Taken { edit: templates_of(&kept, &reading, lay, ids), kept, warnings: reading.warnings })
}

/// Whether a file says of itself that it is a photo.
pub(super) fn is_photo(bytes: &[u8]) -> bool {
    bytes.starts_with(&[0xff, 0xd8, 0xff])
        || bytes.starts_with(b"\x89PNG")
        || bytes.get(4..8) == Some(b"ftyp")
}

/// A template of a drawing that lies in the job's folder.
pub(super) fn drawn(dir: &Path, file: &str, lay: Lay, ids: &[String]) -> Result<Taken, Faults> {
    let path = dir.join(file);
    let bytes = std::fs::read(&path)
        .map_err(|e| Fault::new(said!("it cannot be read: {e}"), "try again").in_file(&path))?;
    let reading = read_bytes(&path, &bytes, &ReadOptions::default())?;
    Ok(Taken {
        edit: templates_of(file, &reading, lay, ids),
        kept: file.into(),
        warnings: reading.warnings,
    })
}

pub(super) fn keep(dir: &Path, name: &str, bytes: &[u8]) -> Result<String, Faults> {
    let free = free_name(dir, name);
    write_whole(&dir.join(&free), bytes)?;
    Ok(free)
}

/// Traces a photo that was kept once more, with a pixel that lies on the skin (from the upper left
/// of the photo as it is shown).
///
/// # Errors
/// It is not there, or what is wrong with it.
pub fn trace_again(
    dir: &Path,
    kept: &str,
    lay: Lay,
    at: Point,
    ids: &[String],
    last: &LastPhoto,
) -> Result<Taken, NotTaken> {
    let path = dir.join(file_name::checked(kept)?);
    let bytes = std::fs::read(&path).map_err(|e| {
        Fault::new(said!("it cannot be read: {e}"), "take the photo in again").in_file(&path)
    })?;
    traced(dir, kept, Photo { bytes: &bytes, image: None }, lay, Some(at), ids, last)
}

fn traced(
    dir: &Path,
    kept: &str,
    photo: Photo<'_>,
    lay: Lay,
    at: Option<Point>,
    ids: &[String],
    last: &LastPhoto,
) -> Result<Taken, NotTaken> {
    let stem = kept.rsplit_once('.').map_or(kept, |n| n.0);
    let net = if lay.inked_net { NetLine::Ink } else { NetLine::Edge };
    let options = Options { at, ..Options::of(stem.to_string(), net) };
    let tracing = last
        .seen(&dir.join(kept), photo)
        .and_then(|seen| trace::trace_seen(&seen, &options, &Run::default()))
        .map_err(|f| NotTaken {
            faults: f.in_file(Path::new(kept)),
            photo: Some(kept.to_string()),
        })?;
    Ok(put_in(dir, kept, tracing, None, lay, ids)?)
}

/// Keeps what was traced from a photo: the drawing, with a note more if there is one, the picture
/// from above that lies under it, the picture to check it by.
pub(super) fn put_in(
    dir: &Path,
    photo: &str,
    tracing: Tracing,
    note: Option<String>,
    lay: Lay,
    ids: &[String],
) -> Result<Taken, Faults> {
    let stem = photo.rsplit_once('.').map_or(photo, |n| n.0);
    let off = if lay.plug { "plug" } else { "mould" };
    let side = if lay.inked_down { "down" } else { "up" };
    let from =
        format!("Traced from {photo}. In the job: taken_off = \"{off}\", inked_side = \"{side}\".");
    let mut notes: Vec<String> = std::iter::once(from).chain(note).collect();
    let svg = drawing(&tracing.templates, &notes);
    let reading = read_bytes(Path::new("traced.svg"), svg.as_bytes(), &ReadOptions::default())?;
    // The drawing has a frame of its own: where one template lies in both tells where the photo
    // does.
    let shift = tracing
        .templates
        .first()
        .zip(reading.outlines.first())
        .map(|(t, o)| low_of(o.net()) - low_of(&t.net));
    if let (Some(shift), Some((area, jpeg))) = (shift, plane_picture(&tracing)) {
        let file = keep(dir, &format!("{stem}-from-above.jpg"), &jpeg)?;
        let (low, high) = (area.min + shift, area.max + shift);
        notes.push(PhotoUnder { file, place: [low.x, low.y, high.x, high.y] }.note());
    }
    let file = keep(dir, &format!("{stem}.svg"), drawing(&tracing.templates, &notes).as_bytes())?;
    keep(dir, &format!("{stem}-check.svg"), check_picture(&tracing).as_bytes())?;
    let mut taken = drawn(dir, &file, lay, ids)?;
    taken.warnings.extend(tracing.warnings);
    Ok(taken)
}

pub(super) fn low_of(ring: &[Point]) -> Point {
    crate::geometry::ring_bounds(ring).map_or(Point { x: 0.0, y: 0.0 }, |b| b.min)
}

/// Adds a template for each outline of a drawing.
fn templates_of(file: &str, reading: &Reading, lay: Lay, ids: &[String]) -> Edit {
    let several = reading.outlines.len() > 1;
    let stem = file.rsplit_once('.').map_or(file, |n| n.0);
    let mut taken: Vec<String> = ids.to_vec();
    let mut edits = Vec::new();
    for (i, outline) in reading.outlines.iter().enumerate() {
        let named = if several && !outline.name().is_empty() { outline.name() } else { stem };
        let id = free_id(named, &taken);
        let mut keys: Vec<(String, Entry)> =
            vec![("id".into(), id.as_str().into()), ("file".into(), file.into())];
        if several {
            let p = point_within(outline.net());
            let rounded = |v: f64| Entry::Number((v * 1000.0).round() / 1000.0);
            keys.push(("inside".into(), Entry::List(vec![rounded(p.x), rounded(p.y)])));
        }
        if outline.arrow().is_none() {
            let guess = reading
                .maybe_arrows
                .iter()
                .find(|a| a.outline == i)
                .map(|a| degrees_0_360((a.ends[1] - a.ends[0]).direction()));
            keys.push((
                "arrow".into(),
                Entry::Number((guess.unwrap_or(0.0) * 100.0).round() / 100.0),
            ));
        }
        keys.push(("taken_off".into(), if lay.plug { "plug" } else { "mould" }.into()));
        keys.push(("inked_side".into(), if lay.inked_down { "down" } else { "up" }.into()));
        taken.push(id);
        edits.push(Edit::Add { section: "template".into(), keys });
    }
    Edit::All(edits)
}

/// An id made of a name, unlike those taken.
pub fn free_id(name: &str, taken: &[String]) -> String {
    let plain: String = name
        .chars()
        .take(40)
        .map(|c| if c.is_alphanumeric() || c == '-' || c == '_' { c } else { '-' })
        .collect();
    let plain = plain.trim_matches('-');
    let stem = if plain.is_empty() { "template" } else { plain };
    (1..)
        .map(|n| if n == 1 { stem.to_string() } else { format!("{stem}-{n}") })
        .find(|id| !taken.contains(id))
        .unwrap_or_default()
}

/// A strip, or a template drawn as a rectangle or an ellipse of this size.
///
/// # Errors
/// A size that makes no outline, or the machine's.
pub fn by_size(
    dir: &Path,
    shape: &str,
    length: f64,
    width: f64,
    ids: &[String],
) -> Result<Edit, Faults> {
    if shape == "strip" {
        let keys = vec![
            ("id".to_string(), free_id("strip", ids).as_str().into()),
            ("length".to_string(), Entry::Number(length)),
            ("width".to_string(), Entry::Number(width)),
        ];
        return Ok(Edit::Add { section: "strip".into(), keys });
    }
    let id = free_id(shape, ids);
    let outline = OutlineData::sized(length, width, shape == "ellipse").outline(&id)?;
    let file = keep(
        dir,
        &format!("{id}.svg"),
        outline_drawing(&outline, &id, &["Drawn by its size.".into()]).as_bytes(),
    )?;
    let keys = [("id", id.as_str()), ("file", &file), ("taken_off", "mould"), ("inked_side", "up")];
    Ok(Edit::Add {
        section: "template".into(),
        keys: keys.map(|(k, v)| (k.to_string(), v.into())).to_vec(),
    })
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::workshop::edited;

    const LAY: Lay = Lay { inked_net: false, plug: false, inked_down: true };
    const TWO: &str = "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"500mm\" height=\"500mm\" viewBox=\"0 0 500 500\">\
                       <g id=\"hip\"><rect x=\"9\" y=\"9\" width=\"90\" height=\"60\"/></g><g id=\"lid\"><circle cx=\"300\" cy=\"300\" r=\"50\"/></g></svg>";

    #[test]
    fn each_outline_of_a_drawing_becomes_a_template_and_the_file_stays_as_it_was() {
        let home = tempfile::tempdir().unwrap();
        std::fs::write(home.path().join("plates.svg"), "mine").unwrap();
        let taken = take(
            home.path(),
            "plates.svg",
            TWO.as_bytes(),
            LAY,
            &["hip".into()],
            &LastPhoto::default(),
        )
        .unwrap();
        assert_eq!(taken.kept, "plates-2.svg");
        assert_eq!(std::fs::read_to_string(home.path().join("plates.svg")).unwrap(), "mine");
        assert_eq!(std::fs::read_to_string(home.path().join("plates-2.svg")).unwrap(), TWO);
        let text = edited("", &taken.edit).unwrap();
        assert_eq!(text.matches("[[template]]").count(), 2, "{text}");
        assert!(
            text.contains("id = \"hip-2\"")
                && text.contains("id = \"lid\"")
                && text.contains("inked_side = \"down\""),
            "{text}"
        );
    }

    #[test]
    fn what_no_template_can_be_made_of_is_refused_and_leaves_nothing() {
        let home = tempfile::tempdir().unwrap();
        for (name, bytes) in [
            ("a.svg", &b"<svg xmlns=\"http://www.w3.org/2000/svg\"/>"[..]),
            ("a.svg", b"nonsense"),
            ("a.pdf", b"%PDF-1.7"),
            ("a.jpg", b"\xff\xd8\xff broken"),
            ("a.heic", b"\0\0\0\x18ftypheic\0\0\0\0"),
            ("../a.svg", TWO.as_bytes()),
        ] {
            assert!(
                take(home.path(), name, bytes, LAY, &[], &LastPhoto::default()).is_err(),
                "{name}"
            );
        }
        assert_eq!(std::fs::read_dir(home.path()).unwrap().count(), 0);
    }

    #[test]
    fn shapes_by_size_are_read_at_that_size() {
        let home = tempfile::tempdir().unwrap();
        let edit = by_size(home.path(), "ellipse", 200.0, 80.0, &[]).unwrap();
        assert!(edited("", &edit).unwrap().contains("file = \"ellipse.svg\""));
        let reading =
            crate::outline::read_file(&home.path().join("ellipse.svg"), &ReadOptions::default())
                .unwrap();
        let b = crate::geometry::ring_bounds(reading.outlines[0].net()).unwrap();
        assert!((b.width() - 200.0).abs() < 0.05 && (b.height() - 80.0).abs() < 0.05);
        assert!(by_size(home.path(), "rectangle", 0.0, 80.0, &[]).is_err());
    }
}
