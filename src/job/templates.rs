//! From the template, strip and patch sections to [`Template`]s: finds the drawings, picks the
//! outline, settles the arrow.

use super::choices::{Hands, InkedSide, TakenOff};
use super::document::{Document, Findings, listed, nearest};
use super::model::{PatchShape, ReadDrawing, Template, TemplateSource};
use super::raw::{RawPatch, RawShape, RawStrip, RawTemplate};
use super::{cloths, shapes};
use crate::fault::{Faults, Place, Said};
use crate::geometry::{Point, Ring, point, ring_area, ring_bounds, ring_contains};
use crate::outline::{Account, EdgeKind, Outline, ReadOptions, Reading, merged};
use crate::trace::named_corners;
use crate::units::{degrees_0_360, quoted, show_angle, show_mm, show_number};
use std::collections::BTreeMap;
use std::fs;
use std::path::{Component, Path, PathBuf};

/// A drawn arrow and one given by the job may differ by this much without a word, degrees.
const ARROW_SLACK: f64 = 0.5;

/// Reads one drawing, as [`read_file`](crate::outline::read_file) does.
pub type ReadOutline<'a> = dyn Fn(&Path, &ReadOptions) -> Result<Reading, Faults> + 'a;

/// Reads the drawings of a job, each once for each way of reading it.
pub(super) struct Drawings<'a> {
    folder: PathBuf,
    read: &'a ReadOutline<'a>,
    readings: BTreeMap<(PathBuf, String), Option<Reading>>,
    /// Drawings as the job names them, where they lie, and the net lines that templates take from
    /// them.
    taken: Vec<(PathBuf, PathBuf, Ring)>,
}

impl<'a> Drawings<'a> {
    /// Drawings in the folder of a job file.
    pub(super) fn beside(job: &Path, read: &'a ReadOutline<'a>) -> Self {
        let folder = job.parent().map(Path::to_path_buf).unwrap_or_default();
        Drawings { folder, read, readings: BTreeMap::new(), taken: Vec::new() }
    }

    /// The reading of a drawing; what is wrong with it is reported the first time only.
    fn reading(
        &mut self,
        path: &Path,
        options: &ReadOptions,
        findings: &mut Findings<'_>,
    ) -> Option<&Reading> {
        let read = self.read;
        let entry = self.readings.entry((path.to_path_buf(), format!("{options:?}")));
        let reading = entry.or_insert_with(|| match read(path, options) {
            Ok(reading) => {
                findings.other_warnings(reading.warnings.clone());
                Some(reading)
            }
            Err(faults) => {
                findings.other_faults(faults);
                None
            }
        });
        reading.as_ref()
    }

    /// What was made of each drawing, over all ways in which it was read.
    pub(super) fn accounts(&self) -> Vec<ReadDrawing> {
        let mut out: Vec<ReadDrawing> = Vec::new();
        for (k, (file, path, _)) in self.taken.iter().enumerate() {
            if self.taken[..k].iter().any(|(_, before, _)| before == path) {
                continue;
            }
            let mut lines: Option<Vec<Account>> = None;
            let mut spare: Vec<Outline> = Vec::new();
            for reading in
                self.readings.iter().filter(|((p, _), _)| p == path).filter_map(|(_, r)| r.as_ref())
            {
                lines = Some(match lines {
                    Some(lines) => merged(lines, &reading.account),
                    None => reading.account.clone(),
                });
                let taken =
                    |o: &Outline| self.taken.iter().any(|(_, p, net)| p == path && net == o.net());
                for outline in reading.outlines.iter().filter(|o| !taken(o)) {
                    if spare.iter().all(|s| s.net() != outline.net()) {
                        spare.push(outline.clone());
                    }
                }
            }
            out.push(ReadDrawing {
                file: file.clone(),
                lines: lines.unwrap_or_default(),
                spare: spare.iter().map(boxed).collect(),
            });
        }
        out
    }

