//! Offcuts that come in by a photo or a drawing: each waits in a folder of its own, with the
//! outline that was found, until a person says that size and warp are right. Only then it is
//! booked.

use super::draft::Revision;
use super::folder::{free_name, write_whole};
use super::intake::{LastPhoto, Lay, is_photo, low_of, take, trace_again};
use super::outline_file::{OutlineData, PhotoUnder, notes_of, outline_drawing};
use crate::fault::{Fault, Faults};
use crate::file_name;
use crate::geometry::{Point, path_length, ring_bounds};
use crate::outline::{Outline, ReadOptions, read_bytes, read_file};
use std::fs;
use std::io::Read;
use std::path::{Path, PathBuf};

/// The folder in the workshop's where they wait, and where their photos stay.
pub const OFFCUT_PHOTOS: &str = "offcut-photos";

/// How the folder of one that waits begins: a number for people, then signs by chance, so that no
/// name comes twice. That of a booked one is named as the ledger names it.
const WAITING: &str = "waiting-";

/// How a folder begins into which one is being taken.
const HALF: &str = ".new-";

/// What came in is called so, with an ending.
const SENT: &str = "sent";

/// The outline that was found.
const OUTLINE: &str = "outline.svg";

/// How a note of the outline begins that a person must hear.
const DOUBT: &str = "To look at: ";

/// A stretch of edge is straight if no point of it lies further off, mm.
const STRAIGHT: f64 = 1.0;

/// The skin lies as it lies: what is seen is the up side of the photo.
const LAY: Lay = Lay { inked_net: false, plug: false, inked_down: false };

/// An offcut that waits to be booked.
#[derive(Clone, Debug, PartialEq)]
pub struct OffcutSeen {
    /// As it lay: mm, y up.
    pub outline: Outline,
    /// The photo under it, from above.
    pub photo: Option<PhotoUnder>,
    /// What may be wrong.
    pub doubts: Vec<String>,
    /// What tells this outline from another found later.
    pub rev: String,
    /// Its straight edges, the longest first: the selvedge may be one of them.
    pub edges: Vec<[Point; 2]>,
}

/// Where the warp runs.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum WarpBy {
    /// By the arrow on it.
    Arrow,
    /// Along a straight edge, by its number from 0.
    Edge(usize),
    /// In a direction, degrees anticlockwise from right.
    Degrees(f64),
}

impl OffcutSeen {
    /// The warp's direction in degrees; none if there is no such edge or arrow.
    pub fn warp(&self, by: WarpBy) -> Option<f64> {
        let along = |[a, b]: [Point; 2]| (b - a).direction();
        match by {
            WarpBy::Arrow => self.outline.arrow().map(along),
            WarpBy::Edge(number) => self.edges.get(number).copied().map(along),
            WarpBy::Degrees(degrees) => Some(degrees).filter(|d| d.is_finite()),
        }
    }
}

/// Why nothing waits, or what waits without an outline.
#[derive(Clone, Debug, PartialEq)]
pub struct NotSeen {
    /// What is wrong.
    pub faults: Faults,
    /// The folder of the photo that was kept: a click on the cloth in it may help.
    pub waits: Option<String>,
}

impl From<Faults> for NotSeen {
    fn from(faults: Faults) -> NotSeen {
        NotSeen { faults, waits: None }
    }
}

fn dir_of(root: &Path, name: &str) -> Result<PathBuf, Faults> {
    let gone = || {
        let what = "this offcut does not wait any more";
        Fault::new(what, "look at the stock: it was booked or put aside")
    };
    let name = file_name::checked(name)?;
    let dir = root.join(OFFCUT_PHOTOS).join(name);
    if name.starts_with(WAITING) && dir.is_dir() { Ok(dir) } else { Err(gone().into()) }
}

/// The folders of those that wait, the oldest first.
pub fn waiting_offcuts(root: &Path) -> Vec<String> {
    let entries = fs::read_dir(root.join(OFFCUT_PHOTOS)).into_iter().flatten().flatten();
    let mut names: Vec<String> = entries
        .filter_map(|e| e.file_name().into_string().ok())
        .filter(|n| n.starts_with(WAITING) && dir_of(root, n).is_ok())
        .collect();
    names.sort_by_key(|n| (number_of(n), n.clone()));
    names
}