    /// Where a drawing lies, after making sure that it is a file inside the job's folder.
    fn find(&self, file: &str, offset: usize, findings: &mut Findings<'_>) -> Option<PathBuf> {
        let shown = quoted(file);
        let below = Path::new(file)
            .components()
            .all(|c| matches!(c, Component::Normal(_) | Component::CurDir));
        let path = self.folder.join(file);
        let folder = if self.folder.as_os_str().is_empty() { Path::new(".") } else { &self.folder };
        let real = fs::canonicalize(&path);
        let inside = match (&real, fs::canonicalize(folder)) {
            (Ok(real), Ok(folder)) => real.starts_with(folder),
            _ => true,
        };
        if !below || !inside {
            let remedy = "copy the drawing into the folder of the job file, and name it from there";
            let how =
                if Path::new(file).is_absolute() { "is not named from" } else { "lies outside" };
            findings.fault(offset, said!("{shown} {how} the job's folder"), remedy);
            return None;
        }
        match real.and_then(fs::metadata) {
            Ok(data) if data.is_file() => Some(path),
            Ok(_) => {
                findings.fault(offset, said!("{shown} is not a file"), "name the drawing itself");
                None
            }
            Err(error)
                if matches!(
                    error.kind(),
                    std::io::ErrorKind::NotFound | std::io::ErrorKind::NotADirectory
                ) =>
            {
                let what = said!("there is no file {shown}");
                match similar_file(&path) {
                    Some(name) => {
                        let right = file
                            .rsplit_once('/')
                            .map_or(name.clone(), |(folder, _)| format!("{folder}/{name}"));
                        let (remedy, right) = (
                            said!("did you mean {}?", quoted(&name)),
                            toml::Value::from(right).to_string(),
                        );
                        match findings.span_of(offset, file) {
                            Some(span) => findings.fault_to_mend(span, what, remedy, &right),
                            None => findings.fault(offset, what, remedy),
                        }
                    }
                    None => {
                        let remedy = said!(
                            "put the drawing there, or name it from the folder of the job file ({})",
                            folder.display()
                        );
                        findings.fault(offset, what, remedy);
                    }
                }
                None
            }
            Err(error) => {
                findings.fault(
                    offset,
                    said!("{shown} cannot be read: {error}"),
                    "check the permissions of the file",
                );
                None
            }
        }
    }
}

/// A file in the same folder with nearly the same name.
fn similar_file(path: &Path) -> Option<String> {
    const MOST_LOOKED_AT: usize = 1000;
    let wanted = path.file_name()?.to_str()?;
    let parent = path.parent().filter(|p| !p.as_os_str().is_empty()).unwrap_or(Path::new("."));
    let names = fs::read_dir(parent).ok()?.take(MOST_LOOKED_AT);
    let mut names: Vec<String> =
        names.filter_map(|e| e.ok()?.file_name().into_string().ok()).collect();
    names.sort();
    nearest(wanted, names.iter().map(String::as_str)).map(str::to_string)
}

/// Reads and checks one template; `at` is its path in the document, `template.2`.
pub(super) fn template(
    raw: RawTemplate,
    at: &str,
    doc: &Document<'_>,
    drawings: &mut Drawings<'_>,
    findings: &mut Findings<'_>,
) -> Option<Template> {
    let place = |key: &str| doc.offset_of(&format!("{at}.{key}"));
    let path = drawings.find(&raw.file, place("file"), findings)?;
    let options = ReadOptions {
        chord_tolerance: raw.chord_tolerance,
        join_tolerance: raw.join_ends,
        unit: raw.unit,
        layer: raw.layer.clone(),
    };
    let reading = drawings.reading(&path, &options, findings)?;
    let nets: Vec<&Ring> = reading.outlines.iter().map(Outline::net).collect();
    let mut corners = named_corners(&nets);
    let (outline, corners, maybe_arrow) =
        match choose(&reading.outlines, raw.inside.map(Point::from)) {
            Ok(outline) => {
                let named = reading
                    .outlines
                    .iter()
                    .position(|o| std::ptr::eq(o, outline))
                    .map(|i| corners.swap_remove(i));
                let maybe = |a: &&crate::outline::MaybeArrow| {
                    reading.outlines.get(a.outline).is_some_and(|o| std::ptr::eq(o, outline))
                };
                (
                    outline.clone(),
                    named.unwrap_or_default(),
                    reading.maybe_arrows.iter().find(maybe).cloned(),
                )
            }
            Err((what, remedy)) => {
                let key = if raw.inside.is_some() { "inside" } else { "file" };
                let what = said!("{} {what}", quoted(&raw.file));
                match reading.outlines.first().map(|o| point_within(o.net())) {
                    Some(p) => {
                        let line =
                            format!("inside = [{}, {}]", show_number(p.x, 1), show_number(p.y, 1));
                        findings.fault_to_paste(place(key), what, remedy, line);
                    }
                    None => findings.fault(place(key), what, remedy),
                }
                return None;
            }
        };
    drawings.taken.push((PathBuf::from(&raw.file), path, outline.net().clone()));
    let drawn = outline.arrow().map(|[tail, head]| (head - tail).direction());
    let arrow = match (raw.arrow, drawn) {
        (Some(given), Some(drawn)) => {
            let off = (given - drawn + 180.0).rem_euclid(360.0) - 180.0;
            if off.abs() > ARROW_SLACK {
                let what = said!(
                    "the arrow is given as {} but drawn at {}",
                    show_angle(given),
                    show_angle(drawn)
                );
                findings.warning(
                    place("arrow"),
                    what,
                    "the job's word holds; take `arrow` out to use the drawn one",
                );
            }
            given
        }
        (Some(given), None) => given,
        (None, Some(drawn)) => drawn,
        (None, None) if doc.has(&format!("{at}.arrow")) => return None,
        (None, None) => {
            let what = said!("{} shows no arrow, and the job gives none", quoted(&raw.file));
            let degrees = maybe_arrow
                .as_ref()
                .map_or(0.0, |line| degrees_0_360((line.ends[1] - line.ends[0]).direction()));
            let key = format!("arrow = {}", show_number(degrees, 2));
            let line = format!(
                "{key:<33}# CHECK: 0° of the part, degrees anticlockwise from the right of the drawing"
            );
            let remedy = match maybe_arrow {
                Some(line) => {
                    let name = if line.name.is_empty() { String::new() } else { format!(" in {}", quoted(&line.name)) };
                    said!("if the line{name} is the arrow, write: {key}; or name its group or layer \"arrow\"")
                }
                None => {
                    "draw a line on a layer named arrow, tail first, or add `arrow`: degrees anticlockwise from the right of the drawing"
                        .into()
                }
            };
            findings.fault_to_paste(place("file"), what, remedy, line);
            return None;
        }
    };
    Some(Template {
        id: raw.id,
        source: TemplateSource::Drawing { file: PathBuf::from(raw.file) },
        outline,
        corners,
        arrow,
        taken_off: raw.taken_off,
        inked_side: raw.inked_side,
        edge: raw.edge,
        hands: raw.hands,
        may_cross_bench: raw.may_cross_bench,
        other_hand_of: raw.other_hand_of,
        mould: None,
    })
}

/// The one outline that is meant, or what is wrong and how to say which.
fn choose(outlines: &[Outline], inside: Option<Point>) -> Result<&Outline, (Said, Said)> {
    let mut meant: Vec<&Outline> =
        outlines.iter().filter(|o| inside.is_none_or(|p| ring_contains(o.net(), p))).collect();
    if inside.is_some() {
        meant.sort_by(|a, b| ring_area(a.net()).total_cmp(&ring_area(b.net())));
        meant.truncate(1);
    }
    match (meant.as_slice(), inside) {
        ([one], _) => return Ok(one),
        (_, None) if outlines.is_empty() => {
            return Err(("holds no outline".into(), "draw the net line as a closed line".into()));
        }
        _ => {}
    }
    let what = match inside {
        Some(p) => said!(
            "holds no outline around ({}, {}), but {}",
            show_number(p.x, 3),
            show_number(p.y, 3),
            boxes(outlines)
        ),
        None => said!("holds {} outlines: {}", outlines.len(), boxes(outlines)),
    };
    let remedy = match outlines.first() {
        None => "choose one".into(),
        Some(first) => {
            let p = point_within(first.net());
            let (x, y) = (show_number(p.x, 1), show_number(p.y, 1));
            let name = first.name();
            if !name.is_empty() && outlines.iter().filter(|o| o.name() == name).count() == 1 {
                let name = toml::Value::from(name);
                said!("choose one: for the first write inside = [{x}, {y}] or layer = {name}")
            } else {
                said!("choose one: for the first write inside = [{x}, {y}]")
            }
        }
    };
    Err((what, remedy))
}