fn number_of(name: &str) -> u64 {
    let number = name.strip_prefix(WAITING).and_then(|n| n.split('-').next()?.parse().ok());
    number.unwrap_or_default()
}

/// What tells the outline that was found from another; empty as long as none was.
fn rev_of(dir: &Path) -> String {
    let svg = fs::read_to_string(dir.join(OUTLINE));
    svg.map(|svg| Revision::of(&svg).name().to_string()).unwrap_or_default()
}

/// The same of one that waits.
///
/// # Errors
/// It does not wait any more.
pub fn offcut_rev(root: &Path, name: &str) -> Result<String, Faults> {
    Ok(rev_of(&dir_of(root, name)?))
}

fn as_shown(dir: &Path, rev: &str) -> Result<(), Faults> {
    if rev_of(dir) == rev {
        return Ok(());
    }
    let what = "another outline was found in this photo meanwhile";
    Err(Fault::new(what, "load the page anew and look at it again").into())
}

/// Takes a photo or drawing of an offcut in; gives the folder it waits in.
///
/// # Errors
/// It is none, or what is wrong with it. A photo whose outline was not found waits all the same.
pub fn take_offcut(
    root: &Path,
    name: &str,
    bytes: &[u8],
    last: &LastPhoto,
) -> Result<String, NotSeen> {
    let all = root.join(OFFCUT_PHOTOS);
    let trouble = |e: std::io::Error| {
        let what = said!("there is no place to keep it: {e}");
        Faults::from(Fault::new(what, "check space and permissions").in_file(&all))
    };
    fs::create_dir_all(&all).map_err(trouble)?;
    // What is half taken in does not wait: it is moved there whole.
    let new = tempfile::Builder::new().prefix(HALF).tempdir_in(&all).map_err(trouble)?;
    let own = own_name(file_name::checked(name).map_err(Faults::from)?, bytes);
    let taken = take(new.path(), &own, bytes, LAY, &[], last);
    let (mut faults, kept) = match taken {
        Ok(taken) => match settle(new.path(), &taken.kept, &taken.warnings) {
            Ok(()) => (None, true),
            Err(faults) => (Some(faults), is_photo(bytes)),
        },
        Err(not) => (Some(not.faults), not.photo.is_some()),
    };
    // Faults name the file as the person does.
    let is_ours = |f: &Path| f == Path::new(&own) || f.starts_with(new.path());
    for fault in faults.iter_mut().flat_map(|f| &mut f.0) {
        fault.file = fault.file.take().map(|f| if is_ours(&f) { name.into() } else { f });
    }
    if !kept {
        return Err(faults.unwrap_or_default().into());
    }
    let number = waiting_offcuts(root).last().map_or(0, |n| number_of(n)).saturating_add(1);
    let half = new.path().file_name().unwrap_or_default().to_string_lossy().into_owned();
    let folder = format!("{WAITING}{number}-{}", half.trim_start_matches(HALF));
    fs::rename(new.path(), all.join(&folder)).map_err(trouble)?;
    // It is not there any more.
    let _ = new.keep();
    match faults {
        None => Ok(folder),
        Some(faults) => Err(NotSeen { faults, waits: Some(folder) }),
    }
}

/// The name under which what came in is kept: none that is made of it, such as the outline's.
fn own_name(name: &str, bytes: &[u8]) -> String {
    let named = name.rsplit('.').next().unwrap_or_default().to_lowercase();
    let ending = match named.as_str() {
        _ if bytes.starts_with(b"\x89PNG") => "png",
        _ if is_photo(bytes) => "jpg",
        known @ ("svg" | "dxf" | "csv") => known,
        _ => return name.into(),
    };
    format!("{SENT}.{ending}")
}