/// Names and boxes of outlines.
fn boxes(outlines: &[Outline]) -> String {
    const MOST: usize = 12;
    let mut out: Vec<String> = outlines.iter().take(MOST).map(boxed).collect();
    if outlines.len() > MOST {
        out.push(format!("and {} more", outlines.len() - MOST));
    }
    out.join("; ")
}

fn boxed(outline: &Outline) -> String {
    let name = if outline.name().is_empty() { "unnamed".into() } else { quoted(outline.name()) };
    let n = |v| show_number(v, 1);
    ring_bounds(outline.net()).map_or_else(String::new, |b| {
        format!("{name} from ({}, {}) to ({}, {})", n(b.min.x), n(b.min.y), n(b.max.x), n(b.max.y))
    })
}

/// A point well inside a ring: in the middle of the widest stretch at half its height.
pub(crate) fn point_within(ring: &[Point]) -> Point {
    let Some(bounds) = ring_bounds(ring) else {
        return point(0.0, 0.0);
    };
    let y = bounds.centre().y;
    let mut xs: Vec<f64> = Vec::new();
    for (i, &a) in ring.iter().enumerate() {
        let b = ring[(i + 1) % ring.len()];
        if (a.y > y) != (b.y > y) {
            xs.push(a.x + (b.x - a.x) * (y - a.y) / (b.y - a.y));
        }
    }
    xs.sort_by(f64::total_cmp);
    let stretches = xs.chunks_exact(2).map(|s| (s[0], s[1]));
    let widest = stretches.max_by(|a, b| (a.1 - a.0).total_cmp(&(b.1 - b.0)));
    widest.map_or(bounds.centre(), |(from, to)| point((from + to) / 2.0, y))
}

/// Makes the template of a strip; `at` is its path in the document.
pub(super) fn strip(
    raw: RawStrip,
    at: &str,
    doc: &Document<'_>,
    findings: &mut Findings<'_>,
) -> Option<Template> {
    let outline = match shapes::strip(&raw.id, raw.length, raw.width) {
        Ok(outline) => outline,
        Err(_) => {
            let what =
                said!("a strip of {} by {} has no area", show_mm(raw.length), show_mm(raw.width));
            findings.fault(doc.offset_of(at), what, "make it larger");
            return None;
        }
    };
    Some(Template {
        source: TemplateSource::Strip { length: raw.length, width: raw.width },
        id: raw.id,
        outline,
        corners: Vec::new(),
        arrow: 0.0,
        taken_off: TakenOff::Mould,
        inked_side: InkedSide::Up,
        edge: EdgeKind::Butt,
        hands: Hands::AsTraced,
        may_cross_bench: raw.may_cross_bench,
        other_hand_of: None,
        mould: None,
    })
}