/// Traces the photo of one that waits once more, with a pixel that lies on the cloth; `rev` is that
/// of the outline the person saw.
///
/// # Errors
/// It does not wait any more or has another outline, or what is wrong with it.
pub fn trace_offcut_again(
    root: &Path,
    name: &str,
    rev: &str,
    at: Point,
    last: &LastPhoto,
) -> Result<(), Faults> {
    let dir = dir_of(root, name)?;
    as_shown(&dir, rev)?;
    let photo = photo_of(&dir).ok_or_else(|| Fault::new("there is no photo", "send it again"))?;
    let taken = trace_again(&dir, &photo, LAY, at, &[], last).map_err(|not| not.faults)?;
    // To trace takes seconds.
    as_shown(&dir, rev)?;
    settle(&dir, &taken.kept, &taken.warnings)
}

/// Writes the one outline of a drawing as the one that was found.
fn settle(dir: &Path, file: &str, warnings: &[Fault]) -> Result<(), Faults> {
    let path = dir.join(file);
    let reading = read_file(&path, &ReadOptions::default())?;
    let [outline] = &reading.outlines[..] else {
        let what = said!("it shows {} outlines", reading.outlines.len());
        let remedy = "lay one offcut beside the card, or click on the one that is meant";
        return Err(Fault::new(what, remedy).into());
    };
    let mut data = OutlineData::of(outline);
    let maybe = reading.maybe_arrows.iter().find(|a| a.outline == 0).map(|a| a.ends);
    data.arrow = data.arrow.or(maybe);
    // What is cut of it later is not said by marks on it.
    (data.cuts, data.marks, data.no_splice) = (Vec::new(), Vec::new(), Vec::new());
    data.edges = Vec::new();
    let found = data.outline("offcut")?;
    let doubts = warnings.iter().map(|w| format!("{DOUBT}{}", w.in_one_line()));
    let mut notes: Vec<String> = doubts.collect();
    let svg = fs::read_to_string(&path).unwrap_or_default();
    let first = outline_drawing(&found, "offcut", &[]);
    let again = read_bytes(Path::new("a.svg"), first.as_bytes(), &ReadOptions::default())?;
    let moved = again.outlines.first().map(|o| low_of(o.net()) - low_of(outline.net()));
    if let (Some(photo), Some(by)) = (PhotoUnder::of(&svg), moved) {
        let [left, low, right, high] = photo.place;
        let place = [left + by.x, low + by.y, right + by.x, high + by.y];
        notes.push(PhotoUnder { place, ..photo }.note());
    }
    write_whole(&dir.join(OUTLINE), outline_drawing(&found, "offcut", &notes).as_bytes())
}

/// The photo as it came in, known by what it is, whatever its name ends in. What was made of it has
/// a longer name.
fn photo_of(dir: &Path) -> Option<String> {
    let begins = |name: &String| {
        let mut first = Vec::new();
        let file = fs::File::open(dir.join(name)).ok()?;
        file.take(16).read_to_end(&mut first).ok()?;
        Some(first)
    };
    files_of(dir).into_iter().find(|n| begins(n).is_some_and(|first| is_photo(&first)))
}

/// Files by name, later tracings after earlier ones.
fn files_of(dir: &Path) -> Vec<String> {
    let names = fs::read_dir(dir).into_iter().flatten().flatten();
    let mut names: Vec<String> = names.filter_map(|e| e.file_name().into_string().ok()).collect();
    names.sort_by_key(|n| (n.len(), n.clone()));
    names
}

/// One that waits, as it was found.
///
/// # Errors
/// It does not wait any more, or no outline was found.
pub fn offcut_seen(root: &Path, name: &str) -> Result<OffcutSeen, Faults> {
    let path = dir_of(root, name)?.join(OUTLINE);
    let svg = fs::read_to_string(&path).map_err(|_| {
        let what = "no outline was found in this photo";
        Fault::new(what, "click on the cloth in it, or put it aside and take another")
    })?;
    let mut reading = read_bytes(&path, svg.as_bytes(), &ReadOptions::default())?;
    let outline = reading
        .outlines
        .pop()
        .ok_or_else(|| Fault::new("no outline was found in this photo", "take another"))?;
    let edges = straight_edges(outline.net());
    let doubts = notes_of(&svg).filter_map(|n| n.strip_prefix(DOUBT)).map(String::from).collect();
    let (photo, rev) = (PhotoUnder::of(&svg), Revision::of(&svg).name().to_string());
    Ok(OffcutSeen { outline, photo, doubts, rev, edges })
}

/// Pictures of one that waits.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum OffcutPicture {
    /// The photo as it came in.
    Photo,
    /// From above, as it lies under the outline.
    FromAbove,
    /// What was found in the photo, every doubt drawn in it; SVG.
    Check,
}

/// A picture of one that waits, if there is one.
pub fn offcut_picture(root: &Path, name: &str, which: OffcutPicture) -> Option<Vec<u8>> {
    let dir = dir_of(root, name).ok()?;
    let file = match which {
        OffcutPicture::Photo => photo_of(&dir)?,
        OffcutPicture::FromAbove => offcut_seen(root, name).ok()?.photo?.file,
        OffcutPicture::Check => {
            files_of(&dir).into_iter().rfind(|n| n.contains("-check") && n.ends_with(".svg"))?
        }
    };
    let path = fs::canonicalize(dir.join(file_name::checked(&file).ok()?)).ok()?;
    path.starts_with(fs::canonicalize(&dir).ok()?).then(|| fs::read(path).ok())?
}

/// Its photo and outline are those of an offcut of the ledger now; it waits no more.
///
/// # Errors
/// It does not wait any more, or the machine's.
pub fn offcut_booked(root: &Path, name: &str, id: &str) -> Result<(), Faults> {
    let (dir, all) = (dir_of(root, name)?, root.join(OFFCUT_PHOTOS));
    let to = free_name(&all, file_name::checked(id)?);
    fs::rename(&dir, all.join(to)).map_err(|e| {
        let what = said!("it is booked as {id}, and its photo cannot be put away: {e}");
        Fault::new(what, "put this photo aside by hand, so that it is not booked twice").into()
    })
}

/// Puts one aside that is not to be booked; nothing of it stays. `rev` is that of the outline the
/// person saw.
///
/// # Errors
/// It does not wait any more or has another outline, or the machine's.
pub fn offcut_put_aside(root: &Path, name: &str, rev: &str) -> Result<(), Faults> {
    let dir = dir_of(root, name)?;
    as_shown(&dir, rev)?;
    fs::remove_dir_all(&dir).map_err(|e| {
        Fault::new(said!("it cannot be removed: {e}"), "check permissions").in_file(&dir).into()
    })
}

/// The straight edges of an outline, each pointing to the right, the longest first. An edge is as
/// long as no point of it lies off the line between its ends; those under a tenth of the size are
/// none to hold a warp against.
fn straight_edges(net: &[Point]) -> Vec<[Point; 2]> {
    let size = ring_bounds(net).map_or(0.0, |b| b.width().max(b.height()));
    // Begun at a corner for sure: the point furthest from the first, and the one furthest from it.
    let far = |from: Point| {
        let by = |a: &usize, b: &usize| net[*a].distance(from).total_cmp(&net[*b].distance(from));
        (0..net.len()).max_by(by).unwrap_or(0)
    };
    let Some(first) = net.first() else { return Vec::new() };
    let a = far(*first);
    let b = far(net[a]);
    let ring: Vec<Point> = net[a..].iter().chain(&net[..=a]).copied().collect();
    let b = (b + net.len() - a) % net.len();
    let mut corners = vec![0];
    split(&ring, 0, b, &mut corners);
    split(&ring, b, net.len(), &mut corners);
    let mut edges: Vec<[Point; 2]> = corners
        .windows(2)
        .map(|w| [ring[w[0]], ring[w[1]]])
        .filter(|e| path_length(e) >= (0.1 * size).max(10.0))
        .map(|[p, q]| if (q.x, q.y) >= (p.x, p.y) { [p, q] } else { [q, p] })
        .collect();
    edges.sort_by(|e, f| path_length(f).total_cmp(&path_length(e)));
    edges
}