/// Makes the template of a patch on its host; `at` is its path in the document.
pub(super) fn patch(
    raw: RawPatch,
    host: &Template,
    at: &str,
    doc: &Document<'_>,
    findings: &mut Findings<'_>,
) -> Option<Template> {
    let whole = doc.offset_of(at);
    let shape = patch_shape(&raw, at, doc, findings)?;
    let ring = match &shape {
        PatchShape::Polygon(ring) => ring.clone(),
        PatchShape::Sized { centre, length, width, along, corner, ellipse } => {
            let ring = if *ellipse {
                shapes::ellipse(*length, *width)
            } else {
                shapes::rectangle(*length, *width, *corner)
            };
            shapes::placed(&ring, host.arrow + along, *centre)
        }
    };
    let net = cloths::checked_ring(ring, "patch", whole, findings)?;
    if let Err(fault) = shapes::lies_inside(&net, &host.outline) {
        let position = match fault.place {
            Place::At { x, y, .. } => {
                format!(" at ({}, {}) mm", show_number(x, 2), show_number(y, 2))
            }
            _ => String::new(),
        };
        findings.fault(whole, said!("{} {}{position}", fault.what, quoted(&host.id)), fault.remedy);
        return None;
    }
    if shapes::covers_hole(&net, &host.outline) {
        let what =
            said!("the patch lies over a hole of {}, which is not cut in it", quoted(&host.id));
        findings.warning(whole, what, "cut the hole after the cure, or draw the patch around it");
    }
    let draft = crate::outline::Draft {
        name: raw.id.clone(),
        net,
        arrow: host.outline.arrow(),
        ..Default::default()
    };
    let outline = Outline::new(draft).ok()?;
    Some(Template {
        id: raw.id,
        source: TemplateSource::Patch { on: raw.on, shape, step_back: raw.step_back },
        outline,
        corners: Vec::new(),
        arrow: host.arrow,
        taken_off: host.taken_off,
        inked_side: host.inked_side,
        edge: raw.edge,
        hands: host.hands,
        may_cross_bench: false,
        other_hand_of: None,
        mould: host.mould,
    })
}

/// A patch is given by size or by outline, not by both.
fn patch_shape(
    raw: &RawPatch,
    at: &str,
    doc: &Document<'_>,
    findings: &mut Findings<'_>,
) -> Option<PatchShape> {
    let sized = [
        ("centre", raw.centre.is_some()),
        ("length", raw.length.is_some()),
        ("width", raw.width.is_some()),
        ("along", raw.along.is_some()),
        ("corner", raw.corner.is_some()),
        ("shape", raw.shape.is_some()),
    ];
    if let Some(outline) = &raw.outline {
        for (key, _) in sized.iter().filter(|(_, given)| *given) {
            let offset = doc.offset_of(&format!("{at}.{key}"));
            findings.fault(
                offset,
                said!("`{key}` stands beside `outline`"),
                "give a patch by its size or by its outline, not by both",
            );
        }
        let ring = outline.iter().map(|&p| Point::from(p).snapped()).collect();
        return (!sized.iter().any(|(_, given)| *given)).then_some(PatchShape::Polygon(ring));
    }
    let (Some(centre), Some(length), Some(width)) = (raw.centre, raw.length, raw.width) else {
        let lacks = |key: &str| !doc.has(&format!("{at}.{key}"));
        let missing: Vec<&str> =
            ["centre", "length", "width"].into_iter().filter(|key| lacks(key)).collect();
        if !missing.is_empty() && lacks("outline") {
            let remedy = "give `centre`, `length` and `width`, or an `outline`";
            findings.fault(doc.offset_of(at), said!("the patch lacks {}", listed(missing)), remedy);
        }
        return None;
    };
    let ellipse = raw.shape == Some(RawShape::Ellipse);
    let corner = raw.corner.unwrap_or(0.0);
    let most = length.min(width) / 2.0;
    if !ellipse && corner > most {
        let what = said!(
            "corners of {} do not fit a patch of {} by {}",
            show_mm(corner),
            show_mm(length),
            show_mm(width)
        );
        findings.fault(
            doc.offset_of(&format!("{at}.corner")),
            what,
            said!("give at most {}", show_mm(most)),
        );
        return None;
    }
    Some(PatchShape::Sized {
        centre: Point::from(centre).snapped(),
        length,
        width,
        along: raw.along.unwrap_or(0.0),
        corner,
        ellipse,
    })
}