/// Corners between two points of a line, so that no point lies off the lines between them.
fn split(line: &[Point], from: usize, to: usize, corners: &mut Vec<usize>) {
    // A stack, not calls: an outline may have very many points.
    let mut open = vec![(from, to)];
    while let Some((from, to)) = open.pop() {
        let (p, q) = (line[from], line[to]);
        let (way, long) = (q - p, p.distance(q));
        let off = |i: &usize| {
            let d = line[*i] - p;
            if long > 0.0 { (way.x * d.y - way.y * d.x).abs() / long } else { d.x.hypot(d.y) }
        };
        let worst = (from + 1..to).max_by(|a, b| off(a).total_cmp(&off(b)));
        match worst.filter(|w| off(w) > STRAIGHT) {
            Some(worst) => open.extend([(worst, to), (from, worst)]),
            None => corners.push(to),
        }
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::geometry::point;

    #[test]
    fn straight_edges_are_found_through_the_points_on_them_and_curves_are_none() {
        // 400 by 300 with a round corner, a point every few mm with half a mm of unrest.
        let mut net: Vec<Point> =
            (0..80).map(|i| point(5.0 * f64::from(i), 0.4 * f64::from(i % 2))).collect();
        net.extend((0..40).map(|i| point(400.0, 5.0 * f64::from(i))));
        net.extend((0..30).map(|i| {
            let a = f64::from(i) / 30.0 * std::f64::consts::FRAC_PI_2;
            point(300.0 + 100.0 * a.cos(), 200.0 + 100.0 * a.sin())
        }));
        net.extend((0..60).map(|i| point(300.0 - 5.0 * f64::from(i), 300.0)));
        net.extend((0..60).map(|i| point(0.0, 300.0 - 5.0 * f64::from(i))));
        let edges = straight_edges(&net);
        let lengths: Vec<f64> = edges.iter().map(|e| path_length(e)).collect();
        for (length, want) in lengths.iter().zip([400.0, 300.0, 300.0, 200.0]) {
            // A corner may be taken along as far as it keeps straight.
            assert!((length - want).abs() < 20.0, "{lengths:?}");
        }
        assert!(edges[4..].iter().all(|e| path_length(e) < 60.0), "chords of the round corner");
        let warp = (edges[0][1] - edges[0][0]).direction();
        assert!(warp.abs() < 0.2, "{warp}");
        assert!(straight_edges(&[]).is_empty());
        let ring: Vec<Point> = (0..360)
            .map(|i| f64::from(i).to_radians())
            .map(|a| point(500.0 * a.cos(), 500.0 * a.sin()))
            .collect();
        assert!(straight_edges(&ring).is_empty(), "{:?}", straight_edges(&ring).len());
    }

    #[test]
    fn a_drawing_waits_with_its_arrow_and_is_put_aside_or_away() {
        let home = tempfile::tempdir().unwrap();
        let svg = "<svg xmlns='http://www.w3.org/2000/svg' width='400mm' height='300mm' \
                   viewBox='0 0 400 300' stroke='black' fill='none'>\
                   <path id='net-line' d='M10 10 H310 V110 H10Z'/>\
                   <path id='arrow' d='M100 100 V20'/></svg>";
        let last = LastPhoto::default();
        let take = |name: &str, bytes: &[u8]| take_offcut(home.path(), name, bytes, &last);
        let first = take("rest.svg", svg.as_bytes()).unwrap();
        let second = take("rest.svg", svg.as_bytes()).unwrap();
        assert_eq!(waiting_offcuts(home.path()), [first.clone(), second.clone()]);
        let seen = offcut_seen(home.path(), &first).unwrap();
        assert!((seen.warp(WarpBy::Arrow).unwrap() - 90.0).abs() < 0.01);
        assert!(seen.warp(WarpBy::Edge(0)).unwrap().abs() < 0.01);
        assert_eq!(seen.warp(WarpBy::Edge(99)), None);
        assert_eq!(seen.warp(WarpBy::Degrees(f64::NAN)), None);
        offcut_booked(home.path(), &first, "off-1").unwrap();
        assert!(offcut_booked(home.path(), &first, "off-1").is_err(), "twice");
        assert!(home.path().join("offcut-photos/off-1/outline.svg").is_file());
        assert!(offcut_put_aside(home.path(), &second, "").is_err(), "not as it was shown");
        offcut_put_aside(home.path(), &second, &seen.rev).unwrap();
        assert!(waiting_offcuts(home.path()).is_empty());
        for wrong in ["off-1", "../waiting-1", "waiting-1/..", "", "waiting-9"] {
            assert!(offcut_seen(home.path(), wrong).is_err(), "{wrong}");
            assert!(offcut_put_aside(home.path(), wrong, "").is_err(), "{wrong}");
        }
        for (name, bytes) in
            [("../rest.svg", svg.as_bytes()), ("rest.svg", b"nonsense"), ("a.txt", b"")]
        {
            assert!(take(name, bytes).unwrap_err().waits.is_none(), "{name}");
        }
        let names = fs::read_dir(home.path().join(OFFCUT_PHOTOS)).unwrap();
        assert_eq!(names.count(), 1, "nothing half taken in stays");
        // A page of what is gone must not name what came after it.
        let third = take("rest.svg", svg.as_bytes()).unwrap();
        assert!(third != first && third != second, "a name comes twice: {third}");
    }

    #[test]
    fn a_drawing_called_as_the_outline_is_kept_as_it_came() {
        let home = tempfile::tempdir().unwrap();
        let svg = "<svg xmlns='http://www.w3.org/2000/svg' width='400mm' height='300mm' \
                   viewBox='0 0 400 300' stroke='black' fill='none'><desc>mine</desc>\
                   <path id='net-line' d='M10 10 H310 V110 H10Z'/></svg>";
        let last = LastPhoto::default();
        let name = take_offcut(home.path(), OUTLINE, svg.as_bytes(), &last).unwrap();
        let dir = home.path().join(OFFCUT_PHOTOS).join(name);
        assert_eq!(fs::read_to_string(dir.join("sent.svg")).unwrap(), svg);
        assert!(dir.join(OUTLINE).is_file());
    }

    #[test]
    fn a_photo_without_an_outline_waits_for_a_click_and_two_outlines_are_not_guessed_between() {
        let home = tempfile::tempdir().unwrap();
        let mut blank = Vec::new();
        let shade = |x, _| image::Luma([if x < 700 { 60 } else { 200 }]);
        image::GrayImage::from_fn(1400, 1100, shade)
            .write_to(&mut std::io::Cursor::new(&mut blank), image::ImageFormat::Png)
            .unwrap();
        let last = LastPhoto::default();
        let not = take_offcut(home.path(), "rest.png", &blank, &last).unwrap_err();
        let waits = not.waits.unwrap();
        assert!(!not.faults.is_empty() && offcut_seen(home.path(), &waits).is_err());
        assert!(offcut_picture(home.path(), &waits, OffcutPicture::Photo).is_some());
        let again = |rev| trace_offcut_again(home.path(), &waits, rev, point(9.0, 9.0), &last);
        assert!(!again("").unwrap_err().to_string().contains("meanwhile"));
        assert!(again("other").unwrap_err().to_string().contains("meanwhile"));
        // A photo is known by what it is, not by how its name ends.
        let not = take_offcut(home.path(), "scan.jfif", &blank, &last).unwrap_err();
        assert!(not.faults.to_string().contains("scan.jfif"), "{}", not.faults);
        let photo = offcut_picture(home.path(), &not.waits.unwrap(), OffcutPicture::Photo);
        assert_eq!(photo.as_deref(), Some(&blank[..]));
        let two = "<svg xmlns='http://www.w3.org/2000/svg' width='400mm' height='300mm' \
                   viewBox='0 0 400 300' stroke='black' fill='none'><rect x='9' y='9' width='90' \
                   height='60'/><circle cx='200' cy='200' r='50'/></svg>";
        let not = take_offcut(home.path(), "two.svg", two.as_bytes(), &last).unwrap_err();
        assert!(not.faults.0[0].what.contains("2 outlines"), "{}", not.faults);
    }
}
